"""From when to when a pool was out, where a list may say the month or the season only: the two ends of what it says.

A pool whose list says "April 2024" has no set_out; it stood from some day between set_out_first and set_out_last on.
"""

from __future__ import annotations

import pandas as pd


def out_from(pools: pd.DataFrame) -> pd.Series:
    """The first day on which each pool may have been out (NaT: not known)."""
    return _end(pools, "set_out", "set_out_first")


def out_by(pools: pd.DataFrame) -> pd.Series:
    """The day by which each pool was out for sure (NaT: not known)."""
    return _end(pools, "set_out", "set_out_last")


def in_from(pools: pd.DataFrame) -> pd.Series:
    """The first day on which each pool may have been taken in (NaT: it was not, or nobody said)."""
    return _end(pools, "removed", "removed_first")


def in_by(pools: pd.DataFrame) -> pd.Series:
    """The day by which each pool was taken in for sure (NaT: it was not, or nobody said)."""
    return _end(pools, "removed", "removed_last")


def _end(pools: pd.DataFrame, day: str, end: str) -> pd.Series:
    days = pd.to_datetime(pools[day])
    return days.fillna(pd.to_datetime(pools[end])) if end in pools else days
