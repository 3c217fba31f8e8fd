"""Budgets, and where one more search teaches most."""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.errors import InputError
from habitatmap.survey import best_visits, blank_visits, sites_needed, standard_error
from habitatmap.survey.effort import best_survey, visit_value


def test_a_budget_by_trying_everything() -> None:
    best = best_survey(120, 0.5, 0.4, visit_hours=1.5, site_hours=2)
    errors = {}
    for visits in range(2, 60):
        sites = int(120 // (2 + 1.5 * visits))
        if sites:
            errors[visits] = standard_error(0.5, 0.4, visits, sites)
    assert best.visits == min(errors, key=lambda k: errors[k])
    assert best.error == errors[best.visits]
    assert best.sites == 120 // (2 + 1.5 * best.visits)


def test_a_site_that_costs_nothing_gets_the_best_number_of_visits() -> None:
    assert best_survey(1e6, 0.5, 0.3, visit_hours=1).visits == best_visits(0.5, 0.3)
    assert best_survey(1e6, 0.5, 0.3, visit_hours=1, design="removal").visits == best_visits(0.5, 0.3, "removal")
    # a dear site is worth more visits
    assert best_survey(1e6, 0.5, 0.3, visit_hours=1, site_hours=5).visits > best_visits(0.5, 0.3)


def test_what_one_look_teaches() -> None:
    """By hand at c = p = 1/2: 1/4 of variance before; a detection (1/4) leaves none, a blank (3/4) leaves 1/3 x 2/3."""
    assert visit_value(0.5, 0.5) == pytest.approx(1 / 4 - 3 / 4 * 2 / 9)
    np.testing.assert_array_equal(visit_value(np.array([0.0, 1.0]), 0.5), 0)
    np.testing.assert_array_equal(visit_value(np.array([0.3, 1.0]), np.array([1.0, 1.0])), [0.3 * 0.7, 0])
    assert visit_value(0.3, 0.0) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: standard_error(1.2, 0.5, 3, 10),
        lambda: standard_error(0.5, 0.5, 0, 10),
        lambda: standard_error(0.5, 0.5, 2.5, 10),
        lambda: standard_error(0.5, 0.5, 2, 10, "other"),
        lambda: best_visits(1.0, 0.5),
        lambda: best_visits(0.5, 0.0),
        lambda: best_visits(0.5, 0.5, "other"),
        lambda: blank_visits(0.5, 1.0),
        lambda: blank_visits(0.5, 0.9, 0.0),
        lambda: sites_needed(0.5, 0.5, 1, 0.05),
        lambda: sites_needed(0.5, 0.5, 2, 0),
        lambda: best_survey(2, 0.5, 0.5, 1.5),
        lambda: best_survey(20, 0.5, 0.5, 0),
        lambda: visit_value(1.5, 0.5),
    ],
)
def test_wrong_numbers_get_a_sentence(wrong: object) -> None:
    with pytest.raises(InputError) as caught:
        wrong()
    assert str(caught.value).endswith(".")


def test_one_visit_tells_nothing() -> None:
    assert np.isnan(standard_error(0.5, 0.5, 1, 100))


def test_a_sure_look() -> None:
    assert blank_visits(1.0, 0.99) == 1
    assert blank_visits(0.5, 0.5, 0.1) == 0  # it is likely empty before any search
    assert standard_error(0.5, 1.0, 2, 100) == pytest.approx(0.05)
    assert best_visits(0.5, 1e-7) > 1e7
