"""Slips of the hand, tested against where the area lies: swapped, a lost sign, a lost decimal point.

A position is put right only where as written it lies far off and exactly one slip brings it home; where two do, the
row is refused with both. What was put right is told, row by row.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Geod
from shapely.geometry.base import BaseGeometry

from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, Floats, crs_label, to_lonlat, transformer
from habitatmap.read.coordinates.positions import (
    LEAST_UNCERTAINTY_M,
    Point,
    Points,
    Refusal,
    Written,
    either,
    in_words,
    locate,
    lonlat_point,
    two_ways,
)
from habitatmap.read.coordinates.squares import recover_plus_code, short_plus_code
from habitatmap.read.coordinates.writing import Angle
from habitatmap.sentences import Quantity, Sentence, apart, say

# expert judgement: as written a position is doubted beyond so many km from the area, and a slip must bring it this near
FAR_KM, NEAR_KM = 100.0, 20.0
# a position this far outside may stand there on purpose; it is said if a slip would bring it in (expert judgement)
BESIDE_KM = 1.0
_ELLIPSOID = Geod(ellps="WGS84")
# a lost decimal point moves a number by so many digits
_SHIFTS = [k for k in range(-9, 4) if k]

# the slips in words, as templates of `say`
SLIPS = (
    SWAPPED := "with latitude and longitude swapped",
    SIGN_OF_LON := "with the other sign of the longitude",
    SIGN_OF_LAT := "with the other sign of the latitude",
    POINT_OF_LON := "with the decimal point of the longitude moved",
    POINT_OF_LAT := "with the decimal point of the latitude moved",
    BOTH_PUT_BACK := "with both decimal points put back",
    ONLY_ONE := "the only reading in the area",
    DEGREES := "degrees instead of metres",
    LAT_FIRST := "degrees instead of metres, latitude first",
    XY_SWAPPED := "with x and y swapped",
    WITHOUT_ZONE := "without the number of the zone in front of x",
    POINT_OF_X := "with the decimal point of x moved",
    POINT_OF_Y := "with the decimal point of y moved",
    BOTH_MOVED := "with both decimal points moved",
)


class Box(NamedTuple):
    """Where the area lies, degrees of WGS 84, and what says so. `stated`: by an outline or a map, not by other rows.

    `wide`: all the ground that a reference system is made for. It holds too much to tell by how many digits a number
    that has a decimal point was moved; a point that was lost, a swap and a sign it does tell.
    """

    west: float
    south: float
    east: float
    north: float
    said_by: Sentence
    stated: bool = True
    wide: bool = False

    @classmethod
    def of_system(cls, crs: CRS) -> Box | None:
        """The ground that a system is made for, None where nobody says."""
        use = crs.area_of_use
        if use is None or use.west > use.east:
            return None
        said_by = say("the extent of {crs}", crs=crs_label(crs))
        return cls(use.west, use.south, use.east, use.north, said_by, stated=False, wide=True)

    @classmethod
    def of(cls, bounds: Sequence[float], crs: CRS, said_by: Sentence) -> Box:
        """The box of bounds (west, south, east, north) in a system; all round the world where it crosses 180 E."""
        left, bottom, right, top = bounds
        west, south, east, north = transformer(crs, WGS84).transform_bounds(left, bottom, right, top)
        return cls(west, south, east, north, said_by) if west <= east else cls(-180.0, south, 180.0, north, said_by)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """west, south, east, north."""
        return self.west, self.south, self.east, self.north

    def off_km(self, lon: ArrayLike, lat: ArrayLike) -> Floats:
        """Kilometres from positions to the box, 0 inside, NaN where there is no position."""
        lon_, lat_ = np.atleast_1d(np.asarray(lon, dtype=float)), np.atleast_1d(np.asarray(lat, dtype=float))
        to = np.clip(lon_, self.west, self.east), np.clip(lat_, self.south, self.north)
        good = np.isfinite(lon_) & np.isfinite(lat_) & (np.abs(lat_) <= 90)
        off = np.full(lon_.shape, np.nan)
        off[good] = _ELLIPSOID.inv(lon_[good], lat_[good], to[0][good], to[1][good])[2] / 1000
        return off

    def beyond(self, off_km: Floats) -> NDArray[np.bool_]:
        """Which positions, by their `off_km`, are nowhere on earth, or far outside a system's ground, where its numbers
        mean little."""
        return ((off_km > FAR_KM) & self.wide) | np.isnan(off_km)

    def near(self, point: Point) -> bool:
        """Whether a position lies in the box or beside it."""
        # for whole lists far away: no degree of latitude is shorter than 110 km
        beside = NEAR_KM / 110.0
        if point.crs.is_geographic and not self.south - beside <= point.y <= self.north + beside:
            return False
        return bool(self.off_km(*to_lonlat([point.x], [point.y], point.crs))[0] <= NEAR_KM)


def box_of_rows(points: Sequence[Point | Refusal | None]) -> Box | None:
    """The box of the rows that lie together, where these are at least three and half of all; else None."""
    lon, lat = locate(points, WGS84)
    known = np.flatnonzero(np.isfinite(lon))
    if len(known) < 3:
        return None
    lon, lat = lon[known], lat[known]
    middle = float(np.median(lon)), float(np.median(lat))
    off = Box(*middle, *middle, Sentence("")).off_km(lon, lat)
    home = off <= FAR_KM
    if home.sum() < max(3, len(known) / 2):
        return None
    lon, lat = lon[home], lat[home]
    return Box(lon.min(), lat.min(), lon.max(), lat.max(), Sentence("the other rows"), stated=False)


def settle(points: Sequence[Point | Refusal | None], box: Box | None) -> Points:
    """The same positions, with slips put right and doubts settled where the area leaves one reading only; None stays.

    The area is `box`; where that is none, or a whole system's ground, then the box of the rows that lie together.
    """
    if box is None or box.wide:
        at_large = Points.of(points) if box is None else _settle(Points.of(points), box)
        # rows that lie together in the wrong position are no evidence, so the ground comes first
        around = box_of_rows(at_large)
        return at_large if around is None else _settle(at_large, around)
    return _settle(Points.of(points), box)


def _settle(points: Points, box: Box) -> Points:
    off = box.off_km(*locate(points, WGS84))
    # a row without a position lies nowhere, so that its refusal is among these
    doubted = ((i, points[i]) for i in np.flatnonzero(~(off <= FAR_KM)).tolist())
    return points.but({i: _settled(point, box) for i, point in doubted if point is not None})


def is_swapped(shape: BaseGeometry, crs: CRS, box: Box | None) -> bool:
    """Whether a shape in degrees comes into a stated area only with its latitudes and longitudes swapped."""
    if box is None or not box.stated or not crs.is_geographic:
        return False
    west, south, east, north = shapely.bounds(shape)
    if west <= box.east and east >= box.west and south <= box.north and north >= box.south:
        return False
    x, y = shapely.get_coordinates(shape).T
    if (np.abs(x) > 90).any() or bool((box.off_km(x, y) <= FAR_KM).any()):
        return False
    return bool((box.off_km(y, x) <= NEAR_KM).any())


def near_misses(points: Sequence[Point | Refusal | None], box: Box | None) -> list[tuple[int, Sentence]]:
    """(position, sentence) for positions beside the area, not far enough to be doubted, that a slip would put into it.

    Along the meridian of Greenwich a lost sign moves a position by a few kilometres only. Nothing is changed: a pool
    may well stand outside the boundary.
    """
    if box is None or not box.stated:
        return []
    lon, lat = locate(points, WGS84)
    off = box.off_km(lon, lat)
    beside = (off > BESIDE_KM) & (off <= FAR_KM)
    found = []
    told = "{far} outside {area}, and inside {slip}"
    for slip, x, y in ((SWAPPED, lat, lon), (SIGN_OF_LON, -lon, lat), (SIGN_OF_LAT, lon, -lat)):
        home = beside & (x >= box.west) & (x <= box.east) & (y >= box.south) & (y <= box.north)
        for i in np.flatnonzero(home):
            far = Quantity(float(off[i]), unit="km")
            found.append((int(i), say(told, far=far, area=box.said_by, slip=Sentence(slip))))
    return sorted(found)


def _settled(read: Point | Refusal, box: Box) -> Point | Refusal:
    if isinstance(read, Refusal) and (short := short_plus_code(str(read.value))) and box.stated:
        square = recover_plus_code(short, (box.west + box.east) / 2, (box.south + box.north) / 2)
        how = say("short plus code, near {area}", area=box.said_by)
        point = Point(*square[:4], how, mended=say("a short code near {area}", area=box.said_by))
        return point if box.near(point) else read
    fits: list[Point] = []
    for slip, point in _options(read, box.wide):
        if box.near(point) and not any(_same(point, other) for other in fits):
            mended = Sentence(slip)
            how = point.how if isinstance(point.how, Sentence) else Sentence(point.how)
            fits.append(point._replace(mended=mended, how=apart([how, mended])))
    if len(fits) == 1:
        return fits[0]
    if fits:
        role, value = (read.role, read.value) if isinstance(read, Refusal) else ("", in_words(read))
        ways = either([p.mended for p in fits])
        return two_ways(role, value, fits, Why.TWO_SLIPS, said_by=box.said_by, ways=ways)
    return read


def _options(read: Point | Refusal, wide: bool) -> Iterator[tuple[str, Point]]:
    """What a position may have been meant to be, and in words the slip that it takes."""
    if isinstance(read, Refusal):
        for point in read.readings:
            yield ONLY_ONE, point
    written = read.written
    if written is None:
        return
    if written.crs.is_geographic:
        yield from _slips_of_degrees(written, wide)
        return
    yield from _slips_of_metres(written, wide)
    if lonlat := lonlat_point(written.x, written.y):
        yield DEGREES, lonlat
    if lonlat := lonlat_point(written.y, written.x):
        yield LAT_FIRST, lonlat
    as_degrees = written._replace(crs=WGS84) if written.headed_degrees else Written(written.y, written.x, WGS84)
    yield from _both_points_lost(as_degrees)


def _slips_of_degrees(written: Written, wide: bool) -> Iterator[tuple[str, Point]]:
    lon, lat, crs = written.x, written.y, written.crs
    pairs: list[tuple[str, Angle, Angle]] = []
    if not (lon.letter or lat.letter):
        pairs.append((SWAPPED, lat, lon))
    if not lon.letter:
        pairs.append((SIGN_OF_LON, _scaled(lon, -1.0), lat))
    if not lat.letter:
        pairs.append((SIGN_OF_LAT, lon, _scaled(lat, -1.0)))
    for k in _SHIFTS:
        if not wide or (k < 0 and lon.step >= 1):
            pairs.append((POINT_OF_LON, _scaled(lon, 10.0**k), lat))
        if not wide or (k < 0 and lat.step >= 1):
            pairs.append((POINT_OF_LAT, lon, _scaled(lat, 10.0**k)))
    for words, x, y in pairs:
        point = lonlat_point(x, y, crs)
        if point is not None:
            yield words, point
    yield from _both_points_lost(written)


def _both_points_lost(written: Written) -> Iterator[tuple[str, Point]]:
    """Degrees of two whole numbers: a program that took the decimal point out of one took it out of both."""
    if written.x.step < 1 or written.y.step < 1:
        return
    for k, m in itertools.product([k for k in _SHIFTS if k < 0], repeat=2):
        point = lonlat_point(_scaled(written.x, 10.0**k), _scaled(written.y, 10.0**m), written.crs)
        if point is not None:
            yield BOTH_PUT_BACK, point


def _slips_of_metres(written: Written, wide: bool) -> Iterator[tuple[str, Point]]:
    x, y = written.x, written.y
    pairs = [(XY_SWAPPED, y, x)]
    zone, rest = divmod(x.degrees, 1e6)
    if written.crs.utm_zone == f"{zone:.0f}N":
        # as German offices write it: 32567066 for 567066 in zone 32
        pairs.append((WITHOUT_ZONE, x._replace(degrees=rest), y))
    for k in [] if wide else _SHIFTS:
        pairs.append((POINT_OF_X, _scaled(x, 10.0**k), y))
        pairs.append((POINT_OF_Y, x, _scaled(y, 10.0**k)))
        pairs.append((BOTH_MOVED, _scaled(x, 10.0**k), _scaled(y, 10.0**k)))
    for words, one, other in pairs:
        off = max(min(one.step, other.step) / np.sqrt(2), LEAST_UNCERTAINTY_M)
        yield words, Point(one.degrees, other.degrees, written.crs, float(off), "x, y", written)


def _scaled(angle: Angle, factor: float) -> Angle:
    return angle._replace(degrees=angle.degrees * factor, step=angle.step * abs(factor))


def _same(one: Point, other: Point) -> bool:
    """Whether two readings name one position, to a metre."""
    there = [to_lonlat([p.x], [p.y], p.crs) for p in (one, other)]
    return bool(_ELLIPSOID.inv(*there[0], *there[1])[2][0] <= 1.0)
