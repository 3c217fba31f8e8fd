"""Why nothing reaches a gap, and why no pool stands in it, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd

from habitatmap.plan.candidates import ExclusionZone, Lost, Reason
from habitatmap.plan.gaps import NotReached
from habitatmap.words.numbers import count, hectares, whole_metres

ALL_LOST = {
    Lost.NO_RECORD: "no land with a known owner here",
    Lost.NO_CONSENT: "no land with consent here",
    Lost.TO_ASK: "consent here is still to ask for",
    Lost.PRIVATE: "all private land, which the plan excludes",
}


def gap_cause(gap: Mapping[str, Any]) -> str:
    """The cause of one gap, from the codes and figures in its row (plan.gaps.COLUMNS)."""
    known, nearest = count(int(gap["places_in_flight"]), "known breeding place"), whole_metres(gap["nearest_place_m"])
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
        return f"no land for a pool, mostly ruled out because: {lost_as}"
    if isinstance(lost_as, ExclusionZone):
        return f"all land is in an exclusion zone: {lost_as.kind}"
    return ALL_LOST.get(lost_as, f"the land is ruled out because: {lost_as}")


def told_gaps(gaps: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The gaps as files have them: a column `cause` in place of the codes."""
    told = gaps.drop(columns=["not_reached", "lost_as", "lost_share", "provisional"])
    causes = [gap_cause(row) for row in gaps.to_dict("records")]
    told.insert(len(told.columns) - 1, "cause", pd.Series(causes, told.index, dtype=object))
    return told
