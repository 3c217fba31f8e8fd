"""The plan: where N more pools add most forage in reach, every allowed cell being a candidate.

With probabilities p fixed, forage in reach grows by g(x) = p(x) sum_c w_c R_c k(d_cx) when a pool is set at x. The sum
is one correlation of w R with the reach weight, so the gain of every cell is one map. Picking a cell changes w R within
the kernel radius r and the map within 2r: only that patch is transformed again. Greedy picks give a nested order (N
pools are the first N of N + 1) whose gains never increase; interchange then moves single pools for as long as the set
gets better. The (1 - 1/e) guarantee of greedy (Nemhauser, Wolsey & Fisher 1978) holds without spacing and quotas only;
what a plan is worth is certified by `bound.upper_bound`.

Ties: cells whose gains differ by no more than 1e-12 of the best count as equal, and the lowest (row, column) is taken.
The map (FFT) only proposes the cells that could be best; their gains are summed up directly, in a fixed order, so that
neither threads nor tiles can change a plan.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple, Unpack

import numpy as np
import pandas as pd
import scipy.fft
from numba import njit
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.engine import default_workers
from habitatmap.geo.grid import Tile, cut
from habitatmap.geo.masks import too_near, under
from habitatmap.plan.exact import solve
from habitatmap.plan.problem import Problem, Rules
from habitatmap.plan.reach import Floats, multiply

SAME = 1e-12  # relative difference below which two gains are a tie
BETTER = 1e-9  # relative improvement an interchange must bring
BLOCK = 64  # cells a side of the blocks whose best cell is remembered
NEAR = 512  # so many near ties are summed up one by one; more are a plateau
FFT_ERROR = 8e-15  # error of one transform pair, relative to the largest gain (measured: 1.2e-15, 1.6e-15 after 200)


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
    note: str
    """Why there are fewer pools than asked for; "" otherwise."""

    @property
    def best(self) -> pd.DataFrame:
        """The better of the two sets."""
        return self.frame if self.exchanged is None else self.exchanged

    @property
    def best_with_plan(self) -> float:
        """Forage in reach with the better of the two sets."""
        return self.with_plan + self.exchange_gain


class Pick(NamedTuple):
    """A cell and what a pool there adds (in cells of forage)."""

    row: int
    col: int
    gain: float


def choose(
    demand: ArrayLike,
    places: pd.DataFrame,
    candidates: ArrayLike,
    pools: int,
    *,
    exchange: bool = True,
    workers: int | None = None,
    tile_cells: int | None = None,
    **rules: Unpack[Rules],
) -> Selection:
    """Chooses cells for `pools` more pools.

    `demand` (rows, cols): forage w of each cell, NaN or 0 = none. `places`: row, col, p of the breeding places.
    `candidates` (rows, cols): the probability p that a pool at the cell gets occupied, NaN where none may stand. The
    rules (`cell_m` and `median_m` at least) are the fields of `problem.Problem`. `workers` and `tile_cells` change
    nothing but time and memory. Raises InputError where shapes or values do not fit.
    """
    problem = Problem.of(demand, places, candidates, **rules)
    return make_plan(problem, pools, exchange=exchange, workers=workers, tile_cells=tile_cells)


def make_plan(
    problem: Problem,
    pools: int,
    *,
    exchange: bool = True,
    workers: int | None = None,
    tile_cells: int | None = None,
    gains: GainMap | None = None,
) -> Selection:
    """The plan for a problem: the kept sites, then greedy up to `pools` sites in all, then interchange.

    A cell is chosen once at most. Fewer sites are given where no more fit, the budget is spent, or nothing is left to
    gain, with a note. Where sites differ in cost, greedy takes the largest gain for its cost; the set is then listed by
    gain, and of it and the best single site the better one is the plan. `gains` is used up where it is given.
    """
    now, total = problem.now, problem.total
    gains = gains or GainMap(problem, workers=workers, tile_cells=tile_cells)
    fixed = problem.kept_cells
    for pick in in_greedy_order(problem, fixed):
        gains.add(pick)
    free = gains.blocked == 0
    gains.greedy(int(pools) - len(fixed))
    if gains.costs_differ and len(gains.sites) > len(fixed):
        _best_single(gains, problem)
    cells = [(site.row, site.col) for site in gains.sites]
    note = ""
    if len(cells) < pools:
        why = "no allowed cell is left" if not gains.any_open() else "nothing more can be gained"
        why = "the budget is spent" if gains.budget_spent() else why
        note = f"{len(cells)} of {pools} pools: {why}"
    # with uneven costs the order of the picks is no order of gains
    picks = in_greedy_order(problem, cells) if gains.costs_differ else gains.sites
    frame = _frame(picks, problem)
    with_plan = now if frame.empty else float(frame["cumulative"].iloc[-1])
    better, more = None, 0.0
    if exchange and len(cells) > len(fixed):
        gains.by_gain()
        gains.interchange(fixed)
        if gains.greedy(int(pools) - len(gains.sites)):  # moved sites may have made room
            gains.interchange(fixed)
        better = _frame(in_greedy_order(problem, [(site.row, site.col) for site in gains.sites]), problem)
        if not problem.quotas and problem.budget == math.inf:
            known, allowed = float(better["gain_cells"][len(fixed) :].sum()), np.where(free, problem.candidates, np.nan)
            more_pools = int(pools) - len(fixed)
            solved = solve(problem.settled().missed, allowed, problem.kernel, gains.near, more_pools, known)
            if solved is not None:
                better = _frame(in_greedy_order(problem, [*fixed, *solved.cells]), problem)
        more = float(better["cumulative"].iloc[-1]) - with_plan
        if more <= BETTER * (with_plan - now):
            better, more = None, 0.0
    return Selection(frame, now, with_plan, better, more, total, int(pools), note)


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


def correlate(
    padded: Floats,
    k: Floats,
    *,
    only: NDArray[np.bool_] | None = None,
    workers: int | None = None,
    tile_cells: int | None = None,
) -> Floats:
    """sum_d k(d) padded(c + d) for every cell c (rows, cols); `padded` is r cells larger on every side.

    By float64 FFT in overlapping tiles. Tiles without any cell of `only` are left at 0.
    """
    r = k.shape[0] // 2
    shape = (padded.shape[0] - 2 * r, padded.shape[1] - 2 * r)
    out = np.zeros(shape)
    n = fft_cells(r, shape, tile_cells)
    spectrum = kernel_spectrum(k, n)

    def run(tile: Tile) -> None:
        inside = np.s_[tile.row0 : tile.row1, tile.col0 : tile.col1]
        if only is None or only[inside].any():
            block = padded[tile.row0 : tile.row1 + 2 * r, tile.col0 : tile.col1 + 2 * r]
            answer = scipy.fft.irfft2(scipy.fft.rfft2(block, (n, n)) * spectrum, (n, n), overwrite_x=True)
            out[inside] = answer[2 * r : 2 * r + tile.shape[0], 2 * r : 2 * r + tile.shape[1]]

    with ThreadPoolExecutor(workers or default_workers()) as pool:
        list(pool.map(run, cut(shape, n - 2 * r)))
    return out


def fft_cells(r: int, shape: tuple[int, int], tile_cells: int | None = None) -> int:
    """Side of the transforms: about three times the halo, no more than the whole frame needs."""
    tile = min(max(shape), tile_cells or max(512, 4 * r))
    return int(scipy.fft.next_fast_len(tile + 2 * r, real=True))


def kernel_spectrum(k: Floats, n: int) -> NDArray[np.complex128]:
    """Transform of the (symmetric) kernel in an n x n frame, its corner at the frame's corner."""
    return np.asarray(scipy.fft.rfft2(k, (n, n)))


@njit(cache=True, nogil=True)
def direct_gain(missed: Floats, k: Floats, row: int, col: int) -> float:
    """sum_d k(d) missed(c + d) of one cell, in float64 and in a fixed order; missed is padded by r."""
    total = 0.0
    for a in range(k.shape[0]):
        line = 0.0
        for b in range(k.shape[1]):
            line += k[a, b] * missed[row + a, col + b]
        total += line
    return total


@njit(cache=True, nogil=True)
def _refresh(
    C: Floats, p: Floats, blocked: NDArray[np.uint16], best: Floats, b0: int, b1: int, d0: int, d1: int, size: int
) -> None:
    """The largest p C of the open cells of each block (b0..b1, d0..d1); -1 where none is open."""
    for bi in range(b0, b1):
        for bj in range(d0, d1):
            m = -1.0
            for i in range(bi * size, min(C.shape[0], (bi + 1) * size)):
                for j in range(bj * size, min(C.shape[1], (bj + 1) * size)):
                    if blocked[i, j] == 0:
                        v = p[i, j] * C[i, j]
                        if v > m:  # false for NaN
                            m = v
            best[bi, bj] = m


@njit(cache=True, nogil=True)
def _near_best(
    C: Floats, p: Floats, blocked: NDArray[np.uint16], best: Floats, least: float, size: int, out: NDArray[np.int64]
) -> tuple[int, int, int]:
    """Open cells with p C >= least: how many, and the lowest (row, col); as many as fit are written to `out`."""
    n, row, col = 0, C.shape[0], C.shape[1]
    for bi in range(best.shape[0]):
        for bj in range(best.shape[1]):
            if best[bi, bj] >= least:
                for i in range(bi * size, min(C.shape[0], (bi + 1) * size)):
                    for j in range(bj * size, min(C.shape[1], (bj + 1) * size)):
                        if blocked[i, j] == 0 and p[i, j] * C[i, j] >= least:
                            if n < out.shape[0]:
                                out[n, 0], out[n, 1] = i, j
                            n += 1
                            if i < row or (i == row and j < col):
                                row, col = i, j
    return n, row, col


class GainMap:
    """The forage still missed (w R), what a pool would add at every cell, and which cells are open."""

    def __init__(self, problem: Problem, *, workers: int | None = None, tile_cells: int | None = None) -> None:
        self.p, self.k, self.r, self.shape = (
            problem.probability,
            problem.kernel,
            problem.kernel.shape[0] // 2,
            problem.shape,
        )
        self.workers, self.tile_cells = workers or default_workers(), tile_cells
        self.before = np.pad(problem.missed, self.r)  # w R without the sites
        self.missed = self.before.copy()  # w R with them
        self.sites: list[Pick] = []
        self.near = too_near(problem.spacing_m, problem.cell_m)
        self.blocked = np.zeros(self.shape, np.uint16)
        self.blocked[np.isnan(problem.candidates)] = 1
        if problem.taken is not None:
            for row, col in problem.taken[["row", "col"]].to_numpy(np.int64).tolist():
                self._count(row, col, 1)
        self.free = self.blocked == 0  # before any site is set
        self.quotas = problem.quotas
        self.left = [most.copy() for _, most in problem.quotas]
        for unit, most in problem.quotas:
            self.blocked += np.append(most <= 0, False)[unit]  # unit -1 reads the last entry
        self.cost, self.budget_left = problem.cost, problem.budget
        # what cells are compared by: the probability, for its cost where costs differ (in units of the least, so that
        # it is never above the probability and the error of the transforms stays what it is)
        self.costs_differ = self.cost is not None and self.budgeted and float(np.ptp(self.cost)) > 0.0
        self.gain_rate = (
            self.p / (self.cost / self.cost.min()) if self.costs_differ and self.cost is not None else self.p
        )
        self.too_costly = np.zeros(self.shape, bool)
        if self.budgeted:
            self.too_costly = self.cost_above(self.budget_left)
            self.blocked += self.too_costly
        self.n = int(scipy.fft.next_fast_len(4 * self.r + 1, real=True))
        self.spectrum = kernel_spectrum(self.k, self.n)
        self.best_of = np.empty((-(-self.shape[0] // BLOCK), -(-self.shape[1] // BLOCK)))
        self.buffer = np.empty((NEAR, 2), np.int64)
        self.renew()

    def fork(self, problem: Problem) -> GainMap:
        """The map of the same problem with fewer candidates, before any site is set; cheap, as no gain changes."""
        other = copy.copy(self)
        other.p, other.missed, other.C, other.best_of = (
            problem.probability,
            self.missed.copy(),
            self.C.copy(),
            self.best_of.copy(),
        )
        other.blocked = self.blocked + (np.isnan(problem.candidates) & ~np.isnan(self.p)).astype(np.uint16)
        other.free = self.free & ~np.isnan(problem.candidates)
        other.gain_rate = (
            other.p / (problem.cost / problem.cost.min()) if self.costs_differ and problem.cost is not None else other.p
        )
        other.left, other.sites = [left.copy() for left in self.left], []
        other.refresh(0, self.shape[0], 0, self.shape[1])
        return other

    @property
    def budgeted(self) -> bool:
        """Whether sites are paid for."""
        return self.budget_left < math.inf

    def cost_above(self, amount: float) -> NDArray[np.bool_]:
        """Cells whose site costs more than the amount; a hair is let pass, so that ten times 0.1 is 1."""
        assert self.cost is not None
        return np.asarray(self.cost > amount * (1.0 + 1e-9) + 1e-12)

    def budget_spent(self) -> bool:
        """Whether a cell is closed by its cost alone."""
        return bool((self.too_costly & (self.blocked == 1)).any())

    def by_gain(self) -> None:
        """From here on the best cell is the one with the largest gain, whatever it costs within the budget."""
        if self.costs_differ:
            self.gain_rate = self.p
            self.refresh(0, self.shape[0], 0, self.shape[1])

    def renew(self) -> None:
        """The gain map from scratch."""
        self.C = correlate(self.missed, self.k, only=self.p > 0, workers=self.workers, tile_cells=self.tile_cells)
        self.error, self.fresh = FFT_ERROR * float(self.C.max(initial=0.0)), True
        self.refresh(0, self.shape[0], 0, self.shape[1])

    def refresh(self, i0: int, i1: int, j0: int, j1: int) -> None:
        """The best cell of each block that touches rows i0..i1, columns j0..j1."""
        b0, b1 = max(0, i0) // BLOCK, -(-min(self.shape[0], i1) // BLOCK)
        d0, d1 = max(0, j0) // BLOCK, -(-min(self.shape[1], j1) // BLOCK)
        _refresh(self.C, self.gain_rate, self.blocked, self.best_of, b0, b1, d0, d1, BLOCK)

    def any_open(self) -> bool:
        """Whether a pool could stand anywhere."""
        return bool((self.blocked == 0).any())

    def best(self) -> Pick | None:
        """The open cell with the largest gain, None where no cell gains anything."""
        top = float(self.best_of.max())
        if top <= self.error or self.error > SAME * top:
            if not self.fresh:
                self.renew()
                return self.best()
            if top <= self.error:
                return None
        least = top - max(SAME * top, 2.0 * self.error)
        n, row, col = _near_best(self.C, self.gain_rate, self.blocked, self.best_of, least, BLOCK, self.buffer)
        if n > NEAR:
            return Pick(row, col, self.gain(row, col))
        near = [Pick(int(i), int(j), self.gain(int(i), int(j))) for i, j in self.buffer[:n]]
        worth = [pick.gain * self._worth(pick) for pick in near]
        most = max(worth)
        if most <= 0:
            return None
        return min(pick for pick, value in zip(near, worth, strict=True) if value >= most * (1.0 - SAME))

    def _worth(self, pick: Pick) -> float:
        """What a unit of gain at the cell counts for: 1, or one over its cost."""
        p = float(self.p[pick.row, pick.col])
        return float(self.gain_rate[pick.row, pick.col]) / p if p > 0 else 1.0

    def gain(self, row: int, col: int) -> float:
        """What one more pool at the cell adds, summed up directly."""
        return float(self.p[row, col]) * float(direct_gain(self.missed, self.k, row, col))

    def add(self, pick: Pick) -> None:
        """Sets a pool."""
        patch = self.missed[self._square(pick)]
        old = patch.copy()
        multiply(patch, 0, 0, self.r, self.r, float(self.p[pick.row, pick.col]), self.k)
        self.sites.append(pick)
        self._changed(pick, patch - old, 1)

    def remove(self, pick: Pick) -> None:
        """Takes a site away: w R around it is multiplied up again from the start, since 1 - p k may be 0."""
        self.sites.remove(pick)
        patch = self.missed[self._square(pick)]
        old = patch.copy()
        patch[:] = self.before[self._square(pick)]
        for s in self.sites:
            multiply(patch, pick.row, pick.col, s.row + self.r, s.col + self.r, float(self.p[s.row, s.col]), self.k)
        self._changed(pick, patch - old, -1)

    def _square(self, pick: Pick) -> tuple[slice, slice]:
        """The square within the kernel radius of a cell, in the padded arrays."""
        side = 2 * self.r + 1
        return np.s_[pick.row : pick.row + side, pick.col : pick.col + side]

    def _changed(self, pick: Pick, change: Floats, step: int) -> None:
        """Brings gains, spacing, quotas and block maxima up to date after w R changed around a cell."""
        n, r = self.n, self.r
        patch = scipy.fft.irfft2(
            scipy.fft.rfft2(change, (n, n), workers=self.workers) * self.spectrum, (n, n), workers=self.workers
        )
        i0, i1 = max(0, pick.row - 2 * r), min(self.shape[0], pick.row + 2 * r + 1)
        j0, j1 = max(0, pick.col - 2 * r), min(self.shape[1], pick.col + 2 * r + 1)
        a, b = 2 * r - pick.row, 2 * r - pick.col
        self.C[i0:i1, j0:j1] += patch[i0 + a : i1 + a, j0 + b : j1 + b]
        self.error, self.fresh = self.error + FFT_ERROR * float(np.abs(patch).max()), False
        self._count(pick.row, pick.col, step)
        q = max(2 * r, self.near.shape[0] // 2)
        self.refresh(pick.row - q, pick.row + q + 1, pick.col - q, pick.col + q + 1)
        for (unit, _), left in zip(self.quotas, self.left, strict=True):
            if (which := int(unit[pick.row, pick.col])) >= 0:
                self._use(unit, which, left, step)
        if self.budgeted:
            self._pay(float(self.cost[pick.row, pick.col]) * step)  # type: ignore[index]

    def _count(self, row: int, col: int, step: int) -> None:
        """Adds step (1 or -1) to the counters of the cells that are too near to (row, col)."""
        around, near = under(self.blocked, self.near, row, col)
        (np.add if step > 0 else np.subtract)(around, near, out=around)

    def _use(self, unit: NDArray[np.int64], which: int, left: NDArray[np.int64], step: int) -> None:
        """Counts a site of a unit; a full unit's cells are blocked until a site of it is taken away."""
        full_before = left[which] <= 0
        left[which] -= step
        if full_before != (left[which] <= 0):
            rows, cols = np.nonzero(unit == which)
            self.blocked[rows, cols] += np.uint16(0xFFFF if full_before else 1)  # 0xFFFF is -1 in these counters
            self.refresh(int(rows.min()), int(rows.max()) + 1, int(cols.min()), int(cols.max()) + 1)

    def _pay(self, cost: float) -> None:
        """Pays for a site, or gets its cost back; what costs more than is left is blocked."""
        self.budget_left -= cost
        too_costly = self.cost_above(self.budget_left)
        if (too_costly != self.too_costly).any():
            self.blocked[too_costly & ~self.too_costly] += 1
            self.blocked[self.too_costly & ~too_costly] -= 1
            self.too_costly = too_costly
            self.refresh(0, self.shape[0], 0, self.shape[1])

    def greedy(self, pools: int) -> list[Pick]:
        """Sets up to `pools` pools, each where it adds most."""
        picks: list[Pick] = []
        while len(picks) < pools and (pick := self.best()) is not None:
            # rounding may put a tie a hair above the pick before it
            if picks and not self.costs_differ and picks[-1].gain < pick.gain <= picks[-1].gain * (1.0 + SAME):
                pick = pick._replace(gain=picks[-1].gain)
            self.add(pick)
            picks.append(pick)
        return picks

    def interchange(self, fixed: Sequence[tuple[int, int]] = ()) -> int:
        """Moves one site at a time, but for the `fixed` ones, to the best open cell for as long as that gains; how many
        moves were made.
        """
        moves, settled = 0, 0
        queue = [site for site in self.sites if (site.row, site.col) not in set(fixed)]
        while queue and settled < len(queue):
            site = queue.pop(0)
            self.remove(site)
            loss = self.gain(site.row, site.col)
            other = self.best()
            if (
                other is not None
                and (other.row, other.col) != (site.row, site.col)
                and other.gain > loss * (1 + BETTER)
            ):
                site, moves, settled = other, moves + 1, 0
            else:
                settled += 1
            self.add(site)
            queue.append(site)
        return moves


def in_greedy_order(problem: Problem, cells: Sequence[tuple[int, int]]) -> list[Pick]:
    """The cells of a set in the order of what each adds after those before it (ties: lowest row, column); those that
    are kept come first.
    """
    p, k = problem.probability, problem.kernel
    r = k.shape[0] // 2
    missed, picks = np.pad(problem.missed, r), []
    kept = set(problem.kept_cells)
    for todo in (sorted(kept & set(cells)), sorted(set(cells) - kept)):
        # a gain only falls as sites are set, so one that is still on top when reckoned anew is the largest
        gains = dict.fromkeys(todo, math.inf)
        while todo:
            sure: set[tuple[int, int]] = set()
            while (top := max(todo, key=lambda c: gains[c])) not in sure:
                gains[top] = float(p[top]) * float(direct_gain(missed, k, *top))
                sure.add(top)
            picks.append(Pick(*top, gains[top]))
            multiply(missed, 0, 0, top[0] + r, top[1] + r, float(p[top]), k)
            todo.remove(top)
    return picks


def block_best(G: Floats, size: int) -> Floats:
    """The largest G of each block of size x size cells, -inf where it holds no number."""
    known = np.where(np.isnan(G), -math.inf, G)
    by_row = np.maximum.reduceat(known, np.arange(0, G.shape[0], size), axis=0)
    return np.asarray(np.maximum.reduceat(by_row, np.arange(0, G.shape[1], size), axis=1))


def best_cells(G: Floats, size: int, least: float, most: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The best cell of each block, of those with G above `least`; at most `most` of them, the largest G first."""
    best = block_best(G, size)
    bi, bj = np.nonzero(best > least)
    order = np.argsort(-best[bi, bj], kind="stable")[:most]
    row, col = np.empty(len(order), np.int64), np.empty(len(order), np.int64)
    for n, (i, j) in enumerate(zip(bi[order].tolist(), bj[order].tolist(), strict=True)):
        part = G[i * size : (i + 1) * size, j * size : (j + 1) * size]
        a, b = np.unravel_index(int(np.nanargmax(part)), part.shape)
        row[n], col[n] = i * size + a, j * size + b
    return row, col


def listed(problem: Problem, cells: Sequence[tuple[int, int]]) -> pd.DataFrame:
    """`Selection.frame` for sites in the order they are given, whatever they gain."""
    p, k = problem.probability, problem.kernel
    r = k.shape[0] // 2
    missed, picks = np.pad(problem.missed, r), []
    for cell in cells:
        picks.append(Pick(*cell, float(p[cell]) * float(direct_gain(missed, k, *cell))))
        multiply(missed, 0, 0, cell[0] + r, cell[1] + r, float(p[cell]), k)
    return _frame(picks, problem)


def _frame(picks: list[Pick], problem: Problem) -> pd.DataFrame:
    """The columns of `Selection.frame`."""
    now, total, kept = problem.now, problem.total, set(problem.kept_cells)
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
