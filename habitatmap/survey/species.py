"""Each checked species by itself, and what the checked detections say about the unchecked ones."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.survey.false_positives import FalsePositives, fit_false_positives
from habitatmap.survey.figures import SeasonFigures, estimate, not_told
from habitatmap.survey.searches import Day, Searches, count_searches
from habitatmap.vocabulary.estimate import Method
from habitatmap.vocabulary.terms import Outcome, YesNo
from habitatmap.vocabulary.window import WHOLE_YEAR, Window


class SpeciesFigures(NamedTuple):
    """A species by the name that a checker gave, or the whole group (""), and its figures."""

    taxon: str
    figures: SeasonFigures


def by_species(
    visits: pd.DataFrame,
    pools: pd.DataFrame,
    as_of: Day,
    group: NDArray[np.int64] | None = None,
    closed: Window = WHOLE_YEAR,
) -> list[SpeciesFigures]:
    """The group-level detections, then each species among the checked larvae, in alphabetical order.

    A species is fitted from the searches that can tell: larvae nobody checked are left out (`unchecked` counts them),
    which makes its estimate too low where larvae were checked only now and then.
    """
    checked = visits[(visits["outcome"] == Outcome.LARVAE) & (visits["checked"] == YesNo.YES)]
    names = checked["taxon"].astype(str).str.strip()
    taxa = {name.casefold(): name for name in sorted(names[names != ""], reverse=True)}
    whole = count_searches(visits, pools, as_of, closed=closed)
    unchecked = int(whole.detections.sum() - whole.checked.sum())
    each = [
        SpeciesFigures(taxa[key], estimate(count_searches(visits, pools, as_of, key, closed), group, unchecked))
        for key in sorted(taxa)
    ]
    group_level = estimate(whole, group)
    if whole.detections_only:  # then a list of another species says nothing of this one
        each = [SpeciesFigures(t, not_told(figures, Method.NOT_ESTIMABLE, group_level.why)) for t, figures in each]
    return [SpeciesFigures("", group_level), *each]


def from_checked_larvae(seen: Searches) -> FalsePositives:
    """Occupancy with false positives, as far as the checked detections allow."""
    certain = seen.checked.sum(axis=1)
    return fit_false_positives(seen.searches, certain, seen.detections - certain)
