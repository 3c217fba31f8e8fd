"""What the program's own words are in other languages: gettext catalogues in `words/locale/`, read as they are."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

LANGUAGES = ("en", "de", "fr", "nl")
SENTENCE = "sentence"  # the context of a sentence that is its own key
LABEL = "label"  # the context of a class of land cover, by its label in layers/


# an entry as all of ours are written, and a sign that is written as two
_ENTRY = re.compile(r'msgctxt "(.*)"\nmsgid "(.*)"\nmsgstr "(.*)"')
_ESCAPED = re.compile(r"\\(.)")


@cache
def translations(language: str) -> dict[tuple[str, str], str]:
    """Translations by context and English; only those that are there and not fuzzy."""
    if language == "en":
        return {}
    text = (files("habitatmap") / "words" / "locale" / f"{language}.po").read_text(encoding="utf-8")
    return plain_entries(text) or every_entry(text, language)


def plain_entries(text: str) -> dict[tuple[str, str], str]:
    """The translations of a catalogue whose entries are all of three lines; nothing where one is not.

    The page says its words in every language, and the library takes ten times as long.
    """
    _, *blocks = text.strip().split("\n\n")
    entries = [_ENTRY.fullmatch(block) for block in blocks]
    whole = [entry.groups() for entry in entries if entry is not None]
    if len(whole) < len(entries):
        return {}
    return {(_meant(context), _meant(english)): _meant(said) for context, english, said in whole if english and said}


def _meant(written: str) -> str:
    return _ESCAPED.sub(lambda sign: {"n": "\n", "t": "\t"}.get(sign[1], sign[1]), written)


def every_entry(text: str, language: str) -> dict[tuple[str, str], str]:
    """The translations of any catalogue."""
    from babel.messages.pofile import read_po

    read = read_po(text.splitlines(keepends=True), locale=language)
    return {(str(m.context), str(m.id)): str(m.string) for m in read if m.id and m.string and not m.fuzzy}


def word_in(language: str, english: str) -> str:
    """A word or sentence in a language; English where its catalogue lacks it."""
    return translations(language).get((SENTENCE, english), english)
