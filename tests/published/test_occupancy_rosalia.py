"""A dead-wood beetle, Rosalia alpina, at 27 wood piles, up to six visits; e = at the forest edge, i = inside.

Data: Kery & Schaub 2012, Bayesian Population Analysis using WinBUGS, chapter 13 (new-BSD). The values are maximum
likelihood, recomputed; those of the book are Bayesian and were not seen.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.survey import fit_occupancy
from tests.survey.tools import as_table

PILES = """
00000.e 00000.e 00000.e 0.....i 0.....i 0.....i 100011i 101001i 011111i 1.....i 0.....e 00....e 00....e 11111.i
000010e 1.....i 0.....e 00....i 00....e 00....i 000...e 0.....e 1.....e 11....i 0.....i 0.....i 100000e
""".split()
TABLE = as_table(" ".join(p[:-1] for p in PILES))
EDGE = pd.DataFrame({"edge": [float(p[-1] == "e") for p in PILES]})


def test_the_constant_model() -> None:
    fit = fit_occupancy(TABLE)
    assert (fit.n_searches, fit.n_detections, fit.naive) == (76, 23, 10 / 27)
    np.testing.assert_allclose(
        [fit.psi, fit.psi_se, fit.p, fit.p_se], [0.522199, 0.135774, 0.502297, 0.087753], atol=1e-6
    )
    assert fit.minus2loglik == pytest.approx(83.707505, abs=1e-6)
    assert fit.conditional.sum() == pytest.approx(14.0994, abs=1e-4)


@pytest.mark.parametrize("words", [False, True], ids=["as a number", "as words"])
def test_the_forest_edge(words: bool) -> None:
    site = EDGE.replace({"edge": {0.0: "a inside", 1.0: "edge"}}).astype(str) if words else EDGE
    fit = fit_occupancy(TABLE, site)
    np.testing.assert_allclose(fit.coefficients["estimate"], [1.89502, -2.70654, -0.08749], atol=1e-5)
    np.testing.assert_allclose(fit.coefficients["se"][:2], [2.27216, 2.32244], atol=1e-4)
    assert fit.minus2loglik == pytest.approx(79.655986, abs=1e-6)
    edge = EDGE["edge"] == 1
    np.testing.assert_allclose(fit.psi[~edge], 0.86933, atol=1e-5)
    np.testing.assert_allclose(fit.psi[edge], 0.30757, atol=1e-5)
    assert fit.conditional.sum() == pytest.approx(16.1689, abs=1e-4)
