"""Where the rows of a table are: its geometry, or its columns of coordinates, through the one gate."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from habitatmap.errors import CrsError
from habitatmap.errors.why import Told, Why
from habitatmap.geo.crs import WGS84, Source, parse_crs, state_crs
from habitatmap.read.coordinates import (
    Box,
    Point,
    Refusal,
    in_words,
    locate,
    near_misses,
    point_of,
    read_accuracy,
    read_points,
    settle,
)
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import Headings, match_headings, unit_of
from habitatmap.read.ledger import Ledger

ROLES = ("x", "y", "lon", "lat", "position", "system")


def source_of(file: str, stated: Stated) -> Source | None:
    """The system that area.toml states for the plain metres of a file: its own line first, then the area's crs."""
    if file in stated.source_crs:
        crs = parse_crs(stated.source_crs[file], f'area.toml, [source_crs] "{file}"')
        return Source(crs, f'[source_crs] "{file}"', own=True)
    return Source(parse_crs(stated.crs, "area.toml, crs"), "crs in area.toml") if stated.crs else None


def points_of(table: Table, headings: Headings, stated: Stated) -> list[Point | Refusal]:
    """The place of each row, with slips put right where the area leaves one reading only.

    An accuracy that a row states counts where it is larger than what the writing itself leaves open. CrsError where a
    layer has no system, or where metres have none that anybody states.
    """
    source = source_of(table.file, stated)
    if table.geometry is not None:
        own = source.crs if source is not None and table.file in stated.source_crs else table.crs
        if own is None:
            raise CrsError(f"{table.file} does not say its coordinate reference system; {state_crs(table.file)}")
        read = [point_of(geometry, own, None) for geometry in table.geometry]
        read = settle(read, stated.box)
    else:
        cells = {role: table.column(headings.at[role]) for role in ROLES if role in headings.at}
        read = read_points(cells, headings.text, source, table.file, stated.box) if cells else []
        read = read or [Refusal("", "", no_columns(table))] * len(table)
    if "uncertainty_m" in headings.at:
        scale = {"ft": 0.3048, "km": 1000.0}.get(unit_of(headings.text["uncertainty_m"]), 1.0)
        for i, cell in enumerate(table.column(headings.at["uncertainty_m"])):
            off, point = read_accuracy(cell) * scale, read[i]
            if isinstance(point, Point) and off > point.uncertainty_m:
                read[i] = point._replace(uncertainty_m=off)
    return read


# so many rows whose place was put right are named in a remark
SLIPS_NAMED = 10


def tell_slips(
    name: str, row_of: Callable[[int], str], points: Sequence[Point | Refusal], box: Box | None, ledger: Ledger
) -> None:
    """Remarks on places that were settled by where the area lies, and on those beside it that a slip would bring in.

    `row_of`: the number of a row, as a spreadsheet shows it, by its position in `points`. `box`: where the area lies,
    if a place outside is worth a word.
    """
    mended = [
        f"row {row_of(at)}: {point.mended}, {in_words(point)}"
        for at, point in enumerate(points)
        if isinstance(point, Point) and point.mended
    ]
    if mended:
        ledger.remark(
            f"{name}: {len(mended)} places were settled by where the area lies, as one reading only is there "
            f"({_some(mended)}); check them"
        )
    beside = [f"row {row_of(at)}: {words}" for at, words in near_misses(points, box)]
    if beside:
        ledger.remark(
            f"{name}: {len(beside)} places lie beside the area and may be slips ({_some(beside)}); they are used as "
            "written"
        )


def _some(told: Sequence[str]) -> str:
    return "; ".join(told[:SLIPS_NAMED]) + ("; ..." if len(told) > SLIPS_NAMED else "")


def no_columns(table: Table) -> Told:
    """The reason for the rows of a table without any coordinates."""
    return Why.NO_COLUMNS.of(table=table.name, headings=", ".join(h for h in table.headings if h))


def rough_lonlat(tables: Sequence[Table], kind: str, stated: Stated) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitudes and latitudes of all rows that have a place, to choose a system from; nothing is reported here."""
    lon, lat = [np.empty(0)], [np.empty(0)]
    for table in tables:
        headings = match_headings(kind, table.headings, stated.columns.get(kind, {}))
        x, y = locate([p for p in points_of(table, headings, stated) if isinstance(p, Point)], WGS84)
        lon.append(x)
        lat.append(y)
    return np.concatenate(lon), np.concatenate(lat)
