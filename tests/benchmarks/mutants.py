"""How many single wrong changes of a room its tests let pass.

    python -m tests.benchmarks.mutants habitat 60 [seed]

Draws that many changes (60; the same ones for the same seed) of the modules of habitatmap/ROOM, makes each in a copy of
the checkout, and runs the tests that import the room, its own first, until one fails. A change survives where all pass;
one that runs longer than three times as long as the tests do unchanged is taken as noticed. Texts of more than a word,
annotations, decorators and docstrings are left alone. Modules with compiled functions get a fresh Numba cache.
"""

import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
LEFT_ALONE = {"annotation", "returns", "decorator_list", "bases"}


def wrong(node: ast.AST) -> Iterator[ast.AST]:
    if type(node) in SWAPS:
        yield SWAPS[type(node)]()
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        yield node.operand
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        yield type(node)(**{**dict(ast.iter_fields(node)), "test": ast.UnaryOp(ast.Not(), node.test)})
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield ast.Pass()
    elif isinstance(node, ast.Constant):
        if isinstance(value := node.value, bool):
            yield ast.Constant(not value)
        elif isinstance(value, int):
            yield ast.Constant(value + 1 if value < 100 else value * 2)
        elif isinstance(value, float):
            yield ast.Constant(value * 2 or 1.0)
        elif isinstance(value, str) and value and " " not in value:
            yield ast.Constant(value + "x")


def places(parent: ast.AST) -> Iterator[tuple[ast.AST, str, int | None, ast.AST]]:
    """(parent, field, position in a list or None, node) of all nodes below, from top to bottom."""
    for field, value in ast.iter_fields(parent):
        if field in LEFT_ALONE or isinstance(parent, ast.JoinedStr | ast.ImportFrom | ast.Import):
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
            yield line, f"{before.splitlines()[0]}  ->  {after.splitlines()[0]}", ast.unparse(tree)
            setattr(parent, field, node if at is None else siblings)


def passes(copy: Path, tests: list[str], cache: str, limit_s: float | None = None) -> bool:
    """Whether all tests pass, within the limit, on the package in `copy`."""
    env = os.environ | {"PYTHONPATH": str(copy), "NUMBA_CACHE_DIR": str(copy / cache), "PYTHONDONTWRITEBYTECODE": "1"}
    pytest = [sys.executable, *"-m pytest -x -q -p no:cacheprovider -m".split(), "not slow", *tests]
    try:
        return subprocess.run(pytest, cwd=copy, env=env, capture_output=True, timeout=limit_s).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def main(room: str, sample: int = 60, seed: int = 1) -> None:
    """Prints the survivors and their share."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for entry in CHECKOUT.iterdir():
            if entry.name in ("habitatmap", "tests"):
                shutil.copytree(entry, copy / entry.name, ignore=shutil.ignore_patterns("__pycache__"))
            elif entry.name != ".git":
                (copy / entry.name).symlink_to(entry)
        files = sorted((copy / "habitatmap" / room).rglob("*.py"))
        every = [(path, *change) for path in files for change in changes(path.read_text("utf-8"))]
        drawn = random.Random(seed).sample(every, min(sample, len(every)))
        name, own = f"habitatmap.{room.replace('/', '.')}", copy / "tests" / room
        tests = [p for p in sorted((copy / "tests").rglob("test_*.py")) if name in p.read_text("utf-8")]
        tests.sort(key=lambda path: not path.is_relative_to(own))
        names = [str(path.relative_to(copy)) for path in tests if "browser" not in path.parts]
        start = time.monotonic()
        if not passes(copy, names, "cache"):
            sys.exit(f"the tests of {room} do not pass unchanged")
        limit_s, survivors = 60.0 + 3.0 * (time.monotonic() - start), 0
        for n, (path, line, what, text) in enumerate(drawn):
            source = path.read_text("utf-8")
            path.write_text(text, "utf-8")
            if passes(copy, names, f"cache{n}" if "njit" in source else "cache", limit_s):
                survivors += 1
                print(f"survived: {path.relative_to(copy)}:{line}: {what}", flush=True)
            path.write_text(source, "utf-8")
        print(f"{room}: {survivors} of {len(drawn)} changes survived ({len(every)} in all, seed {seed})")


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:]))
