"""Tables of pools -> one checked frame, and which pools stand on a day."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors.why import Why
from habitatmap.read.conflicts import alike_pools
from habitatmap.read.coordinates import Refusal
from habitatmap.read.dates import read_dates
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import Draft, close, gather, open_drafts, place_rows, set_repeats_aside, shaped
from habitatmap.read.values import name_key, name_of, read_volumes, yes_no
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind

POOLS = dtypes(Kind.POOLS)
# two rows of one pool that lie closer than this give one place (expert judgement: less than anyone can measure)
ONE_PLACE_M = 1.0


def read_pools(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> pd.DataFrame:
    """Pools as `POOLS` has them, x and y in metres of `crs`, in the order of their names.

    A row leaves the frame for the ledger that has no name or no place, repeats another, gives a date nobody can
    read, or gives a pool a second place (then both do). CrsError where coordinates have no known system.
    """
    drafts = open_drafts("pools", tables, stated, ledger)
    columns = [_columns(draft, crs, stated, ledger) for draft in drafts]
    frame = set_repeats_aside(gather(drafts, columns), drafts)
    frame = _one_row_a_pool(frame, drafts)
    close(drafts, ledger)
    alike_pools(frame, ledger)
    return shaped(frame, POOLS, ("pool", "x", "y"))


def _columns(draft: Draft, crs: CRS, stated: Stated, ledger: Ledger) -> dict[str, Any]:
    """The columns of one table."""
    names = [name_of(cell) for cell in draft.cells("pool")]
    for at, name in enumerate(names):
        if not name:
            draft.refuse(at, "pool", "", Why.NO_NAME)
    if names and not draft.has("pool"):
        ledger.remark(
            f"{draft.table.name} has no column of names, and a row without a pool's name can't be used: add a column "
            'pool, or say in area.toml which one it is: [columns.pools] pool = "..."'
        )
    draft.about = names
    points, x, y = place_rows(draft, crs, stated, ledger)
    set_out, removed = (_dates(draft, name) for name in ("set_out", "removed"))
    for at, (start, end) in enumerate(zip(set_out, removed, strict=True)):
        if start is not None and end is not None and end < start:
            draft.refuse(at, "removed", end, Why.REMOVED_FIRST)
    return {
        "pool": names,
        "x": x,
        "y": y,
        "uncertainty_m": [math.nan if isinstance(p, Refusal) else p.uncertainty_m for p in points],
        "set_out": set_out,
        "removed": removed,
        "private": _private(draft, ledger),
        "volume_l": _volumes(draft, ledger),
        **{name: draft.texts(name) for name in ("container", "filling", "shade", "host", "note")},
    }


def _dates(draft: Draft, name: str) -> list[datetime.date | None]:
    """The dates of a column; rows with a date that cannot be read are set aside."""
    cells = draft.cells(name)
    read = read_dates(cells, draft.headings.text.get(name, ""), draft.table.day_zero)
    for at, date in enumerate(read):
        if isinstance(date, Why):
            draft.refuse(at, name, cells[at], date)
    dates = [None if isinstance(date, Why) else date for date in read]
    draft.sample(name, dates)
    return dates


def _private(draft: Draft, ledger: Ledger) -> list[str]:
    """yes, no or "" (not given). What says neither counts as not given, which leaves the pool private in doubt."""
    said = [yes_no(cell) for cell in draft.cells("private")]
    draft.tell_unread("private", [s is None for s in said], "they count as not given", ledger)
    return [s or "" for s in said]


def _volumes(draft: Draft, ledger: Ledger) -> list[float]:
    volumes = read_volumes(draft.cells("volume_l"), draft.headings.text.get("volume_l", ""))
    draft.tell_unread("volume_l", [math.isnan(v) for v in volumes], "the volume counts as not given", ledger)
    return volumes


def _one_row_a_pool(frame: pd.DataFrame, drafts: Sequence[Draft]) -> pd.DataFrame:
    """Sets all rows of a pool with two places aside; of a pool with two rows and one place, all but the first."""
    groups: dict[str, list[int]] = defaultdict(list)
    for i, name in enumerate(frame["pool"] if len(frame) else []):
        groups[name_key(name)].append(i)
    gone: set[int] = set()
    for rows in (rows for rows in groups.values() if len(rows) > 1):
        part = frame.iloc[rows]
        x, y = part["x"].to_numpy(), part["y"].to_numpy()
        metres = np.hypot(x[:, None] - x, y[:, None] - y)
        for k, i in enumerate(rows):
            row = part.iloc[k]
            if (metres > ONE_PLACE_M).any():
                there = int(np.argmax(metres[k]))
                other = part.iloc[there if metres[k, there] > ONE_PLACE_M else 1 - min(k, 1)]
                words = Why.TWO_PLACES if other["file"] == row["file"] else Why.ONE_NAME_TWICE
                told = words.of(
                    row=other["row"], file=other["file"], metres=f"{metres[k, there]:.0f}", pool=row["pool"]
                )
            elif k:
                other = part.iloc[0]
                told = Why.TWO_ROWS.of(row=other["row"], file=other["file"], details=_details(row, other))
            else:
                continue
            drafts[row["_draft"]].refuse(int(row["_at"]), "pool", row["pool"], told)
            gone.add(i)
    return frame.drop(frame.index[sorted(gone)])


def _details(row: pd.Series, other: pd.Series) -> str:
    """What two rows of one pool say differently: `note a here, b there`."""
    said = [
        f"{name} {as_text(row[name]) or 'blank'} here, {as_text(other[name]) or 'blank'} there"
        for name in POOLS
        if name not in ("pool", "x", "y", "uncertainty_m", "file", "row") and as_text(row[name]) != as_text(other[name])
    ]
    return "; ".join(said) or "in columns that are not read"


def standing(pools: pd.DataFrame, visits: pd.DataFrame, as_of: datetime.date) -> NDArray[np.bool_]:
    """Which pools stand on the day `as_of`: set_out <= as_of < removed, a date not given being no limit.

    A visit "gone" after it was set out ends it, from that day on, unless a later visit up to `as_of` found the pool
    there again (with larvae, none seen, dry or frozen).
    """
    day = pd.Timestamp(as_of)
    stands = (pools["set_out"].isna() | (pools["set_out"] <= day)) & (
        pools["removed"].isna() | (pools["removed"] > day)
    )
    told = visits[(visits["date"] <= day) & (visits["outcome"] != "not reached")]
    if len(told):
        gone = told["outcome"] == "gone"
        lost = told[gone].groupby("pool")["date"].max().reindex(pools["pool"]).to_numpy()
        found = told[~gone].groupby("pool")["date"].max().reindex(pools["pool"]).to_numpy()
        start = pools["set_out"].to_numpy()
        # comparisons with NaT are False
        ended = ~np.isnat(lost) & ~(lost < start) & ~(found > lost)
        return np.asarray(stands & ~ended, dtype=bool)
    return np.asarray(stands, dtype=bool)
