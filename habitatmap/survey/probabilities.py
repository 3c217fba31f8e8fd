"""The probability that each pool, and a new one, holds larvae - and what the survey as a whole says.

Two things stand side by side. The headline estimate is maximum likelihood with its profile interval, and is left out
where the searches are too few. The probability of each pool is conditional on its own searches under the constant model
with a weak prior, so that few searches fall back on stated expert values and many override them; it is integrated over
the posterior of psi and p, and a draw is one psi and p for all pools, so that places close together share it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.errors import InputError
from habitatmap.survey import constant
from habitatmap.survey.constant import Array, Histories, Posterior, Prior
from habitatmap.survey.effort import visit_value
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.searches import Searches, count_searches, one_per_place
from habitatmap.survey.surroundings import Surroundings, fit_surroundings

ENOUGH_DETECTIONS, ENOUGH_TWICE = 10, 20  # expert judgement: below these the searches are too few to estimate from
TOO_FEW = "too few to estimate"
FALSE_SHARES = (0.01, 0.03, 0.05)


class Stated(Protocol):
    """The [occupancy] part of area.toml: "model", or a number for all pools."""

    @property
    def existing(self) -> float | Literal["model"]: ...
    @property
    def new(self) -> float | Literal["model"]: ...


class Estimate(NamedTuple):
    value: float
    low: float
    high: float
    basis: str


@dataclass(frozen=True)
class PoolOccupancy:
    """What the searches say about each pool.

    pools: pool, visits, detections (searches of all seasons), occupancy, occupancy_low, occupancy_high (95 %), basis,
    in the order of the pools given; draws: draws x pools; new: a pool set out where pools stand now; new_draws: a
    number for each draw; detection: the probability that a search finds larvae that are there (posterior mean);
    summary: the `occupancy` part of summary.json; warnings: sentences; searches: what was counted; prior: what was
    believed before; ground: how the probability of a new pool hangs on its ground, None where it does not.
    """

    pools: pd.DataFrame
    draws: Array
    new: Estimate
    new_draws: Array
    detection: float
    summary: dict[str, Any]
    warnings: list[str]
    searches: Searches
    prior: Prior
    surroundings: Surroundings | None

    def new_on(self, fields: Mapping[str, NDArray[Any]], shape: tuple[int, ...]) -> Array:
        """The probability of a new pool on every cell (rows, cols), from rasters of the covariates by name.

        Where the ground is not known, and everywhere without a ground model, it is that of a pool where pools stand.
        """
        if self.surroundings is None:
            return np.full(shape, self.new.value)
        probability = self.surroundings.surface([fields[name] for name in self.surroundings.names])
        return np.where(np.isnan(probability), self.new.value, probability)

    def new_draws_on(self, values: pd.DataFrame) -> Array:
        """Draws x sites: drawn probabilities of new pools on ground of these values (a row per site, covariates by
        name).
        """
        drawn = np.repeat(self.new_draws[:, None], len(values), axis=1)
        there, told = self._told_of(values)
        drawn[:, there] = told[_evenly(len(told), len(drawn))]
        return drawn

    def new_ends_on(self, values: pd.DataFrame) -> Array:
        """Sites x 2: the 95 % interval of the probability of new pools on such ground."""
        ends = np.tile([self.new.low, self.new.high], (len(values), 1))
        there, told = self._told_of(values)
        ends[there] = np.quantile(told, [0.025, 0.975], axis=0).T
        return ends

    def _told_of(self, values: pd.DataFrame) -> tuple[NDArray[np.bool_], Array]:
        """Which sites the ground model tells of, and its draws for them."""
        if self.surroundings is None:
            return np.zeros(len(values), dtype=bool), np.empty((1, 0))
        at = values[list(self.surroundings.names)].to_numpy(dtype=np.float64)
        there = ~np.isnan(at).any(axis=1)
        return there, self.surroundings.draws_at(at[there])


def estimate_pools(
    pools: pd.DataFrame,
    visits: pd.DataFrame,
    as_of: Any,
    occupancy: Stated,
    group: Any = None,
    draws: int = 200,
    seed: int = 1,
    prior: Prior | None = None,
    surroundings: pd.DataFrame | None = None,
) -> PoolOccupancy:
    """The probability of each pool (frames as in the area), with draws for intervals of what is computed from them.

    `group`: one label per pool; pools of one label lie within merge_m of each other and count as one site of the
    survey. `occupancy.existing` and `.new` as numbers override the model exactly, in the draws too. `prior` defaults to
    expert values (see Prior). `ground`: covariates of each pool's ground, a row per pool; as many of them as the finds
    allow shape the probabilities of pools without a detection and of new ones (survey.ground). The same searches give
    the same numbers in any order of rows.
    """
    prior = prior or Prior()
    seen = count_searches(visits, pools, as_of)
    n, d = by_place(seen, group)
    headline = estimate(seen, group)
    few = headline["basis"].startswith(TOO_FEW)
    known = constant.posterior(Histories.count(n, d), prior)
    psi_draws, p_draws = known.draw(draws, seed)

    each, pool_draws = _each_pool(seen, known, psi_draws, p_draws, few)
    told, said = (
        None,
        f"the same probability on all ground ({'too few searches' if few else 'no surroundings is known'})",
    )
    if surroundings is not None and not few:
        labels = np.arange(len(pools)) if group is None else group
        sites, merged, _ = one_per_place(
            seen, pd.concat([pools, surroundings.set_axis(pools.index)], axis=1), visits, labels
        )
        told, said = fit_surroundings(sites.histories, merged[list(surroundings.columns)], prior)
        if told is not None:
            each, pool_draws = _by_surroundings(
                each, pool_draws, seen, told, surroundings[list(told.names)].to_numpy(np.float64)
            )
    psi = known.psi_grid
    words = f"expert value (too few searches): {prior.words()}" if few else "all-pool estimate, with a weak prior"
    new, new_draws = Estimate(known.mean(psi), *known.interval(psi), words), psi_draws
    if occupancy.existing != "model":
        value = float(occupancy.existing)
        each = each.assign(occupancy=value, occupancy_low=value, occupancy_high=value, basis="set in area.toml")
        pool_draws = np.full_like(pool_draws, value)
    if occupancy.new != "model":
        value = float(occupancy.new)
        new, new_draws, told = Estimate(value, value, value, "set in area.toml"), np.full(draws, value), None
    summary = headline | _more(seen, n, d, few, known) | {"surroundings": said}
    detection = known.mean(known.p_grid)
    return PoolOccupancy(each, pool_draws, new, new_draws, detection, summary, seen.warnings, seen, prior, told)


def most_informative(known: PoolOccupancy) -> pd.DataFrame:
    """The pools in the order in which one more search teaches most: pool, occupancy, value (see effort.visit_value)."""
    frame = known.pools[["pool", "occupancy"]].copy()
    frame["value"] = visit_value(frame["occupancy"].to_numpy(), known.detection)
    return frame.sort_values(["value", "pool"], ascending=[False, True], ignore_index=True)


def by_place(seen: Searches, group: Any = None) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The searches and the detections of each place: pools of one label are one place; without labels each pool is one."""
    site = np.arange(len(seen.pools)) if group is None else pd.factorize(np.asarray(group))[0]
    if len(site) != len(seen.pools):
        raise InputError(f"The merged places have {len(site)} labels for {len(seen.pools)} pools; give one per pool.")
    return np.bincount(site, seen.searches).astype(np.int64), np.bincount(site, seen.detections).astype(np.int64)


def estimate(seen: Searches, group: Any = None) -> dict[str, Any]:
    """The headline: maximum likelihood with its profile interval, None where the searches are too few; naive always.

    pools_visited and naive count pools; the fit and looked_twice go by places (see `by_place`), since two pools side by
    side do not tell as much as two far apart.
    """
    n, d = by_place(seen, group)
    visited, twice = int((seen.searches > 0).sum()), int((n >= 2).sum())
    lacking = _lacking(int(d.sum()), twice)
    fit = fit_occupancy(as_rows(n, d))
    counts = f"{n.sum()} searches at {visited} pools, {seen.period()}" if visited else "no pool was searched"
    told = not lacking and bool(np.isfinite(fit.psi))
    if lacking:
        basis = f"{TOO_FEW}: {lacking}; {counts}"
    elif not told:
        basis = f"not estimated: {fit.why}; {counts}"
    else:
        basis = f"maximum likelihood, 95 % interval by profile likelihood; {counts}"
        basis += f"; {fit.why}" if fit.why else ""
    return {
        "pools_visited": visited,
        "naive": float((seen.detections > 0).sum() / visited) if visited else None,
        "estimate": float(fit.psi) if told else None,
        "low": float(fit.psi_low) if told else None,
        "high": float(fit.psi_high) if told else None,
        "se": float(fit.psi_se) if told and np.isfinite(fit.psi_se) else None,
        "detection": float(fit.p) if told else None,
        "basis": basis,
        "detections": int(d.sum()),
        "searches": int(n.sum()),
        "searched_twice": twice,
        "period": seen.period(),
    }


def _lacking(detections: int, twice: int) -> str:
    """What is missing for an estimate, in words; empty where the searches are enough."""
    said = []
    if detections < ENOUGH_DETECTIONS:
        said.append(f"{detections} searches with larvae ({ENOUGH_DETECTIONS} needed)")
    if twice < ENOUGH_TWICE:
        said.append(f"{twice} pools searched twice ({ENOUGH_TWICE} needed)")
    return ", ".join(said)


def as_rows(n: NDArray[Any], d: NDArray[Any]) -> Array:
    """Sites x visits with the given searches and finds; their order means nothing without covariates."""
    column = np.arange(int(n.max(initial=0)))[None, :]
    return np.where(column < d[:, None], 1.0, np.where(column < n[:, None], 0.0, np.nan))


def _each_pool(seen: Searches, known: Posterior, psi: Array, p: Array, few: bool) -> tuple[pd.DataFrame, Array]:
    """The frame and the draws (draws x pools): a pool's probability depends on how often it was searched in vain."""
    n, d = seen.searches, seen.detections
    kinds = {int(k): known.conditional(int(k)) for k in np.unique(n[d == 0])}
    blank = {k: (known.mean(values), *known.interval(values)) for k, values in kinds.items()}
    rows = [(1.0, 1.0, 1.0) if found else blank[int(k)] for k, found in zip(n, d, strict=True)]
    frame = pd.DataFrame(rows, columns=["occupancy", "occupancy_low", "occupancy_high"], dtype=np.float64)
    frame.insert(0, "pool", pd.Series(seen.pools, dtype=str))
    frame.insert(1, "visits", seen.all_searches)
    frame.insert(2, "detections", seen.all_detections)
    before = seen.all_searches - n
    words = [_basis(int(k), bool(f), int(b), few) for k, f, b in zip(n, d, before, strict=True)]
    frame["basis"] = pd.Series(words, dtype=str)
    draws = np.where(d > 0, 1.0, constant.conditional(psi[:, None], p[:, None], n[None, :]))
    return frame, draws


def _by_surroundings(
    each: pd.DataFrame, draws: Array, seen: Searches, told: Surroundings, values: Array
) -> tuple[pd.DataFrame, Array]:
    """The same for pools whose ground is known (values: pools x covariates): conditional on their searches and on it."""
    there = ~np.isnan(values).any(axis=1)
    psi, n, found = told.draws_at(values[there]), seen.searches[there], seen.detections[there] > 0
    probability = np.where(found, 1.0, constant.conditional(psi, told.detection[:, None], n[None, :]))
    each, draws = each.copy(), draws.copy()
    each.loc[there, "occupancy"] = probability.mean(axis=0)
    each.loc[there, ["occupancy_low", "occupancy_high"]] = np.quantile(probability, [0.025, 0.975], axis=0).T
    blank = there & (seen.detections == 0)
    each.loc[blank, "basis"] = each.loc[blank, "basis"].str.replace(
        "^[^;]*", lambda first: f"{first[0]}, and its ground: {told.words()}", regex=True
    )
    draws[:, there] = probability[_evenly(len(probability), len(draws))]
    return each, draws


def _evenly(among: int, n: int) -> NDArray[np.int64]:
    """Which n of so many draws to take."""
    return np.linspace(0, among - 1, n).round().astype(np.int64)


def _basis(n: int, found: bool, before: int, few: bool) -> str:
    """Where a pool's probability comes from, in words."""
    if n == 0:
        said = "expert value (too few searches)" if few else "no search: all-pool estimate"
    else:
        said = f"{n} search{'es' * (n > 1)}, {'larvae seen' if found else 'none seen'}"
        if few and not found:
            said += ", weighed with an expert value"
    return said + (f"; {before} of earlier seasons not counted" if before else "")


def _more(seen: Searches, n: NDArray[Any], d: NDArray[Any], few: bool, known: Posterior) -> dict[str, Any]:
    """What the `occupancy` part of summary.json says beside the headline."""
    low, high = known.interval(known.psi_grid)
    h = Histories.count(n, d)
    return {
        "left_out": {reason: count for reason, count in seen.left_out.items() if count},
        "expert_prior": known.prior.words(),
        "from_data": known.from_data(),
        "posterior": {"mean": known.mean(known.psi_grid), "low": low, "high": high},
        "false_positives": None if few else {f"{s * 100:g} %": _what_if(h, s) for s in FALSE_SHARES},
        "place": "pools where people put them: says nothing about places unlike these",
    }


def _what_if(h: Histories, share: float) -> dict[str, float]:
    told = constant.what_if(h, share)
    return {"estimate": told.psi, "low": told.low, "high": told.high}
