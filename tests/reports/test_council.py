"""The report: two pages, the same facts on paper and screen, every number one of summary.json's."""

from __future__ import annotations

import io
import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

import habitatmap
from habitatmap.export.summary import summary_text
from habitatmap.reports.council import first_page, report_html, report_pdf, second_page, write_report
from habitatmap.result import Result
from tests.areas import centre, class_table, write_area
from tests.demo import demo_result


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
    plan = json.loads(demo_result().plan.to_json(orient="records"))
    # sums over the kinds of input are sums of the summary's own figures
    sums = {float(sum(kind[what] for kind in summary["intake"].values())) for what in ("read", "set_aside")}
    # what is a limit is rounded up, what is promised down
    limit, promise = summary["forage_in_reach"]["upper_bound"], summary["plan"]["share_of_bound"]
    sums |= {math.ceil(1000 * limit) / 10, math.floor(1000 * promise) / 10}
    sums |= {math.floor(100 * (summary["served"]["share_of_limit"] or 0.0))}
    numbers = numbers_in(summary) | numbers_in(plan) | sums
    found = [n for text in said(demo_result()) for n in re.findall(r"\d[\d,]*(?:\.\d+)?", text)]
    assert len(found) > 50
    assert [n for n in found if not stands_for(n, numbers)] == []
    assert not stands_for("63.9", numbers_in(summary["forage_in_reach"]))  # the check can fail


def test_two_pages_tagged_and_the_same_twice() -> None:
    once = report_pdf(demo_result())
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
    result = habitatmap.run(habitatmap.open_area(write_area(tmp_path / "a", classes, table, pools=pools, toml=toml)))
    assert len(PdfReader(io.BytesIO(report_pdf(result))).pages) == 2
    page = report_html(result)
    assert "nan" not in " ".join(said(result)).lower().split()
    assert ("no pool has been searched yet" in page.lower()) or parts == "pools"
    write_report(result, tmp_path / "report")
    assert sorted(p.name for p in (tmp_path / "report").iterdir()) == ["report.html", "report.pdf", "summary.json"]
