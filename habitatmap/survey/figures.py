"""The headline of a survey: occupancy by maximum likelihood with its profile interval, beside naive occupancy."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from habitatmap.survey.codes import Lacking, LeftOut
from habitatmap.survey.constant import Array, Prior, WhatIf
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.searches import Counts, Searches, labels
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.note import Note, note

ENOUGH_DETECTIONS, ENOUGH_TWICE = 10, 20  # expert judgement: below these the searches are too few to estimate from


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


@dataclass(frozen=True, kw_only=True)
class OccupancyFigures(SeasonFigures):
    """The `occupancy` part of summary.json.

    left_out: visits that are no searches of the season, by reason; prior: what was believed before; from_data: the
    share of what is known about occupancy that came from the searches; posterior: the Bayesian estimate; surroundings:
    whether and how the probability of a pool depends on them; false_positives: what-ifs, none with too few searches.
    """

    left_out: Mapping[LeftOut, int]
    prior: Prior
    from_data: float
    posterior: Estimate
    surroundings: Note
    false_positives: tuple[WhatIf, ...]


def counts_by_place(seen: Searches, group: NDArray[np.int64] | None = None) -> tuple[Counts, Counts]:
    """The searches and the detections of each place: pools of one label are one place."""
    place = labels(group, len(seen.pools))
    return np.bincount(place, seen.searches).astype(np.int64), np.bincount(place, seen.detections).astype(np.int64)


def estimate(seen: Searches, group: NDArray[np.int64] | None = None, unchecked: int = 0) -> SeasonFigures:
    """The headline of one season. No estimate where the searches are too few; naive occupancy always.

    pools_visited and naive count pools; the fit and searched_twice go by places (see `counts_by_place`), since two
    pools side by side do not tell as much as two far apart.
    """
    n, d = counts_by_place(seen, group)
    visited, twice = int((seen.searches > 0).sum()), int((n >= 2).sum())
    lacking = _lacking(int(d.sum()), twice)
    fit = fit_occupancy(as_rows(n, d))
    told = not lacking and bool(np.isfinite(fit.psi))
    figures = (fit.psi, fit.psi_low, fit.psi_high, fit.psi_se, fit.p) if told else (np.nan,) * 5
    occupancy, low, high, se, detection = (float(v) for v in figures)
    return SeasonFigures(
        season=seen.season,
        pools_visited=visited,
        naive=float((seen.detections > 0).sum() / visited) if visited else np.nan,
        estimate=occupancy,
        low=low,
        high=high,
        se=se,
        detection=detection,
        method=Method.TOO_FEW if lacking else Method.MAXIMUM_LIKELIHOOD if told else Method.NOT_ESTIMABLE,
        why=lacking or fit.why,
        detections=int(d.sum()),
        searches=int(n.sum()),
        searched_twice=twice,
        first=None if seen.first is None else seen.first.date(),
        last=None if seen.last is None else seen.last.date(),
        unchecked=unchecked,
    )


def _lacking(detections: int, twice: int) -> tuple[Note, ...]:
    """What is missing for an estimate; nothing where the searches are enough."""
    counts = ((Lacking.DETECTIONS, detections, ENOUGH_DETECTIONS), (Lacking.SEARCHED_TWICE, twice, ENOUGH_TWICE))
    return tuple(note(code, n=n, needed=needed) for code, n, needed in counts if n < needed)


def as_rows(n: Counts, d: Counts) -> Array:
    """Sites x visits with the given searches and detections; their order means nothing without covariates."""
    column = np.arange(int(n.max(initial=0)))[None, :]
    return np.where(column < d[:, None], 1.0, np.where(column < n[:, None], 0.0, np.nan))
