"""The report for a committee or a funder: two pages, as PDF and as HTML, of plain sentences.

Done, found, what comes next, what it costs, what is not known. Every number is one of summary.json's, rounded; the
report computes none of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from habitatmap.export.folder import write_files
from habitatmap.export.summary import summary_text
from habitatmap.page.drawings import Mark, intervals
from habitatmap.page.sections import Column, Drawing, Section, report_page, share, table
from habitatmap.paper.pictures import plan_sheet
from habitatmap.paper.printed import sections_pdf
from habitatmap.privacy import may_be_placed
from habitatmap.result import Figures, Result
from habitatmap.survey.figures import OccupancyFigures, SeasonFigures
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.terms import Consent
from habitatmap.words.bases import trend
from habitatmap.words.cautions import for_committee, sentences
from habitatmap.words.headline import missing_sentences, reach_with_plan
from habitatmap.words.numbers import at_most, count, known, number, percent, sentence, span
from habitatmap.words.plan import plan_note
from habitatmap.words.served import beside_the_headline, likely_served
from habitatmap.words.survey import opening

FOOTER = "For the committee and the funder. It names land and consent: public_map.html is the page for everybody."
KIND = "Report"
SHOWN_SITES = 10
CONSENT = {Consent.YES: "given", Consent.ASK: "to be asked", Consent.PROVISIONAL: "not known"}


def write_report(result: Result, folder: str | Path) -> None:
    """Writes report.pdf, report.html and the summary.json they were made from into `folder`, whole or not at all."""
    pdf, page = report_pdf(result), report_html(result)
    write_files(folder, {"report.pdf": pdf, "report.html": page, "summary.json": summary_text(result)})


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
    return [*([_where(result)] if len(result.plan) else []), _cost(result), _not_known(result)]


SEASONS: dict[str, Column] = {
    "Season": lambda row: str(row["of"].season),
    "Pools searched": lambda row: f"{row['of'].pools_visited:,}",
    "Searches": lambda row: f"{row['of'].searches:,}",
    "Detections": lambda row: f"{row['of'].detections:,}",
    "Naive occupancy": lambda row: percent(row["of"].naive),
    "Estimated occupancy": lambda row: row["estimate"],
}


def _done(figures: Figures) -> Section:
    intake, standing = figures.intake, figures.pools_standing
    read, aside = (sum(getattr(part, of) for part in intake.values()) for of in ("read", "set_aside"))
    lead = (
        f"{count(standing, 'pool')} {'stands' if standing == 1 else 'stand'} on the day of this report. "
        f"{count(intake['pools'].read, 'row')} on pools and {count(intake['visits'].read, 'row')} on visits "
        f"were read, {read:,} in all with trees, land and the rest. {aside:,} could not be used: set_aside.csv says of "
        "each why, and what to do."
    )
    told = dict(zip(figures.occupancy.seasons, figures.occupancy.together, strict=True))
    rows = pd.DataFrame({"of": figures.seasons.each})
    rows["estimate"] = [_estimate(of, told, figures.occupancy) for of in figures.seasons.each]
    seasons = table("Season by season", rows, SEASONS)
    return Section("done", "What was done", lead, tables=[seasons])


def _found(figures: Figures) -> Section:
    o, key, title = figures.occupancy, "found", "What was found"
    if not o.pools_visited:
        return Section(key, title, "No pool has been searched yet, so nothing is known of larvae.")
    lead = " ".join(opening(o, figures.intake["pools"].accepted))
    change = f"Against the season before: {trend(figures.seasons)}." if len(figures.seasons.each) > 1 else ""
    return Section(key, title, lead, words=[change])


def _reached(figures: Figures) -> Section:
    reach, gaps, pools = figures.forage_in_reach, figures.gaps, figures.plan.pools
    key, title = "reach", "Flowers within reach"
    if not known(reach.now):
        return Section(key, title, "Without land cover it is not known what the flies can reach.")
    marks = [Mark("today", reach.now, reach.low, reach.high, percent(reach.now, 1))]
    if pools:
        with_plan, bound = percent(reach.with_plan, 1), at_most(reach.upper_bound, 1)
        ends = (reach.with_plan_low, reach.with_plan_high)
        marks.append(Mark(f"with {count(pools, 'more pool')}", reach.with_plan, *ends, with_plan))
        marks.append(Mark("the most that so many pools could do", reach.upper_bound, said=bound))
    said = "Forage in reach, as a share of the area's forage; the bars show what is not known about occupancy."
    return Section(
        key,
        title,
        f"Of all the forage that flowers offer in the area, {percent(reach.now, 1)} lies within flight of a "
        f"breeding place that is likely occupied (between {percent(reach.low, 1)} and {percent(reach.high, 1)}, for "
        f"what is not known about occupancy). {count(gaps.count, 'gap')} with {percent(gaps.share)} of the forage "
        f"{'is' if gaps.count == 1 else 'are'} probably out of reach.",
        drawings=[Drawing(intervals(marks, said), said)],
    )


SITES: dict[str, Column] = {
    "No.": lambda row: str(row["rank"]),
    "Where": lambda row: row["place"] or "unnamed land",
    "Consent": lambda row: CONSENT.get(row["consent"], row["consent"]),
    "In reach if occupied": lambda row: percent(row["gain"], 2, signed=True),
    "Served, from everywhere": lambda row: percent(row["served_open"], 2, signed=True),
    "Served, mapped only": lambda row: percent(row["served_closed"], 2, signed=True),
    "Stays in the plan": share("robustness"),
}


def _next(result: Result) -> Section:
    figures, plan, key, title = result.figures, result.figures.plan, "next", "What comes next"
    if not plan.pools:
        why = plan_note(plan) or "no pool was asked for"
        return Section(key, title, f"No site for a new pool is suggested: {why}.")
    more = f"The first {SHOWN_SITES} of {plan.pools} sites; " if plan.pools > SHOWN_SITES else ""
    caption = sentence(
        f"{more}what each adds, in shares of the area's forage, after those before it: in reach if occupied as today's "
        f"searches expect, and likely served over the next {figures.served.years} years; "
        "stays in the plan: share of the simulations"
    )
    served, beside = likely_served(figures), " ".join(map(str, beside_the_headline(figures)))
    lead, *words = [str(served), beside, reach_with_plan(figures)] if served else [reach_with_plan(figures)]
    return Section(key, title, lead, words=words, tables=[table(caption, result.plan.head(SHOWN_SITES), SITES)])


def _where(result: Result) -> Section:
    hidden = "Sites on private land are left off the map: there, hosts are sought by street."
    svg = plan_sheet(result).svg("The suggested sites", result.credits)
    return Section(
        "where",
        "Where",
        "The numbers are those of the list, the most helpful site first.",
        words=["" if may_be_placed(result.plan).all() else hidden],
        drawings=[Drawing(svg, "Map of the suggested sites")],
    )


def _cost(result: Result) -> Section:
    plan = result.figures.plan
    lead = "No budget and no cost of a site is set in area.toml, so no cost is shown."
    if plan.spending is not None:
        spent, budget = (
            _amount(value, plan.spending.cost_unit) for value in (plan.spending.spent, plan.spending.budget)
        )
        lead = f"The {count(plan.pools, 'pool')} cost {spent} of a budget of {budget}, by the costs in area.toml."
    care = "Every pool also needs somebody to look after it, in every week of drought and through the season."
    return Section("cost", "What it costs", lead, words=[care])


def _not_known(result: Result) -> Section:
    figures, reach = result.figures, result.figures.forage_in_reach
    lead, *words = missing_sentences(figures) or ["No kind of input is missing."]
    if known(reach.measured_share):
        words.append(
            f"{percent(reach.measured_share)} of the forage lies on land whose value is not assumed; on the rest, "
            "what gardens and mown grass offer is assumed."
        )
    medians = reach.by_forage_median_m
    if all(map(known, medians.values())):
        said = " and ".join(f"{percent(of)} if half of the flights end within {m} m" for m, of in medians.items())
        words.append(f"How far the flies fly for food is expert judgement. In reach now would be {said}.")
    words.append("The estimate of occupancy describes pools where people put them; it applies only to similar sites.")
    cautions = sentences(for_committee(result.settings))
    return Section("not-known", "What is not known", lead, words=words, cautions=cautions)


def _amount(value: float, unit: str) -> str:
    return f"{number(value, 0 if float(value).is_integer() else 2)} {unit}".strip()


def _estimate(of: SeasonFigures, told: Mapping[int, Estimate], headline: OccupancyFigures) -> str:
    """The estimate of a season with its interval, by the model of the headline, or what stands for it."""
    if not headline.known or of.season is None or of.season > (headline.season or of.season):
        return "too few to estimate"
    if headline.method is not Method.SEASONS:
        return f"{percent(headline.estimate)} ({span(headline.low, headline.high)})"
    found = told[of.season]
    return f"{percent(found.value)} ({span(found.low, found.high)})"
