"""Tables and files for GIS: exact, safe to open, true to their formats, and the same bytes each time."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
from defusedxml import ElementTree
from hypothesis import given
from hypothesis import strategies as st
from shapely import LinearRing, Point
from shapely.geometry import shape

from habitatmap.export import formats as exports
from habitatmap.export.formats import csv_text, each, json_text, visible
from habitatmap.export.geopackage import write_geopackage
from habitatmap.export.summary import summary_text
from habitatmap.export.tables import text_files, told_tables
from habitatmap.plan.candidates import ExclusionZone
from habitatmap.read.formats.cells import unguard
from habitatmap.words.tables import told_plan
from tests.results import CRS_UTM, GRID, NASTY, invented


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


# --- tables


@given(st.text(alphabet="'=+-@\t\ra|;,\n 5", max_size=8))
def test_text_comes_back_when_it_is_read_again(text: str) -> None:
    cell = rows_of(csv_text(pd.DataFrame({"v": [text], "w": [1]})))[0]["v"]
    assert unguard(cell) == text
    assert cell[:1] not in {*"=+-@\t\r"} - {""}


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1))
def test_numbers_keep_every_digit(values: list[float]) -> None:
    assert [float(r["v"]) for r in rows_of(csv_text(pd.DataFrame({"v": values})))] == values


def test_values_as_a_reader_meets_them() -> None:
    frame = pd.DataFrame(
        {
            "n": [-5, 7],
            "x": [-0.25, np.nan],
            "flag": [True, False],
            "day": pd.to_datetime(["2025-05-01", None]),
            "at": pd.to_datetime(["2025-05-01 09:30", None]),
            "text": ["-5", None],
            "mixed": pd.Series([np.float32(0.5), np.int64(3)], dtype=object),
        }
    )
    assert csv_text(frame) == (
        "n,x,flag,day,at,text,mixed\r\n-5,-0.25,yes,2025-05-01,2025-05-01T09:30:00,'-5,0.5\r\n7,,no,,,,3\r\n"
    )


def test_nasty_text_comes_back_from_every_table() -> None:
    files = text_files(invented())
    for name, column in (("pools.csv", "note"), ("places.csv", "name"), ("set_aside.csv", "value")):
        found = rows_of(files[name].decode())[0][column]
        assert found.startswith("'=")
        assert found[1:].startswith(visible(NASTY)), name
    assert "geometry" not in rows_of(files["places.csv"].decode())[0]


def test_no_cell_starts_a_formula() -> None:
    for name, content in text_files(invented()).items():
        if name.endswith(".csv"):
            for row in rows_of(content.decode()):
                for value in row.values():
                    assert value[:1] not in ("=", "@", "\t", "\r")
                    assert value[:1] not in ("+", "-") or float(value) < 0


def test_empty_tables_keep_their_headings() -> None:
    files = text_files(invented(rows=0))
    assert files["pools.csv"].decode().startswith("pool,x,y,lon,lat,")
    assert files["plan.csv"].decode().count("\n") == 1
    assert json.loads(files["gaps.geojson"])["features"] == []


def test_the_exchanged_plan_is_there_when_it_is_better() -> None:
    assert "plan_exchanged.csv" not in text_files(invented())
    better = invented(plan_exchanged=invented().plan)
    assert text_files(better)["plan_exchanged.csv"] == text_files(better)["plan.csv"]


def test_summary_has_only_what_json_knows() -> None:
    text = summary_text(invented())
    found = json.loads(text, parse_constant=pytest.fail)
    assert list(found)[:3] == ["title", "crs", "crs_name"]
    assert found["land_cover"]["unmatched"] == []
    assert found["plan"]["share_of_bound"] is None or 0 <= found["plan"]["share_of_bound"] <= 1
    assert found["as_of"] == "2025-06-01"
    nested = {"a": [np.nan, (np.int16(2), float("inf"))], "b": {1: np.bool_(True)}, "c": pd.NA, "d": Path("x")}
    assert json.loads(json_text(nested)) == {"a": [None, [2, None]], "b": {"1": True}, "c": None, "d": "x"}


def test_lone_surrogates_do_not_stop_a_run() -> None:
    made = invented()

    def odd_in(frame: Any, column: str) -> Any:
        frame = frame.astype({column: object})
        frame.loc[0, column] = "a\ud800b"
        return frame

    odd = invented(
        title="a\ud800b",
        plan=odd_in(made.plan, "place"),
        pools=odd_in(made.pools, "note"),
        gaps=made.gaps.assign(lost_as=ExclusionZone("a\ud800b")),
        figures=replace(made.figures, title="a\ud800b"),
    )
    for name, content in text_files(odd).items():
        assert name == "results.xlsx" or content.decode("utf-8")


# --- GeoJSON (RFC 7946)


def collection(name: str, result: Any | None = None) -> dict[str, Any]:
    found = json.loads(text_files(result or invented())[name], parse_constant=pytest.fail)
    assert set(found) == {"type", "features"}, "no crs member"
    assert all(set(f) == {"type", "geometry", "properties"} for f in found["features"])
    return dict(found)


def test_private_suggestions_have_no_place() -> None:
    places = [f["geometry"] for f in collection("plan.geojson")["features"]]
    assert places[1] is None
    assert places[0]["coordinates"] == pytest.approx([9 + 1 / 700, 48.75 + 1 / 900], abs=5.1e-8)


def test_rings_follow_the_right_hand_rule() -> None:
    found = collection("gaps.geojson")["features"]
    assert [f["geometry"]["type"] for f in found] == ["MultiPolygon", "Polygon", "Polygon"]
    for feature in found:
        geometry = feature["geometry"]
        parts = geometry["coordinates"] if geometry["type"] == "MultiPolygon" else [geometry["coordinates"]]
        for rings in parts:
            for i, ring in enumerate(rings):
                assert ring[0] == ring[-1]
                assert len(ring) >= 4
                assert LinearRing(ring).is_ccw == (i == 0)
                assert all(len(position) == 2 and round(v, 7) == v for position in ring for v in position)
    assert len(found[1]["geometry"]["coordinates"]) == 2, "a hole stays a hole"


def test_shapes_lie_where_they_should() -> None:
    result = invented()
    found = [shape(f["geometry"]) for f in collection("gaps.geojson", result)["features"]]
    back = gpd.GeoSeries(found, crs=4326).to_crs(CRS_UTM)
    for one, other in zip(back, result.gaps.geometry, strict=True):
        assert one.hausdorff_distance(other) < 0.02


def test_properties_are_the_columns() -> None:
    result = invented()
    properties = [f["properties"] for f in collection("plan.geojson", result)["features"]]
    assert list(properties[0]) == list(told_plan(result.plan, result.settings).columns.drop("geometry"))
    assert properties[1]["lat"] is None
    cause = collection("gaps.geojson", result)["features"][0]["properties"]["cause"]
    assert cause.endswith(NASTY), "JSON holds every character"


# --- GPX 1.1: order of elements after the published schema, topografix.com/GPX/1/1/gpx.xsd
WPT_ORDER = (
    "ele time magvar geoidheight name cmt desc src link sym type fix sat hdop vdop pdop ageofdgpsdata dgpsid extensions"
).split()


def test_gpx_keeps_the_order_of_the_schema() -> None:
    result = invented(rows=4)
    root = ElementTree.fromstring(text_files(result)["plan.gpx"])
    ns = "{http://www.topografix.com/GPX/1/1}"
    assert root.tag == f"{ns}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    assert [child.tag.removeprefix(ns) for child in root] == ["metadata", "wpt", "wpt", "wpt"], "private ones left out"
    for point in root.findall(f"{ns}wpt"):
        order = [WPT_ORDER.index(child.tag.removeprefix(ns)) for child in point]
        assert order == sorted(order)
        assert -90 <= float(point.get("lat")) <= 90
        assert -180 <= float(point.get("lon")) < 180
        assert "drown" in point.findtext(f"{ns}desc")
        assert "of the area's forage" in point.findtext(f"{ns}desc")
    assert b"<time" not in text_files(result)["plan.gpx"]


def test_gpx_shows_what_xml_cannot_hold() -> None:
    result = invented()
    plan = result.plan.astype({"place": object})
    plan.loc[0, "place"] = f"{NASTY}\ud800\uffff"
    result = replace(result, plan=plan)
    root = ElementTree.fromstring(text_files(result)["plan.gpx"])
    name = root.findtext("{*}wpt/{*}name")
    assert name == "S1 " + visible(NASTY).replace("\r", "␍") + "\ufffd\ufffd"
    assert "␀" in name


def test_gpx_has_no_longitude_of_180() -> None:
    result = invented(rows=1)
    result.plan.loc[0, "lon"] = 180.0
    assert b'lon="-180.0000000"' in text_files(result)["plan.gpx"]


# --- GeoPackage


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gis") / "habitatmap.gpkg"
    write_geopackage(invented(), path)
    return path


LAYERS = (
    "pools visits trees places plan zones gaps breeding_places links candidates_lost paths exclusion_zones boundary"
).split()
TABLES = ("visits", "candidates_lost")


def test_a_geopackage_as_the_standard_has_it(package: Path) -> None:
    db = sqlite3.connect(package)
    assert db.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47, "GPKG; OGC GeoPackage standard"
    assert db.execute("PRAGMA user_version").fetchone()[0] >= 10200
    assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    assert {-1, 0, 4326, 32632} <= {r[0] for r in db.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
    contents = dict(db.execute("SELECT table_name, data_type FROM gpkg_contents"))
    kinds = {name: "attributes" if name in TABLES else "features" for name in LAYERS}
    assert contents == kinds | {"layer_styles": "attributes"}
    assert {r[0] for r in db.execute("SELECT last_change FROM gpkg_contents")} == {"2025-06-01T00:00:00.000Z"}
    for blob in (r[0] for r in db.execute("SELECT geom FROM pools")):
        assert blob[:2] == b"GP"
        assert blob[2] == 0
        assert int.from_bytes(blob[4:8], "little") == 32632


def test_every_layer_comes_back(package: Path) -> None:
    result = invented()
    for name in LAYERS:
        frame, expected = pyogrio.read_dataframe(package, layer=name), told_tables(result)[name]
        assert len(frame) == len(expected), name
        assert list(frame.columns.drop("geometry", errors="ignore")) == list(
            expected.columns.drop("geometry", errors="ignore")
        )
    pools = pyogrio.read_dataframe(package, layer="pools")
    assert pools["note"].tolist() == [visible(t) for t in result.pools["note"]]
    assert pools["occupancy"].tolist() == result.pools["occupancy"].tolist()
    assert pools["forage_m"].isna().all()
    assert [Point(x, y) for x, y in zip(result.pools["x"], result.pools["y"], strict=True)] == pools.geometry.tolist()
    plan = pyogrio.read_dataframe(package, layer="plan")
    assert plan.geometry.isna().tolist() == [False, True, False]
    visits = pyogrio.read_dataframe(package, layer="visits")
    assert visits["date"].isna().tolist() == [True, False, False]
    assert visits["pool"].tolist() == [visible(NASTY)] * 3


def test_empty_layers_exist_with_their_columns(tmp_path: Path) -> None:
    result = invented(rows=0)
    write_geopackage(result, tmp_path / "e.gpkg")
    with_shapes = [name for name in LAYERS if name not in TABLES]
    assert pyogrio.list_layers(tmp_path / "e.gpkg")[:, 0].tolist() == [*with_shapes, *TABLES, "layer_styles"]
    for name in LAYERS:
        if name in ("breeding_places", "boundary"):  # of what the stages found
            continue
        info = pyogrio.read_info(tmp_path / "e.gpkg", layer=name)
        assert info["features"] == 0
        assert list(info["fields"]) == list(told_tables(result)[name].columns.drop("geometry", errors="ignore"))
    assert pyogrio.read_info(tmp_path / "e.gpkg", layer="gaps")["geometry_type"] == "MultiPolygon"


def test_writing_leaves_the_settings_of_gdal(tmp_path: Path) -> None:
    names = ("OGR_CURRENT_DATE", "OGR_SQLITE_SYNCHRONOUS")
    before = [pyogrio.get_gdal_config_option(name) for name in names]
    write_geopackage(invented(), tmp_path / "a.gpkg")
    assert [pyogrio.get_gdal_config_option(name) for name in names] == before


# --- rasters


def test_a_raster_is_cloud_optimized_and_says_what_it_is(tmp_path: Path) -> None:
    values = invented().rasters["forage_lean"]
    path = tmp_path / "forage_lean.tif"
    path.write_bytes(exports.cog_bytes("forage_lean", values, GRID, CRS_UTM))
    with rasterio.open(path) as raster:
        assert raster.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert raster.dtypes == ("float32",)
        assert np.isnan(raster.nodata)
        assert raster.crs == rasterio.crs.CRS.from_epsg(32632)
        assert tuple(raster.transform)[:6] == GRID.transform
        assert np.array_equal(raster.read(1), values, equal_nan=True)
        assert raster.units == ("0-1",)
        assert "poorest month" in raster.descriptions[0]
        assert raster.tags()["unit"] == "0-1"


def test_large_rasters_have_overviews(tmp_path: Path) -> None:
    from habitatmap.geo.grid import Grid

    grid = Grid(0.0, 7000.0, 10.0, 700, 1100)
    path = tmp_path / "big.tif"
    path.write_bytes(exports.cog_bytes("forage_m", np.ones(grid.shape, np.float32), grid, CRS_UTM))
    with rasterio.open(path) as raster:
        assert raster.overviews(1)
        assert raster.block_shapes == [(512, 512)]
        assert raster.units == ("metre",)


@pytest.mark.parametrize("name", ["forage_m", "reach_now"])
def test_a_cell_of_an_overview_is_the_mean_of_the_known_among_its_four(tmp_path: Path, name: str) -> None:
    from habitatmap.geo.grid import Grid

    grid, drawn = Grid(0.0, 7000.0, 10.0, 704, 1104), np.random.default_rng(1)
    values = drawn.random(grid.shape, np.float32)
    values[drawn.random(grid.shape) < 0.4] = np.nan
    path = tmp_path / "big.tif"
    path.write_bytes(exports.cog_bytes(name, values, grid, CRS_UTM))
    finer = values
    for level in range(2):
        rows, cols = finer.shape
        four = finer.reshape(rows // 2, 2, cols // 2, 2)
        with rasterio.open(path, overview_level=level) as overview:
            finer = overview.read(1)
        known = np.isfinite(four).any(axis=(1, 3))
        assert np.array_equal(np.isfinite(finer), known)
        mean = np.nansum(four, axis=(1, 3))[known] / np.isfinite(four).sum(axis=(1, 3))[known]
        assert np.allclose(finer[known], mean, atol=1e-6)
        assert finer.shape == (rows // 2, cols // 2)
    with rasterio.open(path) as raster:
        assert raster.overviews(1) == [2, 4]
        assert np.array_equal(raster.read(1), values, equal_nan=True)


def test_a_text_that_comes_again_is_told_once() -> None:
    asked: list[object] = []

    def told(value: object) -> str:
        asked.append(value)
        return "-" if value is None else f"<{value}>"

    trees = pd.Series(["oak", "ash", None, "oak"] * 3, dtype="str")
    assert list(each(trees, told)) == ["<oak>", "<ash>", "-", "<oak>"] * 3
    assert asked == ["oak", "ash", None]
    assert list(each(pd.Series([1, 1]), told)) == ["<1>", "<1>"]
