"""What the survey's figures rest on, in words: every code has some, and they tell the counts."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from habitatmap.survey import codes, estimate_pools
from habitatmap.survey.codes import OnSurroundings, PoolBasis
from habitatmap.survey.spatial_autocorrelation import Clustering
from habitatmap.vocabulary.note import note
from habitatmap.words.bases import TEXTS, basis, clustering, occupancy_part, pool_basis, told, told_pools, trend

COVARIATES = "forage_score places_near"


def few_pools() -> tuple[pd.DataFrame, pd.DataFrame]:
    pools = pd.DataFrame({"pool": ["a", "b", "c"], "set_out": pd.NaT})
    rows = [("a", "2026-05-01", "larvae"), ("a", "2026-06-01", "none seen"), ("b", "2025-05-01", "none seen")]
    return pools, pd.DataFrame(rows, columns=["pool", "date", "outcome"]).assign(
        date=lambda v: pd.to_datetime(v["date"])
    )


@pytest.mark.parametrize(
    "of",
    [codes.Irregular, codes.Lacking, codes.OnSurroundings, codes.PoolBasis, codes.SurveyWarning, codes.PlannedWith],
)
def test_every_code_has_words(of: type) -> None:
    assert set(of) <= set(TEXTS)


@pytest.mark.parametrize(
    ("case", "words"),
    [
        ((PoolBasis.DETECTED, 3, 2026.0, 0, ""), "3 searches, larvae seen in 2026"),
        ((PoolBasis.DETECTED_BEFORE, 1, 2025.0, 0, ""), "1 search, larvae last seen in 2025, not searched since"),
        (
            (PoolBasis.DETECTED_BEFORE, 5, 2024.0, 2, COVARIATES),
            "5 searches, larvae last seen in 2024, none since (searches since: 2), and its surroundings: forage, "
            "breeding places near",
        ),
        ((PoolBasis.NOT_DETECTED, 2, math.nan, 2, ""), "2 searches, none seen"),
        (
            (PoolBasis.NOT_DETECTED_EXPERT, 1, math.nan, 1, ""),
            "1 search, none seen, Bayesian estimate with an expert value",
        ),
        (
            (PoolBasis.NOT_SEARCHED, 0, math.nan, 0, COVARIATES),
            "no search: all-pool estimate, and its surroundings: forage, ",
        ),
        ((PoolBasis.EXPERT, 0, math.nan, 0, ""), "expert value (too few searches)"),
        ((PoolBasis.STATED, 4, 2026.0, 0, ""), "set in area.toml"),
    ],
)
def test_a_pool_says_what_its_probability_rests_on(case: tuple[PoolBasis, int, float, int, str], words: str) -> None:
    said = str(pool_basis(*case))
    assert said.startswith(words) if words.endswith(", ") else said == words


def test_a_table_of_pools_takes_the_sentence_and_drops_what_it_is_made_from() -> None:
    pools, visits = few_pools()
    known = estimate_pools(pools, visits, "2026-11-01", SimpleNamespace(existing="model", new="model"))
    frame = told_pools(known.pools)
    assert frame["basis"].tolist() == [
        "2 searches, larvae seen in 2026",
        "1 search, none seen, Bayesian estimate with an expert value",
        "expert value (too few searches)",
    ]
    assert not {"last_seen", "since", "surroundings"} & set(frame.columns)


def test_the_headline_says_what_it_rests_on_or_what_is_missing() -> None:
    pools, visits = few_pools()
    known = estimate_pools(pools, visits, "2026-11-01", SimpleNamespace(existing="model", new="model"))
    said = basis(known.figures)
    assert said.startswith(
        "too few to estimate: anything from 15 % to 82 % would fit the searches, and an interval wider"
    )
    assert said.endswith("in a season would narrow it; 2 searches of 1 pool, 2026-05-01 to 2026-06-01")
    assert basis(replace(known.figures, unchecked=2)).endswith("2 searches with unchecked larvae left out, so that the "
                                                               "figures may be too low")  # fmt: skip
    part = occupancy_part(known)
    assert (part["method"], part["false_positives"]) == ("too few", None)
    assert (part["season"], part["seasons"], part["left_out"]) == (2026, [2025, 2026], {})
    assert math.isnan(part["here"]["occupied"])  # null in the file
    none = estimate_pools(pools, visits[:0], "2026-11-01", SimpleNamespace(existing="model", new="model"))
    assert basis(none.figures).endswith("; no pool was searched")


def test_surroundings_are_named() -> None:
    used = note(OnSurroundings.COVARIATES, names=("forage_score", "dead_wood_score"))
    assert told(used).startswith("by forage, dead wood, each with a slope")
    assert told(note(OnSurroundings.TOO_FEW_DETECTIONS, n=9)) == "the same probability everywhere (9 detections)"


@pytest.mark.parametrize(
    ("i", "p", "words"), [(0.5, 0.01, "lie together"), (-0.5, 0.01, "lie apart"), (0.5, 0.2, "no sign")]
)
def test_clusters_are_told_where_chance_does_not_explain_them(i: float, p: float, words: str) -> None:
    assert words in clustering(Clustering(i, -0.1, p, 20))


def test_a_trend_is_told() -> None:
    from habitatmap.survey.seasons import seasons

    pools, visits = few_pools()
    shown, nothing = (
        trend(seasons(estimate_pools(pools, some, "2026-11-01", SimpleNamespace(existing="model", new="model"))))
        for some in (visits, visits[:0])
    )
    assert shown.startswith("no change can be shown: 2 seasons with searches (3 ")
    assert nothing == "no change can be shown: no search counts"
