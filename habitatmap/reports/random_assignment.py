"""Treatments assigned at random, as a table to fill in while installing and a page to print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from habitatmap.area import Area
from habitatmap.errors import InputError
from habitatmap.export.folder import check_target, write_files
from habitatmap.page.sections import Column, Section, report_page, table, terminal
from habitatmap.read.random_assignment import FILE, FOLDER
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.cautions import Caution, mosquitoes, sentences
from habitatmap.words.numbers import count
from habitatmap.words.sentences import Sentence, following, say

USE = say(
    "Install each site's own treatment and nothing else; where that can't be done, write down what was installed "
    "instead and don't swap. Write each pool's name into the column pool of {file} (left empty, the site's name is "
    "taken for it). `habitatmap survey` then compares the pools within their blocks.",
    file=FILE,
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
    check_target(folder, FOLDER)


def write_assignment(
    area: Area,
    drawn: pd.DataFrame,
    treatments: Mapping[str, Sequence[str]],
    seed: int,
    folder: Path,
    spoken: Catalogue = ENGLISH,
    semicolons: bool = False,
) -> None:
    """Writes random_assignment.csv and random_assignment.html into a new `folder`, whole or not at all; the page in a
    language. `drawn`: the draw with place, x and y of each site; `semicolons` as in `csv_text`."""
    rows = drawn.assign(pool="", set_out="")
    rows = rows[["block", "site", "place", "treatment", *treatments, "pool", "set_out", "x", "y"]]
    section = Section(
        "assignment",
        "What goes where",
        headline(rows, seed),
        words=[USE],
        cautions=[following(*map(Sentence, sentences([mosquitoes(area.settings), Caution.CHILDREN, Caution.LOCAL])))],
        tables=[table("Sites by block", rows, SITES)],
    )
    as_of = say("As of {day}. For the team.", day=area.as_of)
    page = report_page(area.title, "Treatments assigned at random", as_of, [section], spoken)
    write_files(folder, {FILE: rows, "random_assignment.html": page}, FOLDER, semicolons)


def assignment_text(drawn: pd.DataFrame, seed: int, spoken: Catalogue = ENGLISH) -> str:
    """The draw for a terminal, in a language."""
    blocks = (
        say(
            "block {block}: {sites}",
            block=str(block),
            sites="; ".join(f"{m.site}: {m.treatment}" for m in members.itertuples()),
        )
        for block, members in drawn.groupby("block")
    )
    return terminal(map(spoken.say, [headline(drawn, seed), "", *blocks]))


def headline(drawn: pd.DataFrame, seed: int) -> Sentence:
    """How many sites, in what blocks, by which draw."""
    blocks, size = drawn["block"].nunique(), drawn["treatment"].nunique()
    said = say(
        "{sites} in {blocks} of {size} neighbours each, assigned at random with seed {seed}.",
        sites=count(len(drawn), "site"),
        blocks=count(blocks, "block"),
        size=size,
        seed=str(seed),
    )
    short = len(drawn) % size
    lacks = say("The last block has {sites} only and lacks treatments.", sites=count(short, "site"))
    return following(said, lacks) if short else said
