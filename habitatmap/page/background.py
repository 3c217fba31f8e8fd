"""What lies under the marks of a page: pictures of the rasters, water and buildings, lines, names and the boundary."""

from __future__ import annotations

from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import get_coordinates, length, remove_repeated_points, simplify

from habitatmap.geo import scratch
from habitatmap.page.coding import Writer, texts
from habitatmap.page.months import month_blocks
from habitatmap.page.names import names
from habitatmap.page.pictures import (
    FIRST,
    OUTSIDE,
    UNKNOWN,
    WebMap,
    picture,
)
from habitatmap.privacy import TEAM_RASTERS
from habitatmap.read.land_cover import LandCover
from habitatmap.result import Result
from habitatmap.vocabulary import themes

MOST_VERTICES = 60_000  # of background lines: more would be megabytes that no screen shows
LEAST_SEEN = 0.8  # of a cell's surroundings; where less of them is known its forage access is less certain
INK = themes.INK

WATERWAYS = {"river", "stream", "canal", "ditch", "drain", "brook", "water", "waterway"}
WAYS_ON_FOOT = {"footway", "path", "track", "bridleway", "steps", "cycleway", "pedestrian", "foot"}
MAIN_ROADS = {"motorway", "trunk", "primary", "secondary", "tertiary"}
# how a path is drawn, by its kind; any other is a "road"
SORTS = {
    **dict.fromkeys(sorted(WATERWAYS), "water"),
    **dict.fromkeys(sorted(WAYS_ON_FOOT), "foot"),
    **dict.fromkeys(sorted(MAIN_ROADS | {f"{kind}_link" for kind in MAIN_ROADS}), "main"),
}


def background_blocks(result: Result, writer: Writer, web: WebMap, public: bool) -> dict[str, Any]:
    """The blocks `themes`, `ground`, `lines`, `edge`, `names`, `boundary` and those of `month_blocks`."""
    year, tolerance, boundary = month_blocks(result, web), result.grid.cell_m / 2, result.boundary
    land = result.places[:0] if public else result.places
    return {
        "themes": {
            "bounds": web.bounds,
            "unknown": themes.UNKNOWN_COLOUR,
            "pictures": _pictures(result, web, public, by_month=bool(year)),
        },
        "ground": _ground_picture(result.land_cover, web),
        "lines": _lines(result.paths, writer, tolerance),
        "edge": _edge_picture(result, web),
        "names": names(result.paths, land, SORTS, writer),
        **year,
        "boundary": writer.polygon(None if boundary is None else simplify(boundary, tolerance)),
    }


# --- pictures of rasters ----------------------------------------------------------------------------------------------


def _pictures(result: Result, web: WebMap, public: bool, by_month: bool) -> list[dict[str, Any]]:
    """The pictures a reader can switch between, in the order of the list."""
    pictures = [] if result.land_cover is None else [_cover_picture(result.land_cover, web)]
    for theme in themes.THEMES:
        values = _raster(result, theme.name)
        shown = values is not None and is_known(values) and not (public and theme.name in TEAM_RASTERS)
        look = {"breaks": list(theme.breaks), "colours": list(theme.colours), "chance": theme.chance}
        if values is not None and shown:
            classes = web.classes(values, theme.breaks)
            pictures.append(
                {
                    "name": theme.name,
                    **look,
                    "month": (result.figures.forage.lean_month or 0) if theme.name == "forage_lean" else 0,
                    "unknown": bool((classes == UNKNOWN).any()),
                    "url": picture(classes, theme.colours),
                }
            )
        if theme.name == "forage_season" and by_month:
            pictures.append({"name": "forage_month", **look, "month": 0, "unknown": True})
    return pictures


def is_known(values: NDArray[np.floating]) -> bool:
    """Whether any cell has a value."""
    return any(np.isfinite(values[band]).any() for band in scratch.bands(values.shape))


def _raster(result: Result, name: str) -> NDArray[np.float32] | None:
    """A raster of the result by name, or the one the page derives itself."""
    if name != "reach_added":
        return result.rasters.get(name)
    now, then = result.rasters.get("reach_now"), result.rasters.get("reach_with_plan")
    if now is None or then is None or not len(result.plan):
        return None
    return scratch.cellwise(np.subtract, then, now, dtype=np.float32)


# --- land cover -------------------------------------------------------------------------------------------------------


class CoverClasses(NamedTuple):
    """Land cover in few classes. number: by value of `LandCover.classes` (UNKNOWN for no data, else from FIRST on);
    labels, colours: by number less FIRST; the label "" is "the others".
    """

    number: NDArray[np.uint8]
    labels: list[str]
    colours: list[str]


def cover_classes(cover: LandCover) -> CoverClasses:
    """Land cover in at most MOST_CLASSES classes: the commonest, the others together."""
    table = cover.table.reset_index(drop=True)
    ground = _ground_of(table)
    cells = cover.cells[1:]
    forage = table[[f"forage_{month:02d}" for month in range(1, 13)]].mean(axis=1)
    ordered = table.assign(
        n=cells, built=[("", "water", "building").index(g) for g in ground], worth=table["dead_wood"].fillna(0) + forage
    )
    present = ordered[ordered["n"] > 0]
    others = len(present) > themes.MOST_CLASSES
    kept = present.nlargest(themes.MOST_CLASSES - others, "n")
    kept = kept.sort_values(["built", "worth", "n"], ascending=[True, False, False], kind="stable")
    plain = iter(themes.COVER)
    special = {1: themes.WATER_COLOUR, 2: themes.BUILDING_COLOUR}
    colours = [special.get(built) or next(plain, themes.COVER_OTHER) for built in kept["built"]]
    number = np.full(len(table) + 1, FIRST + len(kept), dtype=np.uint8)
    number[0] = UNKNOWN
    number[kept.index.to_numpy() + 1] = FIRST + np.arange(len(kept))
    labels = texts(kept["label"])
    return (
        CoverClasses(number, [*labels, ""], [*colours, themes.COVER_OTHER])
        if others
        else CoverClasses(number, labels, colours)
    )


def _cover_picture(cover: LandCover, web: WebMap) -> dict[str, Any]:
    """Land cover as a picture with its key."""
    number, labels, colours = cover_classes(cover)
    classes = web.numbers(number[web.thinned(cover.classes)])
    return {
        "name": "land_cover",
        "labels": labels,
        "colours": colours,
        "unknown": bool((classes == UNKNOWN).any()),
        "url": picture(classes, colours),
    }


def _ground_of(table: pd.DataFrame) -> list[str]:
    """ "water", "building" or "" by class."""
    return [g if g in ("water", "building") else "" for g in table.get("ground", [""] * len(table))]


def _ground_picture(cover: LandCover | None, web: WebMap) -> dict[str, Any]:
    """Water and buildings, laid over every theme so that the map reads as a map."""
    if cover is None:
        return {}
    colour = {"water": themes.WATER_COLOUR, "building": themes.BUILDING_COLOUR}
    number_of = {"": UNKNOWN, **{ground: FIRST + i for i, ground in enumerate(colour)}}
    of_class = np.array([number_of[ground] for ground in ["", *_ground_of(cover.table)]], dtype=np.uint8)
    number = of_class[web.thinned(cover.classes)]
    if not (number > UNKNOWN).any():
        return {}
    seen = {ground: [colour[ground]] if (number == number_of[ground]).any() else [] for ground in colour}
    return {"bounds": web.bounds, "url": picture(web.numbers(number), list(colour.values()), unknown=""), **seen}


def _edge_picture(result: Result, web: WebMap) -> dict[str, Any]:
    """Dots over the ground whose forage access rests on less than LEAST_SEEN of its surroundings."""
    habitat = result.findings.habitat
    season, share = web.thinned(habitat.season), web.thinned(habitat.access_share)
    unsure: NDArray[np.bool_] = np.isfinite(season) & (share < LEAST_SEEN)
    here = web.numbers(unsure)
    if not here.any():
        return {}
    row, col = np.ogrid[: here.shape[0], : here.shape[1]]
    dots = here & ((row + col) % 4 == 0) & (row % 2 == 0)
    return {"bounds": web.bounds, "url": picture(np.where(dots, np.uint8(FIRST), np.uint8(OUTSIDE)), [INK])}


# --- lines ------------------------------------------------------------------------------------------------------------


def _lines(paths: gpd.GeoDataFrame, writer: Writer, tolerance: float) -> dict[str, list[list[int]]]:
    """Background lines by sort, simplified until they are few enough."""
    drawn: dict[str, list[list[int]]] = {"water": [], "foot": [], "road": [], "main": []}
    if not len(paths):
        return drawn
    shapes = simplify(paths.geometry.to_numpy(), tolerance)
    while (excess := len(get_coordinates(shapes)) / MOST_VERTICES) > 1:
        tolerance *= 2
        shapes = simplify(shapes, tolerance)
        if tolerance > 64 * 5:  # straight lines only, still too many: the longest of them
            long = length(shapes)
            shapes = np.where(long >= np.quantile(long, 1 - 1 / excess), shapes, None)
            break
    for kind, lines in zip(paths["kind"], writer.lines(remove_repeated_points(shapes)), strict=True):
        drawn[SORTS.get(kind, "road")] += lines
    return drawn
