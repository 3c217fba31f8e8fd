"""Which system coordinates are in: stated or proven, never guessed. Order is always x (east) before y (north)."""

from __future__ import annotations

import math
import re
import warnings
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest, AreaOfUse
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError as PyprojCrsError
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from habitatmap.errors import CrsError, why

Floats = NDArray[np.float64]

WGS84 = CRS.from_epsg(4326)


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


def systems_that_fit(x: ArrayLike, y: ArrayLike, bounds: tuple[float, float, float, float]) -> list[CRS]:
    """At most three systems in metres in which all points (x, y) lie within a box or beside it, the most local first.

    bounds: west, south, east, north of the box, in degrees of WGS 84. Of the registry of EPSG. Systems that put the
    points about as close as 200 m to each other count once. That they fit proves nothing, so this is for a proposal.
    """
    west, south, east, north = bounds
    area = AreaOfInterest(west, south, east, north)
    near = (east - west) + 0.1, (north - south) + 0.1
    known = query_crs_info("EPSG", PJType.PROJECTED_CRS, area_of_interest=area, contains=True)
    fit: dict[tuple[float, float], CRS] = {}
    for info in sorted(known, key=lambda one: (_square_degrees(one.area_of_use), int(one.code))):
        crs = CRS.from_epsg(int(info.code))
        if not is_metric(crs):
            continue
        try:
            lon, lat = to_lonlat(x, y, crs)
        except ProjError:  # the registry has systems without a known way to others
            continue
        inside = (np.abs(lon - (west + east) / 2) <= near[0]) & (np.abs(lat - (south + north) / 2) <= near[1])
        if inside.all():
            fit.setdefault((round(float(lon[0]) / 0.002), round(float(lat[0]) / 0.002)), crs)
    return list(fit.values())[:3]


def _square_degrees(use: AreaOfUse | None) -> float:
    return (use.east - use.west) * (use.north - use.south) if use is not None else math.inf


def choose_crs(lon: ArrayLike, lat: ArrayLike) -> CRS:
    """A metric system for data at these positions (degrees, WGS 84), where none was stated.

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
def transformer(source: CRS, target: CRS) -> Transformer:
    """The way from one system to the other, x (east, longitude) first; looked up once, as PROJ takes 16 ms."""
    return Transformer.from_crs(source, target, always_xy=True)


def transform(x: ArrayLike, y: ArrayLike, source: CRS, target: CRS) -> tuple[Floats, Floats]:
    """x and y of `source` in `target`, always x (east, longitude) first; NaN where a point has no image there."""
    x_, y_ = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if source == target:
        return x_.copy(), y_.copy()
    new_x, new_y = transformer(source, target).transform(x_, y_)
    new_x, new_y = np.asarray(new_x, dtype=float), np.asarray(new_y, dtype=float)
    lost = ~(np.isfinite(new_x) & np.isfinite(new_y))
    return np.where(lost, np.nan, new_x), np.where(lost, np.nan, new_y)


@lru_cache(maxsize=64)
def shift_m(source: CRS, target: CRS) -> float:
    """How far off the way from one system to the other may be, in metres, where that is more than one; else 0.

    National grids on old datums are shifted by a few metres where the grid file of the shift is not installed. The
    figure is that of the EPSG register for the best way that PROJ has.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # that a better way is not installed is what the figure says
        ways = TransformerGroup(source, target, always_xy=True).transformers
    best = ways[0].accuracy if ways else 0.0
    return best if best > 1.0 else 0.0


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


class Source(NamedTuple):
    """Which system x and y of a file are in, and who says so. `own`: said of this very file or row, not of the area."""

    crs: CRS
    said_by: str
    own: bool = False


NAMELESS = "the file's name"


def state_crs(file: str) -> str:
    """The line that states the system of a file of metres."""
    return why.STATE_SYSTEM.format(file=file or NAMELESS)


# systems that headings name by word; the codes are those of the EPSG register
_NAMED = {
    r"lv ?95|ch1903\+": 2056,
    r"lv ?03|ch1903": 21781,
    r"(etrs[- ]?)?tm ?35 ?fin": 3067,
    r"osgb(36)?|bng|british national grid": 27700,
    r"irish grid": 29903,
    r"itm|irish transverse mercator": 2157,
    r"lambert[- ]?93|rgf93": 2154,
    r"rd[- ]?(?:new|nieuw|[xy]\b)|rijksdriehoek\w*": 28992,
    r"sweref ?99 ?tm": 3006,
    r"puwg ?1992": 2180,
}
_IN_HEADING = re.compile(
    rf"\b(?:epsg[\s:_-]*(?P<code>\d{{4,5}})|utm[\s_-]*(?:zone[\s_-]*)?(?P<zone>\d{{1,2}})[\s_-]*(?P<half>[ns])"
    rf"|(?P<name>{'|'.join(_NAMED)}))(?![a-z0-9])",
    re.IGNORECASE,
)


_ZONE = re.compile(r"(?:utm\s*)?(?:zone\s*)?(\d{1,2})\s*([c-hj-np-x])", re.IGNORECASE)


def system_of(cell: object) -> CRS | None:
    """The system that a cell of a column of systems names (EPSG:25832, 25832, WGS84, 32N, ...); None where it does not.

    The letter of a UTM zone is its half of the world, N or S, or a latitude band; S is taken for the half, as in a
    column that names systems the band S would stand beside other bands.
    """
    text = str(cell).strip().removesuffix(".0")
    if re.fullmatch(r"wgs[\s_-]?(19)?84|gps|epsg:?\s*4326", text, re.IGNORECASE):
        return WGS84
    zone = _ZONE.fullmatch(text)
    if zone and 1 <= int(zone[1]) <= 60:
        return CRS.from_epsg((32600 if zone[2].upper() >= "N" and zone[2].upper() != "S" else 32700) + int(zone[1]))
    return system_in(f"EPSG:{text}" if text.isdigit() else text)


def system_in(heading: str) -> CRS | None:
    """The system that a heading such as `x (EPSG:2056)`, `Rechtswert UTM 32N` or `LV95 E` names; None for others."""
    match = _IN_HEADING.search(heading.replace("_", " "))
    if match is None:
        return None
    if match["zone"]:
        zone = int(match["zone"])
        return CRS.from_epsg((32600 if match["half"].lower() == "n" else 32700) + zone) if 1 <= zone <= 60 else None
    if match["name"]:
        return CRS.from_epsg(next(c for word, c in _NAMED.items() if re.fullmatch(word, match["name"], re.IGNORECASE)))
    try:
        return CRS.from_epsg(int(match["code"]))
    except PyprojCrsError:
        return None


def without_system(heading: str) -> str:
    """A heading without the system that it names."""
    if system_in(heading) is None:
        return heading
    return " ".join(_IN_HEADING.sub(" ", heading.replace("_", " ")).split()) or heading
