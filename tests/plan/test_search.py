"""The plan against the slow, obvious one."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.plan import choose, gain_map, search, upper_bound
from habitatmap.plan.problem import Problem, Quota
from habitatmap.plan.reach import forage_in_reach, not_reached
from habitatmap.plan.search import Shortfall
from tests.plan import slow

NONE = pd.DataFrame({"row": [], "col": [], "p": []})


def cells(frame: pd.DataFrame) -> list[tuple[int, int]]:
    return list(zip(frame["row"].tolist(), frame["col"].tolist(), strict=True))


@pytest.mark.parametrize("seed", range(40))
def test_greedy_equals_the_slow_one_cell_by_cell(seed):
    a = slow.area(seed, most=11)
    w, p = a["demand"], a["candidates"]
    picks = slow.greedy(w, a["places"], p, 5, a["cell_m"], a["median_m"], a["spacing_m"])
    selection = choose(**a, pools=5, exchange=False)
    assert cells(selection.frame) == [(i, j) for i, j, _ in picks]
    assert selection.frame["gain"].to_numpy() == pytest.approx(np.array([g for _, _, g in picks]), rel=1e-7)


@pytest.mark.parametrize("seed", range(40))
def test_the_exchanged_set_comes_near_the_best_of_all(seed):
    a = slow.area(seed, most=6)
    best = slow.best_of_all(a["demand"], a["places"], a["candidates"], 3, a["cell_m"], a["median_m"], a["spacing_m"])
    selection = choose(**a, pools=3)
    assert 0.995 * best <= selection.best_with_plan - selection.now <= best + 1e-9


@pytest.mark.parametrize("seed", range(12))
def test_cumulative_equals_a_rerun_with_the_pools_added(seed):
    a = slow.area(seed, most=14)
    selection = choose(**a, pools=6)
    for frame in [selection.frame] if selection.exchanged is None else [selection.frame, selection.exchanged]:
        for n, cumulative in enumerate(frame["cumulative"], 1):
            more = pd.concat([a["places"], frame[["row", "col", "p"]].head(n)])
            R = not_reached(a["demand"].shape, more, cell_m=a["cell_m"], median_m=a["median_m"])
            assert cumulative == pytest.approx(forage_in_reach(a["demand"], R), abs=1e-9)


def test_ties_go_to_the_lowest_row_and_column():
    selection = choose(np.ones((9, 9)), NONE, np.full((9, 9), 0.5), 1, cell_m=10.0, median_m=20.0)
    assert cells(selection.frame) == [(4, 4)]
    two = np.zeros((3, 9))
    two[1, 1] = two[1, 7] = 1.0  # nothing between them reaches as far as the best
    selection = choose(two, NONE, np.full((3, 9), 0.5), 2, cell_m=10.0, median_m=8.0, exchange=False)
    assert cells(selection.frame) == [(1, 1), (1, 7)]


def test_a_plateau_of_ties_is_taken_from_its_first_cell():
    # even forage: all cells that see their whole kernel are ties, thousands of them
    p = np.full((80, 80), 0.5)
    selection = choose(np.ones((80, 80)), NONE, p, 3, cell_m=10.0, median_m=4.0, exchange=False)
    assert cells(selection.frame)[0] == min((i, j) for i in range(80) for j in range(80) if 3 <= i < 77 and 3 <= j < 77)


def test_spacing_is_inclusive():
    w = np.zeros((1, 7))
    w[0, 2:5] = 1.0
    probabilities = np.full((1, 7), 0.5)
    at_20 = choose(w, NONE, probabilities, 3, cell_m=10.0, median_m=15.0, spacing_m=20.0)
    assert sorted(np.diff(sorted(at_20.frame["col"]))) == [2, 2]
    just_over = choose(w, NONE, probabilities, 3, cell_m=10.0, median_m=15.0, spacing_m=20.001)
    assert min(np.diff(sorted(just_over.frame["col"]))) == 3


def test_standing_pools_keep_their_distance():
    taken = pd.DataFrame({"row": [0, -1], "col": [3, 6]})
    selection = choose(
        np.ones((1, 7)), NONE, np.full((1, 7), 0.5), 7, cell_m=10.0, median_m=15.0, spacing_m=20.0, taken=taken
    )
    assert set(selection.frame["col"]) <= {0, 1, 5}


def test_no_unit_gets_more_than_its_quota():
    rng = np.random.default_rng(8)
    w, unit = rng.random((12, 12)), np.repeat(np.arange(-1, 5), 2)[None, :].repeat(12, axis=0)
    rules = {"cell_m": 10.0, "median_m": 15.0}
    selection = choose(w, NONE, np.full((12, 12), 0.5), 20, quotas=[Quota(unit, np.array([2, 1, 2, 0, 3]))], **rules)
    for frame in (selection.frame, selection.best):
        got = unit[frame["row"], frame["col"]]
        assert (np.bincount(got[got >= 0], minlength=5) <= [2, 1, 2, 0, 3]).all()
        assert len(frame) == 20
    nowhere = choose(w, NONE, np.full((12, 12), 0.5), 4, quotas=[Quota(unit, np.zeros(5, np.int64))], **rules)
    assert (unit[nowhere.frame["row"], nowhere.frame["col"]] == -1).all()


def test_two_quotas_hold_together():
    rng = np.random.default_rng(9)
    w, p = rng.random((12, 12)), np.full((12, 12), 0.5)
    across, down = np.arange(144).reshape(12, 12) % 12 // 6, np.arange(144).reshape(12, 12) // 72
    quotas = [Quota(across, np.array([3, 9])), Quota(down, np.array([9, 2]))]
    frame = choose(w, NONE, p, 9, cell_m=10.0, median_m=15.0, quotas=quotas).best
    assert (across[frame["row"], frame["col"]] == 0).sum() <= 3
    assert (down[frame["row"], frame["col"]] == 1).sum() <= 2
    assert len(frame) == 9


@pytest.mark.parametrize("seed", range(6))
def test_kept_sites_come_first_and_the_rest_is_the_plan_around_them(seed):
    a = slow.area(500 + seed, most=9)
    shape = a["demand"].shape
    kept = pd.DataFrame({"row": [0, shape[0] - 1], "col": [1, 0], "p": [0.7, 0.3]})
    selection = choose(**a, pools=4, kept=kept)
    first = selection.frame.head(2)
    assert first["kept"].all()
    assert not selection.frame["kept"][2:].any()
    assert set(zip(first["row"], first["col"], first["p"], strict=True)) == {(0, 1, 0.7), (shape[0] - 1, 0, 0.3)}
    around = {**a, "places": pd.concat([a["places"], kept])}
    alone = choose(**around, pools=2, taken=kept)
    assert alone.frame[["row", "col"]].to_numpy().tolist() == selection.frame[["row", "col"]][2:].to_numpy().tolist()
    assert alone.with_plan == pytest.approx(selection.with_plan, abs=1e-12)
    assert alone.best_with_plan == pytest.approx(selection.best_with_plan, abs=1e-12)
    for frame in (selection.frame, selection.best):
        assert frame["cumulative"].to_numpy() == pytest.approx(
            selection.now + frame["gain"].cumsum().to_numpy(), abs=1e-14
        )
    bound, same = upper_bound(**a, pools=4, kept=kept), upper_bound(**around, pools=2, taken=kept)
    assert bound.value == pytest.approx(same.value, abs=1e-12)
    assert bound.now == pytest.approx(selection.now, abs=1e-12)
    assert selection.best_with_plan <= bound.value + 1e-12


def best_for_money(a: dict, cost: np.ndarray, budget: float) -> float:
    """The largest gain (share) of any set within the budget, by trying them all; no spacing."""
    w = np.nan_to_num(a["demand"])
    cells = [(i, j) for i, j in np.argwhere(~np.isnan(a["candidates"])).tolist()]
    fails = [1 - a["candidates"][c] * slow.weight(*c, w.shape, 10.0, a["median_m"]) for c in cells]
    left, best = w * slow.missed(w.shape, a["places"], 10.0, a["median_m"]), 0.0
    for size in range(1, 5):
        for chosen in itertools.combinations(range(len(cells)), size):
            if sum(cost[cells[c]] for c in chosen) <= budget + 1e-9:
                best = max(best, float((left * (1 - np.prod([fails[c] for c in chosen], axis=0))).sum()))
    return best / w.sum()


@pytest.mark.parametrize("seed", range(8))
def test_a_budget_is_kept_and_bounded(seed):
    a = {**slow.area(600 + seed, most=6), "spacing_m": 0.0}
    cost = np.random.default_rng(seed).choice([1.0, 1.5, 3.0], a["demand"].shape)
    selection = choose(**a, pools=4, cost=cost, budget=4.0)
    for frame in (selection.frame, selection.best):
        assert cost[frame["row"], frame["col"]].sum() <= 4.0 + 1e-9
        assert (np.diff(frame["gain"]) <= 0).all()
    true, bound = best_for_money(a, cost, 4.0), upper_bound(**a, pools=4, cost=cost, budget=4.0)
    gain = selection.best_with_plan - selection.now
    assert 0.9 * true <= gain <= true + 1e-12 <= bound.value - bound.now + 2e-12
    assert bound.value - bound.now <= 1.6 * true


def test_money_for_one_large_site_is_not_spent_on_trifles():
    # the left cell gives a little for next to nothing, the right one nearly all; greedy by gain for cost takes the left
    w, cost = np.array([[0.02, 0.0, 0.0, 0.0, 1.0]]), np.array([[0.01, 1.0, 1.0, 1.0, 1.0]])
    selection = choose(
        w, NONE, np.array([[0.5, *[np.nan] * 3, 0.5]]), 5, cell_m=100.0, median_m=1.0, cost=cost, budget=1.0
    )
    assert selection.frame["col"].tolist() == [4]
    assert selection.shortfall is Shortfall.BUDGET_SPENT


def test_one_cost_for_all_is_a_number_of_pools():
    a = slow.area(7, most=9)
    by_money, by_number = choose(**a, pools=9, cost=80.0, budget=250.0), choose(**a, pools=3)
    pd.testing.assert_frame_equal(by_money.frame, by_number.frame)
    assert by_money.shortfall is Shortfall.BUDGET_SPENT


def test_certain_pools_can_be_moved_back_and_forth():
    # p = 1 makes R exactly 0 at a site: taking it away again must bring the forage back
    rng = np.random.default_rng(2)
    w = rng.random((20, 20))
    gains = gain_map.GainMap(Problem.of(w, NONE, np.ones((20, 20)), cell_m=10.0, median_m=60.0, spacing_m=30.0))
    before, first = gains.missed.copy(), gains.C.copy()
    picks = gains.greedy(4)
    assert len(picks) == 4
    for pick in (picks[2], picks[0], picks[3], picks[1]):
        gains.remove(pick)
    assert (gains.missed == before).all()
    assert pytest.approx(first, abs=1e-12) == gains.C
    assert (gains.cells.blocked == 0).all()


def test_a_site_put_back_where_it_was_takes_no_new_transform(monkeypatch):
    w = np.random.default_rng(8).random((60, 50))
    gains = gain_map.GainMap(Problem.of(w, NONE, np.full(w.shape, 0.7), cell_m=10.0, median_m=60.0, spacing_m=30.0))
    first, second = gains.greedy(2)
    missed, c, blocked = gains.missed.copy(), gains.C.copy(), gains.cells.blocked.copy()
    gains.remove(first)
    with monkeypatch.context() as patch:
        patch.setattr(gain_map.GainMap, "_gained", pytest.fail)
        gains.add(first)
    assert (gains.missed == missed).all()
    assert (gains.cells.blocked == blocked).all()
    assert pytest.approx(c, abs=gains.error) == gains.C
    # something else came between: the place of the first is not as it was
    gains.remove(first)
    gains.remove(second)
    gains.add(first)
    anew = gain_map.GainMap(Problem.of(w, NONE, np.full(w.shape, 0.7), cell_m=10.0, median_m=60.0, spacing_m=30.0))
    anew.add(first)
    assert (gains.missed == anew.missed).all()
    assert pytest.approx(anew.C, abs=1e-12) == gains.C


@pytest.mark.parametrize("cost", [None, "differs"])
def test_a_cleared_map_is_as_it_was(cost):
    rng = np.random.default_rng(6)
    shape, rules = (70, 60), {"cell_m": 10.0, "median_m": 60.0, "spacing_m": 30.0}
    rules |= {} if cost is None else {"cost": rng.uniform(1, 3, shape), "budget": 9.0}
    unit = np.kron(np.arange(6).reshape(2, 3), np.ones((35, 20))).astype(np.int64)
    rules["quotas"] = (Quota(unit, np.ones(6, np.int64)),)
    gains = gain_map.GainMap(Problem.of(rng.random(shape), NONE, np.full(shape, 0.7), **rules))
    names = ("missed", "C", "best_of", "gain_rate")
    before = {name: getattr(gains, name).copy() for name in names}
    blocked, least = gains.cells.blocked.copy(), gains.cells.budget_left
    picks = gains.greedy(4)
    gains.by_gain()
    assert (before["C"] != gains.C).any()
    gains.clear()
    for name in names:
        assert np.array_equal(getattr(gains, name), before[name]), name
    assert np.array_equal(gains.cells.blocked, blocked)
    assert gains.cells.budget_left == pytest.approx(least)
    assert (gains.sites, gains.fresh) == ([], True)
    assert gains.greedy(4) == picks


@pytest.mark.parametrize("spacing_m", [30.0, 1500.0])
def test_the_best_of_each_block_is_kept_up_to_date(spacing_m):
    # a pool changes gains within two kernel radii (2 x 18 cells), and closes cells within the spacing (90 cells)
    w = np.random.default_rng(6).random((200, 260))
    gains = gain_map.GainMap(
        Problem.of(w, NONE, np.full(w.shape, 0.5), cell_m=10.0, median_m=30.0, spacing_m=spacing_m)
    )
    for pick in gains.greedy(3):
        gains.remove(pick)
        kept = gains.best_of.copy()
        gains.refresh(0, 200, 0, 260)
        assert (kept == gains.best_of).all()
        gains.add(pick)
        kept = gains.best_of.copy()
        gains.refresh(0, 200, 0, 260)
        assert (kept == gains.best_of).all()


def test_interchange_ends_where_no_single_move_helps(monkeypatch):
    monkeypatch.setattr(search, "solve", lambda *_: None)
    for seed in (1, 4, 7, 10, 13):
        a = slow.area(seed, most=9)
        selection = choose(**a, pools=3)
        sites = selection.best
        for n in range(len(sites)):
            others = pd.concat([a["places"], sites.drop(index=n)[["row", "col", "p"]]])
            one = choose(**{**a, "places": others}, pools=1, taken=sites.drop(index=n), exchange=False)
            assert one.with_plan <= selection.best_with_plan * (1 + 1e-8)


def test_nothing_to_choose_from():
    selection = choose(np.ones((4, 4)), NONE, np.full((4, 4), np.nan), 3, cell_m=10.0, median_m=50.0)
    assert (len(selection.frame), selection.now, selection.with_plan, selection.exchanged) == (0, 0.0, 0.0, None)
    assert selection.shortfall is Shortfall.NONE_LEFT


def test_nothing_to_reach():
    for demand in (np.zeros((4, 4)), np.full((4, 4), np.nan)):
        selection = choose(demand, NONE, np.full((4, 4), 0.5), 3, cell_m=10.0, median_m=50.0)
        assert len(selection.frame) == 0
        assert np.isnan(selection.now)
        assert selection.shortfall is Shortfall.NOTHING_TO_GAIN


def test_more_pools_than_fit():
    selection = choose(np.ones((3, 3)), NONE, np.full((3, 3), 0.5), 9, cell_m=10.0, median_m=50.0, spacing_m=20.0)
    assert 1 <= len(selection.frame) <= 4
    assert selection.shortfall is Shortfall.NONE_LEFT


def test_none_asked_for():
    selection = choose(np.ones((3, 3)), NONE, np.full((3, 3), 0.5), 0, cell_m=10.0, median_m=50.0)
    assert (len(selection.frame), selection.with_plan, selection.shortfall) == (0, 0.0, Shortfall.NONE)


def test_arguments_are_left_alone_and_bad_ones_refused():
    a = slow.area(3)
    before = a["demand"].copy(), a["candidates"].copy(), a["places"].copy()
    choose(**a, pools=3)
    assert np.array_equal(a["demand"], before[0], equal_nan=True)
    assert np.array_equal(a["candidates"], before[1], equal_nan=True)
    assert a["places"].equals(before[2])
    with pytest.raises(InputError, match="two equal"):
        choose(np.ones((2, 2)), NONE, np.ones((2, 3)), 1, cell_m=10.0, median_m=50.0)
    with pytest.raises(InputError, match="forage of 0 or more"):
        choose(-np.ones((2, 2)), NONE, np.ones((2, 2)), 1, cell_m=10.0, median_m=50.0)
    with pytest.raises(InputError, match="a cost above 0"):
        choose(np.ones((2, 2)), NONE, np.ones((2, 2)), 1, cell_m=10.0, median_m=50.0, cost=0.0, budget=2.0)
    with pytest.raises(InputError, match="without a cost"):
        choose(np.ones((2, 2)), NONE, np.ones((2, 2)), 1, cell_m=10.0, median_m=50.0, budget=2.0)
    away = pd.DataFrame({"row": [2], "col": [0], "p": [0.5]})
    with pytest.raises(InputError, match="outside the frame"):
        choose(np.ones((2, 2)), NONE, np.ones((2, 2)), 1, cell_m=10.0, median_m=50.0, kept=away)
    with pytest.raises(InputError, match="probabilities from 0 to 1"):
        choose(np.ones((2, 2)), NONE, 2 * np.ones((2, 2)), 1, cell_m=10.0, median_m=50.0)
