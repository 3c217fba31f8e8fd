"""The outlook as a page, tables and a few lines: which way of choosing came first, by how much; never a forecast."""

from __future__ import annotations

import datetime
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
    Picture,
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
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import count, number, number_span, percent, sentence
from habitatmap.words.plan import FLIGHT, NO_FORECAST, POOLS, order_of_installing, where_the_plan_wins
from habitatmap.words.sentences import Quantity, Sentence, apart, say

KIND = "Outlook: ways to choose, compared"
WAYS = {
    Strategy.NONE: Sentence("no pool is installed"),
    Strategy.PLAN: Sentence("the sites of plan.csv"),
    Strategy.RANDOM: Sentence("twenty random selections of allowed sites, one for each simulation in turn"),
    Strategy.EVEN: Sentence("each site as far as can be from every breeding place and from the sites before it"),
    Strategy.HIGHEST: Sentence("the sites whose mean of forage score and dead-wood score is highest"),
}
SHORT = {
    Strategy.PLAN: Sentence("the plan"),
    Strategy.RANDOM: Sentence("at random"),
    Strategy.EVEN: Sentence("evenly spread"),
    Strategy.HIGHEST: Sentence("highest scores"),
}
INSTALLING = {
    Installing.AT_ONCE: Sentence("all at once"),
    Installing.STAGED: Sentence("two a year, in the plan's order"),
    Installing.CONNECTED: Sentence("two a year, best connected first"),
}

NOBODY_TODAY = (
    "No breeding place of this area is known to be occupied today. So flies come from unmapped places, or nobody "
    "comes: how large their share is makes no difference."
)


def write_outlook(
    seen: Outlook,
    title: str,
    as_of: datetime.date,
    folder: str | Path,
    spoken: Catalogue = ENGLISH,
    semicolons: bool = False,
) -> None:
    """Writes outlook.html and .json, ranks.csv, differences.csv, years.csv and, for plans that can be staged,
    staging.csv into `folder`, whole or not at all; the page in a language, `semicolons` as in `csv_text`."""
    files: dict[str, Content] = {
        "ranks.csv": seen.ranks,
        "differences.csv": seen.differences,
        "years.csv": seen.by_year,
        "outlook.json": account(seen, title, as_of),
        "outlook.html": outlook_page(seen, title, as_of, spoken),
    }
    staged: dict[str, Content] = {} if seen.staging.empty else {"staging.csv": seen.staging}
    write_files(folder, files | staged, "outlook", semicolons)


def write_nothing(
    why: Sentence, title: str, as_of: datetime.date, folder: str | Path, spoken: Catalogue = ENGLISH
) -> None:
    """The same folder where there is nothing to compare: a page and a JSON that say why."""
    empty = {"title": title, "as_of": as_of, "note": why, "ranks": [], "differences": []}
    part = Section("what", "Nothing to compare", say("{why}.", why=sentence(why)), cautions=[NO_FORECAST])
    page = report_page(title, KIND, say("As of {day}", day=as_of), [part], spoken)
    write_files(folder, {"outlook.json": empty, "outlook.html": page}, "outlook")


def account(seen: Outlook, title: str, as_of: datetime.date) -> dict[str, object]:
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


def outlook_text(seen: Outlook, spoken: Catalogue = ENGLISH) -> str:
    """The outlook for the terminal."""
    head = say(
        "{simulations} of {years} for each way of flying.",
        simulations=count(seen.simulations, "simulation"),
        years=count(seen.years, "year"),
    )
    staged = order_of_installing(staging_ratios(seen.staging))
    return terminal(map(spoken.say, [head, *(verdict(seen, tail) for tail in Tail), staged or "", NO_FORECAST]))


def verdict(seen: Outlook, tail: Tail) -> Sentence:
    """How the plan stands under one way of flying, and what it gains."""
    stands = standings(seen, tail)
    return say(
        "{stands} The plan's own gain over no new pools is {much} percentage points of forage in reach.",
        stands=where_the_plan_wins(stands, tail),
        much=number_span(100 * stands["gain"].min(), 100 * stands["gain"].max(), 1),
    )


def outlook_page(seen: Outlook, title: str, as_of: datetime.date, spoken: Catalogue = ENGLISH) -> str:
    """The page: which way wins where, the order of installing, what was simulated, the figures, what it can't tell."""
    staging = [] if seen.staging.empty else [_staging(seen)]
    sections = [_which(seen), *staging, _what(seen), *(_in_figures(seen, tail) for tail in Tail), LIMITS]
    return report_page(title, KIND, say("As of {day}", day=as_of), sections, spoken)


def _what(seen: Outlook) -> Section:
    return Section(
        "what",
        "How it was simulated",
        "Would the plan still be the better one if flight and life are not as the planner assumed?",
        words=[
            say(
                "In each of {simulations} every breeding place is occupied or empty, for {years}. Empty places are "
                "found by arriving flies, occupied ones are lost, and arrivals save some of them (stochastic patch "
                "occupancy, Hanski 1994). As many pools as the plan suggests are placed by other rules as well, and "
                "all live through the same simulations with the same luck.",
                simulations=count(seen.simulations, "simulation"),
                years=count(seen.years, "year"),
            ),
            "Each simulation draws how fast places are lost and how much longer good ones last (expert judgement). How "
            "easily a place is found is set so that it fits the survey: pools that were empty when they were installed "
            "are by today as often occupied as the searches say, and trees neither gain nor lose.",
            say(
                "Nobody can say how many of the flies come from places that are on no map: other people's gardens, "
                "trees nobody has recorded. So the simulations are dealt over shares from none to {share}. Flight is "
                "not the planner's: it has a fat or a thin tail, about the same median distance.",
                share=percent(max(SHARES)),
            ),
        ],
        tables=[Table("The ways to choose", ["Way to choose", "What it does"], list(WAYS.items()))],
    )


def _which(seen: Outlook) -> Section:
    first, last = years_of(Window.PLANNED, seen.years)
    caption = say(
        "Forage in reach gained over no new pools, in percentage points, mean of years {first} to {last}. At the left "
        "end of each picture all flies come from mapped places, at the right end nearly all come from places nobody "
        "mapped.",
        first=first,
        last=last,
    )
    pictures = [_drawing(seen, tail) for tail in Tail]
    ways = [SHORT[way] for way in SHORT if way in gains(seen, Tail.FAT, Window.PLANNED)]
    return Section(
        "which",
        "Which way wins where",
        apart([verdict(seen, tail) for tail in Tail], "\n"),
        drawings=[
            Drawing(
                pictures[0],
                caption,
                Layout.COLUMNS,
                lambda spoken: key_of_chart(ways, spoken),
                pictures[1:],
                len(pictures),
            )
        ],
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
        "It is assumed that pools are kept up in every year, that trees stay, and that flies from unmapped places "
        "arrive everywhere alike. In truth more of them arrive near a wood or a valley full of old trees.",
        "Where the plan is not first, its pools stand where fewer flies come by: they close gaps, and gaps are found "
        "later. If that matters more to you than the forage served, install some pools nearer to occupied ones first.",
    ],
)


def _said(column: str) -> Column:
    """A column of codes, which a frame holds as texts."""
    return lambda row: Sentence(row[column])


RANKS: dict[str, Column] = {
    "Way to choose": _said("strategy"),
    "Rank": "rank",
    "Forage in reach, %": lambda r: number(100 * r["forage_in_reach"], 1),
    "Occupied places": lambda r: number(r["occupied_places"], 1),
    "First in, % of simulations": lambda r: number(100 * r["first_share"]),
}
DIFFERENCES: dict[str, Column] = {
    "Arrivals from unmapped places": lambda r: percent(r["unmapped"]),
    "Against": lambda r: Sentence(POOLS[r["other"]]),
    "Measure": _said("measure"),
    "Difference": lambda r: Quantity(_in_print(r, "difference"), 2, signed=True),
    "95 % interval": lambda r: number_span(_in_print(r, "low"), _in_print(r, "high"), 2, signed=True),
    "Better in, % of simulations": lambda r: number(100 * r["better_share"]),
    "Worse in, % of simulations": lambda r: number(100 * r["worse_share"]),
}


def _in_figures(seen: Outlook, tail: Tail) -> Section:
    """The figures under one way of flying."""
    planned, late = (years_of(window, seen.years) for window in Window)
    ranks, differences = (
        frame[(frame["tail"] == tail) & (frame["window"] == Window.PLANNED)] for frame in (seen.ranks, seen.differences)
    )
    note = (
        "Forage in percentage points, places as a number. In the other simulations there was no difference, mostly "
        "because every place went empty, or because all were full."
    )

    def about(caption: str, years: tuple[int, int] = planned) -> Sentence:
        return say(caption, first=years[0], last=years[1], flight=FLIGHT[tail])

    gained = "Forage gained in years {first} to {last}, {flight}"
    return Section(
        tail.replace(" ", "-"),
        say("In figures: {flight}", flight=FLIGHT[tail]),
        "Gains are in percentage points of the forage in reach, over no new pools.",
        tables=[
            _gained(about(gained), gains(seen, tail, Window.PLANNED)),
            *([_gained(about(gained, late), gains(seen, tail, Window.LAST))] if late[1] > planned[1] else []),
            table(
                about("Ranks in years {first} to {last}, {flight}: all shares together"),
                ranks[ranks["unmapped"].isna()],
                RANKS,
            ),
            table(
                about("The plan minus the others, simulation by simulation, in years {first} to {last}, {flight}"),
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
    rows = [(percent(share), *map(_points, row)) for share, *row in gained[ways].itertuples(name=None)]
    return Table(caption, ["From unmapped places", *(sentence(SHORT[way]) for way in ways)], rows)


def _staging(seen: Outlook) -> Section:
    """What the order of installing does, both ways of flying taken together."""
    mean = seen.staging.groupby(["unmapped", "installing", "last_year"])["gain"].mean()
    lasts = (FIRST_YEARS, PLANNED_YEARS)
    rows = [
        (say("{share}: {order}", share=percent(share), order=order), *(_points(mean[share, way, n]) for n in lasts))
        for share in mean.index.unique("unmapped")
        for way, order in INSTALLING.items()
    ]
    heads = ["From unmapped places: order", *(say("Years {first} to {last}", first=1, last=last) for last in lasts)]
    caption = "Forage in reach gained over no new pools, percentage points, mean of both ways of flying"
    return Section(
        "order",
        "In which order to install",
        order_of_installing(staging_ratios(seen.staging)) or "No order of installing gains anything.",
        words=[
            "Best connected first means nearest to places that are likely occupied today, by the flight that the "
            "planner assumes. In all orders the same sites are installed in the end."
        ],
        tables=[Table(caption, heads, rows, fold=Fold.NEVER)],
    )


def _drawing(seen: Outlook, tail: Tail) -> Picture:
    gained = 100 * gains(seen, tail, Window.PLANNED)
    what = say(
        "Percentage points of forage in reach gained over no new pools, by the share of arrivals from unmapped places, "
        "{flight}. The figures stand in a table below.",
        flight=FLIGHT[tail],
    )
    series = [Series(SHORT[way], gained[way].tolist()) for way in SHORT if way in gained]
    shares: Sequence[float] = gained.index.tolist()
    ticks = [f"{100 * share:.0f}" for share in shares]
    titles = sentence(FLIGHT[tail]), "% of arrivals from unmapped places"
    return lambda spoken: chart(shares, ticks, series, titles, what, spoken)


def _points(gain: float) -> Quantity:
    """A gain in percentage points with its sign."""
    return Quantity(100 * gain, 1, signed=True)


def _in_print(row: Row, column: str) -> float:
    """A difference as it is printed: of forage in percentage points, of places as a number."""
    return float((100 if row["measure"] == Measure.FORAGE else 1) * row[column])
