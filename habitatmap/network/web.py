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

from habitatmap.intake.settings import FlightSettings
from habitatmap.network.connectivity import components, connectivity, equivalent_connectivity, links
from habitatmap.network.places import merged, network_places

Floats = NDArray[np.floating[Any]]


class Web(NamedTuple):
    """links: from_place, to_place, length_m, probability and a line in the area's CRS; summary: its `network` part."""

    links: gpd.GeoDataFrame
    summary: dict[str, Any]


def web(places: pd.DataFrame, sites: pd.DataFrame, access: Floats, flight: FlightSettings, crs: CRS) -> Web:
    """Places within merge_m are one; joined by flights of at most link_m; worth their chance times forage access.

    `places` as from `breeding_places`; `sites` are the suggestions (x, y, row, col, p). ec_with_plan has both.
    """
    nodes = network_places(places, access)
    joined = links(nodes, flight.link_m, flight.dispersal_median_m)
    worth = connectivity(nodes["weight"], joined)
    both = pd.concat([places, sites.assign(kind="suggestion")], ignore_index=True)
    later = network_places(both.assign(place=merged(both["x"], both["y"], flight.merge_m)), access)
    lines = _lines(nodes, triu(joined, k=1).tocoo(), crs)
    summary: dict[str, Any] = {
        "places": len(nodes),
        "components": len(set(components(joined).tolist())),
        "links": len(lines),
        "ec_now": worth.ec,
        "ec_with_plan": equivalent_connectivity(
            later["weight"], links(later, flight.link_m, flight.dispersal_median_m)
        ),
        "link_m": flight.link_m,
        "weight": "chance of being occupied times forage access; 0 where access is not known",
        "link_probability": "share of dispersal flights that get at least that far, 0 beyond link_m",
        "costliest_loss": None,
    }
    if len(nodes) and worth.pair_sum > 0:
        most = int(np.argmax(worth.importance["loss"].to_numpy()))
        members = places[places["place"] == nodes["place"].iloc[most]]
        summary["costliest_loss"] = {
            "place": ", ".join(f"{kind} {name}" for kind, name in zip(members["kind"], members["id"], strict=True)),
            "loss_percent": float(worth.importance["loss"].iloc[most]),
        }
    if not len(nodes) or bool(np.all(np.isnan(access))):
        summary |= {"ec_now": math.nan, "ec_with_plan": math.nan}
    return Web(lines, summary)


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
