"""Forage in reach: how much of the area's forage the breeding places are likely to serve.

A cell c is missed by all places with the probability R_c = prod_j (1 - p_j k(d_cj)), where k(d) = (1 + d/a) exp(-d/a)
is the share of flights that get at least d far (2-D exponential flight, cut at 10 a) and p_j the probability that place
j is occupied. Forage in reach is sum_c w_c (1 - R_c) / sum_c w_c. Distances run from a cell's centre to the centre of
the place's cell. Places are always taken in the order row, column, p, so that no row order changes a bit of the answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid

Floats = NDArray[np.float64]
Cells = NDArray[np.int64]
Footprints = tuple[Floats, int]
"""Reach weights seen from the centres of blocks of size x size cells, and that size. The weights are
(size * size, 2r+1, 2r+1), for a place in each cell of a block; [:, r, r] is the block it stands in. A plain tuple, as
compiled code that is kept from another version could not find the class of a named one.
"""

# how many blocks one flight scale (a) holds where reach is only estimated (simulations)
BLOCKS_PER_SCALE = 3.0


def reach_kernel(median_m: float, cell_m: float, shape: tuple[int, int]) -> Floats:
    """The reach weight by cell offset, (2r+1, 2r+1), with r no larger than cells of one frame can be apart."""
    k = FlightKernel(median_m).stamp(cell_m, "reach")
    spare = max(0, k.shape[0] // 2 - (max(shape) - 1))
    return np.ascontiguousarray(k[spare : k.shape[0] - spare, spare : k.shape[1] - spare])


def order_of(places: pd.DataFrame) -> Cells:
    """The places' row numbers in the order row, column, p."""
    row, col, p = _columns(places)
    return np.lexsort((p, col, row))


def in_order(places: pd.DataFrame) -> tuple[Cells, Cells, Floats]:
    """row, col and p of the places in the order row, column, p. Raises InputError where a p is not within 0-1."""
    row, col, p = _columns(places)
    bad = ~((p >= 0) & (p <= 1))
    if bad.any():
        first = int(np.flatnonzero(bad)[0])
        raise InputError(
            f"place {first + 1} has the probability p = {p[first]}, a number from 0 to 1 was expected: mend p"
        )
    order = order_of(places)
    return row[order], col[order], p[order]


# places after which pages may be given back: of a large raster the system maps more around each row that is touched
CHUNK = 20
ANY_ORDER = {"reassoc", "contract"}  # sums of a row in any order, so that they are made several numbers at a time


@njit(nogil=True)
def span(first: int, end: int, low: int, high: int) -> tuple[int, int]:
    """The part of first..end within low..high; where there is none an empty one, which no end below 0 turns around."""
    start = min(max(first, low), high)
    return start, max(start, min(end, high))


@njit(nogil=True)
def multiply(values: Floats, row0: int, col0: int, row: int, col: int, p: float, k: Floats) -> None:
    """Multiplies by 1 - p k around (row, col); values[0, 0] is the cell (row0, col0)."""
    r = k.shape[0] // 2
    i0, i1 = max(row0, row - r), min(row0 + values.shape[0], row + r + 1)
    j0, j1 = span(col - r, col + r + 1, col0, col0 + values.shape[1])
    for i in range(i0, i1):
        line, weight = values[i - row0, j0 - col0 : j1 - col0], k[i - row + r, j0 - col + r : j1 - col + r]
        for j in range(line.shape[0]):
            line[j] *= 1.0 - p * weight[j]


def not_reached(
    frame: Grid | tuple[int, int], places: pd.DataFrame, *, cell_m: float | None = None, median_m: float
) -> Floats:
    """The probability R (rows, cols) that no place reaches each cell; 1 where there is none.

    `frame` is a Grid, or (rows, cols) together with `cell_m`; `places` has row, col and p (0-1) and may lie outside.
    """
    shape, cell = _frame(frame, cell_m)
    k, R = FlightKernel(median_m).stamp(cell, "reach"), scratch.full(shape, 1.0, np.float64)
    row, col, p = in_order(places)
    for band in scratch.bands(shape):
        _multiply_each(R[band], band.start, row, col, p, k)
    return R


@njit(nogil=True)
def _multiply_each(values: Floats, row0: int, row: Cells, col: Cells, p: Floats, k: Floats) -> None:
    """`multiply` for each place, in the order of their rows; values[0, 0] is the cell (row0, 0). Row by row, so that
    each stays at hand until all places have been there, and without the corners of the kernel, where it is 0."""
    r = k.shape[0] // 2
    wide = np.array([r - np.argmax(k[a] > 0.0) for a in range(k.shape[0])])
    for i in range(values.shape[0]):
        for q in range(np.searchsorted(row, row0 + i - r), np.searchsorted(row, row0 + i + r + 1)):
            a = row0 + i - row[q] + r
            j0, j1 = span(col[q] - wide[a], col[q] + wide[a] + 1, 0, values.shape[1])
            line, weight = values[i, j0:j1], k[a, j0 - col[q] + r : j1 - col[q] + r]
            for j in range(line.shape[0]):
                line[j] *= 1.0 - p[q] * weight[j]


def reached_share(w: ArrayLike, places: pd.DataFrame, *, cell_m: float, median_m: float) -> float:
    """`forage_in_reach` of the places, without a raster of what is not reached."""
    return reached_shares(w, places, cell_m=cell_m, median_m=median_m)[0]


def reached_shares(w: ArrayLike, *sets: pd.DataFrame, cell_m: float, median_m: float) -> list[float]:
    """`forage_in_reach` of the first set of places, of the first two together, and so on."""
    weights, k = np.asarray(w), FlightKernel(median_m).stamp(cell_m, "reach")
    each = [in_order(places) for places in sets]
    total, missed = 0.0, np.zeros(len(sets))
    for band in scratch.bands(weights.shape):
        here = np.nan_to_num(weights[band].astype(np.float64))
        total += float(here.sum())
        for number, (row, col, p) in enumerate(each):
            _multiply_each(here, band.start, row, col, p, k)
            missed[number] += here.sum()
    return [1.0 - float(left) / total if total > 0 else math.nan for left in missed]


def forage_in_reach(w: ArrayLike, R: Floats) -> float:
    """Share (0-1) of the forage w (NaN = no data) that is likely to be reached; NaN where there is no forage."""
    weights = np.asarray(w)
    total = forage_of(weights)
    return float(scratch.total(_reached, weights, R)) / total if total > 0 else math.nan


def forage_of(w: NDArray[np.floating]) -> float:
    """The forage w (rows, cols; NaN = no data) of all cells together, in cells."""
    return float(scratch.total(lambda part: np.nansum(part, dtype=np.float64), w))


def _reached(w: NDArray[np.floating], R: Floats) -> float:
    return float((np.nan_to_num(w.astype(np.float64)) * (1.0 - R)).sum())


@njit(nogil=True)
def _without(at: int, row: Cells, col: Cells, p: Floats, k: Floats, i: int, j: int) -> float:
    """R of one cell over all places but one."""
    r = k.shape[0] // 2
    product = 1.0
    for q in range(row.shape[0]):
        a, b = i - row[q] + r, j - col[q] + r
        if q != at and 0 <= a < k.shape[0] and 0 <= b < k.shape[1]:
            product *= 1.0 - p[q] * k[a, b]
    return product


@njit(nogil=True, fastmath=ANY_ORDER)
def _losses(
    w: NDArray[np.floating], R: Floats, row: Cells, col: Cells, p: Floats, k: Floats, part: tuple[int, int]
) -> Floats:
    """sum_c w p k prod_others for the places of a part (first, and end exclusive); division by 1 - p k, or the product
    again where that is 0, which it can be in the place's own cell only."""
    r, (first, end) = k.shape[0] // 2, part
    rows, cols = w.shape
    out = np.zeros(end - first)
    for q in range(first, end):
        at, on, lost = row[q], col[q], 0.0
        j0, j1 = span(on - r, on + r + 1, 0, cols)
        for i in range(max(0, at - r), min(rows, at + r + 1)):
            weight, missed, line = w[i, j0:j1], R[i, j0:j1], k[i - at + r, j0 - on + r : j1 - on + r]
            for j in range(line.shape[0]):
                u = p[q] * line[j]
                if weight[j] > 0.0 and u < 1.0:
                    lost += weight[j] * u * (missed[j] / (1.0 - u))
        if p[q] >= 1.0 and 0 <= at < rows and 0 <= on < cols and w[at, on] > 0.0:
            lost += w[at, on] * _without(q, row, col, p, k, at, on)
        out[q - first] = lost
    return out


def loss_of_each(w: ArrayLike, R: Floats, places: pd.DataFrame, *, cell_m: float, median_m: float) -> Floats:
    """The share of the area's forage that would no longer be in reach without each place, in the order of the rows.

    `R` is `not_reached` of the same places. NaN where there is no forage at all.
    """
    weights = np.asarray(w)
    total = forage_of(weights)
    if total <= 0:
        return np.full(len(places), math.nan)
    row, col, p = in_order(places)
    lost, order, k = np.empty(len(places)), order_of(places), FlightKernel(median_m).stamp(cell_m, "reach")
    for first in range(0, len(p), CHUNK):
        end = min(first + CHUNK, len(p))
        lost[order[first:end]] = _losses(weights, R, row, col, p, k, (first, end)) / total
        scratch.relax()
    return lost


def footprints(median_m: float, cell_m: float, size: int) -> Footprints:
    """The footprints of a flight median on blocks of size x size cells."""
    flight = FlightKernel(median_m)
    r = int(flight.end_m / (size * cell_m)) + 1
    across = (np.arange(-r, r + 1) + 0.5) * size
    within = np.arange(size) + 0.5
    dy = across[None, None, :, None] - within[:, None, None, None]
    dx = across[None, None, None, :] - within[None, :, None, None]
    d = np.hypot(dy, dx).reshape(size * size, 2 * r + 1, 2 * r + 1) * cell_m
    return np.where(d <= flight.end_m, flight.reach_weight(d), 0.0), size


@njit(nogil=True, fastmath=ANY_ORDER)
def multiply_blocks(R: Floats, row: Cells, col: Cells, p: Floats, prints: Footprints) -> float:
    """Multiplies blocks by 1 - p k for each place; row and col are cells. By how much they are less, all together."""
    rows, cols = R.shape
    weights, size = prints
    r, less = weights.shape[1] // 2, 0.0
    for q in range(row.shape[0]):
        if p[q] > 0.0:
            bi, bj = row[q] // size, col[q] // size
            k = weights[(row[q] % size) * size + col[q] % size]
            j0, j1 = span(bj - r, bj + r + 1, 0, cols)
            for i in range(max(0, bi - r), min(rows, bi + r + 1)):
                line, weight = R[i, j0:j1], k[i - bi + r, j0 - bj + r : j1 - bj + r]
                for j in range(line.shape[0]):
                    off = line[j] * (p[q] * weight[j])
                    line[j] -= off
                    less += off
    return less


def half_scale(median_m: float, cell_m: float) -> int:
    """Cells a side of the blocks on which plans are weighed roughly: half the flight scale a."""
    return FlightKernel(median_m).block_cells(cell_m, 2.0)


def block_sum(values: NDArray[np.floating], size: int) -> Floats:
    """Sums over blocks of size x size cells, NaN as nothing; the last ones may be partly filled."""
    return _sums_and_numbers(values, size)[0]


def block_mean(values: NDArray[np.floating], size: int) -> Floats:
    """Means of the known values over blocks of size x size cells; NaN where none is known."""
    sums, known = _sums_and_numbers(values, size)
    return np.asarray(np.divide(sums, known, out=np.full(known.shape, np.nan), where=known > 0))


def _sums_and_numbers(values: NDArray[np.floating], size: int) -> tuple[Floats, NDArray[np.int32]]:
    """The sums of the known values by block, and how many they are."""
    shape = -(-values.shape[0] // size), -(-values.shape[1] // size)
    sums, known = scratch.zeros(shape, np.float64), scratch.zeros(shape, np.int32)
    for band in scratch.bands(values.shape, size):
        _add_blocks(values[band], size, sums[band.start // size :], known[band.start // size :])
    return sums, known


@njit(nogil=True)
def _add_blocks(values: NDArray[np.floating], size: int, sums: Floats, known: NDArray[np.int32]) -> None:
    for i in range(values.shape[0]):
        for b in range(sums.shape[1]):
            line, count = 0.0, 0
            for j in range(b * size, min((b + 1) * size, values.shape[1])):
                value = values[i, j]
                if value == value:
                    line += value
                    count += 1
            sums[i // size, b] += line
            known[i // size, b] += count


class Rough:
    """Forage summed over blocks of a third of the flight scale (50 m for a median of 250 m), seen from their
    centres; `total` of all cells.
    """

    def __init__(self, w: NDArray[np.floating], cell_m: float, median_m: float) -> None:
        size = FlightKernel(median_m).block_cells(cell_m, BLOCKS_PER_SCALE)
        self.prints, self.blocks, self.total = footprints(median_m, cell_m, size), block_sum(w, size), forage_of(w)


class Simulated(NamedTuple):
    """Forage in reach in each simulation (shares 0-1); NaN where there is no forage."""

    now: Floats
    """(simulations,): of the places."""
    gains: Floats
    """(simulations, sites): what each site adds after those before it."""


def simulate_reach(
    rough: Rough, places: pd.DataFrame, now: float, simulations: ArrayLike, sites: pd.DataFrame, new: ArrayLike
) -> Simulated:
    """Forage in reach, and what each site of a plan adds, with the probabilities of each simulation.

    simulations: (simulations, places) of the first of the places, those beyond them being as certain of their p as
    `new` (simulations, sites) is of the sites'. `now`: forage in reach by the places' own p; `sites`: row, col, p and
    gain (share, at that p). Calculated on blocks, then scaled by fine / coarse of the own p, so that a simulation equal
    to p gives exactly the fine values. Tests hold reach within 0.5 % of the cell by cell value.
    """
    drawn, drawn_new = (np.atleast_2d(np.asarray(of, dtype=np.float64)) for of in (simulations, new))
    count = len(drawn)
    if rough.total <= 0:
        return Simulated(np.full(count, math.nan), np.full((count, len(sites)), math.nan))
    row, col, p = in_order(places)
    order = order_of(places)
    low, high = np.stack([places["p"].to_numpy(np.float64)] * 2)
    some = np.s_[: drawn.shape[1]]
    low[some], high[some] = drawn.min(axis=0, initial=1.0), drawn.max(axis=0, initial=0.0)
    moves = np.minimum(low[order], p) < np.maximum(high[order], p)
    left = rough.blocks.copy()
    multiply_blocks(left, row[~moves], col[~moves], p[~moves], rough.prints)
    at = row[moves], col[moves]
    site_at = sites["row"].to_numpy(np.int64), sites["col"].to_numpy(np.int64)
    missed, gains = np.empty(count + 1), np.empty((count + 1, len(sites)))
    for v in range(count + 1):  # the last is the own p
        of, of_sites = (drawn[v, order[moves]], drawn_new[v]) if v < count else (p[moves], sites["p"].to_numpy(float))
        missed[v], gains[v] = _one_simulation(left, (*at, of), (*site_at, of_sites), rough.prints)
    reached, fine = 1.0 - missed / rough.total, sites["gain"].to_numpy(np.float64)
    factor = now / reached[-1] if len(places) and reached[-1] > 0 else float(len(places) > 0)
    of_gains = np.divide(fine, gains[-1], out=np.ones_like(fine), where=gains[-1] > 0)
    return Simulated(np.minimum(reached[:-1] * factor, 1.0), gains[:-1] * of_gains)


@njit(nogil=True)
def _one_simulation(
    blocks: Floats, places: tuple[Cells, Cells, Floats], sites: tuple[Cells, Cells, Floats], prints: Footprints
) -> tuple[float, Floats]:
    """The forage that places (row, col, p) miss, and what each site adds after those before it (cells of forage);
    `blocks`: what other places leave."""
    left, gains = blocks.copy(), np.empty(len(sites[0]))
    multiply_blocks(left, places[0], places[1], places[2], prints)
    missed = left.sum()
    for n in range(len(gains)):
        gains[n] = multiply_blocks(left, sites[0][n : n + 1], sites[1][n : n + 1], sites[2][n : n + 1], prints)
    return missed, gains


class Step(NamedTuple):
    """One of several sites that are installed one after the other: the cells within its flight (rows, cols), the reach
    weight there, and the probability that nothing reaches them, before the site stands and after."""

    around: tuple[slice, slice]
    k: Floats
    before: Floats
    after: Floats


def in_turn(R: Floats, sites: pd.DataFrame, k: Floats) -> Iterator[Step]:
    """The steps of sites (row, col, p) in their order, those before each standing already; `R` is `not_reached` without
    them, `k` the kernel by offset."""
    r = k.shape[0] // 2
    earlier: list[tuple[int, int, float]] = []
    for row, col, p in zip(*(sites[name].tolist() for name in ("row", "col", "p")), strict=True):
        i0, i1 = max(0, row - r), min(R.shape[0], row + r + 1)
        j0, j1 = max(0, col - r), min(R.shape[1], col + r + 1)
        around, weight = np.s_[i0:i1, j0:j1], k[i0 - row + r : i1 - row + r, j0 - col + r : j1 - col + r]
        before = np.array(R[around], dtype=np.float64)
        for other_row, other_col, other_p in earlier:
            multiply(before, i0, j0, other_row, other_col, other_p, k)
        after = before.copy()
        multiply(after, i0, j0, row, col, p, k)
        earlier.append((row, col, p))
        yield Step(around, weight, before, after)


def shares_of_gains(w: ArrayLike, R: Floats, sites: pd.DataFrame, part: NDArray[np.bool_], k: Floats) -> Floats:
    """Of what each site adds after those before it, the share (0-1) that lies on the cells of `part`; NaN for no gain.

    `R` is `not_reached` without the sites, `k` the kernel by offset.
    """
    weight, out = np.asarray(w), []
    for step in in_turn(R, sites, k):
        gained = np.nan_to_num(weight[step.around].astype(np.float64)) * (step.before - step.after)
        whole = float(gained.sum())
        out.append(float(gained[part[step.around]].sum()) / whole if whole > 0 else math.nan)
    return np.array(out, dtype=np.float64)


def _columns(places: pd.DataFrame) -> tuple[Cells, Cells, Floats]:
    row, col = places["row"].to_numpy(np.int64), places["col"].to_numpy(np.int64)
    return row, col, places["p"].to_numpy(np.float64)


def _frame(frame: Grid | tuple[int, int], cell_m: float | None) -> tuple[tuple[int, int], float]:
    if isinstance(frame, Grid):
        return frame.shape, frame.cell_m
    if cell_m is None:
        raise InputError("not_reached was given rows and columns only: give cell_m as well, or a Grid")
    return (int(frame[0]), int(frame[1])), float(cell_m)
