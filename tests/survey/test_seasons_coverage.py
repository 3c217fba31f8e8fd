"""Do the figures of several seasons hold what they promise? Towns made up with a known truth, by code that shares
nothing with the model.

The 500 towns are run by hand: `pytest -m slow tests/survey/test_seasons_coverage.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.special import expit, logit

from habitatmap.survey.constant import Prior
from habitatmap.survey.probabilities import Inference, PoolOccupancy, estimate_pools
from tests.survey.tools import MODEL

FIRST = 2021
BINS = 10


@dataclass(frozen=True)
class Truth:
    """What is true of a town: the probability of being occupied by season, and the states (pools x seasons)."""

    occupancy: list[float]
    states: NDArray[np.bool_]


@dataclass(frozen=True)
class Rates:
    """By which a town is made up: occupied at first, colonised, lost, and p of each season."""

    first: float
    colonised: float
    lost: float
    p: NDArray[np.float64]


def middling(rng: np.random.Generator, seasons: int) -> Rates:
    """psi 0.3-0.8, colonised 0.1-0.4, lost 0.05-0.4, p 0.3-0.7 and a little other in each season."""
    first, colonised, lost, p = rng.uniform([0.3, 0.1, 0.05, 0.3], [0.8, 0.4, 0.4, 0.7])
    return Rates(first, colonised, lost, expit(logit(p) + rng.normal(0, 0.3, seasons)))


def as_believed(rng: np.random.Generator, seasons: int) -> Rates:
    """Drawn from the prior itself."""
    prior = Prior()
    betas = (prior.psi_beta, prior.colonised_beta, prior.lost_beta, prior.p_beta)
    first, colonised, lost, p = (rng.beta(*ends) for ends in betas)
    return Rates(first, colonised, lost, expit(logit(p) + rng.normal(0, prior.season_sd, seasons)))


def made_up_town(rng: np.random.Generator, rates_of: object = middling) -> tuple[pd.DataFrame, pd.DataFrame, Truth]:
    """Pools, visits and the truth: 20-60 pools over two to four seasons, 2-5 searches a pool and season; in every
    second town some pools are searched less often, or not at all.
    """
    seasons, sites, most = int(rng.integers(2, 5)), int(rng.integers(20, 61)), int(rng.integers(2, 6))
    rates = rates_of(rng, seasons)  # type: ignore[operator]
    searches = rng.integers(0, most + 1, (sites, seasons)) if rng.random() < 0.5 else np.full((sites, seasons), most)
    occupancy, states = [rates.first], [rng.random(sites) < rates.first]
    for _ in range(1, seasons):
        occupancy.append(occupancy[-1] * (1 - rates.lost) + (1 - occupancy[-1]) * rates.colonised)
        stays, arrives = rng.random(sites) >= rates.lost, rng.random(sites) < rates.colonised
        states.append(np.where(states[-1], stays, arrives))
    occupied = np.column_stack(states)
    rows = []
    for i, t in np.ndindex(sites, seasons):
        days = np.sort(rng.choice(90, searches[i, t], replace=False))
        found = occupied[i, t] & (rng.random(len(days)) < rates.p[t])
        for day, seen in zip(days, found, strict=True):
            date = pd.Timestamp(FIRST + t, 5, 1) + pd.Timedelta(days=int(day))
            rows.append((f"made up {i:02d}", date, "larvae" if seen else "none seen"))
    pools = pd.DataFrame({"pool": [f"made up {i:02d}" for i in range(sites)], "set_out": pd.NaT})
    return pools, pd.DataFrame(rows, columns=["pool", "date", "outcome"]), Truth(occupancy, occupied)


def told(pools: pd.DataFrame, visits: pd.DataFrame, truth: Truth) -> PoolOccupancy:
    as_of = f"{FIRST + len(truth.occupancy) - 1}-09-01"
    return estimate_pools(pools, visits, as_of, MODEL, how=Inference(surveys=0))


def many_towns(towns: int, seed: int, rates_of: object = middling) -> tuple[dict[str, float], pd.DataFrame]:
    """Shares of towns whose 95 % interval holds the truth: occupancy of the season of the headline, and the number of
    occupied pools among those searched in it; and the pools' probabilities by bin: pools, predicted, observed, error
    (that of observed less predicted, pools of a town taken together). Pools seen in the last season are left out.
    """
    rng = np.random.default_rng(seed)
    occupancy, number, probabilities = [], [], []
    for k in range(towns):
        pools, visits, truth = made_up_town(rng, rates_of)
        known = told(pools, visits, truth)
        each = known.pools["occupancy"].to_numpy(dtype=float)
        unsure = each < 1
        probabilities.append(pd.DataFrame({"town": k, "p": each, "z": truth.states[:, -1]})[unsure])
        figures = known.figures
        if figures.known and figures.season is not None:
            at = figures.season - FIRST
            occupancy.append(figures.low <= truth.occupancy[at] <= figures.high)
            occupied = int(truth.states[known.searches.searches > 0, at].sum())
            number.append(figures.here.low <= occupied <= figures.here.high)
    cover = {"told": len(occupancy) / towns, "occupancy": float(np.mean(occupancy)), "number": float(np.mean(number))}
    return cover, by_bin(pd.concat(probabilities))


def by_bin(pools: pd.DataFrame) -> pd.DataFrame:
    """pools: town, p, z (occupied or not)."""
    bins = np.minimum((pools["p"] * BINS).astype(int), BINS - 1)
    rows = []
    for _, some in pools.groupby(bins):
        excess = (some["z"] - some["p"]).groupby(some["town"]).sum()
        error = float(np.sqrt(np.square(excess).sum())) / len(some)
        rows.append((len(some), some["p"].mean(), some["z"].mean(), error))
    return pd.DataFrame(rows, columns=["pools", "predicted", "observed", "error"])


def test_a_few_towns() -> None:
    cover, bins = many_towns(12, seed=3)
    assert cover["told"] >= 0.8
    assert cover["occupancy"] >= 0.75
    assert cover["number"] >= 0.75
    assert bins["pools"].sum() > 100


@pytest.mark.slow
def test_intervals_cover_and_probabilities_are_calibrated() -> None:
    cover, bins = many_towns(500, seed=1)
    print(cover, bins.round(3).to_string(), sep="\n")
    assert cover["told"] > 0.9
    assert 0.92 <= cover["occupancy"] <= 0.98
    assert 0.92 <= cover["number"] <= 0.98
    # the prior is wider than the rates of these towns, which leaves a little besides chance
    assert (abs(bins["observed"] - bins["predicted"]) <= 0.02 + 2.5 * bins["error"]).all()


@pytest.mark.slow
def test_towns_drawn_from_the_prior_are_calibrated() -> None:
    """Where what is believed is true, nothing but chance is left: the calculation is exact."""
    cover, bins = many_towns(500, seed=2, rates_of=as_believed)
    print(cover, bins.round(3).to_string(), sep="\n")
    assert (abs(bins["observed"] - bins["predicted"]) <= 3.5 * bins["error"] + 0.01).all()
