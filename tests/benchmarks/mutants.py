"""How many single wrong changes a room's tests let pass: `python -m tests.benchmarks.mutants ROOM [sample] [seed]`.

Draws changes of the modules of habitatmap/ROOM, the same ones for the same seed, makes each in a copy of the checkout,
and runs the tests that import the room, its own first, until one fails. A change survives where all pass; one that
makes them run more than twice as long is taken as noticed. Texts of more than a word, annotations, decorators and
docstrings are left alone. Modules with compiled functions get a fresh Numba cache.
"""

import ast
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import geopandas  # noqa: F401 - before the forks
import numba
import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
PAIRS = "Lt LtE Gt GtE Eq NotEq Is IsNot In NotIn Add Sub Mult Div FloorDiv Mult Mod Mult Pow Mult BitAnd BitOr And Or"
HALVES = [getattr(ast, name) for name in PAIRS.split()]
SWAPS = dict(zip(HALVES[1::2], HALVES[::2], strict=True)) | dict(zip(HALVES[::2], HALVES[1::2], strict=True))


def wrong(node: ast.AST) -> Iterator[ast.AST]:
    """What may stand in its place."""
    if type(node) in SWAPS:
        yield SWAPS[type(node)]()
    elif isinstance(node, ast.UnaryOp):
        yield node.operand
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        yield type(node)(**{**dict(ast.iter_fields(node)), "test": ast.UnaryOp(ast.Not(), node.test)})
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield ast.Pass()
    elif isinstance(node, ast.Constant):
        if isinstance(value := node.value, bool):
            yield ast.Constant(not value)
        elif isinstance(value, int | float):
            yield ast.Constant(value + 1 if -1 < value < 100 and isinstance(value, int) else value * 2 or 1.0)
        elif isinstance(value, str) and value and " " not in value:
            yield ast.Constant(value + "x")


def places(parent: ast.AST) -> Iterator[tuple[ast.AST, str, int | None, ast.AST]]:
    """(parent, field, position in a list or None, node) of all nodes below."""
    for field, value in ast.iter_fields(parent):
        if field in ("annotation", "returns", "decorator_list", "bases") or isinstance(parent, ast.JoinedStr):
            continue
        for at, node in enumerate(value if isinstance(value, list) else [value]):
            docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
            if isinstance(node, ast.AST) and not docstring:
                yield parent, field, at if isinstance(value, list) else None, node
                yield from places(node)


def changes(source: str) -> Iterator[tuple[int, str, str]]:
    """Line, what was changed into what, and the whole changed source."""
    tree, line = ast.parse(source), 0
    for parent, field, at, node in list(places(tree)):
        line = getattr(node, "lineno", line)
        for other in wrong(node):
            siblings = [*getattr(parent, field)] if at is not None else []
            sign = isinstance(node, ast.operator | ast.cmpop | ast.boolop)
            before = ast.unparse(parent if sign else node)
            setattr(parent, field, other if at is None else [*siblings[:at], other, *siblings[at + 1 :]])
            after = ast.unparse(parent if sign else other)
            yield line, " -> ".join(text.splitlines()[0] for text in (before, after)), ast.unparse(tree)
            setattr(parent, field, node if at is None else siblings)


def run(copy: Path, tests: list[str], cache: str) -> None:
    for name in [name for name in sys.modules if name.startswith("tests")]:
        del sys.modules[name]
    sys.path.insert(0, str(copy))
    sys.dont_write_bytecode = True
    numba.config.CACHE_DIR = str(copy / cache)  # type: ignore[attr-defined]
    os.environ["PYTHONPATH"] = str(copy)
    os.chdir(copy)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os._exit(pytest.main([*"-x -q -p no:cacheprovider -m".split(), "not slow", *tests]))


def passes(copy: Path, tests: list[str], cache: str, limit_s: float | None = None) -> bool:
    """Whether all tests pass, within the limit. In a fork, so that libraries are imported once only."""
    child = multiprocessing.get_context("fork").Process(target=run, args=(copy, tests, cache))
    child.start()
    child.join(limit_s)
    child.kill()
    return child.exitcode == 0  # None where it had not ended


def main(room: str, sample: int = 60, seed: int = 1) -> None:
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        shutil.copytree(CHECKOUT, copy, ignore=shutil.ignore_patterns(".*", "__pycache__"), dirs_exist_ok=True)
        files = sorted((copy / "habitatmap" / room).rglob("*.py"))
        every = [(path, *change) for path in files for change in changes(path.read_text("utf-8"))]
        drawn = random.Random(seed).sample(every, min(sample, len(every)))
        start, name, own = time.monotonic(), f"habitatmap.{room.replace('/', '.')}", f"tests/{room}/"
        tests = [p for p in sorted((copy / "tests").rglob("test_*.py")) if name in p.read_text("utf-8")]
        names = [str(path.relative_to(copy)) for path in tests if "browser" not in path.parts]
        names.sort(key=lambda path: not path.startswith(own))
        if not passes(copy, names, "cache"):
            sys.exit(f"the tests of {room} do not pass unchanged")
        limit_s, survivors = 30.0 + 2.0 * (time.monotonic() - start), 0
        for n, (path, line, what, text) in enumerate(drawn):
            source = path.read_text("utf-8")
            path.write_text(text, "utf-8")
            survived = passes(copy, names, f"cache{n}" if "njit" in source else "cache", limit_s)
            path.write_text(source, "utf-8")
            survivors += survived
            print("survived" if survived else "noticed", f"{path.relative_to(copy)}:{line}: {what}", flush=True)
        print(f"{room}: {survivors} of {len(drawn)} changes survived ({len(every)} in all, seed {seed})")


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:]))
