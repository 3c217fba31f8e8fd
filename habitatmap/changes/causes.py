"""A change of figures, split by cause: one input after another is taken from the new season, in two orders.

What a cause adds depends on what was changed before it: a new pool adds less where another new one stands nearby. So
no split is the only one; two orders are told, and each adds up to the whole change.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

import numpy as np


class Cause(StrEnum):
    """What may have changed, in the stated order; what belongs to each stands in `words.changes`."""

    POOLS = "pools"
    VISITS = "visits"
    CONSENT = "consent"
    LAND_COVER = "land cover"
    TREES = "trees"
    OTHER = "other inputs"
    LAYERS = "layers"
    SETTINGS = "settings"
    METHOD = "method"


class Headline(NamedTuple):
    """The figures whose change is split: forage in reach now and with the plan (shares of the area's forage), and
    estimated occupancy of the season of the headline. NaN = not known."""

    now: float
    with_plan: float
    occupancy: float

    def less(self, other: Headline) -> Headline:
        """The difference, figure by figure."""
        return Headline(*(a - b for a, b in zip(self, other, strict=True)))


NOTHING = Headline(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Split:
    """What each cause adds, in one order of causes; `parts` add up to the whole change."""

    order: tuple[Cause, ...]
    parts: tuple[Headline, ...]

    def of(self, cause: Cause) -> Headline:
        """What a cause adds: nothing where it did not change."""
        return self.parts[self.order.index(cause)] if cause in self.order else NOTHING

    @property
    def whole(self) -> Headline:
        """All of it together."""
        return Headline(*(float(np.sum(parts)) for parts in zip(*self.parts, strict=True))) if self.parts else NOTHING


def split(changed: Sequence[Cause], figures: Callable[[frozenset[Cause]], Headline]) -> tuple[Split, Split]:
    """The change split in the order of `changed` and in its reverse.

    figures: the headline with these causes as in the new season, and the others as in the old one; it is asked once
    for each set.
    """
    known: dict[frozenset[Cause], Headline] = {}

    def at(new: frozenset[Cause]) -> Headline:
        if new not in known:
            known[new] = figures(new)
        return known[new]

    def along(order: Sequence[Cause]) -> Split:
        sets = [frozenset(order[:n]) for n in range(len(order) + 1)]
        parts = [at(after).less(at(before)) for before, after in pairwise(sets)]
        return Split(tuple(order), tuple(parts))

    return along(list(changed)), along(list(reversed(changed)))
