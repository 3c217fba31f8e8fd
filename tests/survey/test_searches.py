"""Only searches count, one season at a time."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.survey import Searches, count_searches
from habitatmap.survey.codes import SurveyWarning
from habitatmap.survey.searches import histories_by_place
from habitatmap.vocabulary.note import note

POOLS = pd.DataFrame({"pool": ["a", "b", "c"], "set_out": pd.to_datetime(["2026-03-01", None, "2025-01-01"])})
ROWS = [
    ("a", "2026-03-08", "none seen"),  # seven days after set-out: counts
    ("a", "2026-03-07", "larvae"),  # six days: too early
    ("a", "2026-05-01", "larvae"),
    ("a", "2026-05-01", "none seen"),  # two searches on one day are two searches
    ("b", "2026-04-01", "dry"),
    ("b", "2026-04-02", "not reached"),
    ("b", "2026-04-03", "frozen"),
    ("b", "2026-04-04", "gone"),
    ("b", "2026-04-05", "none seen"),
    ("c", "2025-06-01", "larvae"),
    ("c", "2026-12-01", "larvae"),  # after as_of
    ("d", "2026-04-01", "larvae"),  # no such pool
    ("c", None, "larvae"),
    ("c", "2026-04-01", ""),
]
VISITS = pd.DataFrame(ROWS, columns=["pool", "date", "outcome"]).assign(date=lambda v: pd.to_datetime(v["date"]))


def counted(visits: pd.DataFrame = VISITS, as_of: str = "2026-11-01") -> Searches:
    return count_searches(visits, POOLS, as_of)


def test_what_counts() -> None:
    seen = counted()
    assert seen.season == 2026
    np.testing.assert_array_equal(seen.searches, [3, 1, 0])
    np.testing.assert_array_equal(seen.detections, [1, 0, 0])
    np.testing.assert_array_equal(seen.all_searches, [3, 1, 1])
    np.testing.assert_array_equal(seen.all_detections, [1, 0, 1])
    np.testing.assert_array_equal(seen.histories, [[0, 0, 1], [0, np.nan, np.nan], [np.nan] * 3])
    assert (str(seen.first)[:10], str(seen.last)[:10]) == ("2026-03-08", "2026-05-01")
    assert not seen.warnings
    assert {reason: n for reason, n in seen.left_out.items() if n} == {
        "no date": 1,
        "after as_of": 1,
        "dry": 1,
        "frozen": 1,
        "gone": 1,
        "not reached": 1,
        "no outcome": 1,
        "pool not in the list": 1,
        "less than 7 days after set-out": 1,
        "earlier season": 1,
    }


def test_nothing_is_lost() -> None:
    seen = counted()
    assert sum(seen.left_out.values()) + seen.searches.sum() == len(VISITS)


def test_dates_stand_beside_their_searches() -> None:
    seen = counted()
    assert str(seen.dates[0, 0])[:10] == "2026-03-08"
    assert (np.isnat(seen.dates) == np.isnan(seen.histories)).all()


def test_of_a_place_that_was_searched_very_often_so_many_searches_are_laid_out() -> None:
    seen, one_place = counted(), np.array([0, 0, 1])
    np.testing.assert_array_equal(histories_by_place(seen, one_place, 9), [[0, 0, 0, 1], [np.nan] * 4])
    np.testing.assert_array_equal(histories_by_place(seen, one_place, 2), [[0, 0], [np.nan] * 2])


def test_the_season_is_the_latest_with_a_look() -> None:
    assert counted(as_of="2026-01-15").season == 2025
    early = counted(as_of="2020-01-01")
    assert early.season is None
    assert early.first is None
    assert early.histories.shape == (3, 0)
    assert early.left_out["after as_of"] == 13


def test_a_long_season_warns() -> None:
    ends = pd.DataFrame({"pool": ["b", "b"], "date": pd.to_datetime(["2026-01-05", "2026-09-30"]), "outcome": "larvae"})
    first, last = datetime.date(2026, 1, 5), datetime.date(2026, 9, 30)
    assert counted(ends).warnings == [note(SurveyWarning.LONG_SEASON, days=268, first=first, last=last)]


def test_the_order_of_rows_does_not_matter() -> None:
    plain, mixed = counted(), counted(VISITS.sample(frac=1, random_state=3))
    np.testing.assert_array_equal(plain.histories, mixed.histories)
    assert plain.left_out == mixed.left_out


def test_empty_frames() -> None:
    assert counted(VISITS[:0]).searches.tolist() == [0, 0, 0]
    assert count_searches(VISITS, POOLS[:0], "2026-11-01").left_out["pool not in the list"] == 7


def test_a_pool_named_twice_is_refused() -> None:
    with pytest.raises(InputError, match="'a' stands in the list"):
        count_searches(VISITS, pd.concat([POOLS, POOLS[:1]]), "2026-11-01")


def test_a_month_of_installing_counts_from_its_last_day_or_from_the_first_visit_that_found_the_pool() -> None:
    pools = pd.DataFrame(
        {
            "pool": ["a", "b"],
            "set_out": pd.to_datetime([None, None]),
            "set_out_first": pd.to_datetime(["2026-04-01", "2026-01-01"]),
            "set_out_last": pd.to_datetime(["2026-04-30", "2026-12-31"]),
        }
    )
    rows = [
        ("a", "2026-05-06", "larvae"),  # six days after the month's end: too early
        ("a", "2026-05-07", "none seen"),
        ("b", "2026-05-01", "dry"),  # it stood by now
        ("b", "2026-05-07", "larvae"),  # too early
        ("b", "2026-05-08", "larvae"),
    ]
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome"]).assign(date=lambda v: pd.to_datetime(v["date"]))
    seen = count_searches(visits, pools, "2026-11-01")
    np.testing.assert_array_equal(seen.searches, [1, 1])
    np.testing.assert_array_equal(seen.detections, [0, 1])
