"""What each input is worth, in words: a line for every file, and the few sentences on what matters to a reader."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from habitatmap.read.inputs import Input, added
from habitatmap.read.ledger import Known, UnitBy, Unused
from habitatmap.vocabulary.kinds import Kind
from habitatmap.words.names import KIND_NAMES
from habitatmap.words.numbers import between, count, known, sentence
from habitatmap.words.sentences import Quantity, Sentence, apart, following, say

ONLY_PLACES = "Of all {n} trees only the places are known: they count for no flowers and no rot-holes."
FEW_KNOWN = (
    "Of {n} trees the genus is known for {genus} and the thickness for {thickness}: only a tree with both counts for "
    "flowers and rot-holes."
)
NONE_HERE = "None of the {n} rows of {file} lies in the map; the nearest is {km} away. Check its reference system."
NONE_HERE_ONE = "The one row of {file} does not lie in the map; it is {km} away. Check its reference system."
ASKED = "{heading} in {file} names no unit, so the thickness is not known. State the unit in readings.xlsx."
MATTERS = (ONLY_PLACES, FEW_KNOWN, NONE_HERE, NONE_HERE_ONE, ASKED)
UNITS = {"in": "inches", "ft": "feet"}
# columns not read that are named in a line
MOST_COLUMNS = 8
BY = {
    UnitBy.HEADING: "by its heading",
    UnitBy.STATED: "as was stated",
    UnitBy.CELLS: "as its cells say",
    UnitBy.VALUES: "judged by the figures",
}


def what_matters(inputs: Sequence[Input]) -> list[Sentence]:
    """What a reader of the map must know of its inputs, the worst first; nothing where they are sound."""
    said = []
    for one in inputs:
        if one.outside and not one.in_frame and known(one.nearest_km):
            km = Quantity(one.nearest_km, 0 if one.nearest_km >= 10 else 1, "km", grouped=True)
            told = NONE_HERE if one.rows > 1 else NONE_HERE_ONE
            said.append(Sentence(told, {"n": _figure(one.rows), "file": one.file, "km": km}))
        asked = [unit for unit in one.units if unit.by is UnitBy.ASKED and one.in_frame]
        said += [Sentence(ASKED, {"heading": unit.heading, "file": one.file}) for unit in asked]
    return [*said, *_of_trees([one for one in inputs if one.kind == Kind.TREES and one.in_frame])]


def _of_trees(inputs: Sequence[Input]) -> Iterator[Sentence]:
    """What most trees lack, without which they count for nothing."""
    n, told = sum(one.rows for one in inputs), added(one.known for one in inputs)
    genus, thickness = told.get(Known.GENUS, 0), told.get(Known.THICKNESS, 0)
    if n and not genus and not thickness:
        yield Sentence(ONLY_PLACES, {"n": _figure(n)})
    elif 2 * min(genus, thickness) < n:
        yield Sentence(FEW_KNOWN, {"n": _figure(n), "genus": _figure(genus), "thickness": _figure(thickness)})


def _figure(n: int) -> Quantity:
    return Quantity(n, grouped=True)


def worth(one: Input) -> Sentence:
    """A line for one file: what is known of its rows, and where they lie."""
    told = [
        say("{what} known for {n}" if not at else "{what} for {n}", what=Sentence(str(what)), n=_so_many(n, one.rows))
        for at, (what, n) in enumerate(one.known.items())
    ]
    what = sentence(apart(told)) if one.rows else ""
    parts = following(count(one.rows, "row"), what, where(one), *units(one), left(one), by=". ")
    return say("{parts}.", parts=parts)


def _so_many(n: int, of: int) -> Sentence:
    return Sentence("all") if n == of else say("{n}", n=n) if n else Sentence("none")


def where(one: Input) -> Sentence:
    """How many rows lie in the map, and how far off the others are; "" for a kind without places."""
    if not one.known.get(Known.PLACE):
        return Sentence("")
    if not one.outside:
        return Sentence("All lie in the map")
    inside = "{n} lies in the map" if one.in_frame == 1 else "{n} lie in the map"
    there = say(inside, n=one.in_frame) if one.in_frame else Sentence("None lies in the map")
    away = _away(one)
    outside = say("{n} outside, {away} away", n=one.outside, away=away) if away else say("{n} outside", n=one.outside)
    return apart([there, outside])


def _away(one: Input) -> Sentence:
    """How far the rows outside are from the map."""
    if not known(one.nearest_km):
        return Sentence("")
    near, far = _far(one.nearest_km), _far(one.farthest_km)
    if near == far:
        return say("{far}", far=far)
    return between(near._replace(unit="") if near.unit == far.unit else near, far)


def _far(km: float) -> Quantity:
    """A distance: "20 m", "1.7 km", "2,100 km"."""
    if km >= 10:
        return Quantity(km, 0, "km", grouped=True)
    return Quantity(km, 1, "km") if km >= 1 else Quantity(max(10.0, round(1000 * km, -1)), 0, "m")


def units(one: Input) -> list[Sentence]:
    """How each column of measures was read."""
    return [
        say(
            "{heading} is the {measure} in {unit}, {by}",
            heading=unit.heading,
            measure=Sentence(unit.measure),
            unit=Sentence(UNITS.get(unit.unit, unit.unit)),
            by=Sentence(BY[unit.by]),
        )
        if unit.by in BY
        else say(
            "{heading} names no unit: state it in readings.xlsx, sheet units",
            heading=unit.heading,
        )
        for unit in one.units
    ]


def left(one: Input) -> Sentence:
    """The columns that were not read."""
    return say("Not read: {columns}", columns=left_columns(one)) if one.not_read else Sentence("")


def left_columns(one: Input) -> Sentence:
    """Their headings, the first of many."""
    more, some = len(one.not_read) - MOST_COLUMNS, apart(one.not_read[:MOST_COLUMNS])
    return say("{some} and {n} more", some=some, n=more) if more > 0 else some


def not_used(one: Unused) -> Sentence:
    """A line on a file or a sheet that nothing was used of: which, why, and what to do."""
    told = "{name}: {why}; {remedy}" if one.to_do else "{name}: {why}"
    return say(told, name=one.name, why=one.why.reason, remedy=one.why.remedy)


def worth_lines(inputs: Sequence[Input]) -> list[Sentence]:
    """A line for every file: `trees.csv (trees): 35 rows. Place known for all, genus for 34, ...`."""
    return [
        say("{file} ({kind}): {worth}", file=one.file, kind=Sentence(KIND_NAMES[Kind(one.kind)]), worth=worth(one))
        for one in inputs
    ]
