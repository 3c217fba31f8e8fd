"""Names of places: what people call parks, squares, schools and waters, so that a site can be told in words."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
from pyproj import CRS

from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import close, layer
from habitatmap.read.shapes import read_layers
from habitatmap.vocabulary.kinds import Kind

NAMES = {"kind": "str", "name": "str"}


def read_names(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> gpd.GeoDataFrame:
    """Shapes of any sort with the columns of `NAMES`."""
    drafts = read_layers(Kind.NAMES, tables, crs, stated, ledger)
    close(drafts)
    return layer(drafts, [{name: draft.texts(name) for name in NAMES} for draft in drafts], NAMES, crs)
