"""What is really in the pools: occupancy when a look can miss what is there, and what a survey can tell."""

from habitatmap.survey.constant import Prior
from habitatmap.survey.effort import best_visits, blank_visits, sites_needed, standard_error
from habitatmap.survey.fit import Fit
from habitatmap.survey.models import Goodness, compare_models, goodness_of_fit
from habitatmap.survey.occupancy import fit_occupancy
from habitatmap.survey.probabilities import Chances, chances
from habitatmap.survey.searches import Looks, looks

__all__ = [
    "Chances",
    "Fit",
    "Goodness",
    "Looks",
    "Prior",
    "best_visits",
    "blank_visits",
    "chances",
    "compare_models",
    "fit_occupancy",
    "goodness_of_fit",
    "looks",
    "sites_needed",
    "standard_error",
]
