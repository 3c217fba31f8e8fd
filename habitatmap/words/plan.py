"""What is said about a plan as a whole: why it has fewer pools than asked for, which of its terms fit nothing, and how
it stands against other ways to choose in simulated years.
"""

from __future__ import annotations

from itertools import groupby

import pandas as pd

from habitatmap.plan.outlook import CLEARLY, FIRST_YEARS, NothingToCompare, Standing, Strategy
from habitatmap.plan.search import Shortfall
from habitatmap.plan.simulated_years import Tail
from habitatmap.plan.terms import TermTable
from habitatmap.result.figures import Figures, PlanFigures
from habitatmap.words.bases import noted
from habitatmap.words.land_cover import cover_doubts
from habitatmap.words.numbers import listed, number_span, percent, sentence, span
from habitatmap.words.sentences import Sentence, apart, following, say

BY_NETWORK = Sentence(
    "chosen for the network, one pool after another: no share of the best possible is known or claimed for that"
)
FITS_NOTHING = {
    TermTable.QUOTA: '[{table}] has "{name}", but no land has that name or owner: correct the line, or the land.',
    TermTable.COST: '[{table}] has "{name}", but no land is of that kind: correct the line, or the land.',
}


def plan_note(plan: PlanFigures) -> Sentence:
    """Why there are fewer suggestions than asked for, and what is not known of a plan for the network; "" for none."""
    if plan.shortfall is Shortfall.NO_FORAGE:
        return Sentence("no forage is known in the area, so no site can be said to help")
    if plan.shortfall is Shortfall.NONE_ALLOWED:
        return say("no cell is allowed; most were ruled out because: {why}", why=Sentence(plan.lost_most))
    short = Sentence("")
    if plan.shortfall:
        short = say("{n} of {of} pools: {why}", n=plan.pools, of=plan.requested, why=plan.shortfall)
    return following(short, BY_NETWORK if plan.objective == "connectivity" else "", by="; ")


def nothing_to_compare(why: NothingToCompare, plan: PlanFigures) -> Sentence:
    """Why the plan can't be compared with other ways to choose."""
    if why is NothingToCompare.NO_FORAGE:
        return Sentence("there is no forage on the ground, so no way to choose is better than another")
    note = plan_note(plan) or Sentence("no pool is asked for")
    return say("there is no suggestion to look ahead for: {why}", why=note)


NO_FORECAST = (
    "These are simulations under stated assumptions; no forecast. Nobody knows how often such places are found or "
    "lost, or how many flies come from places that are on no map. What can be read from them is whether the plan still "
    "stands when flight and life differ from what the planner assumed."
)
FLIGHT = {Tail.FAT: Sentence("with some very long flights"), Tail.THIN: Sentence("with hardly any long flight")}
MAPPED = Sentence("if flies come only from mapped places")
WHATEVER = Sentence("whatever share of arriving flies comes from unmapped places")
UNMAPPED = "if {share} of arriving flies come from unmapped places"
POOLS = {
    Strategy.NONE: "no new pools",
    Strategy.RANDOM: "pools at random",
    Strategy.EVEN: "pools evenly spread",
    Strategy.HIGHEST: "pools at the highest scores",
}
STANDS = {
    Standing.AHEAD: "the plan gains most",
    Standing.LEVEL: "as many {rules} may do as well as the plan",
    Standing.BEHIND: "as many {rules} gain more than the plan",
    Standing.NOTHING: "no way to choose gains anything",
}


def where_the_plan_wins(standings: pd.DataFrame, tail: Tail) -> Sentence:
    """How the plan stands against rules of thumb, by the share of arrivals from unmapped places (`outlook.standings`);
    neighbouring shares with the same standing are told together."""
    shares, told, unmapped = standings["unmapped"].tolist(), [], UNMAPPED
    rows = zip(shares, standings["rule"], standings["standing"], strict=True)
    for standing, alike in groupby(rows, key=lambda row: row[2]):
        run = list(alike)
        rules = listed([Sentence(POOLS[rule]) for rule in dict.fromkeys(rule for _, rule, _ in run)])
        when = WHATEVER if len(run) == len(shares) else MAPPED
        if when is MAPPED and run[-1][0] > 0:
            when, unmapped = say(unmapped, share=_so_many(run[0][0], run[-1][0], shares)), "if {share} do"
        told.append(say("{stands} {when}", stands=say(STANDS[standing], rules=rules), when=when))
    return say("{flight}: {told}.", flight=sentence(FLIGHT[tail]), told=apart(told, "; "))


def _so_many(low: float, high: float, shares: list[float]) -> Sentence:
    """Shares of those simulated, from low to high."""
    if high == shares[-1]:
        return say("{share} or more", share=percent(low))
    return say("at most {share}", share=percent(high)) if low == shares[0] else span(low, high)


def order_of_installing(ratios: pd.DataFrame) -> Sentence | None:
    """What all at once, and the best connected sites first, gain over two a year in the plan's order
    (`outlook.staging_ratios`); None where nothing is gained."""
    known = ratios.dropna()
    if known.empty:
        return None
    at_once = known["at_once"]
    shares = known.index.tolist()
    orders = [_against_the_order(ratio) for ratio in known["connected"].tolist()]
    told, then = orders[0], orders[-1]
    if then != told:
        when = [MAPPED if share == 0 else say(UNMAPPED, share=percent(share)) for share in (shares[0], shares[-1])]
        told = say("{told} {when} and {then} {then_when}", told=told, when=when[0], then=then, then_when=when[1])
    return say(
        "In the first {years} years, installing all at once gains {times} times what two a year gain. If only two a "
        "year are installed, beginning with the best connected sites gains {told}.",
        years=FIRST_YEARS,
        times=number_span(at_once.min(), at_once.max(), 1),
        told=told,
    )


def _against_the_order(ratio: float) -> Sentence:
    if max(ratio, 1 / ratio) < CLEARLY:
        return Sentence("about as much as the plan's order")
    gains = "{share} more than the plan's order" if ratio > 1 else "{share} less than the plan's order"
    return say(gains, share=percent(abs(ratio - 1.0)))


def notes_of(figures: Figures) -> list[str]:
    """What somebody should know of how records and terms were used."""
    said = [say(FITS_NOTHING[line.table], table=str(line.table), name=line.name) for line in figures.unknown_names]
    lost, given = figures.committed_left_out
    if lost:
        left_out = "{lost} of {n} committed sites are not in the plan: they lie outside the map, or share a cell."
        said.append(say(left_out, lost=lost, n=given))
    cover = cover_doubts(figures.land_cover.doubts if figures.land_cover else ())
    return [*figures.notes, *cover, *noted(figures.survey_warnings), *said]
