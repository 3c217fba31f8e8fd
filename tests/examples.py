"""How many examples a law is tried on: a third in the daily run, all of them with HABITATMAP_FUZZ=1."""

from __future__ import annotations

import os


def examples(most: int) -> int:
    """So many of `most`, and ten at least."""
    return most if os.environ.get("HABITATMAP_FUZZ") else max(10, most // 3)
