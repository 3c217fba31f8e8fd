"""How many pools are enough: forage in reach over the number of pools, with its range and what no set could exceed.

The plan's order is nested, so the curve begins with the plan and goes on with the sites that greedy would add after it,
whatever they cost. Tangents hold for any number of sites (`bound`), so two certificates, at the plan's number and at
the curve's end, bound all of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.plan.bound import certify
from habitatmap.plan.gain_map import GainMap, Pick
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Floats

LEAST_SHOWN, TIMES_ASKED = 25, 2
COLUMNS = ["row", "col", "p", "gain", "cumulative"]
SMALL_PART = 0.25  # a pool that adds less than this part of what the most helpful one adds is one too many


class ForSoMany(NamedTuple):
    """Forage in reach (shares 0-1) with so many more pools, its middle 95 %, and what no such set could exceed."""

    pools: int
    with_plan: float
    low: float
    high: float
    upper_bound: float


@dataclass(frozen=True)
class Further:
    """The plan and the sites that greedy adds after it."""

    sites: pd.DataFrame
    """row, col, p, gain and cumulative (shares of the area's forage)."""
    bound: Floats
    """By number of sites, from 0: forage in reach (share) that no set of so many exceeds."""


def numbers_shown(requested: int) -> int:
    """Up to how many pools the curve goes, where the land has room for them."""
    return max(TIMES_ASKED * requested, LEAST_SHOWN)


def limit_of_many(problem: Problem, sites: int, reached: Sequence[float]) -> Floats:
    """By number of sites, from 0 up to so many: what no set exceeds (share), tight near the last. `reached`: as
    `certify` takes it."""
    return certify(problem, sites, rounds=1, most=sites, tangents_only=True, reached=reached).by_number


def go_on(
    problem: Problem,
    plan: pd.DataFrame,
    most: int,
    certified: Floats,
    limit: Callable[[Problem, int, Sequence[float]], Floats] = limit_of_many,
) -> Further:
    """The plan's sites (columns of `search.Selection.frame`) and those that add most after them, up to `most` in all.

    `certified`: `bound.Bound.by_number` of the same problem, tight near the plan's number; beside it stands a bound
    that is tight near `most`, made by `limit`. What sites cost is left aside: the question is what more of them would
    add.
    """
    problem = replace(problem, cost=None, budget=math.inf)
    gains, total, now = GainMap(problem), problem.today.total, problem.today.now
    for row, col, gain in plan[["row", "col", "gain_cells"]].itertuples(index=False):
        gains.add(Pick(int(row), int(col), float(gain)))
    picks = gains.greedy(most - len(plan))
    del gains  # as large as what the limit takes
    scratch.give_back()
    more = pd.DataFrame(picks, columns=["row", "col", "gain"]).astype({"row": np.int64, "col": np.int64, "gain": float})
    more = more.assign(p=problem.probability[more["row"], more["col"]], gain=more["gain"] / total)
    last = float(plan["cumulative"].iloc[-1]) if len(plan) else now
    more["cumulative"] = last + more["gain"].cumsum()
    sites = pd.concat([plan[COLUMNS], more[COLUMNS]], ignore_index=True) if len(more) else plan[COLUMNS]
    n, at_end = len(sites), certified
    if len(more):
        each = [*plan.loc[~plan["kept"].astype(bool), "gain_cells"], *more["gain"] * total]
        at_end = limit(problem, n, each)
    besides = np.maximum(np.arange(n + 1) - len(problem.kept_cells), 0)
    limits = [of[np.minimum(besides, len(of) - 1)] for of in (certified, at_end)]
    return Further(sites, np.fmin(*limits))


def curve(further: Further, now: float, low: NDArray[np.floating], high: NDArray[np.floating]) -> tuple[ForSoMany, ...]:
    """The curve from 0 pools on; `low` and `high` by number of pools, from 0."""
    reached = [now, *further.sites["cumulative"].to_numpy(float)]
    ends = zip(reached, low, high, further.bound, strict=True)
    # rounding may leave the bound a hair below what is reached
    return tuple(ForSoMany(n, r, float(a), float(b), max(r, float(top))) for n, (r, a, b, top) in enumerate(ends))


def little_gained(rows: Sequence[ForSoMany]) -> tuple[int | None, float]:
    """After how many pools each further one on the curve adds less than SMALL_PART of what the most helpful one adds,
    and that part as a share of the area's forage, as it is printed; None where the last one still adds as much."""
    gains = np.diff([row.with_plan for row in rows])
    least = float(f"{SMALL_PART * float(gains.max(initial=0.0)):.2g}")
    after = int(np.flatnonzero(gains >= least)[-1]) + 1 if least > 0 else 0
    return (after if after < len(gains) else None), least
