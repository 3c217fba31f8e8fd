"""What an area was read from, by its hashes: what counts, and what is no change."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from habitatmap.read.hashes import CHUNK, hashes_of_inputs


@pytest.fixture
def town(tmp_path: Path) -> Path:
    for name in (
        *("area.toml", "pools.csv", "groups/north/visits.csv", "overlays/hedges.geojson", "photos/a.jpg", "film.mp4"),
        *("out/map.html", "check/check.html", "seasons/2024/pools.csv", "mine/pools.csv"),  # none of these is read
        *("~$pools.xlsx", ".~lock.pools.csv#", ".git/x", "overlays/.hidden", "photos/~$a.jpg"),
    ):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    return tmp_path


READ = ["area.toml", "film.mp4", "groups/north/visits.csv", "overlays/hedges.geojson", "photos/a.jpg", "pools.csv"]


def test_what_may_be_read_counts(town: Path) -> None:
    before = hashes_of_inputs(town)
    assert sorted(before) == READ
    for name in READ:
        (town / name).write_bytes(b"other")
        now = hashes_of_inputs(town)
        assert [n for n in now if now[n] != before[n]] == [name]
        before = now


def test_a_copy_has_the_same(town: Path, tmp_path: Path) -> None:
    shutil.copytree(town, tmp_path / "copy", ignore=shutil.ignore_patterns("copy"))
    assert hashes_of_inputs(tmp_path / "copy") == {n: h for n, h in hashes_of_inputs(town).items() if n in READ}


def test_a_table_counts_to_its_end_and_a_film_by_its_beginning_and_size(town: Path) -> None:
    for name in ("pools.csv", "film.mp4"):
        (town / name).write_bytes(b"a" * CHUNK + b"one")
    before = hashes_of_inputs(town)
    for name in ("pools.csv", "film.mp4"):
        (town / name).write_bytes(b"a" * CHUNK + b"two")
    now = hashes_of_inputs(town)
    assert [n for n in now if now[n] != before[n]] == ["pools.csv"]
    (town / "film.mp4").write_bytes(b"a" * CHUNK + b"longer")
    assert hashes_of_inputs(town)["film.mp4"] != now["film.mp4"]


def test_a_layer_that_was_only_opened_has_not_changed(town: Path) -> None:
    base = sqlite3.connect(town / "land.gpkg", isolation_level=None)
    base.execute("create table land (name text)")
    before, content = hashes_of_inputs(town), (town / "land.gpkg").read_bytes()
    for mode in ("wal", "delete"):
        base.execute(f"pragma journal_mode = {mode}")
    assert (town / "land.gpkg").read_bytes() != content
    assert hashes_of_inputs(town) == before
    base.execute("insert into land values ('Park')")
    assert hashes_of_inputs(town)["land.gpkg"] != before["land.gpkg"]
    base.close()


def test_the_table_of_people_is_in_no_record_of_a_map(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_text("pool,lat,lon\nP1,48.1,9.5\n", encoding="utf-8")
    before = hashes_of_inputs(tmp_path)
    (tmp_path / "people.csv").write_text("person,days\nAnn,Sat\n", encoding="utf-8")
    (tmp_path / "visits").mkdir()
    assert hashes_of_inputs(tmp_path) == before
    (tmp_path / "visits" / "ann.csv").write_text("pool,date,outcome\n", encoding="utf-8")
    assert hashes_of_inputs(tmp_path).keys() - before.keys() == {"visits/ann.csv"}
