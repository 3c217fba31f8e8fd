"""Where the rows of a table are: its geometry, or its columns of coordinates, through the one gate."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import CrsError
from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, Source, crs_label, parse_crs, shift_m, state_crs, systems_that_fit
from habitatmap.read.by_address import SAYS_NOTHING, place_by_address
from habitatmap.read.coordinates import (
    NO_PLACE,
    Box,
    Point,
    Points,
    Refusal,
    in_words,
    locate,
    near_misses,
    point_of,
    read_accuracy,
    read_points,
    settle,
)
from habitatmap.read.formats.cells import as_text, each_once
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import Headings, match_table, unit_of
from habitatmap.read.ledger import SAMPLES, some
from habitatmap.read.place_by_content import with_place_by_content
from habitatmap.read.rows import PLACE_COLUMNS, Draft
from habitatmap.sentences import Quantity, Sentence, apart, count, say
from habitatmap.vocabulary.kinds import Kind

ROLES = (*PLACE_COLUMNS, "system")
# what lies farther from the area is of no use to it, and most likely misplaced; every flight ends long before
FAR_KM = 50.0
TRIED = 3  # of single places far away, so many are tried in other systems
# what is read in a cell for addresses is coordinates only where it is so exact: a postcode may look like a grid
# reference (expert judgement)
AMONG_ADDRESSES_M = 1000.0


class Places(NamedTuple):
    """Where the rows of a table are: metres of the area's CRS, and how far off each may be; NaN where not known."""

    x: Sequence[float]
    y: Sequence[float]
    uncertainty_m: Sequence[float]
    by_address: Sequence[bool] = ()  # which were looked up, as they have no coordinates

    @classmethod
    def of(cls, points: Points, crs: CRS, by_address: Sequence[bool] = ()) -> Places:
        """The places of points in `crs`."""
        x, y = locate(points, crs)
        return cls(x.tolist(), y.tolist(), points.off_m.tolist(), by_address)

    @classmethod
    def none(cls, rows: int) -> Places:
        """Rows without a place."""
        nothing = [math.nan] * rows
        return cls(nothing, nothing, nothing)

    def columns(self) -> dict[str, Sequence[float]]:
        """As columns of a frame."""
        return {"x": self.x, "y": self.y, "uncertainty_m": self.uncertainty_m}

    def private(self, said: Sequence[str]) -> list[str]:
        """yes, no or "" of each row, by what it says: an address is somebody's, unless it says no."""
        return [word or ("yes" if found else "") for word, found in zip(said, self.by_address, strict=True)]


def place_by_point(draft: Draft, crs: CRS, stated: Stated) -> Places:
    """The place of each row; rows without one are set aside, and how the places were read is told."""
    own = _with_shifts(points_of(draft.table, draft.headings, stated), crs)
    points, by_address = place_by_address(draft, own, crs, stated)
    places = Places.of(points, crs, by_address)
    if draft.kind is Kind.TREES and stated.home is not None:
        _set_far_aside(draft, points, stated.home)
    draft.bounds = np.tile(np.column_stack([places.x, places.y]).astype(float).reshape(-1, 2), 2)
    off_km = stated.box.off_km(*locate(points, WGS84)) if stated.box is not None else np.zeros(len(points))
    beyond = stated.box.beyond(off_km) if stated.box is not None else np.zeros(len(points), dtype=bool)
    for at, refusal in points.refusals().items():
        draft.refuse(at, refusal.role, refusal.value, refusal.why)
    for at in np.flatnonzero(points.placed & (np.isnan(places.x) | beyond)).tolist():
        if isinstance(point := points[at], Point):
            draft.refuse(at, "x", f"{point.x}, {point.y}", Why.UNREACHABLE)
    _tell_places(draft, points)
    if stated.box is not None and not stated.box.wide:
        if (off_km <= FAR_KM).any():
            _tell_some_far(draft, points, off_km, stated.box)
        else:
            _tell_all_far(draft, [point for point in points if isinstance(point, Point)], stated.box)
    used = points.but(dict.fromkeys(draft.aside, NO_PLACE))
    # trees and the like beyond the boundary serve as margin; only a pool belongs inside
    tell_slips(draft, used, stated.box if draft.kind is Kind.POOLS else None)
    return places


def _set_far_aside(draft: Draft, points: Points, home: Box) -> None:
    """Sets rows aside that lie more than `FAR_KM` from the area; where none is near, that is told."""
    off_km = home.off_km(*locate(points, WGS84))
    far = [at for at in np.flatnonzero(off_km > FAR_KM).tolist() if at not in draft.aside]
    for at in far:
        draft.refuse(at, "", draft.shown(at), Why.FAR_AWAY.of(km=Quantity(float(off_km[at]), grouped=True)))
    if not far:
        return
    n, near = len(far), int((off_km <= FAR_KM).sum())
    ends = (Quantity(float(end), grouped=True) for end in (off_km[far].min(), off_km[far].max()))
    away = dict(zip(("low", "high"), ends, strict=True))
    if near:
        told = "{n} of {of} trees set aside, as too far away: {low} to {high} km"
        draft.remark(say(told, n=n, of=n + near, **away))
    else:
        told = "{trees} set aside, and none is left: {low} to {high} km away. Check the reference system of the file"
        draft.remark(say(told, trees=count(n, "tree"), **away))


def _tell_all_far(draft: Draft, points: Sequence[Point], area: Box) -> None:
    """Remarks on a table of which every place lies far from the area, with the systems that would bring it there."""
    if not points:
        return
    if draft.kind is not Kind.TREES:  # of which as much is told already
        told = "{places}, none within {far} km of the area. Check the coordinates and their reference system, {system}"
        systems = apart(sorted({crs_label(point.crs) for point in points}))
        draft.remark(say(told, places=count(len(points), "place"), far=FAR_KM, system=systems))
    if any(point.crs.is_geographic for point in points):
        return
    x, y = (np.array([getattr(point, axis) for point in points]) for axis in "xy")
    fit = systems_that_fit(x, y, area.bounds)
    if fit:
        told = (
            "The same numbers lie in the area in {systems}. If that is theirs, write {code} for x of this file into "
            "readings.xlsx, sheet units"
        )
        code = ":".join(fit[0].to_authority() or ())
        draft.remark(say(told, systems=apart(list(map(crs_label, fit))), code=code))
        draft.ledger.ask_unit(draft.table.file, "x")


def _tell_some_far(draft: Draft, points: Points, off_km: NDArray[np.float64], area: Box) -> None:
    """A remark on the rows of a table that lie far from the area, with the systems that would bring the first there."""
    far = [at for at in np.flatnonzero(off_km > FAR_KM).tolist() if at not in draft.aside]
    if not far:
        return
    rows: list[Sentence] = []
    for at in far:
        point, fit = points[at], []
        if isinstance(point, Point) and not point.crs.is_geographic and len(rows) < TRIED:
            fit = systems_that_fit([point.x], [point.y], area.bounds)
        row, km = draft.row_of(at), Quantity(float(off_km[at]), unit="km", grouped=True)
        systems = apart(list(map(crs_label, fit)))
        told = "row {row}: {km} away, but in the area in {systems}" if fit else "row {row}: {km} away"
        rows.append(say(told, row=row, km=km, systems=systems))
    told = "{places} more than {far} km from the area, used as written ({rows}); check their coordinates"
    draft.remark(say(told, places=count(len(far), "place"), far=FAR_KM, rows=some(rows)))


def _with_shifts(points: Points, crs: CRS) -> Points:
    """The points, their uncertainty widened by that of the way from their own system to the area's."""
    # by object, as comparing systems is slow; a table has few of them
    odd, alike = points.odd_points(), int(points.alike.sum())
    systems = {id(point.crs): point.crs for point in odd.values()} | ({id(points.crs): points.crs} if alike else {})
    shifts = {key: shift_m(own, crs) for key, own in systems.items()}
    if not any(shifts.values()):
        return points
    own = shifts.get(id(points.crs), 0.0)
    off = np.array([math.hypot(metres, own) for metres in points.uncertainty_m])
    shifted = {at: p._replace(uncertainty_m=math.hypot(p.uncertainty_m, shifts[id(p.crs)])) for at, p in odd.items()}
    return replace(points, uncertainty_m=off).but(shifted)


def _tell_places(draft: Draft, points: Points) -> None:
    """Tells how many places were read in which way, and shows what the first were understood as."""
    counts, alike = Counter(point.how for point in points.odd_points().values()), int(points.alike.sum())
    counts.update({points.how: alike} if alike else {})
    ways = sorted(counts.items())
    if ways:
        told = [say("{n} as {how}", n=str(n), how=_said(how)) for how, n in ways]
        draft.ledger.tell(say("{file}: places read: {ways}", file=draft.table.name, ways=apart(told)))
        draft.reading.samples += [(Sentence("places"), count(n, "row"), _said(how)) for how, n in ways]
    first = np.flatnonzero(points.placed)[:SAMPLES].tolist()
    read = [(at, point) for at in first if isinstance(point := points[at], Point)]
    roles = [draft.cells(name) for name in PLACE_COLUMNS if draft.has(name)]
    written = [", ".join(filter(None, (as_text(cells[at]) for cells in roles))) for at, _ in read]
    meant = [
        say(
            "{place}, to {off} ({how})",
            place=in_words(point),
            off=Quantity(point.uncertainty_m, 1, "m"),
            how=_said(point.how),
        )
        for _, point in read
    ]
    draft.reading.sample(Sentence("place"), written, meant)


def _said(how: str) -> Sentence:
    """How a place was read, which pages say in their language."""
    return how if isinstance(how, Sentence) else Sentence(how)


def source_of(file: str, stated: Stated) -> Source | None:
    """The system that area.toml states for the plain metres of a file: its own line first, then the area's crs."""
    if file in stated.source_crs:
        crs = parse_crs(stated.source_crs[file], f'area.toml, [source_crs] "{file}"')
        return Source(crs, f'[source_crs] "{file}"', own=True)
    return Source(parse_crs(stated.crs, "area.toml, crs"), say("crs in area.toml")) if stated.crs else None


def layer_crs(table: Table, stated: Stated) -> CRS:
    """The system of a layer: `[source_crs]`, else the file's own (GeoJSON has one by RFC 7946).

    Raises CrsError with the line to add where there is none.
    """
    source = source_of(table.file, stated)
    own = source.crs if source is not None and source.own else table.crs
    if own is None:
        raise CrsError(f"{table.file} does not say its reference system; {state_crs(table.file)}")
    return own.to_2d()


def points_of(table: Table, headings: Headings, stated: Stated) -> Points:
    """The place of each row, with slips put right where the area leaves one reading only.

    An accuracy that a row states counts where it is larger than what the writing itself leaves open. CrsError where a
    layer has no system, or where metres have none that anybody states.
    """
    if table.geometry is not None:
        own = layer_crs(table, stated)
        read = settle(Points.of([point_of(geometry, own, None) for geometry in table.geometry]), stated.box)
    else:
        cells = {role: table.column(headings.at[role]) for role in ROLES if role in headings.at}
        source = source_of(table.file, stated)
        lacking = Why.NO_COLUMNS.of(table=table.name, headings=", ".join(h for h in table.headings if h))
        nowhere = Points.of([Refusal("", "", lacking)] * len(table))
        read = read_points(cells, headings.text, source, table.file, stated.box) if cells else nowhere
        if "address" in headings.at and any(map(_says_nothing, read.odd.values())):
            read = _among_addresses(read, table, headings, stated)
    if "uncertainty_m" in headings.at:
        scale = {"ft": 0.3048, "km": 1000.0}.get(unit_of(headings.text["uncertainty_m"]), 1.0)
        said = np.array(each_once(read_accuracy, table.column(headings.at["uncertainty_m"]))) * scale
        larger = np.where(said > read.uncertainty_m, said, read.uncertainty_m)
        odd = {at: p._replace(uncertainty_m=max(p.uncertainty_m, said[at])) for at, p in read.odd_points().items()}
        read = replace(read, uncertainty_m=larger).but(odd)
    return read


def _says_nothing(point: Point | Refusal | None) -> bool:
    return isinstance(point, Refusal) and point.why.code in SAYS_NOTHING


def _among_addresses(points: Points, table: Table, headings: Headings, stated: Stated) -> Points:
    """The points, those of rows without coordinates by what the column of addresses says, where that is coordinates."""
    cells = {"position": table.column(headings.at["address"])}
    written = read_points(cells, {"position": headings.text["address"]}, None, table.file, stated.box)
    blank = [at for at, point in points.odd.items() if _says_nothing(point)]
    there = {at: point for at in blank if isinstance(point := written[at], Point)}
    return points.but({at: point for at, point in there.items() if point.uncertainty_m <= AMONG_ADDRESSES_M})


def tell_slips(draft: Draft, points: Points, box: Box | None) -> None:
    """Remarks on places that were settled by where the area lies, and on those beside it that a slip would bring in.

    `points`: one for each row of the table. `box`: where the area lies, if a place outside is worth a word.
    """
    mended = [
        say("row {row}: {slip}, {place}", row=draft.row_of(at), slip=_said(point.mended), place=in_words(point))
        for at, point in points.odd_points().items()
        if point.mended
    ]
    if mended:
        told = "only one reading lies in the area, and is used: {places} ({rows}); check them"
        draft.remark(say(told, places=count(len(mended), "place"), rows=some(mended)))
    beside = [say("row {row}: {why}", row=draft.row_of(at), why=why) for at, why in near_misses(points, box)]
    if beside:
        told = "{places} beside the area, used as written; look for slips ({rows})"
        draft.remark(say(told, places=count(len(beside), "place"), rows=some(beside)))


def rough_lonlat(
    tables: Sequence[Table], kind: Kind, stated: Stated
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitudes and latitudes of all rows that have a place, to choose a system from; nothing is reported here."""
    lon, lat = [np.empty(0)], [np.empty(0)]
    for table in tables:
        headings = match_table(kind, table.headings, stated.columns.get(kind, {}), table.taught.headings)
        headings = with_place_by_content(table, headings)
        points = points_of(table, headings, stated)
        x, y = locate(points, WGS84)
        lon.append(x[points.placed])
        lat.append(y[points.placed])
    return np.concatenate(lon), np.concatenate(lat)
