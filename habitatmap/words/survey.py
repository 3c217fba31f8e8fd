"""What a survey found, in the three sentences with which every report on it begins.

Two things are never mixed up: how many of these very pools hold larvae, and the probability that a pool like them
does.
"""

from __future__ import annotations

import datetime

from habitatmap.survey.figures import Here, OccupancyFigures, SeasonFigures
from habitatmap.survey.probabilities import PoolOccupancy
from habitatmap.words.bases import reasons
from habitatmap.words.months import MONTHS
from habitatmap.words.numbers import count, known, number_span, percent, span
from habitatmap.words.sentences import Quantity, Sentence, say


def opening(figures: OccupancyFigures, pools: int) -> list[Sentence]:
    """What was searched, how many of these pools, a pool like these; then what is known of a running season.

    `pools`: how many are on record.
    """
    if not pools:
        return [Sentence("There is no pool yet.")]
    if not figures.pools_visited:
        said = [say("No search counts for any of {pools}.", pools=count(pools, "pool"))]
    else:
        said = [_searched(figures, pools), _of_these(figures.here, figures.season), _like_these(figures)]
    return said if figures.running is None else [*said, _running(figures.running)]


def since_then(known: PoolOccupancy) -> list[Sentence]:
    """What may have changed since the season of the headline; nothing where no later one has begun."""
    season, now = known.figures.season, known.season_now
    if season is None or now is None or now <= season:
        return []
    lost, gained = known.turnover
    return [
        say(
            "The season of {now} has begun. Since {season} a pool may have lost or gained larvae. From one season to "
            "the next, about {lost} of the occupied pools lose them ({lost_range}) and {gained} of the empty ones gain "
            "them ({gained_range}). The probabilities of the pools take account of it.",
            now=str(now),
            season=str(season),
            lost=percent(lost.value),
            lost_range=span(lost.low, lost.high),
            gained=percent(gained.value),
            gained_range=span(gained.low, gained.high),
        )
    ]


def _searched(figures: SeasonFigures, pools: int) -> Sentence:
    dated = figures.first is not None and figures.last is not None and figures.first != figures.last
    return say(
        "In {season}, {n} of {pools} were searched, {times} in all, from {first} to {last}."
        if dated
        else "In {season}, {n} of {pools} were searched, {times} in all.",
        season=str(figures.season),
        n=Quantity(figures.pools_visited),
        pools=count(pools, "pool"),
        times=count(figures.searches, "time"),
        first=_day(figures.first, figures.season),
        last=_day(figures.last, figures.season),
    )


def _day(date: datetime.date | None, season: int | None) -> Sentence:
    """ "12 May", with the year where it is not that of the season."""
    if date is None:
        return Sentence("")
    told = "{day} {month}" if date.year == season else "{day} {month} {year}"
    return say(told, day=date.day, month=Sentence(MONTHS[date.month - 1]), year=str(date.year))


def _of_these(here: Here, season: int | None) -> Sentence:
    """Finite-sample occupancy: these very pools."""
    if not here.pools:
        return Sentence("None of these pools stands today.")
    if here.seen == here.pools and not known(here.occupied):
        told = "Of the {pools} searched in {season} that stand today, larvae were seen in all."
        one = "Larvae were seen in the {pools} searched in {season} that stands today."
        return say(one if here.pools == 1 else told, pools=count(here.pools, "pool"), season=str(season))
    stand = "stands" if here.pools == 1 else "stand"
    said = f"Of the {{pools}} searched in {{season}} that {stand} today, larvae were seen in {{n}}; "
    said += "{likely} likely held larvae." if known(here.occupied) else "a search can miss them, so there may be more."
    likely = number_span(here.low, here.high) if known(here.occupied) else ""
    return say(said, pools=count(here.pools, "pool"), season=str(season), n=Quantity(here.seen), likely=likely)


def _like_these(figures: SeasonFigures) -> Sentence:
    """The probability of occupancy: any pool like these."""
    if not figures.known:
        return say("For a pool like these no probability can be given: {why}.", why=reasons(figures.why))
    return say(
        "A pool like these holds larvae with a probability of {estimate} ({ends}).",
        estimate=percent(figures.estimate),
        ends=span(figures.low, figures.high),
    )


def _running(figures: SeasonFigures) -> Sentence:
    return say(
        "{season} so far: {searches} of {pools}, larvae seen in {seen} of them. That is too little for figures of its "
        "own; each pool's probability counts it.",
        season=str(figures.season),
        searches=count(figures.searches, "search", "searches"),
        pools=count(figures.pools_visited, "pool"),
        seen=percent(figures.naive) if figures.detections else Sentence("none"),
    )
