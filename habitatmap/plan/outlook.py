"""Outlook: would the plan still be the better one if flight and life are not as the planner assumed?

As many pools are placed by other rules as well (none, at random, evenly spread, at the highest scores), and all live
through the same simulated years (plan.simulated_years) with the same luck: what is shown are paired differences. Nobody
knows how such flies live, so each simulation has its own draw from stated ranges, set so that it fits what is known
today (network.turnover). What matters most is told apart: how large a share of the arrivals comes from places nobody
mapped, and whether far flights are rare. All this ranks the ways to choose; it is no forecast.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist
from scipy.special import stdtrit

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.flight import MEDIAN_IN_SCALES, share_beyond
from habitatmap.geo.grid import Tile, cut
from habitatmap.geo.masks import least_apart
from habitatmap.network.turnover import Bools, Draws, Floats, KnownPlaces, Ranges, draw, lost, quality_of
from habitatmap.plan.simulated_years import (
    Laws,
    Luck,
    Tail,
    fit_to_survey,
    flow_by_tail,
    forage_served,
    simulate_occupancy,
)

SHARES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9)  # of the arrivals, from places nobody mapped; simulations are dealt over them
STAGING_SHARES = (0.0, 0.5, 0.9)
PLANNED_YEARS = 10  # a plan is judged by these, the years it is made for
LAST_YEARS = 5  # and, in the tables, by so many years at the end
FIRST_YEARS = 5  # what staging costs shows most in these
POOLS_A_YEAR = 2  # where they are not installed all at once
FEWEST_STAGED = 4  # sites; with fewer there is next to nothing to stage
CLEARLY = 1.05  # the plan's gain over that of another rule, below which the rule may do as well (expert judgement)
SEARCHED = 64  # cells a side of the tiles that are looked through for the best cell
MOST_MISSES = 200  # cells drawn in a row that are too near to others, after which all that are left are looked at
NO_GAIN = 1e-4  # a share of the forage too small to print


Cell = tuple[int, int]


class Strategy(StrEnum):
    """How as many pools are placed."""

    NONE = "no new pools"
    PLAN = "the plan"
    RANDOM = "at random"
    EVEN = "evenly spread"
    HIGHEST = "at the highest scores"


RULES = (Strategy.RANDOM, Strategy.EVEN, Strategy.HIGHEST)  # of thumb, that do without a plan


class Installing(StrEnum):
    """In which order the sites of a plan are installed."""

    AT_ONCE = "all at once"
    STAGED = "two a year"
    CONNECTED = "two a year, best connected first"


class Measure(StrEnum):
    """What strategies are compared by."""

    FORAGE = "forage in reach"
    PLACES = "occupied places"


class Window(StrEnum):
    """Over which years a measure is averaged; which they are says `years_of`."""

    PLANNED = "planned years"
    LAST = "last years"


def years_of(window: Window, years: int) -> tuple[int, int]:
    """The first and the last year of a window of so many simulated years."""
    return (1, min(PLANNED_YEARS, years)) if window is Window.PLANNED else (years - LAST_YEARS + 1, years)


class Standing(StrEnum):
    """How the plan stands against the best rule of thumb."""

    AHEAD = "ahead"
    LEVEL = "level"  # not clearly ahead: the rule may do as well
    BEHIND = "behind"
    NOTHING = "nothing gained"  # by no way to choose


class NothingToCompare(StrEnum):
    """Why no way to choose can be told from another."""

    NO_SUGGESTION = "no suggestion"
    NO_FORAGE = "no forage"


class NothingToCompareError(InputError):
    """No way to choose can be told from another: `why`."""

    def __init__(self, why: NothingToCompare) -> None:
        super().__init__(f"nothing to compare: {why}")
        self.why = why


@dataclass(frozen=True)
class Today:
    """What all simulations begin with."""

    known: KnownPlaces
    probabilities: Floats
    """(samples, places), that each place is occupied now."""
    new: float
    """The probability that a usual new pool is occupied, where too few pools are known."""
    demand: pd.DataFrame
    """x, y, w of the ground."""


@dataclass(frozen=True)
class Conditions:
    """Median flights (metres) for forage and dispersal; how many years, in how many simulations; the seed of them
    all.
    """

    forage_median_m: float
    dispersal_median_m: float
    years: int = 20
    simulations: int = 384
    seed: int = 1


@dataclass(frozen=True)
class Outlook:
    """What the simulations showed. unmapped: the share (0-1) of arrivals from places nobody mapped, NaN for all shares
    together, which weighs them alike; window: a `Window`; forage in reach as a share (0-1), occupied places as a
    number, both means over the window's years.
    """

    ranks: pd.DataFrame
    """tail, unmapped, window, strategy, rank (1 = most forage in reach, by the mean over simulations), forage_in_reach,
    occupied_places, first_share (share of simulations in which it came first)."""
    differences: pd.DataFrame
    """tail, unmapped, window, measure, other, difference (plan minus other, mean over simulations), low, high (95 %,
    paired t), better_share, worse_share (shares of simulations in which the plan did better, worse), simulations.
    """
    by_year: pd.DataFrame
    """tail, unmapped, strategy, year, forage_in_reach, occupied_places: means over simulations."""
    staging: pd.DataFrame
    """tail, unmapped, installing, first_year, last_year, gain (forage in reach over that without new pools, a share),
    low, high (95 %, paired t), simulations. Empty where the plan has fewer than `FEWEST_STAGED` sites."""
    simulations: int
    """For each tail."""
    years: int


def simulate_outlook(today: Today, strategies: Mapping[Strategy, Sequence[pd.DataFrame]], under: Conditions) -> Outlook:
    """Lets every strategy live through the same simulations.

    strategies: name -> one or more sets of new places (x, y, access; access 0-1, NaN = not known), of which the draws
    take one each, in turn; new places start empty. Raises InputError, NothingToCompareError.
    """
    _check(today, strategies, under)
    ranks, differences, courses, staging = [], [], [], []
    for tail in Tail:
        lived = _live(today, strategies, tail, SHARES, under)
        for share, who in _by_share(SHARES, under.simulations):
            seen = {name: Course(*(values[:, who] for values in course)) for name, course in lived.items()}
            for window in Window:
                ranks.append(_ranks(seen, window).assign(tail=tail, unmapped=share, window=window))
                differences.append(_differences(seen, window).assign(tail=tail, unmapped=share, window=window))
            courses.append(_by_year(seen).assign(tail=tail, unmapped=share))
        staging.append(_staged(today, strategies[Strategy.PLAN][0], tail, under))
    return Outlook(
        pd.concat(ranks, ignore_index=True)[RANK_COLUMNS],
        pd.concat(differences, ignore_index=True)[DIFFERENCE_COLUMNS],
        pd.concat(courses, ignore_index=True)[YEAR_COLUMNS],
        pd.concat(staging, ignore_index=True),
        simulations=under.simulations,
        years=under.years,
    )


def standings(seen: Outlook, tail: Tail) -> pd.DataFrame:
    """The plan against the best rule of thumb by forage gained over no new pools in the planned years, a row for each
    share: unmapped, gain, rule, rule_gain, standing (`Standing`)."""
    rows = []
    at = gains(seen, tail, Window.PLANNED)
    d = seen.differences
    against = d[(d["tail"] == tail) & (d["window"] == Window.PLANNED) & (d["measure"] == Measure.FORAGE)]
    for share, gain in at.iterrows():
        rule = max((r for r in RULES if r in gain), key=lambda r: gain[r])
        pair = against[(against["unmapped"] == share) & (against["other"] == rule)].iloc[0]
        rows.append((share, gain[Strategy.PLAN], rule, gain[rule], _standing(gain[Strategy.PLAN], gain[rule], pair)))
    return pd.DataFrame(rows, columns=["unmapped", "gain", "rule", "rule_gain", "standing"])


def gains(seen: Outlook, tail: Tail, window: Window) -> pd.DataFrame:
    """Forage in reach gained over no new pools (a share): a row for each share of unmapped arrivals, a column for each
    other strategy."""
    r = seen.ranks
    mine = r[(r["tail"] == tail) & (r["window"] == window) & r["unmapped"].notna()]
    forage = mine.pivot(index="unmapped", columns="strategy", values="forage_in_reach")
    return forage.sub(forage[Strategy.NONE], axis=0).drop(columns=Strategy.NONE)


def staging_ratios(staging: pd.DataFrame) -> pd.DataFrame:
    """What an order of installing gains in the first `FIRST_YEARS`, over the gain of two a year in the plan's order;
    both tails weigh alike. A row for each share of unmapped arrivals: at_once, connected; NaN where nothing is gained.
    """
    names = {Installing.AT_ONCE: "at_once", Installing.CONNECTED: "connected"}
    if staging.empty:
        return pd.DataFrame(columns=list(names.values()), dtype=float)
    first = staging[staging["last_year"] == FIRST_YEARS]
    gain = first.pivot_table(index="unmapped", columns="installing", values="gain", aggfunc="mean")
    ratio = gain.div(gain[Installing.STAGED].where(gain[Installing.STAGED] >= NO_GAIN), axis=0)
    return ratio[list(names)].rename(columns=names)


# --- through the years ------------------------------------------------------------------------------------------------

RANK_COLUMNS = "tail unmapped window strategy rank forage_in_reach occupied_places first_share".split()
DIFFERENCE_COLUMNS = (
    "tail unmapped window measure other difference low high better_share worse_share simulations".split()
)
YEAR_COLUMNS = "tail unmapped strategy year forage_in_reach occupied_places".split()
Way = TypeVar("Way", bound=StrEnum)


class Course(NamedTuple):
    """What one way to choose came to: (years + 1, simulations) each."""

    forage: Floats
    """Share (0-1) of the forage within flight of occupied places."""
    occupied: Floats
    """Number of occupied places."""


def _check(today: Today, strategies: Mapping[Strategy, Sequence[pd.DataFrame]], under: Conditions) -> None:
    """Raises where nothing can be simulated, or nothing compared."""
    p, places, least = today.probabilities, len(today.known.p), 2 * len(SHARES)
    fits = p.ndim == 2 and p.shape[1] == places and {Strategy.PLAN, Strategy.NONE} <= set(strategies)
    if not fits or under.years < LAST_YEARS or under.simulations < least:
        raise InputError(
            f"outlook: {places} places with probabilities of shape {p.shape}, {under.years} years and "
            f"{under.simulations} simulations do not fit: expected a probability for each place, the strategies "
            f"'{Strategy.PLAN}' and '{Strategy.NONE}', {LAST_YEARS} years and {least} simulations at least."
        )
    if float(today.demand["w"].sum()) <= 0:
        raise NothingToCompareError(NothingToCompare.NO_FORAGE)


def _by_share(shares: Sequence[float], simulations: int) -> Iterator[tuple[float, Bools]]:
    """Each share with the simulations that have it; last NaN, with those that make up whole rounds."""
    number = np.arange(simulations)
    for k, share in enumerate(shares):
        yield share, number % len(shares) == k
    yield np.nan, number < simulations // len(shares) * len(shares)


def _live(
    today: Today,
    ways: Mapping[Way, Sequence[pd.DataFrame]],
    tail: Tail,
    shares: Sequence[float],
    under: Conditions,
) -> dict[Way, Course]:
    """Every way through the same simulations, dealt evenly over the shares with the same other draws at each.

    ways: sets of new places (x, y, access, and the year in which they are installed where it is not the first).
    """
    known, n, years = today.known, under.simulations, under.years
    which = np.arange(n) // len(shares)
    count = int(which[-1]) + 1
    drawn = Draws(*(values[which] for values in draw(Ranges(), count, under.seed)))._replace(
        unmapped=np.asarray(shares)[np.arange(n) % len(shares)]
    )
    p = today.probabilities[np.arange(count) % len(today.probabilities)].T
    start = (np.random.default_rng(under.seed).random(p.shape) < p)[:, which]
    rates = fit_to_survey(known, flow_by_tail(known.xy, tail, under.dispersal_median_m), drawn, today.new)

    lived: dict[Way, Course] = {}
    for name, sets in ways.items():
        lived[name] = Course(np.full((years + 1, n), np.nan), np.full((years + 1, n), np.nan))
        for k, new in enumerate(sets):
            mine = np.flatnonzero(which % len(sets) == k)
            xy = np.vstack([known.xy, new[["x", "y"]].to_numpy(float)])
            quality = np.r_[known.quality, quality_of(new["access"], known.usual)]
            laws = Laws(
                lost(quality, drawn.e[mine], drawn.x[mine]),
                rates.of(np.r_[known.pool, np.ones(len(new), dtype=bool)])[:, mine],
                drawn.z[mine],
                rates.unmapped[mine],
            )
            states = simulate_occupancy(
                flow_by_tail(xy, tail, under.dispersal_median_m),
                quality,
                np.vstack([start[:, mine], np.zeros((len(new), len(mine)), dtype=bool)]),
                laws,
                years,
                Luck(under.seed, which[mine], count),
                np.r_[np.zeros(len(known.p), dtype=int), new["year"].to_numpy(int)] if "year" in new else None,
            )
            lived[name].occupied[:, mine] = states.sum(axis=1)
            lived[name].forage[:, mine] = forage_served(xy, states, today.demand, tail, under.forage_median_m)
    return lived


def _staged(today: Today, sites: pd.DataFrame, tail: Tail, under: Conditions) -> pd.DataFrame:
    """What the plan gains by the order in which it is installed (see `Outlook.staging`); sites: in the plan's order."""
    columns = "tail unmapped installing first_year last_year gain low high simulations".split()
    if len(sites) < FEWEST_STAGED:
        return pd.DataFrame(columns=columns)
    year = np.arange(len(sites)) // POOLS_A_YEAR
    # who installs can only go by the planner's own flight, however flies fly in truth
    known, in_scales = today.known, MEDIAN_IN_SCALES / under.dispersal_median_m
    apart = cdist(sites[["x", "y"]].to_numpy(float), known.xy)
    connected = np.argsort(-(share_beyond(apart * in_scales) @ (known.quality * known.p)), kind="stable")
    ways: dict[StrEnum, Sequence[pd.DataFrame]] = {
        Strategy.NONE: [sites.iloc[:0]],
        Installing.AT_ONCE: [sites],
        Installing.STAGED: [sites.assign(year=year)],
        Installing.CONNECTED: [sites.iloc[connected].assign(year=year)],
    }
    # as many simulations at each share as in the comparison of strategies
    simulations = -(-under.simulations // len(SHARES)) * len(STAGING_SHARES)
    under = replace(under, years=PLANNED_YEARS, simulations=simulations)
    lived = _live(today, ways, tail, STAGING_SHARES, under)
    rows = []
    for share, who in _by_share(STAGING_SHARES, simulations):
        for way in Installing:
            for last in (FIRST_YEARS, PLANNED_YEARS):
                gained = (lived[way].forage - lived[Strategy.NONE].forage)[1 : last + 1, who].mean(axis=0)
                rows.append((tail, share, way, 1, last, *_paired(gained), int(who.sum())))
    return pd.DataFrame(rows, columns=columns).dropna(subset="unmapped")


# --- what is told of them ---------------------------------------------------------------------------------------------


def _mean_over(window: Window, values: Floats) -> Floats:
    """Mean over the window's years, by simulation; values: (years + 1, simulations)."""
    first, last = years_of(window, len(values) - 1)
    return np.asarray(values[first : last + 1].mean(axis=0))


def _paired(differences: Floats) -> tuple[float, float, float]:
    """Mean and its 95 % interval (paired t)."""
    n = len(differences)
    mean, half = float(differences.mean()), float(stdtrit(n - 1, 0.975) * differences.std(ddof=1) / np.sqrt(n))
    return mean, mean - half, mean + half


def _ranks(seen: Mapping[Strategy, Course], window: Window) -> pd.DataFrame:
    by_simulation = pd.DataFrame({name: _mean_over(window, course.forage) for name, course in seen.items()})
    first = by_simulation.eq(by_simulation.max(axis=1), axis=0)
    frame = pd.DataFrame(
        {
            "strategy": list(seen),
            "forage_in_reach": by_simulation.mean().to_numpy(),
            "occupied_places": [float(_mean_over(window, course.occupied).mean()) for course in seen.values()],
            # a tie is shared among those who came first
            "first_share": first.div(first.sum(axis=1), axis=0).mean().to_numpy(),
        }
    )
    frame["rank"] = frame["forage_in_reach"].rank(ascending=False, method="min").astype(int)
    return frame.sort_values(["rank", "strategy"])


def _differences(seen: Mapping[Strategy, Course], window: Window) -> pd.DataFrame:
    rows = []
    for measure, which in ((Measure.FORAGE, 0), (Measure.PLACES, 1)):
        plan = _mean_over(window, seen[Strategy.PLAN][which])
        for other, course in seen.items():
            if other is not Strategy.PLAN:
                pairs = plan - _mean_over(window, course[which])
                better, worse = float((pairs > 0).mean()), float((pairs < 0).mean())
                rows.append((measure, other, *_paired(pairs), better, worse, len(pairs)))
    columns = ["measure", "other", "difference", "low", "high", "better_share", "worse_share", "simulations"]
    return pd.DataFrame(rows, columns=columns)


def _by_year(seen: Mapping[Strategy, Course]) -> pd.DataFrame:
    return pd.concat(
        pd.DataFrame(
            {
                "strategy": name,
                "year": np.arange(len(course.forage)),
                "forage_in_reach": course.forage.mean(axis=1),
                "occupied_places": course.occupied.mean(axis=1),
            }
        )
        for name, course in seen.items()
    )


def _standing(gain: float, rule_gain: float, pair: pd.Series) -> Standing:
    """pair: low and high of the plan's gain minus the rule's."""
    if max(gain, rule_gain) < NO_GAIN:
        return Standing.NOTHING
    if pair["low"] > 0 and gain >= CLEARLY * rule_gain:
        return Standing.AHEAD
    return Standing.BEHIND if pair["high"] < 0 else Standing.LEVEL


# --- other ways to choose ---------------------------------------------------------------------------------------------


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
    random, least = np.random.default_rng(1), max(least_apart(spacing_m), cell_m / 2) / cell_m
    where = np.asarray(score)
    return {
        Strategy.RANDOM: [_as_cells(_at_random(allowed, pools, least, random)) for _ in range(random_plans)],
        Strategy.EVEN: [_as_cells(_evenly(allowed, standing[["row", "col"]].to_numpy(float), pools, least))],
        Strategy.HIGHEST: [_as_cells(_highest(allowed, where, pools, least))],
    }


def _at_random(allowed: Bools, pools: int, least: float, random: np.random.Generator) -> list[Cell]:
    """Cells drawn from all that are allowed and keep the spacing (cells), one after the other."""
    up_to = np.cumsum(np.concatenate([allowed[band].sum(axis=1) for band in scratch.bands(allowed.shape)]))
    chosen: list[Cell] = []
    misses = 0
    while len(chosen) < pools and misses < MOST_MISSES and len(up_to) and up_to[-1] > 0:
        n = int(random.integers(up_to[-1]))
        row = int(np.searchsorted(up_to, n, side="right"))
        col = int(np.flatnonzero(allowed[row])[n - (up_to[row - 1] if row else 0)])
        misses = 0 if _apart((row, col), chosen, least) else misses + 1
        if not misses:
            chosen.append((row, col))
    if misses:  # little is left: of that, all cells are looked at
        cells = np.argwhere(allowed)
        order = cells[random.permutation(len(cells))]
        while len(chosen) < pools:
            order = order[(cdist(order, np.array(chosen)) >= least).all(axis=1)]
            if not len(order):
                break
            chosen.append((int(order[0, 0]), int(order[0, 1])))
    return chosen


def _apart(cell: Cell, chosen: Sequence[Cell], least: float) -> bool:
    return all(math.hypot(cell[0] - row, cell[1] - col) >= least for row, col in chosen)


def _highest(allowed: Bools, score: NDArray[np.floating], pools: int, least: float) -> list[Cell]:
    """The cells of the highest score that keep the spacing (cells); those without a score come last."""

    def best(tile: Tile, chosen: Sequence[Cell]) -> tuple[float, int, int] | None:
        part = np.s_[tile.row0 : tile.row1, tile.col0 : tile.col1]
        row, col = np.nonzero(allowed[part])
        values = np.nan_to_num(score[part][row, col].astype(float), nan=-1.0)
        for i, j in chosen:
            values[np.hypot(row + tile.row0 - i, col + tile.col0 - j) < least] = -np.inf
        return _first_of_most(values, row + tile.row0, col + tile.col0)

    tiles = list(cut((allowed.shape[0], allowed.shape[1]), SEARCHED))
    return _most_of_all(tiles, np.full(len(tiles), np.inf), best, pools)


def _evenly(allowed: Bools, standing: Floats, pools: int, least: float) -> list[Cell]:
    """Cells each as far as possible from what stands and from the cells before it (distances in cells)."""
    tiles = list(cut((allowed.shape[0], allowed.shape[1]), SEARCHED))
    first: list[Cell] = []
    if not len(standing):  # nothing to keep from yet: begin in the middle
        first = _in_the_middle(allowed)[: min(1, pools)]
    tree = cKDTree(standing if len(standing) else np.array(first, dtype=float).reshape(-1, 2))

    def best(tile: Tile, chosen: Sequence[Cell]) -> tuple[float, int, int] | None:
        row, col = np.nonzero(allowed[tile.row0 : tile.row1, tile.col0 : tile.col1])
        cells = np.column_stack([row + tile.row0, col + tile.col0])
        far = tree.query(cells)[0] if len(cells) else np.empty(0)
        for cell in chosen:
            far = np.minimum(far, np.hypot(*(cells - cell).T))
        return _first_of_most(np.where(far < least, -np.inf, far), cells[:, 0], cells[:, 1])

    if not tree.n:
        return first
    middles = np.array([[(t.row0 + t.row1 - 1) / 2, (t.col0 + t.col1 - 1) / 2] for t in tiles])
    # no cell of a tile is farther than its middle by more than half its diagonal
    bounds = tree.query(middles)[0] + np.array([math.hypot(*tile.shape) / 2 for tile in tiles])
    return first + _most_of_all(tiles, bounds, best, pools - len(first))


def _in_the_middle(allowed: Bools) -> list[Cell]:
    """The allowed cell nearest to the middle of all; none where none is allowed."""
    by_row, by_col = allowed.sum(axis=1), allowed.sum(axis=0)
    if not by_row.any():
        return []
    middle = [float(np.average(np.arange(len(count)), weights=count)) for count in (by_row, by_col)]
    tiles = list(cut((allowed.shape[0], allowed.shape[1]), SEARCHED))

    def best(tile: Tile, _chosen: Sequence[Cell]) -> tuple[float, int, int] | None:
        row, col = np.nonzero(allowed[tile.row0 : tile.row1, tile.col0 : tile.col1])
        row, col = row + tile.row0, col + tile.col0
        return _first_of_most(-np.hypot(row - middle[0], col - middle[1]), row, col)

    return _most_of_all(tiles, np.full(len(tiles), np.inf), best, 1)


def _first_of_most(values: Floats, row: NDArray[np.integer], col: NDArray[np.integer]) -> tuple[float, int, int] | None:
    """The largest value and its cell, the first of equals; None where there is none."""
    if not len(values) or (at := int(np.argmax(values))) < 0 or values[at] == -np.inf:
        return None
    return float(values[at]), int(row[at]), int(col[at])


def _most_of_all(
    tiles: Sequence[Tile],
    bounds: Floats,
    best: Callable[[Tile, Sequence[Cell]], tuple[float, int, int] | None],
    pools: int,
) -> list[Cell]:
    """Up to so many cells of the largest value, one after the other; the lowest (row, column) of equals.

    `best` tells a tile's largest value and its cell, with the cells chosen before; no later cell may raise it, so a
    tile is looked at again only where what it had before is the largest of all. `bounds`: what no tile exceeds.
    """
    chosen: list[Cell] = []
    known: dict[int, tuple[float, int, int]] = {}
    while len(chosen) < pools:
        fresh: set[int] = set()
        while (top := float(bounds.max(initial=-np.inf))) > -np.inf:
            stale = [at for at in np.flatnonzero(bounds >= top).tolist() if at not in fresh]
            if not stale:
                break
            for at in stale:
                found = best(tiles[at], chosen)
                bounds[at] = -np.inf if found is None else found[0]
                known.pop(at, None)
                if found is not None:
                    known[at] = found
                fresh.add(at)
        if top == -np.inf:
            break
        chosen.append(min(known[at][1:] for at in np.flatnonzero(bounds >= top).tolist()))
    return chosen


def ground_points(weight: ArrayLike, x: ArrayLike, y: ArrayLike, most: int = 4000) -> pd.DataFrame:
    """Forage by blocks of cells, at its centre of weight: x, y, w (in cells), of at most about `most` blocks.

    weight: (rows, cols), NaN or 0 = none; x: (cols,), y: (rows,) of the cell centres (metres).
    """
    w = np.asarray(weight)
    cells = int(scratch.total(lambda part: np.count_nonzero(np.nan_to_num(part)), w))
    side = max(1, math.ceil(math.sqrt(cells / most)))
    sums = np.zeros((3, -(-w.shape[0] // side), -(-w.shape[1] // side)))
    for band in scratch.bands(w.shape):
        _add_to_blocks(w[band].astype(float), band.start, side, np.asarray(x, float), np.asarray(y, float), sums)
    total, of_x, of_y = (part[sums[0] > 0] for part in sums)
    return pd.DataFrame({"x": of_x / total, "y": of_y / total, "w": total})


@njit(nogil=True)
def _add_to_blocks(w: Floats, row0: int, side: int, x: Floats, y: Floats, sums: Floats) -> None:
    """Adds w, w x and w y of a band of rows from row0 on to the sums (3, blocks down, blocks across)."""
    for i in range(w.shape[0]):
        a = (row0 + i) // side
        for j in range(w.shape[1]):
            if w[i, j] > 0.0:
                b = j // side
                sums[0, a, b] += w[i, j]
                sums[1, a, b] += w[i, j] * x[j]
                sums[2, a, b] += w[i, j] * y[row0 + i]


def _as_cells(chosen: Sequence[Cell]) -> pd.DataFrame:
    return pd.DataFrame(np.array(chosen, dtype=np.int64).reshape(-1, 2), columns=["row", "col"])
