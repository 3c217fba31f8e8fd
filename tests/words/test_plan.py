"""How a plan stands against other ways to choose, in words made from codes and shares alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.plan.outlook import SHARES, STAGING_SHARES, Standing, Strategy
from habitatmap.plan.simulated_years import Tail
from habitatmap.words.plan import order_of_installing, where_the_plan_wins

A, L, B, N = Standing.AHEAD, Standing.LEVEL, Standing.BEHIND, Standing.NOTHING
RANDOM, EVEN = Strategy.RANDOM, Strategy.EVEN


@pytest.mark.parametrize(
    ("standing", "rule", "told"),
    [
        ([A] * 6, RANDOM, "the plan gains most whatever share of arriving flies comes from unmapped places"),
        (
            [L, A, A, A, A, A],
            RANDOM,
            "as many pools at random may do as well as the plan if flies come only from mapped places; the plan gains "
            "most if 20 % or more of arriving flies come from unmapped places",
        ),
        (
            [B, B, L, A, A, A],
            EVEN,
            "as many pools evenly spread gain more than the plan if at most 20 % of arriving flies come from unmapped "
            "places; as many pools evenly spread may do as well as the plan if 40 % do; the plan gains most if 60 % or "
            "more do",
        ),
        (
            [N, A, A, A, A, L],
            EVEN,
            "no way to choose gains anything if flies come only from mapped places; the plan gains most if 20 to 80 % "
            "of arriving flies come from unmapped places; as many pools evenly spread may do as well as the plan if "
            "90 % or more do",
        ),
    ],
)
def test_which_way_wins_where(standing: list[Standing], rule: Strategy, told: str) -> None:
    table = pd.DataFrame({"unmapped": SHARES, "rule": rule, "standing": standing})
    assert where_the_plan_wins(table, Tail.FAT) == f"With some very long flights: {told}."
    assert where_the_plan_wins(table, Tail.THIN) == f"With hardly any long flight: {told}."


def test_every_rule_that_may_do_as_well_is_named_once() -> None:
    table = pd.DataFrame({"unmapped": SHARES, "rule": [RANDOM, EVEN, RANDOM, EVEN, EVEN, EVEN], "standing": L})
    assert "as many pools at random and pools evenly spread may do" in where_the_plan_wins(table, Tail.FAT)


@pytest.mark.parametrize(
    ("at_once", "connected", "told"),
    [
        (
            [1.4, 1.3, 1.2],
            [1.12, 1.0, 0.9],
            "installing all at once gains 1.2 to 1.4 times what two a year gain. If only two a year are installed, "
            "beginning with the best connected sites gains 12 % more than the plan's order if flies come only from "
            "mapped places and 10 % less than the plan's order if 90 % of arriving flies come from unmapped places.",
        ),
        (
            [1.5, 1.5, 1.5],
            [1.04, 1.0, 0.97],
            "installing all at once gains 1.5 times what two a year gain. If only two a year are installed, beginning "
            "with the best connected sites gains about as much as the plan's order.",
        ),
        (
            [np.nan, 1.5, 1.5],
            [np.nan, 0.8, 0.8],
            "installing all at once gains 1.5 times what two a year gain. If only two a year are installed, beginning "
            "with the best connected sites gains 20 % less than the plan's order.",
        ),
    ],
)
def test_in_which_order_to_install(at_once: list[float], connected: list[float], told: str) -> None:
    ratios = pd.DataFrame({"at_once": at_once, "connected": connected}, index=pd.Index(STAGING_SHARES))
    assert order_of_installing(ratios) == f"In the first 5 years, {told}"


def test_nothing_is_said_of_an_order_that_gains_nothing() -> None:
    nothing = pd.DataFrame({"at_once": np.nan, "connected": np.nan}, index=pd.Index(STAGING_SHARES))
    assert order_of_installing(nothing) is None
