"""What each cell offers: forage by month, dead wood, distances."""

from habitatmap.habitat.access import access_mean
from habitatmap.habitat.distance import distance_to

__all__ = ["access_mean", "distance_to"]
