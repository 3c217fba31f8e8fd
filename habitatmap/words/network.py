"""What the figures of the network are measured in."""

from __future__ import annotations

from habitatmap.network.web import LinkProbability, Weight

WEIGHT = {
    Weight.OCCUPANCY_TIMES_ACCESS: "probability of being occupied times forage access; 0 where access is not known",
}
LINK_PROBABILITY = {
    LinkProbability.REACH: "share of dispersal flights that get at least that far, 0 beyond link_m",
}
