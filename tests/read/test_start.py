"""Starting an area folder: whole or not at all, the same bytes from the same inputs, and readable at once."""

from __future__ import annotations

import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from click.testing import CliRunner
from rasterio.transform import from_origin

from habitatmap.area import open_area
from habitatmap.cli import new as command_new
from habitatmap.cli.main import commands
from habitatmap.errors import HabitatmapError, InputError, UnprovenClassesError
from habitatmap.geo.crs import to_lonlat
from habitatmap.read.osm import CREDIT
from habitatmap.read.settings import read_settings
from habitatmap.read.start import Given, new_area, new_demo
from tests.beside import real
from tests.read.osm_tools import Sheet


@pytest.fixture
def village(tmp_path: Path) -> Path:
    """A park with a playground and a tree among homes, at 10 E 50 N."""
    sheet = Sheet(tmp_path / "village.osm.pbf")
    sheet.square(10, 50, 0.004, landuse="residential")
    sheet.square(10.001, 50.001, 0.001, leisure="park", name="Green")
    sheet.square(10.0012, 50.0012, 0.0002, leisure="playground")
    sheet.node(10.0018, 50.0018, natural="tree", genus="Tilia")
    refs = [sheet.node(10, 50.0045), sheet.node(10.004, 50.0045)]
    sheet.way(refs, highway="residential", name="Mint Lane")
    sheet.node(10.002, 50.0044, **{"addr:street": "Mint Lane", "addr:housenumber": "3"})
    sheet.read()
    return sheet.path


def raster(path: Path, crs: str | None = "EPSG:32632", west: float = 571_000, north: float = 5_540_000) -> Path:
    """100 x 100 cells of 10 m (or of 0.0001 degrees), half grassland, half built-up; a copyright in its tags."""
    cell = 0.0001 if crs == "EPSG:4326" else 10
    profile = {"driver": "GTiff", "dtype": "uint8", "count": 1, "nodata": 0, "width": 100, "height": 100}
    values = np.full((100, 100), 30, dtype=np.uint8)
    values[50:] = 50
    with rasterio.open(path, "w", crs=crs, transform=from_origin(west, north, cell, cell), **profile) as out:
        out.write(values, 1)
        out.update_tags(attribution="the makers of worldcover", licence="CC BY 4.0")
    return path


def test_from_an_extract_alone(village: Path, tmp_path: Path) -> None:
    said: list[str] = []
    new_area(tmp_path / "mine", Given(osm=village), said.append)
    assert sorted(p.name for p in (tmp_path / "mine").iterdir()) == [
        "addresses.gpkg", "area.toml", "boundary.gpkg", "consent.xlsx", "keep_away.gpkg", "land.gpkg",
        "land_cover.gpkg", "names.gpkg", "paths.gpkg", "pools.xlsx", "trees.gpkg", "visits.xlsx",
    ]  # fmt: skip
    settings = read_settings(tmp_path / "mine")
    assert (settings.title, settings.crs, settings.land_cover.classes) == ("mine", "EPSG:32632", "osm")
    assert settings.credits == [CREDIT]
    assert said[0].startswith("Reference system: EPSG:32632")


def test_the_new_folder_opens(village: Path, tmp_path: Path) -> None:
    new_area(tmp_path / "mine", Given(osm=village))
    area = open_area(tmp_path / "mine")
    counts = {kind: n["accepted"] for kind, n in area.ledger.counts().items()}
    assert (counts["trees"], counts["land"], counts["keep_away"]) == (1, 2, 2)
    assert dict(zip(area.land["kind"], area.land["private"], strict=True)) == {"homes": "yes", "park": "no"}
    assert dict(zip(area.keep_away["kind"], area.keep_away["distance_m"], strict=True)) == {"playground": 50, "road": 5}
    assert area.paths["name"].tolist() == ["Mint Lane"]
    (tmp_path / "mine" / "pools_more.csv").write_text("pool,address\nA,Mint Lane 3\n", encoding="utf-8")
    pool = open_area(tmp_path / "mine").pools.iloc[0]
    assert (pool["uncertainty_m"], pool["private"]) == (10, "yes")
    assert to_lonlat([pool["x"]], [pool["y"]], area.crs) == (pytest.approx([10.002]), pytest.approx([50.0044]))
    assert area.land_cover is not None
    labels = set(area.land_cover.table["label"].iloc[np.unique(area.land_cover.classes)[1:] - 1])
    assert labels == {"Homes and gardens", "Park", "Playground"}


def test_homes_give_way_to_the_park_among_them(village: Path, tmp_path: Path) -> None:
    new_area(tmp_path / "mine", Given(osm=village))
    land = gpd.read_file(tmp_path / "mine" / "land.gpkg").set_index("kind").geometry
    assert land["homes"].intersection(land["park"]).area < 1
    assert land["homes"].area == pytest.approx(15 * land["park"].area, rel=0.01)
    assert land["park"].area == pytest.approx(land["park"].convex_hull.area)


def test_a_reserve_lies_over_the_land_of_others(village: Path, tmp_path: Path) -> None:
    sheet = Sheet(tmp_path / "reserve.osm.pbf")
    sheet.square(10, 50, 0.002, leisure="nature_reserve", name="Fen")
    sheet.square(10.001, 50, 0.002, natural="wood")
    sheet.read()
    new_area(tmp_path / "mine", Given(osm=sheet.path))
    land = gpd.read_file(tmp_path / "mine" / "land.gpkg").set_index("kind").geometry
    shared = land["nature reserve"].intersection(land["wood"]).area
    assert shared == pytest.approx(land["nature reserve"].area / 2, rel=0.01)


def test_the_same_inputs_give_the_same_bytes(village: Path, tmp_path: Path) -> None:
    new_area(tmp_path / "a" / "mine", Given(osm=village))
    new_area(tmp_path / "b" / "mine", Given(osm=village))
    for path in sorted((tmp_path / "a" / "mine").iterdir()):
        assert path.read_bytes() == (tmp_path / "b" / "mine" / path.name).read_bytes(), path.name


def test_a_raster_takes_the_place_of_the_tags_and_gives_the_system(village: Path, tmp_path: Path) -> None:
    new_area(tmp_path / "mine", Given(osm=village, land_cover=raster(tmp_path / "cover.tif", crs="EPSG:25832")))
    names = {p.name for p in (tmp_path / "mine").iterdir()}
    assert "land_cover.tif" in names
    assert "land_cover.gpkg" not in names
    settings = read_settings(tmp_path / "mine")
    assert settings.crs == "EPSG:25832"
    assert settings.credits == [CREDIT, "the makers of worldcover, CC BY 4.0"]


def test_a_raster_is_cut_to_the_place_with_its_cells_untouched(tmp_path: Path) -> None:
    """A boundary of 200 x 200 m and 3 km around it leave 620 of the 900 columns."""
    path = tmp_path / "cover.tif"
    values = np.random.default_rng(3).integers(1, 5, (900, 900)).astype(np.uint8) * 10
    with rasterio.open(
        path, "w", driver="GTiff", dtype="uint8", count=1, width=900, height=900, nodata=0,
        crs="EPSG:32632", transform=from_origin(500_000, 5_509_000, 10, 10),
    ) as out:  # fmt: skip
        out.write(values, 1)
    outline = gpd.GeoDataFrame(geometry=[shapely.box(504_000, 5_504_000, 504_200, 5_504_200)], crs="EPSG:32632")
    outline.to_file(tmp_path / "outline.gpkg")
    new_area(tmp_path / "mine", Given(land_cover=path, classes="worldcover", boundary=tmp_path / "outline.gpkg"))
    with rasterio.open(tmp_path / "mine" / "land_cover.tif") as part:
        assert part.bounds == (501_000, 5_501_000, 507_200, 5_507_200)
        np.testing.assert_array_equal(part.read(1), values[180:800, 100:720])
        assert part.nodata == 0


def test_a_raster_in_degrees_gets_a_system_in_metres(tmp_path: Path) -> None:
    new_area(tmp_path / "mine", Given(land_cover=raster(tmp_path / "cover.tif", "EPSG:4326", 6.7, 0.4)))
    assert read_settings(tmp_path / "mine").crs == "EPSG:32632"
    assert open_area(tmp_path / "mine").land_cover is not None


def test_an_invalid_boundary_is_made_valid(village: Path, tmp_path: Path) -> None:
    bow = shapely.Polygon([(10, 50), (10.004, 50.004), (10.004, 50), (10, 50.004)])
    assert not bow.is_valid
    gpd.GeoDataFrame(geometry=[bow], crs="EPSG:4326").to_file(tmp_path / "outline.geojson")
    new_area(tmp_path / "mine", Given(osm=village, boundary=tmp_path / "outline.geojson"))
    shape = gpd.read_file(tmp_path / "mine" / "boundary.gpkg").geometry.iloc[0]
    assert shape.is_valid
    assert shape.geom_type == "MultiPolygon"


def test_an_empty_folder_is_filled_and_a_full_one_left_alone(village: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    new_area(tmp_path / "mine", Given(osm=village))
    before = sorted(p.name for p in (tmp_path / "mine").iterdir())
    with pytest.raises(InputError, match="exists already and is not empty"):
        new_area(tmp_path / "mine", Given(osm=village))
    assert sorted(p.name for p in (tmp_path / "mine").iterdir()) == before


def test_a_fault_leaves_nothing_behind(village: Path, tmp_path: Path) -> None:
    far = raster(tmp_path / "far.tif", "EPSG:4326", 6.7, 0.4)
    before = sorted(p.name for p in tmp_path.iterdir())
    with pytest.raises(InputError, match=r"far\.tif does not cover the area"):
        new_area(tmp_path / "mine", Given(osm=village, land_cover=far))
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_the_stamp_of_other_files_is_left_as_it_was(village: Path, tmp_path: Path) -> None:
    new_area(tmp_path / "mine", Given(osm=village))
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_the_demo_town_is_copied_without_its_script(tmp_path: Path) -> None:
    new_demo(tmp_path / "town")
    names = {p.name for p in (tmp_path / "town").iterdir()}
    assert {"area.toml", "land_cover.tif", "pools.csv", "visits.csv", "overlays"} <= names
    assert not {"make_demo.py", "out", "__pycache__"} & names
    assert open_area(tmp_path / "town").settings.title == "Quendelfurt (invented)"


def test_wrong_calls_get_a_sentence(village: Path, tmp_path: Path) -> None:
    text = tmp_path / "note.txt"
    text.write_text("no map")
    cases: list[tuple[dict[str, Path | bool], str]] = [
        ({"boundary": text}, "boundary alone makes no map"),
        ({"osm": village, "classes": "corine"}, "give it with --land-cover"),
        ({"land_cover": raster(tmp_path / "cover.tif"), "classes": "corin"}, "did you mean corine"),
        ({"land_cover": raster(tmp_path / "cover.tif"), "classes": "none.csv"}, "does not exist"),
        ({"land_cover": raster(tmp_path / "cover.tif"), "classes": "corine"}, "50% of the cells hold values"),
        ({"osm": tmp_path / "none.pbf"}, "does not exist"),
        ({"osm": text}, "cannot be read as an OpenStreetMap extract"),
        ({"land_cover": text}, "is no raster"),
        ({"osm": village, "boundary": text}, "note.txt cannot be read as a boundary"),
        ({"land_cover": raster(tmp_path / "bare.tif", crs=None)}, "does not say its reference system"),
    ]
    for call, sentence in cases:
        with pytest.raises(HabitatmapError, match=sentence):
            new_area(tmp_path / "mine", Given(**call))  # type: ignore[arg-type]
        assert not (tmp_path / "mine").exists()


def test_an_extract_without_anything_in_it(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path / "bare.osm.pbf")
    sheet.node(10, 50, amenity="bench")
    sheet.read()
    with pytest.raises(InputError, match="holds nothing that an area can use"):
        new_area(tmp_path / "mine", Given(osm=sheet.path))


def test_what_the_extract_lacks_is_kept_in_the_folder(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path / "cut.osm.pbf")
    sheet.square(10, 50, leisure="park")
    sheet.square(10.01, 50, leisure="park")
    sheet.square(10.02, 50, landuse="a\n\x01[plan]")
    sheet.read(without_nodes=(7,))
    new_area(tmp_path / "mine", Given(osm=sheet.path))
    text = (tmp_path / "mine" / "area.toml").read_text(encoding="utf-8")
    assert "# - Areas cut by the edge of the extract" in text
    assert "landuse=a [plan] (1)" in text
    assert read_settings(tmp_path / "mine").plan.pools == 10


def test_area_toml_holds_any_name(village: Path, tmp_path: Path) -> None:
    folder = tmp_path / 'Ö "quoted" \\ back'
    new_area(folder, Given(osm=village))
    assert tomllib.loads((folder / "area.toml").read_text(encoding="utf-8"))["title"] == folder.name


def unproven(path: Path) -> Path:
    """100 x 100 cells of the values 1, 2 and 3, at 10 E 50 N."""
    values = np.repeat([1, 2, 3], [3000, 3000, 4000]).reshape(100, 100).astype(np.uint8)
    profile = {"driver": "GTiff", "dtype": "uint8", "count": 1, "nodata": 0, "width": 100, "height": 100}
    with rasterio.open(
        path, "w", crs="EPSG:32632", transform=from_origin(571_000, 5_540_000, 10, 10), **profile
    ) as out:
        out.write(values, 1)
    return path


def test_a_raster_that_proves_no_class_table_is_refused_until_one_is_stated(village: Path, tmp_path: Path) -> None:
    cover = unproven(tmp_path / "cover.tif")
    with pytest.raises(UnprovenClassesError, match=r"holds the classes 1, 2, 3.*--classes with one of corine, worldc"):
        new_area(tmp_path / "mine", Given(osm=village, land_cover=cover))
    assert not (tmp_path / "mine").exists()
    new_area(tmp_path / "mine", Given(osm=village, land_cover=cover, classes="corine"))
    assert read_settings(tmp_path / "mine").land_cover.classes == "corine"
    legend = tmp_path / "my legend.csv"
    legend.write_text("code,label,like\n1,Town,corine:111\n2,Park,corine:141\n3,Sea,corine:523\n", encoding="utf-8")
    new_area(tmp_path / "yours", Given(osm=village, land_cover=cover, classes=str(legend)))
    assert (tmp_path / "yours" / "classes.csv").read_bytes() == legend.read_bytes()
    assert open_area(tmp_path / "yours").land_cover.name == "classes.csv"  # type: ignore[union-attr]


def test_on_a_terminal_the_class_table_is_chosen_from_a_list(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cover = unproven(tmp_path / "cover.tif")
    words = ["new", str(tmp_path / "mine"), "--land-cover", str(cover)]
    alone = CliRunner().invoke(commands, words)
    assert isinstance(alone.exception, UnprovenClassesError) or alone.exit_code == 2
    monkeypatch.setattr(command_new, "is_a_terminal", lambda: True)
    asked = CliRunner().invoke(commands, words, input="1\n")
    assert asked.exit_code == 0, asked.output
    assert "  1  corine" in asked.output
    assert read_settings(tmp_path / "mine").land_cover.classes == "corine"


def test_the_demo_is_copied_as_it_is(village: Path, tmp_path: Path) -> None:
    done = CliRunner().invoke(commands, ["new", str(tmp_path / "mine"), "--demo", "--osm", str(village)])
    assert "leave out --osm" in f"{done.output} {done.exception}"
    assert not (tmp_path / "mine").exists()


def test_the_extracts_box_as_far_as_it_has_data_is_the_boundary(tmp_path: Path) -> None:
    """A triangle of a park and a lane within a box twice as wide; a river leads far beyond it."""
    sheet = Sheet(tmp_path / "box.osm.pbf")
    sheet.square(10.0, 50, 0.01, leisure="park")
    sheet.way([sheet.node(10.0, 50.01), sheet.node(10.01, 50.0)], highway="residential")
    sheet.way([sheet.node(10.005, 50.005), sheet.node(10.005, 55)], waterway="stream")
    sheet.read(box=(10.0, 50.0, 10.02, 50.01))
    said: list[str] = []
    new_area(tmp_path / "mine", Given(osm=sheet.path), said.append)
    bounds = gpd.read_file(tmp_path / "mine" / "boundary.gpkg").to_crs(4326).total_bounds
    assert bounds == pytest.approx([10.0, 50.0, 10.01, 50.01], abs=1e-4)
    assert any(line.startswith("boundary: ") and "--boundary" in line for line in said)


def test_helsinki_keeps_the_system_of_its_raster(tmp_path: Path) -> None:
    """The clip gives a definition without a code; it is EPSG:3067 to the last number. Nothing proves its legend."""
    pbf, cover = real("helsinki/helsinki.osm.pbf"), real("helsinki/land_cover_corine20m.tif")
    with pytest.raises(UnprovenClassesError, match="--classes"):
        new_area(tmp_path / "helsinki", Given(osm=pbf, land_cover=cover))
    said: list[str] = []
    new_area(tmp_path / "helsinki", Given(osm=pbf, land_cover=cover, classes="corine"), said.append)
    assert any("the file's own labels or colours say another class" in line for line in said)
    assert read_settings(tmp_path / "helsinki").crs == "EPSG:3067"
    assert len(gpd.read_file(tmp_path / "helsinki" / "trees.gpkg")) == 649


def test_land_cover_ends_at_the_extracts_box(tmp_path: Path) -> None:
    """A river or a forest may lead far beyond it, where everything else is missing."""
    sheet = Sheet(tmp_path / "forest.osm.pbf")
    sheet.square(10, 50, 0.1, natural="wood")
    sheet.read(box=(10.04, 50.04, 10.06, 50.06))
    new_area(tmp_path / "mine", Given(osm=sheet.path))
    for name in ("land_cover", "land"):
        bounds = gpd.read_file(tmp_path / "mine" / f"{name}.gpkg").to_crs(4326).total_bounds
        assert bounds == pytest.approx([10.04, 50.04, 10.06, 50.06], abs=1e-4)
