"""What the page needs to follow the coming years by itself: forage likely served with a pool more here, one less there.

The page runs the recursion of `plan.mean_field` over the places, the forage points and the simulations of the run. What
a pool at any cell is worth is carried on a lattice and taken in between. How easily places are found and lost stays as
the run set it. For the team's page only.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.network.turnover import quality_of
from habitatmap.page.months import planes
from habitatmap.page.payload import Block
from habitatmap.plan.mean_field import FAR, FAR_ENDS, MeanField
from habitatmap.result import Result

MOST_PLACES = 1_200  # the page takes each pair of them, each year
MOST_PAIRS = 1_000_000  # forage points times places that the page multiplies at each change: about half a second
MOST_LATTICE = 10_000  # points on which the quality of pools is carried
QUALITY_UNIT = 1 / 2000  # a place is worth at most 20 times the usual one, which two bytes hold; 0 = not known
SHARE_UNIT = 1e-7
POINT_UNIT_M = 0.5

Floats = NDArray[np.float64]


def years_blocks(result: Result, pools: NDArray[np.bool_]) -> Block:
    """The blocks `what-if-years` (JSON) and `what-if-quality`; none where the page could not follow so many places.

    pools: for each breeding place whether it is a pool that the page can take out, in the order of its list of them.
    """
    sites, breeding = result.findings.ahead, result.findings.places.frame
    model, grid = sites.model, sites.grid
    n = len(model.known.p)
    if n > MOST_PLACES or n * len(model.demand.share) > MOST_PAIRS:
        return {}
    step = max(1, math.ceil(math.sqrt(grid.rows * grid.cols / MOST_LATTICE)))
    lattice = scratch.thinned(sites.access, step // 2, step)
    quality = np.where(np.isnan(lattice), 0.0, quality_of(lattice, model.known.usual))
    trees = breeding[(breeding["kind"] == "tree").to_numpy()]
    no_tree = (1.0 - trees["p"]).groupby(trees["place"]).prod().reindex(range(n))
    return {
        "what-if-years": {
            "years": model.years,
            "nodes": model.nodes.tolist(),
            "node_weights": model.node_weights.tolist(),
            "left": grid.left,
            "top": grid.top,
            "places": {
                **_from_corner(model.known.xy, grid, 0.1),
                "quality": _rounded(model.known.quality, 5),
                "p": _rounded(model.known.p, 6),
                "pool": model.known.pool.astype(int).tolist(),
                "no_tree": [None if math.isnan(p) else round(p, 6) for p in no_tree],
            },
            "place_of_pool": breeding["place"].to_numpy()[pools].tolist(),
            "forage": {
                **_from_corner(model.demand.xy, grid, POINT_UNIT_M),
                "unit_m": POINT_UNIT_M,
                "share": np.rint(model.demand.share / SHARE_UNIT).astype(int).tolist(),
                "share_unit": SHARE_UNIT,
            },
            "simulations": _simulations(model, sites.is_closed),
            "quality": {"step": step, "cols": lattice.shape[1], "unit": QUALITY_UNIT},
        },
        "what-if-quality": planes(np.rint(quality / QUALITY_UNIT)),
    }


def _simulations(model: MeanField, is_closed: NDArray[np.bool_]) -> Block:
    """What each simulation assumes, and how much it counts in the two means."""
    sims = model.simulations
    closed = is_closed[sims.reading]
    each = 1.0 / np.bincount(sims.reading)[sims.reading]
    of, rates = sims.draws, sims.rates
    values = {"e": of.e, "x": of.x, "z": of.z, "unmapped": rates.unmapped}
    values |= {"half_of_trees": rates.half[0], "half": rates.half[1]}
    return {
        **{name: [float(f"{value:.9g}") for value in row] for name, row in values.items()},
        "patches": sims.patches.tolist(),
        "flights": [[first, end, *kind] for first, end, *kind in sims.flights],
        "far": [FAR, FAR_ENDS],
        "closed": (each * closed / is_closed.sum()).tolist(),
        "open": (each * ~closed / (~is_closed).sum()).tolist(),
    }


def _from_corner(xy: Floats, grid: Grid, unit_m: float) -> dict[str, list[int]]:
    """Points as whole units to the right of and below the corner of the frame."""
    right, down = np.rint((xy - [grid.left, grid.top]) / unit_m).astype(int).T
    return {"right": right.tolist(), "down": (-down).tolist()}


def _rounded(values: ArrayLike, digits: int) -> list[float]:
    return [round(float(value), digits) for value in np.asarray(values, dtype=float)]
