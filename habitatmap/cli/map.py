"""`habitatmap map AREA`: the heart of the job."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from habitatmap.cli.options import Call, area_command, renamed, say_counts, semicolons, stages_told
from habitatmap.cli.progress import WRITING, Progress, seconds_before


@area_command("map", folder="out", as_json="Print the summary as JSON on stdout.")
@click.option(
    "--committed",
    type=click.Path(path_type=Path),
    help="One more file of committed sites, or one saved under What if on the map: its pools are kept or taken out.",
)
@click.option("--wanted", hidden=True, expose_value=False, callback=renamed("--committed"))
@semicolons
@click.option("--tiles", help="An online background for the maps, off at first: https://SERVER/{z}/{x}/{y}.png")
@click.option("--tiles-credit", default="", help="The words the server of --tiles asks to be named with.")
def command(call: Call, committed: Path | None, semicolons: bool, tiles: str | None, tiles_credit: str) -> None:
    """Map the folder AREA: maps, scores, gaps and the plan, written to AREA/out, whole or not at all."""
    from habitatmap.export.summary import summary_text
    from habitatmap.job import run
    from habitatmap.outputs import pages_in, write
    from habitatmap.page import Tiles
    from habitatmap.result import Stage
    from habitatmap.words.headline import headline

    background = Tiles(tiles, tiles_credit) if tiles is not None else None
    opened = call.open(committed)
    if opened is None:
        return
    spoken = call.spoken(opened)
    say_counts(opened, spoken)
    progress = Progress(seconds_before(opened, call.target))
    with stages_told(progress, spoken) as begin:
        result = run(opened, say=begin)
        begin(WRITING)
        seconds = {**result.figures.seconds, Stage.PUBLIC.value: round(progress.seconds[Stage.PUBLIC], 3)}
        result = replace(result, figures=replace(result.figures, seconds=seconds))
        write(result, call.target, pages_in(spoken, background), semicolons, spoken)
    click.echo(summary_text(result) if call.as_json else headline(result.figures, spoken) + "\n", nl=False)
    call.wrote("Map", "map.html", spoken)
    call.end(result.needs_a_look)
