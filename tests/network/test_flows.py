"""Flights between many places: the grid and the sparse matrix against the matrix of all pairs."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.spatial.distance import cdist

from habitatmap.network import flows
from habitatmap.network.flows import GriddedFlow, flow_between
from habitatmap.plan.mean_field import GRID_IN_SCALES, flow_of, gets_so_far
from habitatmap.plan.simulated_years import fat_tail, thin_tail

SCALE, MEDIAN = 298.0, 500.0  # metres
ONE_SCALE = SCALE * GRID_IN_SCALES
TAILS: dict[str, tuple[Callable, float]] = {
    "exponential": (lambda d: gets_so_far(d / SCALE, 0.0), ONE_SCALE),
    "some far": (lambda d: gets_so_far(d / SCALE, 0.15), ONE_SCALE),
    "fat": (lambda d: fat_tail(d, MEDIAN), MEDIAN / 4),
    "thin": (lambda d: thin_tail(d, MEDIAN), MEDIAN / 4),
}


def places(n: int, wide_m: float) -> np.ndarray:
    return np.random.default_rng(n).uniform(0, wide_m, (n, 2)) + np.array([4e5, 57e5])


@pytest.mark.parametrize("tail", TAILS)
def test_the_grid_gives_what_all_pairs_give(tail: str) -> None:
    reached, step_m = TAILS[tail]
    xy, sent = places(4000, 10_000), np.random.default_rng(1).random((4000, 3, 7)) ** 4
    pairs = reached(cdist(xy, xy))
    np.fill_diagonal(pairs, 0.0)
    error = np.abs((GriddedFlow(xy, reached, step_m) @ sent) / np.tensordot(pairs, sent, axes=1) - 1.0)
    assert error.mean() < 1 / 5000
    assert error.max() < 1 / 500


def test_a_place_sends_nothing_to_itself_wherever_it_lies_on_the_grid() -> None:
    reached, step_m = TAILS["exponential"]
    for xy in places(20, 1000):
        flow = GriddedFlow(np.array([xy, xy + np.array([50_000.0, 0.0])]), reached, step_m)
        assert (flow @ np.array([1.0, 0.0])).round(5).tolist() == [0.0, 0.0]
        assert (flow @ np.array([-1.0, 0.0])).round(5).tolist() == [0.0, 0.0]


def test_what_arrives_is_never_less_than_nothing() -> None:
    reached, step_m = TAILS["thin"]
    sent = np.zeros(200)
    sent[0] = 1.0
    assert (GriddedFlow(places(200, 50_000), reached, step_m) @ sent).min() == 0.0


def test_flows_are_their_own_transpose() -> None:
    reached, step_m = TAILS["some far"]
    flow, random = GriddedFlow(places(300, 4000), reached, step_m), np.random.default_rng(3)
    a, b = random.normal(size=(2, 300))
    assert a @ (flow @ b) == pytest.approx(b @ (flow @ a), rel=1e-4)


def test_few_places_many_near_ones_and_many_far_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    sent = np.ones((400, 2))
    pairs = flow_of(places(400, 4000), SCALE)
    assert isinstance(pairs, np.ndarray)
    monkeypatch.setattr(flows, "DENSE_PLACES", 100)
    near, far = flow_of(places(400, 4000), SCALE), flow_of(places(400, 400_000), SCALE)
    assert isinstance(near, GriddedFlow)
    assert isinstance(far, csr_array)
    np.testing.assert_allclose(near @ sent, pairs @ sent, rtol=2e-3)
    reached = TAILS["exponential"][0]
    apart = cdist(places(400, 400_000), places(400, 400_000))
    np.testing.assert_allclose(far.toarray(), np.where((apart > 0) & (apart < 9.2334 * SCALE), reached(apart), 0.0))
    assert flow_between(places(400, 400_000), reached, ONE_SCALE, 0.0).nnz == 0
