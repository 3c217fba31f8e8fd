"""What a season taught stays known, and a figure says what it is of: cases that went wrong over two seasons."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.read.settings import SeasonSettings, settings_from
from habitatmap.survey import PoolOccupancy, estimate_pools
from habitatmap.survey.closure import p_of
from habitatmap.survey.codes import ClosureVerdict, Irregular, Lacking, LeftOut, PoolBasis, SurveyWarning
from habitatmap.survey.figures import WIDEST
from habitatmap.survey.probabilities import MOST_WIDENED, Inference
from habitatmap.survey.searches import count_searches
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.window import Window
from tests.survey.tools import MODEL

Rows = list[tuple[str, str, str]]


def pools_of(count: int) -> pd.DataFrame:
    nothing = pd.Series(pd.NaT, index=range(count), dtype="datetime64[ns]")
    return pd.DataFrame({"pool": [f"made up {i:02d}" for i in range(count)], "set_out": nothing, "removed": nothing})


def frame(rows: Rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["pool", "date", "outcome"]).assign(date=lambda v: pd.to_datetime(v["date"]))


def season(count: int, year: int, searches: int, seed: int = 3, psi: float = 0.75, p: float = 0.5) -> Rows:
    """The first `count` pools of a town in which so many of all are occupied: each searched so often from May on."""
    rows: Rows = []
    for i in range(count):
        occupied = np.random.default_rng([seed, i]).random() < psi
        rng = np.random.default_rng([seed, i, year])
        for day in pd.date_range(f"{year}-05-10", periods=searches, freq="14D"):
            found = occupied and rng.random() < p
            rows.append((f"made up {i:02d}", str(day.date()), "larvae" if found else "none seen"))
    return rows


def told(count: int, rows: Rows, as_of: str, **how: Any) -> PoolOccupancy:
    return estimate_pools(pools_of(count), frame(rows), as_of, MODEL, how=Inference(**how))


SPRING: Rows = [(f"made up {i:02d}", "2026-04-12", "none seen") for i in range(5)]


def test_a_few_spring_visits_erase_nothing() -> None:
    rows = season(24, 2025, 8)
    before, after = told(24, rows, "2026-04-30"), told(24, rows + SPRING, "2026-04-30")
    assert after.figures.season == 2025
    assert after.figures.seasons == (2025, 2026)
    assert after.figures.running is not None
    assert (after.figures.running.season, after.figures.running.searches) == (2026, 5)
    assert before.figures.low < after.figures.estimate < before.figures.high
    assert after.figures.estimate == pytest.approx(before.figures.estimate, abs=0.05)
    assert after.figures.high - after.figures.low < 0.4
    change = (after.pools["occupancy"] - before.pools["occupancy"]).to_numpy()
    assert abs(change[5:]).max() < 0.12  # nobody was there; that five of five were empty tells of the others too
    seen = before.pools["detections"].to_numpy() > 0
    assert (change[:5][seen[:5]] < -0.05).all()  # somebody was, and saw none
    assert after.pools["occupancy"].nunique() > 3
    assert after.pools.loc[5:, "occupancy"][seen[5:]].min() > after.pools.loc[5:, "occupancy"][~seen[5:]].max() + 0.2


def test_a_winter_day_is_of_the_season_before() -> None:
    rows = season(24, 2025, 8)
    autumn, winter, spring = (told(24, rows, day) for day in ("2025-10-15", "2026-02-20", "2026-03-01"))
    pd.testing.assert_frame_equal(autumn.pools, winter.pools)
    seen = winter.pools["detections"] > 0
    assert (winter.pools.loc[seen, "occupancy"] == 1).all()
    assert set(winter.pools.loc[seen, "basis"]) == {PoolBasis.DETECTED}
    # from March on eggs may be laid: pools may have been colonised or lost, by the expert value alone
    # (drawn at random: another version of the library gave 0.693 where this one's before gave more than 0.7)
    assert spring.pools.loc[seen, "occupancy"].between(0.65, 0.9).all()
    assert set(spring.pools.loc[seen, "basis"]) == {PoolBasis.DETECTED_BEFORE}
    assert spring.figures.estimate == autumn.figures.estimate


def test_two_seasons_tell_more_than_one() -> None:
    rows = season(30, 2024, 3, p=0.35) + season(30, 2025, 3, p=0.35)
    one, two = told(30, rows[90:], "2025-12-01"), told(30, rows, "2025-12-01")
    assert two.figures.method is Method.SEASONS
    assert two.figures.high - two.figures.low < one.figures.high - one.figures.low
    blank = (one.pools["detections"] == 0) & (two.pools["detections"] > 0)
    assert blank.any()
    assert (two.pools.loc[blank, "occupancy"] > one.pools.loc[blank, "occupancy"]).all()  # larvae the year before
    assert set(two.pools.loc[blank, "basis"]) == {PoolBasis.DETECTED_BEFORE}
    assert two.pools.loc[blank, "last_seen"].unique().tolist() == [2024.0]
    assert two.pools.loc[blank, "since"].unique().tolist() == [3]


def test_two_seasons_of_twenty_pools_are_enough() -> None:
    got = told(20, season(20, 2024, 2) + season(20, 2025, 2), "2025-12-01").figures
    assert got.method is Method.SEASONS
    assert got.known
    assert [round(e.value, 9) for e in got.together][-1] == round(got.estimate, 9)


def test_a_year_without_searches_is_two_steps() -> None:
    early = season(30, 2023, 4)
    one, two = (told(30, early + season(3, year, 2), f"{year}-12-01") for year in (2024, 2025))
    seen = (one.pools["detections"] > 0) & (one.pools["pool"] > "made up 02")
    assert (two.pools.loc[seen, "occupancy"] < one.pools.loc[seen, "occupancy"] - 0.02).all()


def test_a_list_of_detections_only_estimates_nothing() -> None:
    rows = [(pool, date, "larvae") for pool, date, _ in season(40, 2026, 8) + season(40, 2025, 8)]
    got = told(40, rows, "2026-12-01")
    assert got.figures.method is Method.NOT_ESTIMABLE
    assert got.figures.why[0].code is Irregular.DETECTIONS_ONLY
    assert np.isnan([got.figures.estimate, got.figures.low, got.figures.high, got.figures.here.occupied]).all()
    assert got.new.method is Method.EXPERT
    assert got.new.value == pytest.approx(told(40, [], "2026-12-01").new.value, abs=0.05)
    assert (got.pools["occupancy"] == 1).all()  # larvae were seen in each of them
    assert [w.code for w in got.warnings] == [SurveyWarning.DETECTIONS_ONLY]
    assert got.non_detections.empty


def test_a_season_of_detections_only_tells_of_its_pools_alone() -> None:
    rows = season(30, 2025, 4)
    finds: Rows = [(f"made up {i:02d}", "2026-06-01", "larvae") for i in range(12)]
    plain, got = told(30, rows, "2026-12-01"), told(30, rows + finds, "2026-12-01")
    assert got.figures.season == 2025
    assert got.figures.estimate == plain.figures.estimate
    assert (got.pools.loc[:11, "occupancy"] == 1).all()
    np.testing.assert_allclose(got.pools.loc[12:, "occupancy"], plain.pools.loc[12:, "occupancy"], atol=0.02)


def test_rows_that_differ_only_in_taxon_are_one_search() -> None:
    """A list of taxa: one visit, three names, one of them counted twice by two people, and two names not seen."""
    rows = [
        ("made up 00", "2026-05-01", "larvae", 3, "Eristalis", "yes"),
        ("made up 00", "2026-05-01", "larvae", 1, "Helophilus", "no"),
        ("made up 00", "2026-05-01", "larvae", np.nan, "Myathropa", ""),
        ("made up 00", "2026-05-01", "larvae", 9, "Eristalis", "no"),
        ("made up 00", "2026-05-01", "none seen", 0, "Mallota", ""),
        ("made up 01", "2026-05-01", "none seen", 0, "Eristalis", ""),
        ("made up 01", "2026-05-01", "none seen", 0, "Mallota", ""),
        ("made up 01", "2026-05-01", "none seen", np.nan, "", ""),  # without a name: a search of its own
    ]
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome", "larvae", "taxon", "checked"])
    for mixed in (visits, visits[::-1].reset_index(drop=True)):
        seen = count_searches(mixed, pools_of(2), "2026-12-01")
        assert (seen.searches.tolist(), seen.detections.tolist()) == ([2, 2], [2, 0])
        assert seen.left_out[LeftOut.SAME_SEARCH] == 4
        assert sum(seen.left_out.values()) + seen.searches.sum() == len(rows)
        named = count_searches(mixed, pools_of(2), "2026-12-01", "eristalis")
        assert (named.searches.tolist(), named.detections.tolist()) == ([1, 2], [1, 0])
    apart = count_searches(visits.assign(observer=list("abcdefgh")), pools_of(2), "2026-12-01")
    assert apart.searches.tolist() == [5, 3]


def test_twenty_gardens_are_no_cliff() -> None:
    every = [told(count, season(count, 2026, 5), "2026-12-01").figures for count in (18, 19, 20, 21)]
    assert all(figures.known for figures in every)
    for a, b in pairwise(every):
        assert abs(b.estimate - a.estimate) < 0.06
        assert abs((b.high - b.low) - (a.high - a.low)) < 0.06


def test_the_width_of_the_interval_decides() -> None:
    few = told(5, season(5, 2026, 2, p=0.35), "2026-12-01").figures
    assert few.method is Method.TOO_FEW
    why = few.why[0]
    assert why.code is Lacking.WIDTH
    assert why.values["high"] - why.values["low"] > WIDEST
    # what it says would do does
    pools, searches = why.values["pools"], why.values["searches"]
    more = [told(pools, season(pools, 2026, searches, seed, p=0.35), "2026-12-01").figures for seed in range(4)]
    assert sum(figures.known for figures in more) >= 3


def test_these_very_pools_and_such_a_pool_are_two_things() -> None:
    got = told(23, season(23, 2026, 3, seed=8, psi=0.8, p=0.5), "2026-12-01")
    here, figures = got.figures.here, got.figures
    assert (here.pools, here.seen) == (23, int((got.pools["detections"] > 0).sum()))
    assert here.occupied == pytest.approx(got.pools["occupancy"].sum(), abs=0.05)
    assert here.seen <= here.low <= here.occupied <= here.high <= here.pools
    assert (here.high - here.low) / here.pools < figures.high - figures.low  # what was seen is certain
    gone = pools_of(23).assign(removed=pd.to_datetime(["2026-11-01"] * 5 + [None] * 18))
    left = estimate_pools(gone, frame(season(23, 2026, 3, seed=8, psi=0.8)), "2026-12-01", MODEL)
    assert left.figures.here.pools == 18
    assert left.figures.pools_visited == 23


def test_one_table_of_what_a_non_detection_means() -> None:
    got = told(24, season(24, 2026, 4, p=0.35), "2026-12-01")
    table = got.non_detections.set_index("non_detections")
    blank = got.pools[got.pools["detections"] == 0]
    assert len(blank) > 2
    np.testing.assert_allclose(blank["occupancy"], table["probability"][blank["visits"]], atol=1e-12)
    np.testing.assert_allclose(blank["occupancy_low"], table["low"][blank["visits"]], atol=1e-12)
    assert table["probability"].is_monotonic_decreasing
    assert got.new.value == pytest.approx(table["probability"][0], abs=1e-12)


def test_a_misfit_widens_every_interval() -> None:
    """Half the searches only repeat the one before: they are not independent."""
    rng = np.random.default_rng(4)
    occupied = rng.random(60) < 0.6
    found = occupied[:, None] & (rng.random((60, 3)) < 0.4)
    rows = [
        (f"made up {i:02d}", f"2026-{month:02d}-{day:02d}", "larvae" if found[i, k] else "none seen")
        for i in range(60)
        for k, month in enumerate((5, 6, 7))
        for day in (1, 15)
    ]
    plain, got = told(60, rows, "2026-12-01", surveys=0), told(60, rows, "2026-12-01")
    assert got.goodness.fits is False
    assert got.figures.overdispersion > 1.2
    assert got.figures.estimate == plain.figures.estimate
    assert got.figures.low < plain.figures.low
    assert got.figures.high > plain.figures.high
    assert got.figures.se == pytest.approx(plain.figures.se * got.figures.overdispersion**0.5)
    assert (got.draws.std(axis=0).max()) > plain.draws.std(axis=0).max()
    assert SurveyWarning.MISFIT in [w.code for w in got.warnings]


def test_one_rare_history_does_not_take_all_that_is_known() -> None:
    """A pool with larvae at each of 14 searches among pools where one search in six found them."""
    rows = season(90, 2026, 14, psi=0.7, p=0.15)
    days = pd.date_range("2026-05-10", periods=14, freq="14D")
    got = told(91, rows + [("made up 90", str(day.date()), "larvae") for day in days], "2026-12-31")
    assert got.goodness.overdispersion > 100
    assert got.figures.overdispersion == MOST_WIDENED
    assert got.figures.known


def arrivals(count: int, seed: int = 5) -> Rows:
    """A town whose pools are colonised in the middle of June: searched four times before and four times after."""
    rng = np.random.default_rng(seed)
    rows: Rows = []
    for i in range(count):
        late, early = rng.random() < 0.6, rng.random() < 0.3
        for month, occupied in ((4, early), (5, early), (7, late), (8, late)):
            for day in (3, 20):
                found = occupied and rng.random() < 0.7
                rows.append((f"made up {i:02d}", f"2026-{month:02d}-{day:02d}", "larvae" if found else "none seen"))
    return rows


def test_a_season_that_is_not_closed_is_narrowed_to_its_fuller_part() -> None:
    rows = arrivals(40)
    got = told(40, rows, "2026-12-01")
    closure = got.figures.closure
    assert (closure.verdict, closure.stated, closure.narrowed) == (ClosureVerdict.FAILS, False, True)
    assert closure.p_value < 0.01
    assert closure.split is not None
    assert (5, 20) < closure.split <= (7, 3)
    assert got.figures.left_out[LeftOut.NOT_CLOSED] == 160
    assert got.figures.searches == 160
    assert SurveyWarning.NARROWED in [w.code for w in got.warnings]


def test_where_larvae_leave_the_early_part_counts() -> None:
    """The same town with its dates turned round: what was late is early."""
    turned = {"04": "08", "05": "07", "07": "05", "08": "04"}
    rows = [(pool, f"2026-{turned[date[5:7]]}-{date[8:]}", outcome) for pool, date, outcome in arrivals(40)]
    closure = told(40, rows, "2026-12-01").figures.closure
    assert closure.narrowed
    assert closure.within.first == (1, 1)
    assert (5, 20) <= closure.within.last < (7, 3)


def test_the_p_value_is_that_of_the_mixture() -> None:
    """Tables of chi-squared (from memory): 5 % above 3.841 with one degree of freedom, above 5.991 with two."""
    assert p_of(3.841) == pytest.approx(0.05 / 2 + np.exp(-3.841 / 2) / 4, abs=1e-5)
    assert p_of(5.991) == pytest.approx(0.01438 / 2 + 0.05 / 4, abs=1e-5)
    assert p_of(0.0) == 1


def test_a_pool_begins_in_the_season_in_which_it_was_set_out() -> None:
    rows = season(24, 2024, 3, psi=1.0) + season(24, 2025, 3, psi=0.0)  # larvae in all of them, then in none
    pools = pools_of(25)
    old, new = (pools.assign(set_out=[*[pd.NaT] * 24, pd.Timestamp(day)]) for day in ("2020-05-01", "2025-05-01"))
    there, fresh = (estimate_pools(p, frame(rows), "2025-12-01", MODEL).pools["occupancy"][24] for p in (old, new))
    assert fresh > there + 0.3  # it was not there to lose its larvae


def test_a_season_is_that_of_old_and_new_pools() -> None:
    """24 pools lost their larvae, 24 new ones have some: half of the pools searched are occupied."""
    old = season(24, 2024, 4, psi=1.0, p=0.7) + season(24, 2025, 4, psi=0.0)
    new = [(f"new {pool}", date, outcome) for pool, date, outcome in season(24, 2025, 4, psi=1.0, p=0.7)]
    both = pd.concat([pools_of(24), pools_of(24).assign(pool=lambda v: "new " + v["pool"])], ignore_index=True)
    both["set_out"] = [*[pd.Timestamp("2024-03-01")] * 24, *[pd.Timestamp("2025-03-01")] * 24]
    got = estimate_pools(both, frame(old + new), "2025-12-01", MODEL, how=Inference(surveys=0)).figures
    assert got.season == 2025
    assert 0.4 < got.estimate < 0.7
    assert got.here.seen == got.here.low == got.here.high == 24


def test_without_an_estimate_the_season_with_most_searches_is_told() -> None:
    rows = season(4, 2024, 3, p=0.3)
    late: Rows = [("made up 00", "2025-05-01", "larvae"), ("made up 00", "2025-06-01", "none seen")]
    assert not told(4, rows + late, "2025-12-01").figures.known
    assert told(4, rows + late, "2025-12-01").figures.season == 2024
    assert told(4, rows + season(4, 2025, 2, p=0.3), "2025-12-01").figures.season == 2025  # more than half as many


def test_a_stated_window_is_kept_and_tested() -> None:
    rows = arrivals(40)
    late, whole = Window.read("06-15..09-30"), Window.read("04-01..09-30")
    kept = told(40, rows, "2026-12-01", closed=late)
    assert kept.figures.closure.verdict is ClosureVerdict.HOLDS
    assert kept.figures.searches == 160
    failed = told(40, rows, "2026-12-01", closed=whole)
    assert (failed.figures.closure.verdict, failed.figures.closure.narrowed) == (ClosureVerdict.FAILS, False)
    assert failed.figures.searches == 320
    assert SurveyWarning.NOT_CLOSED in [w.code for w in failed.warnings]


def test_a_closed_season_is_found_closed() -> None:
    assert told(40, season(40, 2026, 6), "2026-12-01").figures.closure.verdict is ClosureVerdict.HOLDS
    assert told(4, season(4, 2026, 6), "2026-12-01").figures.closure.verdict is ClosureVerdict.NOT_TESTED


def test_a_window_over_new_year_is_one_season() -> None:
    rows: Rows = [("made up 00", day, "larvae") for day in ("2025-11-02", "2026-02-14", "2026-04-30", "2026-10-01")]
    winter = Window.read("09-01..04-30")
    seen = count_searches(
        frame([*rows, ("made up 00", "2026-07-01", "none seen")]), pools_of(1), "2026-12-01", closed=winter
    )
    assert (seen.season, seen.searches.tolist(), seen.left_out[LeftOut.NOT_CLOSED]) == (2026, [1], 1)
    assert seen.left_out[LeftOut.EARLIER_SEASON] == 3  # November to April, all of the season that began in 2025


def test_the_window_is_read_from_area_toml() -> None:
    assert settings_from({"season": {"closed": "05-15..08-15"}}).season.closed == Window((5, 15), (8, 15))
    assert SeasonSettings().closed is None
    for wrong in ("05-15", "15-05..08-15", "02-30..08-15", 5):
        with pytest.raises(InputError, match=r"season\.closed is .*; expected a first and a last day"):
            settings_from({"season": {"closed": wrong}})


def test_more_searches_without_larvae_never_raise_a_probability() -> None:
    rows = season(24, 2025, 4)
    last = told(24, rows, "2026-12-01").pools["occupancy"][0]
    for more in range(1, 4):
        extra = [("made up 00", f"2026-06-{day:02d}", "none seen") for day in range(1, 1 + more)]
        now = told(24, rows + extra, "2026-12-01").pools["occupancy"][0]
        assert now < last + 0.005
        last = now


def test_the_order_of_rows_changes_nothing_over_seasons() -> None:
    rows = season(24, 2024, 3) + season(20, 2025, 3) + SPRING
    plain = told(24, rows, "2026-06-01")
    mixed = estimate_pools(pools_of(24)[::-1].reset_index(drop=True), frame(rows[::-1]), "2026-06-01", MODEL)
    pd.testing.assert_frame_equal(mixed.pools[::-1].reset_index(drop=True), plain.pools)
    assert replace(mixed.figures, here=plain.figures.here) == plain.figures
