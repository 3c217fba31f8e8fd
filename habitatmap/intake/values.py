"""Cells as values: names, yes and no, counts with their bounds. What a cell does not say is not made up."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import NamedTuple

from rapidfuzz import fuzz, process

from habitatmap.coordinates import comma_of, read_number
from habitatmap.intake.headings import fold
from habitatmap.intake.ledger import as_text

_YES = frozenset("yes y true 1 x ja j wahr oui o vrai si s verdadero kylla k on tosi ✓ ✔".split())
_NO = frozenset("no n false 0 nein falsch non faux nee falso ei e epatosi ✗".split())


def yes_no(cell: object) -> str | None:
    """ "yes", "no", "" for a blank cell, None where the cell says neither. Reads six languages, 1/0, x and ticks."""
    text = as_text(cell).strip().casefold()
    if not text:
        return ""
    word = fold(text) or text
    return "yes" if word in _YES else "no" if word in _NO else None


def name_of(cell: object) -> str:
    """A name as a person reads it: single spaces, no `.0` behind a number."""
    return " ".join(as_text(cell).split())


def name_key(name: str) -> str:
    """What two writings of one name share: case and spaces do not matter, digits and everything else do."""
    return re.sub(r"\s+", "", name).casefold()


def nearest_name(name: str, names: Sequence[str]) -> str:
    """The most alike of the names, "" where none is; numbers inside must agree, as pool 12 is not pool 13."""
    digits = [int(d) for d in re.findall(r"\d+", name)]
    alike = [n for n in names if [int(d) for d in re.findall(r"\d+", n)] == digits]
    best = process.extractOne(name.casefold(), [n.casefold() for n in alike], scorer=fuzz.ratio, score_cutoff=50)
    return alike[best[2]] if best else ""


class Count(NamedTuple):
    """A count as it was written: the number where it is exact (else NaN), and what it lies between (inf = open)."""

    exact: float
    low: float
    high: float


_MANY = frozenset(
    """lots many several some few a few present yes plenty viele einige mehrere ja etliche vorhanden beaucoup plusieurs
    quelques oui presentes veel enkele aanwezig ja muchas muchos varias algunas si presentes
    paljon useita muutama kylla""".split()
)
_NONE = frozenset(
    """none no nil zero nothing keine kein nein null aucune aucun non rien geen nee nul ninguna ninguno nada ei
    yhtaan""".split()
)


def read_counts(cells: Sequence[object]) -> list[Count | None]:
    """Counts of a column, None where a cell is blank or says no count ("?").

    "12" is exact; "10+", ">10", "2-3" keep their bounds; "lots" and "ca. 20" are at least one; "none" is 0; "1?" is
    0 to 1.
    """
    comma = comma_of(cells)
    return [_read_count(cell, "thousands" if comma == "ask" else comma) for cell in cells]


def _read_count(cell: object, comma: str) -> Count | None:
    if cell is None:
        return None
    if isinstance(cell, bool):
        return Count(math.nan, 1, math.inf) if cell else Count(0, 0, 0)
    number = read_number(cell, comma)
    if number is not None:
        whole = number.value >= 0 and float(number.value).is_integer()
        return Count(number.value, number.value, number.value) if whole else None
    text = as_text(cell).strip().casefold()
    word = fold(text)
    if word in _NONE:
        return Count(0, 0, 0)
    if word in _MANY:
        return Count(math.nan, 1, math.inf)
    span = re.fullmatch(r"(\d+)\s*(?:-|–|to|bis|à|a|tot|/)\s*(\d+)", text)
    if span and int(span[1]) <= int(span[2]):
        return Count(math.nan, int(span[1]), int(span[2]))
    least = re.fullmatch(
        r"(?:>=|≥|at least|min\.?|mindestens|au moins|minstens|al menos|vähintään)\s*(\d+)|(\d+)\s*\+", text
    )
    if least:
        return Count(math.nan, int(least[1] or least[2]), math.inf)
    above = re.fullmatch(r"(?:>|more than|über|plus de|meer dan|más de|yli)\s*(\d+)", text)
    if above:
        return Count(math.nan, int(above[1]) + 1, math.inf)
    about = re.fullmatch(r"(?:ca\.?|circa|about|approx\.?|etwa|environ|ongeveer|unos|noin|~|±)\s*(\d+)", text)
    if about and int(about[1]) > 0:
        return Count(math.nan, 1, math.inf)
    doubtful = re.fullmatch(r"(\d+)\s*\?|\?\s*(\d+)", text)
    if doubtful:
        return Count(math.nan, 0, int(doubtful[1] or doubtful[2]))
    return None
