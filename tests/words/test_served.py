"""What is said of forage likely served: from figures and codes alone, by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from habitatmap.plan.outlook import Strategy
from habitatmap.plan.search import Shortfall
from habitatmap.plan.served import Share
from habitatmap.result.figures import Figures, ServedFigures, Spending
from habitatmap.vocabulary.terms import Objective
from habitatmap.words.headline import headline, reach_with_plan
from habitatmap.words.served import against_rules, beside_the_headline, likely_served, limit
from tests.results import base_result

NOW = Share(open=0.69, closed=0.61)
THEN = Share(open=0.75, closed=0.67)


Rules = dict[str, tuple[float, float]]


def served(
    now: Share = NOW,
    then: Share = THEN,
    limit: float = math.nan,
    if_found: float = math.nan,
    rules: Rules | None = None,
) -> ServedFigures:
    """Rules by name: (open, closed) gains."""
    by_rule = {Strategy[name.upper()]: Share(now.open + o, now.closed + c) for name, (o, c) in (rules or {}).items()}
    return ServedFigures(10, now, then, by_rule, limit, if_found)


def figures(of: ServedFigures, pools: int = 10, **plan: Any) -> Figures:
    base = base_result().figures
    return replace(base, served=of, plan=replace(base.plan, pools=pools, **plan))


def test_the_headline_is_one_range_between_the_two_ways() -> None:
    assert str(likely_served(figures(served()))) == (
        "With these 10 pools, 67 to 75 % of the forage is likely served over the next 10 years (now 61 to 69 %), by "
        "whether flies come from mapped places only or from everywhere."
    )
    assert str(likely_served(figures(served(), pools=1))).startswith("With this pool, 67 to 75 %")
    assert str(likely_served(figures(served(), pools=0))) == (
        "61 to 69 % of the forage is likely served over the next 10 years, by whether flies come from mapped places "
        "only or from everywhere."
    )
    crossed = str(likely_served(figures(served(Share(open=0.46, closed=0.44), Share(open=0.78, closed=0.85)))))
    assert "78 to 85 %" in crossed
    assert "(now 44 to 46 %), by whether flies come from everywhere or from mapped places only" in crossed
    unknown = Share(math.nan, math.nan)
    assert likely_served(figures(served(unknown, unknown))) is None
    assert likely_served(figures(served(Share(0.0, 0.0)), pools=0)) is None
    of = figures(served())
    assert likely_served(replace(of, forage_in_reach=replace(of.forage_in_reach, now=math.nan))) is None


def test_small_gains_are_written_so_that_they_can_be_seen() -> None:
    small = served(then=Share(0.6914, 0.6112))
    assert "61.12 to 69.14 % of the forage" in str(likely_served(figures(small)))
    assert "(now 61.00 to 69.00 %)" in str(likely_served(figures(small)))
    nothing = served(Share(-1e-14, -1e-14), Share(0.05, 0.0))
    told = str(likely_served(figures(nothing)))
    assert "0 to 5 % of the forage is likely served over the next 10 years (now 0 %)" in told


def test_the_range_begins_with_the_lower_of_the_two() -> None:
    told = str(likely_served(figures(served(Share(0.5, 0.6), Share(0.6, 0.7)))))
    assert "60 to 70 % of" in told
    assert told.endswith("by whether flies come from everywhere or from mapped places only.")


@pytest.mark.parametrize(
    ("rules", "told"),
    [
        ({"random": (0.05, 0.05), "even": (0.02, 0.02)}, []),  # 0.06 each is 1.2 times as much
        (
            {"random": (0.05, 0.058)},
            ["As many pools at random may do as well if flies come from mapped places only."],
        ),
        (
            {"random": (0.0575, 0.0575), "even": (0.01, 0.058)},  # the best of each side is told
            [
                "As many pools evenly spread may do as well if flies come from mapped places only.",
                "As many pools at random may do as well if flies come from everywhere.",
            ],
        ),
        ({"highest": (0.0600, 0.0600)}, ["As many pools at the highest scores may do as well."]),
        ({"random": (0.064, 0.064)}, ["As many pools at random are likely to serve more."]),
        ({"random": (0.0572, 0.05714)}, ["As many pools at random may do as well if flies come from everywhere."]),
    ],
)
def test_a_rule_of_thumb_that_may_do_as_well_is_told(rules: Rules, told: list[str]) -> None:
    """The plan gains 0.06; a rule that gains less than 0.06 / 1.05 = 0.0571 is clearly worse."""
    assert [str(one) for one in against_rules(served(rules=rules))] == told


def test_nothing_is_said_of_rules_where_nothing_can_be_gained() -> None:
    assert against_rules(served(then=NOW, rules={"random": (0.0, 0.0)})) == []
    assert against_rules(served()) == []


def test_the_limit_is_a_promise_rounded_down() -> None:
    assert str(limit(served(limit=0.8999))) == (
        "The plan adds at least 89 % of what any as many pools could add to the forage likely served."
    )
    assert limit(served()) is None


def test_a_loose_limit_gives_way_to_the_one_given_how_flies_find_pools() -> None:
    told = limit(served(limit=0.62, if_found=0.978))
    assert str(told) == (
        "If flies found pools elsewhere as they find them with this plan, it would add at least 97 % of what any as "
        "many pools could add to the forage likely served."
    )
    assert limit(served(limit=0.62)) is None
    assert str(limit(served(limit=0.81, if_found=0.978))).startswith("The plan adds at least 81 %")


def test_order_and_second_pools_are_told_where_they_matter() -> None:
    plain = figures(served())
    assert beside_the_headline(plain) == []
    spent = [str(one) for one in beside_the_headline(figures(served(), spending=Spending(100.0, 100.0, "EUR")))]
    assert len(spent) == 1
    assert spent[0].startswith("Installing all pools at once serves more in the first 5 years than two a year")
    scarce = figures(served(), pools=4, requested=10, shortfall=Shortfall.NONE_LEFT)
    assert [str(one)[:28] for one in beside_the_headline(scarce)] == ["Where consents are scarce: t"]


def test_a_plan_made_for_something_else_does_not_read_as_made_for_reach() -> None:
    base = figures(served(), objective=Objective.REACH, share_of_bound=0.9799)
    assert "the plan has 97.9 % of the maximum possible gain" in reach_with_plan(base)
    other = reach_with_plan(figures(served(), objective=Objective.SERVED, share_of_bound=0.9799))
    assert "not made for that alone" in other
    assert "if they are occupied as today's searches expect" in other
    unbounded = replace(base, forage_in_reach=replace(base.forage_in_reach, upper_bound=math.nan))
    assert "not known" not in reach_with_plan(unbounded)


def test_the_terminal_says_it_once_before_reach() -> None:
    lines = headline(figures(served(), objective=Objective.SERVED)).splitlines()
    at = [i for i, line in enumerate(lines) if "likely served" in line]
    assert len(at) == 1
    assert lines[at[0] + 1].startswith("Forage in reach now")
