"""An id for each piece of land: the file's own where it tells the rows apart, else one made of where the land lies.

A made id is the middle of the shape in degrees, `N5432101E01098765`: the same in every run, in any order of rows and in
any file format. Where a conversion moved the middle by a hair, the id that the list of consents has is kept.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from habitatmap.geo.crs import WGS84, to_lonlat, transform

# a middle this near to that of an id in the list of consents is the same land (expert judgement)
SAME_M = 2.0
_MADE = re.compile(r"([NS])(\d{7})([EW])(\d{8})(?:-\d+)?")
_STEPS = 100_000  # of a degree


class LandIds(NamedTuple):
    """`ids`: of each piece of land; `moved`: ids of the list of consents, and the land that has another one now."""

    ids: list[str]
    moved: Mapping[str, str]


def land_ids(
    own: Sequence[str],
    shapes: Sequence[BaseGeometry],
    words: Callable[[int], str],
    crs: CRS,
    known: Collection[str],
) -> LandIds:
    """An id for each piece of land. own: what the file has, "" where it has none; what several rows have is no id.

    words: what a row says, which tells those of one shape apart; known: the ids of the list of consents.
    """
    times = Counter(own)
    ids = [one if times[one] == 1 else "" for one in own]
    blank = [at for at, one in enumerate(ids) if not one]
    middles = shapely.get_coordinates(shapely.centroid(np.asarray(shapes, dtype=object)))
    for at, made in zip(blank, _made([shapes[at] for at in blank], middles[blank], words, crs), strict=True):
        ids[at] = made
    there = set(ids)
    lost = sorted(one for one in known if one not in there and _MADE.fullmatch(one))
    new = [at for at, one in enumerate(ids) if one not in known]
    moved = {}
    for one, at in _nearest(lost, middles, new, crs).items():
        if own[at] == ids[at]:
            moved[one] = ids[at]
        else:
            ids[at] = one
    return LandIds(ids, moved)


def _made(
    shapes: Sequence[BaseGeometry], middles: NDArray[np.float64], words: Callable[[int], str], crs: CRS
) -> list[str]:
    """The ids made of where each shape lies; of shapes with one middle the larger ones first, numbered from 2."""
    lon, lat = to_lonlat(middles[:, 0], middles[:, 1], crs)
    east, north = np.rint(lon * _STEPS).astype(int).tolist(), np.rint(lat * _STEPS).astype(int).tolist()
    by_place: dict[str, list[int]] = defaultdict(list)
    for at, (x, y) in enumerate(zip(east, north, strict=True)):
        by_place[f"{'NS'[y < 0]}{abs(y):07d}{'EW'[x < 0]}{abs(x):08d}"].append(at)
    ids = [""] * len(shapes)
    for place, rows in by_place.items():
        if len(rows) > 1:
            rows.sort(key=lambda i: (-round(shapes[i].area), words(i)))
        for number, at in enumerate(rows, 1):
            ids[at] = place if number == 1 else f"{place}-{number}"
    return ids


def _nearest(lost: Sequence[str], middles: NDArray[np.float64], rows: Sequence[int], crs: CRS) -> dict[str, int]:
    """Which of the rows each lost id is: the nearest one, where that is as near as SAME_M and has no nearer id."""
    if not lost or not rows:
        return {}
    parts = [found.groups() for one in lost if (found := _MADE.fullmatch(one))]
    lat = np.array([int(north) * (-1 if side == "S" else 1) for side, north, _, _ in parts]) / _STEPS
    lon = np.array([int(east) * (-1 if side == "W" else 1) for _, _, side, east in parts]) / _STEPS
    there, here = np.column_stack(transform(lon, lat, WGS84, crs)), middles[list(rows)]
    metres, to = cKDTree(here).query(there)
    _, back = cKDTree(there).query(here)
    return {
        lost[i]: rows[at]
        for i, (at, off) in enumerate(zip(to.tolist(), metres.tolist(), strict=True))
        if off <= SAME_M and back[at] == i
    }
