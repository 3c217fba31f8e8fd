"""A comparison of two seasons as one value."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.changes.causes import Cause, Headline, Split
from habitatmap.geo.grid import Grid
from habitatmap.survey.figures import OccupancyFigures
from habitatmap.survey.seasons import Seasons


@dataclass(frozen=True)
class Visits:
    """Visits up to the day of a season; `searches` are those that count, with larvae or without."""

    visits: int
    searches: int
    detections: int


@dataclass(frozen=True)
class Side:
    """One of two seasons, by today's method.

    name: "" of today's area; kept: the figures that its own run left, None for today's area; same_program: whether
    that run had the program, its libraries and its versions of today; altered: files that are not as they were kept;
    standing: pool, x, y of the pools that stand; reach: the probability (rows x cols of grid) that a breeding place
    reaches the cell.
    """

    name: str
    as_of: datetime.date
    version: str
    figures: Headline
    low: float
    high: float
    kept: Headline | None
    same_program: bool
    altered: tuple[str, ...]
    occupancy: OccupancyFigures
    seasons: Seasons
    visits: Visits
    standing: pd.DataFrame
    grid: Grid
    reach: NDArray[np.floating]


@dataclass(frozen=True)
class Comparison:
    """What changed from one season to another.

    pools: changes.pools.COLUMNS; sites: changes.sites.COLUMNS, of the old plan; elsewhere: pools set out at no site;
    new_visits, lost_visits: rows of visits that only the new or only the old season has, up to the old day for the
    latter; changed: the causes, in the stated order; forward, backward: the split in this order and in its reverse;
    method: what today's method gives for what was kept, less what was kept, in both seasons together.
    """

    title: str
    old: Side
    new: Side
    pools: pd.DataFrame
    sites: pd.DataFrame
    elsewhere: pd.DataFrame
    new_visits: int
    lost_visits: int
    changed: tuple[Cause, ...]
    forward: Split
    backward: Split
    method: Headline

    @property
    def nothing(self) -> bool:
        """Whether nothing changed at all."""
        return not self.changed and self.pools.empty and all(not abs(part) > SAME for part in self.method)


SAME = 1e-12  # a difference of shares that is no more than rounding
