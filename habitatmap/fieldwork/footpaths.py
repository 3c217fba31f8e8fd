"""How far it is on foot from pool to pool: along the paths where there are any, else along straight lines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from habitatmap.fieldwork.routes import straight

Array = NDArray[np.float64]
MARGIN_M = 1000.0  # paths so far around the pools may still be part of a shortest way (expert judgement)
GRID_M = 0.01  # ends of lines that lie closer are one junction


@dataclass(frozen=True)
class Footpaths:
    """The ways between pools. distances: pool to pool, metres, symmetric; by_path: legs that follow paths; off_path:
    pools too far from any.
    """

    x: Array
    y: Array
    distances: Array
    by_path: NDArray[np.bool_]
    off_path: NDArray[np.bool_]
    _net: _Network | None = field(default=None, repr=False)

    def line(self, i: int, j: int) -> Array:
        """The way from pool i to pool j as positions, k x 2."""
        ends = [(self.x[i], self.y[i]), (self.x[j], self.y[j])]
        if self._net is None or not self.by_path[i, j]:
            return np.array(ends)
        return np.array([ends[0], *self._net.between(i, j), ends[1]])


def straight_lines(x: ArrayLike, y: ArrayLike) -> Footpaths:
    """Every leg as the crow flies."""
    px, py = np.asarray(x, float), np.asarray(y, float)
    none = np.zeros((len(px), len(px)), dtype=bool)
    return Footpaths(px, py, straight(px, py), none, np.ones(len(px), dtype=bool))


def along_paths(x: ArrayLike, y: ArrayLike, lines: Iterable[BaseGeometry | None], within_m: float) -> Footpaths:
    """Ways along `lines` (shapely, in metres) between pools that lie within `within_m` of one.

    Lines meet wherever they cross, bridges too. A leg is straight where a pool is farther from every path, where no
    path leads over, and where the straight line is no longer than the two bits from the pools to the paths.
    """
    plain = straight_lines(x, y)
    px, py = plain.x, plain.y
    if not len(px):
        return plain
    box = shapely.box(px.min(), py.min(), px.max(), py.max()).buffer(MARGIN_M)
    near = [line for line in lines if line is not None and line.intersects(box)]
    if not near:
        return plain
    edges = shapely.get_parts(shapely.union_all(near, grid_size=GRID_M))
    edges = edges[shapely.get_type_id(edges) == 1]
    if not len(edges):
        return plain
    net = _Network(px, py, edges)
    off_path = net.off_m > within_m
    over = net.off_m[:, None] + net.length + net.off_m[None, :]
    crossing = plain.distances <= net.off_m[:, None] + net.off_m[None, :]
    by_path = np.isfinite(over) & ~crossing & ~off_path[:, None] & ~off_path[None, :]
    np.fill_diagonal(by_path, False)
    distances = np.where(by_path, over, plain.distances)
    distances = np.minimum(distances, distances.T)  # alike but for rounding
    return Footpaths(px, py, distances, by_path, off_path, net)


class _Network:
    """Junctions and the pools' places on the paths as nodes, the pools' first. off_m: from pool to path; length: from
    pool to pool on the paths, inf where none leads over."""

    def __init__(self, x: Array, y: Array, edges: NDArray[np.object_]) -> None:
        n, points = len(x), shapely.points(x, y)
        pool, nearest = shapely.STRtree(edges).query_nearest(points, all_matches=False)
        nearest = nearest[np.argsort(pool)]
        self.off_m = np.asarray(shapely.distance(points, edges[nearest]))
        ends = np.concatenate([shapely.get_coordinates(shapely.get_point(edges, k)) for k in (0, -1)])
        junctions, node = np.unique(np.round(ends / GRID_M).astype(np.int64), axis=0, return_inverse=True)
        start, end = node.reshape(2, -1) + n

        # every edge from its start over the pools on it to its end
        each = np.arange(len(edges))
        edge = np.concatenate([each, nearest, each])
        at = np.concatenate([0 * each, shapely.line_locate_point(edges[nearest], points), shapely.length(edges)])
        node = np.concatenate([start, np.arange(n), end])
        kind = np.repeat([0, 1, 2], [len(edges), n, len(edges)])  # at one spot the start comes first, the end last
        order = np.lexsort((node, kind, at, edge))
        edge, at, node = edge[order], at[order], node[order]
        steps = pd.DataFrame({"edge": edge[1:], "u": node[:-1], "v": node[1:], "a": at[:-1], "b": at[1:]})
        steps = steps[(edge[1:] == edge[:-1]) & (node[1:] != node[:-1])]
        steps = steps.assign(low=steps[["u", "v"]].min(axis=1), high=steps[["u", "v"]].max(axis=1))
        # a sparse matrix adds up what stands twice at one place: of two ways the shorter one is kept
        steps = steps.assign(length=steps["b"] - steps["a"]).sort_values(["low", "high", "length"], kind="stable")
        steps = steps.drop_duplicates(["low", "high"])
        self._edges = edges
        self._steps = {(s.low, s.high): s for s in steps.itertuples(index=False)}
        # and it takes 0 for no way, but two pools at one spot of a path are 0 apart
        weights = np.maximum(steps["length"].to_numpy(), 1e-9)
        shape = (n + len(junctions),) * 2
        graph = csr_array((weights, (steps["low"].to_numpy(), steps["high"].to_numpy())), shape=shape)
        length, self._before = dijkstra(graph, directed=False, indices=np.arange(n), return_predecessors=True)
        self.length = np.asarray(length)[:, :n]

    def between(self, i: int, j: int) -> list[tuple[float, float]]:
        """Positions along the paths from the place of pool i to that of pool j, both included."""
        nodes = [j]
        while nodes[-1] != i:
            nodes.append(int(self._before[i, nodes[-1]]))
        line: list[tuple[float, float]] = []
        for u, v in pairwise(nodes[::-1]):
            step = self._steps[min(u, v), max(u, v)]
            part = substring(self._edges[step.edge], *((step.a, step.b) if u == step.u else (step.b, step.a)))
            line += [(float(px), float(py)) for px, py in shapely.get_coordinates(part)]
        return line
