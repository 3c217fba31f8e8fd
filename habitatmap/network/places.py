"""Breeding places: standing pools and rot-hole trees, their probability of being occupied, and the places they form.

Pools and trees within `merge_m` of each other (or joined by a chain of such) are one place of the network and share one
simulated state; in forage in reach each of them counts for itself, so that one more pool never lowers it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.read.settings import Settings

SAME_M = 1e-6  # metres that rounding may move a place


def merged(x: ArrayLike, y: ArrayLike, merge_m: float) -> NDArray[np.int64]:
    """Number of the group of each point (n,), from 0 in order of first appearance: single linkage at merge_m (metres,
    inclusive), measured between the points themselves.
    """
    every = np.column_stack([np.asarray(x, dtype=float), np.asarray(y, dtype=float)])
    # the public's pools share their places, a thousand may one: they need not be held against each other
    xy, which = np.unique(every, axis=0, return_inverse=True)
    i, j = pairs_within(xy, merge_m)
    near = coo_array((np.ones(len(i)), (i, j)), shape=(len(xy), len(xy)))
    return in_order_of_appearance(connected_components(near, directed=False)[1][which])


def breeding_places(
    pools: pd.DataFrame,
    counted: NDArray[np.bool_],
    probability: ArrayLike,
    trees: pd.DataFrame,
    rot_hole_probability: ArrayLike,
    grid: Grid,
    settings: Settings,
) -> pd.DataFrame:
    """The breeding places of an area: kind ("pool" | "tree"), index (row in its frame), id, x, y, row, col, p, place.

    pools: pool, x, y, of which the `counted` (pools,) take part, with the `probability` (pools,) that each is occupied
    given its own visits. trees: x, y with the `rot_hole_probability` (trees,) of a wet rot-hole, NaN = not known; those
    of at least `near.dead_wood_from` are rot-hole trees, occupied with that x `occupancy.trees`. Pools come first, each
    kind in the order of its own frame; `place` counts from 0 (`merged` at `flight.merge_m`).

    Trees outside the raster frame are left out; `attrs["trees_outside"]` says how many. A counted pool stays wherever
    it lies, its row or column may be outside the frame.
    """
    taken = np.flatnonzero(counted)
    given, hole = np.asarray(probability, dtype=float), np.asarray(rot_hole_probability, dtype=float)
    if given.shape != (len(pools),) or hole.shape != (len(trees),):
        raise InputError(
            f"breeding places: {len(pools)} pools with {given.size} and {len(trees)} trees with {hole.size} "
            "probabilities do not fit: give one number for each."
        )
    with_hole = np.flatnonzero(hole >= settings.near.dead_wood_from)
    inside = grid.inside(*grid.cell_of(trees["x"].to_numpy()[with_hole], trees["y"].to_numpy()[with_hole]))
    kept = with_hole[inside]
    x, y = (np.r_[pools[c].to_numpy(dtype=float)[taken], trees[c].to_numpy(dtype=float)[kept]] for c in ("x", "y"))
    row, col = grid.cell_of(x, y)
    frame = pd.DataFrame(
        {
            "kind": ["pool"] * len(taken) + ["tree"] * len(kept),
            "index": np.r_[taken, kept],
            "id": [str(name) for name in pools["pool"].to_numpy()[taken]] + [str(k + 1) for k in kept],
            "x": x,
            "y": y,
            "row": row,
            "col": col,
            "p": np.r_[given[taken], hole[kept] * settings.occupancy.trees],
            "place": merged(x, y, settings.flight.merge_m),
        }
    )
    frame.attrs["trees_outside"] = int((~inside).sum())
    return frame


def network_places(breeding: pd.DataFrame, access: NDArray[np.floating] | None = None) -> pd.DataFrame:
    """One row per place of the network, in order of `place`: place, x, y, pools, trees, p, and access, weight.

    x, y: mean position of its pools and trees. p = 1 - prod(1 - p), the probability that any of them is occupied.
    access: mean forage access (0-1) of their cells on the raster `access` (rows, cols), NaN where no cell has data or
    the place lies outside. weight = p x access, the weight in the equivalent connectivity; 0 where access is not known,
    as a place without known forage can be flown over but is worth nothing that is known.
    """
    by_place = breeding.groupby("place")
    out = by_place[["x", "y"]].mean()
    out["pools"] = (breeding["kind"] == "pool").groupby(breeding["place"]).sum()
    out["trees"] = (breeding["kind"] == "tree").groupby(breeding["place"]).sum()
    out["p"] = 1.0 - (1.0 - breeding["p"]).groupby(breeding["place"]).prod()
    if access is not None:
        row, col = breeding["row"].to_numpy(), breeding["col"].to_numpy()
        inside = (row >= 0) & (row < access.shape[0]) & (col >= 0) & (col < access.shape[1])
        at = np.full(len(breeding), np.nan)
        at[inside] = scratch.picked(access, row[inside], col[inside])
        out["access"] = pd.Series(at, index=breeding.index).groupby(breeding["place"]).mean()
        out["weight"] = (out["p"] * out["access"]).fillna(0.0)
    return out.reset_index()


def pairs_within(xy: NDArray[np.float64], radius_m: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All pairs i < j of points (n, 2) at most radius_m apart (inclusive), sorted."""
    if not len(xy):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    # a little more, then the exact test: a pair at the very distance counts, however the tree rounds
    pairs = cKDTree(xy).query_pairs(radius_m * (1 + 1e-6), output_type="ndarray").astype(np.int64)
    apart = np.hypot(*(xy[pairs[:, 0]] - xy[pairs[:, 1]]).T)
    pairs = pairs[apart <= radius_m + SAME_M]
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return pairs[:, 0], pairs[:, 1]


def in_order_of_appearance(labels: NDArray[np.integer]) -> NDArray[np.int64]:
    """Renumbers labels so that the first row has 0, the next new one 1, and so on."""
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[inverse]
