"""Short ids of suggested sites, which stay on labels, sheets and maps from run to run.

A site keeps the id of an earlier run while it stays in the zone it had there. An id is never given to other ground: a
site that left the plan keeps its own in the register, and has it again when it comes back.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import count, islice, product
from string import ascii_uppercase

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from habitatmap.vocabulary.terms import YesNo

Floats = NDArray[np.floating]
Shapes = NDArray[np.object_]

LETTER = "S"
ROUNDED_M = 1.0  # places of earlier sites are told to a tenth of a metre


def number_sites(
    x: Floats,
    y: Floats,
    private: NDArray[np.bool_],
    zones: gpd.GeoSeries,
    *,
    earlier: gpd.GeoDataFrame,
    known: Sequence[str] = (),
    closed: Collection[str] = (),
) -> tuple[list[str], gpd.GeoDataFrame]:
    """The id of each site, and the register of all ids ever given.

    x, y: what may be told of each site's place (m), on private land the middle of its square; `zones` its shapes,
    None where it has none. `earlier`: the register of the last run, as `read.earlier_sites` reads it; a point where
    nobody knows the zone. Of several earlier sites whose zone a site lies in it takes the nearest that is still
    suggested, else the nearest.
    `known`: the ids that sites have whatever lies near, as somebody agreed to them under these; "" for the others.
    `closed`: ids that no site is given any more, as a pool stands there by now, or the ground was refused.
    """
    given = {at: name for at, name in enumerate(known) if name}
    points = shapely.points(np.asarray(x, float), np.asarray(y, float))
    shapes = [zone if zone is not None else point for zone, point in zip(zones, points, strict=True)]
    site, old = _on_its_ground(points, np.array(shapes, dtype=object), earlier.geometry.to_numpy())
    same = private[site] == (earlier["private"] == YesNo.YES).to_numpy()[old]
    site, old = site[same], old[same]
    apart = np.hypot(x[site] - earlier["x"].to_numpy(float)[old], y[site] - earlier["y"].to_numpy(float)[old])
    left_out = (earlier["suggested"] != YesNo.YES).to_numpy()[old]
    taken = set(np.flatnonzero(earlier["id"].isin([*given.values(), *closed])).tolist())
    for k in np.lexsort((old, site, apart, left_out)):
        if int(site[k]) not in given and int(old[k]) not in taken:
            given[int(site[k])] = str(earlier["id"].iloc[old[k]])
            taken.add(int(old[k]))
    last = max((_number(name) for name in earlier["id"]), default=0)
    for at in range(len(points)):
        if at not in given:
            last += 1
            given[at] = f"{LETTER}{last}"
    ids = [given[at] for at in range(len(points))]
    here = gpd.GeoDataFrame(
        {
            "id": ids,
            "suggested": YesNo.YES.value,
            "private": np.where(private, YesNo.YES.value, YesNo.NO.value),
            "x": np.round(x, 1),
            "y": np.round(y, 1),
        },
        geometry=shapes,
        crs=earlier.crs,
    )
    gone = earlier[~earlier["id"].isin(ids)].assign(suggested=YesNo.NO.value)
    return ids, _in_order(pd.concat([here, gone]) if len(gone) else here)


def _on_its_ground(points: Shapes, zones: Shapes, earlier: Shapes) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which sites lie in the zones of which earlier ones; where of an earlier one the place alone is known, whose zone
    it lies in."""
    tree, is_place = shapely.STRtree(earlier), shapely.get_type_id(earlier) == shapely.GeometryType.POINT
    inside = tree.query(points, predicate="intersects")
    around = tree.query(zones, predicate="dwithin", distance=ROUNDED_M)
    pairs = np.hstack([inside[:, ~is_place[inside[1]]], around[:, is_place[around[1]]]])
    return pairs[0], pairs[1]


def letters(n: int) -> list[str]:
    """A, B, ..., Z, AA, AB, ...: what the public's suggestions are called, so that nobody takes one for the team's."""
    of_any_length = ("".join(name) for length in count(1) for name in product(ascii_uppercase, repeat=length))
    return list(islice(of_any_length, n))


def _number(name: str) -> int:
    digits = name.removeprefix(LETTER)
    return int(digits) if digits.isdecimal() else 0


def _in_order(register: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    numbers = [_number(name) for name in register["id"]]
    return register.iloc[np.argsort(numbers, kind="stable")].reset_index(drop=True)
