"""Choosing a suggestion goes there and draws what it brings; and the picture of how uncertain forage in reach is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import LineString

from habitatmap.page import map_page
from habitatmap.page.around import BREAKS, around_sites, forage_brought
from habitatmap.page.coding import PER_DEGREE, Writer
from habitatmap.page.payload import public_blocks, team_blocks
from habitatmap.privacy import may_be_placed
from tests.browser.town import NORTH, WEST, blurred, town

pytestmark = pytest.mark.browser
Visit = Callable[..., Any]
# metres that the map shows, from its scale bar: its length on the screen and what it stands for
METRES_PER_PIXEL = """() => {
    const bar = document.querySelector('.leaflet-control-scale-line'), metres = parseFloat(bar.textContent);
    return metres * (bar.textContent.includes('km') ? 1000 : 1) / bar.getBoundingClientRect().width;
}"""


def row_of(page: Any, number: int) -> Any:
    return page.locator("#plan-panel .pick").nth(number)


@pytest.mark.parametrize("size", [(1280, 800), (844, 390), (640, 400), (360, 740)], ids=str)
def test_choosing_a_suggestion_goes_to_150_m_around_it(visit: Visit, team_file: Path, size: tuple[int, int]) -> None:
    page = visit(team_file, *size, reduced_motion="reduce")
    row_of(page, 1).click()
    page.wait_for_timeout(200)
    pin, box = page.locator(".pin.on > span").bounding_box(), page.locator("#map").bounding_box()
    assert box["x"] < pin["x"] < box["x"] + box["width"]
    assert box["y"] < pin["y"] < box["y"] + box["height"]
    seen = page.evaluate(METRES_PER_PIXEL) * min(box["width"], box["height"])
    assert 280 < seen < 900
    assert page.locator(".leaflet-brought-pane img").count() == 1
    assert page.locator(".leaflet-tooltip.near").count() >= 1
    row_of(page, 1).click()
    assert page.locator(".leaflet-brought-pane img, .leaflet-tooltip.near").count() == 0
    assert page.trouble == []


def test_a_marker_goes_there_too(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    page.locator("#map .pin > span", has_text="S8").click()
    page.wait_for_timeout(200)
    assert page.evaluate(METRES_PER_PIXEL) < 1
    assert page.locator(".leaflet-brought-pane img").count() == 1
    assert page.locator(".leaflet-tooltip.near").all_inner_texts()


def test_the_card_tells_what_is_near_and_what_is_brought(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    row_of(page, 1).click()
    card = page.locator("#plan-panel .detail").inner_text()
    for part in (
        "Nearest place where children play",
        "playground",
        "Nearest path or street",
        "alone brings into reach",
    ):
        assert part in card, part
    assert page.locator(".detail .shades .swatch").count() == len(BREAKS)


def test_the_first_three_are_told_in_full_and_no_reason_is_cut(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    told = page.locator("#plan-panel tr.below > td > p:first-child")
    assert [told.nth(i).is_visible() for i in range(10)] == [True] * 3 + [False] * 7
    cut = "e => e.scrollHeight > e.clientHeight + 1 || e.scrollWidth > e.clientWidth + 1"
    assert not any(told.nth(i).evaluate(cut) for i in range(3))
    row_of(page, 5).click()
    assert not page.locator(".detail .card > p").first.evaluate(cut)
    page.set_viewport_size({"width": 360, "height": 740})
    assert not any(told.nth(i).evaluate(cut) for i in range(3))


def test_what_a_site_brings_is_forage_times_added_reach() -> None:
    """By hand: the first site brings forage x p x k over what nothing reaches yet, the second what is left then."""
    result = town()
    found, sites = result.findings, result.findings.proposal.sites

    def brought_by(*chosen: int) -> list[Any]:
        """By cell of the whole frame, for these sites one after the other."""
        frames = []
        for around, forage in forage_brought(result, sites.iloc[list(chosen)]):
            frames.append(np.zeros(result.grid.shape))
            frames[-1][around] = forage
        return frames

    first, second, *_ = brought_by(*range(10))
    y, x = np.indices(result.grid.shape)

    def reach(site: int) -> Any:
        """(1 + d/a) exp(-d/a) with a median of 250 m, up to the whole cell beyond 10 a."""
        cells = np.hypot(y - sites["row"].iloc[site], x - sites["col"].iloc[site])
        d = cells * 10 / (250 / 1.678347)
        return np.where(cells <= 149, (1 + d) * np.exp(-d), 0)

    brought = np.nan_to_num(found.habitat.weight) * found.reach.not_reached * 0.42 * reach(0)
    assert np.allclose(first, brought, atol=1e-6)
    missed = found.reach.not_reached * (1 - 0.42 * reach(0))
    alone = np.nan_to_num(found.habitat.weight) * missed * 0.42 * reach(1)
    assert np.allclose(second, alone, atol=1e-6)
    without_first, *_ = brought_by(*range(1, 10))
    assert without_first.sum() > second.sum()


def test_what_is_near_is_measured_to_its_edge() -> None:
    """A playground 30 m east and 40 m south, so 50 m away; a path that runs 30 m south of the site."""
    result = town()
    x, y = WEST + 1750, NORTH - 1620  # the first site
    paths = (
        result.paths.iloc[:1].set_geometry([LineString([(x - 90, y - 30), (x + 90, y - 30)])]).assign(name="Weir Path")
    )
    zones = result.keep_away.set_geometry(
        result.keep_away.geometry.translate(x + 30 - WEST - 640, y + 40 - NORTH + 640)
    )
    near = around_sites(replace(result, paths=paths, keep_away=zones), Writer(result.crs), public=False)[0].near
    assert [(one.code, one.name, one.m) for one in near] == [
        ("children", "playground", 50.0),
        ("path", "Weir Path", 30.0),
    ]
    lon, lat = Writer(result.crs).point(x, y - 30)
    assert near[1].at == [lon, lat]
    assert abs(lat / PER_DEGREE - 52) < 1


def test_private_sites_and_the_public_get_less() -> None:
    """No picture around a site on private land; for the public, no exclusion zone and no private site counts before."""
    result = town()
    around = team_blocks(result)["around"]
    assert [one is not None for one in around] == may_be_placed(result.plan).tolist()
    public = public_blocks(result, blurred(result))["around"]
    assert len(public) == int(may_be_placed(result.plan).sum())
    assert {one["code"] for row in public for one in row["near"]} == {"path"}
    private_first = result.plan.assign(private=["yes", "no", "yes", "no", "no", "no", "yes", "no", "no", "no"])
    few = around_sites(replace(result, plan=private_first), Writer(result.crs), public=True)
    alone = around_sites(
        replace(result, plan=private_first, findings=_without_the_first(result)), Writer(result.crs), public=True
    )
    assert few == alone


def _without_the_first(result: Any) -> Any:
    """The findings with the first site moved away and never occupied."""
    found = result.findings
    frame = found.proposal.selection.frame.copy()
    frame.loc[frame.index[0], "p"] = 0.0
    return replace(found, proposal=replace(found.proposal, selection=replace(found.proposal.selection, frame=frame)))


def test_the_picture_of_the_ranges(visit: Visit, team_file: Path, tmp_path: Path) -> None:
    page = visit(team_file)
    told = page.locator("#headline .ranges").inner_text().replace("\xa0", " ")
    assert "100 m: 24 %, 250 m: 54 %, 500 m: 91 %" in told
    assert "43 % to 58 %" in told
    left = [page.locator(f"#headline .ranges .span >> nth={i}").evaluate("e => e.style.left") for i in (0, 1)]
    assert left == ["24%", "43%"]
    top = "document.querySelector('#headline .{}').getBoundingClientRect().top"
    first = f"{top.format('ranges')} < {top.format('figures')}"
    assert page.evaluate(first)  # 24 to 91 % is more than half the scale
    result = town()
    near = replace(result.figures.forage_in_reach, with_plan_by_forage_median_m={"100": 0.4, "500": 0.6})
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(result, figures=replace(result.figures, forage_in_reach=near))), encoding="utf-8")
    page = visit(path)
    assert not page.evaluate(first)
    assert page.trouble == []
