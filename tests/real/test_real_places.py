"""Real places from end to end: Helsinki's centre (a raster with a legend of its own, an extract) and Kotka (no tree).

Sources, licences and known defects stand in the README beside the data (OpenStreetMap: ODbL; CORINE:
Finnish Environment Institute). Nothing of it is copied into this repository.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from habitatmap.cli.main import commands
from tests.beside import FOLDER

HELSINKI = FOLDER / "data" / "real" / "helsinki"
pytestmark = pytest.mark.skipif(not HELSINKI.is_dir(), reason="the real data do not lie beside the checkout")


def invoke(*words: str | Path) -> None:
    done = CliRunner().invoke(commands, ["-q", *map(str, words)])
    assert done.exit_code == 0, f"{done.output}\n{done.exception!r}"


def mapped(area: Path) -> dict:  # type: ignore[type-arg]
    invoke("map", area)
    held = subprocess.run([sys.executable, FOLDER / "contract", area / "out"], capture_output=True, text=True)
    assert held.returncode == 0, held.stdout
    return json.loads((area / "out" / "summary.json").read_text(encoding="utf-8"))


def inferred_legend(folder: Path) -> str:
    """The legend that was inferred for this raster, as a class table of the area's own."""
    with (HELSINKI / "land_cover_legend_inferred.csv").open(encoding="utf-8") as f:
        rows = [(r["value"], r["name"], f"corine:{r['clc_level3']}") for r in csv.DictReader(f)]
    with (folder / "legend.csv").open("w", encoding="utf-8", newline="") as f:
        csv.writer(f).writerows([("code", "label", "like"), *rows])
    return '\n[land_cover]\nclasses = "legend.csv"\n'


def test_helsinki(tmp_path: Path) -> None:
    area = tmp_path / "helsinki"
    pbf, raster = HELSINKI / "helsinki.osm.pbf", HELSINKI / "land_cover_corine20m.tif"
    invoke("new", area, "--osm", pbf, "--land-cover", raster)
    toml = area / "area.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + inferred_legend(area), encoding="utf-8")
    summary = mapped(area)
    assert summary["crs"] == "EPSG:3067"
    assert summary["intake"]["trees"]["read"] == 649  # natural=tree nodes, counted with osmium (README)
    assert summary["plan"]["pools"] == 10
    assert summary["candidates"]["lost"]["keep-away: playground"] > 0
    assert any("OpenStreetMap" in credit for credit in summary["credits"])


def test_kotka_has_no_tree(tmp_path: Path) -> None:
    area = tmp_path / "kotka"
    invoke("new", area, "--osm", HELSINKI / "kotka.osm.pbf")
    summary = mapped(area)
    assert summary["intake"]["trees"] == {"read": 0, "accepted": 0, "set_aside": 0}
    assert any("trees" in sentence.lower() for sentence in summary["missing"])
    assert summary["plan"]["pools"] > 0
