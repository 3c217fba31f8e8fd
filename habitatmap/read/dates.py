"""Dates as people write them. The order of day and month is decided for a whole column by evidence, never for a row."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from functools import lru_cache

from habitatmap.errors.why import Why
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import DAY_ZERO
from habitatmap.read.headings import fold

# no date is longer than this, weekday and time of day included
LONGEST = 80
FIRST_YEAR, LAST_YEAR = 1900, 2199
# numbers that can be a count of days: those of 1954 to 2119
_SERIALS = range(20_000, 80_000)

_MONTHS = [
    "january januar janner jan janvier januari enero tammikuu tammikuuta",
    "february februar feber feb fevrier februari febrero helmikuu helmikuuta",
    "march marz maerz mars maart marzo maaliskuu maaliskuuta",
    "april apr avril abril huhtikuu huhtikuuta",
    "may mai mei mayo toukokuu toukokuuta",
    "june juni juin junio kesakuu kesakuuta",
    "july juli juillet julio heinakuu heinakuuta",
    "august aug aout augustus agosto elokuu elokuuta",
    "september sept septembre septiembre syyskuu syyskuuta",
    "october oktober octobre octubre lokakuu lokakuuta",
    "november novembre noviembre marraskuu marraskuuta",
    "december dezember decembre diciembre joulukuu joulukuuta",
]
_ROMANS = "i ii iii iv v vi vii viii ix x xi xii".split()
# 20.V.2025, as many museums and recorders write
_ROMAN = re.compile(rf"(\d{{1,2}})[.\s/-]+({'|'.join(_ROMANS)})[.\s/-]+(\d{{4}}|\d{{2}})", re.IGNORECASE)
_FULL = {word: number for number, words in enumerate(_MONTHS, 1) for word in words.split()}
# short forms that are no beginnings, or that would make the beginnings of other months unclear
_SHORT = {"mrt": 3} | {
    word: number
    for number, word in enumerate("tammi helmi maalis huhti touko kesa heina elo syys loka marras joulu".split(), 1)
}
_CLOCK = r"(?:\d{1,2}[:.h]\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*(?:am|pm|uhr|h)?|\d{1,2}\s*(?:am|pm|uhr|h))"
_TIME = re.compile(
    rf"(?:[T ,]+|(?<=\d)\s*)(?:um |at |à |klo )?{_CLOCK}\s*(?:z|utc|gmt|[+-]\d{{2}}:?\d{{2}})?$|^{_CLOCK}[ ,]+",
    re.IGNORECASE,
)
# words beside a date that do not change it; any other, such as "before" or "about", does
_BESIDE = frozenset(
    """monday tuesday wednesday thursday friday saturday sunday mon tue tues wed thu thur thurs fri sat sun
    montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag mo di mi do fr sa so
    lundi mardi mercredi jeudi vendredi samedi dimanche lun mar mer jeu ven sam dim
    maandag dinsdag woensdag donderdag vrijdag zaterdag zondag ma wo vr za zo
    lunes martes miercoles jueves viernes sabado domingo mie jue vie sab dom
    maanantai tiistai keskiviikko torstai perjantai lauantai sunnuntai ti ke to pe la su
    maanantaina tiistaina keskiviikkona torstaina perjantaina lauantaina sunnuntaina
    st nd rd th o of the on de del el dia le du er e den der am vom op van""".split()
)
_NUMERIC = re.compile(r"(\d{1,2})\s*([./-]|\s)\s*(\d{1,2})\s*\2\s*(\d{4}|\d{2})\.?$")
_YEAR_FIRST = re.compile(r"(\d{4})\s*([./-]?)\s*(\d{1,2})\s*\2\s*(\d{1,2})\.?$")

ORDERS = {"dmy": (0, 1, 2), "mdy": (1, 0, 2), "ymd": (2, 1, 0)}  # where day, month and year stand
Readings = dict[str, datetime.date]


def month_number(word: str) -> int | None:
    """1-12 for the name of a month or the first three or more letters of it, in six languages; None if unclear."""
    plain = fold(word)
    if plain in _FULL or plain in _SHORT:
        return _FULL.get(plain) or _SHORT[plain]
    if len(plain) < 3 or len(plain) > 4:
        return None
    # the whole Finnish names begin like other months of other languages
    found = {number for full, number in _FULL.items() if full.startswith(plain) and not full.endswith(("kuu", "kuuta"))}
    return found.pop() if len(found) == 1 else None


def read_dates(
    cells: Sequence[object], heading: str = "", day_zero: datetime.date = DAY_ZERO
) -> list[datetime.date | Why | None]:
    """Dates of a column: a date, why there is none, or None for a blank cell. A time of day is left out.

    A purely numeric date has as many readings as there are orders that make it a day. The order that the heading
    states, or the only one that fits every such cell of the column, is the column's. Where none is, a cell with one
    reading only is read, the others are undecided. Two-figure years are of this century. A number is a count of days
    from `day_zero`, as spreadsheets store dates.
    """
    read = [_read(cell, day_zero) for cell in cells]
    numeric = [r for r in read if isinstance(r, dict)]
    stated = _stated_order(heading)
    fitting = {o for o in ORDERS if all(o in r for r in numeric)}
    order = stated or (fitting.pop() if len(fitting) == 1 else None)
    mixed = not stated and not fitting and order is None
    dates = [_settle(r, order, mixed) if isinstance(r, dict) else r for r in read]
    if _looks_swapped(cells, read):
        for i, cell in enumerate(cells):
            if isinstance(cell, datetime.date) and cell.day != cell.month:
                dates[i] = Why.DATES_SWAPPED
    return dates


def _settle(readings: Readings, order: str | None, mixed: bool) -> datetime.date | Why:
    if order in readings:
        return readings[order]
    if order is not None:
        return Why.DATE_IMPOSSIBLE
    if len(set(readings.values())) == 1:
        return next(iter(readings.values()))
    return Why.DATES_MIXED if mixed else Why.DATE_UNDECIDED


def _looks_swapped(cells: Sequence[object], read: Sequence[object]) -> bool:
    """A program with American settings reads 3/4 as 4 March and leaves 25/4 as text: the trace is all that is left."""
    days = [c.day for c in cells if isinstance(c, datetime.date)]
    texts = [set(r) for r in read if isinstance(r, dict)]
    return len(days) >= 2 and len(texts) >= 2 and max(days) <= 12 and all(t == {"dmy"} for t in texts)


def _stated_order(heading: str) -> str | None:
    """The order a heading states: (dd/mm/yyyy), [TT.MM.JJJJ], pp.kk.vvvv, ..."""
    match = re.search(
        r"\b(d{1,2}|t{1,2}|j{1,2}|p{1,2})[./ -]+(m{1,2}|k{1,2})[./ -]+(y{2,4}|j{2,4}|a{2,4}|v{2,4})\b", heading, re.I
    )
    if match:
        return "dmy"
    if re.search(r"\bm{1,2}[./ -]+(d{1,2}|t{1,2}|j{1,2})[./ -]+(y{2,4}|j{2,4}|a{2,4})\b", heading, re.I):
        return "mdy"
    return (
        "ymd"
        if re.search(r"\b(y{2,4}|j{2,4}|a{2,4}|v{2,4})[./ -]+(m{1,2}|k{1,2})[./ -]+[dtjp]{1,2}\b", heading, re.I)
        else None
    )


def _day(year: int, month: int, day: int) -> datetime.date | None:
    try:
        return datetime.date(year, month, day) if FIRST_YEAR <= year <= LAST_YEAR else None
    except ValueError:
        return None


def _read(cell: object, day_zero: datetime.date) -> datetime.date | Why | Readings | None:
    if cell is None:
        return None
    if isinstance(cell, datetime.datetime):
        cell = cell.date()
    if isinstance(cell, datetime.date):
        return cell if FIRST_YEAR <= cell.year <= LAST_YEAR else Why.DATE_IMPOSSIBLE
    if isinstance(cell, bool) or not isinstance(cell, (int, float, str)):
        return Why.DATE_UNREAD
    if isinstance(cell, (int, float)) and int(cell) in _SERIALS:
        return day_zero + datetime.timedelta(days=int(cell))
    return _read_written(as_text(cell).strip())


@lru_cache(maxsize=20_000)  # a season has few days and many visits
def _read_written(text: str) -> datetime.date | Why | Readings:
    if len(text) > LONGEST:
        return Why.DATE_UNREAD
    bare = re.sub(r"[.,]\d*$", "", text) if re.fullmatch(r"\d{5}[.,]\d+", text) else text
    if bare.isdigit():
        return _read_digits(bare)
    without_time = _TIME.sub("", text).strip()
    for candidate in dict.fromkeys((text, without_time)):
        found = _read_text(candidate)
        if found is not Why.DATE_UNREAD:
            return found
    return Why.DATE_UNREAD


def _read_digits(text: str) -> datetime.date | Why:
    if len(text) == 8:
        return _day(int(text[:4]), int(text[4:6]), int(text[6:])) or Why.DATE_IMPOSSIBLE
    if len(text) == 5 and int(text) in _SERIALS:
        return DAY_ZERO + datetime.timedelta(days=int(text))
    return Why.DATE_NOT_WHOLE if len(text) == 4 else Why.DATE_UNREAD


def _read_text(text: str) -> datetime.date | Why | Readings:
    year_first = _YEAR_FIRST.fullmatch(text)
    if year_first:
        year, _, month, day = year_first.groups()
        return _day(int(year), int(month), int(day)) or Why.DATE_IMPOSSIBLE
    before = re.match(r"([^\W\d]+)\.?,?\s+(?=\d{1,2}[./-]\d)", text)
    if before and fold(before[1]) in _BESIDE:
        text = text[before.end() :]
    numeric = _NUMERIC.fullmatch(text)
    if numeric:
        first, mark, second, third = numeric.groups()
        numbers = (int(first), int(second), int(third))
        readings = {}
        for order, (d, m, y) in ORDERS.items():
            if order == "ymd" and (len(third) == 4 or mark != "-"):
                continue
            year = numbers[y] if numbers[y] >= 100 or (y == 2 and len(third) == 4) else 2000 + numbers[y]
            date = _day(year, numbers[m], numbers[d])
            if date is not None:
                readings[order] = date
        return readings or Why.DATE_IMPOSSIBLE
    roman = _ROMAN.fullmatch(text)
    if roman:
        text = f"{roman[1]} {_MONTHS[_ROMANS.index(roman[2].casefold())].split()[0]} {roman[3]}"
    if re.search(r"[?~<>≈±]", text):
        return Why.DATE_UNREAD
    words = re.findall(r"\d+|[^\W\d]+", text)
    named = [(w, month_number(w)) for w in words if not w.isdigit()]
    months = [number for _, number in named if number is not None]
    if len(months) == 2 and fold(named[0][0]) in _BESIDE:
        months = months[1:]  # "mar. 3 mai 2024" begins with Tuesday
    if any(number is None and fold(word) not in _BESIDE for word, number in named):
        return Why.DATE_UNREAD
    numbers_ = [w for w in words if w.isdigit()]
    if len(months) == 1 and len(numbers_) == 2:
        years = [n for n in numbers_ if len(n) == 4]
        if len(years) == 1:
            year_text, day_text = years[0], next(n for n in numbers_ if n is not years[0])
        elif all(len(n) <= 2 for n in numbers_):
            day_text, year_text = numbers_[0], str(2000 + int(numbers_[1]))
        else:
            return Why.DATE_UNREAD
        return _day(int(year_text), months[0], int(day_text)) or Why.DATE_IMPOSSIBLE
    if len(months) == 1 and len(numbers_) <= 1:
        return Why.DATE_NOT_WHOLE
    if re.fullmatch(r"\d{1,2}[./-]\d{4}|\d{4}[./-]\d{1,2}|\d{1,2}[./]\d{1,2}\.?|\d{4}", text):
        return Why.DATE_NOT_WHOLE
    return Why.DATE_UNREAD
