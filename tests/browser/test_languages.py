"""The page in each language: no English of its own is left, figures and dates are written as its readers write them."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from habitatmap.page import map_page, page
from habitatmap.plan.gaps import NotReached
from habitatmap.sentences import count, say
from habitatmap.words.catalogue import LANGUAGES, words
from habitatmap.words.page_words import WORDS
from tests.browser.town import town
from tests.demo import demo_result

pytestmark = pytest.mark.browser
TABS = ("plan", "gaps", "pools", "what-if", "reading", "data")


def every_text(page: Any) -> str:
    """All that the page says, in every tab, with what only a screen reader hears."""
    page.locator("#plan-panel .pick").nth(1).click()
    page.locator("#tab-what-if").click()
    page.locator("#try").click()
    page.locator("#pools-by").select_option("chance")
    parts = [page.evaluate("document.body.innerText")]
    for tab in TABS:
        page.locator(f"#tab-{tab}").click()
        parts.append(page.evaluate("document.body.innerText"))
    page.locator("#view-box summary").click()
    parts.append(page.evaluate("document.body.innerText"))
    parts += page.evaluate(
        "[...document.querySelectorAll('[aria-label], [title]')].map(e => e.ariaLabel + ' ' + e.title)"
    )
    parts += page.evaluate("[...document.querySelectorAll('option')].map(e => e.textContent)")
    return "\n".join(parts)


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_no_english_word_of_the_page_is_left(visit: Callable[..., Any], team_file: Path, language: str) -> None:
    page = visit(team_file)
    page.goto("about:blank")
    page.goto(f"{team_file.resolve().as_uri()}#lang={language}")
    page.wait_for_selector("html.ready")
    assert page.evaluate("document.documentElement.lang") == language
    text = every_text(page)
    spoken = words(language)
    # texts long enough to be nobody's name; those that happen to be the same in both languages are none
    english = [w for key, w in WORDS.items() if len(w) > 11 and "{" not in w and w != spoken[key]]
    assert len(english) > 120
    assert [w for w in english if w in text] == []
    assert sum(spoken[key] in text for key, w in WORDS.items() if "{" not in w) > 120
    assert page.trouble == []


def test_the_words_in_a_drawing_are_the_page_s(visit: Callable[..., Any], tmp_path: Path) -> None:
    moves = pd.DataFrame({"assumption": ["flight median"], "level": ["100 m"], "kept": [0.4]})
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(town(), sensitivity=moves)), encoding="utf-8")
    page = visit(path)
    page.goto("about:blank")
    page.goto(f"{path.resolve().as_uri()}#lang=fr")
    page.wait_for_selector("html.ready")
    *_, drawn = page.evaluate("[...document.querySelectorAll('.drawing img')].map(one => decodeURIComponent(one.src))")
    assert re.findall(">([^<>]+)</text>", drawn) == [
        "part des sites qui quittent le plan", "distance médiane de vol", "100 m : 60\N{NO-BREAK SPACE}%"
    ]  # fmt: skip
    assert page.trouble == []


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_no_english_is_left_on_the_map_of_the_demo_town(
    visit: Callable[..., Any], tmp_path: Path, language: str
) -> None:
    """With all that was said while its files were read: lines of three words that two languages share are records'."""
    result, lines = demo_result(), []
    path = tmp_path / "map.html"
    path.write_text(map_page(result), encoding="utf-8")
    page = visit(path)
    for one in ("en", language):
        page.goto("about:blank")
        page.goto(f"{path.resolve().as_uri()}#lang={one}")
        page.wait_for_selector("html.ready")
        lines.append({line.strip() for line in every_text(page).split("\n")})
    shared = {line for line in lines[0] & lines[1] if len(re.findall(r"[^\W\d_]{2,}", line)) > 2}
    assert shared <= {result.title, *result.credits}
    assert page.trouble == []


def test_a_page_carries_the_sentences_it_can_say_and_no_others(
    visit: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With every sentence of the catalogue the page is larger by far, and says the same."""
    every, of_the_page, said = words("de")["sentences"], map_page(town(), "de"), []
    monkeypatch.setattr(page, "_texts_in", lambda _: every)
    for name, text in (("some", of_the_page), ("all", map_page(town(), "de"))):
        path = tmp_path / f"{name}.html"
        path.write_text(text, encoding="utf-8")
        said.append(every_text(visit(path)))
        assert len(text) > 700_000 or name == "some"
    assert said[0] == said[1]
    assert len(of_the_page) < 600_000


def test_figures_and_dates_are_written_by_locale(visit: Callable[..., Any], tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    path.write_text(map_page(town(), "de"), encoding="utf-8")
    page = visit(path)
    assert page.evaluate("document.documentElement.lang") == "de"
    assert page.locator("#as-of").inner_text() == "Stand 25.11.2026"
    assert "31,4\xa0%" in page.locator("#headline").inner_text()
    page.locator("#theme").select_option("land_cover")
    assert "Gehölz" in page.locator("#swatches").inner_text()
    assert '<html lang="de">' in path.read_text(encoding="utf-8")


def test_the_language_can_be_switched_and_is_kept_in_the_address(visit: Callable[..., Any], team_file: Path) -> None:
    page = visit(team_file)
    page.locator("#view-box summary").click()
    page.locator("#language").select_option("nl")
    page.wait_for_selector("html.ready[lang=nl]")
    assert page.locator("#tab-gaps").inner_text() == "Hiaten"
    assert re.search("lang=nl", page.url)
    assert page.trouble == []


def test_a_word_of_a_record_is_left_as_it_is(visit: Callable[..., Any], tmp_path: Path) -> None:
    """A sheet called Pools and a heading "date" are not said in German; a day and a kind are."""
    result = town()
    said = say(
        "{file}: {told}",
        file=say("{file}, sheet {sheet}", file="a.xlsx", sheet="Pools"),
        told=say('{cells} of {heading} cannot be read (row {row}: "{word}"); {so}', **OF_RECORDS),
    )
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(result, figures=replace(result.figures, notes=(said,))), "de"), encoding="utf-8")
    page = visit(path)
    page.locator("#tab-data").click()
    left = "a.xlsx, Blatt Pools: 1 Zelle unter date nicht lesbar (Zeile 2: „near“); Zustimmung abgelaufen am 30.06.2025"
    assert left in page.locator("#data-panel").inner_text()


OF_RECORDS: dict[str, Any] = {
    "cells": count(1, "cell"),
    "heading": "date",
    "row": "2",
    "word": "near",
    "so": say("consent expired {day}", day=date(2025, 6, 30)),
}


def test_a_long_hostile_sentence_is_not_taken_apart(visit: Callable[..., Any], tmp_path: Path) -> None:
    """The catalogue's templates are tried on texts of records too: none may hang or change them."""
    text = "a pool may stand on " * 400 + "__proto__ constructor {n} known breeding places (nearest"
    path = tmp_path / "map.html"
    path.write_text(map_page(town(text), "de"), encoding="utf-8")
    page = visit(path)
    page.locator("#tab-gaps").click()
    assert page.locator("#gaps-panel tbody p").first.text_content().endswith(text)
    assert page.trouble == []


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_reasons_doubts_and_causes_are_put_together_in_each_language(
    visit: Callable[..., Any], tmp_path: Path, language: str
) -> None:
    result = town()
    row = {"gain": 0.0123, "gain_low": 0.01, "gain_high": 0.02, "cumulative": 0.5, "occupancy_expected": 0.42}
    row |= {"forage_m": 20.0, "dead_wood_m": 226.0, "nearest_pool_m": 139.0, "consent": "ask", "robustness": 0.45}
    row |= {"assumed_share": 0.4, "sampled": "no", "occupancy_low": 0.1, "occupancy_high": 0.9, "committed": "no"}
    bare = {"gain": 0.002, "cumulative": None, "occupancy_expected": None, "dead_wood_m": 226.0}
    bare |= {"forage_m": None, "nearest_pool_m": None}
    plan = result.plan.astype(object)
    for at, changes in enumerate((row, bare, row | {"ec_gain": 0.1, "committed": "yes"})):
        for column, value in changes.items():
            plan[column] = plan.get(column, None)
            plan.loc[plan.index[at], column] = value
    gaps = result.gaps.assign(
        not_reached=NotReached.OUT_OF_FLIGHT, nearest_place_m=912.0, ground_ha=3.7, lost_as=None, lost_share=0.0
    )
    result = replace(result, plan=plan, gaps=gaps)
    path = tmp_path / "map.html"
    path.write_text(map_page(result, language), encoding="utf-8")
    page = visit(path)
    page.locator("#plan-panel .pick").first.click()
    card = page.locator("#plan-panel .detail").inner_text()
    told = page.locator("#plan-panel tr.below p:first-of-type").all_text_contents()
    page.locator("#tab-gaps").click()
    told += [card, page.locator("#gaps-panel tbody p").first.text_content()]
    page.locator("#tab-pools").click()
    page.locator("#pools-panel .pick").first.click()
    told.append(page.locator("#pools-panel .detail dd").nth(3).inner_text())
    english = "search pool forage nearest larvae owner assumed likely flight allows".split()
    for text in told:
        assert [word for word in english if word in text] == []
    assert "1,2" in told[0]
    assert "0,20" in told[1]
