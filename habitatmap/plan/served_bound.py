"""How much forage likely served N pools can add at most: two limits on what `served.plan_served` looks for.

Forage likely served is not submodular: new pools feed each other and the places about them, so no bound of
`plan.bound` holds. A course is monotone, though: more arrivals anywhere raise every probability. Write J(X) for what
the sites X add, P_x(X) for the probability of a pool there, P_i and R_c for that of a known place and for the forage
missed at a point without X, and k, L for the shares of flights that get so far. All sums are over years and
simulations as well.

Full limit, for every allowed X.  (1) Let Pbar_x come from the same recursion with the known places at their highest and
with the other N - 1 sites where they feed x most, none nearer than the spacing and one at most in a block of cells
that are nearer to each other than that. By monotony P_x(X) <= Pbar_x.  (2) What X adds is what its pools serve of the
forage that is still missed, at most that of R with Pbar, and what the known places serve more. The latter is at most
sum_i dP_i sum_c w_c k_ci R_c / (1 - P_i k_ci), by the union bound.  (3) Arrivals that grow by dS raise C by at most
h dS, where h is the steepest chord of C from today's arrivals on to the most that there can be (C is not concave for
z > 1). So dP_i' <= (1 - P_i (1 - l_i)) h dS_i + (1 - l_i) (1 - C_i) dP_i, which is linear; its adjoint gives what each
site adds through others, ibar_x. Together

    J(X) <= sum_c w_c R_c (1 - prod_x (1 - Pbar_x k_cx)) + sum_x ibar_x.

Conditional limit, given that flies find pools as they would with this plan: every known place, and a pool at any cell,
has the probability that it has while the plan stands (but for those of its sites that are nearer to the cell than the
spacing). Then what N pools serve is a plain coverage. The plan itself is one of the choices, so it is never above it.

Either way a coverage has to be bounded. With u = P k and numbers m(u) >= -log(1 - u) a bracket is at most
min(sum u, 1 - exp(-sum m)), concave in the sites, and lies below the tangents of both. The tangents at some shares of
pools (`_Tangents`), their mixture and a price on every disc narrower than the spacing come from a linear program over
the likeliest cells, solved again with the tangents where it last stood (Kelley's cutting planes). Whatever they are,
the sum of the constants, the prices and the N largest of what each cell is then worth bounds every set of sites; that
is calculated over every allowed cell. m is a polynomial in u, above -log(1 - u) everywhere, so that all sums over the
forage are matrix products. These are taken in single precision, and what cells are worth is raised by `ROUND_UP`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array, eye_array, hstack, vstack
from scipy.spatial.distance import cdist

from habitatmap.geo.compiled import njit
from habitatmap.geo.flight import END_IN_SCALES
from habitatmap.geo.masks import least_apart
from habitatmap.network.flows import Flow
from habitatmap.network.turnover import found
from habitatmap.plan.bound import DualPrices, exclusive_block, sum_of_largest
from habitatmap.plan.gain_map import OpenCells, best_cells
from habitatmap.plan.mean_field import (
    FAR_ENDS,
    LEAST_ARRIVALS,
    Course,
    MeanField,
    flow_of,
    gets_so_far,
    patch_factors,
)
from habitatmap.plan.problem import Problem
from habitatmap.plan.served import Sites

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Cells = NDArray[np.int64]

MOST_CELLS = 40_000
SPARE = 20_000  # cells that the kept sites may close
MOST_PAIRS = 60_000_000  # cells times points and places: sets time
ROUND_UP = 1e-4  # of what single precision sums: some thousand terms of one sign
TARGET_M = 40.0  # cells within so much share what others feed them at most
BISECTIONS = 30
STEPS, ROUNDING = 16_384, 1.001  # of the functions of k, by distance; a little further than flights are followed
LEVEL, HIGHEST = 0.75, 1.0 - 1e-9  # of probabilities, the lower one as a share of the higher
# the search for good tangents; none of these can make a limit wrong
FEW_CELLS, EVERY = 1000, 2  # with more cells only those of every second row and column are looked at first
FIRST_CELLS, MORE_CELLS = 250, 120  # in the program
GROUPS_A_SIDE = 5  # of points; each group has its own tangents
PROGRAMS, SLOW = 25, 0.001  # a program that lowers its value by less of itself is the last
LATTICE, CROWDED = 0.2, 1e-3  # steps of discs over their radius; pools above one in them
LEAST_SHARE, LEAST_SLOPE, LEAST_UNIT = 1e-6, 1e-5, 1e-300  # less is left out of the program
AT_ONCE = 512  # cells


class ServedLimits(NamedTuple):
    """What a plan adds to forage likely served, and limits on what any plan of as many pools adds; weighted sums over
    the simulations, NaN where not calculated."""

    plan: float
    full: float
    """Proven for every plan."""
    conditional: float
    """Holds given that flies find pools as they would with this plan."""

    def share(self, limit: float) -> float:
        """What the plan adds of one of its limits (0-1); NaN where nothing can be added, or the limit is not known."""
        return self.plan / limit if limit > 0 else math.nan


NO_LIMITS = ServedLimits(math.nan, math.nan, math.nan)


def limit_served(sites: Sites, problem: Problem, chosen: pd.DataFrame, pools: int, weights: Floats) -> ServedLimits:
    """Limits on what `pools` sites, the kept ones included, add to sum_v weights_v served_v; no weight is below 0.

    chosen: the plan's cells (row, col), the kept ones included, which stand in every plan. Quotas are left out, which
    can only raise the limits. NaN with a budget for costs that differ, and where the area is too large.
    """
    model, none, plan = sites.model, sites.none, sites.course(chosen)
    gain = float(weights @ (plan.served - none))
    if OpenCells(problem).count() > MOST_CELLS + SPARE:
        return ServedLimits(gain, math.nan, math.nan)
    ground = _Ground.of(sites, problem, weights > 0)
    kept = pd.DataFrame(problem.kept_cells, columns=["row", "col"], dtype=np.int64)
    more = pools - len(kept)
    if more <= 0 or not len(ground.row) or not len(ground.use) or not len(model.demand.xy):
        return ServedLimits(gain, gain, gain)
    pairs = len(ground.row) * (len(plan.xy) + len(model.demand.xy))
    costs_differ = problem.budget < math.inf and len(np.unique(problem.cost_at(ground.row, ground.col))) > 1
    if costs_differ or len(ground.row) > MOST_CELLS or pairs > MOST_PAIRS:
        return ServedLimits(gain, math.nan, math.nan)
    cells = zip(chosen["row"].tolist(), chosen["col"].tolist(), strict=True)
    free = np.array([cell not in problem.kept_cells for cell in cells], dtype=bool)
    start = ground.number(chosen[free])

    def limit(given: _Given) -> float:
        cover = _Coverage(model, ground, given, weights[ground.use])
        return float(weights[ground.use] @ (given.served - none[ground.use])) + _largest(cover, more, start)

    full = limit(_highest(model, sites.course(kept), ground, more))
    stays = np.r_[np.ones(len(model.known.p), dtype=bool), ~free]
    return ServedLimits(gain, full, limit(_as_with_plan(model, plan, stays, ground)))


# --- where sites may stand, and in which simulations -----------------------------------------------------------------


class _Group(NamedTuple):
    """Simulations (of those that count) which share their flights."""

    of: NDArray[np.int64]
    dispersal: float
    forage: float
    """Scales (metres)."""
    far: float

    def feeds(self, metres: Floats) -> Floats:
        """L."""
        return gets_so_far(metres / self.dispersal, self.far)

    @property
    def end_m(self) -> float:
        """So far (metres) forage flights are followed."""
        return END_IN_SCALES * self.forage * (FAR_ENDS if self.far > 0.0 else 1.0)

    def serves(self, metres: Floats) -> Floats:
        """k."""
        return np.where(metres < self.end_m, gets_so_far(metres / self.forage, self.far), 0.0)


@dataclass(frozen=True)
class _Ground:
    """Every cell that a site may take (m,), and the simulations that count (v,)."""

    row: Cells
    col: Cells
    xy: Floats
    quality: Floats
    """(m, v)"""
    block: int
    """Cells a side of the largest block that holds one site at most."""
    spacing_m: float
    cell_m: float
    shape: tuple[int, int]
    """Rows and columns of the raster."""
    use: NDArray[np.int64]
    """Which of all simulations these are."""
    groups: tuple[_Group, ...]

    @classmethod
    def of(cls, sites: Sites, problem: Problem, counts: NDArray[np.bool_]) -> _Ground:
        """The cells that are open once the kept sites stand."""
        cells, sims = OpenCells(problem), sites.model.simulations
        for kept in problem.kept_cells:
            cells.change(*kept, 1)
        row, col = (at.astype(np.int64) for at in np.nonzero(cells.open))
        xy, quality = sites.at(row, col)
        use = np.flatnonzero(counts)
        kinds = [flight[2:] for flight in sims.flights for _ in range(*flight[:2])]
        used = [kinds[v] for v in use]
        groups = tuple(
            _Group(np.array([v for v, other in enumerate(used) if other == kind]), *kind)
            for kind in dict.fromkeys(used)
        )
        patchy = quality[:, None] * np.exp(patch_factors(xy, sims.patches[use]))
        cell_m = problem.today.cell_m
        block = exclusive_block(problem.spacing_m, cell_m)
        return cls(row, col, xy, patchy, block, problem.spacing_m, cell_m, problem.shape, use, groups)

    @cached_property
    def _numbers(self) -> Floats:
        return self.on_raster(np.arange(len(self.row)), np.arange(len(self.row), dtype=float))

    def on_raster(self, cells: Cells, values: Floats) -> Floats:
        """Values of some cells (rows, cols), NaN elsewhere."""
        raster = np.full(self.shape, np.nan)
        raster[self.row[cells], self.col[cells]] = values
        return raster

    def best(self, raster: Floats, size: int, most: int) -> Cells:
        """The best cells above 0, one in a block, so many at most."""
        row, col = best_cells(raster, size, 0.0, most)
        return np.asarray(self._numbers[row, col], dtype=np.int64)

    def number(self, cells: pd.DataFrame) -> Cells:
        """Which of the cells these (row, col) are; those that are none of them are left out."""
        row, col = (cells[name].to_numpy(np.int64) for name in ("row", "col"))
        number = self._numbers[row, col]
        return np.asarray(number[~np.isnan(number)], dtype=np.int64)


@dataclass(frozen=True)
class _Blocks:
    """Blocks of cells, each with the box about their centres."""

    of: Cells
    """(m,): the block of each cell."""
    order: Cells
    first: Cells
    low: Floats
    high: Floats

    @classmethod
    def cut(cls, ground: _Ground, size: int) -> _Blocks:
        """Blocks of size x size cells."""
        at = np.column_stack([ground.row, ground.col]) // size
        _, of = np.unique(at, axis=0, return_inverse=True)
        order = np.argsort(of.ravel(), kind="stable")
        first = np.flatnonzero(np.diff(of.ravel()[order], prepend=-1))
        low, high = (find.reduceat(ground.xy[order], first) for find in (np.minimum, np.maximum))
        return cls(of.ravel(), order, first, low, high)

    def largest(self, values: Floats) -> Floats:
        """The largest of values (m, v) in each block."""
        return np.asarray(np.maximum.reduceat(values[self.order], self.first))

    def apart(self, low: Floats, high: Floats) -> Floats:
        """Metres between boxes and these blocks, (boxes, blocks)."""
        gap = np.maximum(low[:, None] - self.high, self.low - high[:, None])
        return np.asarray(np.hypot(*np.maximum(gap, 0.0).T).T)


@dataclass(frozen=True)
class _Given:
    """What a limit takes for certain; v simulations that count."""

    p: Floats
    """(m, nodes, v): probability of a pool at each cell."""
    left: Floats
    """(d, nodes, v): forage that would be missed, as shares of it all."""
    feeds: Floats
    """(m, v): what a pool at the cell makes others serve."""
    served: Floats
    """(v,): what is served without the pools."""


# --- the full limit --------------------------------------------------------------------------------------------------


def _highest(model: MeanField, base: Course, ground: _Ground, more: int) -> _Given:
    """No set of so many more sites has a higher probability anywhere, or makes others serve more."""
    p, steepest = _recursion(model, base, ground, more)
    influence = _influence(model, base, ground, steepest)
    feeds = np.zeros(ground.quality.shape)
    for group in ground.groups:
        flow, of = group.feeds(cdist(ground.xy, base.xy)).astype(np.float32), group.of
        counts = influence[:, :, of].reshape(len(base.xy), model.years * len(of))
        sent = (flow @ counts).reshape(-1, model.years, len(of))
        feeds[:, of] = (p[:, :-1, of] * sent).sum(axis=1) * ground.quality[:, of]
    left = model.demand.share[:, None, None] * model.missed(base)[:, :, ground.use]
    return _Given(p[:, model.nodes], left, feeds, base.served[ground.use])


def _recursion(model: MeanField, base: Course, ground: _Ground, more: int) -> tuple[Floats, Floats]:
    """The highest probabilities of a pool at each cell, from today on (m, years + 1, v), and the steepest chords of C
    at the places (n, years, v)."""
    use, places = ground.use, _Places.of(model, base, ground.use)
    half, unmapped, z = model.simulations.rates.half[1, use], model.simulations.rates.unmapped[use], places.z
    gone = np.minimum(1.0, model.simulations.draws.e[use] / ground.quality ** model.simulations.draws.x[use])
    near = _Neighbours.of(base, ground, more)
    p = np.zeros((len(ground.row), model.years + 1, len(use)))
    rise, steepest = np.zeros(places.quality.shape), np.empty((len(base.xy), model.years, len(use)))
    for year in range(model.years):
        arrivals, further = near.arrivals(places.quality * (base.p[:, year, use] + rise), ground.quality * p[:, year])
        c = found(arrivals + unmapped, half, z)
        p[:, year + 1] = c + p[:, year] * (1.0 - gone) * (1.0 - c)
        further += near.between(places.quality * rise)
        s = base.arrivals[:, year, use]
        steepest[:, year] = _steepest_chord(s, further, places.half, z)
        c = found(s + further, places.half, z)
        before = base.p[:, year, use] + rise
        rise = c + before * (1.0 - places.gone) * (1.0 - c) - base.p[:, year + 1, use]
    return p, steepest


class _Places(NamedTuple):
    """Rates of the places that stand in any case (n, v)."""

    quality: Floats
    half: Floats
    gone: Floats
    z: Floats
    """(v,)"""

    @classmethod
    def of(cls, model: MeanField, base: Course, use: NDArray[np.int64]) -> _Places:
        sims, quality = model.simulations, base.quality[:, use]
        pool = np.r_[model.known.pool, np.ones(len(base.xy) - len(model.known.p), dtype=bool)]
        gone = np.minimum(1.0, sims.draws.e[use] / quality ** sims.draws.x[use])
        return cls(quality, sims.rates.of(pool)[:, use], gone, sims.draws.z[use])


@dataclass(frozen=True)
class _Neighbours:
    """What can arrive at cells and places."""

    groups: tuple[_Group, ...]
    more: int
    blocks: _Blocks
    targets: _Blocks
    alone: bool
    """Whether a block holds one site at most."""
    to_cells: list[Singles]
    """By group: L from the places to the cells."""
    to_targets: list[Floats]
    """L from the nearest cell of each block that may hold a site beside one in the target."""
    to_places: list[Floats]
    flows: list[Flow]

    @classmethod
    def of(cls, base: Course, ground: _Ground, more: int) -> _Neighbours:
        wide = max(1, int(TARGET_M / ground.cell_m))
        blocks, targets = _Blocks.cut(ground, max(ground.block, wide)), _Blocks.cut(ground, wide)
        beside = np.maximum(blocks.apart(targets.low, targets.high), least_apart(ground.spacing_m))
        away = blocks.apart(base.xy, base.xy)
        apart = cdist(ground.xy, base.xy)
        groups = ground.groups
        return cls(
            groups,
            more,
            blocks,
            targets,
            ground.block >= wide,
            [group.feeds(apart).astype(np.float32) for group in groups],
            [group.feeds(beside) for group in groups],
            [group.feeds(away) for group in groups],
            [flow_of(base.xy, group.dispersal, group.far) for group in groups],
        )

    def arrivals(self, sent: Floats, from_sites: Floats) -> tuple[Floats, Floats]:
        """At most what arrives at a cell (m, v) where the places send this much (n, v) and a site at each cell that (m,
        v); and what arrives at the places (n, v) from sites."""
        best = self.blocks.largest(from_sites)
        at_cells, at_places = np.empty(from_sites.shape), np.empty(sent.shape)
        for number, group in enumerate(self.groups):
            of = group.of
            some = np.ascontiguousarray(best[:, of])
            fed = self._from(self.to_targets[number], some, self.more - 1)[self.targets.of]
            at_cells[:, of] = self.to_cells[number] @ sent[:, of].astype(np.float32) * (1.0 + ROUND_UP) + fed
            at_places[:, of] = self._from(self.to_places[number], some, self.more)
        return at_cells, at_places

    def between(self, sent: Floats) -> Floats:
        """What arrives at the places from each other (n, v)."""
        out = np.empty(sent.shape)
        for flow, group in zip(self.flows, self.groups, strict=True):
            out[:, group.of] = flow @ sent[:, group.of]
        return out

    def _from(self, near: Floats, best: Floats, sites: int) -> Floats:
        return _largest_sum(near, best, sites) if self.alone else sites * _largest_sum(near, best, min(sites, 1))


@njit(nogil=True)
def _largest_sum(near: Floats, best: Floats, most: int) -> Floats:
    """The sum of the `most` largest near[i, h] best[h, v] over h: (n, v)."""
    out, top = np.zeros((near.shape[0], best.shape[1])), np.empty(most)
    for i in range(near.shape[0]):
        for v in range(best.shape[1] if most > 0 else 0):
            top[:] = 0.0  # in descending order
            for h in range(near.shape[1]):
                value = near[i, h] * best[h, v]
                if value > top[most - 1]:
                    at = most - 1
                    while at > 0 and top[at - 1] < value:
                        top[at] = top[at - 1]
                        at -= 1
                    top[at] = value
            out[i, v] = top.sum()
    return out


def _steepest_chord(s: Floats, further: Floats, half: Floats, z: Floats) -> Floats:
    """At least (C(s + d) - C(s)) / d for every 0 < d <= further.

    C is convex up to its inflection and concave from there on. So the chord gets steeper as far as its end touches the
    curve, and there it is the tangent: bisection, from below, where the tangent is steeper.
    """
    s = np.maximum(s, LEAST_ARRIVALS)

    def slope(at: Floats) -> Floats:
        c = found(at, half, z)
        return np.asarray(z * c * (1.0 - c) / at)

    def chord(at: Floats) -> Floats:
        return np.asarray((found(at, half, z) - found(s, half, z)) / np.maximum(at - s, LEAST_ARRIVALS))

    inflection = half * np.maximum((z - 1.0) / (z + 1.0), 0.0) ** (1.0 / z)
    low, end = np.maximum(s, inflection), s + further
    high = np.maximum(low, end)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2.0
        ahead = slope(middle) > chord(middle)
        low, high = np.where(ahead, middle, low), np.where(ahead, high, middle)
    still_steeper = (end <= inflection) | (slope(end) >= chord(end))
    return np.asarray(np.where(still_steeper, np.maximum(chord(end), slope(s)), slope(low)))


def _influence(model: MeanField, base: Course, ground: _Ground, steepest: Floats) -> Floats:
    """At most what one more arrival at each place in each year makes the places serve, (n, years, v)."""
    places, use, years = _Places.of(model, base, ground.use), ground.use, model.years
    own, missed = np.empty((len(base.xy), len(model.nodes), len(use))), model.missed(base)
    for group in ground.groups:
        of = group.of
        left = model.demand.share[:, None, None] * missed[:, :, use[of]]
        for i, reach in enumerate(group.serves(cdist(base.xy, model.demand.xy))):
            k = reach[:, None, None]
            own[i, :, of] = (k * left / np.maximum(1.0 - k * base.p[i, model.nodes][:, use[of]], 1e-9)).sum(axis=0).T
    flows = [flow_of(base.xy, group.dispersal, group.far) for group in ground.groups]
    at_node = {int(year): number for number, year in enumerate(model.nodes)}
    out, value = np.zeros(steepest.shape), np.zeros(places.quality.shape)
    for year in range(years, 0, -1):
        if year < years:
            c = found(base.arrivals[:, year, use], places.half, places.z)
            value *= (1.0 - places.gone) * (1.0 - c)
            for flow, group in zip(flows, ground.groups, strict=True):
                of = group.of
                value[:, of] += places.quality[:, of] * (flow @ out[:, year, of])
        if year in at_node:
            value += model.node_weights[at_node[year]] * own[:, at_node[year]]
        out[:, year - 1] = value * (1.0 - base.p[:, year - 1, use] * (1.0 - places.gone)) * steepest[:, year - 1]
    return out


# --- the conditional limit -------------------------------------------------------------------------------------------


def _as_with_plan(model: MeanField, plan: Course, stays: NDArray[np.bool_], ground: _Ground) -> _Given:
    """Probabilities as they are with the plan; `stays` (n,) are its places that are no free sites."""
    use, rates, draws = ground.use, model.simulations.rates, model.simulations.draws
    apart = cdist(ground.xy, plan.xy)
    stands = stays | (apart >= max(least_apart(ground.spacing_m), ground.cell_m / 2.0))
    sent = plan.quality[:, None, use] * plan.p[:, :-1, use]
    arrivals = np.empty((len(ground.row), model.years, len(use)))
    missed, away = model.missed(plan)[:, :, use], cdist(plan.xy[~stays], model.demand.xy)
    for group in ground.groups:
        flow, of = (group.feeds(apart) * stands).astype(np.float32), group.of
        some = sent[:, :, of].reshape(len(plan.xy), model.years * len(of)).astype(np.float32)
        arrivals[:, :, of] = (flow @ some).reshape(-1, model.years, len(of)) * (1.0 + ROUND_UP)
        for k, occupied in zip(group.serves(away), plan.p[~stays][:, model.nodes][:, :, use[of]], strict=True):
            missed[:, :, of] /= 1.0 - k[:, None, None] * occupied
    gone = np.minimum(1.0, draws.e[use] / ground.quality ** draws.x[use])
    p = np.zeros((len(ground.row), model.years + 1, len(use)))
    for year in range(model.years):
        c = found(arrivals[:, year] + rates.unmapped[use], rates.half[1, use], draws.z[use])
        p[:, year + 1] = c + p[:, year] * (1.0 - gone) * (1.0 - c)
    served = model.node_weights @ (1.0 - np.tensordot(model.demand.share, missed, 1))
    left = model.demand.share[:, None, None] * missed
    return _Given(p[:, model.nodes], left, np.zeros(ground.quality.shape), served)


# --- the most that a set of pools can serve, with probabilities given ------------------------------------------------


class _Part(NamedTuple):
    """Nodes and simulations that share their flights, c of them."""

    end_m: float
    """So far there is any k."""
    left: Floats
    """(d, c), weighted."""
    of_k: Singles
    """The functions of k by distance (`_functions_of_k`)."""
    of_p: list[Singles]
    """What they are multiplied with (m, c): m(p k) is the sum."""


class _Tangents(NamedTuple):
    """A linear function above what sites serve."""

    constant: Floats
    """By group of points."""
    u: list[Singles]
    """By part (c, d): how much of u counts."""
    m: list[Singles]


class _Coverage:
    """Forage that sites serve of what is left, and more that they make others serve; the points lie in groups."""

    def __init__(self, model: MeanField, ground: _Ground, given: _Given, weights: Floats) -> None:
        self.ground, self.feeds = ground, given.feeds @ weights * (1.0 + ROUND_UP)
        xy = model.demand.xy
        span = max(1.0, float(np.ptp(xy, axis=0).max()))
        side = np.minimum((xy - xy.min(axis=0)) / span * GROUPS_A_SIDE, GROUPS_A_SIDE - 1).astype(int)
        group = side @ np.array([1, GROUPS_A_SIDE])
        order = np.argsort(group, kind="stable")
        self.first, self.corner = np.flatnonzero(np.diff(group[order], prepend=-1)), xy.min(axis=0)
        self.xy = (xy[order] - self.corner).astype(np.float32)
        self.parts = list[_Part]()
        for group in ground.groups:
            of = group.of
            p = given.p[:, :, of].reshape(len(ground.row), -1)
            left = given.left[order][:, :, of] * (model.node_weights[:, None] * weights[of])
            most = min(max(float(p.max()), 0.1), HIGHEST)
            levels = (LEVEL * most, most)
            self.parts.append(
                _Part(
                    group.end_m * ROUNDING,
                    left.reshape(len(xy), -1),
                    _functions_of_k(group, levels),
                    _functions_of_p(p, levels),
                )
            )

    def reach(self, cells: Cells) -> list[Singles]:
        """The functions of k by part, (functions, cells, d)."""
        xy = (self.ground.xy[cells] - self.corner).astype(np.float32)
        return [_look_up(xy, self.xy, STEPS / part.end_m, part.of_k) for part in self.parts]

    def at(self, cells: Cells, reach: list[Singles], x: Floats) -> _Tangents:
        """The tangents at these shares x of pools."""
        constant, for_u, for_m = np.zeros(len(self.first)), [], []
        shares = x[:, None].astype(np.float32)
        for part, functions in zip(self.parts, reach, strict=True):
            products = [k.T @ (shares * p[cells]) for k, p in zip(functions, part.of_p, strict=True)]
            m = np.sum(products, axis=0, dtype=np.float64)
            missed = np.exp(-m)
            straight = products[0] < 1.0 - missed
            bent = np.where(straight, 0.0, part.left)
            constant += np.add.reduceat((bent * (1.0 - missed - m * missed)).sum(axis=1), self.first)
            for_u.append(np.ascontiguousarray((part.left - bent).T, dtype=np.float32))
            for_m.append(np.ascontiguousarray((bent * missed).T, dtype=np.float32))
        return _Tangents(constant, for_u, for_m)

    def worth(self, cells: Cells, reach: list[Singles], tangents: _Tangents) -> Singles:
        """What a pool at each cell counts at each point (cells, d), but for what it makes others serve."""
        out = np.zeros((len(cells), len(self.xy)), np.float32)
        for part, functions, u, m in zip(self.parts, reach, tangents.u, tangents.m, strict=True):
            for number, (k, p) in enumerate(zip(functions, part.of_p, strict=True)):
                counts = p[cells] @ (m + u if number == 0 else m)
                counts *= k
                out += counts
        out *= np.float32(1.0 + ROUND_UP)
        return out

    def total_worth(self, cells: Cells, tangents: _Tangents) -> Floats:
        """The same over all points (cells,), and what it makes others serve."""
        out = self.feeds[cells]
        counts = [
            (np.ascontiguousarray((u + m).T), np.ascontiguousarray(m.T))
            for u, m in zip(tangents.u, tangents.m, strict=True)
        ]
        for a in range(0, len(cells), AT_ONCE):
            some = cells[a : a + AT_ONCE]
            for part, functions, (first, others) in zip(self.parts, self.reach(some), counts, strict=True):
                for number, (k, p) in enumerate(zip(functions, part.of_p, strict=True)):
                    sums = (k @ (others if number else first)) * p[some]
                    out[a : a + AT_ONCE] += sums.sum(axis=1) * (1.0 + ROUND_UP)
        return out

    def alone(self, cells: Cells) -> Floats:
        """What pools at cells serve, each as the only one (cells,)."""
        left = [np.ascontiguousarray(part.left.T, dtype=np.float32) for part in self.parts]
        return self.total_worth(cells, _Tangents(np.zeros(0), left, [0.0 * of for of in left]))


def _functions_of_p(p: Floats, levels: tuple[float, float]) -> list[Singles]:
    """p, p^2 / 2, and the shares of the levels: what -log(1 - u) is above u + u^2 / 2, times k, is convex in p^3, so it
    lies below straight lines between the levels."""
    p = np.minimum(p, levels[1])
    low, high = (level**3 for level in levels)
    beyond = np.maximum(p**3 - low, 0.0) / (high - low)
    below = np.where(p < levels[0], p**3 / low, 1.0 - beyond)
    return [shares.astype(np.float32) for shares in (p, p**2 / 2.0, below, beyond)]


def _functions_of_k(group: _Group, levels: tuple[float, float]) -> Singles:
    """k, k^2, and what -log(1 - u) is above u + u^2 / 2 at u = each level times k: (steps, functions).

    All fall with the distance, and at each step stands the value where it begins; nothing beyond the last.
    """
    step: Floats = np.arange(STEPS, dtype=np.float64)
    k = gets_so_far(step * (group.end_m * ROUNDING / STEPS / group.forage), group.far)
    above = [-np.log1p(-level * k) - level * k - (level * k) ** 2 / 2.0 for level in levels]
    return np.vstack([np.stack([k, k**2, *above], axis=1), np.zeros((1, 4))]).astype(np.float32)


@njit(nogil=True, fastmath=True)
def _look_up(cells: Singles, points: Singles, steps_a_metre: float, table: Singles) -> Singles:
    """The four functions of a table at the distances between cells and points: (functions, cells, points)."""
    out = np.empty((4, cells.shape[0], points.shape[0]), np.float32)
    at, last, scale = np.empty(points.shape[0], np.int32), np.int32(table.shape[0] - 1), np.float32(steps_a_metre)
    for i in range(cells.shape[0]):
        for c in range(points.shape[0]):
            d = math.sqrt((cells[i, 0] - points[c, 0]) ** 2 + (cells[i, 1] - points[c, 1]) ** 2)
            at[c] = min(np.int32(d * scale), last)
        for c in range(points.shape[0]):
            step = at[c]
            out[0, i, c], out[1, i, c] = table[step, 0], table[step, 1]
            out[2, i, c], out[3, i, c] = table[step, 2], table[step, 3]
    return out


def _largest(cover: _Coverage, more: int, start: Cells) -> float:
    """No `more` allowed sites serve more; start: cells that are a good choice."""
    ground, every, lowest = cover.ground, np.arange(len(cover.ground.row)), math.inf
    step = EVERY if len(every) > FEW_CELLS else 1
    some = every[(ground.row % step == 0) & (ground.col % step == 0)]
    program = _Program(cover, more, start if len(start) else every[:1])
    program.cut(np.ones(len(start)) if len(start) else np.zeros(1))
    best = ground.best(ground.on_raster(some, cover.alone(some)), 2 * step, FIRST_CELLS)
    for cells in (some, every, every):
        program.join(np.setdiff1d(best, program.columns))
        mixed, prices = program.solve()
        net = ground.on_raster(cells, cover.total_worth(cells, mixed))
        prices.take_off(net)
        best = ground.best(net, 2 * step, more + MORE_CELLS)
        if len(cells) == len(every):
            total = float(mixed.constant.sum() + prices.price.sum()) + sum_of_largest(net, more, ground.block)
            lowest = min(lowest, total)
    return lowest


class _Program:
    """The linear program over some cells (columns): shares of pools that serve most under all tangents so far."""

    def __init__(self, cover: _Coverage, sites: int, columns: Cells) -> None:
        self.cover, self.sites, self.columns, self.reach = cover, sites, columns, cover.reach(columns)
        self.tangents, self.slopes = list[_Tangents](), list[Floats]()  # a slope: (columns, groups)
        self.discs = np.empty((0, 2))

    def cut(self, x: Floats) -> None:
        """Adds the tangents at these shares."""
        some = np.flatnonzero(x > LEAST_SHARE)
        tangents = self.cover.at(self.columns[some], [k[:, some] for k in self.reach], x[some])
        self.tangents.append(tangents)
        self.slopes.append(self._slope(self.columns, self.reach, tangents))

    def join(self, more: Cells) -> None:
        """Takes in further columns."""
        reach = self.cover.reach(more)
        self.slopes = [
            np.vstack([slope, self._slope(more, reach, tangents)])
            for slope, tangents in zip(self.slopes, self.tangents, strict=True)
        ]
        self.columns = np.r_[self.columns, more]
        self.reach = [np.concatenate(both, axis=1) for both in zip(self.reach, reach, strict=True)]

    def _slope(self, cells: Cells, reach: list[Singles], tangents: _Tangents) -> Floats:
        worth = self.cover.worth(cells, reach, tangents)
        return np.add.reduceat(worth, self.cover.first, axis=1).astype(np.float64)

    def solve(self) -> tuple[_Tangents, DualPrices]:
        """The mixture of tangents, and the prices on discs, that bound the columns closest."""
        ground = self.cover.ground
        radius = ground.spacing_m / ground.cell_m / 2.0
        at = np.column_stack([ground.row[self.columns], ground.col[self.columns]]).astype(float)
        lattice, before = _lattice(at, radius), math.inf
        for _ in range(PROGRAMS):
            value, x, mixture, price = self._solve_once(_inside(self.discs, at, radius))
            mixed = self._mix(mixture)
            prices = DualPrices(self.discs[:, 0].copy(), self.discs[:, 1].copy(), radius, price)
            if value > before * (1.0 - SLOW):
                break
            self.discs, before = np.vstack([self.discs, _crowded(lattice, at, radius, x)]), value
            self.cut(x)
        return mixed, prices

    def _solve_once(self, discs: NDArray[np.bool_]) -> tuple[float, Floats, Floats, Floats]:
        """Value, shares, how much of each tangent by group (tangents, groups), and the price of each disc."""
        n, groups, feeds = len(self.columns), len(self.cover.first), self.cover.feeds[self.columns]
        slopes, constants = np.concatenate([of.T for of in self.slopes]), [of.constant for of in self.tangents]
        unit = max(float(slopes.max()), float(feeds.max()), LEAST_UNIT)
        slopes[slopes < LEAST_SLOPE * slopes.max()] = 0.0
        cuts = hstack([csr_array(-slopes / unit), vstack([eye_array(groups)] * len(self.slopes))])
        sites = np.vstack([np.ones((1, n)), discs])
        found = linprog(
            -np.r_[feeds / unit, np.ones(groups)],
            A_ub=vstack([cuts, hstack([csr_array(sites), csr_array((len(sites), groups))])], format="csr"),
            b_ub=np.r_[np.concatenate(constants) / unit, self.sites, np.ones(len(discs))],
            bounds=[(0.0, 1.0)] * n + [(None, None)] * groups,
            method="highs",
        )
        if found.status != 0:  # then the first tangents alone, which hold as well
            mixture = np.eye(1, len(self.slopes)).T * np.ones(groups)
            return math.inf, np.zeros(n), mixture, np.zeros(len(discs))
        duals = np.maximum(-found.ineqlin.marginals, 0.0)
        mixture = duals[: cuts.shape[0]].reshape(-1, groups)
        return -found.fun * unit, found.x[:n], mixture / mixture.sum(axis=0), duals[cuts.shape[0] + 1 :] * unit

    def _mix(self, mixture: Floats) -> _Tangents:
        """The tangents, each point's in the mixture of its group."""
        of = np.repeat(np.arange(mixture.shape[1]), np.diff(np.r_[self.cover.first, len(self.cover.xy)]))
        constant, u, m = np.zeros(mixture.shape[1]), *([np.zeros_like(p) for p in self.tangents[0].u] for _ in "um")
        for share, tangents in zip(mixture, self.tangents, strict=True):
            constant += share * tangents.constant
            for part in range(len(u)):
                u[part] += share[of].astype(np.float32) * tangents.u[part]
                m[part] += share[of].astype(np.float32) * tangents.m[part]
        return _Tangents(constant, u, m)


def _lattice(at: Floats, radius: float) -> Floats:
    """Points (n, 2) of a lattice about the cells (row, col), as far as a disc's radius from any."""
    step = max(1.0, round(radius * LATTICE))
    ahead = np.arange(-math.ceil(radius / step), math.ceil(radius / step) + 1)
    steps = np.stack(np.meshgrid(ahead, ahead), axis=-1).reshape(1, -1, 2)
    return np.asarray(np.unique((np.rint(at / step)[:, None] + steps).reshape(-1, 2), axis=0) * step)


def _inside(points: Floats, at: Floats, radius: float) -> NDArray[np.bool_]:
    """Which cells lie in the discs about points (points, cells)."""
    return np.asarray(cdist(points, at, "sqeuclidean") < radius**2 * (1.0 - 1e-9))


def _crowded(lattice: Floats, at: Floats, radius: float, x: Floats) -> Floats:
    """Discs with more than one pool, the fullest first, none of which shares a cell that is taken with a fuller one."""
    taken = np.flatnonzero(x > LEAST_SHARE)
    inside = _inside(lattice, at[taken], radius)
    pools, out = inside @ x[taken], list[int]()
    for disc in np.argsort(-pools)[: int((pools > 1.0 + CROWDED).sum())]:
        if not any((inside[disc] & inside[other]).any() for other in out):
            out.append(int(disc))
    return lattice[out]
