"""Codes and labels of the published nomenclatures that the class tables carry.

ESA WorldCover: 11 classes and 0 = no data; product user manual of v100 and v200, labels also in the legend of the
public data sets (CC BY 4.0). CORINE Land Cover: 44 classes at level 3, in five groups of 11, 11, 12, 5 and 5; the
raster holds 1 to 44 in the order of the table (European Environment Agency, nomenclature and look-up table).
Veteran sizes: Forestry Commission practice guide FCPG020, appendix 3, size classes after Castle & Mileto 2005 (English
Nature Research Report 628). OpenStreetMap tags: the presets of the project's own editor.
"""

from __future__ import annotations

from collections import Counter

import pytest

from habitatmap.read.layers import class_rows, load_class_table, load_tree_table

WORLDCOVER = {
    "10": "Tree cover",
    "20": "Shrubland",
    "30": "Grassland",
    "40": "Cropland",
    "50": "Built-up",
    "60": "Bare / sparse vegetation",
    "70": "Snow and ice",
    "80": "Permanent water bodies",
    "90": "Herbaceous wetland",
    "95": "Mangroves",
    "100": "Moss and lichen",
}


def test_worldcover_has_its_eleven_classes_and_no_data() -> None:
    table = load_class_table("worldcover")
    assert dict(zip(table["code"], table["label"], strict=True)) == {"0": "No data"} | WORLDCOVER


def test_corine_has_44_classes_in_five_groups() -> None:
    codes = [code for code in load_class_table("corine")["code"] if code < "6"]
    assert Counter(code[0] for code in codes) == {"1": 11, "2": 11, "3": 12, "4": 5, "5": 5}
    assert codes == sorted(codes)


@pytest.mark.parametrize(
    ("value", "code", "label"),
    [
        ("1", "111", "Continuous urban fabric"),
        ("10", "141", "Green urban areas"),
        ("12", "211", "Non-irrigated arable land"),
        ("18", "231", "Pastures"),
        ("23", "311", "Broad-leaved forest"),
        ("35", "411", "Inland marshes"),
        ("40", "511", "Water courses"),
        ("44", "523", "Sea and ocean"),
    ],
)
def test_corine_rasters_number_the_classes_in_table_order(value: str, code: str, label: str) -> None:
    table = load_class_table("corine")
    rows = class_rows(table)
    assert rows[value] == rows[code] == int(value)
    assert table["label"][rows[value] - 1] == label


@pytest.mark.parametrize(
    ("genus", "veteran_cm"),
    [
        ("Sorbus", 75),
        ("Taxus", 75),
        ("Betula", 75),
        ("Prunus", 75),
        ("Ilex", 75),
        ("Fraxinus", 100),
        ("Alnus", 100),
        ("Salix", 100),
        ("Quercus", 150),
        ("Acer", 150),
        ("Tilia", 150),
        ("Aesculus", 150),
        ("Castanea", 150),
        ("Ulmus", 150),
        ("Populus", 150),
        ("Fagus", 150),
    ],
)
def test_veteran_sizes(genus: str, veteran_cm: int) -> None:
    """Oak is listed twice, 100 cm in the uplands and 150 cm in the lowlands; maple 75 (field) and 150 cm (sycamore)."""
    assert load_tree_table().table.set_index("genus").loc[genus, "veteran_cm"] == veteran_cm


def test_beech_steps_up_where_holes_were_found() -> None:
    """Beech: likelihood of tree holes and other microhabitats steps up at 42, 60, 73 and 89 cm, and beyond 90 cm most
    trees bear some (Larrieu & Cabanettes 2012, Canadian Journal of Forest Research 42:1433-1445)."""
    beech = load_tree_table().table.set_index("genus").loc["Fagus"]
    steps = [beech[f"rot_hole_{cm}cm"] for cm in (20, 40, 60, 80, 100)]
    assert steps == sorted(set(steps))
    assert steps[0] == 0
    assert steps[-1] > 0.5 > steps[2]


def test_map_tags_are_keys_and_values() -> None:
    codes = load_class_table("osm")["code"]
    assert all(part.strip().count("=") == 1 for code in codes for part in code.split("+"))
    assert {"natural=wood", "landuse=allotments", "leisure=park", "building=*", "leisure=playground"} <= set(codes)
