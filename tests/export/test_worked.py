"""What a run worked out is left with its results, and taken by later commands where nothing has changed since."""

from __future__ import annotations

import dataclasses
import json
import math
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

import habitatmap
from habitatmap.cli.options import Call
from habitatmap.export.folder import write_files, write_folder
from habitatmap.export.manifest import MANIFEST
from habitatmap.export.summary import summary_of
from habitatmap.export.worked import FILE, _made, _plain, found_before, record_of, worked_from, worked_text
from habitatmap.fieldwork.rounds import read_week
from habitatmap.job import rounds_of
from habitatmap.read.hashes import hashes_of_inputs
from habitatmap.read.settings import read_settings, settings_from
from habitatmap.result import Result
from habitatmap.result.findings import Worked
from tests import commands
from tests.areas import LEFT, TOP, class_table, write_area

CLASSES = np.random.default_rng(5).integers(1, 4, (30, 40)).astype(np.uint8)
TABLE = class_table({1: 0.0, 2: 0.5, 3: 1.0}, {1: 0.0, 2: 0.0, 3: 0.75})
LAND = [
    ("Park", "ask", box(LEFT, TOP - 150, LEFT + 200, TOP)),
    ("Field", "yes", box(LEFT + 200, TOP - 300, LEFT + 400, TOP)),
]
POOLS = [(name, LEFT + 55.0 + 100 * at, TOP - 105.0) for at, name in enumerate("ABC")]
VISITS = [("A", "2025-05-01", "larvae"), ("B", "2025-05-01", "none seen"), ("C", "2025-06-01", "larvae")]


def make_area(folder: Path, objective: str = "reach") -> Path:
    toml = f'[plan]\npools = 3\nobjective = "{objective}"\n'
    return write_area(folder, CLASSES, TABLE, pools=POOLS, visits=VISITS, land=LAND, toml=toml)


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    area = make_area(tmp_path_factory.mktemp("worked") / "town")
    result = habitatmap.run(habitatmap.open_area(area), public=False)
    keep(result, area / "out")
    return area, result


def keep(result: Result, folder: Path) -> None:
    """What `map` leaves, without its pages."""
    text = worked_text(result.findings.worked)
    record = record_of(result.findings.area)
    write_folder(folder, lambda fresh: (fresh / FILE).write_text(text) and None, "map", record)


def told(result: Result) -> dict[str, object]:
    return {name: part for name, part in summary_of(result).items() if name != "seconds"}


# --- the same answer


@pytest.mark.slow
@pytest.mark.parametrize("objective", ["served", "connectivity"])
def test_what_is_taken_gives_what_is_worked_out(objective: str, tmp_path: Path) -> None:
    area = habitatmap.open_area(make_area(tmp_path / "town", objective))
    whole = habitatmap.run(area, public=False)
    known = worked_from(worked_text(whole.findings.worked))
    same(habitatmap.run(area, public=False, known=known), whole)


def same(again: Result, whole: Result) -> None:
    """Whether two results are the same but for the seconds."""
    assert told(again) == told(whole)
    for table in ("plan", "zones", "ask_first", "sensitivity", "pools", "places", "gaps", "links"):
        pd.testing.assert_frame_equal(getattr(again, table), getattr(whole, table))
    for name, raster in whole.rasters.items():
        np.testing.assert_array_equal(again.rasters[name], raster)


def test_nothing_is_done_again(town: tuple[Path, Result], monkeypatch: pytest.MonkeyPatch) -> None:
    area, whole = town
    opened = habitatmap.open_area(area)
    known, why = found_before(opened, area / "out")
    assert (why, known is None) == ("", False)
    for name in ("make_plan", "certify", "assess_robustness", "find_zones", "rank", "assess_served"):
        monkeypatch.delattr(f"habitatmap.job.{name}")
    same(habitatmap.run(opened, public=False, known=known), whole)


# --- only where nothing has changed


def replaced(name: str, old: str, new: str) -> Callable[[Path], object]:
    """Changes a text in a file; without an old one, the new one is added at its end."""

    def change(area: Path) -> None:
        path = area / name
        path.parent.mkdir(exist_ok=True)
        text = path.read_text() if path.exists() else ""
        path.write_text(text.replace(old, new) if old else text + new)

    return change


CHANGES: dict[str, Callable[[Path], object]] = {
    "it was for another day": replaced("area.toml", "2025-07-01", "2025-07-02"),
    "area.toml has changed": replaced("area.toml", "pools = 3", "pools = 4"),
    "notes.txt has changed": replaced("notes.txt", "", "new"),
    "overlays/new.geojson has changed": replaced("overlays/new.geojson", "", "{}"),
    "visits.csv has changed": replaced("visits.csv", "", "A,2025-07-01,dry\n"),
    f"{FILE} is not as it was written": replaced(f"out/{FILE}", "", " "),
    "": lambda area: (area / "out" / MANIFEST).unlink(),
}


@pytest.mark.parametrize("why", CHANGES)
def test_a_change_is_noticed_and_named(why: str, town: tuple[Path, Result], tmp_path: Path) -> None:
    copy = tmp_path / "town"
    shutil.copytree(town[0], copy)
    was = town[1].findings.area
    assert found_before(was, copy / "out")[0] is not None
    CHANGES[why](copy)
    settings = read_settings(copy)
    day = settings.as_of or was.as_of
    now = dataclasses.replace(was, settings=settings, as_of=day, hashes=hashes_of_inputs(copy))
    assert found_before(now, copy / "out") == (None, why)


def test_settings_of_other_commands_change_no_map(town: tuple[Path, Result]) -> None:
    was = town[1].findings.area
    others = settings_from({"sheets": {"contact": "Ann"}, "archive": {"country": "FI"}, "rounds": {"visit_days": 14}})
    kept = {name: getattr(others, name) for name in ("sheets", "archive", "rounds")}
    now = dataclasses.replace(was, settings=was.settings.model_copy(update=kept))
    assert found_before(now, town[0] / "out")[0] is not None


def test_other_programs_and_layers_are_noticed(town: tuple[Path, Result], tmp_path: Path) -> None:
    area = town[1].findings.area
    for name, why in (("program", "the program or its layers were other ones"), ("versions", "other versions of")):
        record = record_of(area) | {name: "other"}
        write_files(tmp_path / name, {}, "map")
        content = json.loads((tmp_path / name / MANIFEST).read_text()) | record | {"files": {FILE: ""}}
        (tmp_path / name / MANIFEST).write_text(json.dumps(content))
        assert found_before(area, tmp_path / name)[1].startswith(why)


# --- what somebody sent


@pytest.mark.parametrize(
    "text", ["", "null", "[]", "{}", '{"selection": 3}', '{"zones": [{"__class__": "os.system"}]}', "\x80\x04."]
)
def test_what_is_no_record_is_not_used(text: str, town: tuple[Path, Result], tmp_path: Path) -> None:
    area = town[1].findings.area
    out = tmp_path / "out"
    write_folder(out, lambda fresh: (fresh / FILE).write_text(text, "latin-1") and None, "map", record_of(area))
    assert found_before(area, out) == (None, f"{FILE} can't be read")


def test_numbers_come_back_as_they_were() -> None:
    frame = pd.DataFrame({"a": [0.1, math.nan, math.inf], "b": ["x", None, "NaN"], "c": [True, False, True]})
    again = _made(pd.DataFrame, json.loads(json.dumps(_plain(frame), allow_nan=False)))
    assert isinstance(again, pd.DataFrame)
    pd.testing.assert_frame_equal(again, frame)


def test_the_whole_is_the_same_again(town: tuple[Path, Result]) -> None:
    text = worked_text(town[1].findings.worked)
    again = worked_from(text)
    assert isinstance(again, Worked)
    assert worked_text(again) == text


# --- the commands


def test_a_command_takes_it_and_says_so(town: tuple[Path, Result], caplog: pytest.LogCaptureFixture) -> None:
    area, whole = town
    assert commands.habitatmap("report", area).code == 0
    assert "consent priorities: as the last map found, as nothing has changed" in caplog.text
    told_there = json.loads((area / "report" / "summary.json").read_text(encoding="utf-8"))
    assert told_there["plan"] == told(whole)["plan"]


@pytest.mark.parametrize(
    ("words", "what"), [(["survey"], "What lies around each pool"), (["rounds"], "Where a search teaches most")]
)
def test_survey_and_rounds_take_it_and_write_the_same(
    words: list[str],
    what: str,
    town: tuple[Path, Result],
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    area, folders = tmp_path / "town", [tmp_path / "anew", tmp_path / "taken"]
    shutil.copytree(town[0], area, ignore=shutil.ignore_patterns("out"))
    assert commands.habitatmap(*words, area, "--out", folders[0]).code == 0
    assert "last map" not in caplog.text
    shutil.copytree(town[0] / "out", area / "out")
    monkeypatch.delattr("habitatmap.job.score_habitat")
    assert commands.habitatmap(*words, area, "--out", folders[1]).code == 0
    assert f"{what}: as the last map found, as nothing has changed." in caplog.text
    anew, taken = ({p.name: p.read_bytes() for p in folder.iterdir()} for folder in folders)
    assert anew == taken


def test_sheets_tell_a_machine_what_they_wrote(town: tuple[Path, Result], tmp_path: Path) -> None:
    told = json.loads(commands.habitatmap("sheets", town[0], "--out", tmp_path / "Blätter", "--json").out)
    assert [one["file"] for one in told["files"]] == ["sites.pdf", "labels.pdf", "recording.pdf"]
    assert (told["left_out"], told["no_visit"]) == ([], [])
    assert {*(one["file"] for one in told["files"]), MANIFEST} == {p.name for p in (tmp_path / "Blätter").iterdir()}


def test_rounds_of_a_week_gone_by_rest_on_another_day(town: tuple[Path, Result], tmp_path: Path) -> None:
    known = town[1].findings.worked
    wrong = dataclasses.replace(known, teach=["nobody's pool"])
    area, week = town[1].findings.area, read_week("2025-W20")
    pd.testing.assert_frame_equal(rounds_of(area, week, known=wrong).stops, rounds_of(area, week).stops)


def test_a_command_says_why_it_does_not(town: tuple[Path, Result], caplog: pytest.LogCaptureFixture) -> None:
    area, was = town[0], town[1].findings.area
    call = Call(area, area / "report", "report", as_json=False, strict=False, dry_run=False)
    for hashes, why in (
        ({**was.hashes, "visits.csv": "other", "trees.csv": "new"}, "trees.csv has changed, and 1 more"),
        ({**was.hashes, "--committed x.geojson": "a"}, "it was made without --committed x.geojson"),
    ):
        assert call.known(dataclasses.replace(was, hashes=hashes)) is None
        assert caplog.messages[-1] == f"The last map can't be used, as {why}; all is calculated anew."
    kept = call.known(was)
    assert kept is not None
