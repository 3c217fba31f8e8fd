"""Numbers as reports write them."""

from __future__ import annotations

import math

from habitatmap.words.numbers import (
    at_least,
    at_most,
    count,
    listed,
    metres,
    number,
    p_words,
    percent,
    points,
    sentence,
    span,
)


def test_a_figure_that_is_not_known_is_never_a_number() -> None:
    assert percent(None) == percent(math.nan) == "not known"
    assert span(math.nan, math.nan) == span(None, None) == number(None) == number(math.nan) == ""
    assert span(None, 0.5, unknown="-") == "-"


def test_shares() -> None:
    assert percent(0.4151) == "42 %"
    assert percent(0.4151, 1) == "41.5 %"
    assert percent(0.004, 2, signed=True) == "+0.40 %"
    assert span(0.39, 0.97) == "39 to 97 %"
    assert span(0.5, 0.5) == "50 %"
    assert points(0.1, -0.05, 0.25) == "+10 (-5 to +25)"


def test_a_limit_is_rounded_up_and_a_promise_down() -> None:
    assert (at_most(0.7231, 1), at_least(0.7239, 1)) == ("72.4 %", "72.3 %")
    assert at_most(0.07, 0) == at_least(0.07, 0) == "7 %"  # 100 * 0.07 is a little more than 7
    assert at_most(math.nan) == at_least(math.nan) == "not known"


def test_a_p_value() -> None:
    assert [p_words(p) for p in (0.0123, 0.0004)] == ["p = 0.012", "p < 0.001"]
    assert p_words(0.004, 2) == "p < 0.01"


def test_one_is_one() -> None:
    assert count(1, "visit") == "1 visit"
    assert count(0, "visit") == "0 visits"
    assert count(1200, "more pool") == "1,200 more pools"
    assert [count(n, "search", "searches") for n in (1, 2)] == ["1 search", "2 searches"]


def test_words() -> None:
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert sentence("no change can be shown") == "No change can be shown"
    assert [metres(m) for m in (786, 1700, 4.0)] == ["790 m", "1.7 km", "0 m"]
