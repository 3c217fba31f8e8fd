"""Gaps on a frame that can be checked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from habitatmap.geo.grid import Grid
from habitatmap.plan.candidates import Candidates, ExclusionZone, Lost
from habitatmap.plan.gaps import COLUMNS, NotReached, find_gaps
from habitatmap.read.settings import Settings
from habitatmap.words.gaps import gap_cause
from habitatmap.words.sentences import hectares

GRID = Grid(left=0, top=200, cell_m=10, rows=20, cols=200)
SETTINGS = Settings.model_validate({"gap": {"least_ha": 0.03}})


def where(allowed: bool = True, provisional: bool = False) -> Candidates:
    code = np.full(GRID.shape, 0 if allowed else 2, dtype=np.uint8)
    lost = {Lost.NO_DATA: 0, Lost.NO_CONSENT: 0 if allowed else 4000}
    return Candidates(code == 0, code, lost, int(allowed) * 4000, np.full(GRID.shape, -1, np.int32), provisional)


def places(*rows: tuple[int, int, float]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=["row", "col", "p"])


def frame() -> tuple[np.ndarray, np.ndarray]:
    """Forage in three spots: 2 x 2 cells with a fifth at a corner, a lone cell, and 4 cells that are reached."""
    weight, reach = np.zeros(GRID.shape), np.zeros(GRID.shape)
    weight[2:4, 2:4] = 0.5
    weight[4, 4] = 1.0
    weight[10, 10] = 1.0
    weight[15, 100:104] = 0.25
    weight[18, 190:194] = 1.0
    reach[18, 190:194] = 0.2
    weight[0, 199] = np.nan
    reach[0, 199] = np.nan
    return weight, reach


def test_gaps_by_hand() -> None:
    weight, reach = frame()
    reach[4, 4] = 0.1
    found = find_gaps(GRID, weight, reach, where(), places((19, 199, 0.5)), SETTINGS)
    assert list(found.columns) == [*COLUMNS, "geometry"]
    assert found["rank"].tolist() == [1, 2]
    assert found["area_ha"].tolist() == pytest.approx([0.05, 0.04])
    assert found["share"].tolist() == pytest.approx([3 / 9, 1 / 9])
    assert found["mean_forage"].tolist() == pytest.approx([0.6, 0.25])
    assert found["mean_reach"].tolist() == pytest.approx([0.02, 0])
    assert found["ground_ha"].tolist() == pytest.approx([0.05, 0.04])
    assert found["nearest_place_m"].tolist() == pytest.approx([10 * np.hypot(15, 195), 10 * np.hypot(4, 96)])
    assert found.geometry.is_valid.all()
    assert found.geometry.area.tolist() == pytest.approx([500, 400])
    assert found.geometry[0].bounds == (20, 150, 50, 180)  # five cells, two parts that touch at a corner
    assert found["not_reached"].tolist() == [NotReached.OUT_OF_FLIGHT] * 2
    assert str(gap_cause(found.loc[0])).startswith("no known breeding place within flight (the nearest is 1956 m away)")


def test_a_gap_is_as_large_as_stated() -> None:
    weight, reach = frame()
    exactly = Settings.model_validate({"gap": {"least_ha": 0.05}})
    assert len(find_gaps(GRID, weight, reach, where(), places(), exactly)) == 1


def test_patches_on_two_sides_of_a_street_are_one_gap() -> None:
    weight, reach = np.zeros(GRID.shape), np.zeros(GRID.shape)
    weight[2:4, 0:4] = weight[2:4, 8:12] = 1.0  # 40 m apart, the median being 250 m
    weight[2:4, 40:44] = 0.5  # farther off
    weight[2:4, 14] = 1.0  # too small to be a gap itself, and no bridge to one
    found = find_gaps(GRID, weight, reach, where(), places(), SETTINGS)
    assert found["area_ha"].tolist() == pytest.approx([0.16, 0.08])
    assert found.geometry.count_geometries().tolist() == [2, 1]
    assert found["share"].sum() == pytest.approx(20 / 22)


def test_patches_80_m_apart_are_two_gaps() -> None:
    weight, reach = np.zeros(GRID.shape), np.zeros(GRID.shape)
    weight[2:4, 0:4] = weight[2:4, 12:16] = 1.0  # a gap joins what is parted by 50 m at most, the median being 250 m
    assert len(find_gaps(GRID, weight, reach, where(), places(), SETTINGS)) == 2


def test_the_gap_with_most_unreached_forage_comes_first() -> None:
    weight, reach = np.zeros(GRID.shape), np.zeros(GRID.shape)
    weight[2:6, 0:4] = 0.3  # large and poor: 16 cells with 4.8 in all
    weight[2:4, 100:104] = 1.0  # small and rich: 8 cells with 8
    found = find_gaps(GRID, weight, reach, where(), places(), SETTINGS)
    assert found["area_ha"].tolist() == pytest.approx([0.08, 0.16])


@pytest.mark.parametrize(
    ("ha", "text"), [(0.0312, "0.031 ha"), (0.05, "0.05 ha"), (14.4, "14 ha"), (13799, "14,000 ha")]
)
def test_hectares(ha: float, text: str) -> None:
    assert str(hectares(ha)) == text


def test_causes() -> None:
    weight, reach = frame()

    def first(ground: Candidates, *rows: tuple[int, int, float]) -> pd.Series:
        return find_gaps(GRID, weight, reach, ground, places(*rows), SETTINGS).loc[0]

    nothing = first(where())
    assert (nothing["not_reached"], nothing["lost_as"], nothing["ground_ha"]) == (NotReached.NO_PLACE, None, 0.05)
    assert str(gap_cause(nothing)).startswith(
        "no breeding place is known; a pool may stand on 0.05 ha of it (with a consent"
    )
    assert "no land record was given" in str(gap_cause(first(where(provisional=True))))
    refused = first(where(allowed=False))
    assert (refused["lost_as"], refused["lost_share"]) == (Lost.NO_CONSENT, 1.0)
    assert str(gap_cause(refused)).endswith("; no land with consent here")
    unlikely, edge = first(where(), (3, 8, 0.01)), first(where(), (3, 64, 0.9))
    assert (unlikely["not_reached"], edge["not_reached"]) == (NotReached.UNLIKELY, NotReached.EDGE)
    assert str(gap_cause(unlikely)).startswith("1 known breeding place within flight, but unlikely")
    assert str(gap_cause(edge)).startswith("1 known breeding place at the edge of flight only (nearest 600 m)")


def test_ground_lost_for_two_reasons_is_told_by_the_larger() -> None:
    weight, reach = frame()
    ground = where(allowed=False)
    lost = {Lost.NO_DATA: 0, Lost.NO_CONSENT: 1, ExclusionZone("school"): 4}
    ground.code[2:5, 2:5] = 3
    ground.code[4, 4] = 2
    gap = find_gaps(GRID, weight, reach, replace(ground, lost=lost), places(), SETTINGS).loc[0]
    assert (gap["lost_as"], gap["lost_share"]) == (ExclusionZone("school"), 0.8)
    assert str(gap_cause(gap)).endswith("; no land for a pool, mostly ruled out because: too near to: school")
    assert str(gap_cause({**gap, "lost_share": 1.0})).endswith("; all land is in an exclusion zone: school")
    assert str(gap_cause({**gap, "lost_share": 1.0, "lost_as": Lost.WATER})).endswith(
        "; the land is ruled out because: water"
    )


def test_no_gap_and_no_forage() -> None:
    nothing = find_gaps(GRID, np.zeros(GRID.shape), np.zeros(GRID.shape), where(), places(), SETTINGS)
    assert len(nothing) == 0
    assert nothing["share"].sum() == 0
    assert nothing.set_crs("EPSG:25832").crs is not None
    assert (
        len(find_gaps(GRID, np.full(GRID.shape, np.nan), np.full(GRID.shape, np.nan), where(), places(), SETTINGS)) == 0
    )


def test_why_ground_is_lost_stays_a_code_beside_gaps_with_ground() -> None:
    """pandas makes text of StrEnum members and NaN of None; then the cause read "ruled out because: nan"."""
    weight, reach = frame()
    code = np.full(GRID.shape, 2, dtype=np.uint8)
    code[15, 100:104] = 0
    lost = {Lost.NO_DATA: 0, Lost.NO_CONSENT: 3996}
    some = Candidates(code == 0, code, lost, 4, np.full(GRID.shape, -1, np.int32), False)
    found = find_gaps(GRID, weight, reach, some, places((19, 199, 0.5)), SETTINGS)
    told = [row["lost_as"] for row in found.to_dict("records")]
    assert told == [Lost.NO_CONSENT, None]
    assert isinstance(told[0], Lost)
    assert all("nan" not in str(gap_cause(row)) for row in found.to_dict("records"))
