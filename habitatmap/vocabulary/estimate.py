"""An estimate: a number, how sure it is, and where it comes from."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from habitatmap.vocabulary.terms import Basis


class Method(StrEnum):
    """How a number was arrived at."""

    MAXIMUM_LIKELIHOOD = "maximum likelihood"  # interval by profile likelihood
    BAYESIAN = "Bayesian"  # posterior mean, equal-tailed interval
    SEASONS = "dynamic occupancy"  # the same, by the model of several seasons
    DETECTED = "detected"  # larvae were seen: certain
    EXPERT = "expert value"  # the prior alone, where the data are too few
    STATED = "stated"  # a number that the user set in area.toml
    TOO_FEW = "too few"  # not estimated, as the searches are too few
    NOT_ESTIMABLE = "not estimable"  # not estimated, as the data have no finite answer


@dataclass(frozen=True)
class Estimate:
    """A value with its interval (95 % unless its maker says otherwise); NaN = not known.

    `basis` is what a value rests on that did not come from the data alone.
    """

    value: float
    low: float
    high: float
    method: Method
    basis: Basis | None = None

    @classmethod
    def unknown(cls, method: Method) -> Estimate:
        """No number, and the reason why there is none."""
        return cls(math.nan, math.nan, math.nan, method)

    @classmethod
    def exactly(cls, value: float, method: Method, basis: Basis | None = None) -> Estimate:
        """A number without an interval of its own."""
        return cls(value, value, value, method, basis)

    @property
    def known(self) -> bool:
        """Whether there is a number."""
        return math.isfinite(self.value)
