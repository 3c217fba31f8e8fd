"""Land cover on the area's grid: rasters and polygons, overlays painted on top, values matched to a class table.

A raster goes to the grid by nearest neighbour, a polygon by the centre of the cell; where polygons of one file overlap,
the smaller one lies on top. Lines and points of an overlay (a hedge, a solitary bush) paint every cell they touch.

Which class table reads a file is stated in area.toml (`[land_cover] classes`) or proven by the file: every value is a
code of one table in layers/, and either the file's name or tags say that table's name, or there are at least three
values, one of them above 44. Values 1 to 44 alone prove nothing: the CORINE raster numbers its classes so, and so does
many a legend of one's own. Texts such as "landuse=meadow" prove the table of map tags.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from rasterio.enums import Resampling
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.features import rasterize
from rasterio.transform import xy
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import CrsError, InputError
from habitatmap.errors.why import Why
from habitatmap.geo.crs import crs_label, parse_crs, state_crs
from habitatmap.geo.grid import Grid
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold
from habitatmap.read.layers import class_rows, class_table_names, code_text, load_class_table
from habitatmap.read.ledger import Ledger, Reading
from habitatmap.read.rows import Draft, close
from habitatmap.read.shapes import read_layers
from habitatmap.vocabulary.kinds import Kind

# the driver goes with the ending, so that no file can make GDAL follow a link or run a formula whatever it holds
RASTER_DRIVERS = {
    ".tif": "GTiff",
    ".tiff": "GTiff",
    ".img": "HFA",
    ".asc": "AAIGrid",
    ".bil": "EHdr",
    ".jp2": "JP2OpenJPEG",
}
# of a source pixel; with GDAL's usual 0.125 some 300 cells in a million would depend on how the grid is cut
WARP_TOLERANCE = 0.001
TILE_CELLS = 1024
MOST_VALUES = 1000
MOST_UNMATCHED = 0.2


@dataclass(frozen=True)
class LandCover:
    """Classes of an area: `classes` is uint16 (rows, cols), 0 = no data or not known, i = row i-1 of `table`.

    `unmatched` lists values that the class table lacks, with their share (0-1) of the cells that have a value.
    """

    classes: NDArray[np.uint16]
    table: pd.DataFrame
    unmatched: list[tuple[str, float]]
    name: str

    def by_cell(self, column: str) -> NDArray[np.object_]:
        """A text column of the class table on the frame (rows, cols); "" without data."""
        return np.array(["", *self.table[column].fillna("").astype(str)], dtype=object)[self.classes]


# --- rasters ---------------------------------------------------------------------------------------------------------


def is_raster(path: Path) -> bool:
    """Whether the ending says that a file is a raster."""
    return path.suffix.lower() in RASTER_DRIVERS


def raster_crs(path: Path, source_crs: Mapping[str, str]) -> CRS:
    """The CRS of a raster: stated in `[source_crs]`, else its own. Raises CrsError with the line to add."""
    if path.name in source_crs:
        return parse_crs(source_crs[path.name], f'area.toml: [source_crs] "{path.name}"').to_2d()
    with _open(path) as raster:
        if raster.crs is None:
            raise CrsError(f"{path.name} does not say its reference system; {state_crs(path.name)}")
        # GDAL finds the number of a system that older files only describe; with it every library names it alike
        number = raster.crs.to_epsg()
        return (CRS.from_epsg(number) if number else CRS.from_user_input(raster.crs)).to_2d()


def raster_bounds(path: Path, crs: CRS, source_crs: Mapping[str, str]) -> tuple[float, float, float, float]:
    """(west, south, east, north) of a raster in metres of `crs`, which may be another than its own."""
    own = raster_crs(path, source_crs)
    with _open(path) as raster:
        if raster.transform.is_identity:
            raise InputError(
                f"{path.name} does not say where it lies (it has no geotransform); save it as a GeoTIFF with one"
            )
        along = np.linspace(0.0, 1.0, 22)
        across, down = along * raster.width, along * raster.height
        zero, width, height = np.zeros(22), np.full(22, raster.width), np.full(22, raster.height)
        cols, rows = np.concatenate([across, across, zero, width]), np.concatenate([zero, height, down, down])
        x, y = map(np.asarray, xy(raster.transform, rows, cols, offset="ul"))
    if own != crs:
        x, y = Transformer.from_crs(own, crs, always_xy=True).transform(x, y)
    inside = np.isfinite(x) & np.isfinite(y)
    if not inside.any():
        raise CrsError(f"{path.name} lies outside the area where {crs.name} holds; state another crs in area.toml")
    return float(x[inside].min()), float(y[inside].min()), float(x[inside].max()), float(y[inside].max())


def credits_of(path: Path) -> list[str]:
    """Whom a raster says to name, from its tags, with the licence."""
    with _open(path) as raster:
        tags = {name.casefold(): text.strip() for name, text in raster.tags().items()}
    makers = [tags[name] for name in ("attribution", "copyright", "tifftag_copyright", "source") if tags.get(name)]
    licence = tags.get("licence") or tags.get("license") or ""
    return [", ".join([*makers[:1], *([licence] if licence else [])])] if makers else []


@dataclass(frozen=True)
class Values:
    """What a source holds on the grid: `local` is uint16, 0 = nothing, i = texts[i-1]; `hints` may name its table."""

    local: NDArray[np.uint16]
    texts: list[str]
    hints: str = ""


def raster_values(path: Path, grid: Grid, crs: CRS, source_crs: Mapping[str, str]) -> Values:
    """The raster's values on the grid by nearest neighbour, read tile by tile; nodata gives 0.

    Raises InputError where the file is damaged or holds no classes (a picture, a height model).
    """
    own = raster_crs(path, source_crs)
    local = np.zeros(grid.shape, dtype=np.uint16)
    numbers: dict[float, int] = {}
    with _open(path) as raster:
        if raster.count >= 3:
            raise InputError(
                f"{path.name} has {raster.count} bands, as a picture has; expected one band of class codes"
            )
        hints = " ".join([path.name, *map(str, raster.tags().values())])
        try:
            with WarpedVRT(
                raster,
                src_crs=own.to_wkt(),
                crs=crs.to_wkt(),
                transform=Affine(*grid.transform),
                width=grid.cols,
                height=grid.rows,
                resampling=Resampling.nearest,
                tolerance=WARP_TOLERANCE,
                add_alpha=raster.nodata is None,
            ) as warped:
                for tile in grid.tiles(TILE_CELLS):
                    window = Window(tile.col0, tile.row0, tile.shape[1], tile.shape[0])
                    block = warped.read(1, window=window)
                    valid = warped.read_masks(1, window=window) > 0
                    if block.dtype.kind == "f":
                        valid &= ~np.isnan(block)
                    codes, found = pd.factorize(block[valid])
                    here = np.array([numbers.setdefault(value, len(numbers) + 1) for value in found.tolist()])
                    if len(numbers) > MOST_VALUES:
                        raise InputError(
                            f"{path.name} holds more than {MOST_VALUES} different values, as heights do; "
                            "expected class codes"
                        )
                    if len(found):
                        local[tile.row0 : tile.row1, tile.col0 : tile.col1][valid] = here[codes]
        except RasterioError as fault:
            raise InputError(_damaged(path, fault)) from None
    return Values(local, [code_text(value) for value in numbers], hints)


def _open(path: Path) -> rasterio.DatasetReader:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            return rasterio.open(path, driver=RASTER_DRIVERS[path.suffix.lower()])
    except RasterioError as fault:
        raise InputError(_damaged(path, fault)) from None


def _damaged(path: Path, fault: Exception) -> str:
    cause = str(fault.__cause__ or fault).splitlines()[0].replace(str(path), path.name)
    return (
        f"{path.name} can't be read as a raster, it may be cut off or damaged ({cause}); fetch it again from its source"
    )


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
    local = np.zeros(grid.shape, dtype=np.uint16)
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
    return Values(local, distinct, cover.file)


# --- classes ---------------------------------------------------------------------------------------------------------


@dataclass
class Legend:
    """The class tables in use, one below the other, and the values that none of them has."""

    folder: Path
    stated: str | None
    names: list[str] = field(default_factory=list)
    tables: list[pd.DataFrame] = field(default_factory=list)
    unmatched: list[str] = field(default_factory=list)

    def numbers(self, values: Values, file: str) -> NDArray[np.uint16]:
        """By local number of `values`: the class number from 1; 0 no data; 65535 and below not known."""
        names = self._readers(values, [self.stated or proven_table(values, file)])
        return np.array([0, *(self._number(text, names) for text in values.texts)], dtype=np.uint16)

    def overlay_numbers(self, values: Values, file: str) -> NDArray[np.uint16]:
        """The same for an overlay, which may be read by any table in use; 0 where not known."""
        in_use = list(dict.fromkeys([*([self.stated] if self.stated else []), *self.names]))
        names = self._readers(values, in_use) or [proven_table(values, file)]
        numbers = [self._number(text, names, unknown=0) for text in values.texts]
        return np.array([0, *numbers], dtype=np.uint16)

    @staticmethod
    def _readers(values: Values, names: list[str]) -> list[str]:
        """The tables that read these values: those named, and where map tags are among them the table of map tags."""
        return [*names, TAG_TABLE] if any("=" in text for text in values.texts) else names

    def _number(self, text: str, names: Sequence[str], unknown: int | None = None) -> int:
        for name in names:
            offset, rows = self._rows(name)
            row = rows.get(text) or rows.get(text.casefold())
            if row:
                label = str(self.tables[self.names.index(name)]["label"].iloc[row - 1])
                return 0 if label.casefold() == NO_DATA_LABEL else offset + row
        if unknown is not None:
            return unknown
        if text not in self.unmatched:
            self.unmatched.append(text)
        return LAST_NUMBER - self.unmatched.index(text)

    def _rows(self, name: str) -> tuple[int, dict[str, int]]:
        """How many rows stand above a table, and its row numbers from 1 by code, raster value and label."""
        if name not in self.names:
            self.tables.append(load_class_table(self.folder / name if name.lower().endswith(".csv") else name))
            self.names.append(name)
        at = self.names.index(name)
        table = self.tables[at]
        labels = {str(label).casefold(): row for row, label in enumerate(table["label"], 1) if label}
        codes = class_rows(table)
        return sum(map(len, self.tables[:at])), labels | {c.casefold(): row for c, row in codes.items()} | codes


TAG_TABLE = "osm"
NO_DATA_LABEL = "no data"
LAST_NUMBER = np.iinfo(np.uint16).max
# a legend numbered from 1 seldom has more classes than CORINE
MOST_NUMBERED = 44


def proven_table(values: Values, file: str) -> str:
    """The class table that a source proves by itself (the rule stands at the top of this file), else InputError."""
    if values.texts and all("=" in text for text in values.texts):
        return TAG_TABLE
    fitting = [name for name in class_table_names() if set(values.texts) <= set(load_class_table(name)["code"])]
    said = [name for name in fitting if name in values.hints.casefold()]
    many = len(values.texts) >= 3 and any(not text.isdigit() or int(text) > MOST_NUMBERED for text in values.texts)
    proven = said or (fitting if many else [])
    if values.texts and len(proven) == 1:
        return proven[0]
    shown = ", ".join(sorted(values.texts, key=lambda t: (len(t), t))[:12]) + (
        ", ..." if len(values.texts) > 12 else ""
    )
    names = ", ".join(f'"{name}"' for name in class_table_names())
    raise InputError(
        f"{file} holds the classes {shown or '(none)'}, and neither area.toml nor the file says which class table "
        f"reads them; add to area.toml: [land_cover] classes = one of {names}, or the name of a CSV in the folder"
    )


def compose_land_cover(
    rasters: Sequence[Path],
    base: Sequence[CoverShapes],
    overlays: Sequence[CoverShapes],
    legend: Legend,
    grid: Grid,
    crs: CRS,
    source_crs: Mapping[str, str],
    ledger: Ledger,
) -> LandCover:
    """Rasters, then polygons, then overlays painted one over the other, each where it says something.

    Raises InputError where more than a fifth of the cells hold values that the class table lacks, or no cell holds any.
    """
    classes = np.zeros(grid.shape, dtype=np.uint16)
    for path in rasters:
        values = raster_values(path, grid, crs, source_crs)
        reading = _raster_reading(path, source_crs)
        ledger.readings.append(reading)
        if values.texts:
            numbers = legend.numbers(values, path.name)
            _paint(classes, numbers, values.local, grid)
            _show_classes(reading, "class", values, numbers, legend)
    for cover in base:
        values = shape_values(cover, grid)
        if values.texts:
            numbers = legend.numbers(values, cover.file)
            _paint(classes, numbers, values.local, grid)
            _show_classes(cover.draft.reading, cover.column, values, numbers, legend)
        _account(cover, set(values.texts), legend)
    for cover in overlays:
        values = shape_values(cover, grid)
        if values.texts:
            numbers = legend.overlay_numbers(values, cover.file)
            _paint(classes, numbers, values.local, grid)
            _show_classes(cover.draft.reading, cover.column, values, numbers, legend)
            known = {text for text, number in zip(values.texts, numbers[1:], strict=True) if number}
        _account(cover, known if values.texts else set(), legend)
    files = ", ".join([*(p.name for p in rasters), *(c.file for c in [*base, *overlays])])
    return _counted(classes, files, legend, grid)


def _raster_reading(path: Path, source_crs: Mapping[str, str]) -> Reading:
    with _open(path) as raster:
        width, height, (dx, dy) = raster.width, raster.height, raster.res
    own = raster_crs(path, source_crs)
    unit = "degrees" if own.is_geographic else own.axis_info[0].unit_name
    notes = ("a raster", f"{width} x {height} cells of {dx:g} x {dy:g} {unit}")
    return Reading("land_cover", path.name, path.name, notes, {}, {}, crs_label(own))


def _show_classes(reading: Reading, heading: str, values: Values, numbers: NDArray[np.uint16], legend: Legend) -> None:
    """Shows in the account which class tables read a source, and what the first of its values mean there."""
    labels = [label for table in legend.tables for label in table["label"]]
    meant = [str(labels[n - 1]) if 0 < n <= len(labels) else None for n in numbers[1:].tolist()]
    reading.notes = (*reading.notes, f"classes of {' + '.join(legend.names)}")
    reading.sample(heading or "class", values.texts, meant)


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
    counts = np.zeros(LAST_NUMBER + 1, dtype=np.int64)
    for tile in grid.tiles(TILE_CELLS):
        counts += np.bincount(classes[tile.row0 : tile.row1, tile.col0 : tile.col1].ravel(), minlength=LAST_NUMBER + 1)
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
    classes[classes > known_rows] = 0
    return LandCover(classes, pd.concat(legend.tables, ignore_index=True), unmatched, " + ".join(legend.names))


def _paint(classes: NDArray[np.uint16], numbers: NDArray[np.uint16], local: NDArray[np.uint16], grid: Grid) -> None:
    """Writes a source's class numbers over `classes` wherever it says something."""
    for row0, row1, col0, col1 in grid.tiles(TILE_CELLS):
        new = numbers[local[row0:row1, col0:col1]]
        np.copyto(classes[row0:row1, col0:col1], new, where=new > 0)
