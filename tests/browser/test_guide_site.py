"""The guide as a site: it is whole, every link leads somewhere, and a page loads nothing from elsewhere."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

ROOT = Path(__file__).parents[2]
GUIDE = ROOT / "habitatmap" / "guide"
LOADING = {"src", "srcset", "poster", "data", "action"}
NOT_LOADED = {"canonical", "prev", "next"}  # of <link>
OUTSIDE = re.compile(r"^(https?:)?//")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built as DEVELOPERS.md says; a broken link, or a page that is not in the list of pages, ends it."""
    built = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "mkdocs", "build", "--quiet", "--strict"]
    done = subprocess.run(
        [*command, "-f", GUIDE / "site" / "mkdocs.yml", "--site-dir", built],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"NO_MKDOCS_2_WARNING": "1"},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return built


class Loads(HTMLParser):
    """What a page loads by itself."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.found += [value or "" for name, value in attrs if name in LOADING]
        if tag == "link" and given.get("rel") not in NOT_LOADED:
            self.found.append(given.get("href") or "")


def test_every_page_is_there_and_nothing_else_of_the_guide(site: Path) -> None:
    assert {p.stem for p in site.glob("*.html")} == {p.stem for p in GUIDE.glob("*.md")} | {"404"}
    assert not list(site.rglob("mkdocs.yml"))
    assert not (ROOT / "build" / "site").exists()


def test_nothing_is_loaded_from_elsewhere(site: Path) -> None:
    for page in site.glob("*.html"):
        text = page.read_text("utf-8")
        loaded = Loads(text).found
        assert len(loaded) >= 5
        assert not [address for address in loaded if OUTSIDE.match(address)], page.name
        assert 'class="mermaid"' not in text  # the theme would fetch what draws it
    for sheet in site.rglob("*.css"):
        assert not re.findall(r"(?:url\(|@import)\s*[\"']?(?:https?:)?//[^)\"']*", sheet.read_text("utf-8")), sheet.name


def test_no_list_or_table_was_taken_for_text(site: Path) -> None:
    """As happens to one that follows a paragraph without a blank line between."""
    for page in site.glob("*.html"):
        text = re.sub(r"<pre.*?</pre>", "", page.read_text("utf-8"), flags=re.DOTALL)
        assert not re.findall(r"<p>(?:(?!</p>).)*\n(?:- |\d+\. |\|).*", text, re.DOTALL)[:1], page.name


def test_what_a_page_loads_is_seen() -> None:
    text = '<script src="//a/b.js"></script><link rel="icon" href="https://c"><a href="https://d">'
    assert Loads(text).found == ["//a/b.js", "https://c"]
    assert all(map(OUTSIDE.match, Loads(text).found))


@pytest.mark.parametrize("width", [1280, 360])
def test_a_page_is_quiet_and_fits(browser: Any, site: Path, width: int) -> None:
    page = browser.new_context(offline=True, viewport={"width": width, "height": 800}).new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for name in ("index", "columns", "council"):
        page.goto((site / f"{name}.html").as_uri(), wait_until="load")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
    faults = Axe().run(page).response["violations"]
    page.context.close()
    assert not faults, [(one["id"], one["nodes"][0]["html"]) for one in faults]
    assert len(asked) > 3
    assert not [address for address in asked if not address.startswith(("file:", "data:", "blob:"))]
