"""Breeding places and the flight between them."""

from habitatmap.network.connectivity import (
    articulations,
    components,
    connectivity,
    equivalent_connectivity,
    estimated_connectivity,
    links,
)
from habitatmap.network.metapopulation import incidence, metapopulation_capacity
from habitatmap.network.places import breeding_places, merged, network_places

__all__ = [
    "articulations",
    "breeding_places",
    "components",
    "connectivity",
    "equivalent_connectivity",
    "estimated_connectivity",
    "incidence",
    "links",
    "merged",
    "metapopulation_capacity",
    "network_places",
]
