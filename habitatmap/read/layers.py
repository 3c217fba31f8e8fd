"""The tables in `layers/`: what land-cover classes and trees are worth, where no pool can stand, what pools keep away
from and how far.

An ecologist changes the tables, not this file. A table that is not in order is refused with one sentence that names the
file, the row (as a spreadsheet shows it), the column, the value and what was expected.
"""

from __future__ import annotations

import csv
import difflib
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property, wraps
from itertools import pairwise
from pathlib import Path
from typing import ParamSpec, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.errors import LayerError
from habitatmap.read.headings import fold
from habitatmap.vocabulary.terms import Basis, Condition, Siting

MONTHS = range(1, 13)
FORAGE = [f"forage_{month:02d}" for month in MONTHS]
BOUNDS = ["forage_low", "forage_high", "dead_wood_low", "dead_wood_high"]
CHOICES = {"assumed": ("garden", "mowing"), "ground": ("water", "building")}

CLASS_COLUMNS = ["code", "label", *FORAGE, "dead_wood", "basis", "source", *BOUNDS, "assumed", "ground"]
# `value`: what a raster holds in place of the code; `colour`: the class's usual one, #rrggbb;
# `like`: the row of another table whose values are taken over;
# `profile`: which row of months.csv was used; `land`, `keep_away`: what a map tag means besides (osm.csv)
EXTRA_COLUMNS = ["value", "colour", "like", "profile", "land", "keep_away", "note"]

# stem diameters (cm) at which trees.csv states the probability of a rot-hole; between them it runs along straight lines
DIAMETERS = (20, 40, 60, 80, 100, 150)
LIKELIHOOD = [f"rot_hole_{diameter}cm" for diameter in DIAMETERS]
TREE_COLUMNS = ["genus", "names", *FORAGE, *LIKELIHOOD, "veteran_cm", "basis", "source"]

# crown diameter of an open-grown tree, in stem diameters, and its ceiling in metres. Expert judgement; ratios of about
# 15 to 25 are usual for broadleaved trees (from memory: Hemery, Savill & Pryor 2005, Forest Ecology and Management 215)
CROWN_PER_STEM = 20.0
CROWN_AT_MOST_M = 20.0


def shipped_folder(name: str) -> Path:
    """`layers` or `demo_area`: inside the package where it is installed, beside it in a checkout."""
    package = Path(__file__).parents[1]
    inside = package / name
    return inside if inside.is_dir() else package.parent / name


def layers_folder() -> Path:
    """The folder with the tables that come with the program."""
    return shipped_folder("layers")


# --- tables of an area's own -----------------------------------------------------------------------------------------

OWN = "layers"  # the folder of an area whose tables stand in place of those of the same names here
P = ParamSpec("P")
R = TypeVar("R")
Stamp = tuple[tuple[str, int, int], ...]  # of each own table: path, time and size, by which a change is noticed
_own: list[tuple[Path | None, Stamp]] = [(None, ())]


def has_own_layers(folder: Path) -> bool:
    """Whether an area folder holds tables that stand in place of the program's."""
    return any((folder / OWN / path.name).is_file() for path in layers_folder().glob("*.csv"))


@contextmanager
def layers_of(folder: Path) -> Iterator[None]:
    """Reads the tables of an area's own folder `layers` until the block ends; the program's where it lacks one."""
    own = folder / OWN if has_own_layers(folder) else None
    tables = sorted(own.glob("*.csv")) if own else []
    _own.append((own, tuple((str(p), p.stat().st_mtime_ns, p.stat().st_size) for p in tables)))
    try:
        yield
    finally:
        _own.pop()


def kept(function: Callable[P, R]) -> Callable[P, R]:
    """Keeps what a function made of the tables in force, each set of tables by itself."""
    made: dict[object, R] = {}

    @wraps(function)
    def found(*given: P.args, **named: P.kwargs) -> R:
        key = (_own[-1], given)
        if key not in made:
            made[key] = function(*given, **named)
        return made[key]

    return found


@kept
def layer_files() -> dict[str, Path]:
    """The tables in force, by the name of their file."""
    own = _own[-1][0]
    found = {path.name: path for folder in (layers_folder(), own) if folder for path in sorted(folder.glob("*.csv"))}
    return dict(sorted(found.items()))


# --- class tables ----------------------------------------------------------------------------------------------------


@kept
def class_table_names() -> tuple[str, ...]:
    """Names of the class tables in `layers/`: the tables that have a column `code`."""
    return tuple(path.stem for path in layer_files().values() if "code" in _read_table(path)[0])


def load_class_table(name_or_path: str | Path) -> pd.DataFrame:
    """A class table by its name in `layers/`, or from a CSV: one row a class, values 0-1, NaN where not known.

    Columns CLASS_COLUMNS + EXTRA_COLUMNS (texts "" where not given), row order as in the file.
    Raises LayerError where the name is not known or the table is not in order.
    """
    path = _own_path(name_or_path)
    return shipped_table(str(name_or_path)).copy() if path is None else _read_class_table(path)


@kept
def shipped_table(name: str) -> pd.DataFrame:
    """A table of `layers/`, read once and not to be changed: every row that is like one of it asks for it."""
    return _read_class_table(layer_files()[f"{name}.csv"])


def _read_class_table(path: Path) -> pd.DataFrame:
    heads, rows = _read_table(path)
    required = ["code", "label"] if "like" in heads else ["code", "label", *FORAGE, "dead_wood", "basis", "source"]
    _check_heads(path, heads, required, CLASS_COLUMNS + EXTRA_COLUMNS)
    if not rows:
        raise LayerError(f"{path.name} has no row below its headings; expected one row for each class")
    records = [_class_record(path, row) for row in rows]
    for column in ("code", "value"):
        _refuse_repeats(column, [(row, str(record[column])) for row, record in zip(rows, records, strict=True)])
    return pd.DataFrame(records, columns=CLASS_COLUMNS + EXTRA_COLUMNS)


def class_rows(table: pd.DataFrame) -> dict[str, int]:
    """The row number, from 1, of every code of a class table and of every raster value it states."""
    rows = {code: i for i, code in enumerate(table["code"], 1)}
    return rows | {value: i for i, value in enumerate(table["value"], 1) if value}


def code_text(value: object) -> str:
    """A class code as the tables write it: 10, 10.0, "10" and " 10 " are all "10"."""
    text = str(value).strip()
    whole, point, rest = text.partition(".")
    return whole if point and whole.lstrip("-").isdigit() and not rest.strip("0") else text


def _own_path(name_or_path: str | Path) -> Path | None:
    """The path of a table of one's own, None for one of `layers/`. LayerError where there is neither."""
    if isinstance(name_or_path, Path) or str(name_or_path).lower().endswith(".csv"):
        path = Path(name_or_path)
        if not path.is_file():
            raise LayerError(f"{path.name}, named as a class table, does not exist; {_known_tables(path.stem)}")
        return path
    if name_or_path not in class_table_names():
        raise LayerError(f'"{name_or_path}" is no class table; {_known_tables(name_or_path)}')
    return None


def _known_tables(asked: str) -> str:
    names = class_table_names()
    close = difflib.get_close_matches(asked, names, n=1)
    meant = f"did you mean {close[0]}? " if close else ""
    return f"{meant}There are {', '.join(names)}, or a CSV in the area's folder"


def _class_record(path: Path, row: _Row) -> dict[str, str | float]:
    """One checked row of a class table; what it leaves empty may come from the row it is `like`."""
    record: dict[str, str | float] = {column: row.text(column) for column in EXTRA_COLUMNS}
    row.needed("code", "the class's code in the raster or in the class column")
    record |= {"code": code_text(row.text("code")), "label": row.text("label"), "value": code_text(row.text("value"))}
    model = _row_it_is_like(path, row)
    for values, bounds in ((FORAGE, BOUNDS[:2]), (["dead_wood"], BOUNDS[2:])):
        known = {column: row.share(column) for column in [*values, *bounds]}
        if model is not None:
            # bounds come with the values they belong to: a value of one's own has none but one's own
            has_own = not all(math.isnan(known[column]) for column in values)
            taken = values if has_own else [*values, *bounds]
            known |= {column: float(model[column]) for column in taken if math.isnan(known[column])}
        record |= known
        _check_bounds(row, [known[column] for column in values], {column: known[column] for column in bounds})
    for column in (*CHOICES, "colour", "basis", "source"):
        record[column] = row.text(column) or ("" if model is None else str(model[column]))
    for column, choices in CHOICES.items():
        row.check(column, str(record[column]), ("", *choices))
    if not re.fullmatch("(#[0-9a-f]{6})?", str(record["colour"])):
        raise row.fault("colour", str(record["colour"]), "a colour such as #ffa6ff, or nothing")
    row.check_basis(str(record["basis"]), str(record["source"]))
    return record


def _row_it_is_like(path: Path, row: _Row) -> pd.Series | None:
    """The row named under `like` as table:code, for instance corine:141; None where nothing is named."""
    like = row.text("like")
    if not like:
        return None
    name, _, code = like.partition(":")
    if name not in class_table_names() or layer_files()[f"{name}.csv"].resolve() == path.resolve():
        expected = f"a table and a code, such as corine:141, of one of {', '.join(class_table_names())}"
        raise row.fault("like", like, expected)
    table = shipped_table(name)
    found = table[table["code"] == code_text(code)]
    if found.empty:
        raise row.fault("like", like, f"a code that stands in {name}.csv")
    return found.iloc[0]


def _check_bounds(row: _Row, values: Sequence[float], bounds: Mapping[str, float]) -> None:
    """The bounds of the peak month must hold the peak, and stand only where there is one."""
    known = [v for v in values if not math.isnan(v)]
    for (column, bound), wrong, side in zip(
        bounds.items(), (float.__gt__, float.__lt__), ("at most", "at least"), strict=True
    ):
        what = column.rpartition("_")[0]
        if math.isnan(bound):
            continue
        if not known:
            raise row.fault(column, bound, f"nothing, because the row has no {what}")
        if wrong(bound, max(known)):
            raise row.fault(column, bound, f"a number {side} the row's highest {what}, {max(known):g}")


# --- trees -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TreeTable:
    """What trees are worth by genus: `table` has one row a genus, TREE_COLUMNS, NaN where not known.

    The methods take a frame of trees with genus, species, diameter_cm (NaN = not given) and condition ("" = taken for
    living, as inventories leave it out). A genus that the table lacks, or no diameter, is not known: NaN, never 0.
    """

    table: pd.DataFrame

    def rows(self, trees: pd.DataFrame) -> NDArray[np.int64]:
        """The table's row for each tree, from 0; -1 where neither genus nor species tells one."""
        names = self._names
        pairs = list(zip(trees["genus"].tolist(), trees["species"].tolist(), strict=True))
        found = {pair: _genus_row(names, *pair) for pair in set(pairs)}
        return np.array([found[pair] for pair in pairs], dtype=np.int64)

    def forage(self, trees: pd.DataFrame) -> NDArray[np.float64]:
        """(n, 12) flower value, 0-1, of each tree's crown by month; 0 for dead wood."""
        value = self._of(trees, FORAGE)
        value[self._is_dead(trees)] = 0.0
        return value

    def crown_m2(self, trees: pd.DataFrame) -> NDArray[np.float64]:
        """(n,) crown area: CROWN_PER_STEM stem diameters wide, at most CROWN_AT_MOST_M (expert judgement)."""
        stem_m = trees["diameter_cm"].to_numpy(dtype=float) / 100.0
        crown_m = np.minimum(CROWN_PER_STEM * stem_m, CROWN_AT_MOST_M)
        return np.asarray(np.pi / 4.0 * crown_m**2)

    def rot_hole_probability(self, trees: pd.DataFrame) -> NDArray[np.float64]:
        """(n,) probability that the tree bears a wet rot-hole; 0 for dead trees, stumps and logs.

        By genus and stem diameter along straight lines between the diameters of the table's columns; below the first
        it is the first value, above the last the last (expert judgement; propensities and sizes: layers/README.md).
        """
        row, values = self.rows(trees), self.table[LIKELIHOOD].to_numpy(dtype=float)
        diameter = trees["diameter_cm"].to_numpy(dtype=float)
        chance = np.full(len(trees), np.nan)
        for genus in np.flatnonzero(np.isfinite(values).all(axis=1)):
            alike = (row == genus) & np.isfinite(diameter)
            chance[alike] = np.interp(diameter[alike], DIAMETERS, values[genus])
        chance[self._is_dead(trees)] = 0.0
        return chance

    def not_known(self, trees: pd.DataFrame) -> dict[str, int]:
        """Genera (else species) that the table lacks, with the number of trees, most frequent first."""
        lacking = trees[self.rows(trees) < 0]
        given = lacking["genus"].where(lacking["genus"] != "", lacking["species"])
        counts = given[given != ""].value_counts()
        order = sorted(counts.items(), key=lambda item: (-item[1], str(item[0])))
        return {str(name): int(count) for name, count in order}

    @cached_property
    def _names(self) -> dict[str, int]:
        """The table's row by genus, with a capital and without, and by each common name in small letters."""
        names = {name: row for row, genus in enumerate(self.table["genus"]) for name in (genus, genus.casefold())}
        for row, given in enumerate(self.table["names"]):
            names |= {name.casefold(): row for name in _list(given)}
        return names

    def _of(self, trees: pd.DataFrame, columns: list[str]) -> NDArray[np.float64]:
        row = self.rows(trees)
        value = self.table[columns].to_numpy(dtype=float)[row]
        value[row < 0] = np.nan
        return value

    @staticmethod
    def _is_dead(trees: pd.DataFrame) -> NDArray[np.bool_]:
        return trees["condition"].isin([c for c in Condition if c.is_dead_wood]).to_numpy(dtype=bool)


def _genus_row(names: Mapping[str, int], genus: str, species: str) -> int:
    """By the genus, else by the species ("Quercus robur", "Common Oak"); the whole name before single words.

    In some languages the first word says what it is and in others the last one; where the two are at odds, as in
    "ash-leaved maple", neither counts. A scientific name, which `names` has with a capital, goes by its first word.
    """
    for given in (genus or species,):
        words = re.sub("[×_-]", " ", given).casefold().split()
        whole = [names[name] for name in (" ".join(words), "".join(words)) if name in names]
        if whole:
            return whole[0]
        if words and words[0].capitalize() in names:
            return names[words[0].capitalize()]
        single = {names[word] for word in (*words[:1], *words[-1:]) if word in names}
        if len(single) == 1:
            return single.pop()
    return -1


COMMON_NAME_COLUMNS = ["name", "language", "genus", "basis", "source"]
# shorter names (es, if, el) are words of other languages as well, and count only where they stand alone
SHORTEST_PART = 3
# the end of a compound (Winterlinde, metsätammi) tells the genus where it is a name at least so long
SHORTEST_END = 4


@kept
def load_common_names() -> dict[str, str]:
    """Genus by common name, folded: layers/common_names.csv and the names of layers/trees.csv.

    Raises LayerError where the table is not in order, or the two give one name to two genera.
    """
    table = load_tree_table().table
    names = {
        fold(name): genus
        for genus, given in zip(table["genus"], table["names"], strict=True)
        for name in [genus, *_list(given)]
    }
    for row in _table(layer_files()["common_names.csv"], COMMON_NAME_COLUMNS):
        name, genus = (row.needed(column, "a common name and its genus") for column in ("name", "genus"))
        if names.setdefault(fold(name), genus) != genus:
            raise row.fault("name", name, f"a name that is not taken by {names[fold(name)]}")
        row.check_basis(row.text("basis"), row.text("source"))
    return names


@kept
def genus_by_name(name: str) -> str:
    """The genus that a common or scientific name tells, "" where none is known or two are.

    The whole name counts before its parts. In some languages the first words say what it is and in others the last
    ones ("chêne vert", "holm oak"), in others the end of a compound ("Steineiche"); where they are at odds, as in
    "plum-leaved apple", neither counts.
    """
    names = load_common_names()
    words = fold(name).split()
    for whole in (" ".join(words), "".join(words)):  # Hain-Buche is a Hainbuche
        if whole in names or not words:
            return names.get(whole, "")
    if words[0].capitalize() in set(load_tree_table().table["genus"]):
        return words[0].capitalize()
    first = [" ".join(words[:k]) for k in range(len(words) - 1, 0, -1)]
    last = [" ".join(words[k:]) for k in range(1, len(words))]
    told = {next((names[p] for p in way if p in names and len(p) >= SHORTEST_PART), "") for way in (first, last)} - {""}
    if not told and len(words) == 1:
        # Nothofagus is no Fagus, so that the end must be a word of a language
        ends = (words[0][k:] for k in range(1, len(words[0]) - SHORTEST_END + 1))
        told = {next((names[end] for end in ends if end in names and end.capitalize() != names[end]), "")} - {""}
    return told.pop() if len(told) == 1 else ""


@kept
def load_tree_table() -> TreeTable:
    """The tree table, layers/trees.csv. Raises LayerError where it is not in order."""
    return read_tree_table(layer_files()["trees.csv"])


def read_tree_table(path: Path) -> TreeTable:
    """A tree table from a CSV with TREE_COLUMNS. Raises LayerError where it is not in order."""
    rows = _table(path, TREE_COLUMNS)
    records = []
    for row in rows:
        row.needed("genus", "the genus's scientific name")
        record: dict[str, str | float] = {c: row.text(c) for c in ("genus", "names", "basis", "source")}
        record |= {column: row.share(column) for column in [*FORAGE, *LIKELIHOOD]}
        record["veteran_cm"] = row.number_between("veteran_cm", "a diameter in cm above 0", 1, 1000)
        for thinner, column in pairwise(LIKELIHOOD):
            if row.share(column) < row.share(thinner):
                expected = f"at least the value of the thinner stem, {row.share(thinner):g}"
                raise row.fault(column, row.share(column), expected)
        row.check_basis(row.text("basis"), row.text("source"))
        records.append(record)
    _refuse_repeats("names", [(row, name) for row in rows for name in row.names("genus")])
    return TreeTable(pd.DataFrame(records, columns=TREE_COLUMNS))


# --- keep-away distances ---------------------------------------------------------------------------------------------


@kept
def _keep_away_rows() -> tuple[dict[str, float], dict[str, str]]:
    """Metres by kind, and the kind by each of its names."""
    rows = _table(layer_files()["keep_away.csv"], ["kind", "names", "distance_m", "basis", "source"])
    metres: dict[str, float] = {}
    expected = "a number of metres, 0 or more"
    for row in rows:
        kind = row.needed("kind", "what pools keep away from, such as playground")
        row.needed("distance_m", expected)
        metres[kind] = row.number_between("distance_m", expected, 0, 100_000)
        row.check_basis(row.text("basis"), row.text("source"))
    _refuse_repeats("names", [(row, name) for row in rows for name in row.names("kind")])
    return metres, {name: row.text("kind") for row in rows for name in row.names("kind")}


def keep_away_defaults() -> dict[str, float]:
    """Metres by kind, from layers/keep_away.csv; "other" holds for any kind that it does not name."""
    return dict(_keep_away_rows()[0])


def keep_away_kind(name: str) -> str:
    """The table's kind for a name in any of its languages ("Spielplatz" is a playground); else the name as given."""
    return _keep_away_rows()[1].get(_plain(name), name)


# --- siting ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LandUse:
    """What a kind of land means for a pool. `ask`: who must agree besides whoever owns it, "" where nobody."""

    kind: str
    siting: Siting
    ask: str


@kept
def land_uses() -> dict[str, LandUse]:
    """The rows of layers/siting.csv by each of their names, in small letters."""
    rows = _table(layer_files()["siting.csv"], ["kind", "names", "siting", "ask", "basis", "source"])
    uses: dict[str, LandUse] = {}
    for row in rows:
        row.needed("kind", "a kind of land, such as pitch")
        row.check("siting", row.text("siting"), tuple(Siting))
        if row.text("siting") == Siting.ASK:
            row.needed("ask", "who must agree, such as the parish")
        row.check_basis(row.text("basis"), row.text("source"))
        use = LandUse(row.text("kind"), Siting(row.text("siting")), row.text("ask"))
        uses |= dict.fromkeys(row.names("kind"), use)
    _refuse_repeats("names", [(row, name) for row in rows for name in row.names("kind")])
    return uses


def land_use(kind: str) -> LandUse:
    """What a kind of land, in any of its languages, means for a pool; what the table does not name is allowed."""
    return land_uses().get(_plain(kind), LandUse(kind, Siting.ALLOWED, ""))


def _plain(name: str) -> str:
    """A name in small letters, with single blanks between its words."""
    return " ".join(name.replace("_", " ").split()).casefold()


# --- reading and refusing --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Row:
    """One row of a table, its cells by heading; `number` is the one that a spreadsheet shows."""

    file: str
    number: int
    cells: Mapping[str, str]

    def text(self, column: str) -> str:
        """A cell, "" where it is empty or the table lacks the column."""
        return self.cells.get(column, "")

    def fault(self, column: str, value: str | float, expected: str) -> LayerError:
        """What is wrong with a cell, as the error to raise."""
        shown = f"{value:g}" if isinstance(value, float) else f'"{value}"' if value != "" else "empty"
        return LayerError(f"{self.file} row {self.number}, column {column}: {shown}; expected {expected}")

    def needed(self, column: str, expected: str) -> str:
        """A cell that may not be empty."""
        if not self.text(column):
            raise self.fault(column, "", expected)
        return self.text(column)

    def number_between(self, column: str, expected: str, low: float, high: float) -> float:
        """A number from low to high, NaN for an empty cell."""
        text = self.text(column)
        if not text:
            return math.nan
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise self.fault(column, text, expected)
        return value

    def share(self, column: str) -> float:
        """A number from 0 to 1, NaN for an empty cell."""
        return self.number_between(column, "a number from 0 to 1, or nothing where it is not known", 0, 1)

    def names(self, first: str) -> list[str]:
        """The row's own name and its other ones, in small letters, each once."""
        return list(dict.fromkeys(name.casefold() for name in [self.text(first), *_list(self.text("names"))]))

    def check(self, column: str, text: str, choices: Sequence[str]) -> None:
        """LayerError where a cell is none of the choices."""
        if text not in choices:
            raise self.fault(column, text, "one of " + ", ".join(choice or "nothing" for choice in choices))

    def check_basis(self, basis: str, source: str) -> None:
        """LayerError where it is not said what the row's values rest on."""
        self.check("basis", basis, tuple(Basis))
        if not source:
            raise self.fault("source", "", "where the values come from")


def _table(path: Path, columns: list[str]) -> list[_Row]:
    """The rows of a table that has these columns."""
    heads, rows = _read_table(path)
    _check_heads(path, heads, columns, columns)
    return rows


def _read_table(path: Path) -> tuple[list[str], list[_Row]]:
    """Headings and rows of a table; blank rows are skipped, cells stripped.

    A table saved by a spreadsheet with semicolons and decimal commas is read as well.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = fault.object[: fault.start].count(b"\n") + 1
        raise LayerError(f"{path.name} line {line} is not UTF-8 text: save the table again as CSV UTF-8") from None
    first = text.partition("\n")[0]
    semicolons = first.count(";") > first.count(",")
    lines = [[cell.strip() for cell in line] for line in csv.reader(text.splitlines(), delimiter=",;"[semicolons])]
    if not lines:
        raise LayerError(f"{path.name} is empty; expected a table with headings in its first row")
    heads, *records = lines
    rows: list[_Row] = []
    for number, cells in enumerate(records, 2):
        if any(cells[len(heads) :]):
            raise LayerError(
                f"{path.name} row {number} has {len(cells)} cells, its headings are {len(heads)}: "
                "put quotes around a text that holds a comma"
            )
        if any(cells):
            given = map(_decimal_point, cells) if semicolons else cells
            rows.append(_Row(path.name, number, dict(zip(heads, given, strict=False))))
    return heads, rows


def _decimal_point(cell: str) -> str:
    return cell.replace(",", ".") if cell.replace(",", "", 1).isdigit() else cell


def _check_heads(path: Path, heads: list[str], required: list[str], known: list[str]) -> None:
    repeated = next((head for head in heads if head and heads.count(head) > 1), None)
    if repeated:
        raise LayerError(f"{path.name} has the heading {repeated} twice; expected each heading once")
    for head in heads:
        # an unknown heading is a remark of the table's author, unless it is a known one misspelt
        close = difflib.get_close_matches(head.casefold(), [k for k in known if k not in heads], n=1, cutoff=0.8)
        if head not in known and close:
            raise LayerError(f"{path.name} has the heading {head}; did you mean {close[0]}?")
    if lacking := [head for head in required if head not in heads]:
        raise LayerError(
            f"{path.name} lacks the column{'s' if len(lacking) > 1 else ''} {', '.join(lacking)}; "
            f"expected at least {', '.join(required)}"
        )


def _refuse_repeats(column: str, named: Iterable[tuple[_Row, str]]) -> None:
    first: dict[str, _Row] = {}
    for row, name in named:
        if name and first.setdefault(name, row) is not row:
            raise row.fault(column, name, f"each only once: row {first[name].number} has it already")


def _list(text: str) -> list[str]:
    return [part.strip() for part in text.split(";") if part.strip()]
