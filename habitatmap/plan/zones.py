"""Zones: around each site of a plan, the ground that would serve nearly as well."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
import scipy.ndimage
from numpy.typing import NDArray

from habitatmap.geo.masks import too_near, under
from habitatmap.plan.gain_map import correlate
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import multiply

AS_WELL = 0.9  # a zone's cells serve at least this share as well


class Zone(NamedTuple):
    """Cells around a site: `mask[0, 0]` is the cell (row0, col0)."""

    row0: int
    col0: int
    mask: NDArray[np.bool_]

    def holds(self, row: NDArray[np.int64], col: NDArray[np.int64]) -> bool:
        """Whether any of the cells lies in the zone."""
        i, j = row - self.row0, col - self.col0
        inside = (i >= 0) & (j >= 0) & (i < self.mask.shape[0]) & (j < self.mask.shape[1])
        return bool(self.mask[i[inside], j[inside]].any())


def single_cell_zones(sites: pd.DataFrame) -> list[Zone]:
    """Zones that hold nothing but their site (row, col)."""
    cells = zip(sites["row"].tolist(), sites["col"].tolist(), strict=True)
    return [Zone(row, col, np.ones((1, 1), dtype=bool)) for row, col in cells]


def find_zones(problem: Problem, sites: pd.DataFrame, least: float = AS_WELL) -> list[Zone]:
    """For each site (row, col) the allowed cells that serve at least `least` as well as it, joined to it.

    The other sites stay where they are, and the spacing to them and to `taken` holds. A zone is looked for within the
    kernel's radius (10 a).
    """
    p, shape, k = problem.probability, problem.shape, problem.today.kernel
    r, near = k.shape[0] // 2, too_near(problem.spacing_m, problem.today.cell_m)
    missed = np.pad(problem.today.missed, 2 * r)
    cells = list(zip(sites["row"].tolist(), sites["col"].tolist(), strict=True))
    taken = [] if problem.taken is None else problem.taken[["row", "col"]].to_numpy(np.int64).tolist()
    found = []
    for at, (row, col) in enumerate(cells):
        others = cells[:at] + cells[at + 1 :]
        left = missed[row : row + 4 * r + 1, col : col + 4 * r + 1].copy()
        for i, j in others:
            multiply(left, row - 2 * r, col - 2 * r, i, j, float(p[i, j]), k)
        row0, row1 = max(0, row - r), min(shape[0], row + r + 1)
        col0, col1 = max(0, col - r), min(shape[1], col + r + 1)
        added = correlate(left, k, workers=1)[row0 - row + r : row1 - row + r, col0 - col + r : col1 - col + r]
        gain = problem.candidates[row0:row1, col0:col1] * added
        own = float(p[row, col]) * float(added[row - row0, col - col0])
        gain[np.isnan(gain)] = -1.0
        for i, j in [*others, *taken]:
            around, part = under(gain, near, i - row0, j - col0)
            around[part] = -1.0
        well = gain >= least * own * (1.0 - 1e-12)
        well[row - row0, col - col0] = True
        part, _ = scipy.ndimage.label(well, structure=np.ones((3, 3)))
        found.append(Zone(row0, col0, part == part[row - row0, col - col0]))
    return found
