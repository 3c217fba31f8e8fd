"""Every figure of a run reckoned once more from what the run wrote, by plain sums over all cells."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from numpy.typing import NDArray

from tests.areas import LEFT, TOP, centre
from tests.commands import habitatmap
from tests.contract.town import ASSUMED, BOUNDARY, SETTINGS, SIDE, classes, keep_away, land, make_town

Array = NDArray[Any]
A_M = 250 / 1.678346990  # scale of the flight kernel, whose median is 250 m
ROW, COL = np.indices((SIDE, SIDE))
X, Y = centre(ROW, COL)
INSIDE = shapely.contains_xy(BOUNDARY, X, Y)


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    area = make_town(tmp_path_factory.mktemp("contract") / "town")
    done = habitatmap("map", area)
    assert done.code == 0, done.err
    return area


def table(town: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(town / "out" / name)


def summary(town: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((town / "out" / "summary.json").read_text(encoding="utf-8"))
    return found


def raster(town: Path, name: str) -> Array:
    with rasterio.open(town / "out" / "rasters" / f"{name}.tif") as file:
        assert file.dtypes == ("float32",)
        assert np.isnan(file.nodata)
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        return np.asarray(file.read(1), dtype=float)


def k(x: float, y: float) -> Array:
    """Share of flights from a place that get at least as far as each cell."""
    d = np.hypot(X - x, Y - y)
    return np.where(d <= 10 * A_M, (1 + d / A_M) * np.exp(-d / A_M), 0.0)


def weight(town: Path) -> Array:
    season = raster(town, "forage_season")
    return np.where(np.isnan(season), np.nan, np.where(INSIDE, season, 0.0))


def places(town: Path) -> list[tuple[str, float, float, float]]:
    pools = table(town, "pools.csv").query("standing == 'yes'")
    trees = gpd.read_file(town / "out" / "habitatmap.gpkg", layer="trees").query("rot_hole_probability >= 0.5")
    found = [(p.pool, p.x, p.y, p.occupancy) for p in pools.itertuples()]
    return found + [("tree", t.x, t.y, t.rot_hole_probability * 0.25) for t in trees.itertuples()]


def reached(some: list[tuple[str, float, float, float]]) -> Array:
    missed = np.ones((SIDE, SIDE))
    for _, x, y, p in some:
        missed *= 1 - p * k(x, y)
    return 1 - missed


def share(w: Array, reach: Array) -> float:
    return float(np.nansum(w * reach) / np.nansum(w))


def test_forage_in_reach_its_hectares_and_the_share_that_is_measured(town: Path) -> None:
    w, found = weight(town), summary(town)["forage_in_reach"]
    assert len(places(town)) == 7  # five standing pools, two of them beyond the boundary, and two rot-hole trees
    assert found["now"] == pytest.approx(share(w, reached(places(town))), abs=1e-7)
    assert found["index_ha"] == pytest.approx(found["now"] * np.nansum(w) * 0.01, rel=1e-6)
    measured = ~np.isin(classes(), list(ASSUMED))
    assert found["measured_share"] == pytest.approx(np.nansum(w[measured]) / np.nansum(w), rel=1e-6)


def test_a_pools_share_is_what_would_be_lost_without_it(town: Path) -> None:
    w, all_places = weight(town), places(town)
    for pool in table(town, "pools.csv").itertuples():
        if pool.flag:
            continue
        rest = [p for p in all_places if p[0] != pool.pool]
        lost = share(w, reached(all_places)) - share(w, reached(rest))
        assert pool.forage_in_reach == pytest.approx(lost, abs=1e-7)
    flags = table(town, "pools.csv").set_index("pool")
    assert flags["flag"].dropna().to_dict() == {
        "D": "not standing",
        "E": "outside the boundary",
        "F": "outside the boundary",
    }
    assert flags.loc[["D", "E", "F"], "forage_in_reach"].isna().all()


def test_the_plan_adds_up_row_by_row(town: Path) -> None:
    w, some, plan, found = weight(town), places(town), table(town, "plan.csv"), summary(town)["forage_in_reach"]
    assert len(plan) == 3
    np.testing.assert_allclose(plan["cumulative"], found["now"] + plan["gain"].cumsum(), atol=1e-12)
    for site in plan.itertuples():
        some.append(("site", site.x, site.y, site.occupancy_expected))
        assert site.cumulative == pytest.approx(share(w, reached(some)), abs=1e-7)
    assert found["with_plan"] == pytest.approx(plan["cumulative"].iloc[-1], abs=1e-12)
    known = ~np.isnan(raster(town, "forage_season"))
    for name, at in (("reach_now", places(town)), ("reach_with_plan", some)):
        np.testing.assert_allclose(raster(town, name)[known], reached(at)[known], atol=1e-6)
        assert np.isnan(raster(town, name)[~known]).all()


def test_once_the_plan_stands_a_run_reaches_what_was_promised(town: Path, tmp_path: Path) -> None:
    later = make_town(tmp_path / "later", SETTINGS.replace("pools = 3", "pools = 0"))
    plan = table(town, "plan.csv")
    with (later / "pools.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"new {site.rank},{site.x},{site.y}\n" for site in plan.itertuples())
    done = habitatmap("map", later)
    assert done.code == 0, done.err
    assert summary(later)["forage_in_reach"]["now"] == pytest.approx(plan["cumulative"].iloc[-1], abs=1e-9)


def test_distances_are_to_the_nearest_cell(town: Path) -> None:
    for name, source in (("forage_m", raster(town, "forage_season") >= 0.4), ("dead_wood_m", None)):
        at = np.argwhere(raster(town, "dead_wood") >= 0.5 if source is None else source)
        expected = np.min([np.hypot(ROW - r, COL - c) * 10 for r, c in at], axis=0)
        np.testing.assert_allclose(raster(town, name), expected, atol=1e-4)
        for row in table(town, "plan.csv").itertuples():
            cell = int((TOP - row.y) // 10), int((row.x - LEFT) // 10)
            assert getattr(row, name) == pytest.approx(expected[cell], abs=0.05)
    pools = table(town, "pools.csv")
    up = pools[pools["standing"] == "yes"]
    for pool in pools.itertuples():
        others = up[up["pool"] != pool.pool]
        assert pool.nearest_pool_m == pytest.approx(np.hypot(others["x"] - pool.x, others["y"] - pool.y).min())


def test_forage_access_is_the_mean_under_the_kernel(town: Path) -> None:
    season = raster(town, "forage_season")
    for row, col in ((0, 6), (17, 23), (39, 0)):
        d = np.hypot(ROW - row, COL - col) * 10
        under = np.where((d <= 7 * A_M) & ~np.isnan(season), np.exp(-d / A_M), 0)
        expected = np.nansum(under * season) / under.sum()
        assert raster(town, "forage_access")[row, col] == pytest.approx(expected, abs=1e-6)


def test_a_lost_cell_counts_under_its_first_reason(town: Path) -> None:
    points = shapely.points(X, Y)
    strictness = np.full((SIDE, SIDE), -1)
    private = np.zeros((SIDE, SIDE), dtype=bool)
    for piece in land().itertuples():
        expired = piece.until == "2025-01-01"
        asked = {"yes": 1 if expired else 0, "": 1, "no": 2}[piece.consent]
        on = shapely.contains(piece.geometry, points)
        strictness = np.where(on, np.maximum(strictness, asked), strictness)
        private |= on & (piece.private == "yes" or piece.kind == "garden")
    near_school, near_water = (
        np.any([shapely.distance(row.geometry, points) <= row.distance_m for row in part.itertuples()], axis=0)
        for _, part in keep_away().fillna({"distance_m": 30}).groupby("kind", sort=True)
    )
    pools = table(town, "pools.csv").query("standing == 'yes'")
    near_pool = np.any([np.hypot(X - p.x, Y - p.y) < 50 - 1e-9 for p in pools.itertuples()], axis=0)
    reasons = {
        "no data": np.isnan(raster(town, "forage_season")),
        "outside the boundary": ~INSIDE,
        "no land record": strictness < 0,
        "no consent": strictness == 2,
        "private land": private,
        "keep-away: school": near_school,
        "keep-away: water": near_water,
        "near a standing pool": near_pool,
    }
    left = np.ones((SIDE, SIDE), dtype=bool)
    lost = {}
    for reason, cells in reasons.items():
        lost[reason] = int((left & cells).sum())
        left &= ~cells
    found = summary(town)["candidates"]
    assert {reason: n for reason, n in found["lost"].items() if n} == {reason: n for reason, n in lost.items() if n}
    assert found["left"] == left.sum()
    assert found["all"] == sum(found["lost"].values()) + found["left"] == SIDE * SIDE
    for site in table(town, "plan.csv").itertuples():
        assert left[int((TOP - site.y) // 10), int((site.x - LEFT) // 10)]


def test_gaps_hold_forage_that_is_not_reached(town: Path) -> None:
    w, reach = weight(town), raster(town, "reach_now")
    gaps = gpd.read_file(town / "out" / "habitatmap.gpkg", layer="gaps")
    assert len(gaps) == summary(town)["gaps"]["count"] > 0
    within = np.zeros((SIDE, SIDE), dtype=bool)
    for gap in gaps.itertuples():
        on = shapely.contains_xy(gap.geometry, X, Y)
        assert gap.area_ha == pytest.approx(on.sum() * 0.01)
        assert gap.share == pytest.approx(w[on].sum() / np.nansum(w), rel=1e-6)
        within |= on
    assert (w[within] >= 0.25).all()
    assert (reach[within] < 0.8).all()
    assert summary(town)["gaps"]["share"] == pytest.approx(w[within].sum() / np.nansum(w), rel=1e-6)
