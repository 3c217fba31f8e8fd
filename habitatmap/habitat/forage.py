"""Open flowers by month: the value of each cell's land-cover class, and the crowns of flowering trees on top."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo.grid import Grid

Floats32 = NDArray[np.float32]
MONTHS = [f"forage_{month:02d}" for month in range(1, 13)]


class LandCover(Protocol):
    """Classes on the frame (0 = no data, i = row i - 1 of the table) and the class table."""

    @property
    def classes(self) -> NDArray[np.uint16]: ...
    @property
    def table(self) -> pd.DataFrame: ...


class TreeValues(Protocol):
    """What the table of tree genera knows about each tree; NaN where it knows nothing."""

    def forage(self, trees: pd.DataFrame) -> NDArray[np.float64]: ...
    def crown_m2(self, trees: pd.DataFrame) -> NDArray[np.float64]: ...
    def likelihood(self, trees: pd.DataFrame) -> NDArray[np.float64]: ...


def class_values(land_cover: LandCover, column: str) -> NDArray[np.float32]:
    """One column of the class table on the frame (rows, cols), NaN without data or where the table has no value."""
    return np.r_[np.nan, land_cover.table[column].to_numpy(dtype=float)].astype(np.float32)[land_cover.classes]


def forage_by_month(
    land_cover: LandCover | None, trees: pd.DataFrame, tree_table: TreeValues, grid: Grid
) -> NDArray[np.float32]:
    """Forage 0-1 by month, January first: (12, rows, cols), NaN where the class has no value for the month.

    A living tree adds to the cell of its trunk its crown's share of the cell times its flowers' value; a cell holds at
    most 1. A tree of unknown genus or size adds nothing. Where the class is not known a tree makes nothing known: the
    ground around its crown may be bare or in flower.
    """
    forage = np.full((12, *grid.shape), np.nan, dtype=np.float32)
    if land_cover is None:
        return forage
    for month, column in enumerate(MONTHS):
        forage[month] = class_values(land_cover, column)

    growing = trees[trees["condition"].isin(["living", ""])]
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


def season_mean(forage: NDArray[np.float32], first: int, last: int) -> NDArray[np.float32]:
    """The mean of the season's known months (rows, cols); NaN where none is known."""
    total = np.zeros(forage.shape[1:])
    known = np.zeros(forage.shape[1:], dtype=np.uint8)
    for month in season_months(first, last):
        values = forage[month - 1]
        seen = ~np.isnan(values)
        np.add(total, values, out=total, where=seen)
        known += seen
    total[known == 0] = np.nan
    return (total / np.maximum(known, 1)).astype(np.float32)


def lean_month(
    forage: NDArray[np.float32], first: int, last: int, inside: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.float32], int | None]:
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


def forage_bounds(land_cover: LandCover | None, season: NDArray[np.float32]) -> tuple[Floats32, Floats32]:
    """The season mean if every class had its low, or its high, value: (rows, cols) each, NaN as in `season`.

    The class table states the bounds of the peak month; the other months are taken to move with it. A class without
    bounds keeps its value.
    """
    if land_cover is None:
        return season, season
    peak = land_cover.table[MONTHS].max(axis=1).to_numpy(dtype=float)
    bounds = []
    for column in ("forage_low", "forage_high"):
        stated = land_cover.table[column].to_numpy(dtype=float)
        with np.errstate(divide="ignore", invalid="ignore"):
            factor = np.where(np.isnan(stated) | ~(peak > 0), 1.0, stated / peak)
        by_cell = np.r_[1.0, factor].astype(np.float32)[land_cover.classes]
        bounds.append(np.minimum(season * by_cell, np.float32(1)))
    return bounds[0], bounds[1]
