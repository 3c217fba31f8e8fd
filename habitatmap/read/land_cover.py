"""Land cover on the area's grid: rasters and polygons, overlays painted on top, values matched to a class table.

A raster goes to the grid by nearest neighbour, a polygon by the centre of the cell; where polygons of one file overlap,
the smaller one lies on top. Lines and points of an overlay (a hedge, a solitary bush) paint every cell they touch.

Which class table reads a file is stated in area.toml (`[land_cover] classes`) or proven by the file (class_proof.py).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum, auto
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from rasterio.features import rasterize
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.geo import scratch
from habitatmap.geo.crs import crs_label, is_metric
from habitatmap.geo.grid import Grid
from habitatmap.read.class_proof import CONTRADICTED_FROM, TAG_TABLE, By, Evidence, contradictions, proven_table
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.raster import (
    blocks_on,
    open_raster,
    raster_bounds,
    raster_colours,
    raster_crs,
    raster_labels,
)
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold
from habitatmap.read.layers import class_rows, code_text, load_class_table
from habitatmap.read.ledger import Ledger, Reading
from habitatmap.read.rows import Draft, close
from habitatmap.read.shapes import read_layers
from habitatmap.sentences import Sentence, exact, say
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.note import Note, note

TILE_CELLS = 1024
MOST_VALUES = 1000
MOST_UNMATCHED = 0.2


@dataclass(frozen=True)
class LandCover:
    """Classes of an area: `classes` are whole numbers (rows, cols), 0 = no data or not known, i = row i-1 of `table`;
    bytes where there are few.

    `unmatched` lists values that the class table lacks, with their share (0-1) of the cells that have a value; `doubts`
    tells what about the reading somebody should look at.
    """

    classes: NDArray[np.unsignedinteger]
    table: pd.DataFrame
    unmatched: list[tuple[str, float]]
    name: str
    doubts: tuple[Note, ...] = ()

    @cached_property
    def cells(self) -> NDArray[np.int64]:
        """How many cells hold each class, from 0 (none)."""
        n = len(self.table) + 1
        return np.asarray(scratch.total(lambda part: np.bincount(part.ravel(), minlength=n), self.classes))


# --- rasters ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Values:
    """What a source holds on the grid: `local` is uint16, 0 = nothing, i = texts[i-1].

    `evidence` may prove the table that reads it; `heading` is that of the column the texts stand in; `cell_m` is the
    size of a raster's cells, NaN for shapes.
    """

    local: NDArray[np.uint16]
    texts: list[str]
    evidence: Evidence
    reading: Reading
    heading: str
    cell_m: float = math.nan


def raster_values(path: Path, grid: Grid, crs: CRS, source_crs: Mapping[str, str]) -> Values:
    """The raster's values on the grid by nearest neighbour, read tile by tile; nodata gives 0.

    Raises InputError where the file is damaged or holds no classes (a picture, a height model).
    """
    own = raster_crs(path, source_crs)
    local = scratch.zeros(grid.shape, np.uint16)
    numbers: dict[float, int] = {}
    with open_raster(path) as raster:
        if raster.count >= 3:
            raise InputError(
                f"{path.name} has {raster.count} bands, as a picture has; expected one band of class codes"
            )
        hints = " ".join([path.name, *map(str, raster.tags().values())])
        width, height, (dx, dy) = raster.width, raster.height, raster.res
    for tile, block, valid in blocks_on(path, grid, crs, source_crs, TILE_CELLS):
        codes, found = pd.factorize(block[valid])
        here = np.array([numbers.setdefault(value, len(numbers) + 1) for value in found.tolist()])
        if len(numbers) > MOST_VALUES:
            raise InputError(
                f"{path.name} holds more than {MOST_VALUES} different values, as heights do; expected class codes"
            )
        if len(found):
            local[tile.row0 : tile.row1, tile.col0 : tile.col1][valid] = here[codes]
        scratch.relax()
    unit = "°" if own.is_geographic else "m" if is_metric(own) else own.axis_info[0].unit_name
    size = say("{width} x {height} cells", width=str(width), height=str(height))
    cells_read = say("{cells} of {dx} x {dy}", cells=size, dx=exact(dx), dy=exact(dy, unit))
    notes = (Sentence("a raster"), cells_read)
    reading = Reading(Kind.LAND_COVER, path.name, path.name, notes, {}, {}, crs=crs_label(own))
    texts = [code_text(value) for value in numbers]
    cells = dict(zip(texts, count_cells(local, grid)[1:].tolist(), strict=False))
    evidence = Evidence(path.name, cells, hints, raster_labels(path), raster_colours(path))
    west, south, east, north = raster_bounds(path, crs, source_crs)
    cell_m = math.sqrt((east - west) * (north - south) / (width * height))
    return Values(local, texts, evidence, reading, "class", cell_m)


# --- polygons --------------------------------------------------------------------------------------------------------


# headings of a class column, best first
CLASS_HEADINGS = (
    "class", "class code", "code", "land cover", "landcover", "cover", "lc", "clc", "clc code", "code 18", "code 12",
    "klasse", "klassencode", "classe", "clase", "luokka", "type", "kind", "habitat", "biotope", "value", "label",
)  # fmt: skip


@dataclass(frozen=True)
class CoverShapes:
    """Shapes of one layer with the text of their class, "" where a row has none."""

    draft: Draft
    texts: list[str]  # one for each row of the table
    column: str

    @property
    def file(self) -> str:
        """The file's name."""
        return self.draft.table.file

    @property
    def geometry(self) -> list[BaseGeometry]:
        """The shapes of the rows that are used."""
        return [shape for at in self.draft.kept if (shape := self.draft.shapes[at]) is not None]


def read_cover_shapes(
    tables: Sequence[Table], kind: Kind, crs: CRS, stated: Stated, ledger: Ledger
) -> list[CoverShapes]:
    """Layers of land cover: the class stands in the column area.toml states, else in one with a usual heading.

    A layer without such a column is all of one class if its file has the class's name, as hedges.gpkg may.
    """
    covers = []
    for draft in read_layers(kind, tables, crs, stated, ledger):
        column = _class_column(draft.table, stated)
        if column is None:
            covers.append(CoverShapes(draft, [Path(draft.table.file).stem] * len(draft.table), ""))
        else:
            texts = [code_text(as_text(cell)) for cell in draft.table.column(column)]
            covers.append(CoverShapes(draft, texts, draft.table.headings[column]))
    return covers


def _class_column(table: Table, stated: Stated) -> int | None:
    folded = [fold(heading) for heading in table.headings]
    named = stated.columns.get("land_cover", {}).get("class")
    if named is not None and fold(named) in folded:
        return folded.index(fold(named))
    at = next((folded.index(heading) for heading in CLASS_HEADINGS if heading in folded), None)
    return 0 if at is None and len(folded) == 1 else at


def shape_values(cover: CoverShapes, grid: Grid) -> Values:
    """Classes of polygons by cell centre, then of lines and points by every cell they touch.

    A blank text paints nothing. Smaller polygons lie on top of larger ones, so the order of rows does not matter.
    """
    local = scratch.zeros(grid.shape, np.uint16)
    shapes, texts = cover.geometry, [cover.texts[at] for at in cover.draft.kept]
    distinct = sorted(set(texts) - {""})
    if len(distinct) > MOST_VALUES:
        raise InputError(
            f"{cover.file} has more than {MOST_VALUES} different classes in its column {cover.column}; "
            'name the class column in area.toml: [columns.land_cover] class = "..."'
        )
    number = {text: i for i, text in enumerate(distinct, 1)}
    dimension = shapely.get_dimensions(shapes)
    # largest first; the text and the outline decide between equals
    order = sorted(range(len(shapes)), key=lambda i: (-shapes[i].area, texts[i], shapes[i].wkb))
    for touched in (False, True):
        painted = [(shapes[i], number[texts[i]]) for i in order if texts[i] and (dimension[i] < 2) == touched]
        if painted:
            rasterize(painted, out=local, transform=Affine(*grid.transform), all_touched=touched)
    evidence = Evidence(cover.file, dict.fromkeys(distinct, 1), cover.file)
    return Values(local, distinct, evidence, cover.draft.reading, cover.column or "class")


# --- classes ---------------------------------------------------------------------------------------------------------


@dataclass
class Legend:
    """The class tables in use, one below the other, and the values that none of them has."""

    folder: Path
    stated: str | None
    names: list[str] = field(default_factory=list)
    tables: list[pd.DataFrame] = field(default_factory=list)
    rows: list[dict[str, int]] = field(default_factory=list)
    unmatched: list[str] = field(default_factory=list)
    doubts: list[Note] = field(default_factory=list)

    def numbers(self, values: Values, overlay: bool) -> NDArray[np.uint16]:
        """By local number of `values`: the class number from 1; 0 no data; 65535 and below not known.

        An overlay may be read by any table in use; what none of them knows is 0 there.
        """
        if overlay:
            names = list(dict.fromkeys([*([self.stated] if self.stated else []), *self.names]))
        else:
            names = [self._table_of(values.evidence)]
        if any("=" in text for text in values.texts):
            names.append(TAG_TABLE)
        names = names or [self._table_of(values.evidence)]
        return np.array([0, *(self._number(text, names, overlay) for text in values.texts)], dtype=np.uint16)

    def _table_of(self, evidence: Evidence) -> str:
        """The class table that reads a file, stated or proven; what the file says against it is a doubt."""
        proof = None if self.stated else proven_table(evidence)
        name = self.stated or (proof.table if proof else "")
        if proof and proof.by is By.VALUES:
            self.doubts.append(note(CoverDoubt.BY_VALUES, file=evidence.file, table=name))
        self._rows(name)
        against = contradictions(evidence, self.tables[self.names.index(name)])
        share = sum(one.share for one in against)
        if share > CONTRADICTED_FROM:
            self.doubts.append(
                note(CoverDoubt.CONTRADICTED, file=evidence.file, table=name, share=share, against=against[:MOST_TOLD])
            )
        return name

    def _number(self, text: str, names: Sequence[str], overlay: bool) -> int:
        for name in names:
            offset, rows = self._rows(name)
            row = rows.get(text) or rows.get(text.casefold())
            if row:
                label = str(self.tables[self.names.index(name)]["label"].iloc[row - 1])
                return 0 if label.casefold() == NO_DATA_LABEL else offset + row
        if overlay:
            return 0
        if text not in self.unmatched:
            self.unmatched.append(text)
        return LAST_NUMBER - self.unmatched.index(text)

    def _rows(self, name: str) -> tuple[int, dict[str, int]]:
        """How many rows stand above a table, and its row numbers from 1 by code, raster value and label."""
        if name not in self.names:
            self.tables.append(load_class_table(self.folder / name if name.lower().endswith(".csv") else name))
            self.names.append(name)
            table = self.tables[-1]
            labels = {str(label).casefold(): row for row, label in enumerate(table["label"], 1) if label}
            codes = class_rows(table)
            self.rows.append(labels | {c.casefold(): row for c, row in codes.items()} | codes)
        at = self.names.index(name)
        return sum(map(len, self.tables[:at])), self.rows[at]


class CoverDoubt(StrEnum):
    """What about the reading of land cover somebody should look at."""

    BY_VALUES = auto()
    CONTRADICTED = auto()
    UNMATCHED = auto()
    ONE_CLASS = auto()
    COARSE = auto()
    PLACES_ON_WATER = auto()


NO_DATA_LABEL = "no data"
MOST_IN_A_BYTE = np.iinfo(np.uint8).max
LAST_NUMBER = np.iinfo(np.uint16).max
# so many classes are named in a doubt
MOST_TOLD = 3
# one class on more of the cells is told, and cells so many times as wide as the area's (expert judgement)
ONE_CLASS_FROM, COARSE_FROM = 0.9, 1.5
# of so many trees, buildings and streets more than this share on water is told (expert judgement)
FEWEST_PLACES, WET_FROM = 20, 0.2


@dataclass(frozen=True)
class CoverSources:
    """What an area's land cover is painted from, in this order; `source_crs` is [source_crs] of area.toml."""

    rasters: Sequence[Path]
    base: Sequence[CoverShapes]
    overlays: Sequence[CoverShapes]
    source_crs: Mapping[str, str]

    @property
    def names(self) -> str:
        """The files' names, for a sentence."""
        return ", ".join([*(p.name for p in self.rasters), *(c.file for c in [*self.base, *self.overlays])])


def compose_land_cover(sources: CoverSources, legend: Legend, grid: Grid, crs: CRS, ledger: Ledger) -> LandCover:
    """Rasters, then polygons, then overlays painted one over the other, each where it says something.

    Raises InputError where more than a fifth of the cells hold values that the class table lacks, or no cell holds any.
    """
    classes = scratch.zeros(grid.shape, np.uint16)
    for path in sources.rasters:
        values = raster_values(path, grid, crs, sources.source_crs)
        if values.cell_m > COARSE_FROM * grid.cell_m:
            told = note(CoverDoubt.COARSE, file=path.name, cells_m=values.cell_m, cell_m=grid.cell_m)
            legend.doubts.append(told)
        ledger.readings.append(values.reading)
        _paint(classes, values, legend, grid)
    for covers, overlay in ((sources.base, False), (sources.overlays, True)):
        for cover in covers:
            _account(cover, _paint(classes, shape_values(cover, grid), legend, grid, overlay), legend)
    return _counted(classes, sources.names, legend, grid)


def _paint(classes: NDArray[np.uint16], values: Values, legend: Legend, grid: Grid, overlay: bool = False) -> set[str]:
    """Writes a source's class numbers over `classes` wherever it says something; gives the texts that are used.

    The account shows which class tables read it, and what the first of its values mean there.
    """
    if not values.texts:
        return set()
    numbers = legend.numbers(values, overlay)
    for row0, row1, col0, col1 in grid.tiles(TILE_CELLS):
        new = numbers[values.local[row0:row1, col0:col1]]
        np.copyto(classes[row0:row1, col0:col1], new, where=new > 0)
        scratch.relax()
    labels = [label for table in legend.tables for label in table["label"]]
    meant = [str(labels[n - 1]) if 0 < n <= len(labels) else None for n in numbers[1:].tolist()]
    values.reading.notes = (*values.reading.notes, say("classes of {tables}", tables=" + ".join(legend.names)))
    values.reading.sample(values.heading, values.texts, meant)
    return {text for text, number in zip(values.texts, numbers[1:], strict=True) if number or not overlay}


def _account(cover: CoverShapes, usable: set[str], legend: Legend) -> None:
    """Accepts the rows whose class is used, and sets the others aside."""
    tables = " + ".join(legend.names) or "the class table"
    for at in cover.draft.kept:
        text = cover.texts[at]
        if text not in usable:
            told = Why.UNKNOWN_CLASS.of(table=tables) if text else Why.NO_CLASS
            cover.draft.refuse(at, cover.column or "file name", text, told)
    close([cover.draft])


def _counted(classes: NDArray[np.uint16], files: str, legend: Legend, grid: Grid) -> LandCover:
    """The finished land cover, with what the class table lacks counted and taken out."""
    counts = count_cells(classes, grid)
    filled = counts[1:].sum()
    if not filled:
        raise InputError(
            f"{files}: no cell of the area has land cover; check its reference system and its nodata value"
        )
    shares = [(text, counts[LAST_NUMBER - i] / filled) for i, text in enumerate(legend.unmatched)]
    unmatched = sorted(((text, float(share)) for text, share in shares if share > 0), key=lambda v: (-v[1], v[0]))
    lacking = sum(share for _, share in unmatched)
    if lacking > MOST_UNMATCHED:
        shown = ", ".join(f"{text}: {share:.0%}" for text, share in unmatched[:8])
        raise InputError(
            f"{files}: {lacking:.0%} of the cells hold values that the class table {' + '.join(legend.names)} lacks "
            f"({shown}); expected at most {MOST_UNMATCHED:.0%}; add rows for them to a CSV in the folder (labelled "
            '"No data" where a value means that), or name another table in area.toml, [land_cover] classes'
        )
    known_rows = sum(map(len, legend.tables))

    def known(part: NDArray[np.uint16]) -> NDArray[np.uint16]:
        return np.where(part > known_rows, 0, part)

    whole: type[np.unsignedinteger] = np.uint8 if known_rows <= MOST_IN_A_BYTE else np.uint16
    final = scratch.cellwise(known, classes, dtype=whole)
    table = pd.concat(legend.tables, ignore_index=True)
    name, doubts = " + ".join(legend.names), list(legend.doubts)
    if unmatched:
        doubts.append(note(CoverDoubt.UNMATCHED, table=name, share=lacking, values=[v for v, _ in unmatched]))
    most = int(counts[1 : known_rows + 1].argmax())
    if counts[most + 1] > ONE_CLASS_FROM * filled:
        share = float(counts[most + 1] / filled)
        doubts.append(note(CoverDoubt.ONE_CLASS, label=table["label"].iloc[most], share=share))
    return LandCover(final, table, unmatched, name, tuple(doubts))


def count_cells(numbers: NDArray[np.uint16], grid: Grid) -> NDArray[np.int64]:
    """How many cells (rows, cols) hold each number, from 0 to 65535."""
    counted = scratch.total(lambda part: np.bincount(part.ravel(), minlength=LAST_NUMBER + 1), numbers)
    return np.asarray(counted, dtype=np.int64)


def places_on_water(cover: LandCover, grid: Grid, x: ArrayLike, y: ArrayLike) -> LandCover:
    """The land cover with a doubt more where much of what stands on land (metres; trees, buildings, streets) lies on
    water: its legend or its reference system is wrong."""
    row, col = grid.cell_of(x, y)
    within = grid.inside(row, col)
    ground = np.array(["", *cover.table["ground"]], dtype=object)[cover.classes[row[within], col[within]]]
    wet = float(np.mean(ground == "water")) if len(ground) else 0.0
    if len(ground) < FEWEST_PLACES or wet <= WET_FROM:
        return cover
    return replace(cover, doubts=(*cover.doubts, note(CoverDoubt.PLACES_ON_WATER, share=wet, places=len(ground))))
