"""The survey as a page of sections: what was found in three sentences and a picture, then each thing in turn."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from habitatmap.export.folder import Content, write_files
from habitatmap.page.drawings import Mark, intervals
from habitatmap.page.sections import Column, Drawing, Fold, Layout, Section, Table, interval, report_page, share, table
from habitatmap.reports.pool_pictures import by_date, in_order, on_a_map, two_by_two, visits_in_words
from habitatmap.reports.survey_figures import (
    About,
    all_lines,
    by_itself,
    detection,
    detection_now,
    ends_of,
    estimates,
    models,
    pool_rows,
    rate_of,
    season_alone,
    survey_summary,
    why_of,
)
from habitatmap.survey.account import SURE, WANTED_ERRORS, Account, Budget
from habitatmap.survey.codes import Difference
from habitatmap.survey.effort import HELPS
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.seasons import Part
from habitatmap.words.bases import (
    clustering,
    goodness,
    noted,
    prior_words,
    reasons,
    season_rows,
    species_rows,
    trend,
    worded,
)
from habitatmap.words.bases import told as said
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.cautions import Caution, sentences
from habitatmap.words.numbers import count, known, listed, number, percent, points, sentence, span
from habitatmap.words.survey import opening, since_then

# what a covariate is called on the page
COVARIATES = {
    "volume_l": "volume in litres",
    "age_days": "days the pool had stood when the season's searches began",
    "forage_score": "forage within flight (0-1)",
    "dead_wood_score": "dead wood within flight (0-1)",
    "places_near": "breeding places in reach (standing pools and rot-hole trees, each weighted by distance)",
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
    spoken: Catalogue = ENGLISH,
) -> None:
    """Writes the page and the tables into `folder`, which is replaced in one step.

    `more` sections come last, `tables` by file name beside our own, `summary` into survey.json; `spoken`: the page's
    language.
    """
    files: dict[str, Content] = {
        "survey.html": survey_page(told, more, spoken),
        "pools.csv": pool_rows(told),
        "estimates.csv": estimates(told),
        "models.csv": models(told),
        "effects.csv": told.effects,
        "effort.csv": told.effort,
        "survey.json": {**survey_summary(told), **(summary or {})},
    }
    write_files(folder, files | dict(tables or {}))


def survey_page(told: Account, more: Sequence[Section] = (), spoken: Catalogue = ENGLISH) -> str:
    """survey.html in a language."""
    as_of = f"As of {told.records.as_of.isoformat()}. For the team: it names pools and observers."
    return report_page(told.records.title, "Occupancy of the pools", as_of, [*sections(told), *more], spoken)


def sections(told: Account) -> list[Section]:
    """The page's sections, in order; of pools that nobody searched only what does not rest on a search."""
    estimated = [_blank_visits, _seasons, _estimate, _covariate_effects, _false_positives, _species]
    if not told.known.figures.pools_visited:
        estimated = []
    parts = [_in_short, _visits, _place, *estimated, _next_season, _each_pool]
    if not told.known.searches.pools:
        parts = [_in_short, _next_season]
    return [part(told) for part in parts]


# --- what was found --------------------------------------------------------------------------------------------------

POOLS: dict[str, Column] = {
    "Pool": "pool",
    "Searches": "searches",
    "Detections": "found",
    "Larvae last seen": lambda row: "" if pd.isna(row["last_seen"]) else str(row["last_seen"]),
    "Probability": share("occupancy"),
    "95 % interval": interval("occupancy_low", "occupancy_high"),
    "Value of a search": lambda row: f"{row['value']:.3f}",
}


def _in_short(told: Account) -> Section:
    begin = opening(told.known.figures, len(told.known.searches.pools))
    return Section(
        "short",
        "In short",
        "\n".join(begin[:3]),
        words=[*begin[3:], *since_then(told.known)],
        drawings=[in_order(told)] if told.known.figures.pools_visited else [],
        cautions=noted(told.known.warnings),
    )


def _visits(told: Account) -> Section:
    left = list(told.known.figures.left_out.items())
    return Section(
        "visits",
        "Every visit",
        "Only searches count: a visit that found the pool dry, frozen or gone, or did not reach it, says nothing about "
        "larvae, nor does a search within a week of installing.",
        drawings=[by_date(told)],
        tables=[Table("Visits that do not count as searches", ["Why", "Visits"], left, fold=Fold.ALWAYS)],
    )


def _place(told: Account) -> Section:
    here, sites = len(told.known.searches.pools), told.fit.n_sites
    b = told.blocks
    squares = (
        f"Occupancy{by_itself(told)} with whole squares of {b.side_m:g} m, not single pools, as what was sampled: "
        f"{span(b.low, b.high)} ({b.blocks} squares, {b.towns} resamples)."
    )
    return Section(
        "place",
        "Where the pools stand",
        "Pools were put where people had land and permission, not at random.",
        words=[
            clustering(told.clustering),
            f"An interval by whole squares cannot be given: {why_of(b.why)}." if b.why else squares,
            f"{count(here, 'pool')}, {count(sites, 'searched site')}: pools within the distance merge_m of each other "
            "count once. The map of occupancy is grey where no pool like it was searched.",
        ],
        drawings=[on_a_map(told)],
    )


def _each_pool(told: Account) -> Section:
    frame = pool_rows(told).sort_values(["value", "pool"], ascending=[False, True])
    note = (
        f"Searches and detections are those of {told.known.figures.season or 'no season'}. Value of a search: how much "
        "one more search is expected to settle (0 nothing, 0.25 everything); the pools where it is highest come first. "
        "What each probability rests on stands in pools.csv."
    )
    return Section(
        "pools",
        "Each pool in figures",
        "What the pictures show, as tables.",
        tables=[
            table("Every pool, and where one more search teaches most", frame, POOLS, note, Fold.ALWAYS),
            visits_in_words(told),
        ],
    )


def _blank_visits(told: Account) -> Section:
    p, low, high = detection(told)
    lead = f"A search of a pool with larvae detects them about {_times(p)}: detection {percent(p)} ({span(low, high)})."
    words = "The searches are too few to tell more: this rests on an expert value."
    if not told.few:
        words = "A search without larvae does not prove that a pool is empty. The probability falls with each one."
        if told.known.season_now != told.known.figures.season:
            now, least, most = detection_now(told)
            words += (
                f" In {told.known.season_now} detection may differ: the table takes {percent(now)} "
                f"({span(least, most)}) and the probability that a pool holds larvae now."
            )
    if known(told.needed):
        words += f" It takes {count(int(told.needed), 'search', 'searches')} in a row without larvae to be "
        words += f"{percent(SURE)} sure that a pool is empty."
    columns: dict[str, Column] = {
        "Searches without larvae": "non_detections",
        "Probability that larvae are there": share("probability"),
        "95 % interval": interval(),
    }
    caption = "A pool like these that nobody searched yet, after so many searches in a row"
    return Section(
        "blank",
        "What a search without larvae means",
        lead,
        words=[words],
        tables=[table(caption, told.known.non_detections, columns, fold=Fold.NEVER)],
    )


def _seasons(told: Account) -> Section:
    seasons, beside, figures = told.seasons, two_by_two(told), told.known.figures
    together = pd.DataFrame(
        [
            (season, e.value, e.low, e.high)
            for season, e in zip(figures.seasons, figures.together, strict=True)
            if season <= (figures.season or season)
        ],
        columns=["season", "value", "from", "to"],
    )
    marks = [_mark(str(season), *ends) for season, *ends in together.itertuples(index=False)]
    rows = pd.DataFrame(season_rows(seasons)).merge(together, on="season", how="left")
    each: dict[str, Column] = {
        "Season": "season",
        "Pools": "pools_visited",
        "Searches": "searches",
        "Naive occupancy": share("naive"),
        "Occupancy, from all seasons": share("value"),
        "95 % interval": interval("from", "to"),
        "From this season alone": share("estimate"),
        "95 % interval of that": interval(),
    }
    change: dict[str, Column] = {
        "What": lambda row: SEASON_PARTS[row["part"]],
        "Estimate": lambda row: _change(row["part"], row["estimate"]),
        "95 % interval": lambda row: " to ".join(_change(row["part"], row[end]) for end in ("low", "high")),
    }
    what = "Occupancy in each season, 0 to 100 %"
    caption = f"Occupancy in each season, from all seasons together (MacKenzie et al. 2003). {SHARE_OF_POOLS}"
    return Section(
        "seasons",
        "Season beside season",
        f"{sentence(trend(seasons))}.",
        words=[
            *(words for _, words in beside),
            "A change is told only where the same pools were searched in the same way, over at least three seasons. "
            f"{count(seasons.same, 'pool')} {'was' if seasons.same == 1 else 'were'} searched in every season.",
        ],
        drawings=[
            *(picture for picture, _ in beside),
            Drawing(partial(intervals, marks if len(marks) > 1 and not told.few else [], what), caption, Layout.BESIDE),
        ],
        tables=[
            table("Each season in figures", rows, each, fold=Fold.ALWAYS),
            table("From season to season", seasons.change, change),
        ],
    )


# --- how sure that is ------------------------------------------------------------------------------------------------


def _estimate(told: Account) -> Section:
    s = told.known.figures
    alone, bayesian = by_itself(told), s.posterior
    marks = [Mark("seen", s.naive, said=percent(s.naive))] if s.pools_visited else []
    if not told.few:
        marks.append(_mark("estimated", s.estimate, s.low, s.high))
        if alone and season_alone(told).known:
            marks.append(_mark(f"estimated{alone}", *ends_of(season_alone(told))))
        if not np.isnan(told.blocks.low):
            marks.append(_mark(f"whole squares resampled{alone}", None, told.blocks.low, told.blocks.high))
    if not alone or told.few:
        marks.append(_mark("Bayesian estimate", bayesian.value, bayesian.low, bayesian.high))
    rows = [
        (line.figure, percent(line.ends[0]), span(*line.ends[1:]), line.method, line.basis)
        for line in all_lines(told)
        if line.about in (About.NAIVE, About.OCCUPANCY, About.SEASON)
    ]
    heads = ["Figure", "Share of pools", "95 % interval", "Method", "Based on"]
    histories: dict[str, Column] = {
        "History": "history",
        "Sites with these searches": "sites",
        "Seen": "observed",
        "Expected": lambda h: f"{h['expected']:.1f}",
    }
    commonest = told.goodness.histories.sort_values(["observed", "history"], ascending=[False, True]).head(12)
    caption = "The commonest histories: 1 larvae, 0 none seen, a dot no search"
    what = "Naive and estimated occupancy, 0 to 100 %"
    return Section(
        "estimate",
        "How sure the estimate is",
        "All this describes pools where people put them. It applies only to similar sites.",
        words=[
            "" if told.fit.identifiable else f"The searches alone give no regular estimate: {reasons(told.fit.why)}.",
            f"Of what is known about it, {percent(s.from_data)} came from the searches and the rest from the expert "
            f"value ({prior_words(told.known.prior)}). The map uses the Bayesian estimate.",
            f"{goodness(told.goodness)} The check compares how often each history of searches was seen and how often "
            "the model expects it, with surveys simulated from the model (MacKenzie & Bailey 2004).",
        ],
        drawings=[Drawing(partial(intervals, marks, what), SHARE_OF_POOLS, Layout.BESIDE)],
        tables=[
            Table("Naive and estimated occupancy", heads, rows, fold=Fold.ALWAYS),
            table(caption, commonest if told.goodness.surveys else commonest[:0], histories, fold=Fold.ALWAYS),
        ],
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
                Fold.ALWAYS,
            ),
        ],
    )


def _false_positives(told: Account) -> Section:
    s, f = told.known.figures, told.false_positives
    marks = [] if told.few else [_mark("none", *ends_of(s))]
    marks += [_mark(rate_of(case), case.psi, case.low, case.high) for case in s.false_positives]
    words = f"The verified records are too few to tell the rate of false positives: {why_of(f.why)}. "
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
            f"If one search in twenty of an empty pool reported larvae by mistake, about {percent(worst.psi)} of "
            f"pools like these would hold larvae ({span(worst.low, worst.high)}), not {percent(s.estimate)}."
        )
    rows = [(m.label, m.said, span(m.low, m.high)) for m in marks]
    what = "Occupancy with so many false positives, 0 to 100 %"
    heads = ["False positives", "Share of pools", "95 % interval"]
    return Section(
        "false-positives",
        "What if some sightings are wrong",
        lead,
        words=[words],
        drawings=[Drawing(partial(intervals, marks, what), SHARE_OF_POOLS, Layout.BESIDE)],
        tables=[Table("Occupancy under false positives", heads, rows, fold=Fold.ALWAYS)],
    )


def _species(told: Account) -> Section:
    kinds = len(told.species) - 1
    lead = "No larvae were checked to a species: everything here is about the group."
    if kinds > 0:
        were = "was" if kinds == 1 else "were"
        lead = (
            f"{count(kinds, 'kind')} {were} named by a check; each is fitted apart from the rest. Larvae that nobody "
        )
        lead += "checked count for no species."
    columns: dict[str, Column] = {
        "Kind": "taxon",
        "Detections": "detections",
        "Visits with species checked": "searches",
        "Naive occupancy": share("naive"),
        f"Estimated occupancy{by_itself(told)}": share("estimate"),
        "95 % interval": interval(),
    }
    return Section(
        "species",
        "Which kinds",
        lead,
        tables=[table("The group, and each checked kind", pd.DataFrame(species_rows(told.species)), columns)],
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
    pools = told.pools[told.pools["may_visit"]].sort_values(["value", "pool"], ascending=[False, True])
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
        tables=[table("Both designs", told.effort, columns, fold=Fold.ALWAYS)],
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


# --- small helpers ---------------------------------------------------------------------------------------------------


def _change(part: Part, value: float) -> str:
    """A probability as a percentage, a difference of two in points."""
    return f"{100 * value:+.0f} points" if part is Part.LAST_LESS_FIRST else percent(value)


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
