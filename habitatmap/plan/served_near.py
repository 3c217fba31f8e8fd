"""The plan for forage likely served, made again among a few hundred cells: for questions that need many plans."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from habitatmap.geo.masks import least_apart
from habitatmap.plan.gain_map import SAME, OpenCells
from habitatmap.plan.problem import Problem, affordable
from habitatmap.plan.reach import Floats
from habitatmap.plan.served import Cells, Preference, Sites

AT_ONCE = 24
LOOK_FURTHER = 1.25  # worth calculated for an earlier turn may have risen by so much

Cell = tuple[int, int]


class NearCells:
    """The cells (row, col) that a plan may choose, and the rules that hold between them."""

    def __init__(self, problem: Problem, row: Cells, col: Cells) -> None:
        cells = np.unique(np.column_stack([row, col]), axis=0)
        free = OpenCells(replace(problem, quotas=(), budget=math.inf)).free
        self.problem = problem
        self.row, self.col = np.ascontiguousarray(cells[free[cells[:, 0], cells[:, 1]]].T)
        self.apart = (least_apart(problem.spacing_m) / problem.today.cell_m) ** 2
        self.cost = problem.cost_at(self.row, self.col)

    def plan(
        self,
        sites: Sites,
        preference: Preference,
        start: Sequence[Cell],
        pools: int,
        without: NDArray[np.bool_] | None = None,
    ) -> list[Cell]:
        """`start`, and up to `pools` sites in all by greedy, each the one that adds most (for its cost, with a budget);
        none on those of the cells that are `without`."""
        chosen, worth = list(start), np.full(len(self.row), math.inf)
        usable = np.ones(len(self.row), dtype=bool) if without is None else ~without
        while len(chosen) < pools:
            left = np.flatnonzero(usable & self.is_open(chosen))
            if not len(left):
                break
            rate = self.rate(sites, preference, chosen)
            if len(preference.weights) > 1:  # what a gain counts has changed, so earlier worth says nothing
                worth[:] = math.inf
            sure = _renewed(worth, left, rate)
            top = int(sure[np.argmax(worth[sure] >= worth[sure].max() * (1.0 - SAME))])
            if worth[top] <= 0:
                break
            chosen.append((int(self.row[top]), int(self.col[top])))
        return chosen

    def rate(self, sites: Sites, preference: Preference, chosen: Sequence[Cell]) -> Callable[[Cells], Floats]:
        """What one more pool adds (for its cost, with a budget) with `chosen` standing, by which of the cells it is."""
        course = sites.model.course(*sites.at(*columns_of(chosen)))
        weights = preference.by_simulation(sites, course.served, len(chosen))
        influence = sites.model.influence(course, weights)

        def rated(at: Cells) -> Floats:
            worth = sites.model.worth(course, influence, weights, *sites.at(self.row[at], self.col[at]))
            return worth / self.cost[at] if self.problem.budget < math.inf else worth

        return rated

    def is_open(self, chosen: Sequence[Cell]) -> NDArray[np.bool_]:
        """Which cells may take one more site."""
        row, col = columns_of(chosen)
        apart = (self.row[:, None] - row) ** 2 + (self.col[:, None] - col) ** 2
        is_open = np.asarray(((apart > 0) & (apart >= self.apart)).all(axis=1))
        for unit, most in self.problem.quotas:
            used = np.bincount(unit[row, col][unit[row, col] >= 0], minlength=len(most))
            own = unit[self.row, self.col]
            is_open &= ~((own >= 0) & (used >= most)[own])
        if self.problem.budget < math.inf:
            spent = float(self.problem.cost_at(row, col).sum())
            is_open &= affordable(self.cost, self.problem.budget - spent)
        return is_open


def _renewed(worth: Floats, left: Cells, rate: Callable[[Cells], Floats]) -> Cells:
    """Calculates the worth of those of `left` anew that can be the best, and says which, in order; changes `worth`."""
    order = left[np.argsort(-worth[left], kind="stable")]
    at, end = 0, max(AT_ONCE, int(np.isinf(worth[left]).sum()))
    while at < len(order) and (at == 0 or worth[order[:at]].max() < LOOK_FURTHER * worth[order[at]]):
        worth[order[at:end]] = rate(order[at:end])
        at, end = min(end, len(order)), end + AT_ONCE
    return np.sort(order[:at])


def columns_of(cells: Sequence[Cell]) -> tuple[Cells, Cells]:
    """Rows and columns of cells."""
    row, col = np.array(cells, dtype=np.int64).reshape(-1, 2).T
    return row, col
