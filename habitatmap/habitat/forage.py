"""Open flowers by month: the value of each cell's land-cover class, and the crowns of flowering trees on top."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo.engine import THREADS, Blocks, Engine, TileStage, map_tiles
from habitatmap.geo.grid import Grid
from habitatmap.read.land_cover import LandCover
from habitatmap.read.layers import TreeTable
from habitatmap.vocabulary.terms import Condition

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
MONTHS = [f"forage_{month:02d}" for month in range(1, 13)]


def class_values(cover: LandCover, columns: list[str], engine: Engine = THREADS) -> Floats32:
    """Columns of the class table on the frame (columns, rows, cols), NaN without data or where the table has none."""
    return by_class(cover, cover.table[columns].to_numpy(dtype=float).T, np.nan, engine)


def by_class(cover: LandCover, values: Floats, no_data: float, engine: Engine = THREADS) -> Floats32:
    """Each cell's entry of `values` (bands, classes), `no_data` where its class is not known: (bands, rows, cols)."""
    table = np.column_stack([np.full(len(values), no_data), values]).astype(np.float32)
    stage = TileStage(partial(_look_up_tile, table=table), {"values": (np.float32, len(table))})
    return map_tiles(stage, {"classes": cover.classes}, engine)["values"]


def _look_up_tile(blocks: Blocks, halo: int, *, table: Floats32) -> Blocks:
    """The stage: class numbers become values; no cell asks its neighbours."""
    return {"values": table[:, blocks["classes"]]}


def forage_by_month(
    cover: LandCover | None, trees: pd.DataFrame, tree_table: TreeTable, grid: Grid, engine: Engine = THREADS
) -> Floats32:
    """Forage 0-1 by month, January first: (12, rows, cols), NaN where the class has no value for the month.

    min(1, value of the class + sum over the cell's trees of crown m2 / cell m2 x value of their flowers).
    A living tree adds to the cell of its trunk its crown's share of the cell times its flowers' value; a cell holds at
    most 1. A tree of unknown genus or size adds nothing. Where the class is not known a tree makes nothing known: the
    ground around its crown may be bare or in flower.
    """
    if cover is None:
        return np.full((12, *grid.shape), np.nan, dtype=np.float32)
    forage = class_values(cover, MONTHS, engine)
    growing = trees[trees["condition"].isin([Condition.LIVING, ""])]
    row, col = grid.cell_of(growing["x"], growing["y"])
    crowns = tree_table.crown_m2(growing)[:, None] / grid.cell_m**2 * tree_table.forage(growing)
    within = grid.inside(row, col)
    cells, member = np.unique(row[within] * grid.cols + col[within], return_inverse=True)
    added = np.zeros((len(cells), 12))
    np.add.at(added, member, np.nan_to_num(crowns[within]))
    flat = forage.reshape(12, -1)
    flat[:, cells] = np.minimum(flat[:, cells] + added.T, 1)  # NaN stays NaN
    return forage


def season_months(first: int, last: int) -> list[int]:
    """The months 1-12 from `first` to `last`, over New Year where `last` comes before `first`."""
    return [(first - 1 + i) % 12 + 1 for i in range((last - first) % 12 + 1)]


def season_mean(forage: Floats32, first: int, last: int, engine: Engine = THREADS) -> Floats32:
    """The mean of the season's known months (rows, cols) of forage (12, rows, cols); NaN where none is known."""
    stage = TileStage(partial(_season_tile, months=season_months(first, last)), {"season": (np.float32, 0)})
    return map_tiles(stage, {"forage": forage}, engine)["season"]


def _season_tile(blocks: Blocks, halo: int, *, months: list[int]) -> Blocks:
    """The stage: a sum over months in their order, cell by cell."""
    total = np.zeros(blocks["forage"].shape[1:])
    known = np.zeros(total.shape, dtype=np.uint8)
    for month in months:
        values = blocks["forage"][month - 1]
        seen = ~np.isnan(values)
        np.add(total, values, out=total, where=seen)
        known += seen
    total[known == 0] = np.nan
    return {"season": (total / np.maximum(known, 1)).astype(np.float32)}


def least_forage(
    forage: Floats32, first: int, last: int, inside: NDArray[np.bool_] | None = None
) -> tuple[Floats32, int | None]:
    """The forage of the season's poorest month, and its number 1-12 (the earlier one of a tie).

    One month for the whole area: that of the least mean over its known cells (over those `inside` where given). None,
    and all NaN, where no month is known anywhere.
    """
    means = {}
    for month in season_months(first, last):
        values = forage[month - 1] if inside is None else forage[month - 1][inside]
        seen = ~np.isnan(values)
        if seen.any():
            means[month] = float(np.mean(values, where=seen, dtype=float))
    if not means:
        return np.full(forage.shape[1:], np.nan, dtype=np.float32), None
    # rounded, so that two months of equal forage are a tie whatever the order of summing
    poorest = min(means, key=lambda month: round(means[month], 9))
    return forage[poorest - 1].copy(), poorest


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
    low, high = np.minimum(season * by_class(cover, factor, 1.0), np.float32(1))
    return low, high
