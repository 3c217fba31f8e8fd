"""The round on a telephone: what is typed is kept whatever happens, and its file is read like any other visits."""

from __future__ import annotations

import csv
import datetime
import json
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from habitatmap.area import open_area
from habitatmap.cli.main import commands
from habitatmap.fieldwork.rounds import read_week
from habitatmap.job import rounds_of
from habitatmap.read.templates import write_templates
from habitatmap.reports.rounds import write_rounds
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.catalogue import catalogue
from tests.browser.telephones import Chromium, Firefox, Telephone, wait_for
from tests.browser.test_page import faults

pytestmark = pytest.mark.browser
NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>{{ 7*7 }}"
POOLS = 60
PHONE = {"width": 360, "height": 740}
LAST = "pool,date,outcome,observer"


def area_in(folder: Path, pools: int, name: str = "P", person: str = "Ann", note: str = "by the gate") -> Path:
    """Pools in a grid, due for one person."""
    folder.mkdir(parents=True, exist_ok=True)
    rows, visits = ["pool,lat,lon,set_out,host,note,volume_l"], [LAST]
    for i in range(pools):
        rows.append(f"{name}{i:02d},{48.1 + i % 6 / 500},{9.5 + i // 6 / 500},2025-03-01,{note},{note},10")
        visits.append(f"{name}{i:02d},2025-05-01,none seen,{person}")
    (folder / "area.toml").write_text("as_of = 2025-06-01\n", encoding="utf-8")
    (folder / "pools.csv").write_text("\n".join(rows), encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(visits), encoding="utf-8")
    return folder


def phone_file(area: Path, language: str = "en") -> Path:
    made = rounds_of(open_area(area), read_week("2025-W23"))
    write_rounds(made, area / "rounds", catalogue(language), phone=True)
    return next((area / "rounds").glob("*-phone.html"))


@pytest.fixture(scope="module")
def nasty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return phone_file(area_in(tmp_path_factory.mktemp("nasty"), 8, f"{NASTY} ", "<b>Ann {{ 7*7 }}<b>", NASTY))


@pytest.fixture
def fresh(visit: Callable[..., Any], nasty: Path) -> Any:
    """The page with nothing kept from a test before."""
    page = visit(nasty, **PHONE)
    page.evaluate("new Promise(done => { localStorage.clear(); const gone = indexedDB.deleteDatabase('rounds');"
                  " gone.onsuccess = gone.onerror = gone.onblocked = () => done(true); })")  # fmt: skip
    return visit(nasty, **PHONE)


@pytest.mark.parametrize("how", [PHONE, PHONE | {"color_scheme": "dark"}, {"width": 1280, "height": 800}], ids=str)
def test_it_is_silent_and_axe_finds_nothing(visit: Callable[..., Any], nasty: Path, how: dict[str, Any]) -> None:
    page = visit(nasty, **how)
    assert faults(page) == []
    page.click("#pools button >> nth=0")
    page.click("input[value=larvae]")
    page.click("#more")
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= how["width"]
    assert page.locator("#name").inner_text() == f"1 {NASTY} " + page.locator("#name").inner_text()[-2:]
    assert page.locator("img").count() == 0
    assert page.trouble == []


def test_what_is_touched_is_large_and_in_reach_of_the_thumb(visit: Callable[..., Any], tmp_path: Path) -> None:
    fresh = visit(phone_file(area_in(tmp_path, 8)), **PHONE)
    fresh.click("#pools button >> nth=0")
    small = fresh.evaluate(
        "[...document.querySelectorAll('button, a, label.big, input:not([type=radio]):not([type=checkbox]), summary')]"
        ".filter(e => e.checkVisibility()).map(e => [e.id, e.getBoundingClientRect()])"
        ".filter(([, box]) => box.height < 44 || box.width < 44).map(([id]) => id)"
    )
    assert small == []
    done = fresh.locator("#back").bounding_box()
    assert done["y"] > 600
    outcome = fresh.locator("input[name=outcome] >> nth=5").bounding_box()
    assert outcome["y"] + outcome["height"] < done["y"]  # all outcomes without scrolling


def test_an_entry_is_kept_and_changed_and_saved(fresh: Any, nasty: Path, tmp_path: Path) -> None:
    fresh.click("#pools button >> nth=2")
    fresh.click("input[value=dry]")
    fresh.click("input[value='topped up']")
    fresh.fill("#note", '=1+1, "quoted"\nsecond line')
    fresh.fill("#photo", "IMG_1.jpg")
    fresh.fill("#date", "2025-06-03")
    fresh.wait_for_selector("#told:has-text('Kept')")
    fresh.reload()
    fresh.wait_for_selector("html.ready")
    assert "1 of 8" in fresh.locator("#progress").inner_text()
    fresh.click("#pools button >> nth=2")
    assert fresh.input_value("#note") == '=1+1, "quoted"\nsecond line'
    fresh.click("input[value='none seen']")
    fresh.click("#back")
    with fresh.expect_download() as waiting:
        fresh.click("#save")
    assert waiting.value.suggested_filename == "visits_2025-w23_01-b-ann-7-7-b.csv"
    area = nasty.parents[1]
    (tmp_path / "visits").mkdir()
    for name in ("area.toml", "pools.csv"):
        shutil.copy(area / name, tmp_path / name)
    waiting.value.save_as(tmp_path / "visits" / "any name.csv")
    (row,) = open_area(tmp_path).visits.to_dict("records")
    assert row["pool"].startswith(NASTY)
    assert (row["outcome"], row["action"], row["photo"]) == ("none seen", "topped up", "IMG_1.jpg")
    assert row["note"] == '=1+1, "quoted" second line'
    assert row["date"].date() == datetime.date(2025, 6, 3)
    assert row["observer"] == "<b>Ann {{ 7*7 }}<b>"
    assert fresh.trouble == []


def test_two_visits_of_one_pool_and_one_taken_back(fresh: Any) -> None:
    fresh.click("#pools button >> nth=0")
    fresh.click("input[value=dry]")
    fresh.click("#again")
    fresh.click("input[value=larvae]")
    fresh.fill("#larvae", "7")
    fresh.click("#back")
    assert "larvae 7" in fresh.locator("#pools button >> nth=0").inner_text()
    fresh.click("#text")
    assert fresh.input_value("#copy").count("hm-") == 2
    fresh.click("#pools button >> nth=0")
    fresh.click("#remove")
    fresh.click("#remove")
    fresh.click("#text")
    assert fresh.input_value("#copy").count("hm-") == 1


def test_two_windows_do_not_undo_each_other(fresh: Any, nasty: Path) -> None:
    other = fresh.context.new_page()
    other.goto(nasty.resolve().as_uri())
    other.wait_for_selector("html.ready")
    for page, number, outcome in ((fresh, 0, "dry"), (other, 1, "frozen"), (fresh, 2, "gone")):
        page.click(f"#pools button >> nth={number}")
        page.click(f"input[value={outcome}]")
        page.wait_for_selector("#told:has-text('Kept')")
        page.click("#back")
    other.reload()
    other.wait_for_selector("html.ready")
    assert "3 of 8" in other.locator("#progress").inner_text()
    other.close()


def test_a_page_that_is_sent_anew_keeps_what_was_typed(browser: Any, tmp_path: Path) -> None:
    first, anew = (phone_file(area_in(tmp_path / name / "town", pools)) for name, pools in (("old", 4), ("new", 2)))
    context = browser.new_context(offline=True, viewport=PHONE)
    page = context.new_page()
    page.goto(first.resolve().as_uri())
    page.wait_for_selector("html.ready")
    names = page.locator("#pools .name").all_inner_texts()
    page.click(f"#pools button >> nth={names.index('P03')}")
    page.click("input[value=dry]")
    page.wait_for_selector("#told:has-text('Kept')")
    page.goto(anew.resolve().as_uri())
    page.wait_for_selector("html.ready")
    assert page.locator("#pools .name").all_inner_texts()[2:] == ["P03"]
    page.click("#pools button >> nth=2")
    page.fill("#note", "twigs")
    page.click("#back")
    page.click("#text")
    (row,) = csv.DictReader(page.input_value("#copy").lstrip("\ufeff").splitlines())
    assert (row["pool"], row["outcome"], row["note"]) == ("P03", "dry", "twigs")
    context.close()


def test_a_browser_that_keeps_nothing_says_so(browser: Any, nasty: Path) -> None:
    context = browser.new_context(offline=True, viewport=PHONE)
    context.add_init_script(
        "for (const name of ['indexedDB', 'localStorage']) Object.defineProperty(window, name,"
        " { get() { throw new DOMException('refused', 'SecurityError'); } });"
    )
    page = context.new_page()
    page.goto(nasty.resolve().as_uri())
    page.wait_for_selector("html.ready")
    assert "keeps nothing" in page.locator("#refused").inner_text()
    assert faults(page) == []
    page.click("#pools button >> nth=0")
    page.click("input[value=dry]")
    page.wait_for_selector("#told:has-text('Not kept')")
    assert "#" in page.url
    again = context.new_page()  # as a tab that is brought back has its address
    again.goto(page.url)
    again.wait_for_selector("html.ready")
    assert "1 of 8" in again.locator("#progress").inner_text()
    context.close()


def test_a_full_store_says_so(browser: Any, nasty: Path) -> None:
    context = browser.new_context(offline=True, viewport=PHONE)
    context.add_init_script(
        "const full = () => { throw new DOMException('full', 'QuotaExceededError'); };"
        "IDBObjectStore.prototype.put = full; Storage.prototype.setItem = full;"
    )
    page = context.new_page()
    page.goto(nasty.resolve().as_uri())
    page.wait_for_selector("html.ready")
    page.click("#pools button >> nth=0")
    page.click("input[value=dry]")
    page.wait_for_selector("#told:has-text('Not kept')")
    assert page.locator("#refused").is_visible()
    context.close()


def test_the_position_is_asked_each_time_and_may_be_left_out(browser: Any, nasty: Path) -> None:
    context = browser.new_context(
        offline=True,
        viewport=PHONE,
        permissions=["geolocation"],
        geolocation={"latitude": -48.1, "longitude": 9.5, "accuracy": 7.2},
    )
    page = context.new_page()
    page.goto(nasty.resolve().as_uri())
    page.wait_for_selector("html.ready")
    for number in (0, 1):
        page.click(f"#pools button >> nth={number}")
        page.click("input[value=dry]")
        assert page.locator("#position").is_hidden()
        page.click("#locate")
        page.wait_for_selector("#position:not([hidden])")
        if number:
            page.click("#forget")
        page.click("#back")
    page.click("#text")
    rows = list(csv.DictReader(page.input_value("#copy").lstrip("\ufeff").splitlines()))
    found = [(row["latitude"], row["longitude"], row["accuracy (m)"]) for row in rows]
    assert found == [("-48.100000", "9.500000", "8"), ("", "", "")]
    context.close()


@pytest.mark.parametrize("language", ["de", "fr", "nl"])
def test_it_speaks_the_language(visit: Callable[..., Any], tmp_path: Path, language: str) -> None:
    page = visit(phone_file(area_in(tmp_path, 3), language), **PHONE)
    page.click("#pools button >> nth=0")
    said = page.locator("#visit").inner_text()
    english = {"What was there?", "Done", "Name of the photo", "none seen", "Ask for my position"}
    assert [text for text in english if text in said] == []
    page.click("#back")
    page.click("#text")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


# --- killed twice, in two browsers ------------------------------------------------------------------------------------


def entry(i: int) -> dict[str, str]:
    """What is typed for the pool with this number."""
    outcome = list(Outcome)[i % 6 if i % 4 else 0]
    return {
        "pool": f"P{i:02d}",
        "date": f"2025-06-{1 + i % 7:02d}",
        "outcome": outcome.value,
        "larvae": str(1 + i % 9) if outcome is Outcome.LARVAE else "",
        "action": "topped up" if i % 3 == 0 else "",
        "note": f"note {i}; caf\u00e9" if i % 5 == 0 else "",
    }


def type_in(telephone: Telephone, i: int, names: list[str]) -> None:
    """One visit, touched and typed as somebody does it."""
    one = entry(i)
    telephone.touch("#pools li button", names.index(one["pool"]))
    telephone.touch(f"input[value='{one['outcome']}']")
    if one["larvae"]:
        telephone.write("#larvae", one["larvae"])
    if one["action"]:
        telephone.touch(f"input[value='{one['action']}']")
    if one["note"]:
        telephone.write("#note", one["note"])
    telephone.run(
        f"const day = document.querySelector('#date'); day.value = '{one['date']}';"
        "day.dispatchEvent(new Event('input'));"
    )
    wait_for("document.querySelector('#told').textContent.startsWith('Kept')", telephone)


@pytest.mark.slow
@pytest.mark.parametrize("kind", [Chromium, Firefox])
def test_sixty_entries_and_two_kills(kind: type[Chromium | Firefox], tmp_path: Path) -> None:
    downloads = tmp_path / "downloads"
    downloads.mkdir()
    area = area_in(tmp_path / "town", POOLS)
    page = phone_file(area)
    telephone = kind(tmp_path / "profile", downloads)
    telephone.start()
    try:
        telephone.open(page)
        names = telephone.run("return [...document.querySelectorAll('#pools .name')].map(e => e.textContent)")
        assert len(names) == POOLS
        assert telephone.run("return navigator.onLine") is False
        assert telephone.run("return innerWidth") == 360
        assert telephone.faults() == []
        for i in range(POOLS):
            type_in(telephone, i, names)
            if i == 0:
                assert telephone.faults() == []
            if i in (19, 41):  # killed with a visit open, at once after it said that it keeps it
                telephone.kill()
                telephone.start()
                telephone.open(page)
                assert telephone.run("return document.querySelector('#progress').textContent").startswith(f"{i + 1} of")
            else:
                telephone.touch("#back")
        saved = [save(telephone, downloads, tmp_path / f"{number}.csv") for number in (1, 2)]  # twice, as people do
    finally:
        telephone.kill()
    phoned, typed = (area_in(tmp_path / name, POOLS) for name in ("phoned", "typed"))
    (phoned / "visits").mkdir()
    for number, file in enumerate(saved):
        shutil.copy(file, phoned / "visits" / f"{number} {file.name}")
    type_into_template(typed)
    frames = [open_area(one).visits.drop(columns=["file", "row"]) for one in (phoned, typed)]
    order = ["pool", "date"]
    frames = [frame.sort_values(order, ignore_index=True) for frame in frames]
    assert len(frames[0]) == 2 * POOLS
    assert frames[0].equals(frames[1])
    told = [survey_of(one) for one in (phoned, typed)]
    assert told[0] == told[1]
    counts = open_area(phoned).ledger.counts()["visits"]
    assert counts == {"read": 3 * POOLS, "accepted": 2 * POOLS, "set_aside": POOLS}


def save(telephone: Telephone, downloads: Path, to: Path) -> Path:
    """Saves the file, and puts it elsewhere."""
    telephone.touch("#save")
    until = time.monotonic() + 30
    while not (saved := [p for p in downloads.iterdir() if p.suffix == ".csv" and p.stat().st_size]):
        assert time.monotonic() < until
        time.sleep(0.1)
    wait_for("!/[0-9]/.test(document.querySelector('#save').textContent)", telephone)
    time.sleep(0.5)
    shutil.move(saved[0], to)
    return to


def type_into_template(area: Path) -> None:
    """The same entries in the workbook of visits that `new` gives."""
    from openpyxl import load_workbook

    made = area / "made"
    made.mkdir()
    write_templates(made)
    book = load_workbook(made / "visits.xlsx")
    sheet = book.worksheets[0]
    heads = [cell.value for cell in sheet[1]]
    for i in range(POOLS):
        one: dict[str, Any] = entry(i) | {"observer": "Ann"}
        one["date"] = datetime.date.fromisoformat(str(one["date"]))
        one["larvae"] = int(one["larvae"]) if one["larvae"] else None
        for column, head in enumerate(heads, 1):
            sheet.cell(3 + i, column, one.get(head) or None)
    book.save(area / "visits_typed.xlsx")
    shutil.rmtree(made)


def survey_of(area: Path) -> Any:
    said = CliRunner().invoke(commands, ["survey", str(area), "--json"], catch_exceptions=False)
    found = json.loads(said.stdout)
    return {name: value for name, value in found.items() if name not in ("inputs", "intake", "title", "seconds")}
