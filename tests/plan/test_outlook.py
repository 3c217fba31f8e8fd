"""The laws of a fair comparison, and what is told of it."""

from __future__ import annotations

import datetime
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.job import _years_standing
from habitatmap.network.turnover import KnownPlaces
from habitatmap.plan.outlook import (
    FIRST_YEARS,
    LAST_YEARS,
    PLANNED_YEARS,
    SHARES,
    STAGING_SHARES,
    Conditions,
    Course,
    Installing,
    Measure,
    NothingToCompare,
    NothingToCompareError,
    Outlook,
    Standing,
    Strategy,
    Today,
    Window,
    _differences,
    _standing,
    gains,
    ground_points,
    other_plans,
    simulate_outlook,
    staging_ratios,
    standings,
    years_of,
)
from habitatmap.plan.simulated_years import Tail

UNDER = Conditions(250.0, 500.0, simulations=96)


def today(p: float = 0.9, w: float = 1.0) -> Today:
    """Six pools in a row of 400 m steps, on a line of forage."""
    x = 400.0 * np.arange(6)
    known = pd.DataFrame({"x": x, "y": 0.0, "access": [0.4, 0.6] * 3, "p": p, "pools": 1})
    ground = pd.DataFrame({"x": np.arange(0, 4000, 100.0), "y": 0.0, "w": w})
    return Today(KnownPlaces.of(known, np.full(6, 3.0)), np.full((1, 6), p), 0.5, ground)


def strategies(sites: int = 2) -> dict[Strategy, list[pd.DataFrame]]:
    """The plan goes on with the row, the random pools lie beyond all forage and flight."""
    plan = pd.DataFrame({"x": 2400.0 + 400.0 * np.arange(sites), "y": 0.0, "access": 0.5})
    far = plan.assign(x=plan["x"] * 100)
    return {Strategy.NONE: [plan.iloc[:0]], Strategy.PLAN: [plan], Strategy.RANDOM: [far, far.assign(y=500.0)]}


@pytest.fixture(scope="module")
def seen() -> Outlook:
    return simulate_outlook(today(), strategies(4), UNDER)


def test_pools_where_flies_can_find_them_come_first(seen: Outlook) -> None:
    for tail in Tail:
        told = standings(seen, tail)
        assert told["unmapped"].tolist() == list(SHARES)
        assert (told["standing"] == Standing.AHEAD).all()
        assert (told["rule"] == Strategy.RANDOM).all()
        assert (told["gain"] > told["rule_gain"]).all()
    assert (seen.ranks.groupby(["tail", "unmapped", "window"])["strategy"].first() == Strategy.PLAN).all()
    assert np.allclose(seen.ranks.groupby(["tail", "unmapped", "window"], dropna=False)["first_share"].sum(), 1)
    d = seen.differences
    assert ((d["low"] <= d["difference"]) & (d["difference"] <= d["high"])).all()


def test_every_share_has_as_many_simulations_and_all_together_are_their_mean(seen: Outlook) -> None:
    d = seen.differences
    assert (d.loc[d["unmapped"].notna(), "simulations"] == 96 // len(SHARES)).all()
    assert (d.loc[d["unmapped"].isna(), "simulations"] == 96).all()
    keys = ["tail", "window", "strategy"]
    every = seen.ranks[seen.ranks["unmapped"].isna()].set_index(keys)["forage_in_reach"].sort_index()
    by_share = seen.ranks[seen.ranks["unmapped"].notna()].groupby(keys)["forage_in_reach"].mean().sort_index()
    pd.testing.assert_series_equal(every, by_share)


def test_gains_are_those_of_the_differences(seen: Outlook) -> None:
    d = seen.differences
    for tail in Tail:
        for window in Window:
            mine = d[(d["tail"] == tail) & (d["window"] == window) & (d["measure"] == Measure.FORAGE)]
            over_none = mine[(mine["other"] == Strategy.NONE) & mine["unmapped"].notna()]
            assert gains(seen, tail, window)[Strategy.PLAN].tolist() == pytest.approx(over_none["difference"].tolist())


def test_new_pools_fill_sooner_the_more_flies_come_from_elsewhere() -> None:
    """Pools out of flight of every mapped place gain nothing from these, and are found where flies come anyway."""
    ways = strategies()
    lone = {**ways, Strategy.PLAN: [ways[Strategy.PLAN][0].assign(x=[1e6, 2e6])]}
    ground = pd.DataFrame({"x": [1e6, 2e6], "y": 0.0, "w": 1.0})
    lived = simulate_outlook(replace(today(), demand=ground), lone, UNDER)
    for tail in Tail:
        gained = gains(lived, tail, Window.PLANNED)[Strategy.PLAN]
        assert gained.iloc[0] == pytest.approx(0.0, abs=1e-3)
        assert gained.iloc[-1] > 0.3
        assert standings(lived, tail)["standing"].iloc[0] == Standing.NOTHING


def test_windows_fit_the_years() -> None:
    assert [years_of(window, 20) for window in Window] == [(1, PLANNED_YEARS), (16, 20)]
    assert [years_of(window, 5) for window in Window] == [(1, 5), (1, 5)]


@pytest.mark.parametrize(
    ("gain", "rule_gain", "low", "high", "standing"),
    [
        (0.0210, 0.02, 0.0005, 0.0015, Standing.AHEAD),
        (0.0209, 0.02, 0.0005, 0.0015, Standing.LEVEL),  # clear, but less than 5 % more
        (0.0300, 0.02, -0.001, 0.0210, Standing.LEVEL),  # more, but not clear
        (0.0190, 0.02, -0.003, 0.0010, Standing.LEVEL),
        (0.0190, 0.02, -0.003, -0.001, Standing.BEHIND),
        (0.0100, -0.01, 0.001, 0.0300, Standing.AHEAD),  # the rule gains nothing at all
        (0.00005, 0.0, -1.0, 1.0, Standing.NOTHING),
    ],
)
def test_how_the_plan_stands(gain: float, rule_gain: float, low: float, high: float, standing: Standing) -> None:
    assert _standing(gain, rule_gain, pd.Series({"low": low, "high": high})) is standing


def test_all_at_once_gains_more_than_two_a_year(seen: Outlook) -> None:
    s = seen.staging
    assert s["unmapped"].unique().tolist() == list(STAGING_SHARES)
    assert s["last_year"].unique().tolist() == [FIRST_YEARS, PLANNED_YEARS]
    gain = s.pivot_table(index=["tail", "unmapped", "last_year"], columns="installing", values="gain")
    assert (gain[Installing.AT_ONCE] > gain[Installing.STAGED]).all()
    assert (staging_ratios(s)["at_once"] > 1.05).all()


def test_few_sites_are_not_staged() -> None:
    assert simulate_outlook(today(), strategies(3), replace(UNDER, simulations=12)).staging.empty


def test_the_best_connected_first_is_nearest_to_occupied_places() -> None:
    """A plan that begins at its far end: the best connected first turns it round, and is sooner found from mapped
    places."""
    ways = strategies(6)
    turned = {**ways, Strategy.PLAN: [ways[Strategy.PLAN][0].iloc[::-1].reset_index(drop=True)]}
    told = staging_ratios(simulate_outlook(today(), turned, UNDER).staging)
    assert told.loc[0.0, "connected"] > 1.05
    straight = staging_ratios(simulate_outlook(today(), ways, UNDER).staging)
    assert straight["connected"].tolist() == pytest.approx([1.0, 1.0, 1.0])


def test_ratios_are_of_the_mean_of_both_tails() -> None:
    rows = [
        (tail, 0.5, way, FIRST_YEARS, gain * factor)
        for tail, factor in ((Tail.FAT, 1), (Tail.THIN, 3))
        for way, gain in ((Installing.AT_ONCE, 0.03), (Installing.STAGED, 0.02), (Installing.CONNECTED, 0.025))
    ]
    columns = ["tail", "unmapped", "installing", "last_year", "gain"]
    told = staging_ratios(pd.DataFrame(rows, columns=columns))
    assert told.loc[0.5].tolist() == pytest.approx([1.5, 1.25])
    nothing = staging_ratios(pd.DataFrame(rows, columns=columns).assign(gain=0.0))
    assert nothing.isna().all(axis=None)


def test_the_same_seed_gives_the_same_simulations_and_equal_plans_differ_by_nothing(seen: Outlook) -> None:
    again = simulate_outlook(today(), strategies(4), UNDER)
    pd.testing.assert_frame_equal(seen.ranks, again.ranks)
    ways = strategies()
    twins = {Strategy.NONE: ways[Strategy.NONE], Strategy.PLAN: ways[Strategy.PLAN]}
    twin = simulate_outlook(today(), {**twins, Strategy.RANDOM: ways[Strategy.PLAN] * 2}, UNDER)
    same = twin.differences["other"] == Strategy.RANDOM
    assert (twin.differences.loc[same, "difference"] == 0).all()
    for tail in Tail:
        assert (standings(twin, tail)["standing"] == Standing.LEVEL).all()


def test_as_many_years_as_are_judged_and_uneven_numbers_of_simulations_are_enough() -> None:
    short = simulate_outlook(today(), strategies(), replace(UNDER, years=LAST_YEARS, simulations=20))
    assert short.by_year["year"].max() == LAST_YEARS
    assert short.simulations == 20
    by_share = short.differences.drop_duplicates("unmapped")["simulations"].tolist()
    assert by_share == [4, 4, 3, 3, 3, 3, 18]  # dealt in turn; all shares together take whole rounds


def test_the_interval_of_a_difference_is_the_paired_t_s() -> None:
    # differences 1..5: mean 3, standard error sqrt(2.5 / 5), and t with 4 degrees of freedom is 2.7764 at 97.5 %
    # (Student's table)
    years, none = np.ones((LAST_YEARS + 1, 1)), np.zeros((LAST_YEARS + 1, 5))
    lived = {Strategy.PLAN: Course(none, years * np.arange(1.0, 6.0)), Strategy.NONE: Course(none, none)}
    row = _differences(lived, Window.LAST).iloc[1]
    assert row["measure"] == Measure.PLACES
    assert (row["difference"], row["better_share"], row["worse_share"]) == (3.0, 1.0, 0.0)
    assert row["high"] - 3.0 == pytest.approx(2.7764 * np.sqrt(0.5), rel=2e-4)
    assert 3.0 - row["low"] == pytest.approx(2.7764 * np.sqrt(0.5), rel=2e-4)


def test_a_place_is_as_old_as_its_oldest_pool_and_a_tree_has_no_date() -> None:
    dates = pd.to_datetime(["2025-03-01", "2023-03-01", None, "2020-01-01"])
    area = SimpleNamespace(pools=pd.DataFrame({"set_out": dates}), as_of=datetime.date(2026, 3, 1))
    places = pd.DataFrame(
        {"kind": ["pool", "pool", "pool", "tree"], "index": [0, 1, 2, 3], "place": [0, 0, 1, 2]}, index=[5, 6, 7, 8]
    )
    years = _years_standing(area, places)  # type: ignore[arg-type]
    assert years[0] == pytest.approx(3.0, abs=0.01)
    assert np.isnan(years[1:]).all()


def test_other_rules_keep_the_ground_and_the_spacing() -> None:
    allowed = np.zeros((30, 40), dtype=bool)
    allowed[5:25, 5:35] = True
    score = np.random.default_rng(1).random((30, 40))
    standing = pd.DataFrame({"row": [10], "col": [10]})
    rules = other_plans(allowed, score, standing, 5, cell_m=10, spacing_m=60, random_plans=4)
    assert {name: len(sets) for name, sets in rules.items()} == {
        Strategy.RANDOM: 4,
        Strategy.EVEN: 1,
        Strategy.HIGHEST: 1,
    }
    for sites in (site for sets in rules.values() for site in sets):
        assert len(sites) == 5
        assert allowed[sites["row"], sites["col"]].all()
        apart = np.hypot(*(sites.to_numpy()[:, None] - sites.to_numpy()[None]).transpose(2, 0, 1)) * 10
        assert apart[np.triu_indices(5, 1)].min() >= 60
    first = rules[Strategy.HIGHEST][0].iloc[0]
    assert score[first["row"], first["col"]] == score[allowed].max()
    corner = rules[Strategy.EVEN][0].iloc[0]  # the corner farthest from the standing pool
    assert (corner["row"], corner["col"]) == (24, 34)


def test_ground_that_has_no_room_gets_fewer_pools() -> None:
    allowed = np.zeros((5, 5), dtype=bool)
    allowed[2, 2:4] = True
    nothing = pd.DataFrame({"row": [], "col": []})
    rules = other_plans(allowed, np.ones((5, 5)), nothing, 3, cell_m=10, spacing_m=50, random_plans=1)
    assert [len(sets[0]) for sets in rules.values()] == [1, 1, 1]
    none = other_plans(np.zeros((5, 5), bool), np.ones((5, 5)), nothing, 3, cell_m=10, spacing_m=50, random_plans=1)
    assert [len(sets[0]) for sets in none.values()] == [0, 0, 0]


def test_blocks_of_ground_keep_all_forage_and_its_centre() -> None:
    w = np.random.default_rng(2).random((50, 60))
    w[:10] = np.nan
    x, y = np.arange(60) * 10.0, np.arange(50)[::-1] * 10.0
    ground = ground_points(w, x, y, most=100)
    assert len(ground) <= 150
    assert ground["w"].sum() == pytest.approx(np.nansum(w))
    assert (ground["w"] * ground["x"]).sum() == pytest.approx(np.nansum(w * x[None, :]))
    assert (ground["w"] * ground["y"]).sum() == pytest.approx(np.nansum(w * y[:, None]))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"today": replace(today(), probabilities=np.array([[0.5]]))}, "shape"),
        ({"strategies": {}}, "the plan"),
        ({"under": replace(UNDER, years=2)}, "years"),
        ({"under": replace(UNDER, simulations=11)}, "simulations"),
    ],
)
def test_what_does_not_fit_gets_a_sentence(change: dict[str, object], word: str) -> None:
    case = {"today": today(), "strategies": strategies(), "under": UNDER}
    with pytest.raises(InputError, match=word):
        simulate_outlook(**{**case, **change})  # type: ignore[arg-type]


def test_without_forage_nothing_can_be_compared() -> None:
    with pytest.raises(NothingToCompareError) as refused:
        simulate_outlook(today(w=0.0), strategies(), UNDER)
    assert refused.value.why is NothingToCompare.NO_FORAGE


def test_where_nothing_is_mapped_flies_come_from_elsewhere_or_not_at_all() -> None:
    """The first pools of a town: in the long run a usual one is occupied as often as the survey expects of a new one,
    0.5, so that two of them gain as much whatever the share."""
    none = KnownPlaces.of(pd.DataFrame(columns=["x", "y", "access", "p", "pools"], dtype=float), np.empty(0))
    seen = simulate_outlook(replace(today(), known=none, probabilities=np.empty((1, 0))), strategies(), UNDER)
    first, *others = gains(seen, Tail.THIN, Window.LAST)[Strategy.PLAN]
    assert first == 0.0
    assert others == pytest.approx([others[0]] * 5)
    courses = seen.by_year.set_index(["tail", "strategy", "year", "unmapped"])["occupied_places"]
    assert courses[Tail.THIN, Strategy.PLAN, 20, 0.9] == pytest.approx(2 * 0.5, abs=0.3)
