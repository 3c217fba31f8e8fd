"""Zones: around each site of a plan, the ground that would serve nearly as well."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
import scipy.ndimage
from numpy.typing import NDArray

from habitatmap.geo.masks import too_near, under
from habitatmap.plan.correlate import correlate_part
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Cells, Floats, multiply
from habitatmap.plan.served import Preference, Sites

AS_WELL = 0.9  # a zone's cells serve at least this share as well
FIRST_LOOK_M = 150.0  # a window for forage likely served begins with so much to each side
LATTICE_M = 30.0

Cell = tuple[int, int]


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
    missed = problem.today.missed
    cells = list(zip(sites["row"].tolist(), sites["col"].tolist(), strict=True))
    taken = [] if problem.taken is None else problem.taken[["row", "col"]].to_numpy(np.int64).tolist()
    found = []
    for at, (row, col) in enumerate(cells):
        others = cells[:at] + cells[at + 1 :]
        top, side = max(0, row - 2 * r), max(0, col - 2 * r)
        left = missed[top : row + 2 * r + 1, side : col + 2 * r + 1].copy()
        for i, j in others:
            multiply(left, top, side, i, j, float(p[i, j]), k)
        row0, row1 = max(0, row - r), min(shape[0], row + r + 1)
        col0, col1 = max(0, col - r), min(shape[1], col + r + 1)
        added = correlate_part(left, k, slice(row0 - top, row1 - top), slice(col0 - side, col1 - side))
        gain = problem.candidates[row0:row1, col0:col1] * added
        own = float(p[row, col]) * float(added[row - row0, col - col0])
        found.append(_joined(gain, (row0, col0), (row, col), least * own, near, [*others, *taken]))
    return found


def find_served_zones(
    problem: Problem, cells: pd.DataFrame, ahead: Sites, preference: Preference, least: float = AS_WELL
) -> list[Zone]:
    """For each site of `cells` (row, col) the allowed cells that are worth at least `least` as much as it for forage
    likely served, joined to it; the other sites and the spacing as in `find_zones`.

    Worth is calculated on a lattice about the site and interpolated between. The window grows for as long as the zone
    touches its edge, up to the radius of the reach weight. The patches of ground that do well or badly together are
    left out: nobody knows where their borders lie.
    """
    ahead = ahead.evenly_lucky()
    sites = list(zip(cells["row"].tolist(), cells["col"].tolist(), strict=True))
    taken = [] if problem.taken is None else problem.taken[["row", "col"]].to_numpy(np.int64).tolist()
    widest, cell_m = problem.today.kernel.shape[0] // 2, problem.today.cell_m
    near, found = too_near(problem.spacing_m, cell_m), []
    for at, site in enumerate(sites):
        others = sites[:at] + sites[at + 1 :]
        course = ahead.course(pd.DataFrame(others, columns=["row", "col"]))
        weights = preference.by_simulation(ahead, course.served, len(others))
        influence = ahead.model.influence(course, weights)
        far = max(1, round(FIRST_LOOK_M / cell_m))
        while True:
            rows, cols = (_within(of - far, of + far + 1, end) for of, end in zip(site, problem.shape, strict=True))
            lattice = [
                _lattice(part, of, max(1, round(LATTICE_M / cell_m)))
                for part, of in zip((rows, cols), site, strict=True)
            ]
            row, col = (of.ravel() for of in np.meshgrid(*lattice, indexing="ij"))
            worth = ahead.model.worth(course, influence, weights, *ahead.at(row, col))
            worth = worth.reshape(len(lattice[0]), len(lattice[1]))
            gain = _between(_between(worth, lattice[0], rows).T, lattice[1], cols).T
            own = float(gain[site[0] - rows.start, site[1] - cols.start])
            gain[np.isnan(problem.candidates[rows, cols]) | (gain <= 0)] = -1.0
            zone = _joined(gain, (rows.start, cols.start), site, least * own, near, [*others, *taken])
            if far >= widest or not _touches_edge(zone, problem.shape):
                break
            far = min(widest, 2 * far)
        found.append(zone)
    return found


def _joined(
    gain: Floats,
    corner: Cell,
    site: Cell,
    least: float,
    near: NDArray[np.bool_],
    others: Sequence[Sequence[int]],
) -> Zone:
    """The cells of a window with `gain` of `least` or more, far enough from `others` and joined to the site; `gain` is
    NaN or below 0 where no pool may stand, and is changed."""
    gain[np.isnan(gain)] = -1.0
    for i, j in others:
        around, part = under(gain, near, i - corner[0], j - corner[1])
        around[part] = -1.0
    well = gain >= least * (1.0 - 1e-12)
    well[site[0] - corner[0], site[1] - corner[1]] = True
    part, _ = scipy.ndimage.label(well, structure=np.ones((3, 3)))
    return Zone(*corner, part == part[site[0] - corner[0], site[1] - corner[1]])


def _within(first: int, end: int, size: int) -> slice:
    return slice(max(0, first), min(size, end))


def _lattice(part: slice, at: int, step: int) -> Cells:
    """Every so many rows (or columns) of a part, counted from `at`, and its first and last."""
    between = np.arange(part.start + (at - part.start) % step, part.stop, step)
    return np.unique(np.r_[part.start, between, part.stop - 1])


def _between(values: Floats, at: Cells, part: slice) -> Floats:
    """Values (n, m) at rows `at` (n,), interpolated to every row of the part."""
    rows = np.arange(part.start, part.stop)
    after = np.clip(np.searchsorted(at, rows, side="right"), 1, max(1, len(at) - 1))
    if len(at) == 1:
        return np.repeat(values, len(rows), axis=0)
    share = ((rows - at[after - 1]) / (at[after] - at[after - 1]))[:, None]
    return np.asarray(values[after - 1] * (1.0 - share) + values[after] * share)


def _touches_edge(zone: Zone, shape: tuple[int, int]) -> bool:
    """Whether the zone touches an edge of its window that is no edge of the frame."""
    rows, cols = zone.mask.shape
    edges = (
        (zone.row0 > 0, zone.mask[0]),
        (zone.row0 + rows < shape[0], zone.mask[-1]),
        (zone.col0 > 0, zone.mask[:, 0]),
        (zone.col0 + cols < shape[1], zone.mask[:, -1]),
    )
    return any(inner and bool(cells.any()) for inner, cells in edges)
