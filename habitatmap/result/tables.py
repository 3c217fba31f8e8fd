"""The tables a reader gets: a row per pool, per suggestion, per land polygon. Each figure comes from its own room."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from habitatmap.geo import scratch
from habitatmap.geo.crs import to_lonlat
from habitatmap.geo.gazetteer import Gazetteer
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.plan.candidates import Candidates
from habitatmap.plan.zones import Zone
from habitatmap.privacy import middle_of_square, private_zone, street_or_zone
from habitatmap.read.land_cover import LandCover
from habitatmap.read.layers import land_use
from habitatmap.vocabulary.where import told_apart

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]

# flags of pools whose place has no figures
NOT_SCORED = ["outside the data", "outside the boundary"]

# the middle 95 % of simulations
ENDS_PERCENT = (2.5, 97.5)
# common practice, no source: the trees a volunteer would call near
TREES_NEAR_M = 100.0

POOL_COLUMNS = [
    *("pool", "x", "y", "lon", "lat", "uncertainty_m", "standing", "forage_m", "dead_wood_m", "rot_hole_tree_m"),
    *("trees_near", "nearest_pool_m", "forage_score", "dead_wood_score", "land_cover", "place", "visits", "detections"),
    *(
        "occupancy",
        "occupancy_low",
        "occupancy_high",
        "basis",
        "last_seen",
        "since",
        "surroundings",
        "forage_in_reach",
    ),
    *("last_outcome", "private", "flag", "consent", "consent_until", "no_visit", "group", "note"),
]
# figures of a suggestion that other rooms work out
PLAN_FIGURES = (
    *("gain_low", "gain_high", "occupancy_low", "occupancy_high", "robustness", "assumed_share", "cost", "ec_gain"),
    *("served_open", "served_closed", "new_ha", "new_class_share", "new_month"),
)
PLAN_COLUMNS = [
    *("rank", "id", "x", "y", "lon", "lat", "place", "consent", "forage_m", "dead_wood_m", "nearest_pool_m", "gain"),
    *("gain_low", "gain_high", "cumulative", "occupancy_expected", "occupancy_low", "occupancy_high", "robustness"),
    *("assumed_share", "sampled", "committed", "state", "not_allowed", "cost", "ec_gain", "private"),
    *("served_open", "served_closed", "new_ha", "new_class", "new_class_share", "new_month", "also_ask"),
]


def sampled(grid: Grid, raster: NDArray[np.number], x: Floats, y: Floats, use: Bools | None = None) -> Floats:
    """The raster (rows x cols) at points (metres): NaN outside the grid and where `use` is False."""
    row, col = grid.cell_of(x, y)
    inside = grid.inside(row, col) if use is None else grid.inside(row, col) & use
    values = np.full(len(row), np.nan)
    values[inside] = scratch.picked(raster, row[inside], col[inside])
    return values


def at_cells(fields: Mapping[str, Floats], sites: pd.DataFrame) -> pd.DataFrame:
    """The rasters at cells (row, col), a column each."""
    row, col = sites["row"].to_numpy(int), sites["col"].to_numpy(int)
    return pd.DataFrame({name: scratch.picked(raster, row, col) for name, raster in fields.items()})


def interval(values: Floats, value: float) -> tuple[float, float]:
    """The middle 95 % of simulations, widened to hold the value itself; NaN where the value is not known."""
    if np.isnan(value) or len(values) == 0:
        return value, value
    low, high = np.percentile(values, ENDS_PERCENT)
    return min(float(low), value), max(float(high), value)


def intervals(draws: Floats, values: Floats) -> tuple[Floats, Floats]:
    """`interval` for each column of simulations x values."""
    ends = [interval(column, float(value)) for column, value in zip(draws.T, values, strict=True)]
    return np.array([low for low, _ in ends]), np.array([high for _, high in ends])


def yes_no(values: Bools) -> NDArray[np.str_]:
    """yes and no, as tables have them."""
    return np.where(values, "yes", "no")


def nearest_m(grid: Grid, x: Floats, y: Floats, targets: pd.DataFrame, itself: bool = False) -> Floats:
    """Metres from each point to the nearest target, from cell centre to cell centre; NaN where there is no target.

    With `itself` the points are the targets, in the same order, and each is measured to the nearest other one.
    """
    here = np.column_stack(grid.centre(*grid.cell_of(x, y)))
    there = np.column_stack(grid.centre(*grid.cell_of(targets["x"].to_numpy(float), targets["y"].to_numpy(float))))
    if len(there) < 1 + itself or not len(here):
        return np.full(len(here), np.nan)
    if not itself:
        return np.asarray(cKDTree(there).query(here)[0], dtype=float)
    # the nearest of two is the point itself, or one that shares its cell, at 0 m either way
    return np.asarray(cKDTree(there).query(here, k=2)[0][:, 1], dtype=float)


def land_under(land: gpd.GeoDataFrame, x: Floats, y: Floats) -> NDArray[np.int64]:
    """Row of the land polygon that each point stands on, the strictest consent first; -1 where there is none."""
    found = np.full(len(x), -1, dtype=np.int64)
    if len(land) == 0 or len(x) == 0:
        return found
    points, polygons = land.sindex.query(shapely.points(x, y), predicate="intersects")
    strictness = land["consent"].map({"no": 0, "ask": 1, "yes": 2}).to_numpy()[polygons]
    order = np.lexsort((-polygons, -strictness))  # the strictest and first is written last
    found[points[order]] = polygons[order]
    return found


def to_ask(land: gpd.GeoDataFrame, x: float, y: float) -> str:
    """Who must agree, besides the owner, to a pool at a point (metres), by the uses of the land there: "; " between
    several, "" where nobody."""
    at = np.sort(land.sindex.query(shapely.Point(x, y), predicate="intersects"))
    return "; ".join(dict.fromkeys(ask for kind in land["kind"].iloc[at] if (ask := land_use(str(kind)).ask)))


@dataclass(frozen=True)
class Surfaces:
    """What a table reads at a point: the frame, its rasters by name (rows x cols, NaN = not known), the land with its
    `place` (what to call it), and the names about."""

    grid: Grid
    crs: CRS
    rasters: Mapping[str, Floats]
    land_cover: LandCover | None
    land: gpd.GeoDataFrame
    has_land: bool
    paths: gpd.GeoDataFrame
    gazetteer: Gazetteer

    def read(self, name: str, x: Floats, y: Floats, use: Bools | None = None) -> Floats:
        """The raster `name` at points (metres): NaN outside the frame, and where `use` is False."""
        return sampled(self.grid, self.rasters[name], x, y, use)

    def labels(self, x: Floats, y: Floats, use: Bools) -> list[str]:
        """The label of the land-cover class at each point; "" where none is known."""
        if self.land_cover is None:
            return [""] * len(x)
        called = np.array(["", *map(str, self.land_cover.table["label"])], dtype=object)
        return list(called[np.nan_to_num(sampled(self.grid, self.land_cover.classes, x, y, use)).astype(np.int64)])

    def label(self, number: int) -> str:
        """What the land-cover class of this number is called; "" for 0."""
        return str(self.land_cover.table["label"].iloc[number - 1]) if self.land_cover and number else ""


@dataclass(frozen=True)
class PoolFacts:
    """What the rooms found out about each pool: arrays by row of the area's pools, `searched` and `last_outcome` by
    the pool's name. `lost_without`: share of the area's forage that is in reach only because of the pool; `no_visit`:
    why a standing pool is due none (`NoVisit`), "" where nothing forbids one."""

    standing: Bools
    flags: NDArray[np.object_]
    no_visit: NDArray[np.object_]
    private: Bools
    trees_known: Bools
    lost_without: Floats
    searched: pd.DataFrame
    last_outcome: Mapping[str, str]


def pool_table(
    pools: pd.DataFrame, facts: PoolFacts, surfaces: Surfaces, trees: pd.DataFrame, rot_hole: pd.DataFrame
) -> pd.DataFrame:
    """One row per accepted pool, in the order of `pools`; the columns are POOL_COLUMNS.

    `facts.searched` has visits, detections, occupancy with low and high, basis and what belongs to it; `trees` all
    trees, `rot_hole` the rot-hole trees among the breeding places. A pool outside the data or the boundary has no
    scores (NaN).
    """
    x, y = pools["x"].to_numpy(float), pools["y"].to_numpy(float)
    lon, lat = to_lonlat(x, y, surfaces.crs)
    scored = ~np.isin(facts.flags, NOT_SCORED)
    near = np.full(len(pools), np.nan)
    if len(trees) and len(pools):
        at, known = cKDTree(trees[["x", "y"]].to_numpy(float)), facts.trees_known
        near[known] = at.query_ball_point(np.column_stack([x, y])[known], TREES_NEAR_M, return_length=True)
    up, grid = facts.standing, surfaces.grid
    nearest = nearest_m(grid, x, y, pools[up])
    nearest[up] = nearest_m(grid, x[up], y[up], pools[up], itself=True)
    about = facts.searched.reindex(pools["pool"]).reset_index(drop=True)
    table = pd.DataFrame(
        {
            "pool": pools["pool"],
            "x": x,
            "y": y,
            "lon": lon,
            "lat": lat,
            "uncertainty_m": pools["uncertainty_m"],
            "standing": yes_no(up),
            "forage_m": surfaces.read("forage_m", x, y, scored),
            "dead_wood_m": surfaces.read("dead_wood_m", x, y, scored),
            "rot_hole_tree_m": nearest_m(grid, x, y, rot_hole),
            "trees_near": near,
            "nearest_pool_m": nearest,
            "forage_score": surfaces.read("forage_access", x, y, scored),
            "dead_wood_score": surfaces.read("dead_wood_access", x, y, scored),
            "land_cover": surfaces.labels(x, y, scored),
            # the last is that of row -1, where there is no land
            "place": np.array([*map(str, surfaces.land["place"]), ""], dtype=object)[land_under(surfaces.land, x, y)],
            "visits": about["visits"].fillna(0).astype(int),
            "detections": about["detections"].fillna(0).astype(int),
            "occupancy": about["occupancy"],
            "occupancy_low": about["occupancy_low"],
            "occupancy_high": about["occupancy_high"],
            "basis": about["basis"].fillna(""),
            "last_seen": about["last_seen"],
            "since": about["since"].fillna(0).astype(int),
            "surroundings": about["surroundings"].fillna(""),
            "forage_in_reach": np.where(scored, facts.lost_without, np.nan),
            "last_outcome": [facts.last_outcome.get(str(p), "") for p in pools["pool"]],
            "private": yes_no(facts.private),
            "flag": facts.flags,
            "consent": pools["consent"],
            "consent_until": pools["consent_until"].dt.strftime("%Y-%m-%d").fillna(""),
            "group": pools["group"],
            "note": pools["note"],
        },
        columns=POOL_COLUMNS,
    )
    table["no_visit"] = pd.Series(facts.no_visit, dtype=object)  # codes, of which pandas would make text
    return table


def plan_table(
    sites: pd.DataFrame, now: float, surfaces: Surfaces, candidates: Candidates, standing: pd.DataFrame
) -> pd.DataFrame:
    """plan.csv but for its sentences and ids: the suggestions in their nested order; the columns are PLAN_COLUMNS.

    `sites` has rank, row, col, p, kept, gain (share of the area's forage), and those of PLAN_FIGURES that are known; a
    committed site has its `private` as stated. `now`: forage in reach without the plan. On private land x, y, lon, lat
    are NaN, `place` names the street or zone, and distances are those of the middle of the site's square.
    """
    rows: list[dict[str, object]] = []
    cumulative = now
    for site in sites.to_dict("records"):
        cumulative += float(site["gain"])
        rows.append(_suggestion(site, surfaces, candidates, standing) | {"cumulative": cumulative})
    table = pd.DataFrame(rows, columns=PLAN_COLUMNS)
    table["place"] = pd.Series(told_apart(list(table["place"])), dtype=object)
    # reasons stay codes: pandas would make text of a column of StrEnum members
    table["not_allowed"] = pd.Series([row["not_allowed"] for row in rows], dtype=object)
    return table


def _suggestion(
    site: Mapping[Hashable, float | str | bool], surfaces: Surfaces, candidates: Candidates, standing: pd.DataFrame
) -> dict[str, object]:
    """One row of plan.csv but for `cumulative` and the sentences."""
    row, col, land = int(site["row"]), int(site["col"]), surfaces.land
    x, y = surfaces.grid.centre([row], [col])
    lon, lat = to_lonlat(x, y, surfaces.crs)
    also_ask = to_ask(land, float(x[0]), float(y[0]))
    owner = int(candidates.land_index[row, col]) if surfaces.has_land else -1
    hidden = (owner >= 0 and land["private"].iloc[owner] == "yes") or site.get("private") == "yes"
    if hidden:
        kind = str(land["kind"].iloc[owner]) if owner >= 0 else ""
        place = street_or_zone(float(x[0]), float(y[0]), surfaces.paths, kind)
        x, y = middle_of_square(x, y)
    else:
        kind = str(land["kind"].iloc[owner]) if owner >= 0 else surfaces.labels(x, y, np.ones(1, bool))[0]
        place = surfaces.gazetteer.where(float(x[0]), float(y[0]), kind, float(lon[0]), float(lat[0]))
    shown = np.full(1, np.nan) if hidden else np.ones(1)
    return {
        "rank": int(site["rank"]),
        **{name: float(value[0] * shown[0]) for name, value in {"x": x, "y": y, "lon": lon, "lat": lat}.items()},
        "place": place,
        "consent": str(land["consent"].iloc[owner]) if owner >= 0 else "provisional",
        **{name: float(surfaces.read(name, x, y)[0]) for name in ("forage_m", "dead_wood_m")},
        "nearest_pool_m": float(nearest_m(surfaces.grid, x, y, standing)[0]),
        "gain": float(site["gain"]),
        "occupancy_expected": float(site["p"]),
        **{name: float(site.get(name, np.nan)) for name in PLAN_FIGURES},
        "new_class": surfaces.label(int(site.get("new_class", 0))),
        "committed": "yes" if site["kept"] else "no",
        "not_allowed": (candidates.reason(row, col) if site["kept"] else None) or "",
        "sampled": "yes" if np.isfinite(surfaces.read("occupancy", x, y)[0]) else "no",
        "private": "yes" if hidden else "no",
        "also_ask": also_ask,
    }


def zone_table(plan: pd.DataFrame, around: Sequence[Zone], grid: Grid, land: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The ground around each suggestion that serves at least 90 % as well: rank, place, private, area_ha and a shape.

    No shape points at a garden: the zone of a spot on public ground leaves private ground out, and that of a spot on
    private ground is `privacy.private_zone`, which may have no shape.
    """
    plots = land.geometry[land["private"] == "yes"]
    closed = cells_in(plots, grid)
    shapes: list[BaseGeometry | None] = []
    for private, zone in zip(plan["private"], around, strict=True):
        row, col = np.nonzero(zone.mask)
        row, col = row + zone.row0, col + zone.col0
        if private == "yes":
            shapes.append(private_zone(*grid.centre(row, col), plots))
            continue
        row, col = row[~closed[row, col]], col[~closed[row, col]]
        west, north = grid.left + col * grid.cell_m, grid.top - row * grid.cell_m
        cells = shapely.union_all(shapely.box(west, north - grid.cell_m, west + grid.cell_m, north))
        shapes.append(cells if len(row) else None)
    frame = plan[["rank", "id", "place", "private"]].copy()
    frame["area_ha"] = [np.nan if shape is None else shape.area / 10_000.0 for shape in shapes]
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(shapes, index=frame.index), crs=land.crs)


def place_table(
    land: gpd.GeoDataFrame,
    pools: pd.DataFrame,
    standing: Bools,
    site_owner: NDArray[np.int64],
    season: Floats | None,
    owner: NDArray[np.integer],
) -> gpd.GeoDataFrame:
    """places.csv: one row per land polygon: id, name and place (what it is called where it has no name), consent and
    what was agreed, hectares, standing pools, mean forage, suggestions."""
    agreed = ["consent", "consent_note", "until", "owner", "contact", "condition"]
    table = land[["id", "name", "place", "kind", *agreed, "private", "geometry"]].copy()
    table["until"] = land["until"].dt.strftime("%Y-%m-%d").fillna("")
    under = land_under(land, pools["x"].to_numpy(float)[standing], pools["y"].to_numpy(float)[standing])
    table["area_ha"] = np.round(land.geometry.area.to_numpy(float) / 10_000.0, 4)
    table["pools"] = np.bincount(under[under >= 0], minlength=len(land))[: len(land)]
    table["suggestions"] = np.bincount(site_owner[site_owner >= 0], minlength=len(land))[: len(land)]
    mean = np.full(len(land), np.nan)
    if season is not None and len(land):

        def counted(index: NDArray[np.integer], forage: Floats) -> Floats:
            known = (index >= 0) & ~np.isnan(forage)
            weights = forage[known].astype(float)
            cells, sums = (np.bincount(index[known], weights=of, minlength=len(land)) for of in (None, weights))
            return np.stack([cells, sums])

        n, total = scratch.total(counted, owner, season)
        mean[n > 0] = total[n > 0] / n[n > 0]
    table["forage_mean"] = mean
    return table
