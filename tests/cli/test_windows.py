"""Windows' manners, as far as they can be tried on another system: names it does not give, no modules of POSIX, its
locks, renaming that never replaces, files that other programs hold."""

from __future__ import annotations

import errno
import fcntl
import os
import re
import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest

import habitatmap
from habitatmap.errors import HabitatmapError, InputError
from habitatmap.errors.system import check_new_folder, is_reserved, refused
from habitatmap.export import lock
from habitatmap.export.folder import folder_names, write_files
from habitatmap.export.lock import LOCK, alone_in
from tests import commands


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """What we ask the system about is answered as Windows does; its modules are there, and none of POSIX."""

    def locking(file: int, mode: int, _count: int) -> None:
        assert (mode, os.lseek(file, 0, os.SEEK_CUR)) == (2, 1 << 30)  # the byte that is locked: nobody may read it
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise PermissionError(errno.EACCES, "Permission denied") from None

    def rename(self: Path, target: Path) -> None:
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, "File exists", str(self), 183, str(target))
        os.rename(self, target)

    for module in ("habitatmap.export.lock", "habitatmap.cli.options"):
        asked = SimpleNamespace(**{**vars(sys), "platform": "win32"})
        monkeypatch.setattr(f"{module}.sys", asked)
    monkeypatch.setattr("habitatmap.errors.system.ON_WINDOWS", True)
    monkeypatch.setattr(Path, "rename", rename)
    monkeypatch.setitem(sys.modules, "msvcrt", SimpleNamespace(locking=locking, LK_NBLCK=2))
    for posix in ("fcntl", "resource", "pwd", "grp", "termios"):
        monkeypatch.setitem(sys.modules, posix, None)


@pytest.fixture
def town(tmp_path: Path) -> Path:
    folder = tmp_path / "Städtchen am See"
    folder.mkdir()
    (folder / "pools.csv").write_text("pool,lat,lon\nP,60.17,24.94\nQ,60.18,24.93\n", encoding="utf-8")
    return folder


@pytest.mark.usefixtures("windows")
def test_a_command_runs_without_modules_of_posix(town: Path) -> None:
    for _ in range(2):
        done = commands.habitatmap("check", town, "-v")
        assert (done.code, "fault" in done.err) == (0, False)
    assert [path.name for path in (town / "check").iterdir() if path.name.startswith(".")] == []


def test_modules_of_posix_are_asked_for_where_they_are_used_only() -> None:
    package = Path(str(habitatmap.__file__)).parent
    at_the_top = re.compile(r"^(?:import|from) (?:fcntl|resource|pwd|grp|termios|pty|posix)\b", re.MULTILINE)
    assert [path.name for path in package.rglob("*.py") if at_the_top.search(path.read_text("utf-8"))] == []


@pytest.mark.usefixtures("windows")
def test_a_second_run_is_kept_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lock, "PATIENCE_S", 0.0)
    said: list[str] = []

    def second() -> None:
        try:
            with alone_in(tmp_path):
                said.append("was let in")
        except InputError as fault:
            said.append(str(fault))

    with alone_in(tmp_path):
        other = threading.Thread(target=second)
        other.start()
        other.join()
    assert said[0].startswith(f"Another run (process {os.getpid()} on ")
    second()
    assert said[1:] == ["was let in"]
    assert not (tmp_path / LOCK).exists()


@pytest.mark.usefixtures("windows")
def test_a_new_set_takes_the_place_of_the_old_one(tmp_path: Path) -> None:
    write_files(tmp_path, {"a.csv": "1", "more/b.csv": "1"}, "rounds")
    (tmp_path / "a.csv").write_text("mine")
    write_files(tmp_path, {"a.csv": "2", "more/b.csv": "2"}, "rounds")
    files = {path.relative_to(tmp_path).as_posix(): path.read_text() for path in tmp_path.rglob("*.csv")}
    assert files == {"a.csv": "2", "a.yours.csv": "mine", "more/b.csv": "2"}


@pytest.mark.usefixtures("windows")
def test_a_result_that_another_program_holds_is_named_and_all_stay(tmp_path: Path) -> None:
    write_files(tmp_path, {"a.csv": "1", "b.csv": "1"}, "rounds")
    free = Path.rename

    def rename(self: Path, target: Path) -> None:
        if self == tmp_path / "b.csv":
            raise PermissionError(errno.EACCES, "The process cannot access the file", str(self), 32)
        free(self, target)

    held = pytest.raises(HabitatmapError, match=r"b\.csv can't be replaced .* Close it in other programs")
    with mock.patch.object(Path, "rename", rename), mock.patch("habitatmap.export.replace.RETRIES_S", ()), held:
        write_files(tmp_path, {"a.csv": "2", "b.csv": "2"}, "rounds")
    assert [(tmp_path / name).read_text() for name in ("a.csv", "b.csv")] == ["1", "1"]


@pytest.mark.parametrize("name", ["pools.csv", "area.toml", "notes.txt"])
def test_an_input_that_another_program_holds_is_named_on_the_page(town: Path, name: str) -> None:
    """As a workbook that is open in a spreadsheet program on Windows; tests by root may read whatever they like."""
    (town / "area.toml").write_text('title = "Elm Valley"\n')
    (town / "notes.txt").write_text("no input")
    free = Path.open

    def opened(self: Path, *words: Any, **more: Any) -> Any:
        if self == town / name:
            raise PermissionError(errno.EACCES, "Permission denied", str(self))
        return free(self, *words, **more)

    with mock.patch.object(Path, "open", opened):
        done = commands.habitatmap("check", town)
    is_input = name != "notes.txt"
    assert done.code == int(is_input)
    assert (f"{name} cannot be opened (Permission denied); close it in other programs" in done.out) is is_input
    assert (town / "check" / "check.html").exists()
    assert "Traceback" not in done.err


# --- names


@pytest.mark.parametrize("name", ["CON", "aux", "Nul.txt", "com1", "LPT9.csv", "con .x"])
def test_names_of_devices(name: str) -> None:
    assert is_reserved(name)


def test_groups_get_folders_that_every_system_gives() -> None:
    names = folder_names(["Con", "AUX", "aux!", "North", "north.", ""])
    assert list(names.values()) == ["group-con", "group-aux", "group-aux-2", "north", "north-2", "own"]
    assert not any(is_reserved(name) for name in names.values())


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("con", "keeps this name for a device (con)"),
        ("2026/Aux.d/rounds", "keeps this name for a device (Aux.d)"),
        ("rounds.", "drops the dot or blank at its end"),
        ("week 20 ", "drops the dot or blank at its end"),
        ("what?", "has no ? in names"),
    ],
)
def test_a_folder_that_windows_would_not_make_so_is_refused(name: str, why: str, town: Path, windows: None) -> None:
    for words in (("check", town, "--out", town / name), ("new", town / name)):
        done = commands.habitatmap(*words)
        assert done.code == 2
        assert why in done.err.strip().splitlines()[-1]
    assert [path.name for path in town.iterdir()] == ["pools.csv"]


@pytest.mark.parametrize("name", ["console", "aux1", "com10", "über den Wiesen", ".hidden", "a.b"])
def test_other_names_are_taken(name: str, tmp_path: Path, windows: None) -> None:
    check_new_folder(tmp_path / name)


def test_other_systems_take_them_all(tmp_path: Path) -> None:
    check_new_folder(tmp_path / "con" / "what?.")


@pytest.mark.parametrize("words", ["check {} --out {}/x", "new {}", "check {}", "words {}"])
def test_a_name_that_is_too_long_gets_a_sentence(words: str, tmp_path: Path) -> None:
    done = commands.habitatmap(*(word.format(tmp_path / ("x" * 300)) for word in words.split()))
    assert done.code == 2
    assert "is a longer name than this system takes" in done.err.strip().splitlines()[-1]
    assert "Traceback" not in done.err


def test_what_the_system_refuses_is_told_and_faults_of_our_own_are_not_hidden(windows: None) -> None:
    assert refused(OSError(errno.ENOSPC, "No space left on device", "x/plan.csv")) == (
        "plan.csv can't be opened or written (No space left on device): make room on the disk, then run again"
    )
    assert refused(FileNotFoundError(errno.ENOENT, "No such file", "words/locale/de.po")) == ""
    assert refused(OSError("nothing more is known")) == ""
    far = "C:/" + "folder/" * 40
    assert "longer name than this system takes (283 letters)" in refused(FileNotFoundError(errno.ENOENT, "No", far))
