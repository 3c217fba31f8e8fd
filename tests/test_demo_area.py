"""The demo town: its script writes what is committed, its truth is what it says, and it is nobody's."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely

from tests.demo import DEMO, demo_script

FILES = sorted(
    path.relative_to(DEMO).as_posix()
    for path in DEMO.rglob("*")
    if path.suffix in (".toml", ".csv", ".geojson", ".tif") and "out" not in path.relative_to(DEMO).parts
)


@pytest.fixture(scope="module")
def again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    demo_script().main(folder)
    return folder


def rows(name: str) -> list[dict[str, str]]:
    with (DEMO / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_script_writes_the_same_set_of_files(again: Path) -> None:
    assert sorted(p.relative_to(again).as_posix() for p in again.rglob("*") if p.is_file()) == FILES


@pytest.mark.parametrize("name", FILES)
def test_the_script_writes_what_is_committed(again: Path, name: str) -> None:
    """Texts byte for byte. The raster by its cells, as its compression may differ between versions of the library."""
    if name.endswith(".tif"):
        with rasterio.open(DEMO / name) as old, rasterio.open(again / name) as new:
            assert (old.crs, old.transform, old.nodata) == (new.crs, new.transform, new.nodata)
            np.testing.assert_array_equal(old.read(1), new.read(1))
    elif name.endswith(".geojson"):
        old, new = (json.loads((folder / name).read_text(encoding="utf-8"))["features"] for folder in (DEMO, again))
        assert [f["properties"] for f in old] == [f["properties"] for f in new]
        for a, b in zip(old, new, strict=True):
            shapes = [shapely.from_geojson(json.dumps(f["geometry"])) for f in (a, b)]
            # a hand's breadth, as another version of the geometry library may round a cut otherwise
            assert shapely.hausdorff_distance(*shapes) < 1e-6
    else:
        assert (DEMO / name).read_bytes() == (again / name).read_bytes()


def test_the_town_is_small_enough_to_ship() -> None:
    assert sum((DEMO / name).stat().st_size for name in FILES) < 1_200_000


def test_the_town_says_that_it_is_invented() -> None:
    assert "invented" in (DEMO / "area.toml").read_text(encoding="utf-8").split("\n\n")[0]
    assert "Invented from beginning to end" in (DEMO / "README.md").read_text(encoding="utf-8")


def test_no_host_and_no_observer_has_a_name() -> None:
    hosts = {row["host"] for row in rows("pools.csv")}
    observers = {row["observer"] for row in rows("visits.csv")} - {""}
    assert {host.rstrip("0123456789 ") for host in hosts} == {"host", "council"}
    assert {observer.rstrip("0123456789 ") for observer in observers} == {"volunteer"}


def test_between_forty_and_sixty_pools_and_two_seasons() -> None:
    assert 40 <= len({row["pool"] for row in rows("pools.csv")} - {""}) <= 60
    assert {row["date"][:4] for row in rows("visits.csv")} == {"2024", "2025", ""}


def test_the_odd_rows_are_there() -> None:
    pools, visits = rows("pools.csv"), rows("visits.csv")
    names = {row["pool"] for row in pools}
    assert "" in names
    assert any(row["date"] == "2025-02-30" for row in visits)
    assert {row["pool"] for row in visits} - names == {"Q77", "Total"}
    assert len(visits) - len({tuple(row.values()) for row in visits}) == 1


def test_looks_find_larvae_about_as_often_as_the_truth_says() -> None:
    """Every pool is occupied with chance 1/2 and found with chance 1/2, so a look finds larvae with chance 1/4.

    Pools are the independent units: with n of them the share of occupied ones has a standard error of 1 / (2 sqrt n).
    """
    looks = [row for row in rows("visits.csv") if row["outcome"] in ("larvae", "none seen")]
    pools = {row["pool"] for row in looks}
    found = {row["pool"] for row in looks if row["outcome"] == "larvae"}
    assert abs(len(found) / len(pools) - demo_script().TRUE_OCCUPANCY) < 3 * 0.5 / len(pools) ** 0.5
    in_found = [row["outcome"] == "larvae" for row in looks if row["pool"] in found]
    assert 0.4 < np.mean(in_found) < 0.7  # a little above 1/2, as pools where nothing was found are left out


def test_pools_stand_on_ground_where_one_can_stand() -> None:
    codes = {name: i for i, name in enumerate(demo_script().CLASSES, 1)}
    with rasterio.open(DEMO / "land_cover.tif") as raster:
        under = [int(v[0]) for v in raster.sample([(float(r["x"]), float(r["y"])) for r in rows("pools.csv")])]
    assert not {codes["water"], codes["sealed"], codes["pitch"], 0} & set(under)
