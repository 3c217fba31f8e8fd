"""Crew sheets, labels and recording sheets as data for typst: what a crew needs at each site, nothing of others.

The sheets are for the team: they name land and say where a suggestion stands. On private land there is no point, only
the street or square to ask in.
"""

from __future__ import annotations

import hashlib
import io
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import segno
import shapely
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import InputError
from habitatmap.export.folder import folder_names, write_files
from habitatmap.paper.maps import INK, ZONE, Sheet, disc, ground, sign, swatch
from habitatmap.paper.typst_pdf import pdf
from habitatmap.privacy import ASK_M, may_be_placed, middle_of_square, square_around
from habitatmap.read.templates import TEMPLATES
from habitatmap.result import Result
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.where import Direction
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.cautions import consent, for_area, for_recording, sentences
from habitatmap.words.no_visit import told_no_visits
from habitatmap.words.numbers import UNKNOWN, known, percent
from habitatmap.words.plan import plan_note
from habitatmap.words.reasons import reason
from habitatmap.words.sentences import Sentence, apart, as_it_is, following, hectares, say, whole_metres
from habitatmap.words.tables import Row, rows_of
from habitatmap.words.where import told_place

AROUND_M = 400.0  # side of the map picture of a site
PICTURE_UNITS = 300.0
NOT_PUBLIC = "For the team: names places and people's consent. Not to be published."

ROWS_FIRST_SHEET, ROWS_A_SHEET = 13, 16
LEAST_EMPTY = 4  # rows for pools that are on no list yet
MOST_OF_A_NAME = 80  # bytes of a name in a code, so that a phone still reads it
WHAT = {
    "sites.pdf": "a page for each suggested site",
    "labels.pdf": "labels for the standing pools and the suggested ones",
    "recording.pdf": "rows to fill in at each visit",
}
WORDS = {
    "why": "Why here",
    "ground": "Getting there and asking",
    "cautions": "Take care",
    "bring": "Bring",
    "how": "Install it",
    "log": "What was done",
    "log_words": "Type this into the list of pools the same day: a pool that is not where the list says is lost.",
    "to_bring": [
        "the container with its grille, a strap (no nails, no wire), two or three sticks as thick as a finger",
        "leaf litter of the place and wood chips, a third to half of the volume; 1 to 10 litres of rain water",
        "the label, this sheet, a pen, a phone with its location on; gloves, plasters, water and soap",
    ],
    "steps": [
        "Speak to whoever owns or rents the land, even where consent is on record.",
        "Look for shade and level, firm ground.",
        "Set it so that it can't tip, with holes for the overflow: litter first, then water, 10 cm at most.",
        "Lay dry litter around the stick's end at the rim: larvae leave the water to pupate.",
        "Fix the label, and log below where it went.",
    ],
    "basis": "Sizes, filling and shade: expert judgement.",
    "fields": [
        "Installed on (year-month-day)",
        "Pool (name on the label)",
        "Installed by",
        "Where it went: latitude, longitude",
        "Accuracy shown, m",
        "Container, volume in litres",
    ],
    "ticks": ["owner agrees", "grille or narrow neck", "no play area near", "label fixed"],
    "qr": "Opens the place on a phone.",
    "labels": "Labels: print on weatherproof paper, cut along the lines. The code holds the pool's name.",
    "label_what": "Nursery of hoverflies: their larvae live in this water.",
    "label_leave": "Please leave it as it is.",
    "label_water": "Water: keep small children away. Do not drink it, empty it or move it.",
    "label_questions": "Questions, or mosquito larvae seen:",
    "recording_how": "One row for one visit to one pool, whatever you found: a pool that was dry, gone or not reached "
    "is a row too. Leave blank what you do not know; blank is not none. Dates as year-month-day. Typed into a sheet "
    "with these headings, the rows are read as they stand.",
}


@dataclass(frozen=True)
class Site:
    """A suggestion as its sheet shows it. On private land x, y (metres) are the middle of the square to ask in."""

    rank: int
    id: str  # as on the team's page
    name: str  # of the pool that will stand there
    x: float
    y: float
    private: bool
    zone: BaseGeometry | None

    def is_near(self, x: float, y: float) -> bool:
        """Whether a point lies within the picture."""
        return max(abs(x - self.x), abs(y - self.y)) < AROUND_M / 2


class NothingToPrintError(InputError):
    """There is nothing that the sheet could show."""

    def __init__(self, told: Sentence) -> None:
        super().__init__(str(told))
        self.told = told


@dataclass(frozen=True)
class Printed:
    """What was written: file -> what it is, file -> why it was left out, pool -> why nobody may visit it."""

    files: Mapping[str, Sentence]
    left_out: Mapping[str, Sentence]
    no_visit: Mapping[str, Sentence]

    def lines(self, spoken: Catalogue = ENGLISH) -> list[str]:
        """The same for a terminal."""
        said = [say("{name}: {what}", name=name, what=what) for name, what in self.files.items()]
        said += [say("{name}: left out. {why}", name=name, why=why) for name, why in self.left_out.items()]
        return [
            spoken.say(line)
            for line in (*said, *(say("{name}: {why}", name=n, why=w) for n, w in self.no_visit.items()))
        ]

    def for_json(self) -> dict[str, object]:
        """The same for a machine."""
        return {
            "files": [{"file": name, "what": what} for name, what in self.files.items()],
            "left_out": [{"file": name, "why": why} for name, why in self.left_out.items()],
            "no_visit": [{"pool": name, "why": why} for name, why in self.no_visit.items()],
        }


def write_sheets(
    result: Result, folder: str | Path, chosen: Sequence[str] = (), spoken: Catalogue = ENGLISH
) -> Printed:
    """Writes sites.pdf, labels.pdf and recording.pdf into `folder`, whole or not at all.

    Each group of the area gets labels and recording sheets of its own, in a folder of its name.
    A sheet that there is nothing for (no suggestion, no pool) is left out, and its line says why. Raises InputError for
    a site that the plan lacks, HabitatmapError where the disk is full.
    """
    made: dict[str, bytes] = {}
    left_out: dict[str, Sentence] = {}
    makers: dict[str, Callable[[], bytes]] = {
        "sites.pdf": lambda: site_sheets(result, chosen, spoken),
        "labels.pdf": lambda: labels(result, spoken),
        "recording.pdf": lambda: recording_sheet(result, spoken),
    }
    for group, own in folder_names([str(name) for name in sorted(set(result.pools["group"])) if name]).items():
        makers[f"{own}/labels.pdf"] = partial(labels, result, spoken, group)
        makers[f"{own}/recording.pdf"] = partial(recording_sheet, result, spoken, group)
    for name, make in makers.items():
        try:
            made[name] = make()
        except NothingToPrintError as why:
            left_out[name] = why.told
    write_files(folder, made, "sheets")
    pools = result.pools[[bool(why) for why in result.pools["no_visit"]]]
    return Printed(
        {name: Sentence(WHAT[Path(name).name]) for name in made},
        left_out,
        dict(zip(map(str, pools["pool"]), told_no_visits(pools), strict=True)),
    )


def site_sheets(result: Result, chosen: Sequence[str] = (), spoken: Catalogue = ENGLISH) -> bytes:
    """PDF: a page for every suggestion, or for those `chosen` by id or number. Raises InputError or
    NothingToPrintError."""
    plan = result.plan
    if chosen:
        asked = {one.casefold() for one in chosen}
        known_as = [{str(row["id"]).casefold(), str(row["rank"])} for row in plan.to_dict("records")]
        unknown = [one for one in chosen if one.casefold() not in set().union(*known_as)]
        if unknown:
            have = ", ".join(plan["id"]) or "none"
            raise InputError(f"--site {unknown[0]}: there is no such suggestion; the plan has {have}.")
        plan = plan[[bool(names & asked) for names in known_as]]
    if not len(plan):
        why = plan_note(result.figures.plan) or Sentence("no pool is asked for")
        nothing = "{title}: there is no suggestion to make sheets for: {why}."
        raise NothingToPrintError(say(nothing, title=result.title, why=why))
    names = dict(zip(result.plan["rank"], new_names(result), strict=True))
    sites: list[dict[str, object]] = []
    pictures: dict[str, bytes] = {}
    for at, row, open_land in zip(plan.index, rows_of(plan), may_be_placed(plan), strict=True):
        rank, private = int(row["rank"]), not open_land
        x, y = _middle(result, rank) if private else (float(row["x"]), float(row["y"]))
        site = Site(rank, str(row["id"]), names[rank], x, y, private, result.zones.geometry.iloc[at])
        pictures[f"m{rank}.svg"] = _picture(result, site, spoken).encode("utf-8")
        if not private:
            pictures[f"q{rank}.svg"] = _qr(geo_uri(row["lat"], row["lon"], result.grid.cell_m, site.name))
        sheet = spoken.everything(_sheet_of(result, site, row))
        sites.append(sheet | {"id": site.id, "map": f"m{rank}.svg", "qr": None if private else f"q{rank}.svg"})
    title = say("{title}: sites for new pools", title=result.title)
    return _printed("sites", title, {"sites": sites}, pictures, spoken)


def _printed(
    kind: str, title: Sentence, content: dict[str, object], pictures: Mapping[str, bytes], spoken: Catalogue
) -> bytes:
    """The PDF of one kind of sheet with the words that all have."""
    words = spoken.everything({"title": title, "footer": NOT_PUBLIC, "words": WORDS})
    return pdf("sheets.typ", {"kind": kind, **words, **content}, pictures, spoken.language)


def labels(result: Result, spoken: Catalogue = ENGLISH, group: str = "") -> bytes:
    """PDF: a label for each standing pool of the area's own and each suggestion, or for each standing pool of a group,
    with the contact line of area.toml; NothingToPrintError."""
    names = [*_standing(result, group), *([] if group else new_names(result))]
    if not names:
        nothing = "{title}: there is neither a standing pool nor a suggestion to make labels for."
        raise NothingToPrintError(say(nothing, title=result.title))
    contact = result.settings.sheets.contact
    pictures = {f"q{i}.svg": _qr(in_a_code(name)) for i, name in enumerate(names)}
    each = [
        {
            "name": shortened(name),
            "long": max(len(shortened(name)), 6),
            "contact": contact,
            "qr": file,
            "qr-alt": spoken.say(say("Code holding the pool's name, {name}", name=shortened(name))),
        }
        for file, name in zip(pictures, names, strict=True)
    ]
    return _printed("labels", say("{title}: labels", title=_title(result, group)), {"labels": each}, pictures, spoken)


def _title(result: Result, group: str) -> str:
    return ", ".join(filter(None, (result.title, group)))


def _standing(result: Result, group: str) -> list[str]:
    """The standing pools of a group ("": of the area's own lists) that somebody may visit."""
    pools = result.pools
    due = (pools["standing"] == "yes") & (pools["no_visit"] == "") & (pools["group"] == group)
    return [str(name) for name in pools.loc[due, "pool"]] if len(pools) else []


def recording_sheet(result: Result, spoken: Catalogue = ENGLISH, group: str = "") -> bytes:
    """PDF: a table to fill in by hand, one row a visit, its headings those of visits.csv; standing pools of the group
    ("": of the area's own lists) first."""
    standing = sorted(_standing(result, group))
    left = ROWS_FIRST_SHEET - len(standing) - LEAST_EMPTY
    empty = LEAST_EMPTY + (left if left >= 0 else left % ROWS_A_SHEET)
    columns = TEMPLATES[Kind.VISITS]
    hints = [" / ".join(map(spoken.look_up, column.values)) for column in columns]
    rows = [[name, *hints[1:]] for name in standing] + [hints] * empty
    content = {
        "heads": [spoken.say(column.name) for column in columns],
        "widths": [column.entry.paper_cm for column in columns],
        "rows": rows,
        "cautions": _halves(spoken.everything(sentences(for_recording(result.settings)))),
    }
    return _printed("recording", say("{title}: what was seen", title=_title(result, group)), content, {}, spoken)


def new_names(result: Result) -> list[str]:
    """Names for pools at the suggestions, in their order: the sites' ids, "new" before one that a pool already has."""
    taken = {str(name).casefold() for name in result.pools["pool"]} if len(result.pools) else set()
    names = []
    for name in result.plan["id"].astype(str):
        while name.casefold() in taken:
            name = f"new {name}"
        names.append(name)
    return names


def _sheet_of(result: Result, site: Site, row: Row) -> dict[str, object]:
    """A suggestion's sheet as data; `row` is that of plan.csv."""
    facts: list[list[str]] = [["Name of the pool", as_it_is(site.name)]]
    if not site.private:
        facts += [
            ["Latitude, longitude", as_it_is(f"{row['lat']:.5f}, {row['lon']:.5f}")],
            [as_it_is(result.crs.to_string()), as_it_is(f"{row['x']:.0f}, {row['y']:.0f}")],
        ]
    stays = say("{share} of the simulations", share=percent(row["robustness"]))
    zone = say(
        "Any place within the dashed line ({ha}) serves at least 90 % as well, if its owner agrees: choose the safest "
        "and shadiest.",
        ha=hectares(site.zone.area / 10_000) if site.zone is not None else "",
    )
    return {
        "title": told_place(row["place"]),
        "subtitle": say(
            "{title}, plan as of {day}, number {n} of {of}",
            title=result.title,
            day=result.figures.as_of,
            n=site.rank,
            of=len(result.plan),
        ),
        "map-alt": say(
            "Map of the {m} about site {site}, with ways, pools and exclusion zones",
            m=whole_metres(AROUND_M),
            site=site.id,
        ),
        "qr-alt": say("Code holding the place of site {site} and the name {name}", site=site.id, name=site.name),
        "facts": [*facts, ["Stays in the plan in", stays if known(row["robustness"]) else UNKNOWN]],
        "reason": reason(row),
        "zone": zone if site.zone is not None else "",
        "access": "" if site.private else access(site.x, site.y, result.paths),
        "consent": following(Sentence(consent(row).sentence), _also(row), *_agreed(result, site)),
        "cautions": _halves(sentences(for_area(result.settings))),
    }


def _also(row: Row) -> Sentence:
    """Whom to ask besides the owner, in a sentence; "" for nobody."""
    whom = apart([Sentence(part) for part in str(row["also_ask"]).split("; ")], by="; ")
    return say("To be asked as well: {whom}.", whom=whom) if row["also_ask"] else Sentence("")


def _agreed(result: Result, site: Site) -> list[Sentence]:
    """On what condition the land may be used, and how to reach whoever decides; nothing of private land."""
    land = result.places
    here = land[land.geometry.intersects(shapely.Point(site.x, site.y))] if len(land) and not site.private else land[:0]
    said = [say("Condition: {text}.", text=text.rstrip(".")) for text in dict.fromkeys(here["condition"]) if text]
    return said + [say("Contact: {text}.", text=text) for text in dict.fromkeys(here["contact"]) if text]


def _halves(texts: list[str]) -> list[list[str]]:
    """Two columns of about the same length, in the same order."""
    length = np.cumsum([len(text) + 40 for text in texts])
    cut = int(np.argmin(np.abs(length - length[-1] / 2))) + 1
    return [texts[:cut], texts[cut:]]


def geo_uri(lat: float, lon: float, uncertainty_m: float, name: str) -> str:
    """The place as a URI that phones open (RFC 5870: latitude first, u = uncertainty in m), with the pool's name."""
    safe = "".join(c for c in name if c.isascii() and (c.isalnum() or c in "-_."))[:MOST_OF_A_NAME]
    return f"geo:{lat:.6f},{lon:.6f};u={math.ceil(uncertainty_m)};pool={safe}"


def access(x: float, y: float, paths: gpd.GeoDataFrame) -> Sentence:
    """The nearest way, how far and where it lies from the site; straight lines, as the crow flies."""
    if not len(paths):
        return Sentence("No ways are on record: look for a safe way in yourself.")
    point = shapely.Point(x, y)
    distances = paths.geometry.distance(point).to_numpy()
    at = int(np.argmin(distances))
    way = paths.iloc[at]
    on = shapely.get_point(shapely.shortest_line(point, way.geometry), 1)
    kind = str(way["kind"])
    called = str(way["name"]) or Sentence(kind or "way")
    if distances[at] < 1:
        return say("It stands on the way itself ({way}): choose a place beside it.", way=called)
    how = "The nearest way is {way}, {m} to the {wind} as the crow flies."
    return say(how, way=called, m=whole_metres(distances[at]), wind=Direction.of(on.x - x, on.y - y))


def _middle(result: Result, rank: int) -> tuple[float, float]:
    """The middle of the square that a suggestion on private ground lies in."""
    cell = result.findings.proposal.sites.iloc[rank - 1]
    x, y = result.grid.centre(int(cell["row"]), int(cell["col"]))
    east, north = middle_of_square(x, y, ASK_M)
    return float(east), float(north)


def _picture(result: Result, site: Site, spoken: Catalogue) -> str:
    """The surroundings of a site: land, exclusion zones, its zone, trees, and where it is not private, pools."""
    half = AROUND_M / 2
    sheet = Sheet(site.x - half, site.y - half, site.x + half, site.y + half, PICTURE_UNITS)
    ground(sheet, result, faint=True)
    sheet.lines(result.places.geometry, f'stroke="{INK}" stroke-width=".4" stroke-opacity=".35"')
    away = result.keep_away
    if len(away):
        near = away[away.geometry.distance(shapely.Point(site.x, site.y)) < AROUND_M + away["distance_m"].max()]
        # as one shape: a street of many pieces would be shaded as often
        about = shapely.union_all([shape.buffer(d) for shape, d in zip(near.geometry, near["distance_m"], strict=True)])
        sheet.areas([about], 'fill="#54301c" fill-opacity=".14" stroke="#54301c" stroke-width=".5" stroke-opacity=".5"')
        sheet.key.append((swatch("#ded3cc"), "exclusion zone"))
    if site.zone is not None:
        look = f'fill="{ZONE}" fill-opacity=".1" stroke="{ZONE}" stroke-width="1.6" stroke-dasharray="5 3"'
        sheet.areas([site.zone], look)
        sheet.key.append((swatch("#f6e6e3"), "serves as well"))
    _way_names(sheet, result.paths)
    holes = result.trees[result.trees["rot_hole_probability"] >= result.settings.near.dead_wood_from]
    _marks(sheet, site, holes, ("leaf", "#7a5230", 4), "rot-hole tree")
    if site.private:
        sheet.lines(square_around([site.x], [site.y], ASK_M), f'stroke="{ZONE}" stroke-width="2"')
        sheet.key.append((swatch("#ffffff"), "square to ask in"))
    else:  # on the way to a private site a pool in somebody's garden is no help
        standing = result.pools[result.pools["standing"] == "yes"]
        _marks(sheet, site, standing, ("circle", "#0e5a72", 4.5), "standing pool")
        sheet.number(site.x, site.y, site.id)
        sheet.key.append((disc(site.id), "suggested site"))
    return sheet.svg(say("Site {site}", site=site.id), result.credits, spoken)


def _marks(sheet: Sheet, site: Site, points: pd.DataFrame, look: tuple[str, str, float], words: str) -> None:
    """The points (x, y in metres) that lie near the site, and where there are any, the sign in the key."""
    near = [(x, y) for x, y in points[["x", "y"]].to_numpy(dtype=float) if site.is_near(x, y)]
    for x, y in near:
        sheet.mark(x, y, *look)
    if near:
        sheet.key.append((sign(*look), words))


def _way_names(sheet: Sheet, paths: gpd.GeoDataFrame, most: int = 8) -> None:
    """Names along the ways that are longest within the sheet, each once."""
    window = shapely.box(sheet.left, sheet.bottom, sheet.right, sheet.top)
    longest: dict[str, BaseGeometry] = {}
    for name, way in zip(paths["name"].astype(str), paths.geometry, strict=True):
        for part in shapely.get_parts(shapely.intersection(way, window)) if name else ():
            if name not in longest or part.length > longest[name].length:
                longest[name] = part
    for name, part in sorted(longest.items(), key=lambda item: (-item[1].length, item[0]))[:most]:
        if part.length * sheet.scale >= 4.6 * len(name):
            sheet.writing(part, name)


def shortened(name: str) -> str:
    """A pool's name as a label has room for."""
    return name if len(name) <= MOST_OF_A_NAME else f"{name[: MOST_OF_A_NAME - 1]}…"


def in_a_code(name: str) -> str:
    """A pool's name as a code holds it: whole, or its beginning and eight digits that tell it from others."""
    if len(name.encode("utf-8", "replace")) <= MOST_OF_A_NAME:
        return name
    digits = hashlib.sha256(name.encode("utf-8", "replace")).hexdigest()[:8]
    room = MOST_OF_A_NAME - len("… ") - 2 - len(digits)
    return f"{name.encode('utf-8', 'replace')[:room].decode('utf-8', 'ignore')}… {digits}"


def _qr(text: str) -> bytes:
    """A code as SVG."""
    code = segno.make(text.encode("utf-8", "replace").decode("utf-8"), error="m", micro=False)
    out = io.BytesIO()
    code.save(out, kind="svg", scale=4, border=4, xmldecl=False, nl=False)
    return out.getvalue()
