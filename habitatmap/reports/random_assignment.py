"""Treatments assigned at random, as a table to fill in while setting out and a page to print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from habitatmap.area import Area
from habitatmap.errors import InputError
from habitatmap.export.folder import check_target, write_folder
from habitatmap.export.formats import csv_text
from habitatmap.page.document import shown
from habitatmap.page.sections import Section, Table, report_page
from habitatmap.read.random_assignment import FILE
from habitatmap.words.cautions import CHILDREN, LOCAL, MOSQUITOES

USE = (
    "Set out each site's own treatment and nothing else; where that can't be done, write down what was set out instead "
    "and don't swap. Write each pool's name into the column pool of random_assignment.csv (left empty, the site's name "
    "is taken for it). `habitatmap survey` then compares the pools within their blocks."
)


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
    table = drawn.merge(sites, on="site").assign(pool="", set_out="")
    table = table[["block", "site", "place", "treatment", *treatments, "pool", "set_out", "x", "y"]]
    page = report_page(
        area.title, "Treatments assigned at random", f"As of {area.as_of}. For the team.", [_section(area, table, seed)]
    )

    def fill(fresh: Path) -> None:
        (fresh / FILE).write_bytes(csv_text(table).encode("utf-8"))
        (fresh / "random_assignment.html").write_bytes(page.encode("utf-8"))

    write_folder(folder.resolve(), fill)


def assignment_text(drawn: pd.DataFrame, seed: int) -> str:
    """The draw for a terminal."""
    lines = [f"{headline(drawn, seed)}", ""]
    for block, members in drawn.groupby("block"):
        lines.append(f"block {block}: " + "; ".join(f"{m.site}: {m.treatment}" for m in members.itertuples()))
    return "\n".join(shown(line) for line in lines) + "\n"


def headline(drawn: pd.DataFrame, seed: int) -> str:
    blocks, size = drawn["block"].nunique(), drawn["treatment"].nunique()
    text = f"{len(drawn)} sites in {blocks} blocks of {size} neighbours each, assigned at random with seed {seed}."
    if short := len(drawn) % size:
        text += f" The last block has {short} sites only and lacks treatments."
    return text


def _section(area: Area, table: pd.DataFrame, seed: int) -> Section:
    rows = [
        (r["site"], r["block"], r["place"], r["treatment"], "________", "________") for r in table.to_dict("records")
    ]
    heads = ["Site", "Block", "Place", "Treatment", "Pool", "Set out on"]
    return Section(
        "assignment",
        "What goes where",
        headline(table, seed),
        words=[USE],
        cautions=[" ".join([MOSQUITOES[area.settings.cautions.mosquitoes], CHILDREN, LOCAL])],
        tables=[Table("Sites by block", heads, rows)],
    )
