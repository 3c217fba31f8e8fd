"""Flights between breeding places: what arrives at each of what all of them send.

Few places have a matrix of all pairs. Among many that lie close together nearly every pair counts, and their matrix
would take more memory than all else: what they send is laid on a grid (cubic interpolation), spread there by a
transform, and read off it again. Many places far apart have few pairs, and a matrix that holds no others.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from habitatmap.geo.engine import default_workers

Floats = NDArray[np.float64]

DENSE_PLACES = 3000  # so many have a matrix of all pairs
PAIRS_A_NODE = 20  # fewer pairs than that for each node of the grid cost less than the grid
SAMPLE = 200  # places whose pairs are counted, to know about how many there are
AT_ONCE = 8  # columns on the grid together
NEXT = np.arange(-1, 3)  # of the four nodes about a place, along each axis


class GriddedFlow:
    """Share of flights between places (n, 2) that get so far: `flow @ sent` for sent (n, ...), none to itself.

    On a third of the scale of (1 + q) e^-q, and a quarter of the median of other tails, what arrives is right to 1 in
    5,000 on average over 4,000 random places in 10 x 10 km, and to 1 in 500 at each (tests.network.test_flows).
    """

    def __init__(self, xy: Floats, reached: Callable[[Floats], Floats], step_m: float) -> None:
        corner = xy.min(axis=0) - 2.0 * step_m
        on_grid = (xy - corner) / step_m
        node = np.floor(on_grid).astype(np.int64)
        self.size = tuple((node.max(axis=0) + 3).tolist())
        weights = [_cubic(part) for part in (on_grid - node).T]
        each = (weights[0][:, :, None] * weights[1][:, None, :]).reshape(len(xy), -1)
        rows, cols = ((node[:, axis, None] + NEXT) for axis in (0, 1))
        nodes = (rows[:, :, None] * self.size[1] + cols[:, None, :]).reshape(len(xy), -1)
        ends = np.arange(0, each.size + 1, each.shape[1])
        self.read = csr_array((each.ravel(), nodes.ravel(), ends), shape=(len(xy), self.size[0] * self.size[1]))
        self.lay = csr_array(self.read.T)
        self.wide = [int(scipy.fft.next_fast_len(2 * nodes, real=True)) for nodes in self.size]
        apart = [np.minimum(np.arange(wide), wide - np.arange(wide)) * step_m for wide in self.wide]
        spread = scipy.fft.rfft2(reached(np.hypot(apart[0][:, None], apart[1])))
        self.spectrum = spread.real.astype(np.float32)  # interpolation errs by more than single precision
        i, j = np.divmod(np.arange(each.shape[1]), len(NEXT))
        between = reached(step_m * np.hypot(i[:, None] - i, j[:, None] - j))
        self.to_itself = ((each @ between) * each).sum(axis=1)

    def __matmul__(self, sent: Floats) -> Floats:
        flat = sent.reshape(len(sent), -1)
        arrives = -self.to_itself[:, None] * flat
        for first in range(0, flat.shape[1], AT_ONCE):
            some = np.s_[:, first : first + AT_ONCE]
            laid = (self.lay @ flat[some]).T.reshape(-1, *self.size).astype(np.float32)
            spectra = scipy.fft.rfft2(laid, self.wide, workers=default_workers()) * self.spectrum
            spread = scipy.fft.irfft2(spectra, self.wide, workers=default_workers(), overwrite_x=True)
            arrives[some] += self.read @ spread[:, : self.size[0], : self.size[1]].reshape(len(laid), -1).T
        if flat.min(initial=0.0) >= 0.0:  # where next to nothing arrives, rounding would leave less
            arrives = np.maximum(arrives, 0.0)
        return np.asarray(arrives.reshape(sent.shape))


Flow: TypeAlias = Floats | csr_array | GriddedFlow


def flow_between(xy: Floats, reached: Callable[[Floats], Floats], step_m: float, farthest_m: float) -> Flow:
    """Share of flights between places (n, 2) that get so far: symmetric, 0 from a place to itself; for `flow @ sent`.

    reached: that share by distance (metres), smooth over `step_m`. Many places far apart leave flights beyond
    `farthest_m` out.
    """
    if len(xy) <= DENSE_PLACES:
        flow = reached(cdist(xy, xy))
        np.fill_diagonal(flow, 0.0)
        return flow
    tree, nodes = cKDTree(xy), np.prod(np.ptp(xy, axis=0) / step_m + 5.0)
    some = xy[:: len(xy) // SAMPLE + 1]
    if tree.query_ball_point(some, farthest_m, return_length=True).mean() * len(xy) > PAIRS_A_NODE * nodes:
        return GriddedFlow(xy, reached, step_m)
    i, j = tree.query_pairs(farthest_m, output_type="ndarray").T
    near = reached(np.hypot(*(xy[i] - xy[j]).T))
    return csr_array((np.r_[near, near], (np.r_[i, j], np.r_[j, i])), shape=(len(xy), len(xy)))


def _cubic(part: Floats) -> Floats:
    """Weights (n, 4) of the nodes about points so far (0-1) behind the second of them (Lagrange)."""
    t, weights = part[:, None], []
    for a in NEXT:
        weights.append(np.prod([(t - b) / (a - b) for b in NEXT if b != a], axis=0))
    return np.asarray(np.hstack(weights))
