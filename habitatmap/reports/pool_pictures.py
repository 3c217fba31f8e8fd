"""The pictures of the survey's page: what was seen at each pool and when, its probability, where it is, two seasons."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import pairwise

import numpy as np
import pandas as pd

from habitatmap.page.pool_drawings import (
    Both,
    PoolMark,
    Seen,
    Visit,
    by_number,
    key_of_map,
    key_of_probabilities,
    key_of_visits,
    pool_map,
    probabilities,
    said_of_both,
    said_of_visits,
    season_beside_season,
    visits_by_date,
)
from habitatmap.page.sections import Drawing, Fold, Layout, Picture, Table
from habitatmap.survey.account import Account
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.numbers import count
from habitatmap.words.sentences import Sentence, following, say

OPEN_COLUMNS = 6  # of the probabilities; on a phone they stand below each other


def in_order(told: Account) -> Drawing:
    """Each pool's probability with its interval, the highest first."""
    pictures: Sequence[Picture] = probabilities(_marks(told), "Probability that each pool holds larvae") or [""]
    caption = (
        "The probability that each pool holds larvae, the highest first, with its 95 % interval. "
        "The marks tell what the searches saw."
    )
    key = partial(key_of_probabilities, _when(told))
    return Drawing(pictures[0], caption, Layout.COLUMNS, key, pictures[1:], OPEN_COLUMNS)


def by_date(told: Account) -> Drawing:
    """Every visit, pools by dates."""
    visits = _visits(told)
    there = {visit.outcome for each in visits.values() for visit in each}
    charts: Sequence[Picture] = visits_by_date(visits, "Visits of each pool by date") or [""]
    caption = (
        "Every visit: a row for each pool, by name; each band is a season, from its first month of visits to its last."
    )
    return Drawing(charts[0], caption, Layout.CHART, partial(key_of_visits, there), charts[1:])


def visits_in_words(told: Account) -> Table:
    """Every visit as a table: a row for each pool that was visited."""
    rows = [(pool, said_of_visits(each)) for pool, each in _visits(told).items() if each]
    return Table("Every visit of each pool", ["Pool", "Visits"], rows, fold=Fold.ALWAYS)


def on_a_map(told: Account) -> Drawing:
    """The standing pools: where they are, their probability, and what was seen in the latest season."""
    drawn = pool_map(_marks(told), "Map of the pools: probability by shade, what was seen by shape")
    caption = say(
        "The shade tells the probability that a pool holds larvae, the shape what was seen {when}.", when=_when(told)
    )
    if drawn.left_out:
        off = count(len(drawn.left_out), "pool")
        caption = following(caption, say("{pools} without a place, or far from the others: not drawn.", pools=off))
    return Drawing(drawn.svg or "", caption, Layout.BESIDE, key_of_map)


def two_by_two(told: Account) -> list[tuple[Drawing, Sentence]]:
    """For each season and the next: a picture of the pools searched in both, and the same in a sentence."""
    drawings = []
    for both in _in_both_seasons(told):
        what = say("Larvae seen in {a} and in {b}", a=both.earlier, b=both.later)
        caption = say("Pools searched in {a} and in {b}: {n}.", a=both.earlier, b=both.later, n=both.pools)
        picture = partial(season_beside_season, both, what)
        drawings.append((Drawing(picture, caption, Layout.BESIDE), said_of_both(both)))
    return drawings


# --- what is drawn ---------------------------------------------------------------------------------------------------


def _when(told: Account) -> Sentence:
    """The seasons whose searches the marks show: the one of the headline, and a running one."""
    figures = told.known.figures
    if not figures.season:
        return Sentence("so far")
    return say("since {season}" if figures.running else "in {season}", season=str(figures.season))


def _marks(told: Account) -> list[PoolMark]:
    """A mark for each standing pool."""
    frame, figures = told.known.pools, told.known.figures
    lately = [seen for seen in told.known.every if (seen.season or 0) >= (figures.season or 0)]
    found, searched = (
        np.sum([getattr(seen, what) for seen in lately], axis=0) > 0 for what in ("detections", "searches")
    )
    seen = np.where(found, Seen.DETECTED, np.where(searched, Seen.NOT_DETECTED, Seen.NOT_SEARCHED))
    ends = frame[["occupancy", "occupancy_low", "occupancy_high"]].to_numpy(dtype=np.float64).tolist()
    places = told.records.pools[["x", "y"]].to_numpy(dtype=np.float64).tolist()
    return [
        PoolMark(str(name), value, low, high, Seen(what), x, y)
        for name, (value, low, high), what, (x, y), stands in zip(
            frame["pool"], ends, seen, places, told.pools["stands"], strict=True
        )
        if stands
    ]


def _visits(told: Account) -> dict[str, list[Visit]]:
    """The visits up to as_of of each pool, the pools by name; rows of one search by taxon are one visit."""
    date = pd.to_datetime(told.records.visits["date"])
    visits = told.records.visits.assign(date=date, season=told.known.figures.closure.within.season_of(date))
    counted = np.isin(np.arange(len(visits)), np.concatenate([seen.rows.ravel() for seen in told.known.every]))
    search = visits["outcome"].isin([o for o in Outcome if o.is_search])
    again = search & ~counted & pd.Series(counted, visits.index).groupby([visits["pool"], date]).transform("any")
    kept = visits[date.le(pd.Timestamp(told.records.as_of)) & visits["outcome"].isin(list(Outcome)) & ~again]
    of_pool: dict[str, list[Visit]] = {
        name: [] for name in sorted(told.records.pools["pool"].astype(str), key=by_number)
    }
    columns = (kept[name] for name in ("pool", "date", "outcome", "season"))
    for pool, day, outcome, season in zip(*columns, strict=True):
        if str(pool) in of_pool:
            of_pool[str(pool)].append(Visit(day.date(), Outcome(outcome), int(season)))
    return of_pool


def _in_both_seasons(told: Account) -> list[Both]:
    """For each season and the next one with searches."""
    pairs = []
    for earlier, later in pairwise(told.known.every):
        of_both = (earlier.searches > 0) & (later.searches > 0)
        then, now = (seen.detections[of_both] > 0 for seen in (earlier, later))
        cells = (then & now, then & ~now, ~then & now, ~then & ~now)
        pairs.append(Both(str(earlier.season), str(later.season), *(int(cell.sum()) for cell in cells)))
    return [both for both in pairs if both.pools]
