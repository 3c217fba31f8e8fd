"""The survey as a page of sections, as tables and as a few lines for the terminal."""

from __future__ import annotations

import calendar
import math
from collections.abc import Mapping, Sequence
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from habitatmap.export.folder import Content, write_files
from habitatmap.export.formats import plain
from habitatmap.page.drawings import Mark, bars, intervals
from habitatmap.page.sections import Column, Drawing, Section, Table, aligned, interval, report_page, share, table
from habitatmap.reports.pool_pictures import by_date, in_order, on_a_map, two_by_two, visits_in_words
from habitatmap.survey.account import SURE, WANTED_ERRORS, Account, Budget
from habitatmap.survey.codes import Difference
from habitatmap.survey.constant import WhatIf
from habitatmap.survey.effort import HELPS, blank_visits
from habitatmap.survey.figures import SeasonFigures
from habitatmap.survey.fit import OneNumber
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.seasons import Part
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.note import Note
from habitatmap.words.bases import (
    basis,
    clustering,
    goodness,
    noted,
    occupancy_part,
    period,
    prior_words,
    reasons,
    season_rows,
    seasons_part,
    species_rows,
    told_pools,
    trend,
    worded,
)
from habitatmap.words.bases import told as said
from habitatmap.words.cautions import Caution, sentences
from habitatmap.words.numbers import count, known, listed, number, percent, points, sentence, span

# what a covariate is called on the page
COVARIATES = {
    "volume_l": "volume in litres",
    "age_days": "days the pool had stood when the season's searches began",
    "forage_score": "forage within flight (0-1)",
    "dead_wood_score": "dead wood within flight (0-1)",
    "places_near": "breeding places in reach (likely occupied ones, each weighted by distance)",
    "days_out": "days since the pool was installed",
}
SEASON_PARTS = {
    Part.FIRST: "occupied in the first season",
    Part.COLONISED: "an empty pool is colonised by the next season",
    Part.LOST: "an occupied pool is empty in the next season",
    Part.DETECTION: "detection",
    Part.LAST_LESS_FIRST: "last season minus the first",
}
DESIGN_WORDS = {"standard": "the same number of visits at every pool", "removal": "stop at the first detection"}
SHARE_OF_POOLS = "From 0 to 100 % of pools."


def write_survey(
    told: Account,
    folder: str | Path,
    more: Sequence[Section] = (),
    tables: Mapping[str, pd.DataFrame] | None = None,
    summary: Mapping[str, object] | None = None,
) -> None:
    """Writes the page and the tables into `folder`, which is replaced in one step.

    `more` sections come last, `tables` by file name beside our own, `summary` into survey.json.
    """
    files: dict[str, Content] = {
        "survey.html": survey_page(told, more),
        "pools.csv": pool_rows(told),
        "estimates.csv": estimates(told),
        "models.csv": models(told),
        "effects.csv": told.effects,
        "effort.csv": told.effort,
        "survey.json": {**survey_summary(told), **(summary or {})},
    }
    write_files(folder, files | dict(tables or {}))


def survey_page(told: Account, more: Sequence[Section] = ()) -> str:
    """survey.html."""
    as_of = f"As of {told.records.as_of.isoformat()}. For the team: it names pools and observers."
    return report_page(told.records.title, "Occupancy of the pools", as_of, [*sections(told), *more])


# --- figures as tables -----------------------------------------------------------------------------------------------


class About(StrEnum):
    """What an estimate is about."""

    NAIVE = "naive occupancy"
    OCCUPANCY = "occupancy"
    DETECTION = "detection"
    WHAT_IF = "what-if"
    SPECIES = "species"
    SEASON = "season"
    CHANGE = "change"


Ends = tuple[float, float, float]  # a value and the ends of its 95 % interval
MAXIMUM, PROFILE = "maximum likelihood", "profile likelihood"
POSTERIOR = "posterior mean and central interval, summed on a grid"


class Line(NamedTuple):
    """A line of estimates.csv, and what it is about."""

    about: About
    figure: str
    ends: Ends
    se: float
    method: str
    basis: str


def estimates(told: Account) -> pd.DataFrame:
    """estimates.csv: figure, value, low, high (95 %), se, method, basis - every figure about the survey as a whole."""
    rows = [(line.figure, *line.ends, line.se, line.method, line.basis) for line in _lines(told)]
    return pd.DataFrame(rows, columns=["figure", "value", "low", "high", "se", "method", "basis"])


def _lines(told: Account) -> list[Line]:
    s, nan, b, f = told.known.figures, np.nan, told.blocks, told.false_positives
    estimate, from_what = _ends(s), basis(s)
    detection = OneNumber(nan, nan, nan, nan) if told.few else told.fit.one("p")
    resampled = "" if b.why else f"{b.towns} resamples of squares of {b.side_m:g} m"
    what_if = "occupancy, if {} of searches at empty pools are false positives"
    pools, detected, prior = About.OCCUPANCY, About.DETECTION, prior_words(told.known.prior)
    lines = [
        Line(About.NAIVE, "naive occupancy", (s.naive, nan, nan), nan, "pools with larvae / pools searched", ""),
        Line(pools, "occupancy", estimate, s.se, f"{MAXIMUM}, {PROFILE}", from_what),
        Line(detected, "detection", detection[:3], detection.se, "the same fit", from_what),
        Line(pools, "occupancy, whole squares resampled", (estimate[0], b.low, b.high), nan, resampled, _why(b.why)),
        *(
            Line(about, f"{about}, Bayesian estimate", (value, low, high), se, POSTERIOR, prior)
            for about, (value, low, high, se) in ((pools, told.weak.one("psi")), (detected, told.weak.one("p")))
        ),
        *(
            Line(About.WHAT_IF, what_if.format(_rate(w)), (w.psi, w.low, w.high), nan, f"what-if, {PROFILE}", "")
            for w in s.false_positives
        ),
        Line(pools, "occupancy, error rate from verified records", (f.psi, f.low, f.high), nan, MAXIMUM, _why(f.why)),
    ]  # fmt: skip
    named = [(About.SPECIES, f"occupancy of {taxon}", figures) for taxon, figures in told.species[1:]]
    named += [(About.SEASON, f"occupancy in {figures.season}", figures) for figures in told.seasons.each]
    lines += [Line(about, name, _ends(figures), figures.se, MAXIMUM, basis(figures)) for about, name, figures in named]
    change = [
        (row["part"], (row["estimate"], row["low"], row["high"])) for row in told.seasons.change.to_dict("records")
    ]
    shown = trend(told.seasons)
    return lines + [Line(About.CHANGE, f"between seasons: {part}", ends, nan, PROFILE, shown) for part, ends in change]


def pool_rows(told: Account) -> pd.DataFrame:
    """pools.csv: a row per pool."""
    return told_pools(told.pools)


def models(told: Account) -> pd.DataFrame:
    """models.csv: all models compared, the best first, then the covariates that were not tried, with the reason."""
    rest = [
        {part: name, "identifiable": False, "why": f"not tried: {said(why)}"}
        for part, name, why in told.covariates.left_out
    ]
    tried = told.models.assign(why=[reasons(why) for why in told.models["why"]])
    frame = pd.DataFrame([*tried.to_dict("records"), *rest], columns=told.models.columns)
    frame[["psi", "p"]] = frame[["psi", "p"]].fillna("")
    frame.insert(2, "covariates", (frame["psi"] != "").astype(int) + (frame["p"] != ""))
    return frame


def survey_summary(told: Account) -> dict[str, Any]:
    """survey.json: the same and everything else, None where not known."""
    psi, p, planned = told.planned
    change = told.seasons.change.to_dict("records")
    summary = {
        "title": told.records.title,
        "as_of": told.records.as_of.isoformat(),
        "occupancy": occupancy_part(told.known.figures),
        "warnings": noted(told.known.warnings),
        "estimates": estimates(told).to_dict("records"),
        "identifiable": {"yes": told.fit.identifiable, "why": reasons(told.fit.why)},
        "posterior_numerical_error": told.weak.numerical_error,
        "goodness_of_fit": _of(told.goodness, "chi_square p_value overdispersion surveys"),
        "models": models(told).to_dict("records"),
        "effects": told.effects.to_dict("records"),
        "false_positives": _of(told.false_positives, "p checked false_share why"),
        "spatial_autocorrelation": {
            "moran": _of(told.clustering, "i expected p_value why"),
            "blocks": _of(told.blocks, "low high blocks side_m why"),
        },
        "effort": told.effort.to_dict("records"),
        "effort_for": {"occupancy": psi, "detection": p, "basis": worded(planned)},
        "seasons": seasons_part(told.seasons) | {"change": change},
    }
    content: dict[str, Any] = plain(summary)
    return content


def _of(part: object, names: str) -> dict[str, object]:
    """Some fields of a part, by name; a reason as a sentence."""
    fields = {name: getattr(part, name) for name in names.split()}
    return fields | ({"why": _why(fields["why"])} if "why" in fields else {})


def survey_text(told: Account) -> str:
    """A few lines and a table for the terminal."""
    s = told.known.figures
    seen = [f"Larvae were seen in {percent(s.naive)} of them."] if s.pools_visited else []
    rows = [("", "estimate", "95 % interval")]
    rows += [(r.figure, percent(r.ends[0]), span(*r.ends[1:], unknown="-")) for r in _lines(told) if known(r.ends[0])]
    lines = [told.records.title, "", _searched(told), *seen, "", *aligned(rows), ""]
    lines += [f"{sentence(basis(s))}.", goodness(told.goodness), clustering(told.clustering)]
    lines += [f"Seasons: {trend(told.seasons)}.", *noted(told.known.warnings)]
    return "\n".join(lines) + "\n"


# --- the page, section by section ------------------------------------------------------------------------------------


def sections(told: Account) -> list[Section]:
    """The page's sections, in order."""
    return [
        _what_was_searched(told),
        _pictures(told),
        _estimate(told),
        _detection(told),
        _fits(told),
        _covariate_effects(told),
        _false_positives(told),
        _species(told),
        _each_pool(told),
        _place(told),
        _next_season(told),
        _several_seasons(told),
    ]


def _what_was_searched(told: Account) -> Section:
    searches = told.known.searches
    month = pd.Series(searches.dates[searches.rows >= 0]).dt.month
    found = pd.Series(searches.histories[searches.rows >= 0] == 1)
    per_month = [
        (calendar.month_abbr[m], int(found[month == m].sum()), int((~found[month == m]).sum()))
        for m in sorted(month.unique())
    ]
    picture = bars(per_month, "Searches by month, with and without larvae", ("larvae", "none seen"))
    left = [(reason, n) for reason, n in searches.left_out.items() if n]
    lacking = _lacking(told)
    too_few = (
        f"Too few to estimate: {lacking}. Counts are shown; where a probability is needed, it rests on a stated expert "
        "value."
    )
    return Section(
        "searched",
        "What was searched",
        _searched(told),
        words=[
            "Only searches count: a visit that found the pool dry, frozen or gone, or did not reach it, says nothing "
            "about larvae, nor does a search within a week of installing. They stay in the records. One estimate takes "
            "the searches of one calendar year.",
        ],
        drawings=[Drawing(picture, "Searches by month: filled where larvae were seen, outlined where none were.")],
        tables=[
            Table("Searches by month", ["Month", "Larvae", "None seen"], per_month),
            Table("Visits left out of the estimate", ["Why", "Visits"], left),
        ],
        cautions=[too_few if lacking else "", *noted(told.known.warnings)],
    )


def _pictures(told: Account) -> Section:
    beside = two_by_two(told)
    return Section(
        "pictures",
        "Pools, visits and probabilities",
        "",
        words=[words for _, words in beside],
        drawings=[in_order(told), by_date(told), on_a_map(told), *(picture for picture, _ in beside)],
        tables=[visits_in_words(told)],
    )


def _searched(told: Account) -> str:
    searches, s = told.known.searches, told.known.figures
    pools, left = len(searches.pools), sum(searches.left_out.values())
    if not pools:
        return "There is no pool yet."
    if not s.pools_visited:
        return f"No search counts for any of {count(pools, 'pool')}."
    said = f"{s.pools_visited} of {count(pools, 'pool')} were searched, "
    said += f"{count(s.searches, 'time')} in all, {period(s)}"
    were = "was" if left == 1 else "were"
    return f"{said}; {count(left, 'visit')} {were} left out, with the reason." if left else f"{said}."


def _lacking(told: Account) -> str:
    """What is missing for an estimate; "" where the searches are enough."""
    s = told.known.figures
    return listed([said(note) for note in s.why]) if s.method is Method.TOO_FEW else ""


def _estimate(told: Account) -> Section:
    s, few = told.known.figures, told.few
    lead = f"Larvae were seen in {percent(s.naive)} of the pools searched. " if s.pools_visited else ""
    marks = [Mark("seen", s.naive, said=percent(s.naive))] if s.pools_visited else []
    if few:
        lacking = _lacking(told)
        why = f"too few to estimate: {lacking}" if lacking else f"not estimated: {reasons(told.fit.why)}"
        lead += f"How many hold larvae: {why}."
    else:
        lead += (
            f"A search can miss them, so more pools hold larvae: about {percent(s.estimate)}. "
            f"Anything from {percent(s.low)} to {percent(s.high)} would fit the searches."
        )
        marks.append(_mark("estimated", s.estimate, s.low, s.high))
        if not np.isnan(told.blocks.low):
            marks.append(_mark("the same, whole squares resampled", None, told.blocks.low, told.blocks.high))
    marks.append(_mark("Bayesian estimate", *told.weak.one("psi")[:3]))
    rows = [
        (line.figure, percent(line.ends[0]), span(*line.ends[1:]), line.method, line.basis)
        for line in _lines(told)
        if line.about in (About.NAIVE, About.OCCUPANCY)
    ]
    heads = ["Figure", "Share of pools", "95 % interval", "Method", "Based on"]
    return Section(
        "estimate",
        "How many pools hold larvae",
        lead,
        words=[
            "" if told.fit.identifiable else f"The searches alone give no regular estimate: {reasons(told.fit.why)}.",
            f"Of what is known about it, {percent(s.from_data)} came from the searches and the rest from the expert "
            f"value ({prior_words(told.known.prior)}). The map uses this Bayesian estimate. It was summed on a grid; a "
            f"grid half as fine gives the same to {count(_decimals(told.weak.numerical_error), 'decimal')}.",
            "All this describes pools where people put them. It applies only to similar sites.",
        ],
        drawings=[Drawing(intervals(marks, "Naive and estimated occupancy, 0 to 100 %"), SHARE_OF_POOLS)],
        tables=[Table("Naive and estimated occupancy", heads, rows)],
    )


def _detection(told: Account) -> Section:
    p, low, high, _ = (told.weak if told.few else told.fit).one("p")
    lead = f"A search of a pool with larvae detects them about {_times(p)}: detection {percent(p)} ({span(low, high)})."
    if told.few:
        lead += " This rests on an expert value, as the searches are too few."
    found = [(k, 1 - (1 - p) ** k, 1 - (1 - low) ** k, 1 - (1 - high) ** k) for k in range(1, 9)]
    marks = [_mark(count(k, "search", "searches"), value, least, most) for k, value, least, most in found]
    rows = [(k, percent(value), span(least, most)) for k, value, least, most in found]
    planned = worded(told.planned.basis)
    words = f"The probability that larvae which are there are seen at least once in so many searches ({planned})."
    what = "Probability of having seen the larvae, by number of searches"
    heads = ["Searches", "Probability of detection", "95 % interval"]
    return Section(
        "detection",
        "How easily larvae are missed",
        lead,
        words=[words],
        drawings=[Drawing(intervals(marks, what), "From 0 to 100 %.")],
        tables=[Table("Seen at least once, where larvae live", heads, rows)],
    )


def _fits(told: Account) -> Section:
    g = told.goodness
    commonest = g.histories.sort_values(["observed", "history"], ascending=[False, True]).head(12)
    columns: dict[str, Column] = {
        "History": "history",
        "Sites with these searches": "sites",
        "Seen": "observed",
        "Expected": lambda h: f"{h['expected']:.1f}",
    }
    widened = "Every interval is widened by it."
    caption = "The commonest histories: 1 larvae, 0 none seen, a dot no search"
    return Section(
        "fit",
        "Does the model fit",
        goodness(g),
        words=[
            "The check compares how often each history of searches was seen and how often the model expects it, with "
            "surveys simulated from the model (MacKenzie & Bailey 2004). Overdispersion near 1 is as it should be; "
            "above it, the intervals are too narrow by its square root.",
            widened if not told.few and g.overdispersion > 1 else "",
        ],
        tables=[table(caption, commonest, columns)] if g.surveys else [],
    )


EFFECTS: dict[str, Column] = {
    "Covariate": lambda row: _named(row["covariate"]),
    "Of": "part",
    "From - to": lambda row: f"{row['from']} to {row['to']}",
    "Probability": lambda row: f"{percent(row['probability_from'])} to {percent(row['probability_to'])}",
    "Difference in points": lambda row: points(row["difference"], row["low"], row["high"]),
    "Odds per s.d.": lambda row: number(row["odds_per_sd"], 2),
    "Distinguishable": "words",
}
MODELS: dict[str, Column] = {
    "Occupancy by": lambda row: _terms(row["psi"]),
    "Detection by": lambda row: _terms(row["p"]),
    "Coefficients": "coefficients",
    "AIC": lambda row: "" if np.isnan(row["aic"]) else f"{row['aic']:.1f}",
    "Above the best": lambda row: number(row["delta"], 1),
    "Weight": lambda row: number(row["weight"], 2),
    "Remark": lambda row: reasons(row["why"]),
}


def _covariate_effects(told: Account) -> Section:
    detections, compared = told.known.figures.detections, len(told.effects)
    apart = told.effects.loc[told.effects["words"] == Difference.DIFFER, "covariate"]
    if told.few:
        lead = "The searches are too few to show covariate effects."
    elif len(apart):
        names = listed([_named(name) for name in dict.fromkeys(apart)])
        lead = (
            f"{len(apart)} of {count(compared, 'comparison')} {'shows' if len(apart) == 1 else 'show'} a difference "
            f"({names}); one in twenty does so by chance alone. Nothing else distinguishes the pools."
        )
    else:
        lead = "No difference shows: nothing that was noted about the pools and the searches distinguishes them."
    note = (
        "Each by itself, under a weak prior. Numbers are compared between their quartiles, kinds with the commonest "
        "one. Of many comparisons one in twenty shows a difference by chance. The figures are means over simulations "
        "of the posterior, good to about a fortieth of the width of their interval."
    )
    return Section(
        "covariates",
        "Covariate effects",
        lead,
        words=[
            f"{sentence(count(detections, 'detection'))} can tell at most "
            f"{count(detections // PER_COVARIATE, 'coefficient')} (one per {PER_COVARIATE}, common practice). The list "
            "of models was fixed before the searches were read: none, then each covariate alone; all are shown. A "
            "difference is no cause: pools were not assigned at random."
        ],
        tables=[
            table("Covariate effects on occupancy and on detection", told.effects, EFFECTS, note),
            table(
                "All models that were compared, the best first",
                told.models,
                MODELS,
                " ".join(f"{name} was left out: {said(why)}." for _, name, why in told.covariates.left_out),
            ),
        ],
    )


def _false_positives(told: Account) -> Section:
    s, f = told.known.figures, told.false_positives
    marks = [] if told.few else [_mark("none", *_ends(s))]
    marks += [_mark(_rate(case), case.psi, case.low, case.high) for case in s.false_positives]
    words = f"The verified records are too few to tell the rate of false positives: {_why(f.why)}. "
    words += "Have some larvae checked."
    if not f.why:
        marks.append(_mark("error rate from verified records", f.psi, f.low, f.high))
        words = (
            f"By the verified records, {percent(f.false_share)} of the searches of empty pools are false positives; "
            f"then {percent(f.psi)} of the pools are occupied ({span(f.low, f.high)})."
        )
    if told.few:
        lead = "The searches are too few to ask what false positives would change."
    else:
        worst = s.false_positives[-1]
        lead = (
            f"If one search in twenty of an empty pool reported larvae by mistake, about {percent(worst.psi)} "
            f"of the pools would hold larvae ({span(worst.low, worst.high)}), not {percent(s.estimate)}."
        )
    rows = [(m.label, m.said, span(m.low, m.high)) for m in marks]
    what = "Occupancy with so many false positives, 0 to 100 %"
    heads = ["False positives", "Share of pools", "95 % interval"]
    return Section(
        "false-positives",
        "What if some sightings are wrong",
        lead,
        words=[words],
        drawings=[Drawing(intervals(marks, what), SHARE_OF_POOLS)],
        tables=[Table("Occupancy under false positives", heads, rows)],
    )


def _species(told: Account) -> Section:
    kinds = len(told.species) - 1
    lead = "No larvae were checked to a species: everything here is about the group."
    if kinds > 0:
        lead = (
            f"{count(kinds, 'kind')} {'was' if kinds == 1 else 'were'} named by a check; each is fitted apart from the "
            "rest."
        )
    columns: dict[str, Column] = {
        "Kind": "taxon",
        "Detections": "detections",
        "Visits with species checked": "searches",
        "Naive occupancy": share("naive"),
        "Estimated occupancy": share("estimate"),
        "95 % interval": interval(),
        "Based on": "basis",
    }
    return Section(
        "species",
        "Which kinds",
        lead,
        words=[
            "Rat-tailed larvae can be identified as a group in the field; a species needs somebody who knows it. "
            "Larvae that nobody checked count for no species."
        ],
        tables=[table("The group, and each checked kind", pd.DataFrame(species_rows(told.species)), columns)],
    )


POOLS: dict[str, Column] = {
    "Pool": "pool",
    "Searches": "searches",
    "Detections": "detections",
    "Probability": share("occupancy"),
    "95 % interval": interval("occupancy_low", "occupancy_high"),
    "More non-detections needed": lambda row: number(row["more_needed"]),
    "Value of a search": lambda row: f"{row['value']:.3f}",
    "Based on": "basis",
}


def _each_pool(told: Account) -> Section:
    psi, p, planned = told.planned
    needed = blank_visits(p, SURE, psi)
    frame = pool_rows(told).assign(found=told.pools["detections"] > 0)
    frame = frame.sort_values(["found", "value", "pool"], ascending=[True, False, True])
    after = [
        (k, percent(psi * (1 - p) ** k / (1 - psi + psi * (1 - p) ** k))) for k in dict.fromkeys([*range(7), needed])
    ]
    note = (
        f"More non-detections needed: until the pool is empty with {percent(SURE)} certainty. Value of a search: how "
        "much one more search is expected to settle (0 nothing, 0.25 everything). Pools without a detection come "
        "first, those with the highest value on top."
    )
    return Section(
        "pools",
        "Is this pool empty",
        f"A pool that was never searched holds larvae with a probability of about {percent(psi)}. It takes "
        f"{count(needed, 'search', 'searches')} in a row without larvae to be {percent(SURE)} sure that it is empty.",
        words=[
            f"Calculated with {worded(planned)}: occupancy {percent(psi)}, detection {percent(p)}. The probability of "
            "each pool below is conditional on its own searches; where larvae were seen this season it is 100 %."
        ],
        tables=[
            Table("After so many non-detections", ["Non-detections", "Probability that larvae are there"], after),
            table("Every pool, and where one more search teaches most", frame, POOLS, note),
        ],
    )


def _place(told: Account) -> Section:
    b = told.blocks
    squares = (
        f"An interval that takes whole squares of {b.side_m:g} m, not single pools, as what was sampled: "
        f"{span(b.low, b.high)} ({b.blocks} squares, {b.towns} resamples)."
    )
    here, sites = len(told.known.searches.pools), told.fit.n_sites
    return Section(
        "place",
        "Where the pools stand",
        clustering(told.clustering),
        words=[
            f"An interval by whole squares cannot be given: {_why(b.why)}." if b.why else squares,
            f"Pools were put where people had land and permission, not at random. {count(here, 'pool')}, "
            f"{count(sites, 'searched site')}: pools within the distance merge_m of each other count once. The map of "
            "occupancy is grey where no pool like it was searched.",
        ],
    )


def _next_season(told: Account) -> Section:
    psi, p, planned = told.planned
    standard, budget = told.effort.iloc[0], told.budget
    stand = int(standard["standing"])

    def wanted(error: float) -> Column:
        column = f"pools_for_{error:g}"
        most = f"more than the {count(stand, 'pool')} that {'stands' if stand == 1 else 'stand'}"
        return lambda row: row[column] if row[column] <= stand or not stand else most

    columns: dict[str, Column] = {
        "Design": lambda row: DESIGN_WORDS[row["design"]],
        "Best number of visits": "best_visits",
        **{f"Pools for an error of {100 * e:g} points": wanted(e) for e in WANTED_ERRORS},
        "From the budget": lambda row: f"{count(row['visits'], 'visit')}, {count(row['pools'], 'pool')}",
        "Hours that takes": lambda row: number(row["hours_needed"], 1),
        "Error then, points": lambda row: f"{100 * row['error']:.1f}",
    }
    given = "as given" if budget.hours is not None else "as much as this season took"
    pools = told.pools[told.pools["stands"]].sort_values(["value", "pool"], ascending=[False, True])
    top = pools.head(5)["pool"].tolist()
    return Section(
        "effort",
        "Next season's visits",
        _paid_for(standard, budget),
        words=[
            f"Calculated with {worded(planned)}: occupancy {percent(psi)}, detection {percent(p)} (MacKenzie & Royle "
            f"2005). The budget is {standard['hours']:g} hours ({given}), a visit takes {budget.visit_hours:g} h with "
            f"its way and a pool {budget.pool_hours:g} h besides (options --hours, --visit-hours, --pool-hours). "
            "Pools side by side count as one.",
            f"Where one more search teaches most now: {', '.join(top)}." if top else "No standing pool is known.",
        ],
        tables=[table("Both designs", told.effort, columns)],
        cautions=sentences([Caution.HYGIENE, Caution.LITTER, Caution.LOCAL]),
    )


def _paid_for(plan: pd.Series, budget: Budget) -> str:
    """What the budget pays for, never more pools than stand, and what is left of it."""
    hours, stand, pools = f"{plan['hours']:g} hours", int(plan["standing"]), int(plan["pools"])
    error = f"and leave a standard error of {100 * plan['error']:.0f} points"
    best = f"Visits tell most when each pool gets {plan['best_visits']} of them."
    each = f"with {count(plan['visits'], 'visit')} each"
    if not stand:
        paid = f"{hours} would pay for {count(pools, 'pool')} {each}, {error}."
        return f"No pool stands now, so this is for pools to come. {best} {paid}"
    if pools < stand:
        return f"{best} {hours} pay for {pools} of the {count(stand, 'pool')} that stand, {each}, {error}."
    said = f"{count(stand, 'pool')} {'stands' if stand == 1 else 'stand'}. {hours} pay for "
    said += f"{count(plan['visits'], 'visit')} to {'it' if stand == 1 else 'each of them'}, {error}."
    if plan["hours"] - plan["hours_needed"] < stand * budget.visit_hours:  # what is left pays for no further visit each
        return said
    enough = f"{plan['hours_needed']:g} hours are enough"
    return f"{said} {enough}: more visits would lower the error by less than {100 * HELPS:g} points."


def _several_seasons(told: Account) -> Section:
    seasons = told.seasons
    marks = [_mark(str(figures.season), *_ends(figures)) for figures in seasons.each if figures.known]
    each: dict[str, Column] = {
        "Season": "season",
        "Pools": "pools_visited",
        "Searches": "searches",
        "Naive occupancy": share("naive"),
        "Estimated occupancy": share("estimate"),
        "95 % interval": interval(),
    }
    change: dict[str, Column] = {
        "What": lambda row: SEASON_PARTS[row["part"]],
        "Estimate": share("estimate"),
        "95 % interval": interval(),
    }
    return Section(
        "seasons",
        "From season to season",
        f"{sentence(trend(seasons))}.",
        words=[
            "A change is told only from the same pools, searched in the same way, over at least three seasons "
            f"(MacKenzie et al. 2003). {count(seasons.same, 'pool')} {'was' if seasons.same == 1 else 'were'} searched "
            "in every season."
        ],
        drawings=[Drawing(intervals(marks, "Occupancy of each season, 0 to 100 %"), SHARE_OF_POOLS)],
        tables=[
            table("Each season by itself", pd.DataFrame(season_rows(seasons)), each),
            table("From season to season", seasons.change, change),
        ],
    )


# --- words -----------------------------------------------------------------------------------------------------------


def _ends(figures: SeasonFigures) -> Ends:
    return figures.estimate, figures.low, figures.high


def _rate(case: WhatIf) -> str:
    return f"{100 * case.false_share:g} %"


def _why(why: Note | None) -> str:
    return "" if why is None else said(why)


def _mark(label: str, value: float | None, low: float, high: float) -> Mark:
    if value is None:
        return Mark(label, None, float(low), float(high), span(low, high))
    if np.isnan(value):
        return Mark(label, None, said=percent(value))
    return Mark(label, float(value), float(low), float(high), percent(value))


def _decimals(error: float) -> int:
    """To how many decimals a figure is right, at most 12."""
    return 12 if error < 1e-12 else max(0, math.floor(-math.log10(2 * error)))


def _named(covariate: str) -> str:
    return COVARIATES.get(covariate, covariate)


def _terms(names: str) -> str:
    return ", ".join(_named(name) for name in names.split(", ")) if names else "the same everywhere"


def _times(p: float) -> str:
    """A probability as a recorder says it."""
    tenths = round(10 * p)
    return "nearly always" if tenths >= 10 else "hardly ever" if tenths <= 0 else f"{tenths} times in 10"
