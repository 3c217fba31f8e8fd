"""What seemed to work, lifetimes and incidents as sections and tables."""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
import pytest

import habitatmap.reports.practice
import habitatmap.words.practice
from habitatmap.export.formats import csv_text, json_text
from habitatmap.page.sections import report_page
from habitatmap.practice.account import Practice, practice
from habitatmap.practice.codes import Cause, End, Measure
from habitatmap.practice.lifetimes import CAUSES, COMPLAINTS
from habitatmap.reports.practice import practice_sections, practice_summary, practice_tables
from habitatmap.survey import count_searches
from habitatmap.words.catalogue import catalogue
from tests.words.spoken import OTHERS, numbers_in, recorder, same_texts, templates_in


def practised(
    n: int = 24, note: str = "", removed: str = "", containers: Sequence[str] = ("bucket", "tub")
) -> Practice:
    draw = np.random.default_rng(8)
    pools = pd.DataFrame(
        {
            "pool": [f"P{i:02d}" for i in range(n)],
            "set_out": pd.to_datetime("2025-03-01"),
            "removed": pd.NaT,
            "container": list(containers) * (n // len(containers)),
            "filling": "",
            "shade": draw.choice(["full", "half"], n),
            "volume_l": draw.choice([5.0, 10.0, 20.0], n),
            "note": "",
        }
    ).astype(
        {"removed": "datetime64[s]", "set_out": "datetime64[s]"}
        | dict.fromkeys(["pool", "container", "filling", "shade", "note"], "str")
    )
    if removed:
        pools.loc[pools["pool"] == "P07", "removed"] = pd.Timestamp(removed)
    rows = [(f"P{i:02d}", f"2025-0{m}-10", "larvae" if i % 3 else "none seen", "") for i in range(n) for m in (5, 6, 7)]
    rows += [("P03", "2025-08-01", "gone", "storm"), ("P04", "2025-09-01", "gone", note)] if n else []
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome", "note"])
    visits = visits.assign(date=pd.to_datetime(visits["date"]), larvae=3.0, taxon="Eristalis tenax", checked="yes")
    visits = visits.assign(action="", observer="", file="", row=range(len(visits)))
    visits.loc[visits["outcome"] != "larvae", ["larvae", "taxon", "checked"]] = [np.nan, "", ""]
    visits = visits.astype(dict.fromkeys(("pool", "outcome", "note", "taxon", "checked", "action"), "str"))
    day = pd.Timestamp("2025-10-01").date()
    return practice(pools, visits, day, count_searches(visits, pools, day))


def test_the_sections_say_what_the_tables_hold() -> None:
    found = practised(note="Complaint of a neighbour")
    worked, lasting, wrong = practice_sections(found)
    assert [s.key for s in (worked, lasting, wrong)] == ["worked", "lasting", "incidents"]
    assert len(worked.tables[1].rows) == len(found.comparison.differences)
    assert any("not distinguishable" in row[-1] for row in worked.tables[1].rows)
    assert "2 of 24 pools with a set-out date were lost" in lasting.lead
    assert [row[:3] for row in lasting.tables[1].rows] == [
        ("lost", "not stated", 1),
        ("lost", "weather or falling wood", 1),
    ]
    assert [row[0] for row in lasting.tables[2].rows] == list(CAUSES)  # the words that were looked for, all of them
    assert all(word in wrong.tables[0].note for word in COMPLAINTS)
    assert wrong.tables[1].rows == [("P04", date(2025, 9, 1), "complaint", "Complaint of a neighbour")]


def test_pools_taken_in_without_a_reason_are_shown_by_themselves() -> None:
    found = practised(removed="2025-07-01")
    _, lasting, wrong = practice_sections(found)
    standing, ended, _words = lasting.tables
    assert standing.heads[-1] == "Share at worst"
    # of 24 pools one was taken in on day 122 and one lost on day 153: by hand 22/23 with its log-log interval, or 22/24
    assert standing.rows[1] == ("183 days", "96 %", "73 to 99 %", "92 %")
    assert ("taken in, reason not stated", "not stated", 1, "") in ended.rows
    assert "lost: 2; taken in, reason not stated: 1; complaint: 0" in wrong.lead
    told = json.loads(json_text(practice_summary(found)))["lifetimes"]
    assert told["ends"] == {"stands": 21, "lost": 2, "taken in, reason not stated": 1}
    assert told["after"][1]["share_if_all_lost"] == pytest.approx(22 / 24)
    assert practice_tables(found)["standing.csv"]["share_if_all_lost"].tolist() == pytest.approx([22 / 24, 21 / 24])


def test_similar_names_are_proposed_and_not_merged() -> None:
    found = practised(containers=["Bucket", "bucket (black)", "bucket", "bucket 10 l", "tub", "tub"])
    worked = practice_sections(found)[0]
    levels = [row[0] for row in worked.tables[0].rows if row[0].startswith("Container")]
    assert "Container: bucket (black)" in levels  # compared as it was, until somebody gives it one name
    assert any(
        line.startswith(
            "Some names may mean the same: Container: Bucket, bucket, bucket (black) and bucket 10 l. Nothing"
        )
        for line in worked.words
    )
    proposal = next(table for table in worked.tables if table.caption == "Names that may mean the same")
    assert proposal.rows == [
        ("Container", "Bucket", "Bucket (4), bucket (4), bucket (black) (4), bucket 10 l (4)", 16),
    ]
    told = json.loads(json_text(practice_summary(found)))["similar_names"]
    assert told == [
        {
            "factor": "container",
            "proposed": "Bucket",
            "names": [{"name": name, "pools": 4} for name in ("Bucket", "bucket", "bucket (black)", "bucket 10 l")],
        }
    ]
    table = practice_tables(found)["similar_names.csv"]
    assert table[["name", "pools"]].values.tolist()[2] == ["bucket (black)", 4]
    none = practised()
    assert practice_tables(none)["similar_names.csv"].empty
    assert practice_summary(none)["similar_names"] == []
    assert not any("may mean" in line for line in practice_sections(none)[0].words)


def test_hostile_notes_stay_text() -> None:
    found = practised(note="=cmd|complaint<script>alert(1)</script>{{7*7}}")
    page = report_page("t", "k", "d", practice_sections(found))
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;{{7*7}}" in page
    told = csv_text(practice_tables(found)["complaints.csv"])
    assert "'=cmd" in told


def test_every_figure_for_a_machine() -> None:
    found = practised()
    told = json.loads(json_text(practice_summary(found)))
    assert told["lifetimes"]["lost"] == 2
    assert told["lifetimes"]["median_days"] is None  # not known is not zero
    assert told["comparisons"] == found.comparison.comparisons > 0
    assert len(told["lifetimes"]["standing"]) == 2


def test_no_pool_at_all() -> None:
    found = practised(0)
    assert "No pool has a set-out date" in report_page("t", "k", "d", practice_sections(found))
    assert practice_tables(found)["differences.csv"].empty


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_in_the_sections(language: str) -> None:
    spoken = recorder(language)
    alike = ["Bucket", "bucket (black)", "bucket", "bucket 10 l", "tub", "tub"]
    found = practised(note="Complaint of a neighbour", removed="2025-07-01", containers=alike)
    both = (found, practised(0))
    english = "".join(report_page("t", "k", "d", practice_sections(one)) for one in both)
    other = "".join(report_page("t", "k", "d", practice_sections(one), spoken) for one in both)
    records = [
        "t",
        "k",
        "d",
        "Eristalis tenax",
        "complaint",
        "Complaint of a neighbour",
        "storm",
        "full",
        "half",
        *alike,
        "Eristalis",
    ]
    records += [row[2] for row in practice_sections(found)[0].tables[3].rows] + [*map(", ".join, CAUSES.values())]
    shared = [text for text in same_texts(english, other, records) if not re.match(r"[+-]\d+ points|.* - ", text)]
    assert shared == [], "points are so called in French too, and names are compared as they are written"
    assert numbers_in(english) == numbers_in(other)
    assert spoken.unsaid <= {"k", "d"}


@pytest.mark.parametrize("language", OTHERS)
def test_all_that_the_sections_may_say_is_in_the_catalogues(language: str) -> None:
    known = catalogue(language).sentences.keys()
    for module in (habitatmap.reports.practice, habitatmap.words.practice):
        assert templates_in(inspect.getsource(module)) - known == set()
    codes = {str(code) for kind in (End, Cause, Measure) for code in kind}
    codes |= {"found dry", "found frozen", "complaint", "twice as large", "as it is"}
    assert codes - known == set()
