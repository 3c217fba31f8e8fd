"""How many sites are really occupied, when a search can miss what is there.

Model (MacKenzie, Nichols, Lachman, Droege, Royle & Langtimm 2002, Ecology 83:2248-2255): site i is occupied with
probability psi_i; a search j at an occupied site finds something with probability p_ij, at an empty site never;
logit(psi_i) = x_i b and logit(p_ij) = w_ij a. The occupied state does not change within the period of the searches, and
searches are independent.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, logit

from habitatmap.errors import InputError
from habitatmap.survey import constant
from habitatmap.survey.constant import Array, Histories, Prior
from habitatmap.survey.design import site_design, visit_design
from habitatmap.survey.fit import NO_DETECTION, SEARCHED_ONCE, Fit, coefficients
from habitatmap.survey.likelihood import Problem
from habitatmap.survey.with_covariates import fit_covariates

DRAWS = 2000  # of the posterior without covariates


def fit_occupancy(
    detections: Any,
    site: pd.DataFrame | None = None,
    visit: Mapping[str, Any] | None = None,
    prior: Prior | None = None,
) -> Fit:
    """Fits the occupancy model to sites x visits of 1 (found), 0 (looked, nothing found) and NaN (no search).

    `site`: one row per site, covariates of psi. `visit`: sites x visits arrays by name, covariates of p; NaN is
    allowed where there was no search. `prior=None` is maximum likelihood; with a `Prior` the estimates are posterior
    means, without covariates by quadrature on a grid, with covariates by importance sampling around the posterior's
    peak (fixed seed). A site without a search adds nothing; the number of sites is not limited. Raises InputError for a
    wrong shape or value.
    """
    found = _checked(detections)
    searched = ~np.isnan(found)
    searches, detected = searched.sum(axis=1), np.nansum(found, axis=1).astype(np.int64)
    x = site_design(site, found.shape[0])
    w = visit_design(visit, found.shape)
    histories = Histories.count(searches, detected)
    if not x.columns and not w.columns:
        fit = _fit_constant if prior is None else partial(_posterior_constant, prior=prior)
        return fit(histories, searches, detected)
    return fit_covariates(found, searched, x, w, histories, prior)


def _checked(detections: Any) -> Array:
    """The detections as a sites x visits array of floats, or one sentence."""
    try:
        table = detections if isinstance(detections, pd.DataFrame) else pd.DataFrame(_as_table(detections))
        found = np.array(table.to_numpy(dtype=np.float64, na_value=np.nan))
    except (TypeError, ValueError):
        raise InputError(
            "The detections are not a table of numbers; give one row per site and one column per visit, 1 (found), "
            "0 (nothing found) and NaN (no search)."
        ) from None
    wrong = np.argwhere(~(np.isnan(found) | (found == 0) | (found == 1)))
    if len(wrong):
        i, j = wrong[0]
        raise InputError(
            f"The detections hold {found[i, j]:g} at site {i + 1}, visit {j + 1}; only 1 (found), 0 (nothing found) "
            "and NaN (no search) can stand there."
        )
    return found


def _as_table(values: Any) -> NDArray[Any]:
    table = np.asarray(values)
    if table.ndim != 2:
        raise ValueError
    return table


def _fit_constant(h: Histories, searches: NDArray[Any], detected: NDArray[Any]) -> Fit:
    """Maximum likelihood of the constant model: the ridges and corners in closed form, else by Newton's method."""
    psi, p, se, why = np.nan, np.nan, (np.nan, np.nan), ""
    peak = top = np.nan  # a psi where the likelihood is highest, and how high
    if h.n_sites == 0:
        why, peak, top = "no site was searched", 0.0, 0.0
    elif h.n_detections == 0:
        why, peak, top = NO_DETECTION, 0.0, 0.0
    elif h.searches.max() == 1:
        share = h.n_detected / h.n_sites
        peak, top = 1.0, float(constant.log_likelihood(h, 1.0, share))
        why = SEARCHED_ONCE
    else:
        psi, p, se, top, why = _constant_peak(h)
        peak = psi
    counted = searches > 0
    given = np.where(counted, constant.conditional(psi, p, searches), psi) if psi < 1 else np.full(len(searches), psi)
    estimates = logit([psi, p])
    with np.errstate(divide="ignore", invalid="ignore"):
        errors = np.array(se) / (np.array([psi, p]) * (1 - np.array([psi, p])))
    return Fit(
        psi=psi,
        psi_se=se[0],
        p=p,
        p_se=se[1],
        minus2loglik=0.0 - 2 * top,
        aic=-2 * top + 4,
        conditional=np.where(detected > 0, 1.0, given),
        coefficients=coefficients(["intercept"], ["intercept"], estimates, errors),
        identifiable=not why,
        why=why,
        n_sites=h.n_sites,
        n_searches=h.n_searches,
        n_detections=h.n_detections,
        naive=h.n_detected / h.n_sites if h.n_sites else np.nan,
        prior=None,
        from_data=np.nan,
        sampling_efficiency=np.nan,
        numerical_error=np.nan,
        draws=None,
        _interval=partial(_constant_interval, h, peak, p, top),
        _mean_psi=(psi, se[0]),
    )


def _constant_peak(h: Histories) -> tuple[float, float, tuple[float, float], float, str]:
    """psi, p, their standard errors, the log likelihood and what is irregular, where both can be told apart."""
    problem = Problem.from_histories(h)
    best = problem.peak()
    psi, p = expit(best).tolist()
    top = -float(problem.loss(best))
    # the corners, where Newton's steps would run on for ever
    searches_where_found = int((h.sites * h.searches)[h.detections > 0].sum())
    corners = [(1.0, h.n_detections / h.n_searches, "the estimate of occupancy lies at its limit of 1")]
    if searches_where_found == h.n_detections:
        corners.append(
            (
                h.n_detected / h.n_sites,
                1.0,
                "every search at a site with a detection was a detection, so that detection lies at its limit of 1",
            )
        )
    for at_psi, at_p, why in corners:
        height = float(constant.log_likelihood(h, at_psi, at_p))
        if height >= top - 1e-9:
            return at_psi, at_p, (np.nan, np.nan), height, f"{why}, where no standard error holds; read the interval"
    covariance = np.linalg.inv(problem.curvature(best))
    se = np.sqrt(np.diag(covariance)) * [psi * (1 - psi), p * (1 - p)]
    return psi, p, (float(se[0]), float(se[1])), top, ""


def _constant_interval(h: Histories, psi: float, p: float, top: float, part: str, level: float) -> tuple[float, float]:
    """By profile likelihood; `psi` and `top` are a peak, also where it is one point of a ridge."""
    if part == "psi":
        return constant.profile_interval(h, psi, top, level)
    if h.n_detections == 0:
        return 0.0, 1.0
    # with one search a site the ridge runs from (1, share found) to (share found, 1)
    at = p if np.isfinite(p) else h.n_detected / h.n_sites
    return constant.profile_interval(h, at, top, level, "p")


def _posterior_constant(h: Histories, searches: NDArray[Any], detected: NDArray[Any], prior: Prior) -> Fit:
    """The constant model under Beta priors, by quadrature."""
    known = constant.posterior(h, prior)
    mle = _fit_constant(h, searches, detected)
    psi, p = known.mean(known.psi_grid), known.mean(known.p_grid)
    blank = {int(n): known.mean(known.conditional(int(n))) for n in np.unique(searches)}
    odds = [logit(known.psi_grid), logit(known.p_grid)]
    minus2loglik = -2 * float(constant.log_likelihood(h, psi, p))
    return Fit(
        psi=psi,
        psi_se=known.sd(known.psi_grid),
        p=p,
        p_se=known.sd(known.p_grid),
        minus2loglik=minus2loglik,
        aic=np.nan,
        conditional=np.where(detected > 0, 1.0, [blank[int(n)] for n in searches]),
        coefficients=coefficients(
            ["intercept"], ["intercept"], np.array([known.mean(o) for o in odds]), np.array([known.sd(o) for o in odds])
        ),
        identifiable=mle.identifiable,
        why=mle.why,
        n_sites=h.n_sites,
        n_searches=h.n_searches,
        n_detections=h.n_detections,
        naive=mle.naive,
        prior=prior,
        from_data=known.from_data(),
        sampling_efficiency=np.nan,
        numerical_error=constant.numerical_error(h, known),
        draws=logit(np.column_stack(known.draw(DRAWS, seed=1))),
        _interval=partial(_posterior_interval, known, searches, detected),
        _mean_psi=(psi, known.sd(known.psi_grid)),
    )


def _posterior_interval(
    known: constant.Posterior, searches: NDArray[Any], detected: NDArray[Any], part: str, level: float
) -> tuple[Any, Any]:
    if part == "conditional":
        blank = {int(n): known.interval(known.conditional(int(n)), level) for n in np.unique(searches)}
        ends = np.array([(1.0, 1.0) if d else blank[int(n)] for n, d in zip(searches, detected, strict=True)]).reshape(
            -1, 2
        )
        return ends[:, 0], ends[:, 1]
    return known.interval(known.psi_grid if part == "psi" else known.p_grid, level)
