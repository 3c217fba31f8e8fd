"""What a run found in a few lines, and the sentences about what is missing and what that costs."""

from __future__ import annotations

from math import isnan

from habitatmap.result.figures import Figures, Missing, Stage
from habitatmap.vocabulary.terms import Objective
from habitatmap.words.inputs import what_matters
from habitatmap.words.land_cover import cover_doubts, kinds_of_land
from habitatmap.words.numbers import at_least, at_most, count, known, percent, span
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


def missing_sentences(figures: Figures) -> list[str]:
    """One sentence for each thing that is not there: what is lacking, and what that costs."""
    return [MISSING[kind] for kind in figures.missing]


def reach_with_plan(figures: Figures) -> str:
    """What is in reach with the plan, and the certified limit of that; a plan made for something else says so."""
    reach, plan = figures.forage_in_reach, figures.plan
    told = f"With {count(plan.pools, 'more pool')}, if they are occupied as today's searches expect, "
    told += f"{percent(reach.with_plan, 1)} would be in reach"
    if known(reach.with_plan_low) and known(reach.with_plan_high):
        told += f" ({span(reach.with_plan_low, reach.with_plan_high, 1)})"
    if not known(reach.upper_bound):
        return f"{told}."
    share = "" if not known(plan.share_of_bound) else at_least(plan.share_of_bound, 1)
    if plan.objective == Objective.REACH:
        has = share and f" (the plan has {share} of the maximum possible gain)"
        return f"{told}; no choice of as many could reach more than {at_most(reach.upper_bound, 1)}{has}."
    has = share and f" (this plan has {share} of that gain)"
    most = at_most(reach.upper_bound, 1)
    return f"{told}; the plan is not made for that alone, and none could reach more than {most}{has}."


def headline(figures: Figures) -> str:
    """The run in a few lines, for the terminal."""
    reach, plan, intake = figures.forage_in_reach, figures.plan, figures.intake.values()
    read, aside = sum(part.read for part in intake), sum(part.set_aside for part in intake)
    lines = [
        figures.title,
        "",
        f"Read {read:,} rows: {read - aside:,} used, {aside:,} set aside (set_aside.csv says why).",
    ]
    if served := likely_served(figures):
        lines.append(" ".join(map(str, (served, *beside_the_headline(figures)))))
    if isnan(reach.now):
        lines.append("Forage in reach: not known (see below).")
    else:
        lines.append(
            f"Forage in reach now: {percent(reach.now, 1)} of the area's forage "
            f"({percent(reach.low, 1)} to {percent(reach.high, 1)})."
        )
        if plan.pools:
            lines.append(reach_with_plan(figures))
        lines.append(f"Gaps: {figures.gaps.count}, with {percent(figures.gaps.share)} of the forage.")
    if kinds := kinds_of_land(figures.dominant):
        lines.append(str(kinds))
    if figures.land_cover:
        lines += map(str, cover_doubts(figures.land_cover.doubts))
    if figures.occupancy.pools_visited:
        lines += opening(figures.occupancy, figures.intake["pools"].accepted)
    lines.append(f"Cells: {figures.candidates.all:,}, of which a pool may stand on {figures.candidates.left:,}.")
    if matters := what_matters(figures.inputs):
        lines += ["", "Inputs:", *(f"- {said}" for said in matters)]
    if figures.missing:
        lines += ["", "Missing:", *(f"- {sentence}" for sentence in missing_sentences(figures))]
    return "\n".join(lines)
