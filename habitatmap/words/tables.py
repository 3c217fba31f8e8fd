"""Tables of figures and codes with the sentences beside them, as files and pages show them."""

from __future__ import annotations

import pandas as pd

from habitatmap.read.settings import Settings
from habitatmap.words.cautions import site_caution
from habitatmap.words.reasons import doubt, reason

# what a suggestion's sentences stand before
PLAN_LAST = "private"


def told_plan(plan: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """plan.csv: the suggestions, each with its reason, what could be wrong, and its caution."""
    rows = [{str(name): value for name, value in row.items()} for row in plan.to_dict("records")]
    return plan.drop(columns=PLAN_LAST).assign(
        reason=[reason(row) for row in rows],
        could_be_wrong=[doubt(row) for row in rows],
        caution=[site_caution(row, settings) for row in rows],
        **{PLAN_LAST: plan[PLAN_LAST]},
    )
