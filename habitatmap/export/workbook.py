"""results.xlsx: what a run found, for people with a spreadsheet program.

Numbers are numbers, rounded to what people need, with their units in the headings; days are days, words are words. No
cell holds a formula or a link, whatever a record says. The csv files hold the same at full precision.
"""

from __future__ import annotations

import datetime
import io
import logging
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from habitatmap.export.formats import plain, visible
from habitatmap.read.formats.cells import guard
from habitatmap.result import Result
from habitatmap.vocabulary.results import TABLES, UNITS, Meaning, Unit, meaning, meanings
from habitatmap.words.figures import told_figures

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

log = logging.getLogger("habitatmap")

# the sheets of tables, in their order; each has the name of a layer and of a csv file
SHEETS = {
    "plan": "plan",
    "pools": "pools",
    "places": "places",
    "consent": "ask_first",
    "gaps": "gaps",
    "set aside": "set_aside",
}
MOST_ROWS = 20_000  # nobody reads more, and a spreadsheet program takes long to open them
LONGEST_CELL = 32_767  # a cell of the format holds no more
CREATED = datetime.datetime(2000, 1, 1)  # the same bytes each time
NARROW, WIDE = 9, 70  # columns, in characters
LINE, TALLEST = 15, 400  # rows, in points
DAY = "yyyy-mm-dd"
FIGURES = ("Figure", "Value", "Low (95 %)", "High (95 %)", "Unit", "What it means")
DICTIONARY = ("Sheet", "Heading", "Column in the csv file", "Unit there", "What stands in it")


class _Cell(NamedTuple):
    value: str | float | datetime.date | None
    unit: Unit | None = None

    @property
    def shown(self) -> str:
        """About what a reader sees of it."""
        return "" if self.value is None else str(self.value)


def workbook_bytes(result: Result, tables: dict[str, pd.DataFrame], most_rows: int = MOST_ROWS) -> bytes:
    """The workbook; `tables` are those of `told_tables`. Same result, same bytes.

    A table of more than `most_rows` rows ends with a word on how many the csv file has besides, which is logged too.
    """
    from xlsxwriter import Workbook

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with Workbook(out, options) as workbook:
        workbook.set_properties({"title": visible(result.title)[:255], "created": CREATED})
        book = _Book(workbook)
        for sheet, table in SHEETS.items():
            frame = tables[table].drop(columns="geometry", errors="ignore")
            columns = [meaning(table, str(name)) for name in frame.columns]
            shown = frame if len(frame) <= most_rows else _first(frame, most_rows - 1)
            rows = [[_cell(v, c) for v, c in zip(row, columns, strict=True)] for row in _rows(shown)]
            if left := len(frame) - len(shown):
                told = f"{left:,} more rows are not in this sheet; {table}.csv has all {len(frame):,}."
                log.warning("results.xlsx, sheet %s: %s", sheet, told)
                rows.append([_Cell(told), *[_Cell(None)] * (len(columns) - 1)])
            book.sheet(sheet, [column.heading for column in columns], rows)
        book.sheet("figures", FIGURES, _figures(result))
        book.sheet("data dictionary", DICTIONARY, _dictionary())
    return out.getvalue()


def _first(frame: pd.DataFrame, most: int) -> pd.DataFrame:
    """So many rows, in their order: of places those with suggestions and pools come before the others."""
    if "suggestions" in frame:
        counted = np.lexsort((np.arange(len(frame)), -frame["pools"], -frame["suggestions"]))
        return frame.iloc[np.sort(counted[:most])]
    return frame.head(most)


def _rows(frame: pd.DataFrame) -> Iterable[tuple[object, ...]]:
    return zip(*(frame[name].tolist() for name in frame.columns), strict=True)


def _cell(value: object, column: Meaning) -> _Cell:
    told = plain(value)
    if told is None or told == "":
        return _Cell(None)
    if column.is_date:
        return _Cell(datetime.date.fromisoformat(str(told)))
    if isinstance(told, bool):
        return _Cell("yes" if told else "no")
    if isinstance(told, int | float):
        return _Cell(round(told, column.unit.digits) if column.unit else told, column.unit)
    return _Cell(str(told))


def _figures(result: Result) -> Iterable[list[_Cell]]:
    for told in told_figures(result):
        about = Meaning("", "", told.unit)
        numbers = [_cell(value, about) for value in (told.value, told.low, told.high)]
        if isinstance(told.value, datetime.date):
            numbers[0] = _Cell(told.value)
        yield [_Cell(told.name), *numbers, _Cell((told.unit and told.unit.name) or None), _Cell(told.help)]


def _dictionary() -> Iterable[list[_Cell]]:
    for sheet, table in SHEETS.items():
        yield [_Cell(sheet), _Cell(TABLES[table].title), _Cell(None), _Cell(None), _Cell(TABLES[table].about)]
        for name, one in meanings(table).items():
            yield [_Cell(sheet), _Cell(one.heading), _Cell(name), _Cell(one.unit_name or "words"), _Cell(one.help)]


# --- writing ----------------------------------------------------------------------------------------------------------


class _Book:
    """The workbook in the making, with the looks of its cells, each made once."""

    def __init__(self, book: Workbook) -> None:
        font = {"font_name": "Calibri", "font_size": 11, "valign": "top"}
        head = {"bold": True, "font_color": "#ffffff", "bg_color": "#0b5c6b", "text_wrap": True, "border": 1}
        patterns = [*dict.fromkeys(unit.pattern for unit in UNITS), DAY]
        self.book = book
        self.heading = book.add_format(font | head)
        self.words = book.add_format(font | {"text_wrap": True})
        # text that a program would take for a formula once somebody edits it
        self.guarded = book.add_format(font | {"text_wrap": True, "quote_prefix": True})
        self.numbers = {pattern: book.add_format(font | {"num_format": pattern}) for pattern in patterns}

    def sheet(self, name: str, heads: Sequence[str], rows: Iterable[Sequence[_Cell]]) -> None:
        """One table: headings that stay in sight, a filter, each column as wide as what it holds."""
        sheet = self.book.add_worksheet(name)
        sheet.freeze_panes(1, 1)
        sheet.set_landscape()
        sheet.repeat_rows(0)
        sheet.fit_to_pages(1, 0)
        filled = list(rows)
        seen = [[cell.shown for cell in row] for row in filled]
        columns = zip(*seen, strict=True) if filled else [[]] * len(heads)
        widths = [
            max(NARROW, *(len(word) + 2 for word in head.split()), *(min(WIDE, len(text) + 2) for text in texts))
            for head, texts in zip(heads, columns, strict=True)
        ]
        for at, (head, width) in enumerate(zip(heads, widths, strict=True)):
            sheet.set_column(at, at, width)
            sheet.write_string(0, at, head, self.heading)
        sheet.set_row(0, _height(heads, widths))
        for at, (row, texts) in enumerate(zip(filled, seen, strict=True), 1):
            sheet.set_row(at, _height(texts, widths))
            for column, cell in enumerate(row):
                self._write(sheet, at, column, cell)
        sheet.autofilter(0, 0, len(filled), len(heads) - 1)

    def _write(self, sheet: Worksheet, row: int, column: int, cell: _Cell) -> None:
        value, unit = cell
        if isinstance(value, str):
            look = self.words if guard(value) == value else self.guarded
            sheet.write_string(row, column, _lines(value)[:LONGEST_CELL], look)
        elif isinstance(value, datetime.date):
            sheet.write_datetime(row, column, value, self.numbers[DAY])
        elif value is not None:
            sheet.write_number(row, column, value, self.numbers[unit.pattern if unit else "General"])


def _lines(text: str) -> str:
    """The text as a cell shows it: lines end as the format has them."""
    return visible(text).replace("\r\n", "\n").replace("\r", "\n")


def _height(texts: Sequence[str], widths: Sequence[int]) -> float:
    """Points that the longest of the texts takes, wrapped to its column; programs don't all find that out."""
    pairs = zip(texts, widths, strict=True)
    lines = (1 if len(text) < width else math.ceil(1.15 * len(text) / width) for text, width in pairs)
    return min(TALLEST, LINE * max(1, *lines))
