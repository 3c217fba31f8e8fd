"""results.xlsx and the csv files as spreadsheet programs open them: typed, with their units, and nothing that runs."""

from __future__ import annotations

import csv
import datetime
import io
import zipfile
from functools import cache
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from openpyxl.cell.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from habitatmap.export.formats import csv_text, visible
from habitatmap.export.tables import text_files, told_tables
from habitatmap.export.workbook import SHEETS, _first, workbook_bytes
from habitatmap.read.formats.cells import unguard
from habitatmap.result import Result
from habitatmap.vocabulary.results import TABLES, meaning, meanings
from tests.office import CSV_AS_GERMAN, needs_office, saved_as
from tests.results import NASTY, base_result, invented

# what runs once another sign parts the cells than the one that the file was written with
SNEAKY = [
    "fine;=1+1",
    "fine\t@SUM(1)",
    'so, "wet";+A1',
    "one\n=2+2",
    "a,=1",
    "b;'=1",
    ";=1",
    "c; -5",
    "d;-5,5",
    "e;-A1",
]


@cache
def made() -> Result:
    """Nasty text everywhere, and a note of each kind that another separator would let run."""
    result = invented(rows=len(SNEAKY))
    result.pools["note"] = SNEAKY
    return result


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tables")
    for name, content in text_files(made()).items():
        (folder / name).write_bytes(content)
    for name, content in text_files(made(), semicolons=True).items():
        (folder / name.replace(".csv", "_semicolons.csv")).write_bytes(content)
    return folder


@pytest.fixture(scope="module")
def opened(files: Path) -> Path:
    """All tables opened by a real spreadsheet program with a decimal comma, and those with commas by an English one."""
    tables = [path for path in sorted(files.iterdir()) if path.suffix in (".csv", ".xlsx")]
    saved_as("xlsx", tables, files / "german", CSV_AS_GERMAN)
    saved_as("xlsx", [path for path in tables if path.suffix == ".csv"], files / "english")
    return files


def sheets(path: Path) -> list[Worksheet]:
    return list(openpyxl.load_workbook(path))


def cells(path: Path) -> list[Cell]:
    return [cell for sheet in sheets(path) for row in sheet for cell in row]


# --- csv


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("fine;=1+1", "fine;'=1+1"),
        ("one\n=2+2\t@x", "one\n'=2+2\t'@x"),
        ("c; -5, d;-5.5;+3", "c; -5, d;-5.5;+3"),  # numbers and words behind a blank don't run
        ("=1;=1", "'=1;'=1"),
        (" \n=1", "' \n'=1"),
    ],
)
def test_text_is_guarded_wherever_a_cell_may_begin(text: str, written: str) -> None:
    rows = list(csv.reader(io.StringIO(csv_text(pd.DataFrame({"v": [text]})), newline="")))
    assert rows == [["v"], [written]]
    assert unguard(written) == text


def test_semicolons_for_programs_with_a_decimal_comma() -> None:
    frame = pd.DataFrame({"x": [0.1 + 0.2, 1e-7], "n": [3, -4], "t": ["Über, uns", "a;b"]})
    text = csv_text(frame, semicolons=True)
    assert text == '\ufeffx;n;t\r\n0,30000000000000004;3;Über, uns\r\n1e-07;-4;"a;b"\r\n'
    back = pd.read_csv(
        io.BytesIO(text.encode()), sep=";", decimal=",", encoding="utf-8-sig", float_precision="round_trip"
    )
    pd.testing.assert_frame_equal(back, frame, check_dtype=False, check_exact=True)


def test_tables_hold_the_same_with_semicolons(files: Path) -> None:
    for name in ("pools", "plan", "places", "ask_first", "set_aside"):
        commas = list(csv.reader(io.StringIO((files / f"{name}.csv").read_text("utf-8"), newline="")))
        text = (files / f"{name}_semicolons.csv").read_bytes().decode("utf-8-sig")
        other = list(csv.reader(io.StringIO(text, newline=""), delimiter=";"))
        assert [len(row) for row in other] == [len(row) for row in commas]
        assert other[0] == commas[0]


@needs_office
def test_no_table_runs_in_a_spreadsheet_whatever_parts_its_cells(opened: Path) -> None:
    found = [*(opened / "german").iterdir(), *(opened / "english").iterdir()]
    assert len(found) == 5 + 5 + 1 + 5 + 5
    for path in found:
        assert cells(path)
        assert not [(path.name, cell.coordinate, cell.value) for cell in cells(path) if cell.data_type == "f"]


@needs_office
def test_csv_files_open_with_columns_numbers_and_letters(opened: Path) -> None:
    frame = told_tables(made())["pools"]
    for path in (opened / "german" / "pools_semicolons.xlsx", opened / "english" / "pools.xlsx"):
        rows = list(sheets(path)[0].values)
        assert list(rows[0]) == list(frame.columns)
        at = list(frame.columns).index
        assert [row[at("x")] for row in rows[1:]] == pytest.approx(frame["x"].tolist())
        assert [row[at("occupancy")] for row in rows[1:]] == pytest.approx(frame["occupancy"].tolist())
        assert all(row[at("forage_m")] is None for row in rows[1:])
        assert "Ünïcødé" in str(rows[1][at("pool")])


# --- the workbook


def test_every_sheet_has_typed_cells_and_headings_in_sight(files: Path) -> None:
    book = openpyxl.load_workbook(files / "results.xlsx")
    assert book.sheetnames == [*SHEETS, "figures", "data dictionary"]
    for name, table in SHEETS.items():
        sheet, frame = book[name], told_tables(made())[table].drop(columns="geometry", errors="ignore")
        assert sheet.freeze_panes == "B2"
        assert sheet.max_row == len(frame) + 1
        for at, column in enumerate(frame.columns, 1):
            told = meaning(table, column)
            assert sheet.cell(1, at).value == told.heading
            for cell in next(sheet.iter_cols(at, at, 2)):
                if cell.value is None:
                    continue
                if told.is_date:
                    assert isinstance(cell.value, datetime.datetime), (name, column)
                elif told.unit and not isinstance(cell.value, str):
                    assert cell.value == round(cell.value, told.unit.digits), (name, column)
                    assert cell.number_format == told.unit.pattern
                else:
                    assert cell.data_type == "s", (name, column)


def test_numbers_days_and_words_of_a_row_known_by_hand(files: Path) -> None:
    book = openpyxl.load_workbook(files / "results.xlsx")
    head, first, second = list(book["plan"].values)[:3]
    row = dict(zip(head, first, strict=True))
    assert row["No."] == 1
    assert row["Site"] == "S1"
    assert row["Nearest standing pool (m)"] == 312  # 312.4099870362662 in the csv
    assert row["Adds (%)"] == 0.012  # 0.0123
    assert dict(zip(head, second, strict=True))["East (m)"] is None, "a private site has no place"
    pools = dict(zip(*list(book["pools"].values)[:2], strict=True))
    assert pools["Consent until"] == datetime.datetime(2026, 3, 31)
    assert pools["Note"] == "fine;=1+1", "a cell of words needs no guard"
    assert pools["Pool"] == visible(f"{NASTY}0").replace("\r", "\n")
    figures = {row[0]: row[1:4] for row in book["figures"].values}
    assert figures["Day of the map"][0] == datetime.datetime(2025, 6, 1)
    assert figures["Suggested sites"] == (base_result().figures.plan.pools, None, None)


def test_nothing_in_the_workbook_runs_or_leads_away(files: Path) -> None:
    with zipfile.ZipFile(files / "results.xlsx") as book:
        content = {name: book.read(name) for name in book.namelist()}
    assert not [name for name, text in content.items() if b"<f>" in text or b"<f " in text or b"hyperlink" in text]
    assert any(b"HYPERLINK" in text for text in content.values()), "the words are there"
    note = openpyxl.load_workbook(files / "results.xlsx")["pools"]["A2"]
    assert str(note.value).startswith("=HYPERLINK")
    assert note.quotePrefix, "it stays words when somebody edits it"


def test_of_many_places_those_with_suggestions_and_pools_are_shown() -> None:
    frame = pd.DataFrame({"name": list("abcdef"), "pools": [0, 2, 0, 1, 3, 0], "suggestions": [0, 0, 1, 0, 0, 0]})
    assert list(_first(frame, 3)["name"]) == ["b", "c", "e"]
    assert list(_first(frame[["name", "pools"]], 3)["name"]) == ["a", "b", "c"]


def test_rows_that_are_left_out_are_told(caplog: pytest.LogCaptureFixture) -> None:
    tables = told_tables(made())
    n = len(SNEAKY)
    for most, shown in ((n, n), (n - 1, n - 2)):
        caplog.clear()
        book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(made(), tables, most_rows=most)))
        rows = list(book["pools"].iter_rows(min_row=2, values_only=True))
        assert len(rows) == most
        assert "not in this sheet" not in str(rows[:shown])
    assert rows[-1][0] == f"2 more rows are not in this sheet; pools.csv has all {n}."
    assert set(rows[-1][1:]) == {None}
    assert f"results.xlsx, sheet pools: {rows[-1][0]}" in caplog.messages


@needs_office
def test_a_real_program_reads_what_was_written(files: Path, opened: Path) -> None:
    ours, theirs = sheets(files / "results.xlsx"), sheets(opened / "german" / "results.xlsx")
    assert [sheet.title for sheet in ours] == [sheet.title for sheet in theirs]
    for one, other in zip(ours, theirs, strict=True):
        for row, same in zip(one.iter_rows(), other.iter_rows(), strict=True):
            assert [cell.data_type for cell in row] == [cell.data_type for cell in same]


def test_every_column_that_is_written_has_its_meaning() -> None:
    for result in (base_result(), invented()):
        tables = told_tables(result)
        assert set(tables) == set(TABLES)
        for table, frame in tables.items():
            told = meanings(table)
            if result is base_result():  # the other is made up, without every column
                assert list(told) == list(frame.columns.drop("geometry", errors="ignore")), table
            assert len({one.heading for one in told.values()}) == len(told), table
            assert all(one.help.endswith(".") for one in told.values())
    with pytest.raises(KeyError):
        meaning("pools", "pool_size")
