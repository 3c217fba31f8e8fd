"""Honesty about place: pools were not put out at random, and pools side by side tell less than pools far apart.

Moran's I says whether detections lie together more than the searches explain; the block bootstrap says how wide the
estimate's interval becomes when whole blocks of ground, and not single pools, are what was sampled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from habitatmap.survey.constant import Array
from habitatmap.survey.fit import Fit
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.probabilities import as_rows

NEIGHBOURS = 4  # of each place, for Moran's I (common practice: a handful)
FEWEST_PLACES = 12  # expert judgement: with fewer, neither says anything
FEWEST_BLOCKS = 8  # expert judgement
TOWNS = 400  # resampled ones


@dataclass(frozen=True)
class Clustering:
    """Moran's I of what was found beyond what the number of searches lets expect; NaN with a `why` where it can't be
    told.

    i: about `expected` (slightly below 0) where detections lie at random, towards 1 where they lie together; p_value:
    of so large an I, either way, by chance (large-sample, under random labelling).
    """

    i: float
    expected: float
    p_value: float
    places: int
    why: str

    def words(self) -> str:
        if self.why:
            return f"Whether detections lie together cannot be told: {self.why}."
        lie = "no sign that detections lie together or apart"
        if self.p_value < 0.05:
            lie = "detections lie together" if self.i > self.expected else "detections lie apart"
            lie += " more than chance explains, so that the plain interval is too narrow" * (self.i > self.expected)
        return f"Moran's I {self.i:.2f} (expected by chance {self.expected:.2f}, p = {self.p_value:.2f}): {lie}."


@dataclass(frozen=True)
class Blocks:
    """The estimate of resampled towns: the middle 95 %; NaN with a `why` where blocks are too few."""

    low: float
    high: float
    blocks: int
    side_m: float
    towns: int
    why: str


def clustering(x: Array, y: Array, searches: NDArray[Any], found: NDArray[Any], fit: Fit) -> Clustering:
    """Moran's I over places (x, y in metres) of (found something) less its probability under the constant model `fit`.

    Weights: the four nearest places, each row summing to 1. Library: esda, libpysal. Moran 1950, Biometrika 37:17-23.
    """
    searched = np.asarray(searches) > 0
    places = int(searched.sum())
    why = ""
    if places < FEWEST_PLACES:
        why = f"{places} places searched ({FEWEST_PLACES} needed)"
    elif not np.isfinite(fit.psi):
        why = fit.why
    seen = (np.asarray(found)[searched] > 0).astype(np.float64)
    if not why and seen.min() == seen.max():
        why = "larvae were seen at all places, or at none"
    if why:
        return Clustering(np.nan, np.nan, np.nan, places, why)
    # the two load plotting libraries, which take longer than all else here
    from esda.moran import Moran
    from libpysal.weights import KNN

    beyond = seen - fit.psi * (1 - (1 - fit.p) ** np.asarray(searches)[searched])
    # two places at one spot make the nearest ones a matter of order: a hair apart, in the order given
    at = np.column_stack([x, y])[searched] + np.arange(places)[:, None] * 1e-6
    near = KNN.from_array(at, k=NEIGHBOURS, silence_warnings=True)
    told = Moran(beyond, near, transformation="r", permutations=0)
    return Clustering(float(told.I), float(told.EI), float(told.p_rand), places, "")


def block_bootstrap(
    x: Array, y: Array, searches: NDArray[Any], found: NDArray[Any], side_m: float, towns: int = TOWNS, seed: int = 1
) -> Blocks:
    """Maximum likelihood in so many towns put together from whole squares of `side_m`, drawn with replacement.

    Squares are aligned to the origin of the CRS; where fewer than FEWEST_BLOCKS of them hold a place, their side is
    halved, at most twice. Towns in which nothing can be estimated are left out and make it tell nothing when more than
    a tenth.
    """
    n, d = np.asarray(searches), np.asarray(found)
    searched = n > 0
    n, d = n[searched], d[searched]
    for side in (side_m, side_m / 2, side_m / 4):
        squares = np.floor(np.column_stack([x, y])[searched] / side)
        _, block = np.unique(squares, axis=0, return_inverse=True)
        block = block.ravel()
        count = int(block.max()) + 1 if len(block) else 0
        if count >= FEWEST_BLOCKS:
            break
    if count < FEWEST_BLOCKS:
        return Blocks(np.nan, np.nan, count, side, 0, f"the places lie in {count} squares ({FEWEST_BLOCKS} needed)")
    rng = np.random.default_rng(seed)
    members = [np.flatnonzero(block == b) for b in range(count)]
    told = []
    for _ in range(towns):
        picked = np.concatenate([members[b] for b in rng.integers(0, count, count)])
        psi = fit_occupancy(as_rows(n[picked], d[picked])).psi
        if np.isfinite(psi):
            told.append(float(psi))
    if len(told) < 0.9 * towns:
        return Blocks(np.nan, np.nan, count, side, len(told), "many resampled towns tell nothing")
    low, high = np.quantile(told, [0.025, 0.975])
    return Blocks(float(low), float(high), count, side, len(told), "")
