"""Wrong keys and values of area.toml: each is refused with its place, and the nearest or what is expected."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import Point

from tests.areas import centre, class_table, write_area
from tests.commands import habitatmap

REFUSED = {
    'titel = "x"': ["titel", "title"],
    "[plan]\npoools = 3": ["plan.poools", "plan.pools"],
    "[flight]\nmedian_m = 3": ["flight.median_m", "flight.forage_median_m"],
    '[occupancy]\nexisting = "modell"': ["occupancy.existing", '"model" or a number from 0 to 1'],
    '[plan]\nconsent = ["no"]': ["plan.consent", "never planned on"],
    "[season]\nfirst_month = 13": ["season.first_month", "1 to 12"],
    "[plan.quota.by_name]\nPark = 1.5": ["plan.quota.by_name.Park", "a whole number"],
    "[plan.cost_by_kind]\npark = 0": ["plan.cost_by_kind.park", "a number above 0"],
    "[keep_away]\nscool = 90": ["scool", "school"],
    '[keep_away]\nschool = "far"': ["keep_away.school", "a number of metres"],
    '[columns.pools]\npool = "Nummer"': ["Nummer", "pool, x, y"],
    '[columns.pools]\npol = "pool"': ["pol", "pool"],
    '[source_crs]\n"pools.csv" = "EPSG:99999"': ["source_crs", "pools.csv", "EPSG:99999"],
}


def small_area(folder: Path, toml: str) -> Path:
    return write_area(
        folder,
        np.full((8, 8), 2, np.uint8),
        class_table({2: 0.5}),
        pools=[("A", *centre(3, 3))],
        keep_away=[("school", Point(centre(6, 6)))],
        toml=toml,
    )


@pytest.mark.parametrize("toml", REFUSED)
def test_one_sentence_says_where_and_what_is_meant(toml: str, tmp_path: Path) -> None:
    done = habitatmap("map", small_area(tmp_path / "area", toml), "--dry-run")
    assert done.code == 2
    sentence = done.err.strip().splitlines()[-1]
    assert "area.toml" in sentence
    assert all(word in sentence for word in REFUSED[toml]), sentence


def test_a_keep_away_distance_for_what_is_nowhere_is_told(tmp_path: Path) -> None:
    done = habitatmap("check", small_area(tmp_path / "area", "[keep_away]\n'aviary of birds' = 90"))
    assert "aviary of birds changes nothing" in done.out
