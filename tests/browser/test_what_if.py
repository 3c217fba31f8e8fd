"""What if: the page's own reckoning equals a run with those pools, and says why a spot is not allowed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Transformer
from shapely.geometry import box

import habitatmap
from habitatmap.area import open_area
from habitatmap.errors import InputError
from habitatmap.geo.grid import Grid
from habitatmap.network.turnover import KnownPlaces
from habitatmap.page import map_page, what_if, years_ahead
from habitatmap.plan.mean_field import MeanField
from habitatmap.plan.reach import forage_in_reach, not_reached
from habitatmap.plan.served import Sites
from tests.areas import LEFT, TOP, centre, class_table, write_area
from tests.browser.test_page import faults

pytestmark = pytest.mark.browser
SIDE = 90
CLASSES = np.random.default_rng(5).integers(1, 5, (SIDE // 6, SIDE // 6)).astype(np.uint8).repeat(6, 0).repeat(6, 1)
TABLE = class_table({1: 0.0, 2: 0.137, 3: 0.3, 4: 0.71})
POOLS = [("North", 12, 20), ("Middle", 40, 44), ("Gone away", 70, 30)]
TOML = """
[plan]
pools = 2
spacing_m = 60
[flight]
forage_median_m = 60
[occupancy]
existing = 0.37
new = 0.37
[gap]
least_ha = 0.3
"""
TREES = "x,y,genus,diameter_cm\n" + "".join(
    f"{centre(5 * k, 80)[0]},{centre(5 * k, 80)[1]},Fagus,90\n" for k in range(12)
)


def area(folder: Path, pools: list[tuple[str, int, int]]) -> Path:
    return write_area(
        folder,
        CLASSES,
        TABLE,
        pools=[(name, *centre(row, col)) for name, row, col in pools],
        trees=TREES,
        boundary=box(LEFT + 30, TOP - 870, LEFT + 870, TOP - 30),
        keep_away=[("school", box(*centre(60.5, 60), *centre(57, 64)))],
        toml=TOML,
    )


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return habitatmap.run(open_area(area(tmp_path_factory.mktemp("area"), POOLS)))


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory, result: Any) -> Path:
    path = tmp_path_factory.mktemp("page") / "map.html"
    path.write_text(map_page(result), encoding="utf-8", newline="\n")
    return path


def go_to(page: Any, path: Path, row: int, col: int) -> None:
    """Puts the middle of the map on a cell, by the page's own address, and starts trying out."""
    lon, lat = Transformer.from_crs(32632, 4326, always_xy=True).transform(*centre(row, col))
    page.goto("about:blank")
    page.goto(f"{path.resolve().as_uri()}#at={lat:.7f},{lon:.7f},17&tab=what-if")
    page.wait_for_selector("html.ready")
    page.locator("#try").click()


def here(page: Any) -> str:
    page.locator("#map").focus()
    page.keyboard.press("Enter")
    return str(page.locator("#try-said").inner_text())


def reached(page: Any) -> float:
    return float(page.locator("#try-now").get_attribute("data-share"))


def test_a_pool_tried_out_gives_what_a_run_with_it_gives(
    visit: Callable[..., Any], page_file: Path, result: Any, tmp_path: Path
) -> None:
    page = visit(page_file)
    go_to(page, page_file, 30, 70)
    start = reached(page)
    assert start == pytest.approx(result.figures.forage_in_reach.now, rel=1e-3)
    assert "Pool A added" in here(page)
    with_one = habitatmap.run(open_area(area(tmp_path / "one", [*POOLS, ("A", 30, 70)])), public=False).figures
    assert reached(page) == pytest.approx(with_one.forage_in_reach.now, rel=1e-3)
    assert with_one.forage_in_reach.now > 1.02 * start
    told = page.locator("#try-gaps").inner_text()
    shares = [float(n) / 100 for n in re.findall(r"([\d.]+)\s%", told)]
    assert shares == pytest.approx([result.figures.gaps.share, with_one.gaps.share], abs=6e-4)
    assert page.trouble == []


def test_a_pool_taken_out_gives_what_a_run_without_it_gives(
    visit: Callable[..., Any], page_file: Path, result: Any, tmp_path: Path
) -> None:
    page = visit(page_file)
    page.locator("#tab-pools").click()
    page.locator("#pools-panel .pick", has_text="Middle").click()
    page.locator("#pools-panel .detail .act").click()
    assert "Middle taken out" in page.locator("#try-said").inner_text()
    without = habitatmap.run(
        open_area(area(tmp_path / "less", [POOLS[0], POOLS[2]])), public=False
    ).figures.forage_in_reach.now
    assert reached(page) == pytest.approx(without, rel=1e-3)
    page.locator("#try-list button").click()
    assert reached(page) == pytest.approx(result.figures.forage_in_reach.now, rel=1e-3)
    assert page.locator("#try-list li").count() == 0


def likely_served(page: Any) -> list[float]:
    """If flies come from everywhere, and from mapped places only, once the page has followed the years."""
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return [float(page.locator(f"#try-{side}").get_attribute("data-share")) for side in ("open", "closed")]


def followed(result: Any, cells: list[tuple[int, int]], without: str = "") -> list[float]:
    """The same by the model of the run, with pools at cells and without a pool, the rates unchanged."""
    sites, places = result.findings.ahead, result.findings.places.frame
    known, keep = sites.model.known, places.groupby("place")["id"].first().to_numpy() != without
    parts = {name: getattr(known, name)[keep] for name in ("xy", "quality", "p", "pool", "years")}
    model = MeanField(
        KnownPlaces(**parts, usual=known.usual), sites.model.demand, sites.model.simulations, sites.model.years
    )
    less = Sites(model, sites.grid, sites.access)
    share = less.share(less.course(pd.DataFrame(cells, columns=["row", "col"])).served)
    return [share.open, share.closed]


def test_what_is_likely_served_follows_pools_added_moved_and_taken_out(
    visit: Callable[..., Any], page_file: Path, result: Any
) -> None:
    page = visit(page_file)
    go_to(page, page_file, 30, 70)
    start = likely_served(page)
    assert start == pytest.approx([*result.figures.served.now], rel=1e-4)
    here(page)
    added = followed(result, [(30, 70)])
    assert likely_served(page) == pytest.approx(added, rel=1e-4)
    assert np.subtract(likely_served(page), start) == pytest.approx(np.subtract(added, start), rel=0.02)
    assert min(np.subtract(added, start)) > 0.005
    page.locator("#tab-pools").click()
    page.locator("#pools-panel .pick", has_text="Middle").click()
    page.locator("#pools-panel .detail .act").click()
    less = followed(result, [(30, 70)], without="Middle")
    assert likely_served(page) == pytest.approx(less, rel=1e-4)
    assert max(np.subtract(less, added)) < -0.005
    page.locator("#try-list button", has_text="Remove").click()  # and then elsewhere: moved
    assert likely_served(page) == pytest.approx(followed(result, [], without="Middle"), rel=1e-4)
    page.locator("#try-plan").click()
    assert page.locator("#try-list li").count() == 3
    cells = [(int(row), int(col)) for row, col in result.findings.proposal.sites[["row", "col"]].to_numpy()]
    assert likely_served(page) == pytest.approx(followed(result, cells, without="Middle"), rel=1e-4)
    page.locator("#try-clear").click()
    assert likely_served(page) == start
    assert page.trouble == []


def test_where_there_are_too_many_places_the_page_follows_reach_alone(
    visit: Callable[..., Any], result: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(years_ahead, "MOST_PLACES", 2)
    path = tmp_path / "map.html"
    path.write_text(map_page(result), encoding="utf-8")
    page = visit(path)
    page.locator("#tab-what-if").click()
    page.locator("#try").click()
    page.locator("#try-plan").click()
    assert page.locator("#try-open, #try-closed").all_inner_texts() == ["", ""]
    assert "Likely served" not in page.locator("#what-if-panel").inner_text()
    assert page.trouble == []


def test_the_suggestions_tried_out_give_the_plan(visit: Callable[..., Any], page_file: Path, result: Any) -> None:
    page = visit(page_file, reduced_motion="reduce")
    page.locator("#tab-what-if").click()
    page.locator("#try").click()
    page.locator("#try-plan").click()
    assert page.locator("#try-list li").count() == len(result.plan) == 2
    assert reached(page) == pytest.approx(result.figures.forage_in_reach.with_plan, rel=1e-3)
    assert faults(page) == []
    page.locator("#try-clear").click()
    assert reached(page) == pytest.approx(result.figures.forage_in_reach.now, rel=1e-3)
    page.locator("#try").click()
    assert page.locator("#try-work").is_hidden()
    assert page.locator("#map .tried").count() == 0


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ((58, 62), "too near to: school"),
        ((1, 1), "outside the boundary"),
        ((14, 22), "to North"),
        ((-9, 0), "outside the data"),
    ],
)
def test_a_spot_that_is_not_allowed_says_why(
    visit: Callable[..., Any], page_file: Path, cell: tuple[int, int], why: str
) -> None:
    page = visit(page_file)
    go_to(page, page_file, *cell)
    start = reached(page)
    assert why in here(page)
    assert reached(page) == start


def test_two_pools_tried_out_keep_their_distance(visit: Callable[..., Any], page_file: Path) -> None:
    page = visit(page_file)
    go_to(page, page_file, 30, 70)
    assert "Pool A" in here(page)
    assert "to A" in here(page)
    assert page.locator("#try-list li").count() == 1


def test_the_saved_file_makes_a_map_of_what_was_tried(
    visit: Callable[..., Any], page_file: Path, result: Any, tmp_path: Path
) -> None:
    page = visit(page_file)
    page.locator("#tab-pools").click()
    page.locator("#pools-panel .pick", has_text="North").click()
    page.locator("#pools-panel .detail .act").click()
    page.locator("#try-plan").click()
    with page.expect_download() as saved:
        page.locator("#try-save").click()
    saved.value.save_as(tmp_path / "committed.geojson")
    content = json.loads((tmp_path / "committed.geojson").read_text(encoding="utf-8"))
    assert content["taken_out"] == ["North"]
    frame = gpd.read_file(tmp_path / "committed.geojson").to_crs(32632)
    assert frame["name"].tolist() == ["A", "B"]
    sites = [centre(row, col) for row, col in result.findings.proposal.sites[["row", "col"]].to_numpy()]
    assert np.abs(np.column_stack([frame.geometry.x, frame.geometry.y]) - sites).max() < 0.1
    claimed = reached(page)
    again = habitatmap.run(
        open_area(area(tmp_path / "again", POOLS), committed=tmp_path / "committed.geojson"), public=False
    ).figures
    assert again.forage_in_reach.with_plan == pytest.approx(claimed, rel=1e-3)
    assert again.plan.committed == 2
    assert page.trouble == []


def test_large_areas_are_reckoned_on_blocks_and_say_how_far_off(
    visit: Callable[..., Any], result: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With whole cells and lists of places forbidden: blocks of 2 cells, every second cell of ground, trees in one; the
    quality of pools at every fourth cell."""
    monkeypatch.setattr(years_ahead, "MOST_LATTICE", 600)
    monkeypatch.setattr(what_if, "MOST_CELLS", SIDE * SIDE // 3)
    monkeypatch.setattr(what_if, "MOST_GROUND", SIDE * SIDE // 3)
    monkeypatch.setattr(what_if, "MOST_PRODUCTS", 0)
    blocks = what_if.what_if_blocks(result)
    assert (blocks["what-if"]["size"], blocks["what-if"]["step"], blocks["what-if"]["fixed"]) == (2, 2, None)
    off = blocks["what-if"]["off_by"]
    assert 0 < off < 0.02
    path = tmp_path / "map.html"
    path.write_text(map_page(result), encoding="utf-8")
    page = visit(path)
    page.locator("#tab-what-if").click()
    assert "blocks of 20" in page.locator("#what-if-panel").inner_text()
    page.locator("#try").click()
    assert reached(page) == pytest.approx(result.figures.forage_in_reach.now, rel=0.01)
    page.locator("#try-plan").click()
    assert reached(page) == pytest.approx(result.figures.forage_in_reach.with_plan, rel=0.01)
    assert likely_served(page) == pytest.approx([*result.figures.served.with_plan], rel=0.01)
    assert page.trouble == []


def test_the_block_way_with_blocks_of_one_cell_is_the_exact_way(result: Any) -> None:
    base, cell, median = result.findings, result.grid.cell_m, result.settings.flight.forage_median_m
    weight = np.nan_to_num(base.habitat.weight.astype(float))
    exact = forage_in_reach(weight, not_reached(result.grid, base.places.frame, median_m=median))
    assert what_if.on_blocks(weight, base.places.frame, cell, median, 1) == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize(
    ("crs", "left", "top"), [(32632, 280_000, 5_400_000), (3035, 4_300_000, 3_200_000), (2056, 2_600_000, 1_250_000)]
)
def test_degrees_become_cells_and_back(crs: int, left: float, top: float) -> None:
    grid = Grid(left, top, 10.0, 6000, 5000)  # 60 km by 50 km
    turns = what_if._turns(grid, CRS.from_epsg(crs))
    rng = np.random.default_rng(1)
    col, row = rng.uniform(0, grid.cols, 200), rng.uniform(0, grid.rows, 200)
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(left + 10 * col, top - 10 * row)
    for k in range(200):
        assert np.allclose(evaluate(turns["to_cell"], lon[k], lat[k]), [col[k], row[k]], atol=0.02)
        assert np.allclose(evaluate(turns["to_degrees"], col[k], row[k]), [lon[k], lat[k]], atol=2e-6)


def evaluate(how: dict[str, Any], a: float, b: float) -> list[float]:
    """The page's own way, written out."""
    (mid_a, half_a), (mid_b, half_b) = how["from"]
    u, v = (a - mid_a) / half_a, (b - mid_b) / half_b
    terms = [u ** (n - j) * v**j for n in range(how["degree"] + 1) for j in range(n + 1)]
    return [float(np.dot(terms, part)) for part in how["to"]]


def test_the_public_page_has_no_what_if(visit: Callable[..., Any], public_file: Path) -> None:
    assert "what-if-w" not in public_file.read_text(encoding="utf-8").split("<script>")[0]
    page = visit(public_file)
    assert page.locator("#tab-what-if, #try").count() == 0
    assert page.trouble == []


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ('{"taken_out": ["Norht"], "features": []}', "did you mean North"),
        ('{"taken_out": [1], "features": []}', "list of pools' names"),
        ("[1", "is no GeoJSON"),
        ("[1]", "no GeoJSON object"),
        (None, "does not exist"),
    ],
)
def test_a_committed_file_that_is_not_fit_is_refused(tmp_path: Path, content: str | None, fault: str) -> None:
    file = tmp_path / "mine.geojson"
    if content is not None:
        file.write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=fault) as told:
        open_area(area(tmp_path / "area", POOLS), committed=file)
    assert "mine.geojson" in str(told.value)


def marker_of(page: Any, letter: str) -> Any:
    return page.get_by_role("button", name=f"Pool {letter}: arrow keys move it")


def test_a_pool_tried_out_is_moved_by_the_arrow_keys(visit: Callable[..., Any], page_file: Path) -> None:
    page = visit(page_file, reduced_motion="reduce")
    go_to(page, page_file, 33, 72)
    here(page)
    there = reached(page)
    go_to(page, page_file, 30, 70)
    here(page)
    start = reached(page)
    marker_of(page, "A").focus()
    for key in ("ArrowDown", "ArrowRight", "ArrowDown", "ArrowDown", "ArrowRight"):
        page.keyboard.press(key)
    assert reached(page) == pytest.approx(there, rel=1e-9)
    assert abs(there / start - 1) > 1e-4
    assert "Pool A moved" in page.locator("#try-said").inner_text()
    assert page.evaluate("document.activeElement.getAttribute('aria-label')").startswith("Pool A")
    assert faults(page) == []
    page.keyboard.press("Delete")
    assert page.locator("#try-list li").count() == 0
    assert page.evaluate("document.activeElement.id") == "map"
    assert page.trouble == []


@pytest.mark.parametrize("touch", [False, True])
def test_a_pool_tried_out_is_dragged(visit: Callable[..., Any], page_file: Path, touch: bool) -> None:
    page = visit(page_file, reduced_motion="reduce", has_touch=touch)
    go_to(page, page_file, 30, 70)
    here(page)
    start, box = reached(page), marker_of(page, "A").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    drag(page, touch, (x, y), (x - 120, y + 90))
    assert "Pool A moved" in page.locator("#try-said").inner_text()
    assert abs(reached(page) / start - 1) > 1e-3
    new = marker_of(page, "A").bounding_box()
    assert abs(new["x"] - box["x"] + 120) < 10  # on the middle of a cell
    assert page.locator("#try-list li").count() == 1
    assert page.trouble == []


def drag(page: Any, touch: bool, start: tuple[float, float], end: tuple[float, float]) -> None:
    steps = [tuple(a + (b - a) * k / 8 for a, b in zip(start, end, strict=True)) for k in range(1, 9)]
    if not touch:
        page.mouse.move(*start)
        page.mouse.down()
        for at in steps:
            page.mouse.move(*at)
        page.mouse.up()
        return
    wire = page.context.new_cdp_session(page)
    send = lambda kind, points: wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})  # noqa: E731
    send("touchStart", [{"x": start[0], "y": start[1]}])
    for x, y in steps:
        send("touchMove", [{"x": x, "y": y}])
    send("touchEnd", [])


def test_a_pool_dragged_where_none_may_stand_goes_back_and_says_why(visit: Callable[..., Any], page_file: Path) -> None:
    page = visit(page_file, reduced_motion="reduce")
    go_to(page, page_file, 40, 50)
    here(page)
    box = marker_of(page, "A").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 40, y, steps=3)
    page.mouse.move(x - 75, y, steps=3)  # onto the pool of (40, 44)
    page.mouse.up()
    assert "Too near" in page.locator("#try-said").inner_text()
    assert page.locator("#try-list li").count() == 1
