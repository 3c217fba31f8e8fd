"""Spatial autocorrelation: pools were not set out at random, and pools side by side tell less than pools far apart.

Moran's I says whether detections lie together more than the searches explain; the block bootstrap says how wide the
estimate's interval becomes when whole squares, and not single pools, are what was sampled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import KDTree
from scipy.special import ndtr

from habitatmap.survey.codes import Lacking
from habitatmap.survey.constant import Array
from habitatmap.survey.fit import Fit
from habitatmap.survey.resampled import psi_of_samples
from habitatmap.survey.searches import Counts
from habitatmap.vocabulary.note import Note, note

NEIGHBOURS = 4  # of each place, for Moran's I (common practice: a handful)
FEWEST_PLACES = 12  # expert judgement: with fewer, neither says anything
FEWEST_BLOCKS = 8  # expert judgement
TOWNS = 400  # resampled ones


@dataclass(frozen=True)
class Clustering:
    """Moran's I of the detections beyond what the number of searches lets expect; NaN with a `why` where not known.

    i: about `expected` (slightly below 0) where detections lie at random, towards 1 where they lie together; p_value:
    of so large an I, either way, by chance (large-sample, under random labelling).
    """

    i: float
    expected: float
    p_value: float
    places: int
    why: Note | None = None


@dataclass(frozen=True)
class Blocks:
    """The estimate of resampled towns: the middle 95 %; NaN with a `why` where blocks are too few."""

    low: float
    high: float
    blocks: int
    side_m: float
    towns: int
    why: Note | None = None

    @classmethod
    def unknown(cls, why: Note, blocks: int = 0, side_m: float = np.nan, towns: int = 0) -> Blocks:
        return cls(np.nan, np.nan, blocks, side_m, towns, why)


def clustering(x: Array, y: Array, searches: Counts, detections: Counts, fit: Fit) -> Clustering:
    """Moran's I over places (x, y in metres) of the residuals of the constant model `fit`.

    z = [larvae were detected] - psi (1 - (1 - p)^n), n the searches of the place;
    w: the four nearest places of each, its row summing to 1. See `morans_i`.
    """
    n = np.asarray(searches)
    searched = n > 0
    places = int(searched.sum())
    seen = (np.asarray(detections)[searched] > 0).astype(np.float64)
    why = None
    if places < FEWEST_PLACES:
        why = note(Lacking.PLACES, n=places, needed=FEWEST_PLACES)
    elif not np.isfinite(fit.psi):
        why = fit.why[0]
    elif seen.min() == seen.max():
        why = note(Lacking.BOTH_OUTCOMES)
    if why:
        return Clustering(np.nan, np.nan, np.nan, places, why)
    residual = seen - fit.psi * (1 - (1 - fit.p) ** n[searched])
    # two places at one spot make the nearest ones a matter of order: a hair apart, in the order given
    at = np.column_stack([x, y])[searched] + np.arange(places)[:, None] * 1e-6
    near = KDTree(at).query(at, NEIGHBOURS + 1)[1][:, 1:]
    rows = np.repeat(np.arange(places), NEIGHBOURS)
    weights = csr_array((np.full(near.size, 1 / NEIGHBOURS), (rows, near.ravel())), shape=(places, places))
    return Clustering(*morans_i(residual, weights), places)


def morans_i(values: Array, weights: csr_array) -> tuple[float, float, float]:
    """I, its expected value, and the two-sided probability of so large a distance from it (normal approximation).

    I = (n / S0) sum_ij w_ij z_i z_j / sum_i z_i^2, z the values less their mean (Moran 1950, Biometrika 37:17-23);
    expected value and variance are those over all orders of the values (Cliff & Ord 1981, Spatial processes: the
    randomization assumption). `weights`: (n, n), nothing on the diagonal.
    """
    n, z = len(values), values - values.mean()
    squares = float((z**2).sum())
    s0 = float(weights.sum())
    s1 = float(((weights + weights.T) ** 2).sum()) / 2
    s2 = float(((weights.sum(axis=0) + weights.sum(axis=1)) ** 2).sum())
    i, expected = n / s0 * float(z @ (weights @ z)) / squares, -1 / (n - 1)
    kurtosis = n * float((z**4).sum()) / squares**2
    spread = n * ((n**2 - 3 * n + 3) * s1 - n * s2 + 3 * s0**2)
    spread -= kurtosis * ((n**2 - n) * s1 - 2 * n * s2 + 6 * s0**2)
    variance = spread / ((n - 1) * (n - 2) * (n - 3) * s0**2) - expected**2
    return i, expected, 2 * float(ndtr(-abs(i - expected) / np.sqrt(variance)))


def block_bootstrap(
    x: Array, y: Array, searches: Counts, detections: Counts, side_m: float, towns: int = TOWNS, seed: int = 1
) -> Blocks:
    """Maximum likelihood in so many towns put together from whole squares of `side_m`, drawn with replacement.

    Squares are aligned to the origin of the CRS; where fewer than FEWEST_BLOCKS of them hold a place, their side is
    halved, at most twice. Towns in which nothing can be estimated are left out and make it tell nothing when more than
    a tenth.
    """
    searched = np.asarray(searches) > 0
    n, d = np.asarray(searches)[searched], np.asarray(detections)[searched]
    for side in (side_m, side_m / 2, side_m / 4):
        squares = np.floor(np.column_stack([x, y])[searched] / side)
        block = np.unique(squares, axis=0, return_inverse=True)[1].ravel()
        count = int(block.max(initial=-1)) + 1
        if count >= FEWEST_BLOCKS:
            break
    if count < FEWEST_BLOCKS:
        return Blocks.unknown(note(Lacking.SQUARES, n=count, needed=FEWEST_BLOCKS), count, side)
    rng = np.random.default_rng(seed)
    times = np.array([np.bincount(rng.integers(0, count, count), minlength=count) for _ in range(towns)])
    kinds, kind = np.unique(np.column_stack([n, d]), axis=0, return_inverse=True)
    in_block = np.zeros((count, len(kinds)))
    np.add.at(in_block, (block, kind.ravel()), 1)
    psi = psi_of_samples(kinds[:, 0], kinds[:, 1], times @ in_block)
    estimates = psi[np.isfinite(psi)]
    if len(estimates) < 0.9 * towns:
        return Blocks.unknown(note(Lacking.RESAMPLES), count, side, len(estimates))
    low, high = np.quantile(estimates, [0.025, 0.975])
    return Blocks(float(low), float(high), count, side, len(estimates))
