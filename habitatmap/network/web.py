"""The network as a reader sees it: its links as lines, and its figures for the summary."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.sparse import coo_array, csr_array, triu

from habitatmap.network.graph import articulations, components, links, needed_links
from habitatmap.network.importance import (
    EstimatedConnectivity,
    equivalent_connectivity,
    estimated_connectivity,
    pair_sum_from,
)
from habitatmap.network.places import merged, network_places
from habitatmap.read.settings import FlightSettings

Floats = NDArray[np.floating]


# so many places are looked from in a component of more: 20,000 places then take seconds, an error of ec a few percent
MOST_SOURCES = 400
MOST_LINES = 20_000  # of more links those are drawn that best paths need, whichever place is lost


class Weight(StrEnum):
    """What a breeding place of the network counts for."""

    OCCUPANCY_TIMES_ACCESS = "occupancy times access"


class LinkProbability(StrEnum):
    """What the probability of a link is."""

    REACH = "reach weight"


@dataclass(frozen=True)
class CostliestLoss:
    """The breeding place without which most of the pair sum goes (`loss_percent`): its members' kinds and names, its
    number, mean position (metres in the area's CRS), and whether the network falls apart without it.
    """

    place: str
    place_number: int
    x: float
    y: float
    loss_percent: float
    cuts_the_network: bool


@dataclass(frozen=True)
class NetworkFigures:
    """The network in figures. ec: equivalent connectivity in units of weight, NaN where there is no breeding place or
    no forage access is known; its standard error is 0 where it is exact. cut_places: how many breeding places hold the
    network together. costliest_loss: None where nothing has a weight.
    """

    places: int
    components: int
    links: int
    ec_now: float
    ec_with_plan: float
    ec_standard_error: float
    cut_places: int
    link_m: float
    weight: Weight
    link_probability: LinkProbability
    costliest_loss: CostliestLoss | None


@dataclass(frozen=True)
class Web:
    """links: from_place, to_place, length_m, probability and a line in the area's CRS, of more than MOST_LINES those
    that best paths need; figures: of the whole network."""

    links: gpd.GeoDataFrame
    figures: NetworkFigures


def describe_network(
    places: pd.DataFrame, sites: pd.DataFrame, access: Floats, flight: FlightSettings, crs: CRS
) -> Web:
    """The network of breeding places, now and with the suggested sites.

    Places within merge_m are one; they are joined by flights of at most link_m; each is worth its probability of being
    occupied times its forage access (rows, cols; 0-1, NaN = not known). `places` as from `breeding_places`; `sites` are
    the suggestions (x, y, row, col, p).
    """
    nodes = network_places(places, access)
    joined, every = _links(nodes, flight)
    worth = estimated_connectivity(nodes["weight"], joined, MOST_SOURCES)
    cut = articulations(joined)
    known = len(nodes) > 0 and not bool(np.all(np.isnan(access)))
    figures = NetworkFigures(
        places=len(nodes),
        components=len(set(components(joined).tolist())),
        links=every,
        ec_now=worth.ec if known else math.nan,
        ec_with_plan=_with_sites(places, sites, nodes, worth, access, flight) if known else math.nan,
        ec_standard_error=worth.standard_error,
        cut_places=int(cut.sum()),
        link_m=flight.link_m,
        weight=Weight.OCCUPANCY_TIMES_ACCESS,
        link_probability=LinkProbability.REACH,
        costliest_loss=_costliest(places, nodes, worth, cut) if worth.pair_sum > 0 else None,
    )
    return Web(_lines(nodes, triu(joined, k=1).tocoo(), crs), figures)


def _links(nodes: pd.DataFrame, flight: FlightSettings) -> tuple[csr_array, int]:
    """The links, or where they are more than MOST_LINES those that best paths need whichever place is lost: what hangs
    together does so by these alone; and how many there are."""
    needed, every = needed_links(nodes, flight.link_m, flight.dispersal_median_m)
    return (needed if every > MOST_LINES else links(nodes, flight.link_m, flight.dispersal_median_m)), every


def _costliest(
    places: pd.DataFrame, nodes: pd.DataFrame, worth: EstimatedConnectivity, cut: NDArray[np.bool_]
) -> CostliestLoss:
    """The first of the nodes whose loss is largest."""
    loss = worth.importance["loss"].to_numpy()
    most = int(np.nanargmax(loss))
    node = nodes.iloc[most]
    members = places[places["place"] == node["place"]]
    return CostliestLoss(
        place=", ".join(f"{kind} {name}" for kind, name in zip(members["kind"], members["id"], strict=True)),
        place_number=int(node["place"]),
        x=float(node["x"]),
        y=float(node["y"]),
        loss_percent=float(loss[most]),
        cuts_the_network=bool(cut[most]),
    )


def _with_sites(
    places: pd.DataFrame,
    sites: pd.DataFrame,
    nodes: pd.DataFrame,
    worth: EstimatedConnectivity,
    access: Floats,
    flight: FlightSettings,
) -> float:
    """ec with the suggestions as well.

    Where ec now is an estimate, so is this, from the same sources, so that the two can be compared; the suggestions are
    then places of their own and all of them sources.
    """
    both = pd.concat([places, sites.assign(kind="suggestion")], ignore_index=True)
    if worth.standard_error == 0.0:
        later = network_places(both.assign(place=merged(both["x"], both["y"], flight.merge_m)), access)
        return equivalent_connectivity(later["weight"], _links(later, flight)[0])
    new = network_places(sites.assign(kind="suggestion", place=np.arange(len(sites))), access)
    later = pd.concat([nodes, new], ignore_index=True)
    sources = np.concatenate([worth.sources, np.arange(len(nodes), len(later))])
    counts_for = np.concatenate([worth.counts_for, new["weight"].to_numpy(float)])
    return math.sqrt(pair_sum_from(later["weight"], _links(later, flight)[0], sources, counts_for))


def _lines(nodes: pd.DataFrame, pairs: coo_array, crs: CRS) -> gpd.GeoDataFrame:
    """A line for each linked pair of places."""
    xy, name = nodes[["x", "y"]].to_numpy(float), nodes["place"].to_numpy()
    start, end = xy[pairs.row], xy[pairs.col]
    frame = gpd.GeoDataFrame(
        {
            "from_place": name[pairs.row],
            "to_place": name[pairs.col],
            "length_m": np.hypot(*(start - end).T),
            "probability": pairs.data,
        },
        geometry=list(shapely.linestrings(np.stack([start, end], axis=1))),
        crs=crs,
    )
    return frame.sort_values(["from_place", "to_place"], ignore_index=True)
