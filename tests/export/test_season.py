"""A season is kept whole or not at all, is an area of its own, and gives the same figures from its folder alone."""

from __future__ import annotations

import datetime
import json
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest

import habitatmap
from habitatmap.errors import HabitatmapError, InputError
from habitatmap.export.folder import check_target, write_files, write_folder
from habitatmap.export.manifest import MANIFEST, files_in, read_manifest
from habitatmap.export.season import altered, check_season, keep_season, kept_seasons, season_of
from habitatmap.export.summary import summary_text
from habitatmap.export.worked import record_of
from habitatmap.read.hashes import fingerprint, hash_of_layers
from habitatmap.read.layers import layers_folder, layers_of, load_tree_table
from habitatmap.result import Result
from tests import commands
from tests.export.test_worked import make_area


def write_map(result: Result, folder: Path) -> None:
    """What `map` leaves, without its pages."""

    def fill(fresh: Path) -> None:
        (fresh / "summary.json").write_text(summary_text(result), encoding="utf-8")
        (fresh / "pools.csv").write_text(result.pools.to_csv(index=False), encoding="utf-8")

    write_folder(folder, fill, "map", record_of(result.findings.area))


@pytest.fixture(scope="module")
def mapped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A town with its map, made once."""
    area = make_area(tmp_path_factory.mktemp("season") / "town")
    (area / "photos").mkdir()
    (area / "photos" / "A 2025-05-01.jpg").write_bytes(b"no picture")
    (area / "notes.docx").write_bytes(b"PK")
    write_map(habitatmap.run(habitatmap.open_area(area), public=False), area / "out")
    return area


@pytest.fixture
def town(mapped: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return shutil.copytree(mapped, tmp_path / "town")


def told(summary: Mapping[str, object]) -> dict[str, object]:
    """A summary without the seconds that a run took, as JSON has it."""
    return {name: part for name, part in json.loads(json.dumps(summary, default=str)).items() if name != "seconds"}


def summary_in(folder: Path) -> dict[str, object]:
    return told(json.loads((folder / "summary.json").read_text(encoding="utf-8")))


def test_the_same_figures_come_back_from_the_folder_alone(town: Path, tmp_path: Path) -> None:
    season = keep_season(town, "2025")
    alone = tmp_path / "elsewhere" / "x"
    shutil.copytree(season.folder, alone)
    shutil.rmtree(town)
    again = habitatmap.run(habitatmap.open_area(alone), public=False)
    assert told(json.loads(summary_text(again))) == summary_in(alone / "out")
    assert summary_in(alone / "out")["forage_in_reach"]["now"] > 0  # type: ignore[index]


def test_it_holds_inputs_settings_layers_results_and_the_hash_of_each(town: Path) -> None:
    before = {name: (town / name).read_bytes() for name in files_in(town)}
    season = keep_season(town, "2025")
    made = read_manifest(season.folder)
    assert made is not None
    assert {name: fingerprint(season.folder / name) for name in made.files} == made.files
    assert sorted([*made.files, MANIFEST]) == files_in(season.folder)
    assert {name for name in made.files if not name.startswith("layers/")} == set(before)
    assert all((season.folder / name).read_bytes() == content for name, content in before.items() if name != MANIFEST)
    assert {name for name in made.files if name.startswith("layers/")} == {
        f"layers/{path.name}" for path in layers_folder().glob("*.csv")
    }
    assert made.record["settings"]["plan"]["pools"] == 3  # type: ignore[index]
    assert made.record["versions"]["habitatmap"] == habitatmap.__version__  # type: ignore[index]
    assert season_of(season.folder) == season
    assert season.as_of == datetime.date(2025, 7, 1)


def test_day_and_title_are_kept_where_area_toml_states_none(town: Path) -> None:
    text = (town / "area.toml").read_text(encoding="utf-8")
    stated = "".join(f"{line}\n" for line in text.splitlines() if not line.startswith(("as_of", "title")))
    (town / "area.toml").write_bytes(b"\xef\xbb\xbf" + stated.encode())
    record = record_of(habitatmap.open_area(town, as_of=datetime.date(2025, 6, 20)))
    write_files(town / "out", {"summary.json": "{}"}, "map", record=record)
    again = habitatmap.open_area(keep_season(town, "summer").folder)
    assert (again.as_of, again.title) == (datetime.date(2025, 6, 20), "town")
    assert again.settings.plan.pools == 3


def test_a_kept_season_is_no_input_of_the_area(town: Path) -> None:
    before = habitatmap.open_area(town)
    keep_season(town, "2025")
    after = habitatmap.open_area(town)
    assert (after.hashes, after.ledger.counts()) == (before.hashes, before.ledger.counts())
    assert after.ledger.unused == before.ledger.unused


def test_a_name_is_refused_that_is_kept_already_unless_it_is_replaced(town: Path) -> None:
    keep_season(town, "2025")
    with pytest.raises(InputError, match=r"the season 2025 is kept already in .* or --replace to keep anew"):
        keep_season(town, "2025")
    (town / "notes.docx").write_bytes(b"PK another")
    write_map_again(town)
    season = keep_season(town, "2025", replace=True)
    assert (season.folder / "notes.docx").read_bytes() == b"PK another"
    assert season_of(season.folder) == season


def write_map_again(town: Path) -> None:
    """As if `map` had run again: its record is of today's inputs."""
    results, made = town / "out", read_manifest(town / "out")
    assert made is not None
    files = {name: (results / name).read_bytes() for name in made.files}
    write_files(results, files, "map", record=record_of(habitatmap.open_area(town)))


@pytest.mark.parametrize("name", ["", "..", "a/b", "../x", ".hidden", "con", "x.", "a\\b", "x" * 61, "a:b", "\n"])
def test_names_that_are_no_folders_are_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be the name of a season"):
        check_season(tmp_path, name)


def test_results_of_other_inputs_are_not_kept(town: Path) -> None:
    (town / "visits.csv").write_text("pool,date,outcome\nA,2025-05-01,larvae\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"is not of what lies in town today, as visits.csv has changed: run hab"):
        keep_season(town, "2025")
    assert not (town / "seasons" / "2025").exists()


def test_results_that_somebody_changed_are_not_kept(town: Path) -> None:
    (town / "out" / "pools.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"pools.csv in .* is not as map wrote it"):
        keep_season(town, "2025")


def test_without_a_map_there_is_nothing_to_keep(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no map to keep: run habitatmap map first"):
        keep_season(make_area(tmp_path / "town"), "2025")


def test_whole_or_not_at_all(town: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    copied: list[Path] = []

    def fails_late(source: Path, to: Path) -> None:
        copied.append(to)
        if len(copied) == 12:
            raise OSError(28, "No space left on device", str(to))
        Path(to).write_bytes(Path(source).read_bytes())

    monkeypatch.setattr("habitatmap.export.season.shutil.copyfile", fails_late)
    with pytest.raises(HabitatmapError, match="No space left on device"):
        keep_season(town, "2025")
    assert len(copied) == 12
    assert not (town / "seasons" / "2025").exists()


def test_nothing_else_writes_into_a_kept_season(town: Path) -> None:
    folder = keep_season(town, "2025").folder
    for target, command in ((folder / "out", "map"), (folder / "check", "check"), (folder, "map")):
        with pytest.raises(InputError, match="is a kept season, and what was kept stays as it is"):
            check_target(target, command, folder)
    with pytest.raises(InputError, match="is a kept season itself"):
        check_season(folder, "again")


def test_seasons_are_listed_by_their_day(town: Path) -> None:
    keep_season(town, "b")
    (town / "area.toml").write_text((town / "area.toml").read_text().replace("2025-07-01", "2024-07-01"))
    write_map_again(town)
    keep_season(town, "c")
    (town / "seasons" / "mine").mkdir()
    assert [one.name for one in kept_seasons(town)] == ["c", "b"]


def test_what_was_altered_since_is_known(town: Path) -> None:
    folder = keep_season(town, "2025").folder
    assert altered(folder) == []
    (folder / "visits.csv").write_text("pool,date,outcome\nA,2025-05-01,larvae\n", encoding="utf-8")
    (folder / "out" / "summary.json").unlink()
    assert altered(folder) == ["out/summary.json", "visits.csv"]
    assert altered(town) == []


# --- layers of an area's own


def test_tables_in_the_folder_layers_stand_in_place_of_the_programs(town: Path) -> None:
    own = (layers_folder() / "trees.csv").read_text(encoding="utf-8")
    first = next(line for line in own.splitlines() if line.startswith("Quercus,"))
    (town / "layers").mkdir()
    (town / "layers" / "trees.csv").write_text(own.replace(first + "\n", ""), encoding="utf-8")
    shipped, of_program = hash_of_layers(), set(load_tree_table().table["genus"])
    with layers_of(town):
        assert of_program - set(load_tree_table().table["genus"]) == {"Quercus"}
        assert hash_of_layers() != shipped
    assert hash_of_layers() == shipped
    area = habitatmap.open_area(town)
    assert "Quercus" not in set(area.tree_table.table["genus"])
    assert not [one for one in area.ledger.unused if "layers" in one.file]


def test_a_changed_table_of_an_area_is_read_anew(town: Path) -> None:
    (town / "layers").mkdir()
    text = (layers_folder() / "keep_away.csv").read_text(encoding="utf-8")
    found = []
    for lines in (text, text + "\n"):
        (town / "layers" / "keep_away.csv").write_text(lines, encoding="utf-8")
        with layers_of(town):
            found.append(hash_of_layers())
    assert found[0] != found[1]


# --- the commands


def test_freeze_says_what_it_kept(town: Path, caplog: pytest.LogCaptureFixture) -> None:
    done = commands.habitatmap("freeze", town, "2025", "--json")
    assert done.code == 0
    assert json.loads(done.out) == {
        "season": "2025",
        "folder": str(town / "seasons" / "2025"),
        "as_of": "2025-07-01",
    }
    assert "The season 2025 is kept, as of 2025-07-01" in caplog.text
    again = commands.habitatmap("freeze", town, "2025")
    assert again.code == 2
    assert "is kept already" in again.err
    assert commands.habitatmap("freeze", town, "2025", "--replace").code == 0


def test_a_dry_run_keeps_nothing(town: Path, caplog: pytest.LogCaptureFixture) -> None:
    done = commands.habitatmap("freeze", town, "2025", "--dry-run")
    assert (done.code, (town / "seasons").exists()) == (0, False)
    assert "2025 would be written; nothing was" in caplog.text


def test_keep_is_refused_before_the_work_begins(town: Path, caplog: pytest.LogCaptureFixture) -> None:
    keep_season(town, "2025")
    done = commands.habitatmap("map", town, "--keep", "2025")
    assert done.code == 2
    assert "is kept already" in done.err
    assert "What each cell offers" not in caplog.text
    assert commands.habitatmap("map", town, "--replace").code == 2
