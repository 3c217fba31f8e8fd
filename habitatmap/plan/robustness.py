"""How sure a plan is: how often each site stays when the assumptions move, and which of them moves the plan most.

The plan is made again for simulations of the places' probabilities, the probability of a new pool, the flight median
and the forage of the classes. Doing that over every cell takes seconds, so a simulation chooses among near-candidates
only: the best cell of each small block whose gain comes near that of the plan's last site, and the sites themselves;
and it sums forage over blocks of half a flight scale. Sites are compared by their zones, which are wider than those
blocks. Quotas, the budget and the spacing hold in every simulation; sites that are kept stay in each of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import default_workers
from habitatmap.geo.masks import least_apart
from habitatmap.plan.gain_map import OpenCells, best_cells
from habitatmap.plan.problem import Problem, affordable_compiled
from habitatmap.plan.reach import (
    ANY_ORDER,
    Cells,
    Floats,
    Footprints,
    block_sum,
    footprints,
    half_scale,
    in_order,
    multiply_blocks,
    order_of,
    span,
)
from habitatmap.plan.search import Selection
from habitatmap.plan.zones import Zone

NEAR_LAST = 0.5  # a near-candidate's first gain over what the plan's least site adds
MOST_NEAR = 4000
ENDS = {"few": 0.025, "many": 0.975}  # of the simulations, the ends of a range in `sensitivity`


class Assumption(StrEnum):
    """What a plan rests on, as `sensitivity` names it."""

    NONE = "none"
    ORIGIN = "origin of the flies"
    FLIGHT = "flight median"
    FORAGE = "forage of classes"
    STANDING = "standing places occupied"
    NEW = "new pools occupied"


class Level(StrEnum):
    """Which of its class values the forage is made from."""

    LOW = "low"
    BEST = "best"
    HIGH = "high"


@dataclass(frozen=True)
class Uncertainty:
    """What is not known for certain; None = it is."""

    simulations: ArrayLike | None = None
    """(simulations, places): probabilities of the places, in the rows' order."""
    odds: ArrayLike | None = None
    """(simulations,): a factor on the odds of every new pool's p."""
    low: ArrayLike | None = None
    """(rows, cols): forage from the low class values, as the demand."""
    high: ArrayLike | None = None
    medians: Sequence[float] | None = None
    """Flight medians (metres); None = 0.4, 1 and 2 times the plan's (100, 250, 500 m for 250 m)."""


@dataclass(frozen=True)
class Robustness:
    """How often the sites of a plan stay, and what is in reach, when the assumptions move."""

    share: Floats
    """For each site of the plan: the share of simulations that put a site into its zone (0-1); 1 for a kept site."""
    simulations: pd.DataFrame
    """One row each: median_m, level (of the forage), kept (share of the free sites), now, with_plan (in reach)."""
    sensitivity: pd.DataFrame
    """One assumption moved at a time: assumption, level, kept, now, with_plan; the first row is the plan's own."""

    @classmethod
    def unknown(cls, sites: int) -> Robustness:
        """Where nobody asked."""
        told = ["kept", "now", "with_plan"]
        alone = pd.DataFrame(columns=["assumption", "level", *told])
        return cls(np.full(sites, math.nan), pd.DataFrame(columns=["median_m", "level", *told]), alone)


class Assumed(NamedTuple):
    """What a plan rests on: flight median, level of the forage, probabilities of the places, odds of new pools."""

    median_m: float
    level: Level
    probabilities: Floats
    odds: float


def assess_robustness(
    problem: Problem,
    selection: Selection,
    around: Sequence[Zone],
    uncertain: Uncertainty,
    *,
    count: int = 200,
    seed: int = 1,
    workers: int | None = None,
) -> Robustness:
    """Makes the plan of `selection.frame` again in simulations of its assumptions; `around` are its zones.

    Medians and levels are dealt out evenly and in an order set by `seed`. Without `uncertain.simulations` there are
    `count` of them. One whose assumptions are all the plan's own keeps every site, so that ranges of no width give 1.
    Raises InputError where the simulations do not fit the places.
    """
    rest, is_kept = problem.settled(), selection.frame["kept"].to_numpy(bool)
    sites, zones = selection.frame[~is_kept], [zone for zone, fixed in zip(around, is_kept, strict=True) if not fixed]
    simulated, odds = _simulated(problem, uncertain, count)
    n, median = len(simulated), float(problem.today.median_m)
    given = {Level.LOW: uncertain.low, Level.BEST: problem.today.demand, Level.HIGH: uncertain.high}
    forage = {level: np.asarray(f) for level, f in given.items() if f is not None}
    medians = sorted({median, *(uncertain.medians or (0.4 * median, 2.0 * median))})

    own = Assumed(median, Level.BEST, in_order(rest.today.places)[2], 1.0)
    rng = np.random.default_rng(seed)
    dealt_median, dealt_level = (rng.permutation(np.arange(n) % kinds) for kinds in (len(medians), len(forage)))
    cases = [
        Assumed(medians[dealt_median[d]], list(forage)[dealt_level[d]], simulated[d], float(odds[d])) for d in range(n)
    ]
    alone: list[tuple[Assumption, str, Assumed]] = [(Assumption.NONE, "as planned", own)]
    alone += [(Assumption.FLIGHT, f"{m:g} m", own._replace(median_m=m)) for m in medians if m != median]
    alone += [(Assumption.FORAGE, level, own._replace(level=level)) for level in forage if level is not Level.BEST]
    if uncertain.simulations is not None:
        ranked = simulated[np.argsort(simulated.mean(axis=1), kind="stable")] if simulated.shape[1] else simulated
        at = {word: ranked[round(end * (n - 1))] for word, end in ENDS.items()}
        alone += [(Assumption.STANDING, word, own._replace(probabilities=p)) for word, p in at.items()]
    if uncertain.odds is not None:
        ends = {word: float(np.quantile(odds, end)) for word, end in ENDS.items()}
        alone += [(Assumption.NEW, word, own._replace(odds=factor)) for word, factor in ends.items()]

    replan = Replanner(rest, own, simulated, sites, zones)
    answers = replan.all_of(cases + [case for _, _, case in alone], forage, rest.today.cell_m, workers)
    kept = np.array([stays for stays, _, _ in answers], dtype=np.float64).reshape(len(answers), len(sites))
    table = pd.DataFrame([answer[1:] for answer in answers], columns=["now", "with_plan"])
    table.insert(0, "kept", kept.mean(axis=1) if len(sites) else math.nan)
    # from blocks to cells: by what they differ at the plan's own assumptions
    for name, fine in (("now", rest.today.now), ("with_plan", selection.with_plan)):
        coarse = table[name].iloc[n]
        table[name] = (table[name] * (fine / coarse if coarse > 0 else 1.0)).clip(upper=1.0)
    moved, dealt = [row[:2] for row in alone], [case[:2] for case in cases]
    share = np.ones(len(selection.frame))
    share[~is_kept] = kept[:n].mean(axis=0)
    return Robustness(
        share,
        pd.DataFrame(dealt, columns=["median_m", "level"]).join(table.head(n)),
        pd.DataFrame(moved, columns=["assumption", "level"]).join(table.tail(len(alone)).reset_index(drop=True)),
    )


def _simulated(problem: Problem, uncertain: Uncertainty, count: int) -> tuple[Floats, Floats]:
    """Probabilities (simulations, places and kept sites), in the order in which reach takes them; factors on odds."""
    places = problem.today.places
    simulated = np.tile(places["p"].to_numpy(np.float64), (count, 1))
    if uncertain.simulations is not None:
        simulated = np.atleast_2d(np.asarray(uncertain.simulations, dtype=np.float64))
        if simulated.shape[1] != len(places):
            raise InputError(f"simulations have {simulated.shape[1]} columns for {len(places)} places: give one each")
    odds = np.ones(len(simulated)) if uncertain.odds is None else np.asarray(uncertain.odds, dtype=np.float64)
    if problem.kept is not None:
        simulated = np.hstack([simulated, shifted(problem.kept["p"].to_numpy(np.float64), odds[:, None])])
    return np.ascontiguousarray(simulated[:, order_of(problem.settled().today.places)]), odds


class Ground:
    """The forage of one level on blocks of half a flight scale, for one flight median, and what is left of it where
    places take their part: each thread takes off and puts back on an array of its own, near the places only.
    """

    def __init__(self, forage: Floats, prints: Footprints) -> None:
        self.forage, self.prints, self.total = forage, prints, float(scratch.total(np.sum, forage))
        self.taken, self.spare = 0.0, list[Floats]()

    @classmethod
    def of(cls, forage: NDArray[np.floating], median_m: float, cell_m: float) -> Ground:
        """From forage (rows, cols)."""
        size = half_scale(median_m, cell_m)
        return cls(block_sum(forage, size), footprints(median_m, cell_m, size))

    def take(self, row: Cells, col: Cells, p: Floats) -> None:
        """Takes places off for good, before anybody asks what is left."""
        self.taken += multiply_blocks(self.forage, row, col, p, self.prints)

    @contextmanager
    def left(self) -> Iterator[Floats]:
        """An array of the forage that nobody else uses; what was taken off it is to be put back."""
        try:
            mine = self.spare.pop()
        except IndexError:
            mine = scratch.copied(self.forage)
        yield mine
        self.spare.append(mine)  # not where it failed: then it is not as it was

    def boxes(self, row: Cells, col: Cells) -> list[tuple[slice, slice]]:
        """The blocks within flight of places (row, col)."""
        size, r = self.prints[1], self.prints[0].shape[1] // 2
        at = zip((row // size).tolist(), (col // size).tolist(), strict=True)
        return [(slice(max(0, i - r), max(0, i + r + 1)), slice(max(0, j - r), max(0, j + r + 1))) for i, j in at]

    def put_back(self, left: Floats, row: Cells, col: Cells) -> None:
        """All forage around places (row, col); where they are many, all there is."""
        if len(row) * self.prints[0][0].size < left.size:
            _put_back(left, self.forage, row, col, self.prints)
            return
        for band in scratch.bands(left.shape):
            left[band] = self.forage[band]


@njit(nogil=True)
def _put_back(left: Floats, forage: Floats, row: Cells, col: Cells, prints: Footprints) -> None:
    weights, size = prints
    r = weights.shape[1] // 2
    for q in range(row.shape[0]):
        bi, bj = row[q] // size, col[q] // size
        j0, j1 = span(bj - r, bj + r + 1, 0, left.shape[1])
        for i in range(max(0, bi - r), min(left.shape[0], bi + r + 1)):
            left[i, j0:j1] = forage[i, j0:j1]


# plain tuples, as for footprints. Cells that a simulation may choose, in the order row, col; their units by quota
# (quotas, cells); their cost
NearCandidates = tuple[Cells, Cells, Cells, Floats]
# at most so many pools, squared distance (cells) that they keep, sites by quota and unit, and what they may cost
Limits = tuple[int, float, Cells, float]


# which sites stay, and forage in reach (share, on blocks) now and with the plan as it stands
Answer = tuple[NDArray[np.bool_], float, float]


class Replanner:
    """Makes the plan again under other assumptions."""

    def __init__(
        self, problem: Problem, own: Assumed, simulated: Floats, sites: pd.DataFrame, zones: list[Zone]
    ) -> None:
        self.own, self.zones = own, zones
        row, col = in_order(problem.today.places)[:2]
        self.rarest = np.minimum(own.probabilities, simulated.min(axis=0, initial=1.0))
        # the same in every simulation, such as trees: these are taken off once
        same = self.rarest == np.maximum(own.probabilities, simulated.max(axis=0, initial=0.0))
        self.still, self.moving = (row[same], col[same], self.rarest[same]), ~same
        self.places = row[~same], col[~same]
        self.sites = sites["row"].to_numpy(np.int64), sites["col"].to_numpy(np.int64)
        row, col = _near_cells(problem, sites)
        self.site_p, self.near_p = problem.probability[self.sites], problem.probability[row, col]
        units = np.array([unit[row, col] for unit, _ in problem.quotas], dtype=np.int64)
        self.near = row, col, units.reshape(len(problem.quotas), len(row)), problem.cost_at(row, col)
        of_unit = np.zeros((len(problem.quotas), max((len(m) for _, m in problem.quotas), default=1)), np.int64)
        for q, (_, most) in enumerate(problem.quotas):
            of_unit[q, : len(most)] = most
        apart = (least_apart(problem.spacing_m) / problem.today.cell_m) ** 2
        self.limits = len(zones), apart, of_unit, problem.budget

    def all_of(
        self,
        cases: Sequence[Assumed],
        forage: Mapping[Level, NDArray[np.floating]],
        cell_m: float,
        workers: int | None = None,
    ) -> list[Answer]:
        """An answer for each case, from the forage (rows, cols) by level."""
        found: dict[int, Answer] = {}
        for median_m, level in dict.fromkeys((case.median_m, case.level) for case in cases):
            these = {at: case for at, case in enumerate(cases) if (case.median_m, case.level) == (median_m, level)}
            answers = self._on(Ground.of(forage[level], median_m, cell_m), list(these.values()), workers)
            found |= dict(zip(these, answers, strict=True))
        return [found[at] for at in range(len(cases))]

    def _on(self, ground: Ground, cases: Sequence[Assumed], workers: int | None) -> list[Answer]:
        """The same for cases of one median and level."""
        if ground.total <= 0:
            return [(np.ones(len(self.zones), bool), math.nan, math.nan)] * len(cases)
        ground.take(*self.still)
        with ground.left() as left:
            # what a near-candidate gains where every place is as rarely occupied as in any simulation: none gives more
            multiply_blocks(left, *self.places, self.rarest[self.moving], ground.prints)
            most = _gains_on_blocks(left, ground.prints, *self.near[:2])
            ground.put_back(left, *self.places)
        with ThreadPoolExecutor(workers or default_workers()) as pool:
            return list(pool.map(lambda case: self._one(ground, most, case), cases))

    def _one(self, ground: Ground, most: Floats, case: Assumed) -> Answer:
        odds, prints, picked = case.odds, ground.prints, np.empty(0, np.int64)
        as_planned = case[:2] == self.own[:2] and odds == 1.0
        as_planned = as_planned and np.array_equal(case.probabilities, self.own.probabilities)
        with ground.left() as left:
            now = ground.taken + multiply_blocks(left, *self.places, case.probabilities[self.moving], prints)
            before = [(box, left[box].copy()) for box in ground.boxes(*self.sites)]
            added = multiply_blocks(left, *self.sites, shifted(self.site_p, odds), prints)
            for box, part in before:
                left[box] = part
            if not as_planned:
                p = shifted(self.near_p, odds)
                pools, apart, of_unit, budget = self.limits
                picked = _plan_on_blocks(left, p * most, prints, self.near, p, (pools, apart, of_unit.copy(), budget))
            row, col = self.near[0][picked], self.near[1][picked]
            for of in (self.places, self.sites, (row, col)):
                ground.put_back(left, *of)
        scratch.relax()
        stay = np.ones(len(self.zones), bool)
        if not as_planned:
            stay = np.array([zone.holds(row, col) for zone in self.zones], dtype=bool)
        return stay, now / ground.total, (now + added) / ground.total


def shifted(p: Floats, factor: float | Floats) -> Floats:
    """Probabilities whose odds p / (1 - p) are multiplied by a factor."""
    return p * factor / (1.0 - p + p * factor)


def _of_free(free: NDArray[np.bool_], p: Floats, missed: Floats) -> Floats:
    return np.where(free, p * missed, np.nan)


def _near_cells(problem: Problem, sites: pd.DataFrame) -> tuple[Cells, Cells]:
    """Cells (row, col) that a simulation may choose, in the order row, col: the best of each block, and the sites."""
    free = OpenCells(replace(problem, quotas=(), budget=math.inf)).free
    gain = scratch.cellwise(_of_free, free, problem.candidates, problem.today.within_flight, dtype=np.float64)
    least = NEAR_LAST * float(sites["gain_cells"].min()) if len(sites) else math.inf
    row, col = best_cells(gain, half_scale(problem.today.median_m, problem.today.cell_m), least, MOST_NEAR)
    both = np.column_stack([[*sites["row"], *row], [*sites["col"], *col]]).astype(np.int64)
    cells = np.unique(both, axis=0)
    return cells[:, 0].copy(), cells[:, 1].copy()


@njit(nogil=True, fastmath=ANY_ORDER)
def _gain_on_blocks(left: Floats, prints: Footprints, row: int, col: int) -> float:
    """sum k left around the cell (row, col), left being sums over blocks."""
    weights, size = prints
    r = weights.shape[1] // 2
    bi, bj = row // size, col // size
    k = weights[(row - bi * size) * size + col - bj * size]
    total, (j0, j1) = 0.0, span(bj - r, bj + r + 1, 0, left.shape[1])
    for i in range(max(0, bi - r), min(left.shape[0], bi + r + 1)):
        line, weight = left[i, j0:j1], k[i - bi + r, j0 - bj + r : j1 - bj + r]
        for j in range(line.shape[0]):
            total += weight[j] * line[j]
    return total


@njit(nogil=True)
def _gains_on_blocks(left: Floats, prints: Footprints, row: Cells, col: Cells) -> Floats:
    """The same for many cells."""
    out = np.empty(row.shape[0])
    for c in range(row.shape[0]):
        out[c] = _gain_on_blocks(left, prints, row[c], col[c])
    return out


@njit(nogil=True)
def _top(left: Floats, gain: Floats, prints: Footprints, near: NearCandidates, p: Floats, paid: bool) -> int:
    """The near-candidate that adds most, or most for its cost, the first of equals; -1 where none adds anything.

    `gain`, at least what each adds, is calculated anew first where it is highest, then where it is above the best.
    """
    row, col, _, cost = near
    best, most, highest = -1, 0.0, int(np.argmax(gain / cost) if paid else np.argmax(gain))
    for turn in range(-1, row.shape[0]):
        c = highest if turn < 0 else turn
        rate = gain[c] / cost[c] if paid else gain[c]
        if rate > most or (rate == most and c < best):
            gain[c] = p[c] * _gain_on_blocks(left, prints, row[c], col[c])
            rate = gain[c] / cost[c] if paid else gain[c]
            if rate > most or (rate == most and c < best):
                best, most = c, rate
    return best


@njit(nogil=True)
def _plan_on_blocks(
    left: Floats, gain: Floats, prints: Footprints, near: NearCandidates, p: Floats, limits: Limits
) -> Cells:
    """Greedy among the near-candidates, by gain, or by gain for cost with a budget: which of them are chosen.

    `gain` is at least what each cell adds. Changes `left`, `gain` and `limits.of_unit`.
    """
    row, col, units, cost = near
    pools, apart, of_unit, budget = limits
    n, paid = row.shape[0], budget < np.inf
    out = np.empty(pools, np.int64)
    for turn in range(pools):
        for c in range(n):  # what may not stand any more
            blocked = paid and not affordable_compiled(cost[c], budget)
            for q in range(units.shape[0]):
                blocked = blocked or (units[q, c] >= 0 and of_unit[q, units[q, c]] <= 0)
            if blocked:
                gain[c] = -1.0
        top = _top(left, gain, prints, near, p, paid)
        if top < 0:
            return out[:turn]
        out[turn] = top
        multiply_blocks(left, row[top : top + 1], col[top : top + 1], p[top : top + 1], prints)
        for q in range(units.shape[0]):
            if units[q, top] >= 0:
                of_unit[q, units[q, top]] -= 1
        if paid:
            budget -= cost[top]
        for c in range(n):
            if c == top or (row[c] - row[top]) ** 2 + (col[c] - col[top]) ** 2 < apart:
                gain[c] = -1.0
    return out
