"""Exact Euclidean distance from each cell to the nearest cell of a mask, centre to centre.

Everything is done in whole squares of cells (two passes after Meijster, Roerdink & Hesselink 2000: first down the
columns, then the lower envelope of parabolas along each row), so no rounding enters before the one square root.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import binary_erosion
from scipy.spatial import cKDTree

from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import THREADS, Blocks, Engine, TileStage, map_tiles

# Rasters up to this many cells are one tile, with no cut-off at all.
ONE_TILE = 16_000_000
# In larger ones a tile sees sources within this many cells; a search tree finds the few that lie farther.
HALO_CELLS = 200


def distance_to(mask: ArrayLike, cell_m: float, engine: Engine = THREADS) -> NDArray[np.float64]:
    """Metres from each cell's centre to the centre of the nearest cell where `mask` (rows, cols) is true; 0 on it.

    Float64, exact to the last digit of sqrt(whole number) * cell_m. All NaN where the mask is nowhere true.
    ValueError unless `mask` is rows x columns.
    """
    source = np.asarray(mask, dtype=bool)
    if source.ndim != 2:
        raise ValueError(f"mask has {source.ndim} dimensions; expected rows x columns")
    if not source.any():
        return np.full(source.shape, np.nan)
    if engine.tile_cells is None and source.size <= ONE_TILE:
        return np.sqrt(_squares(source, 0)) * cell_m
    stage = TileStage(_squares_tile, {"squares": (np.int64, 0)}, HALO_CELLS, tile_cells=1024)
    squares = map_tiles(stage, {"source": source}, engine)["squares"]
    far = squares < 0
    if far.any():
        # the nearest source of a cell outside is always on a rim, and rims are short
        rim = np.argwhere(source & ~binary_erosion(source))
        rows_cols = np.argwhere(far)
        nearest = rim[cKDTree(rim).query(rows_cols)[1]]
        squares[far] = ((nearest - rows_cols) ** 2).sum(axis=1)
    return np.sqrt(squares) * cell_m


def _squares_tile(blocks: Blocks, halo: int) -> Blocks:
    """The stage: squared distances in cells, -1 where no source lies within the halo."""
    return {"squares": _squares(blocks["source"], halo)}


@njit(nogil=True)
def _squares(source: NDArray[np.bool_], halo: int) -> NDArray[np.int64]:
    """Squared distance in cells of the block without its halo; -1 beyond `halo` cells (no halo: no cut-off)."""
    rows, cols = source.shape
    far = rows + cols
    down = np.full((rows, cols), far, dtype=np.int32)  # to the nearest source in the same column
    for i in range(rows):
        for j in range(cols):
            if source[i, j]:
                down[i, j] = 0
            elif i > 0 and down[i - 1, j] < far:
                down[i, j] = down[i - 1, j] + 1
    for i in range(rows - 2, -1, -1):
        for j in range(cols):
            down[i, j] = min(down[i, j], down[i + 1, j] + 1)

    out = np.full((rows - 2 * halo, cols - 2 * halo), -1, dtype=np.int64)
    column = np.empty(cols, dtype=np.int64)  # columns whose parabola is lowest somewhere, from left to right
    start = np.empty(cols, dtype=np.int64)  # the first cell where it is
    for i in range(halo, rows - halo):
        top = -1
        for j in range(cols):
            g = np.int64(down[i, j])
            if g >= far or (halo > 0 and g > halo):
                continue
            first = np.int64(0)
            while top >= 0:
                k = column[top]
                h = np.int64(down[i, k])
                # from this cell on the new parabola lies below that of column k
                first = (j * j - k * k + g * g - h * h) // (2 * (j - k)) + 1
                if first > start[top]:
                    break
                top -= 1
                first = np.int64(0)
            if first < cols:
                top += 1
                column[top] = j
                start[top] = first if first > 0 else 0
        if top < 0:
            continue
        for j in range(cols - halo - 1, halo - 1, -1):
            while start[top] > j:
                top -= 1
            k = column[top]
            square = (j - k) * (j - k) + np.int64(down[i, k]) ** 2
            if halo == 0 or square <= halo * halo:
                out[i - halo, j - halo] = square
    return out
