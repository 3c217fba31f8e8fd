"""The constant model by maximum likelihood in many samples of the same places, by compiled loops.

As `occupancy.fit_occupancy` without covariates and prior does it for one: damped Newton steps from three starts, and
the corners where the steps would run on for ever. A bootstrap needs nothing of it but psi.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.compiled import njit
from habitatmap.survey.constant import Array
from habitatmap.survey.likelihood import FLAT, LONGEST

Kinds = NDArray[np.float64]


def psi_of_samples(searches: ArrayLike, detections: ArrayLike, sites: ArrayLike) -> Array:
    """Estimated occupancy of each sample, NaN where it can't be told from the probability of detection.

    searches, detections: (kinds,) of a site, with one search at least. sites: (samples, kinds), how many such sites a
    sample has.
    """
    n, d, w = (np.ascontiguousarray(values, dtype=np.float64) for values in (searches, detections, sites))
    return _psi_of_each(n, d, w, np.empty(len(w)))


@njit(nogil=True)
def _psi_of_each(n: Kinds, d: Kinds, samples: Kinds, psi: Array) -> Array:
    for i in range(samples.shape[0]):
        psi[i] = _psi(n, d, samples[i])
    return psi


@njit(nogil=True)
def _psi(n: Kinds, d: Kinds, w: Kinds) -> float:
    places = some = searches = detected = where_some = most = 0.0
    for k in range(len(w)):
        if w[k] > 0.0:
            places += w[k]
            searches += w[k] * n[k]
            detected += w[k] * d[k]
            most = max(most, n[k])
            if d[k] > 0.0:
                some += w[k]
                where_some += w[k] * n[k]
    if detected == 0.0 or most == 1.0:  # nothing searched or seen, or no site searched twice
        return math.nan
    naive = some / places
    best_b, lowest = 0.0, math.inf
    for start in range(3):
        psi, p = naive, detected / max(where_some, 1.0)
        if start == 1:
            psi, p = (1.0 + naive) / 2.0, 2.0 * detected / (searches + where_some)
        elif start == 2:
            psi, p = 0.98, detected / searches
        b, value = _climb(_log_odds(psi), _log_odds(p), n, d, w)
        if value < lowest:
            best_b, lowest = b, value
    share = detected / searches
    height = 0.0  # where all sites are occupied
    for k in range(len(w)):
        if w[k] > 0.0:
            height += w[k] * (_times(d[k], share) + _times(n[k] - d[k], 1.0 - share))
    if height >= -lowest - 1e-9:
        return 1.0
    if where_some == detected and _times(some, naive) + _times(places - some, 1.0 - naive) >= -lowest - 1e-9:
        return naive  # what is there is always found
    return _expit(best_b)


@njit(nogil=True)
def _climb(b: float, a: float, n: Kinds, d: Kinds, w: Kinds) -> tuple[float, float]:
    """likelihood._climb for two coefficients: where it ends (the log odds of psi), and how low the loss is there."""
    value, sb, sa, bb, ba, aa = _loss(b, a, n, d, w)
    for _ in range(200):
        middle, half, turn = (bb + aa) / 2.0, math.hypot((bb - aa) / 2.0, ba), 0.5 * math.atan2(2.0 * ba, bb - aa)
        low, high, cos, sin = middle - half, middle + half, math.cos(turn), math.sin(turn)
        # along the two directions of bending, (-sin, cos) the lower one
        down = (-sin * sb + cos * sa) / max(abs(low), 1e-9)
        up = (cos * sb + sin * sa) / max(abs(high), 1e-9)
        tb, ta = sin * down - cos * up, -cos * down - sin * up
        short = min(1.0, LONGEST / max(math.hypot(tb, ta), 1e-300))
        tb, ta = tb * short, ta * short
        if -(sb * tb + sa * ta) < 1e-12 * max(1.0, abs(value)):
            if low > FLAT:
                return b + tb, _loss(b + tb, a + ta, n, d, w)[0]
            if low > -FLAT:
                break
            tb, ta = -sin, cos
        fell = False
        for _ in range(40):
            found = _loss(b + tb, a + ta, n, d, w)
            if found[0] < value:
                fell = True
                break
            tb, ta = tb / 2.0, ta / 2.0
        if not fell:
            break
        b, a = b + tb, a + ta
        value, sb, sa, bb, ba, aa = found
    return b, value


@njit(nogil=True)
def _loss(b: float, a: float, n: Kinds, d: Kinds, w: Kinds) -> tuple[float, float, float, float, float, float]:
    """Minus the log likelihood, its two slopes, and its second derivatives (bb, ba, aa)."""
    psi, p = _expit(b), _expit(a)
    loss = sb = sa = bb = ba = aa = 0.0
    for k in range(len(w)):
        if w[k] == 0.0:
            continue
        occupied = _log_expit(b) + d[k] * _log_expit(a) + (n[k] - d[k]) * _log_expit(-a)
        state, total = 1.0, occupied
        if d[k] == 0.0:
            empty = _log_expit(-b)
            top = max(occupied, empty)
            total = top + math.log1p(math.exp(min(occupied, empty) - top))
            state = math.exp(occupied - total)
        unsure, missed = w[k] * state * (1.0 - state), n[k] * p
        loss -= w[k] * total
        sb -= w[k] * (state - psi)
        sa -= w[k] * state * (d[k] - missed)
        bb -= unsure - w[k] * psi * (1.0 - psi)
        ba += unsure * missed
        aa -= unsure * missed * missed - w[k] * state * missed * (1.0 - p)
    return loss, sb, sa, bb, ba, aa


@njit(nogil=True)
def _log_expit(x: float) -> float:
    return x - math.log1p(math.exp(x)) if x < 0.0 else -math.log1p(math.exp(-x))


@njit(nogil=True)
def _expit(x: float) -> float:
    return math.exp(x) / (1.0 + math.exp(x)) if x < 0.0 else 1.0 / (1.0 + math.exp(-x))


@njit(nogil=True)
def _log_odds(share: float) -> float:
    held = min(max(share, 0.02), 0.98)
    return math.log(held / (1.0 - held))


@njit(nogil=True)
def _times(k: float, share: float) -> float:
    """k log share, where nothing times minus infinity is nothing."""
    if k == 0.0:
        return 0.0
    return k * math.log(share) if share > 0.0 else -math.inf
