"""The folder of results is shared: other people's files stay, runs wait for each other, a kill loses nothing.

Real processes, real kills, real locks: the moments of a kill are those at which the system is asked for something.
"""

from __future__ import annotations

import itertools
import json
import logging
import os
import shutil
import signal
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.export import lock
from habitatmap.export.folder import check_target, write_files, write_folder
from habitatmap.export.lock import LOCK
from habitatmap.export.manifest import MANIFEST, files_in, read_manifest
from habitatmap.export.replace import STAGE
from habitatmap.read.hashes import fingerprint
from tests.commands import habitatmap

SAME = {"same.csv": "same", "public_map.html": "public", "summary.json": "{}"}
OLD = {
    "plan.csv": "old plan",
    "map.html": "old map",
    "gone.csv": "no longer made",
    "rasters/reach_now.tif": "1",
    **SAME,
}
NEW = {
    "plan.csv": "new plan",
    "map.html": "new map",
    "added.csv": "more",
    "rasters/reach_now.tif": "2",
    **SAME,
}
posix = pytest.mark.skipif(os.name != "posix", reason="signals and rights as POSIX has them")


def texts(folder: Path, manifest: bool = False) -> dict[str, str]:
    return {name: (folder / name).read_text() for name in files_in(folder) if manifest or name != MANIFEST}


@pytest.fixture
def out(tmp_path: Path) -> Path:
    write_files(tmp_path / "out", OLD, "map")
    return tmp_path / "out"


# --- what stays


def test_what_somebody_keeps_there_stays(out: Path) -> None:
    mine = {"town.qgz": "years of work", "prints/a3.pdf": "large", "rasters/reach_now.tif.aux.xml": "beside ours"}
    for name, text in mine.items():
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_text(text)
    write_files(out, NEW, "map")
    assert texts(out) == NEW | mine


def test_a_file_of_ours_that_somebody_changed_is_kept_and_told(out: Path, caplog: pytest.LogCaptureFixture) -> None:
    for text in ("my plan", "my second plan"):
        (out / "plan.csv").write_text(text)
        (out / "gone.csv").write_text(text)
        write_files(out, NEW, "map")
        write_files(out, OLD, "map")
    assert texts(out) == OLD | {
        "plan.yours.csv": "my plan",
        "plan.yours-2.csv": "my second plan",
        "gone.yours.csv": "my plan",
        "gone.yours-2.csv": "my second plan",
    }
    assert f"plan.csv in {out} is not as habitatmap wrote it; it is kept as plan.yours.csv." in caplog.messages


def test_what_lies_in_the_way_is_kept(out: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "a.tif").write_text("mine")
    shutil.rmtree(out / "rasters")
    (out / "rasters").symlink_to(tmp_path / "elsewhere")
    (out / "added.csv").mkdir()
    (out / "added.csv" / "mine").write_text("mine")
    (out / "map.html").unlink()
    (out / "map.html").symlink_to(tmp_path / "elsewhere" / "a.tif")
    write_files(out, NEW, "map")
    assert texts(tmp_path / "elsewhere") == {"a.tif": "mine"}
    assert {name: text for name, text in texts(out).items() if "yours" not in name} == NEW
    assert (out / "rasters.yours").is_symlink()
    assert (out / "map.yours.html").is_symlink()
    assert (out / "added.yours.csv" / "mine").read_text() == "mine"


def test_a_file_that_stays_the_same_is_not_touched(out: Path) -> None:
    before = (out / "same.csv").stat()
    write_files(out, NEW, "map")
    after = (out / "same.csv").stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_the_manifest_lists_every_file_by_its_hash(out: Path) -> None:
    listed = read_manifest(out)
    assert listed is not None
    assert listed.command == "map"
    assert listed.files == {name: fingerprint(out / name) for name in OLD}


# --- what others may have put there


def test_no_forged_list_leads_out_of_the_folder(out: Path, tmp_path: Path) -> None:
    victim = tmp_path / "victim.txt"
    victim.write_text("dear")
    (out / "link").symlink_to(tmp_path)
    content = json.loads((out / MANIFEST).read_text())
    for name in ("../victim.txt", str(victim), "link/victim.txt", "rasters/../../victim.txt", ".", ""):
        content["files"][name] = fingerprint(victim)
    (out / MANIFEST).write_text(json.dumps(content))
    (out / STAGE / "new").mkdir(parents=True)
    steps = [("../victim.txt", "a"), ("plan.csv", "../victim.txt"), ("plan.csv", "link/b"), ("link/victim.txt", "c")]
    journal = {"steps": [{"name": a, "aside": b, "new": False} for a, b in steps], "ours": content["files"]}
    (out / STAGE / "journal.json").write_text(json.dumps(journal))
    write_files(out, NEW, "map")
    assert victim.read_text() == "dear"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out", "victim.txt"]


@posix
def test_no_link_in_the_place_of_lock_or_leftovers_leads_out(out: Path, tmp_path: Path) -> None:
    dear = tmp_path / "dear"
    (dear / "rasters").mkdir(parents=True)
    for name in ("letter.txt", "plan.csv", "rasters/reach_now.tif"):
        (dear / name).write_text("dear")
    steps = [{"name": name, "aside": "", "new": True} for name in ("letter.txt", "plan.csv", "rasters/reach_now.tif")]
    journal = json.dumps({"steps": steps, "ours": {}})
    before = texts(dear)
    (out / LOCK).symlink_to(dear / "letter.txt")
    with pytest.raises(HabitatmapError, match="could not be written"):
        write_files(out, NEW, "map")
    assert texts(dear) == before
    (out / LOCK).unlink()
    for link in ("", "new", "old", "new/rasters"):  # each once leads to what is dear
        place = out / STAGE / link
        place.parent.mkdir(parents=True, exist_ok=True)
        place.symlink_to(dear / "rasters" if link == "new/rasters" else dear)
        if link:
            (out / STAGE / "journal.json").write_text(journal)
        else:
            (dear / "journal.json").write_text(journal)
        write_files(out, NEW, "map")
        (dear / "journal.json").unlink(missing_ok=True)
        assert texts(dear) == before, link
    assert texts(out) == NEW


@pytest.mark.parametrize("content", ["", "[]", "null", '{"name": "my app"}', '{"made_by": "habitatmap map"}', "\xff"])
def test_somebody_elses_manifest_is_kept(out: Path, content: str) -> None:
    (out / MANIFEST).write_text(content, encoding="latin-1")
    write_files(out, NEW, "map")
    assert (out / "manifest.yours.json").read_text(encoding="latin-1") == content
    assert read_manifest(out) is not None


def test_a_folder_of_a_time_before_manifests(out: Path) -> None:
    (out / MANIFEST).unlink()
    (out / "plan_exchanged.csv").write_text("ours by its name")
    (out / "notes.csv").write_text("mine")
    write_files(out, NEW, "map")
    assert texts(out) == NEW | {"notes.csv": "mine", "gone.csv": "no longer made"}


# --- where results can't go


def test_a_folder_of_another_command(out: Path) -> None:
    with pytest.raises(InputError, match=r"holds what habitatmap map wrote.*--out"):
        write_files(out, {"report.pdf": "x"}, "report")
    assert texts(out) == OLD


def test_folders_of_inputs(tmp_path: Path) -> None:
    for name in ("overlays", "groups/north", "photos"):
        with pytest.raises(InputError, match="holds inputs"):
            check_target(tmp_path / name, "map", tmp_path)
    with pytest.raises(InputError, match="holds inputs"):
        check_target(tmp_path, "sheets", tmp_path)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "pools.csv").write_text("pool,lat,lon\n")
    with pytest.raises(InputError, match=r"holds pools\.csv, which no run of habitatmap map has written"):
        check_target(tmp_path / "other", "map", tmp_path)
    check_target(tmp_path / "out", "map", tmp_path)


def test_a_command_leaves_what_lies_in_its_folder(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / "pools.csv").write_text("pool,lat,lon\nA,60.17,24.94\n")
    assert habitatmap("check", tmp_path).code in (0, 1)
    (tmp_path / "check" / "notes.odt").write_text("mine")
    (tmp_path / "check" / "set_aside.csv").write_text("with my marks")
    assert habitatmap("check", tmp_path).code in (0, 1)
    assert "kept as set_aside.yours.csv" in caplog.text
    assert (tmp_path / "check" / "notes.odt").read_text() == "mine"
    assert (tmp_path / "check" / "set_aside.yours.csv").read_text() == "with my marks"
    assert sorted(p.name for p in (tmp_path / "check").iterdir() if p.name.startswith(".")) == []


# --- two runs


class Writer:
    """A process that writes `text` into two files, once it may: what it says comes line by line."""

    def __init__(self, folder: Path, text: str) -> None:
        says, told = os.pipe()
        goes, self.go = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.close(self.go)
            log = logging.getLogger("habitatmap")
            log.handlers = [logging.StreamHandler(os.fdopen(told, "w"))]

            def fill(fresh: Path) -> None:
                log.warning("writing")
                os.read(goes, 1)
                for name in ("a.txt", "b.txt"):
                    (fresh / name).write_text(text)

            try:
                write_folder(folder, fill, "map")
                os._exit(0)
            finally:
                os._exit(1)
        os.close(told)
        os.close(goes)
        self.said = os.fdopen(says)

    def end(self, kill: bool = False) -> int:
        """Its exit code, once it has been let go on."""
        if kill:
            os.kill(self.pid, signal.SIGKILL)
        os.write(self.go, b".")
        os.close(self.go)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


@posix
def test_a_second_run_waits_for_the_first(out: Path) -> None:
    first = Writer(out, "first")
    assert first.said.readline() == "writing\n"
    second = Writer(out, "second")
    assert second.said.readline().startswith(f"Another run (process {first.pid} on ")
    assert texts(out).items() >= OLD.items()
    assert first.end() == 0
    assert second.said.readline() == "writing\n"
    assert texts(out).items() >= {"a.txt": "first", "b.txt": "first"}.items()
    assert second.end() == 0
    assert texts(out) == {"a.txt": "second", "b.txt": "second"}


@posix
def test_the_lock_of_a_killed_run_holds_nobody_up(out: Path, caplog: pytest.LogCaptureFixture) -> None:
    first = Writer(out, "first")
    assert first.said.readline() == "writing\n"
    assert first.end(kill=True) == -signal.SIGKILL
    assert (out / LOCK).exists()
    assert texts(out).items() >= OLD.items()
    write_files(out, NEW, "map")
    assert texts(out) == NEW
    assert caplog.messages == []


@posix
def test_who_waits_too_long_says_for_whom(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lock, "PATIENCE_S", 0.3)
    first = Writer(out, "first")
    assert first.said.readline() == "writing\n"
    with pytest.raises(InputError, match=rf"process {first.pid} on .*nothing was changed: end that run"):
        write_files(out, NEW, "map")
    assert first.end() == 0


# --- killed


def in_child(work: Callable[[], object]) -> int:
    """Does some work in a process of its own: its exit code, negative where a signal ended it."""
    child = os.fork()
    if child == 0:
        try:
            work()
            os._exit(0)
        except BaseException as fault:
            os.write(2, f"{fault!r}\n".encode())
            os._exit(1)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed_at(moment: int, folder: Path, files: dict[str, str], by: int = signal.SIGKILL) -> bool:
    """Writes in a process that is killed at the n-th thing it asks of the system; whether it came so far."""
    left = moment

    def count(event: str, _: tuple[object, ...]) -> None:
        nonlocal left
        if event == "open" or event.startswith("os."):
            left -= 1
            if left == 0:
                os.kill(os.getpid(), by)

    def work() -> None:
        # also where the tests run in the background of a script, which ignores Ctrl-C
        signal.signal(signal.SIGINT, signal.default_int_handler)
        sys.addaudithook(count)
        write_files(folder, files, "map")

    code = in_child(work)
    assert code in (0, -by if by == signal.SIGKILL else 1)
    return code != 0


MINE = {"town.qgz": "mine", "rasters/mine.qml": "mine too"}


def is_whole(folder: Path) -> bool:
    """Whether the files stand as the manifest has them, and all that is somebody's is there by its text."""
    found, listed = texts(folder), read_manifest(folder)
    assert found.items() >= MINE.items()
    assert "my map" in found.values()
    return listed is not None and all(
        (folder / n).is_file() and fingerprint(folder / n) == known
        for n, known in listed.files.items()
        if n != "map.html"
    )


@pytest.fixture
def in_memory(tmp_path: Path) -> Iterator[Path]:
    """A folder whose disk is quick, where there is one: a kill, unlike a cut of the power, leaves the disk as it is."""
    if not os.access("/dev/shm", os.W_OK):
        yield tmp_path
        return
    folder = Path(tempfile.mkdtemp(dir="/dev/shm"))
    yield folder
    shutil.rmtree(folder)


@posix
@pytest.mark.parametrize("first", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_killed_at_any_moment_nothing_is_lost(in_memory: Path, first: int) -> None:
    whole, completed = 0, 0
    for moment in itertools.count(first, 2):
        folder = in_memory / str(moment) / "out"
        write_files(folder, OLD, "map")
        for name, text in {**MINE, "map.html": "my map"}.items():
            (folder / name).write_text(text)
        if not killed_at(moment, folder, NEW):
            break
        if is_whole(folder):
            whole += 1
        else:  # only while files change places, and that is gone on with
            assert (folder / STAGE / "journal.json").exists()
            completed += 1
        killed_at(3 + moment * 7 % 40, folder, NEW)  # the next run is killed too
        assert is_whole(folder) or (folder / STAGE / "journal.json").exists()
        write_files(folder, NEW, "map")
        assert texts(folder) == NEW | MINE | {"map.yours.html": "my map"}
        assert not [p for p in folder.iterdir() if p.name.startswith(".")]
    assert whole + completed >= 45
    assert whole > 0
    assert completed > 0


@posix
def test_stopped_by_ctrl_c_one_of_the_sets_stands(in_memory: Path, capfd: pytest.CaptureFixture[str]) -> None:
    for moment in itertools.count(1, 5):
        folder = in_memory / str(moment) / "out"
        write_files(folder, OLD, "map")
        for name, text in {**MINE, "map.html": "my map"}.items():
            (folder / name).write_text(text)
        if not killed_at(moment, folder, NEW, signal.SIGINT):
            break
        assert is_whole(folder)
    assert "KeyboardInterrupt()" in capfd.readouterr().err


@posix
def test_killed_in_the_first_run_of_all(in_memory: Path) -> None:
    moment = 1
    while killed_at(moment, folder := in_memory / str(moment) / "out", NEW):
        write_files(folder, NEW, "map")
        assert texts(folder) == NEW
        moment += 3
    assert texts(folder) == NEW


# --- refused


@pytest.fixture
def own_folder() -> Iterator[Path]:
    """A folder that a user without rights may reach."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o777)
    yield folder
    for path in folder.rglob("*"):
        if path.is_dir():
            path.chmod(0o755)
    shutil.rmtree(folder)


def said_without_rights(work: Callable[[], object]) -> str:
    """What an error says to a user who is not root."""
    read, write = os.pipe()

    def as_nobody() -> None:
        if os.getuid() == 0:
            os.setuid(65534)
        try:
            work()
        except HabitatmapError as fault:
            os.write(write, str(fault).encode())

    assert in_child(as_nobody) == 0
    os.close(write)
    with os.fdopen(read) as pipe:
        return pipe.read()


@posix
def test_a_file_that_can_not_be_replaced_leaves_the_old_set(own_folder: Path) -> None:
    """As where another program holds it open in Windows: the system refuses to rename it."""
    out = own_folder / "out"
    assert said_without_rights(lambda: write_files(out, OLD, "map")) == ""
    before = texts(out, manifest=True)
    (out / "rasters").chmod(0o555)
    said = said_without_rights(lambda: write_files(out, NEW, "map"))
    assert "reach_now.tif can't be replaced (Permission denied)" in said
    assert "Close it in other programs" in said
    assert "what was there is as it was" in said
    assert texts(out, manifest=True) == before
    (out / "rasters").chmod(0o755)
    assert said_without_rights(lambda: write_files(out, NEW, "map")) == ""
    assert texts(out) == NEW


@posix
def test_a_folder_that_may_only_be_read(own_folder: Path) -> None:
    out = own_folder / "out"
    said_without_rights(lambda: write_files(out, OLD, "map"))
    out.chmod(0o555)
    said = said_without_rights(lambda: check_target(out, "map"))
    assert "can't be written to: change its permissions" in said


# --- a GeoPackage that a GIS has open


def layer(path: Path) -> sqlite3.Connection:
    """An open GeoPackage, as far as it matters here, in the mode in which a GIS opens it."""
    base = sqlite3.connect(path, isolation_level=None)
    base.execute("pragma journal_mode = wal")
    return base


@pytest.fixture
def package(tmp_path: Path) -> bytes:
    base = sqlite3.connect(tmp_path / "made.gpkg")
    base.executescript("create table pools (pool text); insert into pools values ('P1');")
    base.close()
    return (tmp_path / "made.gpkg").read_bytes()


def test_a_geopackage_that_was_only_opened_is_not_changed(tmp_path: Path, package: bytes) -> None:
    out = tmp_path / "out"
    write_files(out, {"habitatmap.gpkg": package}, "map")
    base = layer(out / "habitatmap.gpkg")
    base.execute("select * from pools").fetchall()
    base.execute("pragma journal_mode = delete")
    base.close()
    assert (out / "habitatmap.gpkg").read_bytes() != package, "opening it changes bytes"
    write_files(out, {"habitatmap.gpkg": b"new"}, "map")
    assert sorted(p.name for p in out.iterdir()) == ["habitatmap.gpkg", MANIFEST]


def test_changes_that_wait_beside_a_geopackage_are_kept_with_it(tmp_path: Path, package: bytes) -> None:
    out = tmp_path / "out"
    write_files(out, {"habitatmap.gpkg": package}, "map")
    base = layer(out / "habitatmap.gpkg")
    base.execute("insert into pools values ('mine')")
    write_files(out, {"habitatmap.gpkg": package}, "map")
    again = sqlite3.connect(out / "habitatmap.gpkg").execute("select pool from pools").fetchall()
    assert again == [("P1",)], "nothing of the old one's waiting changes is taken for the new one's"
    base.close()
    kept = sqlite3.connect(out / "habitatmap.yours.gpkg").execute("select pool from pools").fetchall()
    assert kept == [("P1",), ("mine",)]
