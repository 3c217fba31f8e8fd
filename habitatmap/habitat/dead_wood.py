"""Standing and fallen dead wood, 0-1: the value of each cell's land-cover class, and dead or hollow trees on top."""

from __future__ import annotations

import numpy as np
import pandas as pd

from habitatmap.geo import scratch
from habitatmap.geo.engine import THREADS, Engine
from habitatmap.geo.grid import Grid
from habitatmap.habitat.forage import Floats32, by_class, class_column
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
    if cover is None:
        classes, of_class = scratch.zeros(grid.shape, np.uint8), np.full(1, np.nan, np.float32)
    else:
        classes, of_class = cover.classes, class_column(cover, "dead_wood")
    wood = by_class(classes, of_class, engine)
    row, col = grid.cell_of(trees["x"], trees["y"])
    value = np.where(trees["condition"].isin(DEAD), 1.0, np.nan_to_num(tree_table.rot_hole_probability(trees)))
    counts = grid.inside(row, col) & (value > 0)
    cells, member = np.unique(row[counts] * grid.cols + col[counts], return_inverse=True)
    added = np.zeros(len(cells))
    np.add.at(added, member, value[counts])
    row, col = np.divmod(cells, grid.cols)
    ground = np.nan_to_num(of_class[scratch.picked(classes, row, col)])
    scratch.put_in(wood, row, col, np.minimum(ground + added, 1).astype(wood.dtype))
    return wood
