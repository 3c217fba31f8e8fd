"""Fresh towns to judge plans on, each an area folder: layouts that differ from the demo town's, with a known truth.

A town is drawn from its layout and a seed: where homes, streets, woods, parks and fields lie, who consents, how many
old trees there are, where pools were set out and when. Which pools hold larvae comes from ten simulated years of
flies that find pools and die out again, by flights and rates that no planner of the house uses; the truth is closed
(flies come from mapped places only) for odd seeds and open (most come from outside) for even ones. Visits are
searches of that truth, each of which misses about half of the larvae. Lengths are metres from the south-west corner of
the frame. All rates and ranges are made up (expert judgement). The layouts of SHAPING may be looked at while a
plan is worked on, those of SEALED only once it is settled.
"""

from __future__ import annotations

import hashlib
import math
import pickle
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import partial
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.transform import from_origin
from scipy.spatial.distance import cdist
from scipy.stats import norm
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatmap.area import Area, open_area
from habitatmap.habitat.score import Habitat, score_habitat
from habitatmap.job import choose_sites, likely_places, reach_now, survey_pools, where_pools_may_stand, years_ahead
from habitatmap.plan.candidates import Candidates
from habitatmap.result.findings import Places, Proposal, Survey
from tests.areas import write_raster
from tests.demo import demo_script

DEMO = demo_script()
CELL_M = 10
AS_OF = date(2025, 10, 15)
LEGEND = {
    "water": "osm:natural=water",
    "sealed": "osm:amenity=parking",
    "building": "osm:building=*",
    "homes": "osm:landuse=residential",
    "arable": "corine:211",
    "pasture": "corine:231",
    "meadow": "osm:landuse=meadow",
    "heath": "osm:natural=heath",
    "scrub": "osm:natural=scrub",
    "wood": "osm:natural=wood",
    "orchard": "osm:landuse=orchard",
    "park": "osm:leisure=park",
    "cemetery": "osm:landuse=cemetery",
    "allotments": "osm:landuse=allotments",
}
OLD_CM = 60  # stem diameter from which a tree may have a rot-hole that matters here
ROTTING = ("Fagus sylvatica", "Aesculus hippocastanum", "Acer platanoides", "Salix alba", "Betula pendula")
YEARS = 10  # simulated before as_of

Patch = tuple[str, BaseGeometry]  # class of the legend, shape
NOTHING = Polygon()


@dataclass
class Sketch:
    """A town on a square frame. What is named later lies on top: fields, country, homes, greens, streets, water."""

    side: int
    towns: list[Polygon] = field(default_factory=list)
    streets: list[LineString] = field(default_factory=list)
    country: list[Patch] = field(default_factory=list)
    greens: list[Patch] = field(default_factory=list)
    water: BaseGeometry = NOTHING
    farmed: tuple[float, float, float] = (0.55, 0.33, 0.12)  # shares of arable, pasture, meadow among the fields

    @property
    def frame(self) -> Polygon:
        return shapely.box(0, 0, self.side, self.side)

    @property
    def town(self) -> BaseGeometry:
        return shapely.union_all(self.towns)


# --- layouts ---------------------------------------------------------------------------------------------------------


def ribbon(random: Random) -> Sketch:
    """One long street with houses, fields on both sides."""
    s = Sketch(random.choice((4000, 4400, 4800)))
    road = wave(s.side, s.side * random.uniform(0.4, 0.6), random)
    half = random.uniform(130, 230)
    town = clip(road, shapely.box(300, 0, s.side - 300, s.side)).buffer(half)
    s.towns = [town]
    s.streets = [road, *cross_streets(road, random.uniform(90, 160), half - 20)]
    s.greens += patches("park", town, 2, (40, 70), random) + patches("cemetery", town, 1, (40, 70), random)
    s.greens += patches("meadow", town, 4, (25, 45), random)
    s.country += patches("allotments", town.buffer(160) - town, 2, (60, 110), random)
    s.country += patches("wood", s.frame - town.buffer(250), random.randint(3, 6), (100, 260), random)
    s.country += patches("meadow", town.buffer(500) - town, random.randint(4, 9), (60, 150), random)
    return s


def villages(random: Random) -> Sketch:
    """Four to six villages, each with a green and a churchyard; farmland between."""
    s = Sketch(random.choice((4400, 4800)))
    centres = drop(s.frame.buffer(-500), random.randint(4, 6), 1000, random)
    for centre in centres:
        radius = random.uniform(170, 330)
        village = DEMO.blob(centre.x, centre.y, radius, random)
        s.towns.append(village)
        turns = [2 * math.pi * (i + random.random() / 2) / 6 for i in range(6)]
        s.streets += [clip(ray(centre, turn, 1.4 * radius), village) for turn in turns]
        s.greens += [("park", DEMO.blob(centre.x, centre.y, random.uniform(25, 45), random))]
        s.greens += patches("cemetery", village, 1, (25, 40), random)
        s.country += patches("orchard", village.buffer(220) - village, random.randint(0, 4), (50, 100), random)
        s.country += patches("meadow", village.buffer(350) - village, random.randint(1, 3), (60, 140), random)
    s.streets += [LineString([a, b]) for a, b in pairwise(centres)]
    away = s.frame - s.town.buffer(300)
    s.country += patches("wood", away, random.randint(2, 5), (120, 330), random)
    s.country += patches("scrub", away, 4, (30, 60), random)
    return s


def grid(random: Random) -> Sketch:
    """Streets at right angles, pocket parks in some blocks, one large cemetery; little farmland."""
    s = Sketch(random.choice((3600, 4000)))
    pitch, turn = random.uniform(100, 160), random.uniform(0, 45)
    middle = Point(s.side / 2, s.side / 2)
    columns, rows = (round(random.uniform(2000, 2800) / pitch) for _ in range(2))
    west, south = middle.x - columns * pitch / 2, middle.y - rows * pitch / 2
    turned = partial(shapely.affinity.rotate, angle=turn, origin=middle)
    east, north = west + columns * pitch, south + rows * pitch
    town = turned(shapely.box(west, south, east, north))
    s.towns = [town]
    upright = [LineString([(west + i * pitch, south), (west + i * pitch, north)]) for i in range(columns + 1)]
    level = [LineString([(west, south + j * pitch), (east, south + j * pitch)]) for j in range(rows + 1)]
    s.streets = [turned(line) for line in upright + level]

    def block(i: int, j: int, size: int = 1) -> BaseGeometry:
        x, y = west + i * pitch, south + j * pitch
        return turned(shapely.box(x, y, x + size * pitch, y + size * pitch).buffer(-6))

    for _ in range(round(columns * rows * random.uniform(0.03, 0.09))):
        kind = random.choices(("park", "meadow"), (0.8, 0.2))[0]
        s.greens.append((kind, block(random.randrange(columns), random.randrange(rows))))
    s.greens.append(("cemetery", block(random.randrange(columns - 2), random.randrange(rows - 2), 2)))
    s.greens.append(("park", block(random.randrange(columns - 3), random.randrange(rows - 3), random.choice((1, 3)))))
    s.country += patches("allotments", town.buffer(200) - town, random.randint(1, 4), (60, 120), random)
    s.country += patches("wood", s.frame - town.buffer(80), random.randint(0, 3), (100, 250), random)
    return s


def coast(random: Random) -> Sketch:
    """The sea on one half of the frame, the town along its shore."""
    s = Sketch(random.choice((4400, 4800)))
    shore = wave(s.side, s.side * random.uniform(0.42, 0.52), random)
    s.water = Polygon([(-100, -100), *shore.coords, (s.side + 100, -100)])
    deep = random.uniform(450, 900)
    start = s.side * random.uniform(0.08, 0.3)
    here = shapely.box(start, 0, start + s.side * random.uniform(0.5, 0.62), s.side)
    town = (clip(shore, here).buffer(deep) & here) - s.water.buffer(60)
    s.towns = [town]
    s.streets = [clip(shore.offset_curve(at), town) for at in np.arange(90, deep, random.uniform(110, 170))]
    s.streets += [clip(line, town) for line in cross_streets(shore, random.uniform(140, 260), deep)]
    s.greens += patches("park", town, random.randint(2, 5), (40, 130), random)
    s.greens += patches("cemetery", town, 1, (50, 90), random)
    land = s.frame - s.water
    s.country += [("heath", (shore.buffer(160) & land) - town)]
    s.country += patches("meadow", land - town, random.randint(3, 7), (80, 200), random)
    s.country += patches("wood", land - town.buffer(200), random.randint(1, 3), (150, 320), random)
    s.country += patches("allotments", (town.buffer(250) - town) & land, 2, (60, 120), random)
    return s


def forest_edge(random: Random) -> Sketch:
    """A large wood on one side; lanes with houses sprawl from it."""
    s = Sketch(random.choice((4000, 4400)))
    edge = [(y, x) for x, y in wave(s.side, s.side * random.uniform(0.28, 0.42), random).coords]
    wood = Polygon([(-100, -100), (-100, s.side + 100), *reversed(edge)]).buffer(0)
    lanes = []
    for start in drop(shapely.box(s.side * 0.4, 500, s.side - 500, s.side - 500), random.randint(9, 16), 280, random):
        points, turn = [(start.x, start.y)], random.uniform(0, 2 * math.pi)
        for _ in range(random.randint(3, 7)):
            turn += random.uniform(-0.7, 0.7)
            points.append((points[-1][0] + 110 * math.cos(turn), points[-1][1] + 110 * math.sin(turn)))
        lanes.append(LineString(points))
    town = (shapely.union_all(lanes).buffer(random.uniform(55, 95)) & s.frame.buffer(-200)) - wood
    s.towns = DEMO.polygons(town)
    s.streets = lanes
    s.country += [("wood", wood), *patches("meadow", wood, random.randint(2, 6), (60, 130), random)]
    s.country += patches("meadow", s.frame - wood - town, random.randint(4, 10), (60, 160), random)
    s.country += patches("orchard", town.buffer(200) - town - wood, random.randint(0, 4), (50, 110), random)
    s.greens += patches("park", town, random.randint(1, 4), (35, 70), random)
    s.greens += patches("cemetery", town.buffer(60), 1, (50, 80), random)
    s.farmed = (0.2, 0.6, 0.2)
    return s


def valley(random: Random) -> Sketch:
    """A river with meadows, the town in the bottom, orchards on the slopes, woods above."""
    s = Sketch(random.choice((4000, 4400, 4800)))
    river = wave(s.side, s.side * random.uniform(0.42, 0.58), random)
    s.water = river.buffer(random.uniform(10, 25))
    plain, half = river.buffer(random.uniform(50, 110)), random.uniform(280, 480)
    start = s.side * random.uniform(0.12, 0.3)
    here = shapely.box(start, 0, start + s.side * random.uniform(0.4, 0.58), s.side)
    town = (clip(river, here).buffer(half) & here) - plain
    s.towns = DEMO.polygons(town)
    for side in (-1, 1):
        s.streets += [clip(river.offset_curve(side * at), town) for at in np.arange(130, half, 120)]
    s.streets += [clip(line, town) for line in cross_streets(river, random.uniform(150, 240), half)]
    slopes, heights = river.buffer(half + 650) - river.buffer(half), s.frame - river.buffer(half + 600)
    s.country += [("meadow", plain), *patches("orchard", slopes, random.randint(5, 14), (60, 150), random)]
    s.country += patches("scrub", slopes, 4, (30, 70), random)
    s.country += patches("wood", heights, random.randint(4, 8), (180, 420), random)
    s.greens += patches("park", town, random.randint(1, 3), (50, 110), random)
    s.greens += patches("cemetery", town, 1, (40, 70), random) + patches("allotments", town, 2, (50, 80), random)
    s.farmed = (0.2, 0.55, 0.25)
    return s


def twin(random: Random) -> Sketch:
    """Two towns with a green belt between them."""
    s = Sketch(random.choice((4400, 4800)))
    for share in (0.27, 0.73):
        centre = Point(s.side * share, s.side * random.uniform(0.38, 0.62))
        radius = random.uniform(480, 780)
        town = DEMO.blob(centre.x, centre.y, radius, random)
        s.towns.append(town)
        rings = [town.buffer(-at).boundary for at in np.arange(90, radius, random.uniform(110, 170))]
        s.streets += [line for ring in rings for line in DEMO.lines_of(ring)]
        s.streets += [clip(ray(centre, 2 * math.pi * i / 10, 1.4 * radius), town) for i in range(10)]
        s.greens += patches("park", town, random.randint(1, 3), (50, 110), random)
        s.greens += patches("cemetery", town, 1, (40, 80), random)
    belt = shapely.box(s.side * 0.44, 500, s.side * 0.56, s.side - 500) - s.town
    for kind, most in (("meadow", 5), ("wood", 5), ("park", 3), ("allotments", 4)):
        s.country += patches(kind, belt, random.randint(1, most), (70, 180), random)
    s.country += patches("wood", s.frame - s.town.buffer(150) - belt, random.randint(0, 4), (120, 280), random)
    return s


LAYOUTS: dict[str, Callable[[Random], Sketch] | None] = {
    "demo": None,  # has a script of its own
    "ribbon": ribbon,
    "villages": villages,
    "grid": grid,
    "coast": coast,
    "forest_edge": forest_edge,
    "valley": valley,
    "twin": twin,
}
NAMES = list(LAYOUTS)
SHAPING = [(name, 101 + 3 * i + k) for i, name in enumerate(NAMES[:4]) for k in range(3)]
SEALED = [(name, 201 + 3 * i + k) for i, name in enumerate(NAMES[4:]) for k in range(3)]


# --- shapes ----------------------------------------------------------------------------------------------------------


def wave(side: int, at: float, random: Random) -> LineString:
    """A gently winding line from west to east at about this height."""
    bends = [(random.uniform(60, 180), random.uniform(500, 800)), (random.uniform(15, 50), random.uniform(150, 260))]
    shift = random.uniform(0, 2 * math.pi)
    xs = range(-100, side + 101, 25)
    return LineString([(x, at + sum(high * math.sin(x / long + shift) for high, long in bends)) for x in xs])


def ray(start: Point, turn: float, length: float) -> LineString:
    return LineString([start, (start.x + length * math.cos(turn), start.y + length * math.sin(turn))])


def cross_streets(road: LineString, every: float, length: float) -> list[LineString]:
    """Lines across the road, so long to each side."""
    lines = []
    for at in np.arange(every, road.length - every, every):
        here, there = road.interpolate(at), road.interpolate(at + 1)
        turn = math.atan2(there.y - here.y, there.x - here.x) + math.pi / 2
        ends = [ray(here, turn + half, length).coords[1] for half in (0, math.pi)]
        lines.append(LineString(ends))
    return lines


def clip(line: BaseGeometry, shape: BaseGeometry) -> BaseGeometry:
    return line.intersection(shape)


def drop(shape: BaseGeometry, n: int, apart: float, random: Random, tries: int = 4000) -> list[Point]:
    """Up to n points in the shape, no two nearer than `apart`; fewer where no more were found to fit."""
    west, south, east, north = shape.bounds
    shapely.prepare(shape)
    points: list[Point] = []
    for _ in range(tries):
        point = Point(random.uniform(west, east), random.uniform(south, north))
        if shape.contains(point) and all(point.distance(other) >= apart for other in points):
            points.append(point)
        if len(points) >= n:
            break
    return points


def patches(kind: str, where: BaseGeometry, n: int, radii: tuple[float, float], random: Random) -> list[Patch]:
    """Rounded patches of ground whose middles lie in `where`, cut to it."""
    found = [DEMO.blob(p.x, p.y, random.uniform(*radii), random) & where for p in drop(where, n, radii[0], random)]
    return [(kind, shape) for shape in found if not shape.is_empty]


def draw_fields(s: Sketch, random: Random) -> list[Patch]:
    """Parcels all over the frame."""
    seeds = [
        (x + random.uniform(-90, 90), y + random.uniform(-70, 70))
        for x in range(-200, s.side + 201, 280)
        for y in range(-200, s.side + 201, 220)
    ]
    parcels = shapely.get_parts(shapely.voronoi_polygons(shapely.MultiPoint(seeds), ordered=True))
    inside = [parcel & s.frame for parcel in parcels if parcel.intersects(s.frame)]
    return [(random.choices(("arable", "pasture", "meadow"), s.farmed)[0], parcel) for parcel in inside]


def draw_houses(s: Sketch, open_ground: BaseGeometry, random: Random) -> list[Polygon]:
    """Houses along the streets, none on open ground."""
    shapely.prepare(open_ground)
    houses = []
    for line in (part for street in s.streets for part in DEMO.lines_of(street)):
        at = random.uniform(10, 25)
        while at < line.length - 2:
            here, there = line.interpolate(at), line.interpolate(at + 1)
            turn = math.atan2(there.y - here.y, there.x - here.x)
            for side in (-math.pi / 2, math.pi / 2):
                middle = Point(ray(here, turn + side, 17).coords[1])
                houses.append(DEMO.house(middle, random.uniform(10, 18), 11, turn))
            at += random.uniform(22, 45)
    town = s.town
    shapely.prepare(town)
    return [built for built in houses if town.contains(built.centroid) and not open_ground.intersects(built)]


# --- the folder ------------------------------------------------------------------------------------------------------


def invent(layout: str, seed: int, folder: Path) -> Path:
    """Writes the town of this layout and seed as an area folder, the same at every call."""
    folder.mkdir(parents=True, exist_ok=True)
    draw = LAYOUTS[layout]
    if draw is None:
        DEMO.main(folder, seed)
    else:
        random = Random(f"{layout} {seed}")
        _write_town(draw(random), f"{layout} {seed}", folder, random)
    write_visits(folder, np.random.default_rng([NAMES.index(layout), seed]), outside=seed % 2 == 0)
    return folder


def _write_town(s: Sketch, title: str, folder: Path, random: Random) -> None:
    """Every file but the visits."""
    (folder / "area.toml").write_text(
        f'title = "{title} (invented)"\ncrs = "{DEMO.CRS}"\nas_of = {AS_OF}\n\n[land_cover]\nclasses = "classes.csv"\n',
        encoding="utf-8",
    )
    classes = [
        {"code": i, "label": name.capitalize(), "like": like} for i, (name, like) in enumerate(LEGEND.items(), 1)
    ]
    DEMO.write_csv(folder / "classes.csv", ["code", "label", "like"], classes)
    fields = draw_fields(s, random)
    roads = shapely.union_all(s.streets).buffer(6)
    open_ground = shapely.union_all([roads, s.water, *(shape for _, shape in s.greens)])
    layers = [
        *fields,
        *s.country,
        *(("homes", town) for town in s.towns),
        *s.greens,
        ("sealed", roads),
        *(("building", house) for house in draw_houses(s, open_ground, random)),
        ("water", s.water),
    ]
    code = {name: i for i, name in enumerate(LEGEND, 1)}
    shapes = [(shape, code[kind]) for kind, shape in layers if not shape.is_empty]
    cells = s.side // CELL_M
    cover = rasterize(shapes, (cells, cells), transform=from_origin(0, s.side, CELL_M, CELL_M), dtype="uint8")
    corner = (DEMO.WEST, DEMO.SOUTH + s.side)
    write_raster(folder / "land_cover.tif", cover, crs=DEMO.CRS, nodata=0, origin=corner, compress="deflate")
    around = s.town.buffer(random.uniform(900, 1200)).buffer(-random.uniform(500, 700))
    boundary = (around & s.frame.buffer(-100)) - s.water
    DEMO.write_geojson(folder / "boundary.geojson", [(boundary, {"name": title})])
    _write_land(s, fields, folder, random)
    trees = draw_trees(s, random)
    DEMO.write_csv(folder / "trees.csv", ["tree", "species", "diameter_cm", "x", "y"], trees)
    DEMO.write_csv(folder / "pools.csv", ["pool", "x", "y", "set_out", "private"], draw_pools(s, boundary, random))


def _write_land(s: Sketch, fields: Sequence[Patch], folder: Path, random: Random) -> None:
    """Greens, the ground around the town and some of the fields, each with what its owner said."""
    said, shares = ("yes", "ask", "no"), (random.uniform(0.15, 0.7), random.uniform(0.1, 0.5), random.uniform(0.1, 0.5))
    taken = shapely.union_all([*s.towns, s.water, *(shape for _, shape in s.country)])
    listed = random.uniform(0.0, 0.3)
    some = [(kind, shape - taken) for kind, shape in fields if random.random() < listed]
    rows: list[tuple[BaseGeometry, dict[str, str]]] = []
    for kind, shape in [*s.greens, *((kind, shape - s.town) for kind, shape in s.country), *some]:
        if shape.area < 400:
            continue
        # the first green says yes, so that every town has a place for a pool
        consent = random.choices(said, shares)[0] if rows else "yes"
        private = "no" if kind == "allotments" and random.random() < 0.5 else ""
        row = {"name": f"{kind} {len(rows) + 1}", "kind": kind, "consent": consent, "private": private}
        rows.append((shape, row))
    DEMO.write_geojson(folder / "land.geojson", rows)


def draw_trees(s: Sketch, random: Random) -> list[dict[str, object]]:
    """Twenty to 250 old trees in some clusters, and as many young ones: in greens and woods, along streets."""
    wooded = [shape for kind, shape in [*s.greens, *s.country] if kind in ("park", "cemetery", "wood", "orchard")]
    where = shapely.union_all([*wooded, shapely.union_all(s.streets).buffer(12)]) - s.water
    old = round(math.exp(random.uniform(math.log(20), math.log(250))))
    clusters = drop(where, random.choice((2, 3, 5, 8, 14, 24)), 100, random)
    spread = random.uniform(30, 130)
    land = s.frame - s.water
    shapely.prepare(land)
    rows: list[dict[str, object]] = []
    while len(rows) < 2 * old:
        middle = random.choice(clusters)
        x, y = random.gauss(middle.x, spread), random.gauss(middle.y, spread)
        if land.contains(Point(x, y)):
            diameter = random.uniform(OLD_CM + 10, 140) if len(rows) < old else random.uniform(12, 45)
            row = {"tree": len(rows) + 1, "species": random.choice(ROTTING), "diameter_cm": round(diameter)}
            rows.append(row | {"x": x, "y": y})
    return rows


def draw_pools(s: Sketch, boundary: BaseGeometry, random: Random) -> list[dict[str, object]]:
    """Eight to 45 pools: in the greens, along the streets, on one side of the town, in few clusters or scattered."""
    greens = shapely.union_all([shape for kind, shape in [*s.greens, *s.country] if kind != "wood"])
    streets = shapely.union_all(s.streets)
    turn = random.uniform(0, 2 * math.pi)
    half_plane = ray(s.town.centroid, turn, 3 * s.side).buffer(1.5 * s.side, single_sided=True)
    clusters = shapely.union_all([p.buffer(140) for p in drop(s.town, random.randint(2, 4), 400, random)])
    grounds = {
        "greens": greens,
        "streets": streets.buffer(28) - streets.buffer(9),
        "one side": s.town & half_plane,
        "clusters": clusters,
        "scattered": s.town.buffer(200),
    }
    where = grounds[random.choice(list(grounds))] & boundary.buffer(-20)
    first = random.randint(2020, 2024)
    points = drop(where, random.randint(8, 45), 35, random)
    return [
        {
            "pool": f"P{i:02d}",
            "x": point.x,
            "y": point.y,
            "set_out": date(random.randint(first, 2025), random.choice((3, 4)), random.randint(1, 28)),
            "private": "" if greens.contains(point) else "yes",
        }
        for i, point in enumerate(points, 1)
    ]


# --- the truth, and what was seen of it ------------------------------------------------------------------------------


def simulate_truth(
    pools: NDArray[np.float64],
    years: NDArray[np.int64],
    trees: NDArray[np.float64],
    random: np.random.Generator,
    *,
    outside: bool,
) -> NDArray[np.bool_]:
    """Which pools held larvae in the last seasons: (2, pools), the season before the last one first.

    pools, trees: (n, 2) metres; years: how many seasons each pool has stood. Pools begin empty, four of ten trees are
    occupied. The rate of arrivals is chosen such that the share of occupied pools now is as near as can be to one
    drawn from 0.3 to 0.65.
    """
    xy, n = np.vstack([pools, trees]), len(pools)
    d = cdist(xy, xy)
    if random.random() < 0.5:  # how rare far flights are: lognormal, or a power of the distance
        flights = norm.sf(np.log(np.maximum(d, 1.0) / random.uniform(250, 800)) / random.uniform(0.8, 1.2))
    else:
        flights = (1 + d / random.uniform(150, 400)) ** -random.uniform(1.5, 2.5)
    np.fill_diagonal(flights, 0.0)
    quality = np.exp(random.normal(0, 0.4, len(xy)))
    flow = flights * quality / (flights @ quality).mean()  # 1 at the usual place were every other occupied
    lost = np.minimum(0.9, random.uniform(0.15, 0.5) / np.sqrt(quality))
    share_outside = random.uniform(0.6, 0.9) if outside else 0.0
    target = random.uniform(0.3, 0.65)
    begin = random.random(len(xy)) < 0.4
    begin[:n] = False
    luck = random.random((YEARS, len(xy)))
    exists = np.ones((YEARS, len(xy)), dtype=bool)
    exists[:, :n] = np.arange(YEARS)[:, None] >= YEARS - years

    def last_seasons(rate: float) -> NDArray[np.bool_]:
        now, seen = begin, []
        for year in range(YEARS):
            found = 1 - np.exp(-rate * ((1 - share_outside) * flow @ now + share_outside))
            now = (luck[year] < np.where(now, 1 - lost * (1 - found), found)) & exists[year]
            seen.append(now[:n])
        return np.array(seen[-2:])

    tried = [last_seasons(rate) for rate in np.geomspace(0.02, 40, 80)]
    return min(tried, key=lambda seasons: abs(seasons[-1].mean() - target))


def write_visits(folder: Path, random: np.random.Generator, *, outside: bool) -> None:
    """Searches of the simulated truth at most pools of the folder, in its last one or two seasons."""
    pools = pd.read_csv(folder / "pools.csv").dropna(subset="pool")
    if "removed" in pools:
        pools = pools[pools["removed"].isna()]
    trees = pd.read_csv(folder / "trees.csv")
    living = trees["condition"].eq("living") if "condition" in trees else True
    old = trees[pd.to_numeric(trees["diameter_cm"], errors="coerce").ge(OLD_CM) & living]
    set_out = pd.to_datetime(pools["set_out"])
    years = ((pd.Timestamp(AS_OF) - set_out).dt.days / 365.25).round().clip(lower=1).to_numpy().astype(np.int64)
    held = simulate_truth(
        pools[["x", "y"]].to_numpy(float), years, old[["x", "y"]].to_numpy(float), random, outside=outside
    )
    detection, seasons = random.uniform(0.4, 0.6), random.integers(1, 3)
    rows = []
    for k, (pool, since) in enumerate(zip(pools["pool"], set_out, strict=True)):
        if random.random() < 0.15:
            continue  # nobody went there
        for year in range(AS_OF.year + 1 - seasons, AS_OF.year + 1):
            occupied = held[year - AS_OF.year - 1, k]
            if since.year > year:
                continue
            for day in sorted(random.choice(140, random.integers(2, 6), replace=False)):
                seen = occupied and random.random() < detection
                when = date(year, 5, 10) + timedelta(days=int(day))
                rows.append({"pool": pool, "date": when, "outcome": "larvae" if seen else "none seen"})
    DEMO.write_csv(folder / "visits.csv", ["pool", "date", "outcome"], rows)


# --- what the house makes of it --------------------------------------------------------------------------------------


class Study(NamedTuple):
    """A town after the stages of a run that a judge needs."""

    area: Area
    habitat: Habitat
    survey: Survey
    places: Places
    allowed: Candidates
    proposal: Proposal


def study(layout: str, seed: int, cache: Path) -> Study:
    """The town after its stages, from `cache` where it lies there already; delete the cache when a stage changes."""
    drawn = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:8]
    kept = cache / f"{layout}-{seed}-{drawn}.pickle"
    if kept.exists():
        found: Study = pickle.loads(kept.read_bytes())
        return found
    area = open_area(invent(layout, seed, cache / f"{layout}-{seed}"))
    habitat = score_habitat(area)
    survey = survey_pools(area, habitat)
    places = likely_places(area, survey)
    allowed = where_pools_may_stand(area, habitat, survey)
    ahead, reach = years_ahead(area, habitat, survey, places), reach_now(area, habitat, survey, places)
    chosen = choose_sites(area, habitat, survey, places, allowed, ahead, reach)
    found = Study(area, habitat, survey, places, allowed, chosen)
    kept.write_bytes(pickle.dumps(found))
    return found
