"""Finds the column of places by what stands in it, where no heading tells where the rows are."""

from __future__ import annotations

import re
from dataclasses import replace

from habitatmap.read.coordinates import Point
from habitatmap.read.coordinates.positions import read_position
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import Headings, Match

# so many filled cells are looked at, and such a share of them must be places
MOST_CELLS = 100
SHARE_OF_PLACES = 0.6
# what only a place looks like: a link, two numbers with decimals, degrees with a sign, a shape; no name or code does
_PLACE = re.compile(
    r"https?://|geo:|POINT\s*\(|\d[.,]\d{3,}\D{1,6}\d{1,3}[.,]\d{3,}|\d\s*[°º]\s*\d.*\d\s*[°º]|\d{6,}\D+\d{6,}",
    re.IGNORECASE,
)


def with_place_by_content(table: Table, heads: Headings) -> Headings:
    """The headings, with the one column whose cells are mostly places; as they were where two columns may be it."""
    told = heads.at.keys()
    if table.geometry is not None or "position" in told or {"x", "y"} <= told or {"lon", "lat"} <= told:
        return heads
    told_of = table.taught.headings
    columns = [at for at, heading in enumerate(table.headings) if heading and heading not in told_of]
    free = [at for at in columns if at not in heads.at.values()]
    found = [at for at in free if _holds_places(table, at)]
    if len(found) != 1:
        return heads
    heading = table.headings[found[0]]
    return replace(
        heads,
        at={**heads.at, "position": found[0]},
        how={**heads.how, "position": Match.CONTENT},
        text={**heads.text, "position": heading},
        unmatched={other: near for other, near in heads.unmatched.items() if other != heading},
    )


def _holds_places(table: Table, column: int) -> bool:
    cells = [text for row in table.rows[: 10 * MOST_CELLS] if (text := as_text(row[column]))][:MOST_CELLS]
    places = [text for text in cells if _PLACE.search(text)]
    # a link without a place in it, such as that of a photo, is none
    read = sum(isinstance(read_position(text, None), Point) for text in places)
    return read > 0 and read >= SHARE_OF_PLACES * len(cells)
