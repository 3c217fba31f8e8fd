"""How many pools are enough, in a sentence."""

from __future__ import annotations

from habitatmap.plan.how_many import little_gained
from habitatmap.result.figures import Figures
from habitatmap.words.sentences import Quantity, Sentence, significant

ENOUGH = (
    "After {n} pools each further one adds less than {part} of the area's forage, a quarter of what the most helpful "
    "one adds."
)
ENOUGH_ONE = (
    "After the first pool each further one adds less than {part} of the area's forage, a quarter of what the most "
    "helpful one adds."
)
NOT_YET = (
    "Pool {n} still adds {part} of the area's forage or more, a quarter of what the most helpful one adds: even more "
    "pools would help."
)
READING = Sentence(
    "The line: forage in reach by the number of further pools. Shaded: the middle 95 % of the simulations. Dashed: no "
    "choice of as many could reach more. The upright line: the plan."
)


def enough(figures: Figures) -> Sentence | None:
    """After how many pools little is gained; None where there is nothing to tell."""
    rows = figures.how_many
    after, part = little_gained(rows)
    if len(rows) < 2 or not part > 0:
        return None
    values = {"n": Quantity(after or len(rows) - 1), "part": significant(part)}
    return Sentence(NOT_YET if after is None else ENOUGH if after > 1 else ENOUGH_ONE, values)
