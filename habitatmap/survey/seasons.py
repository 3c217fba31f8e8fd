"""Season by season: how often empty pools are colonised and occupied ones lost from one to the next.

A change is told only from the same pools, searched in the same way, over at least three seasons: of two seasons nobody
can say whether the second was a good one or the start of something.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit

from habitatmap.survey.codes import Lacking, Trend
from habitatmap.survey.dynamic import SeasonDraws, mean_and_ends
from habitatmap.survey.figures import SeasonFigures
from habitatmap.survey.probabilities import PoolOccupancy
from habitatmap.survey.searches import Searches
from habitatmap.vocabulary.note import Note, note

FEWEST_SEASONS = 3
ENOUGH_DETECTIONS, ENOUGH_POOLS = 10, 20  # a season; searched in all: expert judgement
SEARCHES_APART = 1.0  # searches per pool and season, on average; expert judgement: within it the protocol is the same
DAYS_APART = 30  # between the middles of two seasons' searches; expert judgement


class Part(StrEnum):
    """What the model of several seasons estimates."""

    FIRST = "first"
    COLONISED = "colonised"
    LOST = "lost"
    DETECTION = "detection"
    LAST_LESS_FIRST = "last less first"


@dataclass(frozen=True)
class Seasons:
    """each: the figures of each season by itself; same: pools searched in every season up to that of the headline.

    change: frame part (Part), estimate, low, high (95 %), by the model of all seasons; empty where no change is known;
    why: what is missing for it; trend: what is known of the change.
    """

    each: tuple[SeasonFigures, ...]
    same: int
    change: pd.DataFrame
    why: tuple[Note, ...]
    trend: Trend


def seasons(known: PoolOccupancy) -> Seasons:
    """Every season by itself, the oldest first, and the change between them where it is known."""
    at = {seen.season: seen for seen in known.every if seen.season is not None}
    each = known.alone if at else ()
    unknown = pd.DataFrame(columns=["part", "estimate", "low", "high"])
    # a season that has just begun tells of no change yet
    counted = [season for season in at if known.searches.season is not None and season <= known.searches.season]
    if not counted:
        return Seasons(each, 0, unknown, (note(Lacking.SEARCHES),), Trend.NOT_KNOWN)
    every = [at[season] for season in counted]
    same = np.all([seen.searches > 0 for seen in every], axis=0)
    if why := _lacking(every, same):
        return Seasons(each, int(same.sum()), unknown, why, Trend.NOT_KNOWN)
    change = _change(known.model, counted[-1] - counted[0])
    low, high = change.loc[change["part"] == Part.LAST_LESS_FIRST, ["low", "high"]].to_numpy(dtype=np.float64)[0]
    trend = Trend.ROSE if low > 0 else Trend.FELL if high < 0 else Trend.NO_CHANGE
    return Seasons(each, int(same.sum()), change, (), trend)


def _change(draws: SeasonDraws, steps: int) -> pd.DataFrame:
    """The frame `Seasons.change`: posterior means and the middle 95 %."""
    first, last = draws.occupied(0)[:, 0], draws.occupied(steps)[:, 0]
    parts = {
        Part.FIRST: first,
        Part.COLONISED: expit(draws.colonised),
        Part.LOST: draws.lost,
        Part.DETECTION: draws.p[:, : steps + 1].mean(axis=1),
        Part.LAST_LESS_FIRST: last - first,
    }
    rows = [(part, *mean_and_ends(drawn)) for part, drawn in parts.items()]
    return pd.DataFrame(rows, columns=["part", "estimate", "low", "high"])


def _lacking(every: Sequence[Searches], same: NDArray[np.bool_]) -> tuple[Note, ...]:
    """What keeps a change from being known."""
    lacking = []
    if len(every) < FEWEST_SEASONS:
        lacking.append(note(Lacking.SEASONS, n=len(every), needed=FEWEST_SEASONS))
    stay = int(same.sum())
    if stay < ENOUGH_POOLS:
        lacking.append(note(Lacking.SAME_POOLS, n=stay, needed=ENOUGH_POOLS))
    elif len(every) > 1:
        per_pool = [float(seen.searches[same].mean()) for seen in every]
        if max(per_pool) - min(per_pool) > SEARCHES_APART:
            lacking.append(note(Lacking.EQUAL_SEARCHES, low=min(per_pool), high=max(per_pool)))
        middle = [pd.Series(seen.dates[same].ravel()).dropna().dt.day_of_year.median() for seen in every]
        if max(middle) - min(middle) > DAYS_APART:
            lacking.append(note(Lacking.EQUAL_DATES, days=max(middle) - min(middle)))
        detected = sum(int(seen.detections[same].sum()) for seen in every)
        if detected < ENOUGH_DETECTIONS * len(every):
            lacking.append(note(Lacking.DETECTIONS_A_SEASON, n=detected, needed=ENOUGH_DETECTIONS))
    return tuple(lacking)
