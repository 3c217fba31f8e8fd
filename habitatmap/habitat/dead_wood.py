"""Standing and fallen dead wood, 0-1: the value of each cell's land-cover class, and dead or hollow trees on top."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo.grid import Grid
from habitatmap.habitat.forage import LandCover, TreeValues, class_values

DEAD = ["dead", "stump", "log"]


def dead_wood(
    land_cover: LandCover | None, trees: pd.DataFrame, tree_table: TreeValues, grid: Grid
) -> NDArray[np.float32]:
    """Dead wood 0-1 (rows, cols): the class's value and the cell's trees summed, at most 1.

    A dead tree, stump or log counts 1, a living tree its likelihood of a rot-hole (nothing where that is not known).
    Where the class has no value, a tree that counts makes the cell known; all other such cells are NaN.
    """
    wood = np.full(grid.shape, np.nan, np.float32) if land_cover is None else class_values(land_cover, "dead_wood")
    row, col = grid.cell_of(trees["x"], trees["y"])
    value = np.where(trees["condition"].isin(DEAD), 1.0, np.nan_to_num(tree_table.likelihood(trees)))
    counts = grid.inside(row, col) & (value > 0)
    cells, member = np.unique(row[counts] * grid.cols + col[counts], return_inverse=True)
    added = np.zeros(len(cells))
    np.add.at(added, member, value[counts])
    flat = wood.reshape(-1)
    flat[cells] = np.minimum(np.nan_to_num(flat[cells]) + added, 1)
    return wood
