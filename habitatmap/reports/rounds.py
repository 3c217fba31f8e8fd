"""A week's rounds for those who walk them: a print list, routes, calendar entries, a table. All of it for the team.

Everything is there twice: for the coordinator in one file, and for each person in files of their own that name nobody
else's pools.
"""

from __future__ import annotations

import datetime
import hashlib
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from habitatmap.export.folder import Content, write_files
from habitatmap.export.formats import GPX, csv_text, gpx_document, gpx_point, gpx_root, gpx_text, plain, visible
from habitatmap.fieldwork.rounds import Due, Rounds
from habitatmap.geo.crs import to_lonlat
from habitatmap.page.document import shown
from habitatmap.page.drawings import route
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
from habitatmap.words.cautions import round_cautions, stop_caution
from habitatmap.words.no_visit import told_no_visits
from habitatmap.words.numbers import count, metres

KIND = "Rounds of the week"
NOT_PUBLIC = "For the team: exact places and hosts. Not to be published."
# common practice, no source
GEAR = "gloves, hand gel, a torch, a spoon or small strainer, a spare label, pen and recording sheet"
_FOLLOWS = {
    "paths": "The way follows the paths, and straight lines where none is near or leads over.",
    "straight lines": "The way is drawn along straight lines; the real one is longer.",
}
TO_WRITE = "________"
TABLE = [
    *("week", "person", "order", "pool", "why", "reason", "top_up", "water_l", "leg_m", "caution", "private", "host"),
    *("container", "note", "last_visit", "last_outcome", "x", "y", "lon", "lat"),
]


def rounds_table(rounds: Rounds) -> pd.DataFrame:
    """rounds.csv: one row per pool that is due, by person and walking order."""
    stops = rounds.stops.assign(week=rounds.week.name)
    stops["not_reached"] = stops["not_reached"].dt.strftime("%Y-%m-%d").fillna("")
    stops["caution"] = [stop_caution(stop) for stop in stops.to_dict("records")]
    lon, lat = to_lonlat(stops["x"].to_numpy(float), stops["y"].to_numpy(float), rounds.area.crs)
    return stops.assign(lon=np.round(lon, 7), lat=np.round(lat, 7), leg_m=stops["leg_m"].round(1))[TABLE]


def rounds_summary(rounds: Rounds) -> dict[str, Any]:
    """The same for a machine."""
    people = [
        {
            "person": person,
            "pools": len(mine),
            "walk_m": round(rounds.walk_m(person), 1),
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
            "due": len(rounds.stops),
            "due_by_reason": rounds.counts,
            "rules": [{"reason": r, "rule": text, "basis": basis} for r, text, basis in rounds.rules],
            "along": rounds.along,
            "walk_m": round(rounds.walk_m(), 1),
            "people": people,
            "no_visit": [{"pool": pool, "why": why} for pool, why in _no_visits(rounds)],
            "notes": rounds.notes,
            "cautions": round_cautions(rounds.area.settings),
        }
    )
    return content


def _by_person(rounds: Rounds) -> dict[str, pd.DataFrame]:
    """The rows of rounds.csv for each person, who may have none."""
    stops = rounds_table(rounds)
    return {person: stops[stops["person"] == person] for person in rounds.people}


def rounds_text(rounds: Rounds) -> str:
    """The rounds for a terminal."""
    lines = [f"{rounds.area.title}: {_when(rounds)}", _headline(rounds)]
    for person, mine in _by_person(rounds).items():
        lines += ["", f"{person}: {_load(rounds, person, mine)}"]
        rows = [
            (str(s["order"]), s["pool"], _way(s, first=""), f"{s['why']}. {s['caution']}")
            for s in mine.to_dict("records")
        ]
        lines += [f"  {line}" for line in aligned(rows)]
    lines += ["", *(f"{pool}: {why}" for pool, why in _no_visits(rounds))] if len(rounds.withheld) else []
    return terminal([*lines, "", *rounds.notes, *round_cautions(rounds.area.settings)[:1]])


def _no_visits(rounds: Rounds) -> list[tuple[str, str]]:
    """The standing pools that nobody may visit, and why."""
    return list(zip(rounds.withheld["pool"], map(str, told_no_visits(rounds.withheld)), strict=True))


def write_rounds(rounds: Rounds, folder: str | Path) -> None:
    """Writes rounds.html, .pdf, .csv, .json and each person's list, route and calendar entry, whole or not at all."""
    files: dict[str, Content] = {
        "rounds.html": rounds_page(rounds),
        "rounds.pdf": rounds_pdf(rounds),
        "rounds.csv": csv_text(rounds_table(rounds)),
        "rounds.json": rounds_summary(rounds),
    }
    stops = _by_person(rounds)
    for person, name in file_names(rounds.people).items():
        files[f"{name}.html"] = person_page(rounds, person)
        files[f"{name}.gpx"] = route_gpx(rounds, person, stops[person])
        files[f"{name}.ics"] = calendar(rounds, person, stops[person])
    write_files(folder, files)


def file_names(people: Sequence[str]) -> dict[str, str]:
    """A file name for each person, of plain letters and digits whatever the name holds: `01-ann`."""
    width = max(2, len(str(len(people))))
    plain_names = [re.sub(r"[^a-z0-9]+", "-", fold(person)).strip("-")[:40] for person in people]
    return {p: f"{i:0{width}d}-{n or 'person'}" for i, (p, n) in enumerate(zip(people, plain_names, strict=True), 1)}


# --- print list -------------------------------------------------------------------------------------------------------


def rounds_page(rounds: Rounds) -> str:
    """The coordinator's page: the week, then a sheet for each person."""
    return report_page(rounds.area.title, KIND, _when(rounds), _sections(rounds), sheets=True)


def rounds_pdf(rounds: Rounds) -> bytes:
    """The same to be printed: the week, then each person's sheet on a page of its own."""
    pages = [[section] for section in _sections(rounds)]
    return sections_pdf(rounds.area.title, f"{KIND}, {_when(rounds)}", NOT_PUBLIC, pages)


def _sections(rounds: Rounds) -> list[Section]:
    stops = _by_person(rounds)
    rows = [(p, len(mine), metres(rounds.walk_m(p)), _water(mine)) for p, mine in stops.items()]
    rules = [(reason, rounds.counts[reason], text, basis) for reason, text, basis in rounds.rules]
    note = "The days stand in area.toml under [rounds]. A pool counts under its first reason."
    first = Section(
        "week",
        f"Week {rounds.week.name}",
        _headline(rounds),
        words=rounds.notes,
        tables=[
            Table("Who goes", ["Who", "Pools", "On foot", "Rain water to take"], rows),
            Table("Why pools are due", ["Reason", "Pools", "Rule", "Rests on"], rules, note),
            *([Table("Not to be visited", ["Pool", "Why"], _no_visits(rounds))] if len(rounds.withheld) else []),
        ],
        cautions=["\n".join(round_cautions(rounds.area.settings))],
    )
    return [first, *(_sheet(rounds, p, mine, i) for i, (p, mine) in enumerate(stops.items()))]


def person_page(rounds: Rounds, person: str) -> str:
    """One person's page: their pools and nobody else's."""
    sheet = _sheet(rounds, person, _by_person(rounds)[person], 0)
    return report_page(rounds.area.title, KIND, _when(rounds), [sheet], sheets=True)


def _sheet(rounds: Rounds, person: str, mine: pd.DataFrame, number: int) -> Section:
    columns: dict[str, Column] = {
        "Pool": lambda s: f"{s['order']} {s['pool']}",
        "What to do": lambda s: f"{s['why']}.",
        "Way": lambda s: _way(s, first="start"),
        "Where": lambda s: "; ".join(
            part for part in (f"{s['lat']:.5f}, {s['lon']:.5f}", s["container"], s["note"]) if part
        ),
        "Before you go": "caution",
        "Seen, larvae, done": lambda s: TO_WRITE,
    }
    litter = ", and leaf litter" if (mine["reason"] == Due.FOUND_DRY).any() else ""
    return Section(
        f"sheet-{letters(number)}",
        person,
        f"{rounds.week.name}: {_load(rounds, person, mine)}.",
        words=[f"Take {GEAR}{litter}; rain water: {_water(mine)}."],
        drawings=[_sketch(rounds, person, mine)],
        tables=[table(f"Pools of {person}, in walking order", mine, columns)],
        cautions=["\n".join(round_cautions(rounds.area.settings))],
    )


def _sketch(rounds: Rounds, person: str, mine: pd.DataFrame) -> Drawing:
    """The way and the stops over the paths around."""
    line = rounds.lines[person]
    frame = _frame(line)
    window, wide = shapely.box(*frame), frame[2] - frame[0]
    paths = [p for p in rounds.area.paths.geometry if p is not None and p.intersects(window)]
    near = shapely.get_parts(shapely.simplify(shapely.intersection(paths, window), wide / 300))
    lines = [shapely.get_coordinates(part) for part in near if part.geom_type == "LineString"]
    stops = [(s["x"], s["y"], str(s["order"])) for s in mine.to_dict("records")]
    what = f"Sketch of the way to {count(len(stops), 'pool')} in walking order"
    bar_m = max(length for length in BARS_M if length <= wide / 4)
    caption = f"North is up; the bar is {bar_m:g} m. {_FOLLOWS[rounds.along]}"
    if lines:
        caption += " " + " ".join(["Grey: paths.", *rounds.area.credits])
    return Drawing(route(frame, lines, line, stops, bar_m, what), caption)


def _frame(line: NDArray[np.float64]) -> tuple[float, float, float, float]:
    """A frame around the way, with a margin, no flatter than 1:2 and no taller than 1:1."""
    (west, south), (east, north) = line.min(axis=0), line.max(axis=0)
    width, height = max(east - west, 200.0), max(north - south, 100.0)
    width, height = 1.15 * max(width, height), 1.15 * max(height, width / 2)
    x, y = (west + east) / 2, (south + north) / 2
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


# --- route and calendar -----------------------------------------------------------------------------------------------


def route_gpx(rounds: Rounds, person: str, mine: pd.DataFrame) -> bytes:
    """A route of GPX 1.1 with a point for each pool, and the way along the paths as a track."""
    name = f"{rounds.week.name} {person}"
    root = gpx_root(f"{rounds.area.title}: {name}", " ".join(round_cautions(rounds.area.settings)))
    way = _child(root, "rte")
    gpx_text(way, "name", name)
    for stop in mine.to_dict("records"):
        point = gpx_point(way, "rtept", stop["lon"], stop["lat"])
        gpx_text(point, "name", f"{stop['order']} {stop['pool']}")
        gpx_text(point, "desc", f"{stop['why']}. {stop['caution']}".strip())
    line = rounds.lines[person]
    if len(line) > len(mine):  # more than the stops themselves: it follows paths
        track = _child(root, "trk")
        gpx_text(track, "name", f"{name}, along {rounds.along}")
        segment = _child(track, "trkseg")
        for lon, lat in zip(*to_lonlat(line[:, 0], line[:, 1], rounds.area.crs), strict=True):
            gpx_point(segment, "trkpt", lon, lat)
    return gpx_document(root)


def _child(parent: ElementTree.Element, tag: str) -> ElementTree.Element:
    return ElementTree.SubElement(parent, f"{{{GPX}}}{tag}")


def calendar(rounds: Rounds, person: str, mine: pd.DataFrame) -> bytes:
    """An entry of iCalendar (RFC 5545) for the whole week; stamped with the day of the data, not of the run."""
    from icalendar import Calendar, Event

    table = Calendar()
    table.add("prodid", "-//habitatmap//rounds//EN")
    table.add("version", "2.0")
    entry = Event()
    known = "|".join([rounds.area.title, rounds.week.name, person])
    entry.add("uid", f"{hashlib.sha256(known.encode('utf-8', 'replace')).hexdigest()[:32]}@habitatmap.invalid")
    stamp = datetime.datetime.combine(rounds.area.as_of, datetime.time(), datetime.UTC)
    entry.add("dtstamp", stamp)
    entry.add("dtstart", rounds.week.monday)
    entry.add("dtend", rounds.week.monday + datetime.timedelta(days=7))
    entry.add("summary", _one_line(f"{rounds.area.title}: {count(len(mine), 'pool')} to visit"))
    stops = [f"{s['order']} {s['pool']}: {s['why']}. {s['caution']}" for s in mine.to_dict("records")]
    said = [f"{person}: {_load(rounds, person, mine)}.", *stops, *round_cautions(rounds.area.settings)]
    entry.add("description", "\n".join(_one_line(line) for line in said))
    entry.add("class", "PRIVATE")
    entry.add("transp", "TRANSPARENT")
    table.add_component(entry)
    return bytes(table.to_ical())


def _one_line(text: str) -> str:
    return " ".join(visible(shown(text)).split())


# --- words ------------------------------------------------------------------------------------------------------------


def _when(rounds: Rounds) -> str:
    return f"{rounds.week.name}, {rounds.week.monday} to {rounds.week.sunday}, as known on {rounds.area.as_of}"


def _headline(rounds: Rounds) -> str:
    n, people = len(rounds.stops), len(rounds.people)
    stand = f"{count(rounds.standing, 'pool')} {'stands' if rounds.standing == 1 else 'stand'}"
    if not n:
        return f"No pool is due: {stand}, and none of the rules asks for a visit this week."
    due = ", ".join(f"{reason}: {number}" for reason, number in rounds.counts.items() if number)
    who = f"{people} people" if people > 1 else "one person"
    way = f", {metres(rounds.walk_m())} on foot in all, measured along {rounds.along}" if n > people else ""
    are = "is" if n == 1 else "are"
    return f"{n} of {count(rounds.standing, 'standing pool')} {are} due ({due}), for {who}{way}."


def _load(rounds: Rounds, person: str, mine: pd.DataFrame) -> str:
    """How much one person has to do."""
    dry, hot = (int((mine["reason"] == reason).sum()) for reason in (Due.FOUND_DRY, Due.HOT_WEEK))
    parts = [count(len(mine), "pool"), f"{dry} dry" if dry else "", f"{hot} to top up in the heat" if hot else ""]
    parts += [f"{metres(rounds.walk_m(person))} on foot"] if len(mine) != 1 else []
    return ", ".join(filter(None, parts))


def _way(stop: Row, first: str) -> str:
    """How far it is from the stop before."""
    return metres(stop["leg_m"]) if stop["order"] > 1 else first


def _water(mine: pd.DataFrame) -> str:
    """Litres to take, rounded up, and for how many pools nobody knows."""
    known, unknown = mine["water_l"].sum(), int(mine["water_l"].isna().sum())
    more = f"{count(unknown, 'pool')} of unknown volume"
    if not known:
        return f"enough for {more}"
    return f"about {np.ceil(known):.0f} l" + (f" and for {more}" if unknown else "")
