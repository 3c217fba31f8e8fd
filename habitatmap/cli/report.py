"""`habitatmap report AREA`: two pages for the committee and the funder."""

from __future__ import annotations

import logging
from pathlib import Path

import click

log = logging.getLogger("habitatmap")


@click.command("report")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/report.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
def command(area: Path, out: Path | None, dry_run: bool) -> None:
    """Report on AREA in two pages: done, found, next, cost, not known; PDF and HTML, written to AREA/report.

    Every number in it stands in the summary.json beside it.
    """
    from habitatmap.area import open_area
    from habitatmap.run import run
    from habitatmap.show.paper.report import write_report
    from habitatmap.show.write import check_target

    target = out or area / "report"
    check_target(target, own="report", mark="report.pdf")
    opened = open_area(area)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    result = run(opened, say=log.info)
    write_report(result, target)
    log.info("Report: %s", (target / "report.pdf").resolve())
