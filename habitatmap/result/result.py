"""What a run found, as one frozen value. It holds figures and codes; sentences are made where files are written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from habitatmap.changes.since import Since
from habitatmap.errors import HabitatmapError
from habitatmap.geo.frames import MapFrame, at_places
from habitatmap.geo.grid import Grid
from habitatmap.habitat.forage import MonthlyForage
from habitatmap.read.land_cover import LandCover
from habitatmap.read.settings import Settings
from habitatmap.result.figures import Figures
from habitatmap.result.findings import Findings
from habitatmap.result.inline import InlinePage
from habitatmap.result.xarrays import as_dataset

if TYPE_CHECKING:
    import xarray

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]


class Outputs(Protocol):
    """What makes pages and files of a result."""

    def write(self, result: Result, folder: Path) -> None:
        """Writes the folder, whole or not at all."""

    def page(self, result: Result, public: bool) -> str:
        """The map page as HTML: the team's, or the one for everybody."""

    def summary(self, result: Result) -> dict[str, object]:
        """The content of summary.json."""

    def lines(self, result: Result) -> str:
        """A few lines of text."""

    def table(self, result: Result) -> str:
        """A short table as HTML."""


OF_POINTS = ("pools", "trees", "plan", "plan_exchanged")
OF_SHAPES = ("places", "keep_away", "paths", "zones", "site_ids", "gaps", "links")


@dataclass(frozen=True, repr=False)
class Result:
    """Everything a run found; `write(folder)` writes it, whole or not at all, `map()` shows it in a notebook.

    Rasters are float32, rows x cols on `grid`, NaN where not known, and can't be changed. Frames hold figures and codes
    (result.tables), and shapes where they have places: points are made from x and y. `findings` is what the stages
    found out, for those who calculate on; it is never written out. `public` is the same for the area as the public may
    see it; None where it was not asked for. `since`: what changed since the last kept season, where that was asked for.
    """

    title: str
    settings: Settings
    crs: CRS
    grid: Grid
    land_cover: LandCover | None
    rasters: dict[str, Floats32]
    forage_months: MonthlyForage | None
    pools: gpd.GeoDataFrame
    visits: pd.DataFrame
    trees: gpd.GeoDataFrame
    places: gpd.GeoDataFrame
    keep_away: gpd.GeoDataFrame
    paths: gpd.GeoDataFrame
    boundary: BaseGeometry | None
    plan: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    site_ids: gpd.GeoDataFrame
    plan_exchanged: gpd.GeoDataFrame | None
    gaps: gpd.GeoDataFrame
    ask_first: pd.DataFrame
    sensitivity: pd.DataFrame
    links: gpd.GeoDataFrame
    candidates_lost: pd.DataFrame
    set_aside: pd.DataFrame
    figures: Figures
    findings: Findings
    public: Result | None = None
    since: Since | None = None
    outputs: Outputs | None = None

    def __post_init__(self) -> None:
        for name in OF_POINTS:
            frame = getattr(self, name)
            object.__setattr__(self, name, None if frame is None else at_places(frame, self.crs))
        for name in OF_SHAPES:
            object.__setattr__(self, name, MapFrame(getattr(self, name)))
        for raster in self.rasters.values():
            raster.flags.writeable = False  # stages that are taken again may share it

    def write(self, folder: str | Path) -> None:
        """Writes maps, tables and files for GIS into `folder`, in the place of what the last run wrote there."""
        self._outputs.write(self, Path(folder))

    def map(self, public: bool = False, height: int = 640) -> InlinePage:
        """The map page, which a notebook shows inline, so many pixels high. The team's has exact places: it is private,
        and so is a notebook that holds it. `public`: the page for everybody, from blurred places.
        """
        return InlinePage(self.title, self._outputs.page(self, public), public, height)

    @property
    def summary(self) -> dict[str, object]:
        """The run in figures, as summary.json has them; None = not known."""
        return self._outputs.summary(self)

    def to_xarray(self) -> xarray.Dataset:
        """The rasters on x and y (metres) with their reference system. HabitatmapError without the package xarray."""
        return as_dataset(self.rasters, self.grid, self.crs)

    @property
    def _outputs(self) -> Outputs:
        if self.outputs is None:
            raise HabitatmapError("this result was not made by habitatmap.run, and has nothing to write itself with")
        return self.outputs

    def __repr__(self) -> str:
        return f"Result for {self.title}" if self.outputs is None else self.outputs.lines(self)

    def _repr_html_(self) -> str:
        return self._outputs.table(self)

    @property
    def credits(self) -> tuple[str, ...]:
        """The credits of the data, to be shown wherever the data are."""
        return self.figures.credits

    @property
    def needs_a_look(self) -> bool:
        """Whether a row was set aside, or an input is missing or was not used."""
        unused = any(one.to_do for one in self.figures.not_used)
        return bool(self.figures.missing) or unused or bool(self.set_aside["row"].notna().any())
