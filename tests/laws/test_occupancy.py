"""What holds for any searches."""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from habitatmap.survey import Prior, best_visits, blank_visits, fit_occupancy, sites_needed, standard_error
from tests.examples import examples
from tests.survey.tools import slow_log_likelihood

TABLES = st.tuples(st.integers(1, 14), st.integers(1, 5)).flatmap(
    lambda shape: arrays(float, shape, elements=st.sampled_from([0.0, 0.0, 1.0, np.nan]))
)
CHANCES = st.floats(0.02, 0.98)


@given(TABLES)
@settings(max_examples=examples(60), deadline=None)
def test_a_fit_is_honest(found: np.ndarray) -> None:
    fit = fit_occupancy(found)
    some = np.nansum(found, axis=1) > 0
    assert (fit.conditional[some] == 1).all()
    assert bool(fit.why) != fit.identifiable
    if not fit.identifiable:
        assert np.isnan(fit.psi_se)
    assert 0 <= fit.psi_low <= fit.psi_high <= 1
    if np.isfinite(fit.psi):
        assert fit.psi_low - 1e-9 <= fit.psi <= fit.psi_high + 1e-9
        assert fit.naive <= fit.psi + 1e-6  # a miss can only hide sites
        assert ((fit.conditional >= 0) & (fit.conditional <= 1)).all()


@given(TABLES, CHANCES, CHANCES)
@settings(max_examples=examples(60), deadline=None)
def test_nothing_is_likelier_than_the_estimate(found: np.ndarray, psi: float, p: float) -> None:
    fit = fit_occupancy(found)
    other = slow_log_likelihood(found, np.full(len(found), psi), np.full(found.shape, p))
    assert fit.minus2loglik <= -2 * other + 1e-9


@given(TABLES, st.randoms(use_true_random=False))
@settings(max_examples=examples(40), deadline=None)
def test_order_does_not_matter(found: np.ndarray, chance: object) -> None:
    sites, visits = list(range(found.shape[0])), list(range(found.shape[1]))
    chance.shuffle(sites)
    chance.shuffle(visits)
    plain, mixed = fit_occupancy(found), fit_occupancy(found[sites][:, visits])
    np.testing.assert_array_equal([plain.psi, plain.p, plain.psi_se], [mixed.psi, mixed.p, mixed.psi_se])
    np.testing.assert_array_equal(plain.conditional[sites], mixed.conditional)


@given(TABLES)
@settings(max_examples=examples(30), deadline=None)
def test_a_posterior_is_always_there(found: np.ndarray) -> None:
    fit = fit_occupancy(found, prior=Prior())
    assert 0 < fit.psi_low < fit.psi < fit.psi_high < 1
    assert 0 <= fit.from_data < 1
    assert ((fit.conditional > 0) & (fit.conditional <= 1)).all()
    blank = fit_occupancy(np.vstack([found, np.zeros(found.shape[1])]), prior=Prior())
    assert blank.psi < fit.psi  # one more blank site lowers what is believed of all


@given(TABLES, st.data())
@settings(max_examples=examples(40), deadline=None)
def test_covariates_never_fail(found: np.ndarray, data: st.DataObject) -> None:
    assume(~np.isnan(found).all())
    numbers = data.draw(arrays(float, len(found), elements=st.integers(-3, 3).map(float)))
    words = data.draw(st.lists(st.sampled_from(["oak", "ash"]), min_size=len(found), max_size=len(found)))
    fit = fit_occupancy(found, pd.DataFrame({"number": numbers, "tree": words}))
    plain = fit_occupancy(found)
    assert fit.minus2loglik <= plain.minus2loglik + 1e-6
    assert bool(fit.why) != fit.identifiable
    assert fit.psi.shape == (len(found),)
    assert not (np.isinf(fit.coefficients["se"])).any()


@given(CHANCES, CHANCES, st.integers(2, 30), st.floats(0.02, 0.3))
@settings(max_examples=examples(60), deadline=None)
def test_effort(psi: float, p: float, visits: int, error: float) -> None:
    assert standard_error(psi, p, visits + 1, 10) <= standard_error(psi, p, visits, 10) + 1e-12
    sites = sites_needed(psi, p, visits, error)
    assert standard_error(psi, p, visits, sites) <= error * (1 + 1e-8)
    assert best_visits(psi, p, "removal") >= best_visits(psi, p) >= 2  # the last visits are often not needed


@given(CHANCES, CHANCES, CHANCES)
@settings(max_examples=examples(60), deadline=None)
def test_blank_visits(p: float, confidence: float, prior: float) -> None:
    n = blank_visits(p, confidence)
    assert 1 - (1 - p) ** n >= confidence - 1e-9
    assert n == 0 or 1 - (1 - p) ** (n - 1) < confidence
    m = blank_visits(p, confidence, prior)
    left = prior * (1 - p) ** m
    assert (1 - prior) / (1 - prior + left) >= confidence - 1e-9
