"""`habitatmap check`: what it says, what it writes, how it ends."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd

GOOD = "Pool name,Latitude,Longitude,Set out,colour\nA,48.1,9.5,2025-04-01,red\nB,48.11,9.51,2025-04-02,blue\n"


def check(*words: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "habitatmap", "check", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def area(folder: Path, pools: str = GOOD, visits: str = "") -> Path:
    folder.mkdir()
    (folder / "pools.csv").write_text(pools, encoding="utf-8")
    if visits:
        (folder / "visits.csv").write_text(visits, encoding="utf-8")
    return folder


def test_nothing_to_mend(tmp_path: Path) -> None:
    town = area(tmp_path / "town")
    done = check(town, "--json")
    assert done.returncode == 0, done.stderr
    (file,) = json.loads(done.stdout)["files"]
    assert (file["kind"], file["read"], file["accepted"], file["set_aside"]) == ("pools", 2, 2, 0)
    (table,) = file["tables"]
    assert {c["name"]: c["heading"] for c in table["columns"]}["lat"] == "Latitude"
    assert [u["heading"] for u in table["unmatched"]] == ["colour"]
    samples = [(s["column"], s["written"], s["understood"]) for s in table["samples"]]
    assert ("Set out", "2025-04-01", "2025-04-01") in samples
    assert next(s for s in samples if s[0] == "place")[1] == "48.1, 9.5"
    assert sorted(p.name for p in town.iterdir()) == ["check", "pools.csv"]
    assert sorted(p.name for p in (town / "check").iterdir()) == ["check.html", "set_aside.csv"]


def test_a_row_set_aside_ends_with_1_and_says_what_to_do(tmp_path: Path) -> None:
    town = area(tmp_path / "town", visits="pool,date,outcome\nA,2025-05-01,larvae\nZ,2025-05-01,larvae\n")
    done = check(town)
    assert done.returncode == 1, done.stderr
    assert "visits.csv, row 3" in done.stdout
    aside = pd.read_csv(town / "check" / "set_aside.csv")
    assert list(aside["row"]) == [3]
    assert aside["remedy"][0] in done.stdout
    assert aside["remedy"][0] in (town / "check" / "check.html").read_text(encoding="utf-8")


def test_the_same_bytes_each_time(tmp_path: Path) -> None:
    town = area(tmp_path / "town")
    check(town)
    first = (town / "check" / "check.html").read_bytes()
    check(town, "--out", tmp_path / "other")
    assert (tmp_path / "other" / "check.html").read_bytes() == first


def test_a_folder_that_cannot_be_read_ends_with_2_and_writes_nothing(tmp_path: Path) -> None:
    town = area(tmp_path / "town", "pool,x,y\nA,1,2\n")
    done = check(town)
    assert done.returncode == 2
    assert "pools.csv" in done.stderr.strip().splitlines()[-1]
    assert "Traceback" not in done.stderr
    assert [p.name for p in town.iterdir()] == ["pools.csv"]


def test_somebody_elses_folder_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    assert check(area(tmp_path / "town"), "--out", tmp_path / "mine").returncode == 2
    assert (tmp_path / "mine" / "letter.txt").exists()


def test_what_was_put_right_or_is_at_odds_is_said_though_the_rows_are_used(tmp_path: Path) -> None:
    pools = "pool,lat,lon\nP1,60.1712,24.9415\nP2,60.1722,24.9425\nP-1,60.1732,24.9435\nP4,24.9445,60.1742\n"
    town = area(tmp_path / "town", pools)
    done = check(town)
    assert done.returncode == 1, done.stdout
    told = done.stdout.split("Please look:")[1]
    assert "row 5: with latitude and longitude swapped, 60.17420 N 24.94450 E" in told
    assert "P1 (pools.csv row 2) and P-1 (pools.csv row 4)" in told
    assert "with latitude and longitude swapped" in (town / "check" / "check.html").read_text(encoding="utf-8")
