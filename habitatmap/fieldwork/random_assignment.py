"""Treatments drawn at random in blocks of neighbouring sites, before anything is set out.

Only what chance decided can be told from the place it stood in. Sites near each other share much of what matters, so
each block of neighbours gets every treatment once, in an order drawn at random (common practice of field trials since
Fisher 1926, Journal of the Ministry of Agriculture 33:503-513).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from habitatmap.errors import InputError
from habitatmap.fieldwork.routes import shortest_routes, straight

SEED = 1
MOST = 12  # treatments in one block; more neighbours than that are no neighbours (expert judgement)


def read_treatments(text: Sequence[str]) -> dict[str, list[str]]:
    """`container=barrel,bucket` and the like as a table; InputError where one is not of that form."""
    found: dict[str, list[str]] = {}
    for part in text:
        name, equals, levels = part.partition("=")
        choices = [level.strip() for level in levels.split(",") if level.strip()]
        if not equals or not name.strip() or len(set(choices)) < 2 or len(set(choices)) < len(choices):
            raise InputError(
                f"--treatments {part} can't be read; give a column and two or more different values, such as "
                "container=barrel,bucket"
            )
        if name.strip() in found:
            raise InputError(f"--treatments names {name.strip()} twice; put all its values into one")
        found[name.strip()] = choices
    return found


def assign_at_random(sites: pd.DataFrame, treatments: Mapping[str, Sequence[str]], seed: int = SEED) -> pd.DataFrame:
    """Blocks and treatments for `sites` (site, x, y in metres; NaN = place not known): site, block, treatment, factors.

    A block has as many sites as there are treatments (every combination, where there are several factors): neighbours,
    chosen so that walks within the blocks are short. Sites without a place make blocks of their own, in the order of
    their names. What is left over makes a last block in which some treatments are missing. The draw depends on the
    sites, the treatments and `seed` alone, not on the order of rows. Raises InputError with too few sites.
    """
    factors = list(treatments)
    choices = list(itertools.product(*treatments.values()))
    size = len(choices)
    if size > MOST:
        raise InputError(f"{size} combinations of treatments are too many for one block; give at most {MOST}")
    if len(sites) < size:
        raise InputError(
            f"{len(sites)} sites are too few for {size} treatments; plan more pools ([plan] pools) or drop a treatment"
        )
    table = sites.sort_values(["site"], kind="stable", ignore_index=True)
    table["site"] = table["site"].astype(str)
    placed = table[table["x"].notna() & table["y"].notna()]
    apart = straight(placed["x"], placed["y"])
    # the most lonely sites are left over; they join those without a place
    alone = np.sort(apart + np.diag(np.full(len(placed), np.inf)), axis=1)[:, :1].max(axis=1, initial=0.0)
    kept = np.sort(np.argsort(alone, kind="stable")[: len(placed) // size * size])
    walks = shortest_routes(apart[np.ix_(kept, kept)], len(kept) // size) if len(kept) else []
    order = [int(placed.index[kept[i]]) for walk in walks for i in walk]
    order += [i for i in table.index if i not in set(order)]
    draw = np.random.default_rng(seed)
    rows = []
    for block, start in enumerate(range(0, len(order), size), 1):
        members = order[start : start + size]
        for i, k in zip(members, draw.permutation(size), strict=False):
            rows.append((table.at[i, "site"], block, " + ".join(choices[k]), *choices[k]))
    return pd.DataFrame(rows, columns=["site", "block", "treatment", *factors])
