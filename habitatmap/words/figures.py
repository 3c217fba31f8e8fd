"""The figures of a run as a table: what each is called, its value with its interval, and what it means."""

from __future__ import annotations

import datetime
from typing import NamedTuple

from habitatmap.result import Result
from habitatmap.vocabulary.results import COUNT, HECTARES, METRES, SCORE, SHARE, Unit

_REACH = "Share of the area's forage that at least one breeding place is likely to serve."
_ESTIMATE = "Share of pools that hold larvae; blank where too few searches tell. Applies to similar sites only."
_HERE = "Of the pools searched in that season that stand."
_EC = "Places of full worth that would be worth as much, if all lay side by side."


class Told(NamedTuple):
    """One figure; `value` NaN where it is not known, `low` and `high` None where it has no interval."""

    name: str
    value: float | str | datetime.date
    unit: Unit | None
    help: str
    low: float | None = None
    high: float | None = None


def told_figures(result: Result) -> list[Told]:
    """The main figures of summary.json, in the order in which people ask for them."""
    figures, reach = result.figures, result.figures.forage_in_reach
    survey, here, served, network = figures.occupancy, figures.occupancy.here, figures.served, figures.network
    from_mapped = "Mean of the coming years, where flies come from mapped places only."
    from_all = "The same where many come from places nobody mapped."
    rows = [
        Told("Area", result.title, None, "The title in area.toml."),
        Told("Day of the map", figures.as_of, None, "What stands, and what was agreed, on this day."),
        Told("Reference system", f"{figures.crs} ({figures.crs_name})", None, "The system of East and North."),
        Told("Cell", figures.cell_m, METRES, "Side of a cell of the raster."),
        Told("Forage in reach now", reach.now, SHARE, _REACH, reach.low, reach.high),
        Told(
            "Forage in reach with the plan",
            reach.with_plan,
            SHARE,
            "The same once every suggested site has a pool.",
            reach.with_plan_low,
            reach.with_plan_high,
        ),
        Told("Upper bound", reach.upper_bound, SHARE, "No choice of as many pools could reach more."),
        Told("Share of the best possible gain", figures.plan.share_of_bound, SHARE, "At least, by that bound."),
        Told("Forage in reach now, in hectares", reach.index_ha, HECTARES, "As much as this area in full flower."),
        Told("Forage measured", reach.measured_share, SHARE, "The rest is assumed of gardens and mowing."),
        Told("Likely served now", served.now.closed, SHARE, from_mapped),
        Told("Likely served with the plan", served.with_plan.closed, SHARE, from_mapped),
        Told("Likely served now, from everywhere", served.now.open, SHARE, from_all),
        Told("Likely served with the plan, from everywhere", served.with_plan.open, SHARE, from_all),
        Told("Pools standing", figures.pools_standing, COUNT, "On the day of the map."),
        Told("Pools searched", survey.pools_visited, COUNT, "In the season of the estimate."),
        Told("Naive occupancy", survey.naive, SHARE, "Share of the pools searched in which larvae were seen."),
        Told("Estimated occupancy", survey.estimate, SHARE, _ESTIMATE, survey.low, survey.high),
        Told("Searched pools that hold larvae", here.occupied, COUNT, _HERE, here.low, here.high),
        Told("Detection", survey.detection, SHARE, "Probability that one search sees larvae that are there."),
        Told("Suggested sites", figures.plan.pools, COUNT, f"Of {figures.plan.requested} asked for."),
        Told("Gaps", figures.gaps.count, COUNT, "Good forage that no known breeding place is likely to reach."),
        Told("Forage in gaps", figures.gaps.share, SHARE, "Share of the area's forage."),
        Told("Breeding places", network.places, COUNT, "Standing pools and rot-hole trees; near ones are one."),
        Told("Parts of the network", network.components, COUNT, "Groups of places without a flight between them."),
        Told("Equivalent connectivity now", network.ec_now, SCORE, _EC),
        Told("Equivalent connectivity with the plan", network.ec_with_plan, SCORE, _EC),
        Told("Cells where a pool may stand", figures.candidates.left, COUNT, f"Of {figures.candidates.all} cells."),
    ]
    for kind, counts in figures.intake.items():
        rows += [
            Told(f"Rows of {kind} read", counts.read, COUNT, "Accepted and set aside together."),
            Told(f"Rows of {kind} set aside", counts.set_aside, COUNT, "Each with its reason on the sheet Set aside."),
        ]
    return rows
