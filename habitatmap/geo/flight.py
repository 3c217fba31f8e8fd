"""The flight kernel of the adults and its two uses: forage access of a cell, and the share of flights that get there.

Flight is 2-D exponential: the density of landing places falls as exp(-d/a) with the distance d, so the share of flights
that end within r is 1 - (1 + r/a) exp(-r/a), and half of them end within 1.678347 a. Users state that median.
The two uses are never mixed up: `access_weight` weighs forage around a cell, `reach_weight` is a chance.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Median of the distance flown, in units of a: the root of (1 + q) exp(-q) = 1/2, that is -1 - W_{-1}(-1/(2e)).
MEDIAN_IN_SCALES = 1.6783469900166610

# Where the kernels end, in units of a. Beyond 10 a lie 0.05 % of the flights; at 7 a, 0.7 % would be cut away, which
# moves the mean beside a forage edge by as much as 2 % of itself.
REACH_IN_SCALES = 10.0


def scale_m(median_m: float) -> float:
    """The scale a of the exponential kernel (metres) whose median flight is `median_m`; ValueError unless above 0."""
    if not (median_m > 0 and math.isfinite(median_m)):
        raise ValueError(f"median_m is {median_m}; expected a length above 0 m")
    return median_m / MEDIAN_IN_SCALES


def access_weight(d_m: ArrayLike, median_m: float) -> NDArray[np.float64]:
    """exp(-d/a): the relative density of flights that end at distance d (metres); 1 at 0."""
    return np.exp(-np.asarray(d_m, dtype=float) / scale_m(median_m))


def reach_weight(d_m: ArrayLike, median_m: float) -> NDArray[np.float64]:
    """(1 + d/a) exp(-d/a): the share of flights that get at least as far as d (metres); 1 at 0, half at the median."""
    d = np.asarray(d_m, dtype=float) / scale_m(median_m)
    return (1.0 + d) * np.exp(-d)


def radius_cells(median_m: float, cell_m: float) -> int:
    """Cells from the centre of a kernel to its end."""
    return math.ceil(REACH_IN_SCALES * scale_m(median_m) / cell_m)


def kernel(median_m: float, cell_m: float, kind: Literal["access", "reach"]) -> NDArray[np.float64]:
    """Weights on a square of 2r+1 cells, r = `radius_cells`: 1 at the centre, 0 farther than r cells from it."""
    r = radius_cells(median_m, cell_m)
    across = np.arange(-r, r + 1, dtype=float)
    d = np.hypot(across[:, None], across[None, :])
    weight = {"access": access_weight, "reach": reach_weight}[kind]
    return np.where(d <= r, weight(d * cell_m, median_m), 0.0)
