"""The heart of the job as a few dozen lines of numpy and scipy do it: what the benchmarks are compared with.

Season mean and its kernel mean, distances to forage and dead wood, reach of the pools, and greedy sites on a lattice of
100 m with the forage summed to 50 m. One whole array after the other, in double precision.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
from scipy.ndimage import distance_transform_edt
from scipy.signal import fftconvolve
from scipy.spatial import cKDTree

from habitatmap.geo.flight import FlightKernel
from habitatmap.read.layers import load_class_table
from tests.benchmarks.areas import CELL_M, SOUTH, WEST

MEDIAN_M, PLAIN_SITES = 250.0, 25


def plain_town(folder: Path, sites: int = PLAIN_SITES) -> float:
    """Forage that the sites add (cells)."""
    with rasterio.open(folder / "land_cover.tif") as raster:
        classes = raster.read(1)
    table = load_class_table("worldcover")
    months, wood_of = np.full((256, 12), np.nan), np.full(256, np.nan)
    for _, row in table.iterrows():
        months[int(row["code"])] = row[[f"forage_{m:02d}" for m in range(1, 13)]].astype(float)
        wood_of[int(row["code"])] = row["dead_wood"]
    by_month = np.stack([months[classes, m] for m in range(2, 10)])
    season, wood = np.nanmean(by_month, axis=0), wood_of[classes]
    known = ~np.isnan(season)
    kernel = FlightKernel(MEDIAN_M).stamp(CELL_M, "access")
    share = fftconvolve(known.astype(float), kernel, mode="same")
    for field in (season, wood):
        fftconvolve(np.nan_to_num(field), kernel, mode="same") / np.maximum(share, 1e-9)
    distance_transform_edt(~(season >= 0.4))
    distance_transform_edt(~(np.nan_to_num(wood) >= 0.5))

    reach = FlightKernel(MEDIAN_M).stamp(CELL_M, "reach")
    r, side = len(reach) // 2, len(classes)
    missed = np.ones(classes.shape)
    pools = pd.read_csv(folder / "pools.csv")
    rows = ((SOUTH + side * CELL_M - pools["y"]) // CELL_M).astype(int)
    cols = ((pools["x"] - WEST) // CELL_M).astype(int)
    for i, j in zip(rows, cols, strict=True):
        a, b, c, d = max(0, i - r), min(side, i + r + 1), max(0, j - r), min(side, j + r + 1)
        missed[a:b, c:d] *= 1 - 0.5 * reach[a - i + r : b - i + r, c - j + r : d - j + r]

    block, step = 5, 10
    whole = side // block * block
    left = (np.nan_to_num(season) * missed)[:whole, :whole].reshape(whole // block, block, whole // block, block)
    demand = left.sum(axis=(1, 3))
    points = np.argwhere(demand > 0)
    weight = demand[demand > 0]
    cells = np.argwhere(known[::step, ::step]) * step
    scale = FlightKernel(MEDIAN_M).scale_m
    trees = [cKDTree(of * CELL_M) for of in (cells, points * block + (block - 1) / 2)]
    links = trees[0].sparse_distance_matrix(trees[1], 7 * scale, output_type="coo_matrix").tocsr()
    links.data = 0.5 * (1 + links.data / scale) * np.exp(-links.data / scale)
    total = 0.0
    for _ in range(sites):
        gains = links @ weight
        best = int(gains.argmax())
        total += float(gains[best])
        part = slice(links.indptr[best], links.indptr[best + 1])
        weight[links.indices[part]] *= 1 - links.data[part]
    return total
