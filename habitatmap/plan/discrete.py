"""Siting on a list of demand points and a list of sites, as published cases state it: p-median and maximal cover.

Both are one problem: maximal cover is the p-median whose distances are 0 where a site covers the demand, else 1.
Small cases are solved to proven optimality by HiGHS; larger ones by search, with a bound that says how far the answer
can be from the best.

The exact model has, for each demand point and each of its distinct distances D_1 < D_2 < ..., one variable z that is 1
where no chosen site is within D_k; the point then costs D_1 + sum (D_{k+1} - D_k) z_k. That is the p-median by radii
(Cornuejols, Nemhauser & Wolsey 1980; Elloumi 2010; both from memory), equal to the usual one by assignment (ReVelle &
Swain 1970, Geogr Anal 2:30) and smaller.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array

from habitatmap.errors import InputError

Floats = NDArray[np.float64]
Columns = NDArray[np.int64]

# the largest model that HiGHS is asked to solve (in variables z, and in demand points x sites); beyond, search and
# bound. Measured: p-median 100 x 100 0.1-2 s, 200 x 200 with 60 distances each 1-15 s; cover 1,500 x 1,500 2 s
MOST_STEPS = 20_000
MOST_PAIRS = 4_000_000
MOST_NODES = 20_000  # branches after which HiGHS gives up; a count and not seconds, so that every run gives the same
BOUND_STEPS = 600  # steps of the bound's ascent


class Sites(NamedTuple):
    """An answer: `chosen` column numbers from 0, ascending; its `value`; the best possible value is no better than
    `bound`; `optimal` where that is proven to be the value itself.
    """

    chosen: Columns
    value: float
    bound: float
    optimal: bool


def max_cover(weights: ArrayLike, covers: ArrayLike, pools: int) -> Sites:
    """The `pools` sites that together cover the largest weight (Church & ReVelle 1974, Papers Reg Sci Assoc 32:101).

    weights: (demand,) >= 0; covers: (demand, sites), true where a site covers the demand. All sites where there are
    no more than `pools`. Raises InputError.
    """
    w, covered = np.asarray(weights, dtype=float), np.asarray(covers)
    if not np.isin(covered, (0, 1)).all():
        raise InputError("max_cover: covers must hold nothing but yes and no (1 and 0).")
    covered = covered.astype(bool)
    w, distance, pools = _checked("max_cover", w, np.where(covered, 0.0, 1.0), pools)
    if not pools:
        return Sites(np.empty(0, dtype=np.int64), 0.0, 0.0, True)
    chosen, least, optimal = _solve(w, distance, pools)
    value = float(w[covered[:, chosen].any(axis=1)].sum())
    return Sites(chosen, value, value if optimal else max(value, float(w.sum()) - least), optimal)


def p_median(weights: ArrayLike, distances: ArrayLike, pools: int) -> Sites:
    """The `pools` sites with the least sum of weight x distance to the nearest chosen site (Hakimi 1964, Oper Res
    12:450; ReVelle & Swain 1970, Geogr Anal 2:30).

    weights: (demand,) >= 0; distances: (demand, sites) >= 0, finite. All sites where there are no more than `pools`.
    Raises InputError, also for less than one pool, as nothing could serve the demand then.
    """
    w, distance, pools = _checked("p_median", weights, distances, pools)
    if not pools:
        raise InputError("p_median: at least one pool and one site are needed to serve the demand.")
    chosen, least, optimal = _solve(w, distance, pools)
    value = _cost(w, distance, chosen)
    return Sites(chosen, value, value if optimal else min(value, least), optimal)


def _checked(who: str, weights: ArrayLike, distances: ArrayLike, pools: int) -> tuple[Floats, Floats, int]:
    """Weights, distances and the number of sites to choose, or an InputError."""
    w, d = np.asarray(weights, dtype=float), np.asarray(distances, dtype=float)
    if d.ndim != 2 or w.shape != (d.shape[0],):
        raise InputError(
            f"{who}: {w.size} weights do not fit a table of shape {d.shape}: expected a row for each weight "
            "(demand) and a column for each site."
        )
    if not (np.isfinite(w) & (w >= 0)).all():
        raise InputError(f"{who}: every weight must be a number >= 0.")
    if not (np.isfinite(d) & (d >= 0)).all():
        raise InputError(f"{who}: every distance must be a number >= 0; give a large one where there is no way.")
    if int(pools) != pools or pools < 0:
        raise InputError(f"{who}: pools is {pools}, expected a whole number, 0 or more.")
    return w, d, min(int(pools), d.shape[1])


def _cost(w: Floats, d: Floats, chosen: Columns) -> float:
    return float(w @ d[:, chosen].min(axis=1))


def _solve(w: Floats, d: Floats, pools: int) -> tuple[Columns, float, bool]:
    """Chosen columns, a lower bound of the least cost, and whether the choice is proven to be best."""
    if pools == d.shape[1] or not w.any():
        return np.arange(pools), _cost(w, d, np.arange(pools)), True
    found = _search(w, d, pools)
    cost = _cost(w, d, found)
    least = _lower_bound(w, d, pools, cost)
    steps = np.count_nonzero(np.diff(np.sort(d[w > 0], axis=1), axis=1))
    if least < cost and steps <= MOST_STEPS and d.size <= MOST_PAIRS:
        exact, certified, optimal = _exact(w, d, pools)
        least = max(least, certified)
        if exact is not None and (optimal or _cost(w, d, exact) < cost):
            found, cost = exact, _cost(w, d, exact)
        if optimal:
            return found, cost, True
    return found, least, least >= cost


def _exact(w: Floats, d: Floats, pools: int) -> tuple[Columns | None, float, bool]:
    """As `_solve`, by HiGHS on the model by radii; None where it found no set within MOST_NODES."""
    sites = d.shape[1]
    entries: list[tuple[int, int, float]] = []  # row, column, factor; columns: sites first, then the z
    need: list[float] = []
    step_cost: list[float] = []
    fixed = 0.0
    for i in np.flatnonzero(w):
        order = np.argsort(d[i], kind="stable")
        radius, first = np.unique(d[i][order], return_index=True)
        ends = np.r_[first[1:], sites]
        fixed += w[i] * radius[0]
        for k in range(len(radius) - 1):
            if ends[k] > sites - pools:
                break  # at least one of the chosen is within this radius, whichever they are
            row = len(step_cost)
            # z_k >= z_(k-1) unless a site at the very distance D_k is chosen, with z_0 = 1
            entries.extend((row, int(j), 1.0) for j in order[first[k] : ends[k]])
            entries.append((row, sites + row, 1.0))
            if k:
                entries.append((row, sites + row - 1, -1.0))
            need.append(0.0 if k else 1.0)
            step_cost.append(w[i] * (radius[k + 1] - radius[k]))
    count = len(step_cost)
    entries.extend((count, j, 1.0) for j in range(sites))
    rows, cols, factors = zip(*entries, strict=True)
    table = csr_array(coo_array((factors, (rows, cols)), shape=(count + 1, sites + count)))
    answer = milp(
        np.r_[np.zeros(sites), step_cost],
        integrality=np.r_[np.ones(sites), np.zeros(count)],
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(table, np.r_[need, pools], np.r_[np.full(count, np.inf), pools]),
        options={"mip_rel_gap": 0.0, "node_limit": MOST_NODES},
    )
    chosen = None if answer.x is None else np.flatnonzero(answer.x[:sites] > 0.5)
    least = -np.inf if answer.mip_dual_bound is None else fixed + float(answer.mip_dual_bound)
    return chosen, least, answer.status == 0 and chosen is not None and len(chosen) == pools


def _search(w: Floats, d: Floats, pools: int) -> Columns:
    """A good set: the best site again and again, then the best exchange of one for another while there is a better one.

    Ties go to the lowest column. Memory: some tables of the size of `d`.
    """
    nearest = np.full(len(w), np.inf)
    chosen: list[int] = []
    for _ in range(pools):
        cost = w @ np.minimum(d, nearest[:, None])
        cost[chosen] = np.inf
        best = int(np.argmin(cost))
        chosen.append(best)
        nearest = np.minimum(nearest, d[:, best])
    everyone = np.arange(len(w))
    while True:
        own = d[:, chosen]
        served_by = own.argmin(axis=1)
        first = own[everyone, served_by]
        second = np.partition(own, 1, axis=1)[:, 1] if pools > 1 else np.full(len(w), np.inf)
        # with one more site: min(d, first); where the own site goes as well: min(d, second)
        stays = w[:, None] * (np.minimum(d, first[:, None]) - first[:, None])
        extra = w[:, None] * np.minimum(d, second[:, None]) - w[:, None] * np.minimum(d, first[:, None])
        who = csr_array((np.ones(len(w)), (served_by, everyone)), shape=(pools, len(w)))
        change = stays.sum(axis=0)[None, :] + who @ extra  # (pools, sites): this one out, that one in
        change[:, chosen] = np.inf
        out, into = np.unravel_index(int(np.argmin(change)), change.shape)
        if change[out, into] >= -1e-12 * max(1.0, float(w @ first)):
            break
        chosen[int(out)] = int(into)
    return np.array(sorted(chosen), dtype=np.int64)


def _lower_bound(w: Floats, d: Floats, pools: int, known: float) -> float:
    """A lower bound of the least cost, by prices for being served (Lagrangian relaxation, subgradient ascent).

    For any prices u: sum u + the `pools` smallest of sum_i min(0, w_i d_ij - u_i) is never above the least cost
    (Cornuejols, Fisher & Nemhauser 1977, Manage Sci 23:789, from memory). `known`: the cost of some set.
    """
    cost = w[:, None] * d
    price = np.partition(cost, min(1, cost.shape[1] - 1), axis=1)[:, min(1, cost.shape[1] - 1)]
    best, pace, since = -np.inf, 2.0, 0
    for _ in range(BOUND_STEPS):
        saved = np.minimum(0.0, cost - price[:, None])
        worth = saved.sum(axis=0)
        opened = np.argpartition(worth, pools - 1)[:pools]
        value = float(price.sum() + worth[opened].sum())
        since = 0 if value > best else since + 1
        best = max(best, value)
        if since >= 15:
            pace, since = pace / 2, 0
        short = 1.0 - (saved[:, opened] < 0).sum(axis=1)
        length = float(short @ short)
        if not length or best >= known:
            break
        price = np.maximum(0.0, price + pace * max(known - value, 1e-9) / length * short)
    best -= 1e-12 * abs(best) + 1e-12 * float(price.sum())  # rounding must not lift it above the truth
    whole = bool((w == np.round(w)).all() and (d == np.round(d)).all())
    return float(np.ceil(best - 1e-6)) if whole else best
