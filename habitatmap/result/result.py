"""What a run found, as one frozen value. It holds figures and codes; sentences are made where files are written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.errors import HabitatmapError
from habitatmap.geo.grid import Grid
from habitatmap.read.land_cover import LandCover
from habitatmap.read.settings import Settings
from habitatmap.result.figures import Figures
from habitatmap.result.findings import Findings

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]


@dataclass(frozen=True)
class Result:
    """Everything a run found; `write(folder)` writes it, whole or not at all.

    Rasters are float32, rows x cols on `grid`, NaN where not known. Frames hold figures and codes (result.tables).
    `findings` is what the stages found out, for those who calculate on; it is never written out. `public` is the same
    for the area as the public may see it; None where it was not asked for. `writer` writes a folder of files.
    """

    title: str
    settings: Settings
    crs: CRS
    grid: Grid
    land_cover: LandCover | None
    rasters: dict[str, Floats32]
    forage_months: Floats32 | None
    pools: pd.DataFrame
    visits: pd.DataFrame
    trees: pd.DataFrame
    places: gpd.GeoDataFrame
    keep_away: gpd.GeoDataFrame
    paths: gpd.GeoDataFrame
    boundary: BaseGeometry | None
    plan: pd.DataFrame
    zones: gpd.GeoDataFrame
    site_ids: gpd.GeoDataFrame
    plan_exchanged: pd.DataFrame | None
    gaps: gpd.GeoDataFrame
    ask_first: pd.DataFrame
    sensitivity: pd.DataFrame
    links: gpd.GeoDataFrame
    candidates_lost: pd.DataFrame
    set_aside: pd.DataFrame
    figures: Figures
    findings: Findings
    public: Result | None = None
    writer: Callable[[Result, Path], None] | None = None

    def write(self, folder: str | Path) -> None:
        """Writes maps, tables and files for GIS into `folder`, in the place of what the last run wrote there."""
        if self.writer is None:
            raise HabitatmapError("this result was not made by habitatmap.run, and has nothing to write itself with")
        self.writer(self, Path(folder))

    @property
    def credits(self) -> tuple[str, ...]:
        """The credits of the data, to be shown wherever the data are."""
        return self.figures.credits

    @property
    def needs_a_look(self) -> bool:
        """Whether a row was set aside, or an input is missing or was not used."""
        unused = any(one.to_do for one in self.figures.not_used)
        return bool(self.figures.missing) or unused or bool(self.set_aside["row"].notna().any())
