"""Remission times under 6-MP, and exact Poisson intervals, as printed."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.duration.survfunc import survdiff

from habitatmap.practice.lifetimes import rate, survival

# Weeks in remission of 21 children given 6-mercaptopurine and of 21 given a placebo: Freireich et al. 1963, Blood
# 21:699-716, as printed in Gehan 1965, Biometrika 52:203-223; a plus sign there is "still in remission". From memory.
TREATED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
STILL_IN_REMISSION = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def test_the_6mp_curve() -> None:
    curve = survival(TREATED + STILL_IN_REMISSION, [True] * len(TREATED) + [False] * len(STILL_IN_REMISSION))
    # the Kaplan-Meier table of textbooks, e.g. Kleinbaum & Klein, Survival Analysis, ch. 2 (from memory)
    np.testing.assert_array_equal(curve.times, [6, 7, 10, 13, 16, 22, 23])
    np.testing.assert_array_equal(curve.at_risk, [21, 17, 15, 12, 11, 7, 6])
    np.testing.assert_array_equal(curve.lost, [3, 1, 1, 1, 1, 1, 1])
    np.testing.assert_allclose(curve.share, [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], atol=5e-5)
    assert curve.median == 23
    assert (curve.pools, curve.losses, curve.longest) == (21, 9, 35)
    # log-log interval at 10 weeks by hand: S = .7529, Greenwood's error .0963 (0.0963 printed there, too)
    share, error = 0.752941, 0.0963
    spread = np.exp(1.959964 * error / (share * abs(np.log(share))))
    np.testing.assert_allclose(curve.at(12)[1:], [share**spread, share ** (1 / spread)], atol=2e-3)


def test_the_placebo_curve_has_no_censoring() -> None:
    curve = survival(PLACEBO, [True] * 21)
    # without censoring the estimate is the plain share: 10 of 21 last beyond 8 weeks less those at 8
    assert curve.at(8)[0] == pytest.approx(8 / 21)
    assert curve.median == 8
    assert curve.share[-1] == 0
    assert np.isnan(curve.low[-1])
    chi2, _ = survdiff(TREATED + STILL_IN_REMISSION + PLACEBO, [1] * 9 + [0] * 12 + [1] * 21, [0] * 21 + [1] * 21)
    assert chi2 == pytest.approx(16.79, abs=0.005)  # the log-rank statistic printed for these data (from memory)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # exact 95 % limits of a Poisson mean as in Garwood 1936 and in every table since (from memory)
    [
        (0, 0, 3.689),
        (1, 0.0253, 5.572),
        (2, 0.2422, 7.225),
        (3, 0.6187, 8.767),
        (5, 1.623, 11.668),
        (10, 4.795, 18.390),
    ],
)
def test_garwood(count: int, low: float, high: float) -> None:
    found = rate(count, 1, per=1)
    np.testing.assert_allclose(found, [count, low, high], atol=6e-4)


def test_per_hundred() -> None:
    np.testing.assert_allclose(rate(2, 50), [4, 2 * 0.2422, 2 * 7.2247], atol=1e-3)
    assert np.isnan(rate(0, 0)).all()
