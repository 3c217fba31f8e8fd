"""What each file is worth, counted by hand in small areas: in check, on the terminal, in summary.json, on the page."""

from __future__ import annotations

import json
import math
from pathlib import Path

import shapely

import habitatmap
from habitatmap.area import open_area
from habitatmap.export.summary import summary_of
from habitatmap.page.payload import team_blocks
from habitatmap.read.inputs import Input
from habitatmap.read.ledger import Known, UnitBy
from habitatmap.reports.check import check, check_page, check_text
from habitatmap.words.headline import headline
from habitatmap.words.inputs import what_matters, worth
from tests.areas import CRS, area_folder, write_layer

TOML = f'crs = "{CRS}"\nas_of = 2025-10-01\n'
POOLS = "pool,x,y\nA,500050,5399950\nB,500060,5399950\n,500070,5399950\n"
VISITS = "pool,date,outcome\nA,2025-05-01,larvae\n,2025-05-01,larvae\nZ,2025-05-01,dry\n"
# two oaks, of which one has a diameter; one without a name; a vacant site; one without a place; one a thousand km off
TREES = """x,y,genus,dbh (cm),condition,keeper
500051,5399950,Quercus,70,good,Ann
500052,5399950,Quercus,,,Ben
500053,5399950,,30,dead,
500054,5399950,,,vacant,
,,Quercus,40,good,
500055,6399950,Quercus,50,,
"""
# what the frame is made of: two pools and the longest flights around
NEAR = Input(
    "trees", "trees.csv", 4, 4, {Known.PLACE: 4, Known.GENUS: 1, Known.THICKNESS: 1}, 4, math.nan, math.nan, (), ()
)


def opened(folder: Path, toml: str = TOML, **files: str) -> habitatmap.Area:
    return open_area(area_folder(folder, toml, **{"pools": POOLS, **files}))


def test_what_is_known_is_counted(tmp_path: Path) -> None:
    area = opened(tmp_path, trees=TREES, visits=VISITS)
    pools, visits, trees = area.inputs
    # the vacant site is no tree; those without a place, or far off, are records, and what they say is known
    assert (trees.rows, trees.used) == (5, 3)
    assert trees.known == {Known.PLACE: 4, Known.GENUS: 4, Known.THICKNESS: 4, Known.CONDITION: 3}
    assert (trees.in_frame, trees.outside) == (3, 1)
    assert 990 < trees.nearest_km < 1000
    assert trees.nearest_km == trees.farthest_km
    assert trees.not_read == ("keeper",)
    assert [(unit.heading, unit.unit, unit.by) for unit in trees.units] == [("dbh (cm)", "cm", UnitBy.HEADING)]
    assert (pools.rows, pools.known) == (3, {Known.PLACE: 3, Known.NAME: 2})
    # a visit has no place of its own to be known
    assert (visits.rows, visits.known) == (3, {Known.NAME: 2})


def test_summary_has_the_counts_of_each_kind_and_file(tmp_path: Path) -> None:
    folder = area_folder(tmp_path, TOML, pools=POOLS, trees=TREES, trees_more="x,y,species\n500090,5399950,Tilia\n")
    told = summary_of(habitatmap.run(open_area(folder), public=False))["inputs"]
    assert {key: told["trees"][key] for key in ("rows", *Known)} == {
        "rows": 6,
        "place": 5,
        "genus": 5,
        "thickness": 4,
        "condition": 3,
        "name": None,
    }
    assert [file["file"] for file in told["trees"]["files"]] == ["trees.csv", "trees_more.csv"]
    assert {key: told["pools"][key] for key in ("rows", "place", "name", "genus")} == {
        "rows": 3,
        "place": 3,
        "name": 2,
        "genus": None,
    }


def test_layers_are_counted_too(tmp_path: Path) -> None:
    here, there = (
        shapely.box(500_000, 5_399_900, 500_100, 5_400_000),
        shapely.box(600_000, 5_399_900, 600_100, 5_400_000),
    )
    folder = area_folder(tmp_path, TOML, pools=POOLS)
    write_layer(
        folder / "land.gpkg",
        [here, there],
        name=["Park", ""],
        kind=["park", "park"],
        osm=["w1", "w2"],
        agent=["A", "B"],
    )
    land = next(one for one in open_area(folder).inputs if one.kind == "land")
    assert (land.rows, land.known, land.in_frame) == (2, {Known.NAME: 1, Known.PLACE: 2}, 1)
    # which object of a map extract a row came from is nothing that anybody misses
    assert land.not_read == ("agent",)


def test_check_says_what_each_file_is_worth(tmp_path: Path) -> None:
    found = check(opened(tmp_path, trees=TREES))
    said = check_text(found)
    assert "trees.csv (trees): 5 rows. Place known for 4, genus for 4, thickness for 4, condition for 3. " in said
    assert "Not read: keeper." in said
    assert "What your files hold" in check_page(found)
    json.dumps(found.for_json(), default=str)


def test_sound_inputs_need_no_word() -> None:
    sound = Input(
        "trees", "trees.csv", 4, 4, {Known.PLACE: 4, Known.GENUS: 2, Known.THICKNESS: 3}, 4, math.nan, math.nan, (), ()
    )
    assert what_matters([sound]) == []
    assert worth(sound) == "4 rows. Place known for all, genus for 2, thickness for 3. All lie in the map."


def test_few_trees_known_are_told() -> None:
    (told,) = what_matters([NEAR])
    assert str(told).startswith("Of 4 trees the genus is known for 1 and the thickness for 1:")


def test_an_unknown_unit_is_told_on_the_page_and_the_terminal(tmp_path: Path) -> None:
    rows = "".join(f"{500_050 + i},5399950,Quercus,{said}\n" for i, said in enumerate(("0-6", "7-12", "13-18")))
    result = habitatmap.run(opened(tmp_path, trees=f"x,y,genus,DBH\n{rows}"), public=False)
    assert "DBH in trees.csv names no unit" in headline(result.figures)
    thin = team_blocks(result)["facts"]["thin"]
    assert [one["with"].get("heading") for one in thin] == ["DBH", None]
    assert any('[units.trees] diameter = "inch"' in note for note in result.figures.notes)


def test_a_register_of_another_town_is_told_first(tmp_path: Path) -> None:
    area = opened(tmp_path, trees="lon,lat,species\n24.94,60.17,Tilia\n24.95,60.18,Tilia\n")
    said = [str(one) for one in what_matters(area.inputs)]
    (told,) = said
    assert told.startswith("None of the 2 rows of trees.csv lies in the map; the nearest is 1,")
    assert any("none is left" in doubt for doubt in area.ledger.doubts)


def test_the_public_hears_nothing_of_it(tmp_path: Path) -> None:
    assert habitatmap.area.blurred(opened(tmp_path, trees=TREES)).inputs == ()


def test_a_tree_of_two_files_counts_in_the_worth_of_both(tmp_path: Path) -> None:
    one, other = "x,y,genus\n500051,5399950,Tilia\n", "x,y,genus\n500052,5399950,Tilia\n"
    trees = [file for file in opened(tmp_path, trees_a=one, trees_b=other).inputs if file.kind == "trees"]
    assert [(file.rows, file.used) for file in trees] == [(1, 1), (1, 0)]
