"""What somebody corrects is what is read, whatever was wrong and whichever program saved the correction."""

from __future__ import annotations

import csv
import datetime
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from habitatmap.area import open_area
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


def correct_and_compare(truth: Truth, data: st.DataObject) -> None:
    """Writes the truth with some cells spoilt, asks for corrections, types the truth, saves, and reads again."""
    rows = [dict(zip(HEADS, (pool, day.isoformat(), what, note), strict=True)) for pool, day, what, note in truth]
    spoilt = [row | data.draw(SPOILS) for row in rows]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, HEADS)
    writer.writeheader()
    writer.writerows(spoilt)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        area(folder, out.getvalue(), POOLS)
        path = ask(folder)
        if path.exists():
            asked = [int(row["from_row"]) - 2 for row in rows_of(path)]
            typed = {
                at: {name: rows[i][name] for name in HEADS if rows[i][name] != spoilt[i][name]}
                for at, i in enumerate(asked)
            }
            saved_by(data.draw(st.sampled_from(sorted(LOCALES))), path, typed)
        opened = open_area(folder)
        opened.ledger.check()
        found = opened.visits[["pool", "date", "outcome", "note"]].values.tolist()
    wanted = [[pool, day, what, note] for pool, day, what, note in truth if what]
    assert sorted([p, d.date(), o, n] for p, d, o, n in found) == sorted(wanted)
