"""`habitatmap check AREA`: the same reading as `map`, without the run."""

from __future__ import annotations

import logging
from pathlib import Path

import click

log = logging.getLogger("habitatmap")


@click.command("check")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/check.")
@click.option("--fix", is_flag=True, help="Write NAME.fix.csv beside each input: the rows to correct.")
@click.option("--semicolons", is_flag=True, help="In those, ; between the cells: for programs with a decimal comma.")
@click.option("--json", "as_json", is_flag=True, help="Print the account as JSON on stdout.")
@click.option("--dry-run", is_flag=True, help="Say everything, write nothing.")
def command(area: Path, out: Path | None, fix: bool, semicolons: bool, as_json: bool, dry_run: bool) -> None:
    """Say how every file of AREA was understood; AREA/check gets a page for the person who corrects the sheets.

    With --fix the rows that need you are written beside each input, as NAME.fix.csv in that file's own columns. Correct
    them there and leave the file in the folder: it is read with its original. What you have corrected is never lost.

    Ends with 0: nothing needs a look; 1: something does; 2: the folder could not be read.
    """
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.export.formats import json_text
    from habitatmap.read.corrections import write_fixes
    from habitatmap.reports.check import check, check_text, write_check

    target = out or area / "check"
    check_target(target, mark="check.html")
    opened = open_area(area)
    fixes = write_fixes(opened.folder, opened.ledger, semicolons) if fix and not dry_run else []
    found = check(opened, fixes)
    if not dry_run:
        write_check(found, target)
    for file in fixes:
        log.info("%s: to correct %d (new %d), changed by somebody %d", file.file, file.waiting, file.new, file.changed)
    click.echo(json_text(found.for_json()) if as_json else check_text(found), nl=False)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
    else:
        log.info("Corrections needed: %s", (target / "check.html").resolve())
    if found.needs_a_look:
        raise click.exceptions.Exit(1)
