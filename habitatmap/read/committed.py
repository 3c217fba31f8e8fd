"""Sites that are decided already, as people list them: where a pool is to be set, whatever the plan would say."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.points import place_by_point
from habitatmap.read.rows import Columns, close, gather, open_drafts, set_repeats_aside, shaped
from habitatmap.read.values import name_of
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind

COMMITTED = dtypes(Kind.COMMITTED)


def read_committed(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> pd.DataFrame:
    """Committed sites as `COMMITTED` has them, x and y in metres of `crs`, in the order of their names.

    Rows without a place and repeats leave for the ledger. A site needs no name. CrsError where coordinates have no
    known system.
    """
    drafts = open_drafts(Kind.COMMITTED, tables, stated, ledger)
    columns: list[Columns] = []
    for draft in drafts:
        draft.about = [name_of(cell) for cell in draft.cells("name")]
        places = place_by_point(draft, crs, stated)
        own = {"private": places.private(draft.yes_or_no("private")), "note": draft.texts("note")}
        columns.append({"name": draft.about, **places.columns(), **own})
    frame = set_repeats_aside(gather(drafts, columns), drafts)
    close(drafts)
    return shaped(frame, COMMITTED, ("name", "x", "y"))


def taken_out(path: Path) -> tuple[list[str], bool]:
    """The pools that a file saved on the map page does without, by name, and whether it holds a site to keep.

    Any other file takes none out. Raises InputError where the file is not there.
    """
    if not path.is_file():
        raise InputError(
            f"{path.name} does not exist; --committed needs a file saved on the map page, or a list of sites"
        )
    if path.suffix.lower() not in (".geojson", ".json"):
        return [], True
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError) as fault:
        raise InputError(f"{path.name} is no GeoJSON ({fault}); save it again on the map page") from fault
    if not isinstance(content, dict):
        raise InputError(f"{path.name} holds no GeoJSON object; save it again on the map page")
    names = content.get("taken_out", [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise InputError(f"{path.name}: taken_out is {names!r}; expected a list of pools' names")
    return names, bool(content.get("features", True))
