"""Columns and rows that are read at once, against the slow way: cell by cell, row by row."""

from __future__ import annotations

import csv
import datetime
import gc
import io
import math
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from habitatmap.area import open_area
from habitatmap.errors import InputError
from habitatmap.geo.crs import WGS84, Source
from habitatmap.read.coordinates import Point, Points, Refusal, locate, read_number
from habitatmap.read.coordinates.columns import _read_degrees, _read_xy
from habitatmap.read.coordinates.positions import LEAST_UNCERTAINTY_M, read_lonlat
from habitatmap.read.coordinates.writing import comma_of
from habitatmap.read.formats.assemble import _is_comment, _may_be_no_record, _oddness
from habitatmap.read.formats.cells import as_text, as_texts, clean, clean_texts, each_once
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.formats.text import MOST_SHARED, _close_quotes, _shared, split_records
from habitatmap.read.intake import uncollected
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import gather, open_drafts, set_repeats_aside
from habitatmap.read.templates import is_example
from habitatmap.vocabulary.catalogues import LANGUAGES
from habitatmap.vocabulary.kinds import Kind

FINLAND = CRS.from_epsg(3067)
DEGREES = ["24.9415", "60.1712", "-0.5", "+7.25", "0.0", "91.5", "181.0", "24,9415", "24°56'29\" E", "60.17 N", "1e1"]
DEGREES += ["", "x", "601018", "N", "1.", ".5", "24.9415 "]
METRES = ["385000", "6672000.5", "385,000", "385.123,5", "1.5e5", "-12", "385 000", "385'000", "", "west", "12.", "٣٨٥"]
OTHERS: list[object] = [None, 24, 24.9415, 0.0, 60.0, math.nan, math.inf, True, datetime.date(2025, 5, 3), 385000.25]


def column(seed: int, texts: list[str], rows: int = 60) -> list[object]:
    rng = random.Random(seed)
    return [rng.choice(texts) if rng.random() < 0.8 else rng.choice(OTHERS) for _ in range(rows)]


@pytest.mark.parametrize("seed", range(30))
def test_degrees_are_read_as_row_by_row(seed: int) -> None:
    lons, lats = column(seed, DEGREES), column(seed + 1000, DEGREES)
    slow = [
        None if lon is None and lat is None else read_lonlat(lon, lat, "", WGS84)
        for lon, lat in zip(lons, lats, strict=True)
    ]
    found = _read_degrees(lons, lats, "", WGS84)
    assert _told(list(found)) == _told(slow)
    assert len(found.odd) < len(slow) or seed % 10
    _holds_together(found)


@pytest.mark.parametrize("seed", range(30))
def test_metres_are_read_as_row_by_row(seed: int) -> None:
    xs, ys = column(seed, METRES), column(seed + 1000, METRES)
    commas = comma_of(xs), comma_of(ys)
    found = _read_xy(xs, ys, Source(FINLAND, "a test"), False)
    for x, y, read in zip(xs, ys, list(found), strict=True):
        numbers = read_number(x, commas[0]), read_number(y, commas[1])
        if x is None and y is None:
            assert read is None
        elif numbers[0] is None or numbers[1] is None:
            assert isinstance(read, Refusal)
            assert read.value is (x if numbers[0] is None else y)
        else:
            off = max(min(numbers[0].step, numbers[1].step) / math.sqrt(2), LEAST_UNCERTAINTY_M)
            assert isinstance(read, Point)
            assert (read.x, read.y, read.uncertainty_m) == (numbers[0].value, numbers[1].value, off)
            assert read.written is not None
            assert (read.written.x.step, read.written.y.step) == (numbers[0].step, numbers[1].step)
            assert not read.written.headed_degrees
    _holds_together(found)


def _told(points: list[Point | Refusal | None]) -> list[str]:
    """As text, so that NaN equals itself."""
    return [repr(one) for one in points]


def _holds_together(points: Points) -> None:
    """What the arrays say is what the rows say one by one."""
    every = list(points)
    assert points.placed.tolist() == [isinstance(one, Point) for one in every]
    off = [one.uncertainty_m if isinstance(one, Point) else math.nan for one in every]
    assert np.array_equal(points.off_m, off, equal_nan=True)
    for at_once, one_by_one in zip(locate(points, FINLAND), locate(every, FINLAND), strict=True):
        assert np.array_equal(at_once, one_by_one, equal_nan=True)
    nowhere = points.but({0: None, 3: Refusal("x", "", None)})  # type: ignore[arg-type]  # a reason is not looked at
    assert [nowhere[0], nowhere.placed[3], len(nowhere)] == [None, False, len(points)]
    assert _told(list(nowhere)[4:]) == _told(every[4:]) == _told(points[4:])


CELLS = [
    "P1",
    " padded ",
    "",
    "'=1+1",
    "'12",
    "O'Neil",
    "#N/A",
    "#12",
    "Err:504",
    "Größe",
    "\u200bhid",
    "-5",
    "a#b",
    " ",
]


@pytest.mark.parametrize("seed", range(20))
def test_a_row_of_texts_is_cleaned_as_cell_by_cell(seed: int) -> None:
    rng = random.Random(seed)
    row = [rng.choice(CELLS) for _ in range(rng.randrange(5))]
    assert clean_texts(row) == [clean(cell) for cell in row]


def test_each_cell_that_differs_is_read_once_and_true_is_no_1() -> None:
    asked: list[object] = []

    def read(cell: object) -> str:
        asked.append(cell)
        return as_text(cell)

    cells = ["a", None, 1, True, 1.0, "1", "a", None, True, datetime.date(2025, 5, 3)]
    assert each_once(read, cells) == as_texts(cells) == [as_text(cell) for cell in cells]
    assert len(asked) == 7
    texts = ["b", None, "b", "", "c"]
    assert each_once(read, texts) == [as_text(cell) for cell in texts]
    assert each_once(read, []) == []


FIRST = ["P1", "Total", "total: 12", "Summe 12,5", "Pool", "POOL ", "#", "# a note", "#12", "12", "Example", "Beispiel"]
FIRST += ["Pool 1", "m2", "Nr. 1", "nr 1", "sum of all"]


@pytest.mark.parametrize("heading", ["Pool", "m²", "Nr. 1", "", "Total"])
def test_what_the_quick_look_lets_pass_is_a_record(heading: str) -> None:
    """A row that the quick look takes for a record is no comment, example, total or heading by the slow look either."""
    rng, passed = random.Random(1), 0
    for _ in range(2000):
        cells = [rng.choice([*FIRST, None]), rng.choice(["Date", "2025-05-03", None]), rng.choice(["", "x", None])]
        cells = [cell or None for cell in cells]
        at = next((i for i, cell in enumerate(cells) if cell is not None), None)
        if at is None:
            continue
        headings = [heading, "Date", "Note"]
        if not _may_be_no_record(str(cells[at]), headings[at]):
            passed += 1
            assert not _is_comment(cells)
            assert not is_example(cells)
            assert _oddness(cells, headings) is None
    assert passed > 20
    assert len(LANGUAGES) > 1  # of which each has an example


@pytest.mark.parametrize("seed", range(20))
def test_lines_without_quotes_are_numbered_as_any(seed: int) -> None:
    rng = random.Random(seed)
    text = "".join(rng.choice(["a,b\n", "\n", " c , d,e\n", ",,\n", "x"]) for _ in range(rng.randrange(12)))
    reader = csv.reader(io.StringIO(text, newline=""), skipinitialspace=True)
    assert _close_quotes(text, ",") == [(reader.line_num, cells) for cells in reader]


def _repeats(rows: list[tuple[object, ...]], shapes: list[shapely.Point] | None) -> list[int]:
    """The rows that say in words what an earlier one says, and have its shape."""
    seen: set[object] = set()
    found = []
    for at, row in enumerate(rows):
        key = tuple(as_text(cell) for cell in row), shapes[at].wkb if shapes else None
        found += [at] if key in seen else []
        seen.add(key)
    return found


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("shaped", [False, True])
def test_repeats_are_found_as_in_words(seed: int, shaped: bool) -> None:
    rng = random.Random(seed)
    mixed: list[object] = ["1", 1, 1.0, True, "yes", None, datetime.date(2025, 5, 3), "2025-05-03"]
    kinds: list[list[object]] = [["a", "b", None], [1, 2], mixed]
    rows: list[tuple[object, ...]] = [tuple(rng.choice(kind) for kind in kinds[: 2 + seed % 2]) for _ in range(25)]
    shapes = [shapely.Point(rng.randrange(2), 0) for _ in rows] if shaped else None
    headings = ("pool", "x", "note")[: len(rows[0])]
    table = Table("t.csv", headings, rows, range(2, 27), geometry=shapes, crs=WGS84 if shaped else None)
    (draft,) = open_drafts(Kind.POOLS, [table], Stated(), Ledger())
    frame = set_repeats_aside(gather([draft], [{"pool": [""] * 25}]), [draft])
    assert sorted(draft.aside) == _repeats(rows, shapes)
    assert frame["_at"].tolist() == [at for at in range(25) if at not in draft.aside]


def test_rows_that_are_kept_come_with_their_file_and_number() -> None:
    table = Table("t.csv", ("pool",), [("a",), ("b",), ("c",)], [2, 5, 7], corrected_in={1: "corrected.csv"})
    (draft,) = open_drafts(Kind.VISITS, [table], Stated(), Ledger())
    whole = draft.frame({"pool": ["a", "b", "c"], "n": [1.0, math.nan, 3.0]})
    assert whole["file"].tolist() == ["t.csv", "corrected.csv", "t.csv"]
    assert whole["row"].tolist() == [2, 5, 7]
    draft.aside[0] = []
    pd.testing.assert_frame_equal(draft.frame({"pool": ["a", "b", "c"], "n": [1.0, math.nan, 3.0]}), whole.iloc[[1, 2]])
    (plain,) = open_drafts(Kind.VISITS, [replace(table, corrected_in={})], Stated(), Ledger())
    assert plain.frame({})["file"].tolist() == ["t.csv"] * 3


def test_reading_leaves_the_collector_as_it_was(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        open_area(tmp_path / "nowhere")
    assert gc.isenabled()
    gc.disable()
    try:
        with uncollected():
            assert not gc.isenabled()
        assert not gc.isenabled()
    finally:
        gc.enable()
    with uncollected():
        assert not gc.isenabled()
    assert gc.isenabled()


def test_words_of_a_text_are_held_once() -> None:
    """And only so many are remembered; what the cells say is the same."""
    rows = ["pool;outcome", *(f"P{i};{('larvae', 'none seen')[i % 2]}" for i in range(200))]
    records, delimiter = split_records("\n".join(rows))
    assert delimiter == ";"
    assert [tuple(cells) for _, cells in records] == [tuple(row.split(";")) for row in rows]
    assert len({id(cells[1]) for _, cells in records[1:]}) == 2
    known: dict[object, object] = dict.fromkeys(range(MOST_SHARED))
    assert _shared(["new", None], known) == ["new", None]
    assert len(known) == MOST_SHARED
