"""Pictures for slides and reports. They are made to be shown around, so they are drawn from blurred places only.

What each shows is recomputed for the public (`Result.public`): no exact garden, nothing that gives one away. Numbers of
suggestions are the public page's, which leaves those on private ground out.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from habitatmap.paper.maps import GAP, Sheet, disc, ground, swatch, theme, whole
from habitatmap.paper.typst_pdf import png
from habitatmap.privacy import may_be_placed
from habitatmap.result import Result

PNG_PX = 1600


def pictures(result: Result) -> dict[str, bytes]:
    """File name -> content: an SVG and a PNG of every main map the area has data for; none without a public result."""
    public = result.public
    if public is None:
        return {}
    made: dict[str, bytes] = {}
    for name, sheet in _sheets(public).items():
        svg = sheet.svg(TITLES[name], credits(public))
        made[f"{name}.svg"] = svg.encode("utf-8")
        made[f"{name}.png"] = png(svg, PNG_PX)
    return made


TITLES = {
    "ground": "Land cover, paths and boundary",
    "forage_season": "Forage of the season: open flowers, 0 to 1",
    "reach_now": "Chance that forage here is reached from a breeding place, today",
    "gaps": "Gaps: forage that no known breeding place is likely to reach",
    "plan": "Chance that forage here is reached with the plan, and its suggestions on public ground",
}


def plan_sheet(result: Result) -> Sheet:
    """The suggestions of a team's plan over plain ground: no pool and no surface that could give a garden away."""
    sheet = whole(result)
    ground(sheet, result, faint=True)
    mapped = result.plan[may_be_placed(result.plan)]
    for row in reversed(list(mapped.itertuples())):
        sheet.number(row.x, row.y, str(row.rank))
    sheet.key.append((disc("1"), "suggested pool, the most helpful first"))
    return sheet


def credits(result: Result) -> list[str]:
    """Where the ground's data come from, and when the picture stands for."""
    return [*result.credits, f"{result.title}, as of {result.figures.as_of}; drawn from blurred places"]


def _sheets(public: Any) -> dict[str, Sheet]:
    sheets: dict[str, Sheet] = {}
    if public.land_cover is not None:
        sheets["ground"] = whole(public)
        ground(sheets["ground"], public)
    for name in ("forage_season", "reach_now"):
        if np.isfinite(public.rasters[name]).any():
            sheets[name] = whole(public)
            theme(sheets[name], public, name)
    if len(public.gaps):
        sheet = sheets["gaps"] = whole(public)
        ground(sheet, public, faint=True)
        sheet.areas(
            public.gaps.geometry,
            f'fill="{GAP}" fill-opacity=".22" stroke="{GAP}" stroke-width="1.6" stroke-dasharray="5 3"',
        )
        sheet.key.append((swatch("#e2cddf"), "gap"))
    on_public_ground = public.plan[may_be_placed(public.plan)]
    if len(on_public_ground):
        sheet = sheets["plan"] = whole(public)
        theme(sheet, public, "reach_with_plan")
        # the most helpful last, so that it lies on top
        for number, row in reversed(list(enumerate(on_public_ground.itertuples(), start=1))):
            sheet.number(row.x, row.y, str(number))
        sheet.key.append((disc("1"), "suggested pool, the most helpful first"))
    return sheets
