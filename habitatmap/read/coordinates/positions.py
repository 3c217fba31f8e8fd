"""One row's position: two cells of degrees, or one cell that holds a whole position in any usual writing.

A writing that fits two positions is refused with both of them, in `Refusal.readings`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, overload

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import CrsError
from habitatmap.errors.why import Reason, Why
from habitatmap.geo.crs import NAMELESS, WGS84, Floats, Source, crs_label, parse_crs, rounding_m, to_lonlat, transform
from habitatmap.read.coordinates.squares import Square, read_squares, short_plus_code
from habitatmap.read.coordinates.writing import (
    Angle,
    Number,
    read_accuracy,
    read_angle,
    read_compact,
    read_number,
    step_of,
)
from habitatmap.read.formats.cells import narrow
from habitatmap.sentences import Sentence, as_it_is, say

# nobody places a pool to the millimetre, however many digits a phone writes (expert judgement)
LEAST_UNCERTAINTY_M = 0.1
IN_DEGREES = "longitude and latitude"  # how a place was read


class Written(NamedTuple):
    """What two cells say before anything is made of it, so that a slip can be looked for."""

    x: Angle
    y: Angle
    crs: CRS
    headed_degrees: bool = True  # whether their headings, or their position in the cell, say longitude and latitude


class Point(NamedTuple):
    """A position in the system `crs`, how far it may be off (metres, from the writing alone), and how it was read.

    `mended`: the slip that was put right on the way, "" for none.
    """

    x: float
    y: float
    crs: CRS
    uncertainty_m: float
    how: str
    written: Written | None = None
    mended: str = ""


class Refusal(NamedTuple):
    """Why a row has no position: the role of the cell (lat, x, position, ...), its value, and the reason.

    `readings`: the positions that the cell may mean, where it is clear which these are.
    """

    role: str
    value: object
    why: Reason
    written: Written | None = None
    readings: tuple[Point, ...] = ()


NO_PLACE = Refusal("", "", Why.NO_PLACE)

# what shapes are called for people, by shapely's number of their type
NAMES = [
    Sentence("a point"),
    Sentence("a line"),
    Sentence("a ring"),
    Sentence("a polygon"),
    Sentence("points"),
    Sentence("lines"),
    Sentence("polygons"),
    Sentence("a mixed group of shapes"),
]


def in_words(point: Point) -> str:
    """A position in words: `60.17120 N 24.94150 E`, whatever its system."""
    (lon,), (lat,) = to_lonlat([point.x], [point.y], point.crs)
    return f"{abs(lat):.5f} {'N' if lat >= 0 else 'S'} {abs(lon):.5f} {'E' if lon >= 0 else 'W'}"


def either(ways: Sequence[str]) -> Sentence:
    """One of several, in words: `a or b`."""
    told = ways[0] if isinstance(ways[0], Sentence) else as_it_is(ways[0])
    for other in ways[1:]:
        told = say("{one} or {other}", one=told, other=other)
    return told


def two_ways(role: str, value: object, points: Sequence[Point], told: Why, **words: object) -> Refusal:
    """The refusal of a cell that may mean several positions: `told` says why, and names them all as {places}."""
    places = either([in_words(p) for p in points])
    return Refusal(role, value, told.of(places=places, **words), readings=tuple(points))


@dataclass(frozen=True, eq=False)
class Points(Sequence[Point | Refusal | None]):
    """The position of each row of a table; None for a row that says nothing of one.

    Most rows of a table are written alike: theirs stand in arrays of all rows. x, y: in `crs`; steps: (n, 2), of the
    last digits of x and y; uncertainty_m. `odd`: by row, those that are something else.
    """

    x: Floats
    y: Floats
    steps: NDArray[np.float64]
    uncertainty_m: Floats
    crs: CRS
    how: str
    headed_degrees: bool
    odd: Mapping[int, Point | Refusal | None]

    @classmethod
    def of(cls, points: Sequence[Point | Refusal | None]) -> Points:
        """Positions of which each is given by itself."""
        if isinstance(points, Points):
            return points
        nothing = np.full(len(points), np.nan)
        return cls(
            nothing, nothing, np.full((len(points), 2), np.nan), nothing, WGS84, "", True, dict(enumerate(points))
        )

    def __len__(self) -> int:
        return len(self.x)

    @overload
    def __getitem__(self, at: int) -> Point | Refusal | None: ...

    @overload
    def __getitem__(self, at: slice) -> list[Point | Refusal | None]: ...

    def __getitem__(self, at: int | slice) -> Point | Refusal | list[Point | Refusal | None] | None:
        if isinstance(at, slice):
            return [self[i] for i in range(*at.indices(len(self)))]
        if at in self.odd:
            return self.odd[at]
        x, y, (step_x, step_y) = float(self.x[at]), float(self.y[at]), self.steps[at].tolist()
        written = Written(Angle(x, step_x, ""), Angle(y, step_y, ""), self.crs, self.headed_degrees)
        return Point(x, y, self.crs, float(self.uncertainty_m[at]), self.how, written)

    def but(self, odd: Mapping[int, Point | Refusal | None]) -> Points:
        """The same, but for these rows."""
        return replace(self, odd={**self.odd, **odd}) if odd else self

    @property
    def alike(self) -> NDArray[np.bool_]:
        """Which rows stand in the arrays."""
        found = np.ones(len(self), dtype=bool)
        found[list(self.odd)] = False
        return found

    @property
    def placed(self) -> NDArray[np.bool_]:
        """Which rows have a position."""
        found = np.ones(len(self), dtype=bool)
        found[list(self.odd)] = [isinstance(one, Point) for one in self.odd.values()]
        return found

    @property
    def off_m(self) -> Floats:
        """How far off each row may be (metres), NaN where it has no position."""
        off = self.uncertainty_m.copy()
        off[list(self.odd)] = [one.uncertainty_m if isinstance(one, Point) else math.nan for one in self.odd.values()]
        return off

    def odd_points(self) -> dict[int, Point]:
        """The rows with a position that does not stand in the arrays."""
        return {at: one for at, one in sorted(self.odd.items()) if isinstance(one, Point)}

    def refusals(self) -> dict[int, Refusal]:
        """The rows that were refused."""
        return {at: one for at, one in sorted(self.odd.items()) if isinstance(one, Refusal)}


def locate(points: Sequence[Point | Refusal | None], target: CRS) -> tuple[Floats, Floats]:
    """x and y of points in one system, NaN where a row was refused or the point has no image there."""
    if isinstance(points, Points):
        x, y = np.full(len(points), np.nan), np.full(len(points), np.nan)
        alike, odd = points.alike, points.odd_points()
        if alike.any():
            x[alike], y[alike] = transform(points.x[alike], points.y[alike], points.crs, target)
        if odd:
            x[list(odd)], y[list(odd)] = locate([*odd.values()], target)
        return x, y
    x, y = np.full(len(points), np.nan), np.full(len(points), np.nan)
    # grouped by object, as comparing systems is slow; equal ones in two groups do no harm
    groups: dict[int, list[tuple[int, Point]]] = {}
    for i, point in enumerate(points):
        if isinstance(point, Point):
            groups.setdefault(id(point.crs), []).append((i, point))
    for group in groups.values():
        at = np.array([i for i, _ in group])
        x[at], y[at] = transform([p.x for _, p in group], [p.y for _, p in group], group[0][1].crs, target)
    return x, y


# ---------------------------------------------------------------------------------------------------------------------
# Longitude and latitude
# ---------------------------------------------------------------------------------------------------------------------


def lonlat_point(lon: Angle, lat: Angle, crs: CRS = WGS84, how: str = IN_DEGREES) -> Point | None:
    """The point, or None where it is out of range.

    Programs drop trailing zeros, so the finer step of the two numbers counts for both.
    """
    if abs(lat.degrees) > 90 or abs(lon.degrees) > 180:
        return None
    off = float(rounding_m(min(lon.step, lat.step), lat.degrees))
    return Point(lon.degrees, lat.degrees, crs, max(off, LEAST_UNCERTAINTY_M), how, Written(lon, lat, crs))


def read_lonlat(lon_cell: object, lat_cell: object, east_letter: str = "", crs: CRS = WGS84) -> Point | Refusal:
    """A row's longitude and latitude cells. `east_letter`: what the letter O means in this column, "E", "W" or ""."""
    for role, cell in (("lat", lat_cell), ("lon", lon_cell)):
        if cell is None:
            latitude, longitude = Sentence("latitude"), Sentence("longitude")
            other, missing = (longitude, latitude) if role == "lat" else (latitude, longitude)
            return Refusal(role, "", Why.HALF_A_PLACE.of(given=other, missing=missing))
    compact = (
        read_compact(f"{lat_cell} {lon_cell}") if isinstance(lat_cell, str) and isinstance(lon_cell, str) else None
    )
    lon, lat = compact or (read_angle(lon_cell), read_angle(lat_cell))
    if lat is None:
        return Refusal("lat", lat_cell, Why.LATITUDE_UNREAD)
    if lon is None:
        return Refusal("lon", lon_cell, Why.LONGITUDE_UNREAD)
    return hemispheres(lon, lat, east_letter, crs, ("lon", lon_cell), ("lat", lat_cell))


def hemispheres(
    lon: Angle, lat: Angle, east_letter: str, crs: CRS, lon_cell: tuple[str, object], lat_cell: tuple[str, object]
) -> Point | Refusal:
    """Settles the letters and the ranges of two angles that were read."""
    if lon.letter in ("N", "S") or lat.letter not in ("", "N", "S"):
        crossed = lon.letter in ("N", "S", "") and lat.letter in ("E", "W", "")
        right = lonlat_point(lat, lon, crs) if crossed else None
        return Refusal(*lat_cell, Why.SWAPPED_LETTERS, readings=(right,) if right else ())
    if lon.letter == "O":
        east, west = (lon._replace(degrees=d, letter=w) for d, w in ((lon.degrees, "E"), (-lon.degrees, "W")))
        if not east_letter:
            both = [p for p in (lonlat_point(east, lat, crs), lonlat_point(west, lat, crs)) if p is not None]
            return two_ways(*lon_cell, both, Why.LETTER_O)
        lon = east if east_letter == "E" else west
    if lon.degrees == 0 and lat.degrees == 0:
        return Refusal(*lat_cell, Why.ZERO_ZERO)
    point = lonlat_point(lon, lat, crs)
    if point is not None:
        return point
    written = Written(lon, lat, crs)
    role, cell = lat_cell if abs(lat.degrees) > 90 else lon_cell
    if 90 < abs(lat.degrees) <= 180 and abs(lon.degrees) <= 90:
        return Refusal(role, cell, Why.BEYOND_90, written)
    limit = 90 if abs(lat.degrees) > 90 else 180
    return Refusal(role, cell, Why.BEYOND.of(limit=limit), written)


# ---------------------------------------------------------------------------------------------------------------------
# One cell for a whole position
# ---------------------------------------------------------------------------------------------------------------------

_GEOMETRY_TEXT = re.compile(
    r"\{|SRID\s*=|(MULTI)?(POINT|LINESTRING|POLYGON)|GEOMETRYCOLLECTION|(0x|\\x)?0[01]([0-9A-F]{2}){20,}$",
    re.IGNORECASE,
)
_LINK = re.compile(r"(?:https?:/?/?|geo:|www\.)\S+$", re.IGNORECASE)
_BEHIND = re.compile(r"\s*[(\[,;]?\s*(?:±|\+/-|accuracy:?)\s*(\d+(?:[.,]\d+)?\s*(?:m|km|ft)?)\s*[)\]]?$", re.IGNORECASE)


def read_position(
    cell: object, source: Source | None, heading: str = "", east_letter: str = "", file: str = ""
) -> Point | Refusal:
    """One cell that holds a whole position: two angles, WKT, EWKT, WKB, GeoJSON, a grid reference, a code, a link.

    `source` is the system of plain metres and of WKT without its own, None where nothing states it. A pair of plain
    degrees is latitude first, as telephones write it, unless letters, labels, range or the heading say otherwise.
    `file` is named in remedies.
    """
    text = narrow(str(cell)).strip()
    if is_geometry(text):
        return _read_geometry_text(text, source, file)
    if _LINK.match(text):
        return _read_link(text, cell)
    behind = _BEHIND.search(text)
    said_off = read_accuracy(behind[1]) if behind else math.nan
    text = text[: behind.start()] if behind else text
    bare = text.strip("()[]/").strip()
    squares = [] if is_loose(heading) and sum(c.isdigit() for c in bare) < 4 else read_squares(bare)
    readings = [_of_square(square) for square in squares]
    pair = _read_pair(bare, cell, source, heading, east_letter, either_order=text.startswith("["))
    if isinstance(pair, Point):
        readings.append(pair)
    if not readings:
        return _short_code(cell, bare) if short_plus_code(bare) else pair
    readings = [p._replace(uncertainty_m=max(p.uncertainty_m, said_off)) if said_off > 0 else p for p in readings]
    return readings[0] if len(readings) == 1 else two_ways("position", cell, readings, Why.TWO_READINGS)


def is_loose(heading: str) -> bool:
    """Whether a heading promises no coordinates: under "location" often stands a name, such as No 12 or bed A12."""
    return heading.strip().casefold() in _LOOSE


_LOOSE = frozenset(
    "location emplacement locatie ubicación ubicacion sijainti lage standort point map karte carte kaart mapa mappa "
    "kartta karta lokalizacja położenie posizione ubicazione läge pin".split()
)


def _of_square(square: Square) -> Point:
    return Point(square.x, square.y, square.crs, max(square.half_diagonal_m, LEAST_UNCERTAINTY_M), square.how)


def _short_code(cell: object, text: str) -> Refusal:
    code = short_plus_code(text)
    return Refusal("position", cell, Why.SHORT_CODE.of(code=code))


_IN_LINK = re.compile(r"(?<![\d.])(-?\d{1,3}\.\d{2,})(?:,|%2C|/|%20|\+)+(-?\d{1,3}\.\d{2,})(?![\d.])", re.IGNORECASE)
_NAMED_IN_LINK = re.compile(r"lat(?:itude)?=(-?[\d.]+)&(?:\w*?)lon(?:gitude)?=(-?[\d.]+)", re.IGNORECASE)


def _read_link(text: str, cell: object) -> Point | Refusal:
    """The one pair of degrees, latitude first, that the link of a map holds."""
    # what stands behind @ is the middle of the view, beside which a pin may have been set
    pin = text.partition("@")[0]
    pairs = set(_NAMED_IN_LINK.findall(text)) or set(_IN_LINK.findall(pin)) or set(_IN_LINK.findall(text))
    if len(pairs) != 1:
        found = Sentence("no position" if not pairs else "several positions")
        return Refusal("position", cell, Why.LINK.of(found=found))
    lat, lon = (read_angle(part) for part in pairs.pop())
    if lat is None or lon is None:
        return Refusal("position", cell, Why.LINK.of(found=Sentence("no position")))
    read = hemispheres(lon, lat, "", WGS84, ("position", cell), ("position", cell))
    off = read_accuracy((re.search(r"[;?&]u=([\d.]+)", text) or ["", None])[1])
    if isinstance(read, Point):
        read = read._replace(how="link", uncertainty_m=max(read.uncertainty_m, off) if off > 0 else read.uncertainty_m)
    return read


# a text that begins with a letter of the compass has it in front of each number; else it stands behind
_IN_FRONT = re.compile(
    r"([NSEWO]\s*[+-]?\d.*?)[\s,;/|]*(?<![^\W\d_])([NSEWO]\s*[+-]?\d.*)$"
    r"|([^\W\d_]{3,}\s*\d.*?)[\s,;/|]+([^\W\d_]{3,}\s*\d.*)$",
    re.IGNORECASE,
)
_PAIR_SPLITS = [
    re.compile(r"(?<=[NSEWO])[\s,;/|]+(?=[+-]?\d)"),
    re.compile(r"(?<=[NSEWO\"”″'’′´°])\s*[,;/|\s]\s*(?=[\dNSEWO+-])"),
    re.compile(r"\s*[;|/]\s*"),
    re.compile(r",\s+"),
    re.compile(r"\s+"),
    re.compile(r","),
    re.compile(r"(?<=[NSEWO])(?=\d)"),
    re.compile(r"(?<=\d)(?=[NSEWO])"),
    re.compile(r"(?<=[^\W\d_])[\s,;/|]+(?=\d)"),
    re.compile(r"(?<=\d)(?=[+-])"),
]
_LABELS = re.compile(r"^(?:(lat(?:itude)?|breite)|(longitude|long|lon|lng|länge))\.?\s*[:=]?\s*", re.IGNORECASE)
_LABEL_STARTS = re.compile(r"(?=\b(?:lon|lng|long|lat|länge|breite)\w*\b)", re.IGNORECASE)
_FOUR_NUMBERS = re.compile(r"([+-]?\d{1,3},\d+)\s*,\s*([+-]?\d{1,3},\d+)$")
_BOTH_ORDERS = re.compile(r"\b(lon|lng|long|longitude|x|längengrad)\b.*\b(lat|latitude|y|breitengrad)\b", re.IGNORECASE)


def _read_pair(
    text: str, cell: object, source: Source | None, heading: str, east_letter: str, either_order: bool
) -> Point | Refusal:
    compact = read_compact(text)
    if compact is not None:
        return hemispheres(*compact, east_letter, WGS84, ("position", cell), ("position", cell))
    pair = _split_pair(text)
    metres = _read_metres(text)
    if metres is not None:
        return _metric_point(metres, cell, source)
    if pair is None:
        return Refusal("position", cell, Why.POSITION_UNREAD)
    (first, first_is), (second, second_is) = pair
    lon_first = bool(
        first_is == "lon" or second_is == "lat" or first.letter in ("E", "W", "O") or second.letter in ("N", "S")
    )
    marked = first_is or second_is or first.letter or second.letter
    if not marked and either_order and max(abs(first.degrees), abs(second.degrees)) <= 90:
        both = [p for p in (lonlat_point(first, second), lonlat_point(second, first)) if p is not None]
        return two_ways("position", cell, both, Why.ORDER_UNSAID)
    if not marked and (abs(first.degrees) > 90 or _BOTH_ORDERS.search(heading)):
        lon_first = True
    lon, lat = (first, second) if lon_first else (second, first)
    return hemispheres(lon, lat, east_letter, WGS84, ("position", cell), ("position", cell))


def _split_pair(text: str) -> tuple[tuple[Angle, str], tuple[Angle, str]] | None:
    """Two angles and what their labels say they are ("lat", "lon" or ""), by the first way of splitting that works."""
    four = _FOUR_NUMBERS.match(text)
    ways: list[list[str]] = [list(four.groups())] if four else []
    if in_front := _IN_FRONT.match(text):
        ways.append([part for part in in_front.groups() if part])
    ways += [[p for p in way.split(text) if p] for way in _PAIR_SPLITS]
    # "lat 60.17 lon 24.94": the labels mark where the second part starts
    ways.append([p.strip(" ,;") for p in _LABEL_STARTS.split(text) if p.strip()])
    # "60 10 18 24 56 51" and "60 10.3 24 56.4": as many parts for one as for the other
    words = text.split()
    if len(words) in (4, 6) and all(re.fullmatch(r"[+-]?\d+(?:[.,]\d+)?[,;]?", w) for w in words):
        half = len(words) // 2
        ways.append([" ".join(words[:half]).rstrip(",;"), " ".join(words[half:])])
    for parts in ways:
        if len(parts) != 2:
            continue
        read = []
        for part in parts:
            label = _LABELS.match(part)
            angle = read_angle(part[label.end() :] if label else part)
            read.append((angle, "lat" if label and label[1] else "lon" if label else ""))
        if read[0][0] is not None and read[1][0] is not None:
            return read[0], read[1]  # type: ignore[return-value]
    return None


_EAST = r"(?:x|e|east(?:ing)?|ost|rechts(?:wert)?|rw)\.?\s*[:=]?\s*"
_NORTH = r"(?:y|n|north(?:ing)?|nord|hoch(?:wert)?|hw)\.?\s*[:=]?\s*"
_NUMBER = r"([+-]?\d[\d.,'’\s\u00a0\u202f]*\d)"
_METRES = [
    re.compile(rf"{_EAST}{_NUMBER}\s*m?[\s,;/|]+{_NORTH}{_NUMBER}\s*m?$", re.IGNORECASE),
    re.compile(rf"{_NORTH}(?P<y>[+-]?\d[\d.,'’\s]*\d)\s*m?[\s,;/|]+{_EAST}(?P<x>[+-]?\d[\d.,'’\s]*\d)\s*m?$", re.I),
    re.compile(rf"{_NUMBER}\s*m?\s*E[\s,;/|]+{_NUMBER}\s*m?\s*N$", re.IGNORECASE),
    re.compile(rf"{_NUMBER}\s*[;/|]\s*{_NUMBER}$"),
    re.compile(r"([+-]?\d+(?:\.\d+)?)(?:,\s*|\s+)([+-]?\d+(?:\.\d+)?)$"),
    re.compile(r"([+-]?\d+(?:,\d+)?)\s+([+-]?\d+(?:,\d+)?)$"),
    re.compile(r"(\d{1,3}(?:['’]\d{3})+(?:\.\d+)?)(?:,\s*|\s+)(\d{1,3}(?:['’]\d{3})+(?:\.\d+)?)$"),
]


def _read_metres(text: str) -> tuple[Number, Number] | None:
    """Two numbers beyond the range of degrees, east first unless their letters say otherwise; None for other text."""
    for writing in _METRES:
        match = writing.match(text)
        if not match:
            continue
        named = match.groupdict()
        cells = (named["x"], named["y"]) if named else match.groups()
        x, y = (read_number(cell, "decimal") for cell in cells)
        if x is not None and y is not None and min(abs(x.value), abs(y.value)) > 1000:
            return x, y
    return None


def _metric_point(numbers: tuple[Number, Number], cell: object, source: Source | None) -> Point | Refusal:
    x, y = numbers
    first, second = Angle(*x, ""), Angle(*y, "")
    if source is None or not source.crs.is_projected:
        return Refusal("position", cell, Why.TWO_NUMBERS, Written(second, first, WGS84))
    off = max(math.hypot(x.step, y.step) / 2, LEAST_UNCERTAINTY_M)
    return Point(
        x.value, y.value, source.crs, off, f"x, y in {crs_label(source.crs)}", Written(first, second, source.crs, False)
    )


# ---------------------------------------------------------------------------------------------------------------------
# Geometry, in a cell or in a layer
# ---------------------------------------------------------------------------------------------------------------------


def is_geometry(text: object) -> bool:
    """Whether a cell starts like a geometry written as text: WKT, EWKT, hexadecimal WKB or EWKB, GeoJSON."""
    return isinstance(text, str) and bool(_GEOMETRY_TEXT.match(text.strip()))


def geometry_of(text: str, close_rings: bool = False) -> tuple[BaseGeometry, CRS | None] | None:
    """The shapely geometry of such a cell and the system it carries, if any; None where it is not well-formed.

    With `close_rings` an outline in WKT that does not come back to its start is closed by a straight line.
    """
    text = text.strip()
    srid = re.match(r"SRID\s*=\s*(\d+)\s*;\s*", text, re.IGNORECASE)
    own: CRS | None
    try:
        if text.startswith("{"):
            geometry, own = shapely.from_geojson(text), WGS84
        elif re.match(r"(0x|\\x)?0[01][0-9A-F]", text, re.IGNORECASE):
            geometry = shapely.from_wkb(re.sub(r"^(0x|\\x)", "", text))
            code = int(shapely.get_srid(geometry))
            own = parse_crs(code, "the SRID of a position") if code else None
        else:
            own = parse_crs(int(srid[1]), "the SRID of a position") if srid else None
            on_invalid = "fix" if close_rings else "raise"
            geometry = shapely.from_wkt(text[srid.end() :] if srid else text, on_invalid=on_invalid)
    except (shapely.errors.ShapelyError, CrsError, ValueError):
        return None
    return None if geometry is None else (geometry, own)


def _read_geometry_text(text: str, source: Source | None, file: str) -> Point | Refusal:
    """The point that a cell gives as a geometry."""
    read = geometry_of(text)
    if read is None:
        return Refusal("position", text, Why.POSITION_BROKEN)
    geometry, own = read
    if geometry.is_empty:
        return Refusal("position", text, Why.POSITION_EMPTY)
    return point_of(geometry, own, source, text, file)


def point_of(
    geometry: BaseGeometry | None, own: CRS | None, source: Source | None, value: object = "", file: str = ""
) -> Point | Refusal:
    """The position of a shapely geometry; `own`: the system it carries; `source`: that stated for its file, if any."""
    if geometry is None or geometry.is_empty:
        return Refusal("position", value, Why.GEOMETRY_EMPTY)
    while geometry.geom_type in ("MultiPoint", "GeometryCollection") and len(geometry.geoms) == 1:
        geometry = geometry.geoms[0]
    if geometry.geom_type != "Point":
        return Refusal("position", value, Why.NOT_A_POINT.of(shape=NAMES[shapely.get_type_id(geometry)]))
    x, y = float(geometry.x), float(geometry.y)
    if not (math.isfinite(x) and math.isfinite(y)):
        return Refusal("position", value, Why.NOT_FINITE)
    step = min(step_of(repr(x)), step_of(repr(y)))
    crs = own
    if crs is None and written_in_degrees(x, y, step) and (source is None or not source.own):
        crs = WGS84
    if crs is None and source is not None:
        crs = source.crs
    if crs is None:
        return Refusal("position", value, Why.METRES_UNSTATED.of(file=file or NAMELESS))
    if crs.is_geographic:
        read = hemispheres(Angle(x, step, ""), Angle(y, step, ""), "", crs, ("position", value), ("position", value))
        return read._replace(how="geometry") if isinstance(read, Point) else read
    written = Written(Angle(x, step, ""), Angle(y, step, ""), crs, False)
    return Point(x, y, crs, max(step / math.sqrt(2), LEAST_UNCERTAINTY_M), "geometry", written)


def written_in_degrees(x: float, y: float, step: float) -> bool:
    """Whether a point can only be meant in degrees: within their range, and not in whole numbers."""
    return abs(x) <= 180 and abs(y) <= 90 and step <= 0.1
