"""Why a pool is due no visit, label or sheet: sentences from codes."""

from __future__ import annotations

import datetime

import pandas as pd

from habitatmap.vocabulary.terms import NoVisit
from habitatmap.words.sentences import Sentence

NOTHING_DUE = {
    NoVisit.WITHDRAWN: "consent withdrawn; no visit, label or sheet",
    NoVisit.EXPIRED: "consent expired on {day}; no visit, label or sheet",
    NoVisit.LAND: "the land's consent is no; no visit, label or sheet",
}


def told_no_visits(pools: pd.DataFrame) -> list[Sentence]:
    """For each row why no visit is due, "" where one may be; no_visit: `NoVisit` or "", consent_until: a day."""
    nothing = Sentence("")
    return [
        Sentence(NOTHING_DUE[code], {"day": until if isinstance(until, datetime.date) else str(until)})
        if code
        else nothing
        for code, until in zip(pools["no_visit"].tolist(), pools["consent_until"].tolist(), strict=True)
    ]


def flagged(pools: pd.DataFrame) -> pd.DataFrame:
    """pools.csv with the sentence in `flag`, behind what stands there, without the code it is made from."""
    told = zip(pools["flag"], map(str, told_no_visits(pools)), strict=True)
    return pools.assign(flag=["; ".join(filter(None, both)) for both in told]).drop(columns="no_visit")
