"""Lines of a table that are no records but tell something: titles, sections, legends, groups of headings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from habitatmap.read.dates import is_day, month_number
from habitatmap.read.formats.cells import as_text
from habitatmap.read.headings import KNOWN, fold
from habitatmap.read.outcome_words import OUTCOME_WORDS

# the number that a spreadsheet shows for a row, and its cells
Record = tuple[int, list[object]]

# "x = larvae seen, o: nothing found"
_MEANING = re.compile(r"(?:^|[,;/|]\s*|\s{2,})([^\s=:,;]{1,12})\s*(?:=|:|->|→)\s*([^,;/|=:]+)")
# a day is written in so many words at most: on Sunday 3 May 2025
MOST_WORDS = 4
# a table of fewer columns has rows of one cell
FEWEST_COLUMNS = 3


def legend_of(text: str) -> dict[str, str]:
    """What a line says that marks mean, the marks in small letters; only meanings that are outcomes count."""
    pairs = [(mark.strip().casefold(), " ".join(meaning.split())) for mark, meaning in _MEANING.findall(text)]
    found = {mark: meaning for mark, meaning in pairs if fold(meaning) in OUTCOME_WORDS}
    return found if len(found) == len(pairs) else {}


def day_in(text: str) -> str:
    """The one day that a line names, as it is written there; "" where it names none or several."""
    words = [word.strip("()[],;:!") for word in text.split()]
    days, at = [], 0
    while at < len(words):
        spans = [" ".join(words[at : at + n]) for n in range(MOST_WORDS, 0, -1) if at + n <= len(words)]
        day = next((span for span in spans if is_day(span)), "")
        days += [day] if day else []
        at += len(day.split()) or 1
    return days[0] if len(days) == 1 else ""


def alone(cells: Sequence[object]) -> tuple[int, str] | None:
    """The place and the text of the only cell of a row, None for a row of more cells, or of a number."""
    given = [(j, cell) for j, cell in enumerate(cells) if cell is not None]
    return (given[0][0], given[0][1]) if len(given) == 1 and isinstance(given[0][1], str) else None


def lone_lines(records: Sequence[Record]) -> dict[int, tuple[int, str]]:
    """The rows of one text only, by position: its column and the text."""
    return {
        at: one
        for at, (_, cells) in enumerate(records)
        if (len(cells) < 2 or cells[0] is None or cells[1] is None)  # as in few records
        and len(cells) - cells.count(None) == 1
        and (one := alone(cells))
    }


def sections(records: Sequence[Record], lone: Mapping[int, tuple[int, str]], dated: bool) -> dict[int, str]:
    """The lines between the rows that only name what follows ("North park"), by their position.

    A line is one text in the first column before a full row. It may be a record that lacks all else, so it must not
    be written like the names there ("P4"), unless it names a day and the table (`dated`) has no column of dates.
    """
    if not lone:
        return {}
    first = min(j for j, _ in lone.values())
    full = [cells for at, (_, cells) in enumerate(records) if at not in lone and len(cells) > first]
    shapes = {_shape(as_text(cells[first])) for cells in full}
    return {
        at: text
        for at, (column, text) in lone.items()
        if at + 1 < len(records) and at + 1 not in lone and column == first
        if _shape(text) not in shapes or (not dated and day_in(text))
    }


def _shape(text: str) -> str:
    return re.sub(r"\d+", "9", re.sub(r"[^\W\d]+", "a", " ".join(text.split())))


def joined(above: Sequence[object], below: Sequence[object]) -> tuple[list[object], list[str]]:
    """Headings of two lines as one, and the upper word over each column ("Visit 1" over "date" and "outcome").

    The lower word tells more; both together count where that is a heading ("Behälter" over "Art"), or a day ("May"
    over 3).
    """
    width = max(len(above), len(below))
    up, down = ([*line, *[None] * (width - len(line))] for line in (above, below))
    groups: list[str] = []
    for cell, lower in zip(up, down, strict=True):
        told = as_text(cell) if cell is not None else (groups[-1] if groups and lower is not None else "")
        groups.append("" if told == as_text(lower) else told)
    return [_one(cell, group, lower) for cell, group, lower in zip(up, groups, down, strict=True)], groups


def _one(cell: object, group: str, lower: object) -> object:
    if lower is None:
        return cell
    both = f"{group} {as_text(lower)}"
    if group and month_number(group.split()[0]) and as_text(lower).rstrip(".").isdecimal():
        return " ".join([as_text(lower).rstrip("."), *group.split()])
    return both if group and fold(both) in KNOWN else lower


def is_group_line(above: Sequence[object], headings: Sequence[object]) -> bool:
    """Whether a line directly above the headings is one of groups: words over several of them, not a title alone."""
    given = [j for j, cell in enumerate(above) if cell is not None]
    over = [j for j in given if j < len(headings) and headings[j] is not None]
    return bool(over) and (len(given) > 1 or given[0] > 0) and len(over) < sum(h is not None for h in headings)


def is_grid_line(cells: Sequence[object], above: Sequence[object] = ()) -> bool:
    """Whether a line is the heading of a grid: words first, if any, then days, or days of the months above them."""
    given = [(j, as_text(cell)) for j, cell in enumerate(cells) if cell is not None]
    months = any(month_number(as_text(cell).split()[0]) for cell in above if isinstance(cell, str) and cell.split())
    numbers = [j for j, text in given if months and re.fullmatch(r"([1-9]|[12]\d|3[01])\.?", text)]
    days = sorted({j for j, text in given if is_day(text)} | {*numbers})
    words = [text for j, text in given if j not in days]
    return len(days) >= 2 and days[-1] - days[0] == len(days) - 1 and not any(re.search(r"\d", text) for text in words)
