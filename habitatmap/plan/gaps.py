"""Gaps: forage that no known breeding place is likely to reach, as ranked polygons with codes for their cause.

A patch is a set of connected cells (8 neighbours: a hoverfly does not stop at a corner) with forage of at least
`gap.forage_from`, reached with a probability below `gap.reached_below`, on at least `gap.least_ha` hectares. Patches
parted by less than a fifth of the flight median (50 m of 250 m: a street, a row of houses) are one gap. Gaps are ranked
by the forage in them that is not reached.
"""

from __future__ import annotations

from enum import StrEnum
from itertools import pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import shapes
from scipy.ndimage import find_objects
from scipy.spatial import cKDTree

from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.geo.labels import labelled
from habitatmap.habitat.distance import distance_to
from habitatmap.plan.candidates import Candidates, Reason
from habitatmap.plan.reach import forage_of
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
    total = forage_of(weight)
    least, below = settings.gap.forage_from, settings.gap.reached_below

    def is_gap(w: Floats, reach: Floats) -> NDArray[np.bool_]:
        return (np.nan_to_num(w) >= least) & (np.nan_to_num(w) > 0) & (reach < below)

    number, gaps = _numbered(scratch.cellwise(is_gap, weight, reach_now, dtype=np.bool_), grid, settings)
    sums, first = np.zeros((gaps + 1, 4)), np.full(gaps + 1, -1, np.int64)
    lost = np.zeros((gaps + 1, len(candidates.lost) + 1), np.int64)
    for band in scratch.bands(grid.shape):
        _add_up(number[band], weight[band], reach_now[band], candidates.code[band], band.start, (sums, first, lost))
    looked_at, rim = _some_cells(number, sums[:, 0].astype(np.int64)), _rims(number, gaps)
    position = places[["row", "col"]].to_numpy(dtype=float) * grid.cell_m
    inside = np.zeros(len(places), np.int64)
    there = grid.inside(places["row"], places["col"])
    row, col = (places[name].to_numpy(np.int64)[there] for name in ("row", "col"))
    inside[there] = scratch.picked(number, row, col)

    found = []
    for which, box in enumerate(find_objects(number), start=1):
        scratch.relax()
        cells, w, reach, unreached = sums[which].tolist()
        found.append(
            {
                "unreached": unreached,
                "first": int(first[which]),
                "area_ha": cells * grid.cell_ha,
                "share": w / total,
                "mean_forage": w / cells,
                "mean_reach": reach / cells,
                **_around(
                    looked_at[which] * grid.cell_m, rim[which] * grid.cell_m, inside == which, position, settings
                ),
                **_ground(candidates, lost[which], grid),
                "geometry": _outline(grid, number[box] == which, box),
            }
        )
    found.sort(key=lambda gap: (-gap["unreached"], gap["first"]))
    table = pd.DataFrame(found, columns=[*COLUMNS, "geometry"])
    # codes stay codes, and None stays None: pandas would make text of a column of StrEnum members
    table["lost_as"] = pd.Series([gap["lost_as"] for gap in found], dtype=object)
    table["rank"] = np.arange(1, len(table) + 1)
    return gpd.GeoDataFrame(table, geometry="geometry")


@njit(nogil=True)
def _add_up(
    number: NDArray[np.int32],
    weight: Floats,
    reach: Floats,
    code: NDArray[np.uint8],
    row0: int,
    into: tuple[Floats, NDArray[np.int64], NDArray[np.int64]],
) -> None:
    """Adds a band of rows to each gap's sums (cells, forage, reach, forage not reached), its first cell, and its cells
    by reason."""
    sums, first, lost = into
    rows, cols = number.shape
    for i in range(rows):
        for j in range(cols):
            g = number[i, j]
            if g > 0:
                w, r = np.float64(weight[i, j]), reach[i, j]
                sums[g, 0] += 1.0
                sums[g, 1] += w
                sums[g, 2] += r
                sums[g, 3] += w * (1.0 - r)
                lost[g, code[i, j]] += 1
                if first[g] < 0:
                    first[g] = (row0 + i) * cols + j


def _some_cells(number: NDArray[np.int32], cells: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Of each gap at most CELLS_LOOKED_AT cells (n, 2), evenly spread over its cells in the order row, column."""
    wanted = [np.linspace(0, n - 1, min(n, CELLS_LOOKED_AT)).astype(np.int64) for n in cells]
    ends = np.cumsum([0, *map(len, wanted)])
    found, seen, at = np.empty((ends[-1], 2), np.int64), np.zeros(len(cells), np.int64), ends[:-1].copy()
    for band in scratch.bands(number.shape):
        _pick(number[band], band.start, np.concatenate(wanted), ends, seen, at, found)
    return [found[a:b] for a, b in pairwise(ends.tolist())]


@njit(nogil=True)
def _pick(
    number: NDArray[np.int32],
    row0: int,
    wanted: NDArray[np.int64],
    ends: NDArray[np.int64],
    seen: NDArray[np.int64],
    at: NDArray[np.int64],
    found: NDArray[np.int64],
) -> None:
    """Writes the wanted cells of a band of rows; `seen` counts each gap's cells, `at` says which is wanted next."""
    rows, cols = number.shape
    for i in range(rows):
        for j in range(cols):
            g = number[i, j]
            if g > 0:
                if at[g] < ends[g + 1] and wanted[at[g]] == seen[g]:
                    found[at[g], 0], found[at[g], 1] = row0 + i, j
                    at[g] += 1
                seen[g] += 1


def _rims(number: NDArray[np.int32], gaps: int) -> list[NDArray[np.int64]]:
    """The cells (n, 2) of each gap that have a side to what is none of it: the nearest cell is one of them."""
    parts = [np.empty((0, 3), np.int64)]
    for band in scratch.bands(number.shape):
        around = np.pad(
            number[max(0, band.start - 1) : band.stop + 1], ((band.start == 0, band.stop == len(number)), (1, 1))
        )
        here = around[1:-1, 1:-1]
        sides = (around[:-2, 1:-1], around[2:, 1:-1], around[1:-1, :-2], around[1:-1, 2:])
        row, col = np.nonzero((here > 0) & np.logical_or.reduce([side != here for side in sides]))
        parts.append(np.column_stack([here[row, col], row + band.start, col]))
    cells = np.concatenate(parts)
    cells = cells[np.argsort(cells[:, 0], kind="stable")]
    ends = np.searchsorted(cells[:, 0], np.arange(gaps + 2))
    return [cells[a:b, 1:] for a, b in pairwise(ends.tolist())]


def _around(
    cells: Floats, rim: Floats, inside: NDArray[np.bool_], position: Floats, settings: Settings
) -> dict[str, float | NotReached]:
    """nearest_place_m, places_in_flight and not_reached of a gap from some cells of it, its rim, which places stand in
    it, and the places' positions (metres)."""
    nearest_m, in_flight, if_occupied = _places_around(cells, rim, inside, position, settings)
    why = _why_not_reached(in_flight, if_occupied, len(position) > 0, settings)
    return {"nearest_place_m": nearest_m, "places_in_flight": in_flight, "not_reached": why}


def _ground(candidates: Candidates, lost: NDArray[np.int64], grid: Grid) -> dict[str, float | Reason | None]:
    """ground_ha, lost_as, lost_share and provisional of a gap from how many of its cells are lost for each reason."""
    lost_as, lost_share = _lost_as(candidates, lost)
    proof = candidates.provisional
    ground_ha = float(lost[0] * grid.cell_ha)
    return {"ground_ha": ground_ha, "lost_as": lost_as, "lost_share": lost_share, "provisional": proof}


def _numbered(is_gap: NDArray[np.bool_], grid: Grid, settings: Settings) -> tuple[NDArray[np.int32], int]:
    """The gap that each cell belongs to, from 1; 0 = none (rows, cols); and how many gaps there are."""
    patch, patches = labelled(is_gap)
    cells = scratch.total(lambda part: np.bincount(part.ravel(), minlength=patches + 1), patch)
    enough = cells * grid.cell_ha >= settings.gap.least_ha - 1e-9
    enough[0] = False  # what is no gap
    if not enough.any():
        return scratch.zeros(grid.shape, np.int32), 0
    large_enough = scratch.cellwise(enough.__getitem__, patch, dtype=np.bool_)
    # cells around patches that the half of a join covers: where two such margins touch, the patches are one gap
    margin = JOINED_BELOW * settings.flight.forage_median_m / 2.0
    apart = distance_to(large_enough, grid.cell_m)
    joined, pieces = labelled(scratch.cellwise(lambda metres: metres <= margin, apart, dtype=np.bool_))
    number = scratch.cellwise(np.multiply, joined, large_enough, dtype=np.int32)
    return number, pieces


def _outline(grid: Grid, mask: NDArray[np.bool_], box: tuple[slice, slice]) -> shapely.MultiPolygon:
    """The ground of a gap in a box of cells as a multipolygon, whose parts may touch at a corner."""
    left, top = grid.left + box[1].start * grid.cell_m, grid.top - box[0].start * grid.cell_m
    corner = Affine(grid.cell_m, 0.0, left, 0.0, -grid.cell_m, top)
    rings = shapes(mask.astype(np.uint8), mask=mask, connectivity=4, transform=corner)
    return shapely.MultiPolygon([shapely.geometry.shape(ring) for ring, _ in rings])


def _places_around(
    cells: Floats, rim: Floats, inside: NDArray[np.bool_], position: Floats, settings: Settings
) -> tuple[float, int, float]:
    """Metres to the nearest place; places in flight; how far the gap would be reached were all of them occupied.

    cells, rim, position: (n, 2) metres. The last is the mean over `cells`.
    """
    if not len(position):
        return np.nan, 0, 0.0
    nearest = np.where(inside, 0.0, cKDTree(rim).query(position)[0])
    flight = FlightKernel(settings.flight.forage_median_m)
    in_flight = np.flatnonzero(nearest <= flight.p95_m)
    missed = np.ones(len(cells))
    for k in in_flight:
        missed *= 1.0 - flight.reach_weight(np.hypot(*(cells - position[k]).T))
    return max(float(nearest.min()), 0.1), len(in_flight), float(1.0 - missed.mean())


def _why_not_reached(in_flight: int, if_occupied: float, any_place: bool, settings: Settings) -> NotReached:
    if not any_place:
        return NotReached.NO_PLACE
    if not in_flight:
        return NotReached.OUT_OF_FLIGHT
    return NotReached.UNLIKELY if if_occupied >= settings.gap.reached_below else NotReached.EDGE


def _lost_as(candidates: Candidates, lost: NDArray[np.int64]) -> tuple[Reason | None, float]:
    """The reason that most of the cells are lost for, and the share of them; None where a pool may stand on one."""
    if lost[0]:
        return None, 0.0
    most = int(np.argmax(lost))
    return list(candidates.lost)[most - 1], float(lost[most] / lost.sum())
