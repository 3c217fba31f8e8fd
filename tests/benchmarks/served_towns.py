"""Judges plans on fresh towns by simulated years: python -m tests.benchmarks.served_towns shaping|sealed

Every breeding place is occupied or empty, year after year (stochastic patch occupancy, the incidence function model of
Hanski 1994, J Anim Ecol 63:151; formulas from memory), with arrivals b from places that nobody mapped:

    S_i = sum over occupied j of A_j L(d_ij) + b     C_i = S_i^z / (S_i^z + y^z)     l_i = min(1, e / A_i^x)
    an empty place becomes occupied with C_i, an occupied one stays so with 1 - l_i (1 - C_i)

A is forage access over the usual place's. The simulation is written apart from the one that plans are made with, and
its flights are others: a fat and a thin tail about the same median. A variant says what is taken to be true; its b is
set by the share of today's arrivals that comes from outside, its y such that pools, empty when they were set out, would
have filled as the survey found them, and trees neither gain nor lose (both together in the first variant). Judged is
the forage likely served beyond that of no new pools, against as many pools placed by rules of thumb: at random, evenly
spread, at the highest scores. Not a test; its result and date stand in habitatmap/guide/outlook.md.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import tempfile
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from scipy.stats import qmc

from habitatmap import job
from habitatmap.network.places import network_places
from habitatmap.plan.outlook import Strategy, ground_points, other_plans
from habitatmap.plan.reach import forage_in_reach, not_reached
from habitatmap.plan.served import REFERENCE_POOLS, Preference, plan_served
from tests.benchmarks.fresh_towns import SEALED, SHAPING, Study, study

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

RULES = (Strategy.RANDOM, Strategy.EVEN, Strategy.HIGHEST)
FIRST_YEARS, LATE_YEARS = slice(1, 11), slice(16, 21)
# ranges drawn from, log-uniform (expert judgement)
X, Z, Y_FACTOR = (0.5, 1.5), (1.0, 2.0), (0.5, 2.0)
LEAST_KIND = 5  # with fewer places of a kind, one y is set for both
UNKNOWN_AGE = 5  # years
BLOCKS = 1000  # of ground; with four times as many, gains agree to a thousandth


class Variant(NamedTuple):
    """What is taken to be true."""

    name: str
    tail: str = "fat"
    e: tuple[float, float] = (0.1, 0.9)
    beta: float = 0.0
    """Share of today's mean arrivals that comes from unmapped places."""
    dispersal_m: float = 500.0
    filled: bool = True
    """y by kind, for pools by how they filled since they were set out; else one y, by today's balance."""


READINGS = (
    Variant("first outlook", e=(0.1, 0.4), filled=False),
    Variant("closed"),
    Variant("closed, fast", e=(0.6, 0.95)),
    Variant("half open", beta=0.5),
    Variant("mostly open", beta=0.9),
    Variant("open .3, near", beta=0.3, dispersal_m=250.0),
    Variant("open .3, far", beta=0.3, dispersal_m=1000.0),
    Variant("open .2, slow", beta=0.2, e=(0.1, 0.3)),
)
VARIANTS = tuple(of._replace(name=f"{of.name}, {tail}", tail=tail) for of in READINGS for tail in ("fat", "thin"))


# --- a town as the judge sees it -------------------------------------------------------------------------------------


class Town(NamedTuple):
    """The places of a town, merged; arrays by place."""

    xy: Floats
    quality: Floats
    p: Floats
    """(simulations, places): probability that each is occupied now."""
    pool: NDArray[np.bool_]
    age: Floats
    """Years since the first pool of the place was set out, rounded, at least 1."""
    ground: pd.DataFrame
    """x, y, w of the forage."""
    usual: float
    """Forage access of the usual place."""
    forage_m: float
    """Median flight for forage."""


def town_of(study: Study) -> Town:
    frame, grid = study.places.frame, study.area.grid
    net = network_places(frame, study.habitat.access)
    usual = float(np.nanmedian(net["access"])) if net["access"].notna().any() else np.nan
    empty = pd.DataFrame(1.0 - study.places.draws.T).groupby(frame["place"].to_numpy()).prod()
    pools = frame[frame["kind"] == "pool"]
    set_out = pd.to_datetime(study.area.pools["set_out"]).iloc[pools["index"].to_numpy()]
    days = (pd.Timestamp(study.area.as_of) - set_out).dt.days.to_numpy(float)
    age = pd.Series(days / 365.25).groupby(pools["place"].to_numpy()).max().reindex(net["place"])
    rows, cols = np.arange(grid.rows), np.arange(grid.cols)
    ground = ground_points(
        study.habitat.weight, grid.centre(0 * cols, cols)[0], grid.centre(rows, 0 * rows)[1], most=BLOCKS
    )
    return Town(
        xy=net[["x", "y"]].to_numpy(float),
        quality=quality(net["access"].to_numpy(float), usual),
        p=1.0 - empty.to_numpy().T,
        pool=net["pools"].to_numpy() > 0,
        age=age.round().clip(lower=1).fillna(UNKNOWN_AGE).to_numpy(float),
        ground=ground,
        usual=usual,
        forage_m=study.area.settings.flight.forage_median_m,
    )


def quality(access: Floats, usual: float) -> Floats:
    """A: forage access over the usual place's, within 1/20 and 20; 1 where it is not known."""
    ratio = access / usual if usual > 0 else np.full(len(access), np.nan)
    return np.asarray(np.clip(np.nan_to_num(ratio, nan=1.0), 0.05, 20.0))


def reached(d_m: Floats, median_m: float, tail: str) -> Floats:
    """Share of flights that get so far: a fat tail, 1 / (1 + (d/m)^2), or a thin one, 2^-(d/m)^2."""
    squared = (d_m / median_m) ** 2
    return 1.0 / (1.0 + squared) if tail == "fat" else np.exp2(-squared)


# --- worlds ----------------------------------------------------------------------------------------------------------


class Worlds(NamedTuple):
    """The drawn values (worlds,), y by kind of place (2, worlds): trees first; arrivals from outside b."""

    e: Floats
    x: Floats
    z: Floats
    y: Floats
    b: float
    simulation: NDArray[np.int64]
    """Which simulation of the survey each world starts from."""


def draw_worlds(town: Town, variant: Variant, worlds: int, seed: int) -> Worlds:
    u = qmc.Sobol(5, seed=seed).random(worlds)

    def drawn(column: int, between: tuple[float, float]) -> Floats:
        low, high = np.log(between)
        return np.asarray(np.exp(low + (high - low) * u[:, column]))

    e, x, z, factor = (drawn(k, of) for k, of in enumerate((variant.e, X, Z, Y_FACTOR)))
    p = town.p.mean(axis=0)
    flow = reached(cdist(town.xy, town.xy), variant.dispersal_m, variant.tail)
    np.fill_diagonal(flow, 0.0)
    mapped = flow @ (town.quality * p)
    b = float(mapped.mean() * variant.beta / (1 - variant.beta))
    arrivals = (mapped + b)[:, None]
    lost = np.minimum(1.0, e / town.quality[:, None] ** x)

    def surplus(found: Floats, members: NDArray[np.bool_], filled: bool) -> Floats:
        """More occupied than today's probabilities say (>0) or fewer, given what is found a year."""
        now, gone = p[members, None], lost[members]
        if not filled:
            return np.asarray(((1 - now) * found - now * gone * (1 - found)).sum(axis=0))
        kept = (1 - gone) * (1 - found)  # P' = found + kept P, from 0
        return np.asarray((found * (1 - kept ** town.age[members, None]) / (1 - kept) - now).sum(axis=0))

    def level(members: NDArray[np.bool_], filled: bool) -> Floats:
        low, high = (np.full(worlds, arrivals.mean() * limit) for limit in (1e-6, 1e6))
        for _ in range(60):
            y = np.sqrt(low * high)
            found = 1.0 / (1.0 + (y / arrivals[members]) ** z)
            more = surplus(found, members, filled) > 0
            low, high = np.where(more, y, low), np.where(more, high, y)
        return np.asarray(np.sqrt(low * high))

    apart = variant.filled and min(town.pool.sum(), (~town.pool).sum()) >= LEAST_KIND
    if apart:
        y = np.array([level(~town.pool, False), level(town.pool, True)])
    else:
        y = np.repeat(level(np.ones(len(p), dtype=bool), False)[None], 2, axis=0)
    return Worlds(e, x, z, y * factor, b, (u[:, 4] * len(town.p)).astype(int))


def served(town: Town, new_xy: Floats, new_quality: Floats, variant: Variant, given: Worlds, luck: Singles) -> Floats:
    """Forage likely served by year, mean over worlds, as a share: (years + 1,), the first being today.

    luck: (years + 1, places and new pools at least, worlds), 0-1; its first year draws today's state.
    """
    xy, q = np.vstack([town.xy, new_xy]), np.r_[town.quality, new_quality]
    old, worlds, years = len(town.xy), len(given.e), len(luck) - 1
    flow = reached(cdist(xy, xy), variant.dispersal_m, variant.tail)
    np.fill_diagonal(flow, 0.0)
    flow = (flow * q).astype(np.float32)
    y = given.y[np.r_[town.pool.astype(int), np.ones(len(new_xy), dtype=int)]].astype(np.float32)
    z, b = given.z.astype(np.float32), np.float32(given.b)
    lost = np.minimum(1.0, given.e / q[:, None] ** given.x).astype(np.float32)
    states = np.zeros((years + 1, len(xy), worlds), dtype=np.float32)
    states[0, :old] = luck[0, :old] < town.p[given.simulation].T
    for year in range(1, years + 1):
        now = states[year - 1]
        with np.errstate(divide="ignore", over="ignore"):  # no arrivals: none is found
            found = 1.0 / (1.0 + (y / (flow @ now + b)) ** z)
        states[year] = luck[year, : len(xy)] < np.where(now > 0, 1.0 - lost * (1.0 - found), found)
    k = reached(cdist(town.ground[["x", "y"]].to_numpy(float), xy), town.forage_m, variant.tail)
    missed = np.log1p(-np.minimum(k, 1 - 1e-9)).astype(np.float32)
    w = (town.ground["w"] / town.ground["w"].sum()).to_numpy(np.float32)
    out = np.full(years + 1, np.nan)
    for year in sorted({0, *range(years + 1)[FIRST_YEARS], *range(years + 1)[LATE_YEARS]}):
        out[year] = 1.0 - (w @ np.exp(missed @ states[year])).mean()
    return out


# --- judging ---------------------------------------------------------------------------------------------------------


def judge(
    study: Study,
    plans: Mapping[str, Sequence[pd.DataFrame]],
    variants: Sequence[Variant] = VARIANTS,
    worlds: int = 64,
    years: int = 20,
    seed: int = 1,
) -> pd.DataFrame:
    """What each plan adds to the forage likely served: variant, plan, y1_10, y16_20 (shares, means over years).

    plans: name -> sets of cells (row, col); the mean over the sets of a plan counts. All plans have the same luck.
    """
    town, grid = town_of(study), study.area.grid
    most = len(town.xy) + max((len(cells) for sets in plans.values() for cells in sets), default=0)
    # filled place by place: the first places have the same luck whatever comes after them
    by_year = [np.random.default_rng([seed, year]).random((most, worlds)) for year in range(years + 1)]
    luck = np.stack(by_year).astype(np.float32)

    def placed(cells: pd.DataFrame) -> tuple[Floats, Floats]:
        row, col = cells["row"].to_numpy(int), cells["col"].to_numpy(int)
        return np.column_stack(grid.centre(row, col)), quality(study.habitat.access[row, col].astype(float), town.usual)

    rows = []
    for variant in variants:
        given = draw_worlds(town, variant, worlds, seed)
        none = served(town, np.empty((0, 2)), np.empty(0), variant, given, luck)
        for name, sets in plans.items():
            gain = np.mean([served(town, *placed(cells), variant, given, luck) - none for cells in sets], axis=0)
            rows.append((variant.name, str(name), gain[FIRST_YEARS].mean(), gain[LATE_YEARS].mean()))
    return pd.DataFrame(rows, columns=["variant", "plan", "y1_10", "y16_20"])


def rules(study: Study, random_plans: int = 10, seed: int = 11) -> dict[str, list[pd.DataFrame]]:
    """As many pools as the plan has, placed by rules of thumb."""
    access, wood, allowed = study.habitat.access, study.habitat.dead_wood_access, study.allowed.allowed
    score = np.where(np.isnan(access), wood, np.where(np.isnan(wood), access, (access + wood) / 2))
    place = partial(
        other_plans,
        allowed,
        standing=study.places.frame,
        pools=len(study.proposal.sites),
        cell_m=study.area.grid.cell_m,
        spacing_m=study.area.settings.plan.spacing_m,
        random_plans=0,
    )
    random = np.random.default_rng(seed)
    # the highest of random scores: pools at random, others than those that a plan may have been weighed against
    at_random = [place(score=random.random(allowed.shape))[Strategy.HIGHEST][0] for _ in range(random_plans)]
    others = place(score=score)
    return {
        Strategy.RANDOM: at_random,
        Strategy.EVEN: others[Strategy.EVEN],
        Strategy.HIGHEST: others[Strategy.HIGHEST],
    }


def table(judged: pd.DataFrame) -> pd.DataFrame:
    """By variant and over all, for each plan and measure: the share of towns where it is at or above every rule, and
    the median and 5th percentile of its gain over the best rule's. judged: what `judge` gives, and town.
    """
    gains = judged.melt(["town", "variant", "plan"], ["y1_10", "y16_20"], "years", "gain")
    wide = gains.pivot_table(index=["variant", "town", "years"], columns="plan", values="gain", sort=False)
    rule_names = [str(rule) for rule in RULES]
    ratio = wide.drop(columns=rule_names).div(wide[rule_names].max(axis=1), axis=0)
    long = pd.DataFrame({"ratio": ratio.stack()}).reset_index()
    both = pd.concat([long, long.assign(variant="all")])
    found = both.groupby(["variant", "plan", "years"], sort=False)["ratio"].agg(
        wins=lambda r: (r >= 1).mean(), median="median", low=lambda r: r.quantile(0.05)
    )
    by_years = found.unstack("years").swaplevel(axis=1)
    return pd.DataFrame(by_years[[(years, name) for years in ("y1_10", "y16_20") for name in found]])


# --- by hand ---------------------------------------------------------------------------------------------------------


def served_plan(study: Study) -> list[pd.DataFrame]:
    """The sites of the plan for forage likely served, as one set."""
    area, asked = study.area, study.proposal
    ahead = job.years_ahead(area, study.habitat, study.survey, study.places)
    rules = job.by_rules(area, study.habitat, study.places, study.allowed, REFERENCE_POOLS, job.PLANNERS_RANDOM)
    return [plan_served(asked.problem, asked.requested, ahead, Preference.of(ahead, rules)).frame[["row", "col"]]]


def reach_gain(study: Study, cells: pd.DataFrame) -> float:
    """What pools on these cells add to forage in reach, with the probabilities of today's survey (share)."""
    frame = study.places.frame[["row", "col", "p"]]
    p = study.proposal.p_anywhere[cells["row"].to_numpy(int), cells["col"].to_numpy(int)]
    both = pd.concat([frame, cells[["row", "col"]].assign(p=p)], ignore_index=True)
    median_m = study.area.settings.flight.forage_median_m
    now, then = (
        forage_in_reach(study.habitat.weight, not_reached(study.area.grid, places, median_m=median_m))
        for places in (frame, both)
    )
    return then - now


def judge_town(town: tuple[str, int], cache: Path, worlds: int) -> pd.DataFrame:
    found = study(*town, cache)
    plans = {"reach": [found.proposal.sites], "served": served_plan(found)} | rules(found)
    in_reach = {str(name): np.mean([reach_gain(found, cells) for cells in sets]) for name, sets in plans.items()}
    judged = judge(found, plans, worlds=worlds)
    return judged.assign(town="{} {}".format(*town), in_reach=judged["plan"].map(in_reach))


def main() -> None:
    parser = argparse.ArgumentParser(description="Judges plans on fresh towns.")
    parser.add_argument("towns", choices=("shaping", "sealed"))
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fresh_towns")
    parser.add_argument("--worlds", type=int, default=64, help="a power of 2")
    given = parser.parse_args()
    given.cache.mkdir(parents=True, exist_ok=True)
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # two processes, a thread each
    one = partial(judge_town, cache=given.cache, worlds=given.worlds)
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        parts = pool.map(one, SHAPING if given.towns == "shaping" else SEALED, 1)
    judged = pd.concat(parts, ignore_index=True)
    judged.to_csv(given.cache / f"judged_{given.towns}.csv", index=False)
    with pd.option_context("display.width", 200, "display.max_rows", None):
        print(table(judged).round(2))
        in_reach = judged.pivot_table(index="town", columns="plan", values="in_reach", sort=False)
        print("\ngain in reach over that of the plan for it, median and worst town")
        print(in_reach.div(in_reach["reach"], axis=0).agg(["median", "min"]).round(2))


if __name__ == "__main__":
    main()
