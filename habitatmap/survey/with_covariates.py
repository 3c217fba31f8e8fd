"""The occupancy model with covariates: maximum likelihood, or the posterior under a prior."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtri

from habitatmap.errors import InputError
from habitatmap.survey.codes import Irregular
from habitatmap.survey.constant import Array, Ends, Histories, Prior
from habitatmap.survey.design import Design, Rows, refuse_gaps
from habitatmap.survey.fit import Bounds, Fit, coefficients, not_estimable
from habitatmap.survey.likelihood import Problem, Spread, batches, posterior_draws, profile_bounds
from habitatmap.vocabulary.note import Note, note

FEW_ROWS = 25  # up to so many different rows of covariates the intervals of psi are by profile likelihood


def fit_covariates(found: Array, x: Design, w: Design, h: Histories, prior: Prior | None) -> Fit:
    """The model with covariates: maximum likelihood, or the posterior under the prior.

    found: sites x visits of 1, 0, NaN; x: sites x terms of psi; w: (sites x visits) x terms of p; h: the counts of
    `found`.
    """
    searched = ~np.isnan(found)
    searches, detected = searched.sum(axis=1), np.nansum(found, axis=1)
    counted = searches > 0
    if not counted.any():
        raise InputError(
            "No site was searched, so that no covariate can be fitted; give searches, or leave the covariates out."
        )
    refuse_gaps(x, counted, 1)
    refuse_gaps(w, searched.ravel(), found.shape[1])
    psi_rows, p_rows = Rows.of(x, counted), Rows.of(w, searched.ravel())
    problem = Problem(
        x=psi_rows.rows[counted],
        w=p_rows.rows[searched.ravel()],
        y=found[searched],
        first=np.cumsum(searches[counted]) - searches[counted],
        some=detected[counted] > 0,
        weight=np.ones(int(counted.sum())),
    )
    peak = problem.peak()
    spread = Spread(problem.curvature(peak))
    model = _Model(problem, psi_rows, p_rows, counted, found.shape)
    if prior is not None:
        answer = _by_posterior(model, replace(problem, prior=prior))
    elif not_estimable(h):
        answer = _unknown(model, -float(problem.loss(peak)) if h.n_detections else 0.0)
    else:
        answer = _by_peak(model, peak, spread)
    terms = len(psi_rows.kept) + len(p_rows.kept)
    return Fit(
        psi=psi_rows.shaped(answer.psi, found.shape[:1]),
        psi_se=psi_rows.shaped(answer.psi_se, found.shape[:1]),
        p=p_rows.shaped(answer.p, found.shape),
        p_se=p_rows.shaped(answer.p_se, found.shape),
        minus2loglik=0.0 - 2 * answer.top,
        aic=-2 * answer.top + 2 * terms if prior is None else np.nan,
        conditional=np.where(detected > 0, 1.0, answer.conditional),
        coefficients=coefficients(x.terms, w.terms, answer.estimates, answer.errors),
        why=not_estimable(h) or _irregular(spread, psi_rows, p_rows, problem.k),
        histories=h,
        _mean_psi=answer.mean_psi,
        _interval=answer.interval,
        prior=prior,
        sampling_efficiency=answer.efficiency,
        numerical_error=answer.numerical_error,
        draws=answer.draws,
    )


def _irregular(spread: Spread, psi_rows: Rows, p_rows: Rows, k: int) -> tuple[Note, ...]:
    """What keeps the searches alone from giving a regular estimate."""
    notes = []
    for part, rows, before, after in (("psi", psi_rows, 0, len(p_rows.kept)), ("p", p_rows, k, 0)):
        errors = spread.errors(np.pad(rows.back, ((0, 0), (before, after))))
        lost = [rows.terms[i] for i, e in zip(rows.kept, errors, strict=True) if np.isnan(e)]
        if lost:
            notes.append(note(Irregular.SEPARATION, part=part, terms=lost))
        if rows.left_out():
            notes.append(note(Irregular.COLLINEAR, part=part, terms=rows.left_out()))
    if not notes and not spread.regular:
        notes.append(note(Irregular.FLAT))
    return tuple(notes)


@dataclass(frozen=True)
class _Model:
    """A problem and the rows of all sites and searches, those without a search among them."""

    problem: Problem
    psi_rows: Rows
    p_rows: Rows
    counted: NDArray[np.bool_]
    shape: tuple[int, ...]


@dataclass(frozen=True)
class _Answer:
    """psi, p and what goes with them, one for each row of the designs; top: the log likelihood."""

    psi: Array
    psi_se: Array
    p: Array
    p_se: Array
    top: float
    conditional: Array
    estimates: Array
    errors: Array
    interval: Callable[[str, float], Bounds]
    mean_psi: Ends
    efficiency: float = np.nan
    numerical_error: float = np.nan
    draws: Array | None = None


def _unknown(m: _Model, top: float) -> _Answer:
    """Where the searches can't tell psi and p apart: NaN all over, and every psi from 0 to 1 is possible."""
    sites, cells = np.full(m.shape[0], np.nan), np.full(int(np.prod(m.shape)), np.nan)
    nothing = np.full(len(m.psi_rows.terms) + len(m.p_rows.terms), np.nan)
    return _Answer(sites, sites, cells, cells, top, sites, nothing, nothing, partial(_anything, m), (np.nan, np.nan))


def _anything(m: _Model, part: str, level: float) -> Bounds:
    rows, shape = (m.psi_rows, m.shape[:1]) if part == "psi" else (m.p_rows, m.shape)
    cells = int(np.prod(shape))
    return rows.shaped(np.zeros(cells), shape), rows.shaped(np.ones(cells), shape)


def _by_peak(m: _Model, peak: Array, spread: Spread) -> _Answer:
    """Maximum likelihood. Errors by the delta method: of v = expit(row c) it is v (1 - v) times the error of row c."""
    k = m.problem.k
    pad_x, pad_w = ((0, 0), (0, len(peak) - k)), ((0, 0), (k, 0))
    psi, p = expit(m.psi_rows.rows @ peak[:k]), expit(m.p_rows.rows @ peak[k:])
    psi_se = psi * (1 - psi) * spread.errors(np.pad(m.psi_rows.rows, pad_x))
    p_se = p * (1 - p) * spread.errors(np.pad(m.p_rows.rows, pad_w))
    _, _, occupied, total = m.problem.log_probabilities(peak)
    state = psi.copy()
    state[m.counted] = np.exp(occupied - total)
    seen = psi[m.counted]
    lean = (seen * (1 - seen)) @ m.problem.x / len(seen)
    mean_se = spread.errors(np.pad(lean[None, :], pad_x))[0] if not np.isnan(psi_se[m.counted]).any() else np.nan
    errors = [
        m.psi_rows.spread_out(spread.errors(np.pad(m.psi_rows.back, pad_x))),
        m.p_rows.spread_out(spread.errors(np.pad(m.p_rows.back, pad_w))),
    ]
    return _Answer(
        psi=psi,
        psi_se=psi_se,
        p=p,
        p_se=p_se,
        top=float(-m.problem.loss(peak)),
        conditional=state,
        estimates=_as_given(m, peak),
        errors=np.concatenate(errors),
        interval=partial(_peak_interval, m, peak, (psi, psi_se), (p, p_se)),
        mean_psi=(float(seen.mean()), float(mean_se)),
    )


def _as_given(m: _Model, at: Array) -> Array:
    """Coefficients (terms, or draws x terms) in the units of the covariates, NaN for terms left out."""
    k = m.problem.k
    parts = [m.psi_rows.spread_out(at[..., :k] @ m.psi_rows.back.T), m.p_rows.spread_out(at[..., k:] @ m.p_rows.back.T)]
    return np.concatenate(parts, axis=-1)


def _peak_interval(
    m: _Model, peak: Array, psi: tuple[Array, Array], p: tuple[Array, Array], part: str, level: float
) -> Bounds:
    if part == "p":
        low, high = _wald(*p, level)
        return m.p_rows.shaped(low, m.shape), m.p_rows.shaped(high, m.shape)
    kinds, which = np.unique(m.psi_rows.rows, axis=0, return_inverse=True)
    if len(kinds) <= FEW_ROWS:
        nothing = (np.nan, np.nan)
        ends = [nothing if np.isnan(r).any() else profile_bounds(m.problem, peak, r, level) for r in kinds]
        low, high = np.array(ends)[which.ravel()].T
    else:
        low, high = _wald(*psi, level)
    return m.psi_rows.shaped(low, m.shape[:1]), m.psi_rows.shaped(high, m.shape[:1])


def _wald(probability: Array, se: Array, level: float) -> tuple[Array, Array]:
    """The Wald interval in log odds: expit(logit(v) +- z se / (v (1 - v)))."""
    half = ndtri((1 + level) / 2) * se / (probability * (1 - probability))
    return expit(logit(probability) - half), expit(logit(probability) + half)


def _by_posterior(m: _Model, problem: Problem) -> _Answer:
    """Posterior means and standard deviations from draws of the coefficients."""
    draws, efficiency = posterior_draws(problem, problem.peak())
    k, counted = problem.k, m.counted
    sums = {name: np.zeros((2, size)) for name, size in (("psi", m.shape[0]), ("p", int(np.prod(m.shape))))}
    state = np.zeros(int(counted.sum()))
    mean_psi = []
    for some in batches(draws, int(np.prod(m.shape))):
        psi, p = expit(some[:, :k] @ m.psi_rows.rows.T), expit(some[:, k:] @ m.p_rows.rows.T)
        sums["psi"] += [psi.sum(axis=0), (psi**2).sum(axis=0)]
        sums["p"] += [p.sum(axis=0), (p**2).sum(axis=0)]
        _, _, occupied, total = problem.log_probabilities(some)
        state += np.exp(occupied - total).sum(axis=0)
        mean_psi.append(psi[:, counted].mean(axis=1))
    mean = {name: s[0] / len(draws) for name, s in sums.items()}
    sd = {name: np.sqrt(np.maximum(s[1] / len(draws) - mean[name] ** 2, 0)) for name, s in sums.items()}
    given = mean["psi"].copy()
    given[counted] = state / len(draws)
    in_units = _as_given(m, draws)
    return _Answer(
        psi=mean["psi"],
        psi_se=sd["psi"],
        p=mean["p"],
        p_se=sd["p"],
        top=float(-m.problem.loss(draws.mean(axis=0))),
        conditional=given,
        estimates=in_units.mean(axis=0),
        errors=in_units.std(axis=0),
        interval=partial(_draws_interval, m, draws),
        mean_psi=(float(np.concatenate(mean_psi).mean()), float(np.concatenate(mean_psi).std())),
        efficiency=efficiency,
        numerical_error=float(np.max(sd["psi"]) / np.sqrt(efficiency * len(draws))),
        draws=in_units,
    )


def _draws_interval(m: _Model, draws: Array, part: str, level: float) -> Bounds:
    k, ends = m.problem.k, [(1 - level) / 2, (1 + level) / 2]
    if part == "conditional":
        low, high = expit(_quantiles(m.psi_rows.rows, draws[:, :k], ends))
        states = []
        for some in batches(draws, len(m.problem.y)):
            _, _, occupied, total = m.problem.log_probabilities(some)
            states.append(np.exp(occupied - total))
        low[m.counted], high[m.counted] = np.quantile(np.concatenate(states), ends, axis=0)
        return low, high
    rows, at, shape = (m.psi_rows, draws[:, :k], m.shape[:1]) if part == "psi" else (m.p_rows, draws[:, k:], m.shape)
    low, high = expit(_quantiles(rows.rows, at, ends))
    return rows.shaped(low, shape), rows.shaped(high, shape)


def _quantiles(rows: Array, draws: Array, ends: list[float]) -> Array:
    """Quantiles of the log odds of each row, which are ordered as the probabilities are; a thousand rows at a time."""
    parts = [np.quantile(rows[i : i + 1000] @ draws.T, ends, axis=1) for i in range(0, len(rows), 1000)]
    return np.concatenate(parts, axis=1)
