"""Small areas, where every combination can be tried: the plan is the best or next to it, the bound never below it."""

from __future__ import annotations

import pytest

from habitatmap.plan import bound, choose, search, upper_bound
from tests.plan import slow

SOME = list(range(700, 720))
ALL = [seed if seed in SOME else pytest.param(seed, marks=pytest.mark.slow) for seed in range(700, 900)]


@pytest.mark.parametrize("searched", [False, True], ids=["solved to the end", "by search and tangents"])
@pytest.mark.parametrize("seed", ALL)
def test_the_plan_is_within_half_a_percent_of_the_best_and_the_bound_above(
    seed: int, searched: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if searched:
        monkeypatch.setattr(search, "solve", lambda *_: None)
        monkeypatch.setattr(bound, "solve", lambda *_: None)
    a = slow.area(seed, most=6)
    rules = (a["cell_m"], a["median_m"], a["spacing_m"])
    true = slow.best_of_all(a["demand"], a["places"], a["candidates"], 3, *rules)
    selection, limit = choose(**a, pools=3), upper_bound(**a, pools=3)
    gain = selection.best_with_plan - selection.now
    assert gain <= true + 1e-12
    assert limit.value - limit.now >= true - 1e-12
    if not searched:
        assert gain >= 0.995 * true
