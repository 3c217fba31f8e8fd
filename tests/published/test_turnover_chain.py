"""One place that is found and lost with fixed probabilities is a two-state Markov chain, as textbooks work it out.

Ross, A First Course in Probability, example 2a of chapter 9 and its exercise 9.5 (there rain): state 1 follows state 1
with probability 0.7, and state 0 with probability 0.3. A published solution of the exercise prints the third power of
the matrix, 0.532 and 0.468 in its rows; the book itself was not seen. A place that stays occupied with probability 0.7
and is found with C = 0.3 is lost with l = 0.3 / 0.7 before rescue, as 1 - l (1 - C) = 0.7.
"""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.network.metapopulation import incidence
from habitatmap.network.turnover import found
from habitatmap.plan.simulated_years import Laws, Luck, simulate_occupancy

C, LOST = 0.3, 0.3 / 0.7
THIRD_POWER = {True: 0.532, False: 0.468}
N = 40_000


def occupied(start: bool, years: int) -> float:
    """Share of simulations in which the place is occupied; all flies come from unmapped places."""
    laws = Laws(np.full((1, N), LOST), np.full((1, N), (1 - C) / C), np.ones(N), np.ones(N))
    states = simulate_occupancy(
        np.zeros((1, 1)), np.ones(1), np.full((1, N), start), laws, years, Luck(2, np.arange(N), N)
    )
    return float(states[-1].mean())


def test_arrivals_of_one_give_the_probability_of_being_found() -> None:
    assert found(np.array(1.0), np.array((1 - C) / C), np.array(1.0)) == pytest.approx(C)


@pytest.mark.parametrize("start", [True, False])
def test_three_steps_are_the_printed_third_power(start: bool) -> None:
    assert occupied(start, 3) == pytest.approx(THIRD_POWER[start], abs=4 * np.sqrt(0.25 / N))
    p = float(start)
    for _ in range(3):
        p = C + p * (1 - LOST) * (1 - C)
    assert p == pytest.approx(THIRD_POWER[start], abs=1e-12)


def test_the_long_run_is_half() -> None:
    """The matrix is symmetric, so in the long run the place is occupied in half of the years: J = C / (C + E - C E)."""
    assert occupied(True, 40) == pytest.approx(0.5, abs=4 * np.sqrt(0.25 / N))
    # S = 1 at distance 0, z = 2: C = 1 / (1 + y^2) = 0.3
    y = np.sqrt((1 - C) / C)
    assert incidence([1, 1], [[0, 0], [0, 0]], [0, 1], 1.0, LOST, y, 1.0)[0] == pytest.approx(0.5)
