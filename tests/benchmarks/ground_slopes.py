"""How far slopes should be held near 0: the error of probabilities at new places, by the prior's width. By hand.

    python tests/benchmarks/ground_slopes.py

Made-up surveys of 45 pools with two or three searches (detection 0.4) and two covariates; printed is the root mean
square error of the probability at 200 other places, without covariates and for four widths. The table stands in
guide/survey.md.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from habitatmap.survey import Prior, fit_occupancy

POOLS, SURVEYS, DETECTION = 45, 60, 0.4
WIDTHS = (0.25, 0.5, 0.75, 1.5)


def errors(slopes: tuple[float, float], rng: np.random.Generator) -> dict[str, float]:
    """Root mean square errors over the surveys with at least 20 finds."""
    squares: dict[str, list[float]] = {}
    for _ in range(SURVEYS):
        at = rng.normal(size=(POOLS, 2))
        occupied = rng.random(POOLS) < expit(0.2 + at @ slopes)
        found = (occupied[:, None] & (rng.random((POOLS, 3)) < DETECTION)).astype(float)
        found[rng.random(POOLS) < 0.4, 2] = np.nan
        if np.nansum(found) < 20:
            continue
        others = rng.normal(size=(200, 2))
        truth = expit(0.2 + others @ slopes)
        squares.setdefault("none", []).append(np.mean((fit_occupancy(found, prior=Prior()).psi - truth) ** 2))
        for width in WIDTHS:
            fit = fit_occupancy(found, pd.DataFrame(at, columns=["a", "b"]), prior=Prior(slope_sd=width))
            assert fit.draws is not None
            some = fit.draws[::10, :3]
            probability = expit(some[:, :1] + some[:, 1:] @ others.T).mean(axis=0)
            squares.setdefault(f"sd {width}", []).append(np.mean((probability - truth) ** 2))
    return {name: float(np.sqrt(np.mean(values))) for name, values in squares.items()}


if __name__ == "__main__":
    generator = np.random.default_rng(3)
    for pair in ((0.0, 0.0), (0.5, 0.0), (1.0, 0.5)):
        print(pair, {name: round(value, 3) for name, value in errors(pair, generator).items()}, flush=True)
