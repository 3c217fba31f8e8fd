"""The columns of the tables that commands besides `map` write; the last part of guide/columns.md is made from this."""

from __future__ import annotations

from typing import NamedTuple


class Table(NamedTuple):
    """A table of a command: what its rows are, and what stands in each column."""

    about: str
    columns: dict[str, str]


_INTERVAL = {"low": "Lower end of the 95 % interval.", "high": "Upper end of the 95 % interval."}
_KIND_OF_POOL = {
    "factor": "What is compared: container, filling, shade or volume.",
    "level": "Which of them, such as bucket.",
}
_WAY = {
    "tail": "How far flights go: fat tail or thin tail.",
    "unmapped": "Share of arrivals from places nobody mapped (0 to 1); empty: all shares together.",
}

OTHER_TABLES = {
    "survey/estimates.csv": Table(
        "A row for each figure about the survey as a whole.",
        {
            "figure": "Which figure.",
            "value": "Its value, 0 to 1.",
            **_INTERVAL,
            "se": "Its standard error.",
            "method": "How it was estimated.",
            "basis": "What it rests on.",
        },
    ),
    "survey/pools.csv": Table(
        "A row for each pool.",
        {
            "pool": "The pool's name.",
            "searches": "Searches in the season of the estimate.",
            "found": "How many of them found larvae.",
            "visits": "Searches in all seasons.",
            "detections": "How many of them found larvae.",
            "occupancy": "Probability that the pool holds larvae on the day of the map (0 to 1).",
            "occupancy_low": "Lower end of its 95 % interval.",
            "occupancy_high": "Upper end of its 95 % interval.",
            "basis": "What that probability rests on.",
            "last_seen": "The season in which larvae were last seen.",
            "more_needed": "Further searches without larvae until it is 95 % certain that the pool is empty.",
            "value": "What one more search would teach, the more the larger (0 to 1).",
            "stands": "Whether the pool stands.",
            "may_visit": "Whether it stands and may be visited: no consent is refused or has expired.",
        },
    ),
    "survey/models.csv": Table(
        "A row for each model that was compared, the best first.",
        {
            "psi": "What occupancy depends on in it; empty: on nothing.",
            "p": "What detection depends on in it; empty: on nothing.",
            "covariates": "How many covariates.",
            "coefficients": "How many coefficients were estimated.",
            "minus2loglik": "Minus twice the log likelihood.",
            "aic": "Akaike's criterion, the less the better.",
            "delta": "How much more than the best.",
            "weight": "Akaike weight (0 to 1).",
            "mean_psi": "Mean occupancy over the sites (0 to 1).",
            "mean_psi_se": "Its standard error.",
            "identifiable": "Whether all coefficients could be estimated.",
            "why": "Why not, or why the model was not tried.",
        },
    ),
    "survey/effects.csv": Table(
        "A row for each comparison of a covariate between two of its values.",
        {
            "part": "Occupancy or detection.",
            "covariate": "Which covariate.",
            "from": "The first value: the lower quartile, or the commonest kind.",
            "to": "The second value.",
            "probability_from": "Probability at the first value (0 to 1).",
            "probability_to": "Probability at the second value (0 to 1).",
            "difference": "Their difference.",
            **_INTERVAL,
            "odds_per_sd": "Factor on the odds for one standard deviation; numbers only.",
            "words": "Whether the two are distinguishable.",
        },
    ),
    "survey/effort.csv": Table(
        "A row for each way to search next season: the same number of visits everywhere, or until larvae are found.",
        {
            "design": "standard: as many visits everywhere; removal: until larvae are found.",
            "best_visits": "Visits a pool with the least error for the same effort; the most, where one stops earlier.",
            "pools_for_0.05": "Pools needed for a standard error of 5 points.",
            "pools_for_0.1": "Pools needed for a standard error of 10 points.",
            "hours": "Hours that may be spent.",
            "visits": "Visits a pool that they pay for.",
            "pools": "Pools that they pay for.",
            "error": "The standard error that gives (0 to 1).",
            "hours_needed": "Hours that takes.",
            "standing": "Places whose pools stand today.",
        },
    ),
    "survey/pool_types.csv": Table(
        "A row for each kind of pool.",
        {
            **_KIND_OF_POOL,
            "pools": "Pools searched.",
            "searches": "Searches.",
            "searches_per_pool": "Searches a pool.",
            "pools_with": "Pools in which larvae were found.",
            "share": "Share of pools with larvae (0 to 1).",
            "share_low": "Lower end of its 95 % interval.",
            "share_high": "Upper end of its 95 % interval.",
            "searches_with": "Searches that found larvae.",
            "counted": "Pools whose larvae were always counted.",
            "larvae_per_search": "Larvae a search in these.",
        },
    ),
    "survey/differences.csv": Table(
        "A row for each comparison of two kinds of pools by one measure.",
        {
            **_KIND_OF_POOL,
            "other": "With which it is compared: the commonest.",
            "measure": "By what.",
            "estimate": "The difference of shares, or the ratio of odds or counts.",
            **_INTERVAL,
            "low_all": "Lower end of the interval that holds for all comparisons together.",
            "high_all": "Upper end of the interval that holds for all comparisons together.",
            "words": "Whether the two are distinguishable.",
        },
    ),
    "survey/similar_names.csv": Table(
        "A row for each name that may mean the same as another.",
        {
            "factor": "Container or filling.",
            "proposed": "The name that is proposed for all of them.",
            "name": "A name as it was written.",
            "pools": "In how many pools.",
        },
    ),
    "survey/species_by_pool_type.csv": Table(
        "A row for each species in each kind of pool.",
        {**_KIND_OF_POOL, "taxon": "The checked species.", "pools": "In how many pools."},
    ),
    "survey/lifetimes.csv": Table(
        "A row for each pool with a day of installing.",
        {
            "pool": "The pool's name.",
            "set_out": "The day it was installed.",
            "days": "How long it was followed.",
            "end": "How that ended.",
            "lost": "Whether it counts as lost.",
            "cause": "Why, by the notes.",
            "stated": "The texts that say so.",
            "last_seen": "The day somebody last saw it.",
        },
    ),
    "survey/standing.csv": Table(
        "A row for each day after installing on which pools were lost.",
        {
            "days": "Days since installing.",
            "at_risk": "Pools that had lasted so long.",
            "lost": "Pools lost on that day.",
            "share": "Share that still stands (0 to 1).",
            **_INTERVAL,
            "share_if_all_lost": "That share if every pool taken in without a stated reason was lost.",
        },
    ),
    "survey/incidents.csv": Table(
        "A row for each kind of what went wrong.",
        {
            "kind": "What went wrong.",
            "count": "How often.",
            "pool_months": "Months that pools stood, all together.",
            "per_100": "How often in 100 months of a pool.",
            **_INTERVAL,
        },
    ),
    "survey/complaints.csv": Table(
        "A row for each text that was taken for a complaint.",
        {"pool": "The pool's name.", "date": "The day.", "word": "The word that made it one.", "text": "The text."},
    ),
    "rounds/rounds.csv": Table(
        "A row for each pool that is due, by person and in walking order.",
        {
            "week": "The week.",
            "person": "Who goes.",
            "order": "Its number in the walk.",
            "pool": "The pool's name.",
            "why": "What to do there and why, in a sentence.",
            "reason": "Why it is due.",
            "top_up": "Whether to top it up.",
            "water_l": "Litres to bring.",
            "leg_m": "Metres from the pool before, 0 at the first of an outing.",
            "caution": "What to mind there.",
            "private": "Whether it stands on private land.",
            "host": "Whom to ask.",
            "container": "What the pool is.",
            "note": "The pool's note.",
            "last_visit": "The day of the last visit.",
            "last_outcome": "What it found.",
            "x": "Metres east in the system of the area.",
            "y": "Metres north in the system of the area.",
            "lon": "Degrees east, WGS 84.",
            "lat": "Degrees north, WGS 84.",
            "group": "The group that looks after the pool.",
            "day": "The day of the outing; empty: any day of the week.",
            "time": "When on that day; empty: any time.",
            "by": "How the person gets there: foot, bicycle or car.",
            "minutes": "Minutes from the pool before and at the pool.",
        },
    ),
    "outlook/ranks.csv": Table(
        "A row for each way to choose, the best first.",
        {
            **_WAY,
            "window": "Over which years: planned years (the first ten) or last years (the last five).",
            "strategy": "The way to choose.",
            "rank": "Its rank by forage in reach.",
            "forage_in_reach": "Share of the forage within flight of occupied places, mean of those years (0 to 1).",
            "occupied_places": "Occupied places, mean of those years.",
            "first_share": "Share of the simulations in which it came first (0 to 1).",
        },
    ),
    "outlook/differences.csv": Table(
        "A row for each comparison of the plan with another way to choose, in the same simulations.",
        {
            **_WAY,
            "window": "Over which years: planned years (the first ten) or last years (the last five).",
            "measure": "What is compared: forage in reach or occupied places.",
            "other": "The other way to choose.",
            "difference": "The plan less the other.",
            **_INTERVAL,
            "better_share": "Share of the simulations in which the plan did better (0 to 1).",
            "worse_share": "Share of the simulations in which it did worse (0 to 1).",
            "simulations": "How many simulations.",
        },
    ),
    "outlook/years.csv": Table(
        "A row for each year and way to choose.",
        {
            **_WAY,
            "strategy": "The way to choose.",
            "year": "The year, 0 being today.",
            "forage_in_reach": "Share of the forage within flight of occupied places (0 to 1).",
            "occupied_places": "Occupied places.",
        },
    ),
    "outlook/staging.csv": Table(
        "A row for each order of installing.",
        {
            **_WAY,
            "installing": "All at once, or two a year.",
            "first_year": "The first year that counts.",
            "last_year": "The last year that counts.",
            "gain": "Forage in reach gained over no new pools, mean of those years (0 to 1).",
            **_INTERVAL,
            "simulations": "How many simulations.",
        },
    ),
    "compare/pools.csv": Table(
        "A row for each change of a pool from the earlier season to the later one.",
        {
            "change": "What happened: gained, lost, moved, renamed, came and went.",
            "pool": "The pool's name in the later season.",
            "old_name": "Its name in the earlier season; empty: it was not there.",
            "x": "Where it is in the later season, metres in the area's system.",
            "y": "The same, northward.",
            "old_x": "Where it was in the earlier season.",
            "old_y": "The same, northward.",
            "moved_m": "How far it moved, in metres.",
            "why": "How the change is known.",
            "day": "The day of installing or of taking in, where the list tells it.",
        },
    ),
    "compare/sites.csv": Table(
        "A row for each site of the earlier plan.",
        {
            "rank": "Its rank in the plan.",
            "id": "Its id.",
            "place": "What the plan called its place.",
            "state": "What became of it.",
            "pool": "The pool that was installed there.",
            "off_m": "How far that pool is from the site, in metres (a private site's is the middle of its square).",
            "private": "Whether the site is on private land.",
            "x": "Where the site is, metres in the area's system (of a private site: the middle of its square).",
            "y": "The same, northward.",
        },
    ),
    "compare/elsewhere.csv": Table(
        "A row for each pool that was installed at no suggested site.",
        {
            "pool": "The pool's name.",
            "x": "Where it is, metres in the area's system.",
            "y": "The same, northward.",
            "nearest_site": "The nearest site of the earlier plan.",
            "off_m": "How far off that is, in metres.",
        },
    ),
    "compare/causes.csv": Table(
        "What each cause adds to the change of a figure; the row `all` is the whole change.",
        {
            "figure": "now: forage in reach; with_plan: the same with its season's plan; occupancy: as estimated.",
            "cause": "What changed, in the stated order.",
            "forward": "What it adds in this order (a share, 0 to 1).",
            "backward": "What it adds in the reverse order.",
        },
    ),
}
