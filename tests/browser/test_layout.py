"""The page holds still, and at every size nothing lies under anything else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

Visit = Callable[..., Any]
DESKTOPS = [(1280, 800), (1000, 600)]
SIZES = [(1280, 800), (1000, 700), (844, 390), (640, 400), (360, 740)]
# what is worked by hand, where it is in sight: [name, box, whether its middle is its own]; what scrolls is left out
WORKED = """() => [...document.querySelectorAll(scrollY || document.getElementById('panel').scrollTop
        ? '.tools > button, .tools summary, .zoom button'
        : '.tools > button, .tools summary, .zoom button, .key summary, #tabs button, #first')]
    .filter((one) => one.checkVisibility()).map((one) => [one, one.getBoundingClientRect()])
    .filter(([, box]) => box.top >= 0 && box.bottom <= innerHeight && box.width)
    .map(([one, box]) => {
        const hit = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
        return [one.id || one.textContent.trim(), [box.left, box.top, box.right, box.bottom], one.contains(hit)];
    })"""
SEEN_OF_MAP = """() => {
    const box = document.getElementById('map').getBoundingClientRect();
    let seen = 0, all = 0;
    for (let x = 0.05; x < 1; x += 0.1) for (let y = 0.05; y < 1; y += 0.1) {
        const hit = document.elementFromPoint(box.left + x * box.width, box.top + y * box.height);
        all += 1;
        seen += Boolean(hit && hit.closest('#map'));
    }
    return seen / all;
}"""


def meet(a: list[float], b: list[float]) -> bool:
    return a[0] < b[2] - 0.5 and b[0] < a[2] - 0.5 and a[1] < b[3] - 0.5 and b[1] < a[3] - 0.5


def covered(page: Any) -> list[str]:
    """What is worked by hand and lies under something else, in whole or in part."""
    worked = page.evaluate(WORKED)
    under = [name for name, _, own in worked if not own]
    pairs = [(a, b) for i, a in enumerate(worked) for b in worked[:i] if meet(a[1], b[1])]
    return under + [f"{a[0]} and {b[0]}" for a, b in pairs]


@pytest.fixture(params=["team", "public"])
def page_file(request: pytest.FixtureRequest, team_file: Path, public_file: Path) -> Path:
    return team_file if request.param == "team" else public_file


@pytest.mark.parametrize("size", DESKTOPS, ids=str)
def test_on_a_desk_the_document_is_as_high_as_the_window(visit: Visit, page_file: Path, size: tuple[int, int]) -> None:
    page = visit(page_file, *size, reduced_motion="reduce")
    height = "() => [document.documentElement.scrollHeight, document.scrollingElement.scrollTop]"
    assert page.evaluate(height) == [size[1], 0]
    page.mouse.move(size[0] - 100, size[1] / 2)
    for _ in range(12):
        page.mouse.wheel(0, 3000)
    page.locator("#plan-panel .pick").last.click()
    page.locator("#tab-data").click()
    page.mouse.wheel(0, 9000)
    page.wait_for_timeout(100)
    assert page.evaluate(height) == [size[1], 0]
    assert page.locator(".top").bounding_box()["y"] == 0
    assert page.locator(".tools").bounding_box()["y"] > 0


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_nothing_lies_under_anything_else(visit: Visit, page_file: Path, size: tuple[int, int]) -> None:
    page = visit(page_file, *size, reduced_motion="reduce")
    assert covered(page) == []
    for opened in (True, False):
        page.locator("#key").evaluate(f"e => e.open = {str(opened).lower()}")
        assert covered(page) == [], opened
        page.locator("#plan-panel .pick").first.click()
        assert covered(page) == [], opened
        page.locator("#plan-panel .pick").first.click()
        page.evaluate("scrollTo(0, 200)")
        page.wait_for_timeout(50)
        assert covered(page) == [], opened
        page.evaluate("scrollTo(0, 0)")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


@pytest.mark.parametrize("size", [(844, 390), (640, 400), (360, 740)], ids=str)
def test_the_open_legend_leaves_the_map_in_sight(visit: Visit, page_file: Path, size: tuple[int, int]) -> None:
    page = visit(page_file, *size, reduced_motion="reduce")
    page.locator("#key summary").click()
    page.locator("#theme").scroll_into_view_if_needed()
    assert page.locator("#theme").is_visible()
    assert page.evaluate(SEEN_OF_MAP) > 0.75
    page.locator("#mark-boundary").scroll_into_view_if_needed()
    box = page.locator("#map").bounding_box()
    assert box["y"] >= -1
    assert box["y"] + box["height"] <= size[1] + 1
    assert page.evaluate(SEEN_OF_MAP) > 0.75


@pytest.mark.parametrize("size", [(844, 390), (667, 375)], ids=str)
def test_on_a_telephone_on_its_side_the_map_has_the_whole_height(
    visit: Visit, page_file: Path, size: tuple[int, int]
) -> None:
    page = visit(page_file, *size, reduced_motion="reduce")
    for scrolled in (0, 900):
        page.evaluate(f"scrollTo(0, {scrolled})")
        box = page.locator("#map").bounding_box()
        assert (box["y"], box["height"]) == (0, size[1])
        assert box["width"] > size[0] / 2
    page.evaluate("scrollTo(0, 0)")
    assert page.locator("h1").is_visible()


def test_the_guard_against_what_is_covered_can_fail(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.evaluate("document.getElementById('key').style.width = '40rem'")
    assert covered(page) != []


def test_at_any_other_size_and_in_longer_words_nothing_is_covered_either(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    for language, width, height in [
        ("en", 768, 1000), ("en", 1280, 400), ("en", 360, 400), ("de", 1000, 700), ("fr", 640, 400), ("nl", 360, 740),
    ]:  # fmt: skip
        page.set_viewport_size({"width": width, "height": height})
        page.goto("about:blank")
        page.goto(team_file.resolve().as_uri() + f"#lang={language}")
        page.wait_for_selector("html.ready")
        assert covered(page) == [], (language, width, height)
