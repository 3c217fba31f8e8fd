"""How many sites are really occupied, when a look can miss what is there.

Model (MacKenzie, Nichols, Lachman, Droege, Royle & Langtimm 2002, Ecology 83:2248-2255): site i is occupied with chance
psi_i; a look j at an occupied site finds something with chance p_ij, at an empty site never; logit(psi_i) = x_i b and
logit(p_ij) = w_ij a. The occupied state does not change within the period of the looks, and looks are independent.

Coding of covariates: an intercept first; a numeric column enters as it is given; a text (or categorical) column enters
as one 0/1 column for each level but the first in sorted order, named "column=level". A column that the others already
determine is left out of the fit (its estimate is NaN) and said so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, logit
from scipy.stats import norm

from habitatmap.errors import InputError
from habitatmap.survey import constant
from habitatmap.survey.constant import Array, Histories, Prior
from habitatmap.survey.likelihood import Problem, Spread, posterior_draws, profile_bounds

FEW_ROWS = 25  # up to so many different rows of covariates the intervals of psi are by profile likelihood


@dataclass(frozen=True)
class Fit:
    """What the looks say. Numbers that can't be known are NaN, never 0.

    psi, psi_se           chance of being occupied: one number, or with site covariates one per site
    p, p_se               chance that a look at an occupied site finds: one number, or with visit covariates an array
                          of sites x visits
    minus2loglik, aic     -2 log likelihood at these estimates (no combinatorial constant); aic is NaN for a posterior
    conditional           per site: 1 where something was found, else the chance of being occupied given its blank looks
    coefficients          frame: part ("psi" or "p"), term, estimate, se, in log odds
    identifiable, why     False where the looks alone give no regular estimate with an error; `why` says what is amiss
    naive                 share of the looked-at sites where something was found
    from_data             with a prior: 1 - posterior / prior variance of psi (constant model), else NaN
    sampling_efficiency   with a prior and covariates: effective share of the posterior's draws, else NaN
    """

    psi: Any
    psi_se: Any
    p: Any
    p_se: Any
    minus2loglik: float
    aic: float
    conditional: Array
    coefficients: pd.DataFrame
    identifiable: bool
    why: str
    n_sites: int
    n_looks: int
    n_detections: int
    naive: float
    prior: Prior | None
    from_data: float
    sampling_efficiency: float
    _interval: Callable[[str, float], tuple[Any, Any]] = field(repr=False)
    _mean_psi: tuple[float, float] = field(repr=False)

    def interval(self, level: float = 0.95, part: str = "psi") -> tuple[Any, Any]:
        """The interval of psi (or of p, part="p"): low and high, of the same shape as the estimate.

        Without a prior: by profile likelihood in the constant model and for psi with up to 25 different rows of
        covariates; beyond that, and for p with covariates, the Wald interval in log odds, NaN where there is no
        standard error. With a prior: the central interval of the posterior.
        """
        if not 0 < level < 1:
            raise InputError(f"The level of an interval is {level}; give a share between 0 and 1, such as 0.95.")
        if part not in ("psi", "p"):
            raise InputError(f"The interval of {part!r} was asked for; give 'psi' or 'p'.")
        return self._interval(part, level)

    @cached_property
    def _psi_bounds(self) -> tuple[Any, Any]:
        return self.interval()

    @property
    def psi_low(self) -> Any:
        """Lower end of the 95 % interval of psi."""
        return self._psi_bounds[0]

    @property
    def psi_high(self) -> Any:
        """Upper end of the 95 % interval of psi."""
        return self._psi_bounds[1]

    def mean_psi(self) -> tuple[float, float]:
        """The mean of psi over the sites that were looked at, and its standard error."""
        return self._mean_psi


def fit_occupancy(
    detections: Any,
    site: pd.DataFrame | None = None,
    visit: Mapping[str, Any] | None = None,
    prior: Prior | None = None,
) -> Fit:
    """Fits the occupancy model to sites x visits of 1 (found), 0 (looked, nothing found) and NaN (no look).

    `site`: one row per site, covariates of psi. `visit`: sites x visits arrays by name, covariates of p; NaN is
    allowed where there was no look. `prior=None` is maximum likelihood; with a `Prior` the estimates are posterior
    means, without covariates by quadrature on a grid, with covariates by importance sampling around the posterior's
    peak (fixed seed). A site without a look adds nothing; the number of sites is not limited. Raises InputError for a
    wrong shape or value.
    """
    found = _checked(detections)
    looked = ~np.isnan(found)
    looks, finds = looked.sum(axis=1), np.nansum(found, axis=1).astype(np.int64)
    x = _site_design(site, found.shape[0])
    w = _visit_design(visit, found.shape)
    histories = Histories.count(looks, finds)
    if not x.columns and not w.columns:
        fit = _fit_constant if prior is None else partial(_posterior_constant, prior=prior)
        return fit(histories, looks, finds)
    return _fit_covariates(found, looked, x, w, histories, prior)


# --- reading the arguments ---


def _checked(detections: Any) -> Array:
    """The detections as a sites x visits array of floats, or one sentence."""
    try:
        table = detections if isinstance(detections, pd.DataFrame) else pd.DataFrame(_flat_table(detections))
        found = np.array(table.to_numpy(dtype=np.float64, na_value=np.nan))
    except (TypeError, ValueError):
        raise InputError(
            "The detections are not a table of numbers; give one row per site and one column per visit, 1 (found), "
            "0 (nothing found) and NaN (no look)."
        ) from None
    wrong = np.argwhere(~(np.isnan(found) | (found == 0) | (found == 1)))
    if len(wrong):
        i, j = wrong[0]
        raise InputError(
            f"The detections hold {found[i, j]:g} at site {i + 1}, visit {j + 1}; only 1 (found), 0 (nothing found) "
            "and NaN (no look) can stand there."
        )
    return found


def _flat_table(values: Any) -> NDArray[Any]:
    table = np.asarray(values)
    if table.ndim != 2:
        raise ValueError
    return table


@dataclass(frozen=True)
class Design:
    """The columns of one part of the model: rows x terms, the intercept first; NaN where a covariate is missing."""

    matrix: Array
    terms: list[str]
    columns: list[tuple[str, NDArray[np.bool_]]]  # each covariate and where it is missing


def _site_design(site: pd.DataFrame | None, sites: int) -> Design:
    if site is None:
        return _design({}, sites)
    if not isinstance(site, pd.DataFrame):
        raise InputError(f"The site covariates are a {type(site).__name__}; give a DataFrame with one row per site.")
    if len(site) != sites:
        raise InputError(
            f"The site covariates have {len(site)} rows for {sites} sites; give one row per site, in the same order."
        )
    return _design({str(name): site[name] for name in site.columns}, sites)


def _visit_design(visit: Mapping[str, Any] | None, shape: tuple[int, ...]) -> Design:
    columns = {}
    for name, values in (visit or {}).items():
        table = values.to_numpy() if isinstance(values, pd.DataFrame) else np.asarray(values)
        if table.shape != shape:
            raise InputError(
                f"The visit covariate {name!r} has shape {table.shape}, the detections {shape}; give a value for each "
                "site and visit."
            )
        columns[str(name)] = pd.Series(table.ravel())
    return _design(columns, int(np.prod(shape)))


def _design(columns: Mapping[str, pd.Series], rows: int) -> Design:
    parts, terms, missing = [np.ones((rows, 1))], ["intercept"], []
    for name, raw in columns.items():
        values = raw.reset_index(drop=True)
        gap = values.isna().to_numpy()
        missing.append((name, gap))
        number = _as_numbers(values)
        if number is not None:
            if np.isinf(number).any():
                raise InputError(
                    f"The covariate {name!r} holds an infinite value; give a number, or NaN where it is not known."
                )
            parts.append(number[:, None])
            terms.append(name)
            continue
        levels = pd.Categorical(values.where(~gap, None))
        dummies = (levels.codes[:, None] == np.arange(1, len(levels.categories))[None, :]).astype(np.float64)
        dummies[gap] = np.nan
        parts.append(dummies)
        terms += [f"{name}={level}" for level in levels.categories[1:]]
    return Design(np.concatenate(parts, axis=1), terms, missing)


def _as_numbers(values: pd.Series) -> Array | None:
    """A column's numbers with NaN, or None where it holds words, levels or numbers written as text."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        return None
    if values.dtype == object:
        given = values.dropna()
        if len(given) and not all(isinstance(v, (int, float, np.number, np.bool_)) for v in given):
            return None
    elif not pd.api.types.is_numeric_dtype(values.dtype):
        return None
    return np.asarray(values.to_numpy(dtype=np.float64, na_value=np.nan))


# --- no covariates ---


def _fit_constant(h: Histories, looks: NDArray[Any], finds: NDArray[Any]) -> Fit:
    """Maximum likelihood of the constant model: the ridges and corners in closed form, else by Newton's method."""
    psi, p, se, why = np.nan, np.nan, (np.nan, np.nan), ""
    peak = top = np.nan  # a psi where the likelihood is highest, and how high
    if h.n_sites == 0:
        why, peak, top = "no site was looked at", 0.0, 0.0
    elif h.n_found == 0:
        why, peak, top = "nothing was found at any look, so that rare and hard to find cannot be told apart", 0.0, 0.0
    elif h.looks.max() == 1:
        share = h.n_occupied / h.n_sites
        peak, top = 1.0, float(constant.log_likelihood(h, 1.0, share))
        why = "no site was looked at more than once, so that only the product of occupancy and detection can be told"
    else:
        psi, p, se, top, why = _constant_peak(h)
        peak = psi
    counted = looks > 0
    given = np.where(counted, constant.conditional(psi, p, looks), psi) if psi < 1 else np.full(len(looks), psi)
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
        conditional=np.where(finds > 0, 1.0, given),
        coefficients=_coefficients(["intercept"], ["intercept"], estimates, errors),
        identifiable=not why,
        why=why,
        n_sites=h.n_sites,
        n_looks=h.n_looks,
        n_detections=h.n_found,
        naive=h.n_occupied / h.n_sites if h.n_sites else np.nan,
        prior=None,
        from_data=np.nan,
        sampling_efficiency=np.nan,
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
    looks_where_found = int((h.sites * h.looks)[h.found > 0].sum())
    corners = [(1.0, h.n_found / h.n_looks, "the estimate of occupancy lies at its limit of 1")]
    if looks_where_found == h.n_found:
        corners.append(
            (
                h.n_occupied / h.n_sites,
                1.0,
                "every look at a site with a find was a find, so that detection lies at its limit of 1",
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
    if part == "psi":
        return constant.profile_interval(h, psi, top, level)
    if np.isfinite(p):
        return constant.profile_interval(h, p, top, level, "p")
    # on a ridge: nothing found leaves p free; one look a site bounds it below, with psi = 1, by the share found
    at = h.n_occupied / h.n_sites if h.n_found else 0.0
    return (constant.profile_interval(h, at, top, level, "p")[0], 1.0) if h.n_found else (0.0, 1.0)


def _posterior_constant(h: Histories, looks: NDArray[Any], finds: NDArray[Any], prior: Prior) -> Fit:
    """The constant model under Beta priors, by quadrature."""
    known = constant.posterior(h, prior)
    mle = _fit_constant(h, looks, finds)
    psi, p = known.mean(known.psi_grid), known.mean(known.p_grid)
    blank = {int(n): known.mean(known.conditional(int(n))) for n in np.unique(looks)}
    odds = [logit(known.psi_grid), logit(known.p_grid)]
    minus2loglik = -2 * float(constant.log_likelihood(h, psi, p))
    return Fit(
        psi=psi,
        psi_se=known.sd(known.psi_grid),
        p=p,
        p_se=known.sd(known.p_grid),
        minus2loglik=minus2loglik,
        aic=np.nan,
        conditional=np.where(finds > 0, 1.0, [blank[int(n)] for n in looks]),
        coefficients=_coefficients(
            ["intercept"], ["intercept"], np.array([known.mean(o) for o in odds]), np.array([known.sd(o) for o in odds])
        ),
        identifiable=mle.identifiable,
        why=mle.why,
        n_sites=h.n_sites,
        n_looks=h.n_looks,
        n_detections=h.n_found,
        naive=mle.naive,
        prior=prior,
        from_data=known.from_data(),
        sampling_efficiency=np.nan,
        _interval=partial(_posterior_interval, known),
        _mean_psi=(psi, known.sd(known.psi_grid)),
    )


def _posterior_interval(known: constant.Posterior, part: str, level: float) -> tuple[float, float]:
    return known.interval(known.psi_grid if part == "psi" else known.p_grid, level)


def _coefficients(psi_terms: list[str], p_terms: list[str], estimates: Array, errors: Array) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "part": ["psi"] * len(psi_terms) + ["p"] * len(p_terms),
            "term": psi_terms + p_terms,
            "estimate": np.asarray(estimates, dtype=np.float64),
            "se": np.asarray(errors, dtype=np.float64),
        }
    )


# --- with covariates ---


@dataclass(frozen=True)
class Rows:
    """The rows of one part of the model for every site (or look): standardised, and the way back to the given units."""

    rows: Array
    back: Array  # coefficients as given = back @ standardised ones
    kept: list[int]
    terms: list[str]

    @classmethod
    def of(cls, design: Design, used: NDArray[np.bool_]) -> Rows:
        """Centres and scales by the rows used, and leaves out columns that the earlier ones determine."""
        columns = design.matrix[used]
        centre, spread = columns.mean(axis=0), columns.std(axis=0)
        basis, kept = np.ones((len(columns), 1)) / np.sqrt(len(columns)), [0]
        for i in range(1, columns.shape[1]):
            if spread[i] <= 1e-10 * max(1.0, abs(centre[i])):
                continue
            column = (columns[:, i] - centre[i]) / spread[i]
            rest = column - basis @ (basis.T @ column)
            size = np.linalg.norm(rest)
            if size > 1e-7 * np.sqrt(len(columns)):
                basis, kept = np.column_stack([basis, rest / size]), [*kept, i]
        back = np.eye(len(kept))
        for j, i in enumerate(kept[1:], 1):
            back[j, j], back[0, j] = 1 / spread[i], -centre[i] / spread[i]
        return cls(design.matrix[:, kept] @ back, back, kept, design.terms)

    def spread_out(self, values: Array) -> Array:
        """Values of the kept terms among all terms, NaN for those left out."""
        out = np.full(len(self.terms), np.nan)
        out[self.kept] = values
        return out

    def left_out(self) -> list[str]:
        return [term for i, term in enumerate(self.terms) if i not in self.kept]


def _fit_covariates(
    found: Array,
    looked: NDArray[np.bool_],
    x: Design,
    w: Design,
    h: Histories,
    prior: Prior | None,
) -> Fit:
    """The model with covariates: maximum likelihood, or the posterior under the prior."""
    looks, finds = looked.sum(axis=1), np.nansum(found, axis=1)
    counted = looks > 0
    if not counted.any():
        raise InputError(
            "No site was looked at, so that no covariate can be fitted; give looks, or leave the covariates out."
        )
    _no_gap(x, counted, 1)
    _no_gap(w, looked.ravel(), found.shape[1])
    psi_rows, p_rows = Rows.of(x, counted), Rows.of(w, looked.ravel())
    problem = Problem(
        x=psi_rows.rows[counted],
        w=p_rows.rows[looked.ravel()],
        y=found[looked],
        first=np.cumsum(looks[counted]) - looks[counted],
        some=finds[counted] > 0,
        weight=np.ones(int(counted.sum())),
    )
    peak = problem.peak()
    spread = Spread(problem.curvature(peak))
    why = _why(h, spread, psi_rows, p_rows, problem.k)
    model = _Model(problem, psi_rows, p_rows, counted, found.shape)
    if prior is not None:
        answer = _by_posterior(model, replace(problem, prior=prior))
    elif h.n_found == 0 or h.looks.max() == 1:
        answer = _untold(model, 0.0 if h.n_found == 0 else -float(problem.loss(peak)))
    else:
        answer = _by_peak(model, peak, spread)
    given = np.where(finds > 0, 1.0, answer.conditional)
    terms = len(psi_rows.kept) + len(p_rows.kept)
    return Fit(
        psi=_shaped(answer.psi, psi_rows, found.shape[:1]),
        psi_se=_shaped(answer.psi_se, psi_rows, found.shape[:1]),
        p=_shaped(answer.p, p_rows, found.shape),
        p_se=_shaped(answer.p_se, p_rows, found.shape),
        minus2loglik=0.0 - 2 * answer.top,
        aic=-2 * answer.top + 2 * terms if prior is None else np.nan,
        conditional=given,
        coefficients=_coefficients(x.terms, w.terms, answer.estimates, answer.errors),
        identifiable=not why,
        why=why,
        n_sites=h.n_sites,
        n_looks=h.n_looks,
        n_detections=h.n_found,
        naive=h.n_occupied / h.n_sites,
        prior=prior,
        from_data=np.nan,
        sampling_efficiency=answer.efficiency,
        _interval=answer.interval,
        _mean_psi=answer.mean_psi,
    )


def _no_gap(design: Design, used: NDArray[np.bool_], per_site: int) -> None:
    """Refuses a missing covariate where there was a look."""
    for name, gap in design.columns:
        wrong = np.flatnonzero(gap & used)
        if len(wrong):
            i, j = divmod(int(wrong[0]), per_site)
            where = f"site {i + 1}" + (f", visit {j + 1}" if per_site > 1 else "")
            raise InputError(
                f"The covariate {name!r} is missing at {where}, where there was a look; fill it in, or leave out the "
                "look or the covariate."
            )


def _why(h: Histories, spread: Spread, psi_rows: Rows, p_rows: Rows, k: int) -> str:
    """What keeps the looks alone from giving a regular estimate, as a sentence's half; empty where nothing does."""
    if h.n_found == 0:
        return "nothing was found at any look, so that rare and hard to find cannot be told apart"
    if h.looks.max() == 1:
        return "no site was looked at more than once, so that only the product of occupancy and detection can be told"
    said = []
    for part, rows, before, after in (("psi", psi_rows, 0, len(p_rows.kept)), ("p", p_rows, k, 0)):
        errors = spread.errors(np.pad(rows.back, ((0, 0), (before, after))))
        lost = [rows.terms[i] for i, e in zip(rows.kept, errors, strict=True) if np.isnan(e)]
        if lost:
            said.append(
                f"the looks push {', '.join(lost)} of {part} without limit (to 0 or 1 for some), where no standard "
                "error holds"
            )
        if rows.left_out():
            said.append(f"the other covariates of {part} already determine {', '.join(rows.left_out())}, left out")
    if not said and not spread.regular:
        said.append("the looks do not tell the coefficients apart")
    return "; ".join(said)


@dataclass(frozen=True)
class _Model:
    """A problem and the rows of all sites and looks, those without a look among them."""

    problem: Problem
    psi_rows: Rows
    p_rows: Rows
    counted: NDArray[np.bool_]
    shape: tuple[int, ...]


@dataclass(frozen=True)
class _Answer:
    psi: Array
    psi_se: Array
    p: Array
    p_se: Array
    top: float
    conditional: Array
    estimates: Array
    errors: Array
    efficiency: float
    interval: Callable[[str, float], tuple[Any, Any]]
    mean_psi: tuple[float, float]


def _untold(m: _Model, top: float) -> _Answer:
    """Where the looks can't tell psi and p apart: NaN all over, and every psi from 0 to 1 is possible."""
    sites, cells = np.full(m.shape[0], np.nan), np.full(int(np.prod(m.shape)), np.nan)
    nothing = np.full(len(m.psi_rows.terms) + len(m.p_rows.terms), np.nan)
    return _Answer(
        sites, sites, cells, cells, top, sites, nothing, nothing, np.nan, partial(_anything, m), (np.nan, np.nan)
    )


def _anything(m: _Model, part: str, level: float) -> tuple[Any, Any]:
    rows, shape = (m.psi_rows, m.shape[:1]) if part == "psi" else (m.p_rows, m.shape)
    cells = int(np.prod(shape))
    return _shaped(np.zeros(cells), rows, shape), _shaped(np.ones(cells), rows, shape)


def _by_peak(m: _Model, peak: Array, spread: Spread) -> _Answer:
    k = m.problem.k
    pad_x, pad_w = ((0, 0), (0, len(peak) - k)), ((0, 0), (k, 0))
    psi, p = expit(m.psi_rows.rows @ peak[:k]), expit(m.p_rows.rows @ peak[k:])
    psi_se = psi * (1 - psi) * spread.errors(np.pad(m.psi_rows.rows, pad_x))
    p_se = p * (1 - p) * spread.errors(np.pad(m.p_rows.rows, pad_w))
    _, _, occupied, total = m.problem.log_chances(peak)
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
        efficiency=np.nan,
        interval=partial(_peak_interval, m, peak, (psi, psi_se), (p, p_se)),
        mean_psi=(float(seen.mean()), float(mean_se)),
    )


def _as_given(m: _Model, at: Array) -> Array:
    """Coefficients in the units of the covariates, NaN for terms left out."""
    k = m.problem.k
    return np.concatenate(
        [m.psi_rows.spread_out(m.psi_rows.back @ at[:k]), m.p_rows.spread_out(m.p_rows.back @ at[k:])]
    )


def _peak_interval(
    m: _Model, peak: Array, psi: tuple[Array, Array], p: tuple[Array, Array], part: str, level: float
) -> tuple[Any, Any]:
    if part == "p":
        low, high = _wald(*p, level)
        return _shaped(low, m.p_rows, m.shape), _shaped(high, m.p_rows, m.shape)
    kinds, which = np.unique(m.psi_rows.rows, axis=0, return_inverse=True)
    if len(kinds) <= FEW_ROWS:
        nothing = (np.nan, np.nan)
        ends = [nothing if np.isnan(r).any() else profile_bounds(m.problem, peak, r, level) for r in kinds]
        low, high = np.array(ends)[which.ravel()].T
    else:
        low, high = _wald(*psi, level)
    return _shaped(low, m.psi_rows, m.shape[:1]), _shaped(high, m.psi_rows, m.shape[:1])


def _shaped(values: Array, rows: Rows, shape: tuple[int, ...]) -> Any:
    """One number where the part has no covariates, else an array of the given shape."""
    return float(values[0]) if len(rows.terms) == 1 else values.reshape(shape)


def _wald(chance: Array, se: Array, level: float) -> tuple[Array, Array]:
    """The interval that is even in log odds."""
    half = norm.ppf((1 + level) / 2) * se / (chance * (1 - chance))
    return expit(logit(chance) - half), expit(logit(chance) + half)


def _by_posterior(m: _Model, problem: Problem) -> _Answer:
    """Posterior means and standard deviations from draws of the coefficients."""
    draws, efficiency = posterior_draws(problem, problem.peak())
    k, counted = problem.k, m.counted
    sums = {name: np.zeros((2, size)) for name, size in (("psi", m.shape[0]), ("p", int(np.prod(m.shape))))}
    state = np.zeros(int(counted.sum()))
    mean_psi = []
    for at in draws:
        psi, p = expit(m.psi_rows.rows @ at[:k]), expit(m.p_rows.rows @ at[k:])
        sums["psi"] += [psi, psi**2]
        sums["p"] += [p, p**2]
        _, _, occupied, total = problem.log_chances(at)
        state += np.exp(occupied - total)
        mean_psi.append(psi[counted].mean())
    mean = {name: s[0] / len(draws) for name, s in sums.items()}
    sd = {name: np.sqrt(np.maximum(s[1] / len(draws) - mean[name] ** 2, 0)) for name, s in sums.items()}
    given = mean["psi"].copy()
    given[counted] = state / len(draws)
    in_units = np.array([_as_given(m, at) for at in draws])
    return _Answer(
        psi=mean["psi"],
        psi_se=sd["psi"],
        p=mean["p"],
        p_se=sd["p"],
        top=float(-m.problem.loss(draws.mean(axis=0))),
        conditional=given,
        estimates=in_units.mean(axis=0),
        errors=in_units.std(axis=0),
        efficiency=efficiency,
        interval=partial(_draws_interval, m, draws),
        mean_psi=(float(np.mean(mean_psi)), float(np.std(mean_psi))),
    )


def _draws_interval(m: _Model, draws: Array, part: str, level: float) -> tuple[Any, Any]:
    k = m.problem.k
    rows, at, shape = (m.psi_rows, draws[:, :k], m.shape[:1]) if part == "psi" else (m.p_rows, draws[:, k:], m.shape)
    ends = [(1 - level) / 2, (1 + level) / 2]
    # log odds are ordered as chances are; a thousand rows at a time
    low, high = np.concatenate(
        [np.quantile(rows.rows[i : i + 1000] @ at.T, ends, axis=1) for i in range(0, len(rows.rows), 1000)], axis=1
    )
    return _shaped(expit(low), rows, shape), _shaped(expit(high), rows, shape)
