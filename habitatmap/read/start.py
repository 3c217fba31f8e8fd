"""Starting an area folder: from an OpenStreetMap extract and a land-cover raster, or as a copy of the demo town."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import rasterio
import shapely
from pyproj import CRS
from rasterio.windows import from_bounds

from habitatmap.errors import InputError, UnprovenClassesError
from habitatmap.errors.system import check_new_folder
from habitatmap.geo.crs import choose_crs, crs_label, is_metric
from habitatmap.read.class_proof import contradictions, find_proof, raster_choices, raster_evidence, unproven
from habitatmap.read.consent_list import start_list
from habitatmap.read.formats.raster import credits_of, is_raster, raster_crs
from habitatmap.read.land_cover import MOST_UNMATCHED
from habitatmap.read.layers import class_rows, load_class_table, shipped_folder
from habitatmap.read.osm import CREDIT, LONLAT, OsmExtract, polygons_of, read_pbf, without_overlaps
from habitatmap.read.settings import read_settings
from habitatmap.read.templates import write_templates
from habitatmap.vocabulary.catalogues import word_in
from habitatmap.vocabulary.kinds import Kind

# ground beyond the area that still counts: ten lengths of the reach weight at the default dispersal median, rounded up
MARGIN_M = 3000.0
# the kind of land that a map draws over that of its owners
RESERVE = "nature reserve"
# the stamp in every GeoPackage, so that the same inputs give the same bytes
NO_DATE = "2000-01-01T00:00:00.000Z"

Say = Callable[[str], None]


@dataclass(frozen=True)
class Given:
    """What an area is started from. classes: a class table of layers/ by its name, or a CSV by its path, "" = to be
    proven; names: the language of names, where the extract has them in several ("fi"); language: that of the workbooks,
    and of pages and papers later, "" = English."""

    osm: Path | None = None
    land_cover: Path | None = None
    classes: str = ""
    boundary: Path | None = None
    names: str = ""
    language: str = ""


def new_area(folder: Path, given: Given = Given(), say: Say = lambda _: None) -> None:
    """Writes the area folder whole or not at all; `say` is told in sentences what was found.

    Raises InputError where the folder already holds something, or an input cannot be used.
    """
    if given.boundary and not (given.osm or given.land_cover):
        raise InputError("--boundary alone makes no map; give --osm, --land-cover or both with it")
    if given.classes and not given.land_cover:
        raise InputError("--classes says which class table reads a raster; give it with --land-cover")
    for path in (given.osm, given.land_cover, given.boundary):
        if path and not path.is_file():
            raise InputError(f"{path} does not exist; check its name")

    def fill(unfinished: Path) -> None:
        unfinished.mkdir()
        _fill(unfinished, folder.name, given, say)

    write_whole(folder, fill)


def new_demo(folder: Path) -> None:
    """Writes a copy of the demo town. Raises InputError where the folder already holds something."""
    demo = shipped_folder("demo_area")

    def fill(unfinished: Path) -> None:
        unfinished.mkdir()
        _copy_inputs(demo, unfinished)
        start_list(unfinished, CRS(read_settings(demo).crs))

    write_whole(folder, fill)


def write_whole(folder: Path, fill: Callable[[Path], object]) -> None:
    """Has a folder filled under another name, and gives it its own once it is whole."""
    check_new_folder(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder} exists already and is not empty; choose another folder, nothing was changed")
    folder.parent.mkdir(parents=True, exist_ok=True)
    unfinished = folder.parent / f".{folder.name}.unfinished"
    shutil.rmtree(unfinished, ignore_errors=True)
    try:
        fill(unfinished)
        if folder.exists():
            folder.rmdir()
        unfinished.rename(folder)
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)


# what `map` writes beside the inputs
STATES = f"{Kind.PLAN_STATUS}.xlsx"


def _copy_inputs(demo: Path, folder: Path) -> None:
    """Copies what the demo town is read from, without results and the script that invents it. Nor are the files' modes
    copied: where the program may only be read, its copy is to be written in."""
    for path in (*demo.iterdir(), *(demo / "overlays").iterdir()):
        if path.is_file() and path.suffix != ".py" and path.name != STATES and not path.name.startswith("."):
            copy = folder / path.relative_to(demo)
            copy.parent.mkdir(exist_ok=True)
            shutil.copyfile(path, copy)


def _fill(folder: Path, title: str, given: Given, say: Say) -> None:
    write_templates(folder, given.language or "en")
    osm, land_cover = given.osm, given.land_cover
    if not (osm or land_cover):
        (folder / "area.toml").write_text(_area_toml(title, given.language), encoding="utf-8", newline="\n")
        return
    extract = read_pbf(osm, given.names) if osm else None
    if osm and extract and not land_cover and not any(map(len, (extract.cover, extract.land, extract.keep_away))):
        raise InputError(
            f"{osm.name} holds nothing that an area can use; expected an extract of the place, with its land use"
        )
    outline = _outline(given.boundary) if given.boundary else None
    crs = _crs(extract, land_cover, outline)
    say(f"Reference system: {crs_label(crs)}")
    if extract:
        _write_extract(folder, extract, crs, with_cover=land_cover is None, say=say)
        start_list(folder, crs, partial(word_in, given.language or "en"))
        if outline is None:
            outline = _extent(extract, crs, say)
    if outline is not None:
        _write(folder / "boundary.gpkg", outline.to_crs(crs))
    more = TAGS_READ_IT
    if land_cover:
        part = _copy_land_cover(folder, land_cover, crs, None if outline is None else outline.to_crs(crs), say)
        more = ["[land_cover]", f"classes = {_quoted(_class_table(folder, part, given, say))}", ""]
    credits = ([CREDIT] if extract else []) + (credits_of(land_cover) if land_cover else [])
    if extract and extract.remarks:
        more = [*more, "# What the extract lacks:", *(f"# - {_printable(remark)}" for remark in extract.remarks), ""]
    toml = _area_toml(title, given.language, crs, credits, more)
    (folder / "area.toml").write_text(toml, encoding="utf-8", newline="\n")


def _outline(path: Path) -> gpd.GeoDataFrame:
    """The boundary as one valid shape, in its own reference system."""
    try:
        frame = gpd.read_file(path)
    except pyogrio.errors.DataSourceError as fault:
        raise InputError(
            f"{path.name} cannot be read as a boundary ({fault}); expected polygons, e.g. GeoJSON"
        ) from None
    if frame.crs is None:
        raise InputError(f"{path.name} does not say its reference system; save it as GeoJSON or GeoPackage, which do")
    shape = polygons_of(shapely.union_all(shapely.make_valid(frame.geometry.dropna().values)))
    if shape is None:
        raise InputError(f"{path.name} holds no polygon; expected the outline of the area")
    return gpd.GeoDataFrame(geometry=[shape], crs=frame.crs)


def _crs(extract: OsmExtract | None, land_cover: Path | None, outline: gpd.GeoDataFrame | None) -> CRS:
    """The raster's system where it is in metres, so that no cell has to move; else chosen from the place."""
    if land_cover:
        if not is_raster(land_cover):
            raise InputError(f"{land_cover.name} is no raster; expected a GeoTIFF of land-cover classes")
        own = raster_crs(land_cover, {})
        if is_metric(own):
            return own
    if outline is not None:
        west, south, east, north = outline.to_crs(LONLAT).total_bounds
    elif extract:
        west, south, east, north = extract.bounds
    elif land_cover:
        with rasterio.open(land_cover) as raster:
            west, south, east, north = rasterio.warp.transform_bounds(raster.crs, LONLAT, *raster.bounds)
    return choose_crs([west, east], [south, north])


def _extent(extract: OsmExtract, crs: CRS, say: Say) -> gpd.GeoDataFrame | None:
    """Where an extract has data: its box, cut to the convex hull of what it holds; None where that is no area."""
    frames = (extract.trees, extract.land, extract.keep_away, extract.paths, extract.cover)
    shapes = [shape for frame in frames for shape in shapely.make_valid(frame.geometry.values)]
    within = shapely.get_coordinates(shapely.clip_by_rect(shapes, *extract.bounds))
    hull = shapely.convex_hull(shapely.MultiPoint(within))
    if hull.geom_type != "Polygon":
        return None
    outline = gpd.GeoDataFrame(geometry=[shapely.segmentize(hull, 0.01)], crs=LONLAT)
    say(
        f"boundary: {outline.to_crs(crs).area.sum() / 10_000:,.0f} ha, the extract's box as far as it has data; "
        "give the outline of the place itself with --boundary"
    )
    return outline


def _box_of(extract: OsmExtract, crs: CRS) -> gpd.GeoDataFrame:
    """The extract's box, with points along its edges, as a box in degrees has no straight edges in metres."""
    return gpd.GeoDataFrame(geometry=[shapely.segmentize(shapely.box(*extract.bounds), 0.01)], crs=LONLAT).to_crs(crs)


def _inside(frame: gpd.GeoDataFrame, extract: OsmExtract, crs: CRS) -> gpd.GeoDataFrame:
    """Polygons within the extract's box: a long river or forest leads far beyond it, where all else is missing."""
    moved = frame.to_crs(crs)
    cut = shapely.intersection(shapely.make_valid(moved.geometry.values), _box_of(extract, crs).geometry.iloc[0])
    shapes = [polygons_of(shape) for shape in cut]
    moved = moved.set_geometry(gpd.GeoSeries(shapes, index=moved.index, crs=crs))
    return moved[moved.geometry.notna()].reset_index(drop=True)


def _write_extract(folder: Path, extract: OsmExtract, crs: CRS, *, with_cover: bool, say: Say) -> None:
    """The extract's frames as files; one without rows is left out, as nothing is not the same as none."""
    land, cover = _inside(extract.land, extract, crs), _inside(extract.cover, extract, crs)
    # homes give way to every other kind, so that a park among houses stays public land; a reserve lies over the land
    # of others, who must agree besides
    reserve = land["kind"] == RESERVE
    land = pd.concat(
        [without_overlaps(land[~reserve], (land.loc[~reserve, "kind"] != "homes").astype(int)), land[reserve]],
        ignore_index=True,
    )
    frames = {
        "trees": extract.trees,
        "land": land,
        "keep_away": extract.keep_away,
        "paths": extract.paths,
        "names": extract.names,
        "addresses": extract.addresses,
    }
    if with_cover:
        frames["land_cover"] = without_overlaps(cover, cover["rank"])[["osm", "class", "geometry"]]
    for name, frame in frames.items():
        say(f"{name}: {len(frame)} from the extract")
        if len(frame):
            _write(folder / f"{name}.gpkg", frame.to_crs(crs))
    for remark in extract.remarks:
        say(remark)


def _write(path: Path, frame: gpd.GeoDataFrame) -> None:
    """A GeoPackage with one layer of the file's name and a fixed stamp."""
    stamp = "OGR_CURRENT_DATE"
    before = pyogrio.get_gdal_config_option(stamp)
    pyogrio.set_gdal_config_options({stamp: NO_DATE})
    try:
        # nobody looks for one of tens of thousands of house numbers by its place, and the file is a third smaller
        index = "NO" if path.stem == Kind.ADDRESSES else "YES"
        frame.to_file(path, layer=path.stem, driver="GPKG", engine="pyogrio", SPATIAL_INDEX=index)
    finally:
        pyogrio.set_gdal_config_options({stamp: before})


def _copy_land_cover(folder: Path, path: Path, crs: CRS, where: gpd.GeoDataFrame | None, say: Say) -> Path:
    """The raster as it is, or where the area's place is known its part there and MARGIN_M around, cells untouched.

    Beside it goes the file in which GDAL keeps its labels.
    """
    part_path = folder / ("land_cover.tif" if where is not None else f"land_cover{path.suffix.lower()}")
    if (labels := Path(f"{path}.aux.xml")).is_file():
        shutil.copyfile(labels, f"{part_path}.aux.xml")
    if where is None:
        shutil.copyfile(path, part_path)
        return part_path
    with rasterio.open(path) as raster:
        around = where.buffer(MARGIN_M).to_crs(raster.crs).total_bounds
        whole = rasterio.windows.Window(0, 0, raster.width, raster.height)
        wanted = from_bounds(*around, transform=raster.transform).round_offsets(op="floor").round_lengths(op="ceil")
        try:
            window = wanted.intersection(whole)
        except rasterio.errors.WindowError:
            raise InputError(
                f"{path.name} does not cover the area: it spans {_box(raster.bounds)}, the area with its margin "
                f"{_box(around)} ({crs_label(CRS(raster.crs))}); expected land cover of the same place"
            ) from None
        profile = raster.profile | {
            "driver": "GTiff",
            "width": window.width,
            "height": window.height,
            "transform": raster.window_transform(window),
            "compress": "deflate",
        }
        with rasterio.open(part_path, "w", **profile) as part:
            part.write(raster.read(window=window))
            # the tags may hold the credit, and prove which class table reads the file
            part.update_tags(**raster.tags())
            if raster.count == 1 and raster.colorinterp[0] == rasterio.enums.ColorInterp.palette:
                part.write_colormap(1, raster.colormap(1))
    say(f"land_cover: {int(window.width)} x {int(window.height)} cells of {path.name}")
    return part_path


def _class_table(folder: Path, raster: Path, given: Given, say: Say) -> str:
    """The class table that reads the raster: stated, a CSV put into the folder, or proven by the raster.

    Raises UnprovenClassesError where nothing tells, InputError where it lacks too much of what the raster holds.
    """
    name, path = given.classes, Path(given.classes)
    evidence = raster_evidence(raster, given.land_cover.name if given.land_cover else raster.name)
    if not name:
        proof = find_proof(evidence)
        if proof is None:
            raise UnprovenClassesError(f"{unproven(evidence)}; add --classes with one of {raster_choices()}")
        name = proof.table
        say(f"land_cover: read by the class table {name}, by {proof.by}")
        table = load_class_table(name)
    elif path.suffix.lower() == ".csv":
        table = load_class_table(path)
        name = "classes.csv"
        shutil.copyfile(path, folder / name)
    else:
        table = load_class_table(name)
    lacking = sorted(evidence.cells.keys() - class_rows(table).keys(), key=lambda value: (len(value), value))
    if (share := evidence.share(lacking)) > MOST_UNMATCHED:
        raise InputError(
            f"{evidence.file}: {share:.0%} of the cells hold values that the class table {given.classes or name} lacks "
            f"({', '.join(lacking[:8])}); choose another with --classes: one of {raster_choices()}"
        )
    if lacking:
        say(f"land_cover: what {share:.1%} of the cells are worth is not known ({', '.join(lacking[:8])})")
    if against := contradictions(evidence, table):
        share = sum(one.share for one in against)
        say(
            f"land_cover: for {share:.0%} of the cells the file's own labels or colours say another class, such as "
            f"{against[0].value}: {against[0].own}, not {against[0].used}; check the class table"
        )
    return name


def _code(crs: CRS) -> str:
    """The system's code, also where a file gives its definition only and a single code has the same numbers."""
    authority = crs.to_authority()
    if authority:
        return ":".join(authority)
    near = [found.code for found in crs.list_authority(min_confidence=20) if found.auth_name == "EPSG"]
    is_proven = len(near) == 1 and _numbers(CRS.from_epsg(int(near[0]))) == _numbers(crs)
    return f"EPSG:{near[0]}" if is_proven else crs.to_wkt()


def _numbers(crs: CRS) -> list[float]:
    """What a projected system computes with: its ellipsoid's axes, then the values of its projection."""
    axes = [crs.ellipsoid.semi_major_metre, crs.ellipsoid.semi_minor_metre] if crs.ellipsoid else []
    projection = crs.coordinate_operation
    return axes + sorted(float(parameter.value) for parameter in projection.params) if projection else axes


def _box(bounds: tuple[float, float, float, float]) -> str:
    return " ".join(f"{value:.6g}" for value in bounds)


def _area_toml(
    title: str, language: str, crs: CRS | None = None, credits: Sequence[str] = (), more: Sequence[str] = ()
) -> str:
    """The settings, with a word on what to fill in next; JSON's texts are TOML's too. `more`: lines at the end."""
    known = [] if crs is None else [f"crs = {_quoted(_code(crs))}", f"credits = {_quoted(list(credits))}"]
    advice = (
        '# The reference system is chosen from the pools until it stands here: crs = "EPSG:..."'
        if crs is None
        else "# All consent is ask: fill in yes or no in consent.xlsx."
    )
    lines = [
        f"title = {_quoted(title)}",
        *([f"language = {_quoted(language)}"] if language else []),
        *known,
        "",
        "# Fill in pools.xlsx and visits.xlsx beside this file, or put your own lists there: pools.csv, visits.ods",
        advice,
        "# All keys and their defaults stand in README.md.",
        "",
        *more,
    ]
    return "\n".join(lines)


def _quoted(value: str | list[str]) -> str:
    return json.dumps(value, ensure_ascii=False)


TAGS_READ_IT = ["[land_cover]", 'classes = "osm"', ""]


def _printable(text: str) -> str:
    """On one line and without control characters, which no TOML comment may hold."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
