"""How sure a plan is: where else a site would do as well, and how often it stays when the assumptions move.

The plan is made again for draws of the places' chances, the flight median and the forage of the classes. Doing that
over every cell takes seconds a draw, so a draw chooses among near-candidates only: the best cell of each small block
whose gain comes near that of the plan's last site, and the sites themselves; and it sums forage over blocks of half a
flight scale. Sites are compared by their zones, which are wider than those blocks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
import scipy.ndimage
from numba import njit
from numpy.typing import ArrayLike, NDArray

from habitatmap.engine import default_workers
from habitatmap.errors import InputError
from habitatmap.habitat.kernels import scale_m
from habitatmap.plan.reach import (
    Floats,
    block_sum,
    footprints,
    forage_in_reach,
    in_order,
    multiply,
    multiply_blocks,
    not_reached,
    order_of,
    reach_kernel,
)
from habitatmap.plan.search import Choice, Field, best_cells, check, correlate, too_near

AS_WELL = 0.9  # a zone's cells serve at least this share as well
NEAR_LAST = 0.5  # a near-candidate's first gain over what the plan's last site adds
MOST_NEAR = 4000
LEVELS = ("low", "best", "high")
OWN_DRAWS = 20  # draws of the places' chances alone, for `sensitivity`


class Zone(NamedTuple):
    """Cells around a site: `mask[0, 0]` is the cell (row0, col0)."""

    row0: int
    col0: int
    mask: NDArray[np.bool_]

    def holds(self, row: NDArray[np.int64], col: NDArray[np.int64]) -> bool:
        """Whether any of the cells lies in the zone."""
        i, j = row - self.row0, col - self.col0
        inside = (i >= 0) & (j >= 0) & (i < self.mask.shape[0]) & (j < self.mask.shape[1])
        return bool(self.mask[i[inside], j[inside]].any())

    def on(self, shape: tuple[int, ...]) -> NDArray[np.bool_]:
        """The zone as a mask of the whole frame (rows, cols)."""
        whole = np.zeros(shape, bool)
        whole[self.row0 : self.row0 + self.mask.shape[0], self.col0 : self.col0 + self.mask.shape[1]] = self.mask
        return whole


def zones(
    sites: pd.DataFrame,
    demand: ArrayLike,
    places: pd.DataFrame,
    candidates: ArrayLike,
    *,
    cell_m: float,
    median_m: float,
    spacing_m: float = 0.0,
    taken: pd.DataFrame | None = None,
    least: float = AS_WELL,
    only: Sequence[int] | None = None,
) -> list[Zone]:
    """For each site (row, col) the allowed cells that serve at least `least` as well as it, joined to it.

    The other sites stay where they are, and the spacing to them and to `taken` holds. The other arguments are those of
    `search.choose`. A zone is looked for within the kernel's radius (10 a). `only` names the rows of `sites` to do.
    """
    w, p = check(demand, candidates)
    shape, k = (w.shape[0], w.shape[1]), reach_kernel(median_m, cell_m, (w.shape[0], w.shape[1]))
    r, near = k.shape[0] // 2, too_near(spacing_m, cell_m)
    missed = np.pad(w * not_reached(shape, places, cell_m=cell_m, median_m=median_m), 2 * r)
    cells = list(zip(sites["row"].tolist(), sites["col"].tolist(), strict=True))
    fixed = [] if taken is None else list(zip(taken["row"].tolist(), taken["col"].tolist(), strict=True))
    found = []
    for at in range(len(cells)) if only is None else only:
        row, col = cells[at]
        others = cells[:at] + cells[at + 1 :]
        left = missed[row : row + 4 * r + 1, col : col + 4 * r + 1].copy()
        for i, j in others:
            multiply(left, row - 2 * r, col - 2 * r, i, j, float(p[i, j]), k)
        row0, row1, col0, col1 = (
            max(0, row - r),
            min(shape[0], row + r + 1),
            max(0, col - r),
            min(shape[1], col + r + 1),
        )
        gain = correlate(left, k, workers=1)[row0 - row + r : row1 - row + r, col0 - col + r : col1 - col + r]
        gain = p[row0:row1, col0:col1] * gain
        gain[np.isnan(gain)] = -1.0
        for i, j in others + fixed:
            _close(gain, i - row0, j - col0, near)
        well = gain >= least * gain[row - row0, col - col0] * (1.0 - 1e-12)
        well[row - row0, col - col0] = True
        part, _ = scipy.ndimage.label(well, structure=np.ones((3, 3)))
        found.append(Zone(row0, col0, part == part[row - row0, col - col0]))
    return found


def zone(
    choice: Choice,
    i: int,
    demand: ArrayLike,
    places: pd.DataFrame,
    candidates: ArrayLike,
    *,
    cell_m: float,
    median_m: float,
    spacing_m: float = 0.0,
    taken: pd.DataFrame | None = None,
    least: float = AS_WELL,
) -> NDArray[np.bool_]:
    """The zone of the site in row i of `choice.frame` as a mask of the whole frame; see `zones`."""
    rules = {"cell_m": cell_m, "median_m": median_m, "spacing_m": spacing_m, "least": least}
    found = zones(choice.frame, demand, places, candidates, taken=taken, only=[i], **rules)
    return found[0].on(np.asarray(demand).shape)


def _close(gain: Floats, row: int, col: int, near: NDArray[np.bool_]) -> None:
    """Makes the cells that are too near to (row, col) worthless."""
    q = near.shape[0] // 2
    i0, i1, j0, j1 = max(0, row - q), min(gain.shape[0], row + q + 1), max(0, col - q), min(gain.shape[1], col + q + 1)
    if i0 < i1 and j0 < j1:
        gain[i0:i1, j0:j1][near[i0 - row + q : i1 - row + q, j0 - col + q : j1 - col + q]] = -1.0


@dataclass(frozen=True)
class Robustness:
    """How often the sites of a plan stay, and what is in reach, when the assumptions move."""

    share: Floats
    """For each site of the plan: the share of draws that put a site into its zone (0-1)."""
    draws: pd.DataFrame
    """One row a draw: median_m, level (of the forage), kept (share of the sites), now, with_plan (of the forage)."""
    sensitivity: pd.DataFrame
    """One assumption moved at a time: assumption, level, kept, now, with_plan; the first row is the plan's own."""


@dataclass(frozen=True)
class _Scene:
    """What one flight median needs: footprints, and by level of forage the block sums."""

    median_m: float
    size: int
    prints: Floats
    demand: dict[str, Floats]


def robustness(
    choice: Choice,
    demand: ArrayLike,
    places: pd.DataFrame,
    candidates: ArrayLike,
    *,
    cell_m: float,
    median_m: float,
    spacing_m: float = 0.0,
    taken: pd.DataFrame | None = None,
    draws: ArrayLike | None = None,
    odds: ArrayLike | None = None,
    low: ArrayLike | None = None,
    high: ArrayLike | None = None,
    medians: Sequence[float] | None = None,
    count: int = 200,
    seed: int = 1,
    workers: int | None = None,
) -> Robustness:
    """Makes the plan of `choice.frame` again for draws of its assumptions.

    `draws` (n, places): chances of the places, in the rows' order; None = they are certain. `odds` (n): a factor on the
    odds of every candidate's p in each draw. `low` and `high`: forage from the low and high class values, as `demand`.
    `medians`: flight medians (metres), default 0.4, 1 and 2 times `median_m` (100, 250, 500 m for 250 m). Medians and
    levels are dealt out evenly and in an order set by `seed`. Without `draws` there are `count` draws. A draw whose
    assumptions are all the plan's own keeps every site, so that ranges of no width give 1.
    """
    w, p = check(demand, candidates)
    chances = None if draws is None else np.atleast_2d(np.asarray(draws, dtype=np.float64))
    n = count if chances is None else len(chances)
    if chances is not None and chances.shape[1] != len(places):
        raise InputError(f"draws has {chances.shape[1]} columns for {len(places)} places: one column a place is needed")
    factor = np.ones(n) if odds is None else np.asarray(odds, dtype=np.float64)
    levels = {"best": w} | {
        name: np.nan_to_num(np.asarray(field, dtype=np.float64))
        for name, field in (("low", low), ("high", high))
        if field is not None
    }
    spans = sorted({float(median_m), *(medians or (0.4 * median_m, median_m, 2.0 * median_m))})
    scenes = {m: _scene(m, cell_m, levels) for m in spans}
    row, col, base = in_order(places)
    ordered = None if chances is None else np.ascontiguousarray(chances[:, order_of(places)])
    sites = choice.frame
    areas = zones(sites, demand, places, candidates, cell_m=cell_m, median_m=median_m, spacing_m=spacing_m, taken=taken)
    near = _near_candidates(w, places, p, sites, scenes[float(median_m)].size, cell_m, median_m, spacing_m, taken)
    n_row, n_col = near[:, 0].copy(), near[:, 1].copy()
    s_row, s_col = sites["row"].to_numpy(np.int64), sites["col"].to_numpy(np.int64)
    apart = (spacing_m / cell_m) ** 2 * (1.0 - 1e-9)

    def again(median: float, level: str, chance: Floats, f: float) -> tuple[NDArray[np.bool_], float, float]:
        """Which sites stay, and forage in reach (on blocks) now and with the plan as it stands."""
        scene = scenes[median]
        forage = scene.demand[level]
        R = np.ones_like(forage)
        multiply_blocks(R, row, col, chance, scene.prints, scene.size)
        total = float(forage.sum())
        now = float((forage * (1.0 - R)).sum()) / total if total > 0 else math.nan
        with_plan = R.copy()
        multiply_blocks(with_plan, s_row, s_col, _shifted(p[s_row, s_col], f), scene.prints, scene.size)
        then = float((forage * (1.0 - with_plan)).sum()) / total if total > 0 else math.nan
        same = median == median_m and level == "best" and f == 1.0 and np.array_equal(chance, base)
        if same or total <= 0:
            return np.ones(len(sites), bool), now, then
        chosen = _shifted(p[n_row, n_col], f)
        hopes = chosen * most[median, level]
        picked = _plan_on_blocks(forage * R, hopes, scene.prints, scene.size, n_row, n_col, chosen, len(sites), apart)
        return np.array([area.holds(n_row[picked], n_col[picked]) for area in areas], dtype=bool), now, then

    # what a near-candidate gains where every place is as rarely occupied as in any draw: no draw can give it more
    rarest = base if ordered is None else np.minimum(base, ordered.min(axis=0))
    most = {(m, level): _gains(scenes[m], level, row, col, rarest, n_row, n_col) for m in spans for level in levels}
    rng = np.random.default_rng(seed)
    of_median = [spans[i] for i in rng.permutation(np.arange(n) % len(spans))]
    names = [name for name in LEVELS if name in levels]
    of_level = [names[i] for i in rng.permutation(np.arange(n) % len(names))]
    runs = [(of_median[d], of_level[d], base if ordered is None else ordered[d], float(factor[d])) for d in range(n)]
    alone: list[tuple[str, str, tuple[float, str, Floats, float]]] = [
        ("none", "as planned", (float(median_m), "best", base, 1.0))
    ]
    alone += [("flight median", f"{m:g} m", (m, "best", base, 1.0)) for m in spans if m != median_m]
    alone += [("forage of classes", name, (float(median_m), name, base, 1.0)) for name in names if name != "best"]
    if ordered is not None:
        alone += [
            ("occupancy", f"draw {d + 1}", (float(median_m), "best", ordered[d], 1.0)) for d in range(min(n, OWN_DRAWS))
        ]
    with ThreadPoolExecutor(workers or default_workers()) as pool:
        answers = list(pool.map(lambda run: again(*run), runs + [run for _, _, run in alone]))
    # blocks to cells: as much as at the plan's own assumptions
    fine = forage_in_reach(w, not_reached((w.shape[0], w.shape[1]), places, cell_m=cell_m, median_m=median_m))
    _, now, then = answers[n]
    to_now, to_then = (fine / now if now > 0 else 1.0), (choice.with_plan / then if then > 0 else 1.0)
    table = [
        (kept.mean() if len(kept) else math.nan, min(1.0, a * to_now), min(1.0, b * to_then)) for kept, a, b in answers
    ]
    drawn = pd.DataFrame(table[:n], columns=["kept", "now", "with_plan"])
    drawn.insert(0, "median_m", of_median)
    drawn.insert(1, "level", of_level)
    moved = pd.DataFrame(table[n:], columns=["kept", "now", "with_plan"])
    moved.insert(0, "assumption", [a for a, _, _ in alone])
    moved.insert(1, "level", [b for _, b, _ in alone])
    stays = np.array([kept for kept, _, _ in answers[:n]], dtype=np.float64).reshape(n, len(sites))
    return Robustness(stays.mean(axis=0), drawn, moved)


def _scene(median_m: float, cell_m: float, levels: dict[str, Floats]) -> _Scene:
    size = max(1, int(scale_m(median_m) / 2.0 / cell_m))
    return _Scene(
        median_m,
        size,
        footprints(median_m, cell_m, size),
        {name: block_sum(field, size) for name, field in levels.items()},
    )


def _shifted(p: Floats, factor: float) -> Floats:
    """Chances with their odds times a factor."""
    return p * factor / (1.0 - p + p * factor)


def _near_candidates(
    w: Floats,
    places: pd.DataFrame,
    p: Floats,
    sites: pd.DataFrame,
    size: int,
    cell_m: float,
    median_m: float,
    spacing_m: float,
    taken: pd.DataFrame | None,
) -> NDArray[np.int64]:
    """Cells (row, col) that a draw may choose, in the order row, col: the best of each block, and the sites."""
    shape = (w.shape[0], w.shape[1])
    missed = w * not_reached(shape, places, cell_m=cell_m, median_m=median_m)
    field = Field(missed, p, reach_kernel(median_m, cell_m, shape), cell_m, spacing_m, taken)
    gain = np.where(field.free, p * field.C, np.nan)
    own = sites[["row", "col"]].to_numpy(np.int64)
    least = NEAR_LAST * float(sites["gain_cells"].iloc[-1]) if len(sites) else 0.0
    row, col = best_cells(gain, size, max(least, 0.0), MOST_NEAR)
    return np.unique(np.vstack([own, np.column_stack([row, col])]), axis=0)


def _gains(
    scene: _Scene,
    level: str,
    row: NDArray[np.int64],
    col: NDArray[np.int64],
    p: Floats,
    n_row: NDArray[np.int64],
    n_col: NDArray[np.int64],
) -> Floats:
    """What a certain pool in each of the cells (n_row, n_col) adds to places (row, col, p)."""
    left = scene.demand[level].copy()
    multiply_blocks(left, row, col, p, scene.prints, scene.size)
    cells = zip(n_row.tolist(), n_col.tolist(), strict=True)
    return np.array([_gain_on_blocks(left, scene.prints, scene.size, i, j) for i, j in cells])


@njit(cache=True, nogil=True)
def _gain_on_blocks(left: Floats, prints: Floats, size: int, row: int, col: int) -> float:
    """sum k left around the cell (row, col), left being sums over blocks."""
    r = prints.shape[1] // 2
    bi, bj = row // size, col // size
    k = prints[(row - bi * size) * size + col - bj * size]
    total = 0.0
    for i in range(max(0, bi - r), min(left.shape[0], bi + r + 1)):
        for j in range(max(0, bj - r), min(left.shape[1], bj + r + 1)):
            total += k[i - bi + r, j - bj + r] * left[i, j]
    return total


@njit(cache=True, nogil=True)
def _plan_on_blocks(
    left: Floats,
    gain: Floats,
    prints: Floats,
    size: int,
    row: NDArray[np.int64],
    col: NDArray[np.int64],
    p: Floats,
    pools: int,
    apart: float,
) -> NDArray[np.int64]:
    """Greedy among the cells (row, col): which of them are chosen.

    `gain` is at least what each cell adds; it is reckoned anew only where it is on top. Changes `left` and `gain`.
    """
    n = row.shape[0]
    sure, out = np.full(n, -1), np.empty(pools, np.int64)
    for turn in range(pools):
        while True:
            top = np.argmax(gain)
            if sure[top] == turn or gain[top] <= 0.0:
                break
            gain[top] = p[top] * _gain_on_blocks(left, prints, size, row[top], col[top])
            sure[top] = turn
        if gain[top] <= 0.0:
            return out[:turn]
        out[turn] = top
        multiply_blocks(left, row[top : top + 1], col[top : top + 1], p[top : top + 1], prints, size)
        for c in range(n):
            if c == top or (row[c] - row[top]) ** 2 + (col[c] - col[top]) ** 2 < apart:
                gain[c] = -1.0
    return out
