"""Land cover: every cell has the class under its centre; what no table knows is counted, what proves none refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from shapely.geometry import LineString, Point, Polygon, box

from habitatmap.area import open_area
from habitatmap.errors import CrsError, InputError
from habitatmap.geo.grid import Grid
from habitatmap.read import land_cover as module
from habitatmap.read.formats.raster import raster_bounds
from habitatmap.read.land_cover import raster_values
from tests.areas import LEFT, TOP, area_folder, write_layer, write_raster
from tests.beside import real
from tests.examples import examples

WORLDCOVER = [[10, 30, 50], [80, 90, 10]]


def codes(folder: Path) -> NDArray[np.object_]:
    """The area's classes as codes, "" where there is no data."""
    cover = open_area(folder).land_cover
    assert cover is not None
    return np.array(["", *cover.table["code"]], dtype=object)[cover.classes]


def test_a_raster_on_the_grid_comes_through_cell_by_cell(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER)
    assert codes(tmp_path).tolist() == [["10", "30", "50"], ["80", "90", "10"]]
    assert open_area(tmp_path).land_cover.name == "worldcover"


def test_coarse_cells_are_cut_up_and_fine_ones_sampled(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, cell_m=20)
    assert codes(tmp_path).tolist() == np.kron(WORLDCOVER, np.ones((2, 2), int)).astype(str).tolist()
    area_folder(tmp_path / "fine", 'cell_m = 30\n[land_cover]\nclasses = "worldcover"')
    # 3 x 3 cells of 10 m each: the one under the centre of the 30 m cell counts
    write_raster(
        tmp_path / "fine" / "land_cover.tif", [[10, 10, 10], [10, 50, 10], [10, 90, 30]], origin=(510_000, 5_399_970)
    )
    assert codes(tmp_path / "fine").tolist() == [["50"]]


@pytest.mark.parametrize("nodata", [None, 0, 255])
def test_nodata_is_no_data_whatever_its_number(tmp_path: Path, nodata: int | None) -> None:
    values = np.array([[10, 30, 50, 80], [90, 10, nodata or 0, 60]])
    write_raster(tmp_path / "land_cover.tif", values, nodata=nodata)
    found = codes(tmp_path)
    assert found[1, 2] == ""  # the value 0 is "No data" in the table too
    assert (found != "").sum() == 7


def test_beyond_a_raster_without_nodata_value_lies_no_data(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, origin=(LEFT + 3, TOP - 3))
    found = codes(tmp_path)
    assert found.shape == (3, 4)  # one row and column more, as the raster does not lie on the grid's lines
    assert (found != "").sum() == 6


def test_floats_with_nan_are_classes_too(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", [[10.0, np.nan, 50.0], [80.0, 90.0, 10.0]], dtype="float32")
    assert codes(tmp_path).tolist() == [["10", "", "50"], ["80", "90", "10"]]


def test_several_rasters_lie_side_by_side(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover_a.tif", WORLDCOVER)
    write_raster(tmp_path / "land_cover_b.tif", [[60, 60, 90], [10, 20, 60]], origin=(LEFT + 30, TOP))
    assert codes(tmp_path).tolist() == [["10", "30", "50", "60", "60", "90"], ["80", "90", "10", "10", "20", "60"]]


@settings(deadline=None, max_examples=examples(15))
@given(tile=st.integers(1, 40), seed=st.integers(0, 9))
def test_law_tiles_change_nothing(tmp_path_factory: pytest.TempPathFactory, tile: int, seed: int) -> None:
    path = tmp_path_factory.mktemp("tiles") / "land_cover.tif"
    values = np.random.default_rng(seed).choice([10, 20, 50, 80], size=(31, 33))
    write_raster(path, values, cell_m=7)
    grid, crs = Grid.covering(LEFT - 20, TOP - 250, LEFT + 260, TOP + 20, 10), CRS.from_epsg(32632)
    answers = []
    for size in (1024, tile):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(module, "TILE_CELLS", size)
            found = raster_values(path, grid, crs, {})
        answers.append(np.array(["", *found.texts])[found.local])
    assert (answers[0] == answers[1]).all()


def test_each_cell_of_a_raster_in_degrees_has_the_value_under_its_centre() -> None:
    """Sao Tome, in EPSG:4326, against the exact transformation of every cell centre, one by one."""
    path = real("saotome/worldcover_saotome_2021.tif")
    crs = CRS.from_epsg(32632)
    west, south, east, north = raster_bounds(path, crs, {})
    assert east - west == pytest.approx(2000 * 9.28, rel=0.005)  # cell sizes as the data's README states them
    assert north - south == pytest.approx(2000 * 9.21, rel=0.005)
    grid = Grid.covering(west, south, east, north, 10)
    found = raster_values(path, grid, crs, {})
    rows, cols = (g.ravel() for g in np.meshgrid(np.arange(0, grid.rows, 7), np.arange(0, grid.cols, 7), indexing="ij"))
    x, y = grid.centre(rows, cols)
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(x, y)
    with rasterio.open(path) as raster:
        values, own = raster.read(1), raster.transform
    col, row = (lon - own.c) / own.a, (lat - own.f) / own.e
    inside = (col >= 0) & (col < 2000) & (row >= 0) & (row < 2000)
    expected = np.where(inside, values[np.clip(row, 0, 1999).astype(int), np.clip(col, 0, 1999).astype(int)], 0)
    got = np.array([0, *map(int, found.texts)])[found.local[rows, cols]]
    assert (got != expected).mean() < 1e-4  # a centre within a thousandth of a pixel of an edge may fall either way
    shares = {code: np.mean(np.array([0, *map(int, found.texts)])[found.local] == code) for code in (10, 80)}
    assert shares[80] == pytest.approx(2_156_692 / 4e6, abs=0.003)  # counts of the data's README
    assert shares[10] == pytest.approx(1_544_349 / 4e6, abs=0.003)


def test_helsinki_is_refused_without_its_legend_and_whole_with_it(tmp_path: Path) -> None:
    source = real("helsinki")
    (tmp_path / "land_cover.tif").write_bytes((source / "land_cover_corine20m.tif").read_bytes())
    with pytest.raises(InputError, match="which class table reads them"):
        open_area(tmp_path)
    lines = (source / "land_cover_legend_inferred.csv").read_text(encoding="utf-8").splitlines()[1:]
    rows = [(line.split(",")[0], line.split(",")[1]) for line in lines]
    legend = "".join(f"{value},CORINE {code},corine:{code}\n" for value, code in rows)
    area_folder(tmp_path, '[land_cover]\nclasses = "legend.csv"', legend=f"code,label,like\n{legend}")
    area = open_area(tmp_path)
    assert area.crs.to_epsg() == 3067
    assert area.grid.shape == (672, 608)
    assert area.land_cover.unmatched == []
    # 43.7 % nodata, as the data's README says
    assert (area.land_cover.classes == 0).mean() == pytest.approx(0.437, abs=0.0005)
    assert "SYKE" in area.credits[0]


# --- class tables ----------------------------------------------------------------------------------------------------


def test_corine_reads_raster_values_and_codes_alike(tmp_path: Path) -> None:
    toml = '[land_cover]\nclasses = "corine"'
    write_raster(area_folder(tmp_path / "values", toml) / "land_cover.tif", [[1, 10, 44]])
    write_raster(area_folder(tmp_path / "codes") / "land_cover.tif", [[111, 141, 523]], dtype="uint16")
    assert codes(tmp_path / "values").tolist() == codes(tmp_path / "codes").tolist() == [["111", "141", "523"]]


@pytest.mark.parametrize("values", [[[1, 2, 3, 40]], [[10, 20, 30, 40]], [[7, 99, 50]]])
def test_values_that_prove_no_table_are_refused_with_the_line_to_add(tmp_path: Path, values: list[list[int]]) -> None:
    write_raster(tmp_path / "land_cover.tif", values)
    with pytest.raises(
        InputError, match=r"land_cover.tif holds the classes .* add to area.toml: \[land_cover\] classes"
    ):
        open_area(tmp_path)


def test_the_files_tags_prove_a_table_that_has_all_its_values(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "land_cover.tif", [[10, 30]])
    with rasterio.open(path, "r+") as raster:
        raster.update_tags(source="ESA WorldCover 10 m 2021")
    assert codes(tmp_path).tolist() == [["10", "30"]]


def test_what_the_table_lacks_is_not_known_and_listed_with_its_share(tmp_path: Path) -> None:
    area_folder(tmp_path, '[land_cover]\nclasses = "worldcover"')
    write_raster(tmp_path / "land_cover.tif", [[10, 10, 10, 10, 10], [30, 30, 30, 7, 255]], nodata=255)
    area = open_area(tmp_path)
    assert area.land_cover.unmatched == [("7", pytest.approx(1 / 9))]
    assert area.land_cover.classes[1, 3] == 0


def test_more_than_a_fifth_not_known_is_refused(tmp_path: Path) -> None:
    area_folder(tmp_path, '[land_cover]\nclasses = "worldcover"')
    write_raster(tmp_path / "land_cover.tif", [[10, 10, 10, 7, 9]])
    with pytest.raises(
        InputError, match=r"40% of the cells hold values that the class table worldcover lacks \(7: 20%"
    ):
        open_area(tmp_path)
    write_raster(tmp_path / "land_cover.tif", [[10, 10, 10, 10, 9]])
    assert open_area(tmp_path).land_cover.unmatched == [("9", pytest.approx(0.2))]


# --- polygons and overlays -------------------------------------------------------------------------------------------


def square(col: float, row: float, width: float = 1, height: float = 1) -> Polygon:
    """A rectangle in cells of 10 m, from its top left corner."""
    return box(LEFT + 10 * col, TOP - 10 * (row + height), LEFT + 10 * (col + width), TOP - 10 * row)


def test_a_cell_belongs_where_its_centre_lies_and_the_smaller_polygon_is_on_top(tmp_path: Path) -> None:
    shapes = [square(1, 0), square(0, 0, 3, 1.4), square(2.6, 1)]
    write_layer(tmp_path / "land_cover.gpkg", shapes, tag=["leisure=park", "landuse=meadow", "natural=water"])
    found = codes(tmp_path)
    assert found.tolist() == [["landuse=meadow", "leisure=park", "landuse=meadow", ""], ["", "", "", "natural=water"]]


def test_polygons_by_label_and_rows_without_a_class(tmp_path: Path) -> None:
    area_folder(tmp_path, '[land_cover]\nclasses = "corine"\n[columns.land_cover]\nclass = "What"')
    shapes = [square(0, 0), square(1, 0), square(2, 0), square(3, 0), square(4, 0), square(5, 0)]
    write_layer(
        tmp_path / "land_cover.gpkg", shapes, type=["a"] * 6, What=["pastures", "141", "311", "511", "112", None]
    )
    area = open_area(tmp_path)
    assert codes(tmp_path).tolist() == [["231", "141", "311", "511", "112", ""]]
    assert area.ledger.counts()["land_cover"] == {"read": 6, "accepted": 5, "set_aside": 1}


def test_overlays_are_painted_in_the_order_of_their_names(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", [[10, 30, 50], [80, 90, 10]])
    (tmp_path / "overlays").mkdir()
    write_layer(tmp_path / "overlays" / "1.gpkg", [square(0, 0, 2)], code=[60])
    write_layer(tmp_path / "overlays" / "2.geojson", [square(1, 0, 1)], code=["leisure=park"])
    line = LineString([(LEFT + 1, TOP - 11), (LEFT + 12, TOP - 11)])
    write_layer(
        tmp_path / "overlays" / "3.gpkg", [line, Point(LEFT + 25, TOP - 15)], code=["barrier=hedge", "nowhere=else"]
    )
    assert codes(tmp_path).tolist() == [["60", "leisure=park", "50"], ["barrier=hedge", "barrier=hedge", "10"]]
    area = open_area(tmp_path)
    assert area.land_cover.name == "worldcover + osm"
    assert area.ledger.counts()["overlays"] == {"read": 4, "accepted": 3, "set_aside": 1}
    assert area.ledger.frame()["value"].tolist() == ["nowhere=else"]


def test_map_tags_over_a_raster_whose_table_is_stated(tmp_path: Path) -> None:
    area_folder(tmp_path, '[land_cover]\nclasses = "corine"')
    write_raster(tmp_path / "land_cover.tif", [[1, 10, 44]])
    write_layer(tmp_path / "land_cover.gpkg", [square(1, 0)], osm=["w1"], **{"class": ["leisure=park"]})
    assert codes(tmp_path).tolist() == [["111", "leisure=park", "523"]]


def test_an_overlay_without_a_class_column_is_of_the_class_its_file_is_named_after(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER)
    (tmp_path / "overlays").mkdir()
    write_layer(tmp_path / "overlays" / "shrubland.gpkg", [square(0, 0)])
    assert codes(tmp_path)[0].tolist() == ["20", "30", "50"]


# --- faults ----------------------------------------------------------------------------------------------------------


def test_a_raster_without_crs_is_refused_and_mended_by_one_line(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", WORLDCOVER, crs=None)
    with pytest.raises(CrsError, match=r'land_cover.tif .*\[source_crs\].*"land_cover.tif" = "EPSG'):
        open_area(tmp_path)
    area_folder(tmp_path, '[source_crs]\n"land_cover.tif" = "EPSG:32632"')
    assert open_area(tmp_path).crs.to_epsg() == 32632


def test_damaged_rasters_are_told_in_a_sentence(tmp_path: Path) -> None:
    path = write_raster(
        tmp_path / "land_cover.tif", np.tile(WORLDCOVER, (100, 100)), tiled=True, blockxsize=16, blockysize=16
    )
    whole = path.read_bytes()
    for length in (0, 60, len(whole) // 2, len(whole) - 300):
        path.write_bytes(whole[:length])
        with pytest.raises(InputError, match=r"land_cover\.tif can't be read as a raster") as fault:
            open_area(tmp_path)
        assert str(tmp_path) not in str(fault.value)


def test_a_picture_and_a_height_model_are_no_classes(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", np.arange(2000).reshape(40, 50), dtype="float32")
    with pytest.raises(InputError, match="more than 1000 different values"):
        open_area(tmp_path)


def test_a_link_that_hides_behind_the_ending_is_not_followed(tmp_path: Path) -> None:
    target = write_raster(tmp_path / "other.tif", WORLDCOVER)
    (tmp_path / "land_cover.tif").write_text(
        f'<VRTDataset rasterXSize="3" rasterYSize="2"><VRTRasterBand dataType="Byte" band="1"><SimpleSource>'
        f"<SourceFilename>{target}</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    with pytest.raises(InputError, match="can't be read as a raster"):
        open_area(tmp_path)
