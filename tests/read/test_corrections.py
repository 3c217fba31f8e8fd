"""Correction files: what is asked, what a volunteer's spreadsheet does to it, and how it is read with its original."""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from habitatmap.area import Area, open_area
from habitatmap.errors.why import Why
from habitatmap.geo.crs import to_lonlat
from habitatmap.read.corrections import KNOWN_DATE, LAST, protect, unprotect, write_fixes
from habitatmap.read.formats.cells import clean
from tests.areas import area_folder
from tests.commands import habitatmap as command
from tests.office import needs_office, saved_as

POOLS = "pool,lat,lon,set_out,note\nP1,53.5512,10.0123,2025-04-01,\nP2,53.5623,10.0234,2025-04-02,\n"
VISITS = "pool,date,outcome,larvae,note\n"


def area(folder: Path, visits: str = "", pools: str = POOLS, **more: Any) -> Area:
    texts = {"pools": pools} | ({"visits": visits} if visits else {})
    return open_area(area_folder(folder, 'crs = "EPSG:25832"\nas_of = 2025-10-01\n', **texts))


def ask(folder: Path, name: str = "visits") -> Path:
    opened = open_area(folder)
    write_fixes(folder, opened.ledger)
    return folder / f"{name}.fix.csv"


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline="")))


def rewrite(path: Path, rows: list[dict[str, str]], delimiter: str = ",", encoding: str = "utf-8-sig") -> None:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), delimiter=delimiter, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(out.getvalue().encode(encoding, "replace"))


def test_the_rows_to_correct_say_why_in_the_language_of_who_corrects_them(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-02-30,dry,,\n")
    assert command("check", tmp_path, "--fix", "--language", "de").code == 1
    (row,) = rows_of(tmp_path / "visits.fix.csv")
    assert row["why"] == "zwischen 1900 und 2199 gibt es diesen Tag nicht"
    assert row["what_to_do"].startswith("schreiben Sie das Datum")
    correct(tmp_path / "visits.fix.csv", date="2025-02-28")
    assert open_area(tmp_path).visits["date"].astype(str).tolist() == ["2025-02-28"]
    command("check", tmp_path, "--fix", "--language", "de")
    (row,) = rows_of(tmp_path / "visits.fix.csv")
    assert (row["why"], row["what_to_do"]) == ("berichtigt und verwendet", "nichts")


def correct(path: Path, **new: str) -> None:
    """Somebody types new cells into the first row."""
    rows = rows_of(path)
    rows[0].update(new)
    rewrite(path, rows)


def told(opened: Area) -> dict[tuple[str, int], str]:
    """(file, row) -> the name of the reason."""
    return {(entry.file, entry.row): entry.why.code.name for entry in opened.ledger.in_order()}


def test_a_corrected_row_takes_the_place_of_its_original(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,larvae,3,\nP2,2025-05-02,,,by the gate\n")
    path = ask(tmp_path)
    (row,) = rows_of(path)
    assert list(row) == ["why", "what_to_do", "pool", "date", "outcome", "larvae", "note", *LAST]
    assert (row["pool"], row["note"], row["from_file"], row["from_row"]) == ("P2", "by the gate", "visits.csv", "3")
    correct(path, outcome="dry")
    opened = open_area(tmp_path)
    opened.ledger.check()
    assert told(opened) == {("visits.csv", 3): "CORRECTED"}
    assert opened.visits[["pool", "outcome", "note", "file", "row"]].values.tolist()[1] == [
        "P2", "dry", "by the gate", "visits.fix.csv", 2
    ]  # fmt: skip
    assert opened.ledger.by_file()["visits", "visits.fix.csv"] == (1, 1, 0)


def test_an_untouched_row_says_so_and_the_original_keeps_its_reason(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    ask(tmp_path)
    opened = open_area(tmp_path)
    assert told(opened) == {("visits.csv", 2): "NO_OUTCOME", ("visits.fix.csv", 2): "NOT_CORRECTED"}
    assert opened.ledger.counts()["visits"] == {"read": 2, "accepted": 0, "set_aside": 2}


def test_a_wrong_correction_leaves_the_original_in_place_and_is_told(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    path = ask(tmp_path)
    correct(path, outcome="so-so")
    assert told(open_area(tmp_path)) == {("visits.csv", 2): "NO_OUTCOME", ("visits.fix.csv", 2): "ODD_OUTCOME"}
    (row,) = rows_of(ask(tmp_path))
    assert (row["outcome"], row["why"]) == ("so-so", Why.ODD_OUTCOME.reason)


def test_a_wrong_correction_does_not_undo_an_original_that_has_come_right(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P3,2025-05-01,dry,,\n")
    correct(ask(tmp_path), date="last week")
    opened = area(tmp_path, pools=f"{POOLS}P3,53.57,10.03,2025-04-01,\n")
    assert told(opened) == {("visits.fix.csv", 2): "DATE_UNREAD"}
    assert opened.visits["file"].tolist() == ["visits.csv"]


def test_a_row_whose_original_has_come_right_is_no_longer_needed(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P3,2025-05-01,dry,,\n")
    path = ask(tmp_path)
    opened = area(tmp_path, pools=f"{POOLS}P3,53.57,10.03,2025-04-01,\n")
    assert told(opened) == {("visits.fix.csv", 2): "ORIGINAL_FINE"}
    ask(tmp_path)
    assert not path.exists()


def test_a_row_is_found_again_where_others_were_put_in_above_it(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    correct(ask(tmp_path), outcome="dry")
    opened = area(tmp_path, f"{VISITS}P2,2025-04-30,dry,,\nP1,2025-05-01,,,\n")
    assert told(opened) == {("visits.csv", 3): "CORRECTED"}
    assert len(opened.visits) == 2


def test_a_correction_of_a_row_that_has_changed_since_is_kept_and_told(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    correct(ask(tmp_path), outcome="dry")
    opened = area(tmp_path, f"{VISITS}P1,2025-05-02,,,\n")
    opened.ledger.check()
    assert told(opened) == {("visits.csv", 2): "NO_OUTCOME", ("visits.fix.csv", 2): "ORIGINAL_CHANGED"}
    kept, new = rows_of(ask(tmp_path))
    assert (kept["outcome"], kept["date"]) == ("dry", "'2025-05-01")
    assert (new["outcome"], new["date"]) == ("", "'2025-05-02")
    (tmp_path / "visits.csv").unlink()
    assert told(open_area(tmp_path))["visits.fix.csv", 2] == "ORIGINAL_CHANGED"


def test_an_untouched_row_whose_original_has_changed_goes(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    path = ask(tmp_path)
    area(tmp_path, f"{VISITS}P1,2025-05-02,dry,,\n")
    ask(tmp_path)
    assert not path.exists()


def test_asking_again_keeps_what_was_corrected_and_adds_what_is_new(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    path = ask(tmp_path)
    correct(path, outcome="dry", note="Ä second look")
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\nP2,,dry,,\n")
    first, second = rows_of(ask(tmp_path))
    assert (first["outcome"], first["note"], first["why"]) == ("dry", "Ä second look", "corrected, and used")
    assert (second["pool"], second["why"]) == ("P2", Why.NO_DATE.reason)
    before = path.read_bytes()
    ask(tmp_path)
    assert path.read_bytes() == before


def test_two_rows_for_one_original(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    path = ask(tmp_path)
    (row,) = rows_of(path)
    rewrite(path, [row, row | {"outcome": "dry"}, row | {"outcome": "frozen"}])
    opened = open_area(tmp_path)
    opened.ledger.check()
    fix = "visits.fix.csv"
    assert told(opened) == {
        ("visits.csv", 2): "CORRECTED", (fix, 2): "CORRECTED_TWICE", (fix, 4): "CORRECTED_TWICE"
    }  # fmt: skip
    assert opened.visits["outcome"].tolist() == ["dry"]


def test_a_row_that_leads_nowhere(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    path = ask(tmp_path)
    (row,) = rows_of(path)
    rewrite(path, [row, row | {"from_file": "", "pool": "P2", "outcome": "dry"}])
    opened = open_area(tmp_path)
    assert told(opened)["visits.fix.csv", 3] == "NO_ORIGINAL"
    assert [r["pool"] for r in rows_of(ask(tmp_path))] == ["P1", "P2"]


def test_rows_that_no_correction_can_mend_are_not_asked_for(tmp_path: Path) -> None:
    visits = f"{VISITS}P1,2025-05-01,dry,,\nP1,2025-05-01,dry,,\npool,date,outcome,larvae,note\nTotal,,,2,\n"
    opened = area(tmp_path, visits)
    assert sorted(told(opened).values()) == ["HEADING_AGAIN", "REPEAT", "TOTAL_ROW"]
    assert not ask(tmp_path).exists()


def test_the_pools_own_row_is_asked_for_and_not_its_visits(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P3,2025-05-01,dry,,\n", pools=f"{POOLS}P3,,,,\n")
    assert not ask(tmp_path).exists()
    correct(tmp_path / "pools.fix.csv", lat="53.57", lon="10.03")
    assert told(open_area(tmp_path)) == {("pools.csv", 4): "CORRECTED"}


def test_the_first_place_of_all_may_come_from_a_correction(tmp_path: Path) -> None:
    """Where no row of the original has a place, its correction still shows where the area lies."""
    area(tmp_path, pools=f"{POOLS}P3,,,,\n")
    path = ask(tmp_path, "pools")
    correct(path, lat="53.57", lon="10.03")
    rows = rows_of(path)
    (tmp_path / "area.toml").write_text("")
    lone = "pool,lat,lon,set_out,note\nP3,,,,\n"
    (tmp_path / "pools.csv").write_text(lone)
    rewrite(path, [rows[0] | {"from_row": "2"}])
    assert open_area(tmp_path).pools["pool"].tolist() == ["P3"]


def test_two_files_of_one_name_and_two_sheets(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,,,\n")
    book = openpyxl.Workbook()
    book.active.title = "North"
    for sheet in (book.active, book.create_sheet("South")):
        sheet.append(["pool", "date", "outcome", "weather" if sheet.title == "South" else "wind"])
        sheet.append(["P1", "2025-06-01", None, sheet.title])
    book.save(tmp_path / "visits.xlsx")
    write_fixes(tmp_path, open_area(tmp_path).ledger)
    assert sorted(p.name for p in tmp_path.glob("*.fix.*")) == ["visits.csv.fix.csv", "visits.xlsx.fix.csv"]
    path = tmp_path / "visits.xlsx.fix.csv"
    rows = rows_of(path)
    assert [(r["wind"], r["weather"], r["from_sheet"]) for r in rows] == [
        ("North", "", "North"),
        ("", "South", "South"),
    ]
    rewrite(path, [rows[0], rows[1] | {"outcome": "dry"}])
    opened = open_area(tmp_path)
    opened.ledger.check()
    assert opened.visits[["outcome", "file", "row"]].values.tolist() == [["dry", "visits.xlsx.fix.csv", 3]]


def test_a_file_in_a_zip_has_its_corrections_beside_the_zip(tmp_path: Path) -> None:
    area(tmp_path)
    with zipfile.ZipFile(tmp_path / "export.zip", "w") as parts:
        parts.writestr("2025/visits.csv", f"{VISITS}P1,2025-05-01,,,\n")
    path = ask(tmp_path)
    correct(path, outcome="dry")
    assert told(open_area(tmp_path)) == {("export.zip/2025/visits.csv", 2): "CORRECTED"}


def test_two_tables_on_one_sheet(tmp_path: Path) -> None:
    area(tmp_path)
    book = openpyxl.Workbook()
    for row in [
        ["pool", "date", "outcome", None, "pool", "date", "outcome"],
        ["P1", "2025-05-01", None, None, "P2", "2025-05-01", "dry"],
        ["P1", "2025-05-02", "dry", None, "P2", "2025-05-02", None],
    ]:
        book.active.append(row)
    book.save(tmp_path / "visits.xlsx")
    path = ask(tmp_path)
    rewrite(path, [row | {"outcome": "frozen"} for row in rows_of(path)])
    opened = open_area(tmp_path)
    opened.ledger.check()
    assert opened.visits[["pool", "outcome"]].values.tolist() == [
        ["P1", "frozen"], ["P1", "dry"], ["P2", "dry"], ["P2", "frozen"]
    ]  # fmt: skip


def test_a_formula_that_failed_stays_so_until_its_value_is_typed(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,2025-05-01,#N/A,,\n")
    path = ask(tmp_path)
    correct(path, note="seen by two")
    assert told(open_area(tmp_path))[path.name, 2] == "FORMULA_ERROR"
    correct(path, outcome="dry")
    assert told(open_area(tmp_path)) == {("visits.csv", 2): "CORRECTED"}


def test_headings_that_are_blank_or_alike_or_ours(tmp_path: Path) -> None:
    area(tmp_path, "pool,date,outcome,note,note,,why\nP1,2025-05-01,,one,two,three,because\n")
    path = ask(tmp_path)
    (row,) = rows_of(path)
    assert {k: row[k] for k in ("note", "note (2)", "column 6", "why (2)")} == {
        "note": "one", "note (2)": "two", "column 6": "three", "why (2)": "because"
    }  # fmt: skip
    correct(path, outcome="dry")
    assert told(open_area(tmp_path)) == {("visits.csv", 2): "CORRECTED"}


def test_a_layers_row_keeps_its_shape(tmp_path: Path) -> None:
    area(tmp_path)
    (tmp_path / "pools.csv").unlink()
    points = [shapely.Point(10.01, 53.55), shapely.Point(10.02, 53.56), None]
    frame = gpd.GeoDataFrame({"pool": ["P1", "", "P3"]}, geometry=points, crs=4326)
    frame.to_file(tmp_path / "pools.gpkg")
    path = ask(tmp_path, "pools")
    (row,) = rows_of(path)  # the row without a point can't be mended in a list of cells
    assert row["from_row"] == "2"
    correct(path, pool="P2")
    opened = open_area(tmp_path)
    assert opened.pools["pool"].tolist() == ["P1", "P2"]
    opened.ledger.check()


# --- what a spreadsheet program does to the file ---------------------------------------------------------------------

LOCALES = {"British": ("%d/%m/%Y", ",", "."), "American": ("%m/%d/%Y", ",", "."), "German": ("%d.%m.%Y", ";", ",")}


def as_saved(locale: str, text: str) -> str:
    """A cell as a program of that country saves it.

    Simplified from what such programs are known to do (common practice, no source): dates in any usual writing become
    the locale's, numbers lose leading zeros and needless decimals, points may mark thousands, TRUE is a word.
    """
    style, _, mark = LOCALES[locale]
    for written in ("%Y-%m-%d", style, style.replace("%Y", "%y")):
        try:
            return datetime.datetime.strptime(text, written).strftime(style)
        except ValueError:
            continue
    number = text.replace(mark, ".")
    if re.fullmatch(r"-?\d+(\.\d*)?", number) and (mark == "." or "." not in text):
        return f"{float(number):.11g}".replace(".", mark)
    if mark == "," and re.fullmatch(r"\d+(\.\d{3})+", text):
        return text.replace(".", "")  # thousands
    if text.startswith(("=", "+", "-", "@")):
        return "#NAME?"
    return {"true": "TRUE", "false": "FALSE"}.get(text.casefold(), text)


def saved_by(locale: str, path: Path, typed: Mapping[int, Mapping[str, str]] = {}) -> None:
    """The file as that program saves it after somebody has typed into some of its rows; it knows Windows-1252 only."""
    rows = rows_of(path)
    for at, cells in typed.items():
        rows[at].update(cells)
    saved = [{name: as_saved(locale, cell) for name, cell in row.items()} for row in rows]
    rewrite(path, saved, LOCALES[locale][1], "cp1252")


@pytest.mark.parametrize("locale", LOCALES)
def test_saved_again_and_nothing_changed(tmp_path: Path, locale: str) -> None:
    """Not one cell of a row that nobody touched counts as changed, whatever the program made of it."""
    pools = "pool,lat,lon,set_out,removed,volume_l,note\n"
    odd = [
        "3/4",
        "'quoted",
        "=1+1",
        "-5",
        "1.500",
        "TRUE",
        "Łódź €5",
        "2024-05-03 14:30",
        "3 May",
        "May 3",
        "1e5",
        "00",
    ]
    odd += ["a, b; c", 'say "no"', "12 Mint Lane", "(7)", "100%", "+49 40 123", "0.5", "12345678901234567890"]
    body = "".join(
        ",".join([f"007{i}", "53.5512", "", "03/04/2025", "", "20.0", '"' + n.replace('"', '""') + '"']) + "\n"
        for i, n in enumerate(odd)
    )
    area(tmp_path, pools=f"{pools}P1,53.5512,10.123,2025-04-01,,,\n{body}")
    path = ask(tmp_path, "pools")
    assert len(rows_of(path)) == len(odd)
    saved_by(locale, path)
    assert {n: w for (f, n), w in told(open_area(tmp_path)).items() if f == path.name} == dict.fromkeys(
        range(2, len(odd) + 2), "NOT_CORRECTED"
    )


@pytest.mark.parametrize("locale", LOCALES)
def test_a_date_typed_in_any_country_is_the_day_that_was_meant(tmp_path: Path, locale: str) -> None:
    area(tmp_path, f"{VISITS}P1,03/05/2025,larvae,,\nP2,04/05/2025,dry,,\n")
    path = ask(tmp_path)
    saved_by(locale, path, {0: {"date": "2025-05-03"}})
    opened = open_area(tmp_path)
    assert opened.visits["date"].dt.date.tolist() == [datetime.date(2025, 5, 3)]
    assert told(opened)[path.name, 3] == "NOT_CORRECTED"
    asked_again = read_loosely(ask(tmp_path))
    assert asked_again[0]["date"] == "'2025-05-03"
    # the program that saved it can open it again
    assert path.read_text(encoding="utf-8-sig").count(";") > 10 or locale != "German"


def test_decimals_with_a_comma_and_names_with_leading_zeros(tmp_path: Path) -> None:
    area(tmp_path, pools=f"{POOLS}007,53.57,,03.04.2025,Höhle\n")
    path = ask(tmp_path, "pools")
    saved_by("German", path, {0: {"lon": "10,03125", "set_out": "05.04.2025"}})
    opened = open_area(tmp_path)
    row = opened.pools.set_index("pool").loc["007"]
    lon, lat = to_lonlat([row["x"]], [row["y"]], opened.crs)
    assert (round(float(lon[0]), 6), round(float(lat[0]), 6)) == (10.03125, 53.57)
    assert (row["set_out"].date(), row["note"]) == (datetime.date(2025, 4, 5), "Höhle")


def test_a_correction_file_saved_as_a_workbook(tmp_path: Path) -> None:
    area(tmp_path, f"{VISITS}P1,,larvae,,\n")
    path = ask(tmp_path)
    book = openpyxl.Workbook()
    (row,) = rows_of(path)
    book.active.append(list(row))
    book.active.append([datetime.date(2025, 5, 3) if name == "date" else cell for name, cell in row.items()])
    path.unlink()
    book.save(tmp_path / "visits.fix.xlsx")
    assert open_area(tmp_path).visits["date"].dt.date.tolist() == [datetime.date(2025, 5, 3)]
    assert not ask(tmp_path).exists()
    assert (tmp_path / "visits.fix.xlsx").exists()


@settings(deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=12))
def test_a_protected_text_is_read_back(text: str) -> None:
    text = clean(text) or ""
    assert text in (clean(protect(text)) or "", unprotect(clean(protect(text)) or ""))


def test_nothing_in_a_correction_file_runs(tmp_path: Path) -> None:
    area(tmp_path, f'{VISITS}P1,2025-05-01,,,"=HYPERLINK(""http://x"")"\n@P9,2025-05-01,dry,,+1\n')
    for row in rows_of(ask(tmp_path)):
        assert not [c for c in row.values() if c.startswith(("=", "+", "-", "@", "\t"))]
    assert rows_of(tmp_path / "visits.fix.csv")[0]["saved_as"] == KNOWN_DATE


P = "pool,lat,lon,set_out,removed,position\nT1,53.5512,10.0123,2025-04-01,,\nT2,53.5623,10.0234,2025-04-02,,\n"
V = "pool,date,outcome,larvae\nT2,2025-05-01,larvae,3\n"
# reason -> which table, a faulty row, what somebody types
CASES: dict[str, tuple[str, str, dict[str, str]]] = {
    "NO_NAME": ("pools", ",53.57,10.03,,,\n", {"pool": "A1"}),
    "NO_PLACE": ("pools", "A2,,,,,\n", {"lat": "53.57", "lon": "10.03"}),
    "HALF_A_PLACE": ("pools", "A3,53.57,,,,\n", {"lon": "10.03"}),
    "LATITUDE_UNREAD": ("pools", "A4,by the pond,10.03,,,\n", {"lat": "53.57"}),
    "LONGITUDE_UNREAD": ("pools", "A5,53.57,east,,,\n", {"lon": "10.03"}),
    "SWAPPED_LETTERS": ("pools", "A6,10.03 E,53.57 N,,,\n", {"lat": "53.57 N", "lon": "10.03 E"}),
    "LETTER_O": ("pools", "A7,53.57 N,10.03 O,,,\n", {"lon": "10.03 E"}),
    "ZERO_ZERO": ("pools", "A8,0,0,,,\n", {"lat": "53.57", "lon": "10.03"}),
    "BEYOND_90": ("pools", "A9,151.2,-33.9,,,\n", {"lat": "53.57", "lon": "10.03"}),
    "BEYOND": ("pools", "B1,53.57,1003,,,\n", {"lon": "10.03"}),
    "REMOVED_FIRST": ("pools", "B2,53.57,10.03,2025-04-02,2024-10-01,\n", {"removed": "2025-10-01"}),
    "TWO_PLACES": ("pools", "T1,53.57,10.03,,,\n", {"pool": "B3"}),
    "TWO_ROWS": ("pools", "T2,53.5623,10.0234,2025-04-22,,\n", {"pool": "B4"}),
    "DATE_IMPOSSIBLE": ("pools", "B5,53.57,10.03,31.02.2025,,\n", {"set_out": "2025-05-02"}),
    "POSITION_UNREAD": ("pools", "B6,,,,,behind the church\n", {"position": "53.57 N 10.03 E"}),
    "NO_POOL": ("visits", ",2025-05-02,dry,\n", {"pool": "T2"}),
    "UNKNOWN_POOL": ("visits", "T22,2025-05-03,dry,\n", {"pool": "T2"}),
    "NO_DATE": ("visits", "T2,,dry,\n", {"date": "2025-05-04"}),
    "DATE_UNREAD": ("visits", "T2,last week,dry,\n", {"date": "2025-05-05"}),
    "DATE_NOT_WHOLE": ("visits", "T2,May 2025,dry,\n", {"date": "2025-05-06"}),
    "DATE_UNDECIDED": ("visits", "T2,03/05/2025,dry,\n", {"date": "2025-05-07"}),
    "NO_OUTCOME": ("visits", "T2,2025-05-08,,\n", {"outcome": "dry"}),
    "ODD_OUTCOME": ("visits", "T2,2025-05-09,so-so,\n", {"outcome": "dry"}),
    "CODED_OUTCOME": ("visits", "T2,2025-05-10,0,\n", {"outcome": "larvae", "larvae": "3"}),
    "DOUBTFUL_COUNT": ("visits", "T2,2025-05-11,,1?\n", {"outcome": "none seen"}),
    "CONTRADICTION": ("visits", "T2,2025-05-12,none seen,4\n", {"outcome": "larvae"}),
    "LONG_ROW": ("visits", "T2,2025-05-13,dry,,left,side\n", {"larvae": "0"}),
}


def as_written(folder: Path, name: str, text: str, kind: str) -> str:
    """The table as a csv file, a csv of another country, or a workbook; gives the file's name."""
    rows = list(csv.reader(io.StringIO(text)))
    if kind == "csv":
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    elif kind == "semicolons":
        (folder / f"{name}.csv").write_text("\n".join(";".join(r) for r in rows), encoding="cp1252")
    elif kind == "xlsx":
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append([_typed(cell) for cell in row])
        book.save(folder / f"{name}.xlsx")
    else:
        _ods(folder / f"{name}.ods", rows)
    return f"{name}.{'csv' if kind == 'semicolons' else kind}"


def _typed(cell: str) -> Any:
    try:
        return float(cell)
    except ValueError:
        return cell or None


def _ods(path: Path, rows: list[list[str]]) -> None:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P as Paragraph

    book = OpenDocumentSpreadsheet()
    sheet = Table(name="one")
    for row in rows:
        line = TableRow()
        for cell in row:
            box = TableCell(valuetype="string") if cell else TableCell()
            if cell:
                box.addElement(Paragraph(text=cell))
            line.addElement(box)
        sheet.addElement(line)
    book.spreadsheet.addElement(sheet)
    book.save(str(path))


@pytest.mark.parametrize("kind", ["csv", "semicolons", "xlsx", "ods"])
def test_every_reason_that_can_be_mended_in_a_sheet_is_mended(tmp_path: Path, kind: str) -> None:
    """One faulty row for each reason, in one folder; then each is corrected, and none is left."""
    texts = {"pools": P, "visits": V}
    for name, faulty, _typed_in in CASES.values():
        texts[name] += faulty
    area(tmp_path)
    (tmp_path / "pools.csv").unlink()
    files = {name: as_written(tmp_path, name, text, kind) for name, text in texts.items()}
    opened = open_area(tmp_path)
    asked = {reason for reason in CASES if reason != "LONG_ROW" or kind in ("csv", "semicolons")}
    # a place that can only be meant one way, where the area lies, may be used as it is
    assert asked - {"BEYOND", "LETTER_O", "SWAPPED_LETTERS"} <= set(told(opened).values()) <= asked
    names = {entry.why.reason: entry.why.code.name for entry in opened.ledger.in_order()}
    write_fixes(tmp_path, opened.ledger)
    for name in files:
        path = tmp_path / f"{name}.fix.csv"
        rows = read_loosely(path)
        for row in rows:
            reason = names[row["why"]]
            # of the two rows with one name, only the second is to change
            if not (reason == "TWO_PLACES" and row["from_row"] == "2"):
                row.update(CASES[reason][2])
        rewrite(path, rows)
    mended = open_area(tmp_path)
    mended.ledger.check()
    assert set(told(mended).values()) <= {"CORRECTED", "ORIGINAL_FINE"}
    assert len(mended.pools) == sum(name == "pools" for name, _, _ in CASES.values()) + 2
    assert len(mended.visits) == sum(name == "visits" for name, _, _ in CASES.values()) + 1


def read_loosely(path: Path) -> list[dict[str, str]]:
    text = path.read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=";" if ";" in text.split("\n")[0] else ","))


@needs_office
@pytest.mark.parametrize("suffix", ["xlsx", "ods"])
def test_a_correction_outlives_its_original_saved_by_another_program(tmp_path: Path, suffix: str) -> None:
    """Days, decimals and leading zeros change their looks on the way; the row is known all the same."""
    folder = tmp_path / "town"
    folder.mkdir()
    rows = "P1,2025-05-01,,3,007\nP2,31.02.2025,dry,,1.50\nP2,2025-05-03,larvae,4,=x\n"
    area(folder, VISITS + rows)
    correct(ask(folder), date="2025-05-02")
    saved_as(suffix, [folder / "visits.csv"], folder)
    (folder / "visits.csv").unlink()
    opened = open_area(folder)
    opened.ledger.check()
    assert opened.visits["outcome"].tolist() == ["larvae", "dry", "larvae"]
    assert told(opened)[f"visits.{suffix}", 3] == "CORRECTED"
