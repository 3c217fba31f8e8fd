"""The survey as a whole: everything that is told about what was searched, in the order in which it is told."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import chi2

from habitatmap.survey.covariates import Covariates, covariates
from habitatmap.survey.effects import COLUMNS as EFFECT_COLUMNS
from habitatmap.survey.effects import effects
from habitatmap.survey.effort import Design, best_survey, best_visits, blank_visits, sites_needed
from habitatmap.survey.false_positives import FalsePositives
from habitatmap.survey.fit import Fit
from habitatmap.survey.models import Goodness, compare_models, goodness_of_fit
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.probabilities import PoolOccupancy, most_informative
from habitatmap.survey.searches import one_per_place
from habitatmap.survey.seasons import Seasons, seasons
from habitatmap.survey.spatial_autocorrelation import Blocks, Clustering, block_bootstrap, clustering
from habitatmap.survey.species import by_species, from_checked_larvae

MOST_SURE = 1 - 1e-12  # a wider interval than this says no more
SURE = 0.95  # how sure "this pool is empty" is to be
VISIT_HOURS, POOL_HOURS = 0.5, 1.0  # expert judgement: one visit with its way; setting out, asking leave, labelling
WANTED_ERRORS = (0.05, 0.1)
NO_EFFECTS = pd.DataFrame(columns=EFFECT_COLUMNS)
NO_BLOCKS = Blocks(np.nan, np.nan, 0, np.nan, 0, "the searches are too few")
NO_HOURS = 40.0  # what is reckoned with where nothing was searched and no budget is given
DESIGNS: dict[Design, str] = {
    "standard": "the same number of visits at every pool",
    "removal": "stop at the first find",
}


class Budget(NamedTuple):
    """What next season may cost: hours in all (None: as many visits as this season), per visit, and per pool."""

    hours: float | None = None
    visit_hours: float = VISIT_HOURS
    pool_hours: float = POOL_HOURS


@dataclass(frozen=True)
class Account:
    """What the survey says. Frames have a row per pool in the order of the pools; NaN where something can't be known.

    known: the probabilities as `map` uses them; fit: maximum likelihood, by place; weak: the same under the prior;
    pools: `known.pools` with searches and detections of this season, more_needed (non-detections until it is SURE to be
    empty, given its probability now) and value (of one more search); models, effects: covariates; sure: psi and p that
    effort is reckoned with, and where they are from.
    """

    title: str
    as_of: datetime.date
    known: PoolOccupancy
    fit: Fit
    weak: Fit
    widened: tuple[float, float]
    goodness: Goodness
    covariates: Covariates
    models: pd.DataFrame
    effects: pd.DataFrame
    false_positives: FalsePositives
    species: pd.DataFrame
    clustering: Clustering
    blocks: Blocks
    pools: pd.DataFrame
    effort: pd.DataFrame
    sure: tuple[float, float, str]
    budget: Budget
    seasons: Seasons

    @property
    def few(self) -> bool:
        """Too few searches to estimate from."""
        return self.known.summary["estimate"] is None


def take_account(
    title: str,
    pools: pd.DataFrame,
    visits: pd.DataFrame,
    as_of: datetime.date,
    known: PoolOccupancy,
    group: NDArray[np.int64],
    places: pd.DataFrame | None = None,
    block_m: float = 1000.0,
    budget: Budget | None = None,
    resamples: int = 200,
) -> Account:
    """Puts everything together, from the frames of the area and the probabilities that `probabilities` found in them.

    `group`: the place of each pool (pools within merge_m are one); `places`: covariates of each pool's ground, one row
    per pool; `block_m`: side of the squares of the block bootstrap, metres; `resamples`: surveys simulated for the
    goodness of fit, and half the towns resampled.
    """
    spending = budget or Budget()
    if places is not None:
        pools = pd.concat([pools, places.set_axis(pools.index)], axis=1)
    seen, sites, counted = one_per_place(known.searches, pools, visits, group)
    n, d = seen.searches, seen.detections
    fit, weak = fit_occupancy(seen.histories), fit_occupancy(seen.histories, prior=known.prior)
    enough = known.summary["estimate"] is not None
    goodness = goodness_of_fit(seen.histories, surveys=resamples if enough else 0)
    about = covariates(seen, sites, counted, None if places is None else sites[list(places.columns)])
    models = compare_models(seen.histories, about.site, about.visit, about.models())
    x, y = sites["x"].to_numpy(dtype=np.float64), sites["y"].to_numpy(dtype=np.float64)
    psi, p, basis = _sure(fit, weak, enough)
    return Account(
        title=title,
        as_of=as_of,
        known=known,
        fit=fit,
        weak=weak,
        widened=_widened(fit, goodness) if enough else (np.nan, np.nan),
        goodness=goodness,
        covariates=about,
        models=models,
        effects=effects(seen.histories, about.site, about.visit, known.prior) if enough else NO_EFFECTS,
        false_positives=from_checked_larvae(seen),
        species=by_species(visits, pools, as_of, group),
        clustering=clustering(x, y, n, d, fit),
        blocks=block_bootstrap(x, y, n, d, block_m, 2 * resamples) if enough else NO_BLOCKS,
        pools=_pools(known, p),
        effort=_effort(psi, p, n, spending),
        sure=(psi, p, basis),
        budget=spending,
        seasons=seasons(visits, pools, as_of, group),
    )


def _sure(fit: Fit, weak: Fit, enough: bool) -> tuple[float, float, str]:
    """psi and p to plan with: the estimates, or the posterior means where those lie at a limit or are not told."""
    if enough and 0 < fit.psi < 1 and 0 < fit.p < 1:
        return float(fit.psi), float(fit.p), "this season's estimate"
    return float(weak.psi), float(weak.p), "this season's searches, weighed with an expert value"


def _widened(fit: Fit, goodness: Goodness) -> tuple[float, float]:
    """The interval for a misfit: the profile's limit times the overdispersion, at least 1 (quasi-likelihood)."""
    factor = max(1.0, goodness.overdispersion) if np.isfinite(goodness.overdispersion) else 1.0
    level = min(float(chi2.cdf(factor * chi2.ppf(0.95, 1), 1)), MOST_SURE)
    low, high = fit.interval(level)
    return float(low), float(high)


def _pools(known: PoolOccupancy, p: float) -> pd.DataFrame:
    """A row per pool: this season's searches and finds, its probability, and what further searches would tell."""
    frame = known.pools.rename(columns={"visits": "searches_ever", "detections": "detections_ever"})
    frame.insert(1, "searches", known.searches.searches)
    frame.insert(2, "detections", known.searches.detections)
    frame["more_needed"] = [
        blank_visits(p, SURE, probability) if 0 < probability < 1 else np.nan
        for probability in frame["occupancy"].tolist()
    ]
    value = most_informative(known).set_index("pool")["value"]
    frame["value"] = frame["pool"].map(value).to_numpy()
    return frame


def _effort(psi: float, p: float, n: NDArray[Any], budget: Budget) -> pd.DataFrame:
    """One row per design: best number of visits, pools for a wanted error, and what the budget pays for."""
    spent = float(n.sum()) * budget.visit_hours + float((n > 0).sum()) * budget.pool_hours
    least = 2 * budget.visit_hours + budget.pool_hours
    hours = budget.hours if budget.hours is not None else max(spent, least) if n.any() else NO_HOURS
    rows = []
    for design in DESIGNS:
        visits = best_visits(psi, p, design)
        row: dict[str, Any] = {"design": design, "best_visits": visits}
        for error in WANTED_ERRORS:
            row[f"pools_for_{error:g}"] = sites_needed(psi, p, visits, error, design)
        pays = best_survey(hours, psi, p, budget.visit_hours, budget.pool_hours, design)
        row |= {"hours": hours, "visits": pays.visits, "pools": pays.sites, "error": pays.error}
        rows.append(row)
    return pd.DataFrame(rows)
