"""Pictures of many pools (SVG): every visit by date, the probabilities in order, both on a map, and two seasons.

Like all drawings they hold no colour of their own. Whatever is told by a colour is told by a shape or a place too. Each
is drawn in the language that its page is written in.
"""

from __future__ import annotations

import datetime
import html
import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import Enum, StrEnum
from functools import partial
from itertools import groupby, pairwise
from typing import NamedTuple

from habitatmap.page.document import shown
from habitatmap.page.drawings import WIDTH, drawing, text
from habitatmap.sentences import Sentence, apart, say
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import count, known, listed, percent, span

ROW, COLUMN_ROW = 12, 14  # heights of a pool's row: of its visits, and in the columns of probabilities
NAME_LETTERS, LETTER = 19, 0.57  # the most of a name that is shown; the width of a letter, of its height
FEW_ROWS, COLUMNS, MOST_ROWS = 12, 3, 25  # of the probabilities: pools in one column, columns, rows of a column
CHART_ROWS = 50  # of the visits by date: what fits on one sheet of paper
CHART_WIDTH, LEAST_MONTH, MOST_MONTH = 620, 15, 44  # the dates together and one month, in pixels
BREAKS = (0.2, 0.4, 0.6, 0.8)  # of the five shades of a probability
FAR = 10  # times the upper quartile of the distances from the middle: a place so far off would shrink all the others

Drawn = Callable[[Catalogue], str]  # what draws a picture in a language

# the sign of each outcome around 0, 0: class, and an outline to be moved
SIGNS: Mapping[Outcome, tuple[str, str]] = {
    Outcome.NONE_SEEN: ("outlined", "m-3.8 0a3.8 3.8 0 1 0 7.6 0a3.8 3.8 0 1 0 -7.6 0z"),
    Outcome.DRY: ("dried", "m-3.4 -3.4h6.8v6.8h-6.8z"),
    Outcome.FROZEN: ("outlined", "m0 -4.8l4.4 4.8l-4.4 4.8l-4.4 -4.8z"),
    Outcome.GONE: ("stroke", "m-3.6 -3.6l7.2 7.2m0 -7.2l-7.2 7.2"),
    Outcome.NOT_REACHED: ("stroke", "m-3.4 0h6.8"),
    Outcome.LARVAE: ("filled", "m-3.8 0a3.8 3.8 0 1 0 7.6 0a3.8 3.8 0 1 0 -7.6 0z"),
}


class Seen(StrEnum):
    """What the searches of a season found in a pool."""

    DETECTED = "larvae seen"
    NOT_DETECTED = "none seen"
    NOT_SEARCHED = "not searched"


# on the map, around 0, 0 and one wide
SHAPES: Mapping[Seen, str] = {
    Seen.DETECTED: "m-1 0a1 1 0 1 0 2 0a1 1 0 1 0 -2 0z",
    Seen.NOT_DETECTED: "m-.9 -.9h1.8v1.8h-1.8z",
    Seen.NOT_SEARCHED: "m0 -1.2l1.1 1.9h-2.2z",
}


class PoolMark(NamedTuple):
    """A pool with its probability and 95 % interval (NaN: not known), what was seen, and where it is (metres)."""

    name: str
    value: float
    low: float
    high: float
    seen: Seen
    x: float = math.nan
    y: float = math.nan


class Visit(NamedTuple):
    """A visit; `season` is a number that grows from season to season."""

    date: datetime.date
    outcome: Outcome
    season: int


# --- probabilities in order ------------------------------------------------------------------------------------------


def probabilities(pools: Sequence[PoolMark], what: str) -> list[Drawn]:
    """Each pool's probability with its interval, the highest first: columns to be set beside each other; [] of none."""

    def place(pool: PoolMark) -> tuple[float, float, list[tuple[int, str]]]:
        return -pool.value if known(pool.value) else 1.0, -pool.low if known(pool.low) else 1.0, by_number(pool.name)

    order = sorted(pools, key=place)
    columns = 1 if len(order) <= FEW_ROWS else COLUMNS * math.ceil(len(order) / (COLUMNS * MOST_ROWS))
    rows = math.ceil(len(order) / columns) or 1
    left = _width_of_names([pool.name for pool in order], 12)
    parts = [order[i : i + rows] for i in range(0, len(order), rows)]
    return [partial(_column, part, _part(what, n, len(parts)), left, rows) for n, part in enumerate(parts, 1)]


def _part(what: str, n: int, of: int) -> Sentence:
    return say("{what}, part {n} of {of}", what=Sentence(what), n=n, of=of)


def _column(pools: Sequence[PoolMark], what: str, left: float, rows: int, spoken: Catalogue) -> str:
    right = WIDTH - 48

    def at(share: float) -> str:
        return f"{left + (right - left) * share:.1f}"

    parts = []
    for share, anchor in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        parts.append(text(float(at(share)), 10, spoken.say(percent(share)), anchor, 11))
        parts.append(f'<path class="rail" d="M{at(share)} 14V{16 + COLUMN_ROW * len(pools)}"/>')
    for number, pool in enumerate(pools):
        y = 16 + COLUMN_ROW * number + COLUMN_ROW / 2
        signs = [text(0, y + 4, fitted(pool.name, NAME_LETTERS))]
        if known(pool.low) and known(pool.high):
            signs.append(f'<path class="whisker thin" d="M{at(pool.low)} {y:g}H{at(pool.high)}"/>')
        if known(pool.value):
            kind = {Seen.DETECTED: "filled", Seen.NOT_DETECTED: "outlined"}.get(pool.seen, "stroke")
            outline = SIGNS[Outcome.GONE if pool.seen is Seen.NOT_SEARCHED else Outcome.LARVAE][1]
            signs.append(signed(kind, outline, float(at(pool.value)), y))
        signs.append(text(WIDTH, y + 4, spoken.say(percent(pool.value)) if known(pool.value) else "?", "end"))
        parts.append(titled(spoken.say(_said(pool)), signs))
    return drawing(18 + COLUMN_ROW * rows, spoken.say(what), parts)


def _said(pool: PoolMark) -> Sentence:
    """What a sign tells to a pointer."""
    if not known(pool.value):
        return say("{pool}: {seen}", pool=pool.name, seen=pool.seen)
    value, ends = percent(pool.value), span(pool.low, pool.high)
    return say("{pool}: {value} ({ends}), {seen}", pool=pool.name, value=value, ends=ends, seen=pool.seen)


def key_of_probabilities(when: Sentence, spoken: Catalogue = ENGLISH) -> str:
    """What the signs of `probabilities` mean; `when` they were seen, such as "in 2025"."""
    return key_of_signs([("filled", 1, SIGNS[Outcome.LARVAE][1], say("{seen} {when}", seen=Seen.DETECTED, when=when)),
                 ("outlined", 1, SIGNS[Outcome.LARVAE][1], say("{seen} {when}", seen=Seen.NOT_DETECTED, when=when)),
                 ("stroke", 1, SIGNS[Outcome.GONE][1], say("{seen} {when}", seen=Seen.NOT_SEARCHED, when=when)),
                 ("whisker thin", 1, "m-9 0h18", Sentence("95 % interval"))], spoken)  # fmt: skip


# --- visits by date --------------------------------------------------------------------------------------------------


def visits_by_date(visits: Mapping[str, Sequence[Visit]], what: str) -> list[Drawn]:
    """Pools by dates, a sign for each visit, each season a band; a chart for each 50 pools in their order; [] of none.

    The seasons stand side by side, each from the month of its first visit to that of its last. A chart is two drawings
    of the same height: the names, which stay in sight, and what is drawn beside them.
    """
    bands = _bands([visit for each in visits.values() for visit in each])
    pools = list(visits.items())
    starts = range(0, len(pools), CHART_ROWS) if bands else ()
    parts = [pools[start : start + CHART_ROWS] for start in starts]
    left = _width_of_names(list(visits), 11)
    return [partial(_chart, part, bands, _part(what, n, len(parts)), left) for n, part in enumerate(parts, 1)]


def said_of_visits(visits: Iterable[Visit]) -> Sentence:
    """Visits in words, the first of them first: "2025-05-01 none seen, 2025-06-30 larvae"."""
    return apart([say("{day} {outcome}", day=visit.date, outcome=visit.outcome) for visit in sorted(visits)])


def key_of_visits(outcomes: Iterable[Outcome], spoken: Catalogue = ENGLISH) -> str:
    """What the signs of `visits_by_date` mean, of the outcomes that there are."""
    there = set(outcomes)
    return key_of_signs([(SIGNS[o][0], 1, SIGNS[o][1], o) for o in Outcome if o in there], spoken)


class _Band(NamedTuple):
    """A season on the chart: its first month and how many (months since year 0), where it begins and what one takes."""

    season: int
    first: int
    months: int
    left: float
    month: float

    def at(self, date: datetime.date) -> float:
        within = date.year * 12 + date.month - 1 - self.first + (date.day - 0.5) / 31
        return self.left + self.month * within

    @property
    def right(self) -> float:
        return self.left + self.month * self.months


def _bands(visits: Sequence[Visit]) -> dict[int, _Band]:
    gap, left = 10, 4.0
    ends = []
    for season, group in groupby(sorted(visits, key=lambda v: v.season), key=lambda v: v.season):
        of_visits = [visit.date.year * 12 + visit.date.month - 1 for visit in group]
        ends.append((season, min(of_visits), max(of_visits) - min(of_visits) + 1))
    whole = sum(months for _, _, months in ends) or 1
    month = min(max((CHART_WIDTH - gap * len(ends)) / whole, LEAST_MONTH), MOST_MONTH)
    bands = {}
    for season, first, months in ends:
        bands[season] = _Band(season, first, months, left, month)
        left = bands[season].right + gap
    return bands


def _chart(
    pools: Sequence[tuple[str, Sequence[Visit]]],
    bands: Mapping[int, _Band],
    what: str,
    left: float,
    spoken: Catalogue,
) -> str:
    top, bottom = 30, 32 + ROW * len(pools)
    names, rows = [], []
    for band in bands.values():
        rows.append(
            f'<rect class="band" x="{band.left:.1f}" y="{top}" width="{band.right - band.left:.1f}" '
            f'height="{bottom - top}"/>'
        )
        every = math.ceil(22 / band.month)  # a month's name takes 22 pixels
        for n in range(band.months):
            year, month = divmod(band.first + n, 12)
            x = band.left + band.month * n
            rows.append(f'<path class="rail" d="M{x:.1f} {top - 4}V{bottom}"/>')
            if n % every == 0:
                rows.append(text(round(x + 1, 1), top - 5, spoken.short_month(month + 1), size=9))
            if n == 0 or month == 0:
                rows.append(text(round(x + 1, 1), 11, str(year), size=11))
    for number, (name, visits) in enumerate(pools):
        y = top + 1 + ROW * number + ROW / 2
        said = say("{pool}: {visits}", pool=name, visits=said_of_visits(visits) or Sentence("no visit"))
        names.append(titled(name, [text(0, y + 4, fitted(name, NAME_LETTERS), size=11)]))
        rails = "".join(f"M{b.left:.1f} {y:g}H{b.right:.1f}" for b in bands.values())
        rows.append(titled(spoken.say(said), [f'<path class="rail" d="{rails}"/>', *_signs(visits, bands, y)]))
    width = max(band.right for band in bands.values()) + 4
    return drawing(bottom, "", names, left, broad=True) + drawing(bottom, spoken.say(what), rows, width, broad=True)


def _signs(visits: Sequence[Visit], bands: Mapping[int, _Band], y: float) -> list[str]:
    """The signs of a row, an outline for each outcome; visits on the same days are drawn beside each other."""
    outlines: dict[Outcome, str] = {}
    last = -math.inf
    for visit in sorted(visits):
        x = bands[visit.season].at(visit.date)
        last = x = max(x, last + 5) if x - last < 3 else x
        outlines[visit.outcome] = outlines.get(visit.outcome, "") + f"M{x:.1f} {y:g}{SIGNS[visit.outcome][1]}"
    return [f'<path class="{SIGNS[o][0]}" d="{outlines[o]}"/>' for o in SIGNS if o in outlines]


# --- on a map --------------------------------------------------------------------------------------------------------


class PoolMap(NamedTuple):
    """The drawing (None of no pool), and the pools not on it: without a place, or far from all the others."""

    svg: Drawn | None
    left_out: list[str]


def pool_map(pools: Sequence[PoolMark], what: str) -> PoolMap:
    """The pools on white ground: the shade tells the probability, the shape what was seen; north is up."""
    placed, left_out = _near_each_other(pools)
    return PoolMap(partial(_map, placed, what) if placed else None, left_out)


def _map(placed: Sequence[PoolMark], what: str, spoken: Catalogue) -> str:
    west, east = min(p.x for p in placed), max(p.x for p in placed)
    south, north = min(p.y for p in placed), max(p.y for p in placed)
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    wide, high = max(east - west, 100.0), max(north - south, 60.0)
    scale = min((WIDTH - 60) / wide, 1.3 * (WIDTH - 60) / high)  # pixels per metre
    height = round(high * scale + 84, 1)
    size = 6.5 if len(placed) <= 25 else 5 if len(placed) <= 90 else 3.6
    at = {p: (WIDTH / 2 + (p.x - middle_x) * scale, (height - 24) / 2 - (p.y - middle_y) * scale) for p in placed}
    rows = [f'<rect class="white" x="0" y="0" width="{WIDTH}" height="{height}"/>']
    for pool, (x, y) in at.items():
        rows.append(
            titled(spoken.say(_said(pool)), [signed(f"shade {_shade(pool.value)}", SHAPES[pool.seen], x, y, size)])
        )
    rows += _names_beside(at, size)
    rows += bar_and_north(scale, height, spoken.say("N"))
    return drawing(height, spoken.say(what), rows)


def key_of_map(spoken: Catalogue = ENGLISH) -> str:
    """What the shades and the shapes of `pool_map` mean."""
    ends = (0.0, *BREAKS, 1.0)
    shades = [(f"shade {_shade(low)}", 6, SHAPES[Seen.NOT_DETECTED], span(low, high)) for low, high in pairwise(ends)]
    return key_of_signs([*shades, *(("shade", 5.5, outline, seen) for seen, outline in SHAPES.items())], spoken)


def _near_each_other(pools: Sequence[PoolMark]) -> tuple[list[PoolMark], list[str]]:
    """The pools that have a place, less those that lie very far from the rest; and the names of the others."""
    placed = [p for p in pools if known(p.x) and known(p.y)]
    middle = [sorted(values)[len(values) // 2] for values in ([p.x for p in placed], [p.y for p in placed]) if values]
    away = {p: math.dist((p.x, p.y), middle) for p in placed}
    limit = FAR * max(sorted(away.values())[len(away) * 3 // 4], 100.0) if away else 0.0
    near = [p for p in placed if away[p] <= limit]
    return near, [p.name for p in pools if p not in set(near)]


def _shade(value: float) -> str:
    return f"p{1 + sum(value >= limit for limit in BREAKS)}" if known(value) else ""


def _names_beside(at: Mapping[PoolMark, tuple[float, float]], size: float) -> list[str]:
    """The names that have room to the right or to the left of their pools."""
    taken = [(x - size, y - size, x + size, y + size) for x, y in at.values()]
    rows = []
    for pool, (x, y) in sorted(at.items(), key=lambda item: item[0].name):
        name = fitted(pool.name, 14)
        wide = 4.6 * letters_wide(name) + 2
        for left, anchor in ((x + size + 1, "start"), (x - size - 1 - wide, "end")):
            box = (left, y - 4, left + wide, y + 4)
            if box[0] < 0 or box[2] > WIDTH or any(_overlap(box, other) for other in taken):
                continue
            taken.append(box)
            rows.append(text(round(left + (wide if anchor == "end" else 0), 1), round(y + 3, 1), name, anchor, 8))
            break
    return rows


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def bar_and_north(scale: float, height: float, north: str) -> list[str]:
    """A bar of a round length, about a quarter of the width, and an arrow to the `north`."""
    wanted = WIDTH / 4 / scale
    power = 10 ** math.floor(math.log10(wanted))
    length = max(step * power for step in (1, 2, 5) if step * power <= wanted)
    y, right = height - 10, WIDTH - 14
    said = f"{length / 1000:g} km" if length >= 1000 else f"{length:g} m"
    return [
        f'<path class="bar" d="M10 {y:g}H{10 + length * scale:.1f}"/>',
        text(round(16 + length * scale, 1), y + 4, said, size=11),
        f'<path class="north" d="M{right} {y - 18:g}l5 16l-5 -4l-5 4z"/>',
        text(right, y + 8, north, "middle", 9),
    ]


# --- two seasons -----------------------------------------------------------------------------------------------------


class Both(NamedTuple):
    """Pools searched in two seasons: with larvae in both, in the earlier only, in the later only, in neither."""

    earlier: str
    later: str
    both: int
    earlier_only: int
    later_only: int
    neither: int

    @property
    def pools(self) -> int:
        """How many were searched in both."""
        return sum(self[2:])


def season_beside_season(counts: Both, what: str, spoken: Catalogue = ENGLISH) -> str:
    """A table of two by two, in each cell a square whose area is its share; "" of no pool."""
    if not counts.pools:
        return ""
    labels = [spoken.cell(seen) for seen in (Seen.DETECTED, Seen.NOT_DETECTED)]
    left, top, high = round(_width_of_names(labels, 11)), 34, 66
    wide = (WIDTH - left - 12) // 2
    rows = [
        text(left + wide, 12, counts.later, "middle"),
        text(left + wide / 2, 28, labels[0], "middle", 11),
        text(left + 1.5 * wide, 28, labels[1], "middle", 11),
        text(0, top + 14, counts.earlier),
    ]
    cells = ((counts.both, counts.earlier_only), (counts.later_only, counts.neither))
    for j, (label, line) in enumerate(zip(labels, cells, strict=True)):
        y = top + high * j
        rows.append(text(left - 6, y + high / 2 + 10, label, "end", 11))
        for i, n in enumerate(line):
            x, side = left + wide * i, (high - 12) * math.sqrt(n / counts.pools)
            rows.append(f'<rect class="outlined" x="{x}" y="{y}" width="{wide}" height="{high}"/>')
            rows.append(
                f'<rect class="{"filled" if i == j else "dried"}" x="{x + 6}" y="{y + high - 6 - side:.1f}" '
                f'width="{side:.1f}" height="{side:.1f}"/>'
            )
            rows.append(text(x + wide - 8, y + high / 2, str(n), "end", 16))
            rows.append(text(x + wide - 8, y + high / 2 + 16, spoken.say(percent(n / counts.pools)), "end", 11))
    return drawing(top + 2 * high + 4, spoken.say(what), rows)


def said_of_both(counts: Both) -> Sentence:
    """The same in a sentence."""
    told = ("in both at {n} ({share})", "in {a} only at {n} ({share})", "in {b} only at {n} ({share})",
            "in neither at {n} ({share})")  # fmt: skip
    years = {"a": counts.earlier, "b": counts.later}
    cells = [say(text, n=n, share=percent(n / counts.pools), **years) for text, n in zip(told, counts[2:], strict=True)]
    return say(
        "Of {pools} searched in {a} and in {b}, larvae were seen {cells}.",
        pools=count(counts.pools, "pool"),
        cells=listed(cells),
        **years,
    )


# --- small helpers ---------------------------------------------------------------------------------------------------


def _width_of_names(names: Sequence[str], size: int) -> float:
    """The width of a column that holds them in a size of text."""
    return 14 + LETTER * size * min(max(map(letters_wide, names), default=0), NAME_LETTERS)


def letters_wide(name: str) -> int:
    """The width of a text in letters; those of East Asia take two."""
    return sum(2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in name)


def fitted(name: str, room: int) -> str:
    """The text, with an ellipsis for its middle where it is wider than so many letters: numbers stand at the end."""
    name = shown(name)
    if letters_wide(name) <= room:
        return name
    head, tail = name, name[-(room // 3) :]
    while letters_wide(tail) > room // 3:
        tail = tail[1:]
    while letters_wide(head) + letters_wide(tail) >= room:
        head = head[:-1]
    return f"{head.rstrip()}…{tail.lstrip()}"


def by_number(name: str) -> list[tuple[int, str]]:
    """To sort names by: pool 2 stands before pool 10."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"(\d+)", name.casefold()) if part]


def titled(title: str, parts: Iterable[str]) -> str:
    """Parts that tell their title to a pointer."""
    return f"<g><title>{html.escape(shown(title))}</title>{''.join(parts)}</g>"


def signed(kind: str, outline: str, x: float, y: float, size: float = 1.0) -> str:
    """An outline around 0, 0 at a place and in a size."""
    return f'<path class="{kind}" d="M0 0{outline}" transform="translate({x:.1f} {y:.1f}) scale({size:g})"/>'


def key_of_signs(entries: Sequence[tuple[str, float, str, Sentence | Enum]], spoken: Catalogue) -> str:
    """A list (HTML) of signs (class, size, outline) and their words."""
    items = []
    for kind, size, outline, words in entries:
        sign = drawing(16, "", [signed(kind, outline, 10, 8, size)], 20, broad=True)
        items.append(f"<li>{sign}{html.escape(spoken.cell(words))}</li>")
    return f'<ul class="key">{"".join(items)}</ul>'
