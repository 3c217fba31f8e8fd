"""The probability that each pool, and a new one, holds larvae.

The probability of each pool is of the day asked for, and conditional on its whole history: the model of several seasons
(survey.dynamic) under weak priors, so that few searches fall back on stated expert values and many override them. Where
one season was searched and no later one has begun, that is the model of one season (survey.constant). A draw is one set
of probabilities for all pools, so that places close together share it. Where the searches are enough, occupancy and
colonisation may depend on the surroundings (survey.surroundings).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Literal, NamedTuple, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, logit

from habitatmap.geo import scratch
from habitatmap.read.pools import standing
from habitatmap.survey import constant
from habitatmap.survey.codes import ClosureVerdict, LeftOut, OnSurroundings, PoolBasis, SurveyWarning
from habitatmap.survey.constant import Array, Histories, Posterior, Prior
from habitatmap.survey.dynamic import SeasonDraws, SeasonHistories, backward, draw_seasons, forward, mean_and_ends
from habitatmap.survey.effort import visit_value
from habitatmap.survey.figures import (
    Here,
    OccupancyFigures,
    SeasonFigures,
    counts_by_place,
    estimate,
    too_wide,
    without_estimate,
)
from habitatmap.survey.likelihood import BATCH
from habitatmap.survey.models import MOST_VISITS, Goodness, goodness_of_fit
from habitatmap.survey.record import Record, take_record
from habitatmap.survey.searches import Day, Searches, histories_by_place, labels
from habitatmap.survey.surroundings import Raster, Surroundings, fit_surroundings
from habitatmap.vocabulary.estimate import Estimate, Method
from habitatmap.vocabulary.note import Note, note
from habitatmap.vocabulary.window import Window

FALSE_SHARES = (0.01, 0.03, 0.05)
ENDS = (0.025, 0.975)
TAKEN = 1000  # draws from which the probabilities of pools are calculated; of MANY pools fewer, to save memory
MANY = 20_000
MOST_WIDENED = 4.0  # overdispersion; above it the model is wrong in itself (Burnham & Anderson 2002, from memory)
MOST_BLANKS = 8  # searches without a detection that are told


class Stated(Protocol):
    """The [occupancy] part of area.toml: "model", or a number for all pools."""

    @property
    def existing(self) -> float | Literal["model"]: ...
    @property
    def new(self) -> float | Literal["model"]: ...


@dataclass(frozen=True)
class Inference:
    """What is believed before any search; how many draws of the posterior are given with which seed; how seasons lie.

    closed: the window that area.toml states; first_month: in which a season begins where it states none: until then a
    pool keeps what it held the season before; surveys: how many are simulated for the goodness of fit.
    """

    prior: Prior = field(default_factory=Prior)
    draws: int = 200
    seed: int = 1
    closed: Window | None = None
    first_month: int = 3
    surveys: int = 200

    def taken(self, pools: int) -> int:
        """From how many draws the probabilities of so many pools are calculated."""
        return TAKEN if pools <= MANY else self.draws

    def season_begun(self, day: Day) -> int:
        """The latest season that has begun on a day."""
        date = pd.Timestamp(day)
        begin = self.closed.first if self.closed else (self.first_month, 1)
        return date.year - ((date.month, date.day) < begin)


@dataclass(frozen=True)
class PoolOccupancy:
    """What the searches say about each pool.

    pools: frame in the order of the pools given - pool; visits, detections (searches of all seasons); occupancy,
    occupancy_low, occupancy_high (95 %) on the day; basis (PoolBasis); last_seen (the season of the last detection,
    NaN none), since (searches after it); surroundings (names of the covariates that were used, with blanks between).
    draws: draws x pools; new: a pool set out where pools stand now; new_draws: a number for each draw; detection: the
    probability that a search detects larvae that are there (posterior mean), detection_draws: a number for each draw;
    figures: of the survey as a whole; every: the searches of each season, the oldest first; alone: the figures of each
    by itself; searches: those of the season of the figures; goodness: of the model in that season; prior: what was
    believed before; model: draws of the model without surroundings; surroundings: how a probability depends on them,
    None where it does not; non_detections: what a search without larvae means, see `_Plain.after_non_detections`;
    what_ifs: calculates `false_positives`, which takes as long as half of the rest.
    """

    pools: pd.DataFrame
    draws: Array
    new: Estimate
    new_draws: Array
    detection: float
    detection_draws: Array
    figures: OccupancyFigures
    every: tuple[Searches, ...]
    alone: tuple[SeasonFigures, ...]
    searches: Searches
    goodness: Goodness
    prior: Prior
    model: SeasonDraws
    surroundings: Surroundings | None
    non_detections: pd.DataFrame
    what_ifs: Callable[[], tuple[constant.WhatIf, ...]]

    @cached_property
    def false_positives(self) -> tuple[constant.WhatIf, ...]:
        """The headline if some searches of empty pools reported larvae; none with too few searches."""
        return self.what_ifs()

    @property
    def season_now(self) -> int | None:
        """The season of the day: one later than the last that was searched, where it has begun."""
        first = self.every[0].season
        return None if first is None else first + self.model.p.shape[1] - 1

    @property
    def turnover(self) -> tuple[Estimate, Estimate]:
        """From one season to the next: the share of occupied pools that are lost, and of empty ones colonised."""
        rates = (self.model.lost, expit(self.model.colonised))
        lost, colonised = (Estimate(*mean_and_ends(drawn), Method.SEASONS, self.prior.basis) for drawn in rates)
        return lost, colonised

    def detection_in(self, season: int) -> Estimate:
        """The probability that a search of a season detects larvae that are there."""
        drawn = self.model.p[:, season - self.figures.seasons[0]]
        return Estimate(*mean_and_ends(drawn), Method.BAYESIAN, self.prior.basis)

    @property
    def warnings(self) -> list[Note]:
        """What a reader must know before the figures."""
        figures, closure = self.figures, self.figures.closure
        told = list(self.searches.warnings)
        if closure.verdict is ClosureVerdict.FAILS:
            code = SurveyWarning.NARROWED if closure.narrowed else SurveyWarning.NOT_CLOSED
            told.append(note(code, p_value=closure.p_value, split=closure.split, window=str(closure.within)))
        if figures.overdispersion > 1:
            values = {"p_value": self.goodness.p_value, "overdispersion": figures.overdispersion}
            told.append(note(SurveyWarning.MISFIT, **values))
        if only := [seen.season for seen in self.every if seen.detections_only]:
            told.append(note(SurveyWarning.DETECTIONS_ONLY, seasons=only))
        return told

    def new_on(self, fields: Mapping[str, Raster], shape: tuple[int, ...]) -> NDArray[np.floating]:
        """The probability of a new pool on every cell (rows, cols), from rasters of the covariates by name.

        Where a covariate is not known, and everywhere without them, it is that of a pool where pools stand.
        """
        if self.surroundings is None:
            return np.broadcast_to(np.float64(self.new.value), shape)
        probability = self.surroundings.surface([fields[name] for name in self.surroundings.names])
        for band in scratch.bands(shape):
            np.copyto(probability[band], self.new.value, where=np.isnan(probability[band]))
        return probability

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
    survey. `occupancy.existing` and `.new` as numbers override the model exactly, in the draws too. `surroundings`:
    covariates, a row per pool; as many of them as the detections allow shape the probabilities of pools without a
    detection and of new ones. The same searches give the same numbers in any order of rows.
    """
    record = take_record(pools, visits, as_of, labels(group, len(pools)), how.closed, how.season_begun(as_of))
    season = _Season.of(record, how)
    seen = season.searches
    plain = _Plain.of(record, season, how)
    headline = _headline(record, season, plain)
    few = not headline.known
    model, use = None, note(OnSurroundings.TOO_FEW_SEARCHES if few else OnSurroundings.NOT_GIVEN)
    states = _states(record.of_pools, plain.draws, record.index(seen))
    ends = plain.ends(record.of_pools, states.now)
    if surroundings is not None and not few:
        by_place = surroundings.groupby(record.place).mean()
        model, use = fit_surroundings(record.of_places, by_place, how.prior, 1 / season.overdispersion)
        if model is not None:
            states, ends = _by_surroundings(record, seen, states, ends, model, surroundings)
    dated = pools if "removed" in pools else pools.assign(removed=pd.Series(pd.NaT, index=pools.index))
    up = standing(dated, visits, pd.Timestamp(as_of).date())
    each = _each_pool(record, ends, few)
    if model is not None and surroundings is not None:
        depends = surroundings[list(model.names)].notna().all(axis=1).to_numpy() & (states.now.min(axis=0) < 1)
        each.loc[depends, "surroundings"] = " ".join(model.names)
    draws, new, new_draws = _thinned(states.now, how.draws), plain.new, _thinned(plain.occupied(), how.draws)
    if few:
        new = dataclasses.replace(new, method=Method.EXPERT)
    if occupancy.existing != "model":
        each, draws = _as_stated(each, draws, float(occupancy.existing))
    if occupancy.new != "model":
        new, model = Estimate.exactly(float(occupancy.new), Method.STATED), None
        new_draws = np.full(how.draws, new.value)
    return PoolOccupancy(
        pools=each,
        draws=draws,
        new=new,
        new_draws=new_draws,
        detection=plain.detection,
        detection_draws=_thinned(plain.draws.p[:, -1:], how.draws)[:, 0],
        figures=OccupancyFigures(
            **{field.name: getattr(headline, field.name) for field in dataclasses.fields(headline)},
            seasons=tuple(one.season for one in record.every if one.season is not None),
            together=tuple(plain.season(record.index(one)) for one in record.every if one.season is not None),
            here=_here(seen, states.then, up, few, how.seed),
            running=season.running,
            closure=record.closure,
            overdispersion=season.overdispersion,
            left_out={why: n for why, n in seen.left_out.items() if n and why is not LeftOut.EARLIER_SEASON},
            prior=how.prior,
            from_data=plain.from_data,
            posterior=plain.season(record.index(seen)),
            surroundings=use,
        ),
        every=record.every,
        alone=season.alone,
        searches=seen,
        goodness=season.goodness,
        prior=how.prior,
        model=plain.draws,
        surroundings=model,
        non_detections=plain.after_non_detections() if not few else plain.after_non_detections()[:0],
        what_ifs=tuple if few else partial(_what_ifs, record, season, how, headline.method),
    )


def most_informative(known: PoolOccupancy) -> pd.DataFrame:
    """The pools in the order in which one more search teaches most: pool, occupancy, value (see effort.visit_value)."""
    frame = known.pools[["pool", "occupancy"]].copy()
    frame["value"] = visit_value(frame["occupancy"].to_numpy(), known.detection)
    return frame.sort_values(["value", "pool"], ascending=[False, True], ignore_index=True)


def worth_a_search(known: PoolOccupancy) -> list[str]:
    """The names of the pools where one more search teaches anything, most first."""
    return [str(pool) for pool in most_informative(known).query("value > 0")["pool"]]


# --- the headline ----------------------------------------------------------------------------------------------------


def _headline_season(alone: Sequence[SeasonFigures]) -> int:
    """The last season with an estimate of its own; without one the last with half as many searches as any."""
    known = [at for at, figures in enumerate(alone) if figures.known]
    most = max(figures.searches for figures in alone)
    return (known or [at for at, figures in enumerate(alone) if 2 * figures.searches >= most])[-1]


@dataclass(frozen=True)
class _Season:
    """The season of the headline: its searches, and how well the model fits them; `alone`: every season by itself, of
    which it is the one `at`.
    """

    searches: Searches
    goodness: Goodness
    alone: tuple[SeasonFigures, ...]
    at: int

    @classmethod
    def of(cls, record: Record, how: Inference) -> _Season:
        alone = tuple(estimate(seen, record.place) for seen in record.every)
        at = _headline_season(alone)
        histories = histories_by_place(record.every[at], record.place, MOST_VISITS + 1)
        goodness = goodness_of_fit(histories, surveys=how.surveys if alone[at].known else 0)
        return cls(record.every[at], goodness, alone, at)

    @property
    def running(self) -> SeasonFigures | None:
        """The last season, where it is a later one."""
        return self.alone[-1] if self.at < len(self.alone) - 1 else None

    @property
    def overdispersion(self) -> float:
        """By how much less every search tells; 1 where no misfit can be shown.

        It has a limit, as one history that the model hardly expects makes chi-squared as large as you like.
        """
        return float(np.clip(self.goodness.overdispersion, 1.0, MOST_WIDENED)) if self.goodness.fits is False else 1.0


def _headline(record: Record, season: _Season, plain: _Plain) -> SeasonFigures:
    """The figures of a season: by maximum likelihood where it is the only one, else by the model of all seasons."""
    seen = season.searches
    alone = season.alone[season.at]
    if season.overdispersion > 1:
        alone = estimate(seen, record.place, overdispersion=season.overdispersion)
    if len(record.informative) < 2 or seen.detections_only:
        return alone
    at = record.index(seen)
    found = plain.season(at)
    detection = float(plain.draws.p[:, at].mean())
    places = int((counts_by_place(seen, record.place)[0] > 0).sum())
    told = dataclasses.replace(
        alone,
        estimate=found.value,
        low=found.low,
        high=found.high,
        se=float(plain.occupied(at).std()),
        detection=detection,
        method=found.method,
        why=(),
    )
    return without_estimate(told, places, found.value, detection) if too_wide(told) else told


def _what_ifs(record: Record, season: _Season, how: Inference, method: Method) -> tuple[constant.WhatIf, ...]:
    """The headline once more, if searches of empty pools reported larvae so often; by the model of the headline."""
    if method is not Method.SEASONS:
        counts = Histories.count(*counts_by_place(season.searches, record.place))
        return tuple(constant.what_if(counts, share) for share in FALSE_SHARES)
    told = []
    for share in FALSE_SHARES:
        plain, at = _Plain.of(record, season, how, share), record.index(season.searches)
        value, p = plain.season(at), plain.draws.p[:, at]
        told.append(constant.WhatIf(share, value.value, value.low, value.high, float(p.mean())))
    return tuple(told)


def _here(seen: Searches, then: Array, up: NDArray[np.bool_], few: bool, seed: int) -> Here:
    """How many of the pools that were searched in the season and stand were occupied in it. then: draws x pools.

    Each draw of the probabilities gives one number of pools, by chance; their middle 95 % is the interval (mid-p, as
    whole numbers would else make it too wide).
    """
    mine = (seen.searches > 0) & up
    with_larvae = int((mine & (seen.detections > 0)).sum())
    if few or not mine.any():
        return Here(int(mine.sum()), with_larvae, np.nan, np.nan, np.nan)
    by_name = np.flatnonzero(mine)[np.argsort(np.array(seen.pools)[mine])]  # so that the order of rows changes nothing
    probability = then[:, by_name]
    occupied = (np.random.default_rng(seed).random(probability.shape) < probability).sum(axis=1)
    share = np.bincount(occupied, minlength=len(by_name) + 1) / len(occupied)
    below = np.cumsum(share) - share / 2  # half of what falls on a number counts as below it, half as above
    low, high = (below >= ENDS[0]).argmax(), len(below) - 1 - (below <= ENDS[1])[::-1].argmax()
    likely = float(np.clip(probability.sum(axis=1).mean(), low, high))  # a rare number of pools moves the mean a little
    return Here(int(mine.sum()), with_larvae, likely, float(low), float(high))


# --- the model without surroundings ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Plain:
    """The posterior of the model without surroundings: its draws, and for one season the grid that they are from."""

    draws: SeasonDraws
    prior: Prior
    grid: Posterior | None
    starts: Array  # of the places that were searched: the share of them that began in each season

    @classmethod
    def of(cls, record: Record, season: _Season, how: Inference, false_share: float = 0.0) -> _Plain:
        evidence, places = 1 / season.overdispersion, record.of_places
        searched = counts_by_place(season.searches, record.place)[0] > 0
        starts = np.bincount(places.start[searched], minlength=places.seasons) / max(int(searched.sum()), 1)
        if not searched.any():
            starts[0] = 1.0
        counts = record.of_one_season
        if counts is None:
            draws = draw_seasons(places, how.prior, None, evidence, how.seed, false_share)
            return cls(draws.take(how.taken(len(record.place))), how.prior, None, starts)
        grid = constant.posterior(counts, how.prior, evidence=evidence)
        psi, p = grid.draw(how.draws, how.seed)
        none = np.zeros(len(psi))
        return cls(
            SeasonDraws(logit(psi), none - np.inf, none[:, None][:, :0], none, p[:, None]), how.prior, grid, starts
        )

    def occupied(self, season: int = -1) -> Array:
        """By draw: the probability of a pool such as those searched, were it not searched; -1: on the day."""
        season %= len(self.starts)
        starts = np.flatnonzero(self.starts)
        by_start = [self.draws.occupied(season - min(int(start), season))[:, 0] for start in starts]
        return np.asarray(np.column_stack(by_start) @ self.starts[starts])

    @property
    def new(self) -> Estimate:
        """A pool set out where pools stand now."""
        value, low, high = self._told(self.occupied(), self.grid.psi_grid if self.grid else None)
        return Estimate(value, low, high, Method.BAYESIAN, self.prior.basis)

    @property
    def detection(self) -> float:
        return self.grid.mean(self.grid.p_grid) if self.grid else float(self.draws.p[:, -1].mean())

    def season(self, season: int) -> Estimate:
        """The probability in a season as an estimate."""
        value, low, high = self._told(self.occupied(season), self.grid.psi_grid if self.grid else None)
        method = Method.BAYESIAN if self.grid else Method.SEASONS
        return Estimate(value, low, high, method, self.prior.basis)

    @property
    def from_data(self) -> float:
        """The share of what is known about occupancy that the searches told: 1 - variance / prior variance."""
        if self.grid:
            return self.grid.from_data()
        before = self.prior.psi_mean * (1 - self.prior.psi_mean) / (self.prior.psi_worth + 1)
        return float(np.clip(1 - self.occupied().var() / before, 0.0, 1.0))

    def ends(self, pools: SeasonHistories, now: Array) -> Array:
        """Pools x 3: mean and 95 % interval of each pool's probability, from its draws (draws x pools)."""
        if self.grid is None:
            return np.column_stack([now.mean(axis=0), *np.quantile(now, ENDS, axis=0)])
        n, d = pools.searches[:, 0], pools.detections[:, 0]
        missed = {int(k): self._after(int(k)) for k in np.unique(n[d == 0])}
        rows = [(1.0, 1.0, 1.0) if found else missed[int(k)] for k, found in zip(n, d, strict=True)]
        return np.array(rows, dtype=np.float64).reshape(-1, 3)

    def after_non_detections(self) -> pd.DataFrame:
        """What a search without larvae means, for a pool that nobody searched before this season.

        Frame: non_detections (0 to 8), probability that larvae are there, low, high (95 %).
        """
        rows = [(k, *self._after(k)) for k in range(MOST_BLANKS + 1)]
        return pd.DataFrame(rows, columns=["non_detections", "probability", "low", "high"])

    def _after(self, searches: int) -> tuple[float, float, float]:
        psi, p = self.occupied(), self.draws.p[:, -1]
        grid = self.grid.conditional(searches) if self.grid else None
        return self._told(constant.conditional(psi, p, searches), grid)

    def _told(self, drawn: Array, on_grid: Array | None) -> tuple[float, float, float]:
        """Mean and 95 % interval, from the grid where there is one."""
        if self.grid is not None and on_grid is not None:
            return self.grid.mean(on_grid), *self.grid.interval(on_grid)
        return mean_and_ends(drawn)


# --- each pool -------------------------------------------------------------------------------------------------------


class _States(NamedTuple):
    """Draws x pools: the probability of being occupied in the season of the headline, and on the day."""

    then: Array
    now: Array


def _states(h: SeasonHistories, draws: SeasonDraws, season: int, x: Array | None = None) -> _States:
    """Given all searches of each pool (and its covariates x), a few pools at a time."""
    rows, back = np.arange(len(h.sites)), None
    if x is None:  # pools with the same history are alike
        alike = np.column_stack([h.searches, h.detections, h.start])
        _, rows, back = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    size = max(1, BATCH // (len(draws.first) * h.seasons))
    then, now = np.empty((2, len(draws.first), len(rows)))
    for i in range(0, len(rows), size):
        some = rows[i : i + size]
        rates = draws.rates(None if x is None else x[some])
        before, after, _ = forward(h.take(some), rates)
        then[:, i : i + size], now[:, i : i + size] = backward(rates, before, after)[season], after[-1]
    return _States(then, now) if back is None else _States(then[:, back.ravel()], now[:, back.ravel()])


def _by_surroundings(
    record: Record, seen: Searches, states: _States, ends: Array, model: Surroundings, values: pd.DataFrame
) -> tuple[_States, Array]:
    """The same for pools whose covariates are known: conditional on their searches and on these."""
    at = values[list(model.names)].to_numpy(dtype=np.float64)
    there = np.flatnonzero(~np.isnan(at).any(axis=1))
    few = model.draws if len(there) <= MANY else model.draws.take(len(states.now))
    own = _states(record.of_pools.take(there), few, record.index(seen), model.held(at[there]))
    ends = ends.copy()
    ends[there] = np.column_stack([own.now.mean(axis=0), *np.quantile(own.now, ENDS, axis=0)])
    if own.now.shape == states.now.shape:  # large where there are many pools
        return own, ends
    then, now, take = states.then.copy(), states.now.copy(), _evenly(len(own.now), len(states.now))
    then[:, there], now[:, there] = own.then[take], own.now[take]
    return _States(then, now), ends


def _each_pool(record: Record, ends: Array, few: bool) -> pd.DataFrame:
    """The frame `PoolOccupancy.pools`, from the mean and the interval of each pool (pools x 3)."""
    h, seen = record.of_pools, record.every[-1]
    frame = pd.DataFrame(ends, columns=["occupancy", "occupancy_low", "occupancy_high"], dtype=np.float64)
    frame.insert(0, "pool", pd.Series(seen.pools, dtype=str))
    frame.insert(1, "visits", seen.all_searches)
    frame.insert(2, "detections", seen.all_detections)
    found = h.detections > 0
    last = np.where(found.any(axis=1), h.seasons - 1 - found[:, ::-1].argmax(axis=1), -1)
    later = np.arange(h.seasons)[None, :] > last[:, None]
    missed = PoolBasis.NOT_DETECTED_EXPERT if few else PoolBasis.NOT_DETECTED
    unsearched = PoolBasis.EXPERT if few else PoolBasis.NOT_SEARCHED
    bases = [
        PoolBasis.DETECTED
        if at == h.seasons - 1
        else PoolBasis.DETECTED_BEFORE
        if at >= 0
        else missed
        if searches
        else unsearched
        for at, searches in zip(last, h.searches.sum(axis=1), strict=True)
    ]
    frame["basis"] = pd.Series(bases, dtype=object)
    first = record.every[0].season
    frame["last_seen"] = np.where(last >= 0, last + (first or 0), np.nan)
    frame["since"] = (h.searches * later).sum(axis=1)
    frame["surroundings"] = ""
    return frame


def _as_stated(each: pd.DataFrame, draws: Array, value: float) -> tuple[pd.DataFrame, Array]:
    """The number of area.toml for every pool, in the draws too."""
    ends = {"occupancy": value, "occupancy_low": value, "occupancy_high": value}
    return each.assign(**ends, basis=PoolBasis.STATED), np.full_like(draws, value)


def _thinned(draws: Array, n: int) -> Array:
    """n of the draws (the first axis)."""
    return draws[_evenly(len(draws), n)]


def _evenly(among: int, n: int) -> NDArray[np.int64]:
    """Which n of so many draws to take."""
    return np.linspace(0, among - 1, n).round().astype(np.int64)
