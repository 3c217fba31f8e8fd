"""What a covariate does, in probabilities: against the fit it comes from, and with plain words where nothing shows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from habitatmap.survey import Prior, fit_occupancy
from habitatmap.survey.codes import Difference
from habitatmap.survey.effects import effects


def made_up() -> tuple[np.ndarray, pd.DataFrame, dict[str, np.ndarray]]:
    rng = np.random.default_rng(6)
    site = pd.DataFrame({"forage": rng.normal(size=150), "shade": rng.choice(["deep", "deep", "open"], 150)})
    visit = {"days_out": rng.uniform(10, 200, (150, 3))}
    occupied = rng.random(150) < expit(1.5 * site["forage"].to_numpy())
    return (occupied[:, None] & (rng.random((150, 3)) < 0.6)).astype(float), site.astype({"shade": object}), visit


def test_a_true_difference_shows_and_noise_does_not() -> None:
    table = effects(*made_up())
    assert table[["part", "covariate"]].to_numpy().tolist() == [
        ["occupancy", "forage"],
        ["occupancy", "shade"],
        ["detection", "days_out"],
    ]
    assert table["words"].tolist() == [
        Difference.DIFFER,
        Difference.NOT_DISTINGUISHABLE,
        Difference.NOT_DISTINGUISHABLE,
    ]
    assert table.loc[1, ["from", "to"]].tolist() == ["deep", "open"]
    assert np.isnan(table.loc[1, "odds_per_sd"])
    assert (table["low"] < table["difference"]).all()
    assert (table["difference"] < table["high"]).all()


def test_the_figures_are_those_of_the_fit() -> None:
    found, site, _ = made_up()
    row = effects(found, site[["forage"]], {}).loc[0]
    fit = fit_occupancy(found, site[["forage"]], prior=Prior())
    low, high = np.quantile(site["forage"], [0.25, 0.75])
    at = fit.coefficients["estimate"].to_numpy()
    assert row["probability_from"] == pytest.approx(expit(at[0] + at[1] * low), abs=0.01)
    assert row["probability_to"] == pytest.approx(expit(at[0] + at[1] * high), abs=0.01)
    assert row["odds_per_sd"] == pytest.approx(np.exp(at[1] * site["forage"].std(ddof=0)), rel=1e-6)
    by_kind = effects(found, site[["shade"]], {}).loc[0]
    kinds = fit_occupancy(found, site[["shade"]], prior=Prior())
    assert by_kind["probability_to"] == pytest.approx(kinds.psi[(site["shade"] == "open").argmax()], abs=0.002)


def test_too_few_finds_for_the_terms() -> None:
    found, site, visit = made_up()
    few = np.zeros_like(found)
    few[:9, 0] = 1
    assert effects(few, site, visit).empty
