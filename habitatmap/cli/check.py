"""`habitatmap check AREA`: the same reading as `map`, without the run."""

from __future__ import annotations

import logging
from pathlib import Path

import click

log = logging.getLogger("habitatmap")


@click.command("check")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/check.")
@click.option("--json", "as_json", is_flag=True, help="Print the account as JSON on stdout.")
def command(area: Path, out: Path | None, as_json: bool) -> None:
    """Say how every file of AREA was understood; AREA/check gets a page for the person who mends the sheets.

    Ends with 0: nothing needs a look; 1: rows were set aside; 2: the folder could not be read.
    """
    from habitatmap.area import open_area
    from habitatmap.show.check import account, check_text, write_check
    from habitatmap.show.exports import json_text
    from habitatmap.show.write import check_target

    target = out or area / "check"
    check_target(target, own="check", mark="check.html")
    found = account(open_area(area))
    write_check(found, target)
    click.echo(json_text(found) if as_json else check_text(found), nl=False)
    log.info("For whoever mends the sheets: %s", (target / "check.html").resolve())
    if found["set_aside"]:
        raise click.exceptions.Exit(1)
