"""The one factory of area folders for tests, and of the files in them: small, so that all can be checked by hand."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

from habitatmap.area import Area, open_area

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


def csv_text(headings: str, rows: Iterable[Sequence[object]]) -> str:
    """Comma separated headings and rows as the text of a CSV file."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows([headings.split(","), *rows])
    return out.getvalue()


def write_raster(
    path: Path,
    values: ArrayLike,
    *,
    cell_m: float = 10.0,
    crs: str | None = CRS,
    nodata: float | None = None,
    dtype: str = "uint8",
    origin: tuple[float, float] = (LEFT, TOP),
    **profile: object,
) -> Path:
    """A GeoTIFF of one band whose top left corner is `origin`."""
    array = np.asarray(values, dtype=dtype)
    profile |= {"driver": "GTiff", "dtype": dtype, "count": 1, "crs": crs, "nodata": nodata}
    profile |= {"transform": Affine(cell_m, 0, origin[0], 0, -cell_m, origin[1])}
    with rasterio.open(path, "w", height=array.shape[0], width=array.shape[1], **profile) as out:
        out.write(array, 1)
    return path


def write_layer(path: Path, shapes: Sequence[BaseGeometry], crs: str | None = CRS, **columns: Sequence[object]) -> Path:
    """A GeoPackage, GeoJSON or shapefile with these columns."""
    gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs).to_file(path)
    return path


def area_folder(folder: Path, toml: str = "", **files: str) -> Path:
    """A folder with area.toml and CSV files as text: pools="pool,x,y\\n..." becomes pools.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {f"{name}.csv": text for name, text in files.items()} | ({"area.toml": toml} if toml else {})
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    return folder


def write_area(
    folder: Path,
    classes: NDArray[np.uint8] | None = None,
    table: str = "",
    *,
    pools: str | Sequence[tuple[str, float, float]] | None = None,
    visits: str | Sequence[tuple[str, str, str]] | None = None,
    trees: str = "",
    land: Sequence[tuple[str, str, BaseGeometry]] = (),
    keep_away: Sequence[tuple[str, BaseGeometry]] = (),
    paths: Sequence[BaseGeometry] = (),
    boundary: BaseGeometry | None = None,
    title: str = "A test area",
    toml: str = "",
    cell_m: float = 10.0,
    crs: str | None = CRS,
) -> Path:
    """An area folder as of 2025-07-01, its land cover an array of classes and `table` what they are worth.

    Rows of pools are (name, x, y), of visits (pool, date, outcome); as text they have their own headings. Land is
    (name, consent, polygon), keep_away (kind, shape).
    """
    head = f'title = "{title}"\ncrs = "{CRS}"\nas_of = 2025-07-01\ncell_m = {cell_m}\n'
    texts = {"trees": trees} if trees else {}
    for name, headings, rows in (("pools", "pool,x,y", pools), ("visits", "pool,date,outcome", visits)):
        if rows is not None:
            texts[name] = rows if isinstance(rows, str) else csv_text(headings, rows)
    if classes is not None:
        toml += '\n[land_cover]\nclasses = "classes.csv"\n'
        texts["classes"] = table
    area_folder(folder, head + toml, **texts)
    if classes is not None:
        write_raster(folder / "land_cover.tif", classes, cell_m=cell_m, crs=crs, nodata=0)
    if land:
        names, consent, shapes = zip(*land, strict=True)
        write_layer(folder / "land.gpkg", shapes, name=names, kind=["park"] * len(land), consent=consent)
    if keep_away:
        kinds, shapes = zip(*keep_away, strict=True)
        write_layer(folder / "keep_away.gpkg", shapes, kind=kinds)
    if paths:
        write_layer(folder / "paths.gpkg", paths)
    if boundary is not None:
        write_layer(folder / "boundary.gpkg", [boundary])
    return folder


@cache
def small_area() -> Area:
    """One pool on one class of land, opened: for tests that put their own frames in place of some of its."""
    with TemporaryDirectory() as folder:
        pools = [("P", *centre(1, 1))]
        return open_area(write_area(Path(folder), np.full((3, 3), 1, np.uint8), class_table({1: 0.5}), pools=pools))
