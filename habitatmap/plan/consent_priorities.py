"""Whom to ask first: what the yes of each owner who is still to be asked adds, by making the plan once with and once
without that ground.

A yes adds reach(yes) - reach(no): forage in reach with the plan as it would be if this owner agreed, less the same if
this owner refused, everybody else staying as the plan takes them. Where the plan may use land that is still to ask for,
it counts on every yes already, and only owners of a suggested spot can change it; where it may not, each owner's ground
is added by itself.
"""

from __future__ import annotations

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

COLUMNS = ["rank", "place", "kind", "private", "area_ha", "reach_yes", "reach_no", "adds", "sites"]
# so many owners are asked about one by one, those who may add most first; each takes a greedy plan
MOST_CONSENTS = 60


def rank_consents(
    problem: Problem, selection: Selection, land: gpd.GeoDataFrame, grid: Grid, *, counted_on: bool, with_all: Floats
) -> tuple[pd.DataFrame, int]:
    """COLUMNS for the owners whose yes adds something, the largest first; and how many were not worked out.

    `land` has name, owner, kind, consent, private, geometry; polygons of one owner, else of one name, are asked about
    together. `counted_on`: whether the
    plan `selection` may stand on land with consent "ask". `with_all` (rows, cols): the candidates if every owner said
    yes (the problem's own where they are counted on). reach_yes, reach_no and adds are shares of the area's forage;
    sites are the ranks of the suggestions on the ground, in the plan with this yes.
    """
    to_ask = np.flatnonzero(land["consent"].to_numpy() == "ask")
    if (
        (selection.frame.empty and counted_on)
        or not len(to_ask)
        or not selection.requested
        or not problem.today.total > 0
    ):
        return pd.DataFrame(columns=COLUMNS), 0
    names = zip(land["owner"].astype(str), land["name"].astype(str), strict=True)
    owner = np.array([whose or name or f"land {at + 1}" for at, (whose, name) in enumerate(names)], dtype=object)
    base = GainMap(replace(problem, candidates=with_all))
    rows = []
    groups = {name: to_ask[owner[to_ask] == name] for name in dict.fromkeys(owner[to_ask])}
    ground = {name: cells_in(land.geometry.iloc[group], grid) for name, group in groups.items()}
    if counted_on:
        spots = np.zeros(problem.shape, bool)
        spots[selection.frame["row"], selection.frame["col"]] = ~selection.frame["kept"].to_numpy(bool)
        todo, left = [name for name in groups if (ground[name] & spots).any()], 0
    else:
        settled = cells_in(land.geometry[land["consent"] == "no"], grid)
        upper_gains = _may_add(base, problem, selection, {name: cells & ~settled for name, cells in ground.items()})
        todo, left = list(upper_gains)[:MOST_CONSENTS], max(0, len(upper_gains) - MOST_CONSENTS)
    for name in todo:
        if counted_on:
            without = np.where(ground[name], np.nan, problem.candidates)
            yes, no = selection, _replan(base, problem, without, selection.requested)
        else:
            others = [at for at in to_ask if at not in set(groups[name])]
            free = ground[name] & ~settled & ~cells_in(land.geometry.iloc[others], grid)
            added = np.where(free, with_all, problem.candidates)
            yes, no = _replan(base, problem, added, selection.requested), selection
        theirs = land.iloc[groups[name]]
        called = [str(row["name"]) or str(row["kind"]) for _, row in theirs.iterrows()]
        at = yes.frame.loc[ground[name][yes.frame["row"], yes.frame["col"]], "rank"]
        rows.append(
            {
                "place": ", ".join(dict.fromkeys(word for word in called if word)) or name,
                "kind": ", ".join(dict.fromkeys(kind for kind in theirs["kind"].astype(str) if kind)),
                "private": "yes" if (theirs["private"] == "yes").any() else "no",
                "area_ha": float(theirs.geometry.area.sum()) / 10_000.0,
                "reach_yes": yes.with_plan,
                "reach_no": no.with_plan,
                "adds": yes.with_plan - no.with_plan,
                "sites": ", ".join(str(rank) for rank in at),
            }
        )
    table = pd.DataFrame(rows, columns=COLUMNS)
    table = table[table["adds"] > 0].sort_values(["adds", "place"], ascending=[False, True], ignore_index=True)
    return table.assign(rank=np.arange(1, len(table) + 1)), left


def _replan(base: GainMap, problem: Problem, candidates: Floats, pools: int) -> Selection:
    """The greedy plan with other candidates."""
    other = replace(problem, candidates=candidates)
    return make_plan(other, pools, exchange=False, gains=base.fork(other))


def _may_add(
    base: GainMap, problem: Problem, selection: Selection, ground: dict[str, NDArray[np.bool_]]
) -> dict[str, float]:
    """Of the grounds those where a pool would at some step of the plan gain more than the pick, with by how much.

    Where there is none, greedy never looks at the ground, and a yes adds nothing.
    """
    gains, upper_gains = base.fork(replace(problem, candidates=base.p)), dict.fromkeys(ground, 0.0)
    columns = (selection.frame[name].tolist() for name in ("row", "col", "gain_cells"))
    steps = [Pick(*step) for step in zip(*columns, strict=True)]
    short = len(steps) < selection.requested
    for pick in [*steps, *([None] if short else [])]:
        worth = np.where(gains.cells.open & ~np.isnan(gains.p), gains.p * gains.C, 0.0)
        beat = pick.gain if pick is not None else 0.0
        for name, cells in ground.items():
            upper_gains[name] = max(upper_gains[name], float(worth[cells].max(initial=0.0)) - beat * (1.0 - 1e-9))
        if pick is not None:
            gains.add(pick)
    return dict(
        sorted(((name, hope) for name, hope in upper_gains.items() if hope > 0), key=lambda one: (-one[1], one[0]))
    )
