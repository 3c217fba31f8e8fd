"""Pictures for slides and reports. They are made to be shown around, so they are drawn from blurred places only.

What each shows is recomputed for the public (`Result.public`): no exact garden, nothing that gives one away. Numbers of
suggestions are the public page's, which leaves those on private land out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pandas as pd

from habitatmap.page.background import is_known
from habitatmap.paper.maps import GAP, Sheet, disc, ground, legend, lines, sign, swatch, theme, whole
from habitatmap.paper.typst_pdf import png
from habitatmap.privacy import may_be_placed
from habitatmap.result import Result
from habitatmap.sentences import exact
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.sentences import say

PNG_PX = 1600
SHEET_HIGH = 420.0  # units; as much as a page of the report has room for
MOST_GAPS = 500  # those with most forage; more can't be told apart on a sheet
STANDING = ("circle", "#0e5a72", 3.5)


def pictures(result: Result, spoken: Catalogue = ENGLISH) -> Iterator[tuple[str, bytes]]:
    """File names and contents: an SVG and a PNG of every main map the area has data for, in a language; none without a
    public result."""
    public = result.public
    if public is None:
        return
    for name, sheet in _sheets(public).items():
        svg = sheet.svg(TITLES[name], credits(public), spoken)
        yield f"{name}.svg", svg.encode("utf-8")
        yield f"{name}.png", png(svg, PNG_PX)


TITLES = {
    "ground": "Land cover, paths and boundary",
    "forage_season": "Forage of the season: open flowers, 0 to 1",
    "reach_now": "Probability that forage here is reached from a breeding place, today",
    "gaps": "Gaps: forage that no known breeding place is likely to reach",
    "plan": "Probability that forage here is reached with the plan, and its suggestions on public land",
}


def plan_sheet(result: Result) -> Sheet:
    """A team's plan: its suggestions and standing pools on public land over plain ground; no garden is given away."""
    sheet = whole(result)
    sheet.width *= min(1.0, SHEET_HIGH / sheet.height)  # writing on a tall sheet is as large as on a wide one
    ground(sheet, result, faint=True)
    pools = result.pools[(result.pools["standing"] == "yes") & may_be_placed(result.pools)]
    for x, y in pools[["x", "y"]].to_numpy(dtype=float):
        sheet.mark(x, y, *STANDING)
    mapped = result.plan[may_be_placed(result.plan)]
    _numbers(sheet, mapped, mapped["id"].astype(str).tolist())
    sheet.key += [(sign(*STANDING), "standing pool")] if len(pools) else []
    sheet.key += legend(result)
    return sheet


def _numbers(sheet: Sheet, plan: pd.DataFrame, numbers: Sequence[str]) -> None:
    """Suggestions by their numbers; the most helpful lies on top."""
    sheet.numbers(plan[["x", "y"]].to_numpy(dtype=float), numbers)
    if len(plan):
        sheet.key.append((disc(numbers[0]), "suggested site"))


def credits(result: Result) -> list[str]:
    """Where the ground's data come from, and when the picture stands for."""
    drawn = "{title}, as of {day}; drawn from blurred places"
    return [*result.credits, say(drawn, title=result.title, day=result.figures.as_of)]


def _sheets(public: Result) -> dict[str, Sheet]:
    sheets: dict[str, Sheet] = {}
    ways = lines(whole(public), public)
    if public.land_cover is not None:
        sheets["ground"] = whole(public)
        ground(sheets["ground"], public, ways=ways)
    for name in ("forage_season", "reach_now"):
        if is_known(public.rasters[name]):
            sheets[name] = whole(public)
            theme(sheets[name], public, name, ways)
    if len(public.gaps):
        sheet = sheets["gaps"] = whole(public)
        ground(sheet, public, faint=True, ways=ways)
        sheet.areas(
            public.gaps.geometry.head(MOST_GAPS),
            f'fill="{GAP}" fill-opacity=".22" stroke="{GAP}" stroke-width="1.6" stroke-dasharray="5 3"',
        )
        some = say("gap: the {n} with most forage, of {all}", n=exact(MOST_GAPS), all=exact(len(public.gaps)))
        sheet.key.append((swatch("#e2cddf"), some if len(public.gaps) > MOST_GAPS else "gap"))
    on_public_land = public.plan[may_be_placed(public.plan)]
    if len(on_public_land):
        sheet = sheets["plan"] = whole(public)
        theme(sheet, public, "reach_with_plan", ways)
        _numbers(sheet, on_public_land, on_public_land["id"].tolist())
    return sheets
