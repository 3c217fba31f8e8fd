"""Salamanders under boards: 39 sites x 5 visits.

Data: published, discussed in MacKenzie, Nichols, Royle, Pollock, Bailey & Hines 2006, Occupancy Estimation and
Modeling, chapter 4. The estimates to three digits are remembered from there (psi 0.595, SE 0.123, p 0.259, -2logL
161.76); the further digits were recomputed by Newton's method, by the closed equations and by EM, which agreed.
"""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.survey import fit_occupancy, goodness_of_fit
from habitatmap.survey.constant import Histories, Prior, posterior
from tests.survey.tools import as_table

COMPLETE = """
00011 01000 01000 11110 00100 00100 00100 00100 00100 10000 00111 00111 10011
10110 00000 00000 00000 00000 00000 00000 00000 00000 00000 00000 00000 00000
00000 00000 00000 00000 00000 00000 00000 00000 00000 00010 00010 00001 00001
"""
WITH_GAPS = """
00011 01.00 0..00 1..10 0..00 00.00 0010. 00100 00100 10000 00111 00111 10.11
10110 0000. 00000 00000 00000 00000 00000 00.00 00000 00000 00000 00000 000.0
00000 00000 00000 00000 00000 0000. 00000 00000 00000 00010 00010 00001 00001
"""


def test_the_published_estimates() -> None:
    fit = fit_occupancy(as_table(COMPLETE))
    assert (fit.n_sites, fit.n_detections) == (39, 30)
    assert fit.naive == pytest.approx(18 / 39)
    assert fit.psi == pytest.approx(0.594623, abs=1e-6)
    assert fit.psi_se == pytest.approx(0.122599, abs=1e-6)
    assert fit.p == pytest.approx(0.258729, abs=1e-6)
    assert fit.p_se == pytest.approx(0.057702, abs=1e-6)
    assert fit.minus2loglik == pytest.approx(161.758589, abs=1e-6)
    assert fit.aic == pytest.approx(165.758589, abs=1e-6)
    assert fit.identifiable
    assert not fit.why
    np.testing.assert_allclose(fit.coefficients["estimate"], [0.383108, -1.052585], atol=1e-6)
    np.testing.assert_allclose(fit.coefficients["se"], [0.508609, 0.300863], atol=1e-6)


def test_profile_intervals() -> None:
    fit = fit_occupancy(as_table(COMPLETE))
    np.testing.assert_allclose([fit.psi_low, fit.psi_high], [0.385420, 0.902148], atol=1e-6)
    np.testing.assert_allclose(fit.interval(part="p"), [0.155205, 0.376965], atol=1e-6)


def test_blank_sites_may_be_occupied() -> None:
    fit = fit_occupancy(as_table(COMPLETE))
    blank = np.nansum(as_table(COMPLETE), axis=1) == 0
    np.testing.assert_allclose(fit.conditional[blank], 0.247156, atol=1e-6)
    assert (fit.conditional[~blank] == 1).all()
    assert fit.conditional.sum() == pytest.approx(23.190280, abs=1e-6)


def test_detection_by_day() -> None:
    fit = fit_occupancy(as_table(COMPLETE), visit={"day": np.tile(list("abcde"), (39, 1))})
    assert fit.psi == pytest.approx(0.579879, abs=1e-6)
    assert fit.psi_se == pytest.approx(0.117567, abs=1e-6)
    np.testing.assert_allclose(fit.p[0], [0.176872, 0.132654, 0.397961, 0.353743, 0.265307], atol=1e-6)
    assert fit.minus2loglik == pytest.approx(155.714391, abs=1e-6)
    assert fit.aic == pytest.approx(167.7144, abs=1e-4)


def test_with_missing_visits() -> None:
    fit = fit_occupancy(as_table(WITH_GAPS))
    assert (fit.n_searches, fit.n_detections) == (181, 25)
    np.testing.assert_allclose(
        [fit.psi, fit.psi_se, fit.p, fit.p_se], [0.494339, 0.115908, 0.279998, 0.066866], atol=1e-6
    )
    assert fit.minus2loglik == pytest.approx(137.612949, abs=1e-6)
    by_day = fit_occupancy(as_table(WITH_GAPS), visit={"day": np.tile(list("abcde"), (39, 1))})
    assert by_day.psi == pytest.approx(0.475168, abs=1e-6)
    assert by_day.minus2loglik == pytest.approx(128.294228, abs=1e-6)


def test_goodness_of_fit() -> None:
    """Pearson's chi-squared over the 32 histories: MacKenzie & Bailey 2004, JABES 9:300-318 (the value recomputed)."""
    got = goodness_of_fit(as_table(COMPLETE), surveys=30)
    assert got.chi_square == pytest.approx(44.726076, abs=1e-5)
    blank = got.histories.set_index("history").loc["00000"]
    assert (blank["observed"], blank["expected"]) == (21, pytest.approx(21.0, abs=1e-8))
    assert got.surveys == 30


def test_with_flat_priors_the_posterior_peaks_at_the_estimate() -> None:
    """Under Beta(1, 1) priors the posterior density of psi and p is the likelihood."""
    table = as_table(COMPLETE)
    h = Histories.count((~np.isnan(table)).sum(axis=1), np.nansum(table, axis=1))
    known = posterior(h, Prior(0.5, 2, 0.5, 2))
    density = known.mass / (known.psi_grid * (1 - known.psi_grid) * known.p_grid * (1 - known.p_grid))
    i, j = np.unravel_index(np.argmax(density), density.shape)
    assert known.psi[i] == pytest.approx(0.594623, abs=0.02)
    assert known.p[j] == pytest.approx(0.258729, abs=0.01)
