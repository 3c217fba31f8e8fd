"""Short walks: points shared out among people, and the order in which each person goes.

Every person gets as many points as any other, give or take one, and walks from the first to the last of them without
coming back. All walks stand behind each other in one list that is cut at fixed places; the list is improved by
simulated annealing (Kirkpatrick, Gelatt & Vecchi 1983, Science 220:671-680) with the moves of 2-opt and or-opt aimed at
near neighbours, and then until no such move helps. The draw has a fixed seed: the same distances give the same walks.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo.compiled import njit

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEAR = 10  # neighbours that a move may bring together
SWEEPS = 4000  # tries per point while cooling
STARTS = 3
MOST_TRIES = 2_000_000
SEED = 20260101


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


def shortest_routes(distances: NDArray[np.float64], people: int) -> list[list[int]]:
    """For each person the points in walking order; every point once. `distances` is symmetric, in metres.

    The walks stand in the order of their lowest point, and each begins at the end whose number is lower.
    """
    n = len(distances)
    cuts = np.concatenate([[0], np.cumsum(shares(n, people))])
    starts = np.zeros(n + 1, dtype=np.bool_)  # starts[i]: a walk begins at place i, so no step leads to it
    starts[cuts] = True
    near = np.argsort(distances + np.diag(np.full(n, np.inf)), axis=1, kind="stable")[:, :NEAR].astype(np.int64)
    best = np.arange(n)
    if n > 2:
        found = [_anneal(distances, near, starts, _first(distances, k), SEED + k) for k in range(STARTS)]
        best = min(found, key=lambda order: _length(order, distances, starts, 0, n - 1))
    walks = [[int(i) for i in best[a:b]] for a, b in pairwise(cuts)]
    turned = [walk if not walk or walk[0] <= walk[-1] else walk[::-1] for walk in walks]
    return sorted(turned, key=lambda walk: min(walk, default=n))


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
def _change(new: Places, order: Places, kind: int, i: int, j: int, size: int) -> tuple[int, int]:
    """Writes a changed list into `new`; gives the first and last place that differ.

    kind 0: the stretch from i to j turned round; 1, 2: `size` points from i taken out and put in at j, turned round
    with 2; 3: the points at i and j change places.
    """
    low, high = min(i, j), max(i, j)
    if kind == 0:
        for k in range(low, high + 1):
            new[k] = order[low + high - k]
        return low, high
    if kind == 3:
        new[i], new[j] = order[j], order[i]
        return low, high
    high = max(i, j) + size - 1
    if j > i:
        for k in range(i, j):
            new[k] = order[k + size]
    else:
        for k in range(j + size, i + size):
            new[k] = order[k - size]
    for k in range(size):
        new[j + k] = order[i + size - 1 - k] if kind == 2 else order[i + k]
    return low, high


@njit(nogil=True)
def _anneal(d: Floats, near: Places, starts: Flags, order: Places, seed: int) -> Places:
    """The list improved; `order` is a fresh array and is used up."""
    np.random.seed(seed)
    n = len(order)
    place = np.empty(n, np.int64)
    for i in range(n):
        place[order[i]] = i
    new = order.copy()
    best = order.copy()
    length = _length(order, d, starts, 0, n - 1)
    shortest = length
    tries = min(SWEEPS * n, MOST_TRIES)
    hot = length / n
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
        low, high = _change(new, order, kind, i, j, size)
        gain = _length(order, d, starts, low, high) - _length(new, d, starts, low, high)
        if gain >= 0 or np.random.random() < np.exp(gain / heat):
            length -= gain
            for k in range(low, high + 1):
                order[k] = new[k]
                place[new[k]] = k
            if length < shortest - 1e-9:
                shortest = length
                best[:] = order
        else:
            for k in range(low, high + 1):
                new[k] = order[k]
    return _settle(d, near, starts, best)


@njit(nogil=True)
def _settle(d: Floats, near: Places, starts: Flags, order: Places) -> Places:
    """Takes every turn, shift and exchange among near points that shortens the list, until none does."""
    n = len(order)
    place = np.empty(n, np.int64)
    for i in range(n):
        place[order[i]] = i
    new = order.copy()
    better = True
    while better:
        better = False
        for i in range(n):
            for other in near[order[i]]:
                for kind in range(4):
                    for size in range(1, 4 if kind in (1, 2) else 2):
                        for step in range(-1, 2):
                            j = place[other] + step
                            if i == j or j < 0 or max(i, j) + size > n:
                                continue
                            low, high = _change(new, order, kind, i, j, size)
                            gain = _length(order, d, starts, low, high) - _length(new, d, starts, low, high)
                            keep = gain > 1e-9
                            better = better or keep
                            for k in range(low, high + 1):
                                if keep:
                                    order[k] = new[k]
                                    place[new[k]] = k
                                else:
                                    new[k] = order[k]
    return order
