"""The three sentences: these very pools and a pool like them are told apart, and nothing unknown is promised."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest

from habitatmap.survey.codes import Irregular, Lacking, OnSurroundings, PlannedWith, PoolBasis, SurveyWarning
from habitatmap.survey.figures import Here, OccupancyFigures
from habitatmap.vocabulary.estimate import Method
from habitatmap.words.bases import TEXTS, reasons
from habitatmap.words.survey import opening
from tests.survey.test_account import account, town


@pytest.fixture(scope="module")
def figures() -> OccupancyFigures:
    found = account(*town()).known.figures
    return replace(found, estimate=0.9, low=0.67, high=1.0, here=Here(23, 18, 19.4, 19.0, 20.0), running=None)


def test_these_very_pools_and_a_pool_like_them_are_told_apart(figures: OccupancyFigures) -> None:
    searched, these, like_these = opening(figures, 41)
    times = f"In 2026, {figures.pools_visited} of 41 pools were searched, {figures.searches} times in all, "
    assert searched.startswith(f"{times}from ")
    over_new_year = replace(figures, first=datetime.date(2026, 9, 1), last=datetime.date(2027, 4, 2))
    assert opening(over_new_year, 41)[0] == f"{times}from 1 September to 2 April 2027."
    assert these == (
        "Of the 23 pools searched in 2026 that stand today, larvae were seen in 18; 19 to 20 likely held larvae."
    )
    assert like_these == "A pool like these holds larvae with a probability of 90 % (67 to 100 %)."


def test_an_interval_of_one_number_is_said_as_one(figures: OccupancyFigures) -> None:
    told = opening(replace(figures, here=Here(1, 1, 1.0, 1.0, 1.0)), 41)[1]
    assert told == "Of the 1 pool searched in 2026 that stands today, larvae were seen in 1; 1 likely held larvae."
    assert (
        opening(replace(figures, here=Here(0, 0, np.nan, np.nan, np.nan)), 41)[1] == "None of these pools stands today."
    )


def test_too_few_searches_give_no_probability_and_say_why(figures: OccupancyFigures) -> None:
    nan = dict.fromkeys(("estimate", "low", "high", "se", "detection"), np.nan)
    few = replace(figures, **nan, method=Method.TOO_FEW, here=Here(5, 2, np.nan, np.nan, np.nan))
    _, these, like_these = opening(few, 5)
    assert these.endswith("larvae were seen in 2; a search can miss them, so there may be more.")
    assert like_these == f"For a pool like these no probability can be given: {reasons(few.why)}."
    assert "%" not in these
    every = opening(replace(few, here=Here(5, 5, np.nan, np.nan, np.nan)), 5)[1]
    assert every == "Of the 5 pools searched in 2026 that stand today, larvae were seen in all."
    one = opening(replace(few, here=Here(1, 1, np.nan, np.nan, np.nan)), 5)[1]
    assert one == "Larvae were seen in the 1 pool searched in 2026 that stands today."


def test_a_running_season_is_told_in_one_line(figures: OccupancyFigures) -> None:
    running = replace(figures, season=2027, pools_visited=5, searches=5, detections=0, naive=0.0)
    told = opening(replace(figures, running=running), 41)
    assert len(told) == 4
    assert told[3].startswith("2027 so far: 5 searches of 5 pools, larvae seen in none of them.")


def test_without_pools_or_searches_there_is_one_sentence(figures: OccupancyFigures) -> None:
    assert opening(replace(figures, pools_visited=0), 0) == ["There is no pool yet."]
    assert opening(replace(figures, pools_visited=0), 3) == ["No search counts for any of 3 pools."]


def test_no_code_is_told_in_the_words_of_another() -> None:
    """Two codes with one value would share an entry, as a code equals its value."""
    enums = (Irregular, Lacking, OnSurroundings, SurveyWarning, PlannedWith, PoolBasis)
    values = [str(code) for enum in enums for code in enum]
    assert sorted(values) == sorted(set(values))
    assert set(values) >= {str(code) for code in TEXTS}
