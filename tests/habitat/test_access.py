"""Kernel means against the plain double sum, and what missing ground does to them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from habitatmap.geo.engine import Engine
from habitatmap.geo.flight import FlightKernel
from habitatmap.habitat.access import LEAST_SHARE, access_and_share, access_mean


def plainly(values: NDArray[np.float64], cell_m: float, median_m: float) -> tuple[NDArray[np.float64], ...]:
    """The definition, in double precision: cell by cell over the whole kernel."""
    weights = FlightKernel(median_m).stamp(cell_m, "access")
    r = weights.shape[0] // 2
    padded = np.pad(values, r, constant_values=np.nan)
    mean, share = np.full(values.shape, np.nan), np.zeros(values.shape)
    for i, j in np.ndindex(values.shape):
        window = padded[i : i + 2 * r + 1, j : j + 2 * r + 1]
        seen = ~np.isnan(window)
        share[i, j] = weights[seen].sum() / weights.sum()
        if share[i, j] >= LEAST_SHARE:
            mean[i, j] = (window[seen] * weights[seen]).sum() / weights[seen].sum()
    return mean, share


@pytest.fixture
def patchy() -> NDArray[np.float64]:
    rng = np.random.default_rng(7)
    values = rng.random((47, 61))
    values[rng.random(values.shape) < 0.3] = np.nan
    values[5:40, 20:58] = np.nan  # ground of which nothing is known, wider than a flight
    return values


@pytest.mark.parametrize("tile_cells", [None, 13])
def test_equals_the_plain_sum(patchy: NDArray[np.float64], tile_cells: int | None) -> None:
    mean, share = access_and_share(patchy, 10.0, 20.0, Engine(tile_cells=tile_cells))
    expected, seen = plainly(patchy, 10.0, 20.0)
    assert np.isnan(expected).any()
    assert np.array_equal(np.isnan(mean), np.isnan(expected))
    np.testing.assert_allclose(mean, expected, atol=1e-6)
    np.testing.assert_allclose(share, seen, atol=1e-6)
    assert mean.dtype == share.dtype == np.float32


def test_low_shares_stay_exact() -> None:
    values = np.full((80, 80), np.nan)
    values[:3, :3] = np.random.default_rng(3).random((3, 3))
    mean, share = access_and_share(values, 10.0, 40.0)
    expected, _ = plainly(values, 10.0, 40.0)
    assert ((share > LEAST_SHARE) & (share < 0.01)).any()
    np.testing.assert_allclose(mean, expected, atol=1e-6)


def test_a_mean_over_less_than_0_0007_of_the_kernel_is_not_known() -> None:
    values = np.full((60, 60), np.nan)
    values[0, 0] = 1.0
    mean, share = access_and_share(values, 10.0, 40.0)
    little, too_little = (share > 0.00071) & (share < 0.0013), (share > 0.0004) & (share < 0.00069)
    assert little.any()
    assert too_little.any()
    assert (mean[little] == 1).all()
    assert np.isnan(mean[too_little]).all()


def test_missing_is_not_bare() -> None:
    values = np.full((30, 30), 0.5)
    values[10:20, 10:20] = np.nan
    assert np.allclose(access_mean(values, 10.0, 30.0), 0.5)
    values[10:20, 10:20] = 0.0
    assert access_mean(values, 10.0, 30.0)[15, 15] < 0.4


def test_nothing_known_gives_nothing() -> None:
    mean, share = access_and_share(np.full((9, 9), np.nan), 10.0, 250.0)
    assert np.isnan(mean).all()
    assert (share == 0).all()


def test_the_corner_saw_a_quarter() -> None:
    _, share = access_and_share(np.ones((300, 300)), 10.0, 100.0)
    assert share[150, 150] == pytest.approx(1, abs=1e-6)
    assert share[0, 150] == pytest.approx(0.5, abs=0.03)
    assert share[0, 0] == pytest.approx(0.25, abs=0.03)


def test_whole_numbers_and_threads() -> None:
    values = np.random.default_rng(1).integers(0, 2, (90, 70))
    once = access_mean(values, 10.0, 50.0, Engine(threads=1))
    assert np.array_equal(once, access_mean(values, 10.0, 50.0, Engine(threads=3)))
    assert once.min() >= 0
    assert once.max() <= 1


@pytest.mark.parametrize("median_m", [0.0, -5.0, float("nan"), float("inf")])
def test_a_flight_that_is_none(median_m: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        access_mean(np.ones((4, 4)), 10.0, median_m)


def test_only_a_raster_has_a_mean() -> None:
    with pytest.raises(ValueError, match="rows x columns"):
        access_mean(np.ones(4), 10.0, 100.0)
