"""Where tiles run: threads of this process, or a Dask cluster that already exists.

A stage is a function of one tile and its halo. It gets blocks that are `halo` cells larger on every side (filled with
`pad` beyond the array's edge) and returns the blocks of the tile itself, so its answer cannot depend on the tiling.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import DTypeLike, NDArray
from threadpoolctl import threadpool_limits

from habitatmap.geo.grid import Tile, cut

if TYPE_CHECKING:
    from distributed import Client

Raster = NDArray[Any]  # of any type of number
Blocks = dict[str, Raster]


@dataclass(frozen=True)
class Engine:
    """Where tiles run, and how large they are; neither changes an answer by more than rounding.

    threads: how many (None = `default_workers`). tile_cells: longest side of a tile (None = what suits the stage). With
    a `client` the tiles run on its cluster, and the stage's function must live in an importable module.
    """

    threads: int | None = None
    tile_cells: int | None = None
    client: Client | None = None


THREADS = Engine()


@dataclass(frozen=True)
class TileStage:
    """What is done to each tile: `work(blocks, halo)` gives the blocks of `outputs`.

    outputs: for each name its dtype and its number of bands (0 = a plain rows x cols array). pad: what stands beyond
    the array's edge. tile_cells: the side of a tile that suits the stage.
    """

    work: Callable[[Blocks, int], Blocks]
    outputs: Mapping[str, tuple[DTypeLike, int]]
    halo: int = 0
    pad: float = 0
    tile_cells: int = 512


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
    """The tile of an array (..., rows, cols) with `halo` cells more on every side; beyond the edge stands `pad`."""
    rows, cols = array.shape[-2:]
    r0, r1, c0, c1 = tile.row0 - halo, tile.row1 + halo, tile.col0 - halo, tile.col1 + halo
    if r0 >= 0 and c0 >= 0 and r1 <= rows and c1 <= cols:
        return array[..., r0:r1, c0:c1]
    out = np.full((*array.shape[:-2], r1 - r0, c1 - c0), pad, dtype=array.dtype)
    a0, a1, b0, b1 = max(r0, 0), min(r1, rows), max(c0, 0), min(c1, cols)
    out[..., a0 - r0 : a1 - r0, b0 - c0 : b1 - c0] = array[..., a0:a1, b0:b1]
    return out


def map_tiles(stage: TileStage, inputs: Mapping[str, Raster], engine: Engine = THREADS) -> Blocks:
    """Runs a stage over every tile of the inputs, arrays (..., rows, cols) of one frame, and joins the answers."""
    shape = next(iter(inputs.values())).shape[-2:]
    tiles = list(cut((shape[0], shape[1]), engine.tile_cells or stage.tile_cells))
    whole: Blocks = {n: np.empty((*([b] if b else []), *shape), dtype=t) for n, (t, b) in stage.outputs.items()}

    def cut_out(tile: Tile) -> Blocks:
        return {name: block(array, tile, stage.halo, stage.pad) for name, array in inputs.items()}

    def put(tile: Tile, answer: Blocks) -> None:
        for name in whole:
            whole[name][..., tile.row0 : tile.row1, tile.col0 : tile.col1] = answer[name]

    if engine.client is None:
        with ThreadPoolExecutor(engine.threads or default_workers()) as pool:
            list(pool.map(lambda tile: put(tile, stage.work(cut_out(tile), stage.halo)), tiles))
        return whole

    futures = {engine.client.submit(stage.work, cut_out(tile), stage.halo, pure=False): tile for tile in tiles}
    for future, tile in futures.items():
        put(tile, future.result())
    return whole
