"""Numbers and angles as people write them; None where a cell is neither, or has two readings."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import NamedTuple

from habitatmap.read.formats.cells import narrow


class Number(NamedTuple):
    """A number as written, and the step of its last digit (0.01 for 60.17)."""

    value: float
    step: float


# what people and programs put between groups of digits: spaces of all widths, apostrophes
_GAPS = re.compile(r"(?<=\d)[\s\u00a0\u2009\u202f'’](?=\d{3})")
# no more digits than a number can hold
_SIMPLE = re.compile(r"([+-]?)(\d{1,40})(?:([.,])(\d{0,40}))?(?:[eE]([+-]?\d{1,2}))?$")
_GROUPED = re.compile(r"([+-]?)(\d{1,3}(?:\.\d{3}){1,12}|\d{1,3}(?:,\d{3}){1,12})(?:([.,])(\d{1,40}))?$")


def read_number(cell: object, comma: str = "ask") -> Number | None:
    """A cell as a number; None where it is not one, or where it has two readings.

    `comma` says what a single comma before exactly three digits is ("385,123"): "decimal", "thousands", or "ask".
    """
    if isinstance(cell, bool) or cell is None:
        return None
    if isinstance(cell, (int, float)):
        return Number(float(cell), step_of(repr(float(cell)))) if math.isfinite(cell) else None
    text = _GAPS.sub("", narrow(str(cell)).strip()).replace("−", "-").replace("–", "-")
    match = _SIMPLE.match(text)
    if match:
        sign, whole, mark, part, power = match.groups()
        if mark == "," and len(part) == 3 and 1 <= len(whole) <= 3 and whole != "0" and not power:
            if comma == "ask":
                return None
            if comma == "thousands":
                return Number(float(f"{sign}{whole}{part}"), 1.0)
        return Number(float(f"{sign}{whole}.{part or '0'}e{power or 0}"), 10.0 ** (int(power or 0) - len(part or "")))
    match = _GROUPED.match(text)
    if match:
        sign, whole, mark, part = match.groups()
        if mark and mark in whole:
            return None
        digits = whole.replace(".", "").replace(",", "")
        return Number(float(f"{sign}{digits}.{part or '0'}"), 10.0 ** -len(part or ""))
    return None


def comma_of(cells: Sequence[object]) -> str:
    """What a comma before three digits is in this column: "decimal" or "thousands" by its other cells, else "ask"."""
    texts = [_GAPS.sub("", c.strip()) for c in cells if isinstance(c, str) and "," in c]
    decimal = any(re.fullmatch(r"[+-]?(\d*,(\d{1,2}|\d{4,})|0,\d+|\d{4,},\d+|[\d.]*\.\d{3},\d+)", t) for t in texts)
    thousands = any(re.fullmatch(r"[+-]?\d{1,3}(,\d{3}){2,}(\.\d+)?|[+-]?\d{1,3}(,\d{3})+\.\d+", t) for t in texts)
    return "decimal" if decimal and not thousands else "thousands" if thousands and not decimal else "ask"


def step_of(text: str) -> float:
    """The step of the last digit of a number as the computer writes it: 1.0 for "24.0", 1e-05 for "2.5e-05"."""
    mantissa, _, power = text.partition("e")
    decimals = len(mantissa.partition(".")[2]) if not mantissa.endswith(".0") else 0
    return 10.0 ** (int(power or 0) - decimals)


class Angle(NamedTuple):
    """Degrees, the step of the last digit in degrees, and the hemisphere letter that was written ("" = none)."""

    degrees: float
    step: float
    letter: str


# English; German; French; Dutch; Spanish and Portuguese; Italian; Finnish; Scandinavian
_DIRECTIONS = {
    "N": """n north northern; nord nördlich nördl nordl; noord nb noorderbreedte; norte; settentrione;
        pohjoinen pohjoista pohjoisleveyttä p; norr""",
    "S": "s south southern; süd südlich südl; sud; zuid z zb zuiderbreedte; sur sul; etelä eteläistä; syd söder",
    "E": """e east eastern; ost östlich östl ö; est; oost ol oosterlengte; este leste; itä itää itäistä i;
        öst øst öster ø""",
    "W": """w west western; westlich westl; ouest; wl westerlengte; oeste; ovest; länsi läntistä;
        väst vest väster v""",
    "O": "o",  # Ost, Oost or Ouest, Oeste, Ovest: the column's language decides
}
_LETTER = {word: letter for letter, words in _DIRECTIONS.items() for word in words.replace(";", " ").split()}
# "n. Br." and "ö. L.", "N.B." and "O.L.", "nördlicher Breite", "de latitud norte"
_SPELT_OUT = [
    (re.compile(r"\b([nsöw])\.?\s*(?:br|l)\.?(?=\W|$)", re.IGNORECASE), r"\1"),
    (re.compile(r"\b([nzow])\.\s?([bl])\.?(?=\W|$)", re.IGNORECASE), r"\1\2"),
    (re.compile(r"\b(nördl|südl|östl|westl)(?:iche[rn]?|ich|\.)?\s*(?:breite|länge)?", re.IGNORECASE), r"\1"),
    (re.compile(r"\b(?:de\s+)?(?:latitude?|longitude?)\s+(?=(?:nor|su|oest|est|oues))", re.IGNORECASE), ""),
]
# pohjoinen, itä and väst abbreviated: before a number they are more often the name of something (P12)
_BEHIND_ONLY = frozenset("pivlö")
_WORD = r"[^\W\d_]+"
_LEADING = re.compile(rf"^({_WORD})\.?[\s:]*(?=[\d+-])")
_TRAILING = re.compile(rf"(?<=[\d\s°º˚'’′´\"”″.,])({_WORD})\.?$")
# the s of 60d10m18s is a second, that of 33°51'54s the south
_SECONDS = re.compile(r"(\d\s*(?:d|deg)\s*\d+\s*m(?:in)?\s*[\d.,]+)\s*s(?:ec)?(?![a-z])", re.IGNORECASE)
_PART = r"\d+(?:[.,]\d+)?"
_DEGREES = r"(?:[°º˚:*]|deg(?:rees?)?|grad(?:os|en)?|degr[ée]s?|graden|astetta|d|\s|$)"
_MINUTES = r"(?:['’‘′´`:]|min(?:utes?|uten|utos|uuttia)?|m|\s|$)"
_ANGLE = re.compile(
    rf"([+-]?)\s*({_PART})\s*{_DEGREES}\s*"
    rf"(?:({_PART})\s*{_MINUTES}\s*(?:({_PART})\s*(?:[\"”“″]|['’′´]{{2}}|sec|seconds?)?)?)?\s*$",
    re.IGNORECASE,
)


_PLAIN = re.compile(r"[+-]?\d{1,3}\.\d{1,15}", re.ASCII)


def read_angle(cell: object) -> Angle | None:
    """Decimal degrees, or degrees with minutes and seconds, with or without a hemisphere letter; None if unclear.

    Only the last part may have decimals, minutes and seconds stay below 60, and a minus sign beside a hemisphere
    letter is unclear.
    """
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        number = read_number(cell)
        return number and Angle(number.value, number.step, "")
    if not isinstance(cell, str):
        return None
    if _PLAIN.fullmatch(cell):  # as nearly all are; the rest of this function is slow
        return Angle(float(cell), 10.0 ** -len(cell.partition(".")[2]), "")
    text, letter = _SECONDS.sub(r"\1", narrow(cell).strip().replace("−", "-").replace("–", "-")), ""
    for pattern, short in _SPELT_OUT:
        text = pattern.sub(short, text).strip()
    for pattern in (_LEADING, _TRAILING):
        match = pattern.search(text)
        word = match[1].lower() if match else ""
        if match and word in _LETTER and not (pattern is _LEADING and word in _BEHIND_ONLY):
            if letter:
                return None
            letter = _LETTER[word]
            text = (text[: match.start()] + text[match.end() :]).strip(" ,")
    if letter:
        text = re.sub(r"(?<=\d)-(?=\d)", ":", text)  # 60-10-18 N
    match = _ANGLE.match(text)
    if not match:
        return None
    sign, *parts = match.groups()
    written = [p.replace(",", ".") for p in parts if p is not None]
    if (sign and letter) or any("." in p for p in written[:-1]):
        return None
    values = [float(p) for p in written]
    if any(v >= 60 for v in values[1:]):
        return None
    degrees = sum(v / 60**i for i, v in enumerate(values))
    step = 10.0 ** -len(written[-1].partition(".")[2]) / 60 ** (len(values) - 1)
    return Angle(-degrees if sign == "-" or letter in ("S", "W") else degrees, step, letter)


# digits without marks, as ISO 6709 and satellite receivers write them: +6010.305+02456.451/ or 601018N 0245651E
_COMPACT = re.compile(
    r"([+-]?)(\d{2})(\d{2})(\d{2})?(\.\d+)?\s*([NS]?)[\s,;]*([+-]?)(\d{3})(\d{2})(\d{2})?(\.\d+)?\s*([EW]?)(?:[+-]\d+(?:\.\d+)?)?/?$",
    re.IGNORECASE,
)


def read_compact(text: str) -> tuple[Angle, Angle] | None:
    """(longitude, latitude) of degrees, minutes and seconds run together; None where the text is nothing such.

    Both need their letter or both their sign, and as many parts each: the leading zero of the longitude, which a
    number would not have, tells the writing apart from a lost decimal point.
    """
    match = _COMPACT.match(text.strip())
    if match is None:
        return None
    halves = match.groups()[:6], match.groups()[6:]
    if any(bool(sign) == bool(letter) for sign, *_, letter in halves) or bool(halves[0][3]) != bool(halves[1][3]):
        return None
    lat, lon = (
        read_angle(f"{sign}{' '.join(p for p in parts if p)}{fraction or ''}{letter.upper()}")
        for sign, *parts, fraction, letter in halves
    )
    return (lon, lat) if lon is not None and lat is not None else None


# words of the headings of languages in which the letter O is east, and of those in which it is west
_EASTERN = re.compile(
    r"länge|laenge|breite|rechts|hoch(?!e)|ostw|koordinate|becken|tümpel|eimer|standort|gattung|baum|bemerkung|datum"
    r"|lengte|breedte|co[öo]rdinaten|poel|emmer|plaats|opmerking|soort"
)
_WESTERN = re.compile(
    r"longitude? \(?o\b|ouest|coordonn|emplacement|mare\b|bassin|remarque|espèce|essence|arbre"
    r"|longitud\b|latitud\b|oeste|coordenada|ubicaci|posici[óo]n|charca|balsa|fecha|especie|[áa]rbol"
    r"|coordinate geografiche|longitudine|latitudine|ovest|albero"
)


def letter_o(cells: Sequence[object], headings: str = "") -> str:
    """What O means in a column of longitudes: "E" beside W (German, Dutch), "W" beside E (French, Spanish), else "".

    Where the column has neither, the language of the table's headings decides, if they are of one kind only.
    """
    written = [c for c in cells if isinstance(c, str) and re.search(r"[^\W\d_]", c)]
    letters = {a.letter for a in map(read_angle, written) if a is not None}
    if "O" not in letters or letters >= {"E", "W"}:
        return ""
    if letters & {"E", "W"}:
        return "E" if "W" in letters else "W"
    eastern, western = (bool(words.search(headings.casefold())) for words in (_EASTERN, _WESTERN))
    return "" if eastern == western else "E" if eastern else "W"


def read_accuracy(cell: object) -> float:
    """An accuracy in metres ("12", "787 m", "0.3 km"); NaN where it says nothing, as -1, 0 and blank do."""
    unit = 1.0
    if isinstance(cell, str):
        match = re.match(r"\s*(?:\+/?-|±)?\s*(.*?)\s*(km|m|ft|feet|metres|meters|meter)?\.?\s*$", cell, re.IGNORECASE)
        if match:
            cell, unit = match[1], {"km": 1000.0, "ft": 0.3048, "feet": 0.3048}.get((match[2] or "").lower(), 1.0)
    number = read_number(cell, "decimal")
    return number.value * unit if number is not None and number.value > 0 else math.nan
