"""What is said of forage likely served: one range by where flies come from, what rules of thumb would do, the limit of
what can be added, and what the order of installing and a second pool at a site do.
"""

from __future__ import annotations

import math

from habitatmap.plan.outlook import CLEARLY, FIRST_YEARS, NO_GAIN, Standing, Strategy
from habitatmap.plan.search import Shortfall
from habitatmap.result.figures import Figures, ServedFigures
from habitatmap.words.numbers import known, parts_of_percent
from habitatmap.words.plan import POOLS
from habitatmap.words.sentences import Quantity, Sentence, Value

FROM = {"closed": Sentence("from mapped places only"), "open": Sentence("from everywhere")}
"""Where flies come from, by the names of `Share`."""
IS_SERVED = "of the forage is likely served over the next {years} years"
BY_WHETHER = "by whether flies come {one} or {other}."
WITH = f"With these {{n}} pools, {{then}} {IS_SERVED} (now {{now}}), {BY_WHETHER}"
WITH_ONE = f"With this pool, {{then}} {IS_SERVED} (now {{now}}), {BY_WHETHER}"
UP_TO = f"With the pools up to number {{n}}, {{then}} {IS_SERVED} (now {{now}}), {BY_WHETHER}"
NO_PLAN = f"{{now}} {IS_SERVED}, {BY_WHETHER}"
AGAINST = {
    Standing.LEVEL: ("As many {pools} may do as well.", "As many {pools} may do as well if flies come {ways}."),
    Standing.BEHIND: (
        "As many {pools} are likely to serve more.",
        "As many {pools} are likely to serve more if flies come {ways}.",
    ),
}
LIMIT = "The plan adds at least {share} of what any as many pools could add to the forage likely served."
LIMIT_IF_FOUND = (
    "If flies found pools elsewhere as they find them with this plan, it would add at least {share} of what any as "
    "many pools could add to the forage likely served."
)
LEAST_LIMIT = 0.8  # a looser limit tells nothing about the plan
AT_ONCE = (
    "Installing all pools at once serves more in the first {years} years than two a year; the outlook has the figures."
)
TWO_AT_ONE = (
    "Where consents are scarce: two pools about 30 m apart at one site are nearly worth two sites, if what befalls one "
    "need not befall the other."
)


def digits_of(served: ServedFigures) -> int:
    """Decimals of a percentage that let the smaller of the two gains be seen, where there is any."""
    gains = (served.with_plan.open - served.now.open, served.with_plan.closed - served.now.closed)
    least = min((gain for gain in gains if gain > NO_GAIN), default=1.0)
    return next(digits for digits in range(3) if least >= 2 * 10.0 ** -(2 + digits) or digits == 2)


def likely_served(figures: Figures) -> Sentence | None:
    """The headline: forage likely served with the plan and now, each a range; None where nothing is known of it."""
    pools = figures.plan.pools
    template = WITH if pools > 1 else WITH_ONE if pools else NO_PLAN
    return _ranges(figures, template)


def up_to_number(figures: Figures) -> Sentence | None:
    """The same for the first pools of the plan; a page puts its own figures in."""
    return _ranges(figures, UP_TO)


def against_rules(served: ServedFigures) -> list[Sentence]:
    """A sentence where as many pools by a rule of thumb may do as well as the plan, or better."""
    sides = {name: _standing(served, name) for name in FROM}
    if len(set(sides.values())) == 1:
        standing, rule = sides["open"]
        return [Sentence(AGAINST[standing][0], {"pools": Sentence(POOLS[rule])})] if standing in AGAINST else []
    return [
        Sentence(AGAINST[standing][1], {"pools": Sentence(POOLS[rule]), "ways": FROM[name]})
        for name, (standing, rule) in sides.items()
        if standing in AGAINST
    ]


def limit(served: ServedFigures) -> Sentence | None:
    """How far the plan is from the best possible, a promise rounded down: proven where that says enough, else given how
    flies find pools; None where neither is known."""
    full, if_found = served.share_of_limit, served.share_of_limit_if_found
    template, share = (LIMIT, full) if known(full) and full >= LEAST_LIMIT else (LIMIT_IF_FOUND, if_found)
    if not known(share):
        return None
    return Sentence(template, {"share": Quantity(math.floor(parts_of_percent(share)), unit="%")})


def order_of_installing(figures: Figures) -> Sentence | None:
    """What it means to spread a plan over years; None where two pools or fewer are suggested."""
    return Sentence(AT_ONCE, {"years": Quantity(FIRST_YEARS)}) if figures.plan.pools > 2 else None


def second_pool_at_a_site(figures: Figures) -> Sentence | None:
    """What can be done where fewer sites may be used than pools are wanted; None where there are enough."""
    return Sentence(TWO_AT_ONE) if figures.plan.pools and figures.plan.shortfall is Shortfall.NONE_LEFT else None


def beside_the_headline(figures: Figures) -> list[Sentence]:
    """What a reader of the headline should know besides, in a run's own words."""
    staged = order_of_installing(figures) if figures.plan.spending is not None else None
    told = [*against_rules(figures.served), limit(figures.served), staged, second_pool_at_a_site(figures)]
    return [sentence for sentence in told if sentence is not None]


def _ranges(figures: Figures, template: str) -> Sentence | None:
    served, pools = figures.served, figures.plan.pools
    then = served.with_plan if pools else served.now
    if not known(figures.forage_in_reach.now) or not all(map(known, (*served.now, *then))):
        return None
    if not pools and not max(served.now) > NO_GAIN:
        return None
    ways = sorted(FROM, key=lambda name: float(getattr(then, name)))
    digits = digits_of(served) if pools else 0
    values: dict[str, Value] = {"n": Quantity(pools), "years": Quantity(served.years)}
    for name, share in (("now", served.now), ("then", then)):
        low, high = sorted(map(float, share))
        values[name] = _range(low, high, digits)
    return Sentence(template, values | {"one": FROM[ways[0]], "other": FROM[ways[1]]})


def _range(low: float, high: float, digits: int) -> Value:
    # + 0.0: a zero has no sign
    ends = [Quantity(round(100 * end, digits) + 0.0, digits, unit) for end, unit in ((low, ""), (high, "%"))]
    same = ends[0].value == ends[1].value
    return ends[1] if same else Sentence("{low} to {high}", {"low": ends[0], "high": ends[1]})


def _standing(served: ServedFigures, name: str) -> tuple[Standing, Strategy]:
    """How the plan stands against the best rule of thumb where flies come from there, and which rule that is."""
    now = float(getattr(served.now, name))
    gains = {rule: float(getattr(share, name)) - now for rule, share in served.rules.items()}
    gain = float(getattr(served.with_plan, name)) - now
    best = max(gains, key=lambda rule: gains[rule], default=Strategy.NONE)
    rule_gain = gains.get(best, 0.0)
    if not max(gain, rule_gain) > NO_GAIN:
        return Standing.NOTHING, best
    if gain >= CLEARLY * rule_gain:
        return Standing.AHEAD, best
    return Standing.BEHIND if rule_gain >= CLEARLY * gain else Standing.LEVEL, best
