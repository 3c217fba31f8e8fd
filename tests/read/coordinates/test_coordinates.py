"""The gate: systems stated or refused, and coordinates as people write them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from pyproj import CRS

from habitatmap.errors import CrsError
from habitatmap.geo.crs import WGS84, Source, choose_crs, metric_crs, transform
from habitatmap.read.coordinates import (
    NO_PLACE,
    Point,
    Refusal,
    comma_of,
    locate,
    read_accuracy,
    read_number,
    read_points,
)
from habitatmap.read.coordinates.positions import read_position
from habitatmap.read.coordinates.writing import read_angle

FINLAND = Source(CRS.from_epsg(3067), "crs in area.toml")


# --- systems ---------------------------------------------------------------------------------------------------------


def test_metric_systems_pass() -> None:
    for text in ("EPSG:3067", "epsg:2056", 27700, "EPSG:32635"):
        assert metric_crs(text, "area.toml, crs").is_projected


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("EPSG:4326", "geographic"),
        ("EPSG:2263", "not in metres"),  # New York, US survey feet
        ("EPSG:999999", "not a known"),
        ("Helsinki", "not a known"),
        ("", "not a known"),
        ("EPSG:5773", "not a projected"),  # a system of heights
    ],
)
def test_other_systems_are_refused_in_one_sentence(text: str, word: str) -> None:
    with pytest.raises(CrsError, match=word) as told:
        metric_crs(text, "area.toml, crs")
    assert str(told.value).startswith("area.toml, crs: ")
    assert "EPSG:3067" in str(told.value)


@pytest.mark.parametrize(
    ("lon", "lat", "code"),
    [
        (24.94, 60.17, 32635),
        (9.5, 47.1, 32632),
        (6.6, 0.3, 32632),
        (-0.1, 51.5, 32630),
        (151.2, -33.9, 32756),
        (180.0, 10.0, 32660),
        (-180.0, -10.0, 32701),
        (10.0, 86.0, 32661),
        (10.0, -86.0, 32761),
    ],
)
def test_a_system_chosen_from_the_data(lon: float, lat: float, code: int) -> None:
    assert choose_crs([lon, math.nan], [lat, 1.0]).to_epsg() == code


def test_an_area_across_the_180th_meridian_stays_there() -> None:
    assert choose_crs([179.9, -179.8], [-17.0, -17.0]).to_epsg() == 32701


def test_no_place_no_system() -> None:
    with pytest.raises(CrsError, match=r"crs in area\.toml"):
        choose_crs([], [])


def test_what_has_no_image_is_nan_and_nothing_moves_within_one_system() -> None:
    x, y = transform([0.0, 24.9], [95.0, 60.2], WGS84, CRS.from_epsg(32635))
    assert math.isnan(x[0])
    assert math.isfinite(y[1])
    x, y = transform([385540.123456789], [6671800.1], CRS.from_epsg(3067), CRS.from_epsg(3067))
    assert (x[0], y[0]) == (385540.123456789, 6671800.1)


# --- numbers ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "step"),
    [
        ("60.17", 60.17, 0.01),
        ("60,17", 60.17, 0.01),
        (" 385 540,5 ", 385540.5, 0.1),
        ("385'540.5", 385540.5, 0.1),
        ("6,671,800.5", 6671800.5, 0.1),
        ("6.671.800,5", 6671800.5, 0.1),
        ("1,234,567", 1234567, 1),
        ("−0.5", -0.5, 0.1),
        ("6.67E+06", 6670000, 10000),
        (24.0, 24.0, 1.0),
        (7, 7.0, 1.0),
        ("0,125", 0.125, 0.001),
    ],
)
def test_numbers(text: object, value: float, step: float) -> None:
    number = read_number(text)
    assert number is not None
    assert number.value == pytest.approx(value, abs=0)
    assert number.step == pytest.approx(step)


@pytest.mark.parametrize(
    "text",
    ["1e400", "1" * 400, "", "abc", "1.2.3", "12 m", None, True, "385,123", "1,23,456", "--5", math.nan, math.inf],
)
def test_no_numbers(text: object) -> None:
    assert read_number(text) is None


def test_a_comma_before_three_digits_is_decided_by_the_column() -> None:
    assert comma_of(["385,123", "385,5"]) == "decimal"
    assert comma_of(["1,234", "1,234,567"]) == "thousands"
    assert comma_of(["385,123", "12"]) == "ask"
    assert comma_of(["1,5", "1,234,567"]) == "ask"
    assert read_number("385,123", "decimal") == (385.123, 0.001)
    assert read_number("385,123", "thousands") == (385123.0, 1.0)


# --- angles ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "degrees", "step"),
    [
        ("60.17", 60.17, 0.01),
        ("60,17", 60.17, 0.01),
        (60.17, 60.17, 0.01),
        ("-0.125", -0.125, 0.001),
        ("60.17°", 60.17, 0.01),
        ("60.17 N", 60.17, 0.01),
        ("N 60.17", 60.17, 0.01),
        ("33.9 S", -33.9, 0.1),
        ("24.9 W", -24.9, 0.1),
        ("24,9° Ouest", -24.9, 0.1),
        ("24.9 Ost", 24.9, 0.1),
        ("60°10'18\"N", 60 + 10 / 60 + 18 / 3600, 1 / 3600),
        ("60º 10′ 18.5″ S", -(60 + 10 / 60 + 18.5 / 3600), 0.1 / 3600),
        ("60 10 18 N", 60 + 10 / 60 + 18 / 3600, 1 / 3600),
        ("60:10:18", 60 + 10 / 60 + 18 / 3600, 1 / 3600),
        ("N60 10.305", 60 + 10.305 / 60, 0.001 / 60),
        ("60° 10' N", 60 + 10 / 60, 1 / 60),
    ],
)
def test_angles(text: object, degrees: float, step: float) -> None:
    angle = read_angle(text)
    assert angle is not None
    assert angle.degrees == pytest.approx(degrees, abs=1e-12)
    assert angle.step == pytest.approx(step)


@pytest.mark.parametrize(
    "text",
    [
        "60 75",
        "60 10 75",
        "60.5 10",
        "60.10.18",
        "-33.9 S",
        "N 60 N",
        "60 171",
        "sixty",
        "",
        None,
        True,
        "60 Q",
        "12 34 56 78",
    ],
)
def test_unclear_angles_are_not_read(text: object) -> None:
    assert read_angle(text) is None


# --- one cell for a whole position -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "60.17, 24.94",
        "60.17,24.94",
        "60.17 24.94",
        "60,17 24,94",
        "60,17; 24,94",
        "60,17, 24,94",
        "60,17,24,94",
        "60.17/24.94",
        "(60.17, 24.94)",
        "geo:60.17,24.94",
        "60.17 N, 24.94 E",
        "N60.17 E24.94",
        "24.94 E, 60.17 N",
        "60.17N24.94E",
        "lat: 60.17, lon: 24.94",
        "lon 24.94 lat 60.17",
        "Latitude=60.17; Longitude=24.94",
        "POINT (24.94 60.17)",
        "POINT Z (24.94 60.17 12)",
        "SRID=4326;POINT(24.94 60.17)",
        '{"type": "Point", "coordinates": [24.94, 60.17]}',
        shapely.to_wkb(shapely.Point(24.94, 60.17), hex=True, include_srid=True),
        shapely.to_wkb(shapely.set_srid(shapely.Point(24.94, 60.17), 4326), hex=True, include_srid=True),
    ],
)
def test_one_place_in_many_writings(text: str) -> None:
    point = read_position(
        text, Source(WGS84, '[source_crs] "pools.csv"', own=True) if "POINT" in text or text[0] == "0" else None
    )
    assert isinstance(point, Point), point
    assert (point.x, point.y) == (24.94, 60.17)
    assert point.crs == WGS84
    assert point.uncertainty_m == pytest.approx(622.4, abs=0.1)  # two decimals at 60 N


def test_degrees_in_wkt_are_proven_by_range_and_decimals() -> None:
    point = read_position("POINT (24.9475441 60.1772876)", FINLAND)
    assert isinstance(point, Point)
    assert point.crs == WGS84
    metres = read_position("POINT (385540.5 6671800.5)", FINLAND)
    assert isinstance(metres, Point)
    assert metres.crs == FINLAND.crs


@pytest.mark.parametrize(
    "text",
    [
        "behind the church",
        "60.17",
        "POINT (24.94",
        "POINT EMPTY",
        "LINESTRING (0 0, 1 1)",
        "95.1, 200.2",
        "SU 387 1480",
        "{",
        "385540, 6671800",
        "POINT (385540 6671800)",
        "0.0, 0.0",
        "60.17, 24.94, 12",
        "01" * 30,
    ],
)
def test_unclear_positions_are_refused_with_a_remedy(text: str) -> None:
    refusal = read_position(text, None, file="pools.csv")
    assert isinstance(refusal, Refusal)
    assert refusal.why.reason
    assert refusal.why.remedy


def test_a_heading_may_say_longitude_first() -> None:
    point = read_position("24.94, 60.17", None, heading="lon, lat")
    assert isinstance(point, Point)
    assert (point.x, point.y) == (24.94, 60.17)


def test_a_grid_reference_is_the_centre_of_its_square_and_as_uncertain_as_it_is_large() -> None:
    point = read_position("SU 387 148", None)
    assert isinstance(point, Point)
    assert (point.x, point.y) == (438750.0, 114850.0)
    assert point.crs.to_epsg() == 27700
    assert point.uncertainty_m == pytest.approx(50 * math.sqrt(2))


# --- columns ---------------------------------------------------------------------------------------------------------


def test_lon_and_lat_columns() -> None:
    read = read_points({"lon": [24.9415, None, 24.94, "x"], "lat": [60.1712, None, None, 60.1]}, {}, None, "pools.csv")
    assert isinstance(read[0], Point)
    assert read[0].uncertainty_m == pytest.approx(6.23, abs=0.01)
    assert [type(r) for r in read[1:]] == [Refusal] * 3
    assert "no coordinates" in read[1].why.reason
    assert "no latitude" in read[2].why.reason
    assert "longitude cannot" in read[3].why.reason


def test_out_of_range_is_refused_and_says_what_may_be_wrong() -> None:
    swapped, lost, nowhere = read_points(
        {"lon": [60.17, 249415, 0.0], "lat": [124.94, 60.17, 0.0]}, {}, None, "pools.csv"
    )
    assert isinstance(swapped, Refusal)
    assert "swapped" in swapped.why.reason
    assert isinstance(lost, Refusal)
    assert "decimal point" in lost.why.reason
    assert isinstance(nowhere, Refusal)
    assert "unknown position" in nowhere.why.reason


def test_metres_need_a_stated_system() -> None:
    cells = {"x": [385540.5], "y": [6671800.5]}
    with pytest.raises(CrsError) as told:
        read_points(cells, {"x": "Rechtswert", "y": "Hochwert"}, None, "pools.csv")
    for word in ("pools.csv", "Rechtswert", "[source_crs]", '"pools.csv" = "EPSG:..."'):
        assert word in str(told.value)
    (point,) = read_points(cells, {}, FINLAND, "pools.csv")
    assert isinstance(point, Point)
    assert (point.x, point.y) == (385540.5, 6671800.5)


def test_plain_numbers_that_look_like_degrees_still_have_to_be_stated() -> None:
    with pytest.raises(CrsError, match='"EPSG:4326" if they are longitude and latitude'):
        read_points({"x": ["24.9415"], "y": ["60.1712"]}, {}, None, "pools.csv")
    (point,) = read_points(
        {"x": ["24.9415"], "y": ["60.1712"]}, {}, Source(WGS84, "[source_crs]", own=True), "pools.csv"
    )
    assert isinstance(point, Point)
    assert (point.x, point.y, point.crs) == (24.9415, 60.1712, WGS84)


def test_blank_columns_of_metres_ask_for_nothing() -> None:
    assert list(read_points({"x": [None], "y": [None]}, {}, None, "pools.csv")) == [NO_PLACE]
    assert list(read_points({"x": [], "y": []}, {}, None, "pools.csv")) == []


def test_columns_that_contradict_each_other_are_refused() -> None:
    x, y = transform([24.9415], [60.1712], WGS84, FINLAND.crs)
    cells = {"x": [x[0], x[0] + 50, None], "y": [y[0]] * 2 + [None], "lon": [24.9415] * 3, "lat": [60.1712] * 3}
    agreed, apart, alone = read_points(cells, {}, FINLAND, "pools.csv")
    assert isinstance(agreed, Point)
    assert agreed.crs == FINLAND.crs
    assert isinstance(apart, Refusal)
    assert "50 m apart" in apart.why.reason
    assert isinstance(alone, Point)
    assert alone.crs == WGS84


def test_metres_headed_lon_and_lat_need_one_too() -> None:
    cells = {"lon": [385540.5, 385541.5], "lat": [6671800.5, 6671801.5]}
    with pytest.raises(CrsError, match="source_crs"):
        read_points(cells, {}, None, "pools.csv")
    assert all(isinstance(p, Point) for p in read_points(cells, {}, FINLAND, "pools.csv"))


def test_the_letter_o_is_decided_by_the_column() -> None:
    lat = ["60.1 N", "60.2 N"]
    german = read_points({"lon": ["24.9 O", "1.5 W"], "lat": lat}, {}, None, "f")
    french = read_points({"lon": ["24.9 O", "1.5 E"], "lat": lat}, {}, None, "f")
    alone = read_points({"lon": ["24.9 O", "1.5 O"], "lat": lat}, {"lon": "x"}, None, "f")
    by_heading = read_points({"lon": ["24.9 O", "1.5 O"], "lat": lat}, {"lon": "Länge"}, None, "f")
    assert [p.x for p in german if isinstance(p, Point)] == [24.9, -1.5]
    assert [p.x for p in french if isinstance(p, Point)] == [-24.9, 1.5]
    assert [type(p) for p in alone] == [Refusal, Refusal]
    assert [p.x for p in by_heading if isinstance(p, Point)] == [24.9, 1.5]


def test_points_of_several_systems_meet_in_one() -> None:
    points = [
        read_position("60.17123, 24.94123", None),
        read_position("SU 387 148", None),
        Refusal("", "", "", ""),
        Point(385540.5, 6671800.5, FINLAND.crs, 1.0, ""),
    ]
    x, y = locate(points, FINLAND.crs)
    assert np.isfinite(x).tolist() == [True, True, False, True]
    assert (x[3], y[3]) == (385540.5, 6671800.5)
    lon, lat = transform(x[:1], y[:1], FINLAND.crs, WGS84)
    assert (lon[0], lat[0]) == (pytest.approx(24.94123, abs=1e-9), pytest.approx(60.17123, abs=1e-9))


@pytest.mark.parametrize(
    ("cell", "metres"),
    [(12, 12), ("787 m", 787), ("±5m", 5), ("0,5 km", 500), ("10 ft", 3.048), ("+/- 3", 3), (30.0, 30), ("4,5", 4.5)],
)
def test_accuracy(cell: object, metres: float) -> None:
    assert read_accuracy(cell) == pytest.approx(metres)


@pytest.mark.parametrize("cell", [-1, 0, "-1", "", None, "good", math.nan])
def test_no_accuracy(cell: object) -> None:
    assert math.isnan(read_accuracy(cell))
