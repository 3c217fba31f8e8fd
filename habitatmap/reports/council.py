"""The report for a committee or a funder: two pages, as PDF and as HTML, of plain sentences.

The question to decide, reasons for the plan, what was found, the sites, what is not known. Every number is one of
summary.json's, rounded, or a count of the plan's rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from habitatmap.export.folder import Content, write_files
from habitatmap.export.summary import summary_text
from habitatmap.page.drawings import Level, rising
from habitatmap.page.sections import Column, Drawing, Row, Section, report_page, share, table
from habitatmap.paper.pictures import plan_sheet
from habitatmap.paper.printed import sections_pdf
from habitatmap.privacy import may_be_placed
from habitatmap.result import Figures, Result
from habitatmap.survey.figures import OccupancyFigures, SeasonFigures
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.terms import Consent, SiteState
from habitatmap.vocabulary.where import said_kind
from habitatmap.words.bases import trend
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.cautions import for_committee, sentences
from habitatmap.words.gaps import gaps_told, out_of_reach_yet_no_gap
from habitatmap.words.headline import missing_sentences, reach_with_plan
from habitatmap.words.how_many import READING, enough
from habitatmap.words.numbers import UNKNOWN, count, known, listed, number, percent, sentence, span
from habitatmap.words.plan import POOLS, plan_note
from habitatmap.words.sentences import Sentence, apart, following, say
from habitatmap.words.served import beside_the_headline, digits_of, likely_served
from habitatmap.words.sites import in_hand, refusals_told
from habitatmap.words.survey import opening
from habitatmap.words.where import told_place

FOOTER = "For the committee and the funder. It names land and consent: public_map.html is the page for everybody."
KIND = "Report"
SHOWN_SITES = 10
SHOWN_PARCELS = 4
MOSTLY = 0.5  # of the simulations
CONSENT = {Consent.YES: "given", Consent.ASK: "to be asked", Consent.PROVISIONAL: "not known"}


def write_report(result: Result, folder: str | Path, spoken: Catalogue = ENGLISH) -> None:
    """Writes report.pdf, report.html and the summary.json they were made from into `folder`, whole or not at all."""
    pdf, page = report_pdf(result, spoken), report_html(result, spoken)
    files: dict[str, Content] = {"report.pdf": pdf, "report.html": page, "summary.json": summary_text(result)}
    write_files(folder, files, "report")


def report_pdf(result: Result, spoken: Catalogue = ENGLISH) -> bytes:
    """The report on two pages."""
    subtitle = say("{kind}, as of {day}", kind=Sentence(KIND), day=result.figures.as_of)
    pages = [first_page(result), second_page(result)]
    return sections_pdf(result.title, subtitle, FOOTER, pages, spoken, one_page_each=True)


def report_html(result: Result, spoken: Catalogue = ENGLISH) -> str:
    """The same as a page for a screen."""
    sections = [*first_page(result), *second_page(result)]
    as_of = say("As of {day}", day=result.figures.as_of)
    return report_page(result.title, KIND, as_of, sections, spoken, data_pictures=True)


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
    one = "Shall a pool be installed at the site listed below?"
    lead = say(one if len(plan) == 1 else "Shall {n} pools be installed at the sites listed below?", n=len(plan))
    vote = "□ Yes   □ No" if len(plan) == 1 else "□ Yes   □ No   □ Yes, but only at the first ____ sites of the list"
    given = int(((plan["consent"] == Consent.YES) | (plan["state"] == SiteState.AGREED)).sum())
    needs = Sentence("Consent is on record for all sites.")
    if given < len(plan):
        some = "Asked of the owners: consent in writing for {sites} (it is given for {n})."
        every = "Asked of the owners: consent in writing for all sites."
        needs = say(some if given else every, sites=count(len(plan) - given, "site"), n=given)
    care = following(
        needs,
        Sentence("Asked of the crew: to install the pools with the care described at the end."),
        Sentence("Asked of the group: to look after every pool through the season and in every week of drought."),
    )
    order = "The list is in order of help: it can be cut after any site." if len(plan) > 1 else ""
    return Section(
        "question", "The question", lead, words=[vote, _land(result), _cost(result.figures), care, order, _also(plan)]
    )


def _land(result: Result) -> Sentence:
    """On whose land the sites are, the parcel with most of them first."""
    private = int((result.plan["private"] == "yes").sum())
    own = result.places[(result.places["suggestions"] > 0) & (result.places["private"] != "yes")]
    own = own.sort_values("suggestions", ascending=False, kind="stable")
    named = [
        say(
            "{land} ({sites}, consent {consent})",
            land=told_place(row["place"] or said_kind(row["kind"])),
            sites=count(row["suggestions"], "site"),
            consent=_consent(row),
        )
        for row in own.head(SHOWN_PARCELS).to_dict("records")
    ]
    rest = int(own["suggestions"].iloc[SHOWN_PARCELS:].sum())
    named += [say("other parcels ({sites})", sites=count(rest, "site"))] if rest else []
    there = "private land, where hosts are to be found ({sites})"
    named += [say(there, sites=count(private, "site"))] if private else []
    nobody = Sentence("Land: who owns it is not known; no site is firm before that is.")
    return say("Land: {land}.", land=listed(named)) if named else nobody


def _also(plan: pd.DataFrame) -> Sentence:
    """Authorities that have a say besides the owners."""
    whom = dict.fromkeys(part for also in plan["also_ask"] for part in str(also).split("; ") if part)
    return say("To be asked as well: {whom}.", whom=listed(list(map(Sentence, whom)))) if whom else Sentence("")


def _reasons(result: Result) -> Section:
    """Three reasons for the plan: what it serves, against other ways to choose, and how sure its sites are."""
    figures = result.figures
    served = likely_served(figures)
    serves = served or reach_with_plan(figures)
    besides = following(*beside_the_headline(figures)) if served else Sentence("")
    digits = digits_of(figures.served)
    others = [
        say("{pools}: {share}", pools=Sentence(POOLS[rule]), share=_range(*share, digits))
        for rule, share in figures.served.rules.items()
        if known(min(share)) and known(max(share))
    ]
    best = (
        say("With as many by a rule of thumb: {others}.", others=apart(others)) if served and others else Sentence("")
    )
    kept = result.plan["robustness"].dropna()
    sure = (
        say(
            "{n} of {of} sites stay in the plan in at least {share} of the simulations of what is not known. The "
            "team's map shows around each site where a pool serves as well.",
            n=int((kept >= MOSTLY).sum()),
            of=len(kept),
            share=percent(MOSTLY),
        )
        if len(kept)
        else Sentence("How sure each site is has not been worked out.")
    )
    reasons = [part for part in (serves, following(best, besides), sure) if part]
    lead, *words = [say("{n}. {reason}", n=i, reason=reason) for i, reason in enumerate(reasons, start=1)]
    return Section("reasons", "Three reasons for it" if words[1:] else "Reasons for it", lead, words=words)


SEASONS: dict[str, Column] = {
    "Season": lambda row: str(row["of"].season),
    "Pools searched": lambda row: number(row["of"].pools_visited),
    "Searches": lambda row: number(row["of"].searches),
    "Detections": lambda row: number(row["of"].detections),
    "Naive occupancy": lambda row: percent(row["of"].naive),
    "Estimated occupancy": lambda row: row["estimate"],
}


def _found(figures: Figures) -> Section:
    """What was done and found: pools, searches season by season, occupancy."""
    o, standing = figures.occupancy, figures.pools_standing
    some = "{pools} stands on the day of this report." if standing == 1 else "{pools} stand on the day of this report."
    stand = say(some if standing else "No pool stands on the day of this report.", pools=count(standing, "pool"))
    key, title = "found", "What was done and found"
    if not o.pools_visited:
        nothing = Sentence("No pool has been searched yet, so nothing is known of larvae.")
        return Section(key, title, following(stand, nothing))
    several = len(figures.seasons.each) > 1
    change = say("Against the season before: {trend}.", trend=trend(figures.seasons)) if several else ""
    told = dict(zip(o.seasons, o.together, strict=True))
    rows: list[Row] = [{"of": of, "estimate": _estimate(of, told, o)} for of in figures.seasons.each]
    lead = following(stand, *opening(o, figures.pools_on_record))
    return Section(key, title, lead, words=[change], tables=[table("Season by season", rows, SEASONS)])


def _reached(figures: Figures) -> Section:
    reach, gaps, pools = figures.forage_in_reach, figures.gaps, figures.plan.pools
    key, title = "reach", "Flowers within reach"
    if not known(reach.now):
        return Section(key, title, "Without land cover it is not known what the flies can reach.")
    low, ends = percent(reach.low, 1), _range(reach.low, reach.high, 1)
    levels = [Level(*row) for row in figures.how_many]
    picture = [Drawing(lambda spoken: rising(levels, pools, spoken.say(READING)), READING)]
    within = "Of all the forage that flowers offer in the area, {now} lies within flight of a breeding place that is "
    within += "likely occupied ({ends}, for what is not known about occupancy)." if ends != low else "likely occupied."
    are = "{gaps} with {share} of the forage is probably out of reach."
    if gaps.count != 1:
        are = "{gaps} with {share} of the forage are probably out of reach."
    return Section(
        key,
        title,
        following(
            say(within, now=percent(reach.now, 1), ends=ends),
            gaps_told(gaps, are),
            *out_of_reach_yet_no_gap(reach.now, gaps.share),
        ),
        words=[enough(figures) or ""],
        drawings=picture,
    )


SITES: dict[str, Column] = {
    "Site": lambda row: str(row["id"]),
    "Where": lambda row: told_place(row["place"]),
    "Consent": lambda row: _consent(row),
    "In reach": lambda row: percent(row["gain"], 2, signed=True),
    "Served": lambda row: _served(row["served_closed"], row["served_open"]),
    "Stays": share("robustness"),
}


def _state(row: Row) -> Sentence:
    """The consent of the land, or how far the site has come where somebody has begun."""
    return _consent(row) if row["state"] == SiteState.TO_ASK else Sentence(row["state"])


def _consent(row: Row) -> Sentence:
    return Sentence(CONSENT.get(row["consent"], "") or str(row["consent"]))


def _served(closed: float, open_: float) -> Sentence:
    """What a site adds to the forage likely served, by where flies come from: "+0.36 to 0.53 %"."""
    return say("+{range}", range=_range(closed, open_, 2)) if known(closed) and known(open_) else Sentence(UNKNOWN)


def _range(one: float, other: float, digits: int) -> Sentence:
    """Two shares as a range, the lower one first; one percentage where they are printed alike."""
    low, high = sorted(round(share, digits + 2) + 0.0 for share in (one, other))
    return span(low, high, digits)


def _next(result: Result) -> Section:
    figures, plan, key, title = result.figures, result.figures.plan, "next", "The sites"
    if not plan.pools:
        why = plan_note(plan) or Sentence("no pool was asked for")
        return Section(key, title, say("No site for a new pool is suggested: {why}.", why=why))
    each = (
        "each adds, in shares of the area's forage and after those before it. In reach: if occupied as today's "
        "searches expect. Served: likely, over the next {years} years, from mapped places only and from everywhere. "
        "Stays: in the plan, share of the simulations"
    )
    more = plan.pools > SHOWN_SITES
    told = f"The first {{n}} of {{of}} sites; {each}" if more else sentence(each)
    caption = say(str(told), n=SHOWN_SITES, of=plan.pools, years=figures.served.years)
    lead = reach_with_plan(figures) if likely_served(figures) else "The most helpful site comes first."
    shown, columns = result.plan.head(SHOWN_SITES), SITES
    if (shown["state"] != SiteState.TO_ASK).any():
        columns = {name: _state if name == "Consent" else told for name, told in SITES.items()}
    words = [part for part in (in_hand(plan), *refusals_told(plan)) if part]
    return Section(key, title, lead, words=words, tables=[table(caption, shown, columns)])


def _where(result: Result) -> Section:
    """The map of the sites and of the pools that stand on public land."""
    hidden = "Sites on private land are left off the map: there, hosts are sought by street."
    words: list[str] = ["" if may_be_placed(result.plan).all() else hidden]
    left_off = int(((result.pools["standing"] == "yes") & ~may_be_placed(result.pools)).sum())
    off = (
        "{pools} on private land is left off the map."
        if left_off == 1
        else "{pools} on private land are left off the map."
    )
    words += [say(off, pools=count(left_off, "pool"))] * (left_off > 0)
    sheet, lead = plan_sheet(result), "The sites are named as in the list."
    said = "The suggested sites, and standing pools" if result.figures.pools_standing else "The suggested sites"
    picture = Drawing(lambda spoken: sheet.svg("The suggested sites", result.credits, spoken), said)
    return Section("where", "Where", lead, words=words, drawings=[picture])


def _cost(figures: Figures) -> Sentence:
    plan = figures.plan
    if plan.spending is None:
        return Sentence("Cost: none is stated in area.toml, so none is shown.")
    spent, budget = (_amount(value, plan.spending.cost_unit) for value in (plan.spending.spent, plan.spending.budget))
    return say("Cost: {spent} of a budget of {budget}, by the costs in area.toml.", spent=spent, budget=budget)


def _not_known(result: Result) -> Section:
    figures, reach = result.figures, result.figures.forage_in_reach
    lead, *words = missing_sentences(figures) or ["No kind of input is missing."]
    if known(reach.measured_share):
        measured = (
            "{share} of the forage lies on land whose value is not assumed; on the rest, what gardens and mown grass "
            "offer is assumed."
        )
        words.append(say(measured, share=percent(reach.measured_share)))
    medians = reach.by_forage_median_m
    if all(map(known, medians.values())):
        each = "{share} if half of the flights end within {m} m"
        said = listed([say(each, share=percent(of), m=str(m)) for m, of in medians.items()])
        judged = "How far the flies fly for food is expert judgement. In reach now would be {shares}."
        words.append(say(judged, shares=said))
    words.append("The estimate of occupancy describes pools where people put them; it applies only to similar sites.")
    cautions = sentences(for_committee(result.settings))
    return Section("not-known", "What is not known", lead, words=words, cautions=cautions)


def _amount(value: float, unit: str) -> Sentence:
    told = "{n} {unit}" if unit else "{n}"
    return say(told, n=number(value, 0 if float(value).is_integer() else 2), unit=unit)


def _estimate(of: SeasonFigures, told: Mapping[int, Estimate], headline: OccupancyFigures) -> Sentence:
    """The estimate of a season with its interval, by the model of the headline, or what stands for it."""
    if not headline.known or of.season is None or of.season > (headline.season or of.season):
        return Sentence("too few to estimate")
    value, low, high = headline.estimate, headline.low, headline.high
    if headline.method is Method.SEASONS:
        value, low, high = told[of.season].value, told[of.season].low, told[of.season].high
    return say("{value} ({range})", value=percent(value), range=span(low, high))
