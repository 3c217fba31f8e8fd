"""The main job once from end to end against closed forms: area folders in, `habitatmap map`, forage_score out.

Source of the values: the project's own derivations, done in two ways (see test_kernels.py). The scale a of flight is
100 m, that is a median of 167.834699 m; forage is worth 1 on one side and 0 on the other.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import rasterio
from click.testing import CliRunner
from numpy.typing import NDArray

from habitatmap.cli.main import commands
from habitatmap.read.layers import CLASS_COLUMNS

CELL, SIDE, LEFT, TOP = 5.0, 501, 400_000.0, 5_500_000.0
MIDDLE = SIDE // 2
BARE, HALF, FULL = 1, 2, 3
# share of the forage of a full plane, by distance (m) from the edge of a half-plane of forage
HALF_PLANE = {0: 0.5, 25: 0.422370043, 50: 0.352019967, 100: 0.238513073, 200: 0.103421536, 300: 0.042993082}
# and in the middle of a disc, by its radius (m)
DISC = {100: 0.264241118, 200: 0.593994150, 300: 0.800851727, 400: 0.908421806}


def forage_scores(folder: Path, classes: NDArray[np.uint8], columns: list[int]) -> list[float]:
    """forage_score in pools.csv of pools in these columns of the middle row, after `habitatmap map` on the folder."""
    place = rasterio.Affine(CELL, 0, LEFT, 0, -CELL, TOP)
    size = {"width": SIDE, "height": SIDE, "count": 1, "dtype": "uint8", "nodata": 0}
    folder.mkdir()
    with rasterio.open(folder / "land_cover.tif", "w", driver="GTiff", crs="EPSG:25832", transform=place, **size) as to:
        to.write(classes, 1)
    with (folder / "classes.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, CLASS_COLUMNS)
        writer.writeheader()
        for code, label, value in ((BARE, "bare", 0), (HALF, "half", 0.5), (FULL, "full", 1)):
            months = {f"forage_{m:02d}": value for m in range(1, 13)}
            about = {"dead_wood": 0, "basis": "expert judgement", "source": "made up for this test"}
            writer.writerow({"code": code, "label": label, **months, **about})
    rows = [f"p{i},{LEFT + (c + 0.5) * CELL},{TOP - (MIDDLE + 0.5) * CELL}\n" for i, c in enumerate(columns)]
    (folder / "pools.csv").write_text("pool,x,y\n" + "".join(rows))
    (folder / "area.toml").write_text(
        f'crs = "EPSG:25832"\ncell_m = {CELL}\nas_of = 2025-06-01\n[land_cover]\nclasses = "classes.csv"\n'
        "[flight]\nforage_median_m = 167.834699\n[plan]\npools = 0\n"
    )
    done = CliRunner().invoke(commands, ["map", str(folder)])
    assert done.exit_code == 0, done.output
    with (folder / "out" / "pools.csv").open(newline="", encoding="utf-8") as file:
        found = {row["pool"]: float(row["forage_score"]) for row in csv.DictReader(file)}
    return [found[f"p{i}"] for i in range(len(columns))]


def test_beyond_a_straight_edge(tmp_path: Path) -> None:
    classes = np.full((SIDE, SIDE), BARE, dtype=np.uint8)
    classes[:, MIDDLE + 1 :] = FULL
    classes[:, MIDDLE] = HALF  # the edge runs through the middle of this column
    found = forage_scores(tmp_path / "edge", classes, [MIDDLE - d // int(CELL) for d in HALF_PLANE])
    assert found == pytest.approx(list(HALF_PLANE.values()), abs=3e-4)


@pytest.mark.parametrize("radius", DISC)
def test_in_the_middle_of_a_disc(tmp_path: Path, radius: int) -> None:
    across = (np.arange(SIDE) - MIDDLE) * CELL
    classes = np.where(np.hypot(across[:, None], across[None, :]) <= radius, FULL, BARE).astype(np.uint8)
    # whole cells only, so the disc is a little too large or too small
    assert forage_scores(tmp_path / "disc", classes, [MIDDLE]) == pytest.approx([DISC[radius]], abs=1e-3)
