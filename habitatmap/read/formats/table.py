"""A user's table as it was written, before anything is understood: headings, cells, row numbers, geometry."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.errors.why import Reason
from habitatmap.read.addresses import Addresses
from habitatmap.read.coordinates import Box
from habitatmap.read.formats.cells import Failed
from habitatmap.sentences import Sentence, say

# spreadsheets count days from here, but those with the calendar of 1904
DAY_ZERO = datetime.date(1899, 12, 30)
DAY_ZERO_1904 = datetime.date(1904, 1, 1)


@dataclass(frozen=True)
class Taught:
    """What a person said of a table in readings.xlsx.

    headings: by heading our column, "" = none of ours; words: by our column, what a word there means; units: by our
    column, the unit of its cells, or the order of day and month.
    """

    headings: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


class Renamed(NamedTuple):
    """A pool that bears another name since a day, None = always; `old` is the key of its former name."""

    old: str
    new: str
    since: datetime.date | None


@dataclass(frozen=True)
class Table:
    """One table of one file. Titles, blank lines and comments are not rows; `odd` rows are read, and set aside.

    `rows[i]` has one cell for each heading; blank cells are None, text is stripped, spreadsheet dates are dates.
    `numbers[i]` is the row number a spreadsheet shows. `geometry` and `crs` come from files that carry them.
    """

    file: str
    headings: tuple[str, ...]
    rows: Sequence[tuple[object, ...]]
    numbers: Sequence[int]
    odd: Mapping[int, Reason] = field(default_factory=dict)  # by position in `rows`
    geometry: Sequence[BaseGeometry | None] | None = None
    crs: CRS | None = None
    sheet: str = ""
    notes: tuple[Sentence, ...] = ()  # how the file was understood: encoding, delimiter, sheet
    left_out: tuple[Sentence, ...] = ()  # what of the file was not read, which somebody should look at
    title: tuple[tuple[str, ...], ...] = ()  # the filled cells of each line above the headings
    groups: tuple[str, ...] = ()  # the upper word over each heading, where there are headings of two lines
    legend: Mapping[str, str] = field(default_factory=dict)  # what a line of the table says that marks mean
    from_headings: tuple[str, ...] = ()  # for each row of an unfolded grid the heading that its cell stood under
    delimiter: str = ""  # what stands between the cells of a text file, "" where nothing does
    corrected_in: Mapping[int, str] = field(default_factory=dict)  # rows that stand in a correction file: its name
    failed: Mapping[tuple[int, int], Failed] = field(default_factory=dict)  # (position, column): cells without a value
    group: str = ""  # the group whose list it is, "" for the area's own (groups.py)
    taught: Taught = Taught()
    unused: Reason | None = None  # why nothing of it is used, where that is known before anything is understood
    day_zero: datetime.date = DAY_ZERO  # what the number 0 means where a sheet's date is a plain number

    def __len__(self) -> int:
        return len(self.rows)

    def column(self, at: int | None) -> list[object]:
        """The cells of one column; all None where the table has no such column."""
        return [None] * len(self.rows) if at is None else [row[at] for row in self.rows]

    def file_of(self, at: int) -> str:
        """The file that the row at this position stands in; `numbers` counts in that file."""
        return self.corrected_in.get(at, self.file)

    @property
    def name(self) -> str:
        """File and sheet as a person would name them."""
        return named(self.file, self.sheet)


def named(file: str, sheet: str) -> str:
    """File and sheet as a person would name them."""
    return say("{file}, sheet {sheet}", file=file, sheet=sheet) if sheet else file


@dataclass(frozen=True)
class Stated:
    """What area.toml says about the area's tables, and where its maps say that it lies."""

    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # kind -> our name -> the file's heading
    source_crs: Mapping[str, str] = field(default_factory=dict)  # file name -> CRS
    crs: str | None = None  # the area's crs, only where area.toml states it
    encoding: Mapping[str, str] = field(default_factory=dict)  # file name -> encoding of its text
    tree_units: Mapping[str, str] = field(default_factory=dict)  # by what is measured (diameter, girth): cm, inch, ...
    names: tuple[Renamed, ...] = ()  # by readings.xlsx
    addresses: Addresses = field(default_factory=Addresses.none)  # to place rows without coordinates by
    box: Box | None = None  # where the area lies, by its boundary, its land cover, or the stated system
    home: Box | None = None  # where the area lies, by its boundary, its land cover, or its pools
