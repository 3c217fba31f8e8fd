"""Zones, robustness and consents of a plan for forage likely served: laws, and cases in which the answer is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from habitatmap.plan.mean_field import Demand
from habitatmap.plan.problem import Problem, Quota
from habitatmap.plan.robustness import Assumption, Level
from habitatmap.plan.search import Selection
from habitatmap.plan.served import Preference, Sites, plan_served
from habitatmap.plan.served_consents import Ahead, rank_served_consents
from habitatmap.plan.served_near import NearCells, columns_of
from habitatmap.plan.served_robustness import ServedUncertainty, assess_served_robustness
from habitatmap.plan.zones import Zone, find_served_zones
from tests.plan.test_served import CELL_M, DISPERSAL_M, FORAGE_M, GRID, NEW, SIDE, by_rules, cells, town

POOLS = 3


@cache
def planned() -> tuple[Problem, Sites, Preference, Selection]:
    problem, sites = town()
    preference = Preference.of(sites, by_rules(problem, sites))
    return problem, sites, preference, plan_served(problem, POOLS, sites, preference)


@cache
def everywhere() -> tuple[Problem, Sites, Preference, Selection]:
    """The same where every cell may be taken and is as good as any other."""
    problem, sites, preference, _ = planned()
    wide = replace(problem, candidates=np.full(problem.shape, NEW))
    even = Sites(sites.model, GRID, np.full(problem.shape, sites.model.known.usual))
    return wide, even, preference, plan_served(wide, POOLS, even, preference)


def few_points(sites: Sites) -> Sites:
    """A fifth of the points of forage."""
    xy, share = sites.model.demand.xy[::5], sites.model.demand.share[::5]
    return sites.with_demand(Demand(xy, share / share.sum()))


def unsure(sites: Sites, spread: float, simulations: int = 20) -> ServedUncertainty:
    p = sites.model.known.p
    shift = np.linspace(-spread, spread, simulations)[:, None]
    best = few_points(sites).model.demand
    level = {Level.BEST: best} if spread == 0 else {Level.LOW: best, Level.BEST: best}
    return ServedUncertainty(np.clip(p + shift, 0.01, 0.99), level, FORAGE_M, DISPERSAL_M, NEW)


# --- zones


def test_a_zone_is_the_ground_joined_to_a_site_that_is_worth_nearly_as_much() -> None:
    problem, sites, preference, plan = everywhere()
    around = find_served_zones(problem, plan.frame, sites, preference)
    even = sites.evenly_lucky()
    every = [tuple(cell) for cell in np.argwhere(np.ones(problem.shape, bool)).tolist()]
    for at, site in enumerate(cells(plan.frame)):
        others = [other for other in cells(plan.frame) if other != site]
        near = NearCells(replace(problem, spacing_m=0.0), *columns_of(every))
        worth = near.rate(even, preference, others)(np.arange(len(every))).reshape(problem.shape)
        zone, share = around[at], worth / worth[site]
        whole = np.zeros(problem.shape, bool)
        rows, cols = zone.mask.shape
        whole[zone.row0 : zone.row0 + rows, zone.col0 : zone.col0 + cols] = zone.mask
        assert whole[site]
        assert share[whole].min() > 0.89  # worth is interpolated between the lattice
        for row, col in np.argwhere(whole).tolist():
            assert all(np.hypot(row - r, col - c) * CELL_M >= 100.0 - 1e-6 for r, c in others)
        # what lies beside the zone is worth less, or too near to another site
        for row, col in np.argwhere(~whole).tolist():
            beside = whole[max(0, row - 1) : row + 2, max(0, col - 1) : col + 2].any()
            apart = all(np.hypot(row - r, col - c) * CELL_M >= 100.0 - 1e-6 for r, c in others)
            assert not (beside and apart) or share[row, col] < 0.91


def test_a_zone_keeps_to_where_pools_may_stand() -> None:
    problem, sites, preference, plan = planned()
    for zone, site in zip(find_served_zones(problem, plan.frame, sites, preference), cells(plan.frame), strict=True):
        rows, cols = zone.mask.shape
        allowed = ~np.isnan(problem.candidates[zone.row0 : zone.row0 + rows, zone.col0 : zone.col0 + cols])
        assert not (zone.mask & ~allowed).any()
        assert zone.holds(*columns_of([site]))
        assert zone.mask.sum() == 1  # the candidates of this town do not touch one another


# --- the plan among few cells


def test_among_few_cells_the_best_is_taken_and_the_rules_hold() -> None:
    problem, sites, preference, plan = planned()
    near = NearCells(problem, *columns_of([*cells(plan.frame), (0, 0), (1, 1), (63, 63)]))
    known = list(zip(near.row.tolist(), near.col.tolist(), strict=True))
    assert (1, 1) not in known  # not allowed
    assert sorted(near.plan(sites, preference, [], POOLS)) == sorted(cells(plan.frame))
    first = near.plan(sites, preference, [], 1)[0]
    assert first == known[int(np.argmax(near.rate(sites, preference, [])(np.arange(len(known)))))]
    closed = np.array([cell == first for cell in known])
    assert first not in near.plan(sites, preference, [], POOLS, closed)
    one = Quota(np.zeros(problem.shape, np.int64), np.array([2]))
    assert len(NearCells(replace(problem, quotas=(one,)), near.row, near.col).plan(sites, preference, [], POOLS)) == 2
    paid = replace(problem, cost=np.full(problem.shape, 5.0), budget=11.0)
    assert len(NearCells(paid, near.row, near.col).plan(sites, preference, [], POOLS)) == 2
    far = replace(problem, spacing_m=1e5)
    assert len(NearCells(far, near.row, near.col).plan(sites, preference, [], POOLS)) == 1


# --- robustness


def test_shares_lie_between_none_and_all_and_the_plan_itself_stays() -> None:
    problem, sites, preference, plan = planned()
    around = find_served_zones(problem, plan.frame, sites, preference)
    found = assess_served_robustness(problem, plan, around, sites, preference, unsure(sites, 0.15), count=12)
    assert ((found.share >= 0) & (found.share <= 1)).all()
    assert len(found.simulations) == 12
    table = found.sensitivity.set_index(["assumption", "level"])
    assert table.loc[(Assumption.NONE, "as planned"), "kept"] == 1.0
    assert {name for name, _ in table.index} == set(Assumption) - {Assumption.NEW}
    assert (table["with_plan"] > table["now"]).all()
    closed, open_ = table.loc[Assumption.ORIGIN, "now"]
    assert closed < open_
    standing = table.loc[Assumption.STANDING, "now"]
    assert standing["few"] < standing["many"]


def test_assumptions_that_are_the_plans_own_keep_every_site() -> None:
    problem, sites, preference, plan = planned()
    around = find_served_zones(problem, plan.frame, sites, preference)
    found = assess_served_robustness(problem, plan, around, sites, preference, unsure(sites, 0.0), count=2)
    table = found.sensitivity.set_index("assumption")
    assert (table.loc[Assumption.STANDING, "kept"] == 1.0).all()


def test_a_site_whose_zone_is_the_whole_town_always_stays_and_so_does_a_kept_one() -> None:
    problem, sites, preference, _ = planned()
    kept = replace(problem, kept=pd.DataFrame({"row": [60], "col": [60], "p": [NEW]}))
    plan = plan_served(kept, 2, sites, preference)
    around = [Zone(60, 60, np.ones((1, 1), bool)), Zone(0, 0, np.ones((SIDE, SIDE), bool))]
    found = assess_served_robustness(kept, plan, around, sites, preference, unsure(sites, 0.1), count=4)
    assert found.share.tolist() == [1.0, 1.0]


def test_without_forage_nothing_is_known() -> None:
    problem, sites, preference, plan = planned()
    none = Demand(np.empty((0, 2)), np.empty(0))
    given = replace(unsure(sites, 0.0), demands={Level.BEST: few_points(sites).model.demand, Level.LOW: none})
    around = find_served_zones(problem, plan.frame, sites, preference)
    found = assess_served_robustness(problem, plan, around, sites, preference, given, count=2)
    low = found.sensitivity.set_index("level").loc["low"]
    assert low["kept"] == 1.0
    assert np.isnan(low["now"])


# --- consents


def land_of(*parcels: tuple[str, str, tuple[float, float, float, float]]) -> gpd.GeoDataFrame:
    """Parcels (owner, consent, cells: row, col from and to)."""
    rows = []
    for owner, consent, (r0, c0, r1, c1) in parcels:
        x0, y1 = GRID.centre(np.array([r0]), np.array([c0]))
        x1, y0 = GRID.centre(np.array([r1]), np.array([c1]))
        shape = box(float(x0[0]) - 9, float(y0[0]) - 9, float(x1[0]) + 9, float(y1[0]) + 9)
        rows.append(
            {"name": "", "place": "park", "owner": owner, "kind": "park", "consent": consent, "private": "no"}
            | {"geometry": shape}
        )
    return gpd.GeoDataFrame(rows, geometry="geometry")


def ranked(land: gpd.GeoDataFrame, counted_on: bool, problem: Problem, with_all: np.ndarray) -> pd.DataFrame:
    _, sites, preference, _ = planned()
    plan = plan_served(problem, POOLS, sites, preference)
    ahead = Ahead(sites, few_points(sites), preference)
    table, left = rank_served_consents(problem, plan, land, ahead, counted_on=counted_on, with_all=with_all)
    assert left == 0
    return table


def test_the_owner_of_a_site_adds_what_is_lost_without_it() -> None:
    problem, sites, _, plan = planned()
    (row, col), far = cells(plan.frame)[0], (1, 1, 1, 1)  # no candidate lies on the other's ground
    land = land_of(("A", "ask", (row - 6, col - 6, row + 6, col + 6)), ("B", "ask", far))
    table = ranked(land, True, problem, problem.candidates)
    assert table["place"].tolist() == ["park"]
    assert "1" in table["sites"][0].split(", ")
    whole = sites.share(sites.course(plan.frame).served)
    now = sites.share(sites.none)
    assert 0 < table["adds"][0] < (whole.open + whole.closed - now.open - now.closed) / 2
    assert table["reach_yes"][0] == pytest.approx(plan.with_plan)


def test_ground_that_is_opened_adds_what_the_plan_on_it_is_worth() -> None:
    problem, _, _, plan = planned()
    row, col = cells(plan.frame)[0]
    land = land_of(("A", "ask", (row - 12, col - 12, row + 12, col + 12)), ("B", "ask", (1, 1, 1, 1)))
    shut = problem.candidates.copy()
    shut[max(0, row - 12) : row + 13, max(0, col - 12) : col + 13] = np.nan
    table = ranked(land, False, replace(problem, candidates=shut), problem.candidates)
    assert len(table) == 1
    assert table["adds"][0] > 0
    assert table["sites"][0] != ""


def test_a_consent_on_land_without_candidates_adds_nothing() -> None:
    problem = planned()[0]
    land = land_of(("B", "ask", (1, 1, 1, 1)))
    assert ranked(land, True, problem, problem.candidates).empty
    assert ranked(land, False, problem, problem.candidates).empty
