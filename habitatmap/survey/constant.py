"""The model without covariates: one probability of occupancy (psi), one of detection (p) at a search where larvae are.

Its likelihood needs only how many sites had n searches with d detections, so that everything here - likelihood, profile
intervals, posterior on a grid, what-ifs about false positives - takes milliseconds whatever the number of sites.

Model: MacKenzie, Nichols, Lachman, Droege, Royle & Langtimm 2002, Ecology 83:2248-2255.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, minimize_scalar
from scipy.special import expit, log_expit

from habitatmap.errors import InputError
from habitatmap.geo.compiled import njit
from habitatmap.survey.chi_squared import chi2_quantile
from habitatmap.vocabulary.terms import Basis

Array = NDArray[np.float64]
Numbers = float | Array
Ends = tuple[float, float]

GRID = 301  # points a side of the posterior's grid
TAIL = 32.0  # what lies this far below the peak's log density (a factor of 1e-14) is left out of the grid
NEAR = 1e-9  # an interval's end nearer to 0 or 1 than this counts as that limit


@dataclass(frozen=True)
class Prior:
    """What is believed before any search: Beta distributions given by their mean and by how many searches they weigh.

    `psi_worth = 3` says: the expert value counts as much as three pools whose state is known. The defaults are expert
    judgement, not measurements; they weigh no more than this because with 4 and 4 the 95 % intervals covered only 75 %
    of made-up towns where most pools are occupied and detection is low, with 3 and 2 about 90 % (guide/survey.md). With
    covariates these stand for a site, or a search, with average covariates, and each slope per standard deviation of
    its covariate is Normal(0, slope_sd). From one season to the next an empty pool is colonised, an occupied one lost;
    the log odds of a season's detection differ from those of all seasons by Normal(0, season_sd).
    Colonised and lost keep psi_mean over seasons without a search: 0.2 / (0.2 + 0.3) = 0.4. With them each tenth of the
    pools' probabilities in made-up towns (tests/survey/test_seasons_coverage.py) lies near the share that is occupied;
    with 0.2 for both, worth 4, those in the middle were up to 0.11 too high.
    """

    psi_mean: float = 0.4
    psi_worth: float = 3.0
    p_mean: float = 0.5
    p_worth: float = 2.0
    slope_sd: float = 1.5
    colonised_mean: float = 0.2
    colonised_worth: float = 5.0
    lost_mean: float = 0.3
    lost_worth: float = 5.0
    season_sd: float = 0.5
    basis: Basis = Basis.EXPERT_JUDGEMENT

    def __post_init__(self) -> None:
        for name in ("psi_mean", "p_mean", "colonised_mean", "lost_mean"):
            if not 0 < (value := getattr(self, name)) < 1:
                raise InputError(f"Prior {name} is {value}; give a number between 0 and 1.")
        for name in ("psi_worth", "p_worth", "slope_sd", "colonised_worth", "lost_worth", "season_sd"):
            if not 0 < (value := getattr(self, name)) < np.inf:
                raise InputError(f"Prior {name} is {value}; give a number above 0.")

    @property
    def psi_beta(self) -> Ends:
        """a and b of psi's Beta distribution."""
        return _beta(self.psi_mean, self.psi_worth)

    @property
    def p_beta(self) -> Ends:
        """a and b of p's Beta distribution."""
        return _beta(self.p_mean, self.p_worth)

    @property
    def colonised_beta(self) -> Ends:
        """a and b of the Beta distribution of colonisation."""
        return _beta(self.colonised_mean, self.colonised_worth)

    @property
    def lost_beta(self) -> Ends:
        """a and b of the Beta distribution of loss."""
        return _beta(self.lost_mean, self.lost_worth)


def _beta(mean: float, worth: float) -> Ends:
    """a and b of a Beta distribution: mean x worth, (1 - mean) x worth."""
    return mean * worth, (1 - mean) * worth


@dataclass(frozen=True)
class Histories:
    """How many sites had so many searches with so many detections: three int arrays of one length."""

    searches: NDArray[np.int64]
    detections: NDArray[np.int64]
    sites: NDArray[np.int64]

    @classmethod
    def count(cls, searches: ArrayLike, detections: ArrayLike) -> Histories:
        """From the searches and detections of each site; sites without a search add nothing."""
        pairs = np.stack([np.asarray(searches), np.asarray(detections)], axis=1).astype(np.int64)
        kinds, sites = np.unique(pairs[pairs[:, 0] > 0], axis=0, return_counts=True)
        return cls(kinds[:, 0], kinds[:, 1], sites)

    @property
    def n_sites(self) -> int:
        """Sites with a search."""
        return int(self.sites.sum())

    @property
    def n_detected(self) -> int:
        """Sites with a detection."""
        return int(self.sites[self.detections > 0].sum())

    @property
    def n_searches(self) -> int:
        return int((self.sites * self.searches).sum())

    @property
    def n_detections(self) -> int:
        """Searches with a detection."""
        return int((self.sites * self.detections).sum())

    @property
    def naive(self) -> float:
        """Share of the searched sites with a detection; NaN without any."""
        return self.n_detected / self.n_sites if self.n_sites else np.nan

    @property
    def most(self) -> int:
        """The most searches of a site."""
        return int(self.searches.max(initial=0))


def _times(k: int, log: Numbers) -> Numbers:
    """k * log, where nothing times minus infinity is nothing."""
    return k * log if k else 0.0


def _log_likelihood(
    h: Histories, l1: Numbers, l0: Numbers, lp: Numbers, lq: Numbers, false_share: float = 0.0
) -> Array:
    """The log likelihood from log psi, log(1 - psi), log p, log(1 - p), numbers or arrays that broadcast."""
    with np.errstate(divide="ignore"):
        lf, lg = np.log(false_share), np.log1p(-false_share)
    total: Array = np.zeros(())
    for n, d, sites in zip(h.searches.tolist(), h.detections.tolist(), h.sites.tolist(), strict=True):
        occupied = l1 + _times(d, lp) + _times(n - d, lq)
        empty = l0 + _times(d, lf) + _times(n - d, lg)
        total = total + sites * np.logaddexp(occupied, empty)
    return total


@njit(nogil=True)
def _log_likelihood_at(
    searches: NDArray[np.int64],
    detections: NDArray[np.int64],
    sites: NDArray[np.int64],
    psi: float,
    p: float,
    false_share: float,
) -> float:
    """`_log_likelihood` at one psi and p, which profiles ask for thousands of times."""
    l1, l0, lp, lq = np.log(psi), np.log1p(-psi), np.log(p), np.log1p(-p)
    lf, lg = np.log(false_share), np.log1p(-false_share)
    total = 0.0
    for k in range(len(sites)):
        found, missed = detections[k], searches[k] - detections[k]
        occupied, empty = l1, l0
        if found:
            occupied, empty = occupied + found * lp, empty + found * lf
        if missed:
            occupied, empty = occupied + missed * lq, empty + missed * lg
        total += sites[k] * np.logaddexp(occupied, empty)
    return total


def log_likelihood(h: Histories, psi: Numbers, p: Numbers, false_share: float = 0.0) -> Array:
    """Log likelihood of the constant model, without the combinatorial constant (histories, not counts).

    sum over sites of log(psi p^d (1 - p)^(n - d) + (1 - psi) f^d (1 - f)^(n - d)), where f, the `false_share`, is the
    probability that a search of an empty site reports larvae all the same; for f = 0 the second part is 1 - psi where
    d = 0, else 0. psi and p are numbers or arrays that broadcast.
    """
    if np.ndim(psi) == np.ndim(p) == 0:
        return np.asarray(_log_likelihood_at(h.searches, h.detections, h.sites, float(psi), float(p), false_share))
    with np.errstate(divide="ignore"):
        return _log_likelihood(h, np.log(psi), np.log1p(-psi), np.log(p), np.log1p(-p), false_share)


def _best_on_line(f: Callable[[float], float], low: float, high: float) -> Ends:
    """The highest value of f on [low, high] and where it is, the ends included; f has one hump."""
    inner = minimize_scalar(lambda v: -f(v), bounds=(low, high), method="bounded", options={"xatol": 1e-12})
    return max((-float(inner.fun), float(inner.x)), (f(low), low), (f(high), high))


def profile(h: Histories, value: float, part: str = "psi", false_share: float = 0.0) -> float:
    """The profile log likelihood: its height at one value of psi (or p), maximised over the other one."""
    if part == "psi":
        return _best_on_line(lambda p: float(log_likelihood(h, value, p, false_share)), false_share, 1.0)[0]
    return _best_on_line(lambda psi: float(log_likelihood(h, psi, value, false_share)), 0.0, 1.0)[0]


@dataclass(frozen=True)
class Peak:
    """A value of psi (or p) where the likelihood is highest, and the log likelihood there."""

    value: float
    height: float


def profile_interval(h: Histories, peak: Peak, level: float, part: str = "psi", false_share: float = 0.0) -> Ends:
    """The profile-likelihood interval: all v with 2 (height at the peak - profile(v)) <= chi-squared(level, 1 df).

    An end that the data do not bound is 0 or 1 (for p in a what-if: the false share or 1); the others are exact to
    1e-11. Method: Venzon & Moolgavkar 1988, Applied Statistics 37:87-94 (the interval; the ends here by bisection).
    """
    least = peak.height - chi2_quantile(level, 1) / 2
    floor = false_share if part == "p" else 0.0

    def above(v: float) -> float:
        return max(profile(h, v, part, false_share) - least, -1e6)

    def end(limit: float, inside: float) -> float:
        """Between a limit and the peak: the limit itself where the profile is high up to it."""
        if abs(peak.value - limit) <= NEAR or above(inside) >= 0:
            return limit
        return float(brentq(above, *sorted((inside, peak.value)), xtol=1e-11))

    return end(floor, floor + NEAR), end(1.0, 1 - NEAR)


@dataclass(frozen=True)
class WhatIf:
    """What the estimate would be if searches of empty sites reported larvae this often."""

    false_share: float
    psi: float
    low: float
    high: float
    p: float


def what_if(h: Histories, false_share: float, level: float = 0.95) -> WhatIf:
    """Maximum likelihood with a known share of false positives (0-1), the interval by profile likelihood.

    A detection is taken to be likelier at an occupied site than at an empty one (p >= false_share): without that the
    two states could change names.
    """

    def height(psi: float) -> float:
        return profile(h, psi, "psi", false_share)

    coarse = np.linspace(0.0, 1.0, 41)
    start = int(np.argmax([height(v) for v in coarse]))
    top, psi = _best_on_line(height, coarse[max(start - 1, 0)], coarse[min(start + 1, len(coarse) - 1)])
    _, p = _best_on_line(lambda v: float(log_likelihood(h, psi, v, false_share)), false_share, 1.0)
    return WhatIf(false_share, float(psi), *profile_interval(h, Peak(psi, top), level, "psi", false_share), float(p))


@dataclass(frozen=True)
class Posterior:
    """The posterior of psi and p on a grid that is even in log odds: `mass` (psi x p) sums to 1.

    The grid spans all that lies within a factor of 1e-14 of the peak; the trapezoid rule on it is exact to about ten
    digits for means, and quantiles are good to about 1e-3 of the interval's width.
    """

    psi: Array
    p: Array
    mass: Array
    prior: Prior

    def mean(self, values: Array) -> float:
        """The posterior mean of a function of psi and p given on the grid."""
        return float((self.mass * values).sum())

    def sd(self, values: Array) -> float:
        """Its posterior standard deviation."""
        return float(np.sqrt(max(self.mean(np.square(values)) - self.mean(values) ** 2, 0.0)))

    def interval(self, values: Array, level: float = 0.95) -> Ends:
        """Its central interval."""
        flat = np.broadcast_to(values, self.mass.shape).ravel()
        order = np.argsort(flat, kind="stable")
        mass = self.mass.ravel()[order]
        below = np.cumsum(mass) - mass / 2
        low, high = np.interp([(1 - level) / 2, (1 + level) / 2], below, flat[order])
        return float(low), float(high)

    @property
    def psi_grid(self) -> Array:
        return self.psi[:, None]

    @property
    def p_grid(self) -> Array:
        return self.p[None, :]

    def conditional(self, searches: int) -> Array:
        """On the grid: the probability that a site is occupied after so many searches without a detection."""
        return np.asarray(conditional(self.psi_grid, self.p_grid, searches))

    def from_data(self) -> float:
        """How much of what is known about psi came from the data: 1 - posterior variance / prior variance, 0 to 1."""
        before = self.prior.psi_mean * (1 - self.prior.psi_mean) / (self.prior.psi_worth + 1)
        return float(np.clip(round(1 - self.sd(self.psi_grid) ** 2 / before, 9), 0.0, 1.0))

    def draw(self, n: int, seed: int) -> tuple[Array, Array]:
        """n draws of (psi, p): inverse cumulative mass at stratified random numbers, so that few draws go far.

        The order of the draws is shuffled, so that no two figures are tied by their place in the list.
        """
        rng = np.random.default_rng(seed)
        u = rng.permutation((np.arange(n) + rng.random(n)) / n)
        total = np.cumsum(self.mass.ravel())
        at = np.minimum(np.searchsorted(total, u * total[-1]), total.size - 1)
        row, col = np.unravel_index(at, self.mass.shape)
        return self.psi[row], self.p[col]


def conditional(psi: Numbers, p: Numbers, searches: ArrayLike) -> Array:
    """The probability that a site is occupied after `searches` searches without a detection (arrays broadcast).

    Bayes' rule: psi q / (1 - psi + psi q), where q = (1 - p)^searches.
    """
    missed = psi * np.power(1 - p, searches)
    return np.asarray(missed / (1 - psi + missed))


def numerical_error(h: Histories, known: Posterior) -> float:
    """How much the mean of psi changes on a grid half as fine."""
    coarse = posterior(h, known.prior, (GRID + 1) // 2)
    return abs(coarse.mean(coarse.psi_grid) - known.mean(known.psi_grid))


def posterior(h: Histories, prior: Prior, points: int = GRID, evidence: float = 1.0) -> Posterior:
    """The posterior of psi and p under independent Beta priors, by the trapezoid rule on a grid in log odds.

    Density of the log odds: likelihood x psi^a1 (1 - psi)^b1 p^a2 (1 - p)^b2 (a and b, not a - 1 and b - 1, which would
    be the density of psi and p). `points` a side; the grid of half as many spans the same box. `evidence`: the weight
    of the likelihood, 1 / overdispersion where the model does not fit.
    """
    a1, b1 = prior.psi_beta
    a2, b2 = prior.p_beta

    def log_density(psi: Array, p: Array) -> Array:
        l1, l0 = log_expit(psi)[:, None], log_expit(-psi)[:, None]
        lp, lq = log_expit(p)[None, :], log_expit(-p)[None, :]
        likelihood = evidence * _log_likelihood(h, l1, l0, lp, lq)
        return np.asarray(likelihood + a1 * l1 + b1 * l0 + a2 * lp + b2 * lq)

    reach = max(30.0, 1.2 * TAIL / min(a1, b1, a2, b2))
    boxes = [(-reach, reach), (-reach, reach)]
    for _ in range(12):  # close in on the peak until the box stops shrinking
        axes = [np.linspace(*box, 81) for box in boxes]
        density = log_density(*axes)
        keep = density > density.max() - TAIL
        closer = [_span(axis, keep.any(axis=1 - i)) for i, axis in enumerate(axes)]
        shrunk = any((b - a) < 0.8 * (d - c) for (a, b), (c, d) in zip(closer, boxes, strict=True))
        boxes = closer
        if not shrunk:
            break
    axes = [np.linspace(*box, points) for box in boxes]
    density = log_density(*axes)
    mass = np.exp(density - density.max())
    return Posterior(expit(axes[0]), expit(axes[1]), mass / mass.sum(), prior)


def _span(axis: Array, keep: NDArray[np.bool_]) -> Ends:
    """The kept part of an axis and one step more on either side."""
    at = np.flatnonzero(keep)
    return float(axis[max(at[0] - 1, 0)]), float(axis[min(at[-1] + 1, len(axis) - 1)])
