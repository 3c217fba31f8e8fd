"""The tables in layers/, and the refusal of tables that are not in order."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import LayerError
from habitatmap.read import layers
from habitatmap.read.layers import FORAGE, LIKELIHOOD
from habitatmap.vocabulary.terms import Basis

HEADS = ",".join(["code", "label", *FORAGE, "dead_wood", "basis", "source"])
ROW = ",".join(["1", "Meadow", *["0.5"] * 12, "0", "expert judgement", "us"])


def written(folder: Path, *lines: str, name: str = "mine.csv") -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def month_profiles() -> dict[str, list[float]]:
    """Twelve shares of the best month by kind of vegetation."""
    with (layers.layers_folder() / "months.csv").open(encoding="utf-8", newline="") as file:
        return {row["profile"]: [float(row[f"month_{m:02d}"]) for m in range(1, 13)] for row in csv.DictReader(file)}


def tree(genus: str = "", species: str = "", diameter: float = np.nan, condition: str = "") -> pd.DataFrame:
    return pd.DataFrame({"genus": [genus], "species": [species], "diameter_cm": [diameter], "condition": [condition]})


# --- class tables ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", layers.class_table_names())
def test_the_shipped_tables_are_in_order(name: str) -> None:
    table = layers.load_class_table(name)
    assert table["code"].is_unique
    assert (table["basis"] != "").all()
    assert (table["source"] != "").all()
    values = table[[*FORAGE, "dead_wood"]].to_numpy()
    assert ((values >= 0) & (values <= 1) | np.isnan(values)).all()


@pytest.mark.parametrize("name", layers.class_table_names())
def test_each_row_is_whole_steps_of_a_quarter_or_half_a_one_spread_by_its_profile(name: str) -> None:
    profiles = month_profiles()
    for row in layers.load_class_table(name).to_dict("records"):
        months = np.array([row[c] for c in FORAGE])
        if np.isnan(months).all():
            assert row["profile"] == ""
            assert np.isnan(row["dead_wood"])
            continue
        peak = months.max()
        assert peak * 4 == round(peak * 4) or peak == 0.125
        spread = np.array(profiles[row["profile"]]) if peak else np.zeros(12)
        assert months == pytest.approx(peak * spread, abs=5e-5), row["code"]
        assert row["dead_wood"] * 4 == round(row["dead_wood"] * 4)


@pytest.mark.parametrize("name", layers.class_table_names())
def test_bounds_are_one_step_each_way_or_none_at_all(name: str) -> None:
    for row in layers.load_class_table(name).to_dict("records"):
        for what, value in (("forage", max(row[c] for c in FORAGE)), ("dead_wood", row["dead_wood"])):
            low, high = row[f"{what}_low"], row[f"{what}_high"]
            fixed = row["ground"] == "water" or row["label"] in (
                "Snow and ice",
                "Glaciers and perpetual snow",
                "Glacier",
            )
            step = 0.0 if fixed else 0.25
            if not np.isnan(value):
                assert (low, high) == (max(0.0, value - step), min(1.0, value + step)), row["code"]


def test_every_profile_peaks_at_one() -> None:
    assert {max(shares) for shares in month_profiles().values()} == {1.0}


def test_missing_is_not_zero() -> None:
    worldcover = layers.load_class_table("worldcover").set_index("code")
    for code in ("0", "95"):
        assert worldcover.loc[code, [*FORAGE, "dead_wood"]].isna().all()
        assert "not known" in worldcover.loc[code, "source"]
    assert worldcover.loc["80", "forage_06"] == 0


def test_codes_and_raster_values_lead_to_the_same_row() -> None:
    rows = layers.class_rows(layers.load_class_table("corine"))
    assert rows["141"] == rows["10"] == 10
    assert rows["523"] == rows["44"] == 44


@pytest.mark.parametrize("value", [10, 10.0, "10", " 10 ", "10.0"])
def test_a_code_is_one_text_however_it_is_written(value: object) -> None:
    assert layers.code_text(value) == "10"


def test_a_code_that_is_no_number_stays_as_it_is() -> None:
    assert [layers.code_text(v) for v in ("landuse=meadow", "1.5", "v1.0")] == ["landuse=meadow", "1.5", "v1.0"]


def test_a_misspelt_name_is_answered_with_the_nearest_and_the_list() -> None:
    with pytest.raises(LayerError, match=r"did you mean corine.*corine, osm, worldcover"):
        layers.load_class_table("corinne")


def test_a_table_of_the_area_that_does_not_exist(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"legend\.csv.*does not exist"):
        layers.load_class_table(tmp_path / "legend.csv")


def test_a_table_of_ones_own(tmp_path: Path) -> None:
    table = layers.load_class_table(written(tmp_path, HEADS, ROW))
    assert list(table.columns) == layers.CLASS_COLUMNS + layers.EXTRA_COLUMNS
    assert table.loc[0, "forage_05"] == 0.5
    assert np.isnan(table.loc[0, "forage_low"])
    assert table.loc[0, "assumed"] == ""


def test_a_legend_that_is_like_known_classes(tmp_path: Path) -> None:
    path = written(
        tmp_path, "code,label,like,dead_wood", "7,Old lime avenue,corine:141,1", "8,Verge,osm:landuse=meadow,"
    )
    table, corine = layers.load_class_table(path), layers.load_class_table("corine").set_index("code")
    assert table.loc[0, FORAGE].tolist() == corine.loc["141", FORAGE].tolist()
    assert table["dead_wood"].tolist() == [1.0, 0.0]
    # the bounds of a value that was taken over come with it; a value of one's own has none but one's own
    assert table.loc[0, ["forage_low", "forage_high"]].tolist() == [0.25, 0.75]
    assert table[["dead_wood_low", "dead_wood_high"]].isna().all(axis=1).tolist() == [True, False]
    assert table.loc[0, ["basis", "assumed"]].tolist() == ["expert judgement", "mowing"]


def test_a_table_as_a_german_spreadsheet_saves_it(tmp_path: Path) -> None:
    text = "\ufeff" + HEADS.replace(",", ";") + "\r\n" + ROW.replace(",", ";").replace("0.5", "0,5") + "\r\n;;;\r\n"
    path = tmp_path / "mine.csv"
    path.write_bytes(text.encode("utf-8"))
    table = layers.load_class_table(path)
    assert len(table) == 1
    assert table.loc[0, "forage_01"] == 0.5


def changed(column: str, value: str, heads: str = HEADS, row: str = ROW) -> list[str]:
    cells = row.split(",")
    cells[heads.split(",").index(column)] = value
    return [heads, ROW, ",".join(cells).replace("1,", "2,", 1) if column != "code" else ",".join(cells)]


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        (changed("forage_05", "1.5"), 'row 3, column forage_05: "1.5"; expected a number from 0 to 1, or nothing'),
        (changed("forage_05", "lots"), 'row 3, column forage_05: "lots"; expected a number from 0 to 1'),
        (changed("forage_05", "nan"), 'row 3, column forage_05: "nan"'),
        (changed("dead_wood", "-0.1"), 'row 3, column dead_wood: "-0.1"'),
        (changed("basis", "guess"), 'basis: "guess"; expected one of published, common practice, expert judgement'),
        (changed("source", ""), "row 3, column source: empty; expected where the values come from"),
        (changed("code", ""), "row 3, column code: empty"),
        (changed("code", "1"), 'row 3, column code: "1"; expected each only once: row 2 has it already'),
        ([HEADS], "no row below its headings"),
        ([HEADS.replace("dead_wood", "note"), ROW], "lacks the column dead_wood"),
        ([HEADS.replace("forage_07", "forrage_07"), ROW], "heading forrage_07; did you mean forage_07?"),
        ([HEADS + ",label", ROW + ",x"], "has the heading label twice"),
        ([HEADS, ROW + ",more,cells"], "row 2 has 19 cells, its headings are 17"),
        ([HEADS + ",assumed", ROW + ",lawn"], 'column assumed: "lawn"; expected one of nothing, garden, mowing'),
        ([HEADS + ",ground", ROW + ",rock"], "expected one of nothing, water, building"),
        ([HEADS + ",forage_low", ROW + ",0.6"], "forage_low: 0.6; expected a number at most the row's highest forage"),
        ([HEADS + ",dead_wood_high", "1,a" + "," * 14 + "expert judgement,us,1"], "because the row has no dead_wood"),
        (["code,label,like", "1,a,corine:999999"], 'like: "corine:999999"; expected a code that stands in corine.csv'),
        (["code,label,like", "1,a,moon:1"], "expected a table and a code, such as corine:141"),
        (["code,label,like", "1,a,"], 'row 2, column basis: empty'),
        ([""], "lacks the columns code"),
    ],
)  # fmt: skip
def test_a_table_that_is_not_in_order_is_refused_by_row_and_column(
    tmp_path: Path, lines: list[str], sentence: str
) -> None:
    with pytest.raises(LayerError, match=re.escape(sentence)):
        layers.load_class_table(written(tmp_path, *lines))


def test_a_table_in_another_encoding_is_refused_by_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_bytes(f"{HEADS}\n{ROW.replace('Meadow', 'Wald an der Höhe')}\n".encode("latin-1"))
    with pytest.raises(LayerError, match=r"mine\.csv line 2 is not UTF-8"):
        layers.load_class_table(path)


# --- trees -----------------------------------------------------------------------------------------------------------


def test_every_genus_has_flowers_and_likelihoods_that_do_not_fall_with_size() -> None:
    table = layers.load_tree_table().table
    assert table["genus"].is_unique
    assert table[[*FORAGE, *LIKELIHOOD, "veteran_cm"]].notna().all(axis=None)
    assert (np.diff(table[LIKELIHOOD].to_numpy(), axis=1) >= 0).all()


@pytest.mark.parametrize(
    ("genus", "species"),
    [("Quercus", "robur"), ("quercus", ""), ("", "Quercus robur"), ("Eiche", ""), ("", "common oak"), ("× Oak", "")],
)  # fmt: skip
def test_an_oak_is_an_oak_by_any_name(genus: str, species: str) -> None:
    trees = layers.load_tree_table()
    assert trees.table["genus"][trees.rows(tree(genus, species))[0]] == "Quercus"


def test_names_do_not_end_at_the_wrong_genus() -> None:
    trees = layers.load_tree_table()

    def found(name: str) -> str:
        return str(trees.table["genus"][trees.rows(tree("", name))[0]])

    assert found("horse chestnut") == "Aesculus"
    assert found("sweet chestnut") == "Castanea"
    assert found("Tilia x vulgaris") == "Tilia"
    assert found("PUISTOLEHMUS") == "Tilia"


def test_likelihood_runs_along_straight_lines_between_the_columns() -> None:
    trees = layers.load_tree_table()
    beech = trees.table.set_index("genus").loc["Fagus"]
    at_60, at_80 = beech["rot_hole_60cm"], beech["rot_hole_80cm"]
    assert trees.rot_hole_probability(tree("Fagus", "", 70)) == pytest.approx([(at_60 + at_80) / 2])
    assert trees.rot_hole_probability(tree("Fagus", "", 5)) == pytest.approx([beech["rot_hole_20cm"]])
    assert trees.rot_hole_probability(tree("Fagus", "", 400)) == pytest.approx([beech["rot_hole_150cm"]])


def test_what_is_not_given_is_not_known() -> None:
    trees = layers.load_tree_table()
    assert np.isnan(trees.rot_hole_probability(tree("Fagus", ""))[0])
    assert np.isnan(trees.rot_hole_probability(tree("", "", 90))[0])
    assert np.isnan(trees.crown_m2(tree("Fagus"))[0])
    assert np.isnan(trees.forage(tree("Unheardofia", "", 90))).all()
    unknown = pd.concat([tree("Unheardofia"), tree("Unheardofia"), tree("", "Zzz"), tree("Fagus"), tree()])
    assert trees.not_known(unknown.reset_index(drop=True)) == {"Unheardofia": 2, "Zzz": 1}


@pytest.mark.parametrize("condition", ["dead", "stump", "log"])
def test_dead_wood_bears_no_flowers_and_is_no_rot_hole_tree(condition: str) -> None:
    trees = layers.load_tree_table()
    dead = tree("Prunus", "", 90, condition)
    assert trees.rot_hole_probability(dead).tolist() == [0.0]
    assert (trees.forage(dead) == 0).all()
    assert trees.forage(tree("Prunus", "", 90))[0, 3] > 0


def test_crown_area_by_hand() -> None:
    # 50 cm * 20 = 10 m wide: pi * 5^2; 150 cm would be 30 m and is cut at 20 m: pi * 10^2
    trees = pd.concat([tree("Tilia", "", 50), tree("Tilia", "", 150)])
    assert layers.load_tree_table().crown_m2(trees) == pytest.approx([np.pi * 25, np.pi * 100])


def test_no_tree_at_all() -> None:
    trees, none = layers.load_tree_table(), tree().iloc[:0]
    assert trees.forage(none).shape == (0, 12)
    assert trees.rot_hole_probability(none).shape == (0,)
    assert trees.not_known(none) == {}


def test_a_tree_table_whose_likelihood_falls_is_refused(tmp_path: Path) -> None:
    cells = ["Fagus", "beech", *["0"] * 12, "0.1", "0.2", "0.1", "0.5", "0.6", "0.7", "150", "expert judgement", "us"]
    path = written(tmp_path, ",".join(layers.TREE_COLUMNS), ",".join(cells), name="trees.csv")
    with pytest.raises(LayerError, match=re.escape("trees.csv row 2, column rot_hole_60cm: 0.1; expected at least")):
        layers.read_tree_table(path)


# --- keep-away -------------------------------------------------------------------------------------------------------


def test_children_keep_pools_fifty_metres_away() -> None:
    metres = layers.keep_away_defaults()
    assert {metres[kind] for kind in ("playground", "school", "kindergarten")} == {50.0}
    assert all(0 < metres[kind] <= 10 for kind in ("road", "path", "building", "water", "other"))


@pytest.mark.parametrize(
    ("name", "kind"),
    [("Spielplatz", "playground"), ("LEIKKIPAIKKA", "playground"), ("play_area", "playground"), ("école", "school"),
     ("Kita", "kindergarten"), ("bee hotel", "bee hotel")],
)  # fmt: skip
def test_kinds_are_known_in_several_languages(name: str, kind: str) -> None:
    assert layers.keep_away_kind(name) == kind


def test_the_tables_are_found_beside_the_package() -> None:
    assert (layers.layers_folder() / "worldcover.csv").is_file()
    assert (layers.shipped_folder("demo_area") / "area.toml").is_file()


# --- siting ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kind", "siting"),
    [
        ("pitch", "pitch", "excluded"),
        ("Sportplatz", "pitch", "excluded"),
        ("hautausmaa", "cemetery", "ask"),
        ("réserve naturelle", "nature reserve", "ask"),
        ("rail_yard", "railway area", "excluded"),
        ("park", "park", "allowed"),
        ("", "", "allowed"),
    ],
)
def test_a_use_of_land_is_known_by_its_names(name: str, kind: str, siting: str) -> None:
    use = layers.land_use(name)
    assert (use.kind, use.siting) == (kind, siting)
    assert bool(use.ask) == (siting == "ask")


def test_what_map_tags_keep_pools_away_from_is_a_kind_that_is_known() -> None:
    table = layers.load_class_table("osm")
    known = layers.keep_away_defaults().keys() | {use.kind for use in layers.land_uses().values()}
    assert set(table["keep_away"]) - {""} <= known
    asked = {layers.land_use(kind).ask for kind in ("cemetery", "churchyard", "school ground", "allotments")}
    assert "" not in asked
    assert {"cemetery", "churchyard", "school ground", "allotments", "nature reserve"} <= set(table["land"])


# --- common names ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "genus"),
    [
        ("Hainbuche", "Carpinus"),  # a name of its own, though it ends like a beech
        ("Rotbuche", "Fagus"),
        ("Roßkastanie", "Aesculus"),
        ("Kastanie", ""),  # two genera
        ("Moor-Birke", "Betula"),
        ("chene pedoncule", "Quercus"),  # accents are often lost
        ("holm oak", "Quercus"),
        ("Oak, English", "Quercus"),
        ("castaño", "Castanea"),
        ("castaño de Indias", "Aesculus"),
        ("mountain ash", "Sorbus"),
        ("hopeapaju", "Salix"),
        ("gewone es", "Fraxinus"),
        ("if", "Taxus"),
        ("if dead", ""),  # a short name counts alone only
        ("plum-leaved apple", ""),  # its ends are at odds
        ("Populus alba", "Populus"),
        ("Elaeagnus angustifolia", ""),  # no common name
        ("", ""),
    ],
)
def test_genus_by_what_people_call_it(name: str, genus: str) -> None:
    assert layers.genus_by_name(name) == genus


def test_six_languages_have_common_names_and_each_says_where_it_comes_from() -> None:
    with (layers.layers_folder() / "common_names.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    counts = {code: sum(row["language"] == code for row in rows) for code in ("en", "de", "fr", "nl", "es", "fi")}
    assert all(number >= 60 for number in counts.values()), counts
    assert {row["basis"] for row in rows} <= set(Basis)
    assert all(row["source"] for row in rows)


def test_every_common_name_tells_its_own_genus() -> None:
    for name, genus in layers.load_common_names().items():
        assert layers.genus_by_name(name) == genus
