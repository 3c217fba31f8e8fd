"""What the inputs lack stands beside the headline and under Data, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from habitatmap.page import map_page
from habitatmap.read.inputs import Input
from habitatmap.read.ledger import Known
from tests.browser.town import town

pytestmark = pytest.mark.browser
FAR = Input(
    "trees", "trees_<b>far</b>.csv", 12_649, 0, {Known.PLACE: 12_649, Known.GENUS: 12_649}, 0, 2107.0, 2111.0, (), ()
)


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "None of the 12,649 rows of trees_<b>far</b>.csv lies in the map; the nearest is 2,107 km away."),
        (
            "de",
            "Keine der 12.649 Zeilen von trees_<b>far</b>.csv liegt in der Karte; die nächste ist 2.107 km entfernt.",
        ),
    ],
)
def test_a_list_far_away_is_told(visit: Callable[..., Any], tmp_path: Path, language: str, said: str) -> None:
    result = town()
    result = replace(result, figures=replace(result.figures, inputs=(FAR,)))
    path = tmp_path / "map.html"
    path.write_text(map_page(result, language), encoding="utf-8")
    page = visit(path)
    # written with the blanks that each language sets between a figure and its unit
    lines = [text.replace("\u00a0", " ").replace("\u202f", " ") for text in page.locator(".thin").all_inner_texts()]
    assert any(line.startswith(said) for line in lines), lines
    page.locator("#tab-data").click()
    assert said in page.locator("#data-panel").inner_text().replace("\u00a0", " ").replace("\u202f", " ")
    assert page.trouble == []
