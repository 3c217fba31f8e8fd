"""Connectivity against worked examples.

EX1-EX3, the added pools and the pair of stepping stones were worked out for this project's notes in two ways (networkx
Dijkstra on -ln p; all simple paths). Definitions: Saura & Pascual-Hortal 2007 (Landsc Urban Plan 83:91), Saura et al.
2011 (Ecol Indic 11:407), Saura & Rubio 2010 (Ecography 33:523).
"""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.spatial.distance import cdist

from habitatmap.errors import InputError
from habitatmap.network import connectivity
from habitatmap.network.graph import articulations, components
from habitatmap.network.importance import equivalent_connectivity
from tests.examples import examples

EX1 = np.array([[1, 0.8, 0.5], [0.8, 1, 0.7], [0.5, 0.7, 1]])
EX2 = np.array([[1, 0.5, 0, 0], [0.5, 1, 0.5, 0], [0, 0.5, 1, 0], [0, 0, 0, 1]])
EX3_XY = np.array([(0, 0), (300, 0), (300, 400), (700, 400), (1000, 800)], dtype=float)
EX3_A = np.array([1.0, 2, 1, 4, 2])
K = np.log(2) / 250


def flights(xy: np.ndarray, cut_off: float = np.inf) -> np.ndarray:
    d = cdist(xy, xy)
    return np.where(d <= cut_off, np.exp(-K * d), 0.0)


def test_ex1_the_detour_wins() -> None:
    ec, pair_sum, importance = connectivity([10, 20, 30], EX1)
    assert pair_sum == pytest.approx(2896)
    assert ec == pytest.approx(53.8144961883)
    assert importance["loss"].tolist() == pytest.approx([26.104972, 55.110497, 71.685083], abs=1e-6)
    assert importance["own"].tolist() == pytest.approx([3.453039, 13.812155, 31.077348], abs=1e-6)
    assert importance["flux"].tolist() == pytest.approx([22.651934, 40.055249, 40.607735], abs=1e-6)
    assert importance["stepping"].tolist() == pytest.approx([0, 1.243094, 0], abs=1e-6)


@pytest.mark.parametrize("form", [np.asarray, csr_array])
def test_ex2_a_chain_and_a_lone_place(form: type) -> None:
    ec, pair_sum, importance = connectivity(np.ones(4), form(EX2))
    assert (pair_sum, ec) == pytest.approx((6.5, 2.5495097568))
    assert importance["loss"].tolist() == pytest.approx([38.461538, 53.846154, 38.461538, 15.384615], abs=1e-6)
    assert importance["stepping"].tolist() == pytest.approx([0, 7.692308, 0, 0], abs=1e-6)
    assert components(form(EX2)).tolist() == [0, 0, 0, 1]
    assert articulations(form(EX2)).tolist() == [False, True, False, False]


def test_ex3_without_cut_off_nothing_is_a_stepping_stone() -> None:
    ec, pair_sum, importance = connectivity(EX3_A, flights(EX3_XY))
    assert (pair_sum, ec) == pytest.approx((41.3517864273, 6.4305354697), rel=1e-10)
    assert importance["stepping"].tolist() == [0, 0, 0, 0, 0]
    assert importance["loss"].tolist() == pytest.approx(
        [10.184755, 26.152359, 14.234814, 64.879127, 21.673790], abs=1e-6
    )


def test_ex3_with_cut_off() -> None:
    p = flights(EX3_XY, 400)
    ec, pair_sum, importance = connectivity(EX3_A, p)
    assert (pair_sum, ec) == pytest.approx((34.1068297159, 5.8401052829), rel=1e-10)
    assert importance["loss"].tolist() == pytest.approx(
        [9.989802, 27.759290, 21.596052, 60.864778, 11.727856], abs=1e-6
    )
    assert importance["stepping"].tolist() == pytest.approx([0, 1.952992, 6.215853, 0, 0], abs=1e-6)
    assert components(p).tolist() == [0, 0, 0, 0, 1]
    assert articulations(p).tolist() == [False, True, True, False, False]


ADDED = {1: (850, 600), 2: (150, 200), 3: (500, 400), 4: (1000, 400)}
ADDED_EC = {
    (1,): 6.80415985, (2,): 6.39687329, (3,): 6.46321269, (4,): 6.56242940,
    (1, 2): 7.31504153, (1, 3): 7.42371727, (1, 4): 7.32230668, (2, 3): 7.02017533, (2, 4): 7.08291450,
    (3, 4): 7.18064379, (1, 2, 3): 7.93860219, (1, 2, 4): 7.81047776, (1, 3, 4): 7.93291637, (2, 3, 4): 7.70457193,
}  # fmt: skip


@pytest.mark.parametrize(("which", "ec"), ADDED_EC.items(), ids=str)
def test_pools_added_to_ex3(which: tuple[int, ...], ec: float) -> None:
    xy = np.vstack([EX3_XY, [ADDED[c] for c in which]])
    assert equivalent_connectivity(np.r_[EX3_A, np.ones(len(which))], flights(xy, 400)) == pytest.approx(ec, abs=1e-8)


def test_the_gain_is_not_submodular() -> None:
    ends, stones = [(0, 0), (900, 0)], [(300, 0), (600, 0)]

    def pair_sum(*added: tuple[int, int]) -> float:
        weights = [10.0, 10.0] + [0.1] * len(added)
        return connectivity(weights, flights(np.array([*ends, *added], dtype=float), 400)).pair_sum

    none, one, other, both = pair_sum(), pair_sum(stones[0]), pair_sum(stones[1]), pair_sum(*stones)
    assert (none, one, both) == pytest.approx((200.0, 200.880551, 219.021514), abs=1e-6)
    assert other - none == pytest.approx(0.880551, abs=1e-6)
    assert both - one == pytest.approx(18.140963, abs=1e-6)


def slow_importance(a: np.ndarray, p: np.ndarray) -> tuple[float, np.ndarray]:
    """Pair sum and percentage lost by each place, by another library and by taking places out one at a time."""

    def pair_sum(keep: list[int]) -> float:
        graph = nx.Graph()
        graph.add_nodes_from(keep)
        graph.add_weighted_edges_from((i, j, -np.log(p[i, j])) for i in keep for j in keep if i < j and p[i, j] > 0)
        lengths = dict(nx.all_pairs_dijkstra_path_length(graph))
        return sum(a[i] * a[j] * np.exp(-d) for i, row in lengths.items() for j, d in row.items())

    every = list(range(len(a)))
    whole = pair_sum(every)
    return whole, np.array([100 * (whole - pair_sum([j for j in every if j != k])) / whole for k in every])


@pytest.mark.parametrize("seed", range(8))
def test_against_networkx(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 26))
    a = rng.choice([0.0, 1.0, rng.random()], n) + (np.arange(n) == 0)
    # few distinct values, sure links among them: ties of paths are the hard case
    p = np.triu(rng.choice([0, 0, 0, 0.25, 0.5, 1.0, rng.random()], (n, n)), 1)
    p = p + p.T + np.eye(n)
    ec, pair_sum, importance = connectivity(a, p)
    whole, loss = slow_importance(a, p)
    assert pair_sum == pytest.approx(whole, rel=1e-12)
    assert ec == pytest.approx(np.sqrt(whole), rel=1e-12)
    assert importance["loss"].to_numpy() == pytest.approx(loss, abs=1e-9)
    graph = nx.from_numpy_array(p - np.eye(n))
    assert set(np.flatnonzero(articulations(p))) == set(nx.articulation_points(graph))
    assert components(p).max() + 1 == nx.number_connected_components(graph)


@settings(max_examples=examples(40), deadline=None)
@given(st.integers(1, 14), st.integers(0, 10_000))
def test_laws(n: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    xy, a = rng.uniform(0, 1000, (n, 2)), rng.random(n)
    p = flights(xy, 400)
    ec, _, importance = connectivity(a, p)
    assert np.sqrt((a**2).sum()) * (1 - 1e-12) <= ec <= a.sum() * (1 + 1e-12)
    assert (importance >= 0).all(axis=None)
    assert importance[["own", "flux", "stepping"]].sum(axis=1).to_numpy() == pytest.approx(
        importance["loss"].to_numpy()
    )
    turn = rng.permutation(n)
    turned = connectivity(a[turn], p[np.ix_(turn, turn)])
    assert turned.ec == pytest.approx(ec, rel=1e-12)
    assert turned.importance["loss"].to_numpy() == pytest.approx(importance["loss"].to_numpy()[turn], abs=1e-9)
    assert equivalent_connectivity(np.r_[a, 0.3], flights(np.vstack([xy, xy[:1] + 50]), 400)) >= ec


def test_no_place_and_no_weight() -> None:
    ec, pair_sum, importance = connectivity([], np.empty((0, 0)))
    assert (ec, pair_sum, len(importance)) == (0, 0, 0)
    assert list(importance.columns) == ["loss", "own", "flux", "stepping"]
    assert connectivity([0, 0], np.eye(2)).importance.isna().all(axis=None)
    assert articulations(np.empty((0, 0))).tolist() == []


@pytest.mark.parametrize(
    ("weights", "probability", "word"),
    [
        ([1, 2], np.eye(3), "fit"),
        ([1, np.nan], np.eye(2), "place 1"),
        ([1, 1], [[1, 0.5], [0.4, 1]], "symmetric"),
        ([1, 1], [[1, 0.5], [0, 1]], "symmetric"),
        ([1, 1], [[1, 1.5], [1.5, 1]], "0-1"),
        ([1, 1], [[1, np.nan], [np.nan, 1]], "0-1"),
        ([1, 1], np.ones((2, 3)), "as many rows"),
    ],
)
def test_wrong_input_is_one_sentence(weights: list, probability: list, word: str) -> None:
    with pytest.raises(InputError, match=word):
        connectivity(weights, probability)
