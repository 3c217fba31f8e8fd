"""How the probability of a pool depends on its surroundings: forage, dead wood, and breeding places in reach.

The model is that of several seasons (survey.dynamic). Breeding places are standing pools and rot-hole trees, whatever
was found in them: the pools' fitted probabilities would bring each pool's searches to its neighbours and back, and show
an effect where there is none. Which covariates are used is fixed before the searches are read: those of `places`, in
their order, as many as the detections allow (one per ten). Slopes have a prior that holds them near 0 unless the
searches say otherwise, so that an area with few detections gets nearly the same probability everywhere. Nothing is said
beyond the range of what was sampled: there a map is grey, and a plan takes the probability at the range's nearest end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.flight import FlightKernel
from habitatmap.survey.codes import OnSurroundings
from habitatmap.survey.constant import Array, Prior
from habitatmap.survey.design import Rows, site_design
from habitatmap.survey.dynamic import SeasonDraws, SeasonHistories, draw_seasons
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.vocabulary.note import Note, note

SLOPE_SD = 0.5  # of a slope per standard deviation, in log odds: expert judgement, see guide/survey.md
MOST_UNKNOWN = 0.1  # of the searched places may lie where a covariate is not known; they are left out of the fit
DRAWS = 1000
NODES = 25  # a side of the lattice on which a probability is worked out; between them it is interpolated, to 0.0005
ROUNDING = 1e-5  # what the tiling of an area may move a score: ground all alike stays in the range of what was sampled


Raster = NDArray[np.floating]  # rows x cols


@dataclass(frozen=True)
class Surroundings:
    """How the probability depends on the surroundings, by draws of the posterior.

    names: the covariates used; draws: of the model, with slopes in the covariates' units; low, high: the range that was
    sampled, by covariate.
    """

    names: tuple[str, ...]
    draws: SeasonDraws
    low: Array
    high: Array

    def held(self, values: Array) -> Array:
        """Covariates (n x covariates), those beyond the sampled range as at its nearest end."""
        return np.clip(values, self.low, self.high)

    def draws_at(self, values: Array) -> Array:
        """Draws x n: the probability that a pool nobody searched is occupied on the day, at n places."""
        return self.draws.occupied(self.draws.p.shape[1] - 1, self.held(values))

    def draws_on(self, values: pd.DataFrame) -> tuple[NDArray[np.bool_], Array]:
        """Where all covariates (columns by name) are known, and the draws of psi there."""
        at = values[list(self.names)].to_numpy(dtype=np.float64)
        there = ~np.isnan(at).any(axis=1)
        return there, self.draws_at(at[there])

    def surface(self, fields: Sequence[Raster]) -> NDArray[np.float32]:
        """The mean of psi on rasters of the covariates, in the order of `names`; NaN where one is not known.

        Worked out on a lattice over the sampled range and interpolated: its cost depends little on the area's size.
        """
        lattice = self._lattice()

        def probability(*values: Raster) -> Array:
            stacked = np.empty((len(values), values[0].size))
            for number, of in enumerate(values):
                stacked[number] = of.ravel()
            return np.asarray(_between(lattice, stacked, self.low, self.high)).reshape(values[0].shape)

        return scratch.cellwise(probability, *fields, dtype=np.float32)

    def _lattice(self) -> Array:
        """The mean of psi on NODES a side from `low` to `high` (flat, the last covariate the fastest).

        What each covariate adds to the log odds is a factor of the odds, so that few exponentials are needed; counted
        from the range's low end, where it is 1.
        """
        draws = self.draws
        at_low = self.draws.slopes @ self.low
        start, arrive = (np.exp(-(odds + at_low)) for odds in (draws.first, draws.colonised))
        factors = [
            np.exp(-np.linspace(0.0, width, NODES)[:, None] * slope)
            for width, slope in zip(self.high - self.low, draws.slopes.T, strict=True)
        ]
        others = np.ones((1, len(start)))
        for factor in factors[:-1]:
            others = (others[:, None] * factor).reshape(-1, len(start))
        return _mean_occupied(start, arrive, draws.lost, others, factors[-1], draws.p.shape[1] - 1).ravel()


@njit(nogil=True, fastmath={"reassoc"})
def _mean_occupied(start: Array, arrive: Array, lost: Array, others: Array, last: Array, seasons: int) -> Array:
    """The mean over draws of the probability of being occupied after so many seasons (others x last), by the odds
    against of psi and of colonisation (draws), times the factors of the covariates (n x draws)."""
    draws = len(start)
    out, now, gains = np.empty((len(others), len(last))), np.empty(draws), np.empty(draws)
    for i in range(len(others)):
        for j in range(len(last)):
            for k in range(draws):
                factor = others[i, k] * last[j, k]
                now[k] = 1.0 / (1.0 + start[k] * factor)
                gains[k] = 1.0 / (1.0 + arrive[k] * factor)
            for _ in range(seasons):
                for k in range(draws):
                    now[k] = now[k] * (1.0 - lost[k]) + (1.0 - now[k]) * gains[k]
            total = 0.0
            for k in range(draws):
                total += now[k]
            out[i, j] = total / draws
    return out


@njit(nogil=True)
def _between(lattice: Array, values: Array, low: Array, high: Array) -> Array:
    """A lattice of NODES a side from low to high, flat, at values (dimensions x n), those beyond its ends as there, by
    straight lines; NaN where a value is."""
    dimensions, n = values.shape
    out, below, part = np.full(n, np.nan), np.empty(dimensions, np.int64), np.empty(dimensions)
    for c in range(n):
        known = True
        for d in range(dimensions):
            value = values[d, c]
            if value != value:
                known = False
                break
            step = (min(max(value, low[d]), high[d]) - low[d]) / (high[d] - low[d]) * (NODES - 1)
            below[d] = min(int(step), NODES - 2)
            part[d] = step - below[d]
        if known:
            total = 0.0
            for corner in range(1 << dimensions):
                weight, at = 1.0, 0
                for d in range(dimensions):
                    above = (corner >> d) & 1
                    weight *= part[d] if above else 1.0 - part[d]
                    at = at * NODES + below[d] + above
                if weight > 0.0:
                    total += weight * lattice[at]
            out[c] = total
    return out


def fit_surroundings(
    histories: SeasonHistories, places: pd.DataFrame, prior: Prior, evidence: float = 1.0
) -> tuple[Surroundings | None, Note]:
    """The model of searched places (`places`: a row per site of `histories`), or None; and what was done or why not.

    A covariate unknown at more than a tenth of the searched places, or the same at all of them, is passed over.
    evidence: see dynamic.draw_seasons.
    """
    searched = histories.searches.sum(axis=1) > 0
    usable = [
        str(name)
        for name in places.columns
        if (values := places[name].iloc[np.flatnonzero(searched)]).isna().mean() <= MOST_UNKNOWN
        and values.nunique() > 1
    ]
    detections = int(histories.detections.sum())
    names = usable[: detections // PER_COVARIATE]
    if not names:
        return None, note(OnSurroundings.TOO_FEW_DETECTIONS, n=detections) if usable else note(OnSurroundings.NOT_KNOWN)
    known = searched & places[names].notna().all(axis=1).to_numpy()
    design = site_design(places.loc[known, names], int(known.sum()))
    names = [names[i - 1] for i in Rows.of(design, np.ones(int(known.sum()), dtype=bool)).kept[1:]]
    if not names:  # the rest follow from the others, or are the same throughout
        return None, note(OnSurroundings.ALIKE)
    x = places.loc[known, names].to_numpy(dtype=np.float64)
    site = SeasonHistories.of(histories.searches[known], histories.detections[known], histories.start[known])
    drawn = draw_seasons(site, replace(prior, slope_sd=SLOPE_SD), x, evidence)
    model = Surroundings(tuple(names), drawn.take(min(DRAWS, len(drawn.first))), x.min(axis=0), x.max(axis=0))
    return model, note(OnSurroundings.COVARIATES, names=model.names)


def probability_surface(
    probability: Raster,
    scores: Sequence[Raster],
    known: NDArray[np.bool_],
    row: NDArray[np.int64],
    col: NDArray[np.int64],
) -> NDArray[np.float32]:
    """`probability` (rows x cols) where all scores lie in the range of the sampled cells (row, col); else NaN.

    `scores` are rasters (rows, cols), such as the forage and dead-wood scores; `known` marks cells with data. Nothing
    sampled, or no score known there: NaN everywhere, as the records say nothing about any surroundings.
    """
    ranges = []
    for score in scores:
        seen = scratch.picked(score, row, col)
        seen = seen[~np.isnan(seen)]
        ranges.append((seen.min(), seen.max()) if len(seen) else (np.inf, -np.inf))

    def shown(probability: Raster, known: NDArray[np.bool_], *scores: Raster) -> Raster:
        like = known.copy()
        for score, (low, high) in zip(scores, ranges, strict=True):
            like &= (score >= low - ROUNDING) & (score <= high + ROUNDING)
        return np.where(like, probability, np.nan)

    return scratch.cellwise(shown, probability, known, *scores, dtype=np.float32)


def places_near(shape: tuple[int, int], places: pd.DataFrame, cell_m: float, median_m: float) -> NDArray[np.float32]:
    """How many likely occupied places each cell (rows, cols) has in reach: sum of p k(d), k the reach weight.

    places: row, col, p; one outside the frame counts for nothing. The place a cell itself holds counts with its p.
    """
    ordered = places[["row", "col", "p"]].sort_values(["row", "col", "p"])
    row, col = ordered["row"].to_numpy(np.int64), ordered["col"].to_numpy(np.int64)
    p, k = ordered["p"].to_numpy(np.float64), FlightKernel(median_m).stamp(cell_m, "reach")
    inside = (row >= 0) & (row < shape[0]) & (col >= 0) & (col < shape[1])
    near = scratch.empty(shape, np.float32)
    for band in scratch.bands(shape):
        part = np.zeros((band.stop - band.start, shape[1]))
        _lay(part, band.start, row[inside], col[inside], p[inside], k)
        near[band] = part
    return near


@njit(nogil=True)
def _lay(near: Array, row0: int, row: NDArray[np.int64], col: NDArray[np.int64], p: Array, k: Array) -> None:
    """Adds p k around each place, in the order of their rows, to a band of rows from row0 on."""
    r = k.shape[0] // 2
    for i in range(near.shape[0]):  # row by row, so that each stays at hand until all places have been there
        for q in range(np.searchsorted(row, row0 + i - r), np.searchsorted(row, row0 + i + r + 1)):
            a = row0 + i - row[q] + r
            j0, j1 = max(0, col[q] - r), min(near.shape[1], col[q] + r + 1)
            line, weight = near[i, j0:j1], k[a, j0 - col[q] + r : j1 - col[q] + r]
            for j in range(line.shape[0]):
                line[j] += p[q] * weight[j]
