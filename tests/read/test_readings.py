"""readings.xlsx: what is asked there, and what an answer changes, whichever program saved it."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Mapping
from pathlib import Path

import openpyxl
import pytest

from habitatmap.area import Area, open_area
from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.readings import HELP, NAME, NOT_GIVEN, SHEETS, numbers_in
from habitatmap.words.catalogue import LANGUAGES, catalogue
from tests.commands import habitatmap
from tests.office import needs_office, saved_as

POOLS = "pool,lat,lon\nP1,53.5512,10.0123\nP2,53.5623,10.0234\n"
DAY = datetime.date(2024, 5, 1)


def check(folder: Path) -> int:
    return habitatmap("check", folder).code


def town(folder: Path, second: list[list[object]] | None = None, **files: str) -> Path:
    """An area of two pools; `second`: a sheet more in their workbook."""
    (folder / "area.toml").write_text('crs = "EPSG:25832"\nas_of = 2025-06-30\n', encoding="utf-8")
    book = openpyxl.Workbook()
    book.active.title = "Vaatjes"
    for line in POOLS.splitlines():
        pool, lat, lon = line.split(",")
        book.active.append([pool, lat, lon] if pool == "pool" else [pool, float(lat), float(lon)])
    if second:
        sheet = book.create_sheet("Bezoeken")
        for row in second:
            sheet.append(row)
    book.save(folder / "pools.xlsx")
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def lines(folder: Path, sheet: str) -> list[dict[str, object]]:
    heads, *rows = openpyxl.load_workbook(folder / NAME)[sheet].iter_rows(values_only=True)
    return [dict(zip(heads, row, strict=True)) for row in rows if any(row)]


def say(folder: Path, sheet: str, **answers: Mapping[str, str]) -> None:
    """Fills in lines of a sheet: by what stands in any cell of a line, or as a new line where that is nowhere."""
    book = openpyxl.load_workbook(folder / NAME)
    page = book[sheet]
    heads = [cell.value for cell in page[1]]
    for about, cells in answers.items():
        rows = [r for r in range(2, page.max_row + 1) if about in [c.value for c in page[r]]]
        used = [r for r in range(1, page.max_row + 1) if any(c.value for c in page[r])]
        for row in rows or [max(used) + 1]:
            for name, text in cells.items():
                page.cell(row, heads.index(name) + 1, text)
    book.save(folder / NAME)


def visits_of(area: Area) -> list[tuple[str, str, str]]:
    rows = area.visits[["pool", "date", "outcome"]].itertuples(index=False)
    return [(pool, f"{date:%Y-%m-%d}", outcome) for pool, date, outcome in rows]


DUTCH: list[list[object]] = [
    ["Emmertje", "Wanneer geweest", "Wat zat erin", "Weer"],
    ["P1", DAY, "beestjes", "zon"],
    ["P2", DAY, "nul komma nul", "zon"],
    ["P1", datetime.date(2024, 6, 1), "geen idee", "regen"],
]


def test_a_sheet_under_headings_that_nobody_knows_is_read_once_they_are_taught(tmp_path: Path) -> None:
    """The case that lost 41 visits without a word: a second sheet whose headings are nobody's."""
    town(tmp_path, DUTCH)
    before = open_area(tmp_path)
    assert [(u.sheet, u.why.code) for u in before.ledger.unused] == [("Bezoeken", Why.NO_HEADING_KNOWN)]
    assert check(tmp_path) == 1
    asked = {line["heading"]: line for line in lines(tmp_path, "headings")}
    assert (asked["Emmertje"]["means"], asked["Emmertje"]["first cells"]) == (None, "P1 | P2")
    assert asked["lat"]["means"] == "lat"
    means = {"Emmertje": "pool", "Wanneer geweest": "date", "Wat zat erin": "outcome"}
    say(tmp_path, "headings", **{heading: {"means": name} for heading, name in means.items()})
    assert check(tmp_path) == 1
    words = [(line["file"], line["column"], line["word"]) for line in lines(tmp_path, "words")]
    assert words == [("pools.xlsx", "outcome", w) for w in ("beestjes", "nul komma nul", "geen idee")]
    answers = {"beestjes": "larvae", "nul komma nul": "none seen", "geen idee": NOT_GIVEN}
    say(tmp_path, "words", **{word: {"means": means} for word, means in answers.items()})
    area = open_area(tmp_path)
    assert visits_of(area) == [("P1", "2024-05-01", "larvae"), ("P2", "2024-05-01", "none seen")]
    assert [e.why.code for e in area.ledger.in_order()] == [Why.NO_OUTCOME]
    assert area.ledger.unused == []


def test_what_is_only_asked_changes_nothing(tmp_path: Path) -> None:
    town(tmp_path, DUTCH, visits="pool,date,outcome\nP1,2024-05-01,larvae\nP9,2024-05-02,dry\nP2,2024-05-03,hm\n")
    before = open_area(tmp_path)
    check(tmp_path)
    after = open_area(tmp_path)
    assert visits_of(after) == visits_of(before)
    assert after.ledger.frame().equals(before.ledger.frame())
    assert after.notes == before.notes
    written = (tmp_path / NAME).read_bytes()
    check(tmp_path)
    assert (tmp_path / NAME).read_bytes() == written


def test_a_file_of_any_name_is_read_once_somebody_says_what_it_holds(tmp_path: Path) -> None:
    town(tmp_path, Lisa="Pool,date,outcome\nP1,2024-05-01,larvae\n", members="name,phone\nAnna,12345\n")
    assert {u.file: u.why.code for u in open_area(tmp_path).ledger.unused} == dict.fromkeys(
        ["Lisa.csv", "members.csv"], Why.OTHER_NAME
    )
    check(tmp_path)
    say(tmp_path, "files", **{"Lisa.csv": {"kind": "visits"}})
    say(tmp_path, "ignore", new={"file": "members.csv"})
    area = open_area(tmp_path)
    assert visits_of(area) == [("P1", "2024-05-01", "larvae")]
    assert [(u.file, u.why.code, u.to_do) for u in area.ledger.unused] == [("members.csv", Why.SAID_TO_BE_NONE, False)]
    assert check(tmp_path) == 0


def test_a_pool_that_was_renamed_keeps_its_visits(tmp_path: Path) -> None:
    """Before the day the old name means the pool, from that day on another pool may bear it."""
    visits = "pool,date,outcome\nGate,2024-05-01,larvae\nP1,2024-05-01,dry\nP1,2024-07-01,larvae\nP2,2024-07-01,dry\n"
    town(tmp_path, visits=visits)
    check(tmp_path)
    assert [(line["old"], line["new"]) for line in lines(tmp_path, "names")] == [("Gate", None)]
    say(tmp_path, "names", Gate={"new": "P2"}, P1={"old": "P1", "new": "P2", "from": "2024-06-01"})
    assert visits_of(open_area(tmp_path)) == [
        ("P1", "2024-07-01", "larvae"),
        ("P2", "2024-05-01", "larvae"),
        ("P2", "2024-05-01", "dry"),
        ("P2", "2024-07-01", "dry"),
    ]


def test_rows_that_are_no_records_are_known_again_when_they_move(tmp_path: Path) -> None:
    head, *rows = "pool,date,outcome\nP1,2024-05-01,larvae\nP2,see the letter,\nP2,2024-05-02,dry\n".splitlines()
    town(tmp_path, visits="\n".join([head, *rows]))
    check(tmp_path)
    say(tmp_path, "ignore", new={"file": "visits.csv", "rows": "3"})
    assert check(tmp_path) == 0
    assert lines(tmp_path, "ignore")[0]["the rows say"] == "P2; see the letter"
    (tmp_path / "visits.csv").write_text("\n".join([head, *rows[::-1], "P1,2024-05-03,dry"]), encoding="utf-8")
    area = open_area(tmp_path)
    assert [(e.row, e.why.code) for e in area.ledger.in_order()] == [(3, Why.NO_RECORD)]
    assert len(area.visits) == 3


def test_the_order_of_day_and_month_is_asked_and_answered(tmp_path: Path) -> None:
    town(tmp_path, visits="pool,date,outcome\nP1,03/04/2024,larvae\nP2,05/06/2024,dry\n")
    check(tmp_path)
    assert [(line["file"], line["column"]) for line in lines(tmp_path, "units")] == [("visits.csv", "date")]
    say(tmp_path, "units", date={"unit": "day-month-year"})
    assert [day for _, day, _ in visits_of(open_area(tmp_path))] == ["2024-04-03", "2024-06-05"]


def test_a_column_that_is_none_of_ours_and_one_that_was_taken_wrongly(tmp_path: Path) -> None:
    town(tmp_path, visits="pool,date,day noted,outcome\nP1,2024-01-01,2024-05-03,larvae\n")
    check(tmp_path)
    say(tmp_path, "headings", **{"day noted": {"means": "date"}})
    assert visits_of(open_area(tmp_path)) == [("P1", "2024-05-03", "larvae")]


def test_a_file_saved_in_another_format_keeps_what_was_said_of_it(tmp_path: Path) -> None:
    town(tmp_path, visits="pool,dag x,outcome\nP1,2024-05-03,larvae\n")
    check(tmp_path)
    say(tmp_path, "headings", **{"dag x": {"means": "date"}})
    book = openpyxl.Workbook()
    for row in (["outcome", "Dag  X", "pool"], ["larvae", datetime.date(2024, 5, 3), "P1"]):
        book.active.append(row)
    book.save(tmp_path / "visits.xlsx")
    (tmp_path / "visits.csv").unlink()
    area = open_area(tmp_path)
    assert visits_of(area) == [("P1", "2024-05-03", "larvae")]
    book.active["B1"] = "renamed"
    book.save(tmp_path / "visits.xlsx")
    assert any("dag x" in note and "renamed" in note for note in open_area(tmp_path).notes)


def test_answers_are_kept_and_what_contradicts_is_told(tmp_path: Path) -> None:
    town(tmp_path, visits="pool,dag x,outcome\nP1,2024-05-03,larvae\n")
    (tmp_path / "area.toml").write_text('crs = "EPSG:25832"\n[columns.visits]\nnote = "dag x"\n', encoding="utf-8")
    check(tmp_path)
    say(tmp_path, "headings", **{"dag x": {"means": "date"}})
    area = open_area(tmp_path)
    assert visits_of(area) == [("P1", "2024-05-03", "larvae")]
    assert any("area.toml says that dag x (visits.csv) is note" in note for note in area.notes)
    say(tmp_path, "words", new={"file": "visits.csv", "column": "outcome", "word": "larvae", "means": "a lot"})
    check(tmp_path)
    assert [(line["word"], line["means"]) for line in lines(tmp_path, "words")] == [("larvae", "a lot")]
    assert any('"larvae" cannot mean "a lot"' in note for note in open_area(tmp_path).notes)


def test_a_workbook_that_cannot_be_opened_stops_the_map_and_is_never_written_over(tmp_path: Path) -> None:
    town(tmp_path)
    (tmp_path / NAME).write_bytes(b"PK\x03\x04 cut")
    with pytest.raises(InputError, match=r"readings.xlsx cannot be opened"):
        open_area(tmp_path)
    assert check(tmp_path) == 1
    assert (tmp_path / NAME).read_bytes() == b"PK\x03\x04 cut"


@needs_office
@pytest.mark.parametrize("suffix", ["xlsx", "ods"])
def test_answers_saved_by_another_spreadsheet_program(tmp_path: Path, suffix: str) -> None:
    folder = tmp_path / "town"
    folder.mkdir()
    town(folder, DUTCH)
    check(folder)
    means = {"Emmertje": "pool", "Wanneer geweest": "date", "Wat zat erin": "outcome"}
    say(folder, "headings", **{heading: {"means": name} for heading, name in means.items()})
    say(folder, "words", new={"file": "pools.xlsx", "column": "outcome", "word": "beestjes", "means": "larvae"})
    shutil.move(folder / NAME, tmp_path / NAME)
    saved_as(suffix, [tmp_path / NAME], folder)
    assert visits_of(open_area(folder)) == [("P1", "2024-05-01", "larvae")]
    check(folder)
    assert [p.name for p in folder.glob("readings.*")] == [NAME]
    assert visits_of(open_area(folder)) == [("P1", "2024-05-01", "larvae")]


def test_numbers_of_rows() -> None:
    assert numbers_in("3, 7-9; 12") == {3, 7, 8, 9, 12}
    assert numbers_in("all") == set()


def test_corrected_copies_read_as_the_originals_with_all_corrections(tmp_path: Path) -> None:
    """The copies alone, without readings.xlsx and correction files, give the same records."""
    visits = "pool,date,outcome,note\nGate,03/04/2024,hm,a\nP1,05/06/2024,dry,=x\nP2,,larvae,c\nTotal,,,\nlook,,,\n"
    town(tmp_path, DUTCH, visits=visits)
    check(tmp_path)
    say(tmp_path, "headings", Emmertje={"means": "pool"}, **{"Wanneer geweest": {"means": "date"}})
    say(tmp_path, "headings", **{"Wat zat erin": {"means": "outcome"}})
    say(
        tmp_path, "words", hm={"means": "none seen"}, beestjes={"column": "outcome", "word": "beestjes", "means": "dry"}
    )
    say(tmp_path, "names", Gate={"new": "P2"})
    say(tmp_path, "units", date={"unit": "day-month-year"})
    say(tmp_path, "ignore", new={"file": "visits.csv", "rows": "6"})
    habitatmap("check", tmp_path, "--fix")
    path = tmp_path / "visits.fix.csv"
    path.write_text(
        path.read_text(encoding="utf-8-sig").replace("P2,,larvae", "P2,2024-05-09,larvae"), encoding="utf-8"
    )
    habitatmap("check", tmp_path, "--write-corrected")
    before = open_area(tmp_path)
    copies = tmp_path / "copies"
    shutil.copytree(tmp_path / "check" / "corrected", copies)
    shutil.copy(tmp_path / "area.toml", copies)
    after = open_area(copies)
    assert visits_of(after) == visits_of(before)
    assert ("P2", "2024-05-09", "larvae") in visits_of(after)
    assert after.visits["note"].tolist() == before.visits["note"].tolist()
    assert after.pools.drop(columns=["file", "row"]).equals(before.pools.drop(columns=["file", "row"]))
    assert not (copies / "readings.xlsx").exists()


def test_somebodys_own_workbook_of_that_name_is_told_and_never_written_over(tmp_path: Path) -> None:
    town(tmp_path)
    book = openpyxl.Workbook()
    book.active.append(["pool", "water level (cm)"])
    book.save(tmp_path / NAME)
    before = (tmp_path / NAME).read_bytes()
    assert check(tmp_path) == 1
    assert (tmp_path / NAME).read_bytes() == before
    assert any("give it another name" in note for note in open_area(tmp_path).notes)


def test_the_unit_of_a_thickness_is_asked_and_answered(tmp_path: Path) -> None:
    """Inches are usual there, so that a bare column is asked. An inch is 2.54 cm by definition: 20 are 50.8 cm."""
    pools = "pool,lat,lon\nP1,40.71,-74.00\n"
    town(tmp_path, trees="lat,lon,genus,dbh\n40.711,-74.001,Quercus,20\n40.712,-74.002,Acer,30\n")
    (tmp_path / "area.toml").write_text("as_of = 2025-06-30\n", encoding="utf-8")
    (tmp_path / "pools.xlsx").unlink()
    (tmp_path / "pools.csv").write_text(pools, encoding="utf-8")
    assert open_area(tmp_path).trees["diameter_cm"].isna().all()
    check(tmp_path)
    assert [(line["file"], line["column"], line["unit"]) for line in lines(tmp_path, "units")] == [
        ("trees.csv", "diameter_cm", None)
    ]
    say(tmp_path, "units", diameter_cm={"unit": "inch"})
    assert open_area(tmp_path).trees["diameter_cm"].tolist() == pytest.approx([76.2, 50.8])


def test_a_line_with_the_columns_of_the_contract_only_keeps_its_meaning(tmp_path: Path) -> None:
    """Blank under means is "not ours", also after check has written its own columns beside it."""
    town(tmp_path, visits="pool,date,outcome,note\nP1,2024-05-01,dry,secret\n")
    book = openpyxl.Workbook()
    book.active.title = "headings"
    book.active.append(["file", "sheet", "heading", "means"])
    book.active.append(["visits.csv", None, "note", None])
    book.save(tmp_path / NAME)
    for _ in range(3):
        assert open_area(tmp_path).visits["note"].tolist() == [""]
        check(tmp_path)
    habitatmap("check", tmp_path, "--write-corrected")
    copy = (tmp_path / "check" / "corrected" / "visits.csv").read_text(encoding="utf-8-sig")
    assert copy.splitlines()[0] == "pool,date,outcome,not read: note"


def test_rows_added_to_a_line_of_rows_that_are_no_records(tmp_path: Path) -> None:
    town(tmp_path, visits="pool,date,outcome\nP1,see below,\nP1,2024-05-01,dry\nP2,see above,\n")
    check(tmp_path)
    say(tmp_path, "ignore", new={"file": "visits.csv", "rows": "2"})
    check(tmp_path)
    say(tmp_path, "ignore", **{"visits.csv": {"rows": "2, 4"}})
    aside = open_area(tmp_path).ledger.in_order()
    assert [(e.row, e.why.code) for e in aside] == [(2, Why.NO_RECORD), (4, Why.NO_RECORD)]


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_the_workbook_speaks_the_language_of_the_area_and_is_read_in_each(tmp_path: Path, language: str) -> None:
    """Sheets and headings stay; help, explanations and the words to choose from are in the language."""
    visits = "pool,date,outcome\nP1,2024-05-01,hm\nP2,2024-05-03,tja\nP2,2024-05-04,soso\n"
    folder, told = town(tmp_path, visits=visits), catalogue(language).say
    with (folder / "area.toml").open("a", encoding="utf-8") as toml:
        toml.write(f'language = "{language}"\n')
    assert check(folder) == 1
    book = openpyxl.load_workbook(folder / NAME)
    assert book.sheetnames == [*SHEETS, told("Help"), "lists"]
    rules = [rule for sheet in book for rule in sheet.data_validations.dataValidation]
    said = {cell.value for sheet in book for row in sheet for cell in row} | {rule.prompt for rule in rules}
    assert said & {*HELP} == set()
    assert {told(text) for text in HELP} <= said
    (offered,) = {rule.formula1 for rule in book["words"].data_validations.dataValidation}
    assert offered.startswith(f'"{told("larvae")},{told("none seen")},')
    answers = {"hm": told("none seen"), "tja": "none seen", "soso": told(NOT_GIVEN).upper()}
    say(folder, "words", **{word: {"means": means} for word, means in answers.items()})
    found = [("P1", "2024-05-01", "none seen"), ("P2", "2024-05-03", "none seen")]
    assert visits_of(open_area(folder)) == found
    with (folder / "visits.csv").open("a", encoding="utf-8") as more:
        more.write("P1,2024-05-05,ach\n")
    check(folder)
    means = [line["means"] for line in lines(folder, "words")]
    assert means == [told("none seen"), told("none seen"), told(NOT_GIVEN), None]
    assert visits_of(open_area(folder)) == found
