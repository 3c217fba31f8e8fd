"""The ids that sites were given in earlier runs, from the file that `map` leaves in out/."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
from pyogrio.errors import DataSourceError
from pyproj import CRS

from habitatmap.sentences import Sentence, say

FOLDER, FILE = "out", "site_ids.geojson"
COLUMNS = ["id", "suggested", "private", "x", "y"]


def no_sites(crs: CRS) -> gpd.GeoDataFrame:
    """A register in which no site stands yet."""
    return gpd.GeoDataFrame({name: [] for name in COLUMNS}, geometry=[], crs=crs)


def read_earlier_sites(folder: Path, crs: CRS) -> tuple[gpd.GeoDataFrame, list[Sentence]]:
    """The register of the last run: COLUMNS, and the zones as shapes in `crs`; and a word where it can't be used.

    x, y are those of the site, or of the middle of its square, in the system of that run.
    """
    path = folder / FOLDER / FILE
    if not path.is_file():
        return no_sites(crs), []
    try:
        register = gpd.read_file(path)
        if register.empty:
            return no_sites(crs), []
        known = register[[*COLUMNS, "geometry"]].to_crs(crs)
    except (DataSourceError, KeyError, ValueError) as fault:
        told = "{file} cannot be read ({fault}); the suggested sites are numbered anew."
        return no_sites(crs), [say(told, file=f"{FOLDER}/{FILE}", fault=str(fault))]
    return known[known.geometry.notna() & (known["id"].astype(str) != "")].reset_index(drop=True), []
