"""`habitatmap compare OLD NEW`: what changed from a kept season to another one, or to today's area."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click

from habitatmap.cli.options import Call, area_command, log, semicolons


@area_command("compare", as_json="Print everything as JSON on stdout.", strict="", called="OLD")
@click.argument("new", type=click.Path(path_type=Path), required=False)
@semicolons
def command(call: Call, new: Path | None, semicolons: bool) -> None:
    """Tell what changed from the kept season OLD (AREA/seasons/2025) to NEW: another one, or AREA as it is today.

    AREA alone means from the season it kept last to today. AREA/compare gets a page, tables and JSON, whole or not at
    all: pools, visits, occupancy, the plan carried out or not, and why the headline changed.
    """
    from habitatmap.comparing import compare, read_both
    from habitatmap.export.formats import json_text
    from habitatmap.export.season import area_of_season, find_season, last_season
    from habitatmap.read.folder import area_folder
    from habitatmap.read.settings import read_settings
    from habitatmap.reports.compare import account, comparison_text, write_comparison
    from habitatmap.words.catalogue import spoken as words_in
    from habitatmap.words.sentences import say

    asked = call.target
    if new is None:
        new = area_folder(find_season(call.area))
        old = last_season(new)
    else:
        new = area_folder(find_season(new))
        old = area_folder(find_season(call.area, new))
    target = area_of_season(new) / "compare" if asked == call.area / "compare" else asked
    call = dataclasses.replace(call, area=new, target=target)
    spoken = words_in(call.language or read_settings(new).language, new)
    call.check_target()

    def tell(done: int, of: int) -> None:
        log.info("%s", spoken.say(say("Calculation {done} of {of}", done=done, of=of)))

    both = read_both(old, new)
    if call.dry_run:
        call.wrote_nothing(spoken)
        return
    found = compare(both, tell)
    write_comparison(found, call.target, spoken, semicolons)
    click.echo(json_text(account(found)) if call.as_json else comparison_text(found, spoken), nl=False)
    call.wrote("Page", "compare.html", spoken)
