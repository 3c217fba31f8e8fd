"""Grid references and codes: each names a square; the position is its centre, the uncertainty its half diagonal."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import mgrs
from openlocationcode import openlocationcode
from pyproj import CRS

from habitatmap.geo.crs import WGS84, metres_per_degree

# Great Britain's national grid, for references such as SU 387 148, and that of Ireland, such as O 159 345
BRITISH_GRID = CRS.from_epsg(27700)
IRISH_GRID = CRS.from_epsg(29903)


class Square(NamedTuple):
    """The centre of a square in the system `crs`, its half diagonal in metres, and what named it."""

    x: float
    y: float
    crs: CRS
    half_diagonal_m: float
    how: str


def read_squares(text: str) -> list[Square]:
    """Every square that a text may name: none, one, or two where it is a reference of two systems."""
    found = []
    for read, crs, how in (
        (read_british_grid, BRITISH_GRID, "grid reference of Great Britain"),
        (read_irish_grid, IRISH_GRID, "grid reference of Ireland"),
    ):
        square = read(text)
        if square is not None:
            x, y, side = square
            found.append(Square(x, y, crs, side / math.sqrt(2), how))
    for code in (read_mgrs(text), read_plus_code(text)):
        found += [code] if code is not None else []
    return found + read_utm(text)


# --- Great Britain and Ireland ---------------------------------------------------------------------------------------

_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # no I
# numbers, or a tetrad (SU38P, 2 km) or a quadrant (SU38NW, 5 km) of a 10 km square, as naturalists write them
_NUMBERS = r"\s*(?:(\d{1,5})[\s-]+(\d{1,5})|((?:\d\d){1,5})|(\d\d)\s*([A-NP-Z]|[NS][EW]))$"
_BRITISH = re.compile(rf"([HNOST][A-HJ-Z]){_NUMBERS}", re.IGNORECASE)
# four digits at least: A12 is more often the number of a bed or a plan than a square of 10 km
_IRISH = re.compile(r"([A-HJ-Z])\s*(?:(\d{2,5})[\s-]+(\d{2,5})|((?:\d\d){2,5}))()()$", re.IGNORECASE)
_TETRADS = "ABCDEFGHIJKLMNPQRSTUVWXYZ"  # no O; from the south-west corner northwards, column by column


def read_british_grid(text: str) -> tuple[float, float, float] | None:
    """(x, y, side) of the square that a national grid reference of Great Britain names: its centre, metres.

    "SU 387 148" names the 100 m square whose south-west corner is 438700, 114800, so the point is half a side from
    both. None where the text is no such reference.
    """
    match = _BRITISH.match(text.strip())
    if not match:
        return None
    first, second = (_LETTERS.index(c) for c in match[1].upper())
    # 500 km squares run east and south from A; the false origin is at the corner of S, two east and three north of V
    column = (first % 5 - 2) * 5 + second % 5
    row = (3 - first // 5) * 5 + 4 - second // 5
    return _in_square(match, column, row) if 0 <= column < 7 and 0 <= row < 13 else None


def read_irish_grid(text: str) -> tuple[float, float, float] | None:
    """(x, y, side) as `read_british_grid` has them, of Ireland's grid, whose one letter names a square of 100 km."""
    match = _IRISH.match(text.strip())
    if not match:
        return None
    at = _LETTERS.index(match[1].upper())
    return _in_square(match, at % 5, 4 - at // 5)


def _in_square(match: re.Match[str], column: int, row: int) -> tuple[float, float, float] | None:
    """The centre and side of what the numbers of a reference name, in its square of 100 km."""
    east, north, digits, ten_km, part = match.groups()[1:]
    if ten_km:
        x, y = int(ten_km[0]) * 1e4, int(ten_km[1]) * 1e4
        if len(part) == 2:
            side = 5000.0
            x, y = x + side * (part[1].upper() == "E"), y + side * (part[0].upper() == "N")
        else:
            side, at = 2000.0, _TETRADS.index(part.upper())
            x, y = x + side * (at // 5), y + side * (at % 5)
        return column * 1e5 + x + side / 2, row * 1e5 + y + side / 2, side
    if digits:
        east, north = digits[: len(digits) // 2], digits[len(digits) // 2 :]
    if len(east) != len(north):
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
    return " ".join([_LETTERS[first] + _LETTERS[second], *numbers])


# --- UTM, its military grid ------------------------------------------------------------------------------------------

_MGRS = re.compile(r"(\d{1,2}[C-HJ-NP-X])\s*([A-HJ-NP-Z][A-HJ-NP-V])\s*(?:(\d{1,5})\s+(\d{1,5})|((?:\d\d){0,5}))$")
_UTM = re.compile(
    r"(?:UTM|ZONE|[\s:])*(\d{1,2})\s*([C-HJ-NP-X])[\s,;:]+(?:E\s*)?(0?\d{6}(?:[.,]\d+)?)\s*(?:M?\s*E)?[\s,;/]+(?:N\s*)?"
    r"(\d{1,8}(?:[.,]\d+)?)\s*(?:M?\s*N)?$"
)


def utm(zone: int, north: bool) -> CRS:
    """WGS 84 / UTM of a zone and half of the world."""
    return CRS.from_epsg((32600 if north else 32700) + zone)


def read_mgrs(text: str) -> Square | None:
    """The square of a military grid reference such as 32T MT 4712 1234; None where the text is none."""
    match = _MGRS.match(text.strip().upper())
    if not match:
        return None
    zone, square, east, north, digits = match.groups()
    numbers = digits if east is None else f"{east}{north}" if len(east) == len(north) else None
    if numbers is None:
        return None
    try:
        number, half, x, y = mgrs.MGRS().MGRSToUTM(f"{zone}{square}{numbers}")
    except Exception:  # of a class that the library does not export
        return None
    # releases of the library differ on whether they give a square's corner or its centre
    side = 10.0 ** (5 - len(numbers) // 2)
    x, y = ((v // side + 0.5) * side for v in (x, y))
    return Square(x, y, utm(number, half == "N"), side / math.sqrt(2), "military grid reference")


def read_utm(text: str) -> list[Square]:
    """The points that metres with their zone may mean, such as 32U 543210 5512345 (a square of the last digit).

    Two where the letter S may be the latitude band S (32 to 40 N) or the southern half.
    """
    match = _UTM.match(text.strip().upper())
    if not match or not 1 <= int(match[1]) <= 60:
        return []
    zone, letter = int(match[1]), match[2]
    x, y = (float(p.replace(",", ".")) for p in match.groups()[2:])
    step = 10.0 ** -max(len(p.replace(",", ".").partition(".")[2]) for p in match.groups()[2:])
    if y > 1e7:
        return []
    halves = [True, False] if letter == "S" and 3.5e6 < y < 4.5e6 else [letter >= "N" and letter != "S"]
    return [Square(x, y, utm(zone, half), step / math.sqrt(2), "UTM with its zone (WGS 84)") for half in halves]


# --- plus codes ------------------------------------------------------------------------------------------------------

_CODE = re.compile(r"([23456789CFGHJMPQRVWX]{2,8}0{0,6}\+[23456789CFGHJMPQRVWX]{0,7})(?=[\s,;]|$)", re.IGNORECASE)


def read_plus_code(text: str) -> Square | None:
    """The cell of a full code such as 9GFGQV7J+2W; None for a short one and for other text."""
    match = _CODE.match(text.strip())
    return _cell(match[1]) if match and openlocationcode.isFull(match[1]) else None


def short_plus_code(text: str) -> str:
    """The short code at the start of a text such as QV7J+2W Helsinki, "" where there is none."""
    match = _CODE.match(text.strip())
    return match[1] if match and openlocationcode.isShort(match[1]) else ""


def recover_plus_code(short: str, lon: float, lat: float) -> Square:
    """The cell of a short code that lies nearest to a position."""
    return _cell(openlocationcode.recoverNearest(short, lat, lon))


def _cell(code: str) -> Square:
    cell = openlocationcode.decode(code)
    along, across = (float(m) for m in metres_per_degree(cell.latitudeCenter))
    height = (cell.latitudeHi - cell.latitudeLo) * along
    width = (cell.longitudeHi - cell.longitudeLo) * across
    return Square(cell.longitudeCenter, cell.latitudeCenter, WGS84, math.hypot(width, height) / 2, "plus code")
