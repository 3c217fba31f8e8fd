"""Invented areas of any size for the benchmarks: patches of land cover, a boundary, land, pools with visits and trees.

Patterns are sums of a few waves of random direction, worked out row by row, so that an area of a country takes no more
memory than one of a park; a larger area has more of the same, and land that grows with it.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from rasterio.transform import from_origin
from rasterio.windows import Window

CRS, CELL_M, WEST, SOUTH = "EPSG:25832", 10.0, 400_000.0, 5_700_000.0
CODES = np.array([10, 30, 40, 50, 80, 20], np.uint8)  # WorldCover: tree cover, grass, crops, built-up, water, shrubs
SHARES = np.array([0.2, 0.3, 0.2, 0.2, 0.03, 0.07])
GENERA = ("Quercus", "Fagus", "Tilia", "Fraxinus", "Aesculus", "Salix", "Acer", "Prunus")
BLOCK = 512


def invent(
    folder: Path, side: int, *, pools: int = 300, visits: int = 900, trees: int = 4000, land: int = 2000, plan: int = 10
) -> Path:
    """An area folder of side x side cells; the same one each time."""
    folder.mkdir(parents=True)
    rng, metres = np.random.default_rng(7), side * CELL_M
    write_cover(folder / "land_cover.tif", side, rng)

    def spots(n: int, margin: float = 0.03) -> np.ndarray:
        return np.asarray((rng.uniform(margin, 1 - margin, (n, 2)) * metres + [WEST, SOUTH]).round(1))

    xy, names = spots(pools, 0.1), np.array([f"P{n:05d}" for n in range(pools)])
    frame = pd.DataFrame({"pool": names, "x": xy[:, 0], "y": xy[:, 1], "set_out": "2024-03-01"})
    frame.assign(private=rng.choice(["yes", "no"], pools)).to_csv(folder / "pools.csv", index=False)
    who = rng.integers(0, pools, visits)
    seen = (rng.random(pools) < 0.5)[who] & (rng.random(visits) < 0.6)
    day = pd.Timestamp("2025-09-01") + pd.to_timedelta(rng.integers(0, 40, visits), unit="D")
    told = {"pool": names[who], "date": day.strftime("%Y-%m-%d"), "outcome": np.where(seen, "larvae", "none seen")}
    pd.DataFrame(told).to_csv(folder / "visits.csv", index=False)
    xy = spots(trees)
    stand = {"genus": rng.choice(GENERA, trees), "diameter_cm": rng.gamma(4, 12, trees).round(), "condition": "living"}
    pd.DataFrame(stand).assign(x=xy[:, 0], y=xy[:, 1]).to_csv(folder / "trees.csv", index=False)
    plots(land, metres, rng).to_file(folder / "land.gpkg")
    round_about = shapely.Point(WEST + metres / 2, SOUTH + metres / 2).buffer(0.47 * metres)
    gpd.GeoDataFrame({"name": ["all of it"]}, geometry=[round_about], crs=CRS).to_file(folder / "boundary.gpkg")
    head = f'title = "Invented, {side} x {side} cells"\ncrs = "{CRS}"\nas_of = 2025-11-01\n'
    (folder / "area.toml").write_text(f"{head}[plan]\npools = {plan}\n", encoding="utf-8")
    return folder


def write_cover(path: Path, side: int, rng: np.random.Generator) -> None:
    """Land cover in patches of some hundred metres, block by block."""
    turn, length = rng.uniform(0, 2 * np.pi, 12), rng.uniform(15, 90, 12)  # of the waves; cells
    across, down, phase = np.cos(turn) / length, np.sin(turn) / length, rng.uniform(0, 2 * np.pi, 12)
    ends = np.quantile(_waves(np.arange(600), np.arange(600), across, down, phase), np.cumsum(SHARES)[:-1])
    profile = {"driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "uint8", "crs": CRS, "nodata": 0}
    profile |= {"tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK, "compress": "deflate", "bigtiff": "if_safer"}
    with rasterio.open(path, "w", transform=from_origin(WEST, SOUTH + side * CELL_M, CELL_M, CELL_M), **profile) as out:
        for row in range(0, side, BLOCK):
            rows = np.arange(row, min(row + BLOCK, side))
            for col in range(0, side, 8 * BLOCK):
                cols = np.arange(col, min(col + 8 * BLOCK, side))
                values = CODES[np.digitize(_waves(rows, cols, across, down, phase), ends)]
                values[(rows[:, None] // 97 + cols // 89) % 101 == 0] = 0
                out.write(values, 1, window=Window(col, row, len(cols), len(rows)))


def _waves(rows: np.ndarray, cols: np.ndarray, across: np.ndarray, down: np.ndarray, phase: np.ndarray) -> np.ndarray:
    """cos(a + b) = cos a cos b - sin a sin b: two matrix products for all waves."""
    a, b = rows[:, None] * down + phase, cols[:, None] * across
    return np.asarray(np.cos(a) @ np.cos(b).T - np.sin(a) @ np.sin(b).T, dtype=np.float32)


def plots(n: int, metres: float, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Plots on a lattice, on some three fifths of the land, with owners who have ten of them each."""
    across = int(np.ceil(np.sqrt(n)))
    step, at = metres / across, np.arange(n)
    left, low = WEST + at % across * step, SOUTH + at // across * step
    wide, high = rng.uniform(0.6, 0.95, (2, n)) * step
    return gpd.GeoDataFrame(
        {
            "name": [f"plot {one}" for one in at],
            "kind": rng.choice(["park", "garden", "cemetery", "wood"], n),
            "consent": rng.choice(["yes", "ask", "no"], n, p=[0.4, 0.4, 0.2]),
            "owner": [f"owner {one}" for one in rng.integers(0, max(1, n // 10), n)],
        },
        geometry=shapely.box(left, low, left + wide, low + high),
        crs=CRS,
    )
