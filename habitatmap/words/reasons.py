"""Why here, and what could be wrong: the words beside a suggestion. Every figure in them is a column of plan.csv."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from habitatmap.vocabulary.terms import Consent, YesNo
from habitatmap.words.numbers import known, significant, whole_metres

# below this share of simulations a site is said to be a near thing; above the next, to be sure (expert judgement)
UNSURE, SURE = 0.5, 0.8
# above this share of the gain on land whose forage is assumed, it is said (expert judgement)
MUCH_ASSUMED = 0.3
# a probability known no closer than this is said to be hardly known (expert judgement)
WIDE = 0.4
# what lies near: its column, what is said of it at the site itself, and farther away
NEAR = (
    ("forage_m", "There are flowers here", "The nearest good forage is {far} away"),
    ("dead_wood_m", "There is dead wood here", "The nearest dead wood is {far} away"),
    ("nearest_pool_m", "A pool stands here", "The nearest standing pool is {far} away"),
)


def reason(row: Mapping[str, Any]) -> str:
    """A few short sentences from a row of plan.csv; what is not known is left out."""
    said = ["This site is committed"] if row.get("committed") == YesNo.YES else []
    brings, also = "A pool here brings", ""
    if known(row.get("ec_gain")):
        said.append(f"A pool here raises the equivalent connectivity of the network by {significant(row['ec_gain'])}")
        brings = "It also brings"
    if known(row.get("gain_low")) and known(row.get("gain_high")):
        also = f" (likely {significant(row['gain_low'])} to {significant(row['gain_high'])})"
    said.append(f"{brings} {significant(row['gain'])} more of the area's forage into reach{also}")
    if known(row["cumulative"]):
        said.append(f"With all sites before it, {significant(row['cumulative'])} is in reach")
    if known(row["occupancy_expected"]):
        said.append(f"The expected probability of larvae is {significant(row['occupancy_expected'])}")
    for column, here, away in NEAR:
        if known(row[column]):
            far = whole_metres(row[column])
            said.append(here if far == whole_metres(0) else away.format(far=far))
    return ". ".join(said) + "."


def doubt(row: Mapping[str, Any]) -> str:
    """What could be wrong with a suggestion, from its row of plan.csv, the weightiest first; never empty."""
    said = []
    if row.get("not_allowed"):
        said.append(f"The plan would not have put a pool here: the site is ruled out because: {row['not_allowed']}")
    if row.get("consent") == Consent.ASK:
        said.append("The owner may say no")
    elif row.get("consent") == Consent.PROVISIONAL:
        said.append("Who owns this land, and whether a pool may stand here, is not known")
    if known(row.get("robustness")) and row.get("committed") != YesNo.YES:
        stays = f"it stays in the plan in {significant(row['robustness'])} of the simulations"
        if row["robustness"] < UNSURE:
            said.append(f"Another site may be better: {stays}")
        elif row["robustness"] < SURE:
            said.append(f"It is a fair choice, not a sure one: {stays}")
    if known(row.get("assumed_share")) and row["assumed_share"] > MUCH_ASSUMED:
        said.append(
            f"{significant(row['assumed_share'])} of what it adds is assumed: forage in gardens or mown grass that "
            "nobody has surveyed"
        )
    if row.get("sampled") == YesNo.NO:
        said.append("No pool in such surroundings has been searched, so whether larvae settle here is untested")
    low, high = (float(row.get(name, math.nan)) for name in ("occupancy_low", "occupancy_high"))
    if high - low > WIDE:  # false where one is not known
        said.append(f"The probability of larvae is hardly known: between {significant(low)} and {significant(high)}")
    said.append("Forage and flight are calculated from maps: visit the site before you install a pool")
    return ". ".join(said) + "."
