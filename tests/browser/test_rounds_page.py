"""The print list of a week in a browser without a network, and on paper."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest

from habitatmap.area import open_area
from habitatmap.fieldwork.rounds import read_week
from habitatmap.job import rounds_of
from habitatmap.reports.rounds import write_rounds
from tests.browser.test_page import faults

pytestmark = pytest.mark.browser
NASTY = "<script>alert(1)</script><img src=x onerror=alert(2)>{{ 7*7 }}"

PERSON = "<img src=x onerror=alert(3)>{{ 7*7 }}"  # a stroke would part it into two people


@pytest.fixture(scope="module")
def rounds_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty made-up pools with names that would like to be run, last visited by three people, with a path between."""
    folder = tmp_path_factory.mktemp("town")
    pools, visits = ["pool,lat,lon,set_out,host,note,volume_l"], ["pool,date,outcome,observer"]
    for i in range(30):
        name = f"{NASTY} {i:02d}"
        pools.append(f"{name},{48.1 + i % 6 / 500},{9.5 + i // 6 / 500},2025-03-01,{NASTY},{NASTY},{5 + i % 3}")
        visits.append(f"{name},2025-05-01,{'dry' if i % 7 == 0 else 'none seen'},person {'ABC'[i % 3]} {PERSON}")
    (folder / "area.toml").write_text("as_of = 2025-06-01\n", encoding="utf-8")
    (folder / "pools.csv").write_text("\n".join(pools), encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(visits), encoding="utf-8")
    line = ",".join(f"[{9.5 + k / 600},{48.1 + k / 700}]" for k in range(8))
    (folder / "paths.geojson").write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"path"},'
        f'"geometry":{{"type":"LineString","coordinates":[{line}]}}}}]}}',
        encoding="utf-8",
    )
    write_rounds(rounds_of(open_area(folder), read_week("2025-W23")), folder / "rounds")
    return folder / "rounds"


@pytest.mark.parametrize("how", [{}, {"width": 360, "height": 740}, {"color_scheme": "dark"}], ids=str)
def test_it_is_silent_and_axe_finds_nothing(
    visit: Callable[..., Any], rounds_folder: Path, how: dict[str, Any]
) -> None:
    page = visit(rounds_folder / "rounds.html", ready="h1", **how)
    assert page.trouble == []
    assert page.locator("script, img").count() == 0
    assert page.locator("body").inner_text().count("{{ 7*7 }}") >= 30
    assert page.evaluate("document.documentElement.scrollWidth") <= how.get("width", 1280)
    assert faults(page) == []
    assert page.locator("svg .stop").count() == 30


def test_one_person_one_page(visit: Callable[..., Any], rounds_folder: Path) -> None:
    page = visit(rounds_folder / "rounds.html", ready="h1")
    sheets = page.pdf(prefer_css_page_size=True)
    texts = [sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(sheets)).pages]
    begins = [i for i, text in enumerate(texts) if "Take gloves" in text]
    assert len(begins) == 3
    assert len(set(begins)) == 3  # no two people on one page
    assert 0 not in begins
    for name, i in zip("ABC", begins, strict=True):
        assert f"person {name}" in texts[i]
        assert not [other for other in set("ABC") - {name} if f"person {other}" in texts[i]]


def test_a_persons_own_page(visit: Callable[..., Any], rounds_folder: Path) -> None:
    own = sorted(rounds_folder.glob("0*.html"))
    assert len(own) == 3
    page = visit(own[0], ready="h1", width=360, height=740)
    assert page.trouble == []
    assert faults(page) == []
    assert page.locator("tbody tr").count() == 10
    assert page.locator("body").inner_text().count("arrange the visit with") == 10
