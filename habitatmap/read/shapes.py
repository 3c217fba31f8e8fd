"""Rows placed by a shape, brought to the area's reference system and made usable.

What was repaired is remarked: a ring that crosses itself is a common slip of drawing, and its ground is plain to see.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, Floats, Source, crs_label, to_lonlat, transform
from habitatmap.read.coordinates import (
    NAMES,
    Points,
    Refusal,
    geometry_of,
    is_geometry,
    is_swapped,
    locate,
    read_points,
)
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import SAMPLES, Ledger, some
from habitatmap.read.points import ROLES, layer_crs, source_of, tell_slips
from habitatmap.read.rows import Draft, gather, open_drafts, set_repeats_aside
from habitatmap.sentences import Quantity, Sentence, count, say
from habitatmap.vocabulary.kinds import Kind

Want = Literal["polygons", "lines", "any"]

# dimension of what is wanted, and its name for people
WANTED = {"polygons": (2, Sentence("a polygon")), "lines": (1, Sentence("a line"))}
REPAIRED = "{outlines} repaired, as lines crossed (row {rows}); see on the map whether the outline is right"
CLOSED = "{outlines} left open, and closed by a straight line (row {rows}); see on the map whether the outline is right"
TURNED = "{shapes} turned over, as latitude and longitude seem swapped (row {rows}); compare with {area}"


def read_layers(
    kind: Kind, tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger, want: Want = "any"
) -> list[Draft]:
    """The tables of a kind that has shapes, each row placed by its own.

    Repeats, and rows without a usable shape, are set aside. A table without shapes may give them as text (WKT, WKB,
    GeoJSON), or points by coordinates. Raises CrsError where nothing states or proves a layer's system.
    """
    drafts = open_drafts(kind, tables, stated, ledger)
    for draft in drafts:
        place_by_shape(draft, crs, stated, want)
    return drafts


def lonlat_of_shapes(tables: Sequence[Table], kind: Kind, stated: Stated) -> tuple[Floats, Floats]:
    """Longitudes and latitudes of all corners of all shapes, to choose a system from; nothing is reported here."""
    drafts = read_layers(kind, tables, WGS84, stated, Ledger())
    corners = [shapely.get_coordinates([draft.shapes[at] for at in draft.kept]) for draft in drafts]
    lon, lat = np.concatenate([np.empty((0, 2)), *corners]).T
    return lon, lat


def place_by_shape(draft: Draft, crs: CRS, stated: Stated, want: Want) -> None:
    """Gives each row of a table its shape in `crs`; rows without a usable one, and repeats, are set aside."""
    shapes = _placed(draft, crs, stated)
    set_repeats_aside(gather([draft], [{}]), [draft])
    _show_places(draft, shapes, crs)
    found = np.empty(len(shapes), dtype=object)  # numpy must not look into shapes
    found[:] = shapes
    kept = np.array(draft.kept, dtype=np.int64)
    broken = kept[~shapely.is_valid(found[kept])]
    if len(broken):
        draft.remark(say(REPAIRED, outlines=count(len(broken), "outline"), rows=_rows(draft, broken.tolist())))
        found[broken] = shapely.make_valid(found[broken])
    if want != "any":
        dimension, name = WANTED[want]
        for at in kept[(shapely.get_dimensions(found[kept]) != dimension) | _collections(found[kept])].tolist():
            part = _parts(found[at], dimension)
            if part is None or part.is_empty:
                value = NAMES[shapely.get_type_id(found[at])]
                draft.refuse(at, "geometry", value, Why.WRONG_SHAPE.of(shape=value, expected=name))
            found[at] = part
    draft.shapes = found.tolist()
    draft.bounds = shapely.bounds(found)


def _placed(draft: Draft, crs: CRS, stated: Stated) -> list[BaseGeometry | None]:
    """For each row its shape in `crs`, None where it is set aside.

    Outlines that had to be closed, shapes whose two coordinates are swapped, and slips of points are told.
    """
    table = draft.table
    closed: list[int] = []
    swapped: list[int] = []
    placed: list[BaseGeometry | None] = [None] * len(table)

    def bring(rows: Sequence[int], shapes: Sequence[BaseGeometry | None], own: CRS | None) -> None:
        given: dict[int, BaseGeometry] = {}
        for at, shape in zip(rows, shapes, strict=True):
            if shape is None or shape.is_empty or own is None:
                draft.refuse(at, "geometry", "", Why.NO_SHAPE)
                continue
            if is_swapped(shape, own, stated.box):
                swapped.append(at)
                shape = shapely.transform(shape, lambda xy: xy[:, ::-1])
            given[at] = shape
        if own is None:
            return
        for at, shape in zip(given, moved([*given.values()], own, crs), strict=True):
            placed[at] = shape
            if shape is None:
                draft.refuse(at, "geometry", "", Why.SHAPE_UNREACHABLE.of(system=crs_label(crs)))

    kept = draft.kept
    if table.geometry is not None:
        shapes = [table.geometry[at] for at in kept]
        own = None if all(shape is None or shape.is_empty for shape in shapes) else layer_crs(table, stated)
        bring(kept, shapes, own)
        _tell_repairs(draft, closed, swapped, stated)
        return placed

    source = source_of(table.file, stated)
    cells = {role: draft.cells(role) for role in ROLES if draft.has(role)}
    texts = cells.get("position", [None] * len(table))
    points = Points.of([Refusal("", "", Why.NO_SHAPES)] * len(table))
    if cells and not all(is_geometry(texts[at]) for at in kept):
        points = read_points(cells, draft.headings.text, source, table.file, stated.box)
        tell_slips(draft, points, None)
    x, y = locate(points, crs)
    for at in kept:
        text, point = texts[at], points[at]
        if isinstance(text, str) and is_geometry(text):
            read = _from_text(text, source, table.file)
            if isinstance(read, Refusal) and read.why is Why.SHAPE_BROKEN:
                read = _from_text(text, source, table.file, close_rings=True)
                closed += [] if isinstance(read, Refusal) else [at]
            if not isinstance(read, Refusal):
                bring([at], [read[0]], read[1])
                continue
            point = read
        if isinstance(point, Refusal):
            draft.refuse(at, point.role, point.value, point.why)
        elif point is not None:
            bring([at], [shapely.Point(x[at], y[at]) if np.isfinite(x[at]) else None], crs)
    _tell_repairs(draft, closed, swapped, stated)
    return placed


def moved(geometries: Sequence[BaseGeometry], own: CRS, crs: CRS) -> list[BaseGeometry | None]:
    """Geometries of system `own` in `crs`, without heights; None for one of which a part has no image there."""
    flat = shapely.force_2d(np.array(geometries, dtype=object))
    xy, of = shapely.get_coordinates(flat, return_index=True)
    x, y = transform(xy[:, 0], xy[:, 1], own, crs)
    lost = set(of[~(np.isfinite(x) & np.isfinite(y))].tolist())
    there = shapely.set_coordinates(flat, np.nan_to_num(np.column_stack([x, y]), posinf=0.0, neginf=0.0))
    return [None if at in lost else shape for at, shape in enumerate(there)]


def _from_text(
    text: str, source: Source | None, file: str, close_rings: bool = False
) -> tuple[BaseGeometry, CRS] | Refusal:
    """A geometry written as text and its system: the one it carries, the stated one, or proven degrees."""
    read = geometry_of(text, close_rings)
    if read is None:
        return Refusal("position", text, Why.SHAPE_BROKEN)
    shape, own = read
    if shape.is_empty:
        return Refusal("position", text, Why.NO_SHAPE)
    if own is not None:
        return shape, own.to_2d()
    if source is not None and (source.own or not _in_degrees(shape)):
        return shape, source.crs
    if _in_degrees(shape):
        return shape, WGS84
    return Refusal("position", text, Why.SHAPE_UNSTATED.of(file=file))


def _in_degrees(shape: BaseGeometry) -> bool:
    """Whether a written shape can only be in degrees: all within their range, and not all whole numbers."""
    xy = shapely.get_coordinates(shape)
    within = (np.abs(xy[:, 0]) <= 180).all() and (np.abs(xy[:, 1]) <= 90).all()
    return bool(within and (xy != np.round(xy)).any())


def _collections(shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Which shapes are mixed groups, or empty, and so need a closer look."""
    mixed = shapely.get_type_id(shapes) == shapely.GeometryType.GEOMETRYCOLLECTION
    return np.asarray(mixed | shapely.is_empty(shapes), dtype=bool)


def _parts(shape: BaseGeometry, dimension: int) -> BaseGeometry | None:
    """The parts of a shape that have this dimension; None where it has none."""
    if shape.geom_type != "GeometryCollection":
        return shape if shapely.get_dimensions(shape) == dimension else None
    parts = [p for p in shapely.get_parts(shape) if shapely.get_dimensions(p) == dimension]
    return shapely.union_all(parts) if parts else None


def _tell_repairs(draft: Draft, closed: Sequence[int], swapped: Sequence[int], stated: Stated) -> None:
    """Remarks on outlines that were closed and shapes that were turned over, with their rows."""
    if closed:
        draft.remark(say(CLOSED, outlines=count(len(closed), "outline"), rows=_rows(draft, closed)))
    if swapped and stated.box is not None:
        shapes, rows = count(len(swapped), "shape"), _rows(draft, swapped)
        draft.remark(say(TURNED, shapes=shapes, rows=rows, area=stated.box.said_by))


def _rows(draft: Draft, at: Sequence[int]) -> Sentence:
    """The numbers of some rows, as a spreadsheet shows them."""
    return some([draft.row_of(i) for i in at], ", ")


def _show_places(draft: Draft, shapes: Sequence[BaseGeometry | None], crs: CRS) -> None:
    """Shows in the account where the first shapes lie, as somebody who knows the place would look it up."""
    first = [shape for at in draft.kept[:SAMPLES] if (shape := shapes[at]) is not None]
    meant = []
    for shape in first:
        lon, lat = to_lonlat([shape.centroid.x], [shape.centroid.y], crs)
        area = Quantity(shape.area / 1e4, 1, "ha", grouped=True)
        told = "around {place}, {area}" if shape.area else "around {place}"
        meant.append(say(told, place=f"{lat[0]:.5f}, {lon[0]:.5f}", area=area))
    draft.reading.sample(Sentence("place"), [NAMES[shapely.get_type_id(shape)] for shape in first], meant)
