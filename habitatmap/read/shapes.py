"""Geometry of a user's layer, brought to the area's reference system and made usable; every row is accounted for.

What was repaired is remarked: a ring that crosses itself is a common slip of drawing, and its ground is plain to see.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import CrsError, InputError
from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, Source, crs_label, state_crs, to_lonlat, transform
from habitatmap.read.coordinates import Point, Refusal, geometry_of, is_geometry, is_swapped, locate, read_points
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import ALIASES, Headings, match_headings
from habitatmap.read.ledger import SAMPLES, Fault, Ledger
from habitatmap.read.points import source_of, tell_slips

Geometries = NDArray[Any]
Want = Literal["polygons", "lines", "any"]

# dimension of what is wanted, its name for people, and the names of what may come instead
WANTED = {"polygons": (2, "a polygon"), "lines": (1, "a line")}
NAMES = ["a point", "a line", "a ring", "a polygon", "points", "lines", "polygons", "a mixed group of shapes"]
ROWS_NAMED = 10


@dataclass(frozen=True)
class Shapes:
    """The usable rows of a table: their positions in it, and their geometry in the area's CRS (metres, 2-D, valid)."""

    table: Table
    at: NDArray[np.int64]
    geometry: Geometries

    def column(self, heading_at: int | None) -> list[Any]:
        """The cells of one column for the usable rows."""
        cells = self.table.column(heading_at)
        return [cells[i] for i in self.at]

    @property
    def numbers(self) -> list[int]:
        """Row numbers as a spreadsheet shows them."""
        return [self.table.numbers[i] for i in self.at]

    @property
    def files(self) -> list[str]:
        """The file that each usable row stands in."""
        return [self.table.file_of(int(i)) for i in self.at]


def match_layers(
    kind: str, tables: Sequence[Table], stated: Stated, ledger: Ledger
) -> Iterator[tuple[Table, Headings]]:
    """The tables of a kind that can hold shapes, each with its columns, which are told in a remark.

    A table without shapes in a file that has a layer with them is left out, as the styles a GIS keeps beside layers.
    Raises InputError where `[columns.KIND]` states a heading that none has.
    """
    overrides = stated.columns.get(kind, {})
    with_shapes = {table.file for table in tables if table.geometry is not None}
    layers = [table for table in tables if table.geometry is not None or table.file not in with_shapes]
    # name and kind are headed alike in every layer, so layers without aliases of their own are matched as land
    known = kind if kind in ALIASES else "land"
    heads = [match_headings(known, table.headings, overrides if known == kind else None) for table in layers]
    for name in set.intersection(*(set(h.unused) for h in heads)) if heads else set():
        raise InputError(
            f'area.toml: [columns.{kind}] {name} = "{overrides.get(name, name)}" is a heading that '
            f"{layers[0].name} lacks; it has {', '.join(layers[0].headings)}"
        )
    for table, head in zip(layers, heads, strict=True):
        if known == kind:
            ledger.tell(f"{table.name}: {head.describe()}")
        ledger.understood(kind, table, head)
        yield table, head


def read_shapes(
    table: Table, kind: str, crs: CRS, stated: Stated, ledger: Ledger, want: Want, heads: Headings
) -> Shapes:
    """The geometry of a layer in `crs`. Counts its rows as read.

    Repeats, and rows without a usable geometry, are set aside; the caller accepts what it uses of the rest. A
    table without shapes may give them as text (WKT, WKB, GeoJSON), or points by coordinates. Raises CrsError where
    nothing states or proves the layer's system.
    """
    ledger.read_table(kind, table)
    for i, odd in table.odd.items():
        ledger.set_row_aside(kind, table, i, Fault("", "", odd))
    if table.failed:
        ledger.remark(
            f"{table.name}: {len(table.failed)} cells hold a formula without a result; they count as not given"
        )
    at = np.array([i for i in range(len(table)) if i not in table.odd], dtype=np.int64)
    placed = _placed(table, at, heads, crs, stated, ledger)

    usable: dict[Hashable, tuple[int, Any]] = {}
    for i, shape in zip(at.tolist(), placed, strict=True):
        if isinstance(shape, Refusal):
            column = heads.text.get(shape.role, shape.role)
            ledger.set_row_aside(kind, table, i, Fault(column, shape.value, shape.why))
            continue
        words = [as_text(cell) for cell in table.rows[i]]
        first, _ = usable.setdefault((*words, shape), (i, shape))
        if first != i:
            told = Why.REPEAT.of(row=table.numbers[first], of="")
            ledger.set_row_aside(kind, table, i, Fault("", "; ".join(filter(None, words)), told))
    at = np.array([i for i, _ in usable.values()], dtype=np.int64)
    found = _objects([shape for _, shape in usable.values()])

    _show_places(ledger, table, [shape for _, shape in usable.values()][:SAMPLES], crs)
    broken = ~shapely.is_valid(found)
    if broken.any():
        ledger.remark(
            f"{table.name}: {broken.sum()} outlines cross themselves and were repaired "
            f"(row {_rows(table, at[broken])}); see on the map whether the ground is right"
        )
        found[broken] = shapely.make_valid(found[broken])
    if want == "any":
        return Shapes(table, at, found)
    dimension, name = WANTED[want]
    parts = _objects([_parts(shape, dimension) for shape in found])
    wrong = shapely.is_missing(parts) | shapely.is_empty(parts)
    for i, shape in zip(at[wrong], found[wrong], strict=True):
        value = NAMES[shapely.get_type_id(shape)]
        told = Why.WRONG_SHAPE.of(shape=value, expected=name)
        ledger.set_row_aside(kind, table, int(i), Fault("geometry", value, told))
    return Shapes(table, at[~wrong], parts[~wrong])


def _rows(table: Table, at: Sequence[int] | NDArray[np.int64]) -> str:
    """The numbers of some rows, as a spreadsheet shows them."""
    rows = [str(table.numbers[i]) for i in at]
    return ", ".join(rows[:ROWS_NAMED]) + (", ..." if len(rows) > ROWS_NAMED else "")


def _show_places(ledger: Ledger, table: Table, shapes: Sequence[Any], crs: CRS) -> None:
    """Shows in the account where the first shapes lie, as somebody who knows the place would look it up."""
    meant = []
    for shape in shapes:
        middle = shape.centroid
        lon, lat = to_lonlat([middle.x], [middle.y], crs)
        meant.append(f"around {lat[0]:.5f}, {lon[0]:.5f}{f', {shape.area / 1e4:,.1f} ha' if shape.area else ''}")
    ledger.reading_of(table).sample("place", [NAMES[shapely.get_type_id(shape)] for shape in shapes], meant)


def layer_crs(table: Table, stated: Stated) -> CRS:
    """The system of a layer: `[source_crs]`, else the file's own (GeoJSON has one by RFC 7946).

    Raises CrsError with the line to add where there is none.
    """
    source = source_of(table.file, stated)
    if source is not None and table.file in stated.source_crs:
        return source.crs.to_2d()
    if table.crs is not None:
        return table.crs.to_2d()
    raise CrsError(f"{table.file} does not say its reference system; {state_crs(table.file)}")


def moved(geometry: Any, own: CRS, crs: CRS) -> Any:
    """A geometry of system `own` in `crs`, without heights; None where part of it has no image there."""
    flat = shapely.force_2d(geometry)
    xy = shapely.get_coordinates(flat)
    x, y = transform(xy[:, 0], xy[:, 1], own, crs)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        return None
    return shapely.set_coordinates(flat, np.column_stack([x, y]))


def _placed(
    table: Table, at: NDArray[np.int64], heads: Headings, crs: CRS, stated: Stated, ledger: Ledger
) -> list[Any]:
    """For each row of `at` its geometry in `crs`, or the Refusal that says why there is none.

    Outlines that had to be closed, shapes whose two coordinates are swapped, and slips of points are told.
    """
    closed: list[int] = []
    swapped: list[int] = []

    def brought(i: int, shape: Any, own: CRS | None) -> Any:
        if shape is not None and own is not None and is_swapped(shape, own, stated.box):
            swapped.append(i)
            shape = shapely.transform(shape, lambda xy: xy[:, ::-1])
        return _no_shape(shape, own, crs)

    if table.geometry is not None:
        shapes = [table.geometry[i] for i in at]
        own = None if all(shape is None or shape.is_empty for shape in shapes) else layer_crs(table, stated)
        answer = [brought(int(i), shape, own) for i, shape in zip(at, shapes, strict=True)]
        _tell_repairs(table, closed, swapped, stated, ledger)
        return answer

    source = source_of(table.file, stated)
    cells = {role: [table.rows[i][heads.at[role]] for i in at] for role in PLACE_ROLES if role in heads.at}
    if not cells:
        return [Refusal("", "", Why.NO_SHAPES)] * len(at)
    texts = cells.get("position", [None] * len(at))
    written = [is_geometry(text) for text in texts]
    points: list[Point | Refusal] = []
    if not all(written):
        points = read_points(cells, heads.text, source, table.file, stated.box)
        tell_slips(table.name, lambda i: str(table.numbers[at[i]]), points, None, ledger)
    x, y = locate(points, crs)
    answer = []
    for i, text in enumerate(texts):
        if not written[i]:
            point = shapely.Point(x[i], y[i]) if np.isfinite(x[i]) else None
            answer.append(points[i] if isinstance(points[i], Refusal) else _no_shape(point, crs, crs))
            continue
        read = _from_text(text, source, table.file)
        if isinstance(read, Refusal) and read.why == Why.SHAPE_BROKEN:
            read = _from_text(text, source, table.file, close_rings=True)
            closed += [] if isinstance(read, Refusal) else [int(at[i])]
        answer.append(read if isinstance(read, Refusal) else brought(int(at[i]), *read))
    _tell_repairs(table, closed, swapped, stated, ledger)
    return answer


def _tell_repairs(table: Table, closed: Sequence[int], swapped: Sequence[int], stated: Stated, ledger: Ledger) -> None:
    """Remarks on outlines that were closed and shapes that were turned over, with their rows."""
    if closed:
        ledger.remark(
            f"{table.name}: {len(closed)} outlines did not come back to their start and were closed by a straight line "
            f"(row {_rows(table, closed)}); see on the map whether the ground is right"
        )
    if swapped and stated.box is not None:
        ledger.remark(
            f"{table.name}: {len(swapped)} shapes lie in the area with latitude and longitude swapped only, and were "
            f"turned over (row {_rows(table, swapped)}); check them against {stated.box.said_by}"
        )


PLACE_ROLES = ("position", "x", "y", "lon", "lat", "system")


def _from_text(text: str, source: Source | None, file: str, close_rings: bool = False) -> tuple[Any, CRS] | Refusal:
    """A geometry written as text and its system: the one it carries, the stated one, or proven degrees."""
    read = geometry_of(text, close_rings)
    if read is None:
        return Refusal("position", text, Why.SHAPE_BROKEN)
    shape, own = read
    if shape.is_empty:
        return Refusal("position", text, Why.NO_SHAPE)
    if own is not None:
        own = own.to_2d()
    elif source is not None and (source.own or not _in_degrees(shape)):
        own = source.crs
    elif _in_degrees(shape):
        own = WGS84
    else:
        return Refusal("position", text, Why.SHAPE_UNSTATED.of(file=file))
    return shape, own


def _no_shape(shape: Any, own: CRS | None, crs: CRS) -> Any:
    """The shape in `crs`, or why there is none."""
    if shape is None or shape.is_empty or own is None:
        return Refusal("geometry", "", Why.NO_SHAPE)
    there = moved(shape, own, crs)
    if there is None:
        return Refusal("geometry", "", Why.SHAPE_UNREACHABLE.of(system=crs_label(crs)))
    return there


def _in_degrees(shape: Any) -> bool:
    """Whether a written shape can only be in degrees: all within their range, and not all whole numbers."""
    xy = shapely.get_coordinates(shape)
    within = (np.abs(xy[:, 0]) <= 180).all() and (np.abs(xy[:, 1]) <= 90).all()
    return bool(within and (xy != np.round(xy)).any())


def _parts(shape: Any, dimension: int) -> Any:
    """The parts of a shape that have this dimension; None where it has none."""
    if shape.geom_type != "GeometryCollection":
        return shape if shapely.get_dimensions(shape) == dimension else None
    parts = [p for p in shapely.get_parts(shape) if shapely.get_dimensions(p) == dimension]
    return shapely.union_all(parts) if parts else None


def _objects(shapes: Sequence[Any]) -> Geometries:
    """An array of shapes; numpy must not look into them."""
    array = np.empty(len(shapes), dtype=object)
    array[:] = shapes
    return array


def frame_of(parts: Sequence[tuple[pd.DataFrame, Geometries]], columns: list[str], crs: CRS) -> gpd.GeoDataFrame:
    """One frame of several tables' rows and shapes, with these columns; text columns and no row where there is none."""
    if not parts:
        types = {c: float if c.endswith("_m") else "int64" if c == "row" else str for c in columns if c != "geometry"}
        parts = [(pd.DataFrame({c: pd.Series(dtype=t) for c, t in types.items()}), _objects([]))]
    rows = pd.concat([frame for frame, _ in parts], ignore_index=True)
    shapes = np.concatenate([geometry for _, geometry in parts])
    return gpd.GeoDataFrame(rows, geometry=list(shapes), crs=crs)[columns]
