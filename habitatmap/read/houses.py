"""House numbers, of an extract or of a council's list of addresses, by which pools without coordinates are placed."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from habitatmap.read.addresses import Addresses, street_and_number
from habitatmap.read.coordinates import read_accuracy
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import Columns, Draft, close, layer
from habitatmap.read.shapes import read_layers
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind

ADDRESSES = dtypes(Kind.ADDRESSES)


def read_houses(
    tables: Sequence[Table], paths: gpd.GeoDataFrame, crs: CRS, stated: Stated, ledger: Ledger
) -> Addresses:
    """The houses of the tables and the streets among the paths, to look addresses up in. Rows without a shape are set
    aside. CrsError where a table does not say its system."""
    drafts = read_layers(Kind.ADDRESSES, tables, crs, stated, ledger)
    close(drafts)
    houses = layer(drafts, [_columns(draft) for draft in drafts], ADDRESSES, crs)
    shapes = np.asarray(houses.geometry.to_numpy(), dtype=object)
    inside = shapely.point_on_surface(shapes)
    # of a building no corner lies farther off
    reach = shapely.hausdorff_distance(shapes, inside)
    off = np.fmax(houses["uncertainty_m"].to_numpy(dtype=float), reach)
    return Addresses.of(houses.assign(uncertainty_m=off).set_geometry(inside, crs=crs), paths)


def _columns(draft: Draft) -> Columns:
    """The columns of one table; street and number may stand in one cell."""
    texts = {name: draft.texts(name) for name in ("street", "house_number", "postcode", "city")}
    if draft.has("address"):
        for at, text in enumerate(draft.texts("address")):
            if text and not texts["street"][at]:
                texts["street"][at], texts["house_number"][at] = street_and_number(text)
    return {**texts, "uncertainty_m": [read_accuracy(cell) for cell in draft.cells("uncertainty_m")]}
