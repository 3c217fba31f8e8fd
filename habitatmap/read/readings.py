"""readings.xlsx: what people say of the files of an area where those don't say it themselves.

`check` writes it with what it took every heading for, and with every question that is left; whoever knows the answer
writes it there, in any spreadsheet program. It is read before everything else, and no original has to be changed.
What a person wrote is kept: rows are only added.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple, TypeVar

import python_calamine

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.dates import read_dates
from habitatmap.read.files import SHEET_SUFFIXES
from habitatmap.read.formats.cells import as_text, clean
from habitatmap.read.formats.table import Renamed, Stated, Table, Taught
from habitatmap.read.headings import ALIASES, column_named
from habitatmap.read.ledger import Ledger, UnitBy, first_rows
from habitatmap.read.templates import CREATED, not_read
from habitatmap.read.values import name_key, name_of, nearest_name
from habitatmap.sentences import Sentence, apart, say
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.columns import COLUMNS
from habitatmap.vocabulary.kinds import TABLES, Kind

STEM = "readings"
NAME = f"{STEM}.xlsx"
# what a word may mean besides a word of ours
NOT_GIVEN = "not given"
# stands under `read_as` where a person wrote the line without having been asked
NOBODY_ASKED = "-"
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


class WordSaid(NamedTuple):
    """What a word in a column of ours means; "" = nobody has said it yet."""

    file: str
    column: str
    word: str
    means: str
    rows: str = ""


class NameSaid(NamedTuple):
    """A pool that bears another name since a day (blank: always); `new` "" = nobody has said it yet."""

    old: str
    new: str
    since: str = ""
    like: str = ""


class Ignored(NamedTuple):
    """What holds no records: a file, a sheet of it, or rows such as "3, 7-9". `says`: what those rows said, by which
    they are known again."""

    file: str
    sheet: str
    rows: str
    says: str = ""


class UnitSaid(NamedTuple):
    """The unit of a column of ours, the order of its dates, or the reference system of x; "" = nobody has said it."""

    file: str
    column: str
    unit: str


class FileSaid(NamedTuple):
    """The kind of records that a file or a sheet holds; "" = nobody has said it yet."""

    file: str
    sheet: str
    kind: str
    headings: str = ""


Said = HeadingSaid | WordSaid | NameSaid | Ignored | UnitSaid | FileSaid
S = TypeVar("S", HeadingSaid, WordSaid, NameSaid, Ignored, UnitSaid, FileSaid)
# the columns that a person fills in; a line of `ignore` is all a person's
ANSWERS = {HeadingSaid: "means", WordSaid: "means", NameSaid: "new", UnitSaid: "unit", FileSaid: "kind"}


def is_said(one: Said) -> bool:
    """Whether a person said something in a line, which else only asks."""
    if isinstance(one, HeadingSaid):
        return one.means != one.read_as
    return isinstance(one, Ignored) or getattr(one, ANSWERS[type(one)]) != ""


@dataclass(frozen=True)
class Readings:
    """The sheets of readings.xlsx. `faults`: sentences on lines that can't be understood."""

    headings: Sequence[HeadingSaid] = ()
    words: Sequence[WordSaid] = ()
    names: Sequence[NameSaid] = ()
    ignore: Sequence[Ignored] = ()
    units: Sequence[UnitSaid] = ()
    files: Sequence[FileSaid] = ()
    faults: Sequence[Sentence] = field(default=(), compare=False)
    others: bool = False  # a workbook of this name has none of our sheets: it is somebody's own

    @classmethod
    def of(cls, sheets: Mapping[str, Sequence[Said]]) -> Readings:
        """The workbook of these sheets, by name."""
        return cls(**sheets)  # type: ignore[arg-type]

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
# what a column of the workbook is headed with, where it is not our field's name
HEADS = {"since": "from", "read_as": "read as", "cells": "first cells", "says": "the rows say"}


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
    told = "{file} is not read, as {other} is; keep one of them"
    faults = [say(told, file=p.name, other=path.name) for p in found[1:]]
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
    if not said:
        told = "{file} is not read: none of its sheets is {sheets}; give it another name"
        return Readings(faults=[*faults, say(told, file=path.name, sheets=", ".join(SHEETS))], others=True)
    readings = Readings.of(said)
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
            said = kind(**{**blank, **given})
            yield said._replace(means=_in_ours(said.column, said.means)) if isinstance(said, WordSaid) else said


def _faults(readings: Readings, file: str) -> Iterator[Sentence]:
    """A sentence on each line whose answer can't be understood."""
    ours = {name for names in ALIASES.values() for name in names}
    for at, one in enumerate(readings.headings, 2):
        if one.means and one.means not in ours:
            told = (
                '{file}, sheet headings, row {row}: {heading} cannot mean "{word}"; choose one of the list, or leave '
                "the cell blank where the column holds nothing of ours"
            )
            yield say(told, file=file, row=at, heading=one.heading, word=one.means)
    for at, word in enumerate(readings.words, 2):
        meanings = _meanings(word.column)
        if is_said(word) and meanings and word.means not in meanings:
            told = '{file}, sheet words, row {row}: "{word}" cannot mean "{means}"; expected one of {words}'
            yield say(
                told,
                file=file,
                row=at,
                word=word.word,
                means=word.means,
                words=apart([Sentence(one) for one in meanings]),
            )
    for at, kind in enumerate(readings.files, 2):
        if is_said(kind) and kind.kind not in TABLES:
            told = '{file}, sheet files, row {row}: "{word}" is no kind of records; expected one of {words}'
            yield say(told, file=file, row=at, word=kind.kind, words=", ".join(TABLES))
    for at, name in enumerate(readings.names, 2):
        if name.since and not isinstance(read_dates([name.since])[0], datetime.date):
            told = '{file}, sheet names, row {row}: "{word}" is no day; write year-month-day, such as 2024-05-03'
            yield say(told, file=file, row=at, word=name.since)


def _values(column: str) -> tuple[str, ...]:
    """What cells of a column of ours may say, () where that is open."""
    return next((c.values for columns in COLUMNS.values() for c in columns if c.name == column and c.values), ())


def _in_ours(column: str, word: str) -> str:
    """What a word of any language means, as our word for it in a column; itself where it is none."""
    ours = {name_key(word_in(language, one)): one for language in LANGUAGES for one in _meanings(column)}
    return ours.get(name_key(word), word)


def _meanings(column: str) -> tuple[str, ...]:
    """What a word in a column of ours may be said to mean, () where that is open."""
    values = _values(column)
    return (*values, NOT_GIVEN) if values else ()


# --- what it means for the tables ------------------------------------------------------------------------------------


def _is_of(said_file: str, file: str, files: Collection[str]) -> bool:
    """Whether a line speaks of a file: by its name, or by its stem where the file was saved in another format."""
    if not said_file or said_file.casefold() == file.casefold():
        return True
    gone = said_file.casefold() not in {name.casefold() for name in files}
    return gone and Path(said_file).with_suffix("") == Path(file).with_suffix("")


def _is_sheet(said: str, sheet: str) -> bool:
    return not said or not sheet or said.strip().casefold() == sheet.strip().casefold()


def with_readings(table: Table, readings: Readings, files: Collection[str]) -> Table:
    """The table with what readings.xlsx says of it; `files`: the names of all files of the area."""

    def about(lines: Sequence[S]) -> list[S]:
        return [s for s in lines if is_said(s) and _is_of(getattr(s, "file", ""), table.file, files)]

    ignored = [one for one in about(readings.ignore) if _is_sheet(one.sheet, table.sheet)]
    if any(not i.rows for i in ignored):
        return replace(table, unused=Why.SAID_TO_BE_NONE)
    headings = {
        _as_written(h.heading, table): h.means for h in about(readings.headings) if _is_sheet(h.sheet, table.sheet)
    }
    words: dict[str, dict[str, str]] = {}
    for word in about(readings.words):
        means = "" if word.means == NOT_GIVEN else word.means
        words.setdefault(word.column, {})[name_key(word.word)] = means
    units = {unit.column: ORDERS.get(unit.unit, unit.unit) for unit in about(readings.units)}
    odd = dict.fromkeys((at for i in ignored for at in _rows_of(i, table)), Why.NO_RECORD)
    return replace(table, taught=Taught(headings, words, units), odd={**table.odd, **odd})


def _as_written(heading: str, table: Table) -> str:
    """The table's own heading that is meant, whatever its spaces."""
    return next((h for h in table.headings if name_key(h) == name_key(heading)), heading)


def _rows_of(ignored: Ignored, table: Table) -> list[int]:
    """The positions of the rows that hold no records: those that say what they said, else those of these numbers."""
    wanted, told = numbers_in(ignored.rows), ignored.says.split(BETWEEN_ROWS) if ignored.says else []
    if len(told) == len(wanted):  # else somebody has written other numbers since
        return [at for at in range(len(table)) if row_says(table, at) in told]
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


def stated_with(stated: Stated, readings: Readings, files: Collection[str]) -> tuple[Stated, list[Sentence]]:
    """What area.toml states with what readings.xlsx says of reference systems and names; and where the two disagree."""
    names = [
        Renamed(name_key(n.old), name_of(n.new), day if isinstance(day, datetime.date) else None)
        for n in readings.names
        if is_said(n)
        for day in read_dates([n.since or None])
    ]
    systems, told = dict(stated.source_crs), list[Sentence]()
    differ = "area.toml says that {what} is {stated}, readings.xlsx says {said}; readings.xlsx is followed"
    for unit in readings.units:
        if is_said(unit) and unit.column in ("x", "y") and unit.file:
            file = next((f for f in files if _is_of(unit.file, f, files)), unit.file)
            if systems.get(file, unit.unit) != unit.unit:
                told.append(say(differ, what=file, stated=systems[file], said=unit.unit))
            systems[file] = unit.unit
    for kind, columns in stated.columns.items():
        for said in readings.headings:
            for name, heading in columns.items():
                same = is_said(said) and name_key(heading) == name_key(said.heading)
                if same and column_named(kind, name) != said.means:
                    means = said.means or Sentence("none of ours")
                    what = say("{heading} ({file})", heading=heading, file=said.file)
                    told.append(say(differ, what=what, stated=name, said=means))
    return replace(stated, source_crs=systems, names=tuple(names)), list(dict.fromkeys(told))


def gone(readings: Readings, tables: Sequence[Table]) -> Iterator[Sentence]:
    """A sentence on each line that somebody wrote and that speaks of nothing that is there."""
    files = {table.file for table in tables}
    for said in readings.headings:
        here = [t for t in tables if _is_of(said.file, t.file, files) and _is_sheet(said.sheet, t.sheet)]
        if is_said(said) and not any(name_key(said.heading) in map(name_key, t.headings) for t in here):
            told = (
                "readings.xlsx says what {heading} in {file} means, but no such heading is there; see whether it was "
                "renamed"
            )
            yield say(told, heading=said.heading, file=said.file)
    for ignored in readings.ignore:
        here = [t for t in tables if _is_of(ignored.file, t.file, files) and _is_sheet(ignored.sheet, t.sheet)]
        if ignored.rows and not any(_rows_of(ignored, t) for t in here):
            told = "readings.xlsx says that rows {rows} of {file} are no records, but no such row is there"
            yield say(told, rows=ignored.rows, file=ignored.file)


# --- what is asked ---------------------------------------------------------------------------------------------------

# so many rows of a word are named
ROWS_NAMED = 5
# the kinds whose headings are listed: people write those tables by hand
ASKED_OF = (Kind.POOLS, Kind.VISITS, Kind.COMMITTED, Kind.TREES)


def with_questions(said: Readings, ledger: Ledger, pools: Collection[str], tables: Sequence[Table]) -> Readings:
    """What was said, and below it everything that is asked: headings with what they were taken for, words, names,
    units and files that nobody knows.

    pools: the names of the pools; tables: those that were read. A line that nobody has filled in goes when there is
    nothing left to ask.
    """
    unknown = dict.fromkeys(e.value for e in ledger.entries(Kind.VISITS) if e.why.code is Why.UNKNOWN_POOL and e.value)
    asked = Readings(
        headings=list(_headings_asked(ledger)),
        words=[
            WordSaid(file, column, word, "", ", ".join(map(str, rows[:ROWS_NAMED])))
            for (file, column, word), rows in ledger.unknown_words.items()
        ],
        names=[NameSaid(name, "", "", nearest_name(name, tuple(pools))) for name in unknown],
        ignore=[_with_rows(one, tables) for one in said.ignore],
        units=[UnitSaid(file, column, "") for file, column in _units_asked(ledger)],
        files=[
            FileSaid(one.file, one.sheet, "", ", ".join(h for h in one.table.headings if h))
            for one in ledger.unused
            if one.table is not None and one.to_do
        ],
    )
    return Readings.of({name: _merged(lines, asked.sheets()[name]) for name, lines in said.sheets().items()})


def _headings_asked(ledger: Ledger) -> Iterator[HeadingSaid]:
    """Every heading of tables that people write by hand with what it was taken for, and those of tables not used."""
    shown = [
        (r.file, r.sheet, r.headings, r.first_rows, {heading: name for name, (heading, _) in r.columns.items()})
        for r in ledger.readings
        if r.kind in ASKED_OF and not r.crs
    ]
    unused = [(one.file, one.sheet, one.table) for one in ledger.unused if one.to_do]
    shown += [(file, sheet, t.headings, first_rows(t), {}) for file, sheet, t in unused if t is not None]
    for file, sheet, headings, rows, ours in shown:
        for at, heading in enumerate(headings):
            if heading:
                means, cells = ours.get(heading, ""), dict.fromkeys(row[at] for row in rows if row[at])
                yield HeadingSaid(file, sheet, heading, means, means, " | ".join(cells))


def _units_asked(ledger: Ledger) -> Iterator[tuple[str, str]]:
    yield from ledger.unknown_units
    for holding in ledger.holdings:
        for unit in holding.units:
            if unit.by is UnitBy.ASKED:
                yield holding.file, f"{unit.measure}_cm"


def _with_rows(ignored: Ignored, tables: Sequence[Table]) -> Ignored:
    """The line with what its rows say, so that they are known again when they move."""
    if not ignored.rows:
        return ignored
    files = {table.file for table in tables}
    here = [t for t in tables if _is_of(ignored.file, t.file, files) and _is_sheet(ignored.sheet, t.sheet)]
    rows = [row_says(t, at) for t in here for at in _rows_of(ignored, t)]
    return ignored._replace(says=BETWEEN_ROWS.join(rows)) if rows else ignored


def _key(one: Said) -> tuple[str, ...]:
    """What a line speaks of."""
    asked = {"file", "sheet", "heading", "column", "word", "old", "rows"} & set(one._fields)
    return tuple(name_key(getattr(one, name)) for name in one._fields if name in asked)


def _merged(said: Sequence[Said], asked: Sequence[Said]) -> list[Said]:
    """What somebody wrote as it stands, then what is asked and not said yet."""
    kept = {_key(one): _as_kept(one) for one in said if is_said(one)}
    fresh = {_key(one): one for one in asked}
    # what only tells, beside what somebody wrote, is of today
    for key, one in kept.items():
        if key in fresh and (told := {"cells", "like", "says"} & set(one._fields)):
            kept[key] = one._replace(**{name: getattr(fresh[key], name) for name in told})
    return [*kept.values(), *(one for key, one in fresh.items() if key not in kept)]


def _as_kept(one: Said) -> Said:
    """A line that a person wrote, so that it is known for one when it is read again."""
    return one._replace(read_as=NOBODY_ASKED) if isinstance(one, HeadingSaid) and one.read_as is None else one


# --- writing ---------------------------------------------------------------------------------------------------------

# what the help says of each sheet, and before and after them
ABOUT = ("", "headings", "words", "names", "ignore", "units", "files", "")
HELP = (
    "This workbook says how the files of this folder are meant. Fill in what you know, save it as xlsx or ods under "
    "the name readings, and run habitatmap check or map again. Your own files stay as they are.",
    "What each heading was taken for. Choose another column of ours from the list where that is wrong; leave the cell "
    "blank where the column holds nothing of ours.",
    "A word that nobody knew, and the column that it stands in. Choose what it means.",
    "A pool that bears another name today: its old name, its new one, and from which day (blank: always).",
    "A file, a sheet or rows (3, 7-9) that hold no records.",
    "The unit of a column, the order of day and month, or the reference system of x, such as EPSG:25832.",
    "A file or sheet whose name does not tell what it holds. Choose it from the list.",
    "You may delete any line; what is still open is asked again.",
)
WIDTHS = {
    "file": 24,
    "sheet": 16,
    "heading": 28,
    "word": 24,
    "means": 18,
    "cells": 50,
    "old": 24,
    "new": 24,
    "says": 60,
}
COLOURS = {"heading": "#0b5c6b", "answer": "#fff7d6"}
UNITS = (*ORDERS, "mm", "cm", "m", "inch", "ft", "EPSG:25832")


def write_readings(folder: Path, readings: Readings, pools: Collection[str], say: Callable[[str], str] = str) -> bool:
    """Writes readings.xlsx where it would say something else than it does; whether it was written.

    say: the words of its language; sheets and headings are the same in each. InputError where the file can't be
    written, as it is open in a program.
    """
    found = find_readings(folder)
    there = read_readings(folder)
    if there.others or (found and there.sheets() == readings.sheets()):
        return False
    if not found and not any(one for sheet in readings.sheets().values() for one in sheet):
        return False
    path = folder / NAME
    unfinished = folder / f".{NAME}.new"
    try:
        _write(unfinished, readings, sorted(pools), say)
        os.replace(unfinished, path)
        for other in found:
            if other != path:
                other.unlink()  # what it said stands in the new one
    except OSError as error:
        raise InputError(f"{NAME} could not be written ({error.strerror}); close it, and run check again") from error
    finally:
        unfinished.unlink(missing_ok=True)
    return True


def _write(path: Path, readings: Readings, pools: Sequence[str], say: Callable[[str], str]) -> None:
    from xlsxwriter import Workbook

    with Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}) as book:
        book.set_properties({"created": CREATED})
        font = {"font_name": "Calibri", "font_size": 11, "valign": "top"}
        heading = book.add_format(font | {"bold": True, "font_color": "#ffffff", "bg_color": COLOURS["heading"]})
        plain = book.add_format(font | {"text_wrap": True, "num_format": "@"})
        answer = book.add_format(font | {"bg_color": COLOURS["answer"], "border": 1, "num_format": "@"})
        columns = sorted({name for kind in ASKED_OF for name in ALIASES[kind]})
        lists = {"headings": columns, "names": list(pools), "units": list(UNITS), "files": list(map(str, TABLES))}
        for name, kind in SHEETS.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            answered = ANSWERS.get(kind)
            for at, column in enumerate(kind._fields):
                style = answer if column == answered or name == "ignore" else plain
                sheet.set_column(at, at, WIDTHS.get(column, 14), style)
                sheet.write_string(0, at, HEADS.get(column, column), heading)
            said = [_spoken(one, say) for one in getattr(readings, name)]
            for row, one in enumerate(said, 1):
                for at, text in enumerate(one):
                    if text:
                        sheet.write_string(row, at, text)
            if answered:
                at, told = kind._fields.index(answered), say(HELP[ABOUT.index(name)])
                if name == "words":
                    for row, word in enumerate(readings.words, 1):
                        if meanings := [_in_words(word.column, one, say) for one in _meanings(word.column)]:
                            sheet.data_validation(row, at, row, at, _list(meanings, answered, told))
                elif lists[name]:
                    source = f"=lists!${LETTERS[name]}$1:${LETTERS[name]}${len(lists[name])}"
                    sheet.data_validation(1, at, len(said) + MORE_ROWS, at, _list(source, answered, told))
        about = book.add_worksheet(say("Help"))
        about.set_column(0, 0, 14, plain)
        about.set_column(1, 1, 110, plain)
        about.write_string(0, 0, not_read(say))
        for row, (name, text) in enumerate(zip(ABOUT, HELP, strict=True), 2):
            about.write_string(row, 0, name)
            about.write_string(row, 1, say(text))
        beside = book.add_worksheet("lists")
        beside.hide()
        for name, words in lists.items():
            for row, text in enumerate(words):
                beside.write_string(row, ord(LETTERS[name]) - ord("A"), text)


LETTERS = {"headings": "A", "names": "B", "units": "C", "files": "D"}
# lists are offered in so many rows below those that are filled
MORE_ROWS = 200


def _list(source: str | list[str], title: str, told: str) -> dict[str, object]:
    """A drop-down list, explained; another answer is let through, as check says what is wrong with it."""
    about = {"input_title": title, "input_message": told[:255]}
    return {"validate": "list", "source": source, "error_type": "warning", **about}


def _spoken(one: Said, say: Callable[[str], str]) -> Said:
    """A line with what a word means said in the language of the workbook."""
    return one._replace(means=_in_words(one.column, one.means, say)) if isinstance(one, WordSaid) else one


def _in_words(column: str, word: str, say: Callable[[str], str]) -> str:
    """One of our words in the language of the workbook, where that is read back as the same."""
    told = say(word) if word in _meanings(column) else word
    return told if _in_ours(column, told) == word else word
