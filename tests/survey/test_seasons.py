"""Colonisation and loss between seasons: MacKenzie, Nichols, Hines, Knutson & Franklin 2003, Ecology 84:2200-2207.

No data of the paper is at hand; the likelihood is held against a sum over every course a pool can take, and the
estimates against made-up pools whose truth is known.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pandas as pd
import pytest

from habitatmap.survey.codes import Lacking, Trend
from habitatmap.survey.dynamic import Rates, SeasonHistories, forward
from habitatmap.survey.probabilities import estimate_pools
from habitatmap.survey.seasons import Seasons, seasons
from habitatmap.vocabulary.note import Note, note
from tests.survey.tools import MODEL


def slow(n: np.ndarray, d: np.ndarray, first: float, colonised: float, lost: float, p: float) -> float:
    """Every course of states written out."""
    total = 0.0
    for searches, detected in zip(n, d, strict=True):
        probability = 0.0
        for course in product([0, 1], repeat=len(searches)):
            part = first if course[0] else 1 - first
            for before, after in pairwise(course):
                turn = (1 - lost) if before else colonised
                part *= turn if after else 1 - turn
            for z, k, y in zip(course, searches, detected, strict=True):
                part *= p**y * (1 - p) ** (k - y) if z else float(y == 0)
            probability += part
        total += np.log(probability)
    return total


def made_up(sites: int, seed: int, turn: tuple[float, float] = (0.2, 0.3)) -> tuple[np.ndarray, np.ndarray]:
    """Three seasons of three searches, 60 % occupied at first, detection 0.5."""
    rng = np.random.default_rng(seed)
    colonised, lost = turn
    z = rng.random(sites) < 0.6
    d = np.zeros((sites, 3), int)
    for t in range(3):
        if t:
            z = np.where(z, rng.random(sites) >= lost, rng.random(sites) < colonised)
        d[:, t] = rng.binomial(3, np.where(z, 0.5, 0))
    return np.full((sites, 3), 3), d


def test_the_likelihood_sums_over_every_course() -> None:
    n, d = made_up(25, 3)
    n = n - (np.arange(75).reshape(25, 3) % 4 == 0)  # unequal searches
    d = np.minimum(d, n)
    at = (0.55, 0.15, 0.35, 0.45)
    assert forward(SeasonHistories.of(n, d), Rates(*at))[2][0] == pytest.approx(slow(n, d, *at), abs=1e-10)


def told_of(pools: pd.DataFrame, visits: pd.DataFrame, as_of: str = "2026-12-01") -> Seasons:
    return seasons(estimate_pools(pools, visits, as_of, MODEL))


def records(
    seasons_of: int, pools: int = 60, more_searches: bool = False, later: int = 0
) -> tuple[pd.DataFrame, pd.DataFrame]:
    n, d = made_up(pools, 4)
    rows = []
    for i in range(pools):
        for t in range(seasons_of):
            for k in range(n[i, t] + (3 if more_searches and t == 0 else 0)):
                outcome = "larvae" if (k + i) % n[i, t] < d[i, t] else "none seen"  # early and late alike
                rows.append(
                    (f"made up {i:04d}", pd.Timestamp(2024 + t, 5, 1) + pd.Timedelta(days=20 * k + later * t), outcome)
                )
    frame = pd.DataFrame({"pool": [f"made up {i:04d}" for i in range(pools)], "set_out": pd.NaT})
    return frame, pd.DataFrame(rows, columns=["pool", "date", "outcome"])


def test_three_like_seasons_are_told() -> None:
    pools, visits = records(3)
    told = told_of(pools, visits)
    assert [figures.season for figures in told.each] == [2024, 2025, 2026]
    assert (told.same, told.why) == (60, ())
    assert told.change["part"].tolist() == ["first", "colonised", "lost", "detection", "last less first"]
    assert told.trend in (Trend.FELL, Trend.NO_CHANGE)


def test_many_pools_give_the_truth_back() -> None:
    """60 % occupied at first, 0.2 of the empty pools colonised, 0.3 of the occupied ones lost, detection 0.5."""
    pools, visits = records(3, pools=1500)
    change = told_of(pools, visits).change.set_index("part")
    np.testing.assert_allclose(change["estimate"][:4], [0.6, 0.2, 0.3, 0.5], atol=0.05)
    share = 0.6
    for _ in range(2):
        share = share * 0.7 + (1 - share) * 0.2
    assert change.loc["last less first", "low"] < share - 0.6 < change.loc["last less first", "high"]
    assert (change["low"] <= change["estimate"]).all()
    assert (change["estimate"] <= change["high"]).all()


@pytest.mark.parametrize(
    ("case", "lacking"),
    [
        ({"seasons_of": 2}, note(Lacking.SEASONS, n=2, needed=3)),
        ({"seasons_of": 3, "pools": 15}, note(Lacking.SAME_POOLS, n=15, needed=20)),
        ({"seasons_of": 3, "more_searches": True}, note(Lacking.EQUAL_SEARCHES, low=3.0, high=6.0)),
        # 2024 is a leap year: its days of the year are one more
        ({"seasons_of": 3, "later": 20}, note(Lacking.EQUAL_DATES, days=39.0)),
    ],
)
def test_no_change_can_be_shown(case: dict, lacking: Note) -> None:
    pools, visits = records(**case)
    told = told_of(pools, visits)
    assert told.trend is Trend.NOT_KNOWN
    assert lacking in told.why
    assert told.change.empty


def test_a_later_day_is_not_looked_at() -> None:
    pools, visits = records(3)
    assert [figures.season for figures in told_of(pools, visits, "2025-12-01").each] == [2024, 2025]
    assert told_of(pools, visits[:0], "2025-12-01").why == (note(Lacking.SEARCHES),)


def test_a_season_that_has_just_begun_hides_no_change() -> None:
    pools, visits = records(3)
    spring = pd.DataFrame([("made up 0000", pd.Timestamp("2027-04-12"), "none seen")], columns=visits.columns)
    told = told_of(pools, pd.concat([visits, spring], ignore_index=True), "2027-05-01")
    assert [figures.season for figures in told.each] == [2024, 2025, 2026, 2027]
    assert (told.same, told.why) == (60, ())
    assert not told.change.empty
