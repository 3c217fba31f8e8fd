"""A large area: the page keeps its budget, and what it draws and lists stays little."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from habitatmap.page import map_page
from habitatmap.page.payload import team_blocks
from habitatmap.paper.pictures import _sheets
from habitatmap.result import Result
from tests.browser.town import CRS_CODE, NORTH, WEST, town

pytestmark = pytest.mark.browser
BUDGET = 6_000_000  # bytes of a page with 100,000 pools and trees and 20,000 plots
DEMO_BUDGET = 800_000


def large(points: int, plots: int) -> Result:
    result, rng = town(pools=points), np.random.default_rng(1)
    trees = pd.DataFrame(
        {
            "x": rng.uniform(WEST, WEST + 2000, points),
            "y": rng.uniform(NORTH - 2000, NORTH, points),
            "genus": rng.choice(["Fagus", "Quercus", "Tilia"], points),
            "diameter_cm": rng.uniform(20, 150, points).round(),
            "rot_hole_probability": rng.uniform(0.5, 1, points),
        }
    )
    n = np.arange(plots)
    x, y = WEST + n % 142 * 14, NORTH - n // 142 * 14
    places = gpd.GeoDataFrame(
        {
            "name": [f"Plot {i}" for i in n],
            "kind": "plot",
            "consent": rng.choice(["yes", "ask", "no"], plots),
            "private": "no",
            "area_ha": 0.017,
            "pools": 0,
            "suggestions": 0,
            "forage_mean": 0.3,
        },
        geometry=[box(a, b - 13, a + 13, b) for a, b in zip(x, y, strict=True)],
        crs=CRS_CODE,
    )
    return replace(result, trees=trees, places=places)


def test_the_page_of_a_town_keeps_its_budget(team_html: str) -> None:
    assert len(team_html.encode()) < DEMO_BUDGET


def test_many_points_and_plots_are_listed_and_drawn_in_part(visit: Callable[..., Any], tmp_path: Path) -> None:
    """5,000 of each: the table makes no row that is not shown, the map no mark that lies under another."""
    path = tmp_path / "map.html"
    path.write_text(map_page(large(5_000, 3_000)), encoding="utf-8")
    page = visit(path, reduced_motion="reduce")
    assert page.evaluate("document.querySelectorAll('*').length") < 3_000
    page.locator("#tab-pools").click()
    assert page.locator("#pools-panel .pick").count() == 100
    assert "5,000" in page.locator("#pools-panel .count-line").inner_text()
    page.locator("#mark-land").check()
    page.locator("#mark-trees").check()
    page.locator("#find-box summary").click()
    page.wait_for_function("() => document.activeElement.id === 'find-name'")
    page.keyboard.type("Pool 4321")
    page.locator("#found button").first.click()
    assert page.locator("#pools-panel .detail").is_visible()
    assert page.trouble == []


@pytest.mark.slow
def test_a_hundred_thousand_pools_and_trees_and_twenty_thousand_plots(
    visit: Callable[..., Any], tmp_path: Path
) -> None:
    text = map_page(large(100_000, 20_000))
    assert len(text.encode()) < BUDGET
    path = tmp_path / "map.html"
    path.write_text(text, encoding="utf-8")
    page = visit(path, slow=120_000, reduced_motion="reduce")
    opened = page.evaluate("performance.now()")
    page.locator("#mark-land").check()
    page.locator("#mark-trees").check()
    page.wait_for_timeout(3_000)
    page.locator("#map").focus()
    panned = page.evaluate(
        """async () => { const start = performance.now();
        const key = new KeyboardEvent('keydown', {key: 'ArrowRight', keyCode: 39, bubbles: true});
        document.activeElement.dispatchEvent(key);
        await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
        return performance.now() - start; }"""
    )
    print(f"{len(text.encode()) / 1e6:.2f} MB, open in {opened:.0f} ms, panned in {panned:.0f} ms")
    assert page.trouble == []


def test_of_very_many_gaps_those_with_most_forage_are_drawn_and_the_rest_is_told() -> None:
    result = town()
    one = result.gaps.iloc[[0]]
    many = gpd.GeoDataFrame(pd.concat([one] * 700, ignore_index=True), crs=one.crs).assign(rank=np.arange(1, 701))
    few, most = (team_blocks(replace(result, gaps=many.head(n))) for n in (500, 700))
    assert [gap["rank"] for gap in most["gaps"]] == list(range(1, 501)) == [gap["rank"] for gap in few["gaps"]]
    assert (few["facts"]["gaps"], most["facts"]["gaps"]) == (500, 700)  # by which the page tells that there are more
    for n, told in ((500, ">gap<"), (700, ">gap: the 500 with most forage, of 700<")):
        sheet = _sheets(replace(result, gaps=many.head(n)))["gaps"]
        drawn = sheet.svg("Gaps", [])
        assert drawn.count('stroke-dasharray="5 3"') == min(n, 500)
        assert told in drawn
