"""Covariate effects, in probabilities and not in log odds: each alone, under a weak prior, between two values of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit

from habitatmap.survey.codes import Difference
from habitatmap.survey.constant import Array, Prior
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.occupancy import fit_occupancy

COLUMNS = "part covariate from to probability_from probability_to difference low high odds_per_sd words".split()


def effects(
    detections: Array, site: pd.DataFrame, visit: Mapping[str, NDArray[np.generic]], prior: Prior | None = None
) -> pd.DataFrame:
    """One row for each number, and for each kind of a word but the commonest; arguments as for `fit_occupancy`.

    A number is compared between its quartiles over the searched sites (searches, for detection), a kind with the
    commonest one. part: "occupancy" or "detection"; difference: probability_to less probability_from, as posterior mean
    with the central 95 %; odds_per_sd: exp(mean slope x standard deviation), numbers only; words: whether 0 lies
    outside (Difference). A covariate whose terms are more than one per ten detections is left out.
    """
    searched = ~np.isnan(np.asarray(detections, dtype=np.float64))
    most = int(np.nansum(detections)) // PER_COVARIATE
    believed = prior or Prior()
    rows: list[dict[str, object]] = []
    for name in site.columns:
        used = site[name].to_numpy()[searched.any(axis=1)]
        if _terms(used) <= most:
            fit = fit_occupancy(detections, site[[name]], prior=believed)
            assert fit.draws is not None
            rows += _rows("occupancy", str(name), used, fit.draws[:, :-1], fit.coefficients["term"].tolist())
    for name, table in visit.items():
        used = np.asarray(table)[searched]
        if _terms(used) <= most:
            fit = fit_occupancy(detections, visit={name: table}, prior=believed)
            assert fit.draws is not None
            rows += _rows("detection", name, used, fit.draws[:, 1:], fit.coefficients["term"].tolist()[1:])
    return pd.DataFrame(rows, columns=COLUMNS)


def _terms(values: NDArray[np.generic]) -> int:
    """How many coefficients a covariate takes."""
    return 1 if values.dtype != object else len(set(values.tolist())) - 1


def _rows(
    part: str, name: str, used: NDArray[np.generic], draws: Array, terms: Sequence[str]
) -> Iterator[dict[str, object]]:
    """draws: draws x (intercept and the terms of this part)."""
    if used.dtype != object:
        numbers = used.astype(np.float64)
        low, high = np.quantile(numbers, [0.25, 0.75])
        if low == high:
            low, high = numbers.min(), numbers.max()
        at_low, at_high = (draws[:, 0] + draws[:, 1] * v for v in (low, high))
        odds = float(np.exp(draws[:, 1].mean() * numbers.std()))
        yield _row((part, name, f"{low:.3g}", f"{high:.3g}"), at_low, at_high, odds)
        return
    at = {term: draws[:, i] for i, term in enumerate(terms) if i < draws.shape[1]}
    kinds, counts = np.unique(used.astype(str), return_counts=True)
    log_odds = {str(kind): at["intercept"] + at.get(f"{name}={kind}", 0.0) for kind in kinds}
    common = str(kinds[np.argmax(counts)])
    for kind, odds_of_kind in log_odds.items():
        if kind != common:
            yield _row((part, name, common, kind), log_odds[common], odds_of_kind)


def _row(named: tuple[str, str, str, str], at_low: Array, at_high: Array, odds: float = np.nan) -> dict[str, object]:
    a, b = expit(at_low), expit(at_high)
    low, high = np.quantile(b - a, [0.025, 0.975]).tolist()
    figures = (float(a.mean()), float(b.mean()), float((b - a).mean()), low, high, odds)
    word = Difference.DIFFER if low > 0 or high < 0 else Difference.NOT_DISTINGUISHABLE
    return dict(zip(COLUMNS, (*named, *figures, word), strict=True))
