"""What the page needs to calculate by itself: a pool more here, one less there, and what is then in reach.

The page multiplies the same product as `plan.reach.not_reached`, over whole cells as long as there are at most
MOST_CELLS of them, else over blocks of cells seen from their middle; how far that is off is measured here and said on
the page. Chances p are frozen, as they are for the plan. For the team's page only.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.geo import scratch
from habitatmap.geo.crs import to_lonlat
from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.page.coding import sentence
from habitatmap.page.months import planes
from habitatmap.page.years_ahead import years_blocks
from habitatmap.plan.candidates import Candidates, Lost, Reason
from habitatmap.plan.reach import block_sum, forage_of, not_reached, reached_share
from habitatmap.privacy import may_be_placed
from habitatmap.result import Result
from habitatmap.words.gaps import lost

MOST_CELLS = 1_000_000  # a browser multiplies them in a blink
MOST_GROUND = 4_000_000  # cells of the map of allowed ground
MOST_PRODUCTS = 150_000_000  # cells times places that the page multiplies when it begins: about half a second
MOST_SWITCHED = 2_000  # pools that can be taken out; more would be no what-if
LEAST_DIVISOR = 1e-200  # far above where numbers lose their digits
FULL = 65_535  # 1.0 as two bytes
CLOSE_CELLS = 0.01  # how exact a place on the map is turned into a cell

Floats = NDArray[np.float64]


def what_if_blocks(result: Result) -> dict[str, Any]:
    """The blocks `what-if` (JSON), `what-if-w`, `what-if-ground` and, where used, `what-if-fixed` and `what-if-p`;
    and those of `years_ahead`.

    Empty where there is no forage to reach.
    """
    base, grid = result.findings, result.grid
    places, missed = base.places.frame, base.reach.not_reached
    weight = base.habitat.weight
    total = forage_of(weight)
    if not total > 0:
        return {}
    size = max(1, math.ceil(math.sqrt(weight.size / MOST_CELLS)))
    step = max(1, math.ceil(math.sqrt(weight.size / MOST_GROUND)))
    settings = result.settings
    median_m = settings.flight.forage_median_m
    flight = FlightKernel(median_m)
    row_of_pool = {name: i for i, name in enumerate(result.pools["pool"].tolist())}
    is_pool = (places["kind"] == "pool").to_numpy()
    switched = is_pool if is_pool.sum() <= MOST_SWITCHED else np.zeros(len(is_pool), dtype=bool)
    pools, fixed = places[switched], places[~switched]
    footprint = math.pi * (flight.radius_cells(grid.cell_m) / size) ** 2
    carried = len(fixed) * footprint > MOST_PRODUCTS

    ground, reasons = _ground(base.candidates, step)
    chance = scratch.thinned(base.p_new, step // 2, step)
    low, high = scratch.ends(chance)
    blocks: dict[str, Any] = {
        "what-if": {
            "rows": grid.rows,
            "cols": grid.cols,
            "cell_m": grid.cell_m,
            "size": size,
            "step": step,
            "flight": {"scale_m": flight.scale_m, "radius_cells": flight.radius_cells(grid.cell_m)},
            "spacing_m": settings.plan.spacing_m,
            "total": total,
            "p": low if low == high else None,
            "gap": [settings.gap.reached_below, settings.gap.forage_from, settings.gap.least_ha],
            "reasons": [sentence(lost(reason)) for reason in reasons],
            "no_data": reasons.index(Lost.NO_DATA) + 1 if Lost.NO_DATA in reasons else 0,
            "pools": _columns(pools) | {"index": [row_of_pool[name] for name in pools["id"]]},
            "fixed": None if carried else _columns(fixed),
            "plan": base.proposal.sites[["row", "col"]].to_numpy(int)[may_be_placed(result.plan)].tolist(),
            "off_by": _off_by(weight, base.proposal.sites, grid, median_m, size),
            **_turns(grid, result.crs),
        },
        "what-if-w": planes(np.rint(_blocked(weight, size) / size**2 * FULL)),
        "what-if-ground": ground.astype(np.uint8).tobytes(),
    }
    if carried:
        R = without(missed, pools, fixed, grid, median_m) if switched.any() else missed
        w = _blocked(weight, size)
        left = scratch.cellwise(lambda part, of: np.nan_to_num(part) * of, weight, R, dtype=np.float64)
        seen = _blocked(left, size) / np.where(w > 0, w, 1)
        blocks["what-if-fixed"] = planes(np.rint(np.where(w > 0, seen, _blocked(R, size) / size**2) * FULL))
    if low < high:
        blocks["what-if-p"] = planes(
            scratch.cellwise(lambda part: np.rint(np.nan_to_num(part) * FULL), chance, dtype=np.uint16)
        )
    return blocks | years_blocks(result, switched)


def _columns(places: pd.DataFrame) -> dict[str, list[Any]]:
    return {"row": places["row"].tolist(), "col": places["col"].tolist(), "p": places["p"].astype(float).tolist()}


def _ground(where: Candidates, step: int) -> tuple[NDArray[np.uint8], list[Reason]]:
    """Number of the reason why no pool may stand (0 = it may), and the reasons from 1 on, less the one asked anew."""
    reasons = list(where.lost)
    code = scratch.thinned(where.code, step // 2, step)
    if Lost.NEAR_POOL in reasons:  # the page asks this anew, as pools come and go
        code[code == reasons.index(Lost.NEAR_POOL) + 1] = 0
    return code, reasons


def without(missed: Floats, pools: pd.DataFrame, others: pd.DataFrame, grid: Grid, median_m: float) -> Floats:
    """Probability (rows, cols) that none of the other places reaches each cell. `missed`: that neither one of them nor
    a pool does; what the pools leave is divided out of it, as the others may be a hundred times as many."""
    left = not_reached(grid, pools, median_m=median_m)
    if scratch.ends(left)[0] < LEAST_DIVISOR:  # a pool that is certainly occupied leaves nothing
        return not_reached(grid, others, median_m=median_m)
    return scratch.cellwise(lambda all_of, of: np.minimum(all_of / of, 1.0), missed, left, dtype=np.float64)


def _blocked(values: NDArray[np.floating], size: int) -> Floats:
    return block_sum(values, size)


def on_blocks(weight: NDArray[np.floating], places: pd.DataFrame, cell_m: float, median_m: float, size: int) -> float:
    """Forage in reach (share 0-1) as the page works it out: blocks seen from their middle."""
    w = _blocked(weight, size)
    flight = FlightKernel(median_m)
    r = flight.radius_cells(cell_m)
    y = (np.arange(w.shape[0]) + 0.5) * size
    x = (np.arange(w.shape[1]) + 0.5) * size
    missed = np.ones(w.shape)
    for row, col, p in zip(places["row"], places["col"], places["p"], strict=True):
        near_y, near_x = np.abs(y - row - 0.5) <= r, np.abs(x - col - 0.5) <= r
        d = np.hypot((y[near_y] - row - 0.5)[:, None], (x[near_x] - col - 0.5)[None, :])
        missed[np.ix_(near_y, near_x)] *= 1 - p * flight.on_cells(d, cell_m, "reach")
    return float((w * (1 - missed)).sum() / w.sum())


def _off_by(weight: NDArray[np.floating], sites: pd.DataFrame, grid: Grid, median_m: float, size: int) -> float:
    """How far the page's answer for all suggestions lies from the run's, as a share of it; 0 on whole cells."""
    if size == 1 or not len(sites):
        return 0.0
    exact = reached_share(weight, sites, cell_m=grid.cell_m, median_m=median_m)
    return abs(on_blocks(weight, sites, grid.cell_m, median_m, size) - exact) / exact if exact > 0 else 0.0


def _turns(grid: Grid, crs: CRS) -> dict[str, Any]:
    """Polynomials from degrees to cells and back, exact to CLOSE_CELLS on the frame: no CRS library in the page.

    Each is {"from": [[middle, half] for both inputs], "degree", "to": coefficients of both outputs}; terms u^i v^j in
    the order of i + j, then j.
    """
    west, south, east, north = grid.bounds
    across, down = np.meshgrid(np.linspace(west, east, 31), np.linspace(north, south, 31))
    lon, lat = to_lonlat(across.ravel(), down.ravel(), crs)
    col, row = (across.ravel() - grid.left) / grid.cell_m, (grid.top - down.ravel()) / grid.cell_m
    degree_of_cell = np.hypot(np.ptp(lon) / grid.cols, np.ptp(lat) / grid.rows) / 2
    return {
        "to_cell": _fitted((lon, lat), (col, row), CLOSE_CELLS),
        "to_degrees": _fitted((col, row), (lon, lat), CLOSE_CELLS * degree_of_cell),
    }


def _fitted(given: tuple[Floats, Floats], targets: tuple[Floats, Floats], close: float) -> dict[str, Any]:
    scaled, frame = [], []
    for values in given:
        middle, half = (values.max() + values.min()) / 2, max(float(np.ptp(values)) / 2, 1e-9)
        scaled.append((values - middle) / half)
        frame.append([float(middle), float(half)])
    for degree in range(1, 10):
        terms = np.stack([scaled[0] ** (n - j) * scaled[1] ** j for n in range(degree + 1) for j in range(n + 1)], 1)
        found = np.linalg.lstsq(terms, np.stack(targets, 1), rcond=None)[0]
        if np.abs(terms @ found - np.stack(targets, 1)).max() < close:
            break
    return {"from": frame, "degree": degree, "to": found.T.tolist()}
