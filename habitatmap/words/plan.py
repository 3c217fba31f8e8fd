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
from habitatmap.words.numbers import listed, percent, span
from habitatmap.words.sentences import Sentence, following, say

BY_NETWORK = Sentence(
    "chosen for the network, one pool after another: no share of the best possible is known or claimed for that"
)
FITS = {TermTable.QUOTA: "has that name or owner", TermTable.COST: "is of that kind"}


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


def nothing_to_compare(why: NothingToCompare, plan: PlanFigures) -> str:
    """Why the plan can't be compared with other ways to choose."""
    said = {
        NothingToCompare.NO_SUGGESTION: "there is no suggestion to look ahead for: "
        + (plan_note(plan) or "no pool is asked for"),
        NothingToCompare.NO_FORAGE: "there is no forage on the ground, so no way to choose is better than another",
    }
    return said[why]


NO_FORECAST = (
    "These are simulations under stated assumptions; no forecast. Nobody knows how often such places are found or "
    "lost, or how many flies come from places that are on no map. What can be read from them is whether the plan still "
    "stands when flight and life differ from what the planner assumed."
)
FLIGHT = {Tail.FAT: "some flights go very far", Tail.THIN: "hardly any flight goes far"}
MAPPED = "if flies come only from mapped places"
UNMAPPED = "of arriving flies come from unmapped places"
POOLS = {
    Strategy.NONE: "no new pools",
    Strategy.RANDOM: "pools at random",
    Strategy.EVEN: "pools evenly spread",
    Strategy.HIGHEST: "pools at the highest scores",
}


def where_the_plan_wins(standings: pd.DataFrame, tail: Tail) -> str:
    """How the plan stands against rules of thumb, by the share of arrivals from unmapped places (`outlook.standings`);
    neighbouring shares with the same standing are told together."""
    shares, told = standings["unmapped"].tolist(), []
    do = UNMAPPED
    rows = zip(shares, standings["rule"], standings["standing"], strict=True)
    for standing, alike in groupby(rows, key=lambda row: row[2]):
        run = list(alike)
        rules = [POOLS[rule] for rule in dict.fromkeys(rule for _, rule, _ in run)]
        if len(run) == len(shares):
            part = "whatever share of arriving flies comes from unmapped places"
        elif run[-1][0] == 0:
            part = MAPPED
        else:
            part, do = f"if {_so_many(run[0][0], run[-1][0], shares)} {do}", "do"
        told.append(f"{part}, {_stands(standing, rules)}")
    return f"Where {FLIGHT[tail]}: {'; '.join(told)}."


def _so_many(low: float, high: float, shares: list[float]) -> str:
    """Shares of those simulated, from low to high."""
    if high == shares[-1]:
        return f"{percent(low)} or more"
    return f"at most {percent(high)}" if low == shares[0] else span(low, high)


def _stands(standing: Standing, rules: list[str]) -> str:
    return {
        Standing.AHEAD: "the plan gains most",
        Standing.LEVEL: f"as many {listed(rules)} may do as well as the plan",
        Standing.BEHIND: f"as many {listed(rules)} gain more than the plan",
        Standing.NOTHING: "no way to choose gains anything",
    }[standing]


def order_of_installing(ratios: pd.DataFrame) -> str:
    """What all at once, and the best connected sites first, gain over two a year in the plan's order
    (`outlook.staging_ratios`); "" where nothing is gained."""
    known = ratios.dropna()
    if known.empty:
        return ""
    low, high = (f"{end:.1f}" for end in (known["at_once"].min(), known["at_once"].max()))
    times = low if low == high else f"{low} to {high}"
    shares = known.index.tolist()
    orders = [_against_the_order(ratio) for ratio in known["connected"].tolist()]
    told, then = orders[0], orders[-1]
    if then != told:
        told = f"{told} {_if_so_many(shares[0])} and {then} {_if_so_many(shares[-1])}"
    return (
        f"In the first {FIRST_YEARS} years, installing all at once gains {times} times what two a year gain. If only "
        f"two a year are installed, beginning with the best connected sites gains {told}."
    )


def _if_so_many(share: float) -> str:
    return MAPPED if share == 0 else f"if {percent(share)} {UNMAPPED}"


def _against_the_order(ratio: float) -> str:
    if max(ratio, 1 / ratio) < CLEARLY:
        return "about as much as the plan's order"
    return f"{percent(abs(ratio - 1.0))} {'more' if ratio > 1 else 'less'} than the plan's order"


def notes_of(figures: Figures) -> list[str]:
    """What somebody should know of how records and terms were used."""
    said = [
        f'[{line.table}] has "{line.name}", but no land {FITS[line.table]}: correct the line, or the land.'
        for line in figures.unknown_names
    ]
    lost, given = figures.committed_left_out
    if lost:
        said.append(
            f"{lost} of {given} committed sites are not in the plan: they lie outside the map, or share a cell."
        )
    cover = map(str, cover_doubts(figures.land_cover.doubts if figures.land_cover else ()))
    return [*figures.notes, *cover, *noted(figures.survey_warnings), *said]
