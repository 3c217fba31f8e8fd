"""The house rules that a machine can hold: who may import whom, what lies at the top, what start-up costs."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import measures

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "habitatmap"
# the order of the job: a module imports only what stands above it (DEVELOPERS.md, "The house")
ORDER = (
    "sentences errors vocabulary geo privacy read stages area habitat survey practice fieldwork network plan changes "
    "result words export persons page paper reports outputs job comparing notebook cli"
).split()
TOP_LEVEL = set(
    "README.md DEVELOPERS.md CHANGELOG.md CITATION.cff LICENSE pyproject.toml habitatmap layers demo_area tests".split()
)
# papers that are not in the repository: what a reader can't open is not referred to
ELSEWHERE = re.compile(r"\b(DESIGN|FACTS|CHOICES|EXAMPLES|MUTANTS|WORDS)(\.md\b| sections?\b| \d)|\.\./" + "shared")

# TODO: what was left of the old house; these only go down, to 0
LONG, WIDE, OPEN = 0, 2, 16


def rooms_imported(source: str) -> set[str]:
    """Rooms of the house that a module's source imports, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports name the whole path"
            whole = str(node.module)
            names = [f"{whole}.{alias.name}" if whole == "habitatmap" else whole for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("habitatmap.")}
    return found & set(ORDER)


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


MODULES = sorted(p for p in PACKAGE.rglob("*.py") if room_of(p) in ORDER)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_imports_only_what_stands_above_it(path: Path) -> None:
    here = ORDER.index(room_of(path))
    found = rooms_imported(path.read_text(encoding="utf-8"))
    below = {r for r in found if ORDER.index(r) > here}
    assert not below, f"{path.name} imports {sorted(below)}, which stand below it"


def test_the_rule_can_fail() -> None:
    assert rooms_imported("from habitatmap.page import x\nimport habitatmap.geo.grid") == {"page", "geo"}
    assert rooms_imported("def f():\n    from habitatmap import job") == {"job"}


def modules_imported(source: str, known: set[str]) -> set[str]:
    """Modules of the package that a module's source imports, anywhere in it and for types too."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            whole = [f"{node.module}.{alias.name}" for alias in node.names]
            found |= {name if name in known else str(node.module) for name in whole}
    return found & known


def circle(imports: dict[str, set[str]]) -> list[str]:
    """Modules that import each other in a circle, in its order; empty where there is none."""
    done: set[str] = set()

    def follow(name: str, way: list[str]) -> list[str]:
        if name in way:
            return way[way.index(name) :]
        if name not in done:
            for other in sorted(imports.get(name, ())):
                if found := follow(other, [*way, name]):
                    return found
        done.add(name)
        return []

    return next((found for name in sorted(imports) if (found := follow(name, []))), [])


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def test_no_modules_import_each_other_in_a_circle() -> None:
    paths = {module_of(path): path for path in PACKAGE.rglob("*.py")}
    imports = {name: modules_imported(path.read_text(encoding="utf-8"), set(paths)) for name, path in paths.items()}
    assert circle(imports) == []


def test_the_search_for_circles_can_fail() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b", "c"]
    assert circle({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []
    source = "if TYPE_CHECKING:\n    from habitatmap.read import ledger\nfrom habitatmap.errors import InputError"
    assert modules_imported(source, {"habitatmap.read.ledger", "habitatmap.errors"}) == {
        "habitatmap.read.ledger",
        "habitatmap.errors",
    }


# what a reader remarks, and what a note tells, is said in the language of the page: a template with its figures
TELLERS = {"remark", "tell"}
SAYERS = {"say", "Sentence"}
PIECES = (ast.JoinedStr, ast.BinOp)
IMPORT = "from habitatmap.sentences import Sentence, say"
READERS = [path for path in MODULES if room_of(path) in ("read", "area")]


def put_together(source: str) -> list[int]:
    """Lines on which a remark is no sentence, or the template of a sentence is put together from pieces."""
    tree, found = ast.parse(source), []
    imports = (node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom))
    sayers = {a.name for node in imports if node.module == "habitatmap.sentences" for a in node.names} & SAYERS
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and node.args:
            name, first = getattr(node.func, "attr", getattr(node.func, "id", "")), node.args[0]
            of_text = isinstance(first, ast.Call) and getattr(first.func, "attr", "") in ("format", "join", "replace")
            bare = isinstance(first, ast.Constant) and isinstance(first.value, str)
            wrong = name in TELLERS and (isinstance(first, PIECES) or bare or of_text)
            wrong |= name in sayers and any(isinstance(part, PIECES) or of_text for part in ast.walk(first))
            found += [node.lineno] if wrong else []
    return found


@pytest.mark.parametrize("path", READERS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_what_a_reader_remarks_can_be_said_in_any_language(path: Path) -> None:
    """That the text is a `Sentence` is held by its type; that a sentence is a whole template, by this."""
    found = put_together(path.read_text(encoding="utf-8"))
    assert not found, f'{path.name}, lines {found}: write say("... {{name}} ...", name=...)'


def test_the_search_for_pieces_can_fail() -> None:
    for wrong in (
        "ledger.remark(f'{n} rows')",
        "draft.tell('a' + b)",
        "ledger.tell('no rows')",
        "ledger.remark('; '.join(found))",
        "ledger.remark(say(f'{n} rows'))",
        "told = Sentence('a' + b if c else 'd', {})",
    ):
        assert put_together(f"{IMPORT}\n{wrong}") == [2], wrong
    assert (
        put_together(f"{IMPORT}\nledger.remark(say('{{n}} row' if n == 1 else '{{n}} rows', n=n))\ndraft.tell(told)")
        == []
    )


def test_every_room_is_in_the_list() -> None:
    found = {p.name.removesuffix(".py") for p in PACKAGE.iterdir() if p.suffix == ".py" or (p / "__init__.py").exists()}
    assert found - {"__init__", "__main__"} <= set(ORDER)


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def test_nothing_else_lies_at_the_top() -> None:
    tops = {line.split("/")[0] for line in tracked()}
    assert {t for t in tops if not t.startswith(".")} <= TOP_LEVEL


def test_no_file_refers_to_what_is_not_in_the_repository() -> None:
    found = []
    for name in tracked():
        raw = (ROOT / name).read_bytes() if (ROOT / name).is_file() else b""
        if b"\0" not in raw:
            lines = enumerate(raw.decode("utf-8", "replace").splitlines(), 1)
            found += [f"{name}:{number} {line.strip()}" for number, line in lines if ELSEWHERE.search(line)]
    assert not found, "\n".join(found)
    assert ELSEWHERE.search("as in FACTS" + " 3")


def test_no_function_is_longer_or_takes_more_than_the_measures_say() -> None:
    assert len(measures.too_long()) <= LONG, measures.too_long()
    assert len(measures.too_many_parameters()) <= WIDE, measures.too_many_parameters()


def test_no_signature_holds_any() -> None:
    assert len(measures.any_in_signatures()) <= OPEN


def test_no_circle_of_imports() -> None:
    assert measures.circles() == []


def test_help_loads_no_heavy_library() -> None:
    """Start-up stays quick because nothing heavy is imported; a count of modules can't be noisy, seconds can."""
    code = "import sys, habitatmap.cli.main; print([m for m in %r if m in sys.modules])"
    heavy = ["numpy", "pandas", "geopandas", "rasterio", "scipy", "numba", "folium", "shapely", "pyproj"]
    out = subprocess.run([sys.executable, "-c", code % (heavy,)], cwd=ROOT, capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("tool", [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]], ids=" ".join)
def test_the_code_is_clean(tool: list[str]) -> None:
    run = subprocess.run([sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout[-3000:] + run.stderr[-1000:]
