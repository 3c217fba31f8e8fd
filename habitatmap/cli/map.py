"""`habitatmap map AREA`: the heart of the job."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path

import click

from habitatmap.cli.options import tell

log = logging.getLogger("habitatmap")


def renamed(new: str) -> Callable[[click.Context, click.Parameter, object], None]:
    """What refuses an option of an earlier version, with its name of today."""

    def refuse(context: click.Context, option: click.Parameter, value: object) -> None:
        if value is not None:
            raise click.UsageError(f"The option {option.opts[0]} is now called {new}.", context)

    return refuse


@click.command("map")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/out.")
@click.option(
    "--committed",
    type=click.Path(path_type=Path),
    help="One more file of committed sites, or one saved under What if on the map: its pools are kept or taken out.",
)
@click.option("--wanted", hidden=True, expose_value=False, callback=renamed("--committed"))
@click.option("--language", type=click.Choice(["en", "de", "fr", "nl"]), default="en", help="The maps' first language.")
@click.option("--tiles", help="An online background for the maps, off at first: https://SERVER/{z}/{x}/{y}.png")
@click.option("--tiles-credit", default="", help="The words the server of --tiles asks to be named with.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON on stdout.")
@click.option("--strict", is_flag=True, help="End with 1 where a row was set aside or something is missing.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
def command(
    area: Path,
    out: Path | None,
    committed: Path | None,
    language: str,
    tiles: str | None,
    tiles_credit: str,
    as_json: bool,
    strict: bool,
    dry_run: bool,
) -> None:
    """Map the folder AREA: maps, scores, gaps and the plan, written to AREA/out, whole or not at all."""
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.export.summary import summary_text
    from habitatmap.job import run
    from habitatmap.outputs import write
    from habitatmap.page import Tiles, map_page, public_page
    from habitatmap.words.headline import headline

    background = Tiles(tiles, tiles_credit) if tiles is not None else None
    pages = {
        "map.html": lambda result: map_page(result, language, background),
        "public_map.html": lambda result: public_page(result, language=language, tiles=background),
    }
    target = out or area / "out"
    check_target(target)
    opened = open_area(area, committed=committed)
    for kind, n in opened.ledger.counts().items():
        if n["read"]:
            log.info("%-10s %6d read, %d accepted, %d set aside", kind, n["read"], n["accepted"], n["set_aside"])
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    result = run(opened, say=tell)
    write(result, target, pages)
    click.echo(summary_text(result) if as_json else headline(result.figures) + "\n", nl=False)
    log.info("Map: %s", (target / "map.html").resolve())
    if strict and result.needs_a_look:
        raise click.exceptions.Exit(1)
