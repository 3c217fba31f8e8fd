"""How probabilities depend on surroundings: by as many covariates as the detections allow, never beyond the sampled."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from habitatmap.geo.flight import FlightKernel
from habitatmap.read.settings import OccupancySettings
from habitatmap.survey import Prior, estimate_pools
from habitatmap.survey.codes import OnSurroundings
from habitatmap.survey.constant import conditional
from habitatmap.survey.dynamic import SeasonDraws, SeasonHistories
from habitatmap.survey.surroundings import Surroundings, fit_surroundings, places_near
from habitatmap.vocabulary.note import note
from tests.survey.tools import MODEL


def made_up(sites: int = 400, slope: float = 1.5, seed: int = 2) -> tuple[np.ndarray, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    places = pd.DataFrame({"forage": rng.normal(size=sites), "wood": rng.uniform(size=sites)})
    occupied = rng.random(sites) < expit(slope * places["forage"].to_numpy())
    return (occupied[:, None] & (rng.random((sites, 3)) < 0.6)).astype(float), places


def counted(found: np.ndarray) -> SeasonHistories:
    """Searches and detections of one season."""
    return SeasonHistories.of((~np.isnan(found)).sum(axis=1)[:, None], np.nansum(found, axis=1)[:, None])


def test_a_strong_slope_is_found_and_a_false_one_is_held_near_nothing() -> None:
    found, places = made_up()
    told, use = fit_surroundings(counted(found), places, Prior())
    assert told is not None
    assert told.names == ("forage", "wood")
    assert use == note(OnSurroundings.COVARIATES, names=("forage", "wood"))
    rich, poor = told.draws_at(np.array([[1.0, 0.5], [-1.0, 0.5]])).mean(axis=0)
    assert rich == pytest.approx(expit(1.5), abs=0.1)
    assert poor == pytest.approx(expit(-1.5), abs=0.1)
    wood = told.draws_at(np.array([[0.0, 1.0], [0.0, 0.0]]))
    assert np.quantile(wood[:, 0] - wood[:, 1], 0.025) < 0 < np.quantile(wood[:, 0] - wood[:, 1], 0.975)


@pytest.mark.parametrize(("detections", "names"), [(9, None), (12, ("forage",)), (27, ("forage", "wood"))])
def test_one_covariate_for_ten_detections(detections: int, names: tuple[str, ...] | None) -> None:
    found, places = np.zeros((40, 2)), made_up(40)[1]
    found.ravel()[:detections] = 1
    told, use = fit_surroundings(counted(found), places, Prior())
    assert (None if told is None else told.names) == names
    few = note(OnSurroundings.TOO_FEW_DETECTIONS, n=9)
    assert use == (few if names is None else note(OnSurroundings.COVARIATES, names=names))


def test_unknown_ground_is_passed_over() -> None:
    found, places = made_up(100)
    told, _ = fit_surroundings(counted(found), places.assign(forage=np.nan), Prior())
    assert told is not None
    assert told.names == ("wood",)
    holes = places.copy()
    holes.loc[:4, "forage"] = np.nan  # a few places outside the data do not cost the covariate
    told, _ = fit_surroundings(counted(found), holes, Prior())
    assert told is not None
    assert told.names == ("forage", "wood")
    assert fit_surroundings(counted(found), places * 0 + 0.5, Prior())[0] is None


def test_ground_of_two_kinds_is_told_once() -> None:
    """Where every spot is a mix of the same two kinds of ground, its dead wood follows from its forage."""
    found, places = made_up(100)
    told, use = fit_surroundings(counted(found), places.assign(wood=1 - 2 * places["forage"]), Prior())
    assert told is not None
    assert told.names == ("forage",)
    assert use == note(OnSurroundings.COVARIATES, names=("forage",))
    assert np.isfinite(told.draws.slopes).all()
    lonely = places.assign(forage=np.where(np.arange(100) == 0, 1.0, 0.5))
    lonely.loc[0, "wood"] = np.nan  # the only spot that differs is not known otherwise
    told, _ = fit_surroundings(counted(found), lonely, Prior())
    assert told is not None
    assert told.names == ("wood",)


def test_nothing_is_said_beyond_the_range() -> None:
    none, one = np.array([0.0]), np.array([1.0])
    draws = SeasonDraws(first=none, colonised=none, slopes=np.array([[2.0]]), lost=none, p=np.array([[0.5]]))
    told = Surroundings(("forage",), draws, low=-one, high=one)
    at = told.draws_at(np.array([[-9.0], [-1.0], [1.0], [9.0]]))[0]
    np.testing.assert_allclose(at, expit([-2, -2, 2, 2]))


def test_the_surface_is_the_mean_over_draws() -> None:
    found, places = made_up(120)
    told, _ = fit_surroundings(counted(found), places, Prior())
    assert told is not None
    rng = np.random.default_rng(0)
    fields = [rng.normal(size=(20, 30)), rng.uniform(size=(20, 30))]
    fields[0][3, 4] = np.nan
    surface = told.surface(fields)
    assert np.isnan(surface[3, 4])
    slow = told.draws_at(np.column_stack([f.ravel() for f in fields])).mean(axis=0).reshape(20, 30)
    known = ~np.isnan(slow)
    np.testing.assert_allclose(surface[known], slow[known], atol=1e-3)


def test_places_near_by_adding_up() -> None:
    places = pd.DataFrame({"row": [2, 2, 40, -3], "col": [3, 9, 40, 0], "p": [0.5, 1.0, 0.25, 1.0]})
    near = places_near((50, 60), places, 10.0, 50.0)
    for row, col in ((2, 3), (0, 0), (30, 20), (49, 59)):
        hand = 0.0
        for r, c, p in ((2, 3, 0.5), (2, 9, 1.0), (40, 40, 0.25)):
            d = 10 * np.hypot(r - row, c - col)
            hand += p * float(FlightKernel(50.0).reach_weight(d)) if d <= 10 * 50 / 1.678347 else 0
        assert near[row, col] == pytest.approx(hand, abs=0.002)


def test_chances_follow_the_ground() -> None:
    found, places = made_up(120)
    pools = pd.DataFrame({"pool": [f"made up {i:03d}" for i in range(120)], "set_out": pd.NaT, "x": 0.0, "y": 0.0})
    rows = [
        (pool, pd.Timestamp("2026-05-01") + pd.Timedelta(days=20 * j), "larvae" if y else "none seen")
        for pool, history in zip(pools["pool"], found, strict=True)
        for j, y in enumerate(history)
    ]
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome"])
    visits = visits[~visits["pool"].isin(pools["pool"][:10])]  # ten pools nobody searched
    places.loc[0, "forage"] = np.nan
    plain = estimate_pools(pools, visits, "2026-11-01", MODEL)
    got = estimate_pools(pools, visits, "2026-11-01", MODEL, surroundings=places)
    assert got.surroundings is not None
    assert got.figures.estimate == plain.figures.estimate
    assert got.figures.surroundings == note(OnSurroundings.COVARIATES, names=("forage", "wood"))
    pd.testing.assert_series_equal(got.pools.loc[0], plain.pools.loc[0])  # its ground is not known
    seen = got.pools["detections"] > 0
    assert (got.pools.loc[seen, ["occupancy", "occupancy_low", "occupancy_high"]] == 1).all(axis=None)
    blank = (~seen).to_numpy() & (np.arange(120) > 0)
    at = places.loc[blank].to_numpy()
    psi = got.surroundings.draws_at(at)
    hand = conditional(psi, got.surroundings.draws.p, got.pools.loc[blank, "visits"].to_numpy()[None, :])
    np.testing.assert_allclose(got.pools.loc[blank, "occupancy"], hand.mean(axis=0))
    assert np.corrcoef(at[:9, 0], got.pools.loc[blank, "occupancy"][:9])[0, 1] > 0.9
    assert got.draws.shape == (200, 120)
    np.testing.assert_allclose(got.draws.mean(axis=0), got.pools["occupancy"], atol=0.03)
    surface = got.new_on({"forage": np.array([[-1.0, 1.0, np.nan]]), "wood": np.full((1, 3), 0.5)}, (1, 3))
    assert surface[0, 0] < got.new.value < surface[0, 1]
    assert surface[0, 2] == got.new.value
    sites = pd.DataFrame({"forage": [-1.0, 1.0, np.nan], "wood": 0.5})
    drawn, ends = got.new_draws_on(sites), got.new_ends_on(sites)
    np.testing.assert_allclose(drawn.mean(axis=0), surface[0], atol=0.02)
    assert ((ends[:, 0] < surface[0]) & (surface[0] < ends[:, 1])).all()


def test_a_number_for_new_pools_needs_no_ground() -> None:
    found, places = made_up(60)
    pools = pd.DataFrame({"pool": [str(i) for i in range(60)], "set_out": pd.NaT})
    outcomes = np.where(found.ravel() == 1, "larvae", "none seen")
    names = np.repeat(pools["pool"].to_numpy(), 3)
    visits = pd.DataFrame({"pool": names, "date": pd.Timestamp("2026-05-01"), "outcome": outcomes})
    got = estimate_pools(pools, visits, "2026-11-01", OccupancySettings(new=0.3), surroundings=places)
    assert got.surroundings is None
    assert (got.new_on({}, (2, 2)) == 0.3).all()
    assert (got.new_draws_on(places) == 0.3).all()
    assert (got.new_ends_on(places) == 0.3).all()


def test_ten_detections_on_one_side_do_not_make_a_steep_slope() -> None:
    """All larvae on the richer half: the plain estimate is a slope without limit, the prior holds it near 0."""
    forage = np.repeat([-1.0, 1.0], 20)
    found = np.zeros((40, 2))
    found[20:30, 0] = 1
    model, _ = fit_surroundings(counted(found), pd.DataFrame({"forage": forage}), Prior())
    assert model is not None
    assert 0 < model.draws.slopes.mean() < 1
