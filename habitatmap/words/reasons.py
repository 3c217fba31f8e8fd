"""Why here, and what could be wrong: the words beside a suggestion. Every figure in them is a column of plan.csv."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

# below this share of draws a site is said to be a near thing; above the next, to be sure (expert judgement)
UNSURE, SURE = 0.5, 0.8
# above this share of the gain on ground whose forage is assumed, it is said (expert judgement)
MUCH_ASSUMED = 0.3
# a chance known no closer than this is said to be hardly known (expert judgement)
WIDE = 0.4


def reason(row: Mapping[str, Any]) -> str:
    """One or two sentences from a row of plan.csv; what is not known is left out."""
    brings = f"A pool here brings {percent(row['gain'])} more of the area's forage into reach"
    if known(row.get("gain_low")) and known(row.get("gain_high")):
        brings += f" (likely {percent(row['gain_low'])} to {percent(row['gain_high'])})"
    if known(row["cumulative"]):
        brings += f", {percent(row['cumulative'])} with all that is there and planned before it"
    if known(row["occupancy_expected"]):
        brings += f", if larvae settle with the expected chance of {percent(row['occupancy_expected'])}"
    if known(row.get("ec_gain")):
        brings = (
            f"A pool here makes the network worth {percent(row['ec_gain'])} more (equivalent connectivity). It also "
            f"{brings.removeprefix('A pool here ')}"
        )
    if row.get("committed") == "yes":
        brings = f"This spot is decided already. {brings}"
    near = [
        f"{text} {metres(row[column])}"
        for column, text in (
            ("forage_m", "good forage begins at"),
            ("dead_wood_m", "dead wood at"),
            ("nearest_pool_m", "the nearest standing pool is at"),
        )
        if known(row[column])
    ]
    if not near:
        return f"{brings}."
    where = f"{', '.join(near[:-1])} and {near[-1]}" if near[1:] else near[0]
    return f"{brings}. From here, {where}."


def doubt(row: Mapping[str, Any]) -> str:
    """What could be wrong with a suggestion, from its row of plan.csv, the weightiest first; never empty."""
    said = []
    if row.get("not_allowed"):
        said.append(f"The plan would not have put a pool here: the ground is lost as: {row['not_allowed']}")
    if row.get("consent") == "ask":
        said.append("The owner may say no")
    elif row.get("consent") == "provisional":
        said.append("Whose ground this is, and whether a pool may stand here, is not known")
    if known(row.get("robustness")) and row.get("committed") != "yes":
        stays = f"it stays in the plan in {percent(row['robustness'])} of the draws of what is assumed"
        if row["robustness"] < UNSURE:
            said.append(f"Another spot may be better: {stays}")
        elif row["robustness"] < SURE:
            said.append(f"It is a fair choice, not a sure one: {stays}")
    if known(row.get("assumed_share")) and row["assumed_share"] > MUCH_ASSUMED:
        said.append(
            f"{percent(row['assumed_share'])} of what it adds is forage assumed for gardens or mown grass that nobody "
            "has looked at"
        )
    if row.get("sampled") == "no":
        said.append("No pool on ground like this has been looked at, so whether larvae settle here is untested")
    low, high = (float(row.get(name, math.nan)) for name in ("occupancy_low", "occupancy_high"))
    if high - low > WIDE:  # false where one is not known
        said.append(f"How likely larvae settle is hardly known: between {percent(low)} and {percent(high)}")
    said.append("Forage and flight are reckoned from maps: go and look before you set the pool")
    return ". ".join(said) + "."


def known(value: Any) -> bool:
    """Whether a figure is there at all."""
    return value is not None and math.isfinite(value)


def percent(share: float) -> str:
    """A share as a percentage with two digits that count: "12 %", "1.3 %", "0.045 %"."""
    value = float(f"{100 * share:.2g}")  # rounded first, so that 0.9996 is 1.0 and not 1.00
    places = max(0, 1 - math.floor(math.log10(abs(value)))) if value else 0
    return f"{value:.{places}f} %"


def metres(distance: float) -> str:
    """A distance in whole metres."""
    return f"{distance:.0f} m"
