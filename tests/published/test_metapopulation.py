"""Metapopulation capacity (Hanski & Ovaskainen 2000, Nature 404:755) and incidence function model (Hanski 1994, J Anim
Ecol 63:151). The numbers were worked out for this project's notes by eigh, power iteration and characteristic
polynomial, and in closed form where it stands below; the papers' own tables were not seen.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from habitatmap.errors import InputError
from habitatmap.network import incidence, metapopulation_capacity

EX3_D = cdist(*[np.array([(0, 0), (300, 0), (300, 400), (700, 400), (1000, 800)], dtype=float)] * 2)
EX3_A = [1.0, 2, 1, 4, 2]
LINE = np.abs(np.subtract.outer(np.arange(3.0), np.arange(3.0)))


@pytest.mark.parametrize(
    ("areas", "distances", "alpha", "capacity"),
    [
        ([2, 3], [[0, 1], [1, 0]], 1, 6 / np.e),
        ([1, 1, 1], LINE, 1, 0.592309878),
        ([1, 1, 1], LINE, 1, (np.exp(-2) + np.sqrt(np.exp(-4) + 8 * np.exp(-2))) / 2),
        ([1, 1, 1], 1 - np.eye(3), 1, 2 / np.e),
        (EX3_A, EX3_D, 1 / 250, 1.865698193157),
        ([5], [[0]], 1, 0),
        ([], np.empty((0, 0)), 1, 0),
    ],
)
def test_capacity(areas: list, distances: list, alpha: float, capacity: float) -> None:
    assert metapopulation_capacity(areas, distances, alpha) == pytest.approx(capacity, rel=1e-9)


def test_incidence_with_rescue() -> None:
    j = incidence(EX3_A, EX3_D, [1, 0, 1, 1, 0], alpha=1 / 250, e=0.5, y=1, x=1)
    assert j.tolist() == pytest.approx([0.14771170, 0.77173205, 0.64005489, 0.31842110, 0.57957872], abs=1e-8)


def test_incidence_closed_form_while_extinction_stays_below_one() -> None:
    areas, s = np.array(EX3_A), np.array([0.9086844538, 0.9478196528, 1.4262336595, 0.7204562764, 0.6155316796])
    j = incidence(areas, EX3_D, np.ones(5), alpha=1 / 250, e=0.5, y=1, x=1)
    assert j.tolist() == pytest.approx((1 / (1 + 0.5 / (s**2 * areas))).tolist(), abs=1e-8)


def test_incidence_of_a_place_that_nothing_reaches_is_zero() -> None:
    assert incidence([1, 1], [[0, np.inf], [np.inf, 0]], [1, 1], 1, 0.5, 1, 1).tolist() == [0, 0]
    assert incidence([1, 4], [[0, 1], [1, 0]], [0, 1], 1, 0.5, 0, 1).tolist() == [1, 0]


def test_extinction_is_never_above_one() -> None:
    # e / A = 0.5 / 0.1 = 5 counts as 1, so that J = C / (C + 1 - C) = C; S = exp(-1) x 1 reaches the small place
    colonised = np.exp(-2) / (np.exp(-2) + 1)
    assert incidence([0.1, 1], [[0, 1], [1, 0]], [0, 1], 1, 0.5, 1, 1)[0] == pytest.approx(colonised)


@pytest.mark.parametrize(
    "distances", [np.zeros((2, 3)), [[0, 1], [2, 0]], [[0, -1], [-1, 0]], [[0, np.nan], [np.nan, 0]]]
)
def test_wrong_distances(distances: list) -> None:
    with pytest.raises(InputError, match="metapopulation"):
        metapopulation_capacity([1, 1], distances, 1)


def test_wrong_occupied() -> None:
    with pytest.raises(InputError, match="occupied"):
        incidence([1, 1], 1 - np.eye(2), [1], 1, 0.5, 1, 1)
