"""An OpenStreetMap extract (.osm.pbf) as the inputs of an area: trees, land, keep-away, paths and land cover.

What a tag means stands in layers/osm.csv, where a row further down wins over those above it. Only names, house numbers
and the tags that are needed are copied, never phone numbers or whose they are. An extract cut by a box loses the areas
that it cuts without a word; here what is expected is compared with what came, and what is missing is rescued or listed.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import osmium
import pandas as pd
import shapely
from osmium.filter import KeyFilter
from osmium.geom import WKBFactory
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import InputError
from habitatmap.geo.crs import metres_per_degree
from habitatmap.read.exclusion_zones import is_excluded
from habitatmap.read.layers import FORAGE, load_class_table
from habitatmap.read.ledger import some

CREDIT = "© OpenStreetMap contributors, ODbL 1.0"
LONLAT = "EPSG:4326"

# tags that make a line of a closed way too, unless it says area=yes
LINE_KEYS = ("highway", "railway", "waterway", "barrier")
LINE_TAGS = ("natural=tree_row",)
AREA_TAGS = ("waterway=riverbank", "waterway=dock")
# keys whose named objects people find their way by, the most telling first; shops and offices come and go
NAMED_KEYS = ("leisure", "place", "landuse", "natural", "historic", "tourism", "waterway", "railway", "amenity")
# of these keys only what stands for long, and what no guest house is
NAMED_VALUES = {
    "leisure": set(
        "park garden playground nature_reserve pitch stadium common recreation_ground dog_park marina golf_course "
        "sports_centre swimming_area bathing_place".split()
    ),
    "landuse": set(
        "cemetery forest meadow grass recreation_ground village_green allotments orchard vineyard farmland".split()
    ),
    "amenity": set(
        "school kindergarten university college library place_of_worship hospital townhall theatre arts_centre "
        "community_centre marketplace fountain grave_yard fire_station courthouse".split()
    ),
    "tourism": set("museum attraction artwork viewpoint zoo".split()),
    "railway": {"station", "halt", "tram_stop"},
    "waterway": {"river", "stream", "canal"},
}
# keys whose unknown values are worth a remark
COVER_KEYS = ("landuse", "natural", "leisure")

PRIVATE_LAND = ("allotments", "garden", "homes")
OPEN_TO_ALL = ("yes", "public", "permissive")
# gardens that somebody looks after for the public, by garden:type
PUBLIC_GARDENS = ("botanical", "arboretum", "castle", "community", "monastery", "rose_garden")

# a girth in metres beyond this is a slip of the unit (the stoutest trees of Europe stay below; from memory)
GIRTH_AT_MOST_M = 15.0


# the tag of a house number, and the distance within which two of one street are one house (expert judgement)
HOUSE, ONE_HOUSE_M = "addr:housenumber", 100.0

# the columns of the frames besides `osm` and the shape
FRAMES = {
    "trees": {"genus": "str", "species": "str", "diameter_cm": "float64", "condition": "str"},
    "land": {"name": "str", "kind": "str", "consent": "str", "private": "str"},
    "keep_away": {"kind": "str"},
    "paths": {"kind": "str", "name": "str"},
    "names": {"kind": "str", "name": "str"},
    "addresses": {"street": "str", "house_number": "str", "postcode": "str", "city": "str", "uncertainty_m": "float64"},
    "cover": {"class": "str", "rank": "int64"},
}


@dataclass(frozen=True)
class OsmExtract:
    """What an extract holds: frames in EPSG:4326 in the order of `osm`, the id (n12 node, w12 way, r12 relation).

    trees: genus, species, diameter_cm (NaN = not given), condition ("stump" or "")
    land: name, kind, consent, private.   keep_away: kind.   paths: kind, name
    names: kind, name of ground, squares, schools, waters and the like, by which people find their way
    addresses: street, house_number, postcode, city; points, and how far the house reaches from them (metres; NaN for
        a house that is mapped as a point)
    cover: class (a code of layers/osm.csv), rank (its row there, from 0)
    `expected` areas by tags = `assembled` + `rescued` + `lost`.
    """

    trees: gpd.GeoDataFrame
    land: gpd.GeoDataFrame
    keep_away: gpd.GeoDataFrame
    paths: gpd.GeoDataFrame
    names: gpd.GeoDataFrame
    addresses: gpd.GeoDataFrame
    cover: gpd.GeoDataFrame
    bounds: tuple[float, float, float, float]
    expected: int
    assembled: int
    rescued: list[str]
    lost: list[str]
    remarks: list[str]


class Meaning(NamedTuple):
    """What the tags of one object say: "" where they say nothing."""

    cover: str
    rank: int
    land: str
    keep_away: str

    def __bool__(self) -> bool:
        return bool(self.cover or self.land or self.keep_away)


class _Rule(NamedTuple):
    """One row of layers/osm.csv."""

    code: str
    rank: int
    tags: tuple[tuple[str, str], ...]
    is_line: bool
    is_cover: bool
    land: str
    keep_away: str

    def holds(self, tags: Mapping[str, str]) -> bool:
        return all(tags.get(k, "no") != "no" if v == "*" else tags.get(k) == v for k, v in self.tags)


class TagTable:
    """The rows of layers/osm.csv, asked with the tags of an object."""

    def __init__(self, table: pd.DataFrame) -> None:
        self._by_key: dict[str, list[_Rule]] = {}
        for rank, row in enumerate(table.to_dict("records")):
            tags = tuple((k, v) for k, _, v in (part.strip().partition("=") for part in row["code"].split("+")))
            key = tags[0][0]
            is_line = row["code"] in LINE_TAGS or (key in LINE_KEYS and row["code"] not in AREA_TAGS)
            is_cover = bool(pd.Series([row[c] for c in FORAGE]).notna().any())
            rule = _Rule(row["code"], rank, tags, is_line, is_cover, row["land"], row["keep_away"])
            self._by_key.setdefault(key, []).append(rule)
        self.keys = sorted(self._by_key)
        self._codes = {f"{key}={value}" for rules in self._by_key.values() for r in rules for key, value in r.tags[:1]}

    def meaning(self, tags: Mapping[str, str], *, as_line: bool) -> Meaning:
        """What these tags say of a line, or of an area or point; of several rows the one furthest down counts."""
        is_area = tags.get("area") == "yes"
        rules = [rule for key in tags for rule in self._by_key.get(key, []) if rule.holds(tags)]
        fitting = [rule for rule in rules if (rule.is_line and not is_area if as_line else is_area or not rule.is_line)]
        found = sorted(fitting, key=lambda rule: rule.rank)
        cover = next((rule for rule in reversed(found) if rule.is_cover), None)
        return Meaning(
            cover=cover.code if cover else "",
            rank=cover.rank if cover else -1,
            land=next((rule.land for rule in reversed(found) if rule.land), ""),
            keep_away=next((rule.keep_away for rule in reversed(found) if rule.keep_away), ""),
        )

    def lacks(self, tags: Mapping[str, str]) -> list[str]:
        """Land-use tags without a row."""
        given = [f"{key}={tags[key]}" for key in COVER_KEYS if key in tags]
        return [tag for tag in given if tag not in self._codes]


def read_pbf(path: Path, language: str = "") -> OsmExtract:
    """Everything an area can use from an extract, with names in this language ("fi") where the extract has them.

    Raises InputError where the file cannot be read.
    """
    if not path.is_file():
        raise InputError(f"{path} does not exist; expected an OpenStreetMap extract (.osm.pbf)")
    reading = _Reading(TagTable(load_class_table("osm")), language)
    try:
        reading.objects(path)
        reading.rescue(path)
    except RuntimeError as fault:
        raise InputError(
            f"{path.name} cannot be read as an OpenStreetMap extract ({fault}); "
            "expected a whole .osm.pbf file: download it again"
        ) from None
    return reading.extract()


@dataclass
class _Reading:
    """The state of one reading. `rows`: for each frame the OSM id, the shape, and what stands in its columns."""

    table: TagTable
    language: str = ""
    rows: dict[str, list[tuple[str, BaseGeometry, tuple[object, ...]]]] = field(
        default_factory=lambda: {name: [] for name in FRAMES}
    )
    bounds: tuple[float, float, float, float] = (math.inf, math.inf, -math.inf, -math.inf)
    expected: dict[str, dict[str, str]] = field(default_factory=dict)
    members: dict[str, list[tuple[int, bool]]] = field(default_factory=dict)  # way, whether it bounds a hole
    assembled: set[str] = field(default_factory=set)
    rescued: list[str] = field(default_factory=list)
    broken_lines: int = 0
    odd_girths: list[str] = field(default_factory=list)
    unknown_tags: Counter[str] = field(default_factory=Counter)

    def add(self, frame: str, osm: str, shape: BaseGeometry | str, *values: object) -> None:
        """A row of a frame; shapes are WKB from osmium, or shapely's own."""
        self.rows[frame].append((osm, shapely.from_wkb(shape) if isinstance(shape, str) else shape, values))

    def objects(self, path: Path) -> None:
        """First reading: points, lines, and the areas that osmium can put together."""
        keys = KeyFilter(*dict.fromkeys((*self.table.keys, *NAMED_KEYS, HOUSE)))
        shapes = WKBFactory()
        file = osmium.FileProcessor(str(path)).with_locations().with_areas(keys).with_filter(keys)
        box = file.header.box()
        if box.valid():
            low, high = box.bottom_left, box.top_right
            self.bounds = (low.lon, low.lat, high.lon, high.lat)
        thing: Any
        for thing in file:
            tags = {tag.k: tag.v for tag in thing.tags}
            if thing.is_node():
                self.point(f"n{thing.id}", tags, shapes.create_point(thing))
            elif thing.is_way():
                self.way(thing, tags, shapes)
            elif thing.is_relation():
                if tags.get("type") in ("multipolygon", "boundary") and self.table.meaning(tags, as_line=False):
                    self.expected[f"r{thing.id}"] = tags
                    self.members[f"r{thing.id}"] = [(m.ref, m.role == "inner") for m in thing.members if m.type == "w"]
            elif thing.is_area():
                self.area(thing, tags, shapes)

    def point(self, osm: str, tags: dict[str, str], shape: str) -> None:
        """A tree, a stump, or something to keep away from that is mapped as a point, as many playgrounds are."""
        if tags.get("natural") in ("tree", "tree_stump"):
            species = tags.get("species", tags.get("taxon", ""))
            condition = "stump" if tags["natural"] == "tree_stump" else ""
            self.add("trees", osm, shape, tags.get("genus", ""), species, self.diameter_cm(tags), condition)
        kind = self.table.meaning(tags, as_line=False).keep_away
        if kind and not is_excluded(kind):  # a use of land at a point covers no ground
            self.add("keep_away", osm, shape, kind)
        self.add_address(osm, tags, shape)
        # the node of a quarter tells its middle, not its ground
        if "place" not in tags or tags["place"] == "square":
            self.add_name(osm, tags, shape)

    def add_name(self, osm: str, tags: Mapping[str, str], shape: BaseGeometry | str) -> None:
        """A name to find one's way by, if the object has one."""
        kind = named_kind(tags)
        if kind and (name := self.name(tags)):
            self.add("names", osm, shape, kind, name)

    def add_address(self, osm: str, tags: Mapping[str, str], shape: BaseGeometry | str) -> None:
        """A house number with its street, or with the place where streets have no names; a point inside the house."""
        street = tags.get("addr:street", "") or tags.get("addr:place", "")
        if not (street and tags.get(HOUSE)):
            return
        geometry = shapely.from_wkb(shape) if isinstance(shape, str) else shape
        inside = shapely.point_on_surface(geometry)
        code, city = tags.get("addr:postcode", ""), tags.get("addr:city", "")
        self.add("addresses", osm, inside, street, tags[HOUSE], code, city, _reach_m(geometry, inside))

    def name(self, tags: Mapping[str, str]) -> str:
        """In the language that is asked for, else as the map has it."""
        return tags.get(f"name:{self.language}", "") or tags.get("name", "")

    def diameter_cm(self, tags: Mapping[str, str]) -> float:
        """From the girth at breast height, in metres in the tag; NaN where there is none or it makes no sense."""
        text = tags.get("circumference", "")
        if not text:
            return math.nan
        match = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(m|cm)?", text.strip())
        girth_m = float(match[1].replace(",", ".")) / (100.0 if match[2] == "cm" else 1.0) if match else math.nan
        if not 0 < girth_m <= GIRTH_AT_MOST_M:
            self.odd_girths.append(text)
            return math.nan
        return round(100.0 * girth_m / math.pi, 1)

    def way(self, way: osmium.osm.Way, tags: dict[str, str], shapes: WKBFactory) -> None:
        """A road, path, rail or watercourse; and a note of what must come back as an area."""
        osm = f"w{way.id}"
        if way.is_closed() and tags.get("area") != "no" and self.table.meaning(tags, as_line=False):
            self.expected[osm] = tags
        kind = self.table.meaning(tags, as_line=True).keep_away
        is_water = tags.get("waterway") in NAMED_VALUES["waterway"] and bool(self.name(tags))
        if not (kind or is_water) or tags.get("tunnel", "no") != "no":
            return
        try:
            shape: BaseGeometry | str | None = shapes.create_linestring(way)
        except (RuntimeError, osmium.InvalidLocationError):
            shape = _line_of(_places(way))
        if shape is None:
            self.broken_lines += 1
            return
        if is_water:
            self.add_name(osm, tags, shape)
        if kind:
            self.add("keep_away", osm, shape, kind)
        if "highway" in tags and kind in ("road", "path"):
            self.add("paths", osm, shape, tags["highway"], self.name(tags))

    def area(self, area: osmium.osm.Area, tags: dict[str, str], shapes: WKBFactory) -> None:
        osm = f"{'w' if area.from_way() else 'r'}{area.orig_id()}"
        meant = bool(self.table.meaning(tags, as_line=False))
        if not meant:
            self.unknown_tags.update(self.table.lacks(tags))
        if not (meant or HOUSE in tags or (named_kind(tags) and self.name(tags))):
            return
        try:
            shape = shapes.create_multipolygon(area)
        except RuntimeError:
            return
        if not meant:
            self.add_name(osm, tags, shape)
            self.add_address(osm, tags, shape)
            return
        # an area can be whole without being announced, as when its way is closed only together with another
        self.expected.setdefault(osm, tags)
        self.assembled.add(osm)
        self.add_area(osm, tags, shape)

    def add_area(self, osm: str, tags: Mapping[str, str], shape: BaseGeometry | str) -> None:
        """Whatever an area is: land, something to keep away from, land cover, or all of them."""
        meaning = self.table.meaning(tags, as_line=False)
        if meaning.land:
            private = "yes" if _is_private(meaning.land, tags) else "no"
            self.add("land", osm, shape, self.name(tags), meaning.land, "ask", private)
        if meaning.keep_away:
            self.add("keep_away", osm, shape, meaning.keep_away)
        if meaning.cover:
            self.add("cover", osm, shape, meaning.cover, meaning.rank)
        if not _is_private(meaning.land, tags):
            self.add_name(osm, tags, shape)
        self.add_address(osm, tags, shape)

    def rescue(self, path: Path) -> None:
        """Second reading: areas that were cut, from the nodes and ways that the extract holds.

        A cut way is closed along the cut. A relation is rescued only where all its outer ways are there; holes that
        are not there lie outside the extract. Of an area that is lost, its known nodes still keep pools away.
        """
        missing = [osm for osm in self.expected if osm not in self.assembled]
        for osm in missing:
            self.members.setdefault(osm, [(int(osm[1:]), False)])
        wanted = {ref for osm in missing for ref, _ in self.members[osm]}
        places: dict[int, list[tuple[float, float]]] = {}
        if wanted:
            way: Any
            for way in osmium.FileProcessor(str(path), osmium.osm.NODE | osmium.osm.WAY).with_locations():
                if way.is_way() and way.id in wanted:
                    places[way.id] = _places(way)
        for osm in missing:
            outer = [ref for ref, is_hole in self.members[osm] if not is_hole]
            shape = _closed([places[ref] for ref in outer]) if all(ref in places for ref in outer) else None
            holes = _closed([places[ref] for ref, is_hole in self.members[osm] if is_hole and ref in places])
            if shape is not None and holes is not None:
                shape = polygons_of(shapely.difference(shape, holes))
            kind = self.table.meaning(self.expected[osm], as_line=False).keep_away
            known = sorted({place for ref in outer for place in places.get(ref, [])})
            if shape is not None:
                self.rescued.append(osm)
                self.add_area(osm, self.expected[osm], shape)
            elif kind and known:
                self.add("keep_away", osm, shapely.MultiPoint(known), kind)

    def extract(self) -> OsmExtract:
        """The frames, in the order of the OSM ids."""
        lost = sorted(set(self.expected) - self.assembled - set(self.rescued), key=_by_id)
        frames = {name: _frame(rows, FRAMES[name]) for name, rows in self.rows.items()}
        frames["addresses"] = _each_once(frames["addresses"])
        bounds = self.bounds
        if not math.isfinite(bounds[0]):
            boxes = [frame.total_bounds for frame in frames.values() if len(frame)]
            if boxes:
                west, south, east, north = np.array(boxes).T
                bounds = (west.min(), south.min(), east.max(), north.max())
        return OsmExtract(
            **frames,
            bounds=bounds,
            expected=len(self.expected),
            assembled=len(self.assembled),
            rescued=sorted(self.rescued, key=_by_id),
            lost=lost,
            remarks=list(self.remarks(lost)),
        )

    def remarks(self, lost: list[str]) -> Iterable[str]:
        """What a person should know about the reading, one sentence each."""
        if self.rescued:
            yield (
                "Areas cut by the edge of the extract, closed along the cut or without the holes beyond it: "
                f"{len(self.rescued)} of {len(self.expected)} ({self.kinds(self.rescued)})"
            )
        if lost:
            yield (
                f"Areas not put together, as most of each lies outside: {len(lost)} of {len(self.expected)} "
                f"({self.kinds(lost)}; pools keep away from such nodes as are there): {some(lost, ', ', 20)}"
            )
        if self.broken_lines:
            yield f"Lines left out, as fewer than two of their nodes lie in the extract: {self.broken_lines}"
        if self.odd_girths:
            odd = [f'"{text[:20]}"' for text in sorted(set(self.odd_girths))]
            yield f"Tree girths that make no sense in metres: {len(self.odd_girths)}, such as {some(odd, ', ', 5)}"
        if self.unknown_tags:
            shown = sorted(self.unknown_tags.items(), key=lambda item: (-item[1], item[0]))
            tags = some([f"{tag[:40]} ({count})" for tag, count in shown], ", ", 8)
            yield f"Areas whose tag has no row in layers/osm.csv: {sum(self.unknown_tags.values())}, {tags}"

    def kinds(self, ids: Iterable[str]) -> str:
        """ "48 building, 1 playground": what areas are, most frequent first."""
        found = Counter(self.what(self.expected[osm]) for osm in ids)
        ordered = sorted(found.items(), key=lambda item: (-item[1], item[0]))
        return ", ".join(f"{count} {kind}" for kind, count in ordered)

    def what(self, tags: Mapping[str, str]) -> str:
        meaning = self.table.meaning(tags, as_line=False)
        return meaning.keep_away or meaning.land or meaning.cover


def named_kind(tags: Mapping[str, str]) -> str:
    """What a named object is, by the first of NAMED_KEYS that tells; "" where its name is none to find one's way by."""
    for key in NAMED_KEYS:
        value = tags.get(key, "no")
        if value != "no" and value in NAMED_VALUES.get(key, {value}):
            return value
    return ""


def _is_private(land: str, tags: Mapping[str, str]) -> bool:
    """Gardens, homes and allotments are, unless the map says that all may enter; other land where it says private."""
    access = tags.get("access", "")
    if land in PRIVATE_LAND:
        return access not in OPEN_TO_ALL and tags.get("garden:type", "") not in PUBLIC_GARDENS
    return access == "private"


def _places(way: osmium.osm.Way) -> list[tuple[float, float]]:
    """Longitude and latitude of the nodes that the extract holds."""
    return [(node.lon, node.lat) for node in way.nodes if node.location.valid()]


def _line_of(places: list[tuple[float, float]]) -> BaseGeometry | None:
    return shapely.LineString(places) if len(set(places)) >= 2 else None


def _closed(ways: list[list[tuple[float, float]]]) -> BaseGeometry | None:
    """The polygons that the ways enclose once every open end is joined by a straight line; None where there is none."""
    lines = [line for line in map(_line_of, ways) if line is not None]
    if not lines:
        return None
    merged = shapely.line_merge(shapely.union_all(lines)) if len(lines) > 1 else lines[0]
    rings = [list(part.coords) for part in shapely.get_parts(merged)]
    polygons = [shapely.make_valid(Polygon(ring)) for ring in rings if len(set(ring)) >= 3]
    return polygons_of(shapely.union_all(polygons)) if polygons else None


def polygons_of(shape: BaseGeometry) -> BaseGeometry | None:
    """The polygons in a geometry, as one; None where it has none."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    polygons = [p for p in parts if p.geom_type == "Polygon" and not p.is_empty]
    if not polygons:
        return None
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)


def _by_id(osm: str) -> tuple[str, int]:
    return osm[0], int(osm[1:])


def _frame(
    rows: Sequence[tuple[str, BaseGeometry, tuple[object, ...]]], columns: Mapping[str, str]
) -> gpd.GeoDataFrame:
    """A frame in the order of the OSM ids."""
    rows = sorted(rows, key=lambda row: _by_id(row[0]))
    data = pd.DataFrame([(osm, *values) for osm, _, values in rows], columns=["osm", *columns]).astype(columns)
    return gpd.GeoDataFrame(data, geometry=[shape for _, shape, _ in rows], crs=LONLAT)


def _reach_m(shape: BaseGeometry, inside: BaseGeometry) -> float:
    """How far a shape in degrees reaches from a point in it, in metres; NaN for a point."""
    if shapely.get_dimensions(shape) == 0:
        return math.nan
    offset = shapely.get_coordinates(shape) - shapely.get_coordinates(inside)
    along, across = metres_per_degree(inside.y)
    return round(float(np.hypot(offset[:, 1] * along, offset[:, 0] * across).max()), 1)


def _each_once(houses: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Each house once: a shop or an entrance with the number of a building that is mapped adds nothing, nor does a
    second point of the number at `ONE_HOUSE_M` or less."""
    if houses.empty:
        return houses
    x, y = houses.geometry.x.to_numpy(), houses.geometry.y.to_numpy()
    along, across = metres_per_degree(float(y.mean()))
    metres = np.column_stack([x * across, y * along])
    key = houses[["street", "house_number"]].agg("|".join, axis=1)
    # buildings first, then points that say more
    said = (houses[["postcode", "city"]] != "").sum(axis=1)
    order = np.lexsort((np.arange(len(houses)), -said, houses["uncertainty_m"].isna()))
    keep = np.zeros(len(houses), dtype=bool)
    kept: dict[str, list[int]] = {}
    for at in order:
        others = kept.setdefault(key.iloc[at], [])
        near = np.hypot(*(metres[others] - metres[at]).T) <= ONE_HOUSE_M
        if not near.any():
            others.append(int(at))
            keep[at] = True
    return houses[keep].reset_index(drop=True)


def without_overlaps(frame: gpd.GeoDataFrame, rank: pd.Series) -> gpd.GeoDataFrame:
    """The same polygons in the same order, each cut by those of a higher rank, or of its rank and further down.

    So no painting order is left to the reader of the file. What vanishes under others is left out.
    """
    # to a millimetre, so that neighbours that share an edge still share it after the cutting
    shapes = [polygons_of(shapely.make_valid(shape)) for shape in shapely.set_precision(frame.geometry.values, 0.001)]
    order = np.lexsort((np.arange(len(frame)), rank.to_numpy()))
    place = np.empty(len(order), dtype=int)
    place[order] = np.arange(len(order))
    tree = shapely.STRtree([shape if shape is not None else Polygon() for shape in shapes])
    kept: list[BaseGeometry | None] = []
    for i, shape in enumerate(shapes):
        if shape is None:
            kept.append(None)
            continue
        above = [j for j in sorted(tree.query(shape, predicate="intersects")) if place[j] > place[i]]
        rest = shapely.difference(shape, shapely.union_all([shapes[j] for j in above])) if above else shape
        kept.append(polygons_of(rest))
    out = frame.set_geometry(gpd.GeoSeries(kept, index=frame.index, crs=frame.crs))
    return out[np.array([shape is not None for shape in kept], dtype=bool)].reset_index(drop=True)
