"""Toads and spring peepers at 29 wetlands, unequal visits; covariates pond (site) and air temperature (visit).

Data: MacKenzie, Nichols, Lachman, Droege, Royle & Langtimm 2002, Ecology 83:2248-2255 (the journal's archive E083/041),
read from beside the checkout. The abstract gives psi 0.49 (toad) and 0.85, naive 0.83 (peeper); the tables' AIC
differences are remembered from the paper; all were reproduced by recomputation.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.survey import fit_occupancy
from tests.beside import beside

# pond in psi, temperature in p: -2logL, AIC, mean psi and its standard error (None: not given)
TOAD = [
    (True, True, 175.160097, 183.1601, 0.49511, 0.13094),
    (False, True, 177.581799, 183.5818, 0.49300, 0.13359),
    (True, False, 177.651091, 183.6511, 0.48795, 0.12832),
    (False, False, 179.859440, 183.8594, 0.491781, 0.132411),
]
PEEPER = [
    (True, True, 310.51688, 318.5169, 0.84074, None),
    (False, True, 314.23914, 320.2391, 0.84811, 0.07154),
    (True, False, 353.00716, 359.0072, 0.84220, None),
    (False, False, 356.69705, 360.6970, 0.848918, 0.070752),
]


def table(name: str) -> tuple[np.ndarray, pd.DataFrame, dict[str, np.ndarray]]:
    rows = pd.read_csv(beside(f"data/occupancy/{name}_long.csv"))
    rows["k"] = rows.groupby("site").cumcount()
    wide = rows.pivot(index="site", columns="k")
    pond = rows.groupby("site")[["pond"]].first().reset_index(drop=True)
    return wide["detected"].to_numpy(float), pond, {"temp": wide["temp_c"].to_numpy(float) / 10}


@pytest.mark.parametrize(
    ("name", "pond", "temp", "minus2loglik", "aic", "mean_psi", "se"),
    [("toad", *m) for m in TOAD] + [("peeper", *m) for m in PEEPER],
)
def test_the_four_models(
    name: str, pond: bool, temp: bool, minus2loglik: float, aic: float, mean_psi: float, se: float | None
) -> None:
    found, site, visit = table(name)
    fit = fit_occupancy(found, site if pond else None, visit if temp else None)
    assert fit.minus2loglik == pytest.approx(minus2loglik, abs=6e-6)
    assert fit.aic == pytest.approx(aic, abs=1e-4)
    assert fit.mean_psi()[0] == pytest.approx(mean_psi, abs=6e-6)
    if se is None:  # every pond had peepers: the coefficient runs to infinity
        assert not fit.identifiable
        assert any("pond" in term for term in fit.why[0].values["terms"])
        assert np.isnan(fit.mean_psi()[1])
    else:
        assert fit.identifiable
        assert fit.mean_psi()[1] == pytest.approx(se, abs=6e-6)


def test_counts_and_coefficients_of_the_toad() -> None:
    found, site, visit = table("toad")
    fit = fit_occupancy(found, site, visit)
    assert (fit.n_sites, fit.n_searches, fit.n_detections) == (29, 258, 31)
    np.testing.assert_allclose(fit.coefficients["estimate"], [-0.56613, 1.89481, -2.23122, 0.50785], atol=1e-5)
    constant = fit_occupancy(found)
    np.testing.assert_allclose([constant.p, constant.p_se], [0.188674, 0.035527], atol=1e-6)
    assert constant.psi / constant.naive == pytest.approx(1.44, abs=0.02)  # the abstract: 44 % above naive


def test_no_wald_error_where_every_pond_was_occupied() -> None:
    found, site, visit = table("peeper")
    fit = fit_occupancy(found, site, visit)
    ponds = site["pond"] == 1
    slope = fit.coefficients.query("part == 'psi' and term == 'pond'").iloc[0]
    assert np.isnan(slope["se"])
    assert np.isnan(fit.psi_se[ponds]).all()
    assert np.isfinite(fit.psi_se[~ponds]).all()
    assert (fit.psi[ponds] > 0.999).all()
    assert (fit.psi_high[ponds] == 1).all()  # the profile interval still says what the searches bear
    # all 9 ponds had finds, so that the interval ends where 9 ln(psi) has fallen by half of chi-squared's 3.8415
    np.testing.assert_allclose(fit.psi_low[ponds], np.exp(-3.8414588 / 2 / 9), atol=1e-5)
    constant = fit_occupancy(found, visit=visit)
    np.testing.assert_allclose(constant.coefficients["estimate"][1:], [2.7608, -1.5034], atol=1e-4)
