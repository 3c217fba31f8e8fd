"""`habitatmap outlook AREA`: the plan against other ways to choose, through the same simulated years."""

from __future__ import annotations

import logging
from pathlib import Path

import click

from habitatmap.cli.options import tell

log = logging.getLogger("habitatmap")


@click.command("outlook")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--years", type=click.IntRange(5, 200), default=20, show_default=True, help="How many years to simulate.")
@click.option("--simulations", type=click.IntRange(20, 5000), default=200, show_default=True, help="How many times.")
@click.option("--worlds", hidden=True)
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/outlook.")
@click.option("--json", "as_json", is_flag=True, help="Print ranks and differences as JSON on stdout.")
@click.option("--strict", is_flag=True, help="End with 1 where a row was set aside or something is missing.")
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
def command(
    area: Path,
    years: int,
    simulations: int,
    worlds: str | None,
    out: Path | None,
    as_json: bool,
    strict: bool,
    dry_run: bool,
) -> None:
    """Compare the plan for AREA with other ways to choose, through simulated years: ranks, no forecast.

    AREA/outlook gets a page and tables, whole or not at all.
    """
    if worlds is not None:
        raise click.UsageError("--worlds is named --simulations now.")
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.export.formats import json_text
    from habitatmap.job import run, simulate_years
    from habitatmap.plan.outlook import NothingToCompareError
    from habitatmap.reports.outlook import account, outlook_text, write_nothing, write_outlook

    target = out or area / "outlook"
    check_target(target, mark="outlook.json")
    opened = open_area(area)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    result = run(opened, say=tell, public=False)
    log.info("The same years for every way to choose")
    as_of = str(opened.as_of)
    try:
        seen = simulate_years(result, years, simulations)
    except NothingToCompareError as why:
        write_nothing(str(why), opened.title, as_of, target)
        click.echo((target / "outlook.json").read_text(encoding="utf-8") if as_json else f"Nothing to compare: {why}.")
    else:
        write_outlook(seen, opened.title, as_of, target)
        click.echo(json_text(account(seen, opened.title, as_of)) if as_json else outlook_text(seen), nl=False)
    log.info("Outlook: %s", (target / "outlook.html").resolve())
    if strict and result.needs_a_look:
        raise click.exceptions.Exit(1)
