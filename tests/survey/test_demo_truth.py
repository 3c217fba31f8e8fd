"""The demo town's truth is known: does the survey find it, from the records as they lie in the folder?

By hand: `pytest -m slow tests/survey/test_demo_truth.py -s` (fifty towns).
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from habitatmap.area import open_area
from habitatmap.network.places import merged
from habitatmap.survey import estimate_pools
from tests.demo import demo_script
from tests.survey.tools import MODEL


@pytest.mark.slow
def test_fifty_demo_towns(tmp_path: Path) -> None:
    rows, script = [], demo_script()
    for seed in range(50):
        whole, records = tmp_path / f"whole {seed}", tmp_path / f"records {seed}"
        script.main(whole, seed)
        records.mkdir()
        for name in ("pools.csv", "visits.csv"):
            shutil.copy(whole / name, records / name)
        shutil.rmtree(whole)
        (records / "area.toml").write_text('crs = "EPSG:25832"\nas_of = 2025-10-15\n', encoding="utf-8")
        area = open_area(records)
        told = estimate_pools(area.pools, area.visits, area.as_of, MODEL, merged(area.pools["x"], area.pools["y"], 30))
        s = told.figures
        rows.append((s.estimate, s.low, s.high, s.naive, s.posterior.low, s.posterior.high))
    truth = script.TRUE_OCCUPANCY
    estimate, low, high, naive, weak_low, weak_high = np.array(rows, dtype=float).T
    told_of = np.isfinite(estimate)
    covered = ((low <= truth) & (truth <= high))[told_of]
    weak = (weak_low <= truth) & (truth <= weak_high)
    print(f"told of {told_of.sum()}, profile covers {covered.mean():.0%}, posterior {weak.mean():.0%}")
    print(f"mean estimate {estimate[told_of].mean():.3f}, mean naive share {naive.mean():.3f}, truth {truth}")
    assert told_of.sum() >= 45
    # of 50 intervals that hold at 95 %, fewer than 44 hold once in 50 such runs (binomial)
    assert covered.sum() >= 44
    assert weak.sum() >= 44
    assert (naive[told_of] < estimate[told_of]).all()
