"""Rasters as pictures for a web map: warped to its projection, sorted into a few classes, stored without loss."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from pyproj import CRS, Transformer
from rasterio.enums import Resampling
from rasterio.warp import calculate_default_transform, reproject

from habitatmap.geo.grid import Grid

MOST_PIXELS = 1600  # a side; a finer picture costs bytes that no screen shows
OUTSIDE, UNKNOWN, FIRST = 0, 1, 2  # class numbers in a picture: beyond the frame, no value, first class
UNKNOWN_COLOUR = "#c4c8c9"


@dataclass(frozen=True)
class Frame:
    """A picture's place on the web map (EPSG:3857)."""

    transform: Affine
    width: int
    height: int

    @property
    def bounds(self) -> list[list[float]]:
        """[[south, west], [north, east]] in degrees, of the warped picture itself."""
        left, top = self.transform.c, self.transform.f
        right, bottom = left + self.transform.a * self.width, top + self.transform.e * self.height
        to_degrees = Transformer.from_crs(3857, 4326, always_xy=True)
        (west, east), (south, north) = to_degrees.transform([left, right], [bottom, top])
        return [[round(south, 7), round(west, 7)], [round(north, 7), round(east, 7)]]


def web_frame(grid: Grid, crs: CRS) -> Frame:
    """The frame of this grid on the web map, with about the grid's own resolution and at most MOST_PIXELS a side."""
    size: dict[str, int] = {}
    shrink = max(grid.shape) / MOST_PIXELS
    if shrink > 1:
        size = {"dst_width": max(1, int(grid.cols / shrink)), "dst_height": max(1, int(grid.rows / shrink))}
    transform, width, height = calculate_default_transform(
        crs.to_wkt(), "EPSG:3857", grid.cols, grid.rows, *grid.bounds, **size
    )
    return Frame(transform, int(width), int(height))


def warp(values: NDArray[Any], grid: Grid, crs: CRS, frame: Frame, by: Resampling) -> NDArray[np.float32]:
    """The values on the frame's pixels, NaN where there is none. Values: float with NaN, or class numbers."""
    out = np.full((frame.height, frame.width), np.nan, dtype=np.float32)
    reproject(
        np.asarray(values, dtype=np.float32),
        out,
        src_transform=Affine(*grid.transform),
        src_crs=crs.to_wkt(),
        src_nodata=np.nan,
        dst_transform=frame.transform,
        dst_crs="EPSG:3857",
        dst_nodata=np.nan,
        resampling=by,
    )
    return out


def on_the_map(grid: Grid, crs: CRS, frame: Frame) -> NDArray[np.bool_]:
    """Which pixels of the frame lie on the grid at all."""
    return np.isfinite(warp(np.ones(grid.shape), grid, crs, frame, Resampling.nearest))


def classes_of(values: NDArray[np.float32], breaks: Sequence[float]) -> NDArray[np.uint8]:
    """Class number of each value: FIRST up to the first break, one more from each break on; UNKNOWN for NaN."""
    found = np.digitize(values, breaks) + FIRST
    return np.where(np.isnan(values), UNKNOWN, found).astype(np.uint8)


def picture(classes: NDArray[np.uint8], colours: Sequence[str], unknown: str = UNKNOWN_COLOUR) -> str:
    """A lossless WebP as a data address. `colours` are those of the classes from FIRST on; OUTSIDE is see-through.

    An empty colour is see-through too.
    """
    table = np.array([_rgba(c) for c in ("", unknown, *colours)], dtype=np.uint8)
    store = io.BytesIO()
    Image.fromarray(table[classes], "RGBA").save(store, "WEBP", lossless=True, quality=100, method=4, exact=False)
    return "data:image/webp;base64," + base64.b64encode(store.getvalue()).decode("ascii")


def resampling(grid: Grid, frame: Frame, categories: bool) -> Resampling:
    """Nearest where pixels are about as fine as cells; otherwise the mean, or for categories the commonest."""
    if grid.cols <= 1.5 * frame.width:
        return Resampling.nearest
    return Resampling.mode if categories else Resampling.average


def _rgba(colour: str) -> tuple[int, int, int, int]:
    if not colour:
        return 0, 0, 0, 0
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16), 255
