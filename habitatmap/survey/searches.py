"""Which visits count as searches: somebody saw into the pool, long enough after it was set out, within one stated
period.

A pool that was dry, frozen, gone or not reached was not searched. A search within a week of set-out comes too early
for larvae (common practice: eggs within about a week, larvae easily seen by a month). One fit takes the searches of one
season, since occupancy is taken not to change within it: the latest calendar year, up to `as_of`, that has a search.

Detections are of the group (rat-tailed and other water-living larvae) unless a species is asked for; then only larvae
that were checked can tell, and larvae that nobody checked are no search at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.errors import InputError

FOUND, NOT_FOUND = "larvae", "none seen"
LONG = 244  # days, about eight months (expert judgement): pools are hardly ever occupied or empty all through


@dataclass(frozen=True)
class Searches:
    """The searches of one season at each pool.

    pools: names, in the order of the pools frame; histories: pools x searches by date, 1 larvae, 0 none seen, NaN no
    search; dates: of the same shape, NaT no search; checked: of the same shape, the find was checked; rows: of the same
    shape, the place of each search's row in the visits frame, -1 no search; all_searches, all_detections: per pool, of
    every season up to as_of; season: the year, None without a search; first, last: the season's first and last search;
    left_out: how many visits by reason; warnings: sentences.
    """

    pools: list[str]
    histories: NDArray[np.float64]
    dates: NDArray[np.datetime64]
    checked: NDArray[np.bool_]
    rows: NDArray[np.int64]
    all_searches: NDArray[np.int64]
    all_detections: NDArray[np.int64]
    season: int | None
    first: pd.Timestamp | None
    last: pd.Timestamp | None
    left_out: dict[str, int]
    warnings: list[str]

    @property
    def searches(self) -> NDArray[np.int64]:
        """Searches at each pool in the season."""
        return np.asarray((~np.isnan(self.histories)).sum(axis=1))

    @property
    def detections(self) -> NDArray[np.int64]:
        """Searches with larvae at each pool in the season."""
        return np.asarray((self.histories == 1).sum(axis=1))

    def period(self) -> str:
        """The season in words, from its first to its last search."""
        if self.first is None or self.last is None:
            return "no search"
        return f"{self.first:%Y-%m-%d} to {self.last:%Y-%m-%d}"


def count_searches(
    visits: pd.DataFrame, pools: pd.DataFrame, as_of: Any, settle_days: int = 7, taxon: str | None = None
) -> Searches:
    """The searches among the visits (pool, date, outcome, taxon, checked) at the pools (pool, set_out).

    Left out, and counted by reason: a visit without a date or after `as_of`, one that was no search, one at a pool that
    is not in the list, one less than `settle_days` days after set-out, and searches of earlier seasons. Two searches on
    one day are two searches. The rows' order changes nothing. With `taxon` a detection is larvae checked to be that
    taxon (in any case of letters); larvae checked to be another are a search that did not find it, unchecked ones are
    left out.
    """
    names = pools["pool"].astype(str).tolist()
    if len(set(names)) < len(names):
        twice = sorted({n for n in names if names.count(n) > 1})[0]
        raise InputError(f"The pool {twice!r} stands in the list of pools more than once; give each pool one row.")
    row_of = {name: i for i, name in enumerate(names)}
    date = pd.to_datetime(visits["date"]).dt.normalize()
    pool = visits["pool"].astype(str).map(row_of)
    set_out = pd.to_datetime(pools["set_out"]).dt.normalize().reset_index(drop=True)
    early = (date - set_out.reindex(pool).set_axis(visits.index)).dt.days < settle_days
    outcome = visits["outcome"].astype(str)
    checked = (outcome == FOUND) & (_text(visits, "checked") == "yes")
    found = outcome == FOUND
    if taxon is not None:
        found = checked & (_text(visits, "taxon").str.casefold() == taxon.strip().casefold())

    why = pd.Series("", index=visits.index)
    reasons = [
        (date.isna(), "no date"),
        (date > pd.Timestamp(as_of).normalize(), "after as_of"),
        *((outcome == o, o) for o in ("dry", "frozen", "gone", "not reached")),
        (~outcome.isin([FOUND, NOT_FOUND]), "no outcome"),
        (pool.isna(), "pool not in the list"),
        (early, f"less than {settle_days} days after set-out"),
        ((outcome == FOUND) & ~checked & (taxon is not None), "larvae not checked"),
    ]
    for hit, reason in reasons:  # a visit counts under its first reason
        why = why.mask((why == "") & hit, reason)
    kept = (why == "").to_numpy()
    seasons = date[kept].dt.year
    season = int(seasons.max()) if kept.any() else None
    why = why.mask((why == "") & (date.dt.year != season), "earlier season")

    every = pd.DataFrame(
        {"pool": pool, "date": date, "detections": found, "checked": checked, "row": np.arange(len(visits))}
    )
    every = every[kept].astype({"pool": int})
    now = every[every["date"].dt.year == season].sort_values(["pool", "date", "detections", "checked"], kind="stable")
    place = now.groupby("pool").cumcount().to_numpy()
    shape = (len(names), int(place.max()) + 1 if len(now) else 0)
    histories, dates = np.full(shape, np.nan), np.full(shape, np.datetime64("NaT", "s"))
    histories[now["pool"], place] = now["detections"].astype(float)
    dates[now["pool"], place] = now["date"].to_numpy("datetime64[s]")
    sure, rows = np.zeros(shape, dtype=bool), np.full(shape, -1)
    sure[now["pool"], place], rows[now["pool"], place] = now["checked"], now["row"]
    first, last = (now["date"].min(), now["date"].max()) if len(now) else (None, None)
    return Searches(
        pools=names,
        histories=histories,
        dates=dates,
        checked=sure,
        rows=rows,
        all_searches=np.bincount(every["pool"], minlength=len(names)),
        all_detections=np.bincount(every.loc[every["detections"], "pool"], minlength=len(names)),
        season=season,
        first=first,
        last=last,
        left_out={reason: int((why == reason).sum()) for _, reason in [*reasons, (None, "earlier season")]},
        warnings=_too_long(first, last),
    )


def one_per_place(
    seen: Searches, pools: pd.DataFrame, visits: pd.DataFrame, group: Any
) -> tuple[Searches, pd.DataFrame, pd.DataFrame]:
    """The same searches by place: pools of one label count as one. Gives searches, pools and visits to go on with.

    A place has the name of its first pool, the mean of its pools' numbers, their word where they share it (else
    "mixed"), and the earliest set-out; the visits are those that `seen` counted. Places are in the order of labels.
    """
    label = pd.factorize(np.asarray(group), sort=True)[0]
    if len(label) != len(pools):
        raise InputError(f"The merged places have {len(label)} labels for {len(pools)} pools; give one per pool.")
    by = pools.groupby(label)
    columns: dict[str, Any] = {}
    for name in pools.columns:
        if name == "pool":
            columns[name] = by[name].first()
        elif pd.api.types.is_datetime64_any_dtype(pools[name]):
            columns[name] = by[name].min()
        elif pd.api.types.is_numeric_dtype(pools[name]):
            columns[name] = by[name].mean()
        else:
            columns[name] = by[name].agg(lambda words: words.iloc[0] if words.nunique() == 1 else "mixed")
    merged = pd.DataFrame(columns).reset_index(drop=True)
    place_of = dict(zip(pools["pool"].astype(str), merged["pool"].to_numpy()[label], strict=True))
    counted = visits.iloc[np.sort(seen.rows[seen.rows >= 0])].reset_index(drop=True)
    counted = counted.assign(pool=counted["pool"].astype(str).map(place_of))
    return count_searches(counted, merged, seen.last if seen.last is not None else pd.Timestamp.max), merged, counted


def _text(visits: pd.DataFrame, column: str) -> pd.Series:
    """A text column, stripped; empty where the visits have none."""
    return visits[column].astype(str).str.strip() if column in visits else pd.Series("", index=visits.index)


def _too_long(first: pd.Timestamp | None, last: pd.Timestamp | None) -> list[str]:
    if first is None or last is None or (last - first).days <= LONG:
        return []
    return [
        f"The searches span {(last - first).days} days ({first:%Y-%m-%d} to {last:%Y-%m-%d}), too long to be closed: "
        "pools may have been occupied or emptied meanwhile, and the estimate then leans towards pools used at any time."
    ]
