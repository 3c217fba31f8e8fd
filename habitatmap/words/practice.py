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
from habitatmap.words.numbers import count, listed, percent, span

SHOWN = 3  # so many of similar names stand in a sentence; the table has all
NAMES = {
    "container": "Container",
    "filling": "Filling",
    "shade": "Shade",
    VOLUME: "Volume",
    ASSIGNED: "Random assignment",
}
ALONE = "not distinguishable once all comparisons are allowed for; taken alone it is {}"
VERDICTS = {
    Verdict.MORE_ALONE: ALONE.format("more"),
    Verdict.LESS_ALONE: ALONE.format("less"),
}
TEXTS: Mapping[StrEnum, str | Callable[[Mapping[str, Any]], str]] = {
    NoRatio.ALL: "{level}: every search found larvae, so there is no odds ratio; see the share of pools",
    NoRatio.NONE: "{level}: no search found larvae, so there is no odds ratio; see the share of pools",
    NoRatio.NO_COUNT: "{level}: no larvae were counted, so there is no ratio; see the share of pools",
    NoRatio.SEPARATED: "the volume separates detections from non-detections altogether, so there is no odds ratio",
    NoRatio.NOT_FITTED: "the model could not be fitted to so few searches",
    Remark.NOT_GIVEN: lambda v: f"{NAMES[v['factor']]}: not given for {v['n']} of {count(v['of'], 'pool')} searched.",
    Remark.TOO_FEW: lambda v: (
        f"{NAMES[v['factor']]}: {', '.join(v['levels'])}: fewer than {v['needed']} pools searched, too few to compare."
    ),
    Remark.UNEQUAL: lambda v: (
        f"{NAMES[v['factor']]}: {v['level']} was searched {v['searches']:.1f} times a pool, {v['other']} "
        f"{v['other_searches']:.1f} times; the more searches, the more pools show larvae, so trust the odds per search "
        "before the share of pools."
    ),
    Remark.UNCOUNTED: lambda v: (
        f"{NAMES[v['factor']]}: {count(v['n'], 'pool')} with larvae but without their number; no counts from them."
    ),
    Remark.FEW_COUNTED: lambda v: (
        f"{NAMES[v['factor']]}: fewer than {v['needed']} pools with counted larvae, too few to compare counts."
    ),
    Remark.ONE_TREATMENT: "A random assignment is there, but no two treatments of it have pools that were searched.",
    Remark.FEW_PAIRS: lambda v: (
        f"{NAMES[ASSIGNED]}: {v['treatment']} and {v['other']} have {count(v['n'], 'pair')} searched, too few to "
        "compare."
    ),
    Remark.MANY: lambda v: (
        f"{count(v['n'], 'comparison')} {'is' if v['n'] == 1 else 'are'} shown. If nothing made any difference, about "
        f'{v["by_chance"]:.1f} of their 95 % intervals would still exclude "no difference" by chance; the wider '
        "intervals allow for that (Bonferroni)."
    ),
}


def told(of: Note | Verdict) -> str:
    """A verdict, or why there is none, or a remark."""
    if isinstance(of, Verdict):
        return VERDICTS.get(of, str(of))
    text = TEXTS[of.code]
    return text.format(**of.values) if isinstance(text, str) else text(of.values)


def remarks(found: Comparison) -> list[str]:
    """What to know beside the comparisons."""
    return [told(remark) for remark in found.remarks]


def told_differences(found: Comparison) -> pd.DataFrame:
    """differences.csv: the comparisons, the verdict in words."""
    frame = found.differences.rename(columns={"verdict": "words"})
    return frame.assign(words=[told(of) for of in frame["words"]]).astype({"measure": str, "words": str})


def reading(found: Comparison) -> list[str]:
    """The comparison in plain sentences, with what it can't say."""
    compared = found.differences[found.differences["low"].notna()]
    if compared.empty:
        return ["Too few pools were searched to compare pool types.", *remarks(found)]
    sure = compared[compared["verdict"].isin([Verdict.MORE, Verdict.LESS])]
    alike = len(compared) - len(sure)
    lead = f"{count(alike, 'comparison')}, not one difference is distinguishable"
    if len(sure):
        lead = f"{len(sure)} of {count(len(compared), 'comparison')} show a difference, {alike} are not distinguishable"
    return [
        f"{lead}. Pools were not assigned at random: where a kind of container stood mostly in good places, the place "
        "may have done it.",
        *(
            f"{NAMES[row['factor']]}: {row['level']}, against {row['other']}: {row['verdict']} "
            f"({row['measure']}: {_size(Measure(row['measure']), row['estimate'], row['low'], row['high'])})."
            for row in sure.to_dict("records")
        ),
        "Assigning pool types to sites at random before installing (survey --assign) separates what the pool type does "
        "from what the place does.",
        *remarks(found),
    ]


def _size(measure: Measure, estimate: float, low: float, high: float) -> str:
    """How large a difference is, with its interval: so many times, or in points."""
    if measure.is_ratio:
        return f"{estimate:.2f} times, 95 % interval {low:.2f} to {high:.2f}"
    return f"{100 * estimate:+.0f} points, 95 % interval {100 * low:+.0f} to {100 * high:+.0f}"


def told_similar(similar: Mapping[str, Sequence[SimilarNames]]) -> str:
    """Which names may mean the same, and what to do; "" where none may."""
    groups = [(NAMES[of], one) for of, found in similar.items() for one in found]
    if not groups:
        return ""
    named = "; ".join(f"{of}: {_some(list(one.names))}" for of, one in groups[:SHOWN])
    more = f"; {len(groups) - SHOWN} more in the table" if len(groups) > SHOWN else ""
    return (
        f"Some names may mean the same: {named}{more}. Nothing was merged: names are compared as they are written, "
        "except that capitals and spaces make no difference. If they mean the same, give them one name in pools.*, "
        "and write the size into the column volume_l. Each pool type then has more pools, and "
        "the comparison tells more."
    )


def _some(names: list[str]) -> str:
    """The first of the names."""
    return listed(names if len(names) <= SHOWN + 1 else [*names[:SHOWN], f"{len(names) - SHOWN} more"])


def reading_of_lifetimes(lives: pd.DataFrame, curve: Survival, as_of: datetime.date | str) -> list[str]:
    """The lifetimes in plain sentences."""
    if not len(lives):
        return ["No pool has a set-out date, so how long pools last is not known; fill in the column set_out."]
    ended = lives["end"].value_counts()
    said = [
        f"By {pd.Timestamp(as_of):%Y-%m-%d}, {curve.losses} of {count(curve.pools, 'pool')} with a set-out date "
        f"{_were(curve.losses)} lost{_others(ended)}.",
        "A pool that stands has lasted until then at least. One taken in, as planned or without a stated reason, was "
        "followed until that day and does not count as lost.",
    ]
    for days in AT_DAYS:
        share, low, high = curve.at(days)
        if np.isfinite(low):
            said.append(f"After {days} days {percent(share)} still stand (95 % interval {span(low, high)}).")
    said.append(_bound(curve, at_worst(lives), int(ended.get(End.NOT_KNOWN, 0))))
    if np.isfinite(curve.median):
        ends = [f"{v:.0f}" if np.isfinite(v) else "not known" for v in (curve.median_low, curve.median_high)]
        said.append(f"Half are lost within {curve.median:.0f} days (95 % interval {ends[0]} to {ends[1]}).")
    elif curve.losses:
        said.append("Fewer than half were lost, so a median lifetime is not known yet.")
    here = lives[lives["end"] == End.STANDS]
    unseen = int(((pd.Timestamp(as_of) - here["last_seen"].fillna(here["set_out"])).dt.days > UNSEEN_DAYS).sum())
    if unseen:
        said.append(
            f"{count(unseen, 'pool')} taken to stand {'has' if unseen == 1 else 'have'} not been seen for more than "
            f"{UNSEEN_DAYS} days; if some are gone, pools last less long than this says."
        )
    return [line for line in said if line]


def _were(n: int) -> str:
    return "was" if n == 1 else "were"


def _others(ended: pd.Series) -> str:
    """What became of the pools that were not lost: "; 2 still stand and 1 was taken in as planned"."""
    n = {end: int(ended.get(end, 0)) for end in End}
    parts = {
        End.STANDS: f"{n[End.STANDS]} still {'stands' if n[End.STANDS] == 1 else 'stand'}",
        End.PLANNED: f"{n[End.PLANNED]} {_were(n[End.PLANNED])} taken in as planned",
        End.NOT_KNOWN: f"{n[End.NOT_KNOWN]} {_were(n[End.NOT_KNOWN])} taken in without a stated reason",
    }
    told = listed([part for end, part in parts.items() if n[end]])
    return f"; {told}" if told else ""


def _bound(curve: Survival, worst: Survival, unexplained: int) -> str:
    """What would still stand if the reasons that nobody stated were losses; "" where all are stated."""
    if not unexplained:
        return ""
    said = {at: (percent(worst.at(at)[0]), percent(curve.at(at)[0])) for at in (*AT_DAYS, worst.longest)}
    differ = [at for at, (low, high) in said.items() if low != high]
    would = [
        f"{said[at][0]} and not {said[at][1]} {'' if i else 'would still stand '}after {at:.0f} days"
        for i, at in enumerate([at for at in differ if at in AT_DAYS] or differ)
    ]
    pools = {1: "the pool", 2: "both pools"}.get(unexplained, f"all {unexplained} pools")
    return (
        f"A reason that is not stated may hide a loss. If {pools} taken in without a stated reason "
        f"{_were(unexplained)} lost too, {', and '.join(would) or 'as many in a hundred would still stand'}. "
        "Write the reason into the pool's note."
    )
