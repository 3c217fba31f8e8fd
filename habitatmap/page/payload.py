"""A Result as the data of a page, block by block; how values are written is said in `coding`."""

from __future__ import annotations

import base64
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import STRtree, intersection, length, simplify

from habitatmap.geo.crs import WGS84, transformer
from habitatmap.page.around import COLOURS, Around, around_sites
from habitatmap.page.background import background_blocks
from habitatmap.page.coding import Writer, coded, coded_sentences, number, scaled, sentence, text, texts
from habitatmap.page.document import shown
from habitatmap.page.drawings import Level, rising
from habitatmap.page.pictures import WebMap, whole_map
from habitatmap.page.tornado import tornado_svg, tornado_words
from habitatmap.privacy import FEWEST_PRIVATE, counts_by_square, may_be_placed, square_around
from habitatmap.read.plan_status import sites_in
from habitatmap.read.settings import Settings
from habitatmap.result import Figures, Result
from habitatmap.vocabulary import themes
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Objective, SiteState
from habitatmap.vocabulary.where import said_kind
from habitatmap.words.bases import pool_bases
from habitatmap.words.cautions import consent, for_site, general_cautions, sentences
from habitatmap.words.changes import since_told
from habitatmap.words.gaps import gap_cause, lost
from habitatmap.words.headline import missing_sentences, ranges
from habitatmap.words.how_many import READING, enough
from habitatmap.words.inputs import what_matters
from habitatmap.words.land_cover import cover_doubts, kinds_of_land
from habitatmap.words.names import KIND_NAMES
from habitatmap.words.no_visit import told_no_visits
from habitatmap.words.plan import notes_of
from habitatmap.words.reasons import doubt, reason
from habitatmap.words.sentences import Sentence, following
from habitatmap.words.served import (
    against_rules,
    digits_of,
    likely_served,
    limit,
    order_of_installing,
    second_pool_at_a_site,
    up_to_number,
)
from habitatmap.words.sites import in_hand, refusals_told, state_told
from habitatmap.words.tables import rows_of
from habitatmap.words.where import told_place

MOST_STREETS = 5  # named with a gap
MOST_GAPS = 500  # drawn and listed, those with most forage; nobody looks through more, and gaps.geojson has them all
MOST_REASONS = 40  # lines of what was set aside; set_aside.csv has them all
NOT_STANDING = "not standing"  # the flag of a pool that was taken away or is not yet out

Block = dict[str, Any]


def team_blocks(result: Result) -> Block:
    """Data of the team's page by block name."""
    writer, web = Writer(result.crs), whole_map(result.grid, result.crs)
    return {
        "facts": _facts(result, web, public=False) | _facts_for_the_team(result, writer),
        "plan": _plan(result, writer),
        "around": _around(result, writer),
        "gaps": _gaps(result, writer),
        "pools": _pools(result, writer),
        "photos": _photos(result),
        "land": _land(result, writer),
        "links": _links(result, writer),
        "trees": _trees(result, writer),
        "all-trees": _all_trees(result, writer),
        "keep-away": _exclusion_zones(result, writer),
        **background_blocks(result, writer, web, public=False),
    }


def public_blocks(result: Result, public: Result) -> Block:
    """Data of the public page by block name. Everything but the title comes from the blurred `public`."""
    writer, web = Writer(public.crs), whole_map(public.grid, public.crs)
    return {
        "facts": _facts(public, web, public=True) | {"title": shown(result.title)},
        "plan": _plan_for_everyone(public, writer),
        "around": [_around_one(one) for one in around_sites(public, writer, public=True)],
        "gaps": _gaps(public, writer),
        "cells": _blur_squares(public, writer),
        **background_blocks(public, writer, web, public=True),
    }


# --- figures ----------------------------------------------------------------------------------------------------------


def _facts(result: Result, web: WebMap, public: bool) -> Block:
    """The figures that every reader gets, and the sentences that the page says of them."""
    figures, settings = result.figures, result.settings
    return {
        "public": public,
        "title": shown(result.title),
        "as_of": figures.as_of.isoformat(),
        "crs": shown(figures.crs),
        "blur_m": number(settings.public.blur_m),
        "fewest": FEWEST_PRIVATE,
        "flight": [number(settings.flight.forage_median_m), number(settings.flight.dispersal_median_m)],
        "bounds": _bounds(result, web),
        "reach": {key: number(value) for key, value in asdict(figures.forage_in_reach).items()},
        "by_flight": _by_flight(figures, settings),
        "brought_colours": [colour for colour in COLOURS if colour],
        "plan_pools": figures.plan.pools,
        "gaps": len(result.gaps),
        "share_of_bound": number(figures.plan.share_of_bound),
        "for_reach": figures.plan.objective == Objective.REACH,
        "years": figures.served.years,
        "served": _served(figures, public),
        "ranges": [sentence(said) for said in ranges(figures, figures.plan.pools > 0)],
        "ground": sentence(kinds) if (kinds := kinds_of_land(figures.dominant)) else None,
        "ground_doubts": [
            sentence(one) for one in cover_doubts(figures.land_cover.doubts if figures.land_cover else ())
        ],
        "figures": [] if public else _plan_figures(result),
        "cautions": texts(general_cautions(settings, public)),
        "credits": texts(result.credits),
        "outcomes": [[outcome or "", asdict(mark)] for outcome, mark in themes.OUTCOME_MARKS.items()],
        "styles": {name: asdict(style) for name, style in themes.STYLES.items()},
        "tree": asdict(themes.TREE_MARK),
        "dot": asdict(themes.DOT),
        "strong_link": themes.STRONG_LINK,
        "not_standing": NOT_STANDING,
    }


def _bounds(result: Result, web: WebMap) -> list[list[float]]:
    """[[south, west], [north, east]] in degrees of what a map shows first: the area, else all the data there is."""
    if result.boundary is None:
        return web.bounds
    of_area = zip(result.boundary.bounds, result.grid.bounds, strict=True)
    (west, left), (south, bottom), (east, right), (north, top) = of_area
    shown = max(west, left), max(south, bottom), min(east, right), min(north, top)
    west, south, east, north = transformer(result.crs, WGS84).transform_bounds(*shown)
    return [[round(south, 7), round(west, 7)], [round(north, 7), round(east, 7)]]


def _by_flight(figures: Figures, settings: Settings) -> list[list[float | int | None]]:
    """Forage in reach with the plan by the median of flight: [metres, share], the least first; none without a plan."""
    reach = figures.forage_in_reach
    if not figures.plan.pools:
        return []
    by_median = {float(median): share for median, share in reach.with_plan_by_forage_median_m.items()}
    by_median[settings.flight.forage_median_m] = reach.with_plan
    return [[number(median), number(share)] for median, share in sorted(by_median.items())]


def _served(figures: Figures, public: bool) -> Block | None:
    """Forage likely served: the headline, what stands beside it, and what the first pools of the plan need; None where
    it is not known. How to go about installing, and as many pools by rules of thumb, are for the team."""
    told, first = likely_served(figures), up_to_number(figures)
    if told is None or first is None:
        return None
    beside = [limit(figures.served)]
    if not public:
        beside = [*against_rules(figures.served), *beside, order_of_installing(figures), second_pool_at_a_site(figures)]
    return {
        "told": sentence(told),
        "first": sentence(first),
        "beside": [sentence(one) for one in beside if one],
        "now": [number(figures.served.now.closed), number(figures.served.now.open)],
        "digits": digits_of(figures.served),
    }


def _facts_for_the_team(result: Result, writer: Writer) -> Block:
    """How the data were read and how sure the figures are."""
    figures, aside = result.figures, result.set_aside[result.set_aside["row"].notna()]
    counts = Counter(zip(aside["file"], aside["reason"], strict=True))
    most = sorted(counts.items(), key=lambda one: (-one[1], one[0]))[:MOST_REASONS]
    return {
        "asks_served": figures.plan.objective == Objective.SERVED,
        "links": result.figures.network.links,
        "ask_first": [
            {"place": sentence(told_place(place)), "adds": number(adds)}
            for place, adds in result.ask_first[["place", "adds"]].head(MOST_REASONS).itertuples(index=False)
        ],
        "in_hand": [sentence(one) for one in (in_hand(figures.plan), *refusals_told(figures.plan)) if one],
        "since": sentence(since_told(result.since)) if result.since else None,
        "missing": texts(missing_sentences(figures)),
        "thin": [sentence(one) for one in what_matters(figures.inputs)],
        "notes": [_told(one) for one in notes_of(figures)],
        "intake": [
            [KIND_NAMES[Kind(kind)], rows.read, rows.accepted, rows.set_aside] for kind, rows in figures.intake.items()
        ],
        "set_aside": [[shown(file), _told(reason), n] for (file, reason), n in most],
        "occupancy": {
            key: number(getattr(figures.occupancy, key))
            for key in ("pools_visited", "naive", "estimate", "low", "high")
        }
        | {
            "season": str(figures.occupancy.season or ""),
            "here": {key: number(getattr(figures.occupancy.here, key)) for key in ("pools", "low", "high")},
        },
        "candidates": {
            "all": figures.candidates.all,
            "left": figures.candidates.left,
            "lost": [[sentence(lost(why)), int(n)] for why, n in result.findings.candidates.lost.items() if n],
        },
        "network": {"places": figures.network.places, "components": figures.network.components},
        "costliest": _costliest(figures, writer),
    }


def _told(words: str) -> Block | str:
    """What was said while the area was read, for the page's `tell`."""
    return sentence(words) if isinstance(words, Sentence) else text(words)


def _plan_figures(result: Result) -> list[Block]:
    """The pictures below the plan, each with its heading and what it says: what more pools would bring, and which
    assumption moves the plan most."""
    figures, sensitivity, shown_here = result.figures, rows_of(result.sensitivity), []
    if told := enough(figures):
        svg = rising([Level(*row) for row in figures.how_many], figures.plan.pools, "", broad=True)
        shown_here.append(_figure("how_many", following(told, READING), svg))
    if told := tornado_words(sensitivity):
        shown_here.append(_figure("assumptions", told, *tornado_svg(sensitivity)))
    return shown_here


def _figure(head: str, told: Sentence, svg: str, labels: Sequence[Sentence] = ()) -> Block:
    """A drawing with its heading (a word of the page) and its words; labels: what stands in it for {t0}, {t1}, ..."""
    return {"head": head, "words": sentence(told), "picture": svg, "labels": list(map(sentence, labels))}


def _costliest(figures: Figures, writer: Writer) -> Block | None:
    """The breeding place whose loss would cost the network most, None where there is no network."""
    loss = figures.network.costliest_loss
    if loss is None:
        return None
    return {
        "name": shown(loss.place),
        "share": number(loss.loss_percent / 100),
        "cuts": loss.cuts_the_network,
        "at": writer.point(loss.x, loss.y),
    }


# --- the lists --------------------------------------------------------------------------------------------------------

PLAN_NUMBERS = (
    "gain cumulative served_open served_closed forage_m dead_wood_m nearest_pool_m "
    "occupancy_expected occupancy_low occupancy_high robustness"
).split()


def _plan(result: Result, writer: Writer) -> list[Block]:
    """The rows of plan.csv with their zones; on private land without a point."""
    days = {site.id: site.date for site in sites_in(result.findings.area.plan_status, *SiteState)}
    rows, zones = [], writer.polygons(result.zones.geometry.to_numpy())
    for row, zone in zip(rows_of(result.plan), zones, strict=True):
        private = row["private"] == "yes"
        rows.append(
            {
                "rank": int(row["rank"]),
                "id": text(row["id"]),
                "private": private,
                "at": None if private else writer.point(row["x"], row["y"]),
                "xy": None if private else [round(float(row["x"]), 1), round(float(row["y"]), 1)],
                "zone": zone,
                "place": sentence(told_place(row["place"])),
                "consent": text(row["consent"]),
                "state": text(row["state"]),
                "state_told": sentence(state_told(row["state"], days.get(row["id"]))) if row["state"] else None,
                "reason": sentence(reason(row)),
                "doubt": sentence(doubt(row)),
                "caution": texts(sentences(for_site(row, result.settings))),
                "asks": text(consent(row).sentence),
                **{key: number(row[key]) for key in PLAN_NUMBERS},
            }
        )
    return rows


def _around(result: Result, writer: Writer) -> list[Block | None]:
    """What lies around each suggestion; None for those on private land."""
    found = iter(around_sites(result, writer, public=False))
    return [_around_one(next(found)) if placed else None for placed in may_be_placed(result.plan)]


def _around_one(around: Around) -> Block:
    brings = around.brings
    return {"brings": brings and brings._asdict(), "near": [one._asdict() for one in around.near]}


def _plan_for_everyone(public: Result, writer: Writer) -> list[Block]:
    """Suggestions on public land, numbered anew so that the numbers left out say nothing."""
    rows = [row for row in _plan(public, writer) if not row["private"]]
    return [row | {"rank": rank, "cumulative": None, "zone": []} for rank, row in enumerate(rows, start=1)]


def _gaps(result: Result, writer: Writer) -> list[Block]:
    gaps = result.gaps.head(MOST_GAPS)
    shapes = gaps.geometry.to_numpy()
    drawn = zip(_streets_in(shapes, result.paths), writer.polygons(shapes), writer.inside(shapes), strict=True)
    return [
        {
            "rank": int(row["rank"]),
            "cause": sentence(gap_cause(row)),
            "streets": names,
            "area": area,
            "at": at,
            **{key: number(row[key]) for key in ("area_ha", "share", "mean_forage", "mean_reach")},
        }
        for row, (names, area, at) in zip(rows_of(gaps), drawn, strict=True)
    ]


def _streets_in(areas: NDArray[np.object_], paths: gpd.GeoDataFrame) -> list[list[str]]:
    """The names of the paths in each area, those that run longest in it first."""
    named = paths[paths["name"] != ""]
    lines = named.geometry.to_numpy()
    within, hit = STRtree(lines).query(areas, predicate="intersects")
    in_turn = np.lexsort((hit, within))
    within, hit = within[in_turn], hit[in_turn]
    inside = length(intersection(lines[hit], areas[within]))
    each = pd.DataFrame({"area": within, "name": named["name"].to_numpy(object)[hit], "m": inside})
    metres = each.groupby(["area", "name"], as_index=False)["m"].sum()
    longest = metres[metres["m"] > 0].sort_values(["area", "m"], ascending=[True, False], kind="stable")
    found: list[list[str]] = [[] for _ in areas]
    for area, name in longest.groupby("area").head(MOST_STREETS)[["area", "name"]].itertuples(index=False):
        found[area].append(text(name))
    return found


def _pools(result: Result, writer: Writer) -> Block:
    """Columns, not rows: ten thousand pools stay under a megabyte. Hosts and observers stay out of the page."""
    pools = result.pools
    last = result.visits.groupby("pool")["date"].max().dt.strftime("%Y-%m-%d").to_dict()
    return {
        "n": len(pools),
        **writer.points(pools["x"], pools["y"]),
        "name": texts(pools["pool"]),
        "last": coded(last.get(pool) for pool in pools["pool"].tolist()),
        "outcome": coded(pools["last_outcome"]),
        **{key: coded(pools[key]) for key in ("private", "flag", "place", "land_cover", "note")},
        "basis": coded_sentences(pool_bases(pools)),
        "no_visit": coded_sentences(told_no_visits(pools)),
        **{key: scaled(pools[key], 1000) for key in ("occupancy", "occupancy_low", "occupancy_high")},
        "forage_in_reach": scaled(pools["forage_in_reach"], 1_000_000),
        **{key: scaled(pools[key], 1) for key in ("visits", "detections")},
    }


def _photos(result: Result) -> list[list[Any]]:
    """Photos by the number of their pool in the list: [number, file, day of the visit or "", WebP]."""
    at = {pool: n for n, pool in enumerate(result.pools["pool"].tolist())}
    return [
        [at[one.pool], shown(one.file), one.day, base64.b64encode(one.small).decode()]
        for one in result.findings.area.photos
        if one.pool in at
    ]


def _land(result: Result, writer: Writer) -> list[Block]:
    return [
        {
            "name": sentence(told_place(row.get("place") or row["name"] or said_kind(row["kind"]))),
            **{key: text(row[key]) for key in ("consent", "private")},
            **{key: number(row[key]) for key in ("area_ha", "pools", "suggestions", "forage_mean")},
            "area": area,
        }
        for row, area in zip(rows_of(result.places), writer.polygons(result.places.geometry.to_numpy()), strict=True)
    ]


def _links(result: Result, writer: Writer) -> list[Block]:
    drawn = writer.lines(result.links.geometry.to_numpy())
    return [
        {"line": line, "probability": number(probability)}
        for probability, lines in zip(result.links["probability"].tolist(), drawn, strict=True)
        for line in lines
    ]


def _trees(result: Result, writer: Writer) -> Block:
    """Trees likely to hold a wet rot-hole."""
    likely = result.trees[result.trees["rot_hole_probability"] >= result.settings.near.dead_wood_from]
    return {
        **writer.points(likely["x"], likely["y"]),
        "genus": coded(likely["genus"]),
        "diameter_cm": scaled(likely["diameter_cm"], 1),
        "rot_hole_probability": scaled(likely["rot_hole_probability"], 100),
    }


def _all_trees(result: Result, writer: Writer) -> Block:
    """Where trees stand, in strips from the north: so their differences are small."""
    at = result.trees[["x", "y"]].dropna().to_numpy(float)
    strip = -np.floor(at[:, 1] / 100)
    return writer.points(*at[np.lexsort((at[:, 0], strip))].T)


def _exclusion_zones(result: Result, writer: Writer) -> list[Block]:
    """The ground within each feature's distance, by kind."""
    frame = result.keep_away
    if not len(frame):
        return []
    ground = shapely.buffer(frame.geometry.to_numpy(), frame["distance_m"].to_numpy(), quad_segs=4)
    merged = gpd.GeoDataFrame({"kind": frame["kind"].to_numpy()}, geometry=ground).dissolve("kind", sort=True)
    tolerance = result.grid.cell_m / 2
    return [
        {"kind": shown(kind), "area": writer.polygon(simplify(shape, tolerance, preserve_topology=False))}
        for kind, shape in merged.geometry.items()
    ]


def _blur_squares(public: Result, writer: Writer) -> list[Block]:
    """Pools per blur square, as many as may be told."""
    side = float(public.settings.public.blur_m)
    counted = counts_by_square(public.pools[public.pools["flag"] != NOT_STANDING], side)
    squares = square_around((counted["col"] + 0.5) * side, (counted["row"] + 0.5) * side, side)
    return [
        {"n": int(n), "area": area, "at": at}
        for n, area, at in zip(counted["n"], writer.polygons(squares), writer.inside(squares), strict=True)
    ]
