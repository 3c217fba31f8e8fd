"""Finds the inputs of an area, in archives too, and reads any of their formats into `Table`s, losing no row."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.errors.system import HELD
from habitatmap.read.formats.archive import file_name, members, taken_out
from habitatmap.read.formats.cells import Failed, clean, each_once
from habitatmap.read.formats.table import Table
from habitatmap.read.formats.text import read_text
from habitatmap.read.formats.workbook import read_workbook
from habitatmap.read.headings import fold
from habitatmap.vocabulary.kinds import GROUPS, Kind

TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
SHEET_SUFFIXES = (".xlsx", ".xlsm", ".xls", ".ods")
VECTOR_SUFFIXES = (".gpkg", ".geojson", ".shp")
SUFFIXES = (*TEXT_SUFFIXES, *SHEET_SUFFIXES, *VECTOR_SUFFIXES, ".parquet")
# the end of the name of a correction file, before its suffix
FIX = ".fix"


# ---------------------------------------------------------------------------------------------------------------------
# Finding
# ---------------------------------------------------------------------------------------------------------------------


# the folder that takes any number of files of visits, whatever their names
VISITS = "visits"


def is_fix(path: Path) -> bool:
    """Whether a file is a correction file (corrections.py), by its name."""
    return path.stem.casefold().endswith(FIX)


def _is_passing(path: Path) -> bool:
    """Whether a file is a correction, a mark of a program or hidden."""
    return is_fix(path) or path.name.startswith((".", "~$"))


def find_inputs(folder: Path, kind: Kind) -> list[Path]:
    """The area's files of one kind in the order of their names: `pools.*`, `pools_*.*`, in any format we read.

    A file in a zip counts as one in the folder, and in a zip named for a kind, such as `pools.zip`, every file does
    that is not named for another kind. So does every file in a folder visits/. A folder of a file's name is given too,
    so that its reader can refuse it.
    """
    found = []
    for path in folder.iterdir():
        if is_fix(path):
            continue
        if kind is Kind.VISITS and path.is_dir() and path.name.casefold() == VISITS:
            found += [p for p in path.iterdir() if p.suffix.casefold() in SUFFIXES and not _is_passing(p)]
        if path.suffix.casefold() in SUFFIXES and Kind.of_stem(path.stem) == kind:
            found.append(path)
        elif path.suffix.casefold() == ".zip" and path.is_file():
            found += _inputs_in(path, kind)
    return sorted(found, key=file_name)


def _inputs_in(archive: Path, kind: Kind) -> list[Path]:
    meant = Kind.of_stem(archive.stem) == kind
    try:
        inside = tables_in(archive)
    except InputError:
        # a zip of photos may be as broken as it likes; one named for an input may not
        return [archive] if meant else []
    # in pools.zip, a file that is named for no kind is a list of pools
    found = [p for p in inside if (Kind.of_stem(p.stem) or (kind if meant else None)) == kind]
    return found or ([archive] if meant else [])


def tables_in(path: Path) -> list[Path]:
    """The files in a zip that can be read as tables, by name; a file that is no zip is the one file itself."""
    if path.suffix.casefold() != ".zip":
        return [path]
    inside = [p for p in members(path) if p.suffix.casefold() in SUFFIXES]
    # groups in a zip are not read, and their lists are none of the area's own
    return [p for p in inside if GROUPS not in map(str.casefold, p.relative_to(path).parts[:-1])]


def read_tables(
    path: Path, known: Iterable[str] = (), encoding: Mapping[str, str] | None = None, called: str = ""
) -> list[Table]:
    """The tables of a file that hold anything: `read_sheets` without those that are unused."""
    return [table for table in read_sheets(path, known, encoding, called) if table.unused is None]


def read_sheets(
    path: Path, known: Iterable[str] = (), encoding: Mapping[str, str] | None = None, called: str = ""
) -> list[Table]:
    """Every table of a file: those of a text file, of each visible sheet, or each layer that is not empty.

    Sheets that hold no table come last, as tables that say why they are `unused`.
    path: as `find_inputs` gives it. known: headings that area.toml states for this kind, which help to find the row
    of headings. encoding: file name -> encoding of its text, as area.toml states. called: how to name the file, by its
    own name where not given. InputError, with one sentence, where the file cannot be read.
    """
    stated = frozenset(fold(heading) for heading in known)
    name = called or file_name(path)
    if path.is_dir():
        raise InputError(f"{name} is a folder, where a file was expected; put the file itself there, or rename it")
    if path.suffix.casefold() == ".zip":
        raise InputError(_no_table_in(path))
    with taken_out(path) as file:
        suffix = file.suffix.casefold()
        try:
            with file.open("rb") as opened:
                start = opened.read(400)
        except OSError as error:
            raise InputError(f"{name} cannot be opened ({error.strerror}); {HELD}") from error
        if not start:
            raise InputError(f"{name} is empty (0 bytes); put a table with a row of headings there, or delete it")
        if suffix in VECTOR_SUFFIXES:
            return _read_vector(file, name)
        if suffix == ".parquet":
            return [_read_parquet(file, name)]
        # a workbook that was renamed to .csv is still a workbook, and many programs call text .xls
        if start.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")) or (suffix in SHEET_SUFFIXES and not _is_text(start)):
            return read_workbook(file, name, stated)
        return read_text(file, name, stated, (encoding or {}).get(name))


def _is_text(start: bytes) -> bool:
    """Whether a file begins as a table of text does: with cells, no zero bytes but those of UTF-16, and no web page."""
    text = start.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" not in start
    return text and not start.lstrip().startswith(b"<") and any(mark in start for mark in (b"\t", b";", b",", b"|"))


def _no_table_in(archive: Path) -> str:
    """Why a zip named for an input gives none. InputError where it cannot even be opened."""
    inside = [p.name for p in members(archive)]
    held = f"only {', '.join(inside[:3])}" if inside else "nothing"
    return f"{archive.name} holds no table that can be read ({held}); put a csv, xlsx, gpkg or the like into it"


# ---------------------------------------------------------------------------------------------------------------------
# Layers
# ---------------------------------------------------------------------------------------------------------------------


def _read_vector(path: Path, file: str) -> list[Table]:
    damaged = InputError(
        f"{file} cannot be opened as a map layer, or breaks off; open it in a GIS program and save it again"
    )
    if path.suffix.casefold() == ".shp":
        _check_shapefile(path, file, damaged)
    try:
        layers = [str(name) for name, _kind in pyogrio.list_layers(path)]
        frames = [(name, pyogrio.read_dataframe(path, layer=name)) for name in layers]
        # a file cut short may open and give the rows that are left
        said = [pyogrio.read_info(path, layer=name)["features"] for name in layers]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, OSError, RuntimeError) as error:
        raise damaged from error
    if any(len(frame) < number for (_, frame), number in zip(frames, said, strict=True)):
        raise damaged
    if not frames:
        raise InputError(f"{file} holds no layer; save the data again as GeoPackage or GeoJSON")
    return [_from_frame(file, frame, sheet=name if len(frames) > 1 else "") for name, frame in frames]


def _check_shapefile(path: Path, file: str, damaged: InputError) -> None:
    """InputError where a part of a shapefile is missing or cut, which would be read as rows without a shape."""
    beside = {p.suffix.casefold() for p in path.parent.iterdir() if p.stem == path.stem}
    lacking = [part for part in (".shx", ".dbf") if part not in beside]
    if lacking:
        raise InputError(f"{file} lacks its {' and '.join(lacking)} part; put all parts of the shapefile together")
    head = path.read_bytes()[:28]
    # its length stands in its head, in words of two bytes
    if len(head) < 28 or int.from_bytes(head[24:28], "big") * 2 > path.stat().st_size:
        raise damaged


def _read_parquet(path: Path, file: str) -> Table:
    try:
        try:
            frame: pd.DataFrame = geopandas.read_parquet(path)
        except ValueError:  # a parquet file without geometry
            frame = pd.read_parquet(path)
    except ImportError:
        raise InputError(
            f"{file} is a parquet file, and what reads these is not installed: pip install 'habitatmap[parquet]', or "
            "save it as csv or gpkg"
        ) from None
    except (OSError, ValueError, TypeError) as error:
        raise InputError(f"{file} cannot be opened as parquet; export it again, or save it as csv") from error
    # an index with a name is a column somebody chose, such as pool
    named = any(name is not None for name in frame.index.names)
    return _from_frame(file, frame.reset_index(drop=not named))


def _from_frame(file: str, frame: pd.DataFrame, sheet: str = "") -> Table:
    """A table of a file that has typed columns; its rows are numbered from 1, as attribute tables are."""
    geometry = crs = None
    if isinstance(frame, geopandas.GeoDataFrame):
        geometry, crs = list(frame.geometry), frame.crs
        frame = pd.DataFrame(frame.drop(columns=frame.geometry.name))
        if crs is not None and not (crs.is_geographic or crs.is_projected):
            crs = None  # "undefined cartesian" of a GeoPackage states nothing
    columns = [_plain_column(frame.iloc[:, j]) for j in range(frame.shape[1])]
    failed = {(i, j): v for j, column in enumerate(columns) for i, v in enumerate(column) if isinstance(v, Failed)}
    for i, j in failed:
        columns[j][i] = None
    return Table(
        file,
        headings=tuple(str(name) for name in frame.columns),
        rows=[tuple(r) for r in zip(*columns, strict=True)] if columns else [()] * len(frame),
        numbers=range(1, len(frame) + 1),
        geometry=geometry,
        crs=CRS(crs) if crs else None,
        sheet=sheet,
        failed=failed,
    )


def _plain_column(column: pd.Series) -> list[object]:
    values = column.astype(object).tolist()
    if isinstance(column.dtype, pd.StringDtype):
        return each_once(_plain, values)
    return [_plain(value) for value in values]


def _plain(value: object) -> object:
    """A value of a typed column as a plain Python one, None where it is missing."""
    if isinstance(value, str):  # most are
        return clean(value)
    if not pd.api.types.is_scalar(value):
        return str(value)
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return None
    if isinstance(value, pd.Timestamp):
        value = value.to_pydatetime()
    elif hasattr(value, "item"):
        value = value.item()
    if isinstance(value, datetime.datetime) and value.time() == datetime.time(0) and value.tzinfo is None:
        return value.date()
    return clean(value)
