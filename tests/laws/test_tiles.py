"""A town worked out by small tiles and bands of rasters in files is the town worked out in one piece."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import box

from habitatmap.area import Area, open_area
from habitatmap.geo import scratch
from habitatmap.geo.engine import Engine, running_on
from habitatmap.job import evaluate
from habitatmap.result import Result
from tests.areas import LEFT, TOP, centre, class_table, csv_text, write_area

DAILY, ALL = 3, 400
TABLE = class_table({1: 0.0, 2: 0.3, 3: 0.8, 4: None}, {1: 0.0, 2: 0.2, 3: 0.9})
SEEDS = [seed if seed < DAILY else pytest.param(seed, marks=pytest.mark.slow) for seed in range(ALL)]


def town(folder: Path, seed: int) -> Area:
    """A random town: of any shape, with holes in its data, sometimes with a boundary, land, trees and a budget."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(1, 45, 2)
    classes = rng.choice(np.array([0, 1, 2, 3, 4], np.uint8), (rows, cols), p=[0.1, 0.3, 0.35, 0.2, 0.05])
    if seed % 50 == 49:
        classes[:] = 2  # all ground alike: every cell is a tie
    classes[rng.integers(rows), rng.integers(cols)] = 3

    def spots(n: int) -> list[tuple[float, float]]:
        return [centre(*at) for at in zip(rng.uniform(0, rows, n), rng.uniform(0, cols, n), strict=True)]

    pools = [(f"P{n}", *at) for n, at in enumerate(spots(int(rng.integers(0, 7))))]
    days = [f"2025-0{month}-03" for month in (4, 5, 6)]
    found = ["larvae", "none seen"]
    visits = [(str(name), str(rng.choice(days)), str(rng.choice(found))) for name, _, _ in pools for _ in range(2)]
    trees = csv_text("genus,diameter_cm,x,y", [("Fagus", int(rng.integers(20, 140)), *at) for at in spots(9)])
    right, bottom = LEFT + cols * 10.0, TOP - rows * 10.0
    plots = [
        (
            f"plot {n}",
            str(rng.choice(["yes", "ask", "no"])),
            box(x, y, x + rng.uniform(20, 200), y + rng.uniform(20, 200)),
        )
        for n, (x, y) in enumerate(spots(6))
    ]
    toml = f"[plan]\npools = {rng.integers(0, 5)}\nspacing_m = {rng.choice([0, 40])}\n"
    toml += f'objective = "{"served" if seed % 4 == 3 else "reach"}"\n'
    toml += "[flight]\nforage_median_m = 60\ndispersal_median_m = 90\n"
    toml += "[gap]\nleast_ha = 0.05\n"
    return open_area(
        write_area(
            folder,
            classes,
            TABLE,
            pools=pools,
            visits=visits,
            trees=trees,
            land=plots if rng.random() < 0.6 else (),
            boundary=box(LEFT + 30, bottom, right, TOP - 20) if rng.random() < 0.5 and rows > 4 and cols > 5 else None,
            toml=toml,
        )
    )


def by_tiles(folder: Path, seed: int) -> Result:
    """The same town, every raster in a file, in bands of a few rows and tiles of a few cells."""
    with pytest.MonkeyPatch.context() as patch, running_on(Engine(threads=2, tile_cells=int(7 + seed % 11))):
        patch.setattr(scratch, "LARGE", 0)
        patch.setattr(scratch, "BAND_CELLS", 64)
        patch.setattr(scratch, "HELD", 0)
        return evaluate(town(folder, seed), lambda _: None)


@pytest.mark.parametrize("seed", SEEDS)
def test_tiles_give_the_answer_of_the_whole(seed: int, tmp_path: Path) -> None:
    whole = evaluate(town(tmp_path / "whole", seed), lambda _: None)
    tiles = by_tiles(tmp_path / "tiles", seed)
    assert tiles.plan[["id", "x", "y"]].to_dict() == whole.plan[["id", "x", "y"]].to_dict()
    np.testing.assert_allclose(tiles.plan["gain"].astype(float), whole.plan["gain"].astype(float), rtol=1e-9)
    for name, raster in whole.rasters.items():
        np.testing.assert_allclose(tiles.rasters[name], raster, atol=1e-5, err_msg=name)
    assert tiles.gaps.geometry.to_wkb().tolist() == whole.gaps.geometry.to_wkb().tolist()
    assert tiles.gaps["lost_as"].tolist() == whole.gaps["lost_as"].tolist()
    np.testing.assert_allclose(tiles.gaps["share"].astype(float), whole.gaps["share"].astype(float), rtol=1e-9)
    assert tiles.candidates_lost.equals(whole.candidates_lost)
    assert tiles.ask_first["place"].map(str).tolist() == whole.ask_first["place"].map(str).tolist()
    for limit in ("now", "with_plan", "upper_bound"):
        one, other = (getattr(of.figures.forage_in_reach, limit) for of in (tiles, whole))
        assert one == pytest.approx(other, rel=2e-4, nan_ok=True)
