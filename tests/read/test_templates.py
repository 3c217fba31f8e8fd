"""The workbooks of a new area: opened, filled in and read back; an example is no data, and a fresh area is silent."""

from __future__ import annotations

import datetime
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pandas
import pytest

from habitatmap.area import open_area
from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.files import read_tables
from habitatmap.read.headings import ALIASES, match_headings
from habitatmap.read.start import Given, new_area
from habitatmap.read.templates import (
    NAMES_SHEET,
    NOT_READ,
    NOT_READ_IN_EACH,
    ROWS,
    TEMPLATES,
    is_example,
    write_templates,
)
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.columns import EXAMPLE, EXAMPLES
from habitatmap.vocabulary.terms import Outcome
from tests.areas import write_raster


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    new_area(tmp_path / "town")
    return tmp_path / "town"


def fill(path: Path, rows: list[list[Any]]) -> None:
    """Types rows under the example, as a person does: nothing else of the workbook changes."""
    book = openpyxl.load_workbook(path)
    for number, row in enumerate(rows, 3):
        for column, value in enumerate(row, 1):
            book.worksheets[0].cell(number, column).value = value
    book.save(path)


def every_choice(kind: str) -> list[dict[str, Any]]:
    """Rows that hold, between them, every entry of every list of a template."""
    lists = {c.entry.heading: c.values for c in TEMPLATES[kind] if c.values}
    return [
        {h: choices[i % len(choices)] for h, choices in lists.items()} for i in range(max(map(len, lists.values())))
    ]


def pool_rows() -> list[list[Any]]:
    rows = []
    for i, chosen in enumerate(every_choice("pools"), 1):
        told = {"pool": f"P{i}", "latitude": 53.5 + i / 100, "longitude": 10.0 + i / 100, "accuracy (m)": 4}
        told |= {"set out": datetime.date(2025, 4, i), "volume (litres)": 7.5, "host": "Ö. Host", "note": "by the gate"}
        rows.append([(told | chosen).get(column.entry.heading) for column in TEMPLATES["pools"]])
    return rows


def visit_rows() -> list[list[Any]]:
    rows = []
    for i, chosen in enumerate(every_choice("visits"), 1):
        told = {"pool": "P1", "date": datetime.date(2025, 5, i), "larvae": 3 if chosen["outcome"] == "larvae" else None}
        rows.append([(told | chosen).get(column.entry.heading) for column in TEMPLATES["visits"]])
    return rows


def test_a_fresh_area_has_nothing_to_set_aside(tmp_path: Path) -> None:
    cover = write_raster(tmp_path / "cover.tif", [[10, 30], [30, 50]])
    new_area(tmp_path / "town", Given(land_cover=cover, classes="worldcover"))
    area = open_area(tmp_path / "town")
    # sheets that say of themselves that they hold no records are told, and no row is
    assert area.ledger.frame()["row"].isna().all()
    assert area.ledger.counts()["pools"] == {"read": 0, "accepted": 0, "set_aside": 0}
    assert [note for reading in area.ledger.readings for note in reading.left_out] == []


def test_a_fresh_area_without_ground_says_what_to_do_first(fresh: Path) -> None:
    with pytest.raises(InputError, match=r"pools\.xlsx holds no pool yet; write the first one there"):
        open_area(fresh)


def test_filled_in_and_read_back_nothing_is_set_aside(fresh: Path) -> None:
    fill(fresh / "pools.xlsx", pool_rows())
    fill(fresh / "visits.xlsx", visit_rows())
    area = open_area(fresh)
    # sheets that say of themselves that they hold no records are told, and no row is
    assert area.ledger.frame()["row"].isna().all()
    assert area.pools["pool"].tolist() == [row[0] for row in pool_rows()]
    assert set(area.pools["private"]) == {"yes", "no"}
    assert area.pools["set_out"].dt.day.tolist() == list(range(1, len(area.pools) + 1))
    assert area.pools["volume_l"].unique().tolist() == [7.5]
    assert set(area.visits["outcome"]) == set(Outcome)
    assert set(area.visits["action"]) == {"topped up", "refilled", "moved"}


@pytest.mark.parametrize("kind", TEMPLATES)
def test_every_heading_is_one_of_ours(kind: str) -> None:
    found = match_headings(kind, [column.entry.heading for column in TEMPLATES[kind]])
    assert not found.unmatched
    assert set(found.how.values()) == {"exact"}
    others = (
        "old_name x y lat lon position system uncertainty_m address street house_number postcode city photo year water "
        "entry changed"
    )
    assert set(ALIASES[kind]) - set(found.at) <= set(others.split())


@pytest.mark.parametrize("kind", TEMPLATES)
def test_headings_are_protected_and_all_else_is_open(fresh: Path, kind: str) -> None:
    sheet = openpyxl.load_workbook(fresh / f"{kind}.xlsx").worksheets[0]
    assert sheet.protection.sheet
    assert not sheet.protection.password
    assert all(cell.protection.locked for cell in sheet[1])
    assert not any(cell.protection.locked for cell in sheet[2])
    columns = list(sheet.column_dimensions.values())
    assert (columns[0].min, columns[-1].max) == (1, 16_384)
    assert not any(column.protection.locked for column in columns)


@pytest.mark.parametrize("kind", TEMPLATES)
def test_each_column_is_checked_and_explained_down_to_the_last_row(fresh: Path, kind: str) -> None:
    sheet = openpyxl.load_workbook(fresh / f"{kind}.xlsx").worksheets[0]
    rules = {str(rule.sqref): rule for rule in sheet.data_validations.dataValidation}
    letters = [openpyxl.utils.get_column_letter(i) for i in range(1, len(TEMPLATES[kind]) + 1)]
    assert list(rules) == [f"{letter}2:{letter}{ROWS + 1}" for letter in letters]
    for column, rule in zip(TEMPLATES[kind], rules.values(), strict=True):
        assert rule.prompt == column.help  # whole: the program shows 255 characters
        if column.is_date:
            assert rule.type == "date"
        elif column.values:
            assert rule.formula1.strip('"').split(",") == list(column.values)
        elif column.entry.listed:
            assert rule.formula1.startswith(f"'{NAMES_SHEET}'!")


def test_the_list_of_names_is_where_the_visits_look_for_it(fresh: Path) -> None:
    book = openpyxl.load_workbook(fresh / "visits.xlsx")
    names = book[NAMES_SHEET]
    assert names["A1"].value.startswith(NOT_READ)
    assert not names["A2"].protection.locked or not names.column_dimensions["A"].protection.locked
    for number, name in enumerate(("P1", "P2"), 2):
        names.cell(number, 1).value = name
    book.save(fresh / "visits.xlsx")
    assert [len(table) for table in read_tables(fresh / "visits.xlsx")] == [0]


def test_an_example_that_somebody_wrote_in_is_not_lost(fresh: Path) -> None:
    fill(fresh / "pools.xlsx", pool_rows())
    book = openpyxl.load_workbook(fresh / "pools.xlsx")
    book.worksheets[0]["B2"].value = 53.55
    book.save(fresh / "pools.xlsx")
    (entry,) = open_area(fresh).ledger.in_order()
    assert (entry.row, entry.why) == (2, Why.STILL_EXAMPLE)


@pytest.mark.parametrize("kind", TEMPLATES)
@pytest.mark.parametrize("style", ["%Y-%m-%d", "%d.%m.%Y", "%m/%d/%y"])
def test_the_example_is_known_in_a_csv_of_any_country(kind: str, style: str) -> None:
    cells = []
    for column in TEMPLATES[kind]:
        told = column.entry.example
        if isinstance(told, datetime.date):
            told = told.strftime(style)
        cells.append(str(told).replace(".", ",") if isinstance(told, float) else told)
    assert is_example(cells)
    assert not is_example([EXAMPLE, *["other" if c is not None else None for c in cells[1:]]])
    assert not is_example(["P7", *cells[1:]])


def test_the_same_words_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        write_templates(tmp_path / name)
    for kind in TEMPLATES:
        assert (tmp_path / "one" / f"{kind}.xlsx").read_bytes() == (tmp_path / "other" / f"{kind}.xlsx").read_bytes()
        with zipfile.ZipFile(tmp_path / "one" / f"{kind}.xlsx") as parts:
            assert {part.date_time[0] for part in parts.infolist()} == {1980}
            assert b"2000-01-01" in parts.read("docProps/core.xml")


@pytest.mark.parametrize("kind", TEMPLATES)
def test_the_help_is_in_plain_words_and_has_the_cautions(fresh: Path, kind: str) -> None:
    told = " ".join(
        str(c.value) for row in openpyxl.load_workbook(fresh / f"{kind}.xlsx")["Help"] for c in row if c.value
    )
    cautions = {
        "pools": ["small child", "mosquitoes", "consent", "somebody's address"],
        "visits": [
            "gloves",
            "three weeks",
            "damaged branches",
            "nest",
            "Never move water, litter or larvae",
            "address",
        ],
    }
    for caution in cautions[kind]:
        assert caution in told
    assert "Follow local by-laws and the advice of licensed ecologists" in told
    assert all(column.help in told for column in TEMPLATES[kind])


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_a_workbook_of_another_language_is_read_back_whole(tmp_path: Path, language: str) -> None:
    """The German workbooks are filled in with every entry of their lists: what is read is what the English ones say."""
    areas = []
    for spoken in ("en", language):
        new_area(tmp_path / spoken, Given(language=spoken))
        for kind, rows in (("pools", pool_rows()), ("visits", visit_rows())):
            said = [[word_in(spoken, str(cell)) if cell in WORDS_OF_LISTS else cell for cell in row] for row in rows]
            fill(tmp_path / spoken / f"{kind}.xlsx", said)
        areas.append(open_area(tmp_path / spoken))
    english, other = areas
    assert other.settings.language == language
    assert [entry.reason for kind in TEMPLATES for entry in other.ledger.entries(kind)] == []
    words = ["container", "shade"]  # free words, kept as they are written
    pandas.testing.assert_frame_equal(other.pools.drop(columns=words), english.pools.drop(columns=words))
    assert other.pools["container"].tolist() == [word_in(language, word) for word in english.pools["container"]]
    pandas.testing.assert_frame_equal(
        other.visits.drop(columns="action"), english.visits.drop(columns="action"), check_dtype=True
    )


WORDS_OF_LISTS = {word for columns in TEMPLATES.values() for column in columns for word in column.values}


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_no_word_of_a_workbook_is_left_in_english(tmp_path: Path, language: str) -> None:
    sheets = []
    for spoken in ("en", language):
        (tmp_path / spoken).mkdir()
        write_templates(tmp_path / spoken, spoken)
        books = [openpyxl.load_workbook(tmp_path / spoken / f"{kind}.xlsx") for kind in TEMPLATES]
        told = [str(c.value) for book in books for sheet in book for row in sheet for c in row if c.value is not None]
        for sheet in (book.worksheets[0] for book in books):
            for rule in sheet.data_validations.dataValidation:
                told += [rule.promptTitle, rule.prompt, rule.error or "", *(rule.formula1 or "").strip('"').split(",")]
        sheets.append({text for text in told if re.search(r"[a-z]{3}", text)})
    assert len(sheets[0]) > 80
    same = {"date", "latitude", "longitude", "host", "open", "half"}  # what the languages share
    assert sheets[0] & sheets[1] <= same | {word_in(language, "date")}


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_the_reader_knows_the_marks_of_each_language(language: str) -> None:
    assert word_in(language, EXAMPLE) in EXAMPLES
    assert word_in(language, NOT_READ) in NOT_READ_IN_EACH
