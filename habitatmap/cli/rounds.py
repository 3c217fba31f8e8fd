"""`habitatmap rounds AREA`: who goes to which pools in a week."""

from __future__ import annotations

import logging
from pathlib import Path

import click

log = logging.getLogger("habitatmap")


@click.command("rounds")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--week", help="A week of the ISO calendar, such as 2026-W20 (default: the week of as_of).")
@click.option(
    "--people",
    multiple=True,
    help="A number of people, or a name; give it again for each further name (default: who visited lately).",
)
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/rounds.")
@click.option("--json", "as_json", is_flag=True, help="Print the rounds as JSON on stdout.")
@click.option("--strict", is_flag=True, help="End with 1 where something could not be done as asked.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
def command(
    area: Path,
    week: str | None,
    people: tuple[str, ...],
    out: Path | None,
    as_json: bool,
    strict: bool,
    dry_run: bool,
) -> None:
    """Say which pools of AREA are due in a week, who goes to them, and in which order; written to AREA/rounds.

    Everything there is for the team: it holds exact places and hosts.
    """
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.export.formats import json_text
    from habitatmap.fieldwork.rounds import read_week, week_of
    from habitatmap.job import rounds_of
    from habitatmap.reports.rounds import rounds_summary, rounds_text, write_rounds

    asked = read_week(week) if week is not None else None
    target = out or area / "rounds"
    check_target(target, mark="rounds.csv")
    opened = open_area(area)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    rounds = rounds_of(opened, asked or week_of(opened.as_of), people)
    write_rounds(rounds, target)
    click.echo(json_text(rounds_summary(rounds)) if as_json else rounds_text(rounds), nl=False)
    log.info("To print: %s", (target / "rounds.html").resolve())
    if strict and rounds.notes:
        raise click.exceptions.Exit(1)
