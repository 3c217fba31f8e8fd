"""The curve of more and more pools: nested, never falling, below what is certified; and where little is gained."""

from __future__ import annotations

import json

import numpy as np
import pytest

from habitatmap.export.summary import summary_text
from habitatmap.plan import choose
from habitatmap.plan.bound import certify, sum_of_largest, sums_of_largest
from habitatmap.plan.how_many import ForSoMany, curve, go_on, little_gained, numbers_shown
from habitatmap.plan.problem import Problem
from habitatmap.plan.search import make_plan
from habitatmap.words.how_many import enough
from tests.demo import demo_result
from tests.plan import slow


def rows(*reached: float) -> list[ForSoMany]:
    return [ForSoMany(n, value, value, value, 1.0) for n, value in enumerate(reached)]


def test_up_to_twice_as_many_and_at_least_25() -> None:
    assert [numbers_shown(n) for n in (1, 10, 12, 13, 40)] == [25, 25, 25, 26, 80]


def test_where_little_is_gained_by_hand() -> None:
    # gains 40, 20, 11, 10, 9: a quarter of 40 is 10, and the fourth is the last with as much
    assert little_gained(rows(0.0, 0.4, 0.6, 0.71, 0.81, 0.9)) == (4, 0.1)
    assert little_gained(rows(0.0, 0.4, 0.6, 0.71, 0.81)) == (None, 0.1), "the last still adds as much"
    assert little_gained(rows(0.0, 0.4, 0.41)) == (1, 0.1)
    # a committed site that adds little comes first; what counts is the most helpful one
    assert little_gained(rows(0.0, 0.01, 0.41, 0.51, 0.52)) == (3, 0.1)
    assert little_gained(rows(0.5, 0.5, 0.5)) == (0, 0.0)


@pytest.mark.parametrize("seed", range(12))
def test_the_curve_goes_on_as_greedy_would_and_stays_below_its_bound(seed: int) -> None:
    a = slow.area(seed, most=6)
    problem = Problem.of(**a)
    plan = make_plan(problem, 2, exchange=False)
    further = go_on(problem, plan.frame, 6, certify(problem, 2, most=6).by_number)
    n = len(plan.frame)
    assert further.sites["cumulative"].tolist()[:n] == plan.frame["cumulative"].tolist(), "the first are the plan's"
    longer = choose(**a, pools=6, exchange=False).frame
    assert further.sites[["row", "col"]].equals(longer[["row", "col"]]), "greedy is nested"
    assert further.sites["cumulative"].to_numpy() == pytest.approx(longer["cumulative"].to_numpy())
    told = curve(further, plan.now, *np.zeros((2, len(further.sites) + 1)))
    assert (np.diff([row.with_plan for row in told]) >= 0).all()
    assert (np.diff([row.upper_bound for row in told]) >= 0).all()
    assert [row.pools for row in told] == list(range(len(told)))
    for row in told[1:]:
        best = slow.best_of_all(
            a["demand"], a["places"], a["candidates"], row.pools, a["cell_m"], a["median_m"], a["spacing_m"]
        )
        assert row.upper_bound >= plan.now + best - 1e-9
        assert row.upper_bound >= row.with_plan


def test_costs_and_budget_are_left_aside_beyond_the_plan() -> None:
    a = slow.area(3, most=6)
    problem = Problem.of(**a, cost=np.ones(a["demand"].shape), budget=2.0)
    plan = make_plan(problem, 6, exchange=False)
    assert len(plan.frame) == 2
    further = go_on(problem, plan.frame, 4, certify(problem, 6, most=6).by_number)
    assert further.sites[["row", "col"]].equals(choose(**a, pools=4, exchange=False).frame[["row", "col"]])
    assert (further.bound >= [plan.now, *further.sites["cumulative"]]).all()


def test_sums_of_the_largest_are_those_of_each_number() -> None:
    G = np.random.default_rng(5).normal(size=(9, 11))
    assert sums_of_largest(G, 30, 2) == pytest.approx([sum_of_largest(G, n, 2) for n in range(1, 31)])


def test_summary_and_headline_agree_with_the_curve() -> None:
    summary = json.loads(summary_text(demo_result()))
    told, reach, n = summary["how_many"], summary["forage_in_reach"], summary["plan"]["pools"]
    assert [row["pools"] for row in told] == list(range(26))
    assert (told[0]["with_plan"], told[0]["low"], told[0]["high"]) == (reach["now"], reach["low"], reach["high"])
    assert told[n]["with_plan"] == pytest.approx(reach["with_plan"], abs=1e-12)
    assert (told[n]["low"], told[n]["high"]) == (reach["with_plan_low"], reach["with_plan_high"])
    assert told[n]["upper_bound"] == pytest.approx(reach["upper_bound"], abs=1e-9)
    assert [row["with_plan"] for row in told[1 : n + 1]] == pytest.approx(demo_result().plan["cumulative"].tolist())
    assert all(row["low"] <= row["with_plan"] <= min(row["high"], row["upper_bound"]) for row in told)


def test_the_sentence_says_the_number_and_what_each_further_one_adds() -> None:
    after, part = little_gained(demo_result().figures.how_many)
    said = str(enough(demo_result().figures))
    assert said.startswith(f"After {after} pools each further one adds less than {100 * part:.2g} % of the")
    gains = np.diff([row.with_plan for row in demo_result().figures.how_many])
    assert after is not None
    assert (gains[after:] < part).all()
    assert gains[after - 1] >= part
