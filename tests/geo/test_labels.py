"""Pieces numbered band by band against scipy.ndimage.label of the whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.ndimage import label

from habitatmap.geo import scratch
from habitatmap.geo.labels import EIGHT, labelled
from tests.examples import examples


@settings(max_examples=examples(150), deadline=None)
@given(mask=arrays(bool, st.tuples(st.integers(1, 14), st.integers(1, 9))), band=st.integers(1, 40))
def test_bands_are_joined_along_their_seams(mask: NDArray[np.bool_], band: int) -> None:
    expected, pieces = label(mask, structure=EIGHT)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scratch, "BAND_CELLS", band)
        number, found = labelled(mask)
    assert found == pieces
    assert np.array_equal(number, expected)


def test_a_spiral_is_one_piece_however_often_it_is_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    spiral = np.array([[1, 1, 1, 1, 1], [0, 0, 0, 0, 1], [1, 1, 1, 0, 1], [1, 0, 0, 0, 1], [1, 1, 1, 1, 1]], bool)
    monkeypatch.setattr(scratch, "BAND_CELLS", 5)
    assert labelled(spiral)[1] == 1
    assert labelled(np.zeros((3, 4), bool))[1] == 0
