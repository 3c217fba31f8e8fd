"""The plan by its second objective: each pool where it adds most equivalent connectivity (ec) to the network.

One pool after another, each the best at its turn. Unlike forage in reach this gain can grow with what is there already:
a second stepping stone may be worth twenty times the first (habitatmap.network.importance). So no order of gains, no
guarantee, and no share of the best possible is known or claimed.

A new place is worth its probability times the forage access of its cell, and flies to the others by the same links.
With best_ij the best products of links so far and b_i those from the new place, the pair sum grows by a^2 + 2 a sum b_i
a_i + sum_ij a_i a_j max(0, b_i b_j - best_ij), and best becomes max(best, b b'): exact, without any search for paths.
Looked at are the worthiest cell of each block of 50 m, and then every cell around the best of them.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path

from habitatmap.errors import InputError
from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import default_workers
from habitatmap.geo.flight import FlightKernel, share_beyond_compiled
from habitatmap.geo.grid import Grid
from habitatmap.network.graph import lengths, links, thinned
from habitatmap.plan.gain_map import OpenCells, best_cells
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Cells, Floats
from habitatmap.plan.search import Selection, Shortfall, listed

BLOCK_M = 50.0
MOST_PLACES = 1500
MOST_WORK = 2e9  # blocks looked at x places^2, for each pool
FEWEST_BLOCKS, MOST_BLOCKS = 300, 4000


# what compiled code takes: when kept from another version, it could not find the class of a named tuple
PlainNetwork = tuple[Floats, Floats, Floats, Floats, float, float]


class Network(NamedTuple):
    """Places x, y (metres) with their weight, and the best products of links between them (n, n); links are up to
    link_m long (metres, inclusive) and worth the reach weight of flights with this scale (metres).
    """

    x: Floats
    y: Floats
    weight: Floats
    best: Floats
    link_m: float
    scale_m: float

    @property
    def plain(self) -> PlainNetwork:
        """The same for compiled code."""
        return self.x, self.y, self.weight, self.best, self.link_m, self.scale_m


def build_network(nodes: pd.DataFrame, link_m: float, dispersal_median_m: float) -> Network:
    """The network of `nodes` (x, y, weight). Raises InputError where it is too large for this objective."""
    if len(nodes) > MOST_PLACES:
        raise InputError(
            f'area.toml: plan.objective is "connectivity", which works with up to {MOST_PLACES:,} places, and the area '
            f'has {len(nodes):,}: raise flight.merge_m or near.dead_wood_from, or plan for "reach"'
        )
    graph = thinned(lengths(links(nodes, link_m, dispersal_median_m)), 1)
    best = np.exp(-shortest_path(graph)) if len(nodes) else np.empty((0, 0))
    x, y, weight = (nodes[name].to_numpy(float) for name in ("x", "y", "weight"))
    return Network(x, y, weight, best, link_m, FlightKernel(dispersal_median_m).scale_m)


def plan_by_connectivity(
    problem: Problem, pools: int, net: Network, access: NDArray[np.floating], grid: Grid
) -> tuple[Selection, Floats]:
    """The plan, its gains still in forage, and what each pool adds to ec, as a share of ec at its turn.

    `access` (rows, cols): forage access, NaN = not known. Spacing, quotas, the budget and kept sites hold as in
    `search.make_plan`; with costs that differ, the most ec for its cost is taken. The order is that of the turns.
    """
    worth = problem.probability * np.nan_to_num(access)
    cells, sites, shares = OpenCells(problem), list[tuple[int, int]](), list[float]()
    while len(sites) < pools:
        if len(sites) < len(problem.kept_cells):
            row, col = problem.kept_cells[len(sites)]
            (gain,) = _gains(net, np.array([row]), np.array([col]), worth, grid)
        elif (found := _best(net, np.where(cells.open, worth, np.nan), problem, grid)) is not None:
            row, col, gain = found
        else:
            break
        before = float(net.weight @ net.best @ net.weight)
        shares.append(math.sqrt(1.0 + gain / before) - 1.0 if before > 0 else math.nan)
        net = _with(net, row, col, float(worth[row, col]), grid)
        sites.append((row, col))
        cells.change(row, col, 1)
    frame, today = listed(problem, sites), problem.today
    with_plan = today.now if frame.empty else float(frame["cumulative"].iloc[-1])
    short = len(sites) < pools and not cells.budgeted
    shortfall = Shortfall.NONE_LEFT if short else Shortfall.NONE
    return Selection(frame, today.now, with_plan, None, 0.0, today.total, pools, shortfall), np.array(shares)


def _best(net: Network, worth: Floats, problem: Problem, grid: Grid) -> tuple[int, int, float] | None:
    """The cell that adds most to the pair sum, for its cost, of those whose worth is known; None where none adds."""
    most = int(np.clip(MOST_WORK / max(1, len(net.x)) ** 2, FEWEST_BLOCKS, MOST_BLOCKS))
    size = max(1, round(BLOCK_M / grid.cell_m))

    def rate(row: Cells, col: Cells) -> Floats:
        gain = _gains(net, row, col, worth, grid)
        return gain / problem.cost_at(row, col) if problem.budget < math.inf else gain

    row, col = best_cells(worth, size, 0.0, most)
    if not len(row):
        return None
    at = int(np.argmax(rate(row, col)))
    i0, j0 = max(0, row[at] - 2 * size), max(0, col[at] - 2 * size)
    part = worth[i0 : row[at] + 2 * size + 1, j0 : col[at] + 2 * size + 1]
    row, col = (index + first for index, first in zip(np.nonzero(part > 0), (i0, j0), strict=True))
    at = int(np.argmax(rate(row, col)))  # the lowest row, then column, of equals
    (gain,) = _gains(net, row[at : at + 1], col[at : at + 1], worth, grid)
    return (int(row[at]), int(col[at]), float(gain)) if gain > 0 else None


def _gains(net: Network, row: Cells, col: Cells, worth: Floats, grid: Grid) -> Floats:
    """What a place at each of the cells adds to the pair sum."""
    x, y = grid.centre(row, col)
    parts = np.array_split(np.arange(len(row)), default_workers())

    def some(part: Cells) -> Floats:
        return np.asarray(_pair_gains(x[part], y[part], worth[row[part], col[part]], net.plain))

    with ThreadPoolExecutor(default_workers()) as pool:
        return np.concatenate(list(pool.map(some, parts)))


def _with(net: Network, row: int, col: int, weight: float, grid: Grid) -> Network:
    """The network with one more place."""
    x, y = (float(v) for v in grid.centre(row, col))
    b = _best_to(x, y, net.plain)
    n = len(b)
    best = np.ones((n + 1, n + 1))
    best[:n, :n] = np.maximum(net.best, np.outer(b, b))
    best[n, :n] = best[:n, n] = b
    np.fill_diagonal(best, 1.0)
    return net._replace(x=np.append(net.x, x), y=np.append(net.y, y), weight=np.append(net.weight, weight), best=best)


@njit(nogil=True)
def _best_to(x: float, y: float, net: PlainNetwork) -> Floats:  # pragma: no cover - compiled
    """The best products of links from a point to each place."""
    xs, ys, _, best, link_m, scale_m = net
    n = xs.shape[0]
    b = np.zeros(n)
    for i in range(n):
        d = math.hypot(x - xs[i], y - ys[i])
        if d <= link_m + 1e-6:
            direct = share_beyond_compiled(d / scale_m)
            for j in range(n):
                b[j] = max(b[j], direct * best[i, j])
    return b


@njit(nogil=True)
def _pair_gains(x: Floats, y: Floats, a: Floats, net: PlainNetwork) -> Floats:  # pragma: no cover - compiled
    """What a place of weight a at each (x, y) adds to the pair sum."""
    weight, best = net[2], net[3]
    out = np.empty(x.shape[0])
    for c in range(x.shape[0]):
        b = _best_to(x[c], y[c], net)
        gain = a[c] * a[c]
        for i in range(b.shape[0]):
            if b[i] > 0.0:
                gain += 2.0 * a[c] * b[i] * weight[i]
                for j in range(i):
                    more = b[i] * b[j] - best[i, j]
                    if more > 0.0:
                        gain += 2.0 * weight[i] * weight[j] * more
        out[c] = gain
    return out
