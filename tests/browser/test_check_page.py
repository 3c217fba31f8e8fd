"""check.html in a browser without a network: silent, accessible, and nothing from a record runs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from habitatmap.area import open_area
from habitatmap.reports.check import check, write_check
from tests.browser.test_page import faults

pytestmark = pytest.mark.browser
NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>{{ 7*7 }}"


@pytest.fixture
def check_file(tmp_path: Path) -> Path:
    pools = f"pool,lat,lon,set_out,{NASTY}\n{NASTY},48.1,9.5,2025-04-01,1\n,48.1,9.5,{NASTY},{NASTY}\n"
    (tmp_path / "pools.csv").write_text(pools, encoding="utf-8")
    write_check(check(open_area(tmp_path)), tmp_path / "check")
    return tmp_path / "check" / "check.html"


@pytest.mark.parametrize("how", [{}, {"width": 360, "height": 740}, {"color_scheme": "dark"}], ids=str)
def test_it_is_silent_and_axe_finds_nothing(visit: Callable[..., Any], check_file: Path, how: dict[str, Any]) -> None:
    page = visit(check_file, ready="h1", **how)
    assert page.trouble == []
    assert page.locator("script, img").count() == 0
    assert page.locator("body").inner_text().count("{{ 7*7 }}") >= 1
    assert faults(page) == []
