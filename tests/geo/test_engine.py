"""Tiles: what a block holds, and that pieces and threads change nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from habitatmap.geo import engine
from habitatmap.geo.engine import (
    Blocks,
    Engine,
    KeptTiles,
    TileStage,
    block,
    chosen,
    default_workers,
    map_tiles,
    running_on,
)
from habitatmap.geo.grid import Tile


def test_a_block_has_its_halo_and_pads_beyond_the_edge() -> None:
    array = np.arange(12).reshape(3, 4)
    assert block(array, Tile(1, 2, 1, 3), 1, -1).tolist() == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9, 10, 11]]
    assert block(array, Tile(0, 1, 0, 1), 1, -1).tolist() == [[-1, -1, -1], [-1, 0, 1], [-1, 4, 5]]
    assert block(array, Tile(2, 3, 3, 4), 2, -1).tolist() == [
        [1, 2, 3, -1, -1],
        [5, 6, 7, -1, -1],
        [9, 10, 11, -1, -1],
        [-1, -1, -1, -1, -1],
        [-1, -1, -1, -1, -1],
    ]
    bands = np.stack([array, array * 10])
    assert block(bands, Tile(0, 1, 3, 4), 1, 0)[:, 1, 1].tolist() == [3, 30]


def around(blocks: Blocks, halo: int) -> Blocks:
    """The sum of a cell and its eight neighbours; and of two bands."""
    values = blocks["values"]
    rows, cols = values.shape[0] - 2, values.shape[1] - 2
    total = sum(values[i : i + rows, j : j + cols] for i in range(3) for j in range(3))
    return {"sum": np.asarray(total), "twice": np.stack([total, total * 2])}


@pytest.mark.parametrize("tile_cells", [None, 1, 2, 5])
def test_the_answer_does_not_depend_on_the_tiles(tile_cells: int | None) -> None:
    values = np.random.default_rng(1).random((7, 5))
    padded = np.pad(values, 1, constant_values=2.0)
    expected = sum(padded[i : i + 7, j : j + 5] for i in range(3) for j in range(3))
    stage = TileStage(around, {"sum": (np.float64, 0), "twice": (np.float32, 2)}, halo=1, pad=2.0, tile_cells=4)
    answer = map_tiles(stage, {"values": values}, Engine(threads=2, tile_cells=tile_cells))
    np.testing.assert_allclose(answer["sum"], expected)
    np.testing.assert_allclose(answer["twice"][1], 2 * expected, rtol=1e-6)
    assert answer["twice"].dtype == np.float32


def test_a_fault_in_a_tile_is_a_fault() -> None:
    def broken(blocks: Blocks, halo: int) -> Blocks:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        map_tiles(TileStage(broken, {"sum": (np.float64, 0)}), {"values": np.ones((3, 3))})


class KilledError(Exception):
    """What ends a run in these tests."""


def test_a_run_that_was_ended_goes_on_from_its_tiles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "KEPT_FROM", 0)
    values = np.random.default_rng(1).random((20, 10))
    done: list[int] = []

    def doubled(blocks: Blocks, halo: int) -> Blocks:
        if len(done) == ends_after:
            raise KilledError
        done.append(1)
        return {"twice": blocks["values"] * 2}

    def run(key: str, resume: bool) -> dict[str, np.ndarray]:
        kept = KeptTiles(tmp_path / "tiles", key, resume)
        stage = TileStage(doubled, {"twice": (np.float64, 0)}, tile_cells=5)
        return map_tiles(stage, {"values": values}, Engine(threads=1, kept=kept))

    ends_after = 3
    with pytest.raises(KilledError):
        run("of today", resume=False)
    ends_after, done = -1, []
    assert np.array_equal(run("of today", resume=True)["twice"], values * 2)
    assert len(done) == 8 - 3
    for key, resume in (("of another run", True), ("of another run", False)):
        done = []
        run(key, resume)
        assert len(done) == 8, "what another run has left, or one that is not to go on, is done again"


def test_tiles_run_where_was_chosen() -> None:
    assert chosen().threads is None
    with running_on(Engine(threads=3)):
        assert chosen().threads == 3
    assert chosen().threads is None


def test_threads_may_be_stated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HABITATMAP_THREADS", "3")
    assert default_workers() == 3
    for text in ("", "0", "many"):
        monkeypatch.setenv("HABITATMAP_THREADS", text)
        assert default_workers() >= 1
