"""What is said of the plan as work in hand: how far its sites have come, and what was refused."""

from __future__ import annotations

import datetime

from habitatmap.result.figures import PlanFigures, Refusal
from habitatmap.vocabulary.terms import Objective, SiteState
from habitatmap.words.numbers import known, listed
from habitatmap.words.sentences import Quantity, Sentence, say
from habitatmap.words.where import told_place

# below this share a cost is told as none, as no plan is known that closely (expert judgement)
NO_COST = 0.0005
REACH, SERVED = "forage in reach", "forage likely served"


def state_told(state: str, day: datetime.date | None = None) -> Sentence:
    """A state as a person reads it beside the consent of the land, with its day where that is known."""
    word = Sentence(SiteState(state).value)
    return say("site {state} on {day}", state=word, day=day) if day else say("site {state}", state=word)


def in_hand(plan: PlanFigures) -> Sentence | None:
    """How many sites are in which state; None where nothing has been done about any."""
    counted = [(state, plan.states.get(state, 0)) for state in SiteState]
    if not any(n for state, n in counted if state is not SiteState.TO_ASK):
        return None
    told = [say("{n} {state}", n=n, state=Sentence(state.value)) for state, n in counted if n]
    return say("Work on the plan: {states}.", states=listed(told))


def refusal_told(one: Refusal, plan: PlanFigures) -> Sentence:
    """What a refusal costs, and which site stands in its place."""
    refused = say("{place} ({sites})", place=told_place(one.place), sites=", ".join(one.sites))
    if not known(one.cost):
        return say("The refusal of {refused}: its cost was not calculated, as many were refused.", refused=refused)
    if one.cost < NO_COST:
        return say("The refusal of {refused} costs next to nothing: the plan does as well elsewhere.", refused=refused)
    what = Sentence(SERVED if plan.objective == Objective.SERVED else REACH)
    points = Quantity(100 * one.cost, 1 if one.cost >= 0.005 else 2)
    if not one.instead:
        told = "The refusal of {refused} costs {points} points of the {what}; no other site takes its place."
        return say(told, refused=refused, points=points, what=what)
    told = "The refusal of {refused} costs {points} points of the {what}; the best substitute is {site}."
    return say(told, refused=refused, points=points, what=what, site=one.instead)


def refusals_told(plan: PlanFigures) -> list[Sentence]:
    """A sentence on each refusal, and how the costs were found."""
    told = [refusal_told(one, plan) for one in plan.refusals]
    how = "Each cost: the plan made once with that ground and once without it, all else the same."
    return [*told, Sentence(how)] if told else []
