"""Outlines: the area's boundary, and the ground where the tree inventory is complete."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import shapely
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.shapes import match_layers, read_shapes


def read_outline(tables: Sequence[Table], kind: str, crs: CRS, stated: Stated, ledger: Ledger) -> Any:
    """All polygons of these files as one shape in `crs`; None without files; InputError where none is a polygon."""
    if not tables:
        return None
    parts: list[Any] = []
    for table, heads in match_layers(kind, tables, stated, ledger):
        shapes = read_shapes(table, kind, crs, stated, ledger, "polygons", heads)
        ledger.accept_rows(kind, table, shapes.at)
        parts.extend(shapes.geometry)
    if not parts:
        raise InputError(f"{tables[0].file} holds no polygon; expected one or more polygons, the outline of the area")
    return shapely.normalize(shapely.union_all(parts))
