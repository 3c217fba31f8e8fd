"""Occupancy with imperfect detection: what the searches of pools say, and how sure that is."""

from habitatmap.survey.constant import Prior
from habitatmap.survey.effort import best_visits, blank_visits, sites_needed, standard_error
from habitatmap.survey.fit import Fit
from habitatmap.survey.models import Goodness, compare_models, goodness_of_fit
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.probabilities import PoolOccupancy, estimate_pools
from habitatmap.survey.searches import Searches, count_searches

__all__ = [
    "Fit",
    "Goodness",
    "PoolOccupancy",
    "Prior",
    "Searches",
    "best_visits",
    "blank_visits",
    "compare_models",
    "count_searches",
    "estimate_pools",
    "fit_occupancy",
    "goodness_of_fit",
    "sites_needed",
    "standard_error",
]
