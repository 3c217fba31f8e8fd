"""A kept plan held against what came of it, site by site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from habitatmap.vocabulary.terms import Consent

COLUMNS = ["rank", "id", "place", "state", "pool", "off_m", "private", "x", "y"]


class State(StrEnum):
    """What became of a suggested site; the first that holds counts."""

    SET_OUT = "set out"
    GIVEN_UP = "given up"
    REFUSED = "refused"
    AGREED = "agreed"
    ASKED = "asked"
    OPEN = "still open"
    LEFT = "no longer suggested"


def what_became_of_sites(
    sites: gpd.GeoDataFrame,
    pools: pd.DataFrame,
    land: gpd.GeoDataFrame,
    suggested: pd.DataFrame,
    within_m: float,
    told: Mapping[str, State],
) -> pd.DataFrame:
    """A row for each site of the kept plan in its order, columns COLUMNS.

    sites: rank, id, place, private, x, y (m; of a private one the middle of its square), consent (then) and its zone as
    shape; pools: pool, x, y of those set out since; land: today's, with consent; suggested: x, y of today's plan; told:
    what people wrote of a site, by id. A pool belongs to the nearest site in whose zone it lies or that is within
    `within_m`, and each site has one pool.
    """
    of_site = _pools_at(sites, pools, within_m)
    rows = []
    for row, site in enumerate(sites.itertuples(index=False)):
        pool = of_site.get(row)
        state = State.SET_OUT if pool is not None else told.get(str(site.id))
        if state is None:
            state = _by_land(site.x, site.y, str(site.consent), land)
        if state is None:
            state = State.OPEN if _is_near(sites, row, suggested, within_m) else State.LEFT
        rows.append(
            {
                **{name: getattr(site, name) for name in ("rank", "id", "place", "private", "x", "y")},
                "state": state,
                "pool": "" if pool is None else pools["pool"].iloc[pool],
                "off_m": np.nan if pool is None else float(_apart(sites, row, pools)[pool]),
            }
        )
    return pd.DataFrame(rows, columns=COLUMNS)


def elsewhere(sites: pd.DataFrame, pools: pd.DataFrame) -> pd.DataFrame:
    """Pools set out at no suggested site: pool, x, y, the id of the nearest site and how far off it is (m)."""
    left = pools[~pools["pool"].isin(set(sites["pool"]))].reset_index(drop=True)
    near: list[tuple[str, float]] = []
    for x, y in left[["x", "y"]].to_numpy(float):
        apart = np.hypot(sites["x"].to_numpy(float) - x, sites["y"].to_numpy(float) - y)
        at = int(np.nanargmin(apart)) if np.isfinite(apart).any() else -1
        near.append((str(sites["id"].iloc[at]), float(apart[at])) if at >= 0 else ("", np.nan))
    return left[["pool", "x", "y"]].assign(nearest_site=[n for n, _ in near], off_m=[m for _, m in near])


def _pools_at(sites: gpd.GeoDataFrame, pools: pd.DataFrame, within_m: float) -> dict[int, int]:
    """Row of site -> row of the pool that was set out there, the nearest pairs first."""
    pairs = []
    points = shapely.points(pools[["x", "y"]].to_numpy(float)) if len(pools) else np.empty(0, object)
    for row in range(len(sites)):
        apart, zone = _apart(sites, row, pools), sites.geometry.iloc[row]
        inside = shapely.intersects(zone, points) if zone is not None and len(pools) else np.zeros(len(pools), bool)
        pairs += [(apart[at], row, int(at)) for at in np.flatnonzero(inside | (apart <= within_m))]
    found: dict[int, int] = {}
    for _, row, at in sorted(pairs):
        if row not in found and at not in found.values():
            found[row] = at
    return found


def _apart(sites: gpd.GeoDataFrame, row: int, points: pd.DataFrame) -> np.ndarray:
    x, y = float(sites["x"].iloc[row]), float(sites["y"].iloc[row])
    return np.hypot(points["x"].to_numpy(float) - x, points["y"].to_numpy(float) - y)


def _by_land(x: float, y: float, before: str, land: gpd.GeoDataFrame) -> State | None:
    """What the owner has said since, by today's list of land, the strictest of overlapping parcels; None: no news."""
    at = land.sindex.query(shapely.Point(x, y), predicate="intersects")
    now = set(land["consent"].iloc[at])
    if Consent.NO in now and before != Consent.NO:
        return State.REFUSED
    if now == {Consent.YES} and before in (Consent.ASK, "provisional"):
        return State.AGREED
    return None


def _is_near(sites: gpd.GeoDataFrame, row: int, suggested: pd.DataFrame, within_m: float) -> bool:
    """Whether today's plan suggests this site too."""
    if suggested.empty:
        return False
    zone, points = sites.geometry.iloc[row], shapely.points(suggested[["x", "y"]].to_numpy(float))
    inside = zone is not None and bool(shapely.intersects(zone, points).any())
    return inside or bool((_apart(sites, row, suggested) <= within_m).any())


def counts(states: Sequence[State]) -> dict[State, int]:
    """How many sites are in each state."""
    return {state: sum(one == state for one in states) for state in State}
