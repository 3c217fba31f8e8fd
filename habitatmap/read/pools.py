"""Tables of pools -> one checked frame, and which pools stand on a day."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors.why import Why
from habitatmap.geo.crs import to_lonlat
from habitatmap.read.conflicts import alike_pools, pools_of_two_lists
from habitatmap.read.consent_words import word_of
from habitatmap.read.dates import Span, read_dates
from habitatmap.read.days_out import in_from, out_from
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.groups import called
from habitatmap.read.ledger import Ledger, in_row, some
from habitatmap.read.points import Places, place_by_point
from habitatmap.read.rows import Columns, Draft, close, gather, open_drafts, set_repeats_aside, shaped
from habitatmap.read.values import name_key, name_of, read_volumes, today_called
from habitatmap.sentences import Quantity, Sentence, apart, count, say
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Consent, NoVisit

POOLS = dtypes(Kind.POOLS)
# two rows of one pool that lie closer than this give one place (expert judgement: less than anyone can measure)
ONE_PLACE_M = 1.0


def read_pools(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> pd.DataFrame:
    """Pools as `POOLS` has them, x and y in metres of `crs`, in the order of their names.

    A row leaves the frame for the ledger that has no name or no place, repeats another, gives a date nobody can
    read, or gives a pool a second place (then both do). CrsError where coordinates have no known system.
    """
    drafts = open_drafts(Kind.POOLS, tables, stated, ledger)
    frame = set_repeats_aside(gather(drafts, [_columns(draft, crs, stated) for draft in drafts]), drafts)
    frame = _one_row_a_pool(frame, drafts)
    close(drafts)
    alike_pools(frame, ledger)
    pools_of_two_lists(frame, ledger)
    return shaped(frame, POOLS, ("pool", "x", "y"))


def _columns(draft: Draft, crs: CRS, stated: Stated) -> Columns:
    """The columns of one table."""
    written = [called(name_of(cell), draft.table.group) for cell in draft.cells("pool")]
    # a list of today that has the new name already may give the old one to another pool
    listed = set(map(name_key, written))
    renamed = [r for r in stated.names if r.since is None or name_key(r.new) not in listed]
    draft.about = [today_called(name, None, renamed) for name in written]
    for at, name in enumerate(draft.about):
        if not name:
            draft.refuse(at, "pool", "", Why.NO_NAME)
    if draft.about and not draft.has("pool"):
        told = (
            "{file} has no column for the pool's name, and a row without a name can't be used: add a column pool, or "
            "say in readings.xlsx which column it is"
        )
        draft.ledger.remark(say(told, file=draft.table.name))
    places = place_by_point(draft, crs, stated)
    south = _in_the_south(places, crs)
    out, back = draft.days_or_spans("set_out", south), draft.days_or_spans("removed", south)
    for at, ((_, start), (_, end)) in enumerate(zip(out, back, strict=True)):
        if start is not None and end is not None and end.last < start.first:
            draft.refuse(at, "removed", draft.cells("removed")[at], Why.REMOVED_FIRST)
    _tell_spans(draft, "set_out", out)
    _tell_spans(draft, "removed", back)
    # what says neither yes nor no counts as not given, which leaves the pool private in doubt
    private = places.private(draft.yes_or_no("private"))
    volumes = read_volumes(draft.cells("volume_l"), draft.heading("volume_l"))
    draft.tell_unread(
        "volume_l", [math.isnan(volume) for volume in volumes], Sentence("the volume counts as not given")
    )
    texts = {name: draft.texts(name) for name in ("old_name", "container", "filling", "shade", "host", "note", "photo")}
    own: Columns = {**_days("set_out", out), **_days("removed", back), "private": private, "volume_l": volumes}
    return {"pool": draft.about, **places.columns(), **own, **_consents(draft), **texts}


# what a column of days says of each row: its day, and the first and last that it may be
_Days = Sequence[tuple[datetime.date | None, Span | None]]


def _days(name: str, said: _Days) -> Columns:
    return {
        name: [day for day, _ in said],
        f"{name}_first": [span.first if span else None for _, span in said],
        f"{name}_last": [span.last if span else None for _, span in said],
    }


def _in_the_south(places: Places, crs: CRS) -> list[bool]:
    x, y = (np.asarray(values, dtype=float) for values in (places.x, places.y))
    return [bool(lat < 0) for lat in to_lonlat(x, y, crs)[1]]


def _tell_spans(draft: Draft, name: str, said: _Days) -> None:
    vague = [(at, span) for at, (day, span) in enumerate(said) if day is None and span is not None]
    if vague:
        at, first = vague[0]
        told = (
            "{rows} with a month, season or year under {heading}, and no day (the first in row {row}, {cell}: {low} to "
            "{high}); where the day matters, the cautious end counts"
        )
        rows, cell = count(len(vague), "row"), as_text(draft.cells(name)[at])
        span = {"low": first.first, "high": first.last}
        draft.remark(say(told, rows=rows, heading=draft.heading(name), row=draft.row_of(at), cell=cell, **span))


def _consents(draft: Draft) -> Columns:
    """Each pool's own consent ("" for none), the last day it holds, and its group. A doubt is told, and is no yes."""
    cells = draft.cells("consent_until")
    untils = read_dates(cells, draft.heading("consent_until"), draft.table.day_zero)
    days = [until if isinstance(until, datetime.date) else None for until in untils]
    draft.sample("consent_until", days)
    words = [word_of(cell) for cell in draft.cells("consent")]
    draft.sample("consent", [word if word not in ("", "unread") else None for word in words])
    draft.tell_unread("consent", [word == "unread" for word in words], Sentence("somebody must ask"))
    draft.tell_unread(
        "consent_until", [isinstance(until, Why) for until in untils], Sentence("a consent there does not count as yes")
    )
    consents = [
        "ask" if word == "unread" or (word == "yes" and isinstance(until, Why)) else word
        for word, until in zip(words, untils, strict=True)
    ]
    return {"consent": consents, "consent_until": days, "group": [draft.table.group] * len(draft.table)}


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
                    row=other["row"], file=other["file"], metres=Quantity(float(metres[k, there])), pool=row["pool"]
                )
            elif k:
                other = part.iloc[0]
                told = Why.TWO_ROWS.of(row=other["row"], file=other["file"], details=_details(row, other))
            else:
                continue
            drafts[row["_draft"]].refuse(int(row["_at"]), "pool", row["pool"], told)
            gone.add(i)
    return frame.drop(frame.index[sorted(gone)])


# what tells where a row is and whose, and what follows from other columns
_NO_DETAILS = {"pool", "x", "y", "uncertainty_m", "file", "row"} | {
    f"{day}_{end}" for day in ("set_out", "removed") for end in ("first", "last")
}


def _details(row: pd.Series, other: pd.Series) -> Sentence:
    """What two rows of one pool say differently: `note a here, b there`."""
    blank = Sentence("blank")
    said = [
        say("{column} {here} here, {there} there", column=name, here=texts[0] or blank, there=texts[1] or blank)
        for name in POOLS
        if name not in _NO_DETAILS and (texts := [as_text(one[name]) for one in (row, other)])[0] != texts[1]
    ]
    return apart(said, "; ") if said else Sentence("in columns that are not read")


def standing(pools: pd.DataFrame, visits: pd.DataFrame, as_of: datetime.date) -> NDArray[np.bool_]:
    """Which pools stand on the day `as_of`: set_out <= as_of < removed, a date not given being no limit.

    Of a month or a season its first day counts: the list was written when the pool was out, or was in again.

    A visit "gone" after it was set out ends it, from that day on, unless a later visit up to `as_of` found the pool
    there again (with larvae, none seen, dry or frozen).
    """
    day = pd.Timestamp(as_of)
    start, end = out_from(pools), in_from(pools)
    stands = (start.isna() | (start <= day)) & (end.isna() | (end > day))
    told = visits[(visits["date"] <= day) & (visits["outcome"] != "not reached")]
    if len(told):
        gone = told["outcome"] == "gone"
        lost = told[gone].groupby("pool")["date"].max().reindex(pools["pool"]).to_numpy()
        found = told[~gone].groupby("pool")["date"].max().reindex(pools["pool"]).to_numpy()
        # comparisons with NaT are False
        ended = ~np.isnat(lost) & ~(lost < start.to_numpy()) & ~(found > lost)
        return np.asarray(stands & ~ended, dtype=bool)
    return np.asarray(stands, dtype=bool)


def no_visits(pools: pd.DataFrame, land: gpd.GeoDataFrame, day: datetime.date) -> NDArray[np.object_]:
    """Why each pool is due no visit on that day (`NoVisit`), "" where nothing forbids one; by row of `pools`.

    Its own consent is no, or ran out before the day; or the land it stands on says no (where polygons overlap, any of
    them) and the pool has no yes of its own. Both frames as their readers give them.
    """
    found = np.full(len(pools), "", dtype=object)
    own = pools["consent"].to_numpy()
    refused = land.geometry[(land["consent"] == Consent.NO).to_numpy()]
    if len(refused) and len(pools):
        points = shapely.points(pools[["x", "y"]].to_numpy(dtype=float))
        on = np.unique(shapely.STRtree(refused.to_numpy()).query(points, predicate="intersects")[0])
        found[on] = NoVisit.LAND
        found[own == Consent.YES] = ""
    found[(pools["consent_until"] < pd.Timestamp(day)).to_numpy()] = NoVisit.EXPIRED
    found[own == Consent.NO] = NoVisit.WITHDRAWN
    return found


def tell_no_visits(
    pools: pd.DataFrame, land: gpd.GeoDataFrame, visits: pd.DataFrame, day: datetime.date, ledger: Ledger
) -> None:
    """Remarks on the pools that stand without a consent: they are due nothing, and somebody must settle it."""
    why = no_visits(pools, land, day)
    at = np.flatnonzero((why != "") & standing(pools, visits, day))
    found = []
    for row, code in zip(pools.iloc[at].to_dict("records"), why[at], strict=True):
        expired = code == NoVisit.EXPIRED
        reason = say("consent expired {day}", day=row["consent_until"].date()) if expired else Sentence(code)
        told = "{pool} ({row}): {why}"
        found.append(say(told, pool=row["pool"], row=in_row(row["file"], row["row"]), why=reason))
    if found:
        told = (
            "Pools without a valid consent: {pools}. No visit, label or sheet is due there; ask again, or take the "
            "pool in and write when it was removed. Past visits still count"
        )
        ledger.remark(say(told, pools=some(found)))
