"""Treatments assigned at random, as a table to fill in while installing and a page to print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from habitatmap.area import Area
from habitatmap.errors import InputError
from habitatmap.export.folder import check_target, write_files
from habitatmap.page.sections import Column, Section, report_page, table, terminal
from habitatmap.read.random_assignment import FILE
from habitatmap.words.cautions import Caution, mosquitoes, sentences
from habitatmap.words.numbers import count

USE = (
    "Install each site's own treatment and nothing else; where that can't be done, write down what was installed "
    f"instead and don't swap. Write each pool's name into the column pool of {FILE} (left empty, the site's name is "
    "taken for it). `habitatmap survey` then compares the pools within their blocks."
)
TO_WRITE = "________"
SITES: dict[str, Column] = {
    "Site": "site",
    "Block": "block",
    "Place": "place",
    "Treatment": "treatment",
    "Pool": lambda _: TO_WRITE,
    "Installed on": lambda _: TO_WRITE,
}


def check_assignment(folder: Path) -> None:
    """Refuses to draw again: drawing until one is liked is not random. Raises InputError."""
    if (folder / FILE).exists():
        raise InputError(
            f"{folder} holds a random assignment already, and drawing again until one is liked is not random; use that "
            "one, or delete the folder if no pool was set out by it"
        )
    check_target(folder, mark=FILE)


def write_assignment(
    area: Area,
    drawn: pd.DataFrame,
    sites: pd.DataFrame,
    treatments: Mapping[str, Sequence[str]],
    seed: int,
    folder: Path,
) -> None:
    """Writes random_assignment.csv and random_assignment.html into a new `folder`, whole or not at all."""
    rows = drawn.merge(sites, on="site").assign(pool="", set_out="")
    rows = rows[["block", "site", "place", "treatment", *treatments, "pool", "set_out", "x", "y"]]
    section = Section(
        "assignment",
        "What goes where",
        headline(rows, seed),
        words=[USE],
        cautions=[" ".join(sentences([mosquitoes(area.settings), Caution.CHILDREN, Caution.LOCAL]))],
        tables=[table("Sites by block", rows, SITES)],
    )
    page = report_page(area.title, "Treatments assigned at random", f"As of {area.as_of}. For the team.", [section])
    write_files(folder, {FILE: rows, "random_assignment.html": page})


def assignment_text(drawn: pd.DataFrame, seed: int) -> str:
    """The draw for a terminal."""
    blocks = (
        f"block {block}: " + "; ".join(f"{m.site}: {m.treatment}" for m in members.itertuples())
        for block, members in drawn.groupby("block")
    )
    return terminal([headline(drawn, seed), "", *blocks])


def headline(drawn: pd.DataFrame, seed: int) -> str:
    """How many sites, in what blocks, by which draw."""
    blocks, size = drawn["block"].nunique(), drawn["treatment"].nunique()
    text = f"{count(len(drawn), 'site')} in {count(blocks, 'block')} of {size} neighbours each"
    text += f", assigned at random with seed {seed}."
    if short := len(drawn) % size:
        text += f" The last block has {count(short, 'site')} only and lacks treatments."
    return text
