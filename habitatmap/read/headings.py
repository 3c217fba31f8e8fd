"""Which column is which: common headings in nine languages, near matches, and what area.toml states.

A heading is first looked up as it is (case, accents, punctuation and a unit in brackets do not matter), then by
likeness. One that fits nothing is reported with its nearest, never used.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache

from rapidfuzz import fuzz, process

from habitatmap.errors import InputError
from habitatmap.geo.crs import without_system
from habitatmap.sentences import Sentence, apart, say
from habitatmap.vocabulary.columns import COLUMNS

# a likeness of 90 of 100 matched no wrong heading in trials; looser measures did
LIKE_ENOUGH = 90.0
# a shapefile's headings have ten letters at most
CUT_AT = 10
# of a longer heading only so many letters are looked at
LONGEST = 200
SHORTEST_LIKE = 5

_UNITS = {
    "mm": "mm", "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm", "m": "m",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "km": "km", "in": "in", "inch": "in", "inches": "in",
    "zoll": "in", "ft": "ft", "feet": "ft", "foot": "ft", "l": "l", "litre": "l", "litres": "l", "liter": "l",
    "liters": "l", "litros": "l", "litraa": "l", "ltr": "l", "ml": "ml", "cl": "cl", "dl": "dl", "gal": "gal",
    "gallon": "gal", "gallons": "gal", "us gal": "us gal", "us gallon": "us gal", "us gallons": "us gal",
    "imp gal": "uk gal", "uk gal": "uk gal", "uk gallons": "uk gal", "imperial gallons": "uk gal",
}  # fmt: skip


@lru_cache(maxsize=20_000)  # columns repeat their words
def fold(text: str) -> str:
    """A heading without case, accents, punctuation, doubled spaces: `Stamm-Umfang [cm]` becomes `stamm umfang cm`."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^\w]+|_", " ", plain).split())


# the number of a question in a form: "1. Pool", "2) Date", "Q3: Outcome"
_NUMBERED = re.compile(r"^\s*q?\d{1,2}\s*[.):]\s*(?=[^\W\d_])", re.IGNORECASE)
# what stands in brackets behind a heading and changes nothing of its meaning
_ASIDES = frozenset(
    """e n w s o dd dms deg degree degrees decimal grad dezimal dezimalgrad degres decimaux graden grados decimales
    astetta yes no y ja nein j nee oui non si kylla ei k x anzahl count number nombre aantal numero cantidad lkm kpl
    stuck stk st optional required freiwillig pflicht pflichtfeld facultatif obligatoire verplicht optioneel opcional
    obligatorio pakollinen valinnainen lat latin lateinisch wiss wissenschaftlich bot botanisch scientific scientifique
    cientifico latijn wetenschappelijk tieteellinen""".split()
)
# words of a system beside a coordinate's heading: "lon_wgs84", "x_25832"
_SYSTEM = re.compile(r"wgs(84)?|84|utm\d*[ns]?|rd(new)?|etrs(89)?|epsg|\d{4,5}")
_BRACKETS = re.compile(r"[(\[{<]([^)\]}>]*)[)\]}>]")
# the height at which a trunk is measured: "at 1.3 m", "op 1,3 m", "(1 m Höhe)", "1,30 m"
_HEIGHT = re.compile(
    r"[(\[]?\s*(?:\b(?:at|in|à|a|bei|auf|op|en|h)\b|@)?\s*\b[01][.,]?\d*\s*m\b\s*"
    r"(?:(?:height|above ground|höhe|hoehe|hoogte|du sol|de hauteur|de altura|korkeudelta)\b)?\s*[)\]]?",
    re.IGNORECASE,
)
# the order of a date: dd/mm/yyyy, TT.MM.JJJJ, aaaa-mm-dd
_DATE_FORMAT = re.compile(
    r"\b[dtjpyav]{1,4}[./ -]+[mk]{1,3}[./ -]+[dtjpyav]{1,4}\b|\bm{1,2}[./ -]+[dtj]{1,2}[./ -]+[yja]{1,4}\b",
    re.IGNORECASE,
)


def _short(heading: str) -> str:
    """A heading with single spaces; what stands beyond its first words is a text that went astray."""
    return " ".join(heading[:LONGEST].split())


@lru_cache(maxsize=2_000)
def unit_of(heading: str) -> str:
    """The unit a heading names ("cm", "m", "mm", "in", "ft", "km", "l", "gal", ...), "" where it names none.

    The height at which a trunk is measured is no unit, and "in" is one only at the end or in brackets.
    """
    text = _HEIGHT.sub(" ", _short(heading))
    inside = [fold(part) for part in _BRACKETS.findall(text)]
    words = fold(text).split()
    for found in (*inside, " ".join(words[-2:]) if len(words) > 2 else "", *words[-1:]):
        if found in _UNITS:
            return _UNITS[found]
    named = [_UNITS[word] for word in words[1:] if word in _UNITS and word != "in"]
    return named[-1] if named else ""


def _bare(heading: str) -> str:
    """A folded heading without its number, reference system, unit, height of measuring, order of dates, and asides."""
    text = _NUMBERED.sub("", _short(heading))
    text = _DATE_FORMAT.sub(" ", _HEIGHT.sub(" ", without_system(text)))
    text = _BRACKETS.sub(lambda part: " " if _is_aside(part[1]) else part[0], text)
    words = fold(text).split()
    while len(words) > 1 and (words[-1] in _UNITS or words[-1] in ("us", "uk", "imp", "imperial")):
        words = words[:-2] if len(words) > 2 and words[-2] in ("in", "en", "em") else words[:-1]
    kept = " ".join(word for word in words if not _SYSTEM.fullmatch(word))
    return kept if kept in _COORDINATES else " ".join(words)


def _without_brackets(heading: str) -> str:
    """A bare heading without its brackets, whatever they hold: "Outcome (see key)" is an outcome; "" without any."""
    text = _BRACKETS.sub(" ", _short(heading))
    return _bare(text) if text != _short(heading) else ""


def _means_without_brackets(heading: str, aliases: Mapping[str, Sequence[str]]) -> str:
    """Our name for a heading without its brackets, "" where these may change it, as in "name (host)"."""
    text, inside = _without_brackets(heading), {fold(part) for part in _BRACKETS.findall(heading)}
    fits = {name for name, words in aliases.items() if text and text in words}
    return fits.pop() if len(fits) == 1 and not any(inside & {*aliases[n]} for n in aliases if n not in fits) else ""


def _is_aside(text: str) -> bool:
    return fold(text) in _UNITS or all(word in _ASIDES or word in _UNITS for word in fold(text).split())


ALIASES: dict[str, dict[str, tuple[str, ...]]] = {
    kind: {
        column.name: tuple(
            dict.fromkeys([fold(column.name), *(fold(a) for a in re.split(r"[,;]", column.headings) if a.strip())])
        )
        for column in columns
        if column.headings
    }
    for kind, columns in COLUMNS.items()
}
KNOWN = frozenset(alias for names in ALIASES.values() for aliases in names.values() for alias in aliases)
_COORDINATES = frozenset(alias for name in ("x", "y", "lon", "lat") for alias in ALIASES["pools"][name])
# a table has one column under such a heading; where there are two, there are two tables
_KEYS = frozenset(alias for name in ("pool", "x", "lon", "position") for alias in ALIASES["pools"][name])


CONTACTS = ("owner", "contact", "host")  # our columns that say who owns land, hosts a pool, and how to reach somebody
# headings of columns that are not read and tell how to reach somebody
REACH = frozenset(
    fold(word)
    for word in """tel, tel no, phone, phone number, telephone, mobile, mobile phone, cell phone, mail, e mail, email,
    mail address, telefon, telefonnummer, handy, handynummer, mobil, portable, courriel, adresse mail, telefoon,
    telefoonnummer, mobiel, telefono, movil, correo, puhelin, sahkoposti""".split(",")
)


def is_known(heading: object, also: Iterable[str] = ()) -> bool:
    """Whether a cell reads like a heading of any kind of table; `also`: headings that area.toml states, folded."""
    if not isinstance(heading, str) or len(heading) > LONGEST:
        return False
    return bool({fold(heading), _bare(heading), _without_brackets(heading)} & KNOWN) or fold(heading) in also


@lru_cache(maxsize=2_000)
def means(kind: str, heading: str) -> str:
    """What a heading means in tables of a kind, by the heading alone; "" where that is not known."""
    words = {fold(heading), _bare(heading)} - {""}
    found = next((name for name, aliases in ALIASES[kind].items() if words & {*aliases}), "")
    return found or _means_without_brackets(heading, ALIASES[kind])


def our_name(heading: str) -> str:
    """What a heading means in tables of pools or visits, by the heading alone; "" where that is not known."""
    return means("pools", heading) or means("visits", heading)


def tells_records_apart(heading: object) -> bool:
    """Whether a cell is the heading of names or places, which a table of records has once."""
    return isinstance(heading, str) and bool({fold(heading), _bare(heading), _without_brackets(heading)} & _KEYS)


class Match(StrEnum):
    """How a heading was matched."""

    STATED = "stated"  # by area.toml
    EXACT = "exact"
    NEAR = "near"
    CUT = "cut to ten letters"  # as shapefiles cut headings
    CONTENT = "by content"  # by what stands in the column


@dataclass(frozen=True)
class Headings:
    """What was matched. `at`: our name -> column number; `how`: our name -> how it was matched."""

    at: dict[str, int]
    how: dict[str, Match]
    text: dict[str, str]  # our name -> the file's own heading
    unmatched: dict[str, str] = field(default_factory=dict)  # heading -> nearest of our names, or ""
    doubles: tuple[tuple[str, str, str], ...] = ()  # our name, the heading used, another that fits as well
    unused: tuple[str, ...] = ()  # names stated in area.toml whose heading this table lacks

    def describe(self) -> Sentence:
        """One line for a person: which heading was read as what, and what was left alone."""
        used = ", ".join(f"{self.text[n]} = {n}" for n in self.at if fold(self.text[n]) != fold(n))
        same = ", ".join(n for n in self.at if fold(self.text[n]) == fold(n))
        left = [say("{heading} (nearest: {near})", heading=h, near=n) if n else h for h, n in self.unmatched.items()]
        parts = [p for p in (same, used) if p]
        if content := ", ".join(self.text[n] for n in self.at if self.how[n] is Match.CONTENT):
            parts.append(say("{columns} by content, as its heading is not known", columns=content))
        read = say("read {columns}", columns=apart(parts)) if parts else Sentence("no column read")
        return say("{read}; not used: {columns}", read=read, columns=apart(left)) if left else read


def match_headings(kind: str, headings: Sequence[str], overrides: Mapping[str, str] | None = None) -> Headings:
    """Matches the headings of one table of this kind (one of `COLUMNS`).

    overrides: our name -> the file's heading, as `[columns.KIND]` of area.toml states them; InputError where it
    states a name we do not know.
    """
    aliases = ALIASES[kind]
    folded = [fold(h[:LONGEST]) for h in headings]
    bare = [_bare(h) for h in headings]
    at: dict[str, int] = {}
    how: dict[str, Match] = {}
    unused: list[str] = []
    taken: set[int] = set()

    def take(name: str, column: int, way: Match) -> None:
        at[name], how[name] = column, way
        taken.add(column)

    for stated, heading in (overrides or {}).items():
        name = column_named(kind, stated)
        column = next((i for i, h in enumerate(folded) if h == fold(heading) and i not in taken), None)
        if column is None:
            unused.append(name)
        else:
            take(name, column, Match.STATED)

    doubles: list[tuple[str, str, str]] = []
    open_names = {name: words for name, words in aliases.items() if name not in at}
    # a heading that is the first choice of one name is not taken as the last choice of another
    # and one that fits as it is not as the last choice without its unit: "Inhalt (l)" is a volume, "Inhalt" is not
    ranked = sorted(
        (text is not whole, words.index(text), list(aliases).index(name), i, name)
        for name, words in open_names.items()
        for i, (whole, short) in enumerate(zip(folded, bare, strict=True))
        if (text := whole if whole in words else short) in words
    )
    for *_rank, column, name in ranked:
        if column in taken:
            continue
        if name in at:
            doubles.append((name, headings[at[name]], headings[column]))
        else:
            take(name, column, Match.EXACT)
    taken |= {i for i, h in enumerate(headings) if any(h == other for _, _, other in doubles)}

    # what stands in brackets is left away where nothing else fits, and only one column says the same without it
    meant = {i: _means_without_brackets(h, aliases) for i, h in enumerate(headings) if i not in taken}
    for i, name in meant.items():
        if name and name not in at and list(meant.values()).count(name) == 1:
            take(name, i, Match.NEAR)

    for i, text in enumerate(bare):
        if i in taken or len(text) < SHORTEST_LIKE or text in KNOWN:  # "place" is no "placed": it has a meaning
            continue
        close = {name for name, words in aliases.items() if _likeness(text, words) >= LIKE_ENOUGH}
        if len(close) == 1 and not close & at.keys():
            take(close.pop(), i, Match.NEAR)

    for i, heading in enumerate(headings):
        if i in taken or len(heading.strip()) != CUT_AT:
            continue
        fits = {name for name, words in aliases.items() if any(word.startswith(folded[i]) for word in words)}
        if len(fits) == 1 and not fits & at.keys():
            take(fits.pop(), i, Match.CUT)

    left = {
        h: _nearest(b, aliases) for i, (h, b) in enumerate(zip(headings, bare, strict=True)) if i not in taken and h
    }
    order = [n for n in aliases if n in at]
    return Headings(
        at={n: at[n] for n in order},
        how={n: how[n] for n in order},
        text={n: headings[at[n]] for n in order},
        unmatched=left,
        doubles=tuple(doubles),
        unused=tuple(unused),
    )


def match_table(kind: str, headings: Sequence[str], stated: Mapping[str, str], taught: Mapping[str, str]) -> Headings:
    """`match_headings` with what readings.xlsx says of the table: by heading our column, "" = none of ours."""
    ours = {means: heading for heading, means in taught.items() if means in ALIASES[kind] and heading in headings}
    free = {name: heading for name, heading in stated.items() if heading not in taught}
    shown = [heading if taught.get(heading, "ours") else "" for heading in headings]
    return match_headings(kind, shown, free | ours)


def column_named(kind: str, stated: str) -> str:
    """The name of ours that a key of `[columns.KIND]` means."""
    for name, _words in ALIASES[kind].items():
        if stated == name or fold(stated) == fold(name):
            return name
    for name in ALIASES[kind]:
        # `diameter = "..."` is as clear as `diameter_cm = "..."`
        if fold(stated) == _bare(name):
            return name
    near = process.extractOne(fold(stated), [fold(n) for n in ALIASES[kind]], scorer=fuzz.ratio)
    hint = f"; the nearest is {list(ALIASES[kind])[near[2]]}" if near else ""
    raise InputError(f"area.toml: [columns.{kind}] has {stated}, but there is no such column{hint}")


@lru_cache(maxsize=20_000)
def _digits(text: str) -> list[str]:
    return re.findall(r"\d+", text)


def _likeness(text: str, words: Sequence[str]) -> float:
    """The best ratio (0-100) with any alias whose digits are the same."""
    alike = [w for w in words if len(w) >= SHORTEST_LIKE and _digits(w) == _digits(text)]
    best = process.extractOne(text, alike, scorer=fuzz.ratio)
    return best[1] if best else 0.0


def _nearest(text: str, aliases: Mapping[str, Sequence[str]]) -> str:
    """Our name whose aliases are nearest to a heading that was not matched, "" where none is even similar."""
    scores = {name: _likeness(text, words) for name, words in aliases.items()}
    best = max(scores, key=lambda n: scores[n])
    return best if scores[best] >= 70.0 else ""
