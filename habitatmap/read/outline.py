"""Outlines: the area's boundary, and the ground where the tree inventory is complete."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import InputError
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import close
from habitatmap.read.shapes import read_layers
from habitatmap.vocabulary.kinds import Kind


def read_outline(tables: Sequence[Table], kind: Kind, crs: CRS, stated: Stated, ledger: Ledger) -> BaseGeometry | None:
    """All polygons of these files as one shape in `crs`; None without files; InputError where none is a polygon."""
    drafts = read_layers(kind, tables, crs, stated, ledger, "polygons")
    close(drafts)
    parts = [draft.shapes[at] for draft in drafts for at in draft.kept]
    if tables and not parts:
        raise InputError(f"{tables[0].file} holds no polygon; expected one or more polygons, the outline of the area")
    outline: BaseGeometry = shapely.normalize(shapely.union_all(parts))
    return outline if tables else None
