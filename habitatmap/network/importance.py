"""How well breeding places are connected: best paths of flight, and what each place is worth.

Two places are joined by their best path, the chain of direct links whose probabilities have the largest product (found
as a shortest path on -log p). The pair sum adds weight x weight x best product over all ordered pairs, a place with
itself included; its root, the equivalent connectivity (ec), is the weight of one single place that would be worth as
much (Saura & Pascual-Hortal 2007, Landsc Urban Plan 83:91; Saura et al. 2011, Ecol Indic 11:407).

Adding places is not submodular here: a second stepping stone may be worth more than the first. No share of the best
possible is therefore claimed for a greedy choice by ec.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra, reverse_cuthill_mckee

from habitatmap.errors import InputError
from habitatmap.geo.engine import default_workers
from habitatmap.network.graph import lengths, thinned
from habitatmap.network.removal import Links, Paths, carried, removal_losses

Floats = NDArray[np.float64]
# rows of best paths a thread holds at once: 64, and never more than 4 million numbers (48 MB with the predecessors)
ROWS_AT_ONCE_CELLS = 4_000_000
SOURCES_AT_ONCE = 64
# of a component too large to be looked at from everywhere, so many places are taken out in turn
WORKED_OUT = 100


class Connectivity(NamedTuple):
    """Answer of `connectivity`. ec in units of weight, pair_sum in weight squared.

    `importance` has a row per place: `loss`, the percentage of the pair sum that goes when the place goes, and its
    three parts (Saura & Rubio 2010, Ecography 33:523): `own` its own weight, `flux` what it exchanges with the others,
    `stepping` what the others exchange over it and can't make good by a detour. loss = own + flux + stepping. NaN
    where all weights are 0.
    """

    ec: float
    pair_sum: float
    importance: pd.DataFrame


def connectivity(weights: ArrayLike, probability: ArrayLike | csr_array) -> Connectivity:
    """Pair sum, equivalent connectivity and what each place is worth.

    weights: (n,) >= 0. probability: (n, n) of direct links in 0-1, symmetric, dense or scipy sparse; 0 or not stored =
    no link; the diagonal is taken as 1. Raises InputError where these do not hold.

    Exact: each place is taken out and the best paths that ran over it are sought again; no other path can change. For
    every source only the places behind the removed one in its tree of best paths are looked at, over the links that can
    matter (`thinned`), so the cost is about places^2 x such links per place x length of paths within each component.
    Memory grows with places and links, not with places^2 (unless a dense matrix is given). For more than some thousand
    places in one component see `estimated_connectivity`; tests/benchmarks/network_size.py measures both.
    """
    a, graph = _checked(weights, probability)
    return _importance(a, _sums(a, graph, removals=True))


def equivalent_connectivity(weights: ArrayLike, probability: ArrayLike | csr_array) -> float:
    """The ec of `connectivity` alone, without taking places out."""
    a, graph = _checked(weights, probability)
    return float(np.sqrt(np.dot(a, _sums(a, graph, removals=False).row_sum)))


class EstimatedConnectivity(NamedTuple):
    """Answer of `estimated_connectivity`: ec and its standard error (0 where every place was a source), pair_sum and
    importance as in `Connectivity`, and the sources: how many, and each one's weight in `pair_sum_from`.
    """

    ec: float
    standard_error: float
    pair_sum: float
    importance: pd.DataFrame
    sources: NDArray[np.int64]
    counts_for: Floats


def estimated_connectivity(weights: ArrayLike, probability: ArrayLike | csr_array, most: int) -> EstimatedConnectivity:
    """`connectivity` from at most `most` places as sources of best paths in each component, for large networks.

    In a larger component the sources are drawn by weight, evenly along it from end to end (systematic sampling with
    probability proportional to size, Madow 1949, Ann Math Stat 20:333; from memory), with nothing random: the same
    network gives the same answer. The pair sum and each place's own, flux and stepping parts are then unbiased
    estimates; the standard error is that of random draws, which even ones stay below. The stepping part is worked out
    for the WORKED_OUT places that may be the costliest (by what goes with them at least, and by what passes over them
    at most) and is NaN for the others.
    """
    a, graph = _checked(weights, probability)
    sums = _sums(a, graph, True, most)
    connected = _importance(a, sums)
    error = np.sqrt(sums.variance) / (2.0 * connected.ec) if connected.ec > 0 else 0.0
    return EstimatedConnectivity(
        connected.ec, float(error), connected.pair_sum, connected.importance, sums.sources, sums.counts_for
    )


def pair_sum_from(
    weights: ArrayLike, probability: ArrayLike | csr_array, sources: NDArray[np.int64], counts_for: Floats
) -> float:
    """sum over the sources of counts_for x sum_j best_ij a_j: the pair sum as seen from some places."""
    a, graph = _checked(weights, probability)
    graph = thinned(graph, 1)
    step = max(1, min(SOURCES_AT_ONCE, ROWS_AT_ONCE_CELLS // max(1, len(a))))

    def part(lo: int) -> float:
        some = sources[lo : lo + step]
        return float(counts_for[lo : lo + step] @ (np.exp(-dijkstra(graph, directed=True, indices=some)) @ a))

    with ThreadPoolExecutor(default_workers()) as pool:
        return float(sum(pool.map(part, range(0, len(sources), step))))


def _checked(weights: ArrayLike, probability: ArrayLike | csr_array) -> tuple[Floats, csr_array]:
    """Weights (n,) and the graph of `lengths`, or an InputError."""
    a, graph = np.asarray(weights, dtype=float), lengths(probability)
    if a.shape != (graph.shape[0],):
        raise InputError(
            f"connectivity: {a.size} weights of shape {a.shape} do not fit a probability matrix of shape "
            f"{graph.shape}: give one weight for each row."
        )
    bad = np.flatnonzero(~(np.isfinite(a) & (a >= 0)))
    if len(bad):
        raise InputError(
            f"connectivity: weight {a[bad[0]]} of place {bad[0]} is not a number >= 0: "
            "leave the place out or give it 0 where nothing is known of it."
        )
    return a, graph


def _importance(a: Floats, sums: _Sums) -> Connectivity:
    """The parts of what each place is worth, in percent of the pair sum."""
    row_sum = sums.row_sum
    pair_sum = float(np.dot(a, row_sum))
    own, flux = a**2, 2.0 * a * (row_sum - a)
    # what is left of a tie between a direct link and an equally good detour is rounding, no stepping stone
    stepping = np.where(sums.stepping < 1e-13 * pair_sum, 0.0, sums.stepping)
    percent = 100.0 / pair_sum if pair_sum > 0 else np.nan
    parts = {"loss": own + flux + stepping, "own": own, "flux": flux, "stepping": stepping}
    return Connectivity(float(np.sqrt(pair_sum)), pair_sum, pd.DataFrame({k: v * percent for k, v in parts.items()}))


class _Sums(NamedTuple):
    """For each place sum_j best_ij a_j, and what all other pairs lose over it (0 without removals); the sources, what
    each counts for, and the variance of the pair sum (0 where every place is a source).
    """

    row_sum: Floats
    stepping: Floats
    sources: NDArray[np.int64]
    counts_for: Floats
    variance: float


def _sums(a: Floats, graph: csr_array, removals: bool, most: int | None = None) -> _Sums:
    """The sums of all components; at most `most` places of each are sources."""
    n = len(a)
    row_sum, stepping = a.copy(), np.zeros(n)
    graph = thinned(graph)
    count, label = connected_components(graph, directed=False)
    order = np.argsort(label, kind="stable")
    sizes = np.bincount(label, minlength=count)
    by_component = csr_array(graph[order][:, order]) if n else graph  # now every component is one block on the diagonal
    by_component.sort_indices()
    start, variance = 0, 0.0
    sources, counts_for = [np.empty(0, np.int64)], [np.empty(0)]
    for size in sizes.tolist():
        end = start + size
        members = order[start:end]
        if size == 1:
            sources.append(members)
            counts_for.append(a[members])
        else:
            first, last = by_component.indptr[start], by_component.indptr[end]
            block = csr_array(
                (
                    by_component.data[first:last],
                    by_component.indices[first:last] - start,
                    by_component.indptr[start : end + 1] - first,
                ),
                shape=(size, size),
            )
            some = _Block(a[members], block, most)
            row_sum[members], stepping[members], spread = some.sums(removals)
            variance += spread
            sources.append(members[some.order[some.sources]])
            counts_for.append(some.counts_for)
        start = end
    return _Sums(row_sum, stepping, np.concatenate(sources), np.concatenate(counts_for), variance)


class _Block:
    """One component, its places ordered from one end to the other, and the sources to look from."""

    def __init__(self, a: Floats, block: csr_array, most: int | None) -> None:
        # near places lie near in memory, and half of the branches behind a source hold earlier places only
        self.order = reverse_cuthill_mckee(block, symmetric_mode=True)
        self.a, self.block = a[self.order], csr_array(block[self.order][:, self.order])
        n, total = len(a), float(a.sum())
        self.all = most is None or n <= most or total == 0.0
        self.sources, self.counts_for = np.arange(n), self.a
        if not self.all and most is not None:
            at = (np.arange(most) + 0.5) / most * total
            self.sources = np.minimum(np.searchsorted(np.cumsum(self.a), at), n - 1).astype(np.int64)
            self.counts_for = np.full(most, total / most)

    def sums(self, removals: bool) -> tuple[Floats, Floats, float]:
        """Row sums, stepping and variance as in `_Sums`, in the order the places came in."""
        a, block, n = self.a, self.block, len(self.a)
        step = max(1, min(SOURCES_AT_ONCE, ROWS_AT_ONCE_CELLS // n))
        # every pair once, and doubled, where all places are sources; else every target
        share = 2.0 * self.counts_for if self.all else self.counts_for
        after = self.sources if self.all else np.full(len(self.sources), -1)
        links = Links(block.indptr, block.indices, block.data)

        def look(lo: int) -> tuple[Floats, Floats, Floats, Paths | None]:
            """What some sources see, what each place sees of them, and what is lost (or carried) over it."""
            some = np.s_[lo : lo + step]
            length, before = dijkstra(block, directed=True, indices=self.sources[some], return_predecessors=True)
            best, paths = np.exp(-length), Paths(self.sources[some], share[some], after[some], length, before)
            seen_from, seen_by = best @ a, self.counts_for[some] @ best
            if not self.all:
                return seen_from, seen_by, carried(best, before, a, share[some]), paths
            lost = removal_losses(links, a, paths, np.ones(n, np.bool_)) if removals else np.zeros(n)
            return seen_from, seen_by, lost, None

        with ThreadPoolExecutor(default_workers()) as pool:
            # in order, whichever thread was first
            seen, by, over, found = zip(*pool.map(look, range(0, len(self.sources), step)), strict=True)
            seen_from, seen_by, at_most = np.concatenate(seen), np.sum(by, axis=0), np.sum(over, axis=0)
            row_sum, stepping = np.empty(n), np.empty(n)
            row_sum[self.order] = seen_from if self.all else np.maximum(seen_by, a)
            if removals and not self.all:
                at_least = 2.0 * a * row_sum[self.order] - a**2
                chosen = _largest(at_least, WORKED_OUT // 2) | _largest(at_least + at_most, WORKED_OUT // 2)
                exact = np.sum(list(pool.map(lambda paths: removal_losses(links, a, paths, chosen), found)), axis=0)
                stepping[self.order] = np.where(chosen, exact, np.nan)
            else:
                stepping[self.order] = at_most
        variance = 0.0 if self.all else float(a.sum()) ** 2 * float(seen_from.var(ddof=1)) / len(self.sources)
        return row_sum, stepping, variance


def _largest(values: Floats, count: int) -> NDArray[np.bool_]:
    """Which of the values are among the `count` largest."""
    out = np.zeros(len(values), np.bool_)
    out[np.argsort(-values, kind="stable")[:count]] = True
    return out
