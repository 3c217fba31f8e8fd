"""How breeding places are found and lost from year to year, so set that it fits what is known today.

Every place is occupied or empty. From one year to the next (incidence function model, Hanski 1994, J Anim Ecol 63:151;
formulas from memory, the paper itself not seen)

    S_i = sum over occupied j != i of A_j L(d_ij) + b     arrivals, from mapped places and from places nobody mapped
    C_i = S_i^z / (S_i^z + y^z)                           probability that an empty place is found
    l_i = min(1, e / A_i^x)                               probability that an occupied one is lost, without rescue
    P_i' = C_i + P_i (1 - l_i) (1 - C_i)                  probability that it is occupied a year later

A is the place's forage access over the usual place's, L the share of flights that get so far. Nobody knows e, x, z, y
and b for these flies: each simulation has its own e, x, z and share of unmapped arrivals, drawn from stated ranges
(expert judgement), and y follows from what is known: pools and rot-hole trees have their own, and that of the pools is
such that pools which were empty when they were installed are by today as often occupied as the survey found them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_QUALITY = 0.05  # a place with next to no forage about it still holds larvae for a while
FEWEST_OF_KIND = 5  # fewer pools, or trees, than that say too little on their own
YEARS_UNKNOWN = 5.0  # age taken for a pool without a date (expert judgement)
BISECTIONS = 60


@dataclass(frozen=True)
class KnownPlaces:
    """The places of the network as they are known today; arrays by place (n,)."""

    xy: Floats
    """(n, 2) metres."""
    quality: Floats
    """A: forage access over the usual place's."""
    p: Floats
    """Probability that the place is occupied now."""
    pool: Bools
    """Whether a pool stands there; else it is a rot-hole tree."""
    years: Floats
    """How many years ago the oldest pool of the place was installed, at least 1."""
    usual: float
    """The forage access of the usual place, of which `quality` is the multiple; NaN where none is known."""

    @classmethod
    def of(cls, network: pd.DataFrame, years: ArrayLike) -> KnownPlaces:
        """From rows x, y, p, pools, access (`places.network_places`) and years since installing, NaN = not known."""
        access = network["access"].to_numpy(float)
        usual = float(np.nanmedian(access)) if np.isfinite(access).any() else np.nan
        age = np.round(np.asarray(years, dtype=float))
        return cls(
            network[["x", "y"]].to_numpy(float).reshape(-1, 2),
            quality_of(access, usual),
            network["p"].to_numpy(float),
            network["pools"].to_numpy() > 0,
            np.where(np.isnan(age), YEARS_UNKNOWN, np.maximum(age, 1.0)),
            usual,
        )


def quality_of(access: ArrayLike, usual: float) -> Floats:
    """A of places (n,): their forage access over the usual place's; 1 where either is not known."""
    given = np.asarray(access, dtype=float)
    ratio = given / usual if usual > 0 else np.ones(given.shape)
    return np.clip(np.where(np.isnan(ratio), 1.0, ratio), LEAST_QUALITY, 1.0 / LEAST_QUALITY)


class Ranges(NamedTuple):
    """From where the simulations draw (expert judgement); low and high of each, drawn evenly on the log scale, but for
    `unmapped`, which is drawn evenly."""

    e: tuple[float, float] = (0.1, 0.9)
    """Probability that a usual place is lost in a year that nothing arrives: from lasting long to yearly turnover."""
    x: tuple[float, float] = (0.5, 1.5)
    """How much longer a better place lasts."""
    z: tuple[float, float] = (1.0, 2.0)
    """Whether one arrival can be enough (1, females come mated) or it takes several at a time (2, Hanski's own)."""
    y: tuple[float, float] = (0.5, 2.0)
    """A factor on y: how far today may be from what it was calibrated on."""
    unmapped: tuple[float, float] = (0.0, 0.0)
    """Share of today's arrivals that comes from places nobody mapped, the same everywhere."""


class Draws(NamedTuple):
    """What each simulation assumes; arrays (simulations,), named as in `Ranges`."""

    e: Floats
    x: Floats
    z: Floats
    y: Floats
    unmapped: Floats


def draw(ranges: Ranges, simulations: int, seed: int = 1) -> Draws:
    """So many draws, each of them from another part of every range: a Latin hypercube (McKay, Beckman and Conover 1979,
    Technometrics 21:239; from memory)."""
    random = np.random.default_rng(seed)
    part = random.permuted(np.tile(np.arange(simulations), (len(ranges), 1)), axis=1)
    return _from(ranges, (part + random.random(part.shape)) / simulations)


def four_for_the_mean(ranges: Ranges, mirrored: bool) -> Draws:
    """Four draws that stand for all: their mean of any polynomial of degree 2 in e, y and z (on their scales) is that
    over the ranges. A fractional factorial (2^(3-1)) at the two Gauss points of each range; x and the unmapped, which
    matter least, go with z. `mirrored` about the middles of the ranges, what is left of higher degree is as far off to
    the other side, so means over both are closer still."""
    e, y, z = np.array([[1, -1, 1, -1], [1, -1, -1, 1], [1, 1, -1, -1]]) * (-1 if mirrored else 1)
    return _from(ranges, 0.5 + np.stack([e, z, z, y, -z]) / math.sqrt(12))


def _from(ranges: Ranges, u: Floats) -> Draws:
    """The draws at parts u (ranges, simulations), 0-1, of the ranges."""
    e, x, z, y = (low * (high / low) ** at for (low, high), at in zip(ranges[:-1], u[:-1], strict=True))
    low, high = ranges.unmapped
    return Draws(e, x, z, y, low + (high - low) * u[-1])


class Rates(NamedTuple):
    """What makes places found, by simulation."""

    half: Floats
    """(2, simulations): y of rot-hole trees (row 0) and of pools (row 1), the arrivals at which an empty place is found
    in every second year."""
    unmapped: Floats
    """(simulations,): b, the arrivals at every place from places nobody mapped."""

    def of(self, pool: Bools) -> Floats:
        """y of places (n, simulations)."""
        return np.asarray(self.half[pool.astype(int)])


def found(arrivals: Floats, half: Floats, z: Floats) -> Floats:
    """C: the probability that an empty place is found in a year; arrays that broadcast together."""
    return np.asarray(1.0 / (1.0 + (half / np.maximum(arrivals, 1e-12)) ** z))


def lost(quality: Floats, e: Floats, x: Floats) -> Floats:
    """l: the probability (n, simulations) that an occupied place of this quality is lost where nothing arrives.

    quality: (n,), or (n, simulations) where it differs between them."""
    return np.asarray(np.minimum(1.0, e / (quality[:, None] if quality.ndim == 1 else quality) ** x))


def calibrate(known: KnownPlaces, arriving: Floats, draws: Draws, new: float, *, hindcast: bool = True) -> Rates:
    """y and b of each simulation, so that they fit what is known today.

    arriving: (n,) expected arrivals at each place from the mapped ones, by the caller's own flight. Of the unmapped
    ones come so many that they make up the drawn share of the mean. y of the trees is such that they expect as many
    gains as losses; that of the pools such that these, empty when installed, expect today as many occupied as there
    are; without `hindcast` they are in balance as well. Where fewer than `FEWEST_OF_KIND` pools are known, a usual one
    is in the long run occupied with the probability `new`; so few trees are taken together with the pools. All times
    the drawn factor on y.
    """
    mean = float(arriving.mean()) if len(arriving) else 0.0
    share = draws.unmapped / (1.0 - draws.unmapped)
    unmapped = mean * share if mean > 0 else (draws.unmapped > 0).astype(float)
    every = np.ones(len(known.p), dtype=bool)
    few_pools, few_trees = (of.sum() < FEWEST_OF_KIND for of in (known.pool, ~known.pool))

    def fit(who: Bools, years: Floats) -> Floats:
        return _half(
            arriving[who, None] + unmapped, lost(known.quality[who], draws.e, draws.x), known.p[who], draws.z, years
        )

    if not mean > 0 and not unmapped.any():
        return Rates(np.ones((2, len(draws.z))), unmapped)  # where nothing ever arrives, any y will do
    long = np.full(len(known.p), np.inf)
    if few_pools:
        one = np.ones(1)
        pools = _half(np.full((1, 1), mean) + unmapped, lost(one, draws.e, draws.x), new * one, draws.z, np.inf * one)
    else:
        pools = fit(known.pool, (known.years if hindcast else long)[known.pool])
    if few_trees:
        trees = fit(every, long) if len(known.p) >= FEWEST_OF_KIND else pools
    else:
        trees = fit(~known.pool, long[~known.pool])
    return Rates(np.stack([trees, pools]) * draws.y, unmapped)


def _half(arrivals: Floats, gone: Floats, p: Floats, z: Floats, years: Floats) -> Floats:
    """y (simulations,) at which places (n, simulations), empty `years` (n,) ago, expect sum p occupied now; those of
    endless years expect as many gains as losses at p instead. Bisection on the log scale."""
    middle = max(float(arrivals.mean()), 1e-12) if arrivals.size else 1.0
    low, high = (np.full(len(z), np.log(middle) + end) for end in (-14.0, 14.0))
    endless = np.isinf(years)[:, None]
    age, p = np.where(np.isinf(years), 1.0, years)[:, None], p[:, None]
    for _ in range(BISECTIONS):
        y = (low + high) / 2.0
        c = found(arrivals, np.exp(y), z)
        stays = (1.0 - c) * (1.0 - gone)
        grown = np.where(stays < 1.0, c / np.maximum(1.0 - stays, 1e-300) * (1.0 - stays**age), 0.0)
        # too many come where more are expected than there are: then y has to rise
        too_many = np.where(endless, (1.0 - p) * c - p * gone * (1.0 - c), grown - p).sum(axis=0) > 0
        low, high = np.where(too_many, y, low), np.where(too_many, high, y)
    return np.asarray(np.exp((low + high) / 2.0))
