"""The likelihood of the occupancy model with covariates: its derivatives, its peak, its profile, its posterior.

With c_i the probability that site i is occupied given its searches (1 where something was found), the first derivatives
in log odds are c - psi for a site and c (y - p) for a search; the second ones follow from dc = c (1 - c) d(log odds of
c).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import null_space
from scipy.optimize import brentq
from scipy.special import expit, log_expit, logit, logsumexp

from habitatmap.survey.chi_squared import chi2_quantile
from habitatmap.survey.constant import Array, Histories, Prior

FLAT = 1e-4  # information (of standardised covariates) below this, an error above 100 in log odds, is no information
LONGEST = 4.0  # log odds a step may go
STEEP = 30.0  # log odds beyond this are 0 or 1
FEWEST, MOST = 400, 4000  # draws of a posterior: fewer for many searches, where it is narrow and even
DF = 5  # degrees of freedom of the t distribution that draws of a posterior are tried from
BATCH = 2_000_000  # cells held at a time while many coefficients are tried


@dataclass(frozen=True)
class Problem:
    """The searched sites, their searches one below the other, and the log posterior of the coefficients (b, a).

    x: sites x terms of psi; w: searches x terms of p; y: searches, 1 or 0; first: where each site's searches begin;
    some: sites with a detection; weight: how many sites a row stands for; prior: None, or on standardised terms.
    Coefficients are one row (terms) or many (draws x terms).
    """

    x: Array
    w: Array
    y: Array
    first: NDArray[np.int64]
    some: NDArray[np.bool_]
    weight: Array
    prior: Prior | None = None

    @classmethod
    def from_histories(cls, h: Histories) -> Problem:
        """Without covariates the order of searches does not matter: one row stands for all sites alike."""
        first = np.cumsum(h.searches) - h.searches
        within = np.arange(h.searches.sum()) - np.repeat(first, h.searches)
        y = (within < np.repeat(h.detections, h.searches)).astype(np.float64)
        return cls(
            np.ones((len(h.searches), 1)), np.ones((len(y), 1)), y, first, h.detections > 0, h.sites.astype(np.float64)
        )

    @cached_property
    def site(self) -> NDArray[np.int64]:
        """The site of each search."""
        return np.repeat(np.arange(len(self.x)), np.diff(np.append(self.first, len(self.y))))

    @property
    def k(self) -> int:
        """How many of the coefficients belong to psi."""
        return int(self.x.shape[1])

    def log_probabilities(self, at: Array) -> tuple[Array, Array, Array, Array]:
        """Log odds of psi and of p, and by site the log probability of (occupied and these searches) and of these
        searches.
        """
        psi, p = at[..., : self.k] @ self.x.T, at[..., self.k :] @ self.w.T
        searches = log_expit(p * np.where(self.y == 1, 1.0, -1.0))
        occupied = log_expit(psi) + np.add.reduceat(searches, self.first, axis=-1)
        return psi, p, occupied, np.where(self.some, occupied, np.logaddexp(occupied, log_expit(-psi)))

    def loss(self, at: Array) -> Array:
        """Minus the log likelihood (and the log prior), a number for each row of coefficients."""
        return -(self.log_probabilities(at)[3] @ self.weight) - self._log_prior(at)

    def loss_and_slope(self, at: Array) -> tuple[float, Array]:
        psi, p, occupied, total = self.log_probabilities(at)
        state = self.weight * np.exp(occupied - total)  # the sites a row stands for, as far as they are occupied
        by_site = (state - self.weight * expit(psi)) @ self.x
        by_search = (state[self.site] * (self.y - expit(p))) @ self.w
        slope = np.concatenate([by_site, by_search]) + self._log_prior_slopes(at)[0]
        return -float(total @ self.weight) - float(self._log_prior(at)), -slope

    def curvature(self, at: Array) -> Array:
        """Minus the second derivatives: the observed information."""
        psi, p, occupied, total = self.log_probabilities(at)
        state, probability, share = np.exp(occupied - total), expit(p), expit(psi)
        unsure = self.weight * state * (1 - state)
        missed = np.add.reduceat(self.w * probability[:, None], self.first, axis=0)
        spread = (self.weight * state)[self.site] * probability * (1 - probability)
        bb = self.x.T @ ((unsure - self.weight * share * (1 - share))[:, None] * self.x)
        ba = -self.x.T @ (unsure[:, None] * missed)
        aa = missed.T @ (unsure[:, None] * missed) - self.w.T @ (spread[:, None] * self.w)
        return -(np.block([[bb, ba], [ba.T, aa]]) + np.diag(self._log_prior_slopes(at)[1]))

    def _beta_of(self) -> Iterator[tuple[int, float, float]]:
        assert self.prior is not None
        yield (0, *self.prior.psi_beta)
        yield (self.k, *self.prior.p_beta)

    def _is_slope(self, terms: int) -> NDArray[np.bool_]:
        return ~np.isin(np.arange(terms), [0, self.k])

    def _log_prior(self, at: Array) -> Array:
        """Beta for the intercepts (a density of the log odds), Normal for the slopes; 0 without a prior."""
        if self.prior is None:
            return np.zeros(at.shape[:-1])
        slopes = at[..., self._is_slope(at.shape[-1])]
        total = -np.square(slopes).sum(axis=-1) / (2 * self.prior.slope_sd**2)
        for i, a, b in self._beta_of():
            total = total + a * log_expit(at[..., i]) + b * log_expit(-at[..., i])
        return np.asarray(total)

    def _log_prior_slopes(self, at: Array) -> tuple[Array, Array]:
        """First and second derivatives of the log prior (it has no mixed ones)."""
        if self.prior is None:
            return np.zeros_like(at), np.zeros_like(at)
        precision = np.where(self._is_slope(len(at)), self.prior.slope_sd**-2, 0.0)
        slope, curve = -precision * at, -precision
        for i, a, b in self._beta_of():
            share = expit(at[i])
            slope[i], curve[i] = a - (a + b) * share, -(a + b) * share * (1 - share)
        return slope, curve

    def starts(self) -> list[Array]:
        """Three places to climb from: occupancy as seen, halfway to all, and nearly all sites."""
        searches = self.weight[self.site]
        naive = self.weight @ self.some / self.weight.sum()
        detected, where_some = searches @ self.y, searches @ self.some[self.site]
        pairs = [
            (naive, detected / np.maximum(where_some, 1)),
            ((1 + naive) / 2, 2 * detected / (searches.sum() + where_some)),
            (0.98, detected / searches.sum()),
        ]
        out = []
        for pair in pairs:
            at = np.zeros(self.k + self.w.shape[1])
            at[[0, self.k]] = logit(np.clip(pair, 0.02, 0.98))
            out.append(at)
        return out

    def peak(self) -> Array:
        """The coefficients where the likelihood (or posterior) is highest: the best of several climbs."""
        climbs = [_climb(self.loss_and_slope, self.curvature, at) for at in self.starts()]
        return min(climbs, key=lambda c: c[1])[0]


def _climb(
    f: Callable[[Array], tuple[float, Array]], curvature: Callable[[Array], Array], at: Array
) -> tuple[Array, float]:
    """Newton's method, damped: where it ends, and how low f is there.

    Own code because a library's trust region overflowed on the flat ridges that few searches leave. Directions of
    negative curvature are walked downhill too, a step is at most LONGEST, and is halved until f falls.
    """
    value, slope = f(at)
    for _ in range(200):
        bends, directions = np.linalg.eigh(curvature(at))
        step = -directions @ (directions.T @ slope / np.maximum(np.abs(bends), 1e-9))
        step *= min(1.0, LONGEST / max(float(np.linalg.norm(step)), 1e-300))
        if -slope @ step < 1e-12 * max(1.0, abs(value)):  # hardly anything left to gain
            if bends[0] > FLAT:
                return at + step, f(at + step)[0]
            if bends[0] > -FLAT:
                break
            step = directions[:, 0]  # a saddle: off it, to either side
        for _ in range(40):
            new, new_slope = f(at + step)
            if new < value:
                break
            step /= 2
        else:
            break  # as low as floating point tells
        at, value, slope = at + step, new, new_slope
    return at, value


class Spread:
    """Standard errors from the observed information, without inventing any in directions it knows nothing about."""

    def __init__(self, information: Array) -> None:
        values, directions = np.linalg.eigh(information)
        known = values > FLAT
        self._scaled = directions[:, known] / np.sqrt(values[known])
        self._blind = directions[:, ~known]

    @property
    def regular(self) -> bool:
        return int(self._blind.shape[1]) == 0

    def errors(self, rows: Array) -> Array:
        """The standard error of rows @ coefficients; NaN where a row leans on a direction without information."""
        out = np.sqrt(np.square(rows @ self._scaled).sum(axis=1))
        leans = np.abs(rows @ self._blind).max(axis=1, initial=0.0) > 1e-3 * np.linalg.norm(rows, axis=1)
        return np.where(leans, np.nan, out)


def profile_bounds(problem: Problem, at: Array, row: Array, level: float) -> tuple[float, float]:
    """Profile-likelihood interval of psi at one row of covariates: `at` is the peak, 0 or 1 an end without a bound."""
    least = float(problem.loss(at)) + chi2_quantile(level, 1) / 2
    size = row @ row
    free = null_space(row[None, :])
    turn = np.zeros((len(at), free.shape[1] + problem.w.shape[1]))  # from what is free to all coefficients
    turn[: problem.k, : free.shape[1]] = free
    turn[problem.k :, free.shape[1] :] = np.eye(problem.w.shape[1])
    here = float(row @ at[: problem.k])
    start = turn.T @ at

    def excess(odds: float) -> float:
        fixed = np.zeros(len(at))
        fixed[: problem.k] = row * odds / size

        def f(v: Array) -> tuple[float, Array]:
            value, slope = problem.loss_and_slope(fixed + turn @ v)
            return value, turn.T @ slope

        return _climb(f, lambda v: turn.T @ problem.curvature(fixed + turn @ v) @ turn, start)[1] - least

    ends = []
    for sign, limit in ((-1.0, 0.0), (1.0, 1.0)):
        inside, step, end = float(np.clip(here, -STEEP, STEEP)), sign * 0.5, limit
        while abs(inside) <= STEEP:
            outside = inside + step
            if excess(outside) > 0:
                end = float(expit(brentq(excess, inside, outside, xtol=1e-7)))
                break
            inside, step = outside, 2 * step
        ends.append(end)
    return ends[0], ends[1]


def posterior_draws(problem: Problem, peak: Array, seed: int = 1) -> tuple[Array, float]:
    """Draws of the coefficients (draws x terms) and the effective share of those they were picked from."""
    n = how_many(len(problem.y))
    spread = np.asarray(np.linalg.inv(problem.curvature(peak)), dtype=np.float64)
    return importance_draws(lambda tries: -_in_batches(problem, tries), peak, spread, n, seed)


def how_many(cells: int) -> int:
    """How many draws of a posterior: fewer for many searches, where it is narrow and even."""
    return int(np.clip(20 * BATCH // max(cells, 1), FEWEST, MOST))


def importance_draws(
    log_density: Callable[[Array], Array], centre: Array, spread: Array, n: int, seed: int
) -> tuple[Array, float]:
    """n draws from the density of rows of coefficients, and the effective share of those they were picked from.

    Importance sampling: a multivariate t (DF degrees of freedom) around `centre`, its shape `spread` (terms x terms),
    refitted to its own weighted draws until at least half of them count; then systematic resampling. With an effective
    share of 0.5 a posterior mean is good to about 1/30 of its standard deviation.
    """
    rng = np.random.default_rng(seed)
    for _ in range(8):
        scale = np.sqrt(rng.chisquare(DF, n) / DF)
        off = rng.multivariate_normal(np.zeros(len(centre)), spread, n) / scale[:, None]
        far = np.sum(off * np.linalg.solve(spread, off.T).T, axis=1)
        # the density of the t but for a constant
        tries, log_t = centre + off, -0.5 * (DF + len(centre)) * np.log1p(far / DF)
        log_weight = log_density(tries) - log_t
        weight = np.exp(log_weight - logsumexp(log_weight))
        share = 1 / (n * np.square(weight).sum())
        if share >= 0.5:
            break
        centre = weight @ tries
        spread = (tries - centre).T @ (weight[:, None] * (tries - centre)) + 1e-9 * np.eye(len(centre))
    at = np.searchsorted(np.cumsum(weight), (np.arange(n) + rng.random()) / n)
    return tries[np.minimum(at, n - 1)], float(share)


def _in_batches(problem: Problem, draws: Array) -> Array:
    return np.concatenate([problem.loss(some) for some in batches(draws, len(problem.y))])


def batches(draws: Array, cells: int) -> Iterator[Array]:
    """The draws, few enough at a time that an array of draws x cells stays small."""
    step = max(1, BATCH // max(cells, 1))
    yield from (draws[i : i + step] for i in range(0, len(draws), step))
