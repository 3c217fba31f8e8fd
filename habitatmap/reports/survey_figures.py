"""The survey's figures as tables, as JSON and as a few lines for the terminal."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from habitatmap.export.formats import plain
from habitatmap.page.sections import aligned
from habitatmap.survey.account import Account
from habitatmap.survey.constant import WhatIf
from habitatmap.survey.figures import Here, SeasonFigures
from habitatmap.survey.fit import OneNumber
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.note import Note
from habitatmap.words.bases import (
    basis,
    clustering,
    goodness,
    noted,
    occupancy_part,
    pool_bases,
    prior_words,
    reasons,
    seasons_part,
    trend,
    worded,
)
from habitatmap.words.bases import told as said
from habitatmap.words.numbers import known, percent, sentence, span
from habitatmap.words.survey import opening


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
POSTERIOR = "posterior mean and central interval"
SUMMED = "conditional occupancy, summed over the pools"


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
    rows = [(line.figure, *line.ends, line.se, line.method, line.basis) for line in all_lines(told)]
    return pd.DataFrame(rows, columns=["figure", "value", "low", "high", "se", "method", "basis"])


def all_lines(told: Account) -> list[Line]:
    """Every figure, in the order of estimates.csv."""
    s, nan, b, f = told.known.figures, np.nan, told.blocks, told.false_positives
    from_what, alone, prior = basis(s), by_itself(told), prior_words(told.known.prior)
    resampled = "" if b.why else f"{b.towns} resamples of squares of {b.side_m:g} m"
    what_if = "occupancy, if {} of searches at empty pools are false positives"
    pools, detected, bayesian = About.OCCUPANCY, About.DETECTION, s.posterior
    method = POSTERIOR if alone else f"{MAXIMUM}, {PROFILE}"
    psi = season_alone(told).estimate
    p = OneNumber(nan, nan, nan, nan) if told.few else told.fit.one("p")
    middle = (bayesian.value, bayesian.low, bayesian.high)
    verified = f"occupancy{alone}, error rate from verified records"
    squares = f"occupancy{alone}, whole squares resampled"
    lines = [
        Line(About.NAIVE, "naive occupancy", (s.naive, nan, nan), nan, "pools with larvae / pools searched", ""),
        Line(pools, "occupancy", ends_of(s), s.se, method, from_what),
        Line(pools, "occupancy of the pools searched that stand", _share_here(s.here), nan, SUMMED, from_what),
        Line(pools, squares, (psi, b.low, b.high), nan, resampled, why_of(b.why)),
        Line(pools, "occupancy, Bayesian estimate", middle, nan, POSTERIOR, prior),
        Line(detected, f"detection{alone}", p[:3], p.se, f"{MAXIMUM}, {PROFILE}", ""),
        Line(detected, "detection, Bayesian estimate", detection(told), nan, POSTERIOR, prior),
        *(
            Line(About.WHAT_IF, what_if.format(rate_of(w)), (w.psi, w.low, w.high), nan, f"what-if, {method}", "")
            for w in s.false_positives
        ),
        Line(pools, verified, (f.psi, f.low, f.high), nan, MAXIMUM, why_of(f.why)),
    ]  # fmt: skip
    named = [(About.SPECIES, f"occupancy of {taxon}", figures) for taxon, figures in told.species[1:]]
    together = [
        Line(About.SEASON, f"occupancy in {season}, from all seasons", (e.value, e.low, e.high), nan, POSTERIOR, prior)
        for season, e in zip(s.seasons, s.together, strict=True)
        if alone and season <= (s.season or season)
    ]
    each = told.seasons.each if len(told.seasons.each) > 1 else ()
    named += [(About.SEASON, f"occupancy in {figures.season} alone", figures) for figures in each]
    lines += together
    lines += [
        Line(about, name, ends_of(figures), figures.se, MAXIMUM, basis(figures)) for about, name, figures in named
    ]
    change = [
        (row["part"], (row["estimate"], row["low"], row["high"])) for row in told.seasons.change.to_dict("records")
    ]
    shown = trend(told.seasons)
    return lines + [
        Line(About.CHANGE, f"between seasons: {part}", ends, nan, POSTERIOR, shown) for part, ends in change
    ]


def pool_rows(told: Account) -> pd.DataFrame:
    """pools.csv: a row per pool."""
    rests_on = [str(basis) for basis in pool_bases(told.known.pools)]
    seen = told.pools["last_seen"].astype("Int64")
    return told.pools.assign(basis=rests_on, last_seen=seen).drop(columns=["since", "surroundings"])


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
        "non_detections": told.known.non_detections.to_dict("records"),
        "effort": told.effort.to_dict("records"),
        "effort_for": {"occupancy": psi, "detection": p, "basis": worded(planned)},
        "seasons": seasons_part(told.seasons) | {"change": change},
    }
    content: dict[str, Any] = plain(summary)
    return content


def _of(part: object, names: str) -> dict[str, object]:
    """Some fields of a part, by name; a reason as a sentence."""
    fields = {name: getattr(part, name) for name in names.split()}
    return fields | ({"why": why_of(fields["why"])} if "why" in fields else {})


def survey_text(told: Account) -> str:
    """A few lines and a table for the terminal."""
    s = told.known.figures
    rows = [("", "estimate", "95 % interval")]
    rows += [
        (r.figure, percent(r.ends[0]), span(*r.ends[1:], unknown="-")) for r in all_lines(told) if known(r.ends[0])
    ]
    begin = opening(s, len(told.known.searches.pools))
    lines = [told.records.title, "", *begin, "", *aligned(rows), ""]
    lines += [f"{sentence(basis(s))}.", goodness(told.goodness), clustering(told.clustering)]
    lines += [f"Seasons: {trend(told.seasons)}.", *noted(told.known.warnings)]
    return "\n".join(lines) + "\n"


# --- small helpers ---------------------------------------------------------------------------------------------------


def ends_of(figures: SeasonFigures) -> Ends:
    """Occupancy and its 95 % interval."""
    return figures.estimate, figures.low, figures.high


def by_itself(told: Account) -> str:
    """ " in 2025 alone", for a figure of the headline's season where the headline is of all seasons together."""
    figures = told.known.figures
    return f" in {figures.season} alone" if figures.method is Method.SEASONS else ""


def season_alone(told: Account) -> SeasonFigures:
    """The figures of the headline's season by itself: the headline where it has no other."""
    figures = told.known.figures
    return next((one for one in told.seasons.each if by_itself(told) and one.season == figures.season), figures)


def detection(told: Account) -> Ends:
    """The probability that a search detects larvae that are there, in the season of the headline (Bayesian)."""
    known, season = told.known, told.known.figures.season
    if season is None or season == known.season_now:
        return detection_now(told)
    found = known.detection_in(season)
    return found.value, found.low, found.high


def detection_now(told: Account) -> Ends:
    """The same in the season of the day, of which little may be known yet."""
    low, high = np.quantile(told.known.detection_draws, (0.025, 0.975))
    return told.known.detection, float(low), float(high)


def _share_here(here: Here) -> Ends:
    """The share of the pools searched that stand which likely hold larvae."""
    share, low, high = (n / here.pools if here.pools else np.nan for n in (here.occupied, here.low, here.high))
    return share, low, high


def rate_of(case: WhatIf) -> str:
    """The share of false positives of a what-if: "5 %"."""
    return f"{100 * case.false_share:g} %"


def why_of(note: Note | None) -> str:
    """A reason as a sentence; "" of none."""
    return "" if note is None else said(note)
