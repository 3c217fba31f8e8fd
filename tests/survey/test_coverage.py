"""Do the intervals hold what they promise? Towns made up with a known truth, by code that shares nothing with the fit.

The long table (500 towns a cell) is run by hand: `pytest -m slow tests/survey/test_coverage.py`.
"""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.survey import Fit, Prior, fit_occupancy
from habitatmap.survey.constant import Histories, what_if
from habitatmap.survey.figures import WIDEST

POOLS = 30


def made_up_town(rng: np.random.Generator, psi: float, p: float, false_share: float = 0.0) -> np.ndarray:
    """Thirty pools with two or three searches each."""
    found = np.full((POOLS, 3), np.nan)
    for i in range(POOLS):
        occupied = rng.random() < psi
        for j in range(rng.integers(2, 4)):
            found[i, j] = float(rng.random() < (p if occupied else false_share))
    return found


def enough(fit: Fit) -> bool:
    """Whether the interval is narrow enough to be told."""
    return bool(np.isfinite(fit.psi) and fit.psi_high - fit.psi_low <= WIDEST)


def coverage(psi: float, p: float, towns: int, seed: int = 11) -> dict[str, float]:
    """Shares of towns whose 95 % interval holds the truth: profile (where it is narrow enough), posterior, and the
    probabilities.
    """
    rng = np.random.default_rng(seed)
    told, posterior, naive_lower = [], [], []
    for _ in range(towns):
        found = made_up_town(rng, psi, p)
        weak = fit_occupancy(found, prior=Prior())
        posterior.append(weak.psi_low <= psi <= weak.psi_high)
        fit = fit_occupancy(found)
        if enough(fit):
            told.append(fit.psi_low <= psi <= fit.psi_high)
            naive_lower.append(fit.naive <= fit.psi + 1e-9)
    return {
        "told": len(told) / towns,
        "profile": float(np.mean(told)) if told else np.nan,
        "posterior": float(np.mean(posterior)),
        "naive lower": float(np.mean(naive_lower)) if told else np.nan,
    }


def test_a_few_towns() -> None:
    got = coverage(0.5, 0.7, 60)
    assert got["profile"] >= 0.88
    assert got["naive lower"] == 1


@pytest.mark.slow
@pytest.mark.parametrize("psi", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("p", [0.2, 0.4, 0.7])
def test_coverage(psi: float, p: float) -> None:
    towns = 500
    got = coverage(psi, p, towns)
    print(psi, p, got)
    if got["told"] > 0.5:  # else the cell is "too few": the towns left are the lucky ones, where larvae were seen often
        assert 0.90 <= got["profile"] <= 0.98


def coverage_of_what_ifs(psi: float, p: float, towns: int, seed: int = 5) -> tuple[int, float, float]:
    """Towns told, and the shares of them covered by the 5 % what-if and by the plain estimate: 5 % mistakes."""
    rng, covered, plain = np.random.default_rng(seed), [], []
    for _ in range(towns):
        found = made_up_town(rng, psi, p, false_share=0.05)
        fit = fit_occupancy(found)
        if enough(fit):
            n, d = (~np.isnan(found)).sum(axis=1), np.nansum(found, axis=1)
            told = what_if(Histories.count(n, d), 0.05)
            covered.append(told.low <= psi <= told.high)
            plain.append(fit.psi_low <= psi <= fit.psi_high)
    return len(covered), float(np.mean(covered or np.nan)), float(np.mean(plain or np.nan))


@pytest.mark.slow
@pytest.mark.parametrize("psi", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("p", [0.2, 0.4, 0.7])
def test_the_what_if_of_the_true_share_covers(psi: float, p: float) -> None:
    towns = 200
    told, covered, plain = coverage_of_what_ifs(psi, p, towns)
    print(psi, p, told, covered, plain)
    if told > 0.5 * towns:
        assert covered >= 0.90
