"""How sure a plan is: how often each site stays when the assumptions move, and which of them moves the plan most.

The plan is made again for simulations of the places' probabilities, the probability of a new pool, the flight median
and the forage of the classes. Doing that over every cell takes seconds, so a simulation chooses among near-candidates
only: the best cell of each small block whose gain comes near that of the plan's last site, and the sites themselves;
and it sums forage over blocks of half a flight scale. Sites are compared by their zones, which are wider than those
blocks. Quotas, the budget and the spacing hold in every simulation; sites that are kept stay in each of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd
from numba import njit
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.geo.engine import default_workers
from habitatmap.geo.masks import least_apart
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Floats, block_sum, footprints, half_scale, in_order, multiply_blocks, order_of
from habitatmap.plan.search import GainMap, Selection, best_cells
from habitatmap.plan.zones import Zone

NEAR_LAST = 0.5  # a near-candidate's first gain over what the plan's least site adds
MOST_NEAR = 4000
ENDS = (0.025, 0.975)  # of the simulations, the ends of a range in `sensitivity`

Cells = NDArray[np.int64]


@dataclass(frozen=True)
class Robustness:
    """How often the sites of a plan stay, and what is in reach, when the assumptions move."""

    share: Floats
    """For each site of the plan: the share of simulations that put a site into its zone (0-1); 1 for a kept site."""
    simulations: pd.DataFrame
    """One row a simulation: median_m, level (of the forage), kept (share of the free sites), now, with_plan (in
    reach).
    """
    sensitivity: pd.DataFrame
    """One assumption moved at a time: assumption, level, kept, now, with_plan; the first row is the plan's own."""


class Assumed(NamedTuple):
    """What a plan rests on: flight median, level of the forage, probabilities of the places, odds of new pools."""

    median_m: float
    level: str
    probabilities: Floats
    odds: float


def assess_robustness(
    problem: Problem,
    selection: Selection,
    around: Sequence[Zone],
    *,
    simulations: ArrayLike | None = None,
    odds: ArrayLike | None = None,
    low: ArrayLike | None = None,
    high: ArrayLike | None = None,
    medians: Sequence[float] | None = None,
    count: int = 200,
    seed: int = 1,
    workers: int | None = None,
) -> Robustness:
    """Makes the plan of `selection.frame` again for simulations of its assumptions; `around` are its zones.

    `simulations` (n, places): probabilities of the places, in the rows' order; None = they are certain. `odds` (n): a
    factor on the odds of every new pool's p in each simulation. `low` and `high`: forage from the low and high class
    values, as the demand. `medians`: flight medians (metres), default 0.4, 1 and 2 times the plan's (100, 250, 500 m
    for 250 m). Medians and levels are dealt out evenly and in an order set by `seed`. Without `simulations` there are
    `count` simulations. One whose assumptions are all the plan's own keeps every site, so that ranges of no width give
    1. Raises InputError where `simulations` does not fit the places.
    """
    simulated = np.tile(problem.places["p"].to_numpy(np.float64), (count, 1))
    if simulations is not None:
        simulated = np.atleast_2d(np.asarray(simulations, dtype=np.float64))
        if simulated.shape[1] != len(problem.places):
            raise InputError(
                f"simulations have {simulated.shape[1]} columns for {len(problem.places)} places: one column a place"
            )
    n, median = len(simulated), float(problem.median_m)
    factors = np.ones(n) if odds is None else np.asarray(odds, dtype=np.float64)
    if problem.kept is not None:
        kept_p = problem.kept["p"].to_numpy(np.float64)
        simulated = np.column_stack([simulated, [shifted(kept_p, factor) for factor in factors]])
    rest = problem.settled()
    is_kept = selection.frame["kept"].to_numpy(bool)
    sites, zones = selection.frame[~is_kept], [zone for zone, fixed in zip(around, is_kept, strict=True) if not fixed]
    row, col, base = in_order(rest.places)
    simulated = np.ascontiguousarray(simulated[:, order_of(rest.places)])
    given = {"low": low, "best": problem.demand, "high": high}
    forage = {level: np.nan_to_num(np.asarray(f, dtype=np.float64)) for level, f in given.items() if f is not None}
    spans = sorted({median, *(medians or (0.4 * median, 2.0 * median))})

    own = Assumed(median, "best", base, 1.0)
    rng = np.random.default_rng(seed)
    dealt_median = rng.permutation(np.arange(n) % len(spans))
    dealt_level = rng.permutation(np.arange(n) % len(forage))
    cases = [
        Assumed(spans[dealt_median[d]], list(forage)[dealt_level[d]], simulated[d], float(factors[d])) for d in range(n)
    ]
    alone = [("none", "as planned", own)]
    alone += [("flight median", f"{m:g} m", own._replace(median_m=m)) for m in spans if m != median]
    alone += [("forage of classes", level, own._replace(level=level)) for level in forage if level != "best"]
    if simulations is not None:
        by_probability = np.argsort(simulated.mean(axis=1), kind="stable") if simulated.shape[1] else np.arange(n)
        alone += [
            (
                "standing places occupied",
                word,
                own._replace(probabilities=simulated[by_probability[round(end * (n - 1))]]),
            )
            for word, end in zip(("few", "many"), ENDS, strict=True)
        ]
    if odds is not None:
        alone += [
            ("new pools occupied", word, own._replace(odds=float(np.quantile(factors, end))))
            for word, end in zip(("few", "many"), ENDS, strict=True)
        ]

    replan = Replanner(
        rest, own, {m: Scenario(m, rest.cell_m, forage) for m in spans}, (row, col), simulated, sites, zones
    )
    with ThreadPoolExecutor(workers or default_workers()) as pool:
        answers = list(pool.map(replan, cases + [case for _, _, case in alone]))
    table = pd.DataFrame([(kept.mean() if len(kept) else math.nan, a, b) for kept, a, b in answers])
    table.columns = pd.Index(["kept", "now", "with_plan"])
    # from blocks to cells: by what they differ at the plan's own assumptions
    for name, fine in (("now", rest.now), ("with_plan", selection.with_plan)):
        coarse = table[name].iloc[n]
        table[name] = (table[name] * (fine / coarse if coarse > 0 else 1.0)).clip(upper=1.0)
    by_simulation, moved = table.head(n), table.tail(len(alone)).reset_index(drop=True)
    by_simulation.insert(0, "median_m", [case.median_m for case in cases])
    by_simulation.insert(1, "level", [case.level for case in cases])
    moved.insert(0, "assumption", [name for name, _, _ in alone])
    moved.insert(1, "level", [level for _, level, _ in alone])
    share = np.ones(len(selection.frame))
    share[~is_kept] = (
        np.array([kept for kept, _, _ in answers[:n]], dtype=np.float64).reshape(n, len(sites)).mean(axis=0)
    )
    return Robustness(share, by_simulation, moved)


class Scenario:
    """What one flight median needs: footprints, and the forage by level on blocks."""

    def __init__(self, median_m: float, cell_m: float, forage: dict[str, Floats]) -> None:
        self.size = half_scale(median_m, cell_m)
        self.prints = footprints(median_m, cell_m, self.size)
        self.forage = {level: block_sum(w, self.size) for level, w in forage.items()}

    def missed(self, level: str, row: Cells, col: Cells, p: Floats) -> Floats:
        """The forage that the places (row, col, p) miss, on blocks."""
        left = self.forage[level].copy()
        multiply_blocks(left, row, col, p, self.prints, self.size)
        return left


class Replanner:
    """Makes the plan again under other assumptions."""

    def __init__(
        self,
        problem: Problem,
        own: Assumed,
        scenarios: dict[float, Scenario],
        places: tuple[Cells, Cells],
        simulated: Floats,
        sites: pd.DataFrame,
        zones: list[Zone],
    ) -> None:
        self.own, self.scenarios, self.places, self.zones = own, scenarios, places, zones
        self.sites = sites["row"].to_numpy(np.int64), sites["col"].to_numpy(np.int64)
        self.near = near = _near_candidates(problem, sites)
        self.site_p, self.near_p = problem.probability[self.sites], problem.probability[near]
        self.apart = (least_apart(problem.spacing_m) / problem.cell_m) ** 2
        self.units = np.array([unit[near] for unit, _ in problem.quotas], dtype=np.int64)
        self.units = self.units.reshape(len(problem.quotas), len(near[0]))
        self.most_of_unit = np.zeros(
            (len(problem.quotas), max((len(m) for _, m in problem.quotas), default=1)), np.int64
        )
        for q, (_, most) in enumerate(problem.quotas):
            self.most_of_unit[q, : len(most)] = most
        self.cost, self.budget = problem.cost_at(*near), problem.budget
        # what a near-candidate gains where every place is as rarely occupied as in any simulation: none gives it more
        rarest = np.minimum(own.probabilities, simulated.min(axis=0, initial=1.0))
        self.most = {
            (m, level): _gains_on_blocks(scenario.missed(level, *places, rarest), scenario.prints, scenario.size, *near)
            for m, scenario in scenarios.items()
            for level in scenario.forage
        }

    def __call__(self, case: Assumed) -> tuple[NDArray[np.bool_], float, float]:
        """Which sites stay, and forage in reach (on blocks) now and with the plan as it stands."""
        scenario = self.scenarios[case.median_m]
        total = float(scenario.forage[case.level].sum())
        if total <= 0:
            return np.ones(len(self.zones), bool), math.nan, math.nan
        left = scenario.missed(case.level, *self.places, case.probabilities)
        served = left.copy()
        multiply_blocks(served, *self.sites, shifted(self.site_p, case.odds), scenario.prints, scenario.size)
        now, with_plan = 1.0 - float(left.sum()) / total, 1.0 - float(served.sum()) / total
        if case[:2] == self.own[:2] and case.odds == 1.0 and np.array_equal(case.probabilities, self.own.probabilities):
            return np.ones(len(self.zones), bool), now, with_plan
        p = shifted(self.near_p, case.odds)
        hopes, row, col = p * self.most[case.median_m, case.level], *self.near
        picked = _plan_on_blocks(
            left, hopes, scenario.prints, scenario.size, row, col, p, len(self.zones), self.apart,
            self.units, self.most_of_unit.copy(), self.cost, self.budget,
        )  # fmt: skip
        return np.array([zone.holds(row[picked], col[picked]) for zone in self.zones], dtype=bool), now, with_plan


def shifted(p: Floats, factor: float | Floats) -> Floats:
    """Chances with their odds times a factor."""
    return p * factor / (1.0 - p + p * factor)


def _near_candidates(problem: Problem, sites: pd.DataFrame) -> tuple[Cells, Cells]:
    """Cells (row, col) that a simulation may choose, in the order row, col: the best of each block, and the sites."""
    gains = GainMap(replace(problem, quotas=(), budget=math.inf))
    gain = np.where(gains.free, problem.candidates * gains.C, np.nan)
    least = NEAR_LAST * float(sites["gain_cells"].min()) if len(sites) else math.inf
    row, col = best_cells(gain, half_scale(problem.median_m, problem.cell_m), least, MOST_NEAR)
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
    left: Floats, gain: Floats, prints: Floats, size: int, row: Cells, col: Cells, p: Floats, pools: int, apart: float,
    units: Cells, most: Cells, cost: Floats, budget: float,
) -> NDArray[np.int64]:  # fmt: skip
    """Greedy among the cells (row, col), by gain, or by gain for cost with a budget: which of them are chosen.

    `gain` is at least what each cell adds; it is reckoned anew only where it is on top. `units` (quota, cells) and
    `most` (quota, unit) are the quotas. Changes `left`, `gain` and `most`.
    """
    n = row.shape[0]
    paid = budget < np.inf
    sure, out = np.full(n, -1), np.empty(pools, np.int64)
    for turn in range(pools):
        for c in range(n):  # what may not stand any more
            blocked = paid and cost[c] > budget * (1.0 + 1e-9) + 1e-12
            for q in range(units.shape[0]):
                blocked = blocked or (units[q, c] >= 0 and most[q, units[q, c]] <= 0)
            if blocked:
                gain[c] = -1.0
        while True:
            top = np.argmax(gain / cost) if paid else np.argmax(gain)
            if sure[top] == turn or gain[top] <= 0.0:
                break
            gain[top] = p[top] * _gain_on_blocks(left, prints, size, row[top], col[top])
            sure[top] = turn
        if gain[top] <= 0.0:
            return out[:turn]
        out[turn] = top
        multiply_blocks(left, row[top : top + 1], col[top : top + 1], p[top : top + 1], prints, size)
        for q in range(units.shape[0]):
            if units[q, top] >= 0:
                most[q, units[q, top]] -= 1
        if paid:
            budget -= cost[top]
        for c in range(n):
            if c == top or (row[c] - row[top]) ** 2 + (col[c] - col[top]) ** 2 < apart:
                gain[c] = -1.0
    return out
