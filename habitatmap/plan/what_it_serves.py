"""What a suggested site serves: flowering ground within flight that adults probably do not reach without it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.habitat.forage import MonthlyForage
from habitatmap.plan.reach import Floats, in_turn

COLUMNS = ["new_ha", "new_class", "new_class_share", "new_month"]
# ground with less than this is hardly in flower (expert judgement: half of a mown lawn at its best)
FLOWERS_FROM = 0.1
# within this reach weight, which is the flight median, and reached with less than this probability: an even chance
WITHIN, UNLIKELY = 0.5, 0.5


def what_sites_serve(
    forage: MonthlyForage,
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
    rows = []
    for step in in_turn(missed, sites, kernel):
        w = np.nan_to_num(weight[step.around].astype(np.float64))
        flowers = (w >= FLOWERS_FROM) & (step.k >= WITHIN)
        new = flowers & (step.before > 1.0 - UNLIKELY)
        added = step.before * step.k * (new if new.any() else flowers)
        told = _most(forage[:, *step.around], w, added, classes[step.around])
        rows.append((float(new.sum()) * cell_ha, *told))
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
