"""Laws of places: whatever the place and the writing, what is read lies within its own uncertainty of the truth."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from openlocationcode import openlocationcode
from pyproj import CRS, Geod

from habitatmap.geo.crs import WGS84, Source, to_lonlat, transform
from habitatmap.read.coordinates import Box, Point, Refusal, read_points, settle
from habitatmap.read.coordinates.positions import read_position
from habitatmap.read.coordinates.squares import BRITISH_GRID, british_grid, utm
from tests.examples import examples

ELLIPSOID = Geod(ellps="WGS84")
# away from the poles, where a degree of longitude is no length, and from 0, 0, which is no place
LON = st.floats(-179.9, 179.9).filter(lambda v: abs(v) > 0.001)
LAT = st.floats(-79.0, 79.0).filter(lambda v: abs(v) > 0.001)


def sexagesimal(value: float, letters: str, decimals: int, seconds: bool, marks: str) -> str:
    """Degrees and minutes, or degrees, minutes and seconds, with a letter behind; whole parts never reach 60."""
    unit = 3600 if seconds else 60
    total = round(abs(value) * unit * 10**decimals)
    whole, part = divmod(total, 10**decimals)
    tail = f"{whole % 60:02d}" + (f".{part:0{decimals}d}" if decimals else "")
    letter = letters[0] if value >= 0 else letters[1]
    if seconds:
        parts = f"{whole // 3600}{marks[0]}{whole // 60 % 60:02d}{marks[1]}{tail}{marks[2]}"
    else:
        parts = f"{whole // 60}{marks[0]}{tail}{marks[1]}"
    return f"{parts.strip()} {letter}"


def written(lon: float, lat: float, how: str) -> object:
    """A place in one of the usual writings."""
    if how in ("4 decimals", "6 decimals"):
        digits = int(how[0])
        return f"{lat:.{digits}f}, {lon:.{digits}f}"
    if how == "letters":
        return f"{abs(lat):.5f}° {'N' if lat >= 0 else 'S'}, {abs(lon):.5f}° {'E' if lon >= 0 else 'W'}"
    if how == "decimal commas":
        return f"{lat:.5f}; {lon:.5f}".replace(".", ",")
    if how == "seconds":
        return f"{sexagesimal(lat, 'NS', 1, True, '°′″')} {sexagesimal(lon, 'EW', 1, True, '°′″')}"
    if how == "seconds with blanks":
        return f"{sexagesimal(lat, 'NS', 0, True, '   ')}, {sexagesimal(lon, 'EW', 0, True, '   ')}"
    if how == "minutes":
        return f"{sexagesimal(lat, 'NS', 3, False, '°' + chr(39))} {sexagesimal(lon, 'EW', 3, False, '°' + chr(39))}"
    if how == "WKT":
        return f"POINT ({lon:.7f} {lat:.7f})"
    if how == "EWKB":
        return shapely.to_wkb(shapely.set_srid(shapely.Point(lon, lat), 4326), hex=True, include_srid=True)
    if how == "GeoJSON":
        return f'{{"type": "Point", "coordinates": [{lon!r}, {lat!r}]}}'
    if how == "link":
        return f"https://map.invalid/?q={lat:.6f},{lon:.6f}"
    if how == "plus code":
        return openlocationcode.encode(lat, lon)
    zone = min(60, int((lon + 180) // 6) + 1)
    x, y = transform([lon], [lat], WGS84, utm(zone, lat >= 0))
    letter = "CDEFGHJKLMNPQRSTUVWX"[min(19, int((lat + 80) // 8))]
    return f"{zone}{letter} {x[0]:.0f} {y[0]:.0f}"


WRITINGS = [
    *("4 decimals", "6 decimals", "letters", "decimal commas", "seconds", "seconds with blanks", "minutes"),
    *("WKT", "EWKB", "GeoJSON", "link", "plus code", "UTM"),
]


def apart(point: Point, lon: float, lat: float) -> float:
    (east,), (north,) = to_lonlat([point.x], [point.y], point.crs)
    return float(ELLIPSOID.inv(east, north, lon, lat)[2])


@pytest.mark.parametrize("how", WRITINGS)
@settings(max_examples=examples(60), deadline=None)
@given(lon=LON, lat=LAT)
def test_a_place_comes_back_within_its_own_uncertainty_or_is_refused_with_it(how: str, lon: float, lat: float) -> None:
    read = read_position(written(lon, lat, how), None)
    readings = read.readings if isinstance(read, Refusal) else [read]
    if how == "WKT" and round(lon, 7).is_integer() and round(lat, 7).is_integer():
        return  # whole numbers, as WKT writes them, may be metres
    # rounding is to the nearest, so half a step; 2 % for the curvature of the cell
    assert readings, read
    assert min(apart(point, lon, lat) - 1.02 * point.uncertainty_m for point in readings) <= 0.01
    # only the letter S of a zone leaves two
    assert isinstance(read, Point) or how == "UTM"


PIECES = """60 24 60.17 24,94 ° ' " N S E W O , ; / - + POINT( SRID= 99999; ) { } [ ] 0101000000 SU 32T MT 38
    9GFGQV7J+2W http:// ?q= geo: 1e400 inf nan lat lon . x= y= 385540 6671800 1234 ± m UTM 60S 0x \\x ٣ ² −0""".split()


@settings(max_examples=examples(200), deadline=None)
@given(
    parts=st.lists(st.sampled_from([*PIECES, " ", " "]), min_size=1, max_size=8),
    heading=st.sampled_from(["", "location"]),
)
def test_no_text_is_a_fault(parts: list[str], heading: str) -> None:
    text = "".join(parts)
    finland = Source(CRS.from_epsg(3067), "crs in area.toml")
    box = Box(24.8, 60.1, 25.1, 60.3, "the boundary")
    for source in (None, finland):
        (read,) = settle([read_position(text, source, heading)], box)
        if isinstance(read, Point):
            assert math.isfinite(read.x)
            assert math.isfinite(read.y)
            assert read.uncertainty_m > 0
        else:
            assert read.why.reason
            assert read.why.remedy
    for cells in ({"lon": [text], "lat": ["60.17"]}, {"x": ["385540"], "y": [text]}):
        assert len(read_points(cells, {}, finland, "f", box)) == 1


@settings(max_examples=examples(100), deadline=None)
@given(x=st.floats(0, 699_999), y=st.floats(0, 1_299_999), digits=st.sampled_from([4, 6, 8, 10]))
def test_a_grid_reference_holds_its_point(x: float, y: float, digits: int) -> None:
    text = british_grid(x, y, digits)
    read = read_position(text, None)
    if text[0] not in "HNOST":  # letters of squares in the open sea, which no map has
        return
    assert isinstance(read, Point)
    assert read.crs == BRITISH_GRID
    assert math.hypot(read.x - x, read.y - y) <= read.uncertainty_m + 1e-6


@settings(max_examples=examples(100), deadline=None)
@given(lon=st.floats(19.5, 31.0), lat=st.floats(60.0, 69.5), decimals=st.integers(0, 2), comma=st.booleans())
def test_metres_in_a_stated_system_keep_every_digit(lon: float, lat: float, decimals: int, comma: bool) -> None:
    finland = CRS.from_epsg(3067)
    (x,), (y,) = transform([lon], [lat], WGS84, finland)
    cells = [f"{v:.{decimals}f}".replace(".", "," if comma else ".") for v in (x, y)]
    (read,) = read_points({"x": cells[:1], "y": cells[1:]}, {}, Source(finland, "crs in area.toml"), "f")
    assert isinstance(read, Point)
    assert (read.x, read.y) == tuple(float(cell.replace(",", ".")) for cell in cells)
