"""Pools of two seasons, on small cases checked by hand; and the same pools stand on any day they are told for."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest

from habitatmap.changes.pools import Change, Why, as_known, changes_of_pools
from habitatmap.read.pools import standing

OLD_DAY, NEW_DAY = datetime.date(2025, 10, 1), datetime.date(2026, 10, 1)
NO_VISITS = pd.DataFrame({"pool": [], "date": pd.to_datetime([]), "outcome": []})


def pools(**given: Mapping[str, object]) -> pd.DataFrame:
    """Pools by name: x, y (0 where not given), set_out, removed, uncertainty_m."""
    rows = [
        {"pool": name, "x": 0.0, "y": 0.0, "uncertainty_m": np.nan, "old_name": "", **row}
        for name, row in given.items()
    ]
    frame = pd.DataFrame(rows)
    for end in ("set_out", "removed"):
        frame[end] = pd.to_datetime(frame[end] if end in frame else pd.Series([None] * len(frame)))
        for part in ("first", "last"):
            frame[f"{end}_{part}"] = pd.to_datetime(frame.get(f"{end}_{part}", pd.Series([None] * len(frame))))
    return frame


def visits(*rows: tuple[str, str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["pool", "date", "outcome"]).assign(date=lambda f: pd.to_datetime(f["date"]))


def changes(
    old: pd.DataFrame, new: pd.DataFrame, seen: pd.DataFrame = NO_VISITS, names: Mapping[str, str] | None = None
) -> list[tuple[object, ...]]:
    stood, stands = standing(old, NO_VISITS, OLD_DAY), standing(new, seen, NEW_DAY)
    frame = changes_of_pools(old, new, stood, stands, OLD_DAY, names or {})
    return list(frame[["change", "pool", "why"]].itertuples(index=False, name=None))


def test_the_same_pools_are_no_change() -> None:
    assert changes(pools(A={}, B={"x": 50.0}), pools(A={}, B={"x": 50.0})) == []


def test_gained_and_lost_each_with_how_it_is_known() -> None:
    old = pools(A={}, B={"x": 100.0}, C={"x": 200.0}, D={"x": 300.0, "removed": "2024-01-01"})
    new = pools(
        A={"removed": "2026-03-01"},
        C={"x": 200.0},
        D={"x": 300.0},
        E={"x": 400.0, "set_out": "2026-04-01"},
        F={"x": 500.0},
        G={"x": 600.0, "set_out": "2026-04-01", "removed": "2026-05-01"},
    )
    assert changes(old, new, visits(("C", "2026-06-01", "gone"))) == [
        (Change.GAINED, "D", Why.STANDS_AGAIN),
        (Change.GAINED, "E", Why.SET_OUT),
        (Change.GAINED, "F", Why.NO_DAY),
        (Change.LOST, "A", Why.REMOVED),
        (Change.LOST, "B", Why.NOT_LISTED),
        (Change.LOST, "C", Why.GONE),
        (Change.CAME_AND_WENT, "G", Why.REMOVED),
    ]


def test_a_pool_listed_ahead_is_gained_once_its_day_has_come() -> None:
    listed = pools(A={"set_out": "2026-04-01"})
    assert changes(listed, listed) == [(Change.GAINED, "A", Why.SET_OUT)]


@pytest.mark.parametrize(
    ("apart_m", "old_m", "new_m", "moved"),
    [(4.9, np.nan, np.nan, False), (5.1, np.nan, np.nan, True), (14.0, 8.0, 8.0, False), (17.0, 8.0, 8.0, True)],
)
def test_moved_is_farther_than_both_places_are_uncertain(
    apart_m: float, old_m: float, new_m: float, moved: bool
) -> None:
    old, new = pools(A={"uncertainty_m": old_m}), pools(A={"y": apart_m, "uncertainty_m": new_m})
    assert bool(changes(old, new)) == moved
    if moved:
        up = np.ones(1, bool)
        assert changes_of_pools(old, new, up, up, OLD_DAY, {})["moved_m"].tolist() == pytest.approx([apart_m])


def test_a_new_name_as_somebody_said_wherever_it_stands_now() -> None:
    old, new = pools(A={}), pools(B={"x": 70.0})
    assert changes(old, new, names={"A": "B"}) == [(Change.MOVED, "B", Why.MEASURED), (Change.RENAMED, "B", Why.SAID)]
    assert changes(old, new) == [(Change.GAINED, "B", Why.NO_DAY), (Change.LOST, "A", Why.NOT_LISTED)]


def test_a_new_name_by_the_same_place_but_not_of_a_pool_installed_since() -> None:
    old = pools(A={"set_out": "2024-04-01"})
    assert changes(old, pools(B={"x": 3.0, "set_out": "2024-04-01"})) == [(Change.RENAMED, "B", Why.SAME_PLACE)]
    assert [row[0] for row in changes(old, pools(B={"x": 3.0, "set_out": "2026-04-01"}))] == [
        Change.GAINED,
        Change.LOST,
    ]


def test_of_two_near_a_lost_place_the_nearest_has_the_new_name() -> None:
    old, new = pools(A={}), pools(B={"x": 3.0}, C={"x": 1.0})
    assert (Change.RENAMED, "C", Why.SAME_PLACE) in changes(old, new)
    assert (Change.GAINED, "B", Why.NO_DAY) in changes(old, new)


def test_names_that_are_no_pools_of_the_two_seasons_say_nothing() -> None:
    assert changes(pools(A={}), pools(A={}), names={"X": "A", "A": "Y", "": "A"}) == []


@pytest.mark.parametrize("seed", range(20))
def test_the_same_pools_stand_on_every_day_they_are_told_for(seed: int) -> None:
    random = np.random.default_rng(seed)
    days = pd.date_range("2024-01-01", "2027-01-01", freq="30D")

    def some(n: int) -> list[object]:
        return [random.choice(days) if random.random() < 0.6 else None for _ in range(n)]

    frame = pools(
        **{
            f"P{i}": {"set_out": out, "removed": back}
            for i, (out, back) in enumerate(zip(some(30), some(30), strict=True))
        }
    )
    gone = visits(*((f"P{i}", str(random.choice(days))[:10], "gone") for i in range(0, 30, 4)))
    day = datetime.date(2025, 10, 1)
    up = standing(frame, gone, day)
    for told in (datetime.date(2024, 3, 1), day, datetime.date(2027, 5, 1)):
        known = as_known(frame, up, day, told)
        assert set(known["pool"][standing(known, NO_VISITS, told)]) == set(frame["pool"][up])
    # told for its own day, no date that matters has changed
    same = as_known(frame, up, day, day)
    assert (same["set_out"].fillna(pd.Timestamp(0)) <= pd.Timestamp(day)).all()
