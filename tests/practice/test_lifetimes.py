"""Which pools were lost, when and why; what went wrong per 100 pool-months."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.practice.codes import Cause
from habitatmap.practice.lifetimes import (
    COMPLAINTS,
    DAYS_A_MONTH,
    cause_of,
    incidents,
    lifetimes,
    matched,
    survival,
)
from habitatmap.words.practice import reading_of_lifetimes

DAY = "2026-10-01"


def frames(pools: list[tuple], visits: list[tuple]) -> tuple[pd.DataFrame, pd.DataFrame]:
    p = pd.DataFrame(pools, columns=["pool", "set_out", "removed", "note"])
    v = pd.DataFrame(visits, columns=["pool", "date", "outcome", "action", "note"])
    p, v = p.astype({"pool": "str", "note": "str"}), v.astype(dict.fromkeys(v.columns.drop("date"), "str"))
    for frame, names in ((p, ("set_out", "removed")), (v, ("date",))):
        for name in names:
            frame[name] = pd.to_datetime(frame[name])
    return p, v


POOLS, VISITS = frames(
    [
        ("a", "2026-04-01", None, ""),
        ("b", "2026-04-01", None, ""),
        ("c", "2026-04-01", "2026-07-10", "host moved house"),
        ("d", "2026-04-01", "2026-09-01", "taken in for winter"),
        ("e", "2026-04-01", None, ""),
        ("f", None, None, ""),
        ("g", "2026-12-01", None, ""),
    ],
    [
        ("a", "2026-09-01", "dry", "refilled", "Neighbour complained about the smell"),
        ("a", "2026-09-01", "dry", "refilled", "second search"),
        ("b", "2026-05-31", "gone", "", "vandalism, I think"),
        ("b", "2026-06-30", "gone", "", ""),
        ("e", "2026-05-01", "gone", "", "stolen"),
        ("e", "2026-06-01", "none seen", "", "back again; no complaints"),
        ("e", "2026-11-01", "gone", "", "after the day"),
    ],
)


def test_lifetimes_by_hand() -> None:
    lives = lifetimes(POOLS, VISITS, DAY).set_index("pool")
    assert list(lives.index) == ["a", "b", "c", "d", "e"]  # no date, or one to come: no lifetime
    assert lives["days"].tolist() == [183, 60, 100, 153, 183]
    assert lives["lost"].tolist() == [False, True, True, False, False]  # taken in as planned is no loss; e was found
    assert lives.loc[["b", "c", "d"], "cause"].tolist() == [
        "stolen or destroyed on purpose",
        "host or owner ended it",
        "planned end",
    ]
    curve = survival(lives["days"], lives["lost"])
    np.testing.assert_allclose(curve.share, [4 / 5, 3 / 5])
    assert curve.at(120)[0] == pytest.approx(0.6)
    assert np.isnan(curve.at(400)[0])
    assert any("2 were lost" in line for line in reading_of_lifetimes(lives.reset_index(), curve, DAY))


def test_incidents_by_hand() -> None:
    table, told = incidents(POOLS, VISITS, DAY)
    months = (183 + 60 + 100 + 153 + 183) / DAYS_A_MONTH
    assert dict(zip(table["kind"], table["count"], strict=True)) == {
        "found dry": 1,  # twice on one day is once
        "found frozen": 0,
        "lost": 2,
        "complaint": 1,  # "no complaints" is none
    }
    np.testing.assert_allclose(table["pool_months"], months)
    np.testing.assert_allclose(table["per_100"], table["count"] * 100 / months)
    assert told[["pool", "word"]].values.tolist() == [["a", "complained"]]
    assert told["text"].tolist() == ["refilled; Neighbour complained about the smell"]


def test_words_are_whole_words() -> None:
    assert matched("Beschwerde vom Nachbarn", COMPLAINTS) == "beschwerde"
    assert matched("uncomplaining neighbour", COMPLAINTS) == ""
    assert matched("keine Beschwerden", COMPLAINTS) == ""
    assert cause_of("a dogwood grew over it") is Cause.NOT_STATED
    assert cause_of("Ast draufgefallen") is Cause.WEATHER
    assert cause_of("") is Cause.NOT_STATED


def test_nothing_to_tell() -> None:
    pools, visits = frames([("a", None, None, "")], [])
    lives = lifetimes(pools, visits, DAY)
    curve = survival(lives["days"], lives["lost"])
    assert "no pool has a set-out date" in reading_of_lifetimes(lives, curve, DAY)[0].lower()
    assert incidents(pools, visits, DAY)[0]["per_100"].isna().all()


def test_row_order_changes_nothing() -> None:
    shuffled = VISITS.sample(frac=1, random_state=3)
    pd.testing.assert_frame_equal(lifetimes(POOLS, VISITS, DAY), lifetimes(POOLS, shuffled, DAY))


def test_a_pool_found_gone_on_the_day_it_was_last_seen_is_lost() -> None:
    pools, visits = frames(
        [("a", "2026-04-01", None, "")],
        [("a", "2026-06-01", "none seen", "", ""), ("a", "2026-06-01", "gone", "", "stolen at night")],
    )
    life = lifetimes(pools, visits, DAY).iloc[0]
    assert (life["lost"], life["days"], life["cause"]) == (True, 61, Cause.STOLEN)
