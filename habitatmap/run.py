"""The job from top to bottom: an area folder in, a result out.

What each spot offers; which pools are likely occupied; what is in reach of them; where a pool may stand; which spots
help most and how far the plan can be from the best; what stays out of reach; how the places hang together. Then once
more for the public, from blurred places only.
"""

from __future__ import annotations

import sys
import time
import types
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from scipy.special import logit

from habitatmap import __version__
from habitatmap.area import Area, blurred
from habitatmap.fieldwork.rounds import Rounds, Week, known_on, plan_rounds
from habitatmap.geo.grid import Grid
from habitatmap.habitat.forage import forage_bounds
from habitatmap.habitat.score import Habitat, score_habitat
from habitatmap.network.places import breeding_places, merged, network_places
from habitatmap.network.web import web
from habitatmap.plan.bound import ROUNDS, certify
from habitatmap.plan.by_connectivity import build_network, plan_by_connectivity
from habitatmap.plan.candidates import Candidates, find_candidates
from habitatmap.plan.consent_priorities import COLUMNS as ASK_COLUMNS
from habitatmap.plan.consent_priorities import rank_consents
from habitatmap.plan.gaps import find_gaps
from habitatmap.plan.outlook import (
    NONE,
    PLAN,
    NothingToCompareError,
    Outlook,
    ground_points,
    other_plans,
    simulate_outlook,
)
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import (
    forage_in_reach,
    gains_by_simulation,
    loss_of_each,
    not_reached,
    reach_by_simulation,
    shares_of_gains,
)
from habitatmap.plan.robustness import assess_robustness
from habitatmap.plan.search import Selection, make_plan
from habitatmap.plan.terms import kept_sites, make_quotas, number_of_pools, site_costs, unknown_names
from habitatmap.plan.zones import find_zones, single_cell_zones
from habitatmap.privacy import in_squares, is_private
from habitatmap.read.land_cover import LandCover
from habitatmap.read.pools import standing
from habitatmap.read.settings import Settings
from habitatmap.result.summary import headline, missing_inputs, summarise, versions
from habitatmap.result.tables import place_table, plan_table, pool_table, sampler, zone_table
from habitatmap.survey.account import Account, Budget, take_account
from habitatmap.survey.probabilities import PoolOccupancy, estimate_pools, most_informative
from habitatmap.survey.seasons import seasons
from habitatmap.survey.surface import probability_surface
from habitatmap.survey.surroundings import places_near
from habitatmap.words.cautions import general_cautions, site_caution

Say = Callable[[str], None]
Array = NDArray[Any]
# what is shown beside every figure that rests on the flight median: expert judgement
FORAGE_MEDIANS_M = (100.0, 500.0)
# flags of pools whose place has no figures
NOT_SCORED = ["outside the data", "outside the boundary"]


@dataclass(frozen=True)
class Groundwork:
    """What the plan was made from, for those who reckon on: simulated years, what-if on the page. Never written out.

    Arrays are rows x cols on the grid. `places`: breeding places (network.places), `draws`: their chances, draws x
    places. `sites`: row, col, p of the suggestions, exact even on private land.
    """

    weight: Array  # w: forage of the season, 0 outside the boundary, NaN without data
    not_reached: Array  # product of 1 - p k over the breeding places
    p_new: Array  # chance that a pool here is found; NaN where none may stand
    where: Candidates
    spots: Habitat
    places: pd.DataFrame
    draws: Array
    sites: pd.DataFrame


@dataclass(frozen=True)
class Result:
    """Everything a run found; `write(folder)` writes it, whole or not at all.

    Rasters are rows x cols on `grid`, NaN where not known; frames have the columns that the README names.
    `public` is the same for the area as the public may see it.
    """

    title: str
    settings: Settings
    crs: CRS
    grid: Grid
    land_cover: LandCover | None
    rasters: dict[str, Array]
    forage_months: Array | None
    pools: pd.DataFrame
    visits: pd.DataFrame
    trees: pd.DataFrame
    places: gpd.GeoDataFrame
    keep_away: gpd.GeoDataFrame
    paths: gpd.GeoDataFrame
    boundary: Any
    plan: pd.DataFrame
    zones: gpd.GeoDataFrame
    plan_exchanged: pd.DataFrame | None
    gaps: gpd.GeoDataFrame
    ask_first: pd.DataFrame
    sensitivity: pd.DataFrame
    links: gpd.GeoDataFrame
    candidates_lost: pd.DataFrame
    set_aside: pd.DataFrame
    summary: dict[str, Any]
    credits: list[str]
    notes: list[str]
    groundwork: Groundwork
    public: Result | None = None

    def write(self, folder: str | Path) -> None:
        """Writes maps, tables and files for GIS into `folder`, replacing it in one step."""
        from habitatmap.outputs import write

        write(self, Path(folder))

    def headline(self) -> str:
        """The run in a few lines."""
        return headline(self.summary)

    @property
    def needs_a_look(self) -> bool:
        """Whether a row was set aside or an input is missing."""
        return bool(self.summary["missing"]) or len(self.set_aside) > 0


def run(area: Area, say: Say | None = None) -> Result:
    """Does the whole job for an area; `say` gets a line for each stage. Writes nothing."""
    tell = say or _silent
    result = _evaluate(area, tell)
    tell("The same for the public, from blurred places")
    return replace(result, public=_evaluate(blurred(area), _silent, for_public=True))


def simulate_years(result: Result, years: int = 20, worlds: int = 200) -> Outlook:
    """The plan, and as many pools placed by other rules, through the same simulated worlds (plan.outlook).

    Raises NothingToCompareError where there is no suggestion, no forage, or no place that is likely occupied.
    """
    made, settings, grid = result.groundwork, result.settings, result.grid
    if made.sites.empty:
        why = result.summary["plan"]["note"] or "no pool is asked for"
        raise NothingToCompareError(f"there is no suggestion to look ahead for: {why}")
    access = made.spots.access
    now = network_places(made.places, access)
    missed = pd.DataFrame(1.0 - made.draws.T).groupby(made.places["place"].to_numpy()).prod()  # places x draws
    # a pool serves the better the more forage and dead wood lie about it; where one is not known the other decides
    wood = made.spots.dead_wood_access
    score = np.where(np.isnan(access), wood, np.where(np.isnan(wood), access, (access + wood) / 2))
    cells = other_plans(
        made.where.allowed,
        score,
        made.places,
        len(made.sites),
        cell_m=grid.cell_m,
        spacing_m=settings.plan.spacing_m,
    )
    cells = {NONE: [made.sites.iloc[:0]], PLAN: [made.sites], **cells}
    rows, cols = np.arange(grid.rows), np.arange(grid.cols)
    return simulate_outlook(
        now[["x", "y", "access"]],
        {name: [_with_access(sites, access, grid) for sites in sets] for name, sets in cells.items()},
        ground_points(made.weight, grid.centre(0 * cols, cols)[0], grid.centre(rows, 0 * rows)[1]),
        probabilities=1.0 - missed.to_numpy().T,
        forage_median_m=settings.flight.forage_median_m,
        dispersal_median_m=settings.flight.dispersal_median_m,
        years=years,
        simulations=worlds,
    )


def _with_access(cells: pd.DataFrame, access: Array, grid: Grid) -> pd.DataFrame:
    """Places (x, y, access) at cells (row, col)."""
    row, col = cells["row"].to_numpy(int), cells["col"].to_numpy(int)
    x, y = grid.centre(row, col)
    return pd.DataFrame({"x": x, "y": y, "access": access[row, col]})


def survey_area(area: Area, budget: Budget | None = None, say: Say | None = None) -> Account:
    """What the looks say about the pools of an area; `say` gets a line for each stage. Writes nothing."""
    clock = Clock(say or _silent)
    with clock("What each spot offers"):
        spots = score_habitat(area)
    with clock("What the looks say"):
        up = standing(area.pools, area.visits, pd.Timestamp(area.as_of))
        group = merged(area.pools["x"], area.pools["y"], area.settings.flight.merge_m)
        known, _, at_pools = _what_the_searches_say(area, spots, up, group)
        return take_account(
            area.title,
            area.pools,
            area.visits,
            area.as_of,
            known,
            group,
            places=at_pools,
            block_m=2 * area.settings.flight.dispersal_median_m,
            budget=budget,
        )


def rounds_of(area: Area, week: Week, people: Sequence[str] = ()) -> Rounds:
    """Who goes where in a week. `people`: names, or one number; without any the visits' observers. Writes nothing."""
    group = merged(area.pools["x"], area.pools["y"], area.settings.flight.merge_m)
    known = estimate_pools(area.pools, area.visits, known_on(area.as_of, week), area.settings.occupancy, group)
    teaches = most_informative(known).query("value > 0")["pool"].tolist()
    return plan_rounds(area, week, people, teaches)


def _what_the_searches_say(
    area: Area, spots: Habitat, up: Array, group: Array
) -> tuple[PoolOccupancy, dict[str, Array], pd.DataFrame]:
    """The chances of the pools; the rasters of the ground that may shape them; and these at each pool.

    Breeding places near are weighed with the chances that are the same everywhere, and a standing pool is none of those
    near itself, so that no pool's chance is weighed with its own. Outside the frame nothing is known (NaN).
    """
    pools, grid = area.pools, area.grid
    fields: dict[str, Array] = {"forage_score": spots.access, "dead_wood_score": spots.dead_wood_access}
    read = sampler(grid, pools["x"].to_numpy(float), pools["y"].to_numpy(float), np.ones(len(pools), bool))
    at_pools = pd.DataFrame({name: read(field) for name, field in fields.items()})
    plain = estimate_pools(pools, area.visits, area.as_of, area.settings.occupancy, group)
    if plain.summary["estimate"] is None:  # too few looks to say anything about ground
        return plain, fields, at_pools
    likelihood = area.tree_table.rot_hole_probability(area.trees)
    places = breeding_places(pools, up, plain.pools["occupancy"], area.trees, likelihood, grid, area.settings)
    near = places_near(grid.shape, places, grid.cell_m, area.settings.flight.dispersal_median_m)
    others = (read(near) - np.where(up, plain.pools["occupancy"], 0.0)).clip(min=0.0)
    fields, at_pools = fields | {"places_near": near}, at_pools.assign(places_near=others)
    known = estimate_pools(pools, area.visits, area.as_of, area.settings.occupancy, group, surroundings=at_pools)
    return known, fields, at_pools


def _evaluate(area: Area, say: Say, for_public: bool = False) -> Result:
    clock = Clock(say)
    settings, grid = area.settings, area.grid
    flight = settings.flight
    frame: dict[str, Any] = {"cell_m": grid.cell_m, "median_m": flight.forage_median_m}

    with clock("What each spot offers"):
        spots = score_habitat(area)
        weight = spots.weight
        forage_ha = float(np.nansum(weight, dtype=float)) * grid.cell_ha  # index-hectares

    with clock("Which pools are likely occupied"):
        pools, trees = area.pools, area.trees
        up = standing(pools, area.visits, pd.Timestamp(area.as_of))
        group = merged(pools["x"], pools["y"], flight.merge_m)
        known, ground, _ = _what_the_searches_say(area, spots, up, group)
        likelihood = area.tree_table.rot_hole_probability(trees)
        flags = _flags(area, spots, up)

    with clock("What is in reach now"):
        places = breeding_places(pools, up, known.pools["occupancy"], trees, likelihood, grid, settings)
        R = not_reached(grid, places, median_m=flight.forage_median_m)
        now = forage_in_reach(weight, R)
        draws = _draws_of_places(places, known, up)
        low, high = _interval(reach_by_simulation(weight, places, draws, **frame), now)
        lost_without = np.full(len(pools), np.nan)
        lost_without[up] = loss_of_each(weight, R, places, **frame)[: up.sum()]  # pools stand first among the places
        lost_without[np.isin(flags, NOT_SCORED)] = np.nan

    with clock("Where a pool may stand"):

        def may_stand(consent: tuple[Any, ...]) -> Candidates:
            return find_candidates(
                grid,
                has_data=~np.isnan(spots.season),
                inside_boundary=spots.inside,
                ground=_ground(area.land_cover),
                land=area.land,
                has_land="land" in area.has,
                keep_away=area.keep_away,
                pools=pools[up],
                settings=settings.plan.model_copy(update={"consent": consent}),
            )

        where = may_stand(settings.plan.consent)

    with clock("Which spots help most"):
        p_anywhere = known.new_on(ground, grid.shape)
        p_new = np.where(where.allowed, p_anywhere, np.nan)
        kept = kept_sites(area.committed, is_private(area.committed, area.land), grid, p_anywhere)
        cost = site_costs(area.land, where.land_index, settings.plan)
        asked = Problem.of(
            weight,
            places,
            p_new,
            spacing_m=settings.plan.spacing_m,
            kept=kept,
            quotas=make_quotas(area.land, where.land_index, settings.plan),
            cost=cost,
            budget=settings.plan.budget,
            **frame,
        )
        requested = number_of_pools(settings.plan, cost, where.allowed, kept) if forage_ha > 0 else 0
        ec_gain = None
        if settings.plan.objective == "connectivity":
            here = build_network(network_places(places, spots.access), flight.link_m, flight.dispersal_median_m)
            reaching = (spots.access, grid, flight.link_m, flight.dispersal_median_m)
            choice, ec_gain = plan_by_connectivity(asked, requested, here, *reaching)
        else:
            choice = make_plan(asked, requested)
        sites = choice.frame
        with_plan = choice.with_plan
        suggested = _as_places(sites, grid)
        all_places = pd.concat([places, suggested], ignore_index=True)
        site_draws = known.new_draws_on(_ground_at(sites, ground))
        drawn = reach_by_simulation(weight, all_places, np.column_stack([draws, site_draws]), **frame)
        plan_low, plan_high = _interval(drawn, with_plan)
        gains = gains_by_simulation(weight, places, sites, draws, site_draws, **frame)

    with clock("How far from the best possible"):
        bound = certify(asked, requested, rounds=1 if for_public else ROUNDS)

    with clock("How sure"):
        around = (
            find_zones(asked, sites) if ec_gain is None else single_cell_zones(sites)
        )  # the network has no such zones
        low_forage, high_forage = (
            np.where(spots.inside, field, 0.0) for field in forage_bounds(area.land_cover, spots.season)
        )
        steady = assess_robustness(
            asked,
            choice,
            around,
            simulations=draws,
            odds=_odds(sites, site_draws),
            low=low_forage,
            high=high_forage,
            medians=(FORAGE_MEDIANS_M[0], flight.forage_median_m, FORAGE_MEDIANS_M[1]),
        )

    with clock("Whom to ask first"):
        asks, asks_left = pd.DataFrame(columns=ASK_COLUMNS), 0
        if "land" in area.has and ec_gain is None and not for_public:
            counted_on = "ask" in settings.plan.consent
            everyone = p_new if counted_on else np.where(may_stand(("yes", "ask")).allowed, p_anywhere, np.nan)
            asks, asks_left = rank_consents(asked, choice, area.land, grid, counted_on=counted_on, with_all=everyone)

    with clock("What stays out of reach"):
        reach_now = np.where(np.isnan(spots.season), np.nan, 1.0 - R)
        unserved = find_gaps(grid, weight.astype(np.float64), reach_now, where, places, settings).set_crs(area.crs)

    with clock("How the places hang together"):
        net = web(places, suggested, spots.access, flight, area.crs)

    with clock("Tables"):
        rasters: dict[str, Array] = {
            "forage_season": spots.season,
            "forage_lean": spots.lean,
            "forage_access": spots.access,
            "dead_wood": spots.dead_wood,
            "forage_m": spots.forage_m,
            "dead_wood_m": spots.dead_wood_m,
            "reach_now": reach_now,
            "occupancy": _chance_surface(p_anywhere, spots, ground, pools, known, grid),
        }
        at: dict[str, Array] = {**rasters, "dead_wood_access": spots.dead_wood_access}
        private = is_private(pools, area.land)
        rot_hole = places[places["kind"] == "tree"]
        table = pool_table(
            pools,
            up,
            flags,
            private,
            _last_outcomes(area.visits, area.as_of),
            known.pools.set_index("pool"),
            lost_without,
            grid=grid,
            crs=area.crs,
            rasters=at,
            classes=area.land_cover.classes if area.land_cover else None,
            labels=list(area.land_cover.table["label"]) if area.land_cover else [],
            land=area.land,
            trees=trees,
            trees_known=_trees_known(pools, area),
            rot_hole=rot_hole,
        )
        described: dict[str, Any] = {
            "grid": grid,
            "crs": area.crs,
            "rasters": at,
            "land": area.land,
            "has_land": "land" in area.has,
            "land_index": where.land_index,
            "paths": area.paths,
            "standing": pools[up],
            "lost_as": where.reason,
            "caution": lambda row: site_caution(row, settings),
        }
        stated = dict(zip(zip(kept["row"], kept["col"], strict=True), kept["private"], strict=True))
        cells = zip(sites["row"].tolist(), sites["col"].tolist(), strict=True)
        low_gain, high_gain = _intervals(gains, sites["gain"].to_numpy(float))
        figures = sites.assign(
            **_ends_of_p(sites, known.new_ends_on(_ground_at(sites, ground))),
            gain_low=low_gain,
            gain_high=high_gain,
            robustness=steady.share if ec_gain is None else np.nan,
            ec_gain=np.nan if ec_gain is None else ec_gain,
            assumed_share=shares_of_gains(weight, R, sites, ~spots.measured, asked.kernel),
            cost=asked.cost_at(sites["row"], sites["col"]) if cost is not None else np.nan,
            private=[stated.get(cell, "") for cell in cells],
        )
        table_of_plan = plan_table(figures, now, **described)
        other = None
        if choice.exchanged is not None:
            ends = known.new_ends_on(_ground_at(choice.exchanged, ground))
            other = plan_table(choice.exchanged.assign(**_ends_of_p(choice.exchanged, ends)), now, **described)
        zone_ground = zone_table(table_of_plan, around, grid, area.land)
        # a spot on private ground is seen in the middle of its square, as the raster would give it away
        shown = suggested.assign(private=table_of_plan["private"])
        R_plan = R * not_reached(grid, in_squares(shown, grid), median_m=flight.forage_median_m)
        rasters["reach_with_plan"] = np.where(np.isnan(spots.season), np.nan, 1.0 - R_plan)
        owner = where.land_index
        site_owner = owner[sites["row"].to_numpy(int), sites["col"].to_numpy(int)] if len(sites) else np.empty(0, int)
        land_table = place_table(area.land, pools, up, site_owner, spots.season, owner)

    summary = summarise(
        area,
        pools_standing=int(up.sum()),
        occupancy=known.summary,
        seasons=_seasons(area, group),
        reach={
            "now": now,
            "low": low,
            "high": high,
            "with_plan": with_plan,
            "with_plan_low": plan_low,
            "with_plan_high": plan_high,
            "upper_bound": bound.value,
            "index_ha": now * forage_ha,
            "index_ha_with_plan": with_plan * forage_ha,
            "measured_share": _share(weight, spots.measured),
            "by_forage_median_m": {
                f"{m:g}": forage_in_reach(weight, not_reached(grid, places, median_m=m)) for m in FORAGE_MEDIANS_M
            },
        },
        candidates={
            "all": grid.rows * grid.cols,
            "lost": {str(reason): n for reason, n in where.lost.items()},
            "left": where.left,
        },
        plan={
            "pools": len(sites),
            "requested": choice.requested,
            "committed": int(sites["kept"].sum()),
            "objective": settings.plan.objective,
            **_spent(asked, sites, settings.plan.cost_unit),
            "share_of_bound": bound.share(with_plan) if len(sites) and ec_gain is None else None,
            "exchange_gain": choice.exchange_gain if len(sites) else None,
            "provisional": "land" not in area.has,
            "note": _why_fewer(choice, where, forage_ha),
        },
        network=net.summary,
        gaps={"count": len(unserved), "share": float(unserved["share"].sum()) if forage_ha > 0 else None},
        ask_first={"helpful": asks.to_dict("records"), "not_worked_out": asks_left},
        sensitivity=steady.sensitivity.to_dict("records"),
        forage={"lean_month": spots.lean_month, "months": list(settings.season.months)},
        missing=missing_inputs(area.has, int(up.sum()), int(known.searches.searches.sum())),
        warnings=[*known.warnings, *unknown_names(area.land, settings.plan), *_not_kept(area.committed, kept)],
        seconds=clock.seconds,
        versions=versions(__version__),
        cautions=general_cautions(settings),
    )
    return Result(
        title=area.title,
        settings=settings,
        crs=area.crs,
        grid=grid,
        land_cover=area.land_cover,
        rasters={name: np.asarray(raster, dtype=np.float32) for name, raster in rasters.items()},
        forage_months=spots.forage,
        pools=table,
        visits=area.visits,
        trees=trees.assign(likelihood=likelihood),
        places=land_table,
        keep_away=area.keep_away,
        paths=area.paths,
        boundary=area.boundary,
        plan=table_of_plan,
        zones=zone_ground,
        plan_exchanged=other,
        gaps=unserved,
        ask_first=asks,
        sensitivity=steady.sensitivity,
        links=net.links,
        candidates_lost=pd.DataFrame({"reason": [*map(str, where.lost)], "cells": list(where.lost.values())}),
        set_aside=area.ledger.frame(),
        summary=summary,
        credits=area.credits,
        notes=summary["notes"],
        groundwork=Groundwork(weight, R, p_new, where, spots, places, draws, sites),
    )


class Clock:
    """Says what begins, and keeps how many seconds each stage took."""

    def __init__(self, say: Say) -> None:
        self.say = say
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        self.say(stage)
        start = time.perf_counter()
        yield
        self.seconds[stage] = round(time.perf_counter() - start, 3)


def _silent(_line: str) -> None:
    pass


def _flags(area: Area, spots: Habitat, up: Array) -> Array:
    """What a reader must know about each pool's place; "" where there is nothing to say."""
    flags = np.where(up, "", "not standing").astype(object)
    if area.land_cover is None and area.boundary is None:
        return flags
    row, col = area.grid.cell_of(area.pools["x"].to_numpy(float), area.pools["y"].to_numpy(float))
    within = area.grid.inside(row, col)
    r, c = np.where(within, row, 0), np.where(within, col, 0)
    if area.land_cover is not None:
        flags[~within | np.isnan(spots.season[r, c])] = "outside the data"
    if area.boundary is not None:
        flags[~within | ~spots.inside[r, c]] = "outside the boundary"
    return flags


def _draws_of_places(places: pd.DataFrame, known: PoolOccupancy, up: Array) -> Array:
    """Draws x places: a standing pool's drawn chances, a tree's one chance in every draw."""
    draws = np.repeat(places["p"].to_numpy(float)[None, :], len(known.draws), axis=0)
    draws[:, : up.sum()] = known.draws[:, up]
    return draws


def _odds(sites: pd.DataFrame, drawn: Array) -> Array:
    """The drawn odds of the new pools (draws x sites) over those of their expected chances: the factor in the middle
    of the sites, by draw; 1 where the chances are certain."""
    value = sites["p"].to_numpy(dtype=float)
    unsure = (value > 0) & (value < 1) & (drawn.std(axis=0) > 0)
    if not unsure.any():
        return np.ones(len(drawn))
    return np.asarray(np.exp((logit(drawn[:, unsure]) - logit(value[unsure])).mean(axis=1)))


def _ground_at(sites: pd.DataFrame, ground: dict[str, Array]) -> pd.DataFrame:
    """The rasters of the ground at cells (row, col)."""
    row, col = sites["row"].to_numpy(int), sites["col"].to_numpy(int)
    return pd.DataFrame({name: field[row, col] for name, field in ground.items()})


def _interval(values: Array, value: float) -> tuple[float, float]:
    """The middle 95 % of the draws, widened to hold the value itself; NaN where the value is not known."""
    if np.isnan(value) or len(values) == 0:
        return value, value
    low, high = np.percentile(values, [2.5, 97.5])
    return min(float(low), value), max(float(high), value)


def _seasons(area: Area, group: Array) -> dict[str, Any]:
    """Every season by itself, and what can be said about a change."""
    told = seasons(area.visits, area.pools, area.as_of, group)
    return {"each": told.each.to_dict("records"), "same_pools": told.same, "shown": told.shown}


def _intervals(draws: Array, values: Array) -> tuple[Array, Array]:
    """`_interval` for each column of draws x values."""
    ends = [_interval(column, float(value)) for column, value in zip(draws.T, values, strict=True)]
    return np.array([low for low, _ in ends]), np.array([high for _, high in ends])


def _ends_of_p(sites: pd.DataFrame, ends: Array) -> dict[str, Array]:
    """The ends (sites x 2) of the chance at each site, widened to hold the chance itself."""
    p = sites["p"].to_numpy(float)
    return {"occupancy_low": np.minimum(ends[:, 0], p), "occupancy_high": np.maximum(ends[:, 1], p)}


def _spent(asked: Problem, sites: pd.DataFrame, unit: str) -> dict[str, Any]:
    """What the plan costs, of what budget; nothing where none is set."""
    if asked.cost is None:
        return {}
    spent = float(asked.cost_at(sites["row"], sites["col"]).sum())
    return {"budget": asked.budget, "spent": spent, "cost_unit": unit}


def _not_kept(committed: pd.DataFrame, kept: pd.DataFrame) -> list[str]:
    """A word on committed sites that the plan could not keep."""
    lost = len(committed) - len(kept)
    if not lost:
        return []
    some = f"{lost} of {len(committed)} committed sites"
    return [f"{some} are not in the plan: they lie outside the map, or share a cell."]


def _ground(cover: LandCover | None) -> Array | None:
    """What each cell's class says about standing there: "water", "building" or ""; None without land cover."""
    if cover is None:
        return None
    return np.array(["", *cover.table["ground"].fillna("").astype(str)], dtype=object)[cover.classes]


def _as_places(sites: pd.DataFrame, grid: Grid) -> pd.DataFrame:
    """Suggested sites as breeding places."""
    x, y = grid.centre(sites["row"], sites["col"])
    named = sites[["row", "col", "p"]].assign(kind="suggestion", id=sites["rank"].astype(str), x=x, y=y)
    return named[["kind", "id", "x", "y", "row", "col", "p"]]


def _why_fewer(choice: Selection, where: Candidates, forage_ha: float) -> str:
    """Why there are fewer suggestions than asked for; "" where there are not."""
    if not choice.requested and forage_ha <= 0:
        return "no forage is known in the area, so no spot can be said to help"
    if where.left == 0:
        most = max(where.lost, key=lambda reason: where.lost[reason])
        return f"no spot is allowed; most fell out for: {most}"
    return choice.note


def _share(weight: Array, part: Array) -> float:
    """The share of the forage that lies on the cells of `part`; NaN where there is no forage."""
    total = float(np.nansum(weight, dtype=float))
    return float(np.nansum(weight[part], dtype=float)) / total if total > 0 else float("nan")


def _chance_surface(
    chance: Array, spots: Habitat, ground: dict[str, Array], pools: pd.DataFrame, known: PoolOccupancy, grid: Grid
) -> Array:
    """The chance of a new pool (rows x cols) on ground like that of the pools that were looked at."""
    row, col = grid.cell_of(pools["x"], pools["y"])
    at = grid.inside(row, col) & (known.searches.searches > 0)
    used = {"forage_score", "dead_wood_score"} | set(known.surroundings.names if known.surroundings else ())
    scores = [ground[name] for name in sorted(used)]
    return probability_surface(chance, scores, ~np.isnan(spots.season), row[at], col[at])


def _last_outcomes(visits: pd.DataFrame, as_of: Any) -> dict[str, str]:
    """The outcome of each pool's last visit up to as_of."""
    past = visits[visits["date"] <= pd.Timestamp(as_of)].sort_values("date", kind="stable")
    return dict(past.groupby("pool")["outcome"].last())


def _trees_known(pools: pd.DataFrame, area: Area) -> Array:
    """Whether the list of trees tells something at each pool: everywhere, or inside `inventoried` where given."""
    if area.inventoried is None:
        return np.full(len(pools), "trees" in area.has)
    points = gpd.points_from_xy(pools["x"], pools["y"])
    return np.asarray(points.intersects(area.inventoried), dtype=bool)


class _CallableModule(types.ModuleType):
    """Lets `habitatmap.run(area)` work although `habitatmap.run` is also this module."""

    def __call__(self, area: Area, say: Say | None = None) -> Result:
        return run(area, say)


sys.modules[__name__].__class__ = _CallableModule
