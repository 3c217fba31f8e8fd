"""readings.xlsx: what people say of the files of an area where those don't say it themselves.

`check` writes it with what it took every heading for, and with every question that is left; whoever knows the answer
writes it there, in any spreadsheet program. It is read before everything else, and no original has to be changed.
What a person wrote is kept: rows are only added.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import NamedTuple

import python_calamine

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.dates import read_dates
from habitatmap.read.files import SHEET_SUFFIXES
from habitatmap.read.formats.cells import as_text, clean
from habitatmap.read.formats.table import Renamed, Stated, Table, Taught
from habitatmap.read.headings import ALIASES, column_named
from habitatmap.read.values import name_key, name_of
from habitatmap.vocabulary.columns import COLUMNS
from habitatmap.vocabulary.kinds import TABLES, Kind

STEM = "readings"
NAME = f"{STEM}.xlsx"
# what a word may mean besides a word of ours
NOT_GIVEN = "not given"
# the orders of a date, as they are written in a heading
ORDERS = {"day-month-year": "dd/mm/yyyy", "month-day-year": "mm/dd/yyyy", "year-month-day": "yyyy/mm/dd"}


class HeadingSaid(NamedTuple):
    """What a heading means: a column of ours, "" = none. `read_as`: what it was taken for when the row was written; a
    row that says the same says nothing."""

    file: str
    sheet: str
    heading: str
    means: str
    read_as: str | None = None
    cells: str = ""

    @property
    def said(self) -> bool:
        """Whether a person said something here."""
        return self.means != self.read_as


class WordSaid(NamedTuple):
    """What a word in a column of ours means; "" = nobody has said it yet."""

    file: str
    column: str
    word: str
    means: str
    rows: str = ""

    @property
    def said(self) -> bool:
        """Whether a person said something here."""
        return self.means != ""


class NameSaid(NamedTuple):
    """A pool that bears another name since a day (blank: always); `new` "" = nobody has said it yet."""

    old: str
    new: str
    since: str = ""
    like: str = ""

    @property
    def said(self) -> bool:
        """Whether a person said something here."""
        return self.new != ""


class Ignored(NamedTuple):
    """What holds no records: a file, a sheet of it, or rows such as "3, 7-9". `says`: what those rows said, by which
    they are known again."""

    file: str
    sheet: str
    rows: str
    says: str = ""

    @property
    def said(self) -> bool:
        """Always, as nobody but a person writes such a line."""
        return True


class UnitSaid(NamedTuple):
    """The unit of a column of ours, the order of its dates, or the reference system of x; "" = nobody has said it."""

    file: str
    column: str
    unit: str

    @property
    def said(self) -> bool:
        """Whether a person said something here."""
        return self.unit != ""


class FileSaid(NamedTuple):
    """The kind of records that a file or a sheet holds; "" = nobody has said it yet."""

    file: str
    sheet: str
    kind: str
    headings: str = ""

    @property
    def said(self) -> bool:
        """Whether a person said something here."""
        return self.kind != ""


Said = HeadingSaid | WordSaid | NameSaid | Ignored | UnitSaid | FileSaid


@dataclass(frozen=True)
class Readings:
    """The sheets of readings.xlsx. `faults`: sentences on lines that can't be understood."""

    headings: Sequence[HeadingSaid] = ()
    words: Sequence[WordSaid] = ()
    names: Sequence[NameSaid] = ()
    ignore: Sequence[Ignored] = ()
    units: Sequence[UnitSaid] = ()
    files: Sequence[FileSaid] = ()
    faults: Sequence[str] = field(default=(), compare=False)

    def sheets(self) -> dict[str, Sequence[Said]]:
        """Its sheets by name, in their order."""
        return {name: getattr(self, name) for name in SHEETS}


SHEETS: Mapping[str, type[Said]] = {
    "headings": HeadingSaid,
    "words": WordSaid,
    "names": NameSaid,
    "ignore": Ignored,
    "units": UnitSaid,
    "files": FileSaid,
}
assert tuple(SHEETS) == tuple(f.name for f in fields(Readings))[: len(SHEETS)]
# what a column of the workbook is headed with, where it is not our field's name
HEADS = {"since": "from", "read_as": "read as", "cells": "first cells", "like": "like", "says": "the rows say"}


# --- reading ---------------------------------------------------------------------------------------------------------


def find_readings(folder: Path) -> list[Path]:
    """The workbook, in whichever format it was saved; the xlsx first, where there are several."""
    found = [p for p in folder.glob(f"{STEM}.*") if p.suffix.casefold() in SHEET_SUFFIXES]
    return sorted(found, key=lambda p: (p.suffix.casefold() != ".xlsx", p.name))


def read_readings(folder: Path) -> Readings:
    """What readings.xlsx says; nothing where there is none. InputError where it can't be opened."""
    found = find_readings(folder)
    if not found:
        return Readings()
    path = found[0]
    faults = [f"{p.name} is not read, as {path.name} is; keep one of them" for p in found[1:]]
    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
        by_name = {name.strip().casefold(): name for name in book.sheet_names}
        said = {
            name: list(_rows(kind, list(book.get_sheet_by_name(by_name[name]).to_python())))
            for name, kind in SHEETS.items()
            if name in by_name
        }
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise InputError(
            f"{path.name} cannot be opened; close it, open it in a spreadsheet program, and save it again as {NAME}"
        ) from error
    readings = Readings(**said)  # type: ignore[arg-type]
    return replace(readings, faults=[*faults, *_faults(readings, path.name)])


def _rows(kind: type[Said], records: Sequence[Sequence[object]]) -> Iterator[Said]:
    """The lines of a sheet below its headings, which may stand in any order."""
    heads = {as_text(clean(cell)).strip().casefold(): at for at, cell in enumerate(records[0] if records else ())}
    columns = {name: heads.get(HEADS.get(name, name)) for name in kind._fields}
    blank = {name: "" for name in kind._fields if name not in kind._field_defaults}
    for cells in records[1:]:
        texts = [as_text(clean(cell)).strip() for cell in cells]
        given = {name: texts[at] for name, at in columns.items() if at is not None and at < len(texts)}
        if any(given.values()):
            yield kind(**{**blank, **given})


def _faults(readings: Readings, file: str) -> Iterator[str]:
    """A sentence on each line whose answer can't be understood."""
    ours = {name for names in ALIASES.values() for name in names}
    for at, one in enumerate(readings.headings, 2):
        if one.means and one.means not in ours:
            yield (
                f'{file}, sheet headings, row {at}: {one.heading} cannot mean "{one.means}"; choose one of the '
                "list, or leave the cell blank where the column holds nothing of ours"
            )
    for at, word in enumerate(readings.words, 2):
        values = _values(word.column)
        if word.said and values and word.means not in (*values, NOT_GIVEN):
            yield (
                f'{file}, sheet words, row {at}: "{word.word}" cannot mean "{word.means}"; expected one of '
                f"{', '.join(values)}, or {NOT_GIVEN}"
            )
    for at, kind in enumerate(readings.files, 2):
        if kind.said and kind.kind not in TABLES:
            yield f'{file}, sheet files, row {at}: "{kind.kind}" is no kind of records; expected {", ".join(TABLES)}'
    for at, name in enumerate(readings.names, 2):
        if name.since and not isinstance(read_dates([name.since])[0], datetime.date):
            yield f'{file}, sheet names, row {at}: "{name.since}" is no day; write year-month-day, such as 2024-05-03'


def _values(column: str) -> tuple[str, ...]:
    """What cells of a column of ours may say, () where that is open."""
    return next((c.values for columns in COLUMNS.values() for c in columns if c.name == column and c.values), ())


# --- what it means for the tables ------------------------------------------------------------------------------------


def _is_of(said_file: str, file: str, files: Collection[str]) -> bool:
    """Whether a line speaks of a file: by its name, or by its stem where the file was saved in another format."""
    if not said_file or said_file.casefold() == file.casefold():
        return True
    gone = said_file.casefold() not in {name.casefold() for name in files}
    return gone and Path(said_file).with_suffix("").name.casefold() == Path(file).with_suffix("").name.casefold()


def _is_sheet(said: str, sheet: str) -> bool:
    return not said or not sheet or said.strip().casefold() == sheet.strip().casefold()


def with_readings(table: Table, readings: Readings, files: Collection[str]) -> Table:
    """The table with what readings.xlsx says of it; `files`: the names of all files of the area."""

    def about(said: Sequence[Said]) -> Iterator[Said]:
        return (s for s in said if s.said and _is_of(getattr(s, "file", ""), table.file, files))

    ignored = [i for i in about(readings.ignore) if isinstance(i, Ignored) and _is_sheet(i.sheet, table.sheet)]
    if any(not i.rows for i in ignored):
        return replace(table, unused=Why.SAID_TO_BE_NONE)
    headings = {
        _as_written(h.heading, table): h.means
        for h in about(readings.headings)
        if isinstance(h, HeadingSaid) and _is_sheet(h.sheet, table.sheet)
    }
    words: dict[str, dict[str, str]] = {}
    for word in about(readings.words):
        if isinstance(word, WordSaid):
            means = "" if word.means == NOT_GIVEN else word.means
            words.setdefault(word.column, {})[name_key(word.word)] = means
    units = {u.column: ORDERS.get(u.unit, u.unit) for u in about(readings.units) if isinstance(u, UnitSaid)}
    odd = dict.fromkeys((at for i in ignored for at in _rows_of(i, table)), Why.NO_RECORD)
    return replace(table, taught=Taught(headings, words, units), odd={**table.odd, **odd})


def _as_written(heading: str, table: Table) -> str:
    """The table's own heading that is meant, whatever its spaces."""
    return next((h for h in table.headings if name_key(h) == name_key(heading)), heading)


def _rows_of(ignored: Ignored, table: Table) -> list[int]:
    """The positions of the rows that hold no records: those that say what they said, else those of these numbers."""
    if ignored.says:
        told = set(ignored.says.split(BETWEEN_ROWS))
        return [at for at in range(len(table)) if row_says(table, at) in told]
    wanted = numbers_in(ignored.rows)
    return [at for at, number in enumerate(table.numbers) if number in wanted]


BETWEEN_ROWS, LONGEST_ROW = " / ", 200


def row_says(table: Table, at: int) -> str:
    """What a row says, by which it is known again when it has moved."""
    text = "; ".join(as_text(cell) for cell in table.rows[at] if cell is not None).replace(BETWEEN_ROWS, " ")
    return " ".join(text.split())[:LONGEST_ROW]


def numbers_in(text: str) -> set[int]:
    """The numbers of "3, 7-9"."""
    found: set[int] = set()
    for part in text.replace(";", ",").replace("–", "-").split(","):
        first, _, last = (piece.strip() for piece in part.partition("-"))
        if first.isdigit():
            found |= set(range(int(first), (int(last) if last.isdigit() else int(first)) + 1))
    return found


def kind_said(readings: Readings, file: str, sheet: str, files: Collection[str]) -> Kind | None:
    """The kind of records that a file or sheet is said to hold, None where nobody says one."""
    for said in readings.files:
        if said.kind in TABLES and said.file and _is_of(said.file, file, files) and _is_sheet(said.sheet, sheet):
            return Kind(said.kind)
    return None


def stated_with(stated: Stated, readings: Readings, files: Collection[str]) -> tuple[Stated, list[str]]:
    """What area.toml states with what readings.xlsx says of reference systems and names; and where the two disagree."""
    names = [
        Renamed(name_key(n.old), name_of(n.new), day if isinstance(day, datetime.date) else None)
        for n in readings.names
        if n.said
        for day in read_dates([n.since or None])
    ]
    systems, told = dict(stated.source_crs), []
    for unit in readings.units:
        if unit.said and unit.column in ("x", "y") and unit.file:
            file = next((f for f in files if _is_of(unit.file, f, files)), unit.file)
            if systems.get(file, unit.unit) != unit.unit:
                told.append(
                    f"area.toml says that {file} is in {systems[file]}, {NAME} says {unit.unit}; {NAME} is followed"
                )
            systems[file] = unit.unit
    for kind, columns in stated.columns.items():
        for said in readings.headings:
            for name, heading in columns.items():
                if said.said and name_key(heading) == name_key(said.heading) and column_named(kind, name) != said.means:
                    told.append(
                        f"area.toml says that {heading} is {name}, {NAME} says {said.means or 'none of ours'} "
                        f"({said.file}); {NAME} is followed"
                    )
    return replace(stated, source_crs=systems, names=tuple(names)), list(dict.fromkeys(told))


def gone(readings: Readings, tables: Sequence[Table]) -> Iterator[str]:
    """A sentence on each line that somebody wrote and that speaks of nothing that is there."""
    files = {table.file for table in tables}
    for said in readings.headings:
        here = [t for t in tables if _is_of(said.file, t.file, files) and _is_sheet(said.sheet, t.sheet)]
        if said.said and not any(name_key(said.heading) in map(name_key, t.headings) for t in here):
            yield (
                f"{NAME} says what {said.heading} in {said.file} means, but no such heading is there; see whether it "
                "was renamed"
            )
    for ignored in readings.ignore:
        here = [t for t in tables if _is_of(ignored.file, t.file, files) and _is_sheet(ignored.sheet, t.sheet)]
        if ignored.rows and not any(_rows_of(ignored, t) for t in here):
            yield f"{NAME} says that rows {ignored.rows} of {ignored.file} are no records, but no such row is there"
