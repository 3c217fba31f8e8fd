"""The account of a check: what needs a look, how it is grouped, and that every reason leads to its explanation."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import shapely

from habitatmap.area import area_or_account, open_area
from habitatmap.errors.why import Why
from habitatmap.read.corrections import write_fixes
from habitatmap.read.intake import take_in
from habitatmap.reports import check as check_module
from habitatmap.reports.check import MOST_ROWS, ROWS_NAMED, check, check_page, check_text
from habitatmap.words import inputs as inputs_module
from habitatmap.words.catalogue import catalogue
from habitatmap.words.explained import explanations
from tests.areas import CRS, area_folder, write_layer, write_raster
from tests.words.spoken import OTHERS, recorder, same_texts, templates_in

TOML = f'crs = "{CRS}"\nas_of = 2025-10-01\n'
POOLS = "pool,x,y,set_out\nA,500050,5399950,2025-04-01\nB,500060,5399950,22.04.2025\n"
SQUARE = shapely.box(500_000, 5_399_900, 500_100, 5_400_000)


def test_a_clean_folder_needs_no_look(tmp_path: Path) -> None:
    found = check(open_area(area_folder(tmp_path, TOML, pools=POOLS)))
    assert not found.needs_a_look
    assert check_text(found).endswith("\nNothing needs a look.\n")
    assert "There is nothing to correct." in check_page(found)


def test_rows_that_may_stay_need_no_look(tmp_path: Path) -> None:
    visits = "pool,date,outcome\nA,2025-05-01,dry\nA,2025-05-01,dry\nTotal,,\n"
    found = check(open_area(area_folder(tmp_path, TOML, pools=POOLS, visits=visits)))
    assert not found.needs_a_look
    assert "Set aside, nothing to do:" in check_text(found)
    assert found.files[1].to_do == 0


def test_a_corrected_row_needs_no_look(tmp_path: Path) -> None:
    folder = area_folder(tmp_path, TOML, pools=POOLS, visits="pool,date,outcome\nA,2025-05-01,\n")
    area = open_area(folder)
    fixes = write_fixes(folder, area.ledger)
    found = check(area, fixes)
    assert found.needs_a_look
    assert "visits.fix.csv" in check_page(found)
    path = folder / "visits.fix.csv"
    path.write_text(path.read_text(encoding="utf-8-sig").replace("'2025-05-01,,", "'2025-05-01,dry,"), encoding="utf-8")
    assert not check(open_area(folder)).needs_a_look


def test_a_doubt_about_rows_in_use_needs_a_look(tmp_path: Path) -> None:
    """The rows are all used; still somebody should see that a visit came before its pool."""
    visits = "pool,date,outcome\nA,2024-05-01,dry\n"
    found = check(open_area(area_folder(tmp_path, TOML, pools=POOLS, visits=visits)))
    assert not found.set_aside
    assert found.needs_a_look
    assert [d for d in found.doubts if "before the pool was set out" in d]
    assert "Please look:" in check_text(found)


def test_each_input_shows_what_it_was_understood_as(tmp_path: Path) -> None:
    folder = area_folder(tmp_path, f'{TOML}[land_cover]\nclasses = "worldcover"\n', pools=POOLS)
    write_raster(folder / "land_cover.tif", [[10] * 10] * 5 + [[30] * 10] * 5)
    write_layer(
        folder / "land.gpkg", [SQUARE], name=["Park"], kind=["park"], consent=["ja"], until=["03.06.2026"],
    )  # fmt: skip
    write_layer(folder / "keep_away.gpkg", [SQUARE.centroid], kind=["school"], distance_m=["80 m"])
    found = check(open_area(folder))
    told = {(table.table, *sample) for file in found.files for table in file.tables for sample in table.samples}
    assert ("land_cover.tif", "class", "10", "Tree cover") in told
    assert ("land_cover.tif", "class", "30", "Grassland") in told
    assert ("pools.csv", "set_out", "22.04.2025", "2025-04-22") in told
    assert ("land.gpkg", "consent", "ja", "yes") in told
    assert ("keep_away.gpkg", "distance_m", "80 m", "80 m") in told
    (place,) = [row for row in told if row[:3] == ("land.gpkg", "place", "a polygon")]
    assert place[3].endswith(", 1.0 ha")
    (cover,) = [table for file in found.files for table in file.tables if table.table == "land_cover.tif"]
    assert list(cover.notes) == ["a raster", "10 x 10 cells of 10 x 10 m", "classes of worldcover"]
    assert cover.crs.startswith("EPSG:32632")
    (pools,) = [table for file in found.files for table in file.tables if table.table == "pools.csv"]
    assert list(pools.cells["pool"]) == ["A", "B"]


def test_letters_show_how_a_file_was_decoded(tmp_path: Path) -> None:
    folder = area_folder(tmp_path, TOML)
    (folder / "pools.csv").write_bytes(POOLS.replace("A,", "Höhle,").replace("B,", "Weiß,").encode("cp1252"))
    (file,) = check(open_area(folder)).files
    assert "letters as in Höhle, Weiß" in file.tables[0].notes


def test_a_class_that_the_table_lacks_is_a_doubt(tmp_path: Path) -> None:
    folder = area_folder(tmp_path, f'{TOML}[land_cover]\nclasses = "worldcover"\n', pools=POOLS)
    write_raster(folder / "land_cover.tif", [[10] * 9 + [77]] * 10)
    (doubt,) = check(open_area(folder)).doubts
    assert doubt.startswith("What the land is worth is not known for 10 % of the cells")
    assert doubt.endswith("lacks 77.")


def test_rows_of_one_reason_stand_together_and_long_lists_are_cut(tmp_path: Path) -> None:
    many = MOST_ROWS + 5
    lines = "".join(f"Z{i},2025-05-01,dry\n" for i in range(many))
    found = check(open_area(area_folder(tmp_path, TOML, pools=POOLS, visits=f"pool,date,outcome\n{lines}")))
    (line,) = [line for line in check_text(found).splitlines() if "no pool of this name" in line]
    assert f"rows 2, 3, 4, 5, 6, 7, 8, 9 and {many - ROWS_NAMED} more" in line
    page = check_page(found)
    assert f"The first {MOST_ROWS} of {many} rows" in page
    assert page.count("; 2025-05-01; dry") == MOST_ROWS


def test_every_reason_on_the_page_leads_to_its_explanation_there(tmp_path: Path) -> None:
    visits = "pool,date,outcome\n,2025-05-01,dry\nA,,dry\nA,2025-05-01,\nA,31.02.2025,dry\nQ,2025-05-01,dry\n"
    found = check(open_area(area_folder(tmp_path, TOML, pools=f"{POOLS}C,,,\n", visits=visits)))
    page = check_page(found)
    places = set(re.findall(r'id="([^"]+)"', page))
    links = re.findall(r'href="#(why-[^"]+)"', page)
    assert len(links) == len({row.name for row in found.set_aside}) == 6
    assert set(links) <= places
    assert len(places) == page.count(' id="')  # no name twice
    for row in found.set_aside:
        assert row.remedy in page.replace("&#x27;", "'").replace("&quot;", '"')


def test_a_row_is_shown_whole_so_that_it_can_be_found(tmp_path: Path) -> None:
    found = check(open_area(area_folder(tmp_path, TOML, pools=f"{POOLS},500070,5399950,2025-04-09\n")))
    (row,) = found.set_aside
    assert (row.row, row.value, row.cells) == (4, "", "500070; 5399950; 2025-04-09")
    assert row.name == "NO_NAME"
    assert row.cells in check_page(found)


@pytest.mark.parametrize("language", OTHERS)
def test_every_reason_has_words_in_each_language(language: str) -> None:
    known = catalogue(language).sentences
    assert [told for why in Why for told in (why.reason, why.remedy) if told and told not in known] == []


@pytest.mark.parametrize("language", OTHERS)
def test_every_explanation_has_words_in_each_language(language: str) -> None:
    known = catalogue(language).sentences
    texts = {part for told in explanations().values() for part in (told.meaning, told.example, told.more) if part}
    assert texts - known.keys() == set()


MESSY_POOLS = (
    "pool,lat,lon,colour,set out\nQ1,54.1,7.5,blue,2024-04-02\nQ2,54.2,,red,2024-99-99\n,54.1,7.6,,2024-04-02\n"
)
MESSY_VISITS = "pool,date,outcome,larvae\nQ1,2024-05-03,larvae,3\nQ1,2024-05-03,larvae,3\nQ2,2024-05-04,dry,\nQ1,,,\n"


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_on_the_page(tmp_path: Path, language: str) -> None:
    (tmp_path / "area.toml").write_text('title = "Messy"\ncrs = "EPSG:25832"\n', encoding="utf-8")
    for name, text in (("pools", MESSY_POOLS), ("visits", MESSY_VISITS), ("more", MESSY_VISITS)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    found, spoken = check(area_or_account(take_in(tmp_path))), recorder(language)
    english, other = check_page(found), check_page(found, spoken)
    cells = {cell for one in found.set_aside for cell in (one.cells, one.value, one.column)}
    records = {cell for text in (MESSY_POOLS, MESSY_VISITS) for cell in re.split("[,\n]", text)} | cells
    ours = {"Messy", "pools.csv", "visits.csv", "more.csv", "set_out"}
    shared = same_texts(english, other, records | ours)
    assert [text for text in shared if len(text.split()) > 1] == []
    check_text(found, spoken)
    assert spoken.unsaid == set()
    assert "beiseite" in check_text(found, catalogue("de"))


@pytest.mark.parametrize("language", OTHERS)
def test_all_that_the_page_may_say_is_in_the_catalogues(language: str) -> None:
    for module in (check_module, inputs_module):
        source = Path(str(module.__file__)).read_text(encoding="utf-8")
        assert templates_in(source) - catalogue(language).sentences.keys() == set()
