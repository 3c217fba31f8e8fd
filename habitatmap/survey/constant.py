"""The model without covariates: one probability of being occupied (psi), one probability of finding larvae at a search
(p).

Its likelihood needs only how many sites had n searches of which d found something, so that everything here -
likelihood, profile intervals, posterior on a grid, what-ifs about false positives - takes milliseconds whatever the
number of sites.

Model: MacKenzie, Nichols, Lachman, Droege, Royle & Langtimm 2002, Ecology 83:2248-2255.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar
from scipy.special import expit, log_expit
from scipy.stats import chi2

from habitatmap.errors import InputError

Array = NDArray[np.float64]

GRID = 301  # points a side of the posterior's grid
TAIL = 32.0  # what lies this far below the peak's log density (a factor of 1e-14) is left out of the grid


@dataclass(frozen=True)
class Prior:
    """What is believed before any search: Beta distributions given by their mean and by the number of searches they
    weigh.

    `psi_worth = 3` says: the expert value counts as much as three pools whose state is known. The defaults are expert
    judgement, not measurements; they weigh no more than this because with 4 and 4 the 95 % intervals covered only 75 %
    of made-up towns where most pools are occupied and a search mostly misses, with 3 and 2 about 90 %
    (guide/survey.md). With covariates these stand for a site, or a search, with average covariates, and each slope per
    standard deviation of its covariate is Normal(0, slope_sd).
    """

    psi_mean: float = 0.4
    psi_worth: float = 3.0
    p_mean: float = 0.5
    p_worth: float = 2.0
    slope_sd: float = 1.5
    basis: str = "expert judgement"

    def __post_init__(self) -> None:
        for name in ("psi_mean", "p_mean"):
            if not 0 < getattr(self, name) < 1:
                raise InputError(f"Prior {name} is {getattr(self, name)}; give a number between 0 and 1.")
        for name in ("psi_worth", "p_worth", "slope_sd"):
            if not 0 < getattr(self, name) < np.inf:
                raise InputError(f"Prior {name} is {getattr(self, name)}; give a number above 0.")

    @property
    def psi_beta(self) -> tuple[float, float]:
        return self.psi_mean * self.psi_worth, (1 - self.psi_mean) * self.psi_worth

    @property
    def p_beta(self) -> tuple[float, float]:
        return self.p_mean * self.p_worth, (1 - self.p_mean) * self.p_worth

    def words(self) -> str:
        """The prior in a sentence's half, for a basis text."""
        return (
            f"{self.basis}: occupancy {self.psi_mean:g} worth {self.psi_worth:g} pools, "
            f"detection {self.p_mean:g} worth {self.p_worth:g} searches"
        )


@dataclass(frozen=True)
class Histories:
    """How many sites had so many searches of which so many found something: three int arrays of one length."""

    searches: NDArray[np.int64]
    detections: NDArray[np.int64]
    sites: NDArray[np.int64]

    @classmethod
    def count(cls, searches: NDArray[Any], found: NDArray[Any]) -> Histories:
        """From the searches and detections of each site; sites without a search add nothing."""
        pairs = np.stack([searches, found], axis=1).astype(np.int64)[np.asarray(searches) > 0]
        kinds, sites = np.unique(pairs, axis=0, return_counts=True)
        return cls(kinds[:, 0], kinds[:, 1], sites)

    @property
    def n_sites(self) -> int:
        return int(self.sites.sum())

    @property
    def n_detected(self) -> int:
        """Sites where something was found at least once."""
        return int(self.sites[self.detections > 0].sum())

    @property
    def n_searches(self) -> int:
        return int((self.sites * self.searches).sum())

    @property
    def n_detections(self) -> int:
        """Searches that found something."""
        return int((self.sites * self.detections).sum())


def _times(k: int, log: Any) -> Any:
    """k * log, where nothing times minus infinity is nothing."""
    return k * log if k else 0.0


def _log_likelihood(h: Histories, l1: Any, l0: Any, lp: Any, lq: Any, false_share: float = 0.0) -> Any:
    """The log likelihood from log psi, log(1 - psi), log p, log(1 - p), numbers or arrays that broadcast."""
    with np.errstate(divide="ignore"):
        lf, lg = np.log(false_share), np.log1p(-false_share)
    total: Any = 0.0
    for n, d, sites in zip(h.searches.tolist(), h.detections.tolist(), h.sites.tolist(), strict=True):
        occupied = l1 + _times(d, lp) + _times(n - d, lq)
        empty = l0 + _times(d, lf) + _times(n - d, lg)
        total = total + sites * np.logaddexp(occupied, empty)
    return total


def log_likelihood(h: Histories, psi: Any, p: Any, false_share: float = 0.0) -> Any:
    """Log likelihood of the constant model, with no combinatorial constant (histories, not counts).

    `false_share` is the probability that a search at an empty site reports a detection all the same.
    """
    with np.errstate(divide="ignore"):
        return _log_likelihood(h, np.log(psi), np.log1p(-psi), np.log(p), np.log1p(-p), false_share)


def _best_on_line(f: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """The highest value of f on [low, high] and where it is, the ends included; f has one hump."""
    inner = minimize_scalar(lambda v: -f(v), bounds=(low, high), method="bounded", options={"xatol": 1e-12})
    return max((-float(inner.fun), float(inner.x)), (f(low), low), (f(high), high))


def profile(h: Histories, value: float, part: str = "psi", false_share: float = 0.0) -> float:
    """The log likelihood at one value of psi (or p), the other one chosen best."""
    if part == "psi":
        return _best_on_line(lambda p: float(log_likelihood(h, value, p, false_share)), false_share, 1.0)[0]
    return _best_on_line(lambda psi: float(log_likelihood(h, psi, value, false_share)), 0.0, 1.0)[0]


def profile_interval(
    h: Histories, peak: float, top: float, level: float, part: str = "psi", false_share: float = 0.0
) -> tuple[float, float]:
    """Where the profile stays within chi-squared(level, 1 df) / 2 of `top`, its height at `peak`.

    An end that the data do not bound is 0 or 1 (for p in a what-if: the false share or 1).
    """
    least = top - chi2.ppf(level, 1) / 2
    floor = false_share if part == "p" else 0.0
    near = 1e-9  # an interval's end nearer to 0 or 1 than this counts as that limit

    def above(v: float) -> float:
        return max(profile(h, v, part, false_share) - least, -1e6)

    low = floor if peak <= floor + near or above(floor + near) >= 0 else brentq(above, floor + near, peak, xtol=1e-11)
    high = 1.0 if peak >= 1 - near or above(1 - near) >= 0 else brentq(above, peak, 1 - near, xtol=1e-11)
    return float(low), float(high)


@dataclass(frozen=True)
class WhatIf:
    """What the estimate would be if searches at empty sites reported a detection this often."""

    false_share: float
    psi: float
    low: float
    high: float
    p: float


def what_if(h: Histories, false_share: float, level: float = 0.95) -> WhatIf:
    """Maximum likelihood with a known share of false positives (0-1), the interval by profile likelihood.

    A find is taken to be likelier at an occupied site than at an empty one (p >= false_share): without that the two
    states could change names.
    """
    coarse = np.linspace(0.0, 1.0, 41)
    start = int(np.argmax([profile(h, v, "psi", false_share) for v in coarse]))
    top, psi = _best_on_line(
        lambda v: profile(h, v, "psi", false_share), coarse[max(start - 1, 0)], coarse[min(start + 1, len(coarse) - 1)]
    )
    _, p = _best_on_line(lambda v: float(log_likelihood(h, psi, v, false_share)), false_share, 1.0)
    low, high = profile_interval(h, psi, top, level, "psi", false_share)
    return WhatIf(false_share, float(psi), low, high, float(p))


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

    def mean(self, values: Any) -> float:
        return float((self.mass * values).sum())

    def sd(self, values: Any) -> float:
        return float(np.sqrt(max(self.mean(np.square(values)) - self.mean(values) ** 2, 0.0)))

    def interval(self, values: Any, level: float = 0.95) -> tuple[float, float]:
        """The central interval of a function of psi and p given on the grid."""
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
        """On the grid: the probability that a site is occupied though `searches` searches found nothing."""
        return conditional(self.psi_grid, self.p_grid, searches)

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


def conditional(psi: Any, p: Any, searches: Any) -> Any:
    """The probability that a site is occupied though `searches` searches found nothing: psi q / (1 - psi + psi q), q =
    (1-p)^n.
    """
    missed = psi * np.power(1 - p, searches)
    return missed / (1 - psi + missed)


def numerical_error(h: Histories, known: Posterior) -> float:
    """How much the mean of psi changes on a grid half as fine."""
    coarse = posterior(h, known.prior, (GRID + 1) // 2)
    return abs(coarse.mean(coarse.psi_grid) - known.mean(known.psi_grid))


def posterior(h: Histories, prior: Prior, points: int = GRID) -> Posterior:
    """The posterior of psi and p under independent Beta priors, by the trapezoid rule on a grid in log odds.

    `points` a side; the grid of half as many spans the same box.
    """
    a1, b1 = prior.psi_beta
    a2, b2 = prior.p_beta

    def log_density(psi: Array, p: Array) -> Array:
        l1, l0, lp, lq = (
            log_expit(psi)[:, None],
            log_expit(-psi)[:, None],
            log_expit(p)[None, :],
            log_expit(-p)[None, :],
        )
        # a and b, not a - 1 and b - 1: the density is that of the log odds
        density: Array = _log_likelihood(h, l1, l0, lp, lq) + a1 * l1 + b1 * l0 + a2 * lp + b2 * lq
        return density

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


def _span(axis: Array, keep: NDArray[np.bool_]) -> tuple[float, float]:
    """The kept part of an axis and one step more on either side."""
    at = np.flatnonzero(keep)
    return float(axis[max(at[0] - 1, 0)]), float(axis[min(at[-1] + 1, len(axis) - 1)])
