"""Cells of a frame as yes and no: those that lie in polygons, and those too near to a site."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TypeVar

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import rasterize
from shapely.geometry.base import BaseGeometry

from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid

Bools = NDArray[np.bool_]
Number = TypeVar("Number", bound=np.generic)


def cells_in(polygons: Iterable[BaseGeometry | None], grid: Grid) -> Bools:
    """Cells whose centre lies in one of the polygons, which are in the grid's CRS: (rows, cols)."""
    filled = np.array([shape for shape in polygons if shape is not None and not shape.is_empty], dtype=object)
    out = scratch.zeros(grid.shape, np.bool_)
    _, south, _, north = shapely.bounds(filled).reshape(-1, 4).T
    for band in scratch.bands(grid.shape):
        top, bottom = (grid.top - row * grid.cell_m for row in (band.start - 1, band.stop + 1))  # a cell more each
        here = filled[(north >= bottom) & (south <= top)]
        if len(here):
            place = Affine(grid.cell_m, 0.0, grid.left, 0.0, -grid.cell_m, grid.top - band.start * grid.cell_m)
            shape = band.stop - band.start, grid.cols
            out[band] = rasterize(here, out_shape=shape, transform=place, dtype=np.uint8)
    return out


def least_apart(spacing_m: float) -> float:
    """The distance that keeps the spacing, up to rounding: with it 30 cells of 0.1 m are 3 m (metres)."""
    return spacing_m * (1.0 - 1e-9)


def too_near(spacing_m: float, cell_m: float) -> Bools:
    """By cell offset (2q + 1, 2q + 1): centres less than spacing_m apart, and the cell itself in the middle."""
    q = math.ceil(spacing_m / cell_m)
    across = np.arange(-q, q + 1, dtype=float)
    near = np.hypot(across[:, None], across[None, :]) * cell_m < least_apart(spacing_m)
    near[q, q] = True
    return np.asarray(near)


def under(field: NDArray[Number], stamp: Bools, row: int, col: int) -> tuple[NDArray[Number], Bools]:
    """The part of `field` (rows, cols) that a stamp centred on (row, col) covers, a view, and its part of the stamp.

    Both are empty where the stamp lies outside.
    """
    q = stamp.shape[0] // 2
    r0, c0 = max(0, row - q), max(0, col - q)
    r1, c1 = max(r0, min(field.shape[0], row + q + 1)), max(c0, min(field.shape[1], col + q + 1))
    return field[r0:r1, c0:c1], stamp[r0 - row + q : r1 - row + q, c0 - col + q : c1 - col + q]
