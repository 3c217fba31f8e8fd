"""What lies around a suggestion, for the picture that choosing it draws.

That is the forage that it alone brings into reach, the nearest place of children, the nearest other exclusion zone and
the nearest path.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import STRtree, get_coordinates, points, shortest_line

from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.page.background import SORTS
from habitatmap.page.coding import Writer, number, texts
from habitatmap.page.pictures import FIRST, OUTSIDE, WebMap, picture
from habitatmap.plan.reach import in_turn
from habitatmap.privacy import may_be_placed
from habitatmap.result import Result

# how far from a site its picture goes at most (expert judgement: beyond, a cell gets too little to see)
DRAWN_M = 500.0
BREAKS = (0.01, 0.04, 0.1, 0.2)  # season's forage, 0-1, times added reach
COLOURS = ("", "#f7c88b", "#ec9440", "#cf5a1e", "#8f2a0f")
CHILDREN = ("playground", "school", "kindergarten")  # kinds of layers/keep_away.csv


class Brings(NamedTuple):
    """The picture of what a site brings: its address, and its bounds as [[south, west], [north, east]]."""

    url: str
    bounds: list[list[float]]


class Near(NamedTuple):
    """What is near: "children", "exclusion" or "path", its name, metres to its edge, and [lon, lat] there."""

    code: str
    name: str
    m: float | int | None
    at: list[int]


class Around(NamedTuple):
    """What lies around one suggestion; `brings` is None where there is nothing to draw."""

    brings: Brings | None
    near: list[Near]


def around_sites(result: Result, writer: Writer, public: bool) -> list[Around]:
    """For each suggestion that may be placed, in the order of the plan, what lies around it.

    A site brings what is reached by it and by nothing before it. For the `public` no private suggestion counts as
    before, and only paths are told of what is near: exclusion zones are the team's.
    """
    placed = may_be_placed(result.plan)
    counted = np.flatnonzero(placed) if public else np.arange(len(placed))
    brought = forage_brought(result, result.findings.proposal.sites.iloc[counted])
    near = iter(_near(result, result.plan[placed], writer, public))
    return [
        Around(_drawn(forage, around, i, result), next(near))
        for i, (around, forage) in zip(counted.tolist(), brought, strict=True)
        if placed[i]
    ]


def forage_brought(result: Result, sites: pd.DataFrame) -> Iterator[tuple[tuple[slice, slice], NDArray[np.float64]]]:
    """For each of the sites the forage (0-1 by cell) that it brings into reach beyond those before it, with the cells
    (rows, cols) that it lies on: those within flight."""
    found = result.findings
    weight = found.habitat.weight
    kernel = FlightKernel(result.settings.flight.forage_median_m).stamp(result.grid.cell_m, "reach")
    for step in in_turn(found.reach.not_reached, sites, kernel):
        yield step.around, np.nan_to_num(weight[step.around].astype(float)) * (step.before - step.after)


def _drawn(forage: NDArray[np.float64], around: tuple[slice, slice], i: int, result: Result) -> Brings | None:
    """Forage brought into reach, on the cells `around`, as a picture of the ground near its site."""
    grid, far = result.grid, round(DRAWN_M / result.grid.cell_m)
    row, col = (int(at) for at in result.findings.proposal.sites[["row", "col"]].iloc[i])
    row0, col0 = max(around[0].start, row - far), max(around[1].start, col - far)
    near = forage[
        row0 - around[0].start : row + far + 1 - around[0].start,
        col0 - around[1].start : col + far + 1 - around[1].start,
    ]
    if not (near >= BREAKS[0]).any():
        return None
    left, top = grid.left + col0 * grid.cell_m, grid.top - row0 * grid.cell_m
    web = WebMap.of(Grid(left, top, grid.cell_m, *near.shape), result.crs)
    classes = web.classes(near, BREAKS)
    url = picture(np.where(classes < FIRST, OUTSIDE, classes), COLOURS)
    return Brings(url, web.bounds)


def _near(result: Result, sites: pd.DataFrame, writer: Writer, public: bool) -> list[list[Near]]:
    """What is near each of the sites."""
    paths, zones = result.paths, result.keep_away
    asked = {"path": paths[[SORTS.get(kind) != "water" for kind in paths["kind"]]] if len(paths) else paths}
    if not public:
        children = zones["kind"].isin(CHILDREN)
        other = ~children & ~zones["kind"].isin(["path", "road"])  # which are told of as paths
        asked = {"children": zones[children], "exclusion": zones[other], **asked}
    found = [_nearest(code, frame, sites, writer) for code, frame in asked.items() if len(frame)]
    return [[of_code[n] for of_code in found] for n in range(len(sites))]


def _nearest(code: str, frame: gpd.GeoDataFrame, sites: pd.DataFrame, writer: Writer) -> list[Near]:
    """The nearest of some geometries to each of the sites."""
    shapes, here = frame.geometry.to_numpy(), points(sites[["x", "y"]].to_numpy(float))
    rows = frame.iloc[at := STRtree(shapes).nearest(here)]
    names = texts(rows["name"]) if "name" in rows.columns else [""] * len(rows)
    return [
        Near(code, name or kind, number(line.length), writer.point(*get_coordinates(line)[-1]))
        for name, kind, line in zip(names, texts(rows["kind"]), shortest_line(here, shapes[at]), strict=True)
    ]
