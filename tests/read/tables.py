"""Small tables for the tests of this room, and one call that reads them as an area does."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
from pyproj import CRS

from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.pools import read_pools
from habitatmap.read.trees import read_trees
from habitatmap.read.visits import read_visits

FINLAND = CRS.from_epsg(3067)
# x and y of pools are metres of this system, as if area.toml stated it
IN_METRES = Stated(crs="EPSG:3067")
DAY = datetime.date


def table(headings: str, *rows: Sequence[Any], file: str = "table.csv", first: int = 2) -> Table:
    """A table with comma separated headings; rows are numbered from `first`, short rows filled with blanks."""
    names = tuple(h.strip() for h in headings.split(","))
    filled = [tuple(None if c == "" else c for c in row) + (None,) * (len(names) - len(row)) for row in rows]
    return Table(file, names, filled, range(first, first + len(rows)))


def pools(*tables: Table, stated: Stated = IN_METRES, crs: CRS = FINLAND) -> tuple[pd.DataFrame, Ledger]:
    ledger = Ledger()
    frame = read_pools(tables, crs, stated, ledger)
    ledger.check()
    return frame, ledger


def visits(
    *tables: Table, pools_named: Sequence[str] = ("P1", "P2", "Pool 12"), stated: Stated = IN_METRES
) -> tuple[pd.DataFrame, Ledger]:
    ledger = Ledger()
    known = read_pools(
        [table("pool,x,y", *[(n, i * 100, 0) for i, n in enumerate(pools_named, 1)])], FINLAND, stated, ledger
    )
    frame = read_visits(tables, known, stated, ledger)
    ledger.check()
    return frame, ledger


def trees(*tables: Table, stated: Stated = IN_METRES, crs: CRS = FINLAND) -> tuple[pd.DataFrame, Ledger]:
    ledger = Ledger()
    frame = read_trees(tables, crs, stated, ledger)
    ledger.check()
    return frame, ledger


def aside(ledger: Ledger) -> list[tuple[int, str]]:
    """(row, reason) of everything set aside, in order."""
    frame = ledger.frame()
    return list(zip(frame["row"].tolist(), frame["reason"].tolist(), strict=True))


def write(folder: Path, name: str, content: str | bytes, encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
    return path


def read_one(
    folder: Path, name: str, content: str | bytes, encoding: str = "utf-8", known: Sequence[str] = ()
) -> Table:
    (one,) = read_tables(write(folder, name, content, encoding), known)
    return one


def as_dict(one: Table) -> Mapping[int, tuple[Any, ...]]:
    """Row number -> cells, rows that are no records left out."""
    return {n: r for i, (n, r) in enumerate(zip(one.numbers, one.rows, strict=True)) if i not in one.odd}


def types(frame: pd.DataFrame) -> dict[str, str]:
    """Its columns with their types; the type of text is "str", which pandas before 3 calls object."""
    text = pd.Series(["a"]).dtype
    return {str(name): "str" if kind == text else str(kind) for name, kind in frame.dtypes.items()}
