"""Who may see what: every rule that keeps a garden from being found, in one place.

Three squares, all aligned to the origin of the CRS, stand for exact places on private land:

- the blur square (`[public] blur_m`): all that the public sees of a private pool is its middle, and of a square
  with fewer than FEWEST_PRIVATE private hosts nothing;
- SQUARE_M, for the team's plan and zones: where a suggestion lies, but not at which house;
- ASK_M, for a team that goes to look for a host: the square named in a list and drawn on a recording sheet.

guide/privacy.md tells the same to readers; its list of threats and this module's `Threat` go together, by name.
"""

from __future__ import annotations

from enum import StrEnum

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

from habitatmap.geo.grid import Grid
from habitatmap.sentences import Quantity, say
from habitatmap.vocabulary.where import Where

# the square of a suggestion on private land, and of its zone (expert judgement: it holds many gardens)
SQUARE_M = 250.0
# the square in which a host is asked for where no named street is near (expert judgement)
ASK_M = 500.0
# a street farther off than this says nothing about where a garden lies
STREET_M = 250.0
# a blur square with fewer private hosts tells the public nothing of them (expert judgement)
FEWEST_PRIVATE = 3
# private land that could be one household's: fewer plots and fewer hectares than this (expert judgement)
FEWEST_PLOTS, LEAST_PRIVATE_HA = 3, 1.0
# where nothing may be shown, the public frame is a square of so many blur squares along each side
ROUGHLY = 10
# rasters that are for the team alone: where pools were searched shows in them
TEAM_RASTERS = frozenset({"occupancy"})


class Threat(StrEnum):
    """A way in which somebody might find a garden. The guide says what stands against each, and which test tries it."""

    EXACT_POINT = "exact_point"  # the point of a pool is read from the public page or a picture
    SURFACE = "surface"  # the point is worked out from a surface, or from where the plan leaves room
    TEXT = "text"  # a name, a host, an observer or a remark is found
    LONE_GARDEN = "lone_garden"  # a square holds one garden
    TWO_SEASONS = "two_seasons"  # two seasons are compared
    SUGGESTION = "suggestion"  # a suggestion or zone points at private land
    PICTURE_DATA = "picture_data"  # data hide inside a picture
    PHOTO = "photo"  # a photo shows a garden, or tells where it was taken
    FRAME = "frame"  # the frame of a map without raster is made of the pools
    REPORT = "report"  # the report is laid beside the public page


# --- squares ----------------------------------------------------------------------------------------------------------


def square_of(x: ArrayLike, y: ArrayLike, side_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Column and row (whole numbers) of the square of `side_m`, aligned to the CRS origin, that holds a point."""
    return np.floor(np.asarray(x, dtype=float) / side_m), np.floor(np.asarray(y, dtype=float) / side_m)


def middle_of_square(
    x: ArrayLike, y: ArrayLike, side_m: float = SQUARE_M
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The middle (m) of the square that holds each point: (floor(x / side) + 1/2) side."""
    col, row = square_of(x, y, side_m)
    return (col + 0.5) * side_m, (row + 0.5) * side_m


def square_around(x: ArrayLike, y: ArrayLike, side_m: float = SQUARE_M) -> NDArray[np.object_]:
    """The squares of `side_m` about their middles, as polygons."""
    east, north = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    return np.asarray(shapely.box(east - side_m / 2, north - side_m / 2, east + side_m / 2, north + side_m / 2))


def uncertainty_m(side_m: float) -> float:
    """How far a point may lie from the middle of its square (m): half the diagonal, side / sqrt 2."""
    return float(side_m / np.sqrt(2))


# --- what is private --------------------------------------------------------------------------------------------------


def is_private(points: pd.DataFrame, land: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Whether each pool or site is private: by its own column, else by the land it stands on, else yes.

    `points` has x, y (m) and private (yes, no or blank); `land` private (yes or no). Where polygons overlap, yes wins.
    """
    stated = points["private"].to_numpy()
    private = np.asarray(stated != "no", dtype=bool)
    blank = np.flatnonzero(stated == "")
    places = shapely.points(points[["x", "y"]].to_numpy(dtype=float)[blank])
    on, under = shapely.STRtree(list(land.geometry)).query(places, predicate="intersects")
    closed = land["private"].to_numpy() == "yes"
    on_open = np.zeros(len(blank), dtype=bool)
    on_open[on] = True
    on_open[on[closed[under]]] = False
    private[blank[on_open]] = False
    return private


def may_be_placed(plan: pd.DataFrame) -> NDArray[np.bool_]:
    """The suggestions whose exact place a page, picture or report may show: those that are not on private land."""
    return np.asarray(plan["private"] != "yes", dtype=bool)


# --- for the public ---------------------------------------------------------------------------------------------------


def without_texts(frame: pd.DataFrame) -> pd.DataFrame:
    """Pools or visits, empty wherever somebody could be named or a row of a file found."""
    blank = {name: "" for name in ("host", "observer", "note", "photo", "action", "file") if name in frame}
    return frame.assign(**blank, row=0)


def public_pools(
    pools: pd.DataFrame, visits: pd.DataFrame, private: NDArray[np.bool_], side_m: float
) -> tuple[pd.DataFrame, dict[str, str]]:
    """The pools that may be shown, and their public name by their own one.

    A private pool stands in the middle of its blur square, under a number in place of its name and without its
    texts; squares with fewer than FEWEST_PRIVATE private hosts lose theirs. Moved within its square, a pool changes
    nothing.
    """
    pools = pools.assign(consent="", consent_until=pd.Series(pd.NaT, pools.index, "datetime64[s]"), group="")
    pools = pools.assign(old_name="", photo="")
    open_ones = pools[~private].assign(private="no")
    x, y = middle_of_square(pools["x"], pools["y"], side_m)
    closed = pools.assign(x=x, y=y, uncertainty_m=uncertainty_m(side_m), private="yes")[private]
    closed = closed.assign(container="", filling="", shade="")
    # a host with three pools is one garden, however many pools
    host = closed["host"].str.strip().str.casefold()
    garden = host.where(host != "", "pool " + closed["pool"])
    closed = closed[garden.groupby([closed["x"], closed["y"]]).transform("nunique") >= FEWEST_PRIVATE]
    # numbered by what may be known of them; two that are alike in all of it may swap their numbers unseen
    told: dict[str, list[str]] = {}
    known = without_texts(visits)
    for pool, *rest in known[["pool", *known.columns.drop("pool")]].itertuples(index=False):
        told.setdefault(pool, []).append(repr(rest))
    order = closed.drop(columns=["pool", "host", "note", "file", "row"]).assign(
        visits=[repr(sorted(told.get(pool, []))) for pool in closed["pool"]]
    )
    closed = closed.loc[order.sort_values(list(order.columns), kind="stable").index]
    width, label = len(str(len(closed))), "private"
    while open_ones["pool"].str.startswith(label).any():
        label += " pool"
    names = [f"{label} {i:0{width}d}" for i in range(1, len(closed) + 1)]
    public_name = dict(zip([*open_ones["pool"], *closed["pool"]], [*open_ones["pool"], *names], strict=True))
    shown = without_texts(pd.concat([open_ones, closed.assign(pool=names)]))
    return shown.sort_values(["pool", "x", "y"], kind="stable", ignore_index=True), public_name


def public_visits(visits: pd.DataFrame, public_name: dict[str, str]) -> pd.DataFrame:
    """The visits to pools that may be shown, under their public names and without texts, in an order of their own."""
    shown = without_texts(visits[visits["pool"].isin(public_name)])
    columns = ["pool", *visits.columns.drop("pool")]
    shown = shown.assign(pool=shown["pool"].map(public_name))[columns]
    return shown.sort_values(columns, kind="stable", ignore_index=True)


def public_land(land: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Land without what is private, and without all that was agreed about it but its consent."""
    blank = dict.fromkeys(("id", "consent_note", "contact", "condition", "note", "said"), "")
    return land[land["private"] != "yes"].assign(**blank, until=pd.NaT).reset_index(drop=True)


def public_sites(sites: pd.DataFrame, private: NDArray[np.bool_]) -> pd.DataFrame:
    """Committed sites that may be shown, without texts, in an order of their own."""
    shown = without_texts(sites[~private].assign(name=""))
    return shown.sort_values(["x", "y"], kind="stable", ignore_index=True)


def public_status(status: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The sites on open land whose state changes the plan, without their ids, and without dates, names and notes."""
    shown = status[(status["private"] != "yes") & status["state"].isin(["agreed", "refused", "given up"])]
    blank = dict.fromkeys(("id", "place", "by", "note", "file"), "")
    return shown.assign(**blank, row=0, date=pd.NaT).sort_values(["x", "y", "state"], kind="stable", ignore_index=True)


def rough_frame(pools: pd.DataFrame, grid: Grid, side_m: float) -> Grid:
    """The frame where nothing may be shown: a square of ROUGHLY blur squares a side that holds the pools' median."""
    x, y = middle_of_square(pools["x"], pools["y"], side_m)
    west, south, east, north = grid.bounds
    middle = (np.median(x), np.median(y)) if len(x) else ((west + east) / 2, (south + north) / 2)
    side = ROUGHLY * side_m
    left, bottom = (float(at) * side for at in square_of(*middle, side))
    return Grid.covering(left, bottom, left + side, bottom + side, grid.cell_m)


def counts_by_square(pools: pd.DataFrame, side_m: float) -> pd.DataFrame:
    """Pools by blur square (row, col, n), as many as may be told, from the south-west.

    Private ones count from FEWEST_PRIVATE in a square on, and so does the square itself.
    """
    col, row = square_of(pools["x"], pools["y"], side_m)
    private = (pools["private"] != "no").to_numpy(dtype=int)
    squares = pd.DataFrame({"row": row.astype(int), "col": col.astype(int), "private": private})
    counted = squares.groupby(["row", "col"], sort=True)["private"].agg(["size", "sum"]).reset_index()
    told = counted["sum"].where(counted["sum"] >= FEWEST_PRIVATE, 0)
    counted["n"] = counted["size"] - counted["sum"] + told
    return counted.loc[counted["n"] >= FEWEST_PRIVATE, ["row", "col", "n"]]


# --- for the team -----------------------------------------------------------------------------------------------------


def private_zone(x: ArrayLike, y: ArrayLike, plots: gpd.GeoSeries) -> BaseGeometry | None:
    """The zone of a suggestion on private land: the whole squares of SQUARE_M that hold its cells' centres (m).

    None where these hold fewer than FEWEST_PLOTS of the private `plots` and less than LEAST_PRIVATE_HA of them, as the
    zone could then be somebody's own.
    """
    middles = np.unique(np.column_stack(middle_of_square(x, y)), axis=0)
    squares: BaseGeometry = shapely.union_all(square_around(middles[:, 0], middles[:, 1]))
    within = plots.intersection(squares)
    within = within[~within.is_empty]
    enough = len(within) >= FEWEST_PLOTS or within.area.sum() >= LEAST_PRIVATE_HA * 10_000
    return squares if enough else None


def in_squares(sites: pd.DataFrame, grid: Grid) -> pd.DataFrame:
    """Sites (x, y, row, col, private), those on private land in the cell at the middle of their square.

    A raster drawn from them then gives no garden away.
    """
    row, col = grid.cell_of(*middle_of_square(sites["x"], sites["y"]))
    hidden = ~may_be_placed(sites)
    return sites.assign(row=np.where(hidden, row, sites["row"]), col=np.where(hidden, col, sites["col"]))


def street_or_zone(x: float, y: float, paths: gpd.GeoDataFrame, kind: str) -> Where:
    """Where to look for a host on private land, without pointing at anybody: the next named street, else a square."""
    named = paths[paths["name"].astype(str) != ""] if len(paths) else paths
    if len(named):
        far = named.distance(shapely.Point(x, y))
        if float(far.min()) <= STREET_M:
            return Where(private=True, near=str(named.loc[far.idxmin(), "name"]))
    (east, north) = (int(at) * int(ASK_M) for at in square_of(x, y, ASK_M))
    side = Quantity(ASK_M, 0, "m")
    square = say("the square of {side} from E {east}, N {north}", side=side, east=str(east), north=str(north))
    return Where(kind=kind or "private land", inside=square, private=True)
