"""Small made-up inputs for the tests of intake: a raster, a layer, an area folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine

UTM = "EPSG:32632"
LEFT, TOP = 500_000.0, 5_500_000.0


def write_raster(
    path: Path,
    values: Any,
    *,
    cell_m: float = 10.0,
    crs: str | None = UTM,
    nodata: float | None = None,
    dtype: str = "uint8",
    origin: tuple[float, float] = (LEFT, TOP),
    **profile: Any,
) -> Path:
    """A GeoTIFF of one band whose top left corner is `origin`."""
    array = np.asarray(values, dtype=dtype)
    transform = Affine(cell_m, 0, origin[0], 0, -cell_m, origin[1])
    shape = {"width": array.shape[1], "height": array.shape[0], "count": 1, "dtype": dtype}
    with rasterio.open(
        path, "w", driver="GTiff", crs=crs, nodata=nodata, transform=transform, **shape, **profile
    ) as out:
        out.write(array, 1)
    return path


def write_layer(path: Path, shapes: Sequence[Any], crs: str | None = UTM, **columns: Sequence[Any]) -> Path:
    """A GeoPackage, GeoJSON or shapefile with these columns."""
    gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs).to_file(path)
    return path


def area_folder(folder: Path, toml: str = "", **files: str) -> Path:
    """A folder with area.toml and CSV files: pools="pool,x,y\\n..." becomes pools.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    if toml:
        (folder / "area.toml").write_text(toml, encoding="utf-8")
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder
