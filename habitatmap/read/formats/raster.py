"""Rasters as files: which system they are in, where they lie, and whom they say to name."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import ColorInterp, Resampling
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.io import MemoryFile
from rasterio.shutil import copy
from rasterio.transform import xy
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window

from habitatmap.errors import CrsError, InputError
from habitatmap.geo.crs import parse_crs, state_crs, transformer
from habitatmap.geo.grid import Grid, Tile

# the driver goes with the ending, so that no file can make GDAL follow a link or run a formula whatever it holds
RASTER_DRIVERS = {
    ".tif": "GTiff",
    ".tiff": "GTiff",
    ".img": "HFA",
    ".asc": "AAIGrid",
    ".bil": "EHdr",
    ".jp2": "JP2OpenJPEG",
}


# of a source pixel; with GDAL's usual 0.125 some 300 cells in a million would depend on how the grid is cut
WARP_TOLERANCE = 0.001
TILE_CELLS = 1024
# where a virtual raster has its attribute table, and GDAL's numbers for the column of values and for texts
ATTRIBUTES, IS_VALUE, IS_TEXT = "GDALRasterAttributeTable", "5", "2"
LONGEST_LABEL = 80


def is_raster(path: Path) -> bool:
    """Whether the ending says that a file is a raster."""
    return path.suffix.lower() in RASTER_DRIVERS


def raster_crs(path: Path, source_crs: Mapping[str, str]) -> CRS:
    """The CRS of a raster: stated in `[source_crs]`, else its own. Raises CrsError with the line to add."""
    if path.name in source_crs:
        return parse_crs(source_crs[path.name], f'area.toml: [source_crs] "{path.name}"').to_2d()
    with open_raster(path) as raster:
        if raster.crs is None:
            raise CrsError(f"{path.name} does not say its reference system; {state_crs(path.name)}")
        # GDAL finds the number of a system that older files only describe; with it every library names it alike
        number = raster.crs.to_epsg()
        return (CRS.from_epsg(number) if number else CRS.from_user_input(raster.crs)).to_2d()


def raster_bounds(path: Path, crs: CRS, source_crs: Mapping[str, str]) -> tuple[float, float, float, float]:
    """(west, south, east, north) of a raster in metres of `crs`, which may be another than its own."""
    own = raster_crs(path, source_crs)
    with open_raster(path) as raster:
        if raster.transform.is_identity:
            raise InputError(
                f"{path.name} does not say where it lies (it has no geotransform); save it as a GeoTIFF with one"
            )
        along = np.linspace(0.0, 1.0, 22)
        across, down = along * raster.width, along * raster.height
        zero, width, height = np.zeros(22), np.full(22, raster.width), np.full(22, raster.height)
        cols, rows = np.concatenate([across, across, zero, width]), np.concatenate([zero, height, down, down])
        x, y = map(np.asarray, xy(raster.transform, rows, cols, offset="ul"))
    if own != crs:
        x, y = transformer(own, crs).transform(x, y)
    inside = np.isfinite(x) & np.isfinite(y)
    if not inside.any():
        raise CrsError(f"{path.name} lies outside the area where {crs.name} holds; state another crs in area.toml")
    return float(x[inside].min()), float(y[inside].min()), float(x[inside].max()), float(y[inside].max())


def credits_of(path: Path) -> list[str]:
    """Whom a raster says to name, from its tags, with the licence."""
    with open_raster(path) as raster:
        tags = {name.casefold(): text.strip() for name, text in raster.tags().items()}
    makers = [tags[name] for name in ("attribution", "copyright", "tifftag_copyright", "source") if tags.get(name)]
    licence = tags.get("licence") or tags.get("license") or ""
    return [", ".join([*makers[:1], *([licence] if licence else [])])] if makers else []


class Colour(NamedTuple):
    """Red, green and blue, 0 to 255."""

    red: int
    green: int
    blue: int


def raster_labels(path: Path) -> dict[str, str]:
    """What a raster of classes calls them, by value: its attribute table, else its category names.

    An attribute table may have several columns of text; the last one whose texts differ most is taken, as the names of
    broader groups repeat. rasterio gives neither, but a virtual copy of the raster tells both.
    """
    with open_raster(path) as raster, MemoryFile(ext=".vrt") as virtual:
        try:
            copy(raster, virtual.name, driver="VRT")
        except RasterioError as fault:
            raise InputError(damaged(path, fault)) from None
        band = ElementTree.fromstring(virtual.read()).find("VRTRasterBand")
    if band is None:
        return {}
    names = {str(at): one.text or "" for at, one in enumerate(band.findall("CategoryNames/Category"))}
    heads = [(one.findtext("Usage", ""), one.findtext("Type", "")) for one in band.findall(f"{ATTRIBUTES}/FieldDefn")]
    rows = [[cell.text or "" for cell in row.findall("F")] for row in band.findall(f"{ATTRIBUTES}/Row")]
    at = next((k for k, (usage, _) in enumerate(heads) if usage == IS_VALUE), 0)
    texts = [k for k, (_, kind) in enumerate(heads) if kind == IS_TEXT and k != at]
    if rows and texts:
        best = max(texts, key=lambda k: (len({row[k] for row in rows}), k))
        names |= {row[at].partition(".")[0]: row[best] for row in rows}
    return {value: name.strip()[:LONGEST_LABEL] for value, name in names.items() if name.strip()}


def raster_colours(path: Path) -> dict[str, Colour]:
    """The colours of a raster's values, by value; those that are not seen through only."""
    with open_raster(path) as raster:
        if raster.count != 1 or raster.colorinterp[0] != ColorInterp.palette:
            return {}
        return {str(value): Colour(*rgba[:3]) for value, rgba in raster.colormap(1).items() if rgba[3]}


def blocks_on(
    path: Path, grid: Grid, crs: CRS, source_crs: Mapping[str, str], tile_cells: int = TILE_CELLS
) -> Iterator[tuple[Tile, NDArray[np.floating | np.integer], NDArray[np.bool_]]]:
    """A raster's first band on a grid by nearest neighbour, tile by tile, with the cells that hold data.

    Raises InputError where the file is damaged.
    """
    own = raster_crs(path, source_crs)
    with open_raster(path) as raster:
        try:
            with WarpedVRT(
                raster,
                src_crs=own.to_wkt(),
                crs=crs.to_wkt(),
                transform=Affine(*grid.transform),
                width=grid.cols,
                height=grid.rows,
                resampling=Resampling.nearest,
                tolerance=WARP_TOLERANCE,
                add_alpha=raster.nodata is None,
            ) as warped:
                for tile in grid.tiles(tile_cells):
                    window = Window(tile.col0, tile.row0, tile.shape[1], tile.shape[0])
                    block = warped.read(1, window=window)
                    valid = warped.read_masks(1, window=window) > 0
                    yield tile, block, valid & ~np.isnan(block) if block.dtype.kind == "f" else valid
        except RasterioError as fault:
            raise InputError(damaged(path, fault)) from None


def open_raster(path: Path) -> rasterio.DatasetReader:
    """A raster to read from. InputError where it is damaged."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            return rasterio.open(path, driver=RASTER_DRIVERS[path.suffix.lower()])
    except RasterioError as fault:
        raise InputError(damaged(path, fault)) from None


def damaged(path: Path, fault: Exception) -> str:
    """The sentence for a raster that can't be read."""
    cause = str(fault.__cause__ or fault).splitlines()[0].replace(str(path), path.name)
    return (
        f"{path.name} can't be read as a raster, it may be cut off or damaged ({cause}); fetch it again from its source"
    )
