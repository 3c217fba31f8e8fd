"""What reading pools, visits and trees has in common: a table with its columns known, and rows on their way out.

A row leaves at its first fault and is told once. At the end every row that was read is accepted or set aside.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.errors.why import Reason, Why
from habitatmap.geo.crs import shift_m
from habitatmap.read.coordinates import NO_PLACE, Point, Refusal, in_words, locate
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import Headings, match_headings
from habitatmap.read.ledger import SAMPLES, Fault, Ledger, Reading
from habitatmap.read.points import points_of, tell_slips
from habitatmap.vocabulary.columns import COLUMNS

# the columns that say where a row is
PLACE_COLUMNS = ("position", "x", "y", "lat", "lon")

_WORDS_ONLY = {column.name for columns in COLUMNS.values() for column in columns if column.words_only}

# which columns a sheet must have at least one of, to be taken for a sheet of this kind beside others of its file
_ESSENTIAL = {
    "pools": {"pool", "x", "lon", "position"},
    "visits": {"pool"},
    "trees": {"x", "lon", "position"},
    "committed": {"x", "lon", "position"},
}


@dataclass
class Draft:
    """One table on its way to a checked frame. `aside`: what is wrong with rows, by their position."""

    kind: str
    table: Table
    headings: Headings
    aside: dict[int, Fault] = field(default_factory=dict)
    about: Sequence[str] = ()  # the name of each row's pool, once known
    reading: Reading | None = None  # the account of how the table was understood
    _cells: dict[str, list[Any]] = field(default_factory=dict)  # columns taken out once, as they are asked for often

    def cells(self, name: str) -> list[Any]:
        """The cells of our column `name`; all None where the table lacks it."""
        if name not in self._cells:
            self._cells[name] = self.table.column(self.headings.at.get(name))
        return self._cells[name]

    def has(self, name: str) -> bool:
        """Whether the table has our column `name`."""
        return name in self.headings.at

    def texts(self, name: str) -> list[str]:
        """The cells of a column as text, "" where blank."""
        return [as_text(cell) for cell in self.cells(name)]

    def refuse(self, at: int, name: str, value: object, why: Reason) -> None:
        """Sets a row aside, unless it already is. `name`: our name of the column, shown by the file's own heading."""
        self.aside.setdefault(at, Fault(self.headings.text.get(name, name), value, why))

    def sample(self, name: str, meanings: Sequence[object]) -> None:
        """Shows in the account what the first cells of a column were understood as; None is no understanding."""
        if self.reading is not None and self.has(name):
            self.reading.sample(self.headings.text[name], self.cells(name), meanings)

    def tell_unread(self, name: str, unread: Sequence[bool], so: str, ledger: Ledger) -> None:
        """Remarks on cells of a column that say something nobody understands, in rows that are used all the same."""
        cells = self.cells(name)
        lost = [at for at, (bad, cell) in enumerate(zip(unread, cells, strict=True)) if bad and cell is not None]
        if lost:
            heading, first = self.headings.text[name], lost[0]
            ledger.remark(
                f"{self.table.name}: {len(lost)} cells of {heading} cannot be read (row {self.row_of(first)}: "
                f'"{as_text(cells[first])[:40]}"); {so}'
            )

    def row_of(self, at: int) -> str:
        """The number of a row, with its file where that is a correction file."""
        file = self.table.corrected_in.get(at)
        return f"{self.table.numbers[at]}{f' of {file}' if file else ''}"

    def left_over(self, at: int) -> tuple[tuple[str, str], ...]:
        """What a row says in columns that nobody reads: two rows that differ there are not the same."""
        used = set(self.headings.at.values())
        row = self.table.rows[at]
        return tuple(
            (h, as_text(c))
            for i, (h, c) in enumerate(zip(self.table.headings, row, strict=True))
            if i not in used and c is not None
        )


def sort_kinds(tables: Mapping[str, Sequence[Table]], stated: Stated) -> dict[str, list[Table]]:
    """Tables by kind: a list of visits in the file of the pools goes to the visits, and the other way round."""
    found = {kind: list(given) for kind, given in tables.items()}
    for kind, other in (("pools", "visits"), ("visits", "pools")):
        for table in tables.get(kind, ()):
            several = sum(t.file == table.file for t in tables[kind]) > 1
            if several and _may_be(other, table, stated) and not _may_be(kind, table, stated):
                found[kind] = [t for t in found[kind] if t is not table]
                told = replace(table, notes=(*table.notes, f"read as {other}, by its headings"))
                found.setdefault(other, []).append(told)
    return found


def _may_be(kind: str, table: Table, stated: Stated) -> bool:
    at = match_headings(kind, table.headings, stated.columns.get(kind, {})).at.keys()
    if kind == "visits":
        return {"pool", "date"} <= at
    return table.geometry is not None or bool(at & {"x", "lon", "position"})


def open_drafts(kind: str, tables: Sequence[Table], stated: Stated, ledger: Ledger) -> list[Draft]:
    """Matches headings, says what was matched, and sets odd rows aside. InputError for a stated heading nobody has."""
    overrides = stated.columns.get(kind, {})
    drafts = [Draft(kind, table, match_headings(kind, table.headings, overrides)) for table in tables]
    for name in sorted({n for d in drafts for n in d.headings.unused}):
        if all(name in d.headings.unused for d in drafts):
            raise InputError(
                f'area.toml: [columns.{kind}] says that {name} stands under "{overrides.get(name, name)}", but '
                f"{drafts[0].table.name} has only: {', '.join(h for h in drafts[0].table.headings if h)}"
            )
    essential = _ESSENTIAL.get(kind, set())
    fits = [d.table.geometry is not None or bool(essential & d.headings.at.keys()) for d in drafts]
    kept = []
    for draft, fit in zip(drafts, fits, strict=True):
        if not fit and any(f and other.table.file == draft.table.file for other, f in zip(drafts, fits, strict=True)):
            ledger.remark(f"{draft.table.name}: not read, as no heading there is one of {kind}")
            continue
        kept.append(draft)
        _tell(draft, ledger)
        draft.reading = ledger.understood(kind, draft.table, draft.headings)
        ledger.read_table(kind, draft.table)
        for at, odd in draft.table.odd.items():
            words = "; ".join(as_text(c) for c in draft.table.rows[at] if c is not None)
            draft.refuse(at, "", words, odd)
        _refuse_failed(draft, ledger)
    return kept


def _refuse_failed(draft: Draft, ledger: Ledger) -> None:
    """Sets rows aside that lack a value because a formula failed; in a column of mere words they go without it."""
    ours = {column: name for name, column in draft.headings.at.items()}
    lost: list[int] = []
    for (at, column), cell in draft.table.failed.items():
        name = ours.get(column)
        if name in _WORDS_ONLY:
            lost.append(draft.table.numbers[at])
        elif name is not None:
            draft.refuse(at, name, cell, cell.why)
    if lost:
        ledger.remark(
            f"{draft.table.name}: {len(lost)} cells hold a formula without a result and were left out (row {lost[0]})"
        )


def _tell(draft: Draft, ledger: Ledger) -> None:
    notes = ", ".join([*draft.table.notes, *draft.table.left_out])
    ledger.tell(f"{draft.table.name}{f' ({notes})' if notes else ''}: {draft.headings.describe()}")
    for name, used, other in draft.headings.doubles:
        ledger.remark(
            f"{draft.table.name}: {used} and {other} could both be {name}; {used} is used. "
            f'To choose, write [columns.{draft.kind}] {name} = "..." in area.toml'
        )


def place_rows(
    draft: Draft, crs: CRS, stated: Stated, ledger: Ledger
) -> tuple[list[Point | Refusal], NDArray[np.float64], NDArray[np.float64]]:
    """The place of each row as it was read, and its x and y in `crs`; rows without one are set aside (x, y NaN)."""
    points = _with_shifts(points_of(draft.table, draft.headings, stated), crs)
    x, y = locate(points, crs)
    beyond = stated.box.beyond(points) if stated.box is not None else np.zeros(len(points), dtype=bool)
    for at, point in enumerate(points):
        if isinstance(point, Refusal):
            draft.refuse(at, point.role, point.value, point.why)
        elif math.isnan(x[at]) or beyond[at]:
            draft.refuse(at, "x", f"{point.x}, {point.y}", Why.UNREACHABLE)
    ways = Counter(point.how for point in points if isinstance(point, Point))
    if ways:
        told = ", ".join(f"{number} as {how}" for how, number in sorted(ways.items()))
        ledger.tell(f"{draft.table.name}: places read: {told}")
        if draft.reading is not None:
            draft.reading.samples += [
                ("places", f"{number} row{'' if number == 1 else 's'}", how) for how, number in sorted(ways.items())
            ]
    if draft.reading is not None:
        roles = [name for name in PLACE_COLUMNS if draft.has(name)]
        written = [", ".join(filter(None, cells)) for cells in zip(*map(draft.texts, roles), strict=True)]
        read = [at for at, point in enumerate(points) if isinstance(point, Point)][:SAMPLES]
        meant = [_understood(point) if at in read else None for at, point in enumerate(points)]
        draft.reading.sample("place", written or [""] * len(points), meant)
    used = [NO_PLACE if at in draft.aside else point for at, point in enumerate(points)]
    # trees and the like beyond the boundary serve as margin; only a pool belongs inside
    tell_slips(draft.table.name, draft.row_of, used, stated.box if draft.kind == "pools" else None, ledger)
    return points, x, y


def _with_shifts(points: Sequence[Point | Refusal], crs: CRS) -> list[Point | Refusal]:
    """The points, their uncertainty widened by that of the way from their own system to the area's."""
    # by object, as comparing systems is slow; a table has few of them
    shifts = {key: shift_m(own, crs) for key, own in {id(p.crs): p.crs for p in points if isinstance(p, Point)}.items()}
    if not any(shifts.values()):
        return list(points)
    return [
        p._replace(uncertainty_m=math.hypot(p.uncertainty_m, shifts[id(p.crs)])) if isinstance(p, Point) else p
        for p in points
    ]


def _understood(point: Point | Refusal) -> str:
    return f"{in_words(point)}, to {point.uncertainty_m:.1f} m ({point.how})" if isinstance(point, Point) else ""


def gather(drafts: Sequence[Draft], columns: Sequence[Mapping[str, Sequence[Any]]]) -> pd.DataFrame:
    """One frame of all rows not set aside, with their file and row, and `_draft` and `_at` to find them again."""
    parts = []
    for number, (draft, values) in enumerate(zip(drafts, columns, strict=True)):
        part = pd.DataFrame(dict(values))
        part["file"] = (
            [draft.table.file_of(at) for at in range(len(draft.table))]
            if draft.table.corrected_in
            else draft.table.file
        )
        part["row"] = np.asarray(draft.table.numbers, dtype="int64")
        part["_draft"], part["_at"] = number, np.arange(len(draft.table))
        parts.append(part[~part["_at"].isin(list(draft.aside))])
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["file", "row", "_draft", "_at"])


def set_repeats_aside(frame: pd.DataFrame, drafts: Sequence[Draft]) -> pd.DataFrame:
    """Sets rows aside that repeat an earlier one, and gives the others.

    In one table a repeat has the same cells and shape; in another table, whose headings and words may differ, it
    says the same in every column, read or not.
    """
    seen: dict[Hashable, tuple[int, int]] = {}
    keep = np.ones(len(frame), dtype=bool)
    said = [c for c in frame.columns if c not in ("file", "row", "_draft", "_at")]
    keys = zip(*[[None if v != v else v for v in frame[c].tolist()] for c in said], strict=True) if said else iter(())
    places = zip(frame["_draft"].tolist(), frame["_at"].tolist(), strict=True)
    for i, (key, (number, at)) in enumerate(zip(keys, places, strict=True)):
        draft = drafts[number]
        shape = draft.table.geometry[at] if draft.table.geometry is not None else None
        cells = (number, *map(as_text, draft.table.rows[at]), shape)
        meaning = ("any table", *key, *draft.left_over(at))
        first = seen.setdefault(cells, (number, at))
        if first == (number, at):
            first = seen.setdefault(meaning, (number, at))
            if first[0] == number:
                continue
        table = drafts[first[0]].table
        file = table.file_of(first[1])
        of = "" if file == draft.table.file_of(at) else f" of {file}"
        words = "; ".join(as_text(c) for c in draft.table.rows[at] if c is not None)
        draft.refuse(at, "", words, Why.REPEAT.of(row=table.numbers[first[1]], of=of))
        keep[i] = False
    return frame[keep]


def close(drafts: Sequence[Draft], ledger: Ledger) -> None:
    """Writes what was set aside and what was accepted into the ledger."""
    for draft in drafts:
        for at, fault in sorted(draft.aside.items()):
            ledger.set_row_aside(draft.kind, draft.table, at, fault, draft.about[at] if draft.about else "")
        ledger.accept_rows(draft.kind, draft.table, (at for at in range(len(draft.table)) if at not in draft.aside))


def shaped(frame: pd.DataFrame, types: Mapping[str, str], order: Sequence[str]) -> pd.DataFrame:
    """Columns of these types, in this order, rows sorted by `order`, numbered from 0."""
    if frame.empty:
        return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in types.items()})
    out = pd.DataFrame({name: frame[name].astype(pd.api.types.pandas_dtype(kind)) for name, kind in types.items()})
    return out.sort_values(list(order), kind="stable", ignore_index=True)
