"""Positions as people, telephones and programs write them: each one place, or refused with the places it may be."""

from __future__ import annotations

import math

import pytest
import shapely
from pyproj import CRS

from habitatmap.geo.crs import WGS84, Source
from habitatmap.read.coordinates import Point, Refusal, in_words, read_points
from habitatmap.read.coordinates.positions import read_position
from habitatmap.read.coordinates.writing import letter_o, read_angle

FINLAND = Source(CRS.from_epsg(3067), "crs in area.toml")


def place(text: object, source: Source | None = None, **more: str) -> tuple[float, float]:
    """(x, y) of a cell that must be readable."""
    point = read_position(text, source, **more)
    assert isinstance(point, Point), point
    return point.x, point.y


# 60 10 18 N, 24 56 51 E
IN_SECONDS = (24 + 56 / 60 + 51 / 3600, 60 + 10 / 60 + 18 / 3600)


@pytest.mark.parametrize(
    "text",
    [
        "60°10'18\"N 24°56'51\"E",
        "60° 10′ 18″ N, 24° 56′ 51″ E",
        "N 60 10 18, E 24 56 51",
        "60:10:18N 24:56:51E",
        "60-10-18 N 24-56-51 E",
        "60d10m18s N 24d56m51s E",
        "60 deg 10 min 18 sec N, 24 deg 56 min 51 sec E",
        "60º10'18''N 24º56'51''E",
        "60°10'18\" 24°56'51\"",
        "60 10 18 24 56 51",
        "601018N 0245651E",
        "+601018+0245651/",
        "60° 10' 18\" n. Br., 24° 56' 51\" ö. L.",
        "60° 10' 18\" N.B., 24° 56' 51\" O.L.",
        "60°10'18\" nördlich, 24°56'51\" östlich",
        "60°10′18″ pohjoista, 24°56′51″ itää",
        "60°10'18\" Norte, 24°56'51\" Este",
        "60°10'18\" N ; 24°56'51\" Ost",
    ],
)
def test_degrees_minutes_and_seconds(text: str) -> None:
    assert place(text) == pytest.approx(IN_SECONDS, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "N 60° 10.305' E 024° 56.451'",
        "60°10,305'N 24°56,451'E",
        "60 10.305 24 56.451",
        "6010.305N,02456.451E",
        "+6010.305+02456.451/",
        "60:10.305 N 24:56.451 E",
    ],
)
def test_degrees_and_minutes(text: str) -> None:
    assert place(text) == pytest.approx((24 + 56.451 / 60, 60 + 10.305 / 60), abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "+60.1712+024.9415/",
        "lat 60.1712 long 24.9415",
        "60.1712° N | 24.9415° E",
        "https://map.invalid/?q=60.1712,24.9415&z=17",
        "https://map.invalid/#map=17/60.1712/24.9415",
        "https://map.invalid/?mlat=60.1712&mlon=24.9415#map=17/60.2/25.0",
        "geo:60.1712,24.9415",
        '{"type":"Feature","geometry":{"type":"Point","coordinates":[24.9415,60.1712]},"properties":{}}',
        "POINT(24.9415 60.1712)",
        "GEOMETRYCOLLECTION(POINT(24.9415 60.1712))",
        "\\x" + shapely.to_wkb(shapely.Point(24.9415, 60.1712), hex=True),
        "0x" + shapely.to_wkb(shapely.set_srid(shapely.Point(24.9415, 60.1712), 4326), hex=True, include_srid=True),
    ],
)
def test_decimal_degrees(text: str) -> None:
    assert place(text) == (24.9415, 60.1712)


@pytest.mark.parametrize(
    "text",
    [
        "385540 6671800",
        "385540, 6671800",
        "385 540 / 6 671 800",
        "385'540; 6'671'800",
        "X=385540 Y=6671800",
        "N 6671800 E 385540",
        "385540 E, 6671800 N",
        "Rechtswert 385540 Hochwert 6671800",
    ],
)
def test_metres_in_one_cell_need_a_stated_system(text: str) -> None:
    assert place(text, FINLAND) == (385540.0, 6671800.0)
    assert isinstance(read_position(text, None), Refusal)


def test_metres_with_their_zone_state_their_system() -> None:
    point = read_position("UTM 35V 385540 6671800", None)
    assert isinstance(point, Point)
    assert (point.x, point.y, point.crs.to_epsg()) == (385540.0, 6671800.0, 32635)
    south = read_position("56H 334900 6252300", None)
    assert isinstance(south, Point)
    assert south.crs.to_epsg() == 32756


def test_the_zone_letter_s_is_a_band_or_the_south_and_both_places_are_named() -> None:
    refusal = read_position("35S 385540 4012345", None)
    assert isinstance(refusal, Refusal)
    assert [p.crs.to_epsg() for p in refusal.readings] == [32635, 32735]
    assert "36.24923 N" in refusal.why.reason
    assert "54.02445 S" in refusal.why.reason


def test_an_accuracy_behind_the_position_counts() -> None:
    for text in ("60.17121, 24.94151 (±35 m)", "60.17121 24.94151 +/- 35 m", "geo:60.17121,24.94151;u=35"):
        point = read_position(text, None)
        assert isinstance(point, Point)
        assert point.uncertainty_m == 35


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[24.9415, 60.1712]", "which of the two"),
        ("N53 07", "two ways"),
        ("QV7J+2W Helsinki", "short code"),
        ("https://map.invalid/xyz", "no position"),
        ("https://map.invalid/?from=60.17,24.94&to=60.18,24.95", "several positions"),
        ("60 17 24 94", "cannot be read"),  # 94 minutes
        ("601712N 249415E", "decimal point"),  # no leading zero, so neither run together nor a number of degrees
        ("bed A12", "cannot be read"),
        ("A12", "cannot be read"),
    ],
)
def test_what_is_not_clear_is_refused(text: str, words: str) -> None:
    refusal = read_position(text, None)
    assert isinstance(refusal, Refusal), refusal
    assert words in refusal.why.reason
    assert refusal.why.remedy


def test_the_last_letter_s_of_seconds_is_no_south_but_behind_them_it_is() -> None:
    assert place("60d10m18s 24d56m51s") == pytest.approx(IN_SECONDS)
    assert place("33°51'54s 151°12'20e") == pytest.approx((151 + 12 / 60 + 20 / 3600, -(33 + 51 / 60 + 54 / 3600)))


@pytest.mark.parametrize(
    ("headings", "meaning"),
    [
        ("Länge", "E"),
        ("Becken Koordinaten", "E"),
        ("poel lengtegraad", "E"),
        ("mare coordonnées", "W"),
        ("longitude (O)", "W"),
        ("charca coordenadas", "W"),
        ("pool position", ""),
        ("Länge coordonnées", ""),  # of both kinds: nothing is decided
    ],
)
def test_the_letter_o_by_the_language_of_the_headings(headings: str, meaning: str) -> None:
    assert letter_o(["5°10' O"], headings) == meaning


def test_the_letter_o_in_one_cell_for_both() -> None:
    cells = ["50°30'N 5°10'O", "50°30'N 4°10'O"]
    (alone, _) = read_points({"position": cells}, {"position": "position"}, None, "f")
    assert isinstance(alone, Refusal)
    assert "50.50000 N 5.16667 E or 50.50000 N 5.16667 W" in alone.why.reason
    french = read_points({"position": cells}, {"position": "coordonnées"}, None, "f")
    assert [round(p.x, 3) for p in french if isinstance(p, Point)] == [-5.167, -4.167]
    beside_west = read_points({"position": [*cells, "50°30'N 1°10'W"]}, {"position": "position"}, None, "f")
    assert [p.x > 0 for p in beside_west if isinstance(p, Point)] == [True, True, False]


def test_headings_and_columns_that_name_a_system() -> None:
    (point,) = read_points({"x": [385540.5], "y": [6671800.5]}, {"x": "x (EPSG:3067)", "y": "y_epsg3067"}, None, "f")
    assert isinstance(point, Point)
    assert point.crs.to_epsg() == 3067
    cells = {"x": [385540, 543210, 151.2], "y": [6671800, 5512345, -33.9], "system": ["35N", "EPSG:25832", "WGS84"]}
    read = read_points(cells, {"system": "utm zone"}, None, "f")
    assert [p.crs.to_epsg() for p in read if isinstance(p, Point)] == [32635, 25832, 4326]
    # what a file's own line in area.toml says counts more than a heading
    stated = Source(CRS.from_epsg(25835), '[source_crs] "f"', own=True)
    (point,) = read_points({"x": [385540], "y": [6671800]}, {"x": "x (EPSG:3067)", "y": "y (EPSG:3067)"}, stated, "f")
    assert isinstance(point, Point)
    assert point.crs.to_epsg() == 25835


def test_a_place_in_words() -> None:
    assert in_words(Point(-9.1, -33.25, WGS84, 1.0, "")) == "33.25000 S 9.10000 W"


def test_what_programs_write_keeps_every_digit_and_an_honest_uncertainty() -> None:
    point = read_position("POINT (24.94154123456789 60.17123)", None)
    assert isinstance(point, Point)
    assert (point.x, point.uncertainty_m) == (24.94154123456789, 0.1)
    rough = read_position("60.2, 24.9", None)
    assert isinstance(rough, Point)
    # a tenth of a degree at 60 N: 11.14 km by 5.53 km, half its diagonal
    assert rough.uncertainty_m == pytest.approx(math.hypot(11142, 5533) / 2, rel=1e-3)


def test_a_pair_of_whole_metres_is_off_by_half_the_diagonal_of_a_square_metre() -> None:
    point = read_position("385540 6671800", FINLAND)
    assert isinstance(point, Point)
    assert point.uncertainty_m == pytest.approx(math.sqrt(2) / 2)


@pytest.mark.parametrize(
    ("beyond", "below"),
    [("60°60'N", "60°59'N"), ("60 60 0", "60 59 0"), ("60 10 60", "60 10 59"), ("60°10'60\"N", "60°10'59\"N")],
)
def test_minutes_and_seconds_stay_below_sixty(beyond: str, below: str) -> None:
    assert read_angle(beyond) is None
    assert read_angle(below) is not None


def test_a_name_under_location_is_no_grid_reference() -> None:
    """No 45 is a house, NO 45 a square of 10 km in Scotland."""
    assert isinstance(read_position("No 45", None, heading="grid reference"), Point)
    assert isinstance(read_position("No 45", None, heading="location"), Refusal)
    cells = {"lon": [24.9415, None], "lat": [60.1712, None], "position": ["B1234", "SU 387 148"]}
    beside, alone = read_points(cells, {"position": "Location"}, None, "f")
    assert isinstance(beside, Point)
    assert (beside.x, beside.y) == (24.9415, 60.1712)
    assert isinstance(alone, Point)
    assert alone.crs.to_epsg() == 27700
    coded, _ = read_points(cells, {"position": "grid ref"}, None, "f")
    assert isinstance(coded, Refusal)
    assert "two places" in coded.why.reason


@pytest.mark.parametrize("text", ["P1 P2", "60.17 N 24.94 N", "P12, I3", "040 1234567", "V 12"])
def test_names_and_numbers_are_no_positions(text: str) -> None:
    refusal = read_position(text, FINLAND, heading="position")
    assert isinstance(refusal, Refusal), refusal
    assert not refusal.readings
