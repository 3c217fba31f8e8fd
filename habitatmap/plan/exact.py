"""Tiny plans, solved to the end: every set of sites is either tried or shown to be no better.

Branch and bound: sites are added in the order of their gains; what a branch can still reach is at most what it has plus
the largest gains left, as gains never increase. It serves areas of a few hundred cells, where spacing can trap an
interchange; on larger ones `solve` gives up at once and the interchange and the bound of `bound.py` stand.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.plan.reach import Floats

MOST_SITES = 400
WORK = 600_000_000  # multiplications before it gives up: about half a second


class Solved(NamedTuple):
    """The best set: its cells in row order, and what it adds (in cells of forage)."""

    cells: list[tuple[int, int]]
    gain: float


def solve(missed: Floats, p: Floats, k: Floats, near: NDArray[np.bool_], pools: int, start: float) -> Solved | None:
    """The best set of at most `pools` cells where p is above 0, none of them in reach of another by `near`.

    `missed` (rows, cols) is w R, `k` the kernel by offset, `near` the offsets that are too near, `start` the gain of a
    set that is known. None where that would take too long.
    """
    if not 0 < scratch.total(lambda part: (part > 0).sum(), p) <= MOST_SITES:
        return None
    row, col = np.nonzero(p > 0)
    here = np.nonzero(missed > 0)
    if len(row) * len(here[0]) * 20 > WORK:
        return None
    r, q = k.shape[0] // 2, near.shape[0] // 2
    dy, dx = here[0] - row[:, None], here[1] - col[:, None]
    seen = (abs(dy) <= r) & (abs(dx) <= r)
    u = np.where(seen, k[np.clip(dy + r, 0, 2 * r), np.clip(dx + r, 0, 2 * r)], 0.0) * p[row, col][:, None]
    dy, dx = row - row[:, None], col - col[:, None]
    close = (abs(dy) <= q) & (abs(dx) <= q) & near[np.clip(dy + q, 0, 2 * q), np.clip(dx + q, 0, 2 * q)]
    # a hair below the known gain, so that the known set itself is found again
    gain, chosen, done = _search(u, missed[here], close, min(pools, len(row)), start * (1.0 - 1e-9), WORK // u.size)
    if not done or gain <= 0:
        return None
    return Solved(sorted((int(row[c]), int(col[c])) for c in chosen if c >= 0), gain)


@njit(nogil=True)
def _search(
    u: Floats, w: Floats, close: NDArray[np.bool_], pools: int, least: float, most_nodes: int
) -> tuple[float, NDArray[np.int64], bool]:
    """Best gain, its sites (-1 = none), and whether the search came to its end."""
    n = u.shape[0]
    left = np.empty((pools + 1, w.shape[0]))  # w' times the probabilities of being missed, by depth
    left[0] = w
    order, gains = np.empty((pools + 1, n), np.int64), np.empty((pools + 1, n))
    count, at, value = np.zeros(pools + 1, np.int64), np.zeros(pools + 1, np.int64), np.zeros(pools + 1)
    chosen, best, best_value, nodes, depth = np.full(pools, -1), np.full(pools, -1), least, 0, 0
    order[0], count[0] = np.arange(n), n
    fresh = True
    while depth >= 0:
        if fresh:  # weigh the sites that this branch may still take
            nodes += 1
            if nodes > most_nodes:
                return best_value, best, False
            here = order[depth, : count[depth]].copy()
            g = np.zeros(here.shape[0])
            for c in range(here.shape[0]):
                s = 0.0
                for i in range(w.shape[0]):
                    s += left[depth, i] * u[here[c], i]
                g[c] = s
            by_gain = np.argsort(-g, kind="mergesort")
            order[depth, : count[depth]], gains[depth, : count[depth]] = here[by_gain], g[by_gain]
            at[depth], fresh = 0, False
            if value[depth] > best_value:
                best_value = value[depth]
                best[:] = -1
                best[:depth] = chosen[:depth]
        c, more = at[depth], pools - depth
        hope = value[depth]
        for t in range(c, min(c + more, count[depth])):
            hope += gains[depth, t]
        if c >= count[depth] or more == 0 or hope <= best_value:
            depth -= 1
            continue
        at[depth] += 1
        site = order[depth, c]
        chosen[depth] = site
        value[depth + 1] = value[depth] + gains[depth, c]
        kept = 0
        for t in range(c + 1, count[depth]):
            if not close[site, order[depth, t]]:
                order[depth + 1, kept] = order[depth, t]
                kept += 1
        count[depth + 1] = kept
        for i in range(w.shape[0]):
            left[depth + 1, i] = left[depth, i] * (1.0 - u[site, i])
        depth += 1
        fresh = True
    return best_value, best, True
