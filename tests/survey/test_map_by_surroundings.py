"""Through the whole job: where larvae live on rich ground only, the map, the plan and the probabilities of pools say
so.
"""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.area import open_area
from habitatmap.job import run
from habitatmap.result import Result
from habitatmap.survey.codes import PoolBasis
from tests.areas import centre, class_table, write_area

# west to east ever richer; the outermost classes stand where no pool was set out
FORAGE = {i: 0.05 + 0.09 * i for i in range(1, 11)}


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """60 x 100 cells in ten strips; eighty pools between column 20 and 79, occupied in the eastern half."""
    rng = np.random.default_rng(3)
    classes = np.repeat(np.arange(1, 11), 10).astype(np.uint8)[None, :].repeat(60, axis=0)
    pools, visits = [], []
    for i in range(80):
        row, col = 3 + 7 * (i // 10), 20 + 6 * (i % 10) + int(rng.integers(0, 6))
        pools.append((f"made up {i:02d}", *centre(row, col)))
        for month in (4, 5, 6):
            found = col >= 50 and rng.random() < 0.6
            visits.append((f"made up {i:02d}", f"2025-{month:02d}-10", "larvae" if found else "none seen"))
    toml = "[flight]\nforage_median_m = 30\ndispersal_median_m = 60\nmerge_m = 5\n[plan]\npools = 3\nspacing_m = 20\n"
    folder = tmp_path_factory.mktemp("surroundings")
    return run(
        open_area(write_area(folder, classes, class_table(FORAGE), pools=pools, visits=visits, toml=toml)), public=False
    )


def test_the_chance_rises_with_the_ground_and_is_grey_beyond_it(result: Result) -> None:
    probability = result.rasters["occupancy"]
    assert result.figures.occupancy.surroundings.values["names"][0] == "forage_score"
    assert np.isnan(probability[:, :12]).all()
    assert np.isnan(probability[:, -12:]).all()
    west, east = np.nanmean(probability[10:50, 25:35]), np.nanmean(probability[10:50, 65:75])
    assert west < 0.25
    assert east > 0.75


def test_blank_pools_and_suggestions_take_the_chance_of_their_ground(result: Result) -> None:
    blank = result.pools[result.pools["detections"] == 0]
    assert set(blank["basis"]) == {PoolBasis.NOT_DETECTED}
    assert blank["surroundings"].str.startswith("forage_score").all()
    x = blank["x"].to_numpy()
    assert blank["occupancy"][x < centre(0, 40)[0]].max() < 0.1
    assert len(result.plan) == 3
    probability = result.findings.p_new
    row, col = result.findings.proposal.sites["row"], result.findings.proposal.sites["col"]
    np.testing.assert_array_equal(result.plan["occupancy_expected"], probability[row, col])
    assert (result.plan["occupancy_low"] <= result.plan["occupancy_expected"]).all()
    assert (result.plan["occupancy_expected"] <= result.plan["occupancy_high"]).all()
    assert (col >= 45).all()  # the west has forage too, but a pool there would hardly be found


def test_beyond_the_range_a_plan_still_has_a_chance_to_go_by(result: Result) -> None:
    """That of the nearest end of the range: no richer ground than was sampled promises more."""
    probability, shown = result.findings.p_new, result.rasters["occupancy"]
    beyond = np.isnan(shown) & ~np.isnan(probability)
    assert beyond[:, -10:].all()
    # each covariate is held for itself, so that two ends that no cell has together may meet
    assert probability[beyond].max() <= np.nanmax(shown) + 0.01
