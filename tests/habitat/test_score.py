"""Forage, dead wood and the whole of what a small area offers, by hand."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import psutil
import pytest
from numpy.typing import NDArray
from shapely import box

from habitatmap.area import Area
from habitatmap.geo import engine, scratch
from habitatmap.geo.engine import Engine
from habitatmap.geo.grid import Grid
from habitatmap.habitat.access import access_and_share
from habitatmap.habitat.dead_wood import dead_wood
from habitatmap.habitat.forage import (
    MONTHS,
    MonthlyForage,
    forage_bounds,
    forage_by_month,
    least_forage,
    season_mean,
    season_months,
)
from habitatmap.habitat.score import score_habitat
from habitatmap.read.land_cover import LandCover
from habitatmap.read.settings import Settings
from tests.areas import small_area

GRID = Grid(0.0, 30.0, 10.0, 3, 4)
NO_TREES = pd.DataFrame({"x": [], "y": [], "genus": [], "condition": []}).astype({"genus": str, "condition": str})


class Trees:
    """Made-up worth: linden flowers in month 6, willow in month 3; each crown 50 m2; oaks are likely hollow."""

    def forage(self, trees: pd.DataFrame) -> NDArray[np.float64]:
        out = np.zeros((len(trees), 12))
        out[trees["genus"] == "Tilia", 5] = 0.8
        out[trees["genus"] == "Salix", 2] = 1.0
        out[trees["genus"] == ""] = np.nan
        return out

    def crown_m2(self, trees: pd.DataFrame) -> NDArray[np.float64]:
        return np.full(len(trees), 50.0)

    def rot_hole_probability(self, trees: pd.DataFrame) -> NDArray[np.float64]:
        return np.where(trees["genus"] == "Quercus", 0.6, np.where(trees["genus"] == "", np.nan, 0.1))


def cover(classes: list[list[int]]) -> LandCover:
    """Class 1: meadow, 0.4 from month 4 to 9; class 2: wood, 0.1 all year, dead wood 0.7; class 3: nothing known."""
    table = pd.DataFrame(index=range(3), columns=["code", *MONTHS, "dead_wood", "assumed"], dtype=object)
    table[MONTHS] = np.array([[0, 0, 0, *[0.4] * 6, 0, 0, 0], [0.1] * 12, [np.nan] * 12])
    table["dead_wood"] = [0.0, 0.7, np.nan]
    table["assumed"] = ["", "", "garden"]
    table["forage_low"], table["forage_high"] = [0.2, np.nan, np.nan], [0.6, 5.0, np.nan]
    return LandCover(np.array(classes, dtype=np.uint16), table, [], "made up")


COVER = cover([[1, 1, 2, 0], [1, 1, 2, 3], [2, 2, 2, 3]])


def trees(*rows: tuple[float, float, str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["x", "y", "genus", "condition"])


def test_classes_by_month() -> None:
    forage = forage_by_month(COVER, NO_TREES, Trees(), GRID)
    assert forage.shape == (12, 3, 4)
    assert forage.dtype == np.float32
    assert forage[4, 0].tolist() == pytest.approx([0.4, 0.4, 0.1, np.nan], nan_ok=True)
    assert forage[0, 0, 0] == 0
    assert np.isnan(forage[:, 1:, 3]).all()


def test_trees_add_their_crowns() -> None:
    stand = trees(
        (5, 25, "Tilia", "living"),
        (6, 24, "Tilia", ""),
        (15, 25, "Tilia", "dead"),
        (25, 25, "", "living"),
        (99, 5, "Tilia", "living"),
    )
    forage = forage_by_month(COVER, stand, Trees(), GRID)
    plain = forage_by_month(COVER, NO_TREES, Trees(), GRID)
    # two crowns of half a cell at 0.8 on 0.4 of meadow: 1.2, and a cell holds 1
    assert forage[5, 0, 0] == 1
    expected = np.array(plain)
    expected[5, 0, 0] = 1
    assert np.array_equal(forage, expected, equal_nan=True), "dead, nameless and distant trees add nothing"
    one = forage_by_month(COVER, stand[:1], Trees(), GRID)
    assert one[5, 0, 0] == pytest.approx(0.8)


def test_a_tree_makes_no_ground_known() -> None:
    forage = forage_by_month(COVER, trees((35, 25, "Tilia", "living")), Trees(), GRID)
    assert np.isnan(forage[:, 0, 3]).all()
    assert np.isnan(forage_by_month(None, trees((35, 25, "Tilia", "living")), Trees(), GRID)).all()


def test_seasons() -> None:
    assert season_months(3, 10) == [3, 4, 5, 6, 7, 8, 9, 10]
    assert season_months(10, 2) == [10, 11, 12, 1, 2]
    assert season_months(5, 5) == [5]


def test_season_mean_of_the_known_months() -> None:
    forage = np.full((12, 1, 2), np.nan, dtype=np.float32)
    forage[3, 0, 0], forage[5, 0, 0], forage[11, 0, 0] = 0.2, 0.6, 1.0
    assert season_mean(MonthlyForage.of(forage), 3, 10)[0].tolist() == pytest.approx([0.4, np.nan], nan_ok=True)


def test_the_month_of_least_forage_is_one_for_the_area() -> None:
    forage = np.full((12, 1, 3), 0.5, dtype=np.float32)
    forage[6, 0] = [0.1, 0.9, np.nan]
    forage[7, 0] = [0.6, 0.2, 0.2]
    values, month = least_forage(MonthlyForage.of(forage), 5, 9)
    assert month == 8
    assert values[0].tolist() == pytest.approx([0.6, 0.2, 0.2])
    _, inside = least_forage(MonthlyForage.of(forage), 5, 9, np.array([[True, False, False]]))
    assert inside == 7
    assert least_forage(MonthlyForage.of(np.full_like(forage, 0.3)), 5, 9)[1] == 5, "of equal months the first"
    values, month = least_forage(MonthlyForage.of(np.full_like(forage, np.nan)), 5, 9)
    assert month is None
    assert np.isnan(values).all()


def test_dead_wood_and_its_trees() -> None:
    stand = trees(
        (5, 25, "Quercus", "living"),  # 0.6 on a meadow of 0
        (5, 15, "Quercus", "log"),  # lies: 1
        (25, 25, "Quercus", ""),  # 0.6 on a wood of 0.7: at most 1
        (35, 15, "", "living"),  # nothing known of tree or ground
        (35, 5, "Tilia", "living"),  # 0.1 on unknown ground
    )
    wood = dead_wood(COVER, stand, Trees(), GRID)
    expected = [[0.6, 0, 1, np.nan], [1, 0, 0.7, np.nan], [0.7, 0.7, 0.7, 0.1]]
    np.testing.assert_allclose(wood, expected, rtol=1e-6)
    alone = dead_wood(None, stand, Trees(), GRID)
    assert np.isnan(alone).sum() == 12 - 4


@pytest.mark.parametrize("condition", ["dead", "stump", "log"])
def test_dead_wood_of_each_kind_counts_fully(condition: str) -> None:
    wood = dead_wood(None, trees((5, 25, "", condition)), Trees(), GRID)
    assert wood[0, 0] == 1
    assert np.isnan(wood).sum() == 11


def test_trees_outside_the_frame_count_nowhere() -> None:
    outside = trees((-5, 25, "Quercus", "log"), (45, 25, "Quercus", "log"), (5, -5, "Quercus", "log"))
    assert np.isnan(dead_wood(None, outside, Trees(), GRID)).all()
    assert np.array_equal(
        forage_by_month(COVER, outside.assign(genus="Tilia", condition="living"), Trees(), GRID),
        forage_by_month(COVER, NO_TREES, Trees(), GRID),
        equal_nan=True,
    )


def test_bounds_of_the_forage_follow_those_of_the_peak_month() -> None:
    season = season_mean(forage_by_month(COVER, NO_TREES, Trees(), GRID), 4, 9)
    low, high = forage_bounds(COVER, season)
    # meadow: 0.2 to 0.6 at a peak of 0.4, so half to one and a half of 0.4; wood: 0.1 to 5.0 at 0.1, so at most 1
    np.testing.assert_allclose(low[0], [0.2, 0.2, 0.1, np.nan], rtol=1e-6)
    np.testing.assert_allclose(high[0], [0.6, 0.6, 1.0, np.nan], rtol=1e-6)
    assert forage_bounds(None, season)[1] is season


def area(first_month: int = 4, **changes: Any) -> Area:
    stated = {"season": {"first_month": first_month, "last_month": 9}, "flight": {"forage_median_m": 20.0}}
    parts = {"grid": GRID, "land_cover": COVER, "trees": NO_TREES, "tree_table": Trees(), "boundary": None}
    return replace(small_area(), settings=Settings.model_validate(stated), **(parts | changes))


def test_the_whole_offer() -> None:
    found = score_habitat(area(trees=trees((15, 15, "Fraxinus", "dead")), boundary=box(0, 0, 30, 20)))
    assert found.least_forage_month == 4
    np.testing.assert_allclose(found.season[:, :3], [[0.4, 0.4, 0.1], [0.4, 0.4, 0.1], [0.1, 0.1, 0.1]], rtol=1e-6)
    # the threshold of 0.4 is met by meadow, whatever the rounding of its mean
    np.testing.assert_allclose(found.forage_m[:, :3], [[0, 0, 10], [0, 0, 10], [10, 10, 200**0.5]])
    assert found.dead_wood_m[:, 0].tolist() == [pytest.approx(200**0.5), 10, 0]
    assert found.inside.tolist() == [[False] * 4, [True] * 3 + [False], [True] * 3 + [False]]
    np.testing.assert_allclose(
        found.weight, [[0, 0, 0, np.nan], [0.4, 0.4, 0.1, np.nan], [0.1, 0.1, 0.1, np.nan]], rtol=1e-6
    )
    assert np.isnan(found.access[0, 3]), "a cell without data has no score"
    assert (found.access_share > 0).all()
    assert found.measured.tolist() == [[True, True, True, False], [True] * 3 + [False], [True] * 3 + [False]]


def test_the_month_of_least_forage_is_that_inside_the_boundary() -> None:
    # over all cells it is month 4, where meadow has begun; in the wood alone all months are alike, so the first counts
    willows = trees((25, 15, "Salix", "living"), (25, 5, "Salix", "living"))
    assert score_habitat(area(3, trees=willows, boundary=box(20, 0, 30, 30))).least_forage_month == 4
    assert score_habitat(area(3, trees=willows)).least_forage_month == 3


def test_a_tree_on_unknown_ground_tells_nothing_of_the_dead_wood_around() -> None:
    plain, with_log = score_habitat(area()), score_habitat(area(trees=trees((35, 15, "Quercus", "log"))))
    assert with_log.dead_wood[1, 3] == 1
    np.testing.assert_array_equal(with_log.dead_wood_access, plain.dead_wood_access)
    assert np.isnan(plain.dead_wood_access[1, 3])
    assert plain.dead_wood_access[0, 2] > plain.dead_wood_access[0, 0] > 0


def test_scores_stand_where_the_class_tells_of_forage_or_of_dead_wood() -> None:
    told = cover([[1, 2, 3, 0], [1, 2, 3, 3], [1, 1, 1, 1]])
    told.table.loc[0, "dead_wood"] = np.nan  # the meadow's forage alone is known
    told.table.loc[2, "dead_wood"] = 0.5  # and of class 3 the dead wood alone
    found = score_habitat(area(land_cover=told))
    assert np.isnan(found.access[0]).tolist() == [False, False, True, True]
    assert np.isnan(found.dead_wood_access[0]).tolist() == [False, False, False, True]
    assert found.dead_wood_access[0, 2] == pytest.approx(0.5, abs=0.2)


def test_without_land_cover_only_trees_are_known() -> None:
    found = score_habitat(area(land_cover=None, trees=trees((15, 15, "Fraxinus", "log"))))
    assert found.least_forage_month is None
    assert np.isnan(found.access).all()
    assert np.isnan(found.dead_wood_access).all()
    assert np.isnan(found.forage_m).all()
    assert found.dead_wood_m[1, 2] == 10
    assert not found.measured.any()


def test_nothing_given_is_changed() -> None:
    stand = trees((5, 25, "Quercus", "living"))
    before, classes = stand.copy(), COVER.classes.copy()
    score_habitat(area(trees=stand))
    pd.testing.assert_frame_equal(stand, before)
    assert np.array_equal(COVER.classes, classes)


@pytest.fixture
def cluster() -> Iterator[Engine]:
    """Two processes of a Dask cluster, and tiles of 24 cells."""
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as here,
        distributed.Client(here, set_as_default=False) as client,  # as the command has it
    ):
        yield Engine(tile_cells=24, client=client)


def test_a_cluster_gives_the_answer_of_threads(cluster: Engine) -> None:
    rng = np.random.default_rng(4)
    grid = Grid(0.0, 400.0, 10.0, 40, 50)
    stand = trees(*((*xy, "Quercus", "living") for xy in rng.uniform(0, 400, (60, 2))))
    place = area(grid=grid, land_cover=cover(rng.integers(0, 4, grid.shape).tolist()), trees=stand)
    by_threads, by_cluster = score_habitat(place, Engine(threads=2)), score_habitat(place, cluster)
    assert (by_threads.dead_wood_m > 0).any()
    for name, values in vars(by_threads).items():
        np.testing.assert_allclose(vars(by_cluster)[name], values, atol=1.5e-6, err_msg=name)


LARGE_FIELD = np.random.default_rng(3).random((200, 180), dtype=np.float32)
LARGE_FIELD[:40, :60] = np.nan


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not tell where a file without a name is")
@pytest.mark.parametrize("way", ["in the files of the rasters", "sent"])
def test_however_tiles_reach_the_workers_the_answer_is_that_of_threads(
    cluster: Engine, way: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = access_and_share(LARGE_FIELD, 10.0, 60.0, Engine(threads=1))
    monkeypatch.setattr(scratch, "LARGE", 0)
    if way == "sent":  # as if the workers were on another machine
        id_of = scratch._id_of
        monkeypatch.setattr(scratch, "_id_of", lambda file: ("of another machine", *id_of(file)[1:]))
    else:
        monkeypatch.setattr(engine, "_cut_out", lambda *_: pytest.fail("a block was cut out here"))
    found = access_and_share(scratch.copied(LARGE_FIELD), 10.0, 60.0, cluster)
    for one, other in zip(found, expected, strict=True):
        np.testing.assert_allclose(one, other, atol=1.5e-6)


@pytest.mark.parametrize("large", [0, 10**9], ids=["in the files of the rasters", "sent"])
def test_a_worker_that_is_killed_changes_nothing(cluster: Engine, large: int, monkeypatch: pytest.MonkeyPatch) -> None:
    expected = access_and_share(LARGE_FIELD, 10.0, 60.0, Engine(threads=1))
    monkeypatch.setattr(scratch, "LARGE", large)
    values = scratch.copied(LARGE_FIELD)
    victim = next(iter(cluster.client.run(os.getpid).values()))
    killer = threading.Timer(0.3, os.kill, (victim, signal.SIGKILL))
    killer.start()
    found = [access_and_share(values, 10.0, 60.0, cluster) for _ in range(3)]
    killer.join()
    assert not psutil.pid_exists(victim) or psutil.Process(victim).status() == psutil.STATUS_ZOMBIE
    for answer in found:
        for one, other in zip(answer, expected, strict=True):
            np.testing.assert_allclose(one, other, atol=1.5e-6)
