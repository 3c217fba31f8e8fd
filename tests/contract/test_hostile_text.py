"""Text of any kind, in every field that takes text, goes through every command and does nothing there."""

from __future__ import annotations

import csv
import json
import re
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from defusedxml import ElementTree
from shapely.geometry import box

from tests.areas import LEFT, TOP, centre, class_table, write_area
from tests.commands import habitatmap

NASTY = [
    "</script><script>alert(1)</script>{{ 7*7 }}{% x %}",
    "=cmd|' /C calc'!A0",
    "abc\u202edcba\u202c 🪰 \"q\" 'q' \\ $x$ #f()",
    "\ud800 lone",
    "x" * 10_000,
]
NUMBER = re.compile(r"[+-]?\d+(\.\d+)?(e[+-]?\d+)?")


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pools and visits as GeoJSON, which can hold a lone surrogate; all other text in the CSV and GeoPackage files."""
    area = write_area(
        tmp_path_factory.mktemp("hostile") / "Wälder & Städtchen #2, 100 %",
        np.full((16, 16), 2, np.uint8),
        class_table({2: 0.5}).replace("class 2", NASTY[0]),
        land=[
            (text.encode("utf-8", "replace").decode(), "yes", box(LEFT, TOP - 160, LEFT + 160, TOP)) for text in NASTY
        ],
        toml='credits = ["</script>", "[% 1 %]"]\n'
        '[plan]\npools = 1\nspacing_m = 30\n[sheets]\ncontact = "=1+1 </script>"\n',
    )
    features = [
        {
            "type": "Feature",
            "properties": dict.fromkeys(["pool", "container", "filling", "shade", "host", "note"], text)
            | {"private": "no"},
            "geometry": {"type": "Point", "coordinates": [9.0005 + i * 0.0003, 48.7528]},
        }
        for i, text in enumerate(NASTY)
    ]
    collection = {"type": "FeatureCollection", "features": features}
    (area / "pools.geojson").write_text(json.dumps(collection), encoding="utf-8")
    with (area / "visits.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["pool", "date", "outcome", "taxon", "action", "observer", "note"])
        for text in (t.encode("utf-8", "replace").decode() for t in NASTY):
            table.writerow([text, "2025-06-01", "larvae", text, text, text, text])
            table.writerow([text, text, text, text, text, text, text])
    with (area / "trees.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["x", "y", "genus", "condition"])
        table.writerows([*centre(i, i), text.replace("\ud800", ""), NASTY[1]] for i, text in enumerate(NASTY))
    return area


@pytest.mark.parametrize("name", ["check", "map", "survey", "rounds", "sheets", "report"])
def test_nothing_of_it_is_run(name: str, town: Path) -> None:
    done = habitatmap(name, town)
    assert done.code in ((1,) if name == "check" else (0,)), done.err
    made = [p for p in (town / {"map": "out"}.get(name, name)).rglob("*") if p.is_file()]
    assert made
    for path in made:
        if path.suffix == ".html":
            page = path.read_text(encoding="utf-8")
            assert "<script>alert" not in page
            assert "\u202e" not in page
        elif path.suffix == ".csv":
            with path.open(encoding="utf-8", newline="") as file:
                cells = [cell for row in csv.reader(file) for cell in row]
            risky = [c for c in cells if c[:1] in tuple("=+-@\t\r") and c and not NUMBER.fullmatch(c)]
            assert risky == []
        elif path.suffix == ".xlsx":
            sheets = [cell for sheet in openpyxl.load_workbook(path) for row in sheet for cell in row]
            assert sheets
            assert not [cell.coordinate for cell in sheets if cell.data_type == "f"]
        elif path.suffix == ".qgz":
            with zipfile.ZipFile(path) as archive:
                words = ElementTree.fromstring(archive.read("habitatmap.qgs"), forbid_dtd=False).iter("LayoutItem")
            assert not [item.get("labelText") for item in words if "[%" in item.get("labelText", "")]
        elif path.suffix in (".json", ".geojson"):
            json.loads(path.read_text(encoding="utf-8"))
