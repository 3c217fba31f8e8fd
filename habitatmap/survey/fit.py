"""What a fit of the occupancy model tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from habitatmap.errors import InputError
from habitatmap.survey.codes import Irregular
from habitatmap.survey.constant import Array, Ends, Histories, Numbers, Prior
from habitatmap.vocabulary.note import Note, note

Bounds = tuple[Numbers, Numbers]


class OneNumber(NamedTuple):
    """A probability that is the same for all sites and searches: its value, 95 % interval and standard error."""

    value: float
    low: float
    high: float
    se: float


@dataclass(frozen=True)
class Fit:
    """What the searches say. Numbers that can't be known are NaN, never 0.

    psi, psi_se           probability of occupancy: one number, or with site covariates one per site
    p, p_se               probability of detection at a search of an occupied site: one number, or with visit
                          covariates an array of sites x visits
    minus2loglik, aic     -2 log likelihood at these estimates (no combinatorial constant); aic = that + 2 x terms, NaN
                          for a posterior
    conditional           per site: 1 where larvae were detected, else the probability of occupancy given its searches
    coefficients          frame: part ("psi" or "p"), term, estimate, se, in log odds
    why                   what keeps the searches alone from giving a regular estimate with an error; empty: nothing
    histories             the searches and detections that were fitted
    from_data             with a prior: 1 - posterior / prior variance of psi (constant model), else NaN
    sampling_efficiency   with a prior and covariates: effective share of the posterior's draws, else NaN
    numerical_error       with a prior: how far psi may be off because the posterior was summed or sampled and not
                          solved (the change from a grid half as fine; one standard error of the draws' mean), else NaN
    draws                 with a prior: draws of the coefficients (draws x terms, order and units of `coefficients`)
    """

    psi: Numbers
    psi_se: Numbers
    p: Numbers
    p_se: Numbers
    minus2loglik: float
    aic: float
    conditional: Array
    coefficients: pd.DataFrame
    why: tuple[Note, ...]
    histories: Histories
    _mean_psi: Ends = field(repr=False)
    _interval: Callable[[str, float], Bounds] = field(repr=False)
    prior: Prior | None = None
    from_data: float = np.nan
    sampling_efficiency: float = np.nan
    numerical_error: float = np.nan
    draws: Array | None = field(default=None, repr=False)

    @property
    def identifiable(self) -> bool:
        """Whether the searches alone give a regular estimate with an error."""
        return not self.why

    @property
    def n_sites(self) -> int:
        """Sites with a search."""
        return self.histories.n_sites

    @property
    def n_searches(self) -> int:
        return self.histories.n_searches

    @property
    def n_detections(self) -> int:
        """Searches with a detection."""
        return self.histories.n_detections

    @property
    def naive(self) -> float:
        """Naive occupancy: share of the searched sites with a detection."""
        return self.histories.naive

    def interval(self, level: float = 0.95, part: str = "psi") -> Bounds:
        """The interval of psi, p or conditional (`part`): low and high, of the same shape as the estimate.

        Without a prior: by profile likelihood in the constant model and for psi with up to 25 different rows of
        covariates; beyond that, and for p with covariates, the Wald interval in log odds, NaN where there is no
        standard error. With a prior: the central interval of the posterior; conditional has one only then.
        """
        if not 0 < level < 1:
            raise InputError(f"The level of an interval is {level}; give a share between 0 and 1, such as 0.95.")
        if part not in ("psi", "p", "conditional"):
            raise InputError(f"The interval of {part!r} was asked for; give 'psi', 'p' or 'conditional'.")
        if part == "conditional" and self.prior is None:
            raise InputError(
                "Without a prior a site's conditional probability has no interval; fit with prior=Prior()."
            )
        return self._interval(part, level)

    def one(self, part: str) -> OneNumber:
        """psi or p (`part`) of the model without covariates."""
        value, se = (self.psi, self.psi_se) if part == "psi" else (self.p, self.p_se)
        return OneNumber(*map(float, (value, *self.interval(part=part), se)))

    @cached_property
    def _psi_bounds(self) -> Bounds:
        return self.interval()

    def mean_psi(self) -> Ends:
        """The mean of psi over the searched sites, and its standard error."""
        return self._mean_psi

    @property
    def psi_low(self) -> Numbers:
        """Lower end of the 95 % interval of psi."""
        return self._psi_bounds[0]

    @property
    def psi_high(self) -> Numbers:
        """Upper end of the 95 % interval of psi."""
        return self._psi_bounds[1]


def not_estimable(h: Histories) -> tuple[Note, ...]:
    """Why no search could tell psi from p: nothing was searched, nothing detected, or no site searched twice."""
    if not h.n_sites:
        return (note(Irregular.NOT_SEARCHED),)
    if not h.n_detections:
        return (note(Irregular.NO_DETECTION),)
    return (note(Irregular.SEARCHED_ONCE),) if h.most == 1 else ()


def coefficients(psi_terms: list[str], p_terms: list[str], estimates: Array, errors: Array) -> pd.DataFrame:
    """The frame `Fit.coefficients`."""
    return pd.DataFrame(
        {
            "part": ["psi"] * len(psi_terms) + ["p"] * len(p_terms),
            "term": psi_terms + p_terms,
            "estimate": np.asarray(estimates, dtype=np.float64),
            "se": np.asarray(errors, dtype=np.float64),
        }
    )
