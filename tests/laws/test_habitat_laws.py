"""Laws of the rasters: moving the world moves the answer, pieces do not matter, a flat field stays flat."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from habitatmap.geo.engine import Engine
from habitatmap.habitat.access import access_and_share, access_mean
from habitatmap.habitat.distance import distance_to
from tests.examples import examples


def field(seed: int, gaps: float = 0.2, shape: tuple[int, int] = (40, 52)) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    values = rng.random(shape)
    values[rng.random(shape) < gaps] = np.nan
    return values


@settings(max_examples=examples(25), deadline=None)
@given(seed=st.integers(0, 999), tile=st.integers(5, 60), workers=st.integers(1, 3))
def test_the_answer_does_not_depend_on_the_tiles(seed: int, tile: int, workers: int) -> None:
    values = field(seed)
    whole, share = access_and_share(values, 10.0, 30.0)
    pieces, share_too = access_and_share(values, 10.0, 30.0, Engine(workers, tile))
    np.testing.assert_allclose(pieces, whole, atol=1.5e-6)
    np.testing.assert_allclose(share_too, share, atol=1.5e-6)


@settings(max_examples=examples(25), deadline=None)
@given(seed=st.integers(0, 999), down=st.integers(0, 9), right=st.integers(0, 9))
def test_moving_by_whole_cells_moves_the_answer(seed: int, down: int, right: int) -> None:
    values = field(seed, shape=(20, 26))
    moved = np.full((29, 35), np.nan)
    moved[down : down + 20, right : right + 26] = values
    window = (slice(down, down + 20), slice(right, right + 26))
    np.testing.assert_allclose(access_mean(moved, 10.0, 30.0)[window], access_mean(values, 10.0, 30.0), atol=1.5e-6)
    source = np.nan_to_num(moved) > 0.9
    if source.any():
        assert np.array_equal(distance_to(source, 10.0)[window], distance_to(source[window], 10.0))


@settings(max_examples=examples(25), deadline=None)
@given(seed=st.integers(0, 999), level=st.floats(0, 1, width=32))
def test_a_flat_field_has_that_mean_everywhere(seed: int, level: float) -> None:
    values = np.where(np.isnan(field(seed, gaps=0.6)), np.nan, level)
    assert (access_mean(values, 10.0, 30.0) == np.float32(level)).all()


@settings(max_examples=examples(25), deadline=None)
@given(seed=st.integers(0, 999), factor=st.floats(0.1, 1))
def test_means_scale_and_stay_within_their_values(seed: int, factor: float) -> None:
    values = field(seed)
    mean = access_mean(values, 10.0, 30.0)
    assert np.nanmin(values) - 1e-7 <= mean.min()
    assert mean.max() <= np.nanmax(values) + 1e-7
    np.testing.assert_allclose(access_mean(values * factor, 10.0, 30.0), mean * factor, atol=1.5e-6)


@pytest.mark.parametrize("turn", [lambda a: a[::-1], lambda a: a[:, ::-1], np.transpose])
def test_turning_the_raster_turns_the_answer(turn: object) -> None:
    values = field(5)
    assert callable(turn)
    np.testing.assert_allclose(
        access_mean(turn(values), 10.0, 30.0), turn(access_mean(values, 10.0, 30.0)), atol=1.5e-6
    )


@settings(max_examples=examples(40), deadline=None)
@given(seed=st.integers(0, 9999), share=st.sampled_from([0.002, 0.02, 0.3]))
def test_one_more_source_brings_no_cell_farther(seed: int, share: float) -> None:
    rng = np.random.default_rng(seed)
    few = rng.random((30, 30)) < share
    more = few | (rng.random((30, 30)) < share)
    if few.any():
        assert (distance_to(more, 10.0) <= distance_to(few, 10.0)).all()
