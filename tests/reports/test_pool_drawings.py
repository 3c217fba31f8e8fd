"""Pictures of many pools: order, shapes, places and areas, from small cases that one can check by hand."""

from __future__ import annotations

import datetime
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence

import pytest

from habitatmap.page.drawings import WIDTH
from habitatmap.page.pool_drawings import (
    LETTER,
    SHAPES,
    SIGNS,
    Both,
    Drawn,
    PoolMark,
    Seen,
    Visit,
    fitted,
    key_of_map,
    key_of_visits,
    pool_map,
    probabilities,
    said_of_both,
    season_beside_season,
    visits_by_date,
)
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.catalogue import ENGLISH, catalogue
from tests.words.spoken import OTHERS

NAN = math.nan


def mark(name: str, value: float = 0.5, x: float = NAN, y: float = NAN, seen: Seen = Seen.NOT_DETECTED) -> PoolMark:
    return PoolMark(name, value, value / 2, (1 + value) / 2, seen, x, y)


def titles(svg: str) -> list[str]:
    return [part.text or "" for part in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}title")]


def in_english(drawing: Drawn) -> str:
    return drawing(ENGLISH)


def charts(visits: Mapping[str, Sequence[Visit]]) -> list[tuple[str, str]]:
    """Both drawings of each chart: the names, and what is drawn beside them."""
    drawn = [in_english(chart).partition("</svg>") for chart in visits_by_date(visits, "what")]
    return [(names + end, rows) for names, end, rows in drawn]


def day(text: str, outcome: Outcome = Outcome.NONE_SEEN) -> Visit:
    date = datetime.date.fromisoformat(text)
    return Visit(date, outcome, date.year)


def test_probabilities_stand_in_order_and_an_unknown_one_comes_last() -> None:
    pools = [mark("a", 0.2), PoolMark("b", NAN, NAN, NAN, Seen.NOT_SEARCHED), mark("c", 1.0, seen=Seen.DETECTED)]
    (column,) = map(in_english, probabilities(pools, "what"))
    assert titles(column) == [
        "c: 100 % (50 to 100 %), larvae seen",
        "a: 20 % (10 to 60 %), none seen",
        "b: not searched",
    ]
    assert probabilities([], "what") == []
    (column,) = map(in_english, probabilities([mark("P10"), mark("P2")], "what"))
    assert [title[:3] for title in titles(column)] == ["P2:", "P10"]


@pytest.mark.parametrize(("pools", "columns"), [(1, 1), (12, 1), (13, 3), (49, 3), (75, 3), (76, 6), (300, 12)])
def test_many_pools_stand_in_columns_of_three(pools: int, columns: int) -> None:
    drawn = [*map(in_english, probabilities([mark(f"P{i}") for i in range(pools)], "what"))]
    assert len(drawn) == columns
    assert sum(len(titles(column)) for column in drawn) == pools
    assert max(len(titles(column)) for column in drawn) <= 25


def test_every_outcome_has_a_sign_of_its_own_shape_or_filling() -> None:
    assert len(set(SIGNS.values())) == len(SIGNS) == len(Outcome)
    assert len({outline for _, outline in SIGNS.values()}) == len(Outcome) - 1  # larvae and none seen: full and open
    assert len(set(SHAPES.values())) == len(Seen)
    for outcome in Outcome:
        assert outcome in key_of_visits([outcome])


def test_seasons_stand_side_by_side_each_from_its_first_month_to_its_last() -> None:
    visits = {"P1": [day("2024-05-01"), day("2024-06-30", Outcome.LARVAE)], "P2": [day("2025-06-15", Outcome.DRY)]}
    ((names, shown),) = charts(visits)
    assert re.findall(r">(20\d\d|[A-Z][a-z]{2})<", shown) == ["May", "2024", "Jun", "Jun", "2025"]
    assert titles(names) == ["P1", "P2"]
    assert titles(shown) == ["P1: 2024-05-01 none seen, 2024-06-30 larvae", "P2: 2025-06-15 dry"]
    bands = re.findall(r'class="band" x="([\d.]+)" y="30" width="([\d.]+)"', shown)
    assert [float(width) for _, width in bands] == [88, 44]  # 44 pixels a month, at most
    first, last = (float(x) for x in re.findall(r'class="(?:outlined|filled)" d="M([\d.]+) ', shown))
    assert float(bands[0][0]) < first < last < float(bands[0][0]) + 88
    assert ET.fromstring(names).get("height") == ET.fromstring(shown).get("height")


def test_two_visits_of_one_day_are_both_seen() -> None:
    ((_, shown),) = charts({"P1": [day("2025-06-15"), day("2025-06-15", Outcome.LARVAE)]})
    a, b = (float(x) for x in re.findall(r'class="(?:outlined|filled)" d="M([\d.]+) ', shown))
    assert abs(a - b) == pytest.approx(5)


def test_a_chart_for_each_fifty_pools() -> None:
    parts = charts({f"P{i}": [day("2025-06-15")] for i in range(120)})
    assert [len(titles(shown)) for _, shown in parts] == [50, 50, 20]
    assert visits_by_date({"P1": []}, "what") == []


def test_the_map_is_to_scale_and_north_is_up() -> None:
    drawn = pool_map([mark("a", 0.1, 0, 0), mark("b", 0.9, 1000, 0), mark("c", 0.5, 500, 500)], "what")
    assert drawn.svg
    svg = in_english(drawn.svg)
    signs = re.findall(r'class="shade (p\d)" d="[^"]+" transform="translate\(([\d.]+) ([\d.]+)\)', svg)
    assert [kind for kind, _, _ in signs] == ["p1", "p5", "p3"]
    (ax, ay), (bx, by), (_, cy) = [(float(x), float(y)) for _, x, y in signs]
    assert ay == by > cy
    left, right = (float(end) for end in re.findall(r'class="bar" d="M(\d+) [\d.]+H([\d.]+)"', svg)[0])
    assert ">200 m<" in svg
    assert (right - left) / (bx - ax) == pytest.approx(0.2, abs=0.002)
    assert pool_map([mark("nowhere")], "what") == (None, ["nowhere"])


def test_one_pool_far_away_does_not_shrink_the_map() -> None:
    near = [mark(f"P{i}", 0.5, 200.0 * i, 100.0 * (i % 3)) for i in range(8)]
    drawn = pool_map([*near, mark("typing error", 0.5, 900_000, 0)], "what")
    assert drawn.left_out == ["typing error"]
    assert pool_map(near, "what").left_out == []


def test_each_class_of_the_map_is_in_its_key() -> None:
    assert re.findall(r"shade p(\d)", key_of_map()) == ["1", "2", "3", "4", "5"]
    assert ">20 to 40 %<" in key_of_map()


def test_two_seasons_in_a_table_of_two_by_two() -> None:
    counts = Both("2024", "2025", 8, 1, 4, 3)
    assert counts.pools == 16
    svg = season_beside_season(counts, "what")
    widths = [float(w) for w in re.findall(r'class="(?:filled|dried)" x="[\d.]+" y="[\d.]+" width="([\d.]+)"', svg)]
    assert widths[0] ** 2 / widths[2] ** 2 == pytest.approx(2, rel=0.01)
    assert re.findall(r'class="t16"[^>]*>(\d+)<', svg) == ["8", "1", "4", "3"]
    assert said_of_both(counts) == (
        "Of 16 pools searched in 2024 and in 2025, larvae were seen in both at 8 (50 %), in 2024 only at 1 (6 %), "
        "in 2025 only at 4 (25 %) and in neither at 3 (19 %)."
    )
    assert season_beside_season(Both("2024", "2025", 0, 0, 0, 0), "what") == ""


def test_long_names_are_cut_and_nothing_of_them_is_markup() -> None:
    assert fitted("Kurz", 6) == "Kurz"
    assert fitted("Garten Müller-Schulze 12", 12) == "Garten…e 12"
    assert fitted("池池池池", 5) == "池池…"
    (column,) = map(in_english, probabilities([mark("<b>&")], "what"))
    assert titles(column)[0].startswith("<b>&: ")


@pytest.mark.parametrize("language", OTHERS)
def test_the_words_beside_two_seasons_have_room(language: str) -> None:
    svg = season_beside_season(Both("2024", "2025", 8, 1, 4, 3), "what", catalogue(language))
    labels = re.findall(r'x="([\d.]+)" y="[\d.]+" text-anchor="end">([^<\d]+)<', svg)
    assert len(labels) == 2
    assert all(float(x) >= 11 * LETTER * len(words) for x, words in labels)
    assert (
        max(float(x) + float(w) for x, w in re.findall(r'<rect [^>]*x="([\d.]+)" [^>]*width="([\d.]+)"', svg)) <= WIDTH
    )
