"""Any file to a table: no row lost, rows numbered as a spreadsheet shows them, nothing guessed."""

from __future__ import annotations

import datetime
import zipfile
from pathlib import Path

import geopandas
import openpyxl
import pandas as pd
import pytest
import shapely
import xlsxwriter

from habitatmap import open_area
from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.files import find_inputs, read_sheets, read_tables
from habitatmap.read.formats.archive import file_name
from habitatmap.read.formats.cells import guard, unguard
from tests.read.tables import as_dict, read_one, write

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
    assert "utf-8 and cp1252" in one.notes[0]
    assert "Bächli" in one.notes[0]


WORDS = {
    "cp1252": "Höhle Étang Größe Mühle Ñandú Forêt it’s",
    "mac_roman": "Höhle Étang Größe Mühle Ñandú Forêt",
    "cp850": "Höhle Étang Größe Mühle Ñandú Forêt",
    "cp1250": "Świętosława Łąka Żabie Ślęża Grażyna Błażej",
    "cp1251": "Пруд Старое болото Дуб Липовая аллея Озеро",
    "iso8859-7": "Λίμνη Δάσος Ποταμός Πηγή Βουνό Πέτρα",
}


@pytest.mark.parametrize("encoding", WORDS)
def test_the_likeliest_encoding_is_told_with_words_and_can_be_stated(tmp_path: Path, encoding: str) -> None:
    text = "".join(f"{word},60.1,24.9\n" for word in ["pool,lat,lon", *WORDS[encoding].split()])
    text = text.replace("pool,lat,lon,60.1,24.9", "pool,lat,lon")
    path = write(tmp_path, "pools.csv", text, encoding)
    (one,) = read_tables(path)
    assert one.column(0) == WORDS[encoding].split()
    assert WORDS[encoding].split()[0] in one.notes[0]
    (stated,) = read_tables(path, encoding={"pools.csv": encoding})
    assert stated.column(0) == WORDS[encoding].split()


@pytest.mark.parametrize("encoding", ["cp1252", "mac_roman"])
def test_one_odd_letter_is_enough_where_it_is_a_usual_one(tmp_path: Path, encoding: str) -> None:
    one = read_one(tmp_path, "pools.csv", "pool,lat,lon\nHöhle,60.1,24.9\n", encoding)
    assert one.column(0) == ["Höhle"]


@pytest.mark.parametrize(("stated", "word"), [("martian", "no encoding"), ("utf-8", "does not fit"), ("hex", "no enc")])
def test_a_stated_encoding_that_cannot_be(tmp_path: Path, stated: str, word: str) -> None:
    path = write(tmp_path, "pools.csv", "pool,lat,lon\nHöhle,60.1,24.9\n", "cp1252")
    with pytest.raises(InputError, match=rf'^area.toml: \[encoding\] "pools.csv" = "{stated}".*{word}'):
        read_tables(path, encoding={"pools.csv": stated})


def test_texts_encoded_twice_are_read_as_meant_and_told(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", "pool,lat,LÃ¤nge\nMÃ¼hle,60.1,24.9\nÃ la carte,60.2,24.9\n")
    assert one.headings == ("pool", "lat", "Länge")
    assert one.column(0) == ["Mühle", "Ã la carte"]
    assert "LÃ¤nge as Länge" in " ".join(one.notes)


def test_a_column_without_a_heading_is_named(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", "pool,lat,lon,,\nP1,60.1,24.9,stray,\n")
    assert [note for note in one.left_out if "no heading" in note] == [
        "column 4 of the table has no heading and was not read"
    ]


def test_a_long_outline_in_a_cell(tmp_path: Path) -> None:
    ring = ", ".join(f"{i} {i}" for i in range(30_000))
    one = read_one(tmp_path, "land.csv", f'name;wkt\nWood;"POLYGON (({ring}))"\n')
    assert len(one.rows[0][1]) > 300_000


def test_row_numbers_without_a_heading_shift_nothing(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", '"pool","lat","lon"\n"1","P1",60.1,24.9\n"2","P2",60.2,24.9\n')
    assert as_dict(one) == {2: ("1", "P1", "60.1", "24.9"), 3: ("2", "P2", "60.2", "24.9")}
    assert one.headings == ("", "pool", "lat", "lon")
    shifted = read_one(tmp_path, "pools.csv", "pool,lat,lon\n1,P1,60.1,24.9\n3,P2,60.2,24.9\n")
    assert as_dict(shifted) == {}


def test_spaces_before_quotes(tmp_path: Path) -> None:
    one = read_one(tmp_path, "pools.csv", '"pool", "lat", "lon"\n"P1, old", "60.1", "24.9"\n')
    assert as_dict(one) == {2: ("P1, old", "60.1", "24.9")}


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
    north_table, south_table, *others = read_sheets(tmp_path / "pools.xlsx")
    assert (north_table.sheet, south_table.sheet) == ("north", "south")
    assert [(t.sheet, t.unused) for t in others] == [("old", Why.HIDDEN_SHEET), ("blank", Why.EMPTY_SHEET)]


def test_a_sheet_that_is_no_table_is_named_and_left_out(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["pool", "lat", "lon"])
    book.active.append(["P1", 60.1, 24.9])
    book.create_sheet("sums").append([1, 2, 3])
    book.save(tmp_path / "pools.xlsx")
    one, sums = read_sheets(tmp_path / "pools.xlsx")
    assert (len(one), sums.sheet, sums.unused) == (1, "sums", Why.NO_HEADINGS)


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


def test_two_tables_on_a_sheet_stand_below_or_beside_each_other(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["Pools"], ["pool", "lat", "lon"], ["P1", 60.1, 24.9], [], ["South"], ["lon", "pool", "lat"]):
        book.active.append(row)
    book.active.append([24.95, "P2", 60.2])
    beside = book.create_sheet("beside")
    beside.append(["pool", "lat", "lon", None, "pool", "date", "outcome"])
    beside.append(["P3", 60.3, 24.9, None, "P3", "2024-05-01", "dry"])
    beside.append([None, None, None, None, "P1", "2024-05-02", "dry"])
    book.save(tmp_path / "pools.xlsx")
    tables = read_tables(tmp_path / "pools.xlsx")
    assert [(t.headings, as_dict(t)) for t in tables] == [
        (("pool", "lat", "lon"), {3: ("P1", 60.1, 24.9)}),
        (("lon", "pool", "lat"), {7: (24.95, "P2", 60.2)}),
        (("pool", "lat", "lon"), {2: ("P3", 60.3, 24.9)}),
        (("pool", "date", "outcome"), {2: ("P3", "2024-05-01", "dry"), 3: ("P1", "2024-05-02", "dry")}),
    ]


def test_a_name_alone_above_other_headings_is_a_row_and_no_title(tmp_path: Path) -> None:
    one, other = read_tables(write(tmp_path, "pools.csv", "pool,lat\nP1,60\nP2\nlat,pool,lon\n60.1,P3,24\n"))
    assert as_dict(one) == {2: ("P1", "60"), 3: ("P2", None)}
    assert as_dict(other) == {5: ("60.1", "P3", "24")}


def test_an_empty_column_within_a_table_parts_nothing(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["pool", "lat", "lon", None, "set out", "note"])
    book.active.append(["P1", 60.1, 24.9, None, None, "x"])
    book.save(tmp_path / "pools.xlsx")
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert as_dict(one) == {2: ("P1", 60.1, 24.9, None, None, "x")}


def test_headings_on_two_lines(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["pool", "Position", None, "set out"], [None, "lat", "lon", None], ["P1", 60.1, 24.9, None]):
        book.active.append(row)
    book.save(tmp_path / "pools.xlsx")
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert one.headings == ("pool", "lat", "lon", "set out")


def test_errors_and_formulas_without_a_result_are_no_blanks(tmp_path: Path) -> None:
    book = openpyxl.Workbook()  # which stores no results of formulas
    for row in (["pool", "lat", "lon"], ["P1", "=60+0.1", 24.9], ["P2", 60.2, "#N/A"], ["P3", 60.3, 24.9]):
        book.active.append(row)
    book.save(tmp_path / "pools.xlsx")
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert as_dict(one) == {2: ("P1", None, 24.9), 3: ("P2", 60.2, None), 4: ("P3", 60.3, 24.9)}
    assert {at: (cell.written, cell.why) for at, cell in one.failed.items()} == {
        (0, 1): ("formula", Why.NOT_COMPUTED),
        (1, 2): ("#N/A", Why.FORMULA_ERROR),
    }


def test_formulas_with_a_result_are_their_result(tmp_path: Path) -> None:
    """As a spreadsheet program saves them, an empty text among them."""
    book = openpyxl.Workbook()
    for row in (["pool", "lat", "lon", "note"], ["P1", "=60+0.1", 24.9, '=""']):
        book.active.append(row)
    book.save(tmp_path / "made.xlsx")
    with zipfile.ZipFile(tmp_path / "made.xlsx") as made, zipfile.ZipFile(tmp_path / "pools.xlsx", "w") as saved:
        for name in made.namelist():
            text = made.read(name).decode()
            if name.endswith("sheet1.xml"):
                text = text.replace("<f>60+0.1</f><v />", "<f>60+0.1</f><v>60.1</v>")
                text = text.replace('<c r="D2"><f>""</f><v />', '<c r="D2" t="str"><f>""</f><v></v>')
            saved.writestr(name, text.replace(' fullCalcOnLoad="1"', ""))
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert as_dict(one) == {2: ("P1", 60.1, 24.9, None)}
    assert one.failed == {}


def test_an_ods_tells_its_failed_formulas_too(tmp_path: Path) -> None:
    cells = [
        'office:value-type="string"><text:p>P1</text:p>',
        'table:formula="of:=1+1">',
        'table:formula="of:=NA()" office:value-type="string"><text:p>#N/A</text:p>',
    ]
    rows = [
        [f'office:value-type="string"><text:p>{w}</text:p>' for w in ("pool", "lat", "lon")],
        cells,
        ['office:value-type="string"><text:p>Err:502</text:p>'],
    ]
    lines = ("".join(f"<table:table-cell {c}</table:table-cell>" for c in row) for row in rows)
    body = "".join(f"<table:table-row>{line}</table:table-row>" for line in lines)
    spaces = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text"))
    with zipfile.ZipFile(tmp_path / "pools.ods", "w") as parts:
        parts.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        parts.writestr("META-INF/manifest.xml", "<manifest/>")
        parts.writestr(
            "content.xml",
            f"<office:document-content {spaces}><office:body><office:spreadsheet>"
            f'<table:table table:name="a">{body}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    (one,) = read_tables(tmp_path / "pools.ods")
    assert {at: cell.why for at, cell in one.failed.items()} == {
        (0, 1): Why.NOT_COMPUTED,
        (0, 2): Why.FORMULA_ERROR,
        (1, 0): Why.FORMULA_ERROR,
    }


def test_plain_numbers_as_dates_count_from_the_workbooks_own_day(tmp_path: Path) -> None:
    for start, zero in ((False, datetime.date(1899, 12, 30)), (True, datetime.date(1904, 1, 1))):
        book = xlsxwriter.Workbook(tmp_path / "visits.xlsx", {"date_1904": start})
        book.add_worksheet().write_row(0, 0, ["pool", "date"])
        book.close()
        (one,) = read_tables(tmp_path / "visits.xlsx")
        assert one.day_zero == zero


def test_an_old_workbook() -> None:
    """visits.xls was made with the library xlwt: a title, a date format, cells merged downwards, a hidden sheet."""
    one, old = read_sheets(Path(__file__).parent / "visits.xls")
    day = datetime.date
    assert as_dict(one) == {
        4: ("Teich Süd", day(2024, 5, 1), "larvae", 7),
        5: (12, day(2024, 6, 13), "dry", None),
        6: ("P3", day(2024, 6, 13), "dry", None),
        7: ("P3", day(2024, 6, 14), "larvae", None),
    }
    assert (old.sheet, old.unused) == ("old", Why.HIDDEN_SHEET)


# --- archives --------------------------------------------------------------------------------------------------------


def archive(path: Path, **parts: str | bytes) -> None:
    """A zip of parts; `__` in a name is a slash, `_` a full stop."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in parts.items():
            made.writestr(name.replace("__", "/").replace("_", "."), content)


def test_files_in_a_zip_are_found_by_their_names_or_by_the_zips(tmp_path: Path) -> None:
    archive(tmp_path / "export.zip", y2024__pools_csv=PLAIN, visits_csv="pool,date\n", readme_txt="x", a__pools_pdf="x")
    archive(tmp_path / "pools.zip", list_csv=PLAIN, trees_csv="x,y\n", MACOSX__list_csv="x")
    archive(tmp_path / "photos.zip", pools_jpg="x")
    assert [file_name(p) for p in find_inputs(tmp_path, "pools")] == [
        "export.zip/y2024/pools.csv",
        "pools.zip/MACOSX/list.csv",
        "pools.zip/list.csv",
    ]
    assert [file_name(p) for p in find_inputs(tmp_path, "trees")] == ["pools.zip/trees.csv"]
    (one,) = read_tables(find_inputs(tmp_path, "pools")[0])
    assert one.file == "export.zip/y2024/pools.csv"
    assert as_dict(one) == ROWS


def test_what_systems_add_to_a_zip_is_no_input(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "pools.zip", "w") as made:
        for name in ("__MACOSX/._pools.csv", "~$pools.xlsx", ".hidden.csv", "pools.csv"):
            made.writestr(name, PLAIN)
    assert [p.name for p in find_inputs(tmp_path, "pools")] == ["pools.csv"]


def test_a_shapefile_in_a_zip_keeps_its_parts_together(tmp_path: Path) -> None:
    layer = geopandas.GeoDataFrame({"pool": ["Süd"]}, geometry=[shapely.Point(24.94, 60.17)], crs=4326)
    (tmp_path / "made").mkdir()
    layer.to_file(tmp_path / "made" / "pools.shp", encoding="utf-8")
    layer.assign(pool="other").to_file(tmp_path / "made" / "pools_b.shp")
    with zipfile.ZipFile(tmp_path / "gis.zip", "w") as parts:
        for part in (tmp_path / "made").iterdir():
            parts.write(part, f"layers/{part.name}")
    one, other = (read_tables(path)[0] for path in find_inputs(tmp_path, "pools"))
    assert one.file == "gis.zip/layers/pools.shp"
    assert one.rows == [("Süd",)]
    assert one.crs is not None
    assert other.rows == [("other",)]


def test_several_files_of_a_kind_are_one_frame_with_their_rows_names(tmp_path: Path) -> None:
    write(tmp_path, "area.toml", "as_of = 2025-01-01\n")
    write(tmp_path, "pools_north.csv", PLAIN)
    write(tmp_path, "pools_south.csv", "Becken;Breite;Länge\nP3;60,2;24,95\nP1;60,17;24,94\n")
    archive(tmp_path / "pools_east.zip", a_csv="pool,lat,lon\nP4,60.3,24.9\n")
    area = open_area(tmp_path)
    assert list(area.pools[["pool", "file", "row"]].itertuples(index=False, name=None)) == [
        ("P1", "pools_north.csv", 2),
        ("P2", "pools_north.csv", 3),
        ("P3", "pools_south.csv", 2),
        ("P4", "pools_east.zip/a.csv", 2),
    ]
    (aside,) = area.ledger.frame().to_dict("records")
    assert (aside["file"], aside["row"], aside["reason"]) == (
        "pools_south.csv",
        3,
        "the row repeats row 2 of pools_north.csv",
    )


def test_visits_on_a_sheet_of_the_pools_are_visits(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["pool", "lat", "lon"], ["P1", 60.1, 24.9]):
        book.active.append(row)
    looks = book.create_sheet("looks")
    for row in (["pool", "date", "outcome"], ["P1", "2024-05-01", "dry"]):
        looks.append(row)
    book.save(tmp_path / "pools.xlsx")
    write(tmp_path, "area.toml", "as_of = 2025-01-01\n")
    area = open_area(tmp_path)
    assert area.visits["outcome"].tolist() == ["dry"]
    assert "visits" in area.has
    assert area.ledger.counts()["pools"] == {"read": 1, "accepted": 1, "set_aside": 0}


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


def test_a_named_index_of_a_parquet_file_is_a_column(tmp_path: Path) -> None:
    pd.DataFrame({"lat": [60.1], "lon": [24.9]}, index=pd.Index(["P1"], name="pool")).to_parquet(
        tmp_path / "pools.parquet"
    )
    (one,) = read_tables(tmp_path / "pools.parquet")
    assert one.headings == ("pool", "lat", "lon")


def test_parquet_without_geometry(tmp_path: Path) -> None:
    dates = [datetime.datetime(2024, 5, 1), None]
    pd.DataFrame({"pool": ["P1", None], "date": dates}).to_parquet(tmp_path / "visits.parquet")
    (one,) = read_tables(tmp_path / "visits.parquet")
    assert list(one.rows) == [("P1", datetime.date(2024, 5, 1)), (None, None)]
    assert one.geometry is None


# --- rows longer than their headings ---------------------------------------------------------------------------------


def test_rows_that_share_their_extra_cells_are_whole(tmp_path: Path) -> None:
    """As a spreadsheet saves a list that has columns without headings: most are blank there, some hold a word."""
    lines = [f"P{i},60.{i},24.9,,{'by the gate' if i % 5 == 0 else ''}" for i in range(10, 40)]
    lines += ["P40,60.4,24.9, two, three, four", "P41,60.41,24.9"]
    one = read_one(tmp_path, "pools.csv", "\n".join(["pool,lat,lon", *lines]) + "\n")
    assert [one.rows[at][0] for at in one.odd] == ["P40"]
    assert len(as_dict(one)) == 31
    assert one.left_out == ("column 5 of the table has no heading and was not read",)


def test_filled_extra_cells_of_most_rows_are_whole_where_the_others_fit_their_headings(tmp_path: Path) -> None:
    fits = "pool,lat,lon\n" + "".join(f"P{i},60.{i},24.9{i},north side\n" for i in range(10, 20))
    assert len(as_dict(read_one(tmp_path, "pools.csv", fits))) == 10
    decimal_commas = "pool,lat,lon,note\n" + "".join(f"P{i},60,{i}1,24,9{i},north\n" for i in range(10, 20))
    assert as_dict(read_one(tmp_path, "pools.csv", decimal_commas)) == {}
