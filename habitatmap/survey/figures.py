"""The figures of a season: occupancy by maximum likelihood with its profile interval, beside naive occupancy.

There is no number of searches that is enough. What decides is the width of the 95 % interval: wider than WIDEST, the
searches are too few to estimate from.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from habitatmap.survey.chi_squared import chi2_below, chi2_quantile
from habitatmap.survey.closure import Closure
from habitatmap.survey.codes import Irregular, Lacking, LeftOut
from habitatmap.survey.constant import Histories, Prior, posterior
from habitatmap.survey.effort import best_visits, sites_needed, standard_error
from habitatmap.survey.fit import Fit
from habitatmap.survey.occupancy import fit_counts
from habitatmap.survey.searches import Counts, Searches, labels
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.note import Note, note

WIDEST = 0.6  # of a 95 % interval: expert judgement
MOST_VISITS = 12  # to a pool in a season that are advised: expert judgement
MOST_SURE = 1 - 1e-12  # a wider interval than this says no more


@dataclass(frozen=True)
class SeasonFigures:
    """What the searches of one season say of all pools; NaN where a figure is not known.

    pools_visited: pools searched; naive: the share of them with larvae; estimate, low, high (95 %), se: occupancy;
    detection: the probability that a search of an occupied pool detects larvae; method: how, or why not; why: what is
    missing or irregular; detections, searches: in all; searched_twice: places searched more than once; first, last: the
    season's first and last search; unchecked: searches left out as nobody checked their larvae (of a species).
    """

    season: int | None
    pools_visited: int
    naive: float
    estimate: float
    low: float
    high: float
    se: float
    detection: float
    method: Method
    why: tuple[Note, ...]
    detections: int
    searches: int
    searched_twice: int
    first: datetime.date | None
    last: datetime.date | None
    unchecked: int = 0

    @property
    def known(self) -> bool:
        """Whether there is an estimate."""
        return bool(np.isfinite(self.estimate))


@dataclass(frozen=True)
class Here:
    """How many of these very pools hold larvae, and not with what probability one like them does.

    pools: those searched in the season that stand; seen: with larvae seen in it; occupied, low, high (95 %): those
    likely occupied then, NaN where nothing can be estimated. The sum of their conditional probabilities, given all
    searches (MacKenzie et al. 2006, Occupancy Estimation and Modeling).
    """

    pools: int
    seen: int
    occupied: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class OccupancyFigures(SeasonFigures):
    """The `occupancy` part of summary.json: the figures of the last season with enough searches, from all seasons.

    seasons: all that were used; together: the Bayesian estimate of each, from all seasons; here: of these very pools;
    running: a later season with too few searches by itself; closure: whether a season is closed; overdispersion: of
    which every interval takes account, 1 where the model fits; left_out: visits that are no searches, by reason; prior:
    what was believed before; from_data: the share of what is known about occupancy that came from the searches;
    posterior: the Bayesian estimate of the same season; surroundings: whether and how the probability of a pool depends
    on them.
    """

    seasons: tuple[int, ...]
    together: tuple[Estimate, ...]
    here: Here
    running: SeasonFigures | None
    closure: Closure
    overdispersion: float
    left_out: Mapping[LeftOut, int]
    prior: Prior
    from_data: float
    posterior: Estimate
    surroundings: Note


def counts_by_place(seen: Searches, group: NDArray[np.int64] | None = None) -> tuple[Counts, Counts]:
    """The searches and the detections of each place: pools of one label are one place."""
    place = labels(group, len(seen.pools))
    return np.bincount(place, seen.searches).astype(np.int64), np.bincount(place, seen.detections).astype(np.int64)


def estimate(
    seen: Searches, group: NDArray[np.int64] | None = None, unchecked: int = 0, overdispersion: float = 1.0
) -> SeasonFigures:
    """The figures of one season by itself. No estimate where the searches are too few; naive occupancy always.

    pools_visited and naive count pools; the fit and searched_twice go by places (see `counts_by_place`), since two
    pools side by side do not tell as much as two far apart. overdispersion widens interval and error.
    """
    n, d = counts_by_place(seen, group)
    visited = int((seen.searches > 0).sum())
    fit = fit_counts(n, d)
    told = not seen.detections_only and bool(np.isfinite(fit.psi))
    low, high = widened(fit, overdispersion)
    figures = (fit.psi, low, high, fit.psi_se * overdispersion**0.5, fit.p) if told else (np.nan,) * 5
    occupancy, low, high, se, detection = (float(v) for v in figures)
    whole = SeasonFigures(
        season=seen.season,
        pools_visited=visited,
        naive=float((seen.detections > 0).sum() / visited) if visited else np.nan,
        estimate=occupancy,
        low=low,
        high=high,
        se=se,
        detection=detection,
        method=Method.MAXIMUM_LIKELIHOOD if told else Method.NOT_ESTIMABLE,
        why=(note(Irregular.DETECTIONS_ONLY, n=int(n.sum())),) if seen.detections_only else fit.why,
        detections=int(d.sum()),
        searches=int(n.sum()),
        searched_twice=int((n >= 2).sum()),
        first=None if seen.first is None else seen.first.date(),
        last=None if seen.last is None else seen.last.date(),
        unchecked=unchecked,
    )
    if not too_wide(whole):
        return whole
    expected = posterior(Histories.count(n, d), Prior())
    return without_estimate(whole, int((n > 0).sum()), expected.mean(expected.psi_grid), expected.mean(expected.p_grid))


def too_wide(figures: SeasonFigures) -> bool:
    """Whether the interval tells too little."""
    return figures.high - figures.low > WIDEST


def without_estimate(figures: SeasonFigures, places: int, psi: float, p: float) -> SeasonFigures:
    """The same without the estimate, and what would mend it. places: those searched; psi, p: as they probably are."""
    why = note(Lacking.WIDTH, low=figures.low, high=figures.high, widest=WIDEST, **_what_would_do(psi, p, places))
    return not_told(figures, Method.TOO_FEW, (why,))


def not_told(figures: SeasonFigures, method: Method, why: tuple[Note, ...]) -> SeasonFigures:
    """The counts alone, and why there is no more."""
    unknown = replace(figures, estimate=np.nan, low=np.nan, high=np.nan, se=np.nan, detection=np.nan)
    return replace(unknown, method=method, why=why)


def _what_would_do(psi: float, p: float, places: int) -> dict[str, int]:
    """About how many places (`pools`) with how many `searches` each would give an interval of WIDEST at most.

    As many places as there are, searched more often; where MOST_VISITS are not enough, more places.
    """
    psi, p = float(np.clip(psi, 0.1, 0.9)), float(np.clip(p, 0.1, 0.9))
    error = WIDEST / (2 * float(ndtri(0.975)))
    enough = np.flatnonzero(standard_error(psi, p, np.arange(2, MOST_VISITS + 1), max(places, 1)) <= error)
    if len(enough):
        return {"pools": places, "searches": int(enough[0]) + 2}
    visits = best_visits(psi, p)
    return {"pools": sites_needed(psi, p, visits, error), "searches": visits}


def widened(fit: Fit, overdispersion: float) -> tuple[float, float]:
    """The 95 % interval with the profile's limit chi-squared(0.95, 1 df) / 2 times the overdispersion, at least 1.

    Quasi-likelihood: Burnham & Anderson 2002 (from memory).
    """
    level = min(chi2_below(max(1.0, overdispersion) * chi2_quantile(0.95, 1), 1), MOST_SURE)
    low, high = fit.interval(level)
    return float(np.asarray(low)), float(np.asarray(high))
