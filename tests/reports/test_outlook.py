"""The outlook's page and account: every figure of the picture in a table too, and nothing lost for machines."""

from __future__ import annotations

import datetime
import inspect
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import habitatmap.reports.outlook
import habitatmap.words.plan
from habitatmap.page.drawings import Series, _apart, chart
from habitatmap.plan.outlook import SHARES, Outlook, Standing, Strategy, Window, gains, simulate_outlook
from habitatmap.plan.simulated_years import Tail
from habitatmap.reports.outlook import SHORT, outlook_page, outlook_text, write_outlook
from habitatmap.words.catalogue import catalogue
from tests.plan.test_outlook import UNDER, strategies, today
from tests.words.spoken import OTHERS, numbers_in, recorder, same_texts, templates_in

DAY = datetime.date(2026, 3, 1)


@pytest.fixture(scope="module")
def seen() -> Outlook:
    return simulate_outlook(today(), strategies(4), UNDER)


def test_the_picture_s_figures_stand_in_tables(seen: Outlook) -> None:
    page = outlook_page(seen, "A town", DAY)
    for tail in Tail:
        for gained in gains(seen, tail, Window.PLANNED)[Strategy.PLAN]:
            assert f">{100 * gained:+.1f}<" in page
    assert page.count("<polyline") == 2 * 2 + 2  # two lines in each of two pictures, and their key
    assert "no forecast" in page
    assert "In which order to install" in page


def test_a_plan_of_few_sites_has_no_order_to_tell(seen: Outlook) -> None:
    few = replace(seen, staging=seen.staging.iloc[:0])
    assert "In which order to install" not in outlook_page(few, "A town", DAY)
    assert "two a year" not in outlook_text(few)


def test_a_town_without_known_flies_reads_why_the_lines_are_flat(seen: Outlook) -> None:
    nobody = replace(seen, by_year=seen.by_year.assign(occupied_places=0.0))
    assert "is known to be occupied today" in outlook_page(nobody, "A town", DAY)
    assert "is known to be occupied today" not in outlook_page(seen, "A town", DAY)


def test_a_machine_reads_how_the_plan_stands(seen: Outlook, tmp_path: Path) -> None:
    write_outlook(seen, "A town", DAY, tmp_path / "outlook")
    told = json.loads((tmp_path / "outlook" / "outlook.json").read_text(encoding="utf-8"))
    assert told["windows"] == {"planned years": [1, 10], "last years": [16, 20]}
    assert [row["unmapped"] for row in told["standings"]] == [*SHARES, *SHARES]
    assert {row["standing"] for row in told["standings"]} <= {str(code) for code in Standing}
    assert {row["unmapped"] for row in told["ranks"]} == {*SHARES, None}
    assert {"tail", "strategy", "rank", "forage_in_reach", "occupied_places", "first_share"} <= set(told["ranks"][0])
    assert {"other", "difference", "low", "high", "better_share"} <= set(told["differences"][0])
    assert len(told["staging"]) == 2 * 3 * 3 * 2
    names = {path.name for path in (tmp_path / "outlook").iterdir()}
    assert {"ranks.csv", "differences.csv", "years.csv", "staging.csv", "outlook.html"} <= names


def test_lines_differ_by_stroke_and_sign_and_keep_their_names_apart() -> None:
    series = [Series(words, [1.0, 2.0 + 0.01 * k]) for k, words in enumerate(SHORT.values())]
    drawn = chart([0.0, 0.9], ["0", "90"], series, ("A title", "an axis"), "what")
    assert len(set(re.findall(r'<polyline class="([^"]*)"', drawn))) == 4
    signs = re.findall(r'<path class="[^"]*" d="M[\d.]+ [\d.]+(m[^"]*)"', drawn)
    assert len(set(signs)) == 4
    heights = [float(re.search(rf'y="([\d.]+)"[^>]*>{words}<', drawn)[1]) for words in SHORT.values()]
    assert np.diff(sorted(heights)).min() >= 14.9
    assert heights == sorted(heights, reverse=True)  # the highest line has the highest name


@pytest.mark.parametrize(
    ("at", "apart"),
    [
        ([50.0, 100.0], [50.0, 100.0]),
        ([100.0, 100.0], [92.5, 107.5]),
        ([100.0, 99.0, 150.0], [107.0, 92.0, 150.0]),
        ([184.0, 184.0], [169.0, 184.0]),  # none below the axis
    ],
)
def test_names_move_as_little_as_can_be(at: list[float], apart: list[float]) -> None:
    assert sorted(_apart(at, 15.0, 184.0)) == pytest.approx(sorted(apart))
    assert np.argsort(_apart(at, 15.0, 184.0)).tolist() == np.argsort(at, kind="stable").tolist()


def test_a_chart_below_zero_and_of_nothing() -> None:
    assert chart([0.0, 1.0], ["0", "1"], [], ("", ""), "") == ""
    drawn = chart([0.0, 1.0], ["0", "1"], [Series("a", [-1.0, 0.0])], ("", ""), "what")
    assert re.findall(r'text-anchor="end">([^<]*)<', drawn) == ["-1.0", "-0.5", "0.0", "0.5"]
    assert 'class="stroke"' in drawn  # the line of nothing gained


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_in_the_outlook(seen: Outlook, language: str) -> None:
    spoken = recorder(language)
    nobody = replace(seen, by_year=seen.by_year.assign(occupied_places=0.0))
    english, other = outlook_page(nobody, "A town", DAY), outlook_page(nobody, "A town", DAY, spoken)
    assert same_texts(english, other, ["A town"]) == []
    assert numbers_in(english) == numbers_in(other)
    outlook_text(seen, spoken)
    assert spoken.unsaid == set()


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_of_the_outlook_is_in_the_catalogues(language: str) -> None:
    known = catalogue(language).sentences.keys()
    for module in (habitatmap.reports.outlook, habitatmap.words.plan):
        assert templates_in(inspect.getsource(module)) - known == set()
