"""`habitatmap outlook AREA`: the plan against other ways to choose, through the same simulated years."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, log, renamed, tell


@area_command("outlook", mark="outlook.json", as_json="Print ranks and differences as JSON on stdout.")
@click.option("--years", type=click.IntRange(5, 200), default=20, show_default=True, help="How many years to simulate.")
@click.option(
    "--simulations",
    type=click.IntRange(20, 5000),
    default=384,
    show_default=True,
    help="How many for each way of flying.",
)
@click.option("--worlds", hidden=True, expose_value=False, callback=renamed("--simulations"))
def command(call: Call, years: int, simulations: int) -> None:
    """Compare the plan for AREA with other ways to choose, through simulated years: ranks, no forecast.

    AREA/outlook gets a page and tables, whole or not at all.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.job import run, simulate_years
    from habitatmap.plan.outlook import NothingToCompareError
    from habitatmap.reports.outlook import account, outlook_text, write_nothing, write_outlook
    from habitatmap.words.plan import nothing_to_compare

    opened = call.open()
    if opened is None:
        return
    result = run(opened, say=tell, public=False)
    log.info("The same years for every way to choose")
    as_of = str(opened.as_of)
    try:
        seen = simulate_years(result, years, simulations)
    except NothingToCompareError as refused:
        why = nothing_to_compare(refused.why, result.figures.plan)
        write_nothing(why, opened.title, as_of, call.target)
        told = (call.target / "outlook.json").read_text(encoding="utf-8")
        click.echo(told if call.as_json else f"Nothing to compare: {why}.")
    else:
        write_outlook(seen, opened.title, as_of, call.target)
        told = json_text(account(seen, opened.title, as_of)) if call.as_json else outlook_text(seen)
        click.echo(told, nl=False)
    call.wrote("Outlook", "outlook.html")
    call.end(result.needs_a_look)
