"""Maximum likelihood of a few probabilities at once, in log odds within bounds; intervals by profile likelihood."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.special import expit

from habitatmap.survey.constant import Array, Ends

LIMIT = 12.0  # log odds: beyond these a probability is 0 or 1 for any survey

Loss = Callable[[Array], float]


def lowest(loss: Loss, starts: Iterable[Array]) -> tuple[Array, float]:
    """Where the loss (minus a log likelihood, of log odds) is lowest, the best of several starts, and how low."""
    found = [minimize(loss, start, method="L-BFGS-B", bounds=[(-LIMIT, LIMIT)] * len(start)) for start in starts]
    best = min(found, key=lambda fit: fit.fun)
    return np.asarray(best.x), float(best.fun)


def profile_ends(loss: Loss, peak: Array, i: int, least: float, xtol: float) -> Ends:
    """The interval of probability i: where the loss, minimised over the others, stays at or below `least`.

    An end without a bound is 0 or 1; the others are exact to `xtol` in log odds.
    """
    others = [k for k in range(len(peak)) if k != i]

    def excess(odds: float) -> float:
        def with_fixed(v: Array) -> float:
            whole = np.empty(len(peak))
            whole[i], whole[others] = odds, v
            return loss(whole)

        return lowest(with_fixed, [peak[others]])[1] - least

    at = float(np.clip(peak[i], -LIMIT, LIMIT))
    low = float(expit(brentq(excess, -LIMIT, at, xtol=xtol))) if excess(-LIMIT) > 0 else 0.0
    high = float(expit(brentq(excess, at, LIMIT, xtol=xtol))) if excess(LIMIT) > 0 else 1.0
    return low, high
