"""The tables a reader gets: a row per pool, per suggestion, per land polygon. Each figure comes from its own room."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from scipy.spatial import cKDTree

from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.plan.zones import Zone
from habitatmap.privacy import middle_of_square, private_zone, street_or_zone
from habitatmap.words.reasons import doubt, reason

# common practice, no source: the trees a volunteer would call near
TREES_NEAR_M = 100.0

POOL_COLUMNS = [
    *("pool", "x", "y", "lon", "lat", "uncertainty_m", "standing", "forage_m", "dead_wood_m", "rot_hole_tree_m"),
    *("trees_near", "nearest_pool_m", "forage_score", "dead_wood_score", "land_cover", "place", "visits", "detections"),
    *("occupancy", "occupancy_low", "occupancy_high", "basis", "forage_in_reach"),
    *("last_outcome", "private", "flag", "note"),
]
# figures of a suggestion that other rooms work out
PLAN_FIGURES = (
    "gain_low",
    "gain_high",
    "occupancy_low",
    "occupancy_high",
    "robustness",
    "assumed_share",
    "cost",
    "ec_gain",
)
PLAN_COLUMNS = [
    *("rank", "x", "y", "lon", "lat", "place", "consent", "forage_m", "dead_wood_m", "nearest_pool_m", "gain"),
    *("gain_low", "gain_high", "cumulative", "occupancy_expected", "occupancy_low", "occupancy_high", "robustness"),
    *(
        "assumed_share",
        "sampled",
        "committed",
        "not_allowed",
        "cost",
        "ec_gain",
        "reason",
        "could_be_wrong",
        "caution",
        "private",
    ),
]


def lon_lat(x: NDArray[np.float64], y: NDArray[np.float64], crs: CRS) -> tuple[NDArray[Any], NDArray[Any]]:
    """Longitude and latitude (WGS 84, degrees) of points in the area's CRS."""
    lon, lat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(np.asarray(x), np.asarray(y))
    return np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)


def sampler(grid: Grid, x: NDArray[np.float64], y: NDArray[np.float64], use: NDArray[np.bool_]) -> Callable[..., Any]:
    """A function that reads a raster of the grid at the points: NaN outside the grid and where `use` is False."""
    row, col = grid.cell_of(x, y)
    inside = grid.inside(row, col) & use

    def read(raster: NDArray[Any] | None) -> NDArray[np.float64]:
        values = np.full(len(row), np.nan)
        if raster is not None:
            values[inside] = raster[row[inside], col[inside]]
        return values

    return read


def nearest_m(
    grid: Grid, x: NDArray[np.float64], y: NDArray[np.float64], targets: pd.DataFrame, itself: bool = False
) -> NDArray[np.float64]:
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


def land_under(land: gpd.GeoDataFrame, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.int64]:
    """Row of the land polygon that each point stands on, the strictest consent first; -1 where there is none."""
    found = np.full(len(x), -1, dtype=np.int64)
    if len(land) == 0 or len(x) == 0:
        return found
    points, polygons = land.sindex.query(shapely.points(x, y), predicate="intersects")
    strictness = land["consent"].map({"no": 0, "ask": 1, "yes": 2}).to_numpy()[polygons]
    for k in np.lexsort((-polygons, -strictness)):  # the strictest and first is written last
        found[points[k]] = polygons[k]
    return found


def name_of_land(land: gpd.GeoDataFrame, at: int) -> str:
    """The polygon's name, else its kind, else its number."""
    row = land.iloc[at]
    return str(row["name"]) or str(row["kind"]) or f"land {at + 1}"


def pool_table(
    pools: pd.DataFrame,
    standing: NDArray[np.bool_],
    flags: NDArray[np.object_],
    private: NDArray[np.bool_],
    last_outcome: Mapping[str, str],
    chances: pd.DataFrame,
    lost_without: NDArray[np.float64],
    *,
    grid: Grid,
    crs: CRS,
    rasters: Mapping[str, NDArray[Any] | None],
    classes: NDArray[Any] | None,
    labels: list[str],
    land: gpd.GeoDataFrame,
    trees: pd.DataFrame,
    trees_known: NDArray[np.bool_],
    rot_hole: pd.DataFrame,
) -> pd.DataFrame:
    """pools.csv: one row per accepted pool, in the order of `pools`; the columns are POOL_COLUMNS.

    `chances` is indexed by pool (visits, detections, occupancy with low and high, basis); `lost_without` is the share
    of the area's forage that is in reach only because of the pool, NaN where it does not stand or is not scored.
    """
    x, y = pools["x"].to_numpy(float), pools["y"].to_numpy(float)
    lon, lat = lon_lat(x, y, crs)
    scored = ~np.isin(flags, ["outside the data", "outside the boundary"])
    read = sampler(grid, x, y, scored)
    under = land_under(land, x, y)
    cell_class = read(classes) if classes is not None else np.full(len(pools), np.nan)
    near = np.full(len(pools), np.nan)
    if len(trees) and len(pools):
        at = cKDTree(trees[["x", "y"]].to_numpy(float))
        near[trees_known] = at.query_ball_point(np.column_stack([x, y])[trees_known], TREES_NEAR_M, return_length=True)
    up = pools[standing]
    nearest = nearest_m(grid, x, y, up)
    nearest[standing] = nearest_m(grid, x[standing], y[standing], up, itself=True)
    about = chances.reindex(pools["pool"]).reset_index(drop=True)
    return pd.DataFrame(
        {
            "pool": pools["pool"],
            "x": x,
            "y": y,
            "lon": lon,
            "lat": lat,
            "uncertainty_m": pools["uncertainty_m"],
            "standing": np.where(standing, "yes", "no"),
            "forage_m": read(rasters.get("forage_m")),
            "dead_wood_m": read(rasters.get("dead_wood_m")),
            "rot_hole_tree_m": nearest_m(grid, x, y, rot_hole),
            "trees_near": near,
            "nearest_pool_m": nearest,
            "forage_score": read(rasters.get("forage_access")),
            "dead_wood_score": read(rasters.get("dead_wood_access")),
            "land_cover": [labels[int(c) - 1] if c == c and c > 0 else "" for c in cell_class],
            "place": [name_of_land(land, i) if i >= 0 else "" for i in under],
            "visits": about["visits"].fillna(0).astype(int),
            "detections": about["detections"].fillna(0).astype(int),
            "occupancy": about["occupancy"],
            "occupancy_low": about["occupancy_low"],
            "occupancy_high": about["occupancy_high"],
            "basis": about["basis"].fillna(""),
            "forage_in_reach": lost_without,
            "last_outcome": [last_outcome.get(str(p), "") for p in pools["pool"]],
            "private": np.where(private, "yes", "no"),
            "flag": flags,
            "note": pools["note"],
        },
        columns=POOL_COLUMNS,
    )


def plan_table(
    sites: pd.DataFrame,
    now: float,
    *,
    grid: Grid,
    crs: CRS,
    rasters: Mapping[str, NDArray[Any] | None],
    land: gpd.GeoDataFrame,
    has_land: bool,
    land_index: NDArray[Any],
    lost_as: Callable[[int, int], str],
    paths: gpd.GeoDataFrame,
    standing: pd.DataFrame,
    caution: Callable[[Mapping[str, Any]], str],
) -> pd.DataFrame:
    """plan.csv: the suggestions in their nested order; the columns are PLAN_COLUMNS.

    `sites` has rank, row, col, p, kept, gain (share of the area's forage), and those of PLAN_FIGURES that are known; a
    committed site has its `private` as stated. `lost_as` says why no pool may stand on a cell, "" where one may. On
    private land x, y, lon, lat are NaN, `place` names the street or zone, and distances are those of the middle of the
    site's square (`middle_of_square`).
    """
    rows: list[dict[str, Any]] = []
    cumulative = now
    for site in sites.to_dict("records"):
        row, col = int(site["row"]), int(site["col"])
        gx, gy = (float(v) for v in grid.centre(row, col))
        cumulative += float(site["gain"])
        owner = int(land_index[row, col]) if has_land else -1
        hidden = (owner >= 0 and land["private"].iloc[owner] == "yes") or site.get("private") == "yes"
        if hidden:
            place = street_or_zone(gx, gy, paths, str(land["kind"].iloc[owner]) if owner >= 0 else "")
            gx, gy = (float(v) for v in middle_of_square(gx, gy))
        else:
            place = name_of_land(land, owner) if owner >= 0 else ""
        (lon,), (lat,) = lon_lat(np.array([gx]), np.array([gy]), crs)
        read = sampler(grid, np.array([gx]), np.array([gy]), np.array([True]))
        found: dict[str, Any] = {
            "rank": int(site["rank"]),
            "x": np.nan if hidden else gx,
            "y": np.nan if hidden else gy,
            "lon": np.nan if hidden else float(lon),
            "lat": np.nan if hidden else float(lat),
            "place": place,
            "consent": str(land["consent"].iloc[owner]) if owner >= 0 else "provisional",
            "nearest_pool_m": float(nearest_m(grid, np.array([gx]), np.array([gy]), standing)[0]),
            "gain": float(site["gain"]),
            "cumulative": cumulative,
            "occupancy_expected": float(site["p"]),
            **{name: float(site.get(name, np.nan)) for name in PLAN_FIGURES},
            "committed": "yes" if site["kept"] else "no",
            "not_allowed": lost_as(row, col) if site["kept"] else "",
            "sampled": "yes" if np.isfinite(read(rasters.get("occupancy"))[0]) else "no",
            "private": "yes" if hidden else "no",
        }
        found |= {name: float(read(rasters.get(name))[0]) for name in ("forage_m", "dead_wood_m")}
        rows.append(found | {"reason": reason(found), "could_be_wrong": doubt(found), "caution": caution(found)})
    return pd.DataFrame(rows, columns=PLAN_COLUMNS)


def zone_table(plan: pd.DataFrame, around: Sequence[Zone], grid: Grid, land: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The ground around each suggestion that serves at least 90 % as well: rank, place, private, area_ha and a shape.

    No shape points at a garden: the zone of a spot on public ground leaves private ground out, and that of a spot on
    private ground is `privacy.private_zone`, which may have no shape.
    """
    plots = land.geometry[land["private"] == "yes"]
    closed = cells_in(plots, grid)
    shapes: list[Any] = []
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
    frame = plan[["rank", "place", "private"]].copy()
    frame["area_ha"] = [np.nan if shape is None else shape.area / 10_000.0 for shape in shapes]
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(shapes, index=frame.index), crs=land.crs)


def place_table(
    land: gpd.GeoDataFrame,
    pools: pd.DataFrame,
    standing: NDArray[np.bool_],
    site_owner: NDArray[np.int64],
    season: NDArray[Any] | None,
    owner: NDArray[Any],
) -> gpd.GeoDataFrame:
    """places.csv: one row per land polygon: consent, hectares, standing pools, mean forage, suggestions."""
    table = land[["name", "kind", "consent", "consent_note", "private", "geometry"]].copy()
    under = land_under(land, pools["x"].to_numpy(float)[standing], pools["y"].to_numpy(float)[standing])
    table["area_ha"] = np.round(land.geometry.area.to_numpy(float) / 10_000.0, 4)
    table["pools"] = np.bincount(under[under >= 0], minlength=len(land))[: len(land)]
    table["suggestions"] = np.bincount(site_owner[site_owner >= 0], minlength=len(land))[: len(land)]
    mean = np.full(len(land), np.nan)
    if season is not None and len(land):
        known = (owner >= 0) & ~np.isnan(season)
        n = np.bincount(owner[known], minlength=len(land))[: len(land)]
        total = np.bincount(owner[known], weights=season[known].astype(float), minlength=len(land))[: len(land)]
        mean[n > 0] = total[n > 0] / n[n > 0]
    table["forage_mean"] = mean
    return table
