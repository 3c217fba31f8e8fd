"""The command line called as a user calls it."""

from __future__ import annotations

import io
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple
from unittest import mock

from habitatmap.cli.main import main


class Done(NamedTuple):
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str


def habitatmap(*words: str | Path) -> Done:
    """A command in this process; code, stdout and stderr are those that a shell would see."""
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    argv = ["habitatmap", *map(str, words)]
    with mock.patch.object(sys, "argv", argv), redirect_stdout(out), redirect_stderr(err):
        try:
            main()
        except SystemExit as end:
            code = end.code
    assert isinstance(code, int)
    return Done(code, out.getvalue(), err.getvalue())
