"""Small static pictures of figures (SVG), drawn narrow so that they can be read on a phone and on paper.

A drawing holds no colour and no style of its own: its classes get them from the page, by day, by night and in print.
Everything a drawing says is said by a table or a sentence beside it too.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from math import ceil, floor, log10
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

from habitatmap.page.document import shown
from habitatmap.sentences import Quantity, count
from habitatmap.words.catalogue import ENGLISH, Catalogue

WIDTH = 340  # of every drawing, in units of which a letter is 12 high
LEFT, RIGHT = 8, 332
STOP = 15  # between the middles of two stops, so that both numbers can be read


class Mark(NamedTuple):
    """A figure with its interval; `value` None: the interval alone; `low`, `high` None: the figure alone."""

    label: str
    value: float | None
    low: float | None = None
    high: float | None = None
    said: str = ""


def intervals(
    marks: Sequence[Mark],
    what: str,
    spoken: Catalogue = ENGLISH,
    ends: tuple[float, float] = (0.0, 1.0),
    line: float | None = None,
) -> str:
    """Dots with whiskers, one below the other, between `ends`; a whisker cut there lacks its end stroke; "" of none.

    `what` tells a reader who can't see it what is drawn; `line` draws an upright line through all rows. `spoken`: the
    language of what is said, but for labels that are no sentences, which are a record's.
    """
    low_end, high_end = ends
    height = 4 + 34 * len(marks)

    def at(value: float) -> float:
        return LEFT + (RIGHT - LEFT) * min(max((value - low_end) / (high_end - low_end), 0.0), 1.0)

    def upright(kind: str, value: float, top: int, bottom: int) -> str:
        return f'<line class="{kind}" x1="{at(value):.1f}" x2="{at(value):.1f}" y1="{top}" y2="{bottom}"/>'

    rows = [] if line is None else [upright("through", line, 0, height)]
    for number, mark in enumerate(marks):
        words, middle = 13 + 34 * number, 25 + 34 * number
        rows += [text(LEFT, words, spoken.cell(mark.label)), text(RIGHT, words, spoken.cell(mark.said), "end")]
        rows.append(f'<line class="rail" x1="{LEFT}" x2="{RIGHT}" y1="{middle}" y2="{middle}"/>')
        if mark.low is not None and mark.high is not None:
            a, b = at(mark.low), at(mark.high)
            rows.append(f'<line class="whisker" x1="{a:.1f}" x2="{b:.1f}" y1="{middle}" y2="{middle}"/>')
            shown_ends = [end for end in (mark.low, mark.high) if low_end <= end <= high_end]
            rows += [upright("whisker", end, middle - 5, middle + 5) for end in shown_ends]
        if mark.value is not None and low_end <= mark.value <= high_end:
            rows.append(f'<circle class="dot" cx="{at(mark.value):.1f}" cy="{middle}" r="5"/>')
    return drawing(height, spoken.say(what), rows) if marks else ""


def bars(parts: Sequence[tuple[str, int, int]], what: str, names: tuple[str, str]) -> str:
    """Lying bars of two parts each (label, first, second): the first part filled, the second outlined; "" of none."""
    most = max((a + b for _, a, b in parts), default=0) or 1
    rows: list[str] = []
    for number, (label, first, second) in enumerate(parts):
        words, top = 15 + 38 * number, 21 + 38 * number
        rows += [text(LEFT, words, label), text(RIGHT, words, f"{names[0]} {first}, {names[1]} {second}", "end")]
        a, b = ((RIGHT - LEFT) * n / most for n in (first, second))
        rows.append(f'<rect class="filled" x="{LEFT}" y="{top}" width="{a:.1f}" height="12"/>')
        rows.append(f'<rect class="outlined" x="{LEFT + a:.1f}" y="{top}" width="{b:.1f}" height="12"/>')
    return drawing(4 + 38 * len(parts), what, rows) if parts else ""


def drawing(height: float, what: str, rows: Sequence[str], width: float = WIDTH, broad: bool = False) -> str:
    """An SVG of its parts. `broad`: it keeps its size where the page is narrower. Without `what` it is decoration."""
    about = f'role="img" aria-label="{html.escape(shown(what))}"' if what else 'aria-hidden="true"'
    size = f' class="broad" width="{width:.0f}" height="{height:g}"' if broad else ""
    return (
        f'<svg{size} viewBox="0 0 {width:.0f} {height:g}" {about} xmlns="http://www.w3.org/2000/svg">'
        + "".join(rows)
        + "</svg>"
    )


def text(x: float, y: float, words: str, anchor: str = "start", size: int = 12) -> str:
    """A line of text of a size that the style sheet knows (8, 9, 11, 12 or 16); "" of none."""
    kind = "" if size == 12 else f' class="t{size}"'
    return f'<text{kind} x="{x:g}" y="{y:g}" text-anchor="{anchor}">{html.escape(shown(words))}</text>' if words else ""


def route(
    frame: tuple[float, float, float, float],
    paths: Sequence[NDArray[np.float64]],
    ways: Sequence[NDArray[np.float64]],
    stops: Sequence[tuple[float, float, str]],
    bar_m: float,
    what: str,
) -> str:
    """Ways, one for each outing, over the paths around, numbered stops (x, y, number) and a bar of `bar_m` metres.

    `frame`: west, south, east, north in metres, as everything here; stops on one spot are drawn beside each other.
    """
    west, south, east, north = frame
    scale = WIDTH / (east - west)
    height = scale * (north - south)

    def points(line: NDArray[np.float64]) -> str:
        return " ".join(f"{(x - west) * scale:.1f},{(north - y) * scale:.1f}" for x, y in line)

    rows = [f'<polyline class="path" points="{points(line)}"/>' for line in paths]
    rows += [f'<polyline class="way" points="{points(way)}"/>' for way in ways]
    taken: dict[tuple[int, int], list[tuple[float, float]]] = {}  # by squares as wide as a stop

    def covers(across: float, down: float) -> bool:
        col, row = floor(across / STOP), floor(down / STOP)
        near = (taken.get((c, r), ()) for c in (col - 1, col, col + 1) for r in (row - 1, row, row + 1))
        return any(abs(across - a) < STOP and abs(down - d) < STOP for some in near for a, d in some)

    for x, y, number in stops:
        across, down = (x - west) * scale, (north - y) * scale
        while covers(across, down):
            across += STOP
        taken.setdefault((floor(across / STOP), floor(down / STOP)), []).append((across, down))
        rows.append(f'<circle class="stop" cx="{across:.1f}" cy="{down:.1f}" r="8.5"/>')
        rows.append(text(round(across, 1), round(down + 4, 1), number, "middle"))
    rows.append(f'<line class="bar" x1="6" x2="{6 + bar_m * scale:.1f}" y1="{height - 6:.1f}" y2="{height - 6:.1f}"/>')
    return drawing(round(height, 1), what, rows)


class Level(NamedTuple):
    """A share at a number along the axis, with its interval and what it can't exceed; NaN is not drawn."""

    at: int
    value: float
    low: float
    high: float
    most: float


def rising(levels: Sequence[Level], here: int, what: str, broad: bool = False) -> str:
    """Shares by a number: a line in its interval (shaded), the most there can be (dashed), and an upright line `here`;
    "" of fewer than two. It says its figures alone, so that it needs no language, and has colours for where no style
    sheet reaches it. `broad` as in `drawing`."""
    if len(levels) < 2:
        return ""
    left, top, bottom = 44, 14, 160
    values = [value for level in levels for value in level[1:] if value == value]
    step = _round_step(max(values) - min(values))
    low, high = step * floor(min(values) / step), step * ceil(max(values) / step)
    low, high = max(low, 0.0), min(high, 1.0)

    def x(number: float) -> float:
        return left + (RIGHT - left) * (number - levels[0].at) / (levels[-1].at - levels[0].at)

    def y(share: float) -> float:
        return bottom - (bottom - top) * (share - low) / (high - low)

    def points(shares: Sequence[float], numbers: Sequence[int]) -> str:
        return " ".join(f"{x(n):.1f},{y(share):.1f}" for n, share in zip(numbers, shares, strict=True))

    along = [level.at for level in levels]
    rows = []
    for k in range(round((high - low) / step) + 1):
        at = round(y(low + k * step), 1)
        rows.append(f'<line class="rail" stroke="#d3dcd9" x1="{left}" x2="{RIGHT}" y1="{at}" y2="{at}"/>')
        rows.append(text(left - 5, at + 4, f"{100 * (low + k * step):g} %", "end"))
    wide = [level for level in levels if level.low == level.low]
    around = points([level.low for level in wide], [level.at for level in wide])
    back = points([level.high for level in wide[::-1]], [level.at for level in wide[::-1]])
    rows.append(f'<polygon fill="#0b5c6b" fill-opacity=".18" points="{around} {back}"/>')
    dashes = 'fill="none" stroke="#7b8b88" stroke-width="1.5" stroke-dasharray="4 3"'
    rows.append(f'<polyline class="limit" {dashes} points="{points([level.most for level in levels], along)}"/>')
    line = points([level.value for level in levels], along)
    rows.append(f'<polyline class="way" fill="none" stroke="#0b5c6b" stroke-width="2.5" points="{line}"/>')
    rows.append(f'<path stroke="#a8321a" stroke-width="1.5" d="M{x(here):.1f} {top}V{bottom}"/>')
    for number in sorted({levels[0].at, here, levels[-1].at}):
        rows.append(text(round(x(number), 1), bottom + 17, str(number), "middle"))
    return drawing(bottom + 24, what, [f'<g font-family="sans-serif" font-size="12">{"".join(rows)}</g>'], broad=broad)


class Series(NamedTuple):
    """A line of a chart: its short name, and a value for each place along the axis."""

    label: str
    values: Sequence[float]


# each line has a stroke and a sign of its own, so that they differ without colour; the first is the one that matters
STROKES = ("series main", "series", "series dashes", "series dots")
SIGNS = ("m-5 0a5 5 0 1 0 10 0a5 5 0 1 0-10 0z", "m-4-4h8v8h-8z", "m0-5l5 9h-10z", "m0-6l5 6l-5 6l-5-6z")


def chart(
    along: Sequence[float],
    ticks: Sequence[str],
    series: Sequence[Series],
    titles: tuple[str, str],
    what: str,
    spoken: Catalogue = ENGLISH,
) -> str:
    """Lines over one axis, each with its name at its end; "" of none.

    along: the places on the axis, ascending, with their words `ticks`; at most four series; titles: of the whole, which
    stands above, and of the axis; spoken: the language of them all.
    """
    if not series:
        return ""
    left, right, top, bottom = 30, 232, 34, 184
    values = [value for line in series for value in line.values]
    step = _round_step(max(max(values), 0.0) - min(min(values), 0.0))
    low, high = (step * end(edge / step) for end, edge in ((floor, min(*values, 0.0)), (ceil, max(*values, step))))

    def x(value: float) -> float:
        return left + (right - left) * (value - along[0]) / ((along[-1] - along[0]) or 1.0)

    def y(value: float) -> float:
        return bottom - (bottom - top) * (value - low) / (high - low)

    rows = [text(LEFT, 14, spoken.say(titles[0])), text(left, bottom + 32, spoken.say(titles[1]), size=11)]
    digits = max(0, -floor(log10(step)))
    for k in range(round((high - low) / step) + 1):
        level = low + k * step
        kind = "stroke" if abs(level) < step / 2 else "rail"
        rows.append(f'<line class="{kind}" x1="{left}" x2="{right}" y1="{y(level):.1f}" y2="{y(level):.1f}"/>')
        rows.append(
            text(left - 6, round(y(level) + 4, 1), spoken.cell(Quantity(round(level, digits) + 0.0, digits)), "end", 11)
        )
    rows += [text(round(x(at), 1), bottom + 17, words, "middle", 11) for at, words in zip(along, ticks, strict=True)]
    ends = _apart([y(line.values[-1]) for line in series], 15, bottom)
    for number, line in reversed(list(enumerate(series))):  # the first on top
        points = [(x(at), y(value)) for at, value in zip(along, line.values, strict=True)]
        spots = " ".join(f"{a:.1f},{b:.1f}" for a, b in points)
        rows.append(f'<polyline class="{STROKES[number]}" points="{spots}"/>')
        rows += [_sign(number, a, b) for a, b in points]
        rows.append(text(right + 12, round(float(ends[number]) + 4, 1), spoken.say(line.label)))
    return drawing(bottom + 42, spoken.say(what), rows)


def key_of_chart(names: Sequence[str], spoken: Catalogue = ENGLISH) -> str:
    """A list (HTML) of a chart's strokes and signs with what they stand for."""
    items = []
    for number, words in enumerate(names):
        stroke = f'<polyline class="{STROKES[number]}" points="1,8 35,8"/>'
        sample = drawing(16, "", [stroke, _sign(number, 18, 8)], 36, broad=True)
        items.append(f"<li>{sample}{html.escape(shown(spoken.say(words)))}</li>")
    return f'<ul class="key">{"".join(items)}</ul>'


def _sign(number: int, x: float, y: float) -> str:
    kind = "filled" if number == 0 else "sign"
    return f'<path class="{kind}" d="M{x:.1f} {y:.1f}{SIGNS[number]}"/>'


def _round_step(span: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that goes four times at most, or little more, into the span."""
    raw = max(span, 1e-9) / 4
    power = 10.0 ** floor(log10(raw))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= raw * (1 - 1e-9))


def _apart(at: Sequence[float], least: float, lowest: float) -> NDArray[np.float64]:
    """Heights moved as little as can be (least squares) to lie `least` apart in the same order, none below `lowest`."""
    order = np.argsort(at, kind="stable")
    steps = least * np.arange(len(at))
    moved = np.empty(len(at))
    moved[order] = isotonic_regression(np.asarray(at, dtype=float)[order] - steps).x + steps
    return moved - max(0.0, float(moved.max()) - lowest)


def falling(
    times: Sequence[float],
    shares: Sequence[float],
    ends: Sequence[tuple[float, float]],
    longest: float,
    what: str,
    spoken: Catalogue = ENGLISH,
) -> str:
    """A share that falls in steps from 1, over days up to `longest`; dashed: its interval (NaN: not drawn)."""
    top, bottom, left = 10, 130, 46

    def at(day: float, share: float) -> str:
        return f"{left + (RIGHT - left) * day / longest:.1f},{bottom - (bottom - top) * share:.1f}"

    def steps(values: Sequence[float]) -> str:
        corners, level = [at(0, 1)], 1.0
        for day, value in zip(times, values, strict=True):
            corners += [at(day, level), at(day, value)]
            level = value
        return " ".join([*corners, at(longest, level)])

    rows = []
    for share, label in ((0, "0 %"), (0.5, "50 %"), (1, "100 %")):
        y = bottom - (bottom - top) * share
        rows.append(f'<line class="rail" x1="{left}" x2="{RIGHT}" y1="{y:g}" y2="{y:g}"/>')
        rows.append(text(left - 5, y + 4, label, "end"))
    rows += [text(left, bottom + 18, "0"), text(RIGHT, bottom + 18, spoken.say(count(longest, "day")), "end")]
    for values in zip(*ends, strict=True):
        if all(value == value for value in values):
            rows.append(f'<polyline class="limit" points="{steps(values)}"/>')
    rows.append(f'<polyline class="way" points="{steps(shares)}"/>')
    return drawing(bottom + 26, spoken.say(what), rows)
