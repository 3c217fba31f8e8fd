"""A week's rounds for those who walk them: a print list, routes, calendar entries, a table. All of it for the team.

Everything is there twice: for the coordinator in one file, and for each person in files of their own that name nobody
else's pools.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from habitatmap.export.calendar import (
    Entry,
    Revision,
    calendar_bytes,
    earlier_revisions,
    revised,
    revisions_record,
)
from habitatmap.export.field_form import form_workbook
from habitatmap.export.folder import Content, folder_names, write_files
from habitatmap.export.formats import DEGREE_DIGITS, GPX, gpx_document, gpx_point, gpx_root, gpx_text, plain, visible
from habitatmap.fieldwork.rounds import Due, Rounds, Undone, why_due
from habitatmap.geo.crs import to_lonlat
from habitatmap.page.document import shown
from habitatmap.page.drawings import route
from habitatmap.page.phone import PhoneRound, phone_page
from habitatmap.page.sections import (
    Column,
    Drawing,
    Row,
    Section,
    Table,
    aligned,
    letters,
    report_page,
    table,
    terminal,
)
from habitatmap.paper.maps import BARS_M
from habitatmap.paper.printed import sections_pdf
from habitatmap.read.headings import fold
from habitatmap.read.people import By
from habitatmap.vocabulary.terms import Consent
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.cautions import round_cautions, stop_caution
from habitatmap.words.no_visit import told_no_visits
from habitatmap.words.numbers import count, metres
from habitatmap.words.sentences import Quantity, Sentence, apart, as_it_is, following, say, whole_metres

KIND = "Rounds of the week"
NOT_PUBLIC = "For the team: exact places and hosts. Not to be published."
# common practice, no source
GEAR = "gloves, hand gel, a torch, a spoon or small strainer, a spare label, pen and recording sheet"
_FOLLOWS = {
    "paths": "The way follows the paths, and straight lines where none is near or leads over.",
    "straight lines": "The way is drawn along straight lines; the real one is longer.",
}
Stops = dict[str, pd.DataFrame]  # the rows of rounds.csv for each person, `why` and `caution` as sentences
MOST_OF_A_NAME = 40  # signs, so that one long name does not widen everybody's list on the terminal
MOST_TOLD = 20  # pools that go to nobody, on the terminal
BY_CAR = "By car, the way is drawn as straight lines and counted 1.3 times as long."
TO_WRITE = "________"
TABLE = [
    *("week", "person", "order", "pool", "why", "reason", "top_up", "water_l", "leg_m", "caution", "private", "host"),
    *("container", "note", "last_visit", "last_outcome", "x", "y", "lon", "lat", "group"),
    *("day", "time", "by", "minutes"),
]


def rounds_table(rounds: Rounds) -> pd.DataFrame:
    """rounds.csv: one row per pool that is due, by person and walking order."""
    stops = rounds.stops.assign(week=rounds.week.name, group=rounds.group)
    stops["caution"] = [str(stop_caution(stop)) for stop in stops.to_dict("records")]
    lon, lat = to_lonlat(stops["x"].to_numpy(float), stops["y"].to_numpy(float), rounds.area.crs)
    return stops.assign(
        lon=np.round(lon, 7), lat=np.round(lat, 7), leg_m=stops["leg_m"].round(1), minutes=stops["minutes"].round(1)
    )[TABLE]


def rounds_summary(rounds: Rounds) -> dict[str, Any]:
    """The same for a machine."""
    people = [
        {
            "person": person,
            "pools": len(mine),
            "walk_m": round(rounds.walk_m(person), 1),
            "hours": round(rounds.hours(person), 2),
            "water_l": round(float(mine["water_l"].sum()), 1),
            "water_not_known": int(mine["water_l"].isna().sum()),
            "stops": mine.drop(columns=["person", "week"]).to_dict("records"),
        }
        for person, mine in _by_person(rounds).items()
    ]
    content: dict[str, Any] = plain(
        {
            "title": rounds.area.title,
            "week": rounds.week.name,
            "monday": rounds.week.monday,
            "as_of": rounds.area.as_of,
            "standing": rounds.standing,
            "due": rounds.due,
            "due_by_reason": rounds.counts,
            "rules": [{"reason": r, "rule": text, "basis": basis} for r, text, basis in rounds.rules],
            "along": rounds.along,
            "walk_m": round(rounds.walk_m(), 1),
            "people": people,
            "undone": [
                {"pool": row["pool"], "reason": row["reason"], "why": str(why)}
                for row, why in zip(rounds.undone.to_dict("records"), _why_undone(rounds), strict=True)
            ],
            "no_visit": [{"pool": pool, "why": why} for pool, why in _no_visits(rounds)],
            "notes": rounds.notes,
            "cautions": round_cautions(rounds.area.settings),
        }
    )
    return content


def all_rounds_summary(every: Sequence[Rounds]) -> dict[str, object]:
    """The rounds of one area for a machine: those of one group, or by group."""
    if len(every) == 1:
        return rounds_summary(every[0])
    groups = [{"group": one.group} | rounds_summary(one) for one in every]
    sums = {name: sum(one[name] for one in groups) for name in ("standing", "due")}
    return {"title": _title(every[0]), "week": every[0].week.name, **sums, "groups": groups}


def _by_person(rounds: Rounds) -> dict[str, pd.DataFrame]:
    """The rows of rounds.csv for each person, who may have none."""
    stops = rounds_table(rounds)
    return {person: stops[stops["person"] == person] for person in rounds.people}


def told_stops(rounds: Rounds) -> Stops:
    """The same with `why` and `caution` as sentences."""
    told = {
        str(stop["pool"]): (why_due(Due(stop["reason"]), stop["last_visit"], stop["last_outcome"]), stop_caution(stop))
        for stop in rounds.stops.to_dict("records")
    }
    stops = rounds_table(rounds)
    said = [told[pool] for pool in stops["pool"]]
    for column, texts in zip(("why", "caution"), zip(*said, strict=True), strict=False):
        stops[column] = pd.Series(texts, stops.index, dtype=object)
    # rows are taken out of these often, which texts as plain objects make faster
    stops = stops.astype({name: object for name in stops.columns if pd.api.types.is_string_dtype(stops[name])})
    return {person: stops[stops["person"] == person] for person in rounds.people}


def rounds_text(rounds: Rounds, spoken: Catalogue = ENGLISH) -> str:
    """The rounds for a terminal."""
    lines: list[str] = [say("{title}: {when}", title=rounds.area.title, when=_when(rounds)), _headline(rounds)]
    for person, mine in told_stops(rounds).items():
        lines += ["", say("{who}: {load}", who=person, load=_load(rounds, person, mine))]
        rows = [
            (
                str(s["order"]),
                s["pool"] if len(s["pool"]) <= MOST_OF_A_NAME else f"{s['pool'][: MOST_OF_A_NAME - 1]}\u2026",
                spoken.say(_way(s, first="")),
                spoken.say(following(_when_there(s), _at_stop(s))),
            )
            for s in _with_firsts(mine)
        ]
        lines += [as_it_is(f"  {line}") for line in aligned(rows)]
    lines += ["", _evenness(rounds)] if len(rounds.people) > 1 else []
    left = zip(rounds.undone["pool"], _why_undone(rounds), strict=True)
    undone = [say("{pool} goes to nobody: {why}", pool=pool, why=why) for pool, why in left]
    if len(undone) > MOST_TOLD:
        undone = [*undone[:MOST_TOLD], say("{n} more go to nobody; rounds.html names them.", n=len(undone) - MOST_TOLD)]
    lines += ["", *undone] if undone else []
    withheld = [say("{pool}: {why}", pool=pool, why=why) for pool, why in _no_visits(rounds)]
    lines += ["", *withheld] if withheld else []
    lines += ["", *rounds.notes, *round_cautions(rounds.area.settings)[:1]]
    return terminal(map(spoken.say, lines))


def _at_stop(stop: Row) -> Sentence:
    """What to do at a pool, and its caution."""
    return following(say("{why}.", why=stop["why"]), stop["caution"])


def _no_visits(rounds: Rounds) -> list[tuple[str, Sentence]]:
    """The standing pools that nobody may visit, and why."""
    return list(zip(rounds.withheld["pool"], told_no_visits(rounds.withheld), strict=True))


def write_rounds(
    rounds: Rounds,
    folder: str | Path,
    spoken: Catalogue = ENGLISH,
    semicolons: bool = False,
    phone: bool = False,
) -> None:
    """Writes rounds.html, .pdf, .csv, .json and each person's list, route and calendar entry, whole or not at all;
    `semicolons` as in `csv_text`; `phone`: also each person's page for a telephone, and the form for other programs."""
    write_all_rounds([rounds], folder, spoken, semicolons, phone)


def write_all_rounds(
    every: Sequence[Rounds],
    folder: str | Path,
    spoken: Catalogue = ENGLISH,
    semicolons: bool = False,
    phone: bool = False,
) -> None:
    """The same for the rounds of several groups: all together, and each group's own files in a folder of its name."""
    first, earlier = every[0], earlier_revisions(Path(folder))
    told = [told_stops(one) for one in every]
    made = [_calendar(one, stops, earlier, spoken) for one, stops in zip(every, told, strict=True)]
    if len(every) == 1:
        files = _files(first, told[0], made[0], spoken, phone)
    else:
        files = _together(every, told, spoken)
        names = folder_names([one.group for one in every])
        for one, stops, entries in zip(every, told, made, strict=True):
            own = _files(one, stops, entries, spoken, phone)
            files |= {f"{names[one.group]}/{name}": content for name, content in own.items()}
    record = revisions_record(earlier, [pair for entries in made for pair in entries.values()], first.week.monday)
    write_files(folder, files, "rounds", semicolons, record)


def _together(every: Sequence[Rounds], told: Sequence[Stops], spoken: Catalogue) -> dict[str, Content]:
    """The files that hold the rounds of all groups."""
    first = every[0]
    both = enumerate(zip(every, told, strict=True))
    parts = [_sections(one, stops, f"group-{letters(i)}-") for i, (one, stops) in both]
    sections, title = [section for part in parts for section in part], _title(first)
    kind = say("{kind}, {when}", kind=Sentence(KIND), when=_when(first))
    return {
        "rounds.html": report_page(title, KIND, _when(first), sections, spoken, sheets=True),
        "rounds.pdf": sections_pdf(title, kind, NOT_PUBLIC, [[section] for section in sections], spoken),
        "rounds.csv": pd.concat([rounds_table(one) for one in every], ignore_index=True),
        "rounds.json": all_rounds_summary(every),
    }


def _title(rounds: Rounds) -> str:
    """The area's title without its group's name."""
    return rounds.area.title.removesuffix(f", {rounds.group}") if rounds.group else rounds.area.title


def _calendar(
    rounds: Rounds, stops: Stops, earlier: Mapping[str, Revision], spoken: Catalogue
) -> dict[str, tuple[Entry, Revision]]:
    """Each person's entry of the calendar, and which revision of it this is."""
    entries = {person: calendar_entry(rounds, person, mine, spoken) for person, mine in stops.items()}
    return {person: (entry, revised(entry, earlier.get(entry.uid))) for person, entry in entries.items()}


def _files(
    rounds: Rounds, stops: Stops, entries: Mapping[str, tuple[Entry, Revision]], spoken: Catalogue, phone: bool
) -> dict[str, Content]:
    """All files of one group's rounds, by name."""
    files: dict[str, Content] = {
        "rounds.html": rounds_page(rounds, stops, spoken),
        "rounds.pdf": rounds_pdf(rounds, stops, spoken),
        "rounds.csv": rounds_table(rounds),
        "rounds.json": rounds_summary(rounds),
    }
    if phone:
        names = [str(pool) for pool in rounds.stops["pool"]]
        files["visits_form.xlsx"] = form_workbook(
            rounds.area.title, rounds.week.name, names, round_cautions(rounds.area.settings)
        )
    for person, name in file_names(rounds.people).items():
        if phone:
            files[f"{name}-phone.html"] = phone_page(phone_round(rounds, person, stops[person], spoken), spoken)
        files[f"{name}.html"] = person_page(rounds, person, stops[person], spoken)
        files[f"{name}.gpx"] = route_gpx(rounds, person, stops[person], spoken)
        files[f"{name}.ics"] = calendar_bytes(*entries[person])
    return files


def file_names(people: Sequence[str]) -> dict[str, str]:
    """A file name for each person, of plain letters and digits whatever the name holds: `01-ann`."""
    width = max(2, len(str(len(people))))
    plain_names = [re.sub(r"[^a-z0-9]+", "-", fold(person)).strip("-")[:40] for person in people]
    return {p: f"{i:0{width}d}-{n or 'person'}" for i, (p, n) in enumerate(zip(people, plain_names, strict=True), 1)}


# --- print list -------------------------------------------------------------------------------------------------------


def rounds_page(rounds: Rounds, stops: Stops, spoken: Catalogue = ENGLISH) -> str:
    """The coordinator's page: the week, then a sheet for each person."""
    return report_page(rounds.area.title, KIND, _when(rounds), _sections(rounds, stops), spoken, sheets=True)


def rounds_pdf(rounds: Rounds, stops: Stops, spoken: Catalogue = ENGLISH) -> bytes:
    """The same to be printed: the week, then each person's sheet on a page of its own."""
    pages = [[section] for section in _sections(rounds, stops)]
    return sections_pdf(
        rounds.area.title, say("{kind}, {when}", kind=Sentence(KIND), when=_when(rounds)), NOT_PUBLIC, pages, spoken
    )


def _sections(rounds: Rounds, stops: Stops, key: str = "") -> list[Section]:
    """The week and a sheet for each person; `key`: what their keys begin with."""
    rows = [
        (p, len(mine), _by(mine), metres(rounds.walk_m(p)), _hours(rounds.hours(p)), _water(mine))
        for p, mine in stops.items()
    ]
    rules = [(reason, rounds.counts[reason], text, Sentence(basis)) for reason, text, basis in rounds.rules]
    note = "The days stand in area.toml under [rounds]. A pool counts under its first reason."
    first = Section(
        f"{key}week",
        say("Week {week}", week=", ".join(filter(None, (rounds.week.name, rounds.group)))),
        _headline(rounds),
        words=rounds.notes,
        tables=[
            Table("Who goes", ["Who", "Pools", "How", "Way", "Time", "Rain water to take"], rows, _evenness(rounds)),
            Table("Why pools are due", ["Reason", "Pools", "Rule", "Rests on"], rules, note),
            *([_undone_table(rounds)] if len(rounds.undone) else []),
            *([Table("Not to be visited", ["Pool", "Why"], _no_visits(rounds))] if len(rounds.withheld) else []),
        ],
        cautions=[_cautions(rounds)],
    )
    return [first, *(_sheet(rounds, p, mine, f"{key}sheet-{letters(i)}") for i, (p, mine) in enumerate(stops.items()))]


def person_page(rounds: Rounds, person: str, mine: pd.DataFrame, spoken: Catalogue = ENGLISH) -> str:
    """One person's page: their pools and nobody else's."""
    sheet = _sheet(rounds, person, mine, "sheet-a")
    return report_page(rounds.area.title, KIND, _when(rounds), [sheet], spoken, sheets=True)


def _sheet(rounds: Rounds, person: str, mine: pd.DataFrame, key: str) -> Section:
    columns: dict[str, Column] = {
        "Pool": lambda s: f"{s['order']} {s['pool']}",
        **({"When": _when_there} if (mine["day"] != "").any() else {}),
        "What to do": lambda s: say("{why}.", why=s["why"]),
        "Way": lambda s: _way(s, first=START),
        "Where": lambda s: "; ".join(
            part for part in (f"{s['lat']:.5f}, {s['lon']:.5f}", s["container"], s["note"]) if part
        ),
        "Before you go": "caution",
        "Seen, larvae, done": lambda s: TO_WRITE,
    }
    litter = (mine["reason"] == Due.FOUND_DRY).any()
    take = "Take {gear}, and leaf litter; rain water: {water}." if litter else "Take {gear}; rain water: {water}."
    mine = mine.assign(first=_firsts(mine))
    return Section(
        key,
        as_it_is(person),
        say("{week}: {load}.", week=rounds.week.name, load=_load(rounds, person, mine)),
        words=[say(take, gear=Sentence(GEAR), water=_water(mine)), *_outings(mine)],
        drawings=[_sketch(rounds, person, mine)],
        tables=[table(say("Pools of {person}, in walking order", person=person), mine, columns)],
        cautions=[_cautions(rounds)],
    )


def _sketch(rounds: Rounds, person: str, mine: pd.DataFrame) -> Drawing:
    """The way and the stops over the paths around."""
    ways = rounds.lines[person]
    frame = _frame(np.concatenate(ways))
    window, wide = shapely.box(*frame), frame[2] - frame[0]
    paths = [p for p in rounds.area.paths.geometry if p is not None and p.intersects(window)]
    near = shapely.get_parts(shapely.simplify(shapely.intersection(paths, window), wide / 300))
    lines = [shapely.get_coordinates(part) for part in near if part.geom_type == "LineString"]
    stops = [(s["x"], s["y"], str(s["order"])) for s in mine.to_dict("records")]
    what = say("Sketch of the way to {pools} in walking order", pools=count(len(stops), "pool"))
    bar_m = max(length for length in BARS_M if length <= wide / 4)
    follows = Sentence(BY_CAR if (mine["by"] == By.CAR).any() else _FOLLOWS[rounds.along])
    said = [say("North is up; the bar is {m}.", m=whole_metres(bar_m)), follows]
    said += [Sentence("Grey: paths."), *map(as_it_is, rounds.area.credits)] if lines else []
    return Drawing(lambda spoken: route(frame, lines, ways, stops, bar_m, spoken.say(what)), following(*said))


def phone_round(rounds: Rounds, person: str, mine: pd.DataFrame, spoken: Catalogue) -> PhoneRound:
    """One person's round as the page for a telephone shows it: their pools and nobody else's."""
    consents = _consents(rounds, mine["pool"])
    pools: list[dict[str, str | int]] = [
        {
            "id": str(s["pool"]),
            "order": int(s["order"]),
            "way": spoken.say(_way(s, first=START)),
            "what": spoken.say(say("{why}.", why=s["why"])),
            "when": spoken.say(_when_there(s)),
            "day": spoken.say(_when_there(s)),
            "caution": spoken.say(s["caution"]),
            "consent": spoken.say(consents[s["pool"]]),
            "about": "; ".join(part for part in (s["container"], s["note"]) if part),
            "lat": f"{s['lat']:.6f}",
            "lon": f"{s['lon']:.6f}",
        }
        for s in _with_firsts(mine)
    ]
    sketch = _sketch(rounds, person, mine)
    name = file_names(rounds.people)[person]
    return PhoneRound(
        title=rounds.area.title,
        week=rounds.week.name,
        person=person,
        file=f"visits_{rounds.week.name.lower()}_{name}.csv",
        load=_load(rounds, person, mine),
        when=_when(rounds),
        pools=pools,
        sketch="".join(sketch.parts(spoken)),
        cautions=round_cautions(rounds.area.settings),
    )


def _consents(rounds: Rounds, pools: Iterable[str]) -> dict[str, Sentence]:
    """What is agreed about each pool: by its own consent, else by that of the land under it, the strictest."""
    wanted = set(pools)
    area = rounds.area
    table = area.pools[area.pools["pool"].isin(wanted)]
    points = shapely.points(table[["x", "y"]].to_numpy(dtype=float))
    on, under = shapely.STRtree(list(area.land.geometry)).query(points, predicate="intersects")
    of_land: dict[int, list[Consent]] = {}
    for pool, polygon in zip(on, under, strict=True):
        of_land.setdefault(int(pool), []).append(Consent(area.land["consent"].iloc[polygon]))
    found = {}
    for at, row in enumerate(table.to_dict("records")):
        word = row["consent"] or min(of_land.get(at, [""]), key=lambda one: Consent(one).strictness if one else 9)
        until = row["consent_until"]
        told = _CONSENT.get(str(word), "Consent: not on record. Ask before you enter.")
        if not pd.isna(until) and word == Consent.YES:
            found[row["pool"]] = say("Consent: yes, until {day}.", day=until.date())
        else:
            found[row["pool"]] = Sentence(told)
    return found


_CONSENT: dict[str, str] = {
    Consent.YES: "Consent: yes.",
    Consent.ASK: "Consent: not settled. Ask before you enter.",
    Consent.NO: "Consent: the land's is no, the pool has its own.",
}


def _frame(line: NDArray[np.float64]) -> tuple[float, float, float, float]:
    """A frame around the way, with a margin, no flatter than 1:2 and no taller than 1:1."""
    (west, south), (east, north) = line.min(axis=0), line.max(axis=0)
    width, height = max(east - west, 200.0), max(north - south, 100.0)
    width, height = 1.15 * max(width, height), 1.15 * max(height, width / 2)
    x, y = (west + east) / 2, (south + north) / 2
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


# --- route and calendar -----------------------------------------------------------------------------------------------


def route_gpx(rounds: Rounds, person: str, mine: pd.DataFrame, spoken: Catalogue = ENGLISH) -> bytes:
    """A route of GPX 1.1 with a point for each pool, and the way along the paths as a track."""
    name = f"{rounds.week.name} {person}"
    root = gpx_root(f"{rounds.area.title}: {name}", " ".join(map(spoken.say, round_cautions(rounds.area.settings))))
    for number, stops in enumerate(_each_outing(mine), 1):
        called = name if len(rounds.lines[person]) == 1 else f"{name} {stops['day'].iloc[0] or number}"
        way = _child(root, "rte")
        gpx_text(way, "name", called)
        for stop in stops.to_dict("records"):
            point = gpx_point(way, "rtept", stop["lon"], stop["lat"])
            gpx_text(point, "name", f"{stop['order']} {stop['pool']}")
            gpx_text(point, "desc", spoken.say(_at_stop(stop)))
    for line, stops in zip(rounds.lines[person], _each_outing(mine), strict=True):
        positions = _one_after_another(*to_lonlat(line[:, 0], line[:, 1], rounds.area.crs))
        if not np.array_equal(positions, _one_after_another(stops["lon"].to_numpy(), stops["lat"].to_numpy())):
            track = _child(root, "trk")
            along = say("{name}, along {what}", name=name, what=Sentence(rounds.along))
            gpx_text(track, "name", spoken.say(along))
            segment = _child(track, "trkseg")
            for lon, lat in positions:
                gpx_point(segment, "trkpt", lon, lat)
    return gpx_document(root)


def _one_after_another(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Positions in degrees as the file has them (k x 2), none the same as the one before: legs meet in one point."""
    positions = np.column_stack([lon, lat]).round(DEGREE_DIGITS)
    moved = np.ones(len(positions), dtype=bool)
    moved[1:] = (positions[1:] != positions[:-1]).any(axis=1)
    return np.asarray(positions[moved])


def _child(parent: ElementTree.Element, tag: str) -> ElementTree.Element:
    return ElementTree.SubElement(parent, f"{{{GPX}}}{tag}")


def calendar_entry(rounds: Rounds, person: str, mine: pd.DataFrame, spoken: Catalogue = ENGLISH) -> Entry:
    """One person's whole week, at the place of their first stop."""
    first = mine.iloc[0]
    visits = say("{title}: {pools} to visit", title=rounds.area.title, pools=count(len(mine), "pool"))
    stops = [
        say("{n} {pool}: {what}", n=s["order"], pool=s["pool"], what=following(_when_there(s), _at_stop(s)))
        for s in _with_firsts(mine)
    ]
    days = sorted(datetime.date.fromisoformat(day) for day in set(mine["day"]) if day)
    all_dated = bool((mine["day"] != "").all())
    load = say("{person}: {load}.", person=person, load=_load(rounds, person, mine))
    said = [load, *stops, *round_cautions(rounds.area.settings)]
    return Entry(
        known=(rounds.area.title, rounds.week.name, person),
        as_of=rounds.area.as_of,
        first=days[0] if all_dated else rounds.week.monday,
        after=(days[-1] if all_dated else rounds.week.sunday) + datetime.timedelta(days=1),
        summary=_one_line(spoken.say(visits)),
        description="\n".join(_one_line(spoken.say(line)) for line in said),
        location=_one_line(f"{first['pool']}, {first['lat']:.5f}, {first['lon']:.5f}"),
        geo=(float(first["lat"]), float(first["lon"])),
    )


def _one_line(text: str) -> str:
    return " ".join(visible(shown(text)).split())


# --- words ------------------------------------------------------------------------------------------------------------


def _when(rounds: Rounds) -> Sentence:
    return say(
        "{week}, {monday} to {sunday}, as known on {day}",
        week=rounds.week.name,
        monday=rounds.week.monday,
        sunday=rounds.week.sunday,
        day=rounds.area.as_of,
    )


def _headline(rounds: Rounds) -> Sentence:
    n, people, given = rounds.due, len(rounds.people), len(rounds.stops)
    if not n:
        stand = "{pools} stands" if rounds.standing == 1 else "{pools} stand"
        nothing = f"No pool is due: {stand}, and none of the rules asks for a visit this week."
        return say(nothing, pools=count(rounds.standing, "pool"))
    due = apart([say("{reason}: {n}", reason=reason, n=number) for reason, number in rounds.counts.items() if number])
    if not given:
        return say(
            "{n} of {pools} are due ({due}), and nobody goes.",
            n=n,
            pools=count(rounds.standing, "standing pool"),
            due=due,
        )
    are = "{n} of {pools} is due ({due}), for {who}" if n == 1 else "{n} of {pools} are due ({due}), for {who}"
    are = are if given == n else "{n} of {pools} are due ({due}); {given} of them go to {who}"
    on_foot = bool((rounds.stops["by"] == By.FOOT).all())
    way = ", {way} on foot in all, measured along {along}" if on_foot else ", {way} in all"
    way = way if given > people else ""
    return say(
        f"{are}{way}.",
        n=n,
        given=given,
        pools=count(rounds.standing, "standing pool"),
        due=due,
        who=count(people, "person", "people") if people > 1 else Sentence("one person"),
        way=metres(rounds.walk_m()),
        along=Sentence(rounds.along),
    )


def _load(rounds: Rounds, person: str, mine: pd.DataFrame) -> Sentence:
    """How much one person has to do."""
    dry, hot = (int((mine["reason"] == reason).sum()) for reason in (Due.FOUND_DRY, Due.HOT_WEEK))
    parts = [count(len(mine), "pool")]
    parts += [say("{n} dry", n=dry)] if dry else []
    parts += [say("{n} to top up in the heat", n=hot)] if hot else []
    parts += [say(_WAYS[By(mine["by"].iloc[0])], way=metres(rounds.walk_m(person)))] if len(mine) != 1 else []
    return apart([*parts, _hours(rounds.hours(person))])


_WAYS = {By.FOOT: "{way} on foot", By.BICYCLE: "{way} by bicycle", By.CAR: "{way} by car"}
_HOW = {By.FOOT: "on foot", By.BICYCLE: "by bicycle", By.CAR: "by car"}


def _by(mine: pd.DataFrame) -> Sentence:
    """How somebody gets about."""
    return Sentence(_HOW[By(mine["by"].iloc[0])])


def _hours(hours: float) -> Sentence:
    """A time, to a tenth of an hour."""
    return say("{hours}", hours=Quantity(hours, 1, "h"))


def _evenness(rounds: Rounds) -> Sentence:
    """How even the loads are, and what a time counts."""
    loads = [(int((rounds.stops["person"] == person).sum()), rounds.hours(person)) for person in rounds.people]
    counts = Sentence(
        "Times are from each outing's first pool to its last, visits included; the way there and home is not."
    )
    if len(loads) < 2:
        return counts
    pools, hours = zip(*loads, strict=True)
    even = say(
        "Loads run from {fewest} to {most} pools and from {least} to {longest}.",
        fewest=min(pools),
        most=max(pools),
        least=_hours(min(hours)),
        longest=_hours(max(hours)),
    )
    return following(even, counts)


def _firsts(mine: pd.DataFrame) -> NDArray[np.bool_]:
    """Which rows begin an outing."""
    on = (mine["day"] + " " + mine["time"]).to_numpy()
    return np.concatenate([np.ones(min(len(on), 1), dtype=bool), on[1:] != on[:-1]])


def _with_firsts(mine: pd.DataFrame) -> list[Row]:
    return [row | {"first": first} for row, first in zip(mine.to_dict("records"), _firsts(mine), strict=True)]


def _each_outing(mine: pd.DataFrame) -> list[pd.DataFrame]:
    """One person's rows, outing by outing."""
    return [part for _, part in mine.groupby(np.cumsum(_firsts(mine)))]


def _when_there(stop: Row) -> Sentence:
    """The day and time of a stop, "" where nobody said."""
    if not stop["day"]:
        return Sentence("")
    day = datetime.date.fromisoformat(stop["day"])
    return say("{day} {time}.", day=day, time=stop["time"]) if stop["time"] else say("{day}.", day=day)


def _outings(mine: pd.DataFrame) -> list[Sentence]:
    """A line for each dated outing: when, and which stops."""
    said = []
    for part in _each_outing(mine):
        if part["day"].iloc[0]:
            day = datetime.date.fromisoformat(part["day"].iloc[0])
            time, first, last = part["time"].iloc[0], part["order"].iloc[0], part["order"].iloc[-1]
            told = (
                "{weekday}, {day} {time}: stops {first} to {last}, {hours}."
                if time
                else ("{weekday}, {day}: stops {first} to {last}, {hours}.")
            )
            hours = _hours(float(part["minutes"].sum()) / 60)
            weekday = Sentence(WEEKDAYS[day.weekday()])
            said.append(say(told, weekday=weekday, day=day, time=time, first=first, last=last, hours=hours))
    return said


WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def _undone_table(rounds: Rounds) -> Table:
    """The due pools that go to nobody, the most urgent first, with why."""
    due = [why_due(Due(r["reason"]), r["last_visit"], r["last_outcome"]) for r in rounds.undone.to_dict("records")]
    rows = list(zip(rounds.undone["pool"], due, _why_undone(rounds), strict=True))
    return Table(
        "Due, and nobody goes",
        ["Pool", "What to do", "Why nobody goes"],
        rows,
        "The most urgent comes first: by the order of the reasons, then by how long nobody was there. No pool below it "
        "has a place that it could have.",
    )


_UNDONE = {
    Undone.KEY: "nobody who comes has its key; {holders} has it",
    Undone.NOBODY: "nobody who comes may be sent there",
    Undone.KEY_TIME: "{holders} has its key and no time left",
    Undone.TIME: "nobody has time left",
}


def _why_undone(rounds: Rounds) -> list[Sentence]:
    """Why each pool of `undone` goes to nobody."""
    told = zip(rounds.undone["undone"], rounds.undone["holders"], strict=True)
    return [
        say(_UNDONE[code], holders=holders) if "{" in _UNDONE[code] else Sentence(_UNDONE[code])
        for code, holders in told
    ]


def _cautions(rounds: Rounds) -> Sentence:
    """A line for each."""
    return following(*map(Sentence, round_cautions(rounds.area.settings)), by="\n")


START = Sentence("start")


def _way(stop: Row, first: str) -> str:
    """How far it is from the stop before."""
    return first if stop["first"] else metres(stop["leg_m"])


def _water(mine: pd.DataFrame) -> Sentence:
    """Litres to take, rounded up, and for how many pools nobody knows."""
    known, unknown = mine["water_l"].sum(), int(mine["water_l"].isna().sum())
    litres, pools = Quantity(float(np.ceil(known)), unit="l"), count(unknown, "pool")
    if not known:
        return say("enough for {pools} of unknown volume", pools=pools)
    how = "about {litres} and for {pools} of unknown volume" if unknown else "about {litres}"
    return say(how, litres=litres, pools=pools)
