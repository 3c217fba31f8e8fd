"""What a covariate does, in probabilities and not in log odds: each alone, under a weak prior, between two values of
it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit

from habitatmap.survey.constant import Array, Prior
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.occupancy import fit_occupancy

APART, NOT_APART = "differ", "cannot be told apart"
COLUMNS = [
    *(
        "part",
        "covariate",
        "from",
        "to",
        "probability_from",
        "probability_to",
        "difference",
        "low",
        "high",
        "odds_per_sd",
        "words",
    )
]


def effects(
    detections: Array, site: pd.DataFrame, visit: Mapping[str, NDArray[Any]], prior: Prior | None = None
) -> pd.DataFrame:
    """One row for each number, and for each kind of a word but the commonest; arguments as for `fit_occupancy`.

    A number is compared between its quartiles over the searched sites (searches, for detection), a kind with the
    commonest one. part: "occupancy" or "detection"; difference: chance_to less chance_from, with the central 95 % of
    the posterior; odds_per_sd: the factor on the odds per standard deviation, numbers only; words: whether 0 lies
    outside. A covariate whose terms are more than one per ten finds is left out.
    """
    searched = ~np.isnan(np.asarray(detections, dtype=np.float64))
    detected = int(np.nansum(detections))
    rows: list[dict[str, Any]] = []
    for name in site.columns:
        values = site[name].to_numpy()
        used = values[searched.any(axis=1)]
        if _terms(used) * PER_COVARIATE <= detected:
            fit = fit_occupancy(detections, site[[name]], prior=prior or Prior())
            assert fit.draws is not None
            rows += _rows("occupancy", str(name), used, fit.draws[:, :-1], fit.coefficients["term"])
    for name, table in visit.items():
        used = np.asarray(table)[searched]
        if _terms(used) * PER_COVARIATE <= detected:
            fit = fit_occupancy(detections, visit={name: table}, prior=prior or Prior())
            assert fit.draws is not None
            rows += _rows("detection", name, used, fit.draws[:, 1:], fit.coefficients["term"][1:])
    return pd.DataFrame(rows, columns=COLUMNS)


def _terms(values: NDArray[Any]) -> int:
    return 1 if values.dtype != object else len(set(values.tolist())) - 1


def _rows(part: str, name: str, used: NDArray[Any], draws: Array, terms: Any) -> Iterator[dict[str, Any]]:
    """draws: draws x (intercept and the terms of this part)."""
    if used.dtype != object:
        numbers = used.astype(np.float64)
        low, high = np.quantile(numbers, [0.25, 0.75])
        if low == high:
            low, high = numbers.min(), numbers.max()
        odds = float(np.exp(draws[:, 1].mean() * numbers.std()))
        yield _row(part, name, f"{low:.3g}", f"{high:.3g}", *(draws[:, 0] + draws[:, 1] * v for v in (low, high))) | {
            "odds_per_sd": odds
        }
        return
    at = {term: draws[:, i] for i, term in enumerate(terms) if i < draws.shape[1]}
    kinds, counts = np.unique(used.astype(str), return_counts=True)
    log_odds = {kind: at["intercept"] + at.get(f"{name}={kind}", 0.0) for kind in kinds}
    common = kinds[np.argmax(counts)]
    for kind in kinds:
        if kind != common:
            yield _row(part, name, str(common), str(kind), log_odds[common], log_odds[kind])


def _row(part: str, name: str, low: str, high: str, at_low: Array, at_high: Array) -> dict[str, Any]:
    a, b = expit(at_low), expit(at_high)
    ends = np.quantile(b - a, [0.025, 0.975])
    return {
        "part": part,
        "covariate": name,
        "from": low,
        "to": high,
        "probability_from": float(a.mean()),
        "probability_to": float(b.mean()),
        "difference": float((b - a).mean()),
        "low": float(ends[0]),
        "high": float(ends[1]),
        "odds_per_sd": np.nan,
        "words": APART if ends[0] > 0 or ends[1] < 0 else NOT_APART,
    }
