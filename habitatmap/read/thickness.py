"""How thick trees are: numbers, classes and girths of any unit become diameters in centimetres.

A unit that nothing states is taken where the figures themselves leave no doubt. Where they do, it is asked: the
thickness is not known until a heading, readings.xlsx or area.toml states the unit.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from habitatmap.read.coordinates import comma_of, read_number
from habitatmap.read.formats.cells import as_text, each_once
from habitatmap.read.headings import fold, unit_of
from habitatmap.read.ledger import UnitBy, UnitRead
from habitatmap.read.rows import Draft
from habitatmap.read.tree_conditions import UNDEFINED
from habitatmap.sentences import Quantity, Sentence, count, say

Floats = NDArray[np.float64]

# thicker than any tree that stands in a town (expert judgement): a slip of unit or key
THICKEST_CM = 1500.0
# a column whose middle tree is thicker holds something else than diameters (expert judgement; veterans' lists included)
MIDDLE_AT_MOST_CM = 180.0
# ... and one whose middle tree is thicker than this may (expert judgement: in towns it is mostly 20 to 50 cm)
MIDDLE_DOUBTED_CM = 80.0
# a girth is pi times the diameter; measured apart and by several people it is within these (expert judgement)
GIRTH_TO_DIAMETER = (2.5, 4.0)
# widths of classes in inches: 1-6, 7-12, or 0-6, 6-12, or two of these in one (common practice, no source)
WIDTHS_OF_SIXES = (5.0, 6.0, 11.0, 12.0)
# the contiguous United States and the border of Canada, where trunks are often measured in inches: longitude and
# latitude, west, south, east, north (common practice, no source)
INCHES_USUAL = (-125.0, 24.4, -66.9, 49.5)
# "DBH class", "Durchmesserklasse": where only small whole numbers stand below it, they number the classes
_CLASSES = re.compile(r"class|klass|classe|clase|luokka|range|code|stufe")
MOST_CLASSES = 12

TO_CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "in": 2.54, "ft": 30.48}
# what area.toml says
STATED = {"inch": "in"}
_UNIT = r"(mm|cm|m|in|inch|inches|ft|feet|\"|'')?"


class Doubt(StrEnum):
    """What makes it likely that a column without a unit holds inches, as templates of `say`."""

    SIXES = "it holds classes of six ({of}), as registers in inches do"
    BESIDE = "{of} beside it is in feet or inches"
    COUNTRY = "the trees stand where trunks are usually measured in inches"


class Cell(NamedTuple):
    """What a cell says: a number or the middle of a class, the unit written in it ("" = none), and the class's ends
    (NaN = open, or no class)."""

    value: float
    unit: str = ""
    low: float = math.nan
    high: float = math.nan


UNREAD = Cell(math.nan)


def read_diameters(draft: Draft, stated: Mapping[str, str], where: tuple[float, float]) -> list[float]:
    """Diameters in centimetres of a table's trees, NaN where not known; how the units were read goes to its account.

    stated: unit by "diameter" and "girth", as [units.trees] of area.toml states it, for columns whose heading names
    none. where: longitude and latitude of the trees' middle, NaN where not known.
    """
    thick = np.full(len(draft.table), np.nan)
    both: dict[str, Floats] = {}
    for name, factor in (("girth_cm", 1 / math.pi), ("diameter_cm", 1.0)):
        if not draft.has(name):
            continue
        measure = name.removesuffix("_cm")
        cells = _cells(draft.cells(name))
        unit, by = _unit_of_column(draft.heading(name), cells, factor, stated.get(measure, ""))
        if by is not UnitBy.CELLS and _are_numbers_of_classes(draft.heading(name), cells):
            told = (
                "{heading} holds numbers of classes, so the thickness of these trees is not known; write what each "
                "class means, such as 10-20 cm"
            )
            draft.remark(say(told, heading=draft.heading(name)))
            continue
        doubt = _doubt(draft, cells, where) if by is UnitBy.VALUES else None
        if doubt is not None:
            unit, by = "", UnitBy.ASKED
        if any(cell.value > 0 for cell in cells):
            draft.units.append(UnitRead(measure, draft.heading(name), unit, by))
        read = np.array([cell.value * TO_CM.get(cell.unit or unit, math.nan) for cell in cells])
        both[name] = read
        if doubt is not None:
            _ask(draft, name, doubt, int(np.isnan(read).sum() - sum(math.isnan(cell.value) for cell in cells)))
        else:
            _tell_lost(draft, name, read * factor)
        read = _possible(draft, name, read * factor)
        thick = np.where(np.isnan(read), thick, read)
    if len(both) == 2:
        _tell_odd_girths(draft, both["girth_cm"], both["diameter_cm"])
    return [float(t) for t in thick]


def read_thickness(cells: Sequence[object], heading: str, factor: float = 1.0, stated: str = "") -> list[float]:
    """Centimetres, NaN where unknown. The unit stands in the cell, else in the heading, else it is stated, else the
    column shows it.

    factor: from what was measured to the diameter (1 / pi for a girth). Without any unit: centimetres where the
    middle diameter is 3 to 250, metres where all are below 6 and the middle one below 3 with decimals; otherwise the
    unit is not known (expert judgement).
    """
    read = _cells(cells)
    unit, _ = _unit_of_column(heading, read, factor, stated)
    return [cell.value * TO_CM.get(cell.unit or unit, math.nan) for cell in read]


# --- units -----------------------------------------------------------------------------------------------------------


def _unit_of_column(heading: str, cells: Sequence[Cell], factor: float, stated: str) -> tuple[str, UnitBy]:
    """The unit of the cells that name none, "" where it is not known, and what tells it."""
    named = unit_of(heading)
    if named in TO_CM:
        return named, UnitBy.HEADING
    bare = [cell.value * factor for cell in cells if not cell.unit and cell.value > 0]
    if stated:
        return STATED.get(stated, stated), UnitBy.STATED
    if not bare:
        return "cm", UnitBy.CELLS
    likely = _likely_unit(np.array(bare))
    return likely, UnitBy.VALUES if likely else UnitBy.ASKED


def _likely_unit(values: Floats) -> str:
    middle = float(np.median(values))
    if values.max() < 6 and middle < 3 and bool((values % 1 > 0).any()):
        return "m"
    return "cm" if 3 <= middle <= 250 else ""


def _doubt(draft: Draft, cells: Sequence[Cell], where: tuple[float, float]) -> tuple[Doubt, str] | None:
    """Why a column without a unit may well hold inches, and what shows it; None where nothing does."""
    bare = [cell for cell in cells if not cell.unit and not math.isnan(cell.value)]
    classes = sorted({(c.low, c.high) for c in bare if not (math.isnan(c.low) or math.isnan(c.high))})
    if len(classes) > 1 and all(high % 6 == 0 and high - low in WIDTHS_OF_SIXES for low, high in classes):
        return Doubt.SIXES, ", ".join(f"{low:g}-{high:g}" for low, high in classes[:3])
    # not "in", which is a word of other languages as well
    beside = [h for h in draft.table.headings if {"ft", "feet", "inch", "inches"} & set(fold(h).split())]
    if beside:
        return Doubt.BESIDE, beside[0]
    west, south, east, north = INCHES_USUAL
    if west <= where[0] <= east and south <= where[1] <= north:
        return Doubt.COUNTRY, ""
    return None


def _are_numbers_of_classes(heading: str, cells: Sequence[Cell]) -> bool:
    values = {cell.value for cell in cells if cell.value > 0}
    plain = all(math.isnan(cell.high) and not cell.unit for cell in cells)
    small = bool(values) and max(values) <= MOST_CLASSES and all(value % 1 == 0 for value in values)
    return plain and small and _CLASSES.search(fold(heading)) is not None


def _ask(draft: Draft, name: str, doubt: tuple[Doubt, str], trees: int) -> None:
    why, of = doubt
    told = (
        "{heading} names no unit, and {why}; the thickness of {trees} is not known until somebody states the unit in "
        'readings.xlsx, sheet units (or in area.toml: [units.trees] {measure} = "inch" or "cm")'
    )
    measure, because = name.removesuffix("_cm"), Sentence(str(why), {"of": of})
    draft.remark(say(told, heading=draft.heading(name), why=because, trees=count(trees, "tree"), measure=measure))


# --- what a column holds ---------------------------------------------------------------------------------------------


def _tell_lost(draft: Draft, name: str, read: Floats) -> None:
    """A remark on the cells that say something, and give no thickness."""
    wrong = (read <= 0) | (read > THICKEST_CM) | np.isnan(read)
    lost = [as_text(c) for c, w in zip(draft.cells(name), wrong, strict=True) if c is not None and w]
    lost = [c for c in lost if fold(c) not in UNDEFINED and c not in ("0", "-1")]
    if lost:
        told = (
            "{cells} under {heading} gave no thickness in a known unit (for instance {first}); these trees count as of "
            "unknown thickness"
        )
        draft.remark(say(told, cells=count(len(lost), "cell"), heading=draft.heading(name), first=lost[0]))


def _possible(draft: Draft, name: str, read: Floats) -> Floats:
    """The diameters that a tree can have; none where the whole column holds something else, which is told."""
    read = np.where((read <= 0) | (read > THICKEST_CM), np.nan, read)
    middle = np.median(read[~np.isnan(read)]) if not np.isnan(read).all() else 0.0
    if middle > MIDDLE_AT_MOST_CM:
        told = (
            "the median under {heading} is {median}, so the column may hold girths or another unit; these trees count "
            "as of unknown thickness. Say in the heading what it holds, such as girth (cm)"
        )
        draft.remark(say(told, heading=draft.heading(name), median=Quantity(float(middle), unit="cm")))
        return np.full(len(read), np.nan)
    if name == "diameter_cm" and middle > MIDDLE_DOUBTED_CM:
        told = (
            "the median under {heading} is {median}, more than in most towns; the figures are used as they are. If "
            "they are girths, say so in the heading: girth (cm)"
        )
        draft.remark(say(told, heading=draft.heading(name), median=Quantity(float(middle), unit="cm")))
    return read


def _tell_odd_girths(draft: Draft, girth: Floats, thick: Floats) -> None:
    """A remark where a table's girths are not about pi times its diameters: one of the headings is wrong."""
    both = (girth > 0) & (thick > 0)
    ratio = float(np.median(girth[both] / thick[both])) if both.any() else math.pi
    if not GIRTH_TO_DIAMETER[0] <= ratio <= GIRTH_TO_DIAMETER[1]:
        told = (
            "{girth} is {ratio} times {diameter} (median), and a girth is {usual} times a diameter; check what the two "
            "columns hold. The diameters are used"
        )
        heads = {"girth": draft.heading("girth_cm"), "diameter": draft.heading("diameter_cm")}
        draft.remark(say(told, **heads, ratio=Quantity(ratio, 1), usual=Quantity(math.pi, 1)))


# --- cells -----------------------------------------------------------------------------------------------------------


def _cells(cells: Sequence[object]) -> list[Cell]:
    comma = "decimal" if (found := comma_of(cells)) == "ask" else found
    return each_once(lambda cell: _thickness(cell, comma), cells)


# "ca. 60", "Ø 45", "45 cm (BHD)": words around a thickness that do not change it
_AROUND = re.compile(
    r"^\s*(?:ca\.?|circa|approx\.?|about|etwa|environ|env\.|ongeveer|noin|unos|[~≈ø⌀]|dbh|bhd)\s*[:=]?(?=[\s\d])|\s*\([^)]*\)\s*$"
)


def _thickness(text_or_number: object, comma: str) -> Cell:
    """What one cell says: a number, a class, or a class open at one end."""
    number = read_number(text_or_number, comma)
    if number is not None:
        return Cell(number.value)
    text = _AROUND.sub("", as_text(text_or_number).casefold()).strip().removesuffix(".")
    n = r"(\d+(?:[.,]\d+)?)"
    span = re.fullmatch(rf"{n}?\s*{_UNIT}\s*(?:-|–|—|to|bis|à|tot|a)\s*{n}?\s*{_UNIT}", text)
    above = re.fullmatch(
        rf"(?:>=?|≥|over|above|über|plus de|yli|más de)\s*{n}\s*{_UNIT}"
        rf"|{n}\s*{_UNIT}\s*(?:\+|and over|and more|und mehr)",
        text,
    )
    below = re.fullmatch(rf"(?:<=?|≤|under|below|unter|moins de|alle|menos de)\s*{n}\s*{_UNIT}", text)
    plain = re.fullmatch(rf"{n}\s*{_UNIT}", text)

    def value(part: str) -> float:
        return float(part.replace(",", "."))

    if plain:
        return Cell(value(plain[1]), _unit(plain[2]))
    if below:
        return Cell(value(below[1]) / 2, _unit(below[2]))
    if above:
        return Cell(value(above[1] or above[3]), _unit(above[2] or above[4]))
    if span and (span[1] or span[3]):
        low, high = (None if p is None else value(p) for p in (span[1], span[3]))
        unit = _unit(span[4] or span[2])
        if high is None:
            return Cell(float(low or 0), unit)
        return Cell(((low or 0.0) + high) / 2, unit, math.nan if low is None else low, high)
    return UNREAD


def _unit(word: str | None) -> str:
    """The unit that stands behind a number, by its short name."""
    return {"inch": "in", "inches": "in", '"': "in", "''": "in", "feet": "ft"}.get(word or "", word or "")
