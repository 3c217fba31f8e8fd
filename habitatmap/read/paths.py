"""Paths: lines that rounds follow and maps show."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.shapes import frame_of, match_layers, read_shapes

COLUMNS = ["kind", "name", "geometry"]


def read_paths(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> gpd.GeoDataFrame:
    """Lines with COLUMNS; rows without a line are set aside."""
    frames = []
    for table, heads in match_layers("paths", tables, stated, ledger):
        shapes = read_shapes(table, "paths", crs, stated, ledger, "lines", heads)
        texts = {c: [as_text(cell) for cell in shapes.column(heads.at.get(c))] for c in ("kind", "name")}
        ledger.accept_rows("paths", table, shapes.at)
        frames.append((pd.DataFrame(texts), shapes.geometry))
    return frame_of(frames, COLUMNS, crs)
