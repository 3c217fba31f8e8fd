"""The report for a committee or a funder: two pages, as PDF and as HTML, of plain sentences.

The question to decide, reasons for the plan, what was found, the sites, what is not known. Every number is one of
summary.json's, rounded, or a count of the plan's rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from habitatmap.export.folder import write_files
from habitatmap.export.summary import summary_text
from habitatmap.page.drawings import Level, rising
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
from habitatmap.words.how_many import READING, enough
from habitatmap.words.numbers import UNKNOWN, count, known, listed, number, percent, sentence, span
from habitatmap.words.plan import POOLS, plan_note
from habitatmap.words.served import beside_the_headline, digits_of, likely_served
from habitatmap.words.survey import opening

FOOTER = "For the committee and the funder. It names land and consent: public_map.html is the page for everybody."
KIND = "Report"
SHOWN_SITES = 10
SHOWN_PARCELS = 4
MOSTLY = 0.5  # of the simulations
CONSENT = {Consent.YES: "given", Consent.ASK: "to be asked", Consent.PROVISIONAL: "not known"}


def write_report(result: Result, folder: str | Path) -> None:
    """Writes report.pdf, report.html and the summary.json they were made from into `folder`, whole or not at all."""
    pdf, page = report_pdf(result), report_html(result)
    write_files(folder, {"report.pdf": pdf, "report.html": page, "summary.json": summary_text(result)})


def report_pdf(result: Result) -> bytes:
    """The report on two pages."""
    subtitle = f"{KIND}, as of {result.figures.as_of}"
    return sections_pdf(result.title, subtitle, FOOTER, [first_page(result), second_page(result)], one_page_each=True)


def report_html(result: Result) -> str:
    """The same as a page for a screen."""
    sections = [*first_page(result), *second_page(result)]
    return report_page(result.title, KIND, f"As of {result.figures.as_of}", sections, data_pictures=True)


def first_page(result: Result) -> list[Section]:
    """What is to be decided and why, what was found, and the sites."""
    asked = [_question(result), _reasons(result)] if len(result.plan) else []
    return [*asked, _found(result.figures), _reached(result.figures), _next(result)]


def second_page(result: Result) -> list[Section]:
    """Where, and what nobody knows yet."""
    return [*([_where(result)] if len(result.plan) else []), _not_known(result)]


def _question(result: Result) -> Section:
    """What the committee votes on: which sites, on whose land, at what cost, and what is asked of whom."""
    plan = result.plan
    pools = "a pool be installed at the site" if len(plan) == 1 else f"{len(plan)} pools be installed at the sites"
    lead = f"Shall {pools} listed below?"
    vote = "□ Yes   □ No" if len(plan) == 1 else "□ Yes   □ No   □ Yes, but only at the first ____ sites of the list"
    given = int((plan["consent"] == Consent.YES).sum())
    asked = f"{count(len(plan) - given, 'site')} (it is given for {given})" if given else "all sites"
    needs = "Consent is on record for all sites."
    if given < len(plan):
        needs = f"Asked of the owners: consent in writing for {asked}."
    care = (
        f"{needs} Asked of the crew: to install the pools with the care described at the end. Asked of the group: to "
        "look after every pool through the season and in every week of drought."
    )
    order = "The list is in order of help: it can be cut after any site." if len(plan) > 1 else ""
    return Section(
        "question", "The question", lead, words=[vote, _land(result), _cost(result.figures), care, order, _also(plan)]
    )


def _land(result: Result) -> str:
    """On whose land the sites are, the parcel with most of them first."""
    private = int((result.plan["private"] == "yes").sum())
    own = result.places[(result.places["suggestions"] > 0) & (result.places["private"] != "yes")]
    own = own.sort_values("suggestions", ascending=False, kind="stable")
    named = [
        f"{row['name'] or row['place'] or row['kind']} ({count(row['suggestions'], 'site')}, consent "
        f"{CONSENT.get(row['consent'], row['consent'])})"
        for row in own.head(SHOWN_PARCELS).to_dict("records")
    ]
    rest = own["suggestions"].iloc[SHOWN_PARCELS:].sum()
    named += [f"other parcels ({count(int(rest), 'site')})"] if rest else []
    named += [f"private land, where hosts are to be found ({count(private, 'site')})"] if private else []
    return f"Land: {listed(named)}." if named else "Land: who owns it is not known; no site is firm before that is."


def _also(plan: pd.DataFrame) -> str:
    """Authorities that have a say besides the owners."""
    whom = dict.fromkeys(part for also in plan["also_ask"] for part in str(also).split("; ") if part)
    return f"To be asked as well: {listed(list(whom))}." if whom else ""


def _reasons(result: Result) -> Section:
    """Three reasons for the plan: what it serves, against other ways to choose, and how sure its sites are."""
    figures = result.figures
    served = likely_served(figures)
    serves = str(served) if served else reach_with_plan(figures)
    besides = " ".join(map(str, beside_the_headline(figures))) if served else ""
    digits = digits_of(figures.served)
    others = [
        f"{POOLS[rule]} {'' if at else 'it would be '}{_range(*share, digits)}"
        for at, (rule, share) in enumerate(figures.served.rules.items())
        if known(min(share)) and known(max(share))
    ]
    best = f"With as many {', with '.join(others)}." if served and others else ""
    kept = result.plan["robustness"].dropna()
    sure = (
        f"{int((kept >= MOSTLY).sum())} of {len(kept)} sites stay in the plan in at least {percent(MOSTLY)} of the "
        "simulations of what is not known. The team's map shows around each site where a pool serves as well."
        if len(kept)
        else "How sure each site is has not been worked out."
    )
    reasons = [part for part in (serves, f"{best} {besides}".strip(), sure) if part]
    lead, *words = [f"{i}. {reason}" for i, reason in enumerate(reasons, start=1)]
    return Section("reasons", "Three reasons for it" if words[1:] else "Reasons for it", lead, words=words)


SEASONS: dict[str, Column] = {
    "Season": lambda row: str(row["of"].season),
    "Pools searched": lambda row: f"{row['of'].pools_visited:,}",
    "Searches": lambda row: f"{row['of'].searches:,}",
    "Detections": lambda row: f"{row['of'].detections:,}",
    "Naive occupancy": lambda row: percent(row["of"].naive),
    "Estimated occupancy": lambda row: row["estimate"],
}


def _found(figures: Figures) -> Section:
    """What was done and found: pools, searches season by season, occupancy."""
    o, standing = figures.occupancy, figures.pools_standing
    stand = f"{count(standing, 'pool') if standing else 'No pool'} {'stand' if standing > 1 else 'stands'} on the day "
    stand += "of this report."
    key, title = "found", "What was done and found"
    if not o.pools_visited:
        return Section(key, title, f"{stand} No pool has been searched yet, so nothing is known of larvae.")
    change = f"Against the season before: {trend(figures.seasons)}." if len(figures.seasons.each) > 1 else ""
    told = dict(zip(o.seasons, o.together, strict=True))
    rows = pd.DataFrame({"of": figures.seasons.each})
    rows["estimate"] = [_estimate(of, told, o) for of in figures.seasons.each]
    lead = " ".join([stand, *opening(o, figures.intake["pools"].accepted)])
    return Section(key, title, lead, words=[change], tables=[table("Season by season", rows, SEASONS)])


def _reached(figures: Figures) -> Section:
    reach, gaps, pools = figures.forage_in_reach, figures.gaps, figures.plan.pools
    key, title = "reach", "Flowers within reach"
    if not known(reach.now):
        return Section(key, title, "Without land cover it is not known what the flies can reach.")
    low, ends = percent(reach.low, 1), _range(reach.low, reach.high, 1)
    picture = [Drawing(rising([Level(*row) for row in figures.how_many], pools, str(READING)), str(READING))]
    return Section(
        key,
        title,
        f"Of all the forage that flowers offer in the area, {percent(reach.now, 1)} lies within flight of a "
        f"breeding place that is likely occupied{f' ({ends}, for what is not known about occupancy)' * (ends != low)}. "
        f"{count(gaps.count, 'gap')} with {percent(gaps.share)} of the forage "
        f"{'is' if gaps.count == 1 else 'are'} probably out of reach.",
        words=[str(enough(figures) or "")],
        drawings=picture,
    )


SITES: dict[str, Column] = {
    "Site": lambda row: str(row["id"]),
    "Where": lambda row: row["place"] or "unnamed land",
    "Consent": lambda row: CONSENT.get(row["consent"], row["consent"]),
    "In reach": lambda row: percent(row["gain"], 2, signed=True),
    "Served": lambda row: _served(row["served_closed"], row["served_open"]),
    "Stays": share("robustness"),
}


def _served(closed: float, open_: float) -> str:
    """What a site adds to the forage likely served, by where flies come from: "+0.36 to 0.53 %"."""
    return f"+{_range(closed, open_, 2)}" if known(closed) and known(open_) else UNKNOWN


def _range(one: float, other: float, digits: int) -> str:
    """Two shares as a range, the lower one first; one percentage where they are printed alike."""
    low, high = sorted(round(share, digits + 2) + 0.0 for share in (one, other))
    return span(low, high, digits)


def _next(result: Result) -> Section:
    figures, plan, key, title = result.figures, result.figures.plan, "next", "The sites"
    if not plan.pools:
        why = plan_note(plan) or "no pool was asked for"
        return Section(key, title, f"No site for a new pool is suggested: {why}.")
    more = f"The first {SHOWN_SITES} of {plan.pools} sites; " if plan.pools > SHOWN_SITES else ""
    caption = sentence(
        f"{more}each adds, in shares of the area's forage and after those before it. In reach: if occupied as today's "
        f"searches expect. Served: likely, over the next {figures.served.years} years, from mapped places only and "
        "from everywhere. Stays: in the plan, share of the simulations"
    )
    lead = reach_with_plan(figures) if likely_served(figures) else "The most helpful site comes first."
    return Section(key, title, lead, tables=[table(caption, result.plan.head(SHOWN_SITES), SITES)])


def _where(result: Result) -> Section:
    """The map of the sites and of the pools that stand on public land."""
    hidden = "Sites on private land are left off the map: there, hosts are sought by street."
    words = ["" if may_be_placed(result.plan).all() else hidden]
    left_off = int(((result.pools["standing"] == "yes") & ~may_be_placed(result.pools)).sum())
    words += [f"{count(left_off, 'pool')} on private land {'is' if left_off == 1 else 'are'} left off the map."] * (
        left_off > 0
    )
    svg = plan_sheet(result).svg("The suggested sites", result.credits)
    said = f"The suggested sites{', and standing pools' if result.figures.pools_standing else ''}"
    return Section("where", "Where", "The sites are named as in the list.", words=words, drawings=[Drawing(svg, said)])


def _cost(figures: Figures) -> str:
    plan = figures.plan
    if plan.spending is None:
        return "Cost: none is stated in area.toml, so none is shown."
    spent, budget = (_amount(value, plan.spending.cost_unit) for value in (plan.spending.spent, plan.spending.budget))
    return f"Cost: {spent} of a budget of {budget}, by the costs in area.toml."


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
