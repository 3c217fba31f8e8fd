"""Consent priorities where the plan is made for forage likely served: what each owner's consent adds to it.

A consent adds what is likely served with the plan made on that ground as well, minus the same without it, all other
ground staying as the plan takes it. The sites before the first that changes stay; from there on the plan is made again
among near-candidates. Forage in reach of both plans is told beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.plan.consent_priorities import COLUMNS, Plots, about_owner, by_owner, first_of_its_own, ranked
from habitatmap.plan.gain_map import BETTER, best_cells
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Floats
from habitatmap.plan.search import Selection, listed
from habitatmap.plan.served import Preference, Sites, promising
from habitatmap.plan.served_near import Cell, NearCells, columns_of

MOST_SERVED_CONSENTS = 12  # so many owners are calculated one by one, those who may add most first
NEAR_BLOCK_M, MOST_NEAR, MOST_OF_OWNER = 60.0, 400, 20


class Ahead(NamedTuple):
    """The coming years: as the plan sees them, the same with fewer points of forage, and what a gain counts."""

    sites: Sites
    few_points: Sites
    preference: Preference


def rank_served_consents(
    problem: Problem,
    selection: Selection,
    land: gpd.GeoDataFrame,
    ahead: Ahead,
    *,
    counted_on: bool,
    with_all: Floats,
    columns: Sequence[str] = tuple(COLUMNS),
) -> tuple[pd.DataFrame, int]:
    """As `consent_priorities.rank_consents`, but that `adds` is forage likely served, the mean of the two sides: flies
    from mapped places only and flies from anywhere. reach_yes and reach_no stay forage in reach of the two plans."""
    to_ask = np.flatnonzero(land["consent"].to_numpy() == "ask")
    nothing_chosen = selection.frame.empty and counted_on
    if nothing_chosen or not len(to_ask) or not selection.requested or not problem.today.total > 0:
        return pd.DataFrame(columns=list(columns)), 0
    groups, grid = by_owner(land, to_ask), ahead.sites.grid
    size = max(1, round(NEAR_BLOCK_M / problem.today.cell_m))
    own = columns_of(list(zip(selection.frame["row"].tolist(), selection.frame["col"].tolist(), strict=True)))
    ground = {name: Plots(land.geometry.iloc[group], grid, size) for name, group in groups.items()}
    if counted_on:  # only owners of a suggested site can change the plan
        free = ~selection.frame["kept"].to_numpy(bool)
        on_it = {name: np.flatnonzero(free & plots.hold(*own)) for name, plots in ground.items()}
        asked = [name for name, sites in on_it.items() if len(sites)]
        plans = _Plans(replace(problem, candidates=with_all), selection, ahead, ground, ())
        rows = [
            about_owner(land.iloc[groups[name]], name)
            | plans.compared(plans.own, plans.again(int(on_it[name][0]), plans.on[name]), ground[name])
            for name in asked
        ]
        return ranked(rows, columns), 0
    plans = _Plans(replace(problem, candidates=with_all), selection, ahead, ground, tuple(ground))
    refused = Plots(land.geometry[land["consent"] == "no"], grid).hold(plans.near.row, plans.near.col)
    owners = np.sum([*plans.on.values()], axis=0)
    opened = {name: here & ~refused & (owners == 1) for name, here in plans.on.items()}
    beaten = plans.first_beaten(opened)
    closed, rows = np.isnan(problem.candidates[plans.near.row, plans.near.col]), []
    for name, at in beaten[:MOST_SERVED_CONSENTS]:
        yes = plans.again(at, closed & ~opened[name])
        rows.append(about_owner(land.iloc[groups[name]], name) | plans.compared(yes, plans.own, ground[name]))
    return ranked(rows, columns), max(0, len(beaten) - MOST_SERVED_CONSENTS)


class _Plans:
    """The plan, and what becomes of it on other ground. `problem`: with all the ground of `ground` open; `each`: owners
    whose own best cells are looked at, however good others are."""

    def __init__(
        self, problem: Problem, selection: Selection, ahead: Ahead, ground: Mapping[str, Plots], each: Sequence[str]
    ) -> None:
        self.problem, self.pools, self.ahead = problem, selection.requested, ahead
        columns = (selection.frame[name].tolist() for name in ("row", "col"))
        self.own: list[Cell] = list(zip(*columns, strict=True))
        self.fixed = int(selection.frame["kept"].sum())
        size = max(1, round(NEAR_BLOCK_M / problem.today.cell_m))
        promise = promising(problem, ahead.sites, ahead.preference)
        near = [best_cells(promise, size, 0.0, MOST_NEAR)]
        near += [ground[name].best(promise, size, MOST_OF_OWNER) for name in each]
        row, col = (np.concatenate(of) for of in zip(*near, columns_of(self.own), strict=True))
        self.near = NearCells(problem, row, col)
        self.on = {name: plots.hold(self.near.row, self.near.col) for name, plots in ground.items()}
        """Which of the near-candidates lie on each owner's ground."""

    def again(self, first: int, without: NDArray[np.bool_]) -> list[Cell]:
        """The plan made again from its site number `first` on, with none on some of the near-candidates."""
        return self.near.plan(self.ahead.few_points, self.ahead.preference, self.own[:first], self.pools, without)

    def first_beaten(self, opened: Mapping[str, NDArray[np.bool_]]) -> list[tuple[str, int]]:
        """Each owner on whose ground a pool would add more than a site of the plan, with the number of the first such
        site; those who may add most first."""
        first, most = dict[str, int](), dict[str, float]()
        every = np.arange(len(self.near.row))
        at_site = {cell: n for n, cell in enumerate(zip(self.near.row.tolist(), self.near.col.tolist(), strict=True))}
        for turn in range(self.fixed, min(self.pools, len(self.own) + 1)):
            rate = self.near.rate(self.ahead.few_points, self.ahead.preference, self.own[:turn])(every)
            rate[~self.near.is_open(self.own[:turn])] = 0.0
            beat = rate[at_site[self.own[turn]]] * (1.0 + BETTER) if turn < len(self.own) else 0.0
            for name, cells in opened.items():
                more = float(rate[cells].max(initial=0.0) - beat)
                if more > 0:
                    first.setdefault(name, turn)
                    most[name] = max(more, most.get(name, 0.0))
        return [(name, first[name]) for name in sorted(most, key=lambda name: (-most[name], name))]

    def compared(self, yes: list[Cell], no: list[Cell], ground: Plots) -> dict[str, str | float]:
        """reach_yes, reach_no, adds and sites of an owner: the plan with and without consent on this ground."""
        return {
            "reach_yes": self._reach(yes),
            "reach_no": self._reach(no),
            "adds": self._served(yes) - self._served(no),
            "sites": ", ".join(str(rank) for rank in (np.flatnonzero(ground.hold(*columns_of(yes))) + 1).tolist()),
            "instead": first_of_its_own(no, yes),
        }

    def _reach(self, cells: Sequence[Cell]) -> float:
        """Forage in reach with pools at the cells."""
        return float(listed(self.problem, cells)["cumulative"].iloc[-1]) if cells else self.problem.today.now

    def _served(self, cells: Sequence[Cell]) -> float:
        """Forage likely served with pools at the cells, the mean of the two sides."""
        sites = self.ahead.sites
        share = sites.share(sites.model.course(*sites.at(*columns_of(cells))).served)
        return (share.open + share.closed) / 2.0
