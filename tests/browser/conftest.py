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


@pytest.fixture
def visit(browser: Any) -> Iterator[Callable[..., Any]]:
    """Opens a file with the network off. `page.trouble` lists all that a page should not do."""
    contexts = []

    def open_page(
        path: Path, width: int = 1280, height: int = 800, slow: int = 10_000, ready: str = "html.ready", **how: Any
    ) -> Any:
        context = browser.new_context(offline=True, viewport={"width": width, "height": height}, **how)
        contexts.append(context)
        page = context.new_page()
        page.trouble = []
        page.on("console", lambda line: page.trouble.append(f"console: {line.text}"))
        page.on("pageerror", lambda error: page.trouble.append(f"error: {error}"))
        page.on("request", lambda r: page.trouble.append(f"request: {r.url}") if _beyond(r.url, path) else None)
        page.on("dialog", lambda box: (page.trouble.append(f"dialog: {box.message}"), box.dismiss()))
        page.goto(path.resolve().as_uri(), wait_until="load")
        page.wait_for_selector(ready, timeout=slow)
        return page

    yield open_page
    for context in contexts:
        context.close()


def _beyond(url: str, path: Path) -> bool:
    return not url.startswith(("data:", "blob:")) and url != path.resolve().as_uri()


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
