"""Where the next pools help most, how far from the best possible, and how sure."""

from __future__ import annotations

from habitatmap.plan.search import Choice, choose

__all__ = ["Choice", "choose"]
