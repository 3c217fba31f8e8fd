"""The bound is never below what can be had, and not far above it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.geo.engine import THREADS, Engine
from habitatmap.geo.grid import Tile
from habitatmap.plan import bound, choose, upper_bound
from habitatmap.plan.correlate import correlate
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import reach_kernel
from habitatmap.plan.search import make_plan
from tests.plan import slow

NONE = pd.DataFrame({"row": [], "col": [], "p": []})


def best(a: dict, pools: int) -> float:
    return slow.best_of_all(
        a["demand"], a["places"], a["candidates"], pools, a["cell_m"], a["median_m"], a["spacing_m"]
    )


@pytest.mark.parametrize("seed", range(60))
def test_small_areas_are_bounded_by_their_best_set(seed):
    a = slow.area(seed, most=6)
    found, true = upper_bound(**a, pools=3), best(a, 3)
    assert true - 1e-12 <= found.value - found.now <= 1.05 * true
    assert found.value >= choose(**a, pools=3).best_with_plan


@pytest.mark.parametrize("seed", range(60))
def test_the_tangents_alone_are_never_below_the_best_set(seed, monkeypatch):
    monkeypatch.setattr(bound, "solve", lambda *_: None)
    a = slow.area(100 + seed, most=6)
    found, true = upper_bound(**a, pools=3), best(a, 3)
    assert all(value - found.now >= true - 1e-12 for value in found.terms.values())


def certificate_of(missed, p, k, likely, engine=THREADS) -> bound.Certificate:
    return bound.Certificate(missed, p, p * correlate(missed, k), k, likely, engine)


@pytest.mark.parametrize("seed", range(20))
def test_any_tangents_hold(seed):
    # whatever columns, shares and softness are handed over, fixed part + N largest G is above the best set
    a = slow.area(200 + seed, most=6)
    rng = np.random.default_rng(seed)
    problem = Problem.of(**a)
    w, missed, k = problem.today.demand, problem.today.missed, problem.today.kernel
    p = np.minimum(np.where(problem.candidates > 0, problem.candidates, np.nan), bound.P_CAP)
    row, col = np.nonzero(p > 0)
    certificate = certificate_of(missed, p, k, p[row, col])
    true = best(a, 2) * w.sum()
    for tau in (1e-6, 0.01, 1.0):
        fixed, G = certificate.at(row, col, rng.random(len(row)) ** 3 * 2, tau)
        assert fixed + bound.sum_of_largest(G, 2, 1) >= true - 1e-12


@pytest.mark.parametrize("seed", range(12))
def test_any_dual_prices_hold(seed):
    # whatever is asked for each disc, what it asks of a set that keeps its spacing is no more than all prices together
    a = {**slow.area(300 + seed, most=6), "spacing_m": 30.0}
    problem, rng = Problem.of(**a), np.random.default_rng(seed)
    missed, k = problem.today.missed, problem.today.kernel
    p = np.minimum(np.where(problem.candidates > 0, problem.candidates, np.nan), bound.P_CAP)
    row, col = np.nonzero(p > 0)
    fixed, G = certificate_of(missed, p, k, p[row, col]).at(row, col, rng.random(len(row)), 0.01)
    _, i, j = bound._discs(row, col, 1.5)
    duals = bound.DualPrices(i, j, 1.5, rng.random(len(i)) * float(np.nanmax(G)) / 5)
    paid = G.copy()
    duals.take_off(paid)
    most = fixed + float(duals.price.sum()) + bound.sum_of_largest(paid, 2, 1)
    assert most >= best(a, 2) * problem.today.total - 1e-12


def asked(duals: bound.DualPrices) -> np.ndarray:
    """What sites in a frame of 10 x 10 cells pay."""
    net = np.zeros((10, 10))
    duals.take_off(net)
    return -net


def test_each_disc_holds_one_site_at_most():
    duals = bound.DualPrices(np.array([4.0, 4.6]), np.array([4.0, 5.2]), 2.5, np.array([1.0, 0.0]))
    cells = np.argwhere(asked(duals) > 0)
    apart = np.hypot(*(cells[:, None] - cells).transpose(2, 0, 1))
    assert apart.max() < 5.0
    assert len(cells) == 21  # all within 2.5 cells of the middle
    # a disc at the corner of the frame is cut there: the quarter circle of 2.5 cells holds 8
    corner = asked(bound.DualPrices(np.array([0.0]), np.array([0.0]), 2.5, np.array([0.5])))
    assert (corner > 0).sum() == 8
    assert corner[0, 0] == 0.5
    table, row, col = bound._discs(np.array([4, 4, 30]), np.array([4, 6, 30]), 2.5)
    assert table.shape == (len(row), 3)
    assert (np.hypot(row - 4, col - 5) < 3).all()  # only discs that hold both of the near ones
    assert table[:, [2]].nnz == 0


@pytest.mark.parametrize("constant", [None, 0.5])
def test_a_larger_area_is_bounded_closely(constant):
    rng = np.random.default_rng(1)
    w = np.kron(rng.random((12, 12)) ** 2, np.ones((10, 10))) * rng.random((120, 120))
    p = 0.2 + 0.5 * np.kron(rng.random((24, 24)), np.ones((5, 5))) if constant is None else np.full(w.shape, constant)
    p = np.where(rng.random(w.shape) < 0.5, np.nan, p)
    places = pd.DataFrame({"row": [30, 90], "col": [40, 80], "p": [0.5, 0.9]})
    rules = {"cell_m": 10.0, "median_m": 100.0, "spacing_m": 60.0}
    selection = choose(w, places, p, 8, **rules)
    found = upper_bound(w, places, p, 8, **rules)
    assert "tangents" in found.terms
    assert selection.best_with_plan <= found.value
    assert found.now == pytest.approx(selection.now, rel=1e-12)
    assert found.share(selection.best_with_plan) > 0.98


def test_dual_prices_come_nearer_where_spacing_binds():
    rng = np.random.default_rng(3)
    w, p = np.kron(rng.random((6, 6)) ** 3, np.ones((15, 15))), np.full((90, 90), 0.5)
    rules = {"cell_m": 10.0, "median_m": 100.0, "spacing_m": 150.0}
    selection, found = choose(w, NONE, p, 10, **rules), upper_bound(w, NONE, p, 10, **rules)
    assert selection.best_with_plan <= found.terms["tangents and dual prices"] < found.terms["tangents"]


@pytest.mark.parametrize(
    ("lowest", "highest", "likely"),
    [
        (0.1, 0.9, (0.3, 0.6)),
        (0.4, 0.58, (0.4, 0.58)),
        (0.0, bound.P_CAP, (0.2, 0.9)),
        (0.2, 0.7, (0.5, 0.5)),
        (0.1, 0.8, (0.1, 0.1)),
        (0.1, 0.8, (0.79, 0.8)),
        (0.4, 0.4 + 3e-6, (0.4, 0.4 + 1e-6)),
        (0.4, 0.4 + 3e-8, (0.4, 0.4 + 1e-8)),
    ],
)
def test_between_levels_the_polynomial_is_nowhere_below_m(lowest, highest, likely):
    levels = bound.Levels.of(np.array([[lowest, np.nan, highest]]), np.array(likely))
    p, k = np.linspace(lowest, highest, 501)[:, None], np.linspace(0.0, 0.999, 200)
    slopes = levels.width * k / (1 - levels.slopes[:, None] * k)
    known = np.vstack([-np.log1p(-levels.values[:, None] * k), slopes])
    weights = sum(factor * levels.way(p) ** n for n, factor in enumerate(levels.polynomials.T))
    m = -np.log1p(-p * k)
    assert (weights @ known >= m - 1e-9).all()
    assert np.abs(weights).sum(axis=1).max() <= bound.MOST_COUNTED, "errors of the maps count so many times"
    inside = (p >= likely[0]) & (p <= likely[1]) & (k < 0.9) & (highest < 0.95)
    assert ((weights @ known)[inside] <= m[inside] * 1.02 + 1e-9).all()


def test_one_probability_asks_for_one_map():
    levels = bound.Levels.of(np.array([[0.3, np.nan]]), np.array([0.3]))
    assert levels.values == [0.3]
    assert levels.slopes.size == 0
    assert levels.polynomials == [[1.0]]


def test_a_greedy_plan_that_is_known_is_not_made_again(monkeypatch):
    problem = Problem.of(**slow.area(7, most=30))
    gains = make_plan(problem, 4, exchange=False).frame["gain_cells"].to_list()
    anew = bound.certify(problem, 4)
    monkeypatch.setattr(bound, "GainMap", pytest.fail)
    known = bound.certify(problem, 4, reached=gains)
    assert (known.value, known.terms, known.ended) == (anew.value, anew.terms, anew.ended)


def test_maps_are_never_below_the_plain_sums_and_close_to_them():
    rng = np.random.default_rng(7)
    missed, p = rng.random((30, 25)), np.minimum(rng.random((30, 25)) * 1.1, bound.P_CAP)
    k = reach_kernel(60.0, 10.0, missed.shape)
    certificate = certificate_of(missed, p, k, np.array([0.3, 0.7]), engine=Engine(2, 16))
    levels = certificate.levels
    assert (np.diff(levels.values) > 0).all()
    assert (levels.values[0], levels.values[-1]) == (p.min(), p.max())
    none = np.empty(0, np.int64)
    assert certificate.at(none, none, np.empty(0), 1.0)[0] == 0.0
    np.testing.assert_allclose(certificate.at(none, none, np.empty(0), 1.0)[1], certificate.first)
    at, x, tau = (np.array([4, 20]), np.array([6, 20])), np.array([0.4, 0.9]), 0.05
    fixed, G = certificate.at(*at, x, tau)
    each = [p[i, j] * slow.weight(i, j, p.shape, 10.0, 60.0) for i, j in zip(*at, strict=True)]
    U, z = (
        sum(share * of for share, of in zip(x, part, strict=True)) for part in (each, [-np.log1p(-u) for u in each])
    )
    beta = np.where(U > 0, 1.0 / (1.0 + np.exp((U - (1.0 - np.exp(-z))) / tau)), 1.0)
    assert fixed == pytest.approx((missed * (1 - beta) * (1 - np.exp(-z) - z * np.exp(-z))).sum(), rel=0.02)
    for row, col in np.ndindex(p.shape):
        u = p[row, col] * slow.weight(row, col, p.shape, 10.0, 60.0)
        true = (missed * (beta * u - (1 - beta) * np.exp(-z) * np.log1p(-u))).sum()
        assert true * (1 - 0.02) <= G[row, col] <= true * (1.03 if 0.3 <= p[row, col] <= 0.7 else 1.6)


def test_blocks_that_hold_one_site_at_most():
    assert bound.exclusive_block(0.0, 10.0) == 1
    assert bound.exclusive_block(10.0, 10.0) == 1  # a side is 10 m: two may stand
    assert bound.exclusive_block(14.0, 10.0) == 1
    assert bound.exclusive_block(15.0, 10.0) == 2  # the diagonal is 14.14 m
    assert bound.exclusive_block(100.0, 10.0) == 8  # 7 * 14.14 = 98.99 m
    G = np.array([[5.0, 4.0, 3.0], [np.nan, 2.0, 1.0]])
    assert bound.sum_of_largest(G, 2, 1) == 9.0
    assert bound.sum_of_largest(G, 2, 2) == 8.0
    assert bound.sum_of_largest(G, 99, 2) == 8.0


def test_nothing_to_add():
    rules = {"cell_m": 10.0, "median_m": 50.0}
    w, places = np.ones((4, 4)), pd.DataFrame({"row": [1], "col": [1], "p": [0.5]})
    for found in (
        upper_bound(w, places, np.full((4, 4), np.nan), 3, **rules),
        upper_bound(w, places, np.full((4, 4), 0.5), 0, **rules),
    ):
        assert found.value == found.now > 0
        assert found.share(found.now) == 1.0
    assert np.isnan(upper_bound(np.zeros((4, 4)), places, np.full((4, 4), 0.5), 2, **rules).value)


def test_threads_and_tiles_leave_the_bound_alone():
    rng = np.random.default_rng(1)
    w, p = rng.random((40, 50)), rng.random((40, 50))
    rules = {"cell_m": 10.0, "median_m": 60.0, "spacing_m": 40.0}
    one = upper_bound(w, NONE, p, 5, engine=Engine(1), **rules)
    assert upper_bound(w, NONE, p, 5, engine=Engine(3), **rules).value == one.value
    assert upper_bound(w, NONE, p, 5, engine=Engine(2, 23), **rules).value == pytest.approx(one.value, rel=1e-5)


def test_between_points_lie_lines():
    points, out = np.array([[1.0, 4.0, 7.0], [2.0, 8.0, 14.0], [2.0, 8.0, 14.0]]), np.empty((4, 5))
    bound._between(points, 3, out)
    assert out[0] == pytest.approx([1.0, 2.0, 3.0, 4.0, 5.0])
    assert out[:, 0] == pytest.approx([1.0, 4 / 3, 5 / 3, 2.0])
    assert out[3] == pytest.approx([2.0, 4.0, 6.0, 8.0, 10.0])


@pytest.mark.parametrize("median_m", [60.0, 500.0])
def test_what_tangents_are_set_by_is_near_the_sums_over_pools(median_m):
    rng = np.random.default_rng(4)
    p = rng.uniform(0.3, 0.6, (70, 90))
    k = reach_kernel(median_m, 10.0, p.shape)
    certificate = certificate_of(np.ones(p.shape), p, k, p.ravel(), engine=Engine(1, 40))
    row, col, x = rng.integers(0, 70, 5), rng.integers(0, 90, 5), rng.random(5)
    tile, r = Tile(30, 70, 40, 80), certificate.r
    m, u = certificate._sums((row, col, p[row, col], x), tile, (40 + 2 * r, 40 + 2 * r))
    each = [
        share * p[i, j] * slow.weight(i, j, p.shape, 10.0, median_m) for i, j, share in zip(row, col, x, strict=True)
    ]
    inside = np.s_[30:70, 40:80]
    assert u[r:-r, r:-r] == pytest.approx(sum(each)[inside], abs=0.01)
    logs = sum(-share * np.log1p(-of / share) for share, of in zip(x, each, strict=True))
    assert m[r:-r, r:-r] == pytest.approx(logs[inside], abs=0.02)
    assert certificate.step == (1 if median_m == 60.0 else 4)
