"""Is a season closed: did a pool hold larvae throughout it or never, as the model takes it?

The same pools, searched early and late in a season, tell. Two models are compared: occupancy that does not change
between the two parts, and one in which pools are colonised or lost in between (the model of several seasons, each part
taken as one); in both, detection may differ between the parts. Idea: Rota, Fletcher, Dorazio & Betts 2009, Journal of
Applied Ecology 46:1173-1181 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, logit

from habitatmap.survey.chi_squared import chi2_above
from habitatmap.survey.codes import ClosureVerdict
from habitatmap.survey.constant import Array
from habitatmap.survey.dynamic import Counts, Rates, SeasonHistories, log_likelihood
from habitatmap.survey.refit import lowest
from habitatmap.survey.searches import Searches
from habitatmap.vocabulary.window import WHOLE_YEAR, Window

FEWEST = 10  # places searched in both parts of a season, and detections in all: expert judgement
LEVEL = 0.01  # expert judgement: a season is called closed too readily rather than searches left out for nothing


@dataclass(frozen=True)
class Closure:
    """What the test says: p_value, NaN where it was not made; split: the first day (month, day) of the later part.

    places: places and seasons searched early and late; within: the window whose searches count; stated: by area.toml;
    narrowed: to the part of the year with more detections, as the whole was not closed.
    """

    verdict: ClosureVerdict = ClosureVerdict.NOT_TESTED
    p_value: float = np.nan
    split: tuple[int, int] | None = None
    places: int = 0
    within: Window = WHOLE_YEAR
    stated: bool = False
    narrowed: bool = False


def check_closure(every: Sequence[Searches], place: NDArray[np.int64], stated: Window | None) -> Closure:
    """Tests the seasons together. place: of each pool, 0 to n - 1; stated: the window that area.toml gives, if any.

    A season is split at the middle of all searches' days of the season. Statistic: twice the difference of the log
    likelihoods, against the mixture of chi-squared with 0, 1 and 2 degrees of freedom (1/4, 1/2, 1/4) that two
    probabilities at their limit 0 give (Self & Liang 1987, Journal of the American Statistical Association 82:605-610).
    Where a season of no stated window fails, `within` becomes the part of the year with more detections.
    """
    window = stated or WHOLE_YEAR
    dates = pd.Series(np.concatenate([seen.dates[seen.rows >= 0] for seen in every]))
    if dates.empty:
        return Closure(within=window, stated=stated is not None)
    split = _middle(dates, window)
    later = Window(split, window.last)
    parts = [_parts(seen, place, later) for seen in every]
    n, d = (np.concatenate(part) for part in zip(*parts, strict=True))
    both = (n > 0).all(axis=1)
    tested = Closure(split=split, places=int(both.sum()), within=window, stated=stated is not None)
    if both.sum() < FEWEST or d[both].sum() < FEWEST:
        return tested
    p_value = closure_p_value(n[both], d[both])
    if p_value >= LEVEL:
        return Closure(ClosureVerdict.HOLDS, p_value, split, tested.places, window, tested.stated)
    within, narrowed = window, stated is None
    if narrowed:
        early, late = d.sum(axis=0)
        within = later if late >= early else Window(window.first, _day_before(split))
    return Closure(ClosureVerdict.FAILS, p_value, split, tested.places, within, tested.stated, narrowed)


def closure_p_value(n: Counts, d: Counts) -> float:
    """The p-value of no change between two parts of a season, from searches and detections (sites x 2)."""
    histories = SeasonHistories.of(n, d).kinds()
    mistaken = histories.mistaken(0.0)

    def loss(v: Array, changes: bool) -> float:
        first, p, q, colonised, lost = expit(np.append(v, [] if changes else [-np.inf, -np.inf]))
        value = -float(log_likelihood(histories, Rates(first, colonised, lost, np.array([[p, q]])), mistaken)[0])
        return value if np.isfinite(value) else 1e9

    share = np.clip((d.sum(axis=1) > 0).mean(), 0.1, 0.9)
    hit = np.clip(d.sum() / max(int(n[d.sum(axis=1) > 0].sum()), 1), 0.1, 0.9)
    peak, closed = lowest(lambda v: loss(v, False), [logit([share, hit, hit])])
    _, opened = lowest(lambda v: loss(v, True), [np.append(peak, logit([turn, turn])) for turn in (0.05, 0.3)])
    return p_of(2 * max(closed - opened, 0.0))


def p_of(statistic: float) -> float:
    """Its p-value under the mixture of chi-squared with 0, 1 and 2 degrees of freedom, 1/4, 1/2 and 1/4 of it."""
    return 1.0 if statistic == 0 else chi2_above(statistic, 1) / 2 + chi2_above(statistic, 2) / 4


def _parts(seen: Searches, place: NDArray[np.int64], later: Window) -> tuple[Counts, Counts]:
    """Searches and detections of each place in the early and the later part (places x 2)."""
    late = later.holds(pd.Series(seen.dates.ravel())).to_numpy().reshape(seen.dates.shape)
    counts = []
    for which in (seen.rows >= 0, seen.histories == 1):
        columns = [np.bincount(place, (which & part).sum(axis=1)) for part in (~late, late)]
        counts.append(np.stack(columns, axis=1).astype(np.int64))
    return counts[0], counts[1]


def _middle(dates: pd.Series, window: Window) -> tuple[int, int]:
    """The day (month, day) in the middle of the searches, counted from the window's first day."""
    month, day = window.first
    begins = pd.to_datetime(
        {"year": window.season_of(dates).astype(int), "month": month, "day": min(day, 28)}  # 28: a day of any month
    )
    middle = pd.Timestamp(2023, month, min(day, 28)) + pd.Timedelta(days=int((dates - begins).dt.days.median()))
    return middle.month, middle.day


def _day_before(day: tuple[int, int]) -> tuple[int, int]:
    before = pd.Timestamp(2023, *day) - pd.Timedelta(days=1)
    return before.month, before.day
