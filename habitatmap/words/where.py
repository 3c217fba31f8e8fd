"""Where a site lies, as a sentence that a page can say in its reader's language."""

from __future__ import annotations

from habitatmap.vocabulary.where import Where
from habitatmap.words.sentences import Sentence, following


def told_where(where: Where) -> Sentence:
    """Its parts one after the other."""
    return following(*(Sentence(part, where.values) for part in where.parts), by=", ")
