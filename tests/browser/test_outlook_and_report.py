"""Pages of outlook, report and compare in a browser without a network: silent, accessible, readable on a phone."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import habitatmap
from habitatmap.cli.outlook import command
from habitatmap.comparing import compare, read_both
from habitatmap.export.season import keep_season
from habitatmap.reports.compare import write_comparison
from habitatmap.reports.council import write_report
from tests.areas import centre, class_table, write_area
from tests.browser.test_page import faults
from tests.test_comparing import write_map

pytestmark = pytest.mark.browser
NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>{{ 7*7 }}"


@pytest.fixture(scope="module")
def area(tmp_path_factory: pytest.TempPathFactory) -> Path:
    classes = np.full((60, 60), 1, np.uint8)
    classes[:, 30:] = 2
    pools = [(f"P{i}", *centre(5 + 9 * i, 6 + 11 * (i % 3))) for i in range(5)]
    table = class_table({1: 0.5, 2: 0.3}, {1: 0.2, 2: 0.1})
    folder = write_area(tmp_path_factory.mktemp("paper") / "area", classes, table, pools=pools)
    toml = (folder / "area.toml").read_text(encoding="utf-8").replace("A test area", NASTY)
    (folder / "area.toml").write_text(toml + "\n[plan]\npools = 3\nspacing_m = 50\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def pages(area: Path) -> dict[str, Path]:
    done = CliRunner().invoke(command, [str(area), "--years", "5", "--simulations", "20", "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads((area / "outlook" / "outlook.json").read_text(encoding="utf-8"))["simulations"] == 20
    write_report(habitatmap.run(habitatmap.open_area(area), public=False), area / "report")
    write_map(habitatmap.run(habitatmap.open_area(area), public=False), area / "out")
    keep_season(area, "2025")
    with (area / "pools.csv").open("a", encoding="utf-8") as file:
        file.write("<img src=x onerror=alert(3)>,{},{}\n".format(*centre(40, 40)))
    write_comparison(compare(read_both(area / "seasons" / "2025", area)), area / "compare")
    return {name: area / name / f"{name}.html" for name in ("outlook", "report", "compare")}


@pytest.mark.parametrize("how", [{}, {"width": 360, "height": 740}, {"color_scheme": "dark"}], ids=str)
@pytest.mark.parametrize("name", ["outlook", "report", "compare"])
def test_it_is_silent_and_axe_finds_nothing(
    visit: Callable[..., Any], pages: dict[str, Path], name: str, how: dict[str, Any]
) -> None:
    page = visit(pages[name], ready="h1", **how)
    assert page.trouble == []
    assert page.locator("h1").inner_text() == NASTY
    assert page.locator("script").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= how.get("width", 1280)
    assert faults(page) == []


def test_letters_of_a_map_keep_their_own_colour_by_night(visit: Callable[..., Any], pages: dict[str, Path]) -> None:
    """The map on the report is white paper by day and by night, so its letters stay dark."""
    page = visit(pages["report"], ready="h1", color_scheme="dark")
    letters = page.locator("#where svg text[font-size]").first
    assert letters.evaluate("e => getComputedStyle(e).fill") == "rgb(32, 41, 43)"


def test_nothing_to_compare_is_a_result_with_a_word(area: Path, tmp_path: Path) -> None:
    bare = write_area(
        tmp_path / "bare", np.full((20, 20), 1, np.uint8), class_table({1: 0.5}), toml="\n[plan]\npools = 0\n"
    )
    done = CliRunner().invoke(command, [str(bare)])
    assert done.exit_code == 0, done.output
    assert "Nothing to compare: there is no suggestion to look ahead for" in done.output
    assert "There is no suggestion" in (bare / "outlook" / "outlook.html").read_text(encoding="utf-8")
    assert json.loads((bare / "outlook" / "outlook.json").read_text(encoding="utf-8"))["ranks"] == []
