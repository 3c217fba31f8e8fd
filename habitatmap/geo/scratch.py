"""Rasters that no memory need hold: large ones lie in files without a name, which go with the process.

To whoever computes on them they are usual arrays. The system keeps of their pages what there is room for, and a process
gives its own back (`give_back`) wherever it has gone through more than `HELD`; what is written stays in the file. So
the memory of a stage that goes through its rasters by tiles or bands is set by the tile, and not by the area. The file
of a raster that is no longer used serves the next one: its pages are there, and new ones cost more than to write them.
"""

from __future__ import annotations

import ctypes
import errno
import math
import mmap
import os
import sys
import tempfile
import threading
import weakref
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import reduce
from operator import add
from pathlib import Path
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

LARGE = 4_000_000  # bytes from which a raster lies in a file
HELD = 128_000_000  # bytes of them that a process keeps, beside those of the libraries it has loaded
BAND_CELLS = 2_000_000  # cells of a band: the sums over smaller areas are done in one go
USUAL = 1_200_000_000  # bytes of memory that a large area takes with these, before its files are written
PICKED = 50  # cells of a raster that are read before pages may be given back
NEW_LIBRARIES = 30_000_000  # bytes of libraries that may be loaded between two looks
LIBRARIES = 450_000_000  # bytes that the program takes before any raster

# GDAL keeps a twentieth of the machine's memory for blocks of rasters unless it is told; so many MB are enough
os.environ.setdefault("GDAL_CACHEMAX", "64")

M_ARENA_MAX = -8  # of malloc.h

Number = TypeVar("Number", bound=np.generic)
Raster = NDArray[np.generic]  # (..., rows, cols)
T = TypeVar("T")

_files: weakref.WeakKeyDictionary[mmap.mmap, int | str] = weakref.WeakKeyDictionary()  # their number or path
_lent: set[int] = set()  # files that other processes may have opened
_unused: list[tuple[int, int]] = []  # files, and their bytes
_one_at_a_time = threading.Lock()
_floor = [0]  # shared memory without any of our pages: the libraries'


def allow(memory: int) -> None:
    """Keeps a run within so many bytes of memory, as far as that can be: smaller bands, and fewer pages held. Areas of
    another number of bands are summed up in another order, which may change the last digit of a figure."""
    global HELD, BAND_CELLS
    part = min(1.0, max(0.05, (memory - LIBRARIES) / (USUAL - LIBRARIES)))
    HELD, BAND_CELLS = int(128_000_000 * part), int(2_000_000 * part)


def named(path: Path, shape: tuple[int, ...], dtype: type[Number]) -> NDArray[Number]:
    """An array in a file of a name, with what stands there, zeros where the file is new."""
    size = math.prod(shape) * np.dtype(dtype).itemsize
    with path.open("r+b" if path.exists() else "w+b") as file:
        if path.stat().st_size < size:
            _make_room(file.fileno(), size)
        pages = mmap.mmap(file.fileno(), size)
    return np.ndarray(shape, dtype, buffer=_known(pages, str(path.absolute())))


class InFile(NamedTuple):
    """A whole raster, as other processes of this machine find it."""

    path: str
    id: tuple[str, int, int]  # of the running system, the device and the file: elsewhere the path leads to another
    shape: tuple[int, ...]
    dtype: np.dtype[np.generic]

    def opened(self) -> Raster:
        """The raster; what is written to it is there for all. OSError where it can't be found."""
        with open(self.path, "r+b") as file:
            if _id_of(file.fileno()) != self.id:
                raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), self.path)
            return np.ndarray(self.shape, self.dtype, buffer=mmap.mmap(file.fileno(), 0))


def file_of(raster: Raster) -> InFile:
    """Where other processes find a raster. OSError where it lies in no file, or the system has no name for that."""
    place = _files.get(raster.base) if isinstance(raster.base, mmap.mmap) else None
    if place is None:
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
    if isinstance(place, int):
        _lent.add(place)
        place = f"/proc/{os.getpid()}/fd/{place}"
    return InFile(place, _id_of(place), raster.shape, raster.dtype)


def _id_of(file: int | str) -> tuple[str, int, int]:
    found = os.stat(file)
    return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii"), found.st_dev, found.st_ino


def empty(shape: tuple[int, ...], dtype: type[Number]) -> NDArray[Number]:
    """An array to be written; in a file where it is large. OSError where the disk has no room."""
    size = math.prod(shape) * np.dtype(dtype).itemsize
    if size < LARGE:
        return np.empty(shape, dtype)
    file, room = _used_again(size) or _new(size)
    pages = mmap.mmap(file, size)
    weakref.finalize(pages, _let_go, file, room).atexit = False
    return np.ndarray(shape, dtype, buffer=_known(pages, file))


def _known(pages: mmap.mmap, place: int | str) -> mmap.mmap:
    """The pages of a file, which are given back from now on."""
    if not _files:
        _floor[0] = _shared()
    _files[pages] = place
    return pages


def _let_go(file: int, room: int) -> None:
    """No raster uses the file any more; a process that was taken for lost may still write to it if it was lent."""
    if file in _lent:
        _lent.remove(file)
        os.close(file)
    else:
        _unused.append((file, room))


def zeros(shape: tuple[int, ...], dtype: type[Number]) -> NDArray[Number]:
    """An array of zeros, as `empty`."""
    return full(shape, 0, dtype)


def full(shape: tuple[int, ...], value: float, dtype: type[Number]) -> NDArray[Number]:
    """An array of one value, as `empty`."""
    out = empty(shape, dtype)
    for band in bands(out.shape):
        out[..., band, :] = value
    return out


def copied(array: NDArray[Number]) -> NDArray[Number]:
    """A copy (..., rows, cols), as `empty`."""
    out = empty(array.shape, array.dtype.type)
    for band in bands(out.shape):
        out[..., band, :] = array[..., band, :]
    return out


def bands(shape: tuple[int, ...], multiple: int = 1) -> Iterator[slice]:
    """Bands of rows of rasters (..., rows, cols), one after the other, of so many rows or a multiple of it; pages are
    given back between them."""
    rows, cols = shape[-2:]
    step = max(1, BAND_CELLS // max(1, cols) // multiple) * multiple
    for row in range(0, rows, step):
        yield slice(row, min(row + step, rows))
        relax()


def some_rows(raster: NDArray[Number], rows: NDArray[np.int64]) -> NDArray[Number]:
    """Some rows, in order, of a raster (rows, cols)."""
    parts = [raster[:0]]
    for band in bands(raster.shape):
        parts.append(raster[rows[(rows >= band.start) & (rows < band.stop)]])
    return np.concatenate(parts)


def picked(raster: NDArray[Number], row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[Number]:
    """The values (n,) of a raster (rows, cols) at cells; the system may map a megabyte about each of them."""
    if raster.nbytes < LARGE:
        return raster[row, col]
    parts = [raster[:0, 0]]
    for first in range(0, len(row), PICKED):
        parts.append(raster[row[first : first + PICKED], col[first : first + PICKED]])
        relax()
    return np.concatenate(parts)


def put_in(raster: NDArray[Number], row: NDArray[np.int64], col: NDArray[np.int64], values: NDArray[Number]) -> None:
    """Writes values (n,) into a raster (rows, cols) at cells, as `picked` reads them."""
    for first in range(0, len(row), PICKED):
        some = slice(first, first + PICKED)
        raster[row[some], col[some]] = values[some]
        relax()


def thinned(raster: NDArray[Number], first: int, step: int) -> NDArray[Number]:
    """Every so many rows and columns of a raster (rows, cols), from the row and column `first` on."""
    return some_rows(raster, np.arange(first, raster.shape[0], step))[:, first::step]


def cellwise(work: Callable[..., Raster], *rasters: Raster, dtype: type[Number]) -> NDArray[Number]:
    """`work` of rasters (..., rows, cols) that asks no neighbours, done band by band: (rows, cols), as `empty`."""
    out = empty(rasters[0].shape[-2:], dtype)
    for band in bands(out.shape):
        out[band] = work(*(raster[..., band, :] for raster in rasters))
    return out


def total(work: Callable[..., T], *rasters: Raster) -> T:
    """The sum over the bands of what `work` makes of each: a number, or an array of always the same shape."""
    return reduce(add, (work(*(raster[..., band, :] for raster in rasters)) for band in bands(rasters[0].shape)))


def ends(raster: NDArray[np.floating]) -> tuple[float, float]:
    """The smallest and the largest known value; (inf, -inf) where none is known."""
    low, high = math.inf, -math.inf
    for band in bands(raster.shape):
        part = raster[..., band, :]
        low, high = min(low, float(np.fmin.reduce(part, axis=None))), max(high, float(np.fmax.reduce(part, axis=None)))
    return low, high


def relax() -> None:
    """Gives pages back where this process holds many of them."""
    if _files and _shared() - _floor[0] > HELD:
        _give_pages_back()
        # libraries may have been loaded meanwhile, and other threads take pages again at once
        _floor[0] = min(_shared(), _floor[0] + NEW_LIBRARIES)
        _trim()


def give_back() -> None:
    """Gives back the pages of all files, which are read again where they are wanted, and what was freed of memory."""
    _give_pages_back()
    _trim()


def _give_pages_back() -> None:
    if hasattr(mmap, "MADV_DONTNEED"):
        for pages in list(_files):
            pages.madvise(mmap.MADV_DONTNEED)


def few_heaps() -> None:
    """Has the C library serve all threads from two heaps: it keeps what each of many has freed apart.
    Other systems need no telling, here and in `_trim`."""
    if sys.platform == "linux" and hasattr(ctypes.CDLL(None), "mallopt"):
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, 2)


def _trim() -> None:
    """Has the C library give back what was freed."""
    if sys.platform == "linux" and hasattr(ctypes.CDLL(None), "malloc_trim"):
        ctypes.CDLL(None).malloc_trim(0)


def drop_unused() -> None:
    """Gives the disk back the files that no raster uses any more."""
    with suppress(IndexError):
        while True:
            os.close(_unused.pop()[0])


def _used_again(size: int) -> tuple[int, int] | None:
    """A file that no raster uses any more, the smallest that has room, at most twice as much, cut to its size; and that
    size."""
    with _one_at_a_time:
        fit = min((one for one in list(_unused) if size <= one[1] <= 2 * size), key=lambda one: one[1], default=None)
        if fit is None:
            return None
        _unused.remove(fit)
    os.truncate(fit[0], size)
    return fit[0], size


def _new(size: int) -> tuple[int, int]:
    """A new file, and its bytes; where the disk is full the unused ones make room."""
    with tempfile.TemporaryFile(prefix="habitatmap-") as file:
        try:
            _make_room(file.fileno(), size)
        except OSError:
            drop_unused()
            _make_room(file.fileno(), size)
        return os.dup(file.fileno()), size


def _make_room(file: int, size: int) -> None:
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(file, 0, size)  # a disk that fills up later would end the process
    else:
        os.truncate(file, size)


def _shared() -> int:
    """Bytes of files in this process' memory; 0 where the system does not tell."""
    try:
        return int(Path("/proc/self/statm").read_bytes().split()[2]) * mmap.PAGESIZE
    except OSError:
        return 0
