"""Consent priorities: what the consent of each owner who is still to be asked adds to the plan.

A consent adds reach(given) - reach(refused): forage in reach with the plan made on that ground as well, minus the same
without it, all other ground staying as the plan takes it. Where the plan may use land that is still to ask for, it
counts on every consent already, and only owners of a suggested site can change it; where it may not, each owner's
ground is added by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.plan.gain_map import GainMap, Pick
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import Floats
from habitatmap.plan.search import Selection, make_plan
from habitatmap.sentences import apart

COLUMNS = ["rank", "place", "kind", "private", "area_ha", "reach_yes", "reach_no", "adds", "sites"]
# the same of ground that was refused: `instead` is the rank of the site that the plan has in its place, 0 for none
REFUSED = [*COLUMNS, "owner", "instead"]
# so many owners are calculated one by one, those who may add most first; each takes a greedy plan
MOST_CONSENTS = 60


def rank_consents(
    problem: Problem,
    selection: Selection,
    land: gpd.GeoDataFrame,
    grid: Grid,
    *,
    counted_on: bool,
    with_all: Floats,
    columns: Sequence[str] = tuple(COLUMNS),
) -> tuple[pd.DataFrame, int]:
    """`columns` for the owners whose consent adds something, the largest first; and how many were not calculated.

    `land` has name, owner, place (what to call it), kind, consent, private, geometry; polygons of one owner, else of
    one name, go together.
    `counted_on`: whether the plan `selection` may stand on land with consent "ask". `with_all` (rows, cols): the
    candidates if every owner agreed (the problem's own where they are counted on). reach_yes, reach_no and adds are
    shares of the area's forage; sites are the ranks of the suggestions on the ground, in the plan with this consent.
    """
    to_ask = np.flatnonzero(land["consent"].to_numpy() == "ask")
    nothing_chosen = selection.frame.empty and counted_on
    if nothing_chosen or not len(to_ask) or not selection.requested or not problem.today.total > 0:
        return pd.DataFrame(columns=list(columns)), 0
    groups = by_owner(land, to_ask)
    ground = {name: cells_in(land.geometry.iloc[group], grid) for name, group in groups.items()}
    base = GainMap(replace(problem, candidates=with_all))

    def replan(candidates: Floats) -> Selection:
        other = replace(problem, candidates=candidates)
        return make_plan(other, selection.requested, exchange=False, gains=base.fork(other))

    if counted_on:
        spots = np.zeros(problem.shape, bool)
        spots[selection.frame["row"], selection.frame["col"]] = ~selection.frame["kept"].to_numpy(bool)
        todo, left = [name for name in groups if (ground[name] & spots).any()], 0
    else:
        refused = cells_in(land.geometry[land["consent"] == "no"], grid)
        may_add = _may_add(base, problem, selection, {name: cells & ~refused for name, cells in ground.items()})
        todo, left = may_add[:MOST_CONSENTS], max(0, len(may_add) - MOST_CONSENTS)
    rows = []
    for name in todo:
        if counted_on:
            yes, no = selection, replan(np.where(ground[name], np.nan, problem.candidates))
        else:
            others = cells_in(land.geometry.iloc[np.setdiff1d(to_ask, groups[name])], grid)
            yes, no = replan(np.where(ground[name] & ~refused & ~others, with_all, problem.candidates)), selection
        rows.append(about_owner(land.iloc[groups[name]], name) | _adds(yes, no, ground[name]))
    return ranked(rows, columns), left


def ranked(rows: list[dict[str, str | float]], columns: Sequence[str] = tuple(COLUMNS)) -> pd.DataFrame:
    """The columns of the consents that add something, the largest first."""
    table = pd.DataFrame(rows, columns=list(columns))
    table["place"] = pd.Series([row["place"] for row in rows], dtype=object)  # sentences, which a column of text loses
    table = table[table["adds"] > 0].sort_values(["adds", "place"], ascending=[False, True], ignore_index=True)
    return table.assign(rank=np.arange(1, len(table) + 1))


def by_owner(land: gpd.GeoDataFrame, to_ask: NDArray[np.int64]) -> dict[str, NDArray[np.int64]]:
    """The rows of `land` that are still to ask for, by owner, else by name; each polygon without either by itself."""
    names = zip(land["owner"].astype(str), land["name"].astype(str), strict=True)
    owner = np.array([whose or name or f"land {at + 1}" for at, (whose, name) in enumerate(names)], dtype=object)
    return {name: to_ask[owner[to_ask] == name] for name in dict.fromkeys(owner[to_ask])}


def _adds(yes: Selection, no: Selection, ground: NDArray[np.bool_]) -> dict[str, str | float]:
    """reach_yes, reach_no, adds and sites of an owner: the plan with and without consent on this ground."""
    sites = yes.frame.loc[ground[yes.frame["row"], yes.frame["col"]], "rank"]
    return {
        "reach_yes": yes.with_plan,
        "reach_no": no.with_plan,
        "adds": yes.with_plan - no.with_plan,
        "sites": ", ".join(str(rank) for rank in sites),
        "instead": first_of_its_own(*([*zip(one.frame["row"], one.frame["col"], strict=True)] for one in (no, yes))),
    }


def first_of_its_own(plan: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> int:
    """The rank of the first site (row, col) of a plan that another plan lacks; 0 where there is none."""
    return next((rank for rank, cell in enumerate(plan, 1) if cell not in set(other)), 0)


def about_owner(theirs: gpd.GeoDataFrame, owner: str) -> dict[str, str | float]:
    """place, kind, private and area_ha of an owner's polygons."""
    kinds = theirs["kind"].astype(str)
    return {
        "place": apart(list(dict.fromkeys(filter(None, theirs["place"])))) or owner,
        "kind": ", ".join(dict.fromkeys(filter(None, kinds))),
        "owner": owner,
        "private": "yes" if (theirs["private"] == "yes").any() else "no",
        "area_ha": float(theirs.geometry.area.sum()) / 10_000.0,
    }


def _may_add(base: GainMap, problem: Problem, selection: Selection, ground: dict[str, NDArray[np.bool_]]) -> list[str]:
    """Of the grounds those where a pool would at some step of the plan gain more than the pick, by how much more.

    Where there is none, greedy never looks at the ground, and a consent adds nothing.
    """
    gains, most = base.fork(replace(problem, candidates=base.p)), dict.fromkeys(ground, 0.0)
    columns = (selection.frame[name].tolist() for name in ("row", "col", "gain_cells"))
    steps: list[Pick | None] = [Pick(*step) for step in zip(*columns, strict=True)]
    if len(steps) < selection.requested:
        steps.append(None)
    for pick in steps:
        worth = np.where(gains.cells.open & ~np.isnan(gains.p), gains.p * gains.C, 0.0)
        beat = pick.gain * (1.0 - 1e-9) if pick is not None else 0.0
        for name, cells in ground.items():
            most[name] = max(most[name], float(worth[cells].max(initial=0.0)) - beat)
        if pick is not None:
            gains.add(pick)
    return sorted((name for name in most if most[name] > 0), key=lambda name: (-most[name], name))
