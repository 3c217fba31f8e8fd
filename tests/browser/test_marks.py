"""What the map draws: every suggestion's id is seen, hatching and trees leave the map readable."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from habitatmap.page import map_page
from habitatmap.result import Result
from tests.browser.test_layout import meet
from tests.browser.town import CRS_CODE, NORTH, WEST, nothing_in_it, town

pytestmark = pytest.mark.browser
Visit = Callable[..., Any]
IDS = """() => [...document.querySelectorAll('#map .pin > span')].map((one) => {
    const box = one.getBoundingClientRect();
    const hit = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
    return [one.textContent, [box.left, box.top, box.right, box.bottom], hit === one];
})"""
# the share of points on a lattice over the map that a canvas has painted
PAINTED = """(pane) => {
    const sheet = document.querySelector(pane + ' canvas'), box = sheet.getBoundingClientRect();
    const map = document.getElementById('map').getBoundingClientRect(), scale = sheet.width / box.width;
    const pixels = sheet.getContext('2d').getImageData(0, 0, sheet.width, sheet.height);
    let painted = 0, all = 0;
    for (let x = map.left + 3.5; x < map.right; x += 5) for (let y = map.top + 3.5; y < map.bottom; y += 5) {
        const at = 4 * (Math.floor((y - box.top) * scale) * sheet.width + Math.floor((x - box.left) * scale));
        all += 1;
        painted += pixels.data[at + 3] > 60;
    }
    return painted / all;
}"""


def write(folder: Path, result: Result) -> Path:
    path = folder / "map.html"
    path.write_text(map_page(result), encoding="utf-8", newline="\n")
    return path


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten suggestions on public land, seven of them within 60 m."""
    result = town()
    plan, steps = result.plan.copy(), np.arange(7)
    plan["private"] = "no"
    plan["x"] = WEST + np.r_[1700 + 20 * (steps % 3), 1400, 300, 60]
    plan["y"] = NORTH - np.r_[1500 + 20 * (steps // 3), 1750, 300, 60]
    return write(tmp_path_factory.mktemp("crowded"), replace(result, plan=plan))


@pytest.mark.parametrize("size", [(1280, 800), (844, 390), (640, 400), (360, 740)], ids=str)
def test_every_suggestion_is_told_by_its_id_when_the_page_opens(
    visit: Visit, crowded: Path, size: tuple[int, int]
) -> None:
    page = visit(crowded, *size, reduced_motion="reduce")
    ids = page.evaluate(IDS)
    assert [text for text, _, own in ids if own] == [f"S{n}" for n in range(1, 11)]
    assert [(a[0], b[0]) for i, a in enumerate(ids) for b in ids[:i] if meet(a[1], b[1])] == []
    page.wait_for_timeout(100)  # lines to their places are drawn a moment later
    assert page.evaluate(PAINTED, ".leaflet-leaders-pane") > 0
    assert page.trouble == []


def test_hatching_fades_in_as_the_map_comes_nearer(visit: Visit, tmp_path: Path) -> None:
    result = town()
    wide = gpd.GeoSeries([box(WEST + 50, NORTH - 1950, WEST + 1950, NORTH - 50)], crs=CRS_CODE)
    gaps = result.gaps.iloc[:1].set_geometry(wide.to_numpy())
    page = visit(write(tmp_path, replace(result, gaps=gaps, boundary=None)), reduced_motion="reduce")
    for name in ("pools", "plan", "boundary"):
        if page.locator(f"#mark-{name}").count():
            page.locator(f"#mark-{name}").uncheck()
    page.wait_for_timeout(100)
    assert page.evaluate(PAINTED, ".leaflet-overlay-pane") < 0.03
    for _ in range(4):
        page.locator(".zoom button").first.click()
    page.wait_for_timeout(100)
    assert page.evaluate(PAINTED, ".leaflet-overlay-pane") > 0.05


def test_a_town_with_nothing_but_trees_shows_them(visit: Visit, tmp_path: Path) -> None:
    trees = town().trees.assign(rot_hole_probability=0.1)
    page = visit(write(tmp_path, replace(nothing_in_it(), trees=trees)), reduced_motion="reduce")
    page.wait_for_timeout(100)
    assert page.evaluate(PAINTED, ".leaflet-dots-pane") > 0
    assert page.locator("#mark-all-trees").is_checked()
    assert page.locator("#mark-trees").count() == 0
    assert page.trouble == []


def test_suggestions_are_named_by_rank_id_and_place(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    row = page.locator("#plan-panel tbody tr:has(.pick)").nth(1)
    assert row.get_by_role("button", name="Suggestion 2, S2: Mill Lane Green").is_visible()
    assert row.locator("td.count").inner_text().split() == ["2", "S2"]
    assert page.locator("#map .pin").nth(1).get_attribute("title") == "Suggestion 2, S2: Mill Lane Green"
