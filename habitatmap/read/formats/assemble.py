"""Rows of cells become tables: where the headings are, what is no record, and where a second table begins.

It is the same for text and for sheets. Titles above the headings, blank lines and comments are no rows.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.dates import is_day
from habitatmap.read.formats.cells import Failed, as_text, encoded_once
from habitatmap.read.formats.lines import (
    FEWEST_COLUMNS,
    Record,
    day_in,
    is_grid_line,
    is_group_line,
    joined,
    legend_of,
    lone_lines,
    sections,
)
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import fold, is_known, our_name, tells_records_apart
from habitatmap.read.templates import MARKS, is_example, is_marked, is_no_data
from habitatmap.sentences import Sentence, apart, count, say

# titles and notes above the headings: so many filled rows are looked through
DEEPEST_HEADING = 40

# a number or a date, or a shape as WKT: what no heading is
_IN_RECORDS = re.compile(r"(?:\A|\0)[+-]?[.,]?\d|\(\s*-?[\d.]+ +-?[\d.]")
_DIGIT, _DIGITS = re.compile(r"\d"), frozenset("0123456789")
_TOTALS = re.compile(
    r"(grand |sub ?)?(totals?|sum|summe|gesamt|gesamtsumme|insgesamt|zwischensumme|somme|total general|total général|"
    r"totaal|som|suma|yhteensä|summa|mean|average|mittelwert|durchschnitt|moyenne|gemiddelde|media|promedio|keskiarvo)"
    r"\s*[:=]?\s*[\d.,\s]*$",
    re.IGNORECASE,
)


def tables_of(
    file: str,
    records: Sequence[Record],
    stated: frozenset[str],
    notes: Sequence[Sentence],
    *,
    sheet: str = "",
    ragged: bool,
) -> list[Table]:
    """The tables of what was read, none where all is blank.

    stated: headings that area.toml names, folded. ragged: a row may be longer than its headings because its cells are
    shifted, as in text. InputError where there is no row of headings.
    """
    filled = [record for record in records if any(record[1]) or record[1].count(None) < len(record[1])]
    if not filled or is_no_data(filled[0][1]):
        return []
    filled, repaired = _encoded_once(filled)
    notes = [*notes, *repaired]
    tables: list[Table] = []
    for block in [filled] if ragged else _beside(filled, stated):
        parts = _below(block, stated)
        if not parts:
            raise InputError(
                f"{file}{f', sheet {sheet}' if sheet else ''} has no row of headings; write one above the data, such "
                "as pool, lat, lon"
            )
        tables += [_table(file, part, notes, sheet, ragged) for part in parts]
    if len(tables) > 1:
        # headings without a row below are the title of what follows
        tables = [t for t in tables if len(t)] or tables[-1:]
    return tables


def _encoded_once(filled: Sequence[Record]) -> tuple[list[Record], list[Sentence]]:
    """The records with each text that was encoded twice as it was meant, and a word on them."""
    odd = dict.fromkeys(c for _, cells in filled for c in cells if isinstance(c, str) and not c.isascii())
    found = {c: meant for c in odd if (meant := encoded_once(c))}
    if not found:
        return list(filled), []
    written, meant = next(iter(found.items()))
    repaired = [(n, [found.get(c, c) if isinstance(c, str) else c for c in cells]) for n, cells in filled]
    told = "texts that were encoded twice were read as meant ({written} as {meant})"
    return repaired, [say(told, written=written, meant=meant)]


# --- where a table begins --------------------------------------------------------------------------------------------


def _beside(filled: Sequence[Record], stated: frozenset[str]) -> list[Sequence[Record]]:
    """The sheet cut into tables that stand side by side, an empty column between them; mostly there is one."""
    width = max(len(cells) for _, cells in filled)
    empty = [all(j >= len(cells) or cells[j] is None for _, cells in filled) for j in range(width)]
    starts = [j for j in range(width) if not empty[j] and (j == 0 or empty[j - 1])]
    keys = [
        {
            fold(c)
            for _, cells in filled[:DEEPEST_HEADING]
            if sum(is_known(c, stated) for c in cells[start:end]) >= 2
            for c in cells[start:end]
            if tells_records_apart(c)
        }
        for start, end in pairwise([*starts, width])
    ]
    # a second table names its pools or places in a column of its own, under the same word as the first
    cuts = [starts[i] for i in range(1, len(starts)) if any(keys[i] & before for before in keys[:i])]
    if not cuts:
        return [filled]
    blocks = [[(n, cells[a:b]) for n, cells in filled] for a, b in pairwise([0, *cuts, width])]
    return [[(n, cells) for n, cells in block if any(c is not None for c in cells)] for block in blocks]


@dataclass
class _Part:
    """One table on its way: its headings, the groups above them, the lines above those, and its rows."""

    headings: list[object]
    rows: list[Record] = field(default_factory=list)
    groups: list[str] = field(default_factory=list)
    title: list[list[object]] = field(default_factory=list)


def _below(filled: Sequence[Record], stated: frozenset[str]) -> list[_Part]:
    """Each table of a block: where other headings follow, another table begins."""
    top = _heading_record(filled, stated)
    if top is None:
        return []
    above = filled[top - 1] if top else (0, [])
    parts = [_Part(list(filled[top][1]), title=[cells for _, cells in filled[:top]])]
    if above[0] == filled[top][0] - 1 and is_group_line(above[1], filled[top][1]):
        parts[0].headings, parts[0].groups = joined(above[1], filled[top][1])
        parts[0].title.pop()
    for number, cells in filled[top + 1 :]:
        part = parts[-1]
        if _reads_as_headings(cells, stated) and not _repeats(cells, part.headings):
            title = [part.rows.pop()[1]] if _is_title(part.rows) else []
            if part.rows:
                parts.append(_Part(list(cells), title=title))
            else:
                part.headings, part.groups = joined(part.headings, cells)
        else:
            part.rows.append((number, cells))
    return parts


def _is_title(rows: Sequence[Record]) -> bool:
    """Whether the last row before other headings is one text under an empty line: the title of the next table."""
    if len(rows) < 2 or rows[-1][0] == rows[-2][0] + 1:
        return False
    return [isinstance(c, str) for c in rows[-1][1] if c is not None] == [True]


def _beside_numbers(headings: list[object], rows: Sequence[Record]) -> list[object]:
    """Headings with a blank one in front where each row begins with its number, which some programs write unheaded."""
    one_more = all(len(cells) == len(headings) + 1 for _, cells in rows)
    counted = one_more and [cells[0] for _, cells in rows] == [str(i) for i in range(1, len(rows) + 1)]
    return [None, *headings] if counted and len(rows) > 1 else headings


def _heading_record(filled: Sequence[Record], stated: frozenset[str]) -> int | None:
    """Position of the row of headings: the one with most known headings, else the first full row of plain words."""
    first = filled[:DEEPEST_HEADING]
    known = [len({fold(str(c)) for c in cells if is_known(c, stated)}) for _, cells in first]
    best = max(range(len(first)), key=lambda i: (known[i], -i))
    if known[best] >= 2:
        # a table above another one may have fewer headings than it
        return next(i for i in range(best + 1) if i == best or _reads_as_headings(first[i][1], stated))
    for i, (_, cells) in enumerate(first):
        if is_grid_line(cells, first[i - 1][1] if i else ()) and (i + 1 < len(filled)):
            return i
    sizes = [sum(c is not None for c in cells) for _, cells in filled[:1000]]
    usual = Counter(sizes).most_common(1)[0][0]
    for i, (_, cells) in enumerate(first):
        given = [c for c in cells if c is not None]
        if len(given) * 2 >= usual and all(isinstance(c, str) and not re.match(r"[+-]?[\d.,]+$", c) for c in given):
            return i
    return None


def _reads_as_headings(cells: Sequence[object], stated: frozenset[str]) -> bool:
    """Whether a row is words only, at least two of them and half of them known headings, one of names or places.

    A record may hold such words too: a park called "Park", of the kind "park", with the consent "no", which is a number
    only as "no." or beside other headings. But it has a number, a date or a shape.
    """
    for cell in cells:
        if isinstance(cell, str) and cell[:1] in _DIGITS:  # as in nearly all records
            return False
    given = [c for c in cells if isinstance(c, str)]
    if len(given) < len(cells) - cells.count(None) or _IN_RECORDS.search("\0".join(given)):
        return False
    known = {fold(c) for c in given if is_known(c, stated)}
    return (
        len(known) >= 2
        and len(known) * 2 >= len(given)
        and any(tells_records_apart(c) for c in given if c.casefold() != "no")
    )


def _repeats(cells: Sequence[object], headings: Sequence[object]) -> bool:
    """Whether each cell given says what the heading of its column says."""
    given = [(h, c) for h, c in zip(headings, cells, strict=False) if c is not None]
    same = all(isinstance(c, str) and fold(c) == fold(as_text(h)) for h, c in given)
    return same and len(given) >= min(2, sum(h is not None for h in headings))


# --- the rows of one table -------------------------------------------------------------------------------------------


def _table(file: str, part: _Part, notes: Sequence[Sentence], sheet: str, ragged: bool) -> Table:
    records = part.rows
    headings = [as_text(c).strip() for c in (_beside_numbers(part.headings, records) if ragged else part.headings)]
    while headings and not headings[-1] and not ragged:
        headings.pop()
    if ragged:
        headings += [""] * (_usual_width(headings, records) - len(headings))
    width = len(headings)
    rows: list[tuple[object, ...]] = []
    numbers: list[int] = []
    odd: dict[int, Why] = {}
    failed: dict[tuple[int, int], Failed] = {}
    beside: list[int] = []
    told = _lines_told(part, headings)
    noted = width > 0 and our_name(headings[-1]) == "note"
    runs_on = _runs_on(headings, records)
    days: list[str] = []  # of each row, where lines between the rows name it
    day = told.day
    for at, (number, cells) in enumerate(records):
        if at in told.passed:
            day = day_in(told.passed[at]) or day
            continue
        begins, first = _first_of(cells)
        by_word = isinstance(first, str) and _may_be_no_record(first, headings[begins] if begins < width else "")
        if by_word and (_is_comment(cells) or is_example(cells)):
            continue
        inside, beyond = cells, False
        if len(cells) > width:
            inside, beyond = cells[:width], any(c is not None for c in cells[width:])
        fault = _oddness(inside, headings) if by_word else None
        if beyond and ragged and not fault:
            fault = None if runs_on(cells) else Why.LONG_ROW
            inside = _with_rest(cells, width) if fault is None and noted else inside
            beside += [number] if fault is None else []
        if beyond and not ragged:
            beside.append(number)
            if all(c is None for c in inside):
                continue
        if fault:
            odd[len(rows)] = fault
        if Failed in map(type, inside):
            failed |= {(len(rows), j): c for j, c in enumerate(inside) if isinstance(c, Failed)}
            inside = [None if isinstance(c, Failed) else c for c in inside]
        rows.append(tuple(inside) if len(inside) == width else (*inside, *(None,) * (width - len(inside))))
        numbers.append(number)
        days.append(day)
    if not told.dated and any(days):
        headings.append(DATE_OF_LINES)
        rows = [(*row, said or None) for row, said in zip(rows, days, strict=True)]
    left_out: list[Sentence] = []
    if told.passed:
        names = [say("row {row}: {text}", row=str(records[at][0]), text=text[:40]) for at, text in told.passed.items()]
        between = "{lines} between the rows that hold no record ({rows})"
        left_out.append(say(between, lines=count(len(names), "line"), rows=apart(names[:3], "; ")))
    if beside:
        past = (
            "notes that run past the headings were read whole (row {row} and {n} more)"
            if noted
            else "cells beside the table were not read (row {row} and {n} more)"
        )
        left_out.append(say(past, row=str(beside[0]), n=len(beside) - 1))
    for j, heading in enumerate(headings):
        if not heading and any(row[j] is not None for i, row in enumerate(rows) if i not in odd):
            left_out.append(say("column {n} of the table has no heading and was not read", n=j + 1))
    return Table(
        file,
        tuple(headings),
        rows,
        numbers,
        odd,
        sheet=sheet,
        notes=tuple(notes),
        left_out=tuple(left_out),
        failed=failed,
        title=tuple(tuple(as_text(c) for c in cells if c is not None) for cells in part.title),
        groups=tuple(part.groups),
        legend=told.legend,
    )


# the heading of a column made of the lines that name a day above each block of rows
DATE_OF_LINES = "date"


@dataclass(frozen=True)
class _Told:
    """What lines without records tell: those among the rows by position, what marks mean, and the day on top."""

    passed: dict[int, str]
    legend: dict[str, str]
    dated: bool  # whether the table has a column of dates
    day: str


def _lines_told(part: _Part, headings: Sequence[str]) -> _Told:
    names = {our_name(heading) for heading in headings}
    # only a list of visits is dated by the lines between its rows
    dated = not names & {"outcome", "larvae"} or "date" in names or any(map(is_day, headings))
    lines = [as_text(c) for cells in part.title for c in cells if isinstance(c, str)]
    lone = lone_lines(part.rows) if sum(map(bool, headings)) >= FEWEST_COLUMNS else {}
    passed = sections(part.rows, lone, dated)
    legend: dict[str, str] = {}
    for at, (_, text) in lone.items():
        if meant := legend_of(text):
            passed[at] = text
            legend |= meant
    for line in lines:
        legend |= legend_of(line)
    return _Told(passed, legend, dated, "" if dated else next(filter(None, map(day_in, lines)), ""))


def _usual_width(headings: Sequence[str], records: Sequence[Record]) -> int:
    """How many cells the rows of a text have, where most have the same more than there are headings and none is
    shifted: what stands beyond is blank in most of them, or what stands under the headings fits these.
    """
    width = len(headings)
    (usual, times), *_ = Counter(len(cells) for _, cells in records).most_common(1) or [(width, 0)]
    if usual <= width or times * 2 <= len(records):
        return width
    wide = [cells for _, cells in records if len(cells) == usual]
    blank = sum(all(c is None for c in cells[width:]) for cells in wide)
    return usual if blank * 2 > len(wide) or _fit(headings, wide) else width


# what the cells under some headings look like, by the first letters of our name of these; a shifted row fits it seldom
_LOOKS = {
    "lat": re.compile(r"[+-]?\d{1,2}[.,]\d{2,}\s*[°º]?\s*[NS]?"),
    "lon": re.compile(r"[+-]?\d{1,3}[.,]\d{2,}\s*[°º]?\s*[EWO]?"),
    "x": re.compile(r"[+-]?\d{4,}([.,]\d+)?"),
    "y": re.compile(r"[+-]?\d{4,}([.,]\d+)?"),
    "date": re.compile(r"\d{1,4}\s*[./ -]\s*[\w.]{1,10}\s*[./ -]\s*\d{1,4}.*"),
}


def _runs_on(headings: Sequence[str], records: Sequence[Record]) -> Callable[[Sequence[object]], bool]:
    """Tells of a long row whether its last text runs on beyond the headings, and nothing is shifted.

    Its cells fit their headings, and the last of these are notes, or such that they would not fit a shifted row in a
    text most of whose rows are long.
    """
    width = len(headings)
    last = our_name(headings[-1]) if headings else ""
    most = sum(len(cells) > width for _, cells in records) * 2 > len(records)
    if last != "note" and not (most and last in _LOOKS):
        return lambda cells: False
    return lambda cells: _fit(headings, [cells])


def _with_rest(cells: Sequence[object], width: int) -> list[object]:
    """The cells of a row whose note runs on, the rest in the note."""
    rest = [as_text(c) for c in cells[width - 1 :] if c is not None]
    return [*cells[: width - 1], ", ".join(rest) or None]


def _fit(headings: Sequence[str], rows: Sequence[Sequence[object]]) -> bool:
    """Whether the cells look like their headings, in all columns where that can be told, and in some it can."""
    looks = [(j, _LOOKS[name]) for j, heading in enumerate(headings) if (name := our_name(heading)) in _LOOKS]
    given = [[cells[j] for cells in rows if isinstance(cells[j], str)] for j, _ in looks]
    fitting = [sum(bool(look.fullmatch(str(c))) for c in cells) for (_, look), cells in zip(looks, given, strict=True)]
    return bool(looks) and all(n * 10 >= 9 * len(cells) > 0 for n, cells in zip(fitting, given, strict=True))


def _first_of(cells: Sequence[object]) -> tuple[int, object]:
    """The place of the first cell that is not blank, and the cell; (0, None) where all are."""
    if cells and cells[0] is not None:
        return 0, cells[0]
    return next(((i, c) for i, c in enumerate(cells) if c is not None), (0, None))


@lru_cache(maxsize=20_000)
def _may_be_no_record(first: str, heading: str) -> bool:
    """Whether a row that begins with this text under a heading may be a comment, an example, a total, or the headings
    again: a quick look, as nearly all rows are records."""
    if first[:1] not in _DIGITS and (
        first.startswith("#") or first.casefold() in MARKS or _TOTALS.fullmatch(first) is not None
    ):
        return True
    # folding is slow, and keeps a number
    return not (_DIGIT.search(first) and not _DIGIT.search(fold(heading))) and fold(first) == fold(heading)


def _is_comment(cells: Sequence[object]) -> bool:
    """A line that starts with #: alone in its row, or as `# ` before words only; `#12, 60.1, 24.9` is a pool."""
    first = next(c for c in cells if c is not None)
    if not isinstance(first, str) or not first.startswith("#"):
        return False
    _, *others = (c for c in cells if c is not None)
    return not others or (not first[1:2].isalnum() and not any(re.search(r"\d", as_text(c)) for c in others))


def _oddness(cells: Sequence[object], headings: Sequence[str]) -> Why | None:
    at, first = _first_of(cells)
    if not isinstance(first, str):
        return None
    if fold(first) == fold(headings[at]) and _repeats(cells, headings):
        return Why.HEADING_AGAIN
    if is_marked(cells):
        return Why.STILL_EXAMPLE
    return Why.TOTAL_ROW if _TOTALS.fullmatch(first) else None
