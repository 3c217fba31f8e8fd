"""Shares, lengths and areas as quantities of a sentence; see `habitatmap.sentences`."""

from __future__ import annotations

import math

from habitatmap.sentences import Quantity, Sentence, Value, apart, as_it_is, following, hectares, say
from habitatmap.words.numbers import parts_of_percent

__all__ = [
    "Quantity",
    "Sentence",
    "Value",
    "apart",
    "as_it_is",
    "ceiled",
    "floored",
    "following",
    "hectares",
    "say",
    "significant",
    "whole_metres",
]


def significant(share: float) -> Quantity:
    """A share as a percentage with two digits that count: "12 %", "1.3 %", "0.045 %"."""
    value = float(f"{100 * share:.2g}")  # rounded first, so that 0.9996 is 1.0 and not 1.00
    return Quantity(value, max(0, 1 - math.floor(math.log10(abs(value)))) if value else 0, "%")


def floored(share: float) -> Quantity:
    """The low end of a range as a whole percentage that is never above it: "12 %"."""
    return Quantity(math.floor(parts_of_percent(share)), 0, "%")


def ceiled(share: float) -> Quantity:
    """The high end of a range as a whole percentage that is never below it: "13 %"."""
    return Quantity(math.ceil(parts_of_percent(share)), 0, "%")


def whole_metres(distance: float) -> Quantity:
    """A distance to the metre: "139 m"."""
    return Quantity(distance, unit="m")
