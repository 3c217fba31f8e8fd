"""habitatmap.gpkg: the layers of a result for GIS. It holds exact places and is for the team."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS

from habitatmap.export.formats import plain, plan_points, visible
from habitatmap.export.tables import told_tables
from habitatmap.result import Result


def write_geopackage(result: Result, path: Path) -> None:
    """habitatmap.gpkg: pools, visits, trees, places, plan, zones, gaps, links, candidates_lost, also where empty.

    It holds exact places and is for the team. The date inside is the day of the map, not of the run.
    """
    crs = result.crs

    def points(frame: pd.DataFrame) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame["x"], frame["y"]), crs=crs)

    tables = told_tables(result)
    plan = gpd.GeoDataFrame(tables["plan"], geometry=plan_points(tables["plan"], "x", "y"), crs=crs)
    layers: dict[str, tuple[pd.DataFrame, str | None]] = {
        "pools": (points(tables["pools"]), "Point"),
        "visits": (tables["visits"], None),
        "trees": (points(tables["trees"]), "Point"),
        "places": (tables["places"], "MultiPolygon"),
        "plan": (plan, "Point"),
        "zones": (tables["zones"], "MultiPolygon"),
        "gaps": (tables["gaps"], "MultiPolygon"),
        "breeding_places": (points(tables["breeding_places"]), "Point"),
        "links": (tables["links"], "LineString"),
        "candidates_lost": (tables["candidates_lost"], None),
    }
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{result.figures.as_of}T00:00:00.000Z"})
    try:
        for name, (frame, kind) in layers.items():
            _write_layer(path, name, frame, kind, crs)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _write_layer(path: Path, name: str, frame: pd.DataFrame, kind: str | None, crs: CRS) -> None:
    table = frame.copy()
    for column in table.columns.drop("geometry", errors="ignore"):
        if table[column].dtype == object or isinstance(table[column].dtype, pd.StringDtype):
            table[column] = pd.array(
                [None if (v := plain(c)) is None else visible(str(v)) for c in table[column]], "str"
            )
        elif table[column].dtype == bool:
            table[column] = np.where(table[column], "yes", "no")
    options: dict[str, Any] = {}
    if kind is not None:
        table = gpd.GeoDataFrame(table, crs=crs)
        options = {"geometry_type": kind, "promote_to_multi": kind.startswith("Multi")}
    pyogrio.write_dataframe(table, path, layer=name, driver="GPKG", append=path.exists(), **options)
