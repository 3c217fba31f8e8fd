"""Wrong and poor input on the command line: one sentence and the promised exit code, never a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import box

from tests.areas import LEFT, TOP, centre, class_table, write_area
from tests.commands import Done, habitatmap

CLASSES = np.random.default_rng(0).integers(1, 4, (30, 30)).astype(np.uint8)
TABLE = class_table({1: 0.0, 2: 0.5, 3: 1.0}, {1: 0.0, 2: 0.0, 3: 0.75})
EVERYWHERE = box(LEFT - 10, TOP - 310, LEFT + 310, TOP + 10)
POOLS = [("P1", *centre(5, 5)), ("P2", *centre(20, 20))]


def fails(done: Done, *words: str) -> None:
    """Exit 2, no traceback, and a last line on stderr that names what matters."""
    assert done.code == 2, done.err
    assert "Traceback" not in done.err
    last = done.err.strip().splitlines()[-1]
    for word in words:
        assert word in last, f"{word!r} is not in {last!r}"


def works(done: Done, out: Path) -> dict:  # type: ignore[type-arg]
    assert done.code == 0, done.err
    return json.loads((out / "summary.json").read_text(encoding="utf-8"))


def test_no_folder(tmp_path: Path) -> None:
    fails(habitatmap("map", tmp_path / "nowhere"), "nowhere")


def test_empty_folder(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    fails(habitatmap("map", tmp_path / "empty"), "pools", "land_cover")
    assert list((tmp_path / "empty").iterdir()) == []


def test_unknown_key_names_the_nearest(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS, toml="[plan]\npoools = 3\n")
    fails(habitatmap("map", area), "area.toml", "plan.poools", "plan.pools")


def test_land_cover_without_crs(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS, crs=None)
    fails(habitatmap("map", area), "land_cover.tif", "source_crs")


def test_geographic_crs(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS)
    toml = area / "area.toml"
    toml.write_text(toml.read_text().replace("EPSG:32632", "EPSG:4326"))
    fails(habitatmap("map", area), "EPSG:4326", "area.toml", "metres")


def test_no_valid_cell(tmp_path: Path) -> None:
    fails(habitatmap("map", write_area(tmp_path / "a", np.zeros((9, 9), np.uint8), TABLE)), "land_cover.tif")


def test_truncated_raster(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", np.repeat(np.repeat(CLASSES, 20, 0), 20, 1), TABLE, pools=POOLS)
    raster = area / "land_cover.tif"
    raster.write_bytes(raster.read_bytes()[: raster.stat().st_size // 2])
    fails(habitatmap("map", area), "land_cover.tif")


def test_pools_outside_the_raster_are_accepted_flagged_and_not_scored(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=[*POOLS, ("far", LEFT + 9000, TOP)])
    summary = works(habitatmap("map", area), area / "out")
    assert summary["intake"]["pools"] == {"read": 3, "accepted": 3, "set_aside": 0}
    rows = (area / "out" / "pools.csv").read_text().splitlines()
    assert any(row.startswith("far,") and "outside the data" in row for row in rows)


@pytest.mark.parametrize("given", ["no file", "headings only"])
def test_zero_pools_still_plan_the_first_ones(tmp_path: Path, given: str) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=None if given == "no file" else [])
    summary = works(habitatmap("map", area), area / "out")
    assert summary["plan"]["pools"] > 0
    assert summary["forage_in_reach"]["now"] == 0
    assert summary["occupancy"]["naive"] is None
    assert any("pool" in sentence for sentence in summary["missing"])


def test_all_land_refused_is_a_result_with_a_word(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS, land=[("Park", "no", EVERYWHERE)])
    summary = works(habitatmap("map", area), area / "out")
    assert summary["plan"]["pools"] == 0
    assert summary["plan"]["note"]
    assert summary["candidates"]["left"] == 0


def test_no_visits_leave_expert_values_that_say_so(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS)
    summary = works(habitatmap("map", area), area / "out")
    assert summary["occupancy"]["estimate"] is None
    assert summary["occupancy"]["basis"].startswith("not estimated: no site was searched")
    rows = (area / "out" / "pools.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert rows
    assert all("expert value" in row for row in rows)
    assert any("visits" in sentence.lower() for sentence in summary["missing"])


def test_one_sheet_of_lat_and_lon_gives_a_map(tmp_path: Path) -> None:
    area = tmp_path / "sheet"
    area.mkdir()
    (area / "pools.csv").write_text("pool,lat,lon\nA,52.1001,7.2001\nB,52.1010,7.2020\nC,52.1030,7.2003\n")
    summary = works(habitatmap("map", area), area / "out")
    assert summary["intake"]["pools"]["accepted"] == 3
    assert summary["forage_in_reach"]["now"] is None
    assert any("land cover" in sentence.lower() for sentence in summary["missing"])
    assert (area / "out" / "map.html").exists()


def test_strict_ends_with_1_and_writes_all_the_same(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS)
    done = habitatmap("map", area, "--strict")
    assert done.code == 1
    assert (area / "out" / "summary.json").exists()


def test_dry_run_writes_nothing(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS)
    done = habitatmap("map", area, "--dry-run")
    assert done.code == 0
    assert not (area / "out").exists()


def test_json_goes_to_stdout_and_nothing_else(tmp_path: Path) -> None:
    area = write_area(tmp_path / "a", CLASSES, TABLE, pools=POOLS)
    done = habitatmap("map", area, "--json", "--out", tmp_path / "elsewhere")
    assert json.loads(done.out)["title"] == "A test area"
    assert (tmp_path / "elsewhere" / "plan.csv").exists()
    assert not (area / "out").exists()


def test_unknown_command_and_option(tmp_path: Path) -> None:
    assert habitatmap("mapp", tmp_path).code == 2
    assert habitatmap("map", tmp_path, "--fast").code == 2
