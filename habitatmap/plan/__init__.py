"""Where the next pools help most, how far from the best possible, and how sure."""

from __future__ import annotations

from habitatmap.plan.bound import Bound, upper_bound
from habitatmap.plan.discrete import max_cover, p_median
from habitatmap.plan.search import Selection, choose

__all__ = ["Bound", "Selection", "choose", "max_cover", "p_median", "upper_bound"]
