"""Intervals for the difference of two proportions, as printed by Newcombe."""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.practice.comparison import difference, paired_difference, wilson


@pytest.mark.parametrize(
    ("counts", "low", "high"),
    # Newcombe 1998, Statistics in Medicine 17:873-890, table II, method 10 (from memory)
    [
        ((56, 70, 48, 80), 0.0524, 0.3339),
        ((9, 10, 3, 10), 0.1705, 0.8090),
        ((6, 7, 2, 7), 0.0582, 0.8062),
        ((5, 56, 0, 29), -0.0381, 0.1926),
        ((0, 10, 0, 20), -0.1611, 0.2775),
        ((0, 10, 0, 10), -0.2775, 0.2775),
        ((10, 10, 0, 20), 0.6791, 1.0000),
        ((10, 10, 0, 10), 0.6075, 1.0000),
    ],
)
def test_newcombes_table(counts: tuple[int, int, int, int], low: float, high: float) -> None:
    np.testing.assert_allclose(difference(*counts), [low, high], atol=5e-5)


def test_wilson_of_newcombes_example() -> None:
    # 81 of 263, Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3 (from memory)
    np.testing.assert_allclose(wilson(81, 263), [81 / 263, 0.2553, 0.3662], atol=5e-5)


def test_pairs_without_correlation_are_as_two_samples() -> None:
    # where the cross product is 0 the formula of the pairs is that of two independent samples of the same size
    both, first, second, neither = 4, 6, 2, 3  # 4 * 3 - 6 * 2 = 0
    two = difference(both + first, 15, both + second, 15)
    np.testing.assert_allclose(paired_difference(both, first, second, neither), two, atol=1e-9)


def test_pairs_swapped_turn_the_sign() -> None:
    one, other = paired_difference(20, 9, 3, 8), paired_difference(20, 3, 9, 8)
    np.testing.assert_allclose(one, [-other[1], -other[0]], atol=1e-12)
    # pairs that go together tell a difference more closely than two samples do
    two = difference(29, 40, 23, 40)
    assert one[1] - one[0] < two[1] - two[0]


def test_pairs_all_alike() -> None:
    low, high = paired_difference(10, 0, 0, 10)
    assert low < 0 < high
    assert low == pytest.approx(-high)
