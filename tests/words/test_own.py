"""An area's own words: a workbook in its folder changes a text or a word, or adds a language; faults get a sentence."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from habitatmap.errors import InputError
from habitatmap.read.folder import not_used
from habitatmap.words.catalogue import Catalogue, spoken
from habitatmap.words.numbers import count
from habitatmap.words.own import all_texts, write_own
from tests.commands import habitatmap

LEAVE = "Please leave it as it is."


def fill(folder: Path, language: str, said: dict[str, str], swaps: dict[str, str] | None = None) -> Path:
    """The workbook as it is written, with what somebody types into its column say."""
    path, _ = write_own(folder, language)
    book = openpyxl.load_workbook(path)
    sheet = book.worksheets[0]
    for row in range(3, sheet.max_row + 1):
        if new := said.get(sheet.cell(row, 1).value):
            sheet.cell(row, 3).value = new
    for old, new in (swaps or {}).items():
        sheet.append(["", old, new])
    book.save(path)
    return path


def test_a_changed_text_and_a_changed_word(tmp_path: Path) -> None:
    fill(tmp_path, "de", {LEAVE: "Finger weg."}, {"Becken": "Tümpel"})
    said = spoken("de", tmp_path)
    assert said.say(LEAVE) == "Finger weg."
    assert said.say(count(1234, "pool")) == "1.234 Tümpel"
    assert said.page["tab_pools"] == "Tümpel"
    assert said.say("Name of the pool") == "Name des Beckens", "a form of a word is a word of its own"
    assert spoken("fr", tmp_path).say(LEAVE) == "Merci de ne rien toucher."


def test_english_can_be_changed_too(tmp_path: Path) -> None:
    fill(tmp_path, "en", {}, {"pools": "ponds"})
    assert spoken("en", tmp_path).say(count(3, "pool")) == "3 ponds"


def test_an_added_language_is_english_where_it_lacks_words(tmp_path: Path) -> None:
    fill(tmp_path, "fi", {LEAVE: "Älä koske.", "{n} pools": "{n} allasta"})
    said = spoken("fi", tmp_path)
    assert said.say(count(1234, "pool")) == "1\xa0234 allasta"
    assert said.say(LEAVE) == "Älä koske."
    assert said.say("Take care") == "Take care"
    assert said.lacking == len(set(all_texts())) - 2


def test_what_somebody_wrote_is_kept(tmp_path: Path) -> None:
    path = fill(tmp_path, "de", {LEAVE: "Finger weg."}, {"Becken": "Tümpel"})
    write_own(tmp_path, "de")
    rows = [[cell.value or "" for cell in row] for row in openpyxl.load_workbook(path).worksheets[0]]
    assert ["", "Becken", "Tümpel"] in rows
    assert [LEAVE, "Bitte lassen Sie alles, wie es ist.", "Finger weg."] in rows


@pytest.mark.parametrize(
    ("said", "swaps", "sentence"),
    [
        ({"{n} pools": "allasta"}, {}, r"words.fi.xlsx row \d+: say lacks \{n\}; write it where"),
        ({"{n} pools": "{n} {m} allasta"}, {}, r"say has braces that english has not; only \{n\} may stand there"),
        ({LEAVE: "Älä {koske"}, {}, "say has braces that english has not; only none may stand there"),
        ({}, {"": "Älä"}, 'say is "Älä", but neither english nor now says what it stands for'),
    ],
)
def test_a_bad_workbook_is_told_in_a_sentence(
    tmp_path: Path, said: dict[str, str], swaps: dict[str, str], sentence: str
) -> None:
    fill(tmp_path, "fi", said, swaps)
    with pytest.raises(InputError, match=sentence):
        spoken("fi", tmp_path)


def test_a_text_that_nothing_says_is_told(tmp_path: Path) -> None:
    path, _ = write_own(tmp_path, "fi")
    book = openpyxl.load_workbook(path)
    book.worksheets[0].append(["No such text.", "", "Ei mitään."])
    book.save(path)
    with pytest.raises(InputError, match=r'english is "No such text\.", which no page or paper says'):
        spoken("fi", tmp_path)


def test_a_file_that_is_no_workbook_and_a_language_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "words.de.xlsx").write_text("not a workbook", encoding="utf-8")
    with pytest.raises(InputError, match=r"words\.de\.xlsx cannot be opened"):
        spoken("de", tmp_path)
    with pytest.raises(InputError, match="no words in the language"):
        spoken("fi", tmp_path)
    with pytest.raises(InputError, match="no language that is known"):
        spoken("../x", tmp_path)


def test_the_command_writes_it(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_text("pool,lat,lon\nQ1,54.1,7.5\n", encoding="utf-8")
    code, said, complaint = habitatmap("words", str(tmp_path), "--language", "fi")
    assert (code, complaint) == (0, "")
    assert "words.fi.xlsx has every text" in said
    assert isinstance(spoken("fi", tmp_path), Catalogue)
    assert habitatmap("words", str(tmp_path), "--language", "klingon")[0] == 2


def test_the_workbook_is_no_file_that_was_not_used(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_text("pool,lat,lon\nQ1,54.1,7.5\n", encoding="utf-8")
    write_own(tmp_path, "fi")
    assert not_used(tmp_path, ["pools.csv"]) == []
