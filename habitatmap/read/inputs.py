"""What each input is worth: of how many of its rows what is known, how its units were read, where it lies."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from pyproj import CRS

from habitatmap.geo.crs import to_lonlat
from habitatmap.geo.grid import Grid
from habitatmap.read.coordinates import Box
from habitatmap.read.ledger import Holding, Known, UnitRead
from habitatmap.sentences import Sentence


@dataclass(frozen=True)
class Input:
    """One file of one kind. `rows` are records, used or not: headings again, totals, repeats and vacant sites are none.

    known: of how many rows what is known; what makes no sense for the kind is not in it. in_frame: rows with a place
    in the map's frame. nearest_km, farthest_km: how far from the frame the others lie, NaN where there are none.
    not_read: headings of columns that nothing was read from.
    """

    kind: str
    file: str
    rows: int
    used: int
    known: Mapping[Known, int]
    in_frame: int
    nearest_km: float
    farthest_km: float
    units: tuple[UnitRead, ...]
    not_read: tuple[str, ...]

    @property
    def outside(self) -> int:
        """Rows with a place beyond the map's frame."""
        return self.known.get(Known.PLACE, 0) - self.in_frame


def inputs_of(holdings: Sequence[Holding], grid: Grid, crs: CRS) -> tuple[Input, ...]:
    """The inputs of an area by file, the tables of one file together, in the order they were read. `crs`: of `grid`."""
    by_file: dict[tuple[str, str], list[Holding]] = {}
    for holding in holdings:
        by_file.setdefault((holding.kind, holding.file), []).append(holding)
    return tuple(_input(parts, grid, crs) for parts in by_file.values())


def _input(parts: Sequence[Holding], grid: Grid, crs: CRS) -> Input:
    bounds = np.concatenate([part.bounds for part in parts])
    west, south, east, north = grid.bounds
    inside = (bounds[:, 0] <= east) & (bounds[:, 2] >= west) & (bounds[:, 1] <= north) & (bounds[:, 3] >= south)
    middle = (bounds[~inside, :2] + bounds[~inside, 2:]) / 2
    off_km = Box.of(grid.bounds, crs, Sentence("")).off_km(*to_lonlat(middle[:, 0], middle[:, 1], crs))
    off_km = off_km[np.isfinite(off_km)]
    return Input(
        kind=parts[0].kind,
        file=parts[0].file,
        rows=sum(part.rows for part in parts),
        used=sum(part.used for part in parts),
        known=added(part.known for part in parts),
        in_frame=int(inside.sum()),
        nearest_km=float(off_km.min()) if len(off_km) else math.nan,
        farthest_km=float(off_km.max()) if len(off_km) else math.nan,
        units=tuple(dict.fromkeys(unit for part in parts for unit in part.units)),
        not_read=tuple(dict.fromkeys(heading for part in parts for heading in part.not_read)),
    )


def added(counts: Iterable[Mapping[Known, int]]) -> dict[Known, int]:
    """The counts of several tables together, in the order of `Known`."""
    given = list(counts)
    return {what: sum(one.get(what, 0) for one in given) for what in Known if any(what in one for one in given)}
