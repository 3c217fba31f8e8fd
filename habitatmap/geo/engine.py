"""Where tiles run: threads of this process, or a Dask cluster that already exists.

A stage is a function of one tile and its halo. It gets blocks that are `halo` cells larger on every side (filled with
`pad` beyond the array's edge) and returns the blocks of the tile itself, so its answer cannot depend on the tiling.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from habitatmap.geo.grid import Tile, cut

Blocks = dict[str, NDArray[Any]]
Stage = Callable[..., Blocks]


def default_workers() -> int:
    """How many threads to use: HABITATMAP_THREADS where set, else the cores this process may use."""
    stated = os.environ.get("HABITATMAP_THREADS", "")
    if stated.isdigit() and int(stated) > 0:
        return int(stated)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1)


def block(array: NDArray[Any], tile: Tile, halo: int, pad: float) -> NDArray[Any]:
    """The tile of an array (..., rows, cols) with `halo` cells more on every side; beyond the edge stands `pad`."""
    rows, cols = array.shape[-2:]
    r0, r1, c0, c1 = tile.row0 - halo, tile.row1 + halo, tile.col0 - halo, tile.col1 + halo
    if r0 >= 0 and c0 >= 0 and r1 <= rows and c1 <= cols:
        return array[..., r0:r1, c0:c1]
    out = np.full((*array.shape[:-2], r1 - r0, c1 - c0), pad, dtype=array.dtype)
    a0, a1, b0, b1 = max(r0, 0), min(r1, rows), max(c0, 0), min(c1, cols)
    out[..., a0 - r0 : a1 - r0, b0 - c0 : b1 - c0] = array[..., a0:a1, b0:b1]
    return out


def map_tiles(
    stage: Stage,
    inputs: Mapping[str, NDArray[Any]],
    outputs: Mapping[str, tuple[DTypeLike, int]],
    *,
    halo: int = 0,
    pad: Mapping[str, float] | None = None,
    tile_cells: int = 512,
    workers: int | None = None,
    client: Any = None,
    progress: Callable[[int, int], None] | None = None,
    **constants: Any,
) -> Blocks:
    """Runs `stage(blocks, halo, **constants) -> blocks` over every tile and puts the answers together.

    `inputs` are arrays (..., rows, cols) of one frame; `outputs` gives for each name its dtype and its number of bands
    (0 = a plain rows x cols array). `pad` is what stands beyond the edge, by input name (default 0). With `client` (a
    `distributed.Client`) the tiles run there, and `stage` must live in an importable module.
    """
    shape = next(iter(inputs.values())).shape[-2:]
    fill = pad or {}
    whole: Blocks = {n: np.empty((*([b] if b else []), *shape), dtype=t) for n, (t, b) in outputs.items()}
    todo = list(cut((shape[0], shape[1]), tile_cells))

    def cut_out(tile: Tile) -> Blocks:
        return {n: block(a, tile, halo, fill.get(n, 0)) for n, a in inputs.items()}

    def put(tile: Tile, answer: Blocks) -> None:
        for n in outputs:
            whole[n][..., tile.row0 : tile.row1, tile.col0 : tile.col1] = answer[n]

    if client is not None:
        from distributed import as_completed as dask_as_completed

        futures = {client.submit(stage, cut_out(t), halo, pure=False, **constants): t for t in todo}
        for done, (future, answer) in enumerate(dask_as_completed(futures, with_results=True), 1):
            put(futures[future], answer)
            if progress:
                progress(done, len(todo))
        return whole

    with ThreadPoolExecutor(workers or default_workers()) as pool:
        jobs = {pool.submit(lambda t: put(t, stage(cut_out(t), halo, **constants)), t): t for t in todo}
        for done, job in enumerate(as_completed(jobs), 1):
            job.result()
            if progress:
                progress(done, len(todo))
    return whole
