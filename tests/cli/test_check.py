"""`habitatmap check`: what it says, what it writes, how it ends."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from tests.areas import area_folder
from tests.commands import Done, habitatmap

GOOD = "Pool name,Latitude,Longitude,Set out,colour\nA,48.1,9.5,2025-04-01,red\nB,48.11,9.51,2025-04-02,blue\n"


def check(*words: str | Path) -> Done:
    """The command in this process; `test_the_shell_sees_the_exit_code` starts one of its own."""
    return habitatmap("check", *words)


def area(folder: Path, pools: str = GOOD, visits: str = "") -> Path:
    return area_folder(folder, pools=pools, **({"visits": visits} if visits else {}))


def test_nothing_to_mend(tmp_path: Path) -> None:
    town = area(tmp_path / "town")
    done = check(town, "--json")
    assert done.code == 0, done.err
    (file,) = json.loads(done.out)["files"]
    assert (file["kind"], file["read"], file["accepted"], file["set_aside"]) == ("pools", 2, 2, 0)
    (table,) = file["tables"]
    assert {c["name"]: c["heading"] for c in table["columns"]}["lat"] == "Latitude"
    assert [u["heading"] for u in table["unmatched"]] == ["colour"]
    samples = [(s["column"], s["written"], s["understood"]) for s in table["samples"]]
    assert ("Set out", "2025-04-01", "2025-04-01") in samples
    assert next(s for s in samples if s[0] == "place")[1] == "48.1, 9.5"
    assert sorted(p.name for p in town.iterdir()) == ["check", "pools.csv", "readings.xlsx"]
    assert sorted(p.name for p in (town / "check").iterdir()) == ["check.html", "manifest.json", "set_aside.csv"]


def test_a_row_set_aside_ends_with_1_and_says_what_to_do(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nA,2025-05-01,larvae\nZ,2025-05-01,larvae\n")
    done = check(town)
    assert done.code == 1, done.err
    assert "visits.csv, row 3" in done.out
    aside = pd.read_csv(town / "check" / "set_aside.csv")
    assert list(aside["row"]) == [3]
    assert aside["remedy"][0] in done.out
    assert aside["remedy"][0] in (town / "check" / "check.html").read_text(encoding="utf-8")


def test_the_same_bytes_each_time(tmp_path: Path) -> None:
    town = area(tmp_path / "town")
    check(town)
    first = (town / "check" / "check.html").read_bytes()
    check(town, "--out", tmp_path / "other")
    assert (tmp_path / "other" / "check.html").read_bytes() == first


def test_a_table_that_stops_the_map_stands_on_the_page(tmp_path: Path) -> None:
    town = area(tmp_path / "town", "pool,x,y\nA,1,2\n")
    done = check(town)
    assert done.code == 1
    assert "nothing states the coordinate system of the columns x and y" in done.out
    page = (town / "check" / "check.html").read_text(encoding="utf-8")
    assert "What stops the map" in page
    assert "pools.csv" in page


def test_a_folder_that_cannot_be_read_ends_with_2_and_writes_nothing(tmp_path: Path) -> None:
    done = check(tmp_path / "nowhere")
    assert done.code == 2
    assert "nowhere does not exist" in done.err
    assert not list(tmp_path.iterdir())


def test_somebody_elses_folder_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "set_aside.csv").write_text("dear")
    assert check(area(tmp_path / "town"), "--out", tmp_path / "mine").code == 2
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["set_aside.csv"]


def test_what_was_put_right_or_is_at_odds_is_said_though_the_rows_are_used(tmp_path: Path) -> None:
    pools = "pool,lat,lon\nP1,60.1712,24.9415\nP2,60.1722,24.9425\nP-1,60.1732,24.9435\nP4,24.9445,60.1742\n"
    town = area(tmp_path / "town", pools)
    done = check(town)
    assert done.code == 1, done.out
    told = done.out.split("Please look:")[1]
    assert "row 5: with latitude and longitude swapped, 60.17420 N 24.94450 E" in told
    assert "P1 (pools.csv row 2) and P-1 (pools.csv row 4)" in told
    assert "with latitude and longitude swapped" in (town / "check" / "check.html").read_text(encoding="utf-8")


def test_the_shell_sees_the_exit_code(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nZ,2025-05-01,larvae\n")
    command = [sys.executable, "-m", "habitatmap", "check", str(town)]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 1


def test_fix_writes_beside_the_inputs_and_keeps_what_was_corrected(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nA,2025-05-01,\nZ,2025-05-01,dry\n")
    assert check(town, "--fix").code == 1
    path = town / "visits.fix.csv"
    files = ["check", "pools.csv", "readings.xlsx", "visits.csv", "visits.fix.csv"]
    assert sorted(p.name for p in town.iterdir()) == files
    assert "visits.fix.csv" in (town / "check" / "check.html").read_text(encoding="utf-8")
    path.write_text(path.read_text(encoding="utf-8").replace("'2025-05-01,,", "'2025-05-01,frozen,"), encoding="utf-8")
    assert check(town, "--fix").code == 1  # Z is still to be corrected
    text = path.read_text(encoding="utf-8").replace(",Z,", ",B,")
    assert ",frozen," in text
    path.write_text(text, encoding="utf-8")
    done = check(town)
    assert done.code == 0
    assert "visits.csv, rows 2, 3: corrected in row" in done.out


def test_semicolons_for_programs_with_a_decimal_comma(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nA,2025-05-01,\n")
    check(town, "--fix", "--semicolons")
    assert (
        (town / "visits.fix.csv")
        .read_text(encoding="utf-8-sig")
        .startswith("why;what_to_do;pool;date;outcome;from_file")
    )


def test_without_fix_nothing_is_written_beside_the_inputs(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nA,2025-05-01,\n")
    check(town)
    assert not list(town.glob("*.fix.csv"))


def test_a_correction_file_that_cannot_be_written_gets_a_sentence(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nA,2025-05-01,\n")
    (town / "visits.fix.csv").mkdir()
    done = check(town, "--fix")
    assert done.code == 2
    assert "visits.fix.csv" in done.err.splitlines()[-1]
    assert not [p for p in town.iterdir() if p.name.startswith(".")]


def test_every_file_and_sheet_is_told_whatever_lies_in_the_folder(tmp_path: Path) -> None:
    """As people send it: no list of pools by its name, odd files, a folder, a zip in a zip, a broken workbook."""
    town = tmp_path / "town"
    (town / "from Anna").mkdir(parents=True)
    (town / "from Anna" / "visits.csv").write_text("pool,date\n", encoding="utf-8")
    (town / "letter.docx").write_bytes(b"PK\x03\x04")
    (town / "Kontrollen NEU.csv").write_text("Teich;Datum;Ergebnis\nP1;5.4.2025;Larven\n", encoding="utf-8")
    (town / "visits.xlsx").write_bytes(b"PK\x03\x04 cut")
    book = openpyxl.Workbook()
    book.active.append(["池", "場所"])
    book.active.append(["P1", "門の横"])
    book.create_sheet("二").append(["日", "結果"])
    book["二"].append(["5月3日", "いた"])
    book.save(town / "水たまり.xlsx")
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as archive:
        archive.writestr("pools.csv", "pool,lat,lon\n")
    with zipfile.ZipFile(town / "season.zip", "w") as archive:
        archive.writestr("inner.zip", inner.getvalue())
    done = check(town, "--json")
    assert done.code == 1
    told = {(one["file"], one["sheet"]): one for one in json.loads(done.out)["not_used"]}
    assert {name: one["to_do"] for name, one in told.items()} == {
        ("from Anna/", ""): True,
        ("letter.docx", ""): False,
        ("Kontrollen NEU.csv", ""): True,
        ("visits.xlsx", ""): True,
        ("水たまり.xlsx", "Sheet"): True,
        ("水たまり.xlsx", "二"): True,
        ("season.zip", ""): True,
    }
    assert told["水たまり.xlsx", "二"]["headings"] == ["日", "結果"]
    assert told["Kontrollen NEU.csv", ""]["rows"] == [["P1", "5.4.2025", "Larven"]]
    page = (town / "check" / "check.html").read_text(encoding="utf-8")
    assert all(name in page for name, _ in told)
    with (town / "check" / "set_aside.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {(row["file"], row["sheet"]) for row in rows if not row["row"]} == set(told)


def test_causes_stand_before_effects_and_all_faults_of_a_row_are_told(tmp_path: Path) -> None:
    town = area(tmp_path / "town", "pool,lat,lon,old name\nA,60.1,24.9,\nB,,,T2\nC,60.2,,\n")
    visits = "pool,date,outcome\nB,2025-05-01,dry\nC,2025-05-02,dry\nT2,2025-05-03,dry\nZ,x,hm\n"
    (town / "visits.csv").write_text(visits, encoding="utf-8")
    out = check(town).out
    assert ". This row sets 2 visits aside: correct it, and the visits count." in out  # one is under its old name
    assert "This row sets 1 visit aside: correct it, and the visits count." in out
    assert out.index("This row sets") < out.index("was itself set aside")
    row = next(r for r in json.loads(check(town, "--json").out)["set_aside"] if r["row"] == 5)
    assert row["reason"] == (
        "there is no pool of this name; date: the date cannot be read; outcome: the outcome is not one of those we know"
    )
    assert row["remedy"].count(";") == 2


def test_map_tells_what_it_did_not_use(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    town = area(tmp_path / "town")
    (town / "Lisa.csv").write_text("pool,date,outcome\nA,2025-05-01,dry\n", encoding="utf-8")
    done = habitatmap("map", town, "--json")
    assert done.code == 0
    (told,) = json.loads(done.out)["not_used"]
    assert (told["file"], told["sheet"]) == ("Lisa.csv", "")
    assert "not used: Lisa.csv" in caplog.text
