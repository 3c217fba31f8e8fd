"""Breeding places as a graph: the direct links between them, and what holds together.

A link's length is -log p, so that the path of the largest product of probabilities is the shortest one.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array, csr_array, issparse
from scipy.sparse.csgraph import connected_components

from habitatmap.errors import InputError
from habitatmap.geo.compiled import njit
from habitatmap.geo.flight import FlightKernel
from habitatmap.network.places import SAME_M, in_order_of_appearance, pairs_within

Floats = NDArray[np.float64]

SPARE = 2  # ways round a link that best paths do not need: one is left whatever place is lost


def links(places: pd.DataFrame, link_m: float, dispersal_median_m: float) -> csr_array:
    """Probability of direct flight between places: (n, n), symmetric, sparse, 1 on the diagonal.

    places: columns x, y in metres. The probability is the reach weight (1 + d/a) exp(-d/a), the share of dispersal
    flights that get at least that far, with `dispersal_median_m`; 0 beyond `link_m` (inclusive).
    """
    xy = places[["x", "y"]].to_numpy(dtype=float)
    return _probabilities(xy, *pairs_within(xy, link_m), FlightKernel(dispersal_median_m))


def needed_links(places: pd.DataFrame, link_m: float, dispersal_median_m: float) -> tuple[csr_array, int]:
    """Those of the `links` that `thinned` keeps, and how many pairs of places have a link at all.

    Place by place, so that no more links are held than those of one: where many places lie close together all of them
    would take more memory than all else.
    """
    xy, flight = places[["x", "y"]].to_numpy(dtype=float), FlightKernel(dispersal_median_m)
    square = np.floor((xy - xy.min(axis=0, initial=np.inf)) / (link_m + 2 * SAME_M)).astype(np.int64)
    # with room beyond the last column, so that the squares beside one are those of the next numbers
    number = square @ [int(square[:, 1].max(initial=0)) + 3, 1]
    order = np.lexsort((xy[:, 1], xy[:, 0], number))
    wide = np.array([-1, 0, 1]) * (int(square[:, 1].max(initial=0)) + 3)
    i, j, every = _needed_pairs(xy[order], number[order], wide, link_m + SAME_M, flight.scale_m)
    return _probabilities(xy, order[i], order[j], flight), every


def _probabilities(xy: Floats, i: NDArray[np.int64], j: NDArray[np.int64], flight: FlightKernel) -> csr_array:
    """The matrix of `links` between places (n, 2) of these pairs alone."""
    p, all_ = flight.reach_weight(np.hypot(*(xy[i] - xy[j]).T)), np.arange(len(xy))
    data, rows, cols = np.r_[p, p, np.ones(len(xy))], np.r_[i, j, all_], np.r_[j, i, all_]
    return csr_array(coo_array((data, (rows, cols)), shape=(len(xy), len(xy))))


@njit(nogil=True)
def _needed_pairs(
    xy: Floats, square: NDArray[np.int64], beside: NDArray[np.int64], link_m: float, scale_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:  # pragma: no cover - compiled
    """Pairs i < j of places, and the number of all that lie within `link_m`. Places are in the order of their squares,
    of which those above, beside and below have numbers that differ by `beside`, and 1."""
    n, every = len(xy), 0
    here, there = [0][:0], [0][:0]
    near, apart, length = np.empty(n, np.int64), np.empty(n), np.empty(n)
    for u in range(n):
        count = 0
        for step in beside:
            first, last = np.searchsorted(square, square[u] + step - 1), np.searchsorted(square, square[u] + step + 2)
            for v in range(first, last):
                d = np.hypot(xy[u, 0] - xy[v, 0], xy[u, 1] - xy[v, 1])
                if v != u and d <= link_m:
                    near[count], apart[count], length[count] = v, d, d / scale_m - np.log1p(d / scale_m)
                    count += 1
        nearest = np.argsort(apart[:count])
        for e in range(count):
            v = near[e]
            if v < u:  # decided from the other end
                continue
            every += 1
            ways = 0
            for f in nearest:
                if apart[f] >= apart[e]:
                    break
                w = near[f]
                d = np.hypot(xy[w, 0] - xy[v, 0], xy[w, 1] - xy[v, 1])
                if d < apart[e] and length[f] + d / scale_m - np.log1p(d / scale_m) <= length[e]:
                    ways += 1
                    if ways == SPARE:
                        break
            if ways < SPARE:
                here.append(u)
                there.append(v)
    return np.array(here, np.int64), np.array(there, np.int64), every


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


def thinned(graph: csr_array, spare: int = SPARE) -> csr_array:
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


@njit(nogil=True)
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
