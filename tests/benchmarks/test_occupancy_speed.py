"""How long a large fit takes: 10,000 pools x 8 visits with 4 covariates. Aim: 2 s on two cores; by hand only."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from habitatmap.survey import fit_occupancy
from tests.survey.tools import slow_log_likelihood


@pytest.mark.slow
def test_ten_thousand_pools() -> None:
    rng, shape = np.random.default_rng(0), (10_000, 8)
    site = pd.DataFrame(rng.normal(size=(shape[0], 2)), columns=["forage", "dead_wood"])
    visit = {"day": rng.normal(size=shape), "days_out": rng.normal(size=shape)}
    psi = 1 / (1 + np.exp(-0.2 - 0.5 * site["forage"].to_numpy() + 0.3 * site["dead_wood"].to_numpy()))
    p = 1 / (1 + np.exp(0.5 - 0.4 * visit["day"] + 0.2 * visit["days_out"]))
    occupied = rng.random(shape[0]) < psi
    found = (occupied[:, None] & (rng.random(shape) < p)).astype(float)
    start = time.perf_counter()
    fit = fit_occupancy(found, site, visit)
    print(f"{time.perf_counter() - start:.2f} s")
    np.testing.assert_allclose(fit.coefficients["estimate"], [0.2, 0.5, -0.3, -0.5, 0.4, -0.2], atol=0.08)
    assert fit.minus2loglik == pytest.approx(-2 * slow_log_likelihood(found, fit.psi, fit.p), abs=1e-8)
