"""Rasters as pictures for a web map: warped to its projection, sorted into a few classes, stored without loss."""

from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from typing import TypeVar

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from PIL.WebPImagePlugin import WebPImageFile  # else every format there is would be loaded to write this one
from pyproj import CRS
from rasterio.enums import Resampling
from rasterio.warp import calculate_default_transform, reproject

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.crs import WGS84, transformer
from habitatmap.geo.grid import Grid
from habitatmap.plan.reach import block_mean
from habitatmap.vocabulary.themes import UNKNOWN_COLOUR

MOST_PIXELS = 1600  # a side; a finer picture costs bytes that no screen shows
WEBP = {"lossless": True, "quality": 10, "method": 3}  # effort: a twelfth more bytes than the best, for half the time
MOST_KEPT = 20  # pictures; the page for everybody shows most of the team's again
_MADE: dict[tuple[bytes, tuple[int, ...], bytes], str] = {}
OUTSIDE, UNKNOWN, FIRST = 0, 1, 2  # class numbers in a picture: beyond the frame, no value, first class
WEB_MERCATOR = 3857
Number = TypeVar("Number", bound=np.generic)


@dataclass(frozen=True)
class WebMap:
    """An area's grid as a picture on the web map (EPSG:3857), with about the grid's own resolution."""

    grid: Grid
    crs: CRS
    transform: Affine
    width: int
    height: int

    @classmethod
    def of(cls, grid: Grid, crs: CRS) -> WebMap:
        """The picture of this grid, with at most MOST_PIXELS a side. InputError where it crosses the 180th meridian."""
        west, _, east, _ = transformer(crs, WGS84).transform_bounds(*grid.bounds)
        if west > east:
            raise InputError(
                "the area lies across the 180th meridian, where no map page can be drawn; cut it there into two areas"
            )
        size: dict[str, int] = {}
        shrink = max(grid.shape) / MOST_PIXELS
        if shrink > 1:
            size = {"dst_width": max(1, int(grid.cols / shrink)), "dst_height": max(1, int(grid.rows / shrink))}
        transform, width, height = calculate_default_transform(
            _known(crs.to_wkt()), _web_mercator(), grid.cols, grid.rows, *grid.bounds, **size
        )
        return cls(grid, crs, transform, int(width), int(height))

    @property
    def bounds(self) -> list[list[float]]:
        """[[south, west], [north, east]] in degrees, of the warped picture itself."""
        left, top = self.transform.c, self.transform.f
        right, bottom = left + self.transform.a * self.width, top + self.transform.e * self.height
        (west, east), (south, north) = transformer(CRS(WEB_MERCATOR), WGS84).transform([left, right], [bottom, top])
        return [[round(south, 7), round(west, 7)], [round(north, 7), round(east, 7)]]

    @property
    def step(self) -> int:
        """So many cells a side are taken together first: pictures of large areas are made from an overview."""
        return max(1, max(self.grid.shape) // MOST_PIXELS)

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """Which pixels (height x width) lie on the grid at all."""
        return np.asarray(self._cells >= 0)

    def classes(self, values: NDArray[np.floating], breaks: Sequence[float]) -> NDArray[np.uint8]:
        """The class numbers of values of the cells (rows, cols) on the pixels, of their mean where cells are finer;
        OUTSIDE beyond the grid."""
        means = values if self.step == 1 else block_mean(values, self.step)
        if self._is_coarser:
            laid_out = self._reprojected(means.astype(np.float32), Resampling.average, np.nan)
        else:
            laid_out = means.ravel()[self._cells].astype(np.float32, copy=False)
        return np.where(self.inside, classes_of(laid_out, breaks), np.uint8(OUTSIDE))

    def thinned(self, values: NDArray[Number]) -> NDArray[Number]:
        """Of the cells (rows, cols) those that `numbers` takes: the middle one of `step` x `step`."""
        if self.step == 1:
            return values
        rows, cols = (np.minimum(np.arange(0, n, self.step) + self.step // 2, n - 1) for n in self.grid.shape)
        return scratch.some_rows(values, rows)[:, cols]

    def numbers(self, numbers: NDArray[Number]) -> NDArray[Number]:
        """Numbers of kinds of the thinned cells on the pixels, the commonest where those are finer; 0 outside."""
        if self._is_coarser:
            commonest = self._reprojected(numbers.astype(np.float32), Resampling.mode, np.nan)
            laid_out = np.nan_to_num(commonest).astype(numbers.dtype)
        else:
            laid_out = numbers.ravel()[self._cells]
        return np.where(self.inside, laid_out, numbers.dtype.type(0))

    @property
    def _is_coarser(self) -> bool:
        """Whether pixels are so much larger than the thinned cells that one of these can't stand for all in a pixel."""
        return self.grid.cols > 1.5 * self.step * self.width

    @cached_property
    def _cells(self) -> NDArray[np.int32]:
        """The number of the thinned cell in which the middle of each pixel lies, -1 beyond the grid: warped once."""
        rows, cols = (-(-n // self.step) for n in self.grid.shape)
        cells = np.arange(rows * cols, dtype=np.int32).reshape(rows, cols)
        return self._reprojected(cells, Resampling.nearest, -1)

    def _reprojected(self, values: NDArray[Number], how: Resampling, nothing: float) -> NDArray[Number]:
        out = np.full((self.height, self.width), nothing, dtype=values.dtype)
        side = self.step * self.grid.cell_m
        reproject(
            values,
            out,
            src_transform=Affine(side, 0.0, self.grid.left, 0.0, -side, self.grid.top),
            src_crs=_known(self.crs.to_wkt()),
            src_nodata=nothing,
            dst_transform=self.transform,
            dst_crs=_web_mercator(),
            dst_nodata=nothing,
            resampling=how,
        )
        return out


@lru_cache(maxsize=4)
def _known(wkt: str) -> rasterio.crs.CRS:
    return rasterio.crs.CRS.from_wkt(wkt)


@cache
def _web_mercator() -> rasterio.crs.CRS:
    return rasterio.crs.CRS.from_epsg(WEB_MERCATOR)


@lru_cache(maxsize=1)
def whole_map(grid: Grid, crs: CRS) -> WebMap:
    """The picture of an area's whole grid, kept for the next page: where its pixels lie is costly to find."""
    return WebMap.of(grid, crs)


def classes_of(values: NDArray[np.float32], breaks: Sequence[float]) -> NDArray[np.uint8]:
    """Class number of each value: FIRST up to the first break, one more from each break on; UNKNOWN for NaN."""
    found = np.full(values.shape, FIRST, dtype=np.uint8)
    for at in np.asarray(breaks, values.dtype):
        found += values >= at
    found[np.isnan(values)] = UNKNOWN
    return found


def picture(classes: NDArray[np.integer], colours: Sequence[str], unknown: str = UNKNOWN_COLOUR) -> str:
    """A lossless WebP as a data address. `colours` are those of the classes from FIRST on; OUTSIDE is see-through.

    An empty colour is see-through too.
    """
    table = np.array([_rgba(c) for c in ("", unknown, *colours)], dtype=np.uint8)
    few = np.ascontiguousarray(classes, dtype=np.uint8)
    made = (hashlib.blake2b(few.tobytes()).digest(), few.shape, table.tobytes())
    if made not in _MADE:
        while len(_MADE) >= MOST_KEPT:
            del _MADE[next(iter(_MADE))]
        store, numbered = io.BytesIO(), Image.fromarray(few, "P")
        numbered.putpalette(table.tobytes(), "RGBA")
        numbered.convert("RGBA").save(store, WebPImageFile.format, **WEBP)
        _MADE[made] = "data:image/webp;base64," + base64.b64encode(store.getvalue()).decode("ascii")
    return _MADE[made]


def _rgba(colour: str) -> tuple[int, int, int, int]:
    if not colour:
        return 0, 0, 0, 0
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16), 255
