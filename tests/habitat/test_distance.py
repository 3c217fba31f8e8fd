"""Distances against the obvious way: every cell against every source."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from habitatmap.geo.engine import Engine
from habitatmap.habitat.distance import distance_to
from tests.examples import examples


def obviously(mask: NDArray[np.bool_], cell_m: float) -> NDArray[np.float64]:
    rows, cols = np.nonzero(mask)
    i, j = np.indices(mask.shape)
    return np.sqrt(((i[..., None] - rows) ** 2 + (j[..., None] - cols) ** 2).min(axis=-1)) * cell_m


MASKS = st.tuples(st.integers(1, 24), st.integers(1, 24)).flatmap(lambda shape: arrays(bool, shape))


@settings(max_examples=examples(120), deadline=None)
@given(mask=MASKS, tile=st.integers(1, 20))
def test_exact_to_the_last_digit_however_it_is_cut(mask: NDArray[np.bool_], tile: int) -> None:
    if not mask.any():
        assert np.isnan(distance_to(mask, 10.0)).all()
        return
    expected = obviously(mask, 10.0)
    assert np.array_equal(distance_to(mask, 10.0), expected)
    assert np.array_equal(distance_to(mask, 10.0, Engine(tile_cells=tile)), expected)


def test_sparse_sources_in_a_wide_raster() -> None:
    mask = np.random.default_rng(2).random((150, 211)) < 0.0008
    assert np.array_equal(distance_to(mask, 7.5), obviously(mask, 7.5))


def test_no_source_is_not_a_number() -> None:
    assert np.isnan(distance_to(np.zeros((6, 4)), 10.0)).all()


def test_a_row_a_column_and_a_full_raster() -> None:
    assert distance_to([[0, 0, 1, 0]], 10.0).tolist() == [[20, 10, 0, 10]]
    assert distance_to([[0], [0], [1]], 10.0).tolist() == [[20], [10], [0]]
    assert (distance_to(np.ones((3, 3)), 10.0) == 0).all()


def test_only_a_raster_has_distances() -> None:
    with pytest.raises(ValueError, match="rows x columns"):
        distance_to(np.ones(4), 10.0)
