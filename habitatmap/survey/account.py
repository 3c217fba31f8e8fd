"""The survey as a whole: everything that is known about what was searched, in the order in which it is told."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.read.pools import standing
from habitatmap.survey.codes import Lacking, PlannedWith
from habitatmap.survey.covariates import Covariates, covariates
from habitatmap.survey.effects import COLUMNS as EFFECT_COLUMNS
from habitatmap.survey.effects import effects
from habitatmap.survey.effort import Design, best_survey, best_visits, searches_needed, sites_needed
from habitatmap.survey.false_positives import FalsePositives
from habitatmap.survey.fit import Fit
from habitatmap.survey.models import Goodness, compare_models
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.probabilities import PoolOccupancy, most_informative
from habitatmap.survey.searches import Counts, by_place, labels
from habitatmap.survey.seasons import Seasons, seasons
from habitatmap.survey.spatial_autocorrelation import Blocks, Clustering, block_bootstrap, clustering
from habitatmap.survey.species import SpeciesFigures, by_species, from_checked_larvae
from habitatmap.vocabulary.note import note

SURE = 0.95  # how sure "this pool is empty" is to be
VISIT_HOURS, POOL_HOURS = 0.5, 1.0  # expert judgement: one visit with its way; setting out, asking leave, labelling
WANTED_ERRORS = (0.05, 0.1)
NO_HOURS = 40.0  # what is calculated with where nothing was searched and no budget is given
DESIGNS: tuple[Design, ...] = ("standard", "removal")


class Budget(NamedTuple):
    """What next season may cost: hours in all (None: as many visits as this season), per visit, and per pool."""

    hours: float | None = None
    visit_hours: float = VISIT_HOURS
    pool_hours: float = POOL_HOURS


class Records(NamedTuple):
    """What an area has on record: its frames of pools and visits, and the day of which is spoken; `forbidden`: the
    names of pools that nobody may visit."""

    title: str
    pools: pd.DataFrame
    visits: pd.DataFrame
    as_of: datetime.date
    forbidden: frozenset[str] = frozenset()


class Planned(NamedTuple):
    """The occupancy and detection that the effort of a next season is calculated with, and where they are from."""

    psi: float
    p: float
    basis: PlannedWith


class Resampling(NamedTuple):
    """Squares of the block bootstrap (side in metres), and the surveys simulated for the goodness of fit."""

    block_m: float = 1000.0
    surveys: int = 200


@dataclass(frozen=True)
class Account:
    """What the survey says. Frames have a row per pool in the order of the pools; NaN where something can't be known.

    records: what it was made from; known: the probabilities as `map` uses them; fit: maximum likelihood, by place;
    weak: the same under the prior, both of the season of the headline alone; pools: `known.pools` with searches and
    found (detections) of that season, more_needed (searches without a detection until it is SURE to be empty, given its
    probability now), value (of one more search), stands and may_visit; needed: those for a pool that nobody
    searched; models, effects: covariates; effort: see `_effort`; planned: what it is calculated with.
    """

    records: Records
    known: PoolOccupancy
    fit: Fit
    weak: Fit
    covariates: Covariates
    models: pd.DataFrame
    effects: pd.DataFrame
    false_positives: FalsePositives
    species: list[SpeciesFigures]
    clustering: Clustering
    blocks: Blocks
    pools: pd.DataFrame
    needed: float
    effort: pd.DataFrame
    planned: Planned
    budget: Budget
    seasons: Seasons

    @property
    def few(self) -> bool:
        """No estimate: the searches are too few, or tell nothing."""
        return not self.known.figures.known

    @property
    def goodness(self) -> Goodness:
        """The check of the model in the season of the headline."""
        return self.known.goodness


def take_account(
    records: Records,
    known: PoolOccupancy,
    group: NDArray[np.int64],
    places: pd.DataFrame | None = None,
    budget: Budget | None = None,
    resampling: Resampling | None = None,
) -> Account:
    """Puts everything together, from the records and the probabilities that `estimate_pools` found in them.

    `group`: the place of each pool (pools within merge_m are one); `places`: covariates of each pool's surroundings,
    one row per pool. Twice as many towns are resampled as surveys are simulated.
    """
    spending, how = budget or Budget(), resampling or Resampling()
    pools = records.pools
    if places is not None:
        pools = pd.concat([pools, places.set_axis(pools.index)], axis=1)
    seen, sites, counted = by_place(known.searches, pools, records.visits, group)
    n, d = seen.searches, seen.detections
    fit, weak = fit_occupancy(seen.histories), fit_occupancy(seen.histories, prior=known.prior)
    enough = known.figures.known
    about = covariates(seen, sites, counted, None if places is None else sites[list(places.columns)])
    x, y = sites["x"].to_numpy(dtype=np.float64), sites["y"].to_numpy(dtype=np.float64)
    planned = _planned(known, weak)
    season_end = records.as_of if known.searches.last is None else known.searches.last.date()
    stands = standing(records.pools, records.visits, records.as_of)
    places_standing = len(np.unique(labels(group, len(stands))[stands]))
    return Account(
        records=records,
        known=known,
        fit=fit,
        weak=weak,
        covariates=about,
        models=compare_models(seen.histories, about.site, about.visit, about.models()),
        effects=effects(seen.histories, about.site, about.visit, known.prior)
        if enough
        else pd.DataFrame(columns=EFFECT_COLUMNS),
        false_positives=from_checked_larvae(seen),
        species=by_species(records.visits, pools, season_end, group, known.searches.closed),
        clustering=clustering(x, y, n, d, fit),
        blocks=block_bootstrap(x, y, n, d, how.block_m, 2 * how.surveys)
        if enough
        else Blocks.unknown(note(Lacking.SEARCHES)),
        pools=_pools(known).assign(
            stands=stands, may_visit=stands & ~records.pools["pool"].isin(records.forbidden).to_numpy()
        ),
        needed=float(searches_needed(known.new_draws[:, None], known.detection_draws, SURE)[0]) if enough else np.nan,
        effort=_effort(planned, n, spending, places_standing),
        planned=planned,
        budget=spending,
        seasons=seasons(known),
    )


def _planned(known: PoolOccupancy, weak: Fit) -> Planned:
    """psi and p to plan with: the estimates, or the posterior means where those lie at a limit or are not known."""
    psi, p = known.figures.estimate, known.figures.detection
    if 0 < psi < 1 and 0 < p < 1:
        return Planned(psi, p, PlannedWith.ESTIMATE)
    return Planned(float(weak.psi), float(weak.p), PlannedWith.BAYESIAN)


def _pools(known: PoolOccupancy) -> pd.DataFrame:
    """A row per pool: the season's searches and detections, its probability, and what further searches would tell."""
    frame = known.pools.copy()
    frame.insert(1, "searches", known.searches.searches)
    frame.insert(2, "found", known.searches.detections)
    frame["more_needed"] = np.nan
    if known.figures.known:
        frame["more_needed"] = searches_needed(known.draws, known.detection_draws, SURE)
    value = most_informative(known).set_index("pool")["value"]
    frame["value"] = frame["pool"].map(value).to_numpy()
    return frame


def _effort(planned: Planned, n: Counts, budget: Budget, stand: int) -> pd.DataFrame:
    """One row per design: best number of visits, pools for a wanted error, and what the budget pays for.

    The budget: as given, else what this season took (searches x visit_hours + searched places x pool_hours), at least
    one pool with two visits. It pays for no more than the `stand` places whose pools stand (hours_needed tells what it
    then takes); where none stands, for pools to come.
    """
    psi, p, _ = planned
    spent = float(n.sum()) * budget.visit_hours + float((n > 0).sum()) * budget.pool_hours
    least = 2 * budget.visit_hours + budget.pool_hours
    hours = budget.hours if budget.hours is not None else max(spent, least) if n.any() else NO_HOURS
    rows = []
    for design in DESIGNS:
        visits = best_visits(psi, p, design)
        needed = {f"pools_for_{error:g}": sites_needed(psi, p, visits, error, design) for error in WANTED_ERRORS}
        pays = best_survey(hours, psi, p, budget.visit_hours, budget.pool_hours, design, stand or None)
        pays_for = {"hours": hours, "visits": pays.visits, "pools": pays.sites, "error": pays.error}
        pays_for |= {"hours_needed": pays.hours, "standing": stand}
        rows.append({"design": design, "best_visits": visits} | needed | pays_for)
    return pd.DataFrame(rows)
