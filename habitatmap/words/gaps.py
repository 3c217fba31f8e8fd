"""Why nothing reaches a gap, and why no pool stands in it, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd

from habitatmap.plan.candidates import ExcludedUse, ExclusionZone, Lost, Reason
from habitatmap.plan.gaps import NotReached
from habitatmap.result.figures import GapFigures
from habitatmap.vocabulary.terms import Hazard
from habitatmap.words.numbers import count, percent
from habitatmap.words.sentences import Quantity, Sentence, Value, following, hectares, say, whole_metres

# by code: of one place within flight, of none or several
NOT_REACHED = {
    NotReached.NO_PLACE: ("no breeding place is known",) * 2,
    NotReached.OUT_OF_FLIGHT: ("no known breeding place within flight (the nearest is {far} away)",) * 2,
    NotReached.UNLIKELY: (
        "{n} known breeding place within flight, but unlikely to be occupied",
        "{n} known breeding places within flight, but unlikely to be occupied",
    ),
    NotReached.EDGE: (
        "{n} known breeding place at the edge of flight only (nearest {far})",
        "{n} known breeding places at the edge of flight only (nearest {far})",
    ),
}
NO_GAP = "Most forage out of reach is no gap: its ground is too poor in flowers, or the piece too small."
MOST = 0.5  # where reach and gaps together hold less of the forage, a reader asks for the rest (expert judgement)
ALL_LOST = {
    Lost.NO_RECORD: "no land with a known owner here",
    Lost.NO_CONSENT: "no land with consent here",
    Lost.TO_ASK: "consent here is still to ask for",
    Lost.PRIVATE: "all private land, which the plan excludes",
}


HAZARDS: dict[str, str] = {Hazard.STEEP: "the ground is too steep", Hazard.FLOODS: "the ground floods"}


def gaps_told(gaps: GapFigures, template: str) -> Sentence:
    """How many gaps there are ({n}) and their {share} of the forage, by the template; a word of its own for none."""
    if not gaps.count:
        return Sentence("There is no gap.")
    return say(template, n=gaps.count, gaps=count(gaps.count, "gap"), share=percent(gaps.share))


def out_of_reach_yet_no_gap(now: float, gaps: float) -> list[Sentence]:
    """A word where little forage is in reach `now`, and little in `gaps` (shares, 0-1)."""
    return [Sentence(NO_GAP)] if now + gaps < MOST else []


def lost(reason: Reason) -> Sentence:
    """Why no pool may stand somewhere, as a part of a sentence."""
    if isinstance(reason, ExcludedUse):
        if reason.kind in HAZARDS:
            return Sentence(HAZARDS[reason.kind])
        return Sentence("no pool can stand on: {kind}", {"kind": Sentence(reason.kind)})
    if isinstance(reason, ExclusionZone):
        return Sentence("too near to: {kind}", {"kind": Sentence(reason.kind)})
    return Sentence(str(reason))


def gap_cause(gap: Mapping[str, Any]) -> Sentence:
    """The cause of one gap, from the codes and figures in its row (plan.gaps.COLUMNS)."""
    n = int(gap["places_in_flight"])
    values = {"n": Quantity(n, grouped=True), "far": whole_metres(gap["nearest_place_m"])}
    one, more = NOT_REACHED[gap["not_reached"]]
    return following(Sentence(one if n == 1 else more, values), _ground(gap), by="; ")


def _ground(gap: Mapping[str, Any]) -> Sentence:
    """What stands in the way of a pool here."""
    reason: Reason | None = gap["lost_as"]
    if reason is None:
        proof = "no land record was given to prove it" if gap["provisional"] else "with a consent the plan allows"
        free: dict[str, Value] = {"ha": hectares(gap["ground_ha"]), "word": Sentence(proof)}
        return Sentence("a pool may stand on {ha} of it ({word})", free)
    if gap["lost_share"] < 1:
        return Sentence("no land for a pool, mostly ruled out because: {reason}", {"reason": lost(reason)})
    if isinstance(reason, ExclusionZone):
        return Sentence("all land is in an exclusion zone: {kind}", {"kind": Sentence(reason.kind)})
    if reason in ALL_LOST:
        return Sentence(ALL_LOST[reason])
    return Sentence("the land is ruled out because: {reason}", {"reason": lost(reason)})


def told_gaps(gaps: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The gaps as files have them: a column `cause` in place of the codes."""
    told = gaps.drop(columns=["not_reached", "lost_as", "lost_share", "provisional"])
    causes = [str(gap_cause(row)) for row in gaps.to_dict("records")]
    told.insert(len(told.columns) - 1, "cause", pd.Series(causes, told.index, dtype=object))
    return told
