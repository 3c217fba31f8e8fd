"""The raster frame of an area: square cells in a projected CRS, lines at whole multiples of the cell.


Because every frame is anchored at the CRS origin, two frames of the same area differ by whole cells only, and moving
all inputs by whole cells changes nothing but the coordinates.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Tile(NamedTuple):
    """A rectangle of cells: rows row0..row1-1 and columns col0..col1-1."""

    row0: int
    row1: int
    col0: int
    col1: int

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self.row1 - self.row0, self.col1 - self.col0


@dataclass(frozen=True)
class Grid:
    """Rows run south from `top`, columns run east from `left`; all lengths in metres of the area's CRS."""

    left: float
    top: float
    cell_m: float
    rows: int
    cols: int

    @classmethod
    def covering(cls, west: float, south: float, east: float, north: float, cell_m: float) -> Grid:
        """The smallest anchored frame that holds the box (metres); at least one cell."""
        # a tolerance, so that a box that ends on a line (up to rounding) gains no row or column
        col0, col1 = math.floor(west / cell_m + 1e-6), math.ceil(east / cell_m - 1e-6)
        row0, row1 = math.floor(south / cell_m + 1e-6), math.ceil(north / cell_m - 1e-6)
        return cls(col0 * cell_m, row1 * cell_m, cell_m, max(1, row1 - row0), max(1, col1 - col0))

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns)."""
        return self.rows, self.cols

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(west, south, east, north) in metres."""
        return self.left, self.top - self.rows * self.cell_m, self.left + self.cols * self.cell_m, self.top

    @property
    def cell_ha(self) -> float:
        """Area of one cell in hectares."""
        return self.cell_m**2 / 10_000.0

    @property
    def transform(self) -> tuple[float, float, float, float, float, float]:
        """The six numbers a, b, c, d, e, f of an affine transform, as `affine.Affine(*transform)` takes them."""
        return self.cell_m, 0.0, self.left, 0.0, -self.cell_m, self.top

    def cell_of(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of the cell that holds each point, which may lie outside the frame (see `inside`)."""
        col = np.floor((np.asarray(x, dtype=float) - self.left) / self.cell_m)
        row = np.floor((self.top - np.asarray(y, dtype=float)) / self.cell_m)
        return row.astype(np.int64), col.astype(np.int64)

    def inside(self, row: ArrayLike, col: ArrayLike) -> NDArray[np.bool_]:
        """Whether each cell number lies in the frame."""
        r, c = np.asarray(row), np.asarray(col)
        return (r >= 0) & (r < self.rows) & (c >= 0) & (c < self.cols)

    def centre(self, row: ArrayLike, col: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """x and y (metres) of cell centres."""
        x = self.left + (np.asarray(col, dtype=float) + 0.5) * self.cell_m
        y = self.top - (np.asarray(row, dtype=float) + 0.5) * self.cell_m
        return x, y

    def tiles(self, size: int = 512) -> Iterator[Tile]:
        """The frame cut into tiles of at most size x size cells, row by row."""
        return cut(self.shape, size)


def cut(shape: tuple[int, int], size: int | tuple[int, int]) -> Iterator[Tile]:
    """Tiles of at most size x size cells (or rows x columns) over an array of this shape, row by row."""
    high, wide = size if isinstance(size, tuple) else (size, size)
    for row in range(0, shape[0], high):
        for col in range(0, shape[1], wide):
            yield Tile(row, min(row + high, shape[0]), col, min(col + wide, shape[1]))
