"""What changed since the last kept season, without any calculation anew."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from habitatmap.changes.pools import Change
from habitatmap.changes.sites import State


@dataclass(frozen=True)
class Since:
    """name, as_of: of the kept season; pools, sites: how many changed, and became of its plan, in each way; before,
    now: forage in reach (shares), NaN where not known."""

    name: str
    as_of: datetime.date
    pools: Mapping[Change, int]
    sites: Mapping[State, int]
    before: float
    now: float
