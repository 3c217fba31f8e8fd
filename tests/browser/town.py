"""An invented small town as a finished result, so that the page can be tested without a run. Its names are nobody's."""

from __future__ import annotations

import datetime
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely.geometry import LineString, Point, Polygon, box

from habitatmap.geo.grid import Grid
from habitatmap.habitat.forage import MonthlyForage
from habitatmap.network.places import network_places
from habitatmap.network.turnover import KnownPlaces
from habitatmap.plan.candidates import ExclusionZone, Lost
from habitatmap.plan.gaps import NotReached
from habitatmap.plan.mean_field import Demand, MeanField
from habitatmap.plan.outlook import Strategy
from habitatmap.plan.served import Share, Sites, simulate
from habitatmap.read.land_cover import LandCover
from habitatmap.read.settings import Settings
from habitatmap.result import Missing, Result
from habitatmap.result.figures import CandidateFigures, Counts, ForageFigures, ServedFigures
from habitatmap.survey.codes import PoolBasis
from tests.results import base_result

CRS_CODE = 3035
WEST, NORTH, CELL, SIDE = 4_321_000.0, 3_212_000.0, 10.0, 200
OUTCOMES = ["larvae", "none seen", "dry", "frozen", "gone", "not reached", ""]
MONTHS = (0.05, 0.1, 0.4, 0.9, 1.4, 1.5, 1.4, 1.1, 0.4, 0.5, 0.1, 0.05)  # forage by month, over the season's mean
CLASSES = [
    ("old park", 0.35, 0.6, ""),
    ("wood", 0.15, 0.8, ""),
    ("meadow", 0.6, 0.05, ""),
    ("gardens", 0.45, 0.2, ""),
    ("lawn", 0.12, 0.0, ""),
    ("streets", 0.02, 0.0, ""),
    ("houses", 0.0, 0.0, "building"),
    ("river", 0.0, 0.0, "water"),
    ("allotments", 0.7, 0.1, ""),
    ("yard", 0.01, 0.0, ""),
]


def square(x: float, y: float, half: float) -> Polygon:
    return box(x - half, y - half, x + half, y + half)


def land_cover(rng: np.random.Generator) -> np.ndarray:
    """Blocks of houses and gardens, a park, woods, meadows, a river that bends, and a corner without data."""
    row, col = np.mgrid[0:SIDE, 0:SIDE]
    classes = np.full((SIDE, SIDE), 5, dtype=np.uint16)
    inner = (row % 22 > 2) & (col % 28 > 2)
    classes[inner] = 4
    classes[inner & (row % 22 > 5) & (row % 22 < 10) & (col % 7 > 1) & (col % 28 > 5)] = 7
    classes[:45, 110:][inner[:45, 110:]] = 9
    classes[(row - 70) ** 2 + (col - 60) ** 2 < 36**2] = 1
    classes[(row - 60) ** 2 + (col - 50) ** 2 < 15**2] = 2
    classes[150:, 120:] = 3
    classes[165:, :70] = 2
    classes[130:150, 150:190] = 10
    classes[(row > 100) & (row < 122) & (col < 60)] = 5
    classes[np.abs(row - 112 - 14 * np.sin(col / 26)) < 4] = 8
    classes[:18, :22] = 0
    return classes


def reach(places: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Share of flights that arrive from any place, by the plain formula."""
    y, x = np.mgrid[0:SIDE, 0:SIDE] * CELL + CELL / 2
    missed = np.ones((SIDE, SIDE))
    scale = 250 / 1.678347
    for (px, py), p in zip(places, chance, strict=True):
        d = np.hypot(WEST + x - px, NORTH - y - py) / scale
        missed *= 1 - p * (1 + d) * np.exp(-d)
    return 1 - missed


def years_ahead(places: pd.DataFrame, forage: np.ndarray, grid: Grid) -> Sites:
    """The coming years of the town; what shapes them is found from a few of its places."""
    access = np.where(np.isnan(forage), np.nan, 0.3 * np.nan_to_num(forage) + 0.2)
    known, few = (
        KnownPlaces.of(network_places(some, access), np.full(len(some), 2.0)) for some in (places, places[:40])
    )
    y, x = np.mgrid[50:2000:100, 50:2000:100]
    points = np.column_stack([WEST + x.ravel(), NORTH - y.ravel()])
    demand = Demand(points.astype(float), np.full(len(points), 1.0 / len(points)))
    return Sites(MeanField(known, demand, simulate(few, 250.0, 500.0, 0.42), 10), grid, access)


def town(text: str = "", title: str = "Lindenau on the Wend", pools: int = 60, seed: int = 4) -> Result:
    """A result with something of everything; `text` is put into every text that comes from a record."""
    rng = np.random.default_rng(seed)
    grid = Grid(WEST, NORTH, CELL, SIDE, SIDE)
    settings = Settings.model_validate({"title": title or "untitled"})
    cover = land_cover(rng)
    forage = np.array([np.nan] + [c[1] for c in CLASSES])[cover]
    forage = np.clip(forage * (0.8 + 0.4 * rng.random(forage.shape)), 0, 1)
    dead = np.array([np.nan] + [c[2] for c in CLASSES])[cover]
    label = (lambda usual: text or usual) if text else (lambda usual: usual)

    at = np.column_stack([rng.uniform(WEST + 300, WEST + 1500, pools), rng.uniform(NORTH - 1300, NORTH - 250, pools)])
    chance = rng.uniform(0.1, 0.9, pools).round(3)
    outcome = [OUTCOMES[i % len(OUTCOMES)] for i in range(pools)]
    private = np.where(np.arange(pools) % 3 == 0, "yes", "no")
    pool_frame = pd.DataFrame(
        {
            "pool": [label(f"Pool {i + 1}") + (f" {i}" if text else "") for i in range(pools)],
            "x": at[:, 0],
            "y": at[:, 1],
            "set_out": pd.Timestamp("2025-04-02"),
            "private": private,
            "place": label("Wend Park"),
            "land_cover": label("old park"),
            "basis": PoolBasis.NOT_DETECTED,
            "last_seen": 2026.0,
            "since": 0,
            "surroundings": "",
            "host": "Host Secretname",
            "note": label(""),
            "flag": ["not standing" if o == "gone" else "" for o in outcome],
            "consent": "",
            "consent_until": "",
            "no_visit": "",
            "group": "",
            "last_outcome": outcome,
            "visits": rng.integers(0, 6, pools).astype(float),
            "detections": rng.integers(0, 2, pools).astype(float),
            "occupancy": chance,
            "occupancy_low": chance * 0.6,
            "occupancy_high": np.minimum(1, chance * 1.5),
            "forage_in_reach": rng.uniform(0, 0.01, pools),
        }
    )
    visits = pd.DataFrame({"pool": pool_frame["pool"], "date": pd.Timestamp("2026-07-15"), "outcome": outcome})

    sites = np.array([[1750, 1620], [1400, 1750], [1880, 350], [1600, 1850], [700, 1800], [1350, 150], [1900, 900]])
    sites = np.vstack([sites, [[300, 1850], [1250, 1650], [1700, 1050]]]) * [1.0, -1.0] + [WEST, NORTH]
    hidden = np.isin(np.arange(10), [2, 6])
    gain = 0.05 * 0.8 ** np.arange(10)
    consent = np.array(["yes", "ask", "ask", "yes", "yes", "ask", "provisional", "yes", "ask", "yes"])
    place = ["East Meadow", "Mill Lane Green", "Orchard Row (street)", "Long Meadow", "Wend Bank", "North Yards"]
    place += ["zone of the gardens by the mill", "Old Wood", "School Field", "Weir Path"]
    now = 0.314
    plan = pd.DataFrame(
        {
            "rank": np.arange(1, 11),
            "id": [f"S{rank}" for rank in range(1, 11)],
            "x": np.where(hidden, np.nan, sites[:, 0]),
            "y": np.where(hidden, np.nan, sites[:, 1]),
            "place": [label(p) for p in place],
            "consent": consent,
            "forage_m": 20.0,
            "dead_wood_m": np.linspace(40, 720, 10),
            "nearest_pool_m": np.linspace(310, 1150, 10),
            "gain": gain,
            "cumulative": now + gain.cumsum(),
            "served_open": 0.8 * gain,
            "served_closed": 0.5 * gain,
            "occupancy_expected": 0.42,
            "occupancy_low": 0.25,
            "occupancy_high": 0.61,
            "robustness": np.linspace(0.97, 0.41, 10),
            "state": "to ask",
            "private": np.where(hidden, "yes", "no"),
            "committed": "no",
            "not_allowed": "",
            "also_ask": "",
            "sampled": "yes",
        }
    )
    zones = []
    for (x, y), private_site in zip(sites, hidden, strict=True):
        row, col = (int(v) for v in grid.cell_of(x, y))
        half = 8 if private_site else 3
        middle_x, middle_y = grid.centre(row, col)
        wide = (half + 0.5) * grid.cell_m
        zones.append(box(middle_x - wide, middle_y - wide, middle_x + wide, middle_y + wide))
    zone_frame = gpd.GeoDataFrame(plan[["rank", "id", "place", "private"]], geometry=zones, crs=CRS_CODE)
    standing = np.vstack([at, sites])
    few = min(pools, 1000)  # one by one they take their time
    reach_now = np.where(cover == 0, np.nan, reach(at[:few], chance[:few] * 0.5)).astype(np.float32)
    reach_plan = np.where(cover == 0, np.nan, reach(standing[-few:], np.r_[chance * 0.5, np.full(10, 0.42)][-few:]))

    corner = (WEST + 1450, NORTH - 1750)
    blobs = [square(corner[0] + dx, corner[1] + dy, r) for dx, dy, r in [(250, 100, 160), (350, -120, 70), (20, 0, 90)]]
    blobs += [
        square(WEST + 350, NORTH - 1820, 110),
        square(WEST + 1750, NORTH - 330, 90),
        Point(WEST + 900, NORTH - 1800),
    ]
    blobs[-1] = blobs[-1].buffer(80)
    gaps = gpd.GeoDataFrame(
        {
            "rank": range(1, 7),
            "area_ha": [g.area / 1e4 for g in blobs],
            "share": [0.11, 0.05, 0.04, 0.03, 0.02, 0.01],
            "mean_forage": 0.5,
            "mean_reach": 0.07,
            "nearest_place_m": np.nan,
            "places_in_flight": 0,
            "ground_ha": 0.0,
            "not_reached": NotReached.NO_PLACE,
            "lost_as": ExclusionZone(label("playground")),
            "lost_share": 1.0,
            "provisional": False,
        },
        geometry=blobs,
        crs=CRS_CODE,
    )
    parcels = [
        box(WEST + 250, NORTH - 1060, WEST + 960, NORTH - 340),
        box(WEST + 1200, NORTH - 2000, *corner[::-1][::-1]),
    ]
    parcels = [
        parcels[0],
        box(WEST + 1200, NORTH - 2000, WEST + 2000, NORTH - 1500),
        box(WEST, NORTH - 2000, WEST + 700, NORTH - 1650),
    ]
    parcels.append(box(WEST + 1100, NORTH - 450, WEST + 2000, NORTH))
    places = gpd.GeoDataFrame(
        {
            "name": [label(n) for n in ("Wend Park", "East Meadow", "Old Wood", "")],
            "kind": ["park", "meadow", "wood", "garden"],
            "consent": ["yes", "ask", "no", "ask"],
            "private": ["no", "no", "no", "yes"],
            "area_ha": [p.area / 1e4 for p in parcels],
            "pools": [14, 0, 1, 9],
            "suggestions": [0, 3, 1, 1],
            "forage_mean": [0.3, 0.6, 0.2, np.nan],
        },
        geometry=parcels,
        crs=CRS_CODE,
    )
    lines = [LineString([(WEST, NORTH - 220 * i - 15), (WEST + 2000, NORTH - 220 * i - 15)]) for i in range(1, 7)]
    lines += [LineString([(WEST + 280 * i + 15, NORTH - 1400), (WEST + 280 * i + 15, NORTH)]) for i in range(1, 7)]
    lines += [LineString([(WEST + 300 + 40 * i, NORTH - 700 - 150 * np.sin(i / 2)) for i in range(18)])]
    lines += [LineString([(WEST + 200, NORTH - 1810), (WEST + 1900, NORTH - 1790)])]
    wend = LineString([(WEST + 10 * c, NORTH - 1125 - 140 * np.sin(c / 26)) for c in range(0, 200, 4)])
    paths = gpd.GeoDataFrame(
        {"kind": ["residential"] * 12 + ["footway", "footway", "river"], "name": "", "geometry": [*lines, wend]},
        crs=CRS_CODE,
    )
    near = [(i, j) for i in range(min(pools, 60)) for j in range(i) if np.hypot(*(at[i] - at[j])) < 160]
    links = gpd.GeoDataFrame(
        {
            "from_place": [i for i, _ in near],
            "to_place": [j for _, j in near],
            "length_m": [float(np.hypot(*(at[i] - at[j]))) for i, j in near],
            "probability": [float(np.exp(-np.hypot(*(at[i] - at[j])) / 150)) for i, j in near],
        },
        geometry=[LineString([at[i], at[j]]) for i, j in near],
        crs=CRS_CODE,
    )
    trees = pd.DataFrame(
        {
            "x": rng.uniform(WEST + 300, WEST + 900, 40),
            "y": rng.uniform(NORTH - 1000, NORTH - 400, 40),
            "genus": label("Fagus"),
            "diameter_cm": rng.uniform(20, 120, 40),
            "condition": "living",
            "rot_hole_probability": rng.uniform(0, 1, 40),
        }
    )
    keep_away = gpd.GeoDataFrame(
        {"kind": label("playground"), "distance_m": 50.0},
        index=range(1),
        geometry=[Point(WEST + 640, NORTH - 640)],
        crs=CRS_CODE,
    )
    months = {f"forage_{m:02d}": [c[1] for c in CLASSES] for m in range(1, 13)}
    table = pd.DataFrame({"label": [label(c[0]) for c in CLASSES], "ground": [c[3] for c in CLASSES]})
    table = table.assign(dead_wood=[c[2] for c in CLASSES], **months)
    rasters = {
        "forage_season": forage,
        "forage_lean": forage * 0.4,
        "forage_access": np.where(np.isnan(forage), np.nan, 0.3 * np.nan_to_num(forage) + 0.2),
        "dead_wood": dead,
        "reach_now": reach_now,
        "reach_with_plan": reach_plan,
        "occupancy": np.where(dead > 0.1, 0.42, np.nan),
    }
    row, col = grid.cell_of(at[:, 0], at[:, 1])
    stands = pool_frame["flag"].to_numpy() == ""
    code = np.select([cover == 0, cover == 8], [1, 2], 0).astype(np.uint8)
    site_row, site_col = grid.cell_of(sites[:, 0], sites[:, 1])
    share_seen = np.where(np.indices(cover.shape).min(axis=0) < 12, 0.7, 1.0)
    base = base_result()
    found = base.findings
    lost = {Lost.NO_DATA: 1, ExclusionZone(label("school")): 1, Lost.NEAR_POOL: 0}
    allowed = replace(found.candidates, code=code, lost=lost, allowed=code == 0)
    stands_at = pd.DataFrame({"kind": "pool", "id": pool_frame["pool"], "row": row, "col": col, "p": chance})[stands]
    stands_at = stands_at.assign(x=at[stands, 0], y=at[stands, 1], place=np.arange(stands.sum()))
    selection = replace(
        found.proposal.selection,
        frame=pd.DataFrame({"rank": plan["rank"], "row": site_row, "col": site_col, "p": 0.42}),
    )
    findings = replace(
        found,
        habitat=replace(found.habitat, season=forage, access_share=share_seen, weight=forage.astype(np.float32)),
        reach=replace(found.reach, not_reached=1.0 - np.nan_to_num(reach_now)),
        candidates=allowed,
        places=replace(found.places, frame=stands_at),
        ahead=years_ahead(stands_at, forage, grid),
        proposal=replace(
            found.proposal,
            selection=selection,
            problem=replace(found.proposal.problem, candidates=np.where(code == 0, 0.42, np.nan)),
        ),
    )
    with_plan = now + float(gain.sum())
    few = {"read": 64, "accepted": 60, "set_aside": 4}
    figures = replace(
        base.figures,
        crs=f"EPSG:{CRS_CODE}",
        as_of=datetime.date(2026, 11, 25),
        intake={k: Counts(**few) for k in ("pools", "visits", "trees", "land", "keep_away")},
        occupancy=replace(base.figures.occupancy, pools_visited=52, naive=0.38, estimate=0.51, low=0.37, high=0.66),
        forage_in_reach=replace(
            base.figures.forage_in_reach,
            now=now,
            low=0.27,
            high=0.36,
            with_plan=with_plan,
            with_plan_low=0.43,
            with_plan_high=0.58,
            upper_bound=with_plan + 0.009,
            with_plan_by_forage_median_m={"100": 0.24, "500": 0.91},
            index_ha=21.4,
            measured_share=0.64,
        ),
        candidates=CandidateFigures(40_000, {label("water"): 1700, label("refused land"): 2450}, 35_850),
        plan=replace(base.figures.plan, pools=10, share_of_bound=0.96, exchange_gain=0.0),
        served=ServedFigures(
            years=10,
            now=Share(open=0.42, closed=0.36),
            with_plan=Share(open=0.42 + 0.8 * float(gain.sum()), closed=0.36 + 0.5 * float(gain.sum())),
            rules={Strategy.RANDOM: Share(open=0.5, closed=0.36 + 0.48 * float(gain.sum()))},
            share_of_limit=0.934,
            share_of_limit_if_found=0.971,
        ),
        network=replace(base.figures.network, places=54, components=3, costliest_loss=None),
        forage=ForageFigures(9, tuple(range(3, 11))),
        missing=(Missing.INVENTORIED,),
        notes=(label("All of this is invented."),),
        credits=(label("Land cover: invented for this test"),),
    )
    set_aside = pd.DataFrame(
        {
            "file": label("pools.csv"),
            "row": [4, 9, 17],
            "column": "x",
            "value": label("?"),
            "reason": [
                label("the row has no pool name"),
                label("the row has no pool name"),
                label("two places for one pool"),
            ],
            "remedy": "give one",
        }
    )
    return replace(
        base,
        title=title,
        settings=settings,
        crs=CRS.from_epsg(CRS_CODE),
        grid=grid,
        land_cover=LandCover(cover, table, [], "invented"),
        rasters={name: np.asarray(values, dtype=np.float32) for name, values in rasters.items()},
        forage_months=MonthlyForage.of(np.stack([forage * share for share in MONTHS]).astype(np.float32)),
        pools=pool_frame,
        visits=visits,
        trees=trees,
        places=places,
        keep_away=keep_away,
        paths=paths,
        boundary=box(WEST + 60, NORTH - 1960, WEST + 1960, NORTH - 60),
        plan=plan,
        zones=zone_frame,
        gaps=gaps,
        links=links,
        set_aside=set_aside,
        figures=figures,
        findings=findings,
        ask_first=base.ask_first.iloc[:0],
        sensitivity=base.sensitivity.iloc[:0],
    )


def blurred(result: Result) -> Result:
    """The town as a run on the blurred area would give it: private pools in the middle of their square, numbered."""
    side = result.settings.public.blur_m
    pools = result.pools.copy()
    private = pools["private"] == "yes"
    for axis in ("x", "y"):
        pools.loc[private, axis] = (np.floor(pools.loc[private, axis] / side) + 0.5) * side
    pools["pool"] = [f"private {i}" for i in range(len(pools))]
    pools = pools.assign(host="", note="")
    return replace(result, pools=pools, visits=result.visits.iloc[:0])


def nothing_in_it() -> Result:
    """The town without a row in any table, without land cover, rasters, boundary and forage."""
    result = town()
    empty = "pools visits trees places keep_away paths plan zones gaps links set_aside".split()
    unknown = dict.fromkeys(("now", "low", "high", "with_plan", "with_plan_low", "with_plan_high"), np.nan)
    reach = replace(
        result.figures.forage_in_reach, **unknown, upper_bound=np.nan, index_ha=np.nan, measured_share=np.nan
    )
    found, nothing = result.findings, np.full((SIDE, SIDE), np.nan, dtype=np.float32)
    return replace(
        result,
        **{name: getattr(result, name).iloc[:0] for name in empty},
        land_cover=None,
        rasters={},
        boundary=None,
        forage_months=None,
        figures=replace(result.figures, forage_in_reach=reach),
        findings=replace(found, habitat=replace(found.habitat, weight=nothing)),
    )
