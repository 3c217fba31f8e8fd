"""Short walks: against every order there is, against a strong solver, and by their laws."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from habitatmap.fieldwork import routes
from habitatmap.fieldwork.routes import shares, shortest_routes, straight, walk_m
from tests.examples import examples


def town(points: int, seed: int) -> NDArray[np.float64]:
    draw = np.random.default_rng(seed)
    return straight(draw.random(points) * 3000, draw.random(points) * 3000)


def total(distances: NDArray[np.float64], walks: list[list[int]]) -> float:
    return sum(walk_m(distances, walk) for walk in walks)


@pytest.mark.parametrize("seed", range(5))
def test_one_person_walks_the_shortest_of_all_orders(seed: int) -> None:
    distances = town(7, seed)
    best = min(walk_m(distances, order) for order in itertools.permutations(range(7)))
    assert total(distances, shortest_routes(distances, 1)) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(3))
def test_two_people_share_as_well_as_can_be(seed: int) -> None:
    distances = town(7, 50 + seed)
    orders = itertools.permutations(range(7))
    best = min(walk_m(distances, o[:4]) + walk_m(distances, o[4:]) for o in orders)
    assert total(distances, shortest_routes(distances, 2)) == pytest.approx(best)


def test_a_line_by_hand() -> None:
    x = np.array([30.0, 0, 20, 10, 100, 110])
    distances = straight(x, np.zeros(6))
    assert shortest_routes(distances, 1) == [[1, 3, 2, 0, 4, 5]]
    assert shortest_routes(straight(x[:4], np.zeros(4)), 2) in ([[0, 2], [1, 3]], [[0, 2], [3, 1]])


@settings(max_examples=examples(30), deadline=None)
@given(points=st.integers(0, 25), people=st.integers(1, 9), seed=st.integers(0, 999))
def test_every_point_once_and_equal_loads(points: int, people: int, seed: int) -> None:
    distances = town(points, seed)
    walks = shortest_routes(distances, people)
    assert sorted(i for walk in walks for i in walk) == list(range(points))
    loads = [len(walk) for walk in walks]
    assert len(loads) == people
    assert max(loads) - min(loads) <= 1
    assert sorted(loads, reverse=True) == shares(points, people).tolist()
    assert walks == shortest_routes(distances, people)


def test_points_on_one_spot() -> None:
    assert total(np.zeros((9, 9)), shortest_routes(np.zeros((9, 9)), 3)) == 0


@pytest.mark.parametrize("people", [1, 2, 4])
def test_what_a_change_saves_is_the_difference_of_two_lengths(people: int) -> None:
    """Every move of a list of ten points; the length is added up step by step on both sides of it."""
    d, n = town(10, people), 10
    starts = np.zeros(n + 1, dtype=bool)
    starts[np.concatenate([[0], np.cumsum(shares(n, people))])] = True
    cuts = routes._cuts(starts)

    def length(order: NDArray[np.int64]) -> float:
        return sum(float(d[order[k - 1], order[k]]) for k in range(1, n) if not starts[k])

    tried = 0
    for kind, size in ((0, 1), (1, 1), (1, 2), (1, 3), (2, 2), (2, 3), (3, 1)):
        for i, j in itertools.permutations(range(n), 2):
            if max(i, j) + size > n:
                continue
            order = np.random.default_rng(i).permutation(n).astype(np.int64)
            before = length(order)
            gain = routes._gain(order, d, cuts, kind, i, j, size)
            routes._change(order, np.empty(3, np.int64), kind, i, j, size)
            assert sorted(order) == list(range(n))
            assert before - length(order) == pytest.approx(gain, abs=1e-6), (kind, size, i, j)
            tried += 1
    assert tried > 400


def patient(distances: NDArray[np.float64], people: int, monkeypatch: pytest.MonkeyPatch) -> float:
    """Metres in all with twenty times the tries, from a heat that undoes the first list."""
    monkeypatch.setattr(routes, "MOST_TRIES", 10_000_000)
    monkeypatch.setattr(routes, "SWEEPS", 20_000)
    found = total(distances, shortest_routes(distances, people))
    monkeypatch.undo()
    return found


@pytest.mark.parametrize(("points", "people"), [(120, 5), (50, 1)])
def test_patience_would_not_save_five_percent(points: int, people: int, monkeypatch: pytest.MonkeyPatch) -> None:
    distances = town(points, points)
    assert total(distances, shortest_routes(distances, people)) <= 1.05 * patient(distances, people, monkeypatch)


@pytest.mark.slow
def test_nor_would_it_in_large_rounds(monkeypatch: pytest.MonkeyPatch) -> None:
    ratios = []
    for points, people in ((300, 10), (1000, 20), (1000, 100)):
        distances = town(points, people)
        slow = patient(distances, people, monkeypatch)
        ratios.append(total(distances, shortest_routes(distances, people)) / slow)
    print("ours over the patient one:", [f"{ratio:.3f}" for ratio in ratios])
    assert max(ratios) <= 1.08


def strong(distances: NDArray[np.float64], people: int, seconds: int) -> float:
    """Metres in all by a general routing library under the same loads: free ends, guided local search."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    n = len(distances)
    nodes = pywrapcp.RoutingIndexManager(n + 1, people, n)  # the last node is a start and an end that cost nothing
    model = pywrapcp.RoutingModel(nodes)
    table = np.zeros((n + 1, n + 1), dtype=int)
    table[:n, :n] = np.round(10 * distances)
    step = model.RegisterTransitCallback(lambda a, b: int(table[nodes.IndexToNode(a), nodes.IndexToNode(b)]))
    model.SetArcCostEvaluatorOfAllVehicles(step)
    load = model.RegisterUnaryTransitCallback(lambda a: int(nodes.IndexToNode(a) < n))
    model.AddDimensionWithVehicleCapacity(load, 0, shares(n, people).tolist(), True, "load")
    how = pywrapcp.DefaultRoutingSearchParameters()
    how.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    how.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    how.time_limit.FromSeconds(seconds)
    return float(model.SolveWithParameters(how).ObjectiveValue()) / 10


def test_sixty_pools_and_six_people_against_a_strong_solver() -> None:
    distances = town(60, 60)
    walks = shortest_routes(distances, 6)
    assert [len(walk) for walk in walks] == [10] * 6
    assert total(distances, walks) <= 1.10 * strong(distances, 6, seconds=2)


@pytest.mark.slow
def test_many_towns_against_a_strong_solver() -> None:
    ratios = []
    for seed in range(6):
        for points, people in ((60, 6), (60, 1), (45, 9), (61, 6)):
            distances = town(points, seed)
            ratios.append(total(distances, shortest_routes(distances, people)) / strong(distances, people, seconds=10))
    print(f"ours over theirs: mean {np.mean(ratios):.3f}, worst {max(ratios):.3f}, best {min(ratios):.3f}")
    assert max(ratios) <= 1.05
