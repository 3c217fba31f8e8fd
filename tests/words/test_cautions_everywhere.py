"""The cautions stand where the decision is made: maps, plan, GPX; and reported mosquitoes come before everything."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

import habitatmap
from tests.areas import centre, class_table, write_area

CLASSES = np.random.default_rng(0).integers(1, 4, (30, 30)).astype(np.uint8)
TABLE = class_table({1: 0.0, 2: 0.5, 3: 1.0})


def write_demo(folder: Path, toml: str) -> Path:
    area = write_area(folder, CLASSES, TABLE, pools=[("P1", *centre(5, 5))], toml=toml)
    habitatmap.run(habitatmap.open_area(area)).write(folder / "out")
    return folder / "out"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_demo(tmp_path_factory.mktemp("area"), "[plan]\npools = 2\n")


@pytest.mark.parametrize("name", ["map.html", "public_map.html", "plan.csv", "plan.geojson", "plan.gpx"])
def test_what_the_decision_needs_is_named(written: Path, name: str) -> None:
    text = (written / name).read_text(encoding="utf-8")
    for words in ("drown a small child", "Spare old trees", "a nest", "Wear gloves", "Follow local by-laws"):
        assert words in text


def test_reported_mosquitoes_send_each_suggestion_to_the_health_authority_first(tmp_path: Path) -> None:
    out = write_demo(tmp_path / "area", '[plan]\npools = 3\n[cautions]\nmosquitoes = "reported"\n')
    with (out / "plan.csv").open(encoding="utf-8", newline="") as f:
        cautions = [row["caution"] for row in csv.DictReader(f)]
    assert len(cautions) == 3
    assert all("ask the health authority first" in caution for caution in cautions)
    for name in ("map.html", "public_map.html", "plan.gpx"):
        assert "ask the health authority first" in (out / name).read_text(encoding="utf-8")
