"""Next season's visits: what the page advises never exceeds the pools that stand."""

from __future__ import annotations

import pandas as pd
import pytest

from habitatmap.page.sections import Section
from habitatmap.reports.survey import sections
from habitatmap.survey.account import Budget
from tests.survey.test_account import account, town


def next_season(taken_in: int, hours: float | None = None) -> Section:
    pools, visits = town()
    pools.loc[pools.index < taken_in, "removed"] = pd.Timestamp("2026-10-01")
    told = account(pools, visits, budget=Budget(hours))
    return next(section for section in sections(told) if section.key == "effort")


@pytest.fixture(scope="module")
def ample() -> Section:
    return next_season(18, 300)


def test_the_rest_of_a_budget_is_told(ample: Section) -> None:
    assert ample.lead.startswith("22 pools stand. 300 hours pay for ")
    assert "visits to each of them" in ample.lead
    assert "hours are enough: more visits would lower the error by less than 0.5 points." in ample.lead


def test_a_wish_beyond_the_pools_that_stand_is_no_advice(ample: Section) -> None:
    table = ample.tables[0]
    column = list(table.heads).index("Pools for an error of 5 points")
    assert [row[column] for row in table.rows] == ["more than the 22 pools that stand"] * 2


def test_no_pool_that_was_taken_in_is_named_for_a_search(ample: Section) -> None:
    named = next(line for line in ample.words if line.startswith("Where one more search teaches most"))
    assert not any(f"made up {i:02d}" in named for i in range(18))


def test_a_small_budget_and_no_pool() -> None:
    assert "18 hours pay for" in next_season(0, 18).lead
    assert "of the 40 pools that stand" in next_season(0, 18).lead
    none = next_season(40, 60)
    assert none.lead.startswith("No pool stands now, so this is for pools to come.")
    assert "No standing pool is known." in none.words
