"""Laws of the plan, for any small area."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from habitatmap.geo.engine import Engine
from habitatmap.plan import choose, upper_bound
from habitatmap.plan.problem import Quota
from habitatmap.plan.reach import forage_in_reach, loss_of_each, not_reached
from tests.examples import examples

quick = settings(max_examples=examples(25), deadline=None, derandomize=True)
probabilities = st.floats(0.01, 1.0)


@st.composite
def areas(draw: st.DrawFn, most: int = 16) -> dict[str, Any]:
    """Arguments of `choose` but for the number of pools; some forage, some cells allowed."""
    shape = draw(st.integers(2, most)), draw(st.integers(2, most))
    demand = draw(arrays(float, shape, elements=st.floats(0, 1) | st.just(np.nan), fill=st.nothing()))
    allowed = draw(arrays(float, shape, elements=probabilities | st.just(np.nan), fill=st.nothing()))
    demand[0, 0] = 1.0
    allowed[-1, 0] = 0.5
    cell = st.integers(-2, most + 2)
    places = pd.DataFrame(draw(st.lists(st.tuples(cell, cell, probabilities), max_size=4)), columns=["row", "col", "p"])
    return {
        "demand": demand,
        "places": places,
        "candidates": allowed,
        "cell_m": 10.0,
        "median_m": draw(st.sampled_from([10.0, 25.0, 60.0, 250.0])),
        "spacing_m": draw(st.sampled_from([0.0, 15.0, 30.0])),
    }


def reach(area: dict[str, Any], places: pd.DataFrame) -> float:
    R = not_reached(area["demand"].shape, places, cell_m=area["cell_m"], median_m=area["median_m"])
    return forage_in_reach(area["demand"], R)


@quick
@given(areas(), st.integers(-2, 18), st.integers(-2, 18), probabilities)
def test_another_standing_pool_never_lowers_reach(area, row, col, p):
    more = pd.concat([area["places"], pd.DataFrame({"row": [row], "col": [col], "p": [p]})])
    assert reach(area, more) >= reach(area, area["places"]) - 1e-15


@quick
@given(areas(), st.integers(1, 6))
def test_gains_never_increase_and_add_up(area, pools):
    selection = choose(**area, pools=pools)
    for frame, end in ((selection.frame, selection.with_plan), (selection.best, selection.best_with_plan)):
        gains = frame["gain"].to_numpy()
        assert (np.diff(gains) <= 0).all()
        assert frame["cumulative"].to_numpy() == pytest.approx(selection.now + np.cumsum(gains), abs=1e-14)
        assert end == pytest.approx(reach(area, pd.concat([area["places"], frame[["row", "col", "p"]]])), abs=1e-9)
    assert selection.now <= selection.with_plan <= selection.best_with_plan <= 1 + 1e-12


@quick
@given(areas(), st.integers(1, 5))
def test_a_plan_is_the_start_of_the_next_larger_one(area, pools):
    plan, larger = choose(**area, pools=pools).frame, choose(**area, pools=pools + 1).frame
    pd.testing.assert_frame_equal(plan, larger.head(len(plan)))
    assert len(larger) <= len(plan) + 1


@quick
@given(areas(most=12), st.integers(1, 5))
def test_no_plan_is_above_its_bound(area, pools):
    selection, bound = choose(**area, pools=pools), upper_bound(**area, pools=pools)
    assert selection.best_with_plan <= bound.value + 1e-12
    assert bound.value <= 1
    assert bound.now == pytest.approx(selection.now, abs=1e-12)


@quick
@given(areas(), st.integers(1, 5))
def test_half_the_forage_changes_no_share(area, pools):
    selection, half = choose(**area, pools=pools), choose(**{**area, "demand": area["demand"] / 2}, pools=pools)
    shares = ["rank", "row", "col", "p", "gain", "cumulative"]
    pd.testing.assert_frame_equal(selection.frame[shares], half.frame[shares])
    assert half.with_plan == selection.with_plan
    assert half.frame["gain_cells"].to_numpy() == pytest.approx(selection.frame["gain_cells"].to_numpy() / 2)


@quick
@given(areas(), st.integers(1, 4), st.integers(0, 7), st.integers(0, 7))
def test_moving_everything_by_whole_cells_moves_the_plan(area, pools, down, right):
    def moved(values: np.ndarray) -> np.ndarray:
        return np.pad(values, ((down, 3), (right, 2)), constant_values=np.nan)

    places = area["places"].assign(row=area["places"]["row"] + down, col=area["places"]["col"] + right)
    there = {**area, "demand": moved(area["demand"]), "candidates": moved(area["candidates"]), "places": places}
    selection, other = choose(**area, pools=pools, exchange=False), choose(**there, pools=pools, exchange=False)
    assert (other.frame["row"] - down).tolist() == selection.frame["row"].tolist()
    assert (other.frame["col"] - right).tolist() == selection.frame["col"].tolist()
    assert other.frame["gain"].to_numpy() == pytest.approx(selection.frame["gain"].to_numpy(), rel=1e-12)


@quick
@given(areas(most=20), st.integers(1, 5), st.integers(5, 40), st.integers(1, 4))
def test_threads_and_tiles_change_nothing(area, pools, tile, workers):
    selection = choose(**area, pools=pools)
    other = choose(**area, pools=pools, engine=Engine(workers, tile))
    pd.testing.assert_frame_equal(selection.frame, other.frame, check_exact=True)
    pd.testing.assert_frame_equal(selection.best, other.best, check_exact=True)


@quick
@given(areas(), st.randoms(use_true_random=False))
def test_the_order_of_the_rows_changes_nothing(area, random):
    order = list(range(len(area["places"])))
    random.shuffle(order)
    shuffled = {**area, "places": area["places"].iloc[order]}
    pd.testing.assert_frame_equal(choose(**area, pools=3).frame, choose(**shuffled, pools=3).frame, check_exact=True)
    rules = {"cell_m": area["cell_m"], "median_m": area["median_m"]}
    R = not_reached(area["demand"].shape, area["places"], **rules)
    losses = loss_of_each(area["demand"], R, area["places"], **rules)
    assert (loss_of_each(area["demand"], R, shuffled["places"], **rules) == losses[order]).all()


@quick
@given(areas())
def test_what_each_place_adds_is_no_more_than_all_of_them(area):
    rules = {"cell_m": area["cell_m"], "median_m": area["median_m"]}
    R = not_reached(area["demand"].shape, area["places"], **rules)
    losses = loss_of_each(area["demand"], R, area["places"], **rules)
    assert (losses >= 0).all()
    assert losses.sum() <= reach(area, area["places"]) + 1e-12


@st.composite
def terms(draw: st.DrawFn, most: int = 12) -> dict[str, Any]:
    """An area with decided sites, a quota and a budget, each now and then."""
    area = draw(areas(most=most))
    shape = area["demand"].shape
    cells = st.tuples(st.integers(0, shape[0] - 1), st.integers(0, shape[1] - 1), probabilities)
    if draw(st.booleans()):
        area["kept"] = pd.DataFrame(draw(st.lists(cells, min_size=1, max_size=2)), columns=["row", "col", "p"])
    if draw(st.booleans()):
        unit = draw(arrays(np.int64, shape, elements=st.integers(-1, 2), fill=st.nothing()))
        area["quotas"] = [Quota(unit, np.array(draw(st.lists(st.integers(0, 2), min_size=3, max_size=3))))]
    if draw(st.booleans()):
        area["cost"] = draw(arrays(float, shape, elements=st.sampled_from([1.0, 1.5, 4.0]), fill=st.nothing()))
        area["budget"] = draw(st.sampled_from([1.0, 5.0, 9.0]))
    return area


@quick
@given(terms(), st.integers(1, 5))
def test_the_terms_of_a_plan_hold_and_its_bound_stays_above(area, pools):
    selection, bound = choose(**area, pools=pools), upper_bound(**area, pools=pools)
    kept = area.get("kept", pd.DataFrame(columns=["row", "col", "p"])).drop_duplicates(["row", "col"])
    for frame, end in ((selection.frame, selection.with_plan), (selection.best, selection.best_with_plan)):
        cells = set(zip(frame["row"], frame["col"], strict=True))
        assert len(cells) == len(frame) <= max(pools, len(kept))
        assert cells >= set(zip(kept["row"], kept["col"], strict=True))
        free = frame[~frame["kept"]]
        assert not np.isnan(area["candidates"][free["row"], free["col"]]).any()
        assert (np.diff(free["gain"]) <= 1e-15).all()
        for unit, most in area.get("quotas", []):
            used = np.bincount(unit[free["row"], free["col"]] + 1, minlength=4)[1:]
            assert (used <= most).all()
        if "cost" in area and len(free):
            assert area["cost"][frame["row"], frame["col"]].sum() <= area["budget"] + 1e-9
        together = pd.concat([area["places"], frame[["row", "col", "p"]]])
        assert end == pytest.approx(reach(area, together), abs=1e-9)
        assert end <= bound.value + 1e-12
