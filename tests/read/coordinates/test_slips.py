"""Slips are put right only where one reading alone lies in the area; where two do, the row is refused with both."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from habitatmap.geo.crs import WGS84, Source
from habitatmap.read.coordinates import Box, Point, Refusal, in_words, near_misses, read_points, settle
from habitatmap.read.coordinates.positions import lonlat_point, read_position
from habitatmap.read.coordinates.slips import FAR_KM, box_of_rows
from habitatmap.read.coordinates.writing import Angle

HELSINKI = Box(24.8, 60.1, 25.1, 60.3, "the boundary")
FINLAND = Source(CRS.from_epsg(3067), "crs in area.toml")


def read(lon: object, lat: object, box: Box | None = HELSINKI, source: Source | None = None) -> Point | Refusal:
    (one,) = read_points({"lon": [lon], "lat": [lat]}, {}, source, "f", box)
    return one


@pytest.mark.parametrize(
    ("lon", "lat", "slip"),
    [
        (60.1712, 24.9415, "swapped"),
        (-24.9415, 60.1712, "sign of the longitude"),
        (24.9415, -60.1712, "sign of the latitude"),
        (2.49415, 60.1712, "decimal point of the longitude"),
        (249415, 60.1712, "decimal point of the longitude"),
        (24.9415, 6017.12, "decimal point of the latitude"),
        (249415, 601712, "both decimal points"),
        ("24.9415 N", "60.1712 E", "only reading"),
        ("24.9415 O", "60.1712 N", "only reading"),
    ],
)
def test_one_slip_that_brings_it_home_is_put_right_and_said(lon: object, lat: object, slip: str) -> None:
    found = read(lon, lat)
    if "N" in str(lon):
        found = read("60.1712 N", "24.9415 E")
    assert isinstance(found, Point), found
    assert (found.x, found.y) == (pytest.approx(24.9415), pytest.approx(60.1712))
    assert slip in found.mended
    assert slip in found.how
    # nothing is put right where nothing says where the area lies
    alone = read_points({"lon": [lon], "lat": [lat]}, {}, FINLAND if lon == 249415 else None, "f")[0]
    assert isinstance(alone, Refusal) or (alone.x, alone.y) == (lon, lat)


def test_two_slips_that_fit_are_refused_with_both() -> None:
    # 0.9 south and 9.0 north both lie in this area, and neither is the place as written
    area = Box(33.9, -1.2, 34.1, 9.5, "the land cover")
    both = read(34.0, 90.0, area)
    assert isinstance(both, Refusal)
    assert "two slips" in both.why.reason
    assert "the land cover" in both.why.reason
    assert len(both.readings) >= 2
    assert all(in_words(p) in both.why.reason for p in both.readings)


def test_a_place_in_the_area_or_not_far_from_it_stays_as_written() -> None:
    for lon, lat in ((24.9415, 60.1712), (24.0, 60.9), (26.0, 59.5)):
        point = read(lon, lat)
        assert isinstance(point, Point)
        assert (point.x, point.y, point.mended) == (lon, lat, "")


def test_a_place_beside_the_area_that_a_slip_would_bring_in_is_said() -> None:
    """Along the meridian of Greenwich a lost sign moves a pool by a few kilometres: 0.12 E is 16 km from 0.12 W."""
    town = Box(-0.20, 51.4, -0.10, 51.6, "the boundary")
    points = [point_at(0.12, 51.5), point_at(-0.12, 51.5), point_at(0.2, 51.7), point_at(-0.12, -51.5)]
    ((at, words),) = near_misses(points, town)
    assert at == 0
    assert words == "15 km outside the boundary, and inside with the other sign of the longitude"
    assert list(settle(points[:1], town)) == points[:1]
    assert near_misses(points, town._replace(stated=False)) == near_misses(points, None) == []


def test_a_place_that_no_slip_explains_stays_as_written() -> None:
    point = read(151.2, -33.9)
    assert isinstance(point, Point)
    assert (point.x, point.y, point.mended) == (151.2, -33.9, "")


def test_an_explicit_letter_is_no_lost_sign() -> None:
    point = read("24.9415 W", "60.1712 N")
    assert isinstance(point, Point)
    assert point.x == -24.9415


def test_metres_swapped_scaled_or_degrees_after_all() -> None:
    def xy(x: object, y: object) -> Point | Refusal:
        (one,) = read_points({"x": [x], "y": [y]}, {}, FINLAND, "f", HELSINKI)
        return one

    for x, y, slip in (
        (6671800.5, 385540.5, "x and y swapped"),
        (38554050, 6671800.5, "decimal point of x"),
        (385.5405, 6671.8005, "both decimal points"),
    ):
        point = xy(x, y)
        assert isinstance(point, Point)
        assert (point.x, point.y) == (pytest.approx(385540.5), pytest.approx(6671800.5))
        assert slip in point.mended
    for x, y in ((24.9415, 60.1712), (60.1712, 24.9415)):
        point = xy(x, y)
        assert isinstance(point, Point)
        assert (point.x, point.y, point.crs) == (24.9415, 60.1712, WGS84)
        assert "degrees instead of metres" in point.mended


def test_lost_points_in_a_whole_table_without_any_stated_system() -> None:
    cells = {"lon": [249415, 249425, 249435], "lat": [601712, 601722, 601732]}
    points = read_points(cells, {}, None, "f", HELSINKI)
    assert [round(p.y, 4) for p in points if isinstance(p, Point)] == [60.1712, 60.1722, 60.1732]


def test_the_area_settles_what_a_writing_leaves_open() -> None:
    for text, x in (("[24.9415, 60.1712]", 24.9415), ("601712, 249415", 24.9415), ("5XJ8+WH", None)):
        (point,) = settle([read_position(text, None)], HELSINKI)
        if x is None:
            assert isinstance(point, Point | Refusal)
        else:
            assert isinstance(point, Point)
            assert point.x == pytest.approx(x)


def test_a_short_code_is_read_near_a_stated_area_only() -> None:
    short = read_position("5XJ8+WH", None)
    (point,) = settle([short], HELSINKI)
    assert isinstance(point, Point)
    assert HELSINKI.near(point)
    (still,) = settle([short], HELSINKI._replace(stated=False))
    assert isinstance(still, Refusal)


def point_at(lon: float, lat: float) -> Point:
    point = lonlat_point(Angle(lon, 1e-4, ""), Angle(lat, 1e-4, ""))
    assert point is not None
    return point


def test_the_other_rows_say_where_the_area_lies_if_they_lie_together() -> None:
    near = [point_at(24.9 + i / 1000, 60.2) for i in range(4)]
    far = [point_at(-100.0 + i * 30, -40.0) for i in range(5)]
    box = box_of_rows(near + far[:1])
    assert box is not None
    assert (box.west, box.east, box.stated) == (24.9, pytest.approx(24.903), False)
    assert box_of_rows(near[:2]) is None
    assert box_of_rows(near + far) is None
    assert box_of_rows([]) is None


def test_the_box_of_an_area_in_metres_holds_its_corners() -> None:
    bounds = (380000.0, 6670000.0, 390000.0, 6680000.0)
    box = Box.of(bounds, FINLAND.crs, "the boundary")
    for x in bounds[::2]:
        for y in bounds[1::2]:
            assert box.off_km(*_lonlat(x, y))[0] < 0.01
    across = Box.of((100000.0, 8000000.0, 900000.0, 8100000.0), CRS.from_epsg(32701), "the boundary")
    assert (across.west, across.east) == (-180.0, 180.0) or across.west < across.east


def _lonlat(x: float, y: float) -> tuple[float, float]:
    from habitatmap.geo.crs import to_lonlat

    (lon,), (lat,) = to_lonlat([x], [y], FINLAND.crs)
    return lon, lat


@given(
    lon=st.floats(-180, 180).map(lambda v: round(v, 4)),
    lat=st.floats(-90, 90).map(lambda v: round(v, 4)),
    west=st.floats(-170, 170),
    south=st.floats(-80, 80),
)
def test_whatever_is_written_the_answer_is_as_written_or_home_or_a_refusal(
    lon: float, lat: float, west: float, south: float
) -> None:
    box = Box(west, south, west + 0.2, south + 0.2, "the boundary")
    written = lonlat_point(Angle(lon, 1e-4, ""), Angle(lat, 1e-4, ""))
    assert written is not None
    (answer,) = settle([written], box)
    away = float(box.off_km([lon], [lat])[0])
    if away <= FAR_KM:
        assert answer == written
    elif isinstance(answer, Point):
        assert answer == written or (box.near(answer) and answer.mended)
    else:
        assert len(answer.readings) > 1
        assert all(box.near(p) for p in answer.readings)
    assert math.isfinite(away)
    assert np.isnan(box.off_km([math.nan], [0.0])[0])
