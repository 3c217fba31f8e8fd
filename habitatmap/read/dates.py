"""Dates as people write them. The order of day and month is decided for a whole column by evidence, never for a row.

A month, a season or a year is no day: it is a `Span`, where a span is enough.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from habitatmap.errors.why import Why
from habitatmap.read.formats.cells import as_text, each_once, narrow
from habitatmap.read.formats.table import DAY_ZERO
from habitatmap.read.headings import fold
from habitatmap.sentences import Sentence

# Of the languages in Unicode's CLDR none writes the month first where dots part the numbers and the year is last; some
# who write English do, so that the heading must be in another language: one of these words stands in it
_OTHER_LANGUAGES = frozenset(
    """datum tag aufgestellt aufstelldatum aufstellung ausgebracht ausbringung entfernt abgebaut abbau besuch besucht
    besuchsdatum begehung kontrolle kontrolldatum jour pose installe retrait visite geplaatst plaatsing plaatsingsdatum
    uitgezet verwijderd weggehaald bezoek bezoekdatum dag controledatum fecha dia visita paiva paivamaara kayntipaiva
    pvm data dzien wizyty giorno posa besoksdatum utsatt dato""".split()
)
_WITH_DOTS = re.compile(r"\d{1,2}\. ?\d{1,2}\. ?(?:\d{4}|\d{2})")

# no date is longer than this, weekday and time of day included
LONGEST = 80
FIRST_YEAR, LAST_YEAR = 1900, 2199
# numbers that can be a count of days: those of 1954 to 2119
_SERIALS = range(20_000, 80_000)

_MONTHS = [
    "january januar janner jan janvier januari enero tammikuu tammikuuta stycznia styczen gennaio janeiro",
    "february februar feber feb fevrier februari febrero helmikuu helmikuuta lutego luty febbraio fevereiro",
    "march marz maerz mars maart marzo maaliskuu maaliskuuta marca marzec marco",
    "april apr avril abril huhtikuu huhtikuuta kwietnia kwiecien aprile",
    "may mai mei mayo toukokuu toukokuuta maja maj maggio maio",
    "june juni juin junio kesakuu kesakuuta czerwca czerwiec giugno junho",
    "july juli juillet julio heinakuu heinakuuta lipca lipiec luglio julho",
    "august aug aout augustus agosto elokuu elokuuta sierpnia sierpien augusti",
    "september sept septembre septiembre syyskuu syyskuuta wrzesnia wrzesien settembre setembro",
    "october oktober octobre octubre lokakuu lokakuuta pazdziernika pazdziernik ottobre outubro",
    "november novembre noviembre marraskuu marraskuuta listopada listopad novembro",
    "december dezember decembre diciembre joulukuu joulukuuta grudnia grudzien dicembre dezembro",
]
_ROMANS = "i ii iii iv v vi vii viii ix x xi xii".split()
# 20.V.2025, as many museums and recorders write
_ROMAN = re.compile(rf"(\d{{1,2}})[.\s/-]+({'|'.join(_ROMANS)})[.\s/-]+(\d{{4}}|\d{{2}})", re.IGNORECASE)
_FULL = {word: number for number, words in enumerate(_MONTHS, 1) for word in words.split()}
# short forms that are no beginnings, or that would make the beginnings of other months unclear
_SHORT = {"mrt": 3, "gen": 1, "mag": 5, "giu": 6, "lug": 7, "set": 9, "sty": 1, "lut": 2, "mar": 3, "kwi": 4} | {
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
    poniedzialek wtorek sroda czwartek piatek sobota niedziela pon wt sr czw pt sob ndz nd
    lunedi martedi mercoledi giovedi venerdi domenica mandag tisdag onsdag torsdag fredag lordag sondag
    mandags man tis ons tors fre lor son
    maanantai tiistai keskiviikko torstai perjantai lauantai sunnuntai ti ke to pe la su
    maanantaina tiistaina keskiviikkona torstaina perjantaina lauantaina sunnuntaina
    st nd rd th o of the on de del el dia le du er e den der am vom op van""".split()
)
_NUMERIC = re.compile(r"(\d{1,2})\s*([./-]|\s)\s*(\d{1,2})\s*\2\s*(\d{4}|\d{2})\.?$")
_YEAR_FIRST = re.compile(r"(\d{4})\s*([./-]?)\s*(\d{1,2})\s*\2\s*(\d{1,2})\.?$")

# 2024年5月3日, with the day of the week or without
_BY_SIGNS = re.compile(
    r"(\d{4})\s*[年년]\s*(\d{1,2})\s*[月월]\s*(\d{1,2})\s*[日일号]?\s*(?:[(（]?[月火水木金土日][)）]?)?"
)

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
    cells: Sequence[object],
    heading: str = "",
    day_zero: datetime.date = DAY_ZERO,
    beside: Sequence[object] = (),
) -> list[datetime.date | Why | None]:
    """Dates of a column: a date, why there is none, or None for a blank cell. A time of day is left out.

    A purely numeric date has as many readings as there are orders that make it a day. The order that the heading
    states, or the only one that fits every such cell of the column, is the column's; where two fit, dates with dots
    under a heading that is not English have the day first. Where none is, a cell with one reading only is read, the
    others are undecided. Two-figure years are of this century. A number is a count of days from `day_zero`, as
    spreadsheets store dates.
    """
    read = each_once(lambda cell: _read(cell, day_zero), cells)  # a season has few days and many visits
    numeric = [r for r in read if isinstance(r, dict)]
    stated = _stated_order(heading)
    fitting = {o for o in ORDERS if all(o in r for r in numeric)}
    if len(fitting) > 1:
        others = [r for r in each_once(lambda cell: _read(cell, day_zero), beside) if isinstance(r, dict)]
        fitting = {o for o in fitting if all(o in r for r in others)} or fitting
    if "dmy" in fitting and _has_dots(cells) and _OTHER_LANGUAGES & set(fold(heading).split()):
        fitting = {"dmy"}
    order = stated or (fitting.pop() if len(fitting) == 1 else None)
    mixed = not stated and not fitting and order is None
    dates = [_settle(r, order, mixed) if isinstance(r, dict) else r for r in read]
    if _looks_swapped(cells, read):
        for i, cell in enumerate(cells):
            if isinstance(cell, datetime.date) and cell.day != cell.month:
                dates[i] = Why.DATES_SWAPPED
    return dates


def _has_dots(cells: Sequence[object]) -> bool:
    return any(isinstance(cell, str) and _WITH_DOTS.fullmatch(cell.strip()) for cell in cells)


def days_meant(text: str) -> set[datetime.date]:
    """Every day that a text may mean, whichever way round its day and month are."""
    read = _read_written(text) if any(map(str.isdigit, text)) else None
    return {read} if isinstance(read, datetime.date) else set(read.values()) if isinstance(read, dict) else set()


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
    return _read_written(narrow(as_text(cell)).strip())


@lru_cache(maxsize=20_000)
def _read_written(text: str) -> datetime.date | Why | Readings:
    if len(text) > LONGEST:
        return Why.DATE_UNREAD
    bare = re.sub(r"[.,]\d*$", "", text) if re.fullmatch(r"\d{5}[.,]\d+", text) else text
    if bare.isdigit():
        return _read_digits(bare)
    text = re.sub(r"\s*\([^\d()]*\)$", "", text)  # "(in the evening)"
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
    text = _BY_SIGNS.sub(r"\1-\2-\3", text)
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


# --- what a date lacks, and what the sheet says -----------------------------------------------------------------------


class When(NamedTuple):
    """The one year that a sheet says its dates are of, and the month where it says one; `said_by`: where it stands."""

    year: int
    month: int | None
    said_by: Sentence


_YEAR = re.compile(r"(?<![\d.,/-])(20\d\d|19[89]\d)(?![\d]|[.,/-]\d)")
# a day and a month: 3.5., 03/05, 3 May, May 3rd
_DAY_AND_MONTH = re.compile(r"(\d{1,2})\s*([./-])\s*(\d{1,2})(\.?)")


def when_of(texts: Sequence[tuple[str, Sentence]]) -> When | None:
    """The year that the first of these texts with any says, by (text, where it stands); None where it says several."""
    for text, said_by in texts:
        years = {int(year) for year in _YEAR.findall(text)}
        if years:
            months = {number for word in re.findall(r"[^\W\d]+", text) if (number := _named_month(word))}
            month = months.pop() if len(months) == 1 else None
            return When(years.pop(), month, said_by) if len(years) == 1 else None
    return None


def _named_month(word: str) -> int | None:
    """The month that a whole name says; short forms in a title are mostly other words."""
    return _FULL.get(fold(word)) if len(word) > 3 or fold(word) in ("may", "mai", "mei", "maj") else None


def lacks_year(text: str) -> bool:
    """Whether a text is a day and a month, and no more."""
    return bool(_with_year(text, 2000))


def is_day(text: str) -> bool:
    """Whether a text, such as a heading, is a day, with its year or without."""
    read = _read_written(narrow(text).strip()) if re.search(r"\d", text) else Why.DATE_UNREAD
    return isinstance(read, (datetime.date, dict)) or (read is Why.DATE_NOT_WHOLE and lacks_year(text))


@lru_cache(maxsize=20_000)
def _with_year(text: str, year: int) -> str:
    """A day and a month with the year added, "" where the text is none."""
    text = narrow(text).strip()
    if numeric := _DAY_AND_MONTH.fullmatch(text):
        day, mark, month, stop = numeric.groups()
        if mark == stop and int(month) <= 12:  # 10.5. has the day first wherever it is written
            return f"{year}-{month}-{day}"
        return f"{day}{mark}{month}{mark}{year}" if min(int(day), int(month)) <= 12 else ""
    words = re.findall(r"\d+|[^\W\d]+", text)
    days = [word for word in words if word.isdecimal()]
    months = [word for word in words if not word.isdecimal() and month_number(word)]
    return f"{text} {year}" if len(days) == 1 and len(days[0]) <= 2 and months else ""


def completed(cells: Sequence[object], years: Sequence[int | None], when: When | None) -> tuple[list[object], int]:
    """The cells of a column of dates, those without a year with that of their row, else with the sheet's; how many.

    years: of each row, or empty.

    A day alone is one of the sheet's month. A decimal number is left alone: 12.1 may have been 12.10.
    """
    if when is None and not any(years):
        return list(cells), 0
    done: list[object] = []
    number = 0
    for cell, year in zip(cells, years or [None] * len(cells), strict=True):
        year = year or (when.year if when else None)
        said = ""
        if year and isinstance(cell, str):
            said = _with_year(cell, year)
        if not said and when and when.month and as_text(cell).rstrip(".").isdecimal():
            day = int(as_text(cell).rstrip("."))
            said = f"{when.year}-{when.month:02d}-{day:02d}" if 1 <= day <= 31 else ""
        number += bool(said)
        done.append(said or cell)
    return done, number


# --- spans -----------------------------------------------------------------------------------------------------------


class Span(NamedTuple):
    """The first and the last day that a writing such as "April 2024" leaves open."""

    first: datetime.date
    last: datetime.date


# the first month of each season in the north, half a year later in the south (meteorological seasons)
_SEASONS = {
    fold(word): month
    for month, words in (
        (3, "spring frühling frühjahr printemps voorjaar lente primavera kevät wiosna wiosną vår våren"),
        (6, "summer sommer été zomer verano kesä lato latem estate sommar sommaren verão"),
        (9, "autumn fall herbst automne herfst najaar otoño syksy jesień jesienią autunno höst hösten outono"),
        (12, "winter hiver invierno talvi zima zimą inverno vinter vintern"),
    )
    for word in words.split()
}
# words beside a month that leave it the month it is
_WITHIN = frozenset(
    """early mid late end beginning start middle of in the anfang mitte ende debut mi fin de en du begin half eind van
    principios mediados finales del a alku loppu puolivali""".split()
)
_QUARTER = re.compile(
    r"(?:q|t|kw)?\s*([1-4])\s*(?:q|\.?\s*quartal|e?\s*trimestre|e?\s*kwartaal)?\s*[/ .-]?\s*(\d{4})", re.I
)
_NUMBERED_MONTH = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{4})|(\d{4})\s*[./-]\s*(\d{1,2})")


def read_span(cell: object, *, south: bool = False) -> Span | None:
    """The days that a month, a season, a quarter or a year leaves open; None for any other cell.

    Winter may be that which began or that which ended in the year. `south`: whether seasons are those of the south.
    """
    text = fold(narrow(as_text(cell)))[:LONGEST]
    plain = narrow(as_text(cell)).strip()
    if match := _NUMBERED_MONTH.fullmatch(plain):
        month, year = (match[1], match[2]) if match[1] else (match[4], match[3])
        return _months(int(year), int(month), 1) if 1 <= int(month) <= 12 else None
    if (match := re.fullmatch(r"(\d{4})\s*年\s*(\d{1,2})\s*月", plain)) and 1 <= int(match[2]) <= 12:
        return _months(int(match[1]), int(match[2]), 1)
    if re.search(r"[q]|quartal|trimestre|kwartaal", text) and (match := _QUARTER.fullmatch(plain)):
        return _months(int(match[2]), int(match[1]) * 3 - 2, 3)
    words = text.split()
    years = [int(word) for word in words if word.isdecimal() and len(word) == 4]
    named = [word for word in words if not word.isdecimal() and word not in _WITHIN]
    if not years or not all(FIRST_YEAR <= year <= LAST_YEAR for year in years):
        return None
    if len(words) == len(years) == 1:
        return _months(years[0], 1, 12)
    if len(named) != 1:
        return None
    season = _SEASONS.get(named[0])
    if season is None:
        month_of = month_number(named[0])
        alone = len(years) == 1 and sum(word.isdecimal() for word in words) == 1
        return _months(years[0], month_of, 1) if month_of and alone else None
    start = (season + 5) % 12 + 1 if south else season
    short = [int(word) for word in words if word.isdecimal() and len(word) == 2]
    if len(years) == 2 or short:
        # winter 2023/24
        follows = years[-1] if len(years) == 2 else years[0] // 100 * 100 + short[0]
        return _months(years[0], 12, 3) if start == 12 and follows == years[0] + 1 else None
    if start == 12:
        return Span(datetime.date(years[0] - 1, 12, 1), _months(years[0], 12, 3).last)
    return _months(years[0], start, 3)


def _months(year: int, month: int, number: int) -> Span:
    end = month - 1 + number
    return Span(
        datetime.date(year, month, 1),
        datetime.date(year + end // 12, end % 12 + 1, 1) - datetime.timedelta(days=1),
    )
