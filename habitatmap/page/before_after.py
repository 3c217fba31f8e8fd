"""Two seasons as two maps of one frame: what was in reach, and which pools stood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from habitatmap.geo.grid import Grid
from habitatmap.page.drawings import WIDTH, drawing
from habitatmap.page.pictures import classes_of, picture
from habitatmap.page.pool_drawings import Drawn, bar_and_north, key_of_signs, signed, titled
from habitatmap.vocabulary.themes import CHANCE_BREAKS, HONEY
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import span
from habitatmap.words.sentences import Sentence, say

PIXELS = 400  # of a picture's longer side, at most
MARGIN = 0.06  # of the frame around the outermost mark


class Sign(StrEnum):
    """What a mark on the maps means."""

    STAYS = "pool that stands in both seasons"
    GAINED = "pool gained"
    LOST = "pool lost"
    MOVED = "pool that moved, with its way"
    SITE = "suggested site without a pool"


CIRCLE = "m-1 0a1 1 0 1 0 2 0a1 1 0 1 0 -2 0z"
SHAPES: Mapping[Sign, tuple[str, str, float]] = {
    Sign.STAYS: ("shade", CIRCLE, 4.0),
    Sign.GAINED: ("shade p5", CIRCLE, 6.0),
    Sign.LOST: (
        "shade p5",
        "m-1 -.6l.4 -.4l.6 .6l.6 -.6l.4 .4l-.6 .6l.6 .6l-.4 .4l-.6 -.6l-.6 .6l-.4 -.4l.6 -.6z",
        6.5,
    ),
    Sign.MOVED: ("shade p3", CIRCLE, 5.0),
    Sign.SITE: ("shade", "m0 -1.2l1.1 1.2l-1.1 1.2l-1.1 -1.2z", 5.0),
}


class Marked(NamedTuple):
    """A mark at a place (m), and from where it came, if it moved."""

    sign: Sign
    name: str
    x: float
    y: float
    came_from: tuple[float, float] | None = None


Frame = tuple[float, float, float, float]  # west, south, east, north in metres


def frame_of(marks: Sequence[Marked], grids: Sequence[Grid]) -> Frame:
    """The box of all marks with a margin; of the grids where there is no mark."""
    if not marks:
        west, south, east, north = zip(*(grid.bounds for grid in grids), strict=True)
        return min(west), min(south), max(east), max(north)
    x, y = np.array([m.x for m in marks]), np.array([m.y for m in marks])
    room = MARGIN * max(x.max() - x.min(), y.max() - y.min(), 500.0)
    return float(x.min() - room), float(y.min() - room), float(x.max() + room), float(y.max() + room)


def season_map(reach: NDArray[np.floating], grid: Grid, marks: Sequence[Marked], frame: Frame, what: str) -> Drawn:
    """The probability of being reached (rows x cols of `grid`) under the marks; north is up."""
    return partial(_map, reach, grid, marks, frame, what)


def _map(
    reach: NDArray[np.floating], grid: Grid, marks: Sequence[Marked], frame: Frame, what: str, spoken: Catalogue
) -> str:
    west, south, east, north = frame
    scale = WIDTH / (east - west)
    high = (north - south) * scale
    rows = [f'<rect class="white" x="0" y="0" width="{WIDTH}" height="{high + 26:.1f}"/>']
    part, (left, bottom, right, top) = _part(reach, grid, frame)
    if part.size:
        address = picture(classes_of(part.astype(np.float32), CHANCE_BREAKS), HONEY)
        box = f'x="{(left - west) * scale:.1f}" y="{(north - top) * scale:.1f}"'
        size = f'width="{(right - left) * scale:.1f}" height="{(top - bottom) * scale:.1f}"'
        rows.append(f'<image href="{address}" {box} {size} preserveAspectRatio="none"/>')
    for mark in marks:
        kind, outline, size_px = SHAPES[mark.sign]
        x, y = (mark.x - west) * scale, (north - mark.y) * scale
        parts = [signed(kind, outline, x, y, size_px)]
        if mark.came_from is not None:
            a, b = (mark.came_from[0] - west) * scale, (north - mark.came_from[1]) * scale
            parts.insert(0, f'<path class="shade" d="M{a:.1f} {b:.1f}L{x:.1f} {y:.1f}"/>')
        rows.append(titled(spoken.say(say("{name}: {sign}", name=mark.name, sign=mark.sign)), parts))
    rows += bar_and_north(scale, round(high + 24, 1), spoken.say("N"))
    return drawing(round(high + 26, 1), spoken.say(what), rows)


def _part(reach: NDArray[np.floating], grid: Grid, frame: Frame) -> tuple[NDArray[np.floating], Frame]:
    """The part of a raster that lies in a frame, with fewer cells where it has many, and its own box."""
    west, south, east, north = frame
    col0, col1 = (int(np.clip((x - grid.left) // grid.cell_m, 0, grid.cols)) for x in (west, east + grid.cell_m))
    row0, row1 = (int(np.clip((grid.top - y) // grid.cell_m, 0, grid.rows)) for y in (north, south - grid.cell_m))
    step = max(1, -(-max(row1 - row0, col1 - col0) // PIXELS))
    part = reach[row0:row1:step, col0:col1:step]
    left, top = grid.left + col0 * grid.cell_m, grid.top - row0 * grid.cell_m
    box = (left, top - part.shape[0] * step * grid.cell_m, left + part.shape[1] * step * grid.cell_m, top)
    return part, box


def key_of_seasons(signs: Sequence[Sign], spoken: Catalogue = ENGLISH) -> str:
    """What the marks and the colours mean."""
    return key_of_signs([(kind, size, outline, s) for s in signs for kind, outline, size in [SHAPES[s]]], spoken)


def shades_told() -> Sentence:
    """What the ground of the maps tells."""
    return say(
        "The darker the ground, the likelier a breeding place reaches it (seven steps, from below {low} to {high}).",
        low=span(CHANCE_BREAKS[0], CHANCE_BREAKS[0]),
        high=say("{most} and more", most=span(CHANCE_BREAKS[-1], CHANCE_BREAKS[-1])),
    )
