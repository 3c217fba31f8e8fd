"""`habitatmap rounds AREA`: who goes to which pools in a week."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, semicolons
from habitatmap.errors import InputError


@area_command(
    "rounds",
    as_json="Print the rounds as JSON on stdout.",
    strict="End with 1 where something could not be done as asked.",
)
@semicolons
@click.option("--week", help="A week of the ISO calendar, such as 2026-W20 (default: the week of as_of).")
@click.option(
    "--people",
    multiple=True,
    help="A number of people, or a name; give it again for each further name (default: who visited lately).",
)
@click.option(
    "--phone", is_flag=True, help="Also a page for each person's telephone, and the form as a workbook (XLSForm)."
)
@click.option("--group", help="Only the pools of this group, by the name of its folder in groups/.")
def command(
    call: Call, week: str | None, people: tuple[str, ...], phone: bool, group: str | None, semicolons: bool
) -> None:
    """Say which pools of AREA are due in a week, who goes to them, and in which order; written to AREA/rounds.

    Where the area has groups, each gets rounds of its own, in a folder of its name there.

    Everything there is for the team: it holds exact places and hosts.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.fieldwork.rounds import choose_group, groups_of, known_on, read_week, week_of
    from habitatmap.job import rounds_of, rounds_of_groups
    from habitatmap.read.people import read_people
    from habitatmap.reports.rounds import all_rounds_summary, rounds_text, write_all_rounds

    asked = read_week(week) if week is not None else None
    opened = call.open()
    if opened is None:
        return
    when, spoken = asked or week_of(opened.as_of), call.spoken(opened)
    groups = [choose_group(group, opened)] if group is not None else groups_of(opened)
    if people and len(groups) > 1:
        raise InputError(f"--people goes with --group in an area of several groups; give one of {', '.join(groups)}")
    known = call.known(opened, "Where a search teaches most") if known_on(opened.as_of, when) == opened.as_of else None
    team = read_people(opened.folder, opened.pools, opened.land)
    if any(groups):
        every = rounds_of_groups(opened, when, groups, people, known, team)
    else:
        every = [rounds_of(opened, when, people, known, team)]
    write_all_rounds(every, call.target, spoken, semicolons, phone)
    if call.as_json:
        click.echo(json_text(all_rounds_summary(every)), nl=False)
    else:
        click.echo("\n".join(rounds_text(one, spoken) for one in every), nl=False)
    call.wrote("To print", "rounds.html", spoken)
    call.end(any(one.notes for one in every))
