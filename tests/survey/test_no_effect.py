"""Towns where the surroundings have no effect: the covariate of breeding places near must say so.

Pools stand at random among trees with rot-holes, and each is occupied with the same probability. A 95 % interval then
lies above 0 in 2.5 % of the towns, and below 0 in 2.5 %. A covariate that is made from what was found in the pools
would not: a pool whose neighbours hold larvae has the more of them near the fewer it is itself.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from habitatmap.area import Area, open_area
from habitatmap.habitat.score import score_habitat
from habitatmap.job import survey_pools
from habitatmap.survey.codes import Difference
from habitatmap.survey.effects import effects
from habitatmap.survey.searches import by_place
from tests.areas import centre, csv_text, write_area

TOWNS = 200
SIDE = 150  # cells of 10 m
NAME = "places_near"
TOML = "[flight]\ndispersal_median_m = 200\nmerge_m = 5\n"


def town(folder: Path, seed: int) -> Area:
    """Forty to sixty pools, three searches each, half of them occupied, detection 0.6; forty old beeches."""
    rng = np.random.default_rng(seed)
    pools, visits = [], []
    for i in range(int(rng.integers(40, 61))):
        pools.append((f"made up {i:02d}", *centre(*rng.integers(0, SIDE, 2))))
        occupied = rng.random() < 0.5
        for month in (4, 5, 6):
            outcome = "larvae" if occupied and rng.random() < 0.6 else "none seen"
            visits.append((pools[-1][0], f"2025-{month:02d}-10", outcome))
    beeches = [("Fagus sylvatica", 100, *centre(*rng.integers(0, SIDE, 2))) for _ in range(40)]
    trees = csv_text("species,diameter_cm,x,y", beeches)
    return open_area(write_area(folder, pools=pools, visits=visits, trees=trees, toml=TOML))


def effect_of_places_near(area: Area) -> pd.Series:
    """The row of the covariate among the effects that the survey tells."""
    survey = survey_pools(area, score_habitat(area))
    pools = pd.concat([area.pools, survey.at_pools.set_axis(area.pools.index)], axis=1)
    seen, sites, _ = by_place(survey.known.searches, pools, area.visits, survey.group)
    told = effects(seen.histories, sites[[NAME]], {}, survey.known.prior)
    return told.iloc[0]


@pytest.mark.slow
def test_the_interval_excludes_nothing_as_often_as_it_should(tmp_path: Path) -> None:
    told = pd.DataFrame([effect_of_places_near(town(tmp_path / str(seed), seed)) for seed in range(TOWNS)])
    differ = told["words"] == Difference.DIFFER
    above, below = int((differ & (told["low"] > 0)).sum()), int((differ & (told["high"] < 0)).sum())
    print(f"{TOWNS} towns: above 0 in {above}, below in {below}; mean difference {told['difference'].mean():.3f}")
    most = int(binom.ppf(0.995, TOWNS, 0.025))
    assert above <= most
    assert below <= most
    middle = told["difference"].mean() / (told["difference"].std() / np.sqrt(TOWNS))
    assert abs(middle) < 3
