"""A result as tables and files for GIS and for a hand-held receiver. Same result, same bytes: no time stamp anywhere.

Nothing from a record is executed or trusted: text that a spreadsheet would run gets an apostrophe, control characters
are shown as their pictures, and every format is written by the library that knows it. `result` is a
`Result` everywhere.
"""

from __future__ import annotations

import csv
import datetime
import errno
import io
import json
import math
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import Resampling
from rasterio.errors import RasterioError
from rasterio.io import MemoryFile
from rasterio.shutil import copy as raster_copy
from rasterio.windows import Window
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from habitatmap.geo import scratch
from habitatmap.geo.crs import WGS84, transformer
from habitatmap.geo.grid import Grid
from habitatmap.read.formats.cells import guard

T = TypeVar("T")
AS_IT_IS = (str, bool, int)  # types whose values JSON knows
GPX = "http://www.topografix.com/GPX/1/1"
DEGREE_DIGITS = 7  # about a centimetre

# name of a raster -> what it shows, unit
RASTERS = {
    "forage_season": ("Forage: mean of the season's known months", "0-1"),
    "forage_lean": ("Forage in the season's poorest month", "0-1"),
    "forage_access": ("Forage within flight: kernel mean of the season's forage", "0-1"),
    "dead_wood": ("Dead wood: class, dead trees and likely rot-hole trees", "0-1"),
    "forage_m": ("Distance to the nearest cell of good forage", "metre"),
    "dead_wood_m": ("Distance to the nearest cell of dead wood", "metre"),
    "reach_now": ("Probability that the cell is reached from a breeding place known now", "0-1"),
    "reach_with_plan": ("Probability that the cell is reached once the plan is carried out", "0-1"),
    "occupancy": ("Probability that a pool installed here holds larvae, where such surroundings were sampled", "0-1"),
}

# what no reader can see and some formats can't hold: controls but tab and line ends, surrogates, non-characters
_UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def visible(text: str) -> str:
    """The text with control characters as their pictures (NUL is ␀), and U+FFFD for what has none."""
    if text.isprintable():  # most texts are, and this costs a tenth
        return text
    return _UNSEEN.sub(lambda found: chr(0x2400 + ord(found[0])) if found[0] < " " else "\ufffd", text)


# --- tables -----------------------------------------------------------------------------------------------------------


def csv_text(frame: pd.DataFrame, semicolons: bool = False) -> str:
    """A frame as CSV (RFC 4180): numbers at full precision, empty where not known, yes and no.

    `semicolons`: for programs with a decimal comma, which open it with its columns, its numbers and its letters: ;
    between cells, commas in numbers, and the mark of UTF-8 at the start.
    """
    out = io.StringIO(newline="")
    # with another end of line the csv module leaves a bare carriage return in a text unquoted
    writer = csv.writer(out, delimiter=";" if semicolons else ",", lineterminator="\r\n")
    table = frame.drop(columns="geometry", errors="ignore")
    writer.writerow([guard(visible(str(name))) for name in table.columns])
    point = "," if semicolons else "."
    writer.writerows(zip(*(each(table[name], lambda one: _cell(one, point)) for name in table.columns), strict=True))
    return ("\ufeff" if semicolons else "") + out.getvalue()


def each(column: pd.Series, told: Callable[[object], T]) -> Iterator[T]:
    """What is told of each cell of a column; of texts, which come again and again, once of each different one."""
    if not isinstance(column.dtype, pd.StringDtype):
        return map(told, column.tolist())
    at, texts = pd.factorize(column)
    said = [*map(told, texts.tolist()), told(None)]  # what is missing has the number -1
    return map(said.__getitem__, at.tolist())


def _cell(value: object, point: str) -> str:
    told = plain(value)
    if told is None:
        return ""
    if isinstance(told, bool):
        return "yes" if told else "no"
    if isinstance(told, int | float):
        return repr(told).replace(".", point)
    return guard(visible(told))


def plain(value: Any) -> Any:
    """A value as JSON knows it: NaN, NaT and infinities are None, dates are ISO text, numpy scalars Python's own."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, AS_IT_IS):
        return value
    if value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, datetime.date):
        return value.isoformat().removesuffix("T00:00:00")
    if isinstance(value, Mapping):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, Iterable):
        return [plain(part) for part in value]
    return str(value)


def json_text(summary: Mapping[str, Any]) -> str:
    """summary.json, in the order it was put together; null where a figure is not known."""
    return visible(json.dumps(plain(summary), ensure_ascii=False, allow_nan=False, indent=1)) + "\n"


# --- GeoJSON and GPX --------------------------------------------------------------------------------------------------


def geojson_text(frame: pd.DataFrame, geometry: Iterable[BaseGeometry | None]) -> str:
    """A FeatureCollection after RFC 7946, one feature a line: the frame's columns as properties.

    `geometry` is in degrees, longitude first; None or an empty shape gives a null geometry.
    """
    table = frame.drop(columns="geometry", errors="ignore")
    columns = [str(name) for name in table.columns]
    features = []
    for shape, *row in zip(geometry, *(table[name].tolist() for name in table.columns), strict=True):
        feature = {
            "type": "Feature",
            "geometry": _rounded(shape),
            "properties": {name: plain(value) for name, value in zip(columns, row, strict=True)},
        }
        features.append(visible(json.dumps(feature, ensure_ascii=False, allow_nan=False)))
    return '{"type":"FeatureCollection","features":[\n' + ",\n".join(features) + "\n]}\n"


def _rounded(shape: BaseGeometry | None) -> dict[str, Any] | None:
    """A shape as GeoJSON, exterior rings counter-clockwise, positions rounded to about a centimetre."""
    if shape is None or shape.is_empty:
        return None
    rounded = shapely.transform(shape, lambda positions: positions.round(DEGREE_DIGITS))
    return dict(mapping(shapely.orient_polygons(rounded)))


def in_degrees(frame: gpd.GeoDataFrame, crs: CRS) -> list[BaseGeometry | None]:
    """The shapes of a frame in the area's CRS as WGS 84 shapes, longitude first."""
    to = transformer(crs, WGS84)
    return list(
        shapely.transform(frame.geometry.to_numpy(), lambda xy: np.column_stack(to.transform(xy[:, 0], xy[:, 1])))
    )


def plan_points(plan: pd.DataFrame, x: str, y: str) -> list[shapely.Point | None]:
    """A point for each suggestion; None on private ground, where the plan has no coordinates."""
    return [
        shapely.Point(east, north) if math.isfinite(east) and math.isfinite(north) else None
        for east, north in zip(plan[x].astype(float), plan[y].astype(float), strict=True)
    ]


def gpx_bytes(plan: pd.DataFrame, title: str, cautions: Iterable[str]) -> bytes:
    """The suggestions as way points of GPX 1.1, with reason and caution; those on private ground are left out."""
    root = gpx_root(title, " ".join(cautions))
    for row in plan.to_dict("records"):
        if not math.isfinite(row["lat"]):
            continue
        point = gpx_point(root, "wpt", row["lon"], row["lat"])
        gpx_text(point, "name", f"{row['id']} {row['place']}".strip())
        gpx_text(point, "desc", f"{row['caution']} {row['reason']}")
        gpx_text(point, "type", "suggested pool")
    return gpx_document(root)


def gpx_root(name: str, desc: str) -> ElementTree.Element:
    """An empty document of GPX 1.1."""
    ElementTree.register_namespace("", GPX)
    root = ElementTree.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "habitatmap"})
    metadata = ElementTree.SubElement(root, f"{{{GPX}}}metadata")
    gpx_text(metadata, "name", name)
    gpx_text(metadata, "desc", desc)
    return root


def gpx_text(parent: ElementTree.Element, tag: str, text: str) -> None:
    """A child with a text; XML would turn a carriage return into a line feed."""
    ElementTree.SubElement(parent, f"{{{GPX}}}{tag}").text = visible(text).replace("\r", "␍")


def gpx_point(parent: ElementTree.Element, tag: str, lon: float, lat: float) -> ElementTree.Element:
    """A child with a place in degrees; the schema has no +180."""
    place = {"lat": f"{lat:.{DEGREE_DIGITS}f}", "lon": f"{(lon + 180) % 360 - 180:.{DEGREE_DIGITS}f}"}
    return ElementTree.SubElement(parent, f"{{{GPX}}}{tag}", place)


def gpx_document(root: ElementTree.Element) -> bytes:
    """The document as bytes."""
    ElementTree.indent(root)
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


# --- rasters ----------------------------------------------------------------------------------------------------------


def write_cog(path: Path, name: str, values: NDArray[np.number], grid: Grid, crs: CRS) -> None:
    """Writes a raster as Cloud Optimized GeoTIFF, band by band where it is large. OSError where the disk is full."""
    if values.nbytes < scratch.LARGE:
        path.write_bytes(cog_bytes(name, values, grid, crs))
        return
    scratch.give_back()  # packing takes memory of its own
    plain = path.with_name(f"{path.stem}.plain.tif")
    try:
        _write_plain(str(plain), name, values, grid, crs)
        with rasterio.open(plain) as raster:
            raster_copy(raster, str(path), **_cog(name))
    except RasterioError as fault:
        raise OSError(errno.EIO, str(fault), str(path)) from fault
    finally:
        plain.unlink(missing_ok=True)
    # GDAL may take a full disk for success, so all that was written is read again
    with rasterio.open(path) as raster:
        for band in scratch.bands(values.shape):
            there = raster.read(1, window=Window(0, band.start, grid.cols, band.stop - band.start))
            if not np.array_equal(there, values[band].astype(np.float32, copy=False), equal_nan=True):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))


def cog_bytes(name: str, values: NDArray[np.number], grid: Grid, crs: CRS) -> bytes:
    """A raster as Cloud Optimized GeoTIFF: float32, NaN where not known, with what it shows and its unit inside.

    Made in memory, so that a full disk is met where bytes are written, and nowhere else.
    """
    with MemoryFile() as source, MemoryFile(ext=".tif") as target:
        _write_plain(source.name, name, values, grid, crs)
        with source.open() as raster:
            raster_copy(raster, target.name, **_cog(name))
        return bytes(target.read())


TILE = 512  # cells a side of the tiles in which the format keeps a raster, and from which on it wants overviews
# rasters whose values come again from cell to cell: they pack smaller as they are than as differences
REPEATED = {"forage_season", "forage_lean", "dead_wood", "forage_m", "dead_wood_m"}


def _cog(name: str) -> dict[str, str | int]:
    """How a raster of this name is stored."""
    predictor = "NO" if name in REPEATED else "YES"
    return {"driver": "COG", "blocksize": TILE, "compress": "DEFLATE", "level": 1, "predictor": predictor}


def _write_plain(path: str, name: str, values: NDArray[np.number], grid: Grid, crs: CRS) -> None:
    """Writes the raster unpacked, with the overviews that the packed one takes from it: made while packing they would
    be packed, opened and packed again."""
    text, unit = RASTERS.get(name, (name.replace("_", " "), ""))
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "nodata": float("nan"), "bigtiff": "IF_SAFER"}
    tiles = {"tiled": True, "blockxsize": TILE, "blockysize": TILE}
    place = {
        "width": grid.cols,
        "height": grid.rows,
        "crs": crs.to_wkt(),
        "transform": rasterio.Affine(*grid.transform),
    }
    with rasterio.open(path, "w", **profile, **tiles, **place) as raster:
        for band in scratch.bands(values.shape):
            window = Window(0, band.start, grid.cols, band.stop - band.start)
            raster.write(values[band].astype(np.float32, copy=False), 1, window=window)
        raster.set_band_description(1, text)
        raster.units = (unit,)
        raster.update_tags(name=name, description=text, unit=unit)
        halved = [2**n for n in range(1, 32) if max(grid.shape) > TILE * 2 ** (n - 1)]
        raster.build_overviews(halved, Resampling.average)
