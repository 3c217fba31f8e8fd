"""The row that a correction corrects, found by what it said: whatever was sorted, renamed, added or converted since.

A row of a correction file keeps the cells of its original as they were. Columns are paired by their headings, else by
what the headings mean, else by what stands in them; a row is the original where every cell that it had still says the
same. Numbers and dates may be written in another way, as spreadsheet programs change them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from habitatmap.read.corrected_rows import Correction
from habitatmap.read.dates import days_meant
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import ALIASES, match_headings, match_table
from habitatmap.vocabulary.kinds import Kind

# of a long cell, such as a shape, so many letters are kept and compared
LONGEST = 120
# what is kept of where a row's shape lies, beside its cells
SHAPE = "(shape)"


class Found(NamedTuple):
    """The original of a correction: its kind, table and position, and by label of the correction its column there."""

    kind: Kind
    table: Table
    at: int
    columns: Mapping[str, int]
    exact: bool  # whether every cell says the same to the letter


def labels(table: Table, taken: Sequence[str] = ()) -> list[str]:
    """A name for each column, no two alike and none of `taken`: its heading, or its number where that is blank."""
    used = set(taken)
    names = []
    for number, heading in enumerate(table.headings, 1):
        wanted = " ".join(heading.split()) or f"column {number}"
        name, again = wanted, 2
        while name in used:
            name, again = f"{wanted} ({again})", again + 1
        used.add(name)
        names.append(name)
    return names


def cells_of(table: Table, at: int, taken: Sequence[str]) -> dict[str, str]:
    """The cells of a row that are not blank, by label, as a correction keeps them."""
    return {label: text for label, text in zip(_labels(table, taken), _texts(table, at), strict=True) if text}


def _labels(table: Table, taken: Sequence[str]) -> list[str]:
    return labels(table, taken) + ([SHAPE] if table.geometry is not None else [])


def _texts(table: Table, at: int) -> list[str]:
    """What each cell of a row says, and where its shape lies, if it has one."""
    texts = [" ".join(as_text(cell).split())[:LONGEST] for cell in table.rows[at]]
    if table.geometry is None:
        return texts
    shape = table.geometry[at]
    middle = None if shape is None or shape.is_empty else shape.centroid
    return [*texts, "" if middle is None else f"{middle.x:.7g} {middle.y:.7g}"]


@lru_cache(maxsize=200_000)
def _ways(text: str) -> frozenset[str]:
    """What a cell may say, whichever program saved it: its text, the number or the days that it means."""
    plain = " ".join(text.casefold().split())[:LONGEST]
    # a letter that a program's own character set lacks is saved as a question mark
    ways = {plain, plain.encode("cp1252", "replace").decode("cp1252")}
    try:
        number = float(plain.replace(",", "."))
        ways |= {f"#{number:.12g}"} if math.isfinite(number) else set()
    except ValueError:
        pass
    return frozenset(ways | {f"@{day}" for day in days_meant(plain)})


def same_cell(one: str, other: str) -> bool:
    """Whether two cells may say the same."""
    return one == other or bool(one and other and not _ways(one).isdisjoint(_ways(other)))


class Originals:
    """The rows of tables, by what they say."""

    def __init__(self, tables: Mapping[Kind, Sequence[Table]], stated: Stated, taken: Sequence[str]) -> None:
        self._tables = [(kind, table) for kind, some in tables.items() for table in some]
        self._stated, self._taken = stated, taken
        self._numbers: dict[int, dict[int, list[int]]] = {}
        self._index: dict[int, dict[str, set[int]]] = {}
        self._found: set[tuple[int, int]] = set()

    def find(self, correction: Correction) -> Found | None:
        """The original of a correction that keeps its cells; of several that say the same, the one that had its number,
        else the first that no other correction has."""
        tables = self._of_file(correction)
        there = [
            (kind, table, at)
            for kind, table in tables
            if table.sheet == correction.from_sheet
            for at in self._numbered(table).get(correction.from_row, ())
        ]
        # mostly nothing has moved, and the row of that number is it to the letter
        same = [f for kind, table, at in there for f in self._rows(correction, kind, table, [at]) if f.exact]
        found = same
        if not same:
            found = [f for k, t in tables for f in self._rows(correction, k, t, self._candidates(t, correction))]
            found = [f for f in found if f.exact] or found
            places = {(id(table), at) for _, table, at in there}
            same = [f for f in found if (id(f.table), f.at) in places]
        free = [f for f in same or found if (id(f.table), f.at) not in self._found]
        best = next(iter(free or same or found), None)
        if best is not None:
            self._found.add((id(best.table), best.at))
        return best

    def _numbered(self, table: Table) -> Mapping[int, Sequence[int]]:
        """The positions of rows by their numbers."""
        if id(table) not in self._numbers:
            numbers = self._numbers[id(table)] = {}
            for at, number in enumerate(table.numbers):
                numbers.setdefault(number, []).append(at)
        return self._numbers[id(table)]

    def _of_file(self, correction: Correction) -> list[tuple[Kind, Table]]:
        """The tables of the file that is corrected, by its name, or its stem where it was saved in another format."""
        named = [(kind, table) for kind, table in self._tables if table.file == correction.from_file]
        stem = Path(correction.from_file).with_suffix("").as_posix()
        return named or [(k, t) for k, t in self._tables if Path(t.file).with_suffix("").as_posix() == stem]

    def _rows(self, correction: Correction, kind: Kind, table: Table, candidates: Iterable[int]) -> Iterator[Found]:
        was = correction.was
        own = [label for label in (*correction.cells, SHAPE) if label not in self._taken]
        columns = self._paired(own, kind, table)
        left = [column for column in range(len(labels(table))) if column not in columns.values()]
        lost = [label for label in own if label not in columns and label != SHAPE]
        for at in sorted(candidates):
            row = _texts(table, at)
            if not all(same_cell(was.get(label, ""), row[column]) for label, column in columns.items()):
                continue
            beside = {
                label: next((c for c in left if same_cell(was[label], row[c])), None)
                for label in lost
                if was.get(label)
            }
            if None not in beside.values():
                by_content = {label: column for label, column in beside.items() if column is not None}
                exact = set(was.values()) <= set(row)
                yield Found(kind, table, at, columns | by_content | _only_pair(lost, left, by_content), exact)

    def _paired(self, own: Sequence[str], kind: Kind, table: Table) -> dict[str, int]:
        """The columns of a table by the label of a correction: by their headings, else by what those mean."""
        here = {label: column for column, label in enumerate(_labels(table, self._taken))}
        columns = {label: here[label] for label in own if label in here}
        if kind in ALIASES:
            stated = self._stated.columns.get(kind, {})
            roles = match_table(kind, table.headings, stated, table.taught.headings).at
            for role, position in match_headings(kind, own, {}).at.items():
                if own[position] not in columns and roles.get(role) not in (None, *columns.values()):
                    columns[own[position]] = roles[role]
        return columns

    def _candidates(self, table: Table, correction: Correction) -> set[int]:
        """The rows that hold every cell that there was."""
        if id(table) not in self._index:
            index: dict[str, set[int]] = {}
            for at in range(len(table)):
                for text in _texts(table, at):
                    for way in _ways(text) if text else ():
                        index.setdefault(way, set()).add(at)
            self._index[id(table)] = index
        index = self._index[id(table)]
        rows = [set[int]().union(*(index.get(way, ()) for way in _ways(text))) for text in correction.was.values()]
        return set.intersection(*rows) if rows else set()


def _only_pair(lost: Sequence[str], left: Sequence[int], found: Mapping[str, int]) -> dict[str, int]:
    """A column whose cell was blank, and whose heading is new: sure where it is the only one on either side."""
    labels_left = [label for label in lost if label not in found]
    columns_left = [column for column in left if column not in found.values()]
    return {labels_left[0]: columns_left[0]} if len(labels_left) == len(columns_left) == 1 else {}
