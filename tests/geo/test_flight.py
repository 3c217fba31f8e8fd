"""The flight kernel as a value; its numbers stand in tests/published/test_kernels.py."""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.geo.flight import MEDIAN_IN_SCALES, FlightKernel, share_beyond, share_beyond_compiled


@pytest.mark.parametrize("median_m", [0.0, -1.0, np.nan, np.inf])
def test_a_median_is_a_length(median_m: float) -> None:
    with pytest.raises(ValueError, match="expected a length above 0 m"):
        FlightKernel(median_m)


def test_the_end_and_what_95_percent_do_not_pass() -> None:
    flight = FlightKernel(MEDIAN_IN_SCALES * 10.0)
    assert flight.scale_m == pytest.approx(10)
    assert flight.end_m == pytest.approx(100)
    assert flight.reach_weight(flight.p95_m) == pytest.approx(0.05, abs=1e-9)
    assert flight.radius_cells(30.0) == 4


def test_weights_end_at_the_radius_in_whole_cells() -> None:
    flight = FlightKernel(MEDIAN_IN_SCALES * 10.0)
    weights = flight.on_cells([0, 1, 4, 4.001], 30.0, "reach")
    assert weights == pytest.approx([1, 4 * np.exp(-3), 13 * np.exp(-12), 0])
    assert flight.on_cells([0, 1, 5], 30.0, "access") == pytest.approx([1, np.exp(-3), 0])
    stamp = flight.stamp(30.0, "reach")
    assert stamp.shape == (9, 9)
    assert stamp[4, [4, 5, 8]] == pytest.approx(weights[:3])
    assert stamp[0, 0] == 0  # 5.7 cells away


def test_blocks_of_a_scale() -> None:
    flight = FlightKernel(MEDIAN_IN_SCALES * 100.0)
    assert flight.block_cells(10.0, 2.1) == 4
    assert flight.block_cells(60.0, 2.0) == 1


def test_compiled_and_plain_are_one_formula() -> None:
    for q in (0.0, 0.3, 1.678347, 12.0):
        assert share_beyond_compiled(q) == pytest.approx(share_beyond(q), rel=1e-15)
