"""`habitatmap survey AREA`: what is really in the pools, and how sure that is."""

from __future__ import annotations

import logging
from pathlib import Path

import click

log = logging.getLogger("habitatmap")


@click.command("survey")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Write here instead of AREA/survey.")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON on stdout.")
@click.option(
    "--strict", is_flag=True, help="End with 1 where the looks are too few to estimate or a warning is given."
)
@click.option("--hours", type=click.FloatRange(min=0, min_open=True), help="Hours that next season's visits may take.")
@click.option("--visit-hours", type=click.FloatRange(min=0, min_open=True), help="Hours of one visit, with its way.")
@click.option("--pool-hours", type=click.FloatRange(min=0), help="Hours that each pool takes besides its visits.")
def command(
    area: Path,
    out: Path | None,
    as_json: bool,
    strict: bool,
    hours: float | None,
    visit_hours: float | None,
    pool_hours: float | None,
) -> None:
    """Estimate what is really in the pools of AREA: a page and tables, written to AREA/survey, whole or not at all."""
    from habitatmap.area import open_area
    from habitatmap.run import survey_area
    from habitatmap.show.exports import json_text
    from habitatmap.show.survey import survey_summary, survey_text, write_survey
    from habitatmap.show.write import check_target
    from habitatmap.survey.account import POOL_HOURS, VISIT_HOURS, Budget

    target = out or area / "survey"
    check_target(target, own="survey", mark="survey.html")
    per_visit = VISIT_HOURS if visit_hours is None else visit_hours
    budget = Budget(hours, per_visit, POOL_HOURS if pool_hours is None else pool_hours)
    told = survey_area(open_area(area), budget, say=log.info)
    write_survey(told, target)
    click.echo(json_text(survey_summary(told)) if as_json else survey_text(told), nl=False)
    log.info("Page: %s", (target / "survey.html").resolve())
    if strict and (told.few or told.known.warnings):
        raise click.exceptions.Exit(1)
