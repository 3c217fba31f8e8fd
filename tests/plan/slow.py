"""The plan the slow, obvious way: every cell by a plain sum over all cells, every set by trying it."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pandas as pd
import scipy.special

# median of the 2-D exponential in scales a, the root of (1 + q) exp(-q) = 1/2 (1.678346990)
MEDIAN_IN_SCALES = float(-1 - scipy.special.lambertw(-1 / (2 * math.e), -1).real)


def weight(row: int, col: int, shape: tuple[int, int], cell_m: float, median_m: float) -> np.ndarray:
    """k(d) = (1 + d/a) exp(-d/a) from one cell to all, up to 10 a (in whole cells, rounded up)."""
    a = median_m / MEDIAN_IN_SCALES
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    d = np.hypot(rows - row, cols - col)
    return np.where(d <= math.ceil(10 * a / cell_m), (1 + d * cell_m / a) * np.exp(-d * cell_m / a), 0.0)


def missed(shape: tuple[int, int], places: pd.DataFrame, cell_m: float, median_m: float) -> np.ndarray:
    """R = prod (1 - p k)."""
    R = np.ones(shape)
    for place in places.itertuples():
        R = R * (1 - place.p * weight(place.row, place.col, shape, cell_m, median_m))
    return R


def far_enough(one: tuple[int, int], other: tuple[int, int], cell_m: float, spacing_m: float) -> bool:
    """At least spacing_m apart, and not the same cell."""
    return one != other and math.dist(one, other) * cell_m >= spacing_m - 1e-6


def greedy(
    w: np.ndarray, places: pd.DataFrame, p: np.ndarray, pools: int, cell_m: float, median_m: float, spacing_m: float
) -> list[tuple[int, int, float]]:
    """(row, col, gain share) of each pick; ties to the lowest row, column."""
    w = np.nan_to_num(w)
    R, picks = missed(w.shape, places, cell_m, median_m), []
    for _ in range(pools):
        best, most = None, 0.0
        for row, col in np.argwhere(~np.isnan(p)).tolist():
            if all(far_enough((row, col), (i, j), cell_m, spacing_m) for i, j, _ in picks):
                gain = p[row, col] * (w * R * weight(row, col, w.shape, cell_m, median_m)).sum()
                if gain > most * (1 + 1e-12):
                    best, most = (row, col), gain
        if best is None:
            break
        picks.append((*best, most / w.sum()))
        R = R * (1 - p[best] * weight(*best, w.shape, cell_m, median_m))
    return picks


def best_of_all(
    w: np.ndarray, places: pd.DataFrame, p: np.ndarray, pools: int, cell_m: float, median_m: float, spacing_m: float
) -> float:
    """The largest gain (share) of any set of at most `pools` allowed cells that keep their spacing."""
    w = np.nan_to_num(w)
    cells = [(i, j) for i, j in np.argwhere(~np.isnan(p)).tolist()]
    fails = [1 - p[c] * weight(*c, w.shape, cell_m, median_m) for c in cells]
    left, best = w * missed(w.shape, places, cell_m, median_m), 0.0
    apart = [[far_enough(a, b, cell_m, spacing_m) for b in cells] for a in cells]
    for size in range(1, pools + 1):
        for chosen in itertools.combinations(range(len(cells)), size):
            if all(apart[a][b] for a, b in itertools.combinations(chosen, 2)):
                best = max(best, float((left * (1 - np.prod([fails[c] for c in chosen], axis=0))).sum()))
    return best / w.sum()


def area(seed: int, most: int = 8) -> dict:
    """A small random area: arguments of `choose` but for the number of pools."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(3, most, 2)
    demand = rng.random((rows, cols)) ** 2
    demand[rng.random((rows, cols)) < 0.2] = np.nan
    probability = [rng.random((rows, cols)), np.full((rows, cols), 1.0), np.full((rows, cols), 0.5)][seed % 3].copy()
    probability[rng.random((rows, cols)) < 0.35] = np.nan
    demand[0, 0], probability[-1, -1] = 0.5, 0.4  # something to reach, and somewhere to stand
    n = int(rng.integers(0, 4))
    places = pd.DataFrame(
        {"row": rng.integers(-3, rows + 3, n), "col": rng.integers(-3, cols + 3, n), "p": rng.random(n)}
    )
    return {
        "demand": demand,
        "places": places,
        "candidates": probability,
        "cell_m": 10.0,
        "median_m": float(rng.choice([8.0, 20.0, 60.0, 250.0])),
        "spacing_m": float(rng.choice([0.0, 10.0, 20.0, 30.0])),
    }
