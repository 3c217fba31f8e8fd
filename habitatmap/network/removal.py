"""What the pairs of a network lose when a place is taken out, from trees of best paths: compiled, for many places."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from habitatmap.geo.compiled import njit

Floats = NDArray[np.float64]


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


class PathTree(NamedTuple):
    """One source's tree of best paths, depth first: the branch behind k is in_order[at[k] + 1 : at[k] + size[k]], and
    `latest` the largest number of a place in it (-1 = none). All (n,).
    """

    in_order: NDArray[np.int64]
    at: NDArray[np.int64]
    size: NDArray[np.int64]
    latest: NDArray[np.int64]


@njit(nogil=True)
def removal_losses(
    links: Links, a: Floats, paths: Paths, chosen: NDArray[np.bool_]
) -> Floats:  # pragma: no cover - compiled
    """What pairs of the sources with places after `after` lose without each chosen k: (n,).

    That is sum share a_j (best - best without k). Only the places behind k in the source's tree of best paths can lose.
    """
    n = len(a)
    tree = PathTree(np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64))
    new, lost = np.empty(n), np.zeros(n)
    for s in range(len(paths.sources)):
        if paths.share[s] == 0.0:
            continue
        was, after = paths.length[s], paths.after[s]
        _grow_tree(tree, paths.sources[s], paths.before[s])
        for m in range(1, n):
            k = tree.in_order[m]
            if not chosen[k] or tree.latest[k] <= after:
                continue
            _detour_lengths(links, tree, was, m, new)
            loss = 0.0
            for v in tree.in_order[m + 1 : m + tree.size[k]]:
                if v > after:
                    loss += a[v] * (np.exp(-was[v]) - np.exp(-new[v]))
            lost[k] += paths.share[s] * loss
    return lost


@njit(nogil=True)
def _grow_tree(tree: PathTree, source: int, before: NDArray[np.int32]) -> None:  # pragma: no cover - compiled
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


@njit(nogil=True)
def _detour_lengths(
    links: Links, tree: PathTree, was: Floats, m: int, new: Floats
) -> None:  # pragma: no cover - compiled
    """Lengths of the best paths to the places behind the m-th one of the tree that do not pass it, written into `new`.

    Links that reach them from outside that branch come first; then the branch is gone through, down and up in turn,
    until no link within makes any path shorter. Branches are small, and a path seldom turns: that takes a few rounds,
    and no heap.
    """
    last = m + tree.size[tree.in_order[m]]
    branch = tree.in_order[m + 1 : last]
    for v in branch:
        new[v] = np.inf
        for e in range(links.indptr[v], links.indptr[v + 1]):
            u = links.indices[e]
            if not m <= tree.at[u] < last:
                new[v] = min(new[v], was[u] + links.length[e])
    shorter, down = True, True
    while shorter:
        shorter = False
        for step in range(len(branch)):
            v = branch[step if down else len(branch) - 1 - step]
            best = new[v]
            for e in range(links.indptr[v], links.indptr[v + 1]):
                u = links.indices[e]
                if m < tree.at[u] < last:
                    best = min(best, new[u] + links.length[e])
            if best < new[v]:
                new[v], shorter = best, True
        down = not down


@njit(nogil=True)
def carried(best: Floats, before: NDArray[np.int32], a: Floats, share: Floats) -> Floats:  # pragma: no cover - compiled
    """What the sources exchange with others over each place, which is the most they could lose with it: (n,)."""
    n = len(a)
    over = np.zeros(n)
    for s in range(len(share)):
        behind = np.zeros(n)
        for v in np.argsort(best[s]):  # the farthest first
            parent = before[s, v]
            if parent >= 0:
                behind[parent] += behind[v] + a[v] * best[s, v]
                over[v] += share[s] * behind[v]
    return over
