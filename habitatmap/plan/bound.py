"""How much N more pools can reach at most: a certified upper bound for the problem `search.choose` solves.

Write w' = w R for the forage still missed at a cell c, u_cj = p_j k(d_cj), m_cj = -log(1 - u_cj), and f(S) for what the
set S of N cells adds: f(S) = sum_c w'_c (1 - prod_S (1 - u_cj)). In every cell the bracket is at most sum_S u_cj, and
it is 1 - exp(-sum_S m_cj), which is concave in the sum and so lies below each of its tangents. Therefore, for ANY
numbers z_c >= 0 and 0 <= beta_c <= 1,

    f(S) <= sum_c w'_c (1 - beta_c) (1 - e^-z_c - z_c e^-z_c)
            + sum over j in S of G_j,    G_j = sum_c w'_c (beta_c u_cj + (1 - beta_c) e^-z_c m_cj),

and the second sum is at most that of the N largest G. Sites keep their spacing, so at most one stands in a block whose
cells are all nearer than that: the N largest block maxima do. Good z and beta come from the concave relaxation
"0 <= x_j <= 1, sum x = N", solved by mirror ascent on blocks; whatever they are, the bound is then calculated over
every cell and every candidate at full resolution, and holds.

Spacing asks for more: any disc narrower than the spacing holds one site at most. With dual prices t_q >= 0 on such
discs a set pays no more than sum t_q, so the second sum is at most sum t_q + the N largest of G_j - (the prices of the
discs about j), again for ANY prices. They are raised on discs where the relaxation crowds its pools, and lowered
elsewhere; the smaller of the bounds with and without them counts.

Three roundings are all taken upwards. (1) m is worked out at some levels of p only, and at some of them its slope in p;
between them stands the polynomial that has these values and slopes. No derivative of m in p is below 0, so where only
the lowest and the highest level go without a slope the polynomial is nowhere below m: by Hermite's remainder m less it
is a derivative times (p - lowest) (p - highest) and squares. (2) Probabilities are capped at P_CAP = 1 - 1e-12, where m
is finite; a pool loses at most 1e-12 sum_c w'_c k(d_cj) by it, and N times the largest such sum is added. (3) The error
of the transforms, in single precision some 2e-6 of the largest G, is added as 2e-5 of it for every pool. Quotas are
left out, which can only raise the bound. A budget is met by a price on each unit of it
(`BudgetConstraint.largest_total`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple, Unpack

import numpy as np
import pandas as pd
import scipy.fft
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar
from scipy.sparse import coo_array, csr_array

from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import THREADS, Engine, block, default_workers
from habitatmap.geo.grid import Tile, cut
from habitatmap.geo.masks import least_apart
from habitatmap.plan.correlate import fft_cells
from habitatmap.plan.exact import solve
from habitatmap.plan.gain_map import GainMap, OpenCells, best_cells, block_best
from habitatmap.plan.problem import Problem, Rules
from habitatmap.plan.reach import CHUNK, Cells, Floats, block_sum, footprints, forage_of, half_scale

P_CAP = 1.0 - 1e-12
ROUND_UP = 1e-12
ROUND_SINGLE = (
    2e-5  # transforms in single precision: below 2e-6 of the largest G as measured, and counted so many times
)
WITH_SLOPE = (0.5,)  # levels that have a slope, from the lowest likely probability to the highest
ALIKE = 1e-6  # probabilities that differ by less have one map
MOST_COUNTED = 8.0  # so many times the errors of maps may count; levels that would ask for more lie farther apart
STEPS = 10  # of p, between which m is taken by lines where z is set
FINE = 24  # points over the width at which k is a half, between which z is taken by lines
ROUNDS = 4
# the search for good z and beta; none of these can make the bound wrong
NEAR_LAST = 0.85  # a column's first gain over what the last pool of the greedy plan adds
COLUMN_CELLS = 6_000_000  # blocks under all candidate columns together: sets memory and time
NEARLY = 0.97  # columns whose G is below this share of the pools' mean are dropped
MOST_JOINED = 300  # columns that one round may add
LEAST_SHARE = 1e-4  # a column with less of a pool is left out
LEAST_PROGRESS = 1e-3  # a round that lowers the bound by less of itself is the last
MOST_PRICED = 8  # rounds are begun only while no more cells were priced than so many times the frame
GOOD_ENOUGH = 1.015  # where the bound is nearer than this to what greedy reaches, neither rounds nor prices are sought
FIRST_STAGES = ((0.03, 25), (0.01, 25), (0.003, 40))  # softness, steps
ONLY_STAGES = ((0.01, 25), (0.003, 25))  # where there is one round
LATER_STAGES = ((0.003, 30), (0.001, 40))
DUAL_SOFTNESS, DUAL_TURNS, DUAL_STEPS = 0.001, 60, 4
CROWDED = 1.01  # pools in a disc
PATIENCE, HARDLY = 20, 3e-4  # turns without a bound that is lower by such a share of itself, after which prices stay
TRACE = np.float32(2e-6)  # less of a pool is left out of the sums over columns
LATTICE = 0.2  # lattice step over the discs' radius

Singles = NDArray[np.float32]
Numbers = Singles | Floats
Pools = tuple[Cells, Cells, Floats, Floats]  # row, col, p, and x pools (0-1) at each


class Term(StrEnum):
    """What a bound rests on."""

    NOTHING = "nothing to add"
    ALL_FORAGE = "all forage"
    FIRST_GAINS = "first gains"
    EVERY_SET = "every set"
    TANGENTS = "tangents"
    DUAL_PRICES = "tangents and dual prices"


class Ended(StrEnum):
    """Why the search for a lower bound came to its end."""

    SOLVED = "every set was looked at"
    CLOSE = "close to the plan"
    LITTLE_TO_WIN = "little more to win"
    NOTHING_TO_JOIN = "no cell is worth more"
    WORK_SPENT = "its share of the work is spent"
    ROUNDS = "all rounds were done"


@dataclass(frozen=True)
class Bound:
    """What N more pools can reach at most; shares of the area's forage (0-1), NaN where it has none."""

    value: float
    """Forage in reach that no plan of N pools exceeds: the smallest of `terms`, now included."""
    now: float
    """Forage in reach without a plan."""
    terms: dict[Term, float]
    """Each bound that was certified, as forage in reach."""
    by_number: Floats = field(default_factory=lambda: np.full(1, math.nan))
    """The same for 0, 1, ... sites besides the kept ones: what no so many exceed; tight near N."""
    ended: Ended = Ended.SOLVED
    """Why no lower one was looked for."""

    def share(self, with_plan: float) -> float:
        """`share_of_bound` of a plan: its gain over the bound's gain; 1 where nothing can be gained, NaN where no bound
        is known."""
        room = self.value - self.now
        if math.isnan(room):
            return math.nan
        return (with_plan - self.now) / room if room > 0 else 1.0


def upper_bound(
    demand: ArrayLike,
    places: pd.DataFrame,
    candidates: ArrayLike,
    pools: int,
    *,
    rounds: int = ROUNDS,
    **rules: Unpack[Rules],
) -> Bound:
    """Certifies what `pools` more pools can reach at most; the arguments are those of `search.choose`."""
    problem = Problem.of(demand, places, candidates, **rules)
    return certify(problem, pools, rounds=rounds)


def certify(
    problem: Problem,
    pools: int,
    *,
    rounds: int = ROUNDS,
    most: int = 0,
    tangents_only: bool = False,
    reached: Sequence[float] | None = None,
) -> Bound:
    """What no plan for the problem with `pools` sites exceeds; quotas are left out, kept sites are set. `most`: up to
    how many sites `Bound.by_number` tells; there the budget is left out as well. `tangents_only`: quicker, not quite as
    tight. `reached`: what each site of a plan adds (cells), besides the kept ones; a greedy plan is made where it is
    not known, or another than greedy's.

    Each of the `rounds` solves the relaxation on blocks, certifies it at full resolution, and hands the cells that were
    worth more than the blocks had shown to the next round.
    """
    rest = replace(problem.settled(), quotas=())
    left, more, total = forage_of(rest.today.missed), int(pools) - len(problem.kept_cells), problem.today.total
    if total <= 0:
        return Bound(math.nan, math.nan, {})
    if scratch.ends(rest.candidates)[1] > P_CAP:
        capped = scratch.cellwise(lambda part: np.minimum(part, P_CAP), rest.candidates, dtype=np.float64)
        rest = replace(rest, candidates=capped)
    cells, missed, k = OpenCells(rest), rest.today.missed, rest.today.kernel
    p = scratch.cellwise(_of_open, cells.blocked, rest.candidates, dtype=np.float64)
    # what each cell would add as the only one
    first = scratch.cellwise(np.multiply, p, rest.today.within_flight, dtype=np.float64)
    base = 1.0 - left / total  # with the kept sites
    if more <= 0 or not scratch.total(lambda part: (part > 0).sum(), first):
        return Bound(base, problem.today.now, {Term.NOTHING: base}, np.full(1, base))
    constraint = BudgetConstraint(
        more,
        exclusive_block(problem.spacing_m, problem.today.cell_m),
        rest.cost if cells.budgeted else None,
        cells.budget_left,
    )
    slack = more * ROUND_UP * scratch.ends(rest.today.within_flight)[1]
    terms = {Term.ALL_FORAGE: left, Term.FIRST_GAINS: constraint.largest_total(first) + slack}
    numbers = np.full(max(most, more), math.inf)  # by number of sites, from 1
    is_greedy = not (problem.quotas or cells.budgeted) and all(a >= b for a, b in pairwise(reached or ()))
    each = reached if reached and is_greedy and reached[-1] > 0 else [pick.gain for pick in GainMap(rest).greedy(more)]
    known, last, sites = sum(each), min(each), len(each)
    solved = None if cells.budgeted or tangents_only else solve(missed, p, k, cells.near, more, known)
    ended = Ended.SOLVED
    if solved is not None:
        terms[Term.EVERY_SET] = solved.gain + slack
        numbers[more - 1] = solved.gain
    else:
        relaxed = Relaxation(missed, p, first, last, sites, rest.today.cell_m, rest.today.median_m)
        certificate = Certificate(missed, p, first, k, p[relaxed.row, relaxed.col], rest.today.engine)
        common = certificate, constraint, known, relaxed, rounds
        found, ended = _certified(*common, radius=0.0, numbers=numbers)
        terms[Term.TANGENTS] = slack + found
        radius = problem.spacing_m / problem.today.cell_m / 2.0
        if radius > 1.0 and not tangents_only and ended is not Ended.CLOSE and relaxed.crowded(radius):
            found, ended = _certified(*common, radius=radius, numbers=numbers)
            terms[Term.DUAL_PRICES] = slack + found
    shares = {name: min(1.0, base + gain / total) for name, gain in terms.items()}
    first_sums = sums_of_largest(first, len(numbers), constraint.block)
    numbers = np.minimum(np.minimum(numbers, first_sums), left) + slack / more * np.arange(1, len(numbers) + 1)
    if rest.cost is None or not math.isfinite(rest.budget):
        numbers[more - 1] = min(numbers[more - 1], *terms.values())
    # so many can't do more than more of them
    numbers = np.minimum.accumulate(np.append(0.0, numbers)[::-1])[::-1]
    by_number = np.minimum(base + numbers / total, 1.0)
    return Bound(min(shares.values()), problem.today.now, shares, by_number, ended)


def _of_open(blocked: NDArray[np.uint16], p: Floats) -> Floats:
    return np.where((blocked == 0) & (p > 0), p, np.nan)


def _certified(
    certificate: Certificate,
    constraint: BudgetConstraint,
    known: float,
    relaxed: Relaxation,
    rounds: int,
    radius: float,
    numbers: Floats,
) -> tuple[float, Ended]:
    """The bound of the module's docstring but for roundings (2) and (3), the lowest of some rounds, and why no more
    were done.

    With a radius above 0 (cells) dual prices are set on discs of it about lattice points; each holds one site at most.
    `numbers` (what 1, 2, ... sites can add at most) is lowered in place: tangents hold for any number of sites.
    """
    lowest, ended = math.inf, Ended.ROUNDS
    for turn in range(rounds):
        duals = None
        if radius > 0.0:
            x, tau, duals = relaxed.solve_apart(radius)
        else:
            x, tau = relaxed.solve(LATER_STAGES if turn else FIRST_STAGES if rounds > 1 else ONLY_STAGES)
        some = x > LEAST_SHARE
        fixed, G = certificate.at(relaxed.row[some], relaxed.col[some], x[some], tau)
        largest = scratch.ends(G)[1]
        if duals is not None:
            fixed += float(duals.price.sum())
            duals.take_off(G)
        rounding = ROUND_SINGLE * largest
        found = fixed + constraint.largest_total(G) + constraint.pools * rounding
        of_many = fixed + sums_of_largest(G, len(numbers), constraint.block)
        np.minimum(numbers, of_many + rounding * np.arange(1, len(numbers) + 1), out=numbers)
        progress, lowest = 1.0 - found / lowest if turn else 1.0, min(lowest, found)
        if lowest < known * GOOD_ENOUGH:
            return lowest, Ended.CLOSE
        if progress < LEAST_PROGRESS:
            return lowest, Ended.LITTLE_TO_WIN
        if certificate.priced > MOST_PRICED * G.size:
            return lowest, Ended.WORK_SPENT
        if not relaxed.join(G, constraint.block):
            return lowest, Ended.NOTHING_TO_JOIN
    return lowest, ended


class DualPrices(NamedTuple):
    """A price (in cells of forage, 0 or more) on every site within `radius` of a lattice point (row, col), in cells."""

    row: Floats
    col: Floats
    radius: float
    price: Floats

    def take_off(self, G: Floats) -> None:
        """Takes off G (rows, cols) what a site at each cell pays."""
        for first in range(0, len(self.row), CHUNK):
            some = slice(first, first + CHUNK)
            _take_off(G, self.row[some], self.col[some], self.radius, self.price[some])
            scratch.relax()


@njit(nogil=True)
def _take_off(G: Floats, row: Floats, col: Floats, radius: float, price: Floats) -> None:
    """Takes each price off the cells that are less than the radius away."""
    for q in range(row.shape[0]):
        if price[q] > 0.0:
            for i in range(max(0, int(row[q] - radius)), min(G.shape[0], int(row[q] + radius) + 2)):
                for j in range(max(0, int(col[q] - radius)), min(G.shape[1], int(col[q] + radius) + 2)):
                    if (i - row[q]) ** 2 + (j - col[q]) ** 2 < radius * radius * (1.0 - 1e-9):
                        G[i, j] -= price[q]


class BudgetConstraint(NamedTuple):
    """What limits a set of sites: their number, one in a block of cells that are too near each other, the budget."""

    pools: int
    block: int
    cost: Floats | None
    budget: float

    def largest_total(self, G: Floats) -> float:
        """At least what G adds up to over any set of sites.

        With a budget: for any price t >= 0 of a unit of it no set is worth more than t x budget + the largest G - t x
        cost of so many blocks; the least of these over t is taken.
        """
        if self.cost is None:
            return sum_of_largest(G, self.pools, self.block)

        def at(price: float) -> float:
            assert self.cost is not None
            net = scratch.cellwise(lambda part, cost: part - price * cost, G, self.cost, dtype=np.float64)
            return price * self.budget + sum_of_largest(net, self.pools, self.block)

        steepest = scratch.ends(scratch.cellwise(np.divide, G, self.cost, dtype=np.float64))[1]
        found = minimize_scalar(at, bounds=(0.0, steepest), method="bounded", options={"maxiter": 40})
        return min(at(0.0), at(steepest), float(found.fun))


def exclusive_block(spacing_m: float, cell_m: float) -> int:
    """Cells a side of the largest block whose cells are all nearer than spacing_m: it holds one site at most."""
    size = 1
    while math.hypot(size, size) * cell_m < least_apart(spacing_m):
        size += 1
    return size


def sums_of_largest(G: Floats, most: int, size: int) -> Floats:
    """At least what G adds up to over any 1, 2, ..., `most` cells, no two of them in one block of size x size cells."""
    best = np.sort(block_best(G, size).ravel())[::-1][:most]
    found = np.cumsum(np.maximum(best, 0.0))
    return np.append(found, np.full(most - len(found), found[-1] if len(found) else 0.0))


def sum_of_largest(G: Floats, pools: int, size: int) -> float:
    """At least what G adds up to over any `pools` cells, no two of them in one block of size x size cells."""
    best = block_best(G, size).ravel()
    if len(best) > pools:
        best = np.partition(best, len(best) - pools)[-pools:]
    return float(best[best > 0].sum())


@njit(nogil=True)
def _level(p: float, levels: Floats) -> tuple[int, float]:
    """The level below p, and how far p lies on the way to the next one (0-1)."""
    n = 0
    while n < levels.shape[0] - 2 and p > levels[n + 1]:
        n += 1
    if levels.shape[0] == 1:
        return 0, 0.0
    return n, (p - levels[n]) / (levels[n + 1] - levels[n])


@njit(nogil=True)
def _overlay(
    z: Floats, U: Floats, corner: tuple[int, int, int], pools: Pools, k: Floats, levels: Floats, curved: Floats
) -> None:
    """Adds x m (by lines between levels, close enough for z) to z and x u to U, for pools (row, col, p, x), at every
    so many cells down and across from a cell on: the row, the column and the step of `corner`.
    """
    row, col, p, x = pools
    row0, col0, step = corner
    r = k.shape[0] // 2
    for q in range(row.shape[0]):
        n, t = _level(p[q], levels)
        below, above, linear = curved[n], curved[min(n + 1, levels.shape[0] - 1)], x[q] * p[q]
        down, up = x[q] * (1.0 - t), x[q] * t
        for i in range(max(0, -((row0 - row[q] + r) // step)), min(z.shape[0], (row[q] + r - row0) // step + 1)):
            a = row0 + i * step - row[q] + r
            for j in range(max(0, -((col0 - col[q] + r) // step)), min(z.shape[1], (col[q] + r - col0) // step + 1)):
                b = col0 + j * step - col[q] + r
                z[i, j] += down * below[a, b] + up * above[a, b]
                U[i, j] += linear * k[a, b]


@njit(nogil=True)
def _between(points: Floats, step: int, out: Floats) -> None:
    """Values at all cells from those at every so many, the first cell and one behind the last among them, by lines."""
    for i in range(out.shape[0]):
        a = i // step
        down = (i - a * step) / step
        for j in range(out.shape[1]):
            b = j // step
            right = (j - b * step) / step
            above = points[a, b] * (1.0 - right) + points[a, b + 1] * right
            below = points[a + 1, b] * (1.0 - right) + points[a + 1, b + 1] * right
            out[i, j] = above * (1.0 - down) + below * down


@njit(nogil=True)
def _tangents(w: Floats, U: Floats, Z: Floats, tau: float, r: int) -> float:
    """The tangents' fixed part of the cells within the halo r; U and Z become w (beta - 1) and w (1 - beta) e^-Z, the
    weights of u beyond w itself and of m. Where no pool is in reach beta is 1: there u is all that counts.
    """
    rows, cols = w.shape
    fixed = 0.0
    for i in range(rows):
        for j in range(cols):
            if w[i, j] > 0.0 and U[i, j] > 0.0:
                e = math.exp(-Z[i, j])
                apart = (U[i, j] - (1.0 - e)) / tau
                small = math.exp(-abs(apart))
                beta = 1.0 / (1.0 + small) if apart < 0.0 else small / (1.0 + small)
                if r <= i < rows - r and r <= j < cols - r:
                    fixed += w[i, j] * (1.0 - beta) * (1.0 - e - Z[i, j] * e)
                U[i, j], Z[i, j] = w[i, j] * (beta - 1.0), w[i, j] * (1.0 - beta) * e
            else:
                U[i, j], Z[i, j] = 0.0, 0.0
    return fixed


@njit(nogil=True)
def _soften(w: Numbers, U: Numbers, Z: Numbers, tau: float) -> tuple[float, float]:
    """sum w min_tau(U, 1 - e^-Z) and the tangents' fixed part; U and Z become w beta and w (1 - beta) e^-Z, the weights
    of u and m.
    """
    value, fixed = 0.0, 0.0
    for i in range(w.shape[0]):
        for j in range(w.shape[1]):
            if w[i, j] > 0.0 and U[i, j] == 0.0 and Z[i, j] == 0.0:  # as below, where no pool is in reach
                value -= w[i, j] * tau * math.log(2.0)
                U[i, j], Z[i, j] = w[i, j] * 0.5, w[i, j] * 0.5
            elif w[i, j] > 0.0:
                e = math.exp(-Z[i, j])
                apart = (U[i, j] - (1.0 - e)) / tau
                small = math.exp(-abs(apart))
                value += w[i, j] * (min(U[i, j], 1.0 - e) - tau * math.log1p(small))
                beta = 1.0 / (1.0 + small) if apart < 0.0 else small / (1.0 + small)
                fixed += w[i, j] * (1.0 - beta) * (1.0 - e - Z[i, j] * e)
                U[i, j], Z[i, j] = w[i, j] * beta, w[i, j] * (1.0 - beta) * e
            else:
                U[i, j], Z[i, j] = 0.0, 0.0
    return value, fixed


@njit(nogil=True)
def _add_between(part: Floats, polynomials: Floats, maps: Singles, out: Floats) -> None:
    """Adds to `out` the maps (map, rows, cols), each by its polynomial (map, degree) at `part` of the way."""
    for i in range(part.shape[0]):
        for j in range(part.shape[1]):
            if part[i, j] == part[i, j]:
                total = 0.0
                for n in range(maps.shape[0]):
                    weight = 0.0
                    for factor in polynomials[n, ::-1]:
                        weight = weight * part[i, j] + factor
                    total += weight * maps[n, i, j]
                out[i, j] += total


class Levels(NamedTuple):
    """Where m is worked out as it hangs on p, and what stands between. Polynomials are in t, which goes from 0 at the
    lowest p to 1 at the highest."""

    values: Floats
    """Rising probabilities."""
    slopes: Floats
    """Those of them, but for the ends, where m has its slope too."""
    polynomials: Floats
    """By which the maps of the values, and then of the slopes in t, count: (maps, maps), factors of 1, t, t^2, ..."""

    @property
    def width(self) -> float:
        """From the lowest p to the highest."""
        return float(self.values[-1] - self.values[0])

    def way(self, p: Floats) -> Floats:
        """t for p."""
        return np.asarray((p - self.values[0]) / (self.width or 1.0))

    @classmethod
    def of(cls, p: Floats, likely: Floats) -> Levels:
        """Those for p (rows, cols); closest to m among `likely` ones, those of the cells that may be chosen."""
        lowest, highest = scratch.ends(p)
        if highest - lowest < ALIKE:  # m rises with p
            return cls(np.array([highest]), np.empty(0), np.ones((1, 1)))
        low, high = (
            float(np.clip((of - lowest) / (highest - lowest), 0.0, 1.0)) for of in (likely.min(), likely.max())
        )
        for wide in (0.0, 0.5, 1.0):
            first, last = low * (1.0 - wide), high * (1.0 - wide) + wide
            at = np.unique([round(min(max(first + part * (last - first), 0.01), 0.99), 2) for part in WITH_SLOPE])
            polynomials = _each_its_own(np.array([0.0, *at, 1.0]), at)
            counted = polynomials @ np.linspace(0.0, 1.0, 101) ** np.arange(len(polynomials))[:, None]
            if np.abs(counted).sum(axis=0).max() <= MOST_COUNTED:
                break
        values = lowest + np.array([0.0, *at, 1.0]) * (highest - lowest)
        values[-1] = highest
        return cls(values, values[1:-1], polynomials)


def _each_its_own(values: Floats, slopes: Floats) -> Floats:
    """Polynomials (values and slopes, factors), each 1 at its own value or slope and 0 at all others."""
    degree = np.arange(len(values) + len(slopes))
    at_slopes = degree * slopes[:, None] ** np.maximum(degree - 1, 0)
    return np.asarray(np.linalg.inv(np.vstack([values[:, None] ** degree, at_slopes])).T)


class Certificate:
    """Certifies at full resolution: for z and beta of any fractional plan, the fixed part and G of every candidate.

    Where no pool of the plan is in reach of anything around, G is what the cell adds as the only one (`first`).
    """

    def __init__(
        self, missed: Floats, p: Floats, first: Floats, k: Floats, likely: Floats, engine: Engine = THREADS
    ) -> None:
        self.missed, self.p, self.first, self.k, self.r = missed, p, first, k, k.shape[0] // 2
        self.engine = engine
        self.n = fft_cells(self.r, (p.shape[0], p.shape[1]), engine.tile_cells)
        self.levels = Levels.of(p, likely)
        # of a plan's own pools, where it need not be exact
        self.step = max(1, int((k[self.r] > 0.5).sum()) // FINE)
        self.steps = np.unique([*self.levels.values, *np.linspace(likely.min(), likely.max(), STEPS)])
        self.at_steps = -np.log1p(-self.steps[:, None, None] * k)
        curved = -np.log1p(-self.levels.values[:, None, None] * k)
        slopes = self.levels.width * k / (1.0 - self.levels.slopes[:, None, None] * k)
        spectra = (scipy.fft.rfft2(m.astype(np.float32), (self.n, self.n)) for m in (k, *curved, *slopes))
        self.linear, *self.bent = spectra
        self.priced = 0
        """Cells whose G was worked out by transforms, over all calls."""

    def at(self, row: Cells, col: Cells, x: Floats, tau: float) -> tuple[float, Floats]:
        """The fixed part and G (NaN where no pool may stand) for x_j pools at the cells (row, col)."""
        rows, cols = self.p.shape
        pools = row, col, self.p[row, col], x
        G = scratch.copied(self.first)

        def price(tile: Tile) -> tuple[float, int]:
            r2 = 2 * self.r
            near = (row >= tile.row0 - r2) & (row < tile.row1 + r2) & (col >= tile.col0 - r2) & (col < tile.col1 + r2)
            if not near.any():
                return 0.0, 0
            answer = self._price(tile, (pools[0][near], pools[1][near], pools[2][near], pools[3][near]), tau, G)
            scratch.relax()
            return answer

        with ThreadPoolExecutor(self.engine.threads or default_workers()) as threads:
            answers = list(threads.map(price, cut((rows, cols), self.n - 2 * self.r)))
        self.priced += sum(cells for _, cells in answers)
        return sum(fixed for fixed, _ in answers), G

    def _sums(self, pools: Pools, tile: Tile, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
        """x m and x u summed over the pools, at the cells of a tile and its halo; between some of them by lines."""
        points = [-(-size // self.step) + 1 for size in shape]
        sums, cells = np.zeros((2, *points)), np.empty((2, *shape))
        corner = tile.row0 - self.r, tile.col0 - self.r, self.step
        _overlay(sums[0], sums[1], corner, pools, self.k, self.steps, self.at_steps)
        for some, every in zip(sums, cells, strict=True):
            _between(some, self.step, every)
        return cells[0], cells[1]

    def _price(self, tile: Tile, pools: Pools, tau: float, G: Floats) -> tuple[float, int]:
        """The fixed part of a tile, and how many cells were priced; writes its part of G."""
        r, n = self.r, self.n
        inside = np.s_[tile.row0 : tile.row1, tile.col0 : tile.col1]
        w = block(self.missed, tile, r, 0.0)
        Z, U = self._sums(pools, tile, w.shape)
        fixed = float(_tangents(w, U, Z, tau, r))
        p = self.p[inside]
        if np.isnan(p).all() or not U.any():
            return fixed, 0
        straight, bent = (scipy.fft.rfft2(of.astype(np.float32), (n, n)) for of in (U, Z))
        straight *= self.linear
        maps = np.empty((len(self.bent), *tile.shape), np.float32)
        of_u = [*self.levels.values, *[self.levels.width] * len(self.levels.slopes)]  # u is p k, and its slope in t
        for factor, spectrum, one in zip(of_u, self.bent, maps, strict=True):
            whole = scipy.fft.irfft2(np.float32(factor) * straight + bent * spectrum, (n, n), overwrite_x=True)
            one[:] = whole[2 * r : 2 * r + tile.shape[0], 2 * r : 2 * r + tile.shape[1]]
        _add_between(self.levels.way(p), self.levels.polynomials, maps, G[inside])
        return fixed, p.size


@njit(nogil=True)
def _spread(bi: Cells, bj: Cells, u: Singles, m: Singles, x: Singles, U: Singles, Z: Singles) -> None:
    """Sums x u and x m over columns; the arrays of blocks are padded by the footprints' radius."""
    wide = u.shape[2]
    for q in range(x.shape[0]):
        share = x[q]
        if share > TRACE:
            for a in range(u.shape[1]):
                _add_row(share, u[q, a], U[bi[q] + a, bj[q] : bj[q] + wide])
                _add_row(share, m[q, a], Z[bi[q] + a, bj[q] : bj[q] + wide])


@njit(nogil=True)
def _add_row(share: np.float32, row: Singles, total: Singles) -> None:
    """One row, a loop of its own: so the processor adds many cells at once."""
    for b in range(row.shape[0]):
        total[b] += share * row[b]


@njit(nogil=True, fastmath={"reassoc", "contract"})
def _gather(bi: Cells, bj: Cells, u: Singles, m: Singles, U: Singles, Z: Singles, out: Singles) -> None:
    """sum (u U + m Z) around each column."""
    for q in range(out.shape[0]):
        total = np.float32(0.0)
        for a in range(u.shape[1]):
            for b in range(u.shape[2]):
                total += u[q, a, b] * U[bi[q] + a, bj[q] + b] + m[q, a, b] * Z[bi[q] + a, bj[q] + b]
        out[q] = total


def _discs(row: Cells, col: Cells, radius: float) -> tuple[csr_array, Floats, Floats]:
    """Which columns lie within the radius of which lattice points (points x columns), for points with two at least."""
    step = max(1.0, round(radius * LATTICE))
    ahead = np.arange(-math.ceil(radius / step) - 1, math.ceil(radius / step) + 2)
    near_i, near_j = (np.rint(at / step)[:, None, None] for at in (row, col))
    i, j = np.broadcast_arrays(near_i + ahead[None, :, None], near_j + ahead[None, None, :])
    inside = (i * step - row[:, None, None]) ** 2 + (j * step - col[:, None, None]) ** 2 < radius**2 * (1.0 - 1e-9)
    column = np.broadcast_to(np.arange(len(row))[:, None, None], i.shape)[inside]
    points, point = np.unique(np.column_stack([i[inside], j[inside]]), axis=0, return_inverse=True)
    table = csr_array(coo_array((np.ones(len(column), np.float32), (point.ravel(), column)), (len(points), len(row))))
    full = np.diff(table.indptr) > 1
    return table[full], points[full, 0] * step, points[full, 1] * step


class Relaxation:
    """Maximises sum w min(sum x u, 1 - exp(-sum x m)) over 0 <= x <= 1, sum x = N, the forage summed over blocks.

    Only cells that could matter (candidate columns) are weighed: the best of each block whose first gain comes near
    what the last pool of a greedy plan adds; `join` brings in those that turn out to be worth more.
    """

    def __init__(
        self, missed: Floats, p: Floats, first: Floats, last: float, pools: int, cell_m: float, median_m: float
    ) -> None:
        self.p, self.pools = p, pools
        self.size = max(1, min(half_scale(median_m, cell_m), max(p.shape) // 40))
        w = block_sum(missed, self.size)
        prints = footprints(median_m, cell_m, self.size)[0]
        spare = max(0, prints.shape[1] // 2 - (max(w.shape) - 1))
        side = prints.shape[1] - spare
        self.prints = prints[:, spare:side, spare:side].astype(np.float32)
        self.r = self.prints.shape[1] // 2
        self.unit = float(w.max())  # cells of forage
        self.w = np.pad(w / self.unit, self.r).astype(np.float32)
        self.most = max(2 * pools, COLUMN_CELLS // self.prints[0].size)
        few = int(scratch.total(lambda part: (part > 0).sum(), first)) <= self.most
        row, col = best_cells(first, 1 if few else self.size, 0.0 if few else NEAR_LAST * last, self.most)
        self.row, self.col, self.x = row[:0], col[:0], np.empty(0, np.float32)
        self._add(row, col, np.maximum(first[row, col] / last - NEAR_LAST, 1e-3))

    def _add(self, row: Cells, col: Cells, x: Floats) -> None:
        """More columns, with a start for their share of the pools."""
        self.row, self.col = np.concatenate([self.row, row]), np.concatenate([self.col, col])
        self.x = np.concatenate([self.x, x.astype(np.float32)])
        s = self.size
        self.bi, self.bj = self.row // s, self.col // s
        probability = self.p[self.row, self.col].astype(np.float32)[:, None, None]
        self.u = self.prints[(self.row % s) * s + self.col % s] * probability
        self.m = -np.log1p(-np.minimum(self.u, np.float32(1.0 - 1e-7)))

    def _look(self, x: Singles, tau: float) -> tuple[float, float, Singles]:
        """Value, fixed part and gradient at x."""
        U, Z, G = np.zeros_like(self.w), np.zeros_like(self.w), np.empty_like(x)
        _spread(self.bi, self.bj, self.u, self.m, x, U, Z)
        value, fixed = _soften(self.w, U, Z, tau)
        _gather(self.bi, self.bj, self.u, self.m, U, Z, G)
        return value, fixed, G

    def _share_out(self, x: Singles) -> Singles:
        """x scaled to N pools in all, none above 1."""
        for _ in range(20):
            x = np.minimum(x * np.float32(self.pools / x.sum()), np.float32(1.0))
        return x

    def solve(self, stages: tuple[tuple[float, int], ...]) -> tuple[Floats, float]:
        """The x with the lowest bound on blocks, by mirror ascent while the softness tau falls; with the tau it had."""
        highest = float(self.p[self.row, self.col].max())
        for softness, steps in stages:
            x, tau, lowest, speed = self._share_out(self.x), softness * highest, math.inf, 8.0
            value, fixed, G = self._look(x, tau)
            for _ in range(steps):
                bound = fixed + float(np.sort(G)[-self.pools :].sum())
                if bound < lowest:
                    lowest, best = bound, (x, G)
                mean = float(G @ x) / self.pools
                y = self._share_out((x + np.float32(1e-7)) * np.exp(np.clip(speed * (G / mean - 1.0), -4.0, 4.0)))
                value_y, fixed_y, G_y = self._look(y, tau)
                if value_y >= value:
                    x, value, fixed, G, speed = y, value_y, fixed_y, G_y, speed * 1.25
                else:
                    speed *= 0.4
                    if speed < 0.05:
                        break
            self.x, G = best
            self._keep((self.x > LEAST_SHARE) | (NEARLY * float(G @ self.x) / self.pools < G))
        return self.x.astype(np.float64), tau

    def crowded(self, radius: float) -> bool:
        """Whether the pools are more than one in any disc of so many cells: else dual prices can win nothing."""
        in_disc = _discs(self.row, self.col, radius)[0]
        return bool((in_disc @ self.x).max(initial=0.0) > CROWDED)

    def solve_apart(self, radius: float) -> tuple[Floats, float, DualPrices]:
        """As `solve`, with dual prices on discs that hold more than one pool, raised and lowered until none does."""
        tau = DUAL_SOFTNESS * float(self.p[self.row, self.col].max())
        in_disc, row, col = _discs(self.row, self.col, radius)
        of_column = csr_array(in_disc.T)
        price, x, lowest = np.zeros(len(row), np.float32), self._share_out(self.x), math.inf
        crowd = max(1.0, in_disc.nnz / len(self.row))  # discs over one column
        value, fixed, G = self._look(x, tau)
        speed, last = 4.0, 0
        for turn in range(DUAL_TURNS):
            pays = of_column @ price
            for _ in range(DUAL_STEPS):
                mean = float(G @ x) / self.pools
                net = (G - pays) / mean
                pull = np.clip(speed * (net - float(net @ x) / self.pools), -4.0, 4.0)
                y = self._share_out((x + np.float32(1e-7)) * np.exp(pull).astype(np.float32))
                value_y, fixed_y, G_y = self._look(y, tau)
                if value_y - pays @ y >= value - pays @ x:
                    x, value, fixed, G, speed = y, value_y, fixed_y, G_y, min(speed * 1.25, 30.0)
                else:
                    speed = max(speed * 0.5, 0.1)
            bound = fixed + float(price.sum()) + float(np.sort(G - pays)[-self.pools :].sum())
            if bound < lowest * (1.0 - HARDLY):
                last = turn
            if bound < lowest:
                lowest, best = bound, (x, price)
            if turn - last >= PATIENCE:
                break
            over = in_disc @ x - 1.0
            price = np.maximum(price + np.float32(mean / crowd / math.sqrt(turn + 1.0)) * over, 0.0)
        self.x, price = best
        return self.x.astype(np.float64), tau, DualPrices(row, col, radius, price.astype(np.float64) * self.unit)

    def _keep(self, of_use: NDArray[np.bool_]) -> None:
        """Drops the other columns, but for what the N pools need."""
        if of_use.sum() >= self.pools:
            for name in ("row", "col", "x", "bi", "bj", "u", "m"):
                setattr(self, name, getattr(self, name)[of_use])

    def join(self, G: Floats, block: int) -> bool:
        """Takes in the cells that are worth more than the N-th best; False where there are none."""
        size = max(block, self.size // 2)
        row, col = best_cells(G, size, 0.0, self.pools + MOST_JOINED)
        known = set(zip(self.row.tolist(), self.col.tolist(), strict=True))
        new = np.array([(i, j) not in known for i, j in zip(row.tolist(), col.tolist(), strict=True)], dtype=bool)
        if not new.any():
            return False
        self._add(row[new], col[new], np.full(int(new.sum()), 1e-3))
        return True
