"""The rasters of a result as xarray has them; the package is an extra."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import HabitatmapError
from habitatmap.geo.grid import Grid

if TYPE_CHECKING:
    import xarray

SYSTEM = "spatial_ref"


def as_dataset(rasters: Mapping[str, NDArray[np.float32]], grid: Grid, crs: CRS) -> xarray.Dataset:
    """Rasters (rows x cols of `grid`, NaN = not known) by name, on the cells' centres x and y in metres.

    The reference system stands as the CF conventions have it (version 1.11, 5.6), where rioxarray finds it too. Arrays
    are not copied. HabitatmapError where xarray is not installed.
    """
    try:
        import xarray
    except ImportError:
        raise HabitatmapError("to_xarray() needs the package xarray: pip install 'habitatmap[notebook]'") from None
    x, y = (
        grid.centre(np.zeros(grid.cols), np.arange(grid.cols))[0],
        grid.centre(np.arange(grid.rows), np.zeros(grid.rows))[1],
    )
    a, b, c, d, e, f = grid.transform
    system = crs.to_cf() | {"GeoTransform": f"{c} {a} {b} {f} {d} {e}"}
    return xarray.Dataset(
        {name: (("y", "x"), raster, {"grid_mapping": SYSTEM}) for name, raster in rasters.items()},
        coords={
            "x": ("x", x, {"standard_name": "projection_x_coordinate", "units": "m", "axis": "X"}),
            "y": ("y", y, {"standard_name": "projection_y_coordinate", "units": "m", "axis": "Y"}),
            SYSTEM: ((), 0, system),
        },
        attrs={"grid_mapping": SYSTEM},
    )
