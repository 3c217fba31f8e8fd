"""Workbooks beside the inputs that people fill in: what somebody wrote there is kept, rows are only added.

`consent_list` and `status_list` say what stands in theirs; here it is written, and only where that is safe.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import python_calamine

from habitatmap.errors import InputError
from habitatmap.read.files import find_inputs, read_tables
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table
from habitatmap.read.rows import Draft
from habitatmap.read.templates import BAD_DATE, CREATED, not_read
from habitatmap.sentences import Quantity, Sentence, count
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.columns import Column
from habitatmap.vocabulary.kinds import Kind

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

Say = Callable[[str], str]  # what a text of ours is in the language of the workbook
Cells = dict[str, object]  # a row: cells by our names, and by the headings of columns of somebody's own

# a workbook's cell holds no more
LONGEST_CELL = 32_000
HELP_SHEET = "Help"


@dataclass(frozen=True)
class FilledIn:
    """A workbook that people fill in. `made`: the columns that the program writes; `command`: what writes it.

    `answers`: what a column's words are in a language, where they are read back as the same.
    """

    kind: Kind
    sheet: str
    columns: Sequence[Column]
    made: Collection[str]
    days: Collection[str]
    hidden: Collection[str]
    help: Sequence[str]
    command: str
    answers: Callable[[str, Say], str]

    @property
    def file(self) -> str:
        """Its name."""
        return f"{self.kind}.xlsx"

    @property
    def names(self) -> list[str]:
        """Its columns, by our names."""
        return [column.name for column in self.columns]

    def others(self, folder: Path) -> list[Path]:
        """The same list kept in another format, or in another file."""
        return [p for p in find_inputs(folder, self.kind) if p != folder / self.file]

    def tables(self, folder: Path) -> list[Table]:
        """The tables of the workbook; none where there is no such file. InputError where it can't be read."""
        path = folder / self.file
        return read_tables(path) if path.exists() else []

    def write(
        self,
        folder: Path,
        tables: Sequence[Table],
        rows: tuple[Sequence[Cells], Sequence[Cells]],
        heads: Sequence[str],
        say: Say,
    ) -> Sentence:
        """Writes the workbook in one step where its rows, of old and today, differ; a sentence on it, "" where there
        was nothing to do. heads: the headings of columns of somebody's own. The same rows give the same bytes.

        Nothing is written while the file is open in a spreadsheet program, nor where it holds sheets of somebody's own
        or formulas without a result; the sentence says so. InputError where it can't be written.
        """
        path, (old, new) = folder / self.file, rows
        if list(new) == [{name: row.get(name) for name in (*self.names, *heads)} for row in old]:
            return Sentence("")
        about = {"file": self.file, "command": self.command}
        if any((folder / lock).exists() for lock in (f".~lock.{self.file}#", f"~${self.file}")):
            return Sentence(IS_OPEN, about)
        if any(table.failed for table in tables):
            return Sentence(HAS_FORMULAS, about)
        if own := self._own_sheets(path, say):
            return Sentence(HAS_OWN_SHEETS, {**about, "sheets": ", ".join(own)})
        self._write(path, new, heads, say)
        added = len(new) - len(old)
        told = "{file}: {rows}, {n} of them new" if added else "{file}: {rows}, brought up to date"
        return Sentence(told, {"file": self.file, "rows": count(len(new), "row"), "n": Quantity(added, grouped=True)})

    def _own_sheets(self, path: Path, say: Say) -> list[str]:
        """The sheets of a workbook that are none of ours, in whichever language it was written."""
        if not path.exists():
            return []
        ours = {word_in(language, name) for language in LANGUAGES for name in (self.sheet, HELP_SHEET)}
        ours |= {say(self.sheet), say(HELP_SHEET)}
        with python_calamine.CalamineWorkbook.from_path(str(path)) as book:
            return [name for name in book.sheet_names if name not in ours]

    def _write(self, path: Path, rows: Sequence[Mapping[str, object]], heads: Sequence[str], say: Say) -> None:
        from xlsxwriter import Workbook
        from xlsxwriter.exceptions import XlsxFileError

        unfinished = path.with_name(f".{path.name}.new")
        try:
            with Workbook(unfinished) as book:
                book.set_properties({"created": CREATED})
                font = {"font_name": "Calibri", "font_size": 11, "valign": "top"}
                bold, plain = book.add_format(font | {"bold": True}), book.add_format(font | {"text_wrap": True})
                head = book.add_format(
                    font | {"bold": True, "font_color": "#ffffff", "bg_color": "#0b5c6b", "border": 1}
                )
                grey = book.add_format(font | {"font_color": "#5a6566", "bg_color": "#eef2f1"})
                day = book.add_format(font | {"num_format": "yyyy-mm-dd"})
                sheet = book.add_worksheet(say(self.sheet))
                sheet.freeze_panes(1, 2)
                sheet.set_landscape()
                sheet.repeat_rows(0)
                sheet.fit_to_pages(1, 0)
                known = {column.name: column for column in self.columns}
                for at, name in enumerate([*self.names, *heads]):
                    column, style = known.get(name), grey if name in self.made else day if name in self.days else plain
                    width = column.entry.width if column else 20
                    sheet.set_column(at, at, width, style, {"hidden": name in self.hidden})
                    sheet.write_string(0, at, name, head)
                    if column and name not in (*self.made, *self.hidden) and rows:
                        sheet.data_validation(1, at, len(rows), at, self._validation(column, say))
                    for number, row in enumerate(rows, 1):
                        _write_cell(sheet, number, at, row.get(name), style, day)
                sheet.autofilter(0, 0, len(rows), len(self.names) + len(heads) - 1)
                lines = book.add_worksheet(say(HELP_SHEET))
                lines.set_column(0, 0, 110, plain)
                lines.write_string(0, 0, not_read(say), bold)
                for number, text in enumerate(self.help, 2):
                    lines.write_string(number, 0, say(text), plain)
            os.replace(unfinished, path)
        except (OSError, XlsxFileError) as fault:
            raise InputError(
                f"{path.name} could not be written ({fault}); close it where it is open, and try again"
            ) from fault
        finally:
            unfinished.unlink(missing_ok=True)

    def _validation(self, column: Column, say: Say) -> dict[str, object]:
        """What a cell is held to; a warning may be waved through, as words of other languages are understood too."""
        told = say(column.help)[:255]
        rule: dict[str, object] = {"input_title": column.name, "input_message": told, "error_type": "warning"}
        if column.values:
            words = [self.answers(value, say) for value in column.values]
            return rule | {"validate": "list", "source": words, "error_message": told}
        if column.name in self.days:
            first, last = datetime.date(2000, 1, 1), datetime.date(2099, 12, 31)
            between = {"criteria": "between", "minimum": first, "maximum": last}
            return rule | {"validate": "date", "error_message": say(BAD_DATE)} | between
        return rule | {"validate": "any"}


IS_OPEN = "{file} is open in a spreadsheet program, so nothing was written there; close it and run {command} again"
HAS_FORMULAS = (
    "{file} holds formulas without a result, so it was left as it is; write what they mean, and run {command} again"
)
HAS_OWN_SHEETS = (
    "{file} has sheets of your own ({sheets}), which would be lost, so it was left as it is; move them into another "
    "file and run {command} again"
)


def cells_of(drafts: Sequence[Draft]) -> tuple[list[Cells], list[str]]:
    """The rows of the workbook's tables, and the headings of columns of somebody's own."""
    rows: list[Cells] = []
    heads: list[str] = []
    for draft in drafts:
        at = draft.headings.at
        own = [(i, h) for i, h in enumerate(draft.table.headings) if i not in at.values() and h]
        heads += [h for _, h in own if h not in heads]
        for cells in draft.table.rows:
            rows.append({name: cells[i] for name, i in at.items()} | {h: cells[i] for i, h in own})
    return rows, heads


def _write_cell(sheet: Worksheet, row: int, at: int, cell: object, style: Format, day: Format) -> None:
    """A cell as what it is: text stays text, whatever a spreadsheet program might make of it."""
    if isinstance(cell, datetime.date):
        sheet.write_datetime(row, at, cell, day)
    elif isinstance(cell, (bool, int, float)):
        sheet.write(row, at, cell, style)
    elif cell is not None:
        sheet.write_string(row, at, as_text(cell)[:LONGEST_CELL], style)
