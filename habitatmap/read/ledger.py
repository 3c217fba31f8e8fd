"""The account of what was read: for every file, rows read = rows accepted + rows set aside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import islice
from typing import NamedTuple, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.errors.why import NOTHING_TO_DO, Reason
from habitatmap.read.corrected_rows import Lost, Placed
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table, named
from habitatmap.read.headings import Headings, Match
from habitatmap.sentences import Sentence, apart, following, say
from habitatmap.vocabulary.kinds import COUNTED

T = TypeVar("T")
COLUMNS = ("file", "sheet", "row", "column", "value", "reason", "remedy")
# a cell longer than this is cut in the list of what was set aside; its file and row still lead to the whole text
LONGEST_VALUE = 300
# so many cells of a column of dates or places are shown with what they were understood as
SAMPLES = 2
LONGEST_SAMPLE = 80
# so many rows of a table are shown to the person who wrote it
ROWS_SHOWN = 3


# so many examples of one kind are named in a remark
NAMED = 10


def some(found: Sequence[str], between: str = "; ", most: int = NAMED) -> Sentence:
    """The first few, and how many more there are."""
    more = [say("and {n} more", n=len(found) - most)] if len(found) > most else []
    return apart([*found[:most], *more], between)


def in_row(file: str, row: object) -> Sentence:
    """A row as a person would name it: "pools.csv row 7"."""
    return say("{file} row {row}", file=file, row=str(row))


class Fault(NamedTuple):
    """What is wrong with a row: the heading of the cell ("" for the row as a whole), what it holds, and why."""

    column: str
    value: object
    why: Reason


class SetAside(NamedTuple):
    """One row of a user's file that could not be used; its sentences are made when they are asked for.

    column, value, why: its first fault; `more` are its others.
    """

    kind: str
    file: str
    row: int
    column: str
    value: str
    why: Reason
    about: str = ""  # whose record it is (the pool's name), where the reader knows
    table: Table | None = None  # the row itself, where the reader gave it: its table, and its position there
    at: int = -1
    more: tuple[Fault, ...] = ()

    @property
    def sheet(self) -> str:
        """The sheet of its file, "" where there is one only."""
        return self.table.sheet if self.table is not None and self.file == self.table.file else ""

    @property
    def reason(self) -> Sentence:
        """Why the row cannot be used: all its faults."""
        more = (
            say("{column}: {why}", column=f.column, why=f.why.reason) if f.column else f.why.reason for f in self.more
        )
        return following(*dict.fromkeys([self.why.reason, *more]), by="; ") if self.more else self.why.reason

    @property
    def remedy(self) -> Sentence:
        """What to do about it: for all its faults."""
        each = dict.fromkeys([self.why.remedy, *(fault.why.remedy for fault in self.more)])
        return following(*each, by="; ") if self.more else self.why.remedy

    @property
    def cells(self) -> tuple[str, str, int, str, str, str, str]:
        """The row as set_aside.csv has it: `COLUMNS`."""
        return self.file, self.sheet, self.row, self.column, self.value, self.reason, self.remedy


class Unused(NamedTuple):
    """A file, or a sheet of one, that nothing was used of; `table` is what it holds, where that could be read."""

    file: str
    sheet: str
    why: Reason
    table: Table | None = None

    @property
    def name(self) -> str:
        """File and sheet as a person would name them."""
        return named(self.file, self.sheet)

    @property
    def to_do(self) -> bool:
        """Whether somebody has to look at it."""
        return self.why.code not in NOTHING_TO_DO


class UnitBy(StrEnum):
    """What tells the unit of a column."""

    HEADING = "heading"
    STATED = "stated"  # by area.toml
    CELLS = "cells"
    VALUES = "values"  # by their size alone
    ASKED = "asked"  # doubtful: nothing is taken until somebody states it


class UnitRead(NamedTuple):
    """The unit of one column of measures: what is measured (diameter, girth), its heading, the unit ("" = none is
    taken), and what tells it."""

    measure: str
    heading: str
    unit: str
    by: UnitBy


class Known(StrEnum):
    """What may be known of a row that holds a record."""

    PLACE = "place"
    GENUS = "genus"
    THICKNESS = "thickness"
    CONDITION = "condition"
    NAME = "name"


@dataclass(frozen=True)
class Holding:
    """What one table holds: its rows that are records, used or not, and of how many of them what is known.

    known: counts by `Known`, without what makes no sense for the kind. bounds: (n, 4) west, south, east, north of each
    record that has a place, metres of the area's CRS. not_read: headings of columns that nothing was read from.
    """

    kind: str
    file: str
    table: str
    rows: int
    used: int
    known: Mapping[Known, int]
    bounds: NDArray[np.float64]
    units: tuple[UnitRead, ...] = ()
    not_read: tuple[str, ...] = ()


@dataclass
class Reading:
    """How one table was understood, for the person who wrote it."""

    kind: str
    file: str
    table: str  # file and sheet
    notes: tuple[Sentence, ...]  # encoding, delimiter, sheet
    columns: Mapping[str, tuple[str, Match]]  # our name -> the file's heading, and how it was matched
    unmatched: Mapping[str, str]  # the file's heading -> the nearest of our names, or ""
    sheet: str = ""
    headings: tuple[str, ...] = ()
    first_rows: tuple[tuple[str, ...], ...] = ()
    crs: str = ""  # the system of shapes, where the file carries them
    cells: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # our name -> the first cells, as written
    samples: list[tuple[str, str, str]] = field(default_factory=list)  # heading, as written, as understood
    left_out: tuple[Sentence, ...] = ()  # those of the notes that tell what was not read
    delimiter: str = ""  # what stands between the cells of a text file

    def sample(self, heading: str, cells: Sequence[object], meanings: Sequence[object]) -> None:
        """Keeps the first `SAMPLES` cells that were understood; a meaning of None is no understanding."""
        told = (
            (heading, _shown(cell, LONGEST_SAMPLE), _shown(meaning))
            for cell, meaning in zip(cells, meanings, strict=True)
            if meaning is not None and cell is not None and cell != ""
        )
        self.samples += _first(told)


class Ledger:
    """Counts rows by kind and file, keeps every row set aside with its reason, and collects remarks."""

    def __init__(self) -> None:
        self._read: Counter[tuple[str, str]] = Counter()
        self._accepted: Counter[tuple[str, str]] = Counter()
        self._aside: list[SetAside] = []
        self._untold: Counter[tuple[str, str]] = Counter()  # rows set aside of which nothing may be said
        # what a person should know, and of that what somebody should look at
        self.remarks: list[Sentence] = []
        self.doubts: list[Sentence] = []
        self.readings: list[Reading] = []
        self.holdings: list[Holding] = []
        self.unused: list[Unused] = []
        # words nobody knows, by file, our column and word, with the rows that hold them; and columns that lack a unit
        # or the order of day and month
        self.unknown_words: dict[tuple[str, str, str], list[int]] = {}
        self.unknown_units: list[tuple[str, str]] = []
        # what became of the rows of correction files (corrections.py)
        self.corrections: Sequence[Placed] = []
        self.lost_corrections: Lost = []

    def read(self, kind: str, file: str, n: int) -> None:
        """`n` rows of this kind were read from this file (which may have none)."""
        self._read[kind, file] += n

    def accept(self, kind: str, file: str, n: int) -> None:
        """`n` of the rows read are used."""
        self._accepted[kind, file] += n

    def read_table(self, kind: str, table: Table) -> None:
        """Every row of the table was read, each from the file it stands in."""
        self.read(kind, table.file, len(table) - len(table.corrected_in))
        for file, n in sorted(Counter(table.corrected_in.values()).items()):
            self.read(kind, file, n)

    def accept_rows(self, kind: str, table: Table, positions: Iterable[int]) -> None:
        """The rows at these positions of the table are used."""
        rows = [int(at) for at in positions]
        elsewhere = Counter(table.corrected_in[at] for at in rows if at in table.corrected_in)
        here = Counter({table.file: len(rows) - elsewhere.total()} if len(rows) > elsewhere.total() else {})
        for file, n in sorted((elsewhere + here).items()):
            self.accept(kind, file, n)

    def set_row_aside(
        self, kind: str, table: Table, at: int, fault: Fault, about: str = "", more: Sequence[Fault] = ()
    ) -> None:
        """The row at this position of the table is not used. To be called once for a row."""
        text = as_text(fault.value)
        if len(text) > LONGEST_VALUE:
            text = text[: LONGEST_VALUE - 1] + "…"
        file, row = table.file_of(at), table.numbers[at]
        self.set_aside(SetAside(kind, file, row, fault.column, text, fault.why, about, table, at, tuple(more)))

    def set_aside(self, row: SetAside) -> None:
        """One row read is not used. To be called once for a row."""
        self._aside.append(row)

    def count_aside(self, kind: str, file: str, n: int) -> None:
        """`n` rows read are not used, and nothing may be said of them."""
        self._untold[kind, file] += n

    def understood(self, kind: str, table: Table, headings: Headings) -> Reading:
        """Opens the account of how a table is understood; its readers add samples to it."""
        columns = {name: (headings.text[name], headings.how[name]) for name in headings.at}
        crs = table.crs.name if table.crs is not None else ""
        cells = {name: _first_cells(table, at) for name, at in headings.at.items()}
        sheet = say("sheet {sheet}", sheet=table.sheet)
        own = (note for note in table.notes if note != sheet)  # its name says the sheet already
        notes = (*own, *table.left_out, *_odd_letters(table))
        rows = first_rows(table)
        shown = (headings.unmatched, table.sheet, table.headings, rows, crs, cells)
        reading = Reading(kind, table.file, table.name, notes, columns, *shown)
        reading.left_out, reading.delimiter = table.left_out, table.delimiter
        self.readings.append(reading)
        return reading

    def ask_word(self, file: str, column: str, word: str, row: int) -> None:
        """Nobody knows what a word in a column of ours means."""
        self.unknown_words.setdefault((file, column, word), []).append(row)

    def ask_unit(self, file: str, column: str) -> None:
        """Nobody knows the unit of a column of ours, or the order of its dates."""
        if (file, column) not in self.unknown_units:
            self.unknown_units.append((file, column))

    def remark(self, told: Sentence) -> None:
        """Something about rows that are used which somebody should look at; said once, however often it is found."""
        self.tell(told)
        if told not in self.doubts:
            self.doubts.append(told)

    def tell(self, told: Sentence) -> None:
        """How something was understood, where nothing seems wrong."""
        if told not in self.remarks:
            self.remarks.append(told)

    def counts(self) -> dict[str, dict[str, int]]:
        """{kind: {"read", "accepted", "set_aside"}}, with every kind of `COUNTED` present."""
        total: dict[str, dict[str, int]] = {str(kind): {"read": 0, "accepted": 0, "set_aside": 0} for kind in COUNTED}
        for (kind, _file), (read, accepted, aside) in self.by_file().items():
            part = total.setdefault(kind, {"read": 0, "accepted": 0, "set_aside": 0})
            part["read"] += read
            part["accepted"] += accepted
            part["set_aside"] += aside
        return total

    def by_file(self) -> dict[tuple[str, str], tuple[int, int, int]]:
        """{(kind, file): (read, accepted, set aside)}, in the order of the names."""
        aside = Counter((entry.kind, entry.file) for entry in self._aside) + self._untold
        keys = sorted(self._read.keys() | self._accepted.keys() | aside.keys())
        return {key: (self._read[key], self._accepted[key], aside[key]) for key in keys}

    def entries(self, kind: str) -> list[SetAside]:
        """The rows of one kind set aside, in the order they were."""
        return [entry for entry in self._aside if entry.kind == kind]

    def in_order(self) -> list[SetAside]:
        """The rows set aside, ordered by file, row and reason."""
        return sorted(self._aside, key=lambda e: (e.file, e.sheet, e.row, e.why.code.name, e.column, e.value))

    def frame(self) -> pd.DataFrame:
        """Files and sheets not used (without a row), then the rows set aside, as set_aside.csv has them."""
        unused = [(u.file, u.sheet, None, "", "", u.why.reason, u.why.remedy) for u in self.unused]
        aside = [entry.cells for entry in self.in_order()]
        frame = pd.DataFrame([*unused, *aside], columns=list(COLUMNS), dtype=object)
        # what is said of a row stays a sentence, which a page can say in its reader's language
        return frame.astype(dict.fromkeys(("file", "sheet", "column", "value"), "str") | {"row": "Int64"})

    def check(self) -> None:
        """Raises AssertionError, naming the file, where read is not accepted + set aside: a fault of the program."""
        for (kind, file), (read, accepted, aside) in self.by_file().items():
            if read != accepted + aside:
                raise AssertionError(
                    f"{file} ({kind}): {read} rows read, but {accepted} accepted and {aside} set aside; "
                    "please report this, it is a fault of the program"
                )


def first_rows(table: Table) -> tuple[tuple[str, ...], ...]:
    """The first `ROWS_SHOWN` records of a table, as written, a cell for each heading."""
    good = (row for at, row in enumerate(table.rows) if at not in table.odd)
    return tuple(tuple(as_text(cell)[:LONGEST_SAMPLE] for cell in row) for row in islice(good, ROWS_SHOWN))


def _shown(cell: object, most: int | None = None) -> str:
    """A cell as text, so much of it; what is said of a row stays a sentence."""
    return cell if isinstance(cell, Sentence) else as_text(cell)[:most]


def _first_cells(table: Table, at: int) -> tuple[str, ...]:
    """The first cells of a column, as written, each once."""
    texts = (as_text(row[at])[:LONGEST_SAMPLE] for i, row in enumerate(table.rows) if i not in table.odd)
    return tuple(_first(filter(None, texts)))


def _odd_letters(table: Table) -> Iterator[Sentence]:
    """Words that show whether a file's letters were read right."""
    texts = (cell for row in table.rows for cell in row if isinstance(cell, str) and not cell.isascii())
    words = _first(word for text in texts for word in text.split() if not word.isascii())
    if words:
        yield say("letters as in {words}", words=", ".join(word[:LONGEST_SAMPLE] for word in words))


def _first(items: Iterable[T]) -> list[T]:
    """The first `SAMPLES` that differ."""
    found: list[T] = []
    for item in items:
        if item not in found:
            found.append(item)
        if len(found) == SAMPLES:
            break
    return found
