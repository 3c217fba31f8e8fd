"""Where a site lies, as a sentence that a page can say in its reader's language."""

from __future__ import annotations

from habitatmap.vocabulary.where import Where
from habitatmap.words.sentences import Sentence, as_it_is, following

UNNAMED = "unnamed land"


def told_where(where: Where) -> Sentence:
    """Its parts one after the other."""
    return following(*(Sentence(part, where.values) for part in where.parts), by=", ")


def told_place(place: Where | str) -> Sentence:
    """What stands in a `place` of a plan or of land: a sentence, or a name out of a record as it is."""
    if isinstance(place, Where):
        return told_where(place)
    return (place if isinstance(place, Sentence) else as_it_is(str(place))) or Sentence(UNNAMED)
