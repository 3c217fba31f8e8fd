"""Coordinates against values that others have published; the source stands beside each."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS

from habitatmap.errors import CrsError
from habitatmap.geo.crs import WGS84, metres_per_degree, parse_crs, rounding_m, transform
from habitatmap.read.coordinates.squares import BRITISH_GRID, british_grid, read_british_grid
from habitatmap.read.coordinates.writing import read_angle


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


@pytest.mark.parametrize(
    ("lon", "lat", "source", "target", "x", "y", "tolerance"),
    [
        # Ordnance Survey, A guide to coordinate systems in Great Britain, annex C: OSGB36 to National Grid
        (dms(1, 43, 4.5177), dms(52, 39, 27.2531), 4277, 27700, 651409.903, 313177.270, 0.001),
        # IOGP Guidance Note 373-07-02, Transverse Mercator example on OSGB36 (rounded there to 0.01 m, hence 0.02)
        (dms(0, 30, 0), dms(50, 30, 0), 4277, 27700, 577274.99, 69740.50, 0.02),
        # IOGP Guidance Note 373-07-02, Lambert Azimuthal Equal Area (Europe)
        (5.0, 50.0, 4258, 3035, 3962799.45, 2999718.85, 0.01),
        (10.0, 52.0, 4258, 3035, 4321000.0, 3210000.0, 1e-6),
        # IOGP Guidance Note 373-07-02, Web Mercator example (recalled)
        (-dms(100, 20, 0), dms(24, 22, 54.433), 4326, 3857, -11169055.58, 2800000.00, 0.01),
        # Snyder 1987, USGS Professional Paper 1395, p. 269: UTM on Clarke 1866, with the false easting of zone 18
        (-dms(73, 30, 0), dms(40, 30, 0), 4267, 26718, 627106.5, 4484124.4, 0.1),
        # UTM by its definition: the central meridian meets the equator at 500000, 0
        (3.0, 0.0, 4326, 32631, 500000.0, 0.0, 1e-6),
    ],
)
def test_projections(lon: float, lat: float, source: int, target: int, x: float, y: float, tolerance: float) -> None:
    there = CRS.from_epsg(source), CRS.from_epsg(target)
    got_x, got_y = transform([lon], [lat], *there)
    assert got_x[0] == pytest.approx(x, abs=tolerance)
    assert got_y[0] == pytest.approx(y, abs=tolerance)
    back_lon, back_lat = transform(got_x, got_y, there[1], there[0])
    # 1e-8 degrees are 1 mm; the way back from the equal-area projection is a series
    assert back_lon[0] == pytest.approx(lon, abs=1e-8)
    assert back_lat[0] == pytest.approx(lat, abs=1e-8)


def test_ordnance_survey_example_as_it_is_printed() -> None:
    """Annex C prints degrees, minutes and seconds with letters: the gate reads them."""
    lat, lon = read_angle("52° 39' 27.2531\" N"), read_angle("1° 43' 4.5177\" E")
    assert lat is not None
    assert lon is not None
    x, y = transform([lon.degrees], [lat.degrees], CRS.from_epsg(4277), BRITISH_GRID)
    assert (x[0], y[0]) == (pytest.approx(651409.903, abs=0.001), pytest.approx(313177.270, abs=0.001))


def test_the_shift_from_wgs84_is_good_to_a_few_metres() -> None:
    """Same guide: the point in ETRS89. Without the grid file of the shift 5 m are what a plain install gives."""
    x, y = transform([dms(1, 42, 57.787)], [dms(52, 39, 28.723)], WGS84, BRITISH_GRID)
    assert np.hypot(x[0] - 651409.903, y[0] - 313177.270) < 5.0


# The pair of TG 51409 13177 is the guide's annex C; SU 387 148 and NN 166 712 are widely printed examples of it;
# SP 36 83 for Coventry: dataip.co.uk; the others follow from the definition of the squares (500 km letters, no I)
REFERENCES = [
    (651409, 313177, "TG 51409 13177"),
    (438700, 114800, "SU 387 148"),
    (216600, 771200, "NN 166 712"),
    (530000, 180000, "TQ 300 800"),
    (0, 0, "SV 00 00"),
    (400000, 0, "SZ 00 00"),
    (400000, 100000, "SU 00 00"),
    (325000, 673000, "NT 250 730"),
    (577274.99, 69740.5, "TV 77274 69740"),
    (436000, 283000, "SP 36 83"),
]


@pytest.mark.parametrize(("x", "y", "text"), REFERENCES, ids=[r[2] for r in REFERENCES])
def test_national_grid_references(x: float, y: float, text: str) -> None:
    letters, east, north = text.split()
    assert british_grid(x, y, digits=2 * len(east)) == text
    for writing in (text, f"{letters}{east}{north}", f"{letters.lower()} {east}{north}"):
        square = read_british_grid(writing)
        assert square is not None
        centre_x, centre_y, side = square
        assert side == 10.0 ** (5 - len(east))
        # a reference names the square's south-west corner, so the centre is half a side to the north-east of it
        assert (centre_x - side / 2, centre_y - side / 2) == (x // side * side, y // side * side)


def test_metres_of_a_degree_and_of_rounding() -> None:
    """Lengths on the WGS 84 ellipsoid, worked out by geodesics (Karney 2013, J Geod 87:43), a code apart from ours."""
    table = {
        45: (111131.778, 78846.835),
        50: (111229.059, 71695.754),
        51.5: (111257.827, 69440.517),
        55: (111323.521, 63994.129),
        60: (111412.273, 55800.002),
    }
    for lat, (along, across) in table.items():
        got_along, got_across = metres_per_degree(lat)
        # tabled is the length of the degree from lat - 1/2 to lat + 1/2, ours the slope at lat: up to 15 mm apart
        assert float(got_along) == pytest.approx(along, abs=0.016)
        assert float(got_across) == pytest.approx(across, abs=0.001)
    # half the diagonal of the cell that rounding to so many decimals leaves, at 51.5 N
    for decimals, metres in {1: 6557.5, 2: 655.75, 3: 65.575, 4: 6.5575, 5: 0.6558}.items():
        assert float(rounding_m(10.0**-decimals, 51.5)) == pytest.approx(metres, rel=1e-4)


def test_a_bare_word_is_no_reference_system() -> None:
    """PROJ takes "swiss" for CHTRS95; a system is stated, never guessed."""
    with pytest.raises(CrsError, match="swiss"):
        parse_crs("swiss", "area.toml: crs")
