"""Sentences with figures in them, so that a page can say them in its reader's language.

A sentence is a template in English and what stands for each {name} in it. A file holds `str(sentence)`; a page looks
the template up in its catalogue and writes the figures as that language does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from habitatmap.words.numbers import parts_of_percent


class Quantity(NamedTuple):
    """A figure with so many decimals, and its unit ("%", "m", "ha" or ""); `grouped`: "14,000"."""

    value: float
    digits: int = 0
    unit: str = ""
    grouped: bool = False

    def __str__(self) -> str:
        return f"{self.value:{',' if self.grouped else ''}.{self.digits}f} {self.unit}".rstrip()


class Sentence(NamedTuple):
    """`template` with `values` by name: quantities, names out of records, or sentences again."""

    template: str
    values: Mapping[str, Value] = {}

    def __str__(self) -> str:
        return self.template.format_map(self.values)


Value = Quantity | Sentence | str


def following(*sentences: Sentence, by: str = " ") -> Sentence:
    """Sentences one after the other."""
    names = [f"part{i}" for i in range(len(sentences))]
    return Sentence(by.join(f"{{{name}}}" for name in names), dict(zip(names, sentences, strict=True)))


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


def hectares(area: float) -> Quantity:
    """Hectares with two digits that count: "0.031 ha", "14 ha", "14,000 ha"."""
    text = f"{area:.2g}" if area < 99.5 else f"{float(f'{area:.2g}'):.0f}"
    return Quantity(float(text), len(text.partition(".")[2]), "ha", grouped=True)
