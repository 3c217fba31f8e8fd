"""What two records may say of one thing without agreeing. It is told, row by row, and nothing wins in silence.

Rows that are listed here are used as they are: only the people who wrote them can know.
"""

from __future__ import annotations

import datetime
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations, groupby, islice
from operator import attrgetter
from typing import NamedTuple

import numpy as np
import pandas as pd
from rapidfuzz import fuzz
from scipy.spatial import cKDTree

from habitatmap.read.formats.cells import each_once
from habitatmap.read.headings import fold
from habitatmap.read.ledger import Ledger, in_row, some
from habitatmap.read.rows import Draft
from habitatmap.sentences import Quantity, Sentence, exact, say

# so many visits of one pool and day are compared with each other
MOST_COMPARED = 50
# two pools nearer than this may be one under two names (expert judgement: within what a good telephone measures)
ONE_SPOT_M = 2.0
# pools of two groups' lists nearer than the first, or of one name nearer than the second, are most likely one pool
# (expert judgement: what two telephones measure)
TWO_LISTS_M, SAME_NAME_M = 5.0, 50.0
# a pool moved by no more stands where it stood (expert judgement)
SHIFTED_M = 10.0
# a visit's own coordinates this much farther from its pool than both may be off are said (expert judgement)
ASTRAY_M = 50.0
# likeness (0-100) of two writings of one person's name (expert judgement)
SAME_PERSON = 85.0

# English; German; French; Dutch; Spanish; Finnish
MOVED = frozenset(
    """moved move relocated shifted; versetzt umgesetzt verschoben umgestellt; deplace deplacee demenage;
    verplaatst verzet; movido movida trasladado trasladada reubicado; siirretty siirrettiin""".replace(";", " ").split()
)
_TIMES = frozenset("time hour start end uhrzeit zeit heure tijd hora klo aika kellonaika".split())


# ---------------------------------------------------------------------------------------------------------------------
# Pools
# ---------------------------------------------------------------------------------------------------------------------


def alike_pools(pools: pd.DataFrame, ledger: Ledger) -> None:
    """Remarks on pools whose names differ in punctuation only, and on pools of two names in one spot."""
    if pools.empty:
        return
    by_name: dict[str, list[int]] = defaultdict(list)
    for i, name in enumerate(pools["pool"]):
        by_name[_plain(name)].append(i)
    pairs = [pair for rows in by_name.values() if len(rows) > 1 for pair in combinations(rows, 2)]
    if pairs:
        told = "Pools whose names differ only in how they are written count as two: {pairs}"
        ledger.remark(say(told, pairs=_pairs(pairs, pools)))
    near = cKDTree(pools[["x", "y"]].to_numpy(dtype=float)).query_pairs(ONE_SPOT_M, output_type="ndarray")
    near_only = sorted({(int(i), int(j)) for i, j in near} - set(pairs))
    if near_only:  # two buckets side by side are common, so that nobody need look
        told = "Pools within {far} of each other count as two: {pairs}"
        ledger.tell(say(told, far=exact(ONE_SPOT_M, "m"), pairs=_pairs(near_only, pools)))


def pools_of_two_lists(pools: pd.DataFrame, ledger: Ledger) -> None:
    """Remarks on pools that the lists of two groups, or of a group and the area, most likely both have."""
    if pools.empty or pools["group"].nunique() < 2:
        return
    group, name = pools["group"].tolist(), pools["pool"].tolist()
    own = [_plain(one.removeprefix(f"{of} ")) for one, of in zip(name, group, strict=True)]
    xy = pools[["x", "y"]].to_numpy(dtype=float)
    found = []
    for i, j in sorted(cKDTree(xy).query_pairs(SAME_NAME_M)):
        metres = float(np.hypot(*(xy[i] - xy[j])))
        if group[i] != group[j] and (metres <= TWO_LISTS_M or own[i] == own[j]):
            far = Quantity(metres, unit="m")
            found.append(say("{pair}, {far} apart", pair=_pair(pools, i, j), far=far))
    if found:
        told = (
            "Two lists may have the same pool, which then counts twice: {pairs}. If it is one pool, keep it in one "
            "list; visits of every group find a pool of the area's own list"
        )
        ledger.remark(say(told, pairs=some(found)))


def _plain(name: str) -> str:
    """A name without case, accents, punctuation and leading zeros; what stays tells two pools apart."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", fold(name).replace(" ", ""))


def _pairs(pairs: Sequence[tuple[int, int]], frame: pd.DataFrame) -> Sentence:
    return some([_pair(frame, i, j) for i, j in pairs])


def _pair(frame: pd.DataFrame, i: int, j: int) -> Sentence:
    return say("{first} and {last}", first=_named(frame, i), last=_named(frame, j))


def _named(frame: pd.DataFrame, i: int) -> Sentence:
    row = frame.iloc[i]
    return say("{name} ({row})", name=row["pool"], row=in_row(row["file"], row["row"]))


# ---------------------------------------------------------------------------------------------------------------------
# Visits
# ---------------------------------------------------------------------------------------------------------------------

AT_ODDS = "Visits of one pool, day and observer contradict each other, and each counts: {visits}. {remedy}"
ALIKE = "Visits of one pool, day and observer are alike, and each counts: {visits}. {remedy}"
ONE_OR_TWO = "If it was one visit, correct or delete a row; if two, write their times into a column time"
MOVED_POOLS = (
    "Pools were moved, and one place holds for all visits of a pool: {visits}. If a pool went farther than a few "
    "metres, give the old place a removed date and the new one a name of its own"
)
FAR_VISITS = "Visits far from the place of their pool: {visits}. Check the name of the pool and both places"


class _Visit(NamedTuple):
    """What a row says of a visit, as far as two rows are compared."""

    pool: str
    date: datetime.date
    where: Sentence
    outcome: str
    larvae: float
    observer: str
    texts: Mapping[str, str]
    times: Sequence[tuple[str, str]]  # what it says about the time of day, in columns that are not read

    def is_at_odds(self, other: _Visit) -> bool:
        """Whether two rows differ in what was there; a count that is not given agrees with any."""
        counts_differ = self.larvae < other.larvae or self.larvae > other.larvae
        return self.outcome != other.outcome or counts_differ

    def in_words(self) -> Sentence:
        """What was there."""
        outcome = Sentence(self.outcome)
        return outcome if np.isnan(self.larvae) else say("{outcome}, {n}", outcome=outcome, n=exact(self.larvae))


def alike_visits(visits: pd.DataFrame, drafts: Sequence[Draft], ledger: Ledger) -> None:
    """Remarks on visits of one pool, day and observer: alike but for a detail, or at odds about what was there.

    `visits` has the columns of `gather`. Two searches at two times of the day are two searches, and nothing is said.
    """
    if visits.empty:
        return
    alike, odds = [], []
    twins = visits[visits.duplicated(["pool", "date"], keep=False)].sort_values(["pool", "date"], kind="stable")
    for (pool, date), group in groupby(_visits(twins, drafts), key=attrgetter("pool", "date")):
        # a date that was copied down a whole column makes more pairs than anybody would read
        for one, other in combinations(islice(group, MOST_COMPARED), 2):
            if one.times != other.times or not same_person(one.observer, other.observer):
                continue
            pair = say("{pool}, {day}: {one} and {other}", pool=pool, day=date, one=one.where, other=other.where)
            if one.is_at_odds(other):
                told = "{visits} ({one} against {other})"
                odds.append(say(told, visits=pair, one=one.in_words(), other=other.in_words()))
            else:
                differ = ", ".join(name for name in one.texts if one.texts[name] != other.texts[name])
                told = "{visits} (they differ in {columns})" if differ else "{visits} (they differ in no column)"
                alike.append(say(told, visits=pair, columns=differ))
    for found, told in ((odds, AT_ODDS), (alike, ALIKE)):
        if found:
            ledger.remark(say(told, visits=some(found), remedy=Sentence(ONE_OR_TWO)))


def _visits(rows: pd.DataFrame, drafts: Sequence[Draft]) -> Iterator[_Visit]:
    for row in rows.to_dict("records"):
        left_over = drafts[row["_draft"]].left_over(row["_at"])
        times = [(heading, text) for heading, text in left_over if _TIMES & set(fold(heading).split())]
        texts = {name: row[name] for name in ("taxon", "checked", "action", "observer", "note")}
        where = in_row(row["file"], row["row"])
        said = (row["outcome"], row["larvae"], row["observer"])
        yield _Visit(row["pool"], row["date"], where, *said, texts, times)


def same_person(one: str, other: str) -> bool:
    """Whether two writings may name one person: alike, or the same surname and initial; a blank may be anybody."""
    first, second = (sorted(fold(name).split(), key=len) for name in (one, other))
    if not first or not second or first == second:
        return True
    if re.findall(r"\d+", one) != re.findall(r"\d+", other):
        return False
    if first[-1] == second[-1] and len(first) == len(second) == 2:
        return first[0][0] == second[0][0] and (len(first[0]) == 1 or len(second[0]) == 1 or first[0] == second[0])
    return fuzz.ratio(" ".join(sorted(first)), " ".join(sorted(second))) >= SAME_PERSON


def visits_elsewhere(visits: pd.DataFrame, pools: pd.DataFrame, ledger: Ledger) -> None:
    """Remarks on pools that a visit says were moved, and on visits whose own coordinates lie far from their pool.

    `visits` has the columns of `gather`, with `_x`, `_y`, `_off` its own place in the system of `pools`, NaN for none.
    """
    if visits.empty:
        return
    there = pools.drop_duplicates("pool").set_index("pool")[["x", "y", "uncertainty_m"]]
    there = there.reindex(visits["pool"].to_numpy())
    # a table without rows beside others leaves columns of numbers without a type
    own = visits[["_x", "_y", "_off"]].to_numpy(dtype=float)
    apart = np.hypot(own[:, 0] - there["x"].to_numpy(), own[:, 1] - there["y"].to_numpy())
    # by how little a pool may be moved and stay the same place
    moved = np.array(each_once(_is_moved, visits["action"].tolist())) & ~(apart <= SHIFTED_M)
    astray = apart > ASTRAY_M + own[:, 2] + there["uncertainty_m"].fillna(0.0).to_numpy()
    for mask, told in ((moved, MOVED_POOLS), (astray & ~moved, FAR_VISITS)):
        found = list(_elsewhere(visits[mask], apart[mask]))
        if found:
            ledger.remark(say(told, visits=some(found)))


def _elsewhere(visits: pd.DataFrame, apart: np.ndarray) -> Iterator[Sentence]:
    for row, metres in zip(visits.to_dict("records"), apart.tolist(), strict=True):
        told = "{pool} on {day} ({row})" if np.isnan(metres) else "{pool} on {day} ({row}, {far} from its place)"
        at, far = in_row(row["file"], row["row"]), Quantity(metres, unit="m")
        yield say(told, pool=row["pool"], day=row["date"], row=at, far=far)


def _is_moved(action: object) -> bool:
    return any(word in MOVED for word in fold(str(action)).split())
