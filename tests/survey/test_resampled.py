"""Many samples at once, against the model fitted to each by itself."""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.survey.constant import Histories, log_likelihood
from habitatmap.survey.occupancy import fit_counts
from habitatmap.survey.resampled import psi_of_samples


def alone(n: np.ndarray, d: np.ndarray, sites: np.ndarray) -> float:
    return float(fit_counts(np.repeat(n, sites), np.repeat(d, sites)).psi)


@pytest.mark.parametrize("seed", range(40))
def test_each_sample_is_fitted_as_by_itself(seed: int) -> None:
    """From 3 to 200 sites of 1 to 6 searches; few of them often have their peak in a corner."""
    rng = np.random.default_rng(seed)
    most = int(rng.integers(1, 7))
    pairs = [(n, d) for n in range(1, most + 1) for d in range(n + 1)]
    n, d = np.array(pairs).T
    psi, p = rng.uniform(0.05, 0.95, 2)
    samples = []
    for places in rng.integers(3, 200, 6):
        searched = rng.integers(1, most + 1, places)
        seen = rng.binomial(searched, p * (rng.random(places) < psi))
        samples.append([int(((searched == a) & (seen == b)).sum()) for a, b in pairs])
    found = psi_of_samples(n, d, samples)
    each = [alone(n, d, np.array(sites)) for sites in samples]
    np.testing.assert_allclose(found, each, atol=1e-9, rtol=0, equal_nan=True)


def test_corners_and_what_can_not_be_told() -> None:
    """By hand: all sites occupied where each has one detection in four; always found where each detection is one of
    one; nothing known where nothing was seen, or nothing searched twice."""
    n, d = np.array([1, 1, 2, 2, 2, 4]), np.array([0, 1, 0, 1, 2, 1])
    assert psi_of_samples(n, d, [[0, 0, 0, 0, 0, 9]]).tolist() == [1.0]
    assert psi_of_samples(n, d, [[0, 0, 6, 0, 3, 0]]).tolist() == [1 / 3]
    assert np.isnan(psi_of_samples(n, d, [[5, 0, 5, 0, 0, 0], [5, 5, 0, 0, 0, 0], [0] * 6])).all()
    assert psi_of_samples(n, d, np.empty((0, 6))).tolist() == []


@pytest.mark.parametrize("false_share", [0.0, 0.03])
def test_the_likelihood_at_one_point_is_that_of_the_grid(false_share: float) -> None:
    """Also in the corners, where a logarithm is minus infinity."""
    rng = np.random.default_rng(3)
    n = rng.integers(1, 9, 200)
    h = Histories.count(n, rng.binomial(n, 0.4 * (rng.random(200) < 0.5)))
    psi, p = np.meshgrid([0.0, 1e-9, 0.2, 0.7, 1 - 1e-9, 1.0], [0.0, 1e-9, 0.3, 0.9, 1.0])
    grid = log_likelihood(h, psi, p, false_share)
    points = [float(log_likelihood(h, a, b, false_share)) for a, b in zip(psi.ravel(), p.ravel(), strict=True)]
    np.testing.assert_allclose(points, grid.ravel(), rtol=1e-14)
    assert 0 < np.isneginf(points).sum() < len(points)
