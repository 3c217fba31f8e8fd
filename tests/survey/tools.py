"""Shared by the tests of this room: small readers and a slow, obvious likelihood."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from habitatmap.read.settings import OccupancySettings

MODEL = OccupancySettings()  # both probabilities are estimated


def searched(names: list[str], rng: np.random.Generator, fewest: int, most: int, **more: str) -> pd.DataFrame:
    """Visits to pools of which half are occupied, seen into `fewest` to `most` times with detection 0.6."""
    rows = []
    for name in names:
        occupied = rng.random() < 0.5
        for k in range(int(rng.integers(fewest, most + 1))):
            outcome = "larvae" if occupied and rng.random() < 0.6 else "none seen"
            rows.append((name, pd.Timestamp("2026-04-01") + pd.Timedelta(days=20 * k), outcome))
    return pd.DataFrame(rows, columns=["pool", "date", "outcome"]).assign(**more)


def as_table(histories: str) -> np.ndarray:
    """Sites x visits from words such as 01.1, where a dot is no search."""
    return np.array([[np.nan if c == "." else float(c) for c in word] for word in histories.split()])


def closed_form_table(sites: int, once: int, twice: int) -> np.ndarray:
    """Two searches at every site: so many sites with one detection, so many with two."""
    return as_table(" ".join(["10"] * once + ["11"] * twice + ["00"] * (sites - once - twice)))


def slow_log_likelihood(found: Any, psi: Any, p: Any) -> float:
    """The likelihood as in a textbook: site by site, search by search, the state of the site summed out."""
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
