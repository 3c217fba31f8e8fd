"""Why here: the reason beside a suggestion, in plain words. Every figure in it is a column of plan.csv."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any


def reason(row: Mapping[str, Any]) -> str:
    """One or two sentences from a row of plan.csv; what is not known is left out."""
    brings = f"A pool here brings {percent(row['gain'])} more of the area's forage into reach"
    if known(row["cumulative"]):
        brings += f", {percent(row['cumulative'])} with all that is there and planned before it"
    if known(row["occupancy_expected"]):
        brings += f", if larvae settle with the expected chance of {percent(row['occupancy_expected'])}"
    near = [
        f"{text} {metres(row[column])}"
        for column, text in (
            ("forage_m", "good forage begins at"),
            ("dead_wood_m", "dead wood at"),
            ("nearest_pool_m", "the nearest standing pool is at"),
        )
        if known(row[column])
    ]
    if not near:
        return f"{brings}."
    where = f"{', '.join(near[:-1])} and {near[-1]}" if near[1:] else near[0]
    return f"{brings}. From here, {where}."


def known(value: Any) -> bool:
    """Whether a figure is there at all."""
    return value is not None and math.isfinite(value)


def percent(share: float) -> str:
    """A share as a percentage with two digits that count: "12 %", "1.3 %", "0.045 %"."""
    value = 100 * share
    places = max(0, 1 - math.floor(math.log10(abs(value)))) if value else 0
    return f"{value:.{places}f} %"


def metres(distance: float) -> str:
    """A distance in whole metres."""
    return f"{distance:.0f} m"
