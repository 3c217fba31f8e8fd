"""The flight of adults: how the density of landings, and the share of flights that get there, fall with distance.

Flight is 2-D exponential: the density of landings falls as exp(-d/a) with the distance d, so the share of flights that
end within r is 1 - (1 + r/a) exp(-r/a), and half of them end within 1.678347 a. Users state that median.
The two uses are never mixed up: the access weight weighs forage around a cell, the reach weight is a probability.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.compiled import njit

# Median of the distance flown, in units of a: the root of (1 + q) exp(-q) = 1/2, that is -1 - W_{-1}(-1/(2e)).
MEDIAN_IN_SCALES = 1.6783469900166610
# The same for the distance that 95 % of flights do not exceed: the root of (1 + q) exp(-q) = 1/20.
P95_IN_SCALES = 4.743864518
# Where the kernel ends, in units of a. Beyond 10 a lie 0.05 % of the flights; at 7 a, 0.7 % would be cut away, which
# moves the mean beside a forage edge by as much as 2 % of itself.
END_IN_SCALES = 10.0

Floats = NDArray[np.float64]
Use = Literal["access", "reach"]

T = TypeVar("T", float, NDArray[np.float64])


def share_beyond(q: T) -> T:
    """(1 + q) exp(-q): the share (0-1) of flights that get at least q scales far; 1 at 0. Number or array."""
    share: T = (1.0 + q) * np.exp(-q)
    return share


# the same for code that Numba compiles, number by number (its stubs do not follow a function of either type)
share_beyond_compiled: Callable[[float], float] = njit(nogil=True)(share_beyond)


@dataclass(frozen=True)
class FlightKernel:
    """2-D exponential flight with this median distance (metres); ValueError unless it is above 0."""

    median_m: float

    def __post_init__(self) -> None:
        if not (self.median_m > 0 and math.isfinite(self.median_m)):
            raise ValueError(f"median_m is {self.median_m}; expected a length above 0 m")

    @property
    def scale_m(self) -> float:
        """The scale a (metres)."""
        return self.median_m / MEDIAN_IN_SCALES

    @property
    def p95_m(self) -> float:
        """95 % of flights end within so many metres."""
        return P95_IN_SCALES * self.scale_m

    @property
    def end_m(self) -> float:
        """Where the kernel ends (metres)."""
        return END_IN_SCALES * self.scale_m

    def access_weight(self, d_m: ArrayLike) -> Floats:
        """exp(-d/a): the density of landings at distance d (metres), relative to that at 0."""
        return np.exp(-np.asarray(d_m, dtype=float) / self.scale_m)

    def reach_weight(self, d_m: ArrayLike) -> Floats:
        """(1 + d/a) exp(-d/a): the share of flights that get at least d (metres) far; 1 at 0, half at the median."""
        return np.asarray(share_beyond(np.asarray(d_m, dtype=float) / self.scale_m))

    def radius_cells(self, cell_m: float) -> int:
        """Cells from the centre of the kernel to its end."""
        return math.ceil(self.end_m / cell_m)

    def block_cells(self, cell_m: float, per_scale: float) -> int:
        """Cells a side of blocks of which `per_scale` make one scale a; at least 1."""
        return max(1, int(self.scale_m / per_scale / cell_m))

    def on_cells(self, d_cells: ArrayLike, cell_m: float, use: Use) -> Floats:
        """The weight at a distance in cells, 0 farther than `radius_cells`."""
        d = np.asarray(d_cells, dtype=float)
        weight = {"access": self.access_weight, "reach": self.reach_weight}[use]
        return np.where(d <= self.radius_cells(cell_m), weight(d * cell_m), 0.0)

    def stamp(self, cell_m: float, use: Use) -> Floats:
        """Weights by cell offset, on a square of 2r + 1 cells, r = `radius_cells`: 1 in the middle."""
        r = self.radius_cells(cell_m)
        across = np.arange(-r, r + 1, dtype=float)
        return self.on_cells(np.hypot(across[:, None], across[None, :]), cell_m, use)
