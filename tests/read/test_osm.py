"""Reading an OpenStreetMap extract: small ones made here, and real ones that a box has cut."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import osmium
import pandas as pd
import pytest
import shapely

from habitatmap.errors import InputError
from habitatmap.read.addresses import Addresses, By, Found
from habitatmap.read.layers import load_class_table
from habitatmap.read.osm import OsmExtract, TagTable, read_pbf, without_overlaps
from tests.beside import real
from tests.read.osm_tools import Sheet


@pytest.fixture(scope="module")
def helsinki() -> OsmExtract:
    return read_pbf(real("helsinki/helsinki.osm.pbf"))


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    return Sheet(tmp_path / "small.osm.pbf")


# --- what tags mean --------------------------------------------------------------------------------------------------


def meaning(as_line: bool = False, **tags: str) -> tuple[str, str, str]:
    cover, _, land, keep_away = TagTable(load_class_table("osm")).meaning(tags, as_line=as_line)
    return cover, land, keep_away


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        ({"leisure": "park"}, ("leisure=park", "park", "")),
        ({"leisure": "park", "landuse": "residential"}, ("leisure=park", "park", "")),
        ({"natural": "wood"}, ("natural=wood", "wood", "")),
        ({"leisure": "pitch", "sport": "tennis"}, ("leisure=pitch", "", "pitch")),
        ({"landuse": "railway"}, ("landuse=railway", "", "railway area")),
        ({"area:highway": "residential"}, ("area:highway=*", "", "road area")),
        ({"amenity": "school"}, ("amenity=school", "school ground", "school")),
        ({"boundary": "protected_area"}, ("", "nature reserve", "")),
        ({"natural": "wood", "leaf_type": "needleleaved"}, ("natural=wood + leaf_type=needleleaved", "wood", "")),
        ({"leisure": "playground", "landuse": "grass"}, ("leisure=playground", "grass", "playground")),
        ({"building": "church"}, ("building=*", "", "building")),
        ({"building": "no"}, ("", "", "")),
        ({"landuse": "lane;parking"}, ("", "", "")),
        ({"highway": "pedestrian"}, ("", "", "")),
        ({"highway": "pedestrian", "area": "yes"}, ("", "", "path")),
        ({"waterway": "riverbank"}, ("waterway=riverbank", "", "water")),
        ({"amenity": "hospital"}, ("", "", "hospital")),
    ],
)
def test_what_an_area_is(tags: dict[str, str], expected: tuple[str, str, str]) -> None:
    assert meaning(**tags) == expected


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"highway": "residential"}, "road"),
        ({"highway": "footway"}, "path"),
        ({"waterway": "stream"}, "water"),
        ({"highway": "pedestrian", "area": "yes"}, ""),
        ({"leisure": "park"}, ""),
        ({"barrier": "fence"}, ""),
    ],
)
def test_what_a_line_is(tags: dict[str, str], kind: str) -> None:
    assert meaning(as_line=True, **tags)[2] == kind


# --- small extracts --------------------------------------------------------------------------------------------------


def test_trees_and_what_is_known_of_them(sheet: Sheet) -> None:
    sheet.node(10, 50, natural="tree", genus="Tilia", circumference="3.1416")
    sheet.node(10, 50.001, natural="tree", species="Quercus robur", circumference="157 cm")
    sheet.node(10, 50.002, natural="tree", circumference="thick", phone="+00 1234")
    sheet.node(10, 50.003, natural="tree_stump")
    sheet.node(10, 50.004, amenity="bench")
    trees = sheet.read().trees
    assert trees["genus"].tolist() == ["Tilia", "", "", ""]
    assert trees["species"].tolist() == ["", "Quercus robur", "", ""]
    assert trees["diameter_cm"].tolist()[:2] == [100.0, 50.0]
    assert trees["diameter_cm"].isna().tolist() == [False, False, True, True]
    assert trees["condition"].tolist() == ["", "", "", "stump"]


def test_land_asks_first_and_gardens_are_private(sheet: Sheet) -> None:
    sheet.square(10, 50, leisure="park", name="Green", phone="+00 1234", **{"contact:email": "a@b.example"})
    sheet.square(10.01, 50, landuse="allotments")
    sheet.square(10.02, 50, leisure="garden", access="yes")
    sheet.square(10.03, 50, leisure="park", access="private")
    land = sheet.read().land
    assert land["kind"].tolist() == ["park", "allotments", "garden", "park"]
    assert land["private"].tolist() == ["no", "yes", "no", "yes"]
    assert set(land["consent"]) == {"ask"}
    assert list(land.columns) == ["osm", "name", "kind", "consent", "private", "geometry"]
    assert "1234" not in land.to_csv()
    assert "@" not in land.to_csv()


def test_a_playground_may_be_a_point(sheet: Sheet) -> None:
    sheet.node(10, 50, leisure="playground")
    sheet.square(10.01, 50, leisure="playground")
    keep = sheet.read().keep_away
    assert keep["kind"].tolist() == ["playground", "playground"]
    assert sorted(keep.geom_type) == ["MultiPolygon", "Point"]


def test_a_pitch_is_excluded_ground_as_an_area_and_nothing_as_a_point(sheet: Sheet) -> None:
    sheet.square(10, 50, 0.001, leisure="pitch")
    sheet.node(10.1, 50, leisure="pitch")
    assert sheet.read().keep_away["kind"].tolist() == ["pitch"]


def test_a_closed_road_is_a_line_and_not_an_area(sheet: Sheet) -> None:
    sheet.square(10, 50, highway="residential", name="Round")
    sheet.square(10.01, 50, highway="pedestrian", area="yes")
    sheet.square(10.02, 50, highway="footway", tunnel="yes")
    extract = sheet.read()
    assert extract.paths[["kind", "name"]].values.tolist() == [["residential", "Round"]]
    assert extract.paths.geom_type.tolist() == ["LineString"]
    assert dict(zip(extract.keep_away["kind"], extract.keep_away.geom_type, strict=True)) == {
        "road": "LineString",
        "path": "MultiPolygon",
    }


def test_an_area_cut_by_the_box_is_closed_along_the_cut(sheet: Sheet) -> None:
    sheet.square(10, 50, leisure="park")
    sheet.square(10.01, 50, leisure="park")
    extract = sheet.read(without_nodes=(7,))
    assert (extract.expected, extract.assembled, extract.rescued, extract.lost) == (2, 1, ["w2"], [])
    # the square has lost one corner, the triangle of the other three is half of it
    whole, half = shapely.area(extract.land.geometry.values)
    assert half == pytest.approx(whole / 2, rel=1e-6)
    assert "closed along the cut or without the holes beyond it: 1 of 2" in extract.remarks[0]
    assert "1 park" in extract.remarks[0]


def test_of_a_lost_playground_the_known_nodes_still_keep_pools_away(sheet: Sheet) -> None:
    sheet.square(10, 50, leisure="playground")
    extract = sheet.read(without_nodes=(1, 2))
    assert (extract.lost, len(extract.cover)) == (["w1"], 0)
    assert extract.keep_away["kind"].tolist() == ["playground"]
    assert extract.keep_away.geometry[0].equals(shapely.MultiPoint([(10.001, 50.001), (10, 50.001)]))
    assert extract.remarks[0].startswith("Areas not put together")
    assert extract.remarks[0].endswith("w1")


def test_a_relation_with_a_hole(sheet: Sheet) -> None:
    sheet.square(10, 50, 0.004)
    sheet.square(10.001, 50.001, 0.001)
    sheet.relation([("w", 1, "outer"), ("w", 2, "inner")], type="multipolygon", natural="wood")
    extract = sheet.read()
    assert extract.cover["osm"].tolist() == ["r1"]
    assert extract.cover.geometry[0].area == pytest.approx(15e-6)
    cut = sheet.read(without_nodes=(3,))
    assert cut.rescued == ["r1"]
    assert cut.cover.geometry[0].area == pytest.approx(7e-6)  # half of 16, less the hole
    without_hole = sheet.read(without_ways=(2,))
    assert without_hole.cover.geometry[0].area == pytest.approx(16e-6)
    lost = sheet.read(without_ways=(1,))
    assert (lost.rescued, lost.lost, len(lost.cover)) == ([], ["r1"], 0)


def test_what_the_table_has_no_row_for_is_remarked(sheet: Sheet) -> None:
    sheet.square(10, 50, landuse="lane")
    extract = sheet.read()
    assert len(extract.cover) == 0
    assert extract.remarks == ["Areas whose tag has no row in layers/osm.csv: 1, landuse=lane (1)"]


def test_the_same_extract_gives_the_same_frames(sheet: Sheet) -> None:
    for i in range(5):
        sheet.square(10 + i / 100, 50, landuse="meadow")
        sheet.node(10 + i / 100, 51, natural="tree")
    first, second = sheet.read(), sheet.read()
    for name in ("trees", "land", "cover"):
        assert getattr(first, name).to_json() == getattr(second, name).to_json()
    assert first.land["osm"].tolist() == [f"w{i}" for i in range(1, 6)]


@pytest.mark.parametrize("content", [b"", b"not a pbf at all", b"\x00\x00\x00\x0d\x0a\x09OSMHeader\x18\x7c"])
def test_a_file_that_is_no_extract_is_refused_in_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.osm.pbf"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"broken\.osm\.pbf cannot be read as an OpenStreetMap extract"):
        read_pbf(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_pbf(tmp_path / "none.osm.pbf")


# --- overlaps --------------------------------------------------------------------------------------------------------


def frame(*boxes: tuple[float, float, float, float], rank: list[int]) -> tuple[gpd.GeoDataFrame, Any]:
    out = gpd.GeoDataFrame({"n": range(len(boxes))}, geometry=[shapely.box(*b) for b in boxes], crs="EPSG:25832")
    return out, pd.Series(rank)


def test_the_higher_rank_lies_on_top() -> None:
    flat = without_overlaps(*frame((0, 0, 10, 10), (5, 0, 15, 10), rank=[2, 1]))
    assert flat.area.tolist() == [100, 50]


def test_of_one_rank_the_later_lies_on_top_and_what_is_covered_goes() -> None:
    flat = without_overlaps(*frame((0, 0, 10, 10), (2, 2, 4, 4), (0, 0, 20, 10), rank=[1, 5, 1]))
    assert flat["n"].tolist() == [1, 2]
    assert flat.area.tolist() == [4, 196]


def test_neither_ground_nor_overlap_is_made() -> None:
    random = np.random.default_rng(4)
    corners = random.uniform(0, 80, (40, 2))
    sides = random.uniform(2, 30, (40, 2))
    boxes, rank = frame(*np.hstack([corners, corners + sides]).tolist(), rank=random.integers(0, 5, 40).tolist())
    flat = without_overlaps(boxes, rank)
    # corners are moved to whole millimetres
    assert flat.area.sum() == pytest.approx(boxes.union_all().area, rel=1e-5)
    assert flat.union_all().area == pytest.approx(flat.area.sum(), rel=1e-9)


def test_nothing_stays_nothing() -> None:
    empty = gpd.GeoDataFrame({"n": []}, geometry=[], crs="EPSG:25832")
    assert len(without_overlaps(empty, pd.Series([], dtype=int))) == 0


# --- real extracts ---------------------------------------------------------------------------------------------------


def test_helsinki_counts(helsinki: OsmExtract) -> None:
    """649 trees, and all 5 playgrounds: osmium puts 4 together, the fifth is cut by the box and rescued."""
    assert len(helsinki.trees) == 649
    assert (helsinki.keep_away["kind"] == "playground").sum() == 5
    playgrounds = helsinki.keep_away[helsinki.keep_away["kind"] == "playground"]
    assert playgrounds["osm"].isin(helsinki.rescued).sum() == 1
    assert (helsinki.trees["genus"] != "").sum() == 2
    assert helsinki.trees["diameter_cm"].isna().all()


def test_helsinki_accounts_for_every_area(helsinki: OsmExtract) -> None:
    assert helsinki.expected == helsinki.assembled + len(helsinki.rescued) + len(helsinki.lost)
    assert not set(helsinki.rescued) & set(helsinki.lost)
    for name in ("land", "keep_away", "cover"):
        assert not getattr(helsinki, name).geometry.is_empty.any()


def test_helsinki_holds_no_phone_and_no_mail(helsinki: OsmExtract) -> None:
    for name in ("trees", "land", "keep_away", "paths", "cover"):
        cells = getattr(helsinki, name).drop(columns="geometry").to_csv()
        assert "@" not in cells
        assert "+358" not in cells


def test_kotka_has_no_tree_and_keeps_its_cut_playground() -> None:
    kotka = read_pbf(real("helsinki/kotka.osm.pbf"))
    assert len(kotka.trees) == 0
    assert (kotka.keep_away["kind"] == "playground").sum() == 2


def test_monaco_counts() -> None:
    monaco = read_pbf(real("monaco/monaco.osm.pbf"))
    playgrounds = monaco.keep_away[monaco.keep_away["kind"] == "playground"]
    assert len(monaco.trees) == 557
    assert (playgrounds.geom_type == "Point").sum() == 3
    assert (playgrounds.geom_type != "Point").sum() == 13
    assert monaco.rescued == ["r1369191", "r5197022"]


@pytest.mark.parametrize("name", ["empty", "single_node", "one_way", "one_way_12_nodes"])
def test_extracts_with_next_to_nothing_in_them(name: str) -> None:
    extract = read_pbf(real(f"monaco/edge_{name}.osm.pbf"))
    assert [len(getattr(extract, n)) for n in ("trees", "land", "keep_away", "cover")] == [0, 0, 0, 0]
    assert extract.trees.crs == "EPSG:4326"


# --- house numbers ---------------------------------------------------------------------------------------------------


def test_house_numbers_of_points_ways_and_relations(sheet: Sheet) -> None:
    """A shop in a building adds nothing; the same number elsewhere on the street does; a number alone is no address."""
    house = {"addr:street": "Park Road", "addr:housenumber": "2"}
    sheet.square(10, 50, 0.0002, building="yes", **house, **{"addr:city": "Aldham", "addr:postcode": "1000"})
    sheet.node(10.0001, 50.0001, shop="bakery", phone="123", **house)
    sheet.node(10.01, 50, **house)
    sheet.node(10.02, 50, **{"addr:housenumber": "9"})
    sheet.node(10.03, 50, **{"addr:housenumber": "1", "addr:place": "Hamlet"})
    ring = sheet.square(10.04, 50, 0.0004)
    sheet.relation([("w", ring, "outer")], type="multipolygon", building="yes", **house | {"addr:housenumber": "4"})
    found = sheet.read().addresses
    rows = [tuple(row) for row in found[["osm", "street", "house_number", "postcode", "city"]].to_numpy()]
    assert rows == [
        ("n6", "Park Road", "2", "", ""),
        ("n8", "Hamlet", "1", "", ""),
        ("r1", "Park Road", "4", "", ""),
        ("w1", "Park Road", "2", "1000", "Aldham"),
    ]
    # half the diagonal of 0.0002 degrees: 14.3 m by 22.2 m; a point says nothing
    assert found["uncertainty_m"].tolist() == pytest.approx([np.nan, np.nan, 26.5, 13.2], abs=0.1, nan_ok=True)


def test_the_addresses_of_real_buildings_give_their_own_building(helsinki: OsmExtract) -> None:
    """Every closed way of the extract with a house number, read with osmium alone, is found by its address."""
    path, metres = real("helsinki/helsinki.osm.pbf"), "EPSG:32635"
    buildings: dict[tuple[str, str], list[Any]] = {}
    for way in osmium.FileProcessor(str(path), osmium.osm.NODE | osmium.osm.WAY).with_locations():
        tags = {tag.k: tag.v for tag in way.tags}
        is_house = way.is_way() and {"addr:street", "addr:housenumber", "building"} <= tags.keys() and way.is_closed()
        if is_house and all(node.location.valid() for node in way.nodes):
            ring = shapely.Polygon([(node.lon, node.lat) for node in way.nodes])
            buildings.setdefault((tags["addr:street"], tags["addr:housenumber"]), []).append(ring)
    assert len(buildings) > 60
    book = Addresses.of(helsinki.addresses.to_crs(metres), helsinki.paths.to_crs(metres))
    lost = []
    for (street, number), rings in buildings.items():
        place = book.find(f"{street} {number}")
        inside = gpd.GeoSeries(rings, crs=4326).to_crs(metres)
        if not (isinstance(place, Found) and place.by is By.HOUSE
                and inside.distance(shapely.Point(place.x, place.y)).min() == 0):  # fmt: skip
            lost.append((street, number, place))
    assert not lost
