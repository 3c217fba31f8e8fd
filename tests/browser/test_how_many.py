"""The curve of more and more pools, in the map page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from habitatmap.page import map_page
from habitatmap.page.drawings import Level, rising
from habitatmap.plan.how_many import ForSoMany
from tests.browser.town import town

CURVE = tuple(ForSoMany(n, 0.4 + v, 0.3 + v, 0.5 + v, 0.45 + v) for n, v in enumerate((0.0, 0.1, 0.15, 0.17, 0.18)))


def test_the_curve_stands_under_the_plan_with_its_sentence(visit: Callable[..., Any], tmp_path: Path) -> None:
    result = town()
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(result, figures=replace(result.figures, how_many=CURVE))), encoding="utf-8")
    page = visit(path)
    told = page.locator("#plan-panel .drawing", has_text="How many are enough")
    said = told.inner_text().replace("\xa0", " ")
    assert "After 2 pools each further one adds less than 2.5 % of the area's forage" in said
    assert "Dashed: no choice of as many could reach more." in said
    assert told.locator("img").evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 0
    page.locator("#view-box summary").click()
    page.locator("#language").select_option("de")
    told = page.locator("#plan-panel .drawing", has_text="Wie viele genügen")
    told.wait_for()
    said = told.inner_text().replace("\xa0", " ")
    assert "Nach 2 Becken bringt jedes weitere weniger als 2,5 %" in said
    assert page.trouble == []


def test_the_drawing_by_hand() -> None:
    svg = rising([Level(*row) for row in CURVE], 2, "")
    # from 20 % to 80 %, in steps of 10 %: 0.4 is at a third of the height, 0.58 at 0.38 / 0.6 of it
    assert 'points="44.0,' in svg
    line = svg.split('class="way"')[1].split('points="')[1].split('"')[0].split()
    assert len(line) == 5
    assert line[0].startswith("44.0,")
    assert line[-1].startswith("332.0,")
    heights = [float(point.split(",")[1]) for point in line]
    assert heights == sorted(heights, reverse=True), "a curve that never falls"
    assert ">2</text>" in svg
    assert rising([], 0, "") == rising([Level(0, 0.1, 0.1, 0.1, 0.1)], 0, "") == ""
