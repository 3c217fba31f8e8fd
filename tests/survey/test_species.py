"""Checked species apart from the group, and mistaken finds told by the checked ones."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.survey import count_searches
from habitatmap.survey.codes import Lacking
from habitatmap.survey.false_positives import fit_false_positives
from habitatmap.survey.species import by_species, from_checked_larvae
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.note import note

POOLS = pd.DataFrame({"pool": ["a", "b"], "set_out": pd.to_datetime([None, None])})
ROWS = [
    ("a", "2026-05-01", "larvae", "Made-up fly", "yes"),
    ("a", "2026-05-20", "larvae", "", "no"),
    ("a", "2026-06-10", "larvae", "Other fly", "yes"),
    ("b", "2026-05-01", "none seen", "", ""),
    ("b", "2026-06-01", "larvae", "made-up fly ", "yes"),
    ("b", "2026-06-02", "larvae", "Made-up fly", "no"),  # named but not checked
]
VISITS = pd.DataFrame(ROWS, columns=["pool", "date", "outcome", "taxon", "checked"]).assign(
    date=lambda v: pd.to_datetime(v["date"])
)


def test_a_species_needs_checked_larvae() -> None:
    seen = count_searches(VISITS, POOLS, "2026-11-01", taxon="made-up fly")
    np.testing.assert_array_equal(seen.histories, [[1, 0], [0, 1]])
    assert seen.left_out["larvae not checked"] == 2
    whole = count_searches(VISITS, POOLS, "2026-11-01")
    np.testing.assert_array_equal(whole.histories, [[1, 1, 1], [0, 1, 1]])
    np.testing.assert_array_equal(whole.checked, [[True, False, True], [False, True, False]])
    assert whole.left_out["larvae not checked"] == 0


def test_species_side_by_side() -> None:
    each = by_species(VISITS, POOLS, "2026-11-01")
    assert [taxon for taxon, _ in each] == ["", "Made-up fly", "Other fly"]
    assert [figures.detections for _, figures in each] == [5, 2, 1]
    assert [figures.naive for _, figures in each] == [1.0, 1.0, 0.5]
    assert {figures.method for _, figures in each} == {Method.TOO_FEW}
    assert [figures.unchecked for _, figures in each] == [0, 2, 2]
    assert [taxon for taxon, _ in by_species(VISITS[:0], POOLS, "2026-11-01")] == [""]


def made_up_survey(seed: int, sites: int = 60) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """psi 0.5, p 0.6, four in ten finds checked, 5 % mistakes at empty sites."""
    rng = np.random.default_rng(seed)
    n = rng.integers(2, 5, sites)
    occupied = rng.random(sites) < 0.5
    detected = rng.binomial(n, np.where(occupied, 0.6, 0.05))
    certain = np.where(occupied, rng.binomial(detected, 0.4), 0)
    return n, certain, detected - certain


def test_checked_finds_tell_the_mistakes() -> None:
    told = fit_false_positives(*made_up_survey(3, sites=4000))
    np.testing.assert_allclose([told.psi, told.p, told.checked, told.false_share], [0.5, 0.6, 0.4, 0.05], atol=0.03)
    assert told.low < 0.5 < told.high
    assert told.high - told.low < 0.08


def test_the_likelihood_is_the_sum_over_states() -> None:
    n, c, u = made_up_survey(1)
    told = fit_false_positives(n, c, u)
    total = 0.0
    for searched, sure, unsure in zip(n, c, u, strict=True):
        blank = searched - sure - unsure
        yes = (
            told.psi * (told.p * told.checked) ** sure * (told.p * (1 - told.checked)) ** unsure * (1 - told.p) ** blank
        )
        no = (1 - told.psi) * told.false_share**unsure * (1 - told.false_share) ** blank if sure == 0 else 0
        total += np.log(yes + no)
    assert told.minus2loglik == pytest.approx(-2 * total, abs=1e-7)


def test_few_checked_finds_say_so() -> None:
    told = from_checked_larvae(count_searches(VISITS, POOLS, "2026-11-01"))
    assert np.isnan(told.psi)
    assert told.why == note(Lacking.CHECKED, n=3, needed=10)
    with pytest.raises(InputError, match="more detections than searches"):
        fit_false_positives([1], [1], [1])
