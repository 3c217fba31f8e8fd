"""Whole columns: the position of every row of a table, from whichever of its columns give one."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from types import NoneType
from typing import cast

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import CrsError
from habitatmap.errors.why import Why
from habitatmap.geo.crs import (
    WGS84,
    Floats,
    Source,
    crs_label,
    metres_per_degree,
    rounding_m,
    state_crs,
    system_in,
    system_of,
)
from habitatmap.read.coordinates.positions import (
    IN_DEGREES,
    LEAST_UNCERTAINTY_M,
    NO_PLACE,
    Point,
    Points,
    Refusal,
    Written,
    is_loose,
    locate,
    read_lonlat,
    read_position,
    written_in_degrees,
)
from habitatmap.read.coordinates.slips import Box, settle
from habitatmap.read.coordinates.writing import Angle, comma_of, letter_o, read_number, step_of
from habitatmap.sentences import Quantity, say


def read_points(
    cells: Mapping[str, Sequence[object]],
    headings: Mapping[str, str],
    source: Source | None,
    file: str,
    box: Box | None = None,
) -> Points:
    """The position of every row of a table; None for none.

    cells: columns by role, of equal length, blanks None: `x` and `y`; `lon` and `lat`; `position` (one cell with
    both, a grid reference, WKT, ...); `system`, which says for each row in which system it is. headings: the file's
    own heading of each role. source: the system of x and y.
    box: where the area lies; without it that of the other rows, to find slips with.
    Where a row has several, x and y count if their system is known, then lon and lat, then position. CrsError where
    x and y are metres of an unknown system and nothing else gives the positions.
    """
    if any(cell is not None for cell in cells.get("system", [])):
        return _by_system(cells, headings, source, file, box)
    rows = len(next(iter(cells.values()), []))
    # what the writing alone left open is settled by where the area lies, before two columns are compared
    ways = [settle(way, box) for way in _ways(cells, headings, source, file, box)]
    answer, *others = ways or [Points.of([None] * rows)]
    for way in others:
        # a reading beats a refusal, and the first refusal is the one to tell
        answer = answer.but(
            {
                i: way[i]
                for i, read in answer.odd.items()
                if read is None or (isinstance(read, Refusal) and isinstance(way[i], Point))
            }
        )
    # a name under "location" that happens to read like a grid reference contradicts nobody
    firm = ways[:-1] if "position" in cells and is_loose(headings.get("position", "")) else ways
    apart = {i: Refusal("", "", Why.TWO_PLACES_IN_ROW.of(metres=Quantity(far))) for i, far in _contradictions(firm)}
    blank = {i: NO_PLACE for i, read in answer.odd.items() if read is None}
    return answer.but({**blank, **apart})


def _by_system(
    cells: Mapping[str, Sequence[object]],
    headings: Mapping[str, str],
    source: Source | None,
    file: str,
    box: Box | None,
) -> Points:
    """The positions of a table in which a column says for each row which system it is in."""
    groups: dict[object, list[int]] = {}
    for i, cell in enumerate(cells["system"]):
        groups.setdefault(cell, []).append(i)
    answer: list[Point | Refusal | None] = [NO_PLACE] * len(cells["system"])
    for cell, rows in groups.items():
        own = system_of(cell) if cell is not None else None
        said = Source(own, f'[{headings.get("system", "system")}] "{cell}"', own=True) if own is not None else source
        part = {role: [column[i] for i in rows] for role, column in cells.items() if role != "system"}
        for i, read in zip(rows, read_points(part, headings, said, file, box), strict=True):
            answer[i] = read
    return Points.of(answer)


def _ways(
    cells: Mapping[str, Sequence[object]],
    headings: Mapping[str, str],
    source: Source | None,
    file: str,
    box: Box | None,
) -> list[Points]:
    """The positions by each pair of columns, and by the column that holds both, in the order in which they count."""
    source = _source_of_headings(headings, source)
    words = " ".join(headings.values())
    xy = (cells["x"], cells["y"]) if "x" in cells and "y" in cells else None
    lonlat = (cells["lon"], cells["lat"]) if "lon" in cells and "lat" in cells else None
    metres_under_degrees = lonlat is not None and _beyond_degrees(*lonlat)
    if lonlat and metres_under_degrees and source is None and box is not None:
        # no system makes metres of them, so that only a lost decimal point may bring them home
        way = _read_degrees(*lonlat, "", WGS84)
        metres_under_degrees = settle(way, box).placed.sum() <= len(way) / 2
    if lonlat and metres_under_degrees:
        # headed lon and lat, yet metres: they need a stated system like any x and y
        xy, lonlat = lonlat, None
        headings = {**headings, "x": headings.get("lon", ""), "y": headings.get("lat", "")}
    ways: list[Points] = []
    if xy and source is not None:
        ways.append(_read_xy(*xy, source, metres_under_degrees))
    if lonlat:
        crs = source.crs if source is not None and source.crs.is_geographic else WGS84
        ways.append(_read_degrees(*lonlat, letter_o(lonlat[0], words), crs))
    if "position" in cells:
        heading = headings.get("position", "")
        o = letter_o([part for c in cells["position"] if isinstance(c, str) for part in _LETTERED.findall(c)], words)
        read = [None if c is None else read_position(c, source, heading, o, file) for c in cells["position"]]
        ways.append(Points.of(read))
    if xy and source is None and not any(way.placed.any() for way in ways):
        _refuse_unstated(*xy, headings, file)
    return ways


# the angles of a cell that holds two, each with its letter before or behind
_LETTERED = re.compile(r"[^\W\d_]+\.?\s*\d[\d.,°º'’′\"”″\s]*|\d[\d.,°º'’′\"”″\s]*[^\W\d_]+")


# degrees with decimals, or a number in a system of metres: as nearly all are written
_PLAIN_DEGREES = re.compile(r"[+-]?\d{1,3}\.\d{1,15}", re.ASCII)
_PLAIN_METRES = re.compile(r"[+-]?\d{1,40}(?:\.\d{0,40})?", re.ASCII)
_STEPS = [10.0**-n for n in range(41)]
_NOT_PLAIN = math.nan, 1.0


def _plain(cells: Sequence[object], pattern: re.Pattern[str]) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """The cells that are plain numbers, or texts of this pattern: values, steps of their last digits, and which."""
    if not {*map(type, cells)} <= {str, NoneType}:
        read = np.array([_plain_number(cell, pattern) for cell in cells], dtype=float).reshape(-1, 2)
        return read[:, 0], read[:, 1], np.isfinite(read[:, 0])
    # a column of texts, as most are, without a call for each cell
    given, fits = cast("Sequence[str | None]", cells), pattern.fullmatch
    texts = [cell if cell is not None and fits(cell) else "nan" for cell in given]
    values = np.fromiter(map(float, texts), float, len(texts))
    decimals = [len(text.partition(".")[2]) for text in texts]
    return values, np.take(_STEPS, np.array(decimals, dtype=int)), np.isfinite(values)


def _plain_number(cell: object, pattern: re.Pattern[str]) -> tuple[float, float]:
    if isinstance(cell, str):
        return (float(cell), _STEPS[len(cell.partition(".")[2])]) if pattern.fullmatch(cell) else _NOT_PLAIN
    if isinstance(cell, float | int) and not isinstance(cell, bool):
        return float(cell), step_of(repr(float(cell))) if math.isfinite(cell) else 1.0
    return _NOT_PLAIN


def _read_degrees(lons: Sequence[object], lats: Sequence[object], east_letter: str, crs: CRS) -> Points:
    (lon, lon_step, lon_plain), (lat, lat_step, lat_plain) = (_plain(cells, _PLAIN_DEGREES) for cells in (lons, lats))
    plain = lon_plain & lat_plain & (np.abs(lat) <= 90) & (np.abs(lon) <= 180) & ~((lon == 0) & (lat == 0))
    off = np.maximum(rounding_m(np.minimum(lon_step, lat_step), np.where(plain, lat, 0.0)), LEAST_UNCERTAINTY_M)
    odd = {
        i: None if lons[i] is None and lats[i] is None else read_lonlat(lons[i], lats[i], east_letter, crs)
        for i in np.flatnonzero(~plain).tolist()
    }
    return Points(lon, lat, np.column_stack([lon_step, lat_step]), off, crs, IN_DEGREES, True, odd)


def _source_of_headings(headings: Mapping[str, str], source: Source | None) -> Source | None:
    """The system that the headings of the coordinates name, unless area.toml states one for this very file."""
    if source is not None and source.own:
        return source
    for roles in (("x", "y"), ("position",)):
        named = [system_in(headings.get(role, "")) for role in roles]
        if named[0] is not None and named[0] == named[-1]:
            return Source(named[0], say('the heading "{heading}"', heading=headings[roles[0]]))
    return source


def _refuse_unstated(xs: Sequence[object], ys: Sequence[object], headings: Mapping[str, str], file: str) -> None:
    """CrsError where two columns hold plain numbers of an unknown system."""
    numbers = [(x, y) for x, y in zip(map(read_number, xs), map(read_number, ys), strict=True) if x and y]
    if not numbers:
        return
    degrees = all(written_in_degrees(x.value, y.value, min(x.step, y.step)) for x, y in numbers)
    raise CrsError(
        f"{file}: nothing states the coordinate system of the columns {headings.get('x', 'x')} and "
        f"{headings.get('y', 'y')}; {state_crs(file)}"
        + (
            ' ("EPSG:4326" if they are longitude and latitude)'
            if degrees
            else " (or state crs, if it is the area's own)"
        )
    )


# two ways of writing one position may differ by a shift between systems that needs a grid file we lack
SHIFT_M = 10.0


def _contradictions(ways: Sequence[Points]) -> list[tuple[int, float]]:
    """(row, metres apart) where two columns of one row name positions farther apart than both may be off."""
    found: list[tuple[int, float]] = []
    for way in ways[1:]:
        (lon, lat), (lon2, lat2) = locate(ways[0], WGS84), locate(way, WGS84)
        along, across = metres_per_degree(lat)
        apart = np.hypot((lat2 - lat) * along, (lon2 - lon) * across)
        rows = np.flatnonzero(apart > ways[0].off_m + way.off_m + SHIFT_M)
        found += zip(rows.tolist(), apart[rows].tolist(), strict=True)
    return found


def _beyond_degrees(lon: Sequence[object], lat: Sequence[object]) -> bool:
    """Whether most pairs of two columns cannot be degrees, but are plain numbers: metres under a wrong heading."""
    some = zip(lon[:1000], lat[:1000], strict=True)
    pairs = [(read_number(a, "decimal"), read_number(b, "decimal")) for a, b in some]
    read = [(a.value, b.value) for a, b in pairs if a is not None and b is not None]
    beyond = sum(abs(a) > 1000 and abs(b) > 1000 for a, b in read)
    return beyond > len(read) / 2


def _read_xy(xs: Sequence[object], ys: Sequence[object], source: Source, headed_degrees: bool) -> Points:
    if source.crs.is_geographic:
        return _read_degrees(xs, ys, "", source.crs)
    comma = {"x": comma_of(xs), "y": comma_of(ys)}
    unit = float(source.crs.axis_info[0].unit_conversion_factor)
    how = say("x, y in {crs}, as {file} states", crs=crs_label(source.crs), file=source.said_by)
    (x_, step_x, x_plain), (y_, step_y, y_plain) = (_plain(cells, _PLAIN_METRES) for cells in (xs, ys))
    plain, steps = x_plain & y_plain, np.column_stack([step_x, step_y])
    off_m = np.maximum(steps.min(axis=1) * unit / math.sqrt(2), LEAST_UNCERTAINTY_M)
    odd: dict[int, Point | Refusal | None] = {}
    for at in np.flatnonzero(~plain).tolist():
        pair = xs[at], ys[at]
        if pair == (None, None):
            odd[at] = None
            continue
        numbers = [read_number(cell, comma[role]) for role, cell in zip("xy", pair, strict=True)]
        x, y = numbers
        if x is None or y is None:
            bad = 0 if x is None else 1
            role, blank = "xy"[bad], pair[bad] is None
            fault = Why.HALF_IN_METRES if blank else Why.NOT_METRES
            odd[at] = Refusal(role, pair[bad], fault.of(axis=role))
            continue
        off = max(min(x.step, y.step) * unit / math.sqrt(2), LEAST_UNCERTAINTY_M)
        written = Written(Angle(*x, ""), Angle(*y, ""), source.crs, headed_degrees)
        odd[at] = Point(x.value, y.value, source.crs, off, how, written)
    return Points(x_, y_, steps, off_m, source.crs, how, headed_degrees, odd)
