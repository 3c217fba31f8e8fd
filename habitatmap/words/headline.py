"""What a run found in a few lines, and the sentences about what is missing and what that costs."""

from __future__ import annotations

from math import isnan, nan

from habitatmap.result.figures import Figures, Missing, Stage
from habitatmap.vocabulary.terms import Objective
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.gaps import gaps_told, out_of_reach_yet_no_gap
from habitatmap.words.inputs import what_matters
from habitatmap.words.land_cover import cover_doubts, kinds_of_land
from habitatmap.words.numbers import at_least, at_most, count, known, percent
from habitatmap.words.sentences import (
    Quantity,
    Sentence,
    Value,
    as_it_is,
    ceiled,
    floored,
    following,
    say,
    whole_metres,
)
from habitatmap.words.served import beside_the_headline, likely_served
from habitatmap.words.survey import opening

MISSING = {
    Missing.POOLS: "No pools: nothing is known to be in reach yet; the plan shows where the first ones help most.",
    Missing.LAND_COVER: "No land cover: forage, dead wood, gaps and reach can't be scored and no site for a new pool "
    "can be suggested. Add land_cover.tif, or start from a map extract: habitatmap new AREA --osm FILE.osm.pbf",
    Missing.VISITS: "No visits: which pools hold larvae is not known; the probabilities shown are expert values.",
    Missing.TREES: "No trees: rot-hole trees, flowering trees and dead trees are not known and count for nothing.",
    Missing.LAND: "No land: who must agree is not known; every suggestion is provisional until its owner was asked.",
    Missing.KEEP_AWAY: "No exclusion zones: play areas, schools, water, roads and buildings are not known; check each "
    "site.",
    Missing.BOUNDARY: "No boundary: all cells with data count as the area.",
    Missing.PATHS: "No paths: streets can't be named.",
    Missing.INVENTORIED: "No inventoried area: it is not known where the list of trees is complete.",
    Missing.NO_POOL_STANDS: "No pool stands on the day of the map: nothing is in reach but rot-hole trees.",
    Missing.NO_SEARCH_COUNTS: "No visit counts as a search: the probabilities shown are expert values.",
}
STAGES = {
    Stage.HABITAT: "What each cell offers",
    Stage.OCCUPANCY: "Which pools are likely occupied",
    Stage.REACH: "What is in reach now",
    Stage.CANDIDATES: "Where a pool may stand",
    Stage.PLAN: "Which sites help most",
    Stage.SERVED: "What is likely served over the coming years",
    Stage.BOUND: "How far from the best possible",
    Stage.ROBUSTNESS: "How sure",
    Stage.CONSENT: "Consent priorities",
    Stage.GAPS: "What stays out of reach",
    Stage.NETWORK: "How the breeding places hang together",
    Stage.PUBLIC: "The same for the public, from blurred places",
}
WRITING_FILES = "Writing the files"
SAME_YEARS = "The same years for every way to choose"


def missing_sentences(figures: Figures) -> list[str]:
    """One sentence for each thing that is not there: what is lacking, and what that costs."""
    return [MISSING[kind] for kind in figures.missing]


# a range as wide as this, half of the scale, is told before the figure that it is about
WIDE = 0.5
FOR_OCCUPANCY = "{low} to {high} for what searches leave open about occupancy"
FOR_FLIGHT = "{low} to {high} for how far flies go, with a median flight of {short} to {long}"


def ranges(figures: Figures, with_plan: bool) -> list[Sentence]:
    """The ranges of forage in reach, each a part of a sentence: for occupancy alone, and for flight alone, which comes
    first where it is as wide as WIDE. Low ends are rounded down, high ends up."""
    told = [said for said in (_for_occupancy(figures, with_plan), _for_flight(figures, with_plan)) if said is not None]
    return told[::-1] if _flight_leads(figures, with_plan) else told


def _for_occupancy(figures: Figures, with_plan: bool) -> Sentence | None:
    reach = figures.forage_in_reach
    low, high = (reach.with_plan_low, reach.with_plan_high) if with_plan else (reach.low, reach.high)
    return Sentence(FOR_OCCUPANCY, _ends(low, high)) if known(low) and known(high) and high > low else None


def _for_flight(figures: Figures, with_plan: bool) -> Sentence | None:
    reach, (low, high) = figures.forage_in_reach, _by_flight(figures, with_plan)
    if not high > low:  # also where they are not known
        return None
    medians = [float(median) for median in reach.by_forage_median_m]
    lengths = {"short": whole_metres(min(medians)), "long": whole_metres(max(medians))}
    return Sentence(FOR_FLIGHT, _ends(low, high) | lengths)


def _by_flight(figures: Figures, with_plan: bool) -> tuple[float, float]:
    """The least and the most forage in reach over the flight medians; NaN where not known."""
    reach = figures.forage_in_reach
    by_median = reach.with_plan_by_forage_median_m if with_plan else reach.by_forage_median_m
    values = [*by_median.values(), reach.with_plan if with_plan else reach.now]
    return (min(values), max(values)) if all(map(known, values)) else (nan, nan)


def _flight_leads(figures: Figures, with_plan: bool) -> bool:
    low, high = _by_flight(figures, with_plan)
    return high - low >= WIDE


def _ends(low: float, high: float) -> dict[str, Value]:
    return {"low": floored(low)._replace(unit=""), "high": ceiled(high)}


def _reached(figures: Figures, with_plan: bool, verb: str) -> Sentence:
    """Forage in reach with its ranges; the range of flight before the figure where it is wide."""
    reach = figures.forage_in_reach
    value = percent(reach.with_plan if with_plan else reach.now, 1)
    told = ranges(figures, with_plan)
    if _flight_leads(figures, with_plan):
        low, high = _by_flight(figures, with_plan)
        medians = sorted(map(float, reach.by_forage_median_m))
        how = (
            f"{{low}} to {{high}}{verb}, by how far flies go (median flight {{short}} to {{long}}); {{value}} with the "
            "flight that is assumed"
        )
        ends = _ends(low, high) | {"short": Quantity(medians[0]), "long": whole_metres(medians[-1]), "value": value}
        rest = following(*told[1:], by="; ")
        return Sentence(f"{how} ({{rest}})" if rest else how, ends | {"rest": rest})
    rest = following(*told, by="; ")
    return Sentence(f"{{value}}{verb} ({{rest}})" if rest else f"{{value}}{verb}", {"value": value, "rest": rest})


def reach_with_plan(figures: Figures) -> Sentence:
    """What is in reach with the plan, and the certified limit of that; a plan made for something else says so."""
    reach, plan = figures.forage_in_reach, figures.plan
    told = "With {pools}, if they are occupied as today's searches expect: {reached}"
    values: dict[str, Value] = {
        "pools": count(plan.pools, "more pool"),
        "reached": _reached(figures, with_plan=True, verb=" would be in reach"),
    }
    if not known(reach.upper_bound):
        return Sentence(f"{told}.", values)
    values["most"] = at_most(reach.upper_bound, 1)
    if known(plan.share_of_bound):
        values["share"] = at_least(plan.share_of_bound, 1)
    if plan.objective == Objective.REACH:
        has = " (the plan has {share} of the maximum possible gain)" if "share" in values else ""
        return Sentence(f"{told}; no choice of as many could reach more than {{most}}{has}.", values)
    has = " (this plan has {share} of that gain)" if "share" in values else ""
    alone = "the plan is not made for that alone, and none could reach more than"
    return Sentence(f"{told}; {alone} {{most}}{has}.", values)


def headline(figures: Figures, spoken: Catalogue = ENGLISH) -> str:
    """The run in a few lines, for the terminal, in a language."""
    return "\n".join(map(spoken.say, _lines(figures)))


def _lines(figures: Figures) -> list[Sentence]:
    reach, plan, intake = figures.forage_in_reach, figures.plan, figures.intake.values()
    read, aside = sum(part.read for part in intake), sum(part.set_aside for part in intake)
    rows = "Read {read} rows: {used} used, {aside} set aside (set_aside.csv says why)."
    lines = [as_it_is(figures.title), Sentence(""), say(rows, read=read, used=read - aside, aside=aside)]
    if served := likely_served(figures):
        lines.append(following(served, *beside_the_headline(figures)))
    if isnan(reach.now):
        lines.append(Sentence("Forage in reach: not known (see below)."))
    else:
        now = _reached(figures, with_plan=False, verb=" of the area's forage")
        lines.append(say("Forage in reach now: {now}.", now=now))
        if plan.pools:
            lines.append(reach_with_plan(figures))
        gaps = "Gaps: {n}, with {share} of the forage."
        lines.append(following(gaps_told(figures.gaps, gaps), *out_of_reach_yet_no_gap(reach.now, figures.gaps.share)))
    if kinds := kinds_of_land(figures.dominant):
        lines.append(kinds)
    if figures.land_cover:
        lines += cover_doubts(figures.land_cover.doubts)
    if figures.occupancy.pools_visited:
        lines += opening(figures.occupancy, figures.pools_on_record)
    cells = "Cells: {all}, of which a pool may stand on {left}."
    lines.append(say(cells, all=figures.candidates.all, left=figures.candidates.left))
    for heading, told in (("Inputs:", what_matters(figures.inputs)), ("Missing:", missing_sentences(figures))):
        lines += [Sentence(""), Sentence(heading), *map(_of_a_list, told)] if told else []
    return lines


def _of_a_list(told: str) -> Sentence:
    return say("- {told}", told=told if isinstance(told, Sentence) else Sentence(told))
