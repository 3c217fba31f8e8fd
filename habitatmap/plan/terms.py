"""An area's own terms for its plan: decided sites, quotas and costs, turned into what a `Problem` takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.plan.problem import Quota
from habitatmap.read.plan_status import Site
from habitatmap.read.settings import PlanSettings

Floats = NDArray[np.float64]


def kept_sites(
    committed: pd.DataFrame,
    private: NDArray[np.bool_],
    grid: Grid,
    probability: NDArray[np.floating],
    agreed: Sequence[Site] = (),
) -> pd.DataFrame:
    """row, col, p, private (yes or no) and id of the decided sites that lie in the frame, those `agreed` to first;
    `probability` (rows, cols). A committed site has the id "". One on private land that was agreed to stands in the
    middle of its square."""
    x = np.array([*(site.x for site in agreed), *committed["x"]], dtype=float)
    y = np.array([*(site.y for site in agreed), *committed["y"]], dtype=float)
    row, col = grid.cell_of(x, y)
    inside = np.asarray(grid.inside(row, col))
    word = np.where([*(site.private for site in agreed), *private], "yes", "no")
    ids = np.array([*(site.id for site in agreed), *[""] * len(committed)], dtype=object)
    sites = pd.DataFrame({"row": row[inside], "col": col[inside], "private": word[inside], "id": ids[inside]})
    sites["p"] = probability[sites["row"], sites["col"]]
    return sites.dropna(subset="p").drop_duplicates(["row", "col"], ignore_index=True)


def make_quotas(land: gpd.GeoDataFrame, land_index: NDArray[np.int32], settings: PlanSettings) -> tuple[Quota, ...]:
    """The quotas of `[plan.quota]`: by place (polygons of one name are one place) and by owner."""
    given = settings.quota
    found = []
    for column, most in (("name", given.per_place), ("owner", given.per_owner)):
        words = land[column].astype(str).to_numpy()
        own = {word: number for word, number in given.by_name.items() if word in set(words)}
        if most is None and not own:
            continue
        names = list(dict.fromkeys(word for word in words if word))
        number = {name: code for code, name in enumerate(names)}
        # a polygon without a name is a place of its own; without an owner it has no quota by owner
        code = np.array(
            [number.get(word, len(names) + at if column == "name" else -1) for at, word in enumerate(words)]
        )
        limit = np.full(len(names) + len(land), np.iinfo(np.int64).max if most is None else most, dtype=np.int64)
        for word, share in own.items():
            limit[number[word]] = share
        unit = scratch.cellwise(np.append(code, -1).__getitem__, land_index, dtype=np.int64)
        found.append(Quota(unit, limit))
    return tuple(found)


class TermTable(StrEnum):
    """The tables of area.toml whose lines name land."""

    QUOTA = "plan.quota.by_name"
    COST = "plan.cost_by_kind"


class UnknownName(NamedTuple):
    """A line of area.toml about land that the list of land does not have."""

    table: TermTable
    name: str


def unknown_names(land: gpd.GeoDataFrame, settings: PlanSettings) -> list[UnknownName]:
    """Each name or owner with a quota, and each kind with a cost, that no land has."""
    lines = (
        (TermTable.QUOTA, settings.quota.by_name, {*land["name"], *land["owner"]}),
        (TermTable.COST, settings.cost_by_kind, {*land["kind"]}),
    )
    return [UnknownName(table, name) for table, stated, known in lines for name in stated if name not in known]


def site_costs(land: gpd.GeoDataFrame, land_index: NDArray[np.int32], settings: PlanSettings) -> Floats | None:
    """What a site at each cell costs (rows, cols), by the kind of its land; None where no budget is set."""
    if settings.budget is None:
        return None
    by_land = [settings.cost_by_kind.get(str(kind), settings.cost_per_site) for kind in land["kind"]]
    each = np.array([*by_land, settings.cost_per_site], dtype=np.float64)
    return scratch.cellwise(each.__getitem__, land_index, dtype=np.float64)


def number_of_pools(settings: PlanSettings, cost: Floats | None, allowed: NDArray[np.bool_], kept: pd.DataFrame) -> int:
    """How many pools the plan may have: as many as asked for, or as the budget pays for where they are cheapest."""
    if cost is None or settings.budget is None:
        return max(settings.pools, len(kept))
    left = settings.budget - float(cost[kept["row"], kept["col"]].sum())
    cells = int(scratch.total(np.count_nonzero, allowed))
    if not cells or left <= 0:
        return len(kept)
    cheapest = scratch.ends(scratch.cellwise(_where, allowed, cost, dtype=np.float64))[0]
    return len(kept) + min(math.floor(left / cheapest * (1 + 1e-9)), cells)


def _where(allowed: NDArray[np.bool_], cost: Floats) -> Floats:
    return np.where(allowed, cost, np.nan)
