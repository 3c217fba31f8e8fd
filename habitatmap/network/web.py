"""The network as a reader sees it: its links as lines, and its figures for the summary."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.sparse import triu

from habitatmap.network.connectivity import (
    Estimate,
    articulations,
    components,
    equivalent_connectivity,
    estimated_connectivity,
    links,
    pair_sum_from,
)
from habitatmap.network.places import merged, network_places
from habitatmap.read.settings import FlightSettings

Floats = NDArray[np.floating[Any]]


class Web(NamedTuple):
    """links: from_place, to_place, length_m, probability and a line in the area's CRS; summary: its `network` part."""

    links: gpd.GeoDataFrame
    summary: dict[str, Any]


# so many places are looked from in a component of more: 20,000 places then take seconds, an error of ec a few percent
MOST_SOURCES = 400


def web(places: pd.DataFrame, sites: pd.DataFrame, access: Floats, flight: FlightSettings, crs: CRS) -> Web:
    """Places within merge_m are one; joined by flights of at most link_m; worth their chance times forage access.

    `places` as from `breeding_places`; `sites` are the suggestions (x, y, row, col, p). ec_with_plan has both.
    """
    nodes = network_places(places, access)
    joined = links(nodes, flight.link_m, flight.dispersal_median_m)
    worth = estimated_connectivity(nodes["weight"], joined, MOST_SOURCES)
    lines = _lines(nodes, triu(joined, k=1).tocoo(), crs)
    cut = articulations(joined)
    summary: dict[str, Any] = {
        "places": len(nodes),
        "components": len(set(components(joined).tolist())),
        "links": len(lines),
        "ec_now": worth.ec,
        "ec_with_plan": _with_sites(places, sites, nodes, worth, access, flight),
        "ec_standard_error": worth.standard_error,
        "cut_places": int(cut.sum()),
        "link_m": flight.link_m,
        "weight": "chance of being occupied times forage access; 0 where access is not known",
        "link_probability": "share of dispersal flights that get at least that far, 0 beyond link_m",
        "costliest_loss": None,
    }
    if len(nodes) and worth.pair_sum > 0:
        most = int(np.nanargmax(worth.importance["loss"].to_numpy()))
        members = places[places["place"] == nodes["place"].iloc[most]]
        summary["costliest_loss"] = {
            "place": ", ".join(f"{kind} {name}" for kind, name in zip(members["kind"], members["id"], strict=True)),
            "place_number": int(nodes["place"].iloc[most]),
            "x": float(nodes["x"].iloc[most]),
            "y": float(nodes["y"].iloc[most]),
            "loss_percent": float(worth.importance["loss"].iloc[most]),
            "cuts_the_network": bool(cut[most]),
        }
    if not len(nodes) or bool(np.all(np.isnan(access))):
        summary |= {"ec_now": math.nan, "ec_with_plan": math.nan}
    return Web(lines, summary)


def _with_sites(
    places: pd.DataFrame,
    sites: pd.DataFrame,
    nodes: pd.DataFrame,
    worth: Estimate,
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
        return equivalent_connectivity(later["weight"], links(later, flight.link_m, flight.dispersal_median_m))
    new = network_places(sites.assign(kind="suggestion", place=np.arange(len(sites))), access)
    later = pd.concat([nodes, new], ignore_index=True)
    sources = np.concatenate([worth.sources, np.arange(len(nodes), len(later))])
    counts_for = np.concatenate([worth.counts_for, new["weight"].to_numpy(float)])
    joined = links(later, flight.link_m, flight.dispersal_median_m)
    return math.sqrt(pair_sum_from(later["weight"], joined, sources, counts_for))


def _lines(nodes: pd.DataFrame, pairs: Any, crs: CRS) -> gpd.GeoDataFrame:
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
