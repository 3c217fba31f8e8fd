"""Turnover of breeding places: what is calibrated gives back what is known today, by plain iteration."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.network.turnover import (
    Draws,
    KnownPlaces,
    Ranges,
    calibrate,
    draw,
    found,
    four_for_the_mean,
    lost,
    quality_of,
)

NEW = 0.4


def some_places(pools: int, trees: int, seed: int = 1) -> KnownPlaces:
    random = np.random.default_rng(seed)
    n = pools + trees
    frame = pd.DataFrame(
        {
            "x": random.uniform(0, 2000, n),
            "y": random.uniform(0, 2000, n),
            "p": random.uniform(0.1, 0.9, n),
            "pools": [1] * pools + [0] * trees,
            "access": random.uniform(0.05, 0.6, n),
        }
    )
    return KnownPlaces.of(frame, np.r_[random.uniform(1, 6, pools), np.full(trees, np.nan)])


def year_by_year(p, c, gone, years):
    """The plain recursion, a year at a time, for one place in one simulation."""
    for _ in range(int(years)):
        p = c + p * (1.0 - gone) * (1.0 - c)
    return p


@pytest.mark.parametrize("unmapped", [0.0, 0.5, 0.9])
def test_pools_are_by_today_as_often_occupied_as_the_survey_found(unmapped: float) -> None:
    known, arriving = some_places(12, 8), np.linspace(0.5, 2.0, 20)
    drawn = draw(Ranges(y=(1.0, 1.0), unmapped=(unmapped, unmapped)), 8)
    rates = calibrate(known, arriving, drawn, NEW)
    mean = arriving.mean()
    assert rates.unmapped == pytest.approx(np.full(8, mean * unmapped / (1 - unmapped)))
    assert rates.unmapped / (rates.unmapped + mean) == pytest.approx(np.full(8, unmapped))
    gone = lost(known.quality, drawn.e, drawn.x)
    for v in range(8):
        by_kind = {True: [], False: []}
        for i in range(20):
            c = found(arriving[i] + rates.unmapped[v], rates.half[int(known.pool[i]), v], drawn.z[v])
            if known.pool[i]:
                by_kind[True].append(year_by_year(0.0, c, gone[i, v], known.years[i]) - known.p[i])
            else:
                by_kind[False].append(year_by_year(known.p[i], c, gone[i, v], 1) - known.p[i])
        assert sum(by_kind[True]) == pytest.approx(0.0, abs=1e-6)
        assert sum(by_kind[False]) == pytest.approx(0.0, abs=1e-6)


def test_without_hindcast_pools_are_in_balance() -> None:
    known, arriving = some_places(12, 0), np.linspace(0.5, 2.0, 12)
    drawn = draw(Ranges(y=(1.0, 1.0)), 4)
    rates = calibrate(known, arriving, drawn, NEW, hindcast=False)
    c = found(arriving[:, None], rates.of(known.pool), drawn.z)
    gain = (1 - known.p[:, None]) * c - known.p[:, None] * lost(known.quality, drawn.e, drawn.x) * (1 - c)
    assert gain.sum(axis=0) == pytest.approx(np.zeros(4), abs=1e-6)


def test_few_pools_take_the_survey_s_value_for_a_new_one_in_the_long_run() -> None:
    for known, arriving in ((some_places(2, 9), np.ones(11)), (some_places(0, 0), np.empty(0))):
        drawn = draw(Ranges(y=(1.0, 1.0), unmapped=(0.5, 0.5)), 4)
        rates = calibrate(known, arriving, drawn, NEW)
        mean = float(arriving.mean()) if len(arriving) else 0.0
        for v in range(4):
            c = found(mean + rates.unmapped[v], rates.half[1, v], drawn.z[v])
            assert year_by_year(0.0, c, min(1.0, drawn.e[v]), 2000) == pytest.approx(NEW, abs=1e-6)


def test_where_nothing_is_mapped_nothing_comes_from_mapped_places() -> None:
    closed = calibrate(some_places(0, 0), np.empty(0), draw(Ranges(), 4), NEW)
    assert (closed.unmapped == 0).all()
    assert np.isfinite(closed.half).all()


def test_more_arrivals_find_a_pool_sooner_and_half_of_them_every_second_year() -> None:
    assert found(np.array(3.0), np.array(3.0), np.array(1.7)) == pytest.approx(0.5)
    assert (np.diff(found(np.linspace(0, 5, 20), np.array(1.0), np.array(2.0))) > 0).all()


def test_draws_fill_their_ranges_and_repeat() -> None:
    ranges = Ranges(unmapped=(0.4, 0.6))
    one, two = draw(ranges, 64), draw(ranges, 64)
    for given, a, b in zip(ranges, one, two, strict=True):
        assert (a == b).all()
        assert given[0] <= a.min() <= a.max() <= given[1]
    assert isinstance(one, Draws)


def test_four_draws_have_the_mean_of_every_quadratic_of_e_y_and_z_and_both_ways_of_every_cubic() -> None:
    """Moments of the uniform distribution on -1..1: 0, 1/3, 0 (any handbook)."""
    both = []
    for mirrored in (False, True):
        drawn, ranges = four_for_the_mean(Ranges(), mirrored)._asdict(), Ranges()._asdict()
        u = np.array([np.log(drawn[name] / ranges[name][0]) for name in ("e", "z", "y")])
        u = 2 * u / np.array([[np.log(ranges[name][1] / ranges[name][0])] for name in ("e", "z", "y")]) - 1
        assert u.mean(axis=1) == pytest.approx(0)
        assert u @ u.T / 4 == pytest.approx(np.eye(3) / 3)
        both.append(u)
    u = np.hstack(both)
    assert np.einsum("ai,bi,ci->abc", u, u, u) == pytest.approx(0)


def test_draws_by_chance_take_every_part_of_every_range_once() -> None:
    drawn = draw(Ranges(unmapped=(0.0, 1.0)), 8, seed=3)
    for given, low, high in ((np.log(drawn.e), *np.log([0.1, 0.9])), (drawn.unmapped, 0.0, 1.0)):
        assert sorted((8 * (given - low) / (high - low)).astype(int).tolist()) == list(range(8))


def test_quality_is_relative_to_the_usual_place_and_one_where_unknown() -> None:
    assert quality_of([0.2, 0.4, np.nan, 0.0, 99.0], 0.2).tolist() == [1.0, 2.0, 1.0, 0.05, 20.0]
    assert quality_of([0.2], np.nan).tolist() == [1.0]
