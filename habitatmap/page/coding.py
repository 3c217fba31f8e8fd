"""Values as a page carries them: small, finite, in a fixed order, and safe to show.

Positions become whole numbers of 1e-5 degree (about a metre), each stored as its difference from the one before.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from enum import Enum
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from shapely import get_coordinates, get_parts
from shapely.geometry.base import BaseGeometry

from habitatmap.geo.crs import WGS84, transformer
from habitatmap.page.document import shown
from habitatmap.words.sentences import Quantity, Sentence, Value

PER_DEGREE = 100_000


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

    def path(self, line: BaseGeometry) -> list[int]:
        """One line or ring as x0, y0, dx1, dy1, ..."""
        xy = get_coordinates(line)
        lon, lat = self.whole(xy[:, 0], xy[:, 1])
        flat: list[int] = np.column_stack([np.diff(lon, prepend=0), np.diff(lat, prepend=0)]).ravel().tolist()
        return flat

    def polygon(self, shape: BaseGeometry | None) -> list[list[list[int]]]:
        """The polygons of a geometry, each a list of rings, shell first; other parts are left out."""
        return [
            [self.path(ring) for ring in (part.exterior, *part.interiors)]
            for part in _parts(shape)
            if part.geom_type == "Polygon"
        ]

    def inside(self, shape: BaseGeometry) -> list[int]:
        """[lon, lat] of a point well inside a polygon, for its number."""
        middle = shape.representative_point()
        return self.point(middle.x, middle.y)

    def lines(self, shape: BaseGeometry | None) -> list[list[int]]:
        """The lines of a geometry."""
        return [self.path(part) for part in _parts(shape) if part.geom_type == "LineString"]


def _parts(shape: BaseGeometry | None) -> Sequence[BaseGeometry]:
    return [] if shape is None or shape.is_empty else list(get_parts(shape))


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
    return [text(value) for value in values]


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


def coded(values: Iterable[object]) -> dict[str, list[str] | list[int]]:
    """A text column as numbers into the list of its words: {"words": [...], "of": [...]}."""
    all_texts = texts(values)
    words = sorted(set(all_texts))
    place = {word: i for i, word in enumerate(words)}
    return {"words": words, "of": [place[one] for one in all_texts]}


def coded_sentences(told: Iterable[Sentence]) -> dict[str, list[dict[str, Any]] | list[int]]:
    """The same for a column of sentences."""
    by_text = [(str(one), one) for one in told]
    each = dict(sorted(by_text, key=lambda one: one[0]))
    place = {text: i for i, text in enumerate(each)}
    return {"words": [sentence(one) for one in each.values()], "of": [place[text] for text, _ in by_text]}


def scaled(values: Iterable[float], factor: int) -> list[int | None]:
    """A number column as whole numbers of 1/factor; None where not known."""
    return [round(float(v) * factor) if math.isfinite(v) else None for v in values]
