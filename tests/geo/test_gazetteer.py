"""How places are told: by the named ground, the part of it, and the nearest other name. All can be checked by hand."""

from __future__ import annotations

import math

import geopandas as gpd
import pytest
from shapely import LineString, Point, box
from shapely.affinity import rotate

from habitatmap.geo.gazetteer import Gazetteer, part_of
from habitatmap.vocabulary.where import Direction, Part, Where, told_apart

PARK, LONG_PARK = box(0, 0, 300, 300), box(1000, 0, 1600, 100)
ROWS = [
    ("Elm Park", "park", PARK),
    ("Long Park", "park", LONG_PARK),
    ("Mill Street", "residential", LineString([(-100, 350), (400, 350)])),
    ("Ford Lane", "residential", LineString([(350, -100), (350, 1400)])),
    ("Old Town", "suburb", box(-1000, -1000, 5000, 5000)),
    ("Well", "fountain", Point(150, 140)),
]


def gazetteer(rows: list[tuple[str, str, object]] = ROWS) -> Gazetteer:
    return Gazetteer.of(gpd.GeoDataFrame(rows, columns=["name", "kind", "geometry"], geometry="geometry", crs=32632))


def told(x: float, y: float, kind: str = "grass", names: Gazetteer | None = None) -> str:
    return str((names or gazetteer()).where(x, y, kind, 9.0, 48.0))


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        (150, 160, "Elm Park, in the middle, 20 m from Well"),
        (150, 280, "Elm Park, north side, 70 m from Mill Street"),
        (150, 145, "Elm Park, in the middle, beside Well"),
        (290, 290, "Elm Park, north-east side, 60 m from Ford Lane"),
        (1020, 50, "Long Park, west end, 670 m from Ford Lane"),
        (1300, 50, "Long Park, in the middle, 950 m from Mill Street"),
        (1590, 50, "Long Park, east end"),  # nothing else within a kilometre
        (-50, 390, "Grass in Old Town, 40 m north of Mill Street"),
        (352, 1000, "Grass in Old Town, beside Ford Lane"),
        (2400, 1400, "Grass in Old Town, 1.5 km north-east of Long Park"),
        (20_000, 20_000, "Grass at 48.0000 N, 9.0000 E"),
    ],
)
def test_a_point_is_told_by_what_is_about_it(x: float, y: float, said: str) -> None:
    assert told(x, y) == said


def test_without_any_name_the_place_is_told_by_its_coordinates_and_never_by_its_kind_alone() -> None:
    empty = gazetteer(ROWS[:0])
    assert told(10, 10, names=empty) == "Grass at 48.0000 N, 9.0000 E"
    assert told(10, 10, kind="", names=empty) == "Ground at 48.0000 N, 9.0000 E"
    assert str(Where("grass", lat=-0.25, lon=-1.5)) == "Grass at 0.2500 S, 1.5000 W"


def test_the_order_of_the_rows_changes_nothing() -> None:
    one, other = gazetteer(ROWS), gazetteer(ROWS[::-1])
    for x in range(-100, 1700, 90):
        assert told(x, x / 3, names=one) == told(x, x / 3, names=other)


def test_the_smallest_ground_is_named() -> None:
    rows = [*ROWS, ("Rose Garden", "garden", box(200, 200, 260, 260))]
    assert told(230, 230, names=gazetteer(rows)).startswith("Rose Garden, in the middle")


@pytest.mark.parametrize("turn", range(0, 360, 45))
def test_the_end_of_long_ground_turns_with_it(turn: int) -> None:
    ground = rotate(box(-300, -20, 300, 20), turn, origin=(0, 0))
    point = rotate(Point(250, 0), turn, origin=(0, 0))
    winds = [Direction.EAST, Direction.NORTH_EAST, Direction.NORTH, Direction.NORTH_WEST]
    winds += [Direction.WEST, Direction.SOUTH_WEST, Direction.SOUTH, Direction.SOUTH_EAST]
    assert part_of(ground, point) == (Part.END, winds[turn // 45])


def test_the_winds_are_those_of_the_compass() -> None:
    for eighth, wind in enumerate(Direction):
        angle = math.radians(45 * eighth)
        assert Direction.of(math.sin(angle), math.cos(angle)) is wind


def test_unnamed_ground_is_called_by_the_park_or_the_streets_about_it() -> None:
    land = gpd.GeoDataFrame(
        {"name": ["Glebe", "", "", "", ""], "kind": ["meadow", "grass", "scrub", "", "verge"]},
        geometry=[
            box(0, 0, 9, 9),
            box(10, 10, 40, 40),
            box(310, 320, 340, 345),
            box(390, 1000, 420, 1030),
            box(355, 600, 365, 700),
        ],
        crs=32632,
    )
    assert gazetteer().call(land) == [
        "Glebe",
        "grass, Elm Park",
        "scrub, Mill Street – Ford Lane",
        "land, Ford Lane",
        "verge, Ford Lane",
    ]
    assert gazetteer(ROWS[:0]).call(land) == ["Glebe", "", "", "", ""]


def test_two_sites_in_the_same_words_are_told_apart_by_the_wind() -> None:
    names = gazetteer([*ROWS, ("Path", "path", LineString([(10, 150), (280, 150)]))])
    north, south, other = (names.where(x, y, "grass", 9.0, 48.0) for x, y in ((20, 190), (20, 110), (20, 20)))
    assert str(north) == str(south) == "Elm Park, west side, 40 m from Path"
    assert [str(place) for place in told_apart([north, south, other])] == [
        "Elm Park, west side, 40 m north of Path",
        "Elm Park, west side, 40 m south of Path",
        str(other),
    ]
    assert told_apart([]) == []
