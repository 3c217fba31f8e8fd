"""What about the land cover somebody should look at, and on which kinds of land much of the forage lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from habitatmap.read.class_proof import Contradiction
from habitatmap.read.land_cover import CoverDoubt
from habitatmap.result.figures import Dominant
from habitatmap.vocabulary.note import Note
from habitatmap.words.sentences import Sentence, Value, following, significant, whole_metres

MUCH_FORAGE = "Kinds of land with more than 15 % of the forage, and what their value rests on: {kinds}."
MUCH_EACH = "{kind} {share} ({basis})"

BY_VALUES = (
    "{file} is read by the class table “{table}” because its values fit, and by nothing else: if that is right, state "
    "it in area.toml under [land_cover] classes."
)
CONTRADICTED = (
    "{file} is read by the class table “{table}”, but for {share} of the cells its own labels or colours say "
    "otherwise: {against}. Check the table, as the map may show another land."
)
CONTRADICTED_EACH = "{value} is taken for “{used}” and is “{own}” by the file"
UNMATCHED = "What the land is worth is not known for {share} of the cells: the class table “{table}” lacks {values}."
ONE_CLASS = "{share} of the cells are of one class, “{label}”: check the class table, as such land cover tells little."
COARSE = "{file} has cells of {cells_m}, mapped at {cell_m}: nothing smaller than its cells is known of the land."
PLACES_ON_WATER = (
    "{share} of the trees, buildings and streets lie on water by the land cover: check its class table and its "
    "reference system."
)


TEXTS: Mapping[CoverDoubt, str] = {
    CoverDoubt.BY_VALUES: BY_VALUES,
    CoverDoubt.CONTRADICTED: CONTRADICTED,
    CoverDoubt.UNMATCHED: UNMATCHED,
    CoverDoubt.ONE_CLASS: ONE_CLASS,
    CoverDoubt.COARSE: COARSE,
    CoverDoubt.PLACES_ON_WATER: PLACES_ON_WATER,
}
# so many values that a table lacks are named
MOST_VALUES = 8


def _said(name: str, value: object) -> Value:
    """A value of a doubt as it stands in its sentence, by its name and kind."""
    if isinstance(value, float):
        return whole_metres(value) if name.endswith("_m") else significant(value)
    if not isinstance(value, list):
        return Sentence(str(value)) if name == "label" else str(value)
    against = [
        Sentence(CONTRADICTED_EACH, {"value": one.value, "used": Sentence(one.used), "own": one.own})
        for one in value
        if isinstance(one, Contradiction)
    ]
    return following(*against, by="; ") if against else ", ".join(map(str, value[:MOST_VALUES]))


def cover_doubts(doubts: Sequence[Note]) -> list[Sentence]:
    """The doubts about land cover as sentences."""
    return [
        Sentence(TEXTS[CoverDoubt(doubt.code)], {name: _said(name, value) for name, value in doubt.values.items()})
        for doubt in doubts
    ]


def kinds_of_land(dominant: Sequence[Dominant]) -> Sentence | None:
    """Which classes hold much of the forage, and what their values rest on; None where none does."""
    if not dominant:
        return None
    each = [
        Sentence(
            MUCH_EACH, {"kind": Sentence(one.label), "share": significant(one.share), "basis": Sentence(one.basis)}
        )
        for one in dominant
    ]
    return Sentence(MUCH_FORAGE, {"kinds": following(*each, by=", ")})
