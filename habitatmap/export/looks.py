"""How each layer and raster for GIS is to look: signs, colours and scales, from the colours of all maps.

A look belongs to no program; `styles` writes it as QML and as SLD.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from habitatmap.read.settings import Settings
from habitatmap.vocabulary.themes import (
    DISTANCES,
    DOT,
    DUSK,
    HALO,
    INK,
    OUTCOME_MARKS,
    QUIET,
    SITE,
    STRONG_LINK,
    STYLES,
    THEMES,
    TREE_MARK,
    UNKNOWN_COLOUR,
    PoolMark,
    Style,
    Theme,
)

# from which scale on things are drawn (1 : n): farther off they would hide the map (expert judgement)
STREET, HOUSE, DOOR = 25_000, 10_000, 5_000

# from which rank on a link is drawn only near by, as all of them would hide the map (expert judgement)
FEW_LINKS = 4

Condition = tuple[str, str, str | float]
"""A column, one of = >= <, and what it is compared with."""


@dataclass(frozen=True)
class Rule:
    """One sign of a layer: for which rows (all conditions hold), and from which scale on (0: always)."""

    label: str
    sign: PoolMark | Style
    where: Sequence[Condition] = ()
    nearer_than: int = 0


@dataclass(frozen=True)
class Label:
    """A column written beside its feature, or `inside` the sign."""

    column: str
    color: str = INK
    size: float = 8.0  # points
    inside: bool = False
    nearer_than: int = 0


@dataclass(frozen=True)
class Look:
    """How a layer looks: its rules, the first drawn lowest; `shown`: whether it is drawn at first."""

    rules: Sequence[Rule]
    label: Label | None = None
    nearer_than: int = 0
    shown: bool = True


TABLE_LOOK = Look(())
"""Of a layer without shapes."""


def layer_looks(settings: Settings) -> dict[str, Look]:
    """The look of each layer of the GeoPackage that has shapes."""
    likely = settings.near.dead_wood_from
    stands = ("standing", "=", "yes")
    likely_flight = ("probability", ">=", STRONG_LINK)
    marks = [
        Rule(str(outcome or "no visit yet"), mark, (stands, ("last_outcome", "=", str(outcome or ""))))
        for outcome, mark in OUTCOME_MARKS.items()
    ]
    gone = Rule("not standing", PoolMark("circle", UNKNOWN_COLOUR, 2.5), (("standing", "=", "no"),))
    return {
        "plan": Look((Rule("suggested site", PoolMark("circle", SITE, 11.0)),), Label("id", HALO, 7.0, inside=True)),
        "pools": Look((gone, *marks), Label("pool", nearer_than=HOUSE)),
        "trees": Look(
            (
                Rule("other tree", DOT, (_less("rot_hole_probability", likely),), HOUSE),
                Rule("likely rot-hole tree", TREE_MARK, (("rot_hole_probability", ">=", likely),)),
            ),
            nearer_than=STREET,
        ),
        "breeding_places": Look((Rule("breeding place", PoolMark("circle", DUSK[2], 5.0)),), shown=False),
        "links": Look(
            (
                Rule("flight, less likely", STYLES["weak"], (_less("probability", STRONG_LINK),), DOOR),
                Rule("likely flight", STYLES["strong"], (likely_flight, ("rank", ">=", FEW_LINKS)), DOOR),
                Rule(
                    "likeliest flights of a place",
                    STYLES["strong"],
                    (likely_flight, ("rank", "<", FEW_LINKS)),
                    STREET,
                ),
            ),
            shown=False,
        ),
        "zones": Look((Rule("zone that serves as well", STYLES["zone"]),), nearer_than=STREET),
        "gaps": Look((Rule("gap", STYLES["gaps"]),), Label("rank", STYLES["gaps"].color, 9.0)),
        "places": Look(
            tuple(Rule(f"consent: {one}", STYLES[one], (("consent", "=", one),)) for one in ("yes", "ask", "no")),
            Label("place", QUIET, 8.0, nearer_than=STREET),
        ),
        "exclusion_zones": Look((Rule("exclusion zone", STYLES["keep-away"]),), nearer_than=STREET),
        "paths": Look(
            (Rule("street, path, water", Style("#6f6a62", 1.0, line=True)),),
            Label("name", "#6f6a62", 7.0, nearer_than=HOUSE),
        ),
        "boundary": Look((Rule("boundary", STYLES["boundary"]),)),
    }


def _less(column: str, than: float) -> Condition:
    return column, "<", than


RASTER_LOOKS: dict[str, Theme] = {theme.name: theme for theme in (*THEMES, *DISTANCES)}


def class_labels(theme: Theme) -> list[str]:
    """What each colour stands for, from the lowest class up."""

    def said(value: float) -> str:
        return f"{value * 100:g} %" if theme.chance else f"{value:g} m" if theme in DISTANCES else f"{value:g}"

    breaks = [said(value) for value in theme.breaks]
    between = [f"{low} to {high}" for low, high in pairwise(breaks)]
    return [f"below {breaks[0]}", *between, f"{breaks[-1]} and more"]
