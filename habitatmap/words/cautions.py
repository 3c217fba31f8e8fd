"""What may go wrong with a pool, said where the decision is made. General words: local rules and qualified people win.

A caution is chosen by its code; its sentence stands once, below. The sentences rest on public guidance about water and
small children, water-borne disease, mosquitoes, old trees, protected animals and personal data; distances and depths
in them are expert judgement.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum, auto
from typing import Any

import pandas as pd

from habitatmap.read.settings import Settings
from habitatmap.vocabulary.terms import Consent, Mosquitoes
from habitatmap.words.sentences import Sentence, as_it_is, following, say


class Caution(StrEnum):
    """One thing to mind."""

    MOSQUITOES_REPORTED = auto()
    MOSQUITOES_NOT_ASSESSED = auto()
    MOSQUITOES_NONE_REPORTED = auto()
    MOSQUITO_LARVAE = auto()
    KEEP_CLEAR = auto()
    CHILDREN = auto()
    GRILLE = auto()
    CONTAINER = auto()
    HYGIENE = auto()
    TREES = auto()
    BRANCHES = auto()
    ANIMALS = auto()
    LIFTING = auto()
    IN_SHORT = auto()
    WRITTEN_CONSENT = auto()
    CONSENT_GIVEN = auto()
    CONSENT_TO_ASK = auto()
    OWNER_UNKNOWN = auto()
    PRIVATE = auto()
    NEVER_ENTER = auto()
    LITTER = auto()
    SHARING = auto()
    ADDRESSES = auto()
    LOCAL = auto()

    @property
    def sentence(self) -> str:
        """The caution in words: one to three sentences."""
        return SENTENCES[self]


SENTENCES = {
    Caution.MOSQUITOES_REPORTED: "Mosquitoes that carry disease are reported in this area: ask the health authority "
    "first, and install no pool before it has agreed.",
    Caution.MOSQUITOES_NOT_ASSESSED: "Whether mosquitoes that carry disease live in this area has not been assessed: "
    "ask the health authority what is known.",
    Caution.MOSQUITOES_NONE_REPORTED: "Mosquitoes that carry disease are not reported here; that can change, so look "
    "for their larvae at each visit and report any.",
    Caution.MOSQUITO_LARVAE: "Mosquito larvae in a pool: tell the team, and the team tells the health authority. Take "
    "the pool in where the authority asks for it or nobody can look after it, and empty it on dry soil, away from "
    "water and drains.",
    Caution.KEEP_CLEAR: "Keep pools away from windows, seats, beds and care homes. Use no poison against mosquito "
    "larvae: it kills the larvae that the pool is for.",
    Caution.CHILDREN: "A few centimetres of water can drown a small child: use a narrow container filled with litter "
    "under a fixed grille that bears a child, stable and not climbable, and none within reach of playing children.",
    Caution.GRILLE: "A few centimetres of water can drown a small child: leave no pool without its grille or lid in "
    "place, and report one that stands open, loose or where children play.",
    Caution.CONTAINER: "Use no container that is sharp, rusty or rotten, or that once held chemicals. Lay a stick from "
    "the water to the rim, so that small animals can climb out.",
    Caution.HYGIENE: "Standing water may carry disease (leptospirosis, from rats): cover cuts, wear gloves, keep it "
    "off mouth and eyes, never spray or drink it, and wash your hands before you eat. If you fall ill as with flu "
    "within three weeks, tell the doctor that you touched such water.",
    Caution.TREES: "Do not nail, drill, cut or load old trees: tie a pool with a strap that is checked every year.",
    Caution.BRANCHES: "Never work under dead or damaged branches, nor near trees in high wind. A qualified inspector "
    "decides about dead wood over a path.",
    Caution.ANIMALS: "Never block, flood or empty a natural hole. Stop where bats or a nest are found, and ask a "
    "licensed ecologist. Protected animals, trees and sites need a permission of their own.",
    Caution.LIFTING: "Lift with two people, and fill with water last. Use no ladder, do not work alone, and keep out "
    "of the road.",
    Caution.IN_SHORT: "Spare old trees and natural holes, and stop where bats or a nest are found. Wear gloves, and "
    "wash your hands after touching the water.",
    Caution.WRITTEN_CONSENT: "Install pools only with the written consent of whoever owns or rents the land; parks, "
    "cemeteries and utilities have rules of their own.",
    Caution.CONSENT_GIVEN: "Consent for this land is on record: tell its owner before you come.",
    Caution.CONSENT_TO_ASK: "Ask the owner of this land first, and keep the answer in writing.",
    Caution.OWNER_UNKNOWN: "Who owns this land is not known here: find the owner and ask first.",
    Caution.PRIVATE: "This is private land: find a host who wants a pool, never enter unasked, keep the address to "
    "yourself.",
    Caution.NEVER_ENTER: "Never enter a garden unasked. Never empty a pool by yourself: top it up with clean rain "
    "water.",
    Caution.LITTER: "Bring clean rain water, and take leaf litter from the place itself; use no plants and no pond "
    "water. Never move water, litter or larvae from one pool to another. Clean the gear between sites.",
    Caution.SHARING: "A garden is somebody's address: share map.html, the tables and the GIS files with the team only. "
    "public_map.html is the one for everybody.",
    Caution.ADDRESSES: "This list holds addresses: show it to nobody outside the team, and destroy it after the week.",
    Caution.LOCAL: "Follow local by-laws and the advice of licensed ecologists, qualified tree inspectors and health "
    "officers: they come before anything said here.",
}

_MOSQUITOES = {
    Mosquitoes.REPORTED: Caution.MOSQUITOES_REPORTED,
    Mosquitoes.NOT_ASSESSED: Caution.MOSQUITOES_NOT_ASSESSED,
    Mosquitoes.NONE_REPORTED: Caution.MOSQUITOES_NONE_REPORTED,
}
_CONSENT = {
    Consent.YES: Caution.CONSENT_GIVEN,
    Consent.ASK: Caution.CONSENT_TO_ASK,
    Consent.PROVISIONAL: Caution.OWNER_UNKNOWN,
}


def mosquitoes(settings: Settings) -> Caution:
    """The caution about mosquitoes, by what area.toml says of them."""
    return _MOSQUITOES[settings.cautions.mosquitoes]


def consent(row: Mapping[Any, Any]) -> Caution:
    """What to settle with the owner of a suggestion's land, from its row of plan.csv (`consent`, `private`)."""
    if row.get("private") == "yes":
        return Caution.PRIVATE
    return _CONSENT.get(row.get("consent") or Consent.ASK, Caution.CONSENT_TO_ASK)


def for_area(settings: Settings) -> list[Caution]:
    """The cautions for the whole area that everybody may read; the most pressing first."""
    return [
        mosquitoes(settings),
        Caution.MOSQUITO_LARVAE,
        Caution.KEEP_CLEAR,
        Caution.CHILDREN,
        Caution.CONTAINER,
        Caution.HYGIENE,
        Caution.LITTER,
        Caution.TREES,
        Caution.BRANCHES,
        Caution.ANIMALS,
        Caution.LIFTING,
        Caution.WRITTEN_CONSENT,
        Caution.LOCAL,
    ]


def for_team(settings: Settings) -> list[Caution]:
    """Those of the area, and how to share files that hold addresses."""
    return [*for_area(settings), Caution.SHARING]


def for_site(row: Mapping[Any, Any], settings: Settings) -> list[Caution]:
    """What the decision for one suggestion needs, from its row of plan.csv; what must be asked first is said first."""
    return [mosquitoes(settings), consent(row), Caution.CHILDREN, Caution.IN_SHORT, Caution.LOCAL]


def for_committee(settings: Settings) -> list[Caution]:
    """The cautions for those who decide whether pools may stand; they install none."""
    return [mosquitoes(settings), Caution.KEEP_CLEAR, Caution.CHILDREN, Caution.IN_SHORT, Caution.LOCAL]


def for_round(settings: Settings) -> list[Caution]:
    """The cautions for somebody who goes from pool to pool."""
    return [
        mosquitoes(settings),
        Caution.MOSQUITO_LARVAE,
        Caution.GRILLE,
        Caution.HYGIENE,
        Caution.NEVER_ENTER,
        Caution.LITTER,
        Caution.BRANCHES,
        Caution.ANIMALS,
        Caution.LIFTING,
        Caution.ADDRESSES,
        Caution.LOCAL,
    ]


def for_recording(settings: Settings) -> list[Caution]:
    """The cautions on a recording sheet, which has little room: what may make somebody ill, what to carry nowhere."""
    return [mosquitoes(settings), Caution.MOSQUITO_LARVAE, Caution.HYGIENE, Caution.LITTER]


def sentences(cautions: Iterable[Caution]) -> list[str]:
    """The cautions in words."""
    return [caution.sentence for caution in cautions]


def general_cautions(settings: Settings, public: bool = False) -> list[str]:
    """The cautions for the whole area in words; on a `public` page without those about the team's files."""
    return sentences(for_area(settings) if public else for_team(settings))


def site_caution(row: Mapping[Any, Any], settings: Settings) -> str:
    """The caution beside one suggestion in words."""
    return " ".join(sentences(for_site(row, settings)))


def round_cautions(settings: Settings) -> list[str]:
    """The cautions of a round in words."""
    return sentences(for_round(settings))


def stop_caution(stop: Mapping[Any, Any]) -> Sentence:
    """What to settle before going to one pool: its host where it is private, its access where nobody got there."""
    said = []
    if stop["private"] == "yes":
        host = as_it_is(stop["host"]) if stop["host"] else Sentence("the host")
        said.append(say("Private land: arrange the visit with {host} first.", host=host))
    if not pd.isna(stop["not_reached"]):
        said.append(say("Not reached on {day}: settle how to get in.", day=stop["not_reached"].date()))
    return following(*said)
