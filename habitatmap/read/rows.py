"""What reading any table has in common: its columns known, and rows on their way out.

A row is placed by a point (points.py) or by a shape (shapes.py). It leaves at its first fault and is told once; at the
end every row that was read is accepted or set aside. A small reader for each kind says what its columns mean.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import NoneType

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import InputError
from habitatmap.errors.why import NOTHING_TO_DO, Reason, Why
from habitatmap.read.dates import Span, completed, read_dates, read_span, when_of
from habitatmap.read.formats.cells import as_text, as_texts, each_once
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import ALIASES, CONTACTS, REACH, Headings, fold, match_table
from habitatmap.read.ledger import Fault, Holding, Known, Ledger, Reading, SetAside, UnitRead, Unused, some
from habitatmap.read.place_by_content import with_place_by_content
from habitatmap.read.values import name_key, yes_no
from habitatmap.read.wide import unfolded
from habitatmap.sentences import Sentence, apart, count, say
from habitatmap.vocabulary.columns import COLUMNS
from habitatmap.vocabulary.kinds import Kind

# the columns that say where a row is
PLACE_COLUMNS = ("position", "x", "y", "lat", "lon")

# columns that nothing is computed from: a formula that failed there costs its words, not the row
_WORDS_ONLY = {column.name for columns in COLUMNS.values() for column in columns if column.words_only}

# which columns a sheet must have at least one of, to be taken for a sheet of this kind beside others of its file; in a
# file of layers those are read that have shapes
_ESSENTIAL = {
    Kind.POOLS: {"pool", "x", "lon", "position"},
    Kind.VISITS: {"pool"},
    Kind.TREES: {"x", "lon", "position"},
    Kind.COMMITTED: {"x", "lon", "position", "address", "street"},
    Kind.CONSENT: {"id"},
    Kind.PLAN_STATUS: {"id"},
}

# tables whose rows may be known by their places
_BY_PLACE = {"x", "lon", "position"}
# the columns whose cells say one of a few words, and why a row with another is set aside
_FEW_VALUES = {column.name for columns in COLUMNS.values() for column in columns if column.values}
_OF_WORDS = (Why.ODD_OUTCOME, Why.CODED_OUTCOME, Why.EMPTY_OUTCOME, Why.MARKED_OUTCOME)
_OF_ORDER = (Why.DATE_UNDECIDED, Why.DATES_MIXED)

# in layers made from a map extract: which of its objects a row came from; nobody looks for it
OBJECT = "osm"
# why a row that is set aside holds no record: nothing is to be done, and no other file's row stands for it
_NO_RECORD = NOTHING_TO_DO - {Why.SAME_TREE}
# the columns by which people call the records of a kind
_NAMED = {
    Kind.POOLS: "pool",
    Kind.VISITS: "pool",
    Kind.LAND: "name",
    Kind.PATHS: "name",
    Kind.COMMITTED: "name",
}

# a value for each row of a table, by column
Columns = Mapping[str, Sequence[object]]


@dataclass
class Draft:
    """One table on its way to a checked frame."""

    kind: Kind
    table: Table
    headings: Headings
    ledger: Ledger
    reading: Reading  # the account of how the table was understood
    aside: dict[int, list[Fault]] = field(default_factory=dict)  # what is wrong with rows, by their position
    about: Sequence[str] = ()  # the name of each row's pool, once known
    shapes: Sequence[BaseGeometry | None] = ()  # each row's shape in the area's CRS (metres, 2-D, valid), once placed
    bounds: NDArray[np.float64] | None = None  # (rows, 4) metres of the area's CRS, NaN where a row has no place
    known: dict[Known, Sequence[bool]] = field(default_factory=dict)  # what is known of each row
    units: list[UnitRead] = field(default_factory=list)  # how columns of measures were read
    _cells: dict[str, list[object]] = field(default_factory=dict)  # columns taken out once, as they are asked for often

    # --- what the table says

    def has(self, name: str) -> bool:
        """Whether the table has our column `name`."""
        return name in self.headings.at

    def heading(self, name: str) -> str:
        """The file's own heading of our column `name`, "" where the table lacks it."""
        return self.headings.text.get(name, "")

    def cells(self, name: str) -> list[object]:
        """The cells of our column `name`; all None where the table lacks it."""
        if name not in self._cells:
            cells = self.table.column(self.headings.at.get(name))
            if said := self.table.taught.words.get(name):
                cells = [said.get(name_key(as_text(cell)), cell) or None for cell in cells]
            self._cells[name] = cells
        return self._cells[name]

    def texts(self, name: str) -> list[str]:
        """The cells of a column as text, "" where blank."""
        return as_texts(self.cells(name))

    def yes_or_no(self, name: str) -> list[str]:
        """yes, no or "" of each row; what says neither is remarked and counts as not given."""
        said = each_once(yes_no, self.cells(name))
        self.tell_unread(name, [word is None for word in said], Sentence("this counts as not given"))
        return [word or "" for word in said]

    def dates(self, name: str) -> list[datetime.date | None]:
        """The dates of a column, None where blank; rows with a date that cannot be read are set aside."""
        return [day for day, _ in self._dates(name)]

    def days_or_spans(self, name: str, south: Sequence[bool]) -> list[tuple[datetime.date | None, Span | None]]:
        """The days of a column, and what each leaves open: a month or a season is no day, but says one's bounds.

        south: of which rows the seasons are those of the south.
        """
        return self._dates(name, south)

    def _dates(self, name: str, south: Sequence[bool] | None = None) -> list[tuple[datetime.date | None, Span | None]]:
        cells = self.cells(name)
        when = when_of(self._sayings())
        years = (
            [span.first.year if (span := read_span(cell)) else None for cell in self.cells("year")]
            if self.has("year")
            else []
        )
        whole, number = completed(cells, years, when)
        if number:
            column = say("the column {heading}", heading=self.heading("year"))
            by = column if any(years) or when is None else when.said_by
            told = "{dates} under {heading} without a year, which is taken from {source}"
            self.remark(say(told, dates=count(number, "date"), heading=self.heading(name), source=by))
        found: list[tuple[datetime.date | None, Span | None]] = []
        heading = f"{self.heading(name)} {self.table.taught.units.get(name, '')}"
        whole_days: dict[datetime.date | None, tuple[datetime.date | None, Span | None]] = {None: (None, None)}
        for at, read in enumerate(read_dates(whole, heading, self.table.day_zero, self._other_dates(name))):
            if not isinstance(read, Why):
                if read is not None and read not in whole_days:
                    whole_days[read] = read, Span(read, read)
                found.append(whole_days[read])
                continue
            span = None
            if south is not None:
                span = read_span(cells[at], south=south[at])
                span = span or (read_span(f"{as_text(cells[at])} {when.year}", south=south[at]) if when else None)
            if span is None:
                self.refuse(at, name, cells[at], read)
            found.append((None, span))
        self.sample(
            name, [day or (span and say("{low} to {high}", low=span.first, high=span.last)) for day, span in found]
        )
        return found

    def _other_dates(self, name: str) -> list[object]:
        """The cells of the table's other columns of dates, which are written by the same hand."""
        return [cell for other in ("date", "set_out", "removed") if other != name for cell in self.cells(other)]

    def _sayings(self) -> list[tuple[str, Sentence]]:
        """What may say the year of a table's dates: the lines above its headings, its sheet, its file."""
        titles = [(text, say('the line "{line}"', line=text[:40])) for line in self.table.title for text in line]
        sheet, file = self.table.sheet, self.table.file
        by_sheet = say("the name of the sheet {sheet}", sheet=sheet)
        return [*titles, (sheet, by_sheet), (file, say("the name of the file {file}", file=file))]

    def row_of(self, at: int) -> str:
        """The number of a row, with its file where that is a correction file."""
        file, row = self.table.corrected_in.get(at), str(self.table.numbers[at])
        return say("{row} of {file}", row=row, file=file) if file else row

    def words(self, at: int) -> str:
        """All that a row says."""
        return "; ".join(as_text(cell) for cell in self.table.rows[at] if cell is not None)

    def shown(self, at: int) -> str:
        """What a row says, but for who hosts or owns and how to reach them: the list of rows set aside is handed on."""
        hidden = {self.headings.at.get(name) for name in CONTACTS}
        hidden |= {i for i, heading in enumerate(self.table.headings) if fold(heading) in REACH}
        row = enumerate(self.table.rows[at])
        return "; ".join(as_text(cell) for i, cell in row if cell is not None and i not in hidden)

    def left_over(self, at: int) -> tuple[tuple[str, str], ...]:
        """What a row says in columns that nobody reads: two rows that differ there are not the same."""
        used = set(self.headings.at.values())
        row = self.table.rows[at]
        return tuple(
            (h, as_text(c))
            for i, (h, c) in enumerate(zip(self.table.headings, row, strict=True))
            if i not in used and c is not None
        )

    # --- what becomes of its rows

    def refuse(self, at: int, name: str, value: object, why: Reason) -> None:
        """Sets a row aside. `name`: our name of the column, shown by the file's own heading.

        A row with several faults has them all told, one for each column; one that is no record has no other.
        """
        if why.code in _OF_WORDS:
            self.ledger.ask_word(self.table.file_of(at), name, as_text(value), self.table.numbers[at])
        elif why.code in _OF_ORDER:
            self.ledger.ask_unit(self.table.file, name)
        faults = self.aside.setdefault(at, [])
        heading = self.headings.text.get(name, name)
        if self.table.from_headings and name in ("date", "outcome", "larvae"):
            heading = self.table.from_headings[at]
        fault = Fault(heading, value, why)
        if at in self.table.odd and faults:
            return
        if all(told.column != fault.column if fault.column else told.why.code is not why.code for told in faults):
            faults.append(fault)

    @property
    def kept(self) -> list[int]:
        """The positions of the rows that are not set aside."""
        every = range(len(self.table))
        return [at for at in every if at not in self.aside] if self.aside else list(every)

    def frame(self, columns: Columns) -> pd.DataFrame:
        """The rows that are kept, with these columns (a value for each row of the table), their file and row."""
        kept = np.asarray(self.kept, dtype=np.int64)
        every = range(len(self.table))
        frame = pd.DataFrame({name: pd.Series(list(values)) for name, values in columns.items()}, index=every)
        frame = frame.iloc[kept] if self.aside else frame
        files = [self.table.file_of(at) for at in kept.tolist()] if self.table.corrected_in else self.table.file
        return frame.assign(file=files, row=np.asarray(self.table.numbers, dtype="int64")[kept])

    def holding(self) -> Holding:
        """What the table holds, by its rows that are records: headings again, totals, repeats and the like are none."""
        none = {at for at in self.aside if self._is_no_record(at)}
        record = [at for at in range(len(self.table)) if at not in none]
        bounds = np.full((len(self.table), 4), np.nan) if self.bounds is None else self.bounds
        placed = np.asarray(np.isfinite(bounds).all(axis=1), dtype=bool)
        known = {what: sum(bool(told[at]) for at in record) for what, told in self.known.items()}
        if self.kind in _NAMED:
            names = self.texts(_NAMED[self.kind])
            known[Known.NAME] = sum(names[at] != "" for at in record)
        if self.bounds is not None:
            known = {Known.PLACE: int(placed[record].sum()), **known}
        at_places = bounds[[at for at in record if placed[at]]]
        table, units, left = self.table, tuple(self.units), tuple(self.not_read)
        return Holding(self.kind, table.file, table.name, len(record), len(self.kept), known, at_places, units, left)

    @property
    def not_read(self) -> list[str]:
        """The headings of columns that nothing is read from."""
        return [heading for heading in self.headings.unmatched if heading != OBJECT]

    def _is_no_record(self, at: int) -> bool:
        return at in self.aside and self.aside[at][0].why.code in _NO_RECORD

    # --- what is told of it

    def remark(self, told: Sentence) -> None:
        """Something about this table that somebody should look at."""
        self.ledger.remark(say("{file}: {told}", file=self.table.name, told=told))

    def tell(self, told: Sentence) -> None:
        """How something of this table was understood, where nothing seems wrong."""
        self.ledger.tell(say("{file}: {told}", file=self.table.name, told=told))

    def sample(self, name: str, meanings: Sequence[object]) -> None:
        """Shows in the account what the first cells of a column were understood as; None is no understanding."""
        if self.has(name):
            self.reading.sample(self.heading(name), self.cells(name), meanings)

    def tell_unread(self, name: str, unread: Sequence[bool], so: Sentence) -> None:
        """Remarks on cells of a column that say something nobody understands, in rows that are used all the same."""
        cells = self.cells(name)
        lost = [at for at, (bad, cell) in enumerate(zip(unread, cells, strict=True)) if bad and cell is not None]
        if name in _FEW_VALUES:
            for at in lost:
                self.ledger.ask_word(self.table.file_of(at), name, as_text(cells[at]), self.table.numbers[at])
        if lost:
            told = '{cells} of {heading} cannot be read (row {row}: "{word}"); {so}'
            word, row = as_text(cells[lost[0]])[:40], self.row_of(lost[0])
            n = count(len(lost), "cell")
            self.remark(say(told, cells=n, heading=self.heading(name), row=row, word=word, so=so))


# --- opening ---------------------------------------------------------------------------------------------------------


def sort_kinds(tables: Mapping[Kind, Sequence[Table]], stated: Stated) -> dict[Kind, list[Table]]:
    """Tables by kind: a list of visits in the file of the pools goes to the visits, and the other way round."""
    tables = unfolded(tables, stated)
    found = {kind: list(given) for kind, given in tables.items()}
    for kind, other in ((Kind.POOLS, Kind.VISITS), (Kind.VISITS, Kind.POOLS)):
        for table in tables.get(kind, ()):
            several = sum(t.file == table.file for t in tables[kind]) > 1
            if several and _may_be(other, table, stated) and not _may_be(kind, table, stated):
                found[kind] = [t for t in found[kind] if t is not table]
                told = replace(
                    table, notes=(*table.notes, say("read as {kind}, by its headings", kind=Sentence(other)))
                )
                found.setdefault(other, []).append(told)
    return found


def _may_be(kind: Kind, table: Table, stated: Stated) -> bool:
    heads = match_table(kind, table.headings, stated.columns.get(kind, {}), table.taught.headings)
    at = with_place_by_content(table, heads).at.keys()
    if kind == Kind.VISITS:
        return {"pool", "date"} <= at
    return table.geometry is not None or bool(at & {"x", "lon", "position", "address", "street"})


def _as_matched(table: Table, heads: Headings) -> Headings:
    return heads


def open_drafts(
    kind: Kind,
    tables: Sequence[Table],
    stated: Stated,
    ledger: Ledger,
    by_content: Callable[[Table, Headings], Headings] = _as_matched,
) -> list[Draft]:
    """Matches headings, says what was matched, and sets odd rows aside. InputError for a stated heading nobody has.

    by_content: finds columns by what stands in them, where no heading told them.
    """
    # name and kind are headed alike in every layer, so layers without headings of their own are matched as land
    own = kind in ALIASES
    overrides = stated.columns.get(kind, {}) if own else {}
    as_kind = kind if own else Kind.LAND
    matched = [(table, match_table(as_kind, table.headings, overrides, table.taught.headings)) for table in tables]
    if _ESSENTIAL.get(kind, set()) >= _BY_PLACE:
        matched = [(table, with_place_by_content(table, heads)) for table, heads in matched]
    for name in sorted({name for _, heads in matched for name in heads.unused}):
        if all(name in heads.unused for _, heads in matched):
            raise InputError(
                f'area.toml: [columns.{kind}] says that {name} stands under "{overrides.get(name, name)}", but '
                f"{tables[0].name} has only: {', '.join(h for h in tables[0].headings if h)}"
            )
    essential = _ESSENTIAL.get(kind, set())
    fits = [table.geometry is not None or bool(essential & heads.at.keys()) for table, heads in matched]
    files = {table.file for table, fit in zip(tables, fits, strict=True) if fit}
    drafts = []
    for (table, heads), fit in zip(matched, fits, strict=True):
        if not fit and table.file in files:
            if essential:  # the styles that GIS programs keep beside layers are nothing anybody looks for
                told = Why.NO_HEADING_KNOWN.of(
                    kind=Sentence(kind),
                    rows=count(len(table), "row"),
                    headings=some([h for h in table.headings if h], ", "),
                )
                ledger.unused.append(Unused(table.file, table.sheet, told if len(table) else Why.EMPTY_SHEET, table))
            continue
        heads = by_content(table, heads)
        if own:
            _tell_headings(kind, table, heads, ledger)
        ledger.read_table(kind, table)
        draft = Draft(kind, table, heads, ledger, ledger.understood(kind, table, heads))
        for at, odd in table.odd.items():
            draft.refuse(at, "", draft.shown(at), odd)
        _refuse_failed(draft, _WORDS_ONLY if essential else heads.at.keys() - PLACE_COLUMNS)
        drafts.append(draft)
    return drafts


def _refuse_failed(draft: Draft, dispensable: set[str]) -> None:
    """Sets rows aside that lack a value because a formula failed; in a dispensable column they go without it."""
    ours = {column: name for name, column in draft.headings.at.items()}
    lost: list[int] = []
    for (at, column), cell in draft.table.failed.items():
        name = ours.get(column)
        if name in dispensable:
            lost.append(draft.table.numbers[at])
        elif name is not None:
            draft.refuse(at, name, cell, cell.why)
    if lost:
        told = "{cells} left out, as the formula has no result (the first in row {row})"
        draft.remark(say(told, cells=count(len(lost), "cell"), row=str(lost[0])))


def _tell_headings(kind: Kind, table: Table, heads: Headings, ledger: Ledger) -> None:
    notes = apart([*table.notes, *table.left_out])
    named = say("{table} ({notes})", table=table.name, notes=notes) if notes else table.name
    ledger.tell(say("{file}: {told}", file=named, told=heads.describe()))
    for name, used, other in heads.doubles:
        told = (
            "{file}: {used} and {other} could both be {name}; {used} is used. To choose, write "
            '[columns.{kind}] {name} = "..." in area.toml'
        )
        if used == other:
            told = (
                "{file}: two columns are headed {used}, and the first is read as {name}; give the other another "
                "heading, or delete it"
            )
        ledger.remark(say(told, file=table.name, used=used, other=other, name=name, kind=str(kind)))


def cell_aside(entry: SetAside, kind: Kind, name: str, stated: Stated) -> str:
    """What a row set aside says in our column `name`, "" where it is blank or missing, or the row is not at hand."""
    if entry.table is None:
        return ""
    table = entry.table
    at = match_table(kind, table.headings, stated.columns.get(kind, {}), table.taught.headings).at.get(name)
    return as_text(table.column(at)[entry.at])


# --- leaving ---------------------------------------------------------------------------------------------------------


def gather(drafts: Sequence[Draft], columns: Sequence[Columns]) -> pd.DataFrame:
    """One frame of all rows that are kept, with `_draft` and `_at` to find them again."""
    parts = [draft.frame(values) for draft, values in zip(drafts, columns, strict=True)]
    parts = [part.assign(_draft=number, _at=part.index) for number, part in enumerate(parts)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["file", "row", "_draft", "_at"])


def set_repeats_aside(frame: pd.DataFrame, drafts: Sequence[Draft]) -> pd.DataFrame:
    """Sets rows aside that repeat an earlier one, and gives the others.

    In one table a repeat has the same cells and shape; in another table, whose headings and words may differ, it
    says the same in every column, read or not.
    """
    alike = [_of_one_type_each(draft.table) for draft in drafts]
    seen: dict[Hashable, tuple[int, int]] = {}
    keep = np.ones(len(frame), dtype=bool)
    said = [c for c in frame.columns if c not in ("file", "row", "_draft", "_at")]
    several = len(drafts) > 1
    meanings = list(zip(*([None if v != v else v for v in frame[c].tolist()] for c in said if several), strict=True))
    places = zip(frame["_draft"].tolist(), frame["_at"].tolist(), strict=True)
    for i, (number, at) in enumerate(places):
        draft = drafts[number]
        shape = draft.table.geometry[at] if draft.table.geometry is not None else None
        row = draft.table.rows[at]
        cells = row if alike[number] else tuple(map(as_text, row))
        first = seen.setdefault((number, cells, shape), (number, at))
        if first == (number, at):
            if several:
                first = seen.setdefault(("any table", *meanings[i], *draft.left_over(at)), (number, at))
            if first[0] == number:
                continue
        table = drafts[first[0]].table
        file = table.file_of(first[1])
        of = Sentence("") if file == draft.table.file_of(at) else say(" of {file}", file=file)
        draft.refuse(at, "", draft.shown(at), Why.REPEAT.of(row=table.numbers[first[1]], of=of))
        keep[i] = False
    return frame[keep]


def _of_one_type_each(table: Table) -> bool:
    """Whether the cells of each column are of one type, so that two are alike where they say the same: 1, 1.0 and True
    are one to a dict, and 1 and "1" are one in words."""
    return all(len({*map(type, column)} - {NoneType}) <= 1 for column in zip(*table.rows, strict=True))


def close(drafts: Sequence[Draft]) -> None:
    """Writes what was set aside and what was accepted into the ledger."""
    for draft in drafts:
        order = {heading: i for i, heading in enumerate(draft.headings.text.values())}
        for at in sorted(draft.aside):
            # in the order of our columns: whose record it is counts before what it says
            fault, *more = sorted(draft.aside[at], key=lambda told: order.get(told.column, -1))
            about = draft.about[at] if draft.about else ""
            draft.ledger.set_row_aside(draft.kind, draft.table, at, fault, about, more)
        draft.ledger.accept_rows(draft.kind, draft.table, draft.kept)
        draft.ledger.holdings.append(draft.holding())


def shaped(frame: pd.DataFrame, types: Mapping[str, str], order: Sequence[str] = ()) -> pd.DataFrame:
    """Columns of these types, in this order, rows sorted by `order`, numbered from 0."""
    if frame.empty:
        return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in types.items()})
    out = pd.DataFrame({name: frame[name].astype(pd.api.types.pandas_dtype(kind)) for name, kind in types.items()})
    return out.sort_values(list(order), kind="stable", ignore_index=True) if order else out


def layer(drafts: Sequence[Draft], columns: Sequence[Columns], types: Mapping[str, str], crs: CRS) -> gpd.GeoDataFrame:
    """One frame of the rows that are kept and their shapes, in the order of tables and rows, in columns of `types`."""
    if not drafts:
        return _no_rows(tuple(types.items()), crs).copy()
    shapes = [draft.shapes[at] for draft in drafts for at in draft.kept]
    return _with_shapes(shaped(gather(drafts, columns), types), shapes, crs)


@lru_cache
def _no_rows(types: tuple[tuple[str, str], ...], crs: CRS) -> gpd.GeoDataFrame:
    """Made once: most areas lack most layers, and a frame of many typed columns takes 15 ms."""
    return _with_shapes(shaped(pd.DataFrame(), dict(types)), [], crs)


def _with_shapes(rows: pd.DataFrame, shapes: Sequence[BaseGeometry], crs: CRS) -> gpd.GeoDataFrame:
    frame = gpd.GeoDataFrame(rows, geometry=list(shapes), crs=crs)
    own = [name for name in rows if name not in ("file", "row")]
    return frame[[*own, "geometry", *(name for name in rows if name not in own)]]
