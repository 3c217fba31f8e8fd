"""The main job on areas small enough to be reckoned cell by cell, by code that shares nothing with the package."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import lambertw
from shapely.geometry import Point, box

import habitatmap
from tests.areas import LEFT, TOP, centre, class_table, write_area

MEDIAN_M, SPACING_M, CHANCE, NEW = 40.0, 30.0, 0.7, 0.5
SHAPE = (14, 16)
FORAGE = {1: 0.0, 2: 0.25, 3: 0.5, 4: 1.0}
DEAD_WOOD = {1: 0.0, 2: 0.25, 3: 0.0, 4: 0.75}
SETTINGS = f"""
[flight]
forage_median_m = {MEDIAN_M}
merge_m = 0
[occupancy]
existing = {CHANCE}
new = {NEW}
[plan]
pools = 3
spacing_m = {SPACING_M}
consent = ["yes"]
[keep_away]
school = 20
"""


def reach_weight(d: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of 2-D exponential flights that get at least d far.

    The median m solves (1 + m/a) exp(-m/a) = 1/2, so m/a = -1 - W(-1/(2e)) on the lower branch = 1.678347.
    """
    a = MEDIAN_M / float(-1 - lambertw(-1 / (2 * np.e), -1).real)
    return np.where(d <= 10 * a, (1 + d / a) * np.exp(-d / a), 0.0)


class Brute:
    """Everything by plain sums over all cells."""

    def __init__(self, classes: NDArray[np.uint8], pools: list[tuple[int, int]], allowed: NDArray[np.bool_]) -> None:
        self.rows, self.cols = (g.ravel() for g in np.indices(classes.shape))
        self.w = np.array([np.nan, *FORAGE.values()])[classes].ravel()
        self.allowed = allowed
        self.missed = np.ones(classes.size)
        for cell in pools:
            self.missed *= 1 - CHANCE * self.k(cell)

    def k(self, cell: tuple[int, int]) -> NDArray[np.float64]:
        return reach_weight(np.hypot(self.rows - cell[0], self.cols - cell[1]) * 10.0)

    def reach(self, sites: list[tuple[int, int]]) -> float:
        missed = self.missed.copy()
        for cell in sites:
            missed *= 1 - NEW * self.k(cell)
        return float(np.nansum(self.w * (1 - missed)) / np.nansum(self.w))

    def apart(self, sites: list[tuple[int, int]]) -> bool:
        return all(np.hypot(a[0] - b[0], a[1] - b[1]) * 10 >= SPACING_M for a, b in itertools.combinations(sites, 2))

    def cells(self) -> list[tuple[int, int]]:
        return [(int(r), int(c)) for r, c in np.argwhere(self.allowed)]

    def greedy(self, n: int) -> list[tuple[int, int]]:
        sites: list[tuple[int, int]] = []
        for _ in range(n):
            free = [c for c in self.cells() if self.apart([*sites, c])]
            # rounded, so that equal gains are a tie: the lowest row, then column
            sites.append(max(free, key=lambda c: (round(self.reach([*sites, c]), 12), -c[0], -c[1])))
        return sites

    def best(self, n: int) -> float:
        """The best of all combinations, by extending every allowed set."""
        return max(self.reach(list(s)) for s in itertools.combinations(self.cells(), n) if self.apart(list(s)))


@pytest.fixture(scope="module", params=[1, 2, 3])
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(request.param)
    classes = rng.integers(1, 5, SHAPE).astype(np.uint8)
    classes[rng.random(SHAPE) < 0.08] = 0
    pools = [(3, 4), (9, 12)]
    park = box(LEFT + 20, TOP - 120, LEFT + 110, TOP - 40)  # rows 4-11, columns 2-10
    refused = box(LEFT + 60, TOP - 120, LEFT + 80, TOP - 40)  # columns 6-7
    school = Point(centre(10, 3))
    folder = write_area(
        tmp_path_factory.mktemp("tiny"),
        classes,
        class_table(FORAGE, DEAD_WOOD),
        pools=[(f"P{i}", *centre(*cell)) for i, cell in enumerate(pools)],
        land=[("Park", "yes", park), ("Yard", "no", refused)],
        keep_away=[("school", school)],
        toml=SETTINGS,
    )
    rows, cols = np.indices(SHAPE)
    allowed = (classes > 0) & (rows >= 4) & (rows <= 11) & (cols >= 2) & (cols <= 10) & ~np.isin(cols, [6, 7])
    allowed &= np.hypot(rows - 10, cols - 3) * 10 > 20
    for r, c in pools:
        allowed &= np.hypot(rows - r, cols - c) * 10 >= SPACING_M
    return habitatmap.run(habitatmap.open_area(folder), public=False), Brute(classes, pools, allowed), classes, pools


def sites_of(frame) -> list[tuple[int, int]]:  # type: ignore[no-untyped-def]
    return [(int((TOP - r.y) // 10), int((r.x - LEFT) // 10)) for r in frame.itertuples()]


def test_forage_in_reach_is_the_plain_sum(case) -> None:  # type: ignore[no-untyped-def]
    result, brute, _, _ = case
    assert result.figures.forage_in_reach.now == pytest.approx(brute.reach([]), rel=1e-9)


def test_plan_is_brute_force_greedy(case) -> None:  # type: ignore[no-untyped-def]
    result, brute, _, _ = case
    expected = brute.greedy(3)
    assert sites_of(result.plan) == expected
    for n, row in enumerate(result.plan.itertuples(), 1):
        assert row.cumulative == pytest.approx(brute.reach(expected[:n]), abs=1e-9)


def test_better_set_and_bound_against_all_combinations(case) -> None:  # type: ignore[no-untyped-def]
    result, brute, _, _ = case
    best, reach = brute.best(3), result.figures.forage_in_reach
    exchanged = reach.with_plan + result.figures.plan.exchange_gain
    now = brute.reach([])
    assert exchanged <= best + 1e-9
    assert exchanged - now >= 0.99 * (best - now)
    assert best <= reach.upper_bound + 1e-12
    assert reach.upper_bound - now <= 1.05 * (best - now)


def test_distances_are_exact(case) -> None:  # type: ignore[no-untyped-def]
    result, _, classes, _ = case
    rows, cols = np.indices(SHAPE)
    for name, source in (("forage_m", np.isin(classes, [3, 4])), ("dead_wood_m", classes == 4)):
        at = np.argwhere(source)
        expected = np.min([np.hypot(rows - r, cols - c) * 10 for r, c in at], axis=0)
        np.testing.assert_allclose(result.rasters[name], expected, rtol=1e-6)


def test_candidates_are_counted_under_their_first_reason(case) -> None:  # type: ignore[no-untyped-def]
    result, brute, _, _ = case
    counted = result.figures.candidates
    assert counted.left == brute.allowed.sum()
    assert counted.all == sum(counted.lost.values()) + counted.left


def test_a_pools_share_is_what_would_be_lost_without_it(case) -> None:  # type: ignore[no-untyped-def]
    result, _, classes, pools = case
    for i, pool in enumerate(result.pools.itertuples()):
        rest = Brute(classes, [c for j, c in enumerate(pools) if j != i], np.ones(SHAPE, bool))
        both = Brute(classes, pools, np.ones(SHAPE, bool))
        assert pool.forage_in_reach == pytest.approx(both.reach([]) - rest.reach([]), abs=1e-12)


def test_no_site_on_refused_land_or_nearer_than_the_spacing(case) -> None:  # type: ignore[no-untyped-def]
    result, brute, _, _ = case
    assert {where.inside for where in result.plan["place"]} == {"Park"}
    assert all(brute.allowed[s] for s in sites_of(result.plan))
    assert (result.plan["nearest_pool_m"] >= SPACING_M).all()


def test_a_rerun_with_the_plan_set_out_reaches_what_was_promised(tmp_path: Path) -> None:
    """cumulative is what a rerun finds once those pools stand (existing = new, merge_m = 0)."""
    classes = np.random.default_rng(4).integers(1, 5, SHAPE).astype(np.uint8)
    pools = [(3, 4), (9, 12)]
    same = SETTINGS.replace(f"existing = {CHANCE}", f"existing = {NEW}")
    now = [(f"P{i}", *centre(*cell)) for i, cell in enumerate(pools)]
    first = habitatmap.run(
        habitatmap.open_area(write_area(tmp_path / "a", classes, class_table(FORAGE, DEAD_WOOD), pools=now, toml=same)),
        public=False,
    )
    added = [(f"N{r.rank}", r.x, r.y) for r in first.plan.itertuples()]
    again = habitatmap.run(
        habitatmap.open_area(
            write_area(tmp_path / "b", classes, class_table(FORAGE, DEAD_WOOD), pools=now + added, toml=same)
        ),
        public=False,
    )
    reach = again.figures.forage_in_reach.now
    assert len(first.plan) == 3
    assert reach == pytest.approx(first.plan["cumulative"].iloc[-1], abs=1e-9)
