"""Cases whose answer can be written down.

With two searches at every site, n1 sites with one detection and n2 with two, setting the derivatives of the likelihood
(MacKenzie et al. 2002, Ecology 83:2248-2255) to zero gives p = 2 n2 / (n1 + 2 n2) and psi = (n1 + 2 n2)^2 / (4 S n2).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from habitatmap.survey import fit_occupancy, standard_error
from habitatmap.survey.codes import Irregular
from habitatmap.vocabulary.note import note
from tests.survey.tools import as_table, closed_form_table


@pytest.mark.parametrize(
    ("sites", "once", "twice", "psi", "p", "minus2loglik", "se"),
    [(100, 24, 18, 0.5, 0.6, 226.69374550, 0.06871843), (50, 10, 10, 0.45, 2 / 3, 108.88999753, 0.08485281)],
)
def test_two_looks_a_site(
    sites: int, once: int, twice: int, psi: float, p: float, minus2loglik: float, se: float
) -> None:
    fit = fit_occupancy(closed_form_table(sites, once, twice))
    assert fit.psi == pytest.approx(psi, abs=1e-9)
    assert fit.p == pytest.approx(p, abs=1e-9)
    assert fit.minus2loglik == pytest.approx(minus2loglik, abs=1e-8)
    assert fit.psi_se == pytest.approx(se, abs=1e-8)
    assert fit.psi_se == pytest.approx(standard_error(psi, p, 2, sites), abs=1e-8)


def test_at_the_boundary() -> None:
    """The formula gives 1.25: all sites are occupied, p is the plain share of finds, and no standard error holds."""
    fit = fit_occupancy(closed_form_table(100, 60, 20))
    assert (fit.psi, fit.p) == (1.0, 0.5)
    assert fit.minus2loglik == pytest.approx(400 * math.log(2), abs=1e-9)
    assert np.isnan(fit.psi_se)
    assert np.isnan(fit.p_se)
    assert "limit" in fit.why[0].code
    assert fit.psi_high == 1
    assert 0.8 < fit.psi_low < 1  # at least the 80 sites with a detection
    assert (fit.conditional == 1).all()


def test_every_look_a_find() -> None:
    fit = fit_occupancy(as_table("11 11 11 00 00 00 00 0."))
    assert (fit.psi, fit.p) == (3 / 8, 1.0)
    assert fit.minus2loglik == pytest.approx(-2 * (3 * math.log(3 / 8) + 5 * math.log(5 / 8)))
    assert np.isnan(fit.psi_se)
    np.testing.assert_array_equal(fit.conditional, [1, 1, 1, 0, 0, 0, 0, 0])


def test_nothing_found() -> None:
    fit = fit_occupancy(np.zeros((12, 3)))
    assert not fit.identifiable
    assert fit.why == (note(Irregular.NO_DETECTION),)
    assert np.isnan([fit.psi, fit.p, fit.psi_se, fit.p_se]).all()
    assert fit.minus2loglik == 0
    assert fit.naive == 0
    assert (fit.psi_low, fit.psi_high) == (0, 1)


def test_one_look_a_site() -> None:
    """Only psi p can be told: 3 of 10."""
    fit = fit_occupancy(as_table("1 1 1 0 0 0 0 0 0 0"))
    assert not fit.identifiable
    assert fit.why == (note(Irregular.SEARCHED_ONCE),)
    assert np.isnan([fit.psi, fit.p]).all()
    assert fit.minus2loglik == pytest.approx(-2 * (3 * math.log(0.3) + 7 * math.log(0.7)))
    assert fit.naive == 0.3
    low, high = fit.interval()
    assert high == 1
    assert low == pytest.approx(0.0846, abs=1e-3)  # the likelihood interval of 3 in 10, which psi can't go below
    np.testing.assert_array_equal(fit.conditional[:3], 1)
    assert np.isnan(fit.conditional[3:]).all()
