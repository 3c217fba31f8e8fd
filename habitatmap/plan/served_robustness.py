"""How sure a plan for forage likely served is: how often each site stays when the assumptions move.

The plan is made again for one reading of what is known at a time (`served.READINGS`), with rates drawn anew, other
probabilities that the places are occupied today, and the low, best or high forage of the classes. It chooses among
near-candidates only: the most promising cells, spread over the area, and the sites themselves. Sites are compared by
their zones. Quotas, the budget and the spacing hold; sites that are kept stay in each simulation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from habitatmap.geo.engine import default_workers
from habitatmap.plan.gain_map import best_cells
from habitatmap.plan.mean_field import Demand, MeanField
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Floats
from habitatmap.plan.robustness import ENDS, Assumption, Level, Robustness
from habitatmap.plan.search import Selection
from habitatmap.plan.served import READINGS, SHORT, Preference, Sites, promising, reading_weights, simulate
from habitatmap.plan.served_near import NearCells
from habitatmap.plan.zones import Zone
from habitatmap.vocabulary.terms import FoundFrom

NEAR_BLOCK_M, MOST_NEAR = 60.0, 120
SIMULATIONS = 60

ORIGINS = {FoundFrom.MAPPED: "flies from mapped places only", FoundFrom.ANYWHERE: "flies from everywhere"}
FAR = "some far flights"
EACH = 2  # draws of a reading


@dataclass(frozen=True)
class ServedUncertainty:
    """What is not known for certain."""

    p: Floats
    """(simulations, places): probabilities that the places of the network are occupied today."""
    demands: Mapping[Level, Demand]
    """The forage from the classes' values; the best at least. Few points do."""
    forage_median_m: float
    dispersal_median_m: float
    new: float
    """Probability that a usual new pool is occupied (`served.simulate`)."""


class _Case(NamedTuple):
    """Assumptions that a plan is made for."""

    readings: tuple[int, ...]
    preference: Preference
    p: Floats
    level: Level = Level.BEST
    seed: int = 7


def assess_served_robustness(
    problem: Problem,
    selection: Selection,
    around: Sequence[Zone],
    ahead: Sites,
    preference: Preference,
    uncertain: ServedUncertainty,
    count: int = SIMULATIONS,
) -> Robustness:
    """How often a plan made again puts a site into each of the zones `around`; columns as in `Robustness`, but that now
    and with_plan are forage likely served, the mean of the readings taken."""
    is_kept = selection.frame["kept"].to_numpy(bool)
    zones = [zone for zone, fixed in zip(around, is_kept, strict=True) if not fixed]
    replan = _Replanner(problem, selection, zones, ahead, preference, uncertain)
    dealt = _deal(preference, uncertain, count)
    alone = _one_at_a_time(ahead, preference, uncertain)
    with ThreadPoolExecutor(default_workers()) as pool:
        rows = list(pool.map(replan, [*dealt, *(case for _, _, case in alone)]))
    kept = np.array([stays for stays, _, _ in rows], dtype=float).reshape(len(rows), len(zones))
    table = pd.DataFrame([row[1:] for row in rows], columns=["now", "with_plan"])
    table.insert(0, "kept", kept.mean(axis=1) if zones else math.nan)
    share = np.ones(len(selection.frame))
    if dealt:
        share[~is_kept] = kept[: len(dealt)].mean(axis=0)
    assumed = [(uncertain.forage_median_m * READINGS[case.readings[0]].flight, case.level) for case in dealt]
    moved = pd.DataFrame([row[:2] for row in alone], columns=["assumption", "level"])
    return Robustness(
        share,
        pd.DataFrame(assumed, columns=["median_m", "level"]).join(table.head(len(dealt))),
        moved.join(table.tail(len(alone)).reset_index(drop=True)),
    )


def _deal(preference: Preference, uncertain: ServedUncertainty, count: int) -> list[_Case]:
    """`count` cases of one reading each, as often as it counts."""
    rng = np.random.default_rng(1)
    at = (np.arange(count) + 0.5) / count
    reading = np.searchsorted(np.cumsum(preference.weights / preference.weights.sum()), rng.permutation(at))
    places = (rng.permutation(at) * len(uncertain.p)).astype(int)
    levels = list(uncertain.demands)
    level = rng.permutation(np.arange(count) % len(levels))
    one = Preference(np.ones(1), np.ones(1))
    return [
        _Case((int(reading[n]),), one, uncertain.p[places[n]], levels[level[n]], seed=100 * (n + 1))
        for n in range(count)
    ]


def _one_at_a_time(
    ahead: Sites, preference: Preference, uncertain: ServedUncertainty
) -> list[tuple[Assumption, str, _Case]]:
    """Cases in which one assumption is other than the plan's, and all else as it is."""
    every, own = range(len(READINGS)), ahead.model.known.p
    whole = _Case(tuple(every), preference, own)
    cases = [(Assumption.NONE, "as planned", whole)]

    def some(readings: Sequence[int], found_from: FoundFrom) -> _Case:
        which = tuple(readings)
        weights = reading_weights(found_from) if found_from is not FoundFrom.BOTH else preference.weights
        return _Case(which, Preference(weights[list(which)], preference.best_rule[list(which)]), own)

    for origin, words in ORIGINS.items():
        readings = [n for n in every if READINGS[n].found_from is origin]
        cases.append((Assumption.ORIGIN, words, some(readings, origin)))
    counted = [n for n in every if preference.weights[n] > 0]
    short, far = ([n for n in counted if READINGS[n].flight == SHORT], [n for n in counted if READINGS[n].far > 0])
    words = f"{uncertain.forage_median_m * SHORT:g} m"
    cases += [
        (Assumption.FLIGHT, words, some(short, FoundFrom.BOTH)),
        (Assumption.FLIGHT, FAR, some(far, FoundFrom.BOTH)),
    ]
    cases += [
        (Assumption.FORAGE, level.value, whole._replace(level=level))
        for level in uncertain.demands
        if level is not Level.BEST
    ]
    ranked = uncertain.p[np.argsort(uncertain.p.mean(axis=1), kind="stable")]
    cases += [
        (Assumption.STANDING, word, whole._replace(p=ranked[round(end * (len(ranked) - 1))]))
        for word, end in ENDS.items()
    ]
    return cases


class _Replanner:
    """Makes the plan again under other assumptions."""

    def __init__(
        self,
        problem: Problem,
        selection: Selection,
        zones: Sequence[Zone],
        ahead: Sites,
        preference: Preference,
        uncertain: ServedUncertainty,
    ) -> None:
        self.zones, self.ahead, self.uncertain = zones, ahead, uncertain
        self.sites = selection.frame[["row", "col"]]
        self.start, self.own = problem.kept_cells, ahead.model.known.p
        size = max(1, round(NEAR_BLOCK_M / problem.today.cell_m))
        row, col = best_cells(promising(problem, ahead, preference), size, 0.0, MOST_NEAR)
        self.near = NearCells(problem, np.r_[row, self.sites["row"]], np.r_[col, self.sites["col"]])

    def __call__(self, case: _Case) -> tuple[list[bool], float, float]:
        """Which sites stay, and forage likely served now and with the plan as it stands."""
        if not len(self.uncertain.demands[case.level].share):
            return [True] * len(self.zones), math.nan, math.nan
        told, readings = self.uncertain, [READINGS[n] for n in case.readings]
        known = replace(self.ahead.model.known, p=case.p)
        simulations = simulate(
            known, told.forage_median_m, told.dispersal_median_m, told.new, EACH, case.seed, readings
        )
        model = MeanField(known, told.demands[case.level], simulations, self.ahead.model.years)
        sites = Sites(model, self.ahead.grid, self.ahead.access, readings)
        weights = case.preference.weights / case.preference.weights.sum()
        now, with_plan = (
            float(weights @ sites.by_reading(served)) for served in (sites.none, sites.course(self.sites).served)
        )
        own = len(readings) == len(READINGS) and case.level is Level.BEST and np.array_equal(case.p, self.own)
        if own:
            return [True] * len(self.zones), now, with_plan
        picked = self.near.plan(sites, case.preference, self.start, len(self.sites))
        row, col = np.array(picked, dtype=np.int64).reshape(-1, 2).T
        return [zone.holds(row, col) for zone in self.zones], now, with_plan
