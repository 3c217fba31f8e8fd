"""`habitatmap sheets AREA`: what a crew takes along: a page for each site, labels, recording sheets."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, stages_told


@area_command("sheets", as_json="Print what was written, and what was left out, as JSON on stdout.")
@click.option("--site", "sites", multiple=True, help="Only this suggestion, by its id or number; may be repeated.")
def command(call: Call, sites: tuple[str, ...]) -> None:
    """Print what a crew takes along to AREA/sheets: sites.pdf, labels.pdf and recording.pdf, whole or not at all.

    The contact line on the labels is `[sheets] contact` of area.toml.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.job import run
    from habitatmap.paper.sheets import write_sheets

    opened = call.open()
    if opened is None:
        return
    known = call.known(opened)
    spoken = call.spoken(opened)
    with stages_told(spoken=spoken) as begin:
        result = run(opened, say=begin, public=False, known=known)
    printed = write_sheets(result, call.target, sites, spoken)
    click.echo(json_text(printed.for_json()) if call.as_json else "\n".join([*printed.lines(spoken), ""]), nl=False)
    call.wrote("Sheets", "", spoken)
    call.end(result.needs_a_look)
