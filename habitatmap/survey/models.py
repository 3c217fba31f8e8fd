"""Is the model right, and which covariates belong in it: a goodness-of-fit check and an open comparison.

Goodness of fit: MacKenzie & Bailey 2004, Journal of Agricultural, Biological and Environmental Statistics 9:300-318.
Comparison by AIC, every model shown; at most one covariate per ten detections (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from habitatmap.errors import InputError
from habitatmap.survey.codes import Lacking
from habitatmap.survey.constant import Array
from habitatmap.survey.fit import Fit
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.vocabulary.note import note

PER_COVARIATE = 10  # detections


@dataclass(frozen=True)
class Goodness:
    """How well the fitted model reproduces the histories.

    chi_square: Pearson's, over all histories possible with the searches made; p_value: the share of surveys simulated
    from the fitted model that fit as badly or worse; overdispersion: chi_square over the simulated ones' mean (about 1
    where the model is right; above it, errors are too small by its square root); surveys: how many were simulated;
    histories: frame with history, sites, observed, expected for the histories that were seen.
    """

    chi_square: float
    p_value: float
    overdispersion: float
    surveys: int
    histories: pd.DataFrame

    @property
    def fits(self) -> bool | None:
        """Whether no misfit can be shown (at 5 %); None where it can't be checked."""
        return None if np.isnan(self.p_value) else self.p_value >= 0.05


def goodness_of_fit(
    detections: ArrayLike,
    site: pd.DataFrame | None = None,
    visit: Mapping[str, ArrayLike] | None = None,
    surveys: int = 200,
    seed: int = 1,
) -> Goodness:
    """The check of MacKenzie & Bailey (2004), arguments as for `fit_occupancy`, on so many simulated surveys.

    chi-squared = sum over histories h of (observed_h - expected_h)^2 / expected_h; overdispersion = chi-squared / mean
    of the simulated ones; p-value = (1 + simulated ones as high) / (1 + simulated ones).

    Sites are grouped by which of their visits took place; within a group the observed and expected numbers of each
    history are compared, and histories nobody had enter through their expected number. Simulated surveys that cannot be
    fitted are left out. NaN where nothing can be fitted.
    """
    found = np.asarray(detections, dtype=np.float64)
    fit = fit_occupancy(found, site, visit)
    if not _estimated(fit):
        return Goodness(np.nan, np.nan, np.nan, 0, pd.DataFrame(columns=COLUMNS))
    table = _histories(found, fit)
    statistic = _chi_square(table)
    rng = np.random.default_rng(seed)
    simulated = []
    for _ in range(surveys):
        made = _simulate(found, fit, rng)
        again = fit_occupancy(made, site, visit)
        if _estimated(again):
            simulated.append(_chi_square(_histories(made, again)))
    if not simulated:
        return Goodness(statistic, np.nan, np.nan, 0, table)
    worse = sum(s >= statistic for s in simulated)
    mean = float(np.mean(simulated))
    return Goodness(
        chi_square=statistic,
        p_value=(1 + worse) / (1 + len(simulated)),
        overdispersion=statistic / mean if mean > 1e-9 else 1.0,  # one history is possible, and all had it
        surveys=len(simulated),
        histories=table,
    )


COLUMNS = ["history", "sites", "observed", "expected"]


def _estimated(fit: Fit) -> bool:
    """Whether any site has an estimate."""
    return bool(np.isfinite(np.asarray(fit.psi)).any())


def _histories(found: Array, fit: Fit) -> pd.DataFrame:
    """The histories that were seen, by group of sites with the same visits made: how many, and how many expected.

    In a history a dot is a visit not made; `sites` is the size of its group.
    """
    psi = np.broadcast_to(fit.psi, found.shape[:1])
    p = np.broadcast_to(fit.p, found.shape)
    code = np.where(np.isnan(found), 2, found).astype(np.int8)
    kinds, kind_of, observed = np.unique(code, axis=0, return_inverse=True, return_counts=True)
    _, group_of = np.unique(kinds == 2, axis=0, return_inverse=True)
    group_of = group_of.ravel()
    group_of_site = group_of[kind_of.ravel()]
    rows = []
    for kind, group, count in zip(kinds, group_of, observed, strict=True):
        if (kind == 2).all():
            continue
        mine = group_of_site == group
        probability = np.where(kind == 1, p[mine], np.where(kind == 0, 1 - p[mine], 1.0)).prod(axis=1)
        expected = float((psi[mine] * probability + (1 - psi[mine]) * (not (kind == 1).any())).sum())
        rows.append(("".join("01."[c] for c in kind), int(mine.sum()), int(count), expected))
    return pd.DataFrame(rows, columns=COLUMNS)


def _chi_square(table: pd.DataFrame) -> float:
    """Pearson's over all possible histories: one nobody had adds (0 - E)^2 / E = E, and these E are the rest."""
    group = table["history"].str.replace("1", "0")
    seen = ((table["observed"] - table["expected"]) ** 2 / table["expected"]).sum()
    size, expected = table.groupby(group)["sites"].first(), table.groupby(group)["expected"].sum()
    return float(seen + (size - expected).sum())


def _simulate(found: Array, fit: Fit, rng: np.random.Generator) -> Array:
    """A survey of the same visits in a town where the fitted model is true."""
    occupied = rng.random(len(found)) < np.broadcast_to(fit.psi, found.shape[:1])
    detected = occupied[:, None] & (rng.random(found.shape) < np.broadcast_to(fit.p, found.shape))
    return np.where(np.isnan(found), np.nan, detected)


def compare_models(
    detections: Array,
    site: pd.DataFrame | None,
    visit: Mapping[str, ArrayLike] | None,
    models: Sequence[tuple[Sequence[str], Sequence[str]]],
) -> pd.DataFrame:
    """Fits each model, given as the names of its covariates of psi and of p, and shows them all, the lowest AIC first.

    delta = AIC - lowest AIC; weight = exp(-delta / 2), normalised to sum 1 (Burnham & Anderson 2002, from memory).
    Frame: psi, p (names), coefficients, minus2loglik, aic, delta, weight, mean_psi, mean_psi_se, identifiable, why. A
    model with more covariate coefficients than one per ten detections is listed with its reason and not fitted: a
    search among many finds patterns in noise.
    """
    site = pd.DataFrame(index=range(len(detections))) if site is None else site
    visit = visit or {}
    rows = []
    for of_psi, of_p in models:
        unknown = [n for n in of_psi if n not in site.columns] + [n for n in of_p if n not in visit]
        if unknown:
            raise InputError(f"The model names the covariate {unknown[0]!r}, which was not given; check its name.")
        fit = fit_occupancy(detections, site[list(of_psi)] if of_psi else None, {n: visit[n] for n in of_p})
        extra = len(fit.coefficients) - 2
        row: dict[str, object] = {"psi": ", ".join(of_psi), "p": ", ".join(of_p), "coefficients": extra + 2}
        if extra * PER_COVARIATE > fit.n_detections:
            need = extra * PER_COVARIATE
            why = note(Lacking.COEFFICIENTS, coefficients=extra, needed=need, n=fit.n_detections)
            rows.append(row | {"identifiable": False, "why": (why,)})
            continue
        mean, se = fit.mean_psi()
        rows.append(
            row
            | {"minus2loglik": fit.minus2loglik, "aic": fit.aic, "mean_psi": mean, "mean_psi_se": se}
            | {"identifiable": fit.identifiable, "why": fit.why}
        )
    frame = pd.DataFrame(rows, columns=MODEL_COLUMNS).astype(dict.fromkeys(FIGURES, np.float64))
    frame["delta"] = frame["aic"] - frame["aic"].min()
    weight = np.exp(-frame["delta"] / 2)
    frame["weight"] = weight / weight.sum()
    return frame.sort_values(["aic", "psi", "p"], kind="stable", ignore_index=True)


FIGURES = ["minus2loglik", "aic", "delta", "weight", "mean_psi", "mean_psi_se"]
MODEL_COLUMNS = ["psi", "p", "coefficients", *FIGURES, "identifiable", "why"]
