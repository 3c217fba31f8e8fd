"""What the comparison of pools and their lifetimes have to tell besides figures, as codes."""

from __future__ import annotations

from enum import StrEnum


class Measure(StrEnum):
    """What is compared; a value is what stands in the table."""

    SHARE = "share of pools with larvae"
    ODDS = "odds that a search finds larvae"
    COUNT = "larvae counted per search"
    PAIRED = "share of pools with larvae, within blocks"

    @property
    def is_ratio(self) -> bool:
        """Whether the estimate is a ratio (no difference: 1) and no difference of shares (0)."""
        return self in (Measure.ODDS, Measure.COUNT)


class Verdict(StrEnum):
    """What the intervals of a comparison say."""

    MORE = "more"
    LESS = "less"
    ALIKE = "not distinguishable"
    MORE_ALONE = "more, taken alone"  # not once all comparisons are allowed for
    LESS_ALONE = "less, taken alone"


class NoRatio(StrEnum):
    """Why there is no ratio."""

    ALL = "all"  # level: every search there found larvae
    NONE = "none"  # level: no search there found larvae
    NO_COUNT = "no count"  # level: no larvae were counted there
    SEPARATED = "separated"  # the volume separates detections from non-detections altogether
    NOT_FITTED = "not fitted"


class Remark(StrEnum):
    """What to know beside the comparisons."""

    NOT_GIVEN = "not given"  # factor, n, of
    TOO_FEW = "too few"  # factor, levels, needed
    UNEQUAL = "unequal"  # factor, level, searches, other, other_searches (per pool)
    UNCOUNTED = "uncounted"  # factor, n: pools with detections without a number
    FEW_COUNTED = "few counted"  # factor, needed
    ONE_TREATMENT = "one treatment"
    FEW_PAIRS = "few pairs"  # treatment, other, n
    MANY = "many"  # n, by_chance


class End(StrEnum):
    """How a pool ended, by what is on record."""

    STANDS = "stands"
    PLANNED = "taken in as planned"
    LOST = "lost"  # found gone at a visit, or for a reason that is a loss
    NOT_KNOWN = "taken in, reason not stated"  # it has a day of removal and no more: a loss or not


class Cause(StrEnum):
    """Why a pool ended; a lost pool may have none that is stated."""

    PLANNED = "planned end"
    STOLEN = "stolen or destroyed on purpose"
    WEATHER = "weather or falling wood"
    WORKS = "works or mowing"
    ANIMALS = "animals"
    HOST = "host or owner ended it"
    NOT_STATED = "not stated"
