"""`habitatmap sheets AREA`: what a crew takes along: a page for each site, labels, recording sheets."""

from __future__ import annotations

import logging
from pathlib import Path

import click

from habitatmap.cli.options import tell

log = logging.getLogger("habitatmap")


@click.command("sheets")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--site", "sites", type=int, multiple=True, help="Only this suggestion of the plan; may be repeated.")
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/sheets.")
@click.option("--strict", is_flag=True, help="End with 1 where a row was set aside or something is missing.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
def command(area: Path, sites: tuple[int, ...], out: Path | None, strict: bool, dry_run: bool) -> None:
    """Print what a crew takes along to AREA/sheets: sites.pdf, labels.pdf and recording.pdf, whole or not at all.

    The contact line on the labels is `[sheets] contact` of area.toml.
    """
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.job import run
    from habitatmap.paper.sheets import write_sheets

    target = out or area / "sheets"
    check_target(target, mark="recording.pdf")
    opened = open_area(area)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    result = run(opened, say=tell, public=False)
    for line in write_sheets(result, target, sites):
        click.echo(line)
    log.info("Sheets: %s", target.resolve())
    if strict and result.needs_a_look:
        raise click.exceptions.Exit(1)
