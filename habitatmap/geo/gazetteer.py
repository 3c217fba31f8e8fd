"""The names of an area's places: what ground is called, and how the way to a point is told.

Names come from the list of land that anybody may know, from paths and from `names.*`. A point is told by the smallest
named ground that holds it and the nearest other name; unnamed ground by the streets along it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habitatmap.sentences import Sentence, as_it_is, say
from habitatmap.vocabulary.where import Direction, Part, Where, said_kind

# a name farther off than this helps nobody to find a site inside named ground, and beyond the next none at all
# (expert judgement)
NEAR_M, FAR_M = 1000.0, 5000.0
# streets as near as this to unnamed ground run along it (expert judgement)
ALONG_M = 40.0
# ground at least so many times as long as wide has ends (expert judgement)
LONG = 2.0
# in the middle third of each direction a point lies in the middle (expert judgement)
MIDDLE = 1 / 3
# names that hold whole quarters: they tell which town, not which ground (values of the tag place, and alike)
DISTRICTS = frozenset(
    "city town village suburb borough quarter neighbourhood district city_block hamlet island".split()
)
COLUMNS = ["name", "kind", "geometry"]
_CALLED = "{kind}, {names}"


@dataclass(frozen=True)
class Names:
    """Names with their shapes (metres), in canonical order, so that nothing depends on the order of rows."""

    names: NDArray[np.object_]
    shapes: NDArray[np.object_]
    tree: shapely.STRtree

    @classmethod
    def of(cls, rows: gpd.GeoDataFrame) -> Names:
        """Of a frame with name and geometry."""
        names, shapes = rows["name"].to_numpy(dtype=object), np.asarray(rows.geometry.to_numpy(), dtype=object)
        order = np.lexsort((shapely.to_wkb(shapes), names.astype(str)))
        return cls(names[order], shapes[order], shapely.STRtree(shapes[order]))

    def holding(self, points: NDArray[np.object_]) -> NDArray[np.int64]:
        """For each point the smallest polygon that holds it, by number; -1 where none does."""
        smallest = np.full(len(points), -1, dtype=np.int64)
        at, found = self.tree.query(points, predicate="intersects")
        area = shapely.area(self.shapes[found])
        for k in np.lexsort((-found, -area)):  # the smallest is written last
            if area[k] > 0:
                smallest[at[k]] = found[k]
        return smallest


@dataclass(frozen=True)
class Gazetteer:
    """What people find their way by: named ground, streets, waters and the like, and apart from them the districts."""

    things: Names
    districts: Names

    @classmethod
    def of(cls, *frames: gpd.GeoDataFrame) -> Gazetteer:
        """Of frames with COLUMNS; rows without a name tell nothing."""
        rows = pd.concat([frame[COLUMNS] for frame in frames], ignore_index=True)
        rows = rows[rows["name"].astype(str) != ""]
        district = rows["kind"].isin(DISTRICTS)
        return cls(Names.of(rows[~district]), Names.of(rows[district]))

    def where(self, x: float, y: float, kind: str, lon: float, lat: float) -> Where:
        """Where a point (metres; degrees) on ground of this kind lies."""
        point = shapely.Point(x, y)
        at = int(self.things.holding(np.array([point]))[0])
        if at >= 0:
            inside, shape = str(self.things.names[at]), self.things.shapes[at]
            here = Where(kind, inside, False, *part_of(shape, point), lat=lat, lon=lon)
            return self._with_nearest(here, point, {inside}, NEAR_M)
        district = int(self.districts.holding(np.array([point]))[0])
        inside = str(self.districts.names[district]) if district >= 0 else ""
        return self._with_nearest(Where(kind, inside, bool(inside), lat=lat, lon=lon), point, set(), FAR_M)

    def _with_nearest(self, here: Where, point: BaseGeometry, but: set[str], within_m: float) -> Where:
        """With the nearest thing that neither holds the point nor has one of these names, and is not too far off."""
        for reach_m in sorted({NEAR_M, within_m}):
            found = np.sort(self.things.tree.query(point, predicate="dwithin", distance=reach_m))
            apart = shapely.distance(self.things.shapes[found], point)
            other = (apart > 0) & ~np.isin(self.things.names[found].astype(str), list(but))
            if other.any():
                at = found[other][int(np.argmin(apart[other]))]
                line = shapely.shortest_line(self.things.shapes[at], point)
                (x0, y0), (x1, y1) = shapely.get_coordinates(line)
                towards = Direction.of(x1 - x0, y1 - y0)
                return replace(here, near=str(self.things.names[at]), near_m=float(apart[other].min()), towards=towards)
        return here

    def call(self, land: gpd.GeoDataFrame) -> list[Sentence]:
        """What to call each polygon of a frame with COLUMNS.

        A sentence: its name, else its kind with the named ground that holds it, else with the one or two streets
        along it or the nearest name, else "": nobody can be asked about "grass".
        """
        called = land["name"].astype(str).to_numpy(dtype=object)
        left = np.flatnonzero(called == "")
        kinds = [said_kind(kind or "land") for kind in land["kind"].astype(str)]
        shapes = np.asarray(land.geometry.to_numpy(), dtype=object)
        holding = self.things.holding(shapely.point_on_surface(shapes[left]))
        for at, found in zip(left[holding >= 0], holding[holding >= 0], strict=True):
            called[at] = say(_CALLED, kind=kinds[at], names=str(self.things.names[found]))
        left = left[holding < 0]
        for at, names in self._along(shapes[left]).items():
            called[left[at]] = say(_CALLED, kind=kinds[left[at]], names=" – ".join(names))
        left = left[called[left] == ""]
        near = self.things.tree.query_nearest(shapes[left], max_distance=FAR_M)
        for at, found in sorted(near.T.tolist(), reverse=True):  # of two as near the first is written last
            called[left[at]] = say(_CALLED, kind=kinds[left[at]], names=str(self.things.names[found]))
        return [name if isinstance(name, Sentence) else as_it_is(name) for name in called]

    def _along(self, grounds: NDArray[np.object_]) -> dict[int, list[str]]:
        """By the number of a ground the one or two names that run along most of it."""
        around = shapely.buffer(grounds, ALONG_M, quad_segs=2)
        at, found = self.things.tree.query(around, predicate="intersects")
        beside = shapely.intersection(self.things.shapes[found], around[at])
        rows = pd.DataFrame({"at": at, "name": self.things.names[found].astype(str), "m": shapely.length(beside)})
        metres = rows.groupby(["at", "name"])["m"].sum().reset_index()
        metres = metres.sort_values(["at", "m", "name"], ascending=[True, False, True])
        return {int(str(number)): group["name"].head(2).tolist() for number, group in metres.groupby("at")}


def part_of(ground: BaseGeometry, point: BaseGeometry) -> tuple[Part, Direction | None]:
    """In which part of the ground a point lies; its middle has no wind."""
    box = shapely.minimum_rotated_rectangle(ground)
    corners = shapely.get_coordinates(box)
    if len(corners) < 4:  # a point or a line
        return Part.MIDDLE, None
    middle = corners[:4].mean(axis=0)
    sides = (corners[1] - corners[0], corners[2] - corners[1])
    along, across = sorted(sides, key=lambda side: -float(np.hypot(*side)))
    length, width = float(np.hypot(*along)), float(np.hypot(*across))
    offset = shapely.get_coordinates(point)[0] - middle
    if length >= LONG * width:
        step = float(offset @ along) / length
        if abs(step) <= MIDDLE * length / 2:
            return Part.MIDDLE, None
        east, north = along * math.copysign(1.0, step)
        return Part.END, Direction.of(east, north)
    west, south, east, north = ground.bounds
    steps = offset / (np.array([east - west, north - south]) / 2)
    if np.abs(steps).max() <= MIDDLE:
        return Part.MIDDLE, None
    return Part.SIDE, Direction.of(*steps)
