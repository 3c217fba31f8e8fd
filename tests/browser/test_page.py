"""The page in a browser without a network: what it shows, that it works by hand and by key, that nothing runs."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

from habitatmap.errors import InputError
from habitatmap.page import Tiles, map_page
from habitatmap.page import document as figure
from tests.browser.town import nothing_in_it, town

pytestmark = pytest.mark.browser

Visit = Callable[..., Any]
PAINTED = "() => document.querySelector('canvas.cells').toDataURL()"
PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}


def faults(page: Any) -> list[list[str]]:
    """What axe finds by its default rules; only that is brought out of the browser, the rest takes as long to bring."""
    from axe_playwright_python.base import AXE_SCRIPT

    if page.evaluate("typeof axe === 'undefined'"):
        page.evaluate(AXE_SCRIPT)
    run = "axe.run({resultTypes: ['violations']})"
    found = page.evaluate(f"{run}.then(all => all.violations.map(v => [v.id, v.nodes[0].html.slice(0, 200)]))")
    assert isinstance(found, list)
    return found


def plan_row(page: Any, number: int) -> Any:
    return page.locator("#plan-panel .pick").nth(number)


def test_it_opens_in_silence(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    assert page.trouble == []
    assert page.locator("#map .leaflet-marker-icon.pin").count() == 8
    assert page.locator("#plan-panel .pick").count() == 10
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.locator("#headline").inner_text().count("31.4") == 1


def test_the_guard_against_trouble_can_fail(visit: Visit, tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    bad.write_text(
        "<html class=ready><img src=https://example.invalid/x.png><script>console.log(1);alert(2);x.y</script>"
    )
    kinds = {line.split(":")[0] for line in visit(bad).trouble}
    assert {"request", "dialog", "error", "console"} <= kinds


@pytest.mark.parametrize("how", [{}, PHONE, {"color_scheme": "dark"}, {"width": 768, "height": 1000}], ids=str)
def test_axe_finds_nothing_in_any_state(visit: Visit, team_file: Path, how: dict[str, Any]) -> None:
    page = visit(team_file, reduced_motion="reduce", **how)  # a popup that fades in has no contrast yet
    assert faults(page) == []
    plan_row(page, 1).click()
    page.wait_for_selector("#plan-panel .detail .caution")
    assert faults(page) == []
    page.locator("#key").evaluate("e => e.open = true")
    page.locator("#theme").select_option("reach_now")
    page.locator("#mark-land").check()
    for tab in ("gaps", "pools", "what-if", "reading", "data"):
        page.locator(f"#tab-{tab}").click()
        assert faults(page) == [], tab
    page.locator("#tab-what-if").click()
    page.locator("#try").click()
    assert faults(page) == []
    page.locator("#try").click()
    page.locator("#key").evaluate("e => e.open = false")
    page.locator("#view-box summary").click()
    assert faults(page) == []
    page.locator("#view-box summary").click()
    page.locator(".zoom button").last.click()
    box = page.locator("#map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_selector(".leaflet-popup")
    assert faults(page) == []
    assert page.trouble == []


def test_axe_finds_nothing_on_the_public_page(visit: Visit, public_file: Path) -> None:
    page = visit(public_file)
    assert faults(page) == []
    assert page.locator(".leaflet-marker-icon.tag-cells").count() >= 2
    assert page.locator("[role=tab]").count() == 4
    page.locator("#tab-data").click()
    assert "1.0" in page.locator("#data-panel").inner_text()
    assert page.trouble == []


def test_a_row_opens_its_card_and_marks_its_pin(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    plan_row(page, 1).click()
    assert page.locator(".pin.on").inner_text() == "S2"
    card = page.locator("#plan-panel .detail").inner_text()
    parts = ("Why here", "of the area's forage", "Before a pool goes here", "drown", "42", "25", "61", "+4.0")
    for part in (*parts, "in writing"):
        assert part in card, part
    assert "Suggestion 2 of 10: Mill Lane Green" in page.locator("#live").inner_text()
    plan_row(page, 1).click()
    assert page.locator(".detail").count() == 0
    assert page.locator(".pin.on").count() == 0


def test_a_row_on_private_ground_has_no_pin(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    plan_row(page, 2).click()
    assert page.locator(".pin.on").count() == 0
    card = page.locator("#plan-panel .detail").inner_text()
    assert "no point is given" in card
    assert "Latitude" not in card


def test_a_pin_opens_its_row(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.locator("#tab-data").click()
    page.locator("#map .pin", has_text="8").click()
    assert page.locator("#tab-plan").get_attribute("aria-selected") == "true"
    assert page.locator("tr.on .pick").inner_text() == "Old Wood"
    assert page.evaluate("document.activeElement.textContent") == "Old Wood"


def test_it_works_by_keyboard(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    plan_row(page, 0).focus()
    for key in ("ArrowDown", "ArrowDown", "ArrowUp", "Enter"):
        page.keyboard.press(key)
    assert page.locator("tr.on .pick").inner_text() == "Mill Lane Green"
    page.keyboard.press("End")
    assert page.evaluate("document.activeElement.textContent") == "Weir Path"
    page.keyboard.press("Escape")
    assert page.locator(".detail").count() == 0
    page.locator("#tab-plan").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("#gaps-panel").is_visible()
    page.keyboard.press("End")
    assert page.locator("#data-panel").is_visible()
    page.keyboard.press("ArrowRight")
    assert page.locator("#plan-panel").is_visible()
    assert page.trouble == []


def test_focus_is_seen_and_targets_are_large(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    plan_row(page, 0).focus()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.locator("#tab-pools").click()
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, select, input, summary, .leaflet-marker-icon > span')]
        .filter(e => e.offsetParent).map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 90)])
        .filter(([r]) => (r.width < 24 || r.height < 24)).map(([r, t]) => [r.width, r.height, t])
        .filter(([w, h, t]) => !t.includes('type="checkbox"'))"""
    )
    assert small == []
    # a tick is drawn smaller than its label, and the label works it too
    label = page.locator("#marks label").first.bounding_box()
    assert label["height"] >= 24


def test_the_first_few_pools_can_be_asked_for(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.locator("#first").fill("5")
    assert "first 5 of 10" in page.locator("#headline").inner_text()
    fifth = town().plan["cumulative"].iloc[4]
    assert f"{100 * fifth:.1f}" in page.locator("#headline .figures").inner_text()
    assert page.locator("#map .pin.later").count() == 4  # of ranks 6 to 10, one is on private ground


def test_the_legend_follows_the_layer(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    first = page.locator("#swatches").inner_text()
    page.locator("#theme").select_option("occupancy")
    assert page.locator("#swatches").inner_text() != first
    assert "searched pools say nothing" in page.locator("#meaning").inner_text()
    assert "not known" in page.locator("#swatches").inner_text()
    page.locator("#theme").select_option("land_cover")
    assert "old park" in page.locator("#swatches").inner_text()
    page.locator("#mark-pools").uncheck()
    page.locator("#mark-pools").check()
    assert page.trouble == []


def test_the_year_can_be_gone_through(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    assert page.locator("#month").is_hidden()
    page.locator("#theme").select_option("forage_month")
    assert "September" in page.locator("#month-said").inner_text()
    assert "least forage" in page.locator("#month-said").inner_text()
    lean = page.evaluate(PAINTED)
    page.locator("#month").fill("6")
    assert "June" in page.locator("#month-said").inner_text()
    assert "in the season" in page.locator("#month-said").inner_text()
    assert page.evaluate(PAINTED) != lean
    page.locator("#month").press("End")
    assert "outside the season" in page.locator("#month-said").inner_text()
    assert page.locator("#month").get_attribute("aria-valuetext") == "December"
    page.locator("#theme").select_option("dead_wood")
    assert page.locator("#month").is_hidden()
    assert page.trouble == []


def test_numbers_do_not_cover_each_other(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, width=1000, reduced_motion="reduce")
    for _ in range(6):
        page.locator(".zoom button").nth(1).click()
        page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        boxes = page.evaluate(
            """() => [...document.querySelectorAll('.pin:not(.small) > span, #map .tag > span')]
            .map(e => e.getBoundingClientRect()).map(r => [r.left, r.top, r.right, r.bottom])"""
        )
        met = [(a, b) for i, a in enumerate(boxes) for b in boxes[:i] if _meet(a, b)]
        assert met == []
    assert page.locator("#map .pin").count() == 8


def _meet(a: list[float], b: list[float]) -> bool:
    return a[0] < b[2] - 1 and b[0] < a[2] - 1 and a[1] < b[3] - 1 and b[1] < a[3] - 1


def test_a_click_on_the_ground_tells_its_classes(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.evaluate("document.getElementById('theme').value")
    for name in ("pools", "plan", "gaps"):
        page.locator(f"#mark-{name}").uncheck()
    box = page.locator("#map").bounding_box()
    page.mouse.click(box["x"] + 520, box["y"] + 520)
    text = page.locator(".leaflet-popup-content").inner_text()
    assert "Dead wood" in text
    assert "Reach now" in text


def test_pools_are_found_and_sorted(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.locator("#tab-pools").click()
    page.locator("#find").fill("pool 1")
    assert page.locator("#pools-panel .pick").count() == 11  # 1 and 10 to 19
    page.locator("#find").fill("")
    page.locator("#pools-panel thead button").nth(2).click()
    page.locator("#pools-panel thead button").nth(2).click()
    shares = [int(t.split()[0]) for t in page.locator("#pools-panel tbody td.figure").all_inner_texts()]
    assert shares == sorted(shares, reverse=True)
    page.locator("#pools-panel .pick").first.click()
    assert "Probability of larvae" in page.locator("#pools-panel .detail").inner_text()


def test_a_phone_has_no_sideways_scroll(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, **PHONE)
    for tab in ("plan", "gaps", "pools", "what-if", "reading", "data"):
        page.locator(f"#tab-{tab}").click()
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.locator("#tab-plan").click()
    plan_row(page, 0).click()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate("document.getElementById('map').getBoundingClientRect().top") >= 0


def test_paper_shows_the_plan_with_its_reasons_and_each_caution_once(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.emulate_media(media="print")
    page.wait_for_selector("html.printing")
    assert page.locator("#tabs").is_hidden()
    assert page.locator("#plan-panel p.paper").first.is_visible()
    assert page.locator("main").inner_text().count("drown a small child") == 1
    assert page.locator("#headline > .caution").is_visible()
    assert page.locator("#key-body").is_visible()
    assert page.locator("#map .pin").first.is_visible()
    sheets = [sheet.extract_text() for sheet in PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages]
    assert ["drown a small child" in " ".join(sheet.split()) for sheet in sheets] == [True, False]
    first = page.locator("#plan-panel p.paper").first.inner_text()
    assert [first in " ".join(sheet.split()) for sheet in sheets] == [False, True]
    page.emulate_media(media="screen")
    page.wait_for_selector("html:not(.printing)")
    assert page.locator("#plan-panel > .caution").is_visible()
    assert page.trouble == []


MARKUP = "</script><img src=x onerror=alert(1)><svg onload=alert(2)>"
HOSTILE = {
    "everything": 'O\'Brien "pool" \\ back`tick {{7*7}} {% for x in y %} {0} {n} [[title]] <!-- <script> '
    "${alert(3)} &lt;b&gt; ]]>"
    'javascript:alert(4)" onfocus=alert(5) autofocus x=" a\u2028b\u2029</SCRIPT > شجرة الزان 🪵🐝 naïve Ελλ Жук 樹洞'
    + MARKUP,
    "prototype": "__proto__",
    "constructor": "constructor",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_record_text_is_shown_as_written_and_never_runs(visit: Visit, tmp_path: Path, text: str) -> None:
    page = _open(visit, tmp_path, text)
    assert page.locator("h1").text_content() == text
    plan_row(page, 0).click()
    assert plan_row(page, 0).text_content() == text
    assert "drown" in page.locator("#plan-panel .detail .caution").text_content()
    page.locator("#tab-gaps").click()
    assert page.locator("#gaps-panel tbody p").first.text_content().endswith(f"exclusion zone: {text}")
    page.locator("#tab-pools").click()
    page.locator("#pools-panel .pick").first.click()
    assert page.locator("#pools-panel .pick").first.text_content() == text + " 0"
    assert text in page.locator("#pools-panel .detail").text_content()
    page.locator("#theme").select_option("land_cover")
    assert text in page.locator("#swatches").text_content()
    page.locator("#tab-data").click()
    assert page.locator("#data-panel").text_content().count(text) >= 5
    open_find(page)
    page.locator("#find-name").fill(text[:20])
    assert page.locator("#found button").first.is_visible()
    page.keyboard.press("Escape")
    page.locator("#tab-pools").click()
    page.locator("#pools-panel .pick").first.click()
    page.locator("#pools-panel .detail .act").click()
    assert text in page.locator("#try-said").text_content()
    assert text in page.locator("#try-list").text_content()
    assert page.locator("img[src=x], svg[onload], [onfocus]").count() == 0
    assert page.trouble == []


def test_what_can_not_be_shown_is_replaced(visit: Visit, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    # a table can't hold a lone surrogate, a title can
    path.write_text(map_page(town("a\u202egnp.exe\u2066 \x00end", "a\u202egnp.exe\ud83d")), encoding="utf-8")
    page = visit(path)
    assert page.locator("h1").text_content() == "agnp.exe\ufffd"
    assert plan_row(page, 0).text_content() == "agnp.exe \ufffdend"
    assert page.trouble == []


def test_ten_thousand_characters_break_nothing(visit: Visit, tmp_path: Path) -> None:
    page = _open(visit, tmp_path, "Oak" * 3_333 + "!")
    plan_row(page, 0).click()
    assert plan_row(page, 0).text_content() == "Oak" * 3_333 + "!"
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    assert page.locator("#plan-panel .pick").nth(9).bounding_box()["height"] < 200
    assert page.trouble == []


def test_the_guard_against_running_text_can_fail(visit: Visit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the escaping gone, the same hostile text breaks out of its block and the page reports it."""
    import json

    monkeypatch.setattr(figure, "json_for_script", lambda data: json.dumps(data, sort_keys=True))
    path = tmp_path / "map.html"
    path.write_text(map_page(town(MARKUP, MARKUP)), encoding="utf-8")
    with pytest.raises(Exception, match=r"Timeout|Target"):
        visit(path, slow=2_000)


def test_an_empty_area_opens_in_silence(visit: Visit, tmp_path: Path) -> None:
    result = nothing_in_it()
    path = tmp_path / "map.html"
    path.write_text(map_page(result), encoding="utf-8")
    page = visit(path)
    assert "could not be calculated" in page.locator("#headline").inner_text()
    assert page.trouble == []
    assert faults(page) == []


def _open(visit: Visit, folder: Path, text: str) -> Any:
    path = folder / "map.html"
    path.write_text(map_page(town(text, text)), encoding="utf-8", newline="\n")
    return visit(path)


def test_pools_can_be_shown_by_their_chance(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    page.locator("#pools-by").select_option("chance")
    assert "likely range" in page.locator("#marks").inner_text()
    assert "pools=chance" in page.url
    assert faults(page) == []
    assert page.trouble == []


def test_the_address_holds_the_view(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    page.locator("#theme").select_option("forage_month")
    page.locator("#month").fill("5")
    page.locator("#mark-gaps").uncheck()
    page.locator("#tab-gaps").click()
    page.locator("#view-box summary").click()
    page.locator("#look").select_option("dark")
    page.locator(".zoom button").first.click()
    page.wait_for_timeout(500)
    kept = page.url
    page.goto("about:blank")
    page.goto(kept)
    page.wait_for_selector("html.ready")
    assert page.locator("#theme").input_value() == "forage_month"
    assert page.locator("#month").input_value() == "5"
    assert not page.locator("#mark-gaps").is_checked()
    assert page.locator("#gaps-panel").is_visible()
    assert page.evaluate("document.documentElement.dataset.look") == "dark"
    view = [[float(part) for part in re.split("[=,&]", url.split("#at=")[1])[:3]] for url in (page.url, kept)]
    assert np.allclose(*view, atol=1e-4)  # a pixel
    assert page.trouble == []


def test_an_address_that_makes_no_sense_changes_nothing(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    page.goto("about:blank")
    page.goto(
        team_file.resolve().as_uri() + "#at=x,1,<b>&colour=__proto__&month=99&tab=constructor&look=%22&lang=toString"
    )
    page.wait_for_selector("html.ready")
    assert page.locator("#plan-panel").is_visible()
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.trouble == []


def open_find(page: Any) -> None:
    """Opens the search; its field has the focus a moment later, as the browser tells of the opening by an event."""
    page.locator("#find-box summary").click()
    page.wait_for_function("() => document.activeElement.id === 'find-name'")


def test_a_name_is_found_and_shown(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    open_find(page)
    page.keyboard.type("pool 1")
    assert page.locator("#found button").count() == 11
    assert "11 found" in page.locator("#found-said").inner_text()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.locator("#pools-panel .detail").is_visible()
    assert page.locator("#find-box").get_attribute("open") is None
    open_find(page)
    page.keyboard.press("Escape")
    assert page.locator("#find-box").get_attribute("open") is None
    assert page.trouble == []


def test_a_distance_is_measured_by_mouse_and_by_key(visit: Visit, team_file: Path) -> None:
    """Against the geodesic of pyproj: the page's own formula is good to a few parts in a million at town size."""
    page = visit(team_file, reduced_motion="reduce")
    page.locator("#measure").click()
    box = page.locator("#map").bounding_box()
    page.mouse.click(box["x"] + 450, box["y"] + 300)
    page.locator("#map").focus()
    page.keyboard.press("Enter")
    said = page.locator("#measured").inner_text()
    assert "WGS 84" in said
    assert re.match(r"\d+\sm|\d\.\d", said)
    page.keyboard.press("Backspace")
    assert "next point" in page.locator("#measured").inner_text()
    page.keyboard.press("Escape")
    assert page.locator("#measured").is_hidden()
    assert page.evaluate("document.activeElement.id") == "measure"
    assert page.trouble == []


def test_a_site_is_printed_by_itself(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    plan_row(page, 1).click()
    page.evaluate("window.print = () => { window.printed = document.documentElement.className; }")
    # a real dialogue holds the page on paper until it is closed; the paper of this test may come late
    page.evaluate("{ const ask = matchMedia; window.matchMedia = (q) => q === 'print' ? {matches: true} : ask(q); }")
    page.locator("#plan-panel .detail .act").click()
    page.emulate_media(media="print")
    page.wait_for_selector("html.one-site")
    assert page.locator("#plan-panel .detail").is_visible()
    assert page.locator("#headline").is_hidden()
    assert plan_row(page, 0).is_hidden()
    page.emulate_media(media="screen")
    page.wait_for_selector("html:not(.one-site)")
    page.locator("#tab-data").click()
    page.emulate_media(media="print")
    page.wait_for_selector("html.printing")
    assert plan_row(page, 0).is_visible()
    assert page.locator("#data-panel").is_hidden()
    assert page.trouble == []


def test_high_contrast_and_forced_colours(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce", contrast="more")
    assert page.evaluate("document.documentElement.dataset.look") == "contrast"
    assert faults(page) == []
    forced = visit(team_file, reduced_motion="reduce", forced_colors="active")
    forced.locator("#tab-what-if").click()
    assert faults(forced) == []
    assert forced.trouble == []


def test_large_text_stays_usable(visit: Visit, team_file: Path) -> None:
    """Text at 200 %: the page at half its width in CSS pixels is what a browser's zoom makes of it."""
    page = visit(team_file, width=640, height=400, device_scale_factor=2)
    assert page.evaluate("document.documentElement.scrollWidth") <= 640
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    for tab in ("plan", "gaps", "pools", "what-if", "reading", "data"):
        page.locator(f"#tab-{tab}").click()
        assert page.evaluate("document.documentElement.scrollWidth") <= 640, tab
    assert page.trouble == []


def test_online_pictures_are_asked_for_only_when_switched_on(visit: Visit, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    path.write_text(map_page(town(), tiles=Tiles("https://tiles.invalid/{z}/{x}/{y}.png", "Tiles by nobody")), "utf-8")
    policy = re.search(r"img-src ([^;]+);", path.read_text("utf-8"))
    assert policy
    assert policy[1] == "data: blob: https://tiles.invalid"
    page = visit(path)
    page.locator(".zoom button").first.click()
    page.wait_for_timeout(400)
    assert page.trouble == []
    page.locator("#mark-tiles").check()
    page.wait_for_timeout(400)
    assert any("request: https://tiles.invalid/" in line for line in page.trouble)
    assert not any("Content Security Policy" in line for line in page.trouble)
    page.locator("#tab-data").click()
    assert "Tiles by nobody" in page.locator("#data-panel").inner_text()


@pytest.mark.parametrize(
    "url",
    ["http://a.b/{z}/{x}/{y}", "https://a.b/{z}/{x}", "https://a.b/{z}/{x}/{y}/{s}", "https://a.b; x/{z}/{x}/{y}", "x"],
)
def test_an_address_of_tiles_that_is_not_fit_is_refused(url: str) -> None:
    with pytest.raises(InputError, match="--tiles"):
        Tiles(url, "somebody")
    with pytest.raises(InputError, match="credit"):
        Tiles("https://a.b/{z}/{x}/{y}", " ")


def test_the_tab_key_goes_through_the_page_in_the_order_of_reading(visit: Visit, team_file: Path) -> None:
    page = visit(team_file)
    order: list[str] = []
    for _ in range(60):
        page.keyboard.press("Tab")
        here = page.evaluate(
            """() => { const at = document.activeElement;
            return at.id || at.className || at.closest('[id]').id + ' ' + at.tagName; }"""
        )
        order.append(here)
        if here == "pick":
            break
    want = ["skip", "measure", "map", "theme", "pools-by", "first", "tab-plan", "plan-panel", "pick"]
    at = [order.index(one) for one in want]
    assert at == sorted(at), order
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_axe_finds_nothing_in_a_sorted_table_nor_while_measuring(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    page.locator("#tab-pools").click()
    page.locator("#pools-panel thead button").nth(2).click()
    page.locator("#pools-panel .pick").first.click()
    assert faults(page) == []
    page.locator("#measure").click()
    open_find(page)
    page.keyboard.type("pool")
    assert faults(page) == []
    page.locator("#view-box summary").click()
    page.locator("#look").select_option("dark")
    page.locator("#theme").select_option("forage_month")
    assert faults(page) == []
    assert page.trouble == []


def test_a_popup_tells_what_it_is_and_gives_the_focus_back(visit: Visit, team_file: Path) -> None:
    page = visit(team_file, reduced_motion="reduce")
    for name in ("pools", "plan", "gaps"):
        page.locator(f"#mark-{name}").uncheck()
    page.locator("#map").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".leaflet-popup")
    popup = page.get_by_role("dialog", name="At this point")
    assert popup.is_visible()
    assert page.evaluate("document.querySelector('.leaflet-popup').contains(document.activeElement)")
    page.keyboard.press("Escape")
    page.wait_for_selector(".leaflet-popup", state="detached")
    assert page.evaluate("document.activeElement.id") == "map"
    assert page.trouble == []


def test_the_focus_goes_where_the_search_went(visit: Visit, tmp_path: Path) -> None:
    result = town()
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(result, paths=result.paths.assign(name="Weir Path"))), encoding="utf-8")
    page = visit(path, reduced_motion="reduce")
    for wanted, kind, focused in [("Weir", "street", "map"), ("Mill Lane", "suggestion", "Mill Lane Green")]:
        open_find(page)
        page.locator("#find-name").fill(wanted)
        page.locator("#found button", has_text=kind).first.click()
        here = page.evaluate("document.activeElement.id || document.activeElement.textContent")
        assert here == focused
    assert "Weir Path is shown" not in page.locator("#live").inner_text()  # the last one told is the suggestion
    assert page.trouble == []
