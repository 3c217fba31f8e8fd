"""Corrected copies of an area's tables: what people have corrected and said, written into the tables themselves.

A copy has the headings, columns and rows of its original. Corrected rows stand in the place of theirs, words and names
that readings.xlsx explains are ours, days whose order it states are year-month-day, and rows that are no records are
left out. In the place of the originals the copies read as those do with all corrections.
"""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath

from habitatmap.errors.why import Why
from habitatmap.read.corrected_rows import Placed, State, key_of
from habitatmap.read.dates import read_dates
from habitatmap.read.files import SHEET_SUFFIXES
from habitatmap.read.formats.cells import as_text, guard
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import ALIASES, match_table
from habitatmap.read.intake import Intake
from habitatmap.read.templates import CREATED
from habitatmap.read.values import name_key, name_of, today_called
from habitatmap.vocabulary.kinds import TABLES, Kind

# rows that hold no record, and are in no copy
_NO_RECORD = (Why.HEADING_AGAIN, Why.TOTAL_ROW, Why.NO_RECORD)


def corrected_copies(intake: Intake, corrections: Sequence[Placed]) -> dict[str, bytes]:
    """The copies by the name of the file; a file with shapes of its own has none, as its rows are cells of a layer.

    corrections: what became of the correction files, as the ledger has it.
    """
    used = {(*one.original[0], one.at): one.cells for one in corrections if one.state is State.USED and one.cells}
    files: dict[str, list[tuple[str, list[list[object]], str]]] = {}
    for kind in TABLES:
        for table in intake.tables.get(kind, ()):
            if table.geometry is None:
                rows = _rows(kind, table, intake.stated, used)
                files.setdefault(table.file, []).append((table.sheet or str(kind), rows, table.delimiter or ","))
    return {_name(file): _content(file, tables) for file, tables in files.items()}


def _name(file: str) -> str:
    return str(PurePosixPath(file).with_suffix(_suffix(file)))


def _suffix(file: str) -> str:
    return ".xlsx" if PurePosixPath(file).suffix.casefold() in SHEET_SUFFIXES else ".csv"


def _rows(
    kind: Kind, table: Table, stated: Stated, used: Mapping[tuple[object, ...], tuple[object, ...]]
) -> list[list[object]]:
    heads = match_table(kind, table.headings, stated.columns.get(kind, {}), table.taught.headings)
    ours = {column: name for name, column in heads.at.items()}
    key = key_of(table)
    out: list[list[object]] = [[_title(heading, table) for heading in table.headings]]
    for at, row in enumerate(table.rows):
        told = table.odd.get(at)
        if told is None or told.code not in _NO_RECORD:
            cells = used.get((*key, at), row)
            out.append(_said(kind, table, stated, [(ours.get(i, ""), cell) for i, cell in enumerate(cells)]))
    return out


def _title(heading: str, table: Table) -> str:
    """Our column for a heading that readings.xlsx explains; what is none of ours there is not to be read again."""
    means = table.taught.headings.get(heading)
    return heading if means is None else means or f"not read: {heading}"


def _day(cell: object, order: str) -> datetime.date | None:
    """The day of a cell, in the order that was stated; None where it is none."""
    read = read_dates([cell], order)[0]
    return read if isinstance(read, datetime.date) else None


def _said(kind: Kind, table: Table, stated: Stated, cells: Sequence[tuple[str, object]]) -> list[object]:
    """The cells of a row (our column, cell) in our words where readings.xlsx explains theirs."""
    day = next((_day(cell, table.taught.units.get("date", "")) for name, cell in cells if name == "date"), None)
    out: list[object] = []
    for name, cell in cells:
        words, order = table.taught.words.get(name, {}), table.taught.units.get(name, "")
        if cell is not None and words:
            cell = words.get(name_key(as_text(cell)), cell) or None
        if cell is not None and order and kind in ALIASES:
            cell = _day(cell, order) or cell
        if cell is not None and name == "pool" and stated.names:
            cell = today_called(name_of(cell), day if kind is Kind.VISITS else None, stated.names)
        out.append(cell)
    return out


def _content(file: str, tables: Sequence[tuple[str, list[list[object]], str]]) -> bytes:
    if _suffix(file) == ".xlsx":
        return _workbook(tables)
    text = io.StringIO(newline="")
    for at, (_, rows, delimiter) in enumerate(tables):
        writer = csv.writer(text, delimiter=delimiter, lineterminator="\r\n")
        writer.writerows([[]] if at else [])
        writer.writerows([guard(as_text(cell)) for cell in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def _workbook(tables: Sequence[tuple[str, list[list[object]], str]]) -> bytes:
    from xlsxwriter import Workbook

    out = io.BytesIO()
    texts = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with Workbook(out, {"in_memory": True, "default_date_format": "yyyy-mm-dd", **texts}) as book:
        book.set_properties({"created": CREATED})
        sheets: dict[str, int] = {}
        for sheet, rows, _ in tables:
            page = book.get_worksheet_by_name(sheet[:31]) or book.add_worksheet(sheet[:31])
            start = sheets.get(sheet, 0)
            for number, row in enumerate(rows, start):
                for column, cell in enumerate(row):
                    if isinstance(cell, str):
                        page.write_string(number, column, cell)
                    elif cell is not None:
                        page.write(number, column, cell)
            sheets[sheet] = start + len(rows) + 1
    return out.getvalue()
