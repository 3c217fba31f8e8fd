"""Forage in reach against plain sums."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.plan import reach
from habitatmap.plan.reach import (
    Rough,
    block_mean,
    block_sum,
    forage_in_reach,
    loss_of_each,
    not_reached,
    reach_kernel,
    shares_of_gains,
    simulate_reach,
)
from tests.plan import slow


def places(*rows: tuple[int, int, float]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["row", "col", "p"])


NO_SITES = places().assign(gain=[])


def test_by_hand():
    # one place, p = 0.5, median 10 m and cells of 10 m: its own cell is missed by a half, a neighbour by 1 - 0.5 / 2
    R = not_reached((1, 2), places((0, 0, 0.5)), cell_m=10.0, median_m=10.0)
    assert pytest.approx(np.array([[0.5, 0.75]])) == R
    assert forage_in_reach([[1.0, 3.0]], R) == pytest.approx((0.5 + 3 * 0.25) / 4)


def test_a_grid_says_its_shape_and_cell():
    grid = Grid(left=0.0, top=90.0, cell_m=10.0, rows=9, cols=5)
    some = places((1, 2, 0.4), (7, 4, 1.0))
    assert (not_reached(grid, some, median_m=60.0) == not_reached((9, 5), some, cell_m=10.0, median_m=60.0)).all()
    with pytest.raises(InputError, match="cell_m"):
        not_reached((9, 5), some, median_m=60.0)


@pytest.mark.parametrize("seed", range(6))
def test_equals_the_plain_product(seed):
    a = slow.area(seed, most=12)
    shape, rules = a["demand"].shape, {"cell_m": a["cell_m"], "median_m": a["median_m"]}
    assert not_reached(shape, a["places"], **rules) == pytest.approx(slow.missed(shape, a["places"], **rules), abs=1e-9)


def test_places_outside_the_frame_count():
    R = not_reached((4, 4), places((-3, 1, 0.8)), cell_m=10.0, median_m=60.0)
    assert (R < 1).all()
    assert R[0, 1] == R.min()


def test_a_place_far_off_changes_nothing():
    k, there = FlightKernel(10.0).stamp(10.0, "reach"), np.array([0.5])
    r = k.shape[0] // 2
    for row, col in ((2, -r - 2), (2, 6 + r), (-r - 1, 2), (6 + r, 2), (2, -99), (2, 99)):
        patch, blocks = np.ones((6, 6)), np.ones((6, 6))
        reach.multiply(patch, 0, 0, row, col, 0.5, k)
        assert (patch == 1.0).all()
        assert reach.multiply_blocks(blocks, np.array([row]), np.array([col]), there, (k[None], 1)) == 0.0
        assert (blocks == 1.0).all()
        assert (not_reached((6, 6), places((row, col, 0.5)), cell_m=10.0, median_m=10.0) == 1.0).all()


def test_no_forage_is_not_zero_reach():
    assert np.isnan(forage_in_reach([[np.nan, 0.0]], np.ones((1, 2))))
    assert np.isnan(loss_of_each([[0.0]], np.ones((1, 1)), places((0, 0, 0.5)), cell_m=10.0, median_m=50.0)).all()


def test_no_places():
    none = places()
    assert (not_reached((3, 3), none, cell_m=10.0, median_m=50.0) == 1).all()
    assert forage_in_reach(np.ones((3, 3)), np.ones((3, 3))) == 0
    assert len(loss_of_each(np.ones((3, 3)), np.ones((3, 3)), none, cell_m=10.0, median_m=50.0)) == 0
    found = simulate_reach(Rough(np.ones((3, 3)), 10.0, 50.0), none, 0.0, np.empty((4, 0)), NO_SITES, np.empty((4, 0)))
    assert (found.now == 0).all()


@pytest.mark.parametrize(
    "some",
    [
        places((2, 2, 0.3), (5, 4, 0.9), (5, 5, 0.2)),
        places((2, 2, 1.0), (5, 4, 0.9)),  # p k = 1 in its own cell
        places((2, 2, 1.0), (2, 2, 1.0), (4, 2, 0.5)),  # twice in one cell
        places((2, 2, 1.0 - 1e-9), (2, 2, 0.5), (-1, 0, 1.0), (6, 2, 0.0)),
    ],
)
def test_loss_of_each_is_the_difference(some):
    w = np.random.default_rng(3).random((8, 7))
    w[0] = np.nan
    rules = {"cell_m": 10.0, "median_m": 40.0}
    R = not_reached(w.shape, some, **rules)
    for i, lost in enumerate(loss_of_each(w, R, some, **rules)):
        without = not_reached(w.shape, some.drop(index=i), **rules)
        assert lost == pytest.approx(forage_in_reach(w, R) - forage_in_reach(w, without), abs=1e-12)


def test_a_probability_beyond_one_is_refused():
    with pytest.raises(InputError, match=r"place 2 has the probability p = 1\.5"):
        not_reached((3, 3), places((0, 0, 0.5), (1, 1, 1.5)), cell_m=10.0, median_m=50.0)


def test_simulations_on_blocks_come_near_the_cells():
    rng = np.random.default_rng(4)
    w = np.kron(rng.random((24, 24)), np.ones((5, 5))) * rng.random((120, 120))
    some = places(*zip(rng.integers(0, 120, 12), rng.integers(0, 120, 12), rng.random(12), strict=True))
    simulations = np.vstack([some["p"], rng.random((8, 12)), np.zeros(12), np.ones(12)])
    rules = {"cell_m": 10.0, "median_m": 100.0}
    true = [forage_in_reach(w, not_reached(w.shape, some.assign(p=p), **rules)) for p in simulations]
    found = simulate_reach(Rough(w, **rules), some, true[0], simulations, NO_SITES, np.empty((11, 0))).now
    assert found[0] == pytest.approx(true[0], rel=1e-12)
    assert found == pytest.approx(np.array(true), rel=5e-3)


def test_the_reach_does_not_depend_on_row_order():
    rng = np.random.default_rng(5)
    some = places(*zip(rng.integers(0, 20, 9), rng.integers(0, 20, 9), rng.random(9), strict=True))
    other = some.sample(frac=1.0, random_state=1)
    rules = {"cell_m": 10.0, "median_m": 30.0}
    R = not_reached((20, 20), some, **rules)
    assert (not_reached((20, 20), other, **rules) == R).all()
    losses = pd.Series(loss_of_each(np.ones((20, 20)), R, some, **rules), index=some.index)
    again = pd.Series(loss_of_each(np.ones((20, 20)), R, other, **rules), index=other.index)
    assert (losses == again.sort_index()).all()


def sites_after(some: pd.DataFrame, w: np.ndarray, probabilities: list[float], rules: dict) -> list[float]:
    """What each of three sites adds after those before it, by plain differences."""
    sites = places(*zip((20, 60, 62), (30, 70, 40), probabilities, strict=True))
    reached = [forage_in_reach(w, not_reached(w.shape, pd.concat([some, sites.head(n)]), **rules)) for n in range(4)]
    return np.diff(reached).tolist()


def test_gains_by_simulation_are_what_each_site_adds_with_the_drawn_probabilities():
    rng = np.random.default_rng(6)
    w = np.kron(rng.random((20, 20)), np.ones((5, 5))) * rng.random((100, 100))
    some = places(*zip(rng.integers(0, 100, 8), rng.integers(0, 100, 8), rng.random(8), strict=True))
    rules = {"cell_m": 10.0, "median_m": 100.0}
    sites = places((20, 30, 0.5), (60, 70, 0.4), (62, 40, 0.6))
    sites["gain"] = sites_after(some, w, [0.5, 0.4, 0.6], rules)
    simulations = np.vstack([some["p"], rng.random((3, 8))])
    site_simulations = np.vstack([sites["p"], rng.random((3, 3))])
    now = forage_in_reach(w, not_reached(w.shape, some, **rules))
    found = simulate_reach(Rough(w, **rules), some, now, simulations, sites, site_simulations).gains
    assert found[0] == pytest.approx(sites["gain"].to_numpy(), rel=1e-12)
    for d in range(1, 4):
        true = sites_after(some.assign(p=simulations[d]), w, site_simulations[d].tolist(), rules)
        assert found[d] == pytest.approx(np.array(true), rel=0.02)


def test_places_beyond_the_simulated_ones_are_certain_of_their_probability():
    rng = np.random.default_rng(8)
    w, rules = rng.random((60, 60)), {"cell_m": 10.0, "median_m": 100.0}
    some = places(*zip(rng.integers(0, 60, 6), rng.integers(0, 60, 6), rng.random(6), strict=True))
    sites = places((20, 30, 0.5), (40, 10, 0.4)).assign(gain=[0.1, 0.05])
    first = rng.random((3, 4))
    every = np.column_stack([first, np.tile(some["p"].to_numpy()[4:], (3, 1))])
    now, new = forage_in_reach(w, not_reached(w.shape, some, **rules)), rng.random((3, 2))
    few, all_ = (simulate_reach(Rough(w, **rules), some, now, of, sites, new) for of in (first, every))
    assert (few.now == all_.now).all()
    assert (few.gains == all_.gains).all()


def test_shares_of_gains_by_hand():
    # one site, no places: what it adds lies left and right of it alike, and one cell in the middle column
    w, none, k = np.ones((1, 5)), np.ones((1, 5)), reach_kernel(20.0, 10.0, (1, 5))
    site, left = places((0, 2, 0.5)), np.array([[True, True, False, False, False]])
    gained = 0.5 * slow.weight(0, 2, (1, 5), 10.0, 20.0)[0]
    assert shares_of_gains(w, none, site, left, k)[0] == pytest.approx(gained[:2].sum() / gained.sum())
    assert shares_of_gains(w, none, site, np.ones((1, 5), bool), k)[0] == pytest.approx(1.0)
    assert np.isnan(shares_of_gains(0 * w, none, site, left, k)[0])


def test_sums_and_means_of_blocks_leave_out_what_is_not_known(monkeypatch):
    values = np.random.default_rng(1).random((23, 31)).astype(np.float32)
    values[values < 0.3] = np.nan
    values[4:8, 4:8] = np.nan
    monkeypatch.setattr(scratch, "BAND_CELLS", 100)
    sums, means = block_sum(values, 4), block_mean(values, 4)
    assert sums.shape == means.shape == (6, 8)
    for i, j in np.ndindex(6, 8):
        known = values[4 * i : 4 * i + 4, 4 * j : 4 * j + 4].astype(float)
        known = known[~np.isnan(known)]
        assert sums[i, j] == pytest.approx(known.sum(), rel=1e-14)
        assert means[i, j] == pytest.approx(known.mean() if len(known) else np.nan, rel=1e-14, nan_ok=True)
    assert np.isnan(means[1, 1])
    assert sums[1, 1] == 0


def test_losses_do_not_depend_on_how_many_are_done_at_a_time(monkeypatch):
    rng = np.random.default_rng(2)
    w = rng.random((40, 40))
    places = pd.DataFrame({"row": rng.integers(-3, 43, 30), "col": rng.integers(0, 40, 30), "p": rng.random(30)})
    R = not_reached(w.shape, places, cell_m=10.0, median_m=60.0)
    whole = loss_of_each(w, R, places, cell_m=10.0, median_m=60.0)
    monkeypatch.setattr(reach, "CHUNK", 7)
    assert np.array_equal(loss_of_each(w, R, places, cell_m=10.0, median_m=60.0), whole)
    assert np.array_equal(not_reached(w.shape, places, cell_m=10.0, median_m=60.0), R)
