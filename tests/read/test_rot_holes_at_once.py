"""Probabilities of rot-holes of many trees, against each tree by itself."""

from __future__ import annotations

import numpy as np
import pandas as pd

from habitatmap.read.layers import load_tree_table
from habitatmap.vocabulary.terms import Condition


def test_trees_together_are_as_each_by_itself() -> None:
    table, rng = load_tree_table(), np.random.default_rng(1)
    trees = pd.DataFrame(
        {
            "genus": rng.choice([*table.table["genus"].iloc[:20], "", "Nosuchia"], 300),
            "species": "",
            "diameter_cm": np.where(rng.random(300) < 0.1, np.nan, rng.uniform(0, 220, 300)),
            "condition": rng.choice([Condition.LIVING, Condition.DEAD, ""], 300).astype(str),
        }
    )
    each = [table.rot_hole_probability(trees.iloc[[i]])[0] for i in range(300)]
    together = table.rot_hole_probability(trees)
    assert np.array_equal(together, each, equal_nan=True)
    assert 0 < np.isnan(together).sum() < 300
