"""The tables of a result, figures with their sentences, and the files that hold them."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import pandas as pd

from habitatmap.export.formats import csv_text, geojson_text, gpx_bytes, in_degrees, plan_points
from habitatmap.export.workbook import workbook_bytes
from habitatmap.geo.frames import without_shapes
from habitatmap.network.places import network_places
from habitatmap.result import Result
from habitatmap.words.bases import told_pools
from habitatmap.words.cautions import general_cautions
from habitatmap.words.gaps import told_gaps
from habitatmap.words.no_visit import flagged
from habitatmap.words.tables import told_plan

CSV = ("plan", "ask_first", "pools", "places", "set_aside")


def told_tables(result: Result) -> dict[str, pd.DataFrame]:
    """The tables by name, those of `vocabulary.results.TABLES`; shapes stay with them, but points are x and y."""
    return {
        "plan": told_plan(without_shapes(result.plan), result.settings),
        "pools": told_pools(flagged(without_shapes(result.pools))),
        "places": result.places,
        "ask_first": result.ask_first,
        "gaps": told_gaps(result.gaps),
        "set_aside": result.set_aside,
        "zones": result.zones,
        "visits": result.visits,
        "trees": without_shapes(result.trees),
        "breeding_places": _breeding_places(result),
        "links": _ranked(result.links),
        "candidates_lost": result.candidates_lost,
        "paths": result.paths[["kind", "name", "geometry"]],
        "exclusion_zones": result.keep_away.set_geometry(result.keep_away.buffer(result.keep_away["distance_m"])),
        "boundary": gpd.GeoDataFrame(geometry=[shape] if (shape := result.boundary) else [], crs=result.crs),
    }


def _breeding_places(result: Result) -> pd.DataFrame:
    """The places that links name: place, x, y, names, pools, trees, occupancy, forage_access."""
    known = result.findings.places.frame
    called = (known["kind"].astype(str) + " " + known["id"].astype(str)).groupby(known["place"]).agg(", ".join)
    frame = network_places(known, result.findings.habitat.access)
    frame = frame.rename(columns={"p": "occupancy", "access": "forage_access"}).drop(columns="weight")
    frame.insert(3, "names", frame["place"].map(called))
    return frame


def _ranked(links: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The links with a rank: 1 where it is the likeliest of one of its ends, 2 where the second, ..."""
    ends = pd.concat([links["from_place"], links["to_place"]])
    of_end = pd.concat([links["probability"]] * 2).groupby(ends.to_numpy()).rank(method="first", ascending=False)
    ranked = links.drop(columns="geometry").assign(rank=of_end.groupby(level=0).min().astype(int))
    return gpd.GeoDataFrame(ranked, geometry=links.geometry)


def text_files(
    result: Result, semicolons: bool = False, told: Mapping[str, pd.DataFrame] | None = None
) -> dict[str, bytes]:
    """Tables, GeoJSON, GPX and the workbook: file name -> content. `semicolons` as in `csv_text`; `told`: what
    `told_tables` gives, where it was made already."""
    tables = dict(told_tables(result) if told is None else told)
    if result.plan_exchanged is not None:
        tables["plan_exchanged"] = told_plan(without_shapes(result.plan_exchanged), result.settings)
    shapes = {
        "plan": plan_points(tables["plan"], "lon", "lat"),
        "zones": in_degrees(result.zones, result.crs),
        "site_ids": in_degrees(result.site_ids, result.crs),
        "gaps": in_degrees(result.gaps, result.crs),
    }
    csvs = {f"{name}.csv": csv_text(tables[name], semicolons) for name in (*CSV, "plan_exchanged") if name in tables}
    maps = {
        f"{name}.geojson": geojson_text(tables.get(name, result.site_ids), places) for name, places in shapes.items()
    }
    return {name: text.encode("utf-8") for name, text in (csvs | maps).items()} | {
        "plan.gpx": gpx_bytes(tables["plan"], result.title, general_cautions(result.settings)),
        "results.xlsx": workbook_bytes(result, tables),
    }
