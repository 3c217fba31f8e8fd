"""Forage (or dead wood) within flight of each cell: the kernel-weighted mean over the cells that have data."""

from __future__ import annotations

import math
from functools import lru_cache, partial

import numpy as np
import scipy.fft
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.engine import THREADS, Blocks, Engine, TileStage, map_tiles
from habitatmap.geo.flight import FlightKernel

# A mean over less than this share of the kernel rests on a handful of far cells: it is not known.
LEAST_SHARE = 7e-4


def access_mean(values: ArrayLike, cell_m: float, median_m: float, engine: Engine = THREADS) -> NDArray[np.float32]:
    """The mean of `values` (rows, cols; NaN = no data) around each cell by exp(-d/a); more in `access_and_share`."""
    return access_and_share(values, cell_m, median_m, engine)[0]


def access_and_share(
    values: ArrayLike, cell_m: float, median_m: float, engine: Engine = THREADS
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Kernel means and the share of the kernel that fell on cells with data, both float32 arrays (rows, cols).

    mean_c = sum_i k(d_ci) v_i / sum_i k(d_ci) over the cells i with data, k the access weight exp(-d/a) of a flight
    with `median_m` (metres), d from centre to centre; share_c = sum_i k(d_ci) over the kernel's whole sum. So missing
    ground (NaN, or beyond the raster) counts neither as forage nor as bare; where less than 0.0007 of the kernel was
    seen the mean is NaN. A cell without data has a mean too: what lies around it. By single-precision transforms, to
    1e-6 of the values' range. ValueError unless `values` are rows x columns and `median_m` is above 0.
    """
    field = np.asarray(values)
    if field.ndim != 2:
        raise ValueError(f"values have {field.ndim} dimensions; expected rows x columns")
    halo = FlightKernel(median_m).radius_cells(cell_m)
    stage = TileStage(
        partial(_mean_tile, cell_m=cell_m, median_m=median_m),
        {"mean": (np.float32, 0), "share": (np.float32, 0)},
        halo,
        pad=np.nan,
        tile_cells=_tile_side(max(field.shape), halo),
        sent=True,
    )
    answer = map_tiles(stage, {"values": field.astype(np.float32, copy=False)}, engine)
    _transfer.cache_clear()  # tens of MB that no other stage asks for
    return answer["mean"], answer["share"]


def _mean_tile(blocks: Blocks, halo: int, *, cell_m: float, median_m: float) -> Blocks:
    """The stage: values and their mask are the real and the imaginary plane of one complex transform."""
    values = blocks["values"]
    seen = np.isfinite(values)
    if not seen.any():
        empty = np.zeros([n - 2 * halo for n in values.shape], dtype=np.float32)
        return {"mean": np.full_like(empty, np.nan), "share": empty}
    low, high = (float(end(values, where=seen, initial=start)) for end, start in ((np.min, np.inf), (np.max, -np.inf)))
    # counted from the middle of their range the values are small, and so is the rounding error of the transform
    middle = np.float32((low + high) / 2)
    transfer = _transfer(values.shape, cell_m, median_m)
    total, share = _smooth(values, seen, middle, halo, transfer, np.complex64)
    # that error is divided by the share: where a mean rests on little ground, single precision does not do
    if ((share >= LEAST_SHARE) & (share < 0.1)).any():
        total, share = _smooth(values, seen, middle, halo, transfer, np.complex128)
    share = np.clip(share, 0, 1)
    mean = np.full_like(share, np.nan)
    np.divide(total, share, out=mean, where=share >= LEAST_SHARE)
    mean += middle
    np.clip(mean, low, high, out=mean)
    return {"mean": mean.astype(np.float32, copy=False), "share": share.astype(np.float32, copy=False)}


def _smooth(
    values: NDArray[np.float32],
    seen: NDArray[np.bool_],
    middle: np.float32,
    halo: int,
    transfer: NDArray[np.float64],
    precision: type[np.complexfloating],
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Kernel sums of values less `middle` and of the mask, for the tile inside the halo, by one transform there and one
    back."""
    rows, cols = values.shape
    planes = np.zeros(transfer.shape, dtype=precision)
    np.subtract(values, middle, out=planes.real[:rows, :cols], where=seen)
    planes.imag[:rows, :cols] = seen
    spectrum = scipy.fft.fft2(planes, overwrite_x=True)
    np.multiply(spectrum, transfer, out=spectrum, dtype=precision, casting="same_kind")
    # the block is tile and halo, so what wraps around stays in the halo
    smooth = scipy.fft.ifft2(spectrum, overwrite_x=True)[halo : rows - halo, halo : cols - halo]
    return smooth.real, smooth.imag


@lru_cache(maxsize=8)
def _transfer(block: tuple[int, int], cell_m: float, median_m: float) -> NDArray[np.float64]:
    """The Fourier transform of the kernel, scaled to sum 1 and centred on the first cell, for blocks of these rows and
    columns: real, as it is symmetric."""
    weights = FlightKernel(median_m).stamp(cell_m, "access")
    plane = np.zeros(tuple(scipy.fft.next_fast_len(n) for n in block))
    r = weights.shape[0] // 2
    plane[: 2 * r + 1, : 2 * r + 1] = weights / weights.sum()
    return np.asarray(scipy.fft.fft2(np.roll(plane, (-r, -r), axis=(0, 1))).real)


def _tile_side(side: int, halo: int) -> int:
    """A tile side for a raster of this side: few tiles, each with its halo as long as a fast transform."""
    pieces = math.ceil(side / max(1200, 2 * halo))
    return int(scipy.fft.next_fast_len(math.ceil(side / pieces) + 2 * halo)) - 2 * halo
