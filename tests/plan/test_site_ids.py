"""Ids of suggested sites: kept while a site stays in its zone, never given to other ground."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS

from habitatmap.plan.site_ids import letters, number_sites
from habitatmap.read.earlier_sites import no_sites, read_earlier_sites

METRES = CRS.from_epsg(32632)


def numbered(
    places: list[tuple[float, float]],
    earlier: gpd.GeoDataFrame | None = None,
    private: bool = False,
    half_m: float = 50.0,
) -> tuple[list[str], gpd.GeoDataFrame]:
    """Sites whose zones are squares of 50 m to each side."""
    x, y = np.array(places, dtype=float).reshape(-1, 2).T
    zones = gpd.GeoSeries([shapely.box(a - 50, b - 50, a + 50, b + 50) for a, b in places], crs=METRES)
    before = no_sites(METRES) if earlier is None else earlier
    return number_sites(x, y, np.full(len(x), private), zones, earlier=before)


def test_the_first_run_numbers_in_the_order_of_the_plan() -> None:
    assert numbered([(0, 0), (500, 0), (0, 500)])[0] == ["S1", "S2", "S3"]


def test_a_site_keeps_its_id_in_its_zone_whatever_its_rank() -> None:
    _, register = numbered([(0, 0), (500, 0)])
    ids, _ = numbered([(530, 20), (10, -40), (0, 1000)], register)
    assert ids == ["S2", "S1", "S3"]


def test_a_site_outside_every_zone_is_a_new_one() -> None:
    _, register = numbered([(0, 0)])
    assert numbered([(51, 0)], register)[0] == ["S2"]


def test_an_id_is_never_given_to_other_ground_and_comes_back_with_its_own() -> None:
    _, first = numbered([(0, 0), (500, 0)])
    ids, second = numbered([(0, 0), (900, 0)], first)
    assert ids == ["S1", "S3"]
    assert second["suggested"].tolist() == ["yes", "no", "yes"]
    ids, third = numbered([(0, 0), (900, 900), (500, 0)], second)
    assert ids == ["S1", "S4", "S2"]
    assert third["id"].tolist() == ["S1", "S2", "S3", "S4"]


def test_of_two_zones_the_site_takes_the_nearer_sites_id() -> None:
    _, register = numbered([(0, 0), (60, 0)])
    assert numbered([(45, 0), (5, 0)], register)[0] == ["S2", "S1"]


def test_private_and_open_ground_do_not_share_an_id() -> None:
    _, register = numbered([(0, 0)], private=True)
    assert numbered([(0, 0)], register)[0] == ["S2"]


def test_where_only_the_place_of_an_earlier_site_is_known_todays_zone_tells() -> None:
    _, register = numbered([(0, 0), (500, 0)])
    register["geometry"] = shapely.points(register["x"], register["y"])
    assert numbered([(530, 20), (10, -40), (51, 0)], register)[0] == ["S2", "S1", "S3"]


def test_no_sites_leave_a_register_of_those_that_were() -> None:
    _, register = numbered([(0, 0)])
    ids, later = numbered([], register)
    assert ids == []
    assert later["suggested"].tolist() == ["no"]


def test_the_same_plan_again_changes_nothing() -> None:
    places = [(0.0, 0.0), (80.0, 0.0), (40.0, 60.0)]
    ids, register = numbered(places)
    again, same = numbered(places, register)
    assert again == ids
    assert same.drop(columns="geometry").equals(register.drop(columns="geometry"))


def test_letters_go_on_behind_z() -> None:
    assert letters(28)[:3] == ["A", "B", "C"]
    assert letters(28)[-3:] == ["Z", "AA", "AB"]


@pytest.mark.parametrize("text", ["", "{}", "no json at all"])
def test_a_register_that_cannot_be_read_is_told_and_the_sites_are_numbered_anew(tmp_path: Path, text: str) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "site_ids.geojson").write_text(text, encoding="utf-8")
    register, said = read_earlier_sites(tmp_path, METRES)
    assert register.empty
    assert len(said) == 1
    assert "numbered anew" in said[0]


def test_a_register_of_a_plan_without_sites_is_read_in_silence(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "site_ids.geojson").write_text('{"type":"FeatureCollection","features":[]}', encoding="utf-8")
    assert read_earlier_sites(tmp_path, METRES)[1] == []
