"""Any file to a table: no row lost, rows numbered as a spreadsheet shows them, nothing guessed."""

from __future__ import annotations

import datetime
from pathlib import Path

import geopandas
import openpyxl
import pandas as pd
import pytest
import shapely
import xlsxwriter

from habitatmap.intake.cells import guard, unguard
from habitatmap.intake.files import find_inputs, read_tables
from tests.intake.tables import as_dict, read_one, write

PLAIN = "pool,lat,lon\nP1,60.17,24.94\nP2,60.18,24.95\n"
ROWS = {2: ("P1", "60.17", "24.94"), 3: ("P2", "60.18", "24.95")}


# --- finding ---------------------------------------------------------------------------------------------------------


def test_inputs_are_found_by_their_first_word(tmp_path: Path) -> None:
    for name in ("pools.csv", "pools_north.XLSX", "Pools_b.ods", "pools.txt.bak", "~$pools.xlsx", "poolside.csv"):
        write(tmp_path, name, "x")
    for name in (
        "land.gpkg",
        "land_east.shp",
        "land_cover.gpkg",
        "land_cover_classes.csv",
        "visits.parquet",
        "pools.shx",
    ):
        write(tmp_path, name, "x")
    assert [p.name for p in find_inputs(tmp_path, "pools")] == ["Pools_b.ods", "pools.csv", "pools_north.XLSX"]
    assert [p.name for p in find_inputs(tmp_path, "land")] == ["land.gpkg", "land_east.shp"]
    assert find_inputs(tmp_path, "trees") == []


# --- text ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_usual_dresses(tmp_path: Path, delimiter: str, newline: str, encoding: str) -> None:
    text = PLAIN.replace("P1", "Teich Süd").replace(",", delimiter).replace("\n", newline)
    one = read_one(tmp_path, "pools.csv", text, encoding)
    assert one.headings == ("pool", "lat", "lon")
    assert as_dict(one) == {**ROWS, 2: ("Teich Süd", "60.17", "24.94")}


def test_decimal_commas_do_not_mislead(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", "lat;lon\n60,17;24,94\n60,18;24,95\n")
    assert as_dict(one) == {2: ("60,17", "24,94"), 3: ("60,18", "24,95")}


def test_titles_blank_lines_and_comments_are_no_rows_but_are_counted(tmp_path: Path) -> None:
    text = (
        "Our pools 2024\n\n# by the group\npool,lat,lon\n\nP1,60.17,24.94\n# a comment, with a comma\n#12,60.18,24.95\n"
    )
    one = read_one(tmp_path, "pools.csv", text)
    assert as_dict(one) == {6: ("P1", "60.17", "24.94"), 8: ("#12", "60.18", "24.95")}
    assert len(one) == 2


def test_a_failed_formula_is_a_blank_cell_and_no_comment(tmp_path: Path) -> None:
    one = read_one(tmp_path, "visits.csv", "pool,date,outcome\n#N/A,today,dry\n#oak,today,dry\nP1,#REF!,#oak\n")
    assert as_dict(one) == {2: (None, "today", "dry"), 3: ("#oak", "today", "dry"), 4: ("P1", None, "#oak")}


def test_repeated_headings_totals_and_long_rows_are_read_and_odd(tmp_path: Path) -> None:
    text = "pool,lat,lon\nP1,60.17,24.94\npool,lat,lon\nTotal,1\nP2,60,18,24,95\nP3,60.2\nP4,60.17,24.94,\n"
    one = read_one(tmp_path, "pools.csv", text)
    assert len(one) == 6
    assert as_dict(one) == {2: ROWS[2], 6: ("P3", "60.2", None), 7: ("P4", "60.17", "24.94")}
    assert [word in one.odd[at].reason for at, word in ((1, "headings"), (2, "total"), (3, "more cells"))] == [True] * 3


def test_quotes(tmp_path: Path) -> None:
    text = 'pool,lat,note\n"P ""1""",60.17,"two\nlines, one cell"\n"P2,60.18,wrapped whole"\nP3,60.19,x\n'
    one = read_one(tmp_path, "pools.csv", text)
    assert as_dict(one) == {
        2: ('P "1"', "60.17", "two\nlines, one cell"),
        3: ("P2", "60.18", "wrapped whole"),
        4: ("P3", "60.19", "x"),
    }


def test_a_quote_that_is_never_closed_swallows_nothing(tmp_path: Path) -> None:
    lines = [
        "pool,lat,note",
        *(f"P{i},60.{i},fine" for i in range(1, 4)),
        'P4,60.4,"open',
        "P5,60.5,fine",
        "P6,60.6,fine",
    ]
    one = read_one(tmp_path, "pools.csv", "\n".join(lines) + "\n")
    assert [row[0] for row in as_dict(one).values()] == ["P1", "P2", "P3", "P4", "P5", "P6"]
    assert as_dict(one)[5] == ("P4", "60.4", "open")


def test_a_spreadsheets_sep_line(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", "sep=;\npool;lat;lon\nP1;60,17;24,94\n")
    assert as_dict(one) == {2: ("P1", "60,17", "24,94")}


def test_one_column(tmp_path: Path) -> None:
    one = read_one(tmp_path, "trees.csv", "geom\nPOINT (24.94 60.17)\nPOINT (24.95 60.18)\n")
    assert as_dict(one) == {2: ("POINT (24.94 60.17)",), 3: ("POINT (24.95 60.18)",)}
    one = read_one(tmp_path, "trees.csv", 'position\n60.17, 24.94\n"60.18, 24.95"\n')
    assert as_dict(one) == {2: ("60.17, 24.94",), 3: ("60.18, 24.95",)}


def test_mixed_encodings_line_by_line(tmp_path: Path) -> None:
    data = "pool,lat,lon\nTümpel,60.17,24.94\n".encode() + "Bächli,60.18,24.95\n".encode("cp1252")
    one = read_one(tmp_path, "pools.csv", data)
    assert [row[0] for row in as_dict(one).values()] == ["Tümpel", "Bächli"]
    assert "Bächli" in one.notes[0]


def test_stated_headings_help_to_find_the_row_of_headings(tmp_path: Path) -> None:
    text = "Liste,von,Anna\nKübel,Wo,Wann\nP1,hier,heute\n"
    one = read_one(tmp_path, "pools.csv", text, known=["Kübel", "Wann"])
    assert one.headings == ("Kübel", "Wo", "Wann")
    assert as_dict(one) == {3: ("P1", "hier", "heute")}


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-5", "@x", "'=x", "''-x", "\tx", " =x", "|x", "plain", "", "'quoted'", "it's", "'"]
)
def test_the_guard_is_undone_exactly(text: str) -> None:
    assert unguard(guard(text)) == text
    assert guard(text)[:1] not in ("=", "+", "-", "@", "\t")


def test_guarded_cells_come_back(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", "pool,lat,lon,note\nP1,-60.17,24.94,'=SUM(A1)\n'-7,60.1,24.9,'quoted'\n")
    assert as_dict(one) == {2: ("P1", "-60.17", "24.94", "=SUM(A1)"), 3: ("-7", "60.1", "24.9", "'quoted'")}


# --- workbooks -------------------------------------------------------------------------------------------------------


def test_a_workbook_with_titles_dates_and_numbers(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["Visits of the group"], [], ["pool", "date", "outcome", "larvae"]):
        sheet.append(row)
    sheet.append([12, datetime.date(2024, 5, 1), "larvae", 3])
    sheet.append(["P2", "2.5.2024", None, None])
    book.save(tmp_path / "visits.xlsx")
    (one,) = read_tables(tmp_path / "visits.xlsx")
    assert one.headings == ("pool", "date", "outcome", "larvae")
    assert as_dict(one) == {4: (12.0, datetime.date(2024, 5, 1), "larvae", 3.0), 5: ("P2", "2.5.2024", None, None)}


def test_rows_and_columns_left_empty_do_not_shift_the_numbers(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    for column, name in enumerate(("pool", "lat", "lon"), 3):
        sheet.cell(5, column, name)
        sheet.cell(7, column, "P1" if column == 3 else 60.0)
    book.save(tmp_path / "pools.xlsx")
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert as_dict(one) == {7: (None, None, "P1", 60.0, 60.0)}


def test_merged_cells_are_read_in_each_row(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["pool", "date", "outcome"], ["P1", "2024-05-01", "dry"], [None, "2024-06-01", "dry"]):
        sheet.append(row)
    sheet.merge_cells("A2:A3")
    book.save(tmp_path / "visits.xlsx")
    (one,) = read_tables(tmp_path / "visits.xlsx")
    assert [row[0] for row in one.rows] == ["P1", "P1"]
    assert any("merged" in note for note in one.notes)


def test_hidden_sheets_are_named_and_several_sheets_are_several_tables(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "north"
    book.active.append(["pool", "lat", "lon"])
    book.active.append(["P1", 60.1, 24.9])
    south, old = book.create_sheet("south"), book.create_sheet("old")
    for sheet in (south, old):
        sheet.append(["pool", "lat", "lon"])
        sheet.append(["P2", 60.2, 24.9])
    old.sheet_state = "hidden"
    book.create_sheet("blank")
    book.save(tmp_path / "pools.xlsx")
    north_table, south_table = read_tables(tmp_path / "pools.xlsx")
    assert (north_table.sheet, south_table.sheet) == ("north", "south")
    assert any("old" in note for note in north_table.notes)


def test_a_sheet_that_is_no_table_is_named_and_left_out(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["pool", "lat", "lon"])
    book.active.append(["P1", 60.1, 24.9])
    book.create_sheet("sums").append([1, 2, 3])
    book.save(tmp_path / "pools.xlsx")
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert any("sheet sums has no row of headings" in note for note in one.notes)


@pytest.mark.parametrize("start", [False, True], ids=["1900", "1904"])
def test_dates_of_both_calendars(tmp_path: Path, start: bool) -> None:
    book = xlsxwriter.Workbook(tmp_path / "visits.xlsx", {"date_1904": start})
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["pool", "date"])
    sheet.write(1, 0, "P1")
    sheet.write_datetime(1, 1, datetime.datetime(2024, 5, 3), book.add_format({"num_format": "yyyy-mm-dd"}))
    book.close()
    (one,) = read_tables(tmp_path / "visits.xlsx")
    (row,) = one.rows
    assert str(row[1])[:10] == "2024-05-03"


def test_ods(tmp_path: Path) -> None:
    pd.DataFrame({"pool": ["P1", "P1", "P2"], "lat": [60.1, 60.1, 60.2], "lon": [24.9] * 3}).to_excel(
        tmp_path / "pools.ods", engine="odf", index=False
    )
    (one,) = read_tables(tmp_path / "pools.ods")
    assert as_dict(one) == {2: ("P1", 60.1, 24.9), 3: ("P1", 60.1, 24.9), 4: ("P2", 60.2, 24.9)}


def test_a_workbook_named_csv_is_read_as_what_it_is(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["pool", "lat", "lon"])
    book.active.append(["P1", 60.1, 24.9])
    book.save(tmp_path / "pools.xlsx")
    (tmp_path / "pools.xlsx").rename(tmp_path / "pools.csv")
    (one,) = read_tables(tmp_path / "pools.csv")
    assert as_dict(one) == {2: ("P1", 60.1, 24.9)}


def test_a_stray_format_far_below_costs_nothing(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["pool", "lat", "lon"])
    book.active.append(["P1", 60.1, 24.9])
    book.active.cell(1_000_000, 2).number_format = "0.00"
    book.save(tmp_path / "pools.xlsx")
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert len(one) == 1


# --- layers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".gpkg", ".geojson", ".shp", ".parquet"])
def test_layers(tmp_path: Path, suffix: str) -> None:
    frame = geopandas.GeoDataFrame(
        {"pool": ["P1", None], "volume_l": [2.5, None]}, geometry=[shapely.Point(24.94, 60.17), None], crs=4326
    )
    path = tmp_path / f"pools{suffix}"
    frame.to_parquet(path) if suffix == ".parquet" else frame.to_file(path)
    (one,) = read_tables(path)
    assert one.geometry is not None
    assert one.geometry[0] == shapely.Point(24.94, 60.17)
    assert one.geometry[1] is None
    assert one.crs is not None
    assert one.crs.to_epsg() == 4326
    assert list(one.numbers) == [1, 2]
    assert one.column(one.headings.index("pool")) == ["P1", None]
    assert one.column(one.headings.index("volume_l")) == [2.5, None]


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_layer_without_a_system_has_none(tmp_path: Path) -> None:
    for name in ("pools.shp", "pools.gpkg"):
        geopandas.GeoDataFrame({"pool": ["P1"]}, geometry=[shapely.Point(385540, 6671800)]).to_file(tmp_path / name)
        (one,) = read_tables(tmp_path / name)
        assert one.crs is None


def test_parquet_without_geometry(tmp_path: Path) -> None:
    dates = [datetime.datetime(2024, 5, 1), None]
    pd.DataFrame({"pool": ["P1", None], "date": dates}).to_parquet(tmp_path / "visits.parquet")
    (one,) = read_tables(tmp_path / "visits.parquet")
    assert list(one.rows) == [("P1", datetime.date(2024, 5, 1)), (None, None)]
    assert one.geometry is None
