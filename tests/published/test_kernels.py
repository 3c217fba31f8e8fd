"""Closed forms of the flight kernel, raster counts and distance cases.

Source of every value here: the project's own derivations, each done in two ways (series or integral by hand, and
numerical quadrature); none is taken from a publication. The median of the exponential kernel also follows from
Lambert's W: -1 - W_{-1}(-1/(2e)).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import lambertw

from habitatmap.geo.flight import MEDIAN_IN_SCALES, FlightKernel
from habitatmap.habitat import access_mean, distance_to

MEDIAN = MEDIAN_IN_SCALES * 100.0  # so that the scale a is 100 m
FLIGHT = FlightKernel(MEDIAN)

# share of flights that end within r, for r/a
WITHIN = {
    0.25: 0.026499021,
    0.5: 0.090204010,
    1: 0.264241118,
    1.5: 0.442174600,
    2: 0.593994150,
    3: 0.800851727,
    4: 0.908421806,
    5: 0.959572318,
    6: 0.982648735,
    8: 0.996980836,
}


def test_the_median_in_scales() -> None:
    assert pytest.approx(1.678346990, abs=5e-10) == MEDIAN_IN_SCALES
    assert pytest.approx(-1 - lambertw(-1 / (2 * np.e), -1).real, abs=1e-14) == MEDIAN_IN_SCALES
    assert FlightKernel(250).scale_m == pytest.approx(250 / 1.678346990)


@pytest.mark.parametrize(("ratio", "within"), WITHIN.items())
def test_reach_weight_is_what_lies_beyond(ratio: float, within: float) -> None:
    assert FLIGHT.reach_weight(ratio * 100) == pytest.approx(1 - within, abs=1e-9)


@pytest.mark.parametrize(
    ("share", "ratio"),
    [(0.25, 0.961278763), (0.75, 2.692634529), (0.9, 3.889720170), (0.95, 4.743864518), (0.99, 6.638352068)],
)
def test_quantiles_of_flight(share: float, ratio: float) -> None:
    assert FLIGHT.reach_weight(ratio * 100) == pytest.approx(1 - share, abs=1e-8)


def test_half_the_flights_reach_the_median() -> None:
    assert FlightKernel(250).reach_weight([0, 250]) == pytest.approx([1, 0.5])
    assert FLIGHT.access_weight([0, 100]) == pytest.approx([1, np.exp(-1)])


# the sum over a raster against 2 pi a^2: relative excess by a/h (Poisson summation)
@pytest.mark.parametrize(
    ("ratio", "excess"), [(1, 0.0356597), (2, 0.00452812), (3, 0.00134564), (5, 0.000291099), (10, 0.0000364107)]
)
def test_sum_over_a_raster(ratio: float, excess: float) -> None:
    cell = 100 / ratio
    weights = FLIGHT.stamp(cell, "access")
    cut_away = float(FLIGHT.reach_weight(10 * 100))  # what lies beyond the kernel's end
    assert weights.sum() * cell**2 / (2 * np.pi * 100**2) - 1 == pytest.approx(excess, abs=1.3 * cut_away)


@pytest.mark.parametrize(
    ("r", "cells"),
    [
        (1, 5),
        (2, 13),
        (3, 29),
        (4, 49),
        (5, 81),
        (6, 113),
        (7, 149),
        (8, 197),
        (9, 253),
        (10, 317),
        (20, 1257),
        (25, 1961),
        (50, 7845),
    ],
)
def test_cells_within_a_radius(r: int, cells: int) -> None:
    centre = np.zeros((2 * r + 3, 2 * r + 3), dtype=bool)
    centre[r + 1, r + 1] = True
    assert (distance_to(centre, 1.0) <= r).sum() == cells
    # and a kernel that ends there has as many weights; a median of r/10 scales puts its end at r cells
    flight = FlightKernel(MEDIAN_IN_SCALES * r / 10)
    assert flight.radius_cells(1.0) == pytest.approx(r, abs=1)
    if flight.radius_cells(1.0) == r:
        assert (flight.stamp(1.0, "access") > 0).sum() == cells


HALF_PLANE = {0: 0.5, 25: 0.422370043, 50: 0.352019967, 100: 0.238513073, 200: 0.103421536, 300: 0.042993082}


def test_forage_beyond_a_straight_edge() -> None:
    # the edge runs through the middle of a column, which therefore counts half
    column = np.full(501, 0.0)
    column[250], column[251:] = 0.5, 1.0
    mean = access_mean(np.tile(column, (501, 1)), 5.0, MEDIAN)
    for d, expected in HALF_PLANE.items():
        assert mean[250, 250 - d // 5] == pytest.approx(expected, abs=3e-4), d


@pytest.mark.parametrize("ratio", [1, 1.5, 2, 3, 4, 5, 6])
def test_a_disc_of_forage_around_the_focal_cell(ratio: float) -> None:
    across = (np.arange(601) - 300) * 5.0
    d = np.hypot(across[:, None], across[None, :])
    # cells on the rim count by the part of them inside, to first order in the distance of their centre from the rim
    disc = np.clip(0.5 + (ratio * 100 - d) / 5.0, 0, 1)
    assert access_mean(disc, 5.0, MEDIAN)[300, 300] == pytest.approx(WITHIN[ratio], abs=6e-4)


@pytest.mark.parametrize(("ratio", "within"), [(1, 0.109679401), (2, 0.308760200), (4, 0.652522873), (10, 0.973159559)])
def test_a_square_of_forage_around_the_focal_cell(ratio: float, within: float) -> None:
    side = int(ratio * 100 / 5)  # an even number of cells; the focal point is a cell centre, so rims count half
    strip = np.zeros(601)
    strip[300 - side // 2 : 301 + side // 2] = 1
    strip[[300 - side // 2, 300 + side // 2]] = 0.5
    assert access_mean(np.outer(strip, strip), 5.0, MEDIAN)[300, 300] == pytest.approx(within, abs=6e-4)


def test_distances_from_a_single_source() -> None:
    source = np.zeros((5, 7), dtype=bool)
    source[2, 1] = True
    d = distance_to(source, 10.0)
    assert d[2, 6] == 50
    assert d[0, 0] == pytest.approx(22.360679775, abs=1e-9)
    assert d[4, 5] == pytest.approx(44.721359550, abs=1e-9)
