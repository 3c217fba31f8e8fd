"""What somebody corrects is what is read, whatever was wrong and whichever program saved the correction."""

from __future__ import annotations

import csv
import datetime
import tempfile
from contextlib import suppress
from pathlib import Path

import openpyxl
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from habitatmap.area import open_area
from habitatmap.read.readings import HeadingSaid, Readings, write_readings
from tests.read.test_corrections import LOCALES, POOLS, area, ask, rows_of, saved_by

HEADS = ("pool", "date", "outcome", "note")
DAYS = st.dates(datetime.date(2025, 4, 5), datetime.date(2025, 9, 30))
NOTES = st.sampled_from(["", "007", "3/4", "=1+1", "Höhle", "1.500", "May 3", "2025-05-03", "two words", "Łódź", "-"])
RECORD = st.tuples(st.sampled_from(["P1", "P2"]), DAYS, st.sampled_from(["larvae", "none seen", "dry"]), NOTES)
# which cells of a row are spoilt, and by what
SPOILS = st.dictionaries(
    st.sampled_from(["pool", "date", "outcome"]), st.sampled_from(["", "??", "P99", "31.02.2025"]), max_size=2
)


TRUTH = st.lists(RECORD, min_size=1, max_size=8, unique_by=lambda r: r[:2])
Truth = list[tuple[str, datetime.date, str, str]]


@settings(max_examples=12, deadline=None)
@given(TRUTH, st.data())
def test_the_truth_comes_back(truth: Truth, data: st.DataObject) -> None:
    correct_and_compare(truth, data)


@pytest.mark.slow
@settings(max_examples=400, deadline=None)
@given(TRUTH, st.data())
def test_the_truth_comes_back_400_times(truth: Truth, data: st.DataObject) -> None:
    correct_and_compare(truth, data)


def corrected(folder: Path, truth: Truth, data: st.DataObject) -> list[dict[str, str]]:
    """Writes the truth with some cells spoilt, types the truth as corrections; gives what was spoilt."""
    rows = [dict(zip(HEADS, (pool, day.isoformat(), what, note), strict=True)) for pool, day, what, note in truth]
    spoilt = [row | data.draw(SPOILS) for row in rows]
    area(folder, "", POOLS)
    written(folder / "visits.csv", list(HEADS), spoilt)
    path = ask(folder)
    if path.exists():
        asked = [int(row["from_row"]) - 2 for row in rows_of(path)]
        typed = {
            at: {name: rows[i][name] for name in HEADS if rows[i][name] != spoilt[i][name]}
            for at, i in enumerate(asked)
        }
        saved_by(data.draw(st.sampled_from(sorted(LOCALES))), path, typed)
    return spoilt


def compare(folder: Path, truth: Truth) -> None:
    """Reads again: what was typed is what is read."""
    opened = open_area(folder)
    opened.ledger.check()
    found = opened.visits[["pool", "date", "outcome", "note"]].values.tolist()
    wanted = [[pool, day, what, note] for pool, day, what, note in truth if what]
    assert sorted([p, d.date(), o, n] for p, d, o, n in found) == sorted(wanted)


def correct_and_compare(truth: Truth, data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as name:
        corrected(Path(name), truth, data)
        compare(Path(name), truth)


def moved(rows: list[dict[str, str]], way: str) -> tuple[list[str], list[dict[str, str]]]:
    """The same records in a table that somebody has worked on since: headings, columns and rows are others."""
    heads = {name: name for name in HEADS}
    if way == "heading renamed":
        heads |= {"outcome": "what was there", "note": "Remarks"}
    if way == "column added":
        rows = [{"weather": f"sunny {i}", **row, "by": "Anna"} for i, row in enumerate(rows)]
        heads = {"weather": "weather", **heads, "by": "by"}
    if way == "rows sorted":
        rows = sorted(rows, key=lambda row: (row["note"], row["outcome"], row["date"]))
    return list(heads.values()), [{heads[name]: text for name, text in row.items()} for row in rows]


WAYS = ["heading renamed", "column added", "rows sorted", "as it was"]


def written(path: Path, heads: list[str], rows: list[dict[str, str]]) -> None:
    if path.suffix == ".csv":
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, heads)
            writer.writeheader()
            writer.writerows(rows)
        return
    book = openpyxl.Workbook()
    book.active.append(heads)
    for row in rows:
        cells: list[object] = [row[name] or None for name in heads]
        for at, text in enumerate(cells):
            with suppress(TypeError, ValueError):  # a person's spreadsheet makes days of days
                cells[at] = datetime.date.fromisoformat(str(text))
        book.active.append(cells)
    for cell in (cell for row in book.active.iter_rows() for cell in row if isinstance(cell.value, str)):
        cell.data_type = "s"  # a text that begins with = is a text
    book.save(path)


@settings(max_examples=10, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(TRUTH, st.data())
def test_a_correction_outlives_what_happens_to_its_original(truth: Truth, data: st.DataObject) -> None:
    """A heading renamed, a column added, rows sorted, the file saved as a workbook: the truth still comes back."""
    way, suffix = data.draw(st.sampled_from(WAYS)), data.draw(st.sampled_from([".csv", ".xlsx"]))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        spoilt = corrected(folder, truth, data)
        (folder / "visits.csv").unlink()
        written(folder / f"visits{suffix}", *moved(spoilt, way))
        if way == "heading renamed":
            said = Readings(headings=[HeadingSaid("", "", "what was there", "outcome")])
            write_readings(folder, said, ())
        compare(folder, truth)
