"""The demo town's truth is known: does the survey find it, from the records as they lie in the folder?

By hand: `pytest -m slow tests/survey/test_demo_truth.py -s` (fifty towns).
"""

from __future__ import annotations

import importlib.util
import shutil
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from habitatmap.area import open_area
from habitatmap.network.places import merged
from habitatmap.survey import estimate_pools
from tests.survey.tools import MODEL

SCRIPT = Path(__file__).parents[2] / "demo_area" / "make_demo.py"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo_for_survey", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses search their module up there
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_fifty_demo_towns(script: ModuleType, tmp_path: Path) -> None:
    rows = []
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
