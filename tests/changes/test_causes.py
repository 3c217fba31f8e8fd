"""The split of a change by cause: hand-checked, adds up in any order, asks for nothing twice."""

from __future__ import annotations

from itertools import permutations

import pytest

from habitatmap.changes.causes import NOTHING, Cause, Headline, split

PLACES = {Cause.POOLS: 0.2, Cause.VISITS: 0.3, Cause.LAND_COVER: 0.5}


def reached(new: frozenset[Cause]) -> Headline:
    """Together they reach less than one by one: 1 - product of what each leaves."""
    left = 1.0
    for cause in new:
        left *= 1 - PLACES[cause]
    return Headline(1 - left, 2 * (1 - left), float("nan"))


def test_each_order_is_as_by_hand() -> None:
    forward, backward = split([Cause.POOLS, Cause.VISITS], reached)
    assert forward.order == (Cause.POOLS, Cause.VISITS)
    assert [part.now for part in forward.parts] == pytest.approx([0.2, 0.8 * 0.3])
    assert backward.order == (Cause.VISITS, Cause.POOLS)
    assert [part.now for part in backward.parts] == pytest.approx([0.3, 0.7 * 0.2])
    assert backward.of(Cause.POOLS).now == pytest.approx(0.14)
    assert forward.of(Cause.LAND_COVER) == NOTHING


@pytest.mark.parametrize("order", permutations(PLACES))
def test_the_parts_add_up_in_every_order(order: tuple[Cause, ...]) -> None:
    whole = reached(frozenset(PLACES)).less(reached(frozenset()))
    for one in split(order, reached):
        assert one.whole.now == pytest.approx(whole.now, abs=1e-15)
        assert one.whole.with_plan == pytest.approx(whole.with_plan, abs=1e-15)


def test_no_set_is_asked_for_twice() -> None:
    asked: list[frozenset[Cause]] = []

    def figures(new: frozenset[Cause]) -> Headline:
        asked.append(new)
        return reached(new)

    split(list(PLACES), figures)
    assert len(asked) == len(set(asked)) == 2 * len(PLACES)


def test_nothing_changed_is_nothing() -> None:
    forward, backward = split([], reached)
    assert (forward.parts, forward.whole, backward.whole) == ((), NOTHING, NOTHING)


def test_what_is_not_known_stays_not_known() -> None:
    forward, _ = split([Cause.POOLS], reached)
    assert forward.whole.occupancy != forward.whole.occupancy  # NaN
