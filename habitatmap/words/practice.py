"""What seemed to work and how long pools last, in sentences made from codes."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd

from habitatmap.practice.codes import End, Measure, NoRatio, Remark, Verdict
from habitatmap.practice.comparison import ASSIGNED, VOLUME, Comparison
from habitatmap.practice.lifetimes import AT_DAYS, UNSEEN_DAYS, Survival, at_worst
from habitatmap.practice.similar_names import SimilarNames
from habitatmap.vocabulary.note import Note
from habitatmap.words.numbers import UNKNOWN, count, listed, number, number_span, percent, span
from habitatmap.words.sentences import Quantity, Sentence, apart, following, say

SHOWN = 3  # so many of similar names stand in a sentence; the table has all
NAMES = {
    "container": Sentence("Container"),
    "filling": Sentence("Filling"),
    "shade": Sentence("Shade"),
    VOLUME: Sentence("Volume"),
    ASSIGNED: Sentence("Random assignment"),
}
VERDICTS = {
    Verdict.MORE: Sentence("more"),
    Verdict.LESS: Sentence("less"),
    Verdict.ALIKE: Sentence("not distinguishable"),
    Verdict.MORE_ALONE: Sentence("not distinguishable once all comparisons are allowed for; taken alone it is more"),
    Verdict.LESS_ALONE: Sentence("not distinguishable once all comparisons are allowed for; taken alone it is less"),
}
TEXTS: Mapping[StrEnum, Callable[[Mapping[str, Any]], Sentence]] = {
    NoRatio.ALL: lambda v: say(
        "{level}: every search found larvae, so there is no odds ratio; see the share of pools", level=v["level"]
    ),
    NoRatio.NONE: lambda v: say(
        "{level}: no search found larvae, so there is no odds ratio; see the share of pools", level=v["level"]
    ),
    NoRatio.NO_COUNT: lambda v: say(
        "{level}: no larvae were counted, so there is no ratio; see the share of pools", level=v["level"]
    ),
    NoRatio.SEPARATED: lambda _: say(
        "the volume separates detections from non-detections altogether, so there is no odds ratio"
    ),
    NoRatio.NOT_FITTED: lambda _: say("the model could not be fitted to so few searches"),
    Remark.NOT_GIVEN: lambda v: say(
        "{factor}: not given for {n} of {pools} searched.",
        factor=NAMES[v["factor"]],
        n=v["n"],
        pools=count(v["of"], "pool"),
    ),
    Remark.TOO_FEW: lambda v: say(
        "{factor}: {levels}: fewer than {needed} pools searched, too few to compare.",
        factor=NAMES[v["factor"]],
        levels=", ".join(v["levels"]),
        needed=v["needed"],
    ),
    Remark.UNEQUAL: lambda v: say(
        "{factor}: {level} was searched {searches} times a pool, {other} {other_searches} times; the more searches, "
        "the more pools show larvae, so trust the odds per search before the share of pools.",
        factor=NAMES[v["factor"]],
        level=v["level"],
        searches=number(v["searches"], 1),
        other=v["other"],
        other_searches=number(v["other_searches"], 1),
    ),
    Remark.UNCOUNTED: lambda v: say(
        "{factor}: {pools} with larvae but without their number; no counts from them.",
        factor=NAMES[v["factor"]],
        pools=count(v["n"], "pool"),
    ),
    Remark.FEW_COUNTED: lambda v: say(
        "{factor}: fewer than {needed} pools with counted larvae, too few to compare counts.",
        factor=NAMES[v["factor"]],
        needed=v["needed"],
    ),
    Remark.ONE_TREATMENT: lambda _: say(
        "A random assignment is there, but no two treatments of it have pools that were searched."
    ),
    Remark.FEW_PAIRS: lambda v: say(
        "Random assignment: {treatment} and {other} have {pairs} searched, too few to compare.",
        treatment=v["treatment"],
        other=v["other"],
        pairs=count(v["n"], "pair"),
    ),
    Remark.MANY: lambda v: say(
        "{comparisons} in all. If nothing made any difference, about {by_chance} of their 95 % intervals would still "
        'exclude "no difference" by chance; the wider intervals allow for that (Bonferroni).',
        comparisons=count(v["n"], "comparison"),
        by_chance=number(v["by_chance"], 1),
    ),
}


def told(of: Note | Verdict) -> Sentence:
    """A verdict, or why there is none, or a remark."""
    return VERDICTS[of] if isinstance(of, Verdict) else TEXTS[of.code](of.values)


def level_of(factor: str, level: str) -> str:
    """A level as it is called: a name out of records, or what a volume is compared by."""
    return Sentence(level) if factor == VOLUME else level


def remarks(found: Comparison) -> list[Sentence]:
    """What to know beside the comparisons."""
    return [told(remark) for remark in found.remarks]


def told_differences(found: Comparison) -> pd.DataFrame:
    """differences.csv: the comparisons, the verdict in words."""
    frame = found.differences.rename(columns={"verdict": "words"})
    words = pd.Series([told(of) for of in frame["words"]], frame.index, dtype=object)
    return frame.assign(words=words).astype({"measure": str})


def reading(found: Comparison) -> list[Sentence]:
    """The comparison in plain sentences, with what it can't say."""
    compared = found.differences[found.differences["low"].notna()]
    if compared.empty:
        return [Sentence("Too few pools were searched to compare pool types."), *remarks(found)]
    sure = compared[compared["verdict"].isin([Verdict.MORE, Verdict.LESS])]
    alike = len(compared) - len(sure)
    lead = say(
        "{sure} of {comparisons} show a difference, {alike} are not distinguishable."
        if len(sure)
        else "{comparisons}, not one difference is distinguishable.",
        sure=len(sure),
        comparisons=count(len(compared), "comparison"),
        alike=alike,
    )
    by_place = Sentence(
        "Pools were not assigned at random: where a kind of container stood mostly in good places, the place may have "
        "done it."
    )
    assign = Sentence(
        "Assigning pool types to sites at random before installing (survey --assign) separates what the pool type does "
        "from what the place does."
    )
    larger = [
        say(
            "{factor}: {level}, against {other}: {verdict} ({measure}: {size}).",
            factor=NAMES[row["factor"]],
            level=level_of(row["factor"], row["level"]),
            other=level_of(row["factor"], row["other"]),
            verdict=told(row["verdict"]),
            measure=Sentence(Measure(row["measure"])),
            size=_size(Measure(row["measure"]), row["estimate"], row["low"], row["high"]),
        )
        for row in sure.to_dict("records")
    ]
    return [following(lead, by_place), *larger, assign, *remarks(found)]


def _size(measure: Measure, estimate: float, low: float, high: float) -> Sentence:
    """How large a difference is, with its interval: so many times, or in points."""
    if measure.is_ratio:
        return say("{ratio} times, 95 % interval {range}", ratio=number(estimate, 2), range=number_span(low, high, 2))
    return say(
        "{points} points, 95 % interval {range}",
        points=Quantity(100 * estimate, signed=True),
        range=number_span(100 * low, 100 * high, signed=True),
    )


def told_similar(similar: Mapping[str, Sequence[SimilarNames]]) -> Sentence | None:
    """Which names may mean the same, and what to do; None where none may."""
    groups = [(NAMES[of], one) for of, found in similar.items() for one in found]
    if not groups:
        return None
    named = [say("{factor}: {names}", factor=of, names=_some(list(one.names))) for of, one in groups[:SHOWN]]
    named += [say("{n} more in the table", n=len(groups) - SHOWN)] if len(groups) > SHOWN else []
    return say(
        "Some names may mean the same: {named}. Nothing was merged: names are compared as they are written, except "
        "that capitals and spaces make no difference. If they mean the same, give them one name in pools.*, and write "
        "the size into the column volume_l. Each pool type then has more pools, and the comparison tells more.",
        named=apart(named, "; "),
    )


def _some(names: list[str]) -> Sentence:
    """The first of the names."""
    more = len(names) - SHOWN
    return listed(names if more <= 1 else [*names[:SHOWN], say("{n} more", n=more)])


def reading_of_lifetimes(lives: pd.DataFrame, curve: Survival, as_of: datetime.date | str) -> list[Sentence]:
    """The lifetimes in plain sentences."""
    if not len(lives):
        no_date = "No pool has a set-out date, so how long pools last is not known; fill in the column set_out."
        return [Sentence(no_date)]
    day = pd.Timestamp(as_of)
    said = [
        _lost(curve, day.date(), lives["end"].value_counts()),
        Sentence(
            "A pool that stands has lasted until then at least. One taken in, as planned or without a stated reason, "
            "was followed until that day and does not count as lost."
        ),
    ]
    for days in AT_DAYS:
        share, low, high = curve.at(days)
        if np.isfinite(low):
            still = "After {days} days {share} still stand (95 % interval {range})."
            said.append(say(still, days=days, share=percent(share), range=span(low, high)))
    if (lives["end"] == End.NOT_KNOWN).any():
        said.append(_bound(curve, at_worst(lives)))
    if np.isfinite(curve.median):
        said.append(
            say(
                "Half are lost within {days} days (95 % interval {low} to {high}).",
                days=curve.median,
                low=number(curve.median_low, unknown=UNKNOWN),
                high=number(curve.median_high, unknown=UNKNOWN),
            )
        )
    elif curve.losses:
        said.append(Sentence("Fewer than half were lost, so a median lifetime is not known yet."))
    here = lives[lives["end"] == End.STANDS]
    unseen = int(((day - here["last_seen"].fillna(here["set_out"])).dt.days > UNSEEN_DAYS).sum())
    if unseen:
        said.append(
            say(
                "{pools} taken to stand has not been seen for more than {days} days; if it is gone, pools last less "
                "long than this says."
                if unseen == 1
                else "{pools} taken to stand have not been seen for more than {days} days; if some are gone, pools "
                "last less long than this says.",
                pools=count(unseen, "pool"),
                days=UNSEEN_DAYS,
            )
        )
    return said


def _lost(curve: Survival, day: datetime.date, ended: pd.Series) -> Sentence:
    """How many were lost, and what became of the others: "; 2 still stand and 1 was taken in as planned"."""
    n = {end: int(ended.get(end, 0)) for end in End}
    parts = {
        End.STANDS: say("{n} still stands" if n[End.STANDS] == 1 else "{n} still stand", n=n[End.STANDS]),
        End.PLANNED: say(
            "{n} was taken in as planned" if n[End.PLANNED] == 1 else "{n} were taken in as planned",
            n=n[End.PLANNED],
        ),
        End.NOT_KNOWN: say(
            "{n} was taken in without a stated reason"
            if n[End.NOT_KNOWN] == 1
            else "{n} were taken in without a stated reason",
            n=n[End.NOT_KNOWN],
        ),
    }
    lost = say(
        "By {day}, {n} of {pools} with a set-out date was lost"
        if curve.losses == 1
        else "By {day}, {n} of {pools} with a set-out date were lost",
        day=day,
        n=curve.losses,
        pools=count(curve.pools, "pool"),
    )
    others = listed([part for end, part in parts.items() if n[end]])
    return say("{lost}; {others}." if others else "{lost}.", lost=lost, others=others)


def _bound(curve: Survival, worst: Survival) -> Sentence:
    """What would still stand if the reasons that nobody stated were losses."""
    said = {at: (percent(worst.at(at)[0]), percent(curve.at(at)[0])) for at in (*AT_DAYS, worst.longest)}
    differ = [at for at, (low, high) in said.items() if low != high]
    would = [
        say("{low} and not {high} after {days} days", low=said[at][0], high=said[at][1], days=at)
        for at in [at for at in differ if at in AT_DAYS] or differ
    ]
    return say(
        "A reason that is not stated may hide a loss. If every pool taken in without a stated reason was lost too, the "
        "shares still standing are: {would}. Write the reason into the pool's note.",
        would=apart(would, "; ") if would else Sentence("the same, in whole percent"),
    )
