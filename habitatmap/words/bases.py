"""What the survey's figures rest on, what is missing for them and what to know before them: sentences from codes."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterable, Mapping
from enum import StrEnum
from typing import Any

import pandas as pd

from habitatmap.survey.codes import Irregular, Lacking, OnSurroundings, PlannedWith, PoolBasis, SurveyWarning, Trend
from habitatmap.survey.constant import Prior
from habitatmap.survey.figures import SeasonFigures
from habitatmap.survey.models import Goodness
from habitatmap.survey.probabilities import PoolOccupancy
from habitatmap.survey.seasons import Seasons
from habitatmap.survey.spatial_autocorrelation import Clustering
from habitatmap.survey.species import SpeciesFigures
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.note import Note, note
from habitatmap.vocabulary.window import Window
from habitatmap.words.months import MONTHS
from habitatmap.words.numbers import between, count, listed, p_words, percent, short
from habitatmap.words.sentences import Quantity, Sentence, apart, following, say

AT_LIMIT = "where no standard error holds; read the interval"
COVARIATES = {"forage_score": "forage", "dead_wood_score": "dead wood", "places_near": "breeding places near"}
GROUP = "all larvae, checked or not"
WHERE = "pools where people put them; applies only to similar sites"
# a code's sentence (or half of one) with its values by name; or a function of the values
TEXTS: Mapping[StrEnum, str | Callable[[Mapping[str, Any]], Sentence]] = {
    Irregular.NOT_SEARCHED: "no site was searched",
    Irregular.NO_DETECTION: "nothing was found at any search, so that rare and hard to find are not distinguishable",
    Irregular.SEARCHED_ONCE: "no site was searched more than once, so that only the product of occupancy and detection "
    "is known",
    Irregular.OCCUPANCY_AT_LIMIT: f"the estimate of occupancy lies at its limit of 1, {AT_LIMIT}",
    Irregular.DETECTION_AT_LIMIT: "every search of a site with a detection was a detection, so that detection lies at "
    f"its limit of 1, {AT_LIMIT}",
    Irregular.SEPARATION: lambda v: say(
        "too few data to limit {terms} of {part}, so that no standard error holds",
        terms=listed(v["terms"]),
        part=Sentence(v["part"]),
    ),
    Irregular.COLLINEAR: lambda v: say(
        "the other covariates of {part} already determine {terms}, left out",
        terms=listed(v["terms"]),
        part=Sentence(v["part"]),
    ),
    Irregular.FLAT: "the coefficients are not distinguishable",
    Irregular.DETECTIONS_ONLY: lambda v: say(
        "all {searches} found larvae and none was recorded without, so that nothing tells how often larvae are "
        "missed, or where there are none; note every search, also those that find nothing",
        searches=count(v["n"], "search", "searches"),
    ),
    Lacking.SEARCHES: "the searches are too few",
    Lacking.WIDTH: lambda v: say(
        "anything from {low} to {high} would fit the searches, and an interval wider than {widest} points tells too "
        "little (expert judgement); about {searches} searches each of {pools} in a season would narrow it",
        low=percent(v["low"]),
        high=percent(v["high"]),
        widest=100 * v["widest"],
        searches=v["searches"],
        pools=count(v["pools"], "pool"),
    ),
    Lacking.DETECTIONS: lambda v: _needed("{what} ({n} needed)", v, "detection"),
    Lacking.SEARCHED_TWICE: lambda v: _needed("{what} searched twice ({n} needed)", v, "pool"),
    Lacking.SEASONS: lambda v: _needed("{what} with searches ({n} needed)", v, "season"),
    Lacking.SAME_POOLS: lambda v: _needed("{what} searched in every season ({n} needed)", v, "pool"),
    Lacking.EQUAL_SEARCHES: lambda v: say(
        "the same pools had {low} to {high} searches a season", low=Quantity(v["low"], 1), high=Quantity(v["high"], 1)
    ),
    Lacking.EQUAL_DATES: lambda v: say(
        "the seasons' searches lie up to {days} days apart in the year", days=Quantity(v["days"])
    ),
    Lacking.DETECTIONS_A_SEASON: lambda v: _needed("{what} ({n} a season needed)", v, "detection"),
    Lacking.PLACES: lambda v: _needed("{what} searched ({n} needed)", v, "place"),
    Lacking.BOTH_OUTCOMES: "larvae were seen at all places, or at none",
    Lacking.SQUARES: lambda v: _needed("the places lie in {what} ({n} needed)", v, "square"),
    Lacking.RESAMPLES: "many resampled towns have no estimate",
    Lacking.CHECKED: lambda v: _needed(
        "{what} ({n} needed), and sites searched more than once", v, "checked detection"
    ),
    Lacking.COEFFICIENTS: lambda v: say(
        "{coefficients} of covariates need {needed} detections, there are {n}",
        coefficients=count(v["coefficients"], "coefficient"),
        needed=v["needed"],
        n=v["n"],
    ),
    Lacking.COVARIATE: "it is not given for {n} of {of}",
    Lacking.VARIATION: "it is the same throughout",
    OnSurroundings.COVARIATES: lambda v: say(
        "by {what}, each with a slope held near 0 unless the searches say otherwise",
        what=Sentence(_named(v["names"])),
    ),
    OnSurroundings.TOO_FEW_SEARCHES: "the same probability everywhere (too few searches)",
    OnSurroundings.NOT_GIVEN: "the same probability everywhere (no surroundings are known)",
    OnSurroundings.TOO_FEW_DETECTIONS: lambda v: say(
        "the same probability everywhere ({detections})", detections=count(v["n"], "detection")
    ),
    OnSurroundings.NOT_KNOWN: "the same probability everywhere (no forage or dead wood is known where pools were "
    "searched)",
    OnSurroundings.ALIKE: "the same probability everywhere (the surroundings hardly differ where pools were searched)",
    SurveyWarning.NOT_CLOSED: lambda v: say(
        "Within the closed window {window}, pools gained or lost larvae ({p}, early against late searches). The "
        "estimate then leans towards pools used at any time; a shorter window is better.",
        window=window(v["window"]),
        p=p_words(v["p_value"]),
    ),
    SurveyWarning.NARROWED: lambda v: say(
        "Within a season, pools gained or lost larvae ({p}, early against late searches). Only searches from "
        "{window} count, as more larvae were seen then; [season] closed in area.toml can state another part of the "
        "year.",
        window=window(v["window"]),
        p=p_words(v["p_value"]),
    ),
    SurveyWarning.MISFIT: lambda v: say(
        "The model does not fit well ({p} by simulated surveys). All intervals are widened for it (overdispersion "
        "{overdispersion}).",
        p=p_words(v["p_value"]),
        overdispersion=Quantity(v["overdispersion"], 1),
    ),
    SurveyWarning.DETECTIONS_ONLY: lambda v: say(
        "In {seasons} no search without larvae was recorded. Those searches tell about their own pools only.",
        seasons=listed([str(season) for season in v["seasons"]]),
    ),
    SurveyWarning.LONG_SEASON: "The searches span {days} days ({first} to {last}), too long to be closed: pools may "
    "have been occupied or emptied meanwhile, and the estimate then leans towards pools used at any time.",
    PlannedWith.ESTIMATE: "the headline's estimate",
    PlannedWith.BAYESIAN: "the Bayesian estimate (the searches alone give none)",
    PoolBasis.STATED: "set in area.toml",
    PoolBasis.DETECTED: "larvae seen",
    PoolBasis.DETECTED_BEFORE: "larvae seen in an earlier season",
    PoolBasis.NOT_DETECTED: "none seen",
    PoolBasis.NOT_DETECTED_EXPERT: "none seen, Bayesian estimate with an expert value",
    PoolBasis.NOT_SEARCHED: "no search: all-pool estimate",
    PoolBasis.EXPERT: "expert value (too few searches)",
}


def _needed(text: str, v: Mapping[str, int], thing: str) -> Sentence:
    """How many there are of what is needed."""
    return say(text, what=count(v["n"], thing), n=v["needed"])


def told(note: Note) -> Sentence:
    """A note as a sentence, or half of one."""
    text = TEXTS[note.code]
    if not isinstance(text, str):
        return text(note.values)
    return say(text, **{n: v if isinstance(v, int | datetime.date) else str(v) for n, v in note.values.items()})


def worded(code: StrEnum) -> Sentence:
    """The words of a code that has no values."""
    return told(note(code))


def reasons(notes: Iterable[Note]) -> Sentence:
    """Several notes as one half of a sentence."""
    return following(*(told(one) for one in notes), by="; ")


def noted(notes: Iterable[Note]) -> list[Sentence]:
    """Notes as sentences."""
    return [told(one) for one in notes]


def _named(covariates: Iterable[str]) -> str:
    return ", ".join(COVARIATES.get(name, name) for name in covariates)


def prior_words(prior: Prior) -> Sentence:
    """What was believed before any search."""
    numbers = {name: short(value) for name, value in vars(prior).items() if isinstance(value, float)}
    return say(
        "{basis}: occupancy {psi_mean} worth {psi_worth} pools, detection {p_mean} worth {p_worth} searches, from "
        "season to season {colonised_mean} of the empty pools colonised and {lost_mean} of the occupied ones lost, "
        "worth {lost_worth} pools each",
        basis=prior.basis,
        **numbers,
    )


# --- each pool -------------------------------------------------------------------------------------------------------


def pool_basis(basis: PoolBasis, searches: int, last_seen: float, since: int, surroundings: str) -> Sentence:
    """What a pool's probability rests on: "3 searches, larvae seen in 2025"."""
    said = Sentence(worded(basis))
    if basis is PoolBasis.STATED:
        return said
    if basis is PoolBasis.DETECTED:
        said = Sentence("larvae seen in {year}", {"year": Quantity(last_seen)})
    elif basis is PoolBasis.DETECTED_BEFORE and since:
        values = {"year": Quantity(last_seen), "since": Quantity(since, grouped=True)}
        said = Sentence("larvae last seen in {year}, none since (searches since: {since})", values)
    elif basis is PoolBasis.DETECTED_BEFORE:
        said = Sentence("larvae last seen in {year}, not searched since", {"year": Quantity(last_seen)})
    if searches:
        word = "search" if searches == 1 else "searches"
        said = Sentence(f"{{n}} {word}, {said.template}", {"n": Quantity(searches, grouped=True), **said.values})
    if surroundings:
        parts = {"basis": said, "what": Sentence(_named(surroundings.split()))}
        said = Sentence("{basis}, and its surroundings: {what}", parts)
    return said


def pool_bases(pools: pd.DataFrame) -> list[Sentence]:
    """What the probability of each pool of a table rests on; an empty sentence where there is none."""
    columns = [pools[name].tolist() for name in ("basis", "visits", "last_seen", "since", "surroundings")]
    columns[2] = [None if at != at else at for at in columns[2]]  # NaN is no key, as it is not itself
    facts = list(zip(*columns, strict=True))
    told = {
        (b, n, at, k, s): pool_basis(PoolBasis(b), int(n), math.nan if at is None else at, int(k), s)
        for b, n, at, k, s in dict.fromkeys(facts)
        if b
    }
    nothing = Sentence("")
    return [told.get(fact, nothing) for fact in facts]


def told_pools(pools: pd.DataFrame) -> pd.DataFrame:
    """A table of pools with the sentence in `basis`, without the columns that it is made from and no other file has."""
    return pools.assign(basis=list(map(str, pool_bases(pools)))).drop(columns=["last_seen", "since", "surroundings"])


# --- the survey as a whole -------------------------------------------------------------------------------------------


def window(text: str) -> Sentence:
    """A part of the year: "15 May to 15 August"."""
    within = Window.read(text)
    first, last = (
        say("{day} {month}", day=day, month=Sentence(MONTHS[month - 1])) for month, day in (within.first, within.last)
    )
    return between(first, last)


def period(figures: SeasonFigures) -> Sentence:
    """From the first to the last search."""
    if figures.first is None or figures.last is None:
        return Sentence("no search")
    return between(figures.first, figures.last)


def basis(figures: SeasonFigures) -> Sentence:
    """How the headline came about, or why there is none, and from what."""
    parts = [_method(figures), Sentence("no pool was searched")]
    if figures.pools_visited:
        searches, pools = count(figures.searches, "search", "searches"), count(figures.pools_visited, "pool")
        parts[1] = say("{searches} of {pools}, {period}", searches=searches, pools=pools, period=period(figures))
    if figures.known and figures.why:
        parts.append(reasons(figures.why))
    if figures.unchecked:
        left = "{searches} with unchecked larvae left out, so that the figures may be too low"
        parts.append(say(left, searches=count(figures.unchecked, "search", "searches")))
    return apart(parts, "; ")


def _method(figures: SeasonFigures) -> Sentence:
    if figures.method is Method.TOO_FEW:
        return say("too few to estimate: {why}", why=apart(noted(figures.why)))
    if figures.method is Method.NOT_ESTIMABLE:
        return say("not estimated: {why}", why=reasons(figures.why))
    if figures.method is Method.SEASONS:
        return Sentence("all seasons together (model of dynamic occupancy), posterior mean and middle 95 %")
    return Sentence("maximum likelihood, 95 % interval by profile likelihood")


def season_part(figures: SeasonFigures) -> dict[str, object]:
    """The figures of one season as a file holds them."""
    return {
        **{key: getattr(figures, key) for key in "pools_visited naive estimate low high se detection".split()},
        "method": str(figures.method),
        "why": None if figures.known else reasons(figures.why),
        "basis": basis(figures),
        **{key: getattr(figures, key) for key in "detections searches searched_twice".split()},
        "period": period(figures),
    }


def occupancy_part(known: PoolOccupancy) -> dict[str, object]:
    """The `occupancy` part of summary.json."""
    figures = known.figures
    posterior = figures.posterior
    what_if = {
        f"{case.false_share * 100:g} %": {"estimate": case.psi, "low": case.low, "high": case.high}
        for case in known.false_positives
    }
    here, closure = figures.here, figures.closure
    return season_part(figures) | {
        "season": figures.season,
        "seasons": list(figures.seasons),
        "together": [
            {"season": season, "estimate": found.value, "low": found.low, "high": found.high}
            for season, found in zip(figures.seasons, figures.together, strict=True)
        ],
        "here": {key: getattr(here, key) for key in ("pools", "seen", "occupied", "low", "high")},
        "running": {"season": figures.running.season, **season_part(figures.running)} if figures.running else None,
        "closure": {
            "verdict": str(closure.verdict),
            "p_value": closure.p_value,
            "places": closure.places,
            "window": str(closure.within),
            "stated": closure.stated,
            "narrowed": closure.narrowed,
        },
        "overdispersion": figures.overdispersion,
        "left_out": {str(reason): n for reason, n in figures.left_out.items()},
        "expert_prior": prior_words(figures.prior),
        "from_data": figures.from_data,
        "posterior": {"mean": posterior.value, "low": posterior.low, "high": posterior.high},
        "false_positives": what_if or None,
        "place": WHERE,
        "surroundings": told(figures.surroundings),
    }


def season_rows(seasons: Seasons) -> list[dict[str, object]]:
    """A row for each season."""
    return [{"season": figures.season, **season_part(figures)} for figures in seasons.each]


def seasons_part(seasons: Seasons) -> dict[str, object]:
    """The `seasons` part of summary.json."""
    return {"each": season_rows(seasons), "same_pools": seasons.same, "shown": trend(seasons)}


def trend(seasons: Seasons) -> Sentence:
    """What is known of a change between the seasons."""
    if seasons.trend is Trend.NOT_KNOWN:
        why = apart([told(one) for one in seasons.why]) if seasons.each else Sentence("no search counts")
        return say("no change can be shown: {why}", why=why)
    if seasons.trend is Trend.NO_CHANGE:
        return Sentence("no change can be shown: the interval of the last season minus the first holds 0")
    first, last = (str(each.season) for each in (seasons.each[0], seasons.each[-1]))
    return say("occupancy {changed} from {first} to {last}", changed=seasons.trend, first=first, last=last)


def species_rows(species: Iterable[SpeciesFigures]) -> list[dict[str, object]]:
    """A row for the group and for each checked species."""
    return [dict(season_part(figures), taxon=taxon or Sentence(GROUP)) for taxon, figures in species]


def goodness(found: Goodness) -> Sentence:
    """Whether the model fits, in one sentence."""
    if found.fits is None:
        return Sentence("Whether the model fits cannot be checked.")
    above = say("above {limit} (by a rare history)", limit=10_000)
    verdict = "no misfit can be shown" if found.fits else "the model does not fit, and its intervals are too narrow"
    return say(
        "Goodness of fit: chi-squared {chi_square}, as bad or worse in {share} of {n} simulated surveys, "
        "overdispersion {overdispersion}: {verdict}.",
        chi_square=Quantity(found.chi_square, 1) if found.chi_square < 10_000 else above,
        share=percent(found.p_value),
        n=found.surveys,
        overdispersion=Quantity(found.overdispersion, 2),
        verdict=Sentence(verdict),
    )


def clustering(found: Clustering) -> Sentence:
    """Whether detections lie together, in one sentence."""
    if found.why:
        return say("Whether detections lie together is not known: {why}.", why=told(found.why))
    verdict = "no sign that detections lie together or apart"
    if found.p_value < 0.05:
        verdict = "detections lie apart more than chance explains"
        if found.i > found.expected:
            verdict = "detections lie together more than chance explains, so that the plain interval is too narrow"
    return say(
        "Moran's I {i} (expected by chance {expected}, {p}): {verdict}.",
        i=Quantity(found.i, 2),
        expected=Quantity(found.expected, 2),
        p=p_words(found.p_value, 2),
        verdict=Sentence(verdict),
    )
