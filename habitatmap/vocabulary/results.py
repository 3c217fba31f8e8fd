"""The columns of what `map` writes, once: how people call a column, its unit, and what stands in it.

Headings and rounding of results.xlsx, aliases and descriptions of the GeoPackage and of the GIS project, and the second
part of guide/columns.md are made from this table. A column that is read and written on has its words in `columns`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from habitatmap.vocabulary.columns import COLUMNS
from habitatmap.vocabulary.kinds import Kind


class Unit(NamedTuple):
    """A unit, and how many digits behind the point people need; `pattern`: how a workbook shows the number."""

    name: str
    digits: int
    pattern: str
    told: str = ""  # what the data dictionary says, where it is not the name


METRES = Unit("m", 0, "0")
PLACE_M = Unit("m", 1, "0.0")
DEGREES = Unit("°", 6, "0.000000")
HECTARES = Unit("ha", 2, "0.00")
CENTIMETRES = Unit("cm", 0, "0")
SHARE = Unit("%", 3, "0.0%", "0 to 1")
SCORE = Unit("0-1", 2, "0.00", "0 to 1")
COUNT = Unit("", 0, "0", "number")
AMOUNT = Unit("", 2, "0.00", "the unit of the budget")
UNITS = (METRES, PLACE_M, DEGREES, HECTARES, CENTIMETRES, SHARE, SCORE, COUNT, AMOUNT)


class Meaning(NamedTuple):
    """What people call a column, what stands in it, and its unit; None where it holds words or days."""

    title: str
    help: str
    unit: Unit | None = None
    is_date: bool = False

    @property
    def unit_name(self) -> str:
        """The unit as files at full precision have it; "" for words."""
        return (self.unit.told or self.unit.name) if self.unit else "day" if self.is_date else ""

    @property
    def heading(self) -> str:
        """The title with its unit."""
        return f"{self.title} ({self.unit.name})" if self.unit and self.unit.name else self.title


class Written(NamedTuple):
    """A table that `map` writes: its title, what its rows are, its columns in their order, and the kind of input that
    some of them come from."""

    title: str
    about: str
    columns: Sequence[str]
    kind: Kind | None = None


TABLES = {
    "plan": Written(
        "Suggested sites",
        "A row for each suggestion, the most helpful first; you can stop after any.",
        (
            "rank id x y lon lat place consent forage_m dead_wood_m nearest_pool_m gain gain_low gain_high "
            "cumulative occupancy_expected occupancy_low occupancy_high robustness assumed_share sampled "
            "committed state not_allowed cost ec_gain served_open served_closed new_ha new_class new_class_share "
            "new_month also_ask reason could_be_wrong caution private"
        ).split(),
    ),
    "pools": Written(
        "Pools",
        "A row for each pool that was accepted, standing or not.",
        (
            "pool x y lon lat uncertainty_m standing forage_m dead_wood_m rot_hole_tree_m trees_near "
            "nearest_pool_m forage_score dead_wood_score land_cover place visits detections occupancy "
            "occupancy_low occupancy_high basis forage_in_reach last_outcome private flag consent consent_until "
            "group note"
        ).split(),
        Kind.POOLS,
    ),
    "places": Written(
        "Land",
        "A row for each piece of land, with what was agreed.",
        (
            "id name place kind consent consent_note until owner contact condition private area_ha pools "
            "suggestions forage_mean"
        ).split(),
        Kind.LAND,
    ),
    "ask_first": Written(
        "Consent priorities",
        "What each consent adds that is still to be asked for, the most first.",
        "rank place kind private area_ha reach_yes reach_no adds sites".split(),
    ),
    "gaps": Written(
        "Gaps",
        "Good forage that no known breeding place is likely to reach, the largest share first.",
        "rank area_ha share mean_forage mean_reach nearest_place_m places_in_flight ground_ha cause".split(),
    ),
    "set_aside": Written(
        "Set aside",
        "Rows, sheets and files that could not be used, each with its reason.",
        "file sheet row column value reason remedy".split(),
    ),
    "zones": Written(
        "Zones",
        "The land around each suggested site that serves at least 90 % as well.",
        "rank id place private area_ha".split(),
    ),
    "visits": Written(
        "Visits",
        "A row for each visit that was accepted.",
        "pool date outcome larvae taxon checked action observer note photo larvae_low larvae_high file row".split(),
        Kind.VISITS,
    ),
    "trees": Written(
        "Trees",
        "A row for each tree, stump or log that was accepted.",
        "x y genus species diameter_cm condition file row rot_hole_probability".split(),
        Kind.TREES,
    ),
    "breeding_places": Written(
        "Breeding places",
        "Standing pools and rot-hole trees as the network has them: those near each other are one.",
        "place x y names pools trees occupancy forage_access".split(),
    ),
    "links": Written(
        "Links",
        "Flights between two breeding places, each pair once; of more than 20,000 pairs those that best paths need.",
        "from_place to_place length_m probability rank".split(),
    ),
    "paths": Written("Streets and paths", "Streets, paths and waters of paths.*.", ["kind", "name"]),
    "exclusion_zones": Written(
        "Exclusion zones",
        "The ground that is too near to something for a pool.",
        ["kind", "distance_m", "file", "row"],
        Kind.KEEP_AWAY,
    ),
    "boundary": Written("Boundary", "Where forage counts and pools may go.", []),
    "candidates_lost": Written(
        "Cells ruled out",
        "Why a cell can hold no pool; each cell under its first reason.",
        "reason cells".split(),
    ),
}

_FAR = "Metres from its cell to the nearest cell of good forage (near.forage_from)."
_WOOD = "Metres from its cell to the nearest cell of dead wood or with a likely rot-hole tree (near.dead_wood_from)."
_ID = "The site's id, which stays from run to run while the site stays in its zone."

# by column, or by table and column where one name has two meanings
_MEANINGS = {
    "x": Meaning("East", "Metres east in the area's reference system.", PLACE_M),
    "y": Meaning("North", "Metres north in the area's reference system.", PLACE_M),
    "lon": Meaning("Longitude", "Degrees, WGS 84. Minus west of Greenwich.", DEGREES),
    "lat": Meaning("Latitude", "Degrees, WGS 84. Minus south of the equator.", DEGREES),
    "uncertainty_m": Meaning("Accuracy", "How far off the place may be, as it was recorded.", METRES),
    "forage_m": Meaning("Nearest good forage", _FAR, METRES),
    "dead_wood_m": Meaning("Nearest dead wood", _WOOD, METRES),
    "rank": Meaning("No.", "1 is the most helpful.", COUNT),
    "place": Meaning("Where", "What the place is called."),
    "kind": Meaning("Land use", "What the land is used for."),
    "consent": Meaning("Consent", "What the owner has said: yes, ask or no; provisional where no land is recorded."),
    "private": Meaning("Private", "yes where it lies in a garden or on other private land."),
    "area_ha": Meaning("Area", "Size.", HECTARES),
    "file": Meaning("File", "The file that the row was read from."),
    "sheet": Meaning("Sheet", "The sheet of a workbook."),
    "row": Meaning("Row", "The number of the row there, as a spreadsheet program shows it.", COUNT),
    # pools
    "standing": Meaning("Standing", "yes where the pool stands on the day of the map."),
    "rot_hole_tree_m": Meaning("Nearest rot-hole tree", "Metres to the nearest tree likely to hold one.", METRES),
    "trees_near": Meaning("Trees near", "How many trees stand within 100 m; blank where trees are not known.", COUNT),
    "pools.nearest_pool_m": Meaning("Nearest other pool", "Metres to the nearest other standing pool.", METRES),
    "nearest_pool_m": Meaning("Nearest standing pool", "Metres to the nearest standing pool.", METRES),
    "forage_score": Meaning("Forage within flight", "Mean forage of the season, near cells counting most.", SCORE),
    "dead_wood_score": Meaning("Dead wood within flight", "Mean dead wood, near cells counting most.", SCORE),
    "land_cover": Meaning("Land cover", "The class of its cell."),
    "visits": Meaning("Searches", "How many visits were searches for larvae.", COUNT),
    "detections": Meaning("Detections", "How many searches saw larvae.", COUNT),
    "occupancy": Meaning("Probability of larvae", "That the pool holds larvae, by its searches and the model.", SHARE),
    "occupancy_low": Meaning("Probability of larvae, low", "Lower end of its 95 % interval.", SHARE),
    "occupancy_high": Meaning("Probability of larvae, high", "Upper end of its 95 % interval.", SHARE),
    "basis": Meaning("Basis", "What the probability rests on."),
    "pools.forage_in_reach": Meaning(
        "Lost without it", "Share of the area's forage that would no longer be in reach without this pool.", SHARE
    ),
    "last_outcome": Meaning("Last outcome", "What the last visit found."),
    "flag": Meaning("Remark", "What to know about its position or consent."),
    "consent_until": Meaning("Consent until", "The last day on which the consent holds.", is_date=True),
    "group": Meaning("Group", "The group whose list it is in."),
    # the plan
    "id": Meaning("Site", _ID),
    "gain": Meaning("Adds", "What the site adds to forage in reach after those before it.", SHARE),
    "gain_low": Meaning("Adds, low", "Lower end of its 95 % interval.", SHARE),
    "gain_high": Meaning("Adds, high", "Upper end of its 95 % interval.", SHARE),
    "cumulative": Meaning("In reach with it", "Forage in reach with this and every earlier site.", SHARE),
    "occupancy_expected": Meaning("Probability of larvae, if installed", "As the model expects it there.", SHARE),
    "robustness": Meaning(
        "Stays in the plan", "Share of simulations in which the site, or one in its zone, stays in the plan.", SHARE
    ),
    "assumed_share": Meaning("Assumed", "Share of what it adds that rests on assumed gardens or mowing.", SHARE),
    "sampled": Meaning("Like searched places", "yes where pools in such surroundings were searched."),
    "committed": Meaning("Committed", "yes where the site was decided before."),
    "state": Meaning("State", "How far the site has come, as plan_status.xlsx says: to ask, asked, agreed, ..."),
    "not_allowed": Meaning("Not allowed", "Why a committed site could not have been suggested."),
    "cost": Meaning("Cost", "What the site costs, where a budget is stated.", AMOUNT),
    "ec_gain": Meaning("Adds to the network", "What it adds to equivalent connectivity, as a share of it.", SHARE),
    "served_open": Meaning("Likely served, from everywhere", "Adds this where flies come from unmapped places.", SHARE),
    "served_closed": Meaning("Likely served, mapped places", "Adds this where none come from elsewhere.", SHARE),
    "new_ha": Meaning("New forage", "Hectares that this site is the first to bring into reach.", HECTARES),
    "new_class": Meaning("Most of it", "The land-cover class of most of the new forage."),
    "new_class_share": Meaning("Share of that class", "Its share of the new forage.", SHARE),
    "new_month": Meaning("Best month", "The month in which the new forage is most, 1 to 12.", COUNT),
    "also_ask": Meaning("Also ask", "Who must agree besides the owner."),
    "reason": Meaning("Why here", "Why the site was chosen."),
    "could_be_wrong": Meaning("What could be wrong", "What the suggestion depends on most."),
    "caution": Meaning("Before a pool goes here", "What to mind and whom to ask."),
    # land
    "places.id": Meaning("Land id", "What tells this piece of land from all others."),
    "name": Meaning("Name", "The name of the land, as its file has it."),
    "until": Meaning("Until", "The last day on which the consent holds.", is_date=True),
    "pools": Meaning("Pools", "How many standing pools it holds.", COUNT),
    "suggestions": Meaning("Suggestions", "How many suggested sites it holds.", COUNT),
    "forage_mean": Meaning("Mean forage", "Mean forage of the season.", SCORE),
    # consent priorities
    "reach_yes": Meaning("In reach with consent", "Forage in reach with the plan, if the owner agrees.", SHARE),
    "reach_no": Meaning("In reach without", "The same with its pools placed on other land instead.", SHARE),
    "adds": Meaning("Consent adds", "The difference.", SHARE),
    "sites": Meaning("Suggestions there", "The numbers of the plan's suggestions on this land."),
    # gaps
    "share": Meaning("Share of forage", "Share of the area's forage that lies in it.", SHARE),
    "mean_forage": Meaning("Mean forage", "Mean forage of the season.", SCORE),
    "mean_reach": Meaning("Reached now", "Mean probability that a breeding place reaches it.", SHARE),
    "nearest_place_m": Meaning("Nearest breeding place", "Metres to the nearest known breeding place.", METRES),
    "places_in_flight": Meaning("Places in flight", "How many known breeding places lie within flight.", COUNT),
    "ground_ha": Meaning("Land for a pool", "Land in it on which a pool may stand.", HECTARES),
    "cause": Meaning("Why nothing reaches it", "Why it is a gap, and what stands in the way of a pool."),
    # set aside
    "set_aside.column": Meaning("Column", "The column that the reason is about."),
    "set_aside.value": Meaning("Value", "What stands in the cell."),
    "set_aside.reason": Meaning("Reason", "Why it could not be used."),
    "set_aside.remedy": Meaning("What to do", "What makes it usable."),
    # for GIS alone
    "visits.pool": Meaning("Pool", "The pool that was visited."),
    "visits.note": Meaning("Note", "Anything else."),
    "diameter_cm": Meaning("Diameter", "Diameter of the trunk at breast height.", CENTIMETRES),
    "rot_hole_probability": Meaning("Probability of a rot-hole", "By genus, diameter and condition.", SHARE),
    "paths.kind": Meaning("Kind", "What kind of street, path or water it is."),
    "paths.name": Meaning("Name", "Its name."),
    "exclusion_zones.kind": Meaning("Kind", "What it is, such as school, playground, water or road."),
    "distance_m": Meaning("Distance", "How far pools keep from it.", METRES),
    "breeding_places.place": Meaning("Number", "The number of the place; links name it.", COUNT),
    "breeding_places.pools": Meaning("Pools", "How many standing pools the place is made of.", COUNT),
    "breeding_places.trees": Meaning("Trees", "How many rot-hole trees the place is made of.", COUNT),
    "breeding_places.occupancy": Meaning("Probability of larvae", "That any pool or tree of it holds larvae.", SHARE),
    "breeding_places.forage_access": Meaning("Forage within flight", "Mean forage, near cells counting most.", SCORE),
    "breeding_places.names": Meaning("Pools and trees", "Names of its pools, and row ids of its trees."),
    "from_place": Meaning("From", "The number of a breeding place.", COUNT),
    "to_place": Meaning("To", "The number of another breeding place.", COUNT),
    "length_m": Meaning("Length", "Metres between the two.", METRES),
    "probability": Meaning("Probability of a flight", "Share of dispersal flights that get at least that far.", SHARE),
    "links.rank": Meaning("Rank", "1 where it is the likeliest flight of one of its ends, 2 the second, ...", COUNT),
    "candidates_lost.reason": Meaning("Reason", "Why no pool can stand there."),
    "cells": Meaning("Cells", "How many cells of the raster.", COUNT),
}


def meaning(table: str, column: str) -> Meaning:
    """What stands in a column of a table that `map` writes. Raises KeyError where the column is not known."""
    found = _MEANINGS.get(f"{table}.{column}") or _MEANINGS.get(column)
    if found is not None:
        return found
    kind = TABLES[table].kind
    for one in COLUMNS[kind] if kind else ():
        if one.name == column:
            title = one.entry.heading or one.name.replace("_", " ")
            unit = COUNT if one.dtype == "float64" else None
            return Meaning(title[:1].upper() + title[1:], one.help, unit, one.is_date)
    raise KeyError(f"{table}.{column}")


def meanings(table: str) -> dict[str, Meaning]:
    """The columns of a table, in their order, each with its meaning."""
    return {column: meaning(table, column) for column in TABLES[table].columns}
