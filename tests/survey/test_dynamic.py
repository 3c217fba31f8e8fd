"""Occupancy over several seasons, held against every course of states written out in plain Python."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import expit, logit

from habitatmap.survey import dynamic
from habitatmap.survey.constant import Histories, Prior, conditional, posterior
from habitatmap.survey.dynamic import Rates, SeasonHistories, backward, draw_seasons, forward
from tests.survey.tools import slow_log_likelihood


def courses(
    searches: Sequence[int], detections: Sequence[int], start: int, rates: dict[str, NDArray[np.float64]], site: int
) -> Iterator[tuple[tuple[int, ...], list[float]]]:
    """Every course of states a site can take from its first season, with its probability up to each season, the
    season's searches included.
    """
    seasons = len(searches)
    for course in product((0, 1), repeat=seasons - start):
        likely, so_far = 1.0, []
        for t in range(start, seasons):
            z = course[t - start]
            if t == start:
                chance = float(rates["first"][site])
            elif course[t - start - 1]:
                chance = 1 - float(rates["lost"][site, t - 1])
            else:
                chance = float(rates["colonised"][site, t - 1])
            likely *= chance if z else 1 - chance
            n, d, p = searches[t], detections[t], float(rates["p"][t])
            likely *= p**d * (1 - p) ** (n - d) if z else float(d == 0)
            so_far.append(likely)
        yield course, so_far


def town(seed: int) -> tuple[SeasonHistories, dict[str, NDArray[np.float64]]]:
    """Three to seven sites over two to five seasons: seasons without a search, later starts, rates of site and step."""
    rng = np.random.default_rng(seed)
    sites, seasons = int(rng.integers(3, 8)), int(rng.integers(2, 6))
    start = np.where(rng.random(sites) < 0.6, 0, rng.integers(0, seasons, sites))
    begun = np.arange(seasons) >= start[:, None]
    n = np.where(begun & (rng.random((sites, seasons)) < 0.7), rng.integers(1, 5, (sites, seasons)), 0)
    if seed % 3 == 0:
        n[:, seasons // 2] = 0  # nobody went anywhere
    rates = {
        "first": rng.random(sites),
        "colonised": rng.random((sites, seasons - 1)),
        "lost": rng.random((sites, seasons - 1)),
        "p": rng.random(seasons),
    }
    d = np.where(rng.random((sites, 1)) < 0.6, rng.binomial(n, 0.4), 0)
    return SeasonHistories.of(n, d, start), rates


def as_rates(rates: dict[str, NDArray[np.float64]]) -> Rates:
    return Rates(rates["first"], rates["colonised"][None], rates["lost"][None], rates["p"])


@pytest.mark.parametrize("seed", range(40))
def test_likelihood_and_probabilities_sum_over_every_course(seed: int) -> None:
    h, rates = town(seed)
    before, after, total = forward(h, as_rates(rates))
    smooth = backward(as_rates(rates), before, after)
    slow = 0.0
    for i, start in enumerate(h.start.tolist()):
        every = list(courses(h.searches[i].tolist(), h.detections[i].tolist(), start, rates, i))
        whole = sum(so_far[-1] for _, so_far in every)
        slow += math.log(whole)
        for t in range(start, h.seasons):
            k = t - start
            # courses are alike up to season t: those that differ later only are counted once
            upto = {course[: k + 1]: so_far[k] for course, so_far in every}
            filtered = sum(v for course, v in upto.items() if course[k]) / sum(upto.values())
            given_all = sum(so_far[-1] for course, so_far in every if course[k]) / whole
            assert after[t, 0, i] == pytest.approx(filtered, rel=1e-8, abs=1e-12)
            assert smooth[t, 0, i] == pytest.approx(given_all, rel=1e-8, abs=1e-12)
    assert total[0] == pytest.approx(slow, rel=1e-8)


def test_draws_of_rates_side_by_side() -> None:
    """Several draws at once are each what it is alone."""
    h, _ = town(1)
    rng = np.random.default_rng(5)
    first, colonised, lost = rng.random((3, 4, 1))
    p = rng.random((4, h.seasons))
    together = forward(h, Rates(first, colonised, lost, p))
    smooth = backward(Rates(first, colonised, lost, p), *together[:2])
    for k in range(4):
        rates = Rates(float(first[k, 0]), float(colonised[k, 0]), float(lost[k, 0]), p[k])
        alone = forward(h, rates)
        assert together[2][k] == pytest.approx(alone[2][0], rel=1e-12)
        np.testing.assert_allclose(together[1][:, k], alone[1][:, 0], rtol=1e-12)
        np.testing.assert_allclose(smooth[:, k], backward(rates, *alone[:2])[:, 0], rtol=1e-12)


def test_by_hand() -> None:
    """A site seen occupied in the first season and searched once without a detection in the second.

    Before that search 1 - 0.2 = 0.8; after it 0.8 x 0.5 / (0.8 x 0.5 + 0.2) = 2/3. Likelihood 0.4 x 0.5 x 0.6.
    """
    h = SeasonHistories.of([[1, 1]], [[1, 0]])
    before, after, total = forward(h, Rates(0.4, 0.1, 0.2, 0.5))
    assert before[1, 0, 0] == pytest.approx(0.8)
    assert after[1, 0, 0] == pytest.approx(2 / 3)
    assert total[0] == pytest.approx(math.log(0.4 * 0.5 * 0.6))


def test_probabilities_of_log_odds() -> None:
    odds = np.r_[-np.inf, -800.0, np.linspace(-700.0, 700.0, 99), 800.0, np.inf]
    with np.errstate(all="raise", under="ignore"):
        assert dynamic.probability(odds) == pytest.approx(expit(odds), rel=1e-14, abs=1e-300)


def test_a_season_without_a_search_is_two_steps() -> None:
    first, colonised, lost, p = 0.55, 0.15, 0.35, 0.45
    stays = (1 - lost) ** 2 + lost * colonised
    arrives = colonised * (1 - lost) + (1 - colonised) * colonised
    n, d = np.array([[3, 2], [2, 2], [1, 4], [2, 0]]), np.array([[1, 0], [0, 1], [0, 0], [2, 0]])
    gap_n, gap_d = (np.insert(a, 1, 0, axis=1) for a in (n, d))
    with_gap = forward(SeasonHistories.of(gap_n, gap_d), Rates(first, colonised, lost, p))
    direct = forward(SeasonHistories.of(n, d), Rates(first, arrives, 1 - stays, p))
    assert with_gap[2][0] == pytest.approx(direct[2][0], rel=1e-12)
    np.testing.assert_allclose(with_gap[1][2], direct[1][1], rtol=1e-12)


def test_one_season_is_the_model_of_one_season() -> None:
    n, d = np.array([3, 2, 1, 4, 0, 2]), np.array([1, 0, 0, 2, 0, 0])
    _, after, total = forward(SeasonHistories.of(n[:, None], d[:, None]), Rates(0.6, 0.3, 0.2, 0.4))
    found = [[float(j < detected) for j in range(k)] + [np.nan] * (4 - k) for k, detected in zip(n, d, strict=True)]
    assert total[0] == pytest.approx(slow_log_likelihood(found, np.full(6, 0.6), np.full((6, 4), 0.4)), rel=1e-12)
    blank = d == 0
    np.testing.assert_allclose(after[0, 0, blank], conditional(0.6, 0.4, n[blank]), rtol=1e-12)
    np.testing.assert_array_equal(after[0, 0, ~blank], 1.0)


def some_town(seed: int = 8) -> SeasonHistories:
    """Thirty sites over three seasons."""
    rng = np.random.default_rng(seed)
    z = rng.random(30) < 0.6
    n = rng.integers(0, 4, (30, 3))
    d = np.zeros((30, 3), dtype=np.int64)
    for t in range(3):
        z = np.where(z, rng.random(30) >= 0.2, rng.random(30) < 0.3) if t else z
        d[:, t] = rng.binomial(n[:, t], 0.5 * z)
    return SeasonHistories.of(n, d)


def test_one_season_has_the_posterior_of_the_model_of_one_season() -> None:
    """The grid of that model is another way to the same integral; draws agree with it to their own error."""
    h = some_town()
    n, d = h.searches[:, 0], h.detections[:, 0]
    drawn = draw_seasons(SeasonHistories.of(n[:, None], d[:, None]), Prior())
    known = posterior(Histories.count(n, d), Prior())
    assert expit(drawn.first).mean() == pytest.approx(known.mean(known.psi_grid), abs=0.01)
    assert drawn.p[:, 0].mean() == pytest.approx(known.mean(known.p_grid), abs=0.01)
    np.testing.assert_allclose(
        np.quantile(expit(drawn.first), [0.025, 0.975]), known.interval(known.psi_grid), atol=0.02
    )


def test_the_order_of_the_sites_means_nothing() -> None:
    h = some_town()
    order = np.random.default_rng(2).permutation(30)
    mixed = SeasonHistories.of(h.searches[order], h.detections[order], h.start[order])
    told, again = draw_seasons(h, Prior()), draw_seasons(mixed, Prior())
    for name in ("first", "colonised", "lost", "p"):
        np.testing.assert_array_equal(getattr(told, name), getattr(again, name))
    rates = Rates(0.5, 0.2, 0.3, np.array([0.4, 0.5, 0.6]))
    np.testing.assert_allclose(forward(mixed, rates)[1], forward(h, rates)[1][..., order], rtol=1e-12)
    assert forward(h, rates)[2][0] == pytest.approx(forward(mixed, rates)[2][0], rel=1e-12)
    assert forward(h.kinds(), rates)[2][0] == pytest.approx(forward(h, rates)[2][0], rel=1e-12)


def test_sites_never_searched_add_nothing() -> None:
    h = some_town()
    more = SeasonHistories.of(
        np.vstack([h.searches, np.zeros((5, 3), int)]), np.vstack([h.detections, np.zeros((5, 3), int)])
    )
    rates = Rates(0.5, 0.2, 0.3, 0.4)
    assert forward(more, rates)[2][0] == pytest.approx(forward(h, rates)[2][0], rel=1e-12)


def test_rates_at_their_limits() -> None:
    """Nothing divides by nothing where a rate is 0 or 1."""
    h = SeasonHistories.of([[2, 1, 1], [1, 0, 1]], [[2, 0, 1], [0, 0, 0]])
    for rates in (Rates(1.0, 0.0, 0.0, 0.5), Rates(0.5, 1.0, 0.0, 0.5), Rates(0.5, 0.3, 0.2, 0.999)):
        before, after, total = forward(h, rates)
        smooth = backward(rates, before, after)
        assert np.isfinite(total).all()
        assert ((smooth >= 0) & (smooth <= 1 + 1e-12)).all()
    _, after, total = forward(h, Rates(0.0, 0.0, 0.0, 0.5))  # cannot give what was seen
    assert total[0] == -np.inf
    assert np.isfinite(after).all()


def test_each_searched_season_has_a_detection_of_its_own() -> None:
    """60 sites, all occupied: larvae at four searches of five in one season, at one of five in the other."""
    n, d = np.full((60, 2), 5), np.tile([4, 1], (60, 1))
    p = draw_seasons(SeasonHistories.of(n, d), Prior()).p.mean(axis=0)
    assert p[0] > 0.7
    assert p[1] < 0.35


def test_a_season_without_a_search_has_a_detection_that_nobody_knows() -> None:
    n, d = np.tile([5, 0, 5], (60, 1)), np.tile([2, 0, 2], (60, 1))
    odds = logit(draw_seasons(SeasonHistories.of(n, d), Prior()).p)
    assert odds[:, 1].std() > 2 * odds[:, [0, 2]].std(axis=0).max()
    assert odds[:, 1].std() == pytest.approx(Prior().season_sd, abs=0.2)


@pytest.mark.parametrize("false_share", [0.0, 0.02])
def test_a_site_of_very_many_searches_is_one_of_few_with_the_same_said_more_often(false_share: float) -> None:
    """Sites that are searched 2,000 times: the likelihood of each is far below the least number."""
    n, d = np.array([[2000, 3], [2000, 0], [0, 2000]]), np.array([[650, 1], [0, 0], [0, 1]])
    h, rates = SeasonHistories.of(n, d), Rates(0.4, 0.2, 0.3, np.array([[0.3, 0.25], [0.6, 0.01]]))
    before, after, found = forward(h, rates, false_share)
    for draw, (p, later) in enumerate([(0.3, 0.25), (0.6, 0.01)]):
        total = 0.0
        for (n1, n2), (d1, d2) in zip(n.tolist(), d.tolist(), strict=True):
            logs = []
            for first, second in product((0, 1), repeat=2):
                chance = (0.4 if first else 0.6) * ((0.7 if second else 0.3) if first else (0.2 if second else 0.8))
                parts = [math.log(chance)]
                for z, m, k, q in ((first, n1, d1, p), (second, n2, d2, later)):
                    share = q if z else false_share
                    parts += [k * math.log(share) if k else 0.0] if share else [-math.inf if k else 0.0]
                    parts.append((m - k) * math.log1p(-share))
                logs.append(sum(parts))
            total += float(np.logaddexp.reduce(logs))
        assert found[draw] == pytest.approx(total, rel=1e-9)
    assert np.isfinite(before).all()
    assert after[0, :, 0] == pytest.approx([1.0, 1.0])
    assert after[0, :, 1] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_among_others_a_site_of_very_many_searches_has_a_posterior() -> None:
    rng = np.random.default_rng(4)
    n = rng.integers(1, 4, (51, 1))
    d = np.where(rng.random((51, 1)) < 0.5, rng.binomial(n, 0.3), 0)
    n[0], d[0] = 2000, 650
    drawn = draw_seasons(SeasonHistories.of(n, d), Prior())
    assert np.isfinite(drawn.first).all()
