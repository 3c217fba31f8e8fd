"""Numbers as reports write them; for a figure that is not known, None or NaN, a word stands."""

from __future__ import annotations

import math
from collections.abc import Sequence

UNKNOWN = "not known"
Figure = float | None


def known(value: Figure) -> bool:
    """Whether there is a figure at all."""
    return value is not None and math.isfinite(value)


def percent(share: Figure, digits: int = 0, signed: bool = False) -> str:
    """A share as a percentage: "42 %"; `signed` with its sign: "+0.42 %"."""
    if share is None or not math.isfinite(share):
        return UNKNOWN
    return f"{100 * share:{'+' if signed else ''}.{digits}f} %"


def at_most(share: float, digits: int = 0) -> str:
    """A limit as a percentage that is never below it: rounded up."""
    return percent(math.ceil(parts_of_percent(share, digits)) / 10 ** (digits + 2) if known(share) else share, digits)


def at_least(share: float, digits: int = 0) -> str:
    """A promise as a percentage that is never above it: rounded down."""
    return percent(math.floor(parts_of_percent(share, digits)) / 10 ** (digits + 2) if known(share) else share, digits)


def parts_of_percent(share: float, digits: int = 0) -> float:
    """How many of the last printed digit of a percentage, without what is left of binary fractions."""
    return float(round(share * 10 ** (digits + 2), 6))


def span(low: Figure, high: Figure, digits: int = 0, unknown: str = "") -> str:
    """An interval of shares: "39 to 97 %", one percentage where its ends are the same."""
    if low is None or high is None or not math.isfinite(low):
        return unknown
    return percent(low, digits) if low == high else f"{100 * low:.{digits}f} to {percent(high, digits)}"


def whole_span(low: float, high: float) -> str:
    """An interval of whole numbers: "19 to 20", one number where its ends are the same."""
    ends = dict.fromkeys((f"{low:,.0f}", f"{high:,.0f}"))
    return " to ".join(ends)


def points(share: float, low: float, high: float) -> str:
    """A difference of shares in percentage points with its interval: "+12 (-3 to +27)"."""
    return f"{100 * share:+.0f} ({100 * low:+.0f} to {100 * high:+.0f})"


def p_words(value: float, digits: int = 3) -> str:
    """A p-value: "p = 0.012", "p < 0.001"."""
    least = 10.0**-digits
    return f"p < {least:.{digits}f}" if value < least else f"p = {value:.{digits}f}"


def number(value: Figure, digits: int = 0, unknown: str = "") -> str:
    """A number with so many decimals: "1,234.5"."""
    return unknown if value is None or not math.isfinite(value) else f"{value:,.{digits}f}"


def count(n: int, thing: str, things: str = "") -> str:
    """ "1 pool", "1,200 pools"; `things` where an s at the end is not the plural."""
    return f"{n:,} {thing if n == 1 else things or f'{thing}s'}"


def metres(distance: float) -> str:
    """A way on foot, to ten metres: "790 m", "1.7 km"."""
    return f"{distance / 1000:.1f} km" if distance >= 1000 else f"{round(distance, -1):.0f} m"


def listed(words: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return " and ".join([*([", ".join(words[:-1])] if words[1:] else []), *words[-1:]])


def sentence(text: str) -> str:
    """The text with a capital letter."""
    return text[:1].upper() + text[1:]
