"""The simulated years against exact small cases, and the laws of a fair comparison."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest

from habitatmap.errors import InputError
from habitatmap.network.metapopulation import incidence
from habitatmap.plan.outlook import (
    LAST_YEARS,
    PARAMETER_RANGES,
    TAILS,
    Conditions,
    Measure,
    NothingToCompare,
    NothingToCompareError,
    Strategy,
    Tail,
    _differences,
    _quality,
    balance,
    fat_tail,
    ground_points,
    other_plans,
    simulate_occupancy,
    simulate_outlook,
    thin_tail,
)

FLOW = np.array([[0.0, 0.5, 0.1], [0.5, 0.0, 0.3], [0.1, 0.3, 0.0]])
QUALITY = np.array([1.0, 0.5, 2.0])
E, X, Y, Z = 0.3, 0.8, 0.6, 1.4


def exact_probabilities(start: tuple[int, ...], years: int) -> np.ndarray:
    """Chance that each of three places is occupied after so many years: the chain over all eight states, by hand."""
    states = list(product((0, 1), repeat=3))
    move = np.zeros((8, 8))
    for i, now in enumerate(states):
        s = FLOW @ (QUALITY * np.array(now))
        found = s**Z / (s**Z + Y**Z)
        lost = np.minimum(1, E / QUALITY**X) * (1 - found)
        filled = np.where(np.array(now) == 1, 1 - lost, found)
        for j, then in enumerate(states):
            move[i, j] = np.prod(np.where(np.array(then) == 1, filled, 1 - filled))
    after = np.linalg.matrix_power(move, years)[states.index(start)]
    return after @ np.array(states)


def parameters(n: int, z: float = Z) -> pd.DataFrame:
    return pd.DataFrame({"e": np.full(n, E), "x": np.full(n, X), "y": np.full(n, Y), "z": np.full(n, z)})


@pytest.mark.parametrize("years", [1, 2, 10])
def test_simulated_shares_are_the_chain_s(years: int) -> None:
    n = 20_000
    start = np.repeat(np.array([[True], [False], [True]]), n, axis=1)
    share = simulate_occupancy(FLOW, QUALITY, start, parameters(n), years)[-1].mean(axis=1)
    expected = exact_probabilities((1, 0, 1), years)
    assert np.abs(share - expected).max() < 4.5 * np.sqrt(0.25 / n)  # 4.5 standard errors at most


def test_a_place_between_others_that_never_change_has_the_published_incidence() -> None:
    """Long-run share of years occupied equals J of the incidence function model, as `incidence` gives it."""
    n, years = 400, 300
    # the second place is so good that it is never lost, and sends the same arrivals every year: 1e6 x 0.5e-6 = 1/2,
    # which is what `incidence` sees of an area of 1 at exp(-alpha d) = 1/2
    quality, flow = np.array([1.0, 1e6]), np.array([[0.0, 0.5e-6], [0.5e-6, 0.0]])
    start = np.ones((2, n), dtype=bool)
    world = parameters(n, z=2.0)  # Hanski's own
    share = simulate_occupancy(flow, quality, start, world, years)[50:, 0].mean()
    alone = incidence([1, 1], [[0, np.log(2)], [np.log(2), 0]], [0, 1], 1.0, E, Y, X)[0]
    assert share == pytest.approx(alone, abs=0.01)


def test_nobody_comes_from_nowhere() -> None:
    start = np.zeros((3, 50), dtype=bool)
    assert not simulate_occupancy(FLOW, QUALITY, start, parameters(50), 20).any()


def test_more_places_have_the_same_luck() -> None:
    """A place too far off to matter changes nothing for the others, whatever its number of simulations."""
    start = np.random.default_rng(3).random((3, 40)) < 0.5
    far = np.pad(FLOW, (0, 1))
    longer = simulate_occupancy(
        far, np.r_[QUALITY, 1.0], np.vstack([start, np.ones((1, 40), bool)]), parameters(40), 15
    )
    alone = simulate_occupancy(FLOW, QUALITY, start, parameters(40), 15)
    assert (longer[:, :3] == alone).all()
    some = parameters(40).iloc[[3, 8, 21]]
    assert (
        simulate_occupancy(FLOW, QUALITY, start[:, some.index], some, 15, all_simulations=40) == alone[:, :, some.index]
    ).all()


def test_one_more_place_never_empties_another() -> None:
    start = np.random.default_rng(4).random((3, 200)) < 0.6
    fewer = simulate_occupancy(FLOW[:2, :2], QUALITY[:2], start[:2], parameters(200), 20)
    more = simulate_occupancy(FLOW, QUALITY, start, parameters(200), 20)[:, :2]
    assert (more >= fewer).all()
    assert (more > fewer).any()


def test_in_balance_as_many_are_found_as_lost() -> None:
    """Three equal places, each seeing the other two alike: gains = losses solved by hand for C, then for y."""
    flow = np.array([[0.0, 0.5, 0.5], [0.5, 0.0, 0.5], [0.5, 0.5, 0.0]])
    p, e = 0.6, 0.2
    # (1 - p) C = p e (1 - C)  ->  C = p e / (1 - p + p e);  C = S^z / (S^z + y^z) with S = p
    found = p * e / (1 - p + p * e)
    two = pd.DataFrame({"e": [e, e], "x": [1.0, 2.0], "z": [1.0, 2.0]})
    odds = 1 / found - 1
    assert balance(flow, np.ones(3), [p] * 3, two) == pytest.approx([p * odds, p * np.sqrt(odds)])


@pytest.mark.parametrize("tail", TAILS.values())
def test_tails_have_their_median(tail: object) -> None:
    assert callable(tail)
    d = np.linspace(0, 3000, 301)
    assert tail(0, 500) == 1
    assert tail(500, 500) == pytest.approx(0.5)
    assert (np.diff(tail(d, 500)) < 0).all()


def test_the_tails_are_those_of_their_landing_places() -> None:
    """Drawn landing places of both kinds: the share beyond r is the tail. 2Dt with p = 1: r = m sqrt(u / (1 - u))."""
    random = np.random.default_rng(5)
    u = random.random(200_000)
    gaussian = np.hypot(*random.normal(0, 500 / np.sqrt(2 * np.log(2)), (2, 200_000)))
    for r in (100, 500, 1500):
        assert (500 * np.sqrt(u / (1 - u)) > r).mean() == pytest.approx(float(fat_tail(r, 500)), abs=0.005)
        assert (gaussian > r).mean() == pytest.approx(float(thin_tail(r, 500)), abs=0.005)


def small() -> dict[str, object]:
    places = pd.DataFrame({"x": [0.0, 400.0], "y": [0.0, 0.0], "access": [0.4, 0.6]})
    plan = pd.DataFrame({"x": [800.0, 1200.0], "y": [0.0, 0.0], "access": [0.5, 0.5]})
    far = pd.DataFrame({"x": [90_000.0, 99_000.0], "y": [0.0, 0.0], "access": [0.5, 0.5]})
    x = np.arange(0, 2000, 100.0)
    return {
        "places": places,
        "strategies": {Strategy.NONE: [plan.iloc[:0]], Strategy.PLAN: [plan], Strategy.RANDOM: [far, far + 500.0]},
        "demand": pd.DataFrame({"x": x, "y": 0.0, "w": 1.0}),
        "probabilities": [[0.9, 0.9]],
        "under": Conditions(250.0, 500.0, simulations=40),
    }


def test_pools_where_flies_can_find_them_come_first() -> None:
    seen = simulate_outlook(**small())  # type: ignore[arg-type]
    assert set(seen.ranks["tail"]) == set(TAILS)
    assert (seen.ranks.groupby("tail")["strategy"].first() == Strategy.PLAN).all()
    by_tail = seen.differences[seen.differences["measure"] == "forage in reach"].set_index(["tail", "other"])
    assert (by_tail["low"] > 0).all()
    assert ((by_tail["low"] <= by_tail["difference"]) & (by_tail["difference"] <= by_tail["high"])).all()
    assert np.allclose(seen.ranks.groupby("tail")["first_share"].sum(), 1)


def test_the_same_seed_gives_the_same_simulations_and_equal_plans_differ_by_nothing() -> None:
    case = small()
    once, again = simulate_outlook(**case), simulate_outlook(**case)  # type: ignore[arg-type]
    pd.testing.assert_frame_equal(once.ranks, again.ranks)
    sets = case["strategies"]
    assert isinstance(sets, dict)
    twin = simulate_outlook(
        **{**case, "strategies": {Strategy.PLAN: sets[Strategy.PLAN], Strategy.RANDOM: sets[Strategy.PLAN] * 2}}
    )  # type: ignore[arg-type]
    assert (twin.differences["difference"] == 0).all()
    assert twin.ranks["rank"].eq(1).all()


def test_a_place_whose_access_is_not_known_is_a_usual_one() -> None:
    access = pd.Series([0.4, np.nan, 0.8, 0.0, 40.0])
    assert _quality(access, 0.4).tolist() == pytest.approx([1.0, 1.0, 2.0, 0.05, 20.0])
    assert _quality(access, np.nan).tolist() == [1.0] * 5


def test_simulations_draw_about_what_is_usual() -> None:
    assert np.mean(PARAMETER_RANGES["x"]) == 1.0
    assert np.prod(PARAMETER_RANGES["y"]) == 1.0  # as often above today's balance as below
    assert PARAMETER_RANGES["z"] == (1.0, 2.0)  # one arrival is enough, or several are needed (Hanski's own)


def test_as_many_years_as_are_judged_are_enough() -> None:
    short = simulate_outlook(**{**small(), "under": Conditions(250.0, 500.0, years=LAST_YEARS, simulations=4)})  # type: ignore[arg-type]
    assert short.by_year["year"].max() == LAST_YEARS


def test_the_interval_of_a_difference_is_the_paired_t_s() -> None:
    # differences 1..5: mean 3, standard error sqrt(2.5 / 5), and t with 4 degrees of freedom is 2.7764 at 97.5 %
    # (Student's table)
    years = np.ones((LAST_YEARS, 1))
    values = {Strategy.PLAN: years * np.arange(1.0, 6.0), Strategy.NONE: years * np.zeros(5)}
    (row,) = _differences(Tail.FAT, Measure.PLACES, values).to_dict("records")
    assert (row["difference"], row["better_share"], row["worse_share"]) == (3.0, 1.0, 0.0)
    assert row["high"] - 3.0 == pytest.approx(2.7764 * np.sqrt(0.5), rel=2e-4)
    assert 3.0 - row["low"] == pytest.approx(2.7764 * np.sqrt(0.5), rel=2e-4)


def test_other_rules_keep_the_ground_and_the_spacing() -> None:
    allowed = np.zeros((30, 40), dtype=bool)
    allowed[5:25, 5:35] = True
    score = np.random.default_rng(1).random((30, 40))
    standing = pd.DataFrame({"row": [10], "col": [10]})
    rules = other_plans(allowed, score, standing, 5, cell_m=10, spacing_m=60, random_plans=4)
    assert {name: len(sets) for name, sets in rules.items()} == {
        Strategy.RANDOM: 4,
        Strategy.EVEN: 1,
        Strategy.HIGHEST: 1,
    }
    for sites in (site for sets in rules.values() for site in sets):
        assert len(sites) == 5
        assert allowed[sites["row"], sites["col"]].all()
        apart = np.hypot(*(sites.to_numpy()[:, None] - sites.to_numpy()[None]).transpose(2, 0, 1)) * 10
        assert apart[np.triu_indices(5, 1)].min() >= 60
    first = rules[Strategy.HIGHEST][0].iloc[0]
    assert score[first["row"], first["col"]] == score[allowed].max()
    corner = rules[Strategy.EVEN][0].iloc[0]  # the corner farthest from the standing pool
    assert (corner["row"], corner["col"]) == (24, 34)


def test_ground_that_has_no_room_gets_fewer_pools() -> None:
    allowed = np.zeros((5, 5), dtype=bool)
    allowed[2, 2:4] = True
    nothing = pd.DataFrame({"row": [], "col": []})
    rules = other_plans(allowed, np.ones((5, 5)), nothing, 3, cell_m=10, spacing_m=50, random_plans=1)
    assert [len(sets[0]) for sets in rules.values()] == [1, 1, 1]
    none = other_plans(np.zeros((5, 5), bool), np.ones((5, 5)), nothing, 3, cell_m=10, spacing_m=50, random_plans=1)
    assert [len(sets[0]) for sets in none.values()] == [0, 0, 0]


def test_blocks_of_ground_keep_all_forage_and_its_centre() -> None:
    w = np.random.default_rng(2).random((50, 60))
    w[:10] = np.nan
    x, y = np.arange(60) * 10.0, np.arange(50)[::-1] * 10.0
    ground = ground_points(w, x, y, most=100)
    assert len(ground) <= 150
    assert ground["w"].sum() == pytest.approx(np.nansum(w))
    assert (ground["w"] * ground["x"]).sum() == pytest.approx(np.nansum(w * x[None, :]))
    assert (ground["w"] * ground["y"]).sum() == pytest.approx(np.nansum(w * y[:, None]))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"probabilities": [[0.5]]}, "shape"),
        ({"strategies": {}}, "the plan"),
        ({"under": Conditions(250.0, 500.0, years=2)}, "years"),
    ],
)
def test_what_does_not_fit_gets_a_sentence(change: dict[str, object], word: str) -> None:
    with pytest.raises(InputError, match=word):
        simulate_outlook(**{**small(), **change})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"probabilities": [[0.0, 0.0]]}, NothingToCompare.NOBODY),
        ({"demand": pd.DataFrame({"x": [0.0], "y": [0.0], "w": [0.0]})}, NothingToCompare.NO_FORAGE),
    ],
)
def test_where_nothing_can_be_compared_a_code_says_why(change: dict[str, object], why: NothingToCompare) -> None:
    with pytest.raises(NothingToCompareError) as refused:
        simulate_outlook(**{**small(), **change})  # type: ignore[arg-type]
    assert refused.value.why is why
