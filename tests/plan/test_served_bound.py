"""The limits on forage likely served: no set of sites is above them, and they are not far above the best one."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from habitatmap.geo.grid import Grid
from habitatmap.network.turnover import found
from habitatmap.plan import served_bound
from habitatmap.plan.problem import Problem
from habitatmap.plan.served import Sites
from habitatmap.plan.served_bound import limit_served
from tests.plan.test_mean_field import DISPERSAL, FORAGE, YEARS, small_world

CELL_M, SIDE = 20.0, 60
SPACING_M = 100.0


class Town:
    """A few places and points on 1.2 km, and cells where pools may stand."""

    def __init__(
        self, seed: int, candidates: int, *, unmapped: float | None = None, places: int = 6, **rules: object
    ) -> None:
        random = np.random.default_rng([7, seed])
        model = small_world(places, 30, 4, seed)
        sims = model.simulations
        turn = random.uniform(0, 2 * np.pi, 4)
        patches = np.stack([np.cos(turn) / 150, np.sin(turn) / 150, *random.uniform(0, 2, (2, 4)), np.full(4, 0.4)]).T
        rates = sims.rates if unmapped is None else replace_unmapped(sims.rates, unmapped)
        model.simulations = replace(sims, patches=patches, rates=rates)
        access = random.uniform(0.1, 0.5, (SIDE, SIDE))
        self.sites = Sites(model, Grid(0.0, CELL_M * SIDE, CELL_M, SIDE, SIDE), access)
        self.weights = random.uniform(0.1, 1.0, 4)
        if rules.pop("two_kinds_of_flight", False):
            near, some_far = (0, 2, 0.7 * DISPERSAL.scale_m, 0.7 * FORAGE.scale_m, 0.0), 0.15
            far = (2, 4, DISPERSAL.scale_m, FORAGE.scale_m, some_far)
            model.simulations = replace(model.simulations, flights=(near, far))
        cells = np.full(SIDE * SIDE, np.nan)
        cells[random.choice(SIDE * SIDE, candidates, replace=False)] = 0.5
        none = pd.DataFrame({"row": [], "col": [], "p": []})
        usual = {"cell_m": CELL_M, "median_m": 250.0, "spacing_m": SPACING_M}
        self.problem = Problem.of(np.ones((SIDE, SIDE)), none, cells.reshape(SIDE, SIDE), **(usual | rules))
        self.row, self.col = np.nonzero(np.isfinite(self.problem.candidates))

    def frame(self, cells: tuple[int, ...]) -> pd.DataFrame:
        return pd.DataFrame({"row": self.row[list(cells)], "col": self.col[list(cells)]})

    def allowed(self, cells: tuple[int, ...]) -> bool:
        xy = np.column_stack([self.row[list(cells)], self.col[list(cells)]]) * CELL_M
        spacing = self.problem.spacing_m * (1 - 1e-9)
        return all(np.hypot(*(xy[a] - xy[b])) >= spacing for a, b in combinations(range(len(cells)), 2))

    def sets(self, sites: int) -> list[tuple[int, ...]]:
        return [cells for cells in combinations(range(len(self.row)), sites) if self.allowed(cells)]

    def gain(self, plan: pd.DataFrame) -> float:
        return float(self.weights @ (self.sites.course(plan).served - self.sites.none))

    def limits(self, plan: pd.DataFrame, sites: int) -> served_bound.ServedLimits:
        return limit_served(self.sites, self.problem, plan, sites, self.weights)


def replace_unmapped(rates, unmapped: float):
    return rates._replace(unmapped=np.full(rates.unmapped.shape, unmapped))


def greedy(area: Town, sites: int, kept: pd.DataFrame | None = None, every: int = 1) -> pd.DataFrame:
    """The best cell after those before it, by trying every one, or one of so many."""
    chosen: tuple[int, ...] = ()
    for _ in range(sites):
        ways = [(*chosen, j) for j in range(0, len(area.row), every) if j not in chosen and area.allowed((*chosen, j))]
        chosen = max(ways, key=lambda cells: area.gain(pd.concat([kept, area.frame(cells)])))
    return pd.concat([kept, area.frame(chosen)], ignore_index=True)


def with_chances_fixed(area: Town, plan: pd.DataFrame, cells: tuple[int, ...]) -> float:
    """What sites add where the known places, and pools anywhere, have the probabilities that they have with the plan:
    place by place and year by year."""
    model, course = area.sites.model, area.sites.course(plan)
    sims, n0 = model.simulations, len(model.known.p)
    xy, quality = area.sites.at(area.row[list(cells)], area.col[list(cells)])
    lone = model.course(xy, quality).quality[n0:]  # with what the patches make of it
    total = 0.0
    for v, weight in enumerate(area.weights):
        p = np.zeros((len(xy), YEARS + 1))
        for i, site in enumerate(xy):
            gone = min(1.0, sims.draws.e[v] / lone[i, v] ** sims.draws.x[v])
            for year in range(YEARS):
                arriving = sims.rates.unmapped[v]
                for j, other in enumerate(course.xy):
                    d = float(np.hypot(*(site - other)))
                    if j < n0 or d >= SPACING_M * (1 - 1e-9):
                        arriving += course.quality[j, v] * course.p[j, year, v] * float(DISPERSAL.reach_weight(d))
                c = float(found(np.array(arriving), sims.rates.half[1, v], sims.draws.z[v]))
                p[i, year + 1] = c + p[i, year] * (1 - gone) * (1 - c)
        served = 0.0
        every = np.vstack([model.known.xy, xy])
        k = FORAGE.reach_weight(np.hypot(*(model.demand.xy[:, None] - every[None]).T).T)
        for node, counts in zip(model.nodes, model.node_weights, strict=True):
            occupied = np.r_[course.p[:n0, node, v], p[:, node]]
            served += counts * float((1 - np.prod(1 - k * occupied, axis=1)) @ model.demand.share)
        total += weight * (served - area.sites.none[v])
    return total


@pytest.mark.parametrize("sites", [2, 3])
@pytest.mark.parametrize("unmapped", [None, 0.0, 2.0])
@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 8))])
def test_no_set_is_above_the_full_limit(seed: int, unmapped: float | None, sites: int) -> None:
    area = Town(seed, 12, unmapped=unmapped, two_kinds_of_flight=seed % 2 == 0)
    plan = greedy(area, sites)
    limits = area.limits(plan, sites)
    best = max(area.gain(area.frame(cells)) for cells in area.sets(sites))
    assert limits.plan == pytest.approx(area.gain(plan), rel=1e-12)
    assert best <= limits.full
    assert limits.plan <= limits.conditional


@pytest.mark.parametrize("unmapped", [None, 0.0])
@pytest.mark.parametrize("seed", range(3))
def test_with_its_chances_no_set_is_above_the_conditional_limit(seed: int, unmapped: float | None) -> None:
    area = Town(10 + seed, 12, unmapped=unmapped)
    plan = greedy(area, 2)
    limits = area.limits(plan, 2)
    own = tuple(int(np.flatnonzero((area.row == r) & (area.col == c))[0]) for r, c in plan.to_numpy())
    assert with_chances_fixed(area, plan, own) == pytest.approx(limits.plan, rel=1e-9)
    best = max(with_chances_fixed(area, plan, cells) for cells in area.sets(2))
    assert best <= limits.conditional <= 1.05 * best


@pytest.mark.parametrize("unmapped", [0.0, 0.5])
def test_no_random_set_in_a_larger_town_is_above_the_full_limit(unmapped: float) -> None:
    area = Town(20, 1500, unmapped=unmapped, places=20)
    limits = area.limits(greedy(area, 1, every=10), 6)
    random, tried = np.random.default_rng(1), 0
    while tried < 300:
        order = random.permutation(len(area.row))
        cells: tuple[int, ...] = ()
        for j in order.tolist():
            if area.allowed((*cells, j)):
                cells = (*cells, j)
            if len(cells) == 6:
                break
        assert area.gain(area.frame(cells)) <= limits.full
        tried += 1


def test_kept_sites_stand_in_every_plan() -> None:
    kept = pd.DataFrame({"row": [10, 40], "col": [12, 30], "p": [0.5, 0.5]})
    area = Town(30, 12, kept=kept)
    near = np.hypot(area.row[:, None] - kept["row"].to_numpy(), area.col[:, None] - kept["col"].to_numpy()) * CELL_M
    far = np.flatnonzero((near >= SPACING_M).all(axis=1)).tolist()
    stand = kept[["row", "col"]]
    gains = {
        cells: area.gain(pd.concat([stand, area.frame(cells)])) for cells in combinations(far, 2) if area.allowed(cells)
    }
    best = max(gains, key=lambda cells: gains[cells])
    limits = area.limits(pd.concat([stand, area.frame(best)], ignore_index=True), 4)
    assert limits.plan == pytest.approx(gains[best], rel=1e-12)
    assert gains[best] <= min(limits.full, limits.conditional)
    assert limits.full - area.gain(stand) < 2 * (gains[best] - area.gain(stand))  # what stands is no part of the doubt
    nothing_to_choose = area.limits(stand, 2)
    assert nothing_to_choose.full == nothing_to_choose.conditional == nothing_to_choose.plan


def test_without_a_choice_the_limits_are_near_the_plan() -> None:
    area = Town(41, 3)
    plan = area.frame((0, 1, 2))
    assert area.allowed((0, 1, 2))
    limits = area.limits(plan, 3)
    assert limits.plan <= limits.conditional <= 1.02 * limits.plan
    assert limits.plan <= limits.full <= 1.3 * limits.plan


def test_sites_may_touch_where_no_spacing_is_asked_for() -> None:
    area = Town(50, 12, unmapped=0.0, spacing_m=0.0)
    limits = area.limits(greedy(area, 3), 3)
    assert max(area.gain(area.frame(cells)) for cells in area.sets(3)) <= limits.full


def test_where_nothing_arrives_nothing_can_be_added() -> None:
    limits = (area := Town(60, 12, unmapped=0.0, places=0)).limits(area.frame((0, 1)), 2)
    assert 0.0 <= limits.plan <= min(limits.full, limits.conditional)
    assert max(limits) < 1e-6


def test_costs_that_differ_are_not_bounded() -> None:
    cost = np.ones((SIDE, SIDE))
    cost[: SIDE // 2] = 2.0
    area = Town(70, 40, cost=cost, budget=5.0)
    limits = area.limits(area.frame((0, 1)), 2)
    assert limits.plan == pytest.approx(area.gain(area.frame((0, 1))))
    assert np.isnan([limits.full, limits.conditional]).all()
    same = Town(70, 40, cost=np.ones((SIDE, SIDE)), budget=5.0)
    assert np.isfinite(same.limits(same.frame((0, 1)), 2)).all()


def test_too_large_an_area_is_not_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    area = Town(80, 12)
    monkeypatch.setattr(served_bound, "MOST_CELLS", 11)
    assert np.isnan(area.limits(area.frame((0,)), 1)[1:]).all()


def test_no_chord_is_steeper() -> None:
    random = np.random.default_rng(3)
    half = 10.0 ** random.uniform(-3, 1, 400)
    s, further = (half * 10.0 ** random.uniform(-3, 1, 400) for _ in range(2))
    z = random.uniform(1.0, 3.0, 400)
    steepest = served_bound._steepest_chord(s, further, half, z)
    parts = np.linspace(0, 1, 2001)[1:, None] * further
    chords = ((found(s + parts, half, z) - found(s, half, z)) / parts).max(axis=0)
    assert (chords <= steepest * (1 + 1e-9)).all()
    assert (steepest <= np.maximum(chords, z * found(s, half, z) * (1 - found(s, half, z)) / s) * 1.01).all()


def test_the_sum_of_products_is_above_the_logarithm() -> None:
    p, levels = np.linspace(0, 0.97, 80)[:, None], (0.75 * 0.97, 0.97)
    of_k = served_bound._functions_of_k(served_bound._Group(np.arange(1), 300.0, 150.0, 0.0), levels)[:-1].astype(float)
    of_p = [shares.astype(float) for shares in served_bound._functions_of_p(p, levels)]
    m, u = sum(shares * of_k[:, f] for f, shares in enumerate(of_p)), p * of_k[:, 0]
    assert (m >= -np.log1p(-u) * (1 - 1e-5)).all()
    assert (m[u < 0.6] <= -np.log1p(-u[u < 0.6]) * 1.06 + 1e-9).all()
