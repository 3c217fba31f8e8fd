"""The rasters a reader can switch between: breaks and colours of each.

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

# land cover: from the class with most dead wood and flowers to the barest; then what a table marks as water or building
COVER = ("#446239", "#7a9e52", "#b6c69f", "#d3e8a6", "#d2ae6e", "#a26d6e", "#f1d5d4")
COVER_OTHER = "#f7f8f2"
WATER_COLOUR = "#9fc0cf"
BUILDING_COLOUR = "#b3aaa3"
MOST_CLASSES = 8
