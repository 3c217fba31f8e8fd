"""What practice shows: what seemed to work, how long pools last and why they end, what went wrong on the way."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import pandas as pd

from habitatmap.practice.comparison import Comparison, compare
from habitatmap.practice.lifetimes import Survival, at_worst, incidents, lifetimes, survival
from habitatmap.practice.similar_names import SimilarNames, similar_names
from habitatmap.survey.searches import Searches

NAMED_FREELY = ("container", "filling")  # columns of pools in which everybody writes names of their own


@dataclass(frozen=True)
class Practice:
    """The parts are those of `compare`, `lifetimes`, `survival`, `at_worst`, `incidents`; `similar`: by column, names
    that may mean the same; `assigned`: pools of a random assignment.
    """

    as_of: datetime.date
    comparison: Comparison
    similar: dict[str, list[SimilarNames]]
    lives: pd.DataFrame
    curve: Survival
    at_worst: Survival
    incidents: pd.DataFrame
    complaints: pd.DataFrame
    assigned: int


def practice(
    pools: pd.DataFrame, visits: pd.DataFrame, as_of: datetime.date, seen: Searches, blocks: pd.DataFrame | None = None
) -> Practice:
    """Everything at once, of frames as the area has them. `seen`: the season's searches; `blocks`: see `compare`."""
    lives = lifetimes(pools, visits, as_of)
    wrong, complaints = incidents(pools, visits, as_of)
    return Practice(
        as_of=as_of,
        comparison=compare(pools, visits, seen, blocks),
        similar={column: similar_names(pools[column]) for column in NAMED_FREELY},
        lives=lives,
        curve=survival(lives["days"], lives["lost"]),
        at_worst=at_worst(lives),
        incidents=wrong,
        complaints=complaints,
        assigned=0 if blocks is None else len(blocks),
    )
