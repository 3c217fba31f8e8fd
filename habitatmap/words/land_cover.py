"""What about the land cover somebody should look at, and on which kinds of land much of the forage lies."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

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
    "otherwise: {examples}. Check the table, as the map may show another land."
)
CONTRADICTED_EACH = "{value} is taken for “{used}” and is “{own}” by the file"
UNMATCHED = "What the land is worth is not known for {share} of the cells: the class table “{table}” lacks {values}."
ONE_CLASS = "{share} of the cells are of one class, “{label}”: check the class table, as such land cover tells little."
COARSE = "{file} has cells of {coarse}, mapped at {fine}: nothing smaller than its cells is known of the land."
PLACES_ON_WATER = (
    "{share} of the trees, buildings and streets lie on water by the land cover: check its class table and its "
    "reference system."
)


def _contradicted(v: Mapping[str, Any]) -> dict[str, Value]:
    against: Sequence[Contradiction] = v["against"]
    each = [Sentence(CONTRADICTED_EACH, {"value": c.value, "used": c.used, "own": c.own}) for c in against]
    return {
        "file": v["file"],
        "table": v["table"],
        "share": significant(v["share"]),
        "examples": following(*each, by="; "),
    }


# by code: the sentence, and what stands in it
DOUBTS: Mapping[CoverDoubt, tuple[str, Callable[[Mapping[str, Any]], dict[str, Value]]]] = {
    CoverDoubt.BY_VALUES: (BY_VALUES, lambda v: {"file": v["file"], "table": v["table"]}),
    CoverDoubt.CONTRADICTED: (CONTRADICTED, _contradicted),
    CoverDoubt.UNMATCHED: (
        UNMATCHED,
        lambda v: {"table": v["table"], "share": significant(v["share"]), "values": ", ".join(v["values"][:8])},
    ),
    CoverDoubt.ONE_CLASS: (ONE_CLASS, lambda v: {"label": v["label"], "share": significant(v["share"])}),
    CoverDoubt.COARSE: (
        COARSE,
        lambda v: {"file": v["file"], "coarse": whole_metres(v["cells_m"]), "fine": whole_metres(v["cell_m"])},
    ),
    CoverDoubt.PLACES_ON_WATER: (PLACES_ON_WATER, lambda v: {"share": significant(v["share"])}),
}


def cover_doubts(doubts: Sequence[Note]) -> list[Sentence]:
    """The doubts about land cover as sentences."""
    made = []
    for doubt in doubts:
        text, values = DOUBTS[CoverDoubt(doubt.code)]
        made.append(Sentence(text, values(doubt.values)))
    return made


def kinds_of_land(dominant: Sequence[Dominant]) -> Sentence | None:
    """Which classes hold much of the forage, and what their values rest on; None where none does."""
    if not dominant:
        return None
    each = [
        Sentence(MUCH_EACH, {"kind": one.label, "share": significant(one.share), "basis": Sentence(one.basis)})
        for one in dominant
    ]
    return Sentence(MUCH_FORAGE, {"kinds": following(*each, by=", ")})
