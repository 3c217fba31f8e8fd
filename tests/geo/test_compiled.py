"""Compiled loops where nothing can be kept of them."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numba
import pytest

import habitatmap
from habitatmap.geo.compiled import njit


def double(x: float) -> float:
    return 2 * x


def test_a_loop_is_compiled_where_no_folder_can_be_written(monkeypatch: pytest.MonkeyPatch) -> None:
    def without_cache(cache: bool = False, **options: bool) -> Callable[[object], object]:
        if cache:
            raise RuntimeError("cannot cache function 'double': no locator available for file 'test_compiled.py'")
        return numba.njit(**options)

    monkeypatch.setattr("habitatmap.geo.compiled.numba", SimpleNamespace(njit=without_cache))
    assert njit(nogil=True)(double)(21.0) == 42.0


def test_every_loop_is_compiled_so() -> None:
    package = Path(str(habitatmap.__file__)).parent
    importing = re.compile(r"^\s*(import|from) numba\b", re.MULTILINE)
    files = {p.relative_to(package).as_posix() for p in package.rglob("*.py") if importing.search(p.read_text("utf-8"))}
    assert files == {"geo/compiled.py"}
