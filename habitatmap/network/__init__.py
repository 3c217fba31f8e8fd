"""Breeding places and the flight between them."""

from habitatmap.network.importance import connectivity
from habitatmap.network.metapopulation import incidence, metapopulation_capacity

__all__ = ["connectivity", "incidence", "metapopulation_capacity"]
