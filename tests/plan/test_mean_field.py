"""The mean field against slow obvious versions: the exact Markov chain of few places, plain recursion, differences."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from habitatmap.geo.flight import FlightKernel
from habitatmap.network.turnover import Draws, KnownPlaces, Ranges, Rates, calibrate, draw, found, lost
from habitatmap.plan import mean_field
from habitatmap.plan.mean_field import Demand, MeanField, Simulations, flow_of, year_weights

YEARS = 10
DISPERSAL, FORAGE = FlightKernel(500.0), FlightKernel(250.0)


def small_world(places: int, points: int, simulations: int, seed: int, side: float = 1200.0) -> MeanField:
    random = np.random.default_rng(seed)
    known = KnownPlaces(
        random.uniform(0, side, (places, 2)),
        random.uniform(0.4, 2.5, places),
        random.uniform(0.1, 0.9, places),
        np.arange(places) % 3 > 0,
        np.full(places, 3.0),
        0.3,
    )
    draws = Draws(
        random.uniform(0.1, 0.6, simulations),
        random.uniform(0.5, 1.5, simulations),
        random.uniform(1.0, 2.0, simulations),
        np.ones(simulations),
        np.zeros(simulations),
    )
    rates = Rates(random.uniform(0.3, 2.0, (2, simulations)), random.uniform(0.0, 0.5, simulations))
    flights = ((0, simulations, DISPERSAL.scale_m, FORAGE.scale_m, 0.0),)
    still = np.zeros((simulations, 5))
    share = random.uniform(0, 1, points)
    demand = Demand(random.uniform(0, side, (points, 2)), share / share.sum())
    return MeanField(known, demand, Simulations(draws, rates, np.zeros(simulations, int), flights, still), YEARS)


def exact_chain(model: MeanField, xy: np.ndarray, quality: np.ndarray, v: int) -> float:
    """Forage likely served, from the probability of every state of every place in every year."""
    known, sims = model.known, model.simulations
    every, a = np.vstack([known.xy, xy]), np.r_[known.quality, quality]
    start = np.r_[known.p, np.zeros(len(xy))]
    pool = np.r_[known.pool, np.ones(len(xy), bool)]
    flow, half = flow_of(every, DISPERSAL.scale_m), sims.rates.half[pool.astype(int), v]
    gone = lost(a, sims.draws.e[v : v + 1], sims.draws.x[v : v + 1])[:, 0]
    states = np.array(list(product([0, 1], repeat=len(a))))
    chance = np.prod(np.where(states, start, 1 - start), axis=1)
    arrivals = states @ (flow * a[:, None]) + sims.rates.unmapped[v]
    c = found(arrivals, half, sims.draws.z[v])
    stays = np.where(states, 1 - gone * (1 - c), c)
    step = np.prod(np.where(states[None, :, :], stays[:, None, :], 1 - stays[:, None, :]), axis=2)
    k = FORAGE.reach_weight(np.hypot(*(model.demand.xy[:, None] - every[None]).T).T)
    served = (1 - np.prod(1 - k[None] * states[:, None, :], axis=2)) @ model.demand.share
    total = 0.0
    for _ in range(YEARS):
        chance = chance @ step
        total += float(chance @ served)
    return total / YEARS


def recursion(model: MeanField, xy: np.ndarray, quality: np.ndarray, v: int, extra: np.ndarray) -> float:
    """The mean field of one simulation, place by place, with `extra` (n, years) arrivals."""
    known, sims = model.known, model.simulations
    every, a = np.vstack([known.xy, xy]), np.r_[known.quality, quality]
    pool = np.r_[known.pool, np.ones(len(xy), bool)]
    p, out = list(np.r_[known.p, np.zeros(len(xy))]), 0.0
    weights = year_weights(YEARS)
    k = FORAGE.reach_weight(np.hypot(*(model.demand.xy[:, None] - every[None]).T).T)
    for year in range(YEARS):
        new = []
        for i in range(len(a)):
            s = sims.rates.unmapped[v] + extra[i, year]
            for j in range(len(a)):
                if j != i:
                    s += a[j] * p[j] * float(DISPERSAL.reach_weight(np.hypot(*(every[i] - every[j]))))
            c = 1 / (1 + (sims.rates.half[int(pool[i]), v] / s) ** sims.draws.z[v])
            gone = min(1.0, sims.draws.e[v] / a[i] ** sims.draws.x[v])
            new.append(c + p[i] * (1 - gone) * (1 - c))
        p = new
        if year + 1 in weights:
            out += weights[year + 1] * float((1 - np.prod(1 - k * np.array(p), axis=1)) @ model.demand.share)
    return out


def test_the_mean_field_is_the_plain_recursion() -> None:
    model = small_world(6, 20, 3, seed=1)
    xy, quality = np.array([[300.0, 400.0], [900.0, 800.0]]), np.array([1.2, 0.7])
    course = model.course(xy, quality)
    plain = [recursion(model, xy, quality, v, np.zeros((8, YEARS))) for v in range(3)]
    assert course.served == pytest.approx(plain, abs=1e-12)


@pytest.mark.parametrize("held", [1, mean_field.HELD])
def test_sets_together_are_the_sets_one_by_one(monkeypatch: pytest.MonkeyPatch, held: int) -> None:
    """More points than are listed together, places by fours and a rest, flights of two kinds."""
    monkeypatch.setattr(mean_field, "HELD", held)
    model = small_world(9, 45, 4, seed=5)
    flights = ((0, 1, DISPERSAL.scale_m, FORAGE.scale_m, 0.0), (1, 4, 80.0, 30.0, 0.2))
    model = MeanField(model.known, model.demand, replace(model.simulations, flights=flights), YEARS)
    xy, quality = np.random.default_rng(6).uniform(0, 1200, (5, 2)), np.array([1.2, 0.7, 1.0, 0.5, 2.0])
    stand = np.array([[1, 0, 0, 0, 0], [1, 1, 0, 0, 0], [0, 0, 0, 0, 0], [1, 1, 1, 1, 1], [0, 0, 1, 0, 1]], dtype=bool)
    alone = [model.course(xy[some], quality[some]).served for some in stand]
    flows, plain = list[int](), MeanField._flows
    monkeypatch.setattr(MeanField, "_flows", lambda self, of: (flows.append(len(of)), plain(self, of))[1])
    assert model.served_with(xy, quality, stand) == pytest.approx(np.array(alone), abs=1e-13)
    assert flows == [14]  # once, however few sets go together
    assert alone[2] == pytest.approx(model.course().served, abs=1e-13)
    assert model.served_with(xy, quality, stand[:0]).shape == (0, 4)


@pytest.mark.parametrize(("unmapped", "worst", "usual"), [(0.9, 0.002, 0.001), (0.5, 0.03, 0.005), (0.0, 0.08, 0.02)])
def test_what_a_plan_adds_is_near_the_exact_chain(unmapped: float, worst: float, usual: float) -> None:
    """Eight places at most, all 256 states. Where only mapped places feed pools, a handful of them may die out by
    chance, which a mean field does not see: its gains are then right on average, not one by one."""
    errors = []
    for seed in range(6):
        model = small_world(6, 20, 4, seed)
        known = replace(model.known, pool=np.ones(6, dtype=bool))
        drawn = draw(Ranges(unmapped=(unmapped, unmapped)), 4, seed)
        arriving = flow_of(known.xy, DISPERSAL.scale_m) @ (known.quality * known.p)
        rates = calibrate(known, arriving, drawn, 0.4)
        model = MeanField(known, model.demand, replace(model.simulations, draws=drawn, rates=rates), YEARS)
        xy, quality = np.array([[300.0, 400.0], [900.0, 800.0]]), np.array([1.2, 0.7])
        gain = model.course(xy, quality).served - model.course().served
        none, nothing = np.empty((0, 2)), np.empty(0)
        errors += [
            g - exact_chain(model, xy, quality, v) + exact_chain(model, none, nothing, v) for v, g in enumerate(gain)
        ]
    assert np.abs(errors).max() < worst
    assert np.abs(errors).mean() < usual
    assert abs(np.mean(errors)) < 0.01


def test_influence_is_the_slope_of_what_is_served() -> None:
    model = small_world(5, 15, 2, seed=3)
    xy, quality = np.array([[300.0, 400.0]]), np.array([1.2])
    weights = np.array([0.3, 0.7])
    course = model.course(xy, quality)
    influence = model.influence(course, weights)
    step = 1e-5
    for i, year, v in ((0, 0, 0), (2, 3, 1), (5, 6, 0), (4, 9, 1)):
        extra = np.zeros((6, YEARS))
        extra[i, year] = step
        up = recursion(model, xy, quality, v, extra)
        extra[i, year] = -step
        slope = (up - recursion(model, xy, quality, v, extra)) / (2 * step)
        assert influence[i, year, v] == pytest.approx(weights[v] * slope, abs=1e-6)


def test_worth_is_what_a_pool_adds_where_others_gain_little_from_it() -> None:
    model = small_world(6, 20, 3, seed=4)
    weights = np.full(3, 1 / 3)
    course = model.course()
    cells, quality = np.random.default_rng(1).uniform(0, 1200, (12, 2)), np.full(12, 0.05)
    worth = model.worth(course, model.influence(course, weights), weights, cells, quality)
    real = [
        float(weights @ (model.course(cells[m : m + 1], quality[m : m + 1]).served - course.served)) for m in range(12)
    ]
    assert worth == pytest.approx(real, rel=0.02)


def test_more_pools_never_serve_less() -> None:
    model = small_world(6, 20, 3, seed=5)
    sites = np.random.default_rng(2).uniform(0, 1200, (6, 2))
    served = np.array([model.course(sites[:n], np.ones(n)).served for n in range(7)])
    assert (np.diff(served, axis=0) > 0).all()


def test_years_between_the_nodes_are_taken_as_straight() -> None:
    for years in (1, 2, 5, 10, 20):
        weights = year_weights(years)
        assert sum(weights.values()) == pytest.approx(1.0)
        assert sum(w * (3 + 2 * year) for year, w in weights.items()) == pytest.approx(3 + years + 1)
        assert max(weights) == years


def test_a_crowd_of_places_serves_what_the_plain_product_says() -> None:
    random = np.random.default_rng(8)
    xy, p = random.uniform(0, 1500, (400, 2)), random.random((2, 400, 1, 3))
    points, share = random.uniform(0, 1500, (30, 2)), random.random(30)
    for far in (0.0, 0.15):
        served = mean_field._served(points, share, xy, p, np.ones(1), (150.0, far))
        apart = np.hypot(*(points[:, None] - xy).transpose(2, 0, 1))
        k = np.where(apart < mean_field._end(150.0, far), mean_field.gets_so_far(apart / 150.0, far), 0.0)
        left = np.prod(1.0 - k[None, :, :, None] * p[:, None, :, 0], axis=2)
        np.testing.assert_allclose(served, np.tensordot(share, 1.0 - left, (0, 1)), atol=1e-6 * share.sum())
        every = mean_field._missed(points, xy, p[0, :, 0], (150.0, far))
        np.testing.assert_allclose(every, left[0], atol=1e-6)
