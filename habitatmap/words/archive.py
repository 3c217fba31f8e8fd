"""What an archive of searches says: why a row is not in it, what to do, and what it holds."""

from __future__ import annotations

from collections.abc import Mapping

from habitatmap.vocabulary.darwin_core import NotGiven
from habitatmap.words.numbers import count
from habitatmap.words.sentences import Sentence, following, say

REASON = {
    NotGiven.NO_SEARCH: "nobody searched for larvae on this visit, so nothing was sampled",
    NotGiven.AFTER_AS_OF: "the visit is dated after the day that the archive is for",
    NotGiven.NOT_OUT: "the visit is dated before the pool was installed or after it was removed",
    NotGiven.NO_UNCERTAINTY: "it is not known how far off the place of the pool may be",
    NotGiven.FEW_GARDENS: "fewer than three private hosts have pools in this square, so it would give a garden away",
    NotGiven.NOT_CHECKED: "nobody has checked the species; the larvae are given as hoverfly larvae",
    NotGiven.NO_NAME: "the name is no scientific name; the larvae are given as hoverfly larvae",
}
REMEDY = {
    NotGiven.NOT_OUT: "check both dates",
    NotGiven.NO_UNCERTAINTY: "give the accuracy of the place in metres, in a column uncertainty_m of the list of pools",
    NotGiven.NOT_CHECKED: "have somebody who knows the species look at it or at a photo, and write yes under checked",
    NotGiven.NO_NAME: "write the scientific name under taxon, such as Myathropa florea",
}
NOTHING = "nothing to do"
PROTOCOL = "Water and leaf litter of a small pool searched by eye for larvae of hoverflies"
HABITAT = "water-filled vessel with leaf litter, set out for hoverfly larvae"
BLURRED = "middle of a square of {side:.0f} m in which the pool stands"
WITHHELD_PLACE = "exact place of the pool, which is on private land"
WITHHELD_PEOPLE = "names of observers"


def told_counts(given: Mapping[str, int], not_given: Mapping[NotGiven, int]) -> list[Sentence]:
    """What the archive holds, and what is not in it and why."""
    if not given["searches"]:
        lines = [say("No search can be given.")]
    else:
        holds = "The archive holds {searches}: {detected} with larvae, {none} without."
        searches, found = count(given["searches"], "search", "searches"), given["detected"]
        lines = [say(holds, searches=searches, detected=found, none=given["not_detected"])]
    if given["pools"]:
        exact = count(given["searches"] - given["blurred"], "search", "searches")
        lines.append(say("{searches} of {pools} at their places.", searches=exact, pools=count(given["pools"], "pool")))
    if given["blurred"]:
        blurred = "{searches} on private land, each at the middle of its square and without the name of the pool."
        lines.append(say(blurred, searches=count(given["blurred"], "search", "searches")))
    if given["checked_taxa"]:
        lines.append(say("{records} of a checked species or genus.", records=count(given["checked_taxa"], "record")))
    for why, n in not_given.items():
        rows, remedy = count(n, "row"), REMEDY.get(why, "")
        told_why = say("Not given, {rows}: {why}.", rows=rows, why=Sentence(REASON[why]))
        lines.append(following(told_why, say("What to do: {remedy}.", remedy=Sentence(remedy)) if remedy else ""))
    return lines
