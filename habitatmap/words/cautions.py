"""What may go wrong with a pool, said where the decision is made. General words: local rules and licensed practice win.

A caution is chosen by its code; its sentence stands once, below. The sentences rest on public guidance about water and
small children, water-borne disease, mosquitoes, old trees, protected animals and personal data; distances and depths
in them are expert judgement.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum, auto
from typing import Any

from habitatmap.read.settings import Settings
from habitatmap.vocabulary.terms import Consent, Mosquitoes


class Caution(StrEnum):
    """One thing to mind."""

    MOSQUITOES_REPORTED = auto()
    MOSQUITOES_NOT_ASSESSED = auto()
    MOSQUITOES_NONE_REPORTED = auto()
    KEEP_CLEAR = auto()
    CHILDREN = auto()
    GRILLE = auto()
    HYGIENE = auto()
    TREES = auto()
    ANIMALS = auto()
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
        """The caution in words: one or two sentences."""
        return SENTENCES[self]


SENTENCES = {
    Caution.MOSQUITOES_REPORTED: "Mosquitoes that carry disease are reported in this area: ask the health authority "
    "first, and install no pool before it has agreed.",
    Caution.MOSQUITOES_NOT_ASSESSED: "Whether mosquitoes that carry disease live in this area has not been assessed: "
    "ask the health authority what is known.",
    Caution.MOSQUITOES_NONE_REPORTED: "Mosquitoes that carry disease are not reported here; that can change, so look "
    "for their larvae at each visit and report any.",
    Caution.KEEP_CLEAR: "Keep pools away from windows, seats, beds and care homes, and use no poison against mosquito "
    "larvae: it kills the larvae that the pool is for.",
    Caution.CHILDREN: "A few centimetres of water can drown a small child: use a narrow container filled with litter "
    "under a fixed grille, stable and not climbable, and none within reach of playing children.",
    Caution.GRILLE: "A few centimetres of water can drown a small child: leave no pool without its grille or lid in "
    "place, and report one that stands open, loose or where children play.",
    Caution.HYGIENE: "Standing water may carry disease (rats, leptospirosis): cover cuts, wear gloves, keep it off "
    "mouth and eyes, never spray or drink it, wash your hands, and tell a doctor about it if you fall ill with a "
    "fever.",
    Caution.TREES: "Old trees are not to be nailed, drilled, cut or loaded: tie a pool with a strap that is checked "
    "every year. Dead wood over a path needs a competent inspector, and nobody works under weak limbs.",
    Caution.ANIMALS: "Never block, flood or empty a natural hole. Bats, nesting birds and other animals in trees are "
    "protected, and protected trees and sites need a permission of their own.",
    Caution.WRITTEN_CONSENT: "Install pools only with the written consent of whoever owns or rents the land; parks, "
    "cemeteries and utilities have rules of their own.",
    Caution.CONSENT_GIVEN: "Consent for this land is on record: tell its owner before you come.",
    Caution.CONSENT_TO_ASK: "Ask the owner of this land first, and keep the answer in writing.",
    Caution.OWNER_UNKNOWN: "Who owns this land is not known here: find the owner and ask first.",
    Caution.PRIVATE: "This is private land: find a host who wants a pool, never enter unasked, keep the address to "
    "yourself.",
    Caution.NEVER_ENTER: "Never enter a garden unasked, and never empty a pool: top it up. Nobody works under weak "
    "limbs.",
    Caution.LITTER: "Use leaf litter and rain water from the place itself, no plants and no pond water; clean the gear "
    "between sites, and do not move larvae from region to region.",
    Caution.SHARING: "A garden is somebody's address: share map.html, the tables and the GIS files with the team only. "
    "public_map.html is the one for everybody.",
    Caution.ADDRESSES: "This list holds addresses: show it to nobody outside the team, and destroy it after the week.",
    Caution.LOCAL: "Local rules and licensed practice come before anything said here.",
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
    """The cautions for the whole area; the most pressing first."""
    return [
        mosquitoes(settings),
        Caution.KEEP_CLEAR,
        Caution.CHILDREN,
        Caution.HYGIENE,
        Caution.TREES,
        Caution.ANIMALS,
        Caution.WRITTEN_CONSENT,
        Caution.LITTER,
        Caution.SHARING,
        Caution.LOCAL,
    ]


def for_site(row: Mapping[Any, Any], settings: Settings) -> list[Caution]:
    """The cautions beside one suggestion, from its row of plan.csv; what must be asked first is said first."""
    return [mosquitoes(settings), consent(row), Caution.CHILDREN, Caution.LOCAL]


def for_crew(row: Mapping[Any, Any], settings: Settings) -> list[Caution]:
    """The general cautions that matter with a container in hand: how to share files is not among them."""
    return [c for c in for_area(settings) if c not in (Caution.SHARING, consent(row))]


def for_round(settings: Settings) -> list[Caution]:
    """The cautions for somebody who goes from pool to pool."""
    return [
        mosquitoes(settings),
        Caution.GRILLE,
        Caution.HYGIENE,
        Caution.NEVER_ENTER,
        Caution.LITTER,
        Caution.ADDRESSES,
        Caution.LOCAL,
    ]


def for_recording(settings: Settings) -> list[Caution]:
    """The cautions on a recording sheet, which has little room: what may make somebody ill."""
    return [mosquitoes(settings), Caution.HYGIENE]


def sentences(cautions: Iterable[Caution]) -> list[str]:
    """The cautions in words."""
    return [caution.sentence for caution in cautions]


def general_cautions(settings: Settings) -> list[str]:
    """The cautions for the whole area in words."""
    return sentences(for_area(settings))


def site_caution(row: Mapping[Any, Any], settings: Settings) -> str:
    """The caution beside one suggestion in words."""
    return " ".join(sentences(for_site(row, settings)))


def round_cautions(settings: Settings) -> list[str]:
    """The cautions of a round in words."""
    return sentences(for_round(settings))


def stop_caution(stop: Mapping[Any, Any]) -> str:
    """What to settle before going to one pool: its host where it is private, its access where nobody got there."""
    said = []
    if stop["private"] == "yes":
        said.append(f"Private land: arrange the visit with {stop['host'] or 'the host'} first.")
    if stop["not_reached"]:
        said.append(f"Not reached on {stop['not_reached']}: settle how to get in.")
    return " ".join(said)
