"""What seemed to work and how long pools last, in sentences made from codes."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd

from habitatmap.practice.codes import NoRatio, Remark, Verdict
from habitatmap.practice.comparison import ASSIGNED, VOLUME, Comparison
from habitatmap.practice.lifetimes import AT_DAYS, UNSEEN_DAYS, Survival
from habitatmap.vocabulary.note import Note
from habitatmap.words.numbers import count

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
    NoRatio.ALL: "every search at {level} found larvae, so there is no odds ratio; see the share of pools",
    NoRatio.NONE: "no search at {level} found larvae, so there is no odds ratio; see the share of pools",
    NoRatio.NO_COUNT: "no larvae were counted at {level}, so there is no ratio; see the share of pools",
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
        f"{v['by_chance']:.1f} of their 95 % intervals would still exclude it by chance; the wider intervals allow for "
        "that (Bonferroni)."
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
            f"{NAMES[str(row.factor)]}: {row.level}, against {row.other}: {row.verdict} "
            f"({row.measure}; 95 % interval {row.low:.2f} to {row.high:.2f})."
            for row in sure.itertuples()
        ),
        "A random assignment before installing (survey --assign) would tell what chance decided from the place.",
        *remarks(found),
    ]


def reading_of_lifetimes(lives: pd.DataFrame, curve: Survival, as_of: datetime.date | str) -> list[str]:
    """The lifetimes in plain sentences."""
    if not len(lives):
        return ["No pool has a set-out date, so how long pools last is not known; fill in the column set_out."]
    said = [
        f"Of {count(curve.pools, 'pool')} with a set-out date {curve.losses} were lost by "
        f"{pd.Timestamp(as_of):%Y-%m-%d}; the others stood or were taken in as planned, and count as having lasted at "
        "least so long."
    ]
    for days in AT_DAYS:
        share, low, high = curve.at(days)
        if np.isfinite(low):
            said.append(f"After {days} days {share:.0%} still stand (95 % interval {low:.0%} to {high:.0%}).")
    if np.isfinite(curve.median):
        ends = [f"{v:.0f}" if np.isfinite(v) else "not known" for v in (curve.median_low, curve.median_high)]
        said.append(f"Half are lost within {curve.median:.0f} days (95 % interval {ends[0]} to {ends[1]}).")
    elif curve.losses:
        said.append("Fewer than half were lost, so a median lifetime is not known yet.")
    here = lives[lives["cause"] == ""]
    unseen = int(((pd.Timestamp(as_of) - here["last_seen"].fillna(here["set_out"])).dt.days > UNSEEN_DAYS).sum())
    if unseen:
        said.append(
            f"{count(unseen, 'pool')} taken to stand {'has' if unseen == 1 else 'have'} not been seen for more than "
            f"{UNSEEN_DAYS} days; if some are gone, pools last less long than this says."
        )
    return said
