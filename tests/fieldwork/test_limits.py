"""Rounds within what people can do: against every way there is, and by the laws that no round may break."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from habitatmap.fieldwork.limits import Shared, Trips, share_within, urgency
from habitatmap.fieldwork.routes import straight, walk_m
from tests.examples import examples

VISIT = 15.0


def town(points: int, seed: int) -> NDArray[np.float64]:
    """Minutes on foot between points of three kilometres, one way of getting about."""
    draw = np.random.default_rng(seed)
    return np.stack([straight(draw.random(points) * 3000, draw.random(points) * 3000) / 75])


def limits(points: int, people: int, outings: int, minutes: float, **other: object) -> Trips:
    plain = {
        "person": np.repeat(np.arange(people), outings),
        "most_minutes": np.full(people * outings, minutes),
        "by": np.zeros(people, dtype=np.int64),
        "week_minutes": np.full(people, np.inf),
        "most_pools": np.full(people, points, dtype=np.int64),
        "allowed": np.ones((points, people), dtype=bool),
    }
    return Trips(**(plain | other))  # type: ignore[arg-type]


def shared(
    minutes: NDArray[np.float64], can: Trips, last: NDArray[np.int64] | None = None, keep: bool = False
) -> Shared:
    nobody = np.full(minutes.shape[1], -1, dtype=np.int64)
    return share_within(minutes, np.full(len(minutes), VISIT), can, nobody if last is None else last, keep)


def spent(way: NDArray[np.float64], walk: list[int]) -> float:
    return walk_m(way, walk) + VISIT * len(walk)


@settings(max_examples=examples(40), deadline=None)
@given(
    points=st.integers(1, 18),
    people=st.integers(1, 4),
    outings=st.integers(1, 3),
    minutes=st.sampled_from([20.0, 45.0, 90.0, np.inf]),
    keep=st.booleans(),
    seed=st.integers(0, 999),
)
def test_no_limit_is_broken_and_the_urgent_go_first(
    points: int, people: int, outings: int, minutes: float, keep: bool, seed: int
) -> None:
    draw = np.random.default_rng(seed)
    way = town(points, seed)
    can = limits(
        points, people, outings, minutes,
        week_minutes=draw.choice([60.0, 120.0, np.inf], people),
        most_pools=draw.integers(0, points + 1, people),
        allowed=draw.random((points, people)) < 0.7,
    )  # fmt: skip
    last = draw.integers(-1, people, points)
    found = shared(way, can, last, keep)
    visited = [point for walk in found.trips for point in walk]
    assert sorted([*visited, *found.undone]) == list(range(points))
    assert found.undone == sorted(found.undone)
    week, pools = np.zeros(people), np.zeros(people, dtype=int)
    for walk, person, most in zip(found.trips, can.person, can.most_minutes, strict=True):
        assert can.allowed[walk, person].all()
        assert spent(way[0], walk) <= most + 1e-6
        week[person] += spent(way[0], walk)
        pools[person] += len(walk)
    assert (week <= can.week_minutes + 1e-6).all()
    assert (pools <= can.most_pools).all()
    # no undone point could take the place of a less urgent one, or a free one
    for lost in found.undone:
        for trip, walk in enumerate(found.trips):
            person = can.person[trip]
            if not can.allowed[lost, person]:
                continue
            for at, held in enumerate(walk):
                if held > lost:
                    other = [*walk[:at], lost, *walk[at + 1 :]]
                    longer = spent(way[0], other) - spent(way[0], walk)
                    fits = spent(way[0], other) <= can.most_minutes[trip] - 1e-6
                    assert not (fits and week[person] + longer <= can.week_minutes[person] - 1e-6)
            if pools[person] < can.most_pools[person]:
                other = [*walk, lost]
                longer = spent(way[0], other) - spent(way[0], walk)
                fits = spent(way[0], other) <= can.most_minutes[trip] - 1e-6
                assert not (fits and week[person] + longer <= can.week_minutes[person] - 1e-6)
    again = shared(way, can, last, keep)
    assert again == found


@pytest.mark.parametrize("seed", range(4))
def test_two_people_with_times_share_as_short_as_can_be(seed: int) -> None:
    way = town(6, 70 + seed)
    can = limits(6, 2, 1, 500.0, most_pools=np.array([3, 3]))
    orders = itertools.permutations(range(6))
    best = min(walk_m(way[0], list(o[:3])) + walk_m(way[0], list(o[3:])) for o in orders)
    found = shared(way, can)
    assert sum(walk_m(way[0], walk) for walk in found.trips) == pytest.approx(best)


def test_as_many_as_can_be_are_visited() -> None:
    """Every way of sharing seven points between two outings of which each has time for some; counted by hand-written
    search."""
    for seed in range(4):
        way = town(7, seed)
        most = VISIT * 3 + 25
        fits = {
            subset
            for k in range(8)
            for subset in itertools.combinations(range(7), k)
            if min(spent(way[0], list(order)) for order in itertools.permutations(subset)) <= most
        }
        best = max(len(a) + len(b) for a in fits for b in fits if not set(a) & set(b))
        found = shared(way, limits(7, 2, 1, most))
        assert 7 - len(found.undone) >= best - 1
        assert found.undone == sorted(found.undone)


def test_the_key_decides_and_last_visitors_stay() -> None:
    way = town(8, 3)
    allowed = np.ones((8, 2), dtype=bool)
    allowed[5, 0] = False
    found = shared(way, limits(8, 2, 1, np.inf, allowed=allowed), np.array([0, 0, 1, 1, 0, 0, 1, 1]), keep=True)
    assert 5 in found.trips[1]
    assert {0, 1, 4} <= set(found.trips[0])
    assert len(found.trips[0]) == 4
    assert len(found.trips[1]) == 4


def test_loads_are_even_without_limits_that_matter() -> None:
    found = shared(town(31, 1), limits(31, 4, 1, 10_000.0))
    assert sorted(map(len, found.trips)) == [7, 8, 8, 8]


def test_the_walks_are_no_longer_than_those_of_the_plain_way() -> None:
    from habitatmap.fieldwork.routes import shortest_routes

    way = town(120, 9)
    plain = sum(walk_m(way[0], walk) for walk in shortest_routes(way[0], 6))
    found = shared(way, limits(120, 6, 1, 10_000.0))
    assert sum(walk_m(way[0], walk) for walk in found.trips) <= 1.05 * plain


def test_urgency_is_the_reason_and_then_the_longest_time() -> None:
    assert urgency([1, 0, 1, 1], [30, 7, np.nan, 40]).tolist() == [1, 2, 3, 0]
