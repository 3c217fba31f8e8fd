"""The one gate for coordinates: which system they are in, how a person wrote them, how far off they may be.

Nothing is guessed. A system is stated or proven, a writing that fits two places is refused with both, and every
refusal says what to do. Order is always x (east) before y (north), longitude before latitude, as in GIS files.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError as PyprojCrsError

from habitatmap.errors import CrsError, why
from habitatmap.errors.why import Reason, Remedy

Floats = NDArray[np.float64]

WGS84 = CRS.from_epsg(4326)
# Great Britain's national grid, for references such as SU 387 148
BRITISH_GRID = CRS.from_epsg(27700)

# ---------------------------------------------------------------------------------------------------------------------
# Systems
# ---------------------------------------------------------------------------------------------------------------------


def parse_crs(text: object, where: str) -> CRS:
    """The system that `text` names (an EPSG code, a PROJ or a WKT text); CrsError names `where` it was written."""
    try:
        # PROJ takes a bare word for the name of some system it resembles; a system is stated, never guessed
        if isinstance(text, str) and not text.strip().isdigit() and not any(sign in text for sign in ":[={"):
            raise PyprojCrsError(f"{text} is a name, no code")
        return CRS.from_user_input(text)
    except PyprojCrsError as error:
        raise CrsError(
            f'{where}: "{str(text)[:80]}" is not a known coordinate reference system; '
            'write its EPSG code, such as "EPSG:3067"'
        ) from error


def metric_crs(text: object, where: str) -> CRS:
    """A projected system in metres, without heights; CrsError where `text` names anything else."""
    crs = parse_crs(text, where).to_2d()
    advice = 'write a projected system in metres, such as "EPSG:3067", or leave it out and one is chosen from the data'
    if crs.is_geographic:
        raise CrsError(
            f"{where}: {crs_label(crs)} is geographic (degrees), so no distance can be measured in it; {advice}"
        )
    if not crs.is_projected:
        raise CrsError(f"{where}: {crs_label(crs)} is not a projected system; {advice}")
    if not is_metric(crs):
        raise CrsError(f"{where}: {crs_label(crs)} is in {crs.axis_info[0].unit_name}, not in metres; {advice}")
    return crs


def is_metric(crs: CRS) -> bool:
    """Whether the system is projected and both its axes are in metres."""
    return bool(crs.is_projected) and all(a.unit_conversion_factor == 1.0 for a in crs.axis_info[:2])


def crs_label(crs: CRS) -> str:
    """Code and name for people, such as `EPSG:32635 (WGS 84 / UTM zone 35N)`."""
    authority = crs.to_authority()
    return f"{authority[0]}:{authority[1]} ({crs.name})" if authority else crs.name


def choose_crs(lon: ArrayLike, lat: ArrayLike) -> CRS:
    """A metric system for data at these places (degrees, WGS 84), where none was stated.

    WGS 84 / UTM in the zone of the centroid: it covers the whole world with one rule, and within a zone a metre is a
    metre to 0.1 % (common practice). South of 80 S and north of 84 N, where UTM ends, the polar stereographic
    system of WGS 84. The zone's exceptions for Norway are not made: any zone will do, and one rule is simpler.
    """
    lon_, lat_ = np.asarray(lon, dtype=float).ravel(), np.asarray(lat, dtype=float).ravel()
    good = np.isfinite(lon_) & np.isfinite(lat_)
    if not good.any():
        raise CrsError("no coordinate system can be chosen, as no input has a place; write crs in area.toml")
    turn = np.radians(lon_[good])
    # the mean of directions, so that an area across the 180th meridian is not moved to the other side of the world
    middle = math.degrees(math.atan2(np.sin(turn).mean(), np.cos(turn).mean()))
    north = float(lat_[good].mean())
    if north > 84.0:
        return CRS.from_epsg(32661)
    if north < -80.0:
        return CRS.from_epsg(32761)
    zone = min(60, int((middle + 180.0) // 6.0) + 1)
    return CRS.from_epsg((32600 if north >= 0 else 32700) + zone)


@lru_cache(maxsize=64)
def _transformer(source: CRS, target: CRS) -> Transformer:
    return Transformer.from_crs(source, target, always_xy=True)


def transform(x: ArrayLike, y: ArrayLike, source: CRS, target: CRS) -> tuple[Floats, Floats]:
    """x and y of `source` in `target`, always x (east, longitude) first; NaN where a point has no image there."""
    x_, y_ = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if source == target:
        return x_.copy(), y_.copy()
    new_x, new_y = _transformer(source, target).transform(x_, y_)
    new_x, new_y = np.asarray(new_x, dtype=float), np.asarray(new_y, dtype=float)
    lost = ~(np.isfinite(new_x) & np.isfinite(new_y))
    return np.where(lost, np.nan, new_x), np.where(lost, np.nan, new_y)


def to_lonlat(x: ArrayLike, y: ArrayLike, source: CRS) -> tuple[Floats, Floats]:
    """Longitude and latitude (degrees, WGS 84)."""
    return transform(x, y, source, WGS84)


def metres_per_degree(lat: ArrayLike) -> tuple[Floats, Floats]:
    """Length of one degree of latitude and of longitude at `lat` (degrees), in metres on the WGS 84 ellipsoid.

    From its two radii of curvature (Snyder 1987, USGS Professional Paper 1395, equations 4-18 and 4-20).
    """
    axis, flattening = 6378137.0, 1 / 298.257223563
    e2 = flattening * (2 - flattening)
    phi = np.radians(np.asarray(lat, dtype=float))
    w = np.sqrt(1 - e2 * np.sin(phi) ** 2)
    return np.radians(axis * (1 - e2) / w**3), np.radians(axis * np.cos(phi) / w)


def rounding_m(step_degrees: ArrayLike, lat: ArrayLike) -> Floats:
    """How far a point may lie from one written to this step: half the diagonal of the rounding cell, in metres."""
    along, across = metres_per_degree(lat)
    step = np.asarray(step_degrees, dtype=float)
    return 0.5 * step * np.hypot(along, across)


# ---------------------------------------------------------------------------------------------------------------------
# Numbers and angles as people write them
# ---------------------------------------------------------------------------------------------------------------------


class Number(NamedTuple):
    """A number as written, and the step of its last digit (0.01 for 60.17)."""

    value: float
    step: float


# what people and programs put between groups of digits: spaces of all widths, apostrophes
_GAPS = re.compile(r"(?<=\d)[\s\u00a0\u2009\u202f'’](?=\d{3})")
_SIMPLE = re.compile(r"([+-]?)(\d+)(?:([.,])(\d*))?(?:[eE]([+-]?\d{1,3}))?$")
_GROUPED = re.compile(r"([+-]?)(\d{1,3}(?:\.\d{3})+|\d{1,3}(?:,\d{3})+)(?:([.,])(\d+))?$")


def read_number(cell: object, comma: str = "ask") -> Number | None:
    """A cell as a number; None where it is not one, or where it has two readings.

    `comma` says what a single comma before exactly three digits is ("385,123"): "decimal", "thousands", or "ask".
    """
    if isinstance(cell, bool) or cell is None:
        return None
    if isinstance(cell, (int, float)):
        return Number(float(cell), _step_of(repr(float(cell)))) if math.isfinite(cell) else None
    text = _GAPS.sub("", str(cell).strip()).replace("−", "-").replace("–", "-")
    match = _SIMPLE.match(text)
    if match:
        sign, whole, mark, part, power = match.groups()
        if mark == "," and len(part) == 3 and 1 <= len(whole) <= 3 and whole != "0" and not power:
            if comma == "ask":
                return None
            if comma == "thousands":
                return Number(float(f"{sign}{whole}{part}"), 1.0)
        return Number(float(f"{sign}{whole}.{part or '0'}e{power or 0}"), 10.0 ** (int(power or 0) - len(part or "")))
    match = _GROUPED.match(text)
    if match:
        sign, whole, mark, part = match.groups()
        if mark and mark in whole:
            return None
        digits = whole.replace(".", "").replace(",", "")
        return Number(float(f"{sign}{digits}.{part or '0'}"), 10.0 ** -len(part or ""))
    return None


def comma_of(cells: Sequence[object]) -> str:
    """What a comma before three digits is in this column: "decimal" or "thousands" by its other cells, else "ask"."""
    texts = [_GAPS.sub("", c.strip()) for c in cells if isinstance(c, str) and "," in c]
    decimal = any(re.fullmatch(r"[+-]?(\d*,(\d{1,2}|\d{4,})|0,\d+|\d{4,},\d+|[\d.]*\.\d{3},\d+)", t) for t in texts)
    thousands = any(re.fullmatch(r"[+-]?\d{1,3}(,\d{3}){2,}(\.\d+)?|[+-]?\d{1,3}(,\d{3})+\.\d+", t) for t in texts)
    return "decimal" if decimal and not thousands else "thousands" if thousands and not decimal else "ask"


def _step_of(text: str) -> float:
    """The step of the last digit of a number as the computer writes it: 1.0 for "24.0", 1e-05 for "2.5e-05"."""
    mantissa, _, power = text.partition("e")
    decimals = len(mantissa.partition(".")[2]) if not mantissa.endswith(".0") else 0
    return 10.0 ** (int(power or 0) - decimals)


class Angle(NamedTuple):
    """Degrees, the step of the last digit in degrees, and the hemisphere letter that was written ("" = none)."""

    degrees: float
    step: float
    letter: str


_DIRECTIONS = {
    "N": "n north nord norte noord pohjoinen",
    "S": "s south sud süd sur zuid z etelä",
    "E": "e east est este ost oost itä",
    "W": "w west ouest oeste länsi",
    "O": "o",  # Ost or Ouest: the column's language decides
}
_LETTER = {word: letter for letter, words in _DIRECTIONS.items() for word in words.split()}
_WORD = r"[^\W\d_]+"
_PART = r"\d+(?:[.,]\d+)?"
_ANGLE = re.compile(
    rf"([+-]?)\s*({_PART})\s*(?:[°º˚:]|deg|d|\s|$)\s*"
    rf"(?:({_PART})\s*(?:['’‘′´`:]|min|m|\s|$)\s*(?:({_PART})\s*(?:[\"”“″]|['’′´]{{2}}|sec|s)?)?)?\s*$"
)


def read_angle(cell: object) -> Angle | None:
    """Decimal degrees, or degrees with minutes and seconds, with or without a hemisphere letter; None if unclear.

    Only the last part may have decimals, minutes and seconds stay below 60, and a minus sign beside a hemisphere
    letter is unclear.
    """
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        number = read_number(cell)
        return number and Angle(number.value, number.step, "")
    if not isinstance(cell, str):
        return None
    text, letter = cell.strip().replace("−", "-").replace("–", "-"), ""
    for pattern in (rf"^({_WORD})\.?[\s:]*(?=[\d+-])", rf"(?<=[\d\s°º˚'’′\"”″.])({_WORD})\.?$"):
        match = re.search(pattern, text)
        if match and match[1].lower() in _LETTER:
            if letter:
                return None
            letter = _LETTER[match[1].lower()]
            text = (text[: match.start()] + text[match.end() :]).strip()
    match = _ANGLE.match(text)
    if not match:
        return None
    sign, *parts = match.groups()
    written = [p.replace(",", ".") for p in parts if p is not None]
    if (sign and letter) or any("." in p for p in written[:-1]):
        return None
    values = [float(p) for p in written]
    if any(v >= 60 for v in values[1:]):
        return None
    degrees = sum(v / 60**i for i, v in enumerate(values))
    step = 10.0 ** -len(written[-1].partition(".")[2]) / 60 ** (len(values) - 1)
    return Angle(-degrees if sign == "-" or letter in ("S", "W") else degrees, step, letter)


# ---------------------------------------------------------------------------------------------------------------------
# Grid references
# ---------------------------------------------------------------------------------------------------------------------

_BRITISH_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # no I
_BRITISH = re.compile(r"([HNOST][A-HJ-Z])\s*(?:(\d{1,5})\s+(\d{1,5})|((?:\d\d){1,5}))$", re.IGNORECASE)


def read_british_grid(text: str) -> tuple[float, float, float] | None:
    """(x, y, side) of the square that a national grid reference of Great Britain names: its centre, metres.

    "SU 387 148" names the 100 m square whose south-west corner is 438700, 114800, so the point is half a side from
    both. None where the text is no such reference.
    """
    match = _BRITISH.match(text.strip())
    if not match:
        return None
    letters, east, north, digits = match.groups()
    if digits:
        east, north = digits[: len(digits) // 2], digits[len(digits) // 2 :]
    if len(east) != len(north):
        return None
    first, second = (_BRITISH_LETTERS.index(c) for c in letters.upper())
    # 500 km squares run east and south from A; the false origin is at the corner of S, two east and three north of V
    column = (first % 5 - 2) * 5 + second % 5
    row = (3 - first // 5) * 5 + 4 - second // 5
    if not (0 <= column < 7 and 0 <= row < 13):
        return None
    side = 10.0 ** (5 - len(east))
    return column * 1e5 + int(east) * side + side / 2, row * 1e5 + int(north) * side + side / 2, side


def british_grid(x: float, y: float, digits: int = 6) -> str:
    """The reference of the square that holds a point of EPSG:27700, `digits` digits in all; truncated, not rounded."""
    e, n = int(x // 1e5), int(y // 1e5)
    if not (0 <= e < 7 and 0 <= n < 13):
        raise ValueError(f"{x}, {y} lies outside the grid of Great Britain")
    first = (19 - n) - (19 - n) % 5 + (e + 10) // 5
    second = ((19 - n) * 5) % 25 + e % 5
    each = digits // 2
    numbers = (f"{int(v % 1e5):05d}"[:each] for v in (x, y))
    return " ".join([_BRITISH_LETTERS[first] + _BRITISH_LETTERS[second], *numbers])


# ---------------------------------------------------------------------------------------------------------------------
# Positions: what one row of a table says
# ---------------------------------------------------------------------------------------------------------------------


class Point(NamedTuple):
    """A place in the system `crs`, how far it may be off (metres, from the writing alone), and how it was read."""

    x: float
    y: float
    crs: CRS
    uncertainty_m: float
    how: str


class Refusal(NamedTuple):
    """Why a row has no place: the role of the cell (lat, x, position, ...), its value, and a reason with its remedy."""

    role: str
    value: object
    reason: Reason
    remedy: Remedy


class Source(NamedTuple):
    """Which system x and y of a file are in, and who says so."""

    crs: CRS
    said_by: str


NO_PLACE = Refusal("", "", *why.NO_PLACE)


def lonlat_point(lon: Angle, lat: Angle, crs: CRS = WGS84, how: str = "longitude and latitude") -> Point | None:
    """The point, or None where it is out of range.

    Programs drop trailing zeros, so the finer step of the two numbers counts for both.
    """
    if abs(lat.degrees) > 90 or abs(lon.degrees) > 180:
        return None
    off = float(rounding_m(min(lon.step, lat.step), lat.degrees))
    return Point(lon.degrees, lat.degrees, crs, max(off, LEAST_UNCERTAINTY_M), how)


# nobody places a pool to the millimetre, however many digits a phone writes (expert judgement)
LEAST_UNCERTAINTY_M = 0.1


def read_lonlat(lon_cell: object, lat_cell: object, east_letter: str = "", crs: CRS = WGS84) -> Point | Refusal:
    """A row's longitude and latitude cells. `east_letter`: what the letter O means in this column, "E", "W" or ""."""
    for role, cell in (("lat", lat_cell), ("lon", lon_cell)):
        if cell is None:
            other = "longitude" if role == "lat" else "latitude"
            missing = "latitude" if role == "lat" else "longitude"
            return Refusal(role, "", *why.HALF_A_PLACE.of(given=other, missing=missing))
    lon, lat = read_angle(lon_cell), read_angle(lat_cell)
    if lat is None:
        return Refusal("lat", lat_cell, *why.LATITUDE_UNREAD)
    if lon is None:
        return Refusal("lon", lon_cell, *why.LONGITUDE_UNREAD)
    return _hemispheres(lon, lat, east_letter, crs, ("lon", lon_cell), ("lat", lat_cell))


def _hemispheres(
    lon: Angle, lat: Angle, east_letter: str, crs: CRS, lon_cell: tuple[str, object], lat_cell: tuple[str, object]
) -> Point | Refusal:
    """Settles the letters and the ranges of two angles that were read."""
    if lon.letter in ("N", "S") or lat.letter not in ("", "N", "S"):
        return Refusal(*lat_cell, *why.SWAPPED_LETTERS)
    if lon.letter == "O":
        if not east_letter:
            return Refusal(*lon_cell, *why.LETTER_O)
        lon = lon._replace(degrees=lon.degrees if east_letter == "E" else -lon.degrees)
    if lon.degrees == 0 and lat.degrees == 0:
        return Refusal(*lat_cell, *why.ZERO_ZERO)
    point = lonlat_point(lon, lat, crs)
    if point is not None:
        return point
    role, cell = lat_cell if abs(lat.degrees) > 90 else lon_cell
    if abs(lat.degrees) > 90 and abs(lat.degrees) <= 180 and abs(lon.degrees) <= 90:
        return Refusal(role, cell, *why.BEYOND_90)
    limit = 90 if abs(lat.degrees) > 90 else 180
    return Refusal(role, cell, *why.BEYOND.of(limit=limit))


def letter_o(cells: Sequence[object], heading: str = "") -> str:
    """What O means in a column of longitudes: "E" beside W (German, Dutch), "W" beside E (French, Spanish), else "".

    Where the column has neither, the language of its heading decides.
    """
    written = [c for c in cells if isinstance(c, str) and re.search(r"[^\W\d_]", c)]
    letters = {a.letter for a in map(read_angle, written) if a is not None}
    if "O" not in letters or letters >= {"E", "W"}:
        return ""
    if "W" in letters:
        return "E"
    if "E" in letters:
        return "W"
    word = heading.casefold()
    if re.search(r"länge|laenge|lengte|ostw|rechtswert", word):
        return "E"
    return "W" if re.search(r"longitud\b|longitude \(?o|ouest|oeste", word) else ""


_PAIR_SPLITS = [
    re.compile(r"(?<=[\d.'’′°])[\s,;/|]+(?=[EWO]\s*\d)"),
    re.compile(r"(?<=[NSEWO\"”″'’′°])\s*[,;/|\s]\s*(?=[\dNSEWO+-])"),
    re.compile(r"\s*[;|/]\s*"),
    re.compile(r",\s+"),
    re.compile(r"\s+"),
    re.compile(r","),
    re.compile(r"(?<=[NSEWO])(?=\d)"),
    re.compile(r"(?<=\d)(?=[NSEWO])"),
]
_GEOMETRY_TEXT = re.compile(
    r"\{|SRID\s*=|(MULTI)?(POINT|LINESTRING|POLYGON)|GEOMETRYCOLLECTION|0[01]([0-9A-F]{2}){20,}$", re.IGNORECASE
)
_LABELS = re.compile(r"^(?:(lat(?:itude)?|breite)|(lon(?:gitude)?|lng|long|länge))\.?\s*[:=]?\s*", re.IGNORECASE)
_FOUR_NUMBERS = re.compile(r"([+-]?\d{1,3},\d+)\s*,\s*([+-]?\d{1,3},\d+)$")
_BOTH_ORDERS = re.compile(r"\b(lon|lng|long|longitude|x|längengrad)\b.*\b(lat|latitude|y|breitengrad)\b", re.IGNORECASE)


def read_position(
    cell: object, source: Source | None, heading: str = "", east_letter: str = "", file: str = ""
) -> Point | Refusal:
    """One cell that holds a whole position: two angles, WKT, EWKT, WKB, GeoJSON or a grid reference.

    `source` is the system of plain metres and of WKT without its own, None where nothing states it. A pair of plain
    degrees is latitude first, as telephones write it, unless letters, labels, range or the heading say otherwise.
    `file` is named in remedies.
    """
    text = str(cell).strip().strip("()[]").strip()
    if _GEOMETRY_TEXT.match(str(cell).strip()):
        return _read_geometry_text(str(cell).strip(), source, file)
    square = read_british_grid(text)
    if square is not None:
        x, y, side = square
        return Point(x, y, BRITISH_GRID, side / math.sqrt(2), "grid reference of Great Britain")
    return _read_pair(text.removeprefix("geo:"), cell, source, heading, east_letter)


def _read_pair(text: str, cell: object, source: Source | None, heading: str, east_letter: str) -> Point | Refusal:
    pair = _split_pair(text)
    if pair is None:
        return Refusal("position", cell, *why.POSITION_UNREAD)
    (first, first_is), (second, second_is) = pair
    lon_first = bool(
        first_is == "lon" or second_is == "lat" or first.letter in ("E", "W", "O") or second.letter in ("N", "S")
    )
    told = first_is or second_is or first.letter or second.letter
    if not told and (abs(first.degrees) > 180 or abs(second.degrees) > 180):
        if source is None or not source.crs.is_projected:
            return Refusal("position", cell, *why.TWO_NUMBERS)
        off = max(math.hypot(first.step, second.step) / 2, LEAST_UNCERTAINTY_M)
        return Point(first.degrees, second.degrees, source.crs, off, f"x, y in {crs_label(source.crs)}")
    if not told and (abs(first.degrees) > 90 or _BOTH_ORDERS.search(heading)):
        lon_first = True
    lon, lat = (first, second) if lon_first else (second, first)
    return _hemispheres(lon, lat, east_letter, WGS84, ("position", cell), ("position", cell))


def _split_pair(text: str) -> tuple[tuple[Angle, str], tuple[Angle, str]] | None:
    """Two angles and what their labels say they are ("lat", "lon" or ""), by the first way of splitting that works."""
    four = _FOUR_NUMBERS.match(text)
    ways: list[list[str]] = [list(four.groups())] if four else []
    ways += [[p for p in way.split(text) if p] for way in _PAIR_SPLITS]
    # "lat 60.17 lon 24.94" and "60 10 18 N 24 56 51 E": the words and letters mark where the second part starts
    ways.append(
        [p.strip(" ,;") for p in re.split(r"(?=\b(?:lon|lng|long|lat)\w*\b)", text, flags=re.IGNORECASE) if p.strip()]
    )
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


def _read_geometry_text(text: str, source: Source | None, file: str) -> Point | Refusal:
    """A point in WKT, EWKT, hexadecimal WKB or GeoJSON."""
    srid = re.match(r"SRID\s*=\s*(\d+)\s*;\s*", text, re.IGNORECASE)
    own: CRS | None
    try:
        if text.startswith("{"):
            geometry, own = shapely.from_geojson(text), WGS84
        elif re.fullmatch(r"[0-9A-Fa-f]+", text):
            geometry = shapely.from_wkb(text)
            code = int(shapely.get_srid(geometry))
            own = parse_crs(code, "the SRID of a position") if code else None
        else:
            own = parse_crs(int(srid[1]), "the SRID of a position") if srid else None
            geometry = shapely.from_wkt(text[srid.end() :] if srid else text)
    except (shapely.errors.ShapelyError, CrsError, ValueError):
        return Refusal("position", text, *why.POSITION_BROKEN)
    if geometry is None or geometry.is_empty:
        return Refusal("position", text, *why.POSITION_EMPTY)
    return point_of(geometry, own, source, text, file)


def point_of(
    geometry: Any, own: CRS | None, source: Source | None, value: object = "", file: str = ""
) -> Point | Refusal:
    """The place of a shapely geometry; `own` is the system it carries, `source` the one stated for its file, if any."""
    if geometry is None or geometry.is_empty:
        return Refusal("position", value, *why.GEOMETRY_EMPTY)
    if geometry.geom_type == "MultiPoint" and len(geometry.geoms) == 1:
        geometry = geometry.geoms[0]
    if geometry.geom_type != "Point":
        return Refusal("position", value, *why.NOT_A_POINT.of(shape=geometry.geom_type.lower()))
    x, y = float(geometry.x), float(geometry.y)
    if not (math.isfinite(x) and math.isfinite(y)):
        return Refusal("position", value, *why.NOT_FINITE)
    step = min(_step_of(repr(x)), _step_of(repr(y)))
    crs = own
    if crs is None and _written_in_degrees(x, y, step) and (source is None or not source.said_by.startswith("[")):
        crs = WGS84
    if crs is None and source is not None:
        crs = source.crs
    if crs is None:
        return Refusal("position", value, *why.METRES_UNSTATED.of(file=file or NAMELESS))
    if crs.is_geographic:
        read = _hemispheres(Angle(x, step, ""), Angle(y, step, ""), "", crs, ("position", value), ("position", value))
        return read._replace(how="geometry") if isinstance(read, Point) else read
    return Point(x, y, crs, max(step / math.sqrt(2), LEAST_UNCERTAINTY_M), "geometry")


def _written_in_degrees(x: float, y: float, step: float) -> bool:
    """Whether a point can only be meant in degrees: within their range, and with three or more decimals."""
    return abs(x) <= 180 and abs(y) <= 90 and step <= 1e-3


NAMELESS = "the file's name"


def state_crs(file: str) -> str:
    """The line that states the system of a file of metres."""
    return why.STATE_SYSTEM.format(file=file or NAMELESS)


# ---------------------------------------------------------------------------------------------------------------------
# Whole columns
# ---------------------------------------------------------------------------------------------------------------------


def read_points(
    cells: Mapping[str, Sequence[object]],
    headings: Mapping[str, str],
    source: Source | None,
    file: str,
) -> list[Point | Refusal]:
    """The place of every row of a table.

    cells: columns by role, of equal length, blanks None: `x` and `y`; `lon` and `lat`; `position` (one cell with
    both, a grid reference, WKT, ...). headings: the file's own heading of each role. source: the system of x and y.
    Where a row has several, x and y count if their system is known, then lon and lat, then position. CrsError where
    x and y are metres of an unknown system and nothing else gives the places.
    """
    rows = len(next(iter(cells.values()), []))
    answer: list[Point | Refusal | None] = [None] * rows
    ways = []
    if "lon" in cells and "lat" in cells and _beyond_degrees(cells["lon"], cells["lat"]):
        # headed lon and lat, yet metres: they need a stated system like any x and y
        cells = {**cells, "x": cells["lon"], "y": cells["lat"]}
        headings = {**headings, "x": headings.get("lon", ""), "y": headings.get("lat", "")}
        cells = {k: v for k, v in cells.items() if k not in ("lon", "lat")}
    if "x" in cells and "y" in cells and source is not None:
        ways.append(_read_xy(cells["x"], cells["y"], source))
    if "lon" in cells and "lat" in cells:
        o = letter_o(cells["lon"], headings.get("lon", ""))
        crs = source.crs if source is not None and source.crs.is_geographic else WGS84
        ways.append(
            [
                None if a is None and b is None else read_lonlat(a, b, o, crs)
                for a, b in zip(cells["lon"], cells["lat"], strict=True)
            ]
        )
    if "position" in cells:
        heading = headings.get("position", "")
        o = letter_o([p for c in cells["position"] if isinstance(c, str) for p in re.split(r"[,;\s]+", c)], heading)
        ways.append([None if c is None else read_position(c, source, heading, o, file) for c in cells["position"]])
    if source is None and "x" in cells and "y" in cells and not any(isinstance(r, Point) for way in ways for r in way):
        _refuse_unstated(cells["x"], cells["y"], headings, file)
    for way in ways:
        for i, read in enumerate(way):
            # a reading beats a refusal, and the first refusal is the one to tell
            if read is not None and (answer[i] is None or (isinstance(answer[i], Refusal) and isinstance(read, Point))):
                answer[i] = read
    for i, apart in _contradictions(ways):
        answer[i] = Refusal("", "", *why.TWO_PLACES_IN_ROW.of(metres=f"{apart:.0f}"))
    return [NO_PLACE if a is None else a for a in answer]


def _refuse_unstated(xs: Sequence[object], ys: Sequence[object], headings: Mapping[str, str], file: str) -> None:
    """CrsError where two columns hold plain numbers of an unknown system."""
    numbers = [(x, y) for x, y in zip(map(read_number, xs), map(read_number, ys), strict=True) if x and y]
    if not numbers:
        return
    degrees = all(_written_in_degrees(x.value, y.value, min(x.step, y.step)) for x, y in numbers)
    raise CrsError(
        f"{file}: nothing states the coordinate system of the columns {headings.get('x', 'x')} and "
        f"{headings.get('y', 'y')}; {state_crs(file)}"
        + (
            ' ("EPSG:4326" if they are longitude and latitude)'
            if degrees
            else " (or state crs, if it is the area's own)"
        )
    )


# two ways of writing one place may differ by a shift between systems that needs a grid file we lack
SHIFT_M = 10.0


def _contradictions(ways: Sequence[Sequence[Point | Refusal | None]]) -> list[tuple[int, float]]:
    """(row, metres apart) where two columns of one row name places farther apart than both may be off."""
    found = []
    for k, way in enumerate(ways[1:], 1):
        rows = [i for i, read in enumerate(way) if isinstance(read, Point) and isinstance(ways[0][i], Point)]
        one, other = [ways[0][i] for i in rows], [ways[k][i] for i in rows]
        (lon, lat), (lon2, lat2) = locate(one, WGS84), locate(other, WGS84)
        along, across = metres_per_degree(lat)
        apart = np.hypot((lat2 - lat) * along, (lon2 - lon) * across)
        for i, a, b, metres in zip(rows, one, other, apart.tolist(), strict=True):
            if isinstance(a, Point) and isinstance(b, Point) and metres > a.uncertainty_m + b.uncertainty_m + SHIFT_M:
                found.append((i, metres))
    return found


def _beyond_degrees(lon: Sequence[object], lat: Sequence[object]) -> bool:
    """Whether most pairs of two columns cannot be degrees, but are plain numbers: metres under a wrong heading."""
    some = zip(lon[:1000], lat[:1000], strict=True)
    pairs = [(read_number(a, "decimal"), read_number(b, "decimal")) for a, b in some]
    read = [(a.value, b.value) for a, b in pairs if a is not None and b is not None]
    beyond = sum(abs(a) > 1000 and abs(b) > 1000 for a, b in read)
    return beyond > len(read) / 2


def _read_xy(xs: Sequence[object], ys: Sequence[object], source: Source) -> list[Point | Refusal | None]:
    if source.crs.is_geographic:
        return [
            None if a is None and b is None else read_lonlat(a, b, "", source.crs) for a, b in zip(xs, ys, strict=True)
        ]
    comma = {"x": comma_of(xs), "y": comma_of(ys)}
    unit = float(source.crs.axis_info[0].unit_conversion_factor)
    how = f"x, y in {crs_label(source.crs)}, as {source.said_by} states"
    read: list[Point | Refusal | None] = []
    for pair in zip(xs, ys, strict=True):
        if pair == (None, None):
            read.append(None)
            continue
        numbers = [read_number(cell, comma[role]) for role, cell in zip("xy", pair, strict=True)]
        x, y = numbers
        if x is None or y is None:
            bad = 0 if x is None else 1
            role, blank = "xy"[bad], pair[bad] is None
            fault = why.HALF_IN_METRES if blank else why.NOT_METRES
            read.append(Refusal(role, pair[bad], *fault.of(axis=role)))
            continue
        off = max(min(x.step, y.step) * unit / math.sqrt(2), LEAST_UNCERTAINTY_M)
        read.append(Point(x.value, y.value, source.crs, off, how))
    return read


def locate(points: Sequence[Point | Refusal | None], target: CRS) -> tuple[Floats, Floats]:
    """x and y of points in one system, NaN where a row was refused or the point has no image there."""
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


def read_accuracy(cell: object) -> float:
    """An accuracy in metres ("12", "787 m", "0.3 km"); NaN where it says nothing, as -1, 0 and blank do."""
    unit = 1.0
    if isinstance(cell, str):
        match = re.match(r"\s*(?:\+/?-|±)?\s*(.*?)\s*(km|m|ft|feet|metres|meters|meter)?\.?\s*$", cell, re.IGNORECASE)
        if match:
            cell, unit = match[1], {"km": 1000.0, "ft": 0.3048, "feet": 0.3048}.get((match[2] or "").lower(), 1.0)
    number = read_number(cell, "decimal")
    return number.value * unit if number is not None and number.value > 0 else math.nan
