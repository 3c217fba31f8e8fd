"""The people named in visits: how a cell names several, and whose last visit is long ago."""

from __future__ import annotations

import datetime
import re

import pandas as pd

from habitatmap.read.ledger import Ledger
from habitatmap.sentences import count, say

_CALLED = re.compile(r"observer \d+[a-z]*")  # who is forgotten already


def names_in(cell: str) -> list[str]:
    """The names in a cell; several stand apart by ; / & or +."""
    return [" ".join(part.split()) for part in re.split(r"[;/&+]", cell) if part.strip()]


def observer_key(name: str) -> str:
    """What two writings of one name share: case and doubled blanks make no other person."""
    return " ".join(name.split()).casefold()


def last_seen_before(visits: pd.DataFrame, day: datetime.date, years: int) -> list[str]:
    """The observers whose last visit lies more than so many years before a day, in order of their names. Who was
    forgotten has none."""
    last: dict[str, pd.Timestamp] = {}
    named: dict[str, str] = {}
    told = visits.loc[visits["observer"].str.strip() != "", ["observer", "date"]]
    for cell, date in told.itertuples(index=False):
        for name in names_in(cell):
            named.setdefault(observer_key(name), name)
            last[observer_key(name)] = max(last.get(observer_key(name), date), date)
    limit = pd.Timestamp(day) - pd.DateOffset(years=years)
    return sorted(named[key] for key, date in last.items() if date < limit and not _CALLED.fullmatch(named[key]))


def tell_long_ago(visits: pd.DataFrame, day: datetime.date, years: int | None, ledger: Ledger) -> None:
    """Says how many observers' names are kept longer than area.toml states ([privacy] observers_years)."""
    if years is None or not (old := last_seen_before(visits, day, years)):
        return
    told = (
        "{observers} of whom the last visit lies more than {years} years back: to take their names out of all files, "
        "run habitatmap person AREA --older-than {years} --forget"
    )
    ledger.remark(say(told, observers=count(len(old), "observer"), years=str(years)))
