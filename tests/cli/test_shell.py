"""A day in a shell: stopping a run, flags anywhere, slips of the fingers, terminals with few letters."""

from __future__ import annotations

import codecs
import json
import logging
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from habitatmap.cli.main import with_other_letters
from habitatmap.cli.options import tell
from habitatmap.export.lock import LOCK
from habitatmap.result import Stage
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
    with caplog.at_level(logging.DEBUG, "habitatmap"):
        tell(Stage.HABITAT)
    cost, stage = caplog.messages
    assert re.fullmatch(r"  \d+\.\d s(, [\d,]+ MB at most)?", cost)
    assert stage == "What each cell offers"


def test_a_misspelt_command_is_answered_with_the_nearest() -> None:
    done: Done = habitatmap("mapp", "town")
    assert done.code == 2
    assert "No such command 'mapp'; did you mean map?" in done.err
    assert "did you mean" not in habitatmap("xyz").err
