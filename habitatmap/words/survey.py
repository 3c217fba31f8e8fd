"""What a survey found, in the three sentences with which every report on it begins.

Two things are never mixed up: how many of these very pools hold larvae, and the probability that a pool like them
does.
"""

from __future__ import annotations

import calendar
import datetime

from habitatmap.survey.figures import Here, OccupancyFigures, SeasonFigures
from habitatmap.survey.probabilities import PoolOccupancy
from habitatmap.words.bases import reasons
from habitatmap.words.numbers import count, known, percent, span, whole_span


def opening(figures: OccupancyFigures, pools: int) -> list[str]:
    """What was searched, how many of these pools, a pool like these; then what is known of a running season.

    `pools`: how many are on record.
    """
    if not pools:
        return ["There is no pool yet."]
    if not figures.pools_visited:
        said = [f"No search counts for any of {count(pools, 'pool')}."]
    else:
        said = [_searched(figures, pools), _of_these(figures.here, figures.season), _like_these(figures)]
    return said if figures.running is None else [*said, _running(figures.running)]


def since_then(known: PoolOccupancy) -> list[str]:
    """What may have changed since the season of the headline; nothing where no later one has begun."""
    season, now = known.figures.season, known.season_now
    if season is None or now is None or now <= season:
        return []
    lost, gained = known.turnover
    return [
        f"The season of {now} has begun. Since {season} a pool may have lost or gained larvae. From one season to the "
        f"next, about {percent(lost.value)} of the occupied pools lose them ({span(lost.low, lost.high)}) and "
        f"{percent(gained.value)} of the empty ones gain them ({span(gained.low, gained.high)}). The probabilities of "
        "the pools take account of it."
    ]


def _searched(figures: SeasonFigures, pools: int) -> str:
    said = f"In {figures.season}, {figures.pools_visited} of {count(pools, 'pool')} were searched, "
    said += f"{count(figures.searches, 'time')} in all"
    if figures.first is None or figures.last is None or figures.first == figures.last:
        return f"{said}."
    return f"{said}, from {_day(figures.first, figures.season)} to {_day(figures.last, figures.season)}."


def _day(date: datetime.date, season: int | None) -> str:
    """ "12 May", with the year where it is not that of the season."""
    year = "" if date.year == season else f" {date.year}"
    return f"{date.day} {calendar.month_name[date.month]}{year}"


def _of_these(here: Here, season: int | None) -> str:
    """Finite-sample occupancy: these very pools."""
    if not here.pools:
        return "None of these pools stands today."
    said = f"Of the {count(here.pools, 'pool')} searched in {season} that {'stands' if here.pools == 1 else 'stand'} "
    said += f"today, larvae were seen in {here.seen}; "
    if not known(here.occupied):
        return f"{said}a search can miss them, so there may be more."
    return f"{said}{whole_span(here.low, here.high)} likely held larvae."


def _like_these(figures: SeasonFigures) -> str:
    """The probability of occupancy: any pool like these."""
    if not figures.known:
        return f"For a pool like these no probability can be given: {reasons(figures.why)}."
    ends = span(figures.low, figures.high)
    return f"A pool like these holds larvae with a probability of {percent(figures.estimate)} ({ends})."


def _running(figures: SeasonFigures) -> str:
    seen = "none" if not figures.detections else percent(figures.naive)
    return (
        f"{figures.season} so far: {count(figures.searches, 'search', 'searches')} of "
        f"{count(figures.pools_visited, 'pool')}, larvae seen in {seen} of them. That is too little for figures of its "
        "own; each pool's probability counts it."
    )
