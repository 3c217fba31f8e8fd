"""Tables of places as people look at them in a notebook: GeoDataFrames whose maps show the text of records as text."""

from __future__ import annotations

import base64
import html
from importlib.util import find_spec
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from habitatmap.errors import HabitatmapError
from habitatmap.geo.leaflet import leaflet

if TYPE_CHECKING:
    import folium

# what the library needs to draw a table; a plain install is spared it
DRAWN_WITH = ("folium", "matplotlib", "mapclassify")


class MapFrame(gpd.GeoDataFrame):  # type: ignore[misc]  # geopandas states no types
    """A GeoDataFrame of which `explore` makes a map that runs nothing of a record, and leaves out rows without a shape.

    The library puts cells into the map's markup as they are, and categories of a legend into a template that it runs.
    """

    def explore(self, *how: object, **further: object) -> folium.Map:
        """An interactive map, as `GeoDataFrame.explore`; it asks servers for the background (`tiles`) and for the
        script of a legend (`column`) only. HabitatmapError where what draws it is not installed.
        """
        if any(find_spec(name) is None for name in DRAWN_WITH):
            raise HabitatmapError("explore() needs more packages: pip install 'habitatmap[notebook]'")
        shown = gpd.GeoDataFrame(self[~(self.geometry.isna() | self.geometry.is_empty)])
        for name in shown.columns.drop(shown.geometry.name):
            if shown[name].dtype.kind not in "biufcmM":
                shown[name] = [None if pd.isna(cell) else _harmless(str(cell)) for cell in shown[name]]
        drawn: folium.Map = shown.explore(*how, **further)
        if further.get("m") is None:  # else it is drawn on a map of the caller's own
            script, style = leaflet()
            of_legend = [one for one in drawn.default_js if one[0] == "jquery"] if how or "column" in further else []
            drawn.default_js = [("leaflet", _in_place("text/javascript", script)), *of_legend]
            drawn.default_css = [("leaflet_css", _in_place("text/css", style))]
        return drawn


def _in_place(kind: str, text: str) -> str:
    """An address that holds the text itself."""
    return f"data:{kind};base64,{base64.b64encode(text.encode()).decode()}"


def _harmless(text: str) -> str:
    """A text for the markup of a map, with nothing in it that a browser or a template runs."""
    return html.escape(text).replace("{", "&#123;").replace("}", "&#125;")


def at_places(frame: pd.DataFrame, crs: CRS) -> MapFrame:
    """A table with x and y (metres in `crs`) as points; no shape where they are not known. Points that it has already
    are taken again where they are the same: those of a million rows take 200 MB."""
    xy = frame[["x", "y"]].to_numpy(dtype=float)
    points = np.asarray(frame["geometry"] if "geometry" in frame else np.full(len(xy), None), dtype=object)
    if not np.array_equal(np.column_stack([shapely.get_x(points), shapely.get_y(points)]), xy, equal_nan=True):
        known = np.isfinite(xy).all(axis=1)
        points = np.full(len(xy), None, dtype=object)
        points[known] = shapely.points(xy[known])
    return MapFrame(without_shapes(frame), geometry=points, crs=crs)


def without_shapes(frame: pd.DataFrame) -> pd.DataFrame:
    """The table without its shapes, which for points are told by x and y."""
    return pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))
