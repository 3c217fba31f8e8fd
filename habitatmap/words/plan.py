"""What is said about a plan as a whole: why it has fewer pools than asked for, and which of its terms fit nothing."""

from __future__ import annotations

from habitatmap.plan.outlook import NothingToCompare
from habitatmap.plan.search import Shortfall
from habitatmap.plan.terms import TermTable
from habitatmap.result.figures import Figures, PlanFigures
from habitatmap.words.bases import noted

BY_NETWORK = (
    "chosen for the network, one pool after another: no share of the best possible is known or claimed for that"
)
FITS = {TermTable.QUOTA: "has that name or owner", TermTable.COST: "is of that kind"}


def plan_note(plan: PlanFigures) -> str:
    """Why there are fewer suggestions than asked for, and what is not known of a plan for the network; "" for none."""
    if plan.shortfall is Shortfall.NO_FORAGE:
        return "no forage is known in the area, so no site can be said to help"
    if plan.shortfall is Shortfall.NONE_ALLOWED:
        return f"no cell is allowed; most were ruled out because: {plan.lost_most}"
    short = f"{plan.pools} of {plan.requested} pools: {plan.shortfall}" if plan.shortfall else ""
    return "; ".join(part for part in (short, BY_NETWORK if plan.objective == "connectivity" else "") if part)


def nothing_to_compare(why: NothingToCompare, plan: PlanFigures) -> str:
    """Why the plan can't be compared with other ways to choose."""
    said = {
        NothingToCompare.NO_SUGGESTION: "there is no suggestion to look ahead for: "
        + (plan_note(plan) or "no pool is asked for"),
        NothingToCompare.NO_FORAGE: "there is no forage on the ground, so no way to choose is better than another",
        NothingToCompare.NOBODY: "no breeding place is likely to be occupied today, and from nowhere nobody comes",
    }
    return said[why]


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
    return [*figures.notes, *noted(figures.survey_warnings), *said]
