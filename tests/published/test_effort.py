"""Survey design: MacKenzie & Royle 2005, Journal of Applied Ecology 42:1105-1114, table 1, and what follows from it.

The standard table was recomputed in two ways and equals the remembered one in all 81 cells; the removal design and the
precision examples are recomputed only. Neighbouring numbers of visits often differ by less than 0.2 % in variance: a
cell is right where the number equals the table's, or costs no more than 0.2 % more.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from habitatmap.survey import best_visits, blank_visits, sites_needed, standard_error

CHANCES = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9]
STANDARD = """
14 15 16 17 18 20 23 26 34
7 7 8 8 9 10 11 13 16
5 5 5 5 6 6 7 8 10
3 4 4 4 4 5 5 6 7
3 3 3 3 3 3 4 4 5
2 2 2 2 3 3 3 3 4
2 2 2 2 2 2 2 3 3
2 2 2 2 2 2 2 2 2
2 2 2 2 2 2 2 2 2
"""
REMOVAL = """
23 24 25 26 28 31 34 39 49
11 11 12 13 13 15 16 19 23
7 7 7 8 8 9 10 12 15
5 5 5 6 6 6 7 8 10
4 4 4 4 4 5 5 6 8
3 3 3 3 3 4 4 5 6
2 2 2 3 3 3 3 4 5
2 2 2 2 2 2 3 3 4
2 2 2 2 2 2 2 2 3
"""
# for confidence 0.95 and the prior psi of the columns: Wintle, Walshe, Parris & McCarthy 2012, Diversity and
# Distributions 18:417-424 (the idea; the formula derived from Bayes' rule)
EMPTY = """
8 15 20 25 28 32 36 42 49
4 7 10 12 14 16 17 20 24
3 5 6 8 9 10 11 13 15
2 4 5 5 6 7 8 9 11
2 3 4 4 5 5 6 7 8
1 2 3 3 4 4 5 5 6
1 2 2 3 3 3 4 4 5
1 1 2 2 2 3 3 3 4
1 1 1 2 2 2 2 2 3
"""


def cells(table: str) -> list[tuple[float, float, int]]:
    """(p, psi, number) for rows of p and columns of psi."""
    rows = [[int(v) for v in line.split()] for line in table.strip().splitlines()]
    return [(p, psi, n) for p, row in zip(CHANCES, rows, strict=True) for psi, n in zip(CHANCES, row, strict=True)]


def cost(psi: float, p: float, visits: int, design: str) -> float:
    """Variance for a fixed number of visits in all, written out anew."""
    q = (1 - p) ** visits
    star = 1 - q
    if design == "standard":
        return visits * psi * (1 - psi + q / (star - visits * p * (1 - p) ** (visits - 1)))
    variance = psi * (1 - psi + star * q / (star**2 - (visits * p) ** 2 * (1 - p) ** (visits - 1)))
    return variance * ((1 - psi) * visits + psi * star / p)


@pytest.mark.parametrize(("design", "table"), [("standard", STANDARD), ("removal", REMOVAL)])
def test_best_visits(design: str, table: str) -> None:
    for p, psi, n in cells(table):
        ours = best_visits(psi, p, design)
        assert cost(psi, p, ours, design) <= 1.002 * cost(psi, p, n, design), (p, psi)
        assert abs(ours - n) <= 1, (p, psi)


def test_the_commoner_the_more_visits() -> None:
    """The paper's abstract: rare species want more sites and fewer visits, common ones fewer sites and more visits."""
    for p in CHANCES:
        row = [best_visits(psi, p) for psi in CHANCES]
        assert row == sorted(row)


@pytest.mark.parametrize(
    ("psi", "p", "visits", "sites", "variance"),
    [(0.4, 0.3, 5, 60, 0.006374977), (0.5, 0.5, 3, 100, 0.00375), (0.8, 0.3, 4, 50, 0.014229572)],
)
def test_standard_error(psi: float, p: float, visits: int, sites: int, variance: float) -> None:
    assert standard_error(psi, p, visits, sites) == pytest.approx(math.sqrt(variance), rel=1e-7)


def test_standard_error_of_the_salamanders() -> None:
    assert standard_error(0.594623, 0.258729, 5, 39) == pytest.approx(0.122599, abs=1e-6)


def test_sites_needed() -> None:
    assert [sites_needed(0.6, 0.3, k, 0.05) for k in (3, 4, 5, 6)] == [478, 262, 182, 145]
    assert [sites_needed(0.4, 0.5, k, 0.05) for k in (3, 4, 5, 6)] == [136, 111, 103, 99]


def test_blank_visits_until_it_would_have_been_found() -> None:
    assert [blank_visits(p, 0.95) for p in CHANCES] == [29, 14, 9, 6, 5, 4, 3, 2, 2]
    assert [blank_visits(p, 0.99) for p in CHANCES] == [44, 21, 13, 10, 7, 6, 4, 3, 2]
    assert blank_visits(0.2587, 0.95) == 11


def test_blank_visits_until_the_site_is_empty() -> None:
    for p, psi, n in cells(EMPTY):
        assert blank_visits(p, 0.95, psi) == n, (p, psi)


def test_arrays() -> None:
    answer = standard_error(np.array([0.4, 0.5]), np.array([0.3, 0.5]), np.array([5, 3]), np.array([60, 100]))
    np.testing.assert_allclose(answer, [0.079843, 0.0612372], atol=1e-6)
