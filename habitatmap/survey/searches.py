"""Which visits count as searches, and of which season: somebody searched the pool, long enough after it was set out.

A pool that was dry, frozen, gone or not reached was not searched. A search within a week of set-out comes too early
for larvae (common practice: eggs within about a week, larvae easily seen by a month). A season is a calendar year, or
the part of it (or over New Year) within which occupancy is taken not to change: the closed window.

Detections are of the group (rat-tailed and other water-living larvae) unless a species is asked for. Then only checked
larvae tell anything, and larvae that nobody checked are no search at all. Rows of one pool and day that differ only in
taxon, in its check or in its number are one search.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.errors import InputError
from habitatmap.read.days_out import out_by
from habitatmap.survey.codes import LeftOut, SurveyWarning
from habitatmap.vocabulary.note import Note, note
from habitatmap.vocabulary.terms import Outcome, YesNo
from habitatmap.vocabulary.window import WHOLE_YEAR, Window

MIXED = "mixed"  # what the pools of one place are, where they differ
SETTLE_DAYS = 7  # see LeftOut.TOO_EARLY
LONG = 244  # days, about eight months (expert judgement): pools are hardly ever occupied or empty all through

Day = datetime.date | str
Counts = NDArray[np.int64]
Reason = TypeVar("Reason", bound=str)


@dataclass(frozen=True)
class Searches:
    """The searches of one season at each pool.

    pools: names, in the order of the pools frame; histories: pools x searches by date, 1 larvae, 0 none seen, NaN no
    search; dates: of the same shape, NaT no search; checked: of the same shape, the larvae were checked; rows: of the
    same shape, the place of each search's row in the visits frame, -1 no search; all_searches, all_detections: per
    pool, of every season up to as_of; season: the year in which it begins, None without a search; closed: the part of
    the year that counts; first, last: the season's first and last search; left_out: how many visits by reason.
    """

    pools: list[str]
    histories: NDArray[np.float64]
    dates: NDArray[np.datetime64]
    checked: NDArray[np.bool_]
    rows: Counts
    all_searches: Counts
    all_detections: Counts
    season: int | None
    closed: Window
    first: pd.Timestamp | None
    last: pd.Timestamp | None
    left_out: dict[LeftOut, int]

    @property
    def searches(self) -> Counts:
        """Searches of each pool in the season."""
        return np.asarray((~np.isnan(self.histories)).sum(axis=1))

    @property
    def detections(self) -> Counts:
        """Searches with larvae of each pool in the season."""
        return np.asarray((self.histories == 1).sum(axis=1))

    @property
    def detections_only(self) -> bool:
        """Whether there are searches, and none of them without larvae: a list of finds."""
        return bool(self.searches.sum() > 0 and self.searches.sum() == self.detections.sum())

    @property
    def warnings(self) -> list[Note]:
        """A season of more than eight months is hardly closed: pools may be occupied or emptied within it."""
        if self.first is None or self.last is None or (days := (self.last - self.first).days) <= LONG:
            return []
        return [note(SurveyWarning.LONG_SEASON, days=days, first=self.first.date(), last=self.last.date())]


def count_searches(
    visits: pd.DataFrame, pools: pd.DataFrame, as_of: Day, taxon: str | None = None, closed: Window = WHOLE_YEAR
) -> Searches:
    """The searches of the latest season with one among the visits (pool, date, outcome, taxon, checked) at the pools.

    A visit that is left out is counted by its reason. Two searches on one day are two searches. The rows' order changes
    nothing. With `taxon` a detection is larvae checked to be that taxon (in any case of letters); larvae checked to be
    another are a search without a detection, unchecked ones are left out. `closed`: only visits within it count.
    """
    return every_season(visits, pools, as_of, taxon, closed)[-1]


def every_season(
    visits: pd.DataFrame, pools: pd.DataFrame, as_of: Day, taxon: str | None = None, closed: Window = WHOLE_YEAR
) -> tuple[Searches, ...]:
    """The searches of each season that has one, the oldest first; without any, one `Searches` of no season.

    Arguments as for `count_searches`. In `left_out` of each, every search of another season is an earlier one.
    """
    names = pools["pool"].astype(str).tolist()
    if len(set(names)) < len(names):
        twice = sorted({n for n in names if names.count(n) > 1})[0]
        raise InputError(f"The pool {twice!r} stands in the list of pools more than once; give each pool one row.")
    every = _facts(visits, pools, names, taxon, closed)
    why = _left_out(every, as_of, taxon)
    kept = every[why == ""].astype({"pool": int, "season": int})
    seasons = sorted(kept["season"].unique().tolist()) or [None]
    return tuple(_of_season(season, kept, why, names, closed) for season in seasons)


def _of_season(season: int | None, kept: pd.DataFrame, why: pd.Series, names: list[str], closed: Window) -> Searches:
    """The searches of one season: `kept` are those of all, `why` each visit's reason, "" for a search."""
    now = kept[kept["season"] == season].sort_values(["pool", "date", "detected", "checked"], kind="stable")
    column = now.groupby("pool").cumcount().to_numpy()
    at = now["pool"].to_numpy(), column
    shape = (len(names), int(column.max(initial=-1)) + 1)
    histories, dates = np.full(shape, np.nan), np.full(shape, np.datetime64("NaT", "s"))
    histories[at], dates[at] = now["detected"].astype(float), now["date"].to_numpy("datetime64[s]")
    sure, rows = np.zeros(shape, dtype=bool), np.full(shape, -1)
    sure[at], rows[at] = now["checked"], now["row"]
    left_out = {reason: int((why == reason).sum()) for reason in LeftOut}
    return Searches(
        pools=names,
        histories=histories,
        dates=dates,
        checked=sure,
        rows=rows,
        all_searches=np.bincount(kept["pool"], minlength=len(names)),
        all_detections=np.bincount(kept.loc[kept["detected"], "pool"], minlength=len(names)),
        season=season,
        closed=closed,
        first=now["date"].min() if len(now) else None,
        last=now["date"].max() if len(now) else None,
        left_out=left_out | {LeftOut.EARLIER_SEASON: len(kept) - len(now)},
    )


def _out_by(pools: pd.DataFrame, date: pd.Series, pool: pd.Series, outcome: pd.Series) -> pd.Series:
    """The day by which each pool was out: where only a month or the like is known its last, or the first visit that
    found the pool there."""
    there = ~outcome.isin([Outcome.GONE, Outcome.NOT_REACHED])
    first: pd.Series = date[there].groupby(pool[there]).min().reindex(range(len(pools)))
    sure: pd.Series = out_by(pools).dt.normalize().reset_index(drop=True)
    vague = pd.to_datetime(pools["set_out"]).isna().reset_index(drop=True) & sure.notna()
    return sure.mask(vague & (first < sure), first)


def _facts(
    visits: pd.DataFrame, pools: pd.DataFrame, names: list[str], taxon: str | None, closed: Window
) -> pd.DataFrame:
    """Each visit's pool (its number among `names`, NaN unknown), date, season, days since set-out, what was found.

    Rows of one search share its finding: larvae of the taxon in one of them are a detection, and checked.
    """
    date = pd.to_datetime(visits["date"]).dt.normalize()
    pool = visits["pool"].astype(str).map({name: i for i, name in enumerate(names)})
    outcome = visits["outcome"].astype(str)
    set_out = _out_by(pools, date, pool, outcome)
    larvae = outcome == Outcome.LARVAE
    checked = larvae & (_text(visits, "checked") == YesNo.YES)
    detected = (
        larvae if taxon is None else checked & (_text(visits, "taxon").str.casefold() == taxon.strip().casefold())
    )
    every = pd.DataFrame(
        {
            "pool": pool,
            "date": date,
            "season": closed.season_of(date),
            "closed": closed.holds(date),
            "days_out": (date - set_out.reindex(pool).set_axis(visits.index)).dt.days,
            "outcome": outcome,
            "detected": detected,
            "checked": checked,
            "row": np.arange(len(visits)),
            "again": False,
        }
    )
    search = rows_of_one_search(visits.assign(date=date, outcome=outcome))
    several = search.duplicated(keep=False) & search.notna()
    if several.any():
        part = every[several].assign(search=search, none=~larvae, unsure=~checked)
        for name in ("detected", "checked"):
            every.loc[several, name] = part.groupby("search")[name].transform("any")
        stands_for_it = part.sort_values(["none", "unsure", "row"]).groupby("search")["row"].first()
        every.loc[several, "again"] = ~part["row"].isin(stands_for_it)
    return every


OF_A_TAXON = ["outcome", "larvae", "larvae_low", "larvae_high", "taxon", "checked"]
OF_A_RECORD = ["file", "sheet", "row"]  # where a row stands


def rows_of_one_search(visits: pd.DataFrame) -> pd.Series:
    """A number for each search among rows that a list of taxa may have split, NaN for any other row.

    Such rows tell of larvae, or that a named taxon was not seen. Those that are alike but for OF_A_TAXON are one
    search; a taxon named a second time begins a second one, as two people may have searched on one day.
    """
    taxon = _text(visits, "taxon").str.casefold()
    listed = (visits["outcome"] == Outcome.LARVAE) | ((visits["outcome"] == Outcome.NONE_SEEN) & (taxon != ""))
    out = pd.Series(np.nan, index=visits.index)
    if "taxon" not in visits or not listed.any():
        return out
    rows = visits[listed].assign(taxon=taxon)
    same = [name for name in rows.columns if name not in (*OF_A_TAXON, *OF_A_RECORD)]
    order = rows.sort_values([name for name in OF_A_TAXON if name in rows], kind="stable")
    turn = order.groupby([*same, "taxon"], dropna=False).cumcount()
    out[listed] = rows.assign(turn=turn).groupby([*same, "turn"], dropna=False).ngroup().astype(float)
    return out


def _left_out(every: pd.DataFrame, as_of: Day, taxon: str | None) -> pd.Series:
    """The first reason of each visit that is no search, "" for a search."""
    outcome = every["outcome"]
    found = outcome == Outcome.LARVAE
    hits = {
        LeftOut.NO_DATE: every["date"].isna(),
        LeftOut.AFTER_AS_OF: every["date"] > pd.Timestamp(as_of).normalize(),
        **{LeftOut(o): outcome == o for o in Outcome if not o.is_search},
        LeftOut.NO_OUTCOME: ~outcome.isin(list(Outcome)),
        LeftOut.UNKNOWN_POOL: every["pool"].isna(),
        LeftOut.TOO_EARLY: every["days_out"] < SETTLE_DAYS,
        LeftOut.SAME_SEARCH: every["again"],
        LeftOut.NOT_CHECKED: found & ~every["checked"] & (taxon is not None),
        LeftOut.NOT_CLOSED: ~every["closed"],
    }
    return first_reason(hits, every.index)


def first_reason(hits: Mapping[Reason, pd.Series], rows: pd.Index) -> pd.Series:
    """Of each row the first of the reasons that hold for it, "" where none does; hits: for which rows each holds."""
    why = pd.Series("", index=rows, dtype=object)
    for reason, hit in hits.items():
        why = why.mask((why == "") & hit, reason)
    return why


def histories_by_place(seen: Searches, place: NDArray[np.int64], most: int) -> NDArray[np.float64]:
    """The histories with pools of one label (0 to n - 1) as one row: places x searches by date, the first `most`."""
    pool, column = np.nonzero(seen.rows >= 0)
    each = pd.DataFrame(
        {"place": place[pool], "date": seen.dates[pool, column], "found": seen.histories[pool, column]}
    ).sort_values(["place", "date", "found"])
    at = each.groupby("place").cumcount().to_numpy()
    each, at = each[at < most], at[at < most]
    out = np.full((int(place.max(initial=-1)) + 1, int(at.max(initial=-1)) + 1), np.nan)
    out[each["place"], at] = each["found"]
    return out


def by_place(
    seen: Searches, pools: pd.DataFrame, visits: pd.DataFrame, group: NDArray[np.int64]
) -> tuple[Searches, pd.DataFrame, pd.DataFrame]:
    """The same searches by place: pools of one label count as one. Gives searches, pools and visits to go on with.

    A place has the name of its first pool, the mean of its pools' numbers, their word where they share it (else
    MIXED), and the earliest set-out; the visits are those that `seen` counted. Places are in the order of labels.
    """
    label = labels(group, len(pools))
    by = pools.groupby(label)
    columns = {}
    for name in pools.columns:
        if name == "pool":
            columns[name] = by[name].first()
        elif pd.api.types.is_datetime64_any_dtype(pools[name]):
            columns[name] = by[name].min()
        elif pd.api.types.is_numeric_dtype(pools[name]):
            columns[name] = by[name].mean()
        else:
            columns[name] = by[name].agg(lambda words: words.iloc[0] if words.nunique() == 1 else MIXED)
    merged = pd.DataFrame(columns).reset_index(drop=True)
    place_of = dict(zip(pools["pool"].astype(str), merged["pool"].to_numpy()[label], strict=True))
    counted = visits.iloc[np.sort(seen.rows[seen.rows >= 0])].reset_index(drop=True)
    counted = counted.assign(pool=counted["pool"].astype(str).map(place_of))
    return count_searches(counted, merged, seen.last or pd.Timestamp.max, closed=seen.closed), merged, counted


def labels(group: NDArray[np.int64] | None, pools: int) -> Counts:
    """The place of each pool, 0 to n - 1 in the order of `group`; without it each pool is a place of its own."""
    label = np.arange(pools) if group is None else pd.factorize(np.asarray(group), sort=True)[0]
    if len(label) != pools:
        raise InputError(f"The merged places have {len(label)} labels for {pools} pools; give one per pool.")
    return np.asarray(label, dtype=np.int64)


def _text(visits: pd.DataFrame, column: str) -> pd.Series:
    """A text column, stripped; empty where the visits have none."""
    return visits[column].astype(str).str.strip() if column in visits else pd.Series("", index=visits.index)
