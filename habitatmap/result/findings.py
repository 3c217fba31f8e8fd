"""What each stage of a run found out, as typed values; a later stage takes them by name.

Rasters are rows x cols on the area's grid; shares, probabilities and forage are 0-1; NaN = not known.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.area import Area
from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.habitat.score import Habitat
from habitatmap.network.web import Web
from habitatmap.plan.bound import Bound
from habitatmap.plan.candidates import Candidates
from habitatmap.plan.how_many import ForSoMany
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import forage_of
from habitatmap.plan.robustness import Robustness
from habitatmap.plan.search import Selection
from habitatmap.plan.served import Preference, Served, Sites
from habitatmap.plan.served_bound import ServedLimits
from habitatmap.plan.zones import Zone
from habitatmap.survey.probabilities import PoolOccupancy, worth_a_search
from habitatmap.vocabulary.terms import Objective

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Survey:
    """What the searches say. Arrays by row of the area's pools."""

    standing: Bools
    group: Ints
    """The place of each pool: pools within merge_m are one site of the survey."""
    known: PoolOccupancy
    surroundings: dict[str, Floats]
    """Covariates of occupancy as rasters, by name."""
    at_pools: pd.DataFrame
    """The same at each pool, a column each."""
    flags: NDArray[np.object_]
    """What a reader must know about a pool's position; "" where nothing."""

    @cached_property
    def p_anywhere(self) -> NDArray[np.floating]:
        """The probability (rows x cols) that a pool on the cell is occupied, wherever it may stand or not."""
        return self.known.new_on(self.surroundings, next(iter(self.surroundings.values())).shape)


@dataclass(frozen=True)
class Places:
    """The breeding places: `frame` (network.places), the simulated probabilities (simulations x pools) of the standing
    pools, which come first, and the probability of a wet rot-hole for each tree of the area."""

    frame: pd.DataFrame
    pool_draws: Floats
    rot_hole_probability: Floats

    @property
    def draws(self) -> Floats:
        """The probabilities by simulation (simulations x places): a tree's is the same in every one."""
        of_trees = self.frame["p"].to_numpy(np.float64)[self.pool_draws.shape[1] :]
        return np.hstack([self.pool_draws, np.tile(of_trees, (len(self.pool_draws), 1))])


@dataclass(frozen=True)
class Reach:
    """Forage in reach now; shares of the area's forage."""

    not_reached: NDArray[np.float64]
    """The probability (rows x cols) that no breeding place reaches the cell: product of 1 - p k."""
    now: float
    lost_without: Floats
    """By pool: what would no longer be in reach without it; NaN where it does not stand, and for the public."""

    def surface(self, season: Floats) -> Floats:
        """The probability (rows x cols) that a breeding place reaches the cell; NaN where `season` has no data."""
        return scratch.cellwise(_reached, season, self.not_reached, dtype=np.float64)


def _reached(season: Floats, missed: Floats) -> Floats:
    return np.where(np.isnan(season), np.nan, 1.0 - missed)


@dataclass(frozen=True)
class Proposal:
    """The plan and what it was made for."""

    problem: Problem
    requested: int
    selection: Selection
    p_anywhere: NDArray[np.floating]
    """The probability that a pool on the cell is occupied, wherever it may stand or not."""
    kept: pd.DataFrame
    """The committed sites the plan keeps: row, col, p, private."""
    ec_gain: Floats | None
    """What each site adds to equivalent connectivity; None where the plan is not made for the network."""
    objective: Objective
    preference: Preference | None = None
    """What a gain counts in each reading; None where the plan is not made for forage likely served."""

    @property
    def by_reach(self) -> bool:
        """Whether the plan is made for forage, in reach or likely served, and not for the network."""
        return self.ec_gain is None

    @property
    def sites(self) -> pd.DataFrame:
        """The suggestions: rank, row, col, p, gain, cumulative, kept."""
        return self.selection.frame

    @property
    def gains(self) -> list[float]:
        """What each site adds (cells), besides the kept ones."""
        return self.sites.loc[~self.sites["kept"].astype(bool), "gain_cells"].to_list()

    def as_places(self, grid: Grid) -> pd.DataFrame:
        """The suggestions as breeding places: kind, id, x, y, row, col, p."""
        x, y = grid.centre(self.sites["row"], self.sites["col"])
        named = self.sites[["row", "col", "p"]].assign(kind="suggestion", id=self.sites["rank"].astype(str), x=x, y=y)
        return named[["kind", "id", "x", "y", "row", "col", "p"]]


@dataclass(frozen=True)
class Promise:
    """What the plan is likely to add: simulations x sites of the new pools' probabilities, and of each site's gain;
    low and high of forage in reach, now and with the plan."""

    site_draws: Floats
    gains: Floats
    now: tuple[float, float]
    with_plan: tuple[float, float]


@dataclass(frozen=True)
class Assessed:
    """What was worked out about a plan: how good, how far from the best, how sure, and what it asks of owners."""

    served: Served
    served_limits: ServedLimits
    bound: Bound
    how_many: tuple[ForSoMany, ...]
    """Forage in reach by the number of pools, from none to beyond the plan; empty for the public."""
    zones: list[Zone]
    robustness: Robustness
    consents: pd.DataFrame
    consents_left: int
    refusals: pd.DataFrame
    """What refused ground costs (job.cost_of_refusals): ids, place, private, cost and in_reach (shares of the area's
    forage, by the plan's objective and in reach), instead (the rank of the site in its place, 0 for none)."""


@dataclass(frozen=True)
class Worked(Assessed):
    """What costs a run most of its time and takes little room: it is kept with the results, for other commands.

    at_pools: what lies around each pool (`Survey.at_pools`); teach: the pools where one more search teaches anything,
    most first.
    """

    selection: Selection
    preference: Preference | None
    ec_gain: Floats | None
    at_pools: pd.DataFrame
    teach: list[str]


@dataclass(frozen=True)
class Findings(Assessed):
    """Everything that the stages found out: what tables, figures and further calculations are made from."""

    area: Area
    habitat: Habitat
    survey: Survey
    places: Places
    reach: Reach
    candidates: Candidates
    proposal: Proposal
    promise: Promise
    ahead: Sites
    """The model of the coming years: what pools on any cells are likely to serve."""
    gaps: gpd.GeoDataFrame
    network: Web

    @property
    def worked(self) -> Worked:
        """The part of it that is kept with the results."""
        plan, assessed = self.proposal, {one.name: getattr(self, one.name) for one in fields(Assessed)}
        return Worked(
            **assessed,
            selection=plan.selection,
            preference=plan.preference,
            ec_gain=plan.ec_gain,
            at_pools=self.survey.at_pools,
            teach=worth_a_search(self.survey.known),
        )

    @property
    def forage_cells(self) -> float:
        """The area's forage, in cells of full forage."""
        return forage_of(self.habitat.weight)

    @property
    def forage_ha(self) -> float:
        """The area's forage in index-hectares: forage times hectares."""
        return self.forage_cells * self.area.grid.cell_ha

    @property
    def p_new(self) -> Floats:
        """The probability that a pool on the cell is occupied; NaN where none may stand."""
        return self.proposal.problem.candidates
