"""Each checked species by itself, and what the checked detections say about the unchecked ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from habitatmap.survey.false_positives import FalsePositives, fit_false_positives
from habitatmap.survey.probabilities import estimate
from habitatmap.survey.searches import FOUND, Searches, count_searches

GROUP = "all larvae, checked or not"


def by_species(visits: pd.DataFrame, pools: pd.DataFrame, as_of: Any, group: Any = None) -> pd.DataFrame:
    """One row for the group-level finds, then one for each species among the checked larvae, in alphabetical order.

    Columns: taxon and what `probabilities.estimate` gives. A species is fitted from the searches that can tell: larvae
    nobody checked are left out, which makes its estimate too low where larvae were checked only now and then; the basis
    says so.
    """
    checked = visits[(visits["outcome"] == FOUND) & (visits["checked"] == "yes")]
    names = checked["taxon"].astype(str).str.strip()
    taxa = {name.casefold(): name for name in sorted(names[names != ""], reverse=True)}
    whole = count_searches(visits, pools, as_of)
    unchecked = int(whole.detections.sum() - whole.checked.sum())
    rows = [{"taxon": GROUP, **estimate(whole, group)}]
    for key in sorted(taxa):
        row = {"taxon": taxa[key], **estimate(count_searches(visits, pools, as_of, taxon=key), group)}
        if unchecked:
            row["basis"] += f"; {unchecked} searches with unchecked larvae left out, so that the figures may be too low"
        rows.append(row)
    return pd.DataFrame(rows)


def from_checked_larvae(seen: Searches, group: Any = None) -> FalsePositives:
    """Occupancy with mistaken finds, as far as the checked ones allow, by place (pools of one label are one place)."""
    place = np.arange(len(seen.pools)) if group is None else pd.factorize(np.asarray(group))[0]
    certain = np.bincount(place, seen.checked.sum(axis=1))
    searched, found = np.bincount(place, seen.searches), np.bincount(place, seen.detections)
    return fit_false_positives(searched, certain, found - certain)
