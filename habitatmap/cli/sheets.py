"""`habitatmap sheets AREA`: what a crew takes along: a page for each site, labels, recording sheets."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, tell


@area_command("sheets")
@click.option("--site", "sites", multiple=True, help="Only this suggestion, by its id or number; may be repeated.")
def command(call: Call, sites: tuple[str, ...]) -> None:
    """Print what a crew takes along to AREA/sheets: sites.pdf, labels.pdf and recording.pdf, whole or not at all.

    The contact line on the labels is `[sheets] contact` of area.toml.
    """
    from habitatmap.job import run
    from habitatmap.paper.sheets import write_sheets

    opened = call.open()
    if opened is None:
        return
    result = run(opened, say=tell, public=False, known=call.known(opened))
    for line in write_sheets(result, call.target, sites, call.spoken(opened)):
        click.echo(line)
    call.wrote("Sheets")
    call.end(result.needs_a_look)
