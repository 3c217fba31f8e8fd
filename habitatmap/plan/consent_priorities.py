"""Consent priorities: what the consent of each owner who is still to be asked adds to the plan.

A consent adds reach(given) - reach(refused): forage in reach with the plan made on that ground as well, minus the same
without it, all other ground staying as the plan takes it. Where the plan may use land that is still to ask for, it
counts on every consent already, and only owners of a suggested site can change it; where it may not, each owner's
ground is added by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.plan.gain_map import Box, GainMap, Pick, best_cells
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Cells, Floats
from habitatmap.plan.search import Selection, make_plan
from habitatmap.sentences import apart

COLUMNS = ["rank", "place", "kind", "private", "area_ha", "reach_yes", "reach_no", "adds", "sites"]
# the same of ground that was refused: `instead` is the rank of the site that the plan has in its place, 0 for none
REFUSED = [*COLUMNS, "owner", "instead"]
# so many owners are calculated one by one, those who may add most first; each takes a greedy plan
MOST_CONSENTS = 60


class Plots:
    """The cells of some polygons, each held in the box about it, blocks of so many cells wide and high."""

    def __init__(self, polygons: gpd.GeoSeries, grid: Grid, size: int = 1) -> None:
        self.boxes: list[Box] = []
        for polygon in polygons:
            if polygon is None or polygon.is_empty:
                continue
            west, south, east, north = polygon.bounds
            (row0, row1), (col0, col1) = grid.cell_of([west, east], [north, south])
            row0, col0 = max(0, int(row0)) // size * size, max(0, int(col0)) // size * size
            row1, col1 = min(grid.rows, int(row1) + 1), min(grid.cols, int(col1) + 1)
            if row0 < row1 and col0 < col1:
                left, top = grid.left + col0 * grid.cell_m, grid.top - row0 * grid.cell_m
                mask = cells_in([polygon], Grid(left, top, grid.cell_m, row1 - row0, col1 - col0))
                self.boxes.append((slice(row0, row1), slice(col0, col1), mask))

    def hold(self, row: Cells, col: Cells) -> NDArray[np.bool_]:
        """Whether each cell lies in one of the polygons."""
        out = np.zeros(len(row), dtype=bool)
        for rows, cols, mask in self.boxes:
            near = np.flatnonzero((row >= rows.start) & (row < rows.stop) & (col >= cols.start) & (col < cols.stop))
            out[near] |= mask[row[near] - rows.start, col[near] - cols.start]
        return out

    def best(self, values: Floats, size: int, most: int) -> tuple[Cells, Cells]:
        """`gain_map.best_cells` of the cells of the polygons, of the best ones of each."""
        found: list[tuple[Cells, Cells]] = [(np.empty(0, np.int64), np.empty(0, np.int64))]
        for rows, cols, mask in self.boxes:
            row, col = best_cells(np.where(mask, values[rows, cols], np.nan), size, 0.0, most)
            found.append((row + rows.start, col + cols.start))
        row, col = (np.concatenate(of) for of in zip(*found, strict=True))
        order = np.argsort(-values[row, col], kind="stable")[:most]
        return row[order], col[order]


def rank_consents(
    problem: Problem,
    selection: Selection,
    land: gpd.GeoDataFrame,
    grid: Grid,
    *,
    counted_on: bool,
    with_all: Floats,
    columns: Sequence[str] = tuple(COLUMNS),
) -> tuple[pd.DataFrame, int]:
    """`columns` for the owners whose consent adds something, the largest first; and how many were not calculated.

    `land` has name, owner, place (what to call it), kind, consent, private, geometry; polygons of one owner, else of
    one name, go together.
    `counted_on`: whether the plan `selection` may stand on land with consent "ask". `with_all` (rows, cols): the
    candidates if every owner agreed (the problem's own where they are counted on). reach_yes, reach_no and adds are
    shares of the area's forage; sites are the ranks of the suggestions on the ground, in the plan with this consent.
    """
    to_ask = np.flatnonzero(land["consent"].to_numpy() == "ask")
    nothing_chosen = selection.frame.empty and counted_on
    if nothing_chosen or not len(to_ask) or not selection.requested or not problem.today.total > 0:
        return pd.DataFrame(columns=list(columns)), 0
    groups, free = by_owner(land, to_ask), selection.frame[~selection.frame["kept"].astype(bool)]
    spots = free["row"].to_numpy(np.int64), free["col"].to_numpy(np.int64)
    if counted_on:
        at_spot = _near(land, grid, *spots)
        groups = {name: group for name, group in groups.items() if at_spot[group].any()}
    ground = {name: Plots(land.geometry.iloc[group], grid) for name, group in groups.items()}
    gains, other = GainMap(replace(problem, candidates=with_all)), replace(problem, candidates=with_all)

    def replan() -> Selection:
        plan = make_plan(other, selection.requested, exchange=False, gains=gains)
        gains.clear()
        return plan

    rows = []
    if counted_on:
        for name in (name for name in groups if ground[name].hold(*spots).any()):
            gains.shut(ground[name].boxes)
            rows.append(about_owner(land.iloc[groups[name]], name) | _adds(selection, replan(), ground[name]))
            gains.unshut(ground[name].boxes)
        return ranked(rows, columns), 0
    opened = _opened(land, ground, grid)
    may_add = _may_add(gains, selection, opened)
    asked = scratch.cellwise(
        lambda now, then: np.isnan(now) & ~np.isnan(then), problem.candidates, with_all, dtype=np.bool_
    )
    everywhere = [(band, slice(0, problem.shape[1]), asked[band]) for band in scratch.bands(problem.shape)]
    gains.shut(everywhere)
    for name in may_add[:MOST_CONSENTS]:
        theirs = [(rows_, cols, mask & asked[rows_, cols]) for rows_, cols, mask in opened[name]]
        gains.unshut(theirs)
        rows.append(about_owner(land.iloc[groups[name]], name) | _adds(replan(), selection, ground[name]))
        gains.shut(theirs)
    return ranked(rows, columns), max(0, len(may_add) - MOST_CONSENTS)


def _near(land: gpd.GeoDataFrame, grid: Grid, row: Cells, col: Cells) -> NDArray[np.bool_]:
    """Which polygons the cells may lie in: those whose bounds hold the centre of one."""
    west, south, east, north = land.bounds.to_numpy().T[:, :, None]
    x, y = grid.centre(row, col)
    return np.asarray(((west <= x) & (x <= east) & (south <= y) & (y <= north)).any(axis=1))


def _opened(land: gpd.GeoDataFrame, ground: Mapping[str, Plots], grid: Grid) -> dict[str, list[Box]]:
    """The cells that each owner's consent alone would open: those that no other owner has to agree to as well, and
    nobody refused."""
    refused = Plots(land.geometry[land["consent"] == "no"], grid).boxes
    owned = [(name, box) for name, plots in ground.items() for box in plots.boxes]
    others = [*owned, *((None, box) for box in refused)]
    outlines = [shapely.box(cols.start, rows.start, cols.stop - 0.5, rows.stop - 0.5) for _, (rows, cols, _) in others]
    near, found = shapely.STRtree(outlines), dict[str, list[Box]]({name: [] for name in ground})
    for at, (name, (rows, cols, mask)) in enumerate(owned):
        alone = mask.copy()
        for which in near.query(outlines[at]).tolist():
            whose, (rows_, cols_, theirs) = others[which]
            if whose == name and which >= at:  # of an owner's own polygons a cell counts in the first
                continue
            r0, r1 = max(rows.start, rows_.start), min(rows.stop, rows_.stop)
            c0, c1 = max(cols.start, cols_.start), min(cols.stop, cols_.stop)
            part = theirs[r0 - rows_.start : r1 - rows_.start, c0 - cols_.start : c1 - cols_.start]
            alone[r0 - rows.start : r1 - rows.start, c0 - cols.start : c1 - cols.start] &= ~part
        found[name].append((rows, cols, alone))
    return found


def ranked(rows: list[dict[str, str | float]], columns: Sequence[str] = tuple(COLUMNS)) -> pd.DataFrame:
    """The columns of the consents that add something, the largest first."""
    table = pd.DataFrame(rows, columns=list(columns))
    table["place"] = pd.Series([row["place"] for row in rows], dtype=object)  # sentences, which a column of text loses
    table = table[table["adds"] > 0].sort_values(["adds", "place"], ascending=[False, True], ignore_index=True)
    return table.assign(rank=np.arange(1, len(table) + 1))


def by_owner(land: gpd.GeoDataFrame, to_ask: NDArray[np.int64]) -> dict[str, NDArray[np.int64]]:
    """The rows of `land` that are still to ask for, by owner, else by name; each polygon without either by itself."""
    names = zip(land["owner"].astype(str), land["name"].astype(str), strict=True)
    owner = [whose or name or f"land {at + 1}" for at, (whose, name) in enumerate(names)]
    found: dict[str, list[int]] = {}
    for at in to_ask.tolist():
        found.setdefault(owner[at], []).append(at)
    return {name: np.array(rows) for name, rows in found.items()}


def _adds(yes: Selection, no: Selection, ground: Plots) -> dict[str, str | float]:
    """reach_yes, reach_no, adds and sites of an owner: the plan with and without consent on this ground."""
    sites = yes.frame.loc[ground.hold(yes.frame["row"].to_numpy(), yes.frame["col"].to_numpy()), "rank"]
    return {
        "reach_yes": yes.with_plan,
        "reach_no": no.with_plan,
        "adds": yes.with_plan - no.with_plan,
        "sites": ", ".join(str(rank) for rank in sites),
        "instead": first_of_its_own(*([*zip(one.frame["row"], one.frame["col"], strict=True)] for one in (no, yes))),
    }


def first_of_its_own(plan: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> int:
    """The rank of the first site (row, col) of a plan that another plan lacks; 0 where there is none."""
    return next((rank for rank, cell in enumerate(plan, 1) if cell not in set(other)), 0)


def about_owner(theirs: gpd.GeoDataFrame, owner: str) -> dict[str, str | float]:
    """place, kind, private and area_ha of an owner's polygons."""
    kinds = theirs["kind"].astype(str)
    return {
        "place": apart(list(dict.fromkeys(filter(None, theirs["place"])))) or owner,
        "kind": ", ".join(dict.fromkeys(filter(None, kinds))),
        "owner": owner,
        "private": "yes" if (theirs["private"] == "yes").any() else "no",
        "area_ha": float(theirs.geometry.area.sum()) / 10_000.0,
    }


def _may_add(gains: GainMap, selection: Selection, opened: Mapping[str, list[Box]]) -> list[str]:
    """Of the owners those on whose ground a pool would at some step of the plan gain more than the pick, by how much
    more. `gains`: with all ground open and no site set; so it is left.

    Where there is none, greedy never looks at the ground, and a consent adds nothing.
    """
    most = dict.fromkeys(opened, 0.0)
    columns = (selection.frame[name].tolist() for name in ("row", "col", "gain_cells"))
    steps: list[Pick | None] = [Pick(*step) for step in zip(*columns, strict=True)]
    if len(steps) < selection.requested:
        steps.append(None)
    for pick in steps:
        beat = pick.gain * (1.0 - 1e-9) if pick is not None else 0.0
        for name, boxes in opened.items():
            for rows, cols, mask in boxes:
                there = mask & (gains.cells.blocked[rows, cols] == 0)
                worth = np.where(there, gains.p[rows, cols] * gains.C[rows, cols], 0.0)
                most[name] = max(most[name], float(np.nanmax(worth, initial=0.0)) - beat)
        if pick is not None:
            gains.add(pick)
    gains.clear()
    return sorted((name for name in most if most[name] > 0), key=lambda name: (-most[name], name))
