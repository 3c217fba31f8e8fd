"""What the program's own words are in other languages: gettext catalogues in `words/locale/`, read as they are."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

LANGUAGES = ("en", "de", "fr", "nl")
SENTENCE = "sentence"  # the context of a sentence that is its own key
LABEL = "label"  # the context of a class of land cover, by its label in layers/


@cache
def translations(language: str) -> dict[tuple[str, str], str]:
    """Translations by context and English; only those that are there and not fuzzy."""
    from babel.messages.pofile import read_po

    if language == "en":
        return {}
    with (files("habitatmap") / "words" / "locale" / f"{language}.po").open("rb") as file:
        read = read_po(file, locale=language)
    return {(str(m.context), str(m.id)): str(m.string) for m in read if m.id and m.string and not m.fuzzy}


def word_in(language: str, english: str) -> str:
    """A word or sentence in a language; English where its catalogue lacks it."""
    return translations(language).get((SENTENCE, english), english)
