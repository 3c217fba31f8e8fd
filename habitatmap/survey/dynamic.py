"""Occupancy over several seasons: what one season taught holds for the next, as far as pools keep their state.

Model: MacKenzie, Nichols, Hines, Knutson & Franklin 2003, Ecology 84:2200-2207. A site is occupied in its first season
with probability psi. From one season to the next an empty site is colonised with probability `colonised`, an occupied
one is lost with probability `lost`; within a season nothing changes. A search of an occupied site detects with the
probability p of its season. A season without a search is a step without data.

With covariates x of a site: logit psi = a + x b and logit colonised = c + x b, with the same slopes b, as few searches
cannot tell two sets of slopes: a site likelier to be occupied is likelier to be colonised (expert judgement).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import expit, log_expit, logit, xlog1py, xlogy

from habitatmap.survey.constant import Array, Numbers, Prior
from habitatmap.survey.likelihood import batches, how_many, importance_draws

Counts = NDArray[np.int64]
Ends3 = tuple[float, float, float]  # a value and the ends of its interval
MANY_SEARCHES = 300  # of a site in a season: the likelihood of more may be below the least number
STEP = 1e-3  # of the differences that stand for derivatives, in log odds


@dataclass(frozen=True)
class SeasonHistories:
    """Searches and detections of each site in each season (sites x seasons).

    start: the season, from 0, in which a site begins; nothing is searched before. sites: how many sites a row stands
    for.
    """

    searches: Counts
    detections: Counts
    start: Counts
    sites: Array

    @classmethod
    def of(cls, searches: ArrayLike, detections: ArrayLike, start: ArrayLike | None = None) -> SeasonHistories:
        """A row for each site. Without `start` all begin in the first season."""
        n, d = np.atleast_2d(np.asarray(searches, np.int64)), np.atleast_2d(np.asarray(detections, np.int64))
        begin = np.zeros(len(n), np.int64) if start is None else np.asarray(start, np.int64)
        return cls(n, d, begin, np.ones(len(n)))

    def kinds(self) -> SeasonHistories:
        """The same with one row for all sites alike."""
        rows, at = np.unique(np.column_stack([self.searches, self.detections, self.start]), axis=0, return_inverse=True)
        t = self.seasons
        return SeasonHistories(
            rows[:, :t], rows[:, t : 2 * t], rows[:, -1], np.bincount(at.ravel(), self.sites).astype(float)
        )

    def take(self, rows: NDArray[np.int64]) -> SeasonHistories:
        """These rows alone."""
        return SeasonHistories(self.searches[rows], self.detections[rows], self.start[rows], self.sites[rows])

    @property
    def seasons(self) -> int:
        return int(self.searches.shape[1])

    @cached_property
    def each(self) -> tuple[Season, ...]:
        """The seasons one by one."""
        counts = zip(self.searches.T, self.detections.T, strict=True)
        return tuple(Season.of(self.start < t, n, d) for t, (n, d) in enumerate(counts))

    def mistaken(self, false_share: float) -> list[Likelihood]:
        """By season the probability of what was seen where a site is empty: [d = 0]; with a `false_share` of such
        searches that report larvae it is false_share^d (1 - false_share)^(n - d)."""
        return [season.likelihood(np.asarray(false_share)) for season in self.each]


class Powers(NamedTuple):
    """Exponents of sites, and each number up to the largest of them: powers are taken once for all sites alike."""

    of: Counts
    upto: Array

    @classmethod
    def to(cls, exponents: Counts) -> Powers:
        return cls(exponents, np.arange(exponents.max(initial=0) + 1.0))

    def __call__(self, base: Array) -> Array:
        """base (..., 1) ** exponents (sites); 0 ** 0 is 1."""
        return np.asarray((base**self.upto)[..., self.of])


class Likelihood(NamedTuple):
    """Of what was seen in a season (..., sites), 1 for sites of very many searches: of these its log (..., sites of
    them), as it may be below the least number."""

    few: Array
    log_of_many: Array


class Season(NamedTuple):
    """Of each site whether it had begun before, its detections and its searches without one; apart from these the rows
    of sites with more than MANY_SEARCHES, and their detections and searches without one."""

    begun: NDArray[np.bool_]
    found: Powers
    missed: Powers
    many: NDArray[np.int64]
    found_of_many: Counts
    missed_of_many: Counts

    @classmethod
    def of(cls, begun: NDArray[np.bool_], searches: Counts, detections: Counts) -> Season:
        """Of searches and detections (sites)."""
        missed, is_many = searches - detections, searches > MANY_SEARCHES
        found_of_few, missed_of_few = (Powers.to(np.where(is_many, 0, counts)) for counts in (detections, missed))
        return cls(begun, found_of_few, missed_of_few, np.flatnonzero(is_many), detections[is_many], missed[is_many])

    def likelihood(self, p: Array) -> Likelihood:
        """p^d (1 - p)^(n - d) by draw and site, of p (..., 1)."""
        of_many = xlogy(self.found_of_many, p) + xlog1py(self.missed_of_many, -p) if len(self.many) else np.empty(0)
        return Likelihood(self.found(p) * self.missed(1 - p), of_many)


def probability(odds: Array) -> Array:
    """expit in half the time, which draws x sites take much of; not for the climb to a peak, where its last digit would
    move where the climb ends."""
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-odds)))


def mean_and_ends(drawn: Array) -> Ends3:
    """The mean of draws and their middle 95 %."""
    low, high = np.quantile(drawn, (0.025, 0.975))
    return float(drawn.mean()), float(low), float(high)


@dataclass(frozen=True)
class Rates:
    """Probabilities of the model: occupied in the first season, colonised, lost, and of detection at a search.

    Numbers; or arrays that broadcast to draws x sites, and for p to draws x seasons. colonised and lost may have the
    step between two seasons as a third axis.
    """

    first: Numbers
    colonised: Numbers
    lost: Numbers
    p: Numbers

    def at(self, step: int) -> tuple[Array, Array]:
        """Colonisation and loss between a season and the next."""
        colonised, lost = np.asarray(self.colonised), np.asarray(self.lost)
        return colonised[..., step] if colonised.ndim == 3 else colonised, lost[..., step] if lost.ndim == 3 else lost

    def detection(self, season: int) -> Array:
        """p of a season, draws x 1."""
        p = np.asarray(self.p)
        return p[..., season, None] if p.ndim else p

    def next(self, occupied: Array, step: int) -> Array:
        """The probability of being occupied a season later: occupied (1 - lost) + (1 - occupied) colonised."""
        colonised, lost = self.at(step)
        return np.asarray(occupied * (1 - lost) + (1 - occupied) * colonised)


def forward(h: SeasonHistories, rates: Rates, false_share: float = 0.0) -> tuple[Array, Array, Array]:
    """By season, draw and site the probability of being occupied: before the season's searches, and after them; and
    the log likelihood of each draw.

    With q the probability before, searches n and detections d: after = q p^d (1 - p)^(n - d) / f, where
    f = q p^d (1 - p)^(n - d) + (1 - q) [d = 0]; the log likelihood is the sum of log f over seasons and sites. A site
    that has not begun keeps psi and adds nothing. For `false_share` see `SeasonHistories.mistaken`.
    """
    before, after = [], []
    total: Array = np.zeros(1)
    with np.errstate(divide="ignore", invalid="ignore"):
        for was, now, log_found in _by_season(h, rates, h.mistaken(false_share)):
            before.append(was + np.zeros_like(now))
            after.append(now)
            total = total + log_found @ h.sites
    return np.stack(before), np.stack(after), total


def log_likelihood(h: SeasonHistories, rates: Rates, mistaken: Sequence[Likelihood]) -> Array:
    """What `forward` gives of each draw, alone; mistaken: `h.mistaken` of a share of false positives."""
    total: Array = np.zeros(1)
    with np.errstate(divide="ignore", invalid="ignore"):
        for _, _, log_found in _by_season(h, rates, mistaken):
            total = total + log_found @ h.sites
    return total


def _by_season(
    h: SeasonHistories, rates: Rates, mistaken: Sequence[Likelihood]
) -> Iterator[tuple[Array, Array, Array]]:
    """q, after and log f of `forward`, season by season."""
    now = np.asarray(rates.first, dtype=np.float64) + np.zeros((1, len(h.sites)))
    for t, (season, wrong) in enumerate(zip(h.each, mistaken, strict=True)):
        if t:
            now = np.where(season.begun, rates.next(now, t - 1), now)
        right, many = season.likelihood(rates.detection(t)), season.many
        seen = now * right.few
        found = seen + (1 - now) * wrong.few
        if len(many):
            top = np.maximum(right.log_of_many, wrong.log_of_many)
            top = np.where(np.isfinite(top), top, 0.0)
            seen[..., many] = now[..., many] * np.exp(right.log_of_many - top)
            found[..., many] = seen[..., many] + (1 - now[..., many]) * np.exp(wrong.log_of_many - top)
        log_found = np.log(found)
        if len(many):
            log_found[..., many] += top
        after = np.where(found > 0, seen / found, 0.0)  # 0: these rates cannot give what was seen
        yield now, after, log_found
        now = after


def backward(rates: Rates, before: Array, after: Array) -> Array:
    """By season, draw and site the probability of being occupied given all searches, also later ones.

    s_t = a_t ((1 - lost) s_(t+1) / q_(t+1) + lost (1 - s_(t+1)) / (1 - q_(t+1))), with a after and q before the
    season's searches.
    """
    smooth = [after[-1]]
    for t in range(len(after) - 2, -1, -1):
        _, lost = rates.at(t)
        later, q = smooth[0], before[t + 1]
        with np.errstate(divide="ignore", invalid="ignore"):
            stays = np.where(q > 0, (1 - lost) * later / q, 0.0)
            leaves = np.where(q < 1, lost * (1 - later) / (1 - q), 0.0)
        smooth.insert(0, after[t] * (stays + leaves))
    return np.stack(smooth)


@dataclass(frozen=True)
class SeasonDraws:
    """Draws of the posterior: log odds of psi and of colonisation (draws), slopes (draws x covariates, in their units),
    lost (draws), p (draws x seasons).
    """

    first: Array
    colonised: Array
    slopes: Array
    lost: Array
    p: Array

    def take(self, n: int) -> SeasonDraws:
        """n of them, evenly picked."""
        at = np.linspace(0, len(self.first) - 1, n).round().astype(np.int64)
        return SeasonDraws(self.first[at], self.colonised[at], self.slopes[at], self.lost[at], self.p[at])

    def rates(self, x: Array | None = None) -> Rates:
        """The probabilities at sites with the covariates x (sites x covariates), or where there are none."""
        by = 0.0 if x is None else self.slopes @ x.T
        first, colonised = (probability(np.asarray(odds)[:, None] + by) for odds in (self.first, self.colonised))
        return Rates(first, colonised, self.lost[:, None], self.p)

    def occupied(self, season: int, x: Array | None = None) -> Array:
        """Draws x sites (or x 1): the probability that a site nobody searched is occupied in a season (from 0)."""
        rates = self.rates(x)
        now = np.asarray(rates.first)
        for step in range(season):
            now = rates.next(now, step)
        return now


def draw_seasons(
    h: SeasonHistories,
    prior: Prior,
    x: Array | None = None,
    evidence: float = 1.0,
    seed: int = 1,
    false_share: float = 0.0,
) -> SeasonDraws:
    """Draws of the posterior of the model under weak priors, by importance sampling around its peak (fixed seed).

    h: one row a site where there are covariates x (sites x covariates). The priors of psi, colonised, lost and p are
    Beta, those of the slopes Normal(0, prior.slope_sd) per standard deviation of the covariate, which is centred. Where
    more than one season has a search, each has a p of its own around that of all. evidence: the weight of the
    likelihood, 1 / overdispersion where the model does not fit. false_share: see `forward`.
    """
    if x is None:
        h, centred, scale, centre = h.kinds(), np.empty((0, 0)), np.empty(0), np.empty(0)
    else:
        searched = h.searches.sum(axis=1) > 0
        centre, scale = x[searched].mean(axis=0), x[searched].std(axis=0)
        centred = (x - centre) / scale
    model = _Posterior(h, prior, centred, evidence, false_share)
    peak = model.peak()
    spread = np.asarray(np.linalg.inv(model.information(peak)), dtype=np.float64)
    draws, _ = importance_draws(model.log_density, peak, spread, how_many(h.searches.size), seed)
    slopes = draws[:, model.slopes] / scale
    shift = slopes @ centre
    return SeasonDraws(
        first=draws[:, 0] - shift,
        colonised=draws[:, 2] - shift if model.turns else np.full(len(draws), -np.inf),
        slopes=slopes,
        lost=expit(draws[:, 3]) if model.turns else np.zeros(len(draws)),
        p=model.detection(draws, np.random.default_rng(seed)),
    )


@dataclass(frozen=True)
class _Posterior:
    """The log posterior of rows of log odds: psi, p; colonised, lost (of more than one season); slopes; by how much
    each searched season's p differs (of more than one).
    """

    h: SeasonHistories
    prior: Prior
    x: Array
    evidence: float
    false_share: float

    @cached_property
    def turns(self) -> bool:
        return self.h.seasons > 1

    @cached_property
    def _mistaken(self) -> list[Likelihood]:
        return self.h.mistaken(self.false_share)

    @cached_property
    def _betas(self) -> list[tuple[float, float]]:
        betas = [self.prior.psi_beta, self.prior.p_beta]
        return [*betas, self.prior.colonised_beta, self.prior.lost_beta] if self.turns else betas

    @cached_property
    def slopes(self) -> slice:
        begin = 4 if self.turns else 2
        return slice(begin, begin + self.x.shape[1])

    @cached_property
    def searched(self) -> NDArray[np.int64]:
        """The seasons with a p of their own."""
        at = np.flatnonzero(self.h.searches.sum(axis=0) > 0)
        return at if len(at) > 1 else at[:0]

    @property
    def terms(self) -> int:
        return int(self.slopes.stop) + len(self.searched)

    def detection(self, at: Array, rng: np.random.Generator | None = None) -> Array:
        """p by season (rows x seasons); with `rng` that of a season without a search is drawn."""
        own = self.searched
        differ = np.zeros((len(at), self.h.seasons))
        if rng is not None and len(own):
            differ = rng.normal(0.0, self.prior.season_sd, differ.shape)
        differ[:, own] = at[:, self.slopes.stop :]
        return np.asarray(expit(at[:, 1, None] + differ))

    def log_density(self, at: Array) -> Array:
        return np.concatenate([self._log_density(some) for some in batches(at, self.h.searches.size)])

    def _log_density(self, at: Array) -> Array:
        by = at[:, self.slopes] @ self.x.T if self.x.size else 0.0
        colonised, lost = (expit(at[:, 2, None] + by), expit(at[:, 3, None])) if self.turns else (0.0, 0.0)
        rates = Rates(expit(at[:, 0, None] + by), colonised, lost, self.detection(at))
        return log_likelihood(self.h, rates, self._mistaken) * self.evidence + self._log_prior(at)

    def _log_prior(self, at: Array) -> Array:
        """Beta as a density of the log odds, Normal for slopes and differences between seasons."""
        total, odds = np.zeros(len(at)), at[:, : len(self._betas)]
        for (a, b), yes, no in zip(self._betas, log_expit(odds).T, log_expit(-odds).T, strict=True):
            total += a * yes + b * no
        total -= np.square(at[:, self.slopes]).sum(axis=1) / (2 * self.prior.slope_sd**2)
        total -= np.square(at[:, self.slopes.stop :]).sum(axis=1) / (2 * self.prior.season_sd**2)
        return total

    def peak(self) -> Array:
        """The best of three climbs: from few, half and nearly all sites occupied."""
        climbs = []
        for psi, p in ((0.3, 0.6), (0.5, 0.5), (0.9, 0.2)):
            start = np.zeros(self.terms)
            start[:2] = logit([psi, p])
            if self.turns:
                start[2:4] = logit([self.prior.colonised_mean, self.prior.lost_mean])
            climbs.append(minimize(lambda v: -self.log_density(v[None, :])[0], start, jac=lambda v: -self._slope(v)))
        return np.asarray(min(climbs, key=lambda c: float(c.fun)).x)

    def _slope(self, at: Array) -> Array:
        step = STEP * np.eye(len(at))
        ends = self.log_density(np.concatenate([at + step, at - step]))
        return np.asarray((ends[: len(at)] - ends[len(at) :]) / (2 * STEP))

    def information(self, at: Array) -> Array:
        """Minus the second derivatives, kept positive: a flat direction counts as its prior's width at most."""
        k = len(at)
        step = 10 * STEP * np.eye(k)
        corners = [at + s * step[i] + t * step[j] for i in range(k) for j in range(k) for s in (1, -1) for t in (1, -1)]
        value = self.log_density(np.array(corners)).reshape(k, k, 4)
        curve = -(value[..., 0] - value[..., 1] - value[..., 2] + value[..., 3]) / (4 * (10 * STEP) ** 2)
        size, direction = np.linalg.eigh((curve + curve.T) / 2)
        return np.asarray((direction * np.maximum(size, 0.05)) @ direction.T)
