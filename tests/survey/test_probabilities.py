"""The probability of each pool: its own searches, the prior where searches are few, numbers of area.toml over all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import beta

from habitatmap.errors import InputError
from habitatmap.read.settings import OccupancySettings
from habitatmap.survey import PoolOccupancy, Prior, estimate_pools, fit_occupancy
from habitatmap.survey.codes import Irregular, PoolBasis
from habitatmap.survey.probabilities import Inference, most_informative
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.note import note
from tests.survey.tools import MODEL, searched


def town(pools: int = 40, seed: int = 1, most: int = 4) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Made-up pools, half of them occupied, seen into up to `most` times with detection 0.6."""
    names = [f"made up {i:03d}" for i in range(pools)]
    frame = pd.DataFrame({"pool": names, "set_out": pd.Timestamp("2025-10-01")})
    return frame, searched(names, np.random.default_rng(seed), 0, most)


def run(pools: pd.DataFrame, visits: pd.DataFrame, occupancy: OccupancySettings = MODEL, **more: Any) -> PoolOccupancy:
    return estimate_pools(pools, visits, "2026-11-01", occupancy, **more)


def test_the_headline_is_the_plain_fit() -> None:
    pools, visits = town()
    got = run(pools, visits)
    fit = fit_occupancy(got.searches.histories)
    s = got.figures
    assert s.estimate == pytest.approx(fit.psi, abs=1e-10)
    np.testing.assert_allclose([s.low, s.high], fit.interval(), atol=1e-8)
    np.testing.assert_allclose([s.se, s.detection], [fit.psi_se, fit.p], atol=1e-10)
    assert s.naive == pytest.approx(fit.naive)
    assert s.pools_visited == fit.n_sites
    assert s.naive < s.estimate
    assert s.method is Method.MAXIMUM_LIKELIHOOD
    assert [case.false_share for case in got.false_positives] == [0.01, 0.03, 0.05]
    assert got.false_positives[-1].psi < s.estimate


def test_each_pool_by_its_own_searches() -> None:
    pools, visits = town()
    got = run(pools, visits)
    frame = got.pools
    fit = fit_occupancy(got.searches.histories, prior=Prior())
    np.testing.assert_allclose(frame["occupancy"], fit.conditional, atol=1e-12)
    low, high = fit.interval(part="conditional")
    np.testing.assert_allclose(frame["occupancy_low"], low, atol=1e-12)
    np.testing.assert_allclose(frame["occupancy_high"], high, atol=1e-12)
    found, blank, none = (
        frame["detections"] > 0,
        (frame["detections"] == 0) & (frame["visits"] > 0),
        frame["visits"] == 0,
    )
    assert (frame.loc[found, ["occupancy", "occupancy_low", "occupancy_high"]] == 1).all(axis=None)
    assert set(frame.loc[found, "basis"]) == {PoolBasis.DETECTED}
    assert set(frame.loc[blank, "basis"]) == {PoolBasis.NOT_DETECTED}
    assert set(frame.loc[none, "basis"]) == {PoolBasis.NOT_SEARCHED}
    assert (frame["last_seen"].notna() == found).all()
    assert (frame["occupancy_low"] <= frame["occupancy"]).all()
    assert (frame["occupancy"] <= frame["occupancy_high"]).all()
    probability = frame[blank].groupby("visits")["occupancy"].first()
    assert probability.is_monotonic_decreasing
    assert probability.max() < frame.loc[none, "occupancy"].max()
    assert got.new.value == pytest.approx(fit.psi)


def test_draws_tell_the_same_as_the_figures() -> None:
    pools, visits = town()
    got = run(pools, visits, how=Inference(draws=2000))
    assert got.draws.shape == (2000, 40)
    np.testing.assert_allclose(got.draws.mean(axis=0), got.pools["occupancy"], atol=0.01)
    np.testing.assert_allclose(np.quantile(got.draws, 0.975, axis=0), got.pools["occupancy_high"], atol=0.03)
    assert got.new_draws.mean() == pytest.approx(got.new.value, abs=0.005)
    no_look = (got.pools["visits"] == 0).to_numpy()
    np.testing.assert_array_equal(got.draws[:, no_look], np.repeat(got.new_draws[:, None], no_look.sum(), axis=1))


def test_where_one_more_look_teaches_most() -> None:
    pools, visits = town()
    order = most_informative(run(pools, visits))
    assert order["value"].is_monotonic_decreasing
    searched = run(pools, visits).pools.set_index("pool").loc[order["pool"], "visits"].to_numpy()
    assert searched[0] <= 1  # a pool seen blank again and again has little left to teach
    assert (order["value"][order["occupancy"] == 1] == 0).all()


def test_too_few_looks_fall_back_on_the_expert_value() -> None:
    pools, visits = town(pools=8)
    got = run(pools, visits)
    s = got.figures
    assert s.method is Method.TOO_FEW
    assert np.isnan([s.estimate, s.low, s.high, s.se, s.detection]).all()
    assert got.false_positives == ()
    assert np.isfinite(s.naive)
    assert set(got.pools.loc[got.pools["visits"] == 0, "basis"]) <= {PoolBasis.EXPERT}
    blank = got.pools[(got.pools["visits"] > 0) & (got.pools["detections"] == 0)]
    assert set(blank["basis"]) == {PoolBasis.NOT_DETECTED_EXPERT}
    assert 0 < s.from_data < 1


def test_no_visit_at_all() -> None:
    pools, visits = town()
    got = run(pools, visits[:0])
    assert got.figures.pools_visited == 0
    assert np.isnan(got.figures.naive)
    assert got.figures.from_data == 0
    np.testing.assert_allclose(got.pools["occupancy"], 0.4)  # the expert value, worth three pools: Beta(1.2, 1.8)
    np.testing.assert_allclose((got.new.low, got.new.high), beta.ppf([0.025, 0.975], 1.2, 1.8), atol=2e-3)
    assert got.new.method is Method.EXPERT


def test_no_pool_at_all() -> None:
    pools, visits = town()
    got = run(pools[:0], visits[:0])
    assert got.draws.shape == (200, 0)
    assert list(got.pools.columns) == [
        "pool",
        "visits",
        "detections",
        "occupancy",
        "occupancy_low",
        "occupancy_high",
        "basis",
        "last_seen",
        "since",
        "surroundings",
    ]


def test_numbers_of_area_toml_override_exactly() -> None:
    pools, visits = town()
    got = run(pools, visits, OccupancySettings(existing=0.25, new=1.0))
    assert (got.pools[["occupancy", "occupancy_low", "occupancy_high"]] == 0.25).all(axis=None)
    assert (got.pools["basis"] == PoolBasis.STATED).all()
    assert (got.draws == 0.25).all()
    assert got.new == Estimate.exactly(1.0, Method.STATED)
    assert (got.new_draws == 1).all()
    assert got.figures == run(pools, visits).figures  # the survey itself is told all the same


def test_what_is_no_look_changes_no_digit() -> None:
    pools, visits = town()
    plain = run(pools, visits)
    extra = [("made up 001", "2026-05-05", o) for o in ("dry", "frozen", "gone", "not reached")]
    extra += [("made up 002", "2025-10-03", "larvae")]  # two days after set-out
    more = pd.DataFrame(extra, columns=["pool", "date", "outcome"]).assign(date=lambda v: pd.to_datetime(v["date"]))
    got = run(pools, pd.concat([visits, more], ignore_index=True))
    pd.testing.assert_frame_equal(got.pools, plain.pools)
    np.testing.assert_array_equal(got.draws, plain.draws)
    assert replace(got.figures, left_out={}) == replace(plain.figures, left_out={})


def test_the_order_of_rows_changes_no_digit() -> None:
    pools, visits = town()
    plain = run(pools, visits, group=np.arange(40) // 2)
    turned = pools[::-1].reset_index(drop=True)
    got = run(turned, visits.sample(frac=1, random_state=2).reset_index(drop=True), group=(np.arange(40) // 2)[::-1])
    pd.testing.assert_frame_equal(got.pools[::-1].reset_index(drop=True), plain.pools)
    np.testing.assert_array_equal(got.draws[:, ::-1], plain.draws)
    assert got.figures == plain.figures


def test_places_close_together_count_once() -> None:
    pools, visits = town()
    got = run(pools, visits, group=np.arange(40) // 2, how=Inference(surveys=0))
    rows = []
    for i in range(0, 40, 2):
        both = got.searches.histories[i : i + 2].ravel()
        rows.append(np.concatenate([both[~np.isnan(both)], np.full(8, np.nan)])[:8])
    fit = fit_occupancy(np.array(rows), prior=Prior())
    assert got.new.value == pytest.approx(fit.psi, abs=1e-12)
    assert got.figures.pools_visited == run(pools, visits).figures.pools_visited  # pools stay pools
    with pytest.raises(InputError, match="3 labels for 40 pools"):
        run(pools, visits, group=np.array([1, 2, 3]))


def test_an_earlier_season_counts() -> None:
    pools, visits = town()
    before = pd.DataFrame({"pool": ["made up 000"], "date": [pd.Timestamp("2025-12-01")], "outcome": ["none seen"]})
    plain, got = run(pools, visits), run(pools, pd.concat([before, visits], ignore_index=True))
    assert got.figures.seasons == (2025, 2026)
    assert got.pools["visits"][0] == plain.pools["visits"][0] + 1
    assert got.pools["occupancy"][0] < plain.pools["occupancy"][0]
    np.testing.assert_allclose(got.pools["occupancy"][1:], plain.pools["occupancy"][1:], atol=0.03)


def test_a_boundary_estimate_has_an_interval_but_no_error() -> None:
    pools = pd.DataFrame({"pool": [f"made up {i:02d}" for i in range(30)], "set_out": pd.NaT})
    rows = [
        (p, pd.Timestamp("2026-05-01"), o)
        for i, p in enumerate(pools["pool"])
        for o in (["larvae", "none seen"] if i < 28 else ["none seen"] * 2)
    ]
    got = run(pools, pd.DataFrame(rows, columns=["pool", "date", "outcome"]), how=Inference(surveys=0))
    assert got.figures.estimate == 1
    assert np.isnan(got.figures.se)
    assert 0.8 < got.figures.low < 1
    assert got.figures.why == (note(Irregular.OCCUPANCY_AT_LIMIT),)


def test_two_pools_at_one_place_searched_once_each_are_a_place_searched_twice() -> None:
    pools = pd.DataFrame({"pool": ["a", "b", "c"], "set_out": pd.NaT})
    visits = pd.DataFrame({"pool": ["a", "b", "c"], "date": pd.Timestamp("2026-05-01"), "outcome": "larvae"})
    assert run(pools, visits).figures.searched_twice == 0
    assert run(pools, visits, group=np.array([0, 0, 1])).figures.searched_twice == 1
