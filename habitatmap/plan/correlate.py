"""Sums of a raster over a kernel around every cell, by transforms of tiles."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache, partial

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from habitatmap.geo.engine import THREADS, Blocks, Engine, TileStage, map_tiles

Floats = NDArray[np.float64]


def correlate(values: Floats, k: Floats, engine: Engine = THREADS) -> Floats:
    """sum_d k(d) values(c + d) for every cell c (rows, cols); there is nothing beyond the edge.

    By float64 FFT in overlapping tiles.
    """
    r = k.shape[0] // 2
    n = fft_cells(r, (values.shape[0], values.shape[1]), engine.tile_cells)
    stage = TileStage(
        partial(_correlated_tile, k=k, n=n), {"sums": (np.float64, 0)}, r, tile_cells=n - 2 * r, sent=True
    )
    return map_tiles(stage, {"values": values}, replace(engine, tile_cells=None))["sums"]


def correlate_part(values: Floats, k: Floats, rows: slice, cols: slice) -> Floats:
    """`correlate` at some rows and columns alone, by one transform no larger than these need."""
    r = k.shape[0] // 2
    # what lies beyond the transform's end comes round to its beginning, before these rows and columns
    needed = [max(size + r - at.start, at.stop + r) for size, at in zip(values.shape, (rows, cols), strict=True)]
    n = int(scipy.fft.next_fast_len(max(needed), real=True))
    spectrum = scipy.fft.rfft2(values, (n, n))
    spectrum *= kernel_spectrum(k, n)
    sums = scipy.fft.irfft2(spectrum, (n, n), overwrite_x=True)
    return np.asarray(sums[r + rows.start : r + rows.stop, r + cols.start : r + cols.stop])


def _correlated_tile(blocks: Blocks, halo: int, *, k: Floats, n: int) -> Blocks:
    block = blocks["values"]
    rows, cols = block.shape
    if not block.any():
        return {"sums": np.zeros((rows - 2 * halo, cols - 2 * halo))}
    spectrum = scipy.fft.rfft2(block, (n, n))
    spectrum *= kernel_spectrum(k, n)
    return {"sums": scipy.fft.irfft2(spectrum, (n, n), overwrite_x=True)[2 * halo : rows, 2 * halo : cols]}


def fft_cells(r: int, shape: tuple[int, int], tile_cells: int | None = None) -> int:
    """Side of the transforms: no more than three and a half times the halo, and such that the tiles fill the frame."""
    pieces = math.ceil(max(shape) / (tile_cells or max(512, 5 * r)))
    return int(scipy.fft.next_fast_len(math.ceil(max(shape) / pieces) + 2 * r, real=True))


def kernel_spectrum(k: Floats, n: int) -> NDArray[np.complex128]:
    """Transform of the (symmetric) kernel in an n x n frame, its corner at the frame's corner."""
    return _spectrum(k.tobytes(), k.shape[0], n)


def forget_spectra() -> None:
    """Lets go of the kernels' transforms, MBs each, once no more plans are made."""
    _spectrum.cache_clear()


@lru_cache(maxsize=8)
def _spectrum(k: bytes, side: int, n: int) -> NDArray[np.complex128]:
    return np.asarray(scipy.fft.rfft2(np.frombuffer(k).reshape(side, side), (n, n)))
