"""What each input is worth, in words: a line for every file, and the few sentences on what matters to a reader."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from habitatmap.read.inputs import Input, added
from habitatmap.read.ledger import Known, UnitBy, Unused
from habitatmap.vocabulary.kinds import Kind
from habitatmap.words.names import KIND_NAMES
from habitatmap.words.numbers import count, known, metres, sentence
from habitatmap.words.sentences import Quantity, Sentence

ONLY_PLACES = "Of all {n} trees only the places are known: they count for no flowers and no rot-holes."
FEW_KNOWN = (
    "Of {n} trees the genus is known for {genus} and the thickness for {thickness}: only a tree with both counts for "
    "flowers and rot-holes."
)
NONE_HERE = "None of the {n} rows of {file} lies in the map; the nearest is {km} away. Check its reference system."
ASKED = "{heading} in {file} names no unit, so the thickness is not known. State the unit in area.toml."
MATTERS = (ONLY_PLACES, FEW_KNOWN, NONE_HERE, ASKED)
UNITS = {"in": "inches", "ft": "feet"}
# columns not read that are named in a line
MOST_COLUMNS = 8
BY = {
    UnitBy.HEADING: "by its heading",
    UnitBy.STATED: "as area.toml states",
    UnitBy.CELLS: "as its cells say",
    UnitBy.VALUES: "judged by the figures",
}


def what_matters(inputs: Sequence[Input]) -> list[Sentence]:
    """What a reader of the map must know of its inputs, the worst first; nothing where they are sound."""
    said = []
    for one in inputs:
        if one.outside and not one.in_frame and known(one.nearest_km):
            km = Quantity(one.nearest_km, 0 if one.nearest_km >= 10 else 1, "km", grouped=True)
            said.append(Sentence(NONE_HERE, {"n": _figure(one.rows), "file": one.file, "km": km}))
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


def worth(one: Input) -> str:
    """A line for one file: what is known of its rows, and where they lie."""
    told = [f"{what} for {_so_many(n, one.rows)}" for what, n in one.known.items()]
    what = sentence(", ".join(told).replace(" for", " known for", 1)) if one.rows else ""
    return ". ".join(filter(None, [count(one.rows, "row"), what, where(one), *units(one), left(one)])) + "."


def _so_many(n: int, of: int) -> str:
    return "all" if n == of else f"{n:,}" if n else "none"


def where(one: Input) -> str:
    """How many rows lie in the map, and how far off the others are; "" for a kind without places."""
    if not one.known.get(Known.PLACE):
        return ""
    if not one.outside:
        return "All lie in the map"
    inside = "None lies" if not one.in_frame else f"{one.in_frame:,} {'lie' if one.in_frame > 1 else 'lies'}"
    return f"{inside} in the map, {one.outside:,} outside{_away(one)}"


def _away(one: Input) -> str:
    """How far the rows outside are from the map."""
    if not known(one.nearest_km):
        return ""
    near, far = _far(one.nearest_km), _far(one.farthest_km)
    if near.split()[-1] == far.split()[-1]:
        near = near.split()[0]
    return f", {far} away" if far.startswith(f"{near} ") else f", {near} to {far} away"


def _far(km: float) -> str:
    """A distance: "20 m", "1.7 km", "2,100 km"."""
    return f"{km:,.0f} km" if km >= 10 else metres(max(10.0, 1000 * km))


def units(one: Input) -> list[str]:
    """How each column of measures was read."""
    return [
        f"{unit.heading} is the {unit.measure} in {UNITS.get(unit.unit, unit.unit)}, {BY[unit.by]}"
        if unit.by in BY
        else f"{unit.heading} names no unit: state it in area.toml, under [units.{one.kind}] {unit.measure}"
        for unit in one.units
    ]


def left(one: Input) -> str:
    """The columns that were not read."""
    if not one.not_read:
        return ""
    more = len(one.not_read) - MOST_COLUMNS
    return f"Not read: {', '.join(one.not_read[:MOST_COLUMNS])}{f' and {more} more' if more > 0 else ''}"


def not_used(one: Unused) -> str:
    """A line on a file or a sheet that nothing was used of: which, why, and what to do."""
    return f"{one.name}: {one.why.reason}{f'; {one.why.remedy}' if one.to_do else ''}"


def worth_lines(inputs: Sequence[Input]) -> list[str]:
    """A line for every file: `trees.csv (trees): 35 rows. Place known for all, genus for 34, ...`."""
    return [f"{one.file} ({KIND_NAMES[Kind(one.kind)]}): {worth(one)}" for one in inputs]
