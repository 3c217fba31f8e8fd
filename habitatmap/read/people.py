"""The table of the people who go on rounds: when each can come, how, how much, where not, and which keys they hold.

A file people.* beside the inputs, a row for each person. It is read by `rounds` alone. What can't be read is refused
with a sentence: a round that overlooks "not on Mondays" is worse than none.
"""

from __future__ import annotations

import datetime
import difflib
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import pandas as pd
import shapely

from habitatmap.errors import InputError
from habitatmap.read.coordinates import read_number
from habitatmap.read.dates import days_meant
from habitatmap.read.files import SUFFIXES, is_fix, read_tables
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import fold
from habitatmap.read.values import name_key, nearest_name, yes_no

T = TypeVar("T")
STEM = "people"


class By(StrEnum):
    """How a person gets from pool to pool."""

    FOOT = "foot"
    BICYCLE = "bicycle"
    CAR = "car"


@dataclass(frozen=True)
class Window:
    """A time in which somebody can come: a day of the week (0 = Monday), and from when to when in minutes of the day;
    start and end None = all of it."""

    day: int
    start: int | None = None
    end: int | None = None

    @property
    def minutes(self) -> float:
        """How long it is, inf where nobody said."""
        return math.inf if self.start is None or self.end is None else float(self.end - self.start)


@dataclass(frozen=True)
class Person:
    """One person of a round. windows: none = any day; most_hours, most_pools: in a week, inf = nobody said.

    not_pools: pools that they must not be sent to; keys: pools whose key they hold, by name; away: first and last days;
    comes: whether they go on rounds at all; groups: those they belong to, none = wherever they were.
    """

    name: str
    by: By = By.FOOT
    windows: tuple[Window, ...] = ()
    most_hours: float = math.inf
    most_pools: float = math.inf
    not_pools: frozenset[str] = frozenset()
    keys: frozenset[str] = frozenset()
    away: tuple[tuple[datetime.date, datetime.date], ...] = ()
    comes: bool = True
    groups: tuple[str, ...] = ()

    @property
    def is_limited(self) -> bool:
        """Whether anything but the name is known."""
        return self != Person(self.name, comes=self.comes, groups=self.groups)


# our column -> how people head it (folded)
_HEADINGS = {
    "person": "person name who volunteer nom personne benevole naam persoon vrijwilliger freiwillige freiwilliger wer",
    "days": "days day times when tage tag zeiten wann jours jour horaires quand dagen dag tijden wanneer",
    "by": "by transport mit verkehrsmittel moyen transport par met vervoer vervoermiddel",
    "most_hours": "most_hours hours max_hours stunden hochstens_stunden heures heures_max uren uren_max",
    "most_pools": "most_pools pools max_pools hochstens_pools pools_max",
    "not_pools": "not_pools not not_me not_to nicht nicht_zu pas pas_pour niet niet_naar",
    "keys": "keys key schlussel cles cle clef clefs sleutels sleutel",
    "away": "away absent abwesend weg verreist absence afwezig",
    "comes": "comes active kommt aktiv vient actif komt actief",
    "group": "group groups gruppe gruppen groupe groupes groep groepen",
}
_COLUMN = {word.replace("_", " "): name for name, words in _HEADINGS.items() for word in words.split()}
# columns that say nothing of a round: remarks, and how somebody is reached
_NO_LIMITS = frozenset(
    """note notes bemerkung notiz remarque opmerking phone telephone mobile email mail address telefon handy adresse
    courriel tel portable telefoon mobiel adres""".split()
) | {"e mail", "email address", "phone number", "e mail adresse"}
_BY = {
    By.FOOT: "foot on_foot walk walking zu_fuss fuss a_pied pied te_voet voet lopend",
    By.BICYCLE: "bicycle bike cycle cycling fahrrad rad velo bicyclette fiets",
    By.CAR: "car by_car auto pkw wagen voiture en_voiture",
}
_HOW = {word.replace("_", " "): by for by, words in _BY.items() for word in words.split()}
_DAY_WORDS = (
    "mon monday mo montag lundi lun maandag ma",
    "tue tuesday tues di dienstag mardi mar dinsdag",
    "wed wednesday mi mittwoch mercredi mer woensdag wo",
    "thu thursday thur thurs do donnerstag jeudi jeu donderdag",
    "fri friday fr freitag vendredi ven vrijdag vr",
    "sat saturday sa samstag sonnabend samedi sam zaterdag za",
    "sun sunday so sonntag dimanche dim zondag zo",
)
_DAYS = {word: day for day, words in enumerate(_DAY_WORDS) for word in words.split()}
_SEVERAL = {
    "daily": range(7), "any": range(7), "always": range(7), "taglich": range(7), "immer": range(7),
    "quotidien": range(7), "toujours": range(7), "dagelijks": range(7), "altijd": range(7),
    "weekdays": range(5), "werktags": range(5), "semaine": range(5), "werkdagen": range(5),
    "weekend": range(5, 7), "weekends": range(5, 7), "wochenende": range(5, 7), "weekeinde": range(5, 7),
}  # fmt: skip
_TIME = r"(\d{1,2})(?:[:.h](\d{2}))?\s*(?:h|uhr|uur)?"
_TOKEN = re.compile(
    rf"\s*(?:(?P<time>{_TIME}\s*(?:-|–|to|bis|a|à|tot)\s*{_TIME})|(?P<upto>-|–|(?:bis|tot|to|au|t/m)(?![^\W\d_]))|"
    r"(?P<word>[^\W\d_]+)\.?|(?P<end>;|\n)|(?P<gap>[,/&+]))",
    re.IGNORECASE,
)
_AND = frozenset("and und et en the on am le de op".split())
_UP_TO = re.compile(r"\s+(?:to|bis|au|tot|t/m|until)\s+|\s*–\s*|\s+-\s+", re.IGNORECASE)
_WEEK = re.compile(r"(\d{4})-?[Ww](\d{1,2})")


def find_people(folder: Path) -> list[Path]:
    """The files people.* of an area's folder."""
    return sorted(p for p in folder.iterdir() if p.stem.casefold() == STEM and p.suffix.lower() in SUFFIXES)


def read_people(folder: Path, pools: pd.DataFrame, land: gpd.GeoDataFrame) -> list[Person] | None:
    """The people of the area's table, in its order; None where it has none.

    pools, land: as their readers give them; a place of `land` stands for the pools on it. Raises InputError with one
    sentence for each entry that can't be read.
    """
    files = [path for path in find_people(folder) if not is_fix(path)]
    if not files:
        return None
    if len(files) > 1:
        raise InputError(f"{files[0].name} and {files[1].name} both list people; keep one of them")
    tables = [table for table in read_tables(files[0]) if len(table)]
    if not tables:
        raise InputError(f"{files[0].name} holds no table; expected a row for each person, with the heading person")
    table = tables[0]
    at = _columns(table)
    faults: list[str] = []
    named = _Names(pools, land)
    people: dict[str, Person] = {}
    for row, number in zip(table.rows, table.numbers, strict=True):
        cell = {name: row[column] for name, column in at.items()}
        name = " ".join(as_text(cell["person"]).split())
        if not name:
            if any(value is not None for value in row):
                faults.append(f"{table.file} row {number} names nobody under person; write the name, or delete the row")
            continue
        if name.casefold() in people:
            faults.append(f"{table.file} row {number}: {name} stands there twice; keep one row for each person")
            continue
        where = f"{table.file} row {number} ({name})"
        people[name.casefold()] = _person(name, cell, where, named, faults)
    if faults:
        raise InputError("\n".join(faults))
    return list(people.values())


def _columns(table: Table) -> dict[str, int]:
    """Where our columns stand. InputError for a heading that is none of them, and where nobody is named."""
    at: dict[str, int] = {}
    for column, heading in enumerate(table.headings):
        key = fold(heading)
        if not key or key in _NO_LIMITS:
            continue
        name = _COLUMN.get(key)
        if name is None:
            near = difflib.get_close_matches(key, list(_COLUMN), n=1, cutoff=0.8)
            hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(_HEADINGS)} and note"
            raise InputError(f"{table.file} has a column {heading}, which can't be read; {hint}")
        if name in at:
            raise InputError(f"{table.file} has two columns for {name}; keep one of them")
        at[name] = column
    if "person" not in at:
        raise InputError(f"{table.file} has no column person; put the heading person over the names")
    return at


def _person(name: str, cell: Mapping[str, object], where: str, named: _Names, faults: list[str]) -> Person:
    """One row as a person; what can't be read goes to `faults`, as a sentence."""

    def read(column: str, reader: Callable[[str], T], otherwise: T) -> T:
        text = as_text(cell.get(column)).strip()
        try:
            return reader(text) if text else otherwise
        except ValueError as fault:
            faults.append(f"{where}, {column}: {fault}")
            return otherwise

    return Person(
        name=name,
        by=read("by", _how, By.FOOT),
        windows=read("days", windows_of, ()),
        most_hours=read("most_hours", lambda text: _number(text, whole=False), math.inf),
        most_pools=read("most_pools", lambda text: _number(text, whole=True), math.inf),
        not_pools=read("not_pools", named.pools_of, frozenset()),
        keys=read("keys", named.pools_of, frozenset()),
        away=read("away", away_of, ()),
        comes=read("comes", _comes, True),
        groups=read("group", lambda text: tuple(filter(None, (part.strip() for part in text.split(";")))), ()),
    )


def _how(text: str) -> By:
    found = _HOW.get(fold(text))
    if found is None:
        raise ValueError(f'"{text}" is no way to get about; write foot, bicycle or car')
    return found


def _comes(text: str) -> bool:
    found = yes_no(text)
    if found is None:
        raise ValueError(f'"{text}" is neither yes nor no')
    return found == "yes"


def _number(text: str, whole: bool) -> float:
    number = read_number(text, "decimal")
    if number is None or number.value < 0 or (whole and not number.value.is_integer()):
        raise ValueError(f'"{text}" is no {"whole " if whole else ""}number of 0 or more; leave it blank for no limit')
    return number.value


def windows_of(text: str) -> tuple[Window, ...]:
    """ "Mon, Wed 17:00-19:30; Sat" as windows, by day and time. ValueError with what can't be read.

    A time belongs to the days before it back to the last time or semicolon; without a day it is for every day.
    """
    found: list[Window] = []
    days: list[int] = []
    timed = upto = False

    def whole_days() -> None:
        if not timed:
            found.extend(Window(day) for day in days)

    at = 0
    while at < len(text.rstrip()):
        token = _TOKEN.match(text, at)
        if token is None:
            raise ValueError(f'"{text[at:].strip()}" can\'t be read; write days and times such as Mon, Wed 17:00-19:30')
        at = token.end()
        kind = token.lastgroup
        if token["time"]:
            hour, minute, to_hour, to_minute = (int(token[k] or 0) for k in range(2, 6))
            start, end = 60 * hour + minute, 60 * to_hour + to_minute
            if not (hour < 24 and minute < 60 and to_minute < 60 and start < end <= 24 * 60):
                raise ValueError(f'"{token["time"].strip()}" is no time of a day from earlier to later')
            found.extend(Window(day, start, end) for day in days or range(7))
            timed = True
        elif kind == "word":
            word = fold(token["word"])
            if word in _AND:
                continue
            several = [_DAYS[word]] if word in _DAYS else list(_SEVERAL.get(word, ()))
            if not several:
                raise ValueError(f'"{token["word"]}" is no day of the week; write days such as Mon, Tue, weekend')
            if timed:
                days, timed = [], False
            if upto and days:
                last = several[0] if several[0] > days[-1] else several[0] + 7
                several = [day % 7 for day in range(days[-1] + 1, last + 1)]
            days, upto = [*days, *several], False
        elif kind == "upto":
            upto = True
        elif kind == "end":
            whole_days()
            days, timed, upto = [], False, False
    whole_days()
    if not found:
        raise ValueError(f'"{text}" names no day and no time; write such as Mon, Wed 17:00-19:30')
    return tuple(sorted(set(found), key=lambda window: (window.day, window.start or 0, window.end or 0)))


def away_of(text: str) -> tuple[tuple[datetime.date, datetime.date], ...]:
    """ "2026-W28; 2026-07-20 to 2026-08-02" as first and last days. ValueError with what can't be read."""
    found = []
    for part in filter(None, (part.strip() for part in re.split(r"[;\n]", text))):
        ends = [_days(end.strip()) for end in _UP_TO.split(part)]
        if len(ends) > 2 or ends[0][0] > ends[-1][1]:
            raise ValueError(f'"{part}" is no time from earlier to later; write such as 2026-07-20 to 2026-08-02')
        found.append((ends[0][0], ends[-1][1]))
    return tuple(sorted(found))


def _days(text: str) -> tuple[datetime.date, datetime.date]:
    """The first and the last day of a week or a day."""
    if week := _WEEK.fullmatch(text):
        try:
            monday = datetime.date.fromisocalendar(int(week[1]), int(week[2]), 1)
        except ValueError:
            raise ValueError(f'"{text}" is a week that there is not') from None
        return monday, monday + datetime.timedelta(days=6)
    meant = days_meant(text)
    if dotted := re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", text):  # with dots the day always comes first
        meant = {day for day in meant if day.day == int(dotted[1])}
    if len(meant) != 1:
        raise ValueError(f'"{text}" is no day or week that is clear; write such as 2026-07-20 or 2026-W30')
    (day,) = meant
    return day, day


class _Names:
    """What a person may write for pools: their names, and the places of the land register that they stand on."""

    def __init__(self, pools: pd.DataFrame, land: gpd.GeoDataFrame) -> None:
        self._means: dict[str, frozenset[str]] = {}
        self._written: list[str] = []
        names = pools["pool"].tolist()
        points = shapely.points(pools[["x", "y"]].to_numpy(dtype=float))
        on, under = shapely.STRtree(list(land.geometry)).query(points, predicate="intersects")
        places = land["name"].tolist() if "name" in land else []
        for pool, polygon in zip(on, under, strict=True):
            if places[polygon]:
                self._add(places[polygon], names[pool])
        for place in places:
            if place:
                self._means.setdefault(name_key(place), frozenset())
        for name in names:  # a pool's own name goes before a place of the same
            self._means[name_key(name)] = frozenset([name])
        self._written = [*names, *filter(None, places)]

    def _add(self, place: str, pool: str) -> None:
        key = name_key(place)
        self._means[key] = self._means.get(key, frozenset()) | {pool}

    def pools_of(self, text: str) -> frozenset[str]:
        """The pools that a cell names, parted by semicolons, or by commas where that makes names of all parts."""
        parts = [text] if name_key(text) in self._means else re.split(r"[;\n]", text)
        found: set[str] = set()
        for part in filter(None, (part.strip() for part in parts)):
            names = [part] if name_key(part) in self._means else [one.strip() for one in part.split(",")]
            for name in filter(None, names):
                if name_key(name) not in self._means:
                    near = nearest_name(name, self._written)
                    hint = f"; did you mean {near}?" if near else ""
                    raise ValueError(f'"{name}" is no pool and no place of land.*{hint}')
                found |= self._means[name_key(name)]
        return frozenset(found)


def needing_keys(people: Sequence[Person]) -> frozenset[str]:
    """The pools of which anybody has a key: nobody else can get there."""
    return frozenset().union(*(person.keys for person in people))
