"""The plan for forage likely served: where the next pools help most when flies have to find them.

One season of visits cannot tell whether flies come from mapped breeding places only or from others as well, nor how far
they go. So the plan is made for several readings of what is known (`READINGS`), half the weight on those in which only
mapped places feed pools, half on those in which many arrivals come from places nobody mapped, each with short flights,
usual ones and some that go far. What a plan gains in a reading counts over what the best rule of thumb gains there, and
a shortfall counts more than a surplus (exponential utility): a plan that does well in one reading at the cost of
another is no good plan.

Greedy takes the cell that adds most (mean_field.worth), over the best cell of each block first and over the cells
around the best blocks then. Its order is nested: the first five sites are the plan for five.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.network.turnover import (
    Draws,
    KnownPlaces,
    Ranges,
    Rates,
    calibrate,
    draw,
    four_for_the_mean,
    quality_of,
)
from habitatmap.plan.gain_map import SAME, OpenCells, best_cells
from habitatmap.plan.mean_field import (
    PATCH_FACTOR,
    PATCH_M,
    Course,
    Demand,
    Flight,
    Floats,
    MeanField,
    Simulations,
    flow_of,
)
from habitatmap.plan.outlook import Strategy
from habitatmap.plan.problem import Problem
from habitatmap.plan.search import Selection, Shortfall, listed
from habitatmap.vocabulary.terms import FoundFrom

Cells = NDArray[np.int64]

REFERENCE_POOLS = 10  # rules of thumb are measured with so many, so that the order of sites does not depend on how many
# chosen on invented towns (guide/outlook.md, "On fresh towns"), as are the readings below
AVERSION = 4.0  # of the utility: how much more a shortfall against the best rule counts than a surplus
BLOCK_M, MOST_BLOCKS = 60.0, 1000
COARSE_M = 100.0
AT_ONCE = 20_000  # places whose probabilities are worked out together
TRIED, APART_M = 5, 150.0  # so many neighbourhoods, so far apart, are compared by what a pool there really adds
NO_GAIN = 1e-9


class Reading(NamedTuple):
    """One way in which what is known of today may go on (expert judgement)."""

    found_from: FoundFrom
    ranges: Ranges = Ranges()
    flight: float = 1.0
    """Factor on the flight medians."""
    far: float = 0.0
    """Share of flights that go `mean_field.FAR` times as far."""
    hindcast: bool = True
    """Whether pools filled since they were installed; else today's balance holds (network.turnover)."""


SHORT = 0.7
HALF, MOST = (0.3, 0.6), (0.7, 0.95)  # shares of arrivals from unmapped places
SOME_FAR = 0.15
# on each side as many at even as at odd places, as these are mirrored (`network.turnover.four_for_the_mean`)
READINGS = (
    Reading(FoundFrom.MAPPED, flight=SHORT),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=(0.2, 0.5)), SHORT),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=MOST), SHORT),
    Reading(FoundFrom.MAPPED),
    Reading(FoundFrom.MAPPED, Ranges(e=(0.1, 0.5)), hindcast=False),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=HALF)),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=MOST)),
    Reading(FoundFrom.MAPPED, Ranges(e=(0.3, 0.95)), far=SOME_FAR),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=HALF), far=SOME_FAR),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=MOST), far=SOME_FAR),
)


class Share(NamedTuple):
    """Forage likely served, as shares of the area's forage (0-1), by where flies come from; means over the readings."""

    open: float
    closed: float


@dataclass(frozen=True)
class Served:
    """What is likely served over the years, without and with sites."""

    years: int
    now: Share
    with_plan: Share
    by_site: pd.DataFrame
    """served_open, served_closed: what each site adds after those before it."""
    rules: Mapping[Strategy, Share]
    """What as many pools by rules of thumb would have served in all."""


def simulate(
    known: KnownPlaces,
    forage_median_m: float,
    dispersal_median_m: float,
    new: float,
    by_chance: int | None = None,
    seed: int = 7,
    readings: Sequence[Reading] = READINGS,
) -> Simulations:
    """Of every reading the four draws that stand for its ranges, or so many `by_chance` (an even number), calibrated by
    what is known today; the quality of patches is one way round in one half of them and the other way round in the
    other.

    new: probability that a usual new pool is occupied; it counts where few pools are known.
    """
    each = by_chance or 4
    flights, drawn, rates, patches = list[Flight](), list[Draws](), list[Rates](), list[Floats]()
    arriving: dict[tuple[float, float], Floats] = {}
    random = np.random.default_rng(seed)
    for number, reading in enumerate(readings):
        dispersal, forage = (
            FlightKernel(median * reading.flight).scale_m for median in (dispersal_median_m, forage_median_m)
        )
        if (dispersal, reading.far) not in arriving:
            flow = flow_of(known.xy, dispersal, reading.far)
            arriving[dispersal, reading.far] = np.asarray(flow @ (known.quality * known.p))
        if by_chance:
            drawn.append(draw(reading.ranges, by_chance, seed + number))
        else:
            drawn.append(four_for_the_mean(reading.ranges, mirrored=number % 2 == 1))
        rates.append(calibrate(known, arriving[dispersal, reading.far], drawn[-1], new, hindcast=reading.hindcast))
        first, kind = number * each, (dispersal, forage, reading.far)
        if flights and flights[-1][2:] == kind:
            first = flights.pop()[0]
        flights.append((first, (number + 1) * each, *kind))
        turn, (right, up) = random.uniform(0, 2 * np.pi, each // 2), random.uniform(0, 2, (2, each // 2))
        factor = np.full(each // 2, math.log(PATCH_FACTOR))
        one_way = np.column_stack([np.cos(turn) / PATCH_M, np.sin(turn) / PATCH_M, right, up, factor])
        patches += [one_way, one_way * [1.0, 1.0, 1.0, 1.0, -1.0]]
    return Simulations(
        Draws(*map(np.concatenate, zip(*drawn, strict=True))),
        Rates(*(np.concatenate(of, axis=-1) for of in zip(*rates, strict=True))),
        np.repeat(np.arange(len(readings)), each),
        tuple(flights),
        np.concatenate(patches),
    )


def reading_weights(found_from: FoundFrom) -> Floats:
    """How much each reading counts (readings,): half for each side, or all for one."""
    closed = np.array([reading.found_from is FoundFrom.MAPPED for reading in READINGS])
    on_closed = {FoundFrom.BOTH: 0.5, FoundFrom.MAPPED: 1.0, FoundFrom.ANYWHERE: 0.0}[found_from]
    return np.asarray(np.where(closed, on_closed / closed.sum(), (1.0 - on_closed) / (~closed).sum()))


class Sites:
    """What any cells make of the years: the model, and where cells lie."""

    def __init__(
        self, model: MeanField, grid: Grid, access: NDArray[np.floating], readings: Sequence[Reading] = READINGS
    ) -> None:
        self.model, self.grid, self.access = model, grid, access
        self._served: dict[tuple[tuple[int, int], ...], Floats] = {}
        self.is_closed = np.array([reading.found_from is FoundFrom.MAPPED for reading in readings])

    def with_demand(self, demand: Demand) -> Sites:
        """The same with the forage at other points."""
        of = self.model
        return Sites(MeanField(of.known, demand, of.simulations, of.years), self.grid, self.access)

    def evenly_lucky(self) -> Sites:
        """The same where no ground is better or worse than another in a way that nobody knows."""
        of = self.model
        simulations = replace(of.simulations, patches=np.zeros_like(of.simulations.patches))
        return Sites(MeanField(of.known, of.demand, simulations, of.years), self.grid, self.access)

    def at(self, row: Cells, col: Cells) -> tuple[Floats, Floats]:
        """Where cells lie (m, 2), and the quality of pools there (m,)."""
        x, y = self.grid.centre(row, col)
        return np.column_stack([x, y]), quality_of(scratch.picked(self.access, row, col), self.model.known.usual)

    def course(self, cells: pd.DataFrame) -> Course:
        """The years with pools at cells (row, col)."""
        return self.model.course(*self.at(cells["row"].to_numpy(np.int64), cells["col"].to_numpy(np.int64)))

    def served(self, sets: Sequence[pd.DataFrame]) -> list[Floats]:
        """What is served with pools at the cells (row, col) of each set, by simulation; kept, as some sets are asked
        for again."""
        keys = [tuple(zip(cells["row"].tolist(), cells["col"].tolist(), strict=True)) for cells in sets]
        new = [key for key in dict.fromkeys(keys) if key not in self._served]
        if new:
            number = {cell: at for at, cell in enumerate(dict.fromkeys(cell for key in new for cell in key))}
            stand = np.zeros((len(new), len(number)), dtype=bool)
            for at, key in enumerate(new):
                stand[at, [number[cell] for cell in key]] = True
            sites = self.at(*np.array(list(number), dtype=np.int64).reshape(-1, 2).T)
            self._served |= dict(zip(new, self.model.served_with(*sites, stand), strict=True))
        return [self._served[key] for key in keys]

    def by_reading(self, served: Floats) -> Floats:
        """Means (readings,) of values by simulation."""
        of = self.model.simulations.reading
        return np.bincount(of, served) / np.bincount(of)

    def share(self, served: Floats) -> Share:
        """The two means over readings of values by simulation."""
        means = self.by_reading(served)
        return Share(float(means[~self.is_closed].mean()), float(means[self.is_closed].mean()))

    @property
    def none(self) -> Floats:
        """What is served without any new pool, by simulation."""
        return self.served([pd.DataFrame({"row": [], "col": []})])[0]


def assess_served(sites: Sites, plan: pd.DataFrame, rules: Mapping[Strategy, Sequence[pd.DataFrame]]) -> Served:
    """What the plan's cells (row, col), in their order, and those of the rules are likely to serve; all are worked out
    together first."""
    sites.served([*(plan.iloc[:count] for count in range(len(plan) + 1)), *chain.from_iterable(rules.values())])
    steps = [sites.share(served) for served in sites.served([plan.iloc[:count] for count in range(len(plan) + 1)])]
    adds = np.diff(np.array(steps), axis=0)
    by_rule = {
        rule: Share(*np.mean([sites.share(served) for served in sites.served(sets)], axis=0).tolist())
        for rule, sets in rules.items()
    }
    by_site = pd.DataFrame(adds, columns=["served_open", "served_closed"], index=plan.index)
    return Served(sites.model.years, steps[0], steps[-1], by_site, by_rule)


@dataclass(frozen=True)
class Preference:
    """What a gain counts in each reading; arrays (readings,)."""

    weights: Floats
    """How much the reading counts."""
    best_rule: Floats
    """What the best rule of thumb gains there with `REFERENCE_POOLS` pools."""

    @classmethod
    def of(
        cls, sites: Sites, rules: Mapping[Strategy, Sequence[pd.DataFrame]], found_from: FoundFrom = FoundFrom.BOTH
    ) -> Preference:
        """rules: sets of `REFERENCE_POOLS` cells (row, col) by rules of thumb."""
        gains = [
            np.mean([sites.by_reading(served - sites.none) for served in sites.served(sets)], axis=0)
            for sets in rules.values()
            if any(len(cells) for cells in sets)
        ]
        return cls(reading_weights(found_from), np.max(gains, axis=0) if gains else np.ones(len(READINGS)))

    def by_simulation(self, sites: Sites, served: Floats, pools: int) -> Floats:
        """What a gain in each simulation counts where so many pools serve `served` (simulations,): the slope of the
        utility, the gain of the best rule being taken for as many pools."""
        counts = (self.best_rule > NO_GAIN) & (self.weights > 0)
        best_rule = np.where(counts, self.best_rule, 1.0)
        gain = sites.by_reading(served - sites.none)
        ahead = gain / best_rule * (REFERENCE_POOLS / max(1, pools)) - 1.0
        slope = np.exp(-AVERSION * np.clip(ahead if pools else 0.0 * ahead, -1.0, 1.0))
        by_reading = np.where(counts, self.weights * slope / best_rule, 0.0)
        of, total = sites.model.simulations.reading, by_reading.sum()
        return (by_reading / (total if total > 0 else 1.0) / np.bincount(of))[of]


def plan_served(problem: Problem, pools: int, sites: Sites, preference: Preference) -> Selection:
    """The plan, its gains still in forage in reach; the order is that of the turns, kept sites first.

    Spacing, quotas, the budget and kept sites hold as in `search.make_plan`; with costs that differ, the most worth for
    its cost is taken.
    """
    search = _Search(problem, sites, preference)
    for kept in problem.kept_cells:
        search.add(kept)
    while len(search.chosen) < pools and (cell := search.best()) is not None:
        search.add(cell)
    frame, today = listed(problem, search.chosen), problem.today
    with_plan = today.now if frame.empty else float(frame["cumulative"].iloc[-1])
    return Selection(frame, today.now, with_plan, None, 0.0, today.total, pools, search.shortfall(pools))


def promising(problem: Problem, sites: Sites, preference: Preference) -> Floats:
    """By cell (rows, cols) forage not in reach yet times the probability that a pool is found; NaN where none may be
    set, whatever it costs and however many there may be."""
    course, grid = sites.model.course(), sites.grid
    step = max(1, round(COARSE_M / grid.cell_m))
    likely = _likely_on_blocks(sites, course, preference.by_simulation(sites, course.served, 0), step)
    free, missed = OpenCells(replace(problem, quotas=(), budget=math.inf)).free, problem.today.within_flight
    out, across = scratch.empty(problem.shape, np.float64), np.arange(grid.cols) // step
    for band in scratch.bands(problem.shape):
        here = likely[np.arange(band.start, band.stop) // step][:, across]
        out[band] = np.where(free[band], missed[band] * here, np.nan)
    return out


def _likely_on_blocks(sites: Sites, course: Course, weights: Floats, step: int) -> Floats:
    """How likely a pool in the middle of each block of `step` cells is occupied, mean over the years and the weighted
    simulations: (blocks down, blocks across)."""
    grid = sites.grid
    middle, centre = (
        np.minimum((np.arange(-(-n // step)) + 0.5) * step, n - 1).astype(np.int64) for n in (grid.rows, grid.cols)
    )
    rows, cols = (of.ravel() for of in np.meshgrid(middle, centre, indexing="ij"))
    likely = [
        sites.model.likely(course, weights, *sites.at(rows[some], cols[some]))
        for some in np.array_split(np.arange(len(rows)), max(1, len(rows) // AT_ONCE))
    ]
    return np.concatenate(likely).reshape(len(middle), len(centre))


class _Search:
    """Greedy among the open cells of a problem."""

    def __init__(self, problem: Problem, sites: Sites, preference: Preference) -> None:
        self.problem, self.sites, self.open, self.preference = problem, sites, OpenCells(problem), preference
        self.chosen: list[tuple[int, int]] = []
        self.course = sites.model.course()
        self.size = max(1, round(BLOCK_M / problem.today.cell_m))
        self.row, self.col = self._best_of_blocks()

    def add(self, cell: tuple[int, int]) -> None:
        """Sets a pool."""
        self.course = self._with(*cell)
        self.chosen.append(cell)
        self.open.change(*cell, 1)

    def best(self) -> tuple[int, int] | None:
        """The open cell that adds most, for its cost; None where none adds anything."""
        weights = self._simulation_weights()
        influence = self.sites.model.influence(self.course, weights)
        left = np.flatnonzero(self._open_blocks())
        if not len(left):
            return None

        def rate(row: Cells, col: Cells) -> Floats:
            worth = self.sites.model.worth(self.course, influence, weights, *self.sites.at(row, col))
            return self._for_its_cost(worth, row, col)

        apart = self._best_apart(left, rate(self.row[left], self.col[left]))
        tried = (self._served_with_each(self.row[apart], self.col[apart]) - self.course.served) @ weights
        best = apart[int(np.argmax(self._for_its_cost(tried, self.row[apart], self.col[apart])))]
        row, col = self._around(int(self.row[best]), int(self.col[best]))
        if not len(row):
            return None
        worth = rate(row, col)
        at = int(np.argmax(worth >= worth.max() * (1.0 - SAME)))  # the lowest row, then column, of equals
        return (int(row[at]), int(col[at])) if worth[at] > 0 else None

    def _best_apart(self, blocks: Cells, worth: Floats) -> Cells:
        """The `TRIED` best blocks of different neighbourhoods."""
        found: list[int] = []
        far = np.ones(len(blocks), dtype=bool)
        xy = np.column_stack([self.row[blocks], self.col[blocks]]) * self.problem.today.cell_m
        while len(found) < TRIED and far.any():
            at = int(np.argmax(np.where(far, worth, -np.inf)))
            found.append(int(blocks[at]))
            far &= np.hypot(*(xy - xy[at]).T) > APART_M
        return np.array(found)

    def _with(self, row: int, col: int) -> Course:
        """The years with one more pool."""
        rows, cols = np.array([*self.chosen, (row, col)]).T
        return self.sites.model.course(*self.sites.at(rows, cols))

    def _served_with_each(self, row: Cells, col: Cells) -> Floats:
        """What is served with one more pool at each of some cells: (cells, simulations)."""
        cells = np.array([*self.chosen, *zip(row.tolist(), col.tolist(), strict=True)], dtype=np.int64)
        stand = np.hstack([np.ones((len(row), len(self.chosen)), dtype=bool), np.eye(len(row), dtype=bool)])
        return self.sites.model.served_with(*self.sites.at(*cells.T), stand)

    def _for_its_cost(self, worth: Floats, row: Cells, col: Cells) -> Floats:
        return worth / self.problem.cost_at(row, col) if self.problem.budget < math.inf else worth

    def shortfall(self, pools: int) -> Shortfall:
        """Why there are fewer sites than asked for."""
        if len(self.chosen) >= pools:
            return Shortfall.NONE
        if self.open.budget_spent():
            return Shortfall.BUDGET_SPENT
        return Shortfall.NOTHING_TO_GAIN if self.open.count() else Shortfall.NONE_LEFT

    def _simulation_weights(self) -> Floats:
        return self.preference.by_simulation(self.sites, self.course.served, len(self.chosen))

    def _best_of_blocks(self) -> tuple[Cells, Cells]:
        """The most promising cell of each block: forage that is not reached yet, times the probability that a pool is
        found; of the most promising blocks where there are many."""
        return best_cells(promising(self.problem, self.sites, self.preference), self.size, 0.0, MOST_BLOCKS)

    def _open_blocks(self) -> NDArray[np.bool_]:
        """Blocks of which any cell is open."""
        size, blocked = self.size, self.open.blocked
        tops = zip((self.row // size * size).tolist(), (self.col // size * size).tolist(), strict=True)
        is_open = [bool((blocked[top : top + size, left : left + size] == 0).any()) for top, left in tops]
        return np.array(is_open, dtype=bool)

    def _around(self, row: int, col: int) -> tuple[Cells, Cells]:
        """The open cells of the block of a cell and of those next to it, in the order row, column."""
        top, left = (max(0, (of // self.size - 1) * self.size) for of in (row, col))
        end, right = ((of // self.size + 2) * self.size for of in (row, col))
        rows, cols = np.nonzero(self.open.blocked[top:end, left:right] == 0)
        return rows.astype(np.int64) + top, cols.astype(np.int64) + left
