"""The account as a whole: places merged, wider intervals, effort within the budget, blanks still needed."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.survey import blank_visits, count_searches, estimate_pools, fit_occupancy
from habitatmap.survey.account import Account, Budget, Records, Resampling, take_account
from habitatmap.survey.codes import Irregular, Lacking, PlannedWith, Trend
from habitatmap.survey.probabilities import MOST_WIDENED
from habitatmap.survey.searches import by_place
from habitatmap.vocabulary.note import note
from tests.survey.tools import MODEL, searched

AS_OF = datetime.date(2026, 11, 1)


def town(pools: int = 40) -> tuple[pd.DataFrame, pd.DataFrame]:
    rng = np.random.default_rng(5)
    names = [f"made up {i:02d}" for i in range(pools)]
    frame = pd.DataFrame({"pool": names, "set_out": pd.Timestamp("2025-10-01"), "x": rng.uniform(0, 4000, pools)})
    frame = frame.assign(y=rng.uniform(0, 4000, pools), shade=rng.choice(["deep", "open"], pools), volume_l=8.0)
    frame["removed"] = pd.Series(pd.NaT, index=frame.index, dtype="datetime64[s]")
    return frame, searched(names, rng, 2, 4, taxon="", checked="", observer="ann")


def account(
    pools: pd.DataFrame, visits: pd.DataFrame, group: np.ndarray | None = None, budget: Budget | None = None
) -> Account:
    group = np.arange(len(pools)) if group is None else group
    known = estimate_pools(pools, visits, AS_OF, MODEL, group)
    records = Records("Made up", pools, visits, AS_OF)
    return take_account(records, known, group, budget=budget, resampling=Resampling(surveys=20))


def test_it_says_what_its_parts_say() -> None:
    pools, visits = town()
    told = account(pools, visits)
    seen = count_searches(visits, pools, AS_OF)
    fit = fit_occupancy(seen.histories)
    assert told.fit.psi == pytest.approx(fit.psi)
    assert told.known.figures.estimate == pytest.approx(fit.psi)
    assert told.planned[:2] == (fit.psi, fit.p)
    assert told.known.figures.low <= told.fit.psi_low + 1e-9
    assert told.known.figures.high >= told.fit.psi_high - 1e-9
    assert told.weak.numerical_error < 1e-8
    blank = told.pools["detections"] == 0
    for probability, more in told.pools.loc[blank, ["occupancy", "more_needed"]].to_numpy():
        # what is not known of psi and p asks for more than the estimates by themselves
        assert blank_visits(fit.p, 0.95, probability) <= more <= blank_visits(fit.p, 0.95, probability) + 3
    searches = told.known.non_detections.set_index("non_detections")["probability"]
    assert searches[told.needed] <= 0.05 < searches[told.needed - 1]
    assert told.pools.loc[~blank, "more_needed"].isna().all()
    assert told.seasons.trend is Trend.NOT_KNOWN
    assert told.seasons.why[0] == note(Lacking.SEASONS, n=1, needed=3)


def test_pools_side_by_side_count_once() -> None:
    pools, visits = town()
    group = np.arange(40) // 2
    told = account(pools, visits, group)
    assert told.fit.n_sites == 20
    assert told.known.figures.estimate == pytest.approx(told.fit.psi)
    seen, merged, counted = by_place(told.known.searches, pools, visits, group)
    assert len(seen.pools) == len(merged) == 20
    assert seen.searches.sum() == told.known.searches.searches.sum() == len(counted)
    assert merged["x"][0] == pytest.approx(pools["x"][:2].mean())
    same = pools["shade"][0] == pools["shade"][1]
    assert merged["shade"][0] == (pools["shade"][0] if same else "mixed")
    with pytest.raises(InputError, match="3 labels for 40 pools"):
        by_place(told.known.searches, pools, visits, np.array([1, 2, 3]))


def test_what_is_no_look_changes_no_digit() -> None:
    pools, visits = town()
    extra = [("made up 01", "2026-05-05", o, "", "", "ann") for o in ("dry", "frozen", "gone", "not reached")]
    extra += [("made up 02", "2025-10-03", "larvae", "", "", "ann")]  # two days after set-out
    more = pd.DataFrame(extra, columns=visits.columns).assign(date=lambda v: pd.to_datetime(v["date"]))
    plain, got = account(pools, visits), account(pools, pd.concat([visits, more], ignore_index=True))
    assert (got.fit.psi, got.fit.p, got.fit.psi_se) == (plain.fit.psi, plain.fit.p, plain.fit.psi_se)
    assert (got.blocks, got.clustering) == (plain.blocks, plain.clustering)
    pd.testing.assert_frame_equal(got.pools, plain.pools)
    pd.testing.assert_frame_equal(got.models, plain.models)
    pd.testing.assert_frame_equal(got.effort, plain.effort)


def test_the_budget_is_kept() -> None:
    pools, visits = town()
    told = account(pools, visits, budget=Budget(30.0, 0.75, 2.0))
    standard = told.effort.iloc[0]
    assert standard["pools"] * (2.0 + 0.75 * standard["visits"]) <= 30
    assert (standard["pools"] + 1) * (2.0 + 0.75 * standard["visits"]) > 30
    assert told.effort["error"].notna().all()
    with pytest.raises(InputError, match="do not pay for one site"):
        account(pools, visits, budget=Budget(1.0))


def test_no_more_pools_are_planned_than_stand() -> None:
    pools, visits = town()
    stands = np.arange(40) >= 18
    pools.loc[~stands, "removed"] = pd.Timestamp("2026-10-01")
    told = account(pools, visits, budget=Budget(200.0))
    assert told.effort["standing"].tolist() == [22, 22]
    assert (told.effort["pools"] == 22).all()
    assert (told.effort["hours_needed"] <= 200).all()
    assert told.pools["stands"].tolist() == stands.tolist()
    side_by_side = account(pools, visits, np.arange(40) // 2, Budget(200.0))
    assert (side_by_side.effort["pools"] == 11).all()
    # where none stands the numbers are for pools to come
    pools["removed"] = pd.Timestamp("2026-10-01")
    none = account(pools, visits, budget=Budget(200.0)).effort
    assert (none["standing"] == 0).all()
    assert (none["pools"] > 0).all()


@pytest.mark.parametrize("history", ["11", "10"], ids=["at every search", "at one search of two"])
def test_larvae_in_every_pool(history: str) -> None:
    """Where nobody wrote down a search without larvae nothing is known; one in two, in each pool, is no chance."""
    pools, _ = town(25)
    rows = [
        (pool, pd.Timestamp(2026, 5 + k, 1), "larvae" if c == "1" else "none seen", "", "", "ann")
        for pool in pools["pool"]
        for k, c in enumerate(history)
    ]
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome", "taxon", "checked", "observer"])
    told = account(pools, visits)
    assert told.fit.psi == 1
    assert np.isnan(told.fit.psi_se)
    if history == "11":
        assert told.few
        assert told.known.figures.why[0].code is Irregular.DETECTIONS_ONLY
        assert np.isnan(told.needed)
    else:
        assert told.goodness.overdispersion > told.known.figures.overdispersion == MOST_WIDENED
        assert told.known.figures.low < told.fit.psi_low - 0.1
        assert told.known.figures.high == 1
    assert told.planned.basis is PlannedWith.BAYESIAN


def test_few_looks_and_none() -> None:
    pools, visits = town(8)
    few = account(pools, visits)
    assert few.few
    assert few.effects.empty
    assert few.blocks.why == note(Lacking.SEARCHES)
    assert few.planned.basis is PlannedWith.BAYESIAN
    none = account(pools, visits[:0])
    assert none.few
    assert none.pools["searches"].sum() == 0
    assert none.effort["hours"].tolist() == [40.0, 40.0]
    nobody = account(pools[:0], visits[:0])
    assert len(nobody.pools) == 0


def test_without_a_budget_the_next_season_may_take_as_long_as_this_one() -> None:
    """Half an hour for each search, one hour for each pool that was searched."""
    pools, visits = town()
    assert account(pools, visits).effort["hours"].tolist() == [0.5 * len(visits) + 40.0] * 2
