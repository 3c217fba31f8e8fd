"""Rows without coordinates of their own are placed by their address; those with both are compared."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from pyproj import CRS

from habitatmap.errors.why import Why
from habitatmap.read.addresses import By, Found
from habitatmap.read.coordinates import Point, Refusal, in_words, locate
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated
from habitatmap.read.ledger import some
from habitatmap.read.rows import Draft
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.plural import count

# a row that says nothing of its coordinates
_SAYS_NOTHING = frozenset({Why.NO_PLACE, Why.NO_COLUMNS, Why.GEOMETRY_EMPTY})
# coordinates and address that lie farther apart than both may be off and this are told (expert judgement)
APART_M = 200.0
_CALLED = {Kind.POOLS: "pool", Kind.COMMITTED: "site"}


def place_by_address(
    draft: Draft, points: Sequence[Point | Refusal], crs: CRS, stated: Stated
) -> tuple[list[Point | Refusal], list[bool]]:
    """The points of a table's rows, those without coordinates by their address, and which these are.

    Coordinates always count; where they lie far from the address that is remarked. Only pools and committed sites are
    looked up. An address in a cell for coordinates counts where it has a street of the area and a number.
    """
    answer, by_address = list(points), [False] * len(points)
    if draft.kind not in _CALLED:
        return answer, by_address
    found: dict[int, Found] = {}
    apart: list[str] = []
    for at, (text, postcode, city) in enumerate(_addresses(draft)):
        point = points[at]
        if isinstance(point, Refusal) and point.why.code is Why.POSITION_UNREAD and not text:
            text = cell if stated.addresses.has_number(cell := as_text(point.value)) else ""
        elif isinstance(point, Refusal) and point.why.code not in _SAYS_NOTHING:
            continue
        if at in draft.aside or not any(c.isalpha() for c in text):
            continue
        if not stated.addresses:
            answer[at] = point if isinstance(point, Point) else Refusal("address", text, Why.ADDRESS_NO_MAP)
            continue
        place = stated.addresses.find(text, postcode, city)
        if isinstance(point, Point):
            if isinstance(place, Found) and (metres := _too_far(point, place, crs)):
                apart.append(f"row {draft.row_of(at)}: {place.name} is {metres:,.0f} m away")
        elif isinstance(place, Found):
            found[at], by_address[at] = place, True
            answer[at] = Point(place.x, place.y, crs, place.uncertainty_m, f"address ({place.by})")
        else:
            answer[at] = Refusal("address", text, place)
    _tell(draft, found, apart, answer)
    return answer, by_address


def _addresses(draft: Draft) -> list[tuple[str, str, str]]:
    """Of each row its address, or street and number; its postcode and its town; "" for what it does not say."""
    names = ("address", "street", "house_number", "postcode", "city")
    rows = zip(*(draft.texts(name) for name in names), strict=True)
    return [(whole or f"{street} {number}".strip(), code, city) for whole, street, number, code, city in rows]


def _too_far(point: Point, place: Found, crs: CRS) -> float:
    """How far a place by coordinates lies from that by its address, 0 where both may be the same."""
    x, y = locate([point], crs)
    metres = math.hypot(x[0] - place.x, y[0] - place.y)
    return metres if metres > point.uncertainty_m + place.uncertainty_m + APART_M else 0.0


def _tell(draft: Draft, found: dict[int, Found], apart: Sequence[str], points: Sequence[Point | Refusal]) -> None:
    """Remarks on rows that were placed by their address, and on those whose address lies elsewhere."""
    if found:
        counts = Counter(place.by for place in found.values())
        said = ", ".join(f"{by}: {counts[by]}" for by in By if counts[by])
        rows = [f"row {draft.row_of(at)}: {p.name}, to {math.ceil(p.uncertainty_m)} m" for at, p in found.items()]
        placed = f"{count(len(found), _CALLED[draft.kind])} placed by address"
        draft.remark(f"{placed} ({said}); check on the map: {some(rows)}")
        texts = [draft.words(at) if not (a := _addresses(draft)[at][0]) else a for at in found]
        meant = [f"{p.name}: {in_words(q)}" for at, p in found.items() if isinstance(q := points[at], Point)]
        draft.reading.sample("address", texts, meant)
    if apart:
        draft.remark(
            f"coordinates and address lie far apart in {count(len(apart), 'row')} ({some(apart)}); the coordinates are "
            "used; correct whichever is wrong"
        )
