"""The demo's plan against other ways to choose as many spots on the same ground: what README says of it is so."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import habitatmap
from habitatmap.area import open_area
from habitatmap.plan.outlook import Strategy, other_plans
from habitatmap.plan.reach import forage_in_reach, not_reached

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def gains() -> dict[str, float]:
    """What the demo's plan and others add to forage in reach, in percentage points; of random plans the mean of 100."""
    result = habitatmap.run(open_area(ROOT / "demo_area"))
    base, cell_m = result.findings, result.grid.cell_m
    weight, missed, places = base.habitat.weight, base.reach.not_reached, base.places.frame
    score = (base.habitat.access + base.habitat.dead_wood_access) / 2
    rules = {"cell_m": cell_m, "spacing_m": result.settings.plan.spacing_m}
    sets = other_plans(base.candidates.allowed, score, places, len(base.proposal.sites), random_plans=100, **rules)
    median_m = result.settings.flight.forage_median_m

    def adds(cells: pd.DataFrame) -> float:
        sites = cells.assign(p=base.p_new[cells["row"], cells["col"]])
        both = not_reached(result.grid, sites, median_m=median_m) * missed
        return 100 * (forage_in_reach(weight, both) - forage_in_reach(weight, missed))

    found = {name: float(np.mean([adds(cells) for cells in plans])) for name, plans in sets.items()}
    reach = result.figures.forage_in_reach
    return {"plan": 100 * (reach.with_plan - reach.now), **found}


def test_the_plan_beats_every_other_rule_clearly(gains: dict[str, float]) -> None:
    assert gains["plan"] > 1.15 * max(gains[name] for name in (Strategy.RANDOM, Strategy.EVEN, Strategy.HIGHEST))


def test_readme_says_by_how_much(gains: dict[str, float]) -> None:
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    said = re.search(
        r"plan adds (\d+\.\d) percentage points of forage in reach, 100 random plans (\d+\.\d) on average, an even "
        r"spread (\d+\.\d), the highest scores (\d+\.\d)",
        text,
    )
    assert said, "README says what the demo's plan adds, and what others do"
    for number, name in zip(said.groups(), ("plan", Strategy.RANDOM, Strategy.EVEN, Strategy.HIGHEST), strict=True):
        assert float(number) == pytest.approx(gains[name], abs=0.11), f"{name}: {gains[name]:.1f}"
