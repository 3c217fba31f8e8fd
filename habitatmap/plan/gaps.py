"""Gaps: forage that no known breeding place is likely to reach, as ranked polygons with codes for their cause.

A patch is a set of connected cells (8 neighbours: a hoverfly does not stop at a corner) with forage of at least
`gap.forage_from`, reached with a probability below `gap.reached_below`, on at least `gap.least_ha` hectares. Patches
parted by less than a fifth of the flight median (50 m of 250 m: a street, a row of houses) are one gap. Gaps are ranked
by the forage in them that is not reached. The whole frame is looked at in one piece.
"""

from __future__ import annotations

from enum import StrEnum

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import shapes
from scipy.ndimage import find_objects, label
from scipy.spatial import cKDTree

from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.habitat.distance import distance_to
from habitatmap.plan.candidates import Candidates, Reason
from habitatmap.read.settings import Settings

Floats = NDArray[np.floating]

# expert judgement: patches parted by less of a flight median are one gap
JOINED_BELOW = 0.2
CELLS_LOOKED_AT = 200  # cells of a gap, evenly spread over it, that are measured to tell its cause
COLUMNS = (
    "rank area_ha share mean_forage mean_reach nearest_place_m places_in_flight ground_ha "
    "not_reached lost_as lost_share provisional"
).split()


class NotReached(StrEnum):
    """Why known breeding places are unlikely to reach a gap."""

    NO_PLACE = "no place is known"
    OUT_OF_FLIGHT = "no place within flight"
    UNLIKELY = "places unlikely to be occupied"
    EDGE = "places at the edge of flight"


def find_gaps(
    grid: Grid, weight: Floats, reach_now: Floats, candidates: Candidates, places: pd.DataFrame, settings: Settings
) -> gpd.GeoDataFrame:
    """The gaps of an area, largest unreached forage first: COLUMNS and geometry, no CRS; empty where there is none.

    weight: forage w (rows, cols), 0 outside the boundary, NaN without data. reach_now: probability that a place reaches
    the cell. places: breeding places with row, col, p. share: part of the area's forage that lies in the gap (0-1).
    mean_reach: mean of reach_now. nearest_place_m: from the gap's nearest cell to the nearest place's cell, at least
    0.1, NaN without places. places_in_flight: places nearer than 95 % of flights get. ground_ha: ground where a pool
    may stand. not_reached: a NotReached. lost_as: the Reason that most of the ground is lost for, None where a pool may
    stand; lost_share: share of the gap's cells lost for it (0-1). provisional: no list of land was given.
    """
    forage = np.nan_to_num(weight)
    total = float(forage.sum(dtype=float))
    is_gap = (forage >= settings.gap.forage_from) & (forage > 0) & (reach_now < settings.gap.reached_below)
    number = _numbered(is_gap, grid, settings)
    outline = _outlines(grid, number)
    position = places[["row", "col"]].to_numpy(dtype=float) * grid.cell_m

    found = []
    for which, box in enumerate(find_objects(number), start=1):
        row, col = (at + part.start for at, part in zip(np.nonzero(number[box] == which), box, strict=True))
        w, reach = forage[row, col].astype(float), reach_now[row, col].astype(float)
        found.append(
            {
                "unreached": float((w * (1.0 - reach)).sum()),
                "first": (int(row[0]), int(col[0])),
                "area_ha": float(len(row) * grid.cell_ha),
                "share": float(w.sum() / total),
                "mean_forage": float(w.mean()),
                "mean_reach": float(reach.mean()),
                **_around(np.column_stack([row, col]) * grid.cell_m, position, settings),
                **_ground(candidates, row, col, grid),
                "geometry": outline[which],
            }
        )
    found.sort(key=lambda gap: (-gap["unreached"], gap["first"]))
    table = pd.DataFrame(found, columns=[*COLUMNS, "geometry"])
    # codes stay codes, and None stays None: pandas would make text of a column of StrEnum members
    table["lost_as"] = pd.Series([gap["lost_as"] for gap in found], dtype=object)
    table["rank"] = np.arange(1, len(table) + 1)
    return gpd.GeoDataFrame(table, geometry="geometry")


def _around(cells: Floats, position: Floats, settings: Settings) -> dict[str, float | NotReached]:
    """nearest_place_m, places_in_flight and not_reached of a gap from its cells' and the places' positions (metres)."""
    nearest_m, in_flight, if_occupied = _places_around(cells, position, settings)
    why = _why_not_reached(in_flight, if_occupied, len(position) > 0, settings)
    return {"nearest_place_m": nearest_m, "places_in_flight": in_flight, "not_reached": why}


def _ground(
    candidates: Candidates, row: NDArray[np.int64], col: NDArray[np.int64], grid: Grid
) -> dict[str, float | Reason | None]:
    """ground_ha, lost_as, lost_share and provisional of a gap from its cells."""
    lost_as, lost_share = _lost_as(candidates, row, col)
    ground_ha = float(candidates.allowed[row, col].sum() * grid.cell_ha)
    proof = candidates.provisional
    return {"ground_ha": ground_ha, "lost_as": lost_as, "lost_share": lost_share, "provisional": proof}


def _numbered(is_gap: NDArray[np.bool_], grid: Grid, settings: Settings) -> NDArray[np.int32]:
    """The gap that each cell belongs to, from 1; 0 = none (rows, cols)."""
    patch, _ = label(is_gap, structure=np.ones((3, 3)))
    enough = np.bincount(patch.ravel()) * grid.cell_ha >= settings.gap.least_ha - 1e-9
    enough[0] = False  # what is no gap
    large_enough = enough[patch]
    if not large_enough.any():
        return np.zeros(grid.shape, np.int32)
    # cells around patches that the half of a join covers: where two such margins touch, the patches are one gap
    margin = distance_to(large_enough, grid.cell_m) <= JOINED_BELOW * settings.flight.forage_median_m / 2.0
    joined, _ = label(large_enough | margin, structure=np.ones((3, 3)))
    return np.asarray(np.where(large_enough, joined, 0), dtype=np.int32)


def _outlines(grid: Grid, number: NDArray[np.int32]) -> dict[int, shapely.MultiPolygon]:
    """The ground of each gap as a multipolygon, whose parts may touch at a corner."""
    parts: dict[int, list[shapely.Polygon]] = {}
    for ring, value in shapes(number, mask=number > 0, connectivity=4, transform=Affine(*grid.transform)):
        parts.setdefault(int(value), []).append(shapely.geometry.shape(ring))
    return {value: shapely.MultiPolygon(polygons) for value, polygons in parts.items()}


def _places_around(cells: Floats, position: Floats, settings: Settings) -> tuple[float, int, float]:
    """Metres to the nearest place; places in flight; how far the gap would be reached were all of them occupied.

    cells, position: (n, 2) metres. The last is the mean over CELLS_LOOKED_AT cells.
    """
    if not len(position):
        return np.nan, 0, 0.0
    nearest = cKDTree(cells).query(position)[0]
    flight = FlightKernel(settings.flight.forage_median_m)
    in_flight = np.flatnonzero(nearest <= flight.p95_m)
    looked_at = cells[np.linspace(0, len(cells) - 1, min(len(cells), CELLS_LOOKED_AT)).astype(int)]
    missed = np.ones(len(looked_at))
    for k in in_flight:
        missed *= 1.0 - flight.reach_weight(np.hypot(*(looked_at - position[k]).T))
    return max(float(nearest.min()), 0.1), len(in_flight), float(1.0 - missed.mean())


def _why_not_reached(in_flight: int, if_occupied: float, any_place: bool, settings: Settings) -> NotReached:
    if not any_place:
        return NotReached.NO_PLACE
    if not in_flight:
        return NotReached.OUT_OF_FLIGHT
    return NotReached.UNLIKELY if if_occupied >= settings.gap.reached_below else NotReached.EDGE


def _lost_as(candidates: Candidates, row: NDArray[np.int64], col: NDArray[np.int64]) -> tuple[Reason | None, float]:
    """The reason that most of the cells are lost for, and the share of them; None where a pool may stand on one."""
    count = np.bincount(candidates.code[row, col], minlength=len(candidates.lost) + 1)
    if count[0]:
        return None, 0.0
    most = int(np.argmax(count))
    return list(candidates.lost)[most - 1], float(count[most] / len(row))
