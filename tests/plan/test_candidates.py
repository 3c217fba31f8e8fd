"""Where a pool may stand: a frame that can be checked by hand, and every cell measured the slow way."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from habitatmap.errors import InputError
from habitatmap.geo.grid import Grid
from habitatmap.plan.candidates import Candidates, ExcludedUse, ExclusionZone, Ground, Lost, find_candidates, within
from habitatmap.read.settings import PlanSettings
from habitatmap.vocabulary.terms import Hazard

CRS = "EPSG:25832"
ROW = Grid(left=0, top=10, cell_m=10, rows=1, cols=14)


def land(*rows: tuple[str, str, object], kinds: tuple[str, ...] = ()) -> gpd.GeoDataFrame:
    consent, private, shapes = zip(*rows, strict=True) if rows else ((), (), ())
    data = {"consent": list(consent), "private": list(private), "kind": list(kinds) or ["park"] * len(rows)}
    return gpd.GeoDataFrame(data, geometry=list(shapes), crs=CRS)


def keep_away(*rows: tuple[str, float, object]) -> gpd.GeoDataFrame:
    kind, far, shapes = zip(*rows, strict=True) if rows else ((), (), ())
    return gpd.GeoDataFrame({"kind": list(kind), "distance_m": list(far)}, geometry=list(shapes), crs=CRS)


def pools(*xy: tuple[float, float]) -> pd.DataFrame:
    return pd.DataFrame(list(xy), columns=["x", "y"], dtype=float)


def ask(grid: Grid = ROW, **given: object) -> Candidates:
    """candidates() where everything is allowed but for what is given."""
    every = np.ones(grid.shape, dtype=bool)
    usual_ground = (("has_data", every), ("inside", every))
    ground = Ground(*(given.pop(name, usual) for name, usual in usual_ground), hazards=given.pop("hazards", {}))
    if (unfit := given.pop("unfit", None)) is not None:
        ground = replace(ground, classes=np.unique(unfit, return_inverse=True)[1], unfit=np.unique(unfit).tolist())
    usual = {"land": None, "exclusion_zones": keep_away(), "pools": pools(), "settings": PlanSettings(spacing_m=0)}
    return find_candidates(grid, ground, **usual | given)


def cells(first: int, last: int) -> Polygon:
    """The ground of cells first..last of ROW."""
    return box(first * 10, 0, last * 10 + 10, 10)


def test_every_reason_once() -> None:
    has_data, inside = np.ones((1, 14), bool), np.ones((1, 14), bool)
    has_data[0, 0] = inside[0, 0] = inside[0, 1] = False
    ground = np.array([["water", "", "water", "building", *[""] * 10]], dtype=object)
    found = ask(
        has_data=has_data,
        inside=inside,
        unfit=ground,
        land=land(
            ("yes", "no", cells(0, 3)),
            ("no", "yes", cells(5, 5)),
            ("ask", "no", cells(6, 6)),
            ("yes", "yes", cells(7, 7)),
            ("yes", "no", cells(8, 13)),
        ),
        exclusion_zones=keep_away(
            ("school", 5, Point(85, 5)), ("playground", 1, Point(95, 5)), ("playground", 0, Point(1, 1))
        ),
        pools=pools((109, 9)),
        settings=PlanSettings(consent=("yes",), private=False, spacing_m=20),
    )
    assert {str(reason): n for reason, n in found.lost.items()} == {
        "no data": 1,
        "outside the boundary": 1,
        "water": 1,
        "building": 1,
        "no land record": 1,
        "no consent": 1,
        "consent to ask": 1,
        "private land": 1,
        "keep-away: playground": 1,
        "keep-away: school": 1,
        "near a standing pool": 2,  # its own cell 10 and cell 11; cell 9 is lost already, cell 12 is at exactly 20 m
    }
    assert found.allowed.tolist() == [[False] * 12 + [True] * 2]
    assert list(found.lost)[-3:] == [ExclusionZone("playground"), ExclusionZone("school"), Lost.NEAR_POOL]
    assert found.left == 2
    assert sum(found.lost.values()) + found.left == 14
    assert [found.reason(0, k) for k in (0, 5, 8, 13)] == [Lost.NO_DATA, Lost.NO_CONSENT, ExclusionZone("school"), None]
    assert found.land_index.tolist() == [[0, 0, 0, 0, -1, 1, 2, 3, 4, 4, 4, 4, 4, 4]]
    assert not found.provisional


def test_without_a_list_of_land_all_ground_is_provisional() -> None:
    found = ask()
    assert found.provisional
    assert found.left == 14
    assert "no land record" not in found.lost
    assert (found.land_index == -1).all()


def test_an_empty_list_of_land_allows_nothing() -> None:
    found = ask(land=land())
    assert found.lost["no land record"] == 14
    assert found.left == 0


def test_the_strictest_consent_counts_where_land_overlaps() -> None:
    both = land(
        ("no", "no", cells(0, 2)), ("ask", "no", cells(1, 4)), ("yes", "no", cells(0, 9)), ("yes", "no", cells(0, 9))
    )
    found = ask(land=both)
    assert found.land_index[0, :11].tolist() == [0, 0, 0, 1, 1, 2, 2, 2, 2, 2, -1]
    assert found.lost["no consent"] == 3
    assert ask(land=both, settings=PlanSettings(consent=("ask",))).lost["consent given"] == 5


def test_private_land_only_when_the_plan_may() -> None:
    # a private plot lies in a public park: its own row names it or not, it is private
    gardens = land(("yes", "no", cells(0, 13)), ("yes", "yes", cells(3, 5)))
    assert ask(land=gardens).lost["private land"] == 3
    assert ask(land=gardens, settings=PlanSettings(private=True)).left == 14


def test_no_pool_stands_on_a_pitch_in_a_park_by_land_or_by_zone_in_any_language() -> None:
    plots = land(
        ("yes", "no", cells(0, 9)),
        ("yes", "no", cells(1, 2)),
        ("no", "no", cells(5, 5)),
        kinds=("park", "pitch", "Moor"),
    )
    found = ask(land=plots, exclusion_zones=keep_away(("pitch", 0, cells(2, 3)), ("school", 1, cells(4, 4))))
    lost = {str(reason): n for reason, n in found.lost.items() if n}
    assert lost == {"excluded: pitch": 3, "no land record": 4, "no consent": 1, "keep-away: school": 1}
    assert found.reason(0, 1) == ExcludedUse("pitch")
    german = land(("yes", "no", cells(0, 3)), kinds=("Sportplatz",))
    assert ask(land=german).lost[ExcludedUse("pitch")] == 4


def test_a_stated_distance_widens_excluded_ground() -> None:
    wide = keep_away(("parking", 10, cells(4, 4)))  # centres at 35 and 55 lie 5 m from its edges, 25 and 65 lie 15 m
    assert ask(exclusion_zones=wide).lost[ExcludedUse("parking")] == 3


def test_steep_and_flooding_ground_is_excluded() -> None:
    steep, floods = np.zeros((1, 14), bool), np.zeros((1, 14), bool)
    steep[0, :3] = floods[0, 2:5] = True
    found = ask(hazards={Hazard.STEEP: steep, Hazard.FLOODS: floods})
    assert {str(reason): n for reason, n in found.lost.items() if n} == {"excluded: floods": 3, "excluded: steep": 2}


def test_a_cell_belongs_where_its_centre_lies() -> None:
    found = ask(land=land(("yes", "no", box(4, 0, 26, 10))))  # centres at 5, 15, 25, 35
    assert found.land_index[0, :4].tolist() == [0, 0, 0, -1]


def test_exactly_at_the_distance_is_still_too_near() -> None:
    assert ask(exclusion_zones=keep_away(("road", 20, Point(5, 5)))).allowed[0, :4].tolist() == [
        False,
        False,
        False,
        True,
    ]


def test_exactly_at_the_spacing_is_far_enough() -> None:
    spaced = PlanSettings(spacing_m=20)
    assert ask(pools=pools((1, 9)), settings=spaced).allowed[0, :4].tolist() == [False, False, True, True]
    outside = ask(pools=pools((-9, 9)), settings=spaced)  # a pool beyond the frame, in the cell before the first
    assert outside.allowed[0, :3].tolist() == [False, True, True]


def test_a_keep_away_without_distance_is_refused() -> None:
    with pytest.raises(InputError, match="'school' have no distance"):
        ask(exclusion_zones=keep_away(("school", np.nan, Point(0, 0))))


def test_missing_empty_and_broken_geometries() -> None:
    bow_tie = Polygon([(0, 0), (40, 10), (40, 0), (0, 10)])
    away = keep_away(("pond", 1, None), ("pond", 1, Polygon()), ("pond", 0, bow_tie))
    assert ask(exclusion_zones=away).allowed[0, :5].tolist() == [False, False, False, False, True]
    assert ask(land=land(("yes", "no", None), ("yes", "no", Polygon()))).left == 0


def shapes(rng: np.random.Generator, count: int) -> list[object]:
    """Points, lines, polygons with holes and their collections, some beyond the frame."""
    made: list[object] = []
    for k in range(count):
        at = rng.uniform(-100, 700, 2)
        line = at + np.cumsum(rng.normal(0, 40, (int(rng.integers(2, 9)), 2)), axis=0)
        ring = Point(at).buffer(rng.uniform(1, 120), quad_segs=int(rng.integers(1, 6)))
        made.append(
            [
                Point(at),
                LineString(line),
                ring,
                ring.difference(ring.buffer(-20)),
                MultiPolygon([ring, box(*(at + 200), *(at + 230))]),
            ][k % 5]
        )
    return made


@pytest.mark.parametrize("seed", range(6))
def test_keep_away_against_every_cell_measured(seed: int) -> None:
    rng = np.random.default_rng(seed)
    grid = Grid(left=0, top=600, cell_m=[10.0, 7.0, 25.0][seed % 3], rows=60, cols=50)
    away = shapes(rng, 25)
    far = rng.choice([0, 0.5, 5, 20, 50, 133.3], 25)
    row, col = np.mgrid[: grid.rows, : grid.cols]
    centres = shapely.points(*grid.centre(row, col))
    slow = np.zeros(grid.shape, dtype=bool)
    for shape, metres in zip(away, far, strict=True):
        slow |= shapely.distance(centres, shape) <= metres
    assert np.array_equal(within(grid, away, far), slow)


@pytest.mark.parametrize("seed", range(3))
def test_all_reasons_against_every_cell_asked(seed: int) -> None:
    rng = np.random.default_rng(seed)
    grid = Grid(left=0, top=400, cell_m=10, rows=40, cols=40)
    has_data, inside = rng.random(grid.shape) > 0.05, rng.random(grid.shape) > 0.05
    ground = rng.choice(np.array(["", "", "", "water", "building"], dtype=object), grid.shape)
    plots = land(
        *(
            (
                str(rng.choice(["yes", "ask", "no"])),
                str(rng.choice(["yes", "no", "no"])),
                Point(rng.uniform(0, 400, 2)).buffer(90),
            )
            for _ in range(12)
        )
    )
    away = keep_away(
        *(
            (str(rng.choice(["b", "a"])), float(rng.choice([3, 30])), Point(rng.uniform(0, 400, 2)).buffer(9))
            for _ in range(8)
        )
    )
    standing = pools(*rng.uniform(0, 400, (5, 2)))
    found = ask(
        grid,
        has_data=has_data,
        inside=inside,
        unfit=ground,
        land=plots,
        exclusion_zones=away,
        pools=standing,
        settings=PlanSettings(consent=("yes",), spacing_m=60),
    )

    def why(row: int, col: int) -> str:
        centre = Point(*grid.centre(row, col))
        on = [k for k in range(len(plots)) if plots.geometry[k].contains(centre)]
        consents = {plots["consent"][k] for k in on}
        near = {
            k
            for k, d, shape in zip(away["kind"], away["distance_m"], away.geometry, strict=True)
            if centre.distance(shape) <= d
        }
        pool_cells = zip(*grid.centre(*grid.cell_of(standing["x"], standing["y"])), strict=True)
        tests = [
            ("no data", not has_data[row, col]),
            ("outside the boundary", not inside[row, col]),
            ("water", ground[row, col] == "water"),
            ("building", ground[row, col] == "building"),
            ("no land record", not on),
            ("no consent", "no" in consents),
            ("consent to ask", "ask" in consents),
            ("private land", any(plots["private"][k] == "yes" for k in on)),
            ("keep-away: a", "a" in near),
            ("keep-away: b", "b" in near),
            ("near a standing pool", any(centre.distance(Point(x, y)) < 60 for x, y in pool_cells)),
        ]
        return next((reason for reason, holds in tests if holds), "")

    for row in range(grid.rows):
        for col in range(grid.cols):
            assert str(found.reason(row, col) or "") == why(row, col), (row, col)
    assert sum(found.lost.values()) + found.left == 1600
    assert found.left == found.allowed.sum()


def test_a_tile_gets_the_answer_of_the_whole() -> None:
    rng = np.random.default_rng(9)
    whole = Grid(left=0, top=600, cell_m=10, rows=60, cols=60)
    part = Grid(left=200, top=450, cell_m=10, rows=20, cols=25)
    away = keep_away(*(("a", 25.0, shape) for shape in shapes(rng, 20)))
    plots = land(*(("yes", "no", Point(rng.uniform(0, 600, 2)).buffer(80)) for _ in range(15)))
    given = {"land": plots, "exclusion_zones": away, "pools": pools((195, 445), (300, 400))}
    given["settings"] = PlanSettings(spacing_m=50)
    assert np.array_equal(ask(part, **given).code, ask(whole, **given).code[15:35, 20:45])
