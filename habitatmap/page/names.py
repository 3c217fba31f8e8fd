"""The names on the map: streets, waters, parks. Where each may stand, which way it runs and how much room it has."""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import numpy as np
from shapely import get_coordinates, get_parts, simplify
from shapely.geometry.base import BaseGeometry

from habitatmap.page.coding import Writer
from habitatmap.page.document import shown

MOST_NAMES = 700
LONGEST = 40  # letters; a longer one is cut on the map, never in a list
FIRST = {"land": 0, "water": 1}  # whose names get their room before those of streets
STRAIGHT_M = 12.0  # a street that leaves its line by less than this is straight enough for its name


Stand = tuple[float, float, float, float]  # where a name may stand: its room (m), its middle and its turn (degrees)
NOWHERE: Stand = (0.0, 0.0, 0.0, 0.0)


def names(paths: gpd.GeoDataFrame, land: gpd.GeoDataFrame, sorts: dict[str, str], writer: Writer) -> dict[str, Any]:
    """Columns of names, land before waters before streets and then by room: text, sort ("water" | "main" | ... |
    "land"), x, y, room_m, turn.

    A path's name stands on its longest straight piece, `turn` degrees clockwise from level; that of land, which must
    be public, in its middle. `sorts`: the sort of a path by its kind, "road" where it has none.
    """
    found: dict[tuple[str, str], Stand] = {}

    def add(name: str, sort: str, stand: Stand) -> None:
        found[shown(name), sort] = max(found.get((shown(name), sort), NOWHERE), stand)

    named = paths[paths["name"] != ""]
    for name, kind, line in zip(named["name"], named["kind"], named.geometry, strict=True):
        add(name, sorts.get(kind, "road"), _longest_piece(line))
    open_land = land[(land["name"] != "") & (land["private"] == "no")]
    for name, ground in zip(open_land["name"], open_land.geometry, strict=True):
        middle = ground.representative_point()
        add(name, "land", (math.sqrt(ground.area), middle.x, middle.y, 0.0))
    most = sorted(found.items(), key=lambda item: (-item[1][0], item[0]))[:MOST_NAMES]
    most.sort(key=lambda item: FIRST.get(item[0][1], len(FIRST)))
    room, x, y, turn = np.array([place for _, place in most], dtype=float).reshape(-1, 4).T
    return {
        "text": [text if len(text) <= LONGEST else text[: LONGEST - 1] + "…" for (text, _), _ in most],
        "sort": [sort for (_, sort), _ in most],
        **writer.points(x, y),
        "room_m": np.rint(room).astype(int).tolist(),
        "turn": np.rint(turn).astype(int).tolist(),
    }


def _longest_piece(line: BaseGeometry) -> Stand:
    """Length, middle and turn (degrees clockwise, -90 to 90, so that it reads from the left) of the longest piece."""
    best = NOWHERE
    for part in get_parts(simplify(line, STRAIGHT_M)):
        xy = get_coordinates(part)
        if len(xy) < 2:
            continue
        step = np.diff(xy, axis=0)
        k = int(np.argmax(np.hypot(*step.T)))
        (dx, dy), (x, y) = step[k], (xy[k] + xy[k + 1]) / 2
        turn = math.degrees(math.atan2(-dy, dx))
        turn = turn - 180 if turn > 90 else turn + 180 if turn < -90 else turn
        best = max(best, (float(math.hypot(dx, dy)), float(x), float(y), turn))
    return best
