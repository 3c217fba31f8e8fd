"""Sparrowhawks on 116 kilometre squares of the Swiss breeding bird survey, 2000-2005, mostly three visits a year.

Data and posterior: the example "Sparrowhawks" (contributed by Marc Kéry) of the manual of the BUGS language, after
Royle & Kéry 2007, Ecology 88:1813-1823. There colonisation, survival and detection differ by year, and all priors are
uniform from 0 to 1. Two chains of Markov chain Monte Carlo gave the means, their Monte Carlo errors and the standard
deviations below.

The manual gives no maximum likelihood. Those values were computed here from its data in two ways that agreed to 1e-6:
a quasi-Newton climb on the likelihood summed over all 64 courses of states, and expectation-maximisation.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit, logit

from habitatmap.survey.dynamic import Rates, SeasonHistories, backward, forward

# searches by year / detections by year x squares
SQUARES = """
333333/222222x1 333333/200102x1 333333/120000x1 333333/110000x4 333333/100010x1 333333/100000x9 333333/011100x1
333333/011000x1 333333/010012x1 333333/010010x1 333333/010003x1 333333/010000x3 333333/001010x1 333333/001000x7
333333/000200x1 333333/000112x1 333333/000100x6 333333/000012x1 333333/000011x2 333333/000010x7 333333/000002x2
333333/000001x5 333333/000000x43 333033/000000x2 330333/000000x2 300333/000000x1 033333/000000x1
222222/000200x1 222222/000011x1 222222/000000x5 222202/000100x1 202222/000100x1
"""
YEARS = 6


def read() -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Searches and detections, squares x years."""
    n, d = [], []
    for word in SQUARES.split():
        history, count = word.split("x")
        searches, detections = ([int(c) for c in part] for part in history.split("/"))
        n += [searches] * int(count)
        d += [detections] * int(count)
    return np.array(n), np.array(d)


SEARCHES, DETECTIONS = read()
HISTORIES = SeasonHistories.of(SEARCHES, DETECTIONS)


def test_the_counts() -> None:
    assert SEARCHES.shape == (116, YEARS)
    np.testing.assert_array_equal(SEARCHES.sum(axis=0), [336, 334, 330, 333, 337, 339])
    np.testing.assert_array_equal(DETECTIONS.sum(axis=0), [19, 16, 12, 17, 18, 25])
    np.testing.assert_array_equal((DETECTIONS > 0).sum(axis=0), [17, 14, 11, 14, 17, 16])


def climb(by_year: bool) -> tuple[float, NDArray[np.float64]]:
    """-2 log likelihood at its best, and psi, colonised, lost and p (one, or one a year) there."""
    few = HISTORIES.kinds()

    def loss(v: NDArray[np.float64]) -> float:
        first, colonised, lost = expit(v[:3])
        p = expit(v[3:]) if by_year else expit(v[3])
        return float(-2 * forward(few, Rates(first, colonised, lost, p))[2][0])

    start = logit(np.r_[0.3, 0.2, 0.5, np.full(YEARS if by_year else 1, 0.2)])
    best = minimize(loss, start, method="BFGS", options={"gtol": 1e-4})
    return float(best.fun), expit(best.x)


def test_maximum_likelihood_with_one_detection() -> None:
    least, at = climb(by_year=False)
    assert least == pytest.approx(800.850849, abs=2e-6)
    np.testing.assert_allclose(at, [0.297513, 0.182311, 0.517879, 0.198193], atol=2e-5)


def test_maximum_likelihood_with_detection_by_year() -> None:
    least, at = climb(by_year=True)
    assert least == pytest.approx(793.470328, abs=2e-6)
    np.testing.assert_allclose(at[:3], [0.401340, 0.167508, 0.540393], atol=5e-5)
    p = [0.139947, 0.165314, 0.138967, 0.206760, 0.209058, 0.354332]
    np.testing.assert_allclose(at[3:], p, atol=5e-5)
    rates = Rates(*at[:3], at[3:])
    before, after, _ = forward(HISTORIES, rates)
    occupied = backward(rates, before, after).sum(axis=2)[:, 0]
    np.testing.assert_allclose(occupied, [46.5554, 33.3433, 30.0590, 29.0836, 29.8423, 24.1571], atol=0.01)


# name, mean, Monte Carlo error of it, standard deviation
PUBLISHED = [
    ("occupied 1", 48.53, 0.4477, 17.89),
    ("occupied 2", 41.97, 0.3702, 16.06),
    ("occupied 3", 52.01, 0.5688, 21.97),
    ("occupied 4", 42.18, 0.4658, 19.25),
    ("occupied 5", 45.58, 0.289, 14.61),
    ("occupied 6", 21.85, 0.05001, 4.583),
    ("colonised 1", 0.1823, 0.003587, 0.1676),
    ("colonised 2", 0.3877, 0.005875, 0.2346),
    ("colonised 3", 0.3347, 0.004764, 0.2208),
    ("colonised 4", 0.3908, 0.003509, 0.1801),
    ("colonised 5", 0.06597, 0.0006957, 0.0568),
    ("p 1", 0.1555, 0.001074, 0.05947),
    ("p 2", 0.1556, 0.001131, 0.06507),
    ("p 3", 0.1044, 0.001103, 0.05716),
    ("p 4", 0.1791, 0.001598, 0.08632),
    ("p 5", 0.1537, 0.0007891, 0.05447),
    ("p 6", 0.4078, 0.0008087, 0.09248),
    ("survived 1", 0.6489, 0.003531, 0.2016),
    ("survived 2", 0.5683, 0.004617, 0.2375),
    ("survived 3", 0.4300, 0.004787, 0.231),
    ("survived 4", 0.4205, 0.003096, 0.204),
    ("survived 5", 0.4271, 0.002085, 0.15),
    ("psi 1", 0.4200, 0.003853, 0.1575),
    ("psi 6", 0.1986, 0.0004835, 0.05253),
]


def sample(sweeps: int, seed: int) -> NDArray[np.float64]:
    """Sweeps x the columns of PUBLISHED, by Gibbs sampling (Royle & Kéry's own way to this posterior).

    A course of states is drawn backwards from the program's forward probabilities, and the rates given it from their
    Beta distributions. The occupied squares are the sum of the program's backward probabilities.
    """
    rng = np.random.default_rng(seed)
    psi, colonised, lost, p = 0.4, np.full(YEARS - 1, 0.3), np.full(YEARS - 1, 0.4), np.full(YEARS, 0.2)
    rows = []
    for _ in range(sweeps):
        rates = Rates(psi, colonised[None, None, :], lost[None, None, :], p)
        before, after, _ = forward(HISTORIES, rates)
        u = rng.random((YEARS, len(SEARCHES)))
        z = u < after[:, 0]  # of the last year; those before follow from the year after
        for t in range(YEARS - 2, -1, -1):
            stays = np.where(z[t + 1], 1 - lost[t], lost[t]) * after[t, 0]
            z[t] = u[t] * (stays + np.where(z[t + 1], colonised[t], 1 - colonised[t]) * (1 - after[t, 0])) < stays
        full, many = z.sum(axis=1), z.shape[1]
        kept, won = (z[:-1] & z[1:]).sum(axis=1), (~z[:-1] & z[1:]).sum(axis=1)
        expected = backward(rates, before, after).sum(axis=2)[:, 0]
        at_last = psi
        for t in range(YEARS - 1):
            at_last = at_last * (1 - lost[t]) + (1 - at_last) * colonised[t]
        rows.append(np.r_[expected, colonised, p, 1 - lost, psi, at_last])
        psi = rng.beta(1 + full[0], 1 + many - full[0])
        lost = 1 - rng.beta(1 + kept, 1 + full[:-1] - kept)
        colonised = rng.beta(1 + won, 1 + many - full[:-1] - won)
        searched, found = (SEARCHES.T * z).sum(axis=1), DETECTIONS.sum(axis=0)
        p = rng.beta(1 + found, 1 + searched - found)
    return np.array(rows)


def compare(drawn: NDArray[np.float64], names: set[str] | None = None) -> None:
    """Each mean within four Monte Carlo errors, the published one and our own (from 20 batches) together."""
    batches = drawn.reshape(20, -1, len(PUBLISHED)).mean(axis=1)
    own = batches.std(axis=0, ddof=1) / np.sqrt(len(batches))
    for i, (name, mean, error, sd) in enumerate(PUBLISHED):
        if names is None or name in names:
            assert abs(drawn[:, i].mean() - mean) <= 4 * np.hypot(error, own[i]), name
            if not name.startswith("occupied"):  # the spread of an expected number is less than that of the number
                assert drawn[:, i].std() == pytest.approx(sd, rel=0.1), name


def test_the_posterior_of_the_last_year() -> None:
    """The figures that the searches know best, whose chains mix within few sweeps."""
    compare(sample(3_500, 3)[500:], {"occupied 6", "colonised 5", "p 6", "psi 6"})


@pytest.mark.slow
def test_the_posterior_of_every_year() -> None:
    compare(sample(101_000, 1)[1000:])
