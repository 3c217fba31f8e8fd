"""The measures of the house, each with its aim: `python -m tests.benchmarks.measures`, or with names of some of them.

Sizes and types are read from the source, the walk of one pool is traced. Which functions are too long, take too many
values or have `Any` in their signature is listed below the table.
"""

from __future__ import annotations

import ast
import re
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from types import FrameType
from typing import NamedTuple

import networkx as nx
import numpy as np
import pandas as pd
from pyproj import Transformer

from tests.areas import CRS, class_table, write_area

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "habitatmap"
LONGEST, MOST_PARAMETERS = 80, 7
# where JSON enters or leaves, so that values of any type pass: "file", "file function" or "file Class.field"
JSON_EDGES = {
    "export/formats.py plain",
    "export/formats.py json_text",
    "export/formats.py _rounded",
    "export/summary.py summary_of",
    "page/background.py",  # the same
    "page/coding.py sentence",
    "page/coding.py sentence.value",
    "page/coding.py coded_sentences",
    "page/document.py json_for_script",
    "page/document.py data_block",
    "page/months.py month_blocks",
    "page/payload.py",  # what the page's script reads
    "page/names.py names",
    "page/what_if.py",
    "words/catalogue.py words",
    "paper/sheets.py _sheet_of",  # data.json of a typst file
    "paper/typst_pdf.py _compile",
    "reports/check.py Check.for_json",
    "reports/check.py _plain",
    "reports/practice.py practice_summary",
    "reports/rounds.py rounds_summary",
    "reports/survey_figures.py survey_summary",
}
Def = ast.FunctionDef | ast.AsyncFunctionDef


class Function(NamedTuple):
    """A function as it stands in a module: its place, its name with those around it, and its tree."""

    path: str
    name: str
    node: Def

    @property
    def lines(self) -> int:
        """From `def` to its last line, decorators apart."""
        return (self.node.end_lineno or self.node.lineno) - self.node.lineno + 1

    @property
    def parameters(self) -> int:
        """How many values it takes, self and cls apart; `*values` and `**values` count one each."""
        a = self.node.args
        named = [p.arg for p in [*a.posonlyargs, *a.args, *a.kwonlyargs]]
        return len(named) - (named[:1] in (["self"], ["cls"])) + (a.vararg is not None) + (a.kwarg is not None)

    def __str__(self) -> str:
        return f"{self.path}:{self.node.lineno} {self.name}"


def sources() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def functions() -> list[Function]:
    """Every function of the package, those inside others too."""

    def below(node: ast.AST, path: str, around: str) -> Iterator[Function]:
        for child in ast.iter_child_nodes(node):
            name = f"{around}{getattr(child, 'name', '')}"
            if isinstance(child, Def):
                yield Function(path, name, child)
            inner = f"{name}." if isinstance(child, Def | ast.ClassDef) else around
            yield from below(child, path, inner)

    return [f for path in sources() for f in below(tree(path), path.relative_to(PACKAGE).as_posix(), "")]


def too_long() -> list[str]:
    return [f"{f} ({f.lines} lines)" for f in functions() if f.lines > LONGEST]


def too_many_parameters() -> list[str]:
    return [f"{f} ({f.parameters} values)" for f in functions() if f.parameters > MOST_PARAMETERS]


def names_in(node: ast.AST | None) -> set[str]:
    return {n.id for n in ast.walk(node) if isinstance(n, ast.Name)} if node else set()


def aliases_of_any(path: Path) -> set[str]:
    """`Any`, and names a module gives to types that hold it, as `Array = NDArray[Any]`."""
    found = {"Any"}
    for node in tree(path).body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(target, ast.Name):
            typed = isinstance(node, ast.Assign) or names_in(node.annotation) & {"TypeAlias"}
            if typed and isinstance(node.value, ast.Subscript) and names_in(node.value) & found:
                found.add(target.id)
    return found


def any_in_signatures() -> list[str]:
    """Functions whose parameters or result are `Any` or hold it, and such fields of classes, by file.

    Edges named in JSON_EDGES are apart.
    """
    found: dict[str, list[str]] = {}
    for path in sources():
        aliases, here = aliases_of_any(path), path.relative_to(PACKAGE).as_posix()
        if here in JSON_EDGES:
            continue
        for f in (f for f in functions() if f.path == here):
            a = f.node.args
            asked = [*a.posonlyargs, *a.args, *a.kwonlyargs, *filter(None, [a.vararg, a.kwarg])]
            told = set().union(*(names_in(p.annotation) for p in asked), names_in(f.node.returns))
            if told & aliases and f"{here} {f.name}" not in JSON_EDGES:
                found.setdefault(here, []).append(f.name)
        for one in (node for node in ast.walk(tree(path)) if isinstance(node, ast.ClassDef)):
            open_fields = [n for n in one.body if isinstance(n, ast.AnnAssign) and names_in(n.annotation) & aliases]
            for name in (f"{one.name}.{ast.unparse(n.target)}" for n in open_fields):
                if f"{here} {name}" not in JSON_EDGES:
                    found.setdefault(here, []).append(name)
    return [f"{path}: {name}" for path, names in found.items() for name in names]


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports(path: Path, modules: set[str]) -> set[str]:
    """Modules of the package that a file imports, anywhere in it, those for types alone too."""
    found = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (inner & modules) or {node.module}
    return found & modules


def circles() -> list[str]:
    """Groups of modules each of which imports, over others, itself."""
    modules = {module_name(path) for path in sources()}
    graph = nx.DiGraph((module_name(path), other) for path in sources() for other in imports(path, modules))
    return [", ".join(sorted(group)) for group in nx.strongly_connected_components(graph) if len(group) > 1]


def lines() -> int:
    return sum(len(path.read_text(encoding="utf-8").splitlines()) for path in sources())


def mypy_strict() -> str:
    command = [sys.executable, "-m", "mypy", "--strict", "-p", "habitatmap"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return done.stdout.strip().splitlines()[-1]


def evaluate_and_its_stages() -> str:
    """Lines of job.evaluate, and of the longest function of the package that it calls by name."""
    whole = next(f for f in functions() if f.path == "job.py" and f.name == "evaluate")
    called = {n.func.id for n in ast.walk(whole.node) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
    longest = max((f for f in functions() if f.name in called), key=lambda f: f.lines)
    return f"{whole.lines}; {longest.lines} ({longest.path} {longest.name})"


def docstring_lines() -> list[int]:
    """Lines of the docstring of each public function or method; 0 where it has none."""
    public = [f for f in functions() if not any(part.startswith("_") for part in f.name.split("."))]
    return [len((ast.get_docstring(f.node) or "").splitlines()) for f in public]


def calling(*names: str) -> list[str]:
    """Functions that call one of these by its bare or last name."""
    return [
        str(f)
        for f in functions()
        for call in ast.walk(f.node)
        if isinstance(call, ast.Call) and getattr(call.func, "attr", getattr(call.func, "id", "")) in names
    ]


def kernels() -> list[str]:
    """Places that write out (1 + d/a) exp(-d/a), or its median of 1.678 scales, in Python or JavaScript."""
    formula = re.compile(r"\(1(\.0)? \+ [^()]*\) \* (\w+\.)?exp\(-|= 1\.678\d", re.IGNORECASE)
    found = []
    for path in [*sources(), *sorted(PACKAGE.rglob("*.js"))]:
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            code = line.split("#")[0].split("//")[0]
            if formula.search(code) and ("=" in code or code.strip().startswith("return")):
                found.append(f"{path.relative_to(PACKAGE).as_posix()}:{number} {line.strip()}")
    return found


def stamps() -> list[str]:
    """Functions that compare distances with the spacing themselves (a stamp, a window or a mask of their own)."""

    def compares(f: Function) -> bool:
        tests = [n for n in ast.walk(f.node) if isinstance(n, ast.Compare)]
        return any("spacing" in name for test in tests for name in ast.unparse(test).split() if "=" not in name)

    return [str(f) for f in functions() if f.path.startswith("plan/") and compares(f)]


# --- the walk --------------------------------------------------------------------------------------------------------

POOL = "Zweibach 7"
MANY = 100  # values in one table or array; the tables of an area with one pool are smaller, its rasters larger


def holds(value: object, marks: tuple[float, ...], deep: int = 3) -> bool:
    """Whether the pool's name or one of its coordinates is the value, or stands in it."""
    if isinstance(value, str):
        return POOL in value
    if isinstance(value, float | np.floating):
        return any(abs(float(value) - mark) < 1e-6 for mark in marks)
    if isinstance(value, pd.DataFrame | pd.Series | np.ndarray):
        found = np.asarray(value, dtype=object).ravel()
        return found.size <= MANY and any(holds(v, marks, 0) for v in found)
    if deep <= 0:
        return False
    if isinstance(value, dict):
        value = list(value.values())
    elif is_dataclass(value) and not isinstance(value, type):
        value = [getattr(value, field.name, None) for field in fields(value)]
    return isinstance(value, list | tuple) and len(value) <= MANY and any(holds(v, marks, deep - 1) for v in value)


def walk() -> set[tuple[str, str]]:
    """(file, function) of the package that are handed, or give back, a value of one row of pools.csv.

    The area has one pool, given in degrees, on land cover of 900 cells; it is opened, run and shown as the team's map.
    A value of the row is its name, its degrees or its metres, alone or in a table, list or dataclass. Lambdas and
    comprehensions count with the function they stand in.
    """
    import habitatmap
    from habitatmap.page.page import map_page

    found: set[tuple[str, str]] = set()
    misses: dict[tuple[str, str], int] = {}
    with tempfile.TemporaryDirectory() as name:
        lon, lat = 9.0023487, 48.7513579  # in the middle of the frame of write_area
        x, y = Transformer.from_crs(4326, CRS, always_xy=True).transform(lon, lat)
        folder = write_area(Path(name), np.full((30, 30), 1, np.uint8), class_table({1: 0.5}))
        (folder / "pools.csv").write_text(f"pool,lon,lat\n{POOL},{lon},{lat}\n", encoding="utf-8")
        marks = (x, y, lon, lat)

        def watch(frame: FrameType, event: str, given: object) -> None:
            path = frame.f_code.co_filename
            if event not in ("call", "return") or not path.startswith(str(PACKAGE)):
                return
            key = (path, frame.f_code.co_qualname.split(".<locals>.<")[0])
            if key in found or misses.get(key, 0) > MANY:
                return
            sys.setprofile(None)
            if holds(list(frame.f_locals.values()) if event == "call" else given, marks):
                found.add(key)
            else:
                misses[key] = misses.get(key, 0) + 1
            sys.setprofile(watch)

        sys.setprofile(watch)
        try:
            map_page(habitatmap.run(habitatmap.open_area(folder)))
        finally:
            sys.setprofile(None)
    return found


def told_walk() -> str:
    found = walk()
    return f"{len(found)} functions in {len({path for path, _ in found})} files"


# name: (what it measures, the aim, how it is measured); lists are counted in the table and shown below it
MEASURES: dict[str, tuple[str, str, Callable[[], object]]] = {
    "lines": ("lines of Python in habitatmap/", "21,500", lambda: f"{lines():,}"),
    "long": (f"functions above {LONGEST} lines", "0", too_long),
    "parameters": (f"functions that take more than {MOST_PARAMETERS} values", "0", too_many_parameters),
    "any": ("signatures and fields with `Any` (edges of JSON apart)", "0", any_in_signatures),
    "circles": ("circles of imports", "0", circles),
    "mypy": ("`mypy --strict`", "no error", mypy_strict),
    "evaluate": ("lines of `job.evaluate`; of its longest stage", "60; 40", evaluate_and_its_stages),
    "docstrings": (
        "lines of a public function's docstring, median",
        "more than 1",
        lambda: f"{statistics.median(docstring_lines()):g}",
    ),
    "kernels": ("places that write out the flight kernel", "1 in each language", kernels),
    "stamps": ("functions that compare with the spacing themselves", "1", stamps),
    "masks": ("calls that burn polygons into cells", "1", lambda: calling("rasterize", "geometry_mask")),
    "walk": ("the walk of one row of pools.csv, from file to marker", "short", told_walk),
}


def main(names: list[str]) -> None:
    listed: list[tuple[str, list[str]]] = []
    print("| measure | aim | today |\n|---|---|---|")
    for name in names or MEASURES:
        what, aim, measure = MEASURES[name]
        found = measure()
        if isinstance(found, list):
            listed.append((what, found))
            found = len(found)
        print(f"| {what} | {aim} | {found} |", flush=True)
    for what, found in listed:
        print("\n" + "\n".join([f"{what}:", *(f"  {one}" for one in found)])) if found else None


if __name__ == "__main__":
    main(sys.argv[1:])
