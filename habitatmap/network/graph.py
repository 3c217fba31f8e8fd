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
from habitatmap.network.places import in_order_of_appearance, pairs_within

Floats = NDArray[np.float64]


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
