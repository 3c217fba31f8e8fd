"""What seemed to work, how long pools last and what went wrong, as sections of the survey page and as tables."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from habitatmap.export.formats import plain, visible
from habitatmap.page.document import shown
from habitatmap.page.drawings import Mark, falling, intervals
from habitatmap.page.sections import Drawing, Section, Table
from habitatmap.practice import comparison, lifetimes
from habitatmap.practice.account import Practice
from habitatmap.practice.comparison import COUNT, NAMES, ODDS, PAIRED, SHARE


def practice_sections(found: Practice) -> list[Section]:
    """Three sections for the survey page."""
    return [_worked(found), _lasting(found), _wrong(found)]


def practice_tables(found: Practice) -> dict[str, pd.DataFrame]:
    """File name -> table: every figure of the sections."""
    return {
        "pool_types.csv": found.comparison.levels,
        "differences.csv": found.comparison.differences,
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
            "differences": found.comparison.differences.to_dict("records"),
            "comparisons": found.comparison.comparisons,
            "notes": found.comparison.notes,
            "lifetimes": {
                "pools": found.curve.pools,
                "lost": found.curve.losses,
                "median_days": found.curve.median,
                "median_low": found.curve.median_low,
                "median_high": found.curve.median_high,
                "standing": _curve(found).to_dict("records"),
                "causes": found.lives["cause"].replace("", np.nan).value_counts().to_dict(),
            },
            "incidents": found.incidents.to_dict("records"),
        }
    )
    return content


def practice_text(found: Practice) -> str:
    """The reading of each section in a line or two, for the terminal."""
    lines = [line for section in practice_sections(found) for line in ("", f"{section.title}. {section.lead}")]
    return visible("\n".join(shown(line) for line in lines)) + "\n"


def _curve(found: Practice) -> pd.DataFrame:
    c = found.curve
    columns = {"days": c.times, "at_risk": c.at_risk, "lost": c.lost, "share": c.share, "low": c.low, "high": c.high}
    return pd.DataFrame(columns)


# --- what seemed to work ---------------------------------------------------------------------------------------------


def _worked(found: Practice) -> Section:
    told = comparison.reading(found.comparison)
    table = found.comparison.differences
    shares = table[table["measure"].isin([SHARE, PAIRED]) & table["low"].notna()]
    marks = [
        Mark(f"{r['level']} - {r['other']}", r["estimate"], r["low"], r["high"], f"{100 * r['estimate']:+.0f} points")
        for r in shares.to_dict("records")
    ]
    what = "Differences of the share of pools with larvae, from -100 to +100 points, and the line of no difference"
    drawing = Drawing(
        intervals(marks, what, (-1, 1), line=0),
        "Difference of the share of pools with larvae, from -100 to +100 points. Dashed: no difference.",
    )
    levels = [
        (
            f"{NAMES[r['factor']]}: {r['level']}",
            r["pools"],
            f"{r['searches_per_pool']:.1f}",
            r["pools_with"],
            f"{_percent(r['share'])} ({_percent(r['share_low'])} to {_percent(r['share_high'])})",
            f"{r['searches_with']} of {r['searches']}",
            "" if np.isnan(r["larvae_per_search"]) else f"{r['larvae_per_search']:.1f}",
        )
        for r in found.comparison.levels.to_dict("records")
    ]
    heads = ["Made of", "Pools", "Looks a pool", "With larvae", "Share (95 %)", "Looks with larvae", "Larvae a look"]
    differences = [
        (f"{NAMES[r['factor']]}: {r['level']}, against {r['other']}", r["measure"], *_figures(r), r["words"])
        for r in table.to_dict("records")
    ]
    tables = [Table("Pools of this season by what they are made of", heads, levels)] if levels else []
    if differences:
        tables.append(
            Table(
                "Differences, each against the commonest",
                ["What", "Measure", "Estimate", "95 %", "95 % for all together", "In words"],
                differences,
                "Shares: difference in points (Newcombe 1998). Odds and counts: ratio; 1 is no difference.",
            )
        )
    if len(found.comparison.species):
        rows = [
            (r["taxon"], NAMES[r["factor"]], r["level"], r["pools"])
            for r in found.comparison.species.to_dict("records")
        ]
        heads = ["Species", "By", "Made of", "Pools"]
        tables.append(
            Table("Checked species", heads, rows, "Only what somebody checked; more looks find more species.")
        )
    return Section(
        "worked",
        "What seemed to work",
        told[0],
        words=told[1:],
        drawings=[drawing] if marks else [],
        tables=tables,
    )


def _figures(row: dict[Any, Any]) -> tuple[str, str, str]:
    """Estimate and both intervals as words; empty where not known."""
    if np.isnan(row["low"]):
        return "", "", ""
    ratio = row["measure"] in (ODDS, COUNT)

    def said(value: float) -> str:
        return f"{value:.2f}" if ratio else f"{100 * value:+.0f}"

    ends = [f"{said(row[a])} to {said(row[b])}" for a, b in (("low", "high"), ("low_all", "high_all"))]
    return said(row["estimate"]), ends[0], ends[1]


# --- how long, and what went wrong -----------------------------------------------------------------------------------


def _lasting(found: Practice) -> Section:
    told = lifetimes.reading(found.lives, found.curve, found.as_of)
    curve = found.curve
    drawings, tables = [], []
    if curve.losses:
        what = f"Share of pools still standing, over {curve.longest:.0f} days"
        svg = falling(
            curve.times.tolist(),
            curve.share.tolist(),
            list(zip(curve.low, curve.high, strict=True)),
            curve.longest,
            what,
        )
        drawings = [Drawing(svg, "Share of pools still standing after so many days; dashed: the 95 % interval.")]
        rows = [
            (f"{days} days", _percent(share), f"{_percent(low)} to {_percent(high)}" if np.isfinite(low) else "")
            for days in lifetimes.AT_DAYS
            for share, low, high in [curve.at(days)]
            if np.isfinite(share)
        ]
        tables.append(Table("Still standing", ["After", "Share", "95 % interval"], rows))
    ended = found.lives[found.lives["cause"] != ""]
    if len(ended):
        causes = [
            (str(cause), len(of), int(of["lost"].sum()), "; ".join(sorted({s for s in of["stated"] if s})))
            for cause, of in ended.groupby("cause", sort=True)
        ]
        tables.append(Table("Why pools ended", ["Cause", "Pools", "Counted as lost", "As stated"], causes))
        words = [(cause, ", ".join(words)) for cause, words in lifetimes.CAUSES.items()]
        note = "Whole words, in any case and without accents; expert judgement. A note that fits several counts first."
        tables.append(Table("Which words in a note tell the cause", ["Cause", "Words"], words, note))
    return Section("lasting", "How long pools last", told[0], words=told[1:], drawings=drawings, tables=tables)


def _wrong(found: Practice) -> Section:
    rows = [
        (
            r["kind"],
            r["count"],
            f"{r['per_100']:.1f}" if np.isfinite(r["per_100"]) else "",
            f"{r['low']:.1f} to {r['high']:.1f}" if np.isfinite(r["low"]) else "",
        )
        for r in found.incidents.to_dict("records")
    ]
    months = found.incidents["pool_months"].iloc[0]
    total = ", ".join(f"{r['kind']} {r['count']}" for r in found.incidents.to_dict("records"))
    note = (
        f"Complaints are visits whose action or note has one of these words, without a no before it: "
        f"{', '.join(lifetimes.COMPLAINTS)} (a no is: {', '.join(lifetimes.NEGATIONS)})."
    )
    tables = [
        Table(
            "Per 100 pool-months",
            ["What", "Times", "Per 100 pool-months", "95 % interval"],
            rows,
            "Exact Poisson intervals (Garwood 1936). Only what was seen at a visit, or stated for a pool, can count.",
        )
    ]
    if len(found.complaints):
        told = [(r["pool"], f"{r['date']:%Y-%m-%d}", r["word"], r["text"]) for r in found.complaints.to_dict("records")]
        tables.append(Table("Taken for complaints", ["Pool", "Date", "Word", "As written"], told))
    return Section(
        "incidents",
        "What went wrong",
        f"In {months:.0f} months of pools standing: {total}.",
        words=[note],
        tables=tables,
    )


def _percent(value: float) -> str:
    return f"{100 * value:.0f} %"
