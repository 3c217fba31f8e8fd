"""The outlook as a page, tables and a few lines: which way of choosing came first, by how much; never a forecast."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from habitatmap.export.folder import Content, write_files
from habitatmap.page.drawings import Mark, intervals
from habitatmap.page.sections import Column, Drawing, Row, Section, Table, report_page, table, terminal
from habitatmap.plan.outlook import LAST_YEARS, PARAMETER_RANGES, Measure, Outlook, Strategy, Tail
from habitatmap.words.numbers import count, listed, number, sentence

KIND = "Outlook: ways to choose, compared"
RULES = {
    Strategy.NONE: "no pool is installed",
    Strategy.PLAN: "the sites of plan.csv",
    Strategy.RANDOM: "twenty random selections of allowed sites, one for each simulation in turn",
    Strategy.EVEN: "each site as far as can be from every breeding place and from the sites before it",
    Strategy.HIGHEST: "the sites whose mean of forage score and dead-wood score is highest",
}
TAIL_WORDS = {
    Tail.FAT: "some flights go very far (fat tail)",
    Tail.THIN: "hardly any flight goes far (thin tail)",
}
NO_FORECAST = (
    "These are ranks, no forecast: no simulation is expected to come true, and nobody knows how often such places are "
    "found or lost. What can be read from it is whether the plan still stands when flight and life differ from what "
    "the planner assumed."
)


def write_outlook(seen: Outlook, title: str, as_of: str, folder: str | Path) -> None:
    """Writes outlook.html and .json, ranks.csv, differences.csv and years.csv into `folder`, whole or not at all."""
    files: dict[str, Content] = {
        "ranks.csv": seen.ranks,
        "differences.csv": seen.differences,
        "years.csv": seen.by_year,
        "outlook.json": account(seen, title, as_of),
        "outlook.html": outlook_page(seen, title, as_of),
    }
    write_files(folder, files)


def write_nothing(why: str, title: str, as_of: str, folder: str | Path) -> None:
    """The same folder where there is nothing to compare: a page and a JSON that say why."""
    empty = {"title": title, "as_of": as_of, "note": why, "ranks": [], "differences": []}
    part = Section("what", "Nothing to compare", f"{sentence(why)}.", cautions=[NO_FORECAST])
    write_files(folder, {"outlook.json": empty, "outlook.html": report_page(title, KIND, f"As of {as_of}", [part])})


def account(seen: Outlook, title: str, as_of: str) -> dict[str, object]:
    """What a machine may read: how it was simulated, the ranks and the paired differences."""
    ranges = {name: list(ends) for name, ends in PARAMETER_RANGES.items()}
    return {
        "title": title,
        "as_of": as_of,
        "years": seen.years,
        "simulations": seen.simulations,
        "basis": {"drawn between": ranges, "basis": "expert judgement"},
        "note": NO_FORECAST,
        "ranks": seen.ranks.to_dict("records"),
        "differences": seen.differences.to_dict("records"),
    }


def outlook_text(seen: Outlook) -> str:
    """The outlook for the terminal."""
    head = f"{count(seen.simulations, 'simulation')} of {count(seen.years, 'year')}."
    return terminal([head, *(verdict(seen, tail) for tail in TAIL_WORDS), NO_FORECAST])


def verdict(seen: Outlook, tail: Tail) -> str:
    """How the plan ranked under one way of flying, and which differences are distinguishable."""
    ranks = seen.ranks[seen.ranks["tail"] == tail]
    rank = int(ranks.loc[ranks["strategy"] == Strategy.PLAN, "rank"].iloc[0])
    against = _forage(seen, tail)
    above, below = against["low"] > 0, against["high"] < 0
    said = [f"Where {TAIL_WORDS[tail]}, the plan ranks {rank} of {len(ranks)} by the forage that occupied places reach"]
    for words, which in (("above", above), ("below", below), ("not distinguishable from", ~above & ~below)):
        if which.any():
            said.append(f"{words} {listed([_pools(name) for name in against.loc[which, 'other']])}")
    return ", ".join(said) + "."


def outlook_page(seen: Outlook, title: str, as_of: str) -> str:
    """The page: what was simulated, the ranks and differences for each way of flying, and what it can't tell."""
    what = Section(
        "what",
        "What this is",
        "Would the plan still be the better one if flight and life are not as the planner assumed?",
        words=[
            f"In each of {count(seen.simulations, 'simulation')} every breeding place is occupied or empty, for "
            f"{count(seen.years, 'year')}. Empty places are found by arrivals from occupied ones, occupied ones are "
            "lost, and arrivals save some of them (stochastic patch occupancy, Hanski 1994). As many pools as the plan "
            "suggests are placed by other rules as well, and all live through the same simulations with the same luck.",
            "Each simulation draws how fast places are lost and how much longer good ones last (expert judgement), "
            "about the point at which today's places, as occupied as the survey has them, neither gain nor lose. "
            "Flight is not the planner's: it has a fat or a thin tail, about the same median distance.",
        ],
        tables=[Table("The ways to choose", ["Way", "What it does"], list(RULES.items()))],
        cautions=[NO_FORECAST],
    )
    limits = Section(
        "limits",
        "What this can't tell",
        "How many pools will hold larvae in any year.",
        words=[
            "Pools are taken to be kept up in every year, and trees to stay. Flies that come from places nobody "
            "has recorded are left out, so a pool near the edge of the records may do better than here.",
            "Where the plan is not first, its pools stand where fewer flies come by: they close gaps, and gaps are "
            "found later. If that matters more to you than the forage served, install some pools nearer to occupied "
            "ones first.",
        ],
    )
    return report_page(title, KIND, f"As of {as_of}", [what, *(_section(seen, tail) for tail in TAIL_WORDS), limits])


RANKS: dict[str, Column] = {
    "Way": "strategy",
    "Rank": "rank",
    "Forage in reach, %": lambda r: number(100 * r["forage_in_reach"], 1),
    "Occupied places": lambda r: f"{r['occupied_places']:.1f}",
    "First in, % of simulations": lambda r: number(100 * r["first_share"]),
}
DIFFERENCES: dict[str, Column] = {
    "Measure": lambda r: f"{r['measure']}, against {r['other']}",
    "Difference": lambda r: _signed(r, "difference"),
    "95 % interval": lambda r: f"{_signed(r, 'low')} to {_signed(r, 'high')}",
    "Better in, % of simulations": lambda r: number(100 * r["better_share"]),
    "Worse in, % of simulations": lambda r: number(100 * r["worse_share"]),
}


def _section(seen: Outlook, tail: Tail) -> Section:
    """Ranks and differences under one way of flying."""
    ranks, differences = (frame[frame["tail"] == tail] for frame in (seen.ranks, seen.differences))
    note = (
        "Forage in percentage points, places as a number. In the other simulations there was no difference, mostly "
        "because every place went empty."
    )
    return Section(
        tail.replace(" ", "-"),
        f"Where {TAIL_WORDS[tail]}",
        verdict(seen, tail),
        drawings=[_drawing(seen, tail)],
        tables=[
            table(f"Ranks, {tail}: by the mean of the last {LAST_YEARS} years", ranks, RANKS),
            table(f"The plan minus the others, simulation by simulation, {tail}", differences, DIFFERENCES, note),
        ],
    )


def _forage(seen: Outlook, tail: Tail) -> pd.DataFrame:
    d = seen.differences
    return d[(d["tail"] == tail) & (d["measure"] == Measure.FORAGE)]


def _drawing(seen: Outlook, tail: Tail) -> Drawing:
    rows = _forage(seen, tail)
    marks = [
        Mark(f"against {r['other']}", value, low, high, f"{value:+.2f}")
        for r in rows.to_dict("records")
        for value, low, high in [[100 * r[name] for name in ("difference", "low", "high")]]
    ]
    end = 1.05 * max(0.1, 100 * float(rows[["low", "high"]].abs().to_numpy(float).max(initial=0.0)))
    what = f"Forage in reach, the plan minus the others, in percentage points, where {TAIL_WORDS[tail]}"
    return Drawing(
        intervals(marks, what, (-end, end), line=0.0),
        "Forage in reach with the plan minus that with the others, percentage points: mean and 95 % interval over the "
        "simulations. Right of the line the plan did better.",
    )


def _signed(row: Row, column: str) -> str:
    """A difference with its sign: of forage in percentage points, of places as a number."""
    return f"{(100 if row['measure'] == Measure.FORAGE else 1) * row[column]:+.2f}"


def _pools(way: str) -> str:
    return f"pools {way}" if way in (Strategy.RANDOM, Strategy.EVEN, Strategy.HIGHEST) else way
