"""What a suggested site serves: flowering ground within flight that adults probably do not reach without it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.plan.reach import Floats, multiply

COLUMNS = ["new_ha", "new_class", "new_class_share", "new_month"]
# ground with less than this is hardly in flower (expert judgement: half of a mown lawn at its best)
FLOWERS_FROM = 0.1
# within this reach weight, which is the flight median, and reached with less than this probability: an even chance
WITHIN, UNLIKELY = 0.5, 0.5


def what_sites_serve(
    forage: NDArray[np.floating],
    weight: NDArray[np.floating],
    missed: Floats,
    classes: NDArray[np.integer],
    sites: pd.DataFrame,
    kernel: Floats,
    cell_ha: float,
) -> pd.DataFrame:
    """COLUMNS for each site (row, col, p), in order, those before it standing already.

    forage: (12, rows, cols); weight, missed, classes: (rows, cols), the season's forage, the probability that nothing
    reaches a cell without the sites, and the number of its class (0 = none). new_ha: ground in flower within the
    flight median that is reached with less than an even chance; new_class: the class that gives most of what the site
    adds there, new_class_share its share of that; new_month: 1-12, when most of it flowers. Where new_ha is 0 the
    other figures are those of all ground in flower within the flight median. NaN and 0 where nothing flowers.
    """
    left, r = np.array(missed, dtype=np.float64), kernel.shape[0] // 2
    rows = []
    for row, col, p in zip(*(sites[name].tolist() for name in ("row", "col", "p")), strict=True):
        i0, i1 = max(0, row - r), min(left.shape[0], row + r + 1)
        j0, j1 = max(0, col - r), min(left.shape[1], col + r + 1)
        around, k = np.s_[i0:i1, j0:j1], kernel[i0 - row + r : i1 - row + r, j0 - col + r : j1 - col + r]
        w = np.nan_to_num(weight[around].astype(np.float64))
        flowers = (w >= FLOWERS_FROM) & (k >= WITHIN)
        new = flowers & (left[around] > 1.0 - UNLIKELY)
        told = new if new.any() else flowers
        added = left[around] * k * told
        rows.append((float(new.sum()) * cell_ha, *_most(forage[:, *around], w, added, classes[around])))
        multiply(left, 0, 0, row, col, p, kernel)
    return pd.DataFrame(rows, columns=COLUMNS)


def _most(
    forage: NDArray[np.floating], weight: Floats, added: Floats, classes: NDArray[np.integer]
) -> tuple[int, float, float]:
    """The class and its share, and the month, that give most of `weight` and `forage` times `added`."""
    by_class = np.bincount(classes.ravel(), weights=(weight * added).ravel())
    if not by_class.sum() > 0:
        return 0, float("nan"), float("nan")
    by_month = (np.nan_to_num(forage) * added).sum(axis=(1, 2))
    most = int(np.argmax(by_class))
    return most, float(by_class[most] / by_class.sum()), float(np.argmax(by_month)) + 1
