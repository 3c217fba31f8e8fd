"""Open flowers by month: the value of each cell's land-cover class, and the crowns of flowering trees on top."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import DTypeLike, NDArray

from habitatmap.geo import scratch
from habitatmap.geo.engine import THREADS, Blocks, Engine, TileStage, map_tiles
from habitatmap.geo.grid import Grid
from habitatmap.read.land_cover import LandCover
from habitatmap.read.layers import TreeTable
from habitatmap.vocabulary.terms import Condition

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Classes = NDArray[np.unsignedinteger]
Key = int | slice | tuple[int | slice | NDArray[np.int64], ...]
Number = TypeVar("Number", bound=np.generic)
MONTHS = [f"forage_{month:02d}" for month in range(1, 13)]


@dataclass(frozen=True)
class MonthlyForage:
    """Forage 0-1 by month, January first, NaN where the class has no value for the month: an array (12, rows, cols)
    that nobody holds. What is asked of it is worked out from the classes' values and those of the cells with crowns.
    """

    classes: Classes
    """(rows, cols): which of `by_class` a cell has."""
    by_class: Floats32
    """(12, 1 + classes); the first is no class."""
    cells: NDArray[np.int64]
    """The cells that crowns stand on, in order: row x columns + column."""
    by_cell: Floats32
    """(12, cells)"""

    @classmethod
    def of(cls, values: Floats32) -> MonthlyForage:
        """Forage whose cells each have a class of their own, from an array (12, rows, cols)."""
        classes = np.arange(values[0].size, dtype=np.uint32).reshape(values.shape[1:])
        return cls(classes, values.reshape(12, -1), np.empty(0, np.int64), np.empty((12, 0), np.float32))

    @property
    def shape(self) -> tuple[int, int, int]:
        """(12, rows, cols)."""
        return 12, self.classes.shape[0], self.classes.shape[1]

    @property
    def dtype(self) -> np.dtype[np.float32]:
        """float32."""
        return self.by_class.dtype

    def everywhere(
        self, of: Callable[[Floats32], NDArray[np.generic]], dtype: type[Number], engine: Engine = THREADS
    ) -> NDArray[Number]:
        """A raster (rows, cols) of `of`, which makes of twelve months (12, n) a value for each of n cells."""
        out = by_class(self.classes, np.asarray(of(self.by_class), dtype=dtype), engine)
        scratch.put_in(out, *np.divmod(self.cells, self.shape[2]), np.asarray(of(self.by_cell), dtype=dtype))
        return out

    def __getitem__(self, key: Key) -> Floats32:
        """As of an array: `forage[6]`, `forage[:, rows, cols]` with slices of rows and columns."""
        month, rows, cols = (*(key if isinstance(key, tuple) else (key,)), slice(None), slice(None))[:3]
        if not (isinstance(rows, slice) and isinstance(cols, slice)):
            return self[:][key]
        out = self.by_class[month][..., self.classes[rows, cols]]
        (r0, r1, step), (c0, c1, across) = rows.indices(self.shape[1]), cols.indices(self.shape[2])
        if step != 1 or across != 1:
            return self[:][key]
        first, end = np.searchsorted(self.cells, [r0 * self.shape[2], r1 * self.shape[2]])
        row, col = np.divmod(self.cells[first:end], self.shape[2])
        here = (col >= c0) & (col < c1)
        out[..., row[here] - r0, col[here] - c0] = self.by_cell[month][..., first:end][..., here]
        return out

    def __array__(self, dtype: DTypeLike | None = None, copy: bool | None = None) -> NDArray[np.floating]:
        return np.asarray(self[:], dtype=dtype)

    def means(self, inside: NDArray[np.bool_] | None = None) -> Floats:
        """The mean of each month (12,) over its known cells, of those `inside` (rows, cols) where given; NaN: none."""

        def counted(classes: Classes, *within: NDArray[np.bool_]) -> NDArray[np.int64]:
            return np.bincount((classes[within[0]] if within else classes).ravel(), minlength=self.by_class.shape[1])

        rasters = [self.classes] if inside is None else [self.classes, inside]
        cells, of_cells = self.cells, self.by_cell
        if inside is not None:
            here = scratch.picked(inside, *np.divmod(cells, self.shape[2]))
            cells, of_cells = cells[here], of_cells[:, here]
        under = scratch.picked(self.classes, *np.divmod(cells, self.shape[2]))
        of_class = scratch.total(counted, *rasters) - np.bincount(under, minlength=self.by_class.shape[1])
        known = (~np.isnan(self.by_class)) @ of_class + (~np.isnan(of_cells)).sum(axis=1)
        total = np.nan_to_num(self.by_class).astype(float) @ of_class + np.nansum(of_cells, axis=1, dtype=float)
        means = np.full(12, np.nan)
        return np.asarray(np.divide(total, known, out=means, where=known > 0))


def by_class(classes: Classes, values: NDArray[Number], engine: Engine = THREADS) -> NDArray[Number]:
    """Each cell's entry of `values` (1 + classes; the first is no class): (rows, cols) of the same type."""
    stage = TileStage(partial(_look_up_tile, table=values), {"values": (values.dtype, 0)})
    return map_tiles(stage, {"classes": classes}, engine)["values"]


def class_column(cover: LandCover, column: str) -> Floats32:
    """A column of the class table for `by_class`, NaN without class or value."""
    return np.append(np.nan, cover.table[column].to_numpy(dtype=float)).astype(np.float32)


def _look_up_tile(blocks: Blocks, halo: int, *, table: NDArray[np.generic]) -> Blocks:
    """The stage: class numbers become values; no cell asks its neighbours."""
    return {"values": table[blocks["classes"]]}


def forage_by_month(cover: LandCover | None, trees: pd.DataFrame, tree_table: TreeTable, grid: Grid) -> MonthlyForage:
    """Forage 0-1 by month, January first: (12, rows, cols), NaN where the class has no value for the month.

    min(1, value of the class + sum over the cell's trees of crown m2 / cell m2 x value of their flowers).
    A living tree adds to the cell of its trunk its crown's share of the cell times its flowers' value; a cell holds at
    most 1. A tree of unknown genus or size adds nothing. Where the class is not known a tree makes nothing known: the
    ground around its crown may be bare or in flower.
    """
    if cover is None:
        nothing = np.full((12, 1), np.nan, dtype=np.float32)
        return MonthlyForage(scratch.zeros(grid.shape, np.uint8), nothing, np.empty(0, np.int64), nothing[:, :0])
    by_class = np.stack([class_column(cover, month) for month in MONTHS])
    growing = trees[trees["condition"].isin([Condition.LIVING, ""])]
    row, col = grid.cell_of(growing["x"], growing["y"])
    crowns = tree_table.crown_m2(growing)[:, None] / grid.cell_m**2 * tree_table.forage(growing)
    within = grid.inside(row, col)
    cells, member = np.unique(row[within] * grid.cols + col[within], return_inverse=True)
    added = np.zeros((len(cells), 12))
    np.add.at(added, member, np.nan_to_num(crowns[within]))
    ground = by_class[:, scratch.picked(cover.classes, *np.divmod(cells, grid.cols))]
    return MonthlyForage(cover.classes, by_class, cells, np.minimum(ground + added.T, 1).astype(np.float32))


def season_months(first: int, last: int) -> list[int]:
    """The months 1-12 from `first` to `last`, over New Year where `last` comes before `first`."""
    return [(first - 1 + i) % 12 + 1 for i in range((last - first) % 12 + 1)]


def season_mean(forage: MonthlyForage, first: int, last: int, engine: Engine = THREADS) -> Floats32:
    """The mean of the season's known months (rows, cols); NaN where none is known."""
    mean = partial(mean_of_months, months=season_months(first, last))
    return np.asarray(forage.everywhere(mean, np.float32, engine))


def mean_of_months(forage: Floats32, months: list[int]) -> Floats32:
    """The mean (n,) of the known ones of some months (1-12) of forage (12, n): a sum over months in their order."""
    total = np.zeros(forage.shape[1:])
    known = np.zeros(total.shape, dtype=np.uint8)
    for month in months:
        values = forage[month - 1]
        seen = ~np.isnan(values)
        np.add(total, values, out=total, where=seen)
        known += seen
    total[known == 0] = np.nan
    return np.asarray(total / np.maximum(known, 1), dtype=np.float32)


def least_forage(
    forage: MonthlyForage, first: int, last: int, inside: NDArray[np.bool_] | None = None
) -> tuple[Floats32, int | None]:
    """The forage of the season's poorest month, and its number 1-12 (the earlier one of a tie).

    One month for the whole area: that of the least mean over its known cells (over those `inside` where given). None,
    and all NaN, where no month is known anywhere.
    """
    # rounded, so that two months of equal forage are a tie whatever the order of summing
    every = forage.means(inside)
    means = {month: round(float(every[month - 1]), 9) for month in season_months(first, last)}
    known = [month for month, mean in means.items() if not np.isnan(mean)]
    if not known:
        return scratch.full(forage.shape[1:], np.nan, np.float32), None
    poorest = min(known, key=lambda month: means[month])
    return forage.everywhere(lambda months: months[poorest - 1], np.float32), poorest


def forage_bounds(cover: LandCover | None, season: Floats32) -> tuple[Floats32, Floats32]:
    """The season mean if every class had its low, or its high, value: (rows, cols) each, NaN as in `season`.

    min(1, season x stated bound / peak month): the class table states the bounds of the peak month, and the other
    months are taken to move with it. A class without bounds keeps its value.
    """
    if cover is None:
        return season, season
    peak = cover.table[MONTHS].max(axis=1).to_numpy(dtype=float)
    stated = cover.table[["forage_low", "forage_high"]].to_numpy(dtype=float).T
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(np.isnan(stated) | ~(peak > 0), 1.0, stated / peak)
    low, high = (np.append(1.0, of_class).astype(np.float32) for of_class in factor)

    def at_most_1(table: Floats32) -> Floats32:
        bounded = partial(_bounded, table=table)
        return scratch.cellwise(bounded, season, cover.classes, dtype=np.float32)

    return at_most_1(low), at_most_1(high)


def _bounded(season: Floats32, classes: Classes, table: Floats32) -> Floats32:
    return np.asarray(np.minimum(season * table[classes], np.float32(1)))
