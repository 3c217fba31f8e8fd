"""What a fit of the occupancy model tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from habitatmap.errors import InputError
from habitatmap.survey.constant import Array, Prior

NO_DETECTION = "nothing was found at any search, so that rare and hard to find cannot be told apart"
SEARCHED_ONCE = "no site was searched more than once, so that only the product of occupancy and detection can be told"


@dataclass(frozen=True)
class Fit:
    """What the searches say. Numbers that can't be known are NaN, never 0.

    psi, psi_se           probability of being occupied: one number, or with site covariates one per site p, p_se
    probability that a search at an occupied site finds: one number, or with visit covariates an array of sites x visits
    minus2loglik, aic     -2 log likelihood at these estimates (no combinatorial constant); aic is NaN for a posterior
    conditional           per site: 1 where something was found, else the probability of being occupied given its
    non-detections coefficients          frame: part ("psi" or "p"), term, estimate, se, in log odds identifiable, why
    False where the searches alone give no regular estimate with an error; `why` says what is amiss naive
    share of the searched sites where something was found from_data             with a prior: 1 - posterior / prior
    variance of psi (constant model), else NaN sampling_efficiency   with a prior and covariates: effective share of the
    posterior's draws, else NaN numerical_error       with a prior: how far psi may be off because the posterior was
    summed or sampled and not solved (the change from a grid half as fine; one standard error of the draws' mean), else
    NaN draws                 with a prior: draws of the coefficients (draws x terms, order and units of `coefficients`)
    """

    psi: Any
    psi_se: Any
    p: Any
    p_se: Any
    minus2loglik: float
    aic: float
    conditional: Array
    coefficients: pd.DataFrame
    identifiable: bool
    why: str
    n_sites: int
    n_searches: int
    n_detections: int
    naive: float
    prior: Prior | None
    from_data: float
    sampling_efficiency: float
    numerical_error: float
    draws: Array | None = field(repr=False)
    _interval: Callable[[str, float], tuple[Any, Any]] = field(repr=False)
    _mean_psi: tuple[float, float] = field(repr=False)

    def interval(self, level: float = 0.95, part: str = "psi") -> tuple[Any, Any]:
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

    @cached_property
    def _psi_bounds(self) -> tuple[Any, Any]:
        return self.interval()

    @property
    def psi_low(self) -> Any:
        """Lower end of the 95 % interval of psi."""
        return self._psi_bounds[0]

    @property
    def psi_high(self) -> Any:
        """Upper end of the 95 % interval of psi."""
        return self._psi_bounds[1]

    def mean_psi(self) -> tuple[float, float]:
        """The mean of psi over the sites that were searched, and its standard error."""
        return self._mean_psi


def coefficients(psi_terms: list[str], p_terms: list[str], estimates: Array, errors: Array) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "part": ["psi"] * len(psi_terms) + ["p"] * len(p_terms),
            "term": psi_terms + p_terms,
            "estimate": np.asarray(estimates, dtype=np.float64),
            "se": np.asarray(errors, dtype=np.float64),
        }
    )
