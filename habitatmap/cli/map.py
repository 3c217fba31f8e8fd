"""`habitatmap map AREA`: the heart of the job."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

import click

from habitatmap.cli.options import Call, area_command, log, renamed, say_counts, semicolons, stages_told, tell_kept
from habitatmap.cli.progress import WRITING, Progress, seconds_before
from habitatmap.cli.where import Where, engine_for, likely_cost, where_options

if TYPE_CHECKING:
    from habitatmap.result import Result
    from habitatmap.words.catalogue import Catalogue


@area_command("map", folder="out", as_json="Print the summary as JSON on stdout.")
@click.option(
    "--committed",
    type=click.Path(path_type=Path),
    help="One more file of committed sites, or one saved under What if on the map: its pools are kept or taken out.",
)
@click.option("--wanted", hidden=True, expose_value=False, callback=renamed("--committed"))
@semicolons
@click.option(
    "--keep", help="Keep this map, its inputs, settings and layers as the season of this name, as freeze does."
)
@click.option("--replace", is_flag=True, help="For --keep: keep a season anew that is kept already.")
@where_options
@click.option("--tiles", help="An online background for the maps, off at first: https://SERVER/{z}/{x}/{y}.png")
@click.option("--tiles-credit", default="", help="The words the server of --tiles asks to be named with.")
def command(
    call: Call,
    committed: Path | None,
    semicolons: bool,
    keep: str | None,
    replace: bool,
    tiles: str | None,
    tiles_credit: str,
    cluster: str | None,
    memory: int | None,
    resume: bool,
) -> None:
    """Map the folder AREA: maps, scores, gaps and the plan, written to AREA/out, whole or not at all.

    plan_status.xlsx beside your files gets a row for each suggested site: say there how far it has come.
    """
    from habitatmap.comparing import since_last_season
    from habitatmap.export.season import check_season, keep_season
    from habitatmap.export.summary import summary_text
    from habitatmap.job import run
    from habitatmap.outputs import pages_in, write
    from habitatmap.page import Tiles
    from habitatmap.result import Stage
    from habitatmap.words.changes import since_told
    from habitatmap.words.headline import headline

    if keep and committed:
        raise click.UsageError("--keep keeps what lies in the area: put the sites into committed.* there.")
    if replace and not keep:
        raise click.UsageError("--replace goes with --keep.")
    if keep:
        check_season(call.area, keep, replace)
    background = Tiles(tiles, tiles_credit) if tiles is not None else None
    where = Where(cluster, memory, resume)
    opened = call.open(committed, lambda area: likely_cost(area, where))
    if opened is None:
        return
    spoken = call.spoken(opened)
    say_counts(opened, spoken)
    progress = Progress(seconds_before(opened, call.target))
    with stages_told(progress, spoken) as begin, engine_for(call, opened, where) as engine:
        result = run(opened, say=begin, engine=engine)
        begin(WRITING)
        since = since_last_season(result)
        seconds = {**result.figures.seconds, Stage.PUBLIC.value: round(progress.seconds[Stage.PUBLIC], 3)}
        result = dataclasses.replace(result, since=since, figures=dataclasses.replace(result.figures, seconds=seconds))
        write(result, call.target, pages_in(spoken, background), semicolons, spoken)
    click.echo(summary_text(result) if call.as_json else headline(result.figures, spoken) + "\n", nl=False)
    if since and not call.as_json:
        click.echo("\n" + spoken.say(since_told(since)))
    _keep_states(call, result, spoken)
    call.wrote("Map", "map.html", spoken)
    if keep:
        tell_kept(keep_season(call.area, keep, replace, call.target), spoken)
    call.end(result.needs_a_look)


def _keep_states(call: Call, result: Result, spoken: Catalogue) -> None:
    """Brings plan_status.xlsx up to the plan. Ids stand in AREA/out, so a map that goes elsewhere leaves it alone."""
    from habitatmap.errors import InputError
    from habitatmap.export.plan_status import write_plan_status

    if call.target.resolve() != (call.area / "out").resolve():
        return
    try:
        if told := write_plan_status(result, spoken):
            log.info("%s", spoken.say(told))
    except InputError as fault:  # the map is written all the same
        log.info("%s", fault)
