"""Who may see what: squares, counts and zones worked out by hand."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, box

from habitatmap import privacy
from habitatmap.geo.grid import Grid


def test_a_point_is_seen_in_the_middle_of_its_square() -> None:
    """Squares are aligned to the origin: 1 030 m lies in the fifth square of 250 m, also west of the origin."""
    x, y = privacy.middle_of_square([1030.0, -10.0], [250.0, 249.9])
    assert (x.tolist(), y.tolist()) == ([1125.0, -125.0], [375.0, 125.0])
    assert privacy.uncertainty_m(1000.0) == pytest.approx(math.hypot(500, 500))
    (square,) = privacy.square_around([1125.0], [375.0])
    assert square.bounds == (1000, 250, 1250, 500)


def test_gardens_count_from_three_in_a_square_and_open_pools_always() -> None:
    at = [(500.0, 500.0)] * 3 + [(1500.0, 500.0)] * 5 + [(2500.0, 500.0)] * 2
    private = ["yes", "yes", "yes", "yes", "yes", "no", "no", "no", "no", "no"]
    pools = pd.DataFrame(at, columns=["x", "y"]).assign(private=private)
    counted = privacy.counts_by_square(pools, 1000.0)
    # three gardens; three open pools, whose two gardens beside them are not told; two of anything are no square
    assert counted.to_dict("list") == {"row": [0, 0], "col": [0, 1], "n": [3, 3]}


def plots(*boxes: tuple[float, float, float, float]) -> gpd.GeoSeries:
    return gpd.GeoSeries([box(*each) for each in boxes])


def test_a_private_zone_is_whole_squares_with_enough_private_land() -> None:
    garden, lawn = (10.0, 10.0, 40.0, 40.0), (0.0, 0.0, 100.0, 100.0)
    x, y = [20.0, 30.0], [20.0, 20.0]
    assert privacy.private_zone(x, y, plots(garden)) is None
    assert privacy.private_zone(x, y, plots(garden, garden)) is None
    three = privacy.private_zone(x, y, plots(garden, garden, garden))
    assert three is not None
    assert three.bounds == (0, 0, 250, 250)
    hectare = privacy.private_zone(x, y, plots(lawn))
    assert hectare is not None
    assert hectare.area == 250**2
    # plots beyond the square don't count
    assert privacy.private_zone(x, y, plots(garden, garden, (300, 10, 340, 40))) is None


def test_a_suggestion_on_private_land_moves_to_its_square_and_others_stay() -> None:
    grid = Grid(0.0, 1000.0, 10.0, 100, 100)
    sites = pd.DataFrame({"x": [15.0, 15.0], "y": [985.0, 985.0], "row": 1, "col": 1, "private": ["yes", "no"]})
    moved = privacy.in_squares(sites, grid)
    assert moved[["row", "col"]].to_numpy().tolist() == [[12, 12], [1, 1]]  # the middle of 0-250 by 750-1000
    assert privacy.may_be_placed(sites).tolist() == [False, True]


def test_a_host_is_sought_by_the_street_or_else_in_a_square() -> None:
    street = gpd.GeoDataFrame({"name": ["Lime Street", ""]}, geometry=[LineString([(0, 0), (100, 0)])] * 2)
    assert str(privacy.street_or_zone(50.0, 250.0, street, "garden")) == "private land near Lime Street"
    said = "garden in the square of 500 m from E 0, N 0"
    assert str(privacy.street_or_zone(50.0, 250.1, street, "garden")) == said
    assert str(privacy.street_or_zone(50.0, 250.1, street.iloc[1:], "garden")) == said
    assert str(privacy.street_or_zone(-1.0, 700.0, street.iloc[:0], "")) == (
        "private land in the square of 500 m from E -500, N 500"
    )


def test_where_nothing_may_be_shown_the_frame_is_rough() -> None:
    """Ten blur squares a side about the median, wherever in its square each pool lies."""
    grid = Grid(0.0, 1000.0, 10.0, 100, 100)
    frames = {
        privacy.rough_frame(pd.DataFrame({"x": [x], "y": [2000.0]}), grid, 1000.0) for x in (12_001.0, 12_500.0, 12_999)
    }
    assert [frame.bounds for frame in frames] == [(10_000, 0, 20_000, 10_000)]
    assert privacy.rough_frame(pd.DataFrame({"x": [], "y": []}), grid, 1000.0).bounds == (0, 0, 10_000, 10_000)


def test_no_text_of_anybody_is_left() -> None:
    visits = pd.DataFrame(
        {"pool": ["A"], "note": "by Anna", "observer": "Anna", "action": "moved", "file": "v", "row": 7}
    )
    left = privacy.without_texts(visits)
    assert left.to_dict("records") == [{"pool": "A", "note": "", "observer": "", "action": "", "file": "", "row": 0}]
    assert np.array_equal(left.columns, visits.columns)
