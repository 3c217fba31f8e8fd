"""Workbooks as tables: every visible sheet, with what its cells hide from a reader of values."""

from __future__ import annotations

import datetime
import re
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

import python_calamine

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.formats.archive import refuse_trap
from habitatmap.read.formats.assemble import tables_of
from habitatmap.read.formats.cells import ERRORS, NOT_COMPUTED, Failed, clean
from habitatmap.read.formats.lines import Record
from habitatmap.read.formats.table import DAY_ZERO, DAY_ZERO_1904, Table
from habitatmap.read.templates import is_no_data
from habitatmap.sentences import Sentence, say

# one lost cell far to the right and far down makes a sheet of so many; a million rows of 24 columns are fine
MOST_CELLS = 25_000_000
MOST_COLUMNS = 2_000


@dataclass
class _Sheet:
    """What a sheet's XML tells besides values: how far it reaches, and its failed cells by row and column from 0."""

    rows: int = 0
    columns: int = 0
    failed: dict[tuple[int, int], Failed] = field(default_factory=dict)

    def reach(self, row: int, column: int) -> None:
        """The sheet goes at least as far as this row and column, counted from 1."""
        self.rows, self.columns = max(self.rows, row), max(self.columns, column)


def read_workbook(path: Path, file: str, stated: frozenset[str]) -> list[Table]:
    """The tables of all visible sheets. `file`: how to name the workbook. InputError where it cannot be read."""
    damaged = InputError(
        f"{file} cannot be opened as a workbook; open it in a spreadsheet program and save it again as xlsx"
    )
    try:
        sheets, day_zero = _look_inside(path, file)
        book = python_calamine.CalamineWorkbook.from_path(str(path))
    except python_calamine.PasswordError as error:
        raise InputError(f"{file} is protected by a password; save it without one") from error
    except (python_calamine.CalamineError, OSError, ValueError, KeyError, *_BROKEN) as error:
        with path.open("rb") as start:
            if start.read(200).lstrip().lower().startswith((b"<html", b"<!doctype", b"<?xml", b"<table")):
                raise InputError(f"{file} is a web page with the name of a workbook; save it as xlsx") from error
        raise damaged from error
    tables: list[Table] = []
    no_table: InputError | None = None
    unused: list[Table] = []
    with book:
        for about in book.sheets_metadata:
            if about.visible != python_calamine.SheetVisibleEnum.Visible:
                unused.append(_unused(file, about.name, Why.HIDDEN_SHEET))
                continue
            if about.typ != python_calamine.SheetTypeEnum.WorkSheet:
                continue
            inside = sheets.get(about.name, _Sheet())
            _refuse_sprawl(inside, f"{file}, sheet {about.name}")
            try:
                sheet = book.get_sheet_by_name(about.name)
                records = _records(sheet, inside.failed)
            except (python_calamine.CalamineError, ValueError) as error:
                raise damaged from error
            notes = [say("sheet {sheet}", sheet=about.name), *_fill_merged(sheet, records)]
            try:
                found = tables_of(file, records, stated, notes, sheet=about.name, ragged=False)
            except InputError as error:
                no_table = no_table or error
                unused.append(_unused(file, about.name, Why.NO_HEADINGS))
                continue
            tables += found
            if not found:
                said = any(is_no_data(cells) for _, cells in records[:1])
                unused.append(_unused(file, about.name, Why.NO_RECORDS_SAID if said else Why.EMPTY_SHEET))
    if not tables:
        if no_table is not None:
            raise no_table
        hidden = [table.sheet for table in unused if table.unused is Why.HIDDEN_SHEET]
        told = f" (hidden: {', '.join(hidden)})" if hidden else ""
        raise InputError(f"{file} has no filled sheet{told}; put a table with a row of headings there")
    # the name of the only sheet tells nobody anything
    only = len({table.sheet for table in tables}) == 1
    if only:
        tables = [replace(table, sheet="", title=(*table.title, (table.sheet,))) for table in tables]
    return [replace(table, day_zero=day_zero) for table in tables] + unused


def _unused(file: str, sheet: str, why: Why) -> Table:
    return Table(file, (), (), (), sheet=sheet, unused=why)


def _records(sheet: python_calamine.CalamineSheet, failed: Mapping[tuple[int, int], Failed]) -> list[Record]:
    """The rows of a sheet that hold anything, numbered as the sheet shows them, from its first column on."""
    # the library leaves out the empty columns on the left, but not the empty rows above
    left: list[object] = [""] * (sheet.start[1] if sheet.start else 0)
    blank = [""] * sheet.width
    rows: dict[int, list[object]] = {at: left + row for at, row in enumerate(sheet.iter_rows()) if row != blank}
    for (at, column), cell in failed.items():
        row = rows.setdefault(at, [])
        row += [""] * (column + 1 - len(row))
        row[column] = cell
    return [(at + 1, [clean(c) for c in rows[at]]) for at in sorted(rows)]


def _fill_merged(sheet: python_calamine.CalamineSheet, records: Sequence[Record]) -> list[Sentence]:
    """Writes the value of cells merged downwards into each of their rows, as a person reads them."""
    filled = 0
    rows = {number - 1: cells for number, cells in records}
    for (top, left), (bottom, _right) in sheet.merged_cell_ranges or []:
        value = rows[top][left] if top in rows and left < len(rows[top]) else None
        if top == bottom or value is None:
            continue
        for at in range(top + 1, min(bottom, max(rows)) + 1):
            # a row with nothing of its own is no record
            if at in rows and left < len(rows[at]):
                rows[at][left] = value
                filled += 1
    told = "merged cells were read in each of their rows ({n} filled in)"
    return [say(told, n=filled)] if filled else []


def _refuse_sprawl(sheet: _Sheet, name: str) -> None:
    if sheet.columns > MOST_COLUMNS or sheet.rows * sheet.columns > MOST_CELLS:
        raise InputError(
            f"{name} has cells as far as row {sheet.rows} and column {sheet.columns}, more than a table may have "
            f"({MOST_COLUMNS} columns, {MOST_CELLS:,} cells); delete the lost cells right of the table and below it"
        )


# --- what the values do not tell ------------------------------------------------------------------------------------

# what the readers of zip and XML raise where a workbook is damaged
_BROKEN = (zipfile.BadZipFile, zlib.error, ElementTree.ParseError, RuntimeError, EOFError)


def _look_inside(path: Path, file: str) -> tuple[dict[str, _Sheet], datetime.date]:
    """The sheets of a workbook by name, and what its day 0 is; nothing is known of an old xls."""
    if not zipfile.is_zipfile(path):
        return {}, DAY_ZERO
    with zipfile.ZipFile(path) as parts:
        refuse_trap(parts, file)
        if damaged := parts.testzip():
            raise zipfile.BadZipFile(damaged)
        names = set(parts.namelist())
        if "content.xml" in names:
            with parts.open("content.xml") as content:
                return _look_inside_ods(content), DAY_ZERO
        if "xl/workbook.xml" not in names:
            return {}, DAY_ZERO
        book = ElementTree.fromstring(parts.read("xl/workbook.xml"))
        links = ElementTree.fromstring(parts.read("xl/_rels/workbook.xml.rels"))
        targets = {link.get("Id"): link.get("Target", "") for link in links}
        settings = {key: value for part in book for key, value in part.attrib.items()}
        # such a workbook was written by a program that left the computing to the next one that opens it
        computed = settings.get("fullCalcOnLoad") not in ("1", "true")
        sheets = {}
        for sheet in book.iterfind(".//{*}sheet"):
            target = targets.get(next((v for k, v in sheet.items() if k.endswith("}id")), None), "")
            part = target.removeprefix("/") if target.startswith("/") else f"xl/{target}"
            if part in names:
                sheets[sheet.get("name", "")] = _look_inside_sheet(parts.read(part), computed)
        return sheets, DAY_ZERO_1904 if settings.get("date1904") in ("1", "true") else DAY_ZERO


# what a cell's tag holds is short; a bound keeps the search for its end short too, whatever the file holds
_FILLED = re.compile(rb'<(?:\w+:)?c\s(?:[^<>]{0,200}?\s)?r="([A-Z]{1,3})(\d{1,7})"[^<>]{0,200}(?<!/)>')
_CELL = re.compile(rb"<(?:\w+:)?c\s")
_FORMULA = re.compile(rb"\s*<(?:\w+:)?f[\s/>]")
_PLACE = re.compile(rb'\br="([A-Z]{1,3})(\d{1,7})"')
_VALUE = re.compile(rb"<(?:\w+:)?v[^<>]{0,200}>([^<]+)<")


def _look_inside_sheet(xml: bytes, computed: bool) -> _Sheet:
    """An xlsx sheet. Patterns instead of a parser: they take a tenth of the time, and only places are looked for.

    computed: whether the stored results of formulas can be trusted.
    """
    sheet = _Sheet()
    filled = [match.groups() for match in _FILLED.finditer(xml)]
    columns = {letters for letters, _ in filled}
    sheet.reach(max((int(row) for _, row in filled), default=0), max(map(_column, columns), default=0))
    if b't="e"' not in xml and not re.search(rb"<(?:\w+:)?f[\s/>]", xml):
        return sheet
    for cell in _CELL.split(xml)[1:]:
        attributes, _, content = cell.partition(b">")
        place = _PLACE.search(attributes)
        error, formula = b't="e"' in attributes, _FORMULA.match(content)
        if place is None or not (error or formula):
            continue
        value = _VALUE.search(content)
        at = int(place[2]) - 1, _column(place[1]) - 1
        if error:
            sheet.failed[at] = Failed(value[1].decode("utf-8", "replace") if value else "#N/A", Why.FORMULA_ERROR)
        # a formula whose result is the empty text has a type, but no value either
        elif not (computed and (value or b't="str"' in attributes)):
            sheet.failed[at] = NOT_COMPUTED
    return sheet


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"


def _look_inside_ods(content: IO[bytes]) -> dict[str, _Sheet]:
    """The sheets of an ods; a cell or row there may stand for many."""
    sheets: dict[str, _Sheet] = {}
    sheet, row = _Sheet(), 0
    for event, element in ElementTree.iterparse(content, events=("start", "end")):
        if event == "start" and element.tag == f"{_TABLE}table":
            sheet, row = sheets.setdefault(element.get(f"{_TABLE}name", ""), _Sheet()), 0
        elif event == "end" and element.tag == f"{_TABLE}table-row":
            times, column = int(element.get(f"{_TABLE}number-rows-repeated", 1)), 0
            for cell in element:
                span = int(cell.get(f"{_TABLE}number-columns-repeated", 1))
                formula, kind = cell.get(f"{_TABLE}formula"), cell.get(f"{_OFFICE}value-type")
                if formula or kind:
                    text = "".join(cell.itertext()).strip()
                    sheet.reach(row + times, column + span)
                    if text in ERRORS or (formula and not kind):
                        sheet.failed[row, column] = Failed(text, Why.FORMULA_ERROR) if text in ERRORS else NOT_COMPUTED
                column += span
            row += times
            element.clear()
    return sheets
