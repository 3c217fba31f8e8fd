"""The survey's figures as tables, as JSON and as a few lines for the terminal."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from habitatmap.export.formats import plain
from habitatmap.page.sections import aligned
from habitatmap.survey.account import Account
from habitatmap.survey.figures import Here, SeasonFigures
from habitatmap.survey.fit import OneNumber
from habitatmap.survey.seasons import Part
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
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import known, percent, sentence, span
from habitatmap.words.sentences import Quantity, Sentence, say
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
MAXIMUM, BY_PROFILE = Sentence("maximum likelihood"), Sentence("maximum likelihood, profile likelihood")
POSTERIOR = Sentence("posterior mean and central interval")
NAIVE = Sentence("pools with larvae / pools searched")
HERE = Sentence("occupancy of the pools searched that stand")
WHAT_IF = "occupancy, if {share} of searches at empty pools are false positives"
SUMMED = Sentence("conditional occupancy, summed over the pools")


class Line(NamedTuple):
    """A line of estimates.csv, and what it is about."""

    about: About
    figure: Sentence
    ends: Ends
    se: float
    method: Sentence
    basis: Sentence


def estimates(told: Account) -> pd.DataFrame:
    """estimates.csv: figure, value, low, high (95 %), se, method, basis - every figure about the survey as a whole."""
    rows = [(line.figure, *line.ends, line.se, line.method, line.basis) for line in all_lines(told)]
    return pd.DataFrame(rows, columns=["figure", "value", "low", "high", "se", "method", "basis"])


def all_lines(told: Account) -> list[Line]:
    """Every figure, in the order of estimates.csv."""
    s, nan, b, f = told.known.figures, np.nan, told.blocks, told.false_positives
    none, from_what, prior = Sentence(""), basis(s), prior_words(told.known.prior)
    squares = say("{n} resamples of squares of {side}", n=b.towns, side=Quantity(b.side_m, unit="m"))
    pools, detected, bayesian = About.OCCUPANCY, About.DETECTION, s.posterior
    occupancy, together = by_itself(told, "occupancy"), s.method is Method.SEASONS
    method = POSTERIOR if together else BY_PROFILE
    psi = season_alone(told).estimate
    p = OneNumber(nan, nan, nan, nan) if told.few else told.fit.one("p")
    middle = (bayesian.value, bayesian.low, bayesian.high)
    resampled = say("{occupancy}, whole squares resampled", occupancy=occupancy)
    verified = say("{occupancy}, error rate from verified records", occupancy=occupancy)
    lines = [
        Line(About.NAIVE, Sentence("naive occupancy"), (s.naive, nan, nan), nan, NAIVE, none),
        Line(pools, Sentence("occupancy"), ends_of(s), s.se, method, from_what),
        Line(pools, HERE, _share_here(s.here), nan, SUMMED, from_what),
        Line(pools, resampled, (psi, b.low, b.high), nan, none if b.why else squares, why_of(b.why)),
        Line(pools, Sentence("occupancy, Bayesian estimate"), middle, nan, POSTERIOR, prior),
        Line(detected, by_itself(told, "detection"), p[:3], p.se, BY_PROFILE, none),
        Line(detected, Sentence("detection, Bayesian estimate"), detection(told), nan, POSTERIOR, prior),
        *(
            Line(About.WHAT_IF, say(WHAT_IF, share=percent(w.false_share)), (w.psi, w.low, w.high), nan,
                 say("what-if, {method}", method=method), none)
            for w in told.known.false_positives
        ),
        Line(pools, verified, (f.psi, f.low, f.high), nan, MAXIMUM, why_of(f.why)),
    ]  # fmt: skip
    named = [(About.SPECIES, say("occupancy of {taxon}", taxon=taxon), figures) for taxon, figures in told.species[1:]]
    lines += [
        Line(About.SEASON, say("occupancy in {season}, from all seasons", season=str(season)),
             (e.value, e.low, e.high), nan, POSTERIOR, prior)
        for season, e in zip(s.seasons, s.together, strict=True)
        if together and season <= (s.season or season)
    ]  # fmt: skip
    each = told.seasons.each if len(told.seasons.each) > 1 else ()
    named += [(About.SEASON, _alone("occupancy", figures.season), figures) for figures in each]
    lines += [
        Line(about, name, ends_of(figures), figures.se, MAXIMUM, basis(figures)) for about, name, figures in named
    ]
    shown = trend(told.seasons)
    for row in told.seasons.change.to_dict("records"):
        ends = (row["estimate"], row["low"], row["high"])
        lines.append(
            Line(About.CHANGE, say("between seasons: {part}", part=Part(row["part"])), ends, nan, POSTERIOR, shown)
        )
    return lines


def pool_rows(told: Account) -> pd.DataFrame:
    """pools.csv: a row per pool."""
    rests_on = [str(basis) for basis in pool_bases(told.known.pools)]
    seen = told.pools["last_seen"].astype("Int64")
    return told.pools.assign(basis=rests_on, last_seen=seen).drop(columns=["since", "surroundings"])


def models(told: Account) -> pd.DataFrame:
    """models.csv: all models compared, the best first, then the covariates that were not tried, with the reason."""
    rest = [
        {part: name, "identifiable": False, "why": say("not tried: {why}", why=said(why))}
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
        "occupancy": occupancy_part(told.known),
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


def survey_text(told: Account, spoken: Catalogue = ENGLISH) -> str:
    """A few lines and a table for the terminal, in a language."""
    s = told.known.figures
    rows = [("", "estimate", "95 % interval")]
    rows += [
        (r.figure, percent(r.ends[0]), span(*r.ends[1:], unknown="-")) for r in all_lines(told) if known(r.ends[0])
    ]
    begin = opening(s, len(told.known.searches.pools))
    table = aligned([[spoken.say(cell) for cell in row] for row in rows])
    lines = [say("{basis}.", basis=sentence(basis(s))), goodness(told.goodness), clustering(told.clustering)]
    lines += [say("Seasons: {trend}.", trend=trend(told.seasons)), *noted(told.known.warnings)]
    said = [told.records.title, "", *map(spoken.say, begin), "", *table, "", *map(spoken.say, lines)]
    return "\n".join(said) + "\n"


# --- small helpers ---------------------------------------------------------------------------------------------------


def ends_of(figures: SeasonFigures) -> Ends:
    """Occupancy and its 95 % interval."""
    return figures.estimate, figures.low, figures.high


def by_itself(told: Account, what: str) -> Sentence:
    """A figure of the headline's season: "occupancy in 2025 alone" where the headline is of all seasons together."""
    figures = told.known.figures
    return _alone(what, figures.season) if figures.method is Method.SEASONS else Sentence(what)


def _alone(what: str, season: int | None) -> Sentence:
    return say("{what} in {season} alone", what=Sentence(what), season=str(season))


def season_alone(told: Account) -> SeasonFigures:
    """The figures of the headline's season by itself: the headline where it has no other."""
    figures = told.known.figures
    together = figures.method is Method.SEASONS
    return next((one for one in told.seasons.each if together and one.season == figures.season), figures)


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


def why_of(note: Note | None) -> Sentence:
    """A reason as a sentence; "" of none."""
    return Sentence("") if note is None else said(note)
