"""Correction files: `NAME.fix.csv` beside an input, with the rows that need a person, read together with the originals.

A row of such a file keeps what its original said, by which that is found again (originals.py). It takes the original's
place once somebody has changed it and it reads cleanly; until then the original stands. Volunteers open the
file in any spreadsheet program, in any language, and save it again. So what such a program would turn into something
else (dates, leading zeros, decimal points, formulas) is written as text behind an apostrophe, cells that nobody changed
are taken from the original, and one date that everybody knows shows how the program that saved the file writes dates.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import os
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol, TypeVar

from habitatmap.errors import InputError
from habitatmap.errors.why import IN_A_SHAPE, NOT_ASKED, Reason, Why
from habitatmap.read.corrected_rows import KNOWN_DATE, Correction, Key, Lost, Placed, State, key_of
from habitatmap.read.dates import month_number, read_dates
from habitatmap.read.files import FIX, SHEET_SUFFIXES, TEXT_SUFFIXES, is_fix, read_tables
from habitatmap.read.formats.cells import as_text, clean, guard
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.groups import group_folders, name_in
from habitatmap.read.headings import ALIASES, match_table
from habitatmap.read.ledger import Ledger, SetAside
from habitatmap.read.originals import LONGEST, Found, Originals, cells_of, labels
from habitatmap.sentences import Sentence
from habitatmap.vocabulary.kinds import GROUPS, TABLES, Kind

FIRST = ("why", "what_to_do")
LAST = ("from_file", "from_sheet", "from_row", "was", "saved_as")
OURS = (*FIRST, *LAST)
# what a corrected row says of itself once it is in use
USED = (Sentence("corrected, and used"), Sentence("nothing"))

_DATES = ("date", "set_out", "removed", "until")
_NUMBERS = ("x", "y", "lat", "lon", "uncertainty_m", "volume_l", "diameter_cm", "girth_cm", "distance_m", "larvae")


class Read(Protocol):
    """What reading an area's tables gives: at least the ledger."""

    @property
    def ledger(self) -> Ledger: ...


R = TypeVar("R", bound=Read)
Tables = Mapping[Kind, Sequence[Table]]


# --- reading the files -----------------------------------------------------------------------------------------------


def read_corrections(folder: Path) -> list[Correction]:
    """Every row of the folder's correction files, csv or workbook, in the order of their names."""
    places, kinds = [folder, *group_folders(folder)], (*TEXT_SUFFIXES, *SHEET_SUFFIXES)
    found = [p for place in places for p in place.iterdir() if is_fix(p) and p.suffix.casefold() in kinds]
    named = sorted((name_in(path, folder), path) for path in found)
    tables = [table for name, path in named for table in read_tables(path, OURS, called=name)]
    return [_correction(table, at) for table in tables for at in range(len(table))]


def _correction(table: Table, at: int) -> Correction:
    cells = dict(zip((_single_spaced(h) for h in table.headings), table.rows[at], strict=True))
    here = Correction(table.file, table.numbers[at], cells)
    file, number = as_text(cells.get("from_file")), as_text(cells.get("from_row"))
    if at in table.odd or not file or not number.isdigit():
        return replace(here, fault=table.odd.get(at, Why.NO_ORIGINAL))
    return replace(
        here,
        from_file=file,
        from_sheet=as_text(cells.get("from_sheet")),
        from_row=int(number),
        was=_was(as_text(cells.get("was"))),
        saved_as=as_text(cells.get("saved_as")) or KNOWN_DATE,
        semicolons=table.delimiter == ";",
    )


def _single_spaced(text: str) -> str:
    return " ".join(text.split())


def _was(text: str) -> dict[str, str]:
    """The cells of an original, as its correction keeps them; none where that was lost."""
    try:
        read = json.loads(text)
    except json.JSONDecodeError:
        return {}
    return {str(label): str(cell) for label, cell in read.items()} if isinstance(read, dict) else {}


# --- cells that went through a spreadsheet program -------------------------------------------------------------------

_PLAIN_NUMBER = re.compile(r"0|[1-9]\d{0,8}")
_AT_RISK = re.compile(r"['\d.,:/%€$£(]|(true|false)$", re.IGNORECASE)
_MONTH_FIRST = re.compile(r"([^\W\d]+)\.?[ ./-]*\d")
_DATE_LIKE = re.compile(r"\d{1,4}[./ -]\d{1,2}[./ -]\d{1,4}\.?(\s.*)?|\d{1,2}[- ][^\W\d]+\.?[- ]\d{2,4}", re.DOTALL)


def protect(text: str) -> str:
    """Text as it may stand in a csv file that a spreadsheet opens: nothing in it runs, nothing is turned around."""
    if guard(text) != text:
        return guard(text)
    month = _MONTH_FIRST.match(text)
    risky = _AT_RISK.match(text) and not _PLAIN_NUMBER.fullmatch(text)
    return f"'{text}" if risky or (month and month_number(month[1])) else text


def unprotect(text: str) -> str:
    """Text without the apostrophe that `protect` put before it, also where somebody changed what follows."""
    return text[1:].strip() if text.startswith("'") else text


def _same(original: str, saved: str) -> bool:
    """Whether a cell says what it said before a spreadsheet program saved it."""
    # a letter that the program's own character set lacks is saved as a question mark
    lossy = original.encode("cp1252", "replace").decode("cp1252")
    ways = {_single_spaced(saved), _single_spaced(unprotect(saved))}
    return bool({_single_spaced(original), _single_spaced(lossy)} & ways)


def _new_cell(saved: str, correction: Correction, role: str) -> object:
    """A cell that somebody changed: dates as year-month-day where it is sure which day is meant, points for commas."""
    text = unprotect(saved)
    if role in _DATES and _DATE_LIKE.fullmatch(text):
        # the known date went through the same program, and its day is after the twelfth: it shows the order
        witness = [] if correction.saved_as == KNOWN_DATE else [correction.saved_as]
        read = read_dates([text, *witness])[0]
        return read.isoformat() if isinstance(read, datetime.date) else text
    # three digits behind the comma may be thousands
    if role in _NUMBERS and correction.semicolons and re.fullmatch(r"-?\d+,(\d{1,2}|\d{4,})", text):
        return text.replace(",", ".")
    return clean(text)


# --- putting corrections in the place of their originals -------------------------------------------------------------


def read_corrected(tables: Tables, placed: Sequence[Placed], lost: Lost, read: Callable[[Tables], R]) -> R:
    """What `read` makes of the tables with the corrections among them; its ledger says what became of each.

    placed, lost: as `place_corrections` gives them.

    Read first as if every changed row were good; a row that is not leaves its original in place the second time.
    """
    result = read(with_corrections(tables, placed, lost))
    settled = _settled(placed, result.ledger.in_order())
    if settled != placed:
        result = read(with_corrections(tables, settled, lost))
    result.ledger.corrections = settled
    result.ledger.lost_corrections = lost
    return result


def place_corrections(tables: Tables, corrections: Sequence[Correction], stated: Stated) -> tuple[list[Placed], Lost]:
    """Each correction beside its original; and those without one, or that another one precedes, with the reason."""
    originals = Originals(tables, stated, OURS)
    beside: list[Placed] = []
    lost: list[tuple[Correction, Reason]] = []
    for correction in corrections:
        found = None if correction.fault else originals.find(correction)
        if found is None:
            gone = Why.ORIGINAL_CHANGED.of(row=correction.from_row, file=correction.from_file)
            lost.append((correction, correction.fault or gone))
            continue
        cells = _merged(correction, found, stated)
        state = State.WAITING if cells is None else State.USED
        beside.append(Placed(correction, found.table, found.at, cells, state))
    placed: dict[tuple[Key, int], Placed] = {}
    for here in sorted(beside, key=lambda p: p.cells is None):  # of two rows for one original a changed one counts
        first = placed.setdefault(here.original, here).correction
        if first is not here.correction:
            lost.append((here.correction, Why.CORRECTED_TWICE.of(row=first.row, file=first.file)))
    return list(placed.values()), lost


def _merged(correction: Correction, found: Found, stated: Stated) -> tuple[object, ...] | None:
    """The original's cells with those that somebody changed; None where nothing was.

    A cell was changed where it says something else than it did when the correction was written.
    """
    roles: dict[int, str] = {}
    table = found.table
    if found.kind in ALIASES:
        heads = match_table(found.kind, table.headings, stated.columns.get(found.kind, {}), table.taught.headings)
        roles = {column: name for name, column in heads.at.items()}
    cells = list(table.rows[found.at])
    changed = False
    for label, column in found.columns.items():
        if label not in correction.cells:
            continue
        role, was, saved = roles.get(column, ""), correction.was.get(label, ""), as_text(correction.cells[label])
        was = was if len(was) < LONGEST else as_text(cells[column])  # of a long cell only the beginning was kept
        # 03/05/2024 may be a date that somebody typed as 2024-05-03: what nobody touched has its apostrophe still
        retyped = role in _DATES and correction.saved_as != KNOWN_DATE and not saved.startswith("'")
        if not _same(was, saved) or (retyped and protect(was) != was):
            cells[column] = _new_cell(saved, correction, role)
            changed = changed or as_text(cells[column]) != was
    return tuple(cells) if changed else None


def _settled(placed: Sequence[Placed], aside: Sequence[SetAside]) -> list[Placed]:
    """The corrections with what became of them in a first reading."""
    faulty = {(entry.file, entry.row) for entry in aside}
    bad = {_original(entry) for entry in aside}
    return [
        replace(p, state=State.WAITING if p.original in bad else State.FINE)
        if p.cells is None
        else replace(p, state=State.FAULTY if (p.correction.file, p.correction.row) in faulty else State.USED)
        for p in placed
    ]


def with_corrections(tables: Tables, placed: Sequence[Placed], lost: Lost) -> dict[Kind, list[Table]]:
    """The tables with every correction as a row at the end, which the ledger counts for the file that it stands in."""
    beside: dict[Key, list[Placed]] = {}
    for one in placed:
        beside.setdefault(key_of(one.table), []).append(one)
    out = {kind: [_extended(t, beside.get(key_of(t), [])) for t in some] for kind, some in tables.items()}
    by_file: dict[str, list[tuple[Correction, Reason]]] = {}
    for correction, told in lost:
        by_file.setdefault(correction.file, []).append((correction, told))
    kinds = {table.file: kind for kind, some in tables.items() for table in some}
    for file, rows in by_file.items():
        kind = next((kinds[c.from_file] for c, _ in rows if c.from_file in kinds), _kind_of(file))
        numbers, odd = [c.row for c, _ in rows], {i: told for i, (_, told) in enumerate(rows)}
        out.setdefault(kind, []).append(Table(file, ("pool",), [(None,)] * len(rows), numbers, odd))
    return out


def _kind_of(file: str) -> Kind:
    """The kind of input that a correction file is for, by its name alone."""
    return next((kind for kind in TABLES if Path(file).name.startswith(kind)), Kind.POOLS)


def _extended(table: Table, placed: Sequence[Placed]) -> Table:
    if not placed:
        return table
    rows, numbers, odd = list(table.rows), list(table.numbers), dict(table.odd)
    geometry = None if table.geometry is None else list(table.geometry)
    corrected_in, failed = {}, dict(table.failed)
    for one in placed:
        file, row = one.correction.file, one.correction.row
        if one.state is State.USED:
            odd[one.at] = Why.CORRECTED.of(row=row, file=file)
        elif one.state is State.WAITING:
            odd[len(rows)] = Why.NOT_CORRECTED.of(file=table.file)
        elif one.state is State.FINE:
            odd[len(rows)] = Why.ORIGINAL_FINE.of(row=table.numbers[one.at], file=table.file)
        corrected_in[len(rows)] = file
        cells = one.cells or table.rows[one.at]
        failed |= {(len(rows), j): what for (at, j), what in table.failed.items() if at == one.at and cells[j] is None}
        rows.append(cells)
        numbers.append(row)
        if geometry is not None:
            geometry.append(geometry[one.at])
    return replace(
        table, rows=rows, numbers=numbers, odd=odd, geometry=geometry, corrected_in=corrected_in, failed=failed
    )


# --- writing ---------------------------------------------------------------------------------------------------------


@dataclass
class CorrectionFile:
    """A correction file as written: rows that wait for a person, new ones of them, and those somebody changed."""

    file: str
    waiting: int = 0
    new: int = 0
    changed: int = 0


def write_fixes(
    folder: Path, ledger: Ledger, semicolons: bool = False, say: Callable[[str], str] = str
) -> list[CorrectionFile]:
    """Writes the rows that a person can correct beside their files, and keeps what somebody has changed there.

    A row nobody has touched goes once its original is used or has changed, and a file goes when no row is left.
    A correction file saved as a workbook stays as it is. Cells stand between semicolons where `semicolons` says so, or
    a text of the area or the correction file itself has them; `say`: the words of the reader's language. InputError
    where a file cannot be written.
    """
    aside = ledger.in_order()

    def words_of(told: Reason) -> dict[str, str]:
        return dict(zip(FIRST, map(say, (told.reason, told.remedy)), strict=True))

    by_row = {(e.file, e.row): words_of(e.why) for e in aside}
    by_original = {_original(e): words_of(e.why) for e in aside}
    used = dict(zip(FIRST, map(say, USED), strict=True))
    records: dict[str, list[dict[str, str]]] = {}
    tallies: dict[str, CorrectionFile] = {}

    def keep(file: str, record: dict[str, str] | None) -> CorrectionFile:
        records.setdefault(file, []).extend([record] if record else [])
        return tallies.setdefault(file, CorrectionFile(file))

    for one in sorted(ledger.corrections, key=lambda p: (p.correction.file, p.correction.row)):
        file, row = one.correction.file, one.correction.row
        if one.state is State.FINE:
            keep(file, None)
        elif one.cells is None:
            keep(file, _record(one.table, one.at, None, by_original[one.original])).waiting += 1
        else:
            keep(file, _record(one.table, one.at, one.cells, by_row.get((file, row), used))).changed += 1
    for correction, told in ledger.lost_corrections:
        touched = not _untouched(correction)
        keep(correction.file, _kept(correction, words_of(told)) if touched else None).changed += touched
    known = {one.original for one in ledger.corrections}
    asked = [e for e in aside if _can_be_asked(e)]
    stems = Counter(_beside(file).casefold() for file in {e.file for e in asked})
    for entry in asked:
        if entry.table is not None and _original(entry) not in known:
            name = _beside(entry.file)
            name += "" if stems[name.casefold()] == 1 else Path(entry.file).suffix
            tally = keep(f"{name}{FIX}.csv", _record(entry.table, entry.at, None, words_of(entry.why)))
            tally.waiting, tally.new = tally.waiting + 1, tally.new + 1
    semicolons = semicolons or any(reading.delimiter == ";" for reading in ledger.readings)
    corrections = [*(p.correction for p in ledger.corrections), *(c for c, _ in ledger.lost_corrections)]
    with_semicolons = {c.file for c in corrections if c.semicolons}
    for file, rows in records.items():
        if Path(file).suffix.casefold() in TEXT_SUFFIXES:
            _write(folder / file, rows, ";" if semicolons or file in with_semicolons else ",")
    return [tallies[file] for file in sorted(tallies)]


def _beside(file: str) -> str:
    """The name of a file without its suffix, behind that of its group; one in a zip lies beside the zip."""
    path = Path(file)
    return "/".join((*path.parts[: 2 if path.parts[0].casefold() == GROUPS else 0], path.stem))


def _original(entry: SetAside) -> tuple[Key, int]:
    return (key_of(entry.table) if entry.table is not None else ()), entry.at


def _can_be_asked(entry: SetAside) -> bool:
    """Whether somebody could put the row right in a list of its cells."""
    code = entry.why.code
    if entry.table is None or entry.file != entry.table.file or entry.kind == "overlays" or code in NOT_ASKED:
        return False
    return entry.table.geometry is None or (code not in IN_A_SHAPE and entry.column not in ("position", "geometry"))


def _record(table: Table, at: int, cells: Sequence[object] | None, told: Mapping[str, str]) -> dict[str, str]:
    """A row of a correction file, by column: the reason, the row's own cells, and the way back to its original."""
    own = zip(labels(table, OURS), table.rows[at] if cells is None else cells, strict=True)
    was = json.dumps(cells_of(table, at, OURS), ensure_ascii=False)
    way_back = (table.file, table.sheet, str(table.numbers[at]), was, KNOWN_DATE)
    return {
        **told,
        **{label: protect(as_text(cell)) for label, cell in own},
        **dict(zip(LAST, way_back, strict=True)),
    }


def _kept(correction: Correction, told: Mapping[str, str]) -> dict[str, str]:
    """A row that belongs nowhere any more, as it was; only a person can say whether it may go."""
    own = {label: protect(unprotect(as_text(cell))) for label, cell in correction.cells.items()}
    way_back = {name: own.get(name, "") for name in LAST} | {"saved_as": correction.saved_as}
    return own | dict(told) | way_back


def _untouched(correction: Correction) -> bool:
    """Whether a row says what it said when it was written."""
    own = {n: as_text(cell) for n, cell in correction.cells.items() if n not in OURS}
    return not correction.fault and all(_same(correction.was.get(n, ""), text[:LONGEST]) for n, text in own.items())


def _write(path: Path, records: Sequence[Mapping[str, str]], delimiter: str) -> None:
    """The file in one step; the mark at its start tells every spreadsheet program that it is UTF-8."""
    if not records:
        path.unlink(missing_ok=True)
        return
    own = dict.fromkeys(name for record in records for name in record if name not in OURS)
    columns = [*FIRST, *own, *LAST]
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    writer.writerow([guard(name) for name in columns])
    writer.writerows([record.get(name, "") for name in columns] for record in records)
    unfinished = path.with_name(f".{path.name}.new")
    try:
        unfinished.write_bytes(out.getvalue().encode("utf-8-sig"))
        os.replace(unfinished, path)
    except OSError as fault:
        raise InputError(
            f"{path.name} could not be written ({fault.strerror}); close it where it is open, and run check --fix again"
        ) from fault
    finally:
        unfinished.unlink(missing_ok=True)
