"""A browser without a network, and a page that reports every trouble it has."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from habitatmap.page import map_page, public_page
from tests.browser.town import blurred, town


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if found is None:
        pytest.skip("no Chromium on this machine: the page can't be opened (install the system's package chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        opened = started.chromium.launch(executable_path=found, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def idle() -> dict[str, list[Any]]:
    """Pages that no test has now, by what their browser was asked for. To open a new one takes longer than most tests:
    it is a process of its own. A page keeps nothing between two files: it stores nothing, and every file is loaded."""
    return {}


@pytest.fixture
def visit(browser: Any, idle: dict[str, list[Any]]) -> Iterator[Callable[..., Any]]:
    """Opens a file with the network off. `page.trouble` lists all that a page should not do."""
    lent = []

    def open_page(
        path: Path, width: int = 1280, height: int = 800, slow: int = 10_000, ready: str = "html.ready", **how: Any
    ) -> Any:
        page = (idle.get(str(how)) or [None]).pop() or _new_page(browser, how)
        lent.append((str(how), page))
        page.set_viewport_size({"width": width, "height": height})
        page.trouble, page.file = [], path.resolve().as_uri()
        page.goto(page.file, wait_until="load")
        page.wait_for_selector(ready, timeout=slow)
        return page

    yield open_page
    for how, page in lent:
        page.emulate_media(media="null")
        page.mouse.move(-10, -10)
        page.file = "about:blank"
        page.goto(page.file)
        idle.setdefault(how, []).append(page)


def _new_page(browser: Any, how: dict[str, Any]) -> Any:
    page = browser.new_context(offline=True, **how).new_page()
    page.on("console", lambda line: page.trouble.append(f"console: {line.text}"))
    page.on("pageerror", lambda error: page.trouble.append(f"error: {error}"))
    page.on("request", lambda r: page.trouble.append(f"request: {r.url}") if _beyond(r.url, page.file) else None)
    page.on("dialog", lambda box: (page.trouble.append(f"dialog: {box.message}"), box.dismiss()))
    return page


def _beyond(url: str, own: str) -> bool:
    return not url.startswith(("data:", "blob:")) and url.split("#")[0] != own


@pytest.fixture(scope="session")
def team_html() -> str:
    return map_page(town())


@pytest.fixture(scope="session")
def team_file(tmp_path_factory: pytest.TempPathFactory, team_html: str) -> Path:
    path = tmp_path_factory.mktemp("team") / "map.html"
    path.write_text(team_html, encoding="utf-8", newline="\n")
    return path


@pytest.fixture(scope="session")
def public_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    result = town()
    path = tmp_path_factory.mktemp("public") / "public_map.html"
    path.write_text(public_page(result, blurred(result)), encoding="utf-8", newline="\n")
    return path
