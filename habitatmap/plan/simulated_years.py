"""Simulated years: every breeding place is occupied or empty, year after year, and what forage the occupied ones serve.

Stochastic patch occupancy, the incidence function model of Hanski 1994 with rescue; its formulas stand in
`network.turnover`, which also sets them so that they fit what is known today. Flight is never the planner's: it has a
fat or a thin tail, about the same median distance, for dispersal and for the forage that is reached alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.distance import cdist

from habitatmap.network.flows import Flow, flow_between
from habitatmap.network.turnover import (
    FEWEST_OF_KIND,
    Bools,
    Draws,
    Floats,
    KnownPlaces,
    Rates,
    calibrate,
    found,
    lost,
)

BISECTIONS = 12
SMALLEST_FACTOR = 1 / 64  # of the y that fits today's arrivals
RARE_FLIGHT = 1e-3


class Tail(StrEnum):
    """How rare far flights are."""

    FAT = "fat tail"
    THIN = "thin tail"


def fat_tail(d_m: ArrayLike, median_m: float) -> Floats:
    """Share of flights that get at least d metres far: 1 / (1 + (d/m)^2); 1 at 0, half at the median.

    Landing places are 2Dt of shape p = 1, whose scale is the median (Clark et al. 1999, Ecology 80:1475; from memory).
    """
    return 1.0 / (1.0 + (np.asarray(d_m, dtype=float) / median_m) ** 2)


def thin_tail(d_m: ArrayLike, median_m: float) -> Floats:
    """Share of flights that get at least d metres far, landing places being Gaussian: 2^-(d/m)^2."""
    return np.exp2(-((np.asarray(d_m, dtype=float) / median_m) ** 2))


TAILS: dict[Tail, Callable[[ArrayLike, float], Floats]] = {Tail.FAT: fat_tail, Tail.THIN: thin_tail}


def flow_by_tail(xy: Floats, tail: Tail, median_m: float) -> Flow:
    """`flows.flow_between` of flights with this tail; many places far apart leave those out that are rarer than
    RARE_FLIGHT."""
    farthest = median_m * (np.sqrt(1 / RARE_FLIGHT - 1) if tail is Tail.FAT else np.sqrt(np.log2(1 / RARE_FLIGHT)))
    return flow_between(xy, lambda d: TAILS[tail](d, median_m), median_m / 4.0, float(farthest))


def fit_to_survey(known: KnownPlaces, flow: Flow, draws: Draws, new: float) -> Rates:
    """What `calibrate` gives, but the y of pools fits the arrivals of each year since they were installed, which were
    fewer than today's while all pools stood empty.

    flow: see `flow_by_tail`. The expected occupancy of pools, empty when they were installed, is followed up to today,
    trees being as often occupied as they are; bisection on the log scale. With too few pools for that, as `calibrate`.
    """
    certain = draws._replace(y=np.ones_like(draws.y))
    rates = calibrate(known, np.asarray(flow @ (known.quality * known.p)), certain, new)
    if known.pool.sum() < FEWEST_OF_KIND:
        return rates._replace(half=rates.half * draws.y)
    stays, age = 1.0 - lost(known.quality, draws.e, draws.x), int(known.years[known.pool].max())
    low, high = (np.full(len(draws.z), np.log(end)) for end in (SMALLEST_FACTOR, 1.0))
    for _ in range(BISECTIONS):
        factor = (low + high) / 2.0
        half = (rates.half * np.stack([np.ones_like(factor), np.exp(factor)]))[known.pool.astype(int)]
        p = np.where(known.pool, 0.0, known.p)[:, None] * np.ones_like(factor)
        for ago in range(age, 0, -1):
            c = found(np.asarray(flow @ (known.quality[:, None] * p)) + rates.unmapped, half, draws.z)
            stands = known.pool & (known.years >= ago)
            p[stands] = (c + p * stays * (1.0 - c))[stands]
        too_many = p[known.pool].sum(axis=0) > known.p[known.pool].sum()
        low, high = np.where(too_many, factor, low), np.where(too_many, high, factor)
    fitted = np.stack([np.ones_like(low), np.exp((low + high) / 2.0)])
    return rates._replace(half=rates.half * fitted * draws.y)


class Laws(NamedTuple):
    """How places are found and lost in each simulation, as in `network.turnover`."""

    lost: Floats
    """(places, simulations): l, the probability that an occupied place is lost in a year that nothing arrives."""
    half: Floats
    """(places, simulations): y, the arrivals at which an empty place is found in every second year."""
    z: Floats
    """(simulations,)"""
    unmapped: Floats
    """(simulations,): b, the arrivals at every place from places nobody mapped."""


@dataclass(frozen=True)
class Luck:
    """What chance brings each place in each year: the same for all who live through simulations of the same draw,
    whatever other places there are, so that one more place never empties another."""

    seed: int
    draw: NDArray[np.int64]
    """(simulations,): the number of the draw that each simulation has."""
    draws: int

    def in_year(self, year: int, places: int) -> Floats:
        """(places, simulations) numbers, evenly from 0 to 1."""
        # filled row by row: the first places of a longer list have the numbers of the shorter one
        return np.random.default_rng([self.seed, year]).random((places, self.draws))[:, self.draw]


def simulate_occupancy(
    flow: Flow,
    quality: Floats,
    start: Bools,
    laws: Laws,
    years: int,
    luck: Luck,
    installed: NDArray[np.int64] | None = None,
) -> Bools:
    """Occupied or not: (years + 1, places, simulations), the first being `start` (places, simulations).

    flow: (places, places), see `flow_by_tail`; quality A: (places,) > 0; installed: (places,) the year in which each is
    installed, empty, to be found from the next year on; 0 for those that stand at the start, as all do without it.
    """
    states = np.empty((years + 1, *start.shape), dtype=bool)
    states[0] = start
    for year in range(1, years + 1):
        now = states[year - 1]
        c = found(np.asarray(flow @ (quality[:, None] * now)) + laws.unmapped, laws.half, laws.z)
        states[year] = luck.in_year(year, len(start)) < np.where(now, 1.0 - laws.lost * (1.0 - c), c)
        if installed is not None:
            states[year, installed >= year] = False
    return states


def forage_served(xy: Floats, states: Bools, demand: pd.DataFrame, tail: Tail, median_m: float) -> Floats:
    """Share (0-1) of the forage `demand` (x, y, w) within flight of the occupied places: (years + 1, simulations).

    xy: (places, 2) metres; states: (years + 1, places, simulations). Single precision: seven digits are enough here.
    """
    d = cdist(demand[["x", "y"]].to_numpy(float), xy)
    missed = np.log1p(-np.minimum(TAILS[tail](d, median_m), 1 - 1e-9)).astype(np.float32)
    w = (demand["w"] / demand["w"].sum()).to_numpy(np.float32)
    return np.array([1.0 - w @ np.exp(missed @ occupied.astype(np.float32)) for occupied in states], dtype=float)
