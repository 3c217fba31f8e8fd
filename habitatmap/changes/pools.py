"""The pools of two seasons beside each other: gained, lost, moved, renamed."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from enum import StrEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Bools = NDArray[np.bool_]

# less is within what a hand-held receiver tells (expert judgement), where the lists don't say how sure their places are
LEAST_MOVE_M = 5.0
COLUMNS = ["change", "pool", "old_name", "x", "y", "old_x", "old_y", "moved_m", "why", "day"]


class Change(StrEnum):
    """What happened to a pool."""

    GAINED = "gained"
    LOST = "lost"
    MOVED = "moved"
    RENAMED = "renamed"
    CAME_AND_WENT = "came and went"


class Why(StrEnum):
    """How it is known."""

    SET_OUT = "set out"
    STANDS_AGAIN = "stands again"
    NO_DAY = "no day told"
    REMOVED = "removed"
    GONE = "gone"
    NOT_LISTED = "not listed"
    SAID = "said"
    SAME_PLACE = "same place"
    MEASURED = "measured"


def as_known(pools: pd.DataFrame, stands: Bools, day: datetime.date, told: datetime.date) -> pd.DataFrame:
    """The pools as they were known on a `day`, so that the same ones stand on the day `told`.

    Pools set out later are left out, those taken in later stand, and whatever ended them has a day in `removed`.
    """
    known, at, shown = pools.copy(), pd.Timestamp(day), pd.Timestamp(told)
    start = pd.to_datetime(known["set_out"]).fillna(pd.to_datetime(known["set_out_first"]))
    coming = (start > at).to_numpy()
    for name in ("set_out", "set_out_first", "set_out_last"):
        known[name] = known[name].where(~(known[name] > shown), shown)
    for name in ("removed", "removed_first", "removed_last"):
        late = (known[name] > at).to_numpy() | stands
        ended_then = known[name].mask(late)
        known[name] = ended_then.where(~(ended_then > shown), shown)
    ended = known["removed"].isna().to_numpy() & known["removed_first"].isna().to_numpy() & ~stands
    known["removed"] = known["removed"].mask(ended, shown)
    return known[~coming].reset_index(drop=True)


def changes_of_pools(
    old: pd.DataFrame, new: pd.DataFrame, stood: Bools, stands: Bools, old_day: datetime.date, names: Mapping[str, str]
) -> pd.DataFrame:
    """A row for each change, columns COLUMNS, by kind of change and name; places in metres of one system.

    stood, stands: which pools of `old` stood on their day, and of `new` on theirs; names: old name -> new name, as
    somebody said. A pool of which nobody said so has a new name where it lies where a pool of another name stood, and
    was not set out after `old_day`.
    """
    renamed = renames(old, new, stood, stands, old_day, names)
    before = {renamed.get(name, name): row for row, name in enumerate(old["pool"])}
    rows: list[dict[str, object]] = []
    for row, name in enumerate(new["pool"]):
        was = before.pop(name, None)
        here = _at(new, row) | {"pool": name, "day": pd.NaT}
        if was is None:
            if stands[row]:
                why = Why.NO_DAY if pd.isna(new["set_out"].iloc[row]) else Why.SET_OUT
                rows.append(here | {"change": Change.GAINED, "why": why, "day": new["set_out"].iloc[row]})
            elif _came_after(new.iloc[row], old_day):
                rows.append(here | {"change": Change.CAME_AND_WENT, "why": _ended(new.iloc[row])})
            continue
        there = {"old_name": old["pool"].iloc[was], "old_x": old["x"].iloc[was], "old_y": old["y"].iloc[was]}
        here |= there
        if there["old_name"] != name:
            rows.append(
                here | {"change": Change.RENAMED, "why": Why.SAID if there["old_name"] in names else Why.SAME_PLACE}
            )
        moved_m = _moved_m(old.iloc[was], new.iloc[row])
        if moved_m > _unsure_m(old.iloc[was], new.iloc[row]):
            rows.append(here | {"change": Change.MOVED, "why": Why.MEASURED, "moved_m": moved_m})
        if stands[row] and not stood[was]:
            set_out = new["set_out"].iloc[row]
            later = pd.notna(set_out) and set_out > pd.Timestamp(old_day)
            why = Why.SET_OUT if later else Why.STANDS_AGAIN
            rows.append(here | {"change": Change.GAINED, "why": why, "day": set_out})
        elif stood[was] and not stands[row]:
            rows.append(here | {"change": Change.LOST, "why": _ended(new.iloc[row]), "day": new["removed"].iloc[row]})
    for name, was in before.items():
        if stood[was]:
            here = {"pool": name, "old_name": old["pool"].iloc[was], "day": pd.NaT}
            there = {"old_x": old["x"].iloc[was], "old_y": old["y"].iloc[was]}
            rows.append(here | there | {"change": Change.LOST, "why": Why.NOT_LISTED})
    frame = pd.DataFrame(rows, columns=COLUMNS)
    frame["old_name"] = frame["old_name"].fillna("")
    frame["day"] = pd.to_datetime(frame["day"])
    for name in ("x", "y", "old_x", "old_y", "moved_m"):
        frame[name] = frame[name].astype(float)
    order = {change: at for at, change in enumerate(Change)}
    return frame.sort_values(
        ["change", "pool"], key=lambda c: c.map(order) if c.name == "change" else c, kind="stable"
    ).reset_index(drop=True)


def renames(
    old: pd.DataFrame, new: pd.DataFrame, stood: Bools, stands: Bools, old_day: datetime.date, names: Mapping[str, str]
) -> dict[str, str]:
    """Old name -> new name of the pools that have another one, as somebody said (`names`) or by their place."""
    said = {a: b for a, b in names.items() if a != b and a in set(old["pool"]) and b in set(new["pool"])}
    return said | _same_places(old, new, stood, stands, old_day, said)


def _same_places(
    old: pd.DataFrame,
    new: pd.DataFrame,
    stood: Bools,
    stands: Bools,
    old_day: datetime.date,
    renamed: Mapping[str, str],
) -> dict[str, str]:
    """Old name -> new name of pools that stand where one of another name stood, each the other's nearest."""
    same = set(old["pool"]) & set(new["pool"])
    left = np.flatnonzero(stood & ~old["pool"].isin(same | set(renamed)).to_numpy())
    came = new["set_out"].to_numpy() > np.datetime64(pd.Timestamp(old_day))
    fresh = np.flatnonzero(stands & ~came & ~new["pool"].isin(same | set(renamed.values())).to_numpy())
    if not len(left) or not len(fresh):
        return {}
    apart = np.hypot(*(np.subtract.outer(old[c].to_numpy(float)[left], new[c].to_numpy(float)[fresh]) for c in "xy"))
    found = {}
    for i, row in enumerate(left):
        j = int(np.argmin(apart[i]))
        if int(np.argmin(apart[:, j])) == i and apart[i, j] <= _unsure_m(old.iloc[row], new.iloc[fresh[j]]):
            found[str(old["pool"].iloc[row])] = str(new["pool"].iloc[fresh[j]])
    return found


def _at(pools: pd.DataFrame, row: int) -> dict[str, object]:
    return {name: pools[name].iloc[row] for name in ("x", "y")}


def _moved_m(old: pd.Series, new: pd.Series) -> float:
    return float(np.hypot(old["x"] - new["x"], old["y"] - new["y"]))


def _unsure_m(old: pd.Series, new: pd.Series) -> float:
    """How far the two places may be apart and still be one: the sum of what their lists say of how sure they are."""
    return max(LEAST_MOVE_M, float(np.nansum([old["uncertainty_m"], new["uncertainty_m"]])))


def _ended(pool: pd.Series) -> Why:
    return Why.GONE if pd.isna(pool["removed"]) and pd.isna(pool["removed_first"]) else Why.REMOVED


def _came_after(pool: pd.Series, day: datetime.date) -> bool:
    """Whether a pool was set out after a day for sure and has ended since."""
    start = pool["set_out"] if pd.notna(pool["set_out"]) else pool["set_out_first"]
    return bool(pd.notna(start) and start > pd.Timestamp(day))
