"""Each checked species by itself, and what the checked finds say about the unchecked ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from habitatmap.survey.false_positives import FalseFinds, fit_with_false_finds
from habitatmap.survey.probabilities import estimate
from habitatmap.survey.searches import FOUND, Looks, looks

GROUP = "all larvae, checked or not"


def by_species(visits: pd.DataFrame, pools: pd.DataFrame, as_of: Any, group: Any = None) -> pd.DataFrame:
    """One row for the group-level finds, then one for each species among the checked larvae, in alphabetical order.

    Columns: taxon and what `chances.estimate` gives. A species is fitted from the looks that can tell: larvae nobody
    checked are left out, which makes its estimate too low where larvae were checked only now and then; the basis says
    so.
    """
    checked = visits[(visits["outcome"] == FOUND) & (visits["checked"] == "yes")]
    names = checked["taxon"].astype(str).str.strip()
    taxa = {name.casefold(): name for name in sorted(names[names != ""], reverse=True)}
    whole = looks(visits, pools, as_of)
    unchecked = int(whole.found.sum() - whole.checked.sum())
    rows = [{"taxon": GROUP, **estimate(whole, group)}]
    for key in sorted(taxa):
        row = {"taxon": taxa[key], **estimate(looks(visits, pools, as_of, taxon=key), group)}
        if unchecked:
            row["basis"] += f"; {unchecked} looks with unchecked larvae left out, so that the figures may be too low"
        rows.append(row)
    return pd.DataFrame(rows)


def from_checked_finds(seen: Looks, group: Any = None) -> FalseFinds:
    """Occupancy with mistaken finds, as far as the checked ones allow, by place (pools of one label are one place)."""
    place = np.arange(len(seen.pools)) if group is None else pd.factorize(np.asarray(group))[0]
    certain = np.bincount(place, seen.checked.sum(axis=1))
    looked, found = np.bincount(place, seen.looks), np.bincount(place, seen.found)
    return fit_with_false_finds(looked, certain, found - certain)
