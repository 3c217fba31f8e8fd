"""The colours and signs of every map, once: on the page, on paper, and in the files for GIS.

Every ramp goes from light to dark in even steps of lightness, so that it reads in grey and for the colour-blind;
none is blue, which stays with water.
Breaks are the same on every map, so that two towns or two seasons can be laid side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

from habitatmap.vocabulary.terms import Outcome

FORAGE_BREAKS = (0.05, 0.12, 0.2, 0.3, 0.45, 0.65)
CHANCE_BREAKS = (0.02, 0.1, 0.2, 0.35, 0.5, 0.75)
ADDED_BREAKS = (0.01, 0.05, 0.1, 0.2, 0.35, 0.5)

LEAF = ("#f2f3d8", "#dbe6b4", "#b9d18f", "#90b96f", "#659b57", "#3f7a46", "#225739")
HONEY = ("#faf1d9", "#f3ddab", "#e8c273", "#d3a145", "#b07f2c", "#875d22", "#5d3f1b")
BARK = ("#f4ece6", "#e4d0c3", "#cfaf9c", "#b48a74", "#946653", "#714738", "#4d2d23")
DUSK = ("#f3edf4", "#dfd0e3", "#c6afce", "#a98ab6", "#8a669b", "#6a467d", "#4a2c5c")

# distances, near is dark: metres
DISTANCE_BREAKS = (25.0, 50.0, 100.0, 200.0, 400.0, 800.0)
UNKNOWN_COLOUR = "#c4c8c9"


@dataclass(frozen=True)
class Theme:
    """One raster of a Result, as the page colours it. `chance`: a share, shown in per cent."""

    name: str
    breaks: tuple[float, ...]
    colours: tuple[str, ...]
    chance: bool = False


THEMES = (
    Theme("forage_season", FORAGE_BREAKS, LEAF),
    Theme("forage_lean", FORAGE_BREAKS, LEAF),
    Theme("forage_access", FORAGE_BREAKS, LEAF),
    Theme("dead_wood", FORAGE_BREAKS, BARK),
    Theme("reach_now", CHANCE_BREAKS, HONEY, chance=True),
    Theme("reach_with_plan", CHANCE_BREAKS, HONEY, chance=True),
    Theme("reach_added", ADDED_BREAKS, HONEY, chance=True),
    Theme("occupancy", CHANCE_BREAKS, DUSK, chance=True),
)
# what the files for GIS hold besides
DISTANCES = (
    Theme("forage_m", DISTANCE_BREAKS, LEAF[::-1]),
    Theme("dead_wood_m", DISTANCE_BREAKS, BARK[::-1]),
)


@dataclass(frozen=True)
class PoolMark:
    """A pool on the map: `shape` is a circle or one of the script's CORNERS, `size` its radius in pixels."""

    shape: str
    fill: str
    size: float


# by the outcome of the last visit, None for no visit yet
OUTCOME_MARKS: dict[Outcome | None, PoolMark] = {
    Outcome.LARVAE: PoolMark("circle", "#0e5a72", 6.5),
    Outcome.NONE_SEEN: PoolMark("square", "#ffffff", 5.5),
    Outcome.DRY: PoolMark("down", "#e0a030", 6.5),
    Outcome.FROZEN: PoolMark("diamond", "#a8d8ea", 6.5),
    Outcome.GONE: PoolMark("cross", "#44403c", 5.5),
    Outcome.NOT_REACHED: PoolMark("up", "#b79ad0", 6.5),
    None: PoolMark("circle", "#ffffff", 4.0),
}
TREE_MARK, DOT = PoolMark("leaf", "#7a5230", 6.0), PoolMark("circle", "#5b3a1e", 2.5)

INK, HALO = "#20292b", "#ffffff"
SITE, WAY, QUIET = "#a8321a", "#6f6a62", "#4d5d5e"


@dataclass(frozen=True)
class Style:
    """How an area or a line is drawn: width in pixels, `dashArray` in SVG's way, hatching by slopes (1 rises, -1 falls)
    every `gap` pixels. `plain`: an outline alone. The page's script takes the fields by these names."""

    color: str
    weight: float
    dashArray: str | None = None  # noqa: N815
    hatch: tuple[int, ...] = ()
    gap: int = 0
    plain: bool = False
    line: bool = False
    opacity: float = 1.0


# from which probability on a link is drawn strong
STRONG_LINK = 0.5
_ASK = Style("#7a5a00", 2, "8 4", (1,), 12)
STYLES = {
    "gaps": Style("#7b1e6d", 2.5, "7 4", (1,), 11),
    "yes": Style("#1d6b4f", 2),
    "ask": _ASK,
    "provisional": _ASK,
    "no": Style("#8e2430", 2, "2 4", (1, -1), 9),
    "keep-away": Style("#54301c", 1.5, "1 3", (-1,), 7),
    "boundary": Style(INK, 1.5, plain=True),
    "cells": Style("#0e5a72", 1.5),
    "zone": Style(SITE, 2.5, "5 3", (-1,), 9),
    "strong": Style(INK, 1.6, line=True, opacity=0.7),
    "weak": Style(INK, 0.8, "3 5", line=True, opacity=0.45),
}

# land cover: from the class with most dead wood and flowers to the barest; then what a table marks as water or building
COVER = ("#446239", "#7a9e52", "#b6c69f", "#d3e8a6", "#d2ae6e", "#a26d6e", "#f1d5d4")
COVER_OTHER = "#f7f8f2"
WATER_COLOUR = "#9fc0cf"
BUILDING_COLOUR = "#b3aaa3"
MOST_CLASSES = 8
