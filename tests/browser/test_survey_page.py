"""survey.html in a browser without a network: silent, accessible, and nothing from a record runs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from habitatmap.area import open_area
from habitatmap.job import survey_area
from habitatmap.practice.account import practice
from habitatmap.reports.practice import practice_sections
from habitatmap.reports.survey import write_survey
from tests.browser.test_page import faults

pytestmark = pytest.mark.browser
NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>{{ 7*7 }}"


@pytest.fixture(scope="module")
def survey_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty made-up pools with names that would like to be run, and two looks at each."""
    folder = tmp_path_factory.mktemp("survey")
    pools, visits = ["pool,lat,lon,set_out,container"], ["pool,date,outcome,observer,taxon,checked"]
    for i in range(30):
        name = f"{NASTY} {i:02d}"
        container = NASTY if i % 2 else "bucket"
        pools.append(f"{name},{48.1 + i % 6 / 200},{9.5 + i // 6 / 200},2025-03-01,{container}")
        for month in (5, 6):
            outcome = "larvae" if i % 2 and (i + month) % 3 else "none seen"
            visits.append(f"{name},2025-{month:02d}-01,{outcome},{NASTY},{NASTY},yes")
    (folder / "area.toml").write_text("as_of = 2025-10-01\n", encoding="utf-8")
    (folder / "pools.csv").write_text("\n".join(pools), encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(visits), encoding="utf-8")
    area = open_area(folder)
    told = survey_area(area)
    shown = practice(area.pools, area.visits, area.as_of, told.known.searches)
    write_survey(told, folder / "survey", practice_sections(shown))
    return folder / "survey" / "survey.html"


@pytest.mark.parametrize("how", [{}, {"width": 360, "height": 740}, {"color_scheme": "dark"}], ids=str)
def test_it_is_silent_and_axe_finds_nothing(visit: Callable[..., Any], survey_file: Path, how: dict[str, Any]) -> None:
    page = visit(survey_file, ready="h1", **how)
    assert page.trouble == []
    assert page.locator("script, img").count() == 0
    assert faults(page) == []
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    assert page.locator("body").inner_text().count("{{ 7*7 }}") >= 30
    assert page.evaluate("document.documentElement.scrollWidth") <= how.get("width", 1280)
    assert faults(page) == []


def test_every_part_is_reached_by_keyboard(visit: Callable[..., Any], survey_file: Path) -> None:
    page = visit(survey_file, ready="h1")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the report"
    for link in page.locator("nav a").all():
        assert page.locator(link.get_attribute("href")).count() == 1
    wide = page.locator(".wide")
    assert wide.count() >= 8
    assert all(part.get_attribute("tabindex") == "0" for part in wide.all())


def test_on_paper_no_table_is_cut(visit: Callable[..., Any], survey_file: Path) -> None:
    page = visit(survey_file, ready="h1")
    page.emulate_media(media="print")
    assert not page.locator("nav").is_visible()
    page.set_viewport_size({"width": 690, "height": 1000})  # the width of A4 between its margins
    assert page.evaluate("document.documentElement.scrollWidth") <= 690


def test_a_long_table_opens_by_key_and_is_open_on_paper(visit: Callable[..., Any], survey_file: Path) -> None:
    page = visit(survey_file, ready="h1")
    folded = page.locator("#pools details").first
    inside = folded.locator("tbody tr").last
    assert folded.locator("tbody tr").count() > 8
    assert not inside.is_visible()
    folded.locator("summary").focus()
    page.keyboard.press("Enter")
    assert inside.is_visible()
    page.keyboard.press("Enter")
    page.emulate_media(media="print")
    assert (
        inside.evaluate("row => row.checkVisibility({contentVisibilityAuto: true}) && row.getClientRects().length") == 1
    )
