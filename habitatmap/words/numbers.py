"""Numbers as reports write them; for a figure that is not known, None or NaN, a word stands.

Each is a `Sentence`: the English text, which a page can say in its reader's language.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from habitatmap.sentences import Quantity, Sentence, Value, apart, say
from habitatmap.sentences import count as count

UNKNOWN = "not known"
Figure = float | None


def known(value: Figure) -> bool:
    """Whether there is a figure at all."""
    return value is not None and math.isfinite(value)


def percent(share: Figure, digits: int = 0, signed: bool = False) -> Sentence:
    """A share as a percentage: "42 %"; `signed` with its sign: "+0.42 %"."""
    if share is None or not math.isfinite(share):
        return Sentence(UNKNOWN)
    return _written(Quantity(100 * share, digits, "%", signed=signed))


def _written(figure: Quantity) -> Sentence:
    return Sentence("{figure}", {"figure": figure})


def at_most(share: float, digits: int = 0) -> Sentence:
    """A limit as a percentage that is never below it: rounded up."""
    return percent(math.ceil(parts_of_percent(share, digits)) / 10 ** (digits + 2) if known(share) else share, digits)


def at_least(share: float, digits: int = 0) -> Sentence:
    """A promise as a percentage that is never above it: rounded down."""
    return percent(math.floor(parts_of_percent(share, digits)) / 10 ** (digits + 2) if known(share) else share, digits)


def parts_of_percent(share: float, digits: int = 0) -> float:
    """How many of the last printed digit of a percentage, without what is left of binary fractions."""
    return float(round(share * 10 ** (digits + 2), 6))


def between(low: Value, high: Value) -> Sentence:
    """A range by its two ends: "3 to 5"."""
    return say("{low} to {high}", low=low, high=high)


def span(low: Figure, high: Figure, digits: int = 0, unknown: str = "") -> Sentence:
    """An interval of shares: "39 to 97 %", one percentage where its ends are the same."""
    if low is None or high is None or not math.isfinite(low):
        return Sentence(unknown)
    if low == high:
        return percent(low, digits)
    return between(Quantity(100 * low, digits), percent(high, digits))


def number_span(low: float, high: float, digits: int = 0, signed: bool = False) -> Sentence:
    """An interval of numbers with so many decimals, one number where its ends are printed alike."""
    ends = [Quantity(end, digits, grouped=not signed, signed=signed) for end in (low, high)]
    if str(ends[0]) == str(ends[1]):
        return _written(ends[0])
    return between(*ends)


def points(share: float, low: float, high: float) -> Sentence:
    """A difference of shares in percentage points with its interval: "+12 (-3 to +27)"."""
    at, least, most = (Quantity(100 * value, signed=True) for value in (share, low, high))
    return say("{points} ({low} to {high})", points=at, low=least, high=most)


def p_words(value: float, digits: int = 3) -> Sentence:
    """A p-value: "p = 0.012", "p < 0.001"."""
    least = 10.0**-digits
    return say("p < {p}" if value < least else "p = {p}", p=Quantity(max(value, least), digits))


def number(value: Figure, digits: int = 0, unknown: str = "") -> Sentence:
    """A number with so many decimals: "1,234.5"."""
    if value is None or not math.isfinite(value):
        return Sentence(unknown)
    return _written(Quantity(value, digits, grouped=True))


def short(value: float) -> Quantity:
    """A number with no more decimals than it has: "0.4", "3"."""
    return Quantity(value, len(f"{value:g}".partition(".")[2]))


def metres(distance: float) -> Sentence:
    """A way on foot, to ten metres: "790 m", "1.7 km"."""
    return _written(Quantity(distance / 1000, 1, "km") if distance >= 1000 else Quantity(round(distance, -1), 0, "m"))


def listed(words: Sequence[str]) -> Sentence:
    """ "a", "a and b", "a, b and c"; codes and sentences among them are said in the reader's language."""
    if len(words) < 2:
        return Sentence("{only}", {"only": words[0]}) if words else Sentence("")
    return say("{first} and {last}", first=apart(words[:-1]), last=words[-1])


def sentence(text: str) -> Sentence:
    """The text with a capital letter."""
    return Sentence("{text}", {"text": text}, capital=True)
