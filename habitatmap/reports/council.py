"""The report for a committee or a funder: two pages, as PDF and as HTML, of plain sentences.

Done, found, what comes next, what it costs, what is not known. Every number is one of summary.json's, rounded; the
report computes none of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from habitatmap.export.folder import write_folder
from habitatmap.export.summary import summary_text
from habitatmap.page.drawings import Mark, intervals
from habitatmap.page.sections import Drawing, Section, Table, report_page
from habitatmap.paper.pictures import plan_sheet
from habitatmap.paper.printed import sections_pdf
from habitatmap.privacy import may_be_placed
from habitatmap.result import Figures, Result
from habitatmap.survey.figures import SeasonFigures
from habitatmap.words.bases import WHERE, trend
from habitatmap.words.cautions import Caution, for_area, sentences
from habitatmap.words.headline import missing_sentences
from habitatmap.words.plan import plan_note

FOOTER = "For the committee and the funder. It names land and consent: public_map.html is the page for everybody."
KIND = "Report"
SHOWN_SITES = 10
UNKNOWN = "not known"


def write_report(result: Result, folder: str | Path) -> None:
    """Writes report.pdf, report.html and the summary.json they were made from into `folder`, whole or not at all."""
    made = {
        "report.pdf": report_pdf(result),
        "report.html": report_html(result).encode("utf-8"),
        "summary.json": summary_text(result).encode("utf-8"),
    }

    def fill(fresh: Path) -> None:
        for name, content in made.items():
            (fresh / name).write_bytes(content)

    write_folder(Path(folder).resolve(), fill)


def report_pdf(result: Result) -> bytes:
    """The report on two pages."""
    subtitle = f"{KIND}, as of {result.figures.as_of}"
    return sections_pdf(result.title, subtitle, FOOTER, [first_page(result), second_page(result)])


def report_html(result: Result) -> str:
    """The same as a page for a screen."""
    sections = [*first_page(result), *second_page(result)]
    return report_page(result.title, KIND, f"As of {result.figures.as_of}", sections, data_pictures=True)


def first_page(result: Result) -> list[Section]:
    """Done, found, and what is known to be reached."""
    return [_done(result.figures), _found(result.figures), _reached(result.figures), _next(result)]


def second_page(result: Result) -> list[Section]:
    """Where, at what cost, and what nobody knows yet."""
    return [part for part in (_where(result), _cost(result), _not_known(result)) if part]


def _done(figures: Figures) -> Section:
    intake, seasons = figures.intake, figures.seasons.each
    read = sum(part.read for part in intake.values())
    aside = sum(part.set_aside for part in intake.values())
    words = [
        f"{_count(figures.pools_standing, 'pool')} stand on the day of this report. "
        f"{_count(intake['pools'].read, 'row')} on pools and {_count(intake['visits'].read, 'row')} on visits "
        f"were read, with trees, land and the rest {_number(read)} in all; {_number(aside)} could not be used, and "
        "set_aside.csv says of each why, and what to do."
    ]
    tables = []
    if seasons:
        rows = [
            [
                str(s.season),
                _number(s.pools_visited),
                _number(s.searches),
                _number(s.detections),
                _percent(s.naive),
                _estimate(s),
            ]
            for s in seasons
        ]
        heads = ["Season", "Pools looked at", "Looks", "Looks with larvae", "Pools with larvae seen", "Really occupied"]
        tables.append(Table("Season by season", heads, rows))
    return _section("done", "What was done", words, tables=tables)


def _found(figures: Figures) -> Section:
    o = figures.occupancy
    if not o.pools_visited:
        return _section("found", "What was found", ["No pool has been looked at yet, so nothing is known of larvae."])
    words = [
        f"Larvae were seen in {_percent(o.naive)} of the {_count(o.pools_visited, 'pool')} that were looked at. "
        f"A look can miss them: really occupied are {_estimate(o)} of the pools.",
    ]
    seasons = figures.seasons
    if len(seasons.each) > 1:
        words.append(f"Against the season before: {trend(seasons)}.")
    return _section("found", "What was found", words)


def _reached(figures: Figures) -> Section:
    reach, gaps, more = figures.forage_in_reach, figures.gaps, figures.plan.pools
    if math.isnan(reach.now):
        return _section(
            "reach", "Flowers within reach", ["Without land cover it is not known what the flies can reach."]
        )
    words = [
        f"Of all the forage that flowers offer in the area, {_percent(reach.now, 1)} lies within flight of a "
        f"breeding place that is likely occupied (between {_percent(reach.low, 1)} and "
        f"{_percent(reach.high, 1)}, for what is not known about occupancy). {_count(gaps.count, 'gap')} with "
        f"{_percent(gaps.share)} of the forage {'is' if gaps.count == 1 else 'are'} likely reached from no known "
        "place."
    ]
    marks = [Mark("today", reach.now, reach.low, reach.high, _percent(reach.now, 1))]
    if more:
        plan, low, high = reach.with_plan, reach.with_plan_low, reach.with_plan_high
        marks.append(Mark(f"with {_count(more, 'more pool')}", plan, low, high, _percent(plan, 1)))
        marks.append(
            Mark("the most that as many pools could do", reach.upper_bound, said=_percent(reach.upper_bound, 1))
        )
    said = "Forage in reach, as a share of the area's forage; the bars show what is not known about occupancy."
    drawing = Drawing(intervals(marks, said), said)
    return _section("reach", "Flowers within reach", words, drawings=[drawing])


def _next(result: Result) -> Section:
    plan, reach = result.figures.plan, result.figures.forage_in_reach
    if not plan.pools:
        why = plan_note(plan) or "no pool was asked for"
        return _section("next", "What comes next", [f"No spot for a new pool is suggested: {why}."])
    words = [
        f"{_count(plan.pools, 'more pool')} would bring forage in reach to {_percent(reach.with_plan, 1)} "
        f"(between {_percent(reach.with_plan_low, 1)} and {_percent(reach.with_plan_high, 1)}). No choice of as "
        f"many spots could reach more than {_percent(reach.upper_bound, 1)}: the plan has "
        f"{_percent(plan.share_of_bound, 1)} of the gain that is possible at most.",
    ]
    rows = [
        [
            str(r["rank"]),
            r["place"] or "unnamed ground",
            _CONSENT.get(r["consent"], r["consent"]),
            _gain(r["gain"]),
            _percent(r["cumulative"], 1),
            _percent(r["robustness"]),
        ]
        for r in result.plan.head(SHOWN_SITES).to_dict("records")
    ]
    heads = ["No.", "Where", "Consent", "Adds", "Then in reach", "Stays in the plan"]
    more = f"The first {SHOWN_SITES} of {plan.pools} suggestions; " if plan.pools > SHOWN_SITES else ""
    caption = f"{more}'stays in the plan': share of draws of what is not known"
    return _section("next", "What comes next", words, tables=[Table(caption[0].upper() + caption[1:], heads, rows)])


_CONSENT = {"yes": "given", "ask": "to be asked", "provisional": "not known"}


def _where(result: Result) -> Section | None:
    if not len(result.plan):
        return None
    on_map = int(may_be_placed(result.plan).sum())
    words = ["The numbers are the suggestions of the list, the most helpful first."]
    if on_map < len(result.plan):
        words.append("Suggestions on private ground are left off the map: there, hosts are sought by street.")
    drawing = Drawing(plan_sheet(result).svg("The suggestions", result.credits), "Map of the suggested spots")
    return _section("where", "Where", words, drawings=[drawing])


def _cost(result: Result) -> Section:
    plan = result.figures.plan
    if plan.spending is not None:
        told = plan.spending
        spent, budget = (f"{_number(sum_)} {told.cost_unit}".strip() for sum_ in (told.spent, told.budget))
        words = [f"The {_count(plan.pools, 'pool')} cost {spent} of a budget of {budget}, by the costs in area.toml."]
    else:
        words = ["No budget and no cost of a site is set in area.toml, so no sum can be named."]
    words.append("Every pool also needs somebody to look after it, in every week of drought and through the season.")
    return _section("cost", "What it costs", words)


def _not_known(result: Result) -> Section:
    figures, reach = result.figures, result.figures.forage_in_reach
    words = missing_sentences(figures) or ["No kind of input is missing."]
    if not math.isnan(reach.measured_share):
        words.append(
            f"{_percent(reach.measured_share)} of the forage lies on ground whose value does not rest on a guess "
            "about gardens or mowing; what grows on the rest is assumed."
        )
    median = reach.by_forage_median_m
    if not any(math.isnan(value) for value in median.values()):
        said = " and ".join(f"{_percent(share)} if half of the flights end within {m} m" for m, share in median.items())
        words.append(f"How far the flies fly for food is expert judgement. In reach now would be {said}.")
    words.append(f"The estimate speaks of {WHERE}.")
    cautions = sentences([*for_area(result.settings)[:3], Caution.LOCAL])
    return _section("not-known", "What is not known", words, cautions=cautions)


# ------------------------------------------------------------------------------------------------------ small change


def _number(value: Any) -> str:
    return UNKNOWN if value is None else f"{value:,.0f}" if float(value).is_integer() else f"{value:,.2f}"


def _count(n: int, what: str) -> str:
    return f"{n:,} {what}" + ("" if n == 1 else "s")


def _percent(share: Any, digits: int = 0) -> str:
    return UNKNOWN if share is None or not math.isfinite(share) else f"{100 * share:.{digits}f} %"


def _gain(share: Any) -> str:
    return UNKNOWN if share is None or not math.isfinite(share) else f"+{100 * share:.2f} %"


def _estimate(of: SeasonFigures) -> str:
    """An estimate with its interval, or what stands for it."""
    if not of.known:
        return "too few to estimate"
    return f"{_percent(of.estimate)} ({_percent(of.low)} to {_percent(of.high)})"


def _section(key: str, title: str, words: Sequence[str], **more: Any) -> Section:
    """A section whose first sentence leads."""
    return Section(key, title, words[0], words=words[1:], **more)
