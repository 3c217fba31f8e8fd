"""What changed between two seasons, as a page, tables and a few lines."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from habitatmap.changes.causes import Cause, Headline
from habitatmap.changes.comparison import SAME, Comparison, Side
from habitatmap.changes.pools import Change
from habitatmap.changes.sites import counts
from habitatmap.export.folder import Content, write_files
from habitatmap.export.formats import plain
from habitatmap.page.before_after import (
    Marked,
    Sign,
    frame_of,
    key_of_seasons,
    season_map,
    shades_told,
)
from habitatmap.page.sections import Column, Drawing, Fold, Layout, Row, Section, Table, report_page, table, terminal
from habitatmap.survey.codes import Trend
from habitatmap.vocabulary.estimate import Estimate
from habitatmap.vocabulary.terms import YesNo
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.changes import CAUSES, CHANGES, STATES, WHY, by_cause, points, pools_changed, sites_became
from habitatmap.words.numbers import count, known, number, percent, span
from habitatmap.words.sentences import Quantity, Sentence, as_it_is, following, say

KIND = "What changed"
FIGURES: Mapping[str, Sentence] = {
    "now": Sentence("Forage in reach now"),
    "with_plan": Sentence("Forage in reach with the plan"),
    "occupancy": Sentence("Estimated occupancy"),
}
ORDERS = ("forward", "backward")  # of causes: the stated order, and its reverse
COLUMNS_OF_CAUSES = ["figure", "cause", *ORDERS]
PRIVATE = "This page shows where pools stand, private ones too: it is for the team."


def write_comparison(
    told: Comparison, folder: str | Path, spoken: Catalogue = ENGLISH, semicolons: bool = False
) -> None:
    """Writes compare.html and .json, pools.csv, sites.csv, elsewhere.csv and causes.csv into `folder`, whole or not at
    all; the page in a language, `semicolons` as in `csv_text`."""
    files: dict[str, Content] = {
        "compare.html": comparison_page(told, spoken),
        "compare.json": account(told),
        "causes.csv": causes_table(told),
        "pools.csv": told.pools.assign(day=told.pools["day"].dt.strftime("%Y-%m-%d").fillna("")),
        "sites.csv": told.sites,
        "elsewhere.csv": told.elsewhere,
    }
    write_files(folder, files, "compare", semicolons)


# --- for machines ----------------------------------------------------------------------------------------------------


def account(told: Comparison) -> dict[str, object]:
    """What a machine may read: both seasons, every change, and the split of the headline by cause in both orders."""
    made: dict[str, object] = {
        "title": told.title,
        "nothing_changed": told.nothing,
        "old": _side(told.old),
        "new": _side(told.new),
        "pools": {str(change): n for change, n in _changes(told).items()},
        "visits": {"new": told.new_visits, "no_longer_listed": told.lost_visits},
        "sites": {str(state): n for state, n in counts(list(told.sites["state"])).items()},
        "set_out_elsewhere": len(told.elsewhere),
        "change": {name: _difference(told)[name] for name in FIGURES},
        "changed": list(map(str, told.changed)),
        "causes": causes_table(told).to_dict("records"),
        "method": told.method._asdict(),
    }
    return plain(made)  # type: ignore[no-any-return]


def causes_table(told: Comparison) -> pd.DataFrame:
    """figure, cause, forward, backward: what each cause adds (a share) in the stated order and in its reverse; and a
    row `all` for each figure, which is the whole change."""
    rows = []
    for figure in FIGURES:
        rows += [
            (figure, str(cause), getattr(told.forward.of(cause), figure), getattr(told.backward.of(cause), figure))
            for cause in told.changed
        ]
        rows.append((figure, str(Cause.METHOD), getattr(told.method, figure), getattr(told.method, figure)))
        whole = [getattr(one.whole, figure) + getattr(told.method, figure) for one in (told.forward, told.backward)]
        rows.append((figure, "all", *whole))
    return pd.DataFrame(rows, columns=COLUMNS_OF_CAUSES)


def _side(side: Side) -> dict[str, object]:
    figures = side.kept or side.figures
    return {
        "name": side.name,
        "as_of": side.as_of.isoformat(),
        "version": side.version,
        "same_program": side.same_program,
        "altered": list(side.altered),
        **figures._asdict(),
        "by_todays_method": side.figures._asdict(),
        "low": side.low,
        "high": side.high,
        "pools_standing": len(side.standing),
        **{f"occupancy_{name}": getattr(side.occupancy, name) for name in ("season", "low", "high")},
        **dataclasses.asdict(side.visits),
    }


def _told_figures(side: Side) -> Headline:
    """The figures of a season as they were told in their time."""
    return side.kept or side.figures


def _difference(told: Comparison) -> dict[str, float]:
    return _told_figures(told.new).less(_told_figures(told.old))._asdict()


def _changes(told: Comparison) -> dict[Change, int]:
    return {change: int((told.pools["change"] == change).sum()) for change in Change}


# --- in words --------------------------------------------------------------------------------------------------------


def comparison_text(told: Comparison, spoken: Catalogue = ENGLISH) -> str:
    """The comparison for the terminal."""
    return terminal(map(spoken.say, [_between(told), *_in_short(told), *_method_told(told)]))


def _between(told: Comparison) -> Sentence:
    return say(
        "{title}: from {old} ({old_day}) to {new} ({new_day}).",
        title=told.title,
        old=_called(told.old),
        old_day=told.old.as_of,
        new=_called(told.new),
        new_day=told.new.as_of,
    )


def _called(side: Side) -> Sentence:
    """A season by its name; today's area is today."""
    return as_it_is(side.name) if side.name else Sentence("today")


def _in_short(told: Comparison) -> list[Sentence]:
    """The whole story in a few sentences."""
    if told.nothing:
        return [Sentence("Nothing changed: no pool, visit, consent, land cover, layer or setting.")]
    lines = [pools_changed(_changes(told))]
    if told.new_visits:
        lines.append(say("New in the lists: {visits}.", visits=count(told.new_visits, "visit")))
    if told.lost_visits:
        visits = count(told.lost_visits, "visit")
        lines.append(say("No longer in the lists, or changed: {visits} of the earlier season.", visits=visits))
    if became := sites_became(counts(list(told.sites["state"]))):
        lines.append(became)
    return [*lines, *filter(None, (_why(told, figure) for figure in FIGURES))]


WENT: Mapping[str, tuple[str, str]] = {
    "now": (
        "Forage in reach went from {before} to {after} of the area's forage",
        "Forage in reach stayed at {after} of the area's forage",
    ),
    "with_plan": (
        "With each season's plan it went from {before} to {after}",
        "With each season's plan it stayed at {after}",
    ),
    "occupancy": (
        "Estimated occupancy went from {before} to {after}",
        "Estimated occupancy stayed at {after}",
    ),
}


def _why(told: Comparison, figure: str) -> Sentence:
    """How a figure went, and what each cause adds in percentage points; "" where it is not known in both seasons."""
    before, after = (getattr(_told_figures(side), figure) for side in (told.old, told.new))
    if not (known(before) and known(after)):
        return Sentence("")
    stayed = abs(after - before) <= SAME
    said = say(WENT[figure][stayed], before=percent(before, 1), after=percent(after, 1))
    parts = [(c, getattr(told.forward.of(c), figure), getattr(told.backward.of(c), figure)) for c in told.changed]
    method = getattr(told.method, figure)
    causes = by_cause([*parts, (Cause.METHOD, method, method)])
    if not causes:
        return say("{said}.", said=said)
    return say("{said} (in percentage points: {causes}).", said=said, causes=causes)


def _method_told(told: Comparison) -> list[Sentence]:
    """What another version means for what can be told."""
    lines = []
    for side in (told.old, told.new):
        if side.altered:
            changed = "{season} is not as it was kept: {files} changed since, the first {file}."
            files = count(len(side.altered), "file")
            lines.append(say(changed, season=_called(side), files=files, file=side.altered[0]))
        if side.same_program or side.kept is None:
            continue
        about = {"season": _called(side), "version": side.version}
        if all(not abs(part) > SAME for part in side.figures.less(side.kept)):
            same = (
                "{season} was mapped by habitatmap {version}, by another program or other libraries than today's; its "
                "figures come back the same."
            )
            lines.append(say(same, **about))
            continue
        other = (
            "{season} was mapped by habitatmap {version}, by another program or other libraries than today's. What was "
            "kept is read again by today's; the old program itself is not run again. So all that it did otherwise "
            "stands under method, by its result alone, first in both orders."
        )
        lines.append(say(other, **about))
    return lines


def comparison_page(told: Comparison, spoken: Catalogue = ENGLISH) -> str:
    """The page: the story, two maps, pools, the plan, visits and occupancy, causes, what can't be told."""
    sections = [_story(told)]
    if not told.nothing:
        sections += [_pools(told), *([_plan(told)] if len(told.sites) else []), _visits(told), _causes(told)]
    as_of = say("From {old} to {new}", old=told.old.as_of, new=told.new.as_of)
    return report_page(told.title, KIND, as_of, [*sections, _limits(told)], spoken, data_pictures=True)


def _story(told: Comparison) -> Section:
    return Section(
        "story",
        "In short",
        following(_between(told), *_in_short(told), by="\n"),
        words=_method_told(told),
        drawings=[] if told.nothing else [_maps(told)],
        cautions=[PRIVATE],
    )


def _maps(told: Comparison) -> Drawing:
    """The two seasons in one frame."""
    pools, sites = told.pools, told.sites
    moved = pools[pools["change"] == Change.MOVED].set_index("pool")
    lost, gained = (pools[pools["change"] == change] for change in (Change.LOST, Change.GAINED))
    before = [
        *_marked(Sign.SITE, sites.assign(pool=sites["id"])),
        *_marked(Sign.STAYS, told.old.standing[~told.old.standing["pool"].isin(set(lost["old_name"]))]),
        *_marked(Sign.LOST, lost.assign(pool=lost["old_name"], x=lost["old_x"], y=lost["old_y"])),
    ]
    fresh, went_off = set(gained["pool"]), set(moved.index)
    standing = told.new.standing
    after = [
        *_marked(Sign.SITE, sites[sites["pool"] == ""].assign(pool=sites["id"])),
        *_marked(Sign.STAYS, standing[~standing["pool"].isin(fresh | went_off)]),
        *_marked(Sign.GAINED, standing[standing["pool"].isin(fresh)]),
        *_marked(Sign.MOVED, standing[standing["pool"].isin(went_off)], moved),
    ]
    frame = frame_of([*before, *after], [told.old.grid, told.new.grid])
    pictures = [
        season_map(
            side.reach, side.grid, marks, frame, say("{season}: pools and what is in reach", season=_called(side))
        )
        for side, marks in ((told.old, before), (told.new, after))
    ]
    there = [sign for sign in Sign if any(mark.sign is sign for mark in (*before, *after))]
    caption = say(
        "First {old}, then {new}, in one frame. {shades}",
        old=_called(told.old),
        new=_called(told.new),
        shades=shades_told(),
    )
    return Drawing(pictures[0], caption, Layout.COLUMNS, lambda spoken: key_of_seasons(there, spoken), pictures[1:], 2)


def _marked(sign: Sign, places: pd.DataFrame, came_from: pd.DataFrame | None = None) -> list[Marked]:
    """A mark at each place; `came_from`: old_x, old_y by the name of the pool."""
    marks = []
    for name, x, y in places[["pool", "x", "y"]].dropna().to_numpy(object):
        old = None if came_from is None else came_from.loc[name, ["old_x", "old_y"]].to_numpy(float)
        marks.append(
            Marked(sign, str(name), float(x), float(y), None if old is None else (float(old[0]), float(old[1])))
        )
    return marks


POOLS: dict[str, Column] = {
    "Pool": "pool",
    "What": lambda r: CHANGES[r["change"]],
    "How it is known": lambda r: WHY[r["why"]],
    "Day": lambda r: "" if pd.isna(r["day"]) else r["day"].date(),
    "Earlier name": lambda r: "" if r["old_name"] == r["pool"] else r["old_name"],
    "Metres moved": lambda r: number(r["moved_m"]),
}


def _pools(told: Comparison) -> Section:
    note = (
        "A pool counts as moved where its two places are farther apart than they are uncertain together, and at least "
        "5 m (expert judgement). A pool has another name where the lists or readings.xlsx say so, or where it stands "
        "where one of another name stood and was not installed since."
    )
    return Section(
        "pools",
        "Pools",
        pools_changed(_changes(told)),
        words=[
            say("{n} stood, {m} stand.", n=count(len(told.old.standing), "pool"), m=Quantity(len(told.new.standing)))
        ],
        tables=[table("Pools that changed", told.pools, POOLS, note, Fold.NEVER)],
    )


SITES: dict[str, Column] = {
    "Site": "id",
    "Place": "place",
    "What became of it": lambda r: STATES[r["state"]],
    "Pool": "pool",
    "Metres off": lambda r: _off(r),
}
ELSEWHERE: dict[str, Column] = {
    "Pool": "pool",
    "Nearest site": "nearest_site",
    "Metres off": lambda r: number(r["off_m"]),
}


def _off(row: Row) -> Sentence:
    """How far a pool is from its site; on private land, whose site has no exact place, about."""
    off = number(row["off_m"])
    return say("about {metres}", metres=off) if off and row["private"] == YesNo.YES else off


def _plan(told: Comparison) -> Section:
    note = (
        "A pool belongs to the nearest site in whose zone it lies, or that is no farther off than half the spacing of "
        "the plan; each site has one pool. Asked, agreed, refused: as plan_status.xlsx or the list of land says today."
    )
    return Section(
        "plan",
        "The plan, carried out or not",
        sites_became(counts(list(told.sites["state"]))),
        tables=[
            table("The earlier plan, site by site", told.sites, SITES, note, Fold.NEVER),
            table("Pools installed at no suggested site", told.elsewhere, ELSEWHERE),
        ],
    )


def _visits(told: Comparison) -> Section:
    sides = (told.old, told.new)
    rows: list[tuple[object, ...]] = [
        (Sentence(what), *(number(getattr(side.visits, name)) for side in sides))
        for what, name in (
            ("Visits so far", "visits"),
            ("Searches", "searches"),
            ("Searches with larvae", "detections"),
        )
    ]
    rows.append((Sentence("Season of the estimate"), *(str(side.occupancy.season or "") for side in sides)))
    rows.append((Sentence("Estimated occupancy"), *(percent(side.occupancy.estimate) for side in sides)))
    rows.append((Sentence("95 % interval"), *(span(side.occupancy.low, side.occupancy.high) for side in sides)))
    then, now = (dict(zip(s.occupancy.seasons, s.occupancy.together, strict=True)) for s in sides)
    by_season = [{"season": str(season), "new": now[season], "old": then.get(season)} for season in now]
    seasons = table(
        "Occupancy season by season, from all seasons together",
        by_season,
        {
            "Season": "season",
            "As seen then": lambda r: _estimate(r["old"]),
            "As seen now": lambda r: _estimate(r["new"]),
        },
        "Later searches tell about earlier seasons too: a pool with larvae was seldom empty the year before.",
    )
    return Section(
        "visits",
        "Visits and occupancy",
        _trend(told),
        tables=[Table("Both seasons", ["What", _called(told.old), _called(told.new)], rows), seasons],
    )


def _estimate(one: Estimate | None) -> Sentence:
    return (
        Sentence("") if one is None else say("{share} ({span})", share=percent(one.value), span=span(one.low, one.high))
    )


TRENDS: Mapping[Trend, Sentence] = {
    Trend.ROSE: Sentence("Over all seasons occupancy rose (model of dynamic occupancy, 95 % interval above nothing)."),
    Trend.FELL: Sentence("Over all seasons occupancy fell (model of dynamic occupancy, 95 % interval below nothing)."),
    Trend.NO_CHANGE: Sentence("Over all seasons no change of occupancy is certain (model of dynamic occupancy)."),
    Trend.NOT_KNOWN: Sentence(
        "Whether occupancy changed is not known: that takes the same pools, searched alike in three seasons at least."
    ),
}


def _trend(told: Comparison) -> Sentence:
    return TRENDS[told.new.seasons.trend]


def _causes(told: Comparison) -> Section:
    causes = [*told.changed]
    if any(abs(part) > SAME for part in told.method if math.isfinite(part)):
        causes.append(Cause.METHOD)
    split = causes_table(told)
    tables = []
    for figure, what in FIGURES.items():
        known_of = split[split["figure"] == figure].drop(columns="figure").itertuples(index=False, name=None)
        of = {str(cause): tuple(map(float, parts)) for cause, *parts in known_of}
        if not any(map(known, of["all"])):
            continue
        lines = [*((CAUSES[cause], of[str(cause)]) for cause in causes), (Sentence("all together"), of["all"])]
        rows = [(cause, *(points(part, 2) for part in parts)) for cause, parts in lines]
        caption = say("{figure}: what each cause adds, in percentage points", figure=what)
        tables.append(Table(caption, ["Cause", "In this order", "In the reverse order"], rows, fold=Fold.NEVER))
    words: Sequence[str] = [
        "One input after another is taken from the new season in place of the old one, and everything up to the plan "
        "is calculated each time: first in the order of the tables, then in its reverse. What a cause adds depends on "
        "what changed before it, as a new pool adds less where another new one stands nearby. So there is no split "
        "that is the only right one; where the two columns agree, the order does not matter. Each column adds up to "
        "the whole change.",
        "A cause that is not in the tables did not change.",
    ]
    return Section(
        "causes",
        "Why the figures changed",
        _why(told, "now"),
        words=words,
        tables=tables,
    )


def _limits(told: Comparison) -> Section:
    return Section(
        "limits",
        "What this can't tell",
        "Why a pool was lost, and whether anything would have gone otherwise without the plan.",
        words=[
            "Both seasons are read by today's habitatmap, each with its own lists, layers and settings. Visits count "
            "up to the day of their season; a pool stands as its own season's lists say.",
            "Forage in reach is a model of flight over a map: a change of it is a change of what is likely in reach, "
            "not of what was seen.",
        ],
    )
