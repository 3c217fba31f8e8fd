"""What cannot be used ends with one sentence and code 2; it names the file or key, and what to do."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.errors import NotGeoreferencedWarning
from shapely.geometry import box

from habitatmap.area import open_area
from habitatmap.errors import CrsError, HabitatmapError, InputError, LayerError
from tests.areas import LEFT, TOP, area_folder, write_layer, write_raster

POOLS = "pool,lat,lon\nA,60.17,24.94\n"
COVER = [[10, 30, 50], [80, 90, 10]]


def refusal(folder: Path, kind: type[HabitatmapError] = InputError) -> str:
    """The sentence of a folder that cannot be used; it names no folder of this machine."""
    with pytest.raises(kind) as fault:
        open_area(folder)
    assert fault.value.exit_code == 2
    text = str(fault.value)
    assert str(folder.parent) not in text
    assert "\n" not in text
    return text


def test_a_missing_folder(tmp_path: Path) -> None:
    assert "nowhere does not exist" in refusal(tmp_path / "nowhere")


def test_a_file_for_a_folder(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_text(POOLS)
    assert "pools.csv is a file; expected the area folder" in refusal(tmp_path / "pools.csv")


def test_an_empty_folder(tmp_path: Path) -> None:
    (tmp_path / "town").mkdir()
    assert "town is an empty folder; expected pools.csv or land_cover.tif" in refusal(tmp_path / "town")


def test_neither_pools_nor_land_cover(tmp_path: Path) -> None:
    area_folder(tmp_path, visits="pool,date\n", pool=POOLS)
    assert "neither pools.* nor land_cover.*" in (text := refusal(tmp_path))
    assert "did you mean pool.csv to be pools.csv?" in text


def test_an_unknown_key_names_the_nearest(tmp_path: Path) -> None:
    area_folder(tmp_path, "cell = 10", pools=POOLS)
    assert refusal(tmp_path) == "area.toml: cell is not a known key; did you mean cell_m?"


@pytest.mark.parametrize(
    ("crs", "says"),
    [
        ("EPSG:4326", "is geographic"),
        ("EPSG:2263", "not in metres"),  # New York Long Island, US survey feet
        ("EPSG:4978", "not a projected system"),
        ("Mars", "is not a known coordinate reference system"),
    ],
)
def test_a_crs_that_measures_no_metres(tmp_path: Path, crs: str, says: str) -> None:
    area_folder(tmp_path, f'crs = "{crs}"', pools=POOLS)
    text = refusal(tmp_path, CrsError)
    assert says in text
    assert "area.toml" in text


def test_a_crs_whose_metres_are_far_off(tmp_path: Path) -> None:
    """Web Mercator stretches by 1 / cos(60.17 degrees) = 2.01 here."""
    area_folder(tmp_path, 'crs = "EPSG:3857"', pools=POOLS)
    assert "a metre is off by 101%" in refusal(tmp_path, CrsError)


def test_land_cover_without_a_system(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", COVER, crs=None)
    assert '"land_cover.tif" = "EPSG:' in refusal(tmp_path, CrsError)


def test_polygons_without_a_system(tmp_path: Path) -> None:
    write_layer(tmp_path / "land_cover.shp", [box(0, 0, 9, 9)], crs=None, code=["leisure=park"])
    assert '"land_cover.shp" = "EPSG:' in refusal(tmp_path, CrsError)


def test_a_system_that_is_none_in_source_crs(tmp_path: Path) -> None:
    area_folder(tmp_path, '[source_crs]\n"land_cover.tif" = "EPSG:0"')
    write_raster(tmp_path / "land_cover.tif", COVER, crs=None)
    assert '"EPSG:0" is not a known' in refusal(tmp_path, CrsError)


def test_metres_of_no_system(tmp_path: Path) -> None:
    area_folder(tmp_path, pools="pool,x,y\nA,385700,6672127\n")
    text = refusal(tmp_path, CrsError)
    assert "pools.csv" in text
    assert "[source_crs]" in text


def test_no_valid_cell(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", np.zeros((4, 4)), nodata=0)
    assert "land_cover.tif: no cell of the area has land cover" in refusal(tmp_path)


def test_no_valid_cell_inside_the_boundary(tmp_path: Path) -> None:
    values = np.full((60, 60), 10)
    values[:, 30:] = 255
    area_folder(tmp_path, '[land_cover]\nclasses = "worldcover"')
    write_raster(tmp_path / "land_cover.tif", values, nodata=255)
    write_layer(tmp_path / "boundary.gpkg", [box(LEFT + 400, TOP - 500, LEFT + 500, TOP - 100)])
    assert "no cell inside the boundary has land cover" in refusal(tmp_path)
    write_layer(tmp_path / "boundary.gpkg", [box(LEFT + 90_000, TOP, LEFT + 91_000, TOP + 1000)])
    assert "wholly outside the boundary" in refusal(tmp_path)


def test_a_raster_cut_off_on_its_way(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "land_cover.tif", np.tile(COVER, (300, 300)))
    path.write_bytes(path.read_bytes()[:200_000])
    assert "land_cover.tif can't be read as a raster, it may be cut off or damaged" in refusal(tmp_path)


def test_a_raster_that_lies_nowhere(tmp_path: Path) -> None:
    profile = {"driver": "GTiff", "width": 3, "height": 2, "count": 1, "dtype": "uint8", "crs": "EPSG:32632"}
    with pytest.warns(NotGeoreferencedWarning), rasterio.open(tmp_path / "land_cover.tif", "w", **profile) as raster:
        raster.write(np.array(COVER, dtype="uint8"), 1)
    assert "does not say where it lies" in refusal(tmp_path)


def test_a_land_cover_file_that_is_not_there(tmp_path: Path) -> None:
    area_folder(tmp_path, '[land_cover]\nfile = "land_cover.tiff"')
    write_raster(tmp_path / "land_cover.tif", COVER)
    assert "land_cover.file is land_cover.tiff, which is not in the folder; did you mean land_cover.tif?" in refusal(
        tmp_path
    )


def test_a_class_table_that_is_not_there(tmp_path: Path) -> None:
    area_folder(tmp_path, '[land_cover]\nclasses = "worldcove"')
    write_raster(tmp_path / "land_cover.tif", COVER)
    assert "did you mean worldcover?" in refusal(tmp_path, LayerError)


def test_a_stated_heading_that_no_layer_has(tmp_path: Path) -> None:
    area_folder(tmp_path, '[columns.land]\nconsent = "Erlaubniss"')
    write_raster(tmp_path / "land_cover.tif", COVER)
    write_layer(tmp_path / "land.gpkg", [box(LEFT, TOP - 20, LEFT + 30, TOP)], Erlaubnis=["ja"])
    text = refusal(tmp_path)
    assert '[columns.land] says that consent stands under "Erlaubniss", but land.gpkg has only: Erlaubnis' in text


def test_no_row_with_a_place(tmp_path: Path) -> None:
    area_folder(tmp_path, pools="pool,lat,lon\nA,,\n")
    assert "no row of any input has a place" in refusal(tmp_path)
    area_folder(tmp_path, 'crs = "EPSG:25832"')
    assert "no input has a place" in refusal(tmp_path)


def test_zero_pools_beside_land_cover_are_a_result(tmp_path: Path) -> None:
    area_folder(tmp_path, pools="pool,lat,lon\n")
    write_raster(tmp_path / "land_cover.tif", COVER)
    area = open_area(tmp_path)
    assert len(area.pools) == 0
    assert "pools" in area.has


def test_a_consent_that_ran_out_is_asked_for_again(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", COVER)
    ground = box(LEFT, TOP - 20, LEFT + 30, TOP)
    write_layer(tmp_path / "land.gpkg", [ground], name=["Park"], consent=["yes"], until=["2024-12-31"])
    assert open_area(tmp_path, datetime.date(2024, 12, 31)).land["consent"].tolist() == ["yes"]
    late = open_area(tmp_path, datetime.date(2025, 1, 1))
    assert late.land["consent"].tolist() == ["ask"]
    assert any("expired 2024-12-31" in remark for remark in late.ledger.remarks)


def test_pools_outside_the_raster_are_accepted(tmp_path: Path) -> None:
    area_folder(tmp_path, pools=POOLS)
    write_raster(tmp_path / "land_cover.tif", COVER)
    area = open_area(tmp_path)
    assert area.ledger.counts()["pools"] == {"read": 1, "accepted": 1, "set_aside": 0}
