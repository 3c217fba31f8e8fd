"""Calendar entries (iCalendar, RFC 5545) that a calendar can bring up to date: an entry keeps its UID, and its number
of revision (SEQUENCE) grows each time that its content does change.

What the last run wrote is known by the manifest of its folder (`revisions`), so same inputs and same folder give the
same bytes. An entry is stamped with the day of the data it was last changed for, not with the time of a run.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from habitatmap.export.manifest import read_manifest

if TYPE_CHECKING:
    from icalendar import Event

RECORD = "calendar"  # its key in the manifest
KEPT_DAYS = 366  # how long before the entries at hand an earlier one is still known
GEO_DIGITS = 6  # RFC 5545, 3.8.1.6: what is beyond may be left out


@dataclass(frozen=True)
class Entry:
    """What a calendar shows over whole days, `first` to the day before `after`.

    `known`: what makes it this entry and no other, as the area, the week and the person; `geo`: latitude and longitude
    of `location`, None where there is none; `as_of`: the day of the data.
    """

    known: tuple[str, ...]
    as_of: datetime.date
    first: datetime.date
    after: datetime.date
    summary: str
    description: str
    location: str = ""
    geo: tuple[float, float] | None = None

    @property
    def uid(self) -> str:
        """RFC 5545, 3.8.4.7: unique in the world, and the same in every run."""
        return f"{hashlib.sha256('|'.join(self.known).encode('utf-8', 'replace')).hexdigest()[:32]}@habitatmap.invalid"


@dataclass(frozen=True)
class Revision:
    """How an entry stood when it was last written: its number, the day it was changed for, the hash of its content, and
    the day it begins; days as ISO text."""

    sequence: int
    stamp: str
    content: str
    first: str


def revised(entry: Entry, before: Revision | None) -> Revision:
    """The revision of an entry: the one of `before` where nothing has changed, else the next."""
    now = Revision(0, entry.as_of.isoformat(), _content(entry), entry.first.isoformat())
    if before is None:
        return now
    return before if before.content == now.content else replace(now, sequence=before.sequence + 1)


def calendar_bytes(entry: Entry, revision: Revision) -> bytes:
    """A calendar with this one entry."""
    from icalendar import Calendar

    table = Calendar()
    table.add("prodid", "-//habitatmap//rounds//EN")
    table.add("version", "2.0")
    event = _event(entry)
    stamp = datetime.date.fromisoformat(revision.stamp)
    event.add("dtstamp", datetime.datetime.combine(stamp, datetime.time(), datetime.UTC))
    event.add("sequence", revision.sequence)
    table.add_component(event)
    return bytes(table.to_ical())


def earlier_revisions(folder: Path) -> dict[str, Revision]:
    """UID -> revision of the entries that earlier runs wrote to a folder; nothing where its manifest has none."""
    manifest = read_manifest(folder)
    kept = manifest.record.get(RECORD) if manifest else None
    found = {}
    for uid, values in kept.items() if isinstance(kept, dict) else ():
        try:
            one = Revision(**values)
            datetime.date.fromisoformat(one.stamp), datetime.date.fromisoformat(one.first)
        except (TypeError, ValueError):
            continue
        if type(one.sequence) is int and 0 <= one.sequence < 1 << 31:  # RFC 5545, 3.3.8
            found[uid] = one
    return found


def revisions_record(
    earlier: Mapping[str, Revision], entries: Iterable[tuple[Entry, Revision]], first: datetime.date
) -> dict[str, object]:
    """What the manifest keeps: the entries written now, and earlier ones that began not too long before `first`."""
    since = (first - datetime.timedelta(days=KEPT_DAYS)).isoformat()
    kept = {uid: one for uid, one in earlier.items() if one.first >= since}
    kept |= {entry.uid: revision for entry, revision in entries}
    return {RECORD: {uid: dict(vars(one)) for uid, one in sorted(kept.items())}}


def _event(entry: Entry) -> Event:
    from icalendar import Event

    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstart", entry.first)
    event.add("dtend", entry.after)
    event.add("summary", entry.summary)
    event.add("description", entry.description)
    if entry.location:
        event.add("location", entry.location)
    if entry.geo is not None:
        event.add("geo", tuple(round(degrees, GEO_DIGITS) for degrees in entry.geo))
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT")
    return event


def _content(entry: Entry) -> str:
    return hashlib.sha256(_event(entry).to_ical()).hexdigest()
