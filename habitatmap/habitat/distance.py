"""Exact Euclidean distance from each cell to the nearest cell of a mask, centre to centre.

Everything is done in whole squares of cells (two passes after Meijster, Roerdink & Hesselink 2000: first down the
columns, then the lower envelope of parabolas along each row), so no rounding enters before the one square root.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import THREADS, Blocks, Engine, TileStage, map_tiles

STRIP_CELLS = 1_000_000  # cells of the strips that are looked through: whole columns first, then whole rows
NARROWEST = 512  # columns of a strip at least: fewer would touch the pages of the whole raster for each
NONE = 2**30  # no source in the column


def distance_to(mask: ArrayLike, cell_m: float, engine: Engine = THREADS) -> NDArray[np.float64]:
    """Metres from each cell's centre to the centre of the nearest cell where `mask` (rows, cols) is true; 0 on it.

    Float64, exact to the last digit of sqrt(whole number) * cell_m. All NaN where the mask is nowhere true.
    ValueError unless `mask` is rows x columns.
    """
    source = np.asarray(mask, dtype=bool)
    if source.ndim != 2:
        raise ValueError(f"mask has {source.ndim} dimensions; expected rows x columns")
    rows, cols = source.shape
    wide, high = max(NARROWEST, STRIP_CELLS // max(1, rows)), max(1, STRIP_CELLS // max(1, cols))
    strips = (rows, engine.tile_cells or wide), (engine.tile_cells or high, cols)
    columns = TileStage(_down_tile, {"down": (np.int32, 0)}, tile_cells=strips[0])
    lines = TileStage(partial(_metres_tile, cell_m=cell_m), {"metres": (np.float64, 0)}, tile_cells=strips[1])
    return map_tiles(lines, map_tiles(columns, {"source": source}, engine), engine)["metres"]


def _down_tile(blocks: Blocks, halo: int) -> Blocks:
    """The first stage, on whole columns: cells to the nearest source of the same column."""
    return {"down": _down(blocks["source"])}


def _metres_tile(blocks: Blocks, halo: int, *, cell_m: float) -> Blocks:
    """The second stage, on whole rows: metres to the nearest source."""
    return {"metres": _metres(blocks["down"], cell_m)}


@njit(nogil=True)
def _down(source: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Cells to the nearest source in the same column, NONE without one."""
    rows, cols = source.shape
    down = np.full((rows, cols), NONE, dtype=np.int32)
    for i in range(rows):
        for j in range(cols):
            if source[i, j]:
                down[i, j] = 0
            elif i > 0 and down[i - 1, j] < NONE:
                down[i, j] = down[i - 1, j] + 1
    for i in range(rows - 2, -1, -1):
        for j in range(cols):
            down[i, j] = min(down[i, j], down[i + 1, j] + 1)
    return down


@njit(nogil=True)
def _metres(down: NDArray[np.int32], cell_m: float) -> NDArray[np.float64]:
    """Metres to the nearest source from `_down` of whole rows; NaN where there is none."""
    rows, cols = down.shape
    out = np.full((rows, cols), np.nan)
    column = np.empty(cols, dtype=np.int64)  # columns whose parabola is lowest somewhere, from left to right
    start = np.empty(cols, dtype=np.int64)  # the first cell where it is
    for i in range(rows):
        top = -1
        for j in range(cols):
            g = np.int64(down[i, j])
            if g >= NONE:
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
        for j in range(cols - 1, -1, -1):
            while start[top] > j:
                top -= 1
            k = column[top]
            out[i, j] = math.sqrt((j - k) * (j - k) + np.int64(down[i, k]) ** 2) * cell_m
    return out
