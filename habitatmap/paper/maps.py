"""Map pictures for paper and slides: SVG drawn from an area's own data, with scale bar, north, key and credits.

Units of a drawing are points of a sheet. Colours are the page's (themes, each ramp even in lightness), every mark has a
shape of its own, and nothing is said by colour alone.
"""

from __future__ import annotations

import base64
import html
import io
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from textwrap import wrap
from typing import NamedTuple, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageColor
from shapely.geometry.base import BaseGeometry

from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.page.background import WATERWAYS, WAYS_ON_FOOT, cover_classes
from habitatmap.page.document import shown
from habitatmap.page.pictures import FIRST, classes_of
from habitatmap.read.land_cover import LandCover
from habitatmap.result import Result
from habitatmap.vocabulary import themes
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import short
from habitatmap.words.sentences import say

INK, HALO, PAPER = themes.INK, themes.HALO, "#fbfbf8"
ZONE, GAP, LINE, WATER_LINE = themes.SITE, themes.STYLES["gaps"].color, themes.WAY, "#6d9db3"
FACE, NOTHING = "Noto Sans, sans-serif", "#00000000"
MOST_CELLS = 1500  # a side of a raster inside a picture; finer is lost in print
BARS_M = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
# corners of the marks, of radius 1; a circle has none
SHAPES: dict[str, list[tuple[float, float]]] = {
    "circle": [],
    "square": [(-1, -1), (1, -1), (1, 1), (-1, 1)],
    "down": [(-1.1, -0.9), (1.1, -0.9), (0, 1.1)],
    "up": [(-1.1, 0.9), (1.1, 0.9), (0, -1.1)],
    "diamond": [(0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0)],
    "leaf": [(0, -1.3), (0.9, 0), (0, 1.3), (-0.9, 0)],
}


Number = TypeVar("Number", bound=np.generic)
Metres = TypeVar("Metres", float, NDArray[np.float64])


class Layer(NamedTuple):
    """A raster in classes: those from FIRST on have `colours`, "" is see-through; UNKNOWN is grey, below it is nothing.
    classes: those of some rows (numbers) and columns."""

    classes: Callable[[NDArray[np.int64], slice], NDArray[np.uint8]]
    colours: Sequence[str]

    @classmethod
    def of(
        cls, values: NDArray[Number], coded: Callable[[NDArray[Number]], NDArray[np.uint8]], colours: Sequence[str]
    ) -> Layer:
        """Of a raster (rows, cols), of whose values `coded` makes classes."""
        return cls(lambda rows, cols: coded(scratch.some_rows(values, rows)[:, cols]), colours)


@dataclass
class Sheet:
    """A drawing in the making: the ground between two corners of the area (metres), `width` units wide."""

    left: float
    bottom: float
    right: float
    top: float
    width: float = 500.0
    parts: list[str] = field(default_factory=list)
    key: list[tuple[str, str]] = field(default_factory=list)
    """Signs of the key (an SVG fragment about 0, 0 within 18 x 12) and their words."""

    @property
    def scale(self) -> float:
        """Units a metre."""
        return self.width / (self.right - self.left)

    @property
    def height(self) -> float:
        return (self.top - self.bottom) * self.scale

    def at(self, x: Metres, y: Metres) -> tuple[Metres, Metres]:
        return (x - self.left) * self.scale, (self.top - y) * self.scale

    def raster(self, grid: Grid, under: Layer, over: Layer | None = None) -> None:
        """A raster, and `over` it the classes from FIRST on of another one, as a single picture: each takes long to
        paint."""
        row0, row1 = (int(np.clip((grid.top - y) / grid.cell_m, 0, grid.rows)) for y in (self.top, self.bottom))
        col0, col1 = (int(np.clip((x - grid.left) / grid.cell_m, 0, grid.cols)) for x in (self.left, self.right))
        row1, col1 = min(grid.rows, row1 + 1), min(grid.cols, col1 + 1)
        if row1 <= row0 or col1 <= col0:
            return
        step = max(1, math.ceil(max(row1 - row0, col1 - col0) / MOST_CELLS))
        rows, cols = np.arange(row0, row1, step), slice(col0, col1, step)
        cut, colours = under.classes(rows, cols), ["", themes.UNKNOWN_COLOUR, *under.colours]
        if over is not None:
            top = over.classes(rows, cols)
            cut = np.where(top >= FIRST, top - np.uint8(FIRST) + np.uint8(len(colours)), cut)
            colours += over.colours
        table = np.array([ImageColor.getcolor(c or NOTHING, "RGBA") for c in colours], dtype=np.uint8)
        store, numbered = io.BytesIO(), Image.fromarray(cut, "P")
        numbered.putpalette(table[:, :3].tobytes())
        numbered.save(store, "PNG", transparency=table[:, 3].tobytes())
        x, y = self.at(grid.left + col0 * grid.cell_m, grid.top - row0 * grid.cell_m)
        side = grid.cell_m * self.scale * step
        data = base64.b64encode(store.getvalue()).decode("ascii")
        self.parts.append(
            f'<image x="{x:.2f}" y="{y:.2f}" width="{cut.shape[1] * side:.2f}" height="{cut.shape[0] * side:.2f}" '
            f'preserveAspectRatio="none" image-rendering="optimizeSpeed" href="data:image/png;base64,{data}"/>'
        )

    def lines(self, shapes: Iterable[BaseGeometry], look: str) -> None:
        """Lines and outlines within the sheet."""
        self.parts += [f'<path d="{path}" fill="none" {look}/>' for path in self._paths(shapes)]

    def areas(self, shapes: Iterable[BaseGeometry], look: str) -> None:
        """Filled shapes within the sheet."""
        self.parts += [f'<path d="{path}" fill-rule="evenodd" {look}/>' for path in self._paths(shapes)]

    def mark(self, x: float, y: float, shape: str, fill: str, size: float) -> None:
        px, py = self.at(x, y)
        self.parts.append(f'<g transform="translate({px:.1f} {py:.1f})">{sign(shape, fill, size)}</g>')

    def number(self, x: float, y: float, text: str, colour: str = ZONE) -> None:
        """A number in a disc, such as stands for a suggestion."""
        px, py = self.at(x, y)
        self.parts.append(f'<g transform="translate({px:.1f} {py:.1f})">{disc(text, colour)}</g>')

    def numbers(self, places: NDArray[np.floating], texts: Sequence[str]) -> None:
        """Numbers at places (x, y in metres), moved apart where one would hide another; a line leads from each that was
        moved to its place. The first lies on top."""
        at = np.array([self.at(x, y) for x, y in places]).reshape(-1, 2)
        moved = _apart(at, 2 * max(map(_radius, texts), default=0.0) + 1)
        for (x, y), (px, py), text in reversed(list(zip(at, moved, texts, strict=True))):
            if math.hypot(px - x, py - y) > 1:
                self.parts.append(
                    f'<path d="M{x:.1f} {y:.1f}L{px:.1f} {py:.1f}" stroke="{ZONE}" stroke-width="1.2"/>'
                    f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2" fill="{ZONE}"/>'
                )
            self.parts.append(f'<g transform="translate({px:.1f} {py:.1f})">{disc(text)}</g>')

    def writing(self, along: BaseGeometry, text: str, size: float = 7.5) -> None:
        """A text at the middle of a line, turned with it but never upside down."""
        middle = along.interpolate(0.5, normalized=True)
        ahead = along.interpolate(min(0.52 * along.length, 0.5 * along.length + 10))
        (x, y), (x1, y1) = self.at(middle.x, middle.y), self.at(ahead.x, ahead.y)
        turn = math.degrees(math.atan2(y1 - y, x1 - x))
        turn = turn - 180 if turn > 90 else turn + 180 if turn < -90 else turn
        self.parts.append(
            f'<text transform="translate({x:.1f} {y:.1f}) rotate({turn:.0f})" y="-2" font-size="{size}" fill="{INK}" '
            f'text-anchor="middle" stroke="{HALO}" stroke-width="2.2" paint-order="stroke" stroke-linejoin="round">'
            f"{html.escape(shown(text))}</text>"
        )

    def _paths(self, shapes: Iterable[BaseGeometry]) -> Iterable[str]:
        window = shapely.box(self.left, self.bottom, self.right, self.top).buffer(20 / self.scale)
        given = np.asarray(list(shapes), dtype=object)
        given = given[shapely.intersects(given, window)]
        for seen in shapely.simplify(shapely.intersection(given, window), 0.3 / self.scale):
            path = "".join(self._path(part) for part in shapely.get_parts(seen))
            if path:
                yield path

    def _path(self, part: BaseGeometry) -> str:
        if part.geom_type == "Polygon":
            return "".join(self._ring(ring) + "Z" for ring in (part.exterior, *part.interiors))
        return self._ring(part) if part.geom_type in ("LineString", "LinearRing") else ""

    def _ring(self, line: BaseGeometry) -> str:
        x, y = shapely.get_coordinates(line).T
        points = np.column_stack(self.at(x, y)).tolist()
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) if len(points) > 1 else ""

    def svg(self, title: str, credits: Sequence[str], spoken: Catalogue = ENGLISH) -> str:
        """The finished drawing: the map in a frame, scale bar and north on it, below it the key and the credits."""
        w, h = self.width, self.height
        below, total = self._below(credits, h, spoken)
        said = html.escape(shown(spoken.say(title)), quote=True)
        return "".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w:.1f} {total:.1f}" role="img" ',
                f'aria-label="{said}" font-family="{FACE}"><title>{said}</title>',
                f'<rect width="{w:.1f}" height="{h:.1f}" fill="{PAPER}"/>',
                *self.parts,
                # over what lies beyond the map: to cut that off would take as long to paint as the map
                f'<rect y="{h:.1f}" width="{w:.1f}" height="{total - h:.1f}" fill="{HALO}"/>',
                f'<rect x=".5" y=".5" width="{w - 1:.1f}" height="{h - 1:.1f}" fill="none" stroke="{INK}"/>',
                self._bar(h),
                self._north(spoken.say("N")),
                *below,
                "</svg>\n",
            ]
        )

    def _bar(self, h: float) -> str:
        length = max([b for b in BARS_M if b * self.scale <= self.width / 3], default=BARS_M[0])
        units = length * self.scale
        words = f"{length / 1000:g} km" if length >= 1000 else f"{length} m"
        return (
            f'<g transform="translate(10 {h - 12:.1f})"><rect x="-5" y="-17" width="{units + 10:.1f}" height="24" '
            f'fill="{HALO}" fill-opacity=".85"/><path d="M0 -4V2H{units:.1f}V-4" fill="none" stroke="{INK}" '
            f'stroke-width="1.5"/><text x="{units / 2:.1f}" y="-5" font-size="9" text-anchor="middle" fill="{INK}">'
            f"{words}</text></g>"
        )

    def _north(self, word: str) -> str:
        return (
            f'<g transform="translate({self.width - 18:.1f} 24)"><circle r="14" fill="{HALO}" fill-opacity=".85"/>'
            f'<path d="M0 -11L4 3L0 0L-4 3Z" fill="{INK}"/><text y="12" font-size="8" text-anchor="middle" '
            f'fill="{INK}">{html.escape(word)}</text></g>'
        )

    def _below(self, credits: Sequence[str], h: float, spoken: Catalogue) -> tuple[list[str], float]:
        """Key and credits under the map, in rows that fit the width; and the height of it all."""
        out, x, y = [], 6.0, h + 14.0
        for fragment, told in self.key:
            words = spoken.say(told)
            wide = 26 + 4.9 * len(words) + 12
            if x > 6 and x + wide > self.width:
                x, y = 6.0, y + 15
            out.append(
                f'<g transform="translate({x + 9:.1f} {y - 3:.1f})">{fragment}</g>'
                f'<text x="{x + 24:.1f}" y="{y:.1f}" font-size="9" fill="{INK}">{html.escape(shown(words))}</text>'
            )
            x += wide
        y += 13 if self.key else 0
        for line in wrap(shown("; ".join(map(spoken.cell, credits))), int(self.width / 3.7), break_on_hyphens=False):
            out.append(f'<text x="6" y="{y:.1f}" font-size="7" fill="{INK}">{html.escape(line)}</text>')
            y += 9
        return out, y


def sign(shape: str, fill: str, size: float) -> str:
    """A mark about 0, 0 with a light rim, so that it stands out on any ground."""
    rims = (f'stroke="{HALO}" stroke-width="3"', f'stroke="{INK}" stroke-width="1"')
    if shape == "circle":
        return "".join(f'<circle r="{size}" fill="{fill}" {rim}/>' for rim in rims)
    points = " ".join(f"{x * size:.1f},{y * size:.1f}" for x, y in SHAPES[shape])
    return "".join(f'<polygon points="{points}" fill="{fill}" stroke-linejoin="round" {rim}/>' for rim in rims)


def disc(text: str, colour: str = ZONE) -> str:
    return (
        f'<circle r="{_radius(text):g}" fill="{HALO}" stroke="{colour}" stroke-width="2"/>'
        f'<text y="3.2" font-size="9" font-weight="bold" text-anchor="middle" fill="{INK}">{html.escape(text)}</text>'
    )


def _radius(text: str) -> float:
    return 8 if len(text) < 3 else 10


def _apart(at: NDArray[np.floating], gap: float) -> NDArray[np.floating]:
    """The points, pushed from each other until any two are `gap` apart, or nearly so where there are very many."""
    at = at + 0.01 * np.column_stack([np.cos(np.arange(len(at))), np.sin(np.arange(len(at)))])  # none on another
    for _ in range(200):
        between = at[:, None] - at[None]
        far = np.hypot(between[..., 0], between[..., 1])
        np.fill_diagonal(far, np.inf)
        short = np.maximum(gap - far, 0)
        if not short.any():
            break
        at = at + (0.5 * (short / far)[..., None] * between).sum(axis=1)
    return at


def swatch(colour: str) -> str:
    """A small field of a colour for the key."""
    return f'<rect x="-8" y="-6" width="16" height="11" fill="{colour}" stroke="{INK}" stroke-width=".6"/>'


def ground(sheet: Sheet, result: Result, faint: bool = False, ways: Sequence[str] | None = None) -> None:
    """Land cover, paths, water and boundary: what makes a map read as a map. `ways`: what `lines` drew for a sheet of
    the same ground before."""
    cover = result.land_cover
    if cover is not None:
        number, _, colours = cover_classes(cover)
        shown = Layer.of(cover.classes, number.__getitem__, [_paler(c) if faint else c for c in colours])
        sheet.raster(result.grid, shown, _landmarks(cover))
        sheet.key += [] if faint else legend(result, faint)
    sheet.parts += lines(sheet, result) if ways is None else ways


def legend(result: Result, faint: bool = True) -> list[tuple[str, str]]:
    """The key of the ground: its classes of land cover."""
    if result.land_cover is None:
        return []
    _, labels, colours = cover_classes(result.land_cover)
    return [
        (swatch(_paler(colour) if faint else colour), label or "other land")
        for label, colour in zip(labels, colours, strict=True)
    ]


def _landmarks(cover: LandCover) -> Layer:
    """Water and buildings, by which most people find their way."""
    number = {"water": FIRST, "building": FIRST + 1}
    of_class = np.array([0, *(number.get(ground, 0) for ground in cover.table["ground"])], dtype=np.uint8)
    return Layer.of(cover.classes, of_class.__getitem__, [themes.WATER_COLOUR, themes.BUILDING_COLOUR])


def lines(like: Sheet, result: Result) -> list[str]:
    """What is drawn on a sheet `like` this one: paths, streets, watercourses and the boundary."""
    sheet, paths = replace(like, parts=[], key=[]), result.paths
    water, foot = paths["kind"].isin(WATERWAYS), paths["kind"].isin(WAYS_ON_FOOT)
    for which, look in (
        (water, f'stroke="{WATER_LINE}" stroke-width="1.6"'),
        (foot, f'stroke="{LINE}" stroke-width=".7" stroke-dasharray="2.5 1.8"'),
        (~water & ~foot, f'stroke="{LINE}" stroke-width="1"'),
    ):
        sheet.lines(paths.geometry[which], look)
    if result.boundary is not None:
        sheet.lines([result.boundary], f'stroke="{INK}" stroke-width="1.2" stroke-dasharray="7 3 1 3"')
    return sheet.parts


def theme(sheet: Sheet, result: Result, name: str, ways: Sequence[str]) -> None:
    """A raster of the result in the page's colours and breaks, with its key; `ways` (of `lines`) laid over it."""
    look = next(t for t in themes.THEMES if t.name == name)
    raster = result.rasters[name]
    shown = Layer.of(raster, lambda values: classes_of(values, look.breaks), look.colours)
    sheet.raster(result.grid, shown, _landmarks(result.land_cover) if result.land_cover is not None else None)
    times, unit = (100, "%") if look.chance else (1, "")
    ends = [short(times * end) for end in (0.0, *look.breaks, 1.0)]
    sheet.key += [
        (swatch(colour), say("{low}\u2013{high}", low=low, high=high._replace(unit=unit)))
        for colour, (low, high) in zip(look.colours, pairwise(ends), strict=True)
    ]
    if any(np.isnan(raster[band]).any() for band in scratch.bands(raster.shape)):
        sheet.key.append((swatch(themes.UNKNOWN_COLOUR), "not known"))
    sheet.parts += ways


def whole(result: Result, width: float = 500.0) -> Sheet:
    """A sheet of the area: its boundary with a margin, else its whole frame."""
    grid = result.grid
    left, bottom, right, top = result.boundary.bounds if result.boundary is not None else grid.bounds
    margin = 0.03 * max(right - left, top - bottom) if result.boundary is not None else 0.0
    return Sheet(left - margin, bottom - margin, right + margin, top + margin, width)


def _paler(colour: str) -> str:
    """Half way to white: ground under marks and writing."""
    return "#" + "".join(f"{(int(colour[i : i + 2], 16) + 255) // 2:02x}" for i in (1, 3, 5))
