"""Rows without coordinates of their own are placed by their address; those with both are compared."""

from __future__ import annotations

import datetime
import math
from collections import Counter
from collections.abc import Mapping, Sequence

from pyproj import CRS

from habitatmap.errors.why import Why
from habitatmap.read.addresses import Addresses, By, Found
from habitatmap.read.coordinates import NO_PLACE, Point, Points, Refusal, in_words, locate
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated
from habitatmap.read.ledger import SAMPLES, some
from habitatmap.read.rows import Draft
from habitatmap.sentences import Quantity, Sentence, apart, count, say
from habitatmap.vocabulary.kinds import Kind

# a row that says nothing of its coordinates
SAYS_NOTHING = frozenset({Why.NO_PLACE, Why.NO_COLUMNS, Why.GEOMETRY_EMPTY})
# coordinates and address that lie farther apart than both may be off and this are told (expert judgement)
APART_M = 200.0
_CALLED = {Kind.POOLS: "pool", Kind.COMMITTED: "site"}


def place_by_address(draft: Draft, points: Points, crs: CRS, stated: Stated) -> tuple[Points, list[bool]]:
    """The points of a table's rows, those without coordinates by their address, and which these are.

    Coordinates always count; where they lie far from the address that is remarked. Only pools and committed sites are
    looked up.
    """
    if draft.kind not in _CALLED:
        return points, [False] * len(points)
    answer: dict[int, Point | Refusal] = {}
    has_address = any(map(draft.has, ("address", "street")))
    found: dict[int, tuple[str, Found]] = {}
    elsewhere: list[Sentence] = []
    for at, (written, postcode, city) in enumerate(_addresses(draft)):
        if not written and at not in points.odd:
            continue
        point = points[at]
        text = _to_look_up(point, written, stated.addresses)
        if at in draft.aside or not text:
            if has_address and isinstance(point, Refusal) and point.why.code is Why.NO_COLUMNS:
                answer[at] = NO_PLACE  # an address was to tell it, and is blank
            continue
        if not stated.addresses:
            if not isinstance(point, Point):
                answer[at] = Refusal("address", text, Why.ADDRESS_NO_MAP)
            continue
        place = stated.addresses.find(text, postcode, city)
        if isinstance(point, Point):
            if isinstance(place, Found) and (metres := _too_far(point, place, crs)):
                far = Quantity(metres, unit="m", grouped=True)
                told = say("row {row}: {address} is {far} away", row=draft.row_of(at), address=place.name, far=far)
                elsewhere.append(told)
        elif isinstance(place, Found):
            found[at] = text, place
            answer[at] = Point(place.x, place.y, crs, place.uncertainty_m, say("address ({by})", by=Sentence(place.by)))
        else:
            answer[at] = Refusal("address", text, place)
    looked_up = points.but(answer)
    _tell(draft, found, elsewhere, looked_up)
    return looked_up, [at in found for at in range(len(points))]


def _to_look_up(point: Point | Refusal | None, written: str, addresses: Addresses) -> str:
    """The address of a row, "" where it has none, or where its coordinates are there and cannot be read.

    A description in the cell for coordinates is none of either; an address there counts where it has a street of the
    area and a number.
    """
    if isinstance(point, Refusal) and point.why.code is Why.POSITION_UNREAD:
        cell = as_text(point.value)
        if not written:
            return cell if addresses.has_number(cell) else ""
        written = "" if any(c.isdigit() for c in cell) else written
    elif isinstance(point, Refusal) and point.why.code not in SAYS_NOTHING:
        return ""
    return written if any(c.isalpha() for c in written) else ""


def _addresses(draft: Draft) -> list[tuple[str, str, str]]:
    """Of each row its address, or street and number; its postcode and its town; "" for what it does not say."""
    columns = {name: draft.texts(name) for name in ("address", "street", "postcode", "city")}
    # the name of a house is no number, and its street is known all the same
    numbers = [no if any(map(str.isdigit, no)) else "" for no in map(_house_number, draft.cells("house_number"))]
    rows = zip(columns["address"], columns["street"], numbers, columns["postcode"], columns["city"], strict=True)
    return [(whole or f"{street} {number}".strip(), code, city) for whole, street, number, code, city in rows]


def _house_number(cell: object) -> str:
    """A number as written; of a date that a spreadsheet made of 12-14 or 3/5 the lower of day and month goes first, as
    in every range of houses. The first of a month may stand for a year as well, and is left."""
    if isinstance(cell, datetime.date) and cell.day > 1:
        return f"{min(cell.day, cell.month)}-{max(cell.day, cell.month)}"
    return as_text(cell)


def _too_far(point: Point, place: Found, crs: CRS) -> float:
    """How far a place by coordinates lies from that by its address, 0 where both may be the same."""
    x, y = locate([point], crs)
    metres = math.hypot(x[0] - place.x, y[0] - place.y)
    return metres if metres > point.uncertainty_m + place.uncertainty_m + APART_M else 0.0


def _tell(
    draft: Draft,
    found: Mapping[int, tuple[str, Found]],
    elsewhere: Sequence[Sentence],
    points: Points,
) -> None:
    """Remarks on rows that were placed by their address, and on those whose address lies elsewhere."""
    if found:
        counts = Counter(place.by for _, place in found.values())
        by = [say("{by}: {n}", by=Sentence(by), n=counts[by]) for by in By if counts[by]]
        rows = [_placed(draft.row_of(at), place) for at, (_, place) in found.items()]
        told = "{things} placed by address ({by}); check on the map: {rows}"
        draft.remark(say(told, things=count(len(found), _CALLED[draft.kind]), by=apart(by), rows=some(rows)))
        first = list(found.items())[:SAMPLES]
        meant = [
            say("{address}: {place}", address=p.name, place=in_words(q))
            for at, (_, p) in first
            if isinstance(q := points[at], Point)
        ]
        draft.reading.sample("address", [text for _, (text, _) in first], meant)
    if elsewhere:
        told = (
            "coordinates and address lie far apart in {rows}, and the coordinates count; correct the wrong one: {where}"
        )
        draft.remark(say(told, rows=count(len(elsewhere), "row"), where=some(elsewhere)))


def _placed(row: str, place: Found) -> Sentence:
    """Where a row was placed, and how far off that may be."""
    off = Quantity(math.ceil(place.uncertainty_m), unit="m")
    return say("row {row}: {address}, within {off}", row=row, address=place.name, off=off)
