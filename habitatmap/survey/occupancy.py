"""Occupancy with imperfect detection: how many sites are occupied, when a search can miss what is there.

Model (MacKenzie, Nichols, Lachman, Droege, Royle & Langtimm 2002, Ecology 83:2248-2255): site i is occupied with
probability psi_i; search j of an occupied site detects with probability p_ij, of an empty site never;
logit(psi_i) = x_i b and logit(p_ij) = w_ij a. A site with the history y_i adds to the likelihood
psi_i prod_j p_ij^y_ij (1 - p_ij)^(1 - y_ij), and 1 - psi_i where nothing was detected. Occupancy does not change within
the period of the searches, and searches are independent.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit

from habitatmap.errors import InputError
from habitatmap.survey import constant
from habitatmap.survey.codes import Irregular
from habitatmap.survey.constant import Array, Ends, Histories, Peak, Prior
from habitatmap.survey.design import site_design, visit_design
from habitatmap.survey.fit import Bounds, Fit, coefficients, not_estimable
from habitatmap.survey.likelihood import Problem
from habitatmap.survey.with_covariates import fit_covariates
from habitatmap.vocabulary.note import Note, note

DRAWS = 2000  # of the posterior without covariates
NO_ERRORS = (np.nan, np.nan)

Counts = NDArray[np.int64]


def fit_occupancy(
    detections: ArrayLike | pd.DataFrame,
    site: pd.DataFrame | None = None,
    visit: Mapping[str, ArrayLike] | None = None,
    prior: Prior | None = None,
) -> Fit:
    """Fits the occupancy model to sites x visits of 1 (detected), 0 (searched, not detected) and NaN (no search).

    `site`: one row per site, covariates of psi. `visit`: sites x visits arrays by name, covariates of p; NaN is
    allowed where there was no search. `prior=None` is maximum likelihood; with a `Prior` the estimates are posterior
    means, without covariates by quadrature on a grid, with covariates by importance sampling around the posterior's
    peak (fixed seed). A site without a search adds nothing; the number of sites is not limited. Raises InputError for a
    wrong shape or value.
    """
    found = _checked(detections)
    searches, detected = (~np.isnan(found)).sum(axis=1), np.nansum(found, axis=1).astype(np.int64)
    histories = Histories.count(searches, detected)
    if site is not None or visit:
        x, w = site_design(site, found.shape[0]), visit_design(visit, found.shape)
        if x.columns or w.columns:
            return fit_covariates(found, x, w, histories, prior)
    if prior is None:
        return fit_counts(searches, detected)
    return _posterior_constant(histories, searches, detected, prior)


def fit_counts(searches: Counts, detected: Counts) -> Fit:
    """The constant model by maximum likelihood, from the searches of each site (sites,) and those with larvae.

    The ridges and corners are in closed form, all else by Newton's method. With one search per site only psi p is
    known: the ridge psi p = share detected, of which (1, share) is taken as the peak for the interval. Errors of the
    log odds: se / (v (1 - v)).
    """
    h = Histories.count(searches, detected)
    psi, p, se, why = np.nan, np.nan, NO_ERRORS, not_estimable(h)
    peak = Peak(0.0, 0.0)
    if not why:
        psi, p, se, top, why = _constant_peak(h)
        peak = Peak(psi, top)
    elif h.n_detections:
        peak = Peak(1.0, float(constant.log_likelihood(h, 1.0, h.naive)))
    given = constant.conditional(psi, p, searches) if psi < 1 else np.full(len(searches), psi)
    estimates = np.array([psi, p])
    with np.errstate(divide="ignore", invalid="ignore"):
        errors = np.array(se) / (estimates * (1 - estimates))
    return Fit(
        psi=psi,
        psi_se=se[0],
        p=p,
        p_se=se[1],
        minus2loglik=0.0 - 2 * peak.height,
        aic=-2 * peak.height + 4,
        conditional=np.where(detected > 0, 1.0, np.where(searches > 0, given, psi)),
        coefficients=coefficients(["intercept"], ["intercept"], logit(estimates), errors),
        why=why,
        histories=h,
        _mean_psi=(psi, se[0]),
        _interval=partial(_constant_interval, h, peak, p),
    )


def _checked(detections: ArrayLike | pd.DataFrame) -> Array:
    """The detections as a sites x visits array of floats, or one sentence."""
    try:
        table = detections if isinstance(detections, pd.DataFrame) else pd.DataFrame(_as_table(detections))
        found = np.array(table.to_numpy(dtype=np.float64, na_value=np.nan))
    except (TypeError, ValueError):
        raise InputError(
            "The detections are not a table of numbers; give one row per site and one column per visit, 1 (detected), "
            "0 (not detected) and NaN (no search)."
        ) from None
    wrong = np.argwhere(~(np.isnan(found) | (found == 0) | (found == 1)))
    if len(wrong):
        i, j = wrong[0]
        raise InputError(
            f"The detections hold {found[i, j]:g} at site {i + 1}, visit {j + 1}; only 1 (detected), 0 (not detected) "
            "and NaN (no search) can stand there."
        )
    return found


def _as_table(values: ArrayLike) -> NDArray[np.generic]:
    table = np.asarray(values)
    if table.ndim != 2:
        raise ValueError
    return table


def _constant_peak(h: Histories) -> tuple[float, float, Ends, float, tuple[Note, ...]]:
    """psi, p, their standard errors, the log likelihood and what is irregular, where psi and p are distinguishable.

    Standard errors: from the inverse of the observed information of the log odds, times v (1 - v).
    """
    problem = Problem.from_histories(h)
    best = problem.peak()
    psi, p = expit(best).tolist()
    top = -float(problem.loss(best))
    # the corners, where Newton's steps would run on for ever
    corners = [(1.0, h.n_detections / h.n_searches, Irregular.OCCUPANCY_AT_LIMIT)]
    if int((h.sites * h.searches)[h.detections > 0].sum()) == h.n_detections:
        corners.append((h.naive, 1.0, Irregular.DETECTION_AT_LIMIT))
    for at_psi, at_p, why in corners:
        height = float(constant.log_likelihood(h, at_psi, at_p))
        if height >= top - 1e-9:
            return at_psi, at_p, NO_ERRORS, height, (note(why),)
    covariance = np.linalg.inv(problem.curvature(best))
    se = np.sqrt(np.diag(covariance)) * [psi * (1 - psi), p * (1 - p)]
    return psi, p, (float(se[0]), float(se[1])), top, ()


def _constant_interval(h: Histories, peak: Peak, p: float, part: str, level: float) -> Ends:
    """By profile likelihood; `peak` is one of psi, also where it is one point of a ridge."""
    if part == "psi":
        return constant.profile_interval(h, peak, level)
    if h.n_detections == 0:
        return 0.0, 1.0
    # with one search a site the ridge runs from (1, share detected) to (share detected, 1)
    return constant.profile_interval(h, Peak(p if np.isfinite(p) else h.naive, peak.height), level, "p")


def _posterior_constant(h: Histories, searches: Counts, detected: Counts, prior: Prior) -> Fit:
    """The constant model under Beta priors, by quadrature."""
    known = constant.posterior(h, prior)
    psi, p = known.mean(known.psi_grid), known.mean(known.p_grid)
    missed = {int(n): known.mean(known.conditional(int(n))) for n in np.unique(searches)}
    odds = [logit(known.psi_grid), logit(known.p_grid)]
    estimates, errors = np.array([known.mean(o) for o in odds]), np.array([known.sd(o) for o in odds])
    return Fit(
        psi=psi,
        psi_se=known.sd(known.psi_grid),
        p=p,
        p_se=known.sd(known.p_grid),
        minus2loglik=-2 * float(constant.log_likelihood(h, psi, p)),
        aic=np.nan,
        conditional=np.where(detected > 0, 1.0, [missed[int(n)] for n in searches]),
        coefficients=coefficients(["intercept"], ["intercept"], estimates, errors),
        why=fit_counts(searches, detected).why,
        histories=h,
        _mean_psi=(psi, known.sd(known.psi_grid)),
        _interval=partial(_posterior_interval, known, searches, detected),
        prior=prior,
        from_data=known.from_data(),
        numerical_error=constant.numerical_error(h, known),
        draws=logit(np.column_stack(known.draw(DRAWS, seed=1))),
    )


def _posterior_interval(
    known: constant.Posterior, searches: Counts, detected: Counts, part: str, level: float
) -> Bounds:
    if part == "conditional":
        missed = {int(n): known.interval(known.conditional(int(n)), level) for n in np.unique(searches)}
        ends = [(1.0, 1.0) if d else missed[int(n)] for n, d in zip(searches, detected, strict=True)]
        low, high = np.array(ends, dtype=np.float64).reshape(-1, 2).T
        return low, high
    return known.interval(known.psi_grid if part == "psi" else known.p_grid, level)
