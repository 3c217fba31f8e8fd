"""Tables of figures and codes with the sentences beside them, as files and pages show them."""

from __future__ import annotations

from typing import Any

import pandas as pd

from habitatmap.read.settings import Settings
from habitatmap.words.cautions import site_caution
from habitatmap.words.reasons import doubt, reason

Row = dict[str, Any]  # of a frame: its cells by column


def rows_of(frame: pd.DataFrame) -> list[Row]:
    """The rows of a frame whose columns are named."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


# what a suggestion's sentences stand before
PLAN_LAST = "private"


def told_plan(plan: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """plan.csv: the suggestions, each with its reason, what could be wrong, and its caution."""
    rows = rows_of(plan)
    return plan.drop(columns=PLAN_LAST).assign(
        reason=[str(reason(row)) for row in rows],
        could_be_wrong=[str(doubt(row)) for row in rows],
        caution=[site_caution(row, settings) for row in rows],
        **{PLAN_LAST: plan[PLAN_LAST]},
    )
