"""From what the stages found out to the result: its rasters, its tables, its figures."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import intersects_xy

from habitatmap.area import Area
from habitatmap.geo import scratch
from habitatmap.plan.reach import not_reached, reached_shares, shares_of_gains
from habitatmap.plan.search import Shortfall
from habitatmap.plan.served import Share
from habitatmap.plan.site_ids import letters, number_sites
from habitatmap.plan.terms import unknown_names
from habitatmap.plan.what_it_serves import what_sites_serve
from habitatmap.plan.withdrawn import on_land_asked
from habitatmap.privacy import in_squares, is_private, middle_of_square
from habitatmap.read.plan_status import sites_in
from habitatmap.read.pools import no_visits
from habitatmap.result.figures import (
    CandidateFigures,
    Counts,
    CoverFigures,
    Dominant,
    Figures,
    ForageFigures,
    GapFigures,
    Missing,
    PlanFigures,
    ReachFigures,
    Refusal,
    ServedFigures,
    Spending,
)
from habitatmap.result.findings import Findings
from habitatmap.result.result import Result
from habitatmap.result.tables import (
    PoolFacts,
    Surfaces,
    at_cells,
    intervals,
    place_table,
    plan_table,
    pool_table,
    zone_table,
)
from habitatmap.survey.seasons import seasons
from habitatmap.survey.surroundings import probability_surface
from habitatmap.vocabulary.terms import SiteState, YesNo

Floats = NDArray[np.floating]

# a class with more than this share of the forage is named beside the headline (expert judgement)
MUCH = 0.15
# what is shown beside every figure that rests on the flight median (expert judgement)
FORAGE_MEDIANS_M = (100.0, 500.0)
UNKNOWN = Share(np.nan, np.nan)
LIBRARIES = ("habitatmap", "numpy", "scipy", "geopandas", "shapely", "pyproj", "rasterio")


class Timed(Protocol):
    """The clock of a run."""

    seconds: dict[str, float]


def assemble(found: Findings, clock: Timed, for_public: bool = False) -> Result:
    """The result of a run; `clock` has the seconds of its stages. The public's suggestions have letters for ids."""
    area, habitat, sites = found.area, found.habitat, found.proposal.sites
    surfaces = _surfaces(found)
    table = _pools(found, surfaces)
    plan, exchanged = _plans(found, surfaces)
    zones = zone_table(plan, found.zones, area.grid, area.land)
    register = _name_sites(found, plan, exchanged, zones, for_public)
    owner = found.candidates.land_index
    site_owner = owner[sites["row"].to_numpy(int), sites["col"].to_numpy(int)] if len(sites) else np.empty(0, int)
    shown = {name: raster for name, raster in surfaces.rasters.items() if name != "dead_wood_access"}
    shown["reach_with_plan"] = _reach_with_plan(found, plan["private"])
    return Result(
        title=area.title,
        settings=area.settings,
        crs=area.crs,
        grid=area.grid,
        land_cover=area.land_cover,
        rasters={name: _single(raster) for name, raster in shown.items()},
        forage_months=habitat.forage,
        pools=table,
        visits=area.visits,
        trees=area.trees.assign(rot_hole_probability=found.places.rot_hole_probability),
        places=place_table(surfaces.land, area.pools, found.survey.standing, site_owner, habitat.season, owner),
        keep_away=area.keep_away,
        paths=area.paths,
        boundary=area.boundary,
        plan=plan,
        zones=zones,
        site_ids=register,
        plan_exchanged=exchanged,
        gaps=found.gaps,
        ask_first=found.consents,
        sensitivity=found.robustness.sensitivity,
        links=found.network.links,
        candidates_lost=pd.DataFrame(
            {"reason": [*map(str, found.candidates.lost)], "cells": list(found.candidates.lost.values())}
        ),
        set_aside=area.ledger.frame(),
        figures=_figures(found, clock, {} if for_public else _states(found, plan), _refusals(found, plan)),
        findings=found,
    )


# --- rasters ---------------------------------------------------------------------------------------------------------


def _surfaces(found: Findings) -> Surfaces:
    """The rasters of a result but for reach with the plan, and the dead-wood score, as tables read them."""
    area, habitat = found.area, found.habitat
    rasters: dict[str, Floats] = {
        "forage_season": habitat.season,
        "forage_lean": habitat.least_forage,
        "forage_access": habitat.access,
        "dead_wood": habitat.dead_wood,
        "forage_m": habitat.forage_m,
        "dead_wood_m": habitat.dead_wood_m,
        "reach_now": found.reach.surface(habitat.season),
        "occupancy": _occupancy(found),
        "dead_wood_access": habitat.dead_wood_access,
    }
    return Surfaces(
        area.grid,
        area.crs,
        rasters,
        area.land_cover,
        area.land.assign(place=area.land_called),
        "land" in area.has,
        area.paths,
        area.gazetteer,
    )


def _single(raster: Floats) -> NDArray[np.float32]:
    """The raster in single precision; the same one where it is so already."""
    if raster.dtype == np.float32:
        return raster.view()
    return scratch.cellwise(lambda part: part, raster, dtype=np.float32)


def _occupancy(found: Findings) -> NDArray[np.float32]:
    """The probability that a pool set here is occupied, in surroundings like those of the pools that were searched."""
    grid, pools, survey = found.area.grid, found.area.pools, found.survey
    row, col = grid.cell_of(pools["x"], pools["y"])
    at = grid.inside(row, col) & (survey.known.searches.all_searches > 0)
    used = {"forage_score", "dead_wood_score"} | set(
        survey.known.surroundings.names if survey.known.surroundings else ()
    )
    scores = [survey.surroundings[name] for name in sorted(used)]
    has_data = scratch.cellwise(lambda season: ~np.isnan(season), found.habitat.season, dtype=np.bool_)
    return probability_surface(found.proposal.p_anywhere, scores, has_data, row[at], col[at])


def _reach_with_plan(found: Findings, private: pd.Series) -> Floats:
    """The probability of being reached once the plan is carried out. A site on private ground stands in the middle of
    its square, as the raster would give it away."""
    grid = found.area.grid
    shown = in_squares(found.proposal.as_places(grid).assign(private=private), grid)
    missed = not_reached(grid, shown, median_m=found.proposal.problem.today.median_m)

    def reached(season: Floats, now: Floats, with_sites: Floats) -> Floats:
        return np.where(np.isnan(season), np.nan, 1.0 - now * with_sites)

    rasters = found.habitat.season, found.reach.not_reached, missed
    return scratch.cellwise(reached, *rasters, dtype=np.float32)


# --- tables ----------------------------------------------------------------------------------------------------------


def _pools(found: Findings, surfaces: Surfaces) -> pd.DataFrame:
    """pools.csv."""
    area, survey = found.area, found.survey
    facts = PoolFacts(
        standing=survey.standing,
        flags=survey.flags,
        no_visit=np.where(survey.standing, no_visits(area.pools, area.land, area.as_of), ""),
        private=is_private(area.pools, area.land),
        trees_known=_trees_known(area),
        lost_without=found.reach.lost_without,
        searched=survey.known.pools.set_index("pool"),
        last_outcome=_last_outcomes(area),
    )
    rot_hole = found.places.frame[found.places.frame["kind"] == "tree"]
    return pool_table(area.pools, facts, surfaces, area.trees, rot_hole)


def _last_outcomes(area: Area) -> dict[str, str]:
    """The outcome of each pool's last visit up to as_of."""
    past = area.visits[area.visits["date"] <= pd.Timestamp(area.as_of)].sort_values("date", kind="stable")
    return dict(past.groupby("pool")["outcome"].last())


def _trees_known(area: Area) -> NDArray[np.bool_]:
    """Whether the list of trees tells something at each pool: everywhere, or inside `inventoried` where given."""
    if area.inventoried is None:
        return np.full(len(area.pools), "trees" in area.has)
    return np.asarray(intersects_xy(area.inventoried, area.pools["x"], area.pools["y"]), dtype=bool)


def _plans(found: Findings, surfaces: Surfaces) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    """plan.csv, and plan_exchanged.csv where interchange found a better set."""
    proposal, sites, promise = found.proposal, found.proposal.sites, found.promise
    standing = found.area.pools[found.survey.standing]
    stated = {(row, col): word for row, col, word in proposal.kept[["row", "col", "private"]].itertuples(index=False)}
    low, high = intervals(promise.gains, sites["gain"].to_numpy(float))
    assumed = scratch.cellwise(np.logical_not, found.habitat.measured, dtype=np.bool_)
    figures = _with_ends(found, sites).assign(
        gain_low=low,
        gain_high=high,
        # a committed site stays whatever is assumed, so its share says nothing of it
        robustness=np.where(sites["kept"], np.nan, found.robustness.share) if proposal.by_reach else np.nan,
        **what_sites_serve(
            found.habitat.forage,
            found.habitat.weight,
            found.reach.not_reached,
            found.habitat.forage.classes,
            sites,
            proposal.problem.today.kernel,
            found.area.grid.cell_ha,
        ),
        served_open=found.served.by_site["served_open"],
        served_closed=found.served.by_site["served_closed"],
        ec_gain=np.nan if proposal.ec_gain is None else proposal.ec_gain,
        assumed_share=shares_of_gains(
            found.habitat.weight, found.reach.not_reached, sites, assumed, proposal.problem.today.kernel
        ),
        cost=np.nan if proposal.problem.cost is None else proposal.problem.cost_at(sites["row"], sites["col"]),
        private=[stated.get(cell, "") for cell in zip(sites["row"], sites["col"], strict=True)],
    )
    plan = plan_table(figures, found.reach.now, surfaces, found.candidates, standing)
    better = proposal.selection.exchanged
    if better is None:
        return plan, None
    return plan, plan_table(_with_ends(found, better), found.reach.now, surfaces, found.candidates, standing)


def _name_sites(
    found: Findings, plan: pd.DataFrame, exchanged: pd.DataFrame | None, zones: gpd.GeoDataFrame, for_public: bool
) -> gpd.GeoDataFrame:
    """Writes the sites' ids into the tables, and gives the register of all ids."""
    sites, earlier = found.proposal.sites, found.area.earlier_sites
    private = (plan["private"] == YesNo.YES).to_numpy()
    if for_public:
        shown = iter(letters(int((~private).sum())))
        ids, register = ["" if hidden else next(shown) for hidden in private], earlier.iloc[:0]
    else:
        x, y = found.area.grid.centre(sites["row"], sites["col"])
        middle_x, middle_y = middle_of_square(x, y)
        x, y = np.where(private, middle_x, x), np.where(private, middle_y, y)
        kept = found.proposal.kept
        own = dict(zip(zip(kept["row"], kept["col"], strict=True), kept["id"], strict=True))
        known = [own.get(cell, "") for cell in zip(sites["row"], sites["col"], strict=True)]
        closed = [one.id for one in sites_in(found.area.plan_status, *SiteState) if not one.state.is_open]
        earlier = on_land_asked(earlier, found.area.plan_status, found.area.land)
        ids, register = number_sites(x, y, private, zones.geometry, earlier=earlier, known=known, closed=closed)
    plan["id"] = zones["id"] = ids
    status = found.area.plan_status
    states = dict(zip(status["id"], status["state"], strict=True))
    plan["state"] = ["" if for_public else states.get(one, SiteState.TO_ASK.value) for one in ids]
    better = found.proposal.selection.exchanged
    if exchanged is not None and better is not None:
        of_cell = dict(zip(zip(sites["row"], sites["col"], strict=True), ids, strict=True))
        exchanged["id"] = [of_cell.get(cell, "") for cell in zip(better["row"], better["col"], strict=True)]
        exchanged["state"] = [states.get(one, "") if one and not for_public else "" for one in exchanged["id"]]
    return register


def _with_ends(found: Findings, sites: pd.DataFrame) -> pd.DataFrame:
    """The sites with the ends of the probability at each, widened to hold the probability itself."""
    ends = found.survey.known.new_ends_on(at_cells(found.survey.surroundings, sites))
    p = sites["p"].to_numpy(float)
    return sites.assign(occupancy_low=np.minimum(ends[:, 0], p), occupancy_high=np.maximum(ends[:, 1], p))


# --- figures ---------------------------------------------------------------------------------------------------------


def _states(found: Findings, plan: pd.DataFrame) -> dict[str, int]:
    """How many sites are in each state; of those still to ask about, the ones of the plan."""
    said = found.area.plan_status["state"]
    begun, open_ones = said[said != SiteState.TO_ASK], plan.loc[plan["state"] == SiteState.TO_ASK, "state"]
    counted = pd.concat([begun, open_ones]).value_counts()
    return {state.value: int(counted.get(state.value, 0)) for state in SiteState}


def _refusals(found: Findings, plan: pd.DataFrame) -> tuple[Refusal, ...]:
    """What was refused, with the ids of the sites in its place."""
    ids = dict(zip(plan["rank"], plan["id"], strict=True))
    return tuple(
        Refusal(
            sites=tuple(str(row["ids"]).split(", ")),
            place=row["place"],
            private=row["private"] == YesNo.YES,
            cost=float(row["cost"]),
            in_reach=float(row["in_reach"]),
            instead=str(ids.get(row["instead"], "")),
        )
        for row in found.refusals.to_dict("records")
    )


def _figures(found: Findings, clock: Timed, states: Mapping[str, int], refusals: tuple[Refusal, ...]) -> Figures:
    """Everything that summary.json says, but for its sentences."""
    area, grid, cover, survey = found.area, found.area.grid, found.area.land_cover, found.survey
    lost = {str(reason): n for reason, n in found.candidates.lost.items()}
    share = float(found.gaps["share"].sum()) if found.forage_cells > 0 else np.nan
    decided = len(area.committed) + int((area.plan_status["state"] == SiteState.AGREED).sum())
    return Figures(
        title=area.title,
        crs=area.crs.to_string(),
        crs_name=area.crs.name,
        cell_m=grid.cell_m,
        cells=grid.rows * grid.cols,
        as_of=area.as_of,
        intake={kind: Counts(**counted) for kind, counted in area.ledger.counts().items()},
        pools_standing=int(survey.standing.sum()),
        pools_on_record=len(survey.standing),
        occupancy=survey.known.figures,
        seasons=seasons(survey.known),
        forage_in_reach=_reach(found),
        candidates=CandidateFigures(grid.rows * grid.cols, lost, found.candidates.left),
        plan=_plan(found, states, refusals),
        served=ServedFigures(
            years=found.served.years,
            now=found.served.now if found.forage_cells > 0 else UNKNOWN,
            with_plan=found.served.with_plan if found.forage_cells > 0 else UNKNOWN,
            rules=found.served.rules,
            share_of_limit=found.served_limits.share(found.served_limits.full),
            share_of_limit_if_found=found.served_limits.share(found.served_limits.conditional),
        ),
        how_many=found.how_many,
        network=found.network.figures,
        gaps=GapFigures(len(found.gaps), share),
        consents_left=found.consents_left,
        forage=ForageFigures(found.habitat.least_forage_month, tuple(area.settings.season.months)),
        missing=tuple(_missing(found)),
        land_cover=CoverFigures(cover.name, tuple(cover.unmatched), cover.doubts) if cover else None,
        dominant=_dominant(found),
        notes=(*area.notes, *area.ledger.remarks),
        survey_warnings=tuple(survey.known.warnings),
        unknown_names=tuple(unknown_names(area.land, area.settings.plan)),
        committed_left_out=(decided - len(found.proposal.kept), decided),
        seconds=clock.seconds,
        versions=versions(),
        credits=tuple(area.credits),
        inputs=area.inputs,
        not_used=tuple(one._replace(table=None) for one in area.ledger.unused),
    )


def _reach(found: Findings) -> ReachFigures:
    """Forage in reach, now and with the plan."""
    weight, reach, grid = found.habitat.weight, found.reach, found.area.grid
    with_plan, promise = found.proposal.selection.with_plan, found.promise
    measured = float(scratch.total(_sum_where, weight, found.habitat.measured))
    sets = found.places.frame, found.proposal.sites
    by_median = {f"{m:g}": reached_shares(weight, *sets, cell_m=grid.cell_m, median_m=m) for m in FORAGE_MEDIANS_M}
    return ReachFigures(
        now=reach.now,
        low=promise.now[0],
        high=promise.now[1],
        with_plan=with_plan,
        with_plan_low=promise.with_plan[0],
        with_plan_high=promise.with_plan[1],
        upper_bound=found.bound.value,
        index_ha=reach.now * found.forage_ha,
        index_ha_with_plan=with_plan * found.forage_ha,
        measured_share=measured / found.forage_cells if found.forage_cells > 0 else np.nan,
        by_forage_median_m={of: now for of, (now, _) in by_median.items()},
        with_plan_by_forage_median_m={of: with_sites for of, (_, with_sites) in by_median.items()},
    )


def _sum_where(values: Floats, here: NDArray[np.bool_]) -> float:
    return float(np.nansum(values[here], dtype=float))


def _dominant(found: Findings) -> tuple[Dominant, ...]:
    """The classes that hold more than MUCH of the area's forage."""
    cover, weight = found.area.land_cover, found.habitat.weight
    if cover is None or not found.forage_cells > 0:
        return ()
    n = len(cover.table) + 1

    def summed(classes: NDArray[np.integer], forage: Floats) -> Floats:
        counted = np.bincount(classes.ravel(), np.nan_to_num(forage).ravel().astype(float), minlength=n)
        return np.asarray(counted, dtype=np.float64)

    by_class = scratch.total(summed, cover.classes, weight)[1:]
    shares = pd.DataFrame(
        {"share": by_class / by_class.sum(), "label": cover.table["label"], "basis": cover.table["basis"]}
    )
    # two tables in use, or two codes of one, may have the same label
    by_label = shares.groupby(["label", "basis"])["share"].sum().reset_index()
    most = by_label[by_label["share"] > MUCH].sort_values(["share", "label"], ascending=[False, True])
    return tuple(Dominant(row["label"], row["share"], row["basis"]) for row in most.to_dict("records"))


def _plan(found: Findings, states: Mapping[str, int], refusals: tuple[Refusal, ...]) -> PlanFigures:
    """The plan as a whole."""
    proposal, sites, settings = found.proposal, found.proposal.sites, found.area.settings.plan
    asked, spending = proposal.problem, None
    if asked.cost is not None:
        spent = float(asked.cost_at(sites["row"], sites["col"]).sum())
        spending = Spending(asked.budget, spent, settings.cost_unit)
    by_bound = len(sites) and proposal.by_reach
    shortfall, lost_most = _shortfall(found)
    return PlanFigures(
        pools=len(sites),
        requested=proposal.selection.requested,
        committed=int(sites["kept"].sum()),
        objective=settings.objective,
        spending=spending,
        share_of_bound=found.bound.share(proposal.selection.with_plan) if by_bound else np.nan,
        exchange_gain=proposal.selection.exchange_gain if len(sites) else np.nan,
        provisional="land" not in found.area.has,
        shortfall=shortfall,
        lost_most=lost_most,
        states=states,
        refusals=refusals,
        bound_ended=str(found.bound.ended) if by_bound else "",
    )


def _shortfall(found: Findings) -> tuple[Shortfall, str]:
    """Why there are fewer suggestions than asked for, with the reason that took most cells where none is left."""
    lost, selection = found.candidates.lost, found.proposal.selection
    if not selection.requested and found.forage_cells <= 0:
        return Shortfall.NO_FORAGE, ""
    if found.candidates.left == 0:
        return Shortfall.NONE_ALLOWED, str(max(lost, key=lambda reason: lost[reason]))
    return selection.shortfall, ""


def _missing(found: Findings) -> list[Missing]:
    """What is not there, in the order of its weight."""
    has, lacking = found.area.has, []
    for kind in Missing:
        if kind is Missing.NO_POOL_STANDS:
            there = "pools" not in has or bool(found.survey.standing.any())
        elif kind is Missing.NO_SEARCH_COUNTS:
            there = "visits" not in has or bool(found.survey.known.searches.all_searches.sum() > 0)
        else:
            there = kind.value in has
        if not there:
            lacking.append(kind)
    return lacking


def versions() -> dict[str, str]:
    """The version of this program and of the libraries that shape its figures."""
    return dict(_versions())


@cache
def _versions() -> tuple[tuple[str, str], ...]:
    found = []
    for name in LIBRARIES:
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            continue
    return tuple(found)
