"""Siting against published optima, small cases by hand, and every combination.

OR-Library p-median cases: Beasley 1985, EJOR 21:270-273; optima 5819, 4093, 4250, 3034, 1355. The covering values on
pmed1's distances, the line and the 5 x 5 grid were worked out for this project's notes by brute force.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import shortest_path
from scipy.spatial.distance import cdist

from habitatmap.errors import InputError
from habitatmap.plan import discrete
from habitatmap.plan.discrete import max_cover, p_median
from tests.beside import real
from tests.examples import examples

GRID_5 = np.array([(100 * i, 100 * j) for i in range(5) for j in range(5)], dtype=float)


def case(name: str) -> tuple[np.ndarray, int]:
    """Distances between all points of an OR-Library case and the number of sites to choose."""
    text = real(f"facility/{name}.txt").read_text(encoding="ascii")
    n, edges, pools, *rest = (int(word) for word in text.split())
    direct = np.zeros((n, n))
    for i, j, cost in np.array(rest[: 3 * edges]).reshape(-1, 3):  # of a repeated edge the last cost counts
        direct[i - 1, j - 1] = direct[j - 1, i - 1] = cost
    return shortest_path(direct, directed=False), pools


@pytest.mark.parametrize(
    ("name", "optimum"), [("pmed1", 5819), ("pmed2", 4093), ("pmed3", 4250), ("pmed4", 3034), ("pmed5", 1355)]
)
def test_or_library_medians(name: str, optimum: int) -> None:
    distance, pools = case(name)
    found = p_median(np.ones(len(distance)), distance, pools)
    assert (found.value, found.bound, found.optimal) == (optimum, optimum, True)
    assert len(set(found.chosen.tolist())) == pools
    assert distance[:, found.chosen].min(axis=1).sum() == optimum


def test_pmed1_is_read_as_published_and_its_optimum_is_unique() -> None:
    distance, pools = case("pmed1")
    assert (distance[0, 1], distance[0, 99], distance.max(), distance.sum()) == (30, 88, 299, 1412252)
    assert (p_median(np.ones(100), distance, pools).chosen + 1).tolist() == [7, 13, 65, 91, 99]


@pytest.mark.parametrize(
    ("radius", "plain", "weighted"), [(30, 27, 1166), (50, 51, 2357), (70, 67, 3265), (90, 84, 4261)]
)
def test_cover_on_pmed1(radius: int, plain: int, weighted: int) -> None:
    covers = case("pmed1")[0] <= radius
    for weights, best in ((np.ones(100), plain), (np.arange(1.0, 101), weighted)):
        found = max_cover(weights, covers, 5)
        assert (found.value, found.bound, found.optimal) == (best, best, True)
        assert weights[covers[:, found.chosen].any(axis=1)].sum() == best


def test_where_greedy_is_as_bad_as_it_can_be() -> None:
    # Nemhauser, Wolsey & Fisher 1978: with two picks greedy may get only 3/4; here it would take the first set
    sets = [{1, 2, 5, 6}, {1, 2, 3, 4}, {5, 6, 7, 8}]
    covers = np.array([[element in s for s in sets] for element in range(1, 9)])
    assert max_cover(np.ones(8), covers, 1).chosen.tolist() == [0]
    found = max_cover(np.ones(8), covers, 2)
    assert (found.chosen.tolist(), found.value, found.optimal) == ([1, 2], 8, True)


def test_medians_of_a_line() -> None:
    x = np.array([0.0, 1, 2, 10, 11, 12])
    distance = np.abs(np.subtract.outer(x, x))
    two = p_median(np.ones(6), distance, 2)
    assert (x[two.chosen].tolist(), two.value, two.optimal) == ([1, 11], 4, True)
    assert p_median(np.ones(6), distance, 1).value == 30


@pytest.mark.parametrize(
    ("radius", "pools", "best"), [(100, 1, 5), (100, 2, 10), (100, 3, 14), (100, 4, 18), (150, 2, 17), (150, 4, 25)]
)
def test_cover_on_a_grid(radius: float, pools: int, best: int) -> None:
    found = max_cover(np.ones(25), cdist(GRID_5, GRID_5) <= radius, pools)
    assert (found.value, found.optimal) == (best, True)


def every_set(sites: int, pools: int) -> list[list[int]]:
    return [list(s) for s in itertools.combinations(range(sites), min(pools, sites))]


@settings(max_examples=examples(60), deadline=None)
@given(st.integers(1, 9), st.integers(1, 8), st.integers(1, 4), st.integers(0, 10_000), st.booleans())
def test_against_every_set(demand: int, sites: int, pools: int, seed: int, whole: bool) -> None:
    rng = np.random.default_rng(seed)
    weights = rng.integers(0, 4, demand).astype(float) if whole else rng.random(demand)
    distance = rng.integers(0, 6, (demand, sites)).astype(float) if whole else rng.random((demand, sites))
    covers = distance <= np.median(distance)
    median, cover = p_median(weights, distance, pools), max_cover(weights, covers, pools)
    least = min(float(weights @ distance[:, s].min(axis=1)) for s in every_set(sites, pools))
    most = max(float(weights[covers[:, s].any(axis=1)].sum()) for s in every_set(sites, pools))
    assert median.optimal
    assert cover.optimal
    assert (median.value, median.bound) == pytest.approx((least, least), abs=1e-9)
    assert (cover.value, cover.bound) == pytest.approx((most, most), abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_beyond_the_stated_size_the_bound_holds(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(seed)
    xy, weights = rng.uniform(0, 1000, (60, 2)), rng.random(60)
    distance = cdist(xy, xy)
    best, best_cover = p_median(weights, distance, 4), max_cover(weights, distance < 200, 4)
    assert best.optimal
    assert best_cover.optimal
    monkeypatch.setattr(discrete, "MOST_PAIRS", 0)
    median, cover = p_median(weights, distance, 4), max_cover(weights, distance < 200, 4)
    assert median.bound <= best.value * (1 + 1e-9)
    assert best.value * (1 - 1e-9) <= median.value <= 1.02 * best.value
    assert median.bound >= 0.98 * best.value
    assert cover.bound >= best_cover.value * (1 - 1e-9)
    assert 0.97 * best_cover.value <= cover.value <= best_cover.value * (1 + 1e-9)


def test_the_same_question_gets_the_same_answer() -> None:
    distance = cdist(GRID_5, GRID_5)
    first, second = (p_median(np.ones(25), distance, 3) for _ in range(2))
    assert first.chosen.tolist() == second.chosen.tolist()
    assert (first.value, first.bound) == (second.value, second.bound)


def test_ends_of_the_scale() -> None:
    distance = np.array([[1.0, 2], [3, 1]])
    assert max_cover([1, 1], distance < 2, 0)[1:] == (0, 0, True)
    assert p_median([1, 1], distance, 9).chosen.tolist() == [0, 1]
    assert p_median([0, 0], distance, 1)[1:] == (0, 0, True)
    assert max_cover(np.empty(0), np.empty((0, 3), bool), 2)[1:] == (0, 0, True)


@pytest.mark.parametrize(
    ("weights", "distances", "pools", "word"),
    [
        ([1], [[1, 2], [3, 4]], 1, "a row for each weight"),
        ([1, -1], [[1, 2], [3, 4]], 1, "weight"),
        ([1, 1], [[1, 2], [3, np.inf]], 1, "distance"),
        ([1, 1], [[1, 2], [3, 4]], 0, "at least one"),
        ([1, 1], [[1, 2], [3, 4]], -1, "whole number"),
        ([1, 1], [[1, 2], [3, 4]], 1.5, "whole number"),
    ],
)
def test_wrong_input_is_one_sentence(weights: list, distances: list, pools: float, word: str) -> None:
    with pytest.raises(InputError, match=word):
        p_median(weights, distances, pools)


def test_covers_are_yes_or_no() -> None:
    with pytest.raises(InputError, match="yes and no"):
        max_cover([1], [[0.5]], 1)
