"""The figures of a run, typed: what summary.json is written from, and what pages and reports read.

Shares, probabilities and forage are 0-1; a figure that is not known is NaN (null in summary.json), never 0.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from habitatmap.network.web import NetworkFigures
from habitatmap.plan.how_many import ForSoMany
from habitatmap.plan.outlook import Strategy
from habitatmap.plan.search import Shortfall
from habitatmap.plan.served import Share
from habitatmap.plan.terms import UnknownName
from habitatmap.read.inputs import Input
from habitatmap.read.ledger import Unused
from habitatmap.survey.figures import OccupancyFigures
from habitatmap.survey.seasons import Seasons
from habitatmap.vocabulary.note import Note


class Stage(StrEnum):
    """The stages of a run, in their order; `seconds` tells how long each took."""

    HABITAT = "habitat"
    OCCUPANCY = "occupancy"
    REACH = "reach"
    CANDIDATES = "candidates"
    PLAN = "plan"
    SERVED = "served"
    BOUND = "bound"
    ROBUSTNESS = "robustness"
    CONSENT = "consent"
    GAPS = "gaps"
    NETWORK = "network"
    PUBLIC = "public"


class Missing(StrEnum):
    """What is not there, and what a reader must know of it: kinds of input, then what the inputs lack."""

    POOLS = "pools"
    LAND_COVER = "land_cover"
    VISITS = "visits"
    TREES = "trees"
    LAND = "land"
    KEEP_AWAY = "keep_away"
    BOUNDARY = "boundary"
    PATHS = "paths"
    INVENTORIED = "inventoried"
    NO_POOL_STANDS = "no pool stands"
    NO_SEARCH_COUNTS = "no search counts"


@dataclass(frozen=True)
class Counts:
    """Rows of one kind of input: read = accepted + set aside."""

    read: int
    accepted: int
    set_aside: int


@dataclass(frozen=True)
class ReachFigures:
    """Forage in reach: shares of the area's forage; low and high are the middle 95 % of the simulations."""

    now: float
    low: float
    high: float
    with_plan: float
    with_plan_low: float
    with_plan_high: float
    upper_bound: float
    """No choice of as many pools could reach more (certified)."""
    index_ha: float
    """Index-hectares in reach now: forage times hectares."""
    index_ha_with_plan: float
    measured_share: float
    """Share of the forage on classes whose value is not assumed."""
    by_forage_median_m: Mapping[str, float]
    """Forage in reach now by other flight medians (metres)."""
    with_plan_by_forage_median_m: Mapping[str, float]
    """The same with the plan."""


@dataclass(frozen=True)
class CandidateFigures:
    """Cells of the frame: all = sum of lost + left."""

    all: int
    lost: Mapping[str, int]
    left: int


@dataclass(frozen=True)
class Spending:
    """What the plan costs, of what budget, in what unit."""

    budget: float
    spent: float
    cost_unit: str


@dataclass(frozen=True)
class Refusal:
    """Ground of suggested sites that was refused, and what that costs: the plan made again with that ground, against
    the plan without it. Shares of the area's forage; 0 where the plan does as well elsewhere, NaN where not known."""

    sites: tuple[str, ...]
    """Their ids."""
    place: str
    private: bool
    cost: float
    """By what the plan is made for: forage in reach, or likely served."""
    in_reach: float
    """In forage in reach."""
    instead: str
    """The id of the site that the plan has in its place; "" for none."""


@dataclass(frozen=True)
class PlanFigures:
    """The plan as a whole. `share_of_bound` = (with_plan - now) / (upper_bound - now)."""

    pools: int
    requested: int
    committed: int
    objective: str
    spending: Spending | None
    share_of_bound: float
    exchange_gain: float
    provisional: bool
    shortfall: Shortfall
    """Why there are fewer suggestions than asked for."""
    lost_most: str
    """The reason most cells were lost for, where none is left; "" otherwise."""
    states: Mapping[str, int] = field(default_factory=dict)
    """How many suggested sites are in each state (`SiteState`; to ask: of the plan); empty for the public."""
    refusals: tuple[Refusal, ...] = ()
    bound_ended: str = ""
    """Why no lower bound was looked for (`plan.bound.Ended`); "" where there is none."""


@dataclass(frozen=True)
class ServedFigures:
    """Forage likely served, mean over the coming years: shares of the area's forage, by where flies come from (from
    mapped places only: closed; many from places nobody mapped: open)."""

    years: int
    now: Share
    with_plan: Share
    rules: Mapping[Strategy, Share]
    """With as many pools placed by rules of thumb."""
    share_of_limit: float
    """What the plan adds, of the most that any as many pools could add (certified); NaN where that is not known."""
    share_of_limit_if_found: float
    """The same, given that flies find pools as they would with this plan."""


@dataclass(frozen=True)
class GapFigures:
    """The gaps together; share of the area's forage in them."""

    count: int
    share: float


@dataclass(frozen=True)
class ForageFigures:
    """Months of the season; the one with least forage, None where no month is known."""

    lean_month: int | None
    months: tuple[int, ...]


@dataclass(frozen=True)
class CoverFigures:
    """The class table that was used, the values that it lacks, and what about its reading is doubtful."""

    name: str
    unmatched: tuple[tuple[str, float], ...]
    doubts: tuple[Note, ...]


@dataclass(frozen=True)
class Dominant:
    """A class that holds much of the area's forage: its label, that share, and what its values rest on."""

    label: str
    share: float
    basis: str


@dataclass(frozen=True)
class Figures:
    """Everything that summary.json says in figures and codes; its sentences are made in `words`."""

    title: str
    crs: str
    crs_name: str
    cell_m: float
    cells: int
    as_of: datetime.date
    intake: Mapping[str, Counts]
    pools_standing: int
    pools_on_record: int
    occupancy: OccupancyFigures
    seasons: Seasons
    forage_in_reach: ReachFigures
    candidates: CandidateFigures
    plan: PlanFigures
    served: ServedFigures
    how_many: tuple[ForSoMany, ...]
    """Forage in reach by the number of pools; empty where there is no plan, and for the public."""
    network: NetworkFigures
    gaps: GapFigures
    consents_left: int
    """Owners whose consent was not calculated one by one."""
    forage: ForageFigures
    missing: tuple[Missing, ...]
    land_cover: CoverFigures | None
    dominant: tuple[Dominant, ...]
    """Classes above MUCH of the forage, the greatest first."""
    notes: tuple[str, ...]
    survey_warnings: tuple[Note, ...]
    unknown_names: tuple[UnknownName, ...]
    """Lines of area.toml about land that there is not."""
    committed_left_out: tuple[int, int]
    """How many committed sites are not in the plan, of how many."""
    seconds: Mapping[str, float]
    versions: Mapping[str, str]
    credits: tuple[str, ...]
    inputs: tuple[Input, ...] = ()
    not_used: tuple[Unused, ...] = ()
    """What each file is worth; none in what is public."""
