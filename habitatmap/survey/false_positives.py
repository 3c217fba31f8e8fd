"""Occupancy with false positives, where some detections were checked.

A detection is either checked (it is certain) or not (it may be a mistake). A search of an occupied site detects with
probability p, and a detection is checked with probability c; a search of an empty site reports larvae by mistake with
probability f, and that mistake does not survive a check. The checked detections are what tells p from f. Model: Miller,
Nichols, McClintock, Grant, Bailey & Weir 2011, Ecology 92:1422-1428 (from memory: its case of one method whose
detections are certain or not).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, log_expit, logit

from habitatmap.errors import InputError
from habitatmap.survey.chi_squared import chi2_quantile
from habitatmap.survey.codes import Lacking
from habitatmap.survey.constant import Array
from habitatmap.survey.refit import lowest, profile_ends
from habitatmap.vocabulary.note import Note, note

ENOUGH_CHECKED = 10  # checked detections; expert judgement


@dataclass(frozen=True)
class FalsePositives:
    """Maximum likelihood; NaN and a `why` where the checked detections are too few.

    psi with its profile interval low, high; p; checked: the share of true detections that get checked; false_share: the
    share of searches of empty sites that report larvae.
    """

    psi: float = np.nan
    low: float = np.nan
    high: float = np.nan
    p: float = np.nan
    checked: float = np.nan
    false_share: float = np.nan
    minus2loglik: float = np.nan
    why: Note | None = None


def fit_false_positives(
    searches: ArrayLike, certain: ArrayLike, unsure: ArrayLike, level: float = 0.95
) -> FalsePositives:
    """Fits the model to the searches, checked and unchecked detections of each site (whole numbers, one per site).

    A site with n searches, of them c checked and u unchecked detections, adds to the likelihood
    psi p^(c+u) (1 - p)^(n-c-u) k^c (1 - k)^u (k: the share checked), and (1 - psi) f^u (1 - f)^(n-u) where c = 0.
    """
    n, c, u = (np.asarray(v, dtype=np.int64) for v in (searches, certain, unsure))
    if not (n.shape == c.shape == u.shape and n.ndim == 1):
        raise InputError(
            f"Searches, checked and unchecked detections have shapes {n.shape}, {c.shape}, {u.shape}; give one per "
            "site."
        )
    if (np.minimum(c, u) < 0).any() or (c + u > n).any():
        raise InputError("A site has more detections than searches, or fewer than none; check the counts.")
    if c.sum() < ENOUGH_CHECKED or n.max(initial=0) < 2:
        return FalsePositives(why=note(Lacking.CHECKED, n=int(c.sum()), needed=ENOUGH_CHECKED))
    kinds, sites = np.unique(np.stack([n, c, u])[:, n > 0], axis=1, return_counts=True)

    def loss(v: Array) -> float:
        return -_log_likelihood(v, kinds, sites)

    naive = np.clip((c + u > 0).sum() / (n > 0).sum(), 0.05, 0.95)
    found, checked = np.clip([(c + u).sum() / n[c + u > 0].sum(), c.sum() / (c + u).sum()], 0.05, 0.95)
    starts = [logit([share * naive, found, checked, f]) for share in (1.0, 0.7) for f in (0.01, 0.1)]
    peak, least = lowest(loss, starts)
    low, high = profile_ends(loss, peak, 0, least + chi2_quantile(level, 1) / 2, xtol=1e-6)
    psi, p, share, f = expit(peak).tolist()
    return FalsePositives(psi, low, high, p, share, f, 2 * least)


def _log_likelihood(v: Array, kinds: NDArray[np.int64], sites: NDArray[np.int64]) -> float:
    """v: log odds of psi, p, k, f; kinds: searches, checked, unchecked detections of each kind of site."""
    n, c, u = kinds
    yes, no = log_expit(v), log_expit(-v)
    occupied = yes[0] + (c + u) * yes[1] + (n - c - u) * no[1] + c * yes[2] + u * no[2]
    empty = np.where(c > 0, -np.inf, no[0] + u * yes[3] + (n - u) * no[3])
    return float(sites @ np.logaddexp(occupied, empty))
