"""A part of the year, from a day to a day, within which larvae neither arrive at a pool nor leave it."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

import pandas as pd

_WRITTEN = re.compile(r"(\d\d)-(\d\d)\.\.(\d\d)-(\d\d)")
_LEAP = 2024  # 29 February is a day of it


@dataclass(frozen=True)
class Window:
    """`first` and `last` as (month, day), both within. Where `last` comes before `first` it runs over New Year."""

    first: tuple[int, int]
    last: tuple[int, int]

    @classmethod
    def read(cls, text: str) -> Window:
        """From "05-15..08-15". Raises ValueError for another writing or a day that no year has."""
        match = _WRITTEN.fullmatch(text.strip())
        if match is None:
            raise ValueError(text)
        a, b, c, d = map(int, match.groups())
        for month, day in ((a, b), (c, d)):
            datetime.date(_LEAP, month, day)
        return cls((a, b), (c, d))

    def __str__(self) -> str:
        (a, b), (c, d) = self.first, self.last
        return f"{a:02d}-{b:02d}..{c:02d}-{d:02d}"

    @property
    def over_new_year(self) -> bool:
        return self.last < self.first

    def holds(self, dates: pd.Series) -> pd.Series:
        """Which dates lie within; False for no date."""
        day: pd.Series = _month_and_day(dates)
        begun: pd.Series = day >= _number(self.first)
        not_over: pd.Series = day <= _number(self.last)
        return pd.Series(begun | not_over if self.over_new_year else begun & not_over)

    def season_of(self, dates: pd.Series) -> pd.Series:
        """The season of each date, called by the year in which it begins; NaN for no date.

        A window over New Year begins a season on its first day; any other season is the calendar year.
        """
        year = dates.dt.year.astype(float)
        before = (_month_and_day(dates) < _number(self.first)).astype(float)
        return pd.Series(year - before if self.over_new_year else year)


WHOLE_YEAR = Window((1, 1), (12, 31))


def _number(day: tuple[int, int]) -> int:
    return 100 * day[0] + day[1]


def _month_and_day(dates: pd.Series) -> pd.Series:
    month, day = dates.dt.month, dates.dt.day
    return pd.Series(100 * month + day)
