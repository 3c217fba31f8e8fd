"""What each cell offers to the adults: everything the habitat room knows, computed once for an area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from habitatmap.area import Area
from habitatmap.geo import scratch
from habitatmap.geo.engine import THREADS, Engine
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.habitat.access import access_and_share
from habitatmap.habitat.dead_wood import dead_wood
from habitatmap.habitat.distance import distance_to
from habitatmap.habitat.forage import (
    MonthlyForage,
    by_class,
    class_column,
    forage_by_month,
    least_forage,
    season_mean,
)
from habitatmap.read.land_cover import LandCover

# a threshold stated as 0.4 is met by the float32 mean of eight months of 0.4, whatever its last digit
TOLERANCE = 1e-6

Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Habitat:
    """Arrays on the area's frame; float32 with NaN unless stated. Forage and dead wood are 0-1, distances metres."""

    forage: MonthlyForage  # (12, rows, cols), January first
    season: NDArray[np.float32]  # mean of the season's known months
    least_forage: NDArray[np.float32]  # forage of the month in which the area has least
    least_forage_month: int | None
    access: NDArray[np.float32]  # forage score: kernel mean of `season` around the cell
    access_share: NDArray[np.float32]  # share of that kernel that fell on cells with data
    dead_wood: NDArray[np.float32]
    dead_wood_access: NDArray[np.float32]  # dead-wood score: kernel mean of dead wood around the cell
    forage_m: NDArray[np.float64]  # to the nearest cell whose season mean reaches [near] forage_from
    dead_wood_m: NDArray[np.float64]  # to the nearest cell whose dead wood reaches [near] dead_wood_from
    inside: NDArray[np.bool_]  # cell centre inside the boundary; all cells without one
    weight: NDArray[np.float32]  # w: season mean inside the boundary, 0 outside, NaN without data
    measured: NDArray[np.bool_]  # the class's value is not marked as assumed (gardens, mowing)


def score_habitat(area: Area, engine: Engine = THREADS) -> Habitat:
    """Forage by month, its access within flight, dead wood, and the distance to the nearest good cell of each.

    Good are cells whose season mean reaches [near] forage_from, or whose dead wood reaches [near] dead_wood_from.
    """
    grid, cover, settings = area.grid, area.land_cover, area.settings
    first, last = settings.season.first_month, settings.season.last_month
    median_m = settings.flight.forage_median_m

    forage = forage_by_month(cover, area.trees, area.tree_table, grid)
    season = season_mean(forage, first, last, engine)
    if area.boundary is None:
        inside = scratch.full(grid.shape, True, np.bool_)
    else:
        inside = cells_in([area.boundary], grid)
    least, poorest = least_forage(forage, first, last, inside)
    access, share = access_and_share(season, grid.cell_m, median_m, engine)

    wood = dead_wood(cover, area.trees, area.tree_table, grid, engine)
    # a tree tells of its own cell, not of the ground around it: the mean is over ground whose class has a value
    if cover is None:
        surveyed = scratch.zeros(grid.shape, np.bool_)
    else:
        surveyed = by_class(cover.classes, ~np.isnan(class_column(cover, "dead_wood")), engine)
    wood_access, _ = access_and_share(
        scratch.cellwise(_where, surveyed, wood, dtype=np.float32), grid.cell_m, median_m, engine
    )

    return Habitat(
        forage=forage,
        season=season,
        least_forage=least,
        least_forage_month=poorest,
        access=scratch.cellwise(_known_here, season, access, dtype=np.float32),
        access_share=share,
        dead_wood=wood,
        dead_wood_access=scratch.cellwise(
            lambda of, known, around: _where(~np.isnan(of) | known, around),
            season,
            surveyed,
            wood_access,
            dtype=np.float32,
        ),
        forage_m=_distance(season, settings.near.forage_from, grid, engine),
        dead_wood_m=_distance(wood, settings.near.dead_wood_from, grid, engine),
        inside=inside,
        weight=scratch.cellwise(
            lambda of, within: np.where(~np.isnan(of) & ~within, np.float32(0), of), season, inside, dtype=np.float32
        ),
        measured=_measured(cover, grid, engine),
    )


def _known_here(season: Singles, around: Singles, *surveyed: NDArray[np.bool_]) -> Singles:
    """What lies around, where the season is known or the ground was surveyed."""
    return _where(np.logical_or.reduce([~np.isnan(season), *surveyed]), around)


def _where(known: NDArray[np.bool_], values: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.where(known, values, np.float32(np.nan))


def _distance(field: NDArray[np.float32], least: float, grid: Grid, engine: Engine) -> NDArray[np.float64]:
    """Metres to the nearest cell of at least so much."""
    enough = scratch.cellwise(lambda values: values >= least - TOLERANCE, field, dtype=np.bool_)
    return distance_to(enough, grid.cell_m, engine)


def _measured(cover: LandCover | None, grid: Grid, engine: Engine) -> NDArray[np.bool_]:
    """Cells whose class is known and not marked as assumed."""
    if cover is None:
        return scratch.zeros(grid.shape, np.bool_)
    assumed = cover.table["assumed"].fillna("").astype(str).str.strip() != ""
    return np.asarray(by_class(cover.classes, np.append(False, ~assumed.to_numpy()), engine))
