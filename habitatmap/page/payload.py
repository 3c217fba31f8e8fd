"""A Result as the data of a page: small, finite, in a fixed order, and safe to show.

`result` is a `habitatmap.run.Result` everywhere (not imported: run stands below show). Places become whole numbers of
1e-5 degree (about a metre), each stored as its difference from the one before.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from shapely import STRtree, get_coordinates, get_parts, intersection, length, remove_repeated_points, simplify
from shapely.geometry.base import BaseGeometry

from habitatmap.geo.grid import Grid
from habitatmap.page import themes
from habitatmap.page.document import shown
from habitatmap.page.months import month_blocks
from habitatmap.page.names import names
from habitatmap.page.pictures import (
    FIRST,
    OUTSIDE,
    UNKNOWN,
    UNKNOWN_COLOUR,
    classes_of,
    on_the_map,
    picture,
    resampling,
    warp,
    web_frame,
)
from habitatmap.page.tornado import tornado_svg, tornado_words
from habitatmap.plan.candidates import ExclusionZone, Reason
from habitatmap.privacy import FEWEST_PRIVATE, TEAM_RASTERS, counts_by_square, square_around
from habitatmap.result import Figures, Result
from habitatmap.words.cautions import general_cautions
from habitatmap.words.gaps import gap_cause
from habitatmap.words.headline import missing_sentences
from habitatmap.words.plan import notes_of
from habitatmap.words.tables import told_plan

PER_DEGREE = 100_000
MOST_VERTICES = 60_000  # of background lines: more would be megabytes that no screen shows
MOST_STREETS = 5  # named with a gap
MOST_REASONS = 40  # lines of what was set aside; set_aside.csv has them all
INK = "#20292b"


class Writer:
    """Turns coordinates of the area's CRS into the page's whole numbers."""

    def __init__(self, crs: CRS) -> None:
        self._to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)

    def whole(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Longitudes and latitudes in 1e-5 degree."""
        lon, lat = self._to_degrees.transform(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        return np.rint(lon * PER_DEGREE).astype(np.int64), np.rint(lat * PER_DEGREE).astype(np.int64)

    def point(self, x: float, y: float) -> list[int]:
        """[lon, lat] of one place."""
        lon, lat = self.whole([x], [y])
        return [int(lon[0]), int(lat[0])]

    def points(self, x: ArrayLike, y: ArrayLike) -> dict[str, list[int]]:
        """Two delta-coded columns."""
        lon, lat = self.whole(x, y)
        return {"x": np.diff(lon, prepend=0).tolist(), "y": np.diff(lat, prepend=0).tolist()}

    def path(self, line: BaseGeometry) -> list[int]:
        """One line or ring as x0, y0, dx1, dy1, ..."""
        xy = get_coordinates(line)
        lon, lat = self.whole(xy[:, 0], xy[:, 1])
        return np.column_stack([np.diff(lon, prepend=0), np.diff(lat, prepend=0)]).ravel().tolist()

    def polygon(self, shape: BaseGeometry | None) -> list[list[list[int]]]:
        """The polygons of a geometry, each a list of rings, shell first; other parts are left out."""
        return [
            [self.path(ring) for ring in (part.exterior, *part.interiors)]
            for part in _parts(shape)
            if part.geom_type == "Polygon"
        ]

    def inside(self, shape: BaseGeometry) -> list[int]:
        """[lon, lat] of a point well inside a polygon, for its number."""
        middle = shape.representative_point()
        return self.point(middle.x, middle.y)

    def lines(self, shape: BaseGeometry | None) -> list[list[int]]:
        """The lines of a geometry."""
        return [self.path(part) for part in _parts(shape) if part.geom_type == "LineString"]


def team_blocks(result: Result) -> dict[str, Any]:
    """Data of the team's page by block name."""
    writer = Writer(result.crs)
    return {
        "facts": _facts(result, public=False),
        "plan": _plan(result, writer),
        "gaps": _gaps(result, writer),
        "pools": _pools(result, writer),
        "land": _land(result, writer),
        "links": _links(result, writer),
        "trees": _trees(result, writer),
        "keep-away": _keep_away(result, writer),
        **_background(result, writer, public=False),
    }


def public_blocks(result: Result, public: Result) -> dict[str, Any]:
    """Data of the public page by block name. Everything but the title comes from the blurred `public`."""
    writer = Writer(public.crs)
    facts = _facts(public, public=True)
    facts["title"] = shown(result.title)
    return {
        "facts": facts,
        "plan": _plan_for_everyone(public, writer),
        "gaps": _gaps(public, writer),
        "cells": _blur_cells(public, writer),
        **_background(public, writer, public=True),
    }


# ---------------------------------------------------------------------------------------------------------- figures


def _facts(result: Result, public: bool) -> dict[str, Any]:
    """The figures of a run, and the sentences that the page says of it."""
    figures, settings = result.figures, result.settings
    facts = {
        "public": public,
        "title": shown(result.title),
        "as_of": figures.as_of.isoformat(),
        "crs": shown(figures.crs),
        "blur_m": _number(settings.public.blur_m),
        "fewest": FEWEST_PRIVATE,
        "flight": [_number(settings.flight.forage_median_m), _number(settings.flight.dispersal_median_m)],
        "bounds": web_frame(result.grid, result.crs).bounds,
        "reach": {key: _number(value) for key, value in asdict(figures.forage_in_reach).items()},
        "plan_pools": figures.plan.pools,
        "share_of_bound": _number(figures.plan.share_of_bound),
        "cautions": _texts(general_cautions(settings)),
        "credits": _texts(result.credits),
    }
    if public:
        return facts
    occupancy, candidates, aside = figures.occupancy, figures.candidates, result.set_aside
    counts = aside.groupby(["file", "reason"], sort=True).size().reset_index(name="n")
    sensitivity = result.sensitivity.to_dict("records")
    picture = base64.b64encode(tornado_svg(sensitivity).encode()).decode()
    return facts | {
        "assumptions": {"picture": picture, "words": tornado_words(sensitivity)} if picture else None,
        "ask_first": [
            {"place": shown(row["place"]), "adds": _number(row["adds"])}
            for row in result.ask_first.head(MOST_REASONS).to_dict("records")
        ],
        "missing": _texts(missing_sentences(figures)),
        "notes": _texts(notes_of(figures)),
        "intake": [
            [kind, counted.read, counted.accepted, counted.set_aside] for kind, counted in figures.intake.items()
        ],
        "set_aside": [
            [shown(row["file"]), shown(row["reason"]), int(row["n"])]
            for row in counts.sort_values("n", ascending=False, kind="stable").head(MOST_REASONS).to_dict("records")
        ],
        "occupancy": {
            key: _number(occupancy.get(key)) for key in ("pools_visited", "naive", "estimate", "low", "high")
        },
        "candidates": {
            "all": candidates.all,
            "left": candidates.left,
            "lost": [[lost_reason(reason), n] for reason, n in result.findings.candidates.lost.items() if n],
        },
        "network": {key: _number(value) for key, value in asdict(figures.network).items()},
        "costliest": _costliest(figures, Writer(result.crs)),
    }


def lost_reason(reason: Reason) -> str | dict[str, str]:
    """Why no pool may stand somewhere, as the page's script takes it: the kind of an exclusion zone by itself."""
    return {"kind": shown(reason.kind)} if isinstance(reason, ExclusionZone) else str(reason)


def _costliest(figures: Figures, writer: Writer) -> dict[str, Any] | None:
    """The breeding place whose loss would cost the network most, None where there is no network."""
    loss = figures.network.costliest_loss
    if loss is None:
        return None
    return {
        "name": shown(loss.place),
        "share": _number(loss.loss_percent / 100),
        "cuts": loss.cuts_the_network,
        "at": writer.point(loss.x, loss.y),
    }


# ------------------------------------------------------------------------------------------------------- the lists

PLAN_NUMBERS = (
    "gain cumulative forage_m dead_wood_m nearest_pool_m occupancy_expected occupancy_low occupancy_high robustness"
).split()


def _plan(result: Result, writer: Writer) -> list[dict[str, Any]]:
    """The rows of plan.csv with their zones; on private land without a point."""
    rows, told = [], told_plan(result.plan, result.settings).to_dict("records")
    for row, ground in zip(told, result.zones.geometry, strict=True):
        private = row["private"] == "yes"
        rows.append(
            {
                "rank": int(row["rank"]),
                "private": private,
                "at": None if private else writer.point(row["x"], row["y"]),
                "xy": None if private else [round(float(row["x"]), 1), round(float(row["y"]), 1)],
                "zone": writer.polygon(ground),
                **{key: _text(row.get(key)) for key in ("place", "consent", "reason", "caution")},
                "doubt": _text(row.get("could_be_wrong")),
                **{key: _number(row.get(key)) for key in PLAN_NUMBERS},
            }
        )
    return rows


def _plan_for_everyone(public: Result, writer: Writer) -> list[dict[str, Any]]:
    """Suggestions on public ground, numbered anew so that the numbers left out say nothing."""
    rows = [row for row in _plan(public, writer) if not row["private"]]
    for number, row in enumerate(rows, start=1):
        row.update(rank=number, cumulative=None, zone=[])
    return rows


def _gaps(result: Result, writer: Writer) -> list[dict[str, Any]]:
    streets = _streets_in(result.gaps.geometry.to_numpy(), result.paths)
    return [
        {
            "rank": int(row["rank"]),
            "cause": _text(gap_cause(row)),
            "streets": names,
            "area": writer.polygon(row["geometry"]),
            "at": writer.inside(row["geometry"]),
            **{key: _number(row.get(key)) for key in ("area_ha", "share", "mean_forage", "mean_reach")},
        }
        for row, names in zip(result.gaps.to_dict("records"), streets, strict=True)
    ]


def _streets_in(areas: NDArray[np.object_], paths: gpd.GeoDataFrame) -> list[list[str]]:
    """The names of the paths in each area, those that run longest in it first."""
    named = paths[paths["name"].fillna("").astype(str) != ""] if len(paths) and "name" in paths else paths[:0]
    tree, found = STRtree(named.geometry.to_numpy()), []
    for area in areas:
        hit = np.sort(tree.query(area, predicate="intersects"))
        inside = length(intersection(named.geometry.to_numpy()[hit], area)) if len(hit) else []
        metres = pd.Series(inside, index=named["name"].iloc[hit].astype(str), dtype=float).groupby(level=0).sum()
        longest = metres.sort_values(ascending=False, kind="stable").head(MOST_STREETS)
        found.append(_texts(longest.index[longest > 0]))
    return found


def _pools(result: Result, writer: Writer) -> dict[str, Any]:
    """Columns, not rows: ten thousand pools stay under a megabyte. Hosts and observers stay out of the page."""
    pools, visits = result.pools, result.visits
    last = visits.groupby("pool")["date"].max() if len(visits) else pd.Series(dtype="datetime64[ns]")
    return {
        "n": len(pools),
        **writer.points(pools["x"], pools["y"]),
        "name": _texts(pools["pool"]),
        "last": _coded(pools["pool"].map(last).dt.strftime("%Y-%m-%d") if len(visits) else [""] * len(pools)),
        "set_out": _coded(_dates(pools)),
        "outcome": _coded(_column(pools, "last_outcome")),
        "private": _coded(_column(pools, "private")),
        "flag": _coded(_column(pools, "flag")),
        "place": _coded(_column(pools, "place")),
        "land_cover": _coded(_column(pools, "land_cover")),
        "basis": _coded(_column(pools, "basis")),
        "note": _coded(_column(pools, "note")),
        **{key: _scaled(pools, key, 1000) for key in ("occupancy", "occupancy_low", "occupancy_high")},
        "forage_in_reach": _scaled(pools, "forage_in_reach", 1_000_000),
        "visits": _scaled(pools, "visits", 1),
        "detections": _scaled(pools, "detections", 1),
    }


def _land(result: Result, writer: Writer) -> list[dict[str, Any]]:
    return [
        {
            **{key: _text(row.get(key)) for key in ("name", "kind", "consent", "private")},
            **{key: _number(row.get(key)) for key in ("area_ha", "pools", "suggestions", "forage_mean")},
            "area": writer.polygon(row.get("geometry")),
        }
        for row in result.places.to_dict("records")
    ]


def _links(result: Result, writer: Writer) -> list[dict[str, Any]]:
    return [
        {"line": line, "probability": _number(row.get("probability")), "length_m": _number(row.get("length_m"))}
        for row in result.links.to_dict("records")
        for line in writer.lines(row.get("geometry"))
    ]


def _trees(result: Result, writer: Writer) -> dict[str, Any]:
    """Trees likely to hold a wet rot-hole."""
    trees = result.trees
    likely = trees[trees["rot_hole_probability"] >= result.settings.near.dead_wood_from] if len(trees) else trees
    return {
        **writer.points(likely["x"], likely["y"]),
        "genus": _coded(_column(likely, "genus")),
        "diameter_cm": _scaled(likely, "diameter_cm", 1),
        "rot_hole_probability": _scaled(likely, "rot_hole_probability", 100),
    }


def _keep_away(result: Result, writer: Writer) -> list[dict[str, Any]]:
    """The ground within each feature's distance."""
    frame = result.keep_away
    if not len(frame):
        return []
    ground = [
        shape.buffer(distance, quad_segs=4) for shape, distance in zip(frame.geometry, frame["distance_m"], strict=True)
    ]
    merged = gpd.GeoDataFrame({"kind": frame["kind"].to_numpy()}, geometry=ground).dissolve("kind", sort=True)
    tolerance = result.grid.cell_m / 2
    return [
        {"kind": shown(kind), "area": writer.polygon(simplify(shape, tolerance, preserve_topology=False))}
        for kind, shape in merged.geometry.items()
    ]


def _blur_cells(public: Result, writer: Writer) -> list[dict[str, Any]]:
    """Pools per blur square, as many as may be told."""
    side = float(public.settings.public.blur_m)
    pools = public.pools
    if "flag" in pools:
        pools = pools[pools["flag"] != "not standing"]
    counted = counts_by_square(pools, side)
    middles = (counted["col"] + 0.5) * side, (counted["row"] + 0.5) * side
    return [
        {"n": int(n), "area": writer.polygon(ground), "at": writer.inside(ground)}
        for n, ground in zip(counted["n"], square_around(*middles, side), strict=True)
    ]


# --------------------------------------------------------------------------------------------- pictures and lines


def _background(result: Result, writer: Writer, public: bool) -> dict[str, Any]:
    """Pictures of the rasters, the water and buildings above them, lines and boundary."""
    grid, crs = result.grid, result.crs
    frame = web_frame(grid, crs)
    known = on_the_map(grid, crs, frame)
    pictures, cover = [], result.land_cover
    if cover is not None:
        pictures.append(_cover_picture(cover, grid, crs, known))
    for theme in themes.THEMES:
        values = _raster(result, theme.name)
        if values is None or (public and theme.name in TEAM_RASTERS) or not np.isfinite(values).any():
            continue
        warped = warp(values, grid, crs, frame, resampling(grid, frame, categories=False))
        classes = np.where(known, classes_of(warped, theme.breaks), OUTSIDE)
        pictures.append(
            {
                "name": theme.name,
                "breaks": list(theme.breaks),
                "colours": list(theme.colours),
                "chance": theme.chance,
                "month": (result.figures.forage.lean_month or 0) if theme.name == "forage_lean" else 0,
                "unknown": bool((classes == UNKNOWN).any()),
                "url": picture(classes, theme.colours),
            }
        )
    year = month_blocks(result)
    if year:
        forage = next(theme for theme in themes.THEMES if theme.name == "forage_season")
        look = {"breaks": list(forage.breaks), "colours": list(forage.colours), "chance": False, "month": 0}
        at = next((i + 1 for i, one in enumerate(pictures) if one["name"] == "forage_season"), len(pictures))
        pictures.insert(at, {"name": "forage_month", **look, "unknown": True})
    tolerance = grid.cell_m / 2
    boundary = result.boundary
    return {
        "themes": {"bounds": frame.bounds, "unknown": UNKNOWN_COLOUR, "pictures": pictures},
        "ground": _ground_picture(cover, grid, crs, known),
        "lines": _lines(result.paths, writer, tolerance),
        "edge": _edge_picture(result, known),
        "names": names(result.paths, result.places[:0] if public else result.places, SORTS, writer),
        **year,
        "boundary": writer.polygon(None if boundary is None else simplify(boundary, tolerance)),
    }


def _raster(result: Result, name: str) -> NDArray[np.float32] | None:
    """A raster of the result by name, or the one the page derives itself."""
    if name == "reach_added":
        now, then = result.rasters.get("reach_now"), result.rasters.get("reach_with_plan")
        if now is None or then is None or not len(result.plan):
            return None
        return np.asarray(then, dtype=np.float32) - np.asarray(now, dtype=np.float32)
    values = result.rasters.get(name)
    return None if values is None else np.asarray(values, dtype=np.float32)


def cover_classes(cover: Any) -> tuple[NDArray[np.uint8], list[str], list[str]]:
    """Land cover in at most MOST_CLASSES classes, the commonest, the others together: the number of each value of
    `cover.classes` (from FIRST on, UNKNOWN for no data), and the label and colour of each number; "" is "the others".
    """
    table = cover.table.reset_index(drop=True)
    ground = _ground_of(table)
    cells = np.bincount(cover.classes.ravel(), minlength=len(table) + 1)[1:]
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
    labels = _texts(kept["label"])
    return (number, [*labels, ""], [*colours, themes.COVER_OTHER]) if others else (number, labels, colours)


def _cover_picture(cover: Any, grid: Grid, crs: CRS, known: NDArray[np.bool_]) -> dict[str, Any]:
    """Land cover as a picture with its key."""
    number, labels, colours = cover_classes(cover)
    frame = web_frame(grid, crs)
    warped = warp(number[cover.classes], grid, crs, frame, resampling(grid, frame, categories=True))
    classes = np.where(known, np.nan_to_num(warped, nan=OUTSIDE).astype(np.uint8), OUTSIDE)
    return {
        "name": "land_cover",
        "labels": labels,
        "colours": colours,
        "unknown": bool((classes == UNKNOWN).any()),
        "url": picture(classes, colours),
    }


def _ground_of(table: pd.DataFrame) -> list[str]:
    """ "water", "building" or "" by class."""
    return [g if g in ("water", "building") else "" for g in _column(table, "ground")]


def _ground_picture(cover: Any, grid: Grid, crs: CRS, known: NDArray[np.bool_]) -> dict[str, Any]:
    """Water and buildings, laid over every theme so that the map reads as a map."""
    if cover is None:
        return {}
    ground = np.array(["", *_ground_of(cover.table)])[cover.classes]
    number = np.where(ground == "water", FIRST, np.where(ground == "building", FIRST + 1, UNKNOWN)).astype(np.float32)
    if not (number > UNKNOWN).any():
        return {}
    frame = web_frame(grid, crs)
    warped = warp(number, grid, crs, frame, resampling(grid, frame, categories=True))
    classes = np.where(known, np.nan_to_num(warped, nan=OUTSIDE).astype(np.uint8), OUTSIDE)
    colours = [themes.WATER_COLOUR, themes.BUILDING_COLOUR]
    return {
        "bounds": frame.bounds,
        "url": picture(classes, colours, unknown=""),
        "water": [themes.WATER_COLOUR] if (number == FIRST).any() else [],
        "building": [themes.BUILDING_COLOUR] if (number == FIRST + 1).any() else [],
    }


LEAST_SEEN = 0.8  # of a spot's surroundings; where less of them is known its forage access is less certain


def _edge_picture(result: Result, known: NDArray[np.bool_]) -> dict[str, Any]:
    """Dots over the ground whose forage access rests on less than LEAST_SEEN of its surroundings."""
    grid, crs, spots = result.grid, result.crs, result.findings.habitat
    frame = web_frame(grid, crs)
    little = np.where(np.isfinite(spots.season) & (spots.access_share < LEAST_SEEN), 1.0, 0.0)
    here = (warp(little, grid, crs, frame, resampling(grid, frame, categories=True)) == 1) & known
    if not here.any():
        return {}
    row, col = np.indices(here.shape, sparse=True)
    dots = here & ((row + col) % 4 == 0) & (row % 2 == 0)
    return {"bounds": frame.bounds, "url": picture(np.where(dots, FIRST, OUTSIDE).astype(np.uint8), [INK])}


WATERWAYS = {"river", "stream", "canal", "ditch", "drain", "brook", "water", "waterway"}
WAYS_ON_FOOT = {"footway", "path", "track", "bridleway", "steps", "cycleway", "pedestrian", "foot"}
MAIN_ROADS = {"motorway", "trunk", "primary", "secondary", "tertiary"}
# how a path is drawn, by its kind; any other is a "road"
SORTS = {
    **dict.fromkeys(sorted(WATERWAYS), "water"),
    **dict.fromkeys(sorted(WAYS_ON_FOOT), "foot"),
    **dict.fromkeys(sorted(MAIN_ROADS | {f"{kind}_link" for kind in MAIN_ROADS}), "main"),
}


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
    for kind, shape in zip(paths["kind"], shapes, strict=True):
        sort = SORTS.get(kind, "road")
        drawn[sort] += writer.lines(None if shape is None else remove_repeated_points(shape))
    return drawn


# ------------------------------------------------------------------------------------------------------ small change


def _parts(shape: BaseGeometry | None) -> Sequence[BaseGeometry]:
    return [] if shape is None or not isinstance(shape, BaseGeometry) or shape.is_empty else list(get_parts(shape))


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float, np.number)) and math.isfinite(value)


def _number(value: Any) -> float | int | None:
    """A number JSON can hold; None where it is not known."""
    if value is None or not _is_number(value):
        return None
    return int(value) if isinstance(value, (int, np.integer)) else float(f"{float(value):.6g}")


def _text(value: Any) -> str:
    """Text of a cell, "" where there is none."""
    return "" if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)) else shown(value)


def _texts(values: Iterable[Any]) -> list[str]:
    return [_text(value) for value in values]


def _column(frame: pd.DataFrame, name: str) -> list[str]:
    """A text column; all "" where the frame lacks it."""
    return _texts(frame[name]) if name in frame else [""] * len(frame)


def _coded(values: Iterable[Any]) -> dict[str, Any]:
    """A text column as numbers into the list of its words: {"words": [...], "of": [...]}."""
    texts = _texts(values)
    words = sorted(set(texts))
    number = {word: i for i, word in enumerate(words)}
    return {"words": words, "of": [number[text] for text in texts]}


def _scaled(frame: pd.DataFrame, name: str, factor: int) -> list[int | None]:
    """A number column as whole numbers of 1/factor; None where not known."""
    if name not in frame:
        return [None] * len(frame)
    return [None if not math.isfinite(v) else round(v * factor) for v in frame[name].astype(float)]


def _dates(pools: pd.DataFrame) -> list[str]:
    if "set_out" not in pools:
        return [""] * len(pools)
    return _texts(pools["set_out"].dt.strftime("%Y-%m-%d"))
