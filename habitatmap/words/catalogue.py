"""The words of pages and papers in every language: gettext catalogues in `locale/`, read as they are.

English stands in `page_words.py` (by key) and in the program's own sentences. A catalogue entry has the key as its
context and the English as its id, so that a translator sees both; one whose English has changed since counts as
untranslated, and is said in English.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cache, cached_property
from pathlib import Path
from typing import Any, TypeVar, cast

from habitatmap.errors import InputError
from habitatmap.sentences import Quantity, Sentence, Value, capitalised
from habitatmap.vocabulary.catalogues import LABEL, LANGUAGES, SENTENCE, translations
from habitatmap.words.own import all_texts, read_own
from habitatmap.words.page_words import WORDS

_SENTENCES = re.compile(r"(?<=[.!?]) (?=[A-Z])")  # as the map page takes a text apart
# "de" before what begins with a vowel is "d’" in French; the map page's script does the same
_OF, _VOWELS = re.compile(r"\bde \{(\w+)\}"), frozenset("AEIOUÀÂÉÈÊËÎÏÔŒaeiouàâéèêëîïôœ")
__all__ = ["ENGLISH", "LANGUAGES", "SENTENCE", "Catalogue", "catalogue", "known_language", "spoken", "words"]
Texts = TypeVar("Texts")


def words(language: str) -> dict[str, Any]:
    """All words of the page by key; under "sentences" those of other rooms, by their English (none for English)."""
    if language == "en":
        return {**WORDS, "sentences": {}}
    found = translations(language)
    page = {key: found.get((key, english), english) for key, english in WORDS.items()}
    return page | {"sentences": _sentences(found, language)}


def _sentences(said: Mapping[tuple[str, str], str], language: str) -> dict[str, str]:
    """What is said for sentences, and for labels of classes, which begin with a small letter within a sentence."""
    labels = {english: text for (context, english), text in said.items() if context == LABEL}
    within = {
        english.lower(): text if language == "de" else text[:1].lower() + text[1:] for english, text in labels.items()
    }
    return within | labels | {english: text for (context, english), text in said.items() if context == SENTENCE}


@dataclass(frozen=True)
class Catalogue:
    """A language to say things in; `sentences`: English -> what is said for it."""

    language: str
    sentences: Mapping[str, str] = field(repr=False)
    page: Mapping[str, str] = field(repr=False, default_factory=lambda: WORDS)  # the words of the map page by key
    lacking: int = 0  # texts of a language of the area's own that stay English

    def say(self, text: str) -> str:
        """What the program itself writes, in this language; what the catalogue lacks stays English."""
        return self._sentence(text) if isinstance(text, Sentence) else self.look_up(text)

    def cell(self, value: object) -> str:
        """What stands in a cell: a code or a sentence in this language, but text of records as it is."""
        if isinstance(value, Quantity | Sentence | Enum | datetime.date):
            return self._value(value)  # type: ignore[arg-type]  # an Enum here is one of texts
        return str(value)

    def everything(self, value: Texts) -> Texts:
        """`say` for every text in lists and dicts, of which none is a record's."""
        said: object = value
        if isinstance(value, str):
            said = self.say(value)
        elif isinstance(value, Mapping):
            said = {key: self.everything(part) for key, part in value.items()}
        elif isinstance(value, list | tuple):
            said = [self.everything(part) for part in value]
        return cast(Texts, said)

    def look_up(self, template: str) -> str:
        """What stands for an English text, or for each sentence of it; itself where that is nothing."""
        if template in self.sentences or not self.sentences:
            return self.sentences.get(template, template)
        return " ".join(self.sentences.get(part, part) for part in _SENTENCES.split(template))

    def _sentence(self, said: Sentence) -> str:
        parts = {name: self._value(value) for name, value in said.values.items()}
        text = self.look_up(said.template)
        if parts and self.language == "fr":
            text = _OF.sub(lambda of: f"d’{{{of[1]}}}" if parts.get(of[1], "")[:1] in _VOWELS else of[0], text)
        text = text.format_map(parts) if parts else text
        return capitalised(text) if said.capital else text

    def _value(self, value: Value) -> str:
        if isinstance(value, Quantity):
            return self._figure(value)
        if isinstance(value, Sentence):
            return self._sentence(value)
        if isinstance(value, Enum):
            return self.look_up(str(value))
        return self._day(value) if isinstance(value, datetime.date) else value

    def _figure(self, figure: Quantity) -> str:
        written = str(figure._replace(unit=""))
        return f"{written.translate(self._signs)} {figure.unit}".rstrip()

    @cached_property
    def _signs(self) -> dict[int, str]:
        """What stands for the comma and the point of English figures."""
        if self.language == "en":
            return {}
        from babel.numbers import get_decimal_symbol, get_group_symbol

        return {ord(","): get_group_symbol(self.language), ord("."): get_decimal_symbol(self.language)}

    def short_month(self, month: int) -> str:
        """A month (1-12) in a few letters: "Jan"."""
        from babel.dates import get_month_names

        return str(get_month_names("abbreviated", "stand-alone", self.language)[month])

    def _day(self, day: datetime.date) -> str:
        if self.language == "en":
            return f"{day:%Y-%m-%d}"
        from babel.dates import format_skeleton

        return str(format_skeleton("yMd", day, locale=self.language))


ENGLISH = Catalogue("en", {})


def spoken(language: str, folder: Path) -> Catalogue:
    """The language that somebody asked for, with the area's own words. InputError for one that there is none of."""
    own = read_own(folder, known_language(language))
    if not own.file and language in LANGUAGES:
        return catalogue(language)
    if not own.file:
        raise InputError(
            f'There are no words in the language "{language}": expected one of {", ".join(LANGUAGES)}, or '
            f"words.{language}.xlsx in the folder, which habitatmap words --language {language} begins"
        )
    known = translations(language) if language in LANGUAGES else {}
    said = {key: own.applied(key[1], known.get(key, key[1])) for key in translations("de")}
    sentences = _sentences(said, language)
    page = {key: own.applied(english, said.get((key, english), english)) for key, english in WORDS.items()}
    lacking = 0 if language in LANGUAGES else len(set(all_texts()) - own.texts.keys())
    return Catalogue(language, sentences, page, lacking)


def known_language(language: str) -> str:
    """A language as babel knows it, of which figures and dates can be written. Raises InputError."""
    from babel import Locale, UnknownLocaleError

    try:
        Locale.parse(language, sep="-")
    except (UnknownLocaleError, ValueError):
        raise InputError(
            f'"{language}" is no language that is known; expected its code of two letters, such as de or fi'
        ) from None
    return language


@cache
def catalogue(language: str) -> Catalogue:
    """One of the languages that come with the program."""
    said = words(language)
    return ENGLISH if language == "en" else Catalogue(language, said.pop("sentences"), said)
