"""Tables of visits -> one checked frame. A blank outcome, a dry or a missing pool is never "none seen"."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress

import numpy as np
import pandas as pd
from pyproj import CRS

from habitatmap.errors import CrsError
from habitatmap.errors.why import Why
from habitatmap.read.conflicts import alike_visits, visits_elsewhere
from habitatmap.read.days_out import in_by, out_from
from habitatmap.read.formats.cells import each_once
from habitatmap.read.formats.table import Renamed, Stated, Table
from habitatmap.read.groups import called
from habitatmap.read.ledger import Ledger
from habitatmap.read.outcomes import read_outcomes, with_outcome_by_content
from habitatmap.read.points import Places, points_of
from habitatmap.read.rows import (
    PLACE_COLUMNS,
    Columns,
    Draft,
    cell_aside,
    close,
    gather,
    open_drafts,
    set_repeats_aside,
    shaped,
)
from habitatmap.read.values import name_key, name_of, nearest_name, today_called
from habitatmap.sentences import Quantity, Sentence, count, following, say
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind

VISITS = dtypes(Kind.VISITS)
BEFORE = "{visits} dated before the pool was set out (for instance {pool}, {file} row {row}); check both dates"
AFTER = "{visits} dated after the pool was removed (for instance {pool}, {file} row {row}); check both dates"


def read_visits(
    tables: Sequence[Table], pools: pd.DataFrame, stated: Stated, ledger: Ledger, crs: CRS | None = None
) -> pd.DataFrame:
    """Visits as `VISITS` has them, ordered by pool, date, file and row; pool names as the frame `pools` writes them.

    `crs` is the system of the pools' x and y: with it, coordinates of the visits themselves are compared with them.
    `larvae` is a number only where the count is exact; its bounds are larvae_low and larvae_high (inf = open).
    Visits after the day of the run are no fault.
    """
    drafts = open_drafts(Kind.VISITS, tables, stated, ledger, with_outcome_by_content)
    aside = [entry for entry in ledger.entries(Kind.POOLS) if entry.about]
    lost = {name_key(entry.about) for entry in aside} - set(map(name_key, pools["pool"]))
    had = [*zip(pools["old_name"], pools["pool"], strict=True)]
    had += [(cell_aside(entry, Kind.POOLS, "old_name", stated), entry.about) for entry in aside]
    renamed = [*stated.names, *_listed_names(had, [*pools["pool"], *(entry.about for entry in aside)])]
    columns = [_columns(draft, pools, lost, _own_places(draft, stated, crs), renamed) for draft in drafts]
    frame = set_repeats_aside(_latest_entries(gather(drafts, columns), drafts), drafts)
    close(drafts)
    _tell_early(frame, pools, ledger)
    alike_visits(frame, drafts, ledger)
    visits_elsewhere(frame, pools, ledger)
    return shaped(frame, VISITS, ("pool", "date", "file", "row"))


# what a page for telephones and forms of the open standard (XForms: uuid:...) number their entries with
_ENTRY = re.compile(r"hm-[0-9a-f-]{10,40}|(?:uuid:)?[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_DONE = {"topped_up": "topped up", "refilled": "refilled", "moved": "moved"}  # choices of a form, parted by blanks


def _latest_entries(frame: pd.DataFrame, drafts: Sequence[Draft]) -> pd.DataFrame:
    """Of rows with one entry's number only the one changed last (of those alike the first), the others set aside."""
    if "_entry" not in frame:
        return frame
    if not frame["_entry"].any():
        return frame.drop(columns=["_entry", "_changed"])
    numbers, changed = frame["_entry"].tolist(), frame["_changed"].tolist()
    places = list(zip(frame["_draft"].tolist(), frame["_at"].tolist(), strict=True))
    latest: dict[str, int] = {}
    for at, number in enumerate(numbers):
        if number and (number not in latest or changed[at] > changed[latest[number]]):
            latest[number] = at
    keep = np.ones(len(frame), dtype=bool)
    for at, number in enumerate(numbers):
        if not number or latest[number] == at:
            continue
        (of_draft, row), (of_kept, kept) = places[at], places[latest[number]]
        draft, table = drafts[of_draft], drafts[of_kept].table
        file = table.file_of(kept)
        of = Sentence("") if file == draft.table.file_of(row) else say(" of {file}", file=file)
        draft.refuse(row, "", draft.shown(row), Why.SAME_ENTRY.of(row=table.numbers[kept], of=of))
        keep[at] = False
    return frame[keep].drop(columns=["_entry", "_changed"])


def _entry(text: str) -> str:
    """The number of an entry, "" where a cell holds none."""
    number = text.casefold()
    return number if number and _ENTRY.fullmatch(number) else ""


def _action(text: str) -> str:
    """What was done, where a form parts its choices by blanks."""
    return ", ".join(_DONE[word] for word in text.split()) if text and set(text.split()) <= _DONE.keys() else text


def _listed_names(had: Sequence[tuple[str, str]], today: Sequence[str]) -> list[Renamed]:
    """The old names that the list of pools gives: those that no pool bears today and no two had.

    had: the old name ("" where there is none) and the name of each row, also of one set aside, whose pool may be lost.
    """
    named = {(name_key(old), name_key(pool)): pool for old, pool in had if old}
    times = Counter([*(old for old, _ in named), *set(map(name_key, today))])
    return [Renamed(old, pool, None) for (old, _), pool in named.items() if times[old] == 1]


def _tell_early(frame: pd.DataFrame, pools: pd.DataFrame, ledger: Ledger) -> None:
    """Remarks on visits before their pool was set out or after it was removed: a date may be of another year."""
    if frame.empty:
        return
    dates, known = pd.to_datetime(frame["date"]), pools.drop_duplicates("pool").set_index("pool")
    for wrong, what in (
        (dates < frame["pool"].map(out_from(known)), BEFORE),
        (dates > frame["pool"].map(in_by(known)), AFTER),
    ):
        if wrong.any():
            first = frame[wrong].iloc[0]
            visits, row = count(int(wrong.sum()), "visit"), str(first["row"])
            ledger.remark(say(what, visits=visits, pool=first["pool"], file=first["file"], row=row))


def _own_places(draft: Draft, stated: Stated, crs: CRS | None) -> Places:
    """The visits' own coordinates in the system of the pools; NaN where there are none."""
    if crs is not None and any(draft.has(name) for name in PLACE_COLUMNS):
        # a visit needs no place of its own, so that metres of an unknown system are no fault
        with suppress(CrsError):
            return Places.of(points_of(draft.table, draft.headings, stated), crs)
    return Places.none(len(draft.table))


def _columns(draft: Draft, pools: pd.DataFrame, lost: set[str], own: Places, renamed: Sequence[Renamed]) -> Columns:
    """The columns of one table. `lost`: keys of pools that were set aside; `own`: the visits' own places."""
    dates = draft.dates("date")
    names = {name_key(name): name for name in pools["pool"]}
    known = names.keys() | lost | {name_key(one.old) for one in renamed}
    group = draft.table.group
    given = each_once(lambda cell: _own_first(name_of(cell), group, known), draft.cells("pool"))
    if renamed:
        given = [today_called(name, day, renamed) for name, day in zip(given, dates, strict=True)]
    draft.about = given
    names |= _without_zeros(draft, names, given)
    called_today = {name: names.get(name_key(name)) for name in {*given}}
    for at, name in enumerate(given):
        if called_today[name] is not None and name_key(name) not in lost:
            continue
        if not name:
            draft.refuse(at, "pool", "", Why.NO_POOL)
        elif name_key(name) in lost:
            draft.refuse(at, "pool", name, Why.POOL_ASIDE)
        else:
            near = _near(name, list(names.values()), own.x[at], own.y[at], pools)
            draft.refuse(at, "pool", name, Why.UNKNOWN_POOL.of(near=near))
    for at, date in enumerate(dates):
        if date is None:  # a date that cannot be read is told already
            draft.refuse(at, "date", "", Why.NO_DATE)
    found = read_outcomes(draft)
    notes, done = draft.texts("note"), draft.texts("action")
    actions = {text: _action(text) for text in set(done)}
    return {
        "pool": [called_today[name] or name for name in given],
        "date": dates,
        "checked": draft.yes_or_no("checked"),
        "outcome": [row.outcome for row in found],
        "larvae": [row.larvae.exact for row in found],
        "larvae_low": [row.larvae.low for row in found],
        "larvae_high": [row.larvae.high for row in found],
        "note": ["; ".join(filter(None, both)) for both in zip((row.remark for row in found), notes, strict=True)],
        "_entry": [_entry(text) for text in draft.texts("entry")],
        "_changed": draft.texts("changed"),
        "action": [actions[text] for text in done],
        "_x": own.x,
        "_y": own.y,
        "_off": own.uncertainty_m,
        **{name: draft.texts(name) for name in ("taxon", "observer", "photo")},
    }


def _own_first(name: str, group: str, known: Collection[str]) -> str:
    """The pool that a group's visit means: one of its own, else one of the area's by its name there."""
    own = called(name, group)
    return own if name_key(own) in known else name


def _without_zeros(draft: Draft, names: Mapping[str, str], given: Sequence[str]) -> dict[str, str]:
    """Numbers that lost the zeros in front of them, 7 for pool 007, where only one pool can be meant; it is told."""
    bare: dict[str, list[str]] = {}
    for name in names.values():
        if name.isdecimal():
            bare.setdefault(name.lstrip("0"), []).append(name)
    lost = {n for n in given if n.isdecimal() and n not in names and len(bare.get(n.lstrip("0"), ())) == 1}
    if lost:
        told = "{pools} named without leading zeros, and read with them (for instance {first})"
        draft.remark(say(told, pools=count(len(lost), "pool"), first=sorted(lost)[0]))
    return {n: bare[n.lstrip("0")][0] for n in lost}


def _near(name: str, known: Sequence[str], x: float, y: float, pools: pd.DataFrame) -> Sentence:
    """What may be meant by a name that no pool has: the most alike one, and the pool nearest to the visit's place."""
    alike = nearest_name(name, known)
    said = [say("; the nearest is {pool}", pool=alike)] if alike else []
    if len(pools) and np.isfinite(x):
        apart = np.hypot(pools["x"].to_numpy() - x, pools["y"].to_numpy() - y)
        at = int(np.argmin(apart))
        far = Quantity(float(apart[at]), unit="m")
        said.append(say("; its coordinates lie {far} from {pool}", far=far, pool=pools["pool"].iloc[at]))
    return following(*said, by="")
