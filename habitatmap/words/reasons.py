"""Why here, and what could be wrong: the words beside a suggestion. Every figure in them is a column of plan.csv."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from habitatmap.vocabulary.terms import Consent, YesNo
from habitatmap.words.gaps import lost
from habitatmap.words.numbers import known
from habitatmap.words.sentences import Sentence, Value, following, significant, whole_metres
from habitatmap.words.served import served_by_site

# below this share of simulations a site is said to be a near thing; above the next, to be sure (expert judgement)
UNSURE, SURE = 0.5, 0.8
# above this share of the gain on land whose forage is assumed, it is said (expert judgement)
MUCH_ASSUMED = 0.3
# a probability known no closer than this is said to be hardly known (expert judgement)
WIDE = 0.4
# what lies near: its column, what is said of it at the site itself, and farther away
NEAR = (
    ("forage_m", "There are flowers here.", "The nearest good forage is {far} away."),
    ("dead_wood_m", "There is dead wood here.", "The nearest dead wood is {far} away."),
    ("nearest_pool_m", "A pool stands here.", "The nearest standing pool is {far} away."),
)


def reason(row: Mapping[str, Any]) -> Sentence:
    """A few short sentences from a row of plan.csv; what is not known is left out."""
    said = [Sentence("This site is committed.")] if row.get("committed") == YesNo.YES else []
    brings, also = "A pool here brings {gain} more of the area's forage into reach", ""
    if known(row.get("ec_gain")):
        raises = "A pool here raises the equivalent connectivity of the network by {gain}."
        said.append(Sentence(raises, {"gain": significant(row["ec_gain"])}))
        brings = "It also brings {gain} more of the area's forage into reach"
    gain: dict[str, Value] = {"gain": significant(row["gain"])}
    if known(row.get("gain_low")) and known(row.get("gain_high")):
        also = " (likely {low} to {high})"
        gain |= {"low": significant(row["gain_low"]), "high": significant(row["gain_high"])}
    said.append(Sentence(f"{brings}{also}.", gain))
    if known(row["cumulative"]):
        said.append(Sentence("With all sites before it, {all} is in reach.", {"all": significant(row["cumulative"])}))
    said += served_by_site(row.get("served_open"), row.get("served_closed"))
    if known(row["occupancy_expected"]):
        expected = {"p": significant(row["occupancy_expected"])}
        said.append(Sentence("The expected probability of larvae is {p}.", expected))
    for column, here, away in NEAR:
        if known(row[column]):
            said.append(Sentence(away, {"far": whole_metres(row[column])}) if row[column] > 0.5 else Sentence(here))
    return following(*said)


def doubt(row: Mapping[str, Any]) -> Sentence:
    """What could be wrong with a suggestion, from its row of plan.csv, the weightiest first; never empty."""
    said = []
    if row.get("not_allowed"):
        against = "The plan would not have put a pool here: the site is ruled out because: {reason}."
        said.append(Sentence(against, {"reason": lost(row["not_allowed"])}))
    if row.get("consent") == Consent.ASK:
        said.append(Sentence("The owner may say no."))
    elif row.get("consent") == Consent.PROVISIONAL:
        said.append(Sentence("Who owns this land, and whether a pool may stand here, is not known."))
    if row.get("also_ask"):
        whom = following(*map(Sentence, row["also_ask"].split("; ")), by=", ")
        how = "Make sure that they have agreed: {whom}." if row.get("consent") == Consent.YES else "Ask first: {whom}."
        said.append(Sentence(how, {"whom": whom}))
    if known(row.get("robustness")) and row.get("committed") != YesNo.YES and row["robustness"] < SURE:
        how = "Another site may be better" if row["robustness"] < UNSURE else "It is a fair choice, not a sure one"
        stays = f"{how}: it stays in the plan in {{share}} of the simulations."
        said.append(Sentence(stays, {"share": significant(row["robustness"])}))
    if known(row.get("assumed_share")) and row["assumed_share"] > MUCH_ASSUMED:
        assumed = "{share} of what it adds is assumed: forage in gardens or mown grass that nobody has surveyed."
        said.append(Sentence(assumed, {"share": significant(row["assumed_share"])}))
    if row.get("sampled") == YesNo.NO:
        untested = "No pool in such surroundings has been searched, so whether larvae settle here is untested."
        said.append(Sentence(untested))
    low, high = (float(row.get(name, math.nan)) for name in ("occupancy_low", "occupancy_high"))
    if high - low > WIDE:  # false where one is not known
        wide = "The probability of larvae is hardly known: between {low} and {high}."
        said.append(Sentence(wide, {"low": significant(low), "high": significant(high)}))
    said.append(Sentence("Forage and flight are calculated from maps: visit the site before you install a pool."))
    return following(*said)
