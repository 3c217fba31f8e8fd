"""The languages: nothing untranslated, nothing left over, the same figures in the same sentence."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest
from babel.messages.pofile import read_po

from habitatmap.read.layers import keep_away_defaults
from habitatmap.read.settings import Settings
from habitatmap.words.catalogue import LANGUAGES, SENTENCE, words
from habitatmap.words.cautions import general_cautions, site_caution
from habitatmap.words.headline import MISSING
from habitatmap.words.page_words import WORDS

OTHERS = [language for language in LANGUAGES if language != "en"]


def entries(language: str) -> list[tuple[str, str, str]]:
    """Context, English and translation of each entry of a catalogue."""
    with (files("habitatmap.words") / "locale" / f"{language}.po").open("rb") as file:
        return [(str(m.context), str(m.id), str(m.string)) for m in read_po(file, locale=language) if m.id]


def fields(text: str) -> list[str]:
    return sorted(re.findall(r"\{\w+\}", text))


@pytest.mark.parametrize("language", OTHERS)
def test_no_word_is_untranslated(language: str) -> None:
    found = {(context, english) for context, english, text in entries(language) if text}
    untranslated = [key for key, english in WORDS.items() if (key, english) not in found]
    assert len(untranslated) == 0, untranslated


@pytest.mark.parametrize("language", OTHERS)
def test_no_entry_is_left_over(language: str) -> None:
    stale = [c for c, english, _ in entries(language) if c != SENTENCE and WORDS.get(c) != english]
    assert stale == []


@pytest.mark.parametrize("language", OTHERS)
def test_each_translation_has_the_figures_of_its_english(language: str) -> None:
    for context, english, text in entries(language):
        assert fields(text) == fields(english), (context, text)


def test_all_catalogues_have_the_same_sentences() -> None:
    found = [{english for c, english, _ in entries(language) if c == SENTENCE} for language in OTHERS]
    assert found[0] == found[1] == found[2]


def test_a_change_of_the_english_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(WORDS, "close", "Shut")
    assert words("de")["close"] == "Shut"
    assert ("close", "Shut") not in {(c, english) for c, english, _ in entries("de")}


def sentences(text: str) -> list[str]:
    """As the page's script takes a text apart."""
    return re.split(r"(?<=[.!?]) (?=[A-Z])", text)


@pytest.mark.parametrize("language", OTHERS)
def test_cautions_and_what_is_missing_are_said_in_each_language(language: str) -> None:
    known = words(language)["sentences"]
    said = list(MISSING.values())
    for mosquitoes in ("reported", "not assessed", "none reported"):
        settings = Settings.model_validate({"cautions": {"mosquitoes": mosquitoes}})
        said += general_cautions(settings)
        for consent in ("yes", "ask", "provisional"):
            said += [site_caution({"consent": consent, "private": private}, settings) for private in ("yes", "no")]
    unsaid = {part for text in said for part in sentences(text) if part not in known and text not in known}
    assert len(unsaid) == 0, unsaid


@pytest.mark.parametrize("language", OTHERS)
def test_reasons_against_a_spot_are_said_in_each_language(language: str) -> None:
    known = words(language)["sentences"]
    lost = "no data,outside the boundary,water,building,no land record,no consent,consent to ask,private land"
    for reason in [*lost.split(","), "near a standing pool", *keep_away_defaults()]:
        assert reason in known, reason
