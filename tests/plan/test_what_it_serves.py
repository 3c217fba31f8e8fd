"""What a site serves, by hand: a strip of cells with a made-up reach weight."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from habitatmap.habitat.forage import MonthlyForage
from habitatmap.plan.what_it_serves import what_sites_serve

# reach weight 1, 0.6, 0.2 at 0, 1, 2 cells; 10 m cells, so 0.01 ha each
KERNEL = np.array([[0.0] * 5, [0.0] * 5, [0.2, 0.6, 1.0, 0.6, 0.2], [0.0] * 5, [0.0] * 5])
PARK, LAWN = 1, 2


def served(missed: list[float], sites: list[int], p: float = 0.5, park: float = 0.8, lawn: float = 0.3) -> pd.DataFrame:
    """Seven cells in a row, the first three park that flowers in May, the others lawn that flowers in July."""
    classes = np.array([[PARK] * 3 + [LAWN] * 4], dtype=np.uint16)
    weight = np.where(classes == PARK, park, lawn).astype(np.float32)
    forage = np.zeros((12, 1, 7), dtype=np.float32)
    forage[4], forage[6] = np.where(classes == PARK, park, 0.0), np.where(classes == LAWN, lawn, 0.0)
    frame = pd.DataFrame({"row": 0, "col": sites, "p": p})
    return what_sites_serve(MonthlyForage.of(forage), weight, np.array([missed]), classes, frame, KERNEL, 0.01)


def test_ground_within_the_flight_median_that_is_out_of_reach_is_counted() -> None:
    found = served([1.0] * 7, [2]).iloc[0]
    # cells 1, 2 of the park and 3 of the lawn; 0.8 x (0.6 + 1) of 0.8 x 1.6 + 0.3 x 0.6
    assert found["new_ha"] == pytest.approx(0.03)
    assert found["new_class"] == PARK
    assert found["new_class_share"] == pytest.approx(1.28 / 1.46)
    assert found["new_month"] == 5


def test_ground_that_is_likely_reached_already_is_not_new() -> None:
    found = served([1.0, 0.4, 0.4, 1.0, 1.0, 1.0, 1.0], [2]).iloc[0]
    assert found["new_ha"] == pytest.approx(0.01)
    assert (found["new_class"], found["new_month"]) == (LAWN, 7)


def test_where_all_is_reached_the_ground_is_told_all_the_same() -> None:
    found = served([0.3] * 7, [2]).iloc[0]
    assert found["new_ha"] == 0.0
    assert (found["new_class"], found["new_month"]) == (PARK, 5)


def test_a_site_counts_what_those_before_it_leave() -> None:
    found = served([1.0] * 7, [5, 5], p=0.9)
    # the first brings cells 4 and 6 to 1 - 0.54 and cell 5 to 1 - 0.9: all reached with more than an even chance
    assert found["new_ha"].tolist() == pytest.approx([0.03, 0.0])


def test_at_the_edge_of_the_map_and_without_flowers() -> None:
    assert served([1.0] * 7, [0]).iloc[0]["new_ha"] == pytest.approx(0.02)
    bare = served([1.0] * 7, [3], park=0.05, lawn=0.0).iloc[0]
    assert bare["new_ha"] == 0.0
    assert bare["new_class"] == 0
    assert math.isnan(bare["new_month"])


def test_no_site_no_row() -> None:
    assert served([1.0] * 7, []).empty
