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

import numpy as np
import pandas as pd
import shapely

from habitatmap.export.folder import write_folder
from habitatmap.export.formats import csv_text, gpx_document, gpx_point, gpx_root, gpx_text, json_text, plain, visible
from habitatmap.fieldwork.rounds import TOP_UP, Rounds
from habitatmap.geo.crs import to_lonlat
from habitatmap.page.document import shown
from habitatmap.page.drawings import route
from habitatmap.page.sections import Drawing, Section, Table, report_page
from habitatmap.paper.printed import sections_pdf
from habitatmap.read.headings import fold
from habitatmap.words.cautions import round_cautions, stop_caution

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
    table = rounds_table(rounds)
    people = [
        {
            "person": person,
            "pools": len(mine),
            "walk_m": round(rounds.walk_m(person), 1),
            "water_l": round(float(mine["water_l"].sum()), 1),
            "water_not_known": int(mine["water_l"].isna().sum()),
            "stops": mine.drop(columns=["person", "week"]).to_dict("records"),
        }
        for person in rounds.people
        for mine in [table[table["person"] == person]]
    ]
    content: dict[str, Any] = plain(
        {
            "title": rounds.area.title,
            "week": rounds.week.name,
            "monday": rounds.week.monday,
            "as_of": rounds.area.as_of,
            "standing": rounds.standing,
            "due": len(table),
            "due_by_reason": rounds.counts,
            "rules": [{"reason": r, "rule": text, "basis": basis} for r, text, basis in rounds.rules],
            "along": rounds.along,
            "walk_m": round(rounds.walk_m(), 1),
            "people": people,
            "notes": rounds.notes,
            "cautions": round_cautions(rounds.area.settings),
        }
    )
    return content


def rounds_text(rounds: Rounds) -> str:
    """The rounds for a terminal."""
    lines = [f"{rounds.area.title}: {_when(rounds)}", _headline(rounds)]
    table = rounds_table(rounds)
    for person in rounds.people:
        mine = table[table["person"] == person]
        lines += ["", f"{person}: {_load(rounds, person, mine)}"]
        rows = [
            (str(s["order"]), s["pool"], _metres(s["leg_m"]) if s["order"] > 1 else "", f"{s['why']}. {s['caution']}")
            for s in mine.to_dict("records")
        ]
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        lines += ["  " + "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines += ["", *rounds.notes, *round_cautions(rounds.area.settings)[:1]]
    return visible("\n".join(shown(line) for line in lines)) + "\n"


def write_rounds(rounds: Rounds, folder: str | Path) -> None:
    """Writes rounds.html, .pdf, .csv, .json and each person's list, route and calendar entry, whole or not at all."""
    table = rounds_table(rounds)
    files = {
        "rounds.html": rounds_page(rounds).encode("utf-8"),
        "rounds.pdf": rounds_pdf(rounds),
        "rounds.csv": csv_text(table).encode("utf-8"),
        "rounds.json": json_text(rounds_summary(rounds)).encode("utf-8"),
    }
    for person, name in file_names(rounds.people).items():
        mine = table[table["person"] == person]
        files[f"{name}.html"] = person_page(rounds, person).encode("utf-8")
        files[f"{name}.gpx"] = route_gpx(rounds, person, mine)
        files[f"{name}.ics"] = calendar(rounds, person, mine)

    def fill(fresh: Path) -> None:
        for name, content in files.items():
            (fresh / name).write_bytes(content)

    write_folder(Path(folder).resolve(), fill)


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
    table = rounds_table(rounds)
    rows = [(p, len(mine), _metres(rounds.walk_m(p)), _water(mine))
            for p in rounds.people for mine in [table[table["person"] == p]]]  # fmt: skip
    heads = ["Who", "Pools", "On foot", "Rain water to take"]
    rules = [(reason, rounds.counts[reason], text, basis) for reason, text, basis in rounds.rules]
    first = Section(
        "week",
        f"Week {rounds.week.name}",
        _headline(rounds),
        words=rounds.notes,
        tables=[
            *([Table("Who goes", heads, rows)] if rows else []),
            Table(
                "Why pools are due",
                ["Reason", "Pools", "Rule", "Rests on"],
                rules,
                "The days stand in area.toml under [rounds]. A pool counts under its first reason.",
            ),
        ],
        cautions=[" ".join(round_cautions(rounds.area.settings))],
    )
    sheets = [_sheet(rounds, p, table[table["person"] == p], i) for i, p in enumerate(rounds.people)]
    return [first, *sheets]


def person_page(rounds: Rounds, person: str) -> str:
    """One person's page: their pools and nobody else's."""
    table = rounds_table(rounds)
    sheet = _sheet(rounds, person, table[table["person"] == person], 0)
    return report_page(rounds.area.title, KIND, _when(rounds), [sheet], sheets=True)


def _sheet(rounds: Rounds, person: str, mine: pd.DataFrame, number: int) -> Section:
    rows = [
        (
            f"{s['order']} {s['pool']}",
            f"{s['why']}.",
            _metres(s["leg_m"]) if s["order"] > 1 else "start",
            "; ".join(p for p in (f"{s['lat']:.5f}, {s['lon']:.5f}", s["container"], s["note"]) if p),
            s["caution"],
            TO_WRITE,
        )
        for s in mine.to_dict("records")
    ]
    heads = ["Pool", "What to do", "Way", "Where", "Before you go", "Seen, larvae, done"]
    return Section(
        f"sheet-{_letters(number)}",
        person,
        f"{rounds.week.name}: {_load(rounds, person, mine)}.",
        words=[f"Take {GEAR}{', and leaf litter' if (mine['reason'] == 'found dry').any() else ''}; "
               f"rain water: {_water(mine)}."],
        drawings=[_sketch(rounds, person, mine)],
        tables=[Table(f"Pools of {person}, in walking order", heads, rows)],
        cautions=[" ".join(round_cautions(rounds.area.settings))],
    )  # fmt: skip


def _sketch(rounds: Rounds, person: str, mine: pd.DataFrame) -> Drawing:
    """The way and the stops over the paths around."""
    line = rounds.lines[person]
    west, south, east, north = _frame(line)
    paths = [p for p in rounds.area.paths.geometry if p is not None and p.intersects(shapely.box(*_frame(line)))]
    ground = shapely.get_parts(
        shapely.simplify(shapely.intersection(paths, shapely.box(west, south, east, north)), (east - west) / 300)
    )
    lines = [shapely.get_coordinates(part) for part in ground if part.geom_type == "LineString"]
    stops = [(s["x"], s["y"], str(s["order"])) for s in mine.to_dict("records")]
    what = f"Sketch of the way to {len(stops)} pools in walking order"
    metres = _round_length((east - west) / 4)
    caption = f"North is up; the bar is {metres:g} m. {_FOLLOWS[rounds.along]}"
    if lines:
        caption += " " + " ".join(["Grey: paths.", *rounds.area.credits])
    return Drawing(route((west, south, east, north), lines, line, stops, metres, what), caption)


def _frame(line: Any) -> tuple[float, float, float, float]:
    """A frame around the way, with a margin, no flatter than 1:2 and no taller than 1:1."""
    (west, south), (east, north) = line.min(axis=0), line.max(axis=0)
    width, height = max(east - west, 200.0), max(north - south, 100.0)
    width, height = 1.15 * max(width, height), 1.15 * max(height, width / 2)
    x, y = (west + east) / 2, (south + north) / 2
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def _round_length(metres: float) -> float:
    """The largest of 1, 2, 5, 10, ... that is no longer."""
    power = 10.0 ** np.floor(np.log10(metres))
    return float(max(step * power for step in (1, 2, 5) if step * power <= metres))


def _letters(number: int) -> str:
    """a, b, ..., z, ba, bb, ..."""
    more, last = divmod(number, 26)
    return (_letters(more) if more else "") + chr(ord("a") + last)


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


def _child(parent: Any, tag: str) -> Any:
    gpx_text(parent, tag, "")
    parent[-1].text = None
    return parent[-1]


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
    entry.add("summary", _one_line(f"{rounds.area.title}: {len(mine)} pools to visit"))
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
    n = len(rounds.stops)
    if not n:
        return f"No pool is due: {rounds.standing} pools stand, and none of the rules asks for a visit this week."
    due = ", ".join(f"{reason}: {count}" for reason, count in rounds.counts.items() if count)
    who = f"{len(rounds.people)} people" if len(rounds.people) > 1 else "one person"
    way = (
        f", {_metres(rounds.walk_m())} on foot in all, measured along {rounds.along}" if n > len(rounds.people) else ""
    )
    return f"{n} of {rounds.standing} standing pools are due ({due}), for {who}{way}."


def _load(rounds: Rounds, person: str, mine: pd.DataFrame) -> str:
    ups = int(mine["reason"].isin(TOP_UP).sum())
    if len(mine) == 1:
        return "1 pool, to top up" if ups else "1 pool"
    up = f", {ups} of them to top up" if ups else ""
    return f"{len(mine)} pools{up}, {_metres(rounds.walk_m(person))} on foot"


def _water(mine: pd.DataFrame) -> str:
    """Litres to take, and for how many pools nobody knows."""
    known, unknown = mine["water_l"].sum(), int(mine["water_l"].isna().sum())
    more = f"{unknown} pool{'s' * (unknown != 1)} of unknown volume"
    if not known:
        return f"enough for {more}"
    return f"about {max(np.ceil(known), 1):.0f} l" + (f" and for {more}" if unknown else "")


def _metres(metres: float) -> str:
    return f"{metres / 1000:.1f} km" if metres >= 1000 else f"{round(metres, -1):.0f} m"
