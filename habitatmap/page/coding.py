"""Values as a page carries them: small, finite, in a fixed order, and safe to show.

Positions become whole numbers of 1e-5 degree (about a metre), each stored as its difference from the one before.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Hashable, Iterable, Sequence
from enum import Enum
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from shapely import (
    GeometryType,
    get_coordinates,
    get_parts,
    get_rings,
    get_type_id,
    is_empty,
    point_on_surface,
)
from shapely.geometry.base import BaseGeometry

from habitatmap.geo.crs import WGS84, transformer
from habitatmap.page.document import shown
from habitatmap.words.sentences import Quantity, Sentence, Value

PER_DEGREE = 100_000
Shapes = Sequence[BaseGeometry | None] | NDArray[np.object_]
Part = TypeVar("Part")
Cell = TypeVar("Cell")


class Writer:
    """Turns coordinates of the area's CRS into the page's whole numbers."""

    def __init__(self, crs: CRS) -> None:
        self._to_degrees = transformer(crs, WGS84)

    def whole(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Longitudes and latitudes in 1e-5 degree."""
        lon, lat = self._to_degrees.transform(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        return np.rint(lon * PER_DEGREE).astype(np.int64), np.rint(lat * PER_DEGREE).astype(np.int64)

    def point(self, x: float, y: float) -> list[int]:
        """[lon, lat] of one place."""
        lon, lat = self.whole([x], [y])
        return [int(lon[0]), int(lat[0])]

    def points(self, x: ArrayLike, y: ArrayLike) -> dict[str, list[int]]:
        """Two delta-coded columns."""
        lon, lat = self.whole(x, y)
        return {"x": np.diff(lon, prepend=0).tolist(), "y": np.diff(lat, prepend=0).tolist()}

    def paths(self, lines: Shapes) -> list[list[int]]:
        """Lines or rings, none of them empty, each as x0, y0, dx1, dy1, ..."""
        xy, of = get_coordinates(lines, return_index=True)
        places = np.column_stack(self.whole(xy[:, 0], xy[:, 1]))
        first = np.flatnonzero(np.diff(of, prepend=-1))
        steps = np.diff(places, axis=0, prepend=0)
        steps[first] = places[first]
        flat: list[int] = steps.ravel().tolist()
        ends = [*(2 * first).tolist(), len(flat)]
        return [flat[start:end] for start, end in pairwise(ends)]

    def polygons(self, shapes: Shapes) -> list[list[list[list[int]]]]:
        """The polygons of each geometry, each a list of rings, shell first; other parts are left out."""
        parts, of = _parts(shapes, GeometryType.POLYGON)
        rings, part_of = get_rings(parts, return_index=True)
        by_part: list[list[list[int]]] = [[] for _ in parts]
        for ring, part in zip(self.paths(rings), part_of.tolist(), strict=True):
            by_part[part].append(ring)
        return _by_shape(by_part, of, len(shapes))

    def polygon(self, shape: BaseGeometry | None) -> list[list[list[int]]]:
        """The polygons of one geometry."""
        return self.polygons([shape])[0]

    def inside(self, shapes: Shapes) -> list[list[int]]:
        """[lon, lat] of a point well inside each polygon, for its number."""
        xy = get_coordinates(point_on_surface(np.asarray(shapes, dtype=object)))
        places: list[list[int]] = np.column_stack(self.whole(xy[:, 0], xy[:, 1])).tolist()
        return places

    def lines(self, shapes: Shapes) -> list[list[list[int]]]:
        """The lines of each geometry."""
        parts, of = _parts(shapes, GeometryType.LINESTRING)
        return _by_shape(self.paths(parts), of, len(shapes))


def _parts(shapes: Shapes, kind: GeometryType) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """The parts of one kind that geometries have, none of them empty, and which geometry each is of."""
    parts, of = get_parts(np.asarray(shapes, dtype=object), return_index=True)
    kept = (get_type_id(parts) == kind) & ~is_empty(parts)
    return parts[kept], of[kept]


def _by_shape(parts: Sequence[Part], of: NDArray[np.int64], shapes: int) -> list[list[Part]]:
    found: list[list[Part]] = [[] for _ in range(shapes)]
    for part, at in zip(parts, of.tolist(), strict=True):
        found[at].append(part)
    return found


def number(value: object) -> float | int | None:
    """A number JSON can hold; None where it is not known."""
    if not isinstance(value, int | float | np.number) or not math.isfinite(value):
        return None
    return int(value) if isinstance(value, int | np.integer) else float(f"{float(value):.6g}")


def text(value: object) -> str:
    """Text of a cell, "" where there is none."""
    return "" if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)) else shown(value)


def texts(values: Iterable[object]) -> list[str]:
    """Texts of a column."""
    return [text(value) for value in _listed(values)]


def _listed(values: Iterable[Cell]) -> list[Cell]:
    """A column as a list, which pandas gives many times as fast as cell by cell."""
    return values.tolist() if isinstance(values, pd.Series) else list(values)


def sentence(told: Sentence) -> dict[str, Any]:
    """A sentence for the page's `tell`: {"say": template, "with": {name: value}}.

    A value is a figure [value, digits, unit], a day {"day": ISO}, a sentence again, or a text, which stays as it is.
    """

    def value(part: Value) -> Any:
        if isinstance(part, Sentence | Enum):
            return sentence(part if isinstance(part, Sentence) else Sentence(str(part)))
        if isinstance(part, datetime.date):
            return {"day": part.isoformat()[:10]}
        # rounded as in the files, so that 92.5 is the same figure there
        return [round(part.value, part.digits), part.digits, part.unit] if isinstance(part, Quantity) else shown(part)

    used = {name: part for name, part in told.values.items() if f"{{{name}}}" in told.template}
    return {"say": told.template, "with": {name: value(part) for name, part in used.items()}}


def coded(values: Iterable[Hashable]) -> dict[str, list[str] | list[int]]:
    """A text column as numbers into the list of its words: {"words": [...], "of": [...]}."""
    every = _listed(values)
    told = {value: text(value) for value in dict.fromkeys(every)}
    words = sorted(set(told.values()))
    place = {word: i for i, word in enumerate(words)}
    at = {value: place[word] for value, word in told.items()}
    return {"words": words, "of": [at[value] for value in every]}


def coded_sentences(told: Iterable[Sentence]) -> dict[str, list[dict[str, Any]] | list[int]]:
    """The same for a column of sentences."""
    every = list(told)
    said = {id(one): (str(one), one) for one in {id(one): one for one in every}.values()}
    each = dict(sorted(said.values(), key=lambda one: one[0]))
    place = {text: i for i, text in enumerate(each)}
    return {"words": [sentence(one) for one in each.values()], "of": [place[said[id(one)][0]] for one in every]}


def scaled(values: ArrayLike, factor: int) -> list[int | None]:
    """A number column as whole numbers of 1/factor; None where not known."""
    figures = np.asarray(values, dtype=float)
    known = np.isfinite(figures)
    whole = np.rint(np.where(known, figures, 0) * factor).astype(np.int64).astype(object)
    whole[~known] = None
    return whole.tolist()  # type: ignore[no-any-return]  # numpy's list of objects
