"""Standing and fallen dead wood, 0-1: the value of each cell's land-cover class, and dead or hollow trees on top."""

from __future__ import annotations

import numpy as np
import pandas as pd

from habitatmap.geo.engine import THREADS, Engine
from habitatmap.geo.grid import Grid
from habitatmap.habitat.forage import Floats32, class_values
from habitatmap.read.land_cover import LandCover
from habitatmap.read.layers import TreeTable
from habitatmap.vocabulary.terms import Condition

DEAD = [condition for condition in Condition if condition.is_dead_wood]


def dead_wood(
    cover: LandCover | None, trees: pd.DataFrame, tree_table: TreeTable, grid: Grid, engine: Engine = THREADS
) -> Floats32:
    """Dead wood 0-1 (rows, cols): the class's value and the cell's trees summed, at most 1.

    A dead tree, stump or log counts 1, a living tree its probability of a rot-hole (nothing where that is not known).
    Where the class has no value, a tree that counts makes the cell known; all other such cells are NaN.
    """
    wood = np.full(grid.shape, np.nan, np.float32) if cover is None else class_values(cover, ["dead_wood"], engine)[0]
    row, col = grid.cell_of(trees["x"], trees["y"])
    value = np.where(trees["condition"].isin(DEAD), 1.0, np.nan_to_num(tree_table.rot_hole_probability(trees)))
    counts = grid.inside(row, col) & (value > 0)
    cells, member = np.unique(row[counts] * grid.cols + col[counts], return_inverse=True)
    added = np.zeros(len(cells))
    np.add.at(added, member, value[counts])
    flat = wood.reshape(-1)
    flat[cells] = np.minimum(np.nan_to_num(flat[cells]) + added, 1)
    return wood
