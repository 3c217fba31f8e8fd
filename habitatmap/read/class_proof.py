"""Which class table reads a file of land cover, where nobody states it: what the file itself proves.

In this order, the surest first: texts such as "landuse=meadow" are map tags. Labels or colours of the raster's own
prove a table where all that are known are those of its classes, for most of the cells. The table's name in the file's
name or tags proves it where every value is one of its codes. So do at least three values, one of them above 44, that
are all codes of one table and of no other. Values 1 to 44 alone prove nothing: CORINE numbers its classes so, and so
does many a legend of one's own. What the raster's own labels or colours contradict is no proof.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from rasterio.errors import RasterioError

from habitatmap.errors import InputError
from habitatmap.read.formats.raster import Colour, damaged, open_raster, raster_colours, raster_labels
from habitatmap.read.headings import fold
from habitatmap.read.layers import class_rows, class_table_names, code_text, kept, shipped_table
from habitatmap.read.ledger import some

TAG_TABLE = "osm"
# a legend numbered from 1 seldom has more classes than CORINE
MOST_NUMBERED = 44
# how far each of red, green and blue may be off: programs round colours when they convert them
COLOUR_OFF = 3
# labels or colours of fewer values, or for less of the cells, prove nothing (expert judgement)
FEWEST_NAMED, ENOUGH_NAMED = 2, 0.8
# a table must name this much of the cells to be held against another legend (expert judgement)
COMPARED_FROM = 0.5
# what the raster contradicts for more of the cells is no proof, and is told (expert judgement)
CONTRADICTED_FROM = 0.02


class By(StrEnum):
    """What proves a class table."""

    TAGS = "its map tags"
    LABELS = "its labels"
    COLOURS = "its colours"
    NAME = "its name"
    VALUES = "its values alone"


class Proof(NamedTuple):
    """A class table, and what proves that it reads the file."""

    table: str
    by: By


@dataclass(frozen=True)
class Evidence:
    """What a file says of its classes. cells: how many cells hold each value (for shapes: 1 each); hints: its name and
    tags, which may name a table; labels and colours: the raster's own, by value."""

    file: str
    cells: Mapping[str, int]
    hints: str
    labels: Mapping[str, str] = field(default_factory=dict)
    colours: Mapping[str, Colour] = field(default_factory=dict)

    def share(self, values: Sequence[str]) -> float:
        """The share (0-1) of the cells that hold one of the values."""
        all_cells = sum(self.cells.values())
        return sum(self.cells[value] for value in values) / all_cells if all_cells else 0.0


def raster_evidence(path: Path, file: str) -> Evidence:
    """What a raster says of its classes, all its cells counted window by window; `file` is what sentences call it."""
    cells: Counter[str] = Counter()
    with open_raster(path) as raster:
        try:
            for _, window in raster.block_windows(1):
                block = raster.read(1, window=window)
                there = raster.read_masks(1, window=window) > 0
                found, counts = np.unique(block[there & (block == block)], return_counts=True)  # NaN is no class
                cells.update(dict(zip(map(code_text, found.tolist()), counts.tolist(), strict=True)))
        except RasterioError as fault:
            raise InputError(damaged(path, fault)) from None
        hints = " ".join([file, *map(str, raster.tags().values())])
    return Evidence(file, cells, hints, raster_labels(path), raster_colours(path))


class Contradiction(NamedTuple):
    """What the legend in use says of a value, and what the raster's own label or colour says."""

    value: str
    share: float
    used: str
    own: str


def find_proof(evidence: Evidence) -> Proof | None:
    """The class table that the file proves (the rule stands at the top of this module), None where it proves none."""
    values = list(evidence.cells)
    if values and all("=" in value for value in values):
        return Proof(TAG_TABLE, By.TAGS)
    for by, named in ((By.LABELS, _by_label), (By.COLOURS, _by_colour)):
        proven = [name for name in class_table_names() if _names_all(evidence, name, named(evidence, name))]
        if len(proven) == 1:
            return Proof(proven[0], by)
    fitting = [
        name
        for name in class_table_names()
        if set(values) <= set(shipped_table(name)["code"]) and not _is_contradicted(evidence, shipped_table(name))
    ]
    said = [name for name in fitting if name in evidence.hints.casefold()]
    many = len(values) >= 3 and any(not value.isdigit() or int(value) > MOST_NUMBERED for value in values)
    if values and len(said) == 1:
        return Proof(said[0], By.NAME)
    return Proof(fitting[0], By.VALUES) if many and len(fitting) == 1 else None


def proven_table(evidence: Evidence) -> Proof:
    """The same. Raises InputError, with the line to add to area.toml, where the file proves none."""
    if proof := find_proof(evidence):
        return proof
    raise InputError(
        f"{unproven(evidence)}; add to area.toml: [land_cover] classes = one of {table_choices()}, or the name of a "
        "CSV in the folder"
    )


def unproven(evidence: Evidence) -> str:
    """That a file does not say which class table reads it: the beginning of a sentence."""
    shown = some(sorted(evidence.cells, key=lambda text: (len(text), text)), ", ", 12)
    return (
        f"{evidence.file} holds the classes {shown or '(none)'}, and neither area.toml nor the file says which class "
        "table reads them"
    )


def table_choices() -> str:
    """The class tables by name, for a sentence."""
    return ", ".join(f'"{name}"' for name in class_table_names())


def raster_tables() -> list[str]:
    """The class tables that can read a raster."""
    return [name for name in class_table_names() if name != TAG_TABLE]


def raster_choices() -> str:
    """The same, and how to give one's own, for a sentence."""
    return f"{', '.join(raster_tables())}, or the path of a CSV with the columns code, label, like (layers/README.md)"


def contradictions(evidence: Evidence, used: pd.DataFrame) -> list[Contradiction]:
    """Where the raster's own labels or colours say another class than the table in use, the largest share first.

    The raster is read by that table of layers/ which its labels or colours fit best; a class of the table in use is
    compared where it has a label or a colour of such a table too (a class that is `like` another has its colour).
    """
    if not evidence.labels and not evidence.colours:
        return []
    readings = [_named(evidence, name) for name in class_table_names()]
    best = max(readings, key=lambda rows: evidence.share(list(rows)), default={})
    if evidence.share(list(best)) < COMPARED_FROM:
        return []
    known = {fold(str(label)) for name in class_table_names() for label in shipped_table(name)["label"] if label}
    at, found = class_rows(used), []
    for value, own in best.items():
        if value not in at:
            continue
        row = used.iloc[at[value] - 1]
        same = fold(row["label"]) == fold(own["label"]) or (row["colour"] and row["colour"] == own["colour"])
        if not same and (row["colour"] or fold(row["label"]) in known):
            found.append(Contradiction(value, evidence.share([value]), row["label"], own["label"]))
    return sorted(found, key=lambda one: (-one.share, one.value))


def _is_contradicted(evidence: Evidence, used: pd.DataFrame) -> bool:
    return sum(one.share for one in contradictions(evidence, used)) > CONTRADICTED_FROM


def _named(evidence: Evidence, name: str) -> dict[str, pd.Series]:
    """The row of a table by value, where the raster's own label, else its colour, names one."""
    return _by_colour(evidence, name) | _by_label(evidence, name)


def _by_label(evidence: Evidence, name: str) -> dict[str, pd.Series]:
    table = shipped_table(name)
    rows = {fold(str(label)): at for at, label in enumerate(table["label"]) if label}
    told = {value: rows.get(fold(evidence.labels.get(value, ""))) for value in evidence.cells}
    return {value: table.iloc[at] for value, at in told.items() if at is not None}


def _by_colour(evidence: Evidence, name: str) -> dict[str, pd.Series]:
    """By the one class of the table whose colour is that of the value; black is what a value without a colour has."""
    table, colours = shipped_table(name), _colours(name)
    found = {}
    for value in evidence.cells:
        own = evidence.colours.get(value)
        if own is None or own == (0, 0, 0):
            continue
        near = [
            at
            for at, colour in colours.items()
            if max(abs(a - b) for a, b in zip(own, colour, strict=True)) <= COLOUR_OFF
        ]
        if len(near) == 1:
            found[value] = table.iloc[near[0]]
    return found


@kept
def _colours(name: str) -> dict[int, Colour]:
    """The colours of a table by row, from 0."""
    given = shipped_table(name)["colour"]
    return {at: Colour(*bytes.fromhex(text[1:])) for at, text in enumerate(given) if text}


def _names_all(evidence: Evidence, name: str, named: Mapping[str, pd.Series]) -> bool:
    """Whether the classes that labels or colours name are those that the table has for the same values."""
    at = class_rows(shipped_table(name))
    return (
        len(named) >= FEWEST_NAMED
        and evidence.share(list(named)) >= ENOUGH_NAMED
        and all(value in at and at[value] - 1 == row.name for value, row in named.items())
    )
