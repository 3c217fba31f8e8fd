"""`habitatmap survey AREA`: what is really in the pools, and how sure that is."""

from __future__ import annotations

from pathlib import Path

import click

from habitatmap.cli.options import Call, area_command, log, renamed, semicolons, stages_told


@area_command(
    "survey",
    as_json="Print everything as JSON on stdout.",
    strict="End with 1 where the searches are too few to estimate or a warning is given.",
)
@semicolons
@click.option("--hours", type=click.FloatRange(min=0, min_open=True), help="Hours that next season's visits may take.")
@click.option("--visit-hours", type=click.FloatRange(min=0, min_open=True), help="Hours of one visit, with its way.")
@click.option("--pool-hours", type=click.FloatRange(min=0), help="Hours that each pool takes besides its visits.")
@click.option(
    "--assign", is_flag=True, help="Instead, assign treatments to planned sites at random, into AREA/random_assignment."
)
@click.option("--allot", is_flag=True, hidden=True, expose_value=False, callback=renamed("--assign"))
@click.option("--treatments", multiple=True, help="For --assign: what is tried, such as container=barrel,bucket.")
@click.option("--sites", type=click.Path(path_type=Path), help="For --assign: the sites (default: AREA/out/plan.csv).")
@click.option("--seed", type=click.IntRange(min=0), help="For --assign: the seed of the draw (default: 1).")
def command(
    call: Call,
    assign: bool,
    treatments: tuple[str, ...],
    sites: Path | None,
    seed: int | None,
    semicolons: bool,
    **hours: float | None,
) -> None:
    """Estimate what is really in the pools of AREA: a page and tables, written to AREA/survey, whole or not at all."""
    if assign:
        _assign(call, treatments, sites, seed, semicolons)
        return
    if treatments or sites or seed is not None:
        raise click.UsageError("--treatments, --sites and --seed go with --assign.")
    from habitatmap.export.formats import json_text
    from habitatmap.job import survey_area
    from habitatmap.practice.account import practice
    from habitatmap.read.random_assignment import read_assignment
    from habitatmap.reports.practice import practice_sections, practice_summary, practice_tables, practice_text
    from habitatmap.reports.survey import write_survey
    from habitatmap.reports.survey_figures import survey_summary, survey_text
    from habitatmap.survey.account import Budget

    budget = Budget(**{name: value for name, value in hours.items() if value is not None})
    opened = call.open()
    if opened is None:
        return
    blocks = read_assignment(call.area, opened.pools)
    known = call.known(opened, "What lies around each pool")
    spoken = call.spoken(opened)
    with stages_told(spoken=spoken) as begin:
        account = survey_area(opened, budget, say=begin, known=known)
    shown = practice(opened.pools, opened.visits, opened.as_of, account.known.searches, blocks)
    summary = {"practice": practice_summary(shown)}
    write_survey(account, call.target, practice_sections(shown), practice_tables(shown), summary, spoken, semicolons)
    full = survey_text(account, spoken) + practice_text(shown, spoken)
    click.echo(json_text({**survey_summary(account), **summary}) if call.as_json else full, nl=False)
    call.wrote("Page", "survey.html", spoken)
    call.end(bool(account.few or account.known.warnings))


def _assign(call: Call, treatments: tuple[str, ...], sites: Path | None, seed: int | None, semicolons: bool) -> None:
    """Draws once, and writes the draw."""
    from habitatmap.area import open_area
    from habitatmap.fieldwork.random_assignment import SEED, assign_at_random, read_treatments
    from habitatmap.read.random_assignment import FILE, FOLDER, read_sites
    from habitatmap.reports.random_assignment import assignment_text, check_assignment, write_assignment

    if not treatments:
        raise click.UsageError("--assign needs --treatments, such as --treatments container=barrel,bucket.")
    tried = read_treatments(treatments)
    target = call.area / FOLDER if call.target == call.area / "survey" else call.target
    check_assignment(target)
    opened = open_area(call.area)
    spoken = call.spoken(opened)
    table = read_sites(sites or call.area / "out" / "plan.csv")
    seed = SEED if seed is None else seed
    drawn = assign_at_random(table, tried, seed)
    write_assignment(opened, drawn.merge(table, on="site"), tried, seed, target, spoken, semicolons)
    click.echo(assignment_text(drawn, seed, spoken), nl=False)
    log.info("%s: %s", spoken.say("To fill in"), (target / FILE).resolve())
