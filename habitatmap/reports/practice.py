"""What seemed to work, how long pools last and what went wrong, as sections of the survey page and as tables."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from habitatmap.export.formats import plain
from habitatmap.page.drawings import Mark, falling, intervals
from habitatmap.page.sections import (
    Column,
    Drawing,
    Fold,
    Layout,
    Row,
    Section,
    Table,
    interval,
    share,
    table,
    terminal,
)
from habitatmap.practice import lifetimes
from habitatmap.practice.account import Practice
from habitatmap.practice.codes import End, Measure
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import count, number, number_span, percent, span
from habitatmap.words.practice import (
    NAMES,
    level_of,
    reading,
    reading_of_lifetimes,
    remarks,
    told_differences,
    told_similar,
)
from habitatmap.words.sentences import Quantity, Sentence, apart, say


def practice_sections(found: Practice) -> list[Section]:
    """Three sections for the survey page."""
    return [_worked(found), _lasting(found), _wrong(found)]


def practice_tables(found: Practice) -> dict[str, pd.DataFrame]:
    """File name -> table: every figure of the sections."""
    return {
        "pool_types.csv": found.comparison.levels,
        "differences.csv": told_differences(found.comparison),
        "similar_names.csv": _similar(found),
        "species_by_pool_type.csv": found.comparison.species,
        "lifetimes.csv": found.lives,
        "standing.csv": _curve(found),
        "incidents.csv": found.incidents,
        "complaints.csv": found.complaints,
    }


def practice_summary(found: Practice) -> dict[str, Any]:
    """The same for a machine; None where a figure is not known."""
    content: dict[str, Any] = plain(
        {
            "differences": told_differences(found.comparison).to_dict("records"),
            "comparisons": found.comparison.comparisons,
            "notes": remarks(found.comparison),
            "similar_names": [
                {
                    "factor": factor,
                    "proposed": one.proposed,
                    "names": [{"name": name, "pools": n} for name, n in one.names.items()],
                }
                for factor, groups in found.similar.items()
                for one in groups
            ],
            "lifetimes": {
                "pools": found.curve.pools,
                "lost": found.curve.losses,
                "median_days": found.curve.median,
                "median_low": found.curve.median_low,
                "median_high": found.curve.median_high,
                "standing": _curve(found).to_dict("records"),
                "after": _after(found),
                "ends": found.lives["end"].value_counts().to_dict(),
                "causes": found.lives["cause"].replace("", np.nan).value_counts().to_dict(),
            },
            "incidents": found.incidents.to_dict("records"),
        }
    )
    return content


def practice_text(found: Practice, spoken: Catalogue = ENGLISH) -> str:
    """The reading of each section in a line or two, for the terminal."""
    parts = [(spoken.say(part.title), spoken.say(part.lead)) for part in practice_sections(found)]
    return terminal(line for title, lead in parts for line in ("", f"{title}. {lead}"))


def _similar(found: Practice) -> pd.DataFrame:
    """A row for each name that may mean the same as another."""
    rows = [
        (factor, one.proposed, name, n)
        for factor, groups in found.similar.items()
        for one in groups
        for name, n in one.names.items()
    ]
    return pd.DataFrame(rows, columns=["factor", "proposed", "name", "pools"])


def _curve(found: Practice) -> pd.DataFrame:
    c = found.curve
    columns = {"days": c.times, "at_risk": c.at_risk, "lost": c.lost, "share": c.share, "low": c.low, "high": c.high}
    return pd.DataFrame(columns).assign(share_if_all_lost=[found.at_worst.at(days)[0] for days in c.times])


def _after(found: Practice) -> list[Row]:
    """The share still standing after each of AT_DAYS that some pool was followed to."""
    rows: list[Row] = []
    for days in lifetimes.AT_DAYS:
        share, low, high = found.curve.at(days)
        at_worst = found.at_worst.at(days)[0]
        rows.append({"days": days, "share": share, "low": low, "high": high, "share_if_all_lost": at_worst})
    return [row for row in rows if np.isfinite(row["share"])]


# --- what seemed to work ---------------------------------------------------------------------------------------------

LEVELS: dict[str, Column] = {
    "Pool type": lambda r: say("{factor}: {level}", factor=NAMES[r["factor"]], level=r["level"]),
    "Pools": "pools",
    "Searches per pool": lambda r: number(r["searches_per_pool"], 1),
    "With larvae": "pools_with",
    "Share (95 %)": lambda r: say(
        "{share} ({range})", share=percent(r["share"]), range=span(r["share_low"], r["share_high"])
    ),
    "Searches with larvae": lambda r: say("{n} of {of}", n=r["searches_with"], of=r["searches"]),
    "Larvae per search": lambda r: number(r["larvae_per_search"], 1),
}
DIFFERENCES: dict[str, Column] = {
    "What": lambda r: say(
        "{factor}: {level}, against {other}",
        factor=NAMES[r["factor"]],
        level=level_of(r["factor"], r["level"]),
        other=level_of(r["factor"], r["other"]),
    ),
    "Measure": lambda r: _said(r, "measure"),
    "Estimate": lambda r: _figure(r, "estimate", "estimate"),
    "95 %": lambda r: _figure(r, "low", "high"),
    "95 % for all together": lambda r: _figure(r, "low_all", "high_all"),
    "In words": "words",
}
SPECIES: dict[str, Column] = {
    "Species": "taxon",
    "By": lambda r: NAMES[r["factor"]],
    "Pool type": "level",
    "Pools": "pools",
}


def _worked(found: Practice) -> Section:
    lead, *words = reading(found.comparison)
    compared = told_differences(found.comparison)
    shares = compared[compared["measure"].isin([Measure.SHARE, Measure.PAIRED]) & compared["low"].notna()]
    marks = [
        Mark(
            f"{r['level']} - {r['other']}",
            r["estimate"],
            r["low"],
            r["high"],
            say("{points} points", points=Quantity(100 * r["estimate"], signed=True)),
        )
        for r in shares.to_dict("records")
    ]
    what = "Differences of the share of pools with larvae, from -100 to +100 points, and the line of no difference"
    caption = "Difference of the share of pools with larvae, from -100 to +100 points. Dashed: no difference."
    return Section(
        "worked",
        "What seemed to work",
        lead,
        words=[*words, told_similar(found.similar) or ""],
        drawings=[Drawing(partial(intervals, marks, what, ends=(-1, 1), line=0), caption, Layout.BESIDE)],
        tables=[
            table("Pools of this season by pool type", found.comparison.levels, LEVELS),
            table(
                "Differences, each against the commonest",
                compared,
                DIFFERENCES,
                "Shares: difference in points (Newcombe 1998). Odds and counts: ratio; 1 is no difference.",
            ),
            table(
                "Checked species",
                found.comparison.species,
                SPECIES,
                "Only what somebody checked; more searches find more species.",
            ),
            _names_alike(found),
        ],
    )


def _names_alike(found: Practice) -> Table:
    """The names that may mean the same, a row for each group of them."""
    rows = [
        (NAMES[factor], one.proposed, ", ".join(f"{name} ({n})" for name, n in one.names.items()), one.pools)
        for factor, groups in found.similar.items()
        for one in groups
    ]
    heads = ["What", "Proposed name", "Names, with their pools", "Pools together"]
    note = "Of all pools on record. The commonest name is proposed; where sizes or colours differ, one without them."
    return Table("Names that may mean the same", heads, rows, note)


def _said(row: Row, column: str) -> Sentence:
    """A code, which a frame holds as text."""
    return Sentence(str(row[column]))


def _figure(row: Row, low: str, high: str) -> Sentence:
    """A figure or an interval of a comparison, as points or as a ratio; "" where it is not known."""
    if np.isnan(row["low"]):
        return Sentence("")
    if Measure(row["measure"]).is_ratio:
        return number_span(row[low], row[high], 2)
    return number_span(100 * row[low], 100 * row[high], signed=True)


# --- how long, and what went wrong -----------------------------------------------------------------------------------


def _lasting(found: Practice) -> Section:
    lead, *words = reading_of_lifetimes(found.lives, found.curve, found.as_of)
    curve = found.curve
    drawings, tables = [], []
    if curve.losses:
        what = say("Share of pools still standing, over {days}", days=count(curve.longest, "day"))
        ends = list(zip(curve.low, curve.high, strict=True))
        svg = partial(falling, curve.times.tolist(), curve.share.tolist(), ends, curve.longest, what)
        drawings = [
            Drawing(svg, "Share of pools still standing after so many days; dashed: the 95 % interval.", Layout.BESIDE)
        ]
    if found.at_worst.losses:
        note = ""
        columns: dict[str, Column] = {
            "After": lambda r: count(r["days"], "day"),
            "Share": share("share"),
            "95 % interval": interval(),
        }
        if found.at_worst.losses > curve.losses:
            columns["Share at worst"] = share("share_if_all_lost")
            note = "At worst: if every pool that was taken in without a stated reason was lost."
        tables.append(table("Still standing", _after(found), columns, note, Fold.ALWAYS))
    ended = found.lives[found.lives["end"] != End.STANDS]
    if len(ended):
        causes = [
            (Sentence(str(how)), Sentence(str(cause)), len(of), "; ".join(sorted({s for s in of["stated"] if s})))
            for (how, cause), of in ended.groupby(["end", "cause"], sort=True)
        ]
        tables.append(Table("How and why pools ended", ["End", "Cause", "Pools", "As stated"], causes))
        looked_for = [(Sentence(cause), ", ".join(texts)) for cause, texts in lifetimes.CAUSES.items()]
        note = "Whole words, in any case and without accents; expert judgement. A note that fits several counts first."
        tables.append(Table("Which words in a note tell the cause", ["Cause", "Words"], looked_for, note, Fold.ALWAYS))
    return Section("lasting", "How long pools last", lead, words=words, drawings=drawings, tables=tables)


INCIDENTS: dict[str, Column] = {
    "What": lambda r: _said(r, "kind"),
    "Times": "count",
    "Per 100 pool-months": lambda r: number(r["per_100"], 1),
    "95 % interval": lambda r: number_span(r["low"], r["high"], 1) if np.isfinite(r["low"]) else "",
}
COMPLAINED: dict[str, Column] = {
    "Pool": "pool",
    "Date": lambda r: r["date"].date(),
    "Word": "word",
    "As written": "text",
}


def _wrong(found: Practice) -> Section:
    kinds = found.incidents.to_dict("records")
    total = [say("{what}: {n}", what=Sentence(kind), n=n) for kind, n in ((r["kind"], r["count"]) for r in kinds)]
    note = say(
        "Exact Poisson intervals (Garwood 1936). Only what was seen at a visit, or stated for a pool, can count. "
        "Complaints are visits whose action or note has one of these words, without a no before it: {words} (a no is: "
        "{negations}).",
        words=", ".join(lifetimes.COMPLAINTS),
        negations=", ".join(lifetimes.NEGATIONS),
    )
    return Section(
        "incidents",
        "What went wrong",
        say("In {n} months of pools standing: {total}.", n=kinds[0]["pool_months"], total=apart(total, "; ")),
        tables=[
            table("Per 100 pool-months", found.incidents, INCIDENTS, note),
            table("Taken for complaints", found.complaints, COMPLAINED),
        ],
    )
