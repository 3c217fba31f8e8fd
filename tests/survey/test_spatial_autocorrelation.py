"""Moran's I and the block bootstrap, against slow ways and on grounds where the answer is plain."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.stats import norm

from habitatmap.survey.codes import Irregular, Lacking
from habitatmap.survey.occupancy import fit_counts
from habitatmap.survey.spatial_autocorrelation import block_bootstrap, clustering, morans_i
from habitatmap.vocabulary.note import note


def lattice(side: int = 9) -> tuple[np.ndarray, np.ndarray]:
    """Places 200 m apart on a square."""
    x, y = np.meshgrid(np.arange(side) * 200.0, np.arange(side) * 200.0)
    return x.ravel() + 20 * np.sin(y.ravel()), y.ravel() + 20 * np.cos(x.ravel())


@pytest.mark.parametrize("n", [np.full(16, 2), 2 + np.arange(16) % 3], ids=["as many searches", "unequal searches"])
def test_morans_i_by_hand(n: np.ndarray) -> None:
    x, y = lattice(4)
    d = np.array([2, 1, 0, 0, 1, 2, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0])
    fit = fit_counts(n, d)
    told = clustering(x, y, n, d, fit)
    beyond = (d > 0) - fit.psi * (1 - (1 - fit.p) ** n)
    beyond = beyond - beyond.mean()
    apart = np.hypot(x[:, None] - x, y[:, None] - y)
    total = 0.0
    for i in range(16):
        for j in np.argsort(apart[i])[1:5]:
            total += beyond[i] * beyond[j] / 4
    assert told.i == pytest.approx(total / (beyond**2).sum())
    assert told.expected == pytest.approx(-1 / 15)


def test_expected_value_and_variance_are_those_over_all_orders() -> None:
    """Cliff & Ord 1981 give them for the randomization assumption; here by writing all 5,040 orders of seven values."""
    values = np.array([0.0, 0.1, 0.5, -0.3, 2.0, 0.7, -1.1])
    near = np.array([[1, 2], [0, 2], [1, 3], [2, 4], [3, 5], [4, 6], [5, 0]])  # one-sided here and there
    weights = csr_array((np.full(14, 0.5), (np.repeat(np.arange(7), 2), near.ravel())), shape=(7, 7))
    orders = np.array(list(permutations(values)))
    z = orders - values.mean()
    all_i = (z * (z @ weights.T.toarray())).sum(axis=1) / (z**2).sum(axis=1)
    i, expected, p = morans_i(values, weights)
    assert i == pytest.approx(all_i[0])
    assert expected == pytest.approx(all_i.mean())
    assert p == pytest.approx(2 * norm.sf(abs(i - all_i.mean()) / all_i.std()))


def test_finds_in_one_corner_lie_together_and_strewn_ones_do_not() -> None:
    x, y = lattice()
    n = np.full(81, 3)
    corner = np.where((x < 800) & (y < 800), 2, 0)
    told = clustering(x, y, n, corner, fit_counts(n, corner))
    assert told.p_value < 0.001
    assert told.i > told.expected
    strewn = np.random.default_rng(1).permutation(corner)
    assert clustering(x, y, n, strewn, fit_counts(n, strewn)).p_value > 0.05


def test_clusters_widen_the_interval() -> None:
    x, y = lattice()
    n = np.full(81, 3)
    corner = np.where((x < 800) & (y < 800), 2, 0)
    strewn = np.random.default_rng(1).permutation(corner)
    wide, narrow = (block_bootstrap(x, y, n, d, 400.0, towns=100) for d in (corner, strewn))
    assert wide.blocks == narrow.blocks >= 20
    assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)
    assert block_bootstrap(x, y, n, corner, 400.0, towns=100) == wide  # the same seed


def test_too_little_says_so() -> None:
    x, y = lattice(2)
    n, d = np.full(4, 2), np.array([1, 0, 1, 0])
    assert clustering(x, y, n, d, fit_counts(n, d)).why == note(Lacking.PLACES, n=4, needed=12)
    x, y = lattice(4)
    n, none = np.full(16, 2), np.zeros(16, int)
    assert clustering(x, y, n, none, fit_counts(n, none)).why == note(Irregular.NO_DETECTION)
    assert block_bootstrap(x, y, n, none, 1e6).why == note(Lacking.SQUARES, n=3, needed=8)


def test_squares_are_halved_where_too_few_hold_a_place() -> None:
    x, y = (v.ravel() for v in np.meshgrid(np.arange(4) * 100.0 + 50, np.arange(4) * 100.0 + 50))
    n, d = np.full(16, 3), np.array([2, 0] * 8)
    found = block_bootstrap(x, y, n, d, 400.0, towns=20)
    assert (found.side_m, found.blocks) == (100.0, 16)  # one square of 400 m, four of 200 m
    once = block_bootstrap(x, y, n, d, 200.0, towns=20)
    assert (once.side_m, once.blocks) == (100.0, 16)  # four squares of 200 m: halved once is enough
