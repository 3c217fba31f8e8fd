"""Occupancy when a sighting may be wrong and some sightings were checked.

A find is either checked (it is certain) or not (it may be a mistake). At an occupied site a search finds with
probability p and a detection is checked with probability c; at an empty site a search reports a detection by mistake
with probability f, and that mistake does not survive a check. The checked detections are what tells p from f. Model:
Miller, Nichols, McClintock, Grant, Bailey & Weir 2011, Ecology 92:1422-1428 (from memory: its case of one method whose
detections are certain or not).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize
from scipy.special import expit, log_expit, logit
from scipy.stats import chi2

from habitatmap.errors import InputError
from habitatmap.survey.constant import Array

ENOUGH_CHECKED = 10  # checked detections; expert judgement


@dataclass(frozen=True)
class FalsePositives:
    """Maximum likelihood; NaN and a `why` where the checked detections are too few.

    psi with its profile interval low, high; p; checked: the share of true detections that get checked; false_share: the
    share of searches at empty sites that report a detection.
    """

    psi: float
    low: float
    high: float
    p: float
    checked: float
    false_share: float
    minus2loglik: float
    why: str


def fit_false_positives(searches: Any, certain: Any, unsure: Any, level: float = 0.95) -> FalsePositives:
    """Fits the model to the searches, checked detections and unchecked detections of each site (whole numbers, one per
    site).
    """
    n, c, u = (np.asarray(v, dtype=np.int64) for v in (searches, certain, unsure))
    if not (n.shape == c.shape == u.shape and n.ndim == 1):
        raise InputError(
            f"Searches, checked and unchecked finds have shapes {n.shape}, {c.shape}, {u.shape}; give one per site."
        )
    if (np.minimum(c, u) < 0).any() or (c + u > n).any():
        raise InputError("A site has more finds than searches, or fewer than none; check the counts.")
    if c.sum() < ENOUGH_CHECKED or n.max(initial=0) < 2:
        why = f"{c.sum()} checked detections ({ENOUGH_CHECKED} needed), and sites searched more than once"
        return FalsePositives(np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, why)
    kinds, sites = np.unique(np.stack([n, c, u])[:, n > 0], axis=1, return_counts=True)

    def loss(v: Array) -> float:
        return -_log_likelihood(v, kinds, sites)

    naive = np.clip((c + u > 0).sum() / (n > 0).sum(), 0.05, 0.95)
    found, checked = np.clip([(c + u).sum() / n[c + u > 0].sum(), c.sum() / (c + u).sum()], 0.05, 0.95)
    starts = [logit([share * naive, found, checked, f]) for share in (1.0, 0.7) for f in (0.01, 0.1)]
    best = min((minimize(loss, s, method="L-BFGS-B", bounds=BOUNDS) for s in starts), key=lambda r: r.fun)
    least = best.fun + chi2.ppf(level, 1) / 2

    def excess(odds: float) -> float:
        fixed = minimize(lambda v: loss(np.append(odds, v)), best.x[1:], method="L-BFGS-B", bounds=BOUNDS[1:])
        return float(fixed.fun) - least

    (bottom, top), peak = BOUNDS[0], float(best.x[0])
    low = brentq(excess, bottom, peak, xtol=1e-6) if excess(bottom) > 0 else -np.inf
    high = brentq(excess, peak, top, xtol=1e-6) if excess(top) > 0 else np.inf
    psi, p, c_share, f = expit(best.x).tolist()
    return FalsePositives(psi, float(expit(low)), float(expit(high)), p, c_share, f, 2 * float(best.fun), "")


BOUNDS = [(-12.0, 12.0)] * 4  # log odds: beyond these a probability is 0 or 1 for any survey


def _log_likelihood(v: Array, kinds: NDArray[np.int64], sites: NDArray[np.int64]) -> float:
    """v: log odds of psi, p, checked, false share; kinds: searches, checked, unchecked detections of each kind of site."""
    n, c, u = kinds
    yes, no = log_expit(v), log_expit(-v)
    occupied = yes[0] + (c + u) * yes[1] + (n - c - u) * no[1] + c * yes[2] + u * no[2]
    empty = np.where(c > 0, -np.inf, no[0] + u * yes[3] + (n - u) * no[3])
    return float(sites @ np.logaddexp(occupied, empty))
