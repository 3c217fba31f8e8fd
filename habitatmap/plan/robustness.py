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
from habitatmap.plan.reach import (
    Floats,
    block_sum,
    footprints,
    half_scale,
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
OWN_DRAWS = 20  # draws of the places' chances alone, for `sensitivity`

Cells = NDArray[np.int64]


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


class Assumed(NamedTuple):
    """What a plan rests on: flight median, level of the forage, chances of the places, odds of the candidates."""

    median_m: float
    level: str
    chances: Floats
    odds: float


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
    assumptions are all the plan's own keeps every site, so that ranges of no width give 1. Raises InputError where
    `draws` does not fit the places.
    """
    w, p = check(demand, candidates)
    sites, median = choice.frame, float(median_m)
    row, col, base = in_order(places)
    drawn = np.tile(base, (count, 1))
    if draws is not None:
        drawn = np.atleast_2d(np.asarray(draws, dtype=np.float64))
        if drawn.shape[1] != len(places):
            raise InputError(f"draws has {drawn.shape[1]} columns for {len(places)} places: give one column a place")
        drawn = np.ascontiguousarray(drawn[:, order_of(places)])
    n = len(drawn)
    given = {"low": low, "best": w, "high": high}
    forage = {level: check(field, candidates)[0] for level, field in given.items() if field is not None}
    spans = sorted({median, *(medians or (0.4 * median, 2.0 * median))})

    own = Assumed(median, "best", base, 1.0)
    rng = np.random.default_rng(seed)
    dealt_median = rng.permutation(np.arange(n) % len(spans))
    dealt_level = rng.permutation(np.arange(n) % len(forage))
    factors = np.ones(n) if odds is None else np.asarray(odds, dtype=np.float64)
    cases = [
        Assumed(spans[dealt_median[d]], list(forage)[dealt_level[d]], drawn[d], float(factors[d])) for d in range(n)
    ]
    alone = [("none", "as planned", own)]
    alone += [("flight median", f"{m:g} m", own._replace(median_m=m)) for m in spans if m != median]
    alone += [("forage of classes", level, own._replace(level=level)) for level in forage if level != "best"]
    if draws is not None:
        alone += [("occupancy", f"draw {d + 1}", own._replace(chances=drawn[d])) for d in range(min(n, OWN_DRAWS))]

    rules = {"cell_m": cell_m, "median_m": median, "spacing_m": spacing_m}
    again = _Again(
        own,
        {m: _Scene(m, cell_m, forage) for m in spans},
        (row, col),
        np.minimum(base, drawn.min(axis=0, initial=1.0)),
        sites,
        zones(sites, w, places, p, taken=taken, only=None, **rules),
        _near_candidates(w, places, p, sites, taken=taken, **rules),
        p,
        spacing_m / cell_m,
    )
    with ThreadPoolExecutor(workers or default_workers()) as pool:
        answers = list(pool.map(again, cases + [case for _, _, case in alone]))
    table = pd.DataFrame([(kept.mean() if len(kept) else math.nan, a, b) for kept, a, b in answers])
    table.columns = pd.Index(["kept", "now", "with_plan"])
    # from blocks to cells: by what they differ at the plan's own assumptions
    for name, fine in (("now", choice.now), ("with_plan", choice.with_plan)):
        coarse = table[name].iloc[n]
        table[name] = (table[name] * (fine / coarse if coarse > 0 else 1.0)).clip(upper=1.0)
    by_draw, moved = table.head(n), table.tail(len(alone)).reset_index(drop=True)
    by_draw.insert(0, "median_m", [case.median_m for case in cases])
    by_draw.insert(1, "level", [case.level for case in cases])
    moved.insert(0, "assumption", [name for name, _, _ in alone])
    moved.insert(1, "level", [level for _, level, _ in alone])
    stays = np.array([kept for kept, _, _ in answers[:n]], dtype=np.float64).reshape(n, len(sites))
    return Robustness(stays.mean(axis=0), by_draw, moved)


class _Scene:
    """What one flight median needs: footprints, and the forage by level on blocks."""

    def __init__(self, median_m: float, cell_m: float, forage: dict[str, Floats]) -> None:
        self.size = half_scale(median_m, cell_m)
        self.prints = footprints(median_m, cell_m, self.size)
        self.forage = {level: block_sum(field, self.size) for level, field in forage.items()}

    def missed(self, level: str, row: Cells, col: Cells, p: Floats) -> Floats:
        """The forage that the places (row, col, p) miss, on blocks."""
        left = self.forage[level].copy()
        multiply_blocks(left, row, col, p, self.prints, self.size)
        return left


class _Again:
    """Makes the plan again under other assumptions."""

    def __init__(
        self,
        own: Assumed,
        scenes: dict[float, _Scene],
        places: tuple[Cells, Cells],
        rarest: Floats,
        sites: pd.DataFrame,
        areas: list[Zone],
        near: tuple[Cells, Cells],
        p: Floats,
        apart: float,
    ) -> None:
        self.own, self.scenes, self.places, self.areas, self.near = own, scenes, places, areas, near
        self.sites = sites["row"].to_numpy(np.int64), sites["col"].to_numpy(np.int64)
        self.site_p, self.near_p, self.apart = p[self.sites], p[near], apart
        # what a near-candidate gains where every place is as rarely occupied as in any draw: no draw gives it more
        self.most = {
            (m, level): _gains_on_blocks(scene.missed(level, *places, rarest), scene.prints, scene.size, *near)
            for m, scene in scenes.items()
            for level in scene.forage
        }

    def __call__(self, case: Assumed) -> tuple[NDArray[np.bool_], float, float]:
        """Which sites stay, and forage in reach (on blocks) now and with the plan as it stands."""
        scene = self.scenes[case.median_m]
        total = float(scene.forage[case.level].sum())
        if total <= 0:
            return np.ones(len(self.areas), bool), math.nan, math.nan
        left = scene.missed(case.level, *self.places, case.chances)
        served = left.copy()
        multiply_blocks(served, *self.sites, _shifted(self.site_p, case.odds), scene.prints, scene.size)
        now, with_plan = 1.0 - float(left.sum()) / total, 1.0 - float(served.sum()) / total
        if case[:2] == self.own[:2] and case.odds == 1.0 and np.array_equal(case.chances, self.own.chances):
            return np.ones(len(self.areas), bool), now, with_plan
        p = _shifted(self.near_p, case.odds)
        hopes, row, col = p * self.most[case.median_m, case.level], *self.near
        apart = self.apart**2 * (1.0 - 1e-9)
        picked = _plan_on_blocks(left, hopes, scene.prints, scene.size, row, col, p, len(self.areas), apart)
        return np.array([area.holds(row[picked], col[picked]) for area in self.areas], dtype=bool), now, with_plan


def _shifted(p: Floats, factor: float) -> Floats:
    """Chances with their odds times a factor."""
    return p * factor / (1.0 - p + p * factor)


def _near_candidates(
    w: Floats,
    places: pd.DataFrame,
    p: Floats,
    sites: pd.DataFrame,
    *,
    cell_m: float,
    median_m: float,
    spacing_m: float,
    taken: pd.DataFrame | None,
) -> tuple[Cells, Cells]:
    """Cells (row, col) that a draw may choose, in the order row, col: the best of each block, and the sites."""
    shape = (w.shape[0], w.shape[1])
    missed = w * not_reached(shape, places, cell_m=cell_m, median_m=median_m)
    field = Field(missed, p, reach_kernel(median_m, cell_m, shape), cell_m, spacing_m, taken)
    gain = np.where(field.free, p * field.C, np.nan)
    least = NEAR_LAST * float(sites["gain_cells"].iloc[-1]) if len(sites) else math.inf
    row, col = best_cells(gain, half_scale(median_m, cell_m), least, MOST_NEAR)
    both = np.column_stack([[*sites["row"], *row], [*sites["col"], *col]]).astype(np.int64)
    cells = np.unique(both, axis=0)
    return cells[:, 0].copy(), cells[:, 1].copy()


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
def _gains_on_blocks(left: Floats, prints: Floats, size: int, row: Cells, col: Cells) -> Floats:
    """The same for many cells."""
    out = np.empty(row.shape[0])
    for c in range(row.shape[0]):
        out[c] = _gain_on_blocks(left, prints, size, row[c], col[c])
    return out


@njit(cache=True, nogil=True)
def _plan_on_blocks(
    left: Floats,
    gain: Floats,
    prints: Floats,
    size: int,
    row: Cells,
    col: Cells,
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
