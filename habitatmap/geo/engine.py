"""Where tiles run: threads of this process, or a Dask cluster that already exists.

Workers of this machine go through the files of large rasters themselves (`geo.scratch`); others are sent their blocks.

A stage is a function of one tile and its halo. It gets blocks that are `halo` cells larger on every side (filled with
`pad` beyond the array's edge) and returns the blocks of the tile itself, so its answer cannot depend on the tiling.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import DTypeLike, NDArray
from threadpoolctl import threadpool_limits

from habitatmap.geo import scratch
from habitatmap.geo.grid import Tile, cut

if TYPE_CHECKING:
    from distributed import Client

Raster = NDArray[Any]  # of any type of number
Blocks = dict[str, Raster]
Arrays = Mapping[str, scratch.Raster]
Files = Mapping[str, scratch.InFile]
KEY = "run"

KEPT_FROM = 4_000_000  # cells of a raster from which its finished tiles are kept

ROWS = 256  # of a block that are copied at a time
AHEAD = 2  # tiles on their way to a cluster for each of its threads
TRIES = 3  # so often a tile is begun again whose worker was lost


@dataclass(frozen=True)
class Engine:
    """Where tiles run, and how large they are; neither changes an answer by more than rounding.

    threads: how many (None = `default_workers`). tile_cells: longest side of a tile (None = what suits the stage). With
    a `client` the tiles run on its cluster, and the stage's function must live in an importable module. `kept`: what
    keeps the tiles of large rasters, for a run that is ended before its time.
    """

    threads: int | None = None
    tile_cells: int | None = None
    client: Client | None = None
    kept: KeptTiles | None = None


class KeptTiles:
    """The finished tiles of a run in a folder of their own, so that the same run can go on from them after it was
    killed. The order of the stages is that of the run, so their number tells them apart."""

    def __init__(self, folder: Path, key: str, resume: bool) -> None:
        """`key`: what the run rests on; what another one has left, or any without `resume`, is thrown away."""
        self.folder, self._key, self._stages = folder, key, 0
        of_run = folder / KEY
        if not (resume and of_run.is_file() and of_run.read_text(encoding="utf-8") == key):
            shutil.rmtree(folder, ignore_errors=True)

    def stage(
        self, outputs: Mapping[str, tuple[int, ...]], dtypes: Mapping[str, type[np.generic]], tiles: int
    ) -> tuple[dict[str, NDArray[np.generic]], NDArray[np.uint8]]:
        """The arrays of the next stage, and which of its tiles are done."""
        if self._stages == 0:
            self.folder.mkdir(parents=True, exist_ok=True)
            (self.folder / KEY).write_text(self._key, encoding="utf-8")
        self._stages += 1
        files = {name: self.folder / f"{self._stages:03d}-{name}" for name in outputs}
        whole = {name: scratch.named(files[name], shape, dtypes[name]) for name, shape in outputs.items()}
        return whole, scratch.named(self.folder / f"{self._stages:03d}", (tiles,), np.uint8)

    def drop(self) -> None:
        """The run has come to its end."""
        shutil.rmtree(self.folder, ignore_errors=True)


THREADS = Engine()
_chosen: ContextVar[Engine] = ContextVar("engine", default=THREADS)


def chosen() -> Engine:
    """Where tiles run unless a call says otherwise."""
    return _chosen.get()


@contextmanager
def running_on(engine: Engine) -> Iterator[None]:
    """Within it tiles run there."""
    before = _chosen.set(engine)
    try:
        yield
    finally:
        _chosen.reset(before)


@dataclass(frozen=True)
class TileStage:
    """What is done to each tile: `work(blocks, halo)` gives the blocks of `outputs`.

    outputs: for each name its dtype and its number of bands (0 = a plain rows x cols array). pad: what stands beyond
    the array's edge. tile_cells: the side of a tile that suits the stage, or its rows and columns.
    """

    work: Callable[[Blocks, int], Blocks]
    outputs: Mapping[str, tuple[DTypeLike, int]]
    halo: int = 0
    pad: float = 0
    tile_cells: int | tuple[int, int] = 512
    sent: bool = False
    """Whether a cluster works its tiles out: where that takes longer than to send them."""

    def side(self, engine: Engine) -> int | tuple[int, int]:
        """The side of the tiles: the stage's where it needs whole rows or columns, else the engine's, where stated."""
        return self.tile_cells if isinstance(self.tile_cells, tuple) else engine.tile_cells or self.tile_cells


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Matrix products on one thread: ours share the processors already, and each kind would wait for the other."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


def default_workers() -> int:
    """How many threads to use: HABITATMAP_THREADS where set, else the cores this process may use."""
    stated = os.environ.get("HABITATMAP_THREADS", "")
    if stated.isdigit() and int(stated) > 0:
        return int(stated)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1)


def block(array: Raster, tile: Tile, halo: int, pad: float) -> Raster:
    """A copy of the tile of an array (..., rows, cols) with `halo` cells more on every side; beyond the edge stands
    `pad`. Some rows at a time: of a large array the system maps many more pages than those of the tile."""
    rows, cols = array.shape[-2:]
    r0, r1, c0, c1 = tile.row0 - halo, tile.row1 + halo, tile.col0 - halo, tile.col1 + halo
    out = np.full((*array.shape[:-2], r1 - r0, c1 - c0), pad, dtype=array.dtype)
    b0, b1 = max(c0, 0), min(c1, cols)
    for row in range(max(r0, 0), min(r1, rows), ROWS):
        end = min(row + ROWS, r1, rows)
        out[..., row - r0 : end - r0, b0 - c0 : b1 - c0] = array[..., row:end, b0:b1]
        scratch.relax()
    return out


def map_tiles(stage: TileStage, inputs: Mapping[str, Raster], engine: Engine = THREADS) -> Blocks:
    """Runs a stage over every tile of the inputs, arrays (..., rows, cols) of one frame, and joins the answers.

    A few tiles are under way at a time, so memory is set by the tile; large answers lie in files (`geo.scratch`). A
    tile whose worker is lost runs again on another. An answer of which tiles are kept may be changed only so that a run
    which goes on from them changes it to the same.
    """
    shape = next(iter(inputs.values())).shape[-2:]
    every = list(cut((shape[0], shape[1]), stage.side(engine)))
    shapes = {name: (*([bands] if bands else []), *shape) for name, (_, bands) in stage.outputs.items()}
    dtypes = {name: np.dtype(dtype).type for name, (dtype, _) in stage.outputs.items()}
    done = np.zeros(len(every), np.uint8)
    if engine.kept is not None and shape[0] * shape[1] >= KEPT_FROM:
        arrays, done = engine.kept.stage(shapes, dtypes, len(every))
        whole: Blocks = {name: arrays[name] for name in shapes}
    else:
        whole = {name: scratch.empty(shapes[name], dtypes[name]) for name in shapes}

    def here(number: int) -> None:
        _put(whole, every[number], stage.work(_cut_out(stage, inputs, every[number]), stage.halo))
        done[number] = 1

    def left() -> list[int]:
        return [int(number) for number in np.flatnonzero(done == 0)]

    if engine.client is None or not stage.sent:
        each_tile(here, left(), engine)
        return whole
    for number in _in_our_files(stage, inputs, whole, {number: every[number] for number in left()}, engine):
        done[number] = 1
    for number, answer in _sent(stage, inputs, {number: every[number] for number in left()}, engine):
        _put(whole, every[number], answer)
        done[number] = 1
    return whole


def _cut_out(stage: TileStage, inputs: Arrays, tile: Tile) -> dict[str, scratch.Raster]:
    return {name: block(array, tile, stage.halo, stage.pad) for name, array in inputs.items()}


def _put(whole: Arrays, tile: Tile, answer: Arrays) -> None:
    """Some rows at a time, as `block` reads them."""
    for name, array in whole.items():
        part = array[..., tile.row0 : tile.row1, tile.col0 : tile.col1]
        for row in range(0, tile.row1 - tile.row0, ROWS):
            part[..., row : row + ROWS, :] = answer[name][..., row : row + ROWS, :]
            scratch.relax()


def _in_our_files(
    stage: TileStage, inputs: Arrays, whole: Arrays, tiles: Mapping[int, Tile], engine: Engine
) -> Iterator[int]:
    """The numbers of the tiles that workers of this machine have worked out, in the files of the rasters."""
    from distributed import as_completed  # of the extra `scale`

    try:
        files = [{name: scratch.file_of(array) for name, array in some.items()} for some in (inputs, whole)]
    except OSError:
        return
    inputs_there, whole_there = files
    work = partial(_in_files, stage, inputs_there, whole_there)
    client: Any = engine.client
    futures = client.map(work, list(tiles.values()), pure=False, retries=TRIES)
    numbers = dict(zip(futures, tiles, strict=True))
    completed: Any = as_completed
    for future, seen in completed(numbers, loop=client.loop, with_results=True):
        if seen:
            yield numbers[future]


def _in_files(stage: TileStage, inputs: Files, outputs: Files, tile: Tile) -> bool:
    """On a worker: the tile of rasters in files; false where these are not seen, as on another machine."""
    try:
        given, whole = ({name: file.opened() for name, file in some.items()} for some in (inputs, outputs))
    except OSError:
        return False
    _put(whole, tile, stage.work(_cut_out(stage, given, tile), stage.halo))
    return True


def _sent(stage: TileStage, inputs: Arrays, tiles: Mapping[int, Tile], engine: Engine) -> Iterator[tuple[int, Arrays]]:
    """Tiles and their answers, each of which was sent to a worker."""
    from distributed import as_completed

    client: Any = engine.client
    following = iter(tiles.items())
    under_way: dict[object, int] = {}

    def send(number: int, tile: Tile) -> object:
        blocks = _cut_out(stage, inputs, tile)
        future: object = client.submit(stage.work, blocks, stage.halo, pure=False, retries=TRIES)
        under_way[future] = number
        return future

    most = AHEAD * max(1, sum(client.nthreads().values()))
    # answers come in while those before them are put in their place
    completed: Any = as_completed
    running = completed([send(*one) for one in islice(following, most)], loop=client.loop, with_results=True)
    for future, answer in running:
        yield under_way.pop(future), answer
        for one in islice(following, 1):
            running.add(send(*one))


def each_tile(work: Callable[[int], object], tiles: Iterable[int], engine: Engine = THREADS) -> None:
    """Does something for every number of a tile on this process' threads; the first fault ends it."""
    every = list(tiles)
    if len(every) == 1:
        work(every[0])
        return
    with ThreadPoolExecutor(engine.threads or default_workers()) as pool:
        list(pool.map(work, every))
