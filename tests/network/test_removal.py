"""Taking places out of larger networks: the quick way against the plain one, in any number of pieces."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.sparse.csgraph import shortest_path

from habitatmap.network import connectivity, importance
from habitatmap.network.graph import lengths, links, needed_links, thinned
from habitatmap.network.importance import Connectivity, equivalent_connectivity, estimated_connectivity, pair_sum_from
from habitatmap.network.removal import carried


def town(seed: int, n: int) -> tuple[np.ndarray, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    return rng.random(n), pd.DataFrame(rng.uniform(0, 3000, (n, 2)), columns=["x", "y"])


@pytest.mark.parametrize("seed", range(3))
def test_loss_is_the_pair_sum_without_the_place(seed: int) -> None:
    a, places = town(seed, 60)
    p = links(places, 700, 500)
    whole = connectivity(a, p)
    for k in range(0, 60, 7):
        keep = np.arange(60) != k
        without = equivalent_connectivity(a[keep], p[keep][:, keep]) ** 2
        loss = 100 * (whole.pair_sum - without) / whole.pair_sum
        assert whole.importance["loss"].iloc[k] == pytest.approx(loss, abs=1e-9)


def test_rows_in_small_bites_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    a, places = town(4, 90)
    p = links(places, 700, 500)
    whole = connectivity(a, p)
    monkeypatch.setattr(importance, "ROWS_AT_ONCE_CELLS", 700)
    bites = connectivity(a, p)
    assert isinstance(bites, Connectivity)
    assert bites.pair_sum == pytest.approx(whole.pair_sum, rel=1e-14)
    assert bites.importance.to_numpy() == pytest.approx(whole.importance.to_numpy(), rel=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_links_that_cannot_matter_change_nothing(seed: int) -> None:
    # the plain matrix of best paths over all links, and once more without each place
    rng = np.random.default_rng(seed)
    places = pd.DataFrame(rng.uniform(0, 900, (40, 2)), columns=["x", "y"])
    graph = lengths(links(places, 700, 500))
    few = thinned(graph)
    assert few.nnz < 0.5 * graph.nnz
    assert shortest_path(few) == pytest.approx(shortest_path(graph), abs=1e-12)
    for k in range(0, 40, 5):
        keep = np.arange(40) != k
        assert shortest_path(few[keep][:, keep]) == pytest.approx(shortest_path(graph[keep][:, keep]), abs=1e-12)


@pytest.mark.parametrize(
    ("seed", "n", "side_m"), [(0, 300, 3000), (1, 60, 90_000), (2, 2, 100), (3, 1, 10), (4, 0, 10)]
)
def test_links_are_found_thin_at_once(seed: int, n: int, side_m: float) -> None:
    rng = np.random.default_rng(seed)
    places = pd.DataFrame(rng.uniform(0, side_m, (n, 2)), columns=["x", "y"])
    every = links(places, 700, 500)
    few, count = needed_links(places, 700, 500)
    assert count == (every.nnz - n) // 2
    thin = thinned(lengths(every))
    assert (lengths(few) != thin).nnz == 0
    assert few.diagonal() == pytest.approx(np.ones(n))


def test_sure_links_and_ties_survive_thinning() -> None:
    # four places on a line, evenly: the direct link of 2 hops is as long as its detour where lengths add up
    p = np.exp(-np.abs(np.subtract.outer(np.arange(4.0), np.arange(4.0))))
    p[0, 1] = p[1, 0] = 1.0  # a sure link, length 0
    graph = lengths(p)
    for spare in (1, 2):
        assert shortest_path(thinned(graph, spare)) == pytest.approx(shortest_path(graph))


def test_an_estimate_of_a_large_network_is_near_and_says_how_near() -> None:
    a, places = town(7, 700)
    p = links(places, 700, 500)
    whole, some = connectivity(a, p), estimated_connectivity(a, p, 150)
    assert 0 < some.standard_error < 0.02 * whole.ec
    assert abs(some.ec - whole.ec) < 3 * some.standard_error
    told = some.importance.dropna()
    assert 50 <= len(told) <= 100
    assert int(told["loss"].idxmax()) == int(whole.importance["loss"].idxmax())
    true = whole.importance.loc[told.index]
    assert told["own"].to_numpy() == pytest.approx(true["own"].to_numpy(), rel=0.05)
    assert np.corrcoef(told["loss"], true["loss"])[0, 1] > 0.95
    assert pair_sum_from(a, p, some.sources, some.counts_for) == pytest.approx(some.pair_sum, rel=0.02)


def test_an_estimate_from_every_place_is_exact() -> None:
    a, places = town(4, 90)
    p = links(places, 700, 500)
    whole, some = connectivity(a, p), estimated_connectivity(a, p, 90)
    assert (some.ec, some.standard_error) == (whole.ec, 0.0)
    pd.testing.assert_frame_equal(some.importance, whole.importance)
    assert pair_sum_from(a, p, some.sources, some.counts_for) == pytest.approx(whole.pair_sum, rel=1e-12)


def test_sources_stand_in_the_middle_of_their_shares_of_the_weight() -> None:
    # nine equal places on a line and three sources: the middle one of each three, from whichever end one begins
    p = links(pd.DataFrame({"x": np.arange(9) * 600.0, "y": 0.0}), 700, 500)
    some = estimated_connectivity(np.ones(9), p, 3)
    assert sorted(some.sources.tolist()) == [1, 4, 7]
    assert some.counts_for.tolist() == [3, 3, 3]


def test_what_passes_over_a_place_is_all_that_lies_behind_it() -> None:
    # from place 0 of a line 0 - 1 - 2 - 3: over 1 pass the pairs with 2 and 3, over 2 that with 3; shares count double
    best, before = np.array([[1.0, 0.5, 0.25, 0.125]]), np.array([[-9999, 0, 1, 2]], dtype=np.int32)
    passing = carried(best, before, np.array([1.0, 1.0, 2.0, 4.0]), np.array([2.0]))
    assert passing.tolist() == [0, 2 * (0.25 * 2 + 0.125 * 4), 2 * 0.125 * 4, 0]


def test_a_bridge_of_little_weight_is_among_the_places_worked_out() -> None:
    # two towns of 120 places joined by one that has next to no weight: only what passes over it makes it costly
    rng = np.random.default_rng(3)
    left, right = rng.uniform(0, 400, (120, 2)), rng.uniform((1400, 0), (1800, 400), (120, 2))
    xy = np.vstack([left, right, [[900, 200]]])
    p = links(pd.DataFrame(xy, columns=["x", "y"]), 600, 500)
    some = estimated_connectivity(np.append(rng.uniform(0.5, 1, 240), 0.001), p, 60)
    assert some.importance["loss"].idxmax() == 240
