"""Survey effort: how many sites and how many visits, and what a survey of given size can tell.

Standard design: every site gets the same number of visits. Removal design: a site is visited until something is found,
at most so many times. Variances are the large-sample ones of the constant model: MacKenzie & Royle 2005, Journal of
Applied Ecology 42:1105-1114 (the removal design's variance derived from the same likelihood).
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.survey.constant import Array, Numbers

Design = Literal["standard", "removal"]
HELPS = 0.005  # expert judgement: visits that lower the standard error of occupancy by less are not worth their way


def standard_error(
    psi: ArrayLike, p: ArrayLike, visits: ArrayLike, sites: ArrayLike, design: Design = "standard"
) -> Numbers:
    """The standard error of occupancy that a survey of `sites` sites with `visits` visits each can expect.

    Standard design, with found = 1 - (1 - p)^visits:
    variance = psi / sites ((1 - psi) + (1 - found) / (found - visits p (1 - p)^(visits - 1))).
    Removal design: the last fraction is found (1 - found) / (found^2 - visits^2 p^2 (1 - p)^(visits - 1)).
    Numbers or arrays that broadcast; 0 < psi <= 1, 0 < p <= 1. NaN with one visit a site, which can't tell psi from p.
    """
    _probability("psi", psi, top=True)
    _probability("p", p, top=True)
    _count("visits", visits)
    _count("sites", sites)
    return cast(Numbers, np.sqrt(_variance_of_one(psi, p, visits, design) / np.asarray(sites))[()])


def best_visits(psi: float, p: float, design: Design = "standard") -> int:
    """The number of visits per site (at least 2) that tells occupancy best for a given number of visits in all.

    With the removal design it is the most visits a site gets, and the expected ones count. Where two numbers do equally
    well the smaller one is given; neighbours often differ by less than a percent.
    """
    _probability("psi", psi)
    _probability("p", p, top=True)
    # the optimum grows as 1/p and, for a psi near 1, as the log of 1/(1-psi); far beyond it the cost only rises
    least, most = 2, 10 + math.ceil((6 - 2 * math.log1p(-psi)) / p)
    while most - least > 2000:  # the cost has one valley: close in on it
        steps = np.unique(np.geomspace(least, most, 500).round().astype(int))
        at = _cheapest(psi, p, steps, design)
        least, most = int(steps[max(at - 1, 0)]), int(steps[min(at + 1, len(steps) - 1)])
    visits = np.arange(least, most + 1)
    return int(visits[_cheapest(psi, p, visits, design)])


def _cheapest(psi: float, p: float, visits: NDArray[np.int64], design: Design) -> int:
    """Which of the numbers of visits needs the fewest visits in all for a given error; the first of equals."""
    return int(np.argmin(_visits_expected(psi, p, visits, design) * _variance_of_one(psi, p, visits, design)))


def sites_needed(psi: float, p: float, visits: int, error: float, design: Design = "standard") -> int:
    """How many sites give a standard error of occupancy of at most `error`."""
    if not 0 < error < 1:
        raise InputError(f"The wanted standard error is {error}; give a number between 0 and 1, such as 0.05.")
    if visits < 2:
        raise InputError(
            f"With {visits} visit a site no number of sites tells occupancy and detection apart; plan 2 or more."
        )
    one = standard_error(psi, p, visits, 1, design)
    return math.ceil((one / error) ** 2 - 1e-9)


class Survey(NamedTuple):
    """A survey that a budget pays for, the hours it takes of it, and how well it would tell occupancy."""

    visits: int
    sites: int
    error: float
    hours: float


def best_survey(
    hours: float,
    psi: float,
    p: float,
    visit_hours: float,
    site_hours: float = 0.0,
    design: Design = "standard",
    most_sites: int | None = None,
) -> Survey:
    """The sites and visits per site that tell occupancy best within a budget.

    `visit_hours` is what one visit takes, `site_hours` what each site takes besides (setting out, asking leave). With
    the removal design a site takes the visits it is expected to need. Where the budget pays for more than `most_sites`
    it goes into more visits to those that there are, up to the fewest visits whose error is within HELPS of the least
    that the budget pays for; the rest is left. Raises InputError where not even one site fits.
    """
    _probability("psi", psi)
    _probability("p", p, top=True)
    if not (visit_hours > 0 and site_hours >= 0):
        raise InputError(
            f"A visit takes {visit_hours} hours and a site {site_hours}; give hours above 0, and 0 or more."
        )
    if most_sites is not None:
        _count("most_sites", most_sites)
    visits = np.arange(2, 2 + max(1, int(hours / visit_hours)))
    each = site_hours + visit_hours * _visits_expected(psi, p, visits, design)
    sites = np.floor(hours / each + 1e-9)
    visits, each, sites = visits[sites >= 1], each[sites >= 1], sites[sites >= 1]
    if not len(visits):
        raise InputError(f"{hours} hours do not pay for one site with two visits; give more hours.")
    one = _variance_of_one(psi, p, visits, design)
    best = int(np.argmin(one / sites))
    if most_sites is not None and sites[best] > most_sites:
        sites = np.minimum(sites, most_sites)
        errors = np.sqrt(one / sites)
        best = int(np.flatnonzero(errors <= errors.min() + HELPS)[0])
    error = math.sqrt(one[best] / sites[best])
    return Survey(int(visits[best]), int(sites[best]), error, float(sites[best] * each[best]))


def visit_value(occupancy: ArrayLike, p: ArrayLike) -> Numbers:
    """How much one more search is expected to teach about a site: the expected fall of the variance of "is it
    occupied".

    `occupancy` is the probability that the site is occupied, 0 to 1, given the searches so far; arrays broadcast. From
    Bayes' rule the fall is c (1 - c) - c (1 - p)(1 - c) / (1 - c p): a detection makes it certain, a blank lowers the
    probability to c q / (1 - c + c q). 0 where it is certain already.
    """
    c, p = np.asarray(occupancy, float), np.asarray(p, float)
    if not ((c >= 0) & (c <= 1) & (p >= 0) & (p <= 1)).all():
        raise InputError("A probability of being occupied or of finding lies outside 0 to 1; check them.")
    blank = 1 - c * p
    left = np.divide(c * (1 - p) * (1 - c), blank, out=np.zeros(np.broadcast(c, p).shape), where=blank > 0)
    return cast(Numbers, (c * (1 - c) - left)[()])


def blank_visits(p: float, confidence: float, prior: float | None = None) -> int:
    """How many blank visits in a row it takes to be sure.

    Without `prior`: until something would have been found with this confidence if it were there (common practice). With
    `prior`, the probability of being occupied before any visit: until the site is empty with this confidence (derived
    from Bayes' rule; the idea in Wintle, Walshe, Parris & McCarthy 2012, Diversity and Distributions 18:417-424).
    """
    _probability("p", p, top=True)
    _probability("confidence", confidence)
    tolerated = 1 - confidence
    if prior is not None:
        _probability("prior", prior)
        tolerated = tolerated * (1 - prior) / (confidence * prior)
    if tolerated >= 1:
        return 0
    return 1 if p == 1 else math.ceil(math.log(tolerated) / math.log1p(-p) - 1e-9)


def searches_needed(occupied: Array, p: Array, confidence: float, most: int = 99) -> Array:
    """How many more searches without a detection until each pool is empty with this confidence; NaN above `most`.

    occupied: draws x pools, the probability that each is occupied now; p: draws, of detection. The number is the least
    k at which the mean over draws of c q^k / (1 - c + c q^k), with q = 1 - p, is at most 1 - confidence: taken over all
    that is not known, it is more than with one psi and p. NaN also where larvae are there for certain.
    """
    needed = np.full(occupied.shape[1], np.nan)
    open_ = np.flatnonzero(occupied.min(axis=0) < 1)
    for k in range(most + 1):
        missed = occupied[:, open_] * (1 - p[:, None]) ** k
        enough = (missed / (1 - occupied[:, open_] + missed)).mean(axis=0) <= 1 - confidence
        needed[open_[enough]] = k
        open_ = open_[~enough]
        if not len(open_):
            break
    return needed


def _variance_of_one(psi: ArrayLike, p: ArrayLike, visits: ArrayLike, design: Design) -> Array:
    """The variance of occupancy times the number of sites."""
    psi, p, visits = np.asarray(psi, float), np.asarray(p, float), np.asarray(visits, float)
    with np.errstate(divide="ignore"):
        found = -np.expm1(visits * np.log1p(-p))  # at least once; this way small probabilities keep their digits
    missed = 1 - found
    if design == "standard":
        share = found - visits * p * (1 - p) ** (visits - 1)
        unsure = missed / np.where(visits > 1, share, np.nan)
    elif design == "removal":
        share = found**2 - visits**2 * p**2 * (1 - p) ** (visits - 1)
        unsure = found * missed / np.where(visits > 1, share, np.nan)
    else:
        raise InputError(f"The design is {design!r}; give 'standard' or 'removal'.")
    return np.asarray(psi * (1 - psi + unsure))


def _visits_expected(psi: float, p: float, visits: NDArray[np.int64], design: Design) -> Array:
    """The visits a site gets on average."""
    if design == "standard":
        return visits.astype(np.float64)
    return np.asarray((1 - psi) * visits + psi * (1 - (1 - p) ** visits) / p)


def _probability(name: str, value: ArrayLike, top: bool = False) -> None:
    """Refuses what is not above 0 and below 1 (`top`: at most 1)."""
    values = np.asarray(value, dtype=np.float64)
    if not ((values > 0) & ((values < 1) | (top & (values == 1)))).all():
        raise InputError(f"{name} is {values}; give a number above 0 and {'at most' if top else 'below'} 1.")


def _count(name: str, value: ArrayLike) -> None:
    """Refuses what is not a whole number above 0."""
    values = np.asarray(value, dtype=np.float64)
    if not ((values >= 1) & (values == np.round(values))).all():
        raise InputError(f"{name} is {values}; give a whole number of 1 or more.")
