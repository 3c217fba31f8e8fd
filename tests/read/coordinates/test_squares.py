"""Grid references and codes: the square's centre, and its size as the uncertainty."""

from __future__ import annotations

import math

import pytest

from habitatmap.geo.crs import to_lonlat
from habitatmap.read.coordinates import Point, Refusal
from habitatmap.read.coordinates.positions import read_position
from habitatmap.read.coordinates.squares import (
    british_grid,
    read_british_grid,
    read_irish_grid,
    read_mgrs,
    recover_plus_code,
    short_plus_code,
)


@pytest.mark.parametrize(
    ("text", "x", "y", "side"),
    [
        ("SU 387 148", 438750, 114850, 100),
        ("SU3871414812", 438714.5, 114812.5, 1),
        ("SU-387-148", None, None, None),
        ("SU 38", 435000, 185000, 10000),
        ("SU38A", 431000, 181000, 2000),  # the tetrad at the south-west corner
        ("SU38B", 431000, 183000, 2000),  # letters run northwards first
        ("SU38F", 433000, 181000, 2000),
        ("SU38Z", 439000, 189000, 2000),
        ("SU38P", 435000, 189000, 2000),  # there is no O
        ("SU38NW", 432500, 187500, 5000),
        ("SU38SE", 437500, 182500, 5000),
        ("SU 38 1", None, None, None),
        ("SU38O", None, None, None),
        ("ZZ 38 11", None, None, None),
    ],
)
def test_british_squares(text: str, x: float | None, y: float | None, side: float | None) -> None:
    assert read_british_grid(text) == (None if x is None else (x, y, side))


@pytest.mark.parametrize("point", [(438714.0, 114812.0), (0.0, 0.0), (499999.0, 1219999.0)])
def test_a_reference_of_a_point_names_the_square_it_lies_in(point: tuple[float, float]) -> None:
    for digits in (2, 4, 6, 8, 10):
        square = read_british_grid(british_grid(*point, digits=digits))
        assert square is not None
        x, y, side = square
        assert abs(x - point[0]) <= side / 2
        assert abs(y - point[1]) <= side / 2


@pytest.mark.parametrize(
    ("text", "x", "y", "side"),
    [
        ("V 00 00", 500, 500, 1000),  # the south-west corner of the grid
        ("N 000 500", 200050, 250050, 100),  # by definition the false origin: 53 30 N, 8 W
        ("O1590434671", 315904.5, 234671.5, 1),
        ("H 123 456", 212350, 345650, 100),
        ("I 12 34", None, None, None),  # no letter I
        ("O 15", None, None, None),
    ],
)
def test_irish_squares(text: str, x: float | None, y: float | None, side: float | None) -> None:
    assert read_irish_grid(text) == (None if x is None else (x, y, side))


@pytest.mark.parametrize(
    ("text", "side"), [("32TMT", 1e5), ("32T MT 4 1", 1e4), ("32tmt4712", 1e3), ("32T MT 47123 12345", 1)]
)
def test_military_squares(text: str, side: float) -> None:
    square = read_mgrs(text)
    assert square is not None
    assert square.half_diagonal_m == pytest.approx(side / math.sqrt(2))
    assert (square.x % side, square.y % side) == (side / 2, side / 2)


@pytest.mark.parametrize("text", ["32ZZZ12", "61UDQ12", "31UDQ123", "32T MT 47 123", "32T", "32TAA"])
def test_no_military_squares(text: str) -> None:
    assert read_mgrs(text) is None


def test_a_square_carries_its_size() -> None:
    for text, metres in (("SU 387 148", 70.7), ("SU38P", 1414.2), ("32TMT4712", 707.1), ("9GFGQV7J+2W", 7.8)):
        point = read_position(text, None)
        assert isinstance(point, Point)
        assert point.uncertainty_m == pytest.approx(metres, abs=0.1)
        assert "reference" in point.how or "code" in point.how


def test_a_shorter_code_is_a_larger_cell_around_the_same_place() -> None:
    fine, coarse = (read_position(code, None) for code in ("9GFGQV7J+2WX", "9GFGQV00+"))
    assert isinstance(fine, Point)
    assert isinstance(coarse, Point)
    assert coarse.uncertainty_m > 1000 * fine.uncertainty_m
    assert abs(fine.x - coarse.x) < 0.05


def test_a_short_code_is_recovered_near_a_place_only() -> None:
    assert short_plus_code("QV7J+2W Helsinki") == "QV7J+2W"
    assert short_plus_code("9GFGQV7J+2W") == ""
    assert isinstance(read_position("QV7J+2W", None), Refusal)
    full = read_position("9GFGQV7J+2W", None)
    assert isinstance(full, Point)
    square = recover_plus_code("QV7J+2W", 30.9, 59.8)
    assert (square.x, square.y) == pytest.approx((full.x, full.y), abs=1e-9)


def test_british_and_irish_places_lie_where_they_should() -> None:
    """The corner of TQ 38 lies in London, that of O 13 in Dublin (from any map; from memory)."""
    for text, lon, lat in (("TQ 30 80", -0.12, 51.5), ("O 15 34", -6.27, 53.35)):
        point = read_position(text, None)
        assert isinstance(point, Point)
        (east,), (north,) = to_lonlat([point.x], [point.y], point.crs)
        assert (east, north) == (pytest.approx(lon, abs=0.02), pytest.approx(lat, abs=0.02))
