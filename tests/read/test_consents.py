"""The list of consents: written beside the inputs, filled in without a GIS, read over the files of land."""

from __future__ import annotations

import datetime
import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyproj
import pytest
from shapely import set_precision
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from habitatmap.area import Area, open_area
from habitatmap.errors import InputError
from habitatmap.export.consents import write_consents
from habitatmap.read.consent_list import FILE, HELP, LIST
from habitatmap.read.land_ids import land_ids
from habitatmap.vocabulary.kinds import Kind
from habitatmap.words.catalogue import LANGUAGES, Catalogue, catalogue
from tests.areas import CRS, LEFT, TOP, area_folder, write_layer
from tests.office import needs_office, saved_as

NAMES = ["Park", "Garden", "Meadow", "Wood"]
SHAPES = [box(LEFT + 300 * i, TOP, LEFT + 300 * i + 100 + 40 * i, TOP + 100) for i in range(4)]
SAID = {"name": NAMES, "kind": ["park", "garden", "meadow", "wood"], "consent": ["yes", None, "no", "ask"]}
# Garden has the pool
POOLS = f"pool,x,y\nP,{LEFT + 350},{TOP + 50}\n"


def town(folder: Path, shapes: Sequence[BaseGeometry] = SHAPES, suffix: str = ".gpkg", **columns: Any) -> Path:
    area_folder(folder, f'crs = "{CRS}"\nas_of = 2025-07-01\n', pools=POOLS)
    write_layer(folder / f"land{suffix}", shapes, **(SAID | columns))
    write_layer(folder / "paths.gpkg", [box(LEFT, TOP - 9, LEFT + 2000, TOP - 8).boundary], name=["South Row"])
    return folder


def listed(folder: Path) -> list[dict[str, Any]]:
    """The rows of the list as a spreadsheet program shows them."""
    sheet = openpyxl.load_workbook(folder / FILE).worksheets[0]
    heads, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(map(str, heads), row, strict=True)) for row in rows]


def fill_in(folder: Path, **entries: dict[str, Any]) -> None:
    """What somebody writes into the list: by name of the land, column = cell."""
    book = openpyxl.load_workbook(folder / FILE)
    sheet = book.worksheets[0]
    heads = {cell.value: cell.column for cell in sheet[1]}
    for row in range(2, sheet.max_row + 1):
        for column, value in entries.get(str(sheet.cell(row, heads["name"]).value), {}).items():
            heads.setdefault(column, len(heads) + 1)
            sheet.cell(1, heads[column], column)
            cell = sheet.cell(row, heads[column], value)
            cell.data_type = "s" if isinstance(value, str) else cell.data_type  # "=1+1" is what somebody wrote
    book.save(folder / FILE)


def land_of(folder: Path) -> dict[str, dict[str, Any]]:
    """What counts for each piece of land, by its name."""
    return {row["name"]: row for row in open_area(folder).land.to_dict("records")}


def update(folder: Path, language: str = "en") -> tuple[str, Area]:
    area = open_area(folder)
    return write_consents(area, catalogue(language)), area


def test_a_row_for_each_piece_of_land_with_what_it_says(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    told, area = update(folder)
    assert "4 rows" in told
    rows = listed(folder)
    assert list(rows[0])[:11] == "id name street area_ha kind consent until owner contact condition note".split()
    # that of the pool first, then the largest
    assert [row["name"] for row in rows] == ["Garden", "Wood", "Meadow", "Park"]
    assert [row["id"] for row in rows] == [land_of(folder)[str(row["name"])]["id"] for row in rows]
    park = rows[3]
    assert (park["street"], park["area_ha"], park["kind"], park["consent"]) == ("South Row", 1.0, "park", "yes")
    assert [row["consent"] for row in rows] == [None, "ask", "no", "yes"]
    assert "consent.xlsx" not in {one.file for one in area.ledger.readings}
    sheet = openpyxl.load_workbook(folder / FILE)["Consent"]
    lists = [rule for rule in sheet.data_validations.dataValidation if rule.type == "list"]
    assert [(str(rule.sqref), rule.formula1) for rule in lists] == [("F2:F5", '"yes,ask,no"')]
    assert [str(rule.sqref) for rule in sheet.data_validations.dataValidation if rule.type == "date"] == ["G2:G5"]


def test_nothing_new_is_nothing_written_and_the_same_rows_are_the_same_bytes(tmp_path: Path) -> None:
    one, other = town(tmp_path / "one"), town(tmp_path / "other")
    update(one)
    update(other)
    assert (one / FILE).read_bytes() == (other / FILE).read_bytes()
    before = (one / FILE).stat().st_mtime_ns
    told, area = update(one)
    assert told == ""
    assert (one / FILE).stat().st_mtime_ns == before
    assert not area.ledger.doubts
    assert area.ledger.counts()["consent"] == {"read": 4, "accepted": 4, "set_aside": 0}


def test_what_somebody_writes_counts_before_the_file_of_land(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", owner=["City", "", "", ""])
    update(folder)
    until = datetime.date(2026, 3, 31)
    fill_in(
        folder,
        Garden={"consent": "ja", "until": until, "owner": "Ann", "contact": "ann@example.org", "condition": "by day"},
        Wood={"consent": "nein", "note": "asked in May"},
        Park={"consent": "no"},
    )
    land = land_of(folder)
    assert [land[name]["consent"] for name in NAMES] == ["no", "yes", "no", "no"]
    garden = land["Garden"]
    assert (garden["owner"], garden["contact"], garden["condition"]) == ("Ann", "ann@example.org", "by day")
    assert garden["until"] == pd.Timestamp(until)
    assert (land["Park"]["owner"], land["Wood"]["note"]) == ("City", "asked in May")
    ledger = open_area(folder).ledger
    assert not ledger.doubts  # the park's no was written by somebody who saw its yes
    assert any("consent no" in line and "yes" in line and "land.gpkg row 1" in line for line in ledger.remarks)


def test_a_consent_that_ran_out_in_the_list_must_be_asked_for(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    fill_in(folder, Garden={"consent": "yes", "until": datetime.date(2025, 6, 30)})
    assert (land_of(folder)["Garden"]["consent"], land_of(folder)["Garden"]["consent_note"]) == (
        "ask",
        "consent expired 2025-06-30",
    )


def test_what_nobody_changed_follows_the_file_of_land(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    write_layer(folder / "land.gpkg", SHAPES, **(SAID | {"consent": ["no", "yes", "no", "ask"]}))
    assert [land_of(folder)[name]["consent"] for name in NAMES] == ["no", "yes", "no", "ask"]
    told, _ = update(folder)
    assert "brought up to date" in told
    assert {row["name"]: row["consent"] for row in listed(folder)}["Park"] == "no"


def test_a_file_of_land_that_changed_since_is_a_conflict(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    fill_in(folder, Park={"consent": "ask"})
    write_layer(folder / "land.gpkg", SHAPES, **(SAID | {"consent": ["no", None, "no", "ask"]}))
    for _ in range(2):  # and stays one until somebody settles it
        told, area = update(folder)
        (doubt,) = area.ledger.doubts
        assert "consent.xlsx row 5 consent ask, land.gpkg row 1 no" in doubt
        assert land_of(folder)["Park"]["consent"] == "ask"
        assert "new" not in told


def test_entries_are_kept_and_rows_are_only_added(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    fill_in(
        folder, Wood={"consent": "yes", "contact": 401234567, "my own column": "ring twice"}, Meadow={"note": "=1+1"}
    )
    more = [*SHAPES, box(LEFT, TOP + 500, LEFT + 50, TOP + 550)]
    columns = {"name": [*NAMES, "New"], "kind": ["park"] * 5, "consent": ["yes", None, "no", "ask", None]}
    (folder / "land.gpkg").unlink()
    write_layer(folder / "land.gpkg", [*more[:2], *more[3:]], **{k: [*v[:2], *v[3:]] for k, v in columns.items()})
    told, area = update(folder)
    assert "5 rows, 1 of them new" in told
    rows = {str(row["name"]): row for row in listed(folder)}
    assert list(rows) == ["Garden", "Wood", "Park", "New", "Meadow"]  # what is gone comes last
    wood = rows["Wood"]
    assert (wood["consent"], wood["contact"], wood["my own column"]) == ("yes", 401234567, "ring twice")
    assert rows["Meadow"]["note"] == "=1+1"
    aside = area.ledger.frame().dropna(subset="row")  # without the sheet of help
    assert aside[["file", "column", "reason"]].to_numpy().tolist() == [
        [FILE, "id", "no piece of land has this id any more"]
    ]
    assert land_of(folder)["Wood"]["contact"] == "401234567"


def test_words_and_dates_that_cannot_be_read_are_told_by_their_cells(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    fill_in(folder, Garden={"consent": "perhaps"}, Wood={"consent": "yes", "until": "some day"})
    land, doubts = land_of(folder), open_area(folder).ledger.doubts
    assert (land["Garden"]["consent"], land["Wood"]["consent"]) == ("ask", "ask")
    assert any('F2 "perhaps"' in doubt for doubt in doubts)
    assert any('G3 "some day"' in doubt for doubt in doubts)


def test_rows_without_an_id_and_second_rows_are_set_aside_and_the_stricter_answer_counts(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    fill_in(folder, Garden={"consent": "yes"})
    book = openpyxl.load_workbook(folder / FILE)
    sheet = book["Consent"]
    sheet.append([sheet["A2"].value, "Garden", None, None, None, "no"])
    sheet.append([None, "Another garden", None, None, None, "yes"])
    book.save(folder / FILE)
    area = open_area(folder)
    assert land_of(folder)["Garden"]["consent"] == "no"
    assert area.ledger.frame().dropna(subset="row")[["row", "reason"]].to_numpy().tolist() == [
        [2, "row 6 of consent.xlsx is for the same land; of two answers the stricter one counts"],
        [7, "the row does not say which piece of land it is for"],
    ]
    write_consents(area)
    assert [row["name"] for row in listed(folder)].count("Garden") == 2  # nothing is lost


@needs_office
@pytest.mark.parametrize("suffix", ["xlsx", "ods"])
def test_saved_by_another_program_it_says_the_same(tmp_path: Path, suffix: str) -> None:
    folder = town(tmp_path / "town", until=["2026-01-01", None, None, None])
    update(folder)
    fill_in(
        folder, Garden={"consent": "yes", "until": datetime.date(2026, 3, 31), "owner": "Änne"}, Park={"consent": "no"}
    )
    before = land_of(folder)
    shutil.move(folder / FILE, tmp_path / FILE)
    saved_as(suffix, [tmp_path / FILE], folder)
    assert json.dumps(land_of(folder), default=str) == json.dumps(before, default=str)
    told, area = update(folder)
    assert told == ""
    assert not area.ledger.doubts
    if suffix == "ods":
        write_layer(folder / "land.gpkg", [*SHAPES, Point(LEFT, TOP - 500).buffer(9)], name=[*NAMES, "New"])
        assert "consent.ods lacks land (1 row)" in update(folder)[0]
        assert not (folder / FILE).exists()


def test_broken_open_or_with_sheets_of_ones_own_it_is_left_alone(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    write_layer(folder / "land.gpkg", SHAPES, **(SAID | {"consent": ["no"] * 4}))
    before = (folder / FILE).read_bytes()
    (folder / f".~lock.{FILE}#").touch()
    assert "is open in a spreadsheet program" in update(folder)[0]
    (folder / f".~lock.{FILE}#").unlink()
    assert (folder / FILE).read_bytes() == before
    book = openpyxl.load_workbook(folder / FILE)
    book["Consent"]["K2"] = "=1+1"  # never computed
    book.save(folder / FILE)
    assert "formulas without a result" in update(folder)[0]
    book["Consent"]["K2"] = None
    book.create_sheet("Letters")["A1"] = "Dear"
    book.save(folder / FILE)
    assert "sheets of your own (Letters)" in update(folder)[0]
    (folder / FILE).write_bytes(before[:2000])
    with pytest.raises(InputError, match=FILE):
        open_area(folder)


# --- ids -------------------------------------------------------------------------------------------------------------


def made(shapes: Sequence[BaseGeometry], own: Sequence[str] = (), known: Sequence[str] = ()) -> list[str]:
    return land_ids(own or [""] * len(shapes), shapes, lambda _: "", pyproj.CRS(CRS), known).ids


def test_an_id_is_made_of_where_the_land_lies() -> None:
    point = gpd.GeoSeries([SHAPES[0].centroid], crs=CRS).to_crs(4326)[0]
    (one,) = made(SHAPES[:1])
    assert one == f"N{round(point.y * 1e5):07d}E{round(point.x * 1e5):08d}"
    assert made(SHAPES[::-1]) == made(SHAPES)[::-1]
    hole = SHAPES[0].difference(SHAPES[0].centroid.buffer(10))
    assert made([SHAPES[0].centroid.buffer(10), hole]) == [f"{one}-2", one]


def test_the_files_own_ids_win_where_they_tell_rows_apart() -> None:
    assert made(SHAPES, ["7", "8", "8", ""])[:1] == ["7"]
    assert made(SHAPES, ["7", "8", "8", ""])[1:] == made(SHAPES)[1:]


@pytest.mark.parametrize("suffix", [".geojson", ".shp", ".csv"])
def test_another_format_and_order_keeps_ids_and_entries(tmp_path: Path, suffix: str) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    before = {name: row["id"] for name, row in land_of(folder).items()}
    frame = gpd.read_file(folder / "land.gpkg").iloc[::-1].to_crs(4326)
    # as programs round degrees: a centimetre
    frame["geometry"] = set_precision(frame.geometry.to_numpy(), 1e-7)
    (folder / "land.gpkg").unlink()
    if suffix == ".csv":
        pd.DataFrame(frame.drop(columns="geometry")).assign(wkt=frame.geometry.to_wkt()).to_csv(folder / "land.csv")
    else:
        frame.to_file(folder / f"land{suffix}")
    assert {name: row["id"] for name, row in land_of(folder).items()} == before


def test_a_hair_over_the_edge_of_rounding_keeps_the_id_of_the_list() -> None:
    """1,000 squares, each moved by 3 cm: ids are rounded to about a metre, so that some would change."""
    squares = [box(x, y, x + 8, y + 8) for x in LEFT + np.arange(0, 400, 10) for y in TOP + np.arange(0, 250, 10)]
    moved = [box(*(np.array(one.bounds) + 0.03)) for one in squares]
    before, again = made(squares), made(moved)
    assert len(set(before)) == len(before) == 1000
    assert sum(a != b for a, b in zip(before, again, strict=True)) > 10
    assert made(moved, known=before) == before


def test_land_that_gets_an_id_later_keeps_what_was_agreed(tmp_path: Path) -> None:
    folder = town(tmp_path / "town")
    update(folder)
    fill_in(folder, Garden={"consent": "yes"})
    write_layer(folder / "land.gpkg", SHAPES, **(SAID | {"parcel": ["1", "2", "3", "4"]}))
    land = land_of(folder)
    assert (land["Garden"]["id"], land["Garden"]["consent"]) == ("2", "yes")
    update(folder)
    assert [(row["id"], row["consent"]) for row in listed(folder)] == [
        ("2", "yes"),
        ("4", "ask"),
        ("3", "no"),
        ("1", "yes"),
    ]


def test_the_list_is_a_kind_of_input() -> None:
    assert Kind.of_stem("consent") is Kind.CONSENT


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_the_list_speaks_the_language_of_the_area_and_is_read_whatever_it_is(tmp_path: Path, language: str) -> None:
    """Its headings stay, its words change; what nobody changed is in the language of today, and means the same."""
    folder, say = town(tmp_path), catalogue(language).say
    before = {name: (row["consent"], row["until"]) for name, row in land_of(folder).items()}
    update(folder, language)
    book = openpyxl.load_workbook(folder / FILE)
    assert book.sheetnames == [say("Consent"), say("Help")] != ["Consent", "Help"]
    assert [cell.value for cell in book.worksheets[0][1]] == LIST.names
    rules = {rule.promptTitle: rule for rule in book.worksheets[0].data_validations.dataValidation}
    assert rules["consent"].formula1 == f'"{say("yes")},{say("ask")},{say("no")}"'
    english = {*HELP, *(column.help for column in LIST.columns)}
    said = {cell.value for sheet in book for row in sheet for cell in row} | {rule.prompt for rule in rules.values()}
    assert english & said == set()
    assert {row["consent"] for row in listed(folder)} == {say("yes"), say("no"), say("ask"), None}
    assert {name: (row["consent"], row["until"]) for name, row in land_of(folder).items()} == before
    fill_in(folder, Garden={"consent": say("no")}, Meadow={"consent": say("yes")})
    assert [land_of(folder)[name]["consent"] for name in ("Garden", "Meadow")] == ["no", "yes"]
    assert update(folder, language)[0] == ""
    assert "up to date" in update(folder)[0]
    words = {row["name"]: row["consent"] for row in listed(folder)}
    assert words == {"Park": "yes", "Garden": say("no"), "Meadow": say("yes"), "Wood": "ask"}, "entries are kept"


def test_words_of_ones_own_that_nobody_could_read_back_are_not_offered(tmp_path: Path) -> None:
    folder = town(tmp_path)
    write_consents(open_area(folder), Catalogue("fi", {"yes": "juu juu", "no": "ei", "ask": "kysy"}))
    assert {row["consent"] for row in listed(folder)} == {"yes", "ei", "kysy", None}
    assert land_of(folder)["Park"]["consent"] == "yes"
