"""The plan for the network against plain reruns of the network with each cell added."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.geo.grid import Grid
from habitatmap.network.graph import links
from habitatmap.network.importance import equivalent_connectivity
from habitatmap.plan import by_connectivity
from habitatmap.plan.by_connectivity import Network, build_network, plan_by_connectivity
from habitatmap.plan.problem import Problem, Quota

GRID = Grid(left=0, top=600, cell_m=50, rows=12, cols=30)
LINK_M, MEDIAN_M = 400.0, 250.0


def given_problem(seed: int = 1, **rules: object) -> tuple[Problem, pd.DataFrame, np.ndarray]:
    """A problem, the places (x, y, weight) and the forage access of an invented strip of ground."""
    rng = np.random.default_rng(seed)
    access = rng.uniform(0.2, 0.9, GRID.shape)
    p = np.where(rng.random(GRID.shape) < 0.6, np.nan, 0.5)
    nodes = pd.DataFrame({"x": rng.uniform(0, 1500, 8), "y": rng.uniform(0, 600, 8), "weight": rng.random(8)})
    places = pd.DataFrame({"row": [3], "col": [4], "p": [0.5]})
    made = Problem.of(rng.random(GRID.shape), places, p, cell_m=50.0, median_m=250.0, spacing_m=100.0, **rules)
    return made, nodes, access


def ec(nodes: pd.DataFrame) -> float:
    return equivalent_connectivity(nodes["weight"], links(nodes, LINK_M, MEDIAN_M))


def added(nodes: pd.DataFrame, row: int, col: int, weight: float) -> pd.DataFrame:
    x, y = GRID.centre(row, col)
    return pd.concat([nodes, pd.DataFrame({"x": [float(x)], "y": [float(y)], "weight": [weight]})], ignore_index=True)


def made(given: tuple[Problem, pd.DataFrame, np.ndarray], pools: int) -> tuple[pd.DataFrame, np.ndarray]:
    problem_, nodes, access = given
    net = build_network(nodes, LINK_M, MEDIAN_M)
    selection, gains = plan_by_connectivity(problem_, pools, net, access, GRID)
    return selection.frame, gains


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 8))])
def test_each_pool_is_the_best_at_its_turn(seed: int) -> None:
    given = given_problem(seed)
    problem_, nodes, access = given
    frame, gains = made(given, 3)
    taken: list[tuple[int, int]] = []
    for (row, col), gain in zip(frame[["row", "col"]].to_numpy().tolist(), gains, strict=True):
        far = [
            (int(i), int(j))
            for i, j in np.argwhere(~np.isnan(problem_.candidates))
            if all(np.hypot(i - a, j - b) * 50 >= 100 for a, b in taken)
        ]
        tried = {cell: ec(added(nodes, *cell, 0.5 * access[cell])) for cell in far}
        assert tried[row, col] == pytest.approx(max(tried.values()), rel=1e-12)
        assert gain == pytest.approx(tried[row, col] / ec(nodes) - 1, rel=1e-9)
        nodes = added(nodes, row, col, 0.5 * access[row, col])
        taken.append((row, col))


def test_a_second_stepping_stone_may_be_worth_more_than_the_first() -> None:
    # ends 900 m apart, links up to 400 m, stones allowed at 300 and 600 m only
    grid = Grid(left=-50, top=50, cell_m=100, rows=1, cols=10)
    ends = pd.DataFrame({"x": [0.0, 900.0], "y": [0.0, 0.0], "weight": [10.0, 10.0]})
    p = np.full((1, 10), np.nan)
    p[0, [3, 6]] = 0.1
    strip = Problem.of(np.ones((1, 10)), pd.DataFrame({"row": [], "col": [], "p": []}), p, cell_m=100.0, median_m=250.0)
    net = build_network(ends, LINK_M, MEDIAN_M)
    selection, gains = plan_by_connectivity(strip, 2, net, np.ones((1, 10)), grid)
    assert sorted(selection.frame["col"]) == [3, 6]
    assert gains[1] > 5 * gains[0]


def test_rules_hold_for_the_network_too() -> None:
    unit = np.arange(360).reshape(12, 30) // 180
    cost = np.where(unit == 0, 1.0, 3.0)
    kept = pd.DataFrame({"row": [0], "col": [29], "p": [0.3]})
    frame, gains = made(given_problem(2, quotas=[Quota(unit, np.array([2, 9]))], kept=kept, cost=cost, budget=9.0), 9)
    assert frame["kept"].tolist() == [True] + [False] * (len(frame) - 1)
    assert (unit[frame["row"], frame["col"]] == 0).sum() <= 2
    assert cost[frame["row"], frame["col"]].sum() <= 9
    assert len(gains) == len(frame) >= 4


def test_nothing_is_known_of_the_network(monkeypatch: pytest.MonkeyPatch) -> None:
    given = given_problem()
    nowhere = Network(np.empty(0), np.empty(0), np.empty(0), np.empty((0, 0)), LINK_M, 149.0)
    selection, gains = plan_by_connectivity(given[0], 2, nowhere, given[2], GRID)
    assert len(selection.frame) == 2
    assert np.isnan(gains[0])
    monkeypatch.setattr(by_connectivity, "MOST_PLACES", 7)
    with pytest.raises(InputError, match="up to 7 places, and the area has 8"):
        build_network(given[1], LINK_M, MEDIAN_M)
