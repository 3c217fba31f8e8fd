"""A kept plan held against what came of it, on small cases checked by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from habitatmap.changes.sites import State, elsewhere, what_became_of_sites

CRS = "EPSG:32632"
PARK = box(-100, -100, 100, 100)


def plan(
    *places: tuple[float, float], zones: Sequence[BaseGeometry | None] = (), consent: str = "ask"
) -> gpd.GeoDataFrame:
    ids = [f"S{i + 1}" for i in range(len(places))]
    frame = {"rank": range(1, len(ids) + 1), "id": ids, "place": ids, "private": "no", "consent": consent}
    frame |= {"x": [x for x, _ in places], "y": [y for _, y in places]}
    shapes = list(zones) or [Point(place).buffer(10) for place in places]
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=CRS)


def points(*places: tuple[float, float]) -> pd.DataFrame:
    names = [f"P{i + 1}" for i in range(len(places))]
    return pd.DataFrame({"pool": names, "x": [x for x, _ in places], "y": [y for _, y in places]})


def land(consent: str = "ask", shape: BaseGeometry = PARK) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"consent": [consent]}, geometry=[shape], crs=CRS)


def became(
    sites: gpd.GeoDataFrame,
    pools: pd.DataFrame,
    owner: gpd.GeoDataFrame | None = None,
    suggested: pd.DataFrame | None = None,
    told: Mapping[str, State] | None = None,
) -> pd.DataFrame:
    on = land() if owner is None else owner
    today = points() if suggested is None else suggested
    return what_became_of_sites(sites, pools, on, today, 50.0, told or {})


def test_a_pool_is_of_the_site_in_whose_zone_it_lies_or_that_is_near() -> None:
    far_zone = box(0, 0, 300, 10)
    found = became(plan((0, 0), (1000, 0), zones=[far_zone, None]), points((280, 5), (1030, 40)))
    assert found["state"].tolist() == [State.SET_OUT, State.SET_OUT]
    assert found["pool"].tolist() == ["P1", "P2"]
    assert found["off_m"].tolist() == pytest.approx([np.hypot(280, 5), 50.0])


def test_each_site_has_one_pool_and_each_pool_one_site_the_nearest_first() -> None:
    found = became(plan((0, 0), (60, 0)), points((25, 0), (2, 0)))
    assert found["pool"].tolist() == ["P2", "P1"]
    assert found["off_m"].tolist() == pytest.approx([2.0, 35.0])


def test_pools_at_no_site_are_told_with_the_nearest_one() -> None:
    sites = became(plan((0, 0), (500, 0)), points((3, 0), (420, 0)))
    assert elsewhere(sites, points((3, 0), (420, 0))).to_dict("records") == [
        {"pool": "P2", "x": 420.0, "y": 0.0, "nearest_site": "S2", "off_m": 80.0}
    ]
    assert elsewhere(sites.iloc[:0], points((420, 0)))["nearest_site"].tolist() == [""]


@pytest.mark.parametrize(
    ("before", "now", "state"),
    [
        ("ask", "no", State.REFUSED),
        ("yes", "no", State.REFUSED),
        ("ask", "yes", State.AGREED),
        ("provisional", "yes", State.AGREED),
        ("yes", "yes", State.LEFT),
        ("ask", "ask", State.LEFT),
    ],
)
def test_what_the_owner_said_since(before: str, now: str, state: State) -> None:
    assert became(plan((0, 0), consent=before), points(), land(now))["state"].tolist() == [state]


def test_of_overlapping_parcels_the_strictest_counts() -> None:
    both = pd.concat([land("yes"), land("no")], ignore_index=True)
    assert became(plan((0, 0)), points(), both)["state"].tolist() == [State.REFUSED]
    both = pd.concat([land("yes"), land("ask")], ignore_index=True)
    assert became(plan((0, 0)), points(), both)["state"].tolist() == [State.LEFT]


def test_still_open_while_it_is_suggested_in_its_zone_or_near() -> None:
    found = became(plan((0, 0), (1000, 0), (2000, 0)), points(), suggested=points((9, 0), (1049, 0), (2051, 0)))
    assert found["state"].tolist() == [State.OPEN, State.OPEN, State.LEFT]


def test_a_pool_counts_before_a_word_and_a_word_before_the_land() -> None:
    told = {"S1": State.GIVEN_UP, "S2": State.ASKED}
    found = became(plan((0, 0), (60, 0)), points((0, 0)), land("no"), told=told)
    assert found["state"].tolist() == [State.SET_OUT, State.ASKED]


def test_no_plan_no_rows() -> None:
    assert became(plan((0, 0)).iloc[:0], points((0, 0))).empty
