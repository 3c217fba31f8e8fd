"""The plan for forage likely served: against trying every candidate, against many simulated years, and its laws."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.network.turnover import Draws, KnownPlaces, Ranges, Rates, found, lost
from habitatmap.plan.mean_field import Demand, MeanField, Simulations, flow_of
from habitatmap.plan.outlook import Strategy, other_plans
from habitatmap.plan.problem import Problem, Quota
from habitatmap.plan.reach import forage_in_reach, not_reached
from habitatmap.plan.search import Shortfall
from habitatmap.plan.served import READINGS, Preference, Sites, assess_served, plan_served, simulate
from habitatmap.plan.simulated_years import Laws, Luck, simulate_occupancy
from habitatmap.vocabulary.terms import FoundFrom

SIDE, CELL_M = 64, 20.0
GRID = Grid(0.0, SIDE * CELL_M, CELL_M, SIDE, SIDE)
FORAGE_M, DISPERSAL_M, NEW = 250.0, 500.0, 0.4


def a_town(places: int = 12, seed: int = 3, every: int = 3) -> tuple[Problem, Sites]:
    """Forage in patches, places in one half of the town, candidates on every third cell each way."""
    random = np.random.default_rng(seed)
    coarse = random.uniform(0, 1, (8, 8))
    forage = np.kron(coarse, np.ones((SIDE // 8, SIDE // 8)))
    access = 0.1 + 0.4 * forage
    row, col = random.integers(0, SIDE, places), random.integers(0, SIDE // 2, places)
    p = random.uniform(0.2, 0.8, places)
    x, y = GRID.centre(row, col)
    network = pd.DataFrame(
        {"x": x, "y": y, "p": p, "pools": (np.arange(places) % 3 > 0) + 0, "access": access[row, col]}
    )
    known = KnownPlaces.of(network, np.full(places, 3.0))
    rows, cols = (of.ravel() for of in np.indices((SIDE, SIDE)))
    at_x, at_y = GRID.centre(rows, cols)
    demand = Demand(np.column_stack([at_x, at_y])[::3], forage.ravel()[::3] / forage.ravel()[::3].sum())
    sims = simulate(known, FORAGE_M, DISPERSAL_M, NEW)
    candidates = np.full((SIDE, SIDE), np.nan)
    candidates[::every, ::every] = NEW
    problem = Problem.of(
        forage,
        pd.DataFrame({"row": row, "col": col, "p": p}),
        candidates,
        cell_m=CELL_M,
        median_m=FORAGE_M,
        spacing_m=100.0,
    )
    return problem, Sites(MeanField(known, demand, sims, 10), GRID, access)


@cache
def town() -> tuple[Problem, Sites]:
    return a_town()


def by_rules(problem: Problem, sites: Sites, pools: int = 10) -> dict[Strategy, list[pd.DataFrame]]:
    allowed = ~np.isnan(problem.candidates)
    return other_plans(
        allowed, sites.access, problem.today.places, pools, cell_m=CELL_M, spacing_m=100.0, random_plans=3
    )


def cells(plan: pd.DataFrame) -> list[tuple[int, int]]:
    return list(zip(plan["row"].tolist(), plan["col"].tolist(), strict=True))


def test_each_pick_is_as_good_as_any_that_could_be_tried() -> None:
    """Every open candidate is tried in earnest; what greedy takes is at most 1 % worse than the best of them."""
    problem, sites = a_town(every=5)
    rules = by_rules(problem, sites)
    preference = Preference.of(sites, rules)
    plan = plan_served(problem, 3, sites, Preference.of(sites, rules)).frame
    chosen: list[tuple[int, int]] = []
    for pick in cells(plan):
        before = sites.course(pd.DataFrame(chosen, columns=["row", "col"])).served
        weights = preference.by_simulation(sites, before, len(chosen))
        worth = {}
        for row, col in np.argwhere(~np.isnan(problem.candidates)).tolist():
            if all(np.hypot(row - r, col - c) * CELL_M >= 100.0 - 1e-6 for r, c in chosen):
                tried = sites.course(pd.DataFrame([*chosen, (row, col)], columns=["row", "col"])).served
                worth[row, col] = float(weights @ (tried - before))
        assert worth[pick] >= 0.99 * max(worth.values())
        chosen.append(pick)


def test_four_draws_of_each_reading_tell_what_a_hundred_by_chance_tell() -> None:
    _, sites = town()
    plan = pd.DataFrame({"row": [12, 30, 45], "col": [50, 20, 40]})
    of = sites.model
    many = simulate(of.known, FORAGE_M, DISPERSAL_M, NEW, by_chance=100)
    told, truth = (
        np.array([(now := here.share(here.none)), np.subtract(here.share(here.course(plan).served), now)])
        for here in (sites, Sites(MeanField(of.known, of.demand, many, 10), GRID, sites.access))
    )
    assert told == pytest.approx(truth, abs=0.01)  # one in a hundred of the area's forage


def test_gains_agree_with_many_simulated_years() -> None:
    """256 simulations of occupied and empty places, with the planner's own flights: 24 plans rank alike."""
    problem, sites = a_town(40, seed=5)
    model = sites.model
    random = np.random.default_rng(1)
    allowed = np.argwhere(~np.isnan(problem.candidates))
    plans = [pd.DataFrame(allowed[random.permutation(len(allowed))[:8]], columns=["row", "col"]) for _ in range(21)]
    plans += [of[0] for of in by_rules(problem, sites, 8).values()]
    still = replace(model.simulations, patches=np.zeros_like(model.simulations.patches))
    sites = Sites(MeanField(model.known, model.demand, still, 10), GRID, sites.access)
    one = [4 * READINGS.index(reading) for reading in READINGS if reading == reading._replace(flight=1.0, far=0.0)]
    told, seen = [], []
    none = {v: lived(sites, plans[0].iloc[:0], v) for v in one}
    for plan in plans:
        told.append((sites.course(plan).served - sites.none)[one])
        seen.append([lived(sites, plan, v) - none[v] for v in one])
    for k, v in enumerate(one):
        correlation = np.corrcoef(np.array(told)[:, k], np.array(seen)[:, k])[0, 1]
        assert correlation >= 0.98, (READINGS[v // 4], correlation)


def lived(sites: Sites, plan: pd.DataFrame, v: int, times: int = 256) -> float:
    """Forage served, mean over the years 1-10 and over simulated lives under the assumptions of one simulation."""
    model, sims = sites.model, sites.model.simulations
    xy, quality = sites.at(plan["row"].to_numpy(np.int64), plan["col"].to_numpy(np.int64))
    every, a = np.vstack([model.known.xy, xy]), np.r_[model.known.quality, quality]
    pool = np.r_[model.known.pool, np.ones(len(xy), bool)]
    draws = [np.full(times, of[v]) for of in sims.draws]
    laws = Laws(
        lost(a, draws[0], draws[1]),
        np.repeat(sims.rates.half[pool.astype(int), v][:, None], times, axis=1),
        draws[2],
        np.full(times, sims.rates.unmapped[v]),
    )
    p = np.r_[model.known.p, np.zeros(len(xy))]
    start = np.random.default_rng(0).random((len(a), times)) < p[:, None]
    luck = Luck(7, np.arange(times), times)
    states = simulate_occupancy(flow_of(every, FlightKernel(DISPERSAL_M).scale_m), a, start, laws, 10, luck)
    d = np.hypot(*(model.demand.xy[:, None] - every[None]).T).T
    missed = np.log1p(-np.minimum(FlightKernel(FORAGE_M).reach_weight(d), 1 - 1e-9))
    return float(np.mean([model.demand.share @ -np.expm1(missed @ year.astype(float)) for year in states[1:]]))


def test_forage_in_reach_is_the_limit_where_all_arrives_from_anywhere_and_nothing_lasts() -> None:
    """With b beyond all bounds and l = 1 a place is occupied with the same probability every year, whatever stands."""
    problem, sites = town()
    known = replace(sites.model.known, p=np.full(12, NEW), pool=np.ones(12, dtype=bool))
    flood = 1e12
    z = np.array([1.5])
    half = np.full((2, 1), flood * (1 / NEW - 1) ** (1 / z[0]))  # C = NEW
    draws = Draws(np.array([1e9]), np.array([1.0]), z, np.ones(1), np.ones(1))
    assert found(np.array([flood]), half[1], z) == pytest.approx(NEW)
    row, col = np.nonzero(problem.today.demand > 0)
    share = problem.today.demand[row, col] / problem.today.total
    x, y = GRID.centre(row, col)
    wide_m = 400.0  # so that neither way of calculating cuts a flight off within the town
    flights = ((0, 1, FlightKernel(DISPERSAL_M).scale_m, FlightKernel(wide_m).scale_m, 0.0),)
    sims = Simulations(draws, Rates(half, np.array([flood])), np.zeros(1, int), flights, np.zeros((1, 5)))
    model = MeanField(known, Demand(np.column_stack([x, y]), share), sims, 10)
    plan = plan_served(problem, 4, sites, Preference.of(sites, by_rules(problem, sites))).frame
    reached = []
    for chosen in (plan.iloc[:0], plan):
        places = pd.concat([problem.today.places, chosen[["row", "col"]]]).assign(p=NEW)
        missed = not_reached(GRID, places, median_m=wide_m)
        reached.append(forage_in_reach(problem.today.demand, missed))
    at = GRID.centre(plan["row"].to_numpy(), plan["col"].to_numpy())
    served = [model.course().served[0], model.course(np.column_stack(at), np.ones(len(plan))).served[0]]
    assert served == pytest.approx(reached, abs=1e-9)


def test_the_first_five_sites_are_the_plan_for_five() -> None:
    problem, sites = town()
    rules = by_rules(problem, sites)
    ten, five = (cells(plan_served(problem, pools, sites, Preference.of(sites, rules)).frame) for pools in (10, 5))
    assert ten[:5] == five
    assert len(set(ten)) == 10


def test_what_is_told_of_each_site_adds_up_and_more_pools_never_hurt() -> None:
    problem, sites = town()
    rules = by_rules(problem, sites)
    plan = plan_served(problem, 6, sites, Preference.of(sites, rules)).frame
    served = assess_served(sites, plan, rules)
    for name in ("open", "closed"):
        adds = served.by_site[f"served_{name}"]
        assert (adds > 0).all()
        assert getattr(served.now, name) + adds.sum() == pytest.approx(getattr(served.with_plan, name))
    assert served.now.closed < served.now.open or np.isclose(served.now.closed, served.now.open, atol=0.2)


def test_kept_sites_come_first_and_spacing_quotas_and_the_budget_hold() -> None:
    problem, sites = town()
    rules = by_rules(problem, sites)
    kept = pd.DataFrame({"row": [30], "col": [33], "p": [NEW]})
    west = np.where(np.arange(SIDE)[None, :] < SIDE // 2, 0, 1) * np.ones((SIDE, 1), dtype=np.int64)
    asked = replace(problem, kept=kept, quotas=(Quota(west.astype(np.int64), np.array([2, 9])),))
    plan = plan_served(asked, 7, sites, Preference.of(sites, rules)).frame
    assert cells(plan)[0] == (30, 33)
    assert plan["kept"].tolist() == [True] + [False] * 6
    assert (west[plan["row"], plan["col"]] == 0).sum() <= 2
    xy = plan[["row", "col"]].to_numpy(float) * CELL_M
    apart = np.hypot(*(xy[:, None] - xy[None]).T)
    assert apart[~np.eye(len(xy), dtype=bool)].min() >= 100.0 - 1e-6
    paid = replace(problem, cost=np.full((SIDE, SIDE), 10.0), budget=35.0)
    short = plan_served(paid, 9, sites, Preference.of(sites, rules))
    assert len(short.frame) == 3
    assert short.shortfall is Shortfall.BUDGET_SPENT


def test_it_leans_to_where_flies_are_said_to_come_from() -> None:
    """Places lie in the west: where only they feed pools, the plan stays nearer to them."""
    problem, sites = town()
    rules = by_rules(problem, sites)
    plans = {way: plan_served(problem, 6, sites, Preference.of(sites, rules, way)).frame for way in FoundFrom}
    served = {way: assess_served(sites, plan, {}).with_plan for way, plan in plans.items()}
    assert served[FoundFrom.MAPPED].closed >= served[FoundFrom.ANYWHERE].closed
    assert served[FoundFrom.ANYWHERE].open >= served[FoundFrom.MAPPED].open
    assert plans[FoundFrom.MAPPED]["col"].mean() < plans[FoundFrom.ANYWHERE]["col"].mean()


def test_where_no_place_is_known_a_plan_is_made_for_flies_from_anywhere() -> None:
    problem, sites = town()
    nobody = KnownPlaces.of(pd.DataFrame(columns=["x", "y", "p", "pools", "access"], dtype=float), [])
    model = MeanField(nobody, sites.model.demand, simulate(nobody, FORAGE_M, DISPERSAL_M, NEW), 10)
    first = Sites(model, GRID, sites.access)
    empty = replace(problem, today=replace(problem.today, places=problem.today.places.iloc[:0]))
    plan = plan_served(empty, 5, first, Preference.of(first, by_rules(empty, first)))
    served = assess_served(first, plan.frame, {})
    assert len(plan.frame) == 5
    assert served.now == (0.0, 0.0)
    assert served.with_plan.closed < 1e-6
    assert served.with_plan.open > 0.01
    assert np.isfinite(plan.frame["gain"]).all()


def test_the_order_of_places_changes_nothing() -> None:
    problem, sites = town()
    known = sites.model.known
    turned = np.arange(len(known.p))[::-1]
    other = replace(
        known,
        **{name: getattr(known, name)[turned] for name in ("xy", "quality", "p", "pool", "years")},
    )
    model = MeanField(other, sites.model.demand, simulate(other, FORAGE_M, DISPERSAL_M, NEW), 10)
    again = Sites(model, GRID, sites.access)
    rules = by_rules(problem, sites)
    assert cells(plan_served(problem, 6, again, Preference.of(again, rules)).frame) == cells(
        plan_served(problem, 6, sites, Preference.of(sites, rules)).frame
    )
    assert model.course().served == pytest.approx(sites.model.course().served, abs=1e-12)


def test_half_the_weight_is_on_mapped_places_only() -> None:
    from habitatmap.plan.served import reading_weights

    closed = np.array([reading.found_from is FoundFrom.MAPPED for reading in READINGS])
    assert reading_weights(FoundFrom.BOTH)[closed].sum() == pytest.approx(0.5)
    assert reading_weights(FoundFrom.MAPPED)[~closed].sum() == 0.0
    assert reading_weights(FoundFrom.ANYWHERE)[closed].sum() == 0.0
    assert all(reading.ranges.unmapped == (0.0, 0.0) for reading in READINGS if reading.found_from is FoundFrom.MAPPED)
    assert Ranges().unmapped == (0.0, 0.0)
