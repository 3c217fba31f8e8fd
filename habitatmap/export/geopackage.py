"""habitatmap.gpkg: the layers of a result for GIS, with their styles, descriptions and keys.

It holds exact places and is for the team. Beside the layers it has the tables of the OGC GeoPackage standard (12-128)
for metadata (annex F.8) and for titles of columns (F.9), and `layer_styles`, in which GIS programs look for styles.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray
from pyogrio.raw import write
from pyproj import CRS

from habitatmap.export.formats import each, plain, plan_points, visible
from habitatmap.export.looks import TABLE_LOOK, layer_looks
from habitatmap.export.styles import DOCTYPE, QML_VERSION, qml, sld, text_of
from habitatmap.export.tables import told_tables
from habitatmap.result import Result
from habitatmap.vocabulary.results import TABLES, meaning, meanings

# of the format: programs of some years ago doubt a later one, and nothing in it needs that
VERSION = "1.3"
FOR_THE_TEAM = "It holds exact places and names: it is for the team."
# layer -> kind of its shapes, None for a table; in the order in which programs list them
LAYERS: dict[str, str | None] = {
    "pools": "Point",
    "visits": None,
    "trees": "Point",
    "places": "MultiPolygon",
    "plan": "Point",
    "zones": "MultiPolygon",
    "gaps": "MultiPolygon",
    "breeding_places": "Point",
    "links": "LineString",
    "candidates_lost": None,
    "paths": "MultiLineString",
    "exclusion_zones": "MultiPolygon",
    "boundary": "MultiPolygon",
}
# what a row of a table is known by, and what in other tables names it
KEYS = {"pools": "pool", "plan": "id", "breeding_places": "place", "places": "id"}
NAMED_BY = (
    ("visits", "pool", "pools"),
    ("links", "from_place", "breeding_places"),
    ("links", "to_place", "breeding_places"),
    ("zones", "id", "plan"),
)


def write_geopackage(result: Result, path: Path, told: Mapping[str, pd.DataFrame] | None = None) -> None:
    """Writes the file; every layer is there, also where it is empty. `told`: what `told_tables` gives, where it was
    made already. The date inside is the day of the map, not of the run. Raises OSError, or an error of the library,
    where the disk is full or refuses.
    """
    day = f"{result.figures.as_of}T00:00:00.000Z"
    # a new file need not wait for the drive after each layer: where the run is killed its folder is not taken
    wanted = {"OGR_CURRENT_DATE": day, "OGR_SQLITE_SYNCHRONOUS": "OFF"}
    before = {name: pyogrio.get_gdal_config_option(name) for name in wanted}
    pyogrio.set_gdal_config_options(wanted)
    try:
        for name, frame in layers(result, told).items():
            _write_layer(path, name, frame, LAYERS[name], result.crs)
    finally:
        pyogrio.set_gdal_config_options(before)
    try:
        with closing(sqlite3.connect(path)) as base, base:
            base.execute("PRAGMA synchronous = OFF")
            _describe(base, result, day)
    except sqlite3.Error as fault:
        raise OSError(str(fault)) from fault


def layers(result: Result, told: Mapping[str, pd.DataFrame] | None = None) -> dict[str, pd.DataFrame]:
    """The tables (`told_tables`) by the name of their layer, with shapes where they have any."""
    tables, crs = dict(told_tables(result) if told is None else told), result.crs
    for name in ("pools", "trees", "breeding_places"):
        at = tables[name]
        tables[name] = gpd.GeoDataFrame(at, geometry=gpd.points_from_xy(at["x"], at["y"]), crs=crs)
    tables["plan"] = gpd.GeoDataFrame(tables["plan"], geometry=plan_points(tables["plan"], "x", "y"), crs=crs)
    return {name: tables[name] for name in LAYERS}


def _write_layer(path: Path, name: str, frame: pd.DataFrame, kind: str | None, crs: CRS) -> None:
    columns = [str(column) for column in frame.columns.drop("geometry", errors="ignore")]
    about = {"DESCRIPTION": f"{TABLES[name].about} {FOR_THE_TEAM}"}
    shapes = None if kind is None else np.asarray(shapely.to_wkb(frame["geometry"].to_numpy()), dtype=object)
    write(
        path,
        shapes,
        [_values(frame[column], meaning(name, column).is_date) for column in columns],
        np.array(columns, dtype=object),
        layer=name,
        driver="GPKG",
        geometry_type=kind,
        crs=None if kind is None else crs.to_wkt(),
        promote_to_multi=kind is not None and kind.startswith("Multi"),
        append=path.exists(),
        dataset_options=None if path.exists() else {"VERSION": VERSION},
        layer_options=about,
    )


def _values(column: pd.Series, is_date: bool) -> NDArray[np.generic]:
    """A column as the file holds it: days as days, yes and no, words as words, numbers; None, NaN and NaT not known."""
    if is_date or column.dtype.kind == "M":
        days = pd.to_datetime(column, errors="coerce").to_numpy()
        return np.asarray(days, dtype="datetime64[D]")
    if column.dtype == bool:
        return np.where(column, "yes", "no").astype(object)
    if column.dtype.kind in "iuf":
        return column.to_numpy()
    told = each(column, lambda one: None if (v := plain(one)) is None else visible(str(v)))
    return np.array(list(told), dtype=object)


# --- what stands beside the layers ------------------------------------------------------------------------------------

# as the standard has these tables, and as GIS programs make the last
TABLES_BESIDE = """
CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
 definition TEXT NOT NULL, scope TEXT NOT NULL,
 CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_metadata (id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL,
 md_scope TEXT NOT NULL DEFAULT 'dataset', md_standard_uri TEXT NOT NULL,
 mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE gpkg_metadata_reference (reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT,
 row_id_value INTEGER, timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
 md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
 CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
 CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT,
 description TEXT, mime_type TEXT, constraint_name TEXT,
 CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT,
 min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
 CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),
 f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT,
 styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME);
"""
_STANDARD = "http://www.geopackage.org/spec120/#extension_"
EXTENSIONS = {
    "gpkg_metadata": "gpkg_metadata",
    "gpkg_metadata_reference": "gpkg_metadata",
    "gpkg_data_columns": "gpkg_schema",
    "gpkg_data_column_constraints": "gpkg_schema",
}
# by which GIS programs know metadata of a layer, and what a person reads
FOR_GIS, FOR_PEOPLE = (
    ("http://mrcc.com/qgis.dtd", "text/xml"),
    ("https://www.ogc.org/standard/geopackage/", "text/plain"),
)


def _describe(base: sqlite3.Connection, result: Result, day: str) -> None:
    """Titles, metadata, keys and styles."""
    base.executescript(TABLES_BESIDE)
    for table, extension in EXTENSIONS.items():
        uri = _STANDARD + extension.removeprefix("gpkg_")
        base.execute(
            "INSERT INTO gpkg_extensions (table_name, extension_name, definition, scope) "
            "VALUES (?, ?, ?, 'read-write')",
            (table, extension, uri),
        )
    for name in LAYERS:
        base.executemany("INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, NULL)", _titles(base, name))
    for name, column in KEYS.items():
        base.execute(f'CREATE INDEX "{name}_{column}" ON "{name}" ("{column}")')
    _write_metadata(base, result, day)
    looks = layer_looks(result.settings)
    styles = [
        (name, "geom" if kind else "", TABLES[name].title, qml(look, aliases_of(name)), sld(name, look), day)
        for name, kind in LAYERS.items()
        for look in [looks.get(name, TABLE_LOOK)]
    ]
    base.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, "
        "description, styleQML, styleSLD, useAsDefault, owner, update_time) "
        "VALUES ('', '', ?, ?, 'habitatmap', ?, ?, ?, 1, '', ?)",
        styles,
    )
    base.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers.', ?)",
        (day,),
    )


def aliases_of(name: str) -> dict[str, str]:
    """What people call each column of a layer, with its unit."""
    return {column: one.heading for column, one in meanings(name).items()}


def _titles(base: sqlite3.Connection, table: str) -> list[tuple[str, str, str, str, str]]:
    """What people call each column of a table, and what stands in it."""
    rows = []
    for _, column, *_ in base.execute(f'PRAGMA table_info("{table}")'):
        if column not in ("fid", "geom"):
            one = meaning(table, column)
            unit = f" Unit: {one.unit_name}." if one.unit_name and one.unit_name != "day" else ""
            rows.append((table, column, one.title, one.title, one.help + unit))
    return rows


def _write_metadata(base: sqlite3.Connection, result: Result, day: str) -> None:
    figures = result.figures
    about = [
        f"{result.title}, as of {figures.as_of}. {FOR_THE_TEAM}",
        f"Coordinates: {figures.crs} ({figures.crs_name}).",
        f"Written by habitatmap {figures.versions.get('habitatmap', '')}.",
        *result.credits,
    ]
    base.execute("INSERT INTO gpkg_metadata VALUES (1, 'dataset', ?, ?, ?)", (*FOR_PEOPLE, visible("\n".join(about))))
    base.execute("INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, ?, 1, NULL)", (day,))
    for number, name in enumerate(LAYERS, 2):
        told = layer_metadata(TABLES[name].title, f"{TABLES[name].about} {FOR_THE_TEAM}", result.credits)
        base.execute("INSERT INTO gpkg_metadata VALUES (?, 'dataset', ?, ?, ?)", (number, *FOR_GIS, told))
        base.execute(
            "INSERT INTO gpkg_metadata_reference VALUES ('table', ?, NULL, NULL, ?, ?, 1)", (name, day, number)
        )


def layer_metadata(title: str, abstract: str, rights: Iterable[str]) -> str:
    """A layer's title, abstract and rights in the form that a GIS shows."""
    root = Element("qgis", {"version": QML_VERSION})
    for tag, text in (("title", title), ("abstract", abstract), *(("rights", one) for one in rights)):
        SubElement(root, tag).text = visible(text)
    return text_of(root, DOCTYPE)
