"""Values as the page carries them, against a slow way: shape by shape, value by value."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from habitatmap.page.coding import PER_DEGREE, Writer, coded, scaled

CODE = 25832
TO_DEGREES = Transformer.from_crs(CODE, 4326, always_xy=True)


def path(line: BaseGeometry) -> list[int]:
    lon, lat = 0, 0
    flat = []
    for x, y in line.coords:
        there = [round(degrees * PER_DEGREE) for degrees in TO_DEGREES.transform(x, y)]
        flat += [there[0] - lon, there[1] - lat]
        lon, lat = there
    return flat


def rings(shape: BaseGeometry | None) -> list[list[list[int]]]:
    parts = [] if shape is None or shape.is_empty else list(getattr(shape, "geoms", [shape]))
    solid = [part for part in parts if part.geom_type == "Polygon" and not part.is_empty]
    return [[path(ring) for ring in (part.exterior, *part.interiors)] for part in solid]


def lines(shape: BaseGeometry | None) -> list[list[int]]:
    parts = [] if shape is None or shape.is_empty else list(getattr(shape, "geoms", [shape]))
    return [path(part) for part in parts if part.geom_type == "LineString" and not part.is_empty]


def shapes(seed: int) -> list[BaseGeometry | None]:
    rng = np.random.default_rng(seed)

    def square(n: int = 1) -> Any:
        x, y = rng.uniform(400_000, 410_000, n), rng.uniform(5_800_000, 5_810_000, n)
        made = shapely.box(x, y, x + 100, y + 60)
        return made if n > 1 else made[0]

    hole = shapely.Polygon(square().exterior.coords)
    hole = hole.difference(hole.buffer(-10))
    line = shapely.LineString(rng.uniform([400_000, 5_800_000], [410_000, 5_810_000], (5, 2)))
    point = shapely.Point(400_000, 5_800_000)
    some = [square(), None, hole, shapely.Polygon(), shapely.MultiPolygon(list(square(3))), line, point]
    some += [shapely.MultiLineString([line, line.reverse()]), shapely.GeometryCollection([line, point, square()])]
    return [some[i] for i in rng.integers(0, len(some), rng.integers(0, 9))]


@pytest.mark.parametrize("seed", range(20))
def test_shapes_are_written_together_as_each_alone(seed: int) -> None:
    writer, given = Writer(CRS.from_epsg(CODE)), shapes(seed)
    assert writer.polygons(given) == [rings(shape) for shape in given]
    assert writer.lines(given) == [lines(shape) for shape in given]
    solid = [shape for shape in given if shape is not None and shape.geom_type == "Polygon" and not shape.is_empty]
    middles = [shape.representative_point() for shape in solid]
    assert writer.inside(solid) == [writer.point(middle.x, middle.y) for middle in middles]


def test_columns_are_written_as_value_by_value() -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(0, 50, 300).astype(np.float32)
    values[rng.integers(0, 300, 40)] = np.nan
    values[:4] = 0.5, 1.5, 2.5, np.inf  # halves go to the even number, as Python rounds
    slow = [round(float(v) * 10) if math.isfinite(v) else None for v in values]
    assert scaled(pd.Series(values), 10) == slow
    assert all(v is None or type(v) is int for v in scaled(values, 10))
    words = pd.Series(["b", None, "a", "b", float("nan"), "", "Größe"], dtype=object)
    assert coded(words) == {"words": ["", "Größe", "a", "b"], "of": [3, 0, 2, 3, 0, 0, 1]}
