"""`habitatmap outlook AREA`: the plan against other ways to choose, through the same simulated years."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, renamed, semicolons, stages_told
from habitatmap.cli.progress import YEARS


@area_command("outlook", as_json="Print ranks and differences as JSON on stdout.")
@semicolons
@click.option("--years", type=click.IntRange(5, 200), default=20, show_default=True, help="How many years to simulate.")
@click.option(
    "--simulations",
    type=click.IntRange(20, 5000),
    default=384,
    show_default=True,
    help="How many for each way of flying.",
)
@click.option("--worlds", hidden=True, expose_value=False, callback=renamed("--simulations"))
def command(call: Call, years: int, simulations: int, semicolons: bool) -> None:
    """Compare the plan for AREA with other ways to choose, through simulated years: ranks, no forecast.

    AREA/outlook gets a page and tables, whole or not at all.
    """
    from habitatmap.job import run, simulate_years
    from habitatmap.plan.outlook import NothingToCompareError
    from habitatmap.reports.outlook import outlook_text, write_nothing, write_outlook
    from habitatmap.words.plan import nothing_to_compare
    from habitatmap.words.sentences import say

    opened = call.open()
    if opened is None:
        return
    known = call.known(opened)
    title, as_of, spoken = opened.title, opened.as_of, call.spoken(opened)
    with stages_told(spoken=spoken) as begin:
        result = run(opened, say=begin, public=False, known=known)
        begin(YEARS)
        try:
            seen = simulate_years(result, years, simulations)
        except NothingToCompareError as refused:
            why = nothing_to_compare(refused.why, result.figures.plan)
            write_nothing(why, title, as_of, call.target, spoken)
            told = spoken.say(say("Nothing to compare: {why}.", why=why)) + "\n"
        else:
            write_outlook(seen, title, as_of, call.target, spoken, semicolons)
            told = outlook_text(seen, spoken)
    click.echo((call.target / "outlook.json").read_text(encoding="utf-8") if call.as_json else told, nl=False)
    call.wrote("Outlook", "outlook.html", spoken)
    call.end(result.needs_a_look)
