"""The pictures of the survey's page: what was seen at each pool and when, its probability, where it is, two seasons."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pandas as pd

from habitatmap.page.pool_drawings import (
    Both,
    PoolMark,
    Seen,
    Visit,
    key_of_map,
    key_of_probabilities,
    key_of_visits,
    pool_map,
    probabilities,
    said_of_both,
    season_beside_season,
    visits_by_date,
)
from habitatmap.page.sections import Drawing, Layout, Table
from habitatmap.survey.account import Account
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.numbers import count

OPEN_COLUMNS = 6  # of the probabilities; on a phone they stand below each other


def in_order(told: Account) -> Drawing:
    """Each pool's probability with its interval, the highest first."""
    first, *more = probabilities(_marks(told), "Probability that each pool holds larvae") or [""]
    caption = (
        "The probability that each pool holds larvae, the highest first, with its 95 % interval. "
        "The marks tell what the searches saw."
    )
    return Drawing(
        first,
        caption,
        Layout.COLUMNS,
        key_of_probabilities(str(told.known.searches.season or "any season")),
        more,
        OPEN_COLUMNS,
    )


def by_date(told: Account) -> Drawing:
    """Every visit, pools by dates."""
    visits = _visits(told)
    there = {visit.outcome for each in visits.values() for visit in each}
    charts = [chart.names + chart.rows for chart in visits_by_date(visits, "Visits of each pool by date")]
    first, *more = charts or [""]
    caption = (
        "Every visit: a row for each pool, by name; each band is a year, from its first month of visits to its last."
    )
    return Drawing(first, caption, Layout.CHART, key_of_visits(there), more)


def visits_in_words(told: Account) -> Table:
    """Every visit as a table: a row for each pool that was visited."""
    rows = [(pool, ", ".join(f"{v.date} {v.outcome}" for v in sorted(each))) for pool, each in _visits(told).items()]
    return Table("Every visit of each pool", ["Pool", "Visits"], [row for row in rows if row[1]])


def on_a_map(told: Account) -> Drawing:
    """The standing pools: where they are, their probability, and what was seen in the latest season."""
    drawn = pool_map(_marks(told), "Map of the pools: probability by shade, what was seen by shape")
    caption = "The shade tells the probability that a pool holds larvae, the shape what was seen"
    caption += f" in {told.known.searches.season}." if told.known.searches.season else "."
    if drawn.left_out:
        caption += f" {count(len(drawn.left_out), 'pool')} without a place, or far from the others: not drawn."
    return Drawing(drawn.svg, caption, Layout.MAP, key_of_map())


def two_by_two(told: Account) -> list[tuple[Drawing, str]]:
    """For each season and the next: a picture of the pools searched in both, and the same in a sentence."""
    drawings = []
    for both in _in_both_seasons(told):
        what = f"Larvae seen in {both.earlier} and in {both.later}"
        caption = f"Pools searched in {both.earlier} and in {both.later}: {both.pools}."
        drawings.append((Drawing(season_beside_season(both, what), caption), said_of_both(both)))
    return drawings


# --- what is drawn ---------------------------------------------------------------------------------------------------


def _marks(told: Account) -> list[PoolMark]:
    frame, searches = told.known.pools, told.known.searches
    found, searched = searches.detections > 0, searches.searches > 0
    seen = np.where(found, Seen.DETECTED, np.where(searched, Seen.NOT_DETECTED, Seen.NOT_SEARCHED))
    ends = frame[["occupancy", "occupancy_low", "occupancy_high"]].to_numpy(dtype=np.float64).tolist()
    places = told.records.pools[["x", "y"]].to_numpy(dtype=np.float64).tolist()
    return [
        PoolMark(str(name), value, low, high, Seen(what), x, y)
        for name, (value, low, high), what, (x, y) in zip(frame["pool"], ends, seen, places, strict=True)
    ]


def _visits(told: Account) -> dict[str, list[Visit]]:
    """The visits up to as_of of each pool, the pools by name."""
    visits = told.records.visits.assign(date=lambda v: pd.to_datetime(v["date"]))
    outcome = visits["outcome"].astype(str)
    kept = visits[visits["date"].le(pd.Timestamp(told.records.as_of)) & outcome.isin(list(Outcome))]
    names = sorted(told.records.pools["pool"].astype(str), key=_by_number)
    of_pool: dict[str, list[Visit]] = {name: [] for name in names}
    for pool, date, what in zip(kept["pool"].astype(str), kept["date"], kept["outcome"], strict=True):
        if pool in of_pool:
            of_pool[pool].append(Visit(date.date(), Outcome(what), date.year))
    return of_pool


def _by_number(name: str) -> list[tuple[int, str]]:
    """So that pool 2 stands before pool 10."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"(\d+)", name.casefold()) if part]


def _in_both_seasons(told: Account) -> list[Both]:
    """For each season and the next one with searches."""
    searches = {Outcome.LARVAE: True, Outcome.NONE_SEEN: False}
    seasons: dict[int, dict[str, bool]] = {}
    for pool, visits in _visits(told).items():
        for visit in visits:
            if visit.outcome in searches:
                season = seasons.setdefault(visit.season, {})
                season[pool] = season.get(pool, False) or searches[visit.outcome]
    pairs = []
    for (earlier, then), (later, now) in pairwise(sorted(seasons.items())):
        cells = [(then[pool], now[pool]) for pool in then.keys() & now.keys()]
        numbers = [cells.count(cell) for cell in ((True, True), (True, False), (False, True), (False, False))]
        if cells:
            pairs.append(Both(str(earlier), str(later), *numbers))
    return pairs
