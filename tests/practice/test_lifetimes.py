"""Which pools were lost, when and why; what went wrong per 100 pool-months."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.practice.codes import Cause, End
from habitatmap.practice.lifetimes import (
    COMPLAINTS,
    DAYS_A_MONTH,
    at_worst,
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
    assert any("2 of 5 pools" in line for line in reading_of_lifetimes(lives.reset_index(), curve, DAY))


def test_incidents_by_hand() -> None:
    table, told = incidents(POOLS, VISITS, DAY)
    months = (183 + 60 + 100 + 153 + 183) / DAYS_A_MONTH
    assert dict(zip(table["kind"], table["count"], strict=True)) == {
        "found dry": 1,  # twice on one day is once
        "found frozen": 0,
        "lost": 2,
        "taken in, reason not stated": 0,
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


def test_a_pool_taken_in_without_a_reason_is_not_known_to_be_lost() -> None:
    """Followed up to that day, and no longer; found gone, or with a reason that is a loss, it is lost."""
    pools, visits = frames(
        [
            ("stands", "2026-04-01", None, "under the beech"),
            ("no reason", "2026-04-01", "2026-07-10", ""),
            ("other words", "2026-04-01", "2026-07-10", "the lid was blue"),
            ("stolen", "2026-04-01", "2026-07-10", "stolen"),
            ("planned", "2026-04-01", "2026-07-10", "taken in for winter"),
            ("found gone", "2026-04-01", "2026-07-10", ""),
            ("gone, no date", "2026-04-01", None, ""),
            ("gone afterwards", "2026-04-01", "2026-07-10", ""),
        ],
        [
            ("found gone", "2026-07-10", "gone", "", ""),
            ("gone, no date", "2026-07-10", "gone", "", ""),
            ("gone afterwards", "2026-08-10", "gone", "", ""),  # a month after it was taken in: tells no loss
        ],
    )
    lives = lifetimes(pools, visits, DAY).set_index("pool")
    assert lives["end"].to_dict() == {
        "stands": End.STANDS,
        "no reason": End.NOT_KNOWN,
        "other words": End.NOT_KNOWN,
        "stolen": End.LOST,
        "planned": End.PLANNED,
        "found gone": End.LOST,
        "gone, no date": End.LOST,
        "gone afterwards": End.NOT_KNOWN,
    }
    assert lives["lost"].tolist() == (lives["end"] == End.LOST).tolist()
    assert (lives.loc[["found gone", "no reason"], "cause"] == Cause.NOT_STATED).all()  # why is another thing
    assert lives["days"].tolist() == [183, *[100] * 7]
    table, _ = incidents(pools, visits, DAY)
    kinds = table.set_index("kind")["count"]
    assert (kinds["lost"], kinds["taken in, reason not stated"]) == (3, 3)


def test_what_unexplained_removals_could_hide_is_bounded() -> None:
    """Of four pools one is lost and one taken in on day 30: by hand 3/4 stand, and 2/4 if both were lost."""
    pools, visits = frames(
        [(f"p{i}", "2026-04-01", "2026-05-01" if i < 2 else None, "storm" if i == 0 else "") for i in range(4)],
        [],
    )
    lives = lifetimes(pools, visits, DAY)
    curve = survival(lives["days"], lives["lost"])
    assert curve.at(91)[0] == pytest.approx(3 / 4)
    assert at_worst(lives).at(91)[0] == pytest.approx(2 / 4)
    told = reading_of_lifetimes(lives, curve, DAY)
    assert told[0] == (
        "By 2026-10-01, 1 of 4 pools with a set-out date was lost; 2 still stand and 1 was taken in without a stated "
        "reason."
    )
    bound = (
        "A reason that is not stated may hide a loss. If every pool taken in without a stated reason was lost too, the "
        "shares still standing are: 50 % and not 75 % after 91 days; 50 % and not 75 % after 183 days. Write the "
        "reason into the pool's note."
    )
    assert bound in told
    soon = reading_of_lifetimes(lives.iloc[:2], survival([30.0, 30.0], [True, False]), DAY)
    assert "0 % and not 50 % after 30 days." in " ".join(soon)


def test_where_every_reason_is_stated_nothing_is_bounded() -> None:
    lives = lifetimes(POOLS, VISITS, DAY)
    told = reading_of_lifetimes(lives, survival(lives["days"], lives["lost"]), DAY)
    assert told[0] == (
        "By 2026-10-01, 2 of 5 pools with a set-out date were lost; 2 still stand and 1 was taken in as planned."
    )
    assert not any("may hide" in line for line in told)
