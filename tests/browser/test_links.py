"""Links between breeding places on the map: of very many the legend says how many there are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from habitatmap.page import map_page
from tests.browser.town import town


@pytest.mark.browser
def test_the_legend_says_of_how_many(visit: Callable[..., Any], tmp_path: Path) -> None:
    result = town()
    for links, said in ((len(result.links), "Links between breeding places"), (3_000_000, "of 3,000,000 those")):
        network = replace(result.figures.network, links=links)
        path = tmp_path / f"{links}.html"
        path.write_text(map_page(replace(result, figures=replace(result.figures, network=network))), encoding="utf-8")
        page = visit(path)
        row = page.locator("#marks .mark", has=page.locator("#mark-links"))
        assert said in row.text_content()
        assert ("those that best paths need" in row.text_content()) == (links == 3_000_000)
        assert page.trouble == []
