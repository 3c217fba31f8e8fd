"""Forage month by month, small enough for a page: cells that go through the year alike share one profile."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habitatmap.geo import scratch
from habitatmap.page.pictures import OUTSIDE, WebMap, classes_of
from habitatmap.result import Result
from habitatmap.vocabulary import themes

MOST_PROFILES = 65_000  # two bytes number them


def month_blocks(result: Result, web: WebMap) -> dict[str, Any]:
    """The blocks `months` (a JSON table) and `month-of` (the profile of each pixel, 2 bytes, rows from the north).

    A profile is 12 class numbers of `themes.FORAGE_BREAKS`, as `pictures.classes_of` gives them. Empty where forage by
    month is not known.
    """
    forage = result.forage_months
    if forage is None:
        return {}
    mean = forage.means()
    if np.isnan(mean).all():
        return {}
    # numbered before they are laid out: profiles are few, cells many
    known = np.unique(np.concatenate([_profile_code(of) for of in (forage.by_class, forage.by_cell)]))
    every = web.thinned(forage.everywhere(lambda of: np.searchsorted(known, _profile_code(of)), np.int32))
    seen = scratch.total(lambda part: np.bincount(part.ravel(), minlength=len(known)), every) > 0
    codes = known[seen]
    if len(codes) > MOST_PROFILES:
        return {}
    table = np.stack([(codes >> (4 * (11 - month))) & 15 for month in range(12)], axis=1)
    number = web.numbers(np.cumsum(seen).astype(np.uint16)[every])  # profile 0 is what lies outside
    settings = result.settings.season
    return {
        "months": {
            "width": web.width,
            "height": web.height,
            "profiles": [[OUTSIDE] * 12, *table.tolist()],
            "first": settings.first_month,
            "last": settings.last_month,
            "lean": result.figures.forage.lean_month or 0,
            "mean": [round(float(m), 4) if np.isfinite(m) else None for m in mean],
        },
        "month-of": planes(number),
    }


def _profile_code(forage: NDArray[np.float32]) -> NDArray[np.int64]:
    """The classes of the twelve months (12, n) as one number (n,), four bits each."""
    coded = np.zeros(forage.shape[1:], dtype=np.int64)
    for month in forage:
        coded = coded * 16 + classes_of(month, themes.FORAGE_BREAKS)
    return coded


def planes(numbers: ArrayLike) -> bytes:
    """Two-byte numbers as all low bytes, then all high bytes: they deflate far better apart."""
    flat = np.ascontiguousarray(np.asarray(numbers).astype("<u2", copy=False)).view(np.uint8).reshape(-1, 2)
    return flat[:, 0].tobytes() + flat[:, 1].tobytes()
