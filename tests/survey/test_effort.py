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


def test_no_more_sites_than_there_are() -> None:
    """At most 22 sites: the budget goes into more visits, up to where they no longer help, and the rest is told."""
    free = best_survey(90, 0.6, 0.4, 0.5, 1)
    assert free.sites > 22
    held = best_survey(90, 0.6, 0.4, 0.5, 1, most_sites=22)
    assert held.sites == 22
    assert held.visits > free.visits
    assert held.error == standard_error(0.6, 0.4, held.visits, 22)
    # by trying everything: the fewest visits within half a point of the least error that the budget pays for
    errors = {k: standard_error(0.6, 0.4, k, 22) for k in range(2, 100) if 22 * (1 + 0.5 * k) <= 90}
    assert held.visits == min(k for k, error in errors.items() if error <= min(errors.values()) + 0.005)
    assert held.hours == 22 * (1 + 0.5 * held.visits) <= 90


def test_a_budget_beyond_what_helps_is_not_spent() -> None:
    much, more = (best_survey(hours, 0.6, 0.4, 0.5, 1, most_sites=22) for hours in (500, 5000))
    assert much == more
    least = np.sqrt(0.6 * 0.4 / 22)  # of perfect detection
    assert much.error <= least + 0.005 < standard_error(0.6, 0.4, much.visits - 1, 22)
    removal = best_survey(500, 0.6, 0.4, 0.5, 1, "removal", most_sites=22)
    assert removal.sites == 22
    assert removal.hours < 22 * (1 + 0.5 * removal.visits)  # a site is left at its first detection


def test_a_limit_that_does_not_bind_changes_nothing() -> None:
    assert best_survey(30, 0.6, 0.4, 0.5, 1, most_sites=1000) == best_survey(30, 0.6, 0.4, 0.5, 1)
    free = best_survey(30, 0.6, 0.4, 0.5, 1)
    assert best_survey(30, 0.6, 0.4, 0.5, 1, most_sites=free.sites) == free


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
        lambda: best_survey(20, 0.5, 0.5, 1, most_sites=0),
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
