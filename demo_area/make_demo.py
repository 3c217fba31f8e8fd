"""Invents Quendelfurt, the demo town, and writes its area folder: python demo_area/make_demo.py [FOLDER [SEED]]

python demo_area/make_demo.py --next-year FOLDER writes the town a year later over a copy of it that has been mapped.

Nothing in it is real. The town lies in the open North Sea, so that no garden, no grave and nobody's land is meant;
names are made up, and places are drawn with a fixed seed; another seed gives another town. Because the truth is known
here (TRUE_OCCUPANCY, TRUE_DETECTION), what the tool estimates can be held against it. Lengths are metres from the
south-west corner of a square of 4 x 4 km.
"""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pyproj
import rasterio
import shapely
from rasterio.features import rasterize
from rasterio.transform import from_origin
from shapely import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

SEED = 1907
CRS = "EPSG:25832"
WEST, SOUTH, SIDE, CELL = 400_000, 6_000_000, 4000, 10
AS_OF = date(2025, 10, 15)

TRUE_OCCUPANCY = 0.5  # chance that a pool holds larvae, the same for every pool
TRUE_DETECTION = 0.5  # chance that one look finds them where they are

# our own legend, in the order of the codes: each class borrows its values from a table in layers/
CLASSES = {
    "water": "osm:natural=water",
    "sealed": "osm:amenity=parking",
    "building": "osm:building=*",
    "old town": "corine:111",
    "homes": "osm:landuse=residential",
    "industry": "osm:landuse=industrial",
    "arable": "corine:211",
    "pasture": "corine:231",
    "meadow": "osm:landuse=meadow",
    "reeds": "osm:natural=wetland",
    "wood": "osm:natural=wood",
    "orchard": "osm:landuse=orchard",
    "park": "osm:leisure=park",
    "cemetery": "osm:landuse=cemetery",
    "allotments": "osm:landuse=allotments",
    "school": "osm:amenity=school",
    "pitch": "osm:leisure=pitch",
    "playground": "osm:leisure=playground",
    "railway": "osm:landuse=railway",
}
STREETS = (
    "Thyme Sage Mint Sorrel Yarrow Bramble Hawthorn Elder Rowan Sallow Hazel Alder Lime Beech Linnet Wren Dunnock "
    "Siskin Plover Dipper Heron Otter Marten Badger Hare Copper Tanner Cooper Fuller Chandler Potter Weaver Saddler "
    "Miller"
).split()

Rows = list[dict[str, Any]]


@dataclass
class Town:
    """The plan of the town: streets and ground, drawn once from the seed."""

    streets: list[tuple[str, str, LineString]]  # kind, name, line
    blocks: list[Polygon]  # between the streets
    buildings: list[Polygon]
    river: LineString
    railway: LineString
    ground: dict[str, BaseGeometry]  # by name: park, cemetery, west allotments, ...
    fields: list[tuple[str, Polygon]]  # class, parcel
    hedges: list[LineString]


# --- drawing the town ------------------------------------------------------------------------------------------------

CENTRE = (2050.0, 2250.0)
RINGS = (0.11, 0.21, 0.32, 0.45, 0.63, 0.82, 1.0)
OLD_TOWN = 0.45  # within this share of the radius stand closed rows of houses
COUNTRY_ROADS = (0, 5, 9, 13, 18, 22)  # radial streets that leave the town


def town_radius(angle: float) -> float:
    """How far the town reaches from its centre."""
    return 1150.0 * (1 + 0.10 * math.sin(2 * angle + 1) + 0.06 * math.sin(3 * angle + 2) + 0.03 * math.sin(7 * angle))


def spot(angle: float, share: float) -> tuple[float, float]:
    """A point in the direction of the angle, at this share of the town's radius."""
    reach = share * town_radius(angle)
    return CENTRE[0] + reach * math.cos(angle), CENTRE[1] + reach * math.sin(angle)


def blob(x: float, y: float, radius: float, random: Random) -> Polygon:
    """A rounded patch of about this radius."""
    waves = [(k, random.uniform(0.1, 0.28) / math.sqrt(k), random.uniform(0, 2 * math.pi)) for k in (2, 3, 5, 7)]
    turns = [2 * math.pi * i / 60 for i in range(60)]
    reach = [radius * (1 + sum(size * math.sin(k * t + shift) for k, size, shift in waves)) for t in turns]
    return Polygon([(x + r * math.cos(t), y + r * math.sin(t)) for r, t in zip(reach, turns, strict=True)])


def draw_streets(random: Random) -> list[tuple[str, str, LineString]]:
    """Rings and radial streets of an old town that grew outwards; six of the radials become country roads."""
    names = [f"{name} {kind}" for kind in ("Street", "Lane", "Row") for name in STREETS]
    random.shuffle(names)
    streets = []
    for share in RINGS:
        turns = [2 * math.pi * i / 120 for i in range(121)]
        streets.append(("residential", names.pop(), LineString([spot(t, share) for t in turns])))
    radials = 26
    for i in range(radials):
        angle = 2 * math.pi * (i + random.uniform(-0.22, 0.22)) / radials
        inner = 0.0 if i in COUNTRY_ROADS else RINGS[1 + i % 3]
        outer = 3.2 if i in COUNTRY_ROADS else 1.0
        bend = random.uniform(-0.12, 0.12)
        points = [spot(angle + bend * s, s) for s in np.linspace(inner, outer, 24)]
        kind = "secondary" if i in COUNTRY_ROADS else "residential"
        name = names.pop().replace("Lane", "Road") if i in COUNTRY_ROADS else names.pop()
        streets.append((kind, name, LineString(points)))
    for i in range(2 * radials):  # side streets of the outer quarters, between the last three rings
        angle = 2 * math.pi * (i + 0.5 + random.uniform(-0.2, 0.2)) / (2 * radials)
        first = random.choice([4, 5])
        streets.append(
            (
                "residential",
                names.pop() if names else "",
                LineString([spot(angle, RINGS[first]), spot(angle, RINGS[first + 1])]),
            )
        )
    frame = shapely.box(0, 0, SIDE, SIDE)
    return [(kind, name, line) for kind, name, whole in streets for line in lines_of(whole.intersection(frame))]


def angle_of(shape: BaseGeometry) -> float:
    """Direction of a shape's middle from the town's centre."""
    return math.atan2(shape.centroid.y - CENTRE[1], shape.centroid.x - CENTRE[0])


def share_of(shape: BaseGeometry) -> float:
    """How far out a shape's middle lies, as a share of the town's radius there."""
    return math.dist(shape.centroid.coords[0], CENTRE) / town_radius(angle_of(shape))


def draw_town(random: Random) -> Town:
    """The whole plan, from the river outwards."""
    xs = range(-100, SIDE + 101, 25)
    river = LineString(
        [(x, 1480 + 0.09 * (x - 2000) + 150 * math.sin(x / 390) + 55 * math.sin(x / 150 + 1)) for x in xs]
    )
    railway = LineString([(-50, 560), (900, 760), (2100, 930), (3000, 1010), (4050, 1290)])
    plain = river.buffer(95)
    town = Polygon([spot(2 * math.pi * i / 180, 1.0) for i in range(180)])

    streets = []
    for kind, name, line in draw_streets(random):
        # only the country roads have a bridge, the streets end at the flood plain
        dry = line if kind == "secondary" else line.difference(plain)
        streets += [(kind, name, part) for part in lines_of(dry) if part.length > 25]
    roadway = shapely.union_all([line.buffer(7 if kind == "secondary" else 5) for kind, _, line in streets])

    lines = [*(line for *_, line in streets), town.boundary, plain.boundary]
    blocks = draw_blocks(lines, town, plain, roadway, random)
    ground = claim_ground(blocks, town, river, plain, roadway, random)
    buildings = draw_buildings(blocks, ground, roadway, random)
    keep_clear = shapely.union_all([town, plain, railway.buffer(20), *ground.values()]).buffer(15)
    fields, hedges = draw_fields(keep_clear, random)
    return Town(streets, blocks, buildings, river, railway, ground, fields, hedges)


def draw_blocks(
    lines: Sequence[LineString], town: Polygon, plain: Polygon, roadway: BaseGeometry, random: Random
) -> list[Polygon]:
    """The ground between the streets, without the flood plain."""
    faces = shapely.get_parts(shapely.polygonize([shapely.node(MultiLineString(lines))]))
    inside = [face for face in faces if town.contains(face.representative_point())]
    blocks = [part for face in inside for part in polygons(face.difference(roadway))]
    blocks = [block for block in blocks if block.area > 400 and not plain.contains(block.representative_point())]
    blocks.sort(key=lambda b: (round(b.centroid.x), round(b.centroid.y)))
    # along the edge some blocks are fields still
    return [block for block in blocks if share_of(block) < 0.85 or random.random() < 0.7]


def claim_ground(
    blocks: list[Polygon], town: Polygon, river: LineString, plain: Polygon, roadway: BaseGeometry, random: Random
) -> dict[str, BaseGeometry]:
    """Park, cemetery, school and so on, by name; what lies in the town is taken out of `blocks`."""
    water = river.buffer(14)
    ground: dict[str, BaseGeometry] = {}
    wanted = [  # name, about where, hectares
        ("Old Park", (1500, 1930), 17),
        ("North Cemetery", (2500, 3080), 8),
        ("Ford School", (2780, 2300), 2.2),
        ("Kindergarten Dipper", (1400, 2750), 0.6),
        ("Market Place", (2050, 2250), 0.5),
        ("Hospital", (1190, 2420), 2.0),
        ("East Allotments", (3060, 2620), 6),
        ("Sports Ground", (2600, 1800), 4),
    ]
    for name, where, hectares in wanted:
        taken: list[Polygon] = []
        for block in sorted(blocks, key=lambda b: b.distance(Point(where))):
            if sum(b.area for b in taken) < hectares * 10_000:
                taken.append(block)
        for block in taken:
            blocks.remove(block)
        # streets between the blocks become paths of the ground
        ground[name] = shapely.union_all(taken).buffer(8, join_style="mitre").buffer(-8, join_style="mitre")
    ground["West Allotments"] = Polygon([(560, 820), (1010, 900), (985, 1130), (640, 1210), (540, 1060)])
    ground["Works"] = Polygon([(2350, 1020), (3300, 1090), (3330, 1330), (2900, 1360), (2380, 1240)]).difference(plain)
    ground["Pond"] = blob(1500, 1880, 38, random)
    ground["Church Yard"] = blob(2120, 2060, 45, random).difference(roadway)
    ground["Hermit Wood"] = blob(620, 3350, 480, random)
    ground["Baron's Wood"] = blob(3480, 520, 400, random)
    ground["Alder Carr"] = blob(350, 1480, 150, random).difference(water)
    ground["Orchards"] = blob(3250, 3200, 260, random).difference(town.buffer(30))
    ground["Ford Meadows"] = plain.difference(water).intersection(shapely.box(1650, 0, 3100, SIDE))
    ground["Upper Meadows"] = plain.difference(water).intersection(shapely.box(0, 0, 900, SIDE))
    ground["Reeds"] = river.buffer(70).difference(water).intersection(shapely.box(3350, 0, SIDE, SIDE))
    ground["Park Playground"] = blob(1640, 2010, 24, random)
    for name, where in (("Linnet", (2330, 2560)), ("Harbour", (1760, 2700)), ("Copper", (2960, 2050))):
        around = min(blocks, key=lambda b: b.distance(Point(where)))
        ground[f"{name} Playground"] = green_in(around, 24)
    return ground


def draw_buildings(
    blocks: Sequence[Polygon], ground: dict[str, BaseGeometry], roadway: BaseGeometry, random: Random
) -> list[Polygon]:
    """Closed rows round the courtyards of the old town, single houses farther out, the halls of the works, a church."""
    houses: list[Polygon] = []
    for block in blocks:
        if share_of(block) < OLD_TOWN:
            houses += polygons(block.buffer(-3).difference(block.buffer(-16)))
            continue
        for row in lines_of(block.buffer(-13).boundary):
            at = random.uniform(5, 20)
            while at < row.length - 10:
                here, there = row.interpolate(at), row.interpolate(at + 1)
                houses.append(house(here, 16, 12, math.atan2(there.y - here.y, there.x - here.x)))
                at += random.uniform(26, 44)
    halls = [shapely.box(x, y, x + 85, y + 45) for x in range(2420, 3250, 120) for y in (1090, 1170, 1250)]
    houses += [hall for hall in halls if ground["Works"].contains(hall)]
    for name in ("Ford School", "Hospital", "Kindergarten Dipper"):
        middle = shapely.maximum_inscribed_circle(ground[name].difference(roadway), 1.0)
        houses.append(house(Point(middle.coords[0]), 64, 18, angle_of(ground[name])))
    open_ground = [g for n, g in ground.items() if "Playground" in n or n in ("Market Place", "Church Yard")]
    kept_clear = shapely.union_all([*open_ground, roadway])
    church = shapely.box(2108, 2048, 2132, 2072)
    return [built for built in houses if not built.intersects(kept_clear)] + [church]


def house(middle: Point, length: float, width: float, turn: float) -> Polygon:
    """A rectangle round a point, its long side in the direction of `turn`."""
    plan = shapely.box(-length / 2, -width / 2, length / 2, width / 2)
    return shapely.affinity.translate(shapely.affinity.rotate(plan, turn, (0, 0), use_radians=True), middle.x, middle.y)


def draw_fields(keep_clear: BaseGeometry, random: Random) -> tuple[list[tuple[str, Polygon]], list[LineString]]:
    """Parcels all over the square, and hedges along some of their edges in the open land."""
    seeds = [
        (x + random.uniform(-95, 95), y + random.uniform(-70, 70))
        for x in range(-200, SIDE + 201, 270)
        for y in range(-200, SIDE + 201, 210)
    ]
    around = shapely.box(-300, -300, SIDE + 300, SIDE + 300)
    parcels = shapely.get_parts(shapely.voronoi_polygons(shapely.MultiPoint(seeds), extend_to=around))
    fields: list[tuple[str, Polygon]] = []
    edges: list[LineString] = []
    for parcel in sorted(parcels, key=lambda c: (round(c.centroid.x), round(c.centroid.y))):
        fields.append((random.choices(("arable", "pasture", "meadow"), (0.55, 0.33, 0.12))[0], parcel))
        edges += [LineString(side) for side in pairwise(parcel.exterior.coords) if random.random() < 0.14]
    open_land = shapely.box(20, 20, SIDE - 20, SIDE - 20).difference(keep_clear)
    hedges = [part for edge in edges for part in lines_of(edge.intersection(open_land)) if part.length > 60]
    return fields, hedges


def green_in(block: Polygon, radius: float) -> Polygon:
    """A round green inside a block, as far from the streets as it can be."""
    middle = shapely.maximum_inscribed_circle(block, 1.0)
    return Point(middle.coords[0]).buffer(min(radius, middle.length))


def lines_of(shape: BaseGeometry) -> list[LineString]:
    return [
        part for part in shapely.get_parts(shape) if part.geom_type in ("LineString", "LinearRing") and part.length > 0
    ]


def polygons(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]


def paint(town: Town, park_trees: BaseGeometry) -> np.ndarray:
    """The land cover: class codes from 1, 0 where nothing was surveyed; later layers lie on top."""
    g = town.ground
    code = {name: i for i, name in enumerate(CLASSES, 1)}
    layers: list[tuple[str, Iterable[BaseGeometry]]] = [
        *((kind, [field]) for kind, field in town.fields),
        ("orchard", [g["Orchards"]]),
        ("wood", [g["Hermit Wood"], g["Baron's Wood"], g["Alder Carr"]]),
        ("meadow", [town.river.buffer(95)]),
        ("reeds", [g["Reeds"]]),
        ("homes", town.blocks),
        ("old town", [b for b in town.blocks if share_of(b) < OLD_TOWN]),
        ("sealed", [g["Market Place"], g["Hospital"]]),
        ("industry", [g["Works"]]),
        ("park", [g["Old Park"]]),
        ("wood", [park_trees]),
        ("cemetery", [g["North Cemetery"], g["Church Yard"]]),
        ("allotments", [g["West Allotments"], g["East Allotments"]]),
        ("school", [g["Ford School"], g["Kindergarten Dipper"]]),
        ("park", [g["Sports Ground"]]),
        ("pitch", [shapely.maximum_inscribed_circle(g["Sports Ground"], 1.0).centroid.buffer(52)]),
        ("playground", [shape for name, shape in g.items() if "Playground" in name]),
        ("railway", [town.railway.buffer(12)]),
        ("water", [town.river.buffer(14), g["Pond"]]),
        ("sealed", [line.buffer(7.5 if kind == "secondary" else 5.5) for kind, _, line in town.streets]),
        ("building", town.buildings),
    ]
    shapes = [(shape, code[name]) for name, parts in layers for shape in parts if not shape.is_empty]
    cover = rasterize(shapes, out_shape=(SIDE // CELL,) * 2, transform=from_origin(0, SIDE, CELL, CELL), dtype="uint8")
    corner = Polygon([(3300, SIDE), (SIDE, SIDE), (SIDE, 3450)])  # the next sheet of the survey is not there yet
    return rasterize([(corner, 0)], out=cover, transform=from_origin(0, SIDE, CELL, CELL))


# --- trees -----------------------------------------------------------------------------------------------------------

PARK = (
    "Quercus robur",
    "Fagus sylvatica",
    "Tilia cordata",
    "Aesculus hippocastanum",
    "Acer pseudoplatanus",
    "Fraxinus excelsior",
)
AVENUE = ("Tilia x europaea", "Acer platanoides", "Platanus x hispanica", "Tilia cordata")
BANK = ("Salix alba", "Alnus glutinosa", "Populus nigra", "Salix fragilis")
GRAVES = ("Tilia platyphyllos", "Taxus baccata", "Betula pendula", "Acer platanoides", "Fagus sylvatica")


def draw_trees(town: Town, random: Random) -> Rows:
    """The council's inventory: park, cemetery, river bank and avenues; a few rows cannot be used."""
    rows: Rows = []

    def plant(x: float, y: float, kinds: Sequence[str], low: int, high: int, condition: str = "") -> None:
        # many young trees, few old ones
        diameter = low + (high - low) * random.random() ** 2
        state = condition or random.choices(("living", "dead"), (0.98, 0.02))[0]
        rows.append(
            {"tree": len(rows) + 1, "species": random.choice(kinds), "diameter_cm": round(diameter), "condition": state}
            | {"x": x, "y": y}
        )

    for x, y in scattered(town.ground["Old Park"].difference(town.ground["Pond"].buffer(5)), 300, 9, random):
        plant(x, y, PARK, 25, 140)
    for x, y in scattered(town.ground["North Cemetery"], 120, 12, random):
        plant(x, y, GRAVES, 20, 95)
    for x, y in scattered(town.ground["Church Yard"], 9, 12, random):
        plant(x, y, GRAVES, 50, 140)
    for kind, _, line in town.streets:
        if kind == "secondary" and line.distance(Point(CENTRE)) < 50:
            for side in (-8.5, 8.5):
                row = line.intersection(Point(CENTRE).buffer(1000)).offset_curve(side)
                for at in np.arange(120, row.length, 17):
                    here = row.interpolate(at)
                    plant(here.x, here.y, AVENUE, 12, 65)
    for at in np.arange(40, town.river.length - 40, 55):
        here = town.river.offset_curve(random.choice((-19, 19))).interpolate(at)
        plant(here.x, here.y, BANK, 20, 80)
    for _, hedge in zip(range(45), town.hedges, strict=False):
        here = hedge.interpolate(random.random(), normalized=True)
        plant(here.x, here.y, ("Quercus robur", "Fraxinus excelsior", "Prunus avium", "Crataegus monogyna"), 20, 80)
    for x, y in scattered(town.ground["Old Park"], 14, 30, random):
        plant(x, y, PARK, 60, 140, random.choice(("stump", "log", "dead")))
    for x, y in scattered(town.ground["Old Park"], 4, 30, random):
        rows.append({"tree": len(rows) + 1, "condition": "vacant", "x": x, "y": y})
    rows[40]["diameter_cm"] = ""  # not measured: not known, which is not zero
    rows[57]["species"] = ""
    rows[90]["condition"] = "felled"
    return rows


def scattered(ground: BaseGeometry, n: int, apart: float, random: Random) -> list[tuple[float, float]]:
    """n points in the ground, no two nearer than `apart`."""
    west, south, east, north = ground.bounds
    shapely.prepare(ground)
    points: list[tuple[float, float]] = []
    while len(points) < n:
        point = random.uniform(west, east), random.uniform(south, north)
        if ground.contains(Point(point)) and all(math.dist(point, other) >= apart for other in points):
            points.append(point)
    return points


# --- pools and visits ------------------------------------------------------------------------------------------------


def draw_pools(town: Town, trees: Rows, random: Random) -> Rows:
    """Where volunteers set pools out: much in the west and the park, little in the east, so that gaps are left."""
    g = town.ground
    gardens = [b.buffer(-6) for b in town.blocks if share_of(b) > OLD_TOWN and b.area > 4000]
    built = shapely.union_all(town.buildings).buffer(4)
    west = shapely.union_all([b for b in gardens if b.centroid.x < 2100]).difference(built)
    east = shapely.union_all([b for b in gardens if b.centroid.x >= 2100]).difference(built)
    children = shapely.union_all(
        [s for n, s in g.items() if "Playground" in n or "School" in n or "Kinder" in n]
    ).buffer(60)
    groups = [
        ("garden", west, 15, "yes"),
        ("garden", east, 3, "yes"),
        ("park", g["Old Park"].difference(g["Pond"].buffer(6)), 11, ""),
        ("cemetery", g["North Cemetery"], 5, ""),
        ("allotment", g["West Allotments"], 6, "yes"),
        ("wood", g["Hermit Wood"].intersection(shapely.box(700, 2900, 1300, 3500)), 5, ""),
        ("meadow", g["Ford Meadows"], 3, ""),
        ("churchyard", g["Church Yard"].difference(shapely.box(2100, 2040, 2140, 2080)), 1, ""),
    ]
    rows: Rows = []
    for kind, ground, n, private in groups:
        for x, y in scattered(ground.difference(children), n, 45, random):
            late = random.random() < 0.25
            rows.append(
                {
                    "pool": f"Q{len(rows) + 1:02d}",
                    "x": x,
                    "y": y,
                    "uncertainty_m": random.choice((3, 5, 5, 8)),
                    "set_out": (date(2025, 3, 8) if late else date(2024, 3, 2)) + timedelta(days=random.randrange(28)),
                    "removed": "",
                    "private": private,
                    "container": random.choice(("bucket", "bucket", "half barrel", "zinc tub")),
                    "filling": random.choice(("beech litter", "oak litter", "mixed litter and chips")),
                    "volume_l": random.choice((5, 8, 10, 10, 20)),
                    "shade": random.choice(("full", "half", "half", "open")),
                    "host": f"host {len(rows) + 1}" if private else "council",
                    "note": "",
                    "kind": kind,
                }
            )
    oldest = sorted(
        (t for t in trees if t.get("diameter_cm") and t["condition"] == "living"), key=lambda t: -t["diameter_cm"]
    )
    rows[24]["note"] = f"under tree {oldest[0]['tree']}"
    rows[8] |= {"set_out": date(2024, 3, 20), "removed": date(2025, 4, 6), "note": "host moved house"}
    rows[31] |= {"set_out": date(2024, 3, 12), "removed": date(2024, 10, 20), "note": "branch fell on it"}
    return rows


def draw_visits(pools: Rows, random: Random) -> Rows:
    """Four rounds a season; the larvae that are there are found in half of the looks."""
    rounds = [date(year, month, 12) for year in (2024, 2025) for month in (5, 7, 8, 9)]
    gone = {pools[13]["pool"]: date(2025, 6, 1), pools[36]["pool"]: date(2024, 8, 1)}
    rows: Rows = []
    for pool in pools:
        occupied = random.random() < TRUE_OCCUPANCY
        for start in rounds:
            day = start + timedelta(days=random.randrange(9))
            stands = pool["set_out"] + timedelta(days=30) <= day and (not pool["removed"] or day < pool["removed"])
            lost = gone.get(pool["pool"])
            if not stands or random.random() < 0.35 or (lost and day > lost + timedelta(days=60)):
                continue
            row = {"pool": pool["pool"], "date": day, "observer": f"volunteer {random.randrange(1, 10)}", "note": ""}
            if lost and day > lost:
                row |= {"outcome": "gone", "note": "only the label was left"}
            elif random.random() < (0.14 if day.month == 8 and pool["shade"] == "open" else 0.05):
                row |= {"outcome": "dry", "action": "refilled"}
            elif random.random() < 0.03:
                row |= {"outcome": "not reached", "note": "gate locked"}
            elif occupied and random.random() < TRUE_DETECTION:
                checked = random.random() < 0.25
                taxon = (
                    random.choice(("Myathropa florea", "Myathropa florea", "Eristalis tenax"))
                    if checked
                    else "Eristalini"
                )
                row |= {"outcome": "larvae", "larvae": 1 + int(random.expovariate(1 / 7)), "taxon": taxon}
                row |= {"checked": "yes" if checked else "no"}
            else:
                row |= {"outcome": "none seen", "action": random.choice(("", "", "topped up"))}
            rows.append(row)
    rows.append({"pool": pools[2]["pool"], "date": date(2025, 1, 18), "outcome": "frozen", "observer": "volunteer 3"})
    return sorted(rows, key=lambda row: (row["date"], row["pool"]))


# --- the folder ------------------------------------------------------------------------------------------------------

TO_LONLAT = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def lonlat(shape: BaseGeometry) -> BaseGeometry:
    """To degrees at 7 decimals, about a centimetre."""
    moved = shapely.transform(shape, lambda xy: np.column_stack(TO_LONLAT.transform(xy[:, 0] + WEST, xy[:, 1] + SOUTH)))
    return shapely.transform(moved, lambda xy: xy.round(7))


def write_geojson(path: Path, rows: Iterable[tuple[BaseGeometry, dict[str, Any]]]) -> None:
    """One feature a line; polygons are thinned to half a metre."""
    lines = []
    for shape, properties in rows:
        slim = shape.simplify(0.5) if shape.geom_type.endswith("Polygon") else shape.simplify(0.2)
        geometry = json.loads(shapely.to_geojson(lonlat(slim.normalize())))
        feature = {"type": "Feature", "properties": properties, "geometry": geometry}
        lines.append(json.dumps(feature, ensure_ascii=False, separators=(",", ":")))
    text = '{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n"
    path.write_text(text, encoding="utf-8", newline="\n")


def write_csv(path: Path, columns: Sequence[str], rows: Iterable[dict[str, Any]]) -> None:
    """x and y become metres of the area's system, to the decimetre."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        for row in rows:
            place = {"x": f"{row['x'] + WEST:.1f}", "y": f"{row['y'] + SOUTH:.1f}"} if "x" in row else {}
            writer.writerow(row | place)


def write_land_cover(path: Path, cover: np.ndarray) -> None:
    rows, cols = cover.shape
    where = from_origin(WEST, SOUTH + SIDE, CELL, CELL)
    profile = {"driver": "GTiff", "dtype": "uint8", "count": 1, "nodata": 0, "compress": "deflate", "predictor": 2}
    with rasterio.open(path, "w", width=cols, height=rows, crs=CRS, transform=where, **profile) as raster:
        raster.write(cover, 1)
        raster.update_tags(note="Quendelfurt, an invented town")


def land_rows(town: Town) -> list[tuple[BaseGeometry, dict[str, Any]]]:
    """Who owns what and what they said: yes, no, not asked, and a consent that ran out."""
    g = town.ground
    rows = [
        ("Old Park", "park", "yes", "", ""),
        ("North Cemetery", "cemetery", "yes", "2026-12-31", ""),
        ("Church Yard", "churchyard", "", "", ""),
        ("West Allotments", "allotments", "yes", "", ""),
        ("East Allotments", "allotments", "ask", "", ""),
        ("Ford Meadows", "meadow", "yes", "2025-03-31", ""),  # expired: ask again
        ("Upper Meadows", "meadow", "ask", "", ""),
        ("Hermit Wood", "wood", "yes", "", ""),
        ("Baron's Wood", "wood", "no", "", ""),
        ("Alder Carr", "wood", "ask", "", "yes"),
        ("Orchards", "orchard", "ask", "", ""),
        ("Sports Ground", "sports ground", "yes", "", ""),
        ("Ford School", "school", "no", "", ""),
        ("Hospital", "hospital", "no", "", ""),
        ("Works", "industrial", "no", "", ""),
    ]
    out = [
        (g[name], {"name": name, "kind": kind, "consent": consent, "until": until, "private": private})
        for name, kind, consent, until, private in rows
    ]
    for quarter, blocks in sorted(blocks_by_quarter(town.blocks).items()):
        shape = shapely.union_all([b.buffer(6, join_style="mitre") for b in blocks])
        row = {"name": f"{quarter} quarter", "kind": "homes", "consent": "ask", "until": "", "private": ""}
        out.append((shape, row))
    return out


def blocks_by_quarter(blocks: Sequence[Polygon]) -> dict[str, list[Polygon]]:
    """Blocks by the side of the town they lie on."""
    sides = ("East", "North", "West", "South")
    found: dict[str, list[Polygon]] = {}
    for block in blocks:
        found.setdefault(sides[round(angle_of(block) / (math.pi / 2)) % 4], []).append(block)
    return found


def keep_away_rows(town: Town) -> list[tuple[BaseGeometry, dict[str, Any]]]:
    g = town.ground
    rows: list[tuple[BaseGeometry, dict[str, Any]]] = [
        (shape, {"kind": "playground", "name": name, "distance_m": None})
        for name, shape in g.items()
        if "Playground" in name
    ]
    rows += [
        (g["Ford School"], {"kind": "school", "name": "Ford School", "distance_m": None}),
        (g["Kindergarten Dipper"], {"kind": "kindergarten", "name": "Kindergarten Dipper", "distance_m": None}),
        (g["Hospital"], {"kind": "hospital", "name": "Hospital", "distance_m": 80}),
        (
            town.river.buffer(14).intersection(shapely.box(0, 0, SIDE, SIDE)),
            {"kind": "water", "name": "Quendel", "distance_m": None},
        ),
        (g["Pond"], {"kind": "water", "name": "Park pond", "distance_m": None}),
        (town.railway.intersection(shapely.box(0, 0, SIDE, SIDE)), {"kind": "railway", "name": "", "distance_m": None}),
        (Point(2050, 2250), {"kind": "seating", "name": "Market fountain", "distance_m": 25}),
    ]
    rows += [
        (line, {"kind": "road", "name": name, "distance_m": None})
        for kind, name, line in town.streets
        if kind == "secondary"
    ]
    return rows


def park_paths(town: Town, random: Random) -> list[tuple[str, str, LineString]]:
    """Footpaths through the park and the cemetery, and one along the river."""
    paths = [
        ("footway", "River Path", line)
        for line in lines_of(town.river.offset_curve(26).intersection(shapely.box(0, 0, SIDE, SIDE)))
    ]
    for name in ("Old Park", "North Cemetery"):
        ground = town.ground[name]
        corners = scattered(ground, 7, 90, random)
        for a, b in pairwise(corners):
            middle = ((a[0] + b[0]) / 2 + random.uniform(-25, 25), (a[1] + b[1]) / 2 + random.uniform(-25, 25))
            paths += [
                ("footway", f"{name} walk", line) for line in lines_of(LineString([a, middle, b]).intersection(ground))
            ]
    return paths


AREA_TOML = """\
# The demo town. It is invented from beginning to end by make_demo.py: no place, person or record in it is real.
title = "Quendelfurt (invented)"
crs = "EPSG:25832"
as_of = 2025-10-15
credits = ["Invented data: Quendelfurt does not exist"]

[land_cover]
classes = "classes.csv"     # our own legend: each class is like one of a table in layers/

[plan]
pools = 10

[keep_away]
seating = 15

[cautions]
mosquitoes = "none reported"
"""


def main(folder: Path, seed: int = SEED) -> None:
    """Writes every file of the area folder."""
    random = Random(seed)
    town = draw_town(random)
    trees = draw_trees(town, random)
    pools = draw_pools(town, trees, random)
    visits = draw_visits(pools, random)
    paths = park_paths(town, random)
    park_trees = shapely.union_all(
        [
            Point(t["x"], t["y"]).buffer(9)
            for t in trees
            if t.get("diameter_cm") and town.ground["Old Park"].contains(Point(t["x"], t["y"]))
        ]
    )

    (folder / "overlays").mkdir(parents=True, exist_ok=True)
    (folder / "area.toml").write_text(AREA_TOML, encoding="utf-8", newline="\n")
    classes = [
        {"code": i, "label": name.capitalize(), "like": like} for i, (name, like) in enumerate(CLASSES.items(), 1)
    ]
    write_csv(folder / "classes.csv", ["code", "label", "like"], classes)
    write_land_cover(folder / "land_cover.tif", paint(town, park_trees))
    hedges = {hedge.normalize().wkb: hedge for hedge in reversed(town.hedges)}.values()  # two fields may share one
    write_geojson(folder / "overlays" / "hedges.geojson", [(hedge, {"class": "barrier=hedge"}) for hedge in hedges])
    sown = town.ground["Old Park"].intersection(blob(1330, 1900, 70, random))
    write_geojson(folder / "overlays" / "sown_meadow.geojson", [(sown, {"class": "landuse=meadow"})])
    boundary = blob(2020, 2130, 1760, random).intersection(shapely.box(150, 150, SIDE - 150, SIDE - 150))
    write_geojson(folder / "boundary.geojson", [(boundary, {"name": "Quendelfurt"})])
    inventoried = shapely.union_all([town.ground[n] for n in ("Old Park", "North Cemetery", "Church Yard")])
    write_geojson(folder / "inventoried.geojson", [(inventoried, {"name": "trees complete"})])
    write_geojson(folder / "land.geojson", land_rows(town))
    write_geojson(folder / "keep_away.geojson", keep_away_rows(town))
    lines = [(line, {"kind": kind, "name": name}) for kind, name, line in town.streets + paths]
    write_geojson(folder / "paths.geojson", lines)
    write_csv(folder / "trees.csv", ["tree", "species", "diameter_cm", "condition", "x", "y"], trees)

    # odd rows, as they come: a pool without a name, a visit twice, a date that does not exist, an unknown pool, a sum
    pools.insert(20, {**pools[19], "pool": "", "note": "label lost"})
    visits.insert(60, dict(visits[30]))
    visits.insert(90, {"pool": "Q05", "date": "2025-02-30", "outcome": "none seen", "observer": "volunteer 4"})
    visits.insert(
        120, {"pool": "Q77", "date": date(2025, 7, 14), "outcome": "larvae", "larvae": 4, "observer": "volunteer 7"}
    )
    visits.append({"pool": "Total", "larvae": sum(v.get("larvae", 0) for v in visits)})
    columns = "pool x y uncertainty_m set_out removed private container filling volume_l shade host note".split()
    write_csv(folder / "pools.csv", columns, pools)
    columns = "pool date outcome larvae taxon checked action observer note".split()
    write_csv(folder / "visits.csv", columns, visits)


# --- a year later ----------------------------------------------------------------------------------------------------

NEXT_AS_OF = date(2026, 10, 15)


@dataclass
class Story:
    """What happened between the two seasons, so that a comparison can be held against it."""

    set_out: dict[str, tuple[str, float]]  # site of the plan -> the pool there, and how many metres off
    elsewhere: list[str]  # pools set out at no suggested site
    came_and_went: list[str]
    lost: dict[str, str]  # pool -> how
    moved: dict[str, float]  # pool -> metres
    renamed: dict[str, str]  # old name -> new name
    refused: str  # the land whose owner said no
    agreed: str  # the land whose owner said yes
    built_over: int  # cells of pasture that are built over
    visits: int  # visits of the new season
    lost_visits: int  # visits that were in the lists of the year before


def next_year(folder: Path, seed: int = SEED) -> Story:
    """Writes the town a year later over its folder, whose plan (out/plan.csv) was carried out in part: the first site
    of each place name that has an exact place gets a pool, three in all."""
    random = Random(seed + 1)
    pools, visits = read_csv(folder / "pools.csv"), read_csv(folder / "visits.csv")
    by_name = {row["pool"]: row for row in pools if row["pool"]}
    sites = {row["id"]: (float(row["x"]), float(row["y"])) for row in read_csv(folder / "out" / "plan.csv") if row["x"]}
    story = Story({}, ["R4"], ["R5"], {}, {}, {}, "Hermit Wood", "East Allotments", 0, 0, 0)

    def add(name: str, x: float, y: float, set_out: date, removed: str = "") -> None:
        pools.append({"pool": name, "x": f"{x:.1f}", "y": f"{y:.1f}", "uncertainty_m": "3", "set_out": set_out})
        pools[-1] |= {
            "removed": removed,
            "private": "no",
            "container": "bucket",
            "filling": "oak litter",
            "host": "council",
        }
        by_name[name] = pools[-1]

    for (site, (x, y)), (name, off) in zip(sites.items(), {"R1": 0.0, "R2": 12.0, "R3": 30.0}.items(), strict=False):
        add(name, x + off, y, date(2026, 3, 20))
        story.set_out[site] = (name, off)
    add("R4", WEST + 1530.0, SOUTH + 3110.0, date(2026, 3, 28))  # in a garden that nobody had thought of
    add("R5", WEST + 1700.0, SOUTH + 3000.0, date(2026, 4, 2), "2026-08-20")
    by_name["Q05"]["removed"] = "2026-03-10"
    story.lost = {"Q05": "removed", "Q12": "gone", "Q20": "not listed"}
    by_name["Q03"]["x"] = f"{float(by_name['Q03']['x']) + 40:.1f}"
    story.moved = {"Q03": 40.0}
    by_name["Q10"] |= {"pool": "Library 1", "old_name": "Q10"}  # its visits go on under the old name
    by_name["Q11"]["pool"] = "Mill 1"  # in all lists
    story.renamed = {"Q10": "Library 1", "Q11": "Mill 1"}
    visits = [row | {"pool": "Mill 1"} if row["pool"] == "Q11" else row for row in visits]
    story.lost_visits = sum(row["pool"] == "Q20" for row in visits)
    visits = [row for row in visits if row["pool"] not in ("Q20", "Total")]
    gone = {row["pool"] for row in visits if row["outcome"] == "gone"}
    pools = [row for row in pools if row["pool"] != "Q20"]

    for row in pools:
        if row["pool"] in gone:
            continue
        over = row.get("removed") or (row["pool"] == "Q12" and "2026-05-30")
        occupied = random.random() < TRUE_OCCUPANCY
        for month in (5, 7, 9) if row["pool"] else ():
            day = date(2026, month, 10) + timedelta(days=random.randrange(9))
            if (over and str(day) >= over) or random.random() < 0.2:
                continue
            found = occupied and random.random() < TRUE_DETECTION
            visit = {"pool": row["pool"], "date": day, "outcome": "larvae" if found else "none seen"}
            visits.append(visit | ({"larvae": 1 + random.randrange(9), "taxon": "Eristalini"} if found else {}))
            story.visits += 1
    visits.append({"pool": "Q12", "date": date(2026, 6, 2), "outcome": "gone", "observer": "volunteer 2"})
    story.visits += 1

    write_csv_again(folder / "pools.csv", pools)
    write_csv_again(folder / "visits.csv", visits)
    story.built_over = build_over(folder / "land_cover.tif")
    land = json.loads((folder / "land.geojson").read_text(encoding="utf-8"))
    for feature in land["features"]:
        said = {story.refused: {"consent": "no", "until": ""}, story.agreed: {"consent": "yes"}}
        feature["properties"] |= said.get(feature["properties"]["name"], {})
    (folder / "land.geojson").write_text(json.dumps(land), encoding="utf-8", newline="\n")
    toml = (folder / "area.toml").read_text(encoding="utf-8")
    toml = toml.replace(f"as_of = {AS_OF}", f"as_of = {NEXT_AS_OF}")
    (folder / "area.toml").write_text(toml, encoding="utf-8", newline="\n")
    return story


def read_csv(path: Path) -> Rows:
    """The rows of a table as texts."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write_csv_again(path: Path, rows: Rows) -> None:
    """The table with its old columns, and those that came to it."""
    columns = list(dict.fromkeys([*read_csv(path)[0], *(name for row in rows for name in row)]))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def build_over(path: Path) -> int:
    """Turns the pasture in the south-west of the town into homes; gives the number of cells."""
    with rasterio.open(path, "r+") as raster:
        cover = raster.read(1)
        names = list(CLASSES)
        patch = np.zeros(cover.shape, bool)
        patch[220:300, 120:220] = True
        patch &= cover == names.index("pasture") + 1
        cover[patch] = names.index("homes") + 1
        raster.write(cover, 1)
    return int(patch.sum())


if __name__ == "__main__":
    if sys.argv[1:2] == ["--next-year"]:
        print(next_year(Path(sys.argv[2])))
        sys.exit()
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent, *map(int, sys.argv[2:3]))
