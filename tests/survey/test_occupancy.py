"""The fit against slow and independent ways: a likelihood written out, EM, derivatives by differences, integration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import dblquad
from scipy.special import expit

from habitatmap.errors import InputError
from habitatmap.survey import Prior, fit_occupancy
from habitatmap.survey.codes import Irregular
from habitatmap.survey.constant import Histories, Posterior, log_likelihood, posterior, what_if
from habitatmap.survey.likelihood import Problem
from habitatmap.survey.occupancy import fit_counts
from habitatmap.vocabulary.note import note
from tests.survey.tools import as_table, closed_form_table, slow_log_likelihood


def made_up(sites: int = 60, visits: int = 4, seed: int = 5) -> tuple[np.ndarray, pd.DataFrame, dict[str, np.ndarray]]:
    """Sites with a number and a word, visits with a number and a word; some visits missing, two sites never seen."""
    rng = np.random.default_rng(seed)
    site = pd.DataFrame({"forage": rng.normal(3, 2, sites), "shade": rng.choice(["deep", "light", "none"], sites)})
    visit = {
        "day": rng.uniform(0, 100, (sites, visits)),
        "observer": rng.choice(["ann", "bo"], (sites, visits)).astype(object),
    }
    z = rng.random(sites) < expit(-1 + 0.4 * site["forage"] + 0.5 * (site["shade"] == "none"))
    p = expit(-0.5 + 0.01 * visit["day"] + 0.6 * (visit["observer"] == "bo"))
    found = (z.to_numpy()[:, None] & (rng.random((sites, visits)) < p)).astype(float)
    found[rng.random((sites, visits)) < 0.2] = np.nan
    found[[3, 40]] = np.nan
    return found, site, visit


def test_the_likelihood_is_the_textbook_s() -> None:
    found, site, visit = made_up()
    fit = fit_occupancy(found, site, visit)
    assert fit.minus2loglik == pytest.approx(-2 * slow_log_likelihood(found, fit.psi, fit.p), abs=1e-8)
    alone = fit_occupancy(found)
    slow = slow_log_likelihood(found, np.full(60, alone.psi), np.full((60, 4), alone.p))
    assert alone.minus2loglik == pytest.approx(-2 * slow, abs=1e-8)


def test_the_counts_give_the_textbook_s_likelihood_everywhere() -> None:
    found, *_ = made_up()
    h = Histories.count((~np.isnan(found)).sum(axis=1), np.nansum(found, axis=1))
    for psi, p in [(0.1, 0.9), (0.5, 0.5), (0.99, 0.02)]:
        slow = slow_log_likelihood(found, np.full(60, psi), np.full((60, 4), p))
        assert log_likelihood(h, psi, p) == pytest.approx(slow, abs=1e-9)


@pytest.mark.parametrize("with_prior", [False, True])
def test_the_derivatives(with_prior: bool) -> None:
    rng = np.random.default_rng(2)
    searches = np.array([3, 1, 4, 2, 5])
    y = (rng.random(searches.sum()) < 0.3).astype(float)
    first = np.cumsum(searches) - searches
    problem = Problem(
        x=np.column_stack([np.ones(5), rng.normal(size=5)]),
        w=np.column_stack([np.ones(len(y)), rng.normal(size=(len(y), 2))]),
        y=y,
        first=first,
        some=np.add.reduceat(y, first) > 0,
        weight=np.array([1.0, 2.0, 1.0, 3.0, 1.0]),
        prior=Prior() if with_prior else None,
    )
    at, h = rng.normal(size=5), 1e-5
    steps = np.eye(5) * h
    slope = [(problem.loss(at + s) - problem.loss(at - s)) / (2 * h) for s in steps]
    np.testing.assert_allclose(problem.loss_and_slope(at)[1], slope, atol=1e-7)
    curvature = [(problem.loss_and_slope(at + s)[1] - problem.loss_and_slope(at - s)[1]) / (2 * h) for s in steps]
    np.testing.assert_allclose(problem.curvature(at), curvature, atol=1e-7)
    assert problem.loss_and_slope(at)[0] == pytest.approx(float(problem.loss(at)))
    np.testing.assert_allclose(problem.loss(at + steps), [problem.loss(at + s) for s in steps])


def test_em_ends_at_the_same_place() -> None:
    """EM for the constant model: weigh blank sites by their probability of being occupied, then count."""
    found, *_ = made_up(seed=9)
    n, d = (~np.isnan(found)).sum(axis=1), np.nansum(found, axis=1)
    n, d = n[n > 0], d[n > 0]
    psi, p = 0.5, 0.5
    for _ in range(5000):
        state = np.where(d > 0, 1.0, psi * (1 - p) ** n / (1 - psi + psi * (1 - p) ** n))
        psi, p = state.mean(), d.sum() / (state @ n)
    fit = fit_occupancy(found)
    np.testing.assert_allclose([fit.psi, fit.p], [psi, p], atol=1e-9)


def test_expected_occupied_sites_add_up() -> None:
    """At the constant model's peak with equal searches: s_D + (S - s_D) psi_c = S psi."""
    found = as_table("0110 0000 1000 0001 0000 0000 0100 1010 0000 0000")
    fit = fit_occupancy(found)
    assert fit.conditional.sum() == pytest.approx(10 * fit.psi, abs=1e-8)


def test_a_site_without_a_look_adds_nothing() -> None:
    found, site, visit = made_up()
    seen = ~np.isnan(found).all(axis=1)
    whole = fit_occupancy(found, site, visit)
    part = fit_occupancy(found[seen], site[seen], {k: v[seen] for k, v in visit.items()})
    assert whole.minus2loglik == part.minus2loglik
    pd.testing.assert_frame_equal(whole.coefficients, part.coefficients)
    np.testing.assert_array_equal(whole.psi[seen], part.psi)
    assert whole.n_sites == part.n_sites == 58
    np.testing.assert_array_equal(whole.conditional[~seen], whole.psi[~seen])  # nothing more is known of it
    assert fit_occupancy(found).psi == fit_occupancy(found[seen]).psi


def test_covariates_may_be_missing_where_nobody_looked() -> None:
    found, site, visit = made_up()
    holes = {"day": np.where(np.isnan(found), np.nan, visit["day"]), "observer": visit["observer"].copy()}
    holes["observer"][np.isnan(found)] = None
    fit = fit_occupancy(found, site.where(pd.DataFrame({c: ~np.isnan(found).all(axis=1) for c in site})), holes)
    assert fit.minus2loglik == fit_occupancy(found, site, visit).minus2loglik
    assert np.isnan(fit.psi[3])
    assert np.isnan(fit.p[3]).all()


def test_units_of_a_covariate_do_not_matter() -> None:
    found, site, visit = made_up()
    plain = fit_occupancy(found, site[["forage"]], {"day": visit["day"]})
    scaled = fit_occupancy(found, site[["forage"]] * 1e6 + 5e6, {"day": visit["day"] / 1e4})
    assert scaled.minus2loglik == pytest.approx(plain.minus2loglik, abs=1e-8)
    np.testing.assert_allclose(scaled.psi, plain.psi, atol=1e-6)
    np.testing.assert_allclose(scaled.psi_se, plain.psi_se, atol=1e-6)
    ratio = scaled.coefficients["estimate"] / plain.coefficients["estimate"]
    np.testing.assert_allclose(ratio[[1, 3]], [1e-6, 1e4], rtol=1e-4)


def test_a_repeated_covariate_is_left_out_and_said() -> None:
    found, site, _ = made_up()
    fit = fit_occupancy(found, site[["forage"]].assign(again=site["forage"] * 2, same=1.0))
    assert fit.minus2loglik == pytest.approx(fit_occupancy(found, site[["forage"]]).minus2loglik, abs=1e-9)
    assert fit.why == (note(Irregular.COLLINEAR, part="psi", terms=["again", "same"]),)
    assert not fit.identifiable
    assert np.isnan(fit.coefficients["estimate"][[2, 3]]).all()


def test_covariates_give_arrays_even_where_they_tell_nothing() -> None:
    found, site, _ = made_up()
    fit = fit_occupancy(found, site[["shade"]].assign(shade="deep"))
    assert fit.psi.shape == (60,)
    np.testing.assert_allclose(fit.psi, fit_occupancy(found).psi, atol=1e-9)
    assert fit.psi_low.shape == (60,)
    np.testing.assert_allclose(fit.psi_low, fit_occupancy(found).psi_low, atol=1e-6)


def test_no_finds_and_covariates() -> None:
    fit = fit_occupancy(np.zeros((6, 3)), pd.DataFrame({"a": np.arange(6.0)}))
    assert not fit.identifiable
    assert fit.minus2loglik == 0
    assert np.isnan(fit.psi).all()
    np.testing.assert_array_equal(fit.psi_low, np.zeros(6))
    np.testing.assert_array_equal(fit.psi_high, np.ones(6))


def test_profile_interval_of_a_covariate_row_without_covariates_is_the_constant_one() -> None:
    """A covariate that says nothing (the same number at two kinds of site alike) moves the interval only a little."""
    found = as_table("0110 0000 1000 0001 0000 0000 0100 1010 0000 0000")
    by_day = fit_occupancy(found, visit={"day": np.tile([0.0, 1, 0, 1], (10, 1))})
    alone = fit_occupancy(found)
    np.testing.assert_allclose(by_day.interval(), alone.interval(), atol=0.02)


# --- the prior ---


def brute(h: Histories, prior: Prior, value: object) -> float:
    """A posterior mean by adaptive integration over the unit square, in plain densities."""
    (a1, b1), (a2, b2) = prior.psi_beta, prior.p_beta

    def density(p: float, psi: float) -> float:
        log_prior = (a1 - 1) * np.log(psi) + (b1 - 1) * np.log1p(-psi)
        log_prior += (a2 - 1) * np.log(p) + (b2 - 1) * np.log1p(-p)
        return float(np.exp(log_likelihood(h, psi, p) + log_prior + 20))

    whole = dblquad(density, 0, 1, 0, 1, epsabs=1e-9, epsrel=1e-9)[0]
    return dblquad(lambda p, psi: density(p, psi) * value(psi, p), 0, 1, 0, 1, epsabs=1e-9, epsrel=1e-9)[0] / whole


def test_the_posterior_is_the_integral() -> None:
    h = Histories.count(np.array([2, 3, 1, 2, 2, 3]), np.array([0, 2, 0, 1, 0, 0]))
    prior = Prior(0.4, 5, 0.5, 6)
    known = posterior(h, prior)
    assert known.mean(known.psi_grid) == pytest.approx(brute(h, prior, lambda psi, p: psi), abs=1e-7)
    assert known.mean(known.p_grid) == pytest.approx(brute(h, prior, lambda psi, p: p), abs=1e-7)
    blank = brute(h, prior, lambda psi, p: psi * (1 - p) ** 2 / (1 - psi + psi * (1 - p) ** 2))
    assert known.mean(known.conditional(2)) == pytest.approx(blank, abs=1e-7)


def test_without_looks_the_posterior_is_the_prior() -> None:
    prior = Prior(0.3, 7, 0.6, 5)
    fit = fit_occupancy(np.full((4, 2), np.nan), prior=prior)
    assert fit.psi == pytest.approx(0.3, abs=1e-9)
    assert fit.p == pytest.approx(0.6, abs=1e-9)
    assert fit.psi_se == pytest.approx(np.sqrt(0.3 * 0.7 / 8), abs=1e-9)
    assert fit.from_data == 0
    np.testing.assert_allclose(fit.conditional, 0.3)


def test_known_states_update_a_beta_exactly() -> None:
    """With p fixed near 1 each site's state is known: Beta(a, b) becomes Beta(a + occupied, b + empty)."""
    found = as_table(" ".join(["11111111"] * 6 + ["00000000"] * 4))
    fit = fit_occupancy(found, prior=Prior(0.4, 4, 0.99, 1e4))
    assert fit.psi == pytest.approx((1.6 + 6) / 14, abs=1e-6)


def test_many_looks_override_the_prior() -> None:
    found = closed_form_table(10_000, 2400, 1800)
    fit = fit_occupancy(found, prior=Prior(0.1, 4, 0.9, 4))
    assert fit.psi == pytest.approx(0.5, abs=0.002)
    assert fit.from_data > 0.99
    np.testing.assert_allclose(fit.interval(), fit_occupancy(found).interval(), atol=0.002)


@pytest.mark.parametrize(("n", "d"), [(8, 0), (8, 8), (8, 3)])
def test_the_posterior_copes_with_ridges(n: int, d: int) -> None:
    fit = fit_occupancy(np.where(np.arange(n)[:, None] < d, 1.0, 0.0), prior=Prior(0.4, 4, 0.5, 4))
    assert 0 < fit.psi_low < fit.psi < fit.psi_high < 1
    assert not fit.identifiable  # the searches alone
    assert fit.from_data < 0.75


def test_posterior_with_covariates_agrees_with_the_grid_where_both_apply() -> None:
    """A constant covariate is left out, and the two intercepts remain: importance sampling against the grid."""
    found, *_ = made_up()
    grid = fit_occupancy(found, prior=Prior())
    drawn = fit_occupancy(found, pd.DataFrame({"same": np.ones(60)}), prior=Prior())
    assert drawn.sampling_efficiency > 0.5
    assert drawn.psi[0] == pytest.approx(grid.psi, abs=4 * drawn.numerical_error)
    assert drawn.numerical_error < grid.psi_se / 30
    assert grid.numerical_error < 1e-9
    assert drawn.p == pytest.approx(grid.p, abs=grid.p_se / 10)
    assert drawn.psi_se[0] == pytest.approx(grid.psi_se, rel=0.1)
    assert drawn.psi_low[0] == pytest.approx(grid.psi_low, abs=grid.psi_se / 4)
    np.testing.assert_allclose(drawn.conditional, grid.conditional, atol=0.02)
    ends, want = drawn.interval(part="conditional"), grid.interval(part="conditional")
    np.testing.assert_allclose(ends, want, atol=0.05)


def test_a_prior_tames_separation() -> None:
    found = as_table("11 10 11 01 11 00 00 01 00 00 10 00")
    site = pd.DataFrame({"pond": [1.0] * 5 + [0.0] * 7})
    bare, weak = fit_occupancy(found, site), fit_occupancy(found, site, prior=Prior())
    assert bare.why[0].code is Irregular.SEPARATION
    assert "pond" in bare.why[0].values["terms"]
    assert np.isnan(bare.psi_se[0])
    assert 0.5 < weak.psi[0] < 1
    assert np.isfinite(weak.psi_se).all()
    assert np.isfinite(weak.coefficients["se"]).all()


# --- what-ifs ---


def test_no_false_finds_is_the_plain_fit() -> None:
    found, *_ = made_up()
    h = Histories.count((~np.isnan(found)).sum(axis=1), np.nansum(found, axis=1))
    fit, told = fit_occupancy(found), what_if(h, 0.0)
    np.testing.assert_allclose([told.psi, told.p, told.low, told.high], [fit.psi, fit.p, *fit.interval()], atol=1e-6)


def test_false_finds_lower_the_estimate() -> None:
    h = Histories.count(np.full(100, 2), closed_form_table(100, 24, 18).sum(axis=1))
    told = [what_if(h, f).psi for f in (0.0, 0.01, 0.03, 0.05)]
    assert told == sorted(told, reverse=True)
    # by hand: the likelihood with false positives, summed over the three kinds of history
    f, psi, p = 0.05, 0.4, 0.6
    kinds = [(0, 58), (1, 24), (2, 18)]
    hand = sum(m * np.log(psi * p**d * (1 - p) ** (2 - d) + (1 - psi) * f**d * (1 - f) ** (2 - d)) for d, m in kinds)
    assert log_likelihood(h, psi, p, f) == pytest.approx(hand, abs=1e-9)


# --- wrong input ---


@pytest.mark.parametrize(
    ("detections", "words"),
    [
        ([[1, 2], [0, 0]], "2 at site 1, visit 2"),
        ([1, 0, 1], "not a table of numbers"),
        ([["a", "b"]], "not a table of numbers"),
        ([[1, 0], [1]], "not a table of numbers"),
        (np.zeros((2, 2, 2)), "not a table of numbers"),
    ],
)
def test_wrong_detections(detections: object, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        fit_occupancy(detections)
    assert str(caught.value).count(". ") == 0  # one sentence


def test_wrong_covariates() -> None:
    found, site, visit = made_up()
    with pytest.raises(InputError, match="59 rows for 60 sites"):
        fit_occupancy(found, site[:-1])
    with pytest.raises(InputError, match="'day' has shape"):
        fit_occupancy(found, visit={"day": visit["day"][:, :2]})
    hole = site.copy()
    hole.loc[7, "forage"] = np.nan
    with pytest.raises(InputError, match="'forage' is missing at site 8"):
        fit_occupancy(found, hole)
    first = np.argwhere(~np.isnan(found))[5]
    gap = {"day": visit["day"].copy()}
    gap["day"][tuple(first)] = np.nan
    with pytest.raises(InputError, match=f"'day' is missing at site {first[0] + 1}, visit {first[1] + 1}"):
        fit_occupancy(found, visit=gap)
    with pytest.raises(InputError, match="infinite"):
        fit_occupancy(found, site[["forage"]].replace(site["forage"][0], np.inf))
    with pytest.raises(InputError, match="psi_mean"):
        replace(Prior(), psi_mean=1.0)
    with pytest.raises(InputError, match="Without a prior"):
        fit_occupancy(found).interval(part="conditional")
    with pytest.raises(InputError, match="level"):
        fit_occupancy(found).interval(95)


def test_arguments_are_left_alone() -> None:
    found, site, visit = made_up()
    before = found.copy(), site.copy(), {k: v.copy() for k, v in visit.items()}
    fit_occupancy(found, site, visit)
    np.testing.assert_array_equal(found, before[0])
    pd.testing.assert_frame_equal(site, before[1])
    assert all((visit[k] == before[2][k]).all() for k in visit)


def test_a_posterior_interval_by_hand() -> None:
    """Three values with masses 1/4, 1/2, 1/4: their middles lie at 1/8, 1/2, 7/8 of the mass; lines between."""
    known = Posterior(np.array([0.2, 0.5, 0.8]), np.array([0.5]), np.array([[0.25], [0.5], [0.25]]), Prior())
    np.testing.assert_allclose(known.interval(known.psi_grid, level=0.5), (0.3, 0.7))


def test_a_place_of_very_many_searches_takes_no_more_room_than_others() -> None:
    searches, detected = np.array([3, 2, 4, 3, 3, 2]), np.array([1, 0, 2, 0, 3, 1])
    rows = np.where(np.arange(4) < detected[:, None], 1.0, np.where(np.arange(4) < searches[:, None], 0.0, np.nan))
    few, laid_out = fit_counts(searches, detected), fit_occupancy(rows)
    assert (few.psi, few.p, few.psi_se, few.aic) == (laid_out.psi, laid_out.p, laid_out.psi_se, laid_out.aic)
    often = [np.append(np.tile(of, 10_000), more) for of, more in ((searches, 10**6), (detected, 4 * 10**5))]
    assert 0.3 < fit_counts(*often).p < 0.5  # 480 GB laid out
