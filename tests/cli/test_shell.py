"""A day in a shell: stopping a run, flags anywhere, slips of the fingers, terminals with few letters."""

from __future__ import annotations

import codecs
import io
import json
import logging
import os
import re
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from habitatmap.area import open_area
from habitatmap.cli.main import with_other_letters
from habitatmap.cli.options import stages_told
from habitatmap.cli.progress import WRITING, Progress, is_rewritable, on_one_line, seconds_before
from habitatmap.export.folder import write_files
from habitatmap.export.lock import LOCK
from habitatmap.export.worked import record_of
from habitatmap.read.start import new_demo
from habitatmap.result import Stage
from tests.areas import LEFT, TOP, write_area
from tests.commands import Done, habitatmap

ROOT = Path(__file__).parents[2]


def started(*words: str | Path, encoding: str = "utf-8") -> subprocess.Popen[bytes]:
    """The program as a shell starts it."""
    env = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    pipe = subprocess.PIPE
    return subprocess.Popen(
        [sys.executable, "-m", "habitatmap", *map(str, words)],
        env=env,
        stdout=pipe,
        stderr=pipe,
        preexec_fn=interruptible,
    )


def interruptible() -> None:
    """Ctrl-C is heeded, also where the tests run in the background of a script, which ignores it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.fixture
def town(tmp_path: Path) -> Path:
    folder = tmp_path / "Städtchen am See"
    folder.mkdir()
    (folder / "pools.csv").write_text("pool,lat,lon\nŁódź,60.17,24.94\nQ,60.18,24.93\n", encoding="utf-8")
    return folder


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_ctrl_c_ends_with_130_and_one_word(town: Path) -> None:
    import fcntl

    (town / "check").mkdir()
    with (town / "check" / LOCK).open("w") as lock:  # so that the run waits, and is met in the middle
        fcntl.flock(lock, fcntl.LOCK_EX)
        run = started("check", town)
        assert run.stderr is not None
        assert b"waiting" in run.stderr.readline()
        run.send_signal(signal.SIGINT)
        out, err = run.communicate()
    assert run.returncode == 130
    assert out == b""
    assert err.decode().split() == ["Stopped."]


def test_output_survives_a_code_page_without_the_letters(town: Path) -> None:
    out, err = started("check", town, "--json", encoding="cp1252").communicate()
    assert b"fault" not in err
    assert "Łódź" in json.dumps(json.loads(out.decode("cp1252")), ensure_ascii=False)


def test_letters_beyond_the_first_plane_are_json_too() -> None:
    codecs.register_error("habitatmap", with_other_letters)
    written = json.dumps("Łódź \U0001f33c", ensure_ascii=False).encode("ascii", "habitatmap")
    assert written == rb'"\u0141\u00f3d\u017a \ud83c\udf3c"'
    assert json.loads(written) == "Łódź \U0001f33c"


@pytest.mark.parametrize(("flag", "level"), [("-q", logging.ERROR), ("--verbose", logging.DEBUG)])
def test_flags_stand_before_or_after_the_command(town: Path, flag: str, level: int) -> None:
    log = logging.getLogger("habitatmap")
    for words in (("words", town, "--dry-run"), (flag, "words", town, "--dry-run"), ("words", town, "--dry-run", flag)):
        assert habitatmap(*words).code == 0
        assert log.level == (level if flag in words else logging.INFO)


def test_a_shell_completes_commands_and_options() -> None:
    script = "import sys; sys.argv = ['habitatmap']; from habitatmap.cli.main import main; main()"
    for words, last in (("habitatmap ma", "plain,map"), ("habitatmap words --dry", "plain,--dry-run")):
        typed = {
            "_HABITATMAP_COMPLETE": "bash_complete",
            "COMP_WORDS": words,
            "COMP_CWORD": str(len(words.split()) - 1),
        }
        env = os.environ | {"PYTHONPATH": str(ROOT)} | typed
        assert subprocess.check_output([sys.executable, "-c", script], env=env, text=True).split() == [last]


def test_stages_are_told_with_seconds_and_memory(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG, "habitatmap"), stages_told() as begin:
        begin(Stage.HABITAT)
        time.sleep(0.02)
        begin(Stage.GAPS)
    costs, told = caplog.messages[::2][:2] + caplog.messages[4:5], caplog.messages
    assert all(re.fullmatch(r"  \d+\.\d s, \d+\.\d s of work(, [\d,]+ MB at most)?", cost) for cost in costs)
    assert [told[1], told[3]] == ["What each cell offers", "What stays out of reach"]
    shares = [re.fullmatch(r" +(\d+) %  (.+)", line) for line in told[5:]]
    assert [share and share[2] for share in shares] == ["What each cell offers", "What stays out of reach"]
    assert sum(int(share[1]) for share in shares if share) == pytest.approx(100, abs=1)


class Clock:
    """Seconds that pass when they are told to."""

    now = 100.0

    def __call__(self) -> float:
        return self.now


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_what_is_left_goes_by_the_last_run_and_by_the_pace_so_far() -> None:
    clock = Clock()
    progress = Progress({"a": 10.0, "b": 20.0, "c": 30.0}, clock)
    told = []
    for stage, later in (("a", 4.0), ("a", 16.0), ("b", 30.0), ("b", 20.0), ("c", 0.0), (WRITING, 1.0)):
        if progress.stage != stage:
            progress.begin(stage)
        clock.now += later
        told.append((progress.elapsed, progress.left))
    # a at the pace of then: 6 + 20 + 30; a took longer than it should: nobody knows; then all takes twice as long:
    # b 40 - 30 and c 60; b has taken longer; after 70 s for 30 all takes 7/3 as long; what no run has told
    assert told == [(4.0, 56.0), (20.0, None), (30.0, 70.0), (50.0, None), (0.0, pytest.approx(70.0)), (1.0, None)]
    assert progress.seconds == {"a": 20.0, "b": 50.0, "c": 0.0}


@pytest.mark.parametrize(
    ("expected", "later", "line"),
    [
        ({}, 3.9, "How sure: 3 s"),
        ({"a": 50.0}, 3.0, "How sure: 3 s; about 45 s left"),
        ({"a": 50.0}, 49.5, "How sure: 49 s; about 5 s left"),
        ({"a": 200.0, "b": 7.0}, 63.0, "How sure: 1 min 3 s; about 2 min 20 s left"),
        ({"a": 900.0}, 120.0, "How sure: 2 min; about 13 min left"),
    ],
)
def test_durations_are_no_finer_than_they_are_known(expected: dict[str, float], later: float, line: str) -> None:
    clock = Clock()
    progress = Progress(expected, clock)
    progress.begin("a")
    clock.now += later
    assert progress.line("How sure") == line


def test_a_terminal_shows_one_line_that_is_gone_in_the_end() -> None:
    terminal, progress = Terminal(), Progress({"a": 50.0}, Clock())
    with on_one_line(progress, {"a": "A stage with a long name", "b": "B"}, terminal) as begin:
        begin("a")
        begin("b")
    said = terminal.getvalue()
    assert "\n" not in said
    assert "\x1b" not in said
    first, second, _, end = said.split("\r")[1:]
    assert first == "A stage with a long name: 0 s; about 50 s left"
    assert second.rstrip() == "B: 0 s"
    assert len(second) == len(first)  # nothing of the longer line stays
    assert end == ""


def test_what_is_logged_meanwhile_begins_on_a_line_of_its_own(caplog: pytest.LogCaptureFixture) -> None:
    terminal, log = Terminal(), logging.getLogger("habitatmap")
    caplog.set_level(logging.INFO, "habitatmap")  # a command run with -q before leaves it higher
    handler = logging.StreamHandler(terminal)
    logging.getLogger().addHandler(handler)
    try:
        with on_one_line(Progress(clock=Clock()), {"a": "A"}, terminal) as begin:
            begin("a")
            log.warning("mind this")
    finally:
        logging.getLogger().removeHandler(handler)
    assert "\r      \rmind this\n" in terminal.getvalue()


def test_nothing_is_rewritten_but_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "habitatmap"):
        monkeypatch.setenv("TERM", "xterm")
        assert (is_rewritable(Terminal()), is_rewritable(io.StringIO())) == (True, False)
        monkeypatch.setenv("TERM", "dumb")
        assert not is_rewritable(Terminal())
    monkeypatch.setenv("TERM", "xterm")
    for level in (logging.DEBUG, logging.ERROR):
        with caplog.at_level(level, "habitatmap"):
            assert not is_rewritable(Terminal())


def test_the_last_run_tells_where_settings_and_cells_are_the_same(tmp_path: Path) -> None:
    area, out = open_area(write_area(tmp_path / "town", pools=[("A", LEFT + 55, TOP - 105)])), tmp_path / "out"
    cells = area.grid.rows * area.grid.cols
    assert seconds_before(area, out) == {}
    for summary, settings, known in (
        ({"cells": cells, "seconds": {"plan": 2.5}}, None, True),
        ({"cells": cells, "seconds": {"plan": 2.5}}, {"title": "other"}, False),
        ({"cells": cells + 1, "seconds": {"plan": 2.5}}, None, False),
        ({"cells": cells, "seconds": {"plan": "long"}}, None, False),
        ({"cells": cells, "seconds": []}, None, False),
    ):
        record = record_of(area) | ({"settings": settings} if settings else {})
        write_files(out, {"summary.json": summary}, "map", record=record)
        found = seconds_before(area, out)
        assert found.get("plan") == (2.5 if known else None)
        assert (found.get(WRITING, -1.0) >= 0) is known


# --- what a machine reads


def test_what_was_written_is_told_to_a_machine(tmp_path: Path) -> None:
    town = tmp_path / "Städtchen am See"
    made = json.loads(habitatmap("new", town, "--json").out)
    assert Path(made["area"]) == town
    assert [one["file"] for one in made["files"]] == ["area.toml", "pools.xlsx", "visits.xlsx"]
    again = json.loads(habitatmap("words", town, "--language", "de", "--json").out)
    assert Path(again["file"]) == town / "words.de.xlsx"
    assert again["texts"] > 1000
    assert (again["language"], again["kept"]) == ("de", 0)


def test_a_misspelt_command_is_answered_with_the_nearest() -> None:
    done: Done = habitatmap("mapp", "town")
    assert done.code == 2
    assert "No such command 'mapp'; did you mean map?" in done.err
    assert "did you mean" not in habitatmap("xyz").err


def test_a_copy_of_a_program_that_may_only_be_read_can_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = tmp_path / "shipped"
    new_demo(shipped)
    for path in (*shipped.rglob("*"), shipped):
        path.chmod(0o555 if path.is_dir() else 0o444)
    monkeypatch.setattr("habitatmap.read.start.shipped_folder", lambda _: shipped)
    new_demo(tmp_path / "town")
    assert {path.stat().st_mode & stat.S_IWUSR for path in (tmp_path / "town").rglob("*")} == {stat.S_IWUSR}
