"""A small made-up result, with nasty text in every text field, for the tests of what is written."""

from __future__ import annotations

import datetime
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely import LineString, MultiPolygon, box

import habitatmap
from habitatmap.export.formats import RASTERS
from habitatmap.geo.grid import Grid
from habitatmap.plan.candidates import ExclusionZone
from habitatmap.plan.gaps import NotReached
from habitatmap.read.settings import Settings
from habitatmap.result import Result
from habitatmap.result.figures import ReachFigures
from habitatmap.result.tables import PLAN_COLUMNS, POOL_COLUMNS
from habitatmap.survey.codes import PoolBasis
from tests.areas import class_table, write_area

NASTY = '=HYPERLINK("http://x")\n<script>alert(1)</script> {{ 7*7 }} {% raw %} ]]> ‮ "\',;\x00\x0b\r Ünïcødé 樹 -'
GRID = Grid(500_000.0, 5_400_300.0, 10.0, 30, 40)
CRS_UTM = CRS.from_epsg(32632)
AREA_OF_INVENTED_TEXT = "+1 Invented place"


@cache
def base_result() -> Result:
    """What a run finds in a small area: three pools with visits, a meadow, a lawn, nothing else."""
    classes = np.full((30, 40), 1, dtype=np.uint8)
    classes[:, 20:] = 2
    pools = [(name, 500_055.0 + 100 * at, 5_399_895.0) for at, name in enumerate("ABC")]
    visits = [("A", "2025-05-01", "larvae"), ("B", "2025-05-01", "none seen"), ("C", "2025-06-01", "larvae")]
    with TemporaryDirectory() as folder:
        area = write_area(Path(folder) / "a", classes, class_table({1: 0.6, 2: 0.1}), pools=pools, visits=visits)
        return habitatmap.run(habitatmap.open_area(area), public=False)


def invented(rows: int = 3, **changes: Any) -> Result:
    """A result with `rows` rows in every table; the second suggestion lies on private land."""
    rng = np.random.default_rng(4)
    settings = Settings()
    x, y = GRID.left + 100.0 + 10 * np.arange(rows), GRID.top - 100.0 - 10 * np.arange(rows)
    pools = pd.DataFrame({name: [f"{NASTY}{i}" for i in range(rows)] for name in POOL_COLUMNS}, columns=POOL_COLUMNS)
    pools["no_visit"] = ""  # a code
    pools["consent_until"] = "2026-03-31"  # a day
    for name in "x y lon lat uncertainty_m forage_m dead_wood_m forage_score occupancy forage_in_reach".split():
        pools[name] = rng.random(rows)
    pools["x"], pools["y"] = x, y
    pools["forage_m"] = np.nan
    pools["visits"] = np.arange(rows)
    # codes, and the numbers their sentence is made with
    pools = pools.assign(basis=str(PoolBasis.DETECTED), last_seen=2025.0, since=0, surroundings="")
    visits = pd.DataFrame(
        {"pool": [NASTY] * rows, "date": pd.to_datetime(["2025-05-01"] * rows), "larvae": np.nan, "note": NASTY}
    )
    if rows:
        visits.loc[0, "date"] = pd.NaT
    trees = pd.DataFrame({"x": x, "y": y, "genus": NASTY, "diameter_cm": 80.0, "rot_hole_probability": np.nan})
    shapes = [box(a, b, a + 50, b + 50) for a, b in zip(x, y, strict=True)]
    places = gpd.GeoDataFrame(
        {
            "id": [f"L{i}" for i in range(rows)],
            "name": [NASTY] * rows,
            "consent": "ask",
            "pools": 1,
            "forage_mean": np.nan,
        },
        geometry=shapes,
        crs=CRS_UTM,
    )
    # one gap is of two parts, one has a hole
    parts = [s if i else MultiPolygon([s, box(s.bounds[0] + 100, s.bounds[1], s.bounds[0] + 140, s.bounds[1] + 9)])
             for i, s in enumerate(shapes)]  # fmt: skip
    parts = [p.difference(p.centroid.buffer(10, quad_segs=2)) if i == 1 else p for i, p in enumerate(parts)]
    gaps = gpd.GeoDataFrame(
        {
            "rank": np.arange(1, rows + 1),
            "area_ha": 0.25,
            "places_in_flight": 0,
            "nearest_place_m": np.nan,
            "not_reached": NotReached.NO_PLACE,
            "lost_as": ExclusionZone(NASTY),
            "lost_share": 1.0,
            "provisional": False,
        },
        geometry=parts,
        crs=CRS_UTM,
    )
    links = gpd.GeoDataFrame(
        {"from_place": np.arange(rows), "to_place": 0, "probability": 0.5},
        geometry=[LineString([(a, b), (a + 90, b)]) for a, b in zip(x, y, strict=True)],
        crs=CRS_UTM,
    )
    plan = pd.DataFrame([suggestion(i + 1, settings) for i in range(rows)], columns=PLAN_COLUMNS)
    if rows > 1:
        plan.loc[1, ["x", "y", "lon", "lat"]] = np.nan
        plan.loc[1, "private"] = "yes"
    zones = gpd.GeoDataFrame(plan[["rank", "id", "place", "private"]], geometry=shapes, crs=CRS_UTM)
    rasters = {name: rng.random(GRID.shape).astype(np.float32) for name in RASTERS}
    rasters["forage_lean"][:, :7] = np.nan
    parts_of_it = {
        "title": NASTY,
        "settings": settings,
        "crs": CRS_UTM,
        "grid": GRID,
        "rasters": rasters,
        "pools": pools,
        "visits": visits,
        "trees": trees,
        "places": places,
        "plan": plan,
        "plan_exchanged": None,
        "zones": zones,
        "gaps": gaps,
        "ask_first": pd.DataFrame({"rank": np.arange(1, rows + 1), "place": NASTY, "adds": 0.01}),
        "links": links,
        "candidates_lost": pd.DataFrame({"reason": ["no data"] * rows, "cells": np.arange(rows)}),
        "set_aside": pd.DataFrame(
            {"file": ["p.csv"] * rows, "row": 2, "column": "pool", "value": NASTY, "reason": NASTY, "remedy": "=say"}
        ),
        "figures": replace(
            base_result().figures, title=NASTY, as_of=datetime.date(2025, 6, 1), forage_in_reach=_reached(plan)
        ),
    }
    return replace(base_result(), **{**parts_of_it, **changes})


def _reached(plan: pd.DataFrame) -> ReachFigures:
    """Nothing in reach now, and with the plan what its last row says."""
    then = float(plan["cumulative"].iloc[-1]) if len(plan) else 0.0
    return replace(base_result().figures.forage_in_reach, now=0.0, low=0.0, with_plan=then, upper_bound=1.0)


def suggestion(rank: int, settings: Settings, **changes: Any) -> dict[str, Any]:
    """One row of plan.csv."""
    return {
        "rank": rank,
        "id": f"S{rank}",
        "x": GRID.left + 105.0 * rank,
        "y": GRID.top - 55.0,
        "lon": 9.0 + rank / 700,
        "lat": 48.75 + rank / 900,
        "place": AREA_OF_INVENTED_TEXT,
        "consent": "ask",
        "forage_m": 20.0,
        "dead_wood_m": 141.4213562373095,
        "nearest_pool_m": 312.4099870362662,
        "gain": 0.0123 / rank,
        "cumulative": sum(0.0123 / earlier for earlier in range(1, rank + 1)),
        "served_open": 0.0098 / rank,
        "served_closed": 0.0071 / rank,
        "occupancy_expected": 0.31,
        "occupancy_low": 0.1,
        "occupancy_high": 0.6,
        "robustness": 0.8,
        "new_ha": 3.2,
        "new_class": "Park",
        "new_class_share": 0.8,
        "new_month": 7.0,
        "committed": "no",
        "not_allowed": "",
        "also_ask": "",
        "sampled": "yes",
        "private": "no",
    } | changes
