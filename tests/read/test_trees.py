"""Trees: place, genus, thickness in centimetres whatever was measured, alive or dead wood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import osmium
import pytest
from pyproj import CRS

from habitatmap.read.coordinates import Box
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated
from habitatmap.read.layers import load_tree_table
from habitatmap.read.thickness import read_thickness
from habitatmap.read.tree_conditions import condition_of
from habitatmap.read.tree_names import genus_of_name, name_of_tree
from habitatmap.read.trees import TREES
from habitatmap.vocabulary.terms import Condition
from tests.beside import real
from tests.read.tables import FINLAND, IN_METRES, aside, table, trees, types


@pytest.mark.parametrize(
    ("genus", "species", "expected"),
    [
        ("Tilia", "x vulgaris", ("Tilia", "Tilia x vulgaris")),
        ("tilia", "Tilia cordata", ("Tilia", "Tilia cordata")),
        (None, "Quercus robur", ("Quercus", "Quercus robur")),
        (None, "Platanus × hispanica", ("Platanus", "Platanus x hispanica")),
        ("Quercus robur", None, ("Quercus", "Quercus robur")),
        (None, "Quercus", ("Quercus", "Quercus")),
        ("Malus", "sp.", ("Malus", "")),
        ("Määrittelemättä", "Määrittelemättä", ("", "")),
        ("unknown", None, ("", "")),
        (None, "robur", ("", "robur")),
        (None, None, ("", "")),
        ("ACER", "platanoides 'Globosum'", ("Acer", "Acer platanoides 'Globosum'")),
        (None, "Winterlinde", ("Tilia", "Winterlinde")),
        ("Linde", None, ("Tilia", "Linde")),
        ("chêne", "chêne pédonculé", ("Quercus", "chêne pédonculé")),
        (None, "castaño de Indias", ("Aesculus", "castaño de Indias")),
        (None, "rauduskoivu", ("Betula", "rauduskoivu")),
        (None, "zomereik", ("Quercus", "zomereik")),
        (None, "unknown broadleaf", ("", "unknown broadleaf")),
    ],
)
def test_names(genus: object, species: object, expected: tuple[str, str]) -> None:
    assert name_of_tree(genus, species)[:2] == expected


@pytest.mark.parametrize(
    ("cell", "centimetres"),
    [
        (45, 45),
        ("45,5", 45.5),
        ("45 cm", 45),
        ("0.45 m", 45),
        ("18 in", 45.72),
        ('18"', 45.72),
        ("30 - 50 cm", 40),
        ("30-50", 40),
        ("30 bis 50 cm", 40),
        ("70 cm -", 70),
        ("70+", 70),
        (">70 cm", 70),
        ("- 10 cm", 5),
        ("<10 cm", 5),
        ("0 - 10 cm", 5),
        ("450 mm", 45),
    ],
)
def test_thickness_of_one_cell(cell: object, centimetres: float) -> None:
    assert read_thickness([cell], "dbh cm") == [pytest.approx(centimetres)]


def test_a_foot_is_30_48_centimetres_by_definition() -> None:
    assert read_thickness(["2 ft"], "dbh") == [pytest.approx(60.96)]


def test_thickness_nobody_can_read_is_not_known() -> None:
    assert all(math.isnan(v) for v in read_thickness(["thick", None, "-", ""], "dbh cm"))


@pytest.mark.parametrize(
    ("cells", "heading", "expected"),
    [
        ([40, 60], "dbh", [40, 60]),
        ([0.4, 0.62], "dbh", [40, 62]),
        ([12, 24], "dbh (in)", [30.48, 60.96]),
        ([0.4, 0.6], "dbh_m", [40, 60]),
        ([400, 600], "diameter [mm]", [40, 60]),
    ],
)
def test_units_by_heading_or_by_the_whole_column(cells: list[object], heading: str, expected: list[float]) -> None:
    assert read_thickness(cells, heading) == pytest.approx(expected)


def test_a_column_that_could_be_anything_is_not_known_and_said() -> None:
    frame, ledger = trees(table("x,y,genus,dbh", (1, 1, "Tilia", 400), (2, 2, "Tilia", 650)))
    assert frame["diameter_cm"].isna().all()
    assert any("known unit" in remark for remark in ledger.remarks)


def test_a_girth_is_divided_by_pi() -> None:
    frame, _ = trees(table("x,y,Stammumfang (cm)", (1, 1, 100 * math.pi)))
    assert frame["diameter_cm"].tolist() == [pytest.approx(100)]
    both, _ = trees(table("x,y,girth_cm,dbh", (1, 1, 314, 90), (2, 2, 314, "")))
    assert both["diameter_cm"].tolist() == [90, pytest.approx(99.95, abs=0.01)]


def test_girths_under_the_heading_of_diameters_are_said() -> None:
    girths = [(i, 0, "Tilia", 90 + 5 * i) for i in range(9)]
    frame, ledger = trees(table("x,y,genus,dbh (cm)", *girths))
    assert frame["diameter_cm"].median() == 110  # used as the heading says
    assert any("If they are girths" in remark for remark in ledger.remarks)
    frame, ledger = trees(table("x,y,genus,dbh (cm)", *[(x, y, g, 2 * t) for x, y, g, t in girths]))
    assert frame["diameter_cm"].isna().all()
    assert any("may hold girths" in remark for remark in ledger.remarks)
    _, ledger = trees(table("x,y,genus,dbh (cm)", *[(x, y, g, t / 3) for x, y, g, t in girths]))
    assert not any("girth" in remark for remark in ledger.remarks)


def test_girths_that_are_not_pi_times_the_diameters_are_said() -> None:
    for factor, said in ((3.14, False), (1.0, True), (6.28, True)):
        rows = [(i, 0, 30 + i, (30 + i) * factor) for i in range(5)]
        _, ledger = trees(table("x,y,dbh (cm),girth (cm)", *rows))
        assert any("3.1 times a diameter" in remark for remark in ledger.remarks) is said


@pytest.mark.parametrize("word", ["small", "mature", "veteran", "jung", "gros", "grande"])
def test_a_size_in_words_is_no_thickness(word: str) -> None:
    frame, ledger = trees(table("x,y,genus,dbh (cm)", (1, 1, "Tilia", 40), (2, 2, "Tilia", word)))
    assert frame["diameter_cm"].isna().tolist() == [False, True]
    assert any(word in remark for remark in ledger.remarks)


def test_impossible_thickness_is_not_known() -> None:
    frame, _ = trees(table("x,y,diameter_cm", (1, 1, -5), (2, 2, 0), (3, 3, 90000), (4, 4, 50)))
    assert frame["diameter_cm"].isna().tolist() == [True, True, True, False]


@pytest.mark.parametrize(
    ("cell", "condition"),
    [
        ("living", "living"),
        ("gut", "living"),
        ("Dead", "dead"),
        ("abgestorben", "dead"),
        ("mort", "dead"),
        ("kuollut", "dead"),
        ("stump", "stump"),
        ("Baumstumpf", "stump"),
        ("kanto", "stump"),
        ("log", "log"),
        ("liegend", "log"),
        ("maapuu", "log"),
        (None, ""),
        ("see note", ""),
    ],
)
def test_conditions(cell: object, condition: str) -> None:
    frame, _ = trees(table("x,y,condition", (1, 1, cell)))
    assert frame["condition"].tolist() == [condition]


def test_vacant_sites_and_removed_trees_are_set_aside_and_dead_wood_is_not() -> None:
    rows = [
        (1, 1, "Tilia", "vacant"),
        (2, 2, "Tilia", "removed"),
        (3, 3, "Vacant site", ""),
        (4, 4, "Stump", ""),
        (5, 5, "Tilia", "stump"),
    ]
    frame, ledger = trees(table("x,y,species,condition", *rows))
    assert [row for row, _ in aside(ledger)] == [2, 3, 4]
    assert frame["condition"].tolist() == ["stump", "stump"]
    assert frame["genus"].tolist() == ["", "Tilia"]


def test_order_and_types() -> None:
    frame, _ = trees(table("x,y,genus", (9, 1, "Acer"), (1, 9, "Tilia"), (1, 2, "Acer")))
    assert frame[["x", "y"]].to_numpy().tolist() == [[1, 2], [1, 9], [9, 1]]
    assert types(frame) == TREES
    empty, _ = trees()
    assert types(empty) == TREES


def test_two_trees_in_one_place_are_two_unless_the_rows_are_the_same() -> None:
    frame, ledger = trees(table("x,y,genus,id", (1, 1, "Tilia", 1), (1, 1, "Tilia", 2), (1, 1, "Tilia", 2)))
    assert len(frame) == 2
    assert aside(ledger) == [(4, "the row repeats row 3")]


def test_a_register_and_openstreetmap_meet_in_twelve_trees() -> None:
    """Counted when the slice was typed: 13 of its 35 trees lie 0.2 to 3.1 m from a tree of OpenStreetMap.

    Two of them, 3 m apart, share one such tree, which can be only one of them: 12 are counted once.
    """
    nodes = osmium.FileProcessor(str(real("helsinki/helsinki.osm.pbf")), osmium.osm.NODE)
    mapped = [(n.lat, n.lon) for n in nodes.with_filter(osmium.filter.TagFilter(("natural", "tree")))]
    osm = table("lat,lon,species", *mapped, file="trees_osm.csv")
    frame, ledger = trees(*read_tables(real("helsinki/trees_register_slice.csv")), osm, stated=Stated())
    assert len(mapped) == 649
    assert len(frame) == 35 + 649 - 12
    apart = [float(reason.split(", ")[1].split(" m")[0]) for _, reason in aside(ledger)]
    assert (min(apart), max(apart)) == (0.2, 3.1)


def test_a_citys_register() -> None:
    """35 rows of Helsinki's register as published: Finnish headings, WKT in degrees, size classes, one undefined."""
    frame, ledger = trees(*read_tables(real("helsinki/trees_register_slice.csv")), stated=Stated())
    assert ledger.counts()["trees"] == {"read": 35, "accepted": 35, "set_aside": 0}
    assert (frame["genus"] == "Tilia").sum() == 18
    assert (frame["genus"] == "").sum() == 1
    assert set(frame["diameter_cm"]) == {5.0, 15.0, 25.0, 40.0, 60.0, 70.0}
    assert frame["x"].between(380_000, 390_000).all()


def test_a_tree_of_two_files_counts_once_and_the_fuller_row_stays() -> None:
    register = table("x,y,genus,dbh", (0, 0, "Tilia", 50), (20, 0, "Acer", 30), (40, 0, "Tilia", 30), file="trees.csv")
    mapped = table(
        "x,y,genus", (3.1, 0, "Tilia"), (22, 0, "Tilia"), (41, 0, ""), (42, 0, ""), (60, 0, ""), file="trees_osm.csv"
    )
    frame, ledger = trees(register, mapped)
    # within 4 m: another genus is another tree, an unknown one may be the same, and each tree is the same as one only
    assert frame["x"].tolist() == [0, 20, 22, 40, 42, 60]
    assert [(row, "row 2 of trees.csv, 3.1 m" in reason) for row, reason in aside(ledger)] == [(2, True), (4, False)]


def test_what_two_lists_say_differently_of_one_tree_is_told() -> None:
    """A slip of measure, another species, alive or dead: told. A genus beside its species, or no figure: nothing."""
    head = "x,y,genus,species,dbh (cm),condition"
    office = [
        (0, 0, "Tilia", "Tilia cordata", 50, "living"),
        (20, 0, "Acer", "Acer campestre", 30, "living"),
        (40, 0, "Quercus", "Quercus robur", 60, "living"),
        (60, 0, "Quercus", "Quercus robur", 60, "living"),
    ]
    mapped = [
        (1, 0, "Tilia", "Tilia cordata", 90, ""),
        (21, 0, "Acer", "Acer platanoides", "", ""),
        (41, 0, "Quercus", "Quercus", 70, ""),
        (61, 0, "Quercus", "", "", "dead"),
    ]
    frame, ledger = trees(table(head, *office, file="trees.csv"), table(head, *mapped, file="trees_osm.csv"))
    assert len(frame) == 4
    (told,) = [remark for remark in ledger.remarks if "describe" in remark]
    assert told.startswith("two lists describe 3 trees differently")
    for words in (
        "trees.csv row 2 and trees_osm.csv row 2: diameter 50 cm against 90 cm",
        "row 3: Acer campestre against Acer platanoides",
        "trees_osm.csv row 5: living against dead",
    ):
        assert words in told


def test_a_stated_genus_stands_against_the_common_name_and_that_is_told() -> None:
    assert name_of_tree("Grevillea", "Silk Oak") == ("Grevillea", "Silk Oak", "")  # layers/ has the name
    assert name_of_tree("Grevillea", "Bottle Oak") == ("Grevillea", "Bottle Oak", "Bottle Oak")
    assert name_of_tree("", "Grevillea robusta", "Bottle Oak") == ("Grevillea", "Grevillea robusta", "Bottle Oak")
    assert name_of_tree("Acer", "Quercus rubra") == ("Acer", "Quercus rubra", "Quercus rubra")
    _, ledger = trees(
        table("x,y,genus,species", (1, 1, "Acer", "Red Oak"), (9, 1, "Acer", "Red Oak"), (20, 1, "Acer", ""))
    )
    (told,) = [remark for remark in ledger.remarks if "names of two genera" in remark]
    assert '2 of 3 trees with names of two genera (Acer beside "Red Oak": 2)' in told


@pytest.mark.parametrize(
    "epithet", ["ilex", "ILEX", "pseudoplatanus", "PSEUDOPLATANUS", "robur", "x vulgaris", "'Pallida'"]
)
def test_an_epithet_is_no_other_genus(epithet: str) -> None:
    """Quercus ilex is no holly, Acer pseudoplatanus no plane."""
    assert name_of_tree("Quercus", epithet).against == ""


@pytest.mark.parametrize("genus", ["Nothofagus", "Calocedrus", "Pseudolarix"])
def test_a_genus_that_ends_like_another_is_not_that(genus: str) -> None:
    assert name_of_tree(genus, None).genus == genus


def test_what_a_genus_without_a_row_is_worth_is_not_guessed_from_its_other_names() -> None:
    frame, _ = trees(table("x,y,genus,species,dbh (cm)", (1, 1, "Grevillea", "Bottle Oak", 60)))
    assert load_tree_table().rows(frame).tolist() == [-1]


def test_inches_are_asked_where_something_speaks_for_them() -> None:
    """By classes of six, by feet beside, by where the trees stand; not by small figures alone."""
    plain = [(i, 0, 4 + i) for i in range(12)]
    _, ledger = trees(table("x,y,dbh", *plain))
    assert not any("names no unit" in remark for remark in ledger.remarks)
    frame, ledger = trees(table("lon,lat,dbh", (-73.97, 40.78, 8), (-73.98, 40.77, 21)), crs=CRS.from_epsg(32618))
    assert frame["diameter_cm"].isna().all()
    (told,) = [remark for remark in ledger.remarks if "names no unit" in remark]
    assert '[units.trees] diameter = "inch" or "cm"' in told
    stated = Stated(tree_units={"diameter": "inch"})
    frame, _ = trees(table("lon,lat,dbh", (-73.97, 40.78, 8)), crs=CRS.from_epsg(32618), stated=stated)
    assert frame["diameter_cm"].tolist() == [pytest.approx(20.32)]


def test_a_heading_with_a_unit_counts_before_the_stated_one() -> None:
    """The unit is stated for all lists of trees; one that names its own needs none."""
    assert read_thickness([20], "dbh (cm)", stated="inch") == [20]
    assert read_thickness([20], "dbh", stated="inch") == [pytest.approx(50.8)]
    assert read_thickness(["20 cm"], "dbh", stated="inch") == [20]


def test_trees_beyond_fifty_kilometres_are_set_aside_with_the_distance() -> None:
    """Counted from the box of the area: 49 km east of it is near enough, 51 km is not."""
    home = Box.of((380_000, 6_670_000, 390_000, 6_680_000), FINLAND, "the area")
    stated = replace(IN_METRES, home=home)
    frame, ledger = trees(table("x,y", (385_000, 6_675_000), (439_000, 6_675_000), (441_100, 6_675_000)), stated=stated)
    assert frame["x"].tolist() == [385_000, 439_000]
    assert aside(ledger) == [(4, "the tree lies 51 km from the area")]


BINOMIALS = ("Quercus robur", "Tilia cordata", "Acer campestre", "Quercus petraea")


def by_content(headings: str, *columns: Sequence[str], stated: Stated = IN_METRES) -> list[tuple[str, str]]:
    """Genus and species of trees along a line, whose other columns hold these cells."""
    rows = [(10 * i, 0, *cells) for i, cells in enumerate(zip(*columns, strict=True))]
    frame, _ = trees(table(f"x,y,{headings}", *rows), stated=stated)
    return list(zip(frame["genus"], frame["species"], strict=True))


def test_botanical_names_are_found_by_content_where_most_cells_are_such() -> None:
    assert by_content("SPP", BINOMIALS) == [(name.split()[0], name) for name in BINOMIALS]
    # two names are too few, remarks are no names, and some names among remarks are none either
    assert by_content("SPP", BINOMIALS[:2]) == [("", "")] * 2
    assert by_content("WORKS", ("Needs pruning", "Needs water", "Remove stake")) == [("", "")] * 3
    assert by_content("WORKS", (*BINOMIALS, *["checked in 2020"] * 6)) == [("", "")] * 10


def test_what_headings_or_area_toml_say_is_not_changed_by_content() -> None:
    given = [("Quercus", "Quercus robur")] * 3
    assert by_content("Genus,Species,SPP", ["Quercus"] * 3, ["robur"] * 3, BINOMIALS[:3]) == given
    stated = replace(IN_METRES, columns={"trees": {"species": "called"}})
    assert by_content("called,SPP", ["Oak"] * 3, BINOMIALS[:3], stated=stated) == [("Quercus", "Oak")] * 3


def test_of_two_names_in_a_cell_the_botanical_one_counts() -> None:
    assert genus_of_name("Lophostemon confertus :: Brisbane Box") == "Lophostemon"
    assert genus_of_name("Hybrid (Quercus robur)") == "Quercus"
    assert genus_of_name("London plane (Platanus x hispanica)") == "Platanus"


def test_more_words_behind_a_vacant_site_change_nothing() -> None:
    assert condition_of("Planting site, kerb side") is Condition.NO_TREE
    assert condition_of("Vacant, large") is Condition.NO_TREE
    assert condition_of("No tree defects") is None
