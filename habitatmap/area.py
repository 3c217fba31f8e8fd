"""An area: one folder, read whole, as one object. Everything is in one projected system in metres, on one grid.

`blurred` gives the area as the public may see it; what is published is computed
from that and never from the area itself.
"""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Proj
from shapely.geometry.base import BaseGeometry

from habitatmap import privacy
from habitatmap.errors import CrsError, InputError
from habitatmap.errors.why import Why
from habitatmap.geo.crs import choose_crs, crs_label, is_metric, metric_crs, to_lonlat
from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.frames import MapFrame, at_places, without_shapes
from habitatmap.geo.gazetteer import Gazetteer
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.read.committed import read_committed
from habitatmap.read.coordinates import Box
from habitatmap.read.corrections import place_corrections, read_corrected, with_corrections
from habitatmap.read.earlier_sites import read_earlier_sites
from habitatmap.read.exclusion_zones import read_keep_away
from habitatmap.read.formats.raster import credits_of, raster_bounds, raster_crs
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.hazards import read_hazards
from habitatmap.read.houses import read_houses
from habitatmap.read.inputs import Input, inputs_of
from habitatmap.read.intake import Intake, take_in, uncollected
from habitatmap.read.land import read_land
from habitatmap.read.land_cover import (
    CoverShapes,
    CoverSources,
    LandCover,
    Legend,
    compose_land_cover,
    places_on_water,
    read_cover_shapes,
)
from habitatmap.read.layers import TreeTable, layers_of, load_tree_table
from habitatmap.read.ledger import Ledger, Unused, in_row, some
from habitatmap.read.names import read_names
from habitatmap.read.observers import tell_long_ago
from habitatmap.read.outline import read_outline
from habitatmap.read.paths import read_paths
from habitatmap.read.photos import Photo, read_photos
from habitatmap.read.plan_status import pools_set_out, read_plan_status, tell_agreed, with_lost_sites
from habitatmap.read.points import rough_lonlat
from habitatmap.read.pools import read_pools, standing, tell_no_visits
from habitatmap.read.settings import FILE_NAME, Settings
from habitatmap.read.shapes import lonlat_of_shapes
from habitatmap.read.trees import read_trees
from habitatmap.read.visits import read_visits
from habitatmap.sentences import Quantity, Sentence, apart, count, exact, say
from habitatmap.stages import Stages
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Hazard

# half the side, in cells, of the largest frame that is made for pools alone: one lost point must not blow it up
MOST_CELLS_AROUND = 2500
# a metre of the reference system may differ so much from one on the ground before it is said, and before it is refused
SCALE_REMARKED, SCALE_REFUSED = 0.01, 0.2
SOUTHERNMOST = 35.0  # degrees north: beyond, the months of the layers do not hold (expert judgement)


Degrees = tuple[NDArray[np.float64], NDArray[np.float64]]
Boxes = Sequence[Sequence[float]]  # west, south, east, north of each
Tables = Mapping[Kind, Sequence[Table]]


OF_POINTS = ("pools", "trees", "committed")
OF_SHAPES = ("land", "keep_away", "paths", "names", "earlier_sites", "plan_status")


@dataclass(frozen=True)
class Area:
    """An area folder, read and checked. Frames have the columns their readers in `read` state; lengths are metres.

    `has` names the kinds of input that the folder holds; `inputs` what each file is worth; `notes` says what was
    decided on the way; `earlier_sites` are the ids that sites were given in earlier runs, `plan_status` how far they
    have come; `boundary` and `inventoried` are shapely shapes, None where the folder has none; `hazards` tells which
    cells of the frame are steep or flood, where a raster says so; `hashes` are those of all files that an input may be,
    before they were read. The points of pools, trees and committed sites are made from their x and y; `stages` keeps
    what runs of this very area found.
    """

    folder: Path
    settings: Settings
    as_of: datetime.date
    crs: CRS
    grid: Grid
    ledger: Ledger
    pools: gpd.GeoDataFrame
    visits: pd.DataFrame
    trees: gpd.GeoDataFrame
    land: gpd.GeoDataFrame
    keep_away: gpd.GeoDataFrame
    paths: gpd.GeoDataFrame
    names: gpd.GeoDataFrame
    committed: gpd.GeoDataFrame
    boundary: BaseGeometry | None
    inventoried: BaseGeometry | None
    has: frozenset[Kind]
    land_cover: LandCover | None
    tree_table: TreeTable
    earlier_sites: gpd.GeoDataFrame
    plan_status: gpd.GeoDataFrame
    notes: list[Sentence] = field(default_factory=list)
    credits: list[str] = field(default_factory=list)
    inputs: tuple[Input, ...] = ()
    hazards: Mapping[Hazard, NDArray[np.bool_]] = field(default_factory=dict)
    photos: tuple[Photo, ...] = ()
    hashes: Mapping[str, str] = field(default_factory=dict)
    stages: Stages = field(init=False, repr=False, compare=False, default_factory=Stages)  # a changed area has its own

    def __post_init__(self) -> None:
        for name in OF_POINTS:
            object.__setattr__(self, name, at_places(getattr(self, name), self.crs))
        for name in OF_SHAPES:
            object.__setattr__(self, name, MapFrame(getattr(self, name)))

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """All its tables by name."""
        return {name: getattr(self, name) for name in ("visits", *OF_POINTS, *OF_SHAPES)}

    @cached_property
    def gazetteer(self) -> Gazetteer:
        """The names by which people find their way; those of private land are none of them."""
        return Gazetteer.of(self.land[self.land["private"] != "yes"], self.names, self.paths)

    @cached_property
    def land_called(self) -> pd.Series:
        """What to call each row of `land`: its name, else its kind and the streets or the park about it."""
        return pd.Series(self.gazetteer.call(self.land), index=self.land.index, dtype=object)

    @property
    def pool_names(self) -> Sequence[str]:
        """The names of its pools."""
        return list(self.pools["pool"])

    @property
    def title(self) -> str:
        """The title of area.toml, else the folder's name."""
        return self.settings.title or self.folder.resolve().name


def open_area(
    path: str | Path,
    as_of: datetime.date | None = None,
    committed: Path | None = None,
    settings: Settings | None = None,
) -> Area:
    """Reads an area folder as of a day: `as_of`, else area.toml's, else today.

    `committed` is one more file of committed sites; where it was saved on the map page, the pools taken out there do
    not stand on that day (their visits still count for the estimate). `settings` stand for those of area.toml.
    Tables in its folder `layers` stand in place of the program's.
    Raises InputError (or its CrsError, LayerError) with one sentence where the folder cannot be used.
    """
    with layers_of(Path(path)):
        intake = take_in(Path(path), committed, settings)
        if intake.faults:
            raise intake.faults[0]
        return area_of(intake, as_of)


AnyArea = TypeVar("AnyArea", bound=Area)


def with_settings(area: AnyArea, settings: Settings) -> AnyArea:
    """The area with other settings, which must not be such as reading it depends on; it goes on with its `stages`."""
    changed = replace(area, settings=settings)
    object.__setattr__(changed, "stages", area.stages)
    return changed


@uncollected()
def area_of(intake: Intake, as_of: datetime.date | None = None) -> Area:
    """The area of what was taken in, as of a day as `open_area` has it; what could not be opened is not in it.

    Raises InputError with one sentence where that is not enough for an area.
    """
    placed, lost = place_corrections(intake.tables, intake.corrections, intake.stated)
    tables = with_corrections(intake.tables, placed, lost)
    crs, chosen_by = _choose_crs(intake.settings, intake.rasters, tables, intake.stated)
    sources = Sources(intake, _day_of(intake, as_of), crs, (chosen_by, *intake.notes))
    area = read_corrected(intake.tables, placed, lost, lambda some: _read_area(some, sources))
    return _without(area, *intake.without)


def _day_of(intake: Intake, as_of: datetime.date | None) -> datetime.date:
    return as_of or intake.settings.as_of or datetime.date.today()


# a system of the whole world, in metres: where an area can't be placed its rows are read in it all the same
ANYWHERE = CRS.from_epsg(6933)


@dataclass(frozen=True)
class Account:
    """What a folder that makes no area holds, and what stops a map."""

    title: str
    folder: Path
    ledger: Ledger
    faults: Sequence[InputError]
    notes: Sequence[Sentence]
    pool_names: Sequence[str]


def area_or_account(intake: Intake) -> Area | Account:
    """The area of what was taken in; where there is none, or a file of it can't be used, the account of its rows."""
    if intake.faults:
        return account_of(intake, [])
    try:
        return area_of(intake)
    except InputError as wall:
        return account_of(intake, [wall])


@uncollected()
def account_of(intake: Intake, walls: Sequence[InputError]) -> Account:
    """The account of the rows of a folder that makes no area: each table is read as far as it goes."""
    placed, lost = place_corrections(intake.tables, intake.corrections, intake.stated)
    try:
        tables = with_corrections(intake.tables, placed, lost)
        crs = _choose_crs(intake.settings, intake.rasters, tables, intake.stated)[0]
    except InputError:
        crs = ANYWHERE
    return read_corrected(intake.tables, placed, lost, lambda some: _account(some, intake, crs, walls))


def _account(tables: Tables, intake: Intake, crs: CRS, walls: Sequence[InputError]) -> Account:
    day, stated, ledger, faults = _day_of(intake, None), intake.stated, Ledger(), [*intake.faults]
    ledger.unused += intake.unused
    with suppress(InputError):
        paths = read_paths(tables.get(Kind.PATHS, []), crs, stated, Ledger())
        houses = read_houses(tables.get(Kind.ADDRESSES, []), paths, crs, stated, Ledger())
        stated = replace(stated, addresses=houses)
    pools, sites = read_pools([], crs, stated, Ledger()), read_earlier_sites(intake.folder, crs)[0]
    visits = read_visits([], pools, stated, Ledger())
    readers: Mapping[Kind, Callable[[Sequence[Table], Ledger], pd.DataFrame]] = {
        Kind.POOLS: lambda some, into: read_pools(some, crs, stated, into),
        Kind.VISITS: lambda some, into: read_visits(some, pools, stated, into, crs),
        Kind.TREES: lambda some, into: read_trees(some, crs, stated, into),
        Kind.LAND: lambda some, into: read_land(some, crs, stated, into, day, tables.get(Kind.CONSENT, [])),
        Kind.KEEP_AWAY: lambda some, into: read_keep_away(some, crs, stated, into, intake.settings.keep_away),
        Kind.COMMITTED: lambda some, into: read_committed(some, crs, stated, into),
        Kind.PLAN_STATUS: lambda some, into: read_plan_status(some, crs, stated, into, sites),
    }
    for kind, read in readers.items():
        good = []
        for table in tables.get(kind, ()):
            try:
                read([table], Ledger())  # a table that fails half-way must leave no half account
                good.append(table)
            except InputError as fault:
                faults.append(fault)
                ledger.unused.append(Unused(table.file, table.sheet, Why.UNREADABLE.of(fault=fault), table))
        frame = read(good, ledger)
        pools = frame if kind is Kind.POOLS else pools
        visits = frame if kind is Kind.VISITS else visits
    read_photos(intake.folder, pools, visits, crs, stated, ledger)
    title = intake.settings.title or intake.folder.resolve().name
    return Account(title, intake.folder, ledger, faults or walls, intake.notes, pools["pool"].tolist())


def _without(area: Area, names: Sequence[str], source: str) -> Area:
    """The area as if these pools were removed on its day. InputError for one that it does not have."""
    for name in names:
        if name not in set(area.pools["pool"]):
            close = difflib.get_close_matches(name, area.pools["pool"], n=1)
            hint = f"did you mean {close[0]}?" if close else "save the file again on this area's own map"
            raise InputError(f"{source}: taken_out names {name}, which is no pool of this area; {hint}")
    if not names:
        return area
    gone = area.pools["pool"].isin(names)
    pools = area.pools.assign(removed=area.pools["removed"].mask(gone, pd.Timestamp(area.as_of)))
    return replace(area, pools=pools)


@dataclass(frozen=True)
class Sources:
    """What an area is read from, beside its tables; `notes` says what was decided on the way."""

    intake: Intake
    day: datetime.date
    crs: CRS
    notes: tuple[Sentence, ...]


def _read_area(tables: Tables, sources: Sources) -> Area:
    """The area of these tables: everything is checked, brought to one system, and accounted for."""
    intake, crs, day = sources.intake, sources.crs, sources.day
    settings, stated, rasters = intake.settings, intake.stated, intake.rasters
    notes, ledger = list(sources.notes), Ledger()
    ledger.unused += intake.unused
    boundary = read_outline(tables.get(Kind.BOUNDARY, []), Kind.BOUNDARY, crs, stated, ledger)
    base = read_cover_shapes(tables.get(Kind.LAND_COVER, []), Kind.LAND_COVER, crs, stated, ledger)
    overlays = read_cover_shapes(tables.get(Kind.OVERLAYS, []), Kind.OVERLAYS, crs, stated, ledger)
    boxes = _boxes_of_cover(rasters, base, crs, settings)
    of_system = Box.of_system(crs) if settings.crs else None
    stated = replace(stated, box=_lies_in(boundary, boxes, crs) or of_system)
    paths = read_paths(tables.get(Kind.PATHS, []), crs, stated, ledger)
    stated = replace(stated, addresses=read_houses(tables.get(Kind.ADDRESSES, []), paths, crs, stated, ledger))
    pools = read_pools(tables.get(Kind.POOLS, []), crs, stated, ledger)
    earlier_sites, status, unread = _sites(intake.folder, tables, crs, stated, ledger)
    notes += unread
    pools, stated = _with_sites_set_out(status, pools, tables, stated, ledger, day)
    visits = read_visits(tables.get(Kind.VISITS, []), pools, stated, ledger, crs)
    _tell_dates(visits, day, settings, ledger)
    boxes = boxes or _boxes_of_cover([], overlays, crs, settings) or _boxes_of_points(pools)
    stated = replace(stated, home=_lies_in(boundary, boxes, crs))
    trees = read_trees(tables.get(Kind.TREES, []), crs, stated, ledger)
    land = read_land(tables.get(Kind.LAND, []), crs, stated, ledger, day, tables.get(Kind.CONSENT, []))
    tell_no_visits(pools, land, visits, day, ledger)
    photos = read_photos(intake.folder, pools, visits, crs, stated, ledger)
    keep_away = read_keep_away(tables.get(Kind.KEEP_AWAY, []), crs, stated, ledger, settings.keep_away)
    names = read_names(tables.get(Kind.NAMES, []), crs, stated, ledger)
    committed = read_committed(tables.get(Kind.COMMITTED, []), crs, stated, ledger)
    inventoried = read_outline(tables.get(Kind.INVENTORIED, []), Kind.INVENTORIED, crs, stated, ledger)

    cover, hazards = None, {}
    if rasters or base or overlays:
        grid = _frame_of_cover(rasters, base or overlays, boundary, crs, settings)
        legend = Legend(intake.folder, settings.land_cover.classes)
        painted = CoverSources(rasters, base, overlays, settings.source_crs)
        cover = compose_land_cover(painted, legend, grid, crs, ledger)
        _refuse_empty(cover, boundary, grid)
        hazards = read_hazards(intake.hazards, grid, crs, settings)
        cover = places_on_water(cover, grid, *_on_land(trees, keep_away, paths))
    else:
        grid, far = _frame_of_points(pools, boundary, [land, trees, keep_away], settings, ledger)
        notes += far
    notes += _remarks_on_region(crs, grid)
    notes += _far_off({"land": land, "keep_away": keep_away, "paths": paths}, grid)
    tree_table = load_tree_table()
    if lacking := tree_table.not_known(trees):
        genera = apart([say("{name} ({n})", name=name, n=n) for name, n in lacking.items()])
        told = "layers/trees.csv has no row for {genera}: their flowers and rot-holes are not known."
        ledger.tell(say(told, genera=genera))
    ledger.check()
    return Area(
        folder=intake.folder,
        settings=settings,
        as_of=day,
        crs=crs,
        grid=grid,
        ledger=ledger,
        pools=pools,
        visits=visits,
        trees=trees,
        land=land,
        keep_away=keep_away,
        paths=paths,
        names=names,
        committed=committed,
        boundary=boundary,
        inventoried=inventoried,
        has=frozenset({kind for kind, found in tables.items() if found} | ({Kind.LAND_COVER} if cover else set())),
        land_cover=cover,
        tree_table=tree_table,
        earlier_sites=earlier_sites,
        plan_status=status,
        notes=notes,
        hazards=hazards,
        photos=photos,
        hashes=intake.hashes,
        inputs=inputs_of(ledger.holdings, grid, crs),
        credits=[*settings.credits, *(c for p in rasters for c in credits_of(p) if c not in settings.credits)],
    )


def _sites(
    folder: Path, tables: Tables, crs: CRS, stated: Stated, ledger: Ledger
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, list[Sentence]]:
    """The register of suggested sites, how far they have come, and a word where the register can't be used."""
    register, unread = read_earlier_sites(folder, crs)
    status = read_plan_status(tables.get(Kind.PLAN_STATUS, []), crs, stated, ledger, register)
    return with_lost_sites(register, status), status, unread


def _with_sites_set_out(
    status: gpd.GeoDataFrame, pools: pd.DataFrame, tables: Tables, stated: Stated, ledger: Ledger, day: datetime.date
) -> tuple[pd.DataFrame, Stated]:
    """The pools with the sites that were set out, and what is stated with the names by which visits may call these."""
    if status.empty:
        return pools, stated
    visits = read_visits(tables.get(Kind.VISITS, []), pools, stated, Ledger(), status.crs)
    up = standing(pools, visits, day) | (pools["set_out"] > pd.Timestamp(day)).to_numpy()
    tell_agreed(status, pools, up, ledger)
    found = pools_set_out(status, pools, up, ledger)
    return found.pools, replace(stated, names=(*stated.names, *found.names))


def _tell_dates(visits: pd.DataFrame, day: datetime.date, settings: Settings, ledger: Ledger) -> None:
    """Remarks on visits after the day of the run, which may be of a wrong year, and on observers of long ago."""
    tell_long_ago(visits, day, settings.privacy.observers_years, ledger)
    late = visits[visits["date"] > pd.Timestamp(day)]
    if len(late):
        first = late.iloc[0]
        told = (
            "{visits} dated after {day}, the day that counts as today (for instance {pool}, {row}), and not counted "
            "yet; check the year"
        )
        row = in_row(first["file"], first["row"])
        ledger.remark(say(told, visits=count(len(late), "visit"), day=day, pool=first["pool"], row=row))


# --- reference system ------------------------------------------------------------------------------------------------


def _choose_crs(settings: Settings, rasters: Sequence[Path], tables: Tables, stated: Stated) -> tuple[CRS, Sentence]:
    """The area's system and why: stated, else the land cover's own if metric, else chosen from the data."""
    if settings.crs is not None:
        crs = metric_crs(settings.crs, f"{FILE_NAME}: crs")
        return crs, say("The reference system is {crs}, as area.toml states.", crs=crs_label(crs))
    own = [(p.name, raster_crs(p, settings.source_crs)) for p in rasters]
    own += [(t.file, t.crs.to_2d()) for t in tables.get(Kind.LAND_COVER, []) if t.crs is not None]
    lon, lat = _some_places(rasters, tables, stated)
    for name, crs in own:
        if is_metric(crs) and _scale_error(crs, float(np.mean(lon)), float(np.mean(lat))) <= SCALE_REMARKED:
            of_file = "The reference system is {crs}, that of {file}; area.toml states none."
            return crs, say(of_file, crs=crs_label(crs), file=name)
    crs = choose_crs(lon, lat)
    chosen = "The reference system is {crs}, chosen from the data; area.toml states none."
    return crs, say(chosen, crs=crs_label(crs))


# where an area lies, from the surest kind of input to the least sure
_PLACED = (
    Kind.LAND_COVER,
    Kind.BOUNDARY,
    Kind.POOLS,
    Kind.OVERLAYS,
    Kind.LAND,
    Kind.TREES,
    Kind.KEEP_AWAY,
    Kind.ADDRESSES,
    Kind.PATHS,
)


def _some_places(rasters: Sequence[Path], tables: Tables, stated: Stated) -> Degrees:
    """Longitudes and latitudes of the first input that has any: the land cover, the boundary, the pools, and so on."""
    for path in rasters:
        own = raster_crs(path, dict(stated.source_crs))
        west, south, east, north = raster_bounds(path, own, dict(stated.source_crs))
        return to_lonlat([west, east], [south, north], own)
    for kind in _PLACED:
        if kind in (Kind.POOLS, Kind.TREES):
            lon, lat = rough_lonlat(tables.get(kind, []), kind, stated)
        else:
            lon, lat = lonlat_of_shapes(tables.get(kind, []), kind, stated)
        good = np.isfinite(lon) & np.isfinite(lat)
        if good.any():
            return lon[good], lat[good]
    given = tables.get(Kind.POOLS, ())
    if lists := [table.file for table in given if not len(table)]:
        raise InputError(f"{lists[0]} holds no pool yet; write the first one there, or add land_cover.tif")
    heads = "".join(f"; the headings of {t.name} are {some([h for h in t.headings if h], ', ')}" for t in given[:3])
    raise InputError(
        f"no row of any input has a place that can be read{heads}; give the pools coordinates (or "
        "addresses, in an area started with habitatmap new --osm, which has the streets), say in readings.xlsx "
        "(habitatmap check writes it) what the headings mean, or add land_cover.tif"
    )


def _scale_error(crs: CRS, lon: float, lat: float) -> float:
    """By which share a metre of the system differs from one on the ground at a place, at worst; 0 where not known."""
    factors = Proj(crs).get_factors(lon, lat, errcheck=False)
    scales = np.array([factors.meridional_scale, factors.parallel_scale])
    return float(np.abs(scales - 1).max()) if np.isfinite(scales).all() else 0.0


def _remarks_on_region(crs: CRS, grid: Grid) -> list[Sentence]:
    """What the place on earth means for distances in this system, and for the tables of months. Raises CrsError."""
    west, south, east, north = grid.bounds
    lon, lat = to_lonlat([(west + east) / 2], [(south + north) / 2], crs)
    error = _scale_error(crs, float(lon[0]), float(lat[0])) if np.isfinite(lon).all() else 0.0
    if error > SCALE_REFUSED:
        advice = f"state one made for this region in {FILE_NAME}, such as the UTM zone, or leave crs out"
        raise CrsError(f"{FILE_NAME}: in {crs_label(crs)} a metre is off by {error:.0%} in this area; {advice}")
    remarks = []
    if error > SCALE_REMARKED:
        told = (
            "In {crs} every distance in this area is off by {error}; state a system made for this region in area.toml, "
            "such as the UTM zone, or leave crs out."
        )
        remarks.append(say(told, crs=crs_label(crs), error=Quantity(100 * error, 1, "%")))
    if lat[0] < SOUTHERNMOST:
        told = (
            "Months and values of flowers in layers/ are those of temperate Europe and don't hold here: put tables of "
            "your own into a folder layers of the area, and set [season], before you rely on the plan."
        )
        remarks.append(Sentence(told))
    return remarks


# --- frame -----------------------------------------------------------------------------------------------------------


def _margin_m(settings: Settings) -> float:
    """How far beyond a place forage can matter to it: ten scales of the longer flight kernel (metres)."""
    longer = max(settings.flight.forage_median_m, settings.flight.dispersal_median_m)
    return FlightKernel(longer).end_m


def _lies_in(boundary: BaseGeometry | None, boxes: Boxes, crs: CRS) -> Box | None:
    """Where the boundary, else the boxes (metres) of the land cover or of the pools, say that the area lies."""
    if boundary is not None:
        return Box.of(boundary.bounds, crs, Sentence("the boundary"))
    if not boxes:
        return None
    return Box.of((*np.min(boxes, axis=0)[:2], *np.max(boxes, axis=0)[2:]), crs, Sentence("the land cover"))


def _boxes_of_points(points: pd.DataFrame) -> Boxes:
    """The box of points (x, y in metres), in a list; an empty one where there are none."""
    x, y = points["x"], points["y"]
    return [(x.min(), y.min(), x.max(), y.max())] if len(points) else []


def _boxes_of_cover(rasters: Sequence[Path], shapes: Sequence[CoverShapes], crs: CRS, settings: Settings) -> Boxes:
    boxes: list[Sequence[float]] = [raster_bounds(path, crs, settings.source_crs) for path in rasters]
    return boxes + [tuple(shapely.total_bounds(c.geometry)) for c in shapes if len(c.geometry)]


def _frame_of_cover(
    rasters: Sequence[Path], shapes: Sequence[CoverShapes], boundary: BaseGeometry | None, crs: CRS, settings: Settings
) -> Grid:
    """The land cover's extent, without what lies so far beyond the boundary that nothing there matters."""
    boxes = _boxes_of_cover(rasters, shapes, crs, settings)
    if not boxes:
        raise InputError(f"{', '.join(c.file for c in shapes)}: no row has a shape, so there is no land cover")
    west, south = np.min(boxes, axis=0)[:2]
    east, north = np.max(boxes, axis=0)[2:]
    if boundary is not None:
        around = np.array(boundary.bounds) + _margin_m(settings) * np.array([-1, -1, 1, 1])
        west, south = max(west, around[0]), max(south, around[1])
        east, north = min(east, around[2]), min(north, around[3])
        if west >= east or south >= north:
            raise InputError(
                "the land cover lies wholly outside the boundary; check the reference systems of both, "
                "or take the boundary out"
            )
    return Grid.covering(west, south, east, north, settings.cell_m)


def _nothing_placed(ledger: Ledger) -> str:
    """The sentence for an area none of whose rows can be used: what is wrong with the first stands for all."""
    aside = ledger.in_order()
    if not aside:
        return "no input has a place that can be used; add rows to pools.*, or add land_cover.tif"
    first, others = aside[0], f" (the first of {len(aside)} rows set aside)" if len(aside) > 1 else ""
    return (
        f"no input has a place that can be used: {first.file}, row {first.row}: {first.why.reason}{others}; "
        f"{first.why.remedy}, or add land_cover.tif"
    )


def _frame_of_points(
    pools: pd.DataFrame,
    boundary: BaseGeometry | None,
    others: Sequence[pd.DataFrame],
    settings: Settings,
    ledger: Ledger,
) -> tuple[Grid, list[Sentence]]:
    """The pools and the boundary with the margin around; where there are neither, whatever has a place.

    One lost point must not blow the frame up: where it would be too large, it is made around the pools' median.
    """
    places = [
        np.column_stack([pools["x"], pools["y"]]),
        *([np.array(boundary.bounds).reshape(2, 2)] if boundary else []),
    ]
    for frame in others:
        if sum(map(len, places)) == 0:
            xy = frame[["x", "y"]].to_numpy() if "x" in frame else frame.total_bounds.reshape(2, 2)
            places = [xy[np.isfinite(xy).all(axis=1)]]
    xy = np.concatenate(places)
    if not len(xy):
        raise InputError(_nothing_placed(ledger))
    margin = FlightKernel(settings.flight.forage_median_m).end_m
    most = MOST_CELLS_AROUND * settings.cell_m
    middle = np.median(xy, axis=0)
    near = xy
    notes = []
    if (xy.max(axis=0) - xy.min(axis=0)).max() > 2 * most:
        near = xy[(np.abs(xy - middle) <= most).all(axis=1)]
        near = near if len(near) else middle[None, :]
        told = (
            "The map leaves out {n} of {of} places, more than {far} from the middle of the others; check the "
            "coordinates, or add land_cover.tif or a larger cell_m for a larger map."
        )
        far = exact(most / 1000, "km")
        notes = [say(told, n=len(xy) - len(near), of=len(xy), far=far)]
    west, south = near.min(axis=0) - margin
    east, north = near.max(axis=0) + margin
    return Grid.covering(west, south, east, north, settings.cell_m), notes


def _on_land(
    trees: pd.DataFrame, keep_away: gpd.GeoDataFrame, paths: gpd.GeoDataFrame
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and y (metres) of what stands on land: trees, buildings and the middles of streets and paths. No pool, as a
    private one would be told by it."""
    buildings = keep_away[keep_away["kind"] == "building"]
    middles = shapely.get_coordinates(shapely.point_on_surface([*buildings.geometry, *paths.geometry]))
    xy = np.vstack([trees[["x", "y"]].to_numpy(float), middles])
    xy = xy[np.isfinite(xy).all(axis=1)]
    return xy[:, 0], xy[:, 1]


def _refuse_empty(cover: LandCover, boundary: BaseGeometry | None, grid: Grid) -> None:
    """Raises InputError where no cell inside the boundary has land cover."""
    if boundary is None:
        return
    inside = cells_in([boundary], grid)
    if not (inside & (cover.classes > 0)).any():
        raise InputError(
            "no cell inside the boundary has land cover; check the reference systems of both, or take the boundary out"
        )


def _far_off(layers: dict[str, gpd.GeoDataFrame], grid: Grid) -> list[Sentence]:
    """A word on every layer of which no shape lies in the frame: most likely its reference system is wrong."""
    frame = shapely.box(*grid.bounds)
    return [
        say("No shape of {name} lies in the area; check the reference system of its file.", name=name)
        for name, layer in layers.items()
        if len(layer) and not layer.intersects(frame).any()
    ]


# --- as the public may see it ----------------------------------------------------------------------------------------


def blurred(area: Area) -> Area:
    """The area as the public may see it (`privacy`): a private pool moved within its blur square changes nothing.

    Hosts, notes, observers and row numbers are empty; private land, and sites committed on it, are left out.
    """
    private = privacy.is_private(area.pools, area.land)
    exact = without_shapes(area.pools)  # a shape would keep the place, and shapes are made anew from x and y
    pools, names = privacy.public_pools(exact, area.visits, private, area.settings.public.blur_m)
    land = privacy.public_land(area.land)
    return replace(
        area,
        grid=area.grid if area.land_cover is not None else _public_frame(area, pools, land),
        pools=pools,
        visits=privacy.public_visits(area.visits, names),
        land=land,
        plan_status=privacy.public_status(area.plan_status),
        committed=privacy.public_sites(without_shapes(area.committed), privacy.is_private(area.committed, area.land)),
        ledger=_counts_only(area.ledger),
        notes=area.notes[:1],
        inputs=(),
        photos=(),
        hashes={},
    )


def _public_frame(area: Area, pools: pd.DataFrame, land: gpd.GeoDataFrame) -> Grid:
    """The frame of an area without land cover, made of what is public; else the rough square the area lies in."""
    others = [land, area.trees, area.keep_away]
    if len(pools) or area.boundary is not None or any(map(len, others)):
        return _frame_of_points(pools, area.boundary, others, area.settings, Ledger())[0]
    return privacy.rough_frame(area.pools, area.grid, area.settings.public.blur_m)


def _counts_only(ledger: Ledger) -> Ledger:
    """The same counts; nothing of any row, and no remark, as both may name people."""
    public = Ledger()
    for (kind, file), (read, accepted, aside) in ledger.by_file().items():
        public.read(kind, file, read)
        public.accept(kind, file, accepted)
        public.count_aside(kind, file, aside)
    return public
