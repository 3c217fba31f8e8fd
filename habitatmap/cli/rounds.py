"""`habitatmap rounds AREA`: who goes to which pools in a week."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command


@area_command(
    "rounds",
    mark="rounds.csv",
    as_json="Print the rounds as JSON on stdout.",
    strict="End with 1 where something could not be done as asked.",
)
@click.option("--week", help="A week of the ISO calendar, such as 2026-W20 (default: the week of as_of).")
@click.option(
    "--people",
    multiple=True,
    help="A number of people, or a name; give it again for each further name (default: who visited lately).",
)
def command(call: Call, week: str | None, people: tuple[str, ...]) -> None:
    """Say which pools of AREA are due in a week, who goes to them, and in which order; written to AREA/rounds.

    Everything there is for the team: it holds exact places and hosts.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.fieldwork.rounds import read_week, week_of
    from habitatmap.job import rounds_of
    from habitatmap.reports.rounds import rounds_summary, rounds_text, write_rounds

    asked = read_week(week) if week is not None else None
    opened = call.open()
    if opened is None:
        return
    rounds = rounds_of(opened, asked or week_of(opened.as_of), people)
    spoken = call.spoken(opened)
    write_rounds(rounds, call.target, spoken)
    click.echo(json_text(rounds_summary(rounds)) if call.as_json else rounds_text(rounds, spoken), nl=False)
    call.wrote("To print", "rounds.html")
    call.end(bool(rounds.notes))
