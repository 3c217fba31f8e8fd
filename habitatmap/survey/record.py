"""The searches of all seasons as the models take them: counts by pool, by place and by season."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.read.days_out import out_from
from habitatmap.survey.closure import Closure, check_closure
from habitatmap.survey.constant import Histories
from habitatmap.survey.dynamic import SeasonHistories
from habitatmap.survey.searches import Counts, Day, Searches, every_season
from habitatmap.vocabulary.window import WHOLE_YEAR, Window


@dataclass(frozen=True)
class Record:
    """every: the searches of each season, the oldest first; place: of each pool, 0 to n - 1; closure: what its test
    said; of_pools: a row per pool, a column for each season from the first to the one of the day asked for.
    """

    every: tuple[Searches, ...]
    place: NDArray[np.int64]
    closure: Closure
    of_pools: SeasonHistories

    def index(self, seen: Searches) -> int:
        """The column of a season."""
        first = self.every[0].season
        return 0 if seen.season is None or first is None else seen.season - first

    @property
    def informative(self) -> tuple[Searches, ...]:
        """The seasons that can tell occupancy from detection: those with a non-detection."""
        return tuple(seen for seen in self.every if not seen.detections_only)

    @cached_property
    def of_places(self) -> SeasonHistories:
        """A row per place; a season of detections only is left out, as nobody wrote down where none were seen."""
        told = np.zeros(self.of_pools.seasons, dtype=np.int64)
        told[[self.index(seen) for seen in self.informative]] = 1
        n, d = (_by(self.place, counts * told) for counts in (self.of_pools.searches, self.of_pools.detections))
        start = np.full(len(n), self.of_pools.seasons)
        np.minimum.at(start, self.place, self.of_pools.start)
        return SeasonHistories.of(n, d, start)

    @property
    def of_one_season(self) -> Histories | None:
        """The counts by place where there is one season and no later one has begun, else None."""
        if self.of_pools.seasons > 1:
            return None
        places = self.of_places
        return Histories.count(places.searches[:, 0], places.detections[:, 0])


def take_record(
    pools: pd.DataFrame,
    visits: pd.DataFrame,
    as_of: Day,
    place: NDArray[np.int64],
    stated: Window | None = None,
    season_now: int | None = None,
) -> Record:
    """From the frames of an area; stated: the closed window of area.toml; season_now: the latest season that has begun.

    A pool begins in the season in which it was set out (before that nothing counts as a search); without a date it was
    there from the first season.
    """
    every = every_season(visits, pools, as_of, closed=stated or WHOLE_YEAR)
    closure = check_closure(every, place, stated)
    if closure.narrowed:
        every = every_season(visits, pools, as_of, closed=closure.within)
    return Record(every, place, closure, _histories(every, pools, closure.within, season_now))


def _histories(
    every: Sequence[Searches], pools: pd.DataFrame, within: Window, season_now: int | None
) -> SeasonHistories:
    first = every[0].season
    if first is None:  # nothing was searched
        return SeasonHistories.of(np.zeros((len(pools), 1)), np.zeros((len(pools), 1)))
    seasons = [seen.season for seen in every if seen.season is not None]
    count = max([*seasons, season_now or first]) - first + 1
    n, d = (np.zeros((len(pools), count), dtype=np.int64) for _ in range(2))
    for season, seen in zip(seasons, every, strict=True):
        n[:, season - first], d[:, season - first] = seen.searches, seen.detections
    set_out = within.season_of(out_from(pools)).to_numpy(dtype=np.float64) - first
    return SeasonHistories.of(n, d, np.nan_to_num(set_out, nan=0.0).clip(0, count - 1))


def _by(place: NDArray[np.int64], counts: Counts) -> Counts:
    """Sums by place of counts by pool (pools x seasons)."""
    out = np.zeros((int(place.max(initial=-1)) + 1, counts.shape[1]), dtype=np.int64)
    np.add.at(out, place, counts)
    return out
