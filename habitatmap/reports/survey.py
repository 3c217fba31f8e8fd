"""The survey as a page of sections: what was found in three sentences and a picture, then each thing in turn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from habitatmap.export.folder import Content, write_files
from habitatmap.page.drawings import Mark, intervals
from habitatmap.page.sections import (
    Column,
    Drawing,
    Fold,
    Layout,
    Row,
    Section,
    Table,
    interval,
    report_page,
    share,
    table,
)
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
    season_alone,
    survey_summary,
    why_of,
)
from habitatmap.survey.account import SURE, WANTED_ERRORS, Account, Budget
from habitatmap.survey.codes import Difference
from habitatmap.survey.covariates import NOT_GIVEN, OTHER
from habitatmap.survey.effort import HELPS
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.searches import MIXED
from habitatmap.survey.seasons import Part
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.note import Note
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
from habitatmap.words.months import MONTHS
from habitatmap.words.numbers import between, count, known, listed, number, percent, points, sentence, short, span
from habitatmap.words.sentences import Quantity, Sentence, Value, apart, as_it_is, following, say
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
OF_NO_RECORD = (NOT_GIVEN, OTHER, MIXED)  # kinds of a covariate that nobody wrote
SEASON_PARTS = {
    Part.FIRST: "occupied in the first season",
    Part.COLONISED: "an empty pool is colonised by the next season",
    Part.LOST: "an occupied pool is empty in the next season",
    Part.DETECTION: "detection",
    Part.LAST_LESS_FIRST: "last season minus the first",
}
DESIGN_WORDS = {"standard": "the same number of visits at every pool", "removal": "stop at the first detection"}
SHARE_OF_POOLS = Sentence("From 0 to 100 % of pools.")


def write_survey(
    told: Account,
    folder: str | Path,
    more: Sequence[Section] = (),
    tables: Mapping[str, pd.DataFrame] | None = None,
    summary: Mapping[str, object] | None = None,
    spoken: Catalogue = ENGLISH,
    semicolons: bool = False,
) -> None:
    """Writes the page and the tables into `folder`, whole or not at all.

    `more` sections come last, `tables` by file name beside our own, `summary` into survey.json; `spoken`: the page's
    language; `semicolons` as in `csv_text`.
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
    write_files(folder, files | dict(tables or {}), "survey", semicolons)


def survey_page(told: Account, more: Sequence[Section] = (), spoken: Catalogue = ENGLISH) -> str:
    """survey.html in a language."""
    as_of = say("As of {day}. For the team: it names pools and observers.", day=told.records.as_of)
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
    "Value of a search": lambda row: Quantity(row["value"], 3),
}


def _in_short(told: Account) -> Section:
    begin = opening(told.known.figures, len(told.known.searches.pools))
    return Section(
        "short",
        "In short",
        apart(begin[:3], "\n"),
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
    if b.why:
        squares = say("An interval by whole squares cannot be given: {why}.", why=why_of(b.why))
    else:
        squares = say(
            "{occupancy} with whole squares of {side}, not single pools, as what was sampled: {ends} ({squares} "
            "squares, {n} resamples).",
            occupancy=sentence(by_itself(told, "occupancy")),
            side=Quantity(b.side_m, unit="m"),
            ends=span(b.low, b.high),
            squares=b.blocks,
            n=b.towns,
        )
    return Section(
        "place",
        "Where the pools stand",
        "Pools were put where people had land and permission, not at random.",
        words=[
            clustering(told.clustering),
            squares,
            say(
                "{pools}, {sites}: pools within the distance merge_m of each other count once. The map of occupancy is "
                "grey where no pool like it was searched.",
                pools=count(here, "pool"),
                sites=count(sites, "searched site"),
            ),
        ],
        drawings=[on_a_map(told)],
    )


def _each_pool(told: Account) -> Section:
    frame = pool_rows(told).sort_values(["value", "pool"], ascending=[False, True])
    season = told.known.figures.season
    note = say(
        "Searches and detections are those of {season}. Value of a search: how much one more search is expected to "
        "settle ({least} nothing, {most} everything); the pools where it is highest come first. What each probability "
        "rests on stands in pools.csv.",
        season=str(season) if season else Sentence("no season"),
        least=0,
        most=short(0.25),
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
    lead = say(
        "A search of a pool with larvae detects them {times}: detection {p} ({ends}).",
        times=_times(p),
        p=percent(p),
        ends=span(low, high),
    )
    words = [Sentence("The searches are too few to tell more: this rests on an expert value.")]
    if not told.few:
        words = [
            Sentence(
                "A search without larvae does not prove that a pool is empty. The probability falls with each one."
            )
        ]
        if told.known.season_now != told.known.figures.season:
            now, least, most = detection_now(told)
            words.append(
                say(
                    "In {season} detection may differ: the table takes {p} ({ends}) and the probability that a pool "
                    "holds larvae now.",
                    season=str(told.known.season_now),
                    p=percent(now),
                    ends=span(least, most),
                )
            )
    if known(told.needed):
        words.append(
            say(
                "It takes {searches} in a row without larvae to be {sure} sure that a pool is empty.",
                searches=count(int(told.needed), "search", "searches"),
                sure=percent(SURE),
            )
        )
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
        words=[following(*words)],
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
    marks = [_mark(as_it_is(str(season)), *ends) for season, *ends in together.itertuples(index=False)]
    if len(marks) < 2 or told.few:
        marks = []
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
        "What": lambda row: Sentence(SEASON_PARTS[row["part"]]),
        "Estimate": lambda row: _change(row["part"], row["estimate"]),
        "95 % interval": lambda row: between(_change(row["part"], row["low"]), _change(row["part"], row["high"])),
    }
    what = "Occupancy in each season, 0 to 100 %"
    caption = Sentence("Occupancy in each season, from all seasons together (MacKenzie et al. 2003).")
    return Section(
        "seasons",
        "Season beside season",
        say("{trend}.", trend=sentence(trend(seasons))),
        words=[
            *(words for _, words in beside),
            following(
                Sentence(
                    "A change is told only where the same pools were searched in the same way, over at least "
                    "three seasons."
                ),
                say(
                    "{pools} was searched in every season."
                    if seasons.same == 1
                    else "{pools} were searched in every season.",
                    pools=count(seasons.same, "pool"),
                ),
            ),
        ],
        drawings=[
            *(picture for picture, _ in beside),
            Drawing(partial(intervals, marks, what), following(caption, SHARE_OF_POOLS), Layout.BESIDE),
        ],
        tables=[
            table("Each season in figures", rows, each, fold=Fold.ALWAYS),
            table("From season to season", seasons.change, change),
        ],
    )


# --- how sure that is ------------------------------------------------------------------------------------------------


def _estimate(told: Account) -> Section:
    s = told.known.figures
    together, bayesian = s.method is Method.SEASONS, s.posterior
    marks = [Mark(Sentence("seen"), s.naive, said=percent(s.naive))] if s.pools_visited else []
    if not told.few:
        marks.append(_mark(Sentence("estimated"), s.estimate, s.low, s.high))
        if together and season_alone(told).known:
            marks.append(_mark(by_itself(told, "estimated"), *ends_of(season_alone(told))))
        if not np.isnan(told.blocks.low):
            squares = by_itself(told, "by whole squares")
            marks.append(_mark(squares, None, told.blocks.low, told.blocks.high))
    if not together or told.few:
        marks.append(_mark(Sentence("Bayesian estimate"), bayesian.value, bayesian.low, bayesian.high))
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
        "Expected": lambda h: number(h["expected"], 1),
    }
    commonest = told.goodness.histories.sort_values(["observed", "history"], ascending=[False, True]).head(12)
    caption = "The commonest histories: 1 larvae, 0 none seen, a dot no search"
    what = "Naive and estimated occupancy, 0 to 100 %"
    return Section(
        "estimate",
        "How sure the estimate is",
        "All this describes pools where people put them. It applies only to similar sites.",
        words=[
            ""
            if told.fit.identifiable
            else say("The searches alone give no regular estimate: {why}.", why=reasons(told.fit.why)),
            say(
                "Of what is known about it, {share} came from the searches and the rest from the expert value "
                "({prior}). The map uses the Bayesian estimate.",
                share=percent(s.from_data),
                prior=prior_words(told.known.prior),
            ),
            following(
                goodness(told.goodness),
                Sentence(
                    "The check compares how often each history of searches was seen and how often the model "
                    "expects it, with surveys simulated from the model (MacKenzie & Bailey 2004)."
                ),
            ),
        ],
        drawings=[Drawing(partial(intervals, marks, what), SHARE_OF_POOLS, Layout.BESIDE)],
        tables=[
            Table("Naive and estimated occupancy", heads, rows, fold=Fold.ALWAYS),
            table(caption, commonest if told.goodness.surveys else commonest[:0], histories, fold=Fold.ALWAYS),
        ],
    )


EFFECTS: dict[str, Column] = {
    "Covariate": lambda row: _named(row["covariate"]),
    "Effect on": lambda row: Sentence(row["part"]),
    "From - to": lambda row: between(_of_covariate(row, "from"), _of_covariate(row, "to")),
    "Probability": interval("probability_from", "probability_to"),
    "Difference in points": lambda row: points(row["difference"], row["low"], row["high"]),
    "Odds per s.d.": lambda row: number(row["odds_per_sd"], 2),
    "Distinguishable": lambda row: Difference(row["words"]),
}
MODELS: dict[str, Column] = {
    "Occupancy by": lambda row: _terms(row["psi"]),
    "Detection by": lambda row: _terms(row["p"]),
    "Coefficients": "coefficients",
    "AIC": lambda row: number(row["aic"], 1),
    "Above the best": lambda row: number(row["delta"], 1),
    "Weight": lambda row: number(row["weight"], 2),
    "Remark": lambda row: reasons(row["why"]),
}


def _covariate_effects(told: Account) -> Section:
    detections, compared = told.known.figures.detections, len(told.effects)
    differ = told.effects.loc[told.effects["words"] == Difference.DIFFER, "covariate"]
    if told.few:
        lead = Sentence("The searches are too few to show covariate effects.")
    elif len(differ):
        lead = following(
            say(
                "{n} of {comparisons} shows a difference: {names}."
                if len(differ) == 1
                else "{n} of {comparisons} show a difference: {names}.",
                n=len(differ),
                comparisons=count(compared, "comparison"),
                names=listed([_named(name) for name in dict.fromkeys(differ)]),
            ),
            Sentence("One in twenty does so by chance alone. Nothing else distinguishes the pools."),
        )
    else:
        lead = Sentence(
            "No difference shows: nothing that was noted about the pools and the searches distinguishes them."
        )
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
            say(
                "{detections} can tell at most {coefficients} (one per {n}, common practice). The list of models was "
                "fixed before the searches were read: none, then each covariate alone; all are shown. A difference is "
                "no cause: pools were not assigned at random.",
                detections=count(detections, "detection"),
                coefficients=count(detections // PER_COVARIATE, "coefficient"),
                n=PER_COVARIATE,
            )
        ],
        tables=[
            table("Covariate effects on occupancy and on detection", told.effects, EFFECTS, note),
            table(
                "All models that were compared, the best first",
                told.models,
                MODELS,
                following(*(_left_out(sentence(_named(name)), why) for _, name, why in told.covariates.left_out)),
                Fold.ALWAYS,
            ),
        ],
    )


def _false_positives(told: Account) -> Section:
    s, f = told.known.figures, told.false_positives
    marks = [] if told.few else [_mark(Sentence("no false positives"), *ends_of(s))]
    marks += [_mark(percent(case.false_share), case.psi, case.low, case.high) for case in told.known.false_positives]
    words = say(
        "The verified records are too few to tell the rate of false positives: {why}. Have some larvae checked.",
        why=why_of(f.why),
    )
    if not f.why:
        marks.append(_mark(Sentence("error rate from verified records"), f.psi, f.low, f.high))
        words = say(
            "By the verified records, {false_share} of the searches of empty pools are false positives; then {share} "
            "of the pools are occupied ({ends}).",
            false_share=percent(f.false_share),
            share=percent(f.psi),
            ends=span(f.low, f.high),
        )
    if told.few:
        lead = Sentence("The searches are too few to ask what false positives would change.")
    else:
        worst = told.known.false_positives[-1]
        lead = say(
            "If one search in twenty of an empty pool reported larvae by mistake, about {share} of pools like these "
            "would hold larvae ({ends}), not {estimate}.",
            share=percent(worst.psi),
            ends=span(worst.low, worst.high),
            estimate=percent(s.estimate),
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
    lead = Sentence("No larvae were checked to a species: everything here is about the group.")
    if kinds > 0:
        lead = following(
            say(
                "{kinds} was named by a check." if kinds == 1 else "{kinds} were named by a check.",
                kinds=count(kinds, "kind"),
            ),
            Sentence("Each is fitted apart from the rest. Larvae that nobody checked count for no species."),
        )
    columns: dict[str, Column] = {
        "Kind": "taxon",
        "Detections": "detections",
        "Visits with species checked": "searches",
        "Naive occupancy": share("naive"),
        sentence(by_itself(told, "estimated occupancy")): share("estimate"),
        "95 % interval": interval(),
    }
    return Section(
        "species",
        "Which kinds",
        lead,
        tables=[table("The group, and each checked kind", species_rows(told.species), columns)],
    )


def _next_season(told: Account) -> Section:
    psi, p, planned = told.planned
    standard, budget = told.effort.iloc[0], told.budget
    stand = int(standard["standing"])

    def wanted(error: float) -> Column:
        column, pools = f"pools_for_{error:g}", count(stand, "pool")
        most = say(
            "more than the {pools} that stands" if stand == 1 else "more than the {pools} that stand", pools=pools
        )
        return lambda row: row[column] if row[column] <= stand or not stand else most

    columns: dict[str, Column] = {
        "Design": lambda row: Sentence(DESIGN_WORDS[row["design"]]),
        "Best number of visits": "best_visits",
        **{say("Pools for an error of {n} points", n=100 * e): wanted(e) for e in WANTED_ERRORS},
        "From the budget": lambda row: apart([count(row["visits"], "visit"), count(row["pools"], "pool")]),
        "Hours that takes": lambda row: number(row["hours_needed"], 1),
        "Error then, points": lambda row: number(100 * row["error"], 1),
    }
    given = "as given" if budget.hours is not None else "as much as this season took"
    pools = told.pools[told.pools["may_visit"]].sort_values(["value", "pool"], ascending=[False, True])
    top = pools.head(5)["pool"].tolist()
    return Section(
        "effort",
        "Next season's visits",
        _paid_for(standard, budget),
        words=[
            say(
                "Calculated with {basis}: occupancy {psi}, detection {p} (MacKenzie & Royle 2005). The budget is "
                "{hours} hours ({given}), a visit takes {visit} h with its way and a pool {pool} h besides (options "
                "--hours, --visit-hours, --pool-hours). Pools side by side count as one.",
                basis=worded(planned),
                psi=percent(psi),
                p=percent(p),
                hours=short(standard["hours"]),
                given=Sentence(given),
                visit=short(budget.visit_hours),
                pool=short(budget.pool_hours),
            ),
            say("Where one more search teaches most now: {pools}.", pools=", ".join(top))
            if top
            else "No standing pool is known.",
        ],
        tables=[table("Both designs", told.effort, columns, fold=Fold.ALWAYS)],
        cautions=sentences([Caution.HYGIENE, Caution.LITTER, Caution.LOCAL]),
    )


def _paid_for(plan: pd.Series, budget: Budget) -> Sentence:
    """What the budget pays for, never more pools than stand, and what is left of it."""
    stand, pools = int(plan["standing"]), int(plan["pools"])
    values: dict[str, Value] = {"stand": count(stand, "pool"), "pools": count(pools, "pool"), "n": Quantity(pools)}
    values |= {"hours": short(plan["hours"]), "visits": count(plan["visits"], "visit")}
    begin, end = say("Visits tell most when each pool gets {n} of them.", n=plan["best_visits"]), Sentence("")
    if not stand:
        begin = following(Sentence("No pool stands now, so this is for pools to come."), begin)
        paid = say("{hours} hours would pay for {pools} with {visits} each", **values)
    elif pools < stand:
        paid = say("{hours} hours pay for {n} of the {stand} that stand, with {visits} each", **values)
    else:
        begin = say("{stand} stands." if stand == 1 else "{stand} stand.", **values)
        paid = say(
            "{hours} hours pay for {visits} to it" if stand == 1 else "{hours} hours pay for {visits} to each of them",
            **values,
        )
        if plan["hours"] - plan["hours_needed"] >= stand * budget.visit_hours:  # enough for a further visit each
            end = say(
                "{hours} hours are enough: more visits would lower the error by less than {points} points.",
                hours=short(plan["hours_needed"]),
                points=short(100 * HELPS),
            )
    error = Quantity(100 * plan["error"])
    return following(begin, say("{paid}, and leave a standard error of {error} points.", paid=paid, error=error), end)


# --- small helpers ---------------------------------------------------------------------------------------------------


def _change(part: str, value: float) -> Sentence:
    """A probability as a percentage, a difference of two in points."""
    if part != Part.LAST_LESS_FIRST:
        return percent(value)
    return say("{n} points", n=Quantity(100 * value, signed=True))


def _mark(label: Sentence, value: float | None, low: float, high: float) -> Mark:
    if value is None:
        return Mark(label, None, float(low), float(high), span(low, high))
    if np.isnan(value):
        return Mark(label, None, said=percent(value))
    return Mark(label, float(value), float(low), float(high), percent(value))


def _left_out(name: Sentence, why: Note) -> Sentence:
    """Which covariate no model has, and why."""
    return say("{name} was left out: {why}.", name=name, why=said(why))


def _named(covariate: str) -> Sentence:
    return Sentence(COVARIATES.get(covariate, covariate))


def _terms(names: str) -> Sentence:
    return apart([_named(name) for name in names.split(", ")]) if names else Sentence("the same everywhere")


def _of_covariate(row: Row, end: str) -> Quantity | str:
    """A value of a covariate that was compared: a number, a month, a word of ours or of a record."""
    if not np.isnan(row["odds_per_sd"]):
        return short(float(row[end]))
    if row["covariate"] == "month":
        return Sentence(MONTHS[int(row[end]) - 1])
    return Sentence(row[end]) if row[end] in OF_NO_RECORD else str(row[end])


def _times(p: float) -> Sentence:
    """A probability as a recorder says it."""
    tenths = round(10 * p)
    if 0 < tenths < 10:
        return say("about {times} in 10", times=count(tenths, "time"))
    return Sentence("nearly always" if tenths else "hardly ever")
