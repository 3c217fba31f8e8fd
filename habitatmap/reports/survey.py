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
from habitatmap.survey.account import DESIGNS, SURE, WANTED_ERRORS, Account
from habitatmap.survey.effects import APART
from habitatmap.survey.effort import blank_visits
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.probabilities import ENOUGH_DETECTIONS, ENOUGH_TWICE
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
    "first": "occupied in the first season",
    "colonised": "an empty pool is colonised by the next season",
    "lost": "an occupied pool is empty in the next season",
    "detection": "detection",
    "last less first": "last season minus the first",
}
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
        "pools.csv": told.pools,
        "estimates.csv": estimates(told),
        "models.csv": models(told),
        "effects.csv": told.effects,
        "effort.csv": told.effort,
        "survey.json": {**survey_summary(told), **(summary or {})},
    }
    write_files(folder, files | dict(tables or {}))


def survey_page(told: Account, more: Sequence[Section] = ()) -> str:
    """survey.html."""
    as_of = f"As of {told.as_of.isoformat()}. For the team: it names pools and observers."
    return report_page(told.title, "Occupancy of the pools", as_of, [*sections(told), *more])


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
WIDENED = "profile likelihood, limit times the overdispersion"


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
    s, nan, b, f = told.known.summary, np.nan, told.blocks, told.false_positives
    estimate, weak = _ends(s), told.weak
    naive = nan if s["naive"] is None else s["naive"]
    detection = (nan, nan, nan, nan) if told.few else (told.fit.p, *told.fit.interval(part="p"), told.fit.p_se)
    bayesian = [(weak.psi, *weak.interval(), weak.psi_se), (weak.p, *weak.interval(part="p"), weak.p_se)]
    resampled = "" if b.why else f"{b.towns} resamples of squares of {b.side_m:g} m"
    what_if = "occupancy, if {} of searches at empty pools are false positives"
    pools, detected, prior = About.OCCUPANCY, About.DETECTION, told.known.prior.words()
    lines = [
        Line(About.NAIVE, "naive occupancy", (naive, nan, nan), nan, "pools with larvae / pools searched", ""),
        Line(pools, "occupancy", estimate, _se(s), f"{MAXIMUM}, {PROFILE}", s["basis"]),
        Line(detected, "detection", detection[:3], detection[3], "the same fit", s["basis"]),
        Line(pools, "occupancy, interval widened by overdispersion", (estimate[0], *told.widened), nan, WIDENED, ""),
        Line(pools, "occupancy, whole squares resampled", (estimate[0], b.low, b.high), nan, resampled, b.why),
        *(
            Line(about, f"{about}, Bayesian estimate", (value, low, high), se, POSTERIOR, prior)
            for about, (value, low, high, se) in zip((pools, detected), bayesian, strict=True)
        ),
        *(
            Line(About.WHAT_IF, what_if.format(rate), _ends(figures), nan, f"what-if, {PROFILE}", "")
            for rate, figures in (s["false_positives"] or {}).items()
        ),
        Line(pools, "occupancy, error rate from verified records", (f.psi, f.low, f.high), nan, MAXIMUM, f.why),
    ]  # fmt: skip
    for about, frame, name in (
        (About.SPECIES, told.species.iloc[1:], "taxon"),
        (About.SEASON, told.seasons.each, "season"),
    ):
        lines += [
            Line(
                about,
                f"occupancy {'of' if name == 'taxon' else 'in'} {row[name]}",
                _ends(row),
                _se(row),
                MAXIMUM,
                row["basis"],
            )
            for row in frame.to_dict("records")
        ]
    return lines + [
        Line(About.CHANGE, f"between seasons: {row['part']}", _ends(row), nan, PROFILE, told.seasons.shown)
        for row in told.seasons.change.to_dict("records")
    ]


def models(told: Account) -> pd.DataFrame:
    """models.csv: all models compared, the best first, then the covariates that were not tried, with the reason."""
    rest = [
        {part: name, "identifiable": False, "why": f"not tried: {why}"} for part, name, why in told.covariates.left_out
    ]
    frame = pd.DataFrame([*told.models.to_dict("records"), *rest], columns=told.models.columns)
    frame[["psi", "p"]] = frame[["psi", "p"]].fillna("")
    frame.insert(2, "covariates", (frame["psi"] != "").astype(int) + (frame["p"] != ""))
    return frame


def survey_summary(told: Account) -> dict[str, Any]:
    """survey.json: the same and everything else, None where not known."""
    psi, p, basis = told.sure
    summary = {
        "title": told.title,
        "as_of": told.as_of.isoformat(),
        "occupancy": told.known.summary,
        "warnings": told.known.warnings,
        "estimates": estimates(told).to_dict("records"),
        "identifiable": {"yes": told.fit.identifiable, "why": told.fit.why},
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
        "effort_for": {"occupancy": psi, "detection": p, "basis": basis},
        "seasons": {
            "each": told.seasons.each.to_dict("records"),
            "same_pools": told.seasons.same,
            "change": told.seasons.change.to_dict("records"),
            "shown": told.seasons.shown,
        },
    }
    content: dict[str, Any] = plain(summary)
    return content


def _of(part: object, names: str) -> dict[str, object]:
    """Some fields of a part, by name."""
    return {name: getattr(part, name) for name in names.split()}


def survey_text(told: Account) -> str:
    """A few lines and a table for the terminal."""
    s = told.known.summary
    seen = [] if s["naive"] is None else [f"Larvae were seen in {percent(s['naive'])} of them."]
    rows = [("", "estimate", "95 % interval")]
    rows += [(r.figure, percent(r.ends[0]), span(*r.ends[1:], unknown="-")) for r in _lines(told) if known(r.ends[0])]
    lines = [told.title, "", _searched(told), *seen, "", *aligned(rows), ""]
    lines += [f"{sentence(s['basis'])}.", told.goodness.words(), told.clustering.words()]
    lines += [f"Seasons: {told.seasons.shown}.", *told.known.warnings]
    return "\n".join(lines) + "\n"


# --- the page, section by section ------------------------------------------------------------------------------------


def sections(told: Account) -> list[Section]:
    """The page's sections, in order."""
    return [
        _what_was_searched(told),
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
            f"An estimate is made from {ENOUGH_DETECTIONS} detections and {ENOUGH_TWICE} pools searched at least twice "
            "on (expert judgement); below that there are counts only.",
        ],
        drawings=[Drawing(picture, "Searches by month: filled where larvae were seen, outlined where none were.")],
        tables=[
            Table("Searches by month", ["Month", "Larvae", "None seen"], per_month),
            Table("Visits left out of the estimate", ["Why", "Visits"], left),
        ],
        cautions=[too_few if lacking else "", *told.known.warnings],
    )


def _searched(told: Account) -> str:
    searches, s = told.known.searches, told.known.summary
    pools, left = len(searches.pools), sum(searches.left_out.values())
    if not pools:
        return "There is no pool yet."
    if not s["pools_visited"]:
        return f"No search counts for any of {count(pools, 'pool')}."
    said = f"{s['pools_visited']} of {count(pools, 'pool')} were searched, "
    said += f"{count(s['searches'], 'time')} in all, {s['period']}"
    were = "was" if left == 1 else "were"
    return f"{said}; {count(left, 'visit')} {were} left out, with the reason." if left else f"{said}."


def _lacking(told: Account) -> str:
    """What is missing for an estimate; "" where the searches are enough."""
    s = told.known.summary
    counted = [
        (s["detections"], ENOUGH_DETECTIONS, "detection", "detections"),
        (s["searched_twice"], ENOUGH_TWICE, "pool searched twice", "pools searched twice"),
    ]
    return listed([f"{count(n, *words)} ({needed} needed)" for n, needed, *words in counted if n < needed])


def _estimate(told: Account) -> Section:
    s, few = told.known.summary, told.few
    lead = f"Larvae were seen in {percent(s['naive'])} of the pools searched. " if s["naive"] is not None else ""
    marks = [] if s["naive"] is None else [Mark("seen", s["naive"], said=percent(s["naive"]))]
    if few:
        lacking = _lacking(told)
        why = f"too few to estimate: {lacking}" if lacking else f"not estimated: {told.fit.why}"
        lead += f"How many hold larvae: {why}."
    else:
        lead += (
            f"A search can miss them, so more pools hold larvae: about {percent(s['estimate'])}. "
            f"Anything from {percent(s['low'])} to {percent(s['high'])} would fit the searches."
        )
        marks.append(_mark("estimated", s["estimate"], s["low"], s["high"]))
        if not np.isnan(told.blocks.low):
            marks.append(_mark("the same, whole squares resampled", None, told.blocks.low, told.blocks.high))
        if told.widened != (s["low"], s["high"]) and told.goodness.overdispersion > 1:
            marks.append(_mark("the same, widened for misfit", None, *told.widened))
    marks.append(_mark("Bayesian estimate", told.weak.psi, *told.weak.interval()))
    rows = [
        (line.figure, percent(line.ends[0]), span(*line.ends[1:]), line.method, line.basis)
        for line in _lines(told)
        if line.about in (About.NAIVE, About.OCCUPANCY)
    ]
    return Section(
        "estimate",
        "How many pools hold larvae",
        lead,
        words=[
            "" if told.fit.identifiable else f"The searches alone give no regular estimate: {told.fit.why}.",
            f"Of what is known about it, {percent(s['from_data'])} came from the searches and the rest from the expert "
            f"value ({told.known.prior.words()}). The map uses this Bayesian estimate. It was summed on a grid; a grid "
            f"half as fine gives the same to {count(_decimals(told.weak.numerical_error), 'decimal')}.",
            "All this describes pools where people put them. It applies only to similar sites.",
        ],
        drawings=[Drawing(intervals(marks, "Naive and estimated occupancy, 0 to 100 %"), SHARE_OF_POOLS)],
        tables=[
            Table(
                "Naive and estimated occupancy",
                ["Figure", "Share of pools", "95 % interval", "Method", "Based on"],
                rows,
            )
        ],
    )


def _detection(told: Account) -> Section:
    fit = told.weak if told.few else told.fit
    low, high = fit.interval(part="p")
    lead = (
        f"A search of a pool with larvae finds them about {_times(fit.p)}: detection {percent(fit.p)} "
        f"({span(low, high)})."
    )
    if told.few:
        lead += " This rests on an expert value, as the searches are too few."
    found = [(k, 1 - (1 - fit.p) ** k, 1 - (1 - low) ** k, 1 - (1 - high) ** k) for k in range(1, 9)]
    marks = [_mark(count(k, "search", "searches"), value, least, most) for k, value, least, most in found]
    rows = [(k, percent(value), span(least, most)) for k, value, least, most in found]
    words = f"The probability that larvae which are there are seen at least once in so many searches ({told.sure[2]})."
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
    widened = f"With it, the interval of occupancy becomes {span(*told.widened)}."
    caption = "The commonest histories: 1 larvae, 0 none seen, a dot no search"
    return Section(
        "fit",
        "Does the model fit",
        g.words(),
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
    "Remark": "why",
}


def _covariate_effects(told: Account) -> Section:
    detections, compared = told.known.summary["detections"], len(told.effects)
    apart = told.effects.loc[told.effects["words"] == APART, "covariate"]
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
                "All models that were compared, the best first", told.models, MODELS, " ".join(told.covariates.notes)
            ),
        ],
    )


def _false_positives(told: Account) -> Section:
    s, f = told.known.summary, told.false_positives
    rates: Mapping[str, Any] = s["false_positives"] or {}
    marks = [] if told.few else [_mark("none", s["estimate"], s["low"], s["high"])]
    marks += [_mark(rate, *_ends(figures)) for rate, figures in rates.items()]
    words = f"The verified records are too few to tell the rate of false positives: {f.why}. Have some larvae checked."
    if not f.why:
        marks.append(_mark("error rate from verified records", f.psi, f.low, f.high))
        words = (
            f"By the verified records, {percent(f.false_share)} of the searches of empty pools are false positives; "
            f"then {percent(f.psi)} of the pools are occupied ({span(f.low, f.high)})."
        )
    if told.few:
        lead = "The searches are too few to ask what false positives would change."
    else:
        worst = list(rates.values())[-1]
        lead = (
            f"If one search in twenty of an empty pool reported larvae by mistake, about {percent(worst['estimate'])} "
            f"of the pools would hold larvae ({span(worst['low'], worst['high'])}), not {percent(s['estimate'])}."
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
        tables=[table("The group, and each checked kind", told.species, columns)],
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
    psi, p, basis = told.sure
    needed = blank_visits(p, SURE, psi)
    pools = told.pools.assign(found=told.pools["detections"] > 0)
    pools = pools.sort_values(["found", "value", "pool"], ascending=[True, False, True])
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
            f"Calculated with {basis}: occupancy {percent(psi)}, detection {percent(p)}. The probability of each pool "
            "below is conditional on its own searches; where larvae were seen this season it is 100 %."
        ],
        tables=[
            Table("After so many non-detections", ["Non-detections", "Probability that larvae are there"], after),
            table("Every pool, and where one more search teaches most", pools, POOLS, note),
        ],
    )


def _place(told: Account) -> Section:
    b = told.blocks
    squares = (
        f"An interval that takes whole squares of {b.side_m:g} m, not single pools, as what was sampled: "
        f"{span(b.low, b.high)} ({b.blocks} squares, {b.towns} resamples)."
    )
    pools, sites = len(told.known.searches.pools), told.fit.n_sites
    return Section(
        "place",
        "Where the pools stand",
        told.clustering.words(),
        words=[
            f"An interval by whole squares cannot be given: {b.why}." if b.why else squares,
            f"Pools were put where people had land and permission, not at random. {count(pools, 'pool')}, "
            f"{count(sites, 'searched site')}: pools within the distance merge_m of each other count once. The map of "
            "occupancy is grey where no pool like it was searched.",
        ],
    )


def _next_season(told: Account) -> Section:
    psi, p, basis = told.sure
    standard, budget = told.effort.iloc[0], told.budget
    columns: dict[str, Column] = {
        "Design": lambda row: DESIGNS[row["design"]],
        "Best number of visits": "best_visits",
        **{f"Pools for an error of {100 * e:g} points": f"pools_for_{e:g}" for e in WANTED_ERRORS},
        "From the budget": lambda row: f"{count(row['visits'], 'visit')}, {count(row['pools'], 'pool')}",
        "Error then, points": lambda row: f"{100 * row['error']:.1f}",
    }
    given = "as given" if budget.hours is not None else "as much as this season took"
    top = told.pools.sort_values(["value", "pool"], ascending=[False, True]).head(5)["pool"].tolist()
    return Section(
        "effort",
        "Next season's visits",
        f"A given number of visits tells most as {count(standard['best_visits'], 'visit')} to each pool; "
        f"{standard['hours']:g} hours pay for {count(standard['pools'], 'pool')} with "
        f"{count(standard['visits'], 'visit')} each, and leave a standard error of "
        f"{100 * standard['error']:.0f} points.",
        words=[
            f"Calculated with {basis}: occupancy {percent(psi)}, detection {percent(p)} (MacKenzie & Royle 2005). The "
            f"budget is {standard['hours']:g} hours ({given}), a visit takes {budget.visit_hours:g} h with its way "
            f"and a pool {budget.pool_hours:g} h besides (options --hours, --visit-hours, --pool-hours).",
            f"Where one more search teaches most now: {', '.join(top)}." if top else "No pool is known.",
        ],
        tables=[table("Both designs", told.effort, columns)],
        cautions=sentences([Caution.HYGIENE, Caution.LITTER, Caution.LOCAL]),
    )


def _several_seasons(told: Account) -> Section:
    seasons = told.seasons
    marks = [
        _mark(str(row["season"]), row["estimate"], row["low"], row["high"])
        for row in seasons.each.to_dict("records")
        if known(row["estimate"])
    ]
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
        f"{sentence(seasons.shown)}.",
        words=[
            "A change is told only from the same pools, searched in the same way, over at least three seasons "
            f"(MacKenzie et al. 2003). {count(seasons.same, 'pool')} {'was' if seasons.same == 1 else 'were'} searched "
            "in every season."
        ],
        drawings=[Drawing(intervals(marks, "Occupancy of each season, 0 to 100 %"), SHARE_OF_POOLS)],
        tables=[
            table("Each season by itself", seasons.each, each),
            table("From season to season", seasons.change, change),
        ],
    )


# --- words -----------------------------------------------------------------------------------------------------------


def _ends(part: Mapping[Any, Any]) -> Ends:
    value, low, high = (np.nan if part[name] is None else float(part[name]) for name in ("estimate", "low", "high"))
    return value, low, high


def _se(part: Mapping[Any, Any]) -> float:
    return np.nan if part["se"] is None else float(part["se"])


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
