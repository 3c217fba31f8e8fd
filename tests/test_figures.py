"""Figures of a run that are made where its rooms meet, on areas where each can be foreseen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import habitatmap
from habitatmap.area import Area
from habitatmap.job import survey_area
from tests.areas import centre, class_table, write_area

Rows = list[Any]
DATES = ("2025-05-01", "2025-05-20", "2025-06-10")


def flat(folder: Path, toml: str = "", assumed: str = "", **given: Rows) -> Area:
    """500 m by 500 m of one class, worth 0.5 all year."""
    head, line = class_table({1: 0.5}).splitlines()
    table = f"{head},assumed\n{line},{assumed}\n"
    return habitatmap.open_area(write_area(folder, np.full((50, 50), 1, np.uint8), table, toml=toml, **given))


def test_the_interval_of_forage_in_reach_is_the_middle_95_percent(tmp_path: Path) -> None:
    """With one breeding place, forage in reach is its probability times a constant, and so are the interval's ends."""
    visits = [("P", DATES[0], "none seen")]
    result = habitatmap.run(flat(tmp_path, pools=[("P", *centre(25, 25))], visits=visits), public=False)
    (pool,) = result.pools.to_dict("records")
    reach = result.figures.forage_in_reach
    assert 0 < pool["occupancy_low"] < 0.8 * pool["occupancy"]
    assert reach.low / reach.now == pytest.approx(pool["occupancy_low"] / pool["occupancy"], abs=0.01)
    assert reach.high / reach.now == pytest.approx(pool["occupancy_high"] / pool["occupancy"], rel=0.05)


def town_of_42(folder: Path, flight: str) -> Area:
    """Pools 70 m apart, each third with larvae at two of three searches."""
    pools = [(f"P{i:02d}", *centre(3 + 7 * (i // 7), 3 + 7 * (i % 7))) for i in range(42)]
    visits = [
        (name, date, "larvae" if i % 3 == 0 and k < 2 else "none seen")
        for i, (name, _, _) in enumerate(pools)
        for k, date in enumerate(DATES)
    ]
    return flat(folder, f"[flight]\n{flight}\n[plan]\npools = 0\n", pools=pools, visits=visits)


def test_breeding_places_near_are_weighed_by_dispersal_and_without_the_pool_itself(tmp_path: Path) -> None:
    """Where dispersal ends before the next pool, no pool has a breeding place near, though forage flights go on."""
    alone = town_of_42(tmp_path / "alone", "forage_median_m = 250\ndispersal_median_m = 10")
    assert "places_near" not in survey_area(alone).covariates.site  # the same, 0, at every pool
    joined = town_of_42(tmp_path / "joined", "forage_median_m = 10\ndispersal_median_m = 250")
    assert "places_near" in survey_area(joined).covariates.site


def test_the_last_outcome_is_that_of_the_last_visit_up_to_the_day(tmp_path: Path) -> None:
    visits = [("P", "2025-05-01", "larvae"), ("P", "2025-06-01", "dry"), ("P", "2025-07-02", "none seen")]
    area = flat(tmp_path, pools=[("P", *centre(25, 25))], visits=visits)  # as of 2025-07-01
    assert habitatmap.run(area, public=False).pools["last_outcome"].tolist() == ["dry"]


@pytest.mark.parametrize(("assumed", "share"), [("", 0.0), ("garden", 1.0)])
def test_the_assumed_share_of_a_site_is_of_forage_that_nobody_measured(
    tmp_path: Path, assumed: str, share: float
) -> None:
    area = flat(tmp_path, "[plan]\npools = 1\n", assumed, pools=[("P", *centre(25, 25))])
    (site,) = habitatmap.run(area, public=False).plan.to_dict("records")
    assert site["assumed_share"] == share


def test_without_forage_what_is_likely_served_is_not_known(tmp_path: Path) -> None:
    """From a sheet alone no share of forage can be told, and none is 0."""
    area = habitatmap.open_area(write_area(tmp_path, pools=[("P", *centre(25, 25))]))
    figures = habitatmap.run(area, public=False).figures
    assert np.isnan(figures.forage_in_reach.now)
    assert np.isnan([*figures.served.now, *figures.served.with_plan]).all()
