"""Compiled loops where nothing can be kept of them."""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path

import numba
import pytest

import habitatmap
from habitatmap.geo.compiled import njit


def double(x: float) -> float:
    return 2 * x


def test_a_loop_is_compiled_where_no_folder_can_be_written(monkeypatch: pytest.MonkeyPatch) -> None:
    real = numba.njit

    def without_cache(cache: bool = False, **options: bool) -> Callable[[object], object]:
        if cache:
            raise RuntimeError("cannot cache function 'double': no locator available for file 'test_compiled.py'")
        return real(**options)

    monkeypatch.setattr("numba.njit", without_cache)
    assert njit(nogil=True)(double)(21.0) == 42.0


def test_every_loop_is_compiled_so() -> None:
    package = Path(str(habitatmap.__file__)).parent
    imports = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if (isinstance(node, ast.Import) and any(name.name.startswith("numba") for name in node.names))
        or (isinstance(node, ast.ImportFrom) and (node.module or "").startswith("numba"))
    }
    assert imports == {"geo/compiled.py"}
