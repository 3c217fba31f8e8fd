"""Short walks: points shared out among people, and the order in which each person goes.

Every person gets as many points as any other, give or take one, and walks from the first to the last of them without
coming back. All walks stand behind each other in one list that is cut at fixed places; the list is improved by
simulated annealing (Kirkpatrick, Gelatt & Vecchi 1983, Science 220:671-680) with the moves of 2-opt and or-opt aimed at
near neighbours, and then until no such move helps. The draw has a fixed seed: the same distances give the same walks.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.compiled import njit

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEAR = 10  # neighbours that a move may bring together
SWEEPS = 4000  # tries per point while cooling
STARTS = 3
MOST_TRIES = 500_000  # of one start; beyond 125 points each gets fewer
ONE_THREAD = 100  # points up to which the work is too little for more
THREADS = os.cpu_count() or 1
HEAT = 0.3  # the heat to begin with, in mean steps: the first list is a good one, and more heat would spoil it
SEED = 20260101
ROWS_AT_ONCE = 500  # of a matrix of thousands of points, to sort


def straight(x: ArrayLike, y: ArrayLike) -> Floats:
    """Distances between all points along straight lines (n x n, in the units of x and y)."""
    px, py = np.asarray(x, float), np.asarray(y, float)
    return np.asarray(np.hypot(px[:, None] - px, py[:, None] - py))


def shares(points: int, people: int) -> NDArray[np.int64]:
    """How many points each person gets: equal shares, the first ones one more where it doesn't come out even."""
    return np.array([points // people + (i < points % people) for i in range(people)], dtype=np.int64)


def walk_m(distances: Floats, order: Sequence[int]) -> float:
    """The length of one walk."""
    at = np.asarray(order, dtype=int)
    return float(distances[at[:-1], at[1:]].sum())


def shortest_routes(distances: NDArray[np.float64], people: int, effort: float = 1.0) -> list[list[int]]:
    """For each person the points in walking order; every point once. `distances` is symmetric, in metres.

    The walks stand in the order of their lowest point, and each begins at the end whose number is lower. `effort`: of
    the most tries, which share may be spent.
    """
    n = len(distances)
    cuts = np.concatenate([[0], np.cumsum(shares(n, people))])
    starts = np.zeros(n + 1, dtype=np.bool_)  # starts[i]: a walk begins at place i, so no step leads to it
    starts[cuts] = True
    best = np.arange(n)
    if n > 2:
        # points that follow each other in a first list lie near each other in memory, which is faster to read
        named = _first(distances, 0)
        d = np.ascontiguousarray(distances[np.ix_(named, named)])
        near = _nearest(d)
        tries = max(min(SWEEPS * n, int(MOST_TRIES * effort)), 100 * n)
        firsts = [_first(d, k) for k in range(STARTS)]
        with ThreadPoolExecutor(max_workers=THREADS if n > ONE_THREAD else 1) as threads:
            seeds = range(SEED, SEED + STARTS)
            found = list(threads.map(lambda first, seed: _anneal(d, near, starts, first, seed, tries), firsts, seeds))
        best = named[min(found, key=lambda order: _length(order, d, starts, 0, n - 1))]
    walks = [[int(i) for i in best[a:b]] for a, b in pairwise(cuts)]
    turned = [walk if not walk or walk[0] <= walk[-1] else walk[::-1] for walk in walks]
    return sorted(turned, key=lambda walk: min(walk, default=n))


def _nearest(distances: Floats) -> Places:
    """The `NEAR` nearest others of each point (n, NEAR), the lower number first of equals, the point itself last."""
    parts = []
    for rows in np.array_split(np.arange(len(distances)), len(distances) // ROWS_AT_ONCE + 1):
        apart = distances[rows]
        apart[np.arange(len(rows)), rows] = np.inf
        parts.append(np.argsort(apart, axis=1, kind="stable")[:, :NEAR])
    return np.concatenate(parts).astype(np.int64)


def _first(distances: NDArray[np.float64], start: int) -> NDArray[np.int64]:
    """A list to begin with: always on to the nearest point that is left."""
    n = len(distances)
    left = np.ones(n, dtype=bool)
    order = [start % n]
    left[order[0]] = False
    while left.any():
        order.append(int(np.argmin(np.where(left, distances[order[-1]], np.inf))))
        left[order[-1]] = False
    return np.array(order, dtype=np.int64)


@njit(nogil=True)
def _length(order: Places, d: Floats, starts: Flags, first: int, last: int) -> float:
    """The length of the steps into the places first to last and out of last; steps into a cut count nothing."""
    total = 0.0
    for i in range(max(first, 1), min(last + 2, len(order))):
        if not starts[i]:
            total += d[order[i - 1], order[i]]
    return total


@njit(nogil=True)
def _step(order: Places, d: Floats, starts: Flags, at: int, before: int, to: int) -> float:
    """The length of a step from point `before` to point `to` that leads into the place `at`."""
    if at <= 0 or at >= len(order) or starts[at]:
        return 0.0
    return float(d[before, to])


class Cuts(NamedTuple):
    """Where walks begin in the list: starts by place; at: the places but the first and the end; first: for each place
    the first of these not before it."""

    starts: Flags
    at: Places
    first: Places


@njit(nogil=True)
def _moved_cuts(order: Places, d: Floats, cuts: Cuts, low: int, high: int, by: int) -> float:
    """How much longer the steps into the places low to high become where they move by `by` places, as other steps then
    lead over a cut; by 0 = the stretch low - 1 to high is turned round."""
    longer = 0.0
    if low > high:
        return longer
    for k in range(cuts.first[low], len(cuts.at)):  # these steps led over a cut
        if cuts.at[k] > high:
            break
        longer += d[order[cuts.at[k] - 1], order[cuts.at[k]]]
        if by == 0:
            other = low - 1 + high + 1 - cuts.at[k]
            longer -= d[order[other - 1], order[other]]
    if by != 0:
        for k in range(cuts.first[max(low + by, 0)], len(cuts.at)):  # and these do after it
            if cuts.at[k] > high + by:
                break
            longer -= d[order[cuts.at[k] - by - 1], order[cuts.at[k] - by]]
    return longer


@njit(nogil=True)
def _gain(order: Places, d: Floats, cuts: Cuts, kind: int, i: int, j: int, size: int) -> float:
    """How much shorter a change makes the list, see `_change`; it costs as many steps as there are cuts in between."""
    starts = cuts.starts
    low, high = min(i, j), max(i, j)
    if kind == 0:
        before, after = order[low - 1], order[min(high + 1, len(order) - 1)]
        longer = _step(order, d, starts, low, before, order[high]) - _step(order, d, starts, low, before, order[low])
        longer += _step(order, d, starts, high + 1, order[low], after)
        longer -= _step(order, d, starts, high + 1, order[high], after)
        return -(longer + _moved_cuts(order, d, cuts, low + 1, high, 0))
    if kind == 3:
        old = _around(order, d, starts, i, j)
        order[i], order[j] = order[j], order[i]
        new = _around(order, d, starts, i, j)
        order[i], order[j] = order[j], order[i]
        return old - new
    high = max(i, j) + size - 1
    head, tail = (order[i + size - 1], order[i]) if kind == 2 else (order[i], order[i + size - 1])
    before, after = order[low - 1], order[min(high + 1, len(order) - 1)]
    longer = 0.0
    for k in range(1, size):  # the steps among the points that are taken out
        a, b = order[i + k - 1], order[i + k]
        longer -= _step(order, d, starts, i + k, a, b)
        if kind == 2:
            a, b = order[i + size - k], order[i + size - 1 - k]
        longer += _step(order, d, starts, j + k, a, b)
    if j > i:
        b0, b1 = order[i + size], order[j + size - 1]
        longer += _step(order, d, starts, i, before, b0) - _step(order, d, starts, i, before, order[i])
        longer += _step(order, d, starts, j, b1, head) - _step(order, d, starts, i + size, order[i + size - 1], b0)
        longer += _step(order, d, starts, high + 1, tail, after) - _step(order, d, starts, high + 1, b1, after)
        longer += _moved_cuts(order, d, cuts, i + size + 1, j + size - 1, -size)
    else:
        b0, b1 = order[j], order[i - 1]
        longer += _step(order, d, starts, j, before, head) - _step(order, d, starts, j, before, b0)
        longer += _step(order, d, starts, j + size, tail, b0) - _step(order, d, starts, i, b1, order[i])
        last = order[i + size - 1]
        longer += _step(order, d, starts, high + 1, b1, after) - _step(order, d, starts, high + 1, last, after)
        longer += _moved_cuts(order, d, cuts, j + 1, i - 1, size)
    return -longer


@njit(nogil=True)
def _around(order: Places, d: Floats, starts: Flags, i: int, j: int) -> float:
    """The length of the steps into and out of the places i and j, each once."""
    low, high = min(i, j), max(i, j)
    if high == low + 1:
        return _length(order, d, starts, low, high)
    return _length(order, d, starts, low, low) + _length(order, d, starts, high, high)


@njit(nogil=True)
def _change(order: Places, kept: Places, kind: int, i: int, j: int, size: int) -> tuple[int, int]:
    """Changes the list; gives the first and last place that differ.

    kind 0: the stretch from i to j turned round; 1, 2: `size` points from i taken out and put in at j, turned round
    with 2; 3: the points at i and j change places. `kept`: room for `size` points.
    """
    low, high = min(i, j), max(i, j)
    if kind == 0:
        a, b = low, high
        while a < b:
            order[a], order[b] = order[b], order[a]
            a += 1
            b -= 1
        return low, high
    if kind == 3:
        order[i], order[j] = order[j], order[i]
        return low, high
    high = max(i, j) + size - 1
    for k in range(size):
        kept[k] = order[i + size - 1 - k] if kind == 2 else order[i + k]
    if j > i:
        for k in range(i, j):
            order[k] = order[k + size]
    else:
        for k in range(i - 1, j - 1, -1):
            order[k + size] = order[k]
    for k in range(size):
        order[j + k] = kept[k]
    return low, high


@njit(nogil=True)
def _anneal(d: Floats, near: Places, starts: Flags, order: Places, seed: int, tries: int) -> Places:
    """The list improved; `order` is a fresh array and is used up."""
    np.random.seed(seed)
    n = len(order)
    place = np.empty(n, np.int64)
    for i in range(n):
        place[order[i]] = i
    cuts = _cuts(starts)
    kept = np.empty(3, np.int64)
    best = order.copy()
    length = _length(order, d, starts, 0, n - 1)
    shortest = length
    hot = HEAT * length / n
    cooling = 1e-4 ** (1.0 / tries)
    heat = hot
    for _ in range(tries):
        heat *= cooling
        i = np.random.randint(n)
        other = near[order[i], np.random.randint(near.shape[1])]
        j = place[other]
        kind = np.random.randint(4)
        size = 1
        if kind == 0:
            # either end of the stretch, so that the neighbour comes to stand beside
            if np.random.random() < 0.5:
                i, j = (i + 1, j) if j > i else (i - 1, j)
            elif np.random.random() < 0.5:
                i = np.random.randint(n)
        elif kind == 3:
            j += np.random.randint(3) - 1
        else:
            size = 1 + np.random.randint(3)
            j += np.random.randint(2)
        if i == j or min(i, j) < 0 or max(i, j) + size > n:
            continue
        gain = _gain(order, d, cuts, kind, i, j, size)
        if gain >= 0 or (gain > -12 * heat and np.random.random() < np.exp(gain / heat)):
            length -= gain
            low, high = _change(order, kept, kind, i, j, size)
            for k in range(low, high + 1):
                place[order[k]] = k
            if length < shortest - 1e-9:
                shortest = length
                best[:] = order
    return _settle(d, near, starts, best)


@njit(nogil=True)
def _cuts(starts: Flags) -> Cuts:
    n = len(starts) - 1
    at = np.flatnonzero(starts[1:n]) + 1
    return Cuts(starts, at, np.searchsorted(at, np.arange(n + 1)))


@njit(nogil=True)
def _settle(d: Floats, near: Places, starts: Flags, order: Places) -> Places:
    """Takes every turn, shift and exchange among near points that shortens the list, until none does."""
    n = len(order)
    place = np.empty(n, np.int64)
    for i in range(n):
        place[order[i]] = i
    cuts = _cuts(starts)
    kept = np.empty(3, np.int64)
    look = np.ones(n, np.bool_)  # points around which something has changed since they were last tried
    whole = True
    while True:
        better = False
        for i in range(n):
            if not look[order[i]]:
                continue
            look[order[i]] = False
            for other in near[order[i]]:
                for kind in range(4):
                    for size in range(1, 4 if kind in (1, 2) else 2):
                        for step in range(-1, 2):
                            j = place[other] + step
                            if i == j or j < 0 or max(i, j) + size > n:
                                continue
                            if _gain(order, d, cuts, kind, i, j, size) <= 1e-9:
                                continue
                            better = True
                            low, high = _change(order, kept, kind, i, j, size)
                            for k in range(low, high + 1):
                                place[order[k]] = k
                            for k in range(max(low - 3, 0), min(high + 4, n)):
                                if k < low + 3 or k > high - 3:
                                    look[order[k]] = True
        if better:
            whole = False
        elif whole:
            return order
        else:
            look[:] = True  # a change moves cuts in between too, so all are tried once more in the end
            whole = True
