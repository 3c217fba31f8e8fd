"""Quantiles and tails of chi-squared by scipy.special: scipy.stats takes a third of a second to load."""

from __future__ import annotations

from scipy.special import chdtr, chdtrc, gammaincinv


def chi2_quantile(share: float, df: float) -> float:
    """The value below which such a share lies."""
    return 2 * float(gammaincinv(df / 2, share))


def chi2_below(value: float, df: float) -> float:
    """The share that lies below a value."""
    return float(chdtr(df, value))


def chi2_above(value: float, df: float) -> float:
    """The share that lies above a value."""
    return float(chdtrc(df, value))
