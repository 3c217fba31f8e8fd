"""Sentences with figures in them, so that a page or a paper can say them in its reader's language.

A sentence is a template in English and what stands for each {name} in it. It is the English text, for files and
machines; who writes for a reader looks the template up in a catalogue and writes the figures as that language does.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import NamedTuple


class Quantity(NamedTuple):
    """A figure with so many decimals, and its unit ("%", "m", "ha" or ""); `grouped`: "14,000"; `signed`: "+3"."""

    value: float
    digits: int = 0
    unit: str = ""
    grouped: bool = False
    signed: bool = False

    def __str__(self) -> str:
        return f"{self.value:{'+' * self.signed}{',' * self.grouped}.{self.digits}f} {self.unit}".rstrip()


class Sentence(str):
    """`template` with `values` by name: quantities, days, names out of records, or sentences again.

    `capital`: it begins with a capital letter, whatever its first part is.
    """

    template: str
    values: Mapping[str, Value]
    capital: bool

    def __new__(cls, template: str, values: Mapping[str, Value] | None = None, capital: bool = False) -> Sentence:
        text = template.format_map(values) if values else template
        self = super().__new__(cls, capitalised(text) if capital else text)
        self.template, self.values, self.capital = template, values or {}, capital
        return self


Value = Quantity | str | datetime.date


def say(template: str, /, **values: Value | float) -> Sentence:
    """A sentence; a bare number is written whole, with its thousands apart."""
    return Sentence(template, {name: _value(value) for name, value in values.items()})


def _value(value: Value | float) -> Value:
    return value if isinstance(value, tuple | str | datetime.date) else Quantity(float(value), grouped=True)


def count(n: float, thing: str, things: str = "") -> Sentence:
    """ "1 pool", "1,200 pools"; `things` where an s at the end is not the plural."""
    return say(f"{{n}} {thing if n == 1 else things or f'{thing}s'}", n=n)


def exact(value: float, unit: str = "") -> Quantity:
    """A figure with the decimals that it has, of six digits at most: "2 m", "2.5 m"."""
    return Quantity(value, len(f"{value:g}".partition(".")[2]), unit)


def hectares(area: float) -> Quantity:
    """Hectares with two digits that count: "0.031 ha", "14 ha", "14,000 ha"."""
    text = f"{area:.2g}" if area < 99.5 else f"{float(f'{area:.2g}'):.0f}"
    return Quantity(float(text), len(text.partition(".")[2]), "ha", grouped=True)


def as_it_is(name: str) -> Sentence:
    """A text out of a record, which is the same in every language."""
    return Sentence("{name}", {"name": name})


def capitalised(text: str) -> str:
    """The text with a capital letter."""
    return text[:1].upper() + text[1:]


def following(*sentences: str, by: str = " ") -> Sentence:
    """Sentences one after the other, without those that are empty."""
    parts = {f"part{i}": part for i, part in enumerate(part for part in sentences if part)}
    return Sentence(by.join(f"{{{name}}}" for name in parts), parts)


def apart(words: Sequence[str], by: str = ", ") -> Sentence:
    """ "a, b, c", of words that may be empty."""
    names = [f"part{i}" for i in range(len(words))]
    return Sentence(by.join(f"{{{name}}}" for name in names), dict(zip(names, words, strict=True)))
