"""Sites for a random assignment of treatments, and the assignment read back once its pools stand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from habitatmap.errors import InputError
from habitatmap.read.coordinates import read_number
from habitatmap.read.files import read_tables
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import fold
from habitatmap.read.values import name_key

FOLDER, FILE = "random_assignment", "random_assignment.csv"
OLD = ("allotment", "allotment.csv")  # what both were named at first


def read_sites(path: Path) -> pd.DataFrame:
    """site, place, x, y of a table such as plan.csv; x, y NaN where it has none (private ground).

    The site is the column site, else "site" and its rank. Raises InputError where there is neither, or two alike.
    """
    if not path.is_file():
        raise InputError(
            f"{path.name} is not there, so there are no sites for a random assignment; run habitatmap map first, or "
            "give a table of sites with --sites"
        )
    table = _one_table(path)
    site, rank = _column(table, "site"), _column(table, "rank")
    if site is None and rank is None:
        raise InputError(f"{path.name} has no column site and no column rank; add a column site that names each site")
    names = [f"site {as_text(cell)}" for cell in rank] if site is None and rank else [as_text(c) for c in site or []]
    if twice := next((n for i, n in enumerate(names) if n in names[:i]), None):
        raise InputError(f"{path.name} has the site {twice} twice; give each site a name of its own")
    places = [as_text(cell) for cell in _column(table, "place") or [""] * len(names)]
    frame = pd.DataFrame({"site": names, "place": places}, dtype="str")
    for axis in ("x", "y"):
        numbers = [read_number(cell) for cell in _column(table, axis) or [None] * len(names)]
        frame[axis] = np.array([np.nan if n is None else n.value for n in numbers], dtype=float)
    return frame[frame["site"] != ""].reset_index(drop=True)


def read_assignment(folder: Path, pools: pd.DataFrame) -> pd.DataFrame | None:
    """pool, block, treatment of the area's random assignment, for those of its pools that stand in `pools`; None
    without one.

    A pool is known by the column pool, else by the site's own name.
    """
    if folder.joinpath(*OLD).exists():
        raise InputError(f"{'/'.join(OLD)} is named {FOLDER}/{FILE} now; rename the folder and the file")
    path = folder / FOLDER / FILE
    if not path.is_file():
        return None
    table = _one_table(path)
    columns = {name: _column(table, name) for name in ("site", "block", "treatment", "pool")}
    for name in ("site", "block", "treatment"):
        if columns[name] is None:
            raise InputError(f"{FOLDER}/{FILE} has no column {name}; put it back, or draw again into a new folder")
    known = {name_key(name): name for name in pools["pool"]}
    rows = []
    cells = [[as_text(cell) for cell in column or [""] * len(table)] for column in columns.values()]
    for site, block, treatment, pool in zip(*cells, strict=True):
        key = name_key(pool or site)
        if key in known:
            rows.append((known[key], block, treatment))
    return pd.DataFrame(rows, columns=["pool", "block", "treatment"], dtype="str").drop_duplicates("pool")


def _one_table(path: Path) -> Table:
    tables = read_tables(path)
    if not tables:
        raise InputError(f"{path.name} holds no table; expected one row for each site")
    return tables[0]


def _column(table: Table, name: str) -> list[object] | None:
    """The cells of a column of this name; None where there is none."""
    for at, heading in enumerate(table.headings):
        if fold(heading) == name:
            return table.column(at)
    return None
