"""Who goes where this week: which pools are due and why, shared out among people, each in walking order.

A pool is due by the rules below; their days stand in area.toml under [rounds]. A pool that is gone, removed or not yet
set out is never due. Every pool that is due goes to exactly one person, and all people get as many, give or take one.
"""

from __future__ import annotations

import datetime
import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from habitatmap.area import Area
from habitatmap.errors import InputError
from habitatmap.fieldwork.footpaths import Footpaths, along_paths, straight_lines
from habitatmap.fieldwork.limits import Trips, share_within, urgency
from habitatmap.fieldwork.routes import shares, shortest_routes, straight, walk_m
from habitatmap.privacy import is_private
from habitatmap.read.days_out import out_by, out_from
from habitatmap.read.observers import names_in, observer_key
from habitatmap.read.people import By, Person, Window, needing_keys
from habitatmap.read.pools import no_visits, standing
from habitatmap.read.settings import RoundsSettings
from habitatmap.sentences import Quantity, Sentence, apart, count, say

PRACTICE, JUDGEMENT = "common practice, no source", "expert judgement"


class Due(StrEnum):
    """Why a pool is due; of several reasons the first in this order is its main one."""

    FOUND_DRY = "found dry"
    FIRST_SEARCH = "first search"
    HOT_WEEK = "hot week"
    REGULAR = "regular visit"
    ONE_MORE = "one more search"


# reason -> its rule, and what the rule rests on
RULES = {
    Due.FOUND_DRY: ("found dry {dry_days} days ago or more, and not seen with water since", PRACTICE),
    Due.FIRST_SEARCH: ("set out {first_days} to {first_until} days ago and not searched since", PRACTICE),
    Due.HOT_WEEK: ("the week is one of hot_weeks and nobody was there for {hot_days} days", PRACTICE),
    Due.REGULAR: ("in the season, {visit_days} days or more since anybody was there", PRACTICE),
    Due.ONE_MORE: ("one of the {extra_visits} other pools where one more search teaches most", JUDGEMENT),
}
TOP_UP = (Due.FOUND_DRY, Due.HOT_WEEK)
# water to carry, as a share of the container's volume: half of it is litter; the rest is what has dried up
WATER = {Due.FOUND_DRY: 0.5, Due.HOT_WEEK: 0.25}
WATER_ELSE = 0.1
REMARK_EFFORT = 0.2  # of what a walk that is gone by costs: the walks of the remark are compared, not walked
REMARK_SAVING = 0.2  # how much shorter the walks must be elsewhere before it is said
MOST_PEOPLE = 500
STOPS = {
    "person": "str",
    "order": "int64",
    "pool": "str",
    "x": "float64",
    "y": "float64",
    "leg_m": "float64",
    "reason": "str",
    "why": "str",
    "top_up": "str",
    "water_l": "float64",
    "last_visit": "datetime64[s]",
    "last_outcome": "str",
    "last_person": "str",
    "private": "str",
    "host": "str",
    "container": "str",
    "note": "str",
    "not_reached": "datetime64[s]",
    "day": "str",
    "time": "str",
    "by": "str",
    "minutes": "float64",
}
_KMH = {By.FOOT: 4.5, By.BICYCLE: 12.0, By.CAR: 25.0}  # common practice, no source
PARK_MIN = 5.0  # to park the car and walk to the pool (expert judgement)
ROAD = 1.3  # how much longer a way by road is than the straight line (expert judgement)


class Undone(StrEnum):
    """Why a pool that is due goes to nobody."""

    KEY = "nobody with its key comes"
    NOBODY = "nobody who comes may be sent there"
    KEY_TIME = "who has its key has no time left"
    TIME = "nobody has time left"


class Outing(NamedTuple):
    """One person's way of one day: `day` and `time` are "" where nobody said; points by number, in order."""

    person: str
    by: By
    day: str
    time: str
    walk: list[int]


@dataclass(frozen=True)
class Week:
    """An ISO week, Monday to Sunday."""

    name: str
    monday: datetime.date

    @property
    def sunday(self) -> datetime.date:
        return self.monday + datetime.timedelta(days=6)


@dataclass(frozen=True)
class Rounds:
    """One week's rounds of an area. `stops`: STOPS, one row per pool that is due, by person and order.

    leg_m: from the stop before, 0 at the first of an outing; minutes: the way there and the visit; day, time: when, ""
    where nobody said; by: foot, bicycle or car; `lines`: for each person the ways of their outings as positions in the
    area's CRS; `counts`: due pools by main reason; `rules`: reason, rule, basis; `standing`: how many pools stand;
    `along`: what the walks follow; `withheld`: pool, no_visit (`NoVisit`) and consent_until of the standing pools that
    nobody may visit; `notes`: sentences about what could not be done as asked; `undone`: the due pools that go to
    nobody, most urgent first, with `undone` (`Undone`) and `holders` of the key; `group`: whose pools they are, "" for
    the area's own or all.
    """

    area: Area
    week: Week
    people: list[str]
    stops: pd.DataFrame
    lines: dict[str, list[NDArray[np.float64]]]
    counts: dict[Due, int]
    rules: list[tuple[Due, Sentence, str]]
    standing: int
    along: str
    withheld: pd.DataFrame
    notes: list[Sentence]
    undone: pd.DataFrame
    group: str = ""

    @property
    def due(self) -> int:
        """How many pools are due, whether anybody goes there or not."""
        return len(self.stops) + len(self.undone)

    def walk_m(self, person: str | None = None) -> float:
        """Metres of one person's walk, or of all."""
        mine = self.stops if person is None else self.stops[self.stops["person"] == person]
        return float(mine["leg_m"].sum())

    def hours(self, person: str) -> float:
        """Hours of one person's week: from their first pool of each outing to the last, visits included."""
        return float(self.stops.loc[self.stops["person"] == person, "minutes"].sum()) / 60


def read_week(text: str, where: str = "--week") -> Week:
    """`2026-W20` as a week. Raises InputError for anything else, a week that the year doesn't have among it."""
    found = re.fullmatch(r"\s*([0-9]{4})-?[Ww]([0-9]{1,2})\s*", text)
    if not found:
        raise InputError(f"{where} {text} can't be read; write year and week of the ISO calendar, such as 2026-W20")
    year, number = int(found[1]), int(found[2])
    if not 1900 <= year < 2200:
        raise InputError(f"{where} {text}: the year {year} is out of reach; give one from 1900 to 2199")
    try:
        monday = datetime.date.fromisocalendar(year, number, 1)
    except ValueError:
        last = datetime.date(year, 12, 28).isocalendar().week
        raise InputError(f"{where} {text}: there is no such week; {year} has the weeks 1 to {last}") from None
    return Week(f"{year}-W{number:02d}", monday)


def week_of(day: datetime.date) -> Week:
    """The week that holds a day."""
    year, number, _ = day.isocalendar()
    return Week(f"{year}-W{number:02d}", day - datetime.timedelta(days=day.weekday()))


def known_on(as_of: datetime.date, week: Week) -> datetime.date:
    """The day whose knowledge a week's rounds rest on: as_of, but for a week gone by the Sunday before it."""
    return as_of if as_of <= week.sunday else week.monday - datetime.timedelta(days=1)


# --- what is due ------------------------------------------------------------------------------------------------------


def due(
    pools: pd.DataFrame,
    visits: pd.DataFrame,
    as_of: datetime.date,
    week: Week,
    rules: RoundsSettings,
    months: Sequence[int],
    teaches: Sequence[str] = (),
) -> pd.DataFrame:
    """Pools that are due in the week, in the order of `pools`: its columns and those of STOPS that are about visits.

    `months`: the season's; `teaches`: pools in the order in which one more search teaches most.
    """
    day, monday, sunday = known_on(as_of, week), pd.Timestamp(week.monday), pd.Timestamp(week.sunday)
    # set out by the week's end and not taken in or lost before, by what was known then and by what is known now
    up = _up(pools, visits, day, max(day, week.sunday)) & _up(pools, visits, as_of, max(as_of, week.sunday))
    here = pools[up].copy()
    past = visits[(visits["date"] <= pd.Timestamp(day)) & visits["pool"].isin(here["pool"])]
    start = out_from(here).set_axis(here["pool"])
    past = past[~(past["date"] < start.reindex(past["pool"]).to_numpy())]
    reached = past[past["outcome"] != "not reached"]
    # of two visits on one day the drier one is believed, in whatever order they were written down
    reached = reached.assign(dry=reached["outcome"] == "dry")
    reached = reached.sort_values(["pool", "date", "dry", "outcome", "observer"], kind="stable")
    last = reached.drop_duplicates("pool", keep="last")
    last = last.set_index("pool").reindex(here["pool"])
    tried = past[past["outcome"] == "not reached"].groupby("pool")["date"].max().reindex(here["pool"])
    here["last_visit"] = last["date"].to_numpy()
    here["last_outcome"] = last["outcome"].fillna("").to_numpy()
    here["last_person"] = last["observer"].fillna("").to_numpy()
    here["not_reached"] = tried.where(~(tried <= last["date"]), pd.NaT).to_numpy()

    since = (sunday - here["last_visit"]).dt.days
    age = (sunday - out_by(here)).dt.days
    season = bool({(week.monday + datetime.timedelta(days=k)).month for k in range(7)} & set(months))
    hot = week.name in {read_week(text, "area.toml: rounds.hot_weeks").name for text in rules.hot_weeks}
    never = here["last_visit"].isna()
    hits = {
        Due.FOUND_DRY: (here["last_outcome"] == "dry") & (since >= rules.dry_days),
        Due.FIRST_SEARCH: never & (age >= rules.first_days) & (age < rules.visit_days),
        Due.HOT_WEEK: hot & ((monday - here["last_visit"]).dt.days.fillna(np.inf) >= rules.hot_days),
        Due.REGULAR: season & ((since >= rules.visit_days) | (never & ~(age < rules.visit_days))),
    }
    asked = pd.DataFrame(hits).any(axis=1)
    free = set(here.loc[~asked & ~(since < 7), "pool"])
    others = [name for name in teaches if name in free]
    chosen = others[: rules.extra_visits] if season else []
    hits[Due.ONE_MORE] = here["pool"].isin(chosen)
    table = pd.DataFrame(hits)
    here["reason"] = [next((r for r in Due if row[r]), "") for row in table.to_dict("records")]
    here = here[here["reason"] != ""].reset_index(drop=True)
    here["top_up"] = np.where(here["reason"].isin(TOP_UP), "yes", "no")
    here["water_l"] = here["volume_l"] * [WATER.get(reason, WATER_ELSE) for reason in here["reason"]]
    facts = zip(here["reason"], here["last_visit"], here["last_outcome"], strict=True)
    here["why"] = [str(why_due(Due(reason), visit, outcome)) for reason, visit, outcome in facts]
    return here


def _up(pools: pd.DataFrame, visits: pd.DataFrame, known: datetime.date, on: datetime.date) -> NDArray[np.bool_]:
    """Which pools stand on the day `on` by what was known on the day `known`."""
    return standing(pools, visits[visits["date"] <= pd.Timestamp(known)], on)


WHAT_TO_DO = {
    Due.FOUND_DRY: "top up and search: it was dry",
    Due.FIRST_SEARCH: "first search after setting out",
    Due.HOT_WEEK: "top up: hot week",
    Due.REGULAR: "search and top up",
    Due.ONE_MORE: "one more search teaches most here",
}


def why_due(reason: Due, visit: pd.Timestamp, outcome: str) -> Sentence:
    """One pool's reason in words; `visit`: the last one, NaT without any."""
    last = Sentence("no visit on record")
    if not pd.isna(visit):
        there = "last there {day} ({outcome})" if outcome else "last there {day}"
        last = say(there, day=visit.date(), outcome=Sentence(outcome))
    return say("{what}; {last}", what=Sentence(WHAT_TO_DO[reason]), last=last)


# --- who goes ---------------------------------------------------------------------------------------------------------


def observers(visits: pd.DataFrame, day: datetime.date) -> dict[str, str]:
    """The people named in visits of the latest year with any, up to the day: key of a name -> the name as written.

    Several names in one cell stand apart by ; / & or +. Case and doubled blanks make no other person.
    """
    past = visits[(visits["date"] <= pd.Timestamp(day)) & (visits["observer"].str.strip() != "")]
    past = past[past["date"].dt.year == past["date"].dt.year.max()]
    names = sorted({name for cell in past["observer"] for name in names_in(cell)})
    return {observer_key(name): name for name in reversed(names)}


def choose_people(asked: Sequence[str], rules: RoundsSettings, known: dict[str, str]) -> tuple[list[str], bool]:
    """The people who go, and whether they are only a number of people without names.

    `asked`: names, or one number; without any, those of area.toml, else everybody `known` (see `observers`). Raises
    InputError for a name that neither knows, and for a number that is none.
    """
    listed = {observer_key(name): " ".join(name.split()) for name in rules.people if name.strip()}
    if len(asked) == 1 and re.fullmatch(r"\s*[-+]?[0-9.]+\s*", asked[0]):
        number = int(asked[0]) if asked[0].strip().isdecimal() else 0
        if not 1 <= number <= MOST_PEOPLE:
            raise InputError(f"--people {asked[0]}: give a whole number from 1 to {MOST_PEOPLE}, or names")
        return [f"person {i + 1:0{len(str(number))}d}" for i in range(number)], True
    everybody = known | listed
    chosen = {}
    for name in asked:
        if observer_key(name) not in everybody:
            near = difflib.get_close_matches(observer_key(name), list(everybody), n=1, cutoff=0.6)
            hint = f"did you mean {everybody[near[0]]}?" if near else "nobody is"
            if everybody and not near:
                hint = f"known are {', '.join(sorted(everybody.values())[:10])}"
            raise InputError(
                f"--people {name}: nobody of this name is among the visits' observers, in people.* or in area.toml "
                f"([rounds] people); {hint if everybody else 'name them there, or give a number of people'}"
            )
        chosen[observer_key(name)] = everybody[observer_key(name)]
    people = chosen or listed or known
    return sorted(people.values(), key=lambda name: (observer_key(name), name)), False


def share_out(
    distances: NDArray[np.float64], people: Sequence[str], last: Sequence[str], by: str, effort: float = 1.0
) -> dict[str, list[int]]:
    """Who goes to which points, in walking order. `last`: for each point the cell that names whom it knows.

    By "shortest walk" the walks are as short as can be found, and each goes to whom knows most of its points. By "last
    visitor" as many points as equal loads allow stay with whom was there last, and the rest go to whom is near.
    """
    points = len(last)
    knows = _known_by(last, people)
    if by == "shortest walk":
        walks = shortest_routes(distances, len(people), effort)
        # equal loads first: the walks differ by one point at most, so any person may take any walk
        common = np.array([[knows[walk, k].sum() for k in range(len(people))] for walk in walks])
        of = linear_sum_assignment(common.reshape(len(people), -1), maximize=True)[1]
        return {people[k]: walk for k, walk in sorted(zip(of, walks, strict=True), key=lambda pair: pair[0])}
    mine = _assign(distances, knows)
    found = {}
    for k, person in enumerate(people):
        own = np.flatnonzero(mine == k)
        order = (
            shortest_routes(distances[np.ix_(own, own)], 1, min(effort, 2 * effort * len(own) / points))[0]
            if len(own)
            else []
        )
        found[person] = [int(own[i]) for i in order]
    return found


def _known_by(last: Sequence[str], people: Sequence[str]) -> NDArray[np.bool_]:
    """Which points (rows) which people (columns) know, by the cell that names who was there."""
    keys = [observer_key(person) for person in people]
    named = {cell: {observer_key(name) for name in names_in(cell)} for cell in set(last)}
    told = {cell: [key in names for key in keys] for cell, names in named.items()}
    return np.array([told[cell] for cell in last], dtype=bool).reshape(len(last), len(people))


def _assign(distances: NDArray[np.float64], knows: NDArray[np.bool_]) -> NDArray[np.int64]:
    """A person for each point, loads equal but for one: most points with whom knows them, then the least distance."""
    points, people = knows.shape
    if not points:
        return np.empty(0, dtype=np.int64)
    # from each point to the nearest one that a person knows
    far = distances.max(initial=0.0) + 1.0
    away = np.array([distances[:, knows[:, k]].min(axis=1, initial=far) for k in range(people)]).T
    cost = away + np.where(knows, 0.0, points * (far + 1.0))
    most = int(shares(points, people)[0])
    slots = np.repeat(np.arange(people), most)
    # nobody may lack more than one: rows that are no points may take the last slot of a person only
    spare = len(slots) - points
    nobody = np.where(np.arange(len(slots)) % most == most - 1, 0.0, points * far * points * 1e3)
    table = np.vstack([cost[:, slots], np.tile(nobody, (spare, 1))])
    row, slot = linear_sum_assignment(table)
    return np.asarray(slots[slot[np.argsort(row)]][:points])


# --- the job ----------------------------------------------------------------------------------------------------------


def groups_of(area: Area) -> list[str]:
    """The groups whose lists the area's pools are in, "" for its own, which come first."""
    return sorted(set(area.pools["group"]))


def choose_group(asked: str, area: Area) -> str:
    """The group that somebody asks for by its name. InputError where no pool is in its list."""
    known = {observer_key(group): group for group in groups_of(area) if group}
    if observer_key(asked) not in known:
        have = ", ".join(known.values()) or "none"
        raise InputError(f"--group {asked}: no list of pools is of this group; the folder groups/ has {have}")
    return known[observer_key(asked)]


def of_group(area: Area, group: str) -> Area:
    """The area with the pools of one group alone, and their visits; people are those of area.toml who went there."""
    pools = area.pools[area.pools["group"] == group].reset_index(drop=True)
    visits = area.visits[area.visits["pool"].isin(pools["pool"])].reset_index(drop=True)
    if not group:
        return replace(area, pools=pools, visits=visits)
    rules, there = area.settings.rounds, observers(visits, area.as_of)
    own = rules.model_copy(update={"people": [name for name in rules.people if observer_key(name) in there]})
    settings = area.settings.model_copy(update={"title": f"{area.title}, {group}", "rounds": own})
    return replace(area, pools=pools, visits=visits, settings=settings)


def team_of(team: Sequence[Person] | None, area: Area, group: str) -> list[Person] | None:
    """The people of the table who are of a group: who is listed for it, and of the others who was at its pools."""
    if team is None or not group:
        return list(team) if team is not None else None
    there = observers(area.visits, area.as_of)
    named = {observer_key(one.name): {observer_key(name) for name in one.groups} for one in team}
    return [
        p
        for p in team
        if observer_key(group) in named[observer_key(p.name)] or (not p.groups and observer_key(p.name) in there)
    ]


def plan_rounds(
    area: Area, week: Week, asked: Sequence[str] = (), teaches: Sequence[str] = (), team: Sequence[Person] | None = None
) -> Rounds:
    """The rounds of a week. `asked`: names of people, or one number; see `choose_people`. Raises InputError.

    `teaches`: pools in the order in which one more search teaches most; `team`: the area's table of people (see
    `read_people`), None without one.
    """
    rules, day = area.settings.rounds, known_on(area.as_of, week)
    notes: list[Sentence] = []
    if area.as_of > week.sunday:
        notes.append(
            say("The week has passed: this is what was due as known on {day}, without pools lost since then.", day=day)
        )
    people, unnamed = _who_comes(area, week, asked, team, notes)
    pools = area.pools.assign(private=np.where(is_private(area.pools, area.land), "yes", "no"))
    forbidden = no_visits(pools, area.land, max(area.as_of, week.monday))
    stops = due(pools[forbidden == ""], area.visits, area.as_of, week, rules, area.settings.season.months, teaches)
    on_foot, along = _on_foot(area, stops, notes)
    keys = needing_keys(team or ()) if not unnamed else frozenset[str]()
    ways = _Ways(on_foot, rules.visit_minutes)
    if any(person.is_limited for person in people) or keys & set(stops["pool"]):
        outings, left = _within_limits(stops, people, keys, ways, week, rules, notes)
    else:
        outings, left = _evenly(stops, people, unnamed, on_foot, rules, notes), []
    parts, lines = [], {person.name: list[NDArray[np.float64]]() for person in people}
    gone: dict[str, int] = {}
    for who, by, on, time, walk in outings:
        if not walk:
            continue
        legs = [0.0, *(float(ways.metres(by)[i, j]) for i, j in pairwise(walk))]
        spent = [ways.stop_minutes(by) + ways.minutes_of(leg, by) for leg in legs]
        first = gone.get(who, 0) + 1
        gone[who] = gone.get(who, 0) + len(walk)
        part = stops.iloc[walk].assign(person=who, order=range(first, first + len(walk)), leg_m=legs, minutes=spent)
        parts.append(part.assign(day=on, time=time, by=by.value))
        pieces = [ways.line(i, j, by) for i, j in pairwise(walk)]
        lines[who].append(np.concatenate(pieces) if pieces else stops.iloc[walk][["x", "y"]].to_numpy(float))
    nothing = stops.iloc[:0].assign(person="", order=0, leg_m=0.0, day="", time="", by="", minutes=0.0)
    table = pd.concat(parts, ignore_index=True) if parts else nothing
    undone = _undone(stops, left, people, team or (), keys)
    if len(undone):
        notes.append(
            say(
                "{n} of {due} that are due go to nobody; the list says why, the most urgent first.",
                n=len(undone),
                due=count(len(stops), "pool"),
            )
        )
    stands = standing(pools, area.visits, day)
    days = {"first_until": rules.visit_days - 1} | {n: v for n, v in rules.model_dump().items() if isinstance(v, int)}
    values = {name: Quantity(value) for name, value in days.items()}
    return Rounds(
        area=area,
        week=week,
        people=[person.name for person in people if gone.get(person.name)],
        stops=table[list(STOPS)].astype(STOPS),
        lines=lines,
        counts={reason: int((stops["reason"] == reason).sum()) for reason in Due},
        rules=[(reason, Sentence(text, values), basis) for reason, (text, basis) in RULES.items()],
        standing=int(stands.sum()),
        along=along,
        withheld=_withheld(pools, np.where(stands, forbidden, "")),
        notes=notes,
        undone=undone,
    )


def _who_comes(
    area: Area, week: Week, asked: Sequence[str], team: Sequence[Person] | None, notes: list[Sentence]
) -> tuple[list[Person], bool]:
    """The people of a week's rounds, and whether they are only a number; who was to come and is away is told."""
    rules, known = area.settings.rounds, observers(area.visits, known_on(area.as_of, week))
    listed = {observer_key(person.name): person for person in team or ()}
    if team is not None:
        rules = rules.model_copy(update={"people": [*(person.name for person in team if person.comes)]})
        known = known | {key: person.name for key, person in listed.items()}
    names, unnamed = choose_people(asked, rules, known)
    if unnamed and team is not None:
        notes.append(Sentence("With a number of people the table of people is not used: neither times nor keys count."))
    if not names and team is None:
        notes.append(
            Sentence("No visit names an observer, so all goes to one person; give --people, or [rounds] people.")
        )
        return [Person("person 1")], True
    people = [Person(name) if unnamed else listed.get(observer_key(name), Person(name)) for name in names]
    away = [person.name for person in people if not outings_of(person, week)]
    if away:
        notes.append(say("Not in this week, by the table of people: {names}.", names=apart(away)))
    return [person for person in people if person.name not in away], unnamed


def outings_of(person: Person, week: Week) -> list[tuple[datetime.date | None, Window | None]]:
    """When somebody can come in a week: days with their windows, (None, None) = any day; none = not at all."""
    days = [week.monday + datetime.timedelta(days=k) for k in range(7)]
    here = [day for day in days if not any(first <= day <= last for first, last in person.away)]
    if not person.windows:
        return [(None, None)] if here else []
    return [(day, window) for day in here for window in person.windows if window.day == day.weekday()]


def _evenly(
    stops: pd.DataFrame,
    people: Sequence[Person],
    unnamed: bool,
    on_foot: Footpaths,
    rules: RoundsSettings,
    notes: list[Sentence],
) -> list[Outing]:
    """Who goes where, where nobody said what they can't: equal loads on foot."""
    by = "shortest walk" if unnamed else rules.share_by
    last, names = stops["last_person"].tolist(), [person.name for person in people]
    walks = share_out(on_foot.distances, names, last, by)
    if by == "last visitor" and len(stops):
        shorter = share_out(on_foot.distances, names, last, "shortest walk", REMARK_EFFORT)
        length, least = (sum(walk_m(on_foot.distances, w) for w in ws.values()) for ws in (walks, shorter))
        if least < (1 - REMARK_SAVING) * length:
            notes.append(
                say(
                    "Each pool goes to whom was there last, as far as equal loads allow: {length} in all. Shared by "
                    'the shortest walk it would be {least}: [rounds] share_by = "shortest walk".',
                    length=Quantity(length / 1000, 1, "km"),
                    least=Quantity(least / 1000, 1, "km"),
                )
            )
    return [Outing(person, By.FOOT, "", "", walk) for person, walk in walks.items()]


def _within_limits(
    stops: pd.DataFrame,
    people: Sequence[Person],
    keys: frozenset[str],
    ways: _Ways,
    week: Week,
    rules: RoundsSettings,
    notes: list[Sentence],
) -> tuple[list[Outing], list[int]]:
    """Who goes where within what everybody can, and the points that nobody can go to, most urgent first."""
    if not people:
        return [], _by_urgency(stops, week).tolist()
    order = _by_urgency(stops, week)
    names = stops["pool"].to_numpy()[order].tolist()
    kinds = list(By)
    outings = [(k, day, window) for k, person in enumerate(people) for day, window in outings_of(person, week)]
    most = np.array([len(stops) if np.isinf(p.most_pools) else int(p.most_pools) for p in people], dtype=np.int64)
    can = Trips(
        person=np.array([k for k, _, _ in outings], dtype=np.int64),
        most_minutes=np.array([window.minutes if window else np.inf for _, _, window in outings]),
        by=np.array([kinds.index(person.by) for person in people], dtype=np.int64),
        week_minutes=np.array([60 * person.most_hours for person in people], dtype=float),
        most_pools=np.minimum(most, len(stops)),
        allowed=_allowed(names, people, keys),
    )
    knows = _known_by(stops["last_person"].to_numpy()[order].tolist(), [person.name for person in people])
    last = np.where(knows.any(axis=1), knows.argmax(axis=1), -1).astype(np.int64)
    minutes = np.stack([ways.minutes(by)[np.ix_(order, order)] for by in kinds])
    stop = np.array([ways.stop_minutes(by) for by in kinds])
    keep = rules.share_by == "last visitor"
    shared = share_within(minutes, stop, can, last, keep)
    if keep and shared.undone:  # who was there last may have far to go
        other = share_within(minutes, stop, can, last, keep=False)
        if len(other.undone) < len(shared.undone):
            shared = other
            notes.append(
                Sentence("Pools do not stay with their last visitor this week, as more of them get a visit that way.")
            )
    found = []
    for (k, day, window), walk in zip(outings, shared.trips, strict=True):
        on, time = day.isoformat() if day else "", _clock(window)
        found.append(Outing(people[k].name, people[k].by, on, time, order[walk].tolist() if walk else []))
    return found, order[shared.undone].tolist()


def _clock(window: Window | None) -> str:
    """ "17:00-19:30", "" where nobody said."""
    if window is None or window.start is None or window.end is None:
        return ""
    return "-".join(f"{at // 60:02d}:{at % 60:02d}" for at in (window.start, window.end))


def _by_urgency(stops: pd.DataFrame, week: Week) -> NDArray[np.int64]:
    """The order in which pools must not be left: by their reason, then the longest without a visit."""
    reasons = [list(Due).index(Due(reason)) for reason in stops["reason"]]
    since = (pd.Timestamp(week.sunday) - stops["last_visit"]).dt.days
    return urgency(reasons, since.to_numpy(float))


def _allowed(pools: Sequence[str], people: Sequence[Person], keys: frozenset[str]) -> NDArray[np.bool_]:
    """Which pools (rows) which people (columns) may be sent to: they didn't ask not to, and hold the key it takes."""
    rows = [[p not in one.not_pools and (p not in keys or p in one.keys) for one in people] for p in pools]
    return np.array(rows, dtype=bool).reshape(len(pools), len(people))


def _undone(
    stops: pd.DataFrame, left: Sequence[int], people: Sequence[Person], team: Sequence[Person], keys: frozenset[str]
) -> pd.DataFrame:
    """The pools that go to nobody, in this order, with why."""
    table = stops.iloc[list(left)].reset_index(drop=True)
    why, holders = [], []
    for pool in table["pool"]:
        have = [person.name for person in team if pool in person.keys]
        able = [p.name for p in people if pool not in p.not_pools and (pool not in keys or pool in p.keys)]
        with_key = [person.name for person in people if pool in person.keys]
        if pool in keys:
            code = Undone.KEY_TIME if able else Undone.NOBODY if with_key else Undone.KEY
        else:
            code = Undone.TIME if able or not people else Undone.NOBODY
        why.append(code)
        holders.append("; ".join(have))
    columns = ["pool", "reason", "last_visit", "last_outcome", "x", "y"]
    return table[columns].assign(undone=pd.Series(why, dtype=object), holders=pd.Series(holders, dtype="str"))


class _Ways:
    """How far and how long it is between pools, by how somebody gets about."""

    def __init__(self, on_foot: Footpaths, visit_minutes: float) -> None:
        self._on_foot, self._visit = on_foot, visit_minutes

    @cached_property
    def _by_road(self) -> NDArray[np.float64]:
        return ROAD * straight(self._on_foot.x, self._on_foot.y)

    def metres(self, by: By) -> NDArray[np.float64]:
        """Metres from pool to pool: along the paths, by car the straight line and a share more."""
        return self._by_road if by is By.CAR else self._on_foot.distances

    def minutes_of(self, metres: float, by: By) -> float:
        """How long such a way takes."""
        return 60 * metres / 1000 / _KMH[by]

    def minutes(self, by: By) -> NDArray[np.float64]:
        """Minutes from pool to pool."""
        return np.asarray(self.metres(by) * (0.06 / _KMH[by]))

    def stop_minutes(self, by: By) -> float:
        """Minutes at a pool, with the car also for parking."""
        return self._visit + (PARK_MIN if by is By.CAR else 0.0)

    def line(self, i: int, j: int, by: By) -> NDArray[np.float64]:
        """The way from pool i to pool j as positions, k x 2."""
        if by is By.CAR:
            return np.array([(self._on_foot.x[k], self._on_foot.y[k]) for k in (i, j)])
        return self._on_foot.line(i, j)


def _withheld(pools: pd.DataFrame, why: NDArray[np.object_]) -> pd.DataFrame:
    """The pools that nobody may visit: pool, consent_until as text, and why (`NoVisit`), which `why` has by row."""
    table = pools[["pool", "consent_until"]].assign(consent_until=pools["consent_until"].dt.strftime("%Y-%m-%d"))
    table["no_visit"] = pd.Series(why, index=pools.index, dtype=object)
    return table[(table["no_visit"] != "").to_numpy()].fillna({"consent_until": ""}).reset_index(drop=True)


def _on_foot(area: Area, stops: pd.DataFrame, notes: list[Sentence]) -> tuple[Footpaths, str]:
    """Ways between the pools, what they follow, and a word on where that could not be done."""
    x, y = stops["x"].to_numpy(float), stops["y"].to_numpy(float)
    within = area.settings.rounds.path_within_m
    if not len(area.paths):
        notes.append(
            Sentence("There is no paths.*, so walks are measured along straight lines; the real way is longer.")
        )
        return straight_lines(x, y), "straight lines"
    found = along_paths(x, y, area.paths.geometry.to_numpy(), within)
    off = stops.loc[found.off_path, "pool"].tolist()
    if off:
        shown = apart(off[:5])
        if len(off) > 5:
            shown = say("{some} and {n} more", some=shown, n=len(off) - 5)
        notes.append(
            say(
                "No path lies within {m} of {pools}: ways from and to there are straight lines.",
                m=Quantity(within, 0 if float(within).is_integer() else 1, "m"),
                pools=shown,
            )
        )
    return found, "paths" if found.by_path.any() else "straight lines"
