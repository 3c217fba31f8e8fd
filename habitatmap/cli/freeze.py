"""`habitatmap freeze AREA NAME`: keeps a season as it is."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, tell_kept


@area_command("freeze", folder="seasons", as_json="Print what was kept as JSON on stdout.", strict="")
@click.argument("name")
@click.option("--replace", is_flag=True, help="Keep a season anew that is kept already.")
def command(call: Call, name: str, replace: bool) -> None:
    """Keep the last map of AREA as the season NAME: inputs, settings, layers and results, in AREA/seasons/NAME.

    Whole or not at all. The kept folder is an area of its own, from which the same figures come back.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.export.season import check_season, keep_season
    from habitatmap.read.folder import area_folder
    from habitatmap.read.settings import read_settings
    from habitatmap.words.catalogue import spoken

    language = spoken(call.language or read_settings(area_folder(call.area)).language, call.area)
    folder = check_season(call.area, name, replace, call.target)
    if call.dry_run:
        call.wrote_nothing(language, folder)
        return
    season = keep_season(call.area, name, replace, seasons=call.target)
    if call.as_json:
        told = {"season": season.name, "folder": str(season.folder), "as_of": season.as_of.isoformat()}
        click.echo(json_text(told), nl=False)
    tell_kept(season, language)
