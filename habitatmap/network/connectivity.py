"""How well breeding places are connected: best paths of flight, and what each place is worth.

Two places are joined by their best path, the chain of direct links whose probabilities have the largest product (found
as a shortest path on -log p). The pair sum adds weight x weight x best product over all ordered pairs, a place with
itself included; its root, the equivalent connectivity (ec), is the weight of one single place that would be worth as
much (Saura & Pascual-Hortal 2007, Landsc Urban Plan 83:91; Saura et al. 2011, Ecol Indic 11:407).

Adding places is not submodular here: a second stepping stone may be worth more than the first. No share of the best
possible is therefore claimed for a greedy choice by ec.
"""

from __future__ import annotations

import heapq
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numba
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array, csr_array, issparse
from scipy.sparse.csgraph import connected_components, dijkstra, reverse_cuthill_mckee

from habitatmap.errors import InputError
from habitatmap.geo.engine import default_workers
from habitatmap.geo.flight import FlightKernel
from habitatmap.network.places import in_order_of_appearance, pairs_within

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
    row_sum, stepping, *_ = _parts(a, graph, removals=True)
    return _importance(a, row_sum, stepping)


def equivalent_connectivity(weights: ArrayLike, probability: ArrayLike | csr_array) -> float:
    """The ec of `connectivity` alone, without taking places out."""
    a, graph = _checked(weights, probability)
    row_sum, *_ = _parts(a, graph, removals=False)
    return float(np.sqrt(np.dot(a, row_sum)))


def links(places: pd.DataFrame, link_m: float, dispersal_median_m: float) -> csr_array:
    """Probability of direct flight between places: (n, n), symmetric, sparse, 1 on the diagonal.

    places: columns x, y in metres. The probability is the reach weight (1 + d/a) exp(-d/a), the share of dispersal
    flights that get at least that far, with `dispersal_median_m`; 0 beyond `link_m` (inclusive).
    """
    xy = places[["x", "y"]].to_numpy(dtype=float)
    n = len(xy)
    i, j = pairs_within(xy, link_m)
    p = FlightKernel(dispersal_median_m).reach_weight(np.hypot(*(xy[i] - xy[j]).T))
    all_ = np.arange(n)
    data, rows, cols = np.r_[p, p, np.ones(n)], np.r_[i, j, all_], np.r_[j, i, all_]
    return csr_array(coo_array((data, (rows, cols)), shape=(n, n)))


def components(probability: ArrayLike | csr_array) -> NDArray[np.int64]:
    """Number of each place's component (places joined by some path), from 0 in order of first appearance: (n,)."""
    return in_order_of_appearance(connected_components(lengths(probability), directed=False)[1])


def articulations(probability: ArrayLike | csr_array) -> NDArray[np.bool_]:
    """Whether the network falls apart without this place: (n,).

    By depth-first search (Tarjan 1972, SIAM J Comput 1:146).
    """
    graph = lengths(probability)
    n = graph.shape[0]
    start, neighbour = graph.indptr.tolist(), graph.indices.tolist()
    seen_at, lowest = [-1] * n, [0] * n  # when each place was first met; earliest place met from it or from beyond it
    cut = np.zeros(n, dtype=bool)
    clock = 0
    for root in range(n):
        if seen_at[root] >= 0:
            continue
        seen_at[root] = lowest[root] = clock
        clock += 1
        branches = 0
        path = [(root, -1, iter(neighbour[start[root] : start[root + 1]]))]
        while path:
            here, parent, rest = path[-1]
            for there in rest:
                if seen_at[there] < 0:
                    seen_at[there] = lowest[there] = clock
                    clock += 1
                    path.append((there, here, iter(neighbour[start[there] : start[there + 1]])))
                    break
                if there != parent:
                    lowest[here] = min(lowest[here], seen_at[there])
            else:
                path.pop()
                if parent == root:
                    branches += 1
                elif parent >= 0:
                    cut[parent] |= lowest[here] >= seen_at[parent]
                if parent >= 0:
                    lowest[parent] = min(lowest[parent], lowest[here])
        cut[root] = branches > 1
    return cut


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


def lengths(probability: ArrayLike | csr_array) -> csr_array:
    """Lengths -log p of the links as a sorted sparse matrix without diagonal; a sure link is a stored 0."""
    if issparse(probability):
        direct = coo_array(csr_array(probability, dtype=float))  # by way of csr: repeated entries are summed
    else:
        direct = coo_array(np.atleast_2d(np.asarray(probability, dtype=float)))
    n, m = direct.shape
    if n != m:
        raise InputError(
            f"connectivity: the probability matrix has shape {direct.shape}, expected as many rows as columns."
        )
    rows, cols = direct.coords
    p = direct.data
    bad = np.flatnonzero(~((p >= 0) & (p <= 1)))
    if len(bad):
        raise InputError(
            f"connectivity: probability {p[bad[0]]} at row {rows[bad[0]]}, column {cols[bad[0]]} is not within 0-1."
        )
    off = (rows != cols) & (p > 0)
    graph = csr_array((p[off], (rows[off], cols[off])), shape=(n, n))
    graph.sort_indices()
    back = csr_array(graph.T)
    back.sort_indices()
    same = np.array_equal(graph.indptr, back.indptr) and np.array_equal(graph.indices, back.indices)
    if not (same and np.allclose(graph.data, back.data, rtol=1e-9, atol=0)):
        raise InputError("connectivity: the probability matrix is not symmetric: give each link in both directions.")
    graph.data = np.abs(np.log(graph.data))
    return graph


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
    row_sum, stepping, sources, counts_for, variance = _parts(a, graph, True, most)
    connected = _importance(a, row_sum, stepping)
    error = np.sqrt(variance) / (2.0 * connected.ec) if connected.ec > 0 else 0.0
    return EstimatedConnectivity(
        connected.ec, float(error), connected.pair_sum, connected.importance, sources, counts_for
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


def thinned(graph: csr_array, spare: int = 2) -> csr_array:
    """The links (lengths -log p, symmetric) that best paths may need, even once `spare` - 1 places are taken out.

    A link u-v is left out where `spare` different places w lead from u to v in two hops, each shorter than the link,
    and no longer together. Whatever place is then lost, one of them is left, and its hops are themselves links, or led
    round by still shorter ones: no best path gets longer. In a dense network few links of hundreds stay.
    """
    kept = _needed(graph.indptr, graph.indices, graph.data, spare)
    rows = np.repeat(np.arange(graph.shape[0]), np.diff(graph.indptr))
    out = csr_array((graph.data[kept], (rows[kept], graph.indices[kept])), shape=graph.shape)
    out.sort_indices()
    return out


@numba.njit(cache=True, nogil=True)
def _needed(
    indptr: NDArray[np.int32], indices: NDArray[np.int32], link: Floats, spare: int
) -> NDArray[np.bool_]:  # pragma: no cover - compiled
    """Which links `thinned` keeps; columns are sorted within rows."""
    kept = np.ones(len(link), np.bool_)
    for u in range(len(indptr) - 1):
        first, last = indptr[u], indptr[u + 1]
        nearest = first + np.argsort(link[first:last])
        for e in range(first, last):
            v = indices[e]
            if v < u:  # decided from the other end
                continue
            ways = 0
            for f in nearest:
                if link[f] >= link[e]:
                    break
                w = indices[f]
                at = indptr[w] + np.searchsorted(indices[indptr[w] : indptr[w + 1]], v)
                if at < indptr[w + 1] and indices[at] == v and link[at] < link[e] and link[f] + link[at] <= link[e]:
                    ways += 1
                    if ways == spare:
                        break
            if ways == spare:
                kept[e] = False
                kept[indptr[v] + np.searchsorted(indices[indptr[v] : indptr[v + 1]], u)] = False
    return kept


def _importance(a: Floats, row_sum: Floats, stepping: Floats) -> Connectivity:
    """From sum_j best_ij a_j of each place, and what the others exchange over it."""
    pair_sum = float(np.dot(a, row_sum))
    own, flux = a**2, 2.0 * a * (row_sum - a)
    # what is left of a tie between a direct link and an equally good detour is rounding, no stepping stone
    stepping = np.where(stepping < 1e-13 * pair_sum, 0.0, stepping)
    percent = 100.0 / pair_sum if pair_sum > 0 else np.nan
    parts = {"loss": own + flux + stepping, "own": own, "flux": flux, "stepping": stepping}
    return Connectivity(float(np.sqrt(pair_sum)), pair_sum, pd.DataFrame({k: v * percent for k, v in parts.items()}))


def _parts(
    a: Floats, graph: csr_array, removals: bool, most: int | None = None
) -> tuple[Floats, Floats, NDArray[np.int64], Floats, float]:
    """For each place sum_j best_ij a_j, and what all other pairs lose over it (0 unless `removals`); the sources, what
    each counts for, and the variance of the pair sum (0 where `most` is None, or no component has more places).
    """
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
    return row_sum, stepping, np.concatenate(sources), np.concatenate(counts_for), variance


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
        """As `_parts`, in the order the places came in."""
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
                return seen_from, seen_by, _carried(best, before, a, share[some]), paths
            lost = _lost_by_removal(links, a, paths, np.ones(n, np.bool_)) if removals else np.zeros(n)
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
                exact = np.sum(list(pool.map(lambda paths: _lost_by_removal(links, a, paths, chosen), found)), axis=0)
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


@numba.njit(cache=True, nogil=True)
def _carried(
    best: Floats, before: NDArray[np.int32], a: Floats, share: Floats
) -> Floats:  # pragma: no cover - compiled
    """What the sources exchange with others over each place, which is the most they could lose with it: (n,)."""
    n = len(a)
    carried = np.zeros(n)
    for s in range(len(share)):
        behind = np.zeros(n)
        for v in np.argsort(best[s]):  # the farthest first
            parent = before[s, v]
            if parent >= 0:
                behind[parent] += behind[v] + a[v] * best[s, v]
                carried[v] += share[s] * behind[v]
    return carried


class Links(NamedTuple):
    """A component's links as the parts of a sparse matrix: lengths -log p."""

    indptr: NDArray[np.int32]
    indices: NDArray[np.int32]
    length: Floats


class Paths(NamedTuple):
    """Best paths from some sources: of each source its number, what a pair with it counts for, and the place after
    which its partners come (-1 = all are); lengths and predecessors (sources, n).
    """

    sources: NDArray[np.int64]
    share: Floats
    after: NDArray[np.int64]
    length: Floats
    before: NDArray[np.int32]


class Tree(NamedTuple):
    """One source's tree of best paths, depth first: the branch behind k is in_order[at[k] + 1 : at[k] + size[k]], and
    `latest` the largest number of a place in it (-1 = none). All (n,).
    """

    in_order: NDArray[np.int64]
    at: NDArray[np.int64]
    size: NDArray[np.int64]
    latest: NDArray[np.int64]


@numba.njit(cache=True, nogil=True)
def _lost_by_removal(
    links: Links, a: Floats, paths: Paths, chosen: NDArray[np.bool_]
) -> Floats:  # pragma: no cover - compiled
    """What pairs of the sources with places after `after` lose without each chosen k: (n,).

    That is sum share a_j (best - best without k). Only the places behind k in the source's tree of best paths can lose.
    """
    n = len(a)
    tree = Tree(np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64))
    new, lost = np.empty(n), np.zeros(n)
    for s in range(len(paths.sources)):
        if paths.share[s] == 0.0:
            continue
        was, after = paths.length[s], paths.after[s]
        _grow(tree, paths.sources[s], paths.before[s])
        for m in range(1, n):
            k = tree.in_order[m]
            if not chosen[k] or tree.latest[k] <= after:
                continue
            _detours(links, tree, was, m, new)
            loss = 0.0
            for v in tree.in_order[m + 1 : m + tree.size[k]]:
                if v > after:
                    loss += a[v] * (np.exp(-was[v]) - np.exp(-new[v]))
            lost[k] += paths.share[s] * loss
    return lost


@numba.njit(cache=True, nogil=True)
def _grow(tree: Tree, source: int, before: NDArray[np.int32]) -> None:  # pragma: no cover - compiled
    """Fills the tree from the predecessors of each place."""
    n = len(before)
    child, sibling, stack = np.full(n, -1), np.empty(n, np.int64), np.empty(n, np.int64)
    for v in range(n):
        if v != source:
            sibling[v] = child[before[v]]
            child[before[v]] = v
    stack[0], top, met = source, 1, 0
    while top:
        top -= 1
        v = stack[top]
        tree.in_order[met], tree.at[v], tree.size[v], tree.latest[v] = v, met, 1, -1
        met += 1
        c = child[v]
        while c >= 0:
            stack[top] = c
            top += 1
            c = sibling[c]
    for m in range(n - 1, 0, -1):
        v = tree.in_order[m]
        parent = before[v]
        tree.size[parent] += tree.size[v]
        tree.latest[parent] = max(tree.latest[parent], v, tree.latest[v])


@numba.njit(cache=True, nogil=True)
def _detours(links: Links, tree: Tree, was: Floats, m: int, new: Floats) -> None:  # pragma: no cover - compiled
    """Lengths of the best paths to the places behind the m-th one of the tree that do not pass it, written into `new`.

    By a search (Dijkstra 1959) that starts from the links that reach them from outside that branch.
    """
    last = m + tree.size[tree.in_order[m]]
    heap = [(0.0, np.int64(0)) for _ in range(0)]
    for v in tree.in_order[m + 1 : last]:
        best = np.inf
        for e in range(links.indptr[v], links.indptr[v + 1]):
            u = links.indices[e]
            if not m <= tree.at[u] < last:
                best = min(best, was[u] + links.length[e])
        new[v] = best
        if best < np.inf:
            heap.append((best, v))
    heapq.heapify(heap)
    while heap:
        d, nearest = heapq.heappop(heap)
        if d > new[nearest]:
            continue
        for e in range(links.indptr[nearest], links.indptr[nearest + 1]):
            u = np.int64(links.indices[e])
            if m < tree.at[u] < last and d + links.length[e] < new[u]:
                new[u] = d + links.length[e]
                heapq.heappush(heap, (new[u], u))
