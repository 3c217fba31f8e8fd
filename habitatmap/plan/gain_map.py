"""What a pool would add at every cell, kept up to date as pools are set: the map that greedy and interchange work on.

With probabilities p fixed, forage in reach grows by g(x) = p(x) sum_c w_c R_c k(d_cx) when a pool is set at x. The sum
is one correlation of w R with the reach weight, so the gain of every cell is one map. Setting a pool changes w R within
the kernel radius r and the map within 2r: only that patch is transformed again.

Ties: cells whose gains differ by no more than 1e-12 of the best count as equal, and the lowest (row, column) is taken.
The map (FFT) only proposes the cells that could be best; their gains are summed up directly, in a fixed order, so that
neither threads nor tiles can change a plan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import default_workers
from habitatmap.geo.masks import too_near, under
from habitatmap.plan.correlate import correlate, kernel_spectrum
from habitatmap.plan.problem import Problem, Set, affordable
from habitatmap.plan.reach import Cells, Floats, multiply

SAME = 1e-12  # relative difference below which two gains are a tie
BETTER = 1e-9  # relative improvement an interchange must bring
LITTLE = 1e-4  # of what all sites add: less is not worth another turn of them
BLOCK = 64  # cells a side of the blocks whose best cell is remembered
NEAR = 512  # so many near ties are summed up one by one; more are a plateau
FFT_ERROR = 8e-15  # error of one transform pair, relative to the largest gain (measured: 1.2e-15, 1.6e-15 after 200)

Bools = NDArray[np.bool_]
Bounds = tuple[int, int, int, int]  # rows i0..i1, columns j0..j1
Box = tuple[slice, slice, Bools]  # rows, columns, and which of these cells


class Pick(NamedTuple):
    """A cell and what a pool there adds (in cells of forage)."""

    row: int
    col: int
    gain: float


class OpenCells:
    """Which cells a site may still take: allowed, far enough from sites, within the quotas and the budget."""

    def __init__(self, problem: Problem) -> None:
        self.shape, self.near = problem.shape, too_near(problem.spacing_m, problem.today.cell_m)
        # how many reasons close each cell
        self.blocked = scratch.cellwise(np.isnan, problem.candidates, dtype=np.uint16)
        if problem.taken is not None:
            for row, col in problem.taken[["row", "col"]].to_numpy(np.int64).tolist():
                self._count(row, col, 1)
        # before any site is set, but for quotas and the budget
        self.free = scratch.cellwise(_is_zero, self.blocked, dtype=np.bool_)
        self.quotas = [(unit, most.copy()) for unit, most in problem.quotas]  # what is left of them
        for unit, left in self.quotas:
            full = np.append(left <= 0, False)  # unit -1 reads the last entry
            for band in scratch.bands(self.shape):
                self.blocked[band] += full[unit[band]]
        self.cost, self.budget_left = problem.cost, problem.budget
        self.too_costly = scratch.zeros(self.shape, np.bool_)
        self._close_costly()

    @property
    def budgeted(self) -> bool:
        """Whether sites are paid for."""
        return self.budget_left < math.inf

    @property
    def open(self) -> Bools:
        """Cells that a site may take (rows, cols)."""
        return scratch.cellwise(_is_zero, self.blocked, dtype=np.bool_)

    def count(self) -> int:
        """How many cells a site may take."""
        return int(scratch.total(lambda blocked: np.count_nonzero(blocked == 0), self.blocked))

    def budget_spent(self) -> bool:
        """Whether a cell is closed by its cost alone."""
        alone = scratch.total(lambda cost, blocked: (cost & (blocked == 1)).sum(), self.too_costly, self.blocked)
        return bool(alone)

    def change(self, row: int, col: int, step: int) -> list[Bounds]:
        """Closes (step 1) what a site at the cell closes, or opens it again (-1); beyond the spacing, in which
        boxes.
        """
        self._count(row, col, step)
        boxes: list[Bounds] = []
        for unit, left in self.quotas:
            if (which := int(unit[row, col])) >= 0:
                full_before = left[which] <= 0
                left[which] -= step
                if full_before != (left[which] <= 0):
                    rows, cols = np.nonzero(unit == which)
                    self.blocked[rows, cols] += np.uint16(0xFFFF if full_before else 1)  # 0xFFFF is -1 here
                    boxes.append((int(rows.min()), int(rows.max()) + 1, int(cols.min()), int(cols.max()) + 1))
        if self.cost is not None and self.budgeted:
            self.budget_left -= float(self.cost[row, col]) * step
            if self._close_costly():
                boxes.append((0, self.shape[0], 0, self.shape[1]))
        return boxes

    def _count(self, row: int, col: int, step: int) -> None:
        """Adds step (1 or -1) to the counters of the cells that are too near to (row, col)."""
        around, near = under(self.blocked, self.near, row, col)
        (np.add if step > 0 else np.subtract)(around, near, out=around)

    def _close_costly(self) -> bool:
        """Closes what costs more than is left, and no other cell for its cost; whether anything changed."""
        if self.cost is None or not self.budgeted:
            return False
        changed = False
        for band in scratch.bands(self.shape):
            too_costly = ~affordable(self.cost[band], self.budget_left)
            if (too_costly != self.too_costly[band]).any():
                self.blocked[band] += too_costly
                self.blocked[band] -= self.too_costly[band]
                self.too_costly[band], changed = too_costly, True
        return changed


def _is_zero(values: NDArray[np.uint16]) -> Bools:
    return np.asarray(values == 0)


class GainMap:
    """The forage still missed (w R), what a pool would add at every cell, and which cells are open."""

    def __init__(self, problem: Problem) -> None:
        self.p, self.k, self.shape = problem.probability, problem.today.kernel, problem.shape
        self.r = self.k.shape[0] // 2
        self.engine = problem.today.engine
        self.before, self.known = problem.today.missed, problem.today.changes  # w R without the sites
        self.missed = scratch.copied(self.before)  # w R with them
        self.sites: list[Pick] = []
        self.removed: tuple[Pick, Floats, Floats] | None = None  # the last change: w R before it, and what gains gained
        self.cells = OpenCells(problem)
        cost = problem.cost
        self.costs_differ = cost is not None and self.cells.budgeted and len(set(scratch.ends(cost))) > 1
        self.gain_rate = self._rate()
        self.n = int(scipy.fft.next_fast_len(4 * self.r + 1, real=True))
        self.best_of = np.empty((-(-self.shape[0] // BLOCK), -(-self.shape[1] // BLOCK)))
        self.buffer = np.empty((NEAR, 2), np.int64)
        self.at_first = problem.today.within_flight  # gains for a certain pool without the sites
        self._take(scratch.copied(self.at_first))

    def clear(self) -> None:
        """Takes all sites away: what lies about them is as it was at first."""
        boxes: list[Bounds] = []
        for site in self.sites[::-1]:
            near, far = self._around(site, self.r), self._around(site, 2 * self.r)
            self.missed[near], self.C[far] = self.before[near], self.at_first[far]
            boxes += self._open_about(site, -1)
            scratch.relax()
        self.sites, self.removed = [], None
        if self.costs_differ:
            self.gain_rate, boxes = self._rate(), [(0, self.shape[0], 0, self.shape[1])]
        for box in boxes:
            self.refresh(*box)
        self._freshly_taken()

    def shut(self, boxes: Sequence[Box]) -> None:
        """Closes cells, once more where they are closed."""
        self._shut(boxes, 1)

    def unshut(self, boxes: Sequence[Box]) -> None:
        """Undoes `shut`."""
        self._shut(boxes, -1)

    def _shut(self, boxes: Sequence[Box], step: int) -> None:
        for rows, cols, mask in boxes:
            around = self.cells.blocked[rows, cols]
            (np.add if step > 0 else np.subtract)(around, mask, out=around, casting="unsafe")
            self.refresh(rows.start, rows.stop, cols.start, cols.stop)

    def _rate(self) -> Floats:
        """What cells are compared by: the probability, for its cost where costs differ (in units of the least, so that
        it is never above the probability and the error of the transforms stays what it is).
        """
        cost = self.cells.cost
        if not self.costs_differ or cost is None:
            return self.p
        least = scratch.ends(cost)[0]
        return scratch.cellwise(lambda p, price: p / (price / least), self.p, cost, dtype=np.float64)

    def by_gain(self) -> None:
        """From here on the best cell is the one with the largest gain, whatever it costs within the budget."""
        if self.costs_differ:
            self.gain_rate = self.p
            self.refresh(0, self.shape[0], 0, self.shape[1])

    def renew(self) -> None:
        """The gain map from scratch."""
        # these gains change with every site, so none of their tiles may be taken up again
        self._take(correlate(self.missed, self.k, replace(self.engine, kept=None)))

    def _take(self, gains: Floats) -> None:
        self.C = gains
        self._freshly_taken()
        self.refresh(0, self.shape[0], 0, self.shape[1])

    def _freshly_taken(self) -> None:
        self.error, self.fresh = FFT_ERROR * max(0.0, scratch.ends(self.C)[1]), True

    def refresh(self, i0: int, i1: int, j0: int, j1: int) -> None:
        """The best cell of each block that touches rows i0..i1, columns j0..j1."""
        b0, b1 = max(0, i0) // BLOCK, -(-min(self.shape[0], i1) // BLOCK)
        d0, d1 = max(0, j0) // BLOCK, -(-min(self.shape[1], j1) // BLOCK)
        step = max(1, scratch.BAND_CELLS // (BLOCK**2 * max(1, d1 - d0)))
        for first in range(b0, b1, step):
            part = first, min(b1, first + step), d0, d1
            _refresh(self.C, self.gain_rate, self.cells.blocked, self.best_of, part)
            scratch.relax()

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
        n, row, col = _near_best(self.C, self.gain_rate, self.cells.blocked, self.best_of, least, self.buffer)
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
        around, sites = self._around(pick, self.r), self._that_share(pick)
        patch = self.missed[around]
        self.sites.append(pick)
        if self.removed is not None and self.removed[0][:2] == pick[:2]:  # nothing has changed since
            _, patch[:], gained = self.removed
            self._changed(pick, -gained, 1)
            return
        old = patch.copy()
        multiply(patch, around[0].start, around[1].start, pick.row, pick.col, float(self.p[pick.row, pick.col]), self.k)
        if (change := self.known.get(sites)) is None:
            change = self._gained(patch - old)
            self.known.keep(sites, change)
        self._changed(pick, change, 1)

    def _that_share(self, pick: Pick) -> Set:
        """A pick and the sites before it that share forage with it: what gains change by depends on these alone."""
        near = (s for s in self.sites if max(abs(s.row - pick.row), abs(s.col - pick.col)) <= 2 * self.r)
        return tuple((s.row, s.col, float(self.p[s.row, s.col])) for s in (pick, *near))

    def remove(self, pick: Pick) -> None:
        """Takes a site away: w R around it is multiplied up again from the start, since 1 - p k may be 0."""
        self.sites.remove(pick)
        around = self._around(pick, self.r)
        patch = self.missed[around]
        old = patch.copy()
        patch[:] = self.before[around]
        for s in self.sites:
            multiply(patch, around[0].start, around[1].start, s.row, s.col, float(self.p[s.row, s.col]), self.k)
        gained = self._gained(patch - old)
        self._changed(pick, gained, -1)
        self.removed = pick, old, gained

    def _around(self, pick: Pick, r: int) -> tuple[slice, slice]:
        """The cells of the square of so many cells about a cell."""
        (rows, cols), i, j = self.shape, pick.row, pick.col
        return slice(max(0, i - r), min(rows, i + r + 1)), slice(max(0, j - r), min(cols, j + r + 1))

    def _gained(self, change: Floats) -> Floats:
        """What gains change by where w R changes so around a cell."""
        n, workers = self.n, self.engine.threads or default_workers()
        spectrum = scipy.fft.rfft2(change, (n, n), workers=workers)
        spectrum *= kernel_spectrum(self.k, n)
        return np.asarray(scipy.fft.irfft2(spectrum, (n, n), workers=workers, overwrite_x=True))

    def _changed(self, pick: Pick, patch: Floats, step: int) -> None:
        """Brings gains, open cells and block maxima up to date after gains changed by `patch` around a cell."""
        r, self.removed = self.r, None
        rows, cols = self._around(pick, 2 * r)
        # the change begins where the kernel does, but for what lies beyond the frame
        a, b = r - max(0, pick.row - r), r - max(0, pick.col - r)
        self.C[rows, cols] += patch[rows.start + a : rows.stop + a, cols.start + b : cols.stop + b]
        self.error, self.fresh = self.error + FFT_ERROR * float(np.abs(patch).max()), False
        for box in self._open_about(pick, step):
            self.refresh(*box)

    def _open_about(self, pick: Pick, step: int) -> list[Bounds]:
        """Closes (step 1) or opens (-1) the cells that a site closes; in which boxes gains or open cells change."""
        q = max(2 * self.r, self.cells.near.shape[0] // 2)
        about = (pick.row - q, pick.row + q + 1, pick.col - q, pick.col + q + 1)
        return [about, *self.cells.change(pick.row, pick.col, step)]

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

        Many sites on little ground would move without end for next to nothing, so a turn of all of them that gains less
        than LITTLE of what they add is the last.
        """
        moves, settled, looked_at, gained = 0, 0, 0, 0.0
        queue = [site for site in self.sites if (site.row, site.col) not in set(fixed)]
        least = LITTLE * sum(site.gain for site in queue)
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
                site, moves, settled, gained = other, moves + 1, 0, gained + other.gain - loss
            else:
                settled += 1
            self.add(site)
            queue.append(site)
            looked_at += 1
            if looked_at % len(queue) == 0:
                if gained < least:
                    break
                gained = 0.0
        return moves


@njit(nogil=True)
def _refresh(
    C: Floats, rate: Floats, blocked: NDArray[np.uint16], best: Floats, part: tuple[int, int, int, int]
) -> None:
    """The largest rate x C of the open cells of each block of the part (rows b0..b1, columns d0..d1); -1 where none
    is.
    """
    b0, b1, d0, d1 = part
    for bi in range(b0, b1):
        for bj in range(d0, d1):
            m = -1.0
            for i in range(bi * BLOCK, min(C.shape[0], (bi + 1) * BLOCK)):
                for j in range(bj * BLOCK, min(C.shape[1], (bj + 1) * BLOCK)):
                    if blocked[i, j] == 0:
                        v = rate[i, j] * C[i, j]
                        if v > m:  # false for NaN
                            m = v
            best[bi, bj] = m


@njit(nogil=True)
def _near_best(
    C: Floats, rate: Floats, blocked: NDArray[np.uint16], best: Floats, least: float, out: Cells
) -> tuple[int, int, int]:
    """Open cells with rate x C >= least: how many, and the lowest (row, col); as many as fit are written to `out`."""
    n, row, col = 0, C.shape[0], C.shape[1]
    for bi in range(best.shape[0]):
        for bj in range(best.shape[1]):
            if best[bi, bj] >= least:
                for i in range(bi * BLOCK, min(C.shape[0], (bi + 1) * BLOCK)):
                    for j in range(bj * BLOCK, min(C.shape[1], (bj + 1) * BLOCK)):
                        if blocked[i, j] == 0 and rate[i, j] * C[i, j] >= least:
                            if n < out.shape[0]:
                                out[n, 0], out[n, 1] = i, j
                            n += 1
                            if i < row or (i == row and j < col):
                                row, col = i, j
    return n, row, col


@njit(nogil=True)
def direct_gain(missed: Floats, k: Floats, row: int, col: int) -> float:
    """sum_d k(d) missed(c + d) of one cell, in float64 and in a fixed order; there is nothing beyond the edge."""
    r, total = k.shape[0] // 2, 0.0
    for i in range(max(0, row - r), min(missed.shape[0], row + r + 1)):
        line = 0.0
        for j in range(max(0, col - r), min(missed.shape[1], col + r + 1)):
            line += k[i - row + r, j - col + r] * missed[i, j]
        total += line
    return total


def block_best(G: Floats, size: int) -> Floats:
    """The largest G of each block of size x size cells, -inf where it holds no number."""
    out = np.empty((-(-G.shape[0] // size), -(-G.shape[1] // size)))
    for band in scratch.bands(G.shape, size):
        _best_of_blocks(G[band], size, out[band.start // size :])
    return out


@njit(nogil=True)
def _best_of_blocks(G: Floats, size: int, out: Floats) -> None:
    for bi in range(-(-G.shape[0] // size)):
        out[bi] = -np.inf
        for i in range(bi * size, min(G.shape[0], (bi + 1) * size)):
            for j in range(G.shape[1]):
                if G[i, j] > out[bi, j // size]:  # false for NaN
                    out[bi, j // size] = G[i, j]


def best_cells(G: Floats, size: int, least: float, most: int) -> tuple[Cells, Cells]:
    """The best cell of each block, of those with G above `least`; at most `most` of them, the largest G first."""
    best = block_best(G, size)
    bi, bj = np.nonzero(best > least)
    order = np.argsort(-best[bi, bj], kind="stable")[:most]
    bi, bj, inside = bi[order], bj[order], np.arange(size)
    row, col = (np.add.outer(at * size, inside) for at in (bi, bj))  # blocks x cells of a side; the last may end early
    known = (row < G.shape[0])[:, :, None] & (col < G.shape[1])[:, None, :]
    part = G[np.minimum(row, G.shape[0] - 1)[:, :, None], np.minimum(col, G.shape[1] - 1)[:, None, :]]
    first = np.where(known & ~np.isnan(part), part, -math.inf).reshape(len(order), size * size).argmax(axis=1)
    return bi * size + first // size, bj * size + first % size
