"""Why nothing reaches a gap, and why no pool stands in it, in plain words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd

from habitatmap.plan.candidates import ExclusionZone, Lost, Reason
from habitatmap.plan.gaps import NotReached

ALL_LOST = {
    Lost.NO_RECORD: "no land with a known owner here",
    Lost.NO_CONSENT: "no land with consent here",
    Lost.TO_ASK: "consent here is still to ask for",
    Lost.PRIVATE: "all private land, which the plan keeps off",
}


def gap_cause(gap: Mapping[str, Any]) -> str:
    """The cause of one gap, from the codes and figures in its row (plan.gaps.COLUMNS)."""
    n, nearest = int(gap["places_in_flight"]), f"{gap['nearest_place_m']:.0f} m"
    known = f"{n} known breeding place{'' if n == 1 else 's'}"
    why = {
        NotReached.NO_PLACE: "no breeding place is known",
        NotReached.OUT_OF_FLIGHT: f"no known breeding place within flight (the nearest is {nearest} away)",
        NotReached.UNLIKELY: f"{known} within flight, but unlikely to be occupied",
        NotReached.EDGE: f"{known} at the edge of flight only (nearest {nearest})",
    }
    return f"{why[gap['not_reached']]}; {_ground(gap)}"


def _ground(gap: Mapping[str, Any]) -> str:
    """What stands in the way of a pool here."""
    lost_as: Reason | None = gap["lost_as"]
    if lost_as is None:
        proof = "no land record was given to prove it" if gap["provisional"] else "with a consent the plan allows"
        return f"a pool may stand on {hectares(gap['ground_ha'])} of it ({proof})"
    if gap["lost_share"] < 1:
        return f"no ground for a pool, most of it lost as: {lost_as}"
    if isinstance(lost_as, ExclusionZone):
        return f"all ground is {lost_as}"
    return ALL_LOST.get(lost_as, f"the ground is lost as {lost_as}")


def told_gaps(gaps: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The gaps as files have them: a column `cause` in place of the codes."""
    told = gaps.drop(columns=["not_reached", "lost_as", "lost_share", "provisional"])
    causes = [gap_cause(row) for row in gaps.to_dict("records")]
    told.insert(len(told.columns) - 1, "cause", pd.Series(causes, told.index, dtype=object))
    return told


def hectares(ha: float) -> str:
    """Hectares with two digits that count: "0.031 ha", "14 ha", "14,000 ha"."""
    return f"{ha:.2g} ha" if ha < 99.5 else f"{round(ha, 1 - math.floor(math.log10(ha))):,.0f} ha"
