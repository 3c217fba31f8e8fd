"""The words of the page in every language: gettext catalogues in `locale/`, read as they are.

English stands in `words.py` (by key) and below (whole sentences of other rooms that reach the page). A catalogue
entry has the key as its context and the English as its id, so that a translator sees both; one whose English has
changed since counts as untranslated, and the page says it in English.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from habitatmap.words.page_words import WORDS

LANGUAGES = ("en", "de", "fr", "nl")
SENTENCE = "sentence"  # the context of a sentence that is its own key


@cache
def _catalogue(language: str) -> dict[tuple[str, str], str]:
    """Translations by context and English; only those that are there and not fuzzy."""
    from babel.messages.pofile import read_po

    with (files("habitatmap.words") / "locale" / f"{language}.po").open("rb") as file:
        read = read_po(file, locale=language)
    return {(str(m.context), str(m.id)): str(m.string) for m in read if m.id and m.string and not m.fuzzy}


def words(language: str) -> dict[str, Any]:
    """All words of the page by key; under "sentences" those of other rooms, by their English (none for English)."""
    if language == "en":
        return {**WORDS, "sentences": {}}
    found = _catalogue(language)
    return {key: found.get((key, english), english) for key, english in WORDS.items()} | {
        "sentences": {english: text for (context, english), text in found.items() if context == SENTENCE}
    }
