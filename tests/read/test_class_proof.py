"""Which class table reads a raster: what its labels, colours, name and values prove, and what is said against it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from habitatmap.area import open_area
from habitatmap.errors import InputError
from habitatmap.read.class_proof import By, Evidence, Proof, contradictions, find_proof
from habitatmap.read.formats.raster import Colour, raster_colours, raster_labels
from habitatmap.read.land_cover import CoverDoubt
from habitatmap.read.layers import load_class_table
from habitatmap.words.land_cover import cover_doubts
from tests.areas import LEFT, TOP, area_folder, csv_text, write_raster
from tests.beside import real

# colours of the legends as their makers publish them (European Environment Agency; ESA WorldCover product user manual)
GREEN_URBAN, ARABLE, CONTINUOUS = (255, 166, 255), (255, 255, 168), (230, 0, 77)


def evidence(cells: dict[str, int], hints: str = "land_cover.tif", **own: dict[str, object]) -> Evidence:
    labels = {value: str(label) for value, label in own.get("labels", {}).items()}
    colours = {value: Colour(*colour) for value, colour in own.get("colours", {}).items()}  # type: ignore[misc]
    return Evidence("land_cover.tif", cells, hints, labels, colours)


def test_colours_prove_a_legend_numbered_from_1() -> None:
    cells = {"1": 60, "10": 30, "12": 10}
    own = {"1": CONTINUOUS, "10": GREEN_URBAN, "12": ARABLE}
    assert find_proof(evidence(cells, colours=own)) == Proof("corine", By.COLOURS)
    assert find_proof(evidence(cells)) is None
    # a program rounded them; black, which stands for no colour, tells nothing
    off = {"1": (229, 0, 76), "10": (254, 165, 254), "12": (0, 0, 0)}
    assert find_proof(evidence(cells, colours=off)) == Proof("corine", By.COLOURS)


def test_colours_of_other_numbers_prove_nothing_whatever_the_file_is_called() -> None:
    """National versions have the colours of the European legend and numbers of their own."""
    found = evidence({"111": 60, "141": 40}, "corine", colours={"111": CONTINUOUS, "141": ARABLE})
    assert find_proof(found) is None
    assert find_proof(evidence({"111": 60, "141": 40}, "corine")) == Proof("corine", By.NAME)


def test_labels_prove_a_table_and_count_before_colours() -> None:
    own = {"1": "Continuous urban fabric", "12": "NON-IRRIGATED arable land"}
    found = evidence({"1": 5, "12": 5}, labels=own, colours={"1": GREEN_URBAN, "12": CONTINUOUS})
    assert find_proof(found) == Proof("corine", By.LABELS)
    assert find_proof(evidence({"1": 5, "12": 5}, labels={"1": "Forest", "12": "Lakes"})) is None


def test_values_prove_only_a_table_that_no_other_is_like() -> None:
    assert find_proof(evidence({"10": 1, "30": 1, "50": 1})) == Proof("worldcover", By.VALUES)
    assert find_proof(evidence({"10": 1, "30": 1})) is None
    assert find_proof(evidence({"1": 1, "2": 1, "3": 1, "40": 1}, "corine.tif")) is None


def test_what_the_colours_say_against_a_stated_table() -> None:
    found = evidence({"1": 60, "12": 40}, colours={"1": CONTINUOUS, "12": GREEN_URBAN})
    (one,) = contradictions(found, load_class_table("corine"))
    assert (one.value, one.share) == ("12", 0.4)
    assert (one.used, one.own) == ("Non-irrigated arable land", "Green urban areas")


def test_a_legend_of_ones_own_that_the_colours_bear_out_is_not_doubted(tmp_path: Path) -> None:
    found = evidence({"1": 60, "12": 40}, colours={"1": CONTINUOUS, "12": GREEN_URBAN})
    for like, expected in (("141", []), ("211", ["12"])):
        path = tmp_path / "legend.csv"
        path.write_text(f"code,label,like\n1,Town,corine:111\n12,Green,corine:{like}\n", encoding="utf-8")
        assert [one.value for one in contradictions(found, load_class_table(path))] == expected


SIDECAR = """<PAMDataset><PAMRasterBand band="1">{}</PAMRasterBand></PAMDataset>"""
ATTRIBUTES = """<GDALRasterAttributeTable tableType="thematic">
<FieldDefn index="0"><Name>Value</Name><Type>0</Type><Usage>5</Usage></FieldDefn>
<FieldDefn index="1"><Name>LABEL1</Name><Type>2</Type><Usage>0</Usage></FieldDefn>
<FieldDefn index="2"><Name>LABEL3</Name><Type>2</Type><Usage>0</Usage></FieldDefn>
<Row index="0"><F>1</F><F>Artificial</F><F>Continuous urban fabric</F></Row>
<Row index="1"><F>2</F><F>Artificial</F><F>Discontinuous urban fabric</F></Row>
</GDALRasterAttributeTable>"""
CATEGORIES = """<CategoryNames><Category></Category><Category>Continuous urban fabric</Category>
<Category>Discontinuous urban fabric</Category></CategoryNames>"""


@pytest.mark.parametrize("own", [ATTRIBUTES, CATEGORIES], ids=["attribute table", "category names"])
def test_labels_are_read_from_the_raster_and_prove_its_table(tmp_path: Path, own: str) -> None:
    path = write_raster(tmp_path / "land_cover.tif", [[1, 2, 2]])
    Path(f"{path}.aux.xml").write_text(SIDECAR.format(own), encoding="utf-8")
    assert raster_labels(path) == {"1": "Continuous urban fabric", "2": "Discontinuous urban fabric"}
    cover = open_area(tmp_path).land_cover
    assert cover
    assert (cover.name, cover.doubts) == ("corine", ())


def test_colours_are_read_from_the_raster_and_prove_its_table(tmp_path: Path) -> None:
    path = write_raster(tmp_path / "land_cover.tif", [[1, 10, 10]])
    with rasterio.open(path, "r+") as raster:
        raster.write_colormap(1, {1: (*CONTINUOUS, 255), 10: (*GREEN_URBAN, 255)})
    assert raster_colours(path)["10"] == GREEN_URBAN
    assert open_area(tmp_path).land_cover.name == "corine"  # type: ignore[union-attr]


def told(folder: Path) -> dict[CoverDoubt, str]:
    cover = open_area(folder).land_cover
    assert cover
    return dict(zip((CoverDoubt(one.code) for one in cover.doubts), map(str, cover_doubts(cover.doubts)), strict=True))


def test_what_is_doubtful_is_told_with_its_share(tmp_path: Path) -> None:
    values = np.full((10, 10), 10)
    values[0, :4] = 30
    values[0, 4:6] = 50
    values[0, 6] = 7
    write_raster(area_folder(tmp_path, '[land_cover]\nclasses = "worldcover"') / "land_cover.tif", values, cell_m=100)
    assert told(tmp_path) == {
        CoverDoubt.COARSE: "land_cover.tif has cells of 100 m, mapped at 10 m: nothing smaller than its cells is known "
        "of the land.",
        CoverDoubt.UNMATCHED: "What the land is worth is not known for 1.0 % of the cells: the class table "
        "“worldcover” lacks 7.",
        CoverDoubt.ONE_CLASS: "93 % of the cells are of one class, “Tree cover”: check the class table, as such land "
        "cover tells little.",
    }


def test_values_alone_are_told_and_trees_on_the_sea(tmp_path: Path) -> None:
    values = np.full((10, 10), 80)
    values[:5] = 10
    values[0, 0] = 30
    rows = [(LEFT + 5 + 10 * k, TOP - y, "Tilia") for k in range(10) for y in (55, 65, 15)]
    write_raster(area_folder(tmp_path, trees=csv_text("x,y,genus", rows)) / "land_cover.tif", values)
    (tmp_path / "area.toml").write_text('crs = "EPSG:32632"', encoding="utf-8")
    found = told(tmp_path)
    assert set(found) == {CoverDoubt.BY_VALUES, CoverDoubt.PLACES_ON_WATER}
    assert found[CoverDoubt.PLACES_ON_WATER].startswith("67 % of the trees")


def test_helsinki_read_by_the_numbers_of_the_european_legend_is_doubted(tmp_path: Path) -> None:
    """The national raster has the European colours under its own numbers (README beside the data)."""
    area_folder(tmp_path, '[land_cover]\nclasses = "corine"')
    (tmp_path / "land_cover.tif").write_bytes(real("helsinki/land_cover_corine20m.tif").read_bytes())
    found = told(tmp_path)
    assert "12 is taken for “Non-irrigated arable land” and is “Green urban areas”" in found[CoverDoubt.CONTRADICTED]
    assert CoverDoubt.COARSE in found
    assert CoverDoubt.UNMATCHED in found


def test_sao_tome_is_proven_by_its_colours() -> None:
    path = real("saotome/worldcover_saotome_2021.tif")
    found = Evidence(path.name, {"10": 1, "30": 1, "80": 2}, "", {}, raster_colours(path))
    assert find_proof(found) == Proof("worldcover", By.COLOURS)


def test_no_proof_is_a_sentence_with_the_line_to_add(tmp_path: Path) -> None:
    write_raster(tmp_path / "land_cover.tif", [[1, 2, 3]])
    with pytest.raises(InputError, match=r'add to area.toml: \[land_cover\] classes = one of "corine", "osm", "worldc'):
        open_area(tmp_path)
