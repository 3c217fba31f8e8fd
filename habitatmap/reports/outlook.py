"""The outlook as a page, tables and a few lines: which way of choosing came first, by how much; never a forecast."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from habitatmap.export.folder import Content, write_files
from habitatmap.network.turnover import Ranges
from habitatmap.page.drawings import Series, chart, key_of_chart
from habitatmap.page.sections import (
    Column,
    Drawing,
    Fold,
    Layout,
    Row,
    Section,
    Table,
    report_page,
    table,
    terminal,
)
from habitatmap.plan.outlook import (
    FIRST_YEARS,
    PLANNED_YEARS,
    SHARES,
    Installing,
    Measure,
    Outlook,
    Strategy,
    Window,
    gains,
    staging_ratios,
    standings,
    years_of,
)
from habitatmap.plan.simulated_years import Tail
from habitatmap.words.numbers import count, number, percent, sentence
from habitatmap.words.plan import FLIGHT, NO_FORECAST, POOLS, order_of_installing, where_the_plan_wins

KIND = "Outlook: ways to choose, compared"
WAYS = {
    Strategy.NONE: "no pool is installed",
    Strategy.PLAN: "the sites of plan.csv",
    Strategy.RANDOM: "twenty random selections of allowed sites, one for each simulation in turn",
    Strategy.EVEN: "each site as far as can be from every breeding place and from the sites before it",
    Strategy.HIGHEST: "the sites whose mean of forage score and dead-wood score is highest",
}
SHORT = {
    Strategy.PLAN: "the plan",
    Strategy.RANDOM: "at random",
    Strategy.EVEN: "evenly spread",
    Strategy.HIGHEST: "highest scores",
}
INSTALLING = {
    Installing.AT_ONCE: "all at once",
    Installing.STAGED: "two a year, in the plan's order",
    Installing.CONNECTED: "two a year, best connected first",
}

NOBODY_TODAY = (
    "No breeding place of this area is known to be occupied today. So flies come from unmapped places, or nobody "
    "comes: how large their share is makes no difference."
)


def write_outlook(seen: Outlook, title: str, as_of: str, folder: str | Path) -> None:
    """Writes outlook.html and .json, ranks.csv, differences.csv, years.csv and, for plans that can be staged,
    staging.csv into `folder`, whole or not at all."""
    files: dict[str, Content] = {
        "ranks.csv": seen.ranks,
        "differences.csv": seen.differences,
        "years.csv": seen.by_year,
        "outlook.json": account(seen, title, as_of),
        "outlook.html": outlook_page(seen, title, as_of),
    }
    write_files(folder, files if seen.staging.empty else {**files, "staging.csv": seen.staging})


def write_nothing(why: str, title: str, as_of: str, folder: str | Path) -> None:
    """The same folder where there is nothing to compare: a page and a JSON that say why."""
    empty = {"title": title, "as_of": as_of, "note": why, "ranks": [], "differences": []}
    part = Section("what", "Nothing to compare", f"{sentence(why)}.", cautions=[NO_FORECAST])
    write_files(folder, {"outlook.json": empty, "outlook.html": report_page(title, KIND, f"As of {as_of}", [part])})


def account(seen: Outlook, title: str, as_of: str) -> dict[str, object]:
    """What a machine may read: how it was simulated, the ranks and paired differences, how the plan stands against
    rules of thumb, and what the order of installing does."""
    ranges = {name: list(ends) for name, ends in Ranges()._asdict().items() if name != "unmapped"}
    stands = pd.concat([standings(seen, tail).assign(tail=tail) for tail in Tail])
    return {
        "title": title,
        "as_of": as_of,
        "years": seen.years,
        "simulations": seen.simulations,
        "basis": {"drawn between": ranges, "unmapped": list(SHARES), "basis": "expert judgement"},
        "windows": {window: list(years_of(window, seen.years)) for window in Window},
        "note": NO_FORECAST,
        "standings": stands.to_dict("records"),
        "ranks": seen.ranks.to_dict("records"),
        "differences": seen.differences.to_dict("records"),
        "staging": seen.staging.to_dict("records"),
    }


def outlook_text(seen: Outlook) -> str:
    """The outlook for the terminal."""
    head = f"{count(seen.simulations, 'simulation')} of {count(seen.years, 'year')} for each way of flying."
    staged = order_of_installing(staging_ratios(seen.staging))
    return terminal([head, *(verdict(seen, tail) for tail in Tail), *([staged] if staged else []), NO_FORECAST])


def verdict(seen: Outlook, tail: Tail) -> str:
    """How the plan stands under one way of flying, and what it gains."""
    stands = standings(seen, tail)
    low, high = (number(100 * end, 1) for end in (stands["gain"].min(), stands["gain"].max()))
    much = f"{low} to {high}" if low != high else low
    return (
        f"{where_the_plan_wins(stands, tail)} The plan's own gain over no new pools is {much} percentage points of "
        "forage in reach."
    )


def outlook_page(seen: Outlook, title: str, as_of: str) -> str:
    """The page: which way wins where, the order of installing, what was simulated, the figures, what it can't tell."""
    staging = [] if seen.staging.empty else [_staging(seen)]
    figures = [_in_figures(seen, tail) for tail in Tail]
    return report_page(title, KIND, f"As of {as_of}", [_which(seen), *staging, _what(seen), *figures, LIMITS])


def _what(seen: Outlook) -> Section:
    return Section(
        "what",
        "How it was simulated",
        "Would the plan still be the better one if flight and life are not as the planner assumed?",
        words=[
            f"In each of {count(seen.simulations, 'simulation')} every breeding place is occupied or empty, for "
            f"{count(seen.years, 'year')}. Empty places are found by arriving flies, occupied ones are lost, and "
            "arrivals save some of them (stochastic patch occupancy, Hanski 1994). As many pools as the plan suggests "
            "are placed by other rules as well, and all live through the same simulations with the same luck.",
            "Each simulation draws how fast places are lost and how much longer good ones last (expert judgement). How "
            "easily a place is found is set so that it fits the survey: pools that were empty when they were installed "
            "are by today as often occupied as the searches say, and trees neither gain nor lose.",
            "Nobody can say how many of the flies come from places that are on no map: other people's gardens, trees "
            f"nobody has recorded. So the simulations are dealt over shares from none to {percent(max(SHARES))}. "
            "Flight is not the planner's: it has a fat or a thin tail, about the same median distance.",
        ],
        tables=[Table("The ways to choose", ["Way", "What it does"], list(WAYS.items()))],
    )


def _which(seen: Outlook) -> Section:
    first, last = years_of(Window.PLANNED, seen.years)
    pictures = [_drawing(seen, tail) for tail in Tail]
    caption = (
        "Forage in reach gained over no new pools, in percentage points, mean of years "
        f"{first} to {last}. At the left end of each picture all flies come from mapped places, at the right end "
        "nearly all come from places nobody mapped."
    )
    ways = [way for way in SHORT if way in gains(seen, Tail.FAT, Window.PLANNED)]
    key = key_of_chart([SHORT[way] for way in ways])
    return Section(
        "which",
        "Which way wins where",
        "\n".join(verdict(seen, tail) for tail in Tail),
        drawings=[Drawing(pictures[0], caption, Layout.COLUMNS, key, pictures[1:], len(pictures))],
        words=[
            "The plan counts as the better one where its gain is at least 5 % above that of the best other rule and "
            "the difference is clear. If you care for a species that seldom flies far from its trees, read the left "
            "end of each picture; for common species that turn up everywhere, read the right end.",
            "" if _any_today(seen) else NOBODY_TODAY,
        ],
        cautions=[NO_FORECAST],
    )


def _any_today(seen: Outlook) -> bool:
    """Whether any place is occupied at the start."""
    return bool((seen.by_year.loc[seen.by_year["year"] == 0, "occupied_places"] > 0).any())


LIMITS = Section(
    "limits",
    "What this can't tell",
    "How many pools will hold larvae in any year.",
    words=[
        "Pools are taken to be kept up in every year, and trees to stay. Flies from unmapped places are taken to "
        "arrive everywhere alike; in truth more of them arrive near a wood or a valley full of old trees.",
        "Where the plan is not first, its pools stand where fewer flies come by: they close gaps, and gaps are found "
        "later. If that matters more to you than the forage served, install some pools nearer to occupied ones first.",
    ],
)

RANKS: dict[str, Column] = {
    "Way": "strategy",
    "Rank": "rank",
    "Forage in reach, %": lambda r: number(100 * r["forage_in_reach"], 1),
    "Occupied places": lambda r: f"{r['occupied_places']:.1f}",
    "First in, % of simulations": lambda r: number(100 * r["first_share"]),
}
DIFFERENCES: dict[str, Column] = {
    "Arrivals from unmapped places": lambda r: percent(r["unmapped"]),
    "Against": lambda r: POOLS[r["other"]],
    "Measure": "measure",
    "Difference": lambda r: _signed(r, "difference"),
    "95 % interval": lambda r: f"{_signed(r, 'low')} to {_signed(r, 'high')}",
    "Better in, % of simulations": lambda r: number(100 * r["better_share"]),
    "Worse in, % of simulations": lambda r: number(100 * r["worse_share"]),
}


def _in_figures(seen: Outlook, tail: Tail) -> Section:
    """The figures under one way of flying."""
    (first, last), late = (years_of(window, seen.years) for window in Window)
    later = _gained(f"Forage gained, years {late[0]} to {late[1]}, {tail}", gains(seen, tail, Window.LAST))
    ranks, differences = (
        frame[(frame["tail"] == tail) & (frame["window"] == Window.PLANNED)] for frame in (seen.ranks, seen.differences)
    )
    note = (
        "Forage in percentage points, places as a number. In the other simulations there was no difference, mostly "
        "because every place went empty, or because all were full."
    )
    at = f"years {first} to {last}, {tail}"
    return Section(
        tail.replace(" ", "-"),
        f"In figures: where {FLIGHT[tail]}",
        "Gains are in percentage points of the forage in reach, over no new pools.",
        tables=[
            _gained(f"Forage gained, {at}", gains(seen, tail, Window.PLANNED)),
            *([later] if late[1] > last else []),
            table(f"Ranks, {at}: all shares together", ranks[ranks["unmapped"].isna()], RANKS),
            table(
                f"The plan minus the others, simulation by simulation, {at}",
                differences[differences["unmapped"].notna()],
                DIFFERENCES,
                note,
                Fold.ALWAYS,
            ),
        ],
    )


def _gained(caption: str, gained: pd.DataFrame) -> Table:
    """A row for each share of arrivals from unmapped places, a column for each way to choose."""
    ways = [way for way in SHORT if way in gained]
    rows = [
        (percent(share), *(f"{100 * gain:+.1f}" for gain in row)) for share, *row in gained[ways].itertuples(name=None)
    ]
    return Table(caption, ["From unmapped places", *(sentence(SHORT[way]) for way in ways)], rows)


def _staging(seen: Outlook) -> Section:
    """What the order of installing does, both ways of flying taken together."""
    mean = seen.staging.groupby(["unmapped", "installing", "last_year"])["gain"].mean()
    rows = [
        (
            f"{percent(share)}: {words}",
            *(f"{100 * mean[share, way, last]:+.1f}" for last in (FIRST_YEARS, PLANNED_YEARS)),
        )
        for share in mean.index.unique("unmapped")
        for way, words in INSTALLING.items()
    ]
    heads = ["From unmapped places: order", f"Years 1 to {FIRST_YEARS}", f"Years 1 to {PLANNED_YEARS}"]
    return Section(
        "order",
        "In which order to install",
        order_of_installing(staging_ratios(seen.staging)) or "No order of installing gains anything.",
        words=[
            "Best connected first means nearest to places that are likely occupied today, by the flight that the "
            "planner assumes. In all orders the same sites are installed in the end."
        ],
        tables=[
            Table(
                "Forage in reach gained over no new pools, percentage points, mean of both ways of flying",
                heads,
                rows,
                fold=Fold.NEVER,
            )
        ],
    )


def _drawing(seen: Outlook, tail: Tail) -> str:
    gained = 100 * gains(seen, tail, Window.PLANNED)
    ways = [way for way in SHORT if way in gained]
    what = (
        "Percentage points of forage in reach gained over no new pools, by the share of arrivals from unmapped places, "
        f"where {FLIGHT[tail]}. The figures stand in a table below."
    )
    series = [Series(SHORT[way], gained[way].tolist()) for way in ways]
    shares: Sequence[float] = gained.index.tolist()
    ticks = [f"{100 * share:.0f}" for share in shares]
    return chart(shares, ticks, series, (sentence(FLIGHT[tail]), "% of arrivals from unmapped places"), what)


def _signed(row: Row, column: str) -> str:
    """A difference with its sign: of forage in percentage points, of places as a number."""
    return f"{(100 if row['measure'] == Measure.FORAGE else 1) * row[column]:+.2f}"
