"""Outlook: would the plan still be the better one if flight and life are not as the planner assumed?

Every breeding place is occupied or empty, year after year (stochastic patch occupancy, the incidence function model of
Hanski 1994, J Anim Ecol 63:151; formulas from memory, the paper itself not seen). From one year to the next

    S_i = sum over occupied j != i of A_j L(d_ij)     arrivals at place i, A = forage access over the usual place's
    C_i = S_i^z / (S_i^z + y^z)                       probability that an empty place is found
    E_i = min(1, e / A_i^x) (1 - C_i)                 probability that an occupied one goes empty, with rescue

Nobody knows e, x, y and z for these flies (Hanski's z is 2), so each simulation draws its own e, x and z (expert
judgement, `PARAMETER_RANGES`), and y about the value at which today's places, as occupied as they are thought to be,
neither gain nor lose. The plan was made with an exponential flight; here the flight is another one, with a fat or a
thin tail about the same median, for dispersal and for the forage that is reached alike. As many pools are placed by
other rules as well (none, at random, evenly spread, at the highest scores), and all live through the same simulations
with the same luck: what is shown are paired differences. They rank the ways to choose; they are no forecast.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist
from scipy.stats import t as student

from habitatmap.errors import InputError
from habitatmap.geo.masks import least_apart

Floats = NDArray[np.float64]
Share = Callable[[ArrayLike, float], Floats]


class Strategy(StrEnum):
    """How as many pools are placed."""

    NONE = "no new pools"
    PLAN = "the plan"
    RANDOM = "at random"
    EVEN = "evenly spread"
    HIGHEST = "at the highest scores"


class Tail(StrEnum):
    """How rare far flights are."""

    FAT = "fat tail"
    THIN = "thin tail"


class Measure(StrEnum):
    """What strategies are compared by."""

    FORAGE = "forage in reach"
    PLACES = "occupied places"


# Ranges from which each simulation draws (expert judgement): probability that a usual place goes empty in a year
# without rescue; how much longer a better place lasts; whether a single arrival can be enough (z = 1, as where females
# come mated) or it takes several at a time (z = 2, Hanski's own); arrivals at which an empty place is found in every
# second year, over those that would keep today's balance.
PARAMETER_RANGES = {"e": (0.1, 0.4), "x": (0.5, 1.5), "z": (1.0, 2.0), "y": (0.5, 2.0)}
LAST_YEARS = 5  # a strategy is judged by the mean of so many years at the end
LEAST_QUALITY = 0.05  # a place with next to no forage about it still holds larvae for a while
DENSE_PLACES = 4000  # above so many places, flights too rare to matter are left out
RARE_FLIGHT = 1e-3


def fat_tail(d_m: ArrayLike, median_m: float) -> Floats:
    """Share of flights that get at least d metres far: 1 / (1 + (d/m)^2); 1 at 0, half at the median.

    Landing places are 2Dt of shape p = 1, whose scale is the median (Clark et al. 1999, Ecology 80:1475; from memory).
    """
    return 1.0 / (1.0 + (np.asarray(d_m, dtype=float) / median_m) ** 2)


def thin_tail(d_m: ArrayLike, median_m: float) -> Floats:
    """Share of flights that get at least d metres far, landing places being Gaussian: 2^-(d/m)^2."""
    return np.exp2(-((np.asarray(d_m, dtype=float) / median_m) ** 2))


TAILS: dict[Tail, Share] = {Tail.FAT: fat_tail, Tail.THIN: thin_tail}


class NothingToCompare(StrEnum):
    """Why no way to choose can be told from another."""

    NO_SUGGESTION = "no suggestion"
    NO_FORAGE = "no forage"
    NOBODY = "nobody to find a pool"


class NothingToCompareError(InputError):
    """No way to choose can be told from another: `why`."""

    def __init__(self, why: NothingToCompare) -> None:
        super().__init__(f"nothing to compare: {why}")
        self.why = why


@dataclass(frozen=True)
class Outlook:
    """What the simulations showed, as means of the last five years: forage in reach (share, 0-1) and occupied
    places.
    """

    ranks: pd.DataFrame
    """tail, strategy, rank (1 = most forage in reach, by the mean over simulations), forage_in_reach, occupied_places,
    first_share (share of simulations in which it came first)."""
    differences: pd.DataFrame
    """tail, measure, other, difference (plan minus other, mean over simulations), low, high (95 %, paired t),
    better_share, worse_share (shares of simulations in which the plan did better, worse), simulations.
    """
    by_year: pd.DataFrame
    """tail, strategy, year, forage_in_reach, occupied_places: means over simulations."""
    simulations: int
    years: int


def simulate_occupancy(
    flow: Floats | csr_array,
    quality: Floats,
    start: NDArray[np.bool_],
    parameters: pd.DataFrame,
    years: int,
    seed: int = 1,
    all_simulations: int | None = None,
) -> NDArray[np.bool_]:
    """Occupied or not: (years + 1, places, simulations), the first being `start` (places, simulations).

    flow: (places, places) of L(d), symmetric, 0 on the diagonal; quality A: (places,) > 0; parameters: e, x, y, z
    of each simulation, its index being the simulation's number, below all_simulations. The i-th place has the same luck
    in a simulation and year whatever the other places and simulations are, so that one more place never empties
    another.
    """
    e, x, y, z = (parameters[name].to_numpy(float)[None, :] for name in ("e", "x", "y", "z"))
    width = all_simulations or len(parameters)
    lost = np.minimum(1.0, e / quality[:, None] ** x)
    states = np.empty((years + 1, *start.shape), dtype=bool)
    states[0] = start
    for year in range(1, years + 1):
        now = states[year - 1]
        found = (flow @ (quality[:, None] * now)) ** z
        found = found / (found + y**z)
        # filled row by row: the first places of a longer list have the numbers of the shorter one
        luck = np.random.default_rng([seed, year]).random((len(start), width))[:, parameters.index]
        states[year] = luck < np.where(now, 1.0 - lost * (1.0 - found), found)
    return states


def balance(flow: Floats | csr_array, quality: Floats, p: ArrayLike, parameters: pd.DataFrame) -> Floats:
    """The y (simulations,) at which places occupied with the probabilities p (places,) expect as many gains as losses
    next year.

    parameters: e, x, z of each simulation. Arrivals are those of the expected state. Where gains can't make up for
    losses (or losses for gains) at any y, the end of the range: a millionth, or a million, of the mean arrivals.
    """
    e, x, z = (parameters[name].to_numpy(float)[None, :] for name in ("e", "x", "z"))
    probability = np.asarray(p, dtype=float)[:, None]
    lost = np.minimum(1.0, e / quality[:, None] ** x)
    arrivals = np.asarray(flow @ (quality * probability[:, 0]))[:, None]
    middle = arrivals.mean() or 1.0
    low, high = np.full(lost.shape[1], middle * 1e-6), np.full(lost.shape[1], middle * 1e6)
    for _ in range(60):
        y = np.sqrt(low * high)
        found = arrivals**z / (arrivals**z + y**z)
        gains = ((1.0 - probability) * found - probability * lost * (1.0 - found)).sum(axis=0) > 0
        low, high = np.where(gains, y, low), np.where(gains, high, y)
    return np.asarray(np.sqrt(low * high))


@dataclass(frozen=True)
class Conditions:
    """Median flights (metres) for forage and dispersal; how many years, in how many simulations; the seed of them
    all.
    """

    forage_median_m: float
    dispersal_median_m: float
    years: int = 20
    simulations: int = 200
    seed: int = 1


def simulate_outlook(
    places: pd.DataFrame,
    probabilities: ArrayLike,
    strategies: Mapping[Strategy, Sequence[pd.DataFrame]],
    demand: pd.DataFrame,
    under: Conditions,
) -> Outlook:
    """Lets every strategy live through the same simulations.

    places: x, y, access (0-1, NaN = not known) of the breeding places, merged where they are too near to be two.
    probabilities: (samples, places), that each is occupied now. strategies: name -> one or more sets of new places
    (x, y, access), of which the simulations take one each, in turn; new places start empty. demand: x, y, w of the
    ground. Raises InputError, NothingToCompareError.
    """
    p, years, simulations = np.atleast_2d(np.asarray(probabilities, dtype=float)), under.years, under.simulations
    if p.shape[1] != len(places) or Strategy.PLAN not in strategies or years < LAST_YEARS or simulations < 2:
        raise InputError(
            f"outlook: {len(places)} places with probabilities of shape {p.shape}, {years} years and {simulations} "
            f"simulations do not fit: expected a probability for each place, a strategy "
            f"'{Strategy.PLAN}', {LAST_YEARS} years and 2 simulations at least."
        )
    total = float(demand["w"].sum())
    if total <= 0:
        raise NothingToCompareError(NothingToCompare.NO_FORAGE)
    if not (p > 0).any():
        raise NothingToCompareError(NothingToCompare.NOBODY)
    random = np.random.default_rng(under.seed)
    sampled = pd.DataFrame(
        {
            name: np.exp(random.uniform(np.log(low), np.log(high), simulations))
            for name, (low, high) in PARAMETER_RANGES.items()
        }
    )
    start = random.random((len(places), simulations)) < p[np.arange(simulations) % len(p)].T
    usual = float(np.nanmedian(places["access"])) if places["access"].notna().any() else np.nan

    ranks, differences, courses = [], [], []
    for tail, weight in TAILS.items():
        forage, occupied = {}, {}
        today = _flow(places[["x", "y"]].to_numpy(float), weight, under.dispersal_median_m)
        balanced = sampled["y"] * balance(today, _quality(places["access"], usual), p.mean(axis=0), sampled)
        parameters = sampled.assign(y=balanced)
        for name, sets in strategies.items():
            forage[name], occupied[name] = (np.full((years + 1, simulations), np.nan) for _ in range(2))
            for k, new in enumerate(sets):
                mine = np.arange(k, simulations, len(sets))
                every = pd.concat([places, new], ignore_index=True)[["x", "y", "access"]]
                begin = np.vstack([start[:, mine], np.zeros((len(new), len(mine)), dtype=bool)])
                flow = _flow(every[["x", "y"]].to_numpy(float), weight, under.dispersal_median_m)
                states = simulate_occupancy(
                    flow, _quality(every["access"], usual), begin, parameters.iloc[mine], years, under.seed, simulations
                )
                occupied[name][:, mine] = states.sum(axis=1)
                forage[name][:, mine] = _reached(every, states, demand, weight, under.forage_median_m) / total
        ranks.append(_ranks(tail, forage, occupied))
        for measure, values in ((Measure.FORAGE, forage), (Measure.PLACES, occupied)):
            differences.append(_differences(tail, measure, values))
        courses += [
            pd.DataFrame(
                {
                    "tail": tail,
                    "strategy": name,
                    "year": np.arange(years + 1),
                    "forage_in_reach": forage[name].mean(axis=1),
                    "occupied_places": occupied[name].mean(axis=1),
                }
            )
            for name in strategies
        ]
    ranked, compared, course = (pd.concat(parts, ignore_index=True) for parts in (ranks, differences, courses))
    return Outlook(ranked, compared, course, simulations=simulations, years=years)


def other_plans(
    allowed: NDArray[np.bool_],
    score: ArrayLike,
    standing: pd.DataFrame,
    pools: int,
    *,
    cell_m: float,
    spacing_m: float,
    random_plans: int = 20,
) -> dict[Strategy, list[pd.DataFrame]]:
    """The same number of pools by other rules: strategy -> sets of cells (row, col), all on allowed ground and spaced.

    allowed: (rows, cols); score: (rows, cols), NaN = none. standing: row, col of what is there; "evenly spread" puts
    each pool as far as possible from it and from the pools before it. Ties go to the lowest (row, column). Fewer pools
    where no more fit.
    """
    cells = np.argwhere(allowed)
    random = np.random.default_rng(1)
    values = np.nan_to_num(np.asarray(score, dtype=float)[allowed], nan=-np.inf)

    def spaced(order: NDArray[np.integer]) -> pd.DataFrame:
        """The first cells of the order that keep their spacing."""
        free = np.ones(len(cells), dtype=bool)
        chosen: list[NDArray[np.integer]] = []
        while len(chosen) < pools and free.any():
            best = order[np.argmax(free[order])]
            chosen.append(cells[best])
            apart = np.hypot(*(cells - cells[best]).T) * cell_m
            free &= apart >= max(least_apart(spacing_m), cell_m / 2)
        return _as_cells(chosen)

    return {
        Strategy.RANDOM: [spaced(random.permutation(len(cells))) for _ in range(random_plans)],
        Strategy.EVEN: [_evenly(cells, standing[["row", "col"]].to_numpy(float), pools, spacing_m / cell_m)],
        Strategy.HIGHEST: [spaced(np.argsort(-values, kind="stable"))],
    }


def ground_points(weight: ArrayLike, x: ArrayLike, y: ArrayLike, most: int = 4000) -> pd.DataFrame:
    """Forage by blocks of cells, at its centre of weight: x, y, w (in cells), of at most about `most` blocks.

    weight: (rows, cols), NaN or 0 = none; x: (cols,), y: (rows,) of the cell centres (metres).
    """
    w = np.nan_to_num(np.asarray(weight, dtype=float))
    row, col = np.nonzero(w)
    side = max(1, int(np.ceil(np.sqrt(len(row) / most))))
    frame = pd.DataFrame({"block_row": row // side, "block_col": col // side, "w": w[row, col]})
    frame["x"], frame["y"] = np.asarray(x, dtype=float)[col] * frame["w"], np.asarray(y, dtype=float)[row] * frame["w"]
    sums = frame.groupby(["block_row", "block_col"])[["w", "x", "y"]].sum().reset_index(drop=True)
    return pd.DataFrame({"x": sums["x"] / sums["w"], "y": sums["y"] / sums["w"], "w": sums["w"]})


def _flow(xy: Floats, weight: Share, median_m: float) -> Floats | csr_array:
    """L(d) between places (n, n), 0 on the diagonal; sparse above DENSE_PLACES, where rarer flights are left out."""
    if len(xy) <= DENSE_PLACES:
        flow = weight(cdist(xy, xy), median_m)
        np.fill_diagonal(flow, 0.0)
        return flow
    farthest = median_m * (np.sqrt(1 / RARE_FLIGHT - 1) if weight is fat_tail else np.sqrt(np.log2(1 / RARE_FLIGHT)))
    pairs = cKDTree(xy).query_pairs(farthest, output_type="ndarray")
    i, j = pairs.T
    near = weight(np.hypot(*(xy[i] - xy[j]).T), median_m)
    return csr_array((np.r_[near, near], (np.r_[i, j], np.r_[j, i])), shape=(len(xy), len(xy)))


def _quality(access: pd.Series, usual: float) -> Floats:
    """A of each place: its forage access over the usual place's; 1 where either is not known."""
    ratio = access.to_numpy(float) / usual if usual > 0 else np.ones(len(access))
    return np.clip(np.where(np.isnan(ratio), 1.0, ratio), LEAST_QUALITY, 1 / LEAST_QUALITY)


def _reached(
    places: pd.DataFrame, states: NDArray[np.bool_], demand: pd.DataFrame, weight: Share, median_m: float
) -> Floats:
    """Forage within flight of the occupied places, by year and simulation: (years + 1, simulations), in the unit of
    w.
    """
    d = cdist(demand[["x", "y"]].to_numpy(float), places[["x", "y"]].to_numpy(float))
    missed = np.log1p(-np.minimum(weight(d, median_m), 1 - 1e-9)).astype(np.float32)
    w = demand["w"].to_numpy(float)
    return np.array([w @ -np.expm1(missed @ occupied.astype(np.float32)) for occupied in states])


def _last(values: Floats) -> Floats:
    return np.asarray(values[-LAST_YEARS:].mean(axis=0))


def _ranks(tail: Tail, forage: Mapping[Strategy, Floats], occupied: Mapping[Strategy, Floats]) -> pd.DataFrame:
    by_simulation = pd.DataFrame({name: _last(values) for name, values in forage.items()})
    frame = pd.DataFrame(
        {
            "tail": tail,
            "strategy": list(forage),
            "forage_in_reach": by_simulation.mean().to_numpy(),
            "occupied_places": [float(_last(values).mean()) for values in occupied.values()],
            # a tie is shared among those who came first
            "first_share": by_simulation.eq(by_simulation.max(axis=1), axis=0)
            .pipe(lambda b: b.div(b.sum(axis=1), axis=0))
            .mean(),
        }
    )
    frame.insert(2, "rank", frame["forage_in_reach"].rank(ascending=False, method="min").astype(int))
    return frame.sort_values(["rank", "strategy"]).reset_index(drop=True)


def _differences(tail: Tail, measure: Measure, values: Mapping[Strategy, Floats]) -> pd.DataFrame:
    rows = []
    for other in values:
        if other is Strategy.PLAN:
            continue
        pairs = _last(values[Strategy.PLAN]) - _last(values[other])
        n = len(pairs)
        mean, half = float(pairs.mean()), float(student.ppf(0.975, n - 1) * pairs.std(ddof=1) / np.sqrt(n))
        better, worse = float((pairs > 0).mean()), float((pairs < 0).mean())
        rows.append((tail, measure, other, mean, mean - half, mean + half, better, worse, n))
    columns = ["tail", "measure", "other", "difference", "low", "high", "better_share", "worse_share", "simulations"]
    return pd.DataFrame(rows, columns=columns)


def _evenly(cells: NDArray[np.integer], standing: Floats, pools: int, spacing: float) -> pd.DataFrame:
    """Cells each as far as possible from what stands and from the cells before it (distances in cells)."""
    chosen: list[NDArray[np.integer]] = []
    far = cKDTree(standing).query(cells)[0] if len(standing) and len(cells) else np.full(len(cells), np.inf)
    while len(chosen) < pools and len(cells):
        # where nothing stands yet there is nothing to keep from: begin in the middle
        best = int(np.argmax(far) if np.isfinite(far).any() else np.argmin(np.hypot(*(cells - cells.mean(axis=0)).T)))
        if far[best] < max(least_apart(spacing), 0.5):
            break
        chosen.append(cells[best])
        far = np.minimum(far, np.hypot(*(cells - cells[best]).T))
    return _as_cells(chosen)


def _as_cells(chosen: list[NDArray[np.integer]]) -> pd.DataFrame:
    return pd.DataFrame(np.array(chosen, dtype=np.int64).reshape(-1, 2), columns=["row", "col"])
