"""The workbooks that a new area begins with: pools.xlsx and visits.xlsx, with drop-downs, checks, an example and help.

All their words stand at the top of this file, and in the catalogues of the other languages. The reader knows the
example row and the sheets that are no data by their marks, so that a fresh area has nothing to set aside.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from habitatmap.read.formats.cells import as_text
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.columns import EXAMPLES, Column, filled_in
from habitatmap.vocabulary.kinds import Kind

# --- words -----------------------------------------------------------------------------------------------------------

# the beginning of the first cell of a sheet that is no data
NOT_READ = "This sheet is not read."
NOT_READ_IN_EACH = (
    NOT_READ,
    "Dieses Blatt wird nicht gelesen.",
    "Cette feuille n’est pas lue.",
    "Dit blad wordt niet gelezen.",
)

SHEETS = {Kind.POOLS: "Pools", Kind.VISITS: "Visits"}
NAMES_SHEET, HELP_SHEET = "Pool names", "Help"
NAMES_HEADING = "Write each pool's name once below: they are offered as a list on the sheet Visits."
BAD_ENTRY = "Please look again"
BAD_DATE = "A date of this century is expected, such as 2024-05-03."
# a line for each piece of advice
HELP = {
    Kind.POOLS: """
        Write one row for each pool, under the grey example. The example is never read: leave it or delete it.
        Only the name and the place are needed. For the place, press on the place in a map on a telephone and copy the
          two numbers, with at least four digits after the point.
        A pool that was moved has two places: write a removal date for the first, and a new name for the second.
        Cells with a small arrow have a list. A warning can be waved through where you know better.
        You may add columns of your own, on the right. The headings are protected, so that nobody renames them by
          chance; there is no password.
        Save as xlsx in the folder, under a name that begins with pools, then run: habitatmap check
        Before a pool is installed: the written consent of whoever owns or rents the land, and no pool within reach of
          playing children. A few centimetres of water can drown a small child.
        Ask the health authority about mosquitoes that carry disease. Use no poison: it kills the larvae that the pool
          is for.
        A garden is somebody's address. This file is for the team only.
        Follow local by-laws and the advice of licensed ecologists, qualified tree inspectors and health officers: they
          come before anything said here.""",
    Kind.VISITS: """
        Write one row for each visit, under the grey example. The example is never read: leave it or delete it.
        Write down every visit, above all those that found nothing: without them nobody can say how much is missed.
        none seen means that somebody searched and saw no larvae. Dry, frozen, gone and not reached are no searches.
          A blank outcome is not none seen: such a row is set aside.
        For a list of names, fill the sheet Pool names once. A name that is not on it is asked about, not refused.
        Two searches on one day are two rows; write the time into the note.
        You may add columns of your own, on the right. The headings are protected, so that nobody renames them by
          chance; there is no password.
        Save as xlsx in the folder, under a name that begins with visits, then run: habitatmap check
        Standing water may carry disease: cover cuts, wear gloves, keep it off mouth and eyes, wash your hands. If you
          fall ill as with flu within three weeks, tell the doctor that you touched such water.
        Never work under dead or damaged branches, nor near trees in high wind. Never block, flood or empty a natural
          hole, and stop where bats or a nest are found.
        Never move water, litter or larvae from one pool to another: bring clean rain water.
        On private land come only when the host knows, and keep the address to yourself.
        Follow local by-laws and the advice of licensed ecologists, qualified tree inspectors and health officers: they
          come before anything said here.""",
}

TEMPLATES: Mapping[Kind, Sequence[Column]] = {
    Kind.POOLS: filled_in(
        Kind.POOLS,
        "pool lat lon uncertainty_m set_out removed private container filling volume_l shade host consent "
        "consent_until note",
    ),
    Kind.VISITS: filled_in(Kind.VISITS, "pool date outcome larvae taxon checked action observer note"),
}
# rows that have lists and checks
ROWS = 1000
# so that the same words give the same bytes
CREATED = datetime.datetime(2000, 1, 1)


# --- what the reader knows -------------------------------------------------------------------------------------------


def is_marked(cells: Sequence[object]) -> bool:
    """Whether a row is headed as the example of a template."""
    first = next((c for c in cells if c is not None), None)
    return isinstance(first, str) and first.casefold() in MARKS


def is_example(cells: Sequence[object]) -> bool:
    """Whether a row says what the example of a template says, however a program saved its dates and decimals."""
    if not is_marked(cells):  # as nearly all rows are not
        return False
    given = [c for c in cells if c is not None]
    examples = (_example(kind, language) for language in LANGUAGES for kind in TEMPLATES)
    return any(len(given) == len(told) and all(map(_says, given, told)) for told in examples)


MARKS = frozenset(mark.casefold() for mark in EXAMPLES)


def _example(kind: Kind, language: str) -> list[str | float | datetime.date]:
    """What the cells of an example say."""
    told = [column.entry.example for column in TEMPLATES[kind] if column.entry.example is not None]
    return [word_in(language, one) if isinstance(one, str) else one for one in told]


def _says(cell: object, told: object) -> bool:
    text = " ".join(as_text(cell).split())
    if isinstance(told, datetime.date):
        numbers = {int(n) for n in re.findall(r"\d+", text.partition("T")[0].partition(" ")[0])}
        return numbers in ({told.year, told.month, told.day}, {told.year % 100, told.month, told.day})
    return text.replace(",", ".") == as_text(told).replace(",", ".")


def not_read(say: Callable[[str], str]) -> str:
    """The mark of a sheet that is no data, in a language in which `is_no_data` knows it."""
    return mark if (mark := say(NOT_READ)) in NOT_READ_IN_EACH else NOT_READ


def is_no_data(cells: Sequence[object]) -> bool:
    """Whether the first filled row of a sheet says that the sheet is not to be read."""
    first = next((c for c in cells if c is not None), None)
    return isinstance(first, str) and first.startswith(NOT_READ_IN_EACH)


# --- writing ---------------------------------------------------------------------------------------------------------


def write_templates(folder: Path, language: str = "en") -> None:
    """Writes pools.xlsx and visits.xlsx in one of LANGUAGES."""
    for kind in TEMPLATES:
        _write(folder / f"{kind}.xlsx", kind, lambda text: word_in(language, text))


def _write(path: Path, kind: Kind, say: Callable[[str], str]) -> None:
    from xlsxwriter import Workbook

    with Workbook(path, {"default_date_format": "yyyy-mm-dd", "strings_to_formulas": False}) as book:
        book.set_properties({"created": CREATED})
        font = {"font_name": "Calibri", "font_size": 11, "valign": "top"}
        heading = book.add_format(
            font | {"bold": True, "font_color": "#ffffff", "bg_color": "#0b5c6b", "text_wrap": True, "border": 1}
        )
        grey = {"italic": True, "font_color": "#5a6566", "bg_color": "#eef2f1", "locked": False}
        open_cell, open_date = (
            book.add_format(font | {"locked": False, "num_format": form}) for form in ("General", "yyyy-mm-dd")
        )
        example, example_date = (book.add_format(font | grey | {"num_format": f}) for f in ("General", "yyyy-mm-dd"))
        plain = book.add_format(font | {"text_wrap": True})

        sheet = book.add_worksheet(say(SHEETS[kind]))
        sheet.set_row(0, 32, heading)
        sheet.freeze_panes(1, 1)
        sheet.set_landscape()
        sheet.repeat_rows(0)
        sheet.fit_to_pages(1, 0)
        for at, column in enumerate(TEMPLATES[kind]):
            entry, dated = column.entry, column.is_date
            sheet.set_column(at, at, entry.width, open_date if dated else open_cell)
            sheet.write_string(0, at, say(entry.heading), heading)
            if isinstance(entry.example, datetime.date):
                sheet.write_datetime(1, at, entry.example, example_date)
            else:
                told = say(entry.example) if isinstance(entry.example, str) else entry.example
                sheet.write(1, at, told, example_date if dated else example)
            sheet.data_validation(1, at, ROWS, at, _validation(column, say))
        sheet.set_column(len(TEMPLATES[kind]), 16_383, None, open_cell)
        sheet.protect("", dict.fromkeys(_ALLOWED, True))

        if kind is Kind.VISITS:
            names = book.add_worksheet(say(NAMES_SHEET))
            names.set_column(0, 0, 60, open_cell)
            names.set_row(0, 32, heading)
            names.write_string(0, 0, f"{say(NOT_READ)} {say(NAMES_HEADING)}", heading)
            names.freeze_panes(1, 0)
            names.protect("", dict.fromkeys(_ALLOWED, True))
        lines = book.add_worksheet(say(HELP_SHEET))
        lines.set_column(0, 0, 22, plain)
        lines.set_column(1, 1, 100, plain)
        lines.hide_gridlines(2)
        lines.write_string(0, 0, say(NOT_READ), book.add_format(font | {"bold": True}))
        advice = re.sub(r"\n {10,}", " ", HELP[kind].strip()).split("\n")
        for row, text in enumerate(advice, 2):
            lines.write_string(row, 1, say(text.strip()), plain)
        for row, column in enumerate(TEMPLATES[kind], len(advice) + 3):
            lines.write_string(row, 0, say(column.entry.heading), book.add_format(font | {"bold": True}))
            lines.write_string(row, 1, say(column.help), plain)


_ALLOWED = (
    "format_cells format_columns format_rows insert_rows insert_columns delete_rows sort autofilter insert_hyperlinks"
).split()


def _validation(column: Column, say: Callable[[str], str]) -> dict[str, object]:
    """What a cell is held to, in the library's words; the column's help appears where a cell is chosen."""
    # the program shows 32 characters of a title and 255 of a text
    rule: dict[str, object] = {"input_title": say(column.entry.heading)[:32], "input_message": say(column.help)[:255]}
    rule |= {"error_title": say(BAD_ENTRY), "error_message": say(column.help)[:255], "error_type": "warning"}
    if column.strict:
        rule["error_type"] = "stop"
    if column.is_date:
        between = {"criteria": "between", "minimum": datetime.date(2000, 1, 1), "maximum": datetime.date(2099, 12, 31)}
        return rule | {"validate": "date", "error_message": say(BAD_DATE)} | between
    if column.entry.listed:
        return rule | {
            "validate": "list",
            "source": f"='{say(NAMES_SHEET)}'!$A$2:$A${ROWS}",
            "error_type": "information",
        }
    if column.values:
        return rule | {"validate": "list", "source": [say(word) for word in column.values]}
    if column.entry.bounds is None:
        return rule | {"validate": "any"}
    low, high = column.entry.bounds
    return rule | {"validate": "decimal", "criteria": "between", "minimum": low, "maximum": high}
