"""Every word the page itself says, in one catalogue. Keys with a dot belong to a group that is looked up by value.

`{...}` in a text is filled in by the page's script, with numbers written as the reader's language writes them.
"""

from __future__ import annotations

WORDS: dict[str, str] = {
    # the frame
    "skip": "Skip to the plan",
    "kind_team": "Pool network, working map. Shows exact places: keep it within the team",
    "kind_public": "Pool network, public map. Private places are blurred",
    "as_of": "as of {date}",
    "map": "Map",
    "panel": "Plan and figures",
    "no_script": "This page needs JavaScript. It loads nothing and sends nothing.",
    "find": "Find",
    "find_name": "Name of a pool, street, park or suggestion",
    "found_n": "{n} found",
    "found_more": "{n} found; the first {shown} are shown",
    "name_shown": "{name} is shown on the map.",
    "name.land": "land",
    "name.water": "water",
    "name.main": "street",
    "name.road": "street",
    "name.foot": "path",
    "measure": "Measure",
    "measure_begin": "Choose a first point: click, or move the map with the arrow keys and press Enter at its middle.",
    "measure_next": "Now the next point. Backspace takes the last one back, Escape ends.",
    "measure_one": "{all} in a straight line on the ground (ellipsoid WGS 84).",
    "measure_legs": "{all} along all points, the last leg {last}; straight lines on the ground (ellipsoid WGS 84).",
    "view": "View",
    "look": "Look",
    "look.auto": "as on this device",
    "look.light": "light",
    "look.dark": "dark",
    "look.contrast": "high contrast",
    "language": "Language",
    "print_all": "Print the plan",
    "print_one": "Print this site",
    "address_holds": "The address of this page holds what you see: copy it to show others the same.",
    "too_old": "This browser is too old to open the map. Any browser updated since 2023 can.",
    "zoom_in": "Zoom in",
    "zoom_out": "Zoom out",
    "whole_area": "Show the whole area",
    "close": "Close",
    "credits": "Credits",
    # headline
    "brings": "What the plan brings",
    "headline": "Forage in reach",
    "headline_what": (
        "The share of the area’s open flowers that adults from a likely breeding place can be expected to reach, with "
        "pools occupied as today’s searches expect."
    ),
    "now": "now",
    "with_plan": "with all {n} suggested pools",
    "with_plan_one": "with the suggested pool",
    "with_first": "with the first {n} of {all} suggested pools",
    "ranges": "How far forage in reach with the plan is uncertain",
    "range_flight": "By how far adults fly (median)",
    "range_searches": "By what the searches leave open",
    "flight_share": "{m}: {share}",
    "bound": "Proven limit, with the flight that is assumed: no choice of {n} pools can lift it above {bound}.",
    "share_of_bound": "The plan brings at least {share} of the best possible gain.",
    "share_of_bound_other": "This plan is not made for reach; it still brings at least {share} of that possible gain.",
    "index_ha": "With the plan that is as much as {ha} ha in full flower.",
    "measured": "{share} of this forage is measured, not assumed for gardens or mowing.",
    "bar_label": "Forage in reach: {now} now, {with_plan} with the plan, at most {bound} possible.",
    "first_pools": "Show the first",
    "first_pools_value": "{n} of {all}",
    "no_reach": "Forage in reach could not be calculated here. The tab “Data” says what is missing.",
    "missing_short": "{n} inputs are missing or thin: see “Data”.",
    "missing_short_one": "One input is missing or thin: see “Data”.",
    # tabs
    "tabs": "Lists and notes",
    "tab_plan": "Plan",
    "tab_gaps": "Gaps",
    "tab_pools": "Pools",
    "tab_what_if": "What if",
    "tab_reading": "How to read",
    "tab_data": "Data",
    # plan
    "plan_caption": "Suggested pools, best first. Choose one to see it on the map and why it is there.",
    "plan_adds": (
        "Gains after the pools before it: in reach if occupied; likely served in the next {years} years, from the "
        "least to the most by where flies come from."
    ),
    "plan_none": "No pool is suggested. The tab “Data” says which land was ruled out and why.",
    "rank": "No.",
    "where": "Where and why",
    "adds": "In reach",
    "adds_served": "Likely served",
    "sure": "How sure",
    "why": "Why here",
    "doubt": "What could be wrong",
    "how_many": "How many are enough",
    "assumptions": "What the plan depends on",
    "ask_first": "Consent priorities",
    "ask_first_what": "What the plan would lose without this consent, with its pools placed on other land instead.",
    "ask_first_row": "{place}: consent adds {adds}",
    "ask_first_row_served": "{place}: consent adds {adds} of forage likely served",
    "caution": "Before a pool goes here",
    "cautions": "Before any pool is installed",
    "suggestion_short": "suggestion {rank}, {id}",
    "suggestion_name": "Suggestion {rank}, {id}: {place}",
    "suggestion_status": "Suggestion {rank} of {all}: {place}. Adds {gain} in reach.",
    "private_point": "In private gardens: no point is given. Ask for a host in this street or zone.",
    "fact_gain": "Adds in reach, if occupied",
    "fact_gain_value": "{gain} of the area’s forage",
    "fact_served_open": "Likely served in {years} years, if flies come from everywhere",
    "fact_served_closed": "Likely served in {years} years, if flies come from mapped places only",
    "fact_cumulative": "Cumulative forage in reach",
    "fact_occupancy": "Probability of larvae, if installed",
    "fact_robustness": "Stays in the plan",
    "fact_robustness_value": "in {share} of the simulations",
    "fact_consent": "Landowner consent",
    "fact_state": "State of this site",
    "in_hand": "The plan as work in hand",
    "brought": "The map shows the flowers that this pool alone brings into reach.",
    "brought_little": "little",
    "brought_much": "much",
    "near.children": "Nearest place where children play",
    "near.exclusion": "Nearest other exclusion zone",
    "near.path": "Nearest path or street",
    "near_value": "{name}, {far}",
    "fact_forage_m": "Nearest good forage",
    "fact_dead_wood_m": "Nearest dead wood or rot-hole tree",
    "fact_nearest_pool_m": "Nearest standing pool",
    "fact_point": "Latitude, longitude",
    "fact_grid": "x, y in {crs}",
    "unknown": "not known",
    "none": "none",
    "percent_range": "{value} ({low} to {high})",
    "consent.yes": "agreed",
    "consent.ask": "must be asked",
    "consent.no": "refused",
    "consent.provisional": "owner not known",
    "consent_long.yes": "Agreed in the land list. Have it in writing.",
    "consent_long.ask": "Not agreed yet. Ask the owner or tenant first, in writing.",
    "consent_long.no": "Refused.",
    "consent_long.provisional": "No record of who owns this land. Find out and ask first.",
    # gaps
    "gaps_caption": "Forage that no likely breeding place reaches, largest share first. Choose one to see it.",
    "gaps_first": "Of {all} gaps the {n} with most forage that is not likely reached. Choose one to see it.",
    "gaps_none": "No gap: all good forage lies within likely reach, or there was no forage to judge by.",
    "gap": "Gap {rank}",
    "gap_area": "Area",
    "gap_share": "Share of forage",
    "gap_cause": "Why nothing reaches it",
    "gap_streets": "Streets and paths in it",
    "gap_reach": "Probability that adults reach it now",
    "gap_forage": "Mean forage",
    "gap_status": "Gap {rank} of {all}: {area}.",
    # pools
    "pools_caption": "Pools that are or were out. Choose one to see it on the map.",
    "pools_none": "No pool has been installed yet.",
    "pools_find": "Find a pool by name",
    "pools_found": "{n} of {all} pools",
    "pools_more": "Show {n} more",
    "pool": "Pool",
    "last_look": "Last visit",
    "chance": "Probability of larvae",
    "chance_short": "Probability",
    "visits": "Searches",
    "visits_value": "{visits}, with larvae {detections}",
    "reach_lost": "Forage lost without it",
    "basis": "Estimate rests on",
    "land_cover": "Land cover",
    "place": "Place",
    "note": "Note",
    "flag": "Not scored",
    "no_visit": "No visit",
    "privacy": "Land",
    "privacy.yes": "private",
    "privacy.no": "public",
    "photo_alt": "Photo {file} of pool {name}",
    "pool_status": "Pool {name}: {outcome}.",
    "outcome.larvae": "larvae",
    "outcome.none seen": "none seen",
    "outcome.dry": "dry",
    "outcome.frozen": "frozen",
    "outcome.gone": "gone",
    "outcome.not reached": "not reached",
    "outcome.": "no visit yet",
    "flag.outside the data": "outside the data",
    "flag.outside the boundary": "outside the boundary",
    "flag.not standing": "not standing",
    # what if
    "try_what": (
        "Try pools out. Choose a site on the map, or press Enter at its middle, and a pool stands there; drag it to "
        "move it, or use the arrow keys. Choose a pool and it is gone. What is in reach, and what stays a gap, changes "
        "at once."
    ),
    "try_marker": "Pool {name}: arrow keys move it by one cell, Delete removes it",
    "try_moved": "Pool {name} moved: it adds {gain} of the area’s forage here.",
    "try_on": "Try pools out on the map",
    "try_off_button": "Stop trying out",
    "try_now": "with your changes",
    "try_begin": "Choose a site or a pool on the map.",
    "try_gain": "Your changes: {change} of the area’s forage.",
    "try_gaps": "Gaps: {share_before} of the forage before, {share_after} now.",
    "try_open": "Likely served in {years} years, if flies come from everywhere: {before} before, {after} now.",
    "try_closed": "If they come from mapped places only: {before} before, {after} now.",
    "try_served_assumes": ("Likely served: how easily pools are found and lost stays as it was before your changes."),
    "try_plan": "Add the suggested pools",
    "try_plan_done": "{n} of {all} suggestions stand; those on private land have no exact place here.",
    "try_clear": "Undo all",
    "try_save": "Save as a file",
    "try_saved": "Saved as committed.geojson.",
    "try_file": "{command} with the saved file makes a whole map of it.",
    "try_outside": "That is outside the data.",
    "try_refused": "No pool may stand there: {reason}.",
    "try_near": "Too near: {far} to {name}; pools keep {spacing} from each other.",
    "try_added": "Pool {name} added: +{gain} of the area’s forage.",
    "try_removed": "Pool {name} removed.",
    "try_out": "{name} taken out: {change} of the area’s forage less.",
    "try_back": "{name} put back: {change} of the area’s forage more.",
    "try_no_switch": "{name} does not stand today, or there are too many pools to take single ones out.",
    "try_item": "{name}, probability of larvae {p}",
    "try_item_out": "{name}, taken out",
    "try_remove": "Remove",
    "try_put_back": "Put back",
    "try_take_out": "Try without this pool",
    "try_assumes": (
        "Probability of larvae in a new pool, as for suggestions: {p}. All other probabilities stay as they are."
    ),
    "try_p_map": "the estimate for that site",
    "try_exact": "Calculated cell by cell: a full run with the same probabilities agrees to three digits.",
    "try_off": (
        "This area is large: calculated on blocks of {block}, which is within {off} of a full run for the plan."
    ),
    "try_caution": (
        "A site that is allowed here still needs the owner’s consent and a visit: children and water, old trees, "
        "protected animals. Local by-laws and the advice of licensed ecologists, qualified tree inspectors and health "
        "officers come first."
    ),
    "swatch_gap": "a gap still",
    # legend
    "legend": "Legend and layers",
    "theme": "Colour the map by",
    "theme_none": "nothing: a plain map",
    "theme_none_meaning": "Streets, waters and what covers the ground, pale, so that the marks stand out.",
    "month": "Month",
    "month_mean": "mean {mean}",
    "month_in_season": "in the season",
    "month_off_season": "outside the season",
    "month_lean": "least forage of the season",
    "marks": "Marks",
    "swatch_unknown": "not known",
    "swatch_other": "other",
    "swatch_least": "under {b}",
    "swatch_most": "{a} or more",
    "swatch_between": "{a}–{b}",
    "ground_water": "water",
    "ground_building": "building",
    "mark.suggestions": "Suggested pool, with its id",
    "mark.suggestions_private": "Zone of a suggestion in private gardens",
    "mark.suggestions_short": "Suggestions",
    "mark.gaps": "Gap, by rank",
    "mark.pools": "Pools",
    "pools_by.outcome": "by last visit",
    "pools_by.chance": "by probability of larvae",
    "dial": "filled part: the probability; line around: its likely range",
    "dial_none": "probability not known",
    "mark.links": "Links between breeding places",
    "mark.links_needed": "Links between breeding places: of {n} those that best paths need",
    "mark.links_strong": "likely (half or more)",
    "mark.links_weak": "less likely",
    "mark.land": "Land, by consent",
    "mark.keep_away": "Exclusion zones",
    "mark.trees": "Rot-hole trees, likely",
    "mark.all_trees": "All trees",
    "mark.lines": "Streets, paths, waterways, names",
    "mark.edge": "Less certain: near the edge of the data",
    "mark.tiles": "Online background: asks {host} for pictures",
    "mark.boundary": "Boundary of the area",
    "mark.cells": "Pools per square of {m}",
    "tree_diameter": "Diameter",
    "tree_likelihood": "Probability of a wet rot-hole",
    # themes: title, unit and meaning
    "theme.land_cover": "Land cover",
    "unit.land_cover": "class",
    "meaning.land_cover": "What covers the ground, as the area’s own data say.",
    "theme.forage_season": "Forage, whole season",
    "unit.forage_season": "0 to 1, season mean",
    "meaning.forage_season": "Open flowers that adults can use. 1 is land in full flower all season long.",
    "theme.forage_month": "Forage, month by month",
    "unit.forage_month": "0 to 1, in that month",
    "meaning.forage_month": (
        "Open flowers in the chosen month. Filled bars are the season, the ringed one the month with least forage."
    ),
    "theme.forage_lean": "Forage, month with least: {month}",
    "unit.forage_lean": "0 to 1, in that month",
    "meaning.forage_lean": "The same for the month of the season with least forage. What flowers then matters most.",
    "theme.forage_access": "Forage around each cell",
    "unit.forage_access": "0 to 1, weighted by flight distance",
    "meaning.forage_access": (
        "The season’s forage around a cell, as far as adults fly for food: what is near counts more."
    ),
    "theme.dead_wood": "Dead wood",
    "unit.dead_wood": "0 to 1",
    "meaning.dead_wood": "Standing and fallen dead wood and rot-hole trees, the natural breeding places.",
    "theme.reach_now": "Reach now",
    "unit.reach_now": "probability, 0 to 100 %",
    "meaning.reach_now": "How likely adults from any breeding place known today get here.",
    "theme.reach_try": "Reach with your changes",
    "unit.reach_try": "probability, 0 to 100 %",
    "meaning.reach_try": "How likely adults get here from what stands and what you try out, and what stays a gap.",
    "theme.reach_with_plan": "Reach with the plan",
    "unit.reach_with_plan": "probability, 0 to 100 %",
    "meaning.reach_with_plan": "The same once all suggested pools stand.",
    "theme.reach_added": "What the plan adds to reach",
    "unit.reach_added": "added probability, 0 to 100 %",
    "meaning.reach_added": "Reach with the plan less reach now.",
    "theme.occupancy": "Probability that a pool here holds larvae",
    "unit.occupancy": "probability, 0 to 100 %",
    "meaning.occupancy": (
        "For a pool installed here. Grey where the searched pools say nothing about such surroundings."
    ),
    "here": "At this point",
    # how to read
    "reading_1_head": "What the map shows",
    "reading_1": (
        "Certain hoverflies grow up in water-filled rot-holes of old trees. Small pools stand in for them. The map "
        "asks where one more pool brings most flowers within flight of a place where they can breed."
    ),
    "reading_2_head": "Forage in reach",
    "reading_2": (
        "Every cell counts by its flowers and by the probability that adults get there from at least one breeding "
        "place. A pool that is probably empty counts for little, one that is probably occupied for much."
    ),
    "reading_served_head": "Forage likely served",
    "reading_served": (
        "A new pool is empty at first. It counts once flies find it, it may be lost again, and it sends flies on to "
        "others. Forage likely served is the mean of the next {years} years. Nobody knows whether flies come from "
        "mapped places only or from others too, so both are shown; the truth may lie between."
    ),
    "reading_3_head": "The order of the plan",
    "reading_3": (
        "Number 1 adds most by itself. Each next one adds most once those before it stand: you can stop after any "
        "number. “How sure” is the share of simulations, with other probabilities for every pool, that keep this "
        "site."
    ),
    "reading_4_head": "Probabilities are not certainties",
    "reading_4": (
        "“None seen” does not mean empty: larvae are often missed. The probability of larvae uses every search "
        "and comes with a range. It applies to pools where people put them. Dry, frozen, gone and not reached "
        "tell nothing about larvae."
    ),
    "reading_5_head": "Grey, gaps and private land",
    "reading_5": (
        "Grey means not known, which is not the same as nothing. A gap is good forage that no known breeding "
        "place is likely to reach; there may be rot-holes that nobody has recorded. On private land the plan "
        "names a street or zone, never a point."
    ),
    "reading_6_head": "How far adults fly is not settled",
    "reading_6": (
        "This map takes a median flight of {forage} m for food ({dispersal} m to settle elsewhere): expert judgement. "
        "100 to 500 m and 250 to 1000 m are both possible; small changes of rank mean nothing."
    ),
    "reading_keys_head": "By keyboard",
    "reading_keys": (
        "Arrow keys move within a list and between tabs, Enter shows an entry on the map, Escape closes it. On the "
        "map, arrow keys move it, plus and minus zoom, and Enter is a click on its middle."
    ),
    # data
    "missing_head": "What is missing",
    "missing_none": "Nothing essential.",
    "intake_head": "What was read",
    "intake_kind": "Input",
    "intake_read": "read",
    "intake_accepted": "used",
    "intake_set_aside": "set aside",
    "set_aside_head": "Why rows were set aside",
    "set_aside_none": "No row was set aside.",
    "set_aside_row": "{file}: {n} × {reason}",
    "candidates_head": "Where a pool could go",
    "candidates_text": "{left} of {all} cells were open to a pool. The others were ruled out by:",
    "occupancy_head": "Pools with larvae",
    "occupancy_text": (
        "Season {season}: larvae were seen in {naive} of {n} searched pools. Of the {pools} of them that still stand, "
        "{occupied} likely held larvae. A pool like these holds larvae with a probability of {estimate} "
        "({low} to {high})."
    ),
    "occupancy_nothing": "No pool has been searched yet: how many hold larvae is not known.",
    "occupancy_none": (
        "Season {season}: larvae were seen in {naive} of {n} searched pools. The searches are too few to estimate more."
    ),
    "from_to": "{low} to {high}",
    "network_head": "Network",
    "network_text": "Breeding places: {places}. Groups linked by flight: {components}.",
    "network_costliest": "{name} matters most: if it were lost, the network would lose {share} of its connectivity.",
    "network_cuts": "Without it the network falls apart.",
    "show_place": "Show it on the map",
    "notes_head": "Notes",
    "credits_head": "Credits",
    "drawn_with": "Drawn with Leaflet.",
    # public
    "public_head": "What was blurred",
    "public_blur": (
        "Everything on this page was computed after places had been moved to the middle of a square of {m}. No pool, "
        "garden, host or visit is shown."
    ),
    "public_few": "Squares with fewer than {n} pools, or fewer than {n} of them in gardens, do not show those pools.",
    "public_plan": (
        "Suggestions on private land are left out of this page. The sites here have letters, as they are not the sites "
        "of the team’s map: this page is calculated from blurred places, so its sites and its figures can "
        "differ from those."
    ),
    "cell_count": "{n} pools in this square",
}
