"""An area folder as one object: what is found, which system and frame it gets, and what the public may see of it."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from shapely.geometry import box

from habitatmap import job
from habitatmap.area import Area, blurred, open_area
from habitatmap.errors.why import Why
from habitatmap.geo.crs import to_lonlat
from habitatmap.privacy import is_private
from tests.areas import LEFT, TOP, area_folder, small_area, write_layer, write_raster
from tests.examples import examples

WORLDCOVER = np.tile([[10, 30, 50], [80, 90, 10]], (20, 20))
POOLS = "pool,lat,lon,private,host\nA,60.17,24.94,no,\nB,60.171,24.945,,Ann\nC,60.172,24.95,yes,\n"


def test_one_sheet_of_pools_is_an_area(tmp_path: Path) -> None:
    area = open_area(area_folder(tmp_path / "town", pools=POOLS))
    assert (area.title, area.has, area.land_cover) == ("town", {"pools"}, None)
    assert area.crs.to_epsg() == 32635  # 24.9 E lies in UTM zone 35, 24 to 30 E
    assert "EPSG:32635" in area.notes[0]
    assert area.pools["pool"].tolist() == ["A", "B", "C"]
    west, _, _, north = area.grid.bounds
    margin = 10 * 250 / 1.678347  # ten scales of the kernel whose median is 250 m
    assert area.pools["x"].min() - west == pytest.approx(margin, abs=10)
    assert north - area.pools["y"].max() == pytest.approx(margin, abs=10)
    assert (area.grid.left / 10).is_integer()
    assert (area.grid.top / 10).is_integer()


def test_one_raster_is_an_area_in_its_own_system(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER)
    area = open_area(tmp_path)
    assert (area.crs.to_epsg(), area.grid.shape, area.grid.left, area.grid.top) == (32632, (40, 60), LEFT, TOP)
    assert area.has == {"land_cover"}
    assert [len(f) for f in (area.pools, area.visits, area.trees, area.land, area.keep_away, area.paths)] == [0] * 6


def test_a_system_whose_metres_are_not_metres_is_not_taken_over(tmp_path: Path) -> None:
    """At 49.6 N a metre of web Mercator is 0.65 m on the ground (its scale is 1 / cos of the latitude)."""
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, crs="EPSG:3857", origin=(1_001_875, 6_380_000))
    assert open_area(tmp_path).crs.to_epsg() == 32632


def test_the_stated_system_wins_and_the_frame_is_anchored(tmp_path: Path) -> None:
    area_folder(tmp_path, 'title = "Made up"\ncrs = "EPSG:25832"\ncell_m = 25')
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, origin=(LEFT + 3, TOP + 4))
    area = open_area(tmp_path)
    assert (area.title, area.crs.to_epsg()) == ("Made up", 25832)
    assert (area.grid.left % 25, area.grid.top % 25) == (0, 0)


def test_the_day_is_the_one_asked_for_then_the_stated_one_then_today(tmp_path: Path) -> None:
    area_folder(tmp_path, "as_of = 2024-05-01", pools=POOLS)
    assert open_area(tmp_path).as_of == datetime.date(2024, 5, 1)
    assert open_area(tmp_path, datetime.date(2023, 1, 1)).as_of == datetime.date(2023, 1, 1)
    area_folder(tmp_path, 'title = "no day"')
    assert open_area(tmp_path).as_of == datetime.date.today()


def test_land_cover_far_beyond_the_boundary_is_left_out(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", np.tile(WORLDCOVER, (20, 20)))  # 12 x 8 km
    outline = box(LEFT + 5000, TOP - 5000, LEFT + 6000, TOP - 4000)
    write_layer(tmp_path / "boundary.gpkg", [outline])
    area = open_area(tmp_path)
    assert area.boundary.equals(outline)
    margin = 10 * 500 / 1.678347  # of the longer kernel, whose median is 500 m
    west, _, east, north = area.grid.bounds
    assert (west, east) == pytest.approx((LEFT + 5000 - margin, LEFT + 6000 + margin), abs=10)
    assert north == pytest.approx(TOP - 4000 + margin, abs=10)


def test_one_lost_pool_does_not_blow_up_the_frame(tmp_path: Path) -> None:
    area = open_area(area_folder(tmp_path, pools=POOLS + "Lost,-10.2,3.1,,\n"))
    assert len(area.pools) == 4
    assert max(area.grid.shape) < 1000
    assert any("1 of 4 places" in note for note in area.notes)


def test_misnamed_files_and_layers_elsewhere_are_told(tmp_path: Path) -> None:
    area_folder(tmp_path, '[source_crs]\n"nothing.tif" = "EPSG:2056"', pools=POOLS, visit="pool,date\n")
    write_layer(tmp_path / "land.gpkg", [box(0, 0, 10, 10)], crs="EPSG:25832", name=["far away"])
    opened = open_area(tmp_path)
    notes = " ".join(opened.notes)
    assert [(u.file, u.why.code, u.to_do) for u in opened.ledger.unused] == [("visit.csv", Why.LIKE_AN_INPUT, True)]
    assert "nothing.tif, which is no input" in notes
    assert "No shape of land lies in the area" in notes


def test_pools_in_another_system_than_the_area_s_are_told_which_one_fits(tmp_path: Path) -> None:
    """The old observatory of Bern is 2600000, 1200000 in LV95 and 46 57 3.898 N, 7 26 19.077 E (swisstopo, formulas of
    the Swiss map projection)."""
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, origin=(381_000, 5_201_000))
    rows = "A,2600000,1200000\nB,2600100,1200050\nC,2600010,1199990\n"
    area = open_area(area_folder(tmp_path, 'crs = "EPSG:32632"\n', pools=f"pool,x,y\n{rows}"))
    far, fits = area.ledger.doubts
    assert "none within 50 km of the area" in far
    assert "EPSG:2056 (CH1903+ / LV95)" in fits
    assert area.ledger.unknown_units == [("pools.csv", "x")]
    readings = Workbook()
    sheet = readings.create_sheet("units")
    for row in (("file", "column", "unit"), ("pools.csv", "x", "EPSG:2056")):
        sheet.append(row)
    readings.save(tmp_path / "readings.xlsx")
    area = open_area(tmp_path)
    assert not area.ledger.doubts
    lon, lat = to_lonlat(area.pools["x"], area.pools["y"], area.crs)
    assert lon[0] == pytest.approx(7 + 26 / 60 + 19.077 / 3600, abs=1e-5)
    assert lat[0] == pytest.approx(46 + 57 / 60 + 3.898 / 3600, abs=1e-5)


@pytest.mark.parametrize(("lat", "told"), [(0.34, True), (-33.9, True), (36.7, False), (60.2, False)])
def test_far_south_of_europe_the_months_of_the_tables_are_said_not_to_hold(
    tmp_path: Path, lat: float, told: bool
) -> None:
    area = open_area(area_folder(tmp_path, pools=f"pool,lon,lat\nA,6.731,{lat}1\nB,6.732,{lat}1\n"))
    assert any("temperate Europe" in note for note in area.notes) == told


def test_two_columns_of_one_heading_are_told_apart_by_renaming(tmp_path: Path) -> None:
    area = open_area(area_folder(tmp_path, pools="pool,lon,lat,lon\nA,10.512,52.512,10.6\n"))
    told = "two columns are headed lon, and the first is read as lon; give the other another heading, or delete it"
    assert f"pools.csv: {told}" in area.ledger.doubts


def test_a_few_pools_in_another_system_are_told_with_their_rows_and_the_system_that_fits(tmp_path: Path) -> None:
    """Old observatory of Bern in LV95, as above, in a list of which the rest is in degrees."""
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, origin=(381_000, 5_201_000))
    rows = 'A,"46.9512, 7.4391"\nB,"46.9513, 7.4390"\nC,2600000 / 1200000\nD,"60.17, 24.94"\n'
    area = open_area(area_folder(tmp_path, 'crs = "EPSG:32632"\n', pools=f"pool,position\n{rows}"))
    (told,) = [str(one) for one in area.ledger.doubts if "more than 50 km" in one]
    assert told.startswith("pools.csv: 2 places more than 50 km from the area")
    assert "row 4: " in told
    assert "in the area in EPSG:2056 (CH1903+ / LV95)" in told
    assert "row 5: " in told


def test_places_that_are_nowhere_are_set_aside_with_the_system_that_fits(tmp_path: Path) -> None:
    """Eastings of a Finnish GK zone begin with its number, 25, and are nowhere on earth in UTM."""
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, crs="EPSG:3067", origin=(385_000, 6_672_300))
    rows = "A,25496550,6672000\nB,25496600,6672050\n"
    area = open_area(area_folder(tmp_path, 'crs = "EPSG:3067"\n', pools=f"pool,x,y\n{rows}"))
    assert [entry.why.code for entry in area.ledger.entries("pools")] == [Why.UNREACHABLE] * 2
    assert "EPSG:3879 (ETRS89 / GK25FIN)" in area.ledger.doubts[1]


def test_a_class_table_that_nobody_named_is_not_taken_for_land_cover(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER)
    area_folder(tmp_path, land_cover_legend="code,label,like\n1,Park,corine:141\n")
    area = open_area(tmp_path)
    assert "land_cover" not in area.ledger.counts()
    assert [(u.file, u.why.code) for u in area.ledger.unused] == [("land_cover_legend.csv", Why.SPARE_CLASS_TABLE)]


def test_the_styles_a_gis_keeps_beside_a_layer_are_not_rows_of_it(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER)
    path = write_layer(tmp_path / "land.gpkg", [box(LEFT, TOP - 50, LEFT + 50, TOP)], name=["Park"])
    pyogrio.write_dataframe(pd.DataFrame({"styleName": ["green"]}), path, layer="layer_styles")
    area = open_area(tmp_path)
    assert area.ledger.counts()["land"] == {"read": 1, "accepted": 1, "set_aside": 0}


def test_the_same_folder_gives_the_same_area_in_whatever_order_its_rows_stand(tmp_path: Path) -> None:
    head, *rows = POOLS.splitlines()
    frames = []
    for name, order in (("a", rows), ("b", rows[::-1])):
        folder = area_folder(tmp_path / name, pools="\n".join([head, *order]))
        frames.append(open_area(folder))
    a, b = frames
    pd.testing.assert_frame_equal(a.pools.drop(columns="row"), b.pools.drop(columns="row"))
    assert a.grid == b.grid


# --- as the public may see it ----------------------------------------------------------------------------------------


def town(tmp_path: Path, cover: bool = True) -> Area:
    """A made-up town: eight private pools of seven hosts in one square, two in another, one pool in a park."""
    rows, visits = ["pool,x,y,private,host,note,set_out"], ["pool,date,outcome,larvae,observer,note"]
    for i in range(8):
        place, host, set_out = (
            f"{LEFT + 100 + 40 * i},{TOP - 300 - 10 * i}",
            f"host {min(i, 6)}",
            f"2025-03-0{i % 3 + 1}",
        )
        rows.append(f"garden {i},{place},yes,{host},behind the shed,{set_out}")
        visits.append(f"garden {i},2025-05-{10 + i},{'larvae' if i % 2 else 'none seen'},,Ann,called first")
    rows += [f"lone {i},{LEFT + 1500},{TOP - 300 - i},,Bob {i},,2025-03-01" for i in range(2)]
    rows.append(f"park,{LEFT + 700},{TOP - 700},no,council,by the gate,2025-03-01")
    visits += ["lone 1,2025-05-11,larvae,,Bob,", "park,2025-05-11,larvae,3,Cleo,wet"]
    toml = 'crs = "EPSG:32632"\nas_of = 2025-06-01\ncell_m = 20'
    folder = area_folder(tmp_path / f"town {cover}", toml, pools="\n".join(rows), visits="\n".join(visits))
    if cover:
        write_raster(folder / "land_cover.tif", np.tile(WORLDCOVER, (3, 3)))
        ground = [box(LEFT, TOP - 500, LEFT + 500, TOP), box(LEFT + 600, TOP - 800, LEFT + 900, TOP)]
        names = {"name": ["Host 3's garden", "Park"], "kind": ["garden", "park"]}
        write_layer(folder / "land.gpkg", ground, **names, consent=["yes", "yes"])
    return open_area(folder)


def everything(area: Area) -> str:
    """All that could be published of an area, as text."""
    frames = [area.pools, area.visits, area.trees, area.land.to_wkt(), area.keep_away, area.paths]
    parts = [frame.to_csv() for frame in frames]
    return "\n".join([*parts, str(area.grid), str(area.ledger.counts()), str(area.ledger.frame()), str(area.notes)])


def test_a_private_pool_has_neither_name_nor_place_nor_people(tmp_path: Path) -> None:
    area = town(tmp_path)
    public = blurred(area)
    assert public.pools["pool"].tolist() == ["park", *(f"private {i}" for i in range(1, 9))]
    gardens = public.pools[public.pools["private"] == "yes"]
    assert set(gardens["x"]) == {LEFT + 500}  # centre of the square of 1000 m that starts at 500 000
    assert set(gardens["y"]) == {TOP - 500}
    text = everything(public)
    for secret in ("garden", "host 1", "Host 3", "shed", "Ann", "Bob", "lone", "called", "Cleo", "gate", "council"):
        assert secret not in text
    assert set(public.visits["pool"]) == set(public.pools["pool"])
    assert public.land["name"].tolist() == ["Park"]
    # the open pool stays where it is
    assert public.pools.loc[0, ["x", "y"]].tolist() == [LEFT + 700, TOP - 700]
    assert public.visits.loc[public.visits["pool"] == "park", "larvae"].tolist() == [3]
    # what the area itself holds is untouched
    assert area.pools["host"].str.contains("host").sum() == 8


def test_fewer_than_three_gardens_are_not_shown_and_one_host_is_one_garden(tmp_path: Path) -> None:
    area = town(tmp_path)
    assert not blurred(area).pools["x"].eq(LEFT + 1500).any()
    one_host = replace(area, pools=area.pools.assign(host="The same"))
    assert blurred(one_host).pools["pool"].tolist() == ["park"]


def test_an_open_pool_that_is_called_like_a_number_of_ours_stays_apart(tmp_path: Path) -> None:
    area = town(tmp_path)
    names = {"park": "private 1"}
    clash = replace(area, pools=area.pools.replace({"pool": names}), visits=area.visits.replace({"pool": names}))
    public = blurred(clash)
    assert public.pools["pool"].is_unique
    assert public.visits.loc[public.visits["pool"] == "private 1", "larvae"].tolist() == [3]


def test_private_by_own_word_then_by_the_land_then_yes(tmp_path: Path) -> None:
    area = town(tmp_path)
    pools = area.pools.iloc[[0, 0, 0, 0, 0]].assign(
        private=["yes", "no", "", "", ""],
        x=[LEFT + 700, LEFT + 100, LEFT + 100, LEFT + 700, LEFT + 1900],  # in the park, garden, garden, park, no land
        y=TOP - 100,
    )
    assert is_private(pools, area.land).tolist() == [True, False, True, False, True]
    assert is_private(pools, area.land.iloc[:0]).tolist() == [True, False, True, True, True]


@settings(deadline=None, max_examples=examples(25))
@given(data=st.data(), cover=st.booleans())
def test_law_a_private_pool_moved_within_its_square_changes_no_public_byte(
    tmp_path_factory: pytest.TempPathFactory, data: Any, cover: bool
) -> None:
    """Nor does another name, another host's name, another order of rows or another observer."""
    if cover not in TOWNS:
        made = town(tmp_path_factory.mktemp("law"), cover)
        TOWNS[cover] = made, everything(blurred(made))
    area, public = TOWNS[cover]
    pools, visits = area.pools.copy(), area.visits.copy()
    closed = np.flatnonzero(is_private(pools, area.land))
    side = area.settings.public.blur_m
    names = data.draw(st.permutations([f"n{i}" for i in range(len(closed))]))
    for at, name in zip(closed, names, strict=True):
        for axis in ("x", "y"):
            corner = np.floor(pools.at[at, axis] / side) * side
            pools.loc[at, axis] = corner + data.draw(st.floats(0, side - 0.01))
        visits.loc[visits["pool"] == pools.at[at, "pool"], ["pool", "observer"]] = [name, f"eyes of {name}"]
        pools.loc[at, ["pool", "host"]] = [name, f"{pools.at[at, 'host']} junior"]
    order = np.array(data.draw(st.permutations(range(len(pools)))))
    moved = replace(
        area, pools=pools.iloc[order].reset_index(drop=True), visits=visits.iloc[::-1].reset_index(drop=True)
    )
    assert everything(blurred(moved)) == public


TOWNS: dict[bool, tuple[Area, Any]] = {}


def test_where_nothing_may_be_shown_the_frame_is_a_rough_square(tmp_path: Path) -> None:
    area = open_area(area_folder(tmp_path, pools=POOLS.replace("no", "yes")))
    public = blurred(area)
    assert len(public.pools) == 0
    west, south, east, north = public.grid.bounds
    assert (west % 10_000, south % 10_000, east - west, north - south) == (0, 0, 10_000, 10_000)
    assert west <= area.pools["x"].min() < east


def test_visits_after_the_day_of_the_run_are_kept_and_told(tmp_path: Path) -> None:
    visits = "pool,date,outcome\nA,2025-05-01,dry\nA,2052-05-01,dry\n"
    area = open_area(area_folder(tmp_path, "as_of = 2025-06-01\n", pools=POOLS, visits=visits))
    assert len(area.visits) == 2
    (told,) = (r for r in area.ledger.remarks if "after 2025-06-01" in r)
    assert "visits.csv row 3" in told


def test_an_encoding_stated_for_no_input_is_told(tmp_path: Path) -> None:
    toml = '[encoding]\n"pools.csv" = "utf-8"\n"visit.csv" = "cp1252"\n'
    area = open_area(area_folder(tmp_path, toml, pools=POOLS))
    assert any("[encoding] names visit.csv" in note for note in area.notes)
    assert "utf-8 (stated)" in area.ledger.readings[0].notes


def test_a_zip_that_cannot_be_opened_is_told(tmp_path: Path) -> None:
    folder = area_folder(tmp_path, pools=POOLS)
    (folder / "export.zip").write_bytes(b"PK\x03\x04 cut")
    assert [(u.file, u.why.code) for u in open_area(folder).ledger.unused] == [("export.zip", Why.UNREADABLE)]


def test_slips_are_told_by_the_boundary_even_where_a_whole_table_has_them(tmp_path: Path) -> None:
    swapped = "pool,lat,lon\nP1,24.9415,60.1712\nP2,24.9425,60.1722\nP3,24.9435,60.1732\n"
    ring = [[24.9, 60.1], [25.0, 60.1], [25.0, 60.2], [24.9, 60.2], [24.9, 60.1]]
    folder = area_folder(tmp_path, pools=swapped)
    (folder / "boundary.geojson").write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    area = open_area(folder)
    assert area.pools["pool"].tolist() == ["P1", "P2", "P3"]
    lon, lat = to_lonlat(area.pools["x"], area.pools["y"], area.crs)
    assert lat.round(4).tolist() == [60.1712, 60.1722, 60.1732]
    assert lon.round(4).tolist() == [24.9415, 24.9425, 24.9435]
    assert any("only one reading lies in the area, and is used: 3 places" in remark for remark in area.ledger.remarks)


def test_a_second_download_is_told_and_not_read(tmp_path: Path) -> None:
    area = open_area(area_folder(tmp_path, pools=POOLS, **{"pools (1)": POOLS}))
    assert len(area.pools) == 3
    assert [(u.file, u.why.code) for u in area.ledger.unused] == [("pools (1).csv", Why.LIKE_AN_INPUT)]


def test_what_cells_offer_is_worked_out_once_for_team_and_public(monkeypatch: pytest.MonkeyPatch) -> None:
    scored: list[Area] = []
    plain = job.score_habitat
    monkeypatch.setattr(job, "score_habitat", lambda area, *where: (scored.append(area), plain(area, *where))[1])
    found = job.run(replace(small_area()))
    assert found.public is not None
    assert len(scored) == 1
    assert found.public.findings.habitat is found.findings.habitat


def test_the_public_is_spared_what_it_is_not_shown() -> None:
    found = job.run(replace(small_area()))
    assert found.public is not None
    assert (found.figures.network.places, found.public.figures.network.places) == (1, 0)
    assert found.pools["forage_in_reach"].notna().all()
    assert found.public.pools["forage_in_reach"].isna().all()


def test_of_rows_set_aside_the_public_is_told_their_number_alone(tmp_path: Path) -> None:
    area = open_area(area_folder(tmp_path, pools=f"{POOLS},60.173,24.96,no,Ann\n"))
    public = blurred(area).ledger
    assert public.counts()["pools"] == area.ledger.counts()["pools"] == {"read": 4, "accepted": 3, "set_aside": 1}
    assert len(area.ledger.frame()) == 1
    assert public.frame().empty
