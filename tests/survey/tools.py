"""Shared by the tests of this room: small readers and a slow, obvious likelihood."""

from __future__ import annotations

import math
from typing import Any

import numpy as np


def as_table(histories: str) -> np.ndarray:
    """Sites x visits from words such as 01.1, where a dot is no search."""
    return np.array([[np.nan if c == "." else float(c) for c in word] for word in histories.split()])


def closed_form_table(sites: int, once: int, twice: int) -> np.ndarray:
    """Two searches at every site: so many sites with one detection, so many with two."""
    return as_table(" ".join(["10"] * once + ["11"] * twice + ["00"] * (sites - once - twice)))


def slow_log_likelihood(found: Any, psi: Any, p: Any) -> float:
    """The likelihood as it is written in a textbook: site by site, search by search, the state of the site summed out."""
    total = 0.0
    for i, row in enumerate(np.asarray(found, float)):
        if_occupied, if_empty = float(psi[i]), 1 - float(psi[i])
        searched = False
        for j, y in enumerate(row):
            if math.isnan(y):
                continue
            searched = True
            if_occupied *= float(p[i][j]) if y == 1 else 1 - float(p[i][j])
            if_empty *= 0.0 if y == 1 else 1.0
        if searched:
            total += math.log(if_occupied + if_empty)
    return total
