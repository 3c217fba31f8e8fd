"""`habitatmap survey AREA`: what is really in the pools, and how sure that is."""

from __future__ import annotations

import logging
from pathlib import Path

import click

from habitatmap.cli.options import tell

log = logging.getLogger("habitatmap")


@click.command("survey")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/survey.")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON on stdout.")
@click.option(
    "--strict", is_flag=True, help="End with 1 where the looks are too few to estimate or a warning is given."
)
@click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing.")
@click.option("--hours", type=click.FloatRange(min=0, min_open=True), help="Hours that next season's visits may take.")
@click.option("--visit-hours", type=click.FloatRange(min=0, min_open=True), help="Hours of one visit, with its way.")
@click.option("--pool-hours", type=click.FloatRange(min=0), help="Hours that each pool takes besides its visits.")
@click.option(
    "--assign", is_flag=True, help="Instead, assign treatments to planned sites at random, into AREA/random_assignment."
)
@click.option("--allot", is_flag=True, hidden=True)
@click.option("--treatments", multiple=True, help="For --assign: what is tried, such as container=barrel,bucket.")
@click.option("--sites", type=click.Path(path_type=Path), help="For --assign: the sites (default: AREA/out/plan.csv).")
@click.option("--seed", type=click.IntRange(min=0), help="For --assign: the seed of the draw (default: 1).")
def command(
    area: Path,
    out: Path | None,
    as_json: bool,
    strict: bool,
    dry_run: bool,
    hours: float | None,
    visit_hours: float | None,
    pool_hours: float | None,
    assign: bool,
    allot: bool,
    treatments: tuple[str, ...],
    sites: Path | None,
    seed: int | None,
) -> None:
    """Estimate what is really in the pools of AREA: a page and tables, written to AREA/survey, whole or not at all."""
    if allot:
        raise click.UsageError("--allot is named --assign now.")
    if assign:
        _assign(area, out, treatments, sites, seed)
        return
    if treatments or sites or seed is not None:
        raise click.UsageError("--treatments, --sites and --seed go with --assign.")
    from habitatmap.area import open_area
    from habitatmap.export.folder import check_target
    from habitatmap.export.formats import json_text
    from habitatmap.job import survey_area
    from habitatmap.practice.account import practice
    from habitatmap.read.random_assignment import read_assignment
    from habitatmap.reports.practice import practice_sections, practice_summary, practice_tables, practice_text
    from habitatmap.reports.survey import survey_summary, survey_text, write_survey
    from habitatmap.survey.account import POOL_HOURS, VISIT_HOURS, Budget

    target = out or area / "survey"
    check_target(target, mark="survey.html")
    per_visit = VISIT_HOURS if visit_hours is None else visit_hours
    budget = Budget(hours, per_visit, POOL_HOURS if pool_hours is None else pool_hours)
    opened = open_area(area)
    if dry_run:
        log.info("Dry run: %s would be written; nothing was.", target)
        return
    told = survey_area(opened, budget, say=tell)
    blocks = read_assignment(area, opened.pools)
    shown = practice(opened.pools, opened.visits, opened.as_of, told.known.searches, blocks)
    summary = {"practice": practice_summary(shown)}
    write_survey(told, target, practice_sections(shown), practice_tables(shown), summary)
    click.echo(
        json_text({**survey_summary(told), **summary}) if as_json else survey_text(told) + practice_text(shown),
        nl=False,
    )
    log.info("Page: %s", (target / "survey.html").resolve())
    if strict and (told.few or told.known.warnings):
        raise click.exceptions.Exit(1)


def _assign(area: Path, out: Path | None, treatments: tuple[str, ...], sites: Path | None, seed: int | None) -> None:
    """Draws once, and writes the draw."""
    from habitatmap.area import open_area
    from habitatmap.fieldwork.random_assignment import SEED, assign_at_random, read_treatments
    from habitatmap.read.random_assignment import FILE, FOLDER, read_sites
    from habitatmap.reports.random_assignment import assignment_text, check_assignment, write_assignment

    if not treatments:
        raise click.UsageError("--assign needs --treatments, such as --treatments container=barrel,bucket.")
    tried = read_treatments(treatments)
    target = out or area / FOLDER
    check_assignment(target)
    opened = open_area(area)
    table = read_sites(sites or area / "out" / "plan.csv")
    seed = SEED if seed is None else seed
    drawn = assign_at_random(table, tried, seed)
    write_assignment(opened, drawn, table, tried, seed, target)
    click.echo(assignment_text(drawn, seed), nl=False)
    log.info("To fill in: %s", (target / FILE).resolve())
