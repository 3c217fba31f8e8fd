"""The simulated years against exact small cases, and today's survey as what they start from."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest

from habitatmap.network.metapopulation import incidence
from habitatmap.network.turnover import KnownPlaces, Ranges, calibrate, draw, lost
from habitatmap.plan.simulated_years import (
    TAILS,
    Laws,
    Luck,
    Tail,
    fat_tail,
    fit_to_survey,
    flow_by_tail,
    forage_served,
    simulate_occupancy,
    thin_tail,
)

FLOW = np.array([[0.0, 0.5, 0.1], [0.5, 0.0, 0.3], [0.1, 0.3, 0.0]])
QUALITY = np.array([1.0, 0.5, 2.0])
E, X, Y, Z, B = 0.3, 0.8, 0.6, 1.4, 0.05


def laws(n: int, quality: np.ndarray = QUALITY, z: float = Z, b: float = B) -> Laws:
    gone = lost(quality, np.full(n, E), np.full(n, X))
    return Laws(gone, np.full(gone.shape, Y), np.full(n, z), np.full(n, b))


def luck(n: int) -> Luck:
    return Luck(1, np.arange(n), n)


def exact_probabilities(start: tuple[int, ...], years: int) -> np.ndarray:
    """Chance that each of three places is occupied after so many years: the chain over all eight states, by hand."""
    states = list(product((0, 1), repeat=3))
    move = np.zeros((8, 8))
    for i, now in enumerate(states):
        s = FLOW @ (QUALITY * np.array(now)) + B
        found = s**Z / (s**Z + Y**Z)
        gone = np.minimum(1, E / QUALITY**X) * (1 - found)
        filled = np.where(np.array(now) == 1, 1 - gone, found)
        for j, then in enumerate(states):
            move[i, j] = np.prod(np.where(np.array(then) == 1, filled, 1 - filled))
    after = np.linalg.matrix_power(move, years)[states.index(start)]
    return after @ np.array(states)


@pytest.mark.parametrize("years", [1, 2, 10])
def test_simulated_shares_are_the_chain_s(years: int) -> None:
    n = 20_000
    start = np.repeat(np.array([[True], [False], [True]]), n, axis=1)
    share = simulate_occupancy(FLOW, QUALITY, start, laws(n), years, luck(n))[-1].mean(axis=1)
    expected = exact_probabilities((1, 0, 1), years)
    assert np.abs(share - expected).max() < 4.5 * np.sqrt(0.25 / n)  # 4.5 standard errors at most


def test_a_place_between_others_that_never_change_has_the_published_incidence() -> None:
    """Long-run share of years occupied equals J of the incidence function model, as `incidence` gives it."""
    n, years = 400, 300
    # the second place is so good that it is never lost, and sends the same arrivals every year: 1e6 x 0.5e-6 = 1/2,
    # which is what `incidence` sees of an area of 1 at exp(-alpha d) = 1/2
    quality, flow = np.array([1.0, 1e6]), np.array([[0.0, 0.5e-6], [0.5e-6, 0.0]])
    start = np.ones((2, n), dtype=bool)
    hanski = laws(n, quality, z=2.0, b=0.0)  # his own z
    share = simulate_occupancy(flow, quality, start, hanski, years, luck(n))[50:, 0].mean()
    alone = incidence([1, 1], [[0, np.log(2)], [np.log(2), 0]], [0, 1], 1.0, E, Y, X)[0]
    assert share == pytest.approx(alone, abs=0.01)


def test_nobody_comes_from_nowhere_but_from_unmapped_places() -> None:
    start = np.zeros((3, 50), dtype=bool)
    assert not simulate_occupancy(FLOW, QUALITY, start, laws(50, b=0.0), 20, luck(50)).any()
    assert simulate_occupancy(FLOW, QUALITY, start, laws(50, b=0.5), 20, luck(50)).any()


def test_more_places_have_the_same_luck() -> None:
    """A place too far off to matter changes nothing for the others, whatever its number of simulations."""
    start = np.random.default_rng(3).random((3, 40)) < 0.5
    longer = simulate_occupancy(
        np.pad(FLOW, (0, 1)),
        np.r_[QUALITY, 1.0],
        np.vstack([start, np.ones((1, 40), bool)]),
        laws(40, np.r_[QUALITY, 1.0]),
        15,
        luck(40),
    )
    alone = simulate_occupancy(FLOW, QUALITY, start, laws(40), 15, luck(40))
    assert (longer[:, :3] == alone).all()
    some = np.array([3, 8, 21])
    assert (simulate_occupancy(FLOW, QUALITY, start[:, some], laws(3), 15, Luck(1, some, 40)) == alone[..., some]).all()


def test_one_more_place_never_empties_another() -> None:
    start = np.random.default_rng(4).random((3, 200)) < 0.6
    fewer = simulate_occupancy(FLOW[:2, :2], QUALITY[:2], start[:2], laws(200, QUALITY[:2]), 20, luck(200))
    more = simulate_occupancy(FLOW, QUALITY, start, laws(200), 20, luck(200))[:, :2]
    assert (more >= fewer).all()
    assert (more > fewer).any()


def test_a_pool_is_empty_until_the_year_after_it_is_installed() -> None:
    start = np.zeros((3, 500), dtype=bool)
    often = laws(500, b=50.0)
    states = simulate_occupancy(FLOW, QUALITY, start, often, 5, luck(500), np.array([0, 2, 5]))
    assert states[1:, 0].mean(axis=1).min() > 0.9
    assert not states[:3, 1].any()
    assert states[3, 1].mean() > 0.9
    assert not states[:, 2].any()


@pytest.mark.parametrize("tail", Tail)
def test_simulations_do_not_contradict_the_survey_they_start_from(tail: Tail) -> None:
    """Pools that were empty when they were installed are by today about as often occupied as the searches say.

    The expected numbers fit; single simulations fall short of them where few flies come from unmapped places, as then a
    whole town may be left without flies.
    """
    random, n = np.random.default_rng(7), 256
    pool = np.arange(60) < 30
    years = np.where(pool, random.integers(1, 4, 60), 1.0)
    p, access = np.where(pool, 0.55, 0.25), random.uniform(0.2, 0.6, 60)
    frame = pd.DataFrame({"x": random.uniform(0, 3000, 60), "y": random.uniform(0, 3000, 60), "p": p, "access": access})
    known = KnownPlaces.of(frame.assign(pools=pool.astype(int)), years)
    flow = flow_by_tail(known.xy, tail, 500.0)
    start = (random.random((60, n)) < p[:, None]) & ~pool[:, None]
    found = []
    for unmapped in (0.0, 0.5, 0.9):
        drawn = draw(Ranges(unmapped=(unmapped, unmapped)), n)
        rates = fit_to_survey(known, flow, drawn, 0.4)
        rules = Laws(lost(known.quality, drawn.e, drawn.x), rates.of(pool), drawn.z, rates.unmapped)
        installed = np.where(pool, years.max() - years, 0).astype(int)
        states = simulate_occupancy(flow, known.quality, start, rules, int(years.max()), luck(n), installed)
        found.append(float(states[-1, pool].mean()))
    # without dates, and with one balance for pools and trees alike, it was 0.04
    assert found == pytest.approx([0.55] * 3, abs=0.17)
    assert found[1:] == pytest.approx([0.55] * 2, abs=0.04)


def test_fitted_expectations_are_what_the_survey_found() -> None:
    """The plain recursion, a year at a time, from pools empty at their dates."""
    known = KnownPlaces.of(
        pd.DataFrame(
            {
                "x": 150.0 * np.arange(12),
                "y": 0.0,
                "p": [0.5] * 8 + [0.3] * 4,
                "pools": [1] * 8 + [0] * 4,
                "access": 0.4,
            }
        ),
        np.r_[1, 1, 2, 2, 3, 3, 4, 4, [np.nan] * 4],
    )
    flow = flow_by_tail(known.xy, Tail.FAT, 500.0)
    drawn = draw(Ranges(y=(1.0, 1.0)), 4)
    rates = fit_to_survey(known, flow, drawn, 0.4)
    for v in range(4):
        p = np.r_[np.zeros(8), [0.3] * 4]
        for ago in (4, 3, 2, 1):
            s = flow @ p  # all places are usual ones: A = 1
            c = 1 / (1 + (rates.half[1, v] / np.maximum(s, 1e-12)) ** drawn.z[v])
            then = np.where(known.years >= ago, c + p * (1 - drawn.e[v]) * (1 - c), 0.0)
            p = np.r_[then[:8], p[8:]]
        assert p[:8].sum() == pytest.approx(4.0, abs=0.02)


def test_few_pools_are_calibrated_without_their_dates() -> None:
    frame = pd.DataFrame({"x": 150.0 * np.arange(9), "y": 0.0, "p": 0.3, "pools": [1] * 2 + [0] * 7, "access": 0.4})
    known, drawn = KnownPlaces.of(frame, np.full(9, 1.0)), draw(Ranges(), 4)
    flow = flow_by_tail(known.xy, Tail.FAT, 500.0)
    fitted = fit_to_survey(known, flow, drawn, 0.4)
    assert fitted.half == pytest.approx(calibrate(known, flow @ known.p, drawn, 0.4).half)


@pytest.mark.parametrize("tail", TAILS.values())
def test_tails_have_their_median(tail: object) -> None:
    assert callable(tail)
    d = np.linspace(0, 3000, 301)
    assert tail(0, 500) == 1
    assert tail(500, 500) == pytest.approx(0.5)
    assert (np.diff(tail(d, 500)) < 0).all()


def test_the_tails_are_those_of_their_landing_places() -> None:
    """Drawn landing places of both kinds: the share beyond r is the tail. 2Dt with p = 1: r = m sqrt(u / (1 - u))."""
    random = np.random.default_rng(5)
    u = random.random(200_000)
    gaussian = np.hypot(*random.normal(0, 500 / np.sqrt(2 * np.log(2)), (2, 200_000)))
    for r in (100, 500, 1500):
        assert (500 * np.sqrt(u / (1 - u)) > r).mean() == pytest.approx(float(fat_tail(r, 500)), abs=0.005)
        assert (gaussian > r).mean() == pytest.approx(float(thin_tail(r, 500)), abs=0.005)


@pytest.mark.parametrize("tail", Tail)
def test_many_places_leave_out_rare_flights_only(tail: Tail, monkeypatch: pytest.MonkeyPatch) -> None:
    xy = np.random.default_rng(6).uniform(0, 20_000, (80, 2))
    every = flow_by_tail(xy, tail, 500.0)
    monkeypatch.setattr("habitatmap.network.flows.DENSE_PLACES", 10)
    monkeypatch.setattr("habitatmap.network.flows.PAIRS_A_NODE", 1e9)  # as if they lay far apart
    some = flow_by_tail(xy, tail, 500.0).toarray()
    assert some == pytest.approx(np.where(every >= 1e-3, every, 0.0))


def test_forage_served_is_what_any_occupied_place_reaches() -> None:
    """Two places at the median from one spot of forage: half each, three quarters together."""
    xy, demand = np.array([[0.0, 0.0], [500.0, 0.0]]), pd.DataFrame({"x": [250.0], "y": [0.0], "w": [3.0]})
    states = np.array([[[0, 1, 0, 1], [0, 0, 1, 1]]], dtype=bool)
    for tail in Tail:
        assert forage_served(xy, states, demand, tail, 250.0)[0] == pytest.approx([0, 0.5, 0.5, 0.75], abs=1e-6)
