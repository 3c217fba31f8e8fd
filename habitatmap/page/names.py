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
STRAIGHT_M = 12.0  # a street that leaves its line by less than this is straight enough for its name


def names(paths: gpd.GeoDataFrame, land: gpd.GeoDataFrame, sorts: dict[str, str], writer: Writer) -> dict[str, Any]:
    """Columns of names, those with most room first: text, sort ("water" | "main" | ... | "land"), x, y, room_m, turn.

    A path's name stands on its longest straight piece, `turn` degrees clockwise from level; that of land, which must
    be public, in its middle. `sorts`: the sort of a path by its kind, "road" where it has none.
    """
    found: dict[tuple[str, str], tuple[float, float, float, float]] = {}
    if len(paths) and "name" in paths:
        for name, kind, line in zip(paths["name"], paths["kind"], paths.geometry, strict=True):
            if not isinstance(name, str) or not name or line is None or line.is_empty:
                continue
            key = (shown(name), sorts.get(kind, "road"))
            found[key] = max(found.get(key, (0.0, 0.0, 0.0, 0.0)), _longest_piece(line))
    for name, private, ground in zip(land.get("name", []), land.get("private", []), land.geometry, strict=False):
        if isinstance(name, str) and name and private == "no" and ground is not None and not ground.is_empty:
            middle = ground.representative_point()
            key = (shown(name), "land")
            found[key] = max(found.get(key, (0.0, 0.0, 0.0, 0.0)), (math.sqrt(ground.area), middle.x, middle.y, 0.0))
    most = sorted(found.items(), key=lambda item: (-item[1][0], item[0]))[:MOST_NAMES]
    room, x, y, turn = np.array([place for _, place in most], dtype=float).reshape(-1, 4).T
    return {
        "text": [text if len(text) <= LONGEST else text[: LONGEST - 1] + "…" for (text, _), _ in most],
        "sort": [sort for (_, sort), _ in most],
        **writer.points(x, y),
        "room_m": np.rint(room).astype(int).tolist(),
        "turn": np.rint(turn).astype(int).tolist(),
    }


def _longest_piece(line: BaseGeometry) -> tuple[float, float, float, float]:
    """Length, middle and turn (degrees clockwise, -90 to 90, so that it reads from the left) of the longest piece."""
    best = (0.0, 0.0, 0.0, 0.0)
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
