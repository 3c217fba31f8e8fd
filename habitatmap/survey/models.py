"""Is the model right, and which covariates belong in it: a goodness-of-fit check and an open comparison.

Goodness of fit: MacKenzie & Bailey 2004, Journal of Agricultural, Biological and Environmental Statistics 9:300-318.
Comparison by AIC, every model shown; at most one covariate per ten detections (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.survey.codes import Lacking
from habitatmap.survey.constant import Array
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.vocabulary.note import note

PER_COVARIATE = 10  # detections
MOST_VISITS = 250  # of a site: of so many searches hardly any two histories are alike, and the check says nothing
BATCH = 4_000_000  # cells of simulated surveys held at a time


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


def goodness_of_fit(detections: ArrayLike, surveys: int = 200, seed: int = 1) -> Goodness:
    """The check of MacKenzie & Bailey (2004) of the model without covariates, on so many simulated surveys.

    chi-squared = sum over histories h of (observed_h - expected_h)^2 / expected_h; overdispersion = chi-squared / mean
    of the simulated ones; p-value = (1 + simulated ones as high) / (1 + simulated ones).

    Sites are grouped by which of their visits took place; within a group the observed and expected numbers of each
    history are compared, and histories nobody had enter through their expected number. Simulated surveys without a
    detection cannot be fitted and are left out. NaN where nothing can be fitted, or a site has more than MOST_VISITS.
    """
    found = np.asarray(detections, dtype=np.float64)
    found = found[~np.isnan(found).all(axis=1)]
    unknown = Goodness(np.nan, np.nan, np.nan, 0, pd.DataFrame(columns=COLUMNS))
    if not surveys or found.shape[1] > MOST_VISITS:
        return unknown
    fit = fit_occupancy(found)
    if not np.isfinite(fit.psi):
        return unknown
    psi, p = float(fit.psi), float(fit.p)
    statistic, rng = _chi_square(found, psi, p), np.random.default_rng(seed)
    batch = max(1, BATCH // max(found.size, 1))
    parts = [min(batch, surveys - i) for i in range(0, surveys, batch)]
    simulated = np.concatenate([_simulate(found, psi, p, part, rng) for part in parts])
    if not len(simulated):
        return Goodness(statistic, np.nan, np.nan, 0, _histories(found, psi, p))
    mean = float(simulated.mean())
    return Goodness(
        chi_square=statistic,
        p_value=(1 + int((simulated >= statistic - 1e-9).sum())) / (1 + len(simulated)),
        overdispersion=statistic / mean if mean > 1e-9 else 1.0,  # one history is possible, and all had it
        surveys=len(simulated),
        histories=_histories(found, psi, p),
    )


COLUMNS = ["history", "sites", "observed", "expected"]
STEPS = 400  # of the fits of simulated surveys: psi and p are then good to about three digits


def _simulate(found: Array, psi: float, p: float, surveys: int, rng: np.random.Generator) -> Array:
    """The chi-squared of surveys of the same visits in towns where the fitted model is true, each fitted anew."""
    occupied = rng.random((surveys, len(found), 1)) < psi
    made = np.where(np.isnan(found), np.nan, occupied & (rng.random((surveys, *found.shape)) < p))
    made = made[np.nansum(made, axis=(1, 2)) > 0]
    return np.array([_chi_square(one, *ends) for one, *ends in zip(made, *_fit_many(made, psi, p), strict=True)])


def _fit_many(made: Array, psi: float, p: float) -> tuple[Array, Array]:
    """psi and p by maximum likelihood for each survey (surveys x sites x visits): expectation and maximisation.

    A site without a detection in n searches is occupied with c_n = psi (1 - p)^n / (1 - psi + psi (1 - p)^n). Of all
    sites psi is the share occupied, and p the detections over the searches of those.
    """
    n, d = (~np.isnan(made)).sum(axis=2), np.nansum(made, axis=2)
    kinds = np.unique(n)
    blank = np.stack([((n == k) & (d == 0)).sum(axis=1) for k in kinds], axis=1)
    detected, searches, sites = (d > 0).sum(axis=1), np.where(d > 0, n, 0).sum(axis=1), made.shape[1]
    psis, ps = np.full(len(made), psi), np.full(len(made), p)
    for _ in range(STEPS):
        missed = psis[:, None] * (1 - ps[:, None]) ** kinds
        hidden = blank * missed / np.maximum(1 - psis[:, None] + missed, 1e-300)
        psis = (detected + hidden.sum(axis=1)) / sites
        ps = d.sum(axis=1) / (searches + hidden @ kinds)
    return psis, ps


def _probability(found: Array, psi: float, p: float) -> Array:
    """The probability of each site's own history: psi p^d (1 - p)^(n - d), and 1 - psi more where d = 0."""
    n, d = (~np.isnan(found)).sum(axis=1), np.nansum(found, axis=1)
    return np.asarray(psi * p**d * (1 - p) ** (n - d) + (1 - psi) * (d == 0))


def _alike(rows: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """A number for rows that are the same, from 0; and how many there are of each number."""
    code = np.ascontiguousarray(np.where(np.isnan(rows), 2, rows).astype(np.int8))
    words = code.view(np.dtype((np.void, code.shape[1]))).ravel()
    _, which, count = np.unique(words, return_inverse=True, return_counts=True)
    return which.ravel(), count


def _chi_square(found: Array, psi: float, p: float) -> float:
    """Pearson's over all possible histories. With O observed and E expected it is the sum over sites of O / E of the
    site's own history, less the number of sites: a history nobody had adds (0 - E)^2 / E = E, and all E sum to it.
    """
    history, observed = _alike(found)
    group, size = _alike(np.where(np.isnan(found), np.nan, 0.0))
    return float((observed[history] / (size[group] * _probability(found, psi, p))).sum() - len(found))


def _histories(found: Array, psi: float, p: float) -> pd.DataFrame:
    """The histories that were seen, by group of sites with the same visits made: how many, and how many expected.

    In a history a dot is a visit not made; `sites` is the size of its group.
    """
    history, observed = _alike(found)
    group, size = _alike(np.where(np.isnan(found), np.nan, 0.0))
    first = np.unique(history, return_index=True)[1]
    words = ["".join("01."[2 if np.isnan(c) else int(c)] for c in row) for row in found[first]]
    expected = size[group] * _probability(found, psi, p)
    figures = {"history": words, "sites": size[group[first]], "observed": observed, "expected": expected[first]}
    return pd.DataFrame(figures).sort_values("history", ignore_index=True)


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
