"""Several seasons: how often empty pools are colonised and occupied ones lost from one season to the next.

Model: MacKenzie, Nichols, Hines, Knutson & Franklin 2003, Ecology 84:2200-2207, with one probability of colonisation,
one of loss and one of detection. Between seasons an empty pool becomes occupied with the probability `colonised`, an
occupied one empty with the probability `lost`; within a season nothing changes.

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
from scipy.optimize import brentq, minimize
from scipy.special import expit, logit
from scipy.stats import chi2

from habitatmap.survey.codes import Lacking, Trend
from habitatmap.survey.constant import Array, Ends, Numbers
from habitatmap.survey.dynamic import Rates, SeasonHistories, forward
from habitatmap.survey.figures import SeasonFigures, estimate
from habitatmap.survey.refit import LIMIT, Loss, lowest, profile_ends
from habitatmap.survey.searches import Counts, Searches
from habitatmap.vocabulary.note import Note, note

FEWEST_SEASONS = 3
ENOUGH_DETECTIONS, ENOUGH_POOLS = 10, 20  # a season; searched in all: expert judgement
SEARCHES_APART = 1.0  # searches per pool and season, on average; expert judgement: within it the protocol is the same
DAYS_APART = 30  # between the middles of two seasons' searches; expert judgement
XTOL = 1e-4  # of an interval's end, in log odds


class Part(StrEnum):
    """What the model of several seasons estimates."""

    FIRST = "first"
    COLONISED = "colonised"
    LOST = "lost"
    DETECTION = "detection"
    LAST_LESS_FIRST = "last less first"


@dataclass(frozen=True)
class Seasons:
    """each: the figures of each season; same: pools searched in every season.

    change: frame part (Part), estimate, low, high (95 %, profile likelihood); empty where no change is known; why: what
    is missing for it; trend: what is known of the change.
    """

    each: tuple[SeasonFigures, ...]
    same: int
    change: pd.DataFrame
    why: tuple[Note, ...]
    trend: Trend


def seasons(every: Sequence[Searches], group: NDArray[np.int64] | None = None) -> Seasons:
    """Every season by itself, the oldest first, and the change between them where it is known."""
    every = [seen for seen in every if seen.season is not None]
    each = tuple(estimate(seen, group) for seen in every)
    unknown = pd.DataFrame(columns=["part", "estimate", "low", "high"])
    if not every:
        return Seasons(each, 0, unknown, (note(Lacking.SEARCHES),), Trend.NOT_KNOWN)
    same = np.all([seen.searches > 0 for seen in every], axis=0)
    if why := _lacking(every, same):
        return Seasons(each, int(same.sum()), unknown, why, Trend.NOT_KNOWN)
    n = np.stack([seen.searches[same] for seen in every], axis=1)
    d = np.stack([seen.detections[same] for seen in every], axis=1)
    change = fit_seasons(n, d)
    low, high = change.loc[change["part"] == Part.LAST_LESS_FIRST, ["low", "high"]].to_numpy(dtype=np.float64)[0]
    trend = Trend.ROSE if low > 0 else Trend.FELL if high < 0 else Trend.NO_CHANGE
    return Seasons(each, int(same.sum()), change, (), trend)


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


def last_occupied(first: Numbers, colonised: Numbers, lost: Numbers, seasons: int) -> Numbers:
    """The share occupied in the last of so many seasons: s_t = s_{t-1} (1 - lost) + (1 - s_{t-1}) colonised."""
    share = first
    for _ in range(seasons - 1):
        share = share * (1 - lost) + (1 - share) * colonised
    return share


def fit_seasons(n: Counts, d: Counts, level: float = 0.95) -> pd.DataFrame:
    """Maximum likelihood for searches n and detections d (sites x seasons), intervals by profile likelihood.

    Frame: part (Part), estimate, low, high; the last row is the occupancy of the last season less that of the first.
    """
    histories = SeasonHistories.of(n, d).kinds()

    def loss(v: Array) -> float:
        value = -float(forward(histories, Rates(*expit(v).tolist()))[2][0])
        return value if np.isfinite(value) else 1e9

    naive = np.clip((d[:, 0] > 0).mean(), 0.1, 0.9)
    hit = np.clip(d.sum() / max(int(n[d > 0].sum()), 1), 0.1, 0.9)
    starts = [logit([share, turn, turn, hit * 0.9]) for share in (naive, (1 + naive) / 2) for turn in (0.1, 0.4)]
    peak, top = lowest(loss, starts)
    least = top + chi2.ppf(level, 1) / 2
    parts = list(Part)[:4]
    rows: list[tuple[object, ...]] = [
        (part, float(expit(peak[i])), *profile_ends(loss, peak, i, least, XTOL)) for i, part in enumerate(parts)
    ]
    rows.append((Part.LAST_LESS_FIRST, *_difference(loss, peak, n.shape[1], least)))
    return pd.DataFrame(rows, columns=["part", "estimate", "low", "high"])


def _difference(loss: Loss, peak: Array, count: int, least: float) -> tuple[float, float, float]:
    """The last season's occupancy less the first's, and how far it can go within the limit (a constraint holds it)."""

    def difference(v: Array) -> float:
        first, colonised, lost, _ = expit(v)
        return float(last_occupied(first, colonised, lost, count) - first)

    here = difference(peak)

    def excess(wanted: float) -> float:
        fits = []
        for turn in (0.0, 0.5, -0.5):
            start = peak + np.array([-turn, turn, -turn, 0.0])
            fit = minimize(
                loss,
                np.clip(start, -8, 8),
                method="SLSQP",
                bounds=[(-LIMIT, LIMIT)] * 4,
                constraints={"type": "eq", "fun": lambda v: difference(v) - wanted},
            )
            if abs(difference(fit.x) - wanted) < 1e-6:
                fits.append(float(fit.fun))
        return (min(fits) if fits else 1e9) - least

    def end(limit: float) -> float:
        return float(brentq(excess, here, limit, xtol=XTOL)) if excess(limit) > 0 else float(np.sign(limit))

    ends: Ends = end(-0.999), end(0.999)
    return here, *ends
