"""Where a map is worked out: on a cluster, within some memory, and what it says when that can't be."""

from __future__ import annotations

import errno
import json
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from habitatmap.cli.where import NOT_KEPT
from habitatmap.geo import engine, scratch
from tests.areas import centre, class_table, write_area
from tests.commands import habitatmap


@pytest.fixture
def town(tmp_path: Path) -> Path:
    classes = np.random.default_rng(2).integers(1, 4, (40, 50)).astype(np.uint8)
    table = class_table({1: 0.1, 2: 0.5, 3: 0.9})
    return write_area(tmp_path / "town", classes, table, pools=[("P", *centre(9, 9)), ("Q", *centre(30, 40))])


@pytest.fixture
def address() -> Iterator[str]:
    """A Dask scheduler with two workers."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as here:
        yield here.scheduler_address


def written(folder: Path) -> dict[str, bytes]:
    """The files of a result but for those that hold seconds."""
    files = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {name: content for name, content in files.items() if name not in ("summary.json", "manifest.json")}


def test_a_map_on_a_cluster_is_the_map(town: Path, tmp_path: Path, address: str) -> None:
    here, there = tmp_path / "here", tmp_path / "there"
    assert habitatmap("map", town, "--out", here).code == 0
    done = habitatmap("map", town, "--out", there, "--cluster", address)
    assert done.code == 0, done.err
    assert written(there) == written(here)


def test_a_map_that_was_stopped_goes_on_from_its_tiles(
    town: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "KEPT_FROM", 0)
    whole, resumed = tmp_path / "whole", tmp_path / "resumed"
    ran: list[int] = []
    plain = engine.each_tile
    monkeypatch.setattr(engine, "each_tile", lambda work, of, on: plain(work, [ran.append(n) or n for n in of], on))
    assert habitatmap("map", town, "--out", whole).code == 0
    of_all = len(ran)

    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("habitatmap.job.find_gaps", stops)
        assert habitatmap("map", town, "--out", resumed).code == 130
    tiles = tmp_path / ".resumed-tiles"
    assert tiles.is_dir()
    ran.clear()
    assert habitatmap("map", town, "--out", resumed, "--resume").code == 0
    assert written(resumed) == written(whole)
    # season, two kernel means, dead wood and where it is known, two distances in two steps, what is measured, forage
    # within flight; the rest comes after the stop, or asks little
    assert len(ran) == of_all - 11
    assert not tiles.exists()


def test_where_the_disk_has_room_for_the_run_alone_nothing_is_kept_and_that_is_said(
    town: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(engine, "KEPT_FROM", 0)
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=2000 * 230))
    with monkeypatch.context() as patch:
        patch.setattr(engine.KeptTiles, "stage", pytest.fail)
        done = habitatmap("map", town, "--out", tmp_path / "no" / "such" / "out")
    assert done.code == 0, done.err
    assert NOT_KEPT in caplog.text
    caplog.clear()
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=2000 * 235))
    assert habitatmap("map", town, "--out", tmp_path / "out").code == 0
    assert NOT_KEPT not in caplog.text


def test_tiles_of_an_older_run_go_before_the_room_is_looked_at(
    town: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "KEPT_FROM", 0)
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=2000 * 230))
    old = tmp_path / ".out-tiles"
    old.mkdir()
    assert habitatmap("map", town, "--out", tmp_path / "out").code == 0
    assert not old.exists()


def test_no_room_for_rasters_is_said_and_nothing_stays(
    town: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "KEPT_FROM", 0)

    def full(_file: int, _size: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(scratch, "_make_room", full)
    done = habitatmap("map", town, "--out", tmp_path / "out")
    assert done.code == 2
    assert done.err.rstrip().splitlines()[-1].startswith("There is no room for the rasters of a run in ")
    assert not (tmp_path / ".out-tiles").exists()
    assert not (tmp_path / "out").exists()


def test_a_dry_run_tells_what_a_map_costs(town: Path, caplog: pytest.LogCaptureFixture) -> None:
    done = habitatmap("map", town, "--dry-run", "--json")
    assert json.loads(done.out)["cost"]["cells"] == 2000
    assert "2,000 cells, 1 tiles: about 650 MB of memory" in caplog.text


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--memory", "2TB", "expected a number and MB or GB"),
        ("--memory", "10MB", "expected at least 700 MB"),
        ("--cluster", "tcp://127.0.0.1:9", "no Dask scheduler answered there"),
    ],
)
def test_what_can_not_be_is_said(town: Path, option: str, value: str, said: str) -> None:
    done = habitatmap("map", town, option, value)
    assert done.code == 2
    assert said in done.err
