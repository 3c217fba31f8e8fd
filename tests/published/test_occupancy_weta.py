"""Weta on 72 bushes, up to five visits by three observers; bushes browsed by goats or not.

Data: published, discussed in MacKenzie, Nichols, Royle, Pollock, Bailey & Hines 2006, Occupancy Estimation and
Modeling. The values were recomputed by two independent codes, which agreed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.survey import fit_occupancy
from tests.survey.tools import as_table

# history / observer of each visit / browsed
BUSHES = """
0000./1323./1 0000./1323./1 0001./1323./1 0000./1323./0 0000./1323./1 0000./1323./0
0000./1323./0 0000./1323./0 0000./1323./0 1100./1323./1 00.10/13.31/1 01.00/13.31/1
01.01/13.31/1 00.00/13.31/0 10.11/13.31/0 .00.1/.32.1/1 .00.0/.32.1/1 .01.0/.32.1/0
.00.0/.32.1/0 000.0/132.1/1 0.0.0/1.2.1/1 0.0.0/1.2.1/0 1.0.0/1.2.1/1 0.0.0/1.2.1/0
0.0.0/1.2.1/0 000../213../0 000../213../0 010../213../1 000../213../0 0000./2131./0
0000./2131./0 0000./2131./1 0000./2131./0 00001/21312/0 00000/21312/0 00000/21312/0
01100/21312/0 .0.00/.1.12/1 .1.00/.1.12/0 .0000/.1312/0 .1101/.1312/0 .0001/.1312/1
..001/..312/0 ..111/..312/0 ..001/..312/0 ..001/..312/1 ..101/..312/0 0000./3212./1
1010./3212./1 1000./3212./0 1000./3212./1 0001./3212./1 0001./3212./0 0000./3212./1
0000./3212./1 0000./3212./0 1001./3212./1 00.00/32.23/1 01.10/32.23/1 11.11/32.23/1
10.11/32.23/1 00.01/32.23/1 .00.0/.21.3/0 .00.0/.21.3/0 .10.1/.21.3/1 .00.0/.21.3/1
.10.1/.21.3/1 1.0.1/3.1.3/1 1.0.0/3.1.3/0 0.0.0/3.1.3/1 0.0.0/3.1.3/0 0.0.1/3.1.3/0
"""
RECORDS = [bush.split("/") for bush in BUSHES.split()]
TABLE = as_table(" ".join(r[0] for r in RECORDS))
OBSERVER = np.array([[None if c == "." else c for c in r[1]] for r in RECORDS], dtype=object)
DAY = np.tile(list("12345"), (72, 1))
BROWSED = pd.DataFrame({"browsed": [float(r[2]) for r in RECORDS]})

# browsed in psi, day in p, observer in p: coefficients, -2logL, AIC, mean psi and its standard error
MODELS = [
    (True, True, True, 9, 239.599444, 257.5994, 0.63304, 0.09081),
    (False, True, True, 8, 242.546560, 258.5466, 0.64117, 0.09418),
    (True, True, False, 7, 245.436840, 259.4368, 0.62770, 0.09064),
    (False, True, False, 6, 248.794832, 260.7948, 0.62975, 0.09237),
    (True, False, True, 5, 252.042104, 262.0421, 0.61540, 0.08567),
    (False, False, True, 4, 255.357812, 263.3578, 0.61922, 0.08819),
    (True, False, False, 3, 258.264280, 264.2643, 0.61632, 0.08706),
    (False, False, False, 2, 261.787155, 265.7872, 0.616596, 0.088544),
]


@pytest.mark.parametrize(("browse", "day", "observer", "k", "minus2loglik", "aic", "mean_psi", "se"), MODELS)
def test_the_eight_models(
    browse: bool, day: bool, observer: bool, k: int, minus2loglik: float, aic: float, mean_psi: float, se: float
) -> None:
    visit = ({"day": DAY} if day else {}) | ({"observer": OBSERVER} if observer else {})
    fit = fit_occupancy(TABLE, BROWSED if browse else None, visit)
    assert len(fit.coefficients) == k
    assert fit.minus2loglik == pytest.approx(minus2loglik, abs=2e-6)
    assert fit.aic == pytest.approx(aic, abs=1e-4)
    np.testing.assert_allclose(fit.mean_psi(), [mean_psi, se], atol=1e-5)
    assert fit.identifiable


def test_the_counts_and_the_constant_model() -> None:
    fit = fit_occupancy(TABLE)
    assert (fit.n_searches, fit.n_detections, fit.naive) == (262, 56, 35 / 72)
    np.testing.assert_allclose([fit.p, fit.p_se], [0.349365, 0.053730], atol=1e-6)


def test_the_best_models_coefficients() -> None:
    """In their source each day has a coefficient of its own and observer 3 is the reference."""
    fit = fit_occupancy(TABLE, BROWSED, {"day": DAY, "observer": OBSERVER})
    b = fit.coefficients.set_index(["part", "term"])["estimate"]
    np.testing.assert_allclose([b["psi", "intercept"], b["psi", "browsed"]], [0.02399, 1.16932], atol=1e-5)
    third = b["p", "intercept"] + b["p", "observer=3"]
    days = [third] + [third + b["p", f"day={d}"] for d in "2345"]
    np.testing.assert_allclose(days, [-0.22970, -0.38459, -1.17289, -0.30036, 0.80575], atol=2e-5)
    others = [-b["p", "observer=3"], b["p", "observer=2"] - b["p", "observer=3"]]
    np.testing.assert_allclose(others, [-1.07002, -0.34356], atol=2e-5)
    np.testing.assert_allclose(np.unique(np.round(fit.psi, 5)), [0.50600, 0.76733], atol=2e-5)
