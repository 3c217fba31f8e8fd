"""Ground where no pool can stand whatever its use, by rasters of the area: `steep.*` and `floods.*`.

A slope steeper than [siting] steeper_than_deg is steep; its unit is stated in area.toml. Any value but 0 in floods.*
is ground that floods. Where a raster holds no data nothing is known, and nothing is excluded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.geo.grid import Grid
from habitatmap.read.formats.raster import blocks_on
from habitatmap.read.settings import Settings
from habitatmap.vocabulary.terms import Hazard, SlopeUnit

Bools = NDArray[np.bool_]


def read_hazards(
    files: Mapping[Hazard, Sequence[Path]], grid: Grid, crs: CRS, settings: Settings
) -> dict[Hazard, Bools]:
    """Where each hazard is, on the frame (rows, cols), for those that have a file; read window by window.

    Raises InputError where a raster can't be read, or nobody states the unit of a slope.
    """
    found = {}
    for hazard, paths in files.items():
        above = _steepest(paths[0].name, settings) if hazard is Hazard.STEEP else 0.0
        there = np.zeros(grid.shape, dtype=bool)
        for path in paths:
            for tile, block, valid in blocks_on(path, grid, crs, settings.source_crs):
                there[tile.row0 : tile.row1, tile.col0 : tile.col1] |= valid & (block > above)
        found[hazard] = there
    return found


def _steepest(file: str, settings: Settings) -> float:
    """The slope above which ground is steep, in the unit of the raster."""
    unit, degrees = settings.siting.slope_unit, settings.siting.steeper_than_deg
    if unit is None:
        raise InputError(
            f"{file} does not say the unit of its slopes; add to area.toml: [siting] slope_unit = "
            '"degrees" or "percent"'
        )
    return degrees if unit is SlopeUnit.DEGREES else 100.0 * math.tan(math.radians(degrees))
