"""A photo stands beside its pool on the team's page, on a desk and on a telephone."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from habitatmap.page import map_page, public_page
from habitatmap.read.photos import Photo, small_picture
from tests.browser.test_page import faults
from tests.browser.town import blurred, town

pytestmark = pytest.mark.browser
NASTY = '"><img src=x onerror=alert(1)>.jpg'


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The town's pages, its second pool with two photos 320 pixels wide: of its own row and of a visit."""
    folder = tmp_path_factory.mktemp("photos")
    result = town()
    pool = result.pools["pool"].iloc[1]
    small = small_picture(Image.new("RGB", (1600, 1200), "red"))
    both = (Photo(pool, NASTY, "", small), Photo(pool, "visit.jpg", "2026-05-01", small))
    shown = replace(result, findings=replace(result.findings, area=replace(result.findings.area, photos=both)))
    pages = {"team": map_page(shown), "public": public_page(shown, blurred(shown))}
    for name, page in pages.items():
        (folder / f"{name}.html").write_text(page, encoding="utf-8", newline="\n")
    return {name: folder / f"{name}.html" for name in pages}


@pytest.mark.parametrize("size", [(1280, 800), (360, 740)], ids=str)
def test_a_photo_is_shown_beside_its_pool(
    visit: Callable[..., Any], files: dict[str, Path], size: tuple[int, int]
) -> None:
    page = visit(files["team"], *size, reduced_motion="reduce")
    name = town().pools["pool"].iloc[1]
    page.locator("#tab-pools").click()
    page.locator("#find").fill(name)
    page.locator("#pools-panel .pick").first.click()
    shown = page.locator("#pools-panel .photos img")
    assert shown.count() == 2
    assert shown.evaluate_all("all => all.map(one => [one.complete, one.naturalWidth])") == [[True, 320], [True, 320]]
    box = shown.first.bounding_box()
    assert 200 <= box["width"] <= 320
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= size[0]
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert shown.first.get_attribute("alt") == f"Photo {NASTY} of pool {name}"
    said = page.locator("#pools-panel .photos figcaption").all_inner_texts()
    assert said[0] == NASTY
    assert said[1].endswith("visit.jpg")
    assert "2026" in said[1]
    assert faults(page) == []
    assert page.trouble == []


def test_the_public_page_has_none(files: dict[str, Path]) -> None:
    assert 'id="photos"' in files["team"].read_text(encoding="utf-8")
    public = files["public"].read_text(encoding="utf-8")
    assert 'id="photos"' not in public
    assert base64.b64encode(small_picture(Image.new("RGB", (1600, 1200), "red"))).decode() not in public
    assert "visit.jpg" not in public
