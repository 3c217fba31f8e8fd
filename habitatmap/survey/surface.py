"""The probability that a pool set here holds larvae, as a raster: only where ground like it was searched."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray


def probability_surface(
    probability: float | NDArray[Any],
    scores: Sequence[NDArray[Any]],
    known: NDArray[np.bool_],
    row: NDArray[Any],
    col: NDArray[Any],
) -> NDArray[np.float32]:
    """`probability` (a number, or rows x cols) where all scores lie in the range of the sampled cells (row, col); else
    NaN.

    `scores` are rasters (rows, cols), such as the forage and dead-wood scores; `known` marks cells with data. Nothing
    sampled, or no score known there: NaN everywhere, as the records say nothing about any ground.
    """
    like = known.copy()
    for score in scores:
        seen = score[row, col]
        seen = seen[~np.isnan(seen)]
        like &= (score >= seen.min()) & (score <= seen.max()) if len(seen) else False
    return np.where(like, np.asarray(probability, dtype=np.float32), np.float32(np.nan))
