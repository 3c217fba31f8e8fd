"""summary.json: the run in figures, and the sentences about what is missing and what that costs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np

from habitatmap.area import Area

LIBRARIES = ("numpy", "scipy", "geopandas", "shapely", "pyproj", "rasterio", "folium")


def missing_inputs(has: Iterable[str], pools_standing: int, looks: int) -> list[str]:
    """One sentence for each thing that is not there: what is lacking, and what that costs."""
    given = set(has)
    lacks = {
        "pools": "No pools: nothing is known to be in reach yet; the plan shows where the first ones help most.",
        "land_cover": "No land cover: forage, dead wood, gaps and reach can't be scored and no place for a new pool "
        "can be suggested. Add land_cover.tif, or start from a map extract: habitatmap new AREA --osm FILE.osm.pbf",
        "visits": "No visits: which pools hold larvae is not known; the chances shown are expert values.",
        "trees": "No trees: rot-hole trees, flowering trees and dead trees are not known and count for nothing.",
        "land": "No land: who must agree is not known; every suggestion is provisional until its owner was asked.",
        "keep_away": "No keep_away: play areas, schools, water, roads and buildings are not known; check each spot.",
        "boundary": "No boundary: all ground with data counts as the area.",
        "paths": "No paths: streets can't be named.",
        "inventoried": "No inventoried: it is not known where the list of trees is complete.",
    }
    said = [sentence for name, sentence in lacks.items() if name not in given]
    if "pools" in given and pools_standing == 0:
        said.append("No pool stands on the day of the map: nothing is in reach but rot-hole trees.")
    if "visits" in given and looks == 0:
        said.append("No visit counts as a look: the chances shown are expert values.")
    return said


def versions(own: str) -> dict[str, str]:
    """The version of this program and of the libraries that shape its figures."""
    found = {"habitatmap": own}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def known(value: Any) -> Any:
    """The value with every number that is not known (NaN, infinite) as None, and numpy's numbers as Python's."""
    if isinstance(value, Mapping):
        return {key: known(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [known(part) for part in value]
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value


def summarise(area: Area, *, reach: Mapping[str, Any], **parts: Any) -> dict[str, Any]:
    """The content of summary.json in the contract's order; what is not known is None."""
    grid, cover = area.grid, area.land_cover
    summary = {
        "title": area.title,
        "crs": area.crs.to_string(),
        "crs_name": area.crs.name,
        "cell_m": grid.cell_m,
        "cells": grid.rows * grid.cols,
        "as_of": area.as_of.isoformat(),
        "intake": area.ledger.counts(),
        **{name: parts[name] for name in ("pools_standing", "occupancy", "seasons")},
        "forage_in_reach": reach,
        **{
            name: parts[name]
            for name in ("candidates", "plan", "network", "gaps", "ask_first", "sensitivity", "forage", "missing")
        },
        "land_cover": {"name": cover.name, "unmatched": list(cover.unmatched)} if cover else None,
        "notes": [*area.notes, *area.ledger.remarks, *parts["warnings"]],
        **{name: parts[name] for name in ("seconds", "versions", "cautions")},
        "credits": area.credits,
    }
    content: dict[str, Any] = known(summary)
    return content


def percent(value: float | None, digits: int = 0) -> str:
    """A share as a person says it: "13 %"; "not known" where it is not."""
    return "not known" if value is None else f"{100 * value:.{digits}f} %"


def headline(summary: dict[str, Any]) -> str:
    """The run in a few lines, for the terminal."""
    reach, plan, lost = summary["forage_in_reach"], summary["plan"], summary["candidates"]
    occupancy, gaps, intake = summary["occupancy"], summary["gaps"], summary["intake"]
    lines = [summary["title"], ""]
    aside = sum(part["set_aside"] for part in intake.values())
    read = sum(part["read"] for part in intake.values())
    lines.append(f"Read {read:,} rows: {read - aside:,} used, {aside:,} set aside (set_aside.csv says why).")
    if reach["now"] is None:
        lines.append("Forage in reach: not known (see below).")
    else:
        lines.append(
            f"Forage in reach now: {percent(reach['now'], 1)} of the area's forage "
            f"({percent(reach['low'], 1)} to {percent(reach['high'], 1)})."
        )
        if plan["pools"]:
            lines.append(
                f"With {plan['pools']} more pools: {percent(reach['with_plan'], 1)}; no choice of as many could reach "
                f"more than {percent(reach['upper_bound'], 1)} (the plan has {percent(plan['share_of_bound'], 1)} "
                "of the gain that is possible at most)."
            )
        lines.append(f"Gaps: {gaps['count']}, with {percent(gaps['share'])} of the forage.")
    naive = occupancy["naive"]
    if naive is not None:
        lines.append(
            f"Larvae seen in {percent(naive)} of {occupancy['pools_visited']} pools looked at; really occupied: "
            + (
                f"{percent(occupancy['estimate'])} ({percent(occupancy['low'])} to {percent(occupancy['high'])})."
                if occupancy["estimate"] is not None
                else "too few to estimate."
            )
        )
    lines.append(f"Spots looked at: {lost['all']:,}, allowed {lost['left']:,}.")
    if summary["missing"]:
        lines += ["", "Missing:", *(f"- {sentence}" for sentence in summary["missing"])]
    return "\n".join(lines)
