"""Exact Euclidean distance from each cell to the nearest cell of a mask, centre to centre.

Which source is nearest comes from SciPy's exact feature transform; distances are then whole squares of cells, so no
rounding enters before the one square root.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import binary_erosion, distance_transform_edt
from scipy.spatial import cKDTree

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
        return np.sqrt(_squares(source)) * cell_m
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
    source = blocks["source"]
    inside = np.s_[halo : source.shape[0] - halo, halo : source.shape[1] - halo]
    if not source.any():
        return {"squares": np.full(source[inside].shape, -1, dtype=np.int64)}
    squares = _squares(source)[inside]
    return {"squares": np.where(squares <= halo * halo, squares, -1)}


def _squares(source: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Squared distance in cells to the nearest source, of which there is one at least."""
    row, col = distance_transform_edt(~source, return_distances=False, return_indices=True)
    i, j = np.ogrid[: source.shape[0], : source.shape[1]]
    return np.asarray((row - i) ** 2 + (col - j) ** 2)
