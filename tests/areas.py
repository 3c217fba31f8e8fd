"""Small area folders for tests, made from arrays: what stands in them can be checked by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import from_origin
from shapely.geometry.base import BaseGeometry

CRS = "EPSG:32632"
LEFT, TOP = 500_000.0, 5_400_000.0
MONTHS = [f"forage_{m:02d}" for m in range(1, 13)]


def class_table(forage: Mapping[int, float | None], dead_wood: Mapping[int, float | None] | None = None) -> str:
    """A class table whose classes have the same forage in every month; None = not known."""

    def cell(value: float | None) -> str:
        return "" if value is None else repr(float(value))

    lines = [",".join(["code", "label", *MONTHS, "dead_wood", "basis", "source"])]
    for code, value in forage.items():
        wood = (dead_wood or {}).get(code, 0.0)
        values = [cell(value)] * 12
        lines.append(",".join([str(code), f"class {code}", *values, cell(wood), "expert judgement", "made for a test"]))
    return "\n".join(lines) + "\n"


def centre(row: float, col: float, cell_m: float = 10.0) -> tuple[float, float]:
    """x and y of a cell's centre in the frame of `write_area`."""
    return LEFT + (col + 0.5) * cell_m, TOP - (row + 0.5) * cell_m


def write_area(
    folder: Path,
    classes: NDArray[np.uint8] | None = None,
    table: str = "",
    *,
    pools: Sequence[tuple[str, float, float]] | None = None,
    visits: Sequence[tuple[str, str, str]] | None = None,
    trees: str = "",
    land: Sequence[tuple[str, str, BaseGeometry]] | None = None,
    keep_away: Sequence[tuple[str, BaseGeometry]] | None = None,
    boundary: BaseGeometry | None = None,
    toml: str = "",
    cell_m: float = 10.0,
    crs: str | None = CRS,
) -> Path:
    """Writes an area folder. Pools are (name, x, y), visits (pool, date, outcome), land (name, consent, polygon)."""
    folder.mkdir(parents=True, exist_ok=True)
    head = f'title = "A test area"\ncrs = "{CRS}"\nas_of = 2025-07-01\ncell_m = {cell_m}\n'
    if classes is not None:
        toml += '\n[land_cover]\nclasses = "classes.csv"\n'
        (folder / "classes.csv").write_text(table, encoding="utf-8")
        profile = {"driver": "GTiff", "dtype": "uint8", "count": 1, "nodata": 0, "crs": crs}
        shape = {"height": classes.shape[0], "width": classes.shape[1]}
        transform = from_origin(LEFT, TOP, cell_m, cell_m)
        with rasterio.open(folder / "land_cover.tif", "w", transform=transform, **profile, **shape) as out:
            out.write(classes, 1)
    (folder / "area.toml").write_text(head + toml, encoding="utf-8")
    if pools is not None:
        lines = ["pool,x,y", *(f"{name},{x},{y}" for name, x, y in pools)]
        (folder / "pools.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    if visits is not None:
        lines = ["pool,date,outcome", *(",".join(v) for v in visits)]
        (folder / "visits.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    if trees:
        (folder / "trees.csv").write_text(trees, encoding="utf-8")
    if land is not None:
        frame = gpd.GeoDataFrame(
            {"name": [n for n, _, _ in land], "kind": "park", "consent": [c for _, c, _ in land]},
            geometry=[g for _, _, g in land],
            crs=CRS,
        )
        frame.to_file(folder / "land.gpkg")
    if keep_away is not None:
        frame = gpd.GeoDataFrame({"kind": [k for k, _ in keep_away]}, geometry=[g for _, g in keep_away], crs=CRS)
        frame.to_file(folder / "keep_away.gpkg")
    if boundary is not None:
        gpd.GeoDataFrame(geometry=[boundary], crs=CRS).to_file(folder / "boundary.gpkg")
    return folder
