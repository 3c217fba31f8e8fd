"""Cells in polygons, spacing stamps, and where a stamp falls: small cases worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Point, Polygon, box, contains_xy, union_all

from habitatmap.geo import scratch
from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in, least_apart, too_near, under

GRID = Grid(0.0, 30.0, 10.0, 3, 4)


def test_a_cell_belongs_where_its_centre_lies() -> None:
    assert cells_in([box(0, 4, 14, 26)], GRID).sum() == 3
    assert cells_in([box(0, 6, 16, 24)], GRID).tolist() == [[False] * 4, [True, True, False, False], [False] * 4]


def test_no_polygon_and_an_empty_one_hold_no_cell() -> None:
    assert not cells_in([], GRID).any()
    assert cells_in([None, Polygon(), box(0, 0, 10, 10)], GRID).sum() == 1


def test_by_bands_as_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    rng, grid = np.random.default_rng(5), Grid(403.0, 607.0, 10.0, 50, 40)
    shapes = [
        Point(*at).buffer(size) for at, size in zip(rng.uniform(350, 800, (20, 2)), rng.uniform(1, 90, 20), strict=True)
    ]
    whole = cells_in(shapes, grid)
    x, y = grid.centre(*np.indices(grid.shape))
    assert np.array_equal(whole, contains_xy(union_all(shapes), x, y))
    for cells in (40, 120, 333):
        monkeypatch.setattr(scratch, "BAND_CELLS", cells)
        assert np.array_equal(cells_in(shapes, grid), whole)


def test_centres_at_the_very_spacing_are_far_enough() -> None:
    assert too_near(20.0, 10.0).tolist() == [
        [False, False, False, False, False],
        [False, True, True, True, False],
        [False, True, True, True, False],
        [False, True, True, True, False],
        [False, False, False, False, False],
    ]
    assert not too_near(3.0, 0.1)[30, 60]  # 30 cells of 0.1 m are 3 m, whatever the rounding
    assert too_near(0.0, 10.0).tolist() == [[True]]
    assert 3.0 - 1e-8 < least_apart(3.0) < 3.0


@pytest.mark.parametrize(
    ("row", "col", "cells"),
    [(1, 1, 9), (0, 0, 4), (2, 3, 4), (1, -1, 3), (-1, 4, 1), (-2, 0, 0), (4, 0, 0), (0, -9, 0), (99, 99, 0)],
)
def test_a_stamp_marks_its_cells_of_the_field_and_no_others(row: int, col: int, cells: int) -> None:
    field = np.zeros((3, 4), dtype=int)
    around, part = under(field, np.ones((3, 3), bool), row, col)
    around[part] = 1
    assert field.sum() == cells
    for i, j in np.argwhere(field):
        assert max(abs(i - row), abs(j - col)) <= 1


def test_a_part_of_a_stamp_keeps_its_place() -> None:
    stamp = np.zeros((3, 3), bool)
    stamp[2, 2] = True  # one cell down and right of the middle
    field = np.zeros((3, 4), dtype=int)
    around, part = under(field, stamp, -1, 1)
    around[part] = 7
    assert np.argwhere(field).tolist() == [[0, 2]]
