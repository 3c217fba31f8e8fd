"""What may go wrong with a pool, said where the decision is made. General words: local rules and licensed practice win.

The sentences rest on public guidance about water and small children, water-borne disease, mosquitoes, old trees,
protected animals and personal data; distances and depths in them are expert judgement.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from habitatmap.read.settings import Settings

MOSQUITOES = {
    "reported": "Mosquitoes that carry disease are reported in this area: ask the health authority first, "
    "and set out no pool before it has agreed.",
    "not assessed": "Whether mosquitoes that carry disease live in this area has not been assessed: "
    "ask the health authority what is known.",
    "none reported": "Mosquitoes that carry disease are not reported here; that can change, so look for their larvae "
    "at each visit and report any.",
}
CHILDREN = (
    "A few centimetres of water can drown a small child: use a narrow container filled with litter under a fixed "
    "grille, stable and not climbable, and none within reach of playing children."
)
CONSENT = {
    "yes": "Consent for this ground is on record: tell its owner before you come.",
    "ask": "Ask the owner of this ground first, and keep the answer in writing.",
    "provisional": "Whose ground this is isn't known here: find the owner and ask first.",
}
PRIVATE = "This is private ground: find a host who wants a pool, never enter unasked, keep the address to yourself."
HYGIENE = (
    "Standing water may carry disease (rats, leptospirosis): cover cuts, wear gloves, keep it off mouth and eyes, "
    "never spray or drink it, wash your hands, and tell a doctor about it if you fall ill with a fever."
)
LITTER = (
    "Use leaf litter and rain water from the place itself, no plants and no pond water; clean the gear between "
    "sites, and do not move larvae from region to region."
)
LOCAL = "Local rules and licensed practice come before anything said here."


def general_cautions(settings: Settings) -> list[str]:
    """The cautions for the whole area, one or two sentences each; the most pressing first."""
    return [
        MOSQUITOES[settings.cautions.mosquitoes],
        "Keep pools away from windows, seats, beds and care homes, and use no poison against mosquito larvae: "
        "it kills the larvae that the pool is for.",
        CHILDREN,
        HYGIENE,
        "Old trees are not to be nailed, drilled, cut or loaded: tie a pool with a strap that is looked at every year. "
        "Dead wood over a path needs a competent inspector, and nobody works under weak limbs.",
        "Never block, flood or empty a natural hole. Bats, nesting birds and other animals in trees are protected, "
        "and protected trees and sites need a permission of their own.",
        "Set out pools only with the written consent of whoever owns or rents the ground; parks, cemeteries and "
        "utilities have rules of their own.",
        LITTER,
        "A garden is somebody's address: share map.html, the tables and the GIS files with the team only. "
        "public_map.html is the one for everybody.",
        LOCAL,
    ]


def site_caution(row: Mapping[str, Any], settings: Settings) -> str:
    """The caution beside one suggestion, from its row of plan.csv (`consent`, `private`)."""
    # where it must be asked first, it is said first
    consent = PRIVATE if row.get("private") == "yes" else CONSENT.get(str(row.get("consent")), CONSENT["ask"])
    return " ".join([MOSQUITOES[settings.cautions.mosquitoes], consent, CHILDREN, LOCAL])


def round_cautions(settings: Settings) -> list[str]:
    """The cautions for somebody who goes from pool to pool."""
    return [
        MOSQUITOES[settings.cautions.mosquitoes],
        "A few centimetres of water can drown a small child: leave no pool without its grille or lid in place, and "
        "report one that stands open, loose or where children play.",
        HYGIENE,
        "Never enter a garden unasked, and never empty a pool: top it up. Nobody works under weak limbs.",
        LITTER,
        "This list holds addresses: show it to nobody outside the team, and destroy it after the week.",
        LOCAL,
    ]


def stop_caution(stop: Mapping[Any, Any]) -> str:
    """What to settle before going to one pool: its host where it is private, its access where nobody got there."""
    said = []
    if stop["private"] == "yes":
        said.append(f"Private ground: arrange the visit with {stop['host'] or 'the host'} first.")
    if stop["not_reached"]:
        said.append(f"Not reached on {stop['not_reached']}: settle how to get in.")
    return " ".join(said)
