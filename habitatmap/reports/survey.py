"""The survey as a page of sections, as tables and as a few lines for the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from habitatmap.export.folder import write_folder
from habitatmap.export.formats import csv_text, json_text, plain
from habitatmap.page.drawings import Mark, bars, intervals
from habitatmap.page.sections import Drawing, Section, Table, report_page
from habitatmap.survey.account import DESIGNS, SURE, WANTED_ERRORS, Account
from habitatmap.survey.effects import APART
from habitatmap.survey.effort import blank_visits
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.probabilities import ENOUGH_DETECTIONS, ENOUGH_TWICE
from habitatmap.words.cautions import HYGIENE, LITTER, LOCAL

UNKNOWN = "not known"
MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
# what a covariate is called on the page
COVARIATES = {
    "shade": "shade",
    "container": "container",
    "filling": "filling",
    "volume_l": "volume in litres",
    "age_days": "days the pool had stood when the season's looks began",
    "forage_score": "forage within flight (0-1)",
    "dead_wood_score": "dead wood within flight (0-1)",
    "places_near": "breeding places in reach (likely occupied ones, each weighed by distance)",
    "month": "month",
    "days_out": "days since the pool was set out",
    "observer": "observer",
}


def write_survey(
    told: Account,
    folder: str | Path,
    more: Sequence[Section] = (),
    tables: Mapping[str, pd.DataFrame] | None = None,
    summary: Mapping[str, Any] | None = None,
) -> None:
    """Writes the page and the tables into `folder`, which is replaced in one step.

    `more` sections come last, `tables` by file name beside our own, `summary` into survey.json.
    """
    files = {
        "survey.html": survey_page(told, more),
        "pools.csv": csv_text(told.pools),
        "estimates.csv": csv_text(estimates(told)),
        "models.csv": csv_text(models(told)),
        "effects.csv": csv_text(told.effects),
        "effort.csv": csv_text(told.effort),
        "survey.json": json_text({**survey_summary(told), **(summary or {})}),
    } | {name: csv_text(table) for name, table in (tables or {}).items()}

    def fill(fresh: Path) -> None:
        for name, text in files.items():
            (fresh / name).write_bytes(text.encode("utf-8"))

    write_folder(Path(folder).resolve(), fill)


def survey_page(told: Account, more: Sequence[Section] = ()) -> str:
    """survey.html."""
    as_of = f"As of {told.as_of.isoformat()}. For the team: it names pools and observers."
    return report_page(told.title, "What is really in the pools", as_of, [*sections(told), *more])


# --- figures as tables -----------------------------------------------------------------------------------------------


def estimates(told: Account) -> pd.DataFrame:
    """estimates.csv: figure, value, low, high (95 %), se, method, basis - every figure about the survey as a whole."""
    s, few = told.known.summary, told.few
    nothing = (np.nan, np.nan, np.nan, np.nan)
    p_ends = told.fit.interval(part="p") if not few else (np.nan, np.nan)
    rows: list[tuple[Any, ...]] = [
        ("naive share", s["naive"], np.nan, np.nan, np.nan, "share of the pools looked at where larvae were seen", ""),
        (
            "occupancy",
            *_given(s, "estimate", "low", "high", "se"),
            "maximum likelihood, profile likelihood",
            s["basis"],
        ),
        ("detection", *((told.fit.p, *p_ends, told.fit.p_se) if not few else nothing), "the same fit", s["basis"]),
        (
            "occupancy, interval widened by overdispersion",
            s["estimate"] if not few else np.nan,
            *told.widened,
            np.nan,
            "profile likelihood, limit times the overdispersion",
            "",
        ),
        (
            "occupancy, whole squares of ground resampled",
            s["estimate"] if not few else np.nan,
            told.blocks.low,
            told.blocks.high,
            np.nan,
            f"{told.blocks.towns} towns of squares of {told.blocks.side_m:g} m" if not told.blocks.why else "",
            told.blocks.why,
        ),
        (
            "occupancy, weighed with an expert value",
            told.weak.psi,
            *told.weak.interval(),
            told.weak.psi_se,
            "posterior mean and central interval, summed on a grid",
            told.known.prior.words(),
        ),
        (
            "detection, weighed with an expert value",
            told.weak.p,
            *told.weak.interval(part="p"),
            told.weak.p_se,
            "posterior mean and central interval, summed on a grid",
            told.known.prior.words(),
        ),
    ]
    for share, figures in (s["false_positives"] or {}).items():
        name = f"occupancy, if {share} of looks at empty pools reported larvae"
        rows.append((name, *_given(figures, "estimate", "low", "high"), np.nan, "what-if, profile likelihood", ""))
    f = told.false_positives
    rows.append(
        ("occupancy, mistakes told by checked finds", f.psi, f.low, f.high, np.nan, "maximum likelihood", f.why)
    )
    for row in told.species.iloc[1:].to_dict("records"):
        ends = _given(row, "estimate", "low", "high", "se")
        rows.append((f"occupancy of {row['taxon']}", *ends, "maximum likelihood", row["basis"]))
    for row in told.seasons.each.to_dict("records"):
        ends = _given(row, "estimate", "low", "high", "se")
        rows.append((f"occupancy in {row['season']}", *ends, "maximum likelihood", row["basis"]))
    for row in told.seasons.change.to_dict("records"):
        name = f"between seasons: {row['part']}"
        rows.append((name, row["estimate"], row["low"], row["high"], np.nan, "profile likelihood", told.seasons.shown))
    heads = ["figure", "value", "low", "high", "se", "method", "basis"]
    numbers = dict.fromkeys(heads[1:5], np.float64)
    return pd.DataFrame([[np.nan if v is None else v for v in row] for row in rows], columns=heads).astype(numbers)


def models(told: Account) -> pd.DataFrame:
    """models.csv: all models compared, the best first, then the covariates that were not tried, with the reason."""
    rest = [
        {part: name, "identifiable": False, "why": f"not tried: {why}"} for part, name, why in told.covariates.left_out
    ]
    table = pd.DataFrame([*told.models.to_dict("records"), *rest], columns=told.models.columns)
    table[["psi", "p"]] = table[["psi", "p"]].fillna("")
    table.insert(2, "covariates", (table["psi"] != "").astype(int) + (table["p"] != ""))
    return table


def survey_summary(told: Account) -> dict[str, Any]:
    """survey.json: the same and everything else, None where not known."""
    g, c, b, f = told.goodness, told.clustering, told.blocks, told.false_positives
    summary = {
        "title": told.title,
        "as_of": told.as_of.isoformat(),
        "occupancy": told.known.summary,
        "warnings": told.known.warnings,
        "estimates": estimates(told).to_dict("records"),
        "identifiable": {"yes": told.fit.identifiable, "why": told.fit.why},
        "posterior_numerical_error": told.weak.numerical_error,
        "goodness_of_fit": {
            "chi_square": g.chi_square,
            "p_value": g.p_value,
            "overdispersion": g.overdispersion,
            "surveys": g.surveys,
        },
        "models": models(told).to_dict("records"),
        "effects": told.effects.to_dict("records"),
        "false_positives": {"p": f.p, "checked": f.checked, "false_share": f.false_share, "why": f.why},
        "place": {
            "moran": {"i": c.i, "expected": c.expected, "p_value": c.p_value, "why": c.why},
            "blocks": {"low": b.low, "high": b.high, "blocks": b.blocks, "side_m": b.side_m, "why": b.why},
        },
        "effort": told.effort.to_dict("records"),
        "effort_for": {"occupancy": told.sure[0], "detection": told.sure[1], "basis": told.sure[2]},
        "seasons": {
            "each": told.seasons.each.to_dict("records"),
            "same_pools": told.seasons.same,
            "change": told.seasons.change.to_dict("records"),
            "shown": told.seasons.shown,
        },
    }
    content: dict[str, Any] = plain(summary)
    return content


def survey_text(told: Account) -> str:
    """A few lines and a table for the terminal."""
    s = told.known.summary
    seen = [] if s["naive"] is None else [f"Larvae were seen in {_percent(s['naive'])} of them."]
    lines = [told.title, "", _looked(told), *seen, ""]
    rows = [("", "estimate", "95 % interval")]
    for row in estimates(told).to_dict("records"):
        if not np.isnan(row["value"]):
            rows.append((row["figure"], _percent(row["value"]), _range(row["low"], row["high"], "-")))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines += ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines += ["", s["basis"][0].upper() + s["basis"][1:] + ".", told.goodness.words(), told.clustering.words()]
    lines += [f"Seasons: {told.seasons.shown}.", *told.known.warnings]
    return "\n".join(lines) + "\n"


# --- the page, section by section ------------------------------------------------------------------------------------


def sections(told: Account) -> list[Section]:
    """The page's sections, in order."""
    return [
        _what_was_looked_at(told),
        _estimate(told),
        _detection(told),
        _fits(told),
        _where_larvae_live(told),
        _mistakes(told),
        _species(told),
        _each_pool(told),
        _place(told),
        _next_season(told),
        _several_seasons(told),
    ]


def _what_was_looked_at(told: Account) -> Section:
    looks, s = told.known.searches, told.known.summary
    left = [(reason, count) for reason, count in looks.left_out.items() if count]
    dates = looks.dates[looks.rows >= 0]
    month = pd.Series(dates).dt.month
    found = pd.Series(looks.histories[looks.rows >= 0] == 1)
    per_month = [
        (MONTHS[m - 1], int(found[month == m].sum()), int((~found[month == m]).sum())) for m in sorted(month.unique())
    ]
    drawings = []
    if per_month:
        picture = bars(per_month, "Looks by month, with and without larvae", ("larvae", "none seen"))
        drawings = [Drawing(picture, "Looks by month: filled where larvae were seen, outlined where none were.")]
    tables = [Table("Looks by month", ["Month", "Larvae", "None seen"], per_month)] if per_month else []
    if left:
        tables.append(Table("Visits left out of the estimate", ["Why", "Visits"], left))
    too_few = (
        f"Too few to estimate: {s['basis'].split(': ', 1)[1].split(';')[0]}. Counts are shown, and where a chance is "
        "needed it leans on a stated expert value."
        if s["basis"].startswith("too few")
        else ""
    )
    return Section(
        "looked-at",
        "What was looked at",
        _looked(told),
        words=[
            "Only looks count: a visit that found the pool dry, frozen or gone, or did not reach it, says nothing "
            "about larvae, nor does a look within a week of set-out. They stay in the records. One estimate takes the "
            "looks of one calendar year.",
            f"An estimate is made from {ENOUGH_DETECTIONS} looks with larvae and {ENOUGH_TWICE} pools looked at twice "
            "on (expert judgement); below that there are counts only.",
        ],
        drawings=drawings,
        tables=tables,
        cautions=[*([too_few] if too_few else []), *told.known.warnings],
    )


def _looked(told: Account) -> str:
    looks, s = told.known.searches, told.known.summary
    pools = len(looks.pools)
    if not pools:
        return "There is no pool yet."
    if not s["pools_visited"]:
        return f"No look counts for any of {pools} pools."
    said = f"{s['pools_visited']} of {pools} pools were looked into, {s['searches']} times in all, {s['period']}"
    left = sum(looks.left_out.values())
    return f"{said}; {left} visits were left out, with the reason." if left else f"{said}."


def _estimate(told: Account) -> Section:
    s, few = told.known.summary, told.few
    weak_low, weak_high = told.weak.interval()
    lead = f"Larvae were seen in {_percent(s['naive'])} of the pools looked at. " if s["naive"] is not None else ""
    if few:
        lead += f"How many really hold larvae: {s['basis'].split(';')[0]}."
    else:
        lead += (
            f"Since a look can miss them, more pools hold larvae: about {_percent(s['estimate'])}, "
            f"and anything from {_percent(s['low'])} to {_percent(s['high'])} would fit the looks."
        )
    marks = [] if s["naive"] is None else [Mark("seen", s["naive"], said=_percent(s["naive"]))]
    if not few:
        marks.append(_mark("really occupied", s["estimate"], s["low"], s["high"]))
        if not np.isnan(told.blocks.low):
            marks.append(_mark("the same, whole squares resampled", None, told.blocks.low, told.blocks.high))
        if told.widened != (s["low"], s["high"]) and told.goodness.overdispersion > 1:
            marks.append(_mark("the same, widened for misfit", None, *told.widened))
    marks.append(_mark("weighed with an expert value", told.weak.psi, weak_low, weak_high))
    words = [
        f"Of what is known about it, {_percent(s['from_data'])} came from the looks and the rest from the expert value "
        f"({told.known.prior.words()}). The map uses the weighed figure. It was summed on a grid; a grid half as fine "
        f"gives the same to {_decimals(told.weak.numerical_error)} decimals.",
        "All this describes pools where people put them. It says nothing about ground unlike theirs.",
    ]
    if not told.fit.identifiable:
        words.insert(0, f"The looks alone give no regular estimate: {told.fit.why}.")
    rows = [
        (row["figure"], _percent(row["value"]), _range(row["low"], row["high"]), row["method"], row["basis"])
        for row in estimates(told).to_dict("records")
        if row["figure"].split(",")[0] in ("naive share", "occupancy") and "if " not in row["figure"]
    ]
    heads = ["Figure", "Share of pools", "95 % interval", "How", "From"]
    return Section(
        "estimate",
        "How many pools really hold larvae",
        lead,
        words=words,
        drawings=[
            Drawing(intervals(marks, "Occupancy as seen and as estimated, 0 to 100 %"), "From 0 to 100 % of pools.")
        ],
        tables=[Table("Occupancy, as seen and as estimated", heads, rows)],
    )


def _detection(told: Account) -> Section:
    basis = told.sure[2]
    low, high = (told.fit if not told.few else told.weak).interval(part="p")
    value = told.fit.p if not told.few else told.weak.p
    lead = (
        f"A look at a pool with larvae finds them about {_times(value)}: detection {_percent(value)} "
        f"({_range(low, high)})."
    )
    if told.few:
        lead += " This leans on an expert value, as the looks are too few to tell it."
    looks = range(1, 9)
    marks = [_mark(f"{k} look{'s' * (k > 1)}", _found(value, k), _found(low, k), _found(high, k)) for k in looks]
    rows = [(k, _percent(_found(value, k)), _range(_found(low, k), _found(high, k))) for k in looks]
    heads = ["Looks", "Chance to see them", "95 % interval"]
    return Section(
        "detection",
        "How easily larvae are missed",
        lead,
        words=[f"The chance that larvae which are there have been seen at least once, after so many looks ({basis})."],
        drawings=[Drawing(intervals(marks, "Chance to have seen the larvae, by number of looks"), "From 0 to 100 %.")],
        tables=[Table("Seen at least once, where larvae live", heads, rows)],
    )


def _fits(told: Account) -> Section:
    g = told.goodness
    rows = [
        (h["history"], h["sites"], h["observed"], f"{h['expected']:.1f}")
        for h in g.histories.sort_values(["observed", "history"], ascending=[False, True]).head(12).to_dict("records")
    ]
    heads = ["History", "Places with these looks", "Seen", "Expected"]
    words = [
        "The check compares how often each history of looks was seen and how often the model expects it, with surveys "
        "simulated from the model (MacKenzie & Bailey 2004). Overdispersion near 1 is as it should be; above it, the "
        "intervals are too narrow by its square root."
    ]
    if not told.few and g.overdispersion > 1:
        words.append(f"With it, the interval of occupancy becomes {_range(*told.widened)}.")
    return Section(
        "fit",
        "Does the model fit",
        g.words(),
        words=words,
        tables=[Table("The commonest histories: 1 larvae, 0 none seen, a dot no look", heads, rows)]
        if g.surveys
        else [],
    )


def _where_larvae_live(told: Account) -> Section:
    finds = told.known.summary["detections"]
    allowed = finds // PER_COVARIATE
    apart = told.effects[told.effects["words"] == APART]
    if told.few:
        lead = "The looks are too few to say what larvae like."
    elif len(apart):
        names = " and ".join(dict.fromkeys(_named(row["covariate"]) for row in apart.to_dict("records")))
        lead = (
            f"{len(apart)} of {len(told.effects)} comparisons show{'s' * (len(apart) == 1)} a difference ({names}); "
            "one in twenty does so by chance alone. By everything else the pools cannot be told apart."
        )
    else:
        lead = "No difference shows: whatever was noted about the pools and the looks, they cannot be told apart by it."
    effects = [
        (
            _named(row["covariate"]),
            row["part"],
            f"{row['from']} to {row['to']}",
            f"{_percent(row['probability_from'])} to {_percent(row['probability_to'])}",
            _points(row["difference"], row["low"], row["high"]),
            "" if np.isnan(row["odds_per_sd"]) else f"{row['odds_per_sd']:.2f}",
            row["words"],
        )
        for row in told.effects.to_dict("records")
    ]
    compared = [
        (
            _terms(row["psi"]),
            _terms(row["p"]),
            row["coefficients"],
            _number(row["aic"], 1),
            _number(row["delta"], 1),
            _number(row["weight"], 2),
            row["why"],
        )
        for row in told.models.to_dict("records")
    ]
    tables = []
    if effects:
        heads = ["What", "Of", "From - to", "Chance", "Difference in points", "Odds per s.d.", "Told apart"]
        note = (
            "Each by itself, under a weak prior. Numbers are compared between their quartiles, kinds with the "
            "commonest one. Of many comparisons one in twenty shows a difference by chance. The figures are means over "
            "draws of the posterior, good to about a fortieth of the width of their interval."
        )
        tables.append(Table("What larvae like, and what helps to see them", heads, effects, note))
    heads = ["Occupancy by", "Detection by", "Coefficients", "AIC", "Above the best", "Weight", "Remark"]
    note = " ".join(told.covariates.notes)
    tables.append(Table("All models that were compared, the best first", heads, compared, note))
    return Section(
        "covariates",
        "What larvae like",
        lead,
        words=[
            f"With {finds} looks with larvae at most {allowed} coefficient{'s' * (allowed != 1)} can be told "
            f"(one per {PER_COVARIATE}, common practice). The list of models was fixed before the looks were read: "
            "none, then each covariate alone; all are shown. A difference is no cause: pools were not dealt out at "
            "random."
        ],
        tables=tables,
    )


def _mistakes(told: Account) -> Section:
    s, f = told.known.summary, told.false_positives
    shares: Mapping[str, Any] = s["false_positives"] or {}
    marks = [] if told.few else [_mark("no mistakes", s["estimate"], s["low"], s["high"])]
    marks += [_mark(f"{share} mistakes", *_given(v, "estimate", "low", "high")) for share, v in shares.items()]
    if not f.why:
        marks.append(_mark("mistakes told by checked finds", f.psi, f.low, f.high))
    rows = [(m.label, m.said, _range(m.low, m.high)) for m in marks]
    if told.few:
        lead = "The looks are too few to ask what mistaken sightings would change."
    else:
        worst = list(shares.values())[-1]
        lead = (
            f"If one look in twenty at an empty pool reported larvae by mistake, about {_percent(worst['estimate'])} "
            f"of the pools would hold larvae ({_range(worst['low'], worst['high'])}), not {_percent(s['estimate'])}."
        )
    words = (
        f"The finds that were checked tell how many of the others are mistaken: {_percent(f.false_share)} of the looks "
        f"at empty pools; then {_percent(f.psi)} of the pools are occupied ({_range(f.low, f.high)})."
        if not f.why
        else f"The share of mistakes cannot be told from the checked finds: {f.why}. Have some larvae checked."
    )
    what = "Occupancy with so many mistaken sightings, 0 to 100 %"
    return Section(
        "mistakes",
        "What if some sightings are wrong",
        lead,
        words=[words],
        drawings=[Drawing(intervals(marks, what), "From 0 to 100 % of pools.")] if marks else [],
        tables=[Table("Occupancy under mistakes", ["Mistakes", "Share of pools", "95 % interval"], rows)]
        if rows
        else [],
    )


def _species(told: Account) -> Section:
    rows = [
        (
            row["taxon"],
            row["detections"],
            row["searches"],
            _percent(row["naive"]),
            _percent(row["estimate"]),
            _range(row["low"], row["high"]),
            row["basis"],
        )
        for row in told.species.to_dict("records")
    ]
    lead = (
        f"{len(rows) - 1} kinds were named by a check; each is fitted apart from the rest."
        if len(rows) > 1
        else "No larvae were checked to a species: everything here is about the group."
    )
    heads = ["Kind", "Finds", "Looks that can tell", "Seen in", "Really in", "95 % interval", "From"]
    return Section(
        "species",
        "Which kinds",
        lead,
        words=[
            "Rat-tailed larvae can be told as a group in the field; a species needs somebody who knows. Larvae that "
            "nobody checked are no look for a species."
        ],
        tables=[Table("The group, and each checked kind", heads, rows)],
    )


def _each_pool(told: Account) -> Section:
    psi, p, basis = told.sure
    needed = blank_visits(p, SURE, psi)
    frame = told.pools.assign(order=np.where(told.pools["detections"] > 0, 1, 0))
    frame = frame.sort_values(["order", "value", "pool"], ascending=[True, False, True])
    rows = [
        (
            row["pool"],
            row["searches"],
            row["detections"],
            _percent(row["occupancy"]),
            _range(row["occupancy_low"], row["occupancy_high"]),
            "" if np.isnan(row["more_needed"]) else f"{row['more_needed']:.0f}",
            f"{row['value']:.3f}",
            row["basis"],
        )
        for row in frame.to_dict("records")
    ]
    after = [
        (k, _percent(psi * (1 - p) ** k / (1 - psi + psi * (1 - p) ** k))) for k in dict.fromkeys([*range(7), needed])
    ]
    heads = ["Pool", "Looks", "Finds", "Chance", "95 % interval", "More blank looks needed", "Worth of a look", "From"]
    note = (
        f"More blank looks needed: until the pool is empty with {_percent(SURE)} certainty. Worth of a look: how much "
        "one more look is expected to settle (0 nothing, 0.25 everything). Pools without a find come first, the most "
        "worth first."
    )
    return Section(
        "pools",
        "Is this pool really empty",
        f"A pool that was never looked into holds larvae with a chance of about {_percent(psi)}; it takes {needed} "
        f"blank looks in a row to be {_percent(SURE)} sure that it is empty.",
        words=[
            f"Reckoned with {basis}: occupancy {_percent(psi)}, detection {_percent(p)}. The chance of each pool below "
            "is conditional on its own looks; where larvae were seen this season it is 100 %."
        ],
        tables=[
            Table("After so many blank looks", ["Blank looks", "Chance that larvae are there"], after),
            Table("Every pool, and where one more look teaches most", heads, rows, note),
        ],
    )


def _place(told: Account) -> Section:
    b = told.blocks
    words = (
        f"An interval that takes whole squares of {b.side_m:g} m, not single pools, as what was sampled: "
        f"{_range(b.low, b.high)} ({b.blocks} squares, {b.towns} resampled towns)."
        if not b.why
        else f"An interval by whole squares of ground cannot be given: {b.why}."
    )
    pools, places = len(told.known.searches.pools), told.fit.n_sites
    return Section(
        "place",
        "Where the pools stand",
        told.clustering.words(),
        words=[
            words,
            f"Pools were put where people had ground and leave, not at random. {pools} pools, {places} looked-at "
            "places: pools within the distance merge_m of each other count once. The map of chances is grey where no "
            "pool like it was looked at.",
        ],
    )


def _next_season(told: Account) -> Section:
    psi, p, basis = told.sure
    standard = told.effort.iloc[0]
    budget = told.budget
    lead = (
        f"For a given number of visits, {standard['best_visits']} visits a pool tell most; "
        f"{standard['hours']:g} hours pay for {standard['pools']} pools with {standard['visits']} visits each, and "
        f"leave a standard error of {100 * standard['error']:.0f} points."
    )
    rows = [
        (
            DESIGNS[row["design"]],
            row["best_visits"],
            *(row[f"pools_for_{e:g}"] for e in WANTED_ERRORS),
            f"{row['visits']} visits, {row['pools']} pools",
            f"{100 * row['error']:.1f}",
        )
        for row in told.effort.to_dict("records")
    ]
    heads = [
        "Design",
        "Best visits a pool",
        *(f"Pools for an error of {100 * e:g} points" for e in WANTED_ERRORS),
        "From the budget",
        "Error then, points",
    ]
    given = "as given" if budget.hours is not None else "as much as this season took"
    top = told.pools.sort_values(["value", "pool"], ascending=[False, True]).head(5)["pool"].tolist()
    return Section(
        "effort",
        "Next season's visits",
        lead,
        words=[
            f"Reckoned with {basis}: occupancy {_percent(psi)}, detection {_percent(p)} (MacKenzie & Royle 2005). The "
            f"budget is {standard['hours']:g} hours ({given}), a visit takes {budget.visit_hours:g} h with its way "
            f"and a pool {budget.pool_hours:g} h besides (options --hours, --visit-hours, --pool-hours).",
            f"Where one more look teaches most now: {', '.join(top)}." if top else "No pool is known.",
        ],
        tables=[Table("Both designs", heads, rows)],
        cautions=[HYGIENE, LITTER, LOCAL],
    )


def _several_seasons(told: Account) -> Section:
    seasons = told.seasons
    each = [
        (
            row["season"],
            row["pools_visited"],
            row["searches"],
            _percent(row["naive"]),
            _percent(row["estimate"]),
            _range(row["low"], row["high"]),
        )
        for row in seasons.each.to_dict("records")
    ]
    marks = [
        _mark(str(row["season"]), row["estimate"], row["low"], row["high"])
        for row in seasons.each.to_dict("records")
        if row["estimate"] is not None and not np.isnan(row["estimate"])
    ]
    change = [
        (SEASON_PARTS[row["part"]], _percent(row["estimate"]), _range(row["low"], row["high"]))
        for row in seasons.change.to_dict("records")
    ]
    heads = ["Season", "Pools", "Looks", "Seen in", "Really in", "95 % interval"]
    tables = [Table("Each season by itself", heads, each)] if each else []
    if change:
        tables.append(Table("From season to season", ["What", "Estimate", "95 % interval"], change))
    what = "Occupancy of each season, 0 to 100 %"
    return Section(
        "seasons",
        "From season to season",
        f"{seasons.shown[0].upper()}{seasons.shown[1:]}.",
        words=[
            "A change is told only from the same pools, looked at in the same way, over at least three seasons "
            f"(MacKenzie et al. 2003). {seasons.same} pools were looked at in every season."
        ],
        drawings=[Drawing(intervals(marks, what), "From 0 to 100 % of pools.")] if marks else [],
        tables=tables,
    )


SEASON_PARTS = {
    "first": "occupied in the first season",
    "colonised": "an empty pool is colonised by the next season",
    "lost": "an occupied pool is empty in the next season",
    "detection": "detection",
    "last less first": "last season less the first",
}


# --- words -----------------------------------------------------------------------------------------------------------


def _given(part: Mapping[Any, Any], *names: str) -> tuple[Any, ...]:
    return tuple(np.nan if part[name] is None else part[name] for name in names)


def _mark(label: str, value: Any, low: Any, high: Any) -> Mark:
    if value is None:
        return Mark(label, None, float(low), float(high), _range(low, high))
    if np.isnan(value):
        return Mark(label, None, said=UNKNOWN)
    return Mark(label, float(value), float(low), float(high), _percent(value))


def _percent(value: Any) -> str:
    return UNKNOWN if value is None or np.isnan(value) else f"{100 * value:.0f} %"


def _range(low: Any, high: Any, nothing: str = "") -> str:
    if low is None or np.isnan(low):
        return nothing
    return f"{100 * low:.0f} %" if low == high else f"{100 * low:.0f} to {100 * high:.0f} %"


def _points(value: float, low: float, high: float) -> str:
    return f"{100 * value:+.0f} ({100 * low:+.0f} to {100 * high:+.0f})"


def _number(value: float, digits: int) -> str:
    return "" if np.isnan(value) else f"{value:.{digits}f}"


def _decimals(error: float) -> int:
    """To how many decimals a figure is right, at most 12."""
    return 12 if error < 1e-12 else max(0, math.floor(-math.log10(2 * error)))


def _named(covariate: str) -> str:
    return COVARIATES.get(covariate, covariate)


def _terms(names: str) -> str:
    return ", ".join(_named(name) for name in names.split(", ")) if names else "the same everywhere"


def _found(p: Any, looks: int) -> float:
    return float(1 - (1 - p) ** looks)


def _times(p: float) -> str:
    """A chance as a recorder says it."""
    tenths = round(10 * p)
    return "nearly always" if tenths >= 10 else "hardly ever" if tenths <= 0 else f"{tenths} times in 10"
