"""The report: two pages, the same facts on paper and screen, every number one of summary.json's."""

from __future__ import annotations

import io
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

import habitatmap
from habitatmap.export.summary import summary_text
from habitatmap.geo.frames import without_shapes
from habitatmap.page.sections import drawn
from habitatmap.paper.maps import Sheet
from habitatmap.reports.council import MOSTLY, first_page, report_html, report_pdf, second_page, write_report
from habitatmap.result import Result
from habitatmap.words.catalogue import ENGLISH
from tests.areas import centre, class_table, write_area
from tests.demo import demo_result
from tests.pdf import title_of
from tests.words.spoken import OTHERS, recorder, same_texts


def numbers_in(value: Any) -> set[float]:
    """Every number of a JSON value, and those inside its texts and keys."""
    if isinstance(value, dict):
        return set().union(*(numbers_in(part) for part in (*value.keys(), *value.values()))) if value else set()
    if isinstance(value, list):
        return set().union(*(numbers_in(part) for part in value)) if value else set()
    if isinstance(value, str):
        return {float(n) for n in re.findall(r"\d+(?:\.\d+)?", value)}
    return set() if value is None or isinstance(value, bool) else {float(value)}


def said(result: Result) -> list[str]:
    """Every sentence and table cell of the report."""
    texts: list[str] = []
    for part in (*first_page(result), *second_page(result)):
        texts += [part.lead, *part.words]
        texts += [str(cell) for table in part.tables for row in table.rows for cell in row]
    return texts


def stands_for(text: str, numbers: set[float]) -> bool:
    """Whether a printed number is one of these, rounded as printed, as it is or as a percentage."""
    value, digits = float(text.replace(",", "")), len(text.partition(".")[2])
    return any(
        math.isclose(round(n * times, digits), value, abs_tol=1e-9 + 0.5 * 10**-digits * 1.000001)
        for n in numbers
        for times in (1, 100)
        if math.isfinite(n)
    )


def test_every_number_is_one_of_the_summary_or_the_plan() -> None:
    summary = json.loads(summary_text(demo_result()))
    plan = json.loads(without_shapes(demo_result().plan).to_json(orient="records"))
    # what is a limit is rounded up, what is promised down
    limit, promise = summary["forage_in_reach"]["upper_bound"], summary["plan"]["share_of_bound"]
    sums = {math.ceil(1000 * limit) / 10, math.floor(1000 * promise) / 10}
    sums |= {math.floor(100 * (summary["served"]["share_of_limit"] or 0.0))}
    # counts of the plan's rows and of its parcels
    table, parcels, pools = demo_result().plan, demo_result().places, demo_result().pools
    sums |= {float((table["consent"] == "yes").sum()), float((table["consent"] != "yes").sum()), MOSTLY}
    sums |= {float((table["robustness"] >= MOSTLY).sum()), 1.0, 2.0, 3.0}
    sums |= set(parcels["suggestions"].astype(float)) | numbers_in(parcels["place"].tolist())
    sums |= {float(((pools["private"] == "yes") & (pools["standing"] == "yes")).sum())}
    numbers = numbers_in(summary) | numbers_in(plan) | sums
    found = [n for text in said(demo_result()) for n in re.findall(r"\d[\d,]*(?:\.\d+)?", text)]
    assert len(found) > 50
    assert [n for n in found if not stands_for(n, numbers)] == []
    assert not stands_for("63.9", numbers_in(summary["forage_in_reach"]))  # the check can fail


def test_two_pages_tagged_and_the_same_twice() -> None:
    once = report_pdf(demo_result())
    assert title_of(once) == f"{demo_result().title}: Report, as of 2025-10-15"
    assert once == report_pdf(demo_result())
    reader = PdfReader(io.BytesIO(once))
    assert len(reader.pages) == 2
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_paper_and_screen_say_the_same() -> None:
    printed = re.sub(
        r"\s+", "", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(report_pdf(demo_result()))).pages)
    )
    page = report_html(demo_result())
    for part in (*first_page(demo_result()), *second_page(demo_result())):
        for words in (part.lead, *part.words):
            assert re.sub(r"\s+", "", words) in printed.replace("\u200b", "")
            assert words.replace("'", "&#x27;").replace('"', "&quot;") in page


@pytest.mark.parametrize("parts", ["nothing", "pools", "land cover"])
def test_whatever_is_missing_the_report_says_so(tmp_path: Path, parts: str) -> None:
    classes, table = (np.full((20, 20), 1, np.uint8), class_table({1: 0.5})) if parts != "pools" else (None, "")
    pools = [("A", *centre(5, 5)), ("B", *centre(15, 15))] if parts == "pools" else None
    toml = "\n[plan]\npools = 0\n" if parts == "nothing" else ""
    result = habitatmap.run(
        habitatmap.open_area(write_area(tmp_path / "a", classes, table, pools=pools, toml=toml)), public=False
    )
    assert len(PdfReader(io.BytesIO(report_pdf(result))).pages) == 2
    page = report_html(result)
    assert "nan" not in " ".join(said(result)).lower().split()
    assert ("no pool has been searched yet" in page.lower()) or parts == "pools"
    write_report(result, tmp_path / "report")
    assert sorted(p.name for p in (tmp_path / "report").iterdir()) == [
        "manifest.json",
        "report.html",
        "report.pdf",
        "summary.json",
    ]


def test_the_committee_is_asked_a_question_first_and_given_three_reasons() -> None:
    question, reasons, *_ = first_page(demo_result())
    assert question.lead == "Shall 10 pools be installed at the sites listed below?"
    asked = " ".join(question.words)
    for words in (
        "□ Yes",
        "□ No",
        "Land: Ford Meadows (",
        "Cost: none is stated",
        "consent in writing for",
        "crew",
        "group",
    ):
        assert words in asked, words
    assert [line[:2] for line in (reasons.lead, *reasons.words)] == ["1.", "2.", "3."]
    assert "likely served" in reasons.lead
    assert "pools at random: " in reasons.words[0]
    assert "stay in the plan" in reasons.words[1]


def test_land_of_no_record_and_private_land_are_told() -> None:
    result = demo_result()
    nobody = replace(result, places=result.places.iloc[:0])
    assert "who owns it is not known" in " ".join(first_page(nobody)[0].words)
    private = replace(result, plan=result.plan.assign(private="yes"))
    assert "where hosts are to be found (10 sites)" in " ".join(first_page(private)[0].words)


def test_the_map_has_pools_of_public_land_only_and_a_legend() -> None:
    result = demo_result()
    standing = result.pools[result.pools["standing"] == "yes"]
    open_ones = int((standing["private"] != "yes").sum())
    (where,) = [part for part in second_page(result) if part.key == "where"]
    svg = drawn(where.drawings[0].svg, ENGLISH)
    assert svg.count('r="3.5"') == 2 * (open_ones + 1), "each pool and the one in the key, with two rims"
    for words in ("standing pool", "suggested site", "Wood", "Meadow"):
        assert f">{words}</text>" in svg, words
    for name in result.plan["id"]:
        assert f">{name}</text>" in svg
    assert f"{len(standing) - open_ones} pools on private land are left off" in where.words[1]


def test_long_names_still_make_two_pages() -> None:
    long = "A very long name of a place that goes on and on, west end, by the river " * 2
    result = replace(demo_result(), plan=demo_result().plan.assign(place=long))
    assert len(PdfReader(io.BytesIO(report_pdf(result))).pages) == 2


def test_numbers_on_a_map_do_not_hide_each_other() -> None:
    sheet = Sheet(0, 0, 1000, 1000, 500.0)
    sheet.numbers(np.array([[500.0, 500.0], [500.0, 500.0], [504.0, 500.0], [900.0, 900.0]]), ["S1", "S2", "S3", "S4"])
    discs = [part for part in sheet.parts if "<g" in part]
    at = np.array([re.findall(r"translate\(([\d.]+) ([\d.]+)\)", disc)[0] for disc in discs], dtype=float)
    apart = np.hypot(*(at[:, None] - at[None]).T)[~np.eye(4, dtype=bool)]
    assert apart.min() > 15.9
    assert [x.split(">")[-3][:2] for x in discs] == ["S4", "S3", "S2", "S1"], "the first lies on top"
    assert np.hypot(*(at[0] - sheet.at(900, 900))) < 0.2, "what stands alone stays"


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_in_the_report(language: str) -> None:
    result, spoken = demo_result(), recorder(language)
    english, other = report_html(result), report_html(result, spoken)
    shared = same_texts(english, other, [result.title, *result.credits, "1 km", "Site", "Consent"])
    assert [text for text in shared if len(text.split()) > 1] == []
    assert spoken.unsaid == set()
