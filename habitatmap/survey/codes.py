"""What a survey has to tell besides its figures, as codes; the values that belong to each stand behind it."""

from __future__ import annotations

from enum import StrEnum


class LeftOut(StrEnum):
    """Why a visit is no search of the season's estimate; a visit counts under the first that fits."""

    NO_DATE = "no date"
    AFTER_AS_OF = "after as_of"
    DRY = "dry"
    FROZEN = "frozen"
    GONE = "gone"
    NOT_REACHED = "not reached"
    NO_OUTCOME = "no outcome"
    UNKNOWN_POOL = "pool not in the list"
    TOO_EARLY = "less than 7 days after set-out"
    SAME_SEARCH = "another row of the same search"  # rows that differ only in taxon, its check or its number
    NOT_CHECKED = "larvae not checked"
    NOT_CLOSED = "outside the closed window"
    EARLIER_SEASON = "earlier season"


class Irregular(StrEnum):
    """Why the searches alone give no regular estimate with an error."""

    NOT_SEARCHED = "no site searched"
    NO_DETECTION = "no detection"  # rare and hard to find are not distinguishable
    SEARCHED_ONCE = "searched once"  # only the product of occupancy and detection is known
    DETECTIONS_ONLY = "detections only"  # n searches, none of them without larvae: a list of finds
    OCCUPANCY_AT_LIMIT = "occupancy at its limit"
    DETECTION_AT_LIMIT = "detection at its limit"
    SEPARATION = "separation"  # part, terms: too few data to limit these coefficients
    COLLINEAR = "collinear"  # part, terms: left out, as the other covariates determine them
    FLAT = "flat"  # the coefficients are not distinguishable


class Lacking(StrEnum):
    """What is missing for an answer; `n` of `needed` unless another value is named."""

    SEARCHES = "searches"  # no values: no search counts, or too few for an estimate
    WIDTH = "width"  # low, high, widest, pools, searches: the interval is too wide; so many searches a pool mend it
    DETECTIONS = "detections"
    SEARCHED_TWICE = "searched twice"
    SEASONS = "seasons"
    SAME_POOLS = "same pools"
    EQUAL_SEARCHES = "equal searches"  # low, high: searches per pool and season
    EQUAL_DATES = "equal dates"  # days between the middles of the seasons' searches
    DETECTIONS_A_SEASON = "detections a season"
    PLACES = "places"
    BOTH_OUTCOMES = "both outcomes"  # no values: larvae were seen at all places, or at none
    SQUARES = "squares"
    RESAMPLES = "resamples"  # no values: many resampled towns have no estimate
    CHECKED = "checked detections"
    COEFFICIENTS = "detections for so many coefficients"  # coefficients, needed, n
    COVARIATE = "covariate"  # n of `of` values are missing
    VARIATION = "variation"  # no values: the covariate is the same throughout


class Trend(StrEnum):
    """What is known of a change of occupancy between the first season and the last."""

    NOT_KNOWN = "not known"
    NO_CHANGE = "no change"
    ROSE = "rose"
    FELL = "fell"


class OnSurroundings(StrEnum):
    """Whether the probability of a pool depends on its surroundings, and why not."""

    COVARIATES = "covariates"  # names of the covariates that are used
    TOO_FEW_SEARCHES = "too few searches"
    NOT_GIVEN = "not given"
    TOO_FEW_DETECTIONS = "too few detections"  # n
    NOT_KNOWN = "not known"  # no covariate is known where pools were searched
    ALIKE = "alike"  # the surroundings hardly differ where pools were searched


class PoolBasis(StrEnum):
    """What the probability of a pool rests on."""

    STATED = "stated"
    DETECTED = "detected"
    DETECTED_BEFORE = "detected in an earlier season"
    NOT_DETECTED = "not detected"
    NOT_DETECTED_EXPERT = "not detected, few searches"  # a Bayesian estimate that leans on an expert value
    NOT_SEARCHED = "not searched"  # the estimate for all pools
    EXPERT = "expert value"  # not searched, and too few searches of the others


class ClosureVerdict(StrEnum):
    """Whether a pool held larvae throughout a season or never, as early and late searches of the same pools tell."""

    NOT_TESTED = "not tested"  # too few places were searched early and late
    HOLDS = "holds"  # no change within the season can be shown
    FAILS = "fails"  # a change is shown


class SurveyWarning(StrEnum):
    """What a reader of the survey must know before its figures."""

    LONG_SEASON = "long season"  # days, first, last: too long to be closed
    NOT_CLOSED = "not closed"  # split, p_value: larvae came or went within the season, or the stated window
    NARROWED = "narrowed"  # split, p_value, window: only searches within it count, as the whole season is not closed
    MISFIT = "misfit"  # p_value, overdispersion: every interval is widened
    DETECTIONS_ONLY = "seasons of detections only"  # seasons: without any non-detection; they tell of their pools alone


class PlannedWith(StrEnum):
    """Which occupancy and detection the effort of a next season is calculated with."""

    ESTIMATE = "estimate"
    BAYESIAN = "Bayesian"  # posterior mean, as the estimate lies at a limit or is not known


class Difference(StrEnum):
    """Whether the interval of a difference excludes 0."""

    DIFFER = "differ"
    NOT_DISTINGUISHABLE = "not distinguishable"
