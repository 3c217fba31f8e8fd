"""The job from top to bottom: an area in, a result out.

What each cell offers; which pools are likely occupied; what is in reach of them; where a pool may stand; which sites
help most and how far the plan can be from the best; what stays out of reach; how the breeding places hang together.
"""

from __future__ import annotations

import datetime
import math
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import logit

from habitatmap.area import Area, blurred, with_settings
from habitatmap.fieldwork.rounds import Rounds, Week, known_on, of_group, plan_rounds, team_of
from habitatmap.geo import scratch
from habitatmap.geo.engine import THREADS, Engine, chosen, one_blas_thread, running_on
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.habitat.forage import forage_bounds
from habitatmap.habitat.score import Habitat, score_habitat
from habitatmap.network.places import breeding_places, merged, network_places
from habitatmap.network.turnover import KnownPlaces
from habitatmap.network.web import Web, describe_network
from habitatmap.plan.bound import Bound, certify
from habitatmap.plan.by_connectivity import build_network, plan_by_connectivity
from habitatmap.plan.candidates import CONSENT_LOST, Candidates, Ground, find_candidates
from habitatmap.plan.consent_priorities import COLUMNS as CONSENT_COLUMNS
from habitatmap.plan.consent_priorities import REFUSED
from habitatmap.plan.consent_priorities import rank_consents as rank
from habitatmap.plan.gaps import find_gaps
from habitatmap.plan.how_many import ForSoMany, Further, curve, go_on, limit_of_many, numbers_shown
from habitatmap.plan.mean_field import Demand, MeanField
from habitatmap.plan.outlook import (
    Conditions,
    NothingToCompare,
    NothingToCompareError,
    Outlook,
    Strategy,
    Today,
    ground_points,
    other_plans,
    simulate_outlook,
)
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import (
    Rough,
    Simulated,
    forage_in_reach,
    forage_of,
    loss_of_each,
    not_reached,
    simulate_reach,
)
from habitatmap.plan.robustness import Level, Robustness, Uncertainty, assess_robustness
from habitatmap.plan.search import make_plan
from habitatmap.plan.served import (
    REFERENCE_POOLS,
    Preference,
    Served,
    Sites,
    assess_served,
    plan_served,
    simulate,
)
from habitatmap.plan.served_bound import NO_LIMITS, ServedLimits, limit_served
from habitatmap.plan.served_consents import Ahead, rank_served_consents
from habitatmap.plan.served_robustness import ServedUncertainty, assess_served_robustness
from habitatmap.plan.terms import kept_sites, make_quotas, number_of_pools, site_costs
from habitatmap.plan.withdrawn import refused_land, withdrawn_ground
from habitatmap.plan.zones import Zone, find_served_zones, find_zones, single_cell_zones
from habitatmap.privacy import is_private
from habitatmap.read.days_out import out_by
from habitatmap.read.layers import layers_of
from habitatmap.read.people import Person
from habitatmap.read.plan_status import sites_in
from habitatmap.read.pools import no_visits, standing
from habitatmap.result import Result
from habitatmap.result.assembly import FORAGE_MEDIANS_M, assemble
from habitatmap.result.figures import Stage
from habitatmap.result.findings import Findings, Places, Promise, Proposal, Reach, Survey, Worked
from habitatmap.result.tables import NOT_SCORED, at_cells, interval, intervals, sampled
from habitatmap.stages import Stages
from habitatmap.survey.account import Account, Budget, Records, Resampling, take_account
from habitatmap.survey.probabilities import Inference, PoolOccupancy, estimate_pools, worth_a_search
from habitatmap.survey.surroundings import places_near
from habitatmap.vocabulary.terms import Objective, SiteState

POINTS_M, FEWEST_POINTS = 100.0, 1600  # forage is taken on blocks of so many metres; finer where there are few of them
COARSE_POINTS_M, FEWEST_COARSE = 300.0, 160  # the same where the plan is made many times
OUTLOOK_POINTS = 4000  # at most so many in the outlook
PLANNERS_RANDOM = 6  # random plans that the planner's own is measured against

# the tables of area.toml that the stages before the plan read; these are done again only where one has changed
OF_HABITAT = ("season", "flight", "near")
OF_SURVEY = (*OF_HABITAT, "occupancy")

Say = Callable[[Stage], None]
Array = NDArray[np.floating]
Bools = NDArray[np.bool_]

DAYS_A_YEAR = 365.25


def run(
    area: Area, say: Say | None = None, public: bool = True, known: Worked | None = None, engine: Engine = THREADS
) -> Result:
    """Does the whole job for an area; `say` gets each stage as it begins. Writes nothing.

    `known`: what an earlier run of the very same worked out (`export.worked.found_before`); it is not done again.

    With `public` the same is done for the area as the public may see it (`Result.public`), which the page for
    everybody and the pictures need; without, it is done when one of them is first asked for. `engine`: where tiles run.
    """
    from habitatmap.outputs import Files  # pages and PDF: loaded by a whole run only

    tell = say or _silent
    with running_on(engine):
        found = evaluate(area, tell, known=known)
        files = Files(partial(evaluate, as_public(area), _silent, for_public=True))
        if public:
            tell(Stage.PUBLIC)
        return replace(found, outputs=files, public=files.public if public else None)


def as_public(area: Area) -> Area:
    """The area as the public may see it, with what its stages found before; what its cells offer is the team's, as long
    as nothing is blurred that it rests on."""
    settings = area.settings
    hidden = area.stages.take("public", (settings.public, settings.flight), lambda: blurred(area))
    if hidden.grid == area.grid and hidden.trees.equals(area.trees):
        hidden.stages.see(hidden.tables)
        of_habitat = settings.parts(*OF_HABITAT)
        hidden.stages.take(
            Stage.HABITAT,
            of_habitat,
            lambda: area.stages.take(Stage.HABITAT, of_habitat, lambda: score_habitat(area, chosen())),
        )
    return with_settings(hidden, settings)


@one_blas_thread()
def evaluate(area: Area, say: Say, for_public: bool = False, known: Worked | None = None) -> Result:
    """One area through all stages. The public's is spared what it does not show: limits, robustness, consents."""
    with layers_of(area.folder):
        return _evaluate(area, say, for_public, known)


def _evaluate(area: Area, say: Say, for_public: bool, known: Worked | None) -> Result:
    clock, stages, given = Clock(say), area.stages, area.settings
    stages.see(area.tables)
    with clock(Stage.HABITAT):
        habitat = stages.take(Stage.HABITAT, given.parts(*OF_HABITAT), lambda: score_habitat(area, chosen()))
    with clock(Stage.OCCUPANCY):
        survey = stages.take(Stage.OCCUPANCY, given.parts(*OF_SURVEY), lambda: survey_pools(area, habitat))
    with clock(Stage.REACH):
        places = stages.take("places", given.parts(*OF_SURVEY), lambda: likely_places(area, survey))
        make = partial(reach_now, area, habitat, survey, places, for_public)
        reach = stages.take(Stage.REACH, given.parts(*OF_SURVEY), make)
    with clock(Stage.CANDIDATES):
        of_ground = (given.parts(*OF_SURVEY), given.plan.model_copy(update={"pools": 0}))
        allowed = stages.take(Stage.CANDIDATES, of_ground, lambda: where_pools_may_stand(area, habitat, survey))
    with clock(Stage.PLAN):
        of_years = (given.parts(*OF_SURVEY), given.plan.years)
        ahead = stages.take("years ahead", of_years, lambda: years_ahead(area, habitat, survey, places))
        proposal = choose_sites(area, habitat, survey, places, allowed, ahead, reach, known, exchange=not for_public)
    with clock(Stage.SERVED):
        served = known.served if known else what_is_served(area, habitat, places, allowed, ahead, proposal, for_public)
    with clock(Stage.BOUND):
        if known:
            bound, limits, further = known.bound, known.served_limits, None
        elif for_public:
            bound, limits, further = Bound(math.nan, proposal.selection.now, {}), NO_LIMITS, None
        else:
            shown, reached = numbers_shown(proposal.requested), proposal.gains
            bound = certify(proposal.problem, proposal.requested, most=shown, reached=reached)
            limits, further = what_could_be_served(ahead, proposal), beyond_the_plan(proposal, bound, of_ground, stages)
        promise, many = what_pools_add(area, habitat, survey, places, reach, proposal, further)
    with clock(Stage.ROBUSTNESS):
        around = known.zones if known else zones_around(proposal, ahead, for_public)
        if known:
            steady = known.robustness
        elif for_public:
            steady = Robustness.unknown(len(proposal.sites))
        elif proposal.preference is None:
            steady = how_sure(area, habitat, places, proposal, promise, around)
        else:
            asked, unsure = proposal.problem, what_years_rest_on(area, habitat, survey, places)
            steady = assess_served_robustness(asked, proposal.selection, around, ahead, proposal.preference, unsure)
    with clock(Stage.CONSENT):
        if known:
            consents, left = known.consents, known.consents_left
        else:
            consents, left = (NO_CONSENTS, 0) if for_public else rank_consents(area, habitat, survey, proposal, ahead)
        if known:
            refusals = known.refusals
        else:
            refusals = NO_REFUSALS if for_public else cost_of_refusals(area, habitat, survey, proposal, ahead)
    proposal.problem.today.forget()
    ahead.model.forget()
    with clock(Stage.GAPS):
        surface = reach.surface(habitat.season)
        unserved = find_gaps(area.grid, habitat.weight, surface, allowed, places.frame, area.settings)
    with clock(Stage.NETWORK):
        net = connect(area, habitat, places, proposal, for_public)
    found = Findings(
        area=area,
        habitat=habitat,
        survey=survey,
        places=places,
        reach=reach,
        candidates=allowed,
        proposal=proposal,
        promise=promise,
        ahead=ahead,
        served=served,
        served_limits=limits,
        bound=bound,
        how_many=known.how_many if known else many,
        zones=around,
        robustness=steady,
        consents=consents,
        consents_left=left,
        refusals=refusals,
        gaps=unserved.set_crs(area.crs),
        network=net,
    )
    return assemble(found, clock, for_public)


# --- stages ----------------------------------------------------------------------------------------------------------


def survey_pools(area: Area, habitat: Habitat, day: datetime.date | None = None) -> Survey:
    """Which pools stand on a day (`as_of`), and what the searches say about them and about pools elsewhere."""
    day = day or area.as_of
    up = standing(area.pools, area.visits, day)
    group = _groups(area)
    fields, at_pools = _what_lies_around(area, habitat, up)
    known = _what_the_searches_say(area, group, at_pools, day)
    return Survey(up, group, known, fields, at_pools, _flags(area, habitat, up))


def _groups(area: Area) -> NDArray[np.int64]:
    """The site of the survey that each pool belongs to."""
    return merged(area.pools["x"], area.pools["y"], area.settings.flight.merge_m)


def _what_the_searches_say(
    area: Area, group: NDArray[np.int64], at_pools: pd.DataFrame, day: datetime.date
) -> PoolOccupancy:
    """The probabilities of the pools, by their searches and what lies around each."""
    season = area.settings.season
    how = Inference(closed=season.closed, first_month=season.first_month)
    return estimate_pools(area.pools, area.visits, day, area.settings.occupancy, group, at_pools, how)


def _what_lies_around(area: Area, habitat: Habitat, up: NDArray[np.bool_]) -> tuple[dict[str, Array], pd.DataFrame]:
    """The rasters of the surroundings that may shape a pool's probability, and these at each pool.

    Breeding places near are standing pools, each counted whole, and rot-hole trees by their probability, whatever was
    found in them; a standing pool is none of those near itself. Outside the frame nothing is known (NaN).
    """
    pools, grid = area.pools, area.grid
    x, y = pools["x"].to_numpy(float), pools["y"].to_numpy(float)
    fields: dict[str, Array] = {"forage_score": habitat.access, "dead_wood_score": habitat.dead_wood_access}
    at_pools = pd.DataFrame({name: sampled(grid, raster, x, y) for name, raster in fields.items()})
    rot_hole = area.tree_table.rot_hole_probability(area.trees)
    places = breeding_places(pools, up, np.ones(len(pools)), area.trees, rot_hole, grid, area.settings)
    trees = (places["kind"] == "tree").to_numpy()
    places.loc[trees, "p"] = rot_hole[places.loc[trees, "index"]]
    near = places_near(grid.shape, places, grid.cell_m, area.settings.flight.dispersal_median_m)
    at_pools = at_pools.assign(places_near=(sampled(grid, near, x, y) - up).clip(min=0.0))
    return fields | {"places_near": near}, at_pools


def likely_places(area: Area, survey: Survey) -> Places:
    """The breeding places with their probabilities, and those of the pools by simulation."""
    rot_hole = area.tree_table.rot_hole_probability(area.trees)
    known, up = survey.known, survey.standing
    frame = breeding_places(area.pools, up, known.pools["occupancy"], area.trees, rot_hole, area.grid, area.settings)
    return Places(frame, known.draws[:, up], rot_hole)


def reach_now(area: Area, habitat: Habitat, survey: Survey, places: Places, for_public: bool = False) -> Reach:
    """Forage in reach of the breeding places, and what each pool adds to it, which the public is not shown."""
    cell_m, median_m = area.grid.cell_m, area.settings.flight.forage_median_m
    missed = not_reached(area.grid, places.frame, median_m=median_m)
    lost, up = np.full(len(area.pools), np.nan), survey.standing
    if not for_public:
        lost[up] = loss_of_each(habitat.weight, missed, places.frame, cell_m=cell_m, median_m=median_m)[: up.sum()]
        lost[np.isin(survey.flags, NOT_SCORED)] = np.nan
    return Reach(missed, forage_in_reach(habitat.weight, missed), lost)


def reach_by_simulation(
    area: Area, habitat: Habitat, survey: Survey, places: Places, reach: Reach, sites: pd.DataFrame
) -> Simulated:
    """Forage in reach now, and what each site adds to it, over simulations of the probabilities."""
    rough = Rough(habitat.weight, area.grid.cell_m, area.settings.flight.forage_median_m)
    drawn = survey.known.new_draws_on(at_cells(survey.surroundings, sites))
    return simulate_reach(rough, places.frame, reach.now, places.pool_draws, sites, drawn)


def where_pools_may_stand(
    area: Area, habitat: Habitat, survey: Survey, consent: Sequence[str] | None = None, refused: bool = True
) -> Candidates:
    """The cells where a pool may stand with these consents (those of area.toml where none are given); without `refused`
    as if no suggested site had been refused."""
    settings = area.settings.plan
    if consent is not None:
        settings = settings.model_copy(update={"consent": tuple(consent)})
    has_data = scratch.cellwise(lambda season: ~np.isnan(season), habitat.season, dtype=np.bool_)
    withdrawn = withdrawn_ground(area.plan_status, area.land, area.grid, refused=refused)
    ground = Ground(has_data, habitat.inside, hazards=area.hazards, withdrawn=withdrawn)
    if cover := area.land_cover:
        unfit = ["", *cover.table["ground"].fillna("").astype(str)]
        ground = replace(ground, classes=cover.classes, unfit=unfit)
    land = area.land if "land" in area.has else None
    return find_candidates(area.grid, ground, land, area.keep_away, area.pools[survey.standing], settings)


def choose_sites(
    area: Area,
    habitat: Habitat,
    survey: Survey,
    places: Places,
    allowed: Candidates,
    ahead: Sites,
    reach: Reach,
    known: Worked | None = None,
    exchange: bool = True,
) -> Proposal:
    """The plan: committed sites first, then those that help most, by the objective of area.toml; or the `known` one.
    `exchange`: whether a better set is looked for too, where forage in reach is the objective."""
    grid, settings, flight = area.grid, area.settings.plan, area.settings.flight
    p_anywhere = survey.p_anywhere
    agreed = sites_in(area.plan_status, SiteState.AGREED)
    kept = kept_sites(area.committed, is_private(area.committed, area.land), grid, p_anywhere, agreed)
    cost = site_costs(area.land, allowed.land_index, settings)
    asked = Problem.of(
        habitat.weight,
        places.frame,
        scratch.cellwise(_where, allowed.allowed, p_anywhere, dtype=np.float64),
        cell_m=grid.cell_m,
        median_m=flight.forage_median_m,
        spacing_m=settings.spacing_m,
        kept=kept,
        not_reached=reach.not_reached,
        quotas=make_quotas(area.land, allowed.land_index, settings),
        cost=cost,
        budget=settings.budget,
    )
    requested = number_of_pools(settings, cost, allowed.allowed, kept) if forage_of(habitat.weight) > 0 else 0
    if known:
        found, ec_gain, preference = known.selection, known.ec_gain, known.preference
        return Proposal(asked, requested, found, p_anywhere, kept, ec_gain, settings.objective, preference)
    if settings.objective is Objective.REACH:
        selection = make_plan(asked, requested, exchange=exchange)
        return Proposal(asked, requested, selection, p_anywhere, kept, None, settings.objective)
    if settings.objective is Objective.SERVED:
        rules = by_rules(area, habitat, places, allowed, REFERENCE_POOLS, PLANNERS_RANDOM)
        preference = Preference.of(ahead, rules, settings.found_from)
        selection = plan_served(asked, requested, ahead, preference)
        return Proposal(asked, requested, selection, p_anywhere, kept, None, settings.objective, preference)
    here = build_network(network_places(places.frame, habitat.access), flight.link_m, flight.dispersal_median_m)
    selection, ec_gain = plan_by_connectivity(asked, requested, here, habitat.access, grid)
    return Proposal(asked, requested, selection, p_anywhere, kept, ec_gain, settings.objective)


def years_ahead(area: Area, habitat: Habitat, survey: Survey, places: Places) -> Sites:
    """What pools anywhere make of the coming years: places are found and lost, and serve forage."""
    grid, flight = area.grid, area.settings.flight
    known = KnownPlaces.of(network_places(places.frame, habitat.access), _years_standing(area, places.frame))
    simulations = simulate(known, flight.forage_median_m, flight.dispersal_median_m, survey.known.new.value)
    demand = forage_demand(area, habitat.weight, POINTS_M, FEWEST_POINTS)
    return Sites(MeanField(known, demand, simulations, area.settings.plan.years), grid, habitat.access)


def by_rules(
    area: Area, habitat: Habitat, places: Places, allowed: Candidates, pools: int, random_plans: int = 20
) -> dict[Strategy, list[pd.DataFrame]]:
    """As many pools placed by rules of thumb (plan.outlook.other_plans)."""
    access, wood = habitat.access, habitat.dead_wood_access
    # a pool serves the better the more forage and dead wood lie about it; where one is not known the other decides
    score = scratch.cellwise(_mean_of_known, access, wood, dtype=np.float32)
    return other_plans(
        allowed.allowed,
        score,
        places.frame,
        pools,
        cell_m=area.grid.cell_m,
        spacing_m=area.settings.plan.spacing_m,
        random_plans=random_plans,
    )


def what_pools_add(
    area: Area,
    habitat: Habitat,
    survey: Survey,
    places: Places,
    reach: Reach,
    proposal: Proposal,
    further: Further | None,
) -> tuple[Promise, tuple[ForSoMany, ...]]:
    """What the plan adds to forage in reach, over simulations of the probabilities, and that by the number of pools up
    to the last of the `further` sites; both are taken from the same simulations, and say the same to the last digit."""
    sites, every = proposal.sites, proposal.sites if further is None else further.sites
    simulated = reach_by_simulation(area, habitat, survey, places, reach, every)
    reached = np.minimum(np.cumsum(np.column_stack([simulated.now, simulated.gains]), axis=1), 1.0)
    promise = Promise(
        survey.known.new_draws_on(at_cells(survey.surroundings, sites)),
        simulated.gains[:, : len(sites)],
        interval(simulated.now, reach.now),
        interval(reached[:, len(sites)], proposal.selection.with_plan),
    )
    if further is None:
        return promise, ()
    low, high = intervals(reached, np.append(reach.now, every["cumulative"]))
    return promise, curve(further, reach.now, low, high)


def what_is_served(
    area: Area,
    habitat: Habitat,
    places: Places,
    allowed: Candidates,
    ahead: Sites,
    proposal: Proposal,
    for_public: bool,
) -> Served:
    """Forage likely served over the years with the plan, and with as many pools by rules of thumb, which the public is
    not shown."""
    pools = 0 if for_public else len(proposal.sites)
    rules = by_rules(area, habitat, places, allowed, pools, PLANNERS_RANDOM) if pools else {}
    return assess_served(ahead, proposal.sites, rules)


def what_could_be_served(ahead: Sites, proposal: Proposal) -> ServedLimits:
    """What as many pools could add to forage likely served at most; not known where the plan is not made for it."""
    preference, sites = proposal.preference, proposal.sites
    if preference is None or sites.empty:
        return NO_LIMITS
    weights = preference.by_simulation(ahead, ahead.none, 0)
    return limit_served(ahead, proposal.problem, sites, len(sites), weights)


def beyond_the_plan(proposal: Proposal, bound: Bound, takes: object, stages: Stages) -> Further | None:
    """The plan and the sites that would help most after it; None where there is no plan. The limit at their end is that
    of any plan of as many, made by the same settings but for its number of pools (`takes`)."""
    if proposal.sites.empty:
        return None

    def limit(problem: Problem, sites: int, reached: Sequence[float]) -> NDArray[np.float64]:
        return stages.take("limit of many", (takes, sites), lambda: limit_of_many(problem, sites, reached))

    most = numbers_shown(proposal.requested)
    return go_on(proposal.problem, proposal.sites, most, bound.by_number, limit)


def zones_around(proposal: Proposal, ahead: Sites, for_public: bool) -> list[Zone]:
    """Around each suggestion the cells that serve nearly as well; a plan for the network has none but its own cells,
    and the public is shown none."""
    if for_public:
        return single_cell_zones(proposal.sites)
    if proposal.preference is not None:
        return find_served_zones(proposal.problem, proposal.sites, ahead, proposal.preference)
    if proposal.by_reach:
        return find_zones(proposal.problem, proposal.sites)
    return single_cell_zones(proposal.sites)


def how_sure(
    area: Area, habitat: Habitat, places: Places, proposal: Proposal, promise: Promise, around: list[Zone]
) -> Robustness:
    """How often each site stays in the plan where flight, forage and probabilities are other than assumed."""
    low, high = _bounds_inside(area, habitat)
    return assess_robustness(
        proposal.problem,
        proposal.selection,
        around,
        Uncertainty(
            simulations=places.draws,
            odds=_odds(proposal.sites, promise.site_draws),
            low=low,
            high=high,
            medians=(FORAGE_MEDIANS_M[0], area.settings.flight.forage_median_m, FORAGE_MEDIANS_M[1]),
        ),
    )


def what_years_rest_on(area: Area, habitat: Habitat, survey: Survey, places: Places) -> ServedUncertainty:
    """What is not known for certain where a plan is made for forage likely served."""
    low, high = _bounds_inside(area, habitat)
    forage = {Level.LOW: low, Level.BEST: habitat.weight, Level.HIGH: high}
    demands = {level: forage_demand(area, w, COARSE_POINTS_M, FEWEST_COARSE) for level, w in forage.items()}
    flight = area.settings.flight
    drawn, new = _drawn_by_place(places), survey.known.new.value
    return ServedUncertainty(drawn, demands, flight.forage_median_m, flight.dispersal_median_m, new)


def cost_of_refusals(area: Area, habitat: Habitat, survey: Survey, proposal: Proposal, ahead: Sites) -> pd.DataFrame:
    """What each refusal of a suggested site costs: the plan made again with that ground, against the plan without it;
    all other ground as it is. NO_REFUSALS' columns; a cost of 0 where the plan does as well elsewhere, NaN where so
    many were refused that this one was not calculated."""
    land = refused_land(area.plan_status, area.land.assign(place=area.land_called))
    if land.empty or not proposal.by_reach:
        return NO_REFUSALS
    open_to_all = where_pools_may_stand(area, habitat, survey, tuple(CONSENT_LOST), refused=False).allowed

    def also(here: Bools, open_here: Bools, p: Array, now: Array) -> Array:
        return np.where(np.isnan(now) & here & open_here, p, now)

    asked = cells_in(land.geometry, area.grid)
    with_all = scratch.cellwise(
        also, asked, open_to_all, proposal.p_anywhere, proposal.problem.candidates, dtype=np.float64
    )
    if proposal.preference is None:
        costs, left = rank(
            proposal.problem, proposal.selection, land, area.grid, counted_on=False, with_all=with_all, columns=REFUSED
        )
    else:
        years = _years_on_few_points(area, habitat, proposal.preference, ahead)
        costs, left = rank_served_consents(
            proposal.problem, proposal.selection, land, years, counted_on=False, with_all=with_all, columns=REFUSED
        )
    told = costs.set_index("owner").reindex(land["owner"])
    none = 0.0 if left == 0 else np.nan
    return pd.DataFrame(
        {
            "ids": land["owner"].to_numpy(),
            "place": land["place"].to_numpy(),
            "private": land["private"].to_numpy(),
            "cost": told["adds"].fillna(none).to_numpy(float),
            "in_reach": (told["reach_yes"] - told["reach_no"]).fillna(none).to_numpy(float),
            "instead": told["instead"].fillna(0).to_numpy(int),
        }
    )


def _years_on_few_points(area: Area, habitat: Habitat, preference: Preference, ahead: Sites) -> Ahead:
    few_points = ahead.with_demand(forage_demand(area, habitat.weight, COARSE_POINTS_M, FEWEST_COARSE))
    return Ahead(ahead, few_points, preference)


def rank_consents(
    area: Area, habitat: Habitat, survey: Survey, proposal: Proposal, ahead: Sites
) -> tuple[pd.DataFrame, int]:
    """What the consent of each owner who is still to be asked adds; and how many owners were not calculated."""
    if "land" not in area.has or not proposal.by_reach:
        return NO_CONSENTS, 0
    land = area.land.assign(place=area.land_called)
    everyone = proposal.problem.candidates
    counted_on = "ask" in area.settings.plan.consent
    if not counted_on:
        allowed = where_pools_may_stand(area, habitat, survey, ("yes", "ask")).allowed
        everyone = scratch.cellwise(_where, allowed, proposal.p_anywhere, dtype=np.float64)
    if proposal.preference is not None:
        years = _years_on_few_points(area, habitat, proposal.preference, ahead)
        return rank_served_consents(
            proposal.problem, proposal.selection, land, years, counted_on=counted_on, with_all=everyone
        )
    return rank(proposal.problem, proposal.selection, land, area.grid, counted_on=counted_on, with_all=everyone)


def connect(area: Area, habitat: Habitat, places: Places, proposal: Proposal, for_public: bool) -> Web:
    """How the breeding places hang together, now and with the plan; the public is shown the network of none."""
    shown = places.frame.iloc[:0] if for_public else places.frame
    return describe_network(shown, proposal.as_places(area.grid), habitat.access, area.settings.flight, area.crs)


# --- other jobs ------------------------------------------------------------------------------------------------------


def survey_area(
    area: Area, budget: Budget | None = None, say: Say | None = None, known: Worked | None = None
) -> Account:
    """What the searches say about the pools of an area; `say` gets each stage. Writes nothing.

    `known`: what an earlier run of the very same worked out; what lies around the pools is taken from it.
    """
    clock = Clock(say or _silent)
    if known is None:
        with clock(Stage.HABITAT):
            habitat = score_habitat(area)
    with clock(Stage.OCCUPANCY):
        up = standing(area.pools, area.visits, area.as_of)
        group, at_pools = _groups(area), known.at_pools if known else _what_lies_around(area, habitat, up)[1]
        silent = no_visits(area.pools, area.land, area.as_of)
        return take_account(
            Records(area.title, area.pools, area.visits, area.as_of, frozenset(area.pools["pool"][silent != ""])),
            _what_the_searches_say(area, group, at_pools, area.as_of),
            group,
            at_pools,
            budget,
            Resampling(block_m=2 * area.settings.flight.dispersal_median_m),
        )


def rounds_of(
    area: Area,
    week: Week,
    people: Sequence[str] = (),
    known: Worked | None = None,
    team: Sequence[Person] | None = None,
) -> Rounds:
    """Who goes where in a week. `people`: names, or one number; without any those of `team`, else the visits'
    observers. Writes nothing.

    `known`: what an earlier run of the very same worked out, where the week rests on the same day (`known_on`);
    `team`: the area's table of people, None without one.
    """
    return plan_rounds(area, week, people, _what_teaches(area, week, known), team)


def rounds_of_groups(
    area: Area,
    week: Week,
    groups: Sequence[str],
    people: Sequence[str] = (),
    known: Worked | None = None,
    team: Sequence[Person] | None = None,
) -> list[Rounds]:
    """The same for the pools of each of these groups ("" = the area's own), with people of its own."""
    teaches = _what_teaches(area, week, known)
    found = []
    for group in groups:
        own = of_group(area, group)
        found.append(replace(plan_rounds(own, week, people, teaches, team_of(team, own, group)), group=group))
    return found


def _what_teaches(area: Area, week: Week, known: Worked | None) -> list[str]:
    """The pools where one more search teaches anything, most first."""
    day = known_on(area.as_of, week)
    if known is not None and day == area.as_of:
        return known.teach
    return worth_a_search(survey_pools(area, score_habitat(area), day).known)


@one_blas_thread()
def simulate_years(result: Result, years: int = 20, simulations: int = 384) -> Outlook:
    """The plan, and as many pools placed by other rules, through the same simulated years (plan.outlook).

    Raises NothingToCompareError where there is no suggestion or no forage.
    """
    found, settings, grid = result.findings, result.settings, result.grid
    sites, places = found.proposal.sites, found.places
    if sites.empty:
        raise NothingToCompareError(NothingToCompare.NO_SUGGESTION)
    access = found.habitat.access
    others = by_rules(found.area, found.habitat, places, found.candidates, len(sites))
    ways = {Strategy.NONE: [sites.iloc[:0]], Strategy.PLAN: [sites], **others}
    return simulate_outlook(
        Today(
            KnownPlaces.of(network_places(places.frame, access), _years_standing(found.area, places.frame)),
            _drawn_by_place(places),
            found.survey.known.new.value,
            forage_points(found.area, found.habitat.weight, OUTLOOK_POINTS),
        ),
        {name: [_with_access(cells, access, grid) for cells in sets] for name, sets in ways.items()},
        Conditions(settings.flight.forage_median_m, settings.flight.dispersal_median_m, years, simulations),
    )


# --- helpers ---------------------------------------------------------------------------------------------------------


class Clock:
    """Says which stage begins, and keeps how many seconds each took."""

    def __init__(self, say: Say) -> None:
        self.say = say
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: Stage) -> Iterator[None]:
        self.say(stage)
        scratch.give_back()
        start = time.perf_counter()
        yield
        self.seconds[stage.value] = round(time.perf_counter() - start, 3)


def _where(here: NDArray[np.bool_], values: Array) -> Array:
    return np.where(here, values, np.nan)


def _mean_of_known(access: Array, wood: Array) -> Array:
    return np.where(np.isnan(access), wood, np.where(np.isnan(wood), access, (access + wood) / 2))


def _bounds_inside(area: Area, habitat: Habitat) -> tuple[Array, Array]:
    """The season's forage by the low and by the high values of the classes, 0 outside the boundary."""
    low, high = forage_bounds(area.land_cover, habitat.season)

    def inside(field: Array) -> Array:
        return scratch.cellwise(lambda here, part: np.where(here, part, 0.0), habitat.inside, field, dtype=np.float32)

    return inside(low), inside(high)


def _silent(_stage: Stage) -> None:
    pass


NO_CONSENTS = pd.DataFrame(columns=CONSENT_COLUMNS)
NO_REFUSALS = pd.DataFrame(columns=["ids", "place", "private", "cost", "in_reach", "instead"])


def _flags(area: Area, habitat: Habitat, up: NDArray[np.bool_]) -> NDArray[np.object_]:
    """What a reader must know about each pool's position; "" where there is nothing to say."""
    flags = np.where(up, "", "not standing").astype(object)
    if area.land_cover is None and area.boundary is None:
        return flags
    row, col = area.grid.cell_of(area.pools["x"].to_numpy(float), area.pools["y"].to_numpy(float))
    within = area.grid.inside(row, col)
    r, c = np.where(within, row, 0), np.where(within, col, 0)
    if area.land_cover is not None:
        flags[~within | np.isnan(habitat.season[r, c])] = NOT_SCORED[0]
    if area.boundary is not None:
        flags[~within | ~habitat.inside[r, c]] = NOT_SCORED[1]
    return flags


def _odds(sites: pd.DataFrame, drawn: Array) -> Array:
    """The simulated odds of the new pools (simulations x sites) over those of their expected probabilities: the factor
    in the middle of the sites, by simulation; 1 where the probabilities are certain."""
    value = sites["p"].to_numpy(dtype=float)
    unsure = (value > 0) & (value < 1) & (drawn.std(axis=0) > 0)
    if not unsure.any():
        return np.ones(len(drawn))
    return np.asarray(np.exp((logit(drawn[:, unsure]) - logit(value[unsure])).mean(axis=1)))


def forage_points(area: Area, weight: Array, most: int) -> pd.DataFrame:
    """Forage (rows, cols) by blocks of cells (plan.outlook.ground_points)."""
    rows, cols = np.arange(area.grid.rows), np.arange(area.grid.cols)
    x, y = area.grid.centre(0 * cols, cols)[0], area.grid.centre(rows, 0 * rows)[1]
    return ground_points(weight, x, y, most)


def forage_demand(area: Area, weight: Array, block_m: float, fewest: int) -> Demand:
    """Forage (rows, cols) on blocks of so many metres, smaller ones where there would be fewer than `fewest`."""
    cells = int(scratch.total(lambda part: (part > 0).sum(), weight))
    most = max(fewest, int(cells * (area.grid.cell_m / block_m) ** 2))
    points = forage_points(area, weight, most)
    return Demand(points[["x", "y"]].to_numpy(float), (points["w"] / points["w"].sum()).to_numpy(float))


def _drawn_by_place(places: Places) -> NDArray[np.float64]:
    """(simulations, places of the network): probabilities that a place is occupied today."""
    missed = pd.DataFrame(1.0 - places.draws.T).groupby(places.frame["place"].to_numpy()).prod()  # places x simulations
    return np.asarray(1.0 - missed.to_numpy(np.float64).T)


def _years_standing(area: Area, breeding: pd.DataFrame) -> Array:
    """How many years ago the oldest pool of each place was installed, in order of `place`; NaN where no date tells."""
    installed = out_by(area.pools).to_numpy()
    pool = (breeding["kind"] == "pool").to_numpy()
    years = np.full(len(breeding), np.nan)
    out = installed[breeding.loc[pool, "index"].to_numpy(int)]
    years[pool] = (np.datetime64(area.as_of) - out) / np.timedelta64(1, "D") / DAYS_A_YEAR
    return pd.Series(years).groupby(breeding["place"].to_numpy()).max().to_numpy()


def _with_access(cells: pd.DataFrame, access: Array, grid: Grid) -> pd.DataFrame:
    """Places (x, y, access) at cells (row, col)."""
    row, col = cells["row"].to_numpy(int), cells["col"].to_numpy(int)
    x, y = grid.centre(row, col)
    return pd.DataFrame({"x": x, "y": y, "access": access[row, col]})
