"""`habitatmap report AREA`: two pages for the committee and the funder."""

from __future__ import annotations

import logging
from pathlib import Path

import click

from habitatmap.cli.options import tell

log = logging.getLogger("habitatmap")


@click.command("report")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/report.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON on stdout.")
@click.option("--strict", is_flag=True, help="End with 1 where a row was set aside or something is missing.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
def command(area: Path, out: Path | None, as_json: bool, strict: bool, dry_run: bool) -> None:
    """Report on AREA in two pages: done, found, next, cost, not known; PDF and HTML, written to AREA/report.

    Every number in it stands in the summary.json beside it.
    """
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.export.summary import summary_text
    from habitatmap.job import run
    from habitatmap.reports.council import write_report

    target = out or area / "report"
    check_target(target, mark="report.pdf")
    opened = open_area(area)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    result = run(opened, say=tell, public=False)
    write_report(result, target)
    if as_json:
        click.echo(summary_text(result), nl=False)
    log.info("Report: %s", (target / "report.pdf").resolve())
    if strict and result.needs_a_look:
        raise click.exceptions.Exit(1)
