"""Paths: lines that rounds follow and maps show."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
from pyproj import CRS

from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import close, layer
from habitatmap.read.shapes import read_layers
from habitatmap.vocabulary.kinds import Kind

PATHS = {"kind": "str", "name": "str"}


def read_paths(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> gpd.GeoDataFrame:
    """Lines with the columns of `PATHS`; rows without a line are set aside."""
    drafts = read_layers(Kind.PATHS, tables, crs, stated, ledger, "lines")
    close(drafts)
    return layer(drafts, [{name: draft.texts(name) for name in ("kind", "name")} for draft in drafts], PATHS, crs)
