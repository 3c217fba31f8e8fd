"""The plan: where N more pools add most forage in reach, every allowed cell being a candidate.

Greedy picks (on the map of gains, `gain_map`) give a nested order: N pools are the first N of N + 1, and gains never
increase. Interchange then moves single pools for as long as the set gets better. The (1 - 1/e) guarantee of greedy
(Nemhauser, Wolsey & Fisher 1978) holds without spacing and quotas only; what a plan is worth is certified by
`bound.upper_bound`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Unpack

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo import scratch
from habitatmap.plan.exact import solve
from habitatmap.plan.gain_map import BETTER, GainMap, Pick, direct_gain
from habitatmap.plan.problem import Problem, Rules
from habitatmap.plan.reach import multiply


class Shortfall(StrEnum):
    """Why a plan has fewer pools than were asked for."""

    NONE = ""
    NO_FORAGE = "no forage is known"
    NONE_ALLOWED = "no cell is allowed"
    NONE_LEFT = "no allowed cell is left"
    NOTHING_TO_GAIN = "nothing more can be gained"
    BUDGET_SPENT = "the budget is spent"


@dataclass(frozen=True)
class Selection:
    """A plan. Shares are of the area's whole forage (0-1); NaN where the area has no forage."""

    frame: pd.DataFrame
    """rank, row, col, p, gain, cumulative (shares), gain_cells, cumulative_cells (in full cells), kept (whether the
    site was decided before); kept sites first, then the others, each in greedy order."""
    now: float
    """Forage in reach without the plan."""
    with_plan: float
    """Forage in reach with the pools of `frame`."""
    exchanged: pd.DataFrame | None
    """The better set that interchange found (columns as in `frame`), or None."""
    exchange_gain: float
    """How much more forage the exchanged set reaches (share of the area's forage); 0 where there is none."""
    total: float
    """The area's forage, in cells: the sum of w."""
    requested: int
    """How many pools were asked for."""
    shortfall: Shortfall
    """Why there are fewer pools than asked for."""

    @property
    def best(self) -> pd.DataFrame:
        """The better of the two sets."""
        return self.frame if self.exchanged is None else self.exchanged

    @property
    def best_with_plan(self) -> float:
        """Forage in reach with the better of the two sets."""
        return self.with_plan + self.exchange_gain


def choose(
    demand: ArrayLike,
    places: pd.DataFrame,
    candidates: ArrayLike,
    pools: int,
    *,
    exchange: bool = True,
    **rules: Unpack[Rules],
) -> Selection:
    """Chooses cells for `pools` more pools.

    `demand` (rows, cols): forage w of each cell, NaN or 0 = none. `places`: row, col, p of the breeding places.
    `candidates` (rows, cols): the probability p that a pool at the cell gets occupied, NaN where none may stand. The
    rules (`cell_m` and `median_m` at least) are the fields of `problem.Problem`. The `engine` changes
    nothing but time and memory. Raises InputError where shapes or values do not fit.
    """
    problem = Problem.of(demand, places, candidates, **rules)
    return make_plan(problem, pools, exchange=exchange)


def make_plan(
    problem: Problem,
    pools: int,
    *,
    exchange: bool = True,
    gains: GainMap | None = None,
) -> Selection:
    """The plan for a problem: the kept sites, then greedy up to `pools` sites in all, then interchange.

    A cell is chosen once at most. Fewer sites are given where no more fit, the budget is spent, or nothing is left to
    gain; `shortfall` says which. Where sites differ in cost, greedy takes the largest gain for its cost; the set is
    then listed by gain, and of it and the best single site the better one is the plan. `gains` is used up where it is
    given.
    """
    now, total = problem.today.now, problem.today.total
    gains = gains or GainMap(problem)
    fixed = problem.kept_cells
    for pick in in_greedy_order(problem, fixed):
        gains.add(pick)
    free = gains.cells.open if exchange else None
    gains.greedy(int(pools) - len(fixed))
    if gains.costs_differ and len(gains.sites) > len(fixed):
        _best_single(gains, problem)
    cells = [(site.row, site.col) for site in gains.sites]
    shortfall = Shortfall.NONE if len(cells) >= pools else _why_no_more(gains)
    # with uneven costs the order of the picks is no order of gains
    picks = in_greedy_order(problem, cells) if gains.costs_differ else gains.sites
    frame = _frame(picks, problem)
    with_plan = now if frame.empty else float(frame["cumulative"].iloc[-1])
    better, more = None, 0.0
    if free is not None and len(cells) > len(fixed):
        gains.by_gain()
        gains.interchange(fixed)
        if gains.greedy(int(pools) - len(gains.sites)):  # moved sites may have made room
            gains.interchange(fixed)
        better = _frame(in_greedy_order(problem, [(site.row, site.col) for site in gains.sites]), problem)
        if not problem.quotas and problem.budget == math.inf:
            known = float(better["gain_cells"][len(fixed) :].sum())
            allowed = scratch.cellwise(_where_free, free, problem.candidates, dtype=np.float64)
            more_pools = int(pools) - len(fixed)
            solved = solve(
                problem.settled().today.missed, allowed, problem.today.kernel, gains.cells.near, more_pools, known
            )
            if solved is not None:
                better = _frame(in_greedy_order(problem, [*fixed, *solved.cells]), problem)
        more = float(better["cumulative"].iloc[-1]) - with_plan
        if more <= BETTER * (with_plan - now):
            better, more = None, 0.0
    return Selection(frame, now, with_plan, better, more, total, int(pools), shortfall)


def _where_free(free: NDArray[np.bool_], p: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(free, p, np.nan)


def _why_no_more(gains: GainMap) -> Shortfall:
    if gains.cells.budget_spent():
        return Shortfall.BUDGET_SPENT
    return Shortfall.NOTHING_TO_GAIN if gains.cells.count() else Shortfall.NONE_LEFT


def _best_single(gains: GainMap, problem: Problem) -> None:
    """Takes the best single site alone in place of the free sites where it gains more: greedy by gain for cost can
    spend a budget on trifles.
    """
    fixed = set(problem.kept_cells)
    free = [site for site in gains.sites if (site.row, site.col) not in fixed]
    for site in free:
        gains.remove(site)
    gains.by_gain()
    single = gains.best()
    if single is not None and single.gain > sum(site.gain for site in free):
        free = [single]
    for site in free:
        gains.add(site)


def in_greedy_order(problem: Problem, cells: Sequence[tuple[int, int]]) -> list[Pick]:
    """The cells of a set in the order of what each adds after those before it (ties: lowest row, column); those that
    are kept come first.
    """
    if not cells:
        return []
    p, k = problem.probability, problem.today.kernel
    missed, picks = scratch.copied(problem.today.missed), []
    kept = set(problem.kept_cells)
    for todo in (sorted(kept & set(cells)), sorted(set(cells) - kept)):
        # a gain only falls as sites are set, so one that is still on top when calculated anew is the largest
        gains = dict.fromkeys(todo, math.inf)
        while todo:
            sure: set[tuple[int, int]] = set()
            while (top := max(todo, key=lambda c: gains[c])) not in sure:
                gains[top] = float(p[top]) * float(direct_gain(missed, k, *top))
                sure.add(top)
            picks.append(Pick(*top, gains[top]))
            multiply(missed, 0, 0, *top, float(p[top]), k)
            todo.remove(top)
    return picks


def listed(problem: Problem, cells: Sequence[tuple[int, int]]) -> pd.DataFrame:
    """`Selection.frame` for sites in the order they are given, whatever they gain."""
    p, k = problem.probability, problem.today.kernel
    missed, picks = scratch.copied(problem.today.missed), []
    for cell in cells:
        picks.append(Pick(*cell, float(p[cell]) * float(direct_gain(missed, k, *cell))))
        multiply(missed, 0, 0, *cell, float(p[cell]), k)
    return _frame(picks, problem)


def _frame(picks: list[Pick], problem: Problem) -> pd.DataFrame:
    """The columns of `Selection.frame`."""
    now, total, kept = problem.today.now, problem.today.total, set(problem.kept_cells)
    rows, cols = [s.row for s in picks], [s.col for s in picks]
    gains = np.array([s.gain for s in picks], dtype=np.float64)
    share = gains / total if total > 0 else gains
    return pd.DataFrame(
        {
            "rank": np.arange(1, len(picks) + 1),
            "row": np.array(rows, dtype=np.int64),
            "col": np.array(cols, dtype=np.int64),
            "p": np.array([problem.probability[s.row, s.col] for s in picks], dtype=np.float64),
            "gain": share,
            "cumulative": now + np.cumsum(share),
            "gain_cells": gains,
            "cumulative_cells": now * total + np.cumsum(gains),
            "kept": np.array([(s.row, s.col) in kept for s in picks], dtype=bool),
        }
    )
