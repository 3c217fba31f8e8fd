"""From covariates as given to the columns of the model.

Coding: an intercept first; a numeric column enters as it is given; a text (or categorical) column enters as one 0/1
column for each level but the first in sorted order, named "column=level". A column that the others already determine is
left out of the fit (its estimate is NaN) and said so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.survey.constant import Array, Numbers


@dataclass(frozen=True)
class Design:
    """The columns of one part of the model: rows x terms, the intercept first; NaN where a covariate is missing."""

    matrix: Array
    terms: list[str]
    columns: list[tuple[str, NDArray[np.bool_]]]  # each covariate and where it is missing


def site_design(site: pd.DataFrame | None, sites: int) -> Design:
    """The columns of psi, one row per site."""
    if site is None:
        return _design({}, sites)
    if not isinstance(site, pd.DataFrame):
        raise InputError(f"The site covariates are a {type(site).__name__}; give a DataFrame with one row per site.")
    if len(site) != sites:
        raise InputError(
            f"The site covariates have {len(site)} rows for {sites} sites; give one row per site, in the same order."
        )
    return _design({str(name): site[name] for name in site.columns}, sites)


def visit_design(visit: Mapping[str, ArrayLike] | None, shape: tuple[int, ...]) -> Design:
    """The columns of p, one row per site and visit, site by site."""
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


@dataclass(frozen=True)
class Rows:
    """The rows of one part of the model for every site (or search): standardised, and the way back to given units."""

    rows: Array
    back: Array  # coefficients as given = back @ standardised ones
    kept: list[int]
    terms: list[str]
    single: bool  # no covariate was given: one number stands for all rows

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
        return cls(design.matrix[:, kept] @ back, back, kept, design.terms, not design.columns)

    def spread_out(self, values: Array) -> Array:
        """Values of the kept terms (the last axis) among all terms, NaN for those left out."""
        out = np.full((*values.shape[:-1], len(self.terms)), np.nan)
        out[..., self.kept] = values
        return out

    def left_out(self) -> list[str]:
        return [term for i, term in enumerate(self.terms) if i not in self.kept]

    def shaped(self, values: Array, shape: tuple[int, ...]) -> Numbers:
        """One number where no covariate was given, else an array of the given shape."""
        return float(values[0]) if self.single else values.reshape(shape)


def refuse_gaps(design: Design, used: NDArray[np.bool_], per_site: int) -> None:
    """Refuses a missing covariate where there was a search."""
    for name, gap in design.columns:
        wrong = np.flatnonzero(gap & used)
        if len(wrong):
            i, j = divmod(int(wrong[0]), per_site)
            where = f"site {i + 1}" + (f", visit {j + 1}" if per_site > 1 else "")
            raise InputError(
                f"The covariate {name!r} is missing at {where}, where there was a search; fill it in, or leave out the "
                "search or the covariate."
            )
