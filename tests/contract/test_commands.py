"""How every command begins and ends: whose folder it writes, what it leaves alone, its codes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest

from habitatmap.cli.main import COMMANDS
from tests.commands import habitatmap
from tests.contract.town import make_town

# these take more than an area, or begin with none; each has tests of its own
OTHERWISE = {"new", "freeze", "compare", "unpack", "person"}
OF_AN_AREA = [name for name in COMMANDS if name not in OTHERWISE]
WITH_A_FOLDER = [name for name in OF_AN_AREA if name not in ("words", "pack")]
RESULT_OF = {
    "check": "set_aside.csv",
    "map": "map.html",
    "survey": "pools.csv",
    "rounds": "rounds.pdf",
    "sheets": "labels.pdf",
    "report": "report.html",
    "outlook": "ranks.csv",
    "archive": "darwin_core.zip",
}


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_town(tmp_path_factory.mktemp("commands") / "Städtchen am Fluß")


@pytest.mark.parametrize("name", OF_AN_AREA)
def test_a_dry_run_writes_nothing(name: str, town: Path) -> None:
    before = sorted(town.rglob("*"))
    done = habitatmap(name, town, "--dry-run")
    assert done.code == (1 if name == "check" else 0), done.err  # the town has land that overlaps
    assert sorted(town.rglob("*")) == before


def test_a_dry_run_tells_a_machine_what_was_read_and_where_it_would_write(town: Path) -> None:
    told = json.loads(habitatmap("archive", town, "--dry-run", "--json").out)
    assert (told["dry_run"], told["would_write"]) == (True, str(town / "archive"))
    assert all(n["read"] == n["accepted"] + n["set_aside"] for n in told["rows"].values())
    assert told["rows"]["visits"]["read"] > 0


@pytest.mark.parametrize("name", WITH_A_FOLDER)
def test_a_folder_whose_files_might_be_taken_for_ours_is_left_alone(name: str, town: Path, tmp_path: Path) -> None:
    own = {"map": "out"}.get(name, name)
    result = RESULT_OF[name]
    for folder in (tmp_path / own, tmp_path / "photos"):
        folder.mkdir()
        (folder / result).write_text("years of work")
        done = habitatmap(name, town, "--out", folder)
        assert done.code == 2
        assert result in done.err.strip().splitlines()[-1]
        assert [p.name for p in folder.iterdir()] == [result]


@pytest.mark.parametrize("name", OF_AN_AREA)
def test_no_such_folder(name: str, tmp_path: Path) -> None:
    done = habitatmap(name, tmp_path / "nowhere")
    assert done.code == 2
    assert "nowhere does not exist" in done.err.strip().splitlines()[-1]
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_no_area(town: Path) -> None:
    done = habitatmap("map", town / "area.toml")
    assert done.code == 2
    assert "area.toml is a file" in done.err.strip().splitlines()[-1]


def test_a_fault_of_our_own_is_never_taken_for_a_result(town: Path) -> None:
    with mock.patch("habitatmap.area.area_or_account", side_effect=ZeroDivisionError):
        done = habitatmap("check", town, "--dry-run")
    assert done.code == 2
    assert "ZeroDivisionError" in done.err.strip().splitlines()[-1]


def test_a_reader_that_has_enough_is_no_fault(town: Path) -> None:
    shell = subprocess.Popen(
        [sys.executable, "-m", "habitatmap", "check", str(town), "--dry-run", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert shell.stdout is not None
    assert shell.stderr is not None
    shell.stdout.close()
    said = shell.stderr.read()
    shell.wait()
    assert "Traceback" not in said
    assert "Broken pipe" not in said
