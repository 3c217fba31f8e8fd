"""Where a pool may stand: every cell of the frame is a candidate until a reason takes it out.

A lost cell counts under its first reason only, in this order:

1. no data                      the land cover says nothing here
2. outside the boundary
3. water, building              ground on which no pool can stand, by the class table
4. excluded: KIND               a use of land with which no pool can stand there (layers/siting.csv), of a piece of land
                                or an exclusion zone, and steep and flooding ground, kinds in alphabetical order
5. no land record               a list of land exists, and this ground is on none of it
6. no consent, consent to ask   not among the consents the plan allows; where polygons overlap the strictest counts
7. refused, given up            the ground of a suggested site that is marked so (`plan.withdrawn`)
8. private land                 any polygon here is private and the plan excludes private land
9. keep-away: KIND              not farther than the kind's distance from it, kinds in alphabetical order
10. near a standing pool        nearer than the spacing, from cell centre to cell centre

A cell belongs where its centre lies. The function knows nothing beyond the frame it is given, so a tile of a larger
frame gets the answer of the whole, as long as it is given the vectors and pools around it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from rasterio.features import rasterize

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in, too_near, under
from habitatmap.read.exclusion_zones import is_excluded
from habitatmap.read.layers import land_use
from habitatmap.read.settings import PlanSettings
from habitatmap.vocabulary.terms import Consent, Hazard, Siting

Bools = NDArray[np.bool_]

QUAD_SEGS = 2  # corners of a buffer's quarter circle: few, as the ring that it leaves open is checked exactly
# GEOS may simplify a line by 1 % of the distance before it buffers it, and its corners cut 1 - cos(pi / 8) off the
# circle; between these two multiples of the distance lies every point whose side is open
SURELY_NEAR, SURELY_FAR = 0.98, 1.02 / math.cos(math.pi / (4 * QUAD_SEGS))


class Lost(StrEnum):
    """Why no pool may stand on a cell, in the order in which the reasons are asked (exclusion zones before pools)."""

    NO_DATA = "no data"
    OUTSIDE = "outside the boundary"
    WATER = "water"
    BUILDING = "building"
    NO_RECORD = "no land record"
    NO_CONSENT = "no consent"
    TO_ASK = "consent to ask"
    CONSENT_GIVEN = "consent given"
    REFUSED = "refused"
    GIVEN_UP = "given up"
    PRIVATE = "private land"
    NEAR_POOL = "near a standing pool"


@dataclass(frozen=True)
class ExclusionZone:
    """A reason of the area's own: the cell is too near to something of this kind."""

    kind: str

    def __str__(self) -> str:
        return f"keep-away: {self.kind}"


@dataclass(frozen=True)
class ExcludedUse:
    """A reason of the ground's own: its use, its slope or its water leaves no room for a pool."""

    kind: str

    def __str__(self) -> str:
        return f"excluded: {self.kind}"


Reason = Lost | ExclusionZone | ExcludedUse
CONSENT_LOST = {Consent.NO: Lost.NO_CONSENT, Consent.ASK: Lost.TO_ASK, Consent.YES: Lost.CONSENT_GIVEN}


@dataclass(frozen=True)
class Candidates:
    """allowed: (rows, cols). code: (rows, cols) uint8, 0 = allowed, else 1 + the position of the reason in `lost`.

    lost: reason -> number of cells, in the order in which reasons are asked. land_index: (rows, cols) row of the land
    frame whose consent counts (the strictest, the first of equals), -1 = none. provisional: no list of land was given,
    so that no consent is known anywhere.
    """

    allowed: Bools
    code: NDArray[np.uint8]
    lost: dict[Reason, int]
    left: int
    land_index: NDArray[np.int32]
    provisional: bool

    def reason(self, row: int, col: int) -> Reason | None:
        """Why the cell is lost; None where it is not."""
        code = int(self.code[row, col])
        return list(self.lost)[code - 1] if code else None


@dataclass(frozen=True)
class Ground:
    """What the land cover and the boundary say of each cell (rows, cols)."""

    has_data: Bools
    inside: Bools
    """Inside the boundary."""
    classes: NDArray[np.integer] | None = None
    """The number of the cell's class, 0 = none; None where no land cover is given."""
    unfit: Sequence[str] = ("",)
    """"water", "building" or "", by the number of the class."""
    hazards: Mapping[Hazard, Bools] = field(default_factory=dict)
    """Steep ground, flooding ground, where a raster tells."""
    withdrawn: Mapping[Lost, Bools] = field(default_factory=dict)
    """Ground of sites that were refused, or given up."""


def find_candidates(
    grid: Grid,
    ground: Ground,
    land: gpd.GeoDataFrame | None,
    exclusion_zones: gpd.GeoDataFrame,
    pools: pd.DataFrame,
    settings: PlanSettings,
) -> Candidates:
    """The cells where a pool may stand, and why the others are lost (see the top of the module).

    land: columns kind, consent ("yes" | "ask" | "no", an expired one is "ask" already), private ("yes" | "no"),
    geometry; None where no list of land was given. exclusion_zones: kind, distance_m (metres; exactly that far is still
    too near), geometry. pools: the standing ones, x and y. Vectors are in the frame's CRS. Raises InputError for an
    exclusion zone without a distance.
    """
    code = scratch.zeros(grid.shape, np.uint8)
    lost: dict[Reason, int] = {}
    land_index = scratch.full(grid.shape, -1, np.int32) if land is None else _land_index(grid, land)

    def take_out(reason: Reason, mask: Bools) -> None:
        if len(lost) == np.iinfo(np.uint8).max:
            raise InputError(f"keep_away has more than {len(lost) - 9} kinds: give similar ones the same kind.")
        number = len(lost) + 1
        lost[reason] = 0
        for band in scratch.bands(grid.shape):
            first = mask[band] & (code[band] == 0)
            lost[reason] += int(np.count_nonzero(first))
            code[band][first] = number

    def open_still() -> Bools:
        return scratch.cellwise(lambda part: part == 0, code, dtype=np.bool_)

    take_out(Lost.NO_DATA, scratch.cellwise(np.logical_not, ground.has_data, dtype=np.bool_))
    take_out(Lost.OUTSIDE, scratch.cellwise(np.logical_not, ground.inside, dtype=np.bool_))
    if ground.classes is not None:
        for unfit in (Lost.WATER, Lost.BUILDING):
            here = np.array([kind == unfit.value for kind in ground.unfit])
            take_out(unfit, scratch.cellwise(here.__getitem__, ground.classes, dtype=np.bool_))
    for kind, mask in _excluded(grid, land, exclusion_zones, ground.hazards, open_still()):
        take_out(ExcludedUse(kind), mask)
    if land is not None:
        take_out(Lost.NO_RECORD, scratch.cellwise(lambda index: index < 0, land_index, dtype=np.bool_))
        # row -1 (no land) reads the last entry, which is allowed: it was taken out above
        consent = np.array([*land["consent"], ""], dtype=object)
        for word, reason in CONSENT_LOST.items():
            if word not in settings.consent:
                take_out(reason, scratch.cellwise((consent == word.value).__getitem__, land_index, dtype=np.bool_))
    for reason, there in ground.withdrawn.items():
        take_out(reason, there)
    if land is not None and not settings.private:
        private = land.geometry[land["private"].to_numpy() == "yes"]
        take_out(Lost.PRIVATE, cells_in(private, grid))
    for kind, rows in _by_kind(exclusion_zones[~exclusion_zones["kind"].map(is_excluded).astype(bool)]):
        far = rows["distance_m"].to_numpy(dtype=float)
        take_out(ExclusionZone(kind), within(grid, rows.geometry.to_numpy(), far, among=open_still()))
    take_out(Lost.NEAR_POOL, _near_pools(grid, pools, settings.spacing_m))
    allowed = open_still()
    return Candidates(allowed, code, lost, int(np.count_nonzero(allowed)), land_index, land is None)


def within(grid: Grid, geometries: ArrayLike, distance_m: ArrayLike, among: Bools | None = None) -> Bools:
    """Cells whose centre is at most distance_m (one number for each geometry) from any of the geometries: (rows, cols).

    With `among` (rows, cols) cells outside it may be left out, which saves measuring them.
    Exact: buffers a little too small and a little too large, rasterised, leave a ring of cells open, and
    these are measured against the geometries themselves.
    """
    shapes = np.asarray(geometries, dtype=object)
    far = np.broadcast_to(np.asarray(distance_m, dtype=float), shapes.shape)
    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    shapes, far = shapes[there], far[there]
    west, south, east, north = grid.bounds
    x0, y0, x1, y1 = shapely.bounds(shapes).T
    seen = (x0 - far <= east) & (x1 + far >= west) & (y0 - far <= north) & (y1 + far >= south)
    shapes, far = shapes[seen], far[seen]
    if not len(shapes):
        return np.zeros(grid.shape, dtype=bool)
    broken = ~shapely.is_valid(shapes)
    shapes[broken] = shapely.make_valid(shapes[broken])
    tolerance = grid.cell_m * 1e-3  # so that a line or point with distance 0 covers something
    near = cells_in(shapely.buffer(shapes, SURELY_FAR * far + tolerance, quad_segs=QUAD_SEGS), grid)
    wide = far > 2 * grid.cell_m  # below that the ring is nearly all there is
    inner = shapely.buffer(shapes[wide], SURELY_NEAR * far[wide] - tolerance, quad_segs=QUAD_SEGS)
    sure = cells_in(inner, grid)
    row, col = np.nonzero(near & ~sure if among is None else near & ~sure & among)
    centres = shapely.points(*grid.centre(row, col))
    _, hit = shapely.STRtree(centres).query(shapes, predicate="dwithin", distance=far)
    sure[row[hit], col[hit]] = True
    return sure


def _by_kind(zones: gpd.GeoDataFrame) -> Iterator[tuple[str, gpd.GeoDataFrame]]:
    """The exclusion zones of each kind, in alphabetical order."""
    unknown = zones[~(zones["distance_m"] >= 0)]
    if len(unknown):
        raise InputError(
            f"keep_away: {len(unknown)} of the kind '{unknown['kind'].iloc[0]}' have no distance: "
            "state one in metres under [keep_away] in area.toml or in a column distance_m."
        )
    for kind, rows in zones.groupby("kind", sort=True):
        yield str(kind), rows


def _excluded(
    grid: Grid,
    land: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame,
    hazards: Mapping[Hazard, Bools],
    among: Bools,
) -> Iterator[tuple[str, Bools]]:
    """The cells of each use of land with which no pool can stand there, and of each hazard, in alphabetical order."""
    masks: dict[str, Bools] = {str(hazard): there for hazard, there in hazards.items()}

    def add(kind: str, here: Bools) -> None:
        masks[kind] = masks[kind] | here if kind in masks else here

    for kind, rows in _by_kind(zones[zones["kind"].map(is_excluded).astype(bool)]):
        add(kind, within(grid, rows.geometry.to_numpy(), rows["distance_m"].to_numpy(dtype=float), among=among))
    for name, plots in () if land is None else land.groupby("kind", sort=True):
        use = land_use(str(name))
        if use.siting is Siting.EXCLUDED:
            add(use.kind, cells_in(plots.geometry, grid))
    yield from sorted(masks.items(), key=lambda item: item[0])


def _land_index(grid: Grid, land: gpd.GeoDataFrame) -> NDArray[np.int32]:
    """Row of the land frame with the strictest consent at each cell's centre, the first of equals; -1 = none."""
    index = scratch.full(grid.shape, -1, np.int32)
    strictness = np.array([Consent(word).strictness for word in land["consent"]], dtype=np.int64)
    painted_later = np.lexsort((-np.arange(len(land)), -strictness))  # the strictest is painted over the others
    shapes = land.geometry.to_numpy()
    pairs = [(shapes[k], int(k)) for k in painted_later if shapes[k] is not None and not shapes[k].is_empty]
    if pairs:
        rasterize(pairs, out=index, transform=Affine(*grid.transform))
    return index


def _near_pools(grid: Grid, pools: pd.DataFrame, spacing_m: float) -> Bools:
    """Cells nearer than spacing_m to the cell of a pool, centre to centre, and that cell itself: (rows, cols)."""
    near = scratch.zeros(grid.shape, np.bool_)
    stamp = too_near(spacing_m, grid.cell_m)
    for row, col in zip(*grid.cell_of(pools["x"], pools["y"]), strict=True):
        around, part = under(near, stamp, row, col)
        around |= part
    return near
