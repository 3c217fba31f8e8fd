"""The outlook as a page, tables and a few lines: which way of choosing came first, by how much; never a forecast."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from habitatmap.export.folder import write_folder
from habitatmap.export.formats import csv_text, json_text
from habitatmap.page.drawings import Mark, intervals
from habitatmap.page.sections import Drawing, Section, Table, report_page
from habitatmap.plan.outlook import EVEN, HIGHEST, LAST_YEARS, NONE, PARAMETER_RANGES, PLAN, RANDOM, Outlook

KIND = "Outlook: ways to choose, compared"
FORAGE = "forage in reach"
RULES = {
    NONE: "nothing is set out",
    PLAN: "the spots of plan.csv",
    RANDOM: "twenty draws of allowed spots, one for each world in turn",
    EVEN: "each spot as far as can be from every breeding place and from the spots before it",
    HIGHEST: "the spots whose mean of forage score and dead-wood score is highest",
}
TAIL_WORDS = {
    "fat tail": "some flights go very far (fat tail)",
    "thin tail": "hardly any flight goes far (thin tail)",
}
NO_FORECAST = (
    "These are ranks, no forecast: no world is expected to come true, and nobody knows how often such places are found "
    "or lost. What can be read from it is whether the plan still stands when flight and life differ from what the "
    "planner assumed."
)


def write_outlook(seen: Outlook, title: str, as_of: str, folder: str | Path) -> None:
    """Writes outlook.html and .json, ranks.csv, differences.csv and years.csv into `folder`, whole or not at all."""
    tables = {"ranks.csv": seen.ranks, "differences.csv": seen.differences, "years.csv": seen.by_year}

    def fill(fresh: Path) -> None:
        for name, frame in tables.items():
            (fresh / name).write_bytes(csv_text(frame).encode("utf-8"))
        (fresh / "outlook.json").write_text(json_text(account(seen, title, as_of)), encoding="utf-8", newline="\n")
        (fresh / "outlook.html").write_text(outlook_page(seen, title, as_of), encoding="utf-8", newline="\n")

    write_folder(Path(folder).resolve(), fill)


def write_nothing(why: str, title: str, as_of: str, folder: str | Path) -> None:
    """The same folder where there is nothing to compare: a page and a JSON that say why."""
    empty = {"title": title, "as_of": as_of, "note": why, "ranks": [], "differences": []}
    part = Section("what", "Nothing to compare", f"{why[0].upper()}{why[1:]}.", cautions=[NO_FORECAST])

    def fill(fresh: Path) -> None:
        (fresh / "outlook.json").write_text(json_text(empty), encoding="utf-8", newline="\n")
        page = report_page(title, KIND, f"As of {as_of}", [part])
        (fresh / "outlook.html").write_text(page, encoding="utf-8", newline="\n")

    write_folder(Path(folder).resolve(), fill)


def account(seen: Outlook, title: str, as_of: str) -> dict[str, Any]:
    """What a machine may read: how it was simulated, the ranks and the paired differences."""
    return {
        "title": title,
        "as_of": as_of,
        "years": seen.years,
        "worlds": seen.simulations,
        "basis": {
            "drawn between": {name: list(ends) for name, ends in PARAMETER_RANGES.items()},
            "basis": "expert judgement",
        },
        "note": NO_FORECAST,
        "ranks": seen.ranks.to_dict("records"),
        "differences": seen.differences.to_dict("records"),
    }


def outlook_text(seen: Outlook) -> str:
    """The outlook for the terminal."""
    lines = [
        f"{seen.simulations} simulated worlds of {seen.years} years.",
        *(verdict(seen, tail) for tail in TAIL_WORDS),
    ]
    return "\n".join([*lines, NO_FORECAST]) + "\n"


def verdict(seen: Outlook, tail: str) -> str:
    """How the plan ranked under one way of flying, and against whom that can be told."""
    ranks = seen.ranks[seen.ranks["tail"] == tail]
    rank = int(ranks.loc[ranks["strategy"] == PLAN, "rank"].iloc[0])
    against = _forage(seen, tail)
    beaten, ahead, open_ = (
        [row["other"] for row in against if test(row)]
        for test in (
            lambda r: r["low"] > 0,
            lambda r: r["high"] < 0,
            lambda r: r["low"] <= 0 <= r["high"],
        )
    )
    said = [f"Where {TAIL_WORDS[tail]}, the plan ranks {rank} of {len(ranks)} by the forage that occupied places reach"]
    for words, names in (("above", beaten), ("below", ahead), ("not to be told apart from", open_)):
        if names:
            said.append(f"{words} {_listed(names)}")
    return ", ".join(said) + "."


def outlook_page(seen: Outlook, title: str, as_of: str) -> str:
    """The page: what was simulated, the ranks and differences for each way of flying, and what it can't tell."""
    parts = [
        Section(
            "what",
            "What this is",
            "Would the plan still be the better one if flight and life are not as the planner assumed?",
            words=[
                f"In each of {seen.simulations} simulated worlds every breeding place is occupied or empty, for "
                f"{seen.years} years. Empty places are found by arrivals from occupied ones, occupied ones are lost, "
                "and arrivals save some of them (stochastic patch occupancy, Hanski 1994). As many pools as the plan "
                "suggests are placed by other rules as well, and all live through the same worlds with the same luck.",
                "Each world draws how fast places are lost and how much longer good ones last (expert judgement), "
                "about the point at which today's places, as occupied as the survey has them, neither gain nor lose. "
                "Flight is not the planner's: it has a fat or a thin tail, about the same median distance.",
            ],
            tables=[Table("The ways to choose", ["Way", "What it does"], [[n, w] for n, w in RULES.items()])],
            cautions=[NO_FORECAST],
        )
    ]
    for tail, words in TAIL_WORDS.items():
        ranks = seen.ranks[seen.ranks["tail"] == tail]
        parts.append(
            Section(
                tail.replace(" ", "-"),
                f"Where {words}",
                verdict(seen, tail),
                drawings=[_drawing(seen, tail)],
                tables=[
                    Table(
                        f"Ranks, {tail}: by the mean of the last {LAST_YEARS} years",
                        ["Way", "Rank", "Forage in reach, %", "Occupied places", "First in, % of worlds"],
                        [
                            [
                                r["strategy"],
                                r["rank"],
                                f"{100 * r['forage_in_reach']:.1f}",
                                f"{r['occupied_places']:.1f}",
                                f"{100 * r['first_share']:.0f}",
                            ]
                            for r in _rows(ranks)
                        ],
                    ),
                    _difference_table(seen, tail),
                ],
            )
        )
    parts.append(
        Section(
            "limits",
            "What this can't tell",
            "How many pools will hold larvae in any year.",
            words=[
                "Pools are taken to be kept up in every year, and trees to stay. Flies that come from places nobody "
                "has recorded are left out, so a pool near the edge of the records may do better than here.",
                "Where the plan is not first, its pools stand where fewer flies come by: they close gaps, and gaps are "
                "found later. If that matters more to you than the forage served, set some pools nearer to occupied "
                "ones first.",
            ],
        )
    )
    return report_page(title, KIND, f"As of {as_of}", parts)


def _forage(seen: Outlook, tail: str) -> list[dict[str, Any]]:
    d = seen.differences
    return _rows(d[(d["tail"] == tail) & (d["measure"] == FORAGE)])


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def _drawing(seen: Outlook, tail: str) -> Drawing:
    rows = _forage(seen, tail)
    end = 100 * max([abs(v) for r in rows for v in (r["low"], r["high"])] + [1e-3]) * 1.05
    marks = [
        Mark(
            f"against {r['other']}",
            100 * r["difference"],
            100 * r["low"],
            100 * r["high"],
            f"{100 * r['difference']:+.2f}",
        )
        for r in rows
    ]
    what = f"Forage in reach, the plan minus the others, in percentage points, where {TAIL_WORDS[tail]}"
    return Drawing(
        intervals(marks, what, (-end, end), line=0.0),
        "Forage in reach with the plan minus that with the others, percentage points: mean and 95 % interval over the "
        "worlds. Right of the line the plan did better.",
    )


def _difference_table(seen: Outlook, tail: str) -> Table:
    d = seen.differences[seen.differences["tail"] == tail]
    rows = []
    for r in _rows(d):
        times, digits = (100, 2) if r["measure"] == FORAGE else (1, 2)
        rows.append(
            [
                f"{r['measure']}, against {r['other']}",
                f"{times * r['difference']:+.{digits}f}",
                f"{times * r['low']:+.{digits}f} to {times * r['high']:+.{digits}f}",
                f"{100 * r['better_share']:.0f}",
                f"{100 * r['worse_share']:.0f}",
            ]
        )
    return Table(
        f"The plan minus the others, world by world, {tail}",
        ["Measure", "Difference", "95 % interval", "Better in, % of worlds", "Worse in, % of worlds"],
        rows,
        "Forage in percentage points, places as a number. In the other worlds there was no difference, mostly because "
        "every place went empty.",
    )


def _listed(names: list[str]) -> str:
    words = [f"pools {n}" if n in (RANDOM, EVEN, HIGHEST) else n for n in names]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
