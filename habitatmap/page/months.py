"""Forage month by month, small enough for a page: cells that go through the year alike share one profile."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

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
    if forage is None or not np.isfinite(forage).any():
        return {}
    coded = np.zeros(result.grid.shape, dtype=np.int64)
    for month in forage:
        coded = coded * 16 + classes_of(month, themes.FORAGE_BREAKS)
    codes, profile = np.unique(coded, return_inverse=True)
    if len(codes) > MOST_PROFILES:
        return {}
    table = np.stack([(codes >> (4 * (11 - month))) & 15 for month in range(12)], axis=1)
    number = web.numbers(profile.reshape(result.grid.shape) + 1)  # profile 0 is what lies outside
    settings = result.settings.season
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a month of which nothing is known has no mean
        mean = np.nanmean(forage.reshape(12, -1), axis=1, dtype=float)
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


def planes(numbers: ArrayLike) -> bytes:
    """Two-byte numbers as all low bytes, then all high bytes: they deflate far better apart."""
    flat = np.ascontiguousarray(np.asarray(numbers).astype("<u2")).view(np.uint8).reshape(-1, 2)
    return flat[:, 0].tobytes() + flat[:, 1].tobytes()
