"""Tiny plans are solved to the end, and larger ones are not even begun."""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.geo.masks import too_near
from habitatmap.plan import exact
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import reach_kernel
from tests.plan import slow


@pytest.mark.parametrize("seed", range(25))
def test_equals_trying_every_set(seed):
    a = slow.area(300 + seed, most=6)
    problem = Problem.of(**a)
    w, p, missed, k = problem.today.demand, problem.candidates, problem.today.missed, problem.today.kernel
    near = too_near(a["spacing_m"], 10.0)
    solved = exact.solve(missed, p, k, near, 3, 0.0)
    assert solved is not None
    best = slow.best_of_all(a["demand"], a["places"], p, 3, 10.0, a["median_m"], a["spacing_m"]) * w.sum()
    assert solved.gain == pytest.approx(best, rel=1e-12)
    left = missed.copy()
    for row, col in solved.cells:
        left *= 1 - p[row, col] * slow.weight(row, col, w.shape, 10.0, a["median_m"])
    assert (missed - left).sum() == pytest.approx(solved.gain, rel=1e-9)


def test_gives_up_where_there_is_too_much_to_do(monkeypatch):
    w, k, near = np.ones((30, 30)), reach_kernel(60.0, 10.0, (30, 30)), too_near(0.0, 10.0)
    assert exact.solve(w, np.full((30, 30), 0.5), k, near, 3, 0.0) is None  # 900 sites
    few = np.where(np.arange(900).reshape(30, 30) % 9 == 0, 0.5, np.nan)
    monkeypatch.setattr(exact, "WORK", 20 * 100 * 900)
    assert exact.solve(w, few, k, near, 12, 0.0) is None  # more branches than that allows
    assert exact.solve(w, few * 0.0, k, near, 3, 0.0) is None  # nobody to set
