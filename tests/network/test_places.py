"""Breeding places, merging, and links between places."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.distance import cdist

from habitatmap.errors import InputError
from habitatmap.geo.grid import Grid
from habitatmap.network import connectivity
from habitatmap.network import places as module
from habitatmap.network.graph import links
from habitatmap.network.places import breeding_places, merged, network_places
from habitatmap.read.settings import Settings

GRID = Grid(left=0, top=1000, cell_m=10, rows=100, cols=100)
SETTINGS = Settings()


def pools(*xy: tuple[float, float]) -> pd.DataFrame:
    return pd.DataFrame(
        {"pool": [f"P{k}" for k in range(len(xy))], "x": [p[0] for p in xy], "y": [p[1] for p in xy]},
        columns=["pool", "x", "y"],
    ).astype({"x": float, "y": float})


def test_pools_and_rot_hole_trees() -> None:
    at = pools((5, 995), (100, 500), (30, 995), (-15, 500))
    trees = pd.DataFrame({"x": [120.0, 500, 700, 2000, 900], "y": [500.0, 500, 500, 500, 900]})
    found = breeding_places(
        at,
        np.array([True, True, False, True]),
        [0.5, 0.8, 0.9, 0.4],
        trees,
        [0.5, 0.49, np.nan, 0.9, 1],
        GRID,
        SETTINGS,
    )
    assert found["kind"].tolist() == ["pool", "pool", "pool", "tree", "tree"]
    assert found["index"].tolist() == [0, 1, 3, 0, 4]
    assert found["id"].tolist() == ["P0", "P1", "P3", "1", "5"]
    assert found["p"].tolist() == pytest.approx([0.5, 0.8, 0.4, 0.15, 0.3])
    assert found[["row", "col"]].to_numpy().tolist() == [[0, 0], [50, 10], [50, -2], [50, 12], [10, 90]]
    assert found["place"].tolist() == [0, 1, 2, 1, 3]
    assert found.attrs["trees_outside"] == 1


def test_no_place_at_all() -> None:
    none = breeding_places(pools(), np.empty(0, bool), [], pools()[["x", "y"]], [], GRID, SETTINGS)
    assert len(none) == 0
    assert {"kind", "index", "id", "x", "y", "row", "col", "p", "place"} == set(none.columns)
    nowhere = network_places(none, np.ones(GRID.shape))
    assert len(nowhere) == 0
    assert connectivity(nowhere["weight"], links(nowhere, 1000, 500)).ec == 0


def test_numbers_that_do_not_fit_are_refused() -> None:
    with pytest.raises(InputError, match="do not fit"):
        breeding_places(pools((1, 1)), np.array([True]), [], pools()[["x", "y"]], [], GRID, SETTINGS)


def test_merging_is_by_chains_and_inclusive() -> None:
    # 0 - 30 - 60 is one chain; 90.1 is out; the far pair is numbered after its first appearance
    x = [500, 0, 60, 90.1, 30, 500]
    assert merged(x, np.zeros(6), 30).tolist() == [0, 1, 1, 2, 1, 0]
    assert merged(x, np.zeros(6), 0).tolist() == [0, 1, 2, 3, 4, 0]
    assert merged([], [], 30).tolist() == []


def test_a_crowd_in_one_place_is_not_held_against_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    held: list[int] = []
    plain = module.pairs_within
    monkeypatch.setattr(module, "pairs_within", lambda xy, far: (held.append(len(xy)), plain(xy, far))[1])
    assert merged([9, 5, 9, 9, 90, 5], [0] * 6, 5).tolist() == [0, 0, 0, 0, 1, 0]
    assert held == [3]


@pytest.mark.parametrize("seed", range(5))
def test_merging_against_the_slow_way(seed: int) -> None:
    xy = np.random.default_rng(seed).uniform(0, 300, (40, 2))
    near = cdist(xy, xy) <= 30
    for _ in range(40):
        near = near @ near
    slow = near.argmax(axis=1)  # the first point that each hangs together with
    number = {first: k for k, first in enumerate(dict.fromkeys(slow))}
    assert merged(*xy.T, 30).tolist() == [number[s] for s in slow]


def test_places_of_the_network() -> None:
    found = breeding_places(
        pools((5, 995), (15, 995), (505, 495), (-15, 500)),
        np.ones(4, bool),
        [0.5, 0.5, 0.2, 0.9],
        pools()[["x", "y"]],
        [],
        GRID,
        SETTINGS,
    )
    access = np.full(GRID.shape, 0.4)
    access[0, 0] = 0.2
    access[50, 50] = np.nan
    places = network_places(found, access)
    assert places["place"].tolist() == [0, 1, 2]
    assert places[["x", "y"]].to_numpy().tolist() == [[10, 995], [505, 495], [-15, 500]]
    assert places["p"].tolist() == pytest.approx([0.75, 0.2, 0.9])
    assert places[["pools", "trees"]].to_numpy().tolist() == [[2, 0], [1, 0], [1, 0]]
    assert places["access"].tolist() == pytest.approx([0.3, np.nan, np.nan], nan_ok=True)
    assert places["weight"].tolist() == pytest.approx([0.225, 0, 0])


def test_links_are_the_reach_weight_up_to_link_m() -> None:
    places = pd.DataFrame({"x": [0.0, 600, 600, 5000], "y": [0.0, 0, 800, 0]})
    p = links(places, link_m=1000, dispersal_median_m=500).toarray()
    a = 500 / 1.678346990  # scale of a 2-D exponential with this median: quantiles of a Gamma(2), any textbook

    def k(d: float) -> float:
        return (1 + d / a) * np.exp(-d / a)

    assert k(500) == pytest.approx(0.5, abs=1e-8)
    # 600-800-1000 is a right triangle: the long side is exactly link_m, and counts
    slow = [[1, k(600), k(1000), 0], [k(600), 1, k(800), 0], [k(1000), k(800), 1, 0], [0, 0, 0, 1]]
    assert p == pytest.approx(np.array(slow), abs=1e-9)
    assert links(places, link_m=999.9, dispersal_median_m=500).nnz == 4 + 4


@pytest.mark.slow
def test_many_places_in_small_components_need_no_square_matrix() -> None:
    # 20,000 places in pairs: a dense matrix would be 3.2 GB
    n = 20_000
    x = np.repeat(np.arange(n // 2) * 5000.0, 2) + np.tile([0.0, 500.0], n // 2)
    probability = links(pd.DataFrame({"x": x, "y": np.zeros(n)}), 1000, 500)
    pair_sum = connectivity(np.ones(n), probability).pair_sum
    assert pair_sum == pytest.approx(n + n * 0.5, rel=1e-6)
