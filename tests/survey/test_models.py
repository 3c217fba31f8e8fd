"""The goodness-of-fit check and the comparison of models."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.survey import compare_models, fit_occupancy, goodness_of_fit
from habitatmap.survey.codes import Lacking
from habitatmap.vocabulary.note import note
from tests.survey.tools import as_table

FOUND = as_table("011 000 100 0.1 0.0 000 010 1.1 000 0.0 111 000")


def test_the_statistic_by_listing_every_history() -> None:
    fit = fit_occupancy(FOUND)
    total = 0.0
    for pattern in (np.array([False] * 3), np.array([False, True, False])):
        mine = FOUND[(np.isnan(FOUND) == pattern).all(axis=1)]
        for history in product([0, 1], repeat=int((~pattern).sum())):
            h = np.array(history)
            expected = len(mine) * (
                fit.psi * np.prod(np.where(h == 1, fit.p, 1 - fit.p)) + (1 - fit.psi) * (not h.any())
            )
            observed = (mine[:, ~pattern] == h).all(axis=1).sum()
            total += (observed - expected) ** 2 / expected
    assert goodness_of_fit(FOUND, surveys=1).chi_square == pytest.approx(total)


def test_a_right_model_passes_and_a_wrong_one_fails() -> None:
    rng = np.random.default_rng(4)
    z = rng.random(150) < 0.6
    right = (z[:, None] & (rng.random((150, 5)) < 0.5)).astype(float)
    assert goodness_of_fit(right, surveys=60).p_value > 0.05
    # detection goes in pairs of days: searches are not independent
    wrong = right.copy()
    wrong[:, 1], wrong[:, 3] = wrong[:, 0], wrong[:, 2]
    got = goodness_of_fit(wrong, surveys=60)
    assert got.p_value < 0.05
    assert got.overdispersion > 1.5
    assert got.fits is False


def test_the_same_seed_gives_the_same_answer() -> None:
    assert goodness_of_fit(FOUND, surveys=20).p_value == goodness_of_fit(FOUND, surveys=20).p_value


def test_where_only_one_history_is_possible() -> None:
    got = goodness_of_fit(np.ones((5, 2)), surveys=5)
    assert (got.overdispersion, got.p_value) == (1.0, 1.0)
    assert got.fits is True


def test_nothing_to_check() -> None:
    got = goodness_of_fit(np.zeros((5, 2)))
    assert np.isnan(got.chi_square)
    assert got.fits is None


def test_models_side_by_side() -> None:
    rng = np.random.default_rng(8)
    site = pd.DataFrame({"forage": rng.normal(size=80), "noise": rng.normal(size=80)})
    z = rng.random(80) < 1 / (1 + np.exp(-2 * site["forage"].to_numpy()))
    found = (z[:, None] & (rng.random((80, 3)) < 0.6)).astype(float)
    visit = {"day": rng.normal(size=(80, 3))}
    table = compare_models(found, site, visit, [([], []), (["forage"], []), (["noise"], ["day"])])
    assert table["psi"].tolist()[0] == "forage"
    assert table["weight"].sum() == pytest.approx(1)
    assert table["delta"][0] == 0
    assert table["aic"].is_monotonic_increasing
    assert table["aic"][0] == pytest.approx(fit_occupancy(found, site[["forage"]]).aic)


def test_too_many_covariates_are_shown_not_fitted() -> None:
    site = pd.DataFrame({"forage": np.arange(12.0), "shade": list("abcabcabcabc")})
    table = compare_models(FOUND, site, None, [([], []), (["forage", "shade"], [])])
    assert table["why"][1] == (note(Lacking.COEFFICIENTS, coefficients=3, needed=30, n=10),)
    assert np.isnan(table["aic"][1])
    with pytest.raises(InputError, match="'age'"):
        compare_models(FOUND, site, None, [(["age"], [])])


def test_histories_of_hundreds_of_searches_are_not_compared() -> None:
    found = np.full((12, 251), np.nan)
    found[:, :3] = np.random.default_rng(1).random((12, 3)) < 0.4
    assert goodness_of_fit(found[:, :250]).fits is not None
    found[0] = 1.0
    said = goodness_of_fit(found)
    assert said.fits is None
    assert np.isnan(said.overdispersion)
    assert said.histories.empty
