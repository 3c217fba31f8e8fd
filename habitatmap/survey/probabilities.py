"""The probability that each pool, and a new one, holds larvae.

The probability of each pool is conditional on its own searches under the constant model with a weak prior, so that few
searches fall back on stated expert values and many override them; it is integrated over the posterior of psi and p. A
draw is one psi and p for all pools, so that places close together share it. Where the searches are enough, psi may
depend on the surroundings (survey.surroundings).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.survey import constant
from habitatmap.survey.codes import OnSurroundings, PoolBasis
from habitatmap.survey.constant import Array, Histories, Posterior, Prior
from habitatmap.survey.effort import visit_value
from habitatmap.survey.figures import OccupancyFigures, SeasonFigures, counts_by_place, estimate
from habitatmap.survey.searches import Counts, Day, Searches, by_place, count_searches, labels
from habitatmap.survey.surroundings import Raster, Surroundings, fit_surroundings
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.note import Note, note

FALSE_SHARES = (0.01, 0.03, 0.05)
ENDS = (0.025, 0.975)


class Stated(Protocol):
    """The [occupancy] part of area.toml: "model", or a number for all pools."""

    @property
    def existing(self) -> float | Literal["model"]: ...
    @property
    def new(self) -> float | Literal["model"]: ...


@dataclass(frozen=True)
class Inference:
    """What is believed before any search, and how many draws of the posterior are taken with which seed."""

    prior: Prior = field(default_factory=Prior)
    draws: int = 200
    seed: int = 1


@dataclass(frozen=True)
class PoolOccupancy:
    """What the searches say about each pool.

    pools: frame in the order of the pools given - pool; visits, detections (searches of all seasons); occupancy,
    occupancy_low, occupancy_high (95 %); basis (PoolBasis); searches (of the season), earlier (of other seasons);
    surroundings (names of the covariates that were used, with blanks between). draws: draws x pools; new: a pool set
    out where pools stand now; new_draws: a number for each draw; detection: the probability that a search detects
    larvae that are there (posterior mean); figures: of the survey as a whole; searches: what was counted; prior: what
    was believed before; surroundings: how a probability depends on them, None where it does not.
    """

    pools: pd.DataFrame
    draws: Array
    new: Estimate
    new_draws: Array
    detection: float
    figures: OccupancyFigures
    searches: Searches
    prior: Prior
    surroundings: Surroundings | None

    @property
    def warnings(self) -> list[Note]:
        """What a reader must know before the figures."""
        return self.searches.warnings

    def new_on(self, fields: Mapping[str, Raster], shape: tuple[int, ...]) -> Array:
        """The probability of a new pool on every cell (rows, cols), from rasters of the covariates by name.

        Where a covariate is not known, and everywhere without them, it is that of a pool where pools stand.
        """
        if self.surroundings is None:
            return np.full(shape, self.new.value)
        probability = self.surroundings.surface([fields[name] for name in self.surroundings.names])
        return np.where(np.isnan(probability), self.new.value, probability)

    def new_draws_on(self, values: pd.DataFrame) -> Array:
        """Draws x sites: drawn probabilities of new pools (`values`: a row per site, covariates by name)."""
        drawn = np.repeat(self.new_draws[:, None], len(values), axis=1)
        there, simulated = self._by_surroundings(values)
        drawn[:, there] = simulated[_evenly(len(simulated), len(drawn))]
        return drawn

    def new_ends_on(self, values: pd.DataFrame) -> Array:
        """Sites x 2: the 95 % interval of the probability of new pools there."""
        ends = np.tile([self.new.low, self.new.high], (len(values), 1))
        there, simulated = self._by_surroundings(values)
        ends[there] = np.quantile(simulated, ENDS, axis=0).T
        return ends

    def _by_surroundings(self, values: pd.DataFrame) -> tuple[NDArray[np.bool_], Array]:
        """At which sites the covariates are known, and the draws of the probability there."""
        if self.surroundings is None:
            return np.zeros(len(values), dtype=bool), np.empty((1, 0))
        return self.surroundings.draws_on(values)


def estimate_pools(
    pools: pd.DataFrame,
    visits: pd.DataFrame,
    as_of: Day,
    occupancy: Stated,
    group: NDArray[np.int64] | None = None,
    surroundings: pd.DataFrame | None = None,
    how: Inference = Inference(),
) -> PoolOccupancy:
    """The probability of each pool (frames as in the area), with draws for intervals of what is computed from them.

    `group`: one label per pool; pools of one label lie within merge_m of each other and count as one site of the
    survey. `occupancy.existing` and `.new` as numbers override the model exactly, in the draws too.
    `surroundings`: covariates, a row per pool; as many of them as the detections allow shape
    the probabilities of pools without a detection and of new ones. The same searches give the same numbers in any order
    of rows.
    """
    seen = count_searches(visits, pools, as_of)
    counts = Histories.count(*counts_by_place(seen, group))
    headline = estimate(seen, group)
    few = headline.method is Method.TOO_FEW
    known = constant.posterior(counts, how.prior)
    psi, p = known.draw(how.draws, how.seed)
    each, draws = _by_searches(seen, known, psi, p, few)
    model, use = None, note(OnSurroundings.TOO_FEW_SEARCHES if few else OnSurroundings.NOT_GIVEN)
    if surroundings is not None and not few:
        everything = pd.concat([pools, surroundings.set_axis(pools.index)], axis=1)
        sites, merged, _ = by_place(seen, everything, visits, labels(group, len(pools)))
        model, use = fit_surroundings(sites.histories, merged[list(surroundings.columns)], how.prior)
        if model is not None:
            each, draws = _by_surroundings(each, draws, seen, model, surroundings)
    posterior = Estimate(known.mean(known.psi_grid), *known.interval(known.psi_grid), Method.BAYESIAN, how.prior.basis)
    new, new_draws = dataclasses.replace(posterior, method=Method.EXPERT if few else Method.BAYESIAN), psi
    if occupancy.existing != "model":
        value = float(occupancy.existing)
        each = each.assign(occupancy=value, occupancy_low=value, occupancy_high=value, basis=PoolBasis.STATED)
        draws = np.full_like(draws, value)
    if occupancy.new != "model":
        new, model = Estimate.exactly(float(occupancy.new), Method.STATED), None
        new_draws = np.full(how.draws, new.value)
    return PoolOccupancy(
        pools=each,
        draws=draws,
        new=new,
        new_draws=new_draws,
        detection=known.mean(known.p_grid),
        figures=_figures(headline, seen, counts, known, posterior, use),
        searches=seen,
        prior=how.prior,
        surroundings=model,
    )


def most_informative(known: PoolOccupancy) -> pd.DataFrame:
    """The pools in the order in which one more search teaches most: pool, occupancy, value (see effort.visit_value)."""
    frame = known.pools[["pool", "occupancy"]].copy()
    frame["value"] = visit_value(frame["occupancy"].to_numpy(), known.detection)
    return frame.sort_values(["value", "pool"], ascending=[False, True], ignore_index=True)


def _by_searches(seen: Searches, known: Posterior, psi: Array, p: Array, few: bool) -> tuple[pd.DataFrame, Array]:
    """The frame and the draws (draws x pools): a pool's probability depends on its searches without a detection."""
    n, d = seen.searches, seen.detections
    missed = {int(k): known.conditional(int(k)) for k in np.unique(n[d == 0])}
    after = {k: (known.mean(values), *known.interval(values)) for k, values in missed.items()}
    rows = [(1.0, 1.0, 1.0) if found else after[int(k)] for k, found in zip(n, d, strict=True)]
    frame = pd.DataFrame(rows, columns=["occupancy", "occupancy_low", "occupancy_high"], dtype=np.float64)
    frame.insert(0, "pool", pd.Series(seen.pools, dtype=str))
    frame.insert(1, "visits", seen.all_searches)
    frame.insert(2, "detections", seen.all_detections)
    frame["basis"] = pd.Series(_bases(n, d, few), dtype=object)
    frame["searches"], frame["earlier"], frame["surroundings"] = n, seen.all_searches - n, ""
    return frame, np.where(d > 0, 1.0, constant.conditional(psi[:, None], p[:, None], n[None, :]))


def _bases(n: Counts, d: Counts, few: bool) -> list[PoolBasis]:
    """What each pool's probability rests on."""
    missed = PoolBasis.NOT_DETECTED_EXPERT if few else PoolBasis.NOT_DETECTED
    unsearched = PoolBasis.EXPERT if few else PoolBasis.NOT_SEARCHED
    return [
        unsearched if not searches else PoolBasis.DETECTED if found else missed
        for searches, found in zip(n, d, strict=True)
    ]


def _by_surroundings(
    each: pd.DataFrame, draws: Array, seen: Searches, model: Surroundings, values: pd.DataFrame
) -> tuple[pd.DataFrame, Array]:
    """The same for pools whose covariates are known: conditional on their searches and on these."""
    there, psi = model.draws_on(values)
    n, found = seen.searches[there], seen.detections[there] > 0
    probability = np.where(found, 1.0, constant.conditional(psi, model.detection[:, None], n[None, :]))
    each, draws = each.copy(), draws.copy()
    each.loc[there, "occupancy"] = probability.mean(axis=0)
    each.loc[there, ["occupancy_low", "occupancy_high"]] = np.quantile(probability, ENDS, axis=0).T
    each.loc[there & (seen.detections == 0), "surroundings"] = " ".join(model.names)
    draws[:, there] = probability[_evenly(len(probability), len(draws))]
    return each, draws


def _evenly(among: int, n: int) -> NDArray[np.int64]:
    """Which n of so many draws to take."""
    return np.linspace(0, among - 1, n).round().astype(np.int64)


def _figures(
    headline: SeasonFigures, seen: Searches, counts: Histories, known: Posterior, posterior: Estimate, use: Note
) -> OccupancyFigures:
    """The headline and what stands beside it."""
    few = headline.method is Method.TOO_FEW
    return OccupancyFigures(
        **{field.name: getattr(headline, field.name) for field in dataclasses.fields(headline)},
        left_out={reason: count for reason, count in seen.left_out.items() if count},
        prior=known.prior,
        from_data=known.from_data(),
        posterior=posterior,
        surroundings=use,
        false_positives=() if few else tuple(constant.what_if(counts, share) for share in FALSE_SHARES),
    )
